//! What a coach would remark on one session, read off its rows.

use boutwise_bouts::{Gait, IntervalStatus, Kind};

use crate::figures::{duration, percent_text};
use crate::rows::{BoutRow, IntervalRow, SessionRow};

/// Run seconds beyond the plan from which a session is remarked on, in per cent (own choice, as in the rules).
const OVERDONE_PCT: f64 = 15.0;

/// Share of the asked walking below which walks count as cut (own choice).
const WALKS_KEPT_SHARE: f64 = 0.75;

/// Share of the planned span of reps below which the clock says that the session ended early (own choice).
const SPAN_KEPT_SHARE: f64 = 0.9;

/// Pace drift from which slowing is called marked, in per cent (own choice).
const MARKED_SLOWING_PCT: f64 = 10.0;

/// One thing to remark on, most urgent first.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Remark {
    /// Running and walking could not be told apart.
    NotResolvable,
    /// Reps were asked for and nothing was run.
    AllWalked,
    /// The walks between the reps were cut or run through.
    WalksCut { walked_s: f64, asked_s: f64 },
    /// The reps end well before the plan's would.
    StoppedEarly { done: u64, planned: u64 },
    /// The last rep was broken off, and none is missing.
    BrokenOff { ran_s: f64, asked_s: f64 },
    /// Reps are missing and the clock does not say that the session was cut off.
    RepsMissing { done: u64, planned: u64 },
    /// Clearly more was run than asked.
    Overdone { pct: f64 },
    /// The pace fell markedly.
    MarkedSlowing { pct: f64 },
}

impl Remark {
    /// In a few words.
    pub(crate) fn text(&self) -> String {
        match self {
            Self::NotResolvable => "running and walking could not be told apart".into(),
            Self::AllWalked => "walked throughout".into(),
            Self::WalksCut { walked_s, asked_s } if *walked_s < 1.0 => {
                format!("walks skipped: none of {}", duration(*asked_s))
            }
            Self::WalksCut { walked_s, asked_s } => {
                format!("walks cut: {} of {}", duration(*walked_s), duration(*asked_s))
            }
            Self::StoppedEarly { done, planned } => format!("stopped early: {done} of {planned} reps"),
            Self::BrokenOff { ran_s, asked_s } => {
                format!("stopped early: ran {} of {}", duration(*ran_s), duration(*asked_s))
            }
            Self::RepsMissing { done, planned } => format!("{done} of {planned} reps"),
            Self::Overdone { pct } => format!("{} more running than asked", percent_text(*pct)),
            Self::MarkedSlowing { pct } => {
                format!("marked slowing ({}): fast start, heat, a climb or tiredness", percent_text(*pct))
            }
        }
    }
}

/// The remarks on a session, most urgent first.
pub(crate) fn remarks(session: &SessionRow, intervals: &[IntervalRow], bouts: &[BoutRow]) -> Vec<Remark> {
    if session.resolvable == Some(false) {
        return vec![Remark::NotResolvable];
    }
    let mut remarks = Vec::new();
    let done = session.reps_done.unwrap_or(0) + session.reps_short.unwrap_or(0);
    if let Some(planned) = session.reps_planned.filter(|&planned| planned > 0) {
        if done == 0 {
            return vec![Remark::AllWalked];
        }
        let (walked_s, asked_s) = walking_between(intervals);
        if walked_s < WALKS_KEPT_SHARE * asked_s {
            remarks.push(Remark::WalksCut { walked_s, asked_s });
        }
        if session.reps_missed > Some(0) {
            remarks.push(match ended_early(intervals, bouts) {
                true => Remark::StoppedEarly { done, planned },
                false => Remark::RepsMissing { done, planned },
            });
        } else if ended_early(intervals, bouts) {
            let (ran_s, asked_s) = running(intervals);
            remarks.push(Remark::BrokenOff { ran_s, asked_s });
        }
    }
    remarks
        .extend(session.overdone_pct.filter(|&pct| pct > OVERDONE_PCT).map(|pct| Remark::Overdone { pct }));
    remarks.extend(
        session
            .pace_drift_pct
            .filter(|&pct| {
                pct > MARKED_SLOWING_PCT && session.pace_drift_low_pct.is_none_or(|low_pct| low_pct > 0.0)
            })
            .map(|pct| Remark::MarkedSlowing { pct }),
    );
    remarks
}

fn is_begun_rep(row: &IntervalRow) -> bool {
    row.kind == Gait::Run && !matches!(row.status, IntervalStatus::Missed | IntervalStatus::Extra)
}

/// Seconds run and asked for, over the planned reps.
fn running(intervals: &[IntervalRow]) -> (f64, f64) {
    (intervals.iter())
        .filter(|row| row.kind == Gait::Run && row.status != IntervalStatus::Extra)
        .fold((0.0, 0.0), |(ran_s, asked_s), row| {
            (ran_s + row.done_s.unwrap_or(0.0), asked_s + row.planned_s.unwrap_or(0.0))
        })
}

/// Seconds walked and asked for, over the walks that lie between two reps that were both begun. A walk that
/// was longer than asked counts as asked: it makes up for no other.
fn walking_between(intervals: &[IntervalRow]) -> (f64, f64) {
    (intervals.windows(3))
        .filter(|rows| is_begun_rep(&rows[0]) && rows[1].kind == Gait::Walk && is_begun_rep(&rows[2]))
        .filter_map(|rows| {
            rows[1].planned_s.map(|asked_s| (rows[1].done_s.unwrap_or(0.0).min(asked_s), asked_s))
        })
        .fold((0.0, 0.0), |(walked_s, asked_s), (walk_s, walk_asked_s)| {
            (walked_s + walk_s, asked_s + walk_asked_s)
        })
}

/// Whether the last planned rep is missing or short and the reps begun took less time than the plan's: nothing but
/// the clock tells a session that was cut off from one with a rep left out on the way.
fn ended_early(intervals: &[IntervalRow], bouts: &[BoutRow]) -> bool {
    let mut planned = intervals.iter().filter(|row| row.status != IntervalStatus::Extra);
    let is_last_incomplete = planned
        .clone()
        .rfind(|row| row.kind == Gait::Run)
        .is_some_and(|row| matches!(row.status, IntervalStatus::Missed | IntervalStatus::Short));
    let first = planned.clone().find(|row| is_begun_rep(row)).and_then(|row| row.start_s);
    let last = bouts.iter().rfind(|bout| bout.kind == Kind::Run).map(|bout| bout.end_s);
    let Some(span_s) = first.zip(last).map(|(first, last)| last - first) else { return false };
    // From the first rep to the end of the last one, leaving out walks before and after.
    let (mut planned_s, mut to_last_rep_s, mut has_begun) = (0.0, 0.0, false);
    for row in planned.by_ref() {
        has_begun |= row.kind == Gait::Run;
        if has_begun {
            planned_s += row.planned_s.unwrap_or(0.0);
        }
        if row.kind == Gait::Run {
            to_last_rep_s = planned_s;
        }
    }
    is_last_incomplete && span_s < SPAN_KEPT_SHARE * to_last_rep_s
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Reps of 60 s with walks of 90 s between, as `(kind, done_s, start_s)`.
    fn rows(done: &[(Gait, Option<f64>, Option<f64>)]) -> Vec<IntervalRow> {
        (1..)
            .zip(done)
            .map(|(interval, &(kind, done_s, start_s))| IntervalRow {
                athlete: "Ann".into(),
                file: "a".into(),
                session: 1,
                interval,
                kind,
                planned_s: Some(if kind == Gait::Run { 60.0 } else { 90.0 }),
                planned_m: None,
                done_s,
                done_m: None,
                status: if done_s.is_some() { IntervalStatus::Done } else { IntervalStatus::Missed },
                credit_pct: None,
                start_s,
            })
            .collect()
    }

    /// The runs of these rows as bouts.
    fn bouts(rows: &[IntervalRow]) -> Vec<BoutRow> {
        let runs = rows.iter().filter(|row| is_begun_rep(row)).zip(1..);
        runs.map(|(row, bout)| {
            let (start_s, duration_s) = (row.start_s.unwrap(), row.done_s.unwrap());
            BoutRow {
                athlete: "Ann".into(),
                file: "a".into(),
                session: 1,
                bout,
                kind: Kind::Run,
                start_s,
                end_s: start_s + duration_s,
                start_utc: None,
                duration_s,
                distance_m: None,
                pace_s_per_km: None,
                hr_mean_bpm: None,
                hr_end_bpm: None,
                cadence_spm: None,
                confidence: 1.0,
            }
        })
        .collect()
    }

    fn session(done: u64, missed: u64) -> SessionRow {
        SessionRow {
            reps_planned: Some(done + missed),
            reps_done: Some(done),
            reps_short: Some(0),
            reps_missed: Some(missed),
            resolvable: Some(true),
            ..SessionRow::default()
        }
    }

    #[test]
    fn the_clock_tells_a_session_cut_off_from_a_rep_left_out() {
        use Gait::{Run, Walk};
        let cut_off = rows(&[
            (Run, Some(60.0), Some(0.0)),
            (Walk, Some(90.0), Some(60.0)),
            (Run, Some(60.0), Some(150.0)),
            (Walk, None, None),
            (Run, None, None),
        ]);
        assert_eq!(
            remarks(&session(2, 1), &cut_off, &bouts(&cut_off)),
            [Remark::StoppedEarly { done: 2, planned: 3 }]
        );
        let left_out = rows(&[
            (Run, Some(60.0), Some(0.0)),
            (Walk, Some(240.0), Some(60.0)),
            (Run, Some(60.0), Some(300.0)),
            (Walk, None, None),
            (Run, None, None),
        ]);
        assert_eq!(
            remarks(&session(2, 1), &left_out, &bouts(&left_out)),
            [Remark::RepsMissing { done: 2, planned: 3 }]
        );
    }

    #[test]
    fn walks_that_were_skipped_show_and_walks_of_missing_reps_do_not() {
        use Gait::{Run, Walk};
        let skipped = rows(&[
            (Run, Some(60.0), Some(0.0)),
            (Walk, Some(10.0), Some(60.0)),
            (Run, Some(60.0), Some(70.0)),
            (Walk, Some(90.0), Some(130.0)),
            (Run, Some(60.0), Some(220.0)),
        ]);
        let expected = Remark::WalksCut { walked_s: 100.0, asked_s: 180.0 };
        assert_eq!(remarks(&session(3, 0), &skipped, &bouts(&skipped)), [expected]);
        let faithful = rows(&[
            (Run, Some(60.0), Some(0.0)),
            (Walk, Some(88.0), Some(60.0)),
            (Run, Some(60.0), Some(148.0)),
        ]);
        assert_eq!(remarks(&session(2, 0), &faithful, &bouts(&faithful)), []);
    }

    #[test]
    fn a_session_that_cannot_be_told_gets_no_other_remark() {
        let session = SessionRow { resolvable: Some(false), overdone_pct: Some(80.0), ..session(0, 8) };
        assert_eq!(remarks(&session, &[], &[]), [Remark::NotResolvable]);
    }
}

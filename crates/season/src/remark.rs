//! What there is to remark on one session: decided here, put into words by whoever shows it.

use boutwise_bouts::{Gait, IntervalMatch, IntervalStatus, PaceDrift, SessionMatch};

use crate::{Outcome, Rules};

/// One thing to remark on a session.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Remark {
    /// Running and walking could not be told apart.
    NotResolvable,
    /// Reps were asked for and nothing was run.
    AllWalked,
    /// The walks between the reps were cut or run through.
    WalksCut {
        /// Seconds walked between reps that were begun.
        walked_s: f64,
        /// Seconds asked for there.
        asked_s: f64,
    },
    /// The session was cut short.
    StoppedEarly {
        /// Reps that were begun.
        done: usize,
        /// Reps that were asked for.
        planned: usize,
    },
    /// Reps are missing, and not at the end.
    RepsMissing {
        /// Reps that were begun.
        done: usize,
        /// Reps that were asked for.
        planned: usize,
    },
    /// Clearly more was run than asked.
    Overdone {
        /// Run seconds beyond the plan, in % of it.
        pct: f64,
    },
    /// The pace fell markedly, and clearly so.
    MarkedSlowing {
        /// Change of pace in %.
        pct: f64,
    },
}

impl Remark {
    /// The remarks on a session, most urgent first: by what it was matched with, what became of the planned session,
    /// and the drift of its pace.
    pub fn of(
        resolvable: bool,
        matched: Option<&SessionMatch>,
        outcome: Option<Outcome>,
        drift: Option<&PaceDrift>,
        rules: &Rules,
    ) -> Vec<Self> {
        if !resolvable {
            return vec![Self::NotResolvable];
        }
        let mut remarks = Vec::new();
        if let Some((matched, running)) =
            matched.and_then(|matched| Some((matched, matched.running.as_ref()?)))
        {
            let (done, planned) = (running.reps.done + running.reps.short, running.reps.planned);
            if outcome == Some(Outcome::Walked) {
                return vec![Self::AllWalked];
            }
            let (walked_s, asked_s) = walking_between(&matched.intervals);
            if 100.0 * walked_s < rules.walks_kept_pct * asked_s {
                remarks.push(Self::WalksCut { walked_s, asked_s });
            }
            if outcome == Some(Outcome::CutShort) {
                remarks.push(Self::StoppedEarly { done, planned });
            } else if running.reps.missed > 0 {
                remarks.push(Self::RepsMissing { done, planned });
            }
            if running.overdone_pct > rules.overdone_good_pct {
                remarks.push(Self::Overdone { pct: running.overdone_pct });
            }
        }
        let marked = drift.filter(|drift| drift.is_clear() && drift.drift_pct > rules.drift_note_pct);
        remarks.extend(marked.map(|drift| Self::MarkedSlowing { pct: drift.drift_pct }));
        remarks
    }
}

fn is_begun_rep(interval: &IntervalMatch) -> bool {
    interval.gait == Gait::Run && !matches!(interval.status, IntervalStatus::Missed | IntervalStatus::Extra)
}

/// Seconds walked and asked for, over the walks that lie between two reps that were both begun. A walk that was longer
/// than asked counts as asked: it makes up for no other.
fn walking_between(intervals: &[IntervalMatch]) -> (f64, f64) {
    (intervals.windows(3))
        .filter(|three| is_begun_rep(&three[0]) && three[1].gait == Gait::Walk && is_begun_rep(&three[2]))
        .filter_map(|three| {
            let asked_s = three[1].planned_s?;
            Some((three[1].done_s.unwrap_or(0.0).min(asked_s), asked_s))
        })
        .fold((0.0, 0.0), |(walked_s, asked_s), (walk_s, walk_asked_s)| {
            (walked_s + walk_s, asked_s + walk_asked_s)
        })
}

#[cfg(test)]
mod tests {
    use boutwise_bouts::{AdherenceSettings, Bout, Kind, match_session};

    use super::*;
    use crate::{NominalSpeeds, parse_intervals};

    /// The remarks on runs of these lengths with walks of 80 s between, or of `walk_s`.
    fn of(runs_s: &[f64], walk_s: f64, rules: &Rules) -> Vec<Remark> {
        let planned = parse_intervals("4 x (1:10 run, 1:20 walk)").unwrap();
        let (mut bouts, mut at_s) = (Vec::new(), 0.0);
        for (place, &run_s) in runs_s.iter().enumerate() {
            bouts.push(Bout::new(Kind::Run, at_s, at_s + run_s));
            let rest_s = if place + 1 < runs_s.len() { walk_s } else { 300.0 };
            bouts.push(Bout::new(Kind::Walk, at_s + run_s, at_s + run_s + rest_s));
            at_s += run_s + rest_s;
        }
        let speeds = NominalSpeeds::default();
        let settings = AdherenceSettings {
            run_m_per_s: speeds.run_m_per_s,
            walk_m_per_s: speeds.walk_m_per_s,
            ..AdherenceSettings::default()
        };
        let matched = match_session(&planned, &bouts, &settings).unwrap();
        Remark::of(true, Some(&matched), Some(Outcome::attended(Some(&matched))), None, rules)
    }

    #[test]
    fn a_session_done_as_asked_has_nothing_to_remark() {
        assert_eq!(of(&[70.0; 4], 80.0, &Rules::default()), []);
    }

    #[test]
    fn what_is_remarked_is_what_the_outcome_says() {
        assert_eq!(of(&[70.0; 2], 80.0, &Rules::default()), [Remark::StoppedEarly { done: 2, planned: 4 }]);
    }

    #[test]
    fn walks_that_were_cut_show() {
        let cut = of(&[70.0; 4], 40.0, &Rules::default());
        assert_eq!(cut, [Remark::WalksCut { walked_s: 120.0, asked_s: 240.0 }]);
        assert_eq!(of(&[70.0; 4], 40.0, &Rules { walks_kept_pct: 40.0, ..Rules::default() }), []);
    }

    #[test]
    fn more_running_than_asked_is_what_the_rules_call_so() {
        let more = of(&[100.0; 4], 80.0, &Rules::default());
        assert!(matches!(more[..], [Remark::Overdone { pct }] if pct > 15.0), "{more:?}");
        assert_eq!(of(&[100.0; 4], 80.0, &Rules { overdone_good_pct: 500.0, ..Rules::default() }), []);
    }

    #[test]
    fn a_session_that_cannot_be_told_gets_no_other_remark() {
        let drift = PaceDrift {
            drift_pct: 30.0,
            interval_pct: Some((20.0, 40.0)),
            start_pace_s_per_km: 400.0,
            end_pace_s_per_km: 520.0,
            slices: 9,
        };
        assert_eq!(Remark::of(false, None, None, Some(&drift), &Rules::default()), [Remark::NotResolvable]);
        let marked = Remark::of(true, None, None, Some(&drift), &Rules::default());
        assert_eq!(marked, [Remark::MarkedSlowing { pct: 30.0 }]);
    }
}

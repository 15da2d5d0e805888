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
        if let Some((matched, running)) = matched.and_then(|matched| Some((matched, matched.running.as_ref()?))) {
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

//! How often a block was begun, and what counts since it was begun the last time.

use boutwise_bouts::{Bout, Kind};
use chrono::NaiveDate;

use crate::{AthleteInput, Outcome, OutingAudit, PlannedSession, Role};

/// Of a session of which nobody can tell what was done, at least this share of what it asks for was recorded where it counts as
/// attempted: less moves nobody a step (own choice).
const SEEN_SHARE: f64 = 1.0 / 3.0;

/// What was done of the current block since it was begun, or begun again after sessions of another block.
///
/// Whoever goes back a block does it from its start. What she had done of it before says nothing of how she is now, nor does
/// what she had done of the block that she left: what is done of it since is what counts, wherever in it that lies. Where the
/// sessions after those of another block go on in the block's order and she did not go back to the start of one before, it was
/// not begun again.
#[derive(Clone, Debug, Default)]
pub(crate) struct Visit {
    /// The day from which on sessions count; `None` where all do.
    from: Option<NaiveDate>,
    /// The number in the block of the first of them: those before it were left behind.
    first: u32,
    /// For each outing whether enough of it was recorded to be an attempt.
    is_seen: Vec<bool>,
    /// Day of each outing.
    days: Vec<NaiveDate>,
}

impl Visit {
    /// The newest visit to a block of a plan.
    pub(crate) fn newest(
        place: Option<(usize, usize)>,
        outings: &[OutingAudit],
        input: &AthleteInput<'_>,
    ) -> Self {
        let day = |audit: &OutingAudit| input.outings[audit.outing].day();
        let mut visit = Self {
            is_seen: outings.iter().map(|audit| is_seen(audit, input)).collect(),
            days: outings.iter().map(day).collect(),
            ..Self::default()
        };
        let Some((plan, block)) = place else { return visit };
        let sessions =
            outings.iter().filter(|audit| audit.plan == Some(plan)).filter_map(|audit| match audit.role {
                Role::Session(laid) => Some((laid.session, day(audit))),
                _ => None,
            });
        // Backwards: the first session since the block was entered, whether others lie between that and the one before it, and
        // whether a block before was gone back to among them.
        let mut first: Option<(u32, NaiveDate)> = None;
        let (mut was_elsewhere, mut went_back) = (false, false);
        for (session, day) in sessions.rev() {
            match first {
                _ if session.block != block => {
                    was_elsewhere = true;
                    went_back |= session.block < block && session.number == 1;
                }
                Some((number, from)) if went_back || was_elsewhere && session.number >= number => {
                    (visit.first, visit.from) = (number, Some(from));
                    break;
                }
                _ => {
                    was_elsewhere = false;
                    first = Some((session.number, day));
                }
            }
        }
        visit
    }

    /// Whether the block was begun again.
    pub(crate) fn is_another(&self) -> bool {
        self.from.is_some()
    }

    /// Whether a session of the block on a day counts.
    pub(crate) fn holds(&self, day: NaiveDate) -> bool {
        self.from.is_none_or(|from| day >= from)
    }

    /// Whether a session of the block counts as attempted.
    pub(crate) fn counts(&self, session: &PlannedSession) -> bool {
        session.session.number < self.first && self.is_attempted(session, |_| true)
            || self.counts_later(session)
    }

    /// Whether a session of a later block does.
    pub(crate) fn counts_later(&self, session: &PlannedSession) -> bool {
        self.is_attempted(session, |day| self.holds(day))
    }

    fn is_attempted(&self, session: &PlannedSession, holds: impl Fn(NaiveDate) -> bool) -> bool {
        match session.outcome {
            Outcome::Said => session.day.is_none_or(holds),
            outcome if outcome.is_attended() => {
                session.recordings.iter().any(|at| self.is_seen[*at] && holds(self.days[*at]))
            }
            _ => false,
        }
    }
}

/// Whether it can be told what was done, or enough was recorded to be an attempt at the session.
fn is_seen(audit: &OutingAudit, input: &AthleteInput<'_>) -> bool {
    if audit.outcome.is_some_and(|outcome| outcome != Outcome::Unresolvable) {
        return true;
    }
    let (Role::Session(laid), Some(plan)) = (audit.role, audit.plan) else { return false };
    let asked = input.plans[plan].plan.session(laid.session);
    let recorded = input.outings[audit.outing].bouts.iter().filter(|bout| bout.kind != Kind::Gap);
    recorded.map(Bout::duration_s).sum::<f64>() >= SEEN_SHARE * (asked.run_s + asked.walk_s)
}

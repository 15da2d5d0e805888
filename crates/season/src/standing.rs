//! Where an athlete stands in the plan, and which session follows from a verdict.

use chrono::NaiveDate;

use crate::attendance::JUDGED_RECORDED_PCT;
use crate::audit::plan_on;
use crate::evidence::{Notes, from_match};
use crate::{
    AthleteInput, Outcome, Outing, OutingAudit, PlanInUse, PlannedSession, Role, SessionEvidence, SessionId,
    Verdict,
};

/// What comes next.
#[derive(Clone, Debug, PartialEq)]
pub struct NextSession {
    /// Index of the plan.
    pub plan: usize,
    /// Which session.
    pub session: SessionId,
    /// Label of the block.
    pub label: String,
    /// The interval text.
    pub text: String,
}

/// Where the athlete stands in the current plan.
pub(crate) struct Standing<'a> {
    /// The current plan and the current block.
    pub(crate) place: Option<(usize, usize)>,
    /// Laid outings with runs or walks told apart, over all blocks, oldest first: evidence, day, place.
    pub(crate) laid: Vec<(SessionEvidence, NaiveDate, (usize, usize))>,
    /// Days of the outings with runs, oldest first, laid or not.
    runs: Vec<NaiveDate>,
    pub(crate) unresolvable_sessions: usize,
    /// Numbers of the current block's sessions that were attempted.
    attempted: Vec<u32>,
    pub(crate) plans: &'a [PlanInUse<'a>],
}

impl<'a> Standing<'a> {
    pub(crate) fn new(
        input: &AthleteInput<'a>,
        outings: &[OutingAudit],
        planned: &[(usize, PlannedSession)],
    ) -> Self {
        let current = plan_on(input.plans, input.as_of);
        let sessions = outings.iter().filter_map(|audit| match audit.role {
            Role::Session(laid) => Some((audit, (audit.plan?, laid.session.block))),
            _ => None,
        });
        let newest =
            sessions.clone().next_back().map(|(_, place)| place).filter(|(plan, _)| Some(*plan) == current);
        let place = newest.or(current.map(|plan| (plan, 0)));
        let laid = sessions
            .clone()
            .filter_map(|(audit, place)| {
                let outing = &input.outings[audit.outing];
                // What was not seen makes a session neither good nor poor.
                if audit.recorded_pct.is_some_and(|pct| pct < JUDGED_RECORDED_PCT) {
                    return None;
                }
                let evidence = from_match(audit.matched.as_ref()?, outing.has_runs(), outing.pace_drift_pct);
                Some((evidence, outing.day(), place))
            })
            .collect();
        let attempted = planned
            .iter()
            .filter(|(plan, session)| {
                Some((*plan, session.session.block)) == place && session.outcome.is_attended()
            })
            .map(|(_, session)| session.session.number)
            .collect();
        let unresolvable_sessions = sessions
            .filter(|(audit, at)| Some(*at) == place && audit.outcome == Some(Outcome::Unresolvable))
            .count();
        let runs = (outings.iter().filter(|audit| audit.role.counts()))
            .map(|audit| &input.outings[audit.outing])
            .filter(|outing| outing.has_runs())
            .map(Outing::day)
            .collect();
        Self { place, laid, runs, unresolvable_sessions, attempted, plans: input.plans }
    }

    /// Evidence of the newest sessions over all blocks, oldest first, with the journal. Where nothing was laid on a plan,
    /// the runs are the sessions, each done as it was meant.
    pub(crate) fn evidence(&self, notes: &Notes<'_>, count: usize) -> Vec<SessionEvidence> {
        let sessions = if self.laid.is_empty() {
            let as_meant = SessionEvidence { dose_pct: 100.0, ..SessionEvidence::default() };
            notes.added_to(self.runs.iter().map(|day| (as_meant.clone(), *day)).collect())
        } else {
            self.laid_with(notes)
        };
        sessions.into_iter().rev().take(count).rev().collect()
    }

    /// Evidence of the current block's sessions.
    pub(crate) fn of_block(&self, notes: &Notes<'_>) -> Vec<SessionEvidence> {
        let places = self.laid.iter().map(|(_, _, place)| Some(*place));
        let with_places = self.laid_with(notes).into_iter().zip(places);
        with_places.filter(|(_, place)| *place == self.place).map(|(evidence, _)| evidence).collect()
    }

    fn laid_with(&self, notes: &Notes<'_>) -> Vec<SessionEvidence> {
        notes.added_to(self.laid.iter().map(|(evidence, day, _)| (evidence.clone(), *day)).collect())
    }

    /// The session that follows from a verdict; `None` where nothing follows.
    pub(crate) fn next(&self, verdict: Verdict) -> Option<NextSession> {
        let (plan, block) = self.place?;
        let blocks = &self.plans[plan].plan.blocks;
        let open = (1..=blocks[block].sessions).find(|number| !self.attempted.contains(number));
        let last = blocks[block].sessions;
        let (block, number) = match verdict {
            Verdict::Stop => return None,
            Verdict::Advance => match open {
                Some(number) => (block, number),
                None if block + 1 < blocks.len() => (block + 1, 1),
                None => return None,
            },
            Verdict::Ease if block > 0 => (block - 1, 1),
            Verdict::Hold | Verdict::Ease => (block, open.unwrap_or(last)),
        };
        Some(NextSession {
            plan,
            session: SessionId { block, number },
            label: blocks[block].label.clone(),
            text: blocks[block].session.text.clone(),
        })
    }
}

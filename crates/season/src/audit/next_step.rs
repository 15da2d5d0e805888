//! What an athlete should do next: the proposal with the coach's decision, and the session that follows.

use boutwise_bouts::{Amount, Gait};
use chrono::{Days, NaiveDate};

use super::shown::own_speed_m_per_s;
use super::{AthleteInput, OutingAudit};
use crate::evidence::Notes;
use crate::standing::Standing;
use crate::weeks::run_distances;
use crate::{NextSession, Outcome, Outing, Proposal, Rules, Situation, Verdict, largest_before};

pub(super) type Proposed = (Proposal, Option<(NaiveDate, Verdict)>, Option<NextSession>);

pub(super) fn propose(
    input: &AthleteInput<'_>,
    standing: &Standing<'_>,
    notes: &Notes<'_>,
    past: &[&Outing],
    outings: &[OutingAudit],
) -> Proposed {
    let rules = &input.settings.rules;
    let warning_signs = notes.open_warning_signs();
    if standing.place.is_none() && warning_signs.is_empty() {
        let newest = standing.evidence(notes, 1).pop();
        let proposal = newest.and_then(|newest| Proposal::for_pain(&newest, rules));
        let no_proposal =
            || Proposal { reasons: vec!["no plan: no proposal".to_owned()], ..Proposal::default() };
        return (proposal.unwrap_or_else(no_proposal), notes.coach_decision(None), None);
    }
    let runs = run_distances(past.iter().copied());
    let newest_run = outings
        .iter()
        .filter(|audit| {
            input.outings[audit.outing].has_runs() && audit.role.counts()
                || audit.outcome == Some(Outcome::Unresolvable)
        })
        .map(|audit| input.outings[audit.outing].day())
        .max();
    let next_run_m = standing.next(Verdict::Advance).and_then(|next| {
        let speed = own_speed_m_per_s(past)?;
        let asked = standing.plans[next.plan].plan.session(next.session);
        let metres = |amount: Amount| match amount {
            Amount::Seconds(seconds) => seconds * speed,
            Amount::Metres(metres) => metres,
        };
        Some(asked.intervals.iter().filter(|i| i.gait == Gait::Run).map(|i| metres(i.amount)).sum())
    });
    let situation = Situation {
        sessions: standing.of_block(notes),
        unresolvable_sessions: standing.unresolvable_sessions,
        days_since_run: newest_run.map(|day| (input.as_of - day).num_days()),
        warning_signs,
        next_run_m,
        longest_before_m: input
            .as_of
            .succ_opt()
            .and_then(|day| largest_before(&runs, day, rules.spike_window_days)),
        first_block: standing.place.is_none_or(|(_, block)| block == 0),
    };
    let mut proposal = Proposal::weigh(&situation, rules);
    if proposal.verdict != Some(Verdict::Stop) {
        proposal.reasons.extend(remarks(input, outings));
    }
    let coach = notes.coach_decision(standing.laid.last().map(|(_, day, _)| *day));
    if let Some((date, verdict)) = coach {
        proposal.reasons.insert(0, format!("coach decided {} on {date}", verdict.word()));
    }
    let decided = coach.map(|(_, verdict)| verdict).or(proposal.verdict);
    let next = match decided {
        Some(verdict) => standing.next(verdict),
        None if situation.sessions.is_empty() => standing.next(Verdict::Hold),
        None => None,
    };
    if decided == Some(Verdict::Advance) && next.is_none() {
        proposal.reasons.push("every session of the plan was attempted".to_owned());
    }
    (proposal, coach, next)
}

/// What else a coach should see beside the rule: sessions that were walked.
fn remarks(input: &AthleteInput<'_>, outings: &[OutingAudit]) -> Vec<String> {
    let walked: Vec<String> = outings
        .iter()
        .filter(|audit| audit.outcome == Some(Outcome::Walked) && !input.outings[audit.outing].has_runs())
        .map(|audit| input.outings[audit.outing].day().to_string())
        .collect();
    if walked.is_empty() {
        Vec::new()
    } else {
        vec![format!("walked in place of run on {}", crate::wording::list(&walked))]
    }
}

/// The first day for a run after extra rest: rest days are counted from the newest run.
pub(super) fn no_run_before(proposal: &Proposal, past: &[&Outing], rules: &Rules) -> Option<NaiveDate> {
    if proposal.rest_days == 0 {
        return None;
    }
    let newest = past.iter().filter(|outing| outing.has_runs()).map(|outing| outing.day()).max()?;
    newest.checked_add_days(Days::new(u64::from(rules.rest_days + proposal.rest_days) + 1))
}

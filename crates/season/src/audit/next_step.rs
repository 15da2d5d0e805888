//! What an athlete should do next: the proposal with the coach's decision, and the session that follows.

use boutwise_bouts::{Amount, Gait};
use chrono::{Days, NaiveDate};

use super::ran_far::RanFar;
use super::shown::own_speed_m_per_s;
use super::{AthleteInput, Goal, OutingAudit};
use crate::evidence::Notes;
use crate::proposal::{KEEPING, NextStep, SHORTER};
use crate::standing::Standing;
use crate::weeks::run_distances;
use crate::{
    NextSession, Outcome, Outing, Prescription, Proposal, Rules, SessionEvidence, Situation, Verdict,
    largest_before,
};

/// What follows for an athlete.
pub(super) struct Proposed {
    pub(super) proposal: Proposal,
    pub(super) open_sign: Option<NaiveDate>,
    pub(super) coach_decision: Option<(NaiveDate, Verdict)>,
    pub(super) next: Option<NextSession>,
    pub(super) no_run_before: Option<NaiveDate>,
    pub(super) tells_goal: bool,
}

pub(super) fn propose(
    input: &AthleteInput<'_>,
    standing: &Standing<'_>,
    notes: &Notes<'_>,
    past: &[&Outing],
    outings: &[OutingAudit],
    goal: &Goal,
    ran_far: Option<RanFar>,
) -> Proposed {
    let rules = &input.settings.rules;
    let has_plan = standing.place.is_some();
    let newest_run = standing.newest_run();
    let (sessions, elsewhere) = if has_plan {
        standing.of_block(notes, rules)
    } else {
        (Vec::new(), standing.since_good(notes, rules))
    };
    let situation = Situation {
        sessions,
        elsewhere,
        is_begun_again: standing.is_begun_again(),
        untold: standing.untold.clone(),
        nothing_recorded: past.is_empty(),
        days_since_run: newest_run.map(|day| (input.as_of - day).num_days()),
        break_days: standing.long_break.map(|(days, _)| days),
        warning_signs: notes.open_warning_signs(),
        noted: notes.named(standing.last_good(notes, rules), rules),
        next_step: next_step(input, standing, past),
        first_block: standing.stands.is_none_or(|(_, block)| block == 0),
        begins_block: standing.begins_block(),
        reached_at_the_end: goal.reached.is_some()
            && has_plan
            && standing.next(Verdict::Advance, None).is_none(),
    };
    let mut proposal = Proposal::weigh(&situation, rules);
    if !has_plan && proposal.verdict.is_none() {
        proposal.reasons[0] = "no plan: no proposal".to_owned();
    }
    let is_stopped = proposal.verdict == Some(Verdict::Stop);
    if let Some(ran) = ran_far.filter(|_| !is_stopped && has_plan) {
        // Beside what keeps them back it stands behind.
        let is_bold = proposal.verdict == Some(Verdict::Advance);
        let at = if is_bold { 0 } else { proposal.reasons.len() };
        proposal.reasons.insert(at, ran.text(rules));
    }
    if !is_stopped && has_plan {
        proposal.reasons.extend(remarks(input, outings));
        proposal.reasons.extend(without_rest(standing, past, rules));
    }
    let no_run_before = no_run_before(&proposal, newest_run, notes, rules);
    // A sign that was noted on the day of the coach's word or later is not answered by it.
    let newest = if has_plan { standing.newest_laid } else { newest_run_or_untold(past) };
    let coach = notes.coach_decision(newest).filter(|(_, word)| !is_stopped || *word == Verdict::Stop);
    // Who left is proposed nothing more, but for a stop and for what the coach said since.
    if let Some(left) = input.athlete.and_then(|athlete| athlete.left).filter(|left| *left < input.as_of)
        && !is_stopped
        && coach.is_none_or(|(date, word)| word != Verdict::Stop && date <= left)
    {
        let reasons = vec![format!("left on {left}: no proposal")];
        return Proposed {
            proposal: Proposal { reasons, ..Proposal::default() },
            open_sign: None,
            coach_decision: None,
            next: None,
            no_run_before: None,
            tells_goal: !has_pain(standing, notes, rules),
        };
    }
    let is_shortened = match coach {
        Some((_, verdict)) => verdict == Verdict::Ease && situation.first_block && has_plan,
        None => match proposal.verdict {
            Some(Verdict::Ease) => situation.first_block,
            Some(Verdict::Hold) => situation.begins_block,
            _ => false,
        },
    };
    if let Some((date, verdict)) = coach {
        let how = if is_shortened { format!(": {SHORTER}") } else { String::new() };
        proposal.reasons.insert(0, format!("coach decided {} on {date}{how}", verdict.word()));
        if let Some(unanswered) = notes.unanswered(date).filter(|_| !is_stopped) {
            proposal.reasons.insert(0, unanswered);
        }
    }
    let decided = coach.map(|(_, verdict)| verdict).or(proposal.verdict);
    let open_sign = situation.warning_signs.iter().map(|sign| sign.date).max();
    let stopped_on = coach.map(|(date, _)| date).max(open_sign).filter(|_| decided == Some(Verdict::Stop));
    if let Some(not_lifted) = stopped_on.and_then(|day| notes.not_lifted(day)) {
        proposal.reasons.insert(1, not_lifted);
    }
    // What was decided for a day that is still to come is done after it.
    let not_before = no_run_before.max(coach.and_then(|(date, _)| date.succ_opt()));
    let next = match decided {
        Some(verdict) => standing.next(verdict, not_before),
        // Nothing speaks against going on from what was said to be done.
        None if situation.sessions.is_empty() && standing.is_said_newest => {
            standing.next(Verdict::Advance, not_before)
        }
        None if situation.sessions.is_empty() => standing.next(Verdict::Hold, not_before),
        None => None,
    };
    let next = next.map(|next| NextSession { is_shortened, ..next });
    if decided == Some(Verdict::Advance) && next.is_none() && has_plan {
        proposal.reasons.extend(standing.end_text());
    }
    if let Some(next) = &next {
        proposal.reasons.extend(place_and_day(next, standing, rules));
    }
    let tells_goal = decided != Some(Verdict::Stop) && !has_pain(standing, notes, rules);
    if !tells_goal {
        proposal.reasons.retain(|reason| reason != KEEPING);
    } else if let Some(reached) = goal.reached_text() {
        proposal.reasons.insert(0, reached);
    }
    if let Some(left_out) = notes.left_out() {
        proposal.reasons.insert(0, left_out);
    }
    Proposed { proposal, open_sign, coach_decision: coach, next, no_run_before, tells_goal }
}

/// Whether pain was noted since the last good session.
fn has_pain(standing: &Standing<'_>, notes: &Notes<'_>, rules: &Rules) -> bool {
    standing.since_good(notes, rules).iter().any(SessionEvidence::has_pain)
}

/// The newest day with a session where no plan says what one is: a recording that is no walk.
fn newest_run_or_untold(past: &[&Outing]) -> Option<NaiveDate> {
    let is_walk = |outing: &Outing| outing.resolvable && !outing.has_runs();
    past.iter().filter(|outing| !is_walk(outing)).map(|outing| outing.day()).max()
}

/// The next session with its day, and where the plan stands by its own days.
fn place_and_day(next: &NextSession, standing: &Standing<'_>, rules: &Rules) -> Option<String> {
    let day = next.day?;
    let mut text = format!("next: {}, {} on {} {day}", next.label, next.session.number, day.format("%A"));
    if let Some(at) = next.plan_stands_at {
        let label = &standing.plans[next.plan].plan.blocks[at.block].label;
        text += &format!("; the plan itself is at {label}, {} by now", at.number);
    }
    // The coach's own days outrank the rule, which is told beside them.
    let newest = standing.newest_run().filter(|run| (day - *run).num_days() <= i64::from(rules.rest_days));
    if let Some(newest) = newest {
        let rest = crate::wording::times(rules.rest_days as usize, "day");
        text += &format!("; that is the plan's own day, without {rest} of rest after the run of {newest}");
    }
    Some(text)
}

/// The step in distance that the next session is; `None` where nothing was run lately.
fn next_step(input: &AthleteInput<'_>, standing: &Standing<'_>, past: &[&Outing]) -> Option<NextStep> {
    let rules = &input.settings.rules;
    let next = standing.next(Verdict::Advance, None)?;
    let speed = own_speed_m_per_s(past)?;
    let metres = |amount: Amount| match amount {
        Amount::Seconds(seconds) => seconds * speed,
        Amount::Metres(metres) => metres,
    };
    let run_m = |asked: &Prescription| -> f64 {
        asked.intervals.iter().filter(|i| i.gait == Gait::Run).map(|i| metres(i.amount)).sum()
    };
    let plan = standing.plans[next.plan].plan;
    let asked = plan.session(next.session);
    let runs = run_distances(past.iter().copied());
    let longest_s = past.iter().filter_map(|outing| Some(outing.longest_run()?.duration_s()));
    Some(NextStep {
        next_run_m: run_m(asked),
        longest_before_m: largest_before(&runs, input.as_of.succ_opt()?, rules.spike_window_days)?,
        asked_before_m: standing.asked_before_m(&next, run_m),
        next_longest_run_s: asked.longest_run_s(plan.speeds),
        shown_longest_run_s: longest_s.max_by(f64::total_cmp),
    })
}

/// What else a coach should see beside the rule: sessions that were walked.
fn remarks(input: &AthleteInput<'_>, outings: &[OutingAudit]) -> Vec<String> {
    let walked: Vec<String> = outings
        .iter()
        .filter(|audit| audit.outcome == Some(Outcome::Walked))
        .map(|audit| input.outings[audit.outing].day().to_string())
        .collect();
    if walked.is_empty() {
        Vec::new()
    } else {
        vec![format!("walked in place of run on {}", crate::wording::list(&walked))]
    }
}

/// Running days without rest between them from which that is told (own choice: one run that was moved by a day is no habit).
const DAYS_WITHOUT_REST: usize = 3;

/// That the newest runs followed each other without the days of rest that are asked for, as far as the plan itself has them.
fn without_rest(standing: &Standing<'_>, past: &[&Outing], rules: &Rules) -> Option<String> {
    let of_plan = standing
        .place
        .and_then(|(plan, block)| standing.plans[plan].plan.blocks[block].rhythm.least_rest_days());
    let rest_days = of_plan.unwrap_or(rules.rest_days).min(rules.rest_days);
    let mut days: Vec<NaiveDate> =
        past.iter().filter(|outing| outing.has_runs()).map(|outing| outing.day()).collect();
    days.sort();
    days.dedup();
    let is_close = |pair: &&[NaiveDate]| (pair[1] - pair[0]).num_days() <= i64::from(rest_days);
    let in_a_row = 1 + days.windows(2).rev().take_while(is_close).count();
    let (first, last) = (days.get(days.len().checked_sub(in_a_row)?)?, days.last()?);
    (in_a_row >= DAYS_WITHOUT_REST).then(|| {
        let rest = crate::wording::times(rest_days as usize, "day");
        format!("ran on {in_a_row} days from {first} to {last}, without {rest} of rest between them")
    })
}

/// The first day for a run after extra rest: days of rest are counted from the newest run, further ones from what was noted later
/// and calls for them too.
fn no_run_before(
    proposal: &Proposal,
    newest_run: Option<NaiveDate>,
    notes: &Notes<'_>,
    rules: &Rules,
) -> Option<NaiveDate> {
    let further = proposal.rest_days.max(proposal.slower_days);
    let noted = match (proposal.rest_days, proposal.slower_days) {
        (0, 0) => return None,
        (0, _) => notes.newest_soreness(rules),
        _ => notes.newest_pain(),
    };
    let after = |day: NaiveDate, rest_days: u32| day.checked_add_days(Days::new(u64::from(rest_days) + 1));
    let after_run = newest_run.and_then(|day| after(day, rules.rest_days + further));
    after_run.max(noted.and_then(|day| after(day, further)))
}

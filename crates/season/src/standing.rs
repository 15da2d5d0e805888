//! Where an athlete stands in the plan, and which session follows from a verdict.

use std::collections::HashSet;

use boutwise_bouts::Gait;
use chrono::{Days, NaiveDate};

use crate::audit::{plan_after, plan_on};
use crate::course::Words;
use crate::evidence::{Notes, from_match};
use crate::visit::Visit;
use crate::{
    AthleteInput, Outcome, Outing, OutingAudit, Pause, PlanInUse, PlannedSession, Rhythm, Role, Rules,
    SessionEvidence, SessionId, Untold, Verdict,
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
    /// The day, where the plan names days: its own, or by its rhythm the next after the newest session.
    pub day: Option<NaiveDate>,
    /// The session at which the plan stands by its own days, where that is another one.
    pub plan_stands_at: Option<SessionId>,
    /// Whether it is to be made shorter: nothing easier comes before it, and it was called for.
    pub is_shortened: bool,
}

/// Where the athlete stands in the current plan.
pub(crate) struct Standing<'a> {
    /// The current plan and the block of the newest recording on it.
    pub(crate) place: Option<(usize, usize)>,
    /// The current plan and the block in which she is: that of what was said to be done since the newest recording, else the same.
    pub(crate) stands: Option<(usize, usize)>,
    /// Whether anything was said to be done since the newest recording.
    pub(crate) is_said_newest: bool,
    /// Laid outings with runs or walks told apart, over all blocks, oldest first: evidence, day, place.
    pub(crate) laid: Vec<(SessionEvidence, NaiveDate, (usize, usize))>,
    /// Days of the outings with runs, oldest first, laid or not.
    runs: Vec<NaiveDate>,
    /// The newest day of a session that ought to hold a run though none was seen: it can't be told, or was done without a recording.
    newest_unseen_run: Option<NaiveDate>,
    /// The newest day on which something was laid on a plan, told apart or not.
    pub(crate) newest_laid: Option<NaiveDate>,
    /// The newest break that is too long to go on from, where sessions of the current block lie before it: its days, and the day
    /// of the return.
    pub(crate) long_break: Option<(i64, NaiveDate)>,
    /// What was done of the current block since it was begun, or begun again.
    visit: Visit,
    /// The sessions of all plans.
    planned: &'a [(usize, PlannedSession)],
    input: AthleteInput<'a>,
    /// Why sessions of the current block can't be told.
    pub(crate) untold: Vec<Untold>,
    /// Numbers of the sessions of the block in which she is that were attempted, and have not fallen due again since.
    attempted: Vec<u32>,
    /// Times in which nothing falls due for the athlete.
    free: Vec<Pause>,
    pub(crate) plans: &'a [PlanInUse<'a>],
}

impl<'a> Standing<'a> {
    pub(crate) fn new(
        input: &AthleteInput<'a>,
        outings: &[OutingAudit],
        planned: &'a [(usize, PlannedSession)],
        words: &Words,
    ) -> Self {
        let current = plan_on(input.plans, input.as_of);
        let sessions = outings.iter().filter_map(|audit| match audit.role {
            Role::Session(laid) => Some((audit, (audit.plan?, laid.session.block))),
            _ => None,
        });
        let newest =
            sessions.clone().next_back().map(|(_, place)| place).filter(|(plan, _)| Some(*plan) == current);
        let place = newest.or(current.map(|plan| (plan, 0)));
        let said_newest = said_since(planned, outings, current);
        let stands = said_newest.or(place);
        let visit = Visit::newest(place, outings, input);
        let mut laid: Vec<(SessionEvidence, NaiveDate, (usize, usize))> = Vec::new();
        for (audit, place) in sessions.clone() {
            let outing = &input.outings[audit.outing];
            // What was not seen makes a session neither good nor poor.
            if let Some(matched) = &audit.matched {
                let Some(outcome) = audit.outcome.filter(|outcome| *outcome != Outcome::Unresolvable) else {
                    continue;
                };
                let evidence = SessionEvidence {
                    run_beside_pct: audit.run_beside_pct(),
                    may_be_copy: outing.copy_text(),
                    ..from_match(matched, outcome, &audit.events, outing.pace_drift_pct)
                };
                laid.push((evidence, outing.day(), place));
            } else if let Some((before, ..)) = laid.last_mut().filter(|(.., at)| *at == place) {
                let surely_pct = surely_done_pct(audit, outing, input.plans);
                let most = [before.surely_done_since_pct, surely_pct].into_iter().flatten();
                before.surely_done_since_pct = most.max_by(f64::total_cmp);
            }
        }
        let mut attempted = Vec::new();
        for (plan, session) in planned {
            let number = session.session.number;
            if Some((*plan, session.session.block)) == stands && session.outcome != Outcome::Excused {
                attempted.retain(|before| *before != number);
                let is_attempted =
                    if stands == place { visit.counts(session) } else { visit.counts_later(session) };
                attempted.extend(is_attempted.then_some(number));
            }
        }
        let newest_laid = sessions.clone().map(|(audit, _)| input.outings[audit.outing].day()).max();
        let runs: Vec<NaiveDate> = (outings.iter().filter(|audit| audit.role.counts()))
            .map(|audit| &input.outings[audit.outing])
            .filter(|outing| outing.has_runs())
            .map(Outing::day)
            .collect();
        let said: Vec<NaiveDate> = (planned.iter().map(|(_, session)| session))
            .filter(|session| session.outcome == Outcome::Said && session.planned_run_s > 0.0)
            .filter_map(|session| session.day.filter(|day| *day <= input.as_of))
            .collect();
        let mut run_or_said = [&runs[..], &said].concat();
        run_or_said.sort();
        let in_block =
            |day: &dyn Fn(NaiveDate) -> bool| laid.iter().any(|(_, of, at)| Some(*at) == place && day(*of));
        let long_break = long_break(&run_or_said, &input.settings.rules)
            .filter(|(_, back)| in_block(&|day| visit.holds(day) && day < *back));
        let is_untold = |audit: &OutingAudit| audit.outcome == Some(Outcome::Unresolvable);
        let untold_days =
            (outings.iter().filter(|audit| is_untold(audit))).map(|audit| input.outings[audit.outing].day());
        let newest_unseen_run = untold_days.chain(said).max();
        let is_of_visit = |audit: &OutingAudit| visit.holds(input.outings[audit.outing].day());
        let untold = sessions
            .filter(|(audit, at)| Some(*at) == place && is_untold(audit) && is_of_visit(audit))
            .map(|(audit, _)| Untold::of(input.outings[audit.outing].resolvable, audit.recorded_pct))
            .collect();
        Self {
            place,
            stands,
            is_said_newest: said_newest.is_some(),
            laid,
            runs,
            newest_unseen_run,
            newest_laid,
            long_break,
            visit,
            untold,
            attempted,
            free: words.free(),
            plans: input.plans,
            planned,
            input: *input,
        }
    }

    /// Whether the current block was begun again after sessions of another one.
    pub(crate) fn is_begun_again(&self) -> bool {
        self.visit.is_another()
    }

    /// That nothing of the current plan follows, and how many of its sessions were attempted.
    pub(crate) fn end_text(&self) -> Option<String> {
        let (plan, _) = self.place?;
        let is_attempted =
            |(of, session): &&(usize, PlannedSession)| *of == plan && session.outcome.is_attended();
        let attempted: HashSet<SessionId> =
            self.planned.iter().filter(is_attempted).map(|(_, session)| session.session).collect();
        let all = self.plans[plan].plan.sessions().count();
        Some(match attempted.len() {
            done if done == all => "every session of the plan was attempted".to_owned(),
            done => format!("the plan is at its end: {done} of its {all} sessions were attempted"),
        })
    }

    /// Whether nothing of the current block was done yet.
    pub(crate) fn begins_block(&self) -> bool {
        self.place.is_some()
            && self.attempted.is_empty()
            && self.laid.iter().all(|(.., place)| Some(*place) != self.place)
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

    /// Evidence of the current block's sessions since it was begun, or begun again, and since a long break; and of all others
    /// since the last good session.
    pub(crate) fn of_block(
        &self,
        notes: &Notes<'_>,
        rules: &Rules,
    ) -> (Vec<SessionEvidence>, Vec<SessionEvidence>) {
        if self.laid.is_empty() {
            return (Vec::new(), self.since_good(notes, rules));
        }
        let back = self.long_break.map(|(_, back)| back);
        let in_block = |day: NaiveDate, place| {
            Some(place) == self.place && self.visit.holds(day) && back.is_none_or(|back| day >= back)
        };
        let all = self.laid_with(notes);
        let last_good = all.iter().rposition(|evidence| evidence.is_good(rules));
        let (mut of_block, mut elsewhere) = (Vec::new(), Vec::new());
        for ((at, evidence), (_, day, place)) in all.into_iter().enumerate().zip(&self.laid) {
            if in_block(*day, *place) {
                of_block.push(evidence);
            } else if last_good.is_none_or(|good| at > good) {
                elsewhere.push(evidence);
            }
        }
        (of_block, elsewhere)
    }

    /// Evidence since the last good session, where nothing was laid on a plan: each run done as it was meant.
    pub(crate) fn since_good(&self, notes: &Notes<'_>, rules: &Rules) -> Vec<SessionEvidence> {
        let all = self.evidence(notes, usize::MAX);
        if all.is_empty() {
            return vec![notes.without_session()];
        }
        let from = all.iter().rposition(|evidence| evidence.is_good(rules)).map_or(0, |good| good + 1);
        all.into_iter().skip(from).collect()
    }

    /// The day of the last good session, of whatever block.
    pub(crate) fn last_good(&self, notes: &Notes<'_>, rules: &Rules) -> Option<NaiveDate> {
        let days: Vec<NaiveDate> = if self.laid.is_empty() {
            self.runs.clone()
        } else {
            self.laid.iter().map(|(_, day, _)| *day).collect()
        };
        let evidence = self.evidence(notes, usize::MAX);
        evidence.iter().zip(days).rfind(|(evidence, _)| evidence.is_good(rules)).map(|(_, day)| day)
    }

    fn laid_with(&self, notes: &Notes<'_>) -> Vec<SessionEvidence> {
        notes.added_to(self.laid.iter().map(|(evidence, day, _)| (evidence.clone(), *day)).collect())
    }

    /// The newest day with a run, seen in a recording or not.
    pub(crate) fn newest_run(&self) -> Option<NaiveDate> {
        self.runs.last().copied().max(self.newest_unseen_run)
    }

    /// The session that follows from a verdict, not before a day; `None` where nothing follows. From the start of the plan after
    /// this one on that is its first session.
    pub(crate) fn next(&self, verdict: Verdict, not_before: Option<NaiveDate>) -> Option<NextSession> {
        let (plan, block) = self.stands?;
        if verdict == Verdict::Stop {
            return None;
        }
        let next = self.next_place(verdict, plan, block).map(|session| self.told(plan, session, not_before));
        match plan_after(self.plans, plan) {
            Some((following, start)) if next.as_ref().is_none_or(|next| next.day >= Some(start)) => {
                let first = SessionId { block: 0, number: 1 };
                Some(self.told(following, first, not_before.max(Some(start))))
            }
            _ => next,
        }
    }

    /// The session of a plan that follows from a verdict in a block; `None` at its end.
    fn next_place(&self, verdict: Verdict, plan: usize, block: usize) -> Option<SessionId> {
        let blocks = &self.plans[plan].plan.blocks;
        let open = (1..=blocks[block].sessions).find(|number| !self.attempted.contains(number));
        let last = blocks[block].sessions;
        let (block, number) = match verdict {
            Verdict::Advance => match open {
                Some(number) => (block, number),
                // What was done without a recording lies behind, too.
                None => (block + 1..blocks.len())
                    .find_map(|block| Some((block, self.first_open(plan, block)?)))?,
            },
            Verdict::Ease if block > 0 => (block - 1, 1),
            Verdict::Stop | Verdict::Hold | Verdict::Ease => (block, open.unwrap_or(last)),
        };
        Some(SessionId { block, number })
    }

    /// A session with its day.
    fn told(&self, plan: usize, session: SessionId, not_before: Option<NaiveDate>) -> NextSession {
        let block = &self.plans[plan].plan.blocks[session.block];
        NextSession {
            plan,
            session,
            label: block.label.clone(),
            text: block.session(session.number).text.clone(),
            day: self.day_of(plan, session, not_before),
            plan_stands_at: self.by_its_own_days(plan).filter(|at| *at != session),
            is_shortened: false,
        }
    }

    /// The first session of a later block that was not attempted, since the current one was begun again where it was; `None`
    /// where all were.
    fn first_open(&self, plan: usize, block: usize) -> Option<u32> {
        let is_open = |number: &u32| {
            let id = SessionId { block, number: *number };
            let mut of_it = self.planned.iter().filter(|(of, session)| *of == plan && session.session == id);
            !of_it.any(|(_, session)| self.visit.counts_later(session))
        };
        (1..=self.plans[plan].plan.blocks[block].sessions).find(is_open)
    }

    /// The first session of a plan that falls due after the day judged from, by the plan's own days.
    fn by_its_own_days(&self, plan: usize) -> Option<SessionId> {
        let ahead =
            self.planned.iter().filter(|(of, session)| *of == plan && session.day > Some(self.input.as_of));
        ahead.map(|(_, session)| session.session).next()
    }

    /// The day of a session: its own where that is still ahead, else the next of the block's rhythm, with days of rest after the
    /// newest run as far as the rhythm itself has them. What fell due on the day
    /// judged from is done or missed by then. Whoever never came begins on the plan's next day.
    fn day_of(&self, plan: usize, session: SessionId, not_before: Option<NaiveDate>) -> Option<NaiveDate> {
        let as_of = self.input.as_of;
        let newest = self.newest_run().max(self.newest_laid);
        let earliest = newest.max(Some(as_of))?.succ_opt()?.max(not_before.unwrap_or(as_of));
        let of_plan =
            self.planned.iter().filter(|(of, planned)| *of == plan && planned.day >= Some(earliest));
        let own = of_plan.map(|(_, planned)| planned).find(|own| newest.is_none() || own.session == session);
        let own = own.and_then(|planned| planned.day);
        let rhythm = &self.plans[plan].plan.blocks[session.block].rhythm;
        let pauses = &self.plans[plan].plan.pauses;
        let is_open = |day: &NaiveDate| !self.free.iter().chain(pauses).any(|free| free.holds(*day));
        let days = earliest.iter_days().take(DAYS_AHEAD_MOST).filter(is_open);
        own.filter(is_open).or_else(|| match rhythm {
            Rhythm::Undated => None,
            Rhythm::EveryDays(step) => {
                let from = newest.and_then(|day| day.checked_add_days(Days::new(u64::from(*step))));
                days.into_iter().find(|day| from.is_none_or(|from| *day >= from))
            }
            Rhythm::Weekdays(weekdays) => {
                let rest_days = self.input.settings.rules.rest_days.min(rhythm.least_rest_days()?);
                let rested =
                    self.newest_run().and_then(|day| day.checked_add_days(Days::new(u64::from(rest_days))));
                days.into_iter()
                    .filter(|day| rested.is_none_or(|rested| *day > rested))
                    .find(|day| weekdays.contains(&chrono::Datelike::weekday(day)))
            }
        })
    }

    /// The most metres that the plan asked for in one session before another, by the metres of each block's session.
    pub(crate) fn asked_before_m(
        &self,
        next: &NextSession,
        run_m: impl Fn(&crate::Prescription) -> f64,
    ) -> Option<f64> {
        let blocks = &self.plans[next.plan].plan.blocks;
        let before = next.session.block + usize::from(next.session.number > 1);
        blocks[..before].iter().flat_map(|block| &block.asked).map(run_m).max_by(f64::total_cmp)
    }
}

/// The plan in force and the block of what was said to be done without a recording after the newest recording on that plan.
fn said_since(
    planned: &[(usize, PlannedSession)],
    outings: &[OutingAudit],
    current: Option<usize>,
) -> Option<(usize, usize)> {
    let is_laid = |audit: &OutingAudit| audit.plan == current && matches!(audit.role, Role::Session(_));
    let newest = outings.iter().rposition(is_laid);
    let of_plan = || planned.iter().filter(|(plan, _)| Some(*plan) == current);
    let has_newest = |session: &PlannedSession| newest.is_some_and(|at| session.recordings.contains(&at));
    let until_newest = of_plan().rev().take_while(|(_, session)| !has_newest(session));
    let mut said = until_newest.filter(|(_, session)| session.outcome == Outcome::Said);
    said.next().map(|(plan, session)| (*plan, session.session.block))
}

/// What was surely done at least of a session whose runs and walks can't be told apart, in % of what was planned: as many
/// reps as there surely were, and as much running.
fn surely_done_pct(audit: &OutingAudit, outing: &Outing, plans: &[PlanInUse<'_>]) -> Option<f64> {
    let bounds = outing.bounds.filter(|_| !outing.resolvable)?;
    let Role::Session(laid) = audit.role else { return None };
    let plan = plans.get(audit.plan?)?.plan;
    let asked = plan.session(laid.session);
    let reps = asked.intervals.iter().filter(|interval| interval.gait == Gait::Run).count();
    if reps == 0 || asked.run_s <= 0.0 {
        return None;
    }
    let run_s = if reps == 1 { bounds.longest_at_least_s } else { bounds.run_at_least_s };
    Some(100.0 * (bounds.runs_at_least as f64 / reps as f64).min(run_s / asked.run_s))
}

/// How far ahead a day for the next session is looked for (own choice: longer than any absence in a season).
const DAYS_AHEAD_MOST: usize = 370;

/// The newest break that is too long to go on from: its days, and the day of the return.
fn long_break(runs: &[NaiveDate], rules: &Rules) -> Option<(i64, NaiveDate)> {
    let breaks = runs.windows(2).map(|pair| ((pair[1] - pair[0]).num_days(), pair[1]));
    breaks.rev().find(|(days, _)| *days > i64::from(rules.gap_back_days))
}

//! An athlete's plans: which recording lies where, and what became of each planned session.

use std::cmp::Ordering;
use std::collections::{BTreeMap, HashSet};

use boutwise_bouts::{AdherenceSettings, Interval, Kind, SessionMatch, match_recorded, match_session};
use chrono::{Datelike, IsoWeek, NaiveDate};

use super::words::by_hand;
use super::{AthleteInput, OutingAudit, PlanInUse, Role, plan_after};
use crate::attendance::counted_run_s;
use crate::corrections::ByRecording;
use crate::course::{Absence, Done, DueSession, Words, course};
use crate::likeness::may_be_session;
use crate::{
    Asked, Attendance, ByHand, CalendarScore, Known, Laid, Laying, Likeness, Outcome, Outing, Plan,
    PlannedSession, Prescription, Rules, SessionId, lay,
};

/// One plan of an athlete with what is known of its days.
pub(super) struct Followed<'a> {
    index: usize,
    plan: &'a Plan,
    words: Words,
    laying: Laying,
    /// Recordings that are a session of it by hand, by index.
    told_by_hand: HashSet<usize>,
}

/// Lays the outings of one plan on it and notes where each belongs.
pub(super) fn lay_plan<'a>(
    input: &AthleteInput<'a>,
    index: usize,
    words: &Words,
    corrections: &ByRecording<'_>,
    outings: &mut [OutingAudit],
) -> Followed<'a> {
    let PlanInUse { plan, start } = input.plans[index];
    let adherence = AdherenceSettings {
        run_m_per_s: plan.speeds.run_m_per_s,
        walk_m_per_s: plan.speeds.walk_m_per_s,
        ..input.settings.adherence
    };
    let until = ends(input, index);
    let on_earlier_plan =
        |audit: &&OutingAudit| matches!(audit.role, Role::Session(_)) && audit.plan < Some(index);
    let newest_before =
        outings.iter().filter(on_earlier_plan).map(|audit| input.outings[audit.outing].day()).max();
    let words = words.within(start.filter(|_| index > 0), until, newest_before);
    let held: Vec<usize> = (0..outings.len()).filter(|at| outings[*at].plan == Some(index)).collect();
    let recordings: Vec<&Outing> = held.iter().map(|at| &input.outings[outings[*at].outing]).collect();
    let score = &input.settings.calendar;
    let kinds = plan.kinds();
    let likenesses = likenesses(plan, &kinds, &recordings, score);
    let said: Vec<Option<ByHand>> =
        recordings.iter().map(|outing| by_hand(corrections, plan, outing)).collect();
    let off_plan_beside = |said: &[Option<ByHand>]| {
        let one_each = one_at_a_time(&recordings, &likenesses, said.to_vec());
        one_each.iter().zip(said).map(|(one, said)| one.filter(|_| said.is_none())).collect()
    };
    let unsaid = vec![None; recordings.len()];
    let [beside_none, beside_said] = [&unsaid, &said].map(|said| off_plan_beside(said));
    let mut likeliest = likeliest(&recordings, &likenesses, &kinds, &adherence);
    let mut ground = Ground {
        plan,
        start,
        until,
        score,
        days: recordings.iter().map(|outing| outing.day()).collect(),
        off_plan: beside_none,
        by_hand: unsaid,
        done: input.done_by_hand(index),
        ease_called: ease_called(input, &likeliest),
        likenesses,
    };
    let mut laying = ground.laid_around_absences(&words);
    // Words that all say what is laid so anyway change nothing.
    let is_so = |(at, said): (usize, &Option<ByHand>)| said.is_none_or(|said| is_laid_so(said, &laying, at));
    if !said.iter().enumerate().all(is_so) {
        (ground.off_plan, ground.by_hand) = (beside_said, said.clone());
        laying = ground.laid_around_absences(&words);
    }
    let words = ground.without_harm(words, &laying);
    for (recording, (at, outing)) in held.iter().zip(recordings).enumerate() {
        let (role, kind) = match (laying.recordings[recording], laying.others[recording]) {
            (Some(laid), _) => (Role::Session(laid), plan.kind(laid.session)),
            (None, Some(kind)) => (Role::Other(kinds[kind].0), kind),
            (None, None) => continue,
        };
        outings[*at].role = role;
        let likely = likeliest[recording].take().filter(|(likely, _)| *likely == kind);
        let likely = likely.map(|(_, matched)| matched);
        tell(&mut outings[*at], outing, &kinds[kind].1.intervals, likely, &adherence, &input.settings.rules);
    }
    let by_hand = held.iter().zip(said);
    let told_by_hand = by_hand.filter(|(_, said)| matches!(said, Some(ByHand::Session(_))));
    let told_by_hand = told_by_hand.map(|(at, _)| *at).collect();
    Followed { index, plan, words, laying, told_by_hand }
}

/// For each recording how likely it is each kind of session of the plan.
fn likenesses(
    plan: &Plan,
    kinds: &[(SessionId, &Prescription)],
    recordings: &[&Outing],
    score: &CalendarScore,
) -> Vec<Vec<Likeness>> {
    let asked: Vec<Asked> = kinds
        .iter()
        .map(|(first, asked)| {
            let between = plan.blocks[first.block].between.as_ref();
            Asked::new(&asked.intervals, plan.speeds.run_m_per_s, plan.speeds.walk_m_per_s)
                .with_between(between.map(|between| between.run_s + between.walk_s))
        })
        .collect();
    let walks = seen_as_walks(recordings);
    let of = |(outing, is_walk): (&&Outing, bool)| {
        let of = |asked: &Asked| match is_walk {
            true => asked.likeness_of_walk(outing, score),
            false => asked.likeness(outing, score),
        };
        asked.iter().map(of).collect()
    };
    recordings.iter().zip(walks).map(of).collect()
}

/// Notes what happened in a recording that follows these intervals. `likely` is its match with them where that is known.
fn tell(
    audit: &mut OutingAudit,
    outing: &Outing,
    intervals: &[Interval],
    likely: Option<SessionMatch>,
    adherence: &AdherenceSettings,
    rules: &Rules,
) {
    let reading = outing.read(intervals, adherence);
    let inside = reading.inside.as_ref();
    // Where all of it was recorded it is matched already.
    let matched = likely.filter(|_| inside.is_none()).or_else(|| {
        outing.resolvable.then(|| match_recorded(intervals, &outing.bouts, inside, adherence)).flatten()
    });
    if let Role::Session(_) = audit.role {
        audit.outcome = Some(Outcome::attended(&reading, matched.as_ref(), rules));
    }
    audit.matched = matched;
    audit.recorded_pct = reading.recorded_pct;
    audit.events = reading.events;
}

/// What the laying of the recordings of one plan goes by.
struct Ground<'a> {
    plan: &'a Plan,
    start: Option<NaiveDate>,
    /// The plan's last day.
    until: NaiveDate,
    score: &'a CalendarScore,
    days: Vec<NaiveDate>,
    likenesses: Vec<Vec<Likeness>>,
    /// What the coach says of each recording.
    by_hand: Vec<Option<ByHand>>,
    /// Recordings that are off the plan from the start, since they lie at once with another one.
    off_plan: Vec<Option<ByHand>>,
    /// Sessions done without a recording, as the coach says.
    done: Vec<usize>,
    /// For each recording whether what came before calls for going back a block.
    ease_called: Vec<bool>,
}

impl Ground<'_> {
    /// The laying on a plan. A word by hand for what is laid so anyway changes nothing: only the others are followed, then what
    /// they unsettle.
    fn laid(&self, plan: &Plan, words: &Words) -> Laying {
        let lay = |by_hand: Vec<Option<ByHand>>| {
            let known = Known {
                start: self.start,
                by_hand,
                words: words.said(),
                free: words.free(),
                done: self.done.clone(),
                ease_called: self.ease_called.clone(),
            };
            lay(plan, &known, &self.days, self.score, &self.likenesses)
        };
        let without_words = lay(self.off_plan.clone());
        let mut followed = self.off_plan.clone();
        let mut laying = without_words.clone();
        loop {
            let not_so: Vec<usize> = (0..self.days.len())
                .filter(|at| followed[*at].is_none())
                .filter(|at| self.by_hand[*at].is_some_and(|said| !is_laid_so(said, &laying, *at)))
                .collect();
            if not_so.is_empty() {
                return laying;
            }
            not_so.into_iter().for_each(|at| followed[at] = self.by_hand[at]);
            laying = self.laid_by_hand(&followed, &without_words, lay);
        }
    }

    /// The laying with some recordings where the coach says. Where that stands against the order of the others these stay as they
    /// lie without the word, or without days as if the recording were not there: the next follows the one before. Else the
    /// likeliest story of all is taken. Of no story are there fewer sessions attended than by the recordings that were moved.
    fn laid_by_hand(
        &self,
        followed: &[Option<ByHand>],
        without_words: &Laying,
        lay: impl Fn(Vec<Option<ByHand>>) -> Laying,
    ) -> Laying {
        let session = |said: Option<ByHand>| match said {
            Some(ByHand::Session(session)) => Some(session),
            _ => None,
        };
        let is_undated = without_words.days.iter().all(Option::is_none);
        let free = |said: &Option<ByHand>| match said {
            Some(ByHand::Session(_)) if !is_undated => None,
            said => said.map(|_| ByHand::OffPlan),
        };
        let free: Vec<Option<ByHand>> = followed.iter().map(free).collect();
        let others = if free == self.off_plan { without_words.clone() } else { lay(free) };
        let mut places: Vec<Option<usize>> =
            others.recordings.iter().map(|laid| laid.map(|laid| laid.index)).collect();
        let mut in_order: Vec<Option<ByHand>> =
            followed.iter().map(|said| said.map(|_| ByHand::OffPlan)).collect();
        let said = || followed.iter().enumerate().filter_map(|(at, said)| Some((at, session(*said)?)));
        said().for_each(|(at, _)| places[at] = None);
        for (at, session) in said() {
            if goes_no_further_back(&places, at, session) {
                places[at] = Some(session);
                in_order[at] = Some(ByHand::Session(session));
            }
        }
        let together = said().any(|(at, _)| places[at].is_some()).then(|| lay(in_order));
        let moved = followed.iter().zip(&self.off_plan).filter(|(said, off)| said != off).count();
        let keeps_others = |laying: &Laying| laying.attended() + moved >= without_words.attended();
        let mut layings = together.into_iter().chain([others]).map(|laying| self.placed(laying, followed));
        layings.find(keeps_others).unwrap_or_else(|| self.placed(without_words.clone(), followed))
    }

    /// A laying with some recordings put where the coach says.
    fn placed(&self, mut laying: Laying, followed: &[Option<ByHand>]) -> Laying {
        let ids: Vec<SessionId> = self.plan.sessions().collect();
        for (at, said) in followed.iter().enumerate() {
            let Some(said) = *said else { continue };
            laying.others[at] = None;
            laying.recordings[at] = match said {
                ByHand::Session(index) => Some(Laid { session: ids[index], index, again: false }),
                ByHand::OffPlan => None,
            };
        }
        let mut seen = HashSet::new();
        for laid in laying.recordings.iter_mut().flatten() {
            laid.again = !seen.insert(laid.index);
        }
        laying
    }

    /// Nobody loses or misses a session for having been away, nor for having done it early since they would be. Absences are
    /// looked at once more only where they may have cost one.
    fn laid_around_absences(&self, words: &Words) -> Laying {
        let (pauses, said) = words.apart_from_pauses(&self.session_days());
        let mut waiting = self.plan.clone();
        waiting.pauses.extend(pauses);
        let laying = self.laid(&waiting, &said);
        let touches = |absence: &Absence| {
            let first = self.days.first();
            first.is_some_and(|first| self.start.unwrap_or(*first).min(*first) <= absence.days.to)
        };
        let missed = |laying: &Laying| self.missed(words, laying);
        if !words.absences.iter().any(touches)
            || (laying.attended() == self.days.len() && missed(&laying) == 0)
        {
            return laying;
        }
        let as_there = self.laid(self.plan, &Words { absences: Vec::new(), ..words.clone() });
        let missed_there = missed(&as_there);
        let loses =
            |laying: &Laying| laying.attended() < as_there.attended() || missed(laying) > missed_there;
        if !loses(&laying) {
            return laying;
        }
        // What was done early does not wait with the plan.
        let plan_waits_not = self.laid(self.plan, words);
        if loses(&plan_waits_not) { as_there } else { plan_waits_not }
    }

    /// The words, in which an absence of which nobody said whether the plan waited lets it pass where the athlete would miss more
    /// for having been away.
    fn without_harm(&self, words: Words, laying: &Laying) -> Words {
        let missed = |words: &Words| self.missed(words, laying);
        if words.absences.is_empty()
            || missed(&words) <= missed(&Words { absences: Vec::new(), ..words.clone() })
        {
            return words;
        }
        let passing = |absence: &Absence| Absence { waits: absence.waits.or(Some(false)), ..*absence };
        let passing = Words { absences: words.absences.iter().map(passing).collect(), ..words.clone() };
        if missed(&passing) < missed(&words) { passing } else { words }
    }

    /// The days of the recordings that may be a session.
    fn session_days(&self) -> Vec<NaiveDate> {
        let is_session = |at: &usize| match self.by_hand[*at] {
            Some(ByHand::Session(_)) => true,
            Some(ByHand::OffPlan) => false,
            None => self.off_plan[*at].is_none() && may_be_session(&self.likenesses[*at]),
        };
        (0..self.days.len()).filter(is_session).map(|at| self.days[at]).collect()
    }

    /// How many sessions are missed where the recordings lie so.
    fn missed(&self, words: &Words, laying: &Laying) -> usize {
        let laid = laying.recordings.iter().zip(&self.days).enumerate();
        let done = laid.filter_map(|(recording, (laid, day))| {
            Some(Done { session: (*laid)?.index, day: *day, recording })
        });
        let first = laying.days.first().copied().flatten();
        let rows = course(self.plan, first, words, &done.collect::<Vec<_>>(), &self.done, self.until);
        let is_missed =
            |row: &DueSession| row.due && row.recordings.is_empty() && !self.done.contains(&row.session);
        rows.iter().filter(|row| is_missed(row)).count()
    }
}

/// Whether a recording lies where the coach says.
fn is_laid_so(said: ByHand, laying: &Laying, recording: usize) -> bool {
    match (said, laying.recordings[recording]) {
        (ByHand::Session(session), laid) => laid.is_some_and(|laid| laid.index == session),
        (ByHand::OffPlan, laid) => laid.is_none() && laying.others[recording].is_none(),
    }
}

/// Whether a recording on a session takes no step back in the plan's order beside those that the recordings before and after
/// it take anyway.
fn goes_no_further_back(places: &[Option<usize>], recording: usize, session: usize) -> bool {
    let before = places[..recording].iter().rev().flatten().next().copied();
    let after = places[recording + 1..].iter().flatten().next().copied();
    let steps_back = |from: Option<usize>, to: Option<usize>| usize::from(to.is_some() && from > to);
    let here = Some(session);
    steps_back(before, here) + steps_back(here, after) <= steps_back(before, after)
}

/// For each recording whether it is taken for a walk though running and walking can't be told apart in it: it shows no
/// run, and the recordings before it show those that there are.
fn seen_as_walks(recordings: &[&Outing]) -> Vec<bool> {
    let mut runs_are_seen = false;
    let of = |outing: &&Outing| {
        let shows_none = !outing.bouts.iter().any(|bout| bout.kind == Kind::Run);
        let is_walk = runs_are_seen && !outing.resolvable && shows_none;
        runs_are_seen |= outing.has_runs();
        is_walk
    };
    recordings.iter().map(of).collect()
}

/// The last day of a plan: a later plan ends what is due of it.
fn ends(input: &AthleteInput<'_>, index: usize) -> NaiveDate {
    let last = plan_after(input.plans, index).and_then(|(_, start)| start.pred_opt());
    last.unwrap_or(NaiveDate::MAX).min(input.as_of)
}

/// What was told by hand, and for recordings that overlap in time that only one lies on a session: the one that is on one by
/// hand, else the one that knows more of it, else the one that is most like a session of the plan, of equals the first. What is
/// off the plan by hand stands in nobody's way.
fn one_at_a_time(
    recordings: &[&Outing],
    likenesses: &[Vec<Likeness>],
    mut by_hand: Vec<Option<ByHand>>,
) -> Vec<Option<ByHand>> {
    let likeness = |at: usize| likenesses[at].iter().map(|of| of.log_odds).fold(f64::NEG_INFINITY, f64::max);
    let mut best: Option<usize> = None;
    for (at, outing) in recordings.iter().enumerate() {
        if by_hand[at] == Some(ByHand::OffPlan) {
            continue;
        }
        let Some(known) = best.filter(|best| outing.counts_from_utc() < recordings[*best].end_utc()) else {
            best = Some(at);
            continue;
        };
        let knows_more = || {
            let of_it = outing.held_against(recordings[known]);
            of_it.then(likeness(at).total_cmp(&likeness(known))) == Ordering::Greater
        };
        let is_better = by_hand[known].is_none() && (by_hand[at].is_some() || knows_more());
        let (kept, other) = if is_better { (at, known) } else { (known, at) };
        best = Some(kept);
        by_hand[other].get_or_insert(ByHand::OffPlan);
    }
    by_hand
}

/// For each recording the likeliest kind of session, with the recording laid on it; `None` where it is like none.
fn likeliest(
    recordings: &[&Outing],
    likenesses: &[Vec<Likeness>],
    kinds: &[(SessionId, &Prescription)],
    adherence: &AdherenceSettings,
) -> Vec<Option<(usize, SessionMatch)>> {
    let of = |(outing, likenesses): (&&Outing, &Vec<Likeness>)| {
        let log_odds = |kind: usize| likenesses[kind].log_odds;
        let likely = (0..kinds.len()).max_by(|a, b| log_odds(*a).total_cmp(&log_odds(*b)))?;
        if !outing.resolvable || log_odds(likely) <= 0.0 {
            return None;
        }
        Some((likely, match_session(&kinds[likely].1.intervals, &outing.bouts, adherence)?))
    };
    recordings.iter().zip(likenesses).map(of).collect()
}

/// For each recording whether what came before calls for going back a block: under the dose of easing twice running.
fn ease_called(input: &AthleteInput<'_>, likeliest: &[Option<(usize, SessionMatch)>]) -> Vec<bool> {
    let is_poor = |at: usize| {
        let running = likeliest[at].as_ref()?.1.running.as_ref()?;
        Some(running.dose_pct < input.settings.rules.complete_ease_pct)
    };
    let mut called = Vec::with_capacity(likeliest.len());
    let mut last_two = [false; 2];
    for at in 0..likeliest.len() {
        called.push(last_two == [true; 2]);
        if let Some(poor) = is_poor(at) {
            last_two = [last_two[1], poor];
        }
    }
    called
}

/// The sessions of one plan with what became of them.
pub(super) fn planned_sessions(
    input: &AthleteInput<'_>,
    followed: &Followed<'_>,
    outings: &[OutingAudit],
) -> Vec<PlannedSession> {
    let Followed { index, plan, words, laying, told_by_hand } = followed;
    let laid = outings.iter().enumerate().filter(|(_, audit)| audit.plan == Some(*index));
    let done: Vec<Done> = laid
        .filter_map(|(at, audit)| match audit.role {
            Role::Session(laid) => {
                Some(Done { session: laid.index, day: input.outings[audit.outing].day(), recording: at })
            }
            _ => None,
        })
        .collect();
    let ids: Vec<SessionId> = plan.sessions().collect();
    let first = laying.days.first().copied().flatten();
    let mut said = input.done_by_hand(*index);
    let course = |said: &[usize]| course(plan, first, words, &done, said, ends(input, *index));
    let mut rows = course(&said);
    // What falls due after the day judged from counts by then, unless something further on was done.
    let newest = done.iter().map(|done| done.session).max();
    let is_ahead = |row: &DueSession| {
        row.day > Some(input.as_of) && row.recordings.is_empty() && Some(row.session) > newest
    };
    let ahead: Vec<usize> = rows.iter().filter(|row| is_ahead(row)).map(|row| row.session).collect();
    if said.iter().any(|session| ahead.contains(session)) {
        said.retain(|session| !ahead.contains(session));
        rows = course(&said);
    }
    // What was done without a recording was done once: what falls due again is open again.
    let mut open_said = said;
    let of = |row: DueSession| {
        let is_said = open_said.iter().position(|session| *session == row.session && row.due);
        let is_said = is_said.map(|at| open_said.swap_remove(at)).is_some();
        let id = ids[row.session];
        let planned_run_s = plan.session(id).run_s;
        // Of those that can be told one that was completed, then the one with most of the running that was asked for, the first of
        // equals; a walk by how much of it was walked. A share would be full of a piece too.
        let best = (row.recordings.iter().rev())
            .filter_map(|&at| {
                let audit = &outings[at];
                Some((at, audit.matched.as_ref()?, audit.outcome?))
            })
            .max_by(|(_, a, a_outcome), (_, b, b_outcome)| {
                let rank =
                    |outcome: &Outcome| (*outcome != Outcome::Unresolvable, *outcome == Outcome::Completed);
                let done = |of: &SessionMatch| {
                    of.running.as_ref().map_or(of.adherence_pct, |of| of.dose_pct * of.planned_s)
                };
                rank(a_outcome).cmp(&rank(b_outcome)).then(done(a).total_cmp(&done(b)))
            });
        let outcome = match (best, row.recordings.first()) {
            (Some((.., outcome)), _) => outcome,
            (None, Some(first)) => outings[*first].outcome.unwrap_or(Outcome::Unresolvable),
            (None, None) if is_said => Outcome::Said,
            (None, None) if row.excused => Outcome::Excused,
            (None, None) if row.due => Outcome::Missed,
            (None, None) => Outcome::Ahead,
        };
        PlannedSession {
            session: id,
            day: row.day,
            due: row.due,
            planned_run_s,
            counted_run_s: match best {
                Some((at, matched, outcome)) => {
                    counted_run_s(outcome, matched, outings[at].recorded_pct, &outings[at].events)
                }
                None => Some(planned_run_s).filter(|_| !outcome.is_attended()),
            },
            done_run_s: best
                .and_then(|(_, matched, _)| matched.running.as_ref())
                .map(|running| running.dose_pct / 100.0 * running.planned_s),
            outcome,
            by_hand: match row.recordings.is_empty() {
                true => outcome == Outcome::Said,
                false => row.recordings.iter().any(|at| told_by_hand.contains(at)),
            },
            shown: best.map(|(at, ..)| at).or(row.recordings.first().copied()),
            recordings: row.recordings,
        }
    };
    rows.into_iter().map(of).collect()
}

pub(super) fn attendance_by_week(planned: &[(usize, PlannedSession)]) -> Vec<(IsoWeek, Attendance)> {
    let mut weeks: BTreeMap<IsoWeek, Vec<&PlannedSession>> = BTreeMap::new();
    for (_, session) in planned.iter().filter(|(_, session)| session.due) {
        if let Some(day) = session.day {
            weeks.entry(day.iso_week()).or_default().push(session);
        }
    }
    weeks.into_iter().map(|(week, sessions)| (week, Attendance::of(sessions))).collect()
}

pub(super) fn attendance_by_block(
    input: &AthleteInput<'_>,
    planned: &[(usize, PlannedSession)],
) -> Vec<(usize, String, Attendance)> {
    planned
        .chunk_by(|a, b| (a.0, a.1.session.block) == (b.0, b.1.session.block))
        .map(|block| {
            let (plan, first) = &block[0];
            let label = input.plans[*plan].plan.blocks[first.session.block].label.clone();
            (*plan, label, Attendance::of(block.iter().map(|(_, session)| session)))
        })
        .filter(|(_, _, sums)| sums.due > 0)
        .collect()
}

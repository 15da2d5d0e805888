//! Lays an athlete's recordings on the plan: the likeliest story of a season.
//!
//! # The score
//!
//! Every recording is laid on one session of the plan, or on none. Laid sessions follow each other in the plan's
//! order; a session may be laid twice (done again) or never (missed). A story has as its points the natural logarithm of
//! how likely it is, up to what is the same for all. It is the sum of
//!
//! - for each recording laid, its **likeness**: the log odds that it is such a session and not off the plan
//!   ([`Likeness`]); recordings on no session bring 0;
//! - for each **session**, that it was missed, attended, or done again;
//! - for each **date**, that the session was done on its day or so many days beside it.
//!
//! A break, a late start or a session done again may *delay* the plan, by days or by planned days. That is rare and costs
//! once; from then on the delayed day is the session's day. Or the athlete goes out in a rhythm of her **own**: that
//! costs once too, and then a session is due one step of hers after the one before; her steps are learned from the days
//! of her recordings so far. What **another block** asks for, done once, lies on no session and moves none. After going
//! **back a block** its sessions are done again, and then the plan goes on.
//! How rare each is, says [`CalendarScore`] in % of the sessions. Where order alone counts, no date says anything.
//!
//! Where the start is not known, the day of each of the first recordings may have been the first, until the likeliest story
//! from there is far behind that from another.
//!
//! # Stable under new recordings
//!
//! The recordings are taken day by day. Those of a new day are first laid with all earlier ones left where they are;
//! only where the best laying of all is clearly likelier (`rewrite_odds`) does it take over. So the past is
//! rewritten only with cause, and the result is within those odds of the best.
//!
//! # The search
//!
//! Stories that are the same from here on (the next session, the plan's delay or the own rhythm, the newest day) are one,
//! of which the likeliest is kept. Those far behind the best are given up, so that the work grows with the recordings and
//! not with the length of the plan or the number of delays.

mod chances;
mod grid;
mod lanes;
mod most;
mod search;
mod step;

use std::iter::successors;

use chrono::NaiveDate;

use crate::likeness::may_be_session;
use crate::{CalendarScore, Likeness, Pause, Plan, Rhythm, SessionId};
use chances::Chances;
use grid::{Grid, day_number};
use lanes::Lanes;
pub use search::Word;
use search::{Candidates, Ground, Search, Spot, laying};
use step::Steps;

/// Planned days past the end of a plan, for one that waits (own choice).
const PLANNED_DAYS_MORE: usize = 6;

/// Where a recording was laid.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Laid {
    /// The session.
    pub session: SessionId,
    /// Index of the session in the whole plan, from 0.
    pub index: usize,
    /// Whether the session had been laid before.
    pub again: bool,
}

/// A plan with an athlete's recordings laid on it.
#[derive(Clone, Debug, PartialEq)]
pub struct Laying {
    /// For each recording its session, in the order of the recordings.
    pub recordings: Vec<Option<Laid>>,
    /// For each recording on no session the number of what it is all the same, where that is what another block asks for.
    pub others: Vec<Option<usize>>,
    /// The planned day of each session; `None` where order alone counts, or no start is known and no recording was laid.
    pub days: Vec<Option<NaiveDate>>,
    /// The points.
    pub points: f64,
}

impl Laying {
    /// Number of sessions on which recordings lie.
    pub fn attended(&self) -> usize {
        self.recordings.iter().flatten().filter(|laid| !laid.again).count()
    }
}

/// What a coach says by hand of one recording.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ByHand {
    /// It is that session, by its place in the plan.
    Session(usize),
    /// It is on no session.
    OffPlan,
}

/// What is known of an athlete's plan beside the days and contents of the recordings.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Known {
    /// Day of the plan's first session; without it the plan starts on the day of one of the first recordings.
    pub start: Option<NaiveDate>,
    /// For each recording what the coach says of it; shorter than the recordings: nothing of the rest.
    pub by_hand: Vec<Option<ByHand>>,
    /// The coach's words by day.
    pub words: Vec<(NaiveDate, Word)>,
    /// Times in which nothing falls due.
    pub free: Vec<Pause>,
    /// Sessions done without a recording, by their places in the plan.
    pub done: Vec<usize>,
    /// For each recording whether the sessions before it call for going back a block; empty: none does.
    pub ease_called: Vec<bool>,
}

/// Lays recordings on a plan.
///
/// `days` are the local days of the recordings, in order of time.
/// `likenesses` tell of each recording how likely it is a session of each kind ([`Plan::kinds`], by index; in a plan whose
/// blocks ask for one session each these are the blocks).
///
/// ```
/// use boutwise_season::{CalendarScore, Known, Likeness, Plan, lay};
/// let plan = Plan::parse("[[block]]\nsessions = 3\nevery_days = 2\nsession = '10:00 run'", "p").unwrap();
/// let day = |day| chrono::NaiveDate::from_ymd_opt(2026, 3, day).unwrap();
/// // The second session was skipped.
/// let known = Known { start: Some(day(2)), ..Known::default() };
/// let likely = vec![Likeness { log_odds: 5.0, walked: false }];
/// let laying = lay(&plan, &known, &[day(2), day(6)], &CalendarScore::default(), &[likely.clone(), likely]);
/// let numbers: Vec<_> = laying.recordings.iter().flatten().map(|laid| laid.session.number).collect();
/// assert_eq!(numbers, [1, 3]);
/// ```
pub fn lay(
    plan: &Plan,
    known: &Known,
    days: &[NaiveDate],
    score: &CalendarScore,
    likenesses: &[Vec<Likeness>],
) -> Laying {
    lay_in_lanes(plan, known, days, score, likenesses, true)
}

/// `may_wait` decides what is followed when, and changes nothing else ([`Lanes`]).
fn lay_in_lanes(
    plan: &Plan,
    known: &Known,
    days: &[NaiveDate],
    score: &CalendarScore,
    likenesses: &[Vec<Likeness>],
    may_wait: bool,
) -> Laying {
    let start = known.start;
    let only = |recording: usize| match known.by_hand.get(recording) {
        Some(Some(ByHand::Session(session))) => Some(Some(Spot::Session(*session))),
        Some(Some(ByHand::OffPlan)) => Some(None),
        _ => None,
    };
    let sessions: Vec<SessionId> = plan.sessions().collect();
    let kinds: Vec<usize> = sessions.iter().map(|session| plan.kind(*session)).collect();
    let mut blocks: Vec<(usize, usize)> = Vec::new();
    for block in sessions.chunk_by(|a, b| a.block == b.block) {
        let first = blocks.last().map_or(0, |(_, end)| *end);
        blocks.push((first, first + block.len()));
    }
    let kinds_of: Vec<Vec<usize>> = (blocks.iter())
        .map(|(first, end)| {
            let mut of = kinds[*first..*end].to_vec();
            of.sort_unstable();
            of.dedup();
            of
        })
        .collect();
    let candidates: Vec<Candidates> =
        likenesses.iter().map(|likenesses| Candidates::new(&kinds_of, likenesses)).collect();
    let mut starts: Vec<NaiveDate> = match start {
        Some(start) => vec![start],
        None => days.iter().copied().take(score.start_recordings as usize).collect(),
    };
    starts.dedup();
    if plan.blocks[0].rhythm == Rhythm::Undated {
        starts.truncate(1);
    }
    let mut words: Vec<(i32, Word)> =
        known.words.iter().map(|(day, word)| (day_number(*day), *word)).collect();
    words.sort_by_key(|(day, _)| *day);
    let free = in_order_and_apart(&known.free);
    let chances = Chances::new(score);
    let firsts = starts.into_iter().map(|first| {
        let more = plan.days_from(first, sessions.len() + PLANNED_DAYS_MORE);
        let grid = Grid::new(&more, sessions.len());
        let ground = Ground {
            sessions: &sessions,
            kinds: &kinds,
            planned: more[..sessions.len()].to_vec(),
            days: days.iter().copied().map(day_number).collect(),
            grid,
            likenesses,
            chances,
            known_start: start.is_some(),
            words: words.clone(),
            free: free.clone(),
            done: (0..sessions.len()).map(|session| known.done.contains(&session)).collect(),
            any_done: !known.done.is_empty(),
            missed: successors(Some(0.0), |points| Some(points + chances.missed))
                .take(sessions.len() + 1)
                .collect(),
            ease_called: (0..days.len()).map(|at| known.ease_called.get(at) == Some(&true)).collect(),
            by_hand: (0..days.len()).map(|at| matches!(known.by_hand.get(at), Some(Some(_)))).collect(),
            blocks: &blocks,
            candidates: &candidates,
        };
        (first, ground)
    });
    let mut lanes = Lanes::new(firsts, may_wait);
    let mut rhythm = Steps::default();
    let mut newest: Option<NaiveDate> = None;
    let mut steps = Vec::with_capacity(days.len());
    let mut held: Option<(usize, Search)> = None;
    let mut first = 0;
    while first < days.len() {
        let day = days[first];
        let until = first + days[first..].iter().take_while(|other| **other == day).count();
        steps.resize(until, rhythm.chances());
        if (first..until).any(|at| may_be_session(&likenesses[at]))
            && let Some(before) = newest.replace(day)
        {
            rhythm.count(day_number(before), day_number(day));
        }
        if let Some((lane, held)) = &mut held {
            (first..until).for_each(|at| held.take(lanes.ground(*lane), at, &steps[at], only(at)));
            held.settle(first);
        }
        let kept = held.as_ref().map_or(f64::NEG_INFINITY, |(_, held)| held.value());
        let clearly = kept + score.rewrite_odds.ln();
        if let Some((lane, value)) = lanes.take(first..until, day, &steps, &only, clearly)
            && (value > clearly || held.is_none())
        {
            let mut search = Search::new();
            for (at, spot) in lanes.trace(lane, until).into_iter().enumerate() {
                search.take(lanes.ground(lane), at, &steps[at], Some(spot));
            }
            held = Some((lane, search));
        }
        first = until;
    }
    match held {
        Some((lane, held)) => laying(lanes.ground(lane), &held.trace(days.len()), held.value()),
        None => Laying {
            recordings: Vec::new(),
            others: Vec::new(),
            days: start.map_or_else(|| vec![None; sessions.len()], |start| plan.dates(start)),
            points: 0.0,
        },
    }
}

/// First and last days of times, in order; those that touch are one.
fn in_order_and_apart(times: &[Pause]) -> Vec<(i32, i32)> {
    let mut all: Vec<(i32, i32)> =
        times.iter().map(|time| (day_number(time.from), day_number(time.to))).collect();
    all.sort_unstable();
    let mut apart: Vec<(i32, i32)> = Vec::with_capacity(all.len());
    for (from, to) in all {
        match apart.last_mut().filter(|before| from <= before.1) {
            Some(before) => before.1 = before.1.max(to),
            None => apart.push((from, to)),
        }
    }
    apart
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn day(day: u64) -> NaiveDate {
        NaiveDate::from_ymd_opt(2026, 3, 1).unwrap() + chrono::Days::new(day)
    }

    /// The documented score, by plain recursion over every story that there is.
    struct Slow<'a> {
        plan: &'a Plan,
        /// The day of the first session.
        start: NaiveDate,
        known_start: bool,
        days: &'a [NaiveDate],
        likeness: &'a dyn Fn(usize, usize) -> Likeness,
        chances: Chances,
        steps: Vec<step::Step>,
    }

    #[derive(Clone, Copy, PartialEq)]
    enum Days {
        /// So many days late after so many planned days waited; before `start` the last step goes back.
        Plan(i64, i64),
        Own,
    }

    #[derive(Clone, Copy)]
    struct Now {
        passed: usize,
        days: Days,
        newest: Option<NaiveDate>,
        walked: bool,
        resume: Option<usize>,
    }

    impl Slow<'_> {
        fn dated(&self) -> bool {
            self.plan.blocks[0].rhythm != Rhythm::Undated
        }

        fn sessions(&self) -> usize {
            self.plan.sessions().count()
        }

        /// All plans of these tests go every two days.
        fn due(&self, session: usize, (late, waited): (i64, i64)) -> NaiveDate {
            self.start + chrono::TimeDelta::days(2 * (session as i64 + waited) + late)
        }

        /// The delays with which a session falls on a day: in days, or in planned days and at most one left over.
        fn delays(&self, session: usize, on: NaiveDate, waited: i64) -> Vec<Days> {
            let late = (on - self.due(session, (0, 0))).num_days();
            let by_planned = (late.rem_euclid(2), late.div_euclid(2));
            let all = [(late - 2 * waited, waited), by_planned];
            let mut all: Vec<_> =
                all.into_iter().filter(|(late, waited)| *late >= 0 && *waited >= 0).collect();
            all.dedup();
            all.retain(|_| late <= i64::from(self.chances.longest_delay_days));
            all.into_iter().map(|(late, waited)| Days::Plan(late, waited)).collect()
        }

        /// What was known of the own step before each recording.
        fn learn(mut self) -> Self {
            self.steps = (0..self.days.len()).map(|recording| self.step(recording)).collect();
            self
        }

        fn step(&self, recording: usize) -> step::Step {
            let is_like = |at: &usize| {
                (0..self.plan.kinds().len()).any(|kind| {
                    let of = (self.likeness)(*at, kind);
                    !of.walked && of.log_odds > 0.0
                })
            };
            let mut seen: Vec<i32> =
                (0..recording).filter(is_like).map(|at| day_number(self.days[at])).collect();
            seen.retain(|day| *day < day_number(self.days[recording]));
            seen.dedup();
            let mut steps = Steps::default();
            seen.windows(2).for_each(|pair| steps.count(pair[0], pair[1]));
            steps.chances()
        }

        /// What a step of so many sessions says in an own rhythm.
        fn own(&self, recording: usize, now: Now, more: usize, walked: bool) -> Option<f64> {
            let (from, to) = (now.newest?, self.days[recording]);
            if from == to {
                return (more == 0 && !walked).then_some(self.chances.same_day);
            }
            let step = &self.steps[recording];
            let chance = |sessions| step.chance(day_number(from), day_number(to), sessions);
            if walked && (more > 0 || chance(1) < 0.25) {
                return None;
            }
            let skipped = chance(1).max(0.002).ln() + self.chances.skipped * more as f64;
            Some(skipped.max(chance(more + 1).ln() + self.chances.missed * more as f64))
        }

        /// Points of the recordings from one on.
        fn best(&self, recording: usize, now: Now) -> f64 {
            let c = self.chances;
            let Some(&on) = self.days.get(recording) else {
                let last = self.days[self.days.len() - 1];
                let Days::Plan(late, waited) = now.days else { return 0.0 };
                if !self.dated() {
                    return 0.0;
                }
                let open = now.passed..self.sessions();
                return c.missed * open.filter(|s| self.due(*s, (late, waited)) <= last).count() as f64;
            };
            let ids: Vec<SessionId> = self.plan.sessions().collect();
            let mut best = self.best(recording + 1, now);
            let mut lay = |points: f64, session: usize, days: Days, walked: bool, resume: Option<usize>| {
                let resume = resume.filter(|resume| session + 1 < *resume);
                let then = Now { passed: session + 1, days, newest: Some(on), walked, resume };
                best = best.max(points + self.best(recording + 1, then));
            };
            for (session, id) in ids.iter().enumerate().skip(now.passed) {
                let Likeness { log_odds, walked } = (self.likeness)(recording, id.block);
                let more = session - now.passed;
                let from_its_start: f64 = if now.resume.is_some() && session == 2 { 0.3 } else { 1.0 };
                let base = log_odds + c.attended + from_its_start.ln();
                let left_out = if self.dated() { c.missed } else { c.skipped } * more as f64;
                if !self.dated() {
                    if !walked {
                        lay(base + left_out, session, now.days, false, now.resume);
                    }
                    continue;
                }
                let Days::Plan(late, waited) = now.days else {
                    if let Some(points) = self.own(recording, now, more, walked) {
                        lay(base + points, session, Days::Own, walked, now.resume);
                    }
                    for days in self.delays(session, on, 0) {
                        lay(base + left_out + c.delayed + c.on_day, session, days, walked, now.resume);
                    }
                    continue;
                };
                let off = (on - self.due(session, (late, waited))).num_days();
                let after_walk = if now.walked && off < 0 && more == 0 { c.run_after_walk } else { 0.0 };
                if off == 0 || !walked {
                    lay(
                        base + left_out + c.date(off.abs() as i32) + after_walk,
                        session,
                        now.days,
                        walked,
                        now.resume,
                    );
                }
                if !walked && more == 0 && now.newest == Some(on) {
                    lay(base + c.same_day, session, now.days, walked, now.resume);
                }
                let at_start = now.newest.is_none() && self.known_start;
                for days in self.delays(session, on, waited).into_iter().filter(|days| *days != now.days) {
                    let delayed = match days {
                        _ if !at_start => c.delayed,
                        Days::Plan(0, _) => c.late_by_planned,
                        _ => c.late_start,
                    };
                    lay(base + left_out + delayed + c.on_day, session, days, walked, now.resume);
                }
                if !walked {
                    let late = if at_start && !(0..2).contains(&off) { c.late_start } else { 0.0 };
                    let own = if now.newest.is_none() { c.own_rhythm + late } else { c.own_rhythm_later };
                    lay(base + left_out + own + c.on_day, session, Days::Own, false, now.resume);
                }
            }
            let newest = now.passed.checked_sub(1);
            if let Some(session) = newest {
                let Likeness { log_odds, walked } = (self.likeness)(recording, ids[session].block);
                if !walked {
                    let soon = now.newest.is_some_and(|newest| (on - newest).num_days() <= 1);
                    let after_walk = if now.walked { c.run_after_walk } else { 0.0 };
                    let again = if soon { c.again } else { c.again_later };
                    lay(log_odds + again + after_walk, session, now.days, false, now.resume);
                    match now.days {
                        Days::Plan(late, waited) if self.dated() => {
                            if self.due(session, (late, waited + 1)) == on {
                                let days = Days::Plan(late, waited + 1);
                                lay(log_odds + c.waiting, session, days, false, now.resume);
                            }
                        }
                        Days::Own => {
                            if let Some(points) = self.own(recording, now, 0, false) {
                                lay(log_odds + c.waiting + points, session, Days::Own, false, now.resume);
                            }
                        }
                        Days::Plan(..) => lay(log_odds + c.waiting, session, now.days, false, now.resume),
                    }
                    // Back to the first block, from the second one.
                    let Likeness { log_odds, walked } = (self.likeness)(recording, 0);
                    if ids[session].block == 1 && now.resume.is_none() && !walked && log_odds > 0.0 {
                        let days = match now.days {
                            Days::Plan(..) if self.dated() => {
                                let late = (on - self.start).num_days();
                                Days::Plan(late.rem_euclid(2), late.div_euclid(2))
                            }
                            days => days,
                        };
                        let date = if self.dated() { c.on_day } else { 0.0 };
                        lay(log_odds + c.eased + c.attended + date, 0, days, false, Some(now.passed));
                    }
                }
            }
            if let Some(resume) = now.resume {
                for session in [2, resume] {
                    if session <= now.passed || session >= ids.len() {
                        continue;
                    }
                    let Likeness { log_odds, walked } = (self.likeness)(recording, ids[session].block);
                    if walked {
                        continue;
                    }
                    let share: f64 = if session == resume { 0.7 } else { 0.3 };
                    for turn in now.passed..=now.passed.max(2) {
                        let more = turn - now.passed;
                        let left_out = if self.dated() { c.missed } else { c.skipped } * more as f64;
                        let date = match now.days {
                            Days::Plan(late, waited) if self.dated() => {
                                let waited = waited + turn as i64 - session as i64;
                                let off = (on - self.due(session, (late, waited))).num_days();
                                Some((Days::Plan(late, waited), c.date(off.abs() as i32) + left_out))
                            }
                            Days::Own => {
                                self.own(recording, now, more, false).map(|points| (Days::Own, points))
                            }
                            days => Some((days, left_out)),
                        };
                        if let Some((days, date)) = date {
                            let points = log_odds + c.attended + date + share.ln();
                            lay(points, session, days, false, None);
                        }
                    }
                }
            }
            for block in 0..2 {
                let turn = [newest, Some(now.passed)].into_iter().flatten().filter_map(|at| ids.get(at));
                let Likeness { log_odds, walked } = (self.likeness)(recording, block);
                if !walked && turn.into_iter().all(|id| id.block != block) {
                    best = best.max(log_odds + c.other_block + self.best(recording + 1, now));
                }
            }
            best
        }
    }

    fn any_likeness() -> impl Strategy<Value = Likeness> {
        prop_oneof![
            6 => (-4.0..30.0f64).prop_map(|log_odds| Likeness { log_odds, walked: false }),
            1 => (-4.0..3.0f64).prop_map(|log_odds| Likeness { log_odds, walked: true }),
        ]
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(400))]

        #[test]
        fn the_search_finds_the_most_points_that_there_are(
            dated in any::<bool>(),
            known_start in any::<bool>(),
            mut offsets in proptest::collection::vec(0u64..12, 1..4),
            likenesses in proptest::collection::vec(proptest::array::uniform2(any_likeness()), 4),
        ) {
            let rhythm = if dated { "every_days = 2" } else { "" };
            let text = format!(
                "[[block]]\nsessions = 2\n{rhythm}\nsession = '5:00 run'\n\
                 [[block]]\nsessions = 2\n{rhythm}\nsession = '9:00 run'"
            );
            let plan = Plan::parse(&text, "p").unwrap();
            offsets.sort_unstable();
            let days: Vec<NaiveDate> = offsets.iter().map(|offset| day(*offset)).collect();
            let score = CalendarScore {
                rewrite_odds: 1.0,
                longest_delay_days: 5,
                start_recordings: 1,
                ..CalendarScore::default()
            };
            let start = known_start.then(|| day(2));
            let likely: Vec<Vec<Likeness>> = likenesses.iter().map(|of| of.to_vec()).collect();
            let laying = lay(&plan, &Known { start, ..Known::default() }, &days, &score, &likely);
            let likeness = |recording: usize, block: usize| likenesses[recording][block];
            let slow = Slow {
                plan: &plan,
                start: start.unwrap_or(days[0]),
                known_start,
                days: &days,
                likeness: &likeness,
                chances: Chances::new(&score),
                steps: Vec::new(),
            }
            .learn();
            let days = Days::Plan(0, 0);
            let best = slow.best(0, Now { passed: 0, days, newest: None, walked: false, resume: None });
            prop_assert!((laying.points - best).abs() < 1e-6, "{} {}", laying.points, best);
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(300))]

        /// Seasons that mostly keep to a plan's days from some point on, so that lanes wait, and then again do not.
        #[test]
        fn lanes_that_wait_change_nothing(
            sessions in (2usize..20, 0usize..20),
            every in 1u64..4,
            steps in proptest::collection::vec((prop_oneof![6 => Just(None), 1 => (0u64..9).prop_map(Some)], any_odds(), any_odds()), 1..70),
            said in proptest::collection::vec((0usize..70, 0usize..20), 0..3),
            words in proptest::collection::vec((0u64..120, any_word()), 0..3),
            first_recordings in 2u32..6,
            rewrite_odds in prop_oneof![Just(1.0), Just(500.0), Just(1e5)],
        ) {
            let block = |sessions, run| format!("[[block]]\nsessions = {sessions}\nevery_days = {every}\nsession = '{run}:00 run'\n");
            let blocks = [(sessions.0, 5), (sessions.1, 9)].map(|(of, run)| if of > 0 { block(of, run) } else { String::new() });
            let plan = Plan::parse(&blocks.concat(), "p").unwrap();
            let mut on = 0;
            let mut days = Vec::new();
            let mut likely = Vec::new();
            for (step, one, other) in steps {
                on += step.unwrap_or(every);
                days.push(day(on));
                likely.push([one, other][..plan.kinds().len()].to_vec());
            }
            let mut by_hand = vec![None; days.len()];
            for (recording, session) in said {
                if let Some(said) = by_hand.get_mut(recording) {
                    *said = Some(if session < plan.sessions().count() { ByHand::Session(session) } else { ByHand::OffPlan });
                }
            }
            let words = words.into_iter().map(|(on, word)| (day(on), word)).collect();
            let known = Known { by_hand, words, ..Known::default() };
            let score = CalendarScore { start_recordings: first_recordings, rewrite_odds, ..CalendarScore::default() };
            let [waiting, followed] = [true, false].map(|may_wait| lay_in_lanes(&plan, &known, &days, &score, &likely, may_wait));
            prop_assert_eq!(waiting, followed);
        }
    }

    fn any_odds() -> impl Strategy<Value = Likeness> {
        let likeness = |walked| move |log_odds| Likeness { log_odds, walked };
        prop_oneof![
            8 => (5.0..12.0f64).prop_map(likeness(false)),
            2 => (-9.0..5.0f64).prop_map(likeness(false)),
            1 => (-4.0..3.0f64).prop_map(likeness(true)),
        ]
    }

    fn any_word() -> impl Strategy<Value = Word> {
        prop_oneof![
            Just(Word::Hold),
            Just(Word::Ease),
            Just(Word::Advance),
            Just(Word::Stop),
            Just(Word::Back)
        ]
    }

    #[test]
    fn a_walk_is_laid_on_its_very_day_only() {
        let plan = Plan::parse("[[block]]\nsessions = 2\nevery_days = 2\nsession = '5:00 run'", "p").unwrap();
        let lay = |days: &[u64]| {
            let days: Vec<NaiveDate> = days.iter().map(|offset| day(*offset)).collect();
            let walked = Likeness { log_odds: 2.0, walked: true };
            let known = Known { start: Some(day(0)), ..Known::default() };
            let likenesses = vec![vec![walked]; days.len()];
            super::lay(&plan, &known, &days, &CalendarScore::default(), &likenesses).recordings
        };
        assert_eq!(lay(&[0, 1, 2]).iter().map(Option::is_some).collect::<Vec<_>>(), [true, false, true]);
        assert_eq!(lay(&[0, 3]).iter().map(Option::is_some).collect::<Vec<_>>(), [true, false]);
    }

    #[test]
    fn a_plan_that_waits_goes_on_by_its_own_days_of_the_week() {
        let text = "[[block]]\nsessions = 6\ndays = ['Mon', 'Wed', 'Sat']\nsession = '5:00 run'";
        let plan = Plan::parse(text, "p").unwrap();
        // Monday to Wednesday of the week after; then the second session once more, and the rest one planned day late.
        let days: Vec<NaiveDate> = [1, 3, 6, 8, 10, 13, 15].into_iter().map(day).collect();
        let known = Known { start: Some(day(1)), ..Known::default() };
        let likely = vec![vec![Likeness { log_odds: 20.0, walked: false }]; days.len()];
        let laying = lay(&plan, &known, &days, &CalendarScore::default(), &likely);
        assert_eq!(laying.recordings.iter().flatten().filter(|laid| laid.again).count(), 1);
        assert_eq!(laying.recordings[6].unwrap().index, 5);
    }

    #[test]
    fn in_long_seasons_the_narrow_search_loses_no_story_that_is_followed() {
        let plan = |first| format!("[[block]]\nsessions = {first}\nevery_days = 2\nsession = '5:00 run'\n");
        for (first, gap) in [(8, 0), (20, 9), (20, 30)] {
            let text = format!("{}{}", plan(first), plan(30).replace("5:00", "9:00"));
            let plan = Plan::parse(&text, "plan.toml").unwrap();
            // Days that come early, late and twice, and likenesses that mostly say little.
            let mut draw = 0x9e37_79b9_u64;
            let mut drawn = |below: u64| {
                draw = draw.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
                (draw >> 33) % below
            };
            let mut on = 0;
            let mut days = Vec::new();
            for at in 0..40 {
                on += [2, 2, 1, 3, 0, 4][drawn(6) as usize] + if at == 25 { gap } else { 0 };
                days.push(day(on));
            }
            let likely: Vec<Vec<Likeness>> = (days.iter())
                .map(|_| {
                    let mut of =
                        |_| Likeness { log_odds: drawn(100) as f64 / 10.0 - 4.0, walked: drawn(7) == 0 };
                    (0..2).map(&mut of).collect()
                })
                .collect();
            for known in [Known::default(), Known { start: Some(day(0)), ..Known::default() }] {
                let laying = lay(&plan, &known, &days, &CalendarScore::default(), &likely);
                assert_eq!(laying.recordings.len(), days.len());
            }
        }
    }
}

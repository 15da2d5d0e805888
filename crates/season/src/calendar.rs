//! Lays an athlete's recordings on the plan: the explanation with the most points, found exactly.
//!
//! # The score
//!
//! Every recording is laid on one session of the plan, or on none. Laid sessions follow each other in the plan's
//! order; a session may be laid twice (done again) or never (skipped). A laying has the sum of these points, all
//! of them numbers of [`CalendarScore`]:
//!
//! - **Likeness**: a mean of adherence and form less a share of what was overdone, and more for a full match. Form is how fully the attempted reps were run, times the breaks taken of those that were due between
//!   them: 3 of 8 reps run as asked have the session's form, one straight run of the same length has not. Who goes out
//!   on the very day of a session went out for it: there the likeness is never below that of mere presence.
//! - **Date**: points off for a recording moved to another day, and for each day off.
//!   A break, a late start or a session done again may delay the plan: the change costs once (after a session done
//!   again nothing), and from then on the delayed day is the session's day. Where order alone counts, nothing.
//! - **Order**: points off for a session done again, and for each skipped session where order alone counts. With days
//!   the day tells.
//!
//! A walk is laid on a session with runs on its very day only, delay included. Recordings that are on no session bring
//! nothing.
//!
//! # Stable under new recordings
//!
//! The recordings are taken day by day. Those of a new day are first laid with all earlier ones left where they are;
//! only where the best laying of all has clearly more points (`rewrite_margin`) does it take over. So the past is
//! rewritten only with cause, and the result is within that margin of the best.
//!
//! # The search
//!
//! Where the start is not known, the first recording may have been late itself: then the plan's days may turn out to
//! lie a little earlier, once, at the cost of any delay.
//!
//! The search is dynamic programming: the state is the newest laid session with the plan's delay. Time O(r·s²·d),
//! memory O(r·s·d) for r recordings, s sessions and d delays that occur.

use std::collections::BTreeMap;
use std::ops::RangeInclusive;

use chrono::NaiveDate;

use crate::{CalendarScore, Likeness, Plan, SessionId};

/// Where a recording was laid.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Laid {
    /// The session.
    pub session: SessionId,
    /// Index of the session in the whole plan, from 0.
    pub index: usize,
    /// Whether the session had been laid before.
    pub again: bool,
    /// Days after the planned day; negative before it. `None` where order alone counts.
    pub delay_days: Option<i64>,
}

/// A plan with an athlete's recordings laid on it.
#[derive(Clone, Debug, PartialEq)]
pub struct Laying {
    /// For each recording its session, in the order of the recordings.
    pub recordings: Vec<Option<Laid>>,
    /// The planned day of each session; `None` where order alone counts or no recording was laid.
    pub days: Vec<Option<NaiveDate>>,
    /// The points.
    pub points: f64,
}

/// Lays recordings on a plan.
///
/// `days` are the local days of the recordings, in order of time. `start` is the day of the plan's first session;
/// without it the plan starts on the day of the first recording that is laid when order alone counts, as far as it is
/// more alike than mere presence.
/// `likeness` tells how well a recording (by index) matches a block (by index); it is asked once for each pair.
///
/// ```
/// use boutwise_season::{CalendarScore, Likeness, Plan, lay};
/// let plan = Plan::parse("[[block]]\nsessions = 3\nevery_days = 2\nsession = '10:00 run'", "p").unwrap();
/// let day = |day| chrono::NaiveDate::from_ymd_opt(2026, 3, day).unwrap();
/// // The second session was skipped.
/// let laying = lay(&plan, Some(day(2)), &[day(2), day(6)], &CalendarScore::default(), |_, _| {
///     Likeness::Fit { adherence_pct: 100.0, form_pct: 100.0, overdone_pct: 0.0 }
/// });
/// let numbers: Vec<_> = laying.recordings.iter().flatten().map(|laid| laid.session.number).collect();
/// assert_eq!(numbers, [1, 3]);
/// ```
pub fn lay(
    plan: &Plan,
    start: Option<NaiveDate>,
    days: &[NaiveDate],
    score: &CalendarScore,
    likeness: impl Fn(usize, usize) -> Likeness,
) -> Laying {
    let sessions: Vec<SessionId> = plan.sessions().collect();
    let blocks = plan.blocks.len();
    let contents: Vec<Content> = (0..days.len())
        .flat_map(|recording| (0..blocks).map(move |block| (recording, block)))
        .map(|(recording, block)| Content::new(likeness(recording, block), score))
        .collect();
    let known = start.is_some();
    let search = |planned: Vec<Option<NaiveDate>>| -> Laying {
        let search = Search::new(&sessions, &planned, days, &contents, blocks, score);
        if known { search.run() } else { search.with_earlier_start().run() }
    };
    let undated = vec![None; sessions.len()];
    let start = start.or_else(|| {
        let by_order = search(undated.clone());
        // Mere presence starts no plan: an unlike run before it is off the plan.
        let alike = |(at, laid): &(usize, &Option<Laid>)| {
            laid.is_some_and(|laid| contents[at * blocks + laid.session.block].points > score.presence)
        };
        by_order.recordings.iter().enumerate().find(alike).map(|(first, _)| days[first])
    });
    search(start.map_or(undated, |start| plan.dates(start)))
}

/// Points of a recording for what was done.
#[derive(Clone, Copy)]
struct Content {
    points: f64,
    /// The same on the session's very day.
    on_day: f64,
    /// May only be laid on the very day.
    walked: bool,
}

impl Content {
    fn new(likeness: Likeness, score: &CalendarScore) -> Self {
        let alike = match likeness {
            Likeness::Fit { adherence_pct, form_pct, overdone_pct } => {
                form_pct + score.adherence_share * (adherence_pct - form_pct)
                    - score.overdone_share * overdone_pct.clamp(0.0, 100.0)
            }
            Likeness::Walked | Likeness::Unresolvable => score.presence,
            Likeness::None => f64::NEG_INFINITY,
        };
        let points = |alike: f64| {
            let full = (alike - score.full_match_from) / (100.0 - score.full_match_from).max(1.0);
            alike + score.full_match * full.clamp(0.0, 1.0)
        };
        let on_day = if likeness == Likeness::None { alike } else { points(alike.max(score.presence)) };
        Self { points: points(alike), on_day, walked: likeness == Likeness::Walked }
    }
}

/// The best laying that ends on a session with a delay of the plan.
#[derive(Clone, Copy)]
struct Best {
    points: f64,
    /// Place in the table of steps.
    step: u32,
}

const IMPOSSIBLE: Best = Best { points: f64::NEG_INFINITY, step: NO_STEP };
const NO_STEP: u32 = u32::MAX;

struct Search<'a> {
    sessions: &'a [SessionId],
    planned: &'a [Option<NaiveDate>],
    days: &'a [NaiveDate],
    contents: &'a [Content],
    blocks: usize,
    score: &'a CalendarScore,
    /// Delays of the plan that may occur, in days, in order; 0 is one of them.
    delays: Vec<i64>,
    /// Place of 0 among them.
    on_plan: usize,
}

impl<'a> Search<'a> {
    fn new(
        sessions: &'a [SessionId],
        planned: &'a [Option<NaiveDate>],
        days: &'a [NaiveDate],
        contents: &'a [Content],
        blocks: usize,
        score: &'a CalendarScore,
    ) -> Self {
        let mut search =
            Self { sessions, planned, days, contents, blocks, score, delays: vec![0], on_plan: 0 };
        search.allow_delays(1..=i64::from(score.longest_delay_days));
        search
    }

    /// Without a known start the first recording may have been late itself: the plan may have begun earlier.
    fn with_earlier_start(mut self) -> Self {
        self.allow_delays(-i64::from(self.score.earlier_start_days)..=-1);
        self
    }

    /// Adds the delays within a range that occur.
    fn allow_delays(&mut self, range: RangeInclusive<i64>) {
        let occurring = (0..self.days.len())
            .flat_map(|recording| (0..self.sessions.len()).map(move |session| (recording, session)))
            .filter_map(|(recording, session)| self.days_late(recording, session))
            .filter(|delay| range.contains(delay));
        let mut delays: Vec<i64> = self.delays.iter().copied().chain(occurring).collect();
        delays.sort_unstable();
        delays.dedup();
        self.on_plan = delays.iter().position(|delay| *delay == 0).unwrap_or(0);
        self.delays = delays;
    }

    fn run(&self) -> Laying {
        let (recordings, sessions, width) = (self.days.len(), self.sessions.len(), self.delays.len());
        // For every recording, session and delay the step before it.
        let mut steps = vec![NO_STEP; recordings * sessions * width];
        let mut best = vec![IMPOSSIBLE; sessions * width];
        let mut end = Best { points: 0.0, step: NO_STEP };
        let mut row = vec![IMPOSSIBLE; sessions * width];
        let mut held = Held::default();
        for recording in 0..recordings {
            row.fill(IMPOSSIBLE);
            for (session, reached) in row.chunks_mut(width).enumerate() {
                self.reach(recording, session, None, reached);
                for (before, known) in best.chunks(width).enumerate().take(session + 1).rev() {
                    self.reach(recording, session, Some((before, known)), reached);
                }
            }
            for (at, reached) in
                row.iter().enumerate().filter(|(_, reached)| reached.points > f64::NEG_INFINITY)
            {
                let step = recording * sessions * width + at;
                steps[step] = reached.step;
                // At most r·s·d steps, far below the limits of the plan reader times a life of recordings.
                let here = Best { points: reached.points, step: u32::try_from(step).unwrap_or(NO_STEP) };
                if here.points >= best[at].points {
                    best[at] = here;
                }
                if here.points > end.points {
                    end = here;
                }
            }
            if self.days.get(recording + 1) == self.days.get(recording) {
                continue;
            }
            held = self.extend(held, recording + 1);
            if end.points > held.points() + self.score.rewrite_margin {
                held = self.hold(&self.trace(&steps, end, recording + 1));
            }
        }
        self.laying(&held)
    }

    /// Best ways to lay a recording on a session, as the newest after a known session or at the start, for every
    /// delay that the plan may then have.
    fn reach(
        &self,
        recording: usize,
        session: usize,
        before: Option<(usize, &[Best])>,
        reached: &mut [Best],
    ) {
        let score = self.score;
        let content = self.contents[recording * self.blocks + self.sessions[session].block];
        if content.points == f64::NEG_INFINITY {
            return;
        }
        let late = self.days_late(recording, session);
        let as_late = late.and_then(|late| self.delays.binary_search(&late).ok());
        let mut lay = |delay: usize, points: f64, step: u32| {
            if points > reached[delay].points {
                reached[delay] = Best { points, step };
            }
        };
        let order = match before {
            None => -self.skipped(session, session),
            Some((before, _)) if before == session => -score.again,
            Some((before, _)) => -self.skipped(session - before - 1, session),
        };
        let again = before.is_some_and(|(before, _)| before == session);
        if again && content.walked {
            return;
        }
        let start = [Best { points: 0.0, step: NO_STEP }];
        let (first, known) = before.map_or((self.on_plan, &start[..]), |(_, known)| (0, known));
        for (delay, known) in (first..).zip(known) {
            if known.points == f64::NEG_INFINITY {
                continue;
            }
            let base = known.points + order;
            let points = base + content.points;
            match late {
                None if content.walked => {}
                None => lay(self.on_plan, points, known.step),
                // Once more: the plan waits, or keeps its days.
                Some(_) if again => {
                    lay(delay, points, known.step);
                    if let Some(as_late) = as_late.filter(|as_late| *as_late > delay) {
                        lay(as_late, points, known.step);
                    }
                }
                Some(late) if late == self.delays[delay] => lay(delay, base + content.on_day, known.step),
                Some(_) if content.walked => {}
                Some(late) => {
                    let off = (late - self.delays[delay]).abs() as f64;
                    lay(delay, points - score.moved - score.day_off * off, known.step);
                    if let Some(as_late) = as_late {
                        lay(as_late, points - score.delayed, known.step);
                    }
                }
            }
        }
    }

    /// Lays the recordings of one more day, up to the one before `until`, and leaves the earlier ones where they are.
    fn extend(&self, held: Held, until: usize) -> Held {
        let first = held.laid.len();
        let mut options = vec![held];
        for recording in first..until {
            // For each newest session the best way to it.
            let mut next: BTreeMap<Option<usize>, Held> = BTreeMap::new();
            let mut offer = |option: Held| {
                let session = option.session();
                if next.get(&session).is_none_or(|known| option.points() > known.points()) {
                    next.insert(session, option);
                }
            };
            for option in &options {
                for session in option.session().unwrap_or(0)..self.sessions.len() {
                    let known = self.reach_from(option, recording, session);
                    if largest(&known) > f64::NEG_INFINITY {
                        offer(option.with(Some(session), known));
                    }
                }
            }
            for option in options {
                let known = option.known.clone();
                offer(option.with(None, known));
            }
            options = next.into_values().collect();
        }
        options
            .into_iter()
            .reduce(|best, option| if option.points() > best.points() { option } else { best })
            .unwrap_or_default()
    }

    fn reach_from(&self, held: &Held, recording: usize, session: usize) -> Vec<Best> {
        let mut reached = vec![IMPOSSIBLE; self.delays.len()];
        let before = held.session().map(|before| (before, &held.known[..]));
        self.reach(recording, session, before, &mut reached);
        reached
    }

    /// Holds a laying: the delays that it may have had and their points.
    fn hold(&self, laid: &[Option<usize>]) -> Held {
        let mut held = Held::default();
        for (recording, session) in laid.iter().enumerate() {
            if let Some(session) = *session {
                held.known = self.reach_from(&held, recording, session);
            }
            held.laid.push(*session);
        }
        held
    }

    fn days_late(&self, recording: usize, session: usize) -> Option<i64> {
        self.planned[session].map(|planned| (self.days[recording] - planned).num_days())
    }

    /// Points off for so many sessions skipped before one.
    fn skipped(&self, count: usize, session: usize) -> f64 {
        let dated = self.planned[session].is_some();
        if dated { 0.0 } else { self.score.skipped_undated * count as f64 }
    }

    /// Follows the best end back to its start: the session of each recording.
    fn trace(&self, steps: &[u32], end: Best, recordings: usize) -> Vec<Option<usize>> {
        let (sessions, width) = (self.sessions.len(), self.delays.len());
        let mut laid = vec![None; recordings];
        let mut step = end.step;
        while step != NO_STEP {
            let at = step as usize;
            laid[at / (sessions * width)] = Some(at / width % sessions);
            step = steps[at];
        }
        laid
    }

    fn laying(&self, held: &Held) -> Laying {
        let mut before = None;
        let recordings = held
            .laid
            .iter()
            .enumerate()
            .map(|(recording, session)| {
                let index = (*session)?;
                let again = before.replace(index) == Some(index);
                let delay_days = self.days_late(recording, index);
                Some(Laid { session: self.sessions[index], index, again, delay_days })
            })
            .collect();
        Laying { recordings, days: self.planned.to_vec(), points: held.points() }
    }
}

/// A laying that is kept until a better one is clearly better.
#[derive(Default)]
struct Held {
    /// The session of each recording so far.
    laid: Vec<Option<usize>>,
    /// Points for each delay that the plan may have; empty at the start.
    known: Vec<Best>,
}

impl Held {
    fn points(&self) -> f64 {
        if self.known.is_empty() { 0.0 } else { largest(&self.known) }
    }

    /// The same with one more recording.
    fn with(&self, session: Option<usize>, known: Vec<Best>) -> Self {
        let mut laid = self.laid.clone();
        laid.push(session);
        Self { laid, known }
    }

    fn session(&self) -> Option<usize> {
        self.laid.iter().rev().find_map(|session| *session)
    }
}

fn largest(known: &[Best]) -> f64 {
    known.iter().map(|known| known.points).fold(f64::NEG_INFINITY, f64::max)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn day(day: u64) -> NaiveDate {
        NaiveDate::from_ymd_opt(2026, 3, 1).unwrap() + chrono::Days::new(day)
    }

    /// The documented score, by plain recursion over everything that could be laid.
    struct Slow<'a> {
        planned: &'a [Option<NaiveDate>],
        days: &'a [NaiveDate],
        content: &'a dyn Fn(usize, usize) -> Content,
        score: &'a CalendarScore,
    }

    impl Slow<'_> {
        /// Most points of the recordings from one on, after a session and with a delay of the plan.
        fn best(&self, recording: usize, before: Option<usize>, delay: i64) -> f64 {
            if recording == self.days.len() {
                return 0.0;
            }
            let mut best = self.best(recording + 1, before, delay);
            for session in before.unwrap_or(0)..self.planned.len() {
                let Content { points: content, on_day, walked } = (self.content)(recording, session);
                let again = before == Some(session);
                if content == f64::NEG_INFINITY || (again && walked) {
                    continue;
                }
                let score = self.score;
                let skip = if self.planned[session].is_none() { score.skipped_undated } else { 0.0 };
                let order = match before {
                    None => skip * session as f64,
                    Some(_) if again => score.again,
                    Some(before) => skip * (session - before - 1) as f64,
                };
                let mut lay = |points: f64, delay: i64| {
                    let further = self.best(recording + 1, Some(session), delay);
                    best = best.max(points - order + further);
                };
                let Some(planned) = self.planned[session] else {
                    if !walked {
                        lay(content, 0);
                    }
                    continue;
                };
                let late = (self.days[recording] - planned).num_days();
                let may_delay = (0..=i64::from(score.longest_delay_days)).contains(&late);
                if again {
                    lay(content, delay);
                    if may_delay && late > delay {
                        lay(content, late);
                    }
                } else if late == delay {
                    lay(on_day, delay);
                } else if !walked {
                    lay(content - score.moved - score.day_off * (late - delay).abs() as f64, delay);
                    if may_delay {
                        lay(content - score.delayed, late);
                    }
                }
            }
            best
        }
    }

    fn any_likeness() -> impl Strategy<Value = Likeness> {
        prop_oneof![
            6 => (0.0..100.0f64, 0.0..100.0f64, 0.0..60.0f64).prop_map(|(adherence_pct, form_pct, overdone_pct)| {
                Likeness::Fit { adherence_pct, form_pct, overdone_pct }
            }),
            3 => Just(Likeness::Fit { adherence_pct: 100.0, form_pct: 100.0, overdone_pct: 0.0 }),
            1 => Just(Likeness::Walked),
            1 => Just(Likeness::Unresolvable),
            1 => Just(Likeness::None),
        ]
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(300))]

        #[test]
        fn the_search_finds_the_most_points_that_there_are(
            dated in any::<bool>(),
            mut offsets in proptest::collection::vec(0u64..12, 1..6),
            likenesses in proptest::collection::vec(proptest::array::uniform2(any_likeness()), 6),
        ) {
            let rhythm = if dated { "every_days = 2" } else { "" };
            let text = format!(
                "[[block]]\nsessions = 2\n{rhythm}\nsession = '5:00 run'\n\
                 [[block]]\nsessions = 2\n{rhythm}\nsession = '9:00 run'"
            );
            let plan = Plan::parse(&text, "p").unwrap();
            offsets.sort_unstable();
            let days: Vec<NaiveDate> = offsets.iter().map(|offset| day(*offset)).collect();
            let score = CalendarScore { rewrite_margin: 0.0, ..CalendarScore::default() };
            let laying = lay(&plan, Some(day(2)), &days, &score, |recording, block| likenesses[recording][block]);
            let planned = plan.dates(day(2));
            let slow = Slow {
                planned: &planned,
                days: &days,
                content: &|recording, session| Content::new(likenesses[recording][session / 2], &score),
                score: &score,
            };
            prop_assert!((laying.points - slow.best(0, None, 0)).abs() < 1e-6);
        }
    }

    #[test]
    fn a_walk_is_laid_on_its_very_day_only() {
        let plan = Plan::parse("[[block]]\nsessions = 2\nevery_days = 2\nsession = '5:00 run'", "p").unwrap();
        let lay = |days: &[u64]| {
            let days: Vec<NaiveDate> = days.iter().map(|offset| day(*offset)).collect();
            lay(&plan, Some(day(0)), &days, &CalendarScore::default(), |_, _| Likeness::Walked).recordings
        };
        assert_eq!(lay(&[0, 1, 2]).iter().map(Option::is_some).collect::<Vec<_>>(), [true, false, true]);
        assert_eq!(lay(&[3]), [None]);
    }
}

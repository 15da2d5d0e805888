//! Lays an athlete's recordings on the plan: the likeliest explanation, found exactly.
//!
//! # The score
//!
//! Every recording is laid on one session of the plan, or on none. Laid sessions follow each other in the plan's
//! order; a session may be laid twice (done again) or never (missed). A laying has as its points the natural logarithm of
//! how likely it is, up to what is the same for all layings. It is the sum of
//!
//! - for each recording laid, its **likeness**: the log odds that it is a session of the block and not off the plan
//!   ([`Likeness`]); recordings on no session bring 0;
//! - for each **session**, that it was missed, attended, or done again;
//! - for each **date**, that the session was done on its day or so many days beside it.
//!
//! A break, a late start or a session done again may *delay* the plan. That is rare and costs once; from then on the
//! delayed day is the session's day. A delay is a number of days, and of planned days on which the plan waited.
//! How rare each is, says [`CalendarScore`] in % of the sessions. Where order alone counts, no date says anything.
//!
//! Where the start is not known, the day of each of the first recordings may have been the first.
//!
//! # Stable under new recordings
//!
//! The recordings are taken day by day. Those of a new day are first laid with all earlier ones left where they are;
//! only where the best laying of all is clearly likelier (`rewrite_odds`) does it take over. So the past is
//! rewritten only with cause, and the result is within those odds of the best.
//!
//! # The search
//!
//! The search is dynamic programming: the state is the newest laid session with the plan's delay. Time and memory
//! O(r·s·d) for r recordings, s sessions and d delays that occur.

use chrono::{NaiveDate, TimeDelta};

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
/// without it the plan starts on the day of one of the first recordings.
/// `likeness` tells how likely a recording (by index) is a session of a block (by index); it is asked once for each pair.
///
/// ```
/// use boutwise_season::{CalendarScore, Likeness, Plan, lay};
/// let plan = Plan::parse("[[block]]\nsessions = 3\nevery_days = 2\nsession = '10:00 run'", "p").unwrap();
/// let day = |day| chrono::NaiveDate::from_ymd_opt(2026, 3, day).unwrap();
/// // The second session was skipped.
/// let laying = lay(&plan, Some(day(2)), &[day(2), day(6)], &CalendarScore::default(), |_, _| {
///     Likeness { log_odds: 5.0, walked: false }
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
    let likenesses: Vec<Vec<Likeness>> = (0..days.len())
        .map(|recording| (0..plan.blocks.len()).map(|block| likeness(recording, block)).collect())
        .collect();
    let mut starts: Vec<NaiveDate> = match start {
        Some(start) => vec![start],
        None => days.iter().copied().take(score.start_recordings as usize).collect(),
    };
    starts.dedup();
    let mut searches: Vec<Search<'_>> = starts
        .iter()
        .map(|first| Search::new(&sessions, plan.dates(*first), days, &likenesses, Chances::new(score), start.is_some()))
        .collect();
    let mut held: Option<(usize, Held)> = None;
    let mut first = 0;
    while first < days.len() {
        let until = first + days[first..].iter().take_while(|day| **day == days[first]).count();
        held = held.map(|(search, held)| (search, searches[search].extend(held, until)));
        let mut best = (0, f64::NEG_INFINITY);
        for (at, search) in searches.iter_mut().enumerate() {
            (first..until).for_each(|recording| search.take(recording));
            let points = search.end(days[first]).points;
            if starts[at] <= days[first] && points > best.1 {
                best = (at, points);
            }
        }
        let kept = held.as_ref().map_or(f64::NEG_INFINITY, |(search, held)| searches[*search].value(held, days[first]));
        if best.1 > kept + score.rewrite_odds.ln() || held.is_none() {
            let search = &searches[best.0];
            held = Some((best.0, search.hold(&search.trace(until, days[first]))));
        }
        first = until;
    }
    match held {
        Some((search, held)) => searches[search].laying(&held),
        None => Laying { recordings: Vec::new(), days: vec![None; sessions.len()], points: 0.0 },
    }
}

/// Natural logarithms of how often athletes do what.
#[derive(Clone, Copy)]
struct Chances {
    attended: f64,
    missed: f64,
    /// Without days.
    skipped: f64,
    on_day: f64,
    moved: f64,
    day_further: f64,
    same_day: f64,
    again: f64,
    again_later: f64,
    waiting: f64,
    delayed: f64,
    late_start: f64,
    longest_delay_days: i64,
}

impl Chances {
    fn new(score: &CalendarScore) -> Self {
        let ln = |pct: f64| (pct / 100.0).ln();
        Self {
            attended: ln(100.0 - score.missed_pct),
            missed: ln(score.missed_pct),
            skipped: ln(score.skipped_undated_pct),
            on_day: ln(100.0 - score.moved_pct),
            moved: ln(score.moved_pct / 2.0),
            day_further: ln(score.day_further_pct),
            same_day: ln(score.same_day_pct),
            again: ln(score.again_pct),
            again_later: ln(score.again_later_pct),
            waiting: ln(score.waiting_pct),
            delayed: ln(score.delayed_pct),
            late_start: ln(score.late_start_pct),
            longest_delay_days: i64::from(score.longest_delay_days),
        }
    }
}

/// Planned days on which a plan may have waited in all; what is more counts as days.
const WAITED: usize = 3;

/// How far a plan is behind.
#[derive(Clone, Copy, PartialEq)]
struct Delay {
    days: i64,
    /// Planned days on which it waited.
    waited: usize,
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

impl Best {
    fn plus(self, points: f64) -> Self {
        Self { points: self.points + points, ..self }
    }

    fn or(self, other: Self) -> Self {
        if other.points > self.points { other } else { self }
    }
}

struct Search<'a> {
    sessions: &'a [SessionId],
    planned: Vec<Option<NaiveDate>>,
    days: &'a [NaiveDate],
    likenesses: &'a [Vec<Likeness>],
    chances: Chances,
    /// Delays of the plan that may occur, by planned days waited, then days.
    delays: Vec<Delay>,
    /// For every session and delay the days from the first planned day to the day due.
    due: Vec<Option<i64>>,
    /// For every number of sessions passed and delay the best laying whose newest session is the one before.
    best: Vec<Best>,
    /// The same with the newest session done on the day of the newest recording.
    today: Vec<Best>,
    /// The same for the day before.
    yesterday: Vec<Best>,
    /// For every recording, session and delay the step before it.
    steps: Vec<u32>,
}

impl<'a> Search<'a> {
    fn new(
        sessions: &'a [SessionId],
        planned: Vec<Option<NaiveDate>>,
        days: &'a [NaiveDate],
        likenesses: &'a [Vec<Likeness>],
        chances: Chances,
        known_start: bool,
    ) -> Self {
        let mut late: Vec<i64> = planned
            .iter()
            .flatten()
            .flat_map(|planned| days.iter().map(move |day| (*day - *planned).num_days()))
            .filter(|days| (1..=chances.longest_delay_days).contains(days))
            .chain([0])
            .collect();
        late.sort_unstable();
        late.dedup();
        let waited = if planned.iter().any(Option::is_some) { WAITED } else { 0 };
        let delays: Vec<Delay> =
            (0..=waited).flat_map(|waited| late.iter().map(move |&days| Delay { days, waited })).collect();
        let first = planned.first().copied().flatten();
        let number: Vec<Option<i64>> =
            planned.iter().map(|planned| Some((*planned.as_ref()? - first?).num_days())).collect();
        let due = (0..sessions.len())
            .flat_map(|session| delays.iter().map(move |delay| (session, *delay)))
            .map(|(session, delay)| Some(due_after(&number, session, delay.waited)? + delay.days))
            .collect();
        let mut best = vec![IMPOSSIBLE; (sessions.len() + 1) * delays.len()];
        for (start, delay) in best.iter_mut().zip(&delays) {
            let late = if delay.days == 0 { 0.0 } else { chances.late_start };
            if delay.waited == 0 && (delay.days == 0 || known_start) {
                *start = Best { points: late, step: NO_STEP };
            }
        }
        Self { sessions, planned, days, likenesses, chances, delays, due, today: vec![IMPOSSIBLE; best.len()], yesterday: vec![IMPOSSIBLE; best.len()], best, steps: Vec::new() }
    }

    /// Takes one more recording.
    fn take(&mut self, recording: usize) {
        let (sessions, width) = (self.sessions.len(), self.delays.len());
        if recording > 0 && self.days[recording] != self.days[recording - 1] {
            std::mem::swap(&mut self.today, &mut self.yesterday);
            self.today.fill(IMPOSSIBLE);
            if self.days[recording] - self.days[recording - 1] > TimeDelta::days(1) {
                self.yesterday.fill(IMPOSSIBLE);
            }
        }
        let mut row = vec![IMPOSSIBLE; sessions * width];
        let mut before = vec![IMPOSSIBLE; width];
        for session in 0..sessions {
            self.pass(session, &mut before);
            let reached = &mut row[session * width..][..width];
            let today = &self.today[session * width..][..width];
            self.attend(recording, session, &before, today, reached);
            let done = (session + 1) * width..(session + 2) * width;
            self.repeat(recording, session, &self.best[done.clone()], self.chances.again_later, reached);
            self.repeat(recording, session, &self.yesterday[done.clone()], self.chances.again, reached);
            self.repeat(recording, session, &self.today[done], self.chances.again, reached);
        }
        // At most r·s·d steps, far below the limits of the plan reader times a life of recordings.
        let first_step = self.steps.len();
        self.steps.extend(row.iter().map(|reached| reached.step));
        for (at, reached) in row.iter().enumerate() {
            let step = u32::try_from(first_step + at).unwrap_or(NO_STEP);
            let here = Best { points: reached.points, step };
            self.best[width + at] = self.best[width + at].or(here);
            self.today[width + at] = self.today[width + at].or(here);
        }
    }

    /// Adds the ways to come to a session from the one before it, which may have been missed.
    fn pass(&self, session: usize, before: &mut [Best]) {
        let width = self.delays.len();
        let missed = if session > 0 { self.missed(session - 1) } else { 0.0 };
        for (before, known) in before.iter_mut().zip(&self.best[session * width..][..width]) {
            *before = before.plus(missed).or(*known);
        }
    }

    fn missed(&self, session: usize) -> f64 {
        if self.planned[session].is_some() { self.chances.missed } else { self.chances.skipped }
    }

    /// Lays a recording on a session for the first time. `today` holds the layings whose newest session is the one before,
    /// done on the same day.
    fn attend(&self, recording: usize, session: usize, before: &[Best], today: &[Best], reached: &mut [Best]) {
        let Likeness { log_odds, walked } = self.likenesses[recording][self.sessions[session].block];
        let attended = log_odds + self.chances.attended;
        let day = self.day(recording);
        let changed = before.iter().copied().fold(IMPOSSIBLE, Best::or).plus(self.chances.delayed);
        let due = &self.due[session * before.len()..];
        for (((reached, before), today), due) in reached.iter_mut().zip(before).zip(today).zip(due) {
            if walked && *due != Some(day) {
                continue;
            }
            let date = due.map_or(0.0, |due| self.date(day - due));
            let delayed = if *due == Some(day) { changed.plus(self.chances.on_day) } else { IMPOSSIBLE };
            *reached = reached.or(before.plus(date).or(delayed).or(today.plus(self.chances.same_day)).plus(attended));
        }
    }

    /// Lays a recording on the newest session once more; the plan goes on, or waits if this is the next planned day.
    fn repeat(&self, recording: usize, session: usize, before: &[Best], again: f64, reached: &mut [Best]) {
        let Likeness { log_odds, walked } = self.likenesses[recording][self.sessions[session].block];
        if walked {
            return;
        }
        let day = self.day(recording);
        let width = self.delays.len();
        let late = self.delays.iter().filter(|delay| delay.waited == 0).count();
        for (delay, before) in before.iter().enumerate() {
            reached[delay] = reached[delay].or(before.plus(again + log_odds));
            let waiting = delay + late;
            if waiting < width && self.due[session * width + waiting] == Some(day) {
                reached[waiting] = reached[waiting].or(before.plus(self.chances.waiting + log_odds));
            }
        }
    }

    fn date(&self, off: i64) -> f64 {
        match off.abs() {
            0 => self.chances.on_day,
            off => self.chances.moved + self.chances.day_further * (off - 1) as f64,
        }
    }

    /// Days from the first planned day.
    fn day(&self, recording: usize) -> i64 {
        let first = self.planned.first().copied().flatten();
        first.map_or(0, |first| (self.days[recording] - first).num_days())
    }

    /// Points of the sessions that fell due up to a day with a recording, from one on: nobody attended them.
    fn left(&self, from: usize, delay: usize, day: NaiveDate) -> f64 {
        let Some(first) = self.planned.first().copied().flatten() else { return 0.0 };
        let (width, day) = (self.delays.len(), (day - first).num_days());
        let due = |session: &usize| self.due[session * width + delay].is_some_and(|due| due <= day);
        self.chances.missed * (from..self.sessions.len()).take_while(due).count() as f64
    }

    /// The best end on a day.
    fn end(&self, day: NaiveDate) -> Best {
        let width = self.delays.len();
        let ends = self.best.iter().enumerate().filter(|(_, best)| best.points > f64::NEG_INFINITY);
        ends.map(|(at, best)| best.plus(self.left(at / width, at % width, day))).fold(IMPOSSIBLE, Best::or)
    }

    /// Follows the best end back to its start: the session of each recording.
    fn trace(&self, recordings: usize, day: NaiveDate) -> Vec<Option<usize>> {
        let (sessions, width) = (self.sessions.len(), self.delays.len());
        let mut laid = vec![None; recordings];
        let mut step = self.end(day).step;
        while step != NO_STEP {
            let at = step as usize;
            laid[at / (sessions * width)] = Some(at / width % sessions);
            step = self.steps[at];
        }
        laid
    }

    /// Lays the recordings of one more day, up to the one before `until`, and leaves the earlier ones where they are.
    fn extend(&self, held: Held, until: usize) -> Held {
        let day = self.days[until - 1];
        let first = held.laid.len();
        let mut options = vec![held];
        for recording in first..until {
            // For each newest session the best way to it.
            let mut next: Vec<Option<Held>> = vec![None; self.sessions.len() + 1];
            let mut offer = |option: Held| {
                let known = &mut next[option.passed];
                if known.as_ref().is_none_or(|known| self.value(&option, day) > self.value(known, day)) {
                    *known = Some(option);
                }
            };
            for option in options {
                for session in option.passed.saturating_sub(1)..self.sessions.len() {
                    if let Some(longer) = self.lay_on(&option, recording, session) {
                        offer(longer);
                    }
                }
                let mut off = option;
                off.laid.push(None);
                offer(off);
            }
            options = next.into_iter().flatten().collect();
        }
        let best = options.into_iter().reduce(|best, option| {
            if self.value(&option, day) > self.value(&best, day) { option } else { best }
        });
        best.unwrap_or_else(|| self.nothing())
    }

    fn nothing(&self) -> Held {
        Held { laid: Vec::new(), passed: 0, known: self.best_at_start() }
    }

    fn best_at_start(&self) -> Vec<Best> {
        self.best[..self.delays.len()].to_vec()
    }

    /// A laying with one more recording on a session, the newest one or a later one.
    fn lay_on(&self, held: &Held, recording: usize, session: usize) -> Option<Held> {
        let mut reached = vec![IMPOSSIBLE; self.delays.len()];
        let nothing = reached.clone();
        let newest = held.laid.iter().rposition(Option::is_some).map(|newest| self.days[newest]);
        if session + 1 == held.passed {
            let soon = newest.is_some_and(|day| self.days[recording] - day <= TimeDelta::days(1));
            let again = if soon { self.chances.again } else { self.chances.again_later };
            self.repeat(recording, session, &held.known, again, &mut reached);
        } else {
            let missed = (held.passed..session).fold(0.0, |sum, session| sum + self.missed(session));
            let before: Vec<Best> = held.known.iter().map(|known| known.plus(missed)).collect();
            let same_day = newest == Some(self.days[recording]);
            let today = if same_day && session == held.passed { &held.known[..] } else { &nothing[..] };
            self.attend(recording, session, &before, today, &mut reached);
        }
        if reached.iter().all(|reached| reached.points == f64::NEG_INFINITY) {
            return None;
        }
        let mut laid = held.laid.clone();
        laid.push(Some(session));
        Some(Held { laid, passed: session + 1, known: reached })
    }

    /// Holds a laying: the delays that it may have had and their points.
    fn hold(&self, laid: &[Option<usize>]) -> Held {
        let mut held = self.nothing();
        for (recording, session) in laid.iter().enumerate() {
            match session.and_then(|session| self.lay_on(&held, recording, session)) {
                Some(longer) => held = longer,
                None => held.laid.push(None),
            }
        }
        held
    }

    /// Points of a laying on a day.
    fn value(&self, held: &Held, day: NaiveDate) -> f64 {
        let known = held.known.iter().enumerate().filter(|(_, known)| known.points > f64::NEG_INFINITY);
        known
            .map(|(delay, known)| known.points + self.left(held.passed, delay, day))
            .fold(f64::NEG_INFINITY, f64::max)
    }

    fn laying(&self, held: &Held) -> Laying {
        let mut before = None;
        let laid = held.laid.iter().enumerate().map(|(recording, session)| {
            let index = (*session)?;
            let again = before.replace(index) == Some(index);
            let delay_days = self.planned[index].map(|planned| (self.days[recording] - planned).num_days());
            Some(Laid { session: self.sessions[index], index, again, delay_days })
        });
        let recordings: Vec<Option<Laid>> = laid.collect();
        let points = self.days.last().map_or(0.0, |day| self.value(held, *day));
        let any = recordings.iter().any(Option::is_some);
        let days = if any { self.planned.clone() } else { vec![None; self.sessions.len()] };
        Laying { recordings, days, points }
    }
}

/// The day of the session so many sessions later; past the end of the plan its last step goes on.
fn due_after(number: &[Option<i64>], session: usize, later: usize) -> Option<i64> {
    let own = number[session]?;
    let last = number.iter().rposition(Option::is_some)?;
    let at = (session + later).min(last);
    let step = if last > 0 { number[last]? - number[last - 1]? } else { 1 };
    Some(number[at].unwrap_or(own) + step * (session + later - at) as i64)
}

/// A laying that is kept until another is clearly likelier.
#[derive(Clone)]
struct Held {
    /// The session of each recording so far.
    laid: Vec<Option<usize>>,
    /// Sessions up to the newest laid one.
    passed: usize,
    /// Points for each delay that the plan may have.
    known: Vec<Best>,
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

//! The search for the likeliest laying: the newest session with the plan's delay, recording by recording.

use chrono::{NaiveDate, TimeDelta};

use super::chances::Chances;
use super::{Laid, Laying};
use crate::{Likeness, SessionId};

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
pub(super) struct Best {
    pub(super) points: f64,
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

pub(super) struct Search<'a> {
    sessions: &'a [SessionId],
    planned: Vec<Option<NaiveDate>>,
    days: &'a [NaiveDate],
    likenesses: &'a [Vec<Likeness>],
    chances: Chances,
    /// Delays of the plan that may occur, by planned days waited, then days.
    delays: Vec<Delay>,
    /// Number of delays with so many planned days waited.
    late: usize,
    /// For every session and delay the days from the first planned day to the day due.
    due: Vec<Option<i64>>,
    /// For every number of sessions passed and delay the best laying whose newest session is the one before.
    best: Vec<Best>,
    /// The same with the newest session done on the day of the newest recording.
    today: Vec<Best>,
    /// The same for the day before; empty where nobody went out on it.
    yesterday: Vec<Best>,
    /// For every recording, session and delay the step before it.
    steps: Vec<u32>,
}

impl<'a> Search<'a> {
    pub(super) fn new(
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
        Self {
            sessions,
            planned,
            days,
            likenesses,
            chances,
            delays,
            late: late.len(),
            due,
            today: vec![IMPOSSIBLE; best.len()],
            yesterday: Vec::new(),
            best,
            steps: Vec::new(),
        }
    }

    /// Takes one more recording.
    pub(super) fn take(&mut self, recording: usize) {
        let (sessions, width) = (self.sessions.len(), self.delays.len());
        let same_day = recording > 0 && self.days[recording] == self.days[recording - 1];
        if recording > 0 && !same_day {
            self.yesterday.clear();
            if self.days[recording] - self.days[recording - 1] == TimeDelta::days(1) {
                self.yesterday.extend_from_slice(&self.today);
            }
            self.today.fill(IMPOSSIBLE);
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
            if let Some(yesterday) = self.yesterday.get(done.clone()) {
                self.repeat(recording, session, yesterday, self.chances.again, reached);
            }
            if same_day {
                self.repeat(recording, session, &self.today[done], self.chances.again, reached);
            }
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
    fn attend(
        &self,
        recording: usize,
        session: usize,
        before: &[Best],
        today: &[Best],
        reached: &mut [Best],
    ) {
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
            *reached = reached.or(before
                .plus(date)
                .or(delayed)
                .or(today.plus(self.chances.same_day))
                .plus(attended));
        }
    }

    /// Lays a recording on the newest session once more; the plan goes on, or waits if this is the next planned day.
    fn repeat(&self, recording: usize, session: usize, before: &[Best], again: f64, reached: &mut [Best]) {
        let Likeness { log_odds, walked } = self.likenesses[recording][self.sessions[session].block];
        if walked {
            return;
        }
        let day = self.day(recording);
        for (reached, before) in reached.iter_mut().zip(before) {
            *reached = reached.or(before.plus(again + log_odds));
        }
        let width = self.delays.len();
        let due = &self.due[session * width..][..width];
        let waiting = reached.iter_mut().zip(due).skip(self.late).zip(before);
        for ((reached, due), before) in waiting {
            if *due == Some(day) {
                *reached = reached.or(before.plus(self.chances.waiting + log_odds));
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

    /// Number of sessions that fell due up to a day, with a delay.
    fn due_by(&self, delay: usize, day: NaiveDate) -> usize {
        let Some(first) = self.planned.first().copied().flatten() else { return 0 };
        let (width, day) = (self.delays.len(), (day - first).num_days());
        let due = |session: usize| self.due[session * width + delay].is_some_and(|due| due <= day);
        let (mut low, mut high) = (0, self.sessions.len());
        while low < high {
            let middle = low.midpoint(high);
            if due(middle) { low = middle + 1 } else { high = middle }
        }
        low
    }

    /// Points of the sessions after so many that fell due up to a day with a recording: nobody attended them.
    fn left(&self, passed: usize, due: usize) -> f64 {
        self.chances.missed * due.saturating_sub(passed) as f64
    }

    /// The best end on a day.
    pub(super) fn end(&self, day: NaiveDate) -> Best {
        let width = self.delays.len();
        let due: Vec<usize> = (0..width).map(|delay| self.due_by(delay, day)).collect();
        let ends = self.best.chunks(width).enumerate().flat_map(|(passed, ends)| {
            ends.iter().zip(&due).map(move |(end, due)| end.plus(self.left(passed, *due)))
        });
        ends.fold(IMPOSSIBLE, Best::or)
    }

    /// Follows the best end back to its start: the session of each recording.
    pub(super) fn trace(&self, recordings: usize, day: NaiveDate) -> Vec<Option<usize>> {
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
    pub(super) fn extend(&self, held: Held, until: usize) -> Held {
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
    pub(super) fn hold(&self, laid: &[Option<usize>]) -> Held {
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
    pub(super) fn value(&self, held: &Held, day: NaiveDate) -> f64 {
        let known = held.known.iter().enumerate().filter(|(_, known)| known.points > f64::NEG_INFINITY);
        known
            .map(|(delay, known)| known.points + self.left(held.passed, self.due_by(delay, day)))
            .fold(f64::NEG_INFINITY, f64::max)
    }

    pub(super) fn laying(&self, held: &Held) -> Laying {
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
pub(super) struct Held {
    /// The session of each recording so far.
    laid: Vec<Option<usize>>,
    /// Sessions up to the newest laid one.
    passed: usize,
    /// Points for each delay that the plan may have.
    known: Vec<Best>,
}

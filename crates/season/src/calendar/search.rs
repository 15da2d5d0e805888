//! The search for the likeliest laying: the newest session with the plan's delay, recording by recording.

use chrono::{NaiveDate, TimeDelta};

use super::bests::{Bests, NO_STEP, largest};
use super::chances::Chances;
use super::due::Due;
use super::{Laid, Laying};
use crate::{Likeness, SessionId};

pub(super) struct Search<'a> {
    sessions: &'a [SessionId],
    planned: Vec<Option<NaiveDate>>,
    days: &'a [NaiveDate],
    likenesses: &'a [Vec<Likeness>],
    chances: Chances,
    due: Due,
    /// For every number of sessions passed the best layings whose newest session is the one before.
    best: Vec<Bests>,
    /// The same with the newest session done on the day of the newest recording.
    today: Vec<Bests>,
    /// The same for the day before.
    yesterday: Vec<Bests>,
    /// Whether anybody went out on the day before.
    has_yesterday: bool,
    /// For every session the best layings with the newest recording on it.
    row: Vec<Bests>,
    /// For every recording, session and delay the step before it.
    steps: Vec<u32>,
    /// Where the steps of each recording begin.
    first_steps: Vec<usize>,
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
        let due = Due::new(&planned, days, chances.longest_delay_days, known_start);
        let none = vec![Bests::impossible(due.delays_at_start()); sessions.len() + 1];
        let steps = days.iter().map(|day| due.delays_by(*day) * sessions.len()).sum();
        let mut best = none.clone();
        for delay in due.at_start() {
            let late = if delay == 0 { 0.0 } else { chances.late_start };
            best[0].offer(delay, late, || NO_STEP);
        }
        Self {
            sessions,
            planned,
            days,
            likenesses,
            chances,
            due,
            best,
            row: none[1..].to_vec(),
            yesterday: none.clone(),
            today: none,
            has_yesterday: false,
            steps: Vec::with_capacity(steps),
            first_steps: Vec::new(),
        }
    }

    /// Takes one more recording.
    pub(super) fn take(&mut self, recording: usize) {
        let same_day = recording > 0 && self.days[recording] == self.days[recording - 1];
        if recording > 0 && !same_day {
            self.has_yesterday = self.days[recording] - self.days[recording - 1] == TimeDelta::days(1);
            std::mem::swap(&mut self.yesterday, &mut self.today);
        }
        let delays = self.due.delays_by(self.days[recording]);
        for bests in [&mut self.best, &mut self.today, &mut self.yesterday, &mut self.row] {
            bests.iter_mut().for_each(|bests| bests.grow(delays));
        }
        let mut row = std::mem::take(&mut self.row);
        let mut before = Bests::impossible(delays);
        for (session, reached) in row.iter_mut().enumerate() {
            if session > 0 {
                before.add(self.missed(session - 1));
            }
            before.take_better(&self.best[session], 0.0);
            let today = same_day.then(|| &self.today[session]);
            self.attend(recording, session, &before, today, reached);
            self.repeat(recording, session, &self.best[session + 1], self.chances.again_later, reached);
            if self.has_yesterday {
                self.repeat(recording, session, &self.yesterday[session + 1], self.chances.again, reached);
            }
            if same_day {
                self.repeat(recording, session, &self.today[session + 1], self.chances.again, reached);
            }
        }
        self.first_steps.push(self.steps.len());
        for (session, reached) in row.iter().enumerate() {
            // At most r·s·d steps, far below the limits of the plan reader times a life of recordings.
            let first_step = u32::try_from(self.steps.len()).unwrap_or(NO_STEP);
            self.best[session + 1].take_better_row(reached, first_step);
            if same_day {
                self.today[session + 1].take_better_row(reached, first_step);
            } else {
                self.today[session + 1].become_row(reached, first_step);
            }
            self.steps.extend_from_slice(reached.steps());
        }
        self.row = row;
    }

    fn missed(&self, session: usize) -> f64 {
        if self.planned[session].is_some() { self.chances.missed } else { self.chances.skipped }
    }

    /// Lays a recording on a session for the first time. `before` holds the layings that have passed the one before it,
    /// `today` those whose newest session is the one before, done on the same day.
    fn attend(
        &self,
        recording: usize,
        session: usize,
        before: &Bests,
        today: Option<&Bests>,
        reached: &mut Bests,
    ) {
        let Likeness { log_odds, walked } = self.likenesses[recording][self.sessions[session].block];
        let day = self.due.day(self.days[recording]);
        if walked {
            reached.clear();
        } else {
            reached.copy_from(before);
            self.due.add_dates(session, day, &self.chances, reached.points_mut());
        }
        let mut largest = None;
        for delay in self.due.on(session, day) {
            if walked {
                reached.offer(delay, before.points()[delay] + self.chances.on_day, || before.steps()[delay]);
            }
            let any_delay = *largest.get_or_insert_with(|| before.largest());
            let changed = any_delay + self.chances.delayed + self.chances.on_day;
            reached.offer(delay, changed, || before.step_of(any_delay));
            if walked && let Some(today) = today {
                reached.offer(delay, today.points()[delay] + self.chances.same_day, || today.steps()[delay]);
            }
        }
        if !walked && let Some(today) = today {
            reached.take_better(today, self.chances.same_day);
        }
        reached.add(log_odds + self.chances.attended);
    }

    /// Lays a recording on the newest session once more; the plan goes on, or waits if this is the next planned day.
    fn repeat(&self, recording: usize, session: usize, before: &Bests, again: f64, reached: &mut Bests) {
        let Likeness { log_odds, walked } = self.likenesses[recording][self.sessions[session].block];
        if walked {
            return;
        }
        reached.take_better(before, again + log_odds);
        let day = self.due.day(self.days[recording]);
        for delay in self.due.on(session, day) {
            if let Some(not_waiting) = Due::before_waiting(delay) {
                let points = before.points()[not_waiting] + (self.chances.waiting + log_odds);
                reached.offer(delay, points, || before.steps()[not_waiting]);
            }
        }
    }

    /// For each delay the points of a laying with the sessions that fell due after it: nobody attended them. `due` is the
    /// number of sessions that fell due up to a day.
    fn ends<'b>(
        &self,
        points: &'b [f64],
        passed: usize,
        due: &'b [f64],
    ) -> impl Iterator<Item = f64> + use<'b> {
        let (missed, passed) = (self.chances.missed, passed as f64);
        points.iter().zip(due).map(move |(points, due)| {
            let left = due - passed;
            points + missed * if left > 0.0 { left } else { 0.0 }
        })
    }

    /// Points of the best end on a day.
    pub(super) fn end(&self, day: NaiveDate) -> f64 {
        let due = self.due.by(day);
        let mut best = vec![f64::NEG_INFINITY; due.len()];
        for (passed, bests) in self.best.iter().enumerate() {
            for (best, end) in best.iter_mut().zip(self.ends(bests.points(), passed, &due)) {
                *best = if end > *best { end } else { *best };
            }
        }
        largest(&best)
    }

    /// Follows the best end back to its start: the session of each recording.
    pub(super) fn trace(&self, recordings: usize, day: NaiveDate) -> Vec<Option<usize>> {
        let (due, end) = (self.due.by(day), self.end(day));
        let mut step = (self.best.iter().enumerate())
            .flat_map(|(passed, bests)| self.ends(bests.points(), passed, &due).zip(bests.steps()))
            .find(|(points, _)| *points == end)
            .map_or(NO_STEP, |(_, step)| *step);
        let mut laid = vec![None; recordings];
        while step != NO_STEP {
            let at = step as usize;
            let recording = self.first_steps.partition_point(|first| *first <= at) - 1;
            let delays = self.due.delays_by(self.days[recording]);
            laid[recording] = Some((at - self.first_steps[recording]) / delays);
            step = self.steps[at];
        }
        laid
    }

    /// Lays the recordings of one more day, up to the one before `until`, and leaves the earlier ones where they are.
    pub(super) fn extend(&self, held: Held, until: usize) -> Held {
        let due = self.due.by(self.days[until - 1]);
        let first = held.laid.len();
        let mut options = vec![held];
        for recording in first..until {
            // For each newest session the best way to it, with its points.
            let mut next: Vec<Option<(f64, Held)>> = vec![None; self.sessions.len() + 1];
            let mut offer = |option: Held| {
                let points = self.points(&option, &due);
                let known = &mut next[option.passed];
                if known.as_ref().is_none_or(|(known, _)| points > *known) {
                    *known = Some((points, option));
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
            options = next.into_iter().flatten().map(|(_, option)| option).collect();
        }
        let with_points = options.into_iter().map(|option| (self.points(&option, &due), option));
        let best = with_points.reduce(|best, option| if option.0 > best.0 { option } else { best });
        best.map_or_else(|| self.nothing(), |(_, option)| option)
    }

    fn nothing(&self) -> Held {
        Held { laid: Vec::new(), passed: 0, known: self.best[0].clone() }
    }

    /// A laying with one more recording on a session, the newest one or a later one.
    fn lay_on(&self, held: &Held, recording: usize, session: usize) -> Option<Held> {
        let day = self.days[recording];
        let delays = self.due.delays_by(day);
        let mut reached = Bests::impossible(delays);
        let mut before = held.known.clone();
        before.grow(delays);
        let newest = held.laid.iter().rposition(Option::is_some).map(|newest| self.days[newest]);
        if session + 1 == held.passed {
            let soon = newest.is_some_and(|newest| day - newest <= TimeDelta::days(1));
            let again = if soon { self.chances.again } else { self.chances.again_later };
            self.repeat(recording, session, &before, again, &mut reached);
        } else {
            let today = (newest == Some(day) && session == held.passed).then(|| before.clone());
            before.add((held.passed..session).fold(0.0, |sum, session| sum + self.missed(session)));
            self.attend(recording, session, &before, today.as_ref(), &mut reached);
        }
        if reached.is_impossible() {
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
        self.points(held, &self.due.by(day))
    }

    fn points(&self, held: &Held, due: &[f64]) -> f64 {
        self.ends(held.known.points(), held.passed, due)
            .fold(f64::NEG_INFINITY, |largest, end| if end > largest { end } else { largest })
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

/// A laying that is kept until another is clearly likelier.
#[derive(Clone)]
pub(super) struct Held {
    /// The session of each recording so far.
    laid: Vec<Option<usize>>,
    /// Sessions up to the newest laid one.
    passed: usize,
    /// Points for each delay that the plan may have.
    known: Bests,
}

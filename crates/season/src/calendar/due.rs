//! When the sessions of a plan fall due, for every delay that it may have.
//!
//! A delay is a number of days, and a number of planned days on which the plan waited. Delays stand in the order of the
//! planned days waited, then of the days.

use chrono::NaiveDate;

use super::chances::Chances;

/// Planned days on which a plan may have waited in all; what is more counts as days.
const WAITED: usize = 3;

pub(super) struct Due {
    /// The plan's first day; `None` without days.
    first: Option<NaiveDate>,
    /// The days late that may occur, in order, beginning with 0.
    late: Vec<i32>,
    /// For each number of days late its place among them.
    place: Vec<Option<usize>>,
    /// For each session that has a day, and each number of planned days waited: days from the plan's first day.
    days: Vec<Vec<i32>>,
}

impl Due {
    /// `days` are those of the recordings: a delay occurs if one of them is so many days late for a session.
    pub(super) fn new(planned: &[Option<NaiveDate>], days: &[NaiveDate], longest_delay_days: i64) -> Self {
        let mut late: Vec<i32> = planned
            .iter()
            .flatten()
            .flat_map(|planned| days.iter().map(move |day| (*day - *planned).num_days()))
            .filter(|days| (1..=longest_delay_days).contains(days))
            .map(|days| days as i32)
            .chain([0])
            .collect();
        late.sort_unstable();
        late.dedup();
        let mut place = vec![None; late.last().map_or(0, |longest| *longest as usize + 1)];
        late.iter().enumerate().for_each(|(at, days)| place[*days as usize] = Some(at));
        // Days of a plan that has any come before those of undated blocks.
        let first = planned.first().copied().flatten();
        let numbers: Vec<i32> = (planned.iter())
            .map_while(|planned| Some((*planned.as_ref()? - first?).num_days() as i32))
            .collect();
        let days = (0..numbers.len())
            .map(|session| (0..=WAITED).map(|waited| day_after(&numbers, session + waited)).collect())
            .collect();
        Self { first, late, place, days }
    }

    /// Number of delays.
    pub(super) fn delays(&self) -> usize {
        self.late.len() * if self.days.is_empty() { 1 } else { WAITED + 1 }
    }

    /// Number of delays with the same number of planned days waited.
    pub(super) fn days_late(&self) -> usize {
        self.late.len()
    }

    /// Days from the plan's first day.
    pub(super) fn day(&self, day: NaiveDate) -> i32 {
        self.first.map_or(0, |first| (day - first).num_days() as i32)
    }

    /// The delays with which a session falls due on a day.
    pub(super) fn on(&self, session: usize, day: i32) -> impl Iterator<Item = usize> {
        let days = self.days.get(session).map_or(&[][..], Vec::as_slice);
        days.iter().enumerate().filter_map(move |(waited, due)| {
            let late = usize::try_from(day - due).ok()?;
            Some(waited * self.late.len() + (*self.place.get(late)?)?)
        })
    }

    /// Adds for each delay what it says that a session was done on a day.
    pub(super) fn add_dates(&self, session: usize, day: i32, chances: &Chances, points: &mut [f64]) {
        let Some(days) = self.days.get(session) else { return };
        for (points, due) in points.chunks_exact_mut(self.late.len()).zip(days) {
            let off = day - due;
            for (points, late) in points.iter_mut().zip(&self.late) {
                *points += chances.date((off - late).abs());
            }
        }
    }

    /// For each delay the number of sessions that fell due up to a day.
    pub(super) fn by(&self, day: NaiveDate) -> Vec<f64> {
        let day = self.day(day);
        if self.days.is_empty() {
            return vec![0.0; self.delays()];
        }
        (0..=WAITED)
            .flat_map(|waited| self.late.iter().map(move |late| (waited, day - late)))
            .map(|(waited, until)| self.days.partition_point(|days| days[waited] <= until) as f64)
            .collect()
    }
}

/// The day of a session; past the end of the plan its last step goes on.
fn day_after(numbers: &[i32], session: usize) -> i32 {
    let last = numbers.len() - 1;
    let step = if last > 0 { numbers[last] - numbers[last - 1] } else { 1 };
    let at = session.min(last);
    numbers[at] + step * (session - at) as i32
}

//! When the sessions of a plan fall due, for every delay that it may have.
//!
//! A delay is a number of days, and a number of planned days on which the plan waited. Delays stand in the order of the
//! days, then of the planned days waited, so that those that may occur up to a day come first.

use chrono::NaiveDate;

use super::chances::Chances;

/// Planned days on which a plan may have waited in all; what is more counts as days.
const WAITED: usize = 3;
/// Numbers of planned days waited, from none.
const WAITS: usize = WAITED + 1;

pub(super) struct Due {
    /// Whether the plan may have begun late, so that any delay may occur from its start.
    may_begin_late: bool,
    /// The plan's first day; `None` without days.
    first: Option<NaiveDate>,
    /// The days late that may occur, in order, beginning with 0.
    late: Vec<i32>,
    /// For each number of days late its place among them.
    place: Vec<Option<usize>>,
    /// For each session that has a day, and each number of planned days waited: days from the plan's first day.
    days: Vec<[i32; WAITS]>,
}

impl Due {
    /// `days` are those of the recordings: a delay occurs if one of them is so many days late for a session.
    pub(super) fn new(
        planned: &[Option<NaiveDate>],
        days: &[NaiveDate],
        longest_delay_days: i64,
        may_begin_late: bool,
    ) -> Self {
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
            .map(|session| std::array::from_fn(|waited| day_after(&numbers, session + waited)))
            .collect();
        Self { may_begin_late, first, late, place, days }
    }

    /// For each number of days late as many delays.
    fn waits(&self) -> usize {
        if self.days.is_empty() { 1 } else { WAITS }
    }

    /// Number of delays that may have occurred up to a day: none is longer than the plan is old.
    pub(super) fn delays_by(&self, day: NaiveDate) -> usize {
        let age_days = self.day(day);
        let by_age = self.late.partition_point(|late| *late <= age_days) * self.waits();
        by_age.max(self.delays_at_start())
    }

    /// The delays that a plan may begin with, of which the first is none.
    pub(super) fn at_start(&self) -> impl Iterator<Item = usize> {
        (0..self.delays_at_start()).step_by(self.waits())
    }

    /// Number of delays that a session may have at the start of the plan.
    pub(super) fn delays_at_start(&self) -> usize {
        if self.may_begin_late { self.late.len() * self.waits() } else { self.waits() }
    }

    /// The delay with one planned day waited less.
    pub(super) fn before_waiting(delay: usize) -> Option<usize> {
        (!delay.is_multiple_of(WAITS)).then(|| delay - 1)
    }

    /// Days from the plan's first day.
    pub(super) fn day(&self, day: NaiveDate) -> i32 {
        self.first.map_or(0, |first| (day - first).num_days() as i32)
    }

    /// The delays with which a session falls due on a day.
    pub(super) fn on(&self, session: usize, day: i32) -> impl Iterator<Item = usize> {
        let days = self.days.get(session).map_or(&[][..], |days| &days[..]);
        days.iter().enumerate().filter_map(move |(waited, due)| {
            let late = usize::try_from(day - due).ok()?;
            Some((*self.place.get(late)?)? * WAITS + waited)
        })
    }

    /// Adds for each delay what it says that a session was done on a day.
    pub(super) fn add_dates(&self, session: usize, day: i32, chances: &Chances, points: &mut [f64]) {
        let Some(days) = self.days.get(session) else { return };
        for (points, late) in points.chunks_exact_mut(WAITS).zip(&self.late) {
            for (points, due) in points.iter_mut().zip(days) {
                *points += chances.date((day - late - due).abs());
            }
        }
    }

    /// For each delay the number of sessions that fell due up to a day.
    pub(super) fn by(&self, day: NaiveDate) -> Vec<f64> {
        let delays = self.delays_by(day);
        let day = self.day(day);
        if self.days.is_empty() {
            return vec![0.0; delays];
        }
        let mut due = Vec::with_capacity(delays);
        // The later the plan, the fewer are due.
        let mut counts = [self.days.len(); WAITS];
        for late in self.late.iter().take(delays / WAITS) {
            for (waited, count) in counts.iter_mut().enumerate() {
                while *count > 0 && self.days[*count - 1][waited] > day - late {
                    *count -= 1;
                }
                due.push(*count as f64);
            }
        }
        due
    }
}

/// The day of a session; past the end of the plan its last step goes on.
fn day_after(numbers: &[i32], session: usize) -> i32 {
    let last = numbers.len() - 1;
    let step = if last > 0 { numbers[last] - numbers[last - 1] } else { 1 };
    let at = session.min(last);
    numbers[at] + step * (session - at) as i32
}

//! The planned days of a plan, one after the other, and past its end.

use chrono::{Datelike, NaiveDate};

/// Planned days as whole days of the common era.
pub(super) struct Grid {
    /// The planned days, and those on which the plan would go on if it waited.
    days: Vec<i32>,
    /// Sessions that have a day; order alone counts for those after them.
    dated: usize,
    /// Days from the first planned day to the second, and between the last two.
    first_step: i32,
    last_step: i32,
}

impl Grid {
    /// `planned` are the days of the sessions and of so many more as if the plan went on; `sessions` of them are real.
    pub(super) fn new(planned: &[Option<NaiveDate>], sessions: usize) -> Self {
        let days: Vec<i32> = planned.iter().map_while(|planned| planned.map(day_number)).collect();
        let dated = days.len().min(sessions);
        let step = |pair: Option<&[i32]>| pair.map_or(1, |pair| (pair[1] - pair[0]).max(1));
        let (first_step, last_step) = (step(days.windows(2).next()), step(days.windows(2).next_back()));
        Self { days, dated, first_step, last_step }
    }

    /// How many sessions have a day.
    pub(super) fn dated(&self) -> usize {
        self.dated
    }

    pub(super) fn is_dated(&self, session: usize) -> bool {
        session < self.dated
    }

    /// The planned day at a place in the order; beyond either end the step there goes on.
    pub(super) fn at(&self, place: i32) -> i32 {
        if let Some(day) = usize::try_from(place).ok().and_then(|place| self.days.get(place)) {
            return *day;
        }
        let last = self.days.len() as i32 - 1;
        if place < 0 {
            self.days[0] + self.first_step * place
        } else {
            self.days[last as usize] + self.last_step * (place - last)
        }
    }

    /// Place of the last planned day up to a day; before the first one it is negative.
    pub(super) fn place_by(&self, day: i32) -> i32 {
        let last = self.days.len() as i32 - 1;
        let within = self.days.partition_point(|planned| *planned <= day) as i32 - 1;
        if within < 0 {
            let mut place = -1;
            while self.at(place) > day {
                place -= 1;
            }
            return place;
        }
        let mut place = within;
        while place >= last && self.at(place + 1) <= day {
            place += 1;
        }
        place
    }
}

/// A day as a whole number.
pub(super) fn day_number(day: NaiveDate) -> i32 {
    day.num_days_from_ce()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_last_step_goes_on_and_the_first_one_goes_back() {
        let day = |day: u64| NaiveDate::from_ymd_opt(2026, 3, 2).map(|first| first + chrono::Days::new(day));
        let grid = Grid::new(&[day(0), day(2), day(5)], 2);
        let first = grid.at(0);
        assert_eq!([-2, -1, 0, 1, 2, 3, 4].map(|place| grid.at(place) - first), [-4, -2, 0, 2, 5, 8, 11]);
        assert_eq!([-3, -2, 1, 2, 7, 8].map(|day| grid.place_by(first + day)), [-2, -1, 0, 1, 2, 3]);
        assert!(grid.is_dated(1) && !grid.is_dated(2));
    }
}

//! Habit: how regularly an athlete goes out. Facts without scolding and without medals.

use boutwise_bouts::statistics::{CircularMean, circular_mean};
use chrono::{Days, NaiveDate, NaiveTime, Timelike};

use crate::Rules;

/// Minutes of a day.
const DAY_MIN: f64 = 1440.0;

/// How regularly an athlete goes out.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Habit {
    /// Days with a run or a walk in the short look back (14 days).
    pub days_out_short: u32,
    /// Days with a run or a walk in the long look back (28 days).
    pub days_out_long: u32,
    /// Most days from one outing to the next, in the whole record; `None` for a single day.
    pub longest_stretch_days: Option<i64>,
    /// The usual time of day in minutes after midnight, by the clock on the wall.
    pub usual_time_min: Option<CircularMean>,
}

impl Habit {
    /// Looks at all outings up to a day. `starts` are local days and times, in any order.
    pub fn of(starts: &[(NaiveDate, NaiveTime)], as_of: NaiveDate, rules: &Rules) -> Self {
        let mut days: Vec<NaiveDate> =
            starts.iter().map(|(day, _)| *day).filter(|day| *day <= as_of).collect();
        days.sort_unstable();
        days.dedup();
        let within = |span: u32| {
            let after = as_of.checked_sub_days(Days::new(u64::from(span))).unwrap_or(NaiveDate::MIN);
            days.iter().filter(|day| **day > after).count() as u32
        };
        let mut times_min: Vec<f64> = starts
            .iter()
            .filter(|(day, _)| *day <= as_of)
            .map(|(_, time)| f64::from(time.num_seconds_from_midnight()) / 60.0)
            .collect();
        // Sums of floats depend on their order; the order of files must not show.
        times_min.sort_by(f64::total_cmp);
        Self {
            days_out_short: within(rules.habit_short_days),
            days_out_long: within(rules.habit_long_days),
            longest_stretch_days: days.windows(2).map(|pair| (pair[1] - pair[0]).num_days()).max(),
            usual_time_min: circular_mean(&times_min, DAY_MIN),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn days_out_count_days_and_not_recordings() {
        let at =
            |day: u32, clock: &str| (NaiveDate::from_ymd_opt(2026, 3, day).unwrap(), clock.parse().unwrap());
        let starts = [
            at(1, "18:00:00"),
            at(14, "18:00:00"),
            at(14, "19:00:00"),
            at(15, "18:00:00"),
            at(28, "18:00:00"),
        ];
        let habit = Habit::of(&starts, NaiveDate::from_ymd_opt(2026, 3, 28).unwrap(), &Rules::default());
        assert_eq!((habit.days_out_short, habit.days_out_long, habit.longest_stretch_days), (2, 4, Some(13)));
        // 18:00 four times and 19:00 once, by the sum of their directions.
        let usual = habit.usual_time_min.unwrap();
        assert!((usual.mean.unwrap() - 1091.8).abs() < 0.5, "{usual:?}");
    }

    #[test]
    fn what_lies_after_the_day_does_not_count() {
        let at =
            |day: u32, clock: &str| (NaiveDate::from_ymd_opt(2026, 3, day).unwrap(), clock.parse().unwrap());
        let starts = [at(2, "08:00:00"), at(4, "08:00:00"), at(9, "14:00:00")];
        let habit = Habit::of(&starts, NaiveDate::from_ymd_opt(2026, 3, 4).unwrap(), &Rules::default());
        assert_eq!((habit.days_out_short, habit.days_out_long, habit.longest_stretch_days), (2, 2, Some(2)));
        assert!((habit.usual_time_min.unwrap().mean.unwrap() - 480.0).abs() < 1e-6);
    }
}

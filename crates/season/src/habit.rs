//! Habit: how regularly an athlete goes out. Facts without scolding and without medals.

use std::f64::consts::TAU;

use chrono::{Days, NaiveDate, NaiveTime, Timelike};

use crate::Rules;

/// Minutes of a day.
const DAY_MIN: f64 = 1440.0;

/// The usual time of day, by directional statistics (Mardia; Fisher; from memory).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct UsualTime {
    /// Circular mean in minutes after midnight, 0 up to 1440.
    pub mean_min: f64,
    /// Length of the mean direction, 0 (all over the day) to 1 (always the same time).
    pub concentration: f64,
    /// Circular standard deviation √(−2 ln R) in minutes.
    pub deviation_min: f64,
}

impl UsualTime {
    /// Circular mean and spread of times in minutes after midnight; `None` without any.
    ///
    /// ```
    /// use boutwise_season::UsualTime;
    /// let midnight = UsualTime::of(&[23.0 * 60.0 + 50.0, 10.0]).unwrap();
    /// assert!(midnight.mean_min < 1e-9 || midnight.mean_min > 1440.0 - 1e-9);
    /// ```
    pub fn of(times_min: &[f64]) -> Option<Self> {
        if times_min.is_empty() {
            return None;
        }
        let count = times_min.len() as f64;
        let (sin, cos) = times_min.iter().fold((0.0, 0.0), |(sin, cos), time_min| {
            let angle = TAU * time_min / DAY_MIN;
            (sin + angle.sin(), cos + angle.cos())
        });
        let concentration = (sin.hypot(cos) / count).min(1.0);
        Some(Self {
            mean_min: (sin.atan2(cos) / TAU * DAY_MIN).rem_euclid(DAY_MIN),
            concentration,
            deviation_min: (-2.0 * concentration.ln()).max(0.0).sqrt() / TAU * DAY_MIN,
        })
    }

    /// Whether there is a usual time at all.
    pub fn is_usual(&self, rules: &Rules) -> bool {
        self.concentration >= rules.usual_time_min_concentration
    }
}

/// How regularly an athlete goes out.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Habit {
    /// Days with a run or a walk in the short look back (14 days).
    pub days_out_short: u32,
    /// Days with a run or a walk in the long look back (28 days).
    pub days_out_long: u32,
    /// Most days from one outing to the next, in the whole record; `None` for a single day.
    pub longest_stretch_days: Option<i64>,
    /// The usual time of day.
    pub usual_time: Option<UsualTime>,
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
            usual_time: UsualTime::of(&times_min),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn minutes(clock: &str) -> f64 {
        f64::from(clock.parse::<NaiveTime>().unwrap().num_seconds_from_midnight()) / 60.0
    }

    // Directional statistics (Mardia; Fisher), worked twice by hand: vector sums and the defining formulas.
    #[test]
    fn the_circular_mean_gives_its_worked_values() {
        let late = UsualTime::of(&[minutes("23:50:00"), minutes("00:10:00")]).unwrap();
        assert!(late.mean_min.min(1440.0 - late.mean_min) < 1e-9);
        assert!(
            (late.concentration - 0.999_048_2).abs() < 1e-7
                && (late.deviation_min - 10.001_587_2).abs() < 1e-6
        );
        let evening = ["18:00:00", "18:30:00", "19:00:00", "07:00:00"].map(minutes);
        let evening = UsualTime::of(&evening).unwrap();
        assert!((evening.mean_min - 1095.0).abs() < 1e-6);
        assert!(
            (evening.concentration - 0.498_929_5).abs() < 1e-7
                && (evening.deviation_min - 270.259_386).abs() < 1e-5
        );
    }

    #[test]
    fn opposite_times_are_no_usual_time() {
        let none = UsualTime::of(&[0.0, 720.0]).unwrap();
        assert!(!none.is_usual(&Rules::default()));
        assert_eq!(UsualTime::of(&[]), None);
    }

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
    }
}

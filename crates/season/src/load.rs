//! Load: how far a session goes beyond the sessions before it. Facts with the evidence's strength, never a forecast.

use chrono::{Days, NaiveDate};

use crate::Rules;

/// Slack at the edges of the spike classes, in % (rounding of binary fractions).
pub const SPIKE_SLACK_PCT: f64 = 1e-10;

/// How large the step to a session was, by the published classes.
///
/// Source: Frandsen and others 2025, doi 10.1136/bjsports-2024-109380: in 5205 adult runners the rate of overuse
/// injury was 1.64, 1.52 and 2.28 times as high at small, moderate and large spikes as without one. Beginners were
/// not singled out, and run/walk sessions were not what was measured.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum SpikeClass {
    /// Up to 10 %.
    None,
    /// Above 10 up to 30 %.
    Small,
    /// Above 30 up to 100 %.
    Moderate,
    /// Above 100 %.
    Large,
}

/// Distance of a session above the largest of the days before, in %.
///
/// ```
/// assert_eq!(boutwise_season::spike_pct(3600.0, 3200.0), 12.5);
/// ```
pub fn spike_pct(today_m: f64, largest_before_m: f64) -> f64 {
    100.0 * (today_m / largest_before_m - 1.0)
}

impl SpikeClass {
    /// The class of a step in %.
    ///
    /// ```
    /// use boutwise_season::{Rules, SpikeClass};
    /// assert_eq!(SpikeClass::of(12.5, &Rules::default()), SpikeClass::Small);
    /// ```
    pub fn of(spike_pct: f64, rules: &Rules) -> Self {
        let above = |limit_pct: f64| spike_pct > limit_pct + SPIKE_SLACK_PCT;
        if above(rules.spike_large_pct) {
            Self::Large
        } else if above(rules.spike_moderate_pct) {
            Self::Moderate
        } else if above(rules.spike_small_pct) {
            Self::Small
        } else {
            Self::None
        }
    }
}

/// Metres run in one session, and its day.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RunDistance {
    /// The local day.
    pub day: NaiveDate,
    /// Metres run; `None` where they are not known of all of its runs.
    pub run_m: Option<f64>,
}

/// The largest session of the days before `day`, that day left out; `None` without any, or where one is not known, which
/// may have been the largest.
///
/// `runs` need no order.
pub fn largest_before(runs: &[RunDistance], day: NaiveDate, window_days: u32) -> Option<f64> {
    let from = day.checked_sub_days(Days::new(u64::from(window_days)))?;
    let before = runs.iter().filter(|run| run.day >= from && run.day < day && run.run_m != Some(0.0));
    let known: Option<Vec<f64>> = before.map(|run| run.run_m).collect();
    known?.into_iter().max_by(f64::total_cmp)
}

/// Growth of the run distance of the 14 days up to `day` over the 14 days before them, in %.
///
/// `None` where the first of these days lies before the athlete's first run, nothing was run in the earlier ones, or the
/// metres of a session are not known: a history too short, or with holes, gives no alarm. Source of the look at two weeks: Nielsen and others 2014 (novices, above 30 %:
/// hazard ratio 1.59, 0.96 to 2.66, so not shown).
pub fn rise_14_days_pct(runs: &[RunDistance], day: NaiveDate) -> Option<f64> {
    const SPAN: Days = Days::new(14);
    let middle = day.checked_sub_days(SPAN)?;
    let begin = middle.checked_sub_days(SPAN)?;
    runs.iter().filter(|run| run.day <= begin).map(|run| run.day).min()?;
    let sum = |after: NaiveDate, until: NaiveDate| -> Option<f64> {
        runs.iter().filter(|run| run.day > after && run.day <= until).map(|run| run.run_m).sum()
    };
    let (before_m, now_m) = (sum(begin, middle)?, sum(middle, day)?);
    (before_m > 0.0).then(|| spike_pct(now_m, before_m))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2026, 3, day).unwrap()
    }

    // Classes by Frandsen and others 2025; the kilometres are worked by arithmetic from a longest of 3.2 km.
    #[test]
    fn the_published_classes_hold_at_their_edges() {
        for (km, class) in [
            (3.52, SpikeClass::None),
            (3.53, SpikeClass::Small),
            (3.6, SpikeClass::Small),
            (4.16, SpikeClass::Small),
            (4.17, SpikeClass::Moderate),
            (6.4, SpikeClass::Moderate),
            (6.41, SpikeClass::Large),
        ] {
            assert_eq!(SpikeClass::of(spike_pct(km, 3.2), &Rules::default()), class, "{km}");
        }
    }

    #[test]
    fn the_day_itself_and_days_out_of_the_window_do_not_count() {
        let runs = [(1, 5000.0), (2, 3200.0), (20, 2000.0), (31, 9000.0)]
            .map(|(number, run_m)| RunDistance { day: day(number), run_m: Some(run_m) });
        let april_1 = NaiveDate::from_ymd_opt(2026, 4, 1).unwrap();
        assert_eq!(largest_before(&runs[..3], april_1, 30), Some(3200.0));
        assert_eq!(largest_before(&runs, day(31), 30), Some(5000.0));
        assert_eq!(largest_before(&runs, day(1), 30), None);
    }

    // 12.4 km against 9.0 km is +37.78 % by arithmetic.
    #[test]
    fn two_weeks_are_compared_only_with_a_history_of_four() {
        let runs = |first: u32| {
            [(first, 0.0), (10, 9000.0), (24, 6000.0), (28, 6400.0)]
                .map(|(number, run_m)| RunDistance { day: day(number), run_m: Some(run_m) })
        };
        assert!((rise_14_days_pct(&runs(1), day(29)).unwrap() - 37.777_777_8).abs() < 1e-6);
        assert_eq!(rise_14_days_pct(&runs(2), day(29)), None);
    }

    #[test]
    fn the_thirtieth_day_before_counts_and_a_walk_of_nothing_does_not() {
        let run = |number: u32, run_m: f64| RunDistance { day: day(number), run_m: Some(run_m) };
        assert_eq!(largest_before(&[run(1, 5000.0)], day(31), 30), Some(5000.0));
        assert_eq!(largest_before(&[run(1, 5000.0)], day(31), 29), None);
        assert_eq!(largest_before(&[run(30, 0.0)], day(31), 30), None);
    }

    #[test]
    fn a_session_of_unknown_metres_leaves_no_step_and_no_rise_to_tell() {
        let run = |number: u32, run_m: Option<f64>| RunDistance { day: day(number), run_m };
        let with = |second: Option<f64>| {
            [run(1, Some(900.0)), run(5, Some(2000.0)), run(7, second), run(20, Some(4000.0))]
        };
        assert_eq!(largest_before(&with(Some(3000.0)), day(20), 30), Some(3000.0));
        assert_eq!(largest_before(&with(None), day(20), 30), None);
        assert_eq!(rise_14_days_pct(&with(Some(2000.0)), day(29)), Some(0.0));
        assert_eq!(rise_14_days_pct(&with(None), day(29)), None);
    }

    #[test]
    fn two_weeks_are_fourteen_days_at_both_ends() {
        let run = |number: u32, run_m: f64| RunDistance { day: day(number), run_m: Some(run_m) };
        // As of the 29th: the 16th to the 29th against the 2nd to the 15th; the 1st is history, the 30th is to come.
        let runs = [
            run(1, 7000.0),
            run(2, 3000.0),
            run(15, 2000.0),
            run(16, 4500.0),
            run(29, 3500.0),
            run(30, 9000.0),
        ];
        assert!((rise_14_days_pct(&runs, day(29)).unwrap() - 60.0).abs() < 1e-9);
        assert_eq!(rise_14_days_pct(&[run(1, 7000.0), run(29, 500.0)], day(29)), None);
    }
}

//! Progress: the longest unbroken run, and whether it grows.

use boutwise_bouts::statistics::theil_sen;
use chrono::{DateTime, Days, NaiveDate, Utc};

use crate::wording::clock;
use crate::{Outing, Rules};

/// The longest unbroken run of one recording.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub struct LongestRun {
    /// The local day.
    pub day: NaiveDate,
    /// First instant of the recording.
    pub start_utc: DateTime<Utc>,
    /// Path of the file.
    pub file: String,
    /// Number of the session in the file.
    pub session: usize,
    /// Duration in seconds.
    pub duration_s: f64,
    /// Metres, where known.
    pub distance_m: Option<f64>,
    /// Start in seconds from the recording's first point; `None` where only its length is sure.
    pub start_s: Option<f64>,
    /// Whether it is what an unbroken run surely was at least, where running and walking could not be told apart.
    pub is_at_least: bool,
}

impl LongestRun {
    /// The longest run of one outing; `None` without a run, or where runs can't be told apart.
    pub fn of(outing: &Outing) -> Option<Self> {
        let bout = outing.longest_run()?;
        Some(Self {
            day: outing.day(),
            start_utc: outing.start_utc,
            file: outing.file.clone(),
            session: outing.session,
            duration_s: bout.duration_s(),
            distance_m: bout.distance_m,
            start_s: Some(bout.start_s),
            is_at_least: false,
        })
    }

    /// How far and how long it was, in words.
    pub(crate) fn text(&self) -> String {
        let least = if self.is_at_least { "at least " } else { "" };
        let shown_m = |metres: f64| if self.is_at_least { (metres / 100.0).floor() * 100.0 } else { metres };
        let metres = self.distance_m.map_or_else(String::new, |m| format!("{:.1} km ", shown_m(m) / 1000.0));
        let shown_s = if self.is_at_least { self.duration_s.floor() } else { self.duration_s };
        format!("{least}{metres}in {}", clock(shown_s))
    }

    /// The longest run of one outing; where runs can't be told apart, what an unbroken run surely was at least.
    pub(crate) fn at_least_of(outing: &Outing) -> Option<Self> {
        Self::of(outing).or_else(|| {
            let (duration_s, metres) = outing.surely_run()?;
            Some(Self {
                day: outing.day(),
                start_utc: outing.start_utc,
                file: outing.file.clone(),
                session: outing.session,
                duration_s,
                distance_m: Some(metres),
                start_s: None,
                is_at_least: true,
            })
        })
    }
}

/// Progress of the longest unbroken run.
#[derive(Clone, Debug, Default, PartialEq)]
#[non_exhaustive]
pub struct Progress {
    /// The longest of all, the earliest of equals.
    pub longest: Option<LongestRun>,
    /// Trend in seconds per week; `None` for too few sessions.
    pub trend_s_per_week: Option<f64>,
    /// Its 95 % interval, where the sessions are enough for one.
    pub trend_interval_s_per_week: Option<(f64, f64)>,
    /// Sessions that the trend rests on.
    pub trend_sessions: usize,
}

impl Progress {
    /// Looks at all outings up to a day: the record over the whole time, the trend over the last weeks.
    ///
    /// The trend is the Theil–Sen slope of each session's longest run against its day.
    pub fn of<'a>(outings: impl IntoIterator<Item = &'a Outing>, as_of: NaiveDate, rules: &Rules) -> Self {
        let mut outings: Vec<&Outing> = outings.into_iter().filter(|outing| outing.day() <= as_of).collect();
        outings.sort_by_key(|outing| outing.order());
        let runs: Vec<LongestRun> = outings.into_iter().filter_map(LongestRun::of).collect();
        let after =
            as_of.checked_sub_days(Days::new(u64::from(rules.trend_weeks) * 7)).unwrap_or(NaiveDate::MIN);
        let (days, durations_s): (Vec<f64>, Vec<f64>) = runs
            .iter()
            .filter(|run| run.day > after)
            .map(|run| ((run.day - after).num_days() as f64, run.duration_s))
            .unzip();
        let enough = days.len() >= rules.trend_min_sessions as usize;
        let trend = enough.then(|| theil_sen(&days, &durations_s)).flatten();
        let longest = runs
            .into_iter()
            .reduce(|longest, run| if run.duration_s > longest.duration_s { run } else { longest });
        Self {
            longest,
            trend_s_per_week: trend.map(|trend| 7.0 * trend.slope),
            trend_interval_s_per_week: trend
                .and_then(|trend| trend.slope_interval)
                .map(|(low, high)| (7.0 * low, 7.0 * high)),
            trend_sessions: days.len(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use boutwise_bouts::{Bout, Kind};

    /// Outside check: `scipy.stats.theilslopes(y, x)`, SciPy 1.17.1, with the days and seconds below; times 7 for a week.
    #[test]
    fn the_trend_on_irregular_days_is_that_of_scipy() {
        let days = [0, 2, 5, 7, 9, 14, 16, 19, 21, 28];
        let seconds = [60.0, 62.0, 58.0, 90.0, 91.0, 88.0, 120.0, 118.0, 150.0, 149.0];
        let first = NaiveDate::from_ymd_opt(2026, 3, 2).unwrap();
        let outings: Vec<Outing> = days
            .iter()
            .zip(seconds)
            .map(|(day, run_s)| {
                let local = (first + Days::new(*day)).and_hms_opt(18, 0, 0).unwrap();
                let utc: DateTime<Utc> = local.and_utc();
                Outing::new("r.gpx", 1, utc, local, true, vec![Bout::new(Kind::Run, 0.0, run_s)])
            })
            .collect();
        let progress = Progress::of(&outings, first + Days::new(28), &Rules::default());
        assert!((progress.trend_s_per_week.unwrap() - 7.0 * 3.444_444_444_444_444_6).abs() < 1e-9);
        let (low, high) = progress.trend_interval_s_per_week.unwrap();
        // SciPy rounds the rank of the limits, Sen takes the lower one: the 11th slope from either end of the 45 that
        // `numpy.sort` puts in order.
        assert!((low - 7.0 * 2.333_333_333_333_333_5).abs() < 1e-9, "{low}");
        assert!((high - 7.0 * 4.916_666_666_666_667).abs() < 1e-9, "{high}");
    }

    #[test]
    fn what_is_sure_at_least_is_never_rounded_up() {
        let run = |is_at_least| LongestRun {
            day: NaiveDate::from_ymd_opt(2026, 5, 1).unwrap(),
            start_utc: DateTime::default(),
            file: "a.gpx".into(),
            session: 1,
            duration_s: 1799.6,
            distance_m: Some(3980.0),
            start_s: None,
            is_at_least,
        };
        assert_eq!(
            (run(true).text(), run(false).text()),
            ("at least 3.9 km in 29:59".into(), "4.0 km in 30:00".into())
        );
    }

    #[test]
    fn the_trend_looks_back_eight_weeks_and_needs_four_sessions() {
        let as_of = NaiveDate::from_ymd_opt(2026, 5, 1).unwrap();
        let progress = |runs: &[(i64, f64)]| {
            let outings: Vec<Outing> = runs
                .iter()
                .map(|&(days_before, run_s)| {
                    let day = as_of - chrono::TimeDelta::days(days_before);
                    let local = day.and_hms_opt(18, 0, 0).unwrap();
                    let bouts = vec![Bout::new(Kind::Run, 0.0, run_s)];
                    Outing::new(format!("{day}.gpx"), 1, local.and_utc(), local, true, bouts)
                })
                .collect();
            Progress::of(&outings, as_of, &Rules::default())
        };
        // 56 days before is too long ago, 55 is not, and what lies ahead counts for nothing.
        let four = progress(&[(56, 900.0), (55, 100.0), (48, 110.0), (41, 120.0), (34, 130.0), (-1, 999.0)]);
        assert_eq!(four.trend_sessions, 4);
        assert!((four.trend_s_per_week.unwrap() - 10.0).abs() < 1e-9);
        assert_eq!(four.longest.unwrap().duration_s, 900.0);
        let three = progress(&[(56, 900.0), (55, 100.0), (48, 110.0), (41, 120.0)]);
        assert_eq!((three.trend_sessions, three.trend_s_per_week), (3, None));
        let earliest = progress(&[(9, 300.0), (5, 300.0), (2, 200.0)]).longest.unwrap();
        assert_eq!(earliest.day, as_of - Days::new(9));
    }
}

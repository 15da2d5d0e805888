//! Readiness for an unbroken 3 km or 5 km: the time it would take, and how much of it was shown already.

use crate::wording::{clock, share};
use crate::{LongestRun, Rules};

/// Shortest and longest time for which the endurance formula is meant, in seconds (Riegel 1981: 3.5 to 230 min).
const ENDURANCE_TIME_S: (f64, f64) = (210.0, 13_800.0);

/// Error of outdoor distances by satellite, as a share (Gilgen-Ammann and others 2020, doi 10.2196/17118: mean
/// absolute errors of 3.2 to 6.1 %).
const DISTANCE_ERROR: f64 = 0.05;

/// What is always said beside an expected time.
pub const READINESS_NOTE: &str = "The time is an estimate for level ground and cool weather; start slower than your \
                                  usual run pace, and walking is a fair way to finish.";

/// Time over a longer distance by the endurance formula t₂ = t₁ (d₂/d₁)^k.
///
/// `None` outside what it is meant for: 3.5 to 230 min, and distances up to `endurance_max_ratio` times the known
/// one. Source: Riegel 1981, American Scientist.
///
/// ```
/// use boutwise_season::{Rules, endurance_time_s};
/// let time_s = endurance_time_s(1440.0, 3000.0, 5000.0, &Rules::default()).unwrap();
/// assert!((time_s - 2474.70).abs() < 0.01);
/// ```
pub fn endurance_time_s(known_s: f64, known_m: f64, wanted_m: f64, rules: &Rules) -> Option<f64> {
    let ratio = wanted_m / known_m;
    let within = |time_s: f64| (ENDURANCE_TIME_S.0..=ENDURANCE_TIME_S.1).contains(&time_s);
    if !(ratio > 0.0 && ratio <= rules.endurance_max_ratio && within(known_s)) {
        return None;
    }
    Some(known_s * ratio.powf(rules.endurance_exponent)).filter(|time_s| within(*time_s))
}

/// What readiness looks at.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Shown {
    /// Duration of the longest unbroken run of the last days, in seconds.
    pub longest_run_s: f64,
    /// Its metres.
    pub longest_run_m: f64,
    /// Median running speed of the last two sessions, in metres per second.
    pub run_speed_m_per_s: f64,
    /// Whether the last two sessions of the plan were good.
    pub last_two_good: bool,
    /// Where nothing was laid on a plan: the shorter of the longest unbroken runs of the last two sessions with runs, in
    /// seconds, if both took place in the last days without pain and were not noted to be hard.
    pub both_of_last_two_s: Option<f64>,
    /// Whether three long reps with short walks were done (`close_reps` of `close_rep_s`).
    pub long_reps_done: bool,
    /// Whether pain was noted with the newest session, or a warning sign stands.
    pub not_now: bool,
}

impl Shown {
    /// Whether the last two sessions speak for a try at a run of so many seconds: good ones of a plan, or else two with
    /// long unbroken runs.
    fn last_two_speak_for(&self, needed_s: f64, rules: &Rules) -> bool {
        self.last_two_good || self.both_of_last_two_s.is_some_and(|s| s >= rules.close_share * needed_s)
    }
}

/// How near an unbroken run over a distance is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Nearness {
    /// Pain or a warning sign: not now.
    NotNow,
    /// Not yet.
    NotYet,
    /// Close.
    Close,
    /// Ready to try.
    ReadyToTry,
    /// Done.
    Done,
}

impl Nearness {
    /// The words.
    pub fn words(self) -> &'static str {
        match self {
            Self::NotNow => "not now",
            Self::NotYet => "not yet",
            Self::Close => "close",
            Self::ReadyToTry => "ready to try",
            Self::Done => "done",
        }
    }

    /// Weighs what was run without a break against the time that is needed.
    pub fn of(shown: &Shown, needed_s: f64, rules: &Rules) -> Self {
        let share = shown.longest_run_s / needed_s;
        if shown.not_now {
            Self::NotNow
        } else if share >= rules.ready_share && shown.last_two_speak_for(needed_s, rules) {
            Self::ReadyToTry
        } else if share >= rules.close_share || shown.long_reps_done {
            Self::Close
        } else {
            Self::NotYet
        }
    }
}

/// The time that a distance would take without a break.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ExpectedTime {
    /// At the shown pace, in seconds.
    pub at_pace_s: f64,
    /// By the endurance formula, in seconds; `None` where the formula does not reach.
    pub by_endurance_s: Option<f64>,
    /// The larger of the two: the time to be run without a break, in seconds.
    pub needed_s: f64,
    /// The needed time with the error of outdoor distances, from and to, in seconds.
    pub range_s: (f64, f64),
    /// The longest unbroken run as a share of the needed time.
    pub share: f64,
    /// The shares that it is held against, in %: close, ready to try, all of it.
    pub limits_pct: [f64; 3],
}

impl ExpectedTime {
    /// The time for a distance; `None` without a run or a pace.
    ///
    /// ```
    /// use boutwise_season::{ExpectedTime, Rules, Shown};
    /// let shown = Shown { longest_run_s: 1200.0, longest_run_m: 2700.0, run_speed_m_per_s: 2.25, ..Shown::default() };
    /// let expected = ExpectedTime::over(5000.0, &shown, &Rules::default()).unwrap();
    /// assert!((expected.needed_s - 2305.918).abs() < 0.01);
    /// ```
    pub fn over(distance_m: f64, shown: &Shown, rules: &Rules) -> Option<Self> {
        if !(shown.run_speed_m_per_s > 0.0 && shown.longest_run_m > 0.0 && shown.longest_run_s > 0.0) {
            return None;
        }
        let at_pace_s = distance_m / shown.run_speed_m_per_s;
        let by_endurance_s = endurance_time_s(shown.longest_run_s, shown.longest_run_m, distance_m, rules);
        let needed_s = by_endurance_s.map_or(at_pace_s, |time_s| time_s.max(at_pace_s));
        Some(Self {
            at_pace_s,
            by_endurance_s,
            needed_s,
            range_s: (needed_s * (1.0 - DISTANCE_ERROR), needed_s * (1.0 + DISTANCE_ERROR)),
            share: shown.longest_run_s / needed_s,
            limits_pct: [rules.close_share, rules.ready_share, 1.0].map(|share| 100.0 * share),
        })
    }

    /// What the longest unbroken run lacks, in seconds; 0 once the needed time was run.
    pub fn left_s(&self) -> f64 {
        (self.needed_s * (1.0 - self.share)).max(0.0)
    }
}

/// Readiness for one distance.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub struct Readiness {
    /// The distance in metres.
    pub distance_m: f64,
    /// How near it is.
    pub nearness: Nearness,
    /// The first unbroken run that was as far.
    pub done: Option<LongestRun>,
    /// The time it would take by what was shown lately; `None` before the evidence allows.
    pub expected: Option<ExpectedTime>,
}

impl Readiness {
    /// Readiness for a distance, by the first run as far and by what was shown lately; `None` where neither says anything.
    ///
    /// Pain and warning signs come first, then what was done.
    ///
    /// ```
    /// use boutwise_season::{Readiness, Rules, Shown};
    /// let shown = Shown { longest_run_s: 1200.0, longest_run_m: 2700.0, run_speed_m_per_s: 2.25, ..Shown::default() };
    /// let readiness = Readiness::for_distance(5000.0, None, Some(&shown), &Rules::default()).unwrap();
    /// assert_eq!(readiness.nearness.words(), "not yet");
    /// ```
    pub fn for_distance(
        distance_m: f64,
        done: Option<LongestRun>,
        shown: Option<&Shown>,
        rules: &Rules,
    ) -> Option<Self> {
        let expected = shown.and_then(|shown| ExpectedTime::over(distance_m, shown, rules));
        let by_shown = shown.zip(expected).map(|(shown, time)| Nearness::of(shown, time.needed_s, rules));
        let nearness = match (by_shown, &done) {
            (Some(Nearness::NotNow), _) => Nearness::NotNow,
            (_, Some(_)) => Nearness::Done,
            (by_shown, None) => by_shown?,
        };
        Some(Self { distance_m, nearness, done, expected })
    }

    /// The figures in words, to be shown with [`READINESS_NOTE`] where a time is among them.
    ///
    /// ```
    /// # use boutwise_season::{Readiness, Rules, Shown};
    /// # let shown = Shown { longest_run_s: 1200.0, longest_run_m: 2700.0, run_speed_m_per_s: 2.25, ..Shown::default() };
    /// # let readiness = Readiness::for_distance(5000.0, None, Some(&shown), &Rules::default()).unwrap();
    /// assert_eq!(
    ///     readiness.text(),
    ///     "not yet: it would take about 36:31 to 40:21; the longest unbroken run lately, 20:00, is 52 % of that, \
    ///      about 18:26 are left"
    /// );
    /// ```
    pub fn text(&self) -> String {
        let mut text = self.nearness.words().to_owned();
        if self.nearness == Nearness::NotNow {
            text += ", after pain or a warning sign";
        }
        if let Some(run) = &self.done {
            let done = if self.nearness == Nearness::Done { "" } else { "; done" };
            return text + &format!("{done} on {}: {}", run.day, run.text());
        }
        let Some(expected) = self.expected.filter(|_| self.nearness != Nearness::NotNow) else { return text };
        text += &format!(
            ": it would take about {} to {}; the longest unbroken run lately, {}, is {} of that",
            clock(expected.range_s.0),
            clock(expected.range_s.1),
            clock(expected.share * expected.needed_s),
            share(100.0 * expected.share, &expected.limits_pct),
        );
        if expected.left_s() > 0.0 {
            text += &format!(", about {} are left", clock(expected.left_s()));
        }
        text
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // Riegel 1981; the numbers were worked by hand from the formula: 3 km in 24:00 give 5 km in 41:14.70.
    #[test]
    fn the_endurance_formula_gives_its_worked_values() {
        let rules = Rules::default();
        assert!((endurance_time_s(1440.0, 3000.0, 5000.0, &rules).unwrap() - 2_474.697_768_4).abs() < 1e-6);
        let double = endurance_time_s(1000.0, 1000.0, 2000.0, &rules).unwrap() / 1000.0;
        assert!((double - 2.084_931_5).abs() < 1e-7);
        assert_eq!(endurance_time_s(200.0, 600.0, 1000.0, &rules), None);
        assert_eq!(endurance_time_s(600.0, 1500.0, 5000.0, &rules), None);
    }

    #[test]
    fn needed_time_is_the_larger_of_pace_and_endurance() {
        let rules = Rules::default();
        let shown =
            |s, m, v| Shown { longest_run_s: s, longest_run_m: m, run_speed_m_per_s: v, ..Shown::default() };
        let twenty = ExpectedTime::over(5000.0, &shown(1200.0, 2700.0, 2.25), &rules).unwrap();
        assert!((twenty.at_pace_s - 2222.222).abs() < 0.01 && (twenty.needed_s - 2305.918).abs() < 0.01);
        assert!((twenty.share - 0.520_400_1).abs() < 1e-6);
        let thirty = ExpectedTime::over(5000.0, &shown(1800.0, 4100.0, 2.28), &rules).unwrap();
        assert!((thirty.needed_s - 2221.42).abs() < 0.01 && (thirty.share - 0.810_294_1).abs() < 1e-6);
        assert!((thirty.left_s() - 421.42).abs() < 0.01);
    }

    #[test]
    fn nearness_follows_its_lines_and_pain_outranks_them() {
        for (share, last_two_good, long_reps_done, not_now, words) in [
            (0.80, true, false, false, "ready to try"),
            (0.79, true, true, false, "close"),
            (0.52, true, true, false, "close"),
            (0.52, true, false, false, "not yet"),
            (0.85, false, true, false, "close"),
            (0.95, true, true, true, "not now"),
        ] {
            let longest_run_s = 2000.0 * share;
            let shown = Shown { longest_run_s, last_two_good, long_reps_done, not_now, ..Shown::default() };
            assert_eq!(Nearness::of(&shown, 2000.0, &Rules::default()).words(), words);
        }
    }

    #[test]
    fn without_a_plan_two_long_runs_speak_for_a_try_and_one_does_not() {
        for (share, shorter_share, not_now, words) in [
            (0.80, Some(0.60), false, "ready to try"),
            (0.80, Some(0.59), false, "close"),
            (0.80, None, false, "close"),
            (0.79, Some(0.79), false, "close"),
            (0.59, Some(0.59), false, "not yet"),
            (1.20, Some(1.20), true, "not now"),
        ] {
            let both_of_last_two_s = shorter_share.map(|share: f64| 2000.0 * share);
            let shown =
                Shown { longest_run_s: 2000.0 * share, both_of_last_two_s, not_now, ..Shown::default() };
            assert_eq!(Nearness::of(&shown, 2000.0, &Rules::default()).words(), words);
        }
    }

    #[test]
    fn what_was_done_stays_done_and_pain_comes_first() {
        let rules = Rules::default();
        let run = LongestRun {
            day: chrono::NaiveDate::from_ymd_opt(2026, 3, 1).unwrap(),
            start_utc: chrono::DateTime::default(),
            file: "a.gpx".into(),
            session: 1,
            duration_s: 2400.0,
            distance_m: Some(5210.0),
            start_s: Some(0.0),
            is_at_least: false,
        };
        let shown =
            Shown { longest_run_s: 600.0, longest_run_m: 1300.0, run_speed_m_per_s: 2.2, ..Shown::default() };
        let text = |done: Option<&LongestRun>, shown: Option<Shown>| {
            let readiness = Readiness::for_distance(5000.0, done.cloned(), shown.as_ref(), &rules);
            readiness.map(|readiness| readiness.text())
        };
        assert_eq!(text(None, None), None);
        assert_eq!(text(Some(&run), None).unwrap(), "done on 2026-03-01: 5.2 km in 40:00");
        assert_eq!(text(Some(&run), Some(shown)).unwrap(), "done on 2026-03-01: 5.2 km in 40:00");
        let with_pain = Shown { not_now: true, ..shown };
        assert_eq!(
            text(Some(&run), Some(with_pain)).unwrap(),
            "not now, after pain or a warning sign; done on 2026-03-01: 5.2 km in 40:00"
        );
        // Nothing invites to a try.
        assert_eq!(text(None, Some(with_pain)).unwrap(), "not now, after pain or a warning sign");
    }

    #[test]
    fn the_note_names_level_ground_a_slow_start_and_walking() {
        for part in
            ["estimate", "level ground", "cool weather", "start slower", "walking is a fair way to finish"]
        {
            assert!(READINESS_NOTE.contains(part), "{part}");
        }
    }

    #[test]
    fn a_slow_pace_needs_more_time_than_endurance_alone() {
        let rules = Rules::default();
        let shown = Shown {
            longest_run_s: 1200.0,
            longest_run_m: 2700.0,
            run_speed_m_per_s: 2.0,
            ..Shown::default()
        };
        let expected = ExpectedTime::over(5000.0, &shown, &rules).unwrap();
        assert!((expected.by_endurance_s.unwrap() - 2305.918).abs() < 0.01);
        assert_eq!(expected.needed_s, 2500.0);
        let nothing = |shown| ExpectedTime::over(5000.0, &shown, &rules);
        assert_eq!(nothing(Shown { run_speed_m_per_s: 0.0, ..shown }), None);
        assert_eq!(nothing(Shown { longest_run_m: 0.0, ..shown }), None);
    }

    // Riegel 1981: meant for 3.5 to 230 min; 30 km in 3:20 would be 42 km in 4:46.
    #[test]
    fn endurance_says_nothing_of_times_beyond_those_it_is_meant_for() {
        assert_eq!(endurance_time_s(12_000.0, 30_000.0, 42_000.0, &Rules::default()), None);
        assert!(endurance_time_s(210.0, 700.0, 1000.0, &Rules::default()).is_some());
        assert_eq!(endurance_time_s(209.0, 700.0, 1000.0, &Rules::default()), None);
    }

    #[test]
    fn the_lines_themselves_are_reached() {
        let rules = Rules::default();
        let near = |share: f64, last_two_good, long_reps_done| {
            let shown =
                Shown { longest_run_s: 2000.0 * share, last_two_good, long_reps_done, ..Shown::default() };
            Nearness::of(&shown, 2000.0, &rules)
        };
        assert_eq!(near(0.6, false, false), Nearness::Close);
        assert_eq!(near(0.599, false, false), Nearness::NotYet);
        assert_eq!(near(0.3, false, true), Nearness::Close);
        assert_eq!(near(0.9, false, false), Nearness::Close);
    }

    #[test]
    fn nothing_is_left_once_the_time_was_run() {
        let rules = Rules::default();
        let shown = Shown {
            longest_run_s: 2500.0,
            longest_run_m: 5200.0,
            run_speed_m_per_s: 2.2,
            ..Shown::default()
        };
        assert_eq!(ExpectedTime::over(5000.0, &shown, &rules).unwrap().left_s(), 0.0);
        let text = Readiness::for_distance(5000.0, None, Some(&shown), &rules).unwrap().text();
        assert!(!text.contains("left"), "{text}");
    }
}

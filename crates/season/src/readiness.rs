//! Readiness for an unbroken 3 km or 5 km: the time it would take, and how much of it was shown already.

use crate::Rules;
use crate::wording::{clock, share};

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
    /// Whether the last two sessions were good.
    pub last_two_good: bool,
    /// Whether three long reps with short walks were done (`close_reps` of `close_rep_s`).
    pub long_reps_done: bool,
    /// Whether pain was noted with the newest session.
    pub pain: bool,
}

/// How near an unbroken run over a distance is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Nearness {
    /// Pain: not now.
    NotNow,
    /// Not yet.
    NotYet,
    /// Close.
    Close,
    /// Ready to try.
    ReadyToTry,
}

impl Nearness {
    /// The words.
    pub fn words(self) -> &'static str {
        match self {
            Self::NotNow => "not now",
            Self::NotYet => "not yet",
            Self::Close => "close",
            Self::ReadyToTry => "ready to try",
        }
    }

    /// Weighs the share of the needed time that was run without a break.
    pub fn of(share: f64, shown: &Shown, rules: &Rules) -> Self {
        if shown.pain {
            Self::NotNow
        } else if share >= rules.ready_share && shown.last_two_good {
            Self::ReadyToTry
        } else if share >= rules.close_share || shown.long_reps_done {
            Self::Close
        } else {
            Self::NotYet
        }
    }
}

/// Readiness for one distance.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Readiness {
    /// The distance in metres.
    pub distance_m: f64,
    /// Time it would take at the shown pace, in seconds.
    pub at_pace_s: f64,
    /// Time by the endurance formula, in seconds; `None` where the formula does not reach.
    pub by_endurance_s: Option<f64>,
    /// The larger of the two: the time to be run without a break, in seconds.
    pub needed_s: f64,
    /// The needed time with the error of outdoor distances, from and to, in seconds.
    pub range_s: (f64, f64),
    /// The longest unbroken run as a share of it.
    pub share: f64,
    /// How near it is.
    pub nearness: Nearness,
}

impl Readiness {
    /// Readiness for a distance; `None` without a run or a pace.
    ///
    /// ```
    /// use boutwise_season::{Readiness, Rules, Shown};
    /// let shown = Shown { longest_run_s: 1200.0, longest_run_m: 2700.0, run_speed_m_per_s: 2.25, ..Shown::default() };
    /// let readiness = Readiness::for_distance(5000.0, &shown, &Rules::default()).unwrap();
    /// assert_eq!(readiness.nearness.words(), "not yet");
    /// ```
    pub fn for_distance(distance_m: f64, shown: &Shown, rules: &Rules) -> Option<Self> {
        if !(shown.run_speed_m_per_s > 0.0 && shown.longest_run_m > 0.0 && shown.longest_run_s > 0.0) {
            return None;
        }
        let at_pace_s = distance_m / shown.run_speed_m_per_s;
        let by_endurance_s = endurance_time_s(shown.longest_run_s, shown.longest_run_m, distance_m, rules);
        let needed_s = by_endurance_s.map_or(at_pace_s, |time_s| time_s.max(at_pace_s));
        let share = shown.longest_run_s / needed_s;
        Some(Self {
            distance_m,
            at_pace_s,
            by_endurance_s,
            needed_s,
            range_s: (needed_s * (1.0 - DISTANCE_ERROR), needed_s * (1.0 + DISTANCE_ERROR)),
            share,
            nearness: Nearness::of(share, shown, rules),
        })
    }

    /// The figures in one sentence, to be shown with [`READINESS_NOTE`].
    ///
    /// ```
    /// # use boutwise_season::{Readiness, Rules, Shown};
    /// # let shown = Shown { longest_run_s: 1200.0, longest_run_m: 2700.0, run_speed_m_per_s: 2.25, ..Shown::default() };
    /// # let readiness = Readiness::for_distance(5000.0, &shown, &Rules::default()).unwrap();
    /// assert_eq!(
    ///     readiness.sentence(),
    ///     "5 km without a break: not yet; it would take about 36:31 to 40:21, 20:00 were run without a break (52 %)"
    /// );
    /// ```
    pub fn sentence(&self) -> String {
        format!(
            "{} km without a break: {}; it would take about {} to {}, {} were run without a break ({})",
            self.distance_m / 1000.0,
            self.nearness.words(),
            clock(self.range_s.0),
            clock(self.range_s.1),
            clock(self.share * self.needed_s),
            share(100.0 * self.share)
        )
    }

    /// What the longest unbroken run lacks, in seconds; 0 once the needed time was run.
    pub fn left_s(&self) -> f64 {
        (self.needed_s * (1.0 - self.share)).max(0.0)
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
        let twenty = Readiness::for_distance(5000.0, &shown(1200.0, 2700.0, 2.25), &rules).unwrap();
        assert!((twenty.at_pace_s - 2222.222).abs() < 0.01 && (twenty.needed_s - 2305.918).abs() < 0.01);
        assert!((twenty.share - 0.520_400_1).abs() < 1e-6);
        let thirty = Readiness::for_distance(5000.0, &shown(1800.0, 4100.0, 2.28), &rules).unwrap();
        assert!((thirty.needed_s - 2221.42).abs() < 0.01 && (thirty.share - 0.810_294_1).abs() < 1e-6);
        assert!((thirty.left_s() - 421.42).abs() < 0.01);
    }

    #[test]
    fn nearness_follows_its_lines_and_pain_outranks_them() {
        for (share, last_two_good, long_reps_done, pain, words) in [
            (0.80, true, false, false, "ready to try"),
            (0.79, true, true, false, "close"),
            (0.52, true, true, false, "close"),
            (0.52, true, false, false, "not yet"),
            (0.85, false, true, false, "close"),
            (0.95, true, true, true, "not now"),
        ] {
            let shown = Shown { last_two_good, long_reps_done, pain, ..Shown::default() };
            assert_eq!(Nearness::of(share, &shown, &Rules::default()).words(), words);
        }
    }

    #[test]
    fn the_note_names_level_ground_a_slow_start_and_walking() {
        for part in
            ["estimate", "level ground", "cool weather", "start slower", "walking is a fair way to finish"]
        {
            assert!(READINESS_NOTE.contains(part), "{part}");
        }
    }
}

//! Effort by heart rate: facts beside a stated or estimated largest heart rate, and sensors that can't be believed.
//!
//! No figure here judges health. The fall of the heart rate in a walk break is compared only with the same athlete's
//! other breaks.

use boutwise_bouts::statistics::theil_sen;
use boutwise_bouts::{Bout, Kind};
use serde::{Deserialize, Serialize};

use crate::Rules;

/// Longest step between samples that still counts as sampling, in seconds (the project's gap limit).
const SAMPLING_S: f64 = 20.0;
/// Share of running without heart rate from which dropouts are named (own choice).
const DROPOUT_SHARE: f64 = 0.2;
/// Share of one single value from which a sensor counts as stuck (own choice).
const STUCK_SHARE: f64 = 0.9;
/// Fewest seconds with a heart rate for such judgements (own choice).
const MIN_JUDGED_S: f64 = 300.0;
/// Mean difference up to which heart rate and cadence are the same, in counts per minute (own choice).
const SAME_AS_CADENCE: f64 = 3.0;
/// Fewest reps for a slope over the reps (own choice).
const MIN_REPS_FOR_SLOPE: usize = 3;
/// Heart rates below this are read, in beats per minute; whole ones have their place in a table.
const TABLE_BPM: usize = 256;

/// What is wrong with a heart-rate sensor.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum SensorFault {
    /// One value nearly all the time.
    Stuck,
    /// Missing for much of the running.
    Dropouts,
    /// The steps were counted in place of the heart.
    EqualsCadence,
}

impl SensorFault {
    /// The sentence for people.
    pub fn text(self) -> &'static str {
        match self {
            Self::Stuck => "the heart rate stood at one value: not used",
            Self::Dropouts => "the heart rate is missing for much of the running",
            Self::EqualsCadence => "the heart rate equals the cadence, so steps were counted: not used",
        }
    }

    /// Whether the values can't be used at all.
    pub fn is_fatal(self) -> bool {
        self != Self::Dropouts
    }
}

/// Heart rate in the runs of one session.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct HeartRate {
    /// Seconds of running at each heart rate, by whole beats per minute from 0 to 255.
    seconds_by_bpm: Vec<f32>,
    /// The same at heart rates with decimals, each once, in order.
    seconds_between: Vec<(f64, f32)>,
    /// What is wrong with the sensor, if anything.
    pub fault: Option<SensorFault>,
}

impl HeartRate {
    /// Measures one session.
    ///
    /// `time_s` are the seconds of the samples from the session's start, in order; `heart_rate_bpm` and `cadence_spm`
    /// their values, not a number where missing, all of one length. `None` without any heart rate while running.
    pub fn measure(
        time_s: &[f64],
        heart_rate_bpm: &[f64],
        cadence_spm: &[f64],
        bouts: &[Bout],
    ) -> Option<Self> {
        let mut table = vec![0f32; TABLE_BPM];
        let mut between: Vec<(f64, f32)> = Vec::new();
        let (mut run_s, mut known_s) = (0.0, 0.0);
        let (mut beside_s, mut apart) = (0.0, 0.0);
        let first_from = |limit_s: f64| time_s.partition_point(|&time| time < limit_s);
        let runs = bouts.iter().filter(|bout| bout.kind == Kind::Run);
        for at in runs.flat_map(|run| first_from(run.start_s)..first_from(run.end_s)) {
            let step_s = time_s.get(at + 1).map_or(1.0, |next| next - time_s[at]);
            if step_s > SAMPLING_S {
                continue;
            }
            run_s += step_s;
            let rate = heart_rate_bpm[at];
            if !(rate >= 0.0 && rate < TABLE_BPM as f64) {
                continue;
            }
            known_s += step_s;
            let whole = rate as u16;
            match f64::from(whole) == rate {
                true => table[usize::from(whole)] += step_s as f32,
                false => between.push((rate, step_s as f32)),
            }
            if cadence_spm[at] > 0.0 {
                beside_s += step_s;
                apart += step_s * (rate - cadence_spm[at]).abs();
            }
        }
        if known_s <= 0.0 {
            return None;
        }
        between.sort_by(|a, b| a.0.total_cmp(&b.0));
        between.dedup_by(|next, kept| {
            let is_same = next.0 == kept.0;
            kept.1 += if is_same { next.1 } else { 0.0 };
            is_same
        });
        let rates_s = table.iter().chain(between.iter().map(|(_, seconds)| seconds));
        let most_s = rates_s.copied().fold(0.0, f32::max);
        let judged = known_s >= MIN_JUDGED_S;
        let fault = if judged && f64::from(most_s) >= STUCK_SHARE * known_s {
            Some(SensorFault::Stuck)
        } else if beside_s >= MIN_JUDGED_S && apart <= SAME_AS_CADENCE * beside_s {
            Some(SensorFault::EqualsCadence)
        } else if known_s < (1.0 - DROPOUT_SHARE) * run_s {
            Some(SensorFault::Dropouts)
        } else {
            None
        };
        Some(Self { seconds_by_bpm: table, seconds_between: between, fault })
    }

    /// Whether figures may be made of the sensor's values.
    pub fn is_believed(&self) -> bool {
        !self.fault.is_some_and(SensorFault::is_fatal)
    }

    /// Each heart rate with its seconds; `None` where the sensor can't be believed.
    fn usable(&self) -> Option<impl Iterator<Item = (f64, f64)> + '_> {
        self.is_believed().then(|| {
            let whole = self.seconds_by_bpm.iter().enumerate().map(|(bpm, seconds)| (bpm as f64, *seconds));
            let all = whole.chain(self.seconds_between.iter().copied());
            all.map(|(bpm, seconds)| (bpm, f64::from(seconds)))
        })
    }

    /// Mean over the run time in beats per minute; `None` where the sensor can't be believed.
    pub fn mean_bpm(&self) -> Option<f64> {
        let (beats, seconds) = self
            .usable()?
            .fold((0.0, 0.0), |(beats, all), (bpm, seconds)| (beats + bpm * seconds, all + seconds));
        (seconds > 0.0).then(|| beats / seconds)
    }

    /// Share of the run time above a heart rate, in %.
    pub fn share_above_pct(&self, limit_bpm: f64) -> Option<f64> {
        let (above, all) = self.usable()?.fold((0.0, 0.0), |(above, all), (bpm, seconds)| {
            (if bpm > limit_bpm { above + seconds } else { above }, all + seconds)
        });
        (all > 0.0).then(|| 100.0 * above / all)
    }
}

/// An athlete's largest heart rate.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MaxHeartRate {
    /// Beats per minute.
    pub bpm: f64,
    /// Standard error where it is estimated from age; `None` where it was given.
    pub error_bpm: Option<f64>,
}

impl MaxHeartRate {
    /// The given one, else 211 − 0.64·age with its error; `None` where neither is known.
    ///
    /// Source: Nes and others 2013, Scand J Med Sci Sports 23: standard error 10.8 bpm.
    ///
    /// ```
    /// use boutwise_season::{MaxHeartRate, Rules};
    /// let estimated = MaxHeartRate::of(None, Some(40), &Rules::default()).unwrap();
    /// assert_eq!((estimated.bpm, estimated.error_bpm), (185.4, Some(11.0)));
    /// ```
    pub fn of(given_bpm: Option<f64>, age: Option<i32>, rules: &Rules) -> Option<Self> {
        given_bpm.map(|bpm| Self { bpm, error_bpm: None }).or_else(|| {
            let bpm = predicted_max_bpm(f64::from(age.filter(|age| (10..=100).contains(age))?));
            Some(Self { bpm, error_bpm: Some(rules.predicted_max_hr_error_bpm) })
        })
    }
}

/// Largest heart rate predicted from age in years (Nes and others 2013).
pub fn predicted_max_bpm(age: f64) -> f64 {
    211.0 - 0.64 * age
}

/// Heart rate as a share of the reserve between rest and the largest, in %.
///
/// ```
/// assert!((boutwise_season::reserve_pct(150.0, 60.0, 190.0) - 69.2308).abs() < 1e-4);
/// ```
pub fn reserve_pct(bpm: f64, resting_bpm: f64, max_bpm: f64) -> f64 {
    100.0 * (bpm - resting_bpm) / (max_bpm - resting_bpm)
}

/// Effort figures of one session.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[non_exhaustive]
pub struct Effort {
    /// Mean heart rate while running, in beats per minute.
    pub run_mean_bpm: Option<f64>,
    /// The same in % of the largest heart rate.
    pub run_mean_pct_of_max: Option<f64>,
    /// The same in % of the reserve.
    pub run_mean_pct_of_reserve: Option<f64>,
    /// Share of the run time above the limit of comfortable speech, in %.
    pub above_talkable_pct: Option<f64>,
    /// Change of the heart rate at the end of the reps from rep to rep, in beats per minute.
    pub rep_end_slope_bpm: Option<f64>,
    /// Metres run for each heartbeat.
    pub metres_per_beat: Option<f64>,
}

impl Effort {
    /// Looks at one session; everything is empty without a sensor that can be believed.
    pub fn of(
        outing: &crate::Outing,
        max: Option<MaxHeartRate>,
        resting_bpm: Option<f64>,
        rules: &Rules,
    ) -> Self {
        let Some((rate, mean_bpm)) =
            outing.heart_rate.as_ref().and_then(|rate| Some((rate, rate.mean_bpm()?)))
        else {
            return Self::default();
        };
        let ends_bpm: Vec<f64> = outing
            .bouts
            .iter()
            .filter(|bout| bout.kind == Kind::Run)
            .filter_map(|bout| bout.heart_rate_end_bpm)
            .collect();
        let reps: Vec<f64> = (0..ends_bpm.len()).map(|rep| rep as f64).collect();
        Self {
            run_mean_bpm: Some(mean_bpm),
            run_mean_pct_of_max: max.map(|max| 100.0 * mean_bpm / max.bpm),
            run_mean_pct_of_reserve: max
                .zip(resting_bpm)
                .map(|(max, rest)| reserve_pct(mean_bpm, rest, max.bpm)),
            above_talkable_pct: max
                .and_then(|max| rate.share_above_pct(rules.talkable_pct_of_max_hr / 100.0 * max.bpm)),
            rep_end_slope_bpm: (reps.len() >= MIN_REPS_FOR_SLOPE)
                .then(|| theil_sen(&reps, &ends_bpm))
                .flatten()
                .map(|line| line.slope),
            metres_per_beat: outing.run_speed_m_per_s().map(|speed| 60.0 * speed / mean_bpm),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn run(start_s: f64, end_s: f64) -> Bout {
        Bout::new(Kind::Run, start_s, end_s)
    }

    fn seconds(count: usize) -> Vec<f64> {
        (0..count).map(|second| second as f64).collect()
    }

    // 208 − 0.7·age (Tanaka) and 220 − age stand beside it in the literature; the values are Nes and others 2013.
    #[test]
    fn predicted_maxima_are_the_published_ones() {
        for (age, bpm) in [(40.0, 185.4), (25.0, 195.0), (60.0, 172.6)] {
            assert!((predicted_max_bpm(age) - bpm).abs() < 1e-9);
        }
        let given = MaxHeartRate::of(Some(180.0), Some(40), &Rules::default()).unwrap();
        assert_eq!((given.bpm, given.error_bpm), (180.0, None));
        assert_eq!(MaxHeartRate::of(None, None, &Rules::default()), None);
    }

    // Table of intensities after ACSM and Garber 2011, worked by hand: 60 % of the reserve of 60 to 200 is 144 bpm; 150 bpm
    // are 78.947 % of a largest heart rate of 190 and 69.2308 % of the reserve above 60.
    #[test]
    fn shares_of_the_reserve_and_of_the_largest_are_the_worked_ones() {
        assert!((reserve_pct(144.0, 60.0, 200.0) - 60.0).abs() < 1e-9);
        let (bouts, start) =
            (vec![run(0.0, 200.0)], "2026-03-02T08:00:00".parse::<chrono::NaiveDateTime>().unwrap());
        let rate = HeartRate::measure(&seconds(200), &[150.0; 200], &[f64::NAN; 200], &bouts);
        let outing = crate::Outing {
            heart_rate: rate,
            ..crate::Outing::new("a.gpx", 1, start.and_utc(), start, true, bouts)
        };
        let rules = Rules::default();
        let max = MaxHeartRate::of(Some(190.0), None, &rules);
        let effort = Effort::of(&outing, max, Some(60.0), &rules);
        assert!((effort.run_mean_pct_of_max.unwrap() - 78.947).abs() < 1e-3);
        assert!((effort.run_mean_pct_of_reserve.unwrap() - 69.2308).abs() < 1e-4);
        assert_eq!(Effort::of(&outing, None, Some(60.0), &rules).run_mean_pct_of_max, None);
    }

    #[test]
    fn only_running_counts_and_the_share_above_a_limit_is_by_time() {
        let time = seconds(600);
        let rate: Vec<f64> = time
            .iter()
            .map(|t| {
                if *t < 300.0 {
                    100.0
                } else if *t < 500.0 {
                    140.0
                } else {
                    160.0
                }
            })
            .collect();
        let none = vec![f64::NAN; 600];
        let heart_rate = HeartRate::measure(&time, &rate, &none, &[run(300.0, 600.0)]).unwrap();
        assert!((heart_rate.mean_bpm().unwrap() - (200.0 * 140.0 + 100.0 * 160.0) / 300.0).abs() < 1e-9);
        assert!((heart_rate.share_above_pct(142.2).unwrap() - 100.0 / 3.0).abs() < 1e-4);
        assert_eq!(heart_rate.fault, None);
    }

    // By hand: 149.9 and 150.9 by turns are 150.4 in the mean, half of the time above 79 % of 190 (150.1).
    #[test]
    fn heart_rates_with_decimals_count_as_written() {
        let time = seconds(600);
        let rate: Vec<f64> = time.iter().map(|t| if t % 2.0 < 1.0 { 149.9 } else { 150.9 }).collect();
        let heart_rate = HeartRate::measure(&time, &rate, &vec![f64::NAN; 600], &[run(0.0, 600.0)]).unwrap();
        assert!((heart_rate.mean_bpm().unwrap() - 150.4).abs() < 1e-9);
        assert_eq!(heart_rate.share_above_pct(150.1), Some(50.0));
        let stuck = HeartRate::measure(&time, &vec![142.5; 600], &vec![f64::NAN; 600], &[run(0.0, 600.0)]);
        assert_eq!(stuck.unwrap().fault, Some(SensorFault::Stuck));
    }

    #[test]
    fn sensors_that_cannot_be_believed_are_named_and_not_used() {
        let time = seconds(900);
        let bouts = [run(0.0, 900.0)];
        let none = vec![f64::NAN; 900];
        let stuck = HeartRate::measure(&time, &vec![120.0; 900], &none, &bouts).unwrap();
        assert_eq!((stuck.fault, stuck.mean_bpm()), (Some(SensorFault::Stuck), None));
        let steps: Vec<f64> = time.iter().map(|t| 155.0 + (t / 7.0).sin() * 4.0).collect();
        let counted = HeartRate::measure(&time, &steps, &steps, &bouts).unwrap();
        assert_eq!((counted.fault, counted.mean_bpm()), (Some(SensorFault::EqualsCadence), None));
        let holes: Vec<f64> =
            time.iter().map(|t| if t % 3.0 < 1.0 { f64::NAN } else { 140.0 + t / 60.0 }).collect();
        let dropouts = HeartRate::measure(&time, &holes, &steps, &bouts).unwrap();
        assert_eq!(dropouts.fault, Some(SensorFault::Dropouts));
        assert!(dropouts.mean_bpm().is_some());
        assert_eq!(HeartRate::measure(&time, &none, &none, &bouts), None);
    }

    #[test]
    fn no_sentence_judges_health() {
        for fault in [SensorFault::Stuck, SensorFault::Dropouts, SensorFault::EqualsCadence] {
            assert!(!fault.text().contains("normal"));
        }
    }
}

//! Heart rate: its mean, its fall in walk breaks, and pace against heart rate in steady runs.
//!
//! Nothing here says whether a heart rate or its fall is good or bad. Walk breaks follow light, short runs of a length
//! of one's own choice; clinical limits come from tests to exhaustion and do not apply to them.

use std::ops::Range;

use crate::statistics::{mean_of, variation_pct};
use crate::{Bout, Kind};

boutwise_track::settings! {
    /// Settings of [`heart_rate_falls`]; `Default` is the documented definition. All are our own choice.
    HeartRateFallSettings {
        /// Seconds of the end of the run over which the heart rate is averaged.
        end_s: f64 = 5.0, "s", 1..60, "own choice";
        /// Seconds after the end of the run at which it is taken again; the walk must be at least as long.
        after_s: f64 = 60.0, "s", 5..300, "own choice";
        /// Seconds around that time over which it is averaged.
        window_s: f64 = 5.0, "s", 1..60, "own choice";
        /// Least share of points with a heart rate, in each of the two windows and from the one to the other.
        min_share: f64 = 0.8, "share", 0..1, "own choice";
    }
}

/// The fall of the heart rate in one walk break.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HeartRateFall {
    /// Start of the walk in seconds from the session's first point.
    pub start_s: f64,
    /// Heart rate at the end of the run less that in the walk, in beats per minute.
    pub fall_bpm: f64,
}

/// Mean over the points that have a heart rate (missing: NaN); `None` where none has.
///
/// ```
/// assert_eq!(boutwise_bouts::heart_rate_mean_bpm(&[120.0, f64::NAN, 130.0]), Some(125.0));
/// ```
pub fn heart_rate_mean_bpm(heart_rate_bpm: &[f64]) -> Option<f64> {
    mean_of(heart_rate_bpm.iter().copied().filter(|value| !value.is_nan()))
}

/// Share of the points that have a heart rate, in %; `None` without points.
///
/// ```
/// assert_eq!(boutwise_bouts::heart_rate_share_pct(&[120.0, f64::NAN, 130.0, 131.0]), Some(75.0));
/// ```
pub fn heart_rate_share_pct(heart_rate_bpm: &[f64]) -> Option<f64> {
    share(heart_rate_bpm).map(|share| 100.0 * share)
}

/// Falls of the heart rate in the first minute of the walks that follow a run, where they can be measured.
///
/// `times_s` counts from the session's first point, rising; `heart_rate_bpm` has a value for each of them, NaN where it
/// is missing. Falls can be compared within one person, one length of break and one step of a plan.
///
/// ```
/// use boutwise_bouts::{Bout, HeartRateFallSettings, Kind, heart_rate_falls};
/// let bouts = [Bout::new(Kind::Run, 0.0, 60.0), Bout::new(Kind::Walk, 60.0, 150.0)];
/// let times_s: Vec<f64> = (0..150).map(f64::from).collect();
/// let heart_rate_bpm: Vec<f64> = times_s.iter().map(|&time_s| if time_s < 90.0 { 158.0 } else { 136.0 }).collect();
/// let falls = heart_rate_falls(&bouts, &times_s, &heart_rate_bpm, &HeartRateFallSettings::default());
/// assert_eq!(falls[0].fall_bpm, 22.0);
/// ```
pub fn heart_rate_falls(
    bouts: &[Bout],
    times_s: &[f64],
    heart_rate_bpm: &[f64],
    settings: &HeartRateFallSettings,
) -> Vec<HeartRateFall> {
    let between = |from_s: f64, to_s: f64| {
        let place = |limit_s: f64| times_s.partition_point(|&time_s| time_s < limit_s);
        heart_rate_bpm.get(place(from_s)..place(to_s)).unwrap_or_default()
    };
    let enough = |values: &[f64]| share(values).is_some_and(|share| share >= settings.min_share);
    bouts
        .windows(2)
        .filter(|pair| {
            (pair[0].kind, pair[1].kind) == (Kind::Run, Kind::Walk)
                && pair[1].duration_s() >= settings.after_s
        })
        .filter_map(|pair| {
            let start_s = pair[1].start_s;
            let end_from_s = (start_s - settings.end_s).max(pair[0].start_s);
            let around_s = start_s + settings.after_s;
            let (again_from_s, again_to_s) =
                (around_s - settings.window_s / 2.0, around_s + settings.window_s / 2.0);
            let (end, again) = (between(end_from_s, start_s), between(again_from_s, again_to_s));
            if !(enough(end) && enough(again) && enough(between(end_from_s, again_to_s))) {
                return None;
            }
            let fall_bpm = heart_rate_mean_bpm(end)? - heart_rate_mean_bpm(again)?;
            Some(HeartRateFall { start_s, fall_bpm })
        })
        .collect()
}

boutwise_track::settings! {
    /// Settings of [`speed_per_beat_loss_pct`]; `Default` is the documented definition. All are our own choice.
    SpeedPerBeatSettings {
        /// Shortest unbroken run.
        min_run_s: f64 = 1200.0, "s", 60..36000, "own choice";
        /// Seconds left out at its start: heart rate drifts only after 10 to 20 min of steady effort.
        skip_s: f64 = 600.0, "s", 0..3600, "Coyle and Gonzalez-Alonso 2001; Wingo and others 2012";
        /// Largest spread of speed (sample standard deviation over mean) that is steady.
        max_speed_variation_pct: f64 = 10.0, "%", 0..100, "own choice";
        /// Length of the stretches whose speeds are compared for that.
        slice_s: usize = 30, "s", 5..600, "own choice";
        /// Least share of seconds with speed and heart rate in each half.
        min_share: f64 = 0.8, "share", 0..1, "own choice";
    }
}

/// Loss of speed for the same heart rate from the first to the second half of a steady unbroken run, in %.
///
/// 100·(1 − (v₂/h₂)/(v₁/h₁)) of the halves' mean speeds and heart rates, positive = more beats for the same speed. It
/// rises with heat and with fluid lost. Both columns have a value for each second of the session, NaN where it is
/// missing. `None` where the bout is no run, too short, not steady, or too little is known; never across walk breaks.
///
/// ```
/// use boutwise_bouts::{Bout, SpeedPerBeatSettings, Kind, speed_per_beat_loss_pct};
/// let run = Bout::new(Kind::Run, 0.0, 1800.0);
/// // After the first 10 min: 10 min at 126 m/min and 140 bpm, then 10 min at 123 m/min and 147 bpm.
/// let speed_m_per_s: Vec<f32> = (0..1800).map(|second| if second < 1200 { 2.1 } else { 2.05 }).collect();
/// let heart_rate_bpm: Vec<f32> = (0..1800).map(|second| if second < 1200 { 140.0 } else { 147.0 }).collect();
/// let loss = speed_per_beat_loss_pct(&run, &speed_m_per_s, &heart_rate_bpm, &SpeedPerBeatSettings::default()).unwrap();
/// assert!((loss - 7.0295).abs() < 1e-4);
/// ```
pub fn speed_per_beat_loss_pct(
    run: &Bout,
    speed_m_per_s: &[f32],
    heart_rate_bpm: &[f32],
    settings: &SpeedPerBeatSettings,
) -> Option<f64> {
    if run.kind != Kind::Run || run.duration_s() < settings.min_run_s {
        return None;
    }
    let from = (run.start_s + settings.skip_s).ceil() as usize;
    let to = (run.end_s.floor() as usize).min(speed_m_per_s.len()).min(heart_rate_bpm.len());
    let middle = from + to.checked_sub(from)? / 2;
    let slices: Vec<f64> = speed_m_per_s[from..to]
        .chunks_exact(settings.slice_s.max(1))
        .filter_map(|slice| known_mean(slice, 0.0))
        .collect();
    if variation_pct(&slices)? > settings.max_speed_variation_pct {
        return None;
    }
    let speed_per_beat = |half: Range<usize>| {
        let speed = known_mean(&speed_m_per_s[half.clone()], settings.min_share)?;
        Some(speed / known_mean(&heart_rate_bpm[half], settings.min_share)?)
    };
    let (first, second) = (speed_per_beat(from..middle)?, speed_per_beat(middle..to)?);
    let loss_pct = 100.0 * (1.0 - second / first);
    loss_pct.is_finite().then_some(loss_pct)
}

/// Mean of the known seconds, where they are at least this share.
fn known_mean(values: &[f32], min_share: f64) -> Option<f64> {
    let known = || values.iter().filter(|value| value.is_finite());
    let enough = known().count() as f64 >= min_share * values.len() as f64;
    mean_of(known().map(|&value| f64::from(value))).filter(|_| enough)
}

/// Share of the values that are present, 0 to 1.
fn share(values: &[f64]) -> Option<f64> {
    let count = values.iter().filter(|value| !value.is_nan()).count();
    (!values.is_empty()).then(|| count as f64 / values.len() as f64)
}

#[cfg(test)]
mod tests {
    use approx::assert_abs_diff_eq;
    use proptest::prelude::*;

    use super::*;
    use crate::statistics::{median, theil_sen};

    /// Heart rate at the end of the run, and 60 s later, of four breaks. Own example.
    const BREAKS: [(f64, f64); 4] = [(158.0, 136.0), (162.0, 141.0), (165.0, 146.0), (167.0, 149.0)];

    /// Reps of 60 s with walks of `walk_s` s, sampled every second: high in the run's last 5 s, low around 60 s after.
    fn session(walk_s: usize) -> (Vec<Bout>, Vec<f64>, Vec<f64>) {
        let (mut bouts, mut heart_rate_bpm) = (Vec::new(), Vec::new());
        for (end_bpm, later_bpm) in BREAKS {
            let start = heart_rate_bpm.len();
            heart_rate_bpm.extend([120.0; 55]);
            heart_rate_bpm.extend([end_bpm; 5]);
            heart_rate_bpm.extend((0..walk_s).map(|second| if second < 57 { 150.0 } else { later_bpm }));
            let walk = (start + 60) as f64;
            bouts.push(Bout::new(Kind::Run, start as f64, walk));
            bouts.push(Bout::new(Kind::Walk, walk, walk + walk_s as f64));
        }
        let times_s = (0..heart_rate_bpm.len()).map(|second| second as f64).collect();
        (bouts, times_s, heart_rate_bpm)
    }

    fn falls(bouts: &[Bout], times_s: &[f64], heart_rate_bpm: &[f64]) -> Vec<f64> {
        heart_rate_falls(bouts, times_s, heart_rate_bpm, &HeartRateFallSettings::default())
            .iter()
            .map(|fall| fall.fall_bpm)
            .collect()
    }

    #[test]
    fn falls_of_the_worked_example() {
        // Own example, recomputed by hand: median 20.0, −1.4167 a break.
        let (bouts, times_s, heart_rate_bpm) = session(90);
        let falls = falls(&bouts, &times_s, &heart_rate_bpm);
        assert_eq!(falls, [22.0, 21.0, 19.0, 18.0]);
        assert_eq!(median(&falls), Some(20.0));
        let trend = theil_sen(&[1.0, 2.0, 3.0, 4.0], &falls).unwrap();
        assert_abs_diff_eq!(trend.slope, -1.4166667, epsilon = 1e-6);
    }

    #[test]
    fn breaks_under_60_s_are_not_measurable() {
        let (bouts, times_s, heart_rate_bpm) = session(45);
        assert_eq!(falls(&bouts, &times_s, &heart_rate_bpm), []);
    }

    #[test]
    fn a_break_of_just_60_s_is_measurable() {
        let (bouts, times_s, heart_rate_bpm) = session(60);
        assert_eq!(falls(&bouts, &times_s, &heart_rate_bpm).len(), 4);
    }

    #[test]
    fn the_end_of_a_very_short_run_holds_nothing_of_the_walk_before_it() {
        let bouts = [
            Bout::new(Kind::Walk, 0.0, 60.0),
            Bout::new(Kind::Run, 60.0, 63.0),
            Bout::new(Kind::Walk, 63.0, 153.0),
        ];
        let heart_rate_bpm = [vec![100.0; 60], vec![160.0; 3], vec![130.0; 90]].concat();
        let times_s: Vec<f64> = (0..153).map(f64::from).collect();
        assert_eq!(falls(&bouts, &times_s, &heart_rate_bpm), [30.0]);
    }

    #[test]
    fn breaks_with_more_than_a_fifth_missing_are_not_measurable() {
        let (bouts, times_s, heart_rate_bpm) = session(90);
        let without = |seconds: Range<usize>| {
            let mut values = heart_rate_bpm.clone();
            values[seconds].fill(f64::NAN);
            falls(&bouts, &times_s, &values).len()
        };
        assert_eq!(without(55..56), 4); // one of five at the end of the run
        assert_eq!(without(55..57), 3);
        assert_eq!(without(118..119), 4); // one of five around 60 s later
        assert_eq!(without(118..120), 3);
        assert_eq!(without(70..90), 3); // 20 of 68 between them
        assert_eq!(without(70..80), 4);
    }

    #[test]
    fn a_stand_or_a_gap_after_the_run_is_no_walk_break() {
        let (mut bouts, times_s, heart_rate_bpm) = session(90);
        bouts[1].kind = Kind::Stand;
        bouts[3].kind = Kind::Gap;
        assert_eq!(falls(&bouts, &times_s, &heart_rate_bpm), [19.0, 18.0]);
    }

    #[test]
    fn no_heart_rate_is_missing_and_not_zero() {
        assert_eq!(heart_rate_mean_bpm(&[f64::NAN; 3]), None);
        assert_eq!(heart_rate_share_pct(&[f64::NAN; 3]), Some(0.0));
        assert_eq!(heart_rate_share_pct(&[]), None);
    }

    /// A run of 30 min with these speeds and heart rates in the halves of its last 20 min.
    fn steady(speeds: (f32, f32), rates: (f32, f32)) -> (Bout, Vec<f32>, Vec<f32>) {
        let halves = |values: (f32, f32)| [vec![values.0; 1200], vec![values.1; 600]].concat();
        (Bout::new(Kind::Run, 0.0, 1800.0), halves(speeds), halves(rates))
    }

    fn loss(run: &Bout, speeds: &[f32], rates: &[f32]) -> Option<f64> {
        speed_per_beat_loss_pct(run, speeds, rates, &SpeedPerBeatSettings::default())
    }

    #[test]
    fn loss_of_the_worked_example_is_relative_to_the_first_half() {
        // Own example: 126 m/min at 140 bpm, then 123 m/min at 147 bpm; relative to the second half 7.5610 %.
        let (run, speeds, rates) = steady((2.1, 2.05), (140.0, 147.0));
        assert_abs_diff_eq!(loss(&run, &speeds, &rates).unwrap(), 7.0294785, epsilon = 1e-4);
        let (run, speeds, rates) = steady((2.1, 2.1), (140.0, 147.0));
        assert_abs_diff_eq!(loss(&run, &speeds, &rates).unwrap(), 4.7619048, epsilon = 1e-4);
    }

    #[test]
    fn loss_is_told_of_long_steady_runs_with_heart_rate_alone() {
        let (run, speeds, rates) = steady((2.1, 2.1), (140.0, 147.0));
        assert_eq!(loss(&Bout::new(Kind::Run, 0.0, 1199.0), &speeds, &rates), None);
        assert_eq!(loss(&Bout::new(Kind::Walk, 0.0, 1800.0), &speeds, &rates), None);
        assert_eq!(loss(&run, &speeds, &[f32::NAN; 1800]), None);
        assert_eq!(loss(&run, &[f32::NAN; 1800], &rates), None);
        assert_eq!(loss(&run, &speeds[..300], &rates), None);
        assert!(loss(&Bout::new(Kind::Run, 0.0, 1200.0), &speeds, &rates).is_some());
        let without = |seconds: usize| {
            let mut known = rates.clone();
            known[1200..1200 + seconds].fill(f32::NAN);
            loss(&run, &speeds, &known).is_some()
        };
        // Of the 600 s of a half a fifth may be missing.
        assert_eq!((without(120), without(121)), (true, false));
        let (run, speeds, rates) = steady((2.6, 2.0), (140.0, 147.0));
        assert_eq!(loss(&run, &speeds, &rates), None);
    }

    proptest! {
        #[test]
        fn falls_do_not_depend_on_when_the_session_began(shift_s in 0..10_000_u32) {
            let (bouts, times_s, heart_rate_bpm) = session(90);
            let shift_s = f64::from(shift_s);
            let later: Vec<Bout> = bouts
                .iter()
                .map(|bout| Bout { start_s: bout.start_s + shift_s, end_s: bout.end_s + shift_s, ..bout.clone() })
                .collect();
            let later_s: Vec<f64> = times_s.iter().map(|time_s| time_s + shift_s).collect();
            prop_assert_eq!(falls(&bouts, &times_s, &heart_rate_bpm), falls(&later, &later_s, &heart_rate_bpm));
        }
    }
}

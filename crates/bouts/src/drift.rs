//! Pace drift: how the running pace changes over the run time of a session.
//!
//! # Definition (own)
//!
//! 1. Run bouts only.
//! 2. The first 10 s of each are left out: starting up, and the receiver's lag.
//! 3. The rest is joined and cut into slices of 30 s, across walk breaks too; a last part slice is left out. Fewer than
//!    six slices are not enough running.
//! 4. Pace of a slice = its time over its distance, at its middle in run time.
//! 5. The line of Theil and Sen through these paces.
//! 6. Drift = 100·b·T/a for slope b, intercept a and the time T of all slices: the change of the line from start to end.
//! 7. Its interval is Sen's 95 % interval of the slope; where it holds 0 there is no clear drift.
//!
//! Sen's interval (Sen 1968, from memory) is for slices that differ by chance alone: on such even runs it leaves out 0 in
//! about 5 of 100. People's speed changes slowly, so that neighbouring slices are alike; the interval is then too narrow and
//! leaves out 0 more often, in about 1 of 8 even runs where half of a change is still there 30 s later. The test
//! `slow_changes_of_speed_make_the_interval_too_narrow` counts both. It says how well the line fits, not how sure a tiring is.

use serde::{Deserialize, Serialize};

use crate::statistics::theil_sen;
use crate::{Bout, Kind};

boutwise_track::settings! {
    /// Settings of [`pace_drift`]; `Default` is the documented definition. All are our own choice.
    DriftSettings {
        /// Seconds left out at the start of each run bout.
        skip_s: usize = 10, "s", 0..300, "own choice";
        /// Length of a slice.
        slice_s: usize = 30, "s", 5..600, "own choice";
        /// Fewest slices that are enough running.
        min_slices: usize = 6, "slices", 3..100, "own choice";
    }
}

/// How the pace changed over the run time of a session.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct PaceDrift {
    /// Change of pace from start to end in % of the start; positive = slowing.
    pub drift_pct: f64,
    /// Sen's 95 % interval of the drift in %, for slices that differ by chance alone; `None` for too few slices.
    pub interval_pct: Option<(f64, f64)>,
    /// Pace of the line at the start of the running, in seconds per kilometre.
    pub start_pace_s_per_km: f64,
    /// Pace of the line at its end, in seconds per kilometre.
    pub end_pace_s_per_km: f64,
    /// Number of slices.
    pub slices: usize,
}

impl PaceDrift {
    /// Whether the interval leaves out 0.
    pub fn is_clear(&self) -> bool {
        self.interval_pct.is_some_and(|(low, high)| low > 0.0 || high < 0.0)
    }
}

/// Measures the pace drift of a session.
///
/// `speed_m_per_s` has a value for each second of the session, the first from 0 to 1 s after its start; seconds that lie
/// whole in a run bout count, those without a speed (NaN) are left out. `None` where there is not enough running.
///
/// ```
/// use boutwise_bouts::{Bout, DriftSettings, Kind, pace_drift};
/// let speed_m_per_s: Vec<f32> = (0..600).map(|second| 2.4 - 0.0002 * second as f32).collect();
/// let drift = pace_drift(&[Bout::new(Kind::Run, 0.0, 600.0)], &speed_m_per_s, &DriftSettings::default()).unwrap();
/// assert!((drift.drift_pct - 5.0).abs() < 0.1);
/// assert_eq!(drift.slices, 19);
/// ```
pub fn pace_drift(bouts: &[Bout], speed_m_per_s: &[f32], settings: &DriftSettings) -> Option<PaceDrift> {
    let run_seconds: Vec<f64> = bouts
        .iter()
        .filter(|bout| bout.kind == Kind::Run)
        .flat_map(|bout| {
            let from = (bout.start_s + settings.skip_s as f64).ceil() as usize;
            let to = (bout.end_s.floor() as usize).min(speed_m_per_s.len());
            speed_m_per_s.get(from..to).unwrap_or_default()
        })
        .map(|&speed| f64::from(speed))
        .filter(|speed| speed.is_finite())
        .collect();
    let slice_s = settings.slice_s as f64;
    let slices = run_seconds.chunks_exact(settings.slice_s.max(1));
    let total_s = slices.len() as f64 * slice_s;
    let (middles_s, paces): (Vec<f64>, Vec<f64>) = slices
        .enumerate()
        .filter_map(|(index, slice)| {
            let metres: f64 = slice.iter().sum();
            (metres > 0.0).then(|| ((index as f64 + 0.5) * slice_s, 1000.0 * slice_s / metres))
        })
        .unzip();
    if paces.len() < settings.min_slices {
        return None;
    }
    let line = theil_sen(&middles_s, &paces)?;
    let start_pace_s_per_km = line.at(0.0);
    let drift_pct = |slope: f64| 100.0 * slope * total_s / start_pace_s_per_km;
    (start_pace_s_per_km > 0.0).then(|| PaceDrift {
        drift_pct: drift_pct(line.slope),
        interval_pct: line.slope_interval.map(|(low, high)| (drift_pct(low), drift_pct(high))),
        start_pace_s_per_km,
        end_pace_s_per_km: line.at(total_s),
        slices: paces.len(),
    })
}

#[cfg(test)]
mod tests {
    use approx::assert_abs_diff_eq;
    use proptest::prelude::*;

    use super::*;

    /// Run bouts of these speeds with 90 s walks between, and the speeds of the session.
    fn session(runs: &[Vec<f32>]) -> (Vec<Bout>, Vec<f32>) {
        let (mut bouts, mut speeds) = (Vec::new(), Vec::new());
        for run in runs {
            let walk_from = speeds.len() as f64;
            speeds.extend([1.4; 90]);
            let run_from = speeds.len() as f64;
            speeds.extend(run);
            bouts.push(Bout::new(Kind::Walk, walk_from, run_from));
            bouts.push(Bout::new(Kind::Run, run_from, speeds.len() as f64));
        }
        (bouts, speeds)
    }

    fn drift_of(runs: &[Vec<f32>]) -> Option<PaceDrift> {
        let (bouts, speeds) = session(runs);
        pace_drift(&bouts, &speeds, &DriftSettings::default())
    }

    /// Four bouts with a slow start and two slices each; one slice is spoiled.
    fn worked_example() -> Vec<Vec<f32>> {
        [(2.500, 2.475), (2.450, 2.440), (2.420, 2.100), (2.390, 2.370)]
            .map(|(first, second)| [vec![1.8; 10], vec![first; 30], vec![second; 30]].concat())
            .to_vec()
    }

    #[test]
    fn drift_of_the_worked_example() {
        // Own example, recomputed by hand: least squares would say 10.3496 %.
        let drift = drift_of(&worked_example()).unwrap();
        assert_eq!(drift.slices, 8);
        assert_abs_diff_eq!(drift.drift_pct, 6.140442, epsilon = 1e-4);
        assert_abs_diff_eq!(drift.start_pace_s_per_km, 399.271098, epsilon = 1e-3);
        assert_abs_diff_eq!(drift.end_pace_s_per_km, 423.788108, epsilon = 1e-3);
        let (low, high) = drift.interval_pct.unwrap();
        assert_abs_diff_eq!(low, 5.196370, epsilon = 1e-4);
        assert_abs_diff_eq!(high, 8.260776, epsilon = 1e-4);
        assert!(drift.is_clear());
    }

    #[test]
    fn the_first_10_s_of_a_bout_would_spoil_it() {
        let (bouts, speeds) = session(&worked_example());
        let whole = DriftSettings { skip_s: 0, ..DriftSettings::default() };
        assert_abs_diff_eq!(pace_drift(&bouts, &speeds, &whole).unwrap().drift_pct, 4.806954, epsilon = 1e-4);
    }

    #[test]
    fn seconds_without_speed_are_left_out() {
        let mut run = vec![2.4; 90];
        run[20..25].fill(f32::NAN);
        let drift = drift_of(&vec![run; 4]).unwrap();
        assert_eq!(drift.slices, 10, "of 4 times 75 s");
        assert_abs_diff_eq!(drift.drift_pct, 0.0, epsilon = 1e-9);
    }

    #[test]
    fn an_even_pace_has_no_drift() {
        let drift = drift_of(&vec![vec![2.4; 90]; 4]).unwrap();
        assert_abs_diff_eq!(drift.drift_pct, 0.0, epsilon = 1e-9);
        assert!(!drift.is_clear());
    }

    /// Share of even runs of 20 minutes whose interval leaves out 0, where so much of a slice's change is still there in the
    /// next slice.
    fn clear_share(kept: f64) -> f64 {
        // A generator for this test alone: Knuth's multiplier and increment of 64 bits (from memory).
        let mut state = 7_u64;
        let mut uniform = move || {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (state >> 11) as f64 / (1_u64 << 53) as f64
        };
        // The sum of twelve uniform numbers is close enough to a normal one.
        let mut normal = move || (0..12).map(|_| uniform()).sum::<f64>() - 6.0;
        let runs = 2000;
        let clear = (0..runs).filter(|_| {
            let mut change = normal();
            let speeds: Vec<f32> = (0..40)
                .flat_map(|_| {
                    change = kept * change + (1.0 - kept * kept).sqrt() * normal();
                    [(2.4 + 0.05 * change) as f32; 30]
                })
                .collect();
            let settings = DriftSettings { skip_s: 0, ..DriftSettings::default() };
            pace_drift(&[Bout::new(Kind::Run, 0.0, 1200.0)], &speeds, &settings).unwrap().is_clear()
        });
        clear.count() as f64 / f64::from(runs)
    }

    #[test]
    fn slow_changes_of_speed_make_the_interval_too_narrow() {
        let (by_chance, slow) = (clear_share(0.0), clear_share(0.3));
        eprintln!("0 left out: {by_chance:.3} by chance, {slow:.3} with slow changes");
        assert!((0.03..0.07).contains(&by_chance), "{by_chance}");
        assert!((0.10..0.20).contains(&slow), "{slow}");
    }

    #[test]
    fn quickening_is_negative() {
        let drift = drift_of(&[2.3, 2.4, 2.5, 2.6].map(|speed| vec![speed; 70])).unwrap();
        assert!(drift.drift_pct < 0.0);
        assert!(drift.is_clear());
    }

    #[test]
    fn little_running_has_no_drift() {
        assert_eq!(drift_of(&[vec![2.4; 189]]), None);
        assert!(drift_of(&[vec![2.4; 190]]).is_some());
        assert_eq!(drift_of(&[]), None);
    }

    #[test]
    fn bouts_beyond_the_speeds_do_no_harm() {
        let bouts = [Bout::new(Kind::Run, 500.0, 900.0)];
        assert_eq!(pace_drift(&bouts, &[2.4; 100], &DriftSettings::default()), None);
    }

    proptest! {
        #[test]
        fn walking_between_the_runs_does_not_matter(
            paces in prop::collection::vec(1.8..3.0_f32, 8..12), walk_s in 0..200_usize,
        ) {
            let runs: Vec<Vec<f32>> = paces.iter().map(|&pace| vec![pace; 70]).collect();
            let (bouts, speeds) = session(&runs);
            let before = pace_drift(&bouts, &speeds, &DriftSettings::default()).unwrap();
            let shifted: Vec<Bout> = bouts
                .iter()
                .map(|bout| Bout {
                    start_s: bout.start_s + walk_s as f64,
                    end_s: bout.end_s + walk_s as f64,
                    ..bout.clone()
                })
                .collect();
            let later: Vec<f32> = std::iter::repeat_n(1.4, walk_s).chain(speeds).collect();
            let after = pace_drift(&shifted, &later, &DriftSettings::default()).unwrap();
            prop_assert_eq!(before, after);
        }
    }
}

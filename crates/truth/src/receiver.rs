//! What a receiver's own filter makes of positions: they lag, round off corners and overshoot.

use crate::Random;
use crate::pace::STEP_S;

/// A second-order filter on positions.
#[derive(Clone, Debug, PartialEq)]
pub struct ReceiverSettings {
    /// Share of the files whose positions are filtered. Own choice.
    pub filtered_share: f64,
    /// Range of its time constant in seconds; drawn once per session (lags of 2–6 s are seen in open recordings).
    pub time_s: (f64, f64),
    /// Range of its damping; below 1 it overshoots. Own choice.
    pub damping: (f64, f64),
    /// Standard deviation per axis of the drift while standing, in metres (seen in open recordings).
    pub stand_drift_m: f64,
}

impl Default for ReceiverSettings {
    fn default() -> Self {
        Self { filtered_share: 0.6, time_s: (1.0, 4.0), damping: (0.6, 1.2), stand_drift_m: 4.0 }
    }
}

/// Correlation time of the drift while standing, in seconds. Own choice.
const DRIFT_TIME_S: f64 = 30.0;

/// Lets positions drift while standing, then filters them, both on the grid.
pub(crate) fn filter(
    way: &mut [[f64; 2]],
    speed_m_per_s: &[f64],
    settings: &ReceiverSettings,
    random: &mut Random,
) {
    let keep = (-STEP_S / DRIFT_TIME_S).exp();
    let fresh_m = settings.stand_drift_m * (1.0 - keep * keep).sqrt();
    let mut drift_m = [0.0; 2];
    for (here, speed) in way.iter_mut().zip(speed_m_per_s) {
        let standing = *speed < STANDING_M_PER_S;
        for (place, drift) in here.iter_mut().zip(&mut drift_m) {
            *drift = keep * *drift + if standing { random.normal(fresh_m) } else { 0.0 };
            *place += *drift;
        }
    }
    if !random.chance(settings.filtered_share) {
        return;
    }
    let (time_s, damping) = (random.between(settings.time_s), random.between(settings.damping));
    let Some(&(mut place)) = way.first() else { return };
    let mut rate = [0.0; 2];
    for here in way {
        for axis in 0..2 {
            let pull = (here[axis] - place[axis]) / (time_s * time_s) - 2.0 * damping * rate[axis] / time_s;
            rate[axis] += pull * STEP_S;
            place[axis] += rate[axis] * STEP_S;
        }
        *here = place;
    }
}

/// Slower than this is standing, in m/s.
const STANDING_M_PER_S: f64 = 0.2;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn steady_movement_keeps_its_speed_and_lags() {
        let settings = ReceiverSettings { filtered_share: 1.0, ..Default::default() };
        for seed in 0..20 {
            let mut way: Vec<[f64; 2]> = (0..400).map(|step| [1.2 * f64::from(step), 0.0]).collect();
            filter(&mut way, &vec![2.4; 400], &settings, &mut Random::new(seed));
            let step_m = way[399][0] - way[398][0];
            let behind_m = 1.2 * 399.0 - way[399][0];
            assert!((step_m - 1.2).abs() < 0.01 && (2.0..25.0).contains(&behind_m), "{step_m} {behind_m}");
        }
    }

    #[test]
    fn a_standing_person_drifts_some_metres() {
        let settings = ReceiverSettings { filtered_share: 0.0, ..Default::default() };
        let mut way = vec![[0.0; 2]; 4000];
        filter(&mut way, &vec![0.0; 4000], &settings, &mut Random::new(1));
        let spread_m = (way.iter().map(|p| p[0] * p[0]).sum::<f64>() / 4000.0).sqrt();
        assert!((2.0..6.0).contains(&spread_m), "{spread_m}");
    }
}

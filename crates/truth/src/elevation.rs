//! Gentle hills along the way.

use crate::Random;
use crate::pace::STEP_S;

/// Gradient (metres up per metre) at each of the distances: three waves of 150–1500 m.
pub(crate) fn gradients(distance_m: &[f64], steepness: (f64, f64), random: &mut Random) -> Vec<f64> {
    let steepest = random.between(steepness);
    let waves = [0.5, 0.3, 0.2].map(|share| {
        let length_m = random.between((150.0, 1500.0));
        (share * steepest, std::f64::consts::TAU / length_m, random.between((0.0, std::f64::consts::TAU)))
    });
    distance_m
        .iter()
        .map(|d| waves.iter().map(|(size, turn, phase)| size * (turn * d + phase).sin()).sum())
        .collect()
}

/// Metres gone up to each step of the grid.
pub(crate) fn distance_m(speed_m_per_s: &[f64]) -> Vec<f64> {
    let mut sum_m = 0.0;
    speed_m_per_s
        .iter()
        .map(|speed| {
            let here_m = sum_m;
            sum_m += speed * STEP_S;
            here_m
        })
        .collect()
}

/// Metres above the sea on the grid.
pub(crate) fn elevation_m(speed_m_per_s: &[f64], gradients: &[f64], start_m: f64) -> Vec<f64> {
    let mut here_m = start_m;
    speed_m_per_s
        .iter()
        .zip(gradients)
        .map(|(speed, gradient)| {
            let now_m = here_m;
            here_m += gradient * speed * STEP_S;
            now_m
        })
        .collect()
}

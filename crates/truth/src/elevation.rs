//! Gentle hills along the way, and what a device makes of their heights.

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

/// What recorded heights err by. Each recording has one of three sources of heights, as often one as another (own choice):
/// a barometer, the receiver, or a terrain model that is looked up by position.
#[derive(Clone, Debug, PartialEq)]
pub struct HeightErrorSettings {
    /// Range of the standard deviation to which a barometer drifts in an hour, in metres (from memory: a hectopascal is 8 m,
    /// and weather brings some tenths of one in an hour).
    pub drift_m: (f64, f64),
    /// Range of the standard deviation of a barometer from point to point, in metres. Own choice.
    pub roughness_m: (f64, f64),
    /// Range of the standard deviation of a receiver's heights, in metres (from memory: one and a half to two times that
    /// across the ground) …
    pub receiver_m: (f64, f64),
    /// … and of their correlation time in seconds. Own choice.
    pub receiver_s: (f64, f64),
    /// Range of the metres of way over which a terrain model is a mean (from memory: models have a height every 30 to 90 m).
    pub terrain_m: (f64, f64),
}

impl Default for HeightErrorSettings {
    fn default() -> Self {
        Self {
            drift_m: (1.0, 6.0),
            roughness_m: (0.1, 0.4),
            receiver_m: (2.0, 6.0),
            receiver_s: (20.0, 60.0),
            terrain_m: (30.0, 90.0),
        }
    }
}

/// Seconds in which a barometer drifts as far as its settings say.
const DRIFT_S: f64 = 3600.0;

/// Makes recorded heights of true ones, both on the grid.
pub(crate) fn err(
    elevation_m: &mut [f64],
    distance_m: &[f64],
    settings: &HeightErrorSettings,
    random: &mut Random,
) {
    match random.whole(0, 2) {
        0 => {
            let step_m = random.between(settings.drift_m) * (STEP_S / DRIFT_S).sqrt();
            let roughness_m = random.between(settings.roughness_m);
            let mut drift_m = 0.0;
            for height_m in elevation_m {
                drift_m += random.normal(step_m);
                *height_m += drift_m + random.normal(roughness_m);
            }
        }
        1 => {
            let spread_m = random.between(settings.receiver_m);
            let keep = (-STEP_S / random.between(settings.receiver_s)).exp();
            let fresh_m = spread_m * (1.0 - keep * keep).sqrt();
            let mut error_m = random.normal(spread_m);
            for height_m in elevation_m {
                *height_m += error_m;
                error_m = keep * error_m + random.normal(fresh_m);
            }
        }
        _ => smooth(elevation_m, distance_m, random.between(settings.terrain_m)),
    }
}

/// Makes each height the mean of those within half of `width_m` of way to each side.
fn smooth(elevation_m: &mut [f64], distance_m: &[f64], width_m: f64) {
    let exact = elevation_m.to_vec();
    let (mut from, mut to, mut sum_m) = (0, 0, 0.0);
    for (height_m, here_m) in elevation_m.iter_mut().zip(distance_m) {
        while distance_m.get(to).is_some_and(|there_m| *there_m <= here_m + 0.5 * width_m) {
            sum_m += exact[to];
            to += 1;
        }
        while distance_m[from] < here_m - 0.5 * width_m {
            sum_m -= exact[from];
            from += 1;
        }
        *height_m = sum_m / (to - from) as f64;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// An hour at 2 m/s, with a hill of 40 m from the 1200th metre to the 2000th.
    fn hill() -> (Vec<f64>, Vec<f64>) {
        let distance_m: Vec<f64> = (0..3600).map(|second| 2.0 * f64::from(second)).collect();
        let height_m = |metre: &f64| 100.0 + 0.1 * (400.0 - (metre - 1600.0).abs()).max(0.0);
        (distance_m.iter().map(height_m).collect(), distance_m)
    }

    #[test]
    fn heights_err_by_some_metres_and_a_third_come_from_a_terrain_model() {
        let (exact, distance_m) = hill();
        let mut modelled = 0;
        for seed in 0..300 {
            let mut heights_m = exact.clone();
            err(&mut heights_m, &distance_m, &HeightErrorSettings::default(), &mut Random::new(seed));
            let errors_m: Vec<f64> = heights_m.iter().zip(&exact).map(|(err, exact)| err - exact).collect();
            assert!(errors_m.iter().all(|error_m| error_m.abs() < 40.0));
            let steps_m = errors_m.windows(2).map(|pair| (pair[1] - pair[0]).powi(2));
            let roughness_m = (steps_m.sum::<f64>() / 2.0 / errors_m.len() as f64).sqrt();
            let far_m = errors_m.iter().map(|error_m| error_m.abs()).fold(0.0, f64::max);
            modelled += usize::from(errors_m[0] == 0.0);
            assert!(far_m > 0.2 && roughness_m < 1.5, "{far_m} {roughness_m}");
        }
        assert!((70..130).contains(&modelled), "{modelled}");
    }

    #[test]
    fn a_terrain_model_takes_the_top_off_and_leaves_slopes_as_they_are() {
        let (exact, distance_m) = hill();
        let mut heights_m = exact.clone();
        smooth(&mut heights_m, &distance_m, 80.0);
        assert!((heights_m[800] - 138.0).abs() < 0.1, "{}", heights_m[800]);
        assert!((heights_m[700] - exact[700]).abs() < 1e-6 && (heights_m[0] - 100.0).abs() < 1e-6);
    }
}

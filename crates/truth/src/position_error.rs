//! What a satellite receiver adds to the true positions: errors that are correlated over tens of seconds.
//!
//! White noise alone would be absurd for real receivers: successive errors are alike, which is why a summed track
//! is too long by far less than independent errors would make it (Ranacher and others 2016).

use crate::pace::{STEP_S, wandering};
use crate::{Random, Simulator};

/// The two ways in which errors wander, both with the same spread and the same integral of their correlation.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum PositionError {
    /// First order: white increments, rough from second to second.
    GaussMarkov,
    /// Second order (critically damped): smooth increments, as a receiver's own filter leaves them.
    Smooth,
}

/// Size and kind of position errors.
#[derive(Clone, Debug, PartialEq)]
pub struct PositionErrorSettings {
    /// How errors wander.
    pub kind: PositionError,
    /// Standard deviation per axis in metres.
    pub sigma_m: f64,
    /// Correlation time in seconds: the integral of the correlation from 0 on.
    pub tau_s: f64,
    /// Range of the standard deviation of white jitter per axis and point, in metres; drawn once per session. Only
    /// with [`PositionError::GaussMarkov`]: a receiver that smooths leaves none (own choice).
    pub jitter_m: (f64, f64),
    /// Share of the sessions with one to three jumps.
    pub jump_share: f64,
    /// Size of a jump in metres.
    pub jump_m: (f64, f64),
    /// How long a jump lasts, in seconds. Own choice.
    pub jump_s: (f64, f64),
}

impl Default for PositionErrorSettings {
    /// A fair sky; σ and τ lie in the range that is found for wrist receivers (σ 2–5 m, τ 30–60 s; from memory).
    fn default() -> Self {
        Self {
            kind: PositionError::GaussMarkov,
            sigma_m: 3.0,
            tau_s: 60.0,
            jitter_m: (0.3, 0.5),
            jump_share: 0.0,
            jump_m: (10.0, 40.0),
            jump_s: (3.0, 20.0),
        }
    }
}

/// Share of variance and factor on τ of the two parts of the second simulator's rough error; Σ share · factor = 1.
const ROUGH_PARTS: [(f64, f64); 2] = [(0.7, 1.3), (0.3, 0.3)];
/// Time constant of the receiver's filter in the second simulator's smooth error, in seconds. Own choice.
const RECEIVER_FILTER_S: f64 = 8.0;
/// Spread along and across a random direction in the second simulator; mean square 1. Own choice.
const UNEVEN: [f64; 2] = [1.2, 0.748_331];

/// Errors east and north in metres, on the grid, without jitter.
pub(crate) fn errors_m(
    length: usize,
    settings: &PositionErrorSettings,
    simulator: Simulator,
    random: &mut Random,
) -> Vec<[f64; 2]> {
    let mut axis = |spread: f64| {
        let sigma_m = settings.sigma_m * spread;
        match (simulator, settings.kind) {
            (Simulator::First, PositionError::GaussMarkov) => {
                wandering(length, sigma_m, settings.tau_s, random)
            }
            (Simulator::First, PositionError::Smooth) => {
                let half_s = 0.5 * settings.tau_s;
                low_passed(length, sigma_m, half_s, half_s, random)
            }
            (Simulator::Second, PositionError::GaussMarkov) => {
                two_rough_parts(length, sigma_m, settings.tau_s, random)
            }
            (Simulator::Second, PositionError::Smooth) => {
                low_passed(length, sigma_m, settings.tau_s - RECEIVER_FILTER_S, RECEIVER_FILTER_S, random)
            }
        }
    };
    let mut errors: Vec<[f64; 2]> = match simulator {
        Simulator::First => axis(1.0).into_iter().zip(axis(1.0)).map(|(east, north)| [east, north]).collect(),
        Simulator::Second => {
            let (along, across) = (axis(UNEVEN[0]), axis(UNEVEN[1]));
            let (sin, cos) = random.between((0.0, std::f64::consts::PI)).sin_cos();
            along.iter().zip(across).map(|(a, c)| [a * cos - c * sin, a * sin + c * cos]).collect()
        }
    };
    if random.chance(settings.jump_share) {
        for _ in 0..random.whole(1, 3) {
            jump(&mut errors, settings, simulator, random);
        }
    }
    errors
}

/// First-order wandering through a first-order low-pass: a second-order process with smooth increments.
fn low_passed(length: usize, sigma_m: f64, wander_s: f64, filter_s: f64, random: &mut Random) -> Vec<f64> {
    let settle = (6.0 * filter_s / STEP_S) as usize;
    let keep = (-STEP_S / filter_s).exp();
    // The filter leaves wander/(wander + filter) of the variance.
    let scale = ((wander_s + filter_s) / wander_s).sqrt();
    let mut value = 0.0;
    let filtered = wandering(length + settle, sigma_m * scale, wander_s, random).into_iter().map(|input| {
        value = keep * value + (1.0 - keep) * input;
        value
    });
    filtered.skip(settle).collect()
}

/// A slow and a quick part with heavy-tailed increments.
fn two_rough_parts(length: usize, sigma_m: f64, tau_s: f64, random: &mut Random) -> Vec<f64> {
    let mut sum = vec![0.0; length];
    for (share, factor) in ROUGH_PARTS {
        let keep = (-STEP_S / (tau_s * factor)).exp();
        let spread = sigma_m * share.sqrt();
        let mut value = random.normal(spread);
        for slot in &mut sum {
            value = keep * value + random.laplace(spread * (1.0 - keep * keep).sqrt());
            *slot += value;
        }
    }
    sum
}

fn jump(
    errors: &mut [[f64; 2]],
    settings: &PositionErrorSettings,
    simulator: Simulator,
    random: &mut Random,
) {
    let size_m = random.between(settings.jump_m);
    let (sin, cos) = random.between((0.0, std::f64::consts::TAU)).sin_cos();
    let lasting = (random.between(settings.jump_s) / STEP_S) as usize;
    let start = random.whole(0, errors.len() - 1);
    // The first simulator's receiver comes back at once; the second's slides back over twice the time.
    let reach = if simulator == Simulator::First { lasting } else { 2 * lasting };
    for index in start..(start + reach).min(errors.len()) {
        let share = match simulator {
            Simulator::First => 1.0,
            Simulator::Second => 1.0 - (index - start) as f64 / reach as f64,
        };
        errors[index][0] += size_m * share * cos;
        errors[index][1] += size_m * share * sin;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn correlation(values: &[f64], lag: usize) -> f64 {
        let pairs = values.len() - lag;
        (0..pairs).map(|i| values[i] * values[i + lag]).sum::<f64>() / pairs as f64
    }

    #[test]
    fn every_kind_has_the_asked_spread_and_correlation_time() {
        for simulator in [Simulator::First, Simulator::Second] {
            for kind in [PositionError::GaussMarkov, PositionError::Smooth] {
                let settings = PositionErrorSettings { kind, ..Default::default() };
                let errors = errors_m(2_000_000, &settings, simulator, &mut Random::new(4));
                let (east, north): (Vec<f64>, Vec<f64>) = errors.iter().map(|e| (e[0], e[1])).unzip();
                let variance = 0.5 * (correlation(&east, 0) + correlation(&north, 0));
                assert!((variance.sqrt() - 3.0).abs() < 0.1, "{simulator:?} {kind:?} {}", variance.sqrt());
                let sum: f64 =
                    (0..600).map(|lag| correlation(&east, lag)).sum::<f64>() / correlation(&east, 0);
                assert!((sum * STEP_S - 60.0).abs() < 9.0, "{simulator:?} {kind:?} {}", sum * STEP_S);
            }
        }
    }

    #[test]
    fn a_one_second_step_of_gauss_markov_error_has_the_published_size() {
        // s = σ·√(2(1 − exp(−Δt/τ))): σ 3.2 m, τ 100 s, 1 s → 0.451419 m (own calculation from Ranacher's principle).
        let settings = PositionErrorSettings { sigma_m: 3.2, tau_s: 100.0, ..Default::default() };
        let errors = errors_m(400_000, &settings, Simulator::First, &mut Random::new(9));
        let steps: Vec<f64> = errors.windows(3).map(|w| w[2][0] - w[0][0]).collect();
        let size = (steps.iter().map(|s| s * s).sum::<f64>() / steps.len() as f64).sqrt();
        assert!((size / 0.451419 - 1.0).abs() < 0.01, "{size}");
    }

    #[test]
    fn smooth_errors_have_smoother_steps_than_rough_ones() {
        let roughness = |kind| {
            let settings = PositionErrorSettings { kind, ..Default::default() };
            let errors = errors_m(50_000, &settings, Simulator::First, &mut Random::new(4));
            errors.windows(2).map(|w| (w[1][0] - w[0][0]).powi(2)).sum::<f64>()
        };
        assert!(roughness(PositionError::Smooth) < 0.1 * roughness(PositionError::GaussMarkov));
    }
}

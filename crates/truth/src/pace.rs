//! The true speed of a session on a regular grid.

use boutwise_bouts::Kind;

use crate::stretch::Stretch;
use crate::{Person, Random, Simulator};

/// Spacing of the grid that movement is simulated on, in seconds. Own choice: finer than any recording.
pub(crate) const STEP_S: f64 = 0.5;

/// How a person's speed varies.
#[derive(Clone, Debug, PartialEq)]
pub struct PaceSettings {
    /// Standard deviation of a bout's speed around the person's level, as a share; drawn once per session.
    pub bout_spread: (f64, f64),
    /// Standard deviation of the speed inside a bout, as a share.
    pub within_spread: f64,
    /// Correlation time of the variation inside a bout, in seconds.
    pub within_time_s: f64,
    /// Length of the change from one speed to the next, in seconds; the boundary is in its middle.
    pub ramp_s: (f64, f64),
    /// Loss of running speed from the first to the last second, as a share.
    pub fatigue: (f64, f64),
    /// Standard deviation of a boundary around the planned moment, in seconds. Own choice.
    pub reaction_s: f64,
}

impl Default for PaceSettings {
    fn default() -> Self {
        Self {
            bout_spread: (0.03, 0.05),
            within_spread: 0.04,
            within_time_s: 10.0,
            ramp_s: (2.0, 3.0),
            fatigue: (0.0, 0.0),
            reaction_s: 2.0,
        }
    }
}

/// Number of grid steps that cover so many seconds.
pub(crate) fn steps(duration_s: f64) -> usize {
    (duration_s / STEP_S).ceil() as usize + 1
}

/// Values that are constant over each stretch, on the grid.
pub(crate) fn levels(stretches: &[Stretch], mut level: impl FnMut(&Stretch) -> f64) -> Vec<f64> {
    let total_s: f64 = stretches.iter().map(|s| s.duration_s).sum();
    let mut grid = Vec::with_capacity(steps(total_s));
    let mut end_s = 0.0;
    for stretch in stretches {
        end_s += stretch.duration_s;
        let value = level(stretch);
        while (grid.len() as f64) * STEP_S < end_s {
            grid.push(value);
        }
    }
    let last = grid.last().copied().unwrap_or(0.0);
    grid.resize(steps(total_s), last);
    grid
}

/// Mean over a window centred on each step: turns jumps into straight ramps as long as the window.
pub(crate) fn ramped(grid: &[f64], window_s: f64) -> Vec<f64> {
    let half = (0.5 * window_s / STEP_S).round() as usize;
    let mut sums = vec![0.0; grid.len() + 1];
    for (index, value) in grid.iter().enumerate() {
        sums[index + 1] = sums[index] + value;
    }
    (0..grid.len())
        .map(|index| {
            let (from, to) = (index.saturating_sub(half), (index + half).min(grid.len()));
            (sums[to.max(from + 1)] - sums[from]) / (to.max(from + 1) - from) as f64
        })
        .collect()
}

/// True speed in m/s on the grid.
pub(crate) fn speed_m_per_s(
    stretches: &[Stretch],
    person: &Person,
    settings: &PaceSettings,
    simulator: Simulator,
    random: &mut Random,
) -> Vec<f64> {
    let spread = random.between(settings.bout_spread);
    let mut carried = 0.0;
    let target = levels(stretches, |stretch| {
        let usual = match stretch.kind {
            Kind::Run => person.run_speed_m_per_s,
            Kind::Walk => person.walk_speed_m_per_s,
            Kind::Stand | Kind::Gap => return 0.0,
        };
        let fresh = random.normal(spread);
        carried = match simulator {
            Simulator::First => fresh,
            // Good and bad minutes last: half of a bout's departure stays for the next one.
            Simulator::Second => 0.5 * carried + 0.866 * fresh,
        };
        usual * (1.0 + carried)
    });
    let window_s = random.between(settings.ramp_s);
    let mut speed = match simulator {
        Simulator::First => ramped(&target, window_s),
        Simulator::Second => ramped(&ramped(&target, 0.7 * window_s), 0.7 * window_s),
    };
    let variation = match simulator {
        Simulator::First => wandering(speed.len(), settings.within_spread, settings.within_time_s, random),
        Simulator::Second => {
            through_knots(speed.len(), settings.within_spread, settings.within_time_s, random)
        }
    };
    let running = levels(stretches, |s| f64::from(u8::from(s.kind == Kind::Run)));
    let fatigue = random.between(settings.fatigue);
    let last = (speed.len() - 1).max(1) as f64;
    for (index, value) in speed.iter_mut().enumerate() {
        *value *= (1.0 + variation[index]) * (1.0 - fatigue * running[index] * index as f64 / last);
    }
    speed
}

/// First-order wandering around 0 with the given standard deviation and correlation time.
pub(crate) fn wandering(length: usize, spread: f64, time_s: f64, random: &mut Random) -> Vec<f64> {
    let keep = (-STEP_S / time_s).exp();
    let fresh = spread * (1.0 - keep * keep).sqrt();
    let mut value = random.normal(spread);
    (0..length)
        .map(|_| {
            value = keep * value + random.normal(fresh);
            value
        })
        .collect()
}

/// A smooth curve through random knots, 0.8 to 2.4 correlation times apart (Catmull–Rom), with the given spread.
fn through_knots(length: usize, spread: f64, time_s: f64, random: &mut Random) -> Vec<f64> {
    // The curve has 0.76 of the knots' variance on average: the mean square of the four weights over a piece.
    let knot_spread = spread / 0.76_f64.sqrt();
    let mut knots = [0.0; 4].map(|_: f64| random.normal(knot_spread));
    let mut curve = Vec::with_capacity(length);
    while curve.len() < length {
        let piece = (random.between((0.8, 2.4)) * time_s / STEP_S).ceil() as usize;
        for index in 0..piece.min(length - curve.len()) {
            let t = index as f64 / piece as f64;
            let [a, b, c, d] = knots;
            let quadratic = 2.0 * a - 5.0 * b + 4.0 * c - d;
            let cubic = 3.0 * (b - c) + d - a;
            curve.push(0.5 * (2.0 * b + t * (c - a + t * (quadratic + t * cubic))));
        }
        knots = [knots[1], knots[2], knots[3], random.normal(knot_spread)];
    }
    curve
}

#[cfg(test)]
mod tests {
    use super::*;

    fn spread_of(values: &[f64]) -> f64 {
        let mean = values.iter().sum::<f64>() / values.len() as f64;
        (values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / values.len() as f64).sqrt()
    }

    #[test]
    fn both_kinds_of_variation_have_the_asked_spread() {
        let mut random = Random::new(2);
        assert!((spread_of(&wandering(200_000, 0.04, 10.0, &mut random)) - 0.04).abs() < 0.002);
        assert!((spread_of(&through_knots(200_000, 0.04, 10.0, &mut random)) - 0.04).abs() < 0.002);
    }

    #[test]
    fn a_ramp_is_centred_on_the_boundary() {
        let stretches =
            [(Kind::Walk, 30.0), (Kind::Run, 30.0)].map(|(kind, duration_s)| Stretch { kind, duration_s });
        let step = levels(&stretches, |s| if s.kind == Kind::Run { 2.0 } else { 1.0 });
        let ramp = ramped(&step, 3.0);
        assert!((ramp[60] - 1.5).abs() < 1e-9, "{}", ramp[60]);
        assert_eq!((ramp[56], ramp[64]), (1.0, 2.0));
    }
}

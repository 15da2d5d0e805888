//! A Gaussian hidden Markov model of speed that learns its levels from the file (Baum–Welch, then Viterbi).

use boutwise_track::Recording;

use super::SpeedSeries;
use crate::Person;
use crate::evaluation::FoundBout;

/// A hidden Markov model with normal emissions, one mean and spread a state.
#[derive(Clone, Debug, PartialEq)]
pub struct GaussianHmm<const K: usize> {
    /// Probability of each state at the first value.
    pub initial: [f64; K],
    /// Probability of going from the row's state to the column's.
    pub transition: [[f64; K]; K],
    /// Mean of each state.
    pub mean: [f64; K],
    /// Standard deviation of each state.
    pub standard_deviation: [f64; K],
}

/// Most likely path and its log probability, from log probabilities of start, change and emission.
pub fn viterbi<const K: usize>(
    initial: &[f64; K],
    transition: &[[f64; K]; K],
    emissions: &[[f64; K]],
) -> (Vec<usize>, f64) {
    let Some(first) = emissions.first() else { return (Vec::new(), 0.0) };
    let mut best: [f64; K] = std::array::from_fn(|k| initial[k] + first[k]);
    let mut origins: Vec<[usize; K]> = Vec::with_capacity(emissions.len());
    for emission in &emissions[1..] {
        let mut origin = [0; K];
        let next = std::array::from_fn(|k| {
            let from = |j: usize| best[j] + transition[j][k];
            origin[k] = (1..K).fold(0, |top, j| if from(j) > from(top) { j } else { top });
            from(origin[k]) + emission[k]
        });
        origins.push(origin);
        best = next;
    }
    let mut state = (1..K).fold(0, |top, k| if best[k] > best[top] { k } else { top });
    let log_probability = best[state];
    let mut path = vec![state];
    for origin in origins.iter().rev() {
        state = origin[state];
        path.push(state);
    }
    path.reverse();
    (path, log_probability)
}

/// Spreads never fall below this, in m/s. Own choice.
const LEAST_SPREAD_M_PER_S: f64 = 0.08;
/// Learning stops after so many rounds. Own choice.
const ROUNDS: usize = 30;

impl<const K: usize> GaussianHmm<K> {
    fn emissions(&self, values: &[f64]) -> Vec<[f64; K]> {
        let log_density = |value: f64, k: usize| {
            let z = (value - self.mean[k]) / self.standard_deviation[k];
            -0.5 * z * z - self.standard_deviation[k].ln() - 0.5 * std::f64::consts::TAU.ln()
        };
        values
            .iter()
            .map(|&value| std::array::from_fn(|k| if value.is_nan() { 0.0 } else { log_density(value, k) }))
            .collect()
    }

    /// Most likely states and the log probability of that path; a missing value (NaN) says nothing.
    pub fn decode(&self, values: &[f64]) -> (Vec<usize>, f64) {
        let log_transition = self.transition.map(|row| row.map(f64::ln));
        viterbi(&self.initial.map(f64::ln), &log_transition, &self.emissions(values))
    }

    /// Probability of each state at each value (forward–backward).
    fn posteriors(&self, values: &[f64]) -> Vec<[f64; K]> {
        let emissions: Vec<[f64; K]> = self
            .emissions(values)
            .iter()
            .map(|row| {
                let top = row.iter().copied().fold(f64::NEG_INFINITY, f64::max);
                row.map(|value| (value - top).exp())
            })
            .collect();
        let normal = |row: [f64; K]| {
            let sum: f64 = row.iter().sum();
            row.map(|value| value / sum.max(f64::MIN_POSITIVE))
        };
        let mut forward: Vec<[f64; K]> = Vec::with_capacity(values.len());
        for emission in &emissions {
            let prior: [f64; K] = match forward.last() {
                None => self.initial,
                Some(last) => std::array::from_fn(|k| (0..K).map(|j| last[j] * self.transition[j][k]).sum()),
            };
            forward.push(normal(std::array::from_fn(|k| prior[k] * emission[k])));
        }
        let mut behind = [1.0; K];
        for index in (0..values.len()).rev() {
            let here = std::array::from_fn(|k| forward[index][k] * behind[k]);
            forward[index] = normal(here);
            behind = normal(std::array::from_fn(|j| {
                (0..K).map(|k| self.transition[j][k] * emissions[index][k] * behind[k]).sum()
            }));
        }
        forward
    }

    /// Learns means and spreads from the values (Baum–Welch with the transitions held).
    pub fn learn(&mut self, values: &[f64]) {
        for _ in 0..ROUNDS {
            let posteriors = self.posteriors(values);
            let known = || posteriors.iter().zip(values).filter(|(_, value)| !value.is_nan());
            for k in 0..K {
                let weight: f64 = known().map(|(p, _)| p[k]).sum();
                if weight < 1.0 {
                    continue;
                }
                let mean = known().map(|(p, value)| p[k] * value).sum::<f64>() / weight;
                let variance = known().map(|(p, value)| p[k] * (value - mean).powi(2)).sum::<f64>() / weight;
                self.mean[k] = mean;
                self.standard_deviation[k] = variance.sqrt().max(LEAST_SPREAD_M_PER_S);
            }
        }
    }
}

/// Window of the displacement speed, in seconds. Own choice.
const WINDOW_S: usize = 8;
/// Probability of a change a second: bouts of about a minute.
const CHANGE: f64 = 1.0 / 60.0;
/// A value speaks for so many: neighbouring windows share their errors. Own choice.
const THINNING: usize = 4;
/// Two levels closer than this are one level, in m/s. Own choice.
const SAME_LEVEL_M_PER_S: f64 = 0.3;
/// A single level is running above this, in m/s. Own choice.
const ONE_LEVEL_RUN_M_PER_S: f64 = 1.8;

fn model(levels: [f64; 3]) -> GaussianHmm<3> {
    let change = CHANGE * THINNING as f64 / 2.0;
    let row = |k: usize| std::array::from_fn(|j| if j == k { 1.0 - 2.0 * change } else { change });
    GaussianHmm {
        initial: [1.0 / 3.0; 3],
        transition: [row(0), row(1), row(2)],
        mean: levels,
        standard_deviation: [0.3, 0.25, 0.3],
    }
}

fn bouts(recording: &Recording, mut hmm: GaussianHmm<3>, learn: bool) -> Vec<FoundBout> {
    let Some(series) = SpeedSeries::of(recording) else { return Vec::new() };
    let speed = series.displacement_speed_m_per_s(WINDOW_S);
    let thinned: Vec<f64> =
        (0..speed.len()).step_by(THINNING).map(|i| if series.gap[i] { f64::NAN } else { speed[i] }).collect();
    let mut run_state = [false, false, true];
    if learn {
        hmm.learn(&thinned);
        if hmm.mean[2] - hmm.mean[1] < SAME_LEVEL_M_PER_S {
            let running = 0.5 * (hmm.mean[1] + hmm.mean[2]) > ONE_LEVEL_RUN_M_PER_S;
            run_state = [false, running, running];
        }
    }
    let (path, _) = hmm.decode(&thinned);
    let verdicts: Vec<bool> = (0..speed.len())
        .map(|second| run_state[path[((second + THINNING / 2) / THINNING).min(path.len() - 1)]])
        .collect();
    series.bouts(&verdicts)
}

/// Standing, walking, running: three states that learn their levels.
pub fn hidden_markov(recording: &Recording) -> Vec<FoundBout> {
    bouts(recording, model([0.1, 1.4, 2.3]), true)
}

/// The same model told the person's true levels.
pub fn hidden_markov_told(recording: &Recording, person: &Person) -> Vec<FoundBout> {
    bouts(recording, model([0.1, person.walk_speed_m_per_s, person.run_speed_m_per_s]), false)
}

#[cfg(test)]
mod tests {
    use approx::assert_abs_diff_eq;

    use super::*;

    #[test]
    fn the_textbook_path_of_healthy_and_fever_is_found() {
        // Public teaching example: healthy/fever, sees normal, cold, dizzy; 0.6·0.5·0.7·0.4·0.3·0.6 = 0.01512.
        let initial = [0.6_f64, 0.4].map(f64::ln);
        let transition = [[0.7_f64, 0.3], [0.4, 0.6]].map(|row| row.map(f64::ln));
        let emissions = [[0.5_f64, 0.1], [0.4, 0.3], [0.1, 0.6]].map(|row| row.map(f64::ln));
        let (path, log_probability) = viterbi(&initial, &transition, &emissions);
        assert_eq!(path, [0, 0, 1]);
        assert_abs_diff_eq!(log_probability.exp(), 0.01512, epsilon = 1e-12);
    }

    #[test]
    fn one_odd_speed_does_not_split_a_bout() {
        // Own example, checked against all 4096 paths.
        let speeds = [1.5, 1.6, 1.5, 2.2, 1.6, 1.5, 2.4, 2.5, 2.6, 1.9, 2.5, 2.4];
        let hmm = GaussianHmm {
            initial: [0.5, 0.5],
            transition: [[0.95, 0.05], [0.05, 0.95]],
            mean: [1.5, 2.5],
            standard_deviation: [0.3, 0.3],
        };
        let (path, log_probability) = hmm.decode(&speeds);
        assert_eq!(path, [0, 0, 0, 0, 0, 0, 1, 1, 1, 1, 1, 1]);
        assert_abs_diff_eq!(log_probability, -5.7814011, epsilon = 1e-6);
    }

    #[test]
    fn learning_finds_two_clear_levels() {
        let values: Vec<f64> = (0..400).map(|i| if (i / 50) % 2 == 0 { 1.4 } else { 2.6 }).collect();
        let mut hmm = GaussianHmm {
            initial: [0.5, 0.5],
            transition: [[0.98, 0.02], [0.02, 0.98]],
            mean: [1.0, 3.0],
            standard_deviation: [0.5, 0.5],
        };
        hmm.learn(&values);
        assert_abs_diff_eq!(hmm.mean[0], 1.4, epsilon = 1e-6);
        assert_abs_diff_eq!(hmm.mean[1], 2.6, epsilon = 1e-6);
    }
}

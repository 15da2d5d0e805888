//! Change points of the mean by exact pruned search (PELT; Killick and others 2012), then a cut between two levels.

use boutwise_track::Recording;

use super::SpeedSeries;
use crate::evaluation::FoundBout;

/// Where the mean changes, and the cost of that answer.
#[derive(Clone, Debug, PartialEq)]
pub struct ChangePoints {
    /// Indices of the first value after each change, rising.
    pub indices: Vec<usize>,
    /// Sum of squares around the means of the pieces plus the penalty of each change.
    pub cost: f64,
}

/// Pieces with the least sum of squares plus `penalty` for each change between them.
pub fn pelt(values: &[f64], penalty: f64) -> ChangePoints {
    let mut sums = vec![(0.0, 0.0)];
    for value in values {
        let (sum, squares): (f64, f64) = sums[sums.len() - 1];
        sums.push((sum + value, squares + value * value));
    }
    let piece = |from: usize, to: usize| {
        let sum = sums[to].0 - sums[from].0;
        (sums[to].1 - sums[from].1 - sum * sum / (to - from) as f64).max(0.0)
    };
    let mut best = vec![-penalty];
    let mut origin = vec![0];
    let mut candidates = vec![0];
    for end in 1..=values.len() {
        let cost = |from: usize| best[from] + piece(from, end);
        let from = candidates.iter().copied().min_by(|&a, &b| cost(a).total_cmp(&cost(b))).unwrap_or(0);
        let least = cost(from) + penalty;
        // A start that is already dearer without a further change can never become the best one.
        candidates.retain(|&start| cost(start) <= least);
        best.push(least);
        origin.push(from);
        candidates.push(end);
    }
    let mut indices = Vec::new();
    let mut end = values.len();
    while end > 0 {
        end = origin[end];
        indices.push(end);
    }
    indices.pop();
    indices.reverse();
    ChangePoints { indices, cost: best[values.len()] }
}

/// Window of the displacement speed, in seconds. Own choice.
const WINDOW_S: usize = 8;
/// Penalty of a change in (m/s)². Own choice: a minute at half the usual gap between walking and running.
const PENALTY: f64 = 3.0;
/// Levels closer than this are one level, in m/s. Own choice.
const SAME_LEVEL_M_PER_S: f64 = 0.3;
/// A single level is running above this, in m/s. Own choice.
const ONE_LEVEL_RUN_M_PER_S: f64 = 1.8;
/// Pieces slower than this are neither, in m/s. Own choice.
const STANDING_M_PER_S: f64 = 0.7;

/// Bouts by change points of speed.
pub fn change_points(recording: &Recording) -> Vec<FoundBout> {
    let Some(series) = SpeedSeries::of(recording) else { return Vec::new() };
    let speed = series.displacement_speed_m_per_s(WINDOW_S);
    let found = pelt(&speed, PENALTY);
    let bounds: Vec<usize> =
        std::iter::once(0).chain(found.indices).chain(std::iter::once(speed.len())).collect();
    let pieces: Vec<(f64, usize)> = bounds
        .windows(2)
        .map(|pair| {
            (speed[pair[0]..pair[1]].iter().sum::<f64>() / (pair[1] - pair[0]) as f64, pair[1] - pair[0])
        })
        .collect();
    let cut_m_per_s = cut_between(&pieces);
    let verdicts: Vec<bool> =
        pieces.iter().flat_map(|&(mean, length)| std::iter::repeat_n(mean > cut_m_per_s, length)).collect();
    series.bouts(&verdicts)
}

/// The cut that leaves the least squares inside two groups of moving pieces; a fixed one where they are too alike.
fn cut_between(pieces: &[(f64, usize)]) -> f64 {
    let mut moving: Vec<(f64, f64)> = pieces
        .iter()
        .filter(|p| p.0 > STANDING_M_PER_S)
        .map(|&(mean, length)| (mean, length as f64))
        .collect();
    moving.sort_by(|a, b| a.0.total_cmp(&b.0));
    let centre = |part: &[(f64, f64)]| {
        let weight: f64 = part.iter().map(|p| p.1).sum();
        (part.iter().map(|p| p.0 * p.1).sum::<f64>() / weight, weight)
    };
    let split = (1..moving.len())
        .map(|at| (centre(&moving[..at]), centre(&moving[at..])))
        .max_by(|a, b| between(a).total_cmp(&between(b)));
    match split {
        Some(((low, _), (high, _))) if high - low >= SAME_LEVEL_M_PER_S => 0.5 * (low + high),
        _ => ONE_LEVEL_RUN_M_PER_S,
    }
}

/// Sum of squares between two groups, up to a constant factor.
fn between(((low, low_weight), (high, high_weight)): &((f64, f64), (f64, f64))) -> f64 {
    low_weight * high_weight * (high - low).powi(2)
}

#[cfg(test)]
mod tests {
    use approx::assert_abs_diff_eq;
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn the_worked_example_has_its_known_changes_and_cost() {
        // Own example, recomputed by full search over all sets of changes.
        let speeds = [1.4, 1.5, 1.6, 2.5, 2.4, 2.6, 1.5, 1.4];
        let cheap = pelt(&speeds, 0.1);
        assert_eq!(cheap.indices, [3, 6]);
        assert_abs_diff_eq!(cheap.cost, 0.245, epsilon = 1e-9);
        let dear = pelt(&speeds, 3.0);
        assert!(dear.indices.is_empty());
        assert_abs_diff_eq!(dear.cost, 1.99875, epsilon = 1e-9);
    }

    /// Least cost over all sets of changes.
    fn full_search(values: &[f64], penalty: f64) -> f64 {
        let squares = |part: &[f64]| {
            let mean = part.iter().sum::<f64>() / part.len() as f64;
            part.iter().map(|v| (v - mean).powi(2)).sum::<f64>()
        };
        (0..1_u32 << (values.len() - 1))
            .map(|set| {
                let mut from = 0;
                let mut cost = 0.0;
                for to in 1..values.len() {
                    if set >> (to - 1) & 1 == 1 {
                        cost += squares(&values[from..to]) + penalty;
                        from = to;
                    }
                }
                cost + squares(&values[from..])
            })
            .fold(f64::INFINITY, f64::min)
    }

    proptest! {
        #[test]
        fn pruning_never_loses_the_best_answer(
            values in proptest::collection::vec(0.0_f64..3.0, 2..10),
            penalty in 0.05_f64..3.0,
        ) {
            prop_assert!((pelt(&values, penalty).cost - full_search(&values, penalty)).abs() < 1e-9);
        }
    }
}

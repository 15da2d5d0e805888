//! Dates the edges between the parts of a stretch, the number and the kinds of the parts being settled.

use std::iter::repeat_n;

use crate::decode::Part;
use crate::durations::Durations;
use crate::evidence::{Places, RUN, Scorer};
use crate::exponential::exponential;
use crate::statistics::largest;

/// An edge is looked for this many seconds to each side of where decoding left it.
const REACH_S: usize = 20;
/// Places whose evidence is this many nats below the best one do not count.
const NEGLIGIBLE_NATS: f64 = 9.0;
/// An edge counts as right within this many seconds; beyond, how far off it is does not matter.
const TOLERANCE_S: usize = 10;

/// Dates edges by a forward and a backward pass over the places near each; keeps its buffers between stretches.
#[derive(Default)]
pub(crate) struct EdgeDater {
    windows: Vec<Window>,
    /// Weights of the parts, each relative to the best of its part: for each place of its start, all places of its end.
    weights: Vec<f64>,
    /// What the weights of a part are made of: log likelihood ratios at most, how widely displacement spreads, and the probabilities
    /// of durations; in columns over all pairs of places, so that one loop takes several pairs at a time.
    most: Vec<f64>,
    spreads: Vec<f64>,
    likely: Vec<f64>,
    forward: Vec<f64>,
    backward: Vec<f64>,
    mass: Vec<f64>,
    /// The places of the edge at the end of a part.
    ends: Places,
    /// Probabilities of the durations that a part may have.
    durations: Vec<f64>,
    /// For each inner edge of the last stretch, the probability that it is right within the tolerance.
    pub(crate) right: Vec<f64>,
}

/// The places of an edge, and where they lie in the buffers.
#[derive(Clone, Copy, Debug)]
struct Window {
    first: usize,
    places: usize,
    slot: usize,
    /// Where the weights of the part before the edge begin.
    weights: usize,
}

impl EdgeDater {
    /// Moves each inner edge of the parts of one stretch to where its expected error, counted up to the tolerance, is
    /// least, and fills `right`.
    pub(crate) fn date(&mut self, scorer: &Scorer, durations: &Durations, parts: &mut [Part]) {
        self.right.clear();
        if parts.len() < 2 {
            return;
        }
        self.open_windows(scorer, parts);
        self.weigh(scorer, durations, parts);
        self.run_forward();
        self.run_backward();
        for edge in 1..=self.right_edges() {
            let Window { first, places, slot, .. } = self.windows[edge];
            let slots = slot..slot + places;
            let joint = self.forward[slots.clone()].iter().zip(&self.backward[slots]);
            self.mass.clear();
            self.mass.extend(joint.map(|(forward, backward)| forward * backward));
            let total: f64 = self.mass.iter().sum();
            if total == 0.0 {
                self.right.push(1.0);
                continue;
            }
            let best = least_expected_error(&self.mass);
            let near = best.saturating_sub(TOLERANCE_S)..(best + TOLERANCE_S + 1).min(places);
            self.right.push(self.mass[near].iter().sum::<f64>() / total);
            // Edges are dated one by one: none may overtake the one before it.
            let cell = (first + best).max(parts[edge - 1].cells.start + 1);
            parts[edge - 1].cells.end = cell;
            parts[edge].cells.start = cell;
        }
    }

    /// Number of inner edges; the windows hold the two ends of the stretch as well.
    fn right_edges(&self) -> usize {
        self.windows.len() - 2
    }

    /// For each edge the range of places that count.
    fn open_windows(&mut self, scorer: &Scorer, parts: &[Part]) {
        self.windows.clear();
        let (mut slot, mut weights) = (0, 0);
        let mut add = |first: usize, places: usize, before: usize| {
            let window = Window { first, places, slot, weights };
            slot += places;
            weights += before * places;
            window
        };
        let mut window = add(parts[0].cells.start, 1, 0);
        self.windows.push(window);
        for pair in parts.windows(2) {
            let here = pair[0].cells.end;
            let sign = if pair[1].kind == RUN { -1.0 } else { 1.0 };
            let low = here.saturating_sub(REACH_S).max(pair[0].cells.start + 1);
            let high = (here + REACH_S).min(pair[1].cells.end - 1);
            let best = (low..=high).map(|cell| sign * scorer.lean(cell)).fold(f64::NEG_INFINITY, f64::max);
            let counts = |cell: &usize| sign * scorer.lean(*cell) > best - NEGLIGIBLE_NATS;
            let first = (low..=here).find(counts).unwrap_or(here);
            let last = (here..=high).rev().find(counts).unwrap_or(here);
            window = add(first, last + 1 - first, window.places);
            self.windows.push(window);
        }
        window = add(parts[parts.len() - 1].cells.end, 1, window.places);
        self.windows.push(window);
        self.weights.clear();
        self.weights.reserve(weights);
        for buffer in [&mut self.forward, &mut self.backward] {
            buffer.clear();
            buffer.resize(slot, 0.0);
        }
    }

    /// Fills `weights`.
    fn weigh(&mut self, scorer: &Scorer, durations: &Durations, parts: &[Part]) {
        for (index, part) in parts.iter().enumerate() {
            let kind = part.kind;
            let (before, after) = (self.windows[index], self.windows[index + 1]);
            let likelihood = scorer.likelihood(kind);
            let open = index == 0 || index == parts.len() - 1;
            let least_s = durations.least_s[kind].min(part.cells.len());
            self.ends.take(scorer, kind, after.first..after.first + after.places);
            // The probability of every duration between the places of both edges.
            let shortest_s = (after.first + 1).saturating_sub(before.first + before.places);
            let longest_s = after.first + after.places - 1 - before.first;
            let likely = (shortest_s..=longest_s).map(|seconds| durations.probability(kind, seconds, open));
            self.durations.clear();
            self.durations.extend(likely);
            for column in [&mut self.most, &mut self.spreads, &mut self.likely] {
                column.clear();
            }
            for start in before.first..before.first + before.places {
                let from = scorer.place(kind, start);
                // So many of the ends lie too near to it to count.
                let near = (start + least_s).saturating_sub(after.first).min(after.places);
                self.most.extend(repeat_n(f64::NEG_INFINITY, near));
                self.most.extend(self.ends.from(near).map(|to| likelihood.most(&from, &to)));
                self.spreads.extend(repeat_n(1.0, near));
                self.spreads.extend(self.ends.from(near).map(|to| likelihood.spread(&from, &to)));
                self.likely.extend(repeat_n(0.0, near));
                let shortest = (after.first + near).saturating_sub(start + shortest_s);
                self.likely.extend_from_slice(&self.durations[shortest..shortest + after.places - near]);
            }
            let top = largest(&self.most, f64::MIN);
            let pairs = self.most.iter().zip(&self.spreads).zip(&self.likely);
            self.weights.extend(
                pairs.map(|((most, spread), likely)| exponential(most - top) * likely / spread.sqrt()),
            );
        }
    }

    /// Fills `forward`: the weight of all that lies before each place of each edge, at most 1.
    fn run_forward(&mut self) {
        self.forward[0] = 1.0;
        for edge in 1..self.windows.len() {
            let (before, here) = (self.windows[edge - 1], self.windows[edge]);
            let (done, rest) = self.forward.split_at_mut(here.slot);
            let sums = &mut rest[..here.places];
            let weights = &self.weights[here.weights..here.weights + before.places * here.places];
            for (row, so_far) in weights.chunks_exact(here.places).zip(&done[before.slot..]) {
                sums.iter_mut().zip(row).for_each(|(sum, weight)| *sum += so_far * weight);
            }
            scale(sums);
        }
    }

    /// Fills `backward`: the weight of all that lies after each place of each edge, at most 1.
    fn run_backward(&mut self) {
        let last = self.windows.len() - 1;
        let ends = self.windows[last].slot;
        self.backward[ends] = 1.0;
        for edge in (1..=last).rev() {
            let (before, here) = (self.windows[edge - 1], self.windows[edge]);
            let (rest, done) = self.backward.split_at_mut(here.slot);
            let sums = &mut rest[before.slot..];
            let weights = &self.weights[here.weights..here.weights + before.places * here.places];
            for (row, sum) in weights.chunks_exact(here.places).zip(sums.iter_mut()) {
                *sum = row.iter().zip(&done[..here.places]).map(|(weight, after)| weight * after).sum();
            }
            scale(sums);
        }
    }
}

/// Divides by the largest, so that products over many parts stay in range.
fn scale(values: &mut [f64]) {
    let top = largest(values, 0.0);
    if top > 0.0 {
        values.iter_mut().for_each(|value| *value /= top);
    }
}

/// The place whose expected distance from the truth, counted up to the tolerance, is least.
fn least_expected_error(mass: &[f64]) -> usize {
    let mut below = 0.0;
    let mut sums = vec![below];
    sums.extend(mass.iter().map(|mass| {
        below += mass;
        below
    }));
    let within = |from: usize, to: usize| sums[to.min(mass.len())] - sums[from.min(mass.len())];
    // A step ahead moves away from what lies up to here, and towards what lies beyond, where it is within the tolerance.
    let mut error: f64 = mass.iter().enumerate().map(|(at, mass)| mass * at.min(TOLERANCE_S) as f64).sum();
    let mut best = (error, 0);
    for place in 1..mass.len() {
        error += within(place.saturating_sub(TOLERANCE_S), place) - within(place, place + TOLERANCE_S);
        if error < best.0 {
            best = (error, place);
        }
    }
    best.1
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::evidence::WALK;
    use crate::grid::Grid;
    use crate::levels::Levels;

    fn dated(durations: &Durations, wrong_by: usize) -> usize {
        let along_m: Vec<f64> =
            (0..300).map(|cell| if (100..160).contains(&cell) { 2.3 } else { 1.4 }).collect();
        let grid = Grid { weight: vec![1.0; 300], step_s: vec![1.0; 300], along_m, ..Grid::default() };
        let levels = Levels { walk_m_per_s: 1.4, run_m_per_s: 2.3 };
        let scorer = Scorer::new(&grid, &[0.0; 300], levels, 0.5);
        let part = |kind, cells| Part { kind, stop: false, cells, probability: 1.0 };
        let mut parts = [part(WALK, 0..100 + wrong_by), part(RUN, 100 + wrong_by..160), part(WALK, 160..300)];
        let mut dater = EdgeDater::default();
        dater.date(&scorer, durations, &mut parts);
        assert!(dater.right.iter().all(|&right| right > 0.9), "{:?}", dater.right);
        assert_eq!(parts[0].cells.end, parts[1].cells.start);
        parts[1].cells.start
    }

    #[test]
    fn the_place_of_least_expected_error_is_found_step_by_step() {
        for length in [1, 2, 9, 10, 11, 25, 41] {
            let mass: Vec<f64> = (0..length).map(|at| f64::from((at * 7919) % 13) + 0.25).collect();
            let error = |place: usize| -> f64 {
                mass.iter().enumerate().map(|(at, m)| m * at.abs_diff(place).min(TOLERANCE_S) as f64).sum()
            };
            let least = (0..mass.len()).min_by(|&a, &b| error(a).total_cmp(&error(b)));
            assert_eq!(Some(least_expected_error(&mass)), least, "{mass:?}");
        }
    }

    #[test]
    fn an_edge_that_was_left_off_its_place_is_moved_there() {
        let generic = Durations::generic([12, 13], 60.0);
        assert!(dated(&generic, 9).abs_diff(100) <= 1);
    }
}

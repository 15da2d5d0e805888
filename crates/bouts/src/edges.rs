//! Dates the edges between the parts of a stretch, the number and the kinds of the parts being settled.

use crate::decode::Part;
use crate::evidence::{RUN, Scorer};

/// An edge is looked for this many seconds to each side of where decoding left it.
const REACH_S: usize = 20;
/// Places whose evidence is this many nats below the best one do not count.
const NEGLIGIBLE_NATS: f64 = 9.0;
/// An edge counts as right within this many seconds; beyond, how far off it is does not matter.
const TOLERANCE_S: usize = 10;

/// Buffers of the forward and backward pass.
#[derive(Default)]
pub(crate) struct EdgeDater {
    windows: Vec<(usize, usize)>,
    forward: Vec<f64>,
    backward: Vec<f64>,
    offsets: Vec<usize>,
}

impl EdgeDater {
    /// Moves each inner edge of `parts` to where the expected error, counted up to the tolerance, is least, and
    /// returns for each inner edge the probability that it is right within the tolerance.
    pub(crate) fn date(&mut self, scorer: &Scorer, parts: &mut [Part]) -> Vec<f64> {
        let edges = parts.len().saturating_sub(1);
        if edges == 0 {
            return Vec::new();
        }
        self.open_windows(scorer, parts);
        self.run_forward(scorer, parts);
        self.run_backward(scorer, parts);
        let mut right = Vec::with_capacity(edges);
        for edge in 0..edges {
            let slots = self.offsets[edge]..self.offsets[edge + 1];
            let logs = slots.map(|slot| self.forward[slot] + self.backward[slot]);
            let top = logs.clone().fold(f64::NEG_INFINITY, f64::max);
            let mass: Vec<f64> = logs.map(|log| (log - top).exp()).collect();
            let total: f64 = mass.iter().sum();
            let expected_error = |place: usize| -> f64 {
                mass.iter().enumerate().map(|(at, m)| m * at.abs_diff(place).min(TOLERANCE_S) as f64).sum()
            };
            let best =
                (0..mass.len()).min_by(|&a, &b| expected_error(a).total_cmp(&expected_error(b))).unwrap_or(0);
            let near = best.saturating_sub(TOLERANCE_S)..(best + TOLERANCE_S + 1).min(mass.len());
            right.push(mass[near].iter().sum::<f64>() / total);
            let cell = self.windows[edge].0 + best;
            parts[edge].cells.end = cell;
            parts[edge + 1].cells.start = cell;
        }
        right
    }

    /// For each edge the range of places that count.
    fn open_windows(&mut self, scorer: &Scorer, parts: &[Part]) {
        self.windows.clear();
        self.offsets.clear();
        self.offsets.push(0);
        let (first, last) = (parts[0].cells.start, parts[parts.len() - 1].cells.end);
        for pair in parts.windows(2) {
            let here = pair[0].cells.end;
            let sign = if pair[1].kind == RUN { -1.0 } else { 1.0 };
            let low = here.saturating_sub(REACH_S).max(pair[0].cells.start + 1).max(first + 1);
            let high = (here + REACH_S).min(pair[1].cells.end - 1).min(last - 1);
            let best = (low..=high).map(|cell| sign * scorer.lean(cell)).fold(f64::NEG_INFINITY, f64::max);
            let counts = |cell: &usize| sign * scorer.lean(*cell) > best - NEGLIGIBLE_NATS;
            let from = (low..=high).find(counts).unwrap_or(here);
            let to = (low..=high).rev().find(counts).unwrap_or(here);
            self.windows.push((from, to));
            self.offsets.push(self.offsets[self.offsets.len() - 1] + to + 1 - from);
        }
    }

    fn score(&self, scorer: &Scorer, parts: &[Part], part: usize, start: usize, end: usize) -> f64 {
        let kind = parts[part].kind;
        let open = part == 0 || part == parts.len() - 1;
        if end <= start || (!open && end - start < scorer.durations.least_s[kind]) {
            return f64::NEG_INFINITY;
        }
        scorer.data(kind, &scorer.cumulative.sums(start), &scorer.cumulative.sums(end))
            + scorer.durations.log(kind, end - start, open)
    }

    fn run_forward(&mut self, scorer: &Scorer, parts: &[Part]) {
        let slots = self.offsets[self.windows.len()];
        self.forward.clear();
        self.forward.resize(slots, f64::NEG_INFINITY);
        for edge in 0..self.windows.len() {
            let (from, to) = self.windows[edge];
            for end in from..=to {
                let slot = self.offsets[edge] + end - from;
                self.forward[slot] = if edge == 0 {
                    self.score(scorer, parts, 0, parts[0].cells.start, end)
                } else {
                    let (before_from, before_to) = self.windows[edge - 1];
                    log_sum((before_from..=before_to).map(|start| {
                        self.forward[self.offsets[edge - 1] + start - before_from]
                            + self.score(scorer, parts, edge, start, end)
                    }))
                };
            }
        }
    }

    fn run_backward(&mut self, scorer: &Scorer, parts: &[Part]) {
        let edges = self.windows.len();
        self.backward.clear();
        self.backward.resize(self.offsets[edges], f64::NEG_INFINITY);
        for edge in (0..edges).rev() {
            let (from, to) = self.windows[edge];
            for start in from..=to {
                let slot = self.offsets[edge] + start - from;
                self.backward[slot] = if edge == edges - 1 {
                    self.score(scorer, parts, edge + 1, start, parts[edge + 1].cells.end)
                } else {
                    let (after_from, after_to) = self.windows[edge + 1];
                    log_sum((after_from..=after_to).map(|end| {
                        self.backward[self.offsets[edge + 1] + end - after_from]
                            + self.score(scorer, parts, edge + 1, start, end)
                    }))
                };
            }
        }
    }
}

fn log_sum(terms: impl Iterator<Item = f64> + Clone) -> f64 {
    let top = terms.clone().fold(f64::NEG_INFINITY, f64::max);
    if top == f64::NEG_INFINITY {
        return top;
    }
    top + terms.map(|term| (term - top).exp()).sum::<f64>().ln()
}

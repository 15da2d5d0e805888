//! The structure of a stretch: which bouts there are, by an explicit-duration hidden Markov model whose edges lie
//! at the turning points of cumulative evidence.

use std::ops::Range;

use crate::evidence::{RUN, Scorer, WALK};

/// Evidence in nats that must turn before a turning point counts: less than the price of two changes of kind, so that no
/// edge of the best path is lost.
const TURN_NATS: f64 = 2.0;
/// Log terms this far below the largest do not count.
const NEGLIGIBLE_NATS: f64 = 30.0;

/// A stretch of one kind, as cells.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Part {
    pub(crate) kind: usize,
    pub(crate) cells: Range<usize>,
    /// Probability of a part of this kind with these edges, near enough.
    pub(crate) probability: f64,
}

/// A place where a bout may begin or end.
#[derive(Clone, Copy, Debug)]
struct Node {
    cell: usize,
    /// Kind of the part that may begin here: running after a low of the evidence, walking after a high.
    begins: [bool; 2],
    /// Log of the weight of all edges around this one, relative to it.
    basin: f64,
}

/// Decodes stretches; keeps its buffers between them.
#[derive(Default)]
pub(crate) struct Decoder {
    nodes: Vec<Node>,
    best: Vec<[f64; 2]>,
    from: Vec<[usize; 2]>,
    forward: Vec<[f64; 2]>,
    backward: Vec<[f64; 2]>,
}

impl Decoder {
    /// Appends the parts of the stretch `cells` to `parts`, and returns the log probability that they are all right.
    pub(crate) fn decode(&mut self, scorer: &Scorer, cells: Range<usize>, parts: &mut Vec<Part>) -> f64 {
        if cells.is_empty() {
            return 0.0;
        }
        self.find_nodes(scorer, &cells);
        self.run_forward(scorer);
        self.run_backward(scorer);
        self.trace_back(scorer, parts)
    }

    /// Turning points of the cumulative evidence, each with the weight of its basin.
    fn find_nodes(&mut self, scorer: &Scorer, cells: &Range<usize>) {
        self.nodes.clear();
        self.nodes.push(Node { cell: cells.start, begins: [true, true], basin: 0.0 });
        let (mut high, mut low) = (cells.start, cells.start);
        let (mut high_at, mut low_at) = (scorer.lean(cells.start), scorer.lean(cells.start));
        let mut rising: Option<bool> = None;
        for cell in cells.start + 1..=cells.end {
            let now = scorer.lean(cell);
            if now > high_at {
                (high, high_at) = (cell, now);
            }
            if now < low_at {
                (low, low_at) = (cell, now);
            }
            if rising != Some(false) && now < high_at - TURN_NATS {
                if high > cells.start {
                    self.nodes.push(Node { cell: high, begins: [true, false], basin: 0.0 });
                }
                rising = Some(false);
                (low, low_at) = (cell, now);
            } else if rising != Some(true) && now > low_at + TURN_NATS {
                if low > cells.start {
                    self.nodes.push(Node { cell: low, begins: [false, true], basin: 0.0 });
                }
                rising = Some(true);
                (high, high_at) = (cell, now);
            }
        }
        self.nodes.push(Node { cell: cells.end, begins: [true, true], basin: 0.0 });
        for index in 1..self.nodes.len() - 1 {
            let Node { cell: here, begins, .. } = self.nodes[index];
            let sign = if begins[RUN] { -1.0 } else { 1.0 };
            let around = self.nodes[index - 1].cell + 1..self.nodes[index + 1].cell;
            let top = scorer.lean(here);
            let weight: f64 = around
                .map(|cell| sign * (scorer.lean(cell) - top))
                .filter(|&below| below > -NEGLIGIBLE_NATS)
                .map(f64::exp)
                .sum();
            self.nodes[index].basin = weight.ln();
        }
    }

    /// Log score of a part of `kind` between two nodes; `None` where it cannot be.
    fn part(&self, scorer: &Scorer, kind: usize, from: usize, to: usize) -> Option<f64> {
        let (first, last) = (from == 0, to == self.nodes.len() - 1);
        let (start, end) = (self.nodes[from].cell, self.nodes[to].cell);
        if !(first && last) && end - start < scorer.durations.least_s[kind] {
            return None;
        }
        Some(
            -crate::tune::tune("PART", 0.0) + scorer.data(kind, start, end)
                + scorer.durations.log(kind, end - start, first || last)
                + self.nodes[to].basin,
        )
    }

    fn may_end(&self, kind: usize, node: usize) -> bool {
        self.nodes[node].begins[1 - kind]
    }

    fn run_forward(&mut self, scorer: &Scorer) {
        let count = self.nodes.len();
        for buffer in [&mut self.best, &mut self.forward] {
            buffer.clear();
            buffer.resize(count, [f64::NEG_INFINITY; 2]);
        }
        self.from.clear();
        self.from.resize(count, [0; 2]);
        for to in 1..count {
            for kind in [WALK, RUN] {
                if !self.may_end(kind, to) {
                    continue;
                }
                let mut sum = LogSum::default();
                let (mut best, mut best_from) = (f64::NEG_INFINITY, 0);
                for from in (0..to).rev() {
                    if !self.nodes[from].begins[kind] {
                        continue;
                    }
                    let Some(score) = self.part(scorer, kind, from, to) else { continue };
                    let (before, best_before) = match from {
                        0 => (0.0, 0.0),
                        _ => (self.forward[from][1 - kind], self.best[from][1 - kind]),
                    };
                    sum.add(before + score);
                    if best_before + score > best {
                        (best, best_from) = (best_before + score, from);
                    }
                }
                self.forward[to][kind] = sum.value();
                self.best[to][kind] = best;
                self.from[to][kind] = best_from;
            }
        }
    }

    fn run_backward(&mut self, scorer: &Scorer) {
        let count = self.nodes.len();
        self.backward.clear();
        self.backward.resize(count, [f64::NEG_INFINITY; 2]);
        self.backward[count - 1] = [0.0; 2];
        // backward[node][kind]: all that may follow a part of `kind` that ended at the node.
        for from in (1..count - 1).rev() {
            for kind in [WALK, RUN] {
                let next = 1 - kind;
                if !self.nodes[from].begins[next] {
                    continue;
                }
                let mut sum = LogSum::default();
                for to in from + 1..count {
                    if !self.may_end(next, to) {
                        continue;
                    }
                    if let Some(score) = self.part(scorer, next, from, to) {
                        sum.add(score + self.backward[to][next]);
                    }
                }
                self.backward[from][kind] = sum.value();
            }
        }
    }

    fn trace_back(&self, scorer: &Scorer, parts: &mut Vec<Part>) -> f64 {
        let last = self.nodes.len() - 1;
        let total = log_add(self.forward[last][WALK], self.forward[last][RUN]);
        let mut kind = if self.best[last][RUN] > self.best[last][WALK] { RUN } else { WALK };
        let all_right = self.best[last][kind] - total;
        let first_new = parts.len();
        let mut to = last;
        while to > 0 {
            let from = self.from[to][kind];
            let before = if from == 0 { 0.0 } else { self.forward[from][1 - kind] };
            let score = self.part(scorer, kind, from, to).unwrap_or(f64::NEG_INFINITY);
            let log_probability = before + score + self.backward[to][kind] - total;
            parts.push(Part {
                kind,
                cells: self.nodes[from].cell..self.nodes[to].cell,
                probability: log_probability.exp().min(1.0),
            });
            to = from;
            kind = 1 - kind;
        }
        parts[first_new..].reverse();
        all_right
    }
}

/// Logarithm of a sum of exponentials, term by term.
struct LogSum {
    top: f64,
    sum: f64,
}

impl Default for LogSum {
    fn default() -> Self {
        Self { top: f64::NEG_INFINITY, sum: 0.0 }
    }
}

impl LogSum {
    fn add(&mut self, log_term: f64) {
        let below = log_term - self.top;
        if below > 0.0 {
            self.sum = if below < NEGLIGIBLE_NATS { self.sum * (-below).exp() } else { 0.0 } + 1.0;
            self.top = log_term;
        } else if below > -NEGLIGIBLE_NATS {
            self.sum += below.exp();
        }
    }

    fn value(&self) -> f64 {
        if self.sum > 0.0 { self.top + self.sum.ln() } else { f64::NEG_INFINITY }
    }
}

fn log_add(a: f64, b: f64) -> f64 {
    let mut sum = LogSum::default();
    sum.add(a);
    sum.add(b);
    sum.value()
}

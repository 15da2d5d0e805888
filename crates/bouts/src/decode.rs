//! The structure of a stretch: which bouts there are, by an explicit-duration hidden Markov model whose edges lie
//! at the turning points of cumulative evidence.

use std::ops::Range;

use crate::durations::Durations;
use crate::evidence::{Place, RUN, Scorer, WALK};
use crate::exponential::exponential;

/// Evidence in nats that must turn before a turning point counts: less than the price of two changes of kind, so
/// that no edge of the best path is lost …
const TURN_NATS: f64 = 2.0;
/// … and at least this many standard deviations of what one second says, or every second would be a turning point.
const TURN_SDS: f64 = 2.0;
/// Price in nats of an edge at the end of a part whose beginning is not seen: it may lie in any second of the usual
/// time between changes of kind (ln 90 s).
const FIRST_EDGE_NATS: f64 = 4.5;
/// A beginning this far behind another never catches up.
const LAGGING_NATS: f64 = 7.0;
/// Log terms this far below the largest do not count.
const NEGLIGIBLE_NATS: f64 = 12.0;
/// Places of an edge this many nats worse than the best one do not count.
const SHALLOW_NATS: f64 = 8.0;
/// Edges within this many seconds of each other are the same edge.
const EDGE_TOLERANCE_S: usize = 10;

/// A stretch of one kind, as cells.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Part {
    pub(crate) kind: usize,
    /// A walk that hardly moved: a stop.
    pub(crate) stop: bool,
    pub(crate) cells: Range<usize>,
    /// Probability of a part of this kind with about this extent.
    pub(crate) probability: f64,
}

impl Part {
    /// Its kind, and where it lies.
    pub(crate) fn place(&self) -> (usize, &Range<usize>) {
        (self.kind, &self.cells)
    }
}

/// A place where a part may begin or end.
#[derive(Clone, Copy, Debug)]
struct Node {
    cell: usize,
    /// What lies before it, for each kind.
    places: [Place; 2],
    /// Kinds that may begin here: running after a low of the evidence, walking after a high.
    begins: [bool; 2],
    /// Kinds that may end here.
    ends: [bool; 2],
    /// Log of the weight of all edges around this one, relative to it.
    basin: f64,
}

/// A possible part between two nodes.
#[derive(Clone, Copy, Debug)]
struct Arc {
    from: u32,
    to: u32,
    kind: usize,
    score: f64,
}

/// Decodes stretches; keeps its buffers between them.
#[derive(Default)]
pub(crate) struct Decoder {
    nodes: Vec<Node>,
    arcs: Vec<Arc>,
    /// Where the arcs that end at a node begin in `arcs`.
    first_arc: Vec<usize>,
    alive: [Vec<u32>; 2],
    best: Vec<[f64; 2]>,
    best_arc: Vec<[usize; 2]>,
    forward: Vec<[f64; 2]>,
    backward: Vec<[f64; 2]>,
    sums: Vec<[LogSum; 2]>,
    path: Vec<usize>,
    restricted: Vec<f64>,
}

impl Decoder {
    /// Appends the parts of the stretch `cells` to `parts`: the best path.
    pub(crate) fn decode(
        &mut self,
        scorer: &Scorer,
        durations: &Durations,
        cells: Range<usize>,
        parts: &mut Vec<Part>,
    ) {
        self.find_nodes(scorer, &cells);
        self.find_arcs(scorer, durations);
        self.trace_back();
        parts.extend(self.path.iter().map(|&index| {
            let Arc { from, to, kind, .. } = self.arcs[index];
            let cells = self.nodes[from as usize].cell..self.nodes[to as usize].cell;
            Part { kind, stop: false, cells, probability: 1.0 }
        }));
    }

    /// Gives the parts of the stretch that was decoded last their probabilities, and returns the log probability that
    /// they are all there, with each edge near its place, and nothing else.
    pub(crate) fn judge(&mut self, parts: &mut [Part]) -> f64 {
        self.run_forward();
        self.run_backward();
        self.judge_parts(parts);
        self.all_right()
    }

    fn push_node(&mut self, scorer: &Scorer, cell: usize, begins: [bool; 2], ends: [bool; 2]) {
        self.nodes.push(Node {
            cell,
            places: [WALK, RUN].map(|kind| scorer.place(kind, cell)),
            begins,
            ends,
            basin: 0.0,
        });
    }

    /// Adds a turning point: walking begins at a high of the evidence, running at a low.
    fn push_turn(&mut self, scorer: &Scorer, cell: usize, is_high: bool) {
        self.push_node(scorer, cell, [is_high, !is_high], [!is_high, is_high]);
    }

    /// Turning points of the cumulative evidence, each with the weight of its basin.
    fn find_nodes(&mut self, scorer: &Scorer, cells: &Range<usize>) {
        self.nodes.clear();
        self.push_node(scorer, cells.start, [true; 2], [false; 2]);
        let turn_nats = TURN_NATS.max(TURN_SDS * scorer.second_sd_nats());
        // Until the evidence turns a first time, it may come from a high or from a low: one of both shows as soon as it lies far
        // enough from the other. From then on highs and lows take turns, and a low is a high of what is turned upside down.
        let (mut high, mut low) = (cells.start, cells.start);
        let far_apart = (cells.start + 1..=cells.end).find(|&cell| {
            let now = scorer.lean(cell);
            if now > scorer.lean(high) {
                high = cell;
            }
            if now < scorer.lean(low) {
                low = cell;
            }
            now < scorer.lean(high) - turn_nats || now > scorer.lean(low) + turn_nats
        });
        if let Some(mut top) = far_apart {
            let mut sign = if top == high { 1.0 } else { -1.0 };
            if high.min(low) > cells.start {
                self.push_turn(scorer, high.min(low), sign < 0.0);
            }
            let mut top_at = sign * scorer.lean(top);
            for (cell, lean) in (top + 1..).zip(scorer.leans(top + 1..cells.end + 1)) {
                let now = sign * lean;
                if now > top_at {
                    (top, top_at) = (cell, now);
                } else if now < top_at - turn_nats {
                    self.push_turn(scorer, top, sign > 0.0);
                    sign = -sign;
                    (top, top_at) = (cell, -now);
                }
            }
        }
        self.push_node(scorer, cells.end, [false; 2], [true; 2]);
        for index in 1..self.nodes.len() - 1 {
            let Node { cell: here, begins, .. } = self.nodes[index];
            let sign = if begins[RUN] { -1.0 } else { 1.0 };
            let around = self.nodes[index - 1].cell + 1..self.nodes[index + 1].cell;
            let top = scorer.lean(here);
            let weight: f64 = scorer
                .leans(around)
                .map(|lean| sign * (lean - top))
                .filter(|&below| below > -SHALLOW_NATS)
                .map(exponential)
                .sum();
            self.nodes[index].basin = weight.ln();
        }
    }

    /// Fills `arcs` and the best path into each node.
    fn find_arcs(&mut self, scorer: &Scorer, durations: &Durations) {
        let count = self.nodes.len();
        self.best.clear();
        self.best.resize(count, [f64::NEG_INFINITY; 2]);
        self.best[0] = [0.0; 2];
        self.best_arc.clear();
        self.best_arc.resize(count, [0; 2]);
        self.arcs.clear();
        self.first_arc.clear();
        self.first_arc.extend([0, 0]);
        for alive in &mut self.alive {
            alive.clear();
            alive.push(0);
        }
        for to in 1..count {
            let here = self.nodes[to];
            for kind in [WALK, RUN] {
                let alive = std::mem::take(&mut self.alive[kind]);
                if here.ends[kind] {
                    self.reach(scorer, durations, to, kind, &alive);
                }
                self.alive[kind] = alive;
            }
            // Both kinds have ended here before either begins: a fresh start is worth what the other kind reached.
            for kind in [WALK, RUN] {
                if here.begins[kind] {
                    self.begin(scorer, to, kind);
                }
            }
            self.first_arc.push(self.arcs.len());
        }
    }

    /// Lets a part of one kind begin at a node, and gives up earlier beginnings that lag far behind it.
    fn begin(&mut self, scorer: &Scorer, node: usize, kind: usize) {
        let here = &self.nodes[node].places[kind];
        let fresh = self.best[node][1 - kind];
        let likelihood = scorer.likelihood(kind);
        let mut alive = std::mem::take(&mut self.alive[kind]);
        alive.retain(|&from| {
            let start = &self.nodes[from as usize].places[kind];
            let so_far = self.best[from as usize][1 - kind];
            so_far + likelihood.most(start, here) > fresh - LAGGING_NATS
        });
        alive.push(node as u32);
        self.alive[kind] = alive;
    }

    /// Adds the arcs of one kind that end at a node.
    fn reach(&mut self, scorer: &Scorer, durations: &Durations, to: usize, kind: usize, alive: &[u32]) {
        let here = self.nodes[to];
        let last = to == self.nodes.len() - 1;
        for &from in alive {
            let node = &self.nodes[from as usize];
            let first = from == 0;
            let seconds = here.cell - node.cell;
            if !(first && last) && seconds < durations.least_s[kind] {
                continue;
            }
            let score = scorer.likelihood(kind).data(&node.places[kind], &here.places[kind])
                + durations.log(kind, seconds, first || last)
                - if first && !last { FIRST_EDGE_NATS } else { 0.0 }
                + here.basin;
            let so_far = self.best[from as usize][1 - kind];
            if so_far + score > self.best[to][kind] {
                self.best[to][kind] = so_far + score;
                self.best_arc[to][kind] = self.arcs.len();
            }
            self.arcs.push(Arc { from, to: to as u32, kind, score });
        }
    }

    /// Fills `forward[node][kind]`: all paths whose last part is of `kind` and ends at the node.
    fn run_forward(&mut self) {
        let count = self.nodes.len();
        self.forward.clear();
        self.forward.resize(count, [f64::NEG_INFINITY; 2]);
        self.forward[0] = [0.0; 2];
        for to in 1..count {
            let mut sums = [LogSum::default(); 2];
            for arc in &self.arcs[self.first_arc[to]..self.first_arc[to + 1]] {
                sums[arc.kind].add(self.forward[arc.from as usize][1 - arc.kind] + arc.score);
            }
            self.forward[to] = sums.map(LogSum::value);
        }
    }

    /// Fills `backward[node][kind]`: all that may follow a part of `kind` that ends at the node.
    fn run_backward(&mut self) {
        let count = self.nodes.len();
        self.sums.clear();
        self.sums.resize(count, [LogSum::default(); 2]);
        self.sums[count - 1] = [LogSum::ONE; 2];
        self.backward.clear();
        self.backward.resize(count, [0.0; 2]);
        for to in (1..count).rev() {
            let after = self.sums[to].map(LogSum::value);
            self.backward[to] = after;
            for arc in &self.arcs[self.first_arc[to]..self.first_arc[to + 1]] {
                self.sums[arc.from as usize][1 - arc.kind].add(arc.score + after[arc.kind]);
            }
        }
    }

    /// Fills `path` with the arcs of the best path.
    fn trace_back(&mut self) {
        self.path.clear();
        let mut to = self.nodes.len() - 1;
        let mut kind = if self.best[to][RUN] > self.best[to][WALK] { RUN } else { WALK };
        while to > 0 {
            let index = self.best_arc[to][kind];
            self.path.push(index);
            to = self.arcs[index].from as usize;
            kind = 1 - kind;
        }
        self.path.reverse();
    }

    /// Log likelihood of the last stretch, relative to movement at the middle of the levels.
    pub(crate) fn log_likelihood(&self) -> f64 {
        let last = self.forward[self.nodes.len() - 1];
        let mut sum = LogSum::default();
        sum.add(last[WALK]);
        sum.add(last[RUN]);
        sum.value()
    }

    /// Gives each part of the path the probability of a part of its kind with about its extent.
    fn judge_parts(&self, parts: &mut [Part]) {
        let total = self.log_likelihood();
        for (part, &index) in parts.iter_mut().zip(&self.path) {
            let Arc { from, to, kind, .. } = self.arcs[index];
            let reach_s = (part.cells.len() / 4).max(EDGE_TOLERANCE_S);
            let starts = self.near(from as usize, reach_s);
            let mut sum = LogSum::default();
            for end in self.near(to as usize, reach_s) {
                for arc in self.arcs_into(end).iter().filter(|arc| arc.kind == kind) {
                    if starts.contains(&(arc.from as usize)) {
                        let before = self.forward[arc.from as usize][1 - kind];
                        sum.add(before + arc.score + self.backward[end][kind]);
                    }
                }
            }
            part.probability = (sum.value() - total).exp().min(1.0);
        }
    }

    /// Log probability of just the parts of the path, with each edge near its place.
    fn all_right(&mut self) -> f64 {
        let mut restricted = std::mem::take(&mut self.restricted);
        restricted.clear();
        restricted.resize(self.nodes.len(), f64::NEG_INFINITY);
        restricted[0] = 0.0;
        let mut starts = 0..1;
        for &index in &self.path {
            let Arc { to, kind, .. } = self.arcs[index];
            let ends = self.near(to as usize, EDGE_TOLERANCE_S);
            for end in ends.clone() {
                let mut sum = LogSum::default();
                for arc in self.arcs_into(end).iter().filter(|arc| arc.kind == kind) {
                    if starts.contains(&(arc.from as usize)) {
                        sum.add(restricted[arc.from as usize] + arc.score);
                    }
                }
                restricted[end] = sum.value();
            }
            starts = ends;
        }
        let all_right = restricted[self.nodes.len() - 1];
        self.restricted = restricted;
        all_right - self.log_likelihood()
    }

    fn arcs_into(&self, node: usize) -> &[Arc] {
        &self.arcs[self.first_arc[node]..self.first_arc[node + 1]]
    }

    /// Nodes within so many seconds of a node; the ends of the stretch stand for themselves.
    fn near(&self, node: usize, seconds: usize) -> Range<usize> {
        let last = self.nodes.len() - 1;
        if node == 0 || node == last {
            return node..node + 1;
        }
        let cell = self.nodes[node].cell;
        let (mut from, mut to) = (node, node + 1);
        while from > 1 && cell - self.nodes[from - 1].cell <= seconds {
            from -= 1;
        }
        while to < last && self.nodes[to].cell - cell <= seconds {
            to += 1;
        }
        from..to
    }
}

/// Logarithm of a sum of exponentials, term by term.
#[derive(Clone, Copy, Debug)]
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
    /// The sum of one term of weight 1.
    const ONE: Self = Self { top: 0.0, sum: 1.0 };

    fn add(&mut self, log_term: f64) {
        let below = log_term - self.top;
        if self.sum == 0.0 {
            if log_term > f64::NEG_INFINITY {
                *self = Self { top: log_term, sum: 1.0 };
            }
        } else if below > 0.0 {
            self.sum = if below < NEGLIGIBLE_NATS { self.sum * exponential(-below) } else { 0.0 } + 1.0;
            self.top = log_term;
        } else if below > -NEGLIGIBLE_NATS {
            self.sum += exponential(below);
        }
    }

    fn value(self) -> f64 {
        if self.sum > 0.0 { self.top + self.sum.ln() } else { f64::NEG_INFINITY }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::grid::Grid;
    use crate::levels::Levels;

    const LEVELS: Levels = Levels { walk_m_per_s: 1.4, run_m_per_s: 2.4 };

    fn grid_of(along_m: Vec<f64>) -> Grid {
        Grid {
            weight: vec![1.0; along_m.len()],
            step_s: vec![1.0; along_m.len()],
            along_m,
            ..Grid::default()
        }
    }

    /// Speeds with a fixed ripple that a decoder must not follow.
    fn rippled(speeds: &[(usize, f64)]) -> Grid {
        let flat = speeds.iter().flat_map(|&(seconds, speed)| vec![speed; seconds]);
        grid_of(flat.enumerate().map(|(i, speed)| speed + 0.5 * (i as f64 * 1.7).sin()).collect())
    }

    fn decoded(grid: &Grid, least_s: [usize; 2]) -> (Vec<(usize, usize, usize)>, f64, Decoder) {
        let durations = Durations::generic(least_s, 0.0);
        let scorer = Scorer::new(grid, &vec![0.0; grid.len()], LEVELS, 0.3);
        let mut decoder = Decoder::default();
        let mut parts = Vec::new();
        decoder.decode(&scorer, &durations, 0..grid.len(), &mut parts);
        let all_right = decoder.judge(&mut parts);
        (parts.iter().map(|p| (p.kind, p.cells.start, p.cells.end)).collect(), all_right, decoder)
    }

    #[test]
    fn two_runs_between_walks_are_found_and_sure() {
        let grid = rippled(&[(100, 1.4), (60, 2.4), (90, 1.4), (60, 2.4), (100, 1.4)]);
        let (parts, all_right, _) = decoded(&grid, [12, 13]);
        let kinds: Vec<usize> = parts.iter().map(|part| part.0).collect();
        assert_eq!(kinds, [WALK, RUN, WALK, RUN, WALK]);
        for (part, edge) in parts.iter().zip([100, 160, 250, 310, 410]) {
            assert!(part.2.abs_diff(edge) <= 3, "{parts:?}");
        }
        assert!(all_right > -0.05, "{all_right}");
    }

    #[test]
    fn one_odd_second_and_a_bout_below_the_shortest_split_nothing() {
        assert_eq!(decoded(&rippled(&[(100, 1.4), (1, 6.0), (100, 1.4)]), [12, 13]).0, [(WALK, 0, 201)]);
        assert_eq!(decoded(&rippled(&[(100, 2.4), (9, 1.4), (100, 2.4)]), [12, 13]).0, [(RUN, 0, 209)]);
    }

    #[test]
    fn forward_and_backward_sums_agree() {
        let grid = rippled(&[(80, 1.4), (30, 2.1), (70, 1.6), (60, 2.4)]);
        let (_, _, decoder) = decoded(&grid, [12, 13]);
        let starts = decoder.arcs.iter().filter(|arc| arc.from == 0);
        let mut sum = LogSum::default();
        starts.for_each(|arc| {
            sum.add(arc.score + decoder.backward[arc.to as usize][arc.kind]);
        });
        let (backward, forward) = (sum.value(), decoder.log_likelihood());
        assert!((backward - forward).abs() < 1e-6, "{backward} {forward}");
    }

    #[test]
    fn turning_points_lose_next_to_nothing_of_all_segmentations() {
        // Against the sum over every way to cut 22 seconds, edge by edge.
        let grid = rippled(&[(9, 1.4), (7, 2.6), (6, 1.4)]);
        let durations = Durations::generic([3, 3], 0.0);
        let scorer = Scorer::new(&grid, &[0.0; 22], LEVELS, 0.3);
        let mut forward = vec![[f64::NEG_INFINITY; 2]; 23];
        for to in 1..=22 {
            for kind in [WALK, RUN] {
                let mut sum = LogSum::default();
                for (from, before) in forward[..to].iter().enumerate() {
                    let whole = from == 0 && to == 22;
                    if !whole && to - from < 3 {
                        continue;
                    }
                    let before = if from == 0 { 0.0 } else { before[1 - kind] };
                    let open = from == 0 || to == 22;
                    let data =
                        scorer.likelihood(kind).data(&scorer.place(kind, from), &scorer.place(kind, to));
                    let joining = if from == 0 && !whole { FIRST_EDGE_NATS } else { 0.0 };
                    sum.add(before + data + durations.log(kind, to - from, open) - joining);
                }
                forward[to][kind] = sum.value();
            }
        }
        let mut all = LogSum::default();
        forward[22].into_iter().for_each(|log| all.add(log));
        let (_, _, decoder) = decoded(&grid, [3, 3]);
        let (exact, found) = (all.value(), decoder.log_likelihood());
        assert!((exact - found).abs() < 0.5, "exact {exact}, over turning points {found}");
    }
}

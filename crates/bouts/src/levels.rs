//! The walking and the running speed of this very person.

use std::ops::Range;

use crate::SegmentSettings;
use crate::decode::Part;
use crate::evidence::{RUN, WALK};
use crate::exponential::exponential;
use crate::grid::{Grid, median};

/// Length of a block in seconds.
const BLOCK_S: usize = 10;
/// Least trusted seconds in a block.
const BLOCK_KNOWN_S: f64 = 6.0;
/// Fewest blocks that say anything.
const LEAST_BLOCKS: usize = 3;
/// Expected seconds between changes of kind.
const DWELL_S: f64 = 90.0;
/// Rounds of re-estimation, at most.
const ROUNDS: usize = 6;
/// Levels that move less than this, in metres per second, have settled.
const SETTLED_M_PER_S: f64 = 5e-3;
/// Share of the information of a block that is its own: the blocks of a bout share its level.
const OWN_SHARE: f64 = 0.15;
/// Standard deviation of a bout's speed as a share of the person's level (3–5 % between bouts, 4 % within them).
const BOUT_SD_SHARE: f64 = 0.06;
/// Difference between running and walking that is usual, in metres per second, and its standard deviation below that:
/// levels that lie closer are drawn apart, since noise alone always offers two levels that lie close.
const USUAL_GAP_M_PER_S: f64 = 0.75;
const CLOSER_SD_M_PER_S: f64 = 0.15;
/// Standard deviation of the logarithm of the difference.
const GAP_LOG_SD: f64 = 0.45;
/// Least difference in metres per second.
const LEAST_GAP_M_PER_S: f64 = 0.35;
/// Nobody's usual walking is faster, nobody's usual running slower, in metres per second (own choice).
const FASTEST_WALK_M_PER_S: f64 = 1.75;
const SLOWEST_RUN_M_PER_S: f64 = 1.6;
/// At this mean speed, in metres per second, it is even odds whether what was called walking is a slow run, and so
/// many nats a metre per second it is clearer to either side (own choice; brisk walkers reach 1.9 m/s).
const TOO_FAST_WALK_M_PER_S: f64 = 1.85;
const TOO_FAST_NATS_PER_M_PER_S: f64 = 20.0;
/// Seconds at each end of a part that are left out: speed changes there.
const RAMP_S: usize = 2;
/// Fewest trusted seconds of a part that say anything about its level.
const PART_KNOWN_S: f64 = 5.0;
/// Fewest seconds of a kind by cadence that give its level.
const CADENCE_LEAST_S: usize = 30;
/// Difference of the levels that is taken for granted beside cadence, in metres per second.
const CADENCE_GAP_M_PER_S: f64 = 0.25;
/// Evidence of cadence in nats from which a second counts for its level.
const CADENCE_SURE_NATS: f64 = 0.5;

/// Speeds in metres per second.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Levels {
    pub(crate) walk_m_per_s: f64,
    pub(crate) run_m_per_s: f64,
}

impl Levels {
    /// Difference of the levels.
    pub(crate) fn gap(&self) -> f64 {
        self.run_m_per_s - self.walk_m_per_s
    }

    /// Half way between the levels.
    pub(crate) fn middle(&self) -> f64 {
        0.5 * (self.run_m_per_s + self.walk_m_per_s)
    }

    /// Both as a pair, walking first.
    pub(crate) fn pair(&self) -> [f64; 2] {
        [self.walk_m_per_s, self.run_m_per_s]
    }

    /// Standard deviations of bouts around the levels, walking first.
    pub(crate) fn bout_sds(&self) -> [f64; 2] {
        self.pair().map(|level| BOUT_SD_SHARE * level)
    }

    /// The levels within what people do.
    fn bounded(self) -> Self {
        let bounded = Self {
            walk_m_per_s: self.walk_m_per_s.min(FASTEST_WALK_M_PER_S),
            run_m_per_s: self.run_m_per_s.max(SLOWEST_RUN_M_PER_S),
        };
        let missing = (LEAST_GAP_M_PER_S - bounded.gap()).max(0.0);
        Self {
            walk_m_per_s: bounded.walk_m_per_s - 0.5 * missing,
            run_m_per_s: bounded.run_m_per_s + 0.5 * missing,
        }
    }

    /// Levels from the precision and the precision-weighted sum of each, drawn apart where they lie too close.
    fn solve(walk: Weighed, run: Weighed) -> Self {
        let free = Self { walk_m_per_s: walk.mean(), run_m_per_s: run.mean() };
        if free.gap() >= USUAL_GAP_M_PER_S {
            return free.bounded();
        }
        let tie = CLOSER_SD_M_PER_S.powi(-2);
        let (a, d) = (walk.precision + tie, run.precision + tie);
        let (x, y) = (walk.sum - tie * USUAL_GAP_M_PER_S, run.sum + tie * USUAL_GAP_M_PER_S);
        let determinant = a * d - tie * tie;
        Self { walk_m_per_s: (d * x + tie * y) / determinant, run_m_per_s: (a * y + tie * x) / determinant }
            .bounded()
    }
}

/// A sum of observations with their precisions; begins with the prior.
#[derive(Clone, Copy, Debug)]
struct Weighed {
    precision: f64,
    sum: f64,
}

impl Weighed {
    fn add(&mut self, value: f64, precision: f64) {
        self.precision += precision;
        self.sum += precision * value;
    }

    fn mean(&self) -> f64 {
        self.sum / self.precision
    }
}

/// What is expected of people before anything is known of this one.
#[derive(Clone, Copy, Debug)]
struct Expected {
    mean: [f64; 2],
    variance: [f64; 2],
}

impl Expected {
    fn new(settings: &SegmentSettings) -> Self {
        Self {
            mean: [settings.walk_level_m_per_s, settings.run_level_m_per_s],
            variance: [settings.walk_level_sd_m_per_s.powi(2), settings.run_level_sd_m_per_s.powi(2)],
        }
    }

    fn levels(&self) -> Levels {
        Levels { walk_m_per_s: self.mean[WALK], run_m_per_s: self.mean[RUN] }
    }

    fn weighed(&self, kind: usize) -> Weighed {
        let precision = 1.0 / self.variance[kind];
        Weighed { precision, sum: precision * self.mean[kind] }
    }

    /// Log density of the levels and of the difference between them, up to a constant.
    fn log_density(&self, levels: Levels) -> f64 {
        let pair = levels.pair();
        let off = |kind: usize| (pair[kind] - self.mean[kind]).powi(2) / self.variance[kind];
        let gap = ((levels.gap() / USUAL_GAP_M_PER_S).ln() / GAP_LOG_SD).powi(2);
        -0.5 * (off(WALK) + off(RUN) + gap)
    }
}

/// Levels by expectation–maximisation of a two-state hidden Markov chain over short blocks, from several starts,
/// with priors; a level that nobody used stays at its prior. The start with the best posterior wins, so that
/// "all running" and "all walking" are possible answers.
pub(crate) fn levels_of_speed(
    grid: &Grid,
    stretches: &[Range<usize>],
    noise_m2_per_s: f64,
    settings: &SegmentSettings,
) -> Levels {
    let expected = Expected::new(settings);
    let speeds = block_speeds(grid, stretches);
    if speeds.len() < LEAST_BLOCKS {
        return expected.levels();
    }
    let mut sorted = speeds.clone();
    sorted.sort_unstable_by(f64::total_cmp);
    let quantile = |share: f64| sorted[(share * (sorted.len() - 1) as f64) as usize];
    let middle = quantile(0.5);
    let starts = [
        Levels { walk_m_per_s: quantile(0.15), run_m_per_s: quantile(0.85) },
        Levels { walk_m_per_s: middle, run_m_per_s: expected.mean[RUN].max(middle + 0.5) },
        Levels { walk_m_per_s: expected.mean[WALK].min(middle - 0.4), run_m_per_s: middle },
    ];
    let mut chain = BlockChain::new(speeds.len());
    let mut best = (f64::NEG_INFINITY, expected.levels());
    for start in starts {
        let mut levels = start.bounded();
        let mut score = f64::NEG_INFINITY;
        for _ in 0..ROUNDS {
            score = OWN_SHARE * chain.expect(&speeds, levels, noise_m2_per_s) + expected.log_density(levels);
            let next = chain.maximise(&speeds, levels, noise_m2_per_s, &expected);
            let moved = (next.walk_m_per_s - levels.walk_m_per_s)
                .abs()
                .max((next.run_m_per_s - levels.run_m_per_s).abs());
            levels = next;
            if moved < SETTLED_M_PER_S {
                break;
            }
        }
        if score > best.0 {
            best = (score, levels);
        }
    }
    best.1
}

/// Levels from the seconds that cadence calls walked or run; where a kind is missing, what is expected.
pub(crate) fn levels_of_cadence(
    grid: &Grid,
    stretches: &[Range<usize>],
    evidence: &[f64],
    settings: &SegmentSettings,
) -> Levels {
    let expected = Expected::new(settings);
    let (mut walked, mut run) = (Vec::with_capacity(grid.len()), Vec::with_capacity(grid.len()));
    for stretch in stretches {
        let cells = grid.along_m[stretch.clone()].iter().zip(&grid.weight[stretch.clone()]);
        for ((&along_m, &weight), &nats) in cells.zip(&evidence[stretch.clone()]) {
            if weight == 0.0 {
                continue;
            }
            if nats > CADENCE_SURE_NATS {
                run.push(along_m);
            } else if nats < -CADENCE_SURE_NATS {
                walked.push(along_m);
            }
        }
    }
    let level = |speeds: &[f64]| (speeds.len() >= CADENCE_LEAST_S).then(|| median(speeds)).flatten();
    let apart = CADENCE_GAP_M_PER_S;
    let (walk_m_per_s, run_m_per_s) = match (level(&walked), level(&run)) {
        (Some(walk), Some(run)) => (walk, run.max(walk + apart)),
        (None, Some(run)) => (expected.mean[WALK].min(run - apart), run),
        (Some(walk), None) => (walk, expected.mean[RUN].max(walk + apart)),
        (None, None) => (expected.mean[WALK], expected.mean[RUN]),
    };
    Levels { walk_m_per_s, run_m_per_s }
}

/// Levels from the mean speed of each part, with the priors.
pub(crate) fn levels_of_parts(
    grid: &Grid,
    parts: &[Part],
    levels: Levels,
    noise_m2_per_s: f64,
    settings: &SegmentSettings,
) -> Levels {
    let expected = Expected::new(settings);
    let bout_sds = levels.bout_sds();
    let level = |kind: usize| {
        let mut weighed = expected.weighed(kind);
        for part in parts.iter().filter(|part| part.kind == kind && part.cells.len() > 2 * RAMP_S) {
            let inner = part.cells.start + RAMP_S..part.cells.end - RAMP_S;
            let (length_m, known_s) = grid.trusted(inner);
            if known_s > PART_KNOWN_S {
                weighed.add(length_m / known_s, 1.0 / (noise_m2_per_s / known_s + bout_sds[kind].powi(2)));
            }
        }
        weighed
    };
    Levels::solve(level(WALK), level(RUN))
}

/// Log odds that what was called walking and running are that, judged by their speeds alone: where only one kind was
/// found, by which kind people usually have at such a speed; where both were, by whether anyone walks so fast.
/// `None` where nothing was measured.
pub(crate) fn plausibility_log_odds(grid: &Grid, parts: &[Part], settings: &SegmentSettings) -> Option<f64> {
    let mean_speed = |kind: usize| {
        let of_kind = parts.iter().filter(|part| part.kind == kind && !part.stop);
        let (length_m, known_s) = of_kind.fold((0.0, 0.0), |(length_m, known_s), part| {
            let (more_m, more_s) = grid.trusted(part.cells.clone());
            (length_m + more_m, known_s + more_s)
        });
        (known_s > PART_KNOWN_S).then(|| length_m / known_s)
    };
    let expected = Expected::new(settings);
    let log_density = |kind: usize, speed: f64| {
        -0.5 * (speed - expected.mean[kind]).powi(2) / expected.variance[kind]
            - 0.5 * expected.variance[kind].ln()
    };
    match (mean_speed(WALK), mean_speed(RUN)) {
        (Some(walk), Some(_)) => Some((TOO_FAST_WALK_M_PER_S - walk) * TOO_FAST_NATS_PER_M_PER_S),
        (Some(walk), None) => Some(log_density(WALK, walk) - log_density(RUN, walk)),
        (None, Some(run)) => Some(log_density(RUN, run) - log_density(WALK, run)),
        (None, None) => None,
    }
}

fn block_speeds(grid: &Grid, stretches: &[Range<usize>]) -> Vec<f64> {
    let mut speeds = Vec::with_capacity(grid.len() / BLOCK_S);
    for stretch in stretches {
        for block in 0..stretch.len() / BLOCK_S {
            let start = stretch.start + block * BLOCK_S;
            speeds.extend(grid.speed_m_per_s(start..start + BLOCK_S, BLOCK_KNOWN_S));
        }
    }
    speeds
}

/// Forward–backward over blocks, with its buffers.
struct BlockChain {
    forward: Vec<[f64; 2]>,
    density: Vec<[f64; 2]>,
    run_share: Vec<f64>,
}

impl BlockChain {
    fn new(blocks: usize) -> Self {
        Self {
            forward: vec![[0.0; 2]; blocks],
            density: vec![[0.0; 2]; blocks],
            run_share: vec![0.0; blocks],
        }
    }

    /// Fills `run_share` and returns the log likelihood.
    fn expect(&mut self, speeds: &[f64], levels: Levels, noise_m2_per_s: f64) -> f64 {
        let change = 0.5 * (1.0 - (-2.0 * BLOCK_S as f64 / DWELL_S).exp());
        let stay = 1.0 - change;
        let variance = block_variance(levels, noise_m2_per_s);
        let (level, scale) = (levels.pair(), variance.map(|variance| -0.5 / variance));
        let log_norm = variance.map(|variance| -0.5 * variance.ln());
        let mut log_likelihood = 0.0;
        let mut product = 1.0;
        let mut state = [0.5, 0.5];
        for ((&speed, forward), density) in speeds.iter().zip(&mut self.forward).zip(&mut self.density) {
            let log_density = [0, 1].map(|kind| scale[kind] * (speed - level[kind]).powi(2) + log_norm[kind]);
            let top = log_density[WALK].max(log_density[RUN]);
            let other = exponential(log_density[WALK].min(log_density[RUN]) - top);
            *density = if log_density[RUN] > log_density[WALK] { [other, 1.0] } else { [1.0, other] };
            let joint = [
                density[WALK] * (state[WALK] * stay + state[RUN] * change),
                density[RUN] * (state[RUN] * stay + state[WALK] * change),
            ];
            let total = joint[WALK] + joint[RUN];
            state = joint.map(|value| value / total);
            *forward = state;
            log_likelihood += top;
            product *= total;
            if product < 1e-200 {
                log_likelihood += product.ln();
                product = 1.0;
            }
        }
        let mut backward = [1.0, 1.0];
        for index in (0..speeds.len()).rev() {
            let joint =
                [self.forward[index][WALK] * backward[WALK], self.forward[index][RUN] * backward[RUN]];
            self.run_share[index] = joint[RUN] / (joint[WALK] + joint[RUN]);
            let next = [self.density[index][WALK] * backward[WALK], self.density[index][RUN] * backward[RUN]];
            let scale = 1.0 / (next[WALK] + next[RUN]);
            backward = [
                (next[WALK] * stay + next[RUN] * change) * scale,
                (next[RUN] * stay + next[WALK] * change) * scale,
            ];
        }
        log_likelihood + product.ln()
    }

    /// New levels from `run_share`.
    fn maximise(&self, speeds: &[f64], levels: Levels, noise_m2_per_s: f64, expected: &Expected) -> Levels {
        let variance = block_variance(levels, noise_m2_per_s);
        let (mut runs, mut run_speed, mut all_speed) = (0.0, 0.0, 0.0);
        for (&speed, &run_share) in speeds.iter().zip(&self.run_share) {
            runs += run_share;
            run_speed += run_share * speed;
            all_speed += speed;
        }
        let weigh = |kind: usize, count: f64, sum: f64| {
            let mut weighed = expected.weighed(kind);
            if count > 0.0 {
                weighed.add(sum / count, count * OWN_SHARE / variance[kind]);
            }
            weighed
        };
        let walk = weigh(WALK, speeds.len() as f64 - runs, all_speed - run_speed);
        Levels::solve(walk, weigh(RUN, runs, run_speed))
    }
}

fn block_variance(levels: Levels, noise_m2_per_s: f64) -> [f64; 2] {
    levels.bout_sds().map(|sd| noise_m2_per_s / BLOCK_S as f64 + sd * sd)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn grid_of(speeds: impl Iterator<Item = f64>) -> Grid {
        let along_m: Vec<f64> = speeds.collect();
        Grid { weight: vec![1.0; along_m.len()], along_m, ..Grid::default() }
    }

    fn estimated(grid: &Grid) -> Levels {
        levels_of_speed(grid, std::slice::from_ref(&(0..grid.len())), 0.15, &SegmentSettings::default())
    }

    #[test]
    fn two_levels_are_found_and_one_level_leaves_the_other_at_its_prior() {
        let both = estimated(&grid_of((0..1200).map(|i| if i / 60 % 2 == 0 { 1.4 } else { 2.3 })));
        assert!((both.walk_m_per_s - 1.4).abs() < 0.05 && (both.run_m_per_s - 2.3).abs() < 0.05, "{both:?}");
        let walked = estimated(&grid_of((0..1200).map(|_| 1.5)));
        assert!((walked.walk_m_per_s - 1.5).abs() < 0.05 && walked.run_m_per_s > 2.0, "{walked:?}");
        let run = estimated(&grid_of((0..1200).map(|_| 2.6)));
        assert!((run.run_m_per_s - 2.6).abs() < 0.05 && run.walk_m_per_s < 1.6, "{run:?}");
    }

    #[test]
    fn levels_that_lie_too_close_are_drawn_apart() {
        let close = |mean: f64| Weighed { precision: 100.0, sum: 100.0 * mean };
        let levels = Levels::solve(close(1.5), close(1.7));
        assert!(levels.gap() > 0.35, "{levels:?}");
        assert!((levels.middle() - 1.6).abs() < 1e-9);
    }

    #[test]
    fn without_blocks_the_levels_are_the_expected_ones() {
        let levels = estimated(&Grid::default());
        assert_eq!(levels.pair(), [1.42, 2.15]);
    }
}

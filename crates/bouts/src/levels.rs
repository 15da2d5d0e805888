//! The walking and the running speed of this very person.

use crate::SegmentSettings;
use crate::grid::Grid;

/// Length of a block in seconds.
const BLOCK_S: usize = 5;
/// Expected seconds between changes of kind.
const DWELL_S: f64 = 90.0;
/// Rounds of re-estimation.
const ROUNDS: usize = 12;
/// Least difference between the two levels in metres per second: closer ones are one level.

/// Share of the information of a block that is its own: a bout shares its level.

/// Standard deviation of a bout's speed as a share of the person's level (3–5 % between bouts and 4 % within).
pub(crate) const BOUT_SD_SHARE: f64 = 0.06;

/// Speeds in metres per second, walking first.
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

    fn parted(self) -> Self {
        let cap = crate::tune::tune!("WALKCAP", 1.75);
        let this = self;
        let self_ = Self {
            walk_m_per_s: this.walk_m_per_s.min(cap),
            run_m_per_s: this.run_m_per_s.max(crate::tune::tune!("RUNFLOOR", 1.6)),
        };
        self_.parted2()
    }

    fn parted2(self) -> Self {
        let missing = crate::tune::tune!("LEASTGAP", 0.35) - self.gap();
        if missing <= 0.0 {
            return self;
        }
        Self {
            walk_m_per_s: self.walk_m_per_s - 0.5 * missing,
            run_m_per_s: self.run_m_per_s + 0.5 * missing,
        }
    }
}

/// Both levels from their precisions and precision-weighted sums, drawn apart where they lie closer than people's do.
pub(crate) fn drawn_apart(precision: [f64; 2], sum: [f64; 2]) -> Levels {
    let free = Levels { walk_m_per_s: sum[0] / precision[0], run_m_per_s: sum[1] / precision[1] };
    let usual = crate::tune::tune!("GAP0", 0.75);
    if free.gap() >= usual {
        return free.parted();
    }
    let tie = 1.0 / crate::tune::tune!("GAPSD", 0.15f64).powi(2);
    let (a, d) = (precision[0] + tie, precision[1] + tie);
    let (x, y) = (sum[0] - tie * usual, sum[1] + tie * usual);
    let determinant = a * d - tie * tie;
    Levels { walk_m_per_s: (d * x + tie * y) / determinant, run_m_per_s: (a * y + tie * x) / determinant }
        .parted()
}

/// What is expected of people before anything is known of this one.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Normal {
    pub(crate) mean: f64,
    pub(crate) variance: f64,
}

impl Normal {
    fn log_density(&self, value: f64) -> f64 {
        -0.5 * (value - self.mean).powi(2) / self.variance - 0.5 * self.variance.ln()
    }
}

/// Levels by expectation–maximisation of a two-state hidden Markov chain over short blocks, from several starts,
/// with priors; a level that nobody used stays at its prior. The start with the best posterior wins, so that
/// "all running" and "all walking" are possible answers.
///
/// `moving` says which cells count.
pub(crate) fn estimate_levels(
    grid: &Grid,
    moving: &[bool],
    noise_m2_per_s: f64,
    settings: &SegmentSettings,
) -> Levels {
    let priors = priors(settings);
    let expected = Levels { walk_m_per_s: priors[0].mean, run_m_per_s: priors[1].mean };
    let mut blocks: Vec<(f64, f64)> = Vec::with_capacity(grid.len() / BLOCK_S);
    let (mut sum_m, mut known_s, mut cells) = (0.0, 0.0, 0);
    for cell in 0..grid.len() {
        if moving[cell] {
            sum_m += grid.weight[cell] * grid.along_m[cell];
            known_s += grid.weight[cell];
            cells += 1;
        }
        if cells == BLOCK_S {
            if known_s > 0.4 * BLOCK_S as f64 {
                blocks.push((sum_m / known_s, known_s));
            }
            (sum_m, known_s, cells) = (0.0, 0.0, 0);
        }
    }
    if blocks.len() < 3 {
        return expected;
    }
    let mut speeds: Vec<f64> = blocks.iter().map(|block| block.0).collect();
    speeds.sort_unstable_by(f64::total_cmp);
    let quantile = |share: f64| speeds[(share * (speeds.len() - 1) as f64) as usize];
    let middle = quantile(0.5);
    let starts = [
        Levels { walk_m_per_s: quantile(0.15), run_m_per_s: quantile(0.85) },
        Levels { walk_m_per_s: middle, run_m_per_s: expected.run_m_per_s.max(middle + 0.5) },
        Levels { walk_m_per_s: expected.walk_m_per_s.min(middle - 0.4), run_m_per_s: middle },
    ];
    let mut chain = BlockChain::new(blocks.len());
    let mut best: Option<(f64, Levels)> = None;
    for start in starts {
        let mut levels = start.parted();
        let mut score = f64::NEG_INFINITY;
        for _ in 0..ROUNDS {
            let log_likelihood = chain.expect(&blocks, levels, noise_m2_per_s);
            score = crate::tune::tune!("OWN", 0.15) * log_likelihood
                + priors[0].log_density(levels.walk_m_per_s)
                + priors[1].log_density(levels.run_m_per_s)
                - crate::tune::tune!("GAPW", 1.0) * 0.5 * ((levels.gap() / 0.75).ln() / 0.45).powi(2);
            let next = chain.maximise(&blocks, levels, noise_m2_per_s, &priors).parted();
            let moved = (next.walk_m_per_s - levels.walk_m_per_s).abs()
                + (next.run_m_per_s - levels.run_m_per_s).abs();
            levels = next;
            if moved < 1e-3 {
                break;
            }
        }
        if best.is_none_or(|(best_score, _)| score > best_score) {
            best = Some((score, levels));
        }
    }
    best.map_or(expected, |(_, levels)| levels)
}

/// Priors of the walking and the running level.
pub(crate) fn priors(settings: &SegmentSettings) -> [Normal; 2] {
    [
        Normal { mean: settings.walk_level_m_per_s, variance: settings.walk_level_sd_m_per_s.powi(2) },
        Normal { mean: settings.run_level_m_per_s, variance: settings.run_level_sd_m_per_s.powi(2) },
    ]
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
    fn expect(&mut self, blocks: &[(f64, f64)], levels: Levels, noise_m2_per_s: f64) -> f64 {
        let change = 0.5 * (1.0 - (-2.0 * BLOCK_S as f64 / DWELL_S).exp());
        let mut log_likelihood = 0.0;
        let mut state = [0.5, 0.5];
        for (index, &(speed, known_s)) in blocks.iter().enumerate() {
            let log_density = [levels.walk_m_per_s, levels.run_m_per_s].map(|level| {
                let variance = block_variance(level, known_s, noise_m2_per_s);
                -0.5 * (speed - level).powi(2) / variance - 0.5 * variance.ln()
            });
            let top = log_density[0].max(log_density[1]);
            let density = log_density.map(|value| (value - top).exp());
            let joint = [
                density[0] * (state[0] * (1.0 - change) + state[1] * change),
                density[1] * (state[1] * (1.0 - change) + state[0] * change),
            ];
            let total = joint[0] + joint[1];
            log_likelihood += total.ln() + top;
            state = joint.map(|value| value / total);
            self.density[index] = density;
            self.forward[index] = state;
        }
        let mut backward = [1.0, 1.0];
        for index in (0..blocks.len()).rev() {
            let joint = [self.forward[index][0] * backward[0], self.forward[index][1] * backward[1]];
            self.run_share[index] = joint[1] / (joint[0] + joint[1]);
            let next = [self.density[index][0] * backward[0], self.density[index][1] * backward[1]];
            let total = next[0] + next[1];
            backward = [
                (next[0] * (1.0 - change) + next[1] * change) / total,
                (next[1] * (1.0 - change) + next[0] * change) / total,
            ];
        }
        log_likelihood
    }

    /// New levels from `run_share`.
    fn maximise(
        &self,
        blocks: &[(f64, f64)],
        levels: Levels,
        noise_m2_per_s: f64,
        priors: &[Normal; 2],
    ) -> Levels {
        let level_of = |kind: usize, level: f64| {
            let mut precision = 1.0 / priors[kind].variance;
            let mut sum = priors[kind].mean * precision;
            for (&(speed, known_s), &run_share) in blocks.iter().zip(&self.run_share) {
                let share = if kind == 1 { run_share } else { 1.0 - run_share };
                let weight =
                    crate::tune::tune!("OWN", 0.15) * share / block_variance(level, known_s, noise_m2_per_s);
                precision += weight;
                sum += weight * speed;
            }
            (precision, sum)
        };
        let (walk, run) = (level_of(0, levels.walk_m_per_s), level_of(1, levels.run_m_per_s));
        drawn_apart([walk.0, run.0], [walk.1, run.1])
    }
}

fn block_variance(level: f64, known_s: f64, noise_m2_per_s: f64) -> f64 {
    noise_m2_per_s / known_s + (BOUT_SD_SHARE * level).powi(2)
}

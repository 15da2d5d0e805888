//! Runs and walks that come back in turn: how long each lasts, before any of them is known.

use std::ops::Range;

use crate::fourier::powers;
use crate::grid::Grid;

/// Length of a block in seconds.
const BLOCK_S: usize = 5;
/// Least trusted seconds in a block.
const BLOCK_KNOWN_S: f64 = 3.0;
/// Shortest and longest time in seconds from one run to the next that is looked for.
const PERIODS_S: Range<f64> = 40.0..480.0;
/// A longer break counts as one of so many seconds: whoever goes on after it begins anew (own choice).
const LONGEST_BREAK_S: usize = 600;
/// Fewest times that it must come back.
const LEAST_TURNS: f64 = 3.0;

/// A run and a walk that keep coming back in turn.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Rhythm {
    /// Duration of a run in seconds.
    pub(crate) run_s: f64,
    /// Duration of a walk in seconds.
    pub(crate) walk_s: f64,
}

impl Rhythm {
    /// The strongest rhythm of a recording: the period with the most power, and that part of it which stands out most as the
    /// faster one when all turns are laid on top of each other; neither shorter than `least_s`, walking first. `None` where
    /// a recording is too short to show one.
    ///
    /// It says nothing of whether the rhythm is there: decoding decides that.
    pub(crate) fn strongest(grid: &Grid, stretches: &[Range<usize>], least_s: [usize; 2]) -> Option<Self> {
        let blocks = Blocks::new(grid, stretches);
        let period_s = blocks.strongest_period_s()?;
        let turn = blocks.folded(period_s);
        let bin_s = period_s / turn.len() as f64;
        let least_bins = least_s.map(|least_s| (least_s as f64 / bin_s).ceil() as usize);
        let run_s = faster_bins(&turn, least_bins)? as f64 * bin_s;
        Some(Self { run_s, walk_s: period_s - run_s })
    }
}

/// A sum of values and their number.
#[derive(Clone, Copy, Debug, Default)]
struct Sum {
    value: f64,
    count: f64,
}

impl Sum {
    fn add(self, other: Self) -> Self {
        Self { value: self.value + other.value, count: self.count + other.count }
    }
}

/// Speeds of blocks less the mean of all.
struct Blocks {
    /// Place in time of each known block, and its speed.
    known: Vec<(usize, f64)>,
    /// Number of blocks, known or not.
    count: usize,
}

impl Blocks {
    fn new(grid: &Grid, stretches: &[Range<usize>]) -> Self {
        let mut known: Vec<(usize, f64)> = Vec::new();
        // Seconds of long breaks that do not count, and the last second before the next break.
        let (mut left_out_s, mut last_s) = (0, 0);
        for stretch in stretches {
            let start_s = grid.timeline.second(stretch.start);
            let surplus_s = (start_s - last_s).saturating_sub(LONGEST_BREAK_S);
            left_out_s += surplus_s - surplus_s % BLOCK_S;
            last_s = start_s + stretch.len();
            for block in start_s.div_ceil(BLOCK_S)..last_s / BLOCK_S {
                let first = block * BLOCK_S - start_s + stretch.start;
                if let Some(speed) = grid.speed_m_per_s(first..first + BLOCK_S, BLOCK_KNOWN_S) {
                    known.push((block - left_out_s / BLOCK_S, speed));
                }
            }
        }
        let mean = known.iter().map(|(_, speed)| speed).sum::<f64>() / known.len() as f64;
        known.iter_mut().for_each(|(_, speed)| *speed -= mean);
        let end_s = grid.timeline.second(grid.len()).min(last_s + LONGEST_BREAK_S);
        Self { known, count: end_s.saturating_sub(left_out_s) / BLOCK_S }
    }

    /// Period in seconds of the sine that explains most.
    fn strongest_period_s(&self) -> Option<f64> {
        let lasting_s = (self.count * BLOCK_S) as f64;
        let slowest_hz = 1.0 / PERIODS_S.end.min(lasting_s / LEAST_TURNS);
        // A quarter of what a recording of this length tells apart.
        let step_hz = 0.25 / lasting_s;
        let steps = ((1.0 / PERIODS_S.start - slowest_hz) / step_hz).floor();
        if steps.is_nan() || steps < 1.0 || self.known.is_empty() {
            return None;
        }
        let mut speeds = vec![0.0; self.count];
        self.known.iter().for_each(|&(block, speed)| speeds[block] = speed);
        let block_s = BLOCK_S as f64;
        powers(&speeds, slowest_hz * block_s, step_hz * block_s, steps as usize + 1)
            .into_iter()
            .enumerate()
            .max_by(|a, b| a.1.total_cmp(&b.1))
            .map(|(step, _)| 1.0 / (slowest_hz + step as f64 * step_hz))
    }

    /// All turns of a period laid on top of each other, in bins of about a block.
    fn folded(&self, period_s: f64) -> Vec<Sum> {
        let bins = (period_s / BLOCK_S as f64).round() as usize;
        let mut turn = vec![Sum::default(); bins];
        for &(block, value) in &self.known {
            let turns = (block * BLOCK_S) as f64 / period_s;
            let bin = ((turns.fract() * bins as f64) as usize).min(bins - 1);
            turn[bin] = turn[bin].add(Sum { value, count: 1.0 });
        }
        turn
    }
}

/// Number of neighbouring bins that stand out most as faster than the others, in standard errors; neither they nor the others
/// are fewer than `least_bins`, walking first.
fn faster_bins(turn: &[Sum], least_bins: [usize; 2]) -> Option<usize> {
    let bins = turn.len();
    let [least_walk, least_run] = least_bins;
    let all = turn.iter().fold(Sum::default(), |sum, &bin| sum.add(bin));
    let mut best = (0.0, None);
    for start in 0..bins {
        let mut inside = Sum::default();
        for length in 1..=bins.saturating_sub(least_walk) {
            inside = inside.add(turn[(start + length - 1) % bins]);
            let outside = all.count - inside.count;
            if length < least_run || inside.count == 0.0 || outside == 0.0 {
                continue;
            }
            let rise = inside.value / inside.count - (all.value - inside.value) / outside;
            let contrast = rise * (inside.count * outside / all.count).sqrt();
            if contrast > best.0 {
                best = (contrast, Some(length));
            }
        }
    }
    best.1
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Walks and runs in turn at 1.4 and 2.2 m/s, and errors of 0.5 m a second from a fixed sequence.
    fn made(lead_s: usize, run_s: usize, walk_s: usize, turns: usize) -> Grid {
        let mut state = 1_u64;
        let mut error = || {
            state = state.wrapping_mul(6364136223846793005).wrapping_add(1442695040888963407);
            (state >> 40) as f64 / (1_u64 << 24) as f64 - 0.5
        };
        let mut along_m: Vec<f64> = vec![1.4; lead_s];
        for _ in 0..turns {
            along_m.extend(vec![2.2; run_s]);
            along_m.extend(vec![1.4; walk_s]);
        }
        along_m.iter_mut().for_each(|metres| *metres += 1.7 * error());
        Grid { weight: vec![1.0; along_m.len()], along_m, ..Grid::default() }
    }

    fn strongest(grid: &Grid) -> Option<Rhythm> {
        Rhythm::strongest(grid, std::slice::from_ref(&(0..grid.len())), [12, 13])
    }

    #[test]
    fn runs_and_walks_in_turn_show_their_durations() {
        for (lead_s, run_s, walk_s, turns) in
            [(300, 30, 60, 12), (0, 65, 85, 8), (180, 120, 90, 6), (300, 55, 65, 10)]
        {
            let Rhythm { run_s: run, walk_s: walk } = strongest(&made(lead_s, run_s, walk_s, turns)).unwrap();
            assert!((run - run_s as f64).abs() <= 10.0, "{run_s} s: {run}");
            assert!((walk - walk_s as f64).abs() <= 10.0, "{walk_s} s: {walk}");
        }
    }

    #[test]
    fn what_is_too_short_or_not_known_shows_none() {
        assert_eq!(strongest(&Grid::default()), None);
        assert_eq!(strongest(&made(30, 30, 30, 1)), None);
        let unknown = Grid { along_m: vec![1.4; 900], weight: vec![0.0; 900], ..Grid::default() };
        assert_eq!(strongest(&unknown), None);
    }
}

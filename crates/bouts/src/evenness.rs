//! How evenly a session went: what in its walks and runs does not fit their kind.
//!
//! A walk of a few seconds that was missed, a dip at a crossing and a steep way look much the same by speed. A session in
//! which there is none of that leaves little to be missed, and one of many paces leaves much.

use crate::Kind;
use crate::assemble::Piece;
use crate::grid::{Grid, median};

/// Length of a block in seconds: shorter than the shortest walk.
const BLOCK_S: usize = 10;
/// Number of blocks over which pace spreads: slow changes of pace, less of the noise.
const PACE_BLOCKS: usize = 2;
/// Number of blocks that a walk in a run, or a run in a walk, fills that is told from a dip.
const LONG_BLOCKS: usize = 3;
/// Number of blocks in which the heart falls in a walk, and after which it rises in a run (seen in open recordings: by 13 bpm in
/// a walk of 30–60 s).
const FALL_BLOCKS: usize = 4;
const RISE_BLOCKS: usize = 3;
/// Number of blocks at the start of a run, and of a walk, in which the heart follows what was before.
const RUN_START_BLOCKS: usize = 3;
const WALK_START_BLOCKS: usize = 4;
/// Share of a block that must be known.
const KNOWN_SHARE: f64 = 0.5;

/// What does not fit.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Evenness {
    /// Number of stands between two runs.
    pub(crate) stands_between: usize,
    /// Number of blocks of walks that are faster than the middle of the levels.
    pub(crate) fast_walk_blocks: usize,
    /// The fastest long block inside a walk.
    pub(crate) fastest_walk_m_per_s: Option<f64>,
    /// The slowest block inside a run.
    pub(crate) slowest_run_m_per_s: Option<f64>,
    /// How much slower a long block inside a run is than the whole of it, at most.
    pub(crate) slowing_m_per_s: f64,
    /// Standard deviation of the speeds of longer blocks of runs, noise included; 0 without runs.
    pub(crate) run_spread_m_per_s: f64,
    /// Standard deviation of the logarithms of the durations of runs: 0 where all last as long.
    pub(crate) run_log_spread: f64,
    /// Logarithm of how many times as long as their median the longest walk between two runs lasts.
    pub(crate) longest_walk_log: f64,
    /// Greatest fall of the heart rate inside a run, and greatest rise inside a walk; `None` where it is not known.
    pub(crate) heart_rate_bpm: Option<[f64; 2]>,
}

impl Evenness {
    /// Of a session in pieces with this middle of the levels.
    pub(crate) fn of(pieces: &[Piece], grid: &Grid, middle_m_per_s: f64) -> Self {
        let speed_m_per_s = |start: usize, blocks: usize| {
            let seconds = blocks * BLOCK_S;
            grid.speed_m_per_s(start..start + seconds, KNOWN_SHARE * seconds as f64)
        };
        let mut even = Self::default();
        let (mut paces, mut durations) = (Spread::default(), Spread::default());
        for piece in pieces.iter().filter(|piece| matches!(piece.kind, Kind::Run | Kind::Walk)) {
            let cells = &piece.cells;
            let is_run = piece.kind == Kind::Run;
            let own_m_per_s = grid.speed_m_per_s(cells.clone(), BLOCK_S as f64);
            // Speed changes in the first and the last block.
            let inside = |start: usize, blocks: usize| {
                start > cells.start && start + (blocks + 1) * BLOCK_S <= cells.end
            };
            let starts = cells.clone().step_by(BLOCK_S);
            for (block, start) in starts.take_while(|start| start + BLOCK_S <= cells.end).enumerate() {
                let short = speed_m_per_s(start, 1);
                if is_run {
                    if let Some(short) = short.filter(|_| inside(start, 1)) {
                        let slowest = even.slowest_run_m_per_s.unwrap_or(f64::INFINITY);
                        even.slowest_run_m_per_s = Some(slowest.min(short));
                    }
                    if block % PACE_BLOCKS == 0
                        && start + PACE_BLOCKS * BLOCK_S <= cells.end
                        && let Some(pace) = speed_m_per_s(start, PACE_BLOCKS)
                    {
                        paces.add(pace);
                    }
                } else {
                    even.fast_walk_blocks += usize::from(short.is_some_and(|short| short > middle_m_per_s));
                }
                if !inside(start, LONG_BLOCKS) {
                    continue;
                }
                let Some(long) = speed_m_per_s(start, LONG_BLOCKS) else { continue };
                if is_run {
                    let slowing = own_m_per_s.map_or(0.0, |own| own - long);
                    even.slowing_m_per_s = even.slowing_m_per_s.max(slowing);
                } else {
                    let fastest = even.fastest_walk_m_per_s.unwrap_or(0.0);
                    even.fastest_walk_m_per_s = Some(fastest.max(long));
                }
            }
            if is_run {
                durations.add((cells.len().max(1) as f64).ln());
            }
            even.follow_heart(piece, grid);
        }
        even.run_spread_m_per_s = paces.sd();
        even.run_log_spread = durations.sd();
        let mut walks_s = Vec::new();
        for three in
            pieces.windows(3).filter(|three| three[0].kind == Kind::Run && three[2].kind == Kind::Run)
        {
            match three[1].kind {
                Kind::Walk => walks_s.push(three[1].cells.len() as f64),
                Kind::Stand => even.stands_between += 1,
                _ => {}
            }
        }
        let longest_s = walks_s.iter().copied().fold(0.0, f64::max);
        even.longest_walk_log = median(&walks_s).map_or(0.0, |median_s| (longest_s / median_s).ln());
        even
    }

    /// Looks for a fall of the heart rate in a run and for a rise in a walk.
    fn follow_heart(&mut self, piece: &Piece, grid: &Grid) {
        let (first, after) = match piece.kind {
            Kind::Run => (RUN_START_BLOCKS, FALL_BLOCKS),
            _ => (WALK_START_BLOCKS, RISE_BLOCKS),
        };
        let is_run = piece.kind == Kind::Run;
        let reading = |cell: usize| grid.heart_rate_bpm.get(cell).map(|&bpm| f64::from(bpm));
        let starts = (piece.cells.start + first * BLOCK_S..piece.cells.end).step_by(BLOCK_S);
        for start in starts.take_while(|start| start + (after + 1) * BLOCK_S <= piece.cells.end) {
            let (Some(from), Some(to)) = (reading(start), reading(start + after * BLOCK_S)) else { break };
            if from.is_nan() || to.is_nan() {
                continue;
            }
            let [fall, rise] = self.heart_rate_bpm.get_or_insert_default();
            match is_run {
                true => *fall = fall.max(from - to),
                false => *rise = rise.max(to - from),
            }
        }
    }
}

/// Sums that a standard deviation is made of.
#[derive(Clone, Copy, Debug, Default)]
struct Spread {
    count: f64,
    sum: f64,
    squares: f64,
}

impl Spread {
    fn add(&mut self, value: f64) {
        self.count += 1.0;
        self.sum += value;
        self.squares += value * value;
    }

    /// 0 of fewer than two values.
    fn sd(&self) -> f64 {
        if self.count < 2.0 {
            return 0.0;
        }
        let mean = self.sum / self.count;
        (self.squares / self.count - mean * mean).max(0.0).sqrt()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    use Kind::{Run as RUN, Walk as WALK};

    /// Pieces of these speeds, one after the other.
    fn made(stretches: &[(Kind, &[(usize, f64)])]) -> (Grid, Vec<Piece>) {
        let mut grid = Grid::default();
        let mut parts = Vec::new();
        for &(kind, speeds) in stretches {
            let start = grid.along_m.len();
            for &(seconds, speed_m_per_s) in speeds {
                grid.along_m.extend(vec![speed_m_per_s; seconds]);
            }
            parts.push(Piece { kind, cells: start..grid.along_m.len(), confidence: 0.9 });
        }
        grid.weight = vec![1.0; grid.along_m.len()];
        (grid, parts)
    }

    fn evenness((grid, parts): (Grid, Vec<Piece>)) -> Evenness {
        Evenness::of(&parts, &grid, 1.9)
    }

    #[test]
    fn bouts_of_one_pace_are_even() {
        let even = evenness(made(&[
            (WALK, &[(120, 1.4)]),
            (RUN, &[(60, 2.4)]),
            (WALK, &[(60, 1.4)]),
            (RUN, &[(60, 2.4)]),
        ]));
        assert_eq!(even.fast_walk_blocks, 0);
        assert!((even.slowest_run_m_per_s.unwrap() - 2.4).abs() < 1e-9);
        assert!(even.run_spread_m_per_s < 1e-6 && even.run_log_spread < 1e-6, "{even:?}");
    }

    #[test]
    fn a_dip_in_a_run_shows_as_its_slowest_block_and_one_at_its_edge_does_not() {
        let dip = evenness(made(&[(RUN, &[(100, 2.4), (15, 1.3), (100, 2.4)])]));
        assert!((dip.slowest_run_m_per_s.unwrap() - 1.3).abs() < 1e-9, "{dip:?}");
        let ramp = evenness(made(&[(RUN, &[(10, 1.3), (100, 2.4)])]));
        assert!((ramp.slowest_run_m_per_s.unwrap() - 2.4).abs() < 1e-9, "{ramp:?}");
        assert_eq!(evenness(made(&[(RUN, &[(25, 2.4)])])).slowest_run_m_per_s, None);
    }

    #[test]
    fn a_climb_that_was_taken_for_a_walk_shows_as_fast_blocks_of_it() {
        let climb = evenness(made(&[(RUN, &[(100, 2.6)]), (WALK, &[(60, 1.95)]), (RUN, &[(100, 2.6)])]));
        assert_eq!(climb.fast_walk_blocks, 6);
        assert!((climb.fastest_walk_m_per_s.unwrap() - 1.95).abs() < 1e-9, "{climb:?}");
    }

    #[test]
    fn a_run_that_was_missed_in_a_walk_shows_as_its_fastest_block_and_one_at_its_edge_does_not() {
        let run = evenness(made(&[(WALK, &[(100, 1.4), (45, 2.5), (100, 1.4)])]));
        assert!((run.fastest_walk_m_per_s.unwrap() - 2.5).abs() < 1e-9, "{run:?}");
        let ramp = evenness(made(&[(WALK, &[(10, 2.5), (100, 1.4)])]));
        assert!((ramp.fastest_walk_m_per_s.unwrap() - 1.4).abs() < 1e-9, "{ramp:?}");
    }

    #[test]
    fn paces_and_durations_spread() {
        let paces = evenness(made(&[(RUN, &[(200, 2.0), (200, 2.8)])]));
        assert!((paces.run_spread_m_per_s - 0.4).abs() < 0.01, "{paces:?}");
        let lasting = evenness(made(&[(RUN, &[(100, 2.4)]), (WALK, &[(60, 1.4)]), (RUN, &[(400, 2.4)])]));
        assert!((lasting.run_log_spread - 2.0_f64.ln()).abs() < 1e-9, "{lasting:?}");
    }

    #[test]
    fn a_long_dip_in_a_run_shows_against_the_whole_of_it() {
        let dip = evenness(made(&[(RUN, &[(200, 2.8), (40, 2.0), (160, 2.8)])]));
        assert!((dip.slowing_m_per_s - 0.72).abs() < 1e-9, "{dip:?}");
    }

    #[test]
    fn a_walk_that_lasts_longer_than_the_others_shows_and_stands_between_runs_count() {
        let runs = (RUN, &[(60, 2.4)][..]);
        let walk = |seconds| (WALK, vec![(seconds, 1.4)]);
        let [short, long] = [walk(60), walk(180)];
        let missed = [runs, (WALK, &short.1), runs, (WALK, &long.1), runs, (WALK, &short.1), runs];
        let even = evenness(made(&missed));
        assert!((even.longest_walk_log - 3.0_f64.ln()).abs() < 1e-9, "{even:?}");
        let stopped = evenness(made(&[runs, (Kind::Stand, &[(20, 0.0)]), runs, (WALK, &short.1), runs]));
        assert_eq!(stopped.stands_between, 1);
    }

    #[test]
    fn a_heart_that_falls_in_a_run_or_rises_in_a_walk_shows_and_one_that_is_not_known_does_not() {
        let (mut grid, pieces) = made(&[(RUN, &[(200, 2.4)]), (WALK, &[(200, 1.4)])]);
        let bpm = |second: i32| match second {
            ..200 => 160 - (second - 80).clamp(0, 20) / 2 + (second - 120).clamp(0, 20) / 2,
            _ => 160 - (second - 200).min(60) / 2 + (second - 300).clamp(0, 30) / 2,
        };
        grid.heart_rate_bpm = (0..400).map(|second| bpm(second) as f32).collect();
        let [fall, rise] = Evenness::of(&pieces, &grid, 1.9).heart_rate_bpm.unwrap();
        assert_eq!([fall, rise], [10.0, 15.0]);
        assert_eq!(evenness(made(&[(RUN, &[(200, 2.4)])])).heart_rate_bpm, None);
    }

    #[test]
    fn nothing_is_even() {
        assert_eq!(evenness(made(&[])), Evenness::default());
        let (mut grid, parts) = made(&[(RUN, &[(100, 2.4)])]);
        grid.weight.fill(0.0);
        assert_eq!(evenness((grid, parts)).slowest_run_m_per_s, None);
    }
}

//! How evenly a session went: what in its walks and runs does not fit their kind.
//!
//! A walk of a few seconds that was missed, a dip at a crossing and a steep way look much the same by speed. A session in
//! which there is none of that leaves little to be missed, and one of many paces leaves much.

use crate::decode::Part;
use crate::evidence::{RUN, WALK};
use crate::grid::Grid;

/// Length of a block in seconds: shorter than the shortest walk.
const BLOCK_S: usize = 10;
/// So many seconds lie between the beginnings of blocks.
const STRIDE_S: usize = 5;
/// Length in seconds of the blocks whose speeds spread: slow changes of pace, less of the noise.
const PACE_BLOCK_S: usize = 20;
/// So many seconds lie between their beginnings.
const PACE_STRIDE_S: usize = 10;
/// Share of a block that must be known.
const KNOWN_SHARE: f64 = 0.5;
/// Seconds at each end of a part that are left out for its slowest or fastest block: speed changes there.
const RAMP_S: usize = 10;

/// What does not fit.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Evenness {
    /// Number of blocks of walks that are faster than the middle of the levels.
    pub(crate) fast_walk_blocks: usize,
    /// The fastest block inside a walk.
    pub(crate) fastest_walk_m_per_s: Option<f64>,
    /// The slowest block inside a run.
    pub(crate) slowest_run_m_per_s: Option<f64>,
    /// Standard deviation of the speeds of longer blocks of runs, noise included; 0 without runs.
    pub(crate) run_spread_m_per_s: f64,
    /// Standard deviation of the logarithms of the durations of runs: 0 where all last as long.
    pub(crate) run_log_spread: f64,
}

impl Evenness {
    /// Of the walks and runs of a session with this middle of the levels.
    pub(crate) fn of(parts: &[Part], grid: &Grid, middle_m_per_s: f64) -> Self {
        let speed = |start: usize, seconds: usize| {
            grid.speed_m_per_s(start..start + seconds, KNOWN_SHARE * seconds as f64)
        };
        let mut even = Self::default();
        let (mut paces, mut durations) = (Spread::default(), Spread::default());
        for part in parts.iter().filter(|part| !part.stop) {
            let end = part.cells.end;
            let starts = part.cells.clone().step_by(STRIDE_S);
            for start in starts.take_while(|start| start + BLOCK_S <= end) {
                let Some(block_m_per_s) = speed(start, BLOCK_S) else { continue };
                if part.kind == WALK {
                    even.fast_walk_blocks += usize::from(block_m_per_s > middle_m_per_s);
                    if start >= part.cells.start + RAMP_S && start + BLOCK_S + RAMP_S <= end {
                        let fastest = even.fastest_walk_m_per_s.unwrap_or(0.0);
                        even.fastest_walk_m_per_s = Some(fastest.max(block_m_per_s));
                    }
                } else if start >= part.cells.start + RAMP_S && start + BLOCK_S + RAMP_S <= end {
                    let slowest = even.slowest_run_m_per_s.unwrap_or(f64::INFINITY);
                    even.slowest_run_m_per_s = Some(slowest.min(block_m_per_s));
                }
            }
            if part.kind == RUN {
                durations.add((part.cells.len().max(1) as f64).ln());
                let starts = part.cells.clone().step_by(PACE_STRIDE_S);
                for start in starts.take_while(|start| start + PACE_BLOCK_S <= end) {
                    if let Some(pace_m_per_s) = speed(start, PACE_BLOCK_S) {
                        paces.add(pace_m_per_s);
                    }
                }
            }
        }
        even.run_spread_m_per_s = paces.sd();
        even.run_log_spread = durations.sd();
        even
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

    /// Parts of one speed each, one after the other.
    fn made(stretches: &[(usize, &[(usize, f64)])]) -> (Grid, Vec<Part>) {
        let mut grid = Grid::default();
        let mut parts = Vec::new();
        for &(kind, speeds) in stretches {
            let start = grid.along_m.len();
            for &(seconds, speed_m_per_s) in speeds {
                grid.along_m.extend(vec![speed_m_per_s; seconds]);
            }
            parts.push(Part { kind, stop: false, cells: start..grid.along_m.len(), probability: 0.9 });
        }
        grid.weight = vec![1.0; grid.along_m.len()];
        (grid, parts)
    }

    fn evenness((grid, parts): (Grid, Vec<Part>)) -> Evenness {
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
        assert_eq!(climb.fast_walk_blocks, 11);
        assert!((climb.fastest_walk_m_per_s.unwrap() - 1.95).abs() < 1e-9, "{climb:?}");
    }

    #[test]
    fn a_run_that_was_missed_in_a_walk_shows_as_its_fastest_block_and_one_at_its_edge_does_not() {
        let run = evenness(made(&[(WALK, &[(100, 1.4), (15, 2.5), (100, 1.4)])]));
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
    fn nothing_is_even() {
        assert_eq!(evenness(made(&[])), Evenness::default());
        let (mut grid, parts) = made(&[(RUN, &[(100, 2.4)])]);
        grid.weight.fill(0.0);
        assert_eq!(evenness((grid, parts)).slowest_run_m_per_s, None);
    }
}

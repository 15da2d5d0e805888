//! The noise of this very recording.

use std::ops::Range;

use crate::grid::{Grid, SD_PER_MAD, median};

/// Fewest differences that tell anything.
const LEAST_DIFFERENCES: usize = 8;
/// Share of a block that must be known.
const KNOWN_SHARE: f64 = 0.8;
/// Length of a block in seconds where there is a point a second: errors of neighbouring seconds partly cancel.
const QUICK_BLOCK_S: usize = 5;
/// A block holds at least this many steps of the recording.
const BLOCK_STEPS: f64 = 4.0;
/// Length of the blocks that show slow errors, in seconds.
const SLOW_BLOCK_S: usize = 20;
/// Share of the slow noise that counts while decoding.
const SLOW_SHARE: f64 = 0.8;
/// Ways to lay blocks over a whole recording (own choice: with more, what is found hardly changes).
const PHASES: usize = 5;
/// A part must hold this many blocks to say anything about the noise.
const PART_BLOCKS: usize = 3;
/// Seconds at each end of a part that are left out: speed changes there.
const RAMP_S: usize = 3;
/// Least long-run noise in m²/s: below it people vary more than positions do.
const FLOOR_M2_PER_S: f64 = 0.15;
/// Long-run noise in m²/s where nothing tells (a middling receiver).
const UNKNOWN_M2_PER_S: f64 = 0.4;

/// Long-run noise of the displacement along the track in m²/s: the variance of a sum of displacements grows by so
/// much each second. Positions err together over tens of seconds, so that the variance of single seconds says
/// little about the sums that decide.
///
/// Half the variance of the differences between neighbouring block means, times the length of a block; robust
/// through the median, so that the few blocks at edges of bouts do not count. `None` where there are too few.
///
/// Blocks begin where a stretch does and `phases` - 1 times more, so many evenly spread parts of a block later: then it hardly
/// matters in which second of a session its recording began.
pub(crate) fn long_run_noise(
    grid: &Grid,
    within: impl Iterator<Item = Range<usize>> + Clone,
    block_s: usize,
    phases: usize,
) -> Option<f64> {
    let mut differences: Vec<f64> = Vec::with_capacity(phases * grid.len() / block_s);
    let phased = (0..phases).flat_map(|phase| {
        let late_s = phase * block_s / phases;
        within.clone().map(move |cells| (cells.start + late_s).min(cells.end)..cells.end)
    });
    let least_known_s = KNOWN_SHARE * block_s as f64;
    for cells in phased {
        let sums = &grid.sums()[cells.start..=cells.end];
        let (mut from_m, mut from_s) = sums[0];
        let mut before = f64::NAN;
        for at in (block_s..sums.len()).step_by(block_s) {
            let (to_m, to_s) = sums[at];
            let (length_m, known_s) = (to_m - from_m, to_s - from_s);
            let mean = if known_s > least_known_s { length_m / known_s } else { f64::NAN };
            let difference = (mean - before).abs();
            if !difference.is_nan() {
                differences.push(difference);
            }
            (before, from_m, from_s) = (mean, to_m, to_s);
        }
    }
    if differences.len() < LEAST_DIFFERENCES * phases {
        return None;
    }
    let sd = SD_PER_MAD * median(&differences)?;
    Some(0.5 * block_s as f64 * sd * sd)
}

/// The noise that decoding counts with.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Noise {
    /// Length of the blocks that it was taken over, in seconds.
    pub(crate) block_s: usize,
    whole_m2_per_s: f64,
    /// Long-run noise in m²/s.
    pub(crate) m2_per_s: f64,
}

impl Noise {
    /// The noise of a whole recording, nothing being known of its bouts: over blocks that hold several steps.
    pub(crate) fn of_recording(grid: &Grid) -> Self {
        let steps_s = grid.step_s.iter().filter(|&&step_s| step_s > 0.0).map(|&step_s| f64::from(step_s));
        // Mostly all are as long.
        let step_s = match steps_s.clone().next() {
            Some(first_s) if steps_s.clone().all(|step_s| step_s == first_s) => first_s,
            _ => median(&steps_s.collect::<Vec<f64>>()).unwrap_or(1.0),
        };
        Self::over_blocks(grid, QUICK_BLOCK_S.max((BLOCK_STEPS * step_s).round() as usize))
    }

    /// The same over the shortest blocks. Where steps are long it shows too little of the noise, but also less of the bouts
    /// themselves, if they are short.
    pub(crate) fn quick(self, grid: &Grid) -> Self {
        if self.block_s == QUICK_BLOCK_S { self } else { Self::over_blocks(grid, QUICK_BLOCK_S) }
    }

    fn over_blocks(grid: &Grid, block_s: usize) -> Self {
        let noise = long_run_noise(grid, grid.pieces(block_s), block_s, PHASES);
        let whole_m2_per_s = noise.unwrap_or(UNKNOWN_M2_PER_S).max(FLOOR_M2_PER_S);
        Self { block_s, whole_m2_per_s, m2_per_s: whole_m2_per_s }
    }

    /// The same with what is seen within parts: their own noise, and slow errors that no whole block shows.
    pub(crate) fn refined(self, grid: &Grid, parts: impl Iterator<Item = Range<usize>> + Clone) -> Self {
        let inner = |block_s: usize| {
            parts
                .clone()
                .filter(move |cells| cells.len() > PART_BLOCKS * block_s)
                .map(|cells| cells.start + RAMP_S..cells.end - RAMP_S)
        };
        let quick_m2_per_s = match long_run_noise(grid, inner(self.block_s), self.block_s, 1) {
            Some(within) => 0.5 * (self.whole_m2_per_s + within),
            None => self.m2_per_s,
        };
        let slow_m2_per_s = long_run_noise(grid, inner(SLOW_BLOCK_S), SLOW_BLOCK_S, 1).unwrap_or(0.0);
        let m2_per_s = quick_m2_per_s.max(SLOW_SHARE * slow_m2_per_s).max(FLOOR_M2_PER_S);
        Self { m2_per_s, ..self }
    }

    /// Long-run noise in m²/s, or what slow errors over the whole recording show where that is more.
    pub(crate) fn with_slow_errors(self, grid: &Grid) -> f64 {
        let slow_m2_per_s = long_run_noise(grid, grid.pieces(SLOW_BLOCK_S), SLOW_BLOCK_S, PHASES);
        slow_m2_per_s.map_or(self.m2_per_s, |slow_m2_per_s| slow_m2_per_s.max(self.m2_per_s))
    }
}

#[cfg(test)]
mod tests {
    use std::iter::once;

    use super::*;

    /// Displacements of 2 m with alternating errors drawn from a fixed linear congruential sequence.
    fn noisy(sd_m: f64) -> Grid {
        let mut state = 12345_u64;
        let mut uniform = || {
            state = state.wrapping_mul(6364136223846793005).wrapping_add(1442695040888963407);
            (state >> 11) as f64 / (1_u64 << 53) as f64
        };
        let along_m: Vec<f64> =
            (0..100_000).map(|_| 2.0 + sd_m * ((0..12).map(|_| uniform()).sum::<f64>() - 6.0)).collect();
        Grid {
            weight: vec![1.0; along_m.len()],
            step_s: vec![1.0; along_m.len()],
            along_m,
            ..Grid::default()
        }
    }

    #[test]
    fn white_increments_give_their_own_variance_at_every_block_length() {
        let grid = noisy(0.6);
        for (block_s, tolerance) in [(5, 0.1), (10, 0.1), (20, 0.15)] {
            let noise = long_run_noise(&grid, once(0..grid.len()), block_s, PHASES).unwrap_or(0.0);
            assert!((noise / 0.36 - 1.0).abs() < tolerance, "{block_s} s: {noise}");
        }
    }

    #[test]
    fn a_few_edges_do_not_raise_the_noise() {
        let mut grid = noisy(0.6);
        (0..100_000).filter(|cell| cell / 90 % 2 == 0).for_each(|cell| grid.along_m[cell] -= 0.8);
        let noise = long_run_noise(&grid, once(0..grid.len()), 5, PHASES).unwrap_or(0.0);
        assert!((noise / 0.36 - 1.0).abs() < 0.3, "{noise}");
    }

    #[test]
    fn too_little_tells_nothing() {
        assert_eq!(long_run_noise(&Grid::default(), once(0..0), 5, PHASES), None);
        assert_eq!(Noise::of_recording(&Grid::default()).m2_per_s, UNKNOWN_M2_PER_S);
    }
}

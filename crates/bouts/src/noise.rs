//! The noise of this very recording.

use std::ops::Range;

use crate::grid::{Grid, SD_PER_MAD, median};

/// Long-run noise in m²/s where there are too few blocks to tell (a middling receiver).
const UNKNOWN_M2_PER_S: f64 = 0.4;
/// Fewer differences than this tell nothing.
const LEAST_DIFFERENCES: usize = 8;

/// Long-run noise of the displacement along the track, in m²/s: the variance of a sum of displacements grows by
/// it each second. Robust: from the median absolute difference of neighbouring block means, so that the few
/// blocks at edges of bouts do not count.
pub(crate) fn long_run_noise(grid: &Grid, within: &[Range<usize>], block_s: usize) -> Option<f64> {
    let mut differences: Vec<f64> = Vec::new();
    for range in within {
        let mut before: Option<f64> = None;
        for block in 0..range.len() / block_s {
            let start = range.start + block * block_s;
            let cells = start..start + block_s;
            let known_s: f64 = grid.weight[cells.clone()].iter().sum();
            let length_m: f64 = cells.map(|cell| grid.along_m[cell] * grid.weight[cell]).sum();
            let mean = (known_s > 0.8 * block_s as f64).then(|| length_m / known_s);
            if let (Some(before), Some(mean)) = (before, mean) {
                differences.push((mean - before).abs());
            }
            before = mean;
        }
    }
    if differences.len() < LEAST_DIFFERENCES {
        return None;
    }
    let sd = SD_PER_MAD * median(&mut differences)?;
    Some(0.5 * block_s as f64 * sd * sd)
}

pub(crate) fn unknown() -> f64 {
    UNKNOWN_M2_PER_S
}

//! The noise of this very recording.

use crate::grid::{Grid, SD_PER_MAD, median};

/// Length of a block in seconds: positions err together over tens of seconds, so that the variance of single
/// seconds says little about the sums that decide.
const BLOCK_S: usize = 10;
/// Least long-run noise in m²/s: below it the person varies more than the position.
const FLOOR_M2_PER_S: f64 = 0.15;
/// Long-run noise in m²/s where there are too few blocks to tell (a middling receiver).
const UNKNOWN_M2_PER_S: f64 = 0.4;
/// Fewer differences than this tell nothing.
const LEAST_DIFFERENCES: usize = 5;

/// Long-run noise of the displacement along the track, in m²/s: the variance of a sum of displacements grows by
/// it each second. Robust: from the median absolute difference of neighbouring block means, so that the few
/// blocks at edges of bouts do not count.
pub(crate) fn long_run_noise(grid: &Grid) -> f64 {
    let means: Vec<Option<f64>> = (0..grid.len() / BLOCK_S)
        .map(|block| {
            let cells = block * BLOCK_S..(block + 1) * BLOCK_S;
            let known_s: f64 = grid.weight[cells.clone()].iter().sum();
            let length_m: f64 = cells.map(|cell| grid.along_m[cell] * grid.weight[cell]).sum();
            (known_s > 0.8 * BLOCK_S as f64).then(|| length_m / known_s)
        })
        .collect();
    let mut differences: Vec<f64> =
        means.windows(2).filter_map(|pair| Some((pair[1]? - pair[0]?).abs())).collect();
    if differences.len() < LEAST_DIFFERENCES {
        return UNKNOWN_M2_PER_S;
    }
    let Some(mad) = median(&mut differences) else {
        return UNKNOWN_M2_PER_S;
    };
    let sd = SD_PER_MAD * mad;
    (0.5 * BLOCK_S as f64 * sd * sd).max(FLOOR_M2_PER_S)
}

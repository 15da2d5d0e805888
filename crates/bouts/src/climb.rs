//! How fast it would have been on the level.
//!
//! A steep way slows a runner to the speed of a walk, and recorded heights tell where it was steep. Walks and runs are told
//! apart by the speed that the same effort gives on the level; what is stated of them stays as it was measured.

use std::cell::OnceCell;
use std::ops::Range;

use boutwise_track::Points;

use crate::grid::{Grid, SD_PER_MAD, median};

/// Length of a block in seconds.
const BLOCK_S: usize = 10;
/// So many blocks to each side of one belong to its gradient: heights are rough, and what a receiver filters comes late.
const REACH: usize = 1;
/// A way no steeper than this slows nobody, as a share: heights in whole metres err as much (own choice).
const GENTLE: f64 = 0.03;
/// On a steeper way speed falls no further (own choice).
const STEEPEST: f64 = 0.12;
/// How much faster it would have been on the level, as a share for each unit of gradient beyond a gentle one. Where it is
/// steeper than 8 %, runs of three open recordings are 5, 19 and 24 % slower and walks no slower: 14 % at 10 % lies between,
/// and spares the walks. With 3 as many counts are right on invented recordings.
const SLOWING: f64 = 2.0;
/// Least speed by which a rise is divided, in m/s: who hardly moves does not climb.
const LEAST_M_PER_S: f64 = 0.7;
/// Share of the seconds around a block that must be known.
const KNOWN_SHARE: f64 = 0.5;
/// So many standard deviations of what heights err count for no rise: a walk on the level is not to become faster.
const NOISE_SDS: f64 = 2.0;

/// The grid with the metres that the same effort makes on the level, where these are not the same.
pub(crate) fn on_the_level(grid: &Grid, points: &Points, times_s: &[f64], gap_s: f64) -> Option<Grid> {
    let heights_m = heights(grid, points.elevation_m(), times_s, gap_s);
    let around = 2 * REACH + 1;
    let rises_m =
        || heights_m.iter().zip(heights_m.get(around..).unwrap_or_default()).map(|(from, to)| to - from);
    let least_m = GENTLE * LEAST_M_PER_S * (around * BLOCK_S) as f64;
    if !rises_m().any(|rise_m| rise_m > least_m) {
        return None;
    }
    let bends_m = heights_m.windows(3).map(|three| (three[2] - 2.0 * three[1] + three[0]).abs());
    let bends_m: Vec<f64> = bends_m.filter(|bend_m| !bend_m.is_nan()).collect();
    // Errors that last for most of a minute bend three heights by as much as they raise the last of four above the first.
    let error_m = NOISE_SDS * SD_PER_MAD * median(&bends_m)?;
    let mut along_m = grid.along_m.clone();
    let mut differs = false;
    for (block, rise_m) in rises_m().enumerate().filter(|(_, rise_m)| *rise_m > error_m) {
        let cells = |blocks: Range<usize>| blocks.start * BLOCK_S..(blocks.end * BLOCK_S).min(grid.len());
        let near = cells(block..block + around);
        let seconds = near.len() as f64;
        let Some(speed_m_per_s) = grid.speed_m_per_s(near, KNOWN_SHARE * seconds) else { continue };
        let gradient = (rise_m - error_m) / (speed_m_per_s.max(LEAST_M_PER_S) * seconds);
        if gradient > GENTLE {
            let faster = 1.0 + SLOWING * (gradient.min(STEEPEST) - GENTLE);
            along_m[cells(block + REACH..block + REACH + 1)]
                .iter_mut()
                .for_each(|along_m| *along_m *= faster);
            differs = true;
        }
    }
    differs.then(|| Grid { along_m, sums: OnceCell::new(), ..grid.clone() })
}

/// Heights at the beginnings of blocks, linear between points up to `gap_s` apart; NaN where they are not known.
fn heights(grid: &Grid, elevation_m: &[f64], times_s: &[f64], gap_s: f64) -> Vec<f64> {
    let mut next = 0;
    let mut height_m = |second: f64| {
        next += times_s[next..].iter().take_while(|&&time_s| time_s <= second).count();
        let Some(last) = next.checked_sub(1) else { return f64::NAN };
        let (from_s, from_m) = (times_s[last], elevation_m[last]);
        match times_s.get(next) {
            _ if from_s == second => from_m,
            Some(&to_s) if to_s - from_s <= gap_s => {
                from_m + (elevation_m[next] - from_m) * (second - from_s) / (to_s - from_s)
            }
            _ => f64::NAN,
        }
    };
    (0..=grid.len()).step_by(BLOCK_S).map(|cell| height_m(grid.timeline.second(cell) as f64)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use boutwise_track::Point;

    /// Ten minutes at a speed, a point a second, `height_m` high.
    fn on_the_level_of(speed_m_per_s: f64, height_m: impl Fn(usize) -> Option<f64>) -> Option<Grid> {
        let cells = 600;
        let grid = Grid {
            duration_s: cells as f64,
            along_m: vec![speed_m_per_s; cells],
            weight: vec![1.0; cells],
            ..Grid::default()
        };
        let point = |second| Point { elevation_m: height_m(second), ..Point::default() };
        let points: Points = (0..=cells).map(point).collect();
        let times_s: Vec<f64> = (0..=cells).map(|second| second as f64).collect();
        on_the_level(&grid, &points, &times_s, 20.0)
    }

    /// Climbs from the 200th second to the 300th.
    fn climb(second: usize, m_per_s: f64) -> f64 {
        50.0 + m_per_s * (second.clamp(200, 300) - 200) as f64
    }

    #[test]
    fn a_climb_counts_for_more_and_what_is_level_stays() {
        let level = on_the_level_of(1.8, |second| Some(climb(second, 0.18))).unwrap();
        let speed_m_per_s = |cells: Range<usize>| level.speed_m_per_s(cells, 1.0).unwrap();
        assert!((speed_m_per_s(220..280) - 1.8 * 1.14).abs() < 1e-6, "{}", speed_m_per_s(220..280));
        assert!((speed_m_per_s(0..190) - 1.8).abs() < 1e-6 && (speed_m_per_s(310..600) - 1.8).abs() < 1e-6);
        let steeper = on_the_level_of(1.8, |second| Some(climb(second, 0.9))).unwrap();
        assert!(steeper.along_m.iter().all(|along_m| *along_m <= 1.8 * 1.18 + 1e-9));
    }

    #[test]
    fn gentle_ways_descents_and_heights_that_are_not_known_change_nothing() {
        assert!(on_the_level_of(1.8, |second| Some(climb(second, 0.04))).is_none());
        assert!(on_the_level_of(1.8, |second| Some(climb(second, -0.18))).is_none());
        assert!(on_the_level_of(1.8, |_| None).is_none());
        assert!(on_the_level_of(1.8, |second| (second % 60 == 0).then(|| climb(second, 0.18))).is_none());
    }

    #[test]
    fn heights_that_err_by_metres_make_no_climbs() {
        let rough =
            |second: usize| Some(50.0 + 4.0 * ((second as f64 * 0.31).sin() + (second as f64 * 0.083).sin()));
        let raised =
            on_the_level_of(1.5, rough).map_or(1.5, |level| level.speed_m_per_s(0..600, 1.0).unwrap());
        assert!(raised < 1.5 * 1.02, "{raised}");
    }
}

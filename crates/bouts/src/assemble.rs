//! Makes bouts, with what was measured in them, of cells.

use std::ops::Range;

use boutwise_track::Points;

use crate::grid::Grid;
use crate::statistics::count;
use crate::{Bout, Kind, Series};

/// The last seconds of a bout that give its final heart rate.
const HEART_RATE_END_S: f64 = 5.0;
/// Half-width in seconds of the mean that filters the speed series.
const SPEED_HALF_WIDTH_S: usize = 4;
/// A stand's displacement within this many standard deviations of what noise alone makes is none.
const DRIFT_SDS: f64 = 3.0;

/// A piece of a session of one kind, as cells.
#[derive(Clone, Debug)]
pub(crate) struct Piece {
    pub(crate) kind: Kind,
    pub(crate) cells: Range<usize>,
    pub(crate) confidence: f64,
}

/// Bouts of pieces that lie in order and cover the grid. The first begins with the first point, the last ends with the last
/// one, and edges of gaps lie exactly on points.
pub(crate) fn bouts(
    points: &Points,
    times_s: &[f64],
    grid: &Grid,
    pieces: &[Piece],
    noise_m2_per_s: f64,
) -> Vec<Bout> {
    let mut bouts: Vec<Bout> = Vec::with_capacity(pieces.len());
    let mut first = 0;
    for Piece { kind, cells, confidence } in pieces {
        let start_s = bouts.last().map_or(0.0, |bout| bout.end_s);
        let end_s = exact_s(grid, cells.end);
        if end_s <= start_s {
            continue;
        }
        // The points of the bout, and those of its last seconds.
        let index = |from: usize, time_s: f64| from + times_s[from..].partition_point(|&s| s < time_s);
        let within = first..index(first, end_s);
        let at_the_end = index(first, end_s - HEART_RATE_END_S).min(within.end)..within.end;
        first = within.end;
        bouts.push(Bout {
            kind: *kind,
            start_s,
            end_s,
            distance_m: distance_m(grid, *kind, cells.clone(), noise_m2_per_s),
            heart_rate_mean_bpm: mean_above(&points.heart_rate_bpm()[within.clone()], f64::NEG_INFINITY),
            heart_rate_end_bpm: mean_above(&points.heart_rate_bpm()[at_the_end], f64::NEG_INFINITY),
            // A zero on the move is a dropout of the sensor.
            cadence_spm: mean_above(
                &points.cadence_spm()[within],
                if *kind == Kind::Stand { f64::NEG_INFINITY } else { 0.0 },
            ),
            confidence: *confidence,
        });
    }
    bouts
}

/// What was measured, second by second.
pub(crate) fn series(grid: Grid) -> Series {
    let (cells, sums) = (grid.len(), grid.sums());
    let speed = |(from_m, from_s): (f64, f64), (to_m, to_s): (f64, f64), step_s: f32| {
        let (length_m, known_s) = (to_m - from_m, to_s - from_s);
        let known = step_s > 0.0 && known_s > 0.5;
        if known { (length_m / known_s).max(0.0) as f32 } else { f32::NAN }
    };
    let near_an_end = |cell: usize| {
        let (from, to) = (cell.saturating_sub(SPEED_HALF_WIDTH_S), cell + SPEED_HALF_WIDTH_S + 1);
        speed(sums[from], sums[to.min(cells)], grid.step_s[cell])
    };
    let begin = SPEED_HALF_WIDTH_S.min(cells);
    let end = cells.saturating_sub(SPEED_HALF_WIDTH_S).max(begin);
    let windows = sums.windows(2 * SPEED_HALF_WIDTH_S + 2).zip(&grid.step_s[begin..end]);
    let within =
        windows.map(|(window, &step_s)| speed(window[0], window[2 * SPEED_HALF_WIDTH_S + 1], step_s));
    let speed_m_per_s = (0..begin).map(near_an_end).chain(within).chain((end..cells).map(near_an_end));
    Series {
        speed_m_per_s: speed_m_per_s.collect(),
        timeline: grid.timeline,
        heart_rate_bpm: grid.heart_rate_bpm,
        cadence_spm: grid.cadence_spm,
    }
}

/// Seconds at which a cell begins; the last cell may be cut short, and a gap begins and ends on points.
fn exact_s(grid: &Grid, cell: usize) -> f64 {
    if cell >= grid.len() {
        return grid.duration_s;
    }
    let second = grid.timeline.second(cell);
    let is_here = |exact_s: &f64| exact_s.round() as usize == second;
    let next = grid.gaps.partition_point(|gap| (gap.end.round() as usize) < second);
    let ends = grid.gaps.get(next).map(|gap| [gap.start, gap.end]);
    ends.into_iter().flatten().find(is_here).unwrap_or(second as f64)
}

fn distance_m(grid: &Grid, kind: Kind, cells: Range<usize>, noise_m2_per_s: f64) -> Option<f64> {
    match kind {
        Kind::Gap => None,
        Kind::Stand => {
            let length_m = grid.length_m(cells.clone())?;
            let drift_m = DRIFT_SDS * (noise_m2_per_s * cells.len() as f64).sqrt();
            Some((grid.net_m(cells) - drift_m).clamp(0.0, length_m.max(0.0)))
        }
        // Nobody runs or walks no metre: what measured none did not see the way.
        Kind::Run | Kind::Walk => grid.length_m(cells).filter(|&length_m| length_m > 0.0),
    }
}

/// Mean of the values that are known and larger than `least`; `None` where there are none.
fn mean_above(values: &[f64], least: f64) -> Option<f64> {
    let above = count(values, |value| value > least);
    let sum = values.iter().fold(0.0, |sum, &value| sum + if value > least { value } else { 0.0 });
    (above > 0).then(|| sum / above as f64)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_run_or_walk_of_no_metre_was_not_measured_and_a_stand_was() {
        let still = |along_m: f64| Grid {
            along_m: vec![along_m; 60],
            east_m: vec![along_m; 60],
            north_m: vec![0.0; 60],
            weight: vec![1.0; 60],
            ..Grid::default()
        };
        let metres = |kind: Kind, along_m: f64| distance_m(&still(along_m), kind, 0..60, 0.01);
        assert_eq!([Kind::Run, Kind::Walk].map(|kind| metres(kind, 0.0)), [None, None]);
        assert_eq!(metres(Kind::Stand, 0.0), Some(0.0));
        assert!(metres(Kind::Run, 2.0).is_some_and(|metres| (metres - 120.0).abs() < 1e-9));
    }
}

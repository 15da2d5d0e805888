//! Makes bouts, with what was measured in them, of cells.

use std::ops::Range;

use boutwise_track::Points;

use crate::grid::Grid;
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
    for Piece { kind, cells, confidence } in pieces {
        let start_s = bouts.last().map_or(0.0, |bout| bout.end_s);
        let end_s = exact_s(grid, cells.end);
        if end_s <= start_s {
            continue;
        }
        let known = Known { times_s, end_s };
        bouts.push(Bout {
            kind: *kind,
            start_s,
            end_s,
            distance_m: distance_m(grid, *kind, cells.clone(), noise_m2_per_s),
            heart_rate_mean_bpm: known.mean(points.heart_rate_bpm(), start_s, |_| true),
            heart_rate_end_bpm: known.mean(
                points.heart_rate_bpm(),
                start_s.max(end_s - HEART_RATE_END_S),
                |_| true,
            ),
            // A zero on the move is a dropout of the sensor.
            cadence_spm: known.mean(points.cadence_spm(), start_s, |spm| *kind == Kind::Stand || spm > 0.0),
            confidence: *confidence,
        });
    }
    bouts
}

/// What was measured, second by second.
pub(crate) fn series(grid: &Grid) -> Series {
    let (cells, sums) = (grid.len(), grid.sums());
    let speed_m_per_s = (0..cells).map(|cell| {
        let (from_m, from_s) = sums[cell.saturating_sub(SPEED_HALF_WIDTH_S)];
        let (to_m, to_s) = sums[(cell + SPEED_HALF_WIDTH_S + 1).min(cells)];
        let (length_m, known_s) = (to_m - from_m, to_s - from_s);
        let known = grid.step_s[cell] > 0.0 && known_s > 0.5;
        if known { (length_m / known_s).max(0.0) as f32 } else { f32::NAN }
    });
    Series {
        timeline: grid.timeline.clone(),
        speed_m_per_s: speed_m_per_s.collect(),
        heart_rate_bpm: grid.heart_rate_bpm.clone(),
        cadence_spm: grid.cadence_spm.clone(),
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
        Kind::Run | Kind::Walk => Some(grid.length_m(cells)?.max(0.0)),
    }
}

/// Points up to the end of a bout.
struct Known<'a> {
    times_s: &'a [f64],
    end_s: f64,
}

impl Known<'_> {
    /// Mean of the values from a second on that are known and kept; `None` where there are none.
    fn mean(&self, values: &[f64], from_s: f64, keep: impl Fn(f64) -> bool) -> Option<f64> {
        let first = self.times_s.partition_point(|&time_s| time_s < from_s);
        let last = self.times_s.partition_point(|&time_s| time_s < self.end_s).max(first);
        let kept = values[first..last].iter().filter(|value| !value.is_nan() && keep(**value));
        let (count, sum) = kept.fold((0.0, 0.0), |(count, sum), value| (count + 1.0, sum + value));
        (count > 0.0).then(|| sum / count)
    }
}

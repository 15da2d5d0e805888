//! What is settled before decoding: gaps, rides and stands, and the stretches of movement between them.

use std::ops::Range;

use crate::Kind;
use crate::confidence::stand_confidence;
use crate::grid::Grid;
use crate::stand::Stand;

/// A settled piece of a session, as cells.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Settled {
    pub(crate) kind: Kind,
    pub(crate) cells: Range<usize>,
    pub(crate) confidence: f64,
}

/// Settled pieces and the stretches between them, each in order; together they cover the grid.
#[derive(Debug)]
pub(crate) struct Frame {
    pub(crate) settled: Vec<Settled>,
    pub(crate) stretches: Vec<Range<usize>>,
}

impl Frame {
    /// Lays stands around the gaps and rides of a grid.
    pub(crate) fn new(grid: &Grid, stands: &[Stand]) -> Self {
        let cells = grid.len();
        let cell = |second: f64| grid.timeline.cell(second.round() as usize).min(cells);
        let gaps = grid.gaps.iter().map(|gap| cell(gap.start)..cell(gap.end));
        let blank = joined(gaps.chain(grid.rides.iter().cloned()).collect());
        let mut settled: Vec<Settled> = blank
            .iter()
            .map(|cells| Settled { kind: Kind::Gap, cells: cells.clone(), confidence: 1.0 })
            .collect();
        for stand in stands {
            for cells in left_over(&stand.cells, &blank) {
                let confidence = stand_confidence(stand.evidence_nats, grid.seconds(&stand.cells));
                settled.push(Settled { kind: Kind::Stand, cells, confidence });
            }
        }
        settled.sort_by_key(|piece| piece.cells.start);
        let taken: Vec<Range<usize>> = settled.iter().map(|piece| piece.cells.clone()).collect();
        Self { stretches: left_over(&(0..cells), &taken), settled }
    }
}

/// Ranges in order, those that touch made one, empty ones left out.
fn joined(mut ranges: Vec<Range<usize>>) -> Vec<Range<usize>> {
    ranges.retain(|range| !range.is_empty());
    ranges.sort_by_key(|range| range.start);
    ranges.dedup_by(|later, earlier| {
        let touches = later.start <= earlier.end;
        if touches {
            earlier.end = earlier.end.max(later.end);
        }
        touches
    });
    ranges
}

/// What is left of a range without the taken ones, which are in order and do not overlap.
fn left_over(range: &Range<usize>, taken: &[Range<usize>]) -> Vec<Range<usize>> {
    let mut left = Vec::new();
    let mut start = range.start;
    let first = taken.partition_point(|cells| cells.end <= range.start);
    for cells in taken[first..].iter().take_while(|cells| cells.start < range.end) {
        if cells.start > start {
            left.push(start..cells.start);
        }
        start = start.max(cells.end);
    }
    if range.end > start {
        left.push(start..range.end);
    }
    left
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_stand_around_a_gap_is_two_stands_and_everything_is_covered() {
        let grid = Grid { along_m: vec![0.0; 100], gaps: vec![40.2..65.0, 65.0..90.0], ..Grid::default() };
        let frame = Frame::new(&grid, &[Stand { cells: 30..95, evidence_nats: 20.0 }]);
        let kinds: Vec<(Kind, Range<usize>)> =
            frame.settled.iter().map(|piece| (piece.kind, piece.cells.clone())).collect();
        assert_eq!(kinds, [(Kind::Stand, 30..40), (Kind::Gap, 40..90), (Kind::Stand, 90..95)]);
        assert_eq!(frame.stretches, [0..30, 95..100]);
    }
}

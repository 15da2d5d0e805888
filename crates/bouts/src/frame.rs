//! What is settled before decoding: gaps and stands, and the stretches of movement between them.

use std::ops::Range;

use crate::Kind;
use crate::grid::Grid;
use crate::stand::Stand;

/// A stretch shorter than this, in seconds, is a fragment: shorter than the shortest walk (by definition). It says nothing
/// of kinds, and nothing may hang on it.
const FRAGMENT_S: usize = 12;
/// Confidence of a fragment of which nobody knows what it was.
const FRAGMENT_CONFIDENCE: f64 = 0.5;

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
    /// Lays stands around the gaps of a grid. What moves for a few seconds beside a stand belongs to it; beside a gap or an
    /// end it is called walking, and nothing is learned from it.
    pub(crate) fn new(grid: &Grid, stands: &[Stand]) -> Self {
        let cells = grid.len();
        let cell = |second: f64| grid.timeline.cell(second.round() as usize).min(cells);
        let gaps = grid.gaps.iter().map(|gap| cell(gap.start)..cell(gap.end));
        let blank = joined(gaps.collect());
        let mut settled: Vec<Settled> = blank
            .iter()
            .map(|cells| Settled { kind: Kind::Gap, cells: cells.clone(), confidence: 1.0 })
            .collect();
        for stand in stands {
            let confidence = stand.confidence(grid);
            for cells in left_over(&stand.cells, &blank) {
                settled.push(Settled { kind: Kind::Stand, cells, confidence });
            }
        }
        settled.sort_by_key(|piece| piece.cells.start);
        let taken: Vec<Range<usize>> = settled.iter().map(|piece| piece.cells.clone()).collect();
        let (fragments, stretches) = left_over(&(0..cells), &taken)
            .into_iter()
            .partition(|stretch| stretch.len() < FRAGMENT_S && stretch.len() < cells);
        let mut frame = Self { settled, stretches };
        frame.settle(fragments);
        frame
    }

    /// Log probability that each stand is one.
    pub(crate) fn log_stands(&self) -> f64 {
        let stands = self.settled.iter().filter(|piece| piece.kind == Kind::Stand);
        stands.map(|stand| stand.confidence.ln()).sum()
    }

    /// Puts fragments to the stands beside them.
    fn settle(&mut self, fragments: Vec<Range<usize>>) {
        let settled = |cells: Range<usize>| {
            let after = self.settled.partition_point(|piece| piece.cells.start < cells.start);
            let mut beside = self.settled[..after].last().into_iter().chain(self.settled.get(after));
            let stand = beside.find(|piece| {
                let touches = piece.cells.end == cells.start || piece.cells.start == cells.end;
                piece.kind == Kind::Stand && touches
            });
            let (kind, confidence) = match stand {
                Some(stand) => (Kind::Stand, stand.confidence),
                None => (Kind::Walk, FRAGMENT_CONFIDENCE),
            };
            Settled { kind, cells, confidence }
        };
        let fragments: Vec<Settled> = fragments.into_iter().map(settled).collect();
        self.settled.extend(fragments);
        self.settled.sort_by_key(|piece| piece.cells.start);
        self.settled.dedup_by(|piece, before| {
            let one_stand = piece.kind == Kind::Stand && before.kind == Kind::Stand;
            if one_stand && before.cells.end == piece.cells.start {
                before.cells.end = piece.cells.end;
                before.confidence = before.confidence.max(piece.confidence);
                return true;
            }
            false
        });
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
    use crate::confidence::stand_confidence;

    #[test]
    fn a_stand_around_a_gap_is_two_stands_and_everything_is_covered() {
        let grid = Grid { along_m: vec![0.0; 120], gaps: vec![40.2..65.0, 65.0..90.0], ..Grid::default() };
        let frame = Frame::new(&grid, &[Stand { cells: 30..95, evidence_nats: 20.0 }]);
        let kinds: Vec<(Kind, Range<usize>)> =
            frame.settled.iter().map(|piece| (piece.kind, piece.cells.clone())).collect();
        assert_eq!(kinds, [(Kind::Stand, 30..40), (Kind::Gap, 40..90), (Kind::Stand, 90..95)]);
        assert_eq!(frame.stretches, [0..30, 95..120]);
    }

    #[test]
    fn a_stand_that_may_be_none_leaves_its_doubt_and_a_gap_leaves_none() {
        let grid = Grid { along_m: vec![0.0; 120], gaps: vec![80.0..110.0], ..Grid::default() };
        assert_eq!(Frame::new(&grid, &[]).log_stands(), 0.0);
        let stands =
            [(10..18, 1.0), (30..60, 20.0)].map(|(cells, evidence_nats)| Stand { cells, evidence_nats });
        let [short, long] =
            [(1.0, 8), (20.0, 30)].map(|(nats, seconds)| stand_confidence(nats, seconds).ln());
        assert!((Frame::new(&grid, &stands).log_stands() - short - long).abs() < 1e-9);
        assert!(short < -0.5 && long > -0.1, "{short} {long}");
    }

    #[test]
    fn a_few_seconds_beside_a_stand_belong_to_it_and_others_are_not_decoded() {
        let grid = Grid { along_m: vec![0.0; 103], gaps: vec![60.0..95.0], ..Grid::default() };
        let stand = |cells| Stand { cells, evidence_nats: 20.0 };
        let frame = Frame::new(&grid, &[stand(4..20), stand(28..40)]);
        let kinds: Vec<(Kind, Range<usize>)> =
            frame.settled.iter().map(|piece| (piece.kind, piece.cells.clone())).collect();
        assert_eq!(kinds, [(Kind::Stand, 0..40), (Kind::Gap, 60..95), (Kind::Walk, 95..103)]);
        assert!(frame.stretches.iter().eq(std::iter::once(&(40..60))));
    }
}

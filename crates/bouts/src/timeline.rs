//! The seconds of a recording, without the middles of its gaps: only what was recorded takes room.

use std::ops::Range;

/// Seconds of a gap that stay at each of its ends, so that whatever looks a little beyond an edge sees what it would see of
/// the whole gap: blocks of noise reach 16 s beyond, dropouts of cadence 20 s, its delay 14 s.
const KEPT_S: usize = 20;

/// Cells of a second each in order of time. After a long gap they go on as if it had lasted for a minute at most.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct Timeline {
    leaps: Vec<Leap>,
}

/// Where seconds are left out.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Leap {
    /// The first cell behind them.
    cell: usize,
    /// Seconds left out up to here.
    left_out_s: usize,
}

impl Leap {
    /// The second that the first cell behind stands for.
    fn second(&self) -> usize {
        self.cell + self.left_out_s
    }
}

impl Timeline {
    /// Leaves out what lies deep inside `gaps`, which are in order. Points with a gap on either side tell nothing of any second
    /// and have no cells: gaps that only such a point parts are one.
    pub(crate) fn new(gaps: &[Range<f64>]) -> Self {
        let mut leaps: Vec<Leap> = Vec::new();
        for gaps in gaps.chunk_by(|gap, next| gap.end == next.start) {
            let (Some(first), Some(last)) = (gaps.first(), gaps.last()) else { continue };
            let from = first.start as usize + 1 + KEPT_S;
            let to = (last.end as usize).saturating_sub(KEPT_S);
            if from < to {
                let before_s = leaps.last().map_or(0, |leap| leap.left_out_s);
                leaps.push(Leap { cell: from - before_s, left_out_s: before_s + to - from });
            }
        }
        Self { leaps }
    }

    /// Puts so many seconds before all others.
    pub(crate) fn delay(&mut self, seconds: usize) {
        self.leaps.iter_mut().for_each(|leap| leap.cell += seconds);
    }

    /// Whether every second has its cell.
    #[inline]
    pub(crate) fn is_whole(&self) -> bool {
        self.leaps.is_empty()
    }

    /// The cell of a second; of one that was left out, the next.
    #[inline]
    pub(crate) fn cell(&self, second: usize) -> usize {
        if self.is_whole() {
            return second;
        }
        let next = self.leaps.partition_point(|leap| leap.second() <= second);
        let cell = second - next.checked_sub(1).map_or(0, |last| self.leaps[last].left_out_s);
        self.leaps.get(next).map_or(cell, |leap| cell.min(leap.cell))
    }

    /// The second that a cell stands for.
    #[inline]
    pub(crate) fn second(&self, cell: usize) -> usize {
        if self.is_whole() {
            return cell;
        }
        let next = self.leaps.partition_point(|leap| leap.cell <= cell);
        cell + next.checked_sub(1).map_or(0, |last| self.leaps[last].left_out_s)
    }

    /// Seconds of a range of cells, with those that were left out.
    pub(crate) fn seconds(&self, cells: &Range<usize>) -> usize {
        self.second(cells.end) - self.second(cells.start)
    }

    /// So many cells, cut where seconds were left out; each range without its first seconds up to a whole multiple of
    /// `multiple_s`.
    pub(crate) fn pieces(
        &self,
        cells: usize,
        multiple_s: usize,
    ) -> impl Iterator<Item = Range<usize>> + Clone + '_ {
        let starts = std::iter::once(0).chain(self.leaps.iter().map(|leap| leap.cell));
        let ends = self.leaps.iter().map(|leap| leap.cell).chain([cells]);
        starts.zip(ends).map(move |(start, end)| {
            let second = self.second(start);
            (start + second.next_multiple_of(multiple_s) - second).min(end)..end
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_year_takes_as_many_cells_as_a_minute() {
        for length_s in [60.0, 3600.0, 31_536_000.0] {
            let timeline = Timeline::new(&[100.5..100.5 + length_s]);
            let end = 100 + length_s as usize;
            assert_eq!(timeline.cell(99), 99);
            assert_eq!(timeline.cell(end + 3) - timeline.cell(99), 45, "{length_s}");
            assert_eq!(timeline.second(timeline.cell(end + 3)), end + 3);
            assert_eq!(timeline.seconds(&(0..timeline.cell(end))), end);
        }
    }

    #[test]
    fn short_gaps_lose_nothing_and_seconds_left_out_go_to_the_next_cell() {
        assert_eq!(Timeline::new(std::slice::from_ref(&(10.0..51.0))), Timeline::default());
        let timeline = Timeline::new(&[10.0..100.0, 200.0..400.0]);
        let cells: Vec<usize> =
            [10, 30, 31, 79, 80, 200, 220, 221, 300, 380].map(|s| timeline.cell(s)).to_vec();
        assert_eq!(cells, [10, 30, 31, 31, 31, 151, 171, 172, 172, 172]);
    }

    #[test]
    fn points_with_a_gap_on_either_side_have_no_cells() {
        let apart = Timeline::new(&[10.0..100.0, 100.0..200.0, 200.0..400.0]);
        assert_eq!(apart, Timeline::new(std::slice::from_ref(&(10.0..400.0))));
        assert_ne!(apart, Timeline::new(&[10.0..100.0, 101.0..400.0]));
    }

    #[test]
    fn seconds_before_all_others_move_every_cell() {
        let mut timeline = Timeline::new(&[10.0..100.0, 200.0..400.0]);
        let seconds: Vec<usize> = [5, 40, 175].map(|cell| timeline.second(cell)).to_vec();
        timeline.delay(300);
        assert_eq!([305, 340, 475].map(|cell| timeline.second(cell) - 300).to_vec(), seconds);
    }

    #[test]
    fn pieces_begin_at_whole_multiples_of_time() {
        let timeline = Timeline::new(&[10.0..103.0, 200.0..400.0]);
        let pieces: Vec<Range<usize>> = timeline.pieces(250, 8).collect();
        assert_eq!(pieces, [0..31, 36..169, 173..250]);
        assert_eq!(pieces.iter().map(|piece| timeline.second(piece.start)).collect::<Vec<_>>(), [0, 88, 384]);
    }
}

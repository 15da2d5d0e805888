//! What is more likely wrong than right is not stated.

use std::ops::Range;

use crate::confidence::BoutEvidence;
use crate::decode::Part;
use crate::evidence::{RUN, WALK};
use crate::grid::Grid;

/// A part between others that is less likely right than this becomes one with them.
const LEAST_CONFIDENCE: f64 = 0.5;

/// A part, what was measured in it, and how likely it is right.
struct Judged {
    part: Part,
    stretch: usize,
    length_m: f64,
    known_s: f64,
    confidence: f64,
}

impl Judged {
    fn new(part: Part, stretch: usize, grid: &Grid) -> Self {
        let (length_m, known_s) = grid.trusted(part.cells.clone());
        Self { part, stretch, length_m, known_s, confidence: 0.0 }
    }

    /// Makes what follows part of this.
    fn join(&mut self, next: Self) {
        self.part.cells.end = next.part.cells.end;
        self.length_m += next.length_m;
        self.known_s += next.known_s;
    }

    fn seconds(&self) -> usize {
        self.part.cells.len()
    }

    fn speed_m_per_s(&self) -> Option<f64> {
        (self.known_s > 0.0).then(|| self.length_m / self.known_s)
    }
}

/// Gives each part the confidence that it is right for its probability, and makes those that more likely are not one with
/// the parts around them, the most doubtful first. `stretches` are the indices of the parts of each stretch; speeds are
/// held against `middle_m_per_s` where there is no part of the other kind.
pub(crate) fn settle_doubts(
    parts: &mut Vec<Part>,
    stretches: &mut [Range<usize>],
    grid: &Grid,
    middle_m_per_s: f64,
    confidence: impl Fn(&BoutEvidence) -> f64,
) {
    let mut judged: Vec<Judged> = Vec::with_capacity(parts.len());
    for (stretch, indices) in stretches.iter().enumerate() {
        judged.extend(parts[indices.clone()].iter().map(|part| Judged::new(part.clone(), stretch, grid)));
    }
    for index in 0..judged.len() {
        judged[index].confidence = confidence(&evidence(&judged, index, middle_m_per_s));
    }
    while let Some(index) = most_doubtful(&judged) {
        let [doubtful, after] = [index, index].map(|index| judged.remove(index));
        let joined = &mut judged[index - 1];
        joined.part.probability = joined.part.probability.min(after.part.probability);
        joined.join(doubtful);
        joined.join(after);
        judged[index - 1].confidence = confidence(&evidence(&judged, index - 1, middle_m_per_s));
    }
    for (stretch, indices) in stretches.iter_mut().enumerate() {
        let first = judged.partition_point(|judged| judged.stretch < stretch);
        *indices = first..judged.partition_point(|judged| judged.stretch <= stretch);
    }
    parts.clear();
    parts.extend(judged.into_iter().map(|judged| Part { probability: judged.confidence, ..judged.part }));
}

/// The part most likely wrong among those that lie between two of the other kind.
fn most_doubtful(parts: &[Judged]) -> Option<usize> {
    let doubtful = |&index: &usize| {
        let [before, here, after] = [index - 1, index, index + 1].map(|index| &parts[index]);
        here.confidence < LEAST_CONFIDENCE
            && before.stretch == after.stretch
            && ![before, here, after].iter().any(|judged| judged.part.stop)
    };
    (1..parts.len().max(2) - 1)
        .filter(doubtful)
        .min_by(|&a, &b| parts[a].confidence.total_cmp(&parts[b].confidence))
}

/// What speaks for a part: the model, and how it stands out from the nearest parts of the other kind.
fn evidence(parts: &[Judged], index: usize, middle_m_per_s: f64) -> BoutEvidence {
    let here = &parts[index];
    let other = if here.part.kind == RUN { WALK } else { RUN };
    let is_other = |judged: &&Judged| judged.part.kind == other && !judged.part.stop;
    let before = parts[..index].iter().rev().find(is_other);
    let after = parts[index + 1..].iter().find(is_other);
    let speed = |judged: &Judged| judged.speed_m_per_s().unwrap_or(middle_m_per_s);
    let beside_m_per_s = match (before.map(speed), after.map(speed)) {
        (Some(before), Some(after)) => 0.5 * (before + after),
        (Some(beside), None) | (None, Some(beside)) => beside,
        // As far from the middle, on its other side.
        (None, None) => 2.0 * middle_m_per_s - speed(here),
    };
    let above = speed(here) - beside_m_per_s;
    let seconds = here.seconds();
    let in_stretch = |judged: Option<&Judged>| judged.is_some_and(|judged| judged.stretch == here.stretch);
    BoutEvidence {
        probability: here.part.probability,
        seconds,
        contrast_m_per_s: if here.part.kind == RUN { above } else { -above },
        neighbour_s: before.into_iter().chain(after).map(Judged::seconds).min().unwrap_or(seconds),
        between: index > 0 && in_stretch(parts.get(index - 1)) && in_stretch(parts.get(index + 1)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Parts of a stretch that is walked at 1.4 m/s and run at 2.4 m/s, in turns that begin with a walk.
    fn made(seconds: &[usize]) -> (Grid, Vec<Part>) {
        let mut grid = Grid::default();
        let mut parts: Vec<Part> = Vec::new();
        for (index, &seconds) in seconds.iter().enumerate() {
            let (kind, speed) = if index % 2 == 0 { (WALK, 1.4) } else { (RUN, 2.4) };
            let start = grid.along_m.len();
            grid.along_m.extend(vec![speed; seconds]);
            parts.push(Part { kind, stop: false, cells: start..start + seconds, probability: 0.9 });
        }
        grid.weight = vec![1.0; grid.along_m.len()];
        (grid, parts)
    }

    /// What is left, stretch by stretch; `counts` are the numbers of parts in the stretches.
    fn settled(
        (grid, mut parts): (Grid, Vec<Part>),
        counts: &[usize],
        confidence: impl Fn(&BoutEvidence) -> f64,
    ) -> Vec<Vec<(usize, Range<usize>)>> {
        let mut first = 0;
        let mut stretches: Vec<Range<usize>> = Vec::new();
        for count in counts {
            stretches.push(first..first + count);
            first += count;
        }
        settle_doubts(&mut parts, &mut stretches, &grid, 1.9, confidence);
        let of_stretch = |indices: Range<usize>| {
            parts[indices].iter().map(|part| (part.kind, part.cells.clone())).collect()
        };
        stretches.into_iter().map(of_stretch).collect()
    }

    #[test]
    fn a_doubtful_part_becomes_one_with_its_neighbours_and_the_others_stay() {
        let short = |bout: &BoutEvidence| if bout.seconds < 20 { 0.2 } else { 0.9 };
        let found = settled(made(&[300, 15, 200, 60, 100]), &[3, 2], short);
        assert_eq!(found, [vec![(WALK, 0..515)], vec![(RUN, 515..575), (WALK, 575..675)]]);
    }

    #[test]
    fn what_lies_at_an_end_of_a_stretch_or_stood_stays_however_doubtful() {
        let doubtful = |_: &BoutEvidence| 0.1;
        let left =
            |made, counts: &[usize]| settled(made, counts, doubtful).iter().map(Vec::len).sum::<usize>();
        assert_eq!(left(made(&[30, 20]), &[2]), 2);
        assert_eq!(left(made(&[30, 20, 30]), &[1, 1, 1]), 3);
        let (grid, mut parts) = made(&[30, 20, 30]);
        parts[0].stop = true;
        assert_eq!(left((grid, parts), &[3]), 3);
    }

    #[test]
    fn evidence_tells_how_a_part_stands_out_from_the_other_kind() {
        let (grid, parts) = made(&[300, 60, 100]);
        let judged: Vec<Judged> = parts.into_iter().map(|part| Judged::new(part, 0, &grid)).collect();
        let run = evidence(&judged, 1, 1.9);
        assert!((run.contrast_m_per_s - 1.0).abs() < 1e-9 && run.between, "{run:?}");
        assert_eq!((run.seconds, run.neighbour_s), (60, 100));
        let last = evidence(&judged, 2, 1.9);
        assert!((last.contrast_m_per_s - 1.0).abs() < 1e-9 && !last.between, "{last:?}");
        let alone = evidence(&judged[..1], 0, 1.9);
        assert!((alone.contrast_m_per_s - 1.0).abs() < 1e-9, "{alone:?}");
    }
}

//! What is more likely wrong than right is not stated.

use std::ops::Range;

use crate::confidence::BoutEvidence;
use crate::decode::Part;
use crate::evidence::{RUN, WALK};
use crate::grid::Grid;

/// A part between others that is less likely right than this becomes one with them.
const LEAST_CONFIDENCE: f64 = 0.4;
/// A part alone between stops turns out to be the other kind if that is at least this likely.
const TURNED_CONFIDENCE: f64 = 0.5;
/// A part that lies alone between stops may turn out to be the other kind if it lasts this long, in seconds.
const TURNED_S: usize = 20;
/// Seconds on either side of a part that show how sharp its edges are, and how many of them must be known.
const NEAR_S: usize = 12;
const NEAR_KNOWN_S: f64 = 4.0;
/// Least contrast that is told apart from none, in m/s.
const LEAST_CONTRAST_M_PER_S: f64 = 0.1;
/// Parts are alike that differ by no more than so many seconds, or by this ratio …
const ALIKE_S: usize = 8;
const ALIKE_RATIO: f64 = 1.2;
/// … and by no more than this speed.
const ALIKE_M_PER_S: f64 = 0.2;
/// The heart tells bouts of so many seconds and more; it is taken over so many to each side of their edges.
const HEART_RATE_LEAST_S: usize = 30;
const HEART_RATE_HALF_S: usize = 5;

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

    /// Makes one part of this and what follows, of the kind of which one surely is.
    fn join(&mut self, next: Self) {
        if next.confidence > self.confidence {
            self.part.kind = next.part.kind;
            self.part.probability = next.part.probability;
            self.confidence = next.confidence;
        } else if next.part.kind == self.part.kind {
            self.part.probability = self.part.probability.min(next.part.probability);
        }
        self.part.cells.end = next.part.cells.end;
        self.length_m += next.length_m;
        self.known_s += next.known_s;
    }

    /// Makes it the other kind.
    fn turn(&mut self) {
        self.part.kind = if self.part.kind == RUN { WALK } else { RUN };
        self.part.probability = 1.0 - self.part.probability;
    }

    fn seconds(&self) -> usize {
        self.part.cells.len()
    }

    fn speed_m_per_s(&self) -> Option<f64> {
        (self.known_s > 0.0).then(|| self.length_m / self.known_s)
    }
}

/// What settling came to.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Settled {
    /// Parts that became one with what was around them, with the confidence that they were there.
    pub(crate) joined: Vec<Part>,
    /// The least probability that a part is right that is left, or that none was there that became one with others.
    pub(crate) least_confidence: f64,
    /// What the model said of each part that is left.
    pub(crate) model_probability: Vec<f64>,
}

/// Gives each part the confidence that it is right for its probability, and makes those that more likely are not one with
/// the parts around them, the most doubtful first. `stretches` are the indices of the parts of each stretch; speeds are
/// held against `middle_m_per_s` where there is no part of the other kind.
pub(crate) fn settle_doubts(
    parts: &mut Vec<Part>,
    stretches: &mut [Range<usize>],
    grid: &Grid,
    middle_m_per_s: f64,
    slow_noise_m2_per_s: f64,
    confidence: impl Fn(&BoutEvidence) -> f64,
) -> Settled {
    let mut judged: Vec<Judged> = Vec::with_capacity(parts.len());
    for (stretch, indices) in stretches.iter().enumerate() {
        judged.extend(parts[indices.clone()].iter().map(|part| Judged::new(part.clone(), stretch, grid)));
    }
    let session = Session { grid, middle_m_per_s, slow_noise_m2_per_s };
    let judge = |judged: &mut Vec<Judged>, index: usize| {
        // What was told to be a stop is neither a walk nor a run, and no doubt of those is one of it.
        judged[index].confidence = match judged[index].part.stop {
            true => judged[index].part.probability,
            false => confidence(&session.evidence(judged, index)),
        }
    };
    (0..judged.len()).for_each(|index| judge(&mut judged, index));
    let mut joined = Vec::new();
    while let Some(index) = most_doubtful(&judged) {
        joined.push(Part { probability: judged[index].confidence, ..judged[index].part.clone() });
        let [before, after] = touching(&judged, index);
        let first = index - usize::from(before);
        let mut pieces = judged.drain(first..=index + usize::from(after));
        let Some(mut whole) = pieces.next() else { break };
        for piece in pieces {
            whole.join(piece);
        }
        judged.insert(first, whole);
        (first.saturating_sub(1)..(first + 2).min(judged.len())).for_each(|near| judge(&mut judged, near));
    }
    for index in 0..judged.len() {
        let here = &judged[index];
        let whole = here.part.cells.len() == grid.len();
        if touching(&judged, index) == [false; 2]
            && !whole
            && here.seconds() >= TURNED_S
            && here.confidence < LEAST_CONFIDENCE
        {
            judged[index].turn();
            judge(&mut judged, index);
            if judged[index].confidence < TURNED_CONFIDENCE {
                judged[index].turn();
                judge(&mut judged, index);
            }
        }
    }
    let stated = judged.iter().map(|judged| judged.confidence);
    let not_there = joined.iter().map(|part| 1.0 - part.probability);
    let least_confidence = stated.chain(not_there).fold(1.0, f64::min);
    for (stretch, indices) in stretches.iter_mut().enumerate() {
        let first = judged.partition_point(|judged| judged.stretch < stretch);
        *indices = first..judged.partition_point(|judged| judged.stretch <= stretch);
    }
    let model_probability = judged.iter().map(|judged| judged.part.probability).collect();
    parts.clear();
    parts.extend(judged.into_iter().map(|judged| Part { probability: judged.confidence, ..judged.part }));
    Settled { joined, least_confidence, model_probability }
}

/// What speaks for each part as it is.
pub(crate) fn evidence_of(
    parts: &[Part],
    stretches: &[Range<usize>],
    grid: &Grid,
    middle_m_per_s: f64,
    slow_noise_m2_per_s: f64,
) -> Vec<BoutEvidence> {
    let mut judged: Vec<Judged> = Vec::with_capacity(parts.len());
    for (stretch, indices) in stretches.iter().enumerate() {
        judged.extend(parts[indices.clone()].iter().map(|part| Judged::new(part.clone(), stretch, grid)));
    }
    let session = Session { grid, middle_m_per_s, slow_noise_m2_per_s };
    (0..judged.len()).map(|index| session.evidence(&judged, index)).collect()
}

/// The part most likely wrong among those that touch a part of the other kind.
fn most_doubtful(parts: &[Judged]) -> Option<usize> {
    let doubtful = |&index: &usize| {
        let [before, after] = touching(parts, index);
        let near = index - usize::from(before)..=index + usize::from(after);
        parts[index].confidence < LEAST_CONFIDENCE
            && (before || after)
            && !parts[near].iter().any(|judged| judged.part.stop)
    };
    (0..parts.len()).filter(doubtful).min_by(|&a, &b| parts[a].confidence.total_cmp(&parts[b].confidence))
}

/// Whether the part before and the part after lie in the same stretch: no stand or gap is between.
fn touching(parts: &[Judged], index: usize) -> [bool; 2] {
    let stretch = parts[index].stretch;
    let touches = |other: Option<&Judged>| other.is_some_and(|other| other.stretch == stretch);
    [touches(index.checked_sub(1).map(|before| &parts[before])), touches(parts.get(index + 1))]
}

/// What is the same for all parts of a session.
struct Session<'a> {
    grid: &'a Grid,
    middle_m_per_s: f64,
    slow_noise_m2_per_s: f64,
}

impl Session<'_> {
    /// What speaks for a part: the model, how it stands out from what is beside it and how sharply, and whether there are
    /// others like it.
    fn evidence(&self, parts: &[Judged], index: usize) -> BoutEvidence {
        let here = &parts[index];
        let kind = here.part.kind;
        let other = if kind == RUN { WALK } else { RUN };
        let is_other = |judged: &&Judged| judged.part.kind == other && !judged.part.stop;
        let before = parts[..index].iter().rev().find(is_other);
        let after = parts[index + 1..].iter().find(is_other);
        let speed = |judged: &Judged| judged.speed_m_per_s().unwrap_or(self.middle_m_per_s);
        let beside_m_per_s = match (before.map(speed), after.map(speed)) {
            (Some(before), Some(after)) => 0.5 * (before + after),
            (Some(beside), None) | (None, Some(beside)) => beside,
            // As far from the middle, on its other side.
            (None, None) => 2.0 * self.middle_m_per_s - speed(here),
        };
        let sign = if kind == RUN { 1.0 } else { -1.0 };
        let contrast = |speed_m_per_s: f64| sign * (speed_m_per_s - beside_m_per_s);
        let contrast_m_per_s = contrast(speed(here));
        let least = contrast_m_per_s.max(LEAST_CONTRAST_M_PER_S);
        let seconds = here.seconds();
        let [before_touches, after_touches] = touching(parts, index);
        let cells = here.part.cells.clone();
        let near = |touches: bool, cells: Range<usize>| {
            touches.then(|| self.grid.speed_m_per_s(cells, NEAR_KNOWN_S)).flatten()
        };
        let outside = [
            near(before_touches, cells.start.saturating_sub(NEAR_S)..cells.start),
            near(after_touches, cells.end..(cells.end + NEAR_S).min(self.grid.len())),
        ];
        // The edge that stands out less decides.
        let steps = outside.into_iter().flatten().map(|outside| sign * (speed(here) - outside) / least);
        let sharpness =
            steps.fold(None, |least: Option<f64>, step| Some(least.map_or(step, |least| least.min(step))));
        let quarter = seconds / 4;
        let inner = self.grid.speed_m_per_s(cells.start + quarter..cells.end - quarter, NEAR_KNOWN_S);
        BoutEvidence {
            kind,
            probability: here.part.probability,
            seconds,
            speed_m_per_s: speed(here),
            contrast_m_per_s,
            sharpness: sharpness.unwrap_or(0.0),
            roundness: inner.map_or(0.0, |inner| (contrast(inner) - contrast_m_per_s) / least),
            neighbour_s: before.into_iter().chain(after).map(Judged::seconds).min().unwrap_or(seconds),
            alike: parts
                .iter()
                .enumerate()
                .filter(|(at, judged)| *at != index && alike(here, judged))
                .count(),
            kind_share: self.kind_share(parts, index),
            heart_rate_change_bpm: heart_rate_change_bpm(self.grid, cells, kind),
            slow_noise_m2_per_s: self.slow_noise_m2_per_s,
            edges: usize::from(before_touches) + usize::from(after_touches),
            at_a_stop: (!before_touches && here.part.cells.start > 0)
                || (!after_touches && here.part.cells.end < self.grid.len()),
        }
    }

    /// Share of the seconds of all other parts that are of the kind of this one.
    fn kind_share(&self, parts: &[Judged], index: usize) -> f64 {
        let kind = parts[index].part.kind;
        let others = parts.iter().enumerate().filter(|(at, judged)| *at != index && !judged.part.stop);
        let (alike_s, all_s) = others.fold((0, 0), |(alike_s, all_s), (_, judged)| {
            let seconds = judged.seconds();
            (alike_s + if judged.part.kind == kind { seconds } else { 0 }, all_s + seconds)
        });
        alike_s as f64 / all_s.max(1) as f64
    }
}

/// Whether two parts are of a kind, last about as long and are about as fast.
fn alike(here: &Judged, there: &Judged) -> bool {
    let (short, long) = (here.seconds().min(there.seconds()), here.seconds().max(there.seconds()));
    let off = here.speed_m_per_s().zip(there.speed_m_per_s()).map(|(here, there)| (here - there).abs());
    here.part.kind == there.part.kind
        && !there.part.stop
        && (long - short <= ALIKE_S || long as f64 <= ALIKE_RATIO * short as f64)
        && off.is_some_and(|off| off <= ALIKE_M_PER_S)
}

/// How much the heart rate falls from the beginning of a walk to its end, or rises in a run; 0 where it is not known or the
/// bout is too short to show it.
fn heart_rate_change_bpm(grid: &Grid, cells: Range<usize>, kind: usize) -> f64 {
    if cells.len() < HEART_RATE_LEAST_S {
        return 0.0;
    }
    let around = |cell: usize| {
        let window = cell.saturating_sub(HEART_RATE_HALF_S)..(cell + HEART_RATE_HALF_S).min(grid.len());
        let known = grid.heart_rate_bpm.get(window)?.iter().filter(|bpm| !bpm.is_nan());
        let (sum, count) = known.fold((0.0, 0.0), |(sum, count), &bpm| (sum + f64::from(bpm), count + 1.0));
        (count > 0.0).then(|| sum / count)
    };
    let change = around(cells.start).zip(around(cells.end)).map_or(0.0, |(first, last)| last - first);
    if kind == RUN { change } else { -change }
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
        settle_doubts(&mut parts, &mut stretches, &grid, 1.9, 0.3, confidence);
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
    fn a_doubtful_part_at_an_end_becomes_one_with_its_neighbour_and_what_stood_stays() {
        let last = |bout: &BoutEvidence| if bout.edges == 1 && bout.seconds < 20 { 0.2 } else { 0.9 };
        assert_eq!(settled(made(&[300, 15]), &[2], last), [vec![(WALK, 0..315)]]);
        let (grid, mut parts) = made(&[300, 15]);
        parts[0].stop = true;
        assert_eq!(settled((grid, parts), &[2], last)[0].len(), 2);
    }

    #[test]
    fn a_part_alone_turns_out_to_be_what_is_likelier() {
        let slow =
            |bout: &BoutEvidence| if (bout.kind == RUN) == (bout.speed_m_per_s > 1.9) { 0.9 } else { 0.2 };
        let (grid, mut parts) = made(&[30, 25, 30]);
        parts[1].kind = WALK;
        let found = settled((grid, parts), &[1, 1, 1], slow);
        assert_eq!(found[1], [(RUN, 30..55)]);
    }

    #[test]
    fn evidence_tells_how_a_part_stands_out_from_the_other_kind() {
        let (grid, parts) = made(&[300, 60, 100]);
        let found = evidence_of(&parts, std::slice::from_ref(&(0..3)), &grid, 1.9, 0.3);
        let run = found[1];
        assert!((run.contrast_m_per_s - 1.0).abs() < 1e-9 && run.edges == 2, "{run:?}");
        assert_eq!((run.seconds, run.neighbour_s), (60, 100));
        assert!((run.sharpness - 1.0).abs() < 1e-9 && run.roundness.abs() < 1e-9, "{run:?}");
        let last = found[2];
        assert!((last.contrast_m_per_s - 1.0).abs() < 1e-9 && last.edges == 1, "{last:?}");
        assert!((last.kind_share - 300.0 / 360.0).abs() < 1e-9, "{last:?}");
        let alone = evidence_of(&parts[..1], std::slice::from_ref(&(0..1)), &grid, 1.9, 0.3)[0];
        assert!((alone.contrast_m_per_s - 1.0).abs() < 1e-9 && alone.edges == 0, "{alone:?}");
    }
}

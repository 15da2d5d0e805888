//! The best layings for every delay of the plan, side by side in columns.

/// Place in the table of steps of a laying that begins, or of none.
pub(super) const NO_STEP: u32 = u32::MAX;
const IMPOSSIBLE: f64 = f64::NEG_INFINITY;

/// For every delay of the plan the points of the best laying, and its place in the table of steps.
///
/// Of two layings with the same points the one that was there first stays.
#[derive(Clone)]
pub(super) struct Bests {
    points: Vec<f64>,
    steps: Vec<u32>,
}

impl Bests {
    pub(super) fn impossible(delays: usize) -> Self {
        Self { points: vec![IMPOSSIBLE; delays], steps: vec![NO_STEP; delays] }
    }

    /// Makes room for more delays.
    pub(super) fn grow(&mut self, delays: usize) {
        if delays > self.points.len() {
            self.points.resize(delays, IMPOSSIBLE);
            self.steps.resize(delays, NO_STEP);
        }
    }

    pub(super) fn points(&self) -> &[f64] {
        &self.points
    }

    pub(super) fn points_mut(&mut self) -> &mut [f64] {
        &mut self.points
    }

    pub(super) fn steps(&self) -> &[u32] {
        &self.steps
    }

    pub(super) fn clear(&mut self) {
        self.points.fill(IMPOSSIBLE);
        self.steps.fill(NO_STEP);
    }

    /// Takes over as many of another as there are.
    pub(super) fn copy_from(&mut self, other: &Self) {
        let delays = self.points.len();
        self.points.copy_from_slice(&other.points[..delays]);
        self.steps.copy_from_slice(&other.steps[..delays]);
    }

    /// Becomes a row of the table of steps that begins at a place.
    pub(super) fn become_row(&mut self, row: &Self, first_step: u32) {
        self.points.copy_from_slice(&row.points);
        self.steps.iter_mut().zip(0_u32..).for_each(|(step, at)| *step = first_step.wrapping_add(at));
    }

    pub(super) fn is_impossible(&self) -> bool {
        self.points.iter().all(|points| *points == IMPOSSIBLE)
    }

    /// More points for all.
    pub(super) fn add(&mut self, points: f64) {
        self.points.iter_mut().for_each(|known| *known += points);
    }

    /// Takes over, delay by delay, what is better with so many more points.
    pub(super) fn take_better(&mut self, other: &Self, more: f64) {
        let known = self.points.iter_mut().zip(&mut self.steps);
        for ((points, step), (other, other_step)) in known.zip(other.points.iter().zip(&other.steps)) {
            let other = other + more;
            let is_better = other > *points;
            *points = if is_better { other } else { *points };
            *step = if is_better { *other_step } else { *step };
        }
    }

    /// Takes over what is better in a row of the table of steps that begins at a place.
    pub(super) fn take_better_row(&mut self, row: &Self, first_step: u32) {
        let known = self.points.iter_mut().zip(&mut self.steps);
        for ((points, step), (other, at)) in known.zip(row.points.iter().zip(0_u32..)) {
            let is_better = *other > *points;
            *points = if is_better { *other } else { *points };
            *step = if is_better { first_step.wrapping_add(at) } else { *step };
        }
    }

    /// Takes over another laying's points for one delay, if they are more.
    pub(super) fn offer(&mut self, delay: usize, points: f64, step: impl FnOnce() -> u32) {
        if points > self.points[delay] {
            self.points[delay] = points;
            self.steps[delay] = step();
        }
    }

    pub(super) fn largest(&self) -> f64 {
        largest(&self.points)
    }

    /// The step of the first that has so many points.
    pub(super) fn step_of(&self, points: f64) -> u32 {
        let at = self.points.iter().position(|known| *known == points);
        at.map_or(NO_STEP, |at| self.steps[at])
    }
}

/// The largest of many numbers, several at a time.
pub(super) fn largest(numbers: &[f64]) -> f64 {
    let larger = |a: f64, b: f64| if b > a { b } else { a };
    let mut lanes = [IMPOSSIBLE; 8];
    let chunks = numbers.chunks_exact(lanes.len());
    let rest = chunks.remainder();
    for chunk in chunks {
        lanes.iter_mut().zip(chunk).for_each(|(lane, number)| *lane = larger(*lane, *number));
    }
    lanes.iter().chain(rest).copied().fold(IMPOSSIBLE, larger)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn of_equals_the_first_stays() {
        let bests = |points: f64, step: u32| Bests { points: vec![points; 3], steps: vec![step; 3] };
        let mut known = bests(1.0, 7);
        known.take_better(&bests(0.5, 8), 0.5);
        assert_eq!(known.steps(), [7; 3]);
        known.take_better(&bests(0.5, 8), 0.75);
        assert_eq!((known.steps(), known.points()), (&[8; 3][..], &[1.25; 3][..]));
        known.take_better_row(&bests(2.0, 9), 20);
        assert_eq!(known.steps(), [20, 21, 22]);
        assert_eq!(known.step_of(known.largest()), 20);
    }

    #[test]
    fn the_largest_is_found_wherever_it_stands() {
        for length in 0..20 {
            assert_eq!(largest(&vec![IMPOSSIBLE; length]), IMPOSSIBLE);
            for at in 0..length {
                let numbers: Vec<f64> =
                    (0..length).map(|n| if n == at { 3.0 } else { -(n as f64) }).collect();
                assert_eq!(largest(&numbers), 3.0);
            }
        }
    }
}

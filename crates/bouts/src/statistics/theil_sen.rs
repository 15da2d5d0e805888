//! A straight line that single bad values can't move.

use super::median;

/// Two-sided 95 % point of the normal distribution.
const NORMAL_95: f64 = 1.959_963_985;

/// A line through points, with the interval of its slope.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TheilSen {
    /// Median of the slopes of all pairs of points.
    pub slope: f64,
    /// Median of y − slope·x.
    pub intercept: f64,
    /// Sen's 95 % interval of the slope; `None` for too few points.
    pub slope_interval: Option<(f64, f64)>,
}

impl TheilSen {
    /// Value of the line at `x`.
    pub fn at(&self, x: f64) -> f64 {
        self.intercept + self.slope * x
    }
}

/// Lays the line of Theil 1950 and Sen 1968 (both from memory) through points given as equally long columns.
///
/// Pairs with equal `x` have no slope and are left out. `None` where no pair is left. The interval takes the k-th
/// smallest and largest slope, k = ⌊(N − C)/2⌋ with N slopes and C = 1.96·√(n(n−1)(2n+5)/18). Values must be finite.
///
/// The slopes of few points are all taken; of many only those near the wanted ones, in O(n log n) steps each and some for each
/// point, with the same result to the last bit.
///
/// ```
/// use boutwise_bouts::statistics::theil_sen;
/// // One bad value among seven.
/// let x = [0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0];
/// let line = theil_sen(&x, &[400.0, 402.5, 405.0, 407.5, 410.0, 495.5, 415.0]).unwrap();
/// assert_eq!((line.slope, line.at(2.0)), (2.5, 405.0));
/// ```
pub fn theil_sen(x: &[f64], y: &[f64]) -> Option<TheilSen> {
    let count = x.len().min(y.len());
    let mut slopes = Slopes::of(&x[..count], &y[..count]);
    let last = slopes.count.checked_sub(1)?;
    // Of an even number the mean of the middle two.
    let lower = slopes.nth(last / 2);
    let upper = if last % 2 == 0 { lower } else { slopes.nth(last / 2 + 1) };
    let slope = lower + 0.5 * (upper - lower);
    let slope_interval =
        sen_rank(slopes.count, count).map(|rank| (slopes.nth(rank - 1), slopes.nth(slopes.count - rank)));
    let rests: Vec<f64> = x.iter().zip(y).map(|(x, y)| y - slope * x).collect();
    Some(TheilSen { slope, intercept: median(&rests)?, slope_interval })
}

/// Rank from 1 of the slopes of so many points that bound Sen's interval, from below and from above.
fn sen_rank(slopes: usize, points: usize) -> Option<usize> {
    let n = points as f64;
    let reach = NORMAL_95 * (n * (n - 1.0) * (2.0 * n + 5.0) / 18.0).sqrt();
    let rank = ((slopes as f64 - reach) / 2.0).floor();
    (rank >= 1.0).then_some(rank as usize)
}

/// Up to so many points all slopes are taken: 2016 of them.
const FEW_POINTS: usize = 64;
/// Slopes drawn to learn where a wanted one lies, for each point (own choice: more cost more, fewer leave more to look at).
const DRAWN_PER_POINT: usize = 4;
/// Slopes near a wanted one that are looked at one by one, for each point (own choice): of more some are drawn again.
const NEAR_PER_POINT: usize = 32;
/// What is looked at reaches so many standard deviations of the draw to either side of the wanted slope; where that was
/// not enough, twice as many, and so on.
const REACH_SDS: f64 = 2.5;
/// Slopes are compared by what they leave of each y; that errs by so many units in the last place of the largest term.
const ROUNDING_UNITS: f64 = 8.0;

/// The slopes of all pairs of points with unlike x.
struct Slopes {
    /// Points in order of x, then of y.
    points: Vec<(f64, f64)>,
    /// Number of slopes.
    count: usize,
    /// All of them, where the points are few.
    all: Vec<f64>,
    /// Some drawn from all, in order, where they are many.
    drawn: Vec<f64>,
}

impl Slopes {
    fn of(x: &[f64], y: &[f64]) -> Self {
        let mut points: Vec<(f64, f64)> = x.iter().copied().zip(y.iter().copied()).collect();
        points.sort_unstable_by(|a, b| a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1)));
        let pairs = |count: usize| count * count.saturating_sub(1) / 2;
        let alike: usize = points.chunk_by(|a, b| a.0 == b.0).map(|alike| pairs(alike.len())).sum();
        let mut slopes =
            Self { count: pairs(points.len()) - alike, points, all: Vec::new(), drawn: Vec::new() };
        if slopes.points.len() <= FEW_POINTS {
            slopes.all.reserve_exact(slopes.count);
            for (index, &from) in slopes.points.iter().enumerate() {
                let later = slopes.points[index + 1..].iter().filter(|to| to.0 != from.0);
                slopes.all.extend(later.map(|&to| slope(from, to)));
            }
        } else if slopes.count > 0 {
            slopes.draw();
        }
        slopes
    }

    /// Fills `drawn` by a fixed sequence, so that a result depends on nothing but the points.
    fn draw(&mut self) {
        let mut state = 1_u64;
        let mut below = |end: usize| {
            // Knuth's linear congruential generator (MMIX), its high half.
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (((state >> 32) * end as u64) >> 32) as usize
        };
        let count = self.points.len();
        for _ in 0..DRAWN_PER_POINT * count {
            let (from, to) = (self.points[below(count)], self.points[below(count)]);
            if from.0 != to.0 {
                self.drawn.push(slope(from, to));
            }
        }
        self.drawn.sort_unstable_by(f64::total_cmp);
    }

    /// The slope at a place of all in order, from 0.
    fn nth(&mut self, place: usize) -> f64 {
        if self.drawn.is_empty() {
            return *self.all.select_nth_unstable_by(place, f64::total_cmp).1;
        }
        let mut sds = REACH_SDS;
        loop {
            let (low, high) = around(&self.drawn, place, self.count, sds);
            if let Some(found) = self.nth_within(place, low, high, Again::May) {
                return found;
            }
            sds *= 2.0;
        }
    }

    /// The slope at a place of all in order, if it lies between two slopes.
    ///
    /// A pair's slope is below s where y − s·x falls from the one to the other, so that slopes are counted and found by
    /// sorting. That rounds; so the limits are moved apart by more than rounding does, and what is counted below them
    /// surely lies below.
    fn nth_within(&self, place: usize, low: f64, high: f64, again: Again) -> Option<f64> {
        let (below_low, mut between) = if low.is_finite() && high.is_finite() {
            let split = self.split(low - self.rounding(low), high + self.rounding(high));
            let rank = place.checked_sub(split.below_low).filter(|&rank| rank < split.count)?;
            let near = NEAR_PER_POINT * self.points.len();
            if split.count > near && again == Again::May {
                let mut drawn = self.between(&split, split.count / (DRAWN_PER_POINT * self.points.len()));
                drawn.sort_unstable_by(f64::total_cmp);
                let (low, high) = around(&drawn, rank, split.count, REACH_SDS);
                if low.is_finite() && high.is_finite() {
                    drop(drawn);
                    if let Some(found) = self.nth_within(place, low, high, Again::No) {
                        return Some(found);
                    }
                }
            }
            if split.count > near && low == high {
                // Many slopes are the same one: they are counted, and not listed.
                let (mut below, mut alike) = (0, 0);
                self.visit(&split, 1, |slope| {
                    below += usize::from(slope < low);
                    alike += usize::from(slope == low);
                });
                return (below..below + alike).contains(&rank).then_some(low);
            }
            (split.below_low, self.between(&split, 1))
        } else {
            let all = self.points.iter().enumerate().flat_map(|(index, &from)| {
                let later = self.points[index + 1..].iter().filter(move |to| to.0 != from.0);
                later.map(move |&to| slope(from, to))
            });
            (0, all.collect())
        };
        let rank = place.checked_sub(below_low).filter(|&rank| rank < between.len())?;
        let found = *between.select_nth_unstable_by(rank, f64::total_cmp).1;
        (low..=high).contains(&found).then_some(found)
    }

    /// What rounding may make of a slope near `slope`.
    fn rounding(&self, slope: f64) -> f64 {
        let largest =
            self.points.iter().fold(0.0_f64, |largest, &(x, y)| largest.max(y.abs()).max((slope * x).abs()));
        let steps = self.points.windows(2).map(|pair| pair[1].0 - pair[0].0).filter(|step| *step > 0.0);
        ROUNDING_UNITS * f64::EPSILON * (largest / steps.fold(f64::INFINITY, f64::min) + slope.abs())
    }

    /// Counts the slopes below `low`, and from there to `high`.
    fn split(&self, low: f64, high: f64) -> Split {
        let order = |limit: f64| {
            let rests: Vec<f64> = self.points.iter().map(|&(x, y)| y - limit * x).collect();
            let mut order: Vec<u32> = (0..rests.len() as u32).collect();
            // Stable: points with the same rest stay in their order, so that no slope between them counts as below.
            order.sort_by(|&a, &b| rests[a as usize].total_cmp(&rests[b as usize]));
            order
        };
        let by_low = order(low);
        let mut place_by_low = vec![0_u32; by_low.len()];
        for (place, &index) in (0..).zip(&by_low) {
            place_by_low[index as usize] = place;
        }
        // Pairs that change places on the way from the lower limit to the upper one.
        let turned: Vec<u32> = order(high).iter().map(|&index| place_by_low[index as usize]).collect();
        let (mut count, mut below_low) = (0, 0);
        inversions(turned.clone(), |later, _| count += later.len());
        inversions(by_low.clone(), |later, _| below_low += later.len());
        Split { below_low, count, by_low, turned }
    }

    /// One of so many slopes between the limits of a split.
    fn between(&self, split: &Split, one_of: usize) -> Vec<f64> {
        let mut between = Vec::with_capacity(split.count / one_of + 1);
        self.visit(split, one_of, |slope| between.push(slope));
        between
    }

    fn visit(&self, split: &Split, one_of: usize, mut take: impl FnMut(f64)) {
        let point = |place: u32| self.points[split.by_low[place as usize] as usize];
        let mut skipped = 0;
        inversions(split.turned.clone(), |later, earlier| {
            for &later in later.iter().skip(skipped).step_by(one_of) {
                take(slope(point(earlier), point(later)));
            }
            // As many as are left to skip once those of this element are through.
            skipped = match later.len().checked_sub(skipped) {
                Some(rest) => rest.next_multiple_of(one_of) - rest,
                None => skipped - later.len(),
            };
        });
    }
}

/// Whether slopes near a wanted one may be drawn from once more.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Again {
    May,
    No,
}

/// Slopes between two limits, told by the order that the points have at each.
struct Split {
    /// Number of slopes below the lower limit.
    below_low: usize,
    /// Number of slopes between.
    count: usize,
    /// Points in their order at the lower limit.
    by_low: Vec<u32>,
    /// The places in that order, in the order at the upper limit.
    turned: Vec<u32>,
}

/// Drawn slopes that the one at a place of so many likely lies between; infinite where it may lie beyond all drawn.
fn around(drawn: &[f64], place: usize, count: usize, sds: f64) -> (f64, f64) {
    let all = drawn.len() as f64;
    let share = place as f64 / count as f64;
    let reach = sds * (share * (1.0 - share) * all).sqrt() + 1.0;
    let (low, high) = ((share * all - reach).floor(), (share * all + reach).ceil());
    (
        if low < 0.0 { f64::NEG_INFINITY } else { drawn[low as usize] },
        if high >= all { f64::INFINITY } else { drawn[high as usize] },
    )
}

/// Sorts by merging, and tells of each element those greater ones that stood before it.
fn inversions(mut values: Vec<u32>, mut tell: impl FnMut(&[u32], u32)) {
    let mut merged = values.clone();
    let mut width = 1;
    while width < values.len() {
        for (pair, merged) in values.chunks(2 * width).zip(merged.chunks_mut(2 * width)) {
            let (mut left, mut right) = pair.split_at(width.min(pair.len()));
            for slot in merged {
                *slot = match (left, right) {
                    ([first, rest @ ..], _) if right.first().is_none_or(|other| first < other) => {
                        left = rest;
                        *first
                    }
                    (_, [first, rest @ ..]) => {
                        right = rest;
                        tell(left, *first);
                        *first
                    }
                    // As many slots as values.
                    _ => break,
                };
            }
        }
        std::mem::swap(&mut values, &mut merged);
        width *= 2;
    }
}

fn slope(from: (f64, f64), to: (f64, f64)) -> f64 {
    (to.1 - from.1) / (to.0 - from.0)
}

#[cfg(test)]
mod tests {
    use approx::assert_abs_diff_eq;
    use proptest::prelude::*;

    use super::*;

    /// 0, 1, 2 … as long as `y`.
    fn line(y: &[f64]) -> TheilSen {
        let x: Vec<f64> = (0..y.len()).map(|x| x as f64).collect();
        theil_sen(&x, y).unwrap()
    }

    #[test]
    fn slope_intercept_and_interval_of_the_worked_example() {
        // Own example, recomputed by hand: least squares would say 1.7818182, median y − slope·median x 400.5.
        let line = line(&[400.0, 400.0, 405.0, 405.0, 408.0, 409.0, 411.0, 413.0, 413.0, 416.0]);
        assert_abs_diff_eq!(line.slope, 1.7777778, epsilon = 1e-7);
        assert_abs_diff_eq!(line.intercept, 400.0555556, epsilon = 1e-7);
        // C = 21.91306, 45 slopes, k = 11.
        let (low, high) = line.slope_interval.unwrap();
        assert_abs_diff_eq!(low, 1.5, epsilon = 1e-6);
        assert_abs_diff_eq!(high, 2.0, epsilon = 1e-6);
    }

    #[test]
    fn one_lost_fix_does_not_move_the_slope() {
        // Own example: least squares would say 8.4285714.
        assert_abs_diff_eq!(
            line(&[400.0, 402.5, 405.0, 407.5, 410.0, 495.5, 415.0]).slope,
            2.5,
            epsilon = 1e-12
        );
    }

    #[test]
    fn too_few_points_have_no_interval_or_no_line() {
        assert_eq!(line(&[1.0, 2.0, 3.0]).slope_interval, None);
        assert_eq!(theil_sen(&[1.0], &[1.0]), None);
        assert_eq!(theil_sen(&[1.0, 1.0], &[1.0, 2.0]), None);
    }

    /// All slopes of all pairs in order, as the definition has it.
    fn all_slopes(x: &[f64], y: &[f64]) -> Vec<f64> {
        let mut slopes = Vec::new();
        for i in 0..x.len() {
            slopes.extend((i + 1..x.len()).filter(|&j| x[i] != x[j]).map(|j| (y[j] - y[i]) / (x[j] - x[i])));
        }
        slopes.sort_unstable_by(f64::total_cmp);
        slopes
    }

    #[test]
    fn more_slopes_near_the_wanted_one_than_are_looked_at_change_nothing() {
        // Two days of points whose slopes crowd: 5000 points have 12 million slopes.
        let x: Vec<f64> = (0..5000).map(f64::from).collect();
        let y: Vec<f64> = x.iter().map(|x| (x * 0.7).sin() + (x * 0.013).cos()).collect();
        let slopes = Slopes::of(&x, &y);
        let (low, high) = around(&slopes.drawn, slopes.count / 2, slopes.count, REACH_SDS);
        let split = slopes.split(low, high);
        assert!(split.count > NEAR_PER_POINT * x.len(), "{} slopes", split.count);
        let drawn = slopes.between(&split, 7);
        assert_eq!(drawn.len(), split.count.div_ceil(7));
        // Whole values make many equal slopes.
        for y in [y.clone(), y.iter().map(|y| y.round()).collect()] {
            let mut slopes = Slopes::of(&x, &y);
            let expected = all_slopes(&x, &y);
            for place in [slopes.count / 2, slopes.count / 2 - 4000, slopes.count / 3] {
                assert_eq!(slopes.nth(place), expected[place]);
            }
        }
    }

    #[test]
    fn many_points_on_one_line_have_its_slope() {
        let x: Vec<f64> = (0..400).map(f64::from).collect();
        let line = theil_sen(&x, &vec![3.0; 400]).unwrap();
        assert_eq!((line.slope, line.intercept, line.slope_interval), (0.0, 3.0, Some((0.0, 0.0))));
    }

    proptest! {
        #[test]
        fn many_points_give_the_slopes_of_all_their_pairs_to_the_bit(
            points in prop::collection::vec((0..300_u32, -50..50_i32, -1e-3..1e-3_f64), 65..160), whole in any::<bool>(),
        ) {
            // Whole values make many equal slopes, and equal x.
            let x: Vec<f64> = points.iter().map(|point| f64::from(point.0)).collect();
            let fine = if whole { 0.0 } else { 1.0 };
            let y: Vec<f64> = points.iter().map(|point| f64::from(point.1) + fine * point.2).collect();
            let expected = all_slopes(&x, &y);
            let mut slopes = Slopes::of(&x, &y);
            prop_assert_eq!(slopes.count, expected.len());
            let last = expected.len() - 1;
            for place in [0, 1, last / 10, last / 2, last / 2 + 1, last - last / 10, last - 1, last] {
                prop_assert_eq!(slopes.nth(place), expected[place]);
            }
            let line = theil_sen(&x, &y).unwrap();
            prop_assert_eq!(line.slope, median(&expected).unwrap());
        }

        #[test]
        fn a_straight_line_is_found_again(
            slope in -10.0..10.0_f64, intercept in -100.0..100.0_f64,
            x in prop::collection::btree_set(-1000..1000_i32, 2..30),
        ) {
            let x: Vec<f64> = x.into_iter().map(f64::from).collect();
            let y: Vec<f64> = x.iter().map(|x| intercept + slope * x).collect();
            let line = theil_sen(&x, &y).unwrap();
            prop_assert!((line.slope - slope).abs() < 1e-9);
            prop_assert!((line.intercept - intercept).abs() < 1e-6);
        }

        #[test]
        fn the_interval_holds_the_slope(y in prop::collection::vec(-1e3..1e3_f64, 4..40)) {
            let line = line(&y);
            if let Some((low, high)) = line.slope_interval {
                prop_assert!(low <= line.slope && line.slope <= high);
            }
        }

        #[test]
        fn mirrored_values_have_the_mirrored_slope(y in prop::collection::vec(-1e3..1e3_f64, 2..40)) {
            let mirrored: Vec<f64> = y.iter().map(|y| -y).collect();
            prop_assert!((line(&y).slope + line(&mirrored).slope).abs() < 1e-9);
        }
    }
}

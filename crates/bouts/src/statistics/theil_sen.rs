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
/// smallest and largest slope, k = ⌊(N − C)/2⌋ with N slopes and C = 1.96·√(n(n−1)(2n+5)/18). Time O(n² log n).
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
    let mut slopes = Vec::with_capacity(count * count.saturating_sub(1) / 2);
    for i in 0..count {
        for j in i + 1..count {
            if x[i] != x[j] {
                slopes.push((y[j] - y[i]) / (x[j] - x[i]));
            }
        }
    }
    slopes.sort_unstable_by(f64::total_cmp);
    let slope = median(&slopes)?;
    let rests: Vec<f64> = x.iter().zip(y).map(|(x, y)| y - slope * x).collect();
    Some(TheilSen { slope, intercept: median(&rests)?, slope_interval: sen_interval(&slopes, count) })
}

/// Sen's interval of ordered slopes between so many points.
fn sen_interval(slopes: &[f64], count: usize) -> Option<(f64, f64)> {
    let n = count as f64;
    let reach = NORMAL_95 * (n * (n - 1.0) * (2.0 * n + 5.0) / 18.0).sqrt();
    let rank = ((slopes.len() as f64 - reach) / 2.0).floor();
    (rank >= 1.0).then(|| (slopes[rank as usize - 1], slopes[slopes.len() - rank as usize]))
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

    proptest! {
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

//! Means on a circle, such as times of day.

use std::f64::consts::TAU;

/// Below this resultant length the values share no direction (own choice).
const NO_DIRECTION: f64 = 0.1;

/// Where values on a circle lie.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CircularMean {
    /// Mean, from 0 to below the period; `None` where the values lie all around (resultant length below 0.1).
    pub mean: Option<f64>,
    /// Resultant length: 1 where all values are equal, 0 where they lie all around.
    pub resultant: f64,
    /// Circular standard deviation √(−2 ln R), in the unit of the values; infinite where R is 0.
    pub standard_deviation: f64,
}

/// Mean of values that begin again after a period (circular statistics: Mardia; Fisher; from memory); `None` without values.
///
/// ```
/// use boutwise_bouts::statistics::circular_mean;
/// // 23:50 and 00:10 in minutes of a day: around midnight, not noon.
/// let usual = circular_mean(&[1430.0, 10.0], 1440.0).unwrap();
/// let mean = usual.mean.unwrap();
/// assert!(mean.min(1440.0 - mean) < 1e-9);
/// ```
pub fn circular_mean(values: &[f64], period: f64) -> Option<CircularMean> {
    if values.is_empty() {
        return None;
    }
    let (mut east, mut north) = (0.0, 0.0);
    for value in values {
        let (sin, cos) = (value / period * TAU).sin_cos();
        east += cos / values.len() as f64;
        north += sin / values.len() as f64;
    }
    let resultant = east.hypot(north).min(1.0);
    let direction = (north.atan2(east) / TAU * period).rem_euclid(period);
    Some(CircularMean {
        mean: (resultant >= NO_DIRECTION).then_some(if direction < period { direction } else { 0.0 }),
        resultant,
        standard_deviation: (-2.0 * resultant.ln()).max(0.0).sqrt() / TAU * period,
    })
}

#[cfg(test)]
mod tests {
    use approx::assert_abs_diff_eq;
    use proptest::prelude::*;

    use super::*;

    const DAY_MIN: f64 = 1440.0;

    #[test]
    fn times_around_midnight_have_their_mean_at_midnight() {
        // Own example, recomputed by hand.
        let around = circular_mean(&[1430.0, 10.0], DAY_MIN).unwrap();
        let mean = around.mean.unwrap();
        assert_abs_diff_eq!(mean.min(DAY_MIN - mean), 0.0, epsilon = 1e-9);
        assert_abs_diff_eq!(around.resultant, 0.9990482, epsilon = 1e-7);
        assert_abs_diff_eq!(around.standard_deviation, 10.0015872, epsilon = 1e-6);
    }

    #[test]
    fn one_morning_among_evenings_shifts_the_mean_a_little() {
        // Own example, recomputed by hand: 18:00 18:30 19:00 07:00 have their mean at 18:15.
        let usual = circular_mean(&[1080.0, 1110.0, 1140.0, 420.0], DAY_MIN).unwrap();
        assert_abs_diff_eq!(usual.mean.unwrap(), 1095.0, epsilon = 1e-6);
        assert_abs_diff_eq!(usual.resultant, 0.4989295, epsilon = 1e-7);
        assert_abs_diff_eq!(usual.standard_deviation, 270.259386, epsilon = 1e-5);
    }

    #[test]
    fn times_all_around_the_clock_have_no_mean() {
        assert_eq!(circular_mean(&[0.0, 360.0, 720.0, 1080.0], DAY_MIN).unwrap().mean, None);
        assert_eq!(circular_mean(&[], DAY_MIN), None);
    }

    proptest! {
        #[test]
        fn turning_the_circle_turns_the_mean(
            values in prop::collection::vec(0.0..300.0_f64, 1..20), turn in 0.0..1440.0_f64,
        ) {
            let turned: Vec<f64> = values.iter().map(|value| (value + turn) % DAY_MIN).collect();
            let (a, b) = (circular_mean(&values, DAY_MIN).unwrap(), circular_mean(&turned, DAY_MIN).unwrap());
            let off = (b.mean.unwrap() - a.mean.unwrap() - turn).rem_euclid(DAY_MIN);
            prop_assert!(off.min(DAY_MIN - off) < 1e-6);
            prop_assert!((0.0..DAY_MIN).contains(&b.mean.unwrap()));
        }
    }
}

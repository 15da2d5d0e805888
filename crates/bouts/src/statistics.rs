//! Plain statistics of few values: middle, spread, trend, time of day, load.
//!
//! Missing is left out by the caller; values are finite. Where too few are given to say anything, the answer is `None`.

mod circular;
mod load;
mod theil_sen;

pub use circular::{CircularMean, circular_mean};
pub use load::{monotony, session_load, strain};
pub use theil_sen::{TheilSen, theil_sen};

/// Fewest values whose coefficient of variation says something (own choice).
const SPREAD_MIN_VALUES: usize = 3;

/// Arithmetic mean.
///
/// ```
/// assert_eq!(boutwise_bouts::statistics::mean(&[22.0, 21.0, 19.0, 18.0]), Some(20.0));
/// ```
pub fn mean(values: &[f64]) -> Option<f64> {
    (!values.is_empty()).then(|| values.iter().sum::<f64>() / values.len() as f64)
}

/// Arithmetic mean of values one after another.
pub(crate) fn mean_of(values: impl Iterator<Item = f64>) -> Option<f64> {
    let (count, sum) = values.fold((0_u32, 0.0), |(count, sum), value| (count + 1, sum + value));
    (count > 0).then(|| sum / f64::from(count))
}

/// How many values of a column fit. A sum that is watched for leaving its range is taken one by one; this one cannot leave it, and
/// several values are looked at together.
pub(crate) fn count<T: Copy>(column: &[T], fits: impl Fn(T) -> bool) -> usize {
    column.iter().fold(0, |count: usize, &value| count.wrapping_add(usize::from(fits(value))))
}

/// The largest of values from `least` on, which it is where there is none; what is not a number is left out. Several values are looked
/// at together.
pub(crate) fn largest(values: &[f64], least: f64) -> f64 {
    let larger = |a: f64, b: f64| if b > a { b } else { a };
    let (fours, rest) = values.as_chunks();
    let fours = fours.iter().fold([least; 4], |[a, b, c, d], &[e, f, g, h]| {
        [larger(a, e), larger(b, f), larger(c, g), larger(d, h)]
    });
    fours.iter().chain(rest).copied().fold(least, larger)
}

/// Middle value; the mean of the middle two for an even number of values.
///
/// ```
/// assert_eq!(boutwise_bouts::statistics::median(&[22.0, 18.0, 19.0, 21.0]), Some(20.0));
/// ```
pub fn median(values: &[f64]) -> Option<f64> {
    quantile(values, 0.5)
}

/// Value below which a share of the values lies, straight between neighbours in order (type 7 of Hyndman and Fan 1996).
///
/// `share` is held to 0–1.
///
/// ```
/// assert_eq!(boutwise_bouts::statistics::quantile(&[1.0, 2.0, 3.0, 4.0, 5.0], 0.9), Some(4.6));
/// ```
pub fn quantile(values: &[f64], share: f64) -> Option<f64> {
    let mut values = values.to_vec();
    let last = values.len().checked_sub(1)?;
    let place = share.clamp(0.0, 1.0) * last as f64;
    let (_, &mut lower, above) = values.select_nth_unstable_by(place as usize, f64::total_cmp);
    let upper = above.iter().copied().min_by(f64::total_cmp).unwrap_or(lower);
    Some(lower + place.fract() * (upper - lower))
}

/// Standard deviation of a sample (n − 1); `None` for fewer than two values.
///
/// ```
/// let deviation = boutwise_bouts::statistics::standard_deviation(&[1.0, 3.0]).unwrap();
/// assert!((deviation - 2.0_f64.sqrt()).abs() < 1e-12);
/// ```
pub fn standard_deviation(values: &[f64]) -> Option<f64> {
    let mean = mean(values).filter(|_| values.len() > 1)?;
    let squares: f64 = values.iter().map(|value| (value - mean).powi(2)).sum();
    Some((squares / (values.len() - 1) as f64).sqrt())
}

/// Sample standard deviation in % of the mean; `None` for fewer than three values or a mean that is not positive.
///
/// ```
/// // Speeds of five bouts in metres per second.
/// let spread = boutwise_bouts::statistics::variation_pct(&[2.40, 2.35, 2.45, 2.30, 2.38]).unwrap();
/// assert!((spread - 2.3546).abs() < 1e-4);
/// ```
pub fn variation_pct(values: &[f64]) -> Option<f64> {
    let mean = mean(values).filter(|&mean| values.len() >= SPREAD_MIN_VALUES && mean > 0.0)?;
    Some(100.0 * standard_deviation(values)? / mean)
}

/// Change of pace from the first to the second half, in % of the first half's pace; positive = slowing.
///
/// Each half is given as (seconds, metres). `None` where a half has no time or no metres.
///
/// ```
/// use boutwise_bouts::statistics::half_split_pct;
/// let change = half_split_pct((480.0, 1152.0), (480.0, 1129.0)).unwrap();
/// assert!((change - 2.0372).abs() < 1e-4);
/// ```
pub fn half_split_pct(first: (f64, f64), second: (f64, f64)) -> Option<f64> {
    let positive = |half: (f64, f64)| half.0 > 0.0 && half.1 > 0.0;
    (positive(first) && positive(second)).then(|| 100.0 * ((second.0 / second.1) / (first.0 / first.1) - 1.0))
}

#[cfg(test)]
mod tests {
    use approx::assert_abs_diff_eq;
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn the_largest_is_found_wherever_it_stands() {
        for length in 1..10 {
            for at in 0..length {
                let values: Vec<f64> = (0..length).map(|index| if index == at { 7.0 } else { 3.0 }).collect();
                assert_eq!(largest(&values, 0.0), 7.0, "{at} of {length}");
                assert_eq!(largest(&values, 8.0), 8.0);
                let unknown: Vec<f64> =
                    values.iter().map(|&value| if value > 5.0 { f64::NAN } else { value }).collect();
                assert_eq!(largest(&unknown, 0.0), if length > 1 { 3.0 } else { 0.0 }, "{at} of {length}");
            }
        }
    }

    #[test]
    fn spread_is_that_of_a_sample() {
        // Own example, recomputed by hand: 2.3546 % as a sample, 2.1061 % as a population.
        let speeds = [2.40, 2.35, 2.45, 2.30, 2.38];
        assert_abs_diff_eq!(variation_pct(&speeds).unwrap(), 2.3546466, epsilon = 1e-6);
        assert_eq!(variation_pct(&speeds[..2]), None);
    }

    #[test]
    fn half_split_is_relative_to_the_first_half() {
        // Own example: 416.6667 and 425.1550 s/km; relative to the second half it would be 1.9965 %.
        assert_abs_diff_eq!(
            half_split_pct((480.0, 1152.0), (480.0, 1129.0)).unwrap(),
            2.0372011,
            epsilon = 1e-6
        );
        assert_eq!(half_split_pct((480.0, 0.0), (480.0, 1129.0)), None);
    }

    #[test]
    fn quantiles_lie_straight_between_neighbours() {
        // Type 7 by its definition: place (n − 1)·share in the ordered values.
        let values = [15.0, 20.0, 35.0, 40.0, 50.0];
        assert_abs_diff_eq!(quantile(&values, 0.4).unwrap(), 29.0, epsilon = 1e-12);
        assert_eq!(quantile(&values, 0.0), Some(15.0));
        assert_eq!(quantile(&values, 1.0), Some(50.0));
        assert_eq!(quantile(&[], 0.5), None);
    }

    proptest! {
        #[test]
        fn quantiles_rise_with_their_share(
            values in prop::collection::vec(-1e3..1e3_f64, 1..30), a in 0.0..=1.0_f64, b in 0.0..=1.0_f64,
        ) {
            prop_assert!(quantile(&values, a.min(b)).unwrap() <= quantile(&values, a.max(b)).unwrap() + 1e-9);
        }

        #[test]
        fn the_order_of_values_does_not_matter(values in prop::collection::vec(-1e3..1e3_f64, 1..30)) {
            let mut backwards = values.clone();
            backwards.reverse();
            prop_assert_eq!(median(&values), median(&backwards));
        }
    }
}

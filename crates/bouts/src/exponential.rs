//! The exponential function below zero, where most time would go into it: without a branch, so that a loop over it takes
//! several values at a time.

use std::f64::consts::LOG2_E;

/// Below this the value counts as 0; the least power of two that a double has as a normal number is near −708.
const LEAST: f64 = -700.0;
/// Added to a number of less than 2⁵¹ it leaves the nearest whole number in the lowest bits: 1.5 · 2⁵².
const ROUNDING: f64 = 6_755_399_441_055_744.0;
/// ln 2, cut after 33 bits, so that whole multiples up to 2¹⁹ are exact, and what is left of it.
const LN_2_HIGH: f64 = f64::from_bits(0x3fe6_2e42_fee0_0000);
const LN_2_LOW: f64 = 1.908_214_929_270_587_7e-10;

/// The exponential of an argument up to zero, within 1e-11 of its value: a power of two, and ten terms of the series for the
/// rest, which is at most half of ln 2.
#[inline]
pub(crate) fn exponential(argument: f64) -> f64 {
    let shifted = argument * LOG2_E + ROUNDING;
    let whole = shifted - ROUNDING;
    let rest = argument - whole * LN_2_HIGH - whole * LN_2_LOW;
    let (r, one) = (rest, 1.0_f64);
    let high =
        one / 120.0 + r * (one / 720.0 + r * (one / 5040.0 + r * (one / 40_320.0 + r * (one / 362_880.0))));
    let series = 1.0 + r * (1.0 + r * (0.5 + r * (one / 6.0 + r * (one / 24.0 + r * high))));
    // The whole number moves to where a double has its power of two.
    let value = f64::from_bits(series.to_bits().wrapping_add(shifted.to_bits() << 52));
    if argument < LEAST { 0.0 } else { value }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_agrees_with_the_standard_library() {
        for argument in (0..7_000_000).map(|step| -0.0001 * f64::from(step)) {
            let (found, expected) = (exponential(argument), argument.exp());
            assert!((found - expected).abs() <= 1e-11 * expected, "{argument}: {found} {expected}");
        }
        assert_eq!(exponential(0.0), 1.0);
        assert_eq!(exponential(-1e9), 0.0);
        assert_eq!(exponential(f64::NEG_INFINITY), 0.0);
    }
}

//! The exponential function below zero, where most time would go into it.

use std::sync::LazyLock;

/// Values tabulated for each unit.
const PER_UNIT: u32 = 64;
/// Least argument that is tabulated; below it the standard library serves.
const LEAST: u32 = 26;

static TABLE: LazyLock<Vec<f64>> = LazyLock::new(|| {
    (0..=LEAST * PER_UNIT).map(|step| (-f64::from(step) / f64::from(PER_UNIT)).exp()).collect()
});

/// Exponentials of arguments up to zero by a table and four terms of the series: within 1e-11 of the value.
#[derive(Clone, Copy)]
pub(crate) struct Exponential(&'static [f64]);

impl Exponential {
    pub(crate) fn new() -> Self {
        Self(&TABLE)
    }

    #[inline]
    pub(crate) fn of(self, argument: f64) -> f64 {
        let step = (argument * -f64::from(PER_UNIT)) as u32;
        let Some(&coarse) = self.0.get(step as usize) else { return argument.exp() };
        let rest = argument + f64::from(step) * (1.0 / f64::from(PER_UNIT));
        coarse * (1.0 + rest * (1.0 + rest * (0.5 + rest * (1.0 / 6.0 + rest * (1.0 / 24.0)))))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_agrees_with_the_standard_library() {
        let exponential = Exponential::new();
        for argument in (0..400_000).map(|step| -0.0001 * f64::from(step)) {
            let (found, expected) = (exponential.of(argument), argument.exp());
            assert!((found - expected).abs() <= 1e-11 * expected, "{argument}: {found} {expected}");
        }
        assert_eq!(exponential.of(0.0), 1.0);
        assert_eq!(exponential.of(f64::NEG_INFINITY), 0.0);
    }
}

//! The one source of chance: a seeded generator, so that every invented recording can be made again.

use rand::{RngExt, SeedableRng};
use rand_distr::{Exp1, StandardNormal};
use rand_pcg::Pcg64;

/// Seeded random draws (PCG-64, portable: the same seed gives the same numbers on every machine).
#[derive(Clone, Debug)]
pub struct Random(Pcg64);

impl Random {
    /// A generator that repeats itself for the same seed.
    pub fn new(seed: u64) -> Self {
        Self(Pcg64::seed_from_u64(seed))
    }

    /// A generator of its own for one purpose, so that one purpose's draws do not move another's.
    pub fn fork(&mut self) -> Self {
        Self::new(self.0.random())
    }

    /// Uniform between the two ends; the end itself where both are equal.
    pub fn between(&mut self, (low, high): (f64, f64)) -> f64 {
        low + (high - low) * self.0.random::<f64>()
    }

    /// A whole number from `low` to `high`, both included.
    pub fn whole(&mut self, low: usize, high: usize) -> usize {
        self.0.random_range(low..=high.max(low))
    }

    /// Normal with mean 0.
    pub fn normal(&mut self, standard_deviation: f64) -> f64 {
        let standard: f64 = self.0.sample(StandardNormal);
        standard_deviation * standard
    }

    /// Laplace with mean 0: heavier tails than the normal.
    pub fn laplace(&mut self, standard_deviation: f64) -> f64 {
        let size: f64 = self.0.sample(Exp1);
        let sign = if self.chance(0.5) { 1.0 } else { -1.0 };
        sign * size * standard_deviation * std::f64::consts::FRAC_1_SQRT_2
    }

    /// True with the given probability.
    pub fn chance(&mut self, probability: f64) -> bool {
        self.0.random::<f64>() < probability
    }

    /// One of the items.
    ///
    /// # Panics
    /// Where there is no item.
    pub fn pick<'a, T>(&mut self, items: &'a [T]) -> &'a T {
        &items[self.0.random_range(0..items.len())]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_same_seed_gives_the_same_draws() {
        let draws = |seed| {
            let mut random = Random::new(seed);
            (0..50)
                .map(|_| random.normal(1.0) + random.laplace(1.0) + random.between((2.0, 3.0)))
                .collect::<Vec<_>>()
        };
        assert_eq!(draws(5), draws(5));
        assert_ne!(draws(5), draws(6));
    }

    #[test]
    fn laplace_and_normal_have_the_asked_spread() {
        let mut random = Random::new(1);
        for laplace in [false, true] {
            let draws: Vec<f64> =
                (0..40_000).map(|_| if laplace { random.laplace(2.0) } else { random.normal(2.0) }).collect();
            let variance = draws.iter().map(|x| x * x).sum::<f64>() / draws.len() as f64;
            assert!((variance.sqrt() - 2.0).abs() < 0.05, "{}", variance.sqrt());
        }
    }
}

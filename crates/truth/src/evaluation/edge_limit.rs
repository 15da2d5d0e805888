//! How well anybody could date an edge.

use std::f64::consts::{SQRT_2, TAU};

/// Probability that the best estimate of an edge lies within `within_s` seconds of it, for an observer who is told the
/// speed on either side, the noise, and that there is one edge.
///
/// `resolution_s` is the noise of displacement in m²/s over the squared difference of the speeds. Errors whose increments
/// are independent make the likelihood of each place a two-sided Brownian motion with drift −½ a unit of
/// `resolution_s`; where it is highest has the distribution function that Yao gives (1987, Annals of Statistics
/// 15:1321–1328; from memory, and held against simulation in a test).
///
/// ```
/// use boutwise_truth::evaluation::datable_share;
///
/// assert!(datable_share(10.0, 0.3) > 0.99);
/// assert!(datable_share(10.0, 6.0) < 0.6);
/// ```
pub fn datable_share(within_s: f64, resolution_s: f64) -> f64 {
    let x = within_s / resolution_s;
    if x <= 0.0 {
        return 0.0;
    }
    if x > FAR {
        return 1.0;
    }
    let root = x.sqrt();
    let below = 1.0 + (x / TAU).sqrt() * (-x / 8.0).exp() - 0.5 * (x + 5.0) * normal_below(-0.5 * root)
        + 1.5 * x.exp() * normal_below(-1.5 * root);
    2.0 * below - 1.0
}

/// Beyond this the share is 1 to all digits, and e to its power is of no use.
const FAR: f64 = 300.0;

/// Distribution function of the standard normal distribution.
fn normal_below(z: f64) -> f64 {
    0.5 * libm::erfc(-z / SQRT_2)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Random;

    #[test]
    fn the_share_is_what_the_best_dating_of_made_edges_reaches() {
        // Steps of 0.4 m ± √0.5 m before the edge and 1.0 m ± √0.5 m after it: a resolution of 0.5 / 0.6² s.
        let (gap, noise, reach) = (0.6, 0.5_f64, 400);
        let mut random = Random::new(11);
        let trials = 4000;
        let within = (0..trials).filter(|_| {
            let mut score = 0.0;
            let mut best = (f64::NEG_INFINITY, 0_i32);
            for cell in -reach..reach {
                // An edge before this cell: all cells up to it speak for the level before.
                if score > best.0 {
                    best = (score, cell);
                }
                let middle = if cell < 0 { -0.5 * gap } else { 0.5 * gap };
                score -= (middle + random.normal(noise.sqrt())) * gap / noise;
            }
            best.1.abs() <= 3
        });
        let share = within.count() as f64 / f64::from(trials);
        // Whole seconds up to 3 reach half a second further on a scale without steps.
        let expected = datable_share(3.5, noise / (gap * gap));
        assert!((share - expected).abs() < 0.03, "{share} {expected}");
    }

    #[test]
    fn the_share_grows_with_the_tolerance_from_nothing_to_all() {
        let shares: Vec<f64> = (0..200).map(|x| datable_share(f64::from(x), 1.0)).collect();
        assert!(shares[0] == 0.0 && shares[199] > 1.0 - 1e-9);
        assert!(shares.windows(2).all(|pair| pair[0] <= pair[1] + 1e-9), "{shares:?}");
        // Method of the trade: half of the edges within 1.5 resolution times, nine in ten within 7.7.
        assert!((datable_share(1.5, 1.0) - 0.5).abs() < 0.05 && (datable_share(7.7, 1.0) - 0.9).abs() < 0.03);
    }
}

//! Training load from what athletes say of their effort (Foster and others 2001; monotony and strain: Foster 1998, from memory).

use super::{mean, standard_deviation};

/// Load of a session: effort on the scale 0–10 times minutes.
///
/// ```
/// assert_eq!(boutwise_bouts::statistics::session_load(4.0, 30.0), 120.0);
/// ```
pub fn session_load(effort_0_10: f64, duration_min: f64) -> f64 {
    effort_0_10 * duration_min
}

/// Mean of daily loads over their sample standard deviation, days without a session as 0.
///
/// `None` for fewer than two days, and where all days are equal.
///
/// ```
/// use boutwise_bouts::statistics::monotony;
/// let week = [120.0, 0.0, 150.0, 0.0, 120.0, 0.0, 0.0];
/// assert!((monotony(&week).unwrap() - 0.7936).abs() < 1e-4);
/// ```
pub fn monotony(daily_loads: &[f64]) -> Option<f64> {
    let deviation = standard_deviation(daily_loads).filter(|&deviation| deviation > 0.0)?;
    Some(mean(daily_loads)? / deviation)
}

/// Sum of daily loads times their [`monotony`].
///
/// ```
/// use boutwise_bouts::statistics::strain;
/// let week = [120.0, 0.0, 150.0, 0.0, 120.0, 0.0, 0.0];
/// assert!((strain(&week).unwrap() - 309.507).abs() < 1e-3);
/// ```
pub fn strain(daily_loads: &[f64]) -> Option<f64> {
    Some(daily_loads.iter().sum::<f64>() * monotony(daily_loads)?)
}

#[cfg(test)]
mod tests {
    use approx::assert_abs_diff_eq;

    use super::*;

    #[test]
    fn load_monotony_and_strain_of_the_worked_week() {
        // Own week of three sessions (30 min at 4, 5 and 4), recomputed by hand; 0.8572 with the population's deviation.
        let week = [session_load(4.0, 30.0), 0.0, session_load(5.0, 30.0), 0.0, 120.0, 0.0, 0.0];
        assert_eq!(week.iter().sum::<f64>(), 390.0);
        assert_abs_diff_eq!(monotony(&week).unwrap(), 0.7936080, epsilon = 1e-6);
        assert_abs_diff_eq!(strain(&week).unwrap(), 309.507122, epsilon = 1e-5);
    }

    #[test]
    fn equal_days_have_no_monotony() {
        assert_eq!(monotony(&[100.0; 7]), None);
        assert_eq!(monotony(&[100.0]), None);
    }
}

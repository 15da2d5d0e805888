//! A plain speed beside each point, good enough to settle sensor questions; segmentation makes its own.

use crate::Points;
use crate::distance::Steps;
use crate::timestamp::NS_PER_S;

/// Half the window of a speed in nanoseconds: net displacement over ten seconds (own choice; positional noise of a few
/// metres then stays below 0.5 m/s).
const HALF_WINDOW_NS: i64 = 5 * NS_PER_S;

/// Where the way of a recording is read from.
enum Way {
    Positions,
    Totals,
}

/// Speeds in m/s by net displacement from positions, else from the device's totals, else the device's own speeds;
/// NaN where none is known.
pub(super) fn speeds_m_per_s(points: &Points) -> Vec<f64> {
    let present = |column: &[f64]| column.iter().filter(|value| !value.is_nan()).count() >= 2;
    let way = if present(points.latitude_deg()) {
        Way::Positions
    } else if present(points.distance_m()) {
        Way::Totals
    } else {
        return points.speed_m_per_s().to_vec();
    };
    let column = match way {
        Way::Positions => points.latitude_deg(),
        Way::Totals => points.distance_m(),
    };
    let known: Vec<usize> = (0..points.len()).filter(|&index| !column[index].is_nan()).collect();
    let times_ns = points.time_ns();
    let (mut low, mut high) = (0, 0);
    let mut steps = Steps::default();
    times_ns
        .iter()
        .map(|&time_ns| {
            while low + 1 < known.len() && times_ns[known[low]] < time_ns - HALF_WINDOW_NS {
                low += 1;
            }
            while high + 1 < known.len() && times_ns[known[high + 1]] <= time_ns + HALF_WINDOW_NS {
                high += 1;
            }
            // With fewer than two in the window, the neighbours on both sides.
            let (mut from, mut to) = (low, high);
            if to <= from {
                from = high.saturating_sub(1);
                to = (from + 2).min(known.len() - 1);
            }
            let (from, to) = (known[from], known[to]);
            let way_m = match way {
                Way::Positions => match (points.position(from), points.position(to)) {
                    (Some(from), Some(to)) => steps.step_m(from, to),
                    _ => f64::NAN,
                },
                Way::Totals => points.distance_m()[to] - points.distance_m()[from],
            };
            way_m * NS_PER_S as f64 / (times_ns[to] - times_ns[from]) as f64
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Point, Position};

    #[test]
    fn an_even_pace_is_found_at_every_point_whatever_the_sampling() {
        for step_s in [1, 4, 17, 60] {
            let points: Points = (0..40)
                .map(|index| Point {
                    time_ns: Some(index * step_s * NS_PER_S),
                    position: Some(Position {
                        latitude_deg: 2e-5 * (index * step_s) as f64,
                        longitude_deg: 8.5,
                    }),
                    ..Point::default()
                })
                .collect();
            let expected_m_per_s = 110_574.388 * 2e-5;
            for speed in speeds_m_per_s(&points) {
                assert!((speed - expected_m_per_s).abs() < 0.001, "{step_s} s: {speed}");
            }
        }
    }
}

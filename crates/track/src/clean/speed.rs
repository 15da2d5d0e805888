//! A plain speed beside each point, good enough to settle sensor questions; segmentation makes its own.

use crate::distance::Steps;
use crate::points::known;
use crate::timestamp::NS_PER_S;
use crate::{Points, Position};

/// Half the window of a speed in nanoseconds: net displacement over ten seconds (own choice; positional noise of a few
/// metres then stays below 0.5 m/s).
pub(super) const HALF_WINDOW_NS: i64 = 5 * NS_PER_S;

/// Speeds in m/s by net displacement from positions, else from the device's totals, else the device's own speeds;
/// NaN where none is known.
pub(super) fn speeds_m_per_s(points: &Points) -> Vec<f64> {
    let present = |column: &[f64]| column.iter().filter(|value| !value.is_nan()).nth(1).is_some();
    let (latitude_deg, longitude_deg, totals_m) =
        (points.latitude_deg(), points.longitude_deg(), points.distance_m());
    if present(latitude_deg) {
        let [latitude_deg, longitude_deg] = known([latitude_deg, longitude_deg], latitude_deg);
        let place = |at: usize| Position { latitude_deg: latitude_deg[at], longitude_deg: longitude_deg[at] };
        let [times_ns] = known([points.time_ns()], points.latitude_deg());
        let mut steps = Steps::default();
        over_windows(points.time_ns(), &times_ns, |from, to| steps.step_m(place(from), place(to)))
    } else if present(totals_m) {
        let ([times_ns], [totals_m]) = (known([points.time_ns()], totals_m), known([totals_m], totals_m));
        over_windows(points.time_ns(), &times_ns, |from, to| totals_m[to] - totals_m[from])
    } else {
        points.speed_m_per_s().to_vec()
    }
}

/// Speeds over a window around each point, from the way between two of those whose place is known.
fn over_windows(times_ns: &[i64], known_ns: &[i64], mut way_m: impl FnMut(usize, usize) -> f64) -> Vec<f64> {
    let last = known_ns.len() - 1;
    let (mut low, mut high) = (0, 0);
    let speed = |&time_ns: &i64| {
        let (begin_ns, end_ns) = (time_ns - HALF_WINDOW_NS, time_ns + HALF_WINDOW_NS);
        while low < last && known_ns[low] < begin_ns {
            low += 1;
        }
        while high < last && known_ns[high + 1] <= end_ns {
            high += 1;
        }
        // With fewer than two in the window, the neighbours on both sides.
        let (mut from, mut to) = (low, high);
        if to <= from {
            from = high.saturating_sub(1);
            to = (from + 2).min(last);
        }
        way_m(from, to) * NS_PER_S as f64 / (known_ns[to] - known_ns[from]) as f64
    };
    times_ns.iter().map(speed).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Point;

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

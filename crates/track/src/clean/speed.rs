//! A plain speed beside each point, good enough to settle sensor questions; segmentation makes its own.

use crate::distance::Steps;
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
        let degrees = latitude_deg.iter().zip(longitude_deg);
        let places = degrees.map(|(&latitude_deg, &longitude_deg)| Position { latitude_deg, longitude_deg });
        let mut steps = Steps::default();
        let is_known = |place: &Position| !place.latitude_deg.is_nan();
        over_windows(points.time_ns(), places, is_known, |from, to| steps.step_m(from, to))
    } else if present(totals_m) {
        over_windows(
            points.time_ns(),
            totals_m.iter().copied(),
            |total_m| !total_m.is_nan(),
            |from, to| to - from,
        )
    } else {
        points.speed_m_per_s().to_vec()
    }
}

/// Speeds over a window around each point, from the way between two points whose place is known.
fn over_windows<P: Copy>(
    times_ns: &[i64],
    places: impl Iterator<Item = P>,
    is_known: impl Fn(&P) -> bool,
    mut way_m: impl FnMut(P, P) -> f64,
) -> Vec<f64> {
    let mut known: Vec<(i64, P)> = Vec::with_capacity(times_ns.len());
    known.extend(times_ns.iter().copied().zip(places).filter(|(_, place)| is_known(place)));
    let last = known.len() - 1;
    let (mut low, mut high) = (0, 0);
    let speed = |&time_ns: &i64| {
        let (begin_ns, end_ns) = (time_ns - HALF_WINDOW_NS, time_ns + HALF_WINDOW_NS);
        while low < last && known[low].0 < begin_ns {
            low += 1;
        }
        while high < last && known[high + 1].0 <= end_ns {
            high += 1;
        }
        // With fewer than two in the window, the neighbours on both sides.
        let (mut from, mut to) = (low, high);
        if to <= from {
            from = high.saturating_sub(1);
            to = (from + 2).min(last);
        }
        let ((from_ns, from), (to_ns, to)) = (known[from], known[to]);
        way_m(from, to) * NS_PER_S as f64 / (to_ns - from_ns) as f64
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

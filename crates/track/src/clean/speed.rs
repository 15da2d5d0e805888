//! A plain speed beside each point, good enough to settle sensor questions; segmentation makes its own.

use crate::Points;
use crate::distance::{Places, Steps};
use crate::points::known;
use crate::timestamp::NS_PER_S;

/// Half the window of a speed in nanoseconds: net displacement over ten seconds (own choice; positional noise of a few
/// metres then stays below 0.5 m/s).
pub(super) const HALF_WINDOW_NS: i64 = 5 * NS_PER_S;

/// Speeds in m/s by net displacement from positions, else from the device's totals, else the device's own speeds;
/// NaN where none is known.
pub(super) fn speeds_m_per_s(points: &Points) -> Vec<f64> {
    let present = |column: &[f64]| column.iter().filter(|value| !value.is_nan()).nth(1).is_some();
    let (latitude_deg, longitude_deg, totals_m) =
        (points.latitude_deg(), points.longitude_deg(), points.distance_m());
    if present(latitude_deg) && (points.positions_lead() || !present(totals_m)) {
        let [latitude_deg, longitude_deg] = known([latitude_deg, longitude_deg], latitude_deg);
        let places = Places { latitude_deg: &latitude_deg, longitude_deg: &longitude_deg };
        let [times_ns] = known([points.time_ns()], points.latitude_deg());
        let (mut steps, mut speeds) = (Steps::default(), Vec::with_capacity(points.len()));
        for moved in windows(points.time_ns(), &times_ns) {
            let [from, to] = moved.first.map(|at| places.within(at..at + moved.count));
            let mut windows = moved.windows();
            steps.each_m(from, to, |way_m| {
                speeds.extend(windows.next().map(|at| speed(way_m, at, &times_ns)))
            });
        }
        speeds
    } else if present(totals_m) {
        let ([times_ns], [totals_m]) = (known([points.time_ns()], totals_m), known([totals_m], totals_m));
        let windows = windows(points.time_ns(), &times_ns);
        let windows = windows.iter().flat_map(MovedWindow::windows);
        windows.map(|[from, to]| speed(totals_m[to] - totals_m[from], [from, to], &times_ns)).collect()
    } else {
        points.speed_m_per_s().to_vec()
    }
}

/// Windows of which each is the one before it moved on by a point, as most are.
struct MovedWindow {
    /// The first and the last point of the first window.
    first: [usize; 2],
    count: usize,
}

impl MovedWindow {
    fn window(&self, index: usize) -> [usize; 2] {
        self.first.map(|at| at + index)
    }

    /// The first and the last point of each.
    fn windows(&self) -> impl Iterator<Item = [usize; 2]> {
        (0..self.count).map(|index| self.window(index))
    }
}

/// The window around each point, of those whose place is known.
fn windows(times_ns: &[i64], known_ns: &[i64]) -> Vec<MovedWindow> {
    const REACH: usize = (HALF_WINDOW_NS / NS_PER_S) as usize;
    let last = known_ns.len() - 1;
    // As in most recordings; without an early end, so that several points are looked at together.
    let is_a_second = |pair: &[i64]| pair[1].wrapping_sub(pair[0]) == NS_PER_S;
    let is_each_second = known_ns.len() == times_ns.len()
        && times_ns.windows(2).fold(true, |all, pair| all & is_a_second(pair));
    let (mut low, mut high) = (0, 0);
    let mut search = |time_ns: i64| {
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
        [from, to]
    };
    let mut found: Vec<MovedWindow> = Vec::new();
    let mut at = 0;
    while at < times_ns.len() {
        let (first, count) = match is_each_second {
            // Those that reach beyond an end are not moved on at both.
            true => {
                let moved = if at < REACH { 1 } else { (last + 1).saturating_sub(at + REACH).max(1) };
                ([at.saturating_sub(REACH), (at + REACH).min(last)], moved)
            }
            false => (search(times_ns[at]), 1),
        };
        match found.last_mut() {
            Some(moved) if moved.window(moved.count) == first => moved.count += count,
            _ => found.push(MovedWindow { first, count }),
        }
        at += count;
    }
    found
}

/// Speed over a window by the way in it.
fn speed(way_m: f64, [from, to]: [usize; 2], known_ns: &[i64]) -> f64 {
    way_m * NS_PER_S as f64 / (known_ns[to] - known_ns[from]) as f64
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

    /// Places on a way that winds, at these seconds; every so many of them are not known.
    fn winding(seconds: impl Iterator<Item = i64>, lost: usize) -> Points {
        let place = |second: i64| Position {
            latitude_deg: 47.5 + 2e-5 * second as f64 + 3e-6 * (second as f64 / 7.0).sin(),
            longitude_deg: 8.5 + 1e-5 * (second as f64 / 40.0).cos(),
        };
        let point = |(index, second): (usize, i64)| Point {
            time_ns: Some(second * NS_PER_S),
            position: (lost == 0 || index % lost != 0).then(|| place(second)),
            ..Point::default()
        };
        seconds.enumerate().map(point).collect()
    }

    #[test]
    fn speeds_are_those_of_windows_sought_one_by_one() {
        for (lost, most) in [(0, 1), (0, 4), (0, 30), (3, 1), (50, 1), (7, 9)] {
            for count in [2, 5, 6, 7, 10, 11, 12, 70, 71, 400] {
                let mut second = 0;
                let seconds = (0..count).map(|index: i64| {
                    second += 1 + index * 7919 % 31 % most;
                    second
                });
                let points = winding(seconds, lost);
                let fixes: Vec<usize> =
                    (0..points.len()).filter(|&at| points.position(at).is_some()).collect();
                if fixes.len() < 2 {
                    continue;
                }
                let speeds = speeds_m_per_s(&points);
                assert_eq!(speeds.len(), points.len());
                for (&time_ns, found) in points.time_ns().iter().zip(speeds) {
                    let off_ns = |fix: &&usize| (points.time_ns()[**fix] - time_ns).abs();
                    let inside = || fixes.iter().filter(|fix| off_ns(fix) <= HALF_WINDOW_NS);
                    if inside().count() < 2 {
                        continue;
                    }
                    let (from, to) = (*inside().next().unwrap(), *inside().next_back().unwrap());
                    let place = |at| points.position(at).unwrap();
                    let span_ns = points.time_ns()[to] - points.time_ns()[from];
                    let expected = crate::step_m(place(from), place(to)) * NS_PER_S as f64 / span_ns as f64;
                    assert!(
                        (found - expected).abs() < 1e-9 * expected,
                        "{lost} {most} {count}: {found} {expected}"
                    );
                }
            }
        }
    }
}

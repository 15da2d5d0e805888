//! Stretches faster than legs: the drive home with the recording left on.

use std::ops::Range;

use crate::Points;
use crate::timestamp::NS_PER_S;

/// A speed that nobody in a run/walk plan holds for a minute, in m/s (own choice; 25 km/h).
const FASTER_THAN_LEGS_M_PER_S: f64 = 7.0;

/// How long it must last together, in nanoseconds (own choice).
const MIN_FAST_NS: i64 = 60 * NS_PER_S;

/// Fast stretches closer than this are one drive with its red lights (own choice).
const MAX_HALT_NS: i64 = 180 * NS_PER_S;

/// A drive is followed outwards while the speed is above this, in m/s (own choice: rolling out of a yard).
const ROLLING_M_PER_S: f64 = 3.5;

/// Index ranges of points inside a drive, in order.
pub(super) fn faster_than_legs(points: &Points, speeds_m_per_s: &[f64]) -> Vec<Range<usize>> {
    let times_ns = points.time_ns();
    let mut drives: Vec<(Range<usize>, i64)> = Vec::new();
    let mut index = 0;
    while index < speeds_m_per_s.len() {
        let is_fast = |index: usize| speeds_m_per_s[index] > FASTER_THAN_LEGS_M_PER_S;
        if !is_fast(index) {
            index += 1;
            continue;
        }
        let begin = index;
        while index < speeds_m_per_s.len() && is_fast(index) {
            index += 1;
        }
        let fast_ns = times_ns[index - 1] - times_ns[begin];
        match drives.last_mut() {
            Some((drive, drive_ns)) if times_ns[begin] - times_ns[drive.end - 1] <= MAX_HALT_NS => {
                drive.end = index;
                *drive_ns += fast_ns;
            }
            _ => drives.push((begin..index, fast_ns)),
        }
    }
    let mut ranges: Vec<Range<usize>> = Vec::new();
    for (mut drive, fast_ns) in drives {
        if fast_ns < MIN_FAST_NS {
            continue;
        }
        let not_before = ranges.last().map_or(0, |last| last.end);
        while drive.start > not_before && speeds_m_per_s[drive.start - 1] > ROLLING_M_PER_S {
            drive.start -= 1;
        }
        while drive.end < speeds_m_per_s.len() && speeds_m_per_s[drive.end] > ROLLING_M_PER_S {
            drive.end += 1;
        }
        ranges.push(drive);
    }
    ranges
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Point;

    fn ranges(speeds_m_per_s: &[f64]) -> Vec<Range<usize>> {
        let points = (0..speeds_m_per_s.len() as i64)
            .map(|second| Point { time_ns: Some(second * NS_PER_S), ..Point::default() })
            .collect();
        faster_than_legs(&points, speeds_m_per_s)
    }

    #[test]
    fn a_drive_with_red_lights_is_one_stretch() {
        let drive = [vec![2.4; 300], vec![12.0; 70], vec![0.0; 90], vec![14.0; 60], vec![4.0; 10]].concat();
        assert_eq!(ranges(&drive), vec![300..530]);
    }

    #[test]
    fn a_sprint_is_no_drive() {
        let sprint = [vec![2.4; 100], vec![8.0; 20], vec![2.0; 100]].concat();
        assert!(ranges(&sprint).is_empty());
    }
}

//! Stretches that no legs cover: the drive home with the recording left on.

use std::ops::Range;

/// No legs carry a beginner faster for long, in metres per second (own choice; a kilometre in 2:34).
const FASTER_THAN_LEGS_M_PER_S: f64 = 6.5;
/// Seconds over which a vehicle keeps its speed.
const WINDOW_S: usize = 30;
/// Cells of the window that are faster than legs.
const FAST_S: usize = 24;
/// Stops of a vehicle up to this long, in seconds, belong to the ride (own choice).
const STOP_S: usize = 180;
/// A ride begins and ends where it is slower than this, in metres per second (own choice).
const EDGE_M_PER_S: f64 = 4.0;

/// Ranges of cells that are rides, in order, given the raw speed of each cell in metres per second.
pub(crate) fn find_rides(cells: usize, speed_m_per_s: impl Fn(usize) -> f64) -> Vec<Range<usize>> {
    let is_fast = |cell: usize| speed_m_per_s(cell) > FASTER_THAN_LEGS_M_PER_S;
    let mut rides: Vec<Range<usize>> = Vec::new();
    let mut fast_s = 0;
    for end in 0..cells {
        fast_s += usize::from(is_fast(end));
        if end >= WINDOW_S {
            fast_s -= usize::from(is_fast(end - WINDOW_S));
        }
        if fast_s < FAST_S {
            continue;
        }
        let start = (end + 1).saturating_sub(WINDOW_S);
        match rides.last_mut() {
            Some(ride) if start <= ride.end + STOP_S => ride.end = end + 1,
            _ => rides.push(start..end + 1),
        }
    }
    for ride in &mut rides {
        while ride.start < ride.end && speed_m_per_s(ride.start) <= EDGE_M_PER_S {
            ride.start += 1;
        }
        while ride.start < ride.end && speed_m_per_s(ride.end - 1) <= EDGE_M_PER_S {
            ride.end -= 1;
        }
        while ride.start > 0 && speed_m_per_s(ride.start - 1) > EDGE_M_PER_S {
            ride.start -= 1;
        }
        while ride.end < cells && speed_m_per_s(ride.end) > EDGE_M_PER_S {
            ride.end += 1;
        }
    }
    rides
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_drive_with_a_red_light_is_one_ride_and_a_sprint_is_none() {
        let drive = |cell: usize| match cell {
            0..300 => 2.4,
            300..400 => 12.0,
            400..460 => 0.0,
            460..600 => 14.0,
            _ => 0.0,
        };
        assert_eq!(find_rides(700, drive), [300..600]);
        let sprint = |cell: usize| if (100..115).contains(&cell) { 7.5 } else { 2.4 };
        assert!(find_rides(700, sprint).is_empty());
    }
}

//! Stretches faster than legs: the drive home with the recording left on.

use std::ops::Range;

use super::place::at_most_m;
use super::speed::HALF_WINDOW_NS;
use crate::distance::Steps;
use crate::timestamp::NS_PER_S;
use crate::{Points, Position};

/// A speed that nobody in a run/walk plan holds for a minute, in m/s (own choice: 3:02 a kilometre; beginners run at 1.7
/// to 3 m/s, and rough positions add 0.5 m/s to a mean over ten seconds).
const FASTER_THAN_LEGS_M_PER_S: f64 = 5.5;

/// How long it must last together, in nanoseconds (own choice).
const MIN_FAST_NS: i64 = 60 * NS_PER_S;

/// Fast stretches closer than this are one drive with its red lights (own choice).
const MAX_HALT_NS: i64 = 180 * NS_PER_S;

/// A drive is followed outwards while the speed is above this, in m/s (own choice: rolling out of a yard).
const ROLLING_M_PER_S: f64 = 3.5;

/// And on while the speed falls, no longer than this, in nanoseconds (own choice: from there to a halt).
const MAX_HALTING_NS: i64 = 10 * NS_PER_S;

/// Whoever stays within so many metres of where a drive begins or ends, for at most so many nanoseconds, has not set out yet, or
/// is there already (own choice: what positions of somebody who stands are off; and below what is told as standing).
const BESIDE_M: f64 = 6.0;
const MAX_BESIDE_NS: i64 = 60 * NS_PER_S;

/// What is left between a drive and an end of the recording belongs to the drive up to this, in nanoseconds (own choice:
/// it is no session, and too short for a bout).
const MAX_LEFT_NS: i64 = 15 * NS_PER_S;

/// Median cadence that tells legs from wheels, in steps per minute (own choice: a slow walk has 80).
const STEPPING_SPM: f64 = 80.0;

/// How far a way may exceed the sum of its steps, both being rounded (own choice: far more than they are).
const ROUNDING_MARGIN: f64 = 1.001;

/// Whether there may be a drive, found without any speed: not where all is too short, or too few steps are fast enough.
///
/// A speed is a mean over a window, so that one faster than legs has a step in its window that is. Where points lie closer than
/// half a window, all points that are fast lie within half a window of such a step.
pub(super) fn may_be_driven(points: &Points) -> bool {
    let times_ns = points.time_ns();
    if times_ns.is_empty() || times_ns[times_ns.len() - 1] - times_ns[0] < MIN_FAST_NS {
        return false;
    }
    let mut fixes = (0..points.len())
        .filter_map(|index| points.position(index).map(|position| (times_ns[index], position)));
    let (Some(first), Some(second)) = (fixes.next(), fixes.next()) else { return true };
    let (mut last, mut steps) = (first, Steps::default());
    // Before the first position and behind the last one the nearest speed stands for what is not known.
    let (mut longest_ns, mut fast_ns) = (first.0 - times_ns[0], 0_i64);
    for fix in std::iter::once(second).chain(fixes) {
        let step_ns = fix.0 - last.0;
        longest_ns = step_ns.max(longest_ns);
        let step_m = steps.step_m(last.1, fix.1);
        if ROUNDING_MARGIN * step_m > FASTER_THAN_LEGS_M_PER_S * (step_ns as f64 / NS_PER_S as f64) {
            fast_ns = fast_ns.saturating_add(step_ns.saturating_add(2 * HALF_WINDOW_NS));
        }
        last = fix;
    }
    longest_ns = longest_ns.max(times_ns[times_ns.len() - 1] - last.0);
    if longest_ns <= HALF_WINDOW_NS { fast_ns >= MIN_FAST_NS } else { fast_ns > 0 }
}

/// Index ranges of points inside a drive, in order; none without speeds.
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
        // Nothing slower than rolling lay between: the one before goes on through this one.
        if drive.start < not_before {
            continue;
        }
        let rolls = |index: usize| speeds_m_per_s[index] > ROLLING_M_PER_S;
        while drive.start > not_before && rolls(drive.start - 1) {
            drive.start -= 1;
        }
        while drive.end < speeds_m_per_s.len() && rolls(drive.end) {
            drive.end += 1;
        }
        if is_stepping(&points.cadence_spm()[drive.clone()]) {
            continue;
        }
        let until_ns = times_ns[drive.start] - MAX_HALTING_NS;
        while drive.start > not_before
            && speeds_m_per_s[drive.start - 1] < speeds_m_per_s[drive.start]
            && times_ns[drive.start - 1] >= until_ns
        {
            drive.start -= 1;
        }
        let until_ns = times_ns[drive.end - 1] + MAX_HALTING_NS;
        while drive.end < speeds_m_per_s.len()
            && speeds_m_per_s[drive.end] < speeds_m_per_s[drive.end - 1]
            && times_ns[drive.end] <= until_ns
        {
            drive.end += 1;
        }
        drive.start -= points_beside(points, (not_before..drive.start).rev());
        drive.end += points_beside(points, drive.end..points.len());
        if times_ns[drive.start] - times_ns[0] <= MAX_LEFT_NS {
            drive.start = 0;
        }
        if times_ns[times_ns.len() - 1] - times_ns[drive.end - 1] <= MAX_LEFT_NS {
            drive.end = times_ns.len();
        }
        ranges.push(drive);
    }
    ranges
}

/// How many of these points, which lead away from a drive, are still beside the vehicle; none where nobody leaves it in time.
fn points_beside(points: &Points, away: impl Iterator<Item = usize>) -> usize {
    let mut places: Vec<(usize, Position)> = Vec::new();
    let mut begun_ns = None;
    for (count, index) in away.enumerate() {
        let Some(position) = points.position(index) else { continue };
        let time_ns = points.time_ns()[index];
        if (time_ns - *begun_ns.get_or_insert(time_ns)).abs() > MAX_BESIDE_NS {
            return 0;
        }
        places.push((count, position));
        if at_most_m(places[0].1, position) > BESIDE_M {
            // Whoever walks off leaves what is behind further and further behind: nobody who stands does.
            let left_m = |place: &(usize, Position)| at_most_m(place.1, position);
            let set_out = places.windows(2).rev().find(|pair| left_m(&pair[0]) <= left_m(&pair[1]));
            return set_out.map_or(0, |pair| pair[1].0);
        }
    }
    0
}

/// Whether most of the known cadence is that of legs.
fn is_stepping(cadence_spm: &[f64]) -> bool {
    let known = cadence_spm.iter().filter(|reading| !reading.is_nan());
    let (steps, known) = known.fold((0_usize, 0_usize), |(steps, known), &reading| {
        (steps + usize::from(reading >= STEPPING_SPM), known + 1)
    });
    known > cadence_spm.len() / 2 && 2 * steps > known
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Point;
    use crate::clean::speed::speeds_m_per_s;
    use proptest::prelude::*;

    fn ranges(speeds_m_per_s: &[f64]) -> Vec<Range<usize>> {
        let points = (0..speeds_m_per_s.len() as i64)
            .map(|second| Point { time_ns: Some(second * NS_PER_S), ..Point::default() })
            .collect();
        faster_than_legs(&points, speeds_m_per_s)
    }

    proptest! {
        #[test]
        fn no_drive_is_missed_for_want_of_speeds(
            latitude_deg in -89.0..89.0f64,
            steps in prop::collection::vec((1..20i64, -12.0..12.0f64, -12.0..12.0f64), 1..80),
            longest_s in prop::sample::select(vec![2, 5, 20_i64]),
            drift_m_per_s in 0.0..8.0f64,
            lost in 0..90_i64,
        ) {
            let east_deg = 1.0 / (111_320.0 * latitude_deg.to_radians().cos());
            let mut at = (0, Position { latitude_deg, longitude_deg: 8.5 });
            let mut points: Points = steps.into_iter().map(|(step_s, north_m_per_s, east_m_per_s)| {
                let (step_s, east_m_per_s) = (step_s.min(longest_s), east_m_per_s + drift_m_per_s);
                at.0 += step_s * NS_PER_S;
                at.1.latitude_deg += step_s as f64 * north_m_per_s / 111_133.0;
                at.1.longitude_deg += step_s as f64 * east_m_per_s * east_deg;
                Point { time_ns: Some(at.0), position: Some(at.1), ..Point::default() }
            }).collect();
            // Positions may be lost before the end.
            let end_ns = at.0;
            for second in 1..=lost {
                points.push(Point { time_ns: Some(end_ns + second * NS_PER_S), ..Point::default() });
            }
            let known = |degrees: &f64| degrees.is_nan() || degrees.abs() < 90.0;
            prop_assume!(points.latitude_deg().iter().all(known));
            let drives = faster_than_legs(&points, &speeds_m_per_s(&points));
            prop_assert!(may_be_driven(&points) || drives.is_empty());
        }
    }

    #[test]
    fn a_walk_is_no_drive_before_any_speed_is_known() {
        let points = |m_per_s: f64| -> Points {
            let point = |second: i64| Point {
                time_ns: Some(second * NS_PER_S),
                position: Some(Position {
                    latitude_deg: second as f64 * m_per_s / 111_133.0,
                    longitude_deg: 8.5,
                }),
                ..Point::default()
            };
            (0..90).map(point).collect()
        };
        assert!(!may_be_driven(&points(3.0)));
        assert!(may_be_driven(&points(9.0)));
        // A position that errs for a second makes two fast steps, and no drive.
        let mut errs = points(3.0);
        errs.longitude_deg[40] += 0.0001;
        assert!(!may_be_driven(&errs));
    }

    #[test]
    fn a_drive_with_red_lights_is_one_stretch() {
        let drive = [vec![2.4; 300], vec![12.0; 70], vec![0.0; 90], vec![14.0; 60], vec![4.0; 10]].concat();
        assert_eq!(ranges(&drive), vec![299..530]);
    }

    #[test]
    fn a_drive_ends_where_its_speed_stops_falling_and_no_few_seconds_are_left_beside_it() {
        let halting = [vec![9.0; 90], vec![3.0, 2.0, 1.0, 0.2], vec![1.4; 300]].concat();
        assert_eq!(ranges(&halting), vec![0..94]);
        let last_steps = [vec![1.4; 300], vec![9.0; 90], vec![0.4; 12]].concat();
        assert_eq!(ranges(&last_steps), vec![299..402]);
    }

    #[test]
    fn who_waits_beside_a_vehicle_has_not_set_out_and_who_runs_at_once_has() {
        let after_a_drive = |waited: usize, m_per_s: f64| {
            let speeds = [vec![9.0; 90], vec![0.0; waited], vec![m_per_s; 300]].concat();
            let mut metres = 0.0;
            let points: Points = (0..speeds.len())
                .map(|second| {
                    metres += speeds[second];
                    let latitude_deg = metres / 111_133.0;
                    Point {
                        time_ns: Some(second as i64 * NS_PER_S),
                        position: Some(Position { latitude_deg, longitude_deg: 8.5 }),
                        ..Point::default()
                    }
                })
                .collect();
            let [drive] = &faster_than_legs(&points, &speeds)[..] else { panic!("{speeds:?}") };
            drive.end
        };
        assert!((90..=92).contains(&after_a_drive(0, 2.4)), "{}", after_a_drive(0, 2.4));
        for waited in [5, 30, 50] {
            let end = after_a_drive(waited, 1.4);
            // The last point of the stand is the first one on foot.
            assert!((89 + waited..=90 + waited).contains(&end), "waited {waited} s: {end}");
        }
        assert!((90..=92).contains(&after_a_drive(90, 1.4)), "what is told as standing stays");
    }

    #[test]
    fn a_fast_runner_with_steps_is_no_drive() {
        let point = |second: i64| Point {
            time_ns: Some(second * NS_PER_S),
            cadence_spm: Some(178.0),
            ..Point::default()
        };
        let points: Points = (0..120).map(point).collect();
        assert!(faster_than_legs(&points, &[6.0; 120]).is_empty());
    }

    #[test]
    fn drives_there_and_back_leave_what_lies_between() {
        let between = |halt_s: usize| [vec![9.0; 90], vec![2.0; halt_s], vec![9.0; 90]].concat();
        assert_eq!(ranges(&between(170)).len(), 1);
        let [there, back] = &ranges(&between(900))[..] else { panic!("two drives") };
        assert!(there.end <= 92 && back.start >= 988, "{there:?} {back:?}");
    }

    #[test]
    fn rolling_to_and_from_is_part_of_the_drive() {
        let drive = [vec![1.4; 300], vec![4.0; 30], vec![9.0; 90], vec![4.0; 30], vec![1.4; 300]].concat();
        assert_eq!(ranges(&drive), vec![299..451]);
    }

    #[test]
    fn stretches_between_red_lights_add_up_and_no_two_drives_share_a_point() {
        let lights = [vec![1.4; 100], vec![9.0; 40], vec![0.0; 30], vec![9.0; 40], vec![1.4; 100]].concat();
        assert_eq!(ranges(&lights), vec![99..211]);
        let rolling = [vec![9.0; 90], vec![4.0; 200], vec![9.0; 90]].concat();
        assert_eq!(ranges(&rolling), vec![0..380]);
        let few_steps_before = [vec![0.4; 12], vec![9.0; 90], vec![1.4; 300]].concat();
        assert_eq!(ranges(&few_steps_before), vec![0..103]);
    }

    #[test]
    fn a_minute_of_speed_is_a_drive_and_less_is_none() {
        let fast =
            |seconds: usize| ranges(&[vec![2.4; 100], vec![9.0; seconds], vec![2.4; 100]].concat()).len();
        // So many points span a second less.
        assert_eq!((fast(60), fast(61)), (0, 1));
    }

    #[test]
    fn a_sprint_is_no_drive() {
        let sprint = [vec![2.4; 100], vec![8.0; 20], vec![2.0; 100]].concat();
        assert!(ranges(&sprint).is_empty());
    }
}

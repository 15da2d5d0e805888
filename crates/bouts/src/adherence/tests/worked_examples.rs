//! The worked examples of the definition: own examples, recomputed by an independent slow reference program.
//! Plan of eight reps of 60 s with 90 s walks, unless the test says otherwise.

use super::*;

fn eight_minutes(runs: &[f64], rests: &[f64]) -> SessionMatch {
    let (reps, walks) = equal(8, 60.0, 90.0);
    matched(&reps, &walks, runs, rests)
}

fn eight_minutes_all(run: f64, rest: f64) -> SessionMatch {
    let (runs, rests) = equal(8, run, rest);
    eight_minutes(&runs, &rests)
}

#[test]
fn ex01_as_planned() {
    assert_measures(&eight_minutes_all(60.0, 90.0), [100.0, 100.0, 100.0, 100.0, 0.0]);
}

#[test]
fn ex02_all_walked() {
    let (reps, walks) = equal(8, 60.0, 90.0);
    let walked = [Bout::new(Kind::Walk, 0.0, 1800.0)];
    let matched = match_session(&plan(&reps, &walks), &walked, &settings()).unwrap();
    assert_measures(&matched, [0.0; 5]);
    assert_measures(&eight_minutes(&[], &[]), [0.0; 5]);
}

#[test]
fn ex03_run_straight_through() {
    assert_measures(&eight_minutes(&[1110.0], &[]), [75.0, 100.0, 0.0, 100.0, 130.0]);
}

#[test]
fn ex04_all_seconds_in_one_run_then_home() {
    assert_measures(&eight_minutes(&[480.0], &[]), [75.0, 100.0, 0.0, 100.0, 0.0]);
}

#[test]
fn ex05_every_rep_within_tolerance() {
    assert_measures(&eight_minutes_all(54.0, 96.0), [100.0, 100.0, 100.0, 100.0, 0.0]);
}

#[test]
fn ex06_every_rep_15_percent_short() {
    assert_measures(&eight_minutes_all(51.0, 99.0), [89.56, 94.44, 91.58, 66.67, 0.0]);
}

#[test]
fn ex07_third_rep_walked() {
    let rests = [90.0, 240.0, 90.0, 90.0, 90.0, 90.0];
    assert_measures(&eight_minutes(&[60.0; 7], &rests), [84.91, 87.50, 77.14, 87.50, 0.0]);
}

#[test]
fn ex08_stopped_after_the_fifth_rep() {
    assert_measures(&eight_minutes(&[60.0; 5], &[90.0; 4]), [61.16, 62.50, 57.14, 62.50, 0.0]);
}

#[test]
fn ex09_walks_halved() {
    assert_measures(&eight_minutes_all(60.0, 45.0), [88.39, 100.0, 53.57, 100.0, 0.0]);
}

#[test]
fn ex10_walks_doubled() {
    assert_measures(&eight_minutes_all(60.0, 180.0), [88.33, 100.0, 53.33, 100.0, 0.0]);
}

#[test]
fn ex11_first_walk_run() {
    let runs = [210.0, 60.0, 60.0, 60.0, 60.0, 60.0, 60.0];
    assert_measures(&eight_minutes(&runs, &[90.0; 6]), [96.43, 100.0, 85.71, 100.0, 17.50]);
}

#[test]
fn ex12_five_seconds_of_standing_inside_a_rep() {
    let mut runs = vec![30.0, 30.0];
    runs.extend([60.0; 7]);
    let mut rests = vec![5.0];
    rests.extend([90.0; 7]);
    assert_measures(&eight_minutes(&runs, &rests), [100.0, 100.0, 100.0, 100.0, 0.0]);
}

#[test]
fn ex13_twenty_seconds_of_walking_inside_a_rep() {
    let mut runs = vec![30.0, 30.0];
    runs.extend([60.0; 7]);
    let mut rests = vec![20.0];
    rests.extend([90.0; 7]);
    assert_measures(&eight_minutes(&runs, &rests), [98.21, 99.07, 98.41, 94.44, 0.0]);
}

#[test]
fn ex14_two_extra_reps() {
    let matched = eight_minutes(&[60.0; 10], &[90.0; 9]);
    assert_measures(&matched, [100.0, 100.0, 100.0, 100.0, 25.0]);
    assert_eq!(matched.running.unwrap().reps.extra, 2);
}

#[test]
fn ex15_long_reps_short_walks() {
    let matched = eight_minutes_all(75.0, 75.0);
    assert_measures(&matched, [97.32, 100.0, 89.29, 100.0, 15.0]);
    assert_eq!(matched.running.unwrap().reps.done, 8);
    assert_eq!(matched.intervals[0].status, IntervalStatus::Long);
}

#[test]
fn ex16_stopped_for_20_minutes_in_a_walk() {
    let rests = [90.0, 90.0, 90.0, 1290.0, 90.0, 90.0, 90.0];
    assert_measures(&eight_minutes(&[60.0; 8], &rests), [96.69, 100.0, 86.78, 100.0, 0.0]);
}

#[test]
fn ex17_ladder_run_backwards() {
    let matched = matched(&[60.0, 120.0, 180.0], &[90.0; 2], &[180.0, 120.0, 60.0], &[90.0; 2]);
    assert_measures(&matched, [72.18, 84.48, 45.98, 66.67, 16.67]);
}

#[test]
fn ex18_pyramid_with_its_top_walked() {
    let reps = [60.0, 120.0, 180.0, 120.0, 60.0];
    let matched = matched(&reps, &[90.0; 4], &[60.0, 120.0, 120.0, 60.0], &[90.0, 360.0, 90.0]);
    assert_measures(&matched, [60.33, 66.67, 33.33, 80.0, 0.0]);
}

#[test]
fn ex19_one_long_rep_cut_short() {
    assert_measures(&matched(&[1200.0], &[], &[1000.0], &[]), [76.29, 83.75, 83.75, 34.01, 0.0]);
}

#[test]
fn ex20_reps_in_metres_do_not_depend_on_the_athletes_pace() {
    let ask = |gait, amount| Interval { gait, amount };
    let planned: Vec<Interval> = (0..4)
        .flat_map(|_| [ask(Gait::Run, Amount::Metres(400.0)), ask(Gait::Walk, Amount::Seconds(120.0))])
        .collect();
    for run_m_per_s in [1.7, 2.5, 3.1] {
        let metres = [400.0, 396.0, 340.0, 400.0];
        let mut bouts = done(&metres.map(|m| m / run_m_per_s), &[120.0; 3]);
        for (bout, m) in bouts.iter_mut().filter(|bout| bout.kind == Kind::Run).zip(metres) {
            bout.distance_m = Some(m);
        }
        let matched = match_session(&planned, &bouts, &settings()).unwrap();
        assert_measures(&matched, [94.31, 97.08, 92.21, 86.76, 0.0]);
        let third = matched.intervals[4];
        assert_abs_diff_eq!(third.done_m.unwrap(), 340.0, epsilon = 1e-9);
        assert_abs_diff_eq!(third.done_s.unwrap(), 340.0 / run_m_per_s, epsilon = 1e-9);
        assert_eq!((third.planned_m, third.planned_s), (Some(400.0), None));
    }
}

//! The definition's worked examples and promises.

use approx::assert_abs_diff_eq;

use super::*;
use crate::{Amount, Gait, Kind};

mod largest;
mod promises;
mod worked_examples;

fn settings() -> AdherenceSettings {
    AdherenceSettings::default()
}

/// Intervals of reps with walks between, in seconds.
fn plan(reps: &[f64], walks: &[f64]) -> Vec<Interval> {
    let ask = |gait, seconds| Interval { gait, amount: Amount::Seconds(seconds) };
    let mut intervals = Vec::new();
    for (index, &rep) in reps.iter().enumerate() {
        intervals.push(ask(Gait::Run, rep));
        intervals.extend(walks.get(index).map(|&walk| ask(Gait::Walk, walk)));
    }
    intervals
}

/// Bouts of runs with walks between, in seconds. Runs of nothing are left out, so that their walks join.
fn done(runs: &[f64], rests: &[f64]) -> Vec<Bout> {
    let mut bouts: Vec<Bout> = Vec::new();
    let mut now_s = 0.0;
    let mut add = |kind, duration_s: f64| {
        if duration_s <= 0.0 {
            return;
        }
        match bouts.last_mut() {
            Some(last) if last.kind == kind => last.end_s += duration_s,
            _ => bouts.push(Bout::new(kind, now_s, now_s + duration_s)),
        }
        now_s += duration_s;
    };
    for (index, &run) in runs.iter().enumerate() {
        add(Kind::Run, run);
        add(Kind::Walk, rests.get(index).copied().unwrap_or(0.0));
    }
    bouts
}

fn equal(count: usize, run: f64, walk: f64) -> (Vec<f64>, Vec<f64>) {
    (vec![run; count], vec![walk; count - 1])
}

fn matched(reps: &[f64], walks: &[f64], runs: &[f64], rests: &[f64]) -> SessionMatch {
    match_session(&plan(reps, walks), &done(runs, rests), &settings()).unwrap()
}

fn adherence(reps: &[f64], walks: &[f64], runs: &[f64], rests: &[f64]) -> f64 {
    matched(reps, walks, runs, rests).adherence_pct
}

/// Adherence, tolerant dose, breaks, full, overdone.
fn measures(matched: &SessionMatch) -> [f64; 5] {
    let running = matched.running.unwrap();
    [
        matched.adherence_pct,
        running.tolerant_dose_pct,
        running.breaks_pct,
        running.full_pct,
        matched.overdone_pct,
    ]
}

#[track_caller]
fn assert_measures(matched: &SessionMatch, expected: [f64; 5]) {
    for (got, wanted) in measures(matched).into_iter().zip(expected) {
        // The expected values are rounded to 0.01.
        assert_abs_diff_eq!(got, wanted, epsilon = 0.00501);
    }
}

#[test]
fn completion_is_capped_rep_by_rep() {
    // Own example: plan 6 × 90 s, done 90 95 88 90 60 and none: 418 of 540 s = 77.4074 %, 423 s without the cap.
    let (reps, walks) = equal(6, 90.0, 60.0);
    let matched = matched(&reps, &walks, &[90.0, 95.0, 88.0, 90.0, 60.0], &[60.0; 4]);
    let running = matched.running.unwrap();
    assert_abs_diff_eq!(running.dose_pct, 77.4074, epsilon = 1e-4);
    assert_eq!(running.reps, Reps { planned: 6, done: 4, short: 1, missed: 1, not_recorded: 0, extra: 0 });
}

#[test]
fn a_faithful_run_walk_session_gives_100_within_boundary_errors() {
    // Reps of 45 s at their worst: 97.17; 15 % cuts: 93.64, 90.28, 83.55 for 30, 60 and 120 s (reference program).
    let (reps, walks) = equal(8, 45.0, 60.0);
    let (runs, rests) = equal(8, 39.0, 66.0);
    assert_abs_diff_eq!(adherence(&reps, &walks, &runs, &rests), 97.17, epsilon = 0.005);
    for (rep, expected) in [(30.0, 93.64), (60.0, 90.28), (120.0, 83.55)] {
        let (reps, walks) = equal(8, rep, 90.0);
        let (runs, rests) = equal(8, 0.85 * rep, 90.0);
        assert_abs_diff_eq!(adherence(&reps, &walks, &runs, &rests), expected, epsilon = 0.005);
    }
}

#[test]
fn missing_walk_seconds_are_counted_beyond_the_tolerance() {
    let (reps, walks) = equal(3, 60.0, 90.0);
    // 60 s of 90 s: 24 s missing beyond the tolerance of 6 s; a walk left out counts whole.
    let cut = matched(&reps, &walks, &[60.0; 3], &[60.0, 90.0]);
    assert_abs_diff_eq!(cut.running.unwrap().walk_missing_s, 24.0, epsilon = 1e-9);
    let straight = matched(&reps, &walks, &[180.0], &[]);
    assert_abs_diff_eq!(straight.running.unwrap().walk_missing_s, 180.0, epsilon = 1e-9);
}

#[test]
fn short_reps_and_walks_are_marked_and_not_judged() {
    assert!(matched(&[30.0; 2], &[60.0], &[30.0; 2], &[60.0]).too_short_to_judge);
    assert!(matched(&[60.0; 2], &[15.0], &[60.0; 2], &[15.0]).too_short_to_judge);
    assert!(!matched(&[45.0; 2], &[18.0], &[45.0; 2], &[18.0]).too_short_to_judge);
}

mod rows_of_intervals {
    use super::*;

    fn words(matched: &SessionMatch) -> Vec<(Gait, &'static str, Option<f64>)> {
        matched.intervals.iter().map(|row| (row.gait, row.status.word(), row.start_s)).collect()
    }

    #[test]
    fn outer_walks_are_listed_and_have_no_credit() {
        let ask = |gait, seconds| Interval { gait, amount: Amount::Seconds(seconds) };
        let planned = [
            ask(Gait::Walk, 300.0),
            ask(Gait::Run, 60.0),
            ask(Gait::Walk, 90.0),
            ask(Gait::Run, 60.0),
            ask(Gait::Walk, 90.0),
            ask(Gait::Walk, 300.0),
        ];
        let bouts = [
            Bout::new(Kind::Walk, 0.0, 290.0),
            Bout::new(Kind::Run, 290.0, 350.0),
            Bout::new(Kind::Walk, 350.0, 440.0),
            Bout::new(Kind::Run, 440.0, 500.0),
            Bout::new(Kind::Walk, 500.0, 650.0),
            Bout::new(Kind::Run, 650.0, 680.0),
        ];
        let matched = match_session(&planned, &bouts, &settings()).unwrap();
        assert_eq!(matched.adherence_pct, 100.0);
        assert_eq!(
            words(&matched),
            [
                (Gait::Walk, "done", Some(0.0)),
                (Gait::Run, "done", Some(290.0)),
                (Gait::Walk, "done", Some(350.0)),
                (Gait::Run, "done", Some(440.0)),
                (Gait::Walk, "done", Some(500.0)),
                (Gait::Walk, "done", Some(590.0)),
                (Gait::Run, "extra", Some(650.0)),
            ]
        );
        let credits: Vec<_> = matched.intervals.iter().map(|row| row.credit_pct).collect();
        assert_eq!(credits, [None, Some(100.0), Some(100.0), Some(100.0), None, None, None]);
        assert_eq!(matched.intervals[6].planned_s, None);
    }

    #[test]
    fn what_is_driven_is_no_walk_and_an_outer_walk_of_which_nothing_shows_is_not_missed() {
        let ask = |gait, seconds| Interval { gait, amount: Amount::Seconds(seconds) };
        let planned = [ask(Gait::Walk, 300.0), ask(Gait::Run, 60.0), ask(Gait::Walk, 240.0)];
        let run = Bout::new(Kind::Run, 0.0, 60.0);
        let home = [Bout::new(Kind::Walk, 60.0, 200.0), Bout::new(Kind::Gap, 200.0, 800.0)];
        let matched = match_session(&planned, &[vec![run], home.to_vec()].concat(), &settings()).unwrap();
        assert_eq!(
            words(&matched),
            [
                (Gait::Walk, "not_recorded", None),
                (Gait::Run, "done", Some(0.0)),
                (Gait::Walk, "done", Some(60.0))
            ]
        );
        assert_eq!(matched.intervals[2].done_s, Some(140.0));
        // Walked alone: all that is known is that it was walked.
        let walked = match_session(&planned, &[Bout::new(Kind::Walk, 0.0, 900.0)], &settings()).unwrap();
        let statuses: Vec<_> = words(&walked).iter().map(|row| row.1).collect();
        assert_eq!(statuses, ["long", "missed", "not_recorded"]);
    }

    #[test]
    fn one_run_over_several_reps_is_shared_out_in_order() {
        let (reps, walks) = equal(3, 60.0, 90.0);
        let mut bouts = vec![Bout::new(Kind::Walk, 0.0, 100.0), Bout::new(Kind::Run, 100.0, 250.0)];
        bouts[1].distance_m = Some(300.0);
        let matched = match_session(&plan(&reps, &walks), &bouts, &settings()).unwrap();
        let runs: Vec<_> = matched.intervals.iter().filter(|row| row.gait == Gait::Run).collect();
        let starts: Vec<_> = runs.iter().map(|row| row.start_s.unwrap()).collect();
        assert_eq!(starts, [100.0, 160.0, 220.0]);
        let seconds: Vec<_> = runs.iter().map(|row| row.done_s.unwrap()).collect();
        assert_eq!(seconds, [60.0, 60.0, 30.0]);
        for (row, metres) in runs.iter().zip([120.0, 120.0, 60.0]) {
            assert_abs_diff_eq!(row.done_m.unwrap(), metres, epsilon = 1e-9);
        }
        let walk = matched.intervals[1];
        assert_eq!(
            (walk.done_s, walk.status, walk.credit_pct),
            (Some(0.0), IntervalStatus::Missed, Some(0.0))
        );
    }

    #[test]
    fn a_walk_beside_a_missed_rep_is_not_told_apart() {
        let reps = [60.0, 120.0, 180.0, 120.0, 60.0];
        let matched = matched(&reps, &[90.0; 4], &[60.0, 120.0, 120.0, 60.0], &[90.0, 360.0, 90.0]);
        let top = matched.intervals[4];
        assert_eq!((top.done_s, top.start_s, top.status), (Some(0.0), None, IntervalStatus::Missed));
        assert_eq!(matched.intervals[3].done_s, None);
        assert_eq!(matched.intervals[5].done_s, None);
        assert_eq!(matched.intervals[7].done_s, Some(90.0));
    }

    #[test]
    fn extra_runs_stand_where_they_took_place() {
        // A jog of 20 s before a rep of 600 s.
        let matched = matched(&[600.0], &[], &[20.0, 600.0], &[300.0]);
        assert_eq!(words(&matched), [(Gait::Run, "extra", Some(0.0)), (Gait::Run, "done", Some(320.0))]);
    }

    #[test]
    fn standing_and_gaps_are_rest() {
        let (reps, walks) = equal(2, 60.0, 90.0);
        let bouts = [
            Bout::new(Kind::Run, 0.0, 60.0),
            Bout::new(Kind::Stand, 60.0, 90.0),
            Bout::new(Kind::Gap, 90.0, 120.0),
            Bout::new(Kind::Walk, 120.0, 150.0),
            Bout::new(Kind::Run, 150.0, 210.0),
        ];
        let matched = match_session(&plan(&reps, &walks), &bouts, &settings()).unwrap();
        assert_eq!(matched.adherence_pct, 100.0);
        assert_eq!(matched.intervals[1].done_s, Some(90.0));
    }
}

mod walking_sessions {
    use super::*;

    #[test]
    fn adherence_is_the_share_that_was_walked() {
        let planned = [Interval { gait: Gait::Walk, amount: Amount::Seconds(1500.0) }];
        let bouts = [
            Bout::new(Kind::Walk, 0.0, 900.0),
            Bout::new(Kind::Stand, 900.0, 1000.0),
            Bout::new(Kind::Run, 1000.0, 1100.0),
            Bout::new(Kind::Walk, 1100.0, 1250.0),
        ];
        let matched = match_session(&planned, &bouts, &settings()).unwrap();
        assert_abs_diff_eq!(matched.adherence_pct, 70.0, epsilon = 1e-9);
        assert_eq!(matched.running, None);
        assert_eq!(matched.intervals[0].done_s, Some(1050.0));
        assert_eq!(matched.intervals[0].status, IntervalStatus::Short);
        assert_eq!(matched.intervals[1].status, IntervalStatus::Extra);
        // All running is beyond a plan that asks for none: 100 s of 1500 s.
        assert_abs_diff_eq!(matched.overdone_pct, 6.667, epsilon = 1e-3);
        let longer = [Bout::new(Kind::Walk, 0.0, 3000.0)];
        assert_eq!(match_session(&planned, &longer, &settings()).unwrap().adherence_pct, 100.0);
    }

    #[test]
    fn metres_are_compared_with_metres() {
        let planned = [Interval { gait: Gait::Walk, amount: Amount::Metres(3000.0) }];
        let mut walk = Bout::new(Kind::Walk, 0.0, 1800.0);
        assert_eq!(match_session(&planned, std::slice::from_ref(&walk), &settings()), None);
        walk.distance_m = Some(2400.0);
        let matched = match_session(&planned, &[walk], &settings()).unwrap();
        assert_abs_diff_eq!(matched.adherence_pct, 80.0, epsilon = 1e-9);
        assert_eq!(matched.intervals[0].planned_m, Some(3000.0));
        assert_abs_diff_eq!(matched.intervals[0].done_m.unwrap(), 2400.0, epsilon = 1e-9);
    }
}

#[test]
fn metres_without_distance_are_not_compared() {
    let planned = [Interval { gait: Gait::Run, amount: Amount::Metres(400.0) }];
    assert_eq!(match_session(&planned, &done(&[160.0], &[]), &settings()), None);
    assert_eq!(match_session(&[], &done(&[160.0], &[]), &settings()), None);
}

fn statuses(matched: &SessionMatch, gait: Gait) -> Vec<&'static str> {
    matched.intervals.iter().filter(|row| row.gait == gait).map(|row| row.status.word()).collect()
}

#[test]
fn a_rep_is_long_from_6_s_beyond_it_and_a_walk_from_its_tolerance() {
    let rep = |run_s: f64| statuses(&matched(&[100.0], &[], &[run_s], &[]), Gait::Run)[0];
    assert_eq!(
        [rep(93.9), rep(94.0), rep(100.5), rep(106.0), rep(106.1)],
        ["short", "done", "done", "done", "long"]
    );
    // Tolerance of a walk: 6 s, or a third of a short one.
    let walk = |planned_s: f64, walk_s: f64| {
        statuses(&matched(&[100.0; 2], &[planned_s], &[100.0; 2], &[walk_s]), Gait::Walk)[0]
    };
    assert_eq!(
        [walk(80.0, 73.9), walk(80.0, 74.0), walk(80.0, 86.0), walk(80.0, 86.1)],
        ["short", "done", "done", "long"]
    );
    assert_eq!(
        [walk(15.0, 9.9), walk(15.0, 10.0), walk(15.0, 20.0), walk(15.0, 20.1)],
        ["short", "done", "done", "long"]
    );
}

#[test]
fn of_alignments_that_credit_the_same_the_one_with_earlier_reps_and_runs_is_taken() {
    let one_of_two_reps = matched(&[100.0; 2], &[80.0], &[100.0], &[]);
    assert_eq!(statuses(&one_of_two_reps, Gait::Run), ["done", "missed"]);
    let one_of_two_runs = matched(&[100.0], &[], &[100.0; 2], &[300.0]);
    assert_eq!(statuses(&one_of_two_runs, Gait::Run), ["done", "extra"]);
    assert_eq!(one_of_two_runs.intervals[0].start_s, Some(0.0));
    let last_of_four = matched(&[100.0; 4], &[80.0; 3], &[100.0; 3], &[80.0; 2]);
    assert_eq!(statuses(&last_of_four, Gait::Run), ["done", "done", "done", "missed"]);
}

#[test]
fn reps_of_45_s_and_walks_of_18_s_can_be_judged() {
    let judged =
        |rep_s: f64, walk_s: f64| !matched(&[rep_s; 2], &[walk_s], &[rep_s; 2], &[walk_s]).too_short_to_judge;
    assert_eq!([judged(45.0, 18.0), judged(44.9, 18.0), judged(45.0, 17.9)], [true, false, false]);
}

#[test]
fn a_pause_inside_a_rep_is_no_running_beyond_the_plan_and_what_was_run_is() {
    let paused = matched(&[100.0], &[], &[60.0, 60.0], &[30.0]);
    // 120 s were run, 20 s of the pause are lost: the rep is full, and 120 s are 14 s beyond it and its edges.
    assert_abs_diff_eq!(paused.running.unwrap().dose_pct, 100.0, epsilon = 1e-9);
    assert_abs_diff_eq!(paused.overdone_pct, 14.0, epsilon = 1e-9);
}

#[test]
fn the_pace_of_a_rep_is_that_of_its_running_whatever_the_rest_inside_it_costs() {
    let pace = |amount, rest_s| {
        let mut bouts = done(&[60.0, 60.0], &[rest_s]);
        bouts.iter_mut().filter(|bout| bout.kind == Kind::Run).for_each(|run| run.distance_m = Some(150.0));
        let row =
            match_session(&[Interval { gait: Gait::Run, amount }], &bouts, &settings()).unwrap().intervals[0];
        row.run_pace_s_per_km.unwrap()
    };
    for rest_s in [5.0, 30.0, 60.0] {
        assert_abs_diff_eq!(pace(Amount::Seconds(120.0), rest_s), 400.0, epsilon = 1e-9);
        assert_abs_diff_eq!(pace(Amount::Metres(300.0), rest_s), 400.0, epsilon = 1e-9);
    }
    let without_metres = matched(&[120.0], &[], &[120.0], &[]);
    assert_eq!(without_metres.intervals[0].run_pace_s_per_km, None);
}

#[test]
fn a_rep_of_metres_and_seconds_counts_by_its_time() {
    let ask = |amount| Interval { gait: Gait::Run, amount };
    let mixed = [ask(Amount::Metres(250.0)), ask(Amount::Seconds(100.0))];
    let mut bouts = done(&[200.0], &[]);
    bouts[0].distance_m = Some(400.0);
    let row = match_session(&mixed, &bouts, &settings()).unwrap().intervals[0];
    assert_eq!((row.planned_s, row.planned_m, row.status), (Some(200.0), None, IntervalStatus::Done));
}

//! The definition's worked examples and promises.

use approx::assert_abs_diff_eq;
use proptest::prelude::*;

use super::alignment::{Group, align, fill};
use super::*;
use crate::{Amount, Gait, Kind};

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
        running.overdone_pct,
    ]
}

#[track_caller]
fn assert_measures(matched: &SessionMatch, expected: [f64; 5]) {
    for (got, wanted) in measures(matched).into_iter().zip(expected) {
        // The expected values are rounded to 0.01.
        assert_abs_diff_eq!(got, wanted, epsilon = 0.00501);
    }
}

/// The worked examples of the definition: own examples, recomputed by an independent slow reference program.
/// Plan of eight reps of 60 s with 90 s walks, unless the test says otherwise.
mod worked_examples {
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
}

#[test]
fn completion_is_capped_rep_by_rep() {
    // Own example: plan 6 × 90 s, done 90 95 88 90 60 and none: 418 of 540 s = 77.4074 %, 423 s without the cap.
    let (reps, walks) = equal(6, 90.0, 60.0);
    let matched = matched(&reps, &walks, &[90.0, 95.0, 88.0, 90.0, 60.0], &[60.0; 4]);
    let running = matched.running.unwrap();
    assert_abs_diff_eq!(running.dose_pct, 77.4074, epsilon = 1e-4);
    assert_eq!(running.reps, Reps { planned: 6, done: 4, short: 1, missed: 1, extra: 0 });
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
                (Gait::Walk, "short", Some(0.0)),
                (Gait::Run, "done", Some(290.0)),
                (Gait::Walk, "done", Some(350.0)),
                (Gait::Run, "done", Some(440.0)),
                (Gait::Walk, "done", Some(500.0)),
                (Gait::Walk, "short", Some(590.0)),
                (Gait::Run, "extra", Some(650.0)),
            ]
        );
        let credits: Vec<_> = matched.intervals.iter().map(|row| row.credit_pct).collect();
        assert_eq!(credits, [None, Some(100.0), Some(100.0), Some(100.0), None, None, None]);
        assert_eq!(matched.intervals[6].planned_s, None);
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

/// Adherence of the best of all alignments, each listed and scored.
fn best_by_listing(planned: &[Interval], bouts: &[Bout]) -> f64 {
    fn list(
        demand: &Demand,
        course: &Course,
        groups: &mut Vec<Group>,
        best: &mut f64,
        settings: &AdherenceSettings,
    ) {
        *best = best.max(Score::new(demand, course, groups, settings).adherence_pct);
        let (rep, run) = groups.last().map_or((0, 0), |group| (group.reps.end, group.runs.end));
        for first_rep in rep..demand.reps.len() {
            for first_run in run..course.len() {
                for end_run in first_run + 1..=course.len() {
                    for end_rep in first_rep + 1..=demand.reps.len() {
                        let group = Group { reps: first_rep..end_rep, runs: first_run..end_run };
                        let asked = &demand.reps[group.reps.clone()];
                        if fill(asked, course.laid(group.runs.clone())).len() < asked.len() {
                            continue;
                        }
                        groups.push(group);
                        list(demand, course, groups, best, settings);
                        groups.pop();
                    }
                }
            }
        }
    }
    let settings = settings();
    let demand = Demand::new(planned, &settings).unwrap();
    let course = Course::new(bouts, &settings);
    let mut best = 0.0;
    list(&demand, &course, &mut Vec::new(), &mut best, &settings);
    best
}

/// Reps, equal or not, with equal walks.
fn any_plan() -> impl Strategy<Value = (Vec<f64>, Vec<f64>)> {
    let rep = || prop::sample::select(vec![30.0, 60.0, 90.0, 120.0, 300.0]);
    let reps = prop_oneof![
        (rep(), 1_usize..6).prop_map(|(rep, count)| vec![rep; count]),
        prop::collection::vec(rep(), 1..6),
    ];
    (reps, prop::sample::select(vec![30.0, 60.0, 90.0])).prop_map(|(reps, walk)| {
        let walks = vec![walk; reps.len() - 1];
        (reps, walks)
    })
}

/// A plan with a recording of any runs and rests.
fn any_session() -> impl Strategy<Value = (Vec<f64>, Vec<f64>, Vec<f64>, Vec<f64>)> {
    let run = || (1_u32..240).prop_map(f64::from);
    let rest = || prop_oneof![Just(5.0), Just(15.0), (1_u32..200).prop_map(f64::from)];
    (any_plan(), prop::collection::vec((run(), rest()), 0..7)).prop_map(|((reps, walks), pieces)| {
        let (runs, rests) = pieces.into_iter().unzip();
        (reps, walks, runs, rests)
    })
}

/// A plan with a recording that follows it with cuts and stretched walks, no rest shorter than planned.
fn followed_session() -> impl Strategy<Value = (Vec<f64>, Vec<f64>, Vec<f64>, Vec<f64>)> {
    any_plan()
        .prop_flat_map(|(reps, walks)| {
            let count = reps.len();
            let cuts = prop::collection::vec(prop_oneof![Just(0.0), (1_u32..60).prop_map(f64::from)], count);
            let stretches = prop::collection::vec(prop::sample::select(vec![0.0, 5.0, 60.0, 600.0]), count);
            (Just(reps), Just(walks), cuts, stretches)
        })
        .prop_map(|(reps, walks, cuts, stretches)| {
            let runs = reps.iter().zip(cuts).map(|(rep, cut)| (rep - cut).max(0.0)).collect();
            let rests = walks.iter().zip(stretches).map(|(walk, stretch)| walk + stretch).collect();
            (reps, walks, runs, rests)
        })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    #[test]
    fn the_search_finds_the_best_of_all_alignments(
        (reps, walks, runs, rests) in any_session().prop_filter("small", |s| s.0.len() <= 4 && s.2.len() <= 4),
    ) {
        let (planned, bouts) = (plan(&reps, &walks), done(&runs, &rests));
        let found = match_session(&planned, &bouts, &settings()).unwrap().adherence_pct;
        prop_assert!((found - best_by_listing(&planned, &bouts)).abs() < 1e-6);
    }

    #[test]
    fn done_short_and_missed_reps_are_the_planned_ones((reps, walks, runs, rests) in any_session()) {
        let matched = matched(&reps, &walks, &runs, &rests);
        let counts = matched.running.unwrap().reps;
        prop_assert_eq!(counts.done + counts.short + counts.missed, counts.planned);
        let rows = |status| matched.intervals.iter().filter(|row| row.gait == Gait::Run && row.status == status).count();
        prop_assert_eq!(rows(IntervalStatus::Done) + rows(IntervalStatus::Long), counts.done);
        prop_assert_eq!(rows(IntervalStatus::Short), counts.short);
        prop_assert_eq!(rows(IntervalStatus::Missed), counts.missed);
        prop_assert_eq!(rows(IntervalStatus::Extra), counts.extra);
        prop_assert_eq!(matched.intervals.len(), reps.len() + walks.len() + counts.extra);
    }

    #[test]
    fn plain_dose_is_that_of_the_rows((reps, walks, runs, rests) in any_session()) {
        let matched = matched(&reps, &walks, &runs, &rests);
        let run_rows = matched.intervals.iter().filter(|row| row.gait == Gait::Run);
        let done_s: f64 = run_rows.filter_map(|row| Some(row.done_s?.min(row.planned_s?))).sum();
        let dose_pct = 100.0 * done_s / reps.iter().sum::<f64>();
        prop_assert!((matched.running.unwrap().dose_pct - dose_pct).abs() < 1e-9);
    }

    #[test]
    fn measures_stay_in_their_ranges((reps, walks, runs, rests) in any_session()) {
        let matched = matched(&reps, &walks, &runs, &rests);
        let [adherence, dose, breaks, full, overdone] = measures(&matched);
        let percent = -1e-9..=100.0 + 1e-9;
        prop_assert!(percent.contains(&adherence) && percent.contains(&dose) && percent.contains(&full));
        prop_assert!(breaks >= 0.0 && breaks <= dose + 1e-9);
        prop_assert!(overdone >= -1e-9);
        prop_assert!((0.60 * dose + 0.25 * breaks + 0.15 * full - adherence).abs() < 1e-9);
    }

    #[test]
    fn rows_are_in_order_of_time((reps, walks, runs, rests) in any_session()) {
        let starts: Vec<f64> = matched(&reps, &walks, &runs, &rests).intervals.iter().filter_map(|row| row.start_s).collect();
        prop_assert!(starts.is_sorted(), "{starts:?}");
    }

    #[test]
    fn a_shift_in_time_changes_nothing_but_the_starts(
        (reps, walks, runs, rests) in any_session(), shift_s in -500.0..5000.0_f64,
    ) {
        let (planned, bouts) = (plan(&reps, &walks), done(&runs, &rests));
        let mut shifted = bouts.clone();
        for bout in &mut shifted {
            (bout.start_s, bout.end_s) = (bout.start_s + shift_s, bout.end_s + shift_s);
        }
        let before = match_session(&planned, &bouts, &settings()).unwrap();
        let after = match_session(&planned, &shifted, &settings()).unwrap();
        for (a, b) in measures(&before).into_iter().zip(measures(&after)) {
            prop_assert!((a - b).abs() < 1e-6);
        }
        for (a, b) in before.intervals.iter().zip(&after.intervals) {
            prop_assert_eq!(a.start_s.is_some(), b.start_s.is_some());
            prop_assert!((b.start_s.unwrap_or(0.0) - a.start_s.unwrap_or(-shift_s) - shift_s).abs() < 1e-5);
        }
    }

    #[test]
    fn seconds_taken_out_of_a_run_never_raise_adherence(
        (reps, walks, runs, rests) in any_session(), which in any::<prop::sample::Index>(), cut_s in 1.0..240.0_f64,
    ) {
        prop_assume!(!runs.is_empty());
        let mut fewer = runs.clone();
        let run = &mut fewer[which.index(runs.len())];
        *run = (*run - cut_s).max(0.0);
        let (before, after) = (adherence(&reps, &walks, &runs, &rests), adherence(&reps, &walks, &fewer, &rests));
        prop_assert!(after <= before + 1e-9, "{before} rose to {after}");
    }

    #[test]
    fn walking_a_whole_run_never_raises_adherence(
        (reps, walks, runs, rests) in followed_session(), which in any::<prop::sample::Index>(),
    ) {
        let index = which.index(runs.len());
        let (mut fewer, mut longer) = (runs.clone(), rests.clone());
        fewer[index] = 0.0;
        if let Some(rest) = longer.get_mut(index) {
            *rest += runs[index];
        }
        let (before, after) = (adherence(&reps, &walks, &runs, &rests), adherence(&reps, &walks, &fewer, &longer));
        prop_assert!(after <= before + 1e-9, "{before} rose to {after}");
    }

    #[test]
    fn walking_the_end_of_a_run_never_raises_adherence(
        (reps, walks, runs, rests) in followed_session(), which in any::<prop::sample::Index>(), cut_s in 1.0..60.0_f64,
    ) {
        let index = which.index(runs.len());
        let (mut fewer, mut longer) = (runs.clone(), rests.clone());
        let walked_s = cut_s.min(runs[index]);
        fewer[index] -= walked_s;
        if let Some(rest) = longer.get_mut(index) {
            *rest += walked_s;
        }
        let (before, after) = (adherence(&reps, &walks, &runs, &rests), adherence(&reps, &walks, &fewer, &longer));
        prop_assert!(after <= before + 1e-9, "{before} rose to {after}");
    }

    #[test]
    fn a_longer_walk_never_raises_adherence_where_none_is_cut(
        (reps, walks, runs, rests) in followed_session(),
        which in any::<prop::sample::Index>(),
        more_s in prop::sample::select(vec![1.0, 10.0, 100.0, 1000.0]),
    ) {
        prop_assume!(!rests.is_empty());
        let mut longer = rests.clone();
        longer[which.index(rests.len())] += more_s;
        let (before, after) = (adherence(&reps, &walks, &runs, &rests), adherence(&reps, &walks, &runs, &longer));
        prop_assert!(after <= before + 1e-9, "{before} rose to {after}");
    }

    #[test]
    fn running_straight_through_gives_75_at_most((reps, walks) in any_plan(), run_s in 1.0..3000.0_f64) {
        prop_assume!(reps.len() > 1);
        prop_assert!(adherence(&reps, &walks, &[run_s], &[]) <= 75.0 + 1e-9);
    }

    #[test]
    fn walking_it_all_gives_nothing((reps, walks) in any_plan(), walk_s in 0.0..3000.0_f64) {
        let walked = [Bout::new(Kind::Walk, 0.0, walk_s)];
        let matched = match_session(&plan(&reps, &walks), &walked, &settings()).unwrap();
        prop_assert_eq!(measures(&matched), [0.0; 5]);
    }

    #[test]
    fn boundaries_3_s_off_cost_nothing(
        rep_s in prop::sample::select(vec![50.0, 60.0, 90.0, 300.0]),
        walk_s in prop::sample::select(vec![18.0, 30.0, 60.0, 90.0]),
        errors_s in prop::collection::vec(prop_oneof![Just(-3.0), Just(3.0), -3.0..3.0_f64], 2..20),
    ) {
        let count = errors_s.len() / 2;
        let (reps, walks) = equal(count, rep_s, walk_s);
        let runs: Vec<f64> = (0..count).map(|t| rep_s + errors_s[2 * t + 1] - errors_s[2 * t]).collect();
        let rests: Vec<f64> = (1..count).map(|t| walk_s + errors_s[2 * t] - errors_s[2 * t - 1]).collect();
        prop_assert!((adherence(&reps, &walks, &runs, &rests) - 100.0).abs() < 1e-6);
    }

    #[test]
    fn more_reps_than_asked_never_lower_adherence((reps, walks, runs, rests) in any_session(), extra_s in 1.0..300.0_f64) {
        let mut more = runs.clone();
        more.push(extra_s);
        prop_assert!(adherence(&reps, &walks, &more, &rests) >= adherence(&reps, &walks, &runs, &rests) - 1e-9);
    }

    #[test]
    fn mixed_units_are_searched_exactly_too(
        (reps, walks, runs, rests) in any_session().prop_filter("small", |s| s.0.len() <= 3 && s.2.len() <= 4),
        in_metres in prop::collection::vec(any::<bool>(), 3),
        speeds in prop::collection::vec(1.6..3.2_f64, 12),
    ) {
        let mut planned = plan(&reps, &walks);
        for (interval, metres) in planned.iter_mut().filter(|i| i.gait == Gait::Run).zip(in_metres) {
            if let (Amount::Seconds(seconds), true) = (interval.amount, metres) {
                interval.amount = Amount::Metres(seconds * 2.5);
            }
        }
        let mut bouts = done(&runs, &rests);
        for (bout, speed) in bouts.iter_mut().zip(speeds) {
            bout.distance_m = Some(bout.duration_s() * speed);
        }
        let matched = match_session(&planned, &bouts, &settings()).unwrap();
        prop_assert!((matched.adherence_pct - best_by_listing(&planned, &bouts)).abs() < 1e-6);
        let starts: Vec<f64> = matched.intervals.iter().filter_map(|row| row.start_s).collect();
        prop_assert!(starts.is_sorted(), "{starts:?}");
    }
}

#[test]
fn the_points_of_the_search_are_those_of_the_score() {
    let settings = settings();
    let planned = plan(&[60.0, 120.0, 60.0], &[90.0; 2]);
    let bouts = done(&[70.0, 40.0, 90.0, 20.0], &[50.0, 20.0, 200.0]);
    let demand = Demand::new(&planned, &settings).unwrap();
    let course = Course::new(&bouts, &settings);
    let groups = align(&demand, &course, &settings);
    let score = Score::new(&demand, &course, &groups, &settings);
    assert_abs_diff_eq!(score.adherence_pct, best_by_listing(&planned, &bouts), epsilon = 1e-9);
}

//! What the definition promises, on generated plans and recordings.

use proptest::prelude::*;

use super::*;
use crate::adherence::alignment::{Group, align, align_with, fill};

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
    fn what_is_not_followed_could_not_have_been_the_best(
        (reps, walks, runs, rests) in prop_oneof![any_session(), followed_session()],
    ) {
        let (planned, bouts) = (plan(&reps, &walks), done(&runs, &rests));
        let settings = settings();
        let (demand, course) = (Demand::new(&planned, &settings).unwrap(), Course::new(&bouts, &settings));
        let all = align_with(&demand, &course, &settings, 0.0);
        prop_assert_eq!(Some(align(&demand, &course, &settings)), all.clone());
        for share in [0.3, 0.75, 0.95, 1.0] {
            let found = align_with(&demand, &course, &settings, share);
            prop_assert!(found.is_none() || found == all, "{share}");
        }
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

/// Two alignments with the same points, one with a short run of its own and one that loses it.
#[test]
fn rounding_breaks_no_tie() {
    let planned = plan(&[30.0, 90.0], &[30.0]);
    let rows = |shift_s: f64| {
        let mut bouts = done(&[5.0, 31.0], &[15.0, 5.0]);
        for bout in &mut bouts {
            (bout.start_s, bout.end_s) = (bout.start_s + shift_s, bout.end_s + shift_s);
        }
        let matched = match_session(&planned, &bouts, &settings()).unwrap();
        matched.intervals.iter().map(|row| (row.gait, row.status)).collect::<Vec<_>>()
    };
    for shift_s in [109.507_458_299_568_85, 0.1, 0.3, 77.7, 4_321.123_4] {
        assert_eq!(rows(shift_s), rows(0.0), "{shift_s}");
    }
}

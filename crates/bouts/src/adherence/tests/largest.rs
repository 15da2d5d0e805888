//! Sessions of so many reps and runs that not every way to lay them is looked at.

use super::*;
use crate::adherence::alignment::{CELLS, Reach};
use crate::{Observed, read_events};

/// Reps and runs of many different lengths, none like the other's.
fn unlike(reps: usize, runs: usize) -> (Vec<Interval>, Vec<Bout>) {
    let lengths = |count: usize, least: usize, different: usize| -> Vec<f64> {
        (0..count).map(|at| (least + at % different) as f64).collect()
    };
    let planned = plan(&lengths(reps, 6, 50), &lengths(reps - 1, 5, 37));
    (planned, done(&lengths(runs, 14, 40), &lengths(runs, 13, 30)))
}

fn reach(planned: &[Interval], bouts: &[Bout]) -> (Reach, bool) {
    let settings = settings();
    let (demand, course) = (Demand::new(planned, &settings).unwrap(), Course::new(bouts, &settings));
    let reach = Reach::of(&demand, &course);
    (reach, reach.is_all(&course))
}

#[test]
fn up_to_60_reps_and_60_runs_every_way_is_looked_at() {
    for (reps, runs) in [(60, 60), (1, 464), (9, 154), (500, 20), (20, 103)] {
        let (planned, bouts) = unlike(reps, runs);
        assert!(reach(&planned, &bouts).1, "{reps} {runs}");
    }
    for (reps, runs) in [(60, 61), (61, 60), (1, 465), (9, 155), (500, 21)] {
        let (planned, bouts) = unlike(reps, runs);
        assert!(!reach(&planned, &bouts).1, "{reps} {runs}");
        assert!(match_session(&planned, &bouts, &settings()).unwrap().not_all_ways);
    }
}

/// What took seconds and gigabytes: both readings of the session look at no more than so many places.
#[test]
fn work_is_bounded_however_many_reps_and_runs_there_are() {
    for (reps, runs) in [(300, 300), (500, 5_000), (9, 9_000)] {
        let (planned, bouts) = unlike(reps, runs);
        let (reach, _) = reach(&planned, &bouts);
        assert!(reps * reach.runs <= CELLS && reach.at_once <= 24, "{reach:?}");
        let matched = match_session(&planned, &bouts, &settings()).unwrap();
        assert!(matched.not_all_ways && matched.adherence_pct > 20.0, "{}", matched.adherence_pct);
        let counts = matched.running.unwrap().reps;
        assert_eq!(counts.done + counts.short + counts.missed, reps);
        // Every run is laid, or told as one that no rep asked for.
        let reading = read_events(&planned, &Observed::of(&bouts, 1.0), &settings());
        assert!(!reading.events.is_empty());
    }
}

/// A long session done as planned, and one with a rep in the middle left out, are what they were.
#[test]
fn what_is_done_as_planned_is_found_among_many_reps_too() {
    let lengths: Vec<f64> = (0..200).map(|at| f64::from(20 + at * 7 % 41)).collect();
    let walks: Vec<f64> = (0..199).map(|at| f64::from(20 + at * 5 % 31)).collect();
    let whole = matched(&lengths, &walks, &lengths, &walks);
    assert!(whole.not_all_ways);
    assert_abs_diff_eq!(whole.adherence_pct, 100.0, epsilon = 1e-9);
    let mut fewer = lengths.clone();
    fewer[100] = 0.0;
    let left_out = matched(&lengths, &walks, &fewer, &walks);
    assert!(left_out.adherence_pct > 98.0, "{}", left_out.adherence_pct);
}

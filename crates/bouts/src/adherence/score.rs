//! What an alignment is worth.

use super::AdherenceSettings;
use super::alignment::{Filled, Group, fill};
use super::course::Course;
use super::demand::{Demand, Walk};
use super::rows::IntervalStatus;

/// Credits that are this close to 1 are 1.
const WHOLE: f64 = 1.0 - 1e-9;

/// How many reps were asked for, and what became of them.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Reps {
    /// Asked for: done, short, missed and not recorded together.
    pub planned: usize,
    /// Run in full, longer ones included.
    pub done: usize,
    /// Run in part.
    pub short: usize,
    /// Not run.
    pub missed: usize,
    /// Outside the recording, or cut by its edge.
    pub not_recorded: usize,
    /// Runs that no rep asked for.
    pub extra: usize,
}

/// The running of a session against its reps.
#[derive(Clone, Copy, Debug, PartialEq)]
#[non_exhaustive]
pub struct RunMatch {
    /// Running asked for, in seconds; metres count at the plan's fixed speed.
    pub planned_s: f64,
    /// Plain share of the dose, without tolerance: Σ min(done, planned) / Σ planned, in %.
    pub dose_pct: f64,
    /// Dose with tolerance, as it counts in adherence, in %.
    pub tolerant_dose_pct: f64,
    /// How far the walks between the reps were kept, in %.
    pub breaks_pct: f64,
    /// How far the reps were run in full, in %.
    pub full_pct: f64,
    /// Seconds by which walks between reps fell short of the plan and its tolerance; walks left out count whole.
    pub walk_missing_s: f64,
    /// The reps counted.
    pub reps: Reps,
}

/// A rep with what it got.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Rep {
    /// Index of its group; `None` where it is in none.
    pub(super) group: Option<usize>,
    /// Seconds and where they lie.
    pub(super) filled: Filled,
    /// Credit, 0 to 1.
    pub(super) credit: f64,
    /// What became of it.
    pub(super) status: IntervalStatus,
}

/// An alignment, rep by rep and walk by walk, with its sums.
#[derive(Debug)]
pub(super) struct Score {
    pub(super) adherence_pct: f64,
    pub(super) overdone_pct: f64,
    pub(super) running: RunMatch,
    pub(super) reps: Vec<Rep>,
    /// Credit of each walk between reps, 0 to 1.
    pub(super) walk_credits: Vec<f64>,
    /// The runs in no group.
    pub(super) extra_runs: Vec<usize>,
}

impl Score {
    pub(super) fn new(
        demand: &Demand,
        course: &Course,
        groups: &[Group],
        settings: &AdherenceSettings,
    ) -> Self {
        let reps = reps(demand, course, groups, settings);
        let (walk_credits, walk_missing_s) = walks(demand, course, groups, &reps, settings);
        let extra_runs: Vec<usize> =
            (0..course.len()).filter(|run| !groups.iter().any(|group| group.runs.contains(run))).collect();

        let count = reps.len() as f64;
        let planned_s = demand.run_s();
        let pairs = || demand.reps.iter().map(|part| part.planned_s).zip(&reps);
        let plain_dose =
            pairs().map(|(asked_s, rep)| rep.filled.done_s.min(asked_s)).sum::<f64>() / planned_s;
        let dose = pairs().map(|(asked_s, rep)| asked_s * rep.credit).sum::<f64>() / planned_s;
        let full =
            pairs().map(|(asked_s, rep)| settings.full_credit(rep.filled.done_s, asked_s)).sum::<f64>()
                / count;
        let breaks = if reps.len() == 1 {
            dose
        } else {
            demand.break_weights().iter().zip(&walk_credits).map(|(weight, credit)| weight * credit).sum()
        };
        let overdone_s = overdone_s(demand, course, groups, &extra_runs, settings);
        let number = |status| reps.iter().filter(|rep| rep.status == status).count();
        let running = RunMatch {
            planned_s,
            dose_pct: 100.0 * plain_dose,
            tolerant_dose_pct: 100.0 * dose,
            breaks_pct: 100.0 * breaks,
            full_pct: 100.0 * full,
            walk_missing_s,
            reps: Reps {
                planned: reps.len(),
                done: number(IntervalStatus::Done) + number(IntervalStatus::Long),
                short: number(IntervalStatus::Short),
                missed: number(IntervalStatus::Missed),
                not_recorded: 0,
                extra: extra_runs.len(),
            },
        };
        let points =
            settings.dose_weight * dose + settings.breaks_weight * breaks + settings.full_weight * full;
        let overdone_pct = 100.0 * overdone_s / planned_s;
        Self { adherence_pct: 100.0 * points, overdone_pct, running, reps, walk_credits, extra_runs }
    }
}

/// What each rep got.
fn reps(demand: &Demand, course: &Course, groups: &[Group], settings: &AdherenceSettings) -> Vec<Rep> {
    let missed = Rep {
        group: None,
        filled: Filled { done_s: 0.0, shares: 0.0..0.0 },
        credit: 0.0,
        status: IntervalStatus::Missed,
    };
    let mut reps = vec![missed; demand.reps.len()];
    for (group_index, group) in groups.iter().enumerate() {
        let asked = &demand.reps[group.reps.clone()];
        let filled = fill(asked, course.laid(group.runs.clone()));
        for ((rep, part), filled) in reps[group.reps.clone()].iter_mut().zip(asked).zip(filled) {
            let credit = settings.rep_credit(filled.done_s, part.planned_s);
            let status = if credit < WHOLE {
                IntervalStatus::Short
            } else if filled.done_s > part.planned_s + settings.edges_s {
                IntervalStatus::Long
            } else {
                IntervalStatus::Done
            };
            *rep = Rep { group: Some(group_index), filled, credit, status };
        }
    }
    reps
}

/// Credit of each walk between reps, and the seconds by which walks fell short together.
fn walks(
    demand: &Demand,
    course: &Course,
    groups: &[Group],
    reps: &[Rep],
    settings: &AdherenceSettings,
) -> (Vec<f64>, f64) {
    let mut missing_s = 0.0;
    let credit = |(sides, walk): (&[Rep], &Walk)| {
        let planned_s = walk.whole.planned_s;
        let Some((before, after)) = groups_beside(&sides[0], &sides[1], groups) else {
            missing_s += planned_s;
            return 0.0;
        };
        let rest_s = course.rest_for(&walk.whole, before.runs.end - 1, after.runs.start);
        let lost_s = course.lost_s(before.runs.clone()) + course.lost_s(after.runs.clone());
        missing_s += (planned_s - settings.walk_tolerance_s(planned_s) - rest_s).max(0.0);
        settings.walk_credit(rest_s, lost_s, planned_s) * sides[0].credit.min(sides[1].credit)
    };
    let credits = reps.windows(2).zip(&demand.walks).map(credit).collect();
    (credits, missing_s)
}

/// The groups that a walk lies between: one ends with the rep before it, the next begins with the rep after it.
pub(super) fn groups_beside<'a>(
    before: &Rep,
    after: &Rep,
    groups: &'a [Group],
) -> Option<(&'a Group, &'a Group)> {
    let (before, after) = (before.group?, after.group?);
    (before != after).then(|| (&groups[before], &groups[after]))
}

/// Seconds run in no group, and those of each group beyond what it was laid on and its edges.
fn overdone_s(
    demand: &Demand,
    course: &Course,
    groups: &[Group],
    extra_runs: &[usize],
    settings: &AdherenceSettings,
) -> f64 {
    let beyond_s = groups.iter().map(|group| {
        let asked = &demand.reps[group.reps.clone()];
        let filled = fill(asked, course.laid(group.runs.clone()));
        let run_s = filled.iter().map(|part| part.done_s).sum::<f64>() + course.lost_s(group.runs.clone());
        let asked_s: f64 = asked.iter().map(|part| part.planned_s).sum();
        (run_s - asked_s - settings.edges_s).max(0.0)
    });
    let extra_s = extra_runs.iter().map(|&run| course.run(run..run + 1).by(demand.run_unit()));
    beyond_s.sum::<f64>() + extra_s.sum::<f64>()
}

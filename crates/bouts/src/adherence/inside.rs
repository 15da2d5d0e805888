//! The part of a plan session that lies inside its recording.

use std::ops::Range;

use super::demand::{Demand, Part, Walk};
use super::rows::{IntervalMatch, IntervalStatus};
use super::{AdherenceSettings, SessionMatch};
use crate::Gait;

/// What of a plan session lies inside its recording; the rest is not recorded, neither missed nor done.
#[derive(Clone, Debug, PartialEq)]
pub struct Inside {
    /// Indices of the reps that lie inside, those cut by an edge included.
    pub reps: Range<usize>,
    /// What was seen of the first one, where the recording begins in it: seconds, of metres those at the plan's speed.
    pub first_s: Option<f64>,
    /// What was seen of the last one, where the recording ends in it.
    pub last_s: Option<f64>,
}

/// Lists what lies outside as not recorded, and reps cut by an edge as that, with what was seen of them.
pub(super) fn add_rows_outside(
    matched: &mut SessionMatch,
    whole: &Demand,
    inside: &Inside,
    settings: &AdherenceSettings,
) {
    let rep_row = |part: &Part| IntervalMatch::not_recorded(Gait::Run, *part, settings.run_m_per_s);
    let walk_rows = |walk: &Walk| -> Vec<IntervalMatch> {
        let row = |part: &Part| IntervalMatch::not_recorded(Gait::Walk, *part, settings.walk_m_per_s);
        walk.parts.iter().map(row).collect()
    };
    let planned = |row: &IntervalMatch| row.gait == Gait::Run && row.status != IntervalStatus::Extra;
    let mut cut = |row: Option<&mut IntervalMatch>, part: &Part| {
        let Some(row) = row else { return };
        let counted = matched.running.as_mut().map(|running| &mut running.reps);
        if let Some(reps) = counted {
            match row.status {
                IntervalStatus::Short => reps.short -= 1,
                IntervalStatus::Missed => reps.missed -= 1,
                IntervalStatus::NotRecorded => reps.not_recorded -= 1,
                _ => reps.done -= 1,
            }
            reps.not_recorded += 1;
        }
        let asked = rep_row(part);
        *row = IntervalMatch { planned_s: asked.planned_s, planned_m: asked.planned_m, ..*row };
        (row.status, row.credit_pct) = (IntervalStatus::NotRecorded, None);
    };
    let reps = inside.reps.clone();
    if inside.first_s.is_some() {
        cut(matched.intervals.iter_mut().find(|row| planned(row)), &whole.reps[reps.start]);
    }
    if inside.last_s.is_some() {
        cut(matched.intervals.iter_mut().rfind(|row| planned(row)), &whole.reps[reps.end - 1]);
    }
    let mut before: Vec<IntervalMatch> = Vec::new();
    if reps.start > 0 || inside.first_s.is_some() {
        before.extend(whole.before.iter().flat_map(walk_rows));
    }
    for rep in 0..reps.start {
        before.push(rep_row(&whole.reps[rep]));
        before.extend(walk_rows(&whole.walks[rep]));
    }
    let mut after: Vec<IntervalMatch> = Vec::new();
    for rep in reps.end..whole.reps.len() {
        after.extend(walk_rows(&whole.walks[rep - 1]));
        after.push(rep_row(&whole.reps[rep]));
    }
    if reps.end < whole.reps.len() || inside.last_s.is_some() {
        after.extend(whole.after.iter().flat_map(walk_rows));
    }
    if let Some(running) = &mut matched.running {
        let outside = reps.start + whole.reps.len() - reps.end;
        running.reps.not_recorded += outside;
        running.reps.planned += outside;
    }
    matched.intervals.splice(0..0, before);
    matched.intervals.extend(after);
}

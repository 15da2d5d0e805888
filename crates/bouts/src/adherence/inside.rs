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
    /// Those of `reps` that a hole in the recording hides, in order.
    pub hidden: Vec<Hidden>,
    /// Such holes, in order and in seconds from the first point: what lies in them is neither run nor rested.
    pub holes: Vec<Range<f64>>,
}

/// A rep that lies, in whole or in part, in a hole of the recording.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Hidden {
    /// Index of the rep.
    pub rep: usize,
    /// What was seen of it, in seconds, of metres those at the plan's speed; 0 where nothing was.
    pub seen_s: f64,
}

impl Inside {
    /// These reps, all of them seen whole.
    pub(crate) fn of(reps: Range<usize>) -> Self {
        Self { reps, first_s: None, last_s: None, hidden: Vec::new(), holes: Vec::new() }
    }

    /// Whether it is all of a plan session of so many reps.
    pub(crate) fn is_all(&self, planned: usize) -> bool {
        *self == Self::of(0..planned)
    }

    /// The reps of which something was seen.
    pub(crate) fn seen(&self) -> Vec<usize> {
        let is_hidden =
            |rep: &usize| self.hidden.iter().any(|hidden| hidden.rep == *rep && hidden.seen_s <= 0.0);
        self.reps.clone().filter(|rep| !is_hidden(rep)).collect()
    }
}

/// Lists what lies outside as not recorded, and reps cut by an edge as that, with what was seen of them.
pub(super) fn add_rows_outside(
    matched: &mut SessionMatch,
    whole: &Demand,
    inside: &Inside,
    settings: &AdherenceSettings,
) {
    let rep_row = |part: &Part| rep_row(part, settings);
    let walk_rows = |walk: &Walk| walk_rows(walk, settings);
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
    let (reps, seen) = (inside.reps.clone(), inside.seen());
    for hidden in inside.hidden.iter().filter(|hidden| hidden.seen_s > 0.0) {
        let at = seen.iter().take_while(|rep| **rep < hidden.rep).count();
        cut(matched.intervals.iter_mut().filter(|row| is_rep(row)).nth(at), &whole.reps[hidden.rep]);
    }
    if inside.first_s.is_some() {
        cut(matched.intervals.iter_mut().find(|row| is_rep(row)), &whole.reps[reps.start]);
    }
    if inside.last_s.is_some() {
        cut(matched.intervals.iter_mut().rfind(|row| is_rep(row)), &whole.reps[reps.end - 1]);
    }
    let all_hidden = reps.len() - seen.len();
    if all_hidden > 0 {
        let rows = std::mem::take(&mut matched.intervals);
        matched.intervals = with_hidden(rows, whole, &reps, &seen, settings);
    }
    let mut before: Vec<IntervalMatch> = Vec::new();
    if inside.first_s.is_some() || seen.first() != Some(&0) {
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
    if inside.last_s.is_some() || seen.last() != Some(&(whole.reps.len() - 1)) {
        after.extend(whole.after.iter().flat_map(walk_rows));
    }
    if let Some(running) = &mut matched.running {
        let outside = reps.start + whole.reps.len() - reps.end + all_hidden;
        running.reps.not_recorded += outside;
        running.reps.planned += outside;
    }
    matched.intervals.splice(0..0, before);
    matched.intervals.extend(after);
}

/// Whether a row is of a rep that was asked for.
fn is_rep(row: &IntervalMatch) -> bool {
    row.gait == Gait::Run && row.status != IntervalStatus::Extra
}

fn rep_row(part: &Part, settings: &AdherenceSettings) -> IntervalMatch {
    IntervalMatch::not_recorded(Gait::Run, *part, settings.run_m_per_s)
}

fn walk_rows(walk: &Walk, settings: &AdherenceSettings) -> Vec<IntervalMatch> {
    let row = |part: &Part| IntervalMatch::not_recorded(Gait::Walk, *part, settings.walk_m_per_s);
    walk.parts.iter().map(row).collect()
}

/// The rows of the reps that were seen, with those that a hole hides, and the walks around them, put where they belong.
fn with_hidden(
    rows: Vec<IntervalMatch>,
    whole: &Demand,
    reps: &Range<usize>,
    seen: &[usize],
    settings: &AdherenceSettings,
) -> Vec<IntervalMatch> {
    let mut rows = rows.into_iter().peekable();
    let mut all = Vec::new();
    let mut next = reps.start;
    for until in seen.iter().copied().chain([reps.end]) {
        let hides = next < until;
        // Of what lies around hidden reps nothing but runs beyond the plan was seen.
        while let Some(row) = rows.next_if(|row| !is_rep(row)) {
            all.extend((!hides || row.status == IntervalStatus::Extra).then_some(row));
        }
        for rep in next..until {
            let walk_before = rep.checked_sub(1).filter(|walk| *walk >= reps.start);
            all.extend(walk_before.into_iter().flat_map(|walk| walk_rows(&whole.walks[walk], settings)));
            all.push(rep_row(&whole.reps[rep], settings));
        }
        let walk_after = until.checked_sub(1).filter(|_| hides && until < reps.end);
        all.extend(walk_after.into_iter().flat_map(|walk| walk_rows(&whole.walks[walk], settings)));
        all.extend(rows.next());
        next = until + 1;
    }
    all
}

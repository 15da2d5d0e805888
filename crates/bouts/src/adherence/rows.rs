//! The planned intervals of a session one by one, with what was done of each.

use serde::{Deserialize, Serialize};

use super::AdherenceSettings;
use super::alignment::{Filled, Group, fill};
use super::course::{Course, Stretch};
use super::demand::{Demand, Part, Unit, Walk};
use super::score::{Rep, Score, groups_beside};
use crate::Gait;

/// Durations that differ by less, in seconds, are the same.
const SAME_S: f64 = 1e-6;

/// What became of a planned interval.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
pub enum IntervalStatus {
    /// In full, within the tolerance; of a walk before the first or after the last rep, which is never demanded: at all.
    Done,
    /// In part.
    Short,
    /// In full and longer than boundaries can be off: a rep by more than 6 s, a walk by more than its tolerance.
    Long,
    /// Not at all.
    Missed,
    /// It lies outside the recording, or is cut by its edge; of a walk that is never demanded: nothing of it shows.
    NotRecorded,
    /// A run that no rep asked for.
    Extra,
}

impl IntervalStatus {
    /// The word used in every table: `done`, `short`, `long`, `missed`, `not_recorded` or `extra`.
    pub fn word(self) -> &'static str {
        match self {
            Self::Done => "done",
            Self::Short => "short",
            Self::Long => "long",
            Self::Missed => "missed",
            Self::NotRecorded => "not_recorded",
            Self::Extra => "extra",
        }
    }
}

/// A planned interval with what was done of it, or a run that no rep asked for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct IntervalMatch {
    /// Run or walk.
    pub gait: Gait,
    /// Seconds asked for; `None` where metres were, and for an extra run.
    pub planned_s: Option<f64>,
    /// Metres asked for; `None` where seconds were, and for an extra run.
    pub planned_m: Option<f64>,
    /// Seconds done. Of a rep what counts: rests inside it beyond 10 s are taken off. Of a walk all the rest between
    /// the reps beside it, standing included; `None` where a rep beside it was missed, so that nobody can tell.
    pub done_s: Option<f64>,
    /// Metres done in that time, where known.
    pub done_m: Option<f64>,
    /// Pace of the running in it, rests inside it left out, in seconds per kilometre; `None` of a walk, and where no metres are
    /// known.
    pub run_pace_s_per_km: Option<f64>,
    /// What became of it.
    pub status: IntervalStatus,
    /// Credit in %, 0 to 100; `None` for what is never demanded: outer walks and extra runs.
    pub credit_pct: Option<f64>,
    /// Start in seconds from the session's first point; `None` where it did not take place.
    pub start_s: Option<f64>,
}

impl IntervalMatch {
    /// A planned interval that nothing is known to have been done of.
    fn planned(gait: Gait, part: Part, m_per_s: f64) -> Self {
        let (planned_s, planned_m) = match part.unit {
            Unit::Time => (Some(part.planned_s), None),
            Unit::Distance => (None, Some(part.planned_s * m_per_s)),
        };
        let status = IntervalStatus::Missed;
        Self {
            gait,
            planned_s,
            planned_m,
            done_s: None,
            done_m: None,
            run_pace_s_per_km: None,
            status,
            credit_pct: None,
            start_s: None,
        }
    }

    /// A planned interval outside the recording.
    pub(super) fn not_recorded(gait: Gait, part: Part, m_per_s: f64) -> Self {
        Self { status: IntervalStatus::NotRecorded, ..Self::planned(gait, part, m_per_s) }
    }

    fn extra(running: &Stretch) -> Self {
        Self {
            gait: Gait::Run,
            planned_s: None,
            planned_m: None,
            done_s: Some(running.duration_s()),
            done_m: running.distance_m(0.0..1.0),
            run_pace_s_per_km: running.pace_s_per_km(0.0..1.0),
            status: IntervalStatus::Extra,
            credit_pct: None,
            start_s: running.time_at(0.0),
        }
    }
}

/// Rows of a session that asks for walking alone, and the share of it that was walked in %; `None` where metres are
/// asked for and not known.
pub(super) fn walked(
    demand: &Demand,
    course: &Course,
    settings: &AdherenceSettings,
) -> Option<(f64, Vec<IntervalMatch>)> {
    let asked = demand.before.as_ref()?;
    let walking = course.walking();
    if asked.parts.iter().any(|part| part.unit == Unit::Distance) && !walking.has_metres() {
        return None;
    }
    let filled = fill(&asked.parts, walking.length(settings.walk_m_per_s));
    let credited_s: f64 =
        asked.parts.iter().zip(&filled).map(|(part, filled)| filled.done_s.min(part.planned_s)).sum();
    let mut rows = walk_rows(asked, Some(&walking), settings);
    let done = filled.iter().map(|filled| filled.done_s).chain(std::iter::repeat(0.0));
    for ((row, part), done_s) in rows.iter_mut().zip(&asked.parts).zip(done) {
        row.credit_pct = Some(100.0 * (done_s / part.planned_s).min(1.0));
    }
    let adherence_pct = 100.0 * credited_s / asked.whole.planned_s;
    Some((adherence_pct, with_extra_runs(rows, course, &(0..course.len()).collect::<Vec<_>>())))
}

/// Rows of a session that asks for reps.
pub(super) fn run_and_walked(
    demand: &Demand,
    course: &Course,
    groups: &[Group],
    score: &Score,
    settings: &AdherenceSettings,
) -> Vec<IntervalMatch> {
    let first_run = groups.first().map(|group| group.runs.start);
    let last_run = groups.last().map(|group| group.runs.end - 1);
    let mut rows = Vec::new();
    if let Some(walk) = &demand.before {
        rows.extend(outer_walk_rows(walk, &course.on_foot(None, first_run), settings));
    }
    for (index, rep) in score.reps.iter().enumerate() {
        let part = demand.reps[index];
        rows.push(rep_row(rep, part, groups, course, settings));
        let (Some(walk), Some(next)) = (demand.walks.get(index), score.reps.get(index + 1)) else {
            continue;
        };
        let rest = groups_beside(rep, next, groups)
            .map(|(before, after)| course.resting(Some(before.runs.end - 1), Some(after.runs.start)));
        let inside_a_group = rep.group.is_some() && rep.group == next.group;
        let mut walked = walk_rows(walk, rest.as_ref(), settings);
        for row in &mut walked {
            row.credit_pct = Some(100.0 * score.walk_credits[index]);
            if inside_a_group {
                (row.done_s, row.done_m) = (Some(0.0), Some(0.0));
            }
        }
        rows.extend(walked);
    }
    if let Some(walk) = &demand.after {
        let rest = last_run.map(|run| course.on_foot(Some(run), None)).unwrap_or_default();
        rows.extend(outer_walk_rows(walk, &rest, settings));
    }
    with_extra_runs(rows, course, &score.extra_runs)
}

fn rep_row(
    rep: &Rep,
    part: Part,
    groups: &[Group],
    course: &Course,
    settings: &AdherenceSettings,
) -> IntervalMatch {
    let row = IntervalMatch {
        status: rep.status,
        credit_pct: Some(100.0 * rep.credit),
        ..IntervalMatch::planned(Gait::Run, part, settings.run_m_per_s)
    };
    let Some(group) = rep.group else {
        return IntervalMatch { done_s: Some(0.0), done_m: Some(0.0), ..row };
    };
    let running = course.running(groups[group].runs.clone());
    let shares = rep.filled.shares.clone();
    let (done_s, done_m) = match part.unit {
        Unit::Time => (rep.filled.done_s, running.distance_m(shares.clone())),
        Unit::Distance => {
            let run_s = (shares.end - shares.start) * running.duration_s();
            (run_s, Some(rep.filled.done_s * settings.run_m_per_s))
        }
    };
    IntervalMatch {
        done_s: Some(done_s),
        done_m,
        start_s: running.time_at(shares.start),
        run_pace_s_per_km: running.pace_s_per_km(shares),
        ..row
    }
}

/// Rows of adjoining walks over the rest that they may have been; without one nothing is known of them.
fn walk_rows(walk: &Walk, rest: Option<&Stretch>, settings: &AdherenceSettings) -> Vec<IntervalMatch> {
    let planned =
        walk.parts.iter().map(|&part| IntervalMatch::planned(Gait::Walk, part, settings.walk_m_per_s));
    let Some(rest) = rest else {
        return planned.collect();
    };
    let filled = fill(&walk.parts, rest.length(settings.walk_m_per_s));
    let filled = filled.into_iter().map(Some).chain(std::iter::repeat(None));
    let row = |((row, part), filled): ((IntervalMatch, &Part), Option<Filled>)| {
        let Some(Filled { done_s, shares }) = filled else {
            return IntervalMatch { done_s: Some(0.0), done_m: Some(0.0), ..row };
        };
        let off_s = done_s - part.planned_s;
        let tolerance_s = settings.walk_tolerance_s(part.planned_s) + SAME_S;
        let status = if off_s > tolerance_s {
            IntervalStatus::Long
        } else if off_s < -tolerance_s {
            IntervalStatus::Short
        } else {
            IntervalStatus::Done
        };
        IntervalMatch {
            done_s: Some((shares.end - shares.start) * rest.duration_s()),
            done_m: rest.distance_m(shares.clone()),
            status,
            start_s: rest.time_at(shares.start),
            ..row
        }
    };
    planned.zip(&walk.parts).zip(filled).map(row).collect()
}

/// Rows of walks before the first or after the last rep, which are never demanded: what was walked of them is done, however
/// short, and what was not is no more than not recorded.
fn outer_walk_rows(walk: &Walk, rest: &Stretch, settings: &AdherenceSettings) -> Vec<IntervalMatch> {
    let mut rows = walk_rows(walk, Some(rest), settings);
    for row in &mut rows {
        let is_walked = row.done_s.is_some_and(|done_s| done_s > 0.0);
        match row.status {
            IntervalStatus::Short if is_walked => row.status = IntervalStatus::Done,
            IntervalStatus::Short | IntervalStatus::Missed => {
                let (status, none) = (IntervalStatus::NotRecorded, None);
                *row = IntervalMatch { status, done_s: none, done_m: none, start_s: none, ..*row };
            }
            _ => {}
        }
    }
    rows
}

/// Puts the runs that no rep asked for before the first row that began later.
fn with_extra_runs(planned: Vec<IntervalMatch>, course: &Course, extra_runs: &[usize]) -> Vec<IntervalMatch> {
    let mut extra =
        extra_runs.iter().map(|&run| IntervalMatch::extra(&course.running(run..run + 1))).peekable();
    let mut rows = Vec::with_capacity(planned.len() + extra.len());
    for row in planned {
        // A row that never began is before all that did.
        rows.extend(std::iter::from_fn(|| extra.next_if(|run| run.start_s < row.start_s)));
        rows.push(row);
    }
    rows.extend(extra);
    rows
}

//! An athlete's plans: which recording lies where, and what became of each planned session.

use std::collections::BTreeMap;

use boutwise_bouts::{AdherenceSettings, match_session};
use chrono::{Datelike, IsoWeek, NaiveDate};

use super::{AthleteInput, OutingAudit, PlanInUse, Role};
use crate::{Asked, Attendance, Known, Laid, Laying, Likeness, Outcome, Outing, PlannedSession, lay};

/// Lays the outings of one plan on it and notes where each belongs.
pub(super) fn lay_plan(input: &AthleteInput<'_>, index: usize, outings: &mut [OutingAudit]) -> Laying {
    let PlanInUse { plan, start } = input.plans[index];
    let adherence = AdherenceSettings {
        run_m_per_s: plan.speeds.run_m_per_s,
        walk_m_per_s: plan.speeds.walk_m_per_s,
        ..AdherenceSettings::default()
    };
    let held: Vec<usize> = (0..outings.len()).filter(|at| outings[*at].plan == Some(index)).collect();
    let recordings: Vec<&Outing> = held.iter().map(|at| &input.outings[outings[*at].outing]).collect();
    let days: Vec<NaiveDate> = recordings.iter().map(|outing| outing.day()).collect();
    let kinds = plan.kinds();
    let asked: Vec<Asked> = kinds
        .iter()
        .map(|(_, asked)| Asked::new(&asked.intervals, plan.speeds.run_m_per_s, plan.speeds.walk_m_per_s))
        .collect();
    let score = &input.settings.calendar;
    let likenesses: Vec<Vec<Likeness>> = recordings
        .iter()
        .map(|outing| asked.iter().map(|asked| asked.likeness(outing, score)).collect())
        .collect();
    let known = Known { start, may_be_laid: one_at_a_time(&recordings, &likenesses) };
    let laying = lay(plan, &known, &days, score, |recording, kind| likenesses[recording][kind]);
    for (recording, (at, outing)) in held.iter().zip(recordings).enumerate() {
        let (role, kind) = match (laying.recordings[recording], laying.others[recording]) {
            (Some(laid), _) => (Role::Session(laid), plan.kind(laid.session)),
            (None, Some(kind)) => (Role::Other(kinds[kind].0), kind),
            (None, None) => continue,
        };
        let intervals = &kinds[kind].1.intervals;
        let matched =
            outing.resolvable.then(|| match_session(intervals, &outing.bouts, &adherence)).flatten();
        let audit = &mut outings[*at];
        audit.role = role;
        if let Role::Session(_) = role {
            audit.outcome = Some(Outcome::attended(matched.as_ref()));
        }
        audit.matched = matched;
    }
    laying
}

/// For each recording whether it may lie on a session: of recordings that overlap in time only the one that is most like a
/// session of the plan, of equals the first.
fn one_at_a_time(recordings: &[&Outing], likenesses: &[Vec<Likeness>]) -> Vec<bool> {
    let likeness = |at: usize| likenesses[at].iter().map(|of| of.log_odds).fold(f64::NEG_INFINITY, f64::max);
    let mut best: Vec<usize> = Vec::new();
    let mut end = None;
    for (at, outing) in recordings.iter().enumerate() {
        let overlaps = end.is_some_and(|end| outing.start_utc < end);
        end = end.max(Some(outing.end_utc()));
        match best.last_mut().filter(|_| overlaps) {
            None => best.push(at),
            Some(known) if likeness(at) > likeness(*known) => *known = at,
            Some(_) => {}
        }
    }
    (0..recordings.len()).map(|at| best.contains(&at)).collect()
}

/// The sessions of one plan with what became of them.
pub(super) fn planned_sessions(
    input: &AthleteInput<'_>,
    index: usize,
    outings: &[OutingAudit],
    laying: &Laying,
) -> Vec<PlannedSession> {
    let plan = input.plans[index].plan;
    // A later plan ends what is due of this one.
    let until =
        input.plans[index + 1..].iter().find_map(|next| next.start?.pred_opt()).unwrap_or(NaiveDate::MAX);
    let until = until.min(input.as_of);
    let laid: Vec<(usize, Laid)> = outings
        .iter()
        .enumerate()
        .filter(|(_, audit)| audit.plan == Some(index))
        .filter_map(|(at, audit)| if let Role::Session(laid) = audit.role { Some((at, laid)) } else { None })
        .collect();
    let newest = laid.last().map(|(_, laid)| laid.index);
    plan.sessions()
        .zip(&laying.days)
        .enumerate()
        .map(|(session, (id, day))| {
            let recordings: Vec<usize> =
                laid.iter().filter(|(_, laid)| laid.index == session).map(|(at, _)| *at).collect();
            let passed = newest.is_some_and(|newest| session <= newest);
            let day = *day;
            let due = passed || day.is_some_and(|day| day <= until);
            let planned_run_s = plan.session(id).run_s;
            let best = recordings
                .iter()
                .filter_map(|at| {
                    Some((outings[*at].matched.as_ref()?.running.as_ref()?.dose_pct, outings[*at].outcome?))
                })
                .max_by(|a, b| a.0.total_cmp(&b.0));
            let outcome = match (best, recordings.first()) {
                (Some((_, outcome)), _) => outcome,
                (None, Some(first)) => outings[*first].outcome.unwrap_or(Outcome::Unresolvable),
                (None, None) if due => Outcome::Missed,
                (None, None) => Outcome::Ahead,
            };
            PlannedSession {
                session: id,
                day,
                due,
                planned_run_s,
                done_run_s: best.map(|(dose_pct, _)| dose_pct / 100.0 * planned_run_s),
                outcome,
                recordings,
            }
        })
        .collect()
}

pub(super) fn attendance_by_week(planned: &[(usize, PlannedSession)]) -> Vec<(IsoWeek, Attendance)> {
    let mut weeks: BTreeMap<IsoWeek, Vec<&PlannedSession>> = BTreeMap::new();
    for (_, session) in planned.iter().filter(|(_, session)| session.due) {
        if let Some(day) = session.day {
            weeks.entry(day.iso_week()).or_default().push(session);
        }
    }
    weeks.into_iter().map(|(week, sessions)| (week, Attendance::of(sessions))).collect()
}

pub(super) fn attendance_by_block(
    input: &AthleteInput<'_>,
    planned: &[(usize, PlannedSession)],
) -> Vec<(usize, String, Attendance)> {
    planned
        .chunk_by(|a, b| (a.0, a.1.session.block) == (b.0, b.1.session.block))
        .map(|block| {
            let (plan, first) = &block[0];
            let label = input.plans[*plan].plan.blocks[first.session.block].label.clone();
            (*plan, label, Attendance::of(block.iter().map(|(_, session)| session)))
        })
        .filter(|(_, _, sums)| sums.due > 0)
        .collect()
}

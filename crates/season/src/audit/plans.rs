//! An athlete's plans: which recording lies where, and what became of each planned session.

use std::collections::BTreeMap;

use boutwise_bouts::{AdherenceSettings, match_session};
use chrono::{Datelike, IsoWeek, NaiveDate};

use super::{AthleteInput, OutingAudit, PlanInUse, Role};
use crate::{Asked, Attendance, Laid, Laying, Outcome, Outing, PlannedSession, lay};

/// Lays the outings of one plan on it and notes where each belongs.
pub(super) fn lay_plan(input: &AthleteInput<'_>, index: usize, outings: &mut [OutingAudit]) -> Laying {
    let PlanInUse { plan, start } = input.plans[index];
    let adherence = AdherenceSettings {
        run_m_per_s: plan.speeds.run_m_per_s,
        walk_m_per_s: plan.speeds.walk_m_per_s,
        ..input.settings.adherence
    };
    let held: Vec<usize> = (0..outings.len()).filter(|at| outings[*at].plan == Some(index)).collect();
    let recordings: Vec<&Outing> = held.iter().map(|at| &input.outings[outings[*at].outing]).collect();
    let days: Vec<NaiveDate> = recordings.iter().map(|outing| outing.day()).collect();
    let asked: Vec<Asked> = plan
        .blocks
        .iter()
        .map(|block| Asked::new(&block.session.intervals, plan.speeds.run_m_per_s, plan.speeds.walk_m_per_s))
        .collect();
    let score = &input.settings.calendar;
    let laying = lay(plan, start, &days, score, |recording, block| {
        asked[block].likeness(recordings[recording], score)
    });
    for ((at, laid), outing) in held.iter().zip(&laying.recordings).zip(recordings) {
        if let Some(laid) = laid {
            let intervals = &plan.blocks[laid.session.block].session.intervals;
            let matched =
                outing.resolvable.then(|| match_session(intervals, &outing.bouts, &adherence)).flatten();
            let audit = &mut outings[*at];
            audit.role = Role::Session(*laid);
            audit.outcome = Some(Outcome::attended(matched.as_ref()));
            audit.matched = matched;
        }
    }
    laying
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
            let planned_run_s = plan.blocks[id.block].session.run_s;
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

//! From what was found to table rows: no figure is computed here beyond a change of unit.

use boutwise_bouts::{Bout, IntervalMatch};
use boutwise_report::{AthleteRow, BoutRow, FileRow, IntervalRow, SessionRow, Tables, WeekRow};
use boutwise_season::{OutingAudit, Role, Week};
use chrono::{DateTime, TimeDelta, Utc};

use crate::batch::FileRead;
use crate::judge::{Judged, Placed};

/// What names a session in every table.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct SessionName {
    /// The athlete.
    pub(crate) athlete: String,
    /// Path of the file below the input folder.
    pub(crate) file: String,
    /// Number of the session in its file, from 1.
    pub(crate) session: u64,
}

/// The moment of a time in nanoseconds since 1970.
pub(crate) fn moment(time_ns: i64) -> DateTime<Utc> {
    DateTime::from_timestamp_nanos(time_ns)
}

/// The bouts of one session that begins at `start`.
pub(crate) fn bout_rows(name: &SessionName, start: Option<DateTime<Utc>>, bouts: &[Bout]) -> Vec<BoutRow> {
    let row = |(index, bout): (usize, &Bout)| BoutRow {
        athlete: name.athlete.clone(),
        file: name.file.clone(),
        session: name.session,
        bout: index as u64 + 1,
        kind: bout.kind,
        start_s: bout.start_s,
        end_s: bout.end_s,
        start_utc: start.map(|start| start + seconds(bout.start_s)),
        duration_s: bout.duration_s(),
        distance_m: bout.distance_m,
        pace_s_per_km: bout.distance_m.and_then(|metres| pace_s_per_km(bout.duration_s(), metres)),
        hr_mean_bpm: bout.heart_rate_mean_bpm,
        hr_end_bpm: bout.heart_rate_end_bpm,
        cadence_spm: bout.cadence_spm,
        confidence: bout.confidence,
    };
    bouts.iter().enumerate().map(row).collect()
}

fn seconds(seconds: f64) -> TimeDelta {
    TimeDelta::milliseconds((seconds * 1000.0).round() as i64)
}

/// Seconds a kilometre; none where nothing was covered.
pub(crate) fn pace_s_per_km(duration_s: f64, distance_m: f64) -> Option<f64> {
    (distance_m > 0.0).then(|| 1000.0 * duration_s / distance_m)
}

/// The row of a file.
pub(crate) fn file_row(file: &FileRead) -> FileRow {
    let recorded = file.sessions > 0;
    FileRow {
        file: file.file.clone(),
        status: file.status,
        format: file.format.map(|format| format.word().to_owned()),
        sessions: recorded.then_some(file.sessions as u64),
        points_kept: recorded.then_some(file.points_kept as u64),
        points_dropped: recorded.then_some(file.points_dropped as u64),
        notes: file.notes.clone(),
    }
}

/// All rows of one athlete, put into `tables`.
pub(crate) fn add_athlete(tables: &mut Tables, judged: &Judged<'_>) {
    for (index, placed) in judged.sessions.iter().enumerate() {
        let name = &placed.recorded.name;
        let outing = judged.dated.iter().position(|&dated| dated == index);
        let audited = judged.audit.outings.iter().find(|audited| Some(audited.outing) == outing);
        tables.sessions.push(session_row(judged, placed, audited));
        tables.bouts.extend(bout_rows(
            name,
            placed.start.map(|(utc, _)| utc),
            &placed.recorded.session.bouts,
        ));
        if let Some(matched) = audited.and_then(|audited| audited.matched.as_ref()) {
            let rows = matched.intervals.iter().enumerate();
            tables.intervals.extend(rows.map(|(index, interval)| interval_row(name, index, interval)));
        }
    }
    tables.athletes.push(athlete_row(judged));
    tables.weeks.extend(judged.audit.weeks.iter().map(|week| week_row(&judged.name, week)));
}

fn session_row(judged: &Judged<'_>, placed: &Placed<'_>, audited: Option<&OutingAudit>) -> SessionRow {
    let Placed { recorded, start } = placed;
    let session = &recorded.session;
    let longest = session.longest_run;
    let mut row = SessionRow {
        athlete: recorded.name.athlete.clone(),
        file: recorded.name.file.clone(),
        session: recorded.name.session,
        start_local: start.map(|(_, local)| local.time),
        start_utc: start.map(|(utc, _)| utc),
        duration_s: start.map(|_| session.duration_s),
        distance_m: session.distance_m,
        points: Some(session.points as u64),
        hr_mean_bpm: session.heart_rate_mean_bpm,
        hr_share_pct: session.heart_rate_share_pct,
        run_s: Some(session.run_s),
        run_m: session.run_m,
        walk_s: Some(session.walk_s),
        walk_m: session.walk_m,
        stand_s: Some(session.stand_s),
        gap_s: Some(session.gap_s),
        longest_run_s: longest.map(|run| run.duration_s),
        longest_run_m: longest.and_then(|run| run.distance_m),
        longest_run_start_s: longest.map(|run| run.start_s),
        run_pace_s_per_km: session.run_pace_s_per_km,
        pace_drift_pct: session.pace_drift.map(|drift| drift.drift_pct),
        run_hr_mean_bpm: session.run_heart_rate_mean_bpm,
        hr_fall_60s_bpm: session.heart_rate_fall_60s_bpm,
        run_cadence_spm: session.run_cadence_spm,
        resolvable: Some(session.resolvable),
        confidence: Some(session.confidence),
        notes: session.notes.clone(),
        ..SessionRow::default()
    };
    row.notes.extend(start.and_then(|(_, local)| local.note()));
    if let Some(audited) = audited {
        add_plan(&mut row, judged, audited);
    }
    row
}

/// What the plan asked of the session, and how closely it was followed.
fn add_plan(row: &mut SessionRow, judged: &Judged<'_>, audited: &OutingAudit) {
    let (Role::Session(laid), Some(plan)) = (audited.role, audited.plan) else { return };
    let block = &judged.plans[plan].plan.blocks[laid.session.block];
    row.plan_block = Some(block.label.clone());
    row.plan_session = Some(u64::from(laid.session.number));
    row.planned = Some(block.session.text.clone());
    let Some(matched) = &audited.matched else { return };
    row.adherence_pct = Some(matched.adherence_pct);
    let Some(running) = &matched.running else { return };
    row.dose_pct = Some(running.dose_pct);
    row.breaks_pct = Some(running.breaks_pct);
    row.overdone_pct = Some(running.overdone_pct);
    row.reps_planned = Some(running.reps.planned as u64);
    row.reps_done = Some(running.reps.done as u64);
    row.reps_short = Some(running.reps.short as u64);
    row.reps_missed = Some(running.reps.missed as u64);
    row.reps_extra = Some(running.reps.extra as u64);
    row.run_planned_s = Some(running.planned_s);
}

fn interval_row(name: &SessionName, index: usize, interval: &IntervalMatch) -> IntervalRow {
    IntervalRow {
        athlete: name.athlete.clone(),
        file: name.file.clone(),
        session: name.session,
        interval: index as u64 + 1,
        kind: interval.gait,
        planned_s: interval.planned_s,
        planned_m: interval.planned_m,
        done_s: interval.done_s,
        done_m: interval.done_m,
        status: interval.status,
        credit_pct: interval.credit_pct,
        start_s: interval.start_s,
    }
}

fn athlete_row(judged: &Judged<'_>) -> AthleteRow {
    let audit = &judged.audit;
    let planned = !judged.plans.is_empty();
    let longest = audit.progress.longest.as_ref();
    AthleteRow {
        athlete: judged.name.clone(),
        sessions_due: planned.then_some(audit.attendance.due as u64),
        sessions_attempted: planned.then_some(audit.attendance.attended as u64),
        attendance_pct: audit.attendance.attendance_pct,
        dose_pct: audit.attendance.dose_pct,
        longest_run_s: longest.map(|run| run.duration_s),
        longest_run_m: longest.and_then(|run| run.distance_m),
        longest_run_date: longest.map(|run| run.day),
        longest_run_trend_s_per_week: audit.progress.trend_s_per_week,
        proposal: audit.proposal.verdict,
        reasons: audit.proposal.reasons.clone(),
        next_block: audit.next.as_ref().map(|next| next.label.clone()),
        next_session: audit.next.as_ref().map(|next| u64::from(next.session.number)),
    }
}

fn week_row(athlete: &str, week: &Week) -> WeekRow {
    WeekRow {
        athlete: athlete.to_owned(),
        week: week.week,
        sessions: u64::from(week.sessions),
        run_s: Some(week.run_s),
        run_m: Some(week.run_m),
        walk_s: Some(week.walk_s),
        walk_m: Some(week.walk_m),
        longest_run_s: week.longest_run_s,
        session_run_m_max: week.session_run_m_max,
        session_run_m_max_before_30d: week.session_run_m_max_before_30d,
        spike_pct: week.spike_pct,
    }
}

//! From what was found to table rows: no figure is computed here beyond a change of unit.

use std::collections::BTreeMap;
use std::sync::Arc;

use boutwise_bouts::{Bounds, Bout, Event, Gait, IntervalMatch, Kind};
use boutwise_report::{
    AthleteRow, BoutRow, EventRow, FileRow, IntervalRow, Part, PlannedOutcome, PlannedRow, SessionOutcome,
    SessionRow, Tables, WeekRow,
};
use boutwise_season::{Caution, ClockInDoubt, Correction, OutingAudit, PlannedSession, Role, Week, Zone};
use boutwise_track::Status;
use chrono::{DateTime, FixedOffset, IsoWeek, TimeDelta, Utc};

use crate::batch::FileDetail;
use crate::judge::{Judged, Placed};

/// What names a session in every table.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct SessionName {
    /// The athlete.
    pub(crate) athlete: Arc<str>,
    /// Path of the file below the input folder.
    pub(crate) file: Arc<str>,
    /// Number of the session in its file, from 1.
    pub(crate) session: u64,
}

/// The moment of a time in nanoseconds since 1970.
pub(crate) fn moment(time_ns: i64) -> DateTime<Utc> {
    DateTime::from_timestamp_nanos(time_ns)
}

/// The same of a time that a recording may write without a zone (`without_zone`): then that of the clock in the zone that the
/// user names, if one is named.
pub(crate) fn moment_in(time_ns: i64, without_zone: bool, zone: Option<&Zone>) -> DateTime<Utc> {
    let moment = moment(time_ns);
    zone.filter(|_| without_zone).map_or(moment, |zone| zone.instant(moment.naive_utc()))
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
        pace_s_per_km: bout
            .distance_m
            .filter(|_| matches!(bout.kind, Kind::Run | Kind::Walk))
            .and_then(|metres| pace_s_per_km(bout.duration_s(), metres)),
        hr_mean_bpm: bout.heart_rate_mean_bpm,
        hr_end_bpm: bout.heart_rate_end_bpm,
        cadence_spm: bout.cadence_spm,
        confidence: bout.confidence,
    };
    bouts.iter().enumerate().map(row).collect()
}

pub(crate) fn seconds(seconds: f64) -> TimeDelta {
    TimeDelta::milliseconds((seconds * 1000.0).round() as i64)
}

/// Seconds a kilometre; none where nothing was covered.
pub(crate) fn pace_s_per_km(duration_s: f64, distance_m: f64) -> Option<f64> {
    (distance_m > 0.0).then(|| 1000.0 * duration_s / distance_m)
}

/// The row of a file.
pub(crate) fn file_row(name: &str, status: Status, detail: &FileDetail) -> FileRow {
    let recorded = detail.has_recordings;
    FileRow {
        file: name.to_owned(),
        status,
        format: detail.format.map(|format| format.word().to_owned()),
        sessions: detail.sessions as u64,
        points_kept: detail.points_kept as u64,
        points_dropped: recorded.then_some(detail.points_dropped as u64),
        notes: detail.said.iter().map(|said| said.text.clone()).collect(),
    }
}

/// All rows of one athlete.
pub(crate) fn of_athlete(judged: &Judged<'_>) -> Tables {
    let mut tables = Tables::default();
    for (index, placed) in judged.sessions.iter().enumerate() {
        let name = &placed.name;
        let audited = judged.audited(index);
        tables.sessions.push(session_row(judged, placed, audited));
        if !placed.is_used() {
            continue;
        }
        tables.bouts.extend(bout_rows(name, placed.start.map(|(utc, _)| utc), &placed.session.bouts));
        tables.events.extend(judged.events(index).iter().map(|event| event_row(name, event)));
        if let Some(matched) = audited.and_then(|audited| audited.matched.as_ref()) {
            let rows = matched.intervals.iter().enumerate();
            tables.intervals.extend(rows.map(|(index, interval)| interval_row(name, index, interval)));
        }
    }
    tables.athletes = vec![athlete_row(judged)];
    let mut rounds: BTreeMap<(String, String, u64), u64> = BTreeMap::new();
    for (plan, planned) in &judged.audit.planned {
        let row = planned_row(judged, *plan, planned);
        let round = rounds.entry((row.plan.clone(), row.plan_block.clone(), row.plan_session)).or_default();
        *round += 1;
        tables.planned.push(PlannedRow { round: *round, ..row });
    }
    add_weeks(&mut tables, judged);
    tables.sort();
    tables
}

fn session_row(judged: &Judged<'_>, placed: &Placed, audited: Option<&OutingAudit>) -> SessionRow {
    let Placed { name, session, start, .. } = placed;
    let mut row = SessionRow {
        athlete: name.athlete.to_string(),
        file: name.file.to_string(),
        session: name.session,
        start_local: start.map(|(_, local)| local.time),
        start_utc: start.map(|(utc, _)| utc),
        duration_s: start.map(|_| session.duration_s),
        distance_m: session.distance_m,
        points: Some(session.points as u64),
        notes: session.notes.clone(),
        counted: Some(audited.is_some_and(|audited| audited.role.counts())),
        carried: judged.carried.clone(),
        by_hand: placed.by_hand.iter().flat_map(Correction::words).map(str::to_owned).collect(),
        ..SessionRow::default()
    };
    if let Some((_, local)) = start {
        row.time_zone = Some(local.zone.map_or_else(|| offset_text(local.offset_s), |zone| zone.to_string()));
        row.time_zone_source = Some(local.source);
        row.utc_offset_s = Some(f64::from(local.offset_s));
    }
    row.notes.extend(start.and_then(|(_, local)| local.note()));
    if !placed.is_used() {
        row.notes
            .push("Not to be used, by hand: it counts for nothing, and nothing of it is told.".to_owned());
        return row;
    }
    let longest = session.longest_run;
    row = SessionRow {
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
        pace_drift_low_pct: session.pace_drift.and_then(|drift| Some(drift.interval_pct?.0)),
        pace_drift_high_pct: session.pace_drift.and_then(|drift| Some(drift.interval_pct?.1)),
        speed_per_beat_loss_pct: session.speed_per_beat_loss_pct,
        overlaps_file: placed.overlaps_file.clone(),
        ..row
    };
    if let Some(bounds) = session.bounds {
        add_bounds(&mut row, &bounds, session.resolvable);
    }
    row.notes.extend(placed.clock_in_doubt.as_ref().map(ClockInDoubt::text));
    let sensor_fault = placed.heart_rate.as_ref().and_then(|heart_rate| heart_rate.fault);
    row.notes.extend(sensor_fault.map(|fault| fault.text().to_owned()));
    if row.by_hand.iter().any(|word| word == "plan") {
        row.notes.push("Which session of the plan it is, or that it is none, was told by hand.".to_owned());
    }
    if row.by_hand.iter().any(|word| word == "athlete") {
        row.notes.push("Whose it is was told by hand.".to_owned());
    }
    if let Some((from_s, to_s)) = placed.by_hand.as_ref().and_then(Correction::part_s) {
        let to = if to_s.is_finite() { format!("to {to_s:.0} s") } else { "to its end".to_owned() };
        row.notes.push(format!("By hand, only what lies from {from_s:.0} s {to} counts."));
    }
    if let Some(audited) = audited {
        row.run_hr_of_max_pct = audited.effort.run_mean_pct_of_max;
        row.above_talkable_pct = audited.effort.above_talkable_pct;
        row.rep_end_hr_slope_bpm = audited.effort.rep_end_slope_bpm;
        add_plan(&mut row, judged, audited);
    }
    row
}

/// Said of a session with so many reps and runs that the best way to lay them may not have been found.
const NOT_ALL_WAYS: &str = "So many reps and runs that they were laid in the likeliest ways alone: more may have been done as planned \
                            than is told.";

/// Between what its runs lie, and what is certain of them where no more can be told.
fn add_bounds(row: &mut SessionRow, bounds: &Bounds, resolvable: bool) {
    if !resolvable {
        row.reps_at_least = Some(bounds.runs_at_least as u64);
        row.longest_at_least_s = Some(bounds.longest_at_least_s);
    }
    row.runs_low = Some(bounds.runs.0 as u64);
    row.runs_high = Some(bounds.runs.1 as u64);
    row.run_s_low = Some(bounds.run_s.0);
    row.run_s_high = Some(bounds.run_s.1);
    row.longest_low_s = Some(bounds.longest_s.0);
    row.longest_high_s = Some(bounds.longest_s.1);
}

/// What the plan asked of the session, and how closely it was followed.
fn add_plan(row: &mut SessionRow, judged: &Judged<'_>, audited: &OutingAudit) {
    let (asked, number) = match audited.role {
        Role::Session(laid) => (laid.session, Some(laid.session.number)),
        // What another block asks for is told, and is no session of the plan's course.
        Role::Other(asked) => (asked, None),
        _ => return,
    };
    let Some(plan) = audited.plan.map(|plan| judged.plans[plan].plan) else { return };
    row.plan = Some(plan.title.clone());
    row.plan_block = Some(plan.blocks[asked.block].label.clone());
    row.plan_session = number.map(u64::from);
    row.planned = Some(plan.session(asked).text.clone());
    row.outcome = audited.outcome.and_then(SessionOutcome::of);
    let asked = plan.session(asked).intervals.iter().filter(|interval| interval.gait == Gait::Run).count();
    if let (Some(least), true) = (row.reps_at_least, asked > 0) {
        row.notes
            .push(format!("At least {} of the {asked} runs asked for took place.", least.min(asked as u64)));
    }
    let Some(matched) = &audited.matched else { return };
    row.adherence_pct = Some(matched.adherence_pct);
    row.too_short_to_judge = Some(matched.too_short_to_judge);
    if matched.not_all_ways {
        row.notes.push(NOT_ALL_WAYS.to_owned());
    }
    row.overdone_pct = Some(matched.overdone_pct);
    let Some(running) = &matched.running else { return };
    row.dose_pct = Some(running.dose_pct);
    row.breaks_pct = Some(running.breaks_pct);
    row.reps_planned = Some(running.reps.planned as u64);
    row.reps_done = Some(running.reps.done as u64);
    row.reps_short = Some(running.reps.short as u64);
    row.reps_missed = Some(running.reps.missed as u64);
    row.reps_extra = Some(running.reps.extra as u64);
    row.recorded_pct = audited.recorded_pct;
    row.reps_not_recorded = Some(running.reps.not_recorded as u64);
    row.run_planned_s = Some(running.planned_s);
    row.walk_missing_s = Some(running.walk_missing_s);
}

fn event_row(name: &SessionName, event: &Event) -> EventRow {
    EventRow {
        athlete: name.athlete.clone(),
        file: name.file.clone(),
        session: name.session,
        event: event.kind,
        part: event.part.map(Part::from),
        number: event.number.map(|number| number as u64),
        at_s: event.at_s,
        to_s: event.to_s,
        planned_s: event.planned_s,
        done_s: event.done_s,
        confidence: event.confidence,
        text: event.text.clone(),
    }
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

/// An offset from UTC as `+02:00`.
fn offset_text(offset_s: i32) -> String {
    FixedOffset::east_opt(offset_s).map_or_else(String::new, |offset| offset.to_string())
}

fn planned_outcome(planned: &PlannedSession) -> Option<PlannedOutcome> {
    PlannedOutcome::of(planned.outcome).filter(|outcome| planned.due || *outcome == PlannedOutcome::Excused)
}

fn planned_row(judged: &Judged<'_>, plan: usize, planned: &PlannedSession) -> PlannedRow {
    let used = judged.plans[plan].plan;
    let block = &used.blocks[planned.session.block];
    let audited = planned.shown.map(|at| &judged.audit.outings[at]);
    let outing = audited.map(|audited| &judged.outings[audited.outing]);
    PlannedRow {
        athlete: judged.name.clone(),
        plan: used.title.clone(),
        plan_block: block.label.clone(),
        plan_session: u64::from(planned.session.number),
        due_date: planned.day,
        due: planned.due,
        outcome: planned_outcome(planned),
        run_planned_s: Some(planned.planned_run_s).filter(|seconds| *seconds > 0.0),
        run_done_s: planned.done_run_s.filter(|_| planned.planned_run_s > 0.0 && outing.is_some()),
        file: outing.map(|outing| outing.file.clone()),
        session: outing.map(|outing| outing.session as u64),
        days_late: outing.zip(planned.day).map(|(outing, day)| (outing.day() - day).num_days()),
        round: 1,
        by_hand: planned.by_hand,
        carried: judged.carried.clone(),
    }
}

fn athlete_row(judged: &Judged<'_>) -> AthleteRow {
    let audit = &judged.audit;
    let planned = !judged.plans.is_empty();
    let attendance = &audit.attendance;
    let count = |sessions: usize| planned.then_some(sessions as u64);
    // The one that always stands has no reason of its own.
    let given = audit.cautions.iter().filter(|caution| **caution != Caution::NoAdvice);
    let interval = audit.progress.trend_interval_s_per_week;
    let went_out = audit.outings.iter().any(|audited| audited.role != Role::Later);
    let usual = audit.habit.usual_time_min;
    let ready = |distance_m: f64| {
        let of_distance = audit.readiness.iter().find(|readiness| readiness.distance_m == distance_m);
        of_distance.map(|readiness| readiness.nearness.words().to_owned())
    };
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
        proposal: audit.shown_verdict(),
        reasons: audit.proposal.reasons.clone(),
        next_block: audit.next.as_ref().map(|next| next.label.clone()),
        next_session: audit.next.as_ref().map(|next| u64::from(next.session.number)),
        no_run_before: audit.no_run_before,
        sessions_completed: count(attendance.completed),
        sessions_modified: count(attendance.modified),
        sessions_cut_short: count(attendance.cut_short),
        sessions_missed: count(attendance.missed),
        sessions_interrupted: count(attendance.interrupted),
        completion_mean_pct: attendance.mean_completion_pct,
        longest_run_trend_low_s_per_week: interval.map(|(low, _)| low),
        longest_run_trend_high_s_per_week: interval.map(|(_, high)| high),
        run_rise_14d_pct: audit.rise_14_days_pct,
        hr_fall_60s_trend_bpm_per_week: audit.heart_rate_fall_trend_bpm_per_week,
        run_per_beat_trend_m_per_week: audit.metres_per_beat_trend_per_week,
        computed_proposal: audit.proposal.verdict,
        coach_decision: audit.coach_decision.map(|(_, verdict)| verdict),
        goal_m: Some(audit.goal.goal_m),
        goal_reached_date: audit.goal.reached.as_ref().map(|run| run.day),
        days_out_14d: went_out.then_some(u64::from(audit.habit.days_out_short)),
        days_out_28d: went_out.then_some(u64::from(audit.habit.days_out_long)),
        days_between_max: audit.habit.longest_stretch_days.and_then(|days| u64::try_from(days).ok()),
        usual_start: usual.and_then(|usual| usual.mean).map(clock),
        usual_start_spread_s: usual.map(|usual| 60.0 * usual.standard_deviation),
        ready_3km: ready(3000.0),
        ready_5km: ready(5000.0),
        cautions: given.map(|caution| caution.title().to_owned()).collect(),
        carried: judged.carried.clone(),
    }
}

/// Minutes after midnight as `19:25`.
fn clock(minutes: f64) -> String {
    let whole = minutes.round() as u64 % (24 * 60);
    format!("{:02}:{:02}", whole / 60, whole % 60)
}

/// The weeks with an outing, and those in which only the plan asked for one.
fn add_weeks(tables: &mut Tables, judged: &Judged<'_>) {
    let weeks = judged.audit.weeks.iter().map(|week| (week.week, week_row(&judged.name, week)));
    let mut rows: BTreeMap<IsoWeek, WeekRow> = weeks.collect();
    for (week, attendance) in &judged.audit.attendance_by_week {
        let row = rows.entry(*week).or_insert_with(|| WeekRow::new(&judged.name, *week));
        row.sessions_due = Some(attendance.due as u64);
        row.sessions_attempted = Some(attendance.attended as u64);
        row.dose_pct = attendance.dose_pct;
    }
    tables.weeks.extend(rows.into_values());
}

fn week_row(athlete: &str, week: &Week) -> WeekRow {
    WeekRow {
        sessions: u64::from(week.sessions),
        run_s: week.run_s,
        run_m: week.run_m,
        walk_s: week.walk_s,
        walk_m: week.walk_m,
        longest_run_s: week.longest_run_s,
        session_run_m_max: week.session_run_m_max,
        session_run_m_max_before_30d: week.session_run_m_max_before_30d,
        spike_pct: week.spike_pct,
        run_change_pct: week.run_change_pct,
        ..WeekRow::new(athlete, week.week)
    }
}

//! One session as a page shows it.

use std::collections::BTreeMap;

use boutwise_bouts::{Gait, Kind};

use crate::book::SessionPages;
use crate::figures::{
    Figure, PaceUnit, counted, day_and_time, distance, duration, full_day, place_in_plan, signed_duration,
};
use crate::markup::{Text, isolated};
use crate::remark_text::remark_text;
use crate::rows::{IntervalRow, SessionRow};
use crate::strip::Strips;
use boutwise_bouts::IntervalStatus;

/// A figure with its name and the column it comes from.
#[derive(Clone, Debug)]
pub(crate) struct Named {
    pub(crate) column: &'static str,
    pub(crate) name: &'static str,
    pub(crate) figure: Figure,
}

/// A rep or a walk: asked, done, difference, credit.
#[derive(Clone, Debug)]
pub(crate) struct IntervalLine {
    pub(crate) interval: u64,
    pub(crate) number: usize,
    pub(crate) asked: Figure,
    pub(crate) done: Figure,
    pub(crate) difference: String,
    pub(crate) credit: Figure,
    pub(crate) status: &'static str,
    pub(crate) pace: String,
}

/// A run of a session that was not laid on a plan.
#[derive(Clone, Debug)]
pub(crate) struct RunLine {
    pub(crate) bout: u64,
    pub(crate) start: Figure,
    pub(crate) duration: Figure,
    pub(crate) distance: Figure,
    pub(crate) pace: Figure,
    pub(crate) heart_rate: Figure,
    pub(crate) cadence: Figure,
}

#[derive(Clone, Debug)]
pub(crate) struct SessionView {
    pub(crate) id: String,
    pub(crate) file: Text,
    pub(crate) file_key: String,
    pub(crate) session: u64,
    pub(crate) when: String,
    pub(crate) place_in_plan: Option<Text>,
    pub(crate) reps: Option<String>,
    pub(crate) adherence: Figure,
    pub(crate) longest: Figure,
    pub(crate) remarks: Vec<String>,
    pub(crate) planned: Option<Text>,
    pub(crate) planned_label: String,
    pub(crate) done_label: String,
    pub(crate) strips: Option<Strips>,
    /// Whether the bouts are no more than the best guess.
    pub(crate) is_guess: bool,
    /// Figures that change what somebody does, and the rest.
    pub(crate) figures: Vec<Named>,
    pub(crate) more_figures: Vec<Named>,
    pub(crate) reps_table: Vec<IntervalLine>,
    pub(crate) walks_table: Vec<IntervalLine>,
    pub(crate) runs_table: Vec<RunLine>,
    pub(crate) has_heart_rate: bool,
    pub(crate) has_cadence: bool,
    pub(crate) notes: Vec<Text>,
}

impl SessionView {
    /// `said` are notes that stand elsewhere.
    pub(crate) fn new(
        pages: &SessionPages<'_>,
        id: String,
        pace: PaceUnit,
        said: &BTreeMap<&str, String>,
    ) -> Self {
        let row = pages.row;
        let mut figures = figures(row, pace);
        let more_figures = figures.extract_if(.., |named| !SHOWN.contains(&named.column)).collect();
        let lines = |gait| interval_lines(pages, gait, pace);
        let runs_table = if pages.intervals.is_empty() { run_lines(pages, pace) } else { Vec::new() };
        let (reps_table, walks_table) = (lines(Gait::Run), lines(Gait::Walk));
        Self {
            id,
            file: row.file.as_str().into(),
            file_key: row.file.clone(),
            session: row.session,
            when: when(pages),
            place_in_plan: place_of(row),
            reps: reps(row),
            adherence: Figure::percent(row.adherence_pct),
            longest: Figure::duration(pages.longest_run_s()),
            remarks: (pages.left_out.map(|left_out| left_out.words().to_owned()).into_iter())
                .chain(pages.remarks.iter().map(remark_text))
                .collect(),
            planned: row.planned.as_deref().map(Text::from),
            planned_label: format!(
                "Planned intervals: {}",
                isolated(row.planned.as_deref().unwrap_or("none"))
            ),
            done_label: done_label(pages),
            strips: Strips::new(
                row.duration_s.unwrap_or(0.0),
                pages.bouts,
                pages.intervals,
                pages.trace,
                pace,
            ),
            is_guess: row.resolvable == Some(false),
            figures,
            more_figures,
            has_heart_rate: runs_table.iter().any(|line| !line.heart_rate.is_missing()),
            has_cadence: runs_table.iter().any(|line| !line.cadence.is_missing()),
            reps_table,
            walks_table,
            runs_table,
            notes: (row
                .notes
                .iter()
                .filter(|note| !said.contains_key(note.as_str()))
                .chain(pages.asides)
                .cloned())
            .chain(cannot_show(row))
            .map(Text)
            .collect(),
        }
    }
}

/// What the figures of a session cannot show, in sentences.
fn cannot_show(row: &SessionRow) -> Vec<String> {
    let mut sentences = Vec::new();
    if row.too_short_to_judge == Some(true) {
        sentences.push("reps under 45 s or walks under 18 s are about as long as their edges are uncertain: one by one they can't be judged".into());
    }
    if let (Some(low), Some(high)) = (row.pace_drift_low_pct, row.pace_drift_high_pct)
        && low <= 0.0
        && high >= 0.0
    {
        sentences.push(format!("no clear pace drift: it may lie anywhere from {low:+.0} to {high:+.0} %"));
    }
    sentences
}

pub(crate) fn when(pages: &SessionPages<'_>) -> String {
    match (pages.row.start_local, pages.day()) {
        (Some(time), _) => day_and_time(time),
        (None, Some(day)) => format!("{} (UTC)", full_day(day)),
        (None, None) => "no time".into(),
    }
}

pub(crate) fn place_of(row: &SessionRow) -> Option<Text> {
    let block = row.plan_block.as_deref()?;
    Some(Text(row.plan_session.map_or_else(|| block.to_owned(), |session| place_in_plan(block, session))))
}

/// `7 of 8 reps`, `7 of 8 reps, 2 short`.
pub(crate) fn reps(row: &SessionRow) -> Option<String> {
    let planned = row.reps_planned.filter(|&planned| planned > 0)?;
    let (done, short) = (row.reps_done?, row.reps_short.unwrap_or(0));
    let mut text = format!("{done} of {} in full", counted(planned as usize, "rep", "reps"));
    if short > 0 {
        text.push_str(&format!(", {short} short"));
    }
    if let Some(outside) = row.reps_not_recorded.filter(|&outside| outside > 0) {
        text.push_str(&format!(", {outside} not recorded"));
    }
    if let Some(extra) = row.reps_extra.filter(|&extra| extra > 0) {
        text.push_str(&format!(", {extra} extra"));
    }
    Some(text)
}

/// The strip of bouts in a sentence, for those who do not see it.
fn done_label(pages: &SessionPages<'_>) -> String {
    let count = |kind| pages.bouts.iter().filter(|bout| bout.kind == kind).count();
    let runs = pages.bouts.iter().filter(|bout| bout.kind == Kind::Run).map(|bout| bout.duration_s);
    let spread = match (runs.clone().reduce(f64::min), runs.reduce(f64::max)) {
        (Some(shortest), Some(longest)) => format!(" of {} to {}", duration(shortest), duration(longest)),
        _ => String::new(),
    };
    let what = if pages.row.resolvable == Some(false) { "A best guess" } else { "What was done" };
    format!(
        "{what}: {}{spread}, {}, {}, {}",
        counted(count(Kind::Run), "run", "runs"),
        counted(count(Kind::Walk), "walk", "walks"),
        counted(count(Kind::Stand), "stop", "stops"),
        counted(count(Kind::Gap), "gap", "gaps"),
    )
}

/// Columns that stand open (own choice): what a coach asks of a session first.
const SHOWN: [&str; 5] = ["adherence_pct", "dose_pct", "breaks_pct", "longest_run_s", "run_pace_s_per_km"];

fn figures(row: &SessionRow, pace: PaceUnit) -> Vec<Named> {
    let named = |column, name, figure| Named { column, name, figure };
    let mut figures = vec![
        named("adherence_pct", "Adherence", Figure::percent(row.adherence_pct)),
        named("dose_pct", "Dose", Figure::percent(row.dose_pct)),
        named("breaks_pct", "Breaks kept", Figure::percent(row.breaks_pct)),
        named("overdone_pct", "Overdone", Figure::percent(row.overdone_pct)),
        named("longest_run_s", "Longest unbroken run", Figure::duration(row.longest_run_s)),
        named("longest_run_m", "its distance", Figure::distance(row.longest_run_m)),
        named("run_planned_s", "Running asked", Figure::duration(row.run_planned_s)),
        named("run_s", "Run", Figure::duration(row.run_s)),
        named("run_m", "Distance run", Figure::distance(row.run_m)),
        named("walk_s", "Walked", Figure::duration(row.walk_s)),
        named("stand_s", "Stood", Figure::duration(row.stand_s)),
        named("gap_s", "No points", Figure::duration(row.gap_s)),
        named("run_pace_s_per_km", "Running pace", Figure::pace(row.run_pace_s_per_km, pace)),
        named("pace_drift_pct", "Pace drift", Figure::signed_percent(row.pace_drift_pct)),
        // Beside a rep that was not run, nobody can tell whether the walk was left out.
        named(
            "walk_missing_s",
            "Walking left out",
            Figure::duration(row.walk_missing_s.filter(|s| *s >= 0.5 && row.reps_missed == Some(0))),
        ),
        named("run_hr_mean_bpm", "Heart rate, running", Figure::rate(row.run_hr_mean_bpm)),
        named("hr_fall_60s_bpm", "Its fall in the walks", Figure::rate(row.hr_fall_60s_bpm)),
        named("run_hr_of_max_pct", "of the largest", Figure::percent(row.run_hr_of_max_pct)),
        named("above_talkable_pct", "Time above easy talking", Figure::percent(row.above_talkable_pct)),
        named("run_cadence_spm", "Steps per minute, running", Figure::rate(row.run_cadence_spm)),
        named("distance_m", "Distance in all", Figure::distance(row.distance_m)),
        named("duration_s", "Time in all", Figure::duration(row.duration_s)),
    ];
    figures.retain(|named| !named.figure.is_missing());
    figures
}

fn interval_lines(pages: &SessionPages<'_>, gait: Gait, unit: PaceUnit) -> Vec<IntervalLine> {
    let paces = pages.interval_paces_s_per_km.iter().copied().chain(std::iter::repeat(None));
    let of_gait = pages.intervals.iter().zip(paces).filter(|(row, _)| row.kind == gait);
    let pace = |s_per_km: f64| duration(s_per_km * unit.metres() / 1000.0);
    (1..)
        .zip(of_gait)
        .map(|(number, (row, s_per_km))| interval_line(row, number, s_per_km.map(pace).unwrap_or_default()))
        .collect()
}

fn interval_line(row: &IntervalRow, number: usize, pace: String) -> IntervalLine {
    let is_by_distance = row.planned_m.is_some();
    let difference = match row.status {
        IntervalStatus::Missed | IntervalStatus::NotRecorded => None,
        _ if is_by_distance => {
            row.planned_m.zip(row.done_m).map(|(asked, done)| signed_distance(done - asked))
        }
        _ => row.planned_s.zip(row.done_s).map(|(asked, done)| signed_duration(done.round() - asked.round())),
    }
    .unwrap_or_default();
    IntervalLine {
        interval: row.interval,
        number,
        asked: if is_by_distance { Figure::distance(row.planned_m) } else { Figure::duration(row.planned_s) },
        done: if is_by_distance { Figure::distance(row.done_m) } else { Figure::duration(row.done_s) },
        difference,
        credit: Figure::percent(row.credit_pct),
        status: row.status.word(),
        pace,
    }
}

fn signed_distance(metres: f64) -> String {
    let text = distance(metres.abs());
    match metres.round() {
        rounded if rounded > 0.0 => format!("+{text}"),
        rounded if rounded < 0.0 => format!("−{text}"),
        _ => text,
    }
}

fn run_lines(pages: &SessionPages<'_>, pace: PaceUnit) -> Vec<RunLine> {
    (pages.bouts.iter())
        .filter(|bout| bout.kind == Kind::Run)
        .map(|bout| RunLine {
            bout: bout.bout,
            start: Figure::duration(Some(bout.start_s)),
            duration: Figure::duration(Some(bout.duration_s)),
            distance: Figure::distance(bout.distance_m),
            pace: Figure::pace(bout.pace_s_per_km, pace),
            heart_rate: Figure::rate(bout.hr_mean_bpm),
            cadence: Figure::rate(bout.cadence_spm),
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Of somebody who walked all of it, walks and reps are one: no walk was left out.
    #[test]
    fn walking_is_left_out_only_between_reps_that_were_run() {
        let shown = |reps_missed| {
            let row = SessionRow {
                walk_missing_s: Some(630.0),
                reps_missed: Some(reps_missed),
                ..SessionRow::default()
            };
            figures(&row, PaceUnit::Kilometre).iter().any(|named| named.column == "walk_missing_s")
        };
        assert_eq!([shown(0), shown(8)], [true, false]);
    }
}

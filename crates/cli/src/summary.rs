//! The summary at the end of an audit: most urgent first, 80 columns.

use std::fmt::Write;
use std::path::Path;

use anyhow::Result;
use boutwise_audit::{AthleteJudgement, Audit};
use boutwise_report::{AthleteRow, FileRow, REPORT_FILE, Tables, duration_text, place_in_plan};
use boutwise_season::Caution;
use boutwise_track::Status;
use chrono::NaiveDate;
use comfy_table::{CellAlignment, ColumnConstraint, Table};
use serde_json::json;

use crate::args::{Audit as Options, Common};
use crate::terminal;

/// Reasons that the summary gives for a proposal; all of them stand in the report.
const REASONS_NAMED: usize = 2;
/// Files with a fault that the summary names; the others stand in `files.csv`.
const FAULTS_NAMED: usize = 8;

/// An athlete with their row.
type Judged<'a> = (&'a AthleteJudgement, &'a AthleteRow);

/// What `audit` prints on standard output.
pub(crate) fn text(found: &Audit, out: &Path, options: &Options, common: &Common) -> Result<String> {
    if common.json {
        return as_json(found, out);
    }
    if common.quiet {
        return Ok(String::new());
    }
    let tables = &found.tables;
    let mut text: String =
        found.warnings.iter().map(|warning| format!("{}\n", terminal::wrapped(warning))).collect();
    text.push_str(&counts(found));
    if !tables.athletes.is_empty() {
        text.push('\n');
        text.push_str(&athletes(found));
    }
    faults(&mut text, tables, out);
    for note in &found.notes[found.warnings.len()..] {
        let _ = writeln!(text, "{}", terminal::wrapped(note));
    }
    if tables.sessions.is_empty() {
        let _ = writeln!(
            text,
            "No recording was found in {}: put .gpx or .tcx files there, or below it.",
            options.recordings.folder.display()
        );
    }
    let _ = match options.no_report {
        true => writeln!(text, "Tables: {}", out.display()),
        false => writeln!(text, "Report: {}", out.join(REPORT_FILE).display()),
    };
    text.push_str("The tool measures and proposes, the coach decides; it gives no medical advice.\n");
    Ok(text)
}

fn counts(found: &Audit) -> String {
    let tables = &found.tables;
    let mut parts = Vec::new();
    for status in &Status::ALL {
        let count = tables.files.iter().filter(|file| file.status == *status).count();
        if count > 0 {
            parts.push(format!("{count} {}", status.word()));
        }
    }
    let files = terminal::counted(tables.files.len(), "file");
    let mut text =
        if parts.is_empty() { format!("{files}.\n") } else { format!("{files}: {}.\n", parts.join(", ")) };
    let sessions = terminal::counted(tables.sessions.len(), "session");
    let athletes = terminal::counted(tables.athletes.len(), "athlete");
    let _ = match found.as_of {
        Some(day) => writeln!(text, "{sessions} of {athletes}, judged as of {day}."),
        None => writeln!(text, "{sessions} of {athletes}."),
    };
    let by_note: Vec<String> = days_by_note(found).map(|(name, day)| format!("{name} as of {day}")).collect();
    if !by_note.is_empty() {
        let line = format!("By a note of a later day: {}.", by_note.join(", "));
        let _ = writeln!(text, "{}", terminal::wrapped(&line));
    }
    text
}

/// The athletes who are judged as of the day of a note of their own.
fn days_by_note(found: &Audit) -> impl Iterator<Item = (&str, NaiveDate)> {
    let by_note = found.athletes.iter().filter(|judged| judged.day.is_by_note);
    by_note.filter_map(|judged| Some((judged.athlete.as_str(), judged.day.day?)))
}

fn athletes(found: &Audit) -> String {
    let rows = found.by_urgency();
    let table = if rows.iter().any(|(_, row)| row.sessions_due.is_some()) {
        with_plan(&rows)
    } else {
        without_plan(&rows)
    };
    terminal::trimmed(&table) + "\n\n" + &reasons(&rows)
}

fn with_plan(rows: &[Judged<'_>]) -> Table {
    let mut table = terminal::table(&["athlete", "proposal", "next", "came", "dose", "longest run"]);
    align_right(&mut table, 3..6);
    for (judgement, row) in rows {
        let came = match (row.sessions_attempted, row.sessions_due) {
            (Some(attempted), Some(due)) => format!("{attempted} of {due}"),
            _ => String::new(),
        };
        let next = match (&row.next_block, row.next_session) {
            (Some(block), Some(session)) => place_in_plan(block, session),
            _ => String::new(),
        };
        let dose = progress(judgement, row.dose_pct).map_or_else(String::new, |dose| format!("{dose:.0} %"));
        table.add_row([row.athlete.clone(), proposal(row), next, came, dose, longest(judgement, row)]);
    }
    table
}

fn without_plan(rows: &[Judged<'_>]) -> Table {
    let mut table = terminal::table(&["athlete", "proposal", "longest", "on", "trend a week"]);
    align_right(&mut table, 2..5);
    for (judgement, row) in rows {
        let day = progress(judgement, row.longest_run_date).map_or_else(String::new, |day| day.to_string());
        let trend = progress(judgement, row.longest_run_trend_s_per_week);
        let trend = trend.map_or_else(String::new, terminal::signed_seconds);
        table.add_row([row.athlete.clone(), proposal(row), longest(judgement, row), day, trend]);
    }
    // Without a plan there is a proposal only after pain or a warning sign.
    if rows.iter().all(|(_, row)| row.proposal.is_none())
        && let Some(column) = table.column_mut(1)
    {
        column.set_constraint(ColumnConstraint::Hidden);
    }
    table
}

fn align_right(table: &mut Table, columns: std::ops::Range<usize>) {
    for column in columns {
        if let Some(column) = table.column_mut(column) {
            column.set_cell_alignment(CellAlignment::Right);
        }
    }
}

fn proposal(row: &AthleteRow) -> String {
    row.proposal.map_or_else(String::new, |proposal| proposal.word().to_owned())
}

/// Beside a warning sign nothing about progress is said.
fn progress<T>(judgement: &AthleteJudgement, value: Option<T>) -> Option<T> {
    value.filter(|_| judgement.audit.tells_progress())
}

fn longest(judgement: &AthleteJudgement, row: &AthleteRow) -> String {
    progress(judgement, row.longest_run_s).map_or_else(String::new, duration_text)
}

/// Why each athlete is to do what comes next: the first reasons, which are the most urgent.
fn reasons(rows: &[Judged<'_>]) -> String {
    let mut text = String::new();
    let is_judged = |row: &AthleteRow| row.sessions_due.is_some() || row.proposal.is_some();
    for (judgement, row) in rows.iter().filter(|(_, row)| is_judged(row)) {
        if !judgement.audit.tells_progress() {
            let _ = writeln!(
                text,
                "{}",
                terminal::wrapped(&format!("{}: {}", row.athlete, row.reasons.join("; ")))
            );
            let _ = writeln!(text, "{}", terminal::wrapped(&format!("  {}", Caution::WarningSign.text())));
            continue;
        }
        let first = row.reasons[..row.reasons.len().min(REASONS_NAMED)].join("; ");
        let _ = writeln!(text, "{}", terminal::wrapped(&format!("{}: {first}", row.athlete)));
    }
    if text.is_empty() { text } else { text + "\n" }
}

fn faults(text: &mut String, tables: &Tables, out: &Path) {
    let faulty: Vec<&FileRow> = (tables.files.iter())
        .filter(|file| matches!(file.status, Status::Failed | Status::Partial))
        .collect();
    for file in faulty.iter().take(FAULTS_NAMED) {
        let why = file.notes.first().map_or("", String::as_str);
        let line = format!("{} {}: {why}", file.status.word(), file.file);
        let _ = writeln!(text, "{}", terminal::wrapped(&line));
    }
    if faulty.len() > FAULTS_NAMED {
        let more = faulty.len() - FAULTS_NAMED;
        let _ = writeln!(text, "and {more} more, see {}", out.join("files.csv").display());
    }
}

fn as_json(found: &Audit, out: &Path) -> Result<String> {
    let tables = &found.tables;
    let files: serde_json::Map<String, serde_json::Value> = Status::ALL
        .iter()
        .map(|status| {
            let count = tables.files.iter().filter(|file| file.status == *status).count();
            (status.word().to_owned(), json!(count))
        })
        .collect();
    let athletes: Vec<AthleteRow> = found.by_urgency().into_iter().map(|(_, row)| row.clone()).collect();
    let athletes: serde_json::Value = serde_json::from_str(&boutwise_report::json_text(&athletes)?)?;
    let by_note: serde_json::Map<String, serde_json::Value> =
        days_by_note(found).map(|(name, day)| (name.to_owned(), json!(day.to_string()))).collect();
    let value = json!({
        "out": out.display().to_string(),
        "as_of": found.as_of.map(|day| day.to_string()),
        "as_of_by_note": by_note,
        "files": files,
        "sessions": tables.sessions.len(),
        "athletes": athletes,
        "notes": found.notes,
    });
    Ok(serde_json::to_string_pretty(&value)? + "\n")
}

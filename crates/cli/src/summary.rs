//! The summary at the end of an audit: most urgent first, 80 columns.

use std::fmt::Write;
use std::path::Path;

use anyhow::Result;
use boutwise_audit::{AthleteOverview, Configuration, ManifestDigests, Overview};
use boutwise_report::{AthleteRow, REPORT_FILE, duration_text, of_them_counted, place_in_plan};
use boutwise_season::Caution;
use boutwise_track::Status;
use comfy_table::{CellAlignment, ColumnConstraint, Table};

use crate::args::{Audit as Options, Common, TableFormat};
use crate::terminal;

/// Reasons that the summary gives for a proposal; all of them stand in the report.
const REASONS_NAMED: usize = 2;
/// Files with a fault that the summary names; the others stand in the table of files.
const FAULTS_NAMED: usize = 8;

/// What `audit` prints on standard output.
pub(crate) fn text(
    found: &Overview,
    out: &Path,
    digests: &ManifestDigests,
    options: &Options,
    configuration: &Configuration,
    common: &Common,
) -> Result<String> {
    let out = configuration.told(out, "the output folder");
    if common.json {
        return Ok(serde_json::to_string_pretty(&found.as_json(&out.display().to_string(), digests)?)? + "\n");
    }
    if common.quiet {
        return Ok(String::new());
    }
    let mut text: String =
        found.warnings.iter().map(|warning| format!("{}\n", terminal::wrapped(warning))).collect();
    text.push_str(&counts(found));
    if !found.athletes.is_empty() {
        text.push('\n');
        text.push_str(&athletes(found));
    }
    let files = if options.writes(TableFormat::Csv) { "files.csv" } else { "files.parquet" };
    faults(&mut text, found, &out.join(files));
    for note in &found.notes[found.warnings.len()..] {
        let _ = writeln!(text, "{}", terminal::wrapped(note));
    }
    if found.sessions == 0 {
        let _ = writeln!(
            text,
            "No recording was found in {}: put .gpx or .tcx files there, or below it.",
            configuration.told(&options.recordings.folder, "the folder of recordings").display()
        );
    }
    let _ = match options.no_report {
        true => writeln!(text, "Tables: {}", out.display()),
        false => writeln!(text, "Report: {}", out.join(REPORT_FILE).display()),
    };
    text.push_str("The tool measures and proposes, the coach decides; it gives no medical advice.\n");
    Ok(text)
}

fn counts(found: &Overview) -> String {
    let mut parts = Vec::new();
    for status in &Status::ALL {
        let count = found.files_of(*status);
        if count > 0 {
            parts.push(format!("{count} {}", status.word()));
        }
    }
    let files = terminal::counted(found.files.iter().sum(), "file");
    let mut text =
        if parts.is_empty() { format!("{files}.\n") } else { format!("{files}: {}.\n", parts.join(", ")) };
    let sessions = terminal::counted(found.sessions, "session")
        + &of_them_counted(found.sessions, found.sessions_counted());
    let athletes = terminal::counted(found.athletes.len(), "athlete");
    let _ = match found.as_of {
        Some(day) => writeln!(text, "{sessions} of {athletes}, judged as of {day}."),
        None => writeln!(text, "{sessions} of {athletes}."),
    };
    let by_note: Vec<String> =
        found.days_by_note().map(|(name, day)| format!("{name} as of {day}")).collect();
    if !by_note.is_empty() {
        let line = format!("By a note of a later day: {}.", by_note.join(", "));
        let _ = writeln!(text, "{}", terminal::wrapped(&line));
    }
    text
}

fn athletes(found: &Overview) -> String {
    let rows = found.by_urgency();
    let table = if rows.iter().any(|judged| judged.row.sessions_due.is_some()) {
        with_plan(&rows)
    } else {
        without_plan(&rows)
    };
    terminal::trimmed(&table) + "\n\n" + &reasons(&rows)
}

fn with_plan(rows: &[&AthleteOverview]) -> Table {
    let mut table = terminal::table(&["athlete", "proposal", "next", "came", "dose", "longest run"]);
    align_right(&mut table, 3..6);
    for judged in rows {
        let row = &judged.row;
        let came = match (row.sessions_attempted, row.sessions_due) {
            (Some(attempted), Some(due)) => format!("{attempted} of {due}"),
            _ => String::new(),
        };
        let next = match (&row.next_block, row.next_session) {
            (Some(block), Some(session)) => place_in_plan(block, session),
            _ => String::new(),
        };
        let dose = progress(judged, row.dose_pct).map_or_else(String::new, |dose| format!("{dose:.0} %"));
        table.add_row([row.athlete.clone(), proposal(row), next, came, dose, longest(judged)]);
    }
    table
}

fn without_plan(rows: &[&AthleteOverview]) -> Table {
    let mut table = terminal::table(&["athlete", "proposal", "longest", "on", "trend a week"]);
    align_right(&mut table, 2..5);
    for judged in rows {
        let row = &judged.row;
        let day = progress(judged, row.longest_run_date).map_or_else(String::new, |day| day.to_string());
        let trend = progress(judged, row.longest_run_trend_s_per_week);
        let trend = trend.map_or_else(String::new, terminal::signed_seconds);
        table.add_row([row.athlete.clone(), proposal(row), longest(judged), day, trend]);
    }
    // Without a plan there is a proposal only after pain or a warning sign.
    if rows.iter().all(|judged| judged.row.proposal.is_none())
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
fn progress<T>(judged: &AthleteOverview, value: Option<T>) -> Option<T> {
    value.filter(|_| judged.tells_progress)
}

fn longest(judged: &AthleteOverview) -> String {
    progress(judged, judged.row.longest_run_s).map_or_else(String::new, duration_text)
}

/// Why each athlete is to do what comes next: the first reasons, which are the most urgent.
fn reasons(rows: &[&AthleteOverview]) -> String {
    let mut text = String::new();
    let is_judged = |row: &AthleteRow| row.sessions_due.is_some() || row.proposal.is_some();
    for judged in rows.iter().filter(|judged| is_judged(&judged.row)) {
        let row = &judged.row;
        if !judged.tells_progress {
            let _ = writeln!(
                text,
                "{}",
                terminal::wrapped(&format!("{}: {}", row.athlete, row.reasons.join("; ")))
            );
            if !judged.is_paused {
                let _ =
                    writeln!(text, "{}", terminal::wrapped(&format!("  {}", Caution::WarningSign.text())));
            }
            continue;
        }
        let first = row.reasons[..row.reasons.len().min(REASONS_NAMED)].join("; ");
        let _ = writeln!(text, "{}", terminal::wrapped(&format!("{}: {first}", row.athlete)));
    }
    if text.is_empty() { text } else { text + "\n" }
}

fn faults(text: &mut String, found: &Overview, table: &Path) {
    let faults = found.faults();
    let more = faults.len().saturating_sub(FAULTS_NAMED);
    for line in faults.take(FAULTS_NAMED) {
        let _ = writeln!(text, "{}", terminal::wrapped(&line));
    }
    if more > 0 {
        let _ = writeln!(text, "and {more} more, see {}", table.display());
    }
}

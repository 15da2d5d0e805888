//! `boutwise bouts`: the bouts of single recordings, as a picture and a table, CSV or JSON.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write;
use std::path::Path;
use std::sync::Arc;

use anyhow::Result;
use boutwise_audit::{Configuration, FileBouts, Inputs, SessionBouts, recording_bouts};
use boutwise_bouts::Kind;
use boutwise_report::{BoutRow, csv_text, duration_text, json_text, pace_text};
use boutwise_track::{Status, shown};
use comfy_table::CellAlignment;

use crate::Outcome;
use crate::args::{Bouts as Options, Common, PaceUnit};
use crate::terminal;

/// Characters of the strip that draws a session.
const STRIP_CHARS: usize = 72;

pub(crate) fn run(options: &Options, common: &Common) -> Result<Outcome> {
    let configuration = Configuration { threads: common.threads(), ..Configuration::default() };
    let (mut found, mut paths, mut athletes) = (Vec::new(), Vec::new(), Vec::new());
    for path in &options.files {
        let inputs = Inputs::below(path)?;
        let read = terminal::watched(common, |watch| recording_bouts(&inputs, &configuration, watch))?;
        paths.extend(read.iter().map(|file| as_given(path, &file.file)));
        athletes.extend(read.iter().map(|_| inputs.name().to_owned()));
        found.extend(read);
    }
    for (file, path) in found.iter().zip(&paths) {
        for sentence in &file.notes {
            terminal::message(common, &format!("{path}: {sentence}"));
        }
    }
    name_apart(&mut found, &paths, &athletes);
    let is_empty = found.iter().all(|file| file.sessions.is_empty());
    if is_empty {
        terminal::message(common, "No recording was found in what was given.");
    }
    terminal::print(&output(options, common, &found)?)?;
    let is_clean = !found.iter().any(|file| matches!(file.status, Status::Failed | Status::Partial));
    Ok(Outcome::of(is_clean && !is_empty))
}

/// The path of a file, or of a member of an archive, as it was given: `file` is the path below the folder.
fn as_given(path: &Path, file: &str) -> String {
    let folder = if path.is_dir() { Some(path) } else { path.parent() };
    match folder.filter(|folder| !folder.as_os_str().is_empty()) {
        Some(folder) => {
            let folder = folder.to_string_lossy();
            format!("{}/{file}", shown(folder.trim_end_matches(std::path::is_separator), &[]))
        }
        None => file.to_owned(),
    }
}

/// Different files that would have one name among the rows of one athlete are called by the shortest ends of their paths that
/// differ.
fn name_apart(found: &mut [FileBouts], paths: &[String], athletes: &[String]) {
    let mut alike: BTreeMap<(&str, String), Vec<usize>> = BTreeMap::new();
    for (at, file) in found.iter().enumerate() {
        alike.entry((&athletes[at], file.file.clone())).or_default().push(at);
    }
    for ((_, name), alike) in alike {
        let different: BTreeSet<&str> = alike.iter().map(|at| paths[*at].as_str()).collect();
        let end = |path: &str, parts: usize| -> String {
            let parts: Vec<&str> = path.rsplit('/').take(parts).collect();
            parts.into_iter().rev().collect::<Vec<_>>().join("/")
        };
        let most = different.iter().map(|path| path.split('/').count()).max().unwrap_or(0);
        let tells_apart = |parts: &usize| {
            different.iter().map(|path| end(path, *parts)).collect::<BTreeSet<_>>().len() == different.len()
        };
        let Some(parts) = (name.split('/').count()..=most).find(tells_apart) else { continue };
        for at in alike {
            let name = end(&paths[at], parts);
            let shared: Arc<str> = name.as_str().into();
            for row in found[at].sessions.iter_mut().flat_map(|session| &mut session.bouts) {
                row.file = Arc::clone(&shared);
            }
            found[at].file = name;
        }
    }
}

fn output(options: &Options, common: &Common, found: &[FileBouts]) -> Result<String> {
    let sessions = found.iter().flat_map(|file| file.sessions.iter().map(move |session| (file, session)));
    if common.json || options.csv {
        let rows: Vec<BoutRow> = sessions.flat_map(|(_, session)| session.bouts.iter().cloned()).collect();
        return Ok(if common.json { json_text(&rows)? } else { csv_text(&rows)? });
    }
    let texts: Vec<String> =
        sessions.map(|(file, session)| session_text(&file.file, session, options.pace)).collect();
    Ok(texts.join("\n"))
}

fn session_text(file: &str, session: &SessionBouts, pace: PaceUnit) -> String {
    let mut text = file.to_owned();
    if session.session > 1 {
        let _ = write!(text, ", session {}", session.session);
    }
    let duration_s = session.duration_s;
    let _ = writeln!(text, ", {}", duration_text(duration_s));
    let _ = writeln!(text, "{}", strip(session));
    let _ = writeln!(text, "{}", scale(duration_s));
    for note in &session.notes {
        let _ = writeln!(text, "{note}");
    }
    let mut table =
        terminal::table(&["bout", "kind", "from", "length", "metres", "pace", "heart", "steps", "sure"]);
    for column in 0..9 {
        if let (Some(column), true) = (table.column_mut(column), column != 1) {
            column.set_cell_alignment(CellAlignment::Right);
        }
    }
    for row in &session.bouts {
        let whole = |value: Option<f64>| value.map_or_else(String::new, |value| format!("{value:.0}"));
        table.add_row([
            row.bout.to_string(),
            row.kind.word().to_owned(),
            duration_text(row.start_s),
            duration_text(row.duration_s),
            whole(row.distance_m),
            match row.kind {
                Kind::Run | Kind::Walk => {
                    row.pace_s_per_km.map_or_else(String::new, |s_per_km| pace_text(s_per_km, pace.into()))
                }
                Kind::Stand | Kind::Gap => String::new(),
            },
            whole(row.hr_mean_bpm),
            whole(row.cadence_spm),
            format!("{:.0}\u{202f}%", 100.0 * row.confidence),
        ]);
    }
    text + &terminal::trimmed(&table) + "\n"
}

/// Times under the strip, at its start, middle and end, and what its heights mean.
fn scale(duration_s: f64) -> String {
    let (middle, end) = (duration_text(duration_s / 2.0), duration_text(duration_s));
    let half = STRIP_CHARS / 2;
    format!(
        "0:00{middle:^0$}{end:>1$}\n█ run  ▃ walk  _ stand  blank: gap",
        2 * (half - 4),
        STRIP_CHARS - 4 - 2 * (half - 4)
    )
}

/// The session as one line: high for running, low for walking, a line for standing, blank for a gap.
fn strip(session: &SessionBouts) -> String {
    let character = |kind| match kind {
        Some(Kind::Run) => '█',
        Some(Kind::Walk) => '▃',
        Some(Kind::Stand) => '_',
        Some(Kind::Gap) | None => ' ',
    };
    session.slices(STRIP_CHARS).into_iter().map(character).collect()
}

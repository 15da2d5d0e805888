//! `boutwise bouts`: the bouts of single recordings, as a picture and a table, CSV or JSON.

use std::fmt::Write;
use std::path::Path;

use anyhow::Result;
use boutwise_bouts::{Bout, Kind, SegmentSettings, Segmentation, segment};
use boutwise_report::{BoutRow, csv_text, duration_text, json_text, pace_text};
use boutwise_track::{FileReading, ReadSettings, Recording, Status, find_inputs, read_input};
use comfy_table::CellAlignment;
use rayon::prelude::*;

use crate::Outcome;
use crate::args::{Bouts as Options, Common, PaceUnit};
use crate::rows::{SessionName, bout_rows, moment};
use crate::terminal;

/// Characters of the strip that draws a session.
const STRIP_CHARS: usize = 72;

/// One recording and what was found in it.
struct Found {
    name: SessionName,
    recording: Recording,
    segmentation: Segmentation,
}

pub(crate) fn run(options: &Options, common: &Common) -> Result<Outcome> {
    let mut outcome = Outcome::Clean;
    let mut found = Vec::new();
    for path in &options.files {
        let inputs = find_inputs(path)?;
        let read: Vec<Vec<FileReading>> = inputs
            .par_iter()
            .map(|input| {
                let mut readings = Vec::new();
                read_input(input, &ReadSettings::default(), &mut |reading| readings.push(reading));
                readings
            })
            .collect();
        for reading in read.into_iter().flatten() {
            if matches!(reading.status, Status::Failed | Status::Partial) {
                outcome = Outcome::Faults;
            }
            for sentence in reading.sentences() {
                terminal::message(common, &format!("{}: {sentence}", reading.file));
            }
            let segmented = reading.recordings.into_par_iter().map(|recording| Found {
                name: SessionName {
                    athlete: athlete_of(path),
                    file: reading.file.clone(),
                    session: recording.session as u64,
                },
                segmentation: segment(&recording, &SegmentSettings::default(), None),
                recording,
            });
            found.par_extend(segmented);
        }
    }
    if found.is_empty() {
        terminal::message(common, "No recording was found in what was given.");
        outcome = Outcome::Faults;
    }
    terminal::print(&output(options, common, &found)?)?;
    Ok(outcome)
}

/// Nobody says whose a single file is: the folder that holds it gives the name.
fn athlete_of(path: &Path) -> String {
    let folder = if path.is_dir() { Some(path) } else { path.parent() };
    folder.and_then(Path::file_name).map_or_else(String::new, |name| name.to_string_lossy().into_owned())
}

fn output(options: &Options, common: &Common, found: &[Found]) -> Result<String> {
    if common.json || options.csv {
        let rows: Vec<BoutRow> = found.iter().flat_map(Found::rows).collect();
        return Ok(if common.json { json_text(&rows)? } else { csv_text(&rows)? });
    }
    Ok(found.iter().map(|found| found.text(options.pace)).collect::<Vec<_>>().join("\n"))
}

impl Found {
    fn rows(&self) -> Vec<BoutRow> {
        let start = self.recording.points.time_ns().first().copied().map(moment);
        bout_rows(&self.name, start, &self.segmentation.bouts)
    }

    fn text(&self, pace: PaceUnit) -> String {
        let mut text = self.name.file.clone();
        if self.name.session > 1 {
            let _ = write!(text, ", session {}", self.name.session);
        }
        let _ = writeln!(text, ", {}", duration_text(self.recording.duration_s()));
        let duration_s = self.recording.duration_s();
        let _ = writeln!(text, "{}", strip(&self.segmentation.bouts, duration_s));
        let _ = writeln!(text, "{}", scale(duration_s));
        for note in &self.segmentation.notes {
            let _ = writeln!(text, "{note}");
        }
        let mut table =
            terminal::table(&["bout", "kind", "from", "length", "metres", "pace", "heart", "steps", "sure"]);
        for column in 0..9 {
            if let (Some(column), true) = (table.column_mut(column), column != 1) {
                column.set_cell_alignment(CellAlignment::Right);
            }
        }
        for row in self.rows() {
            let whole = |value: Option<f64>| value.map_or_else(String::new, |value| format!("{value:.0}"));
            table.add_row([
                row.bout.to_string(),
                row.kind.word().to_owned(),
                duration_text(row.start_s),
                duration_text(row.duration_s),
                whole(row.distance_m),
                match row.kind {
                    Kind::Run | Kind::Walk => row
                        .pace_s_per_km
                        .map_or_else(String::new, |s_per_km| pace_text(s_per_km, pace.into())),
                    Kind::Stand | Kind::Gap => String::new(),
                },
                whole(row.hr_mean_bpm),
                whole(row.cadence_spm),
                format!("{:.0}\u{202f}%", 100.0 * row.confidence),
            ]);
        }
        text + &terminal::trimmed(&table) + "\n"
    }
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
fn strip(bouts: &[Bout], duration_s: f64) -> String {
    let slice_s = duration_s / STRIP_CHARS as f64;
    let mut strip = String::new();
    for slice in 0..STRIP_CHARS {
        let (from_s, to_s) = (slice as f64 * slice_s, (slice + 1) as f64 * slice_s);
        let share_s = |bout: &&Bout| (bout.end_s.min(to_s) - bout.start_s.max(from_s)).max(0.0);
        let most = bouts.iter().max_by(|a, b| share_s(a).total_cmp(&share_s(b)));
        strip.push(match most.map(|bout| bout.kind) {
            Some(Kind::Run) => '█',
            Some(Kind::Walk) => '▃',
            Some(Kind::Stand) => '_',
            Some(Kind::Gap) | None => ' ',
        });
    }
    strip
}

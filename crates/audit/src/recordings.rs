//! Single recordings without athlete, plan or calendar: what each file gave, and the bouts of its sessions.

use std::ops::ControlFlow;

use boutwise_bouts::{Kind, segment};
use boutwise_report::BoutRow;
use boutwise_track::{FileReading, Status};
use rayon::prelude::*;

use crate::rows::{SessionName, bout_rows, moment_in};
use crate::watch::Counter;
use crate::workers::on_workers;
use crate::{Configuration, Error, Inputs, Watch};

/// One file, or one member of an archive, with its sessions.
#[derive(Clone, Debug)]
#[non_exhaustive]
pub struct FileBouts {
    /// Path below the folder; a member of an archive is `outer.zip/inner.gpx`.
    pub file: String,
    /// What became of it.
    pub status: Status,
    /// Why it gave no recording, where it gave none.
    pub error: Option<boutwise_track::Error>,
    /// What was odd, repaired or left out, in sentences.
    pub notes: Vec<String>,
    /// Its sessions.
    pub sessions: Vec<SessionBouts>,
}

/// The bouts of one session.
#[derive(Clone, Debug)]
#[non_exhaustive]
pub struct SessionBouts {
    /// Number of the session in its file, from 1.
    pub session: u64,
    /// Seconds from its first to its last point.
    pub duration_s: f64,
    /// The bouts in order; they cover the session without holes.
    pub bouts: Vec<BoutRow>,
    /// What could not be told, with the reason.
    pub notes: Vec<String>,
}

impl SessionBouts {
    /// Of so many equal slices of the session each what most of it was; `None` without bouts.
    pub fn slices(&self, count: usize) -> Vec<Option<Kind>> {
        let slice_s = self.duration_s / count as f64;
        let most = |slice: usize| {
            let (from_s, to_s) = (slice as f64 * slice_s, (slice + 1) as f64 * slice_s);
            let share_s = |bout: &&BoutRow| (bout.end_s.min(to_s) - bout.start_s.max(from_s)).max(0.0);
            let most = self.bouts.iter().max_by(|a, b| share_s(a).total_cmp(&share_s(b)));
            most.map(|bout| bout.kind)
        };
        (0..count).map(most).collect()
    }
}

/// Finds the bouts of recordings, in the order of their files. The athlete is the name of the whole.
///
/// ```
/// use boutwise_audit::{Configuration, Inputs, recording_bouts, unwatched};
///
/// let text = "<gpx><trk><trkseg><trkpt lat='1' lon='2'><time>2025-03-01T10:00:00Z</time></trkpt></trkseg></trk></gpx>";
/// let inputs = Inputs::of_bytes("harbour", [("run.gpx".to_owned(), text.into())]);
/// let found = recording_bouts(&inputs, &Configuration::default(), &unwatched)?;
/// assert_eq!((found[0].file.as_str(), found[0].sessions.len()), ("run.gpx", 1));
/// # Ok::<(), boutwise_audit::Error>(())
/// ```
///
/// # Errors
/// [`ErrorKind::Stopped`](crate::ErrorKind) where `watch` says so.
pub fn recording_bouts(
    inputs: &Inputs,
    configuration: &Configuration,
    watch: Watch<'_>,
) -> Result<Vec<FileBouts>, Error> {
    let reading = configuration.read_settings();
    let counter = Counter::new(watch, inputs.len());
    let read = || {
        let found: Vec<Vec<FileBouts>> = (inputs.list().par_iter())
            .map(|input| {
                let mut found = Vec::new();
                let mut take = |reading| {
                    found.push(file_bouts(reading, inputs.name(), configuration));
                    // Whoever wants no more is told so after the file.
                    counter.go_on().map_or(ControlFlow::Break(()), ControlFlow::Continue)
                };
                input.read(&reading, &mut take);
                counter.one_more()?;
                Ok(found)
            })
            .collect::<Result<_, Error>>()?;
        Ok(found.into_iter().flatten().collect())
    };
    on_workers(configuration, read)
}

fn file_bouts(reading: FileReading, athlete: &str, configuration: &Configuration) -> FileBouts {
    let notes = reading.sentences().collect();
    let session = |recording: &boutwise_track::Recording| {
        let segmentation = segment(recording, &configuration.settings.segmentation);
        let session = recording.session as u64;
        let name = SessionName { athlete: athlete.into(), file: reading.file.as_str().into(), session };
        let start = recording.points.time_ns().first();
        let start = start.map(|&ns| moment_in(ns, recording.without_zone, configuration.zone()));
        SessionBouts {
            session,
            duration_s: recording.duration_s(),
            bouts: bout_rows(&name, start, &segmentation.bouts),
            notes: segmentation.notes,
        }
    };
    let sessions = reading.recordings.par_iter().map(session).collect();
    FileBouts { status: reading.status, error: reading.error, notes, sessions, file: reading.file }
}

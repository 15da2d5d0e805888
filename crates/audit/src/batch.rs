//! Reads a folder of recordings and measures each session, many at a time, always in the same order.

use std::collections::BTreeMap;

use boutwise_bouts::{Session, measure, segment};
use boutwise_report::Trace;
use boutwise_season::{HeartRate, Squad};
use boutwise_track::{
    Candidate, Clock, DuplicateSettings, FileReading, Fingerprint, Format, OwnedFile, Recording, Sport,
    Status, find_duplicates, note_same_bytes,
};
use rayon::prelude::*;

use crate::inputs::Input;
use crate::rows::SessionName;
use crate::watch::Counter;
use crate::{Configuration, Error, Inputs, Watch};

/// Everything that a folder gave.
pub(crate) struct Batch {
    /// Every file and every member of an archive, in order of path.
    pub(crate) files: Vec<FileRead>,
    /// Every session that counts, in order of file and number.
    pub(crate) sessions: Vec<Recorded>,
}

/// What became of one file.
pub(crate) struct FileRead {
    pub(crate) athlete: String,
    pub(crate) file: String,
    pub(crate) status: Status,
    pub(crate) format: Option<Format>,
    pub(crate) sessions: usize,
    pub(crate) points_kept: usize,
    pub(crate) points_dropped: usize,
    pub(crate) notes: Vec<String>,
    content_hash: Option<u128>,
}

/// One recorded session: what was measured, without its points.
pub(crate) struct Recorded {
    pub(crate) name: SessionName,
    pub(crate) session: Session,
    /// Heart rate while running.
    pub(crate) heart_rate: Option<HeartRate>,
    pub(crate) clock: Clock,
    pub(crate) utc_offset_s: Option<i32>,
    /// Latitude and longitude of the first position, in degrees.
    pub(crate) first_position_deg: Option<(f64, f64)>,
    pub(crate) trace: Trace,
    file: usize,
    fingerprint: Fingerprint,
}

/// What one input gave: its files and their sessions.
type FromInput = Vec<(FileRead, Vec<Recorded>)>;

/// Reads and measures every recording.
pub(crate) fn read(
    inputs: &Inputs,
    squad: Option<&Squad>,
    configuration: &Configuration,
    watch: Watch<'_>,
) -> Result<Batch, Error> {
    let owner = Owner { all: inputs.name(), squad };
    let counter = Counter::new(watch, inputs.len());
    let read: Vec<FromInput> = (inputs.list().par_iter())
        .map(|input| {
            let found = read_one(input, &owner, configuration);
            counter.one_more()?;
            Ok(found)
        })
        .collect::<Result<_, Error>>()?;
    let mut batch = Batch { files: Vec::new(), sessions: Vec::new() };
    for (file, sessions) in read.into_iter().flatten() {
        let index = batch.files.len();
        batch.files.push(file);
        batch.sessions.extend(sessions.into_iter().map(|session| Recorded { file: index, ..session }));
    }
    batch.set_duplicates_apart(&configuration.duplicates);
    batch.note_bytes_of_two_athletes();
    Ok(batch)
}

/// Whose a recording is.
struct Owner<'a> {
    /// The athlete of the recordings that lie in no folder of an athlete.
    all: &'a str,
    squad: Option<&'a Squad>,
}

impl Owner<'_> {
    fn of(&self, input: &Input) -> String {
        if let Some(athlete) = self.squad.and_then(|squad| squad.athlete_of(&input.name)) {
            return athlete.name.clone();
        }
        match input.name.split_once('/') {
            Some((folder, _)) => folder.to_owned(),
            None => self.all.to_owned(),
        }
    }
}

fn read_one(input: &Input, owner: &Owner<'_>, configuration: &Configuration) -> FromInput {
    let athlete = owner.of(input);
    let mut found = Vec::new();
    input.read(&configuration.reading, &mut |reading| found.push(take(reading, &athlete, configuration)));
    found
}

fn take(mut reading: FileReading, athlete: &str, configuration: &Configuration) -> (FileRead, Vec<Recorded>) {
    let recordings = std::mem::take(&mut reading.recordings);
    let found = recordings.len();
    let sessions: Vec<Recorded> = recordings
        .iter()
        .filter(|recording| recording.sport != Sport::Cycling)
        .map(|recording| record(recording, athlete, &reading.file, configuration))
        .collect();
    // A file of nothing but rides is no recording of running or walking.
    let status = if found > 0 && sessions.is_empty() { Status::Ignored } else { reading.status };
    let file = FileRead {
        athlete: athlete.to_owned(),
        status,
        format: reading.format,
        sessions: found,
        points_kept: reading.points_kept,
        points_dropped: reading.points_dropped,
        notes: reading.sentences().collect(),
        content_hash: reading.content_hash,
        file: reading.file,
    };
    (file, sessions)
}

fn record(recording: &Recording, athlete: &str, file: &str, configuration: &Configuration) -> Recorded {
    let segmentation = segment(recording, &configuration.segmentation, None);
    let name =
        SessionName { athlete: athlete.to_owned(), file: file.to_owned(), session: recording.session as u64 };
    let mut trace = Trace::new(file, name.session, recording.duration_s());
    let series = &segmentation.series;
    let times_s: Vec<f64> = (0..series.len()).map(|index| series.start_s(index)).collect();
    let thin = |values: &[f32]| trace.thin(&times_s, values);
    let (speed, heart_rate, cadence) =
        (thin(&series.speed_m_per_s), thin(&series.heart_rate_bpm), thin(&series.cadence_spm));
    trace.speed_m_per_s = speed;
    trace.heart_rate_bpm = heart_rate;
    trace.cadence_spm = cadence;
    let points = &recording.points;
    let start_ns = points.time_ns().first().copied().unwrap_or(0);
    let times_s: Vec<f64> =
        points.time_ns().iter().map(|time_ns| (time_ns - start_ns) as f64 * 1e-9).collect();
    let heart_rate =
        HeartRate::measure(&times_s, points.heart_rate_bpm(), points.cadence_spm(), &segmentation.bouts);
    let position = points.iter().find_map(|point| point.position);
    Recorded {
        name,
        session: measure(recording, &segmentation, &configuration.measures),
        heart_rate,
        clock: recording.clock,
        utc_offset_s: recording.utc_offset_s,
        first_position_deg: position.map(|place| (place.latitude_deg, place.longitude_deg)),
        trace,
        file: 0,
        fingerprint: Fingerprint::of(recording),
    }
}

impl Batch {
    /// Takes out the sessions that another recording of the same athlete holds too.
    fn set_duplicates_apart(&mut self, settings: &DuplicateSettings) {
        let mut by_athlete: BTreeMap<String, Vec<usize>> = BTreeMap::new();
        for (index, recorded) in self.sessions.iter().enumerate() {
            by_athlete.entry(recorded.name.athlete.clone()).or_default().push(index);
        }
        let mut duplicate_of: Vec<Option<usize>> = vec![None; self.sessions.len()];
        for own in by_athlete.values() {
            let candidates: Vec<Candidate<'_>> = own
                .iter()
                .map(|&index| {
                    let recorded = &self.sessions[index];
                    Candidate {
                        file: &recorded.name.file,
                        session: recorded.name.session as usize,
                        content_hash: self.files[recorded.file].content_hash,
                        partial: self.files[recorded.file].status == Status::Partial,
                        fingerprint: &recorded.fingerprint,
                    }
                })
                .collect();
            let standings = find_duplicates(&candidates, settings);
            for (&index, standing) in own.iter().zip(standings) {
                duplicate_of[index] = standing.duplicate_of.map(|other| own[other]);
                let texts = standing.notes.into_iter().map(|note| note.text);
                let recorded = &mut self.sessions[index];
                for text in texts {
                    self.files[recorded.file].notes.push(text.clone());
                    recorded.session.notes.push(text);
                }
            }
        }
        let mut counting = vec![0_usize; self.files.len()];
        let mut all = counting.clone();
        for (recorded, duplicate_of) in self.sessions.iter().zip(&duplicate_of) {
            all[recorded.file] += 1;
            counting[recorded.file] += usize::from(duplicate_of.is_none());
        }
        for (file, (&counting, &all)) in self.files.iter_mut().zip(counting.iter().zip(&all)) {
            if all > 0 && counting == 0 {
                file.status = Status::Duplicate;
            }
        }
        let mut counts = duplicate_of.iter().map(Option::is_none);
        self.sessions.retain(|_| counts.next().unwrap_or(true));
    }

    fn note_bytes_of_two_athletes(&mut self) {
        let owned: Vec<OwnedFile<'_>> = self
            .files
            .iter()
            .filter(|file| file.sessions > 0)
            .map(|file| OwnedFile {
                athlete: &file.athlete,
                file: &file.file,
                content_hash: file.content_hash,
            })
            .collect();
        let notes = note_same_bytes(&owned);
        let with_sessions = self.files.iter_mut().filter(|file| file.sessions > 0);
        for (file, note) in with_sessions.zip(notes) {
            file.notes.extend(note.map(|note| note.text));
        }
    }
}

//! Reads a folder of recordings and measures each session, many at a time, always in the same order.

use std::collections::{BTreeMap, BTreeSet};

use boutwise_bouts::{Session, measure, segment};
use boutwise_report::Trace;
use boutwise_season::{Correction, HeartRate, SensorFault, keep_part};
use boutwise_track::{
    Candidate, Clock, DuplicateSettings, FileReading, Fingerprint, Format, OwnedFile, ReadSettings,
    Recording, Sport, Status, find_duplicates, note_same_bytes,
};
use rayon::prelude::*;

use crate::inputs::Input;
use crate::rows::SessionName;
use crate::said::Said;
use crate::watch::Counter;
use crate::workers::on_workers;
use crate::{Configuration, Error, Inputs, SeasonFiles, Watch};

/// Everything that a folder gave.
pub(crate) struct Batch {
    /// Every file and every member of an archive, in order of path.
    pub(crate) files: Vec<FileRead>,
    /// Every session that counts, in order of file and number.
    pub(crate) sessions: Vec<Recorded>,
}

/// What became of one file.
pub(crate) struct FileRead {
    /// Whose it is; that of the first session where a file holds those of several people, `None` for nobody's.
    pub(crate) athlete: Option<String>,
    pub(crate) file: String,
    pub(crate) status: Status,
    pub(crate) format: Option<Format>,
    pub(crate) sessions: usize,
    pub(crate) points_kept: usize,
    pub(crate) points_dropped: usize,
    pub(crate) notes: Vec<Said>,
    pub(crate) content_hash: Option<u128>,
}

/// One recorded session: what was measured, without its points.
pub(crate) struct Recorded {
    pub(crate) name: SessionName,
    pub(crate) session: Session,
    /// Heart rate while running.
    pub(crate) heart_rate: Option<HeartRate>,
    pub(crate) clock: Clock,
    /// Whether the file breaks off in it.
    pub(crate) breaks_off: bool,
    pub(crate) utc_offset_s: Option<i32>,
    pub(crate) device_key: Option<u64>,
    /// Latitude and longitude of the first position, in degrees.
    pub(crate) first_position_deg: Option<(f64, f64)>,
    pub(crate) trace: Trace,
    /// What was said of it alone, beside what was said of its file.
    pub(crate) said: Vec<Said>,
    /// Files with a recording of the athlete that shares time with it.
    pub(crate) overlaps_file: Vec<String>,
    /// Whether another recording of the same time counts in its place.
    pub(crate) is_overlapped: bool,
    /// Whether the coach says that it counts for nothing.
    is_unused: bool,
    /// Whether the coach says which session of the plan it is.
    is_placed: bool,
    file: usize,
    pub(crate) fingerprint: Fingerprint,
}

/// What one input gave: its files and their sessions.
type FromInput = Vec<(FileRead, Vec<Recorded>)>;

/// Reads and measures every recording.
pub(crate) fn read(
    inputs: &Inputs,
    files: &SeasonFiles,
    configuration: &Configuration,
    watch: Watch<'_>,
) -> Result<Batch, Error> {
    let owner = Whose { all: inputs.name(), files };
    let reading = configuration.read_settings();
    let counter = Counter::new(watch, inputs.len());
    let read: Vec<FromInput> = (inputs.list().par_iter())
        .map(|input| {
            let found = read_one(input, &owner, &reading, configuration);
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
    batch.set_duplicates_apart(&configuration.settings.duplicates);
    batch.note_bytes_of_two_athletes();
    Ok(batch)
}

/// The digest of every file, as an audit would find it.
pub(crate) fn digests(
    inputs: &Inputs,
    configuration: &Configuration,
) -> Result<Vec<(String, Option<u128>)>, Error> {
    let reading = configuration.read_settings();
    on_workers(configuration, || {
        let read = |input: &Input| {
            let mut found = Vec::new();
            input.read(&reading, &mut |reading| found.push((reading.file, reading.content_hash)));
            found
        };
        Ok(inputs.list().par_iter().flat_map_iter(read).collect())
    })
}

/// Whose recordings are: as corrections say, else as the owners file says, else as the squad file says, else by the first folder.
struct Whose<'a> {
    /// The athlete of the recordings that lie in no folder of an athlete.
    all: &'a str,
    files: &'a SeasonFiles,
}

impl Whose<'_> {
    /// The athlete of a session of a file, or of a member of an archive, that lies in `input`; `None` for nobody.
    fn of(&self, input: &str, file: &str, session: usize) -> Option<String> {
        let squad = self.files.squad.as_ref();
        let by_hand = self.files.corrections.of_file(file, session).and_then(|said| said.athlete);
        if let Some(name) = by_hand {
            let known = squad.and_then(|squad| squad.athlete(&name));
            return Some(known.map_or(name, |athlete| athlete.name.clone()));
        }
        if let Some(owner) = self.files.owners.as_ref().and_then(|owners| owners.of(file, session)) {
            let name = owner.athlete.as_ref()?;
            let known = squad.and_then(|squad| squad.athlete(name));
            return Some(known.map_or_else(|| name.clone(), |athlete| athlete.name.clone()));
        }
        if let Some(athlete) = squad.and_then(|squad| squad.athlete_of(file)) {
            return Some(athlete.name.clone());
        }
        Some(match input.split_once('/') {
            Some((folder, _)) => folder.to_owned(),
            None => self.all.to_owned(),
        })
    }
}

fn read_one(
    input: &Input,
    whose: &Whose<'_>,
    settings: &ReadSettings,
    configuration: &Configuration,
) -> FromInput {
    let mut found = Vec::new();
    input.read(settings, &mut |reading| {
        found.push(take(reading, &input.name, whose, configuration));
    });
    found
}

fn take(
    mut reading: FileReading,
    input: &str,
    whose: &Whose<'_>,
    configuration: &Configuration,
) -> (FileRead, Vec<Recorded>) {
    let recordings = std::mem::take(&mut reading.recordings);
    let found = recordings.len();
    let foot = |recording: &&Recording| recording.sport != Sport::Cycling;
    let on_foot = recordings.iter().filter(foot).count();
    let mut sessions: Vec<Recorded> = (recordings.iter().filter(foot))
        .filter_map(|recording| {
            let athlete = whose.of(input, &reading.file, recording.session)?;
            let by_hand = whose.files.corrections.of_file(&reading.file, recording.session);
            Some(record(recording, &athlete, &reading.file, by_hand.as_ref(), configuration))
        })
        .collect();
    if let (Status::Partial, Some(last)) = (reading.status, sessions.last_mut()) {
        last.breaks_off = true;
    }
    // A file of nothing but rides is no recording of running or walking.
    let status = if found > 0 && on_foot == 0 { Status::Ignored } else { reading.status };
    let mut notes: Vec<Said> = reading.error.iter().map(Said::from).collect();
    notes.extend(reading.notes.into_iter().map(Said::from));
    if sessions.len() < on_foot {
        let count = on_foot - sessions.len();
        let text = format!("nobody's by the owners file: {count} of {on_foot} recordings count for nobody");
        notes.push(Said::of_file("nobody's", count as u64, text));
    }
    let file = FileRead {
        athlete: whose.of(input, &reading.file, 1),
        status,
        format: reading.format,
        sessions: found,
        points_kept: reading.points_kept,
        points_dropped: reading.points_dropped,
        notes,
        content_hash: reading.content_hash,
        file: reading.file,
    };
    (file, sessions)
}

fn record(
    recording: &Recording,
    athlete: &str,
    file: &str,
    by_hand: Option<&Correction>,
    configuration: &Configuration,
) -> Recorded {
    let mut segmentation = segment(recording, &configuration.settings.segmentation);
    if let Some((from_s, to_s)) = by_hand.and_then(Correction::part_s) {
        keep_part(&mut segmentation.bouts, from_s, to_s);
        segmentation.vehicles.retain(|ridden| ridden.end > from_s && ridden.start < to_s);
        segmentation.bounds = None;
    }
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
    let told = |text: &String| Said::of_session(recording.session as u64, "segmentation", text.clone());
    let mut said: Vec<Said> = segmentation.notes.iter().map(told).collect();
    let fault = heart_rate.as_ref().and_then(|heart_rate| heart_rate.fault);
    let faulty =
        |fault: SensorFault| Said::of_session(recording.session as u64, "sensor", fault.text().to_owned());
    said.extend(fault.map(faulty));
    let position = points.iter().find_map(|point| point.position);
    Recorded {
        name,
        session: measure(recording, &segmentation, &configuration.settings.measures),
        heart_rate,
        clock: recording.clock,
        breaks_off: false,
        utc_offset_s: recording.utc_offset_s,
        device_key: recording.device_key,
        first_position_deg: position.map(|place| (place.latitude_deg, place.longitude_deg)),
        trace,
        said,
        overlaps_file: Vec::new(),
        is_overlapped: false,
        is_unused: by_hand.is_some_and(Correction::is_unused),
        is_placed: by_hand.is_some_and(|said| said.place.is_some()),
        file: 0,
        fingerprint: Fingerprint::of(recording),
    }
}

impl Batch {
    /// Everybody who has a file or a session.
    pub(crate) fn athletes(&self) -> BTreeSet<&str> {
        let of_files = self.files.iter().filter_map(|file| file.athlete.as_deref());
        of_files.chain(self.sessions.iter().map(|recorded| recorded.name.athlete.as_str())).collect()
    }

    /// Takes out the sessions that another recording of the same athlete holds too.
    fn set_duplicates_apart(&mut self, settings: &DuplicateSettings) {
        let mut by_athlete: BTreeMap<String, Vec<usize>> = BTreeMap::new();
        // What counts for nothing, by hand, stands in nobody's way.
        for (index, recorded) in self.sessions.iter().enumerate().filter(|(_, recorded)| !recorded.is_unused)
        {
            by_athlete.entry(recorded.name.athlete.clone()).or_default().push(index);
        }
        let mut duplicate_of: Vec<Option<usize>> = vec![None; self.sessions.len()];
        let mut overlaps: Vec<Vec<usize>> = vec![Vec::new(); self.sessions.len()];
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
                let recorded = &mut self.sessions[index];
                for note in standing.notes {
                    recorded.session.notes.push(note.text.clone());
                    self.files[recorded.file].notes.push(Said::from(note).about(recorded.name.session));
                }
                overlaps[index] = standing.overlaps.into_iter().map(|other| own[other]).collect();
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
        self.set_overlapped_apart(&overlaps);
        let mut counts = duplicate_of.iter().map(Option::is_none);
        self.sessions.retain(|_| counts.next().unwrap_or(true));
    }

    /// Of recordings that share time the one whose place is told by hand counts, else the longest, then the first in the
    /// order of paths.
    fn set_overlapped_apart(&mut self, overlaps: &[Vec<usize>]) {
        let mut longest_first: Vec<usize> =
            (0..self.sessions.len()).filter(|&at| !overlaps[at].is_empty()).collect();
        let duration_s = |at: usize| self.sessions[at].session.duration_s;
        let is_placed = |at: usize| self.sessions[at].is_placed;
        longest_first.sort_by(|&a, &b| {
            is_placed(b).cmp(&is_placed(a)).then(duration_s(b).total_cmp(&duration_s(a))).then(a.cmp(&b))
        });
        let mut counted = vec![false; self.sessions.len()];
        for &at in &longest_first {
            counted[at] = !overlaps[at].iter().any(|&other| counted[other]);
        }
        for at in longest_first {
            let files = overlaps[at].iter().map(|&other| self.sessions[other].name.file.clone()).collect();
            self.sessions[at].overlaps_file = files;
            self.sessions[at].is_overlapped = !counted[at];
        }
    }

    fn note_bytes_of_two_athletes(&mut self) {
        let owned: Vec<OwnedFile<'_>> = self
            .files
            .iter()
            .filter(|file| file.sessions > 0)
            .filter_map(|file| {
                Some(OwnedFile {
                    athlete: file.athlete.as_deref()?,
                    file: &file.file,
                    content_hash: file.content_hash,
                })
            })
            .collect();
        let notes = note_same_bytes(&owned);
        let with_sessions = self.files.iter_mut().filter(|file| file.sessions > 0 && file.athlete.is_some());
        for (file, note) in with_sessions.zip(notes) {
            file.notes.extend(note.map(Said::from));
        }
    }
}

//! What a file gives, whoever's it is: its bytes and a few settings decide it and nothing else, so that it may be kept
//! from one run to the next ([`Cache`](crate::Cache)).

use std::ops::Range;

use boutwise_bouts::{MeasureSettings, SegmentSettings, Session, measure, segment};
use boutwise_report::Trace;
use boutwise_season::{Corrections, HeartRate, SensorFault, Zone, keep_part};
use boutwise_track::{
    Clock, ErrorKind, FileReading, Fingerprint, Format, ReadSettings, Recording, Sport, Status,
};
use postcard::take_from_bytes;
use serde::{Deserialize, Serialize};

use crate::rows::{moment, moment_in};
use crate::said::Said;
use crate::timings::{Laps, Stage};
use crate::{Configuration, Error};

/// All that decides what a file gives, beside its name, its bytes and the coach's word on what part of it counts.
#[derive(Debug)]
pub(crate) struct Measuring {
    pub(crate) reading: ReadSettings,
    segmentation: SegmentSettings,
    measures: MeasureSettings,
    with_pages: bool,
    hides_names: bool,
}

/// What one file gave.
#[derive(Serialize, Deserialize)]
pub(crate) struct MeasuredFile {
    pub(crate) name: String,
    pub(crate) status: Status,
    pub(crate) format: Option<Format>,
    pub(crate) content_hash: Option<u128>,
    /// All its sessions, those that are no runs or walks too.
    pub(crate) sessions_found: usize,
    pub(crate) points_kept: usize,
    pub(crate) points_dropped: usize,
    /// What was said of it.
    pub(crate) said: Vec<Said>,
    /// Its sessions on foot.
    pub(crate) sessions: Vec<MeasuredSession>,
    /// Whether a fault of this program ended its reading.
    pub(crate) is_own_fault: bool,
    /// Bytes of the pieces.
    length: usize,
    /// The pieces of its sessions, behind each other.
    #[serde(skip)]
    pub(crate) pieces: Vec<u8>,
}

/// What one session on foot gave. What takes room is a piece: put by, and taken up when it is needed.
#[derive(Serialize, Deserialize)]
pub(crate) struct MeasuredSession {
    /// Its number in the file, from 1.
    pub(crate) number: usize,
    pub(crate) start_ns: Option<i64>,
    pub(crate) duration_s: f64,
    pub(crate) points: u32,
    pub(crate) clock: Clock,
    pub(crate) device_key: Option<u64>,
    /// What the recording itself says of the time zone, in seconds east of UTC.
    pub(crate) utc_offset_s: Option<i32>,
    /// Whether its times have no zone, so that the one that the user names for its athlete is theirs.
    pub(crate) without_zone: bool,
    /// The first position, latitude and longitude in degrees.
    pub(crate) position_deg: Option<(f64, f64)>,
    /// What was said of it alone.
    pub(crate) said: Vec<Said>,
    /// Where its [`Fingerprint`] lies among the pieces.
    pub(crate) fingerprint: Range<usize>,
    /// Where it lies as [`Measured`].
    pub(crate) measured: Range<usize>,
}

/// What was measured of one session, without its points.
#[derive(Serialize, Deserialize)]
pub(crate) struct Measured {
    pub(crate) session: Session,
    /// Heart rate while running.
    pub(crate) heart_rate: Option<HeartRate>,
    /// Its file is named when it is taken up; empty where no page is asked for.
    pub(crate) trace: Trace,
}

impl Measuring {
    pub(crate) fn new(configuration: &Configuration) -> Self {
        Self {
            reading: configuration.read_settings(),
            segmentation: configuration.settings.segmentation,
            measures: configuration.settings.measures,
            with_pages: configuration.with_pages,
            hides_names: configuration.pseudonyms.is_some(),
        }
    }

    /// All of it in words, equal for what decides alike.
    pub(crate) fn words(&self) -> String {
        let reading = ReadSettings { at_once: Default::default(), ..self.reading.clone() };
        let Self { segmentation, measures, with_pages, hides_names, .. } = self;
        format!("{:?}", (reading, segmentation, measures, with_pages, hides_names))
    }

    /// Measures the sessions of a file.
    pub(crate) fn file(
        &self,
        mut reading: FileReading,
        corrections: &Corrections,
        laps: &mut Laps<'_>,
    ) -> Result<MeasuredFile, Error> {
        let recordings = std::mem::take(&mut reading.recordings);
        let (mut sessions, mut pieces) = (Vec::new(), Vec::new());
        for recording in recordings.iter().filter(|recording| recording.sport != Sport::Cycling) {
            let by_hand = corrections.of_file(&reading.file, recording.session);
            let part_s = by_hand.and_then(|said| said.part_s());
            sessions.push(self.session(recording, part_s, &mut pieces, laps)?);
        }
        // A file of nothing but rides is no recording of running or walking; what was found in it is told by its notes.
        let status = match recordings.is_empty() || !sessions.is_empty() {
            true => reading.status,
            false => Status::Ignored,
        };
        let is_own_fault = reading.error.as_ref().is_some_and(|error| error.kind() == ErrorKind::OwnFault);
        let error = reading.error.iter().map(|error| self.said_of(error));
        Ok(MeasuredFile {
            said: error.chain(reading.notes.into_iter().map(Said::from)).collect(),
            name: reading.file,
            status,
            format: reading.format,
            content_hash: reading.content_hash,
            sessions_found: recordings.len(),
            points_kept: reading.points_kept,
            points_dropped: reading.points_dropped,
            sessions,
            is_own_fault,
            length: pieces.len(),
            pieces,
        })
    }

    /// What kept a file from being read; which other folder it leads to is not told where names are not.
    fn said_of(&self, error: &boutwise_track::Error) -> Said {
        if error.kind() == ErrorKind::SecondWay && self.hides_names {
            let text = "a second way to a folder whose files are listed already";
            return Said::of_file(error.kind().word(), 1, text.to_owned());
        }
        Said::from(error)
    }

    /// Measures a session, of which the coach may say that only a part counts.
    fn session(
        &self,
        recording: &Recording,
        part_s: Option<(f64, f64)>,
        pieces: &mut Vec<u8>,
        laps: &mut Laps<'_>,
    ) -> Result<MeasuredSession, Error> {
        let mut segmentation = segment(recording, &self.segmentation);
        laps.end(Stage::TellApart);
        if let Some((from_s, to_s)) = part_s {
            keep_part(&mut segmentation.bouts, from_s, to_s);
            segmentation.vehicles.retain(|ridden| ridden.end > from_s && ridden.start < to_s);
            // What was certain of the whole is not of a part.
            segmentation.bounds = None;
        }
        let number = recording.session as u64;
        let mut trace = Trace::new(String::new(), number, recording.duration_s());
        if self.with_pages {
            let series = &segmentation.series;
            let times_s: Vec<f64> = (0..series.len()).map(|index| series.start_s(index)).collect();
            let columns = [&series.speed_m_per_s, &series.heart_rate_bpm, &series.cadence_spm];
            let thinned = trace.thin_all(&times_s, columns.map(Vec::as_slice));
            [trace.speed_m_per_s, trace.heart_rate_bpm, trace.cadence_spm] = thinned;
        }
        let points = &recording.points;
        let start_ns = points.time_ns().first().copied().unwrap_or(0);
        let times_s: Vec<f64> =
            points.time_ns().iter().map(|time_ns| (time_ns - start_ns) as f64 * 1e-9).collect();
        let heart_rate =
            HeartRate::measure(&times_s, points.heart_rate_bpm(), points.cadence_spm(), &segmentation.bouts);
        let told = |text: &String| Said::of_session(number, "segmentation", text.clone());
        let mut said: Vec<Said> = segmentation.notes.iter().map(told).collect();
        let fault = heart_rate.as_ref().and_then(|heart_rate| heart_rate.fault);
        let faulty = |fault: SensorFault| Said::of_session(number, "sensor", fault.text().to_owned());
        said.extend(fault.map(faulty));
        let mut session = measure(recording, &segmentation, &self.measures);
        if heart_rate.as_ref().is_some_and(|heart_rate| !heart_rate.is_believed()) {
            (session.heart_rate_fall_60s_bpm, session.speed_per_beat_loss_pct) = (None, None);
        }
        let position = points.iter().find_map(|point| point.position);
        let fingerprint = Fingerprint::of(recording);
        laps.end(Stage::Measure);
        let measured = MeasuredSession {
            number: recording.session,
            start_ns: session.start_ns,
            duration_s: session.duration_s,
            points: u32::try_from(points.len()).unwrap_or(u32::MAX),
            clock: recording.clock,
            device_key: recording.device_key,
            utc_offset_s: recording.utc_offset_s,
            without_zone: recording.without_zone,
            position_deg: position.map(|place| (place.latitude_deg, place.longitude_deg)),
            said,
            fingerprint: append(pieces, &fingerprint)?,
            measured: append(pieces, &Measured { session, heart_rate, trace })?,
        };
        laps.end(Stage::PutBy);
        Ok(measured)
    }
}

impl MeasuredFile {
    /// Puts the sessions whose times have no zone into the one that the user names for each of them, by its number. What is
    /// kept in a cache is the same for all zones.
    pub(crate) fn put_into_zones<'z>(
        &mut self,
        zone_of: impl Fn(&Self, usize) -> Option<&'z Zone>,
    ) -> Result<(), Error> {
        for index in 0..self.sessions.len() {
            let MeasuredSession { number, start_ns, without_zone, ref fingerprint, .. } =
                self.sessions[index];
            let zone = if without_zone { zone_of(self, number) } else { None };
            let Some((start_ns, zone)) = start_ns.zip(zone) else { continue };
            let start = moment_in(start_ns, without_zone, Some(zone));
            let moved_s = (start - moment(start_ns)).num_seconds();
            let fingerprint: Fingerprint = postcard::from_bytes(&self.pieces[fingerprint.clone()])
                .map_err(|error| Error::spill(std::io::Error::other(error)))?;
            let fingerprint = append(&mut self.pieces, &fingerprint.moved_by(moved_s))?;
            let session = &mut self.sessions[index];
            (session.start_ns, session.fingerprint) = (start.timestamp_nanos_opt(), fingerprint);
        }
        Ok(())
    }

    /// Writes it behind others.
    pub(crate) fn append_to(&self, bytes: &mut Vec<u8>) -> Result<(), Error> {
        append(bytes, self)?;
        bytes.extend_from_slice(&self.pieces);
        Ok(())
    }

    /// Those that were written behind each other; `None` where the bytes are something else.
    pub(crate) fn all(mut bytes: &[u8]) -> Option<Vec<Self>> {
        let mut files = Vec::new();
        while !bytes.is_empty() {
            let (mut file, rest): (Self, _) = take_from_bytes(bytes).ok()?;
            let (pieces, rest) = rest.split_at_checked(file.length)?;
            file.pieces = pieces.to_vec();
            let is_there = |place: &Range<usize>| pieces.get(place.clone()).is_some();
            if !file.sessions.iter().all(|own| is_there(&own.fingerprint) && is_there(&own.measured)) {
                return None;
            }
            files.push(file);
            bytes = rest;
        }
        Some(files)
    }
}

fn append(bytes: &mut Vec<u8>, value: &impl Serialize) -> Result<Range<usize>, Error> {
    let start = bytes.len();
    let written = postcard::to_extend(value, std::mem::take(bytes));
    *bytes = written.map_err(|error| Error::spill(std::io::Error::other(error)))?;
    Ok(start..bytes.len())
}

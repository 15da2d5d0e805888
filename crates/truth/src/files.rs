//! Sessions as files: GPX and TCX as devices write them.

mod gpx_file;
mod tcx_file;
mod xml;

use std::io::Write;

use chrono::{DateTime, FixedOffset, SecondsFormat};
use flate2::Compression;
use flate2::write::GzEncoder;

use crate::{Random, SyntheticSession};

/// Which format.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FileFormat {
    /// GPX 1.1 with heart rate and cadence in TrackPointExtension v1.
    Gpx,
    /// GPX 1.1 without sensors, as a phone writes it.
    PlainGpx,
    /// TCX v2 with speed and cadence in ActivityExtension v2.
    Tcx,
}

/// How times are written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TimeStyle {
    /// `2026-03-02T07:30:00Z`
    Utc,
    /// `2026-03-02T07:30:00.000Z`
    UtcMilliseconds,
    /// `2026-03-02T08:30:00+01:00`, with the offset in seconds east.
    Offset(i32),
}

impl TimeStyle {
    fn text(self, time_ns: i64) -> String {
        let utc = DateTime::from_timestamp_nanos(time_ns);
        match self {
            Self::Utc => utc.to_rfc3339_opts(SecondsFormat::Secs, true),
            Self::UtcMilliseconds => utc.to_rfc3339_opts(SecondsFormat::Millis, true),
            Self::Offset(offset_s) => match FixedOffset::east_opt(offset_s) {
                Some(offset) => utc.with_timezone(&offset).to_rfc3339_opts(SecondsFormat::Secs, false),
                None => utc.to_rfc3339_opts(SecondsFormat::Secs, true),
            },
        }
    }
}

/// How a session is written to a file.
#[derive(Clone, Debug, PartialEq)]
pub struct FileSettings {
    /// Which format.
    pub format: FileFormat,
    /// Whether the file is compressed with gzip.
    pub gzip: bool,
    /// How times are written.
    pub times: TimeStyle,
    /// Points after which a new segment (GPX) or track (TCX) begins although nothing is missing; none if `None`.
    pub split_every: Option<usize>,
    /// Share of the points whose sensors are left out.
    pub sensor_missing_share: f64,
}

impl Default for FileSettings {
    /// Plain GPX text with sensors, one segment, nothing odd.
    fn default() -> Self {
        Self {
            format: FileFormat::Gpx,
            gzip: false,
            times: TimeStyle::Utc,
            split_every: None,
            sensor_missing_share: 0.0,
        }
    }
}

/// One point as the device writes it.
struct Written {
    time: String,
    position: Option<(String, String)>,
    elevation: Option<String>,
    heart_rate: Option<String>,
    cadence: Option<String>,
    distance_m: f64,
    speed_m_per_s: f64,
    /// The device paused: it says nothing of the way.
    paused: bool,
    /// A new segment begins here.
    begins_segment: bool,
}

/// The session's points in the device's own units and decimals.
fn written(session: &SyntheticSession, settings: &FileSettings, random: &mut Random) -> Vec<Written> {
    let device = session.device;
    let decimals = device.coordinate_decimals;
    let has_cadence = session.recording.points.cadence_spm().iter().any(|cadence| !cadence.is_nan());
    let points = session.recording.points.iter().enumerate();
    let lines = points.map(|(index, point)| {
        let marked = session.recording.marks.iter().any(|mark| mark.index == index);
        let split = settings.split_every.is_some_and(|every| index > 0 && index % every.max(1) == 0);
        let silent = settings.sensor_missing_share > 0.0 && random.chance(settings.sensor_missing_share);
        let counted = |both_spm: f64| if device.cadence_per_leg { 0.5 * both_spm } else { both_spm };
        let dropout = (has_cadence && device.dropout_as_zero).then(|| "0".to_owned());
        let cadence = point.cadence_spm.map(|spm| format!("{:.0}", counted(spm))).or(dropout);
        Written {
            time: settings.times.text(point.time_ns.unwrap_or(0)),
            position: point.position.map(|position| {
                (
                    format!("{:.decimals$}", position.latitude_deg),
                    format!("{:.decimals$}", position.longitude_deg),
                )
            }),
            elevation: point.elevation_m.map(|elevation_m| format!("{elevation_m:.1}")),
            heart_rate: point.heart_rate_bpm.filter(|_| !silent).map(|bpm| format!("{bpm:.0}")),
            cadence: cadence.filter(|_| !silent),
            distance_m: session.odometer_m[index],
            speed_m_per_s: session.speedometer_m_per_s[index],
            paused: point.position.is_none() && point.elevation_m.is_none() && point.distance_m.is_none(),
            begins_segment: index > 0 && (marked || split),
        }
    });
    lines.collect()
}

/// The bytes of the file that a device would write of this session.
///
/// Points without a position are left out of GPX, which has no place for them; `random` decides which sensors are missing.
///
/// # Errors
/// Where the GPX library refuses the track or a buffer cannot be written; neither happens with drawn sessions.
pub fn file_bytes(
    session: &SyntheticSession,
    settings: &FileSettings,
    random: &mut Random,
) -> std::io::Result<Vec<u8>> {
    let text = match settings.format {
        FileFormat::Gpx => gpx_file::with_sensors(&written(session, settings, random))?,
        FileFormat::PlainGpx => gpx_file::plain(session, settings)?,
        FileFormat::Tcx => tcx_file::bytes(&written(session, settings, random))?,
    };
    if !settings.gzip {
        return Ok(text);
    }
    let mut encoder = GzEncoder::new(Vec::with_capacity(text.len() / 8), Compression::fast());
    encoder.write_all(&text)?;
    encoder.finish()
}

#[cfg(test)]
mod tests {
    use std::io::Read;

    use flate2::read::GzDecoder;
    use quick_xml::events::Event;

    use super::*;
    use crate::{Sensors, SessionSettings, Tier};

    const ALL_SENSORS: Sensors = Sensors { position: true, cadence: true, heart_rate: true };

    fn session(seed: u64, sensors: Sensors) -> SyntheticSession {
        SyntheticSession::draw(seed, &SessionSettings::of(Tier::Hard).with_sensors(sensors))
    }

    fn bytes(session: &SyntheticSession, settings: &FileSettings) -> Vec<u8> {
        file_bytes(session, settings, &mut Random::new(1)).unwrap()
    }

    /// Texts of all elements with this local name.
    fn texts(xml: &[u8], name: &str) -> Vec<String> {
        let mut reader = quick_xml::Reader::from_reader(xml);
        let mut found = Vec::new();
        let mut inside = false;
        loop {
            match reader.read_event().unwrap() {
                Event::Start(start) => inside = start.local_name().as_ref() == name,
                Event::Text(text) if inside => found.push(text.xml10_content().into_owned()),
                Event::End(_) => inside = false,
                Event::Eof => return found,
                _ => {}
            }
        }
    }

    #[test]
    fn both_gpx_writers_give_what_the_gpx_library_reads_back() {
        // Outside check: the gpx crate as reader.
        for format in [FileFormat::Gpx, FileFormat::PlainGpx] {
            let session = session(5, ALL_SENSORS);
            let settings = FileSettings { format, split_every: Some(100), ..Default::default() };
            let read = gpx::read(bytes(&session, &settings).as_slice()).unwrap();
            assert_eq!(read.tracks.len(), 1);
            let segments = &read.tracks[0].segments;
            assert!(segments.len() > session.recording.points.len() / 100);
            let waypoints: Vec<_> = segments.iter().flat_map(|segment| &segment.points).collect();
            assert_eq!(waypoints.len(), session.recording.points.len());
            for (waypoint, point) in waypoints.iter().zip(session.recording.points.iter()) {
                let position = point.position.unwrap();
                assert!((waypoint.point().y() - position.latitude_deg).abs() < 1e-9);
                assert!((waypoint.point().x() - position.longitude_deg).abs() < 1e-9);
                let time: time::OffsetDateTime = waypoint.time.unwrap().into();
                assert_eq!(time.unix_timestamp_nanos(), i128::from(point.time_ns.unwrap()));
                assert_eq!(waypoint.elevation, point.elevation_m);
            }
        }
    }

    #[test]
    fn cadence_is_written_as_the_device_counts() {
        for seed in 0..6 {
            let session = session(seed, ALL_SENSORS);
            for (format, element) in [(FileFormat::Gpx, "cad"), (FileFormat::Tcx, "RunCadence")] {
                let file = bytes(&session, &FileSettings { format, ..Default::default() });
                let written: Vec<f64> = texts(&file, element).iter().map(|t| t.parse().unwrap()).collect();
                let factor = if session.device.cadence_per_leg { 2.0 } else { 1.0 };
                let known: Vec<f64> = session.recording.points.iter().filter_map(|p| p.cadence_spm).collect();
                let moving = |values: Vec<f64>| values.into_iter().filter(|v| *v > 0.0).collect::<Vec<_>>();
                assert_eq!(moving(written.iter().map(|w| w * factor).collect()), moving(known.clone()));
                let all = session.device.dropout_as_zero;
                assert_eq!(written.len(), if all { session.recording.points.len() } else { known.len() });
            }
        }
    }

    #[test]
    fn tcx_has_every_point_once_and_an_odometer_that_never_runs_back() {
        let session = session(9, ALL_SENSORS);
        let file = bytes(&session, &FileSettings { format: FileFormat::Tcx, ..Default::default() });
        assert_eq!(texts(&file, "Time").len(), session.recording.points.len());
        assert_eq!(texts(&file, "LatitudeDegrees").len(), session.recording.points.len());
        assert!(session.odometer_m.windows(2).all(|pair| pair[1] >= pair[0]));
        assert!(texts(&file, "TotalTimeSeconds").len() > 1, "a lap a kilometre");
    }

    #[test]
    fn a_paused_device_writes_no_way_into_tcx() {
        let mut settings = SessionSettings::as_recorded();
        if let Some(recorded) = &mut settings.as_recorded {
            (recorded.auto_pause_share, recorded.pause_points_share) = (1.0, 1.0);
        }
        let paused = (0..5).map(|seed| {
            let session = SyntheticSession::draw(seed, &settings);
            let file = bytes(&session, &FileSettings { format: FileFormat::Tcx, ..Default::default() });
            let count = |element: &str| texts(&file, element).len();
            assert_eq!(count("Time"), session.recording.points.len());
            assert_eq!(count("Speed"), count("LatitudeDegrees"));
            assert_eq!(count("AltitudeMeters"), count("LatitudeDegrees"));
            count("Time") - count("Speed")
        });
        assert!(paused.sum::<usize>() > 10);
    }

    #[test]
    fn without_positions_tcx_still_tells_the_distance() {
        let indoors = Sensors { position: false, cadence: true, heart_rate: true };
        let session = session(9, indoors);
        let file = bytes(&session, &FileSettings { format: FileFormat::Tcx, ..Default::default() });
        assert!(texts(&file, "LatitudeDegrees").is_empty());
        assert_eq!(texts(&file, "Speed").len(), session.recording.points.len());
    }

    #[test]
    fn gzip_holds_the_same_text() {
        let session = session(2, ALL_SENSORS);
        let plain = bytes(&session, &FileSettings::default());
        let packed = bytes(&session, &FileSettings { gzip: true, ..Default::default() });
        let mut unpacked = Vec::new();
        GzDecoder::new(packed.as_slice()).read_to_end(&mut unpacked).unwrap();
        assert_eq!(unpacked, plain);
        assert!(packed.len() * 5 < plain.len());
    }

    #[test]
    fn times_are_written_in_each_style() {
        let time_ns = 1_772_436_600_000_000_000;
        assert_eq!(TimeStyle::Utc.text(time_ns), "2026-03-02T07:30:00Z");
        assert_eq!(TimeStyle::UtcMilliseconds.text(time_ns), "2026-03-02T07:30:00.000Z");
        assert_eq!(TimeStyle::Offset(3600).text(time_ns), "2026-03-02T08:30:00+01:00");
    }
}

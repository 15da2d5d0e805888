//! What is written comes back: files through the project's own reader, plans through its own parser.

use std::io::Read;

use boutwise_season::Plan;
use boutwise_track::{ReadSettings, Recording, read_text};
use boutwise_truth::files::{FileFormat, FileSettings, TimeStyle, file_bytes};
use boutwise_truth::squad::{BeginnersPlan, FileState, Rhythm, SquadFile, demo_files, demo_squad};
use boutwise_truth::{Random, Sensors, SessionSettings, Simulator, SyntheticSession, Tier};
use chrono::NaiveDate;
use flate2::read::GzDecoder;

const ALL_SENSORS: Sensors = Sensors { position: true, cadence: true, heart_rate: true };

fn read_back(session: &SyntheticSession, settings: &FileSettings) -> Recording {
    let bytes = file_bytes(session, settings, &mut Random::new(3)).expect("sessions can be written");
    let mut reading = read_text(&bytes, &ReadSettings::default()).expect("what was written can be read");
    assert_eq!(reading.recordings.len(), 1);
    assert!(!reading.partial);
    reading.recordings.remove(0)
}

/// Share of the points at which two columns differ, a missing value on one side included.
fn unlike(a: &[f64], b: &[f64]) -> f64 {
    assert_eq!(a.len(), b.len());
    let same = |(x, y): (&f64, &f64)| (x.is_nan() && y.is_nan()) || (x - y).abs() < 1e-9;
    a.iter().zip(b).filter(|&pair| !same(pair)).count() as f64 / a.len() as f64
}

#[test]
fn a_written_session_is_read_back_point_by_point_in_both_formats() {
    for tier in [Tier::Easy, Tier::Medium] {
        for simulator in [Simulator::First, Simulator::Second] {
            let drawn = SessionSettings::of(tier).with_sensors(ALL_SENSORS).with_simulator(simulator);
            for seed in 0..10 {
                let session = SyntheticSession::draw(seed, &drawn);
                for format in [FileFormat::Gpx, FileFormat::Tcx] {
                    for times in [TimeStyle::Utc, TimeStyle::UtcMilliseconds, TimeStyle::Offset(7200)] {
                        let settings = FileSettings { format, times, ..Default::default() };
                        let (known, read) =
                            (&session.recording.points, read_back(&session, &settings).points);
                        assert_eq!(known.time_ns(), read.time_ns());
                        assert_eq!(unlike(known.latitude_deg(), read.latitude_deg()), 0.0);
                        assert_eq!(unlike(known.longitude_deg(), read.longitude_deg()), 0.0);
                        assert_eq!(unlike(known.elevation_m(), read.elevation_m()), 0.0);
                        assert_eq!(unlike(known.heart_rate_bpm(), read.heart_rate_bpm()), 0.0);
                        // A counter that writes 0 in dropouts and while standing leaves some of them open to judgement.
                        let cadence = unlike(known.cadence_spm(), read.cadence_spm());
                        assert!(cadence < 0.03, "{tier:?} {simulator:?} {seed} {format:?}: {cadence}");
                    }
                }
            }
        }
    }
}

#[test]
fn an_indoor_session_is_read_back_with_its_distance() {
    let indoors = Sensors { position: false, ..ALL_SENSORS };
    let session = SyntheticSession::draw(4, &SessionSettings::of(Tier::Easy).with_sensors(indoors));
    let read = read_back(&session, &FileSettings { format: FileFormat::Tcx, ..Default::default() }).points;
    assert_eq!(unlike(session.recording.points.distance_m(), read.distance_m()), 0.0);
    assert!(read.latitude_deg().iter().all(|latitude_deg| latitude_deg.is_nan()));
}

#[test]
fn the_plan_file_says_what_the_plan_says() {
    let start = NaiveDate::from_ymd_opt(2026, 3, 3).expect("a day of the calendar");
    for rhythm in [Rhythm::TuesdayThursdaySunday, Rhythm::EveryDays(2), Rhythm::Undated] {
        let plan = BeginnersPlan { rhythm, ..BeginnersPlan::harbour() };
        let parsed = Plan::parse(&plan.toml(), "plan.toml").expect("the plan file can be read");
        assert_eq!(parsed.title, plan.title);
        let dated = rhythm != Rhythm::Undated;
        let dates: Vec<_> =
            (0..plan.sessions().len()).map(|index| dated.then(|| plan.date(start, index))).collect();
        assert_eq!(parsed.dates(start), dates);
        for (ours, theirs) in plan.blocks.iter().zip(&parsed.blocks) {
            assert_eq!(theirs.session.intervals, ours.intervals());
        }
    }
}

fn text(file: &SquadFile) -> Vec<u8> {
    if !file.path.ends_with(".gz") {
        return file.bytes.clone();
    }
    let mut text = Vec::new();
    GzDecoder::new(file.bytes.as_slice()).read_to_end(&mut text).expect("gzip can be unpacked");
    text
}

#[test]
fn every_recording_of_the_demo_is_read_as_its_truth_says() {
    let squad = demo_squad();
    for held in squad.recorded().expect("the demo can be written") {
        let outing = &squad.athletes[held.athlete].outings[held.outing];
        let end_s = held.truth.last().expect("somebody was out").end_s;
        for file in &held.files {
            let reading = read_text(&text(file), &ReadSettings::default()).expect("a recording");
            assert_eq!(reading.recordings.len(), 1, "{}", file.path);
            let read_s = reading.recordings[0].duration_s();
            match outing.state {
                FileState::CutAfterPercent(_) => {
                    assert!(reading.partial && read_s < 0.9 * end_s, "{}", file.path);
                }
                // A phone without a position at the very end loses those seconds: GPX has no place for them.
                _ => assert!(
                    !reading.partial && (read_s - end_s).abs() < 70.0,
                    "{}: {read_s} {end_s}",
                    file.path
                ),
            }
        }
    }
}

#[test]
fn the_demo_holds_files_that_are_no_recordings() {
    let files = demo_files().expect("the demo can be written");
    let read = |name: &str| {
        let file = files.iter().find(|file| file.path == name).expect("it is part of the demo");
        read_text(&file.bytes, &ReadSettings::default()).expect_err("no recording")
    };
    assert!(read("recordings/Ilka/way-home.gpx").is_no_recording());
    read("recordings/Ilka/shopping.txt");
}

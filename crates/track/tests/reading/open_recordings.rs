//! The open recordings: counts and lengths as published beside them. They lie outside the project: in the folder that
//! BOUTWISE_OPEN_DATA names, else in `../shared/data` beside the checkout.

use std::io::{Read, Write};
use std::path::PathBuf;

use approx::assert_relative_eq;
use boutwise_track::{Position, ReadSettings, Reading, read_text, step_m};
use geographiclib_rs::{Geodesic, InverseGeodesic};

/// A file of the open data, unpacked; `None`, said loudly, where the data are absent.
pub(crate) fn open_data(name: &str) -> Option<Vec<u8>> {
    let beside = || PathBuf::from(concat!(env!("CARGO_MANIFEST_DIR"), "/../../../shared/data"));
    let folder = std::env::var_os("BOUTWISE_OPEN_DATA").map_or_else(beside, PathBuf::from);
    let Ok(bytes) = std::fs::read(folder.join(name)) else {
        // Past the test harness, which keeps what passing tests print to itself.
        let _ = writeln!(
            std::io::stderr(),
            "SKIPPED: {name} is not in {}; set BOUTWISE_OPEN_DATA to check it",
            folder.display()
        );
        return None;
    };
    if !name.ends_with(".gz") {
        return Some(bytes);
    }
    let mut text = Vec::new();
    flate2::read::MultiGzDecoder::new(bytes.as_slice())
        .read_to_end(&mut text)
        .expect("the open data are whole");
    Some(text)
}

pub(crate) const RECORDINGS: [&str; 4] =
    ["runwalk-3-1.gpx.gz", "runwalk-3-1.tcx.gz", "steady-slow-10k.gpx.gz", "slow-jog.gpx.gz"];

fn reading(name: &str) -> Option<Reading> {
    open_data(name).map(|text| read_text(&text, &ReadSettings::default()).expect(name))
}

fn positions(reading: &Reading) -> Vec<Position> {
    reading.recordings[0].points.iter().filter_map(|point| point.position).collect()
}

#[test]
fn counts_durations_and_lengths_are_those_published_beside_the_recordings() {
    let published = [
        (2177, 2177, 10286.0, 23723.44),
        (2209, 2177, 10286.0, 23723.44),
        (3924, 3924, 3923.0, 10004.80),
        (988, 988, 5498.0, 12821.72),
    ];
    for (name, (points, with_position, duration_s, length_m)) in RECORDINGS.into_iter().zip(published) {
        let Some(reading) = reading(name) else { continue };
        for note in &reading.notes {
            eprintln!("{name}: {}", note.text);
        }
        assert!(!reading.partial, "{name}");
        assert_eq!(reading.recordings.len(), 1, "{name}");
        let recording = &reading.recordings[0];
        assert_eq!(recording.points.len(), points, "{name}");
        assert_eq!(reading.points_dropped, 0, "{name}");
        assert_eq!(positions(&reading).len(), with_position, "{name}");
        assert_eq!(recording.duration_s(), duration_s, "{name}");
        let found_m = recording.distance_m().expect("positions");
        assert!((found_m - length_m).abs() <= 0.005, "{name}: {found_m} m, published {length_m} m");
    }
}

/// Reference: geographiclib-rs, summed over the same positions.
#[test]
fn distances_are_within_1e_8_of_the_geodesic_sum() {
    for name in RECORDINGS {
        let Some(reading) = reading(name) else { continue };
        let geodesic = Geodesic::wgs84();
        let expected_m: f64 = positions(&reading)
            .windows(2)
            .map(|pair| -> f64 {
                let (a, b) = (pair[0], pair[1]);
                geodesic.inverse(a.latitude_deg, a.longitude_deg, b.latitude_deg, b.longitude_deg)
            })
            .sum();
        let found_m = reading.recordings[0].distance_m().expect("positions");
        eprintln!("{name}: relative difference {:e}", found_m / expected_m - 1.0);
        assert_relative_eq!(found_m, expected_m, max_relative = 1e-8);
    }
}

/// Reference: GeodTest, 100 geodesics of every kind, near-antipodal ones among them.
#[test]
fn long_steps_are_the_geodesics_of_geodtest() {
    let Some(text) = open_data("GeodTest-100.dat") else { return };
    let text = String::from_utf8(text).expect("digits");
    for line in text.lines() {
        let numbers: Vec<f64> = line.split_whitespace().map(|word| word.parse().expect("a number")).collect();
        let at = |latitude_deg, longitude_deg| Position { latitude_deg, longitude_deg };
        let found_m = step_m(at(numbers[0], numbers[1]), at(numbers[3], numbers[4]));
        assert!((found_m - numbers[6]).abs() < 1e-6, "{line}: {found_m}");
    }
}

#[test]
fn gpx_and_tcx_of_one_session_give_the_same_points() {
    let (Some(gpx), Some(tcx)) = (reading("runwalk-3-1.gpx.gz"), reading("runwalk-3-1.tcx.gz")) else {
        return;
    };
    let with_position = |reading: &Reading| -> Vec<_> {
        reading.recordings[0].points.iter().filter(|point| point.position.is_some()).collect()
    };
    let (gpx, tcx) = (with_position(&gpx), with_position(&tcx));
    assert_eq!(gpx.len(), tcx.len());
    for (gpx, tcx) in gpx.iter().zip(&tcx) {
        assert_eq!(gpx.time_ns, tcx.time_ns);
        assert_eq!(gpx.heart_rate_bpm, tcx.heart_rate_bpm);
        assert_eq!(gpx.cadence_spm, tcx.cadence_spm);
        let (gpx, tcx) = (gpx.position.expect("filtered"), tcx.position.expect("filtered"));
        assert!(step_m(gpx, tcx) < 1e-6);
    }
}

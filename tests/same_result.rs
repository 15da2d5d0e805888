//! The same recordings give the same bytes, whatever the number of threads; and what does not change a session
//! does not change its result: another time, another format, a segment boundary.

use std::fs;
use std::path::Path;

use boutwise_truth::files::{FileFormat, FileSettings, file_bytes};
use boutwise_truth::{Random, Sensors, SessionSettings, SyntheticSession, Tier};

use crate::command::{Row, audit, between, boutwise};

fn bytes_of(out: &Path) -> Vec<(String, Vec<u8>)> {
    let mut files: Vec<(String, Vec<u8>)> = fs::read_dir(out)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.is_file())
        .map(|path| (path.file_name().unwrap().to_string_lossy().into_owned(), fs::read(&path).unwrap()))
        .collect();
    files.sort();
    files
}

#[test]
fn every_number_of_threads_gives_the_same_bytes() {
    let scratch = tempfile::tempdir().unwrap();
    let demo = scratch.path().join("demo");
    assert_eq!(boutwise(["demo".as_ref(), demo.as_os_str()]).status, 0);
    let squad = demo.join("squad.csv");
    let mut results = Vec::new();
    for threads in ["1", "2", "4", "16"] {
        let out = scratch.path().join(threads);
        let named = ["--squad", squad.to_str().unwrap(), "--threads", threads, "--format", "csv,parquet"];
        audit(&demo.join("recordings"), &out, &named);
        results.push(bytes_of(&out));
    }
    // Nine tables in two formats, two pages, codebook and manifest.
    assert_eq!(results[0].len(), 22);
    assert!(results.iter().all(|result| *result == results[0]));
}

#[test]
fn what_a_result_was_made_from_has_one_digest() {
    let scratch = tempfile::tempdir().unwrap();
    fs::create_dir(scratch.path().join("run")).unwrap();
    written(&scratch.path().join("run"), "a.gpx", &sessions()[0], &FileSettings::default());
    let made_from = |name: &str, further: &[&str]| {
        let out = scratch.path().join(name);
        audit(&scratch.path().join("run"), &out, further);
        let manifest = fs::read_to_string(out.join("manifest.json")).unwrap();
        between(&manifest, "\"made_from\": \"", "\"").to_owned()
    };
    let plain = made_from("plain", &["--no-report"]);
    assert_eq!(plain.len(), 32);
    assert_eq!(plain, made_from("formats", &["--format", "csv,parquet", "--threads", "1"]));
    assert_ne!(plain, made_from("zone", &["--no-report", "--time-zone", "Asia/Tokyo"]));
    written(&scratch.path().join("run"), "b.gpx", &sessions()[1], &FileSettings::default());
    assert_ne!(plain, made_from("more", &["--no-report"]));
}

/// The bouts that the command finds in a recording, without the columns that name the file and the moment.
fn bouts(path: &Path) -> Vec<Row> {
    let ran = boutwise(["bouts".as_ref(), "--csv".as_ref(), path.as_os_str()]);
    assert_eq!(ran.status, 0, "{}", ran.stderr);
    let mut rows = crate::command::rows(ran.stdout.as_bytes());
    for row in &mut rows {
        for column in ["athlete", "file", "start_utc"] {
            row.remove(column);
        }
    }
    rows
}

fn written(
    folder: &Path,
    name: &str,
    session: &SyntheticSession,
    settings: &FileSettings,
) -> std::path::PathBuf {
    let path = folder.join(name);
    fs::write(&path, file_bytes(session, settings, &mut Random::new(1)).unwrap()).unwrap();
    path
}

/// Sessions with and without sensors, of every tier.
fn sessions() -> Vec<SyntheticSession> {
    let tiers = [Tier::Easy, Tier::Medium, Tier::Hard];
    let draw = |(n, tier): (u64, Tier)| {
        let sensors = if n % 2 == 0 { Sensors::WITH_CADENCE } else { Sensors::SPEED_ONLY };
        SyntheticSession::draw(500 + n, &SessionSettings::of(tier).with_sensors(sensors))
    };
    (0..6).zip(tiers.into_iter().cycle()).map(draw).collect()
}

#[test]
fn a_session_is_the_same_in_segments_and_compressed() {
    let scratch = tempfile::tempdir().unwrap();
    for session in sessions() {
        let plain = FileSettings::default();
        let whole = bouts(&written(scratch.path(), "whole.gpx", &session, &plain));
        let split = FileSettings { split_every: Some(97), ..plain.clone() };
        assert_eq!(whole, bouts(&written(scratch.path(), "split.gpx", &session, &split)));
        let packed = FileSettings { gzip: true, ..plain };
        assert_eq!(whole, bouts(&written(scratch.path(), "packed.gpx.gz", &session, &packed)));
    }
}

#[test]
fn a_session_is_the_same_at_another_time() {
    let scratch = tempfile::tempdir().unwrap();
    for session in sessions() {
        let now = written(scratch.path(), "now.gpx", &session, &FileSettings::default());
        let text = fs::read_to_string(&now).unwrap();
        let year = text.split("<time>").nth(1).unwrap()[..4].to_owned();
        let later = scratch.path().join("later.gpx");
        fs::write(&later, text.replace(&format!("<time>{year}-"), "<time>2019-")).unwrap();
        assert_eq!(bouts(&now), bouts(&later));
    }
}

#[test]
fn a_session_is_the_same_as_gpx_and_as_tcx() {
    let scratch = tempfile::tempdir().unwrap();
    for session in sessions() {
        let gpx = FileSettings::default();
        let tcx = FileSettings { format: FileFormat::Tcx, ..gpx.clone() };
        let gpx = bouts(&written(scratch.path(), "a.gpx", &session, &gpx));
        let tcx = bouts(&written(scratch.path(), "a.tcx", &session, &tcx));
        assert_eq!(gpx, tcx);
    }
}

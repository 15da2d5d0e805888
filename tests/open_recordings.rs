//! The main job on recordings that nobody here made, against references that come from cadence alone.
//!
//! The recordings lie outside the project: in the folder that the variable `BOUTWISE_OPEN_DATA` names, else in
//! `../shared/data` beside the checkout. Their README says where they come from (open repositories, MIT licence) and
//! how the references were made.

use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};

use boutwise_track::{ReadSettings, read_path};
use geographiclib_rs::{Geodesic, InverseGeodesic};

use crate::command::{Row, audit, boutwise, number, rows, table};

/// A stretch of the reference or of the result.
struct Stretch {
    kind: String,
    start_s: f64,
    end_s: f64,
}

fn open_data(name: &str) -> Option<PathBuf> {
    let beside = || Path::new(env!("CARGO_MANIFEST_DIR")).join("../../../shared/data");
    let path = std::env::var_os("BOUTWISE_OPEN_DATA").map_or_else(beside, PathBuf::from).join(name);
    if !path.exists() {
        // Past the test harness, which keeps what passing tests print to itself.
        let _ = writeln!(
            std::io::stderr(),
            "SKIPPED: {} is not there; set BOUTWISE_OPEN_DATA to check it",
            path.display()
        );
        return None;
    }
    Some(path)
}

fn stretches(rows: &[Row]) -> Vec<Stretch> {
    let stretch = |row: &Row| Stretch {
        kind: row["kind"].clone(),
        start_s: number(row, "start_s"),
        end_s: number(row, "end_s"),
    };
    rows.iter().map(stretch).collect()
}

/// The bouts that the command finds, and the reference beside the recording.
fn found_and_reference(name: &str, reference: &str) -> Option<(Vec<Stretch>, Vec<Stretch>)> {
    let recording = open_data(name)?;
    let ran = boutwise(["bouts".as_ref(), "--csv".as_ref(), recording.as_os_str()]);
    assert_eq!(ran.status, 0, "{}", ran.stderr);
    let reference = fs::read(open_data(reference)?).unwrap();
    Some((stretches(&rows(ran.stdout.as_bytes())), stretches(&rows(&reference))))
}

fn runs(stretches: &[Stretch]) -> Vec<&Stretch> {
    stretches.iter().filter(|stretch| stretch.kind == "run").collect()
}

fn longest_s(stretches: &[Stretch]) -> f64 {
    runs(stretches).iter().map(|run| run.end_s - run.start_s).fold(0.0, f64::max)
}

/// Share of the reference's seconds, gaps left out, on which both say run or both say something else.
fn agreement(found: &[Stretch], reference: &[Stretch]) -> f64 {
    let runs_at = |stretches: &[Stretch], second: f64| {
        stretches.iter().any(|at| at.kind == "run" && at.start_s <= second && second < at.end_s)
    };
    let (mut same, mut all) = (0, 0);
    for stretch in reference.iter().filter(|stretch| stretch.kind != "gap") {
        for second in stretch.start_s as usize..stretch.end_s as usize {
            all += 1;
            same += usize::from(runs_at(found, second as f64) == (stretch.kind == "run"));
        }
    }
    f64::from(same as u32) / f64::from(all)
}

/// F1 of the runs that meet a run of the reference with an intersection over union of at least 0.5.
fn f1(found: &[Stretch], reference: &[Stretch]) -> f64 {
    let (found, reference) = (runs(found), runs(reference));
    let meets = |a: &Stretch, b: &Stretch| {
        let shared = a.end_s.min(b.end_s) - a.start_s.max(b.start_s);
        shared / (a.end_s.max(b.end_s) - a.start_s.min(b.start_s)) >= 0.5
    };
    let hits = reference.iter().filter(|run| found.iter().any(|other| meets(run, other))).count();
    2.0 * hits as f64 / (found.len() + reference.len()) as f64
}

#[test]
fn three_minutes_of_running_and_one_of_walking_are_found_in_both_formats() {
    let mut counts = Vec::new();
    for ending in ["gpx", "tcx"] {
        let name = format!("runwalk-3-1.{ending}.gz");
        let Some((found, reference)) = found_and_reference(&name, "runwalk-3-1.bouts.csv") else { return };
        counts.push(runs(&found).len());
        assert!(counts[counts.len() - 1].abs_diff(runs(&reference).len()) <= 2, "{name}: {counts:?}");
        let (f1, agreement) = (f1(&found, &reference), agreement(&found, &reference));
        assert!(f1 >= 0.97, "{name}: F1 {f1}");
        assert!(agreement >= 0.97, "{name}: agreement {agreement}");
        let off_s = longest_s(&found) - longest_s(&reference);
        assert!(off_s.abs() <= 12.0, "{name}: longest run {off_s} s off");
    }
    assert_eq!(counts[0], counts[1], "GPX and TCX of one session");
}

#[test]
fn a_slow_even_run_stays_one_run() {
    let Some((found, reference)) = found_and_reference("steady-slow-10k.gpx.gz", "steady-slow-10k.bouts.csv")
    else {
        return;
    };
    assert_eq!(runs(&found).len(), 1);
    assert!((longest_s(&found) - longest_s(&reference)).abs() <= 12.0);
}

#[test]
fn a_slow_jog_is_two_runs_parted_by_its_one_stop() {
    let Some((found, reference)) = found_and_reference("slow-jog.gpx.gz", "slow-jog.bouts.csv") else {
        return;
    };
    let runs = runs(&found);
    assert_eq!(runs.len(), 2);
    assert!(runs[0].end_s >= 3224.0 && runs[1].start_s <= 3272.0, "{} {}", runs[0].end_s, runs[1].start_s);
    assert!((longest_s(&found) - longest_s(&reference)).abs() <= 12.0);
}

#[test]
fn one_session_in_two_formats_counts_once() {
    let scratch = tempfile::tempdir().unwrap();
    let squad = scratch.path().join("squad").join("mira");
    fs::create_dir_all(&squad).unwrap();
    for name in ["runwalk-3-1.gpx.gz", "runwalk-3-1.tcx.gz"] {
        let Some(path) = open_data(name) else { return };
        fs::copy(path, squad.join(name)).unwrap();
    }
    let out = scratch.path().join("out");
    let ran = audit(&scratch.path().join("squad"), &out, &[]);
    assert_eq!(ran.status, 0, "{}", ran.stderr);
    let files = table(&out, "files");
    assert_eq!(files[0]["status"], "duplicate");
    assert_eq!(files[1]["status"], "read");
    assert!(files[0]["notes"].contains("mira/runwalk-3-1.tcx.gz"), "the duplicate names the one that counts");
    let sessions = table(&out, "sessions");
    assert_eq!(sessions.len(), 1);
    // Reference length by geographiclib 2 (PyPI), printed in the data's README to the centimetre.
    assert_eq!(sessions[0]["distance_m"], "23723.44");
    assert_eq!(sessions[0]["points"], "2209");
}

// Reference: geographiclib-rs 0.2, the geodesic library of C. F. F. Karney in Rust.
#[test]
fn distances_are_those_of_a_geodesic_library() {
    let geodesic = Geodesic::wgs84();
    for name in ["runwalk-3-1.gpx.gz", "runwalk-3-1.tcx.gz", "slow-jog.gpx.gz", "steady-slow-10k.gpx.gz"] {
        let Some(path) = open_data(name) else { return };
        read_path(&path, &ReadSettings::default(), &mut |reading| {
            for recording in &reading.recordings {
                let positions: Vec<_> = recording.points.iter().filter_map(|point| point.position).collect();
                let expected_m: f64 = positions
                    .windows(2)
                    .map(|pair| -> f64 {
                        let [a, b] = [pair[0], pair[1]];
                        geodesic.inverse(a.latitude_deg, a.longitude_deg, b.latitude_deg, b.longitude_deg)
                    })
                    .sum();
                let relative = recording.distance_m().unwrap() / expected_m - 1.0;
                assert!(relative.abs() < 1e-8, "{name}: {relative:e}");
            }
        });
    }
}

//! What the command writes and prints: tables that belong together, JSON beside text, quiet when asked.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

use crate::command::{audit, boutwise, number, table, testdata};

/// An audited demo: the folder that keeps it alive, and the output.
fn audited_demo() -> (tempfile::TempDir, PathBuf) {
    let scratch = tempfile::tempdir().unwrap();
    let demo = scratch.path().join("demo");
    assert_eq!(boutwise(["demo".as_ref(), demo.as_os_str()]).status, 0);
    let out = scratch.path().join("out");
    let (squad, journal) = (demo.join("squad.csv"), demo.join("journal.csv"));
    audit(
        &demo.join("recordings"),
        &out,
        &["--squad", squad.to_str().unwrap(), "--journal", journal.to_str().unwrap()],
    );
    (scratch, out)
}

#[test]
fn the_tables_add_up() {
    let (_scratch, out) = audited_demo();
    let (sessions, bouts, intervals) =
        (table(&out, "sessions"), table(&out, "bouts"), table(&out, "intervals"));
    for session in &sessions {
        let own = |row: &&crate::command::Row| {
            row["file"] == session["file"] && row["session"] == session["session"]
        };
        let of_session: Vec<_> = bouts.iter().filter(own).collect();
        let total_s: f64 = of_session.iter().map(|bout| number(bout, "duration_s")).sum();
        assert!((total_s - number(session, "duration_s")).abs() < 0.06 * of_session.len() as f64);
        for (kind, column) in [("run", "run_s"), ("walk", "walk_s"), ("stand", "stand_s"), ("gap", "gap_s")] {
            let of_kind = of_session.iter().filter(|bout| bout["kind"] == kind);
            let sum_s: f64 = of_kind.map(|bout| number(bout, "duration_s")).sum();
            assert!(
                (sum_s - number(session, column)).abs() < 0.06 * of_session.len().max(1) as f64,
                "{column}"
            );
        }
        for pair in of_session.windows(2) {
            assert_eq!(pair[0]["end_s"], pair[1]["start_s"], "bouts touch each other");
            assert_ne!(pair[0]["kind"], pair[1]["kind"], "bouts are maximal");
        }
        if !session["reps_planned"].is_empty() {
            let sum: f64 =
                ["reps_done", "reps_short", "reps_missed"].iter().map(|c| number(session, c)).sum();
            assert_eq!(sum, number(session, "reps_planned"));
            let reps =
                intervals.iter().filter(own).filter(|row| row["kind"] == "run" && row["status"] != "extra");
            assert_eq!(reps.count() as f64, number(session, "reps_planned"));
        }
        if session["resolvable"] == "false" {
            let empty =
                ["adherence_pct", "dose_pct", "reps_planned", "reps_done", "longest_run_s", "pace_drift_pct"];
            assert!(empty.iter().all(|column| session[*column].is_empty()));
            assert_eq!(intervals.iter().filter(own).count(), 0);
            assert!(!session["notes"].is_empty());
        }
    }
}

#[test]
fn no_coordinates_are_written() {
    let (_scratch, out) = audited_demo();
    for entry in fs::read_dir(&out).unwrap() {
        let text = fs::read_to_string(entry.unwrap().path()).unwrap();
        // The demo's recordings lie at 55.06 degrees north.
        assert!(!text.contains("55.06"));
    }
}

#[test]
fn the_default_output_lies_beside_the_folder() {
    let scratch = tempfile::tempdir().unwrap();
    let folder = scratch.path().join("harbour");
    fs::create_dir(&folder).unwrap();
    fs::copy(testdata("inputs/A1-one-track.gpx"), folder.join("run.gpx")).unwrap();
    let ran = boutwise(["audit".as_ref(), folder.as_os_str()]);
    assert_eq!(ran.status, 0, "{}", ran.stderr);
    let names: BTreeSet<_> = (fs::read_dir(scratch.path().join("harbour-audit")).unwrap())
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    let expected = [
        "athletes.csv",
        "bouts.csv",
        "files.csv",
        "intervals.csv",
        "report.html",
        "sessions.csv",
        "weeks.csv",
    ];
    assert_eq!(names, expected.map(str::to_owned).into());
    assert_eq!(table(&scratch.path().join("harbour-audit"), "athletes")[0]["athlete"], "harbour");
}

fn parsed(text: &str) -> serde_json::Value {
    serde_json::from_str(text).unwrap_or_else(|error| panic!("{error} in\n{text}"))
}

#[test]
fn every_command_speaks_json() {
    let scratch = tempfile::tempdir().unwrap();
    let folder = scratch.path().join("harbour");
    fs::create_dir(&folder).unwrap();
    let recording = folder.join("run.gpx");
    fs::copy(testdata("inputs/A1-one-track.gpx"), &recording).unwrap();
    let run = |arguments: &[&Path]| {
        let ran = boutwise(arguments.iter().map(|a| a.as_os_str()).chain(["--json".as_ref()]));
        assert_eq!(ran.status, 0, "{}", ran.stderr);
        parsed(&ran.stdout)
    };
    assert_eq!(run(&["audit".as_ref(), &folder])["sessions"], 1);
    assert!(run(&["bouts".as_ref(), &recording]).as_array().is_some());
    assert_eq!(run(&["longest".as_ref(), &folder])[0]["athlete"], "harbour");
    assert!(run(&["plan".as_ref(), &testdata("plans/ladder.toml")])["days"].as_array().is_some());
    assert!(run(&["columns".as_ref()])[0]["column"].is_string());
    assert!(run(&["demo".as_ref(), &scratch.path().join("demo")])["audit"].is_string());
}

#[test]
fn quiet_prints_nothing_and_still_writes() {
    let scratch = tempfile::tempdir().unwrap();
    let folder = scratch.path().join("harbour");
    fs::create_dir(&folder).unwrap();
    fs::copy(testdata("inputs/A1-one-track.gpx"), folder.join("run.gpx")).unwrap();
    let ran = boutwise(["audit".as_ref(), folder.as_os_str(), "--quiet".as_ref()]);
    assert_eq!((ran.status, ran.stdout.as_str(), ran.stderr.as_str()), (0, "", ""));
    assert!(scratch.path().join("harbour-audit").join("sessions.csv").exists());
}

#[test]
fn the_summary_fits_eighty_columns_and_has_no_colours_in_a_pipe() {
    let scratch = tempfile::tempdir().unwrap();
    let demo = scratch.path().join("demo");
    assert_eq!(boutwise(["demo".as_ref(), demo.as_os_str()]).status, 0);
    let squad = demo.join("squad.csv");
    let ran =
        audit(&demo.join("recordings"), &scratch.path().join("out"), &["--squad", squad.to_str().unwrap()]);
    let table: Vec<&str> = ran.stdout.lines().skip(3).take_while(|line| !line.is_empty()).collect();
    assert!(table.len() > 8);
    assert!(table.iter().all(|line| line.chars().count() <= 80));
    assert!(!ran.stdout.contains('\u{1b}'));
}

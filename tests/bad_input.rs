//! Bad input: each case gets a sentence that says what to do, the right exit status and its row.

use std::fs;
use std::path::Path;

use crate::command::{audit, boutwise, table, testdata};

const GOOD: &str = "inputs/A1-one-track.gpx";

fn scratch_with(files: &[(&str, &[u8])]) -> tempfile::TempDir {
    let scratch = tempfile::tempdir().unwrap();
    for (name, bytes) in files {
        let path = scratch.path().join("squad").join(name);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, bytes).unwrap();
    }
    fs::create_dir_all(scratch.path().join("squad")).unwrap();
    scratch
}

fn good() -> Vec<u8> {
    fs::read(testdata(GOOD)).unwrap()
}

#[test]
fn an_empty_folder_gives_empty_tables_and_says_what_to_do() {
    let scratch = scratch_with(&[]);
    let out = scratch.path().join("out");
    let ran = audit(&scratch.path().join("squad"), &out, &[]);
    assert_eq!(ran.status, 1);
    assert!(ran.stdout.contains("put .gpx or .tcx files there"), "{}", ran.stdout);
    for name in ["files", "sessions", "bouts", "intervals", "events", "athletes", "weeks", "planned", "notes"]
    {
        assert!(table(&out, name).is_empty());
        assert!(
            fs::read_to_string(out.join(format!("{name}.csv"))).unwrap().contains(','),
            "{name} has its header"
        );
    }
    assert!(out.join("report.html").exists());
}

#[test]
fn a_folder_without_recordings_lists_what_it_holds() {
    let scratch = scratch_with(&[
        ("mira/shopping.txt", b"bananas"),
        ("mira/page.gpx", b"<!DOCTYPE html><html></html>"),
    ]);
    let out = scratch.path().join("out");
    assert_eq!(audit(&scratch.path().join("squad"), &out, &[]).status, 1);
    let files = table(&out, "files");
    assert_eq!(files.len(), 2);
    assert!(files.iter().all(|file| ["ignored", "failed"].contains(&file["status"].as_str())));
    assert!(files.iter().all(|file| !file["notes"].is_empty()));
}

#[test]
fn a_missing_folder_cannot_be_run_and_nothing_is_written() {
    let scratch = scratch_with(&[]);
    let out = scratch.path().join("out");
    let ran = audit(&scratch.path().join("nowhere"), &out, &[]);
    assert_eq!(ran.status, 2);
    assert!(ran.stderr.contains("nowhere"), "{}", ran.stderr);
    assert!(!out.exists());
}

#[test]
fn a_flaw_in_the_plan_shows_line_caret_and_how_to_mend_it() {
    let scratch = scratch_with(&[("mira/run.gpx", &good())]);
    let plan = scratch.path().join("plan.toml");
    fs::write(&plan, "title = \"Spring\"\n\n[[block]]\nsession = \"9 x (0:40 rum, 1:20 walk)\"\n").unwrap();
    let out = scratch.path().join("out");
    let ran = audit(&scratch.path().join("squad"), &out, &["--plan", plan.to_str().unwrap()]);
    assert_eq!(ran.status, 2);
    for part in ["plan.toml", "line 4", "^", "to mend: write run"] {
        assert!(ran.stderr.contains(part), "{part} is not in\n{}", ran.stderr);
    }
    assert!(!out.exists());
}

#[test]
fn bad_arguments_cannot_be_run() {
    assert_eq!(boutwise(["audit"]).status, 2);
    assert_eq!(boutwise(["audit", "x", "--as-of", "yesterday"]).status, 2);
    assert_eq!(boutwise(["audit", "x", "--time-zone", "Nowhere"]).status, 2);
    assert_eq!(boutwise(["plan", "nowhere.toml"]).status, 2);
}

#[test]
fn a_truncated_file_is_partial_and_the_batch_is_finished() {
    let whole = good();
    let half = &whole[..whole.len() / 2];
    let scratch = scratch_with(&[("mira/cut.gpx", half), ("ben/run.gpx", &whole)]);
    let out = scratch.path().join("out");
    let ran = audit(&scratch.path().join("squad"), &out, &[]);
    assert_eq!(ran.status, 1);
    let files = table(&out, "files");
    assert_eq!((files[0]["file"].as_str(), files[0]["status"].as_str()), ("ben/run.gpx", "read"));
    assert_eq!((files[1]["file"].as_str(), files[1]["status"].as_str()), ("mira/cut.gpx", "partial"));
    assert!(files[1]["notes"].contains("truncated"));
    assert_eq!(table(&out, "sessions").len(), 2);
    assert!(ran.stdout.contains("mira/cut.gpx"));
}

#[test]
fn the_same_file_twice_counts_once() {
    let scratch = scratch_with(&[("mira/a.gpx", &good()), ("mira/b.gpx", &good())]);
    let out = scratch.path().join("out");
    assert_eq!(audit(&scratch.path().join("squad"), &out, &[]).status, 0);
    let files = table(&out, "files");
    assert_eq!((files[0]["status"].as_str(), files[1]["status"].as_str()), ("read", "duplicate"));
    assert!(files[1]["notes"].contains("mira/a.gpx"));
    assert_eq!(table(&out, "sessions").len(), 1);
}

#[test]
fn the_same_bytes_of_two_athletes_count_for_both_and_are_noted() {
    let scratch = scratch_with(&[("mira/a.gpx", &good()), ("ben/a.gpx", &good())]);
    let out = scratch.path().join("out");
    assert_eq!(audit(&scratch.path().join("squad"), &out, &[]).status, 0);
    let files = table(&out, "files");
    assert!(files.iter().all(|file| file["status"] == "read" && file["notes"].contains("another athlete")));
    assert_eq!(table(&out, "sessions").len(), 2);
}

/// A minute of running northwards, a point a second, as a GPX file.
fn minute(first_longitude_deg: f64, seconds: usize) -> Vec<u8> {
    let point = |second: usize| {
        format!(
            "<trkpt lat=\"{:.6}\" lon=\"{first_longitude_deg:.6}\"><time>2024-03-04T18:{:02}:{:02}Z</time></trkpt>\n",
            52.0 + second as f64 * 2.4e-5,
            second / 60,
            second % 60
        )
    };
    let points: String = (0..seconds).map(point).collect();
    format!("<gpx version=\"1.1\"><trk><trkseg>\n{points}</trkseg></trk></gpx>\n").into_bytes()
}

#[test]
fn two_athletes_side_by_side_are_never_each_others_copies() {
    let scratch = scratch_with(&[
        ("mira/a.gpx", &minute(4.0, 300)),
        ("ben/a.gpx", &minute(4.00001, 300)),
        ("ida/a.gpx", &minute(4.0, 200)),
    ]);
    let out = scratch.path().join("out");
    assert_eq!(audit(&scratch.path().join("squad"), &out, &[]).status, 0);
    assert!(table(&out, "files").iter().all(|file| file["status"] == "read" && file["notes"].is_empty()));
    assert_eq!(table(&out, "sessions").len(), 3);
}

#[test]
fn of_one_athlete_a_cut_copy_counts_once_and_a_second_device_is_noted() {
    let whole = minute(4.0, 300);
    let scratch = scratch_with(&[
        ("ida/cut.gpx", &whole[..whole.len() * 2 / 3]),
        ("ida/whole.gpx", &whole),
        ("mira/phone.gpx", &minute(4.00005, 240)),
        ("mira/watch.gpx", &whole),
    ]);
    let out = scratch.path().join("out");
    audit(&scratch.path().join("squad"), &out, &[]);
    let files = table(&out, "files");
    let statuses: Vec<&str> = files.iter().map(|file| file["status"].as_str()).collect();
    assert_eq!(statuses, ["duplicate", "read", "read", "read"]);
    assert!(files[0]["notes"].contains("duplicate of `ida/whole.gpx`"), "{}", files[0]["notes"]);
    for (file, other) in [(2, "mira/watch.gpx"), (3, "mira/phone.gpx")] {
        assert!(files[file]["notes"].contains(&format!("overlaps `{other}`")), "{}", files[file]["notes"]);
    }
    assert_eq!(table(&out, "sessions").len(), 3);
}

#[test]
fn results_are_never_written_among_the_recordings() {
    let scratch = scratch_with(&[("mira/a.gpx", &good())]);
    let folder = scratch.path().join("squad");
    let ran = audit(&folder, &folder.join("mira").join("results"), &[]);
    assert_eq!(ran.status, 2);
    assert!(ran.stderr.contains("--out"), "{}", ran.stderr);
    assert!(!folder.join("mira").join("results").exists());
}

#[test]
fn a_folder_that_is_no_earlier_result_is_left_as_it_was() {
    let scratch = scratch_with(&[("mira/a.gpx", &good())]);
    let out = scratch.path().join("thesis");
    fs::create_dir(&out).unwrap();
    fs::write(out.join("chapter-1.txt"), "do not lose me").unwrap();
    let ran = audit(&scratch.path().join("squad"), &out, &[]);
    assert_eq!(ran.status, 2);
    assert_eq!(fs::read_to_string(out.join("chapter-1.txt")).unwrap(), "do not lose me");
    assert_eq!(fs::read_dir(&out).unwrap().count(), 1);
}

#[test]
fn an_earlier_result_is_replaced_whole() {
    let scratch = scratch_with(&[("mira/a.gpx", &good()), ("ben/a.gpx", &good())]);
    let (folder, out) = (scratch.path().join("squad"), scratch.path().join("out"));
    assert_eq!(audit(&folder, &out, &[]).status, 0);
    fs::remove_dir_all(folder.join("ben")).unwrap();
    assert_eq!(audit(&folder, &out, &[]).status, 0);
    assert_eq!(table(&out, "sessions").len(), 1);
    let names: Vec<_> =
        fs::read_dir(scratch.path()).unwrap().map(|entry| entry.unwrap().file_name()).collect();
    assert_eq!(names.len(), 2, "nothing is left beside: {names:?}");
}

#[cfg(unix)]
#[test]
fn links_that_lead_nowhere_and_pipes_are_named_and_never_waited_for() {
    let scratch = scratch_with(&[("mira/a.gpx", &good())]);
    let folder = scratch.path().join("squad").join("mira");
    std::os::unix::fs::symlink(Path::new("gone.gpx"), folder.join("link.gpx")).unwrap();
    let made = std::process::Command::new("mkfifo").arg(folder.join("pipe.gpx")).status().unwrap();
    assert!(made.success());
    let out = scratch.path().join("out");
    assert_eq!(audit(&scratch.path().join("squad"), &out, &[]).status, 1);
    let files = table(&out, "files");
    assert_eq!(files.len(), 3);
    assert_eq!(files[0]["status"], "read");
    assert!(files[1..].iter().all(|file| file["status"] != "read" && !file["notes"].is_empty()));
}

/// A lap of a minute, a point every five seconds.
fn tcx_activity(sport: &str, day: u32) -> String {
    let point = |at: u32| {
        format!(
            "<Trackpoint><Time>2024-03-{day:02}T18:00:{:02}Z</Time><Position><LatitudeDegrees>{:.5}</LatitudeDegrees>\
             <LongitudeDegrees>4.5</LongitudeDegrees></Position></Trackpoint>",
            5 * at,
            52.0 + 1e-4 * f64::from(at)
        )
    };
    let points: String = (0..12).map(point).collect();
    format!(
        "<Activity Sport=\"{sport}\"><Id>x</Id><Lap StartTime=\"2024-03-{day:02}T18:00:00Z\"><Track>{points}</Track></Lap></Activity>"
    )
}

#[test]
fn what_a_file_is_said_to_hold_is_what_stands_in_the_sessions() {
    let scratch = tempfile::tempdir().unwrap();
    let folder = scratch.path().join("squad");
    fs::create_dir_all(folder.join("Ada")).unwrap();
    let write = |name: &str, activities: &[String]| {
        let text = format!(
            "<TrainingCenterDatabase><Activities>{}</Activities></TrainingCenterDatabase>",
            activities.concat()
        );
        fs::write(folder.join("Ada").join(name), text).unwrap();
    };
    write("a-ride.tcx", &[tcx_activity("Biking", 3)]);
    write("b-both.tcx", &[tcx_activity("Running", 4), tcx_activity("Biking", 5)]);
    write("c-twice.tcx", &[tcx_activity("Running", 4), tcx_activity("Running", 6)]);
    write("d-copy.tcx", &[tcx_activity("Running", 6)]);
    fs::write(folder.join("Ada").join("e-nothing.gpx"), "").unwrap();
    fs::write(folder.join("Ada").join("f-list.txt"), "shoes, water").unwrap();
    let out = scratch.path().join("out");
    audit(&folder, &out, &[]);
    let sessions = table(&out, "sessions");
    let of = |file: &str| sessions.iter().filter(|row| row["file"] == file).count();
    let said: Vec<(String, String, String)> = table(&out, "files")
        .into_iter()
        .map(|row| {
            let kept = row["points_kept"].clone();
            if row["status"] != "duplicate" {
                assert_eq!(row["sessions"], of(&row["file"]).to_string(), "{row:?}");
            }
            (row["status"].clone(), row["sessions"].clone(), kept)
        })
        .collect();
    let said: Vec<(&str, &str, &str)> = said
        .iter()
        .map(|(status, sessions, kept)| (status.as_str(), sessions.as_str(), kept.as_str()))
        .collect();
    assert_eq!(
        said,
        [
            ("ignored", "0", "0"),
            ("read", "1", "12"),
            ("read", "1", "12"),
            ("duplicate", "1", "12"),
            ("failed", "0", "0"),
            ("ignored", "0", "0"),
        ]
    );
    let notes = &table(&out, "files")[0]["notes"];
    assert!(notes.contains("recorded as cycling"), "{notes}");
}

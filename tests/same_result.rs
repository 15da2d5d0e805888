//! The same recordings give the same bytes, whatever the number of threads; and what does not change a session
//! does not change its result: another time, another format, a segment boundary.

use std::fs;
use std::path::{Path, PathBuf};

use boutwise_truth::files::{FileFormat, FileSettings, file_bytes};
use boutwise_truth::{Random, Sensors, SessionSettings, SyntheticSession, Tier};

use crate::command::{Row, audit, between, boutwise, number, table};

/// Every file at or below a folder with its bytes.
pub(crate) fn bytes_of(out: &Path) -> Vec<(String, Vec<u8>)> {
    let mut files: Vec<(String, Vec<u8>)> = Vec::new();
    for entry in fs::read_dir(out).unwrap().map(|entry| entry.unwrap()) {
        let name = entry.file_name().to_string_lossy().into_owned();
        match entry.path().is_dir() {
            true => files.extend(
                bytes_of(&entry.path()).into_iter().map(|(below, bytes)| (format!("{name}/{below}"), bytes)),
            ),
            false => files.push((name, fs::read(entry.path()).unwrap())),
        }
    }
    files.sort();
    files
}

#[test]
fn every_number_of_threads_gives_the_same_bytes() {
    let scratch = tempfile::tempdir().unwrap();
    let demo = scratch.path().join("demo");
    assert_eq!(boutwise(["demo".as_ref(), demo.as_os_str()]).status, 0);
    let squad = demo.join("squad.csv");
    // Nine tables in two formats, two pages, codebook and manifest; and a page for each of ten.
    for (pages, files) in [("one", 22), ("athlete", 32)] {
        let mut results = Vec::new();
        for threads in ["1", "2", "4", "16"] {
            let out = scratch.path().join(threads);
            let named = ["--squad", squad.to_str().unwrap(), "--threads", threads, "--format", "csv,parquet"];
            audit(&demo.join("recordings"), &out, &[&named[..], &["--pages", pages]].concat());
            results.push(bytes_of(&out));
        }
        assert_eq!(results[0].len(), files);
        assert!(results.iter().all(|result| *result == results[0]));
    }
}

/// The same squad made on the disk in another order, seen from another folder, in another language and zone.
#[test]
fn the_order_on_the_disk_and_the_place_of_the_command_change_no_byte() {
    let scratch = tempfile::tempdir().unwrap();
    let demo = scratch.path().join("demo");
    assert_eq!(boutwise(["demo".as_ref(), demo.as_os_str()]).status, 0);
    let mut files: Vec<std::path::PathBuf> = Vec::new();
    for athlete in fs::read_dir(demo.join("recordings")).unwrap() {
        files.extend(fs::read_dir(athlete.unwrap().path()).unwrap().map(|file| file.unwrap().path()));
    }
    files.sort();
    let mut results = Vec::new();
    for (turn, language, zone) in
        [(0, "C", "UTC"), (1, "tr_TR.UTF-8", "Pacific/Apia"), (2, "de_DE", "Asia/Tehran")]
    {
        let place = scratch.path().join(format!("place {turn}"));
        match turn {
            1 => files.reverse(),
            2 => files.rotate_left(7),
            _ => {}
        }
        for file in &files {
            let below = file.strip_prefix(&demo).unwrap();
            fs::create_dir_all(place.join(below).parent().unwrap()).unwrap();
            fs::copy(file, place.join(below)).unwrap();
        }
        for name in ["squad.csv", "journal.csv", "plan.toml"] {
            fs::copy(demo.join(name), place.join(name)).unwrap();
        }
        let mut command = std::process::Command::new(env!("CARGO_BIN_EXE_boutwise"));
        command.env("LC_ALL", language).env("LANG", language).env("TZ", zone).env("COLUMNS", "200");
        let names: [&str; 3] = match turn {
            2 => {
                command.current_dir(place.join("recordings"));
                ["../recordings", "../squad.csv", "../journal.csv"]
            }
            _ => {
                command.current_dir(&place);
                ["recordings", "squad.csv", "journal.csv"]
            }
        };
        let [folder, squad, journal] = names;
        let ran = command
            .args(["audit", folder, "--squad", squad, "--journal", journal, "--json", "--out"])
            .arg(place.join("out"))
            .output()
            .unwrap();
        let printed = String::from_utf8(ran.stdout).unwrap().replace(&format!("place {turn}"), "");
        results.push((printed, bytes_of(&place.join("out"))));
    }
    assert!(results[0].0.contains("athletes"));
    assert!(results.iter().all(|result| *result == results[0]));
}

/// What the run cost is told beside the result: a line a stage, which add up to what the whole run took.
#[cfg(target_os = "linux")]
#[test]
fn timings_are_told_and_change_no_byte() {
    let scratch = tempfile::tempdir().unwrap();
    let demo = scratch.path().join("demo");
    assert_eq!(boutwise(["demo".as_ref(), demo.as_os_str()]).status, 0);
    let squad = demo.join("squad.csv");
    let run = |out: &Path, more: &[&str]| {
        audit(
            &demo.join("recordings"),
            out,
            &[&["--squad", squad.to_str().unwrap(), "--json"], more].concat(),
        )
    };
    let (plain, timed) = (scratch.path().join("plain"), scratch.path().join("timed"));
    let (without, with) = (run(&plain, &[]), run(&timed, &["--timings"]));
    assert_eq!(without.stdout.replace("plain", "timed"), with.stdout);
    assert_eq!(without.stderr, "");
    assert_eq!(bytes_of(&plain), bytes_of(&timed));
    let figure = |line: &str| {
        let told = with.stderr.lines().find(|told| told.trim_start().starts_with(line));
        let told = told.unwrap_or_else(|| panic!("no line {line:?} in {}", with.stderr));
        told.split_whitespace().find_map(|word| word.parse::<f64>().ok()).unwrap()
    };
    let stages = boutwise_audit::Stage::ALL.map(|stage| figure(stage.text()));
    assert!(stages[0] > 0.0 && stages[1] > 0.0, "{}", with.stderr);
    let all_s = between(&with.stderr, "\n\n", " s of processor time in ").parse::<f64>().unwrap();
    let sum_s = stages.iter().sum::<f64>() + figure("everything else");
    assert!((sum_s - all_s).abs() < 0.01, "{sum_s} of {all_s}: {}", with.stderr);
    let written: u64 = bytes_of(&timed).iter().map(|(_, bytes)| bytes.len() as u64).sum();
    assert!(with.stderr.contains(&format!("{:.1} MB written; ", written as f64 / 1e6)), "{}", with.stderr);
    let points: f64 = table(&timed, "files").iter().map(|row| number(row, "points_kept")).sum();
    assert!(with.stderr.contains(&format!(" with {points} points: ")), "{points}: {}", with.stderr);
}

/// N workers, of whom the first thread is one, and one more for signals.
#[cfg(target_os = "linux")]
#[test]
fn threads_are_as_many_as_were_asked_for() {
    let scratch = tempfile::tempdir().unwrap();
    let demo = scratch.path().join("demo");
    assert_eq!(boutwise(["demo".as_ref(), demo.as_os_str()]).status, 0);
    for asked in [1, 2, 5] {
        let mut running = std::process::Command::new(env!("CARGO_BIN_EXE_boutwise"))
            .args(["audit", "--quiet", "--threads", &asked.to_string(), "--out"])
            .args([scratch.path().join("out"), demo.join("recordings")])
            .spawn()
            .unwrap();
        let tasks = format!("/proc/{}/task", running.id());
        let mut most = 0;
        while running.try_wait().unwrap().is_none() {
            most = most.max(fs::read_dir(&tasks).map_or(0, Iterator::count));
            std::thread::sleep(std::time::Duration::from_millis(1));
        }
        assert_eq!(most, asked + 1, "{asked} threads were asked for");
    }
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
    let with = |option: &str, text: &str| {
        let path = scratch.path().join("given");
        fs::write(&path, text).unwrap();
        made_from("given-out", &["--no-report", option, path.to_str().unwrap()])
    };
    let squads = ["athlete,goal_m\nrun,3000\n", "athlete,goal_m\nrun,3000\n\n", "athlete,goal_m\nrun,4000\n"];
    let journals = ["athlete,date\nrun,2026-03-02\n", "athlete,date\nrun,2026-03-02\n\n"];
    let settings = ["[rules]\nsilent_days = 9\n", "[rules]\nsilent_days = 10\n"];
    let named_day = |text: &str| {
        let path = scratch.path().join("journal");
        fs::write(&path, text).unwrap();
        made_from("given-out", &["--no-report", "--as-of", "2026-04-01", "--journal", path.to_str().unwrap()])
    };
    let mut all: Vec<String> = vec![plain.clone()];
    all.extend(squads.map(|text| with("--squad", text)));
    all.extend(journals.map(named_day));
    all.extend(settings.map(|text| with("--settings", text)));
    let apart: std::collections::BTreeSet<&String> = all.iter().collect();
    assert_eq!(apart.len(), all.len(), "{all:?}");
    assert_eq!(with("--settings", settings[0]), with("--settings", &format!("# the same\n{}", settings[0])));
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

/// With a cache the first result and those after it are those without one; what is told on standard error says how far it helped.
#[test]
fn a_cache_changes_no_byte_and_lies_beside_recordings_and_result() {
    let scratch = tempfile::tempdir().unwrap();
    let demo = scratch.path().join("demo");
    assert_eq!(boutwise(["demo".as_ref(), demo.as_os_str()]).status, 0);
    let (recordings, squad) = (demo.join("recordings"), demo.join("squad.csv"));
    let run = |out: &str, more: &[&str]| {
        let out = scratch.path().join(out);
        let ran = audit(&recordings, &out, &[&["--squad", squad.to_str().unwrap()], more].concat());
        (ran.status, ran.stderr, out)
    };
    let cache = scratch.path().join("cache");
    let with = ["--cache", cache.to_str().unwrap(), "--timings"];
    let plain = run("plain", &[]);
    let files = table(&plain.2, "files").len();
    let known = |ran: &(i32, String, PathBuf)| {
        assert_eq!((ran.0, bytes_of(&ran.2)), (plain.0, bytes_of(&plain.2)));
        let line = ran.1.lines().find(|line| line.contains(" known from the cache, "));
        let line = line.unwrap_or_else(|| panic!("{}", ran.1));
        line.split_whitespace().next().unwrap().parse::<usize>().unwrap()
    };
    assert_eq!(known(&run("first", &with)), 0);
    let second = known(&run("second", &with));
    assert!(second > 0 && second <= files, "{second} of {files}");
    // Among the recordings or in a result it would be read, or go with it.
    for inside in [recordings.join("cache"), scratch.path().join("plain/cache")] {
        let (status, stderr, _) = run("plain", &["--cache", inside.to_str().unwrap()]);
        assert_eq!(status, 2);
        assert!(stderr.contains("name a place beside it with --cache"), "{stderr}");
        assert!(!inside.exists());
    }
    assert_eq!(bytes_of(&scratch.path().join("plain")), bytes_of(&scratch.path().join("second")));
}

//! With a cache, a result that stands as it would be written is left where it stands; in any doubt it is written anew.
#![cfg(unix)]

use std::fs::{self, File};
use std::os::unix::fs::{MetadataExt, PermissionsExt, symlink};
use std::path::{Path, PathBuf};
use std::thread::sleep;
use std::time::{Duration, SystemTime};

use crate::command::{Ran, audit, boutwise};
use crate::same_result::bytes_of;

/// What was changed longer ago is believed to show by its times.
const SETTLED: Duration = Duration::from_millis(2_100);

/// A squad with a settings file and a key, its cache and its result.
struct Place {
    scratch: tempfile::TempDir,
    options: Vec<String>,
}

impl Place {
    fn new() -> Self {
        let scratch = tempfile::tempdir().unwrap();
        let path = |name: &str| scratch.path().join(name).to_str().unwrap().to_owned();
        assert_eq!(boutwise(["demo", &path("demo")]).status, 0);
        // Two of the ten are quick to audit.
        for (number, athlete) in fs::read_dir(path("demo/recordings")).unwrap().enumerate() {
            if number > 1 {
                fs::remove_dir_all(athlete.unwrap().path()).unwrap();
            }
        }
        fs::write(path("settings.toml"), "").unwrap();
        fs::write(path("key"), "a key that nobody guesses").unwrap();
        let (squad, settings, cache) = (path("demo/squad.csv"), path("settings.toml"), path("cache"));
        let options = ["--squad", &squad, "--settings", &settings, "--cache", &cache, "--pages", "athlete"];
        let options = options.map(str::to_owned).to_vec();
        sleep(SETTLED);
        Self { scratch, options }
    }

    fn path(&self, name: &str) -> PathBuf {
        self.scratch.path().join(name)
    }

    fn recording(&self) -> PathBuf {
        let athletes = fs::read_dir(self.path("demo/recordings")).unwrap();
        let mut files: Vec<PathBuf> = athletes
            .flat_map(|athlete| fs::read_dir(athlete.unwrap().path()).unwrap())
            .map(|file| file.unwrap().path())
            .filter(|path| path.extension().is_some_and(|ending| ending == "gpx"))
            .collect();
        files.sort();
        files.swap_remove(0)
    }

    fn run(&self, out: &Path, more: &[&str]) -> Ran {
        let options: Vec<&str> =
            self.options.iter().map(String::as_str).chain(more.iter().copied()).collect();
        audit(&self.path("demo/recordings"), out, &options)
    }

    /// Runs, and holds what stands and is said against what a run without a cache writes and says; whether the result was left.
    fn was_left(&self, more: &[&str]) -> bool {
        let (out, plain) = (self.path("out"), self.path("plain/out"));
        let before = identity(&out);
        let begun = SystemTime::now() - Duration::from_secs(1);
        let ran = self.run(&out, more);
        let mut options = self.options.clone();
        let cache = options.iter().position(|option| option == "--cache").unwrap();
        options.drain(cache..cache + 2);
        let options: Vec<&str> = options.iter().map(String::as_str).chain(more.iter().copied()).collect();
        let expected = audit(&self.path("demo/recordings"), &plain, &options);
        let said = expected.stdout.replace(plain.to_str().unwrap(), out.to_str().unwrap());
        assert_eq!((ran.status, ran.stdout, ran.stderr), (expected.status, said, expected.stderr));
        assert!(bytes_of(&out) == bytes_of(&plain));
        let hidden = fs::read_dir(self.scratch.path()).unwrap().map(|entry| entry.unwrap().file_name());
        assert!(hidden.into_iter().all(|name| !name.to_str().unwrap().starts_with(".boutwise")));
        // However it came to stand there: by its times it is of this run.
        for place in [out.clone(), out.join("manifest.json"), out.join("athletes")] {
            assert!(fs::metadata(place).unwrap().modified().unwrap() > begun);
        }
        before == identity(&out)
    }

    /// After a change a run writes anew, and the next one leaves what was written.
    fn is_written_anew_once(&self, what: &str) {
        assert!(!self.was_left(&[]), "{what}");
        assert!(self.was_left(&[]), "after {what}");
    }
}

/// Which folder and files these are.
fn identity(out: &Path) -> Option<(u64, u64)> {
    let inode = |path: &Path| fs::metadata(path).ok().map(|metadata| metadata.ino());
    Some((inode(out)?, inode(&out.join("athletes.csv"))?))
}

/// Writes as many other bytes into a file, with its old time of writing.
fn turn(path: &Path) {
    let written = fs::metadata(path).unwrap().modified().unwrap();
    let mut bytes = fs::read(path).unwrap();
    let last = bytes.len() - 2;
    bytes[last] ^= 1;
    fs::write(path, bytes).unwrap();
    File::options().write(true).open(path).unwrap().set_modified(written).unwrap();
}

#[test]
fn a_result_that_stands_is_left_and_whatever_became_of_it_is_written_anew() {
    let place = Place::new();
    let (out, elsewhere) = (place.path("out"), place.path("elsewhere"));
    assert!(!place.was_left(&[]));
    assert!(place.was_left(&[]));
    let table = out.join("weeks.csv");
    turn(&table);
    place.is_written_anew_once("a table was edited");
    fs::write(&table, "").unwrap();
    place.is_written_anew_once("a table was emptied");
    fs::remove_file(&table).unwrap();
    place.is_written_anew_once("a table was removed");
    turn(&fs::read_dir(out.join("athletes")).unwrap().next().unwrap().unwrap().path());
    place.is_written_anew_once("a page was edited");
    let manifest = fs::read_to_string(out.join("manifest.json")).unwrap();
    fs::write(out.join("manifest.json"), manifest.replace("\"schema\": 1", "\"schema\": 7")).unwrap();
    place.is_written_anew_once("the manifest was edited");
    fs::write(out.join(".DS_Store"), "").unwrap();
    place.is_written_anew_once("a file manager left something");
    fs::rename(&table, &elsewhere).unwrap();
    symlink(&elsewhere, &table).unwrap();
    place.is_written_anew_once("a link stands for a table");
    for (of, mode) in [(&table, 0o600), (&out, 0o700)] {
        fs::set_permissions(of, fs::Permissions::from_mode(mode)).unwrap();
        place.is_written_anew_once("others may not look into it");
    }
    fs::remove_dir_all(&out).unwrap();
    place.is_written_anew_once("it was removed");
    // What another run put there with the same bytes is as good.
    fs::remove_dir_all(&out).unwrap();
    fs::rename(place.path("plain/out"), &out).unwrap();
    assert!(place.was_left(&[]));
    // What is none of a result is left alone, as ever.
    fs::write(out.join("mine.txt"), "").unwrap();
    let refused = place.run(&out, &[]);
    assert_eq!(refused.status, 2);
    assert!(refused.stderr.contains("mine.txt"), "{}", refused.stderr);
}

#[test]
fn whatever_decides_a_result_or_what_is_said_of_it_is_asked_for() {
    let place = Place::new();
    assert!(!place.was_left(&[]));
    assert!(place.was_left(&[]));
    let key = place.path("key").to_str().unwrap().to_owned();
    // The same options again are known again.
    for more in [
        &["--pace", "mile"][..],
        &["--json"],
        &["--as-of", "2026-03-01", "--fail-on", "never"],
        &["--format", "csv,parquet"],
        &["--pseudonyms", &key],
    ] {
        assert!(!place.was_left(more), "{more:?}");
        assert!(place.was_left(more), "{more:?}");
    }
    fs::write(&key, "another key that nobody guesses").unwrap();
    assert!(!place.was_left(&["--pseudonyms", &key]), "another key");
    place.is_written_anew_once("no key");
    fs::write(place.path("settings.toml"), "[rules]\nwindow_sessions = 5\n").unwrap();
    place.is_written_anew_once("a setting");
    let squad = fs::read_to_string(place.path("demo/squad.csv")).unwrap();
    fs::write(place.path("demo/squad.csv"), squad.trim_end().to_owned() + "\nSomebody Else\n").unwrap();
    place.is_written_anew_once("one more in the squad file");
    // A result elsewhere is written there, and what it says names its place.
    let elsewhere = place.path("elsewhere");
    assert!(place.run(&elsewhere, &[]).stdout.contains(elsewhere.to_str().unwrap()));
    assert!(bytes_of(&elsewhere) == bytes_of(&place.path("out")));
}

#[test]
fn whatever_became_of_a_recording_is_read() {
    let place = Place::new();
    assert!(!place.was_left(&[]));
    assert!(place.was_left(&[]));
    let recording = place.recording();
    turn(&recording);
    // Within two seconds nobody knows whether it is changed again.
    assert!(!place.was_left(&[]), "a recording was edited");
    turn(&recording);
    assert!(!place.was_left(&[]), "it was edited again at once");
    sleep(SETTLED);
    assert!(!place.was_left(&[]), "it may have been edited unseen");
    assert!(place.was_left(&[]));
    File::options().write(true).open(&recording).unwrap().set_modified(SystemTime::now()).unwrap();
    sleep(SETTLED);
    place.is_written_anew_once("a recording was touched");
    let (hidden, athlete) = (place.path("hidden.gpx"), recording.parent().unwrap());
    fs::rename(&recording, &hidden).unwrap();
    place.is_written_anew_once("a recording is gone");
    fs::rename(&hidden, athlete.join("renamed.gpx")).unwrap();
    sleep(SETTLED);
    place.is_written_anew_once("it is back by another name");
    fs::rename(athlete, athlete.with_file_name("Renamed")).unwrap();
    place.is_written_anew_once("its athlete has another name");
    symlink("/nowhere", place.path("demo/recordings/nowhere.gpx")).unwrap();
    assert!(!place.was_left(&[]) && !place.was_left(&[]), "what cannot be read is tried each time");
}

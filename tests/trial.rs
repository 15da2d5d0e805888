//! Invented trials of any size: the audit finds in the recordings what is true of them, and the effect between the arms.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use crate::command::{Row, audit, boutwise, number, rows, table};

/// Writes a trial into a folder that is not there yet.
fn trial(folder: &Path, options: &str) -> PathBuf {
    let ran = boutwise(["demo", folder.to_str().unwrap(), "--quiet"].into_iter().chain(options.split(' ')));
    assert_eq!(ran.status, 0, "{}", ran.stderr);
    folder.to_owned()
}

fn truth(trial: &Path, name: &str) -> Vec<Row> {
    rows(&std::fs::read(trial.join("truth").join(format!("{name}.csv"))).unwrap())
}

/// Every file below a folder with its bytes.
fn bytes_below(folder: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    let mut found = BTreeMap::new();
    let mut folders = vec![folder.to_owned()];
    while let Some(next) = folders.pop() {
        for entry in std::fs::read_dir(next).unwrap().map(|entry| entry.unwrap().path()) {
            if entry.is_dir() {
                folders.push(entry);
            } else {
                let name = entry.strip_prefix(folder).unwrap().to_owned();
                found.insert(name, std::fs::read(&entry).unwrap());
            }
        }
    }
    found
}

#[test]
fn the_audit_finds_the_longest_runs_of_a_trial_and_who_gave_up() {
    let scratch = tempfile::tempdir().unwrap();
    let trial = trial(&scratch.path().join("trial"), "--athletes 18 --weeks 3 --arms 2 --seed 4");
    let out = scratch.path().join("out");
    let squad = trial.join("squad.csv");
    let ran = audit(&trial.join("recordings"), &out, &["--squad", squad.to_str().unwrap(), "--no-report"]);
    assert_eq!(ran.status, 0, "{}", ran.stderr);

    let participants = truth(&trial, "participants");
    assert_eq!(participants.len(), 18);
    let squad_rows = rows(&std::fs::read(&squad).unwrap());
    for (squad, truth) in squad_rows.iter().zip(&participants) {
        assert_eq!((&squad["athlete"], &squad["arm"]), (&truth["athlete"], &truth["arm"]));
    }
    let of_arm = |arm: &str| participants.iter().filter(|row| row["arm"] == arm).count();
    assert_eq!((of_arm("A"), of_arm("B")), (9, 9));

    let truth_by_file: BTreeMap<String, Row> =
        truth(&trial, "sessions").into_iter().map(|row| (row["file"].clone(), row)).collect();
    let sessions = table(&out, "sessions");
    assert_eq!(sessions.len(), truth_by_file.len());
    let (mut near, mut in_place, mut told) = (0, 0, 0);
    for row in &sessions {
        let truth = &truth_by_file[&row["file"]];
        let place = |row: &Row| (row["plan_block"].clone(), row["plan_session"].clone());
        in_place += usize::from(place(row) == place(truth));
        if row["resolvable"] == "true" {
            let off_s = number(row, "longest_run_s") - number(truth, "longest_run_s");
            near += usize::from(off_s.abs() <= 12.0);
            told += 1;
        }
    }
    assert!(near * 100 >= told * 98, "{near} of {told}");
    // Half of the devices count no steps.
    assert!(told * 100 >= sessions.len() * 98, "{told} of {} told apart", sessions.len());
    // After a session that was left out, a short run of the next week may as well be that one, done late.
    assert!(in_place * 100 >= sessions.len() * 95, "{in_place} of {}", sessions.len());

    // Every session is due for everybody, also for who gave up.
    let planned = table(&out, "planned");
    assert_eq!(planned.len(), 18 * 9);
    assert!(planned.iter().all(|row| row["due"] == "true"));
    let missed = planned.iter().filter(|row| row["outcome"] == "missed").count();
    assert_eq!(missed, truth(&trial, "missed").len());
}

#[test]
fn one_seed_gives_the_same_bytes_whatever_the_threads_and_another_seed_others() {
    let scratch = tempfile::tempdir().unwrap();
    let written = |name: &str, options: &str| bytes_below(&trial(&scratch.path().join(name), options));
    let first = written("first", "--athletes 18 --weeks 2 --arms 3 --seed 9");
    let second = written("second", "--athletes 18 --weeks 2 --arms 3 --seed 9 --threads 1");
    assert!(first == second);
    let third = written("third", "--athletes 18 --weeks 2 --arms 3 --seed 10");
    assert!(first.keys().ne(third.keys()) || first != third);
    let effect = |bytes: &BTreeMap<PathBuf, Vec<u8>>| rows(&bytes[Path::new("truth/effect.csv")]);
    let [b, c] = &effect(&first)[..] else { panic!("{:?}", effect(&first)) };
    assert_eq!((b["measure"].as_str(), b["unit"].as_str()), ("longest_run_last_week", "s"));
    assert_eq!((b["arm"].as_str(), b["against"].as_str(), c["arm"].as_str()), ("B", "A", "C"));
    assert_eq!(number(c, "effect"), 2.0 * number(b, "effect"));
    // More participants than are made at a time: tables have one header each.
    let squad = rows(&first[Path::new("squad.csv")]);
    assert_eq!(squad.len(), 18);
    assert!(squad.iter().all(|row| row["athlete"].starts_with("runner-")));

    let alone = written("alone", "--athletes 3 --weeks 2");
    assert!(!alone.contains_key(Path::new("truth/effect.csv")));
    let none = written("none", "--athletes 4 --weeks 2 --arms 2 --no-effect");
    assert_eq!(number(&effect(&none)[0], "effect"), 0.0);
}

#[test]
fn a_trial_that_cannot_be_is_a_usage_error_with_its_range() {
    let scratch = tempfile::tempdir().unwrap();
    let place = scratch.path().join("trial");
    for (options, said) in [
        ("--athletes 0", "1..=10000"),
        ("--athletes 10001", "1..=10000"),
        ("--weeks 1", "2..=26"),
        ("--weeks 27", "2..=26"),
        ("--arms 0", "1..=4"),
        ("--arms 5", "1..=4"),
        ("--athletes 1 --arms 2", "an arm would be empty"),
        ("--seed x", "--seed"),
        ("--arms 1 --no-effect", "a single arm has no effect"),
        ("--no-effect", "--arms"),
    ] {
        let arguments = ["demo", place.to_str().unwrap()].into_iter().chain(options.split(' '));
        let ran = boutwise(arguments);
        assert_eq!(ran.status, 2, "{options}");
        assert!(ran.stderr.starts_with("error: ") && ran.stderr.contains(said), "{options}: {}", ran.stderr);
        assert!(ran.stderr.len() <= 600, "{options}: {}", ran.stderr);
        assert!(!place.exists());
    }
}

#[test]
fn the_command_that_a_trial_names_carries_the_arms() {
    let scratch = tempfile::tempdir().unwrap();
    for (arms, carries) in [("1", false), ("2", true)] {
        let folder = scratch.path().join(arms);
        let small = ["--athletes", "2", "--weeks", "2", "--arms", arms];
        let ran = boutwise(["demo", folder.to_str().unwrap()].into_iter().chain(small));
        assert_eq!(ran.stdout.contains("journal.csv --carry arm\n"), carries, "{}", ran.stdout);
    }
}

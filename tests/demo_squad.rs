//! The invented squad: what the audit finds is what is true of it.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use crate::command::{Row, audit, boutwise, number, rows, table};

pub(crate) struct Demo {
    folder: tempfile::TempDir,
}

impl Demo {
    pub(crate) fn written() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let ran = boutwise(["demo".as_ref(), folder.path().as_os_str()]);
        assert_eq!(ran.status, 0, "{}", ran.stderr);
        Self { folder }
    }

    pub(crate) fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    pub(crate) fn audited(&self) -> PathBuf {
        let (squad, journal) = (self.path("squad.csv"), self.path("journal.csv"));
        let out = self.path("out");
        let further = ["--squad", squad.to_str().unwrap(), "--journal", journal.to_str().unwrap()];
        let ran = audit(&self.path("recordings"), &out, &further);
        // One of the recordings is truncated on purpose.
        assert_eq!(ran.status, 1, "{}", ran.stderr);
        out
    }

    fn truth(&self, name: &str) -> Vec<Row> {
        rows(&std::fs::read(self.path("truth").join(format!("{name}.csv"))).unwrap())
    }
}

fn by_file(rows: Vec<Row>) -> BTreeMap<String, Row> {
    rows.into_iter().map(|row| (row["file"].clone(), row)).collect()
}

fn every_file_below(folder: &Path) -> usize {
    let entries = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path());
    entries.map(|path| if path.is_dir() { every_file_below(&path) } else { 1 }).sum()
}

/// The athlete whose slow jog nobody can tell from a walk.
const CANNOT_BE_TOLD: &str = "Eino";

#[test]
fn the_audit_finds_what_is_true_of_the_demo() {
    let demo = Demo::written();
    let out = demo.audited();
    let files = table(&out, "files");
    assert_eq!(files.len(), every_file_below(&demo.path("recordings")), "every file has its row");

    let runs_found = runs_by_file(&out);
    let found = by_file(table(&out, "sessions"));
    let (mut told, mut right_place, mut right_runs, mut right_longest) = (0, 0, 0, 0);
    for truth in demo.truth("sessions") {
        let file = &truth["file"];
        let Some(row) = found.get(file) else {
            assert_eq!(
                files.iter().find(|row| &row["file"] == file).unwrap()["status"],
                "duplicate",
                "{file}"
            );
            continue;
        };
        if truth["athlete"] == CANNOT_BE_TOLD {
            continue;
        }
        told += 1;
        let place = |row: &Row| (row["plan_block"].clone(), row["plan_session"].clone());
        right_place += usize::from(place(&truth) == place(row));
        let runs = runs_found.get(file).copied().unwrap_or(0);
        right_runs += usize::from(runs == number(&truth, "runs") as usize);
        let longest_s = if row["longest_run_s"].is_empty() { 0.0 } else { number(row, "longest_run_s") };
        right_longest += usize::from((longest_s - number(&truth, "longest_run_s")).abs() <= 12.0);
    }
    let share = |right: usize| right as f64 / told as f64;
    assert!(share(right_place) >= 0.97, "{right_place} of {told} on the right planned session");
    assert!(share(right_runs) >= 0.98, "{right_runs} of {told} with the right number of runs");
    assert!(share(right_longest) >= 0.98, "{right_longest} of {told} with the right longest run");

    let athletes: BTreeMap<String, Row> =
        table(&out, "athletes").into_iter().map(|row| (row["athlete"].clone(), row)).collect();
    for truth in demo.truth("athletes") {
        let row = &athletes[&truth["athlete"]];
        assert_eq!(row["proposal"], truth["proposal"], "{}: {}", truth["athlete"], row["reasons"]);
    }
}

/// Durations so near to the limit from which a rep or walk is told as short or long are open, in seconds (by definition).
const OPEN_S: f64 = 6.0;

fn is_length(event: &Row) -> bool {
    event["event"].ends_with("_short") || event["event"].ends_with("_long")
}

/// Whether a hole in the recording hides what became of a part.
fn is_hole(event: &Row) -> bool {
    event["event"] == "cannot_say" && !event["part"].is_empty()
}

/// Whether an event tells a length that may as well be within the plan.
fn is_open(event: &Row) -> bool {
    if !is_length(event) {
        return is_hole(event);
    }
    let (planned_s, done_s) = (number(event, "planned_s"), number(event, "done_s"));
    // design.md and adherence.md: the tolerance, and 15 %.
    let tolerance_s = if event["part"] == "rep" { 0.12 * planned_s } else { planned_s / 3.0 }.min(6.0);
    ((done_s - planned_s).abs() - tolerance_s.max(0.15 * planned_s)).abs() <= OPEN_S
}

#[test]
fn what_is_told_of_the_demo_happened_and_stands_on_the_page() {
    let demo = Demo::written();
    let out = demo.audited();
    let page = std::fs::read_to_string(out.join("report.html")).unwrap();
    let by_session = |rows: Vec<Row>| {
        let mut events: BTreeMap<String, Vec<Row>> = BTreeMap::new();
        rows.into_iter().for_each(|row| events.entry(row["file"].clone()).or_default().push(row));
        events
    };
    let (told, truth) = (by_session(table(&out, "events")), by_session(demo.truth("events")));
    let partial: Vec<String> = (table(&out, "files").into_iter())
        .filter(|file| file["status"] == "partial")
        .map(|file| file["file"].clone())
        .collect();
    // The place of a hole is told with the rep of which it leaves open whether it was run on.
    let key = |row: &Row, has_hole: bool| match has_hole && row["event"] == "paused" {
        true => [row["event"].clone(), String::new(), String::new()],
        false => [row["event"].clone(), row["part"].clone(), row["number"].clone()],
    };
    let (mut compared, mut holes, mut wrong) = (0, 0, Vec::new());
    for session in table(&out, "sessions") {
        let file = &session["file"];
        let of = |events: &BTreeMap<String, Vec<Row>>| events.get(file).cloned().unwrap_or_default();
        let told = of(&told);
        let shown = page.split(&format!("data-session=\"{file}#")).nth(1).expect("on the page");
        let shown = shown.split("</details>").next().unwrap();
        for event in &told {
            let is_alone = told.iter().filter(|other| other["event"] == event["event"]).count() == 1;
            assert!(
                !is_alone || shown.contains(&event["text"]),
                "{file}: {} stands on the page",
                event["text"]
            );
        }
        // On the plan, and told apart.
        if session["resolvable"] != "true" || session["plan_block"].is_empty() {
            continue;
        }
        compared += 1;
        holes += usize::from(told.iter().any(is_hole));
        if partial.contains(file) {
            assert!(matches!(&told[..], [cut] if cut["event"] == "recording_cut"), "{file}: {told:?}");
            continue;
        }
        let truth = of(&truth);
        let part = |row: &Row| [row["part"].clone(), row["number"].clone()];
        let open: Vec<_> = told.iter().chain(&truth).filter(|event| is_open(event)).map(part).collect();
        let has_hole = told.iter().any(is_hole);
        let keys = |rows: &[Row]| {
            let sure = |event: &&Row| !is_hole(event) && (!is_length(event) || !open.contains(&part(event)));
            let mut keys: Vec<_> = rows.iter().filter(sure).map(|row| key(row, has_hole)).collect();
            keys.sort();
            keys
        };
        let (told, truth) = (keys(&told), keys(&truth));
        if told != truth {
            wrong.push(format!("{file}: told {told:?}, happened {truth:?}"));
        }
    }
    // Who walks on while the device pauses leaves one.
    assert!(holes <= 2, "{holes}");
    assert!(compared >= 100 && wrong.is_empty(), "of {compared}:\n{}", wrong.join("\n"));
}

/// How many runs were found in each file.
fn runs_by_file(out: &Path) -> BTreeMap<String, usize> {
    let mut counts = BTreeMap::new();
    for bout in table(out, "bouts").into_iter().filter(|bout| bout["kind"] == "run") {
        *counts.entry(bout["file"].clone()).or_default() += 1;
    }
    counts
}

#[test]
fn without_a_plan_the_journal_still_speaks_and_beside_a_warning_sign_no_progress_is_told() {
    let demo = Demo::written();
    let (recordings, out, journal) = (demo.path("recordings"), demo.path("out"), demo.path("journal.csv"));
    let ran = audit(&recordings, &out, &["--journal", journal.to_str().unwrap()]);
    let line = |name: &str| {
        let lines: Vec<&str> =
            ran.stdout.lines().filter(|line| line.trim_start().starts_with(name)).collect();
        lines[0].split_whitespace().collect::<Vec<_>>().join(" ")
    };
    assert_eq!(line("Hauke"), "Hauke stop");
    assert!(line("Ilka").starts_with("Ilka hold 20:5"), "{}", line("Ilka"));
    let athletes = table(&out, "athletes");
    let of = |name: &str, column: &str| {
        athletes.iter().find(|row| row["athlete"] == name).unwrap()[column].clone()
    };
    assert_eq!((of("Hauke", "ready_3km"), of("Ilka", "ready_5km")), ("not now".into(), "not now".into()));
    assert_eq!((of("Cato", "ready_3km"), of("Cato", "ready_5km")), ("done".into(), "ready to try".into()));
}

#[test]
fn a_week_of_a_break_has_its_row_with_what_was_due() {
    let demo = Demo::written();
    let weeks = table(&demo.audited(), "weeks");
    let weeks: Vec<&Row> = weeks.iter().filter(|row| row["athlete"] == "Dagny").collect();
    assert_eq!(weeks.len(), 8);
    assert!(weeks.iter().all(|row| row["sessions_due"] == "3"));
    let silent: Vec<&&Row> = weeks.iter().filter(|row| row["sessions"] == "0").collect();
    assert_eq!(silent.len(), 2);
    assert!(silent.iter().all(|row| row["run_s"].is_empty()));
}

#[test]
fn a_folder_with_something_in_it_is_not_written_over() {
    let scratch = tempfile::tempdir().unwrap();
    std::fs::write(scratch.path().join("mine.txt"), "keep").unwrap();
    let ran = boutwise(["demo".as_ref(), scratch.path().as_os_str()]);
    assert_eq!(ran.status, 2);
    assert!(ran.stderr.contains("holds `mine.txt`: nothing was changed"), "{}", ran.stderr);
    assert_eq!(std::fs::read_to_string(scratch.path().join("mine.txt")).unwrap(), "keep");
}

//! From which day a squad is judged: by its recordings and notes, never by a clock.

use std::fs;
use std::path::{Path, PathBuf};

use boutwise_truth::files::{FileSettings, file_bytes};
use boutwise_truth::{Random, Sensors, SessionSettings, SyntheticSession, Tier};

use crate::command::{Ran, Row, audit, boutwise, table};

const PLAN: &str = "[[block]]\nsessions = 6\nevery_days = 2\nsession = \"5 x (3:00 run, 1:20 walk)\"\n";

/// Two people who ran on the days that are given, as in the file of a plan of one session.
struct Squad {
    folder: tempfile::TempDir,
}

impl Squad {
    fn new(ada: &[&str], tom: &[&str]) -> Self {
        let squad = Self { folder: tempfile::tempdir().unwrap() };
        fs::write(squad.path("plan.toml"), PLAN).unwrap();
        let session =
            SyntheticSession::draw(11, &SessionSettings::of(Tier::Easy).with_sensors(Sensors::WITH_CADENCE));
        let text =
            String::from_utf8(file_bytes(&session, &FileSettings::default(), &mut Random::new(1)).unwrap())
                .unwrap();
        let (written, _) = text.split_once("<time>").unwrap().1.split_once('T').unwrap();
        for (name, days) in [("Ada", ada), ("Tom", tom)] {
            fs::create_dir_all(squad.path("recordings").join(name)).unwrap();
            for day in days {
                fs::write(
                    squad.path("recordings").join(name).join(format!("{day}.gpx")),
                    text.replace(written, day),
                )
                .unwrap();
            }
        }
        squad
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn out(&self) -> PathBuf {
        self.path("out")
    }

    fn audited(&self, journal: &str, further: &[&str]) -> Ran {
        let (plan, file) = (self.path("plan.toml"), self.path("journal.csv"));
        fs::write(&file, format!("athlete,date,pain_0_10,warning_sign\n{journal}")).unwrap();
        let fixed = ["--plan", plan.to_str().unwrap(), "--journal", file.to_str().unwrap()];
        audit(&self.path("recordings"), &self.out(), &[&fixed, further].concat())
    }

    fn athlete(&self, name: &str) -> Row {
        table(&self.out(), "athletes").into_iter().find(|row| row["athlete"] == name).unwrap()
    }
}

const ADA: [&str; 3] = ["2026-04-06", "2026-04-08", "2026-04-10"];
const TOM: [&str; 3] = ["2026-04-06", "2026-04-08", "2026-04-12"];

#[test]
fn a_sign_noted_on_the_day_after_the_newest_recording_is_heard() {
    let squad = Squad::new(&ADA, &TOM);
    let ran = squad.audited("Tom,2026-04-13,,chest\n", &[]);
    assert_eq!(ran.status, 0, "{}", ran.stderr);
    assert_eq!(squad.athlete("Tom")["proposal"], "stop");
    assert!(ran.stdout.contains("judged as of 2026-04-12"), "{}", ran.stdout);
    assert!(ran.stdout.contains("Tom as of 2026-04-13"), "{}", ran.stdout);
    assert!(!ran.stdout.contains("Ada as of"), "{}", ran.stdout);
    let (out, folder) = (squad.out(), squad.path("recordings"));
    let held = boutwise(["verify".as_ref(), out.as_os_str(), folder.as_os_str()]);
    assert_eq!(held.status, 0, "{}{}", held.stdout, held.stderr);
}

#[test]
fn a_note_far_ahead_ends_the_run_with_its_place_and_nothing_is_written() {
    let squad = Squad::new(&ADA, &TOM);
    let ran = squad.audited("Tom,2027-04-13,,chest\n", &[]);
    assert_eq!(ran.status, 2);
    assert!(ran.stderr.starts_with("error: "), "{}", ran.stderr);
    for part in ["journal.csv, line 2, column 5", "2027-04-13", "^^^^", "2026-04-26", "--as-of"] {
        assert!(ran.stderr.contains(part), "{part}\n{}", ran.stderr);
    }
    assert!(!squad.out().exists());
}

#[test]
fn under_a_named_day_a_later_sign_is_left_out_and_said_first() {
    let squad = Squad::new(&ADA, &TOM);
    let ran = squad.audited("Tom,2027-04-13,,chest\n", &["--as-of", "2026-04-12"]);
    assert_eq!(ran.status, 0, "{}", ran.stderr);
    let first = ran.stdout.lines().next().unwrap();
    assert!(first.starts_with("Tom: warning sign chest noted on 2027-04-13"), "{}", ran.stdout);
    assert_ne!(squad.athlete("Tom")["proposal"], "stop");
}

#[test]
fn a_clock_far_ahead_moves_neither_the_day_nor_a_proposal() {
    let without = Squad::new(&ADA, &TOM);
    without.audited("", &[]);
    let with = Squad::new(&ADA, &[TOM.as_slice(), &["2031-01-01"]].concat());
    let ran = with.audited("", &[]);
    let first = ran.stdout.lines().next().unwrap();
    assert!(first.starts_with("Tom/2031-01-01.gpx: recorded on 2031-01-01"), "{}", ran.stdout);
    for name in ["Ada", "Tom"] {
        assert_eq!(with.athlete(name), without.athlete(name));
    }
    let sessions = table(&with.out(), "sessions");
    let row = sessions.iter().find(|row| row["file"] == "Tom/2031-01-01.gpx").unwrap();
    assert!(row["plan_block"].is_empty() && row["notes"].contains("clock"), "{row:?}");
}

#[test]
fn recordings_after_the_named_day_change_nothing_before_it() {
    let early = Squad::new(&ADA, &TOM[..2]);
    early.audited("", &["--as-of", "2026-04-10"]);
    let late = Squad::new(&ADA, &TOM);
    late.audited("", &["--as-of", "2026-04-10"]);
    for name in ["Ada", "Tom"] {
        assert_eq!(late.athlete(name), early.athlete(name));
    }
    let page = |squad: &Squad, name: &str| fs::read_to_string(squad.out().join(name)).unwrap();
    assert_eq!(page(&late, "group.html"), page(&early, "group.html"));
    // On the page they stand apart, and in no count or chart.
    let [late_page, early_page] = [&late, &early].map(|squad| page(squad, "report.html"));
    assert!(late_page.contains("after the as-of day: left out"));
    let charts = |page: &str| -> Vec<String> {
        page.split("aria-label=\"").skip(1).map(|rest| rest.split('"').next().unwrap().to_owned()).collect()
    };
    let longest = |page: &str| -> Vec<String> {
        charts(page).into_iter().filter(|label| label.starts_with("Longest unbroken run")).collect()
    };
    assert!(!longest(&early_page).is_empty());
    assert_eq!(longest(&late_page), longest(&early_page));
}

#[test]
fn a_lone_runner_back_after_a_long_rest_is_told_and_counted() {
    let squad = Squad::new(&["2026-01-06", "2026-04-06"], &[]);
    let ran = squad.audited("", &[]);
    assert!(ran.stdout.lines().next().unwrap().contains("90 days after"), "{}", ran.stdout);
    assert!(ran.stdout.contains("judged as of 2026-04-06"), "{}", ran.stdout);
}

#[test]
fn the_ranking_of_runs_tells_a_clock_far_ahead_too() {
    let squad = Squad::new(&ADA, &[TOM.as_slice(), &["2031-01-01"]].concat());
    let ran = boutwise(["longest".as_ref(), squad.path("recordings").as_os_str()]);
    assert!(!ran.stdout.contains("2031"), "{}", ran.stdout);
    // How near a distance is never stands alone.
    let (near, caution) = ("without a break: ", "Journal and plan were not looked at");
    assert!(ran.stdout.contains(near), "{}", ran.stdout);
    assert_eq!(
        ran.stdout.matches(caution).count(),
        ran.stdout.split("\n\n").filter(|of| of.contains(near)).count()
    );
    assert!(ran.stderr.contains("Tom/2031-01-01.gpx"), "{}", ran.stderr);
}

#[test]
fn a_stop_for_a_whole_group_the_day_after_the_newest_recording_is_not_lost() {
    let squad = Squad::new(&["2026-03-02", "2026-03-04", "2026-03-06"], &["2026-03-02"]);
    squad.audited("", &[]);
    let (before, planned) = (squad.athlete("Ada"), table(&squad.out(), "planned"));
    let (rows, journal) = (squad.path("squad.csv"), squad.path("group.csv"));
    fs::write(&rows, "athlete,group\nAda,Harbour\nTom,\n").unwrap();
    fs::write(&journal, "athlete,group,date,coach_decision\n,Harbour,2026-03-07,stop\n").unwrap();
    let plan = squad.path("plan.toml");
    let audited = |further: &[&str]| {
        let files = ["--plan", plan.to_str().unwrap(), "--squad", rows.to_str().unwrap()];
        let journal = ["--journal", journal.to_str().unwrap()];
        audit(&squad.path("recordings"), &squad.out(), &[&files[..], &journal, further].concat())
    };
    let ran = audited(&[]);
    assert!(ran.stdout.starts_with("group Harbour: stop decided on 2026-03-07"), "{}", ran.stdout);
    let ada = squad.athlete("Ada");
    assert_eq!([&ada["proposal"], &ada["coach_decision"], &ada["next_block"]], ["stop", "stop", ""]);
    assert_eq!(ada["computed_proposal"], before["computed_proposal"]);
    assert_eq!(squad.athlete("Tom")["coach_decision"], "");
    let days = |rows: Vec<Row>| {
        rows.into_iter().map(|row| row["due_date"].clone() + &row["due"]).collect::<Vec<_>>()
    };
    assert_eq!(days(table(&squad.out(), "planned")), days(planned), "nobody's calendar moves");
    // Of a day that was named nothing later counts.
    audited(&["--as-of", "2026-03-06"]);
    assert_eq!(squad.athlete("Ada")["coach_decision"], "");
}

fn sources(folder: &Path, found: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            sources(&path, found);
        } else if path.extension().is_some_and(|ending| ending == "rs") {
            found.push(path);
        }
    }
}

/// Names by which Rust's standard library and the crates in use ask for the present.
const CLOCK_CALLS: [&str; 7] = [
    "SystemTime",
    "Instant::now",
    "Utc::now",
    "Local::now",
    "OffsetDateTime::now",
    "UNIX_EPOCH",
    "elapsed()",
];

/// The one source that reads a stopwatch, which knows no day; what it tells goes to standard error and into no result.
const STOPWATCH: (&str, [&str; 2]) = ("crates/cli/src/timings.rs", ["Instant::now", "elapsed()"]);

#[test]
fn no_source_of_the_program_asks_for_the_present() {
    let crates = Path::new(env!("CARGO_MANIFEST_DIR")).join("..").canonicalize().unwrap();
    let mut files = Vec::new();
    for entry in fs::read_dir(crates).unwrap() {
        let source = entry.unwrap().path().join("src");
        if source.is_dir() {
            sources(&source, &mut files);
        }
    }
    assert!(files.len() > 100, "{}", files.len());
    for path in files {
        let text = fs::read_to_string(&path).unwrap();
        let may = |call: &&&str| path.ends_with(STOPWATCH.0) && STOPWATCH.1.contains(*call);
        let asked = CLOCK_CALLS.iter().filter(|call| !may(call)).find(|call| text.contains(*call));
        assert_eq!(asked, None, "{}", path.display());
    }
}

//! The audit as a library: no command is started, no folder is written.

use std::collections::BTreeSet;
use std::fs;
use std::ops::ControlFlow;
use std::path::Path;

use boutwise_audit::{
    AthleteFindings, Audit, Beginning, Configuration, ErrorKind, Inputs, SeasonFiles, SeasonPaths, Sink,
    StoredAudit, audit, audit_into, audit_stored, propose_owners, read_plan, unwatched,
};
use boutwise_bouts::{EventKind, Gait, IntervalStatus, Kind};
use boutwise_report::{Cell, FileRow, NoteRow, PlannedOutcome, Row, SessionOutcome, Tables};
use boutwise_season::{Corrections, Journal, Plan, Remark, Settings, SignWords, Squad, Verdict};
use boutwise_track::Status;
use boutwise_truth::squad::write_demo;
use serde::de::DeserializeOwned;

struct Demo(tempfile::TempDir);

impl Demo {
    fn written() -> Self {
        let scratch = tempfile::tempdir().unwrap();
        write_demo(&scratch.path().join("demo")).unwrap();
        Self(scratch)
    }

    fn path(&self, name: &str) -> std::path::PathBuf {
        self.0.path().join("demo").join(name)
    }

    fn files(&self) -> SeasonFiles {
        let (squad, journal) = (Some(self.path("squad.csv")), Some(self.path("journal.csv")));
        SeasonFiles::read(
            &SeasonPaths { squad, journal, ..SeasonPaths::default() },
            &Configuration::default().settings,
        )
        .unwrap()
    }

    fn audited(&self, inputs: &Inputs) -> Audit {
        audit(inputs, &self.files(), &Configuration::default(), &unwatched).unwrap()
    }
}

fn every_file(folder: &Path, name: &str, found: &mut Vec<(String, Vec<u8>)>) {
    for entry in fs::read_dir(folder).unwrap().map(Result::unwrap) {
        let last = entry.file_name().into_string().unwrap();
        let name = if name.is_empty() { last } else { format!("{name}/{last}") };
        match entry.path().is_dir() {
            true => every_file(&entry.path(), &name, found),
            false => found.push((name, fs::read(entry.path()).unwrap())),
        }
    }
}

#[test]
fn names_with_bytes_give_what_a_folder_gives() {
    let demo = Demo::written();
    let folder = demo.path("recordings");
    let from_folder = demo.audited(&Inputs::below(&folder).unwrap());
    let mut files = Vec::new();
    every_file(&folder, "", &mut files);
    files.reverse();
    let from_bytes = demo.audited(&Inputs::of_bytes("recordings", files));
    assert!(from_folder.tables == from_bytes.tables);
    assert_eq!(from_folder.pages, from_bytes.pages);
    let (folder, bytes) = (&from_folder.overview, &from_bytes.overview);
    assert_eq!((&folder.title, &folder.notes), (&bytes.title, &bytes.notes));
    assert!(from_folder.athletes.len() > 5 && folder.as_of.is_some());
}

#[test]
fn rows_that_were_put_by_are_those_of_the_tables() {
    fn all<R: Row + DeserializeOwned>(stored: &StoredAudit) -> Vec<R> {
        stored.rows().flat_map(Result::unwrap).collect()
    }
    let demo = Demo::written();
    let inputs = Inputs::below(&demo.path("recordings")).unwrap();
    let stored = audit_stored(&inputs, &demo.files(), &Configuration::default(), &unwatched).unwrap();
    let tables = Tables {
        files: all(&stored),
        sessions: all(&stored),
        bouts: all(&stored),
        intervals: all(&stored),
        events: all(&stored),
        athletes: all(&stored),
        weeks: all(&stored),
        planned: all(&stored),
        notes: all(&stored),
    };
    assert!(tables == demo.audited(&inputs).tables);
    assert!(tables.planned.len() > 20 && tables.notes.len() > 5 && tables.weeks.len() > 20);
}

#[test]
fn the_caller_sees_every_file_go_by_and_may_stop() {
    let demo = Demo::written();
    let inputs = Inputs::below(&demo.path("recordings")).unwrap();
    let seen = std::sync::Mutex::new(Vec::new());
    let watch = |done: usize, total: usize| {
        seen.lock().unwrap().push((done, total));
        ControlFlow::Continue(())
    };
    audit(&inputs, &demo.files(), &Configuration::default(), &watch).unwrap();
    let mut seen = seen.into_inner().unwrap();
    seen.sort_unstable();
    seen.dedup();
    assert_eq!(seen, (0..=inputs.len()).map(|done| (done, inputs.len())).collect::<Vec<_>>());

    let stop =
        |done: usize, _: usize| if done >= 3 { ControlFlow::Break(()) } else { ControlFlow::Continue(()) };
    let error = audit(&inputs, &demo.files(), &Configuration::default(), &stop).unwrap_err();
    assert_eq!(error.kind(), ErrorKind::Stopped);
}

#[test]
fn as_many_threads_work_as_were_asked_for() {
    let demo = Demo::written();
    let inputs = Inputs::below(&demo.path("recordings")).unwrap();
    for asked in [1, 2, 5] {
        // Each worker waits until all have been seen, so that none can do the work of another; not for ever.
        let seen = std::sync::Mutex::new(std::collections::HashSet::new());
        let since = std::time::Instant::now();
        let watch = |_: usize, _: usize| {
            seen.lock().unwrap().insert(std::thread::current().id());
            while seen.lock().unwrap().len() < asked && since.elapsed().as_secs() < 20 {
                std::thread::sleep(std::time::Duration::from_millis(1));
            }
            ControlFlow::Continue(())
        };
        let configuration =
            Configuration { threads: std::num::NonZeroUsize::new(asked), ..Configuration::default() };
        audit(&inputs, &demo.files(), &configuration, &watch).unwrap();
        assert_eq!(seen.into_inner().unwrap().len(), asked);
    }
}

#[test]
fn what_the_page_remarks_follows_the_settings_of_the_coach() {
    let demo = Demo::written();
    let inputs = Inputs::below(&demo.path("recordings")).unwrap();
    let overdone = |settings: &str| {
        let configuration = Configuration {
            settings: Settings::parse(settings, "coach.toml").unwrap(),
            ..Configuration::default()
        };
        let found = audit(&inputs, &demo.files(), &configuration, &unwatched).unwrap();
        let remarks = found.pages.iter().flat_map(|page| &page.remarks).flat_map(|of| &of.remarks);
        remarks.filter(|remark| matches!(remark, Remark::Overdone { .. })).count()
    };
    assert!(overdone("[rules]\noverdone_good_pct = 0\n") > 0);
    assert_eq!(overdone("[rules]\noverdone_good_pct = 500\n"), 0);
}

#[test]
fn stopped_on_the_page_is_cut_short_in_the_table() {
    let demo = Demo::written();
    let found = demo.audited(&Inputs::below(&demo.path("recordings")).unwrap());
    let mut on_the_page: Vec<(&str, u64)> = (found.pages.iter().flat_map(|page| &page.remarks))
        .filter(|of| {
            of.remarks
                .iter()
                .any(|remark| matches!(remark, Remark::Happened { kind: EventKind::StoppedAfter, .. }))
        })
        .map(|of| (of.file.as_str(), of.session))
        .collect();
    on_the_page.sort_unstable();
    let mut in_the_table: Vec<(&str, u64)> = (found.tables.sessions.iter())
        .filter(|row| row.outcome == Some(SessionOutcome::CutShort))
        .map(|row| (row.file.as_str(), row.session))
        .collect();
    in_the_table.sort_unstable();
    assert!(!in_the_table.is_empty());
    assert_eq!(on_the_page, in_the_table);
}

#[test]
fn those_who_need_attention_come_first() {
    let demo = Demo::written();
    let found = demo.audited(&Inputs::below(&demo.path("recordings")).unwrap());
    let names: Vec<&str> =
        found.overview.by_urgency().iter().map(|athlete| athlete.row.athlete.as_str()).collect();
    assert_eq!(names[0], "Hauke", "who noted a warning sign: {names:?}");
    let judged: Vec<&str> = found.athletes.iter().map(|judgement| judgement.athlete.as_str()).collect();
    let overviews: Vec<&str> =
        found.overview.athletes.iter().map(|athlete| athlete.row.athlete.as_str()).collect();
    assert_eq!(judged, overviews);
}

#[test]
fn a_season_file_that_cannot_be_understood_names_file_and_place() {
    let scratch = tempfile::tempdir().unwrap();
    let plan = scratch.path().join("plan.toml");
    fs::write(&plan, "[[block]]\nsession = \"8 x (0:40 rum, 1:20 walk)\"\n").unwrap();
    let paths = SeasonPaths { plan: Some(plan.clone()), ..SeasonPaths::default() };
    let error = SeasonFiles::read(&paths, &Configuration::default().settings).unwrap_err();
    assert_eq!((error.kind(), error.path()), (ErrorKind::SeasonFile, Some(plan.as_path())));
    assert_eq!(error.place().map(|place| place.line()), Some(2));
    let missing = SeasonPaths { squad: Some(scratch.path().join("none.csv")), ..SeasonPaths::default() };
    assert_eq!(
        SeasonFiles::read(&missing, &Configuration::default().settings).unwrap_err().kind(),
        ErrorKind::Unopenable
    );
    assert_eq!(Inputs::below(&scratch.path().join("nowhere")).unwrap_err().kind(), ErrorKind::NoInput);
}

/// Six minutes of running along a meridian, a point a second, from a moment on; where the runner is follows from the time
/// of day.
fn run_from(start: &str) -> Vec<u8> {
    let start: chrono::NaiveDateTime = start.parse().unwrap();
    let point = |second: i64| {
        let time = start + chrono::TimeDelta::seconds(second);
        let metres = 2.4 * f64::from(chrono::Timelike::num_seconds_from_midnight(&time));
        format!(
            "<trkpt lat=\"{:.6}\" lon=\"5\"><time>{}Z</time></trkpt>",
            50.0 + metres / 111_000.0,
            time.format("%Y-%m-%dT%H:%M:%S")
        )
    };
    let points: String = (0..360).map(point).collect();
    format!("<gpx version=\"1.1\"><trk><trkseg>{points}</trkseg></trk></gpx>").into_bytes()
}

fn of_bytes(files: &[(&str, Vec<u8>)]) -> Inputs {
    Inputs::of_bytes("harbour", files.iter().map(|(name, bytes)| ((*name).to_owned(), bytes.clone())))
}

#[test]
fn what_a_hole_in_a_recording_hides_is_neither_done_nor_missed() {
    let whole = String::from_utf8(long_run("2026-03-03T17:00:00", |_| 140.0)).unwrap();
    let points: Vec<&str> = whole.split_inclusive("</trkpt>").collect();
    let holed = [&points[..600], &points[1200..]].concat().concat().into_bytes();
    let mut files = SeasonFiles::default();
    files.plan = Some(Plan::parse("[[block]]\nsession = '5:00 walk, 24:50 run'\n", "plan.toml").unwrap());
    let read = |bytes: Vec<u8>| {
        let inputs = of_bytes(&[("mira/run.gpx", bytes)]);
        let tables = audit(&inputs, &files, &Configuration::default(), &unwatched).unwrap().tables;
        let row = &tables.sessions[0];
        let events: Vec<&str> = tables.events.iter().map(|event| event.event.word()).collect();
        (row.reps_done, row.reps_missed, row.reps_not_recorded, events.join(" "))
    };
    assert_eq!(read(whole.clone().into_bytes()), (Some(1), Some(0), Some(0), String::new()));
    assert_eq!(read(holed), (Some(0), Some(0), Some(1), "cannot_say paused".to_owned()));
}

#[test]
fn a_clock_that_was_not_set_enters_no_record_of_days() {
    let inputs = of_bytes(&[
        ("mira/lost.gpx", run_from("1970-01-01T00:02:00")),
        ("mira/run.gpx", run_from("2026-03-03T17:00:00")),
    ]);
    let found = audit(&inputs, &SeasonFiles::default(), &Configuration::default(), &unwatched).unwrap();
    let counted: Vec<_> = found.tables.sessions.iter().map(|row| (row.file.as_str(), row.counted)).collect();
    assert_eq!(counted, [("mira/lost.gpx", Some(false)), ("mira/run.gpx", Some(true))]);
    assert_eq!(found.tables.weeks.len(), 1);
    assert_eq!(found.tables.athletes[0].days_out_28d, Some(1));
}

#[test]
fn what_two_devices_recorded_at_one_time_is_summed_once_and_whole() {
    let inputs = of_bytes(&[
        ("mira/phone.gpx", run_from("2026-03-03T17:03:00")),
        ("mira/watch.gpx", run_from("2026-03-03T17:00:00")),
    ]);
    let found = audit(&inputs, &SeasonFiles::default(), &Configuration::default(), &unwatched).unwrap();
    let counted: Vec<_> = found.tables.sessions.iter().filter(|row| row.counted == Some(true)).collect();
    assert_eq!((found.tables.sessions.len(), counted.len()), (2, 1));
    assert_eq!((found.tables.weeks.len(), found.tables.weeks[0].sessions), (1, 1));
    assert_eq!(found.tables.weeks[0].run_s, counted[0].run_s);
}

#[test]
fn what_a_copy_lost_is_told_unless_the_other_recording_has_it() {
    let (first, second) = (run_from("2026-03-03T17:00:00"), run_from("2026-03-05T17:00:00"));
    let both = [first.clone(), second].concat();
    let status_of = |name: &str, bytes: Vec<u8>| {
        let inputs = of_bytes(&[("mira/a.gpx", first.clone()), (name, bytes)]);
        let audit = audit(&inputs, &SeasonFiles::default(), &Configuration::default(), &unwatched).unwrap();
        assert_eq!(audit.tables.sessions.len(), 1);
        let file = audit.tables.files.iter().find(|file| file.file == name).unwrap();
        let notes = file.notes.join("; ");
        assert!(notes.contains("duplicate of `mira/a.gpx`"), "{notes}");
        (file.status, audit.overview.is_clean(), notes)
    };
    let (status, is_clean, notes) = status_of("mira/b.gpx", both.clone());
    assert_eq!((status, is_clean), (Status::Partial, false));
    assert!(notes.contains("second document"), "{notes}");
    let cut = first[..first.len() / 2].to_vec();
    assert_eq!(status_of("mira/b.gpx", cut).0, Status::Duplicate);
    // The same bytes lost the same, and that is told of the first.
    let inputs = of_bytes(&[("mira/a.gpx", both.clone()), ("mira/b.gpx", both)]);
    let audit = audit(&inputs, &SeasonFiles::default(), &Configuration::default(), &unwatched).unwrap();
    let statuses: Vec<Status> = audit.tables.files.iter().map(|file| file.status).collect();
    assert_eq!(statuses, [Status::Partial, Status::Duplicate]);
}

/// Twelve minutes on the spot in the middle of which the device stands still, its totals a point a second.
fn with_a_stop() -> Vec<u8> {
    let way_m = |second: u32| 2.5 * f64::from(second.min(300)) + 2.5 * f64::from(second.saturating_sub(420));
    let point = |second: u32| {
        // One who stands drifts a little.
        let metres = way_m(second) + 0.2 * f64::from(second);
        format!(
            "<Trackpoint><Time>2026-03-03T17:{:02}:{:02}Z</Time><DistanceMeters>{metres:.3}</DistanceMeters></Trackpoint>",
            second / 60,
            second % 60
        )
    };
    let points: String = (0..=720).map(point).collect();
    format!(
        "<TrainingCenterDatabase><Activities><Activity Sport=\"Running\"><Lap><Track>{points}</Track></Lap></Activity></Activities></TrainingCenterDatabase>"
    )
    .into_bytes()
}

#[test]
fn a_pace_is_told_of_runs_and_walks_only() {
    let inputs = of_bytes(&[("mira/a.tcx", with_a_stop())]);
    let audit = audit(&inputs, &SeasonFiles::default(), &Configuration::default(), &unwatched).unwrap();
    let bouts = &audit.tables.bouts;
    assert!(
        bouts.iter().any(|bout| bout.kind == Kind::Stand && bout.distance_m.is_some_and(|m| m > 0.0)),
        "{bouts:?}"
    );
    for bout in bouts {
        let is_on_the_move = matches!(bout.kind, Kind::Run | Kind::Walk);
        assert_eq!(bout.pace_s_per_km.is_some(), is_on_the_move, "{bout:?}");
    }
}

#[test]
fn a_day_without_runs_stands_on_pages_until_it_is_over() {
    let inputs = of_bytes(&[("mira/run.gpx", run_from("2026-03-03T17:00:00"))]);
    let mut files = SeasonFiles::default();
    files.journal =
        Journal::read(b"athlete,date,pain_0_10\nmira,2026-03-03,2\n", "journal.csv", &SignWords::default())
            .unwrap();
    let no_run_before = |as_of: &str| {
        let configuration = Configuration { as_of: as_of.parse().ok(), ..Configuration::default() };
        let found = audit(&inputs, &files, &configuration, &unwatched).unwrap();
        (found.pages[0].no_run_before, found.tables.athletes[0].no_run_before)
    };
    let first: Option<chrono::NaiveDate> = "2026-03-06".parse().ok();
    assert_eq!(no_run_before("2026-03-05"), (first, first));
    assert_eq!(no_run_before("2026-03-06"), (None, first));
}

#[test]
fn the_target_of_a_page_is_the_athletes_own_goal() {
    let starts = [("03", "2026-03-03T17:00:00"), ("05", "2026-03-05T17:00:00")];
    for (goal_m, target_m, others) in [("1200", 1200.0, ["5 km", "3 km"]), ("3000", 3000.0, ["5 km", ""])] {
        let squad = format!("athlete,goal_m\nMira,{goal_m}\n");
        let found =
            audited(&starts, &squad, &[], "file,plan_block,plan_session\n", &Configuration::default());
        let page = &found.pages[0];
        assert_eq!(page.target.as_ref().map(|target| target.distance_m), Some(target_m));
        let told: Vec<&str> = page
            .facts
            .iter()
            .filter_map(|fact| fact.split_once(" without a break: "))
            .map(|(km, _)| km)
            .collect();
        assert_eq!(told, others.into_iter().filter(|km| !km.is_empty()).collect::<Vec<_>>());
    }
}

/// What is said of all of an audit of six-minute runs on some days of March, with plans by name and what was told by hand.
fn notes(
    days: &[u32],
    squad: &str,
    plans: &[(&str, &str)],
    corrections: &str,
    settings: &str,
) -> Vec<String> {
    let starts = days.iter().map(|day| format!("2026-03-{day:02}T17:00:00"));
    let starts: Vec<(String, String)> =
        days.iter().zip(starts).map(|(day, start)| (format!("{day:02}"), start)).collect();
    let starts: Vec<(&str, &str)> = starts.iter().map(|(name, start)| (&**name, &**start)).collect();
    let configuration = Configuration {
        settings: Settings::parse(settings, "coach.toml").unwrap(),
        ..Configuration::default()
    };
    audited(&starts, squad, plans, corrections, &configuration).overview.notes
}

/// An audit of Mira's six-minute runs, each with its name and start.
fn audited(
    starts: &[(&str, &str)],
    squad: &str,
    plans: &[(&str, &str)],
    corrections: &str,
    configuration: &Configuration,
) -> Audit {
    let runs = starts.iter().map(|(name, start)| (format!("Mira/{name}.gpx"), run_from(start)));
    let mut files = SeasonFiles::default();
    files.squad = Some(Squad::read(squad.as_bytes(), "squad.csv").unwrap());
    files.corrections = Corrections::read(corrections.as_bytes(), "corrections.csv").unwrap();
    let plan = |(name, text): &(&str, &str)| ((*name).to_owned(), Plan::parse(text, name).unwrap());
    files.squad_plans = plans.iter().map(plan).collect();
    audit(&Inputs::of_bytes("harbour", runs), &files, configuration, &unwatched).unwrap()
}

/// What is said by the rows of corrections.
fn of_corrections(audit: &Audit) -> Vec<&str> {
    let notes = audit.overview.notes.iter().map(String::as_str);
    notes.filter(|note| note.starts_with("corrections.csv")).collect()
}

/// Three sessions of a six-minute run, then three of twenty minutes.
const SHORT_THEN_LONG: &str = "[[block]]\nsessions = 4\nevery_days = 2\nsession = '6:00 run'\n\
     [[block]]\nsessions = 3\nevery_days = 2\nsession = '20:00 run'\n";

#[test]
fn a_word_by_hand_against_the_order_is_told_where_it_is_the_earlier_of_the_two() {
    let told = |corrections: &str| {
        let squad = "athlete,plan,start\nMira,p.toml,2026-03-03\n";
        let notes = notes(&[3, 5, 7, 9], squad, &[("p.toml", SHORT_THEN_LONG)], corrections, "");
        notes.into_iter().filter(|note| note.starts_with("corrections.csv")).collect::<Vec<_>>()
    };
    assert_eq!(
        told("file,plan_block,plan_session\nMira/05.gpx,B,2\n"),
        [
            "corrections.csv, line 2: B, 2 on 2026-03-05 comes before A, 3 on 2026-03-07, which it follows in the plan; the \
          word stands"
        ]
    );
    assert_eq!(told("file,plan_block,plan_session\nMira/05.gpx,A,2\n"), Vec::<String>::new());
}

#[test]
fn a_session_of_another_plan_than_the_one_followed_that_day_is_told() {
    let second = "[[block]]\nlabel = 'Hill'\nsessions = 3\nevery_days = 2\nsession = '6:00 run'\n";
    let squad = "athlete,plan,start\nMira,one.toml,2026-03-03\nMira,two.toml,2026-03-07\n";
    let plans = [("one.toml", SHORT_THEN_LONG), ("two.toml", second)];
    let told = |corrections: &str| {
        let notes = notes(&[3, 5, 7, 9], squad, &plans, corrections, "");
        notes.into_iter().filter(|note| note.starts_with("corrections.csv")).collect::<Vec<_>>()
    };
    assert_eq!(
        told("file,plan_block,plan_session\nMira/05.gpx,Hill,2\n"),
        [
            "corrections.csv, line 2: on 2026-03-05 Mira follows one, which has no session Hill, 2: the cell changes nothing"
        ]
    );
    assert_eq!(told("file,plan_block,plan_session\nMira/09.gpx,Hill,2\n"), Vec::<String>::new());
}

#[test]
fn whoever_has_a_folder_is_one_person_with_the_folder_that_bears_the_name() {
    let found = |whole: &str, places: [&str; 3], row: &str| {
        let runs = places.iter().zip(THREE).map(|(place, (_, start))| ((*place).to_owned(), run_from(start)));
        let mut files = SeasonFiles::default();
        files.squad =
            Some(Squad::read(format!("athlete,also,folder\n{row}\n").as_bytes(), "squad.csv").unwrap());
        let found =
            audit(&Inputs::of_bytes(whole, runs), &files, &Configuration::default(), &unwatched).unwrap();
        let names: BTreeSet<String> = found.tables.sessions.iter().map(|row| row.athlete.clone()).collect();
        (names.into_iter().collect::<Vec<_>>().join(" "), found.overview.notes.join("\n"))
    };
    let told = |files: &str| {
        format!(
            "Zo\u{eb}: {files} in a folder that bears the name, but in none that the squad file has as a folder of Zo\u{eb}"
        )
    };
    for (whole, places, files) in [
        ("harbour", ["watch/03.gpx", "zo\u{eb}/05.gpx", "Zoe\u{308}/07.gpx"], "2 files lie"),
        ("harbour", ["watch/03.gpx", "ZIZI/05.gpx", "watch/07.gpx"], "1 file lies"),
        ("ZO\u{cb}", ["watch/03.gpx", "watch/05.gpx", "07.gpx"], "1 file lies"),
    ] {
        let (names, notes) = found(whole, places, "Zo\u{eb},Zizi,watch");
        assert_eq!(names, "Zo\u{eb}", "{places:?}");
        assert!(notes.contains(&told(files)), "{places:?}: {notes}");
    }
    // A name alike is another's, and what the squad file joins needs no word.
    let (names, notes) = found("harbour", ["watch/03.gpx", "zoe/05.gpx", "watch/07.gpx"], "Zo\u{eb},,watch");
    assert!(names == "Zo\u{eb} zoe" && notes.contains("zoe: recordings, but no row"), "{names}: {notes}");
    let (names, notes) =
        found("harbour", ["watch/03.gpx", "zo\u{eb}/05.gpx", "watch/07.gpx"], "Zo\u{eb},,watch|zo\u{eb}");
    assert!(names == "Zo\u{eb}" && !notes.contains("bears the name"), "{names}: {notes}");
}

/// Evenings of March on which Mira runs.
const THREE: [(&str, &str); 3] =
    [("03", "2026-03-03T17:00:00"), ("05", "2026-03-05T17:00:00"), ("07", "2026-03-07T17:00:00")];
const ONE_PLAN: &str = "athlete,plan,start\nMira,p.toml,2026-03-03\n";

#[test]
fn what_was_done_without_a_recording_counts_once_and_what_became_of_the_row_is_told() {
    let plans = [("p.toml", SHORT_THEN_LONG), ("q.toml", SHORT_THEN_LONG)];
    let of = |starts: &[(&str, &str)], squad: &str, row: &str, told: &[&str], counts: u64| {
        let rows = format!("athlete,file,plan_block,plan_session\nMira,,{row}\n");
        let found = audited(starts, squad, &plans, &rows, &Configuration::default());
        assert_eq!(of_corrections(&found), told, "{row}");
        assert_eq!(found.tables.athletes[0].sessions_attempted, Some(counts), "{row}");
    };
    let can_go = "corrections.csv, line 2: A, 2 has a recording, Mira/05.gpx, which counts: the row can go";
    of(&THREE, ONE_PLAN, "A,2", &[can_go], 3);
    of(&[THREE[0], THREE[2]], ONE_PLAN, "A,2", &[], 3);
    let later = "corrections.csv, line 2: B, 1 falls due on 2026-03-11: the row counts from that day on";
    of(&THREE, ONE_PLAN, "B,1", &[later], 3);
    let two = format!("{ONE_PLAN}Mira,q.toml,2026-03-07\n");
    let first = "corrections.csv, line 2: several plans of Mira have A, 2: the row counts in p";
    of(&[THREE[0], THREE[2]], &two, "A,2", &[first], 3);
    let second = "corrections.csv, line 2: several plans of Mira have A, 2: the row counts in q";
    of(&[THREE[0], THREE[2], ("11", "2026-03-11T17:00:00")], &two, "A,2", &[second], 4);
    let unbegun = format!("{ONE_PLAN}Mira,hill.toml,2026-03-20\n");
    let hill = "[[block]]\nlabel = 'Hill'\nsession = '6:00 run'\n";
    let rows = "athlete,file,plan_block,plan_session\nMira,,Hill,1\n";
    let plans = [("p.toml", SHORT_THEN_LONG), ("hill.toml", hill)];
    let found = audited(&THREE, &unbegun, &plans, rows, &Configuration::default());
    let text = "corrections.csv, line 2: hill begins after 2026-03-07: the row counts nothing until then";
    assert_eq!(of_corrections(&found), [text]);
}

#[test]
fn a_word_for_a_recording_in_whose_place_another_counts_is_told_unless_that_is_the_same_session() {
    let starts = [("watch", "2026-03-03T17:00:00"), ("phone", "2026-03-03T17:03:00"), THREE[1]];
    let of = |rows: &str| {
        let rows = format!("file,plan_block,plan_session,to_s\n{rows}");
        audited(&starts, ONE_PLAN, &[("p.toml", SHORT_THEN_LONG)], &rows, &Configuration::default())
    };
    let two = of("Mira/watch.gpx,A,1,\nMira/phone.gpx,A,2,\n");
    let [told] = of_corrections(&two)[..] else { panic!("{:?}", two.overview.notes) };
    assert!(
        told.ends_with(".gpx, of the same time, counts in its place: the cell changes nothing"),
        "{told}"
    );
    assert!(of_corrections(&of("Mira/watch.gpx,A,1,\nMira/phone.gpx,A,1,\n")).is_empty());
    // What does not count of a recording shares no time with another.
    let cut = of("Mira/watch.gpx,,,170\n");
    let counted: Vec<_> = cut.tables.sessions.iter().map(|row| row.counted).collect();
    assert_eq!(counted, [Some(true); 3]);
    assert!(cut.tables.sessions.iter().all(|row| row.overlaps_file.is_empty()));
}

#[test]
fn what_was_cut_off_by_hand_does_not_count_by_another_recording_of_its_time() {
    let counted = |starts: &[(&str, &str)], rows: &str| {
        let rows = format!("file,plan_block,plan_session,to_s\n{rows}");
        let plans = [("p.toml", SHORT_THEN_LONG)];
        let found = audited(starts, ONE_PLAN, &plans, &rows, &Configuration::default());
        let rows = found.tables.sessions.iter().filter(|row| row.counted == Some(true));
        let files: Vec<String> = rows.map(|row| row.file.clone()).collect();
        (files.join(" "), of_corrections(&found).join("\n"))
    };
    let cut = "Mira/watch.gpx,,,240\n";
    let phone_does_not = "corrections.csv, line 2: Mira/phone.gpx, of the same time, counts for nothing: this one does, \
                          as it was cut";
    // The other one is longer than what is left.
    let starts = [("watch", "2026-03-03T17:00:00"), ("phone", "2026-03-03T17:00:20")];
    let by_hand = ("Mira/watch.gpx".to_owned(), phone_does_not.to_owned());
    assert_eq!(counted(&starts, cut), by_hand);
    // A session of the plan by hand outranks a cut, and that is told; with both words a recording counts before one with either.
    let phone_counts = "corrections.csv, line 2: Mira/phone.gpx, of the same time, counts in its place: the cell changes nothing";
    let by_phone = ("Mira/phone.gpx".to_owned(), phone_counts.to_owned());
    assert_eq!(counted(&starts, &format!("{cut}Mira/phone.gpx,A,1,\n")), by_phone);
    assert_eq!(counted(&starts, "Mira/watch.gpx,A,1,240\nMira/phone.gpx,A,1,\n"), by_hand);
    // A copy of it does not count either, though it comes first.
    let copies = [("watch", "2026-03-03T17:00:00"), ("a", "2026-03-03T17:00:00")];
    assert_eq!(counted(&copies, cut), ("Mira/watch.gpx".to_owned(), String::new()));
}

#[test]
fn which_session_it_is_says_nothing_of_the_day_and_stands_without_one() {
    let of = |starts: &[(&str, &str)], row: &str| {
        let rows = format!("file,use,plan_block,plan_session\nMira/x.gpx,{row}\n");
        let plans = [("p.toml", SHORT_THEN_LONG)];
        let files = [("Mira/a.gpx", THREE[0].1), ("Mira/c.gpx", THREE[2].1), ("Bea/b.gpx", THREE[2].1)];
        let others = files.iter().map(|(name, start)| ((*name).to_owned(), run_from(start)));
        let runs = others.chain(starts.iter().map(|(name, start)| ((*name).to_owned(), run_from(start))));
        let mut files = SeasonFiles::default();
        files.squad = Some(Squad::read(ONE_PLAN.as_bytes(), "squad.csv").unwrap());
        files.corrections = Corrections::read(rows.as_bytes(), "corrections.csv").unwrap();
        files.squad_plans =
            plans.iter().map(|(name, text)| ((*name).to_owned(), Plan::parse(text, name).unwrap())).collect();
        let inputs = Inputs::of_bytes("harbour", runs);
        let found = audit(&inputs, &files, &Configuration::default(), &unwatched).unwrap();
        let second = found.tables.planned.iter().find(|row| row.plan_session == 2).map(|row| row.outcome);
        let told = of_corrections(&found).join("\n").replace("corrections.csv, line 2: ", "");
        (found.overview.as_of.map(|day| day.to_string()), second.unwrap(), told)
    };
    let day = || Some("2026-03-07".to_owned());
    let said = "its day can't be known: the session counts as done without a recording";
    let not_set = [("Mira/x.gpx", "2000-01-01T08:00:00")];
    for row in [",A,2", "yes,A,2"] {
        assert_eq!(of(&not_set, row), (day(), Some(PlannedOutcome::Said), said.to_owned()), "{row}");
    }
    let unknown = "its day can't be known, as its clock was not set: use = yes changes nothing";
    assert_eq!(of(&not_set, "yes,,"), (day(), Some(PlannedOutcome::Missed), unknown.to_owned()));
    // A clock that may be wrong moves nobody's day by a word of the session; the word that its day is right does.
    let ahead = [("Mira/x.gpx", "2027-06-01T17:00:00")];
    let mend = format!("{said}; with use = yes its own day is right");
    assert_eq!(of(&ahead, ",A,2"), (day(), Some(PlannedOutcome::Said), mend));
    assert_eq!(of(&ahead, "yes,A,2").0, Some("2027-06-01".to_owned()));
}

#[test]
fn whoever_is_not_judged_for_an_overlap_is_not_said_to_have_no_plan() {
    let at_once = [("a", "2026-03-03T17:00:00"), ("b", "2026-03-03T17:01:00"), ("c", "2026-03-03T17:02:00")];
    let rows = "file,plan_block,plan_session\nMira/a.gpx,A,1\n";
    let plans = [("p.toml", SHORT_THEN_LONG)];
    let found = audited(&at_once, ONE_PLAN, &plans, rows, &Configuration::default());
    let text = "corrections.csv, line 2: Mira is not judged, as recordings overlap: the cell changes nothing";
    assert_eq!(of_corrections(&found), [text]);
}

#[test]
fn the_coachs_word_stands_for_whom_nobody_judges_for_an_overlap() {
    let at_once = [("a", "2026-03-03T17:00:00"), ("b", "2026-03-03T17:01:00"), ("c", "2026-03-03T17:02:00")];
    let runs = at_once.iter().map(|(name, start)| (format!("Mira/{name}.gpx"), run_from(start)));
    let inputs = Inputs::of_bytes("harbour", runs);
    for (word, verdict) in [("stop", Verdict::Stop), ("hold", Verdict::Hold), ("advance", Verdict::Advance)] {
        let mut files = SeasonFiles::default();
        files.plan = Some(Plan::parse(SHORT_THEN_LONG, "p").unwrap());
        let text = format!("athlete,date,coach_decision\nMira,2026-03-03,{word}\n");
        files.journal = Journal::read(text.as_bytes(), "journal.csv", &SignWords::default()).unwrap();
        let found = audit(&inputs, &files, &Configuration::default(), &unwatched).unwrap();
        let (row, page) = (&found.tables.athletes[0], &found.pages[0]);
        assert_eq!((row.proposal, row.coach_decision), (Some(verdict), Some(verdict)));
        assert_eq!(row.computed_proposal, None);
        assert!(row.reasons[0].starts_with("overlap: "), "{:?}", row.reasons);
        let is_stop = verdict == Verdict::Stop;
        assert_eq!((page.is_stopped, page.is_paused), (is_stop, is_stop), "{word}");
    }
}

#[test]
fn what_lies_after_the_day_that_is_named_changes_nothing_before_it() {
    let at_once = [("a", "2026-03-09T17:00:00"), ("b", "2026-03-09T17:01:00"), ("c", "2026-03-09T17:02:00")];
    let of = |starts: &[(&str, &str)], as_of: &str| {
        let configuration = Configuration { as_of: as_of.parse().ok(), ..Configuration::default() };
        let plans = [("p.toml", SHORT_THEN_LONG)];
        let found = audited(starts, ONE_PLAN, &plans, "file,use\n", &configuration);
        (found.tables.athletes, found.overview.warnings)
    };
    let later: Vec<(&str, &str)> = THREE.into_iter().chain(at_once).collect();
    assert_eq!(of(&later, "2026-03-07"), of(&THREE, "2026-03-07"));
    assert_eq!(of(&later, "2026-03-09").1.len(), 1);
    // Before her first recording too.
    assert_eq!(of(&THREE, "2026-03-02"), of(&[], "2026-03-02"));
    // What begins after midnight takes nothing from the evening before.
    let evening = ("z", "2026-03-07T23:57:00");
    assert_eq!(of(&[evening, ("a", "2026-03-08T00:00:00")], "2026-03-07"), of(&[evening], "2026-03-07"));
}

#[test]
fn blocks_from_which_nobody_advances_by_the_coachs_rules_are_told() {
    let squad = "athlete,plan,start\nMira,p.toml,2026-03-03\n";
    let told = |settings: &str| {
        let notes = notes(&[3], squad, &[("p.toml", SHORT_THEN_LONG)], "file,use\n", settings);
        notes
            .iter()
            .any(|note| note.starts_with("p: block A has 4 sessions, and advancing needs 5 good ones"))
    };
    assert!(told("[rules]\nmin_good_sessions = 5\nwindow_sessions = 6\n"));
    assert!(!told(""));
}

/// Takes a number of athletes and wants no more.
struct Few(usize, Vec<String>);

impl Sink for Few {
    type Made = String;
    type Stop = &'static str;

    fn begin(&mut self, beginning: &Beginning) -> ControlFlow<&'static str> {
        match beginning.athletes.is_empty() {
            true => ControlFlow::Break("nobody"),
            false => ControlFlow::Continue(()),
        }
    }

    fn make(&self, findings: AthleteFindings) -> String {
        findings.judgement.athlete
    }

    fn athlete(&mut self, made: String) -> ControlFlow<&'static str> {
        self.1.push(made);
        if self.1.len() == self.0 { ControlFlow::Break("enough") } else { ControlFlow::Continue(()) }
    }

    fn file(&mut self, _: FileRow, _: Vec<NoteRow>) -> ControlFlow<&'static str> {
        ControlFlow::Break("no files")
    }
}

#[test]
fn a_sink_takes_athletes_in_order_and_may_stop_at_any() {
    let demo = Demo::written();
    let inputs = Inputs::below(&demo.path("recordings")).unwrap();
    let mut all: Vec<String> = (demo.audited(&inputs).athletes.into_iter()).map(|one| one.athlete).collect();
    let stopped = |inputs: &Inputs, files: &SeasonFiles, most: usize| {
        let mut few = Few(most, Vec::new());
        let flow = audit_into(inputs, files, &Configuration::default(), &mut few, &unwatched).unwrap();
        (flow.break_value(), few.1)
    };
    assert_eq!(stopped(&inputs, &demo.files(), usize::MAX), (Some("no files"), all.clone()));
    all.truncate(3);
    assert_eq!(stopped(&inputs, &demo.files(), 3), (Some("enough"), all));
    assert_eq!(stopped(&of_bytes(&[]), &SeasonFiles::default(), 1), (Some("nobody"), vec![]));
}

#[test]
fn nothing_of_a_command_line_is_in_the_tree() {
    let cargo = std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
    let arguments = ["tree", "--package", "boutwise-audit", "--edges", "normal", "--prefix", "none"];
    let ran = std::process::Command::new(cargo)
        .args(arguments)
        .arg("--offline")
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .output()
        .unwrap();
    let tree = String::from_utf8(ran.stdout).unwrap();
    assert!(tree.starts_with("boutwise-audit"), "{}", String::from_utf8_lossy(&ran.stderr));
    for name in ["clap", "indicatif", "comfy-table", "anyhow"] {
        assert!(!tree.lines().any(|line| line.starts_with(&format!("{name} "))), "{name}");
    }
}

#[test]
fn corrections_of_what_is_not_there_are_told_with_the_nearest() {
    let told = |corrections: &str| {
        let plans = [("p.toml", SHORT_THEN_LONG)];
        let squad = "athlete,plan,start\nMira,p.toml,2026-03-03\n";
        let notes = notes(&[3, 5, 7, 9], squad, &plans, corrections, "");
        notes.into_iter().filter(|note| note.starts_with("corrections.csv")).collect::<Vec<_>>()
    };
    let gone = "corrections.csv, line 2: Mira/05.gpx has no session 99, so that the row changes nothing; did you mean 1?";
    for rest in ["use\nMira/05.gpx,99,no", "use\nMira/05.gpx,99,yes", "from_s\nMira/05.gpx,99,30"] {
        assert_eq!(told(&format!("file,session,{rest}\n")), [gone], "{rest}");
    }
    assert_eq!(
        told("file,athlete\nMira/05.gpx,Mirra\nMira/07.gpx,MIRA\n"),
        [
            "corrections.csv, line 2: nothing else names Mirra, who is judged as one more person; did you mean Mira?"
        ]
    );
    assert_eq!(
        told("file,from_s\nMira/05.gpx,100000\nMira/07.gpx,30\n"),
        ["corrections.csv, line 2: nothing of the recording, which lasts 359 s, lies in this part"]
    );
    assert_eq!(told("file,session,use\nMira/05.gpx,1,no\n"), Vec::<String>::new());
}

#[test]
fn who_is_named_by_a_folder_is_nobody_new_without_a_squad_file() {
    let told = |name: &str| {
        let inputs = of_bytes(&[
            ("ben/a.gpx", run_from("2026-03-03T17:00:00")),
            ("mira/b.gpx", run_from("2026-03-05T17:00:00")),
        ]);
        let mut files = SeasonFiles::default();
        let text = format!("file,athlete\nmira/b.gpx,{name}\n");
        files.corrections = Corrections::read(text.as_bytes(), "corrections.csv").unwrap();
        audit(&inputs, &files, &Configuration::default(), &unwatched).unwrap().overview.notes
    };
    let new = |name: &str, meant: &str| {
        [format!(
            "corrections.csv, line 2: nothing else names {name}, who is judged as one more person{meant}"
        )]
    };
    // Names of folders are those of the same person in the same letters alone.
    assert_eq!(told("bem"), new("bem", "; did you mean ben?"));
    assert_eq!(told("Ben"), new("Ben", "; did you mean ben?"));
    assert_eq!(told("Somebody Else"), new("Somebody Else", ""));
    assert_eq!(told("ben"), Vec::<String>::new());
    assert_eq!(told("mira"), Vec::<String>::new());
}

#[test]
fn what_a_part_without_anything_in_it_lacks_is_not_missed() {
    let inputs = of_bytes(&[("mira/a.gpx", run_from("2026-03-03T17:00:00"))]);
    let mut files = SeasonFiles::default();
    files.plan = Some(Plan::parse("[[block]]\nsession = '6:00 run'\n", "p.toml").unwrap());
    let text = "file,plan_block,plan_session,from_s\nmira/a.gpx,A,1,100000\n";
    files.corrections = Corrections::read(text.as_bytes(), "corrections.csv").unwrap();
    let found = audit(&inputs, &files, &Configuration::default(), &unwatched).unwrap();
    let row = &found.tables.sessions[0];
    assert_eq!((row.plan_block.as_deref(), row.adherence_pct, row.reps_missed), (Some("A"), None, None));
    assert_eq!(found.tables.intervals.len(), 0);
    let events: Vec<&str> = found.tables.events.iter().map(|row| row.event.word()).collect();
    assert_eq!(events, ["cannot_say"]);
}

#[test]
fn a_plan_that_starts_long_after_it_was_followed_is_said_first() {
    let first = |start: &str| {
        let squad = format!("athlete,plan,start\nMira,p.toml,{start}\n");
        let notes = notes(&[3, 5, 7, 9], &squad, &[("p.toml", SHORT_THEN_LONG)], "file,use\n", "");
        notes.into_iter().next().filter(|note| note.contains("squad file"))
    };
    assert_eq!(
        first("2027-03-03").as_deref(),
        Some(
            "Mira: the plan starts on 2027-03-03 by the squad file, 365 days after it was followed for the first time, on \
             2026-03-03: if that start is wrong, so is every day of the plan; correct it"
        )
    );
    assert_eq!([first("2026-03-03"), first("2026-03-05"), first("2026-03-01")], [None, None, None]);
}

#[cfg(unix)]
#[test]
fn a_folder_that_cannot_be_followed_is_the_athletes_whose_name_it_bears() {
    let scratch = tempfile::tempdir().unwrap();
    let folder = scratch.path().join("harbour");
    fs::create_dir_all(folder.join("mira")).unwrap();
    fs::write(folder.join("mira/run.gpx"), run_from("2026-03-03T17:00:00")).unwrap();
    std::os::unix::fs::symlink("/nowhere/Ben", folder.join("Ben")).unwrap();
    let inputs = Inputs::below(&folder).unwrap();
    let found = audit(&inputs, &SeasonFiles::default(), &Configuration::default(), &unwatched).unwrap();
    let athletes: Vec<&str> = found.athletes.iter().map(|athlete| athlete.athlete.as_str()).collect();
    assert_eq!(athletes, ["Ben", "mira"]);
}

/// A recording of the heart rate alone, for so many minutes.
fn beats_from(start: &str, minutes: i64) -> Vec<u8> {
    let start: chrono::NaiveDateTime = start.parse().unwrap();
    let point = |second: i64| {
        let time = start + chrono::TimeDelta::seconds(second);
        format!(
            "<Trackpoint><Time>{time:?}Z</Time><HeartRateBpm><Value>{}</Value></HeartRateBpm></Trackpoint>",
            120 + second % 7
        )
    };
    let points: String = (0..60 * minutes).map(point).collect();
    let lap = format!("<Lap><Track>{points}</Track></Lap>");
    format!("<TrainingCenterDatabase><Activities><Activity Sport='Running'>{lap}</Activity></Activities></TrainingCenterDatabase>")
        .into_bytes()
}

#[test]
fn a_long_recording_of_the_heart_rate_alone_displaces_no_run_of_its_time() {
    let inputs = of_bytes(&[
        ("Mira/phone.gpx", run_from("2026-03-03T17:00:00")),
        ("Mira/watch.tcx", beats_from("2026-03-03T16:30:00", 90)),
    ]);
    let found = audit(&inputs, &SeasonFiles::default(), &Configuration::default(), &unwatched).unwrap();
    let counted = |row: &boutwise_report::SessionRow| (row.file.clone(), row.counted);
    let mut counted: Vec<_> = found.tables.sessions.iter().map(counted).collect();
    counted.sort();
    let expected = [("Mira/phone.gpx", true), ("Mira/watch.tcx", false)];
    assert_eq!(counted, expected.map(|(file, counts)| (file.to_owned(), Some(counts))));
    assert!(found.tables.weeks[0].run_s.is_some_and(|run_s| run_s > 300.0));
}

#[test]
fn what_may_be_a_copy_on_another_clock_is_told_in_the_summary_too() {
    let run = run_from("2026-03-03T17:00:00");
    let copy = String::from_utf8(run.clone()).unwrap().replace("T17:", "T19:").into_bytes();
    let inputs = of_bytes(&[
        ("Mira/a.gpx", run),
        ("Mira/b.gpx", copy),
        ("Mira/c.gpx", run_from("2026-03-05T17:10:00")),
    ]);
    let found = audit(&inputs, &SeasonFiles::default(), &Configuration::default(), &unwatched).unwrap();
    let told = |note: &&String| note.contains("a copy of");
    let told: Vec<&String> = found.overview.notes.iter().filter(told).collect();
    let text = "Mira/b.gpx may be a copy of Mira/a.gpx on a clock of another time zone, and both count: if it is, write it \
                into the corrections with `use` = no";
    assert_eq!(told, [text]);
}

#[test]
fn nobody_advances_on_what_may_be_a_copy() {
    let run = run_from("2026-03-05T17:00:00");
    let copy = String::from_utf8(run.clone()).unwrap().replace("T17:", "T19:").into_bytes();
    let proposed = |run_before: bool, rows: &str| {
        let before = ("Mira/03.gpx", run_from("2026-03-03T17:10:00"));
        let mut recordings = vec![("Mira/a.gpx", run.clone()), ("Mira/b.gpx", copy.clone())];
        recordings.extend(run_before.then_some(before));
        let mut files = SeasonFiles::default();
        files.plan = Some(Plan::parse(SHORT_THEN_LONG, "p").unwrap());
        let text = format!("file,use,plan_block,plan_session\n{rows}");
        files.corrections = Corrections::read(text.as_bytes(), "corrections.csv").unwrap();
        let found = audit(&of_bytes(&recordings), &files, &Configuration::default(), &unwatched).unwrap();
        let row = &found.tables.athletes[0];
        let is_told = row.reasons.iter().any(|reason| reason.contains("b.gpx may be a copy of Mira/a.gpx"));
        (row.proposal, is_told)
    };
    let (hold, advance) = (Some(Verdict::Hold), Some(Verdict::Advance));
    assert_eq!(proposed(false, ""), (hold, true));
    assert_eq!(proposed(false, "Mira/b.gpx,no,,\n"), (hold, false));
    // The coach knows better, or there is enough without it.
    assert_eq!(proposed(false, "Mira/b.gpx,yes,,\n"), (advance, false));
    assert_eq!(proposed(false, "Mira/b.gpx,,A,2\n"), (advance, false));
    assert_eq!(proposed(true, ""), (advance, false));
}

#[test]
fn names_that_differ_in_how_they_are_written_alone_are_told_without_a_squad_file() {
    let run = run_from("2026-03-03T17:00:00");
    let names = ["Ann/a.gpx", "ann/b.gpx", "\u{dc}mit/a.gpx", "U\u{308}mit/b.gpx", "Bob/a.gpx"];
    let told = |files: &SeasonFiles| {
        let inputs = of_bytes(&names.map(|name| (name, run.clone())));
        let found = audit(&inputs, files, &Configuration::default(), &unwatched).unwrap();
        let told = found.overview.notes.iter().filter(|note| note.contains("only in how they are written"));
        told.map(|note| note.split(':').next().unwrap().to_owned()).collect::<Vec<_>>()
    };
    assert_eq!(told(&SeasonFiles::default()), ["Ann, ann", "U\u{308}mit, \u{dc}mit"]);
    let mut files = SeasonFiles::default();
    files.squad = Some(Squad::read("athlete\nAnn\n\u{dc}mit\nBob\n".as_bytes(), "squad.csv").unwrap());
    assert!(told(&files).is_empty());
}

#[test]
fn no_owners_file_is_made_that_could_not_be_read() {
    let propose = |letters: usize| {
        let name = format!("{}/a.gpx", "x".repeat(letters));
        let inputs = of_bytes(&[(&name, run_from("2026-03-03T17:00:00"))]);
        propose_owners(&inputs, &SeasonFiles::default(), &Configuration::default(), &unwatched)
    };
    let written = propose(200).unwrap().owners.text().unwrap();
    boutwise_season::Owners::read(written.as_bytes(), "owners.csv").unwrap();
    let error = propose(201).unwrap_err();
    assert!(error.to_string().contains("a name of 201 letters"), "{error}");
}

#[cfg(unix)]
#[test]
fn nobody_waits_for_a_pipe_to_be_written() {
    let scratch = tempfile::tempdir().unwrap();
    let pipe = scratch.path().join("plan.toml");
    assert!(std::process::Command::new("mkfifo").arg(&pipe).status().unwrap().success());
    let (sender, receiver) = std::sync::mpsc::channel();
    std::thread::spawn(move || sender.send(read_plan(&pipe).map(|_| ())));
    let read = receiver.recv_timeout(std::time::Duration::from_secs(20)).expect("no waiting");
    assert_eq!(read.unwrap_err().kind(), ErrorKind::Unopenable);
}

/// A long run between walks, a point a second, with a heart rate and a cadence of 156 steps a minute while running.
fn long_run(start: &str, heart_rate_bpm: impl Fn(u32) -> f64) -> Vec<u8> {
    let start: chrono::NaiveDateTime = start.parse().unwrap();
    let mut metres = 0.0;
    let point = |second: u32| {
        let (speed, cadence_spm) = if (300..1800).contains(&second) { (2.4, 156) } else { (1.4, 112) };
        metres += speed;
        let sensors = format!(
            "<extensions><x:TrackPointExtension><x:hr>{}</x:hr><x:cad>{cadence_spm}</x:cad></x:TrackPointExtension></extensions>",
            heart_rate_bpm(second)
        );
        format!(
            "<trkpt lat=\"{:.6}\" lon=\"5\"><time>{}Z</time>{sensors}</trkpt>",
            50.0 + metres / 111_000.0,
            (start + chrono::TimeDelta::seconds(second.into())).format("%Y-%m-%dT%H:%M:%S"),
        )
    };
    let points: String = (0..2000).map(point).collect();
    let space = "http://www.garmin.com/xmlschemas/TrackPointExtension/v1";
    format!("<gpx version=\"1.1\" xmlns:x=\"{space}\"><trk><trkseg>{points}</trkseg></trk></gpx>")
        .into_bytes()
}

#[test]
fn a_sensor_that_is_not_used_gives_no_figure_but_the_plain_mean() {
    let is_run = |second: u32| (300..1800).contains(&second);
    let inputs = of_bytes(&[
        (
            "ada/heart.gpx",
            long_run("2026-03-03T17:00:00", |second| {
                f64::from(120 + second % 5) + if is_run(second) { 20.0 } else { 0.0 }
            }),
        ),
        (
            "mira/steps.gpx",
            long_run("2026-03-03T17:00:00", |second| {
                f64::from(second % 3) + if is_run(second) { 155.0 } else { 111.0 }
            }),
        ),
        ("tom/stuck.gpx", long_run("2026-03-03T17:00:00", |_| 142.0)),
    ]);
    let found = audit(&inputs, &SeasonFiles::default(), &Configuration::default(), &unwatched).unwrap();
    let filled: Vec<_> = (found.tables.sessions.iter())
        .map(|row| (row.run_hr_mean_bpm, row.hr_fall_60s_bpm, row.speed_per_beat_loss_pct))
        .map(|(mean, fall, loss)| [mean.is_some(), fall.is_some(), loss.is_some()])
        .collect();
    assert_eq!(filled, [[true; 3], [true, false, false], [true, false, false]]);
    let said: Vec<_> =
        found.tables.sessions.iter().map(|row| row.notes.join(" ").contains("not used")).collect();
    assert_eq!(said, [false, true, true]);
}

/// A recording of the same kind indoors: no place, no distance, nothing that tells a time zone.
fn indoors(start: &str) -> Vec<u8> {
    let start: chrono::NaiveDateTime = start.parse().unwrap();
    let point = |second: i64| {
        let time = (start + chrono::TimeDelta::seconds(second)).format("%Y-%m-%dT%H:%M:%S");
        format!(
            "<Trackpoint><Time>{time}Z</Time><HeartRateBpm><Value>{}</Value></HeartRateBpm></Trackpoint>",
            120 + second % 7
        )
    };
    let points: String = (0..360).map(point).collect();
    let activity = format!("<Activity Sport=\"Running\"><Lap><Track>{points}</Track></Lap></Activity>");
    format!("<TrainingCenterDatabase><Activities>{activity}</Activities></TrainingCenterDatabase>")
        .into_bytes()
}

#[test]
fn what_tells_no_zone_takes_the_athletes_own_and_only_without_one_the_squads() {
    let far =
        |start: &str| String::from_utf8(run_from(start)).unwrap().replace("lon=\"5\"", "lon=\"-118.2\"");
    let lea = [
        ("lea/1.gpx", far("2026-03-03T03:10:00").replace("lat=\"50", "lat=\"34").into_bytes()),
        ("lea/2.tcx", indoors("2026-03-05T03:10:00")),
    ];
    let squad: Vec<_> = (lea.iter().cloned())
        .chain([
            ("rey/1.gpx", run_from("2026-03-03T18:00:00")),
            ("rey/2.gpx", run_from("2026-03-05T18:00:00")),
            ("tom/1.tcx", indoors("2026-03-05T23:40:00")),
        ])
        .collect();
    let of = |files: &[(&str, Vec<u8>)]| {
        audit(&of_bytes(files), &SeasonFiles::default(), &Configuration::default(), &unwatched).unwrap()
    };
    let (alone, together) = (of(&lea), of(&squad));
    let told = |found: &Audit| -> Vec<String> {
        let row = |row: &boutwise_report::SessionRow| {
            let (start, zone) = (row.start_local.unwrap(), row.time_zone.as_deref().unwrap_or_default());
            format!("{} {} {zone} {}", row.file, start.format("%dT%H"), row.time_zone_source.unwrap().word())
        };
        found.tables.sessions.iter().map(row).collect()
    };
    let own = ["lea/1.gpx 02T19 America/Los_Angeles position", "lea/2.tcx 04T19 America/Los_Angeles own"];
    assert_eq!(told(&alone), own);
    assert_eq!(told(&together)[..2], own);
    assert_eq!(told(&together)[4], "tom/1.tcx 06T00 Europe/Brussels others");
    assert_eq!(alone.pages[0], together.pages[0]);
}

#[test]
fn a_session_again_on_another_clock_is_nobody_elses() {
    let heart_rate_bpm = |second: u32| f64::from(120 + second % 5);
    let inputs = of_bytes(&[
        ("mira/phone.gpx", long_run("2026-03-03T17:00:00", heart_rate_bpm)),
        ("mira/watch.gpx", long_run("2026-03-03T17:15:00", heart_rate_bpm)),
    ]);
    let found = audit(&inputs, &SeasonFiles::default(), &Configuration::default(), &unwatched).unwrap();
    let told: Vec<_> = found.tables.sessions.iter().map(|row| (row.counted, row.notes.join("; "))).collect();
    assert_eq!([told[0].0, told[1].0], [Some(true), Some(false)]);
    assert!(told[0].1.contains("a slip of the time zone;") && !told[0].1.contains("both count"), "{told:?}");
    assert!(
        found.overview.notes.iter().all(|note| !note.contains("both count")),
        "{:?}",
        found.overview.notes
    );
}

/// A reason why a cell is empty is one for all columns that give it.
fn assert_reasons_hold<R: Row>(rows: &[R]) {
    for row in rows {
        let mut empty: std::collections::BTreeMap<&str, Vec<(&str, bool)>> = Default::default();
        row.each_cell(|column, cell| {
            let reason = column.when_empty().unwrap_or_default();
            if reason.starts_with("laid on no planned session") || reason == "no point has a valid time" {
                empty.entry(reason).or_default().push((column.name, cell == Cell::Missing));
            }
        });
        for (reason, cells) in empty {
            assert!(cells.iter().all(|(_, is_empty)| *is_empty == cells[0].1), "{reason}: {cells:?}");
        }
    }
}

#[test]
fn cells_are_empty_for_the_reasons_that_the_columns_give() {
    let asked = |session: &str| {
        let mut files = SeasonFiles::default();
        let plan = format!("[[block]]\nsession = '{session}'\n");
        files.plan = Some(Plan::parse(&plan, "plan.toml").unwrap());
        let by_hand = b"file,plan_block,plan_session\nmira/run.gpx,A,1\n";
        files.corrections = Corrections::read(by_hand, "corrections.csv").unwrap();
        let run = long_run("2026-03-03T17:00:00", |_| f64::NAN);
        let inputs =
            of_bytes(&[("mira/run.gpx", String::from_utf8(run).unwrap().replace("NaN", "").into_bytes())]);
        audit(&inputs, &files, &Configuration::default(), &unwatched).unwrap().tables
    };
    let walk = asked("35:00 walk");
    let run = asked("5:00 walk, 25:30 run, 0:30 walk, 1:00 run");
    assert_reasons_hold(&walk.sessions);
    assert_reasons_hold(&run.sessions);
    assert!(walk.sessions[0].adherence_pct.is_some() && run.sessions[0].dose_pct.is_some());
    assert_eq!((run.sessions[0].hr_mean_bpm, run.sessions[0].hr_share_pct), (None, Some(0.0)));
    // What was missed was not done at all; how much of a walk beside it was walked nobody can tell.
    let done: Vec<_> = (run.intervals.iter())
        .filter(|row| row.status == IntervalStatus::Missed)
        .map(|row| (row.kind, row.done_s))
        .collect();
    assert_eq!(done, [(Gait::Walk, None), (Gait::Run, Some(0.0))]);
}

//! The audit as a library: no command is started, no folder is written.

use std::fs;
use std::ops::ControlFlow;
use std::path::Path;

use boutwise_audit::{Audit, Configuration, ErrorKind, Inputs, SeasonFiles, SeasonPaths, audit, unwatched};
use boutwise_bouts::EventKind;
use boutwise_season::{Remark, Settings};
use boutwise_truth::squad::write_demo;

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
    assert_eq!((from_folder.title, from_folder.notes), (from_bytes.title, from_bytes.notes));
    assert!(from_folder.athletes.len() > 5 && from_folder.as_of.is_some());
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
    assert_eq!(seen, (1..=inputs.len()).map(|done| (done, inputs.len())).collect::<Vec<_>>());

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
    assert!(overdone("[rules]\noverdone_good_pct = 1\n") > 0);
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
        .filter(|row| row.outcome.as_deref() == Some("cut short"))
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
    let names: Vec<&str> = found.by_urgency().iter().map(|(_, row)| row.athlete.as_str()).collect();
    assert_eq!(names[0], "Hauke", "who noted a warning sign: {names:?}");
    assert!(found.by_urgency().iter().all(|(judgement, row)| judgement.athlete == row.athlete));
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

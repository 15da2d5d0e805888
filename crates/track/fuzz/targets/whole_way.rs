//! The whole way from bytes to the report: a recording, and a plan, a squad and a journal beside it, parted by 0xff.

#![no_main]

use std::num::NonZeroUsize;

use boutwise_audit::{Configuration, Inputs, SeasonFiles, audit, unwatched};
use boutwise_report::{ReportSettings, write_report};
use boutwise_season::{Journal, Plan, SignWords, Squad, decode};
use libfuzzer_sys::fuzz_target;

fuzz_target!(|bytes: &[u8]| {
    let mut parts = bytes.split(|byte| *byte == 0xff);
    let recording = parts.next().unwrap_or_default();
    let mut files = SeasonFiles::default();
    files.plan = parts.next().and_then(|plan| Plan::parse(&decode(plan), "plan.toml").ok());
    files.squad = parts.next().and_then(|squad| Squad::read(squad, "squad.csv").ok());
    let journal = parts.next().and_then(|text| Journal::read(text, "journal.csv", &SignWords::default()).ok());
    files.journal = journal.unwrap_or_default();
    let inputs = Inputs::of_bytes("harbour", [("ada/run.gpx".to_owned(), recording.to_vec())]);
    let configuration = Configuration { threads: NonZeroUsize::new(1), ..Configuration::default() };
    let Ok(found) = audit(&inputs, &files, &configuration, &unwatched) else { return };
    assert_eq!(found.tables.files.iter().filter(|row| row.file == "ada/run.gpx").count(), 1);
    let mut bytes_written = 0;
    let page = |_: &str, text: &str| {
        bytes_written += text.len();
        Ok(())
    };
    write_report(&found.report(), &ReportSettings::default(), page).expect("memory takes all pages");
    assert!(bytes_written <= 10_000_000 + 12 * bytes.len(), "{bytes_written} bytes of pages");
});

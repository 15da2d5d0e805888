//! Reads a journal, a squad, an owners and a corrections file of a million rows each, and prints how long it takes and how
//! much memory it needs: `cargo run --release -p boutwise-season --example large_tables [ROWS]`.

use std::fmt::Write;
use std::time::Instant;

use boutwise_season::{Corrections, Error, Journal, Owners, SignWords, Squad};
use peak_alloc::PeakAlloc;

#[global_allocator]
static MEMORY: PeakAlloc = PeakAlloc;

fn table(head: &str, rows: usize, row: impl Fn(usize) -> String) -> Vec<u8> {
    let mut text = format!("{head}\n");
    for at in 0..rows {
        let _ = writeln!(text, "{}", row(at));
    }
    text.into_bytes()
}

fn measured(what: &str, bytes: Vec<u8>, read: impl Fn(&[u8]) -> Result<usize, Error>) -> Result<(), Error> {
    MEMORY.reset_peak_usage();
    let begin = Instant::now();
    let rows = read(&bytes)?;
    println!(
        "{what}: {rows} rows, {:.1} MB, {:.2} s, at most {:.0} MB of memory with the file itself",
        bytes.len() as f64 / 1e6,
        begin.elapsed().as_secs_f64(),
        MEMORY.peak_usage_as_mb()
    );
    Ok(())
}

fn main() -> Result<(), Error> {
    let rows: usize = std::env::args().nth(1).and_then(|rows| rows.parse().ok()).unwrap_or(1_000_000);
    let journal = "athlete,date,effort_0_10,pain_0_10,warning_sign,note";
    let day = |at: usize| format!("2026-{:02}-{:02}", 1 + at / 28 % 12, 1 + at % 28);
    measured(
        "journal, a name a row",
        table(journal, rows, |at| format!("Athlete {at},{},3,0,no,fine", day(at))),
        |bytes| {
            Journal::read(bytes, "journal.csv", &SignWords::default()).map(|journal| journal.entries.len())
        },
    )?;
    measured(
        "journal, forty names",
        table(journal, rows, |at| format!("Zoé {},{},{},0,,row {at}", at % 40, day(at / 40), at % 10)),
        |bytes| {
            Journal::read(bytes, "journal.csv", &SignWords::default()).map(|journal| journal.entries.len())
        },
    )?;
    measured(
        "squad",
        table("athlete,plan,start,group,time_zone", rows, |at| {
            format!("Athlete {at},plan.toml,2026-03-02,Tuesday,Europe/Lisbon")
        }),
        |bytes| Squad::read(bytes, "squad.csv").map(|squad| squad.athletes.len()),
    )?;
    measured(
        "owners",
        table("athlete,file,sure,why", rows, |at| format!("Athlete {},inbox/{at}.gpx,yes,name", at % 40)),
        |bytes| Owners::read(bytes, "owners.csv").map(|owners| owners.files.len()),
    )?;
    measured(
        "corrections",
        table("file,use,athlete,plan_block,plan_session,note", rows, |at| {
            format!("inbox/{at}.gpx,yes,Athlete {},A,{},seen", at % 40, 1 + at % 5)
        }),
        |bytes| Corrections::read(bytes, "corrections.csv").map(|corrections| corrections.rows.len()),
    )
}

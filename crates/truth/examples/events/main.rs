//! Measures how well what happened is told, on invented sessions with known events, and writes the tables of
//! `docs/events.md`.
//!
//! `cargo run --release -p boutwise-truth --example events [SESSIONS]` with SESSIONS of each kind and error, 240 unless
//! given.

mod judged;
mod told;

use std::error::Error;
use std::path::Path;

use boutwise_truth::evaluation::fill_block;

/// Report seeds begin here; seeds below one million are for tuning and never reported on. Those from 123,000,000 were looked at
/// four times before the last changes and serve no more.
pub(crate) const FIRST_REPORT_SEED: u64 = 187_000_000;

fn main() -> Result<(), Box<dyn Error>> {
    let sessions: u64 = match std::env::args().nth(1) {
        Some(text) => text.parse().map_err(|_| format!("expected a number of sessions, found {text:?}"))?,
        None => 240,
    };
    // Another first seed is for tuning; nothing is written then.
    let tuning: Option<u64> = std::env::args().nth(2).map(|text| text.parse()).transpose()?;
    let first_seed = tuning.unwrap_or(FIRST_REPORT_SEED);
    let results = told::Results::collect(sessions, first_seed);
    let blocks = [
        (
            "events seeds",
            format!("{sessions} sessions of each kind and error, seeds from {first_seed} on.\n"),
        ),
        ("events", results.table()),
        ("edges", results.edges()),
        ("confidence", results.confidence()),
        ("drives", judged::drives(sessions, first_seed)?),
        ("even", judged::even_pace(sessions, first_seed)),
    ];
    if tuning.is_some() {
        blocks.iter().for_each(|(name, table)| println!("{name}\n{table}"));
        results.print_wrong();
        return Ok(());
    }
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs/events.md");
    let mut text = std::fs::read_to_string(&path)?;
    for (name, table) in blocks {
        text = fill_block(&text, name, &table)
            .ok_or_else(|| format!("{}: no block {name:?}", path.display()))?;
    }
    std::fs::write(&path, text)?;
    Ok(())
}

//! Measures how well running and walking are told apart, and writes the tables of `docs/accuracy.md`.
//!
//! `cargo run --release -p boutwise-truth --example accuracy [SESSIONS]` with SESSIONS a set, 1000 unless given.

mod methods;
mod open;
mod sets;
mod tables;

use std::error::Error;
use std::path::Path;

use boutwise_truth::Simulator;
use boutwise_truth::evaluation::fill_block;

fn main() -> Result<(), Box<dyn Error>> {
    let sessions: u64 = match std::env::args().nth(1) {
        Some(text) => text.parse().map_err(|_| format!("expected a number of sessions, found {text:?}"))?,
        None => 1000,
    };
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs/accuracy.md");
    let mut text = std::fs::read_to_string(&path)?;
    let results = sets::Results::collect(sessions);
    let blocks = [
        ("seeds", tables::seeds(sessions)),
        ("tiers", tables::tiers()),
        ("reps", tables::by_method(&results, Simulator::First, tables::every_rep_right)),
        ("reps second", tables::by_method(&results, Simulator::Second, tables::every_rep_right)),
        ("departing", tables::by_method(&results, Simulator::First, tables::f1_departing)),
        ("departing second", tables::by_method(&results, Simulator::Second, tables::f1_departing)),
        ("detail", tables::detail(&results, Simulator::First)),
        ("detail second", tables::detail(&results, Simulator::Second)),
        ("plan", tables::plan_effect(sessions)),
        ("one kind", tables::one_kind_only(sessions)),
        ("reliability", tables::reliability(&results)),
        ("brier", tables::brier(&results)),
        ("refusal", tables::refusal(&results)),
        ("edge limit", tables::edge_limit(&results, sessions)),
    ];
    for (name, table) in blocks {
        text = fill_block(&text, name, &table)
            .ok_or_else(|| format!("{}: no block {name:?}", path.display()))?;
    }
    match open::folder() {
        Some(folder) => {
            let table = open::table(&folder)?;
            text = fill_block(&text, "open", &table)
                .ok_or_else(|| format!("{}: no block \"open\"", path.display()))?;
        }
        None => eprintln!(
            "OPEN RECORDINGS NOT FOUND: set BOUTWISE_OPEN_DATA to their folder; their table is left as it was"
        ),
    }
    std::fs::write(&path, text)?;
    Ok(())
}

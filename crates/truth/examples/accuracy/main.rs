//! Measures how well running and walking are told apart, and writes the tables of `docs/accuracy.md`.
//!
//! `cargo run --release -p boutwise-truth --example accuracy [SESSIONS|open|keep|compare]` with SESSIONS a set, 1000 unless
//! given; `open` makes the tables of the open recordings alone; `keep` writes the tables of a small draw of tuning seeds into
//! `testdata/tables/accuracy.md`, and `compare` says whether the same come out again, to the byte.

mod methods;
mod open;
mod sets;
mod tables;

use std::error::Error;
use std::path::Path;

use boutwise_truth::Simulator;
use boutwise_truth::evaluation::{compare_tables, fill_block, keep_tables};

/// Sessions a set in the small draw.
const SMALL_SESSIONS: u64 = 4;

fn main() -> Result<(), Box<dyn Error>> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs/accuracy.md");
    let mut blocks = Vec::new();
    match std::env::args().nth(1).as_deref() {
        Some("open") => {}
        Some(word @ ("keep" | "compare")) => {
            sets::draw_from(sets::FIRST_SMALL_SEED);
            let small: Vec<(String, String)> =
                invented(SMALL_SESSIONS).into_iter().map(|(name, table)| (name.to_owned(), table)).collect();
            let kept = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../testdata/tables/accuracy.md");
            match word {
                "keep" => keep_tables(&kept, &small)?,
                _ => compare_tables(&kept, &small)?,
            }
            return Ok(());
        }
        Some(text) => {
            blocks = invented(
                text.parse()
                    .map_err(|_| format!("expected a number, open, keep or compare, found {text:?}"))?,
            );
        }
        None => blocks = invented(1000),
    }
    match boutwise_truth::open::folder() {
        Some(folder) => {
            let outcomes = open::Outcomes::of(&folder)?;
            blocks.extend([
                ("open", outcomes.table()),
                ("open figures", outcomes.figures()),
                ("open wrong", outcomes.wrong()),
                ("open cut", open::Outcomes::against_cut(&folder)?),
            ]);
        }
        None => eprintln!(
            "OPEN RECORDINGS NOT FOUND: set BOUTWISE_OPEN_DATA to their folder; their tables are left as they were"
        ),
    }
    let mut text = std::fs::read_to_string(&path)?;
    for (name, table) in blocks {
        text = fill_block(&text, name, &table)
            .ok_or_else(|| format!("{}: no block {name:?}", path.display()))?;
    }
    std::fs::write(&path, text)?;
    Ok(())
}

/// The tables of invented recordings, by the names of their blocks.
fn invented(sessions: u64) -> Vec<(&'static str, String)> {
    let results = sets::Results::collect(sessions);
    vec![
        ("seeds", tables::seeds(sessions)),
        ("tiers", tables::tiers()),
        ("reps", tables::by_method(&results, Simulator::First, tables::every_rep_right)),
        ("reps second", tables::by_method(&results, Simulator::Second, tables::every_rep_right)),
        ("departing", tables::by_method(&results, Simulator::First, tables::f1_departing)),
        ("departing second", tables::by_method(&results, Simulator::Second, tables::f1_departing)),
        ("detail", tables::detail(&results, Simulator::First)),
        ("detail second", tables::detail(&results, Simulator::Second)),
        ("one kind", tables::one_kind_only(sessions)),
        ("reliability", tables::reliability(&results)),
        ("brier", tables::brier(&results)),
        ("refusal", tables::refusal(&results)),
        ("as recorded", tables::as_recorded(sessions)),
        ("intervals", tables::intervals(sessions)),
        ("edge limit", tables::edge_limit(&results, sessions)),
    ]
}

//! `boutwise columns`: every output column with its meaning.

use anyhow::Result;
use boutwise_report::{CarriedColumns, codebook_json, columns, json_text, package_json};
use boutwise_season::Settings;

use crate::Outcome;
use crate::args::{ColumnFormat, Columns as Options, Common};
use crate::terminal;

pub(crate) fn run(options: &Options, common: &Common) -> Result<Outcome> {
    let csv = options.csv_for.unwrap_or_default();
    let carried = options.carry.clone().unwrap_or_default();
    let settings = Settings::default();
    terminal::print(&match options.format {
        ColumnFormat::Json => codebook_json(csv, &carried, &settings),
        ColumnFormat::Frictionless => package_json(csv, &carried),
        ColumnFormat::Text if common.json => json_text(&columns(&carried, &settings))?,
        ColumnFormat::Text => listing(&carried, &settings),
    })?;
    Ok(Outcome::Clean)
}

fn listing(carried: &CarriedColumns, settings: &Settings) -> String {
    let mut text = String::new();
    for group in columns(carried, settings).chunk_by(|a, b| a.table == b.table) {
        let mut table = terminal::table(&["column", "unit", "meaning", "source"]);
        for row in group {
            let unit = row.unit.as_deref().unwrap_or("");
            table.add_row([row.column.as_str(), unit, row.meaning.as_str(), row.source.as_str()]);
        }
        text.push_str(&format!("{}.csv\n{}\n\n", group[0].table, terminal::trimmed(&table)));
    }
    text
}

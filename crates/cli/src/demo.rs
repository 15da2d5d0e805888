//! `boutwise demo`: writes an invented squad with known truth.

use std::collections::BTreeMap;

use anyhow::{Context, Result};
use boutwise_report::{NewFile, NewFolder};
use boutwise_truth::squad::{Trial, demo_files};
use serde_json::json;

use crate::Outcome;
use crate::args::{Common, Demo as Options};
use crate::{interrupt, terminal};

const NOT_MADE: &str = "the demo cannot be made";

/// Writes a trial, some participants at a time; tables grow as they come.
fn write_trial(trial: &Trial, folder: &NewFolder) -> Result<()> {
    let mut tables: BTreeMap<String, NewFile> = BTreeMap::new();
    for part in trial.parts() {
        for file in part.files().context(NOT_MADE)? {
            if !file.path.ends_with(".csv") {
                // The plan too, which is the same in every part.
                folder.write(&file.path, &file.bytes)?;
            } else if let Some(table) = tables.get_mut(&file.path) {
                let header = file.bytes.iter().position(|byte| *byte == b'\n').map_or(0, |end| end + 1);
                folder.append(table, &file.bytes[header..])?;
            } else {
                let mut table = folder.open(&file.path)?;
                folder.append(&mut table, &file.bytes)?;
                tables.insert(file.path, table);
            }
        }
    }
    for table in tables.into_values() {
        folder.close(table)?;
    }
    if let Some(effect) = trial.effect_csv().context(NOT_MADE)? {
        folder.write("truth/effect.csv", &effect)?;
    }
    Ok(())
}

pub(crate) fn run(options: &Options, common: &Common) -> Result<Outcome> {
    let folder = &options.folder;
    let name = folder.display();
    let trial = options.trial()?;
    let new_folder = interrupt::guarded(folder, || NewFolder::begin_new(folder))?;
    match &trial {
        Some(trial) => write_trial(trial, &new_folder)?,
        None => {
            for file in demo_files().context(NOT_MADE)? {
                new_folder.write(&file.path, &file.bytes)?;
            }
        }
    }
    let audit = format!(
        "boutwise audit {} --squad {} --journal {}{}",
        folder.join("recordings").display(),
        folder.join("squad.csv").display(),
        folder.join("journal.csv").display(),
        // Who compares arms wants them in the tables.
        if trial.as_ref().is_some_and(|trial| trial.arms > 1) { " --carry arm" } else { "" },
    );
    if common.json {
        let value = json!({ "folder": name.to_string(), "audit": audit });
        terminal::print(&(serde_json::to_string_pretty(&value)? + "\n"))?;
    } else if !common.quiet {
        let what = if trial.is_some() { "trial" } else { "squad" };
        terminal::print(&format!(
            "An invented {what} stands in {name}; what is true of it lies in {}.\nAudit it with:\n\n    {audit}\n",
            folder.join("truth").display()
        ))?;
    }
    // Told before it stands in its place, as of an audit.
    new_folder.put_in_place()?;
    Ok(Outcome::Clean)
}

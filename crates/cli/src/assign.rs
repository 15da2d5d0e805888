//! `boutwise assign`: proposes whose each file of a folder is, as a table for the coach to change.

use std::fs;
use std::path::PathBuf;

use anyhow::{Context, Result};
use boutwise_audit::{Inputs, SeasonFiles, SeasonPaths, propose_owners};
use boutwise_report::refuse_inside;
use serde_json::json;

use crate::Outcome;
use crate::args::{Assign as Options, Common};
use crate::terminal;

/// Name of the table.
const OWNERS_FILE: &str = "owners.csv";

pub(crate) fn run(options: &Options, common: &Common) -> Result<Outcome> {
    let recordings = &options.recordings;
    let configuration = recordings.configuration(common, None)?;
    let inputs = Inputs::below(&recordings.folder)?;
    let place = match &options.out {
        Some(folder) => {
            refuse_inside(&recordings.folder, folder)?;
            fs::create_dir_all(folder)
                .with_context(|| format!("the folder {} cannot be made", folder.display()))?;
            folder.join(OWNERS_FILE)
        }
        None => beside(&recordings.folder)?,
    };
    let paths = SeasonPaths {
        squad: recordings.squad.clone(),
        owners: place.exists().then(|| place.clone()),
        ..SeasonPaths::default()
    };
    let files = SeasonFiles::read(&paths, &configuration.settings)?;
    let found = terminal::watched(common, |watch| propose_owners(&inputs, &files, &configuration, watch))?;
    // Whole or not at all: the coach's own rows stand in it.
    let unfinished = place.with_extension("csv.part");
    fs::write(&unfinished, found.owners.text()?)
        .and_then(|()| fs::rename(&unfinished, &place))
        .inspect_err(|_| _ = fs::remove_file(&unfinished))
        .with_context(|| format!("{} cannot be written", place.display()))?;
    let new = found.sure + found.unsure + found.alike + found.nobodys;
    if common.json {
        let value = json!({
            "owners": place.display().to_string(),
            "sure": found.sure, "unsure": found.unsure, "alike": found.alike, "nobodys": found.nobodys,
            "kept": found.kept,
        });
        terminal::print(&(serde_json::to_string_pretty(&value)? + "\n"))?;
    } else if !common.quiet {
        let kept = match found.kept {
            0 => String::new(),
            kept => format!(" {} stood there and stayed as they were.", terminal::counted(kept, "file")),
        };
        let alike = match found.alike {
            0 => String::new(),
            count => {
                format!("{count} that fit several alike ({}): write the name; ", found.alike_names.join(", "))
            }
        };
        terminal::print(&format!(
            "{}: {} sure, {} not sure, {alike}{} of nobody in the squad.{kept}\nOwners: {}\n\
             Look at the rows that are not sure, change what is wrong, then: boutwise audit FOLDER --owners {}\n",
            terminal::counted(new, "new file"),
            found.sure,
            found.unsure,
            found.nobodys,
            place.display(),
            place.display()
        ))?;
    }
    for fault in &found.faults {
        terminal::message(common, fault);
    }
    Ok(Outcome::of(found.faults.is_empty() && new + found.kept > 0))
}

/// `owners.csv` beside the folder.
fn beside(folder: &std::path::Path) -> Result<PathBuf> {
    let folder = folder.canonicalize().with_context(|| {
        format!("the folder of recordings {} cannot be read; is its name right?", folder.display())
    })?;
    Ok(folder.with_file_name(OWNERS_FILE))
}

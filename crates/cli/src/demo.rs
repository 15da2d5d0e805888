//! `boutwise demo`: writes an invented squad with known truth.

use anyhow::{Context, Result};
use boutwise_report::NewFolder;
use boutwise_truth::squad::demo_files;
use serde_json::json;

use crate::Outcome;
use crate::args::{Common, Demo as Options};
use crate::{interrupt, terminal};

pub(crate) fn run(options: &Options, common: &Common) -> Result<Outcome> {
    let folder = &options.folder;
    let name = folder.display();
    let new_folder = NewFolder::begin_new(folder)?;
    interrupt::guard(new_folder.begun(), folder);
    for file in demo_files().context("the demo cannot be made")? {
        new_folder.write(&file.path, &file.bytes)?;
    }
    let audit = format!(
        "boutwise audit {0} --squad {1} --journal {2}",
        folder.join("recordings").display(),
        folder.join("squad.csv").display(),
        folder.join("journal.csv").display(),
    );
    if common.json {
        let value = json!({ "folder": name.to_string(), "audit": audit });
        terminal::print(&(serde_json::to_string_pretty(&value)? + "\n"))?;
    } else if !common.quiet {
        terminal::print(&format!(
            "An invented squad stands in {name}; what is true of it lies in {}.\nAudit it with:\n\n    {audit}\n",
            folder.join("truth").display()
        ))?;
    }
    // Told before it stands in its place, as of an audit.
    new_folder.put_in_place()?;
    Ok(Outcome::Clean)
}

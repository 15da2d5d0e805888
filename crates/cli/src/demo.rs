//! `boutwise demo`: writes an invented squad with known truth.

use anyhow::{Context, Result, bail};
use boutwise_truth::squad::write_demo;
use serde_json::json;

use crate::Outcome;
use crate::args::{Common, Demo as Options};
use crate::terminal;

pub(crate) fn run(options: &Options, common: &Common) -> Result<Outcome> {
    let folder = &options.folder;
    let name = folder.display();
    if folder.exists() {
        let mut entries =
            folder.read_dir().with_context(|| format!("{name} is no folder that can be written to"))?;
        if entries.next().is_some() {
            bail!("{name} is not empty; name a folder that does not exist yet");
        }
    }
    write_demo(folder).with_context(|| format!("the demo cannot be written to {name}"))?;
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
    Ok(Outcome::Clean)
}

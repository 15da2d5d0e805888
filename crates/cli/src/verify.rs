//! `boutwise verify`: what differs between a result, its manifest and its recordings.

use anyhow::Result;
use boutwise_audit::{Configuration, Inputs, Pseudonyms, SeasonFiles, verify};
use boutwise_report::recover_result;
use serde_json::json;

use crate::Outcome;
use crate::args::{Common, Verify as Options};
use crate::terminal;

pub(crate) fn run(options: &Options, common: &Common) -> Result<Outcome> {
    recover_result(&options.result)?;
    let inputs = options.folder.as_deref().map(Inputs::below).transpose()?;
    let folder = options.folder.as_deref().unwrap_or(&options.result);
    let key = options.pseudonyms.as_deref().map(|key| Pseudonyms::read(key, folder)).transpose()?;
    let configuration =
        Configuration { threads: common.threads(), pseudonyms: key, ..Configuration::default() };
    let paths = options.season.paths(options.squad.as_ref());
    let files = SeasonFiles::read(&paths, &configuration.settings)?;
    let differences = verify(&options.result, inputs.as_ref(), &files, &configuration)?;
    if common.json {
        let list: Vec<_> = (differences.iter())
            .map(|d| json!({ "in": d.of.word(), "file": d.file, "difference": d.what.text() }))
            .collect();
        terminal::print(&(serde_json::to_string_pretty(&list)? + "\n"))?;
    } else {
        let mut text: String = (differences.iter())
            .map(|d| format!("{}: {} {}\n", d.of.word(), d.file, d.what.text()))
            .collect();
        if differences.is_empty() && !common.quiet {
            text.push_str("Nothing differs.\n");
        }
        terminal::print(&text)?;
    }
    Ok(Outcome::of(differences.is_empty()))
}

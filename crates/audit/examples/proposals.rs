//! Audits a folder and prints what is proposed to each athlete, most urgent first; without the command.
//!
//!     cargo run -p boutwise-audit --example proposals -- FOLDER [SQUAD.csv]

use std::error::Error;
use std::path::{Path, PathBuf};

use boutwise_audit::{Configuration, Inputs, SeasonFiles, SeasonPaths, audit, unwatched};

fn main() -> Result<(), Box<dyn Error>> {
    let mut arguments = std::env::args_os().skip(1);
    let folder = arguments.next().ok_or("name a folder of recordings")?;
    let paths = SeasonPaths { squad: arguments.next().map(PathBuf::from), ..SeasonPaths::default() };
    let configuration = Configuration::default();
    let files = SeasonFiles::read(&paths, &configuration.settings)?;
    let inputs = Inputs::below(Path::new(&folder))?;
    let found = audit(&inputs, &files, &configuration, &unwatched)?;
    for athlete in found.overview.by_urgency() {
        let row = &athlete.row;
        let word = row.proposal.map_or("no call", |proposal| proposal.word());
        println!("{}: {word} ({})", row.athlete, row.reasons.join("; "));
    }
    Ok(())
}

//! Finds the bouts of one recording so many times, to time the library without the command and beside the Python package.
//!
//!     cargo run --release -p boutwise-audit --example bouts_again -- FILE TIMES

use std::error::Error;
use std::path::Path;

use boutwise_audit::{Configuration, Inputs, recording_bouts, unwatched};

fn main() -> Result<(), Box<dyn Error>> {
    let mut arguments = std::env::args_os().skip(1);
    let file = arguments.next().ok_or("name a recording")?;
    let times: usize =
        arguments.next().and_then(|times| times.to_str()?.parse().ok()).ok_or("say how often")?;
    let configuration = Configuration::default();
    let mut bouts = 0;
    for _ in 0..times {
        let found = recording_bouts(&Inputs::below(Path::new(&file))?, &configuration, &unwatched)?;
        bouts +=
            found.iter().flat_map(|file| &file.sessions).map(|session| session.bouts.len()).sum::<usize>();
    }
    println!("{bouts} bouts");
    Ok(())
}

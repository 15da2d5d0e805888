//! Writes a squad by chance as the demo is written, for tests of pages: `squad DIR ATHLETES WEEKS`.

use std::error::Error;

use boutwise_truth::squad::{Squad, SquadSettings, write_files};

/// Any other would do.
const SEED: u64 = 77;

fn main() -> Result<(), Box<dyn Error>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let [folder, athletes, weeks] = &arguments[..] else {
        return Err("expected a folder, a number of athletes, a number of weeks".into());
    };
    let settings =
        SquadSettings { athletes: athletes.parse()?, weeks: weeks.parse()?, ..SquadSettings::usual() };
    Ok(write_files(Squad::draw(SEED, &settings).files()?, folder.as_ref())?)
}

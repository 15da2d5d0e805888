//! What fuzzing found in files about the season, one file a fault: the first byte says which kind it is.

use std::fs;
use std::path::Path;

use boutwise_season::{Corrections, Error, Journal, Owners, Plan, Settings, SignWords, Squad, decode};

fn read(kind: u8, bytes: &[u8]) -> Result<(), Error> {
    match kind % 6 {
        0 => Plan::parse(&decode(bytes), "plan.toml").map(drop),
        1 => Squad::read(bytes, "squad.csv").map(drop),
        2 => Journal::read(bytes, "journal.csv", &SignWords::default()).map(drop),
        3 => Settings::parse(&decode(bytes), "settings.toml").map(drop),
        4 => Corrections::read(bytes, "corrections.csv").map(drop),
        _ => Owners::read(bytes, "owners.csv").map(drop),
    }
}

#[test]
fn whatever_fuzzing_found_is_refused_in_a_short_message() {
    let kept = Path::new(env!("CARGO_MANIFEST_DIR")).join("../track/fuzz/kept/season_files");
    for file in fs::read_dir(kept).unwrap() {
        let bytes = fs::read(file.unwrap().path()).unwrap();
        let (kind, text) = bytes.split_first().unwrap();
        let message = read(*kind, text).unwrap_err().to_string();
        assert!(message.chars().count() < 800, "{message}");
    }
}

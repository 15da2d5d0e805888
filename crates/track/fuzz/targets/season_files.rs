//! Plans, squads, journals, corrections, owners and settings: whatever stands in them is read or refused in a message.

#![no_main]

use boutwise_season::{Corrections, Journal, Owners, Plan, Settings, SignWords, Squad, decode};
use libfuzzer_sys::fuzz_target;

/// Most bytes of a message that shows lines of a file.
const MESSAGE_MOST: usize = 4000;

fuzz_target!(|bytes: &[u8]| {
    let Some((kind, bytes)) = bytes.split_first() else { return };
    let refused = match kind % 6 {
        0 => Plan::parse(&decode(bytes), "plan.toml").map(|plan| {
            for (at, block) in plan.blocks.iter().enumerate() {
                assert!(!block.label.is_empty(), "block {at} has no label");
            }
        }),
        1 => Squad::read(bytes, "squad.csv").map(|squad| {
            for athlete in &squad.athletes {
                assert_eq!(squad.athlete(&athlete.name).map(|known| &known.name), Some(&athlete.name));
            }
            squad.claims("ada/run.gpx");
            squad.compare(["Ada"]);
        }),
        2 => Journal::read(bytes, "journal.csv", &SignWords::default()).map(|journal| {
            for entry in &journal.entries {
                assert!(entry.of_group || !journal.of(&entry.athlete, None).is_empty());
            }
            if let Err(error) = journal.check_names(None, ["Ada"]) {
                assert!(error.to_string().len() <= MESSAGE_MOST);
            }
        }),
        3 => Settings::parse(&decode(bytes), "settings.toml").map(drop),
        4 => Corrections::read(bytes, "corrections.csv").map(|corrections| {
            corrections.strangers(["ada/run.gpx"]);
            corrections.without_athlete(["Ada"]);
        }),
        _ => Owners::read(bytes, "owners.csv").map(|owners| {
            let text = owners.text().expect("what was read is written");
            let again = Owners::read(text.as_bytes(), "owners.csv").expect("what was written is read");
            assert_eq!(again.files, owners.files);
        }),
    };
    if let Err(error) = refused {
        let message = error.to_string();
        assert!(message.len() <= MESSAGE_MOST && message.contains('^'), "{message}");
    }
});

//! A season's recordings, written to files and read back as the command does.

use std::io;
use std::path::Path;

use boutwise_bouts::{Bout, SegmentSettings, segment};
use boutwise_season::{Outing, Zone, ZoneHints, local_time};
use boutwise_track::{ReadSettings, find_inputs, read_input};
use boutwise_truth::squad::{Role, SessionKey};
use chrono::DateTime;

use crate::made::Made;

/// A recording as it was found, with what it truly is.
pub(crate) struct FoundOuting {
    /// Index of the plan.
    pub(crate) part: usize,
    pub(crate) role: Role,
    /// The session that it follows, in the plan of its part.
    pub(crate) follows: Option<SessionKey>,
    /// How it departs from that.
    pub(crate) deviation: &'static str,
    pub(crate) outing: Outing,
    /// Whether its place is told by hand.
    pub(crate) by_hand: bool,
    /// The same with its true bouts.
    pub(crate) true_outing: Outing,
}

impl FoundOuting {
    /// Whether it truly is that session.
    pub(crate) fn is(&self, (part, key): (usize, SessionKey)) -> bool {
        self.part == part && self.follows == Some(key)
    }
}

/// Writes the files of a season below a folder of its own, reads and splits them; in order of time.
pub(crate) fn through_files(made: &Made) -> io::Result<Vec<FoundOuting>> {
    let folder = tempfile::tempdir()?;
    let mut found = Vec::new();
    for (part, of_part) in made.parts.iter().enumerate() {
        for recorded in of_part.squad.recorded()? {
            let held = &of_part.squad.athletes[recorded.athlete].outings[recorded.outing];
            for file in &recorded.files {
                let path = folder.path().join(format!("{part}-{}", file.path));
                if let Some(parent) = path.parent() {
                    std::fs::create_dir_all(parent)?;
                }
                std::fs::write(path, &file.bytes)?;
            }
            let name = format!("{part}-{}", recorded.files[0].path);
            let outing = read(folder.path(), &name, of_part.squad.time_zone.name())?;
            let (role, follows, deviation) = (held.role, held.follows, held.deviation.word());
            let bouts = recorded.truth.iter().map(|bout| Bout::new(bout.kind, bout.start_s, bout.end_s));
            let true_outing =
                Outing { bouts: bouts.collect(), resolvable: true, doubt: None, ..outing.clone() };
            let by_hand = of_part.squad.athletes[recorded.athlete].words.by_hand.contains(&recorded.outing);
            found.push(FoundOuting { part, role, follows, deviation, outing, by_hand, true_outing });
        }
    }
    found.sort_by_key(|found| found.outing.start_utc);
    Ok(found)
}

fn read(folder: &Path, name: &str, zone: &str) -> io::Result<Outing> {
    let zone = Zone::parse(zone).map_err(io::Error::other)?;
    let path = folder.join(name);
    let mut outings = Vec::new();
    for input in find_inputs(&path).map_err(io::Error::other)? {
        read_input(&input, &ReadSettings::default(), &mut |reading| {
            for recording in &reading.recordings {
                let found = segment(recording, &SegmentSettings::default());
                let start_ns = recording.points.time_ns().first().copied().unwrap_or(0);
                let start_utc = DateTime::from_timestamp_nanos(start_ns);
                let local = local_time(start_utc, &ZoneHints { squad: Some(&zone), ..ZoneHints::default() });
                outings.push(Outing::new(name, 1, start_utc, local.time, found.resolvable, found.bouts));
            }
        });
        std::fs::remove_file(&input.path)?;
    }
    match outings.pop() {
        Some(outing) if outings.is_empty() => Ok(outing),
        _ => Err(io::Error::other(format!("{name} does not hold one recording"))),
    }
}

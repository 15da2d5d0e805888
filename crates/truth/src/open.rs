//! Open recordings of real runs with a reference, where they are at hand: they are no part of the project.

use std::error::Error;
use std::io::Read;
use std::ops::RangeInclusive;
use std::path::{Path, PathBuf};

use boutwise_bouts::Kind;
use boutwise_track::{Point, ReadSettings, Recording, read_text};
use flate2::read::GzDecoder;

use crate::TrueBout;

/// A recording, the reference that belongs to it, and the fewest and most runs that cadence cuts of 132 to 148 steps a
/// minute make of it.
struct Listed {
    name: &'static str,
    reference: &'static str,
    runs: RangeInclusive<usize>,
}

const fn listed(name: &'static str, reference: &'static str, fewest: usize, most: usize) -> Listed {
    Listed { name, reference, runs: fewest..=most }
}

const RECORDINGS: [Listed; 15] = [
    listed("runwalk-3-1.gpx.gz", "runwalk-3-1.bouts.csv", 44, 44),
    listed("runwalk-3-1.tcx.gz", "runwalk-3-1.bouts.csv", 44, 44),
    listed("slow-jog.gpx.gz", "slow-jog.bouts.csv", 2, 2),
    listed("steady-slow-10k.gpx.gz", "steady-slow-10k.bouts.csv", 1, 1),
    listed("hilly/long-a.tcx.gz", "hilly/long-a.tcx.bouts.csv", 7, 10),
    listed("hilly/mixed-a.tcx.gz", "hilly/mixed-a.tcx.bouts.csv", 4, 4),
    listed("hilly/pauses-a.tcx.gz", "hilly/pauses-a.tcx.bouts.csv", 8, 9),
    listed("hilly/pauses-b.tcx.gz", "hilly/pauses-b.tcx.bouts.csv", 4, 4),
    listed("hilly/pauses-c.tcx.gz", "hilly/pauses-c.tcx.bouts.csv", 6, 6),
    listed("hilly/pauses-d.tcx.gz", "hilly/pauses-d.tcx.bouts.csv", 5, 6),
    listed("hilly/pauses-e.tcx.gz", "hilly/pauses-e.tcx.bouts.csv", 8, 8),
    listed("hilly/run-a.tcx.gz", "hilly/run-a.tcx.bouts.csv", 2, 2),
    listed("hilly/run-b.tcx.gz", "hilly/run-b.tcx.bouts.csv", 1, 2),
    listed("hilly/stops-a.gpx.gz", "hilly/stops-a.gpx.bouts.csv", 8, 9),
    listed("hilly/stops-a.tcx.gz", "hilly/stops-a.tcx.bouts.csv", 7, 8),
];

/// An open recording and what cadence says of it.
#[derive(Clone, Debug)]
pub struct OpenRecording {
    /// Path below the folder.
    pub name: &'static str,
    /// What was recorded.
    pub recording: Recording,
    /// What was done, by cadence.
    pub truth: Vec<TrueBout>,
    /// The fewest and the most runs that cadence makes of it.
    pub runs: RangeInclusive<usize>,
}

impl OpenRecording {
    /// The session that was recorded: some lie in two formats.
    pub fn session(&self) -> &'static str {
        self.name.split('.').next().unwrap_or(self.name)
    }

    /// The recording with cadence and recorded speed taken away.
    pub fn positions_alone(&self) -> Recording {
        let bare = |point| Point { cadence_spm: None, speed_m_per_s: None, ..point };
        Recording { points: self.recording.points.iter().map(bare).collect(), ..self.recording.clone() }
    }
}

/// Where the recordings lie: `BOUTWISE_OPEN_DATA`, else `../shared/data` beside the checkout; `None` where they do not.
pub fn folder() -> Option<PathBuf> {
    let beside = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../../shared/data");
    let folder = std::env::var_os("BOUTWISE_OPEN_DATA").map_or(beside, PathBuf::from);
    folder.join(RECORDINGS[0].name).exists().then_some(folder)
}

/// The recordings that lie in a folder.
///
/// # Errors
/// Where one of them cannot be read.
pub fn read(folder: &Path) -> Result<Vec<OpenRecording>, Box<dyn Error>> {
    let at_hand = RECORDINGS.iter().filter(|listed| folder.join(listed.name).exists());
    at_hand
        .map(|listed| {
            Ok(OpenRecording {
                name: listed.name,
                recording: recording(&folder.join(listed.name))?,
                truth: reference_bouts(&folder.join(listed.reference))?,
                runs: listed.runs.clone(),
            })
        })
        .collect()
}

fn recording(path: &Path) -> Result<Recording, Box<dyn Error>> {
    let mut text = Vec::new();
    GzDecoder::new(std::fs::File::open(path)?).read_to_end(&mut text)?;
    let reading = read_text(&text, &ReadSettings::default())?;
    reading.recordings.into_iter().next().ok_or_else(|| format!("{}: no recording", path.display()).into())
}

fn reference_bouts(path: &Path) -> Result<Vec<TrueBout>, Box<dyn Error>> {
    let mut bouts = Vec::new();
    for record in csv::Reader::from_path(path)?.records() {
        let record = record?;
        let kind = match &record[0] {
            "run" => Kind::Run,
            "walk" => Kind::Walk,
            "gap" => Kind::Gap,
            other => return Err(format!("{}: unexpected kind {other:?}", path.display()).into()),
        };
        bouts.push(TrueBout { kind, start_s: record[1].parse()?, end_s: record[2].parse()? });
    }
    Ok(bouts)
}

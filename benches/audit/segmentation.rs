//! What telling running from walking costs on one thread, from points in memory to bouts, and what two libraries of Python take
//! that look for changes in the same speeds.

use std::fmt::Write;
use std::fs;
use std::hint::black_box;
use std::path::Path;
use std::process::Command;
use std::time::Instant;

use boutwise_bouts::{SegmentSettings, segment};
use boutwise_truth::SyntheticSession;

use crate::corpus::Sort;

/// The environment variable that names a Python with both libraries.
pub(crate) const PYTHON: &str = "BOUTWISE_PEERS_PYTHON";
/// The peers, beside this file.
const PEERS: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../../benches/audit/peers.py");
/// Rounds of which the least counts.
const ROUNDS: usize = 5;

/// Points a second that [`segment`] takes in, and that the libraries take in where they are there.
pub(crate) struct Speeds {
    pub(crate) points_per_s: f64,
    pub(crate) peers_per_s: Option<[f64; 2]>,
}

/// Measures so many sessions of a sort.
pub(crate) fn measure(sort: &Sort, sessions: u64, folder: &Path) -> Speeds {
    let invented: Vec<SyntheticSession> = (0..sessions).map(|number| sort.invent(number)).collect();
    let points: usize = invented.iter().map(|session| session.recording.points.len()).sum();
    let settings = SegmentSettings::default();
    let round = || {
        let begin = Instant::now();
        for session in &invented {
            black_box(segment(black_box(&session.recording), &settings));
        }
        begin.elapsed().as_secs_f64()
    };
    let least_s = (0..ROUNDS).map(|_| round()).fold(f64::INFINITY, f64::min);
    Speeds { points_per_s: points as f64 / least_s, peers_per_s: peers(&invented, points, folder) }
}

/// Points a second of the libraries, by a process of their own; `None` where no Python is named.
fn peers(invented: &[SyntheticSession], points: usize, folder: &Path) -> Option<[f64; 2]> {
    let python = std::env::var_os(PYTHON)?;
    let speeds = folder.join("speeds.txt");
    let mut text = String::new();
    for session in invented {
        let speeds = session.speedometer_m_per_s.iter().map(|speed| format!("{speed:.3}"));
        writeln!(text, "{}", speeds.collect::<Vec<_>>().join(" ")).expect("a string takes text");
    }
    fs::write(&speeds, text).expect("the folder takes files");
    let output = Command::new(python).arg(PEERS).arg(&speeds).arg(ROUNDS.to_string()).output();
    let output = output.expect("the named Python starts");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let seconds: Vec<f64> = String::from_utf8_lossy(&output.stdout)
        .split_whitespace()
        .filter_map(|figure| figure.parse().ok())
        .collect();
    let seconds: [f64; 2] = seconds.try_into().expect("two figures");
    Some(seconds.map(|seconds| points as f64 / seconds))
}

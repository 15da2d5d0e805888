//! What telling running from walking costs, per recorded second, on one thread:
//! `cargo bench -p boutwise-bouts --bench segmentation`.
//!
//! Invented recordings of a point a second, in memory. Everything from points to bouts is timed: the regular series,
//! stands, levels, noise, the decoder, the edges, confidence, and what was measured in each bout.

use std::hint::black_box;
use std::time::Instant;

use boutwise_bouts::{SegmentSettings, segment};
use boutwise_track::Recording;
use boutwise_truth::{PositionError, SamplingSettings, Sensors, SessionSettings, SyntheticSession, Tier};

const SESSIONS: u64 = 40;
const ROUNDS: usize = 15;

fn main() {
    println!("{SESSIONS} sessions a row, best of {ROUNDS} rounds");
    println!("tier    error        sensors       points  ns a point");
    for (sensors, name) in [(Sensors::SPEED_ONLY, "speed only"), (Sensors::WITH_CADENCE, "with cadence")] {
        for tier in Tier::ALL {
            for error in [PositionError::GaussMarkov, PositionError::Smooth] {
                let mut settings = SessionSettings::of(tier).with_error(error).with_sensors(sensors);
                settings.sampling = SamplingSettings { irregular_share: 0.0, ..settings.sampling };
                let recordings: Vec<Recording> =
                    (1..=SESSIONS).map(|seed| SyntheticSession::draw(seed, &settings).recording).collect();
                let points: usize = recordings.iter().map(|recording| recording.points.len()).sum();
                let ns = (0..ROUNDS).map(|_| nanoseconds(&recordings)).min().unwrap_or(0) as f64;
                let error = format!("{error:?}");
                println!("{:6}  {error:11}  {name:12}  {points:6}  {:10.0}", tier.word(), ns / points as f64);
            }
        }
    }
}

fn nanoseconds(recordings: &[Recording]) -> u128 {
    let settings = SegmentSettings::default();
    let start = Instant::now();
    for recording in recordings {
        black_box(segment(black_box(recording), &settings));
    }
    start.elapsed().as_nanos()
}

//! Megabytes a second of this reader and of quick-xml events on the same generated files, in one run, one thread.
//!
//! `cargo run --release -p boutwise-track --example throughput`

#[path = "../tests/reading/generated.rs"]
#[allow(dead_code)]
mod generated;
#[path = "../tests/reading/quick_xml_peer.rs"]
mod quick_xml_peer;

use std::hint::black_box;
use std::time::Instant;

use boutwise_track::{ReadSettings, read_raw, read_text};

/// Runs of each reader; the best counts, as others share the machine.
const RUNS: usize = 15;

fn megabytes_per_s(text: &[u8], mut read: impl FnMut(&[u8])) -> f64 {
    let best_s = (0..RUNS).map(|_| {
        let start = Instant::now();
        read(black_box(text));
        start.elapsed().as_secs_f64()
    });
    text.len() as f64 / 1e6 / best_s.fold(f64::INFINITY, f64::min)
}

fn main() {
    let settings = ReadSettings::default();
    for (name, text) in [("GPX", generated::gpx(75_000)), ("TCX", generated::tcx(38_000))] {
        let peer = megabytes_per_s(&text, |text| {
            black_box(quick_xml_peer::extract(text));
        });
        let raw = megabytes_per_s(&text, |text| {
            black_box(read_raw(text, &settings)).expect("generated files are whole");
        });
        let clean = megabytes_per_s(&text, |text| {
            black_box(read_text(text, &settings)).expect("generated files are whole");
        });
        println!(
            "{name} {:.1} MB: quick-xml {peer:.0} MB/s, extraction {raw:.0} MB/s ({:.2} times), with cleaning {clean:.0} MB/s",
            text.len() as f64 / 1e6,
            raw / peer
        );
    }
}

//! How fast recordings are read, beside other readers on the same bytes in one run, one thread:
//! `cargo bench -p boutwise-track --bench reading`.
//!
//! Files are invented: as programs write them (indented, with sensors, 3 % of the points lacking heart rate), and
//! irregular (order, indentation, quotes and presence of elements drawn anew for each point). All readers take turns,
//! round by round, and the median round counts. Extracted are time, position, elevation, heart rate, cadence, distance
//! and speed; the peers that give these are checked to give the same values before they are timed. The gpx crate is
//! timed to its own structure, without a copy to columns.
//!
//! `-- --keep FOLDER` writes the files instead, for readers in other languages (`python.py` beside this file).

#[path = "../../crates/track/tests/reading/generated.rs"]
mod generated;
#[path = "../../crates/track/tests/reading/quick_xml_peer.rs"]
mod quick_xml_peer;
mod serde_peer;
mod tree_peer;

use std::hint::black_box;
use std::path::Path;
use std::time::Instant;

use boutwise_track::{Points, ReadSettings, read_bytes, read_raw, read_text};
use quick_xml_peer::decimal;

const ROUNDS: usize = 9;

struct File {
    name: &'static str,
    text: Vec<u8>,
    is_gpx: bool,
}

struct Reader {
    name: &'static str,
    /// Whether it reads TCX as well as GPX.
    reads_tcx: bool,
    read: fn(&[u8]),
    /// What it extracts, where that can be compared.
    points: Option<fn(&[u8]) -> Points>,
}

const LIMIT: &str = "memchr, one byte sought";
const EVENTS: &str = "quick-xml, events";
const GPX_CRATE: &str = "gpx crate";
const EXTRACTION: &str = "boutwise-track, extraction";
const LEXER: &str = "boutwise-track, extraction by the lexer alone";

const READERS: [Reader; 9] = [
    Reader {
        name: LIMIT,
        reads_tcx: true,
        read: |text| {
            black_box(memchr::memchr(0, text));
        },
        points: None,
    },
    Reader {
        name: EXTRACTION,
        reads_tcx: true,
        read: |text| {
            black_box(read_raw(text, &ReadSettings::default())).expect("whole");
        },
        points: Some(|text| columns(text, &ReadSettings::default())),
    },
    Reader {
        name: "boutwise-track, read and cleaned",
        reads_tcx: true,
        read: |text| {
            black_box(read_text(text, &ReadSettings::default())).expect("whole");
        },
        points: None,
    },
    Reader {
        name: "boutwise-track, from bytes: sniffed, decoded, hashed, read, cleaned",
        reads_tcx: true,
        read: |text| {
            read_bytes("a.gpx", text, &ReadSettings::default(), &mut |reading| drop(black_box(reading)))
        },
        points: None,
    },
    Reader {
        name: LEXER,
        reads_tcx: true,
        read: |text| {
            black_box(read_raw(text, &by_the_lexer())).expect("whole");
        },
        points: Some(|text| columns(text, &by_the_lexer())),
    },
    Reader {
        name: EVENTS,
        reads_tcx: true,
        read: |text| {
            black_box(quick_xml_peer::extract(text, decimal));
        },
        points: Some(|text| quick_xml_peer::extract(text, decimal)),
    },
    Reader {
        name: "quick-xml, serde",
        reads_tcx: true,
        read: |text| {
            black_box(serde_peer::extract(text));
        },
        points: Some(serde_peer::extract),
    },
    Reader {
        name: "roxmltree",
        reads_tcx: true,
        read: |text| {
            black_box(tree_peer::extract(text));
        },
        points: Some(tree_peer::extract),
    },
    Reader {
        name: GPX_CRATE,
        reads_tcx: false,
        read: |text| {
            black_box(gpx::read(text)).expect("valid");
        },
        points: None,
    },
];

fn by_the_lexer() -> ReadSettings {
    ReadSettings { without_layouts: true, ..ReadSettings::default() }
}

fn columns(text: &[u8], settings: &ReadSettings) -> Points {
    let mut reading = read_raw(text, settings).expect("whole");
    reading.sessions.remove(0).points
}

fn main() {
    let files = [
        File { name: "GPX", text: generated::gpx(75_000), is_gpx: true },
        File { name: "TCX", text: generated::tcx(38_000), is_gpx: false },
        File { name: "irregular GPX", text: generated::irregular_gpx(75_000), is_gpx: true },
        File { name: "irregular TCX", text: generated::irregular_tcx(38_000), is_gpx: false },
    ];
    let arguments: Vec<String> = std::env::args().collect();
    if let Some([_, folder]) = arguments.windows(2).find(|pair| pair[0] == "--keep") {
        for file in &files {
            let name = format!("{}.{}", file.name.replace(' ', "-"), if file.is_gpx { "gpx" } else { "tcx" });
            std::fs::write(Path::new(folder).join(name), &file.text).expect("the folder takes files");
        }
        return;
    }
    let rates: Vec<[Option<f64>; READERS.len()]> = files.iter().map(rates).collect();

    println!("\nMB of file a second, one thread, median of {ROUNDS} rounds\n");
    let heads = files.iter().map(|file| format!(" {} ({:.1} MB) |", file.name, file.text.len() as f64 / 1e6));
    println!("| reader |{}", heads.collect::<String>());
    println!("|---|{}", "---:|".repeat(files.len()));
    for (index, reader) in READERS.iter().enumerate() {
        let cells =
            rates.iter().map(|rates| rates[index].map_or(" |".to_owned(), |rate| format!(" {rate:.0} |")));
        println!("| {} |{}", reader.name, cells.collect::<String>());
    }

    let rate = |file: usize, name: &str| {
        let reader = READERS.iter().position(|reader| reader.name == name).expect("one of the readers");
        rates[file][reader].expect("it reads the file")
    };
    let ratio = |file: usize, peer: &str| rate(file, EXTRACTION) / rate(file, peer);
    let mean = |of: [f64; 2]| (of[0] * of[1]).sqrt();
    let of_events = [0, 1, 2, 3].map(|file| ratio(file, EVENTS));
    let of_gpx_crate = [0, 1].map(|file| rate(file, EXTRACTION) / rate(0, GPX_CRATE));
    println!(
        "\nExtraction against {EVENTS}: {:.1} and {:.1} times, geometric mean {:.1}; irregular {:.2} and {:.2} times",
        of_events[0],
        of_events[1],
        mean([of_events[0], of_events[1]]),
        of_events[2],
        of_events[3]
    );
    println!(
        "Extraction against the {GPX_CRATE} on GPX: {:.0} and {:.0} times, geometric mean {:.0}",
        of_gpx_crate[0],
        of_gpx_crate[1],
        mean(of_gpx_crate)
    );
}

/// Megabytes a second of each reader on one file; `None` where it does not read the format.
fn rates(file: &File) -> [Option<f64>; READERS.len()] {
    let reads = |reader: &&Reader| file.is_gpx || reader.reads_tcx;
    let expected = columns(&file.text, &by_the_lexer());
    for reader in READERS.iter().filter(reads) {
        if let Some(points) = reader.points {
            assert!(points(&file.text).iter().eq(expected.iter()), "{} on {}", reader.name, file.name);
        }
    }
    let mut rounds_s = READERS.each_ref().map(|_| Vec::new());
    for _ in 0..ROUNDS {
        for (reader, rounds_s) in READERS.iter().zip(&mut rounds_s).filter(|(reader, _)| reads(reader)) {
            let start = Instant::now();
            (reader.read)(black_box(&file.text));
            rounds_s.push(start.elapsed().as_secs_f64());
        }
    }
    rounds_s.map(|mut rounds_s| {
        rounds_s.sort_unstable_by(f64::total_cmp);
        rounds_s.get(ROUNDS / 2).map(|median_s| file.text.len() as f64 / 1e6 / median_s)
    })
}

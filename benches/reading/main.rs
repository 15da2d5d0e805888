//! How fast recordings are read, beside other readers on the same bytes in one run, one thread:
//! `cargo bench -p boutwise-track --bench reading`.
//!
//! Files are invented: as programs write them (indented, with sensors, 3 % of the points lacking heart rate), and
//! irregular (order, indentation, quotes and presence of elements drawn anew for each point). All readers take turns,
//! round by round, and the median round counts. Extracted are time, position, elevation, heart rate, cadence, distance
//! and speed; the peers that give these are checked to give the same values before they are timed. The gpx crate is
//! timed to its own structure, without a copy to columns. Of quick-xml both versions take part, since the newer one checks
//! that all text is UTF-8 and the older one does not; the faster counts. The last line names commit and machine.
//!
//! `-- --keep FOLDER` writes the files instead, for readers in other languages (`python.py` beside this file).

mod events_041;
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
const EVENTS: [&str; 2] = ["quick-xml 0.42, events", "quick-xml 0.41, events"];
const GPX_CRATE: &str = "gpx 0.10";
const EXTRACTION: &str = "boutwise-track, extraction";
const LEXER: &str = "boutwise-track, extraction by the lexer alone";

const READERS: [Reader; 10] = [
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
        name: EVENTS[0],
        reads_tcx: true,
        read: |text| {
            black_box(quick_xml_peer::extract(text, decimal));
        },
        points: Some(|text| quick_xml_peer::extract(text, decimal)),
    },
    Reader {
        name: EVENTS[1],
        reads_tcx: true,
        read: |text| {
            black_box(events_041::extract(text));
        },
        points: Some(events_041::extract),
    },
    Reader {
        name: "quick-xml 0.42, serde",
        reads_tcx: true,
        read: |text| {
            black_box(serde_peer::extract(text));
        },
        points: Some(serde_peer::extract),
    },
    Reader {
        name: "roxmltree 0.21",
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
    let mean = |of: [f64; 2]| (of[0] * of[1]).sqrt();
    // Each file against the faster version on that very file.
    let of_events = [0, 1, 2, 3].map(|file| {
        let fastest = EVENTS.map(|version| rate(file, version)).into_iter().fold(0.0, f64::max);
        rate(file, EXTRACTION) / fastest
    });
    println!(
        "\nExtraction against the faster of {} and {}, file by file: GPX {:.1} and TCX {:.1} times, geometric mean {:.1}; \
         irregular {:.2} and {:.2} times",
        EVENTS[0],
        EVENTS[1],
        of_events[0],
        of_events[1],
        mean([of_events[0], of_events[1]]),
        of_events[2],
        of_events[3]
    );
    let of_gpx_crate = [0, 2].map(|file| rate(file, EXTRACTION) / rate(file, GPX_CRATE));
    println!(
        "Extraction against {GPX_CRATE}: GPX {:.0} times, irregular GPX {:.0} times",
        of_gpx_crate[0], of_gpx_crate[1]
    );
    println!("\nMeasured: {}", measured());
}

/// The commit and the machine of a table, by git and the system; what they do not tell is left open.
fn measured() -> String {
    let said = |program: &str, arguments: &[&str]| {
        let output = std::process::Command::new(program).args(arguments).output().ok()?;
        let text = String::from_utf8(output.stdout).ok()?.trim().to_owned();
        (output.status.success() && !text.is_empty()).then_some(text)
    };
    let commit = said("git", &["rev-parse", "--short=12", "HEAD"]).unwrap_or_else(|| "not known".to_owned());
    let changed = said("git", &["status", "--porcelain", "--", ":(top)crates/track", ":(top)benches"]);
    let information = std::fs::read_to_string("/proc/cpuinfo").unwrap_or_default();
    let models: Vec<&str> =
        information.lines().filter_map(|line| line.strip_prefix("model name\t: ")).collect();
    let compiler = said("rustc", &["--version"]).unwrap_or_default();
    format!(
        "commit {commit}{}; {}, {} cores; {compiler}",
        if changed.is_some() { " with changes" } else { "" },
        models.first().unwrap_or(&"a processor that the system does not name"),
        models.len()
    )
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

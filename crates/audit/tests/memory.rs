//! Memory follows the names of the files and not what is recorded in them, and is bounded for all threads together.

use std::fs;
use std::num::NonZeroUsize;
use std::ops::ControlFlow;
use std::path::Path;

use boutwise_audit::{
    AthleteFindings, Beginning, Configuration, Inputs, SeasonFiles, Sink, audit_into, unwatched,
};
use boutwise_report::{FileRow, NoteRow};
use peak_alloc::PeakAlloc;

#[global_allocator]
static ALLOCATED: PeakAlloc = PeakAlloc;

/// Most bytes that a further recording may take: its path, what the others need to know of it, and the digest of its file.
/// (Held whole, a recording of a minute takes 2 kB and more.)
const MOST_BYTES_A_RECORDING: usize = 700;
const RECORDINGS_OF_AN_ATHLETE: usize = 50;
/// Most bytes that a byte of a recording may take while it is read and measured (docs/trust.md).
const MOST_BYTES_A_BYTE: usize = 24;

/// Forgets what it takes.
struct Nowhere;

impl Sink for Nowhere {
    type Made = ();
    type Stop = ();

    fn begin(&mut self, _: &Beginning) -> ControlFlow<()> {
        ControlFlow::Continue(())
    }

    fn make(&self, _: AthleteFindings) {}

    fn athlete(&mut self, (): ()) -> ControlFlow<()> {
        ControlFlow::Continue(())
    }

    fn file(&mut self, _: FileRow, _: Vec<NoteRow>) -> ControlFlow<()> {
        ControlFlow::Continue(())
    }
}

/// Writes recordings of a minute, a point a second, each athlete's on days of their own.
fn write_recordings(folder: &Path, athletes: usize) {
    let point = |second: usize| {
        let latitude_deg = 52.0 + second as f64 * 2.4 / 111_000.0;
        format!("<trkpt lat=\"{latitude_deg:.6}\" lon=\"5\"><time>DAYT17:00:{second:02}Z</time></trkpt>")
    };
    let points: String = (0..60).map(point).collect();
    let first = chrono::NaiveDate::from_ymd_opt(2026, 1, 1).unwrap();
    for athlete in 0..athletes {
        let own = folder.join(format!("athlete-{athlete:04}"));
        fs::create_dir_all(&own).unwrap();
        for session in 0..RECORDINGS_OF_AN_ATHLETE {
            let day = (first + chrono::Days::new(session as u64)).to_string();
            let text = format!(
                "<gpx version=\"1.1\"><trk><name>{athlete}</name><trkseg>{}</trkseg></trk></gpx>",
                points.replace("DAY", &day)
            );
            fs::write(own.join(format!("{day}.gpx")), text).unwrap();
        }
    }
}

/// The most bytes that were held during an audit of so many athletes.
fn peak_bytes(athletes: usize) -> usize {
    let scratch = tempfile::tempdir().unwrap();
    write_recordings(scratch.path(), athletes);
    let configuration =
        Configuration { with_pages: false, threads: NonZeroUsize::new(1), ..Configuration::default() };
    ALLOCATED.reset_peak_usage();
    let before = ALLOCATED.current_usage();
    let inputs = Inputs::below(scratch.path()).unwrap();
    let found =
        audit_into(&inputs, &SeasonFiles::default(), &configuration, &mut Nowhere, &unwatched).unwrap();
    let found = found.continue_value().unwrap();
    assert_eq!((found.sessions, found.athletes.len()), (athletes * RECORDINGS_OF_AN_ATHLETE, athletes));
    ALLOCATED.peak_usage() - before
}

/// One test only: the allocator counts for the whole process.
#[test]
fn memory_is_bounded() {
    a_further_recording_takes_hardly_more_than_its_name();
    large_files_on_many_threads_take_what_is_allowed_at_one_time();
}

/// The most bytes that were held during an audit of files on 16 threads, of which so many bytes may be in work at one time.
fn peak_bytes_on_threads(folder: &Path, at_once_bytes: u64) -> usize {
    let mut configuration =
        Configuration { with_pages: false, threads: NonZeroUsize::new(16), ..Configuration::default() };
    configuration.settings.reading.max_bytes_at_once = at_once_bytes;
    ALLOCATED.reset_peak_usage();
    let before = ALLOCATED.current_usage();
    let inputs = Inputs::below(folder).unwrap();
    let found =
        audit_into(&inputs, &SeasonFiles::default(), &configuration, &mut Nowhere, &unwatched).unwrap();
    assert_eq!(found.continue_value().unwrap().sessions, 16);
    ALLOCATED.peak_usage() - before
}

fn large_files_on_many_threads_take_what_is_allowed_at_one_time() {
    const POINTS: usize = 20_000;
    let text = |file: usize| {
        let point = |second: usize| {
            let (hour, minute, second, place) =
                (second / 3600, second / 60 % 60, second % 60, second as f64 * 2.0);
            let (latitude_deg, day) = (52.0 + place / 111_000.0, file + 1);
            format!(
                "<trkpt lat=\"{latitude_deg:.6}\" lon=\"5\"><time>2026-03-{day:02}T{hour:02}:{minute:02}:{second:02}Z</time></trkpt>"
            )
        };
        let points: String = (0..POINTS).map(point).collect();
        format!("<gpx version=\"1.1\"><trk><trkseg>{points}</trkseg></trk></gpx>")
    };
    let (plain, packed) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let mut largest = 0;
    for file in 0..16 {
        let text = text(file);
        largest = largest.max(text.len());
        fs::write(plain.path().join(format!("{file}.gpx")), &text).unwrap();
        let mut out = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::fast());
        std::io::Write::write_all(&mut out, text.as_bytes()).unwrap();
        fs::write(packed.path().join(format!("{file}.gpx.gz")), out.finish().unwrap()).unwrap();
    }
    for (folder, what) in [(plain.path(), "plain"), (packed.path(), "packed")] {
        let one = peak_bytes_on_threads(folder, largest as u64);
        let three = peak_bytes_on_threads(folder, 3 * largest as u64);
        println!("{what}, 16 files of {largest} bytes: {one} one at a time, {three} of three");
        assert!(one <= MOST_BYTES_A_BYTE * largest, "{what}: {one} bytes for one of {largest}");
        assert!(three <= 3 * MOST_BYTES_A_BYTE * largest, "{what}: {three} bytes for three of {largest}");
        // Without a limit they do take more, so that there is something to see; unless the machine has them run one by one.
        let takes_more = |_| peak_bytes_on_threads(folder, 1 << 40) > 2 * three;
        assert!((0..5).any(takes_more), "{what}: no more without a limit than {three} with one");
    }
}

fn a_further_recording_takes_hardly_more_than_its_name() {
    // Tables that are made once, such as that of the time zones, are there before.
    peak_bytes(1);
    // Both are more than is put by in memory before a file is begun.
    let (fewer, more) = (220, 300);
    let growth = peak_bytes(more) - peak_bytes(fewer);
    let a_recording = growth / ((more - fewer) * RECORDINGS_OF_AN_ATHLETE);
    assert!(a_recording <= MOST_BYTES_A_RECORDING, "{a_recording} bytes a recording");
}

//! Reading takes memory in proportion to the text, whatever the text is.

use std::fs;
use std::path::Path;

use boutwise_track::{ArchiveSettings, NoteKind, ReadSettings, Status, read_bytes, read_path, read_text};
use peak_alloc::PeakAlloc;

#[global_allocator]
static ALLOCATED: PeakAlloc = PeakAlloc;

/// Most bytes that reading takes for a byte of text. Points take 2 to 5, also where nobody writes them so short; the
/// most is taken by a file of nothing but recordings of one point, each with its own columns and notes.
const MAX_BYTES_PER_BYTE: usize = 24;

/// Bytes that any reading may take.
const ALLOWANCE_BYTES: usize = 64 * 1024;

/// The most that was allocated beside the text while `read` ran.
fn peak_bytes(read: impl FnOnce()) -> usize {
    let before = ALLOCATED.current_usage();
    ALLOCATED.reset_peak_usage();
    read();
    ALLOCATED.peak_usage() - before
}

/// One test only: the allocator counts for the whole process.
#[test]
fn memory_is_bounded_by_a_small_multiple_of_the_text() {
    const TIMED: &str = "<trkpt lat='1' lon='2'><time>2025-03-01T10:00:00Z</time></trkpt>";
    let shapes: [(&str, String); 14] = [
        ("points without time", "<trkpt lat='1' lon='2'/>".to_owned()),
        ("the shortest points with a time", TIMED.to_owned()),
        ("points out of order", TIMED.to_owned() + &TIMED.replace("10:00:00", "09:59:59")),
        ("tracks of a point", format!("<trk>{TIMED}</trk>")),
        ("tracks of nothing", "<trk/>".to_owned()),
        ("segments of a point", format!("<trkseg>{TIMED}</trkseg>")),
        ("points that never end", "<trkpt>".to_owned()),
        ("wrong end tags", "</x>".to_owned()),
        ("nesting", "<a>".to_owned()),
        ("bare markup", "<<&".to_owned()),
        ("comments", "<!---->".to_owned()),
        ("attributes", "<trkpt a='1' b='2' c='3' lat='1' lat='2'>".to_owned()),
        ("long values", format!("<trkpt><time>{}</time></trkpt>", "<!-- -->2".repeat(1000))),
        ("blanks", " ".to_owned()),
    ];
    let outing = |day: usize| {
        let (year, month, day) = (1700 + day / 336, day / 28 % 12 + 1, day % 28 + 1);
        format!("<trk>{}</trk>", TIMED.replace("2025-03-01", &format!("{year}-{month:02}-{day:02}")))
    };
    let outings = ("outings of a point", (0..25_000).map(outing).collect());
    let repeated = shapes.into_iter().map(|(name, shape)| (name, shape.repeat(2_000_000 / shape.len())));
    for (name, repeated) in repeated.chain([outings]) {
        for text in [
            format!("<gpx><trk><trkseg>{TIMED}{repeated}"),
            format!("<gpx>{TIMED}{repeated}</gpx>"),
            repeated,
        ] {
            let peak = peak_bytes(|| drop(read_text(text.as_bytes(), &ReadSettings::default())));
            let times = peak as f64 / text.len() as f64;
            println!("{name}: {times:.1} bytes a byte");
            assert!(
                peak <= MAX_BYTES_PER_BYTE * text.len() + ALLOWANCE_BYTES,
                "{name}: {times:.1} bytes a byte"
            );
            let from_bytes =
                peak_bytes(|| read_bytes("a.gpx", text.as_bytes(), &ReadSettings::default(), &mut drop));
            assert!(from_bytes <= peak + text.len() + ALLOWANCE_BYTES, "{name}");
        }
    }
    a_file_of_more_recordings_than_are_read_takes_little_more_than_its_points();
    a_file_beyond_the_cap_is_refused_by_its_length();
    damaged_archives_take_what_their_caps_allow_and_keep_nothing();
    what_was_unpacked_is_let_go_before_its_reading_is_handed_over();
    what_was_read_of_a_large_file_is_let_go_before_its_reading_is_handed_over();
}

fn what_was_read_of_a_large_file_is_let_go_before_its_reading_is_handed_over() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("blanks.gpx");
    let point = "<trkpt lat='1' lon='2'><time>2025-03-01T10:00:00Z</time></trkpt>";
    // Blanks behind a point would be taken for room that more points need.
    fs::write(&path, format!("<gpx>{}<trk><trkseg>{point}</trkseg></trk></gpx>", " ".repeat(4 << 20)))
        .unwrap();
    let before = ALLOCATED.current_usage();
    let mut held = usize::MAX;
    read_path(&path, &ReadSettings::default(), &mut |reading| {
        assert_eq!(reading.status, Status::Read);
        held = ALLOCATED.current_usage() - before;
    });
    assert!(held <= ALLOWANCE_BYTES, "{held}");
}

fn what_was_unpacked_is_let_go_before_its_reading_is_handed_over() {
    // Blocks that are stored as they are (RFC 1951, 3.2.4); the missing checksum is noted and nothing more.
    let block = vec![b'x'; 50_000];
    let mut packed = b"\x1f\x8b\x08\0\0\0\0\0\0\xff".to_vec();
    for at in 1..=20 {
        let length = block.len() as u16;
        packed.push(u8::from(at == 20));
        packed.extend([length.to_le_bytes(), (!length).to_le_bytes()].concat());
        packed.extend(&block);
    }
    packed.extend([0; 8]);
    let before = ALLOCATED.current_usage();
    let mut held = usize::MAX;
    read_bytes("a.gz", &packed, &ReadSettings::default(), &mut |_| held = ALLOCATED.current_usage() - before);
    assert!(held <= ALLOWANCE_BYTES, "{held}");
}

fn a_file_of_more_recordings_than_are_read_takes_little_more_than_its_points() {
    const MOST_READ: usize = 20_000;
    let point = "<trk><trkpt><time>2025-03-01T10:00:00Z</time></trkpt></trk>";
    let text = format!("<gpx>{}</gpx>", point.repeat(40 * MOST_READ));
    let mut found = None;
    let peak = peak_bytes(|| found = Some(read_text(text.as_bytes(), &ReadSettings::default()).unwrap()));
    // Room for as many points as the text could hold, and the recordings that are read.
    assert!(peak < 3 * text.len(), "{peak}");
    let reading = found.unwrap();
    let left_out = 39 * MOST_READ as u64;
    let note = reading.notes.iter().find(|note| note.kind == NoteKind::TooManySessions).unwrap();
    assert!(reading.partial && note.count == left_out && note.text.contains("20000"), "{note:?}");
    assert!(reading.points_dropped as u64 >= left_out && !reading.recordings.is_empty());
    // Up to so many nothing is said.
    let text = format!("<gpx>{}</gpx>", point.repeat(MOST_READ));
    assert!(!read_text(text.as_bytes(), &ReadSettings::default()).unwrap().partial);
}

/// As long as it may be and a byte more, all of it holes.
fn a_file_beyond_the_cap_is_refused_by_its_length() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("holes.gpx");
    let settings = ReadSettings::default();
    fs::File::create(&path).unwrap().set_len(settings.archive.max_file_bytes + 1).unwrap();
    let mut statuses = Vec::new();
    let peak = peak_bytes(|| read_path(&path, &settings, &mut |reading| statuses.push(reading.status)));
    assert!(peak <= 2 * ALLOWANCE_BYTES && statuses == [Status::Failed], "{peak} bytes, {statuses:?}");
}

fn damaged_archives_take_what_their_caps_allow_and_keep_nothing() {
    const MAX_FILE_BYTES: usize = 16 * 1024;
    let archive = ArchiveSettings {
        max_file_bytes: MAX_FILE_BYTES as u64,
        max_total_bytes: 4 * MAX_FILE_BYTES as u64,
        max_members: 16,
        ..ArchiveSettings::default()
    };
    let settings = ReadSettings { archive, ..ReadSettings::default() };
    let samples = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../testdata/inputs");
    let mut random = 0x2545_F491_4F6C_DD1D_u64;
    let mut below = |end: usize| {
        random ^= random << 13;
        random ^= random >> 7;
        random ^= random << 17;
        (random % end as u64) as usize
    };
    for name in [
        "J1-members.gpx.gz",
        "J1-zstandard.gpx.zst",
        "J2-sizes-after-data.zip",
        "J3-depth-3.zip",
        "J6-one-encrypted.zip",
        "J7-ratio.zip",
        "J10-checksum.zip",
        "J10-directory-cut-off.zip",
    ] {
        let whole = fs::read(samples.join(name)).unwrap();
        let before = ALLOCATED.current_usage();
        let mut peak = 0;
        for _ in 0..2_000 {
            let mut bytes = whole.clone();
            for _ in 0..1 + below(4) {
                let at = below(bytes.len());
                bytes[at] ^= below(256) as u8;
            }
            // The archive, and each of three layers inside it, may be held unpacked at once.
            peak = peak.max(peak_bytes(|| read_bytes("a.zip", &bytes, &settings, &mut drop)));
        }
        let most = (MAX_BYTES_PER_BYTE + 4) * MAX_FILE_BYTES + ALLOWANCE_BYTES;
        assert!(peak <= most, "{name}: {peak}");
        // Before anything is printed: what the harness keeps of that may grow here.
        assert_eq!(ALLOCATED.current_usage(), before, "{name}");
        println!("{name}, damaged: {} kB beside {} kB packed", peak / 1000, whole.len() / 1000);
    }
}

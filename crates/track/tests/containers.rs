//! What arrives packed, encoded or misnamed, and what lies beside it. Samples: `examples/container_samples.rs`.

use std::fs;
use std::io::Write;
use std::ops::ControlFlow;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};

use boutwise_track::{
    ArchiveSettings, Candidate, DuplicateSettings, ErrorKind, FileReading, Fingerprint, NoteKind,
    ReadSettings, Standing, Status, find_duplicates, find_inputs, read_bytes, read_from, read_input,
    read_path,
};
use proptest::prelude::*;

fn samples() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../testdata/inputs")
}

fn sample(name: &str) -> Vec<u8> {
    let path = samples().join(name);
    fs::read(&path).unwrap_or_else(|error| panic!("{}: {error}", path.display()))
}

/// What a file and its members give, without the rows of archives that were opened.
fn readings_of(name: &str, bytes: &[u8], settings: &ReadSettings) -> Vec<FileReading> {
    let mut readings = all_readings_of(name, bytes, settings);
    readings.retain(|reading| reading.error.as_ref().is_none_or(|error| error.kind() != ErrorKind::Archive));
    readings
}

fn all_readings_of(name: &str, bytes: &[u8], settings: &ReadSettings) -> Vec<FileReading> {
    let mut readings = Vec::new();
    read_bytes(name, bytes, settings, &mut |reading| readings.push(reading));
    readings
}

fn read(name: &str) -> Vec<FileReading> {
    readings_of(name, &sample(name), &ReadSettings::default())
}

/// The one reading that a file gives.
fn read_one(name: &str) -> FileReading {
    let mut readings = read(name);
    assert_eq!(readings.len(), 1, "{name}: {readings:?}");
    readings.remove(0)
}

fn said(reading: &FileReading) -> String {
    reading.sentences().collect::<Vec<_>>().join("; ")
}

/// File names below the sample, and their statuses.
fn outcomes(readings: &[FileReading]) -> Vec<(&str, Status)> {
    readings.iter().map(|reading| (reading.file.as_str(), reading.status)).collect()
}

/// Time, latitude and pulse of every point.
fn points(reading: &FileReading) -> Vec<(Option<i64>, Option<f64>, Option<f64>)> {
    let points = reading.recordings.iter().flat_map(|recording| recording.points.iter());
    points
        .map(|point| (point.time_ns, point.position.map(|p| p.latitude_deg), point.heart_rate_bpm))
        .collect()
}

/// The points that all whole samples have.
fn expected_points() -> Vec<(Option<i64>, Option<f64>, Option<f64>)> {
    // 2024-03-04T18:00:00Z is 1709575200.
    (0..24)
        .map(|index| {
            let latitude_deg: f64 = format!("{:.7}", 52.0 + index as f64 * 5.0 * 2.25e-5).parse().unwrap();
            (
                Some((1_709_575_200 + index * 5) * 1_000_000_000),
                Some(latitude_deg),
                Some(120.0 + index as f64),
            )
        })
        .collect()
}

#[track_caller]
fn assert_whole(reading: &FileReading) {
    assert_eq!(reading.status, Status::Read, "{}: {}", reading.file, said(reading));
    assert_eq!(points(reading), expected_points(), "{}", reading.file);
}

#[test]
fn a9_an_empty_file_is_an_error() {
    for name in ["A9-no-bytes.gpx", "A9-only-blanks.gpx"] {
        let reading = read_one(name);
        assert_eq!(reading.status, Status::Failed);
        assert!(said(&reading).contains("empty"), "{}", said(&reading));
    }
}

#[test]
fn b11_another_root_is_told() {
    let reading = read_one("B11-library-root.gpx");
    assert!(matches!(reading.status, Status::Failed | Status::Ignored));
    assert!(said(&reading).contains("the root element is <library>"), "{}", said(&reading));
}

#[test]
fn g1_g2_g3_marks_and_utf_16_lose_nothing() {
    for name in [
        "G1-utf-8-mark.gpx",
        "G2-utf-16-le-mark.gpx",
        "G2-utf-16-be-mark.tcx",
        "G3-utf-16-le.gpx",
        "G3-utf-16-be.gpx",
    ] {
        let reading = read_one(name);
        assert_whole(&reading);
        assert!(
            !reading.notes.iter().any(|note| note.kind == NoteKind::Encoding),
            "{name}: {}",
            said(&reading)
        );
    }
}

#[test]
fn g3_utf_16_that_does_not_show_itself_as_xml_is_named() {
    let reading = read_one("G3-utf-16-no-xml.gpx");
    assert_eq!(reading.status, Status::Failed);
    assert!(said(&reading).contains("UTF-16"));
}

#[test]
fn g2_half_a_code_unit_at_the_end_is_a_truncation() {
    let whole = sample("G2-utf-16-le-mark.gpx");
    let readings = readings_of("cut.gpx", &whole[..whole.len() / 2 + 1], &ReadSettings::default());
    assert_eq!(readings[0].status, Status::Partial, "{}", said(&readings[0]));
    let kept = points(&readings[0]);
    assert!(!kept.is_empty() && expected_points().starts_with(&kept));
}

#[test]
fn g4_declared_western_encodings_lose_nothing() {
    for name in ["G4-windows-1252.gpx", "G4-iso-8859-1.gpx"] {
        let reading = read_one(name);
        assert_whole(&reading);
        assert!(!reading.notes.iter().any(|note| note.kind == NoteKind::Encoding));
    }
}

#[test]
fn g5_western_bytes_as_utf_8_are_noted_and_no_point_suffers() {
    for name in ["G5-said-to-be-utf-8.gpx", "G5-nothing-said.gpx"] {
        let reading = read_one(name);
        assert_whole(&reading);
        let note = reading.notes.iter().find(|note| note.kind == NoteKind::Encoding).expect("a note");
        let byte = note.place.expect("a place").byte as usize;
        assert_eq!(sample(name)[byte], 0xe4, "{name}");
    }
}

#[test]
fn g6_the_bytes_outrank_a_declaration_of_utf_16() {
    assert_whole(&read_one("G6-said-to-be-utf-16.gpx"));
}

#[test]
fn g7_control_and_junk_bytes_are_noted_with_their_place() {
    for name in ["G7-controls-between-points.gpx", "G7-junk-bytes.gpx"] {
        let reading = read_one(name);
        assert!(matches!(reading.status, Status::Read | Status::Partial));
        assert_eq!(points(&reading), expected_points(), "{name}");
        assert!(reading.notes.iter().any(|note| note.place.is_some()), "{name}: {}", said(&reading));
    }
}

#[test]
fn g8_every_kind_of_line_break_is_read() {
    for name in ["G8-cr-lf.gpx", "G8-cr.gpx"] {
        assert_whole(&read_one(name));
    }
}

#[test]
fn i10_a_cut_gzip_stream_counts_as_far_as_it_unpacks() {
    let reading = read_one("I10-cut.gpx.gz");
    assert_eq!(reading.status, Status::Partial, "{}", said(&reading));
    let kept = points(&reading);
    assert!(!kept.is_empty() && kept.len() < 24 && expected_points().starts_with(&kept), "{}", kept.len());
    assert!(reading.notes.iter().any(|note| note.kind == NoteKind::CutContainer));
}

#[test]
fn i10_no_cut_of_a_gzip_stream_passes_for_the_whole() {
    let whole = sample("J8-gzip-named.gpx");
    for length in 0..whole.len() {
        for reading in readings_of("run.gpx.gz", &whole[..length], &ReadSettings::default()) {
            assert_ne!(reading.status, Status::Read, "{length}");
            assert!(expected_points().starts_with(&points(&reading)), "{length}");
        }
    }
}

#[test]
fn j1_all_members_of_a_gzip_stream_are_one_file() {
    let reading = read_one("J1-members.gpx.gz");
    assert_whole(&reading);
    assert_eq!(said(&reading), "");
}

#[test]
fn j1_bytes_behind_the_stream_are_noted() {
    let reading = read_one("J1-trailing-bytes.gpx.gz");
    assert_whole(&reading);
    assert_eq!(reading.notes[0].kind, NoteKind::TrailingBytes);
}

#[test]
fn j1_zeros_behind_the_stream_are_padding() {
    let padded = [sample("J8-gzip-named.gpx"), vec![0; 512]].concat();
    let readings = readings_of("run.gpx.gz", &padded, &ReadSettings::default());
    assert_whole(&readings[0]);
    assert_eq!(said(&readings[0]), "");
}

#[test]
fn j1_a_zstandard_stream_is_read_and_a_cut_one_is_partial() {
    assert_whole(&read_one("J1-zstandard.gpx.zst"));
    let whole = sample("J1-zstandard.gpx.zst");
    let readings = readings_of("run.gpx.zst", &whole[..whole.len() - 2], &ReadSettings::default());
    assert_eq!(readings.len(), 1);
    assert_ne!(readings[0].status, Status::Read);
}

#[test]
fn j2_sizes_behind_the_data_are_taken_from_the_directory() {
    let readings = read("J2-sizes-after-data.zip");
    let name = "J2-sizes-after-data.zip";
    assert_eq!(
        outcomes(&readings),
        [(&*format!("{name}/one.gpx"), Status::Read), (&*format!("{name}/two.gpx"), Status::Read)]
    );
    assert_whole(&readings[0]);
}

#[test]
fn j2_an_archive_behind_other_bytes_is_read() {
    let name = "J2-program-before.zip";
    let readings = read(name);
    let expected = [(&*format!("{name}/one.gpx"), Status::Read), (&*format!("{name}/two.gpx"), Status::Read)];
    assert_eq!(outcomes(&readings), expected);
    assert_whole(&readings[0]);
    // So is a long one, of which the beginning is looked at first.
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.exe");
    std::fs::write(&path, [&sample(name)[..512], &vec![b'x'; 300_000], &sample(name)[512..]].concat())
        .unwrap();
    let mut statuses = Vec::new();
    read_path(&path, &ReadSettings::default(), &mut |reading| statuses.push(reading.status));
    assert_eq!(statuses[..2], [Status::Read; 2]);
}

#[test]
fn j3_archives_are_opened_to_depth_3() {
    let reading = read_one("J3-depth-3.zip");
    assert_eq!(reading.file, "J3-depth-3.zip/inner.zip/inner.zip/run.gpx");
    assert_whole(&reading);
}

#[test]
fn every_archive_is_accounted_for_once_and_named_as_what_it_is() {
    let readings = all_readings_of("x.zip", &sample("J3-depth-3.zip"), &ReadSettings::default());
    assert_eq!(
        outcomes(&readings),
        [
            ("x.zip/inner.zip/inner.zip/run.gpx", Status::Read),
            ("x.zip/inner.zip/inner.zip", Status::Ignored),
            ("x.zip/inner.zip", Status::Ignored),
            ("x.zip", Status::Ignored),
        ]
    );
    assert!(said(&readings[3]).contains("its one member is listed"), "{}", said(&readings[3]));
    let side_files = all_readings_of("x.zip", &sample("J11-side-files.zip"), &ReadSettings::default());
    assert!(said(&side_files[3]).contains("its 3 members are listed"), "{}", said(&side_files[3]));
    // What is wrong with an archive stands in its row, and in no other.
    for name in ["J12-empty.zip", "J9-workbook.zip", "J10-directory-cut-off.zip"] {
        let readings = all_readings_of("x.zip", &sample(name), &ReadSettings::default());
        let own: Vec<_> = readings.iter().filter(|reading| reading.file == "x.zip").collect();
        assert_eq!(own.len(), 1, "{name}");
        assert!(own[0].error.as_ref().is_some_and(|error| error.kind() != ErrorKind::Archive), "{name}");
    }
}

#[test]
fn j4_deeper_archives_fail_naming_the_depth_for_they_may_hold_recordings() {
    let reading = read_one("J4-depth-4.zip");
    assert_eq!(reading.status, Status::Failed);
    assert!(said(&reading).contains("depth") && said(&reading).contains("max_depth"));
    let settings = ReadSettings {
        archive: ArchiveSettings { max_depth: 4, ..Default::default() },
        ..Default::default()
    };
    assert_whole(&readings_of("x.zip", &sample("J4-depth-4.zip"), &settings)[0]);
}

#[test]
fn j5_names_that_climb_are_labels_and_nothing_is_written() {
    let folder = tempfile::tempdir().unwrap();
    let inner = folder.path().join("a").join("b");
    fs::create_dir_all(&inner).unwrap();
    fs::copy(samples().join("J5-climbing-names.zip"), inner.join("x.zip")).unwrap();
    let mut readings = Vec::new();
    read_path(&inner.join("x.zip"), &ReadSettings::default(), &mut |reading| readings.push(reading));
    assert_eq!(
        outcomes(&readings),
        [
            ("x.zip/up.gpx", Status::Read),
            ("x.zip/etc/root.gpx", Status::Read),
            ("x.zip/windows/back.gpx", Status::Read),
            ("x.zip", Status::Ignored)
        ]
    );
    let all: Vec<_> = find_inputs(folder.path()).unwrap().into_iter().map(|input| input.name).collect();
    assert_eq!(all, ["a/b/x.zip"]);
}

#[test]
fn j6_an_encrypted_member_is_named_and_the_others_are_read() {
    let readings = read("J6-one-encrypted.zip");
    let statuses: Vec<_> = readings.iter().map(|reading| reading.status).collect();
    assert_eq!(statuses, [Status::Failed, Status::Read]);
    assert!(said(&readings[0]).contains("encrypted"));
}

/// Name, flags, method, extra field and content of a member, as they are to stand in the archive.
type HandMade<'a> = (&'a str, u16, u16, &'a [u8], &'a [u8]);

/// A zip archive by hand (APPNOTE 4.3.7, 4.3.12, 4.3.16).
fn hand_made_zip(members: &[HandMade<'_>]) -> Vec<u8> {
    let (mut archive, mut directory) = (Vec::new(), Vec::new());
    for (name, flags, method, extra, content) in members {
        let mut crc = flate2::Crc::new();
        crc.update(content);
        let offset = (archive.len() as u32).to_le_bytes();
        let (length, crc) = ((content.len() as u32).to_le_bytes(), crc.sum().to_le_bytes());
        let lengths = [(name.len() as u16).to_le_bytes(), (extra.len() as u16).to_le_bytes()].concat();
        let shared = [
            &[51, 0],
            &flags.to_le_bytes()[..],
            &method.to_le_bytes(),
            &[0; 4],
            &crc,
            &length,
            &length,
            &lengths,
        ]
        .concat();
        archive.extend([b"PK\x03\x04", &shared[..], name.as_bytes(), extra, content].concat());
        directory
            .extend([b"PK\x01\x02\x33\0", &shared[..], &[0; 10], &offset, name.as_bytes(), extra].concat());
    }
    let count = (members.len() as u16).to_le_bytes();
    let (at, length) = ((archive.len() as u32).to_le_bytes(), (directory.len() as u32).to_le_bytes());
    archive.extend(directory);
    archive.extend([b"PK\x05\x06\0\0\0\0", &count[..], &count, &length, &at, &[0, 0]].concat());
    archive
}

#[test]
fn j6_a_member_under_aes_is_named_as_encrypted() {
    // Method 99 with the extra field 0x9901: version AE-2, vendor "AE", AES-256, method 8 (APPNOTE, appendix E).
    let extra = b"\x01\x99\x07\0\x02\0AE\x03\x08\0";
    let text = sample("J8-UPPER.GPX");
    let archive =
        hand_made_zip(&[("a.gpx", 1, 99, extra, b"0123456789abcdef01"), ("b.gpx", 0, 0, b"", &text)]);
    let readings = readings_of("x.zip", &archive, &ReadSettings::default());
    assert_eq!(outcomes(&readings), [("x.zip/a.gpx", Status::Failed), ("x.zip/b.gpx", Status::Read)]);
    assert!(said(&readings[0]).contains("encrypted"));
}

#[test]
fn j6_a_packing_method_that_is_not_read_is_named() {
    let text = sample("J8-UPPER.GPX");
    let archive = hand_made_zip(&[("a.gpx", 0, 9, b"", b"??"), ("b.gpx", 0, 0, b"", &text)]);
    let readings = readings_of("x.zip", &archive, &ReadSettings::default());
    assert_eq!(outcomes(&readings), [("x.zip/a.gpx", Status::Failed), ("x.zip/b.gpx", Status::Read)]);
    assert!(said(&readings[0]).contains("Deflate64"), "{}", said(&readings[0]));
}

#[test]
fn j5_two_members_of_one_name_are_both_read() {
    let text = sample("J8-UPPER.GPX");
    let other = String::from_utf8(text.clone()).unwrap().replace("2024-03-04", "2024-03-08").into_bytes();
    let archive = hand_made_zip(&[("a.gpx", 0, 0, b"", &text), ("a.gpx", 0, 0, b"", &other)]);
    let readings = readings_of("x.zip", &archive, &ReadSettings::default());
    assert_eq!(outcomes(&readings), [("x.zip/a.gpx", Status::Read), ("x.zip/a.gpx#2", Status::Read)]);
    assert_ne!(points(&readings[0]), points(&readings[1]));
}

#[test]
fn j7_a_huge_ratio_is_stopped_naming_the_cap() {
    let reading = read_one("J7-ratio.gpx.gz");
    assert_eq!(reading.status, Status::Failed);
    assert!(said(&reading).contains("max_ratio"));
    let readings = read("J7-ratio.zip");
    assert_eq!(readings[0].status, Status::Failed);
    assert!(said(&readings[0]).contains("max_ratio"));
}

#[test]
fn j7_every_cap_is_named_when_it_is_reached() {
    let archive = sample("J2-sizes-after-data.zip");
    let caps: [(&str, ArchiveSettings); 3] = [
        ("max_file_bytes", ArchiveSettings { max_file_bytes: 3000, ..Default::default() }),
        ("max_total_bytes", ArchiveSettings { max_total_bytes: 5000, ..Default::default() }),
        ("max_members", ArchiveSettings { max_members: 1, ..Default::default() }),
    ];
    for (name, archive_settings) in caps {
        let settings = ReadSettings { archive: archive_settings, ..Default::default() };
        let readings = readings_of("x.zip", &archive, &settings);
        let last = readings.last().unwrap();
        assert_ne!(last.status, Status::Read);
        assert!(said(last).contains(name), "{}", said(last));
    }
}

#[test]
fn j8_the_content_outranks_the_name() {
    for name in ["J8-gpx-named.tcx", "J8-gzip-named.gpx", "J8-UPPER.GPX", "J8-no-ending"] {
        assert_whole(&read_one(name));
    }
    let formats = ["J8-gpx-named.tcx", "J8-no-ending"].map(|name| read_one(name).format);
    assert_ne!(formats[0], formats[1]);
}

#[test]
fn j9_other_content_is_named_for_what_it_is() {
    let kinds = [
        ("J9-sign-in-page.gpx", "web page"),
        ("J9-picture.gpx", "picture"),
        ("J9-binary-recording.gpx", "binary recording"),
        ("J9-points.tcx", "JSON"),
    ];
    for (name, kind) in kinds {
        let reading = read_one(name);
        assert_eq!(reading.status, Status::Failed, "{name}");
        assert!(said(&reading).contains(kind), "{}", said(&reading));
        assert!(said(&reading).contains("; "), "what to do is missing: {}", said(&reading));
    }
    let workbook = read_one("J9-workbook.zip");
    assert_eq!(workbook.status, Status::Ignored);
}

#[test]
fn j9_files_that_promise_no_recording_are_ignored() {
    let files: [(&str, &[u8]); 4] = [
        ("squad.csv", b"athlete,start\nanna,2024-03-04\n"),
        ("plan.toml", b"title = \"Spring\"\n"),
        ("notes.txt", b"Went well."),
        ("photo.jpg", b"\xff\xd8\xff\xe0\0\x10JFIF"),
    ];
    for (name, bytes) in files {
        let readings = readings_of(name, bytes, &ReadSettings::default());
        assert_eq!(readings[0].status, Status::Ignored, "{name}");
        assert!(!said(&readings[0]).is_empty());
    }
}

#[test]
fn j10_a_wrong_checksum_is_noted_and_never_silently_good() {
    let readings = read("J10-checksum.zip");
    assert_eq!(readings.len(), 2);
    assert_eq!(readings[0].status, Status::Partial);
    assert!(readings[0].notes.iter().any(|note| note.kind == NoteKind::Checksum));
    assert_eq!(readings[1].status, Status::Read);
    let reading = read_one("J10-checksum.gpx.gz");
    assert_eq!(reading.status, Status::Partial);
    assert!(reading.notes.iter().any(|note| note.kind == NoteKind::Checksum));
    assert_eq!(points(&reading), expected_points());
}

#[test]
fn j10_members_are_found_when_the_directory_is_cut_off() {
    let readings = read("J10-directory-cut-off.zip");
    let statuses: Vec<_> = readings.iter().map(|reading| reading.status).collect();
    assert_eq!(statuses, [Status::Read, Status::Read, Status::Partial], "{readings:?}");
    assert_eq!(points(&readings[0]), expected_points());
    assert!(said(&readings[2]).contains("damaged"));
}

#[test]
fn j10_no_cut_of_an_archive_passes_for_the_whole() {
    for name in ["J2-sizes-after-data.zip", "J3-depth-3.zip"] {
        let whole = sample(name);
        for length in 0..whole.len() {
            let readings = readings_of("x.zip", &whole[..length], &ReadSettings::default());
            assert!(!readings.is_empty());
            assert!(readings.iter().any(|reading| reading.status != Status::Read), "{name} {length}");
        }
    }
}

#[test]
fn j11_side_files_are_ignored() {
    let readings = read("J11-side-files.zip");
    let statuses: Vec<_> = readings.iter().map(|reading| reading.status).collect();
    assert_eq!(statuses, [Status::Read, Status::Ignored, Status::Ignored]);

    let mut readings = Vec::new();
    for input in find_inputs(&samples().join("J11-beside")).unwrap() {
        read_input(&input, &ReadSettings::default(), &mut |reading| readings.push(reading));
    }
    assert_eq!(outcomes(&readings), [("._run.gpx", Status::Ignored), ("run.gpx", Status::Read)]);
}

#[test]
fn j12_an_empty_archive_says_so() {
    for name in ["J12-empty.zip", "J12-folder-only.zip"] {
        let reading = read_one(name);
        assert_eq!(reading.status, Status::Failed);
        assert!(said(&reading).contains("nothing inside"));
    }
}

#[cfg(unix)]
#[test]
fn j13_what_cannot_be_opened_is_named_and_the_rest_is_read() {
    use std::os::unix::{fs::symlink, net::UnixListener};
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name);
    fs::write(at("run.gpx"), sample("J8-UPPER.GPX")).unwrap();
    symlink(at("nowhere.gpx"), at("dangling.gpx")).unwrap();
    symlink(at("no disk/Ben"), at("Ben")).unwrap();
    symlink(at("loop-b.gpx"), at("loop-a.gpx")).unwrap();
    symlink(at("loop-a.gpx"), at("loop-b.gpx")).unwrap();
    symlink(folder.path(), at("upwards")).unwrap();
    symlink(at("run.gpx"), at("same.gpx")).unwrap();
    let _socket = UnixListener::bind(at("socket.gpx")).unwrap();
    let made = std::process::Command::new("mkfifo")
        .arg(at("pipe.gpx"))
        .status()
        .is_ok_and(|status| status.success());
    assert!(made, "mkfifo is part of POSIX");

    let mut readings = Vec::new();
    let inputs = find_inputs(folder.path()).unwrap();
    let in_place_of_folders = inputs.iter().filter(|input| input.is_folder).map(|input| input.name.as_str());
    assert_eq!(in_place_of_folders.collect::<Vec<_>>(), ["Ben", "upwards"]);
    for input in inputs {
        read_input(&input, &ReadSettings::default(), &mut |reading| readings.push(reading));
    }
    let expected = [
        ("Ben", "dangling link"),
        ("dangling.gpx", "dangling link"),
        ("loop-a.gpx", "circular"),
        ("loop-b.gpx", "circular"),
        ("pipe.gpx", "pipe"),
        ("run.gpx", ""),
        ("same.gpx", ""),
        ("socket.gpx", "socket"),
        ("upwards", "circular link"),
    ];
    assert_eq!(readings.len(), expected.len());
    for (reading, (file, words)) in readings.iter().zip(expected) {
        assert_eq!(reading.file, file);
        assert_eq!(reading.status == Status::Read, words.is_empty(), "{file}");
        assert!(said(reading).contains(words), "{file}: {}", said(reading));
    }
    let mut readings = Vec::new();
    read_path(&at("pipe.gpx"), &ReadSettings::default(), &mut |reading| readings.push(reading));
    assert_eq!(readings[0].status, Status::Failed);
}

#[test]
fn inputs_are_sorted_by_the_bytes_of_their_names() {
    let folder = tempfile::tempdir().unwrap();
    for name in ["b/1.gpx", "a.gpx", "a/2.gpx", "B.gpx"] {
        let path = folder.path().join(name);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, "").unwrap();
    }
    let names: Vec<_> = find_inputs(folder.path()).unwrap().into_iter().map(|input| input.name).collect();
    assert_eq!(names, ["B.gpx", "a.gpx", "a/2.gpx", "b/1.gpx"]);
    let single: Vec<_> =
        find_inputs(&folder.path().join("a.gpx")).unwrap().into_iter().map(|input| input.name).collect();
    assert_eq!(single, ["a.gpx"]);
}

#[test]
fn what_is_not_there_is_named_with_how_to_mend_it() {
    let folder = tempfile::tempdir().unwrap();
    let error = find_inputs(&folder.path().join("missing")).unwrap_err();
    assert_eq!(error.kind(), ErrorKind::NoInput);
    for words in ["missing`", "nothing is there", "expected a folder", "check the name"] {
        assert!(error.to_string().contains(words), "{error}");
    }
}

#[cfg(unix)]
#[test]
fn j13_no_folder_is_gone_into_twice_however_links_cross() {
    use std::os::unix::fs::symlink;
    let outside = tempfile::tempdir().unwrap();
    fs::write(outside.path().join("far.gpx"), "").unwrap();
    symlink(outside.path().parent().unwrap(), outside.path().join("above")).unwrap();
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name);
    // Ten folders with links to each other: followed blindly, ten million ways lead through them.
    let names: Vec<String> = (0..10).map(|index| format!("athlete-{index}")).collect();
    for name in &names {
        fs::create_dir(at(name)).unwrap();
        fs::write(at(name).join("run.gpx"), "").unwrap();
        for other in names.iter().filter(|other| *other != name) {
            symlink(at(other), at(name).join(other)).unwrap();
        }
    }
    symlink(outside.path(), at("zoe")).unwrap();
    symlink(outside.path(), at("lea")).unwrap();
    let inputs = find_inputs(folder.path()).unwrap();
    let (open, obstacles): (Vec<_>, Vec<_>) = inputs.iter().partition(|input| input.obstacle.is_none());
    let open: Vec<&str> = open.iter().map(|input| input.name.as_str()).collect();
    let expected: Vec<String> =
        names.iter().map(|name| format!("{name}/run.gpx")).chain(["lea/far.gpx".into()]).collect();
    assert_eq!(open, expected);
    assert_eq!(obstacles.len(), 90 + 2);
    for input in obstacles {
        let mut readings = Vec::new();
        read_input(input, &ReadSettings::default(), &mut |reading| readings.push(reading));
        let is_circular = said(&readings[0]).contains("circular");
        assert_eq!(is_circular, input.name == "lea/above", "{}", said(&readings[0]));
        assert_eq!(readings[0].status == Status::Ignored, !is_circular, "{}", input.name);
    }
    let zoe = inputs.iter().find(|input| input.name == "zoe").unwrap();
    assert!(zoe.obstacle.as_ref().is_some_and(|error| error.to_string().contains("`lea`")), "{zoe:?}");
}

#[test]
fn a_large_file_of_another_kind_is_known_by_its_head() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("film.mp4");
    fs::write(&path, [b"\0\0\0\x18ftypmp42".to_vec(), vec![7; 1 << 20]].concat()).unwrap();
    let mut readings = Vec::new();
    read_path(&path, &ReadSettings::default(), &mut |reading| readings.push(reading));
    assert_eq!((readings[0].status, readings[0].content_hash), (Status::Ignored, None));
}

#[cfg(target_os = "linux")]
#[test]
fn a_file_system_that_states_no_length_is_read_to_the_end() {
    // What the kernel tells of the process has length 0 and content all the same (proc(5)).
    let mut readings = Vec::new();
    read_path(Path::new("/proc/self/status"), &ReadSettings::default(), &mut |reading| {
        readings.push(reading)
    });
    assert!(readings[0].error.as_ref().is_some_and(|error| error.kind() != ErrorKind::Empty), "{readings:?}");
}

#[test]
fn bytes_path_and_stream_give_the_same() {
    let path = samples().join("J2-sizes-after-data.zip");
    let (mut from_path, mut from_stream) = (Vec::new(), Vec::new());
    read_path(&path, &ReadSettings::default(), &mut |reading| from_path.push(reading));
    let stream = fs::File::open(&path).unwrap();
    read_from(stream, "J2-sizes-after-data.zip", &ReadSettings::default(), &mut |reading| {
        from_stream.push(reading)
    });
    let name = "J2-sizes-after-data.zip";
    let from_bytes = all_readings_of(name, &sample(name), &ReadSettings::default());
    for other in [&from_path, &from_stream] {
        assert_eq!(outcomes(other), outcomes(&from_bytes));
        for (a, b) in from_bytes.iter().zip(other) {
            assert_eq!((points(a), a.content_hash), (points(b), b.content_hash));
        }
    }
}

/// Reads the two or three recordings of a sample folder and compares them.
fn compare_folder(folder: &str) -> Vec<(String, Standing)> {
    let mut readings = Vec::new();
    for input in find_inputs(&samples().join(folder)).unwrap() {
        read_input(&input, &ReadSettings::default(), &mut |reading| readings.push(reading));
    }
    readings.retain(|reading| !reading.recordings.is_empty());
    let fingerprints: Vec<_> =
        readings.iter().map(|reading| Fingerprint::of(&reading.recordings[0])).collect();
    let candidates: Vec<_> = readings
        .iter()
        .zip(&fingerprints)
        .map(|(reading, fingerprint)| Candidate {
            file: &reading.file,
            session: 1,
            content_hash: reading.content_hash,
            partial: reading.status == Status::Partial,
            fingerprint,
        })
        .collect();
    let standings = find_duplicates(&candidates, &DuplicateSettings::default());
    readings.into_iter().map(|reading| reading.file).zip(standings).collect()
}

#[test]
fn a_member_with_the_name_of_a_folder_that_holds_something_is_read() {
    let mut archive = zip::ZipWriter::new(std::io::Cursor::new(Vec::new()));
    let options = zip::write::SimpleFileOptions::default();
    archive.add_directory("empty/", options).unwrap();
    for name in ["run.gpx/", "run.gpx"] {
        archive.start_file(name, options).unwrap();
        archive.write_all(&sample("A1-one-track.gpx")).unwrap();
    }
    let bytes = archive.finish().unwrap().into_inner();
    let readings = readings_of("o.zip", &bytes, &ReadSettings::default());
    let read = [("o.zip/run.gpx", Status::Read), ("o.zip/run.gpx#2", Status::Read)];
    assert_eq!(outcomes(&readings), read);
}

#[test]
fn k1_to_k8_the_sample_folders_come_out_as_they_should() {
    let expected = [
        ("K1-same-bytes", [None, Some(0)], None),
        ("K2-two-formats", [Some(1), None], None),
        ("K3-two-roundings", [Some(1), None], None),
        ("K4-overlap", [None, None], Some(NoteKind::Overlap)),
        ("K5-same-loop", [None, None], None),
        ("K6-loose-and-packed", [None, Some(0)], None),
        ("K7-truncated-copy", [Some(1), None], None),
        ("K8-hour-apart", [None, None], Some(NoteKind::ZoneSlip)),
    ];
    for (folder, duplicate_of, kind) in expected {
        let compared = compare_folder(folder);
        let found: Vec<_> = compared.iter().map(|(_, standing)| standing.duplicate_of).collect();
        assert_eq!(found, duplicate_of, "{folder}: {compared:?}");
        for (file, standing) in &compared {
            let kinds: Vec<_> = standing.notes.iter().map(|note| note.kind).collect();
            let expected = if standing.duplicate_of.is_some() { Some(NoteKind::Duplicate) } else { kind };
            assert_eq!(kinds, Vec::from_iter(expected), "{folder}/{file}");
        }
    }
}
fn packed_samples() -> Vec<Vec<u8>> {
    [
        "J1-members.gpx.gz",
        "J1-zstandard.gpx.zst",
        "J2-sizes-after-data.zip",
        "J3-depth-3.zip",
        "J10-directory-cut-off.zip",
    ]
    .map(sample)
    .to_vec()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    #[test]
    fn arbitrary_bytes_are_no_reason_to_panic(
        magic in prop::sample::select(vec![&b""[..], b"\x1f\x8b\x08", b"PK\x03\x04", b"PK\x05\x06", b"\x28\xb5\x2f\xfd", b"\xff\xfe", b"<?xml", b"<gpx>"]),
        rest in prop::collection::vec(any::<u8>(), 0..400),
    ) {
        let bytes = [magic, &rest].concat();
        prop_assert!(!readings_of("x.gpx", &bytes, &ReadSettings::default()).is_empty());
    }

    #[test]
    fn damaged_archives_are_no_reason_to_panic(
        which in 0..5usize,
        changes in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..6),
    ) {
        let mut bytes = packed_samples().swap_remove(which);
        for (at, value) in changes {
            let at = at.index(bytes.len());
            bytes[at] = value;
        }
        prop_assert!(!readings_of("x.gpx", &bytes, &ReadSettings::default()).is_empty());
    }

    #[test]
    fn what_unpacks_stays_within_the_caps(length in 0usize..4_000_000, cap in 1_000u64..100_000) {
        let archive = ArchiveSettings { max_file_bytes: cap, ..Default::default() };
        let settings = ReadSettings { archive, ..Default::default() };
        let mut encoder = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::fast());
        std::io::Write::write_all(&mut encoder, &vec![b' '; length]).unwrap();
        let readings = readings_of("x.gpx", &encoder.finish().unwrap(), &settings);
        let is_capped = said(&readings[0]).contains("(the cap ");
        prop_assert_eq!(is_capped, length as u64 > cap);
    }
}

/// What fuzzing found, one file a fault.
#[test]
fn whatever_fuzzing_found_is_handed_over() {
    let kept = Path::new(env!("CARGO_MANIFEST_DIR")).join("fuzz/kept/any_bytes");
    for file in fs::read_dir(kept).unwrap() {
        let path = file.unwrap().path();
        let readings = readings_of("a.zip", &fs::read(&path).unwrap(), &ReadSettings::default());
        assert!(readings.iter().any(|reading| reading.status == Status::Failed), "{}", path.display());
    }
}

#[test]
fn a_receiver_that_wants_no_more_gets_no_more_of_an_archive() {
    let archives = fs::read_dir(samples()).unwrap().map(|entry| entry.unwrap().path());
    let archives = archives.filter(|path| path.extension().is_some_and(|ending| ending == "zip"));
    let mut several = 0;
    for path in archives {
        let bytes = fs::read(&path).unwrap();
        let all = all_readings_of("a.zip", &bytes, &ReadSettings::default()).len();
        several += usize::from(all > 1);
        for most in 1..=all {
            let mut taken = 0;
            read_bytes("a.zip", &bytes, &ReadSettings::default(), &mut |_| {
                taken += 1;
                if taken == most { ControlFlow::Break(()) } else { ControlFlow::Continue(()) }
            });
            assert_eq!(taken, most, "{} of {all} of {}", most, path.display());
        }
    }
    assert!(several > 3);
}

#[test]
fn a_file_that_is_changed_while_it_is_read_fails_and_says_so() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("run.gpx");
    let blanks = " ".repeat(32 << 20);
    fs::write(&path, format!("{}{blanks}", String::from_utf8(sample("J8-UPPER.GPX")).unwrap())).unwrap();
    let is_done = AtomicBool::new(false);
    let found = |kind: Option<ErrorKind>| {
        let mut found = None;
        read_path(&path, &ReadSettings::default(), &mut |reading| found = Some(reading));
        found.is_some_and(|reading| reading.error.map(|error| error.kind()) == kind)
    };
    let (before, meanwhile) = std::thread::scope(|scope| {
        let before = found(None);
        scope.spawn(|| {
            let mut file = fs::OpenOptions::new().append(true).open(&path).unwrap();
            while !is_done.load(Ordering::Relaxed) {
                file.write_all(b" ").unwrap();
            }
        });
        // The other thread may not have begun at the first.
        let meanwhile = (0..50).any(|_| found(Some(ErrorKind::Changed)));
        is_done.store(true, Ordering::Relaxed);
        (before, meanwhile)
    });
    assert!(before && meanwhile && found(None));
}

/// A file that is longer than what is read by one call, whole and without the hash of its bytes.
#[test]
fn a_long_file_is_read_to_its_last_byte_and_hashed_only_where_asked() {
    let point = "<trkpt lat='1' lon='2'><time>2025-03-01T10:00:00Z</time></trkpt>";
    let text = format!("<gpx><trk><trkseg>{}</trkseg></trk></gpx>", point.repeat(8_000));
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("long.gpx");
    fs::write(&path, &text).unwrap();
    let hash_of = |without_content_hash| {
        let mut hashes = Vec::new();
        let settings = ReadSettings { without_content_hash, ..ReadSettings::default() };
        read_path(&path, &settings, &mut |reading| {
            assert_eq!(reading.status, Status::Read, "{:?}", reading.notes);
            hashes.push(reading.content_hash);
        });
        hashes
    };
    assert_eq!(hash_of(true), [None]);
    let of_bytes = all_readings_of("long.gpx", text.as_bytes(), &ReadSettings::default());
    assert_eq!(hash_of(false), [of_bytes[0].content_hash]);
    assert!(of_bytes[0].content_hash.is_some());
}

//! Writes the samples of encodings, archives and duplicates: `cargo run -p boutwise-track --example container_samples`.
//!
//! All recordings are invented. Each sample is named after what it shows, and written below `testdata/inputs`.

use std::fs;
use std::io::{Cursor, Write};
use std::path::Path;

use flate2::{Compression, write::GzEncoder};
use ruzstd::encoding::{CompressionLevel, compress_to_vec};
use zip::{ZipWriter, write::SimpleFileOptions};

type Bytes = Vec<u8>;

/// A session going north at 2.5 m/s, a point every 5 s.
#[derive(Clone, Copy)]
struct Session {
    day: u32,
    hour: u32,
    from: usize,
    to: usize,
    digits: usize,
    sensors: bool,
}

const SESSION: Session = Session { day: 4, hour: 18, from: 0, to: 24, digits: 7, sensors: true };

impl Session {
    fn points(self) -> impl Iterator<Item = (String, String, &'static str, usize)> {
        (self.from..self.to).map(move |index| {
            let second = index * 5;
            let time =
                format!("2024-03-{:02}T{:02}:{:02}:{:02}Z", self.day, self.hour, second / 60, second % 60);
            (time, format!("{:.*}", self.digits, 52.0 + second as f64 * 2.25e-5), "4.0", 120 + index)
        })
    }

    fn gpx(self, declaration: &str, name: &str) -> String {
        let mut text = format!(
            "{declaration}<gpx version=\"1.1\" creator=\"invented\">\n<trk><name>{name}</name><trkseg>\n"
        );
        for (time, latitude, longitude, bpm) in self.points() {
            text += &format!("<trkpt lat=\"{latitude}\" lon=\"{longitude}\"><time>{time}</time>");
            if self.sensors {
                text += &format!(
                    "<extensions><TrackPointExtension><hr>{bpm}</hr></TrackPointExtension></extensions>"
                );
            }
            text += "</trkpt>\n";
        }
        text + "</trkseg></trk>\n</gpx>\n"
    }

    fn tcx(self) -> String {
        let mut text = format!(
            "{UTF_8}<TrainingCenterDatabase>\n\
             <Activities><Activity Sport=\"Running\"><Id>2024-03-04T18:00:00Z</Id><Lap StartTime=\"2024-03-04T18:00:00Z\"><Track>\n"
        );
        for (index, (time, latitude, longitude, bpm)) in self.points().enumerate() {
            text += &format!(
                "<Trackpoint><Time>{time}</Time><Position><LatitudeDegrees>{latitude}</LatitudeDegrees>\
                 <LongitudeDegrees>{longitude}</LongitudeDegrees></Position><DistanceMeters>{:.1}</DistanceMeters>",
                index as f64 * 12.5
            );
            if self.sensors {
                text += &format!("<HeartRateBpm><Value>{bpm}</Value></HeartRateBpm>");
            }
            text += "</Trackpoint>\n";
        }
        text + "</Track></Lap></Activity></Activities>\n</TrainingCenterDatabase>\n"
    }
}

const UTF_8: &str = "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n";

fn gpx() -> String {
    SESSION.gpx(UTF_8, "Loop")
}

/// The text with a title in windows-1252, under a declaration.
fn western(declaration: &str) -> Bytes {
    let text = SESSION.gpx(declaration, "L~ufer");
    text.bytes().map(|byte| if byte == b'~' { 0xe4 } else { byte }).collect()
}

fn utf_16(text: &str, mark: bool, unit: fn(u16) -> [u8; 2]) -> Bytes {
    let mark = mark.then_some(0xfeff);
    mark.into_iter().chain(text.encode_utf16()).flat_map(unit).collect()
}

fn gzip(bytes: &[u8]) -> Bytes {
    let mut encoder = GzEncoder::new(Vec::new(), Compression::best());
    encoder.write_all(bytes).expect("a vector takes all bytes");
    encoder.finish().expect("a vector takes all bytes")
}

fn zip(members: &[(&str, &[u8])]) -> Bytes {
    let mut archive = ZipWriter::new(Cursor::new(Vec::new()));
    for (name, bytes) in members {
        archive.start_file(*name, SimpleFileOptions::default()).expect("a plain name");
        archive.write_all(bytes).expect("a vector takes all bytes");
    }
    archive.finish().expect("a vector takes all bytes").into_inner()
}

/// A zip archive written as a stream: sizes and checksums stand behind the data.
fn streamed_zip(members: &[(&str, &[u8])]) -> Bytes {
    let mut archive = ZipWriter::new_stream(Vec::new());
    for (name, bytes) in members {
        archive.start_file(*name, SimpleFileOptions::default()).expect("a plain name");
        archive.write_all(bytes).expect("a vector takes all bytes");
    }
    archive.finish().expect("a vector takes all bytes").into_inner()
}

/// Changes the headers of the first member: the local one and that of the central directory (APPNOTE 4.3.7, 4.3.12).
fn patched(mut archive: Bytes, change: impl Fn(&mut [u8])) -> Bytes {
    let central = archive.windows(4).position(|four| four == b"PK\x01\x02").expect("a central directory");
    change(&mut archive[6..]);
    change(&mut archive[central + 8..]);
    archive
}

fn cut(mut bytes: Bytes, length: usize) -> Bytes {
    bytes.truncate(length);
    bytes
}

fn samples() -> Vec<(&'static str, Bytes)> {
    let gpx = gpx();
    let text = gpx.as_bytes();
    let tcx = SESSION.tcx();
    let second_run = SESSION.gpx(UTF_8, "Other loop").replace("2024-03-04", "2024-03-06");
    let two: &[(&str, &[u8])] = &[("one.gpx", text), ("two.gpx", second_run.as_bytes())];
    let nested =
        |depth: usize| (1..depth).fold(zip(&[("run.gpx", text)]), |inner, _| zip(&[("inner.zip", &inner)]));
    let utf_16_text = SESSION.gpx("<?xml version=\"1.0\" encoding=\"UTF-16\"?>\n", "Läufer");
    let blanks = [UTF_8.as_bytes(), &b" ".repeat(3 << 20), b"<gpx></gpx>"].concat();
    let packed = gzip(text);
    let half = text.len() / 2;
    vec![
        ("A9-no-bytes.gpx", Vec::new()),
        ("A9-only-blanks.gpx", b" \r\n\t\r\n".to_vec()),
        ("B11-library-root.gpx", format!("{UTF_8}<library><book/></library>").into_bytes()),
        ("G1-utf-8-mark.gpx", ["\u{feff}".as_bytes(), text].concat()),
        ("G2-utf-16-le-mark.gpx", utf_16(&utf_16_text, true, u16::to_le_bytes)),
        ("G2-utf-16-be-mark.tcx", utf_16(&tcx, true, u16::to_be_bytes)),
        ("G3-utf-16-le.gpx", utf_16(&utf_16_text, false, u16::to_le_bytes)),
        ("G3-utf-16-be.gpx", utf_16(&utf_16_text, false, u16::to_be_bytes)),
        ("G3-utf-16-no-xml.gpx", utf_16("lat;lon;time;pulse", false, u16::to_le_bytes)),
        ("G4-windows-1252.gpx", western("<?xml version=\"1.0\" encoding=\"windows-1252\"?>\n")),
        ("G4-iso-8859-1.gpx", western("<?xml version=\"1.0\" encoding='ISO-8859-1'?>\n")),
        ("G5-said-to-be-utf-8.gpx", western(UTF_8)),
        ("G5-nothing-said.gpx", western("")),
        ("G6-said-to-be-utf-16.gpx", utf_16_text.clone().into_bytes()),
        (
            "G7-controls-between-points.gpx",
            gpx.replacen("</trkpt>\n", "</trkpt>\n\u{1}\u{2}\u{0}", 1).into_bytes(),
        ),
        (
            "G7-junk-bytes.gpx",
            [
                &text[..gpx.find("</trkpt>").map_or(0, |at| at + 8)],
                b"\xff\xfe\x80\x81",
                &text[gpx.find("</trkpt>").map_or(0, |at| at + 8)..],
            ]
            .concat(),
        ),
        ("G8-cr-lf.gpx", gpx.replace('\n', "\r\n").into_bytes()),
        ("G8-cr.gpx", gpx.replace('\n', "\r").into_bytes()),
        ("I10-cut.gpx.gz", cut(packed.clone(), packed.len() * 2 / 3)),
        ("J1-members.gpx.gz", [gzip(&text[..half]), gzip(&text[half..])].concat()),
        ("J1-trailing-bytes.gpx.gz", [&packed[..], b"rubbish behind the stream"].concat()),
        ("J1-zstandard.gpx.zst", compress_to_vec(text, CompressionLevel::Fastest)),
        ("J2-sizes-after-data.zip", streamed_zip(two)),
        ("J2-program-before.zip", [&b"MZ"[..], &[0; 510], &zip(two)].concat()),
        ("J3-depth-3.zip", nested(3)),
        ("J4-depth-4.zip", nested(4)),
        (
            "J5-climbing-names.zip",
            zip(&[("../../up.gpx", text), ("/etc/root.gpx", text), ("C:\\windows\\..\\back.gpx", text)]),
        ),
        ("J6-one-encrypted.zip", patched(zip(two), |flags| flags[0] |= 1)),
        ("J7-ratio.gpx.gz", gzip(&blanks)),
        ("J7-ratio.zip", zip(&[("bomb.gpx", &blanks), ("run.gpx", text)])),
        ("J8-gpx-named.tcx", text.to_vec()),
        ("J8-gzip-named.gpx", packed.clone()),
        ("J8-UPPER.GPX", text.to_vec()),
        ("J8-no-ending", tcx.clone().into_bytes()),
        (
            "J9-sign-in-page.gpx",
            b"<!DOCTYPE html>\n<html><head><title>Sign in</title></head><body></body></html>".to_vec(),
        ),
        ("J9-picture.gpx", b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR\0\0\0\x01\0\0\0\x01\x08\x02\0\0\0".to_vec()),
        ("J9-binary-recording.gpx", b"\x0e\x20\x8b\x08\x40\0\0\0.FIT\0\0\x40\0\0\0".to_vec()),
        ("J9-points.tcx", b"{\"points\": [{\"lat\": 52.0, \"lon\": 4.0}]}".to_vec()),
        (
            "J9-workbook.zip",
            zip(&[("[Content_Types].xml", b"<Types/>"), ("xl/workbook.xml", b"<workbook/>")]),
        ),
        (
            "J10-checksum.zip",
            patched(zip(two), |flags| {
                // The checksum stands 8 bytes behind the flags in both headers.
                flags[8] ^= 0xff;
            }),
        ),
        ("J10-checksum.gpx.gz", {
            let mut wrong = packed.clone();
            let at = wrong.len() - 8;
            wrong[at] ^= 0xff;
            wrong
        }),
        ("J10-directory-cut-off.zip", {
            let whole = zip(two);
            let at = whole.windows(4).position(|four| four == b"PK\x01\x02").unwrap_or(0);
            cut(whole, at)
        }),
        (
            "J11-side-files.zip",
            zip(&[
                ("run.gpx", text),
                ("__MACOSX/._run.gpx", b"\0\x05\x16\x07\0\x02\0\0"),
                ("Thumbs.db", b"\xd0\xcf\x11\xe0"),
            ]),
        ),
        ("J11-beside/run.gpx", text.to_vec()),
        ("J11-beside/._run.gpx", b"\0\x05\x16\x07\0\x02\0\0Mac OS X".to_vec()),
        ("J12-empty.zip", zip(&[])),
        ("J12-folder-only.zip", zip(&[("folder/", b"")])),
        ("K1-same-bytes/a.gpx", text.to_vec()),
        ("K1-same-bytes/copy.gpx", text.to_vec()),
        ("K2-two-formats/run.gpx", Session { sensors: false, ..SESSION }.gpx(UTF_8, "Loop").into_bytes()),
        ("K2-two-formats/run.tcx", tcx.into_bytes()),
        ("K3-two-roundings/fine.gpx", text.to_vec()),
        (
            "K3-two-roundings/coarse.gpx",
            Session { digits: 5, sensors: false, ..SESSION }.gpx(UTF_8, "Loop").into_bytes(),
        ),
        ("K4-overlap/watch.gpx", text.to_vec()),
        ("K4-overlap/phone.gpx", Session { from: 12, to: 40, ..SESSION }.gpx(UTF_8, "Loop").into_bytes()),
        ("K5-same-loop/monday.gpx", text.to_vec()),
        ("K5-same-loop/tuesday.gpx", Session { day: 5, ..SESSION }.gpx(UTF_8, "Loop").into_bytes()),
        ("K6-loose-and-packed/export.zip", zip(&[("run.gpx", text)])),
        ("K6-loose-and-packed/run.gpx", text.to_vec()),
        ("K7-truncated-copy/a-cut.gpx", cut(text.to_vec(), text.len() / 2)),
        (
            "K7-truncated-copy/b-whole.gpx",
            Session { sensors: false, ..SESSION }.gpx(UTF_8, "Loop").into_bytes(),
        ),
        ("K8-hour-apart/summer.gpx", text.to_vec()),
        ("K8-hour-apart/winter.gpx", Session { hour: 19, ..SESSION }.gpx(UTF_8, "Loop").into_bytes()),
    ]
}

fn main() -> std::io::Result<()> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../testdata/inputs");
    for (name, bytes) in samples() {
        let path = folder.join(name);
        fs::create_dir_all(path.parent().unwrap_or(&folder))?;
        fs::write(path, bytes)?;
    }
    Ok(())
}

//! Zip archives, by their central directory; where that is lost, by the members' own headers.

use std::collections::HashMap;
use std::io::Cursor;

use flate2::{Crc, bufread::DeflateDecoder};
use memchr::memmem;
use zip::{CompressionMethod, ZipArchive, ZipReadOptions};

use crate::NoteKind;
use crate::allowance::{Allowance, CapReached, Stop};
use crate::archive::{self, Found, Packing, Refusal};
use crate::gzip::Unpacked;
use crate::side_file::is_side_file;

/// Hands over the members of the archive in the order of its directory.
pub(crate) fn open(
    archive_name: &str,
    bytes: &[u8],
    packing: &Packing,
    allowance: &mut Allowance<'_>,
    hand_over: &mut dyn FnMut(Found<'_>),
) {
    let refuse = |why, reason| Found::Refused { name: archive_name.to_owned(), why, reason };
    let mut archive = match ZipArchive::new(Cursor::new(bytes)) {
        // The directory's reader knows members by name; where two share one, the headers tell them apart.
        Ok(archive) if !archive.has_duplicate_names() => archive,
        directory => {
            let members = salvage(archive_name, bytes, packing, allowance, hand_over);
            if let Err(error) = directory {
                let broken = format!("a damaged zip archive ({error})");
                hand_over(match members {
                    0 => refuse(Refusal::Unreadable, format!("{broken}; no member can be read")),
                    _ => refuse(
                        Refusal::Incomplete,
                        format!("{broken}; {members} members were found without its directory"),
                    ),
                });
            }
            return;
        }
    };
    if archive.file_names_raw().any(is_document_part) {
        return hand_over(refuse(Refusal::NoRecording, "an office document or a program package".into()));
    }
    let mut names = MemberNames::new(archive_name);
    let mut is_empty = true;
    for index in 0..archive.len() {
        let Ok(entry) = archive.by_index_data(index) else { continue };
        if entry.is_dir() {
            continue;
        }
        is_empty = false;
        let raw_name = entry.name().map_or_else(
            |_| String::from_utf8_lossy(entry.name_raw()).into_owned(),
            |name| name.into_owned(),
        );
        let name = names.label(&raw_name);
        let (is_encrypted, is_link, method) = (entry.encrypted(), entry.is_symlink(), entry.compression());
        let (packed_bytes, stated) =
            (entry.compressed_size(), Stated { bytes: entry.size(), crc_32: entry.crc32() });
        if let Err(cap) = allowance.take_member() {
            return hand_over(refuse(
                Refusal::Incomplete,
                format!("{}; the members after that were not read", cap.0),
            ));
        }
        let refused = if is_side_file(&raw_name) {
            Some((Refusal::NoRecording, "a side file of an operating system".to_owned()))
        } else if is_link {
            Some((Refusal::NoRecording, "a link; links inside archives are not followed".to_owned()))
        } else if is_encrypted {
            Some((
                Refusal::Encrypted,
                "encrypted; unpack it with its password and hand in what comes out".to_owned(),
            ))
        } else if !matches!(method, CompressionMethod::Stored | CompressionMethod::Deflated) {
            Some((Refusal::Unreadable, unread_method(&method.to_string())))
        } else {
            None
        };
        if let Some((why, reason)) = refused {
            hand_over(Found::Refused { name, why, reason });
            continue;
        }
        let mut unpacked = Unpacked::default();
        let options = ZipReadOptions::new().ignore_crc32(true);
        let stop = match archive.by_index_with_options(index, options) {
            Ok(member) => allowance.read(member, packed_bytes.min(bytes.len() as u64), &mut unpacked.bytes),
            Err(error) => {
                let reason = format!("a damaged member of its archive ({error})");
                hand_over(Found::Refused { name, why: Refusal::Unreadable, reason });
                continue;
            }
        };
        finish(name, unpacked, stop, Some(stated), packing, allowance, hand_over);
    }
    if is_empty {
        hand_over(refuse(Refusal::EmptyArchive, "an empty archive: nothing inside".into()));
    }
}

/// What the archive says of a member's content.
#[derive(Clone, Copy)]
struct Stated {
    bytes: u64,
    crc_32: u32,
}

/// Checks a member that was unpacked, and opens it in turn.
fn finish(
    name: String,
    mut unpacked: Unpacked,
    stop: Result<Stop, CapReached>,
    stated: Option<Stated>,
    packing: &Packing,
    allowance: &mut Allowance<'_>,
    hand_over: &mut dyn FnMut(Found<'_>),
) {
    let stop = match stop {
        Ok(stop) => stop,
        Err(cap) => return hand_over(Found::Refused { name, why: Refusal::Cap, reason: cap.0 }),
    };
    let is_short = stated.is_some_and(|stated| (unpacked.bytes.len() as u64) < stated.bytes);
    if matches!(stop, Stop::Fault(_)) || is_short {
        if unpacked.bytes.is_empty() {
            let reason = "a damaged member of its archive; nothing unpacks".to_owned();
            return hand_over(Found::Refused { name, why: Refusal::Unreadable, reason });
        }
        let text = "the archive is cut or damaged within this member; what unpacks was read";
        unpacked.note_damage(NoteKind::CutContainer, text.into());
    } else if let Some(stated) = stated {
        let mut crc = Crc::new();
        crc.update(&unpacked.bytes);
        if crc.sum() != stated.crc_32 {
            let text = "the member's checksum in the archive is wrong; values in it may be wrong";
            unpacked.note_damage(NoteKind::Checksum, text.into());
        }
    }
    let packing = packing.with(unpacked.notes, unpacked.is_damaged);
    archive::open(&name, &unpacked.bytes, &packing, allowance, hand_over);
}

fn unread_method(method: &str) -> String {
    format!("packed by a method that is not read ({method}); pack it again as an ordinary zip archive")
}

/// Parts by which packages that only use the container show themselves: Office Open XML (ECMA-376 part 2),
/// OpenDocument and EPUB (`mimetype`), Java archives.
fn is_document_part(raw_name: &[u8]) -> bool {
    matches!(raw_name, b"[Content_Types].xml" | b"mimetype" | b"META-INF/MANIFEST.MF")
}

/// Reads members by their local headers (APPNOTE 4.3.7), front to back. Returns how many there were.
fn salvage(
    archive_name: &str,
    bytes: &[u8],
    packing: &Packing,
    allowance: &mut Allowance<'_>,
    hand_over: &mut dyn FnMut(Found<'_>),
) -> usize {
    let mut names = MemberNames::new(archive_name);
    let mut members = 0;
    let mut rest = bytes;
    while let Some(at) = memmem::find(rest, LocalHeader::MAGIC) {
        rest = &rest[at..];
        let Some((header, raw_name, body)) = LocalHeader::parse(rest) else { break };
        rest = body;
        if raw_name.ends_with(b"/") {
            continue;
        }
        if let Err(cap) = allowance.take_member() {
            let reason = format!("{}; the members after that were not read", cap.0);
            hand_over(Found::Refused { name: archive_name.to_owned(), why: Refusal::Incomplete, reason });
            break;
        }
        members += 1;
        let raw_name = String::from_utf8_lossy(raw_name);
        let name = names.label(&raw_name);
        let stored_bytes = usize::try_from(header.packed_bytes).unwrap_or(usize::MAX).min(body.len());
        let mut unpacked = Unpacked::default();
        let stop = match header.method {
            _ if is_side_file(&raw_name) => {
                let reason = "a side file of an operating system".to_owned();
                hand_over(Found::Refused { name, why: Refusal::NoRecording, reason });
                rest = &body[stored_bytes..];
                continue;
            }
            _ if header.is_encrypted() => {
                let reason = "encrypted; unpack it with its password and hand in what comes out".to_owned();
                hand_over(Found::Refused { name, why: Refusal::Encrypted, reason });
                rest = &body[stored_bytes..];
                continue;
            }
            LocalHeader::STORED if !header.has_descriptor() => {
                rest = &body[stored_bytes..];
                allowance.read(&body[..stored_bytes], stored_bytes as u64, &mut unpacked.bytes)
            }
            LocalHeader::DEFLATED => {
                // Deflate ends by itself, so the size, which may stand behind the data, is not needed.
                let mut decoder = DeflateDecoder::new(body);
                let stop = allowance.read(&mut decoder, body.len() as u64, &mut unpacked.bytes);
                rest = decoder.into_inner();
                stop
            }
            method => {
                let reason = unread_method(&format!("number {method}"));
                hand_over(Found::Refused { name, why: Refusal::Unreadable, reason });
                continue;
            }
        };
        let stated =
            (!header.has_descriptor()).then_some(Stated { bytes: header.bytes, crc_32: header.crc_32 });
        // With the size behind the data, an end of input is the only sign of a cut.
        let stop = match stop {
            Ok(Stop::End) if stated.is_none() && rest.is_empty() => {
                Ok(Stop::Fault(std::io::ErrorKind::UnexpectedEof.into()))
            }
            stop => stop,
        };
        finish(name, unpacked, stop, stated, packing, allowance, hand_over);
    }
    members
}

/// The header before each member (APPNOTE 4.3.7).
struct LocalHeader {
    flags: u16,
    method: u16,
    crc_32: u32,
    packed_bytes: u64,
    bytes: u64,
}

impl LocalHeader {
    const MAGIC: &[u8] = b"PK\x03\x04";
    const LENGTH: usize = 30;
    const STORED: u16 = 0;
    const DEFLATED: u16 = 8;

    /// The header, the member's name, and all that follows.
    fn parse(bytes: &[u8]) -> Option<(Self, &[u8], &[u8])> {
        let (fixed, rest) = bytes.split_first_chunk::<{ Self::LENGTH }>()?;
        let two = |at: usize| u16::from_le_bytes([fixed[at], fixed[at + 1]]);
        let four = |at: usize| u32::from_le_bytes([fixed[at], fixed[at + 1], fixed[at + 2], fixed[at + 3]]);
        let (name, rest) = rest.split_at_checked(usize::from(two(26)))?;
        let (_extra, body) = rest.split_at_checked(usize::from(two(28)))?;
        let header = Self {
            flags: two(6),
            method: two(8),
            crc_32: four(14),
            packed_bytes: u64::from(four(18)),
            bytes: u64::from(four(22)),
        };
        Some((header, name, body))
    }

    fn is_encrypted(&self) -> bool {
        self.flags & 1 != 0
    }

    /// Whether size and checksum follow the data instead of standing here.
    fn has_descriptor(&self) -> bool {
        self.flags & 1 << 3 != 0
    }
}

/// Gives each member the label `archive/path/in/it`, unlike any other in the archive.
struct MemberNames<'a> {
    archive_name: &'a str,
    given: HashMap<String, usize>,
}

impl<'a> MemberNames<'a> {
    fn new(archive_name: &'a str) -> Self {
        Self { archive_name, given: HashMap::new() }
    }

    /// A label with `/` between plain components: what would climb out, begin at a root or name a drive is left out.
    fn label(&mut self, raw_name: &str) -> String {
        let is_plain =
            |part: &&str| !part.is_empty() && *part != "." && *part != ".." && !part.ends_with(':');
        let mut label = self.archive_name.to_owned();
        for part in raw_name.split(['/', '\\']).filter(is_plain) {
            label.push('/');
            label.extend(part.chars().map(|letter| if letter.is_control() { '\u{fffd}' } else { letter }));
        }
        if label.len() == self.archive_name.len() {
            label.push_str("/unnamed");
        }
        let times = self.given.entry(label.clone()).or_default();
        *times += 1;
        if *times > 1 { format!("{label}#{times}") } else { label }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn labels_never_climb_out_of_the_archive() {
        let mut names = MemberNames::new("out.zip");
        assert_eq!(names.label("a/run.gpx"), "out.zip/a/run.gpx");
        assert_eq!(names.label("../../a/run2.gpx"), "out.zip/a/run2.gpx");
        assert_eq!(names.label("/etc/run.gpx"), "out.zip/etc/run.gpx");
        assert_eq!(names.label("C:\\b\\..\\run.gpx"), "out.zip/b/run.gpx");
        assert_eq!(names.label("a/run.gpx"), "out.zip/a/run.gpx#2");
        assert_eq!(names.label("../"), "out.zip/unnamed");
        assert_eq!(names.label("a\n\u{1b}b"), "out.zip/a\u{fffd}\u{fffd}b");
    }
}

//! Zip archives, by their central directory; where that is lost, by the members' own headers.

use std::collections::HashMap;
use std::io::Cursor;
use std::ops::ControlFlow;

use flate2::{Crc, bufread::DeflateDecoder};
use memchr::memmem;
use zip::{CompressionMethod, ZipArchive, ZipReadOptions};

use crate::allowance::{Allowance, CapReached, Stop};
use crate::archive::{self, Found, Packing};
use crate::gzip::Unpacked;
use crate::side_file::{SIDE_FILE, is_side_file};
use crate::{Error, ErrorKind, NoteKind, plain_name};

/// Hands over the members of the archive in the order of its directory, and at last the archive itself, so that it
/// is accounted for too.
pub(crate) fn open(
    archive_name: &str,
    bytes: &[u8],
    packing: &Packing,
    allowance: &mut Allowance<'_>,
    hand_over: &mut dyn FnMut(Found<'_>) -> ControlFlow<()>,
) -> ControlFlow<()> {
    let mut is_told = false;
    let members = open_members(archive_name, bytes, packing, allowance, &mut |found| {
        is_told |= found.name() == archive_name;
        hand_over(found)
    })?;
    if !is_told {
        let listed = match members {
            1 => "its one member is listed by its own name".to_owned(),
            _ => format!("its {members} members are listed by their own names"),
        };
        let reason = format!("an archive, no recording itself: {listed}");
        hand_over(refused(archive_name, Error::new(ErrorKind::Archive, None, reason)))?;
    }
    ControlFlow::Continue(())
}

/// Hands over the members, and the archive only where something is wrong with it. Returns how many members it has.
fn open_members(
    archive_name: &str,
    bytes: &[u8],
    packing: &Packing,
    allowance: &mut Allowance<'_>,
    hand_over: &mut dyn FnMut(Found<'_>) -> ControlFlow<()>,
) -> ControlFlow<(), usize> {
    let mut archive = match ZipArchive::new(Cursor::new(bytes)) {
        // The directory's reader knows members by name; where two share one, their headers tell them apart.
        Ok(archive) if !archive.has_duplicate_names() => archive,
        directory => {
            let members = salvage(archive_name, bytes, packing, allowance, hand_over)?;
            match directory {
                Err(error) => hand_over(refused(archive_name, salvaged(members, &error.to_string())))?,
                Ok(_) if members == 0 => {
                    hand_over(refused(archive_name, salvaged(0, "names stand twice in its directory")))?;
                }
                Ok(_) => {}
            }
            return ControlFlow::Continue(members);
        }
    };
    if archive.file_names_raw().any(is_document_part) {
        let reason = "an office document or a program package, no GPX or TCX";
        hand_over(refused(archive_name, Error::new(ErrorKind::OtherContent, None, reason)))?;
        return ControlFlow::Continue(0);
    }
    let mut members = 0;
    for index in 0..archive.len() {
        let entry = match archive.by_index_data(index) {
            Ok(entry) => entry,
            Err(error) => {
                let reason = format!(
                    "its member {} is damaged ({error}); copy or download the archive again",
                    index + 1
                );
                hand_over(refused(archive_name, Error::new(ErrorKind::DamagedContainer, None, reason)))?;
                members += 1;
                continue;
            }
        };
        // Only by its size is a member with the name of a folder told from a folder.
        if entry.is_dir() && entry.size() == 0 {
            continue;
        }
        if let Err(cap) = allowance.take_member() {
            hand_over(refused(archive_name, too_many_members(&cap)))?;
            return ControlFlow::Continue(members);
        }
        members += 1;
        let raw_name = entry.name().unwrap_or_else(|_| String::from_utf8_lossy(entry.name_raw()));
        let name = allowance
            .names
            .label(archive_name, entry.name().as_ref().map_or(entry.name_raw(), |name| name.as_bytes()));
        let method = Some(entry.compression())
            .filter(|method| !matches!(*method, CompressionMethod::Stored | CompressionMethod::Deflated));
        let obstacle = match method {
            _ if entry.is_symlink() => Some(link()),
            method => obstacle(&raw_name, entry.encrypted(), method.map(|method| method.to_string())),
        };
        if let Some(error) = obstacle {
            hand_over(refused(&name, error))?;
            continue;
        }
        let packed_bytes = entry.compressed_size().min(bytes.len() as u64);
        let stated = Stated { bytes: entry.size(), crc_32: entry.crc32() };
        let mut unpacked = Unpacked::default();
        // The checksum is compared afterwards, so that a wrong one does not hide the bytes.
        let stop = match archive.by_index_with_options(index, ZipReadOptions::new().ignore_crc32(true)) {
            Ok(member) => allowance.read(member, packed_bytes, &mut unpacked.bytes),
            Err(error) => {
                let reason =
                    format!("a damaged member of its archive ({error}); copy or download the archive again");
                hand_over(refused(&name, Error::new(ErrorKind::DamagedContainer, None, reason)))?;
                continue;
            }
        };
        finish(&name, unpacked, stop, Some(stated), packing, allowance, hand_over)?;
    }
    if members == 0 {
        let reason = "an empty archive: nothing inside";
        hand_over(refused(archive_name, Error::new(ErrorKind::EmptyArchive, None, reason)))?;
    }
    ControlFlow::Continue(members)
}

fn refused(name: &str, error: Error) -> Found<'static> {
    Found::Refused { name: name.to_owned(), error }
}

fn salvaged(members: usize, fault: &str) -> Error {
    let broken = format!("a damaged zip archive ({fault})");
    match members {
        0 => Error::new(
            ErrorKind::DamagedContainer,
            None,
            format!("{broken}; no member can be read: copy or download it again"),
        ),
        _ => Error::new(
            ErrorKind::IncompleteArchive,
            None,
            format!("{broken}; {members} members were found without its directory, others may be lost"),
        ),
    }
}

fn too_many_members(cap: &CapReached) -> Error {
    let reason = format!("{}; the members after that were not read", cap.0);
    Error::new(ErrorKind::IncompleteArchive, None, reason)
}

fn link() -> Error {
    Error::new(ErrorKind::SideFile, None, "a link; links inside archives are not followed")
}

/// Why a member is not unpacked.
fn obstacle(raw_name: &str, is_encrypted: bool, unread_method: Option<String>) -> Option<Error> {
    if is_side_file(raw_name) {
        return Some(Error::new(ErrorKind::SideFile, None, SIDE_FILE));
    }
    if is_encrypted {
        let reason = "encrypted; unpack it with its password and hand in what comes out";
        return Some(Error::new(ErrorKind::Encrypted, None, reason));
    }
    unread_method.map(|method| {
        let reason = format!(
            "packed by a method that is not read ({method}); pack it again as an ordinary zip archive"
        );
        Error::new(ErrorKind::DamagedContainer, None, reason)
    })
}

/// What the archive says of a member's content.
#[derive(Clone, Copy)]
struct Stated {
    bytes: u64,
    crc_32: u32,
}

/// Checks a member that was unpacked, and opens it in turn.
fn finish(
    name: &str,
    mut unpacked: Unpacked,
    stop: Result<Stop, CapReached>,
    stated: Option<Stated>,
    packing: &Packing,
    allowance: &mut Allowance<'_>,
    hand_over: &mut dyn FnMut(Found<'_>) -> ControlFlow<()>,
) -> ControlFlow<()> {
    let is_cut = match stop {
        Ok(Stop::End) => stated.is_some_and(|stated| (unpacked.bytes.len() as u64) < stated.bytes),
        Ok(Stop::Fault(_)) => true,
        Err(cap) => return hand_over(refused(name, Error::new(ErrorKind::Cap, None, cap.0))),
    };
    if is_cut && unpacked.bytes.is_empty() {
        let reason = "a damaged member of its archive; nothing unpacks: copy or download the archive again";
        return hand_over(refused(name, Error::new(ErrorKind::DamagedContainer, None, reason)));
    }
    if is_cut {
        unpacked.note(NoteKind::CutContainer, "within this member of the archive");
    } else if let Some(stated) = stated {
        let mut crc = Crc::new();
        crc.update(&unpacked.bytes);
        if crc.sum() != stated.crc_32 {
            unpacked.note(NoteKind::Checksum, "of this member of the archive");
        }
    }
    archive::open_layer(name, unpacked.bytes.into(), &packing.with(unpacked.notes), allowance, hand_over)
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
    hand_over: &mut dyn FnMut(Found<'_>) -> ControlFlow<()>,
) -> ControlFlow<(), usize> {
    let mut members = 0;
    let mut rest = bytes;
    while let Some(at) = memmem::find(rest, LocalHeader::MAGIC) {
        let Some((header, raw_name, body)) = rest.get(at..).and_then(LocalHeader::parse) else { break };
        rest = body;
        if raw_name.ends_with(b"/") && header.bytes == 0 {
            continue;
        }
        if let Err(cap) = allowance.take_member() {
            hand_over(refused(archive_name, too_many_members(&cap)))?;
            break;
        }
        members += 1;
        let name = allowance.names.label(archive_name, raw_name);
        let raw_name = String::from_utf8_lossy(raw_name);
        let packed_bytes = usize::try_from(header.packed_bytes).unwrap_or(usize::MAX);
        let (packed, behind) = body.split_at_checked(packed_bytes).unwrap_or((body, &[]));
        // Deflate ends by itself; of stored bytes only the header tells the end.
        let is_stored = header.method == LocalHeader::STORED && !header.has_descriptor();
        let is_read = is_stored || header.method == LocalHeader::DEFLATED;
        let unread_method = (!is_read).then(|| format!("number {}", header.method));
        if let Some(error) = obstacle(&raw_name, header.is_encrypted(), unread_method) {
            rest = behind;
            hand_over(refused(&name, error))?;
            continue;
        }
        let mut unpacked = Unpacked::default();
        let stop = if is_stored {
            rest = behind;
            allowance.read(packed, packed.len() as u64, &mut unpacked.bytes)
        } else {
            let mut decoder = DeflateDecoder::new(body);
            let stop = allowance.read(&mut decoder, body.len() as u64, &mut unpacked.bytes);
            rest = decoder.into_inner();
            stop
        };
        let stated =
            (!header.has_descriptor()).then_some(Stated { bytes: header.bytes, crc_32: header.crc_32 });
        let stop = match stop {
            // Where the sizes stand behind the data, the end of all bytes is the only sign of a cut.
            Ok(Stop::End) if stated.is_none() && rest.is_empty() => {
                Ok(Stop::Fault(std::io::ErrorKind::UnexpectedEof.into()))
            }
            stop => stop,
        };
        finish(&name, unpacked, stop, stated, packing, allowance, hand_over)?;
    }
    ControlFlow::Continue(members)
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
        let two = |at: usize| fixed.get(at..)?.first_chunk().map(|bytes| u16::from_le_bytes(*bytes));
        let four = |at: usize| fixed.get(at..)?.first_chunk().map(|bytes| u32::from_le_bytes(*bytes));
        let (name, rest) = rest.split_at_checked(usize::from(two(26)?))?;
        let (_extra, body) = rest.split_at_checked(usize::from(two(28)?))?;
        let header = Self {
            flags: two(6)?,
            method: two(8)?,
            crc_32: four(14)?,
            packed_bytes: u64::from(four(18)?),
            bytes: u64::from(four(22)?),
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

/// Bytes of a member's name that its label keeps, half from either end (own choice: paths are shorter, and a label stands in
/// every row about its member, while an archive may hold names of 65,535 bytes).
const KEPT_NAME_BYTES: usize = 1000;

/// Gives each member the label `archive/path/in/it`, unlike any other in the file that was handed in.
#[derive(Debug, Default)]
pub(crate) struct MemberNames {
    /// The labels that were given, each with the number that was last tried behind it.
    given: HashMap<String, usize>,
}

impl MemberNames {
    /// A label with `/` between plain components: what would climb out, begin at a root or name a drive is left out.
    fn label(&mut self, archive_name: &str, raw_name: &[u8]) -> String {
        let is_plain =
            |part: &&[u8]| !part.is_empty() && *part != b"." && *part != b".." && !part.ends_with(b":");
        let shortened = shortened(raw_name);
        let raw_name = shortened.as_deref().unwrap_or(raw_name);
        let mut label = archive_name.to_owned();
        for part in raw_name.split(|byte| matches!(byte, b'/' | b'\\')).filter(is_plain) {
            label.push('/');
            label.push_str(&plain_name(part));
        }
        if label.len() == archive_name.len() {
            label.push_str("/unnamed");
        }
        let mut number = self.given.get(&label).map_or(1, |tried| tried + 1);
        let numbered = loop {
            let numbered = if number > 1 { format!("{label}#{number}") } else { label.clone() };
            if !self.given.contains_key(&numbered) {
                break numbered;
            }
            number += 1;
        };
        self.given.insert(numbered.clone(), 1);
        self.given.insert(label, number);
        numbered
    }
}

/// The two ends of a name that is too long, with a mark between.
fn shortened(raw_name: &[u8]) -> Option<Vec<u8>> {
    const END_BYTES: usize = KEPT_NAME_BYTES / 2;
    let ends = raw_name.first_chunk::<END_BYTES>().zip(raw_name.last_chunk::<END_BYTES>());
    let (begin, end) = ends.filter(|_| raw_name.len() > KEPT_NAME_BYTES)?;
    Some([begin, "…".as_bytes(), end].concat())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_label_keeps_the_two_ends_of_a_very_long_name_and_stays_one_of_its_own() {
        let mut names = MemberNames::default();
        let name = |length: usize| [b"a/".repeat(length / 2), b"/run.gpx".to_vec()].concat();
        let label = names.label("out.zip", &name(60_000));
        assert!(label.len() < 1020 && label.starts_with("out.zip/a/a/") && label.ends_with("/a/a/run.gpx"));
        assert!(label.contains('…') && names.label("out.zip", &name(60_002)) == format!("{label}#2"));
        assert!(!names.label("out.zip", &name(992)).contains('…'));
    }

    #[test]
    fn labels_never_climb_out_of_the_archive() {
        let mut names = MemberNames::default();
        assert_eq!(names.label("out.zip", b"a/run.gpx"), "out.zip/a/run.gpx");
        assert_eq!(names.label("out.zip", b"../../a/run2.gpx"), "out.zip/a/run2.gpx");
        assert_eq!(names.label("out.zip", b"/etc/run.gpx"), "out.zip/etc/run.gpx");
        assert_eq!(names.label("out.zip", b"C:\\b\\..\\run.gpx"), "out.zip/b/run.gpx");
        assert_eq!(names.label("out.zip", b"a/run.gpx"), "out.zip/a/run.gpx#2");
        assert_eq!(names.label("out.zip", b"../"), "out.zip/unnamed");
        assert_eq!(names.label("out.zip", b"a\n\x1bb"), "out.zip/a\\u000a\\u001bb");
        assert_eq!(names.label("out.zip", b"Z\xe9"), "out.zip/Z\\xe9");
    }

    #[test]
    fn no_two_members_have_one_label() {
        let mut names = MemberNames::default();
        let found: Vec<String> = ["q.gpx", "q.gpx#2", "q.gpx", "q.gpx#2", "q.gpx", "i.zip"]
            .map(|name| names.label("o.zip", name.as_bytes()))
            .into_iter()
            .chain([names.label("o.zip/i.zip", b"r.gpx"), names.label("o.zip", b"i.zip/r.gpx")])
            .collect();
        let expected =
            ["q.gpx", "q.gpx#2", "q.gpx#3", "q.gpx#2#2", "q.gpx#4", "i.zip", "i.zip/r.gpx", "i.zip/r.gpx#2"];
        assert_eq!(found, expected.map(|name| format!("o.zip/{name}")));
    }
}

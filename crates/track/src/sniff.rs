//! What a file is, told by its bytes; its name is at most a hint.

use memchr::{memchr, memmem};

use crate::encoding;

/// What the bytes of a file show it to be.
#[derive(Clone, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum Content {
    /// No bytes, or nothing but blanks.
    Empty,
    /// A gzip stream (RFC 1952).
    Gzip,
    /// A zip archive.
    Zip,
    /// A Zstandard stream (RFC 8878).
    Zstd,
    /// XML whose root element has this local name; `gpx` and `TrainingCenterDatabase` hold recordings.
    Xml {
        /// Local name of the root element, without its prefix.
        root: String,
    },
    /// XML that ends before the name of its root element is complete.
    CutXml,
    /// Something else.
    Other(Kind),
}

/// A kind of file that is not read, with what to say about it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Kind {
    /// What it is, as it stands in a sentence: "a PDF document".
    pub name: &'static str,
    /// What to do about it; empty where there is nothing to do.
    pub advice: &'static str,
    /// Whether there may be recordings in it, in a form that is not read.
    pub may_hold_recordings: bool,
}

const fn kind(name: &'static str) -> Kind {
    Kind { name, advice: "", may_hold_recordings: false }
}

const WEB_PAGE: Kind = Kind {
    advice: "often a sign-in page that was saved in place of the download; sign in and download it again",
    ..kind("a web page (HTML)")
};
const NMEA_LOG: Kind =
    Kind { advice: "convert it to GPX", may_hold_recordings: true, ..kind("a log of NMEA 0183 sentences") };
const BINARY_RECORDING: Kind =
    Kind { advice: "export it as GPX or TCX", may_hold_recordings: true, ..kind("a binary recording") };
const ONLY_ZEROS: Kind = Kind {
    advice: "the device reserved the space and never wrote it; copy the file from the device again",
    ..kind("nothing but zero bytes")
};
const fn packed(name: &'static str) -> Kind {
    Kind { name, advice: "unpack it first", may_hold_recordings: true }
}
const ENCRYPTED: Kind =
    Kind { advice: "decrypt it first", may_hold_recordings: true, ..kind("an encrypted file") };

/// Signatures at a fixed offset, most telling first. Sources: the formats' own specifications.
const SIGNATURES: &[(usize, &[u8], Kind)] = &[
    (8, b".FIT", BINARY_RECORDING),
    (0, b"%PDF-", kind("a PDF document")),
    (0, b"\x89PNG\r\n\x1a\n", kind("a PNG picture")),
    (0, b"\xff\xd8\xff", kind("a JPEG picture")),
    (0, b"GIF8", kind("a GIF picture")),
    (8, b"WEBP", kind("a WebP picture")),
    (0, b"II*\0", kind("a TIFF picture")),
    (0, b"MM\0*", kind("a TIFF picture")),
    (4, b"ftyp", kind("a picture or film")),
    (0, b"RIFF", kind("sound or film")),
    (0, b"ID3", kind("sound")),
    (0, b"7z\xbc\xaf\x27\x1c", packed("a 7z archive")),
    (0, b"Rar!\x1a\x07", packed("a RAR archive")),
    (0, b"BZh", packed("a bzip2 stream")),
    (0, b"\xfd7zXZ\0", packed("an xz stream")),
    (257, b"ustar", packed("a tar archive")),
    (0, b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", kind("an office document or a folder's thumbnails")),
    (0, b"SQLite format 3\0", kind("a database")),
    (0, b"\0\x05\x16\x07", kind("a side file of a file system")),
    (0, b"\0\x05\x16\0", kind("a side file of a file system")),
    (0, b"\0\0\0\x01Bud1", kind("a side file of a file system")),
    (0, b"PAR1", kind("a Parquet table")),
    (0, b"\x7fELF", kind("a program")),
    (0, b"MZ", kind("a program")),
    (0, b"Salted__", ENCRYPTED),
    (0, b"age-encryption.org/", ENCRYPTED),
    (0, b"-----BEGIN PGP MESSAGE", ENCRYPTED),
    (0, b"{\\rtf", kind("a text document (RTF)")),
    (0, b"BEGIN:VCALENDAR", kind("a calendar")),
    (0, b"$GP", NMEA_LOG),
    (0, b"$GN", NMEA_LOG),
];

/// How far into a file the text heuristics and the search for a late root look, in bytes (own choice).
const HEAD_BYTES: usize = 64 * 1024;

/// Tells what `bytes` are; they may be the whole file or, for anything but XML, its first 64 KiB.
///
/// ```
/// use boutwise_track::{Content, sniff};
///
/// assert_eq!(sniff(b"\x1f\x8b\x08\0"), Content::Gzip);
/// assert_eq!(sniff(b"  <?xml version='1.0'?><g:gpx>"), Content::Xml { root: "gpx".into() });
/// assert_eq!(sniff(b" \r\n"), Content::Empty);
/// ```
pub fn sniff(bytes: &[u8]) -> Content {
    sniff_signature(bytes).unwrap_or_else(|| match encoding::decode(bytes) {
        Ok(decoded) => sniff_text(&decoded.text),
        Err(refused) => Content::Other(refused.kind()),
    })
}

/// Content that a signature gives away, before any thought of text.
pub(crate) fn sniff_signature(bytes: &[u8]) -> Option<Content> {
    if bytes.starts_with(b"<?xml") {
        return None;
    }
    if bytes.starts_with(b"\x1f\x8b") {
        return Some(Content::Gzip);
    }
    if [b"PK\x03\x04", b"PK\x05\x06", b"PK\x07\x08"].iter().any(|magic| bytes.starts_with(*magic))
        || ends_as_zip(bytes)
    {
        return Some(Content::Zip);
    }
    // Data frames, or the skippable frames that may stand before them (RFC 8878, 3.1).
    if bytes.starts_with(b"\x28\xb5\x2f\xfd") || matches!(bytes, [0x50..=0x5f, 0x2a, 0x4d, 0x18, ..]) {
        return Some(Content::Zstd);
    }
    if bytes.iter().all(|&byte| byte == 0) && !bytes.is_empty() {
        return Some(Content::Other(ONLY_ZEROS));
    }
    SIGNATURES
        .iter()
        .find(|(offset, magic, _)| bytes.get(*offset..).is_some_and(|rest| rest.starts_with(magic)))
        .map(|&(_, _, kind)| Content::Other(kind))
}

/// Longest end of a zip archive that is looked for behind other bytes: its record of 22 bytes and a comment (own choice; the
/// comment may be longer, and hardly is).
pub(crate) const ZIP_END_BYTES: usize = 1024;

/// Whether bytes end with the end of a zip archive's directory (APPNOTE 4.3.16). What stands before the archive, as a program
/// does that unpacks it, changes nothing about it.
pub(crate) fn ends_as_zip(bytes: &[u8]) -> bool {
    const COMMENT_LENGTH_AT: usize = 20;
    let end = &bytes[bytes.len().saturating_sub(ZIP_END_BYTES)..];
    memmem::rfind(end, b"PK\x05\x06").and_then(|at| end.get(at + COMMENT_LENGTH_AT..)).is_some_and(|rest| {
        let length = rest.first_chunk().map(|length| usize::from(u16::from_le_bytes(*length)));
        length.is_some_and(|length| rest.len() == 2 + length)
    })
}

/// Content of a text whose markup is ASCII, as [`encoding::decode`] gives it.
pub(crate) fn sniff_text(text: &[u8]) -> Content {
    let text = text.strip_prefix(b"\xef\xbb\xbf").unwrap_or(text).trim_ascii_start();
    let Some(first) = text.first() else { return Content::Empty };
    let root = if *first == b'<' { find_root(text) } else { Root::None };
    if let Root::Name(name) = root
        && !name.eq_ignore_ascii_case(b"html")
    {
        return Content::Xml { root: String::from_utf8_lossy(name).into_owned() };
    }
    let head = text.get(..HEAD_BYTES).unwrap_or(text);
    if looks_like_html(head) {
        return Content::Other(WEB_PAGE);
    }
    if matches!(root, Root::Cut) {
        return known_root_within(head).unwrap_or(Content::CutXml);
    }
    if matches!(first, b'{' | b'[') && looks_like_json(head) {
        return Content::Other(kind("JSON"));
    }
    if let Some(xml) = known_root_within(head) {
        return xml;
    }
    Content::Other(plain_text_kind(head))
}

/// What stands where the root element should.
enum Root<'a> {
    Name(&'a [u8]),
    Cut,
    None,
}

/// The local name of the first start tag, past declarations, comments, instructions and stray text.
fn find_root(text: &[u8]) -> Root<'_> {
    let mut rest = text;
    while let Some(opened) = memchr(b'<', rest).and_then(|at| rest.get(at..)) {
        rest = opened;
        let after = if rest.starts_with(b"<?") {
            end_of(rest, b"?>")
        } else if rest.starts_with(b"<!--") {
            end_of_comment(rest)
        } else if rest.starts_with(b"<!") {
            end_of_doctype(rest)
        } else {
            // A name ends at the next tag at the latest, so that a run of `<` is passed over in one sweep.
            let name = rest.get(1..).unwrap_or_default();
            let ends_name = |byte: &u8| byte.is_ascii_whitespace() || b"/><".contains(byte);
            let Some(name) = name.iter().position(ends_name).and_then(|length| name.get(..length)) else {
                return Root::Cut;
            };
            let local = name.rsplit(|&byte| byte == b':').next().unwrap_or_default();
            let starts_a_name = local
                .first()
                .is_some_and(|&first| first.is_ascii_alphabetic() || first == b'_' || first >= 0x80);
            if starts_a_name {
                return Root::Name(local);
            }
            Some(1)
        };
        match after.and_then(|end| rest.get(end..)) {
            Some(behind) => rest = behind,
            None => return Root::Cut,
        }
    }
    if text.first() == Some(&b'<') { Root::Cut } else { Root::None }
}

fn end_of(text: &[u8], mark: &[u8]) -> Option<usize> {
    memmem::find(text, mark).map(|at| at + mark.len())
}

/// Length of a comment; its end may share the hyphens of its beginning.
fn end_of_comment(text: &[u8]) -> Option<usize> {
    end_of(text.get(2..)?, b"-->").map(|end| end + 2)
}

/// Length of a document type declaration with its internal subset, quoted text and comments.
fn end_of_doctype(text: &[u8]) -> Option<usize> {
    let mut at = 2;
    let mut in_subset = false;
    loop {
        let rest = text.get(at..)?;
        at += match rest.first()? {
            b'[' => {
                in_subset = true;
                1
            }
            b']' => {
                in_subset = false;
                1
            }
            b'>' if !in_subset => return Some(at + 1),
            &quote @ (b'"' | b'\'') => memchr(quote, rest.get(1..)?)? + 2,
            b'<' if rest.starts_with(b"<!--") => end_of_comment(rest)?,
            b'<' if rest.starts_with(b"<?") => end_of(rest, b"?>")?,
            _ => 1,
        };
    }
}

/// A known root that stands later than it should: behind rubbish, or a declaration that does not end.
fn known_root_within(head: &[u8]) -> Option<Content> {
    ["gpx", "TrainingCenterDatabase"].into_iter().find_map(|root| {
        let at = memmem::find_iter(head, root).find(|&at| {
            let opens = matches!(head.get(..at).and_then(<[u8]>::last), Some(b'<' | b':'));
            let ends =
                head.get(at + root.len()).is_some_and(|byte| byte.is_ascii_whitespace() || *byte == b'>');
            opens && ends
        });
        at.map(|_| Content::Xml { root: root.to_owned() })
    })
}

fn looks_like_html(head: &[u8]) -> bool {
    let opening = head.get(..1024).unwrap_or(head).to_ascii_lowercase();
    let has = |mark: &str| memmem::find(&opening, mark.as_bytes()).is_some();
    let is_response = opening.starts_with(b"http/1") || opening.starts_with(b"http/2");
    (opening.starts_with(b"<") || is_response) && (has("<!doctype html") || has("<html"))
}

/// A brace or bracket, and next what JSON allows there (RFC 8259).
fn looks_like_json(head: &[u8]) -> bool {
    let next = head.get(1..).and_then(|rest| rest.trim_ascii_start().first());
    next.is_some_and(|next| b"\"{[]}-0123456789tfn".contains(next))
}

/// The likeliest kind of a text that is no XML.
fn plain_text_kind(head: &[u8]) -> Kind {
    // Control characters other than tab, line feed, form feed, carriage return and escape do not occur in text.
    let is_control = |byte: &&u8| matches!(byte, 0..=8 | 11 | 14..=26 | 28..=31);
    let controls = head.iter().filter(is_control).count();
    // One in a hundred: text with some damage is still text (own choice).
    if controls * 100 > head.len() {
        return kind("a binary file of no known kind");
    }
    let mut lines = head.split(|&byte| byte == b'\n').map(<[u8]>::trim_ascii).filter(|line| !line.is_empty());
    let Some(first) = lines.next() else {
        return kind("a text");
    };
    let second = lines.next().unwrap_or_default();
    let looks_like_toml = |line: &[u8]| {
        (line.starts_with(b"[") && line.ends_with(b"]"))
            || memmem::find(line, b" = ").is_some()
            || line.starts_with(b"#")
    };
    if looks_like_toml(first) {
        return kind("a text of settings");
    }
    let separators = |line: &[u8], separator: u8| line.iter().filter(|&&byte| byte == separator).count();
    let is_table = [b',', b';', b'\t'].into_iter().any(|separator| {
        separators(first, separator) > 0 && (second.is_empty() || separators(second, separator) > 0)
    });
    if is_table { kind("a table (CSV)") } else { kind("a text") }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn root_of(text: &str) -> String {
        match sniff(text.as_bytes()) {
            Content::Xml { root } => root,
            other => panic!("{other:?}"),
        }
    }

    fn kind_of(bytes: &[u8]) -> &'static str {
        match sniff(bytes) {
            Content::Other(kind) => kind.name,
            other => panic!("{other:?}"),
        }
    }

    #[test]
    fn the_root_is_found_behind_everything_xml_allows_before_it() {
        assert_eq!(root_of("<gpx>"), "gpx");
        assert_eq!(
            root_of("\u{feff}\r\n <?xml version='1.0'?>\n<!-- <kml> --><?pi <a>?><gpx version='1.1'>"),
            "gpx"
        );
        assert_eq!(root_of("<!DOCTYPE gpx><gpx/>"), "gpx");
        assert_eq!(root_of("<!DOCTYPE t [<!ENTITY a \"]><x>\"><!-- don't --><?p '?>]><t:tcx>"), "tcx");
        assert_eq!(root_of("<x:TrainingCenterDatabase\n xmlns:x='u'>"), "TrainingCenterDatabase");
        assert_eq!(root_of("<kml xmlns='u'>"), "kml");
    }

    #[test]
    fn a_recording_behind_rubbish_is_still_one() {
        assert_eq!(root_of("junk before\n<gpx version='1.1'>"), "gpx");
        assert_eq!(root_of("<!DOCTYPE broken [ <gpx version='1.1'>"), "gpx");
    }

    #[test]
    fn xml_that_ends_in_its_prolog_or_root_tag_is_cut() {
        for cut in
            ["<", "<?xml ver", "<?xml version='1.0'?>", "<?xml?><!-- no", "<?xml?><gp", "<!DOCTYPE g ["]
        {
            assert_eq!(sniff(cut.as_bytes()), Content::CutXml, "{cut}");
        }
    }

    #[test]
    fn a_run_of_tag_openings_takes_time_in_proportion() {
        // Two million: with a search to the far end from each of them, this would not finish.
        let text = ["<".repeat(2_000_000), " <gpx>".into()].concat();
        assert_eq!(root_of(&text), "gpx");
    }

    #[test]
    fn other_kinds_are_named() {
        assert_eq!(kind_of(b"<!DOCTYPE html><html><body>Sign in</body></html>"), "a web page (HTML)");
        assert_eq!(kind_of(b"<HTML lang='en'><head>"), "a web page (HTML)");
        assert_eq!(kind_of(b"HTTP/1.1 200 OK\r\nServer: x\r\n\r\n<html>"), "a web page (HTML)");
        assert_eq!(kind_of(b"{\"points\": []}"), "JSON");
        assert_eq!(kind_of(b"%PDF-1.7 ..."), "a PDF document");
        assert_eq!(kind_of(b"\x89PNG\r\n\x1a\n...."), "a PNG picture");
        assert_eq!(kind_of(b"\xff\xd8\xff\xe0"), "a JPEG picture");
        assert_eq!(kind_of(b"\x0e\x10\x43\x08\x78\x06\x09\x00.FIT"), "a binary recording");
        assert_eq!(kind_of(b"7z\xbc\xaf\x27\x1c\0\x04"), "a 7z archive");
        assert_eq!(kind_of(b"athlete,start\nanna,2024-03-04\n"), "a table (CSV)");
        assert_eq!(kind_of(b"title = \"Spring\"\n"), "a text of settings");
        assert_eq!(kind_of(b"Dear coach"), "a text");
        assert_eq!(kind_of(&[0; 4096]), "nothing but zero bytes");
        assert_eq!(kind_of(&[7, 1, 2, 3, 200, 4]), "a binary file of no known kind");
        assert_eq!(kind_of(b"\0\x05\x16\x07\0\x02\0\0"), "a side file of a file system");
    }

    #[test]
    #[cfg(feature = "encodings")]
    fn an_utf_16_text_is_sniffed_as_text() {
        let wide: Vec<u8> = "<gpx >".encode_utf16().flat_map(u16::to_le_bytes).collect();
        assert_eq!(sniff(&wide), Content::Xml { root: "gpx".into() });
    }
}

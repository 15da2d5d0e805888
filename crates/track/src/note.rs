//! What was odd about a file and did not stop the reading.

/// Where in the file something was found.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Place {
    /// Byte offset from the start of the decoded text, 0-based.
    pub byte: u64,
    /// Line as editors count, 1-based.
    pub line: u64,
}

impl Place {
    /// The place of the byte at offset `byte` of `text`.
    pub(crate) fn at(text: &[u8], byte: usize) -> Self {
        let before = &text[..byte.min(text.len())];
        // A carriage return is a line break of its own unless a line feed follows it.
        let returns =
            memchr::memchr_iter(b'\r', before).filter(|&at| text.get(at + 1) != Some(&b'\n')).count();
        let feeds = memchr::memchr_iter(b'\n', before).count();
        Self { byte: byte as u64, line: (1 + feeds + returns) as u64 }
    }
}

/// What kind of oddity a note speaks of.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
#[non_exhaustive]
pub enum NoteKind {
    /// The file ends before its root element is closed.
    Truncated,
    /// Bytes do not fit the encoding that the file declares, or the declaration is not known.
    Encoding,
    /// The stream or archive round the file is cut or damaged.
    CutContainer,
    /// A checksum of the stream or archive round the file is wrong.
    Checksum,
    /// Bytes follow the end of the stream round the file.
    TrailingBytes,
    /// Another file holds the same bytes or the same session.
    Duplicate,
    /// Another recording of the same athlete covers some of the same time.
    Overlap,
    /// Another recording holds the same session with its clock set to another time zone.
    ZoneSlip,
}

/// A fault or oddity that left usable data: one per kind and file, with a count.
#[derive(Clone, Debug, PartialEq)]
pub struct Note {
    /// What it is about.
    pub kind: NoteKind,
    /// Where it was first seen, if it has a place.
    pub place: Option<Place>,
    /// How often it was seen.
    pub count: u64,
    /// The sentence for people: what was found and what was done about it.
    pub text: String,
}

impl Note {
    /// A note without a place, seen once.
    pub(crate) fn new(kind: NoteKind, text: String) -> Self {
        Self { kind, place: None, count: 1, text }
    }
}

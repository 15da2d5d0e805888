//! What was odd about a file and did not stop the reading.

/// Where in the file something was found.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Place {
    /// Byte offset from the start of the decoded text, 0-based.
    pub byte: u64,
    /// Line as editors count, 1-based.
    pub line: u64,
}

/// What kind of oddity a note speaks of.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
#[non_exhaustive]
pub enum NoteKind {
    /// The file ends before its root element is closed.
    Truncated,
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

//! What lies inside a file: itself, what its stream unpacks to, or the members of its archives.
//!
//! Everything happens in memory; a name inside an archive is a label and never a path.

use std::borrow::Cow;

use crate::allowance::Allowance;
use crate::gzip::{self, Unpacked};
use crate::sniff::{Content, sniff_signature};
use crate::{Note, zip_archive, zstd};

/// One thing found: a file to be read, or something that was not opened.
#[derive(Debug)]
pub(crate) enum Found<'a> {
    File { name: String, bytes: Cow<'a, [u8]>, packing: Packing },
    Refused { name: String, why: Refusal, reason: String },
}

/// Why something was not opened.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Refusal {
    /// Nothing that could be a recording.
    NoRecording,
    /// An archive below the depth that is opened.
    TooDeep,
    /// It needs a password.
    Encrypted,
    /// It would grow beyond a cap.
    Cap,
    /// Broken, or packed in a way that is not read.
    Unreadable,
    /// An archive of which some members were read, and others may be lost.
    Incomplete,
    /// An archive without a member.
    EmptyArchive,
}

/// What the layers round a file did to it.
#[derive(Clone, Debug, Default)]
pub(crate) struct Packing {
    pub(crate) notes: Vec<Note>,
    pub(crate) is_damaged: bool,
    streams: usize,
    archives: usize,
}

impl Packing {
    pub(crate) fn with(&self, notes: Vec<Note>, is_damaged: bool) -> Self {
        Self {
            notes: [self.notes.clone(), notes].concat(),
            is_damaged: self.is_damaged || is_damaged,
            ..*self
        }
    }
}

/// Hands over what `bytes` hold, one at a time, in the order in which it lies there.
pub(crate) fn open(
    name: &str,
    bytes: &[u8],
    packing: &Packing,
    allowance: &mut Allowance<'_>,
    hand_over: &mut dyn FnMut(Found<'_>),
) {
    let max_depth = allowance.settings.max_depth;
    let refuse = |why, reason| Found::Refused { name: name.to_owned(), why, reason };
    let unpacked = match sniff_signature(bytes) {
        Some(Content::Gzip | Content::Zstd) if packing.streams == max_depth => {
            let reason =
                format!("packed streams at depth {}; only {max_depth} are opened (max_depth)", max_depth + 1);
            return hand_over(refuse(Refusal::TooDeep, reason));
        }
        Some(Content::Zip) if packing.archives == max_depth => {
            let reason =
                format!("an archive at depth {}; only {max_depth} are opened (max_depth)", max_depth + 1);
            return hand_over(refuse(Refusal::TooDeep, reason));
        }
        Some(Content::Gzip) => gzip::unpack(bytes, allowance),
        Some(Content::Zstd) => zstd::unpack(bytes, allowance),
        Some(Content::Zip) => {
            let inner = Packing { archives: packing.archives + 1, ..packing.clone() };
            return zip_archive::open(name, bytes, &inner, allowance, hand_over);
        }
        _ => {
            return hand_over(Found::File {
                name: name.to_owned(),
                bytes: Cow::Borrowed(bytes),
                packing: packing.clone(),
            });
        }
    };
    match unpacked {
        Err(cap) => hand_over(refuse(Refusal::Cap, cap.0)),
        Ok(Unpacked { bytes, notes, is_damaged: true }) if bytes.is_empty() => {
            let reason = notes.first().map_or_else(String::new, |note| note.text.clone());
            hand_over(refuse(Refusal::Unreadable, format!("{reason}; nothing unpacks")));
        }
        Ok(Unpacked { bytes, notes, is_damaged }) => {
            let inner = Packing { streams: packing.streams + 1, ..packing.with(notes, is_damaged) };
            open(name, &bytes, &inner, allowance, hand_over);
        }
    }
}

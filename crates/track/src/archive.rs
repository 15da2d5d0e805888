//! What lies inside a file: itself, what its stream unpacks to, or the members of its archives.
//!
//! Everything happens in memory; a name inside an archive is a label and never a path.

use std::borrow::Cow;
use std::ops::ControlFlow;

use crate::at_once::Claim;
use crate::sniff::{Content, sniff_signature};
use crate::{ArchiveSettings, Error, ErrorKind, Note};
#[cfg(feature = "archives")]
use crate::{
    allowance::Allowance,
    gzip::{self, Unpacked},
    zip_archive, zstd,
};

/// One thing found: a file to be read, or something that was not opened. Bytes that belong to nobody else are given away, so
/// that who reads them can let go of them.
#[derive(Debug)]
pub(crate) enum Found<'a> {
    File { name: String, bytes: Cow<'a, [u8]>, packing: Packing },
    Refused { name: String, error: Error },
}

#[cfg(feature = "archives")]
impl Found<'_> {
    pub(crate) fn name(&self) -> &str {
        match self {
            Self::File { name, .. } | Self::Refused { name, .. } => name,
        }
    }
}

/// The layers round a file, and what was noted of them.
#[derive(Clone, Debug, Default)]
pub(crate) struct Packing {
    pub(crate) notes: Vec<Note>,
    #[cfg(feature = "archives")]
    streams: usize,
    #[cfg(feature = "archives")]
    archives: usize,
}

impl Packing {
    /// With what was noted of one more layer.
    #[cfg(feature = "archives")]
    pub(crate) fn with(&self, notes: Vec<Note>) -> Self {
        Self { notes: [self.notes.clone(), notes].concat(), ..*self }
    }

    /// Whether the file lay in no layer, so that its bytes are those of an input.
    pub(crate) fn is_none(&self) -> bool {
        #[cfg(feature = "archives")]
        return self.streams == 0 && self.archives == 0;
        #[cfg(not(feature = "archives"))]
        true
    }

    /// Whether a layer is damaged, so that what lies in it may be incomplete or wrong.
    pub(crate) fn is_damaged(&self) -> bool {
        self.notes.iter().any(|note| note.kind.is_loss())
    }
}

/// Hands over what `bytes` hold, one at a time, in the order in which it lies there.
#[cfg(feature = "archives")]
pub(crate) fn open(
    name: &str,
    bytes: Cow<'_, [u8]>,
    settings: &ArchiveSettings,
    claim: &mut Claim,
    hand_over: &mut dyn FnMut(Found<'_>) -> ControlFlow<()>,
) -> ControlFlow<()> {
    let mut allowance = Allowance::new(settings, claim, bytes.len());
    open_layer(name, bytes, &Packing::default(), &mut allowance, hand_over)
}

/// Hands over the file itself; what is packed is refused by its name.
#[cfg(not(feature = "archives"))]
pub(crate) fn open(
    name: &str,
    bytes: Cow<'_, [u8]>,
    _: &ArchiveSettings,
    _: &mut Claim,
    hand_over: &mut dyn FnMut(Found<'_>) -> ControlFlow<()>,
) -> ControlFlow<()> {
    let what = match sniff_signature(&bytes) {
        Some(Content::Gzip) => "a gzip stream",
        Some(Content::Zip) => "a zip archive",
        Some(Content::Zstd) => "a Zstandard stream",
        _ => return hand_over(Found::File { name: name.to_owned(), bytes, packing: Packing::default() }),
    };
    let reason = format!(
        "{what}, no GPX or TCX; this reader was built without the feature `archives`: unpack it first"
    );
    let error = Error::new(ErrorKind::OtherRecording, None, reason);
    hand_over(Found::Refused { name: name.to_owned(), error })
}

/// Hands over what one layer holds, going into the layers below it.
#[cfg(feature = "archives")]
pub(crate) fn open_layer(
    name: &str,
    bytes: Cow<'_, [u8]>,
    packing: &Packing,
    allowance: &mut Allowance<'_>,
    hand_over: &mut dyn FnMut(Found<'_>) -> ControlFlow<()>,
) -> ControlFlow<()> {
    let max_depth = allowance.settings.max_depth;
    let refuse = |kind, reason: String| Found::Refused {
        name: name.to_owned(),
        error: Error::new(kind, None, reason),
    };
    let too_deep = |what| {
        let reason = format!("{what} at depth {}; only {max_depth} are opened (max_depth)", max_depth + 1);
        refuse(ErrorKind::TooDeep, reason)
    };
    let unpacked = match sniff_signature(&bytes) {
        Some(Content::Gzip | Content::Zstd) if packing.streams == max_depth => {
            return hand_over(too_deep("a packed stream"));
        }
        Some(Content::Zip) if packing.archives == max_depth => return hand_over(too_deep("an archive")),
        Some(Content::Gzip) => gzip::unpack(&bytes, allowance),
        Some(Content::Zstd) => zstd::unpack(&bytes, allowance),
        Some(Content::Zip) => {
            let inner = Packing { archives: packing.archives + 1, ..packing.clone() };
            return zip_archive::open(name, &bytes, &inner, allowance, hand_over);
        }
        _ => return hand_over(Found::File { name: name.to_owned(), bytes, packing: packing.clone() }),
    };
    match unpacked {
        Err(cap) => hand_over(refuse(ErrorKind::Cap, cap.0)),
        Ok(Unpacked { bytes: unpacked, notes }) => {
            drop(bytes);
            let inner = Packing { streams: packing.streams + 1, ..packing.with(notes) };
            if unpacked.is_empty() && inner.is_damaged() {
                let reason =
                    "a packed stream that is cut or damaged; nothing unpacks: copy or download it again";
                return hand_over(refuse(ErrorKind::DamagedContainer, reason.to_owned()));
            }
            open_layer(name, unpacked.into(), &inner, allowance, hand_over)
        }
    }
}

#[cfg(all(test, not(feature = "archives")))]
mod tests {
    use crate::{ErrorKind, ReadSettings, Status, read_bytes};

    #[test]
    fn without_the_feature_packed_files_are_refused_by_name() {
        for (bytes, what) in [(&b"\x1f\x8b\x08\0"[..], "a gzip stream"), (b"PK\x03\x04", "a zip archive")] {
            read_bytes("run.gpx", bytes, &ReadSettings::default(), &mut |reading| {
                let error = reading.error.unwrap();
                assert_eq!((reading.status, error.kind()), (Status::Failed, ErrorKind::OtherRecording));
                assert!(error.to_string().starts_with(what), "{error}");
            });
        }
    }
}

//! Reads GPX and TCX recordings, however odd, into clean columnar points.

#![warn(missing_docs)]

mod allowance;
mod archive;
mod duplicate;
mod encoding;
mod error;
mod fingerprint;
mod folder;
mod gzip;
mod input;
mod note;
mod points;
mod read;
mod recording;
mod side_file;
mod sniff;
mod zip_archive;
mod zstd;

pub use allowance::ArchiveSettings;
pub use duplicate::{Candidate, DuplicateSettings, OwnedFile, Standing, find_duplicates, note_same_bytes};
pub use fingerprint::Fingerprint;
pub use folder::{InputPath, find_inputs};
pub use input::{FileReading, Status, read_bytes, read_from, read_input, read_path};
pub use note::{Note, NoteKind, Place};
pub use points::{NO_TIME, Point, Points, Position};
pub use read::{Format, ReadSettings};
pub use recording::{Mark, MarkKind, Recording, Sport};
pub use sniff::{Content, Kind, sniff};

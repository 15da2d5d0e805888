//! Reads GPX and TCX recordings, however odd, into clean columnar points.
//!
//! ```text
//! folder ─▶ input ─▶ archive ─▶ sniff ─▶ encoding ─▶ text
//! files     bytes    gzip, zip,  content  UTF-8, …
//!                    zstd
//!
//! text ─▶ lex ─▶ walk ─▶ gpx, tcx ─▶ raw ─▶ clean ─▶ recording ─▶ fingerprint ─▶ duplicate
//!        tags    path    meaning    values  order, place, sensors   samples        which counts
//! ```

#![warn(missing_docs)]

mod allowance;
mod archive;
mod clean;
mod duplicate;
mod encoding;
mod distance;
mod error;
mod fingerprint;
mod folder;
mod gpx;
mod gzip;
mod input;
mod lex;
mod note;
mod number;
mod points;
mod raw;
mod read;
mod recording;
mod side_file;
mod sniff;
mod tcx;
mod timestamp;
mod walk;
mod zip_archive;
mod zstd;

pub use allowance::ArchiveSettings;
pub use duplicate::{Candidate, DuplicateSettings, OwnedFile, Standing, find_duplicates, note_same_bytes};
pub use distance::step_m;
pub use error::{Error, ErrorKind};
pub use fingerprint::Fingerprint;
pub use folder::{InputPath, find_inputs};
pub use input::{FileReading, Status, read_bytes, read_from, read_input, read_path};
pub use note::{Note, NoteKind, Place};
pub use points::{NO_TIME, Point, Points, Position};
pub use raw::RawSession;
pub use read::{Format, RawReading, ReadSettings, Reading, read_raw, read_text};
pub use recording::{Clock, Mark, MarkKind, Recording, Sport};
pub use sniff::{Content, Kind, sniff};

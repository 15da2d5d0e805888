//! Reads GPX and TCX recordings, however odd, into clean columnar points.
//!
//! ```text
//! folder ─▶ input ─▶ archive ─▶ sniff ─▶ encoding ─▶ text
//! files     bytes    gzip, zip,  content  UTF-8, …
//!                    zstd
//!
//! text ─▶ lex ─▶ walk ─▶ gpx, tcx ─▶ raw ─▶ clean ─▶ recording ─▶ fingerprint ─▶ duplicate
//!        tags    path    meaning    values  order, place, sensors   samples        which counts
//!                └─▶ layout ─────────┘
//!              points written as those before them
//! ```
//!
//! A bad value costs that value, a bad point that point, and only a bad file the file. What was odd is said in a
//! [`Note`], one a kind with its count and first place; a file that gives no session is an [`Error`] that says why.
//!
//! # Features
//! Both are on unless turned off. `archives` opens gzip, Zstandard and zip; without it a packed file is refused by name.
//! `encodings` converts UTF-16 and encodings of several bytes a character; without it UTF-16 is refused by name, and all
//! others are read as what they share with UTF-8, which is everything but names and titles.
//!
//! # Example
//! ```
//! use boutwise_track::{NoteKind, ReadSettings, read_text};
//!
//! // The recording breaks off inside its third point.
//! let text = br#"<gpx><trk><trkseg>
//!   <trkpt lat="12.50000" lon="-38.25"><time>2025-03-01T10:00:00Z</time></trkpt>
//!   <trkpt lat="12.50002" lon="-38.25"><time>2025-03-01T10:00:01Z</time></trkpt>
//!   <trkpt lat="12.50004" lon="-38.2"#;
//! let reading = read_text(text, &ReadSettings::default())?;
//! assert!(reading.partial);
//! assert_eq!(reading.points_kept, 2);
//! assert_eq!(reading.notes[0].kind, NoteKind::Truncated);
//! let distance_m = reading.recordings[0].distance_m().unwrap();
//! assert!((distance_m - 2.21).abs() < 0.01);
//! # Ok::<(), boutwise_track::Error>(())
//! ```

#![warn(missing_docs)]

mod folder;
mod input;
mod plain_name;
mod side_file;

mod setting;

#[cfg(feature = "archives")]
mod allowance;
mod archive;
mod archive_settings;
mod at_once;
#[cfg(feature = "archives")]
mod gzip;
#[cfg(feature = "archives")]
mod zip_archive;
#[cfg(feature = "archives")]
mod zstd;

mod encoding;
mod sniff;
mod stencil;

mod bytes;
mod known;
mod layout;
mod lex;
mod walk;
mod words;

mod gpx;
mod tcx;

mod number;
mod timestamp;

mod raw;
mod read;

mod clean;
mod distance;

mod duplicate;
mod fingerprint;

mod error;
mod note;
mod origin;
mod points;
mod recording;

pub use archive_settings::ArchiveSettings;
pub use at_once::AtOnce;
pub use distance::step_m;
pub use duplicate::{Candidate, DuplicateSettings, OwnedFile, Standing, find_duplicates, note_same_bytes};
pub use error::{Error, ErrorKind};
pub use fingerprint::Fingerprint;
pub use folder::{InputPath, find_inputs};
pub use input::{
    Answer, FileReading, Status, read_bytes, read_from, read_input, read_path, read_unless_known,
};
pub use note::{Note, NoteKind, Place, Quantity};
pub use origin::Origin;
pub use plain_name::{plain_name, plain_path, shown};
pub use points::{NO_TIME, Point, Points, Position};
pub use raw::RawSession;
pub use read::{Format, RawReading, ReadSettings, Reading, read_raw, read_text};
pub use recording::{Clock, Mark, MarkKind, Recording, Sport};
pub use setting::{Setting, SettingGroup, SettingNumber};
pub use sniff::{Content, Kind, sniff};

/// The code on the page for users of the library.
#[cfg(doctest)]
#[doc = include_str!("../README.md")]
struct LibraryPage;

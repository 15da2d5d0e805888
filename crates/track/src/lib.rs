//! Reads GPX and TCX recordings, however odd, into clean columnar points.
//!
//! ```text
//! text ─▶ lex ─▶ walk ─▶ gpx, tcx ─▶ raw ─▶ clean ─▶ recording
//!        tags    path    meaning    values  order, place, sensors
//! ```

#![warn(missing_docs)]

mod clean;
mod distance;
mod error;
mod gpx;
mod lex;
mod note;
mod number;
mod points;
mod raw;
mod read;
mod recording;
mod tcx;
mod timestamp;
mod walk;

pub use distance::step_m;
pub use error::{Error, ErrorKind};
pub use note::{Note, NoteKind, Place};
pub use points::{NO_TIME, Point, Points, Position};
pub use raw::RawSession;
pub use read::{Format, RawReading, ReadSettings, Reading, read_raw, read_text};
pub use recording::{Clock, Mark, MarkKind, Recording, Sport};

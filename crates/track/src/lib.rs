//! Reads GPX and TCX recordings, however odd, into clean columnar points.

#![warn(missing_docs)]

mod note;
mod points;
mod recording;

pub use note::{Note, NoteKind, Place};
pub use points::{NO_TIME, Point, Points, Position};
pub use recording::{Mark, MarkKind, Recording, Sport};

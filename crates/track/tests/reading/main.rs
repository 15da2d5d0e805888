//! Tests of the reader against samples, open recordings, other libraries and whatever proptest thinks of.

mod open_recordings;

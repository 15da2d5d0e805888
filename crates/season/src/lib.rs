//! See the crate's description.

//! Tells running from walking in a recording, and measures one session.

#![warn(missing_docs)]

mod bout;
mod interval;

pub use bout::{Bout, Kind, Segmentation};
pub use interval::{Amount, Gait, Interval};

//! Tells running from walking in a recording, and measures one session.

#![warn(missing_docs)]

mod bout;
mod cadence;
mod decode;
mod durations;
mod edges;
mod evidence;
mod grid;
mod interval;
mod levels;
mod noise;
mod segment;
mod series;
mod settings;
mod stand;
mod steps;
#[doc(hidden)]
pub mod tune;

pub use bout::{Bout, Kind, Segmentation};
pub use durations::DurationPrior;
pub use interval::{Amount, Gait, Interval};
pub use segment::segment;
pub use series::Series;
pub use settings::SegmentSettings;

//! Tells running from walking in a recording, and measures one session.

#![warn(missing_docs)]

mod assemble;
mod bout;
mod cadence;
mod confidence;
mod decode;
mod durations;
mod edges;
mod evidence;
mod frame;
mod grid;
mod heading;
mod interval;
mod levels;
mod noise;
mod notes;
mod otsu;
mod rides;
mod segment;
mod series;
mod settings;
mod stand;
mod steps;

pub use bout::{Bout, Kind, Segmentation};
pub use durations::DurationPrior;
pub use interval::{Amount, Gait, Interval};
pub use segment::segment;
pub use series::Series;
pub use settings::SegmentSettings;

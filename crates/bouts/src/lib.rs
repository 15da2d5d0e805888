//! Tells running from walking in a recording, and measures one session.

#![warn(missing_docs)]

mod adherence;
mod assemble;
mod bout;
mod cadence;
mod confidence;
mod decode;
mod doubt;
mod drift;
mod durations;
mod edges;
mod evidence;
mod found;
mod frame;
mod grid;
mod heading;
mod heart_rate;
mod interval;
mod levels;
mod noise;
mod notes;
mod otsu;
mod rhythm;
mod segment;
mod series;
mod session;
mod settings;
mod stand;
pub mod statistics;
mod steps;

pub use adherence::{
    AdherenceSettings, IntervalMatch, IntervalStatus, Reps, RunMatch, SessionMatch, match_session,
};
pub use bout::{Bout, Kind, Segmentation};
pub use drift::{DriftReading, DriftSettings, PaceDrift, pace_drift};
pub use durations::DurationPrior;
pub use heart_rate::{
    DecouplingSettings, HeartRateFall, HeartRateFallSettings, decoupling_pct, heart_rate_falls,
    heart_rate_mean_bpm, heart_rate_share_pct,
};
pub use interval::{Amount, Gait, Interval};
pub use segment::segment;
pub use series::Series;
pub use session::{MeasureSettings, Session, UnbrokenRun, measure};
pub use settings::SegmentSettings;

//! Tells running from walking in a recording, and measures one session.
//!
//! [`segment`] makes bouts of a recording, each module one step of it:
//!
//! 0. `drives`: what only a vehicle explains is cut off first.
//! 1. `steps`, `heading`, `timeline`, `grid`: displacement along the track, second by second, and how far each is to be trusted.
//!    Where steps are not counted, `climb` makes of speed uphill what the same effort gives on the level.
//! 2. `noise`, `stand`, `frame`: how rough the positions are, and the stretches of movement between stands and gaps.
//! 3. `cadence`, `levels`: this person's walking and running, from steps where they were counted, else from speeds.
//! 4. `evidence`, `durations`, `decode`: the likeliest walks and runs of a stretch, by an explicit-duration hidden Markov
//!    model; `found` repeats it with what the session itself has shown, and with the `rhythm` that comes back in it.
//! 5. `edges`: when each bout begins and ends; a plan has its say here and nowhere else.
//! 6. `confidence`, `doubt`: how sure that is; what is more likely wrong than right is not stated. `bounds` says between
//!    what the truth lies all the same; `grounds` gives what confidence is weighed from to those who fit it.
//! 7. `assemble`, `notes`: bouts with what was measured in them, and what could not be told.
//!
//! [`read_events`] tells what happened in a session that was to follow planned intervals, [`match_session`] how closely it
//! followed them, [`measure`] takes a session's measures.

#![warn(missing_docs)]

mod adherence;
mod assemble;
mod bounds;
mod bout;
mod cadence;
mod climb;
mod confidence;
mod decode;
mod doubt;
mod drift;
mod drives;
mod durations;
mod edges;
mod evenness;
mod events;
mod evidence;
mod exponential;
mod found;
mod fourier;
mod frame;
mod grid;
mod grounds;
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
mod timeline;

pub use adherence::{
    AdherenceSettings, Hidden, Inside, IntervalMatch, IntervalStatus, Reps, RunMatch, SessionMatch,
    match_recorded, match_session,
};
pub use bounds::Bounds;
pub use bout::{Bout, Kind, Segmentation};
pub use confidence::{Coefficients, Model, Product, Term, products_of};
pub use drift::{DriftSettings, PaceDrift, pace_drift};
pub use events::{Event, EventKind, Observed, Reading, read_events, told};
pub use grounds::{BoutGrounds, Grounds, grounds};
pub use heart_rate::{
    HeartRateFall, HeartRateFallSettings, SpeedPerBeatSettings, heart_rate_falls, heart_rate_mean_bpm,
    heart_rate_share_pct, speed_per_beat_loss_pct,
};
pub use interval::{Amount, Gait, Interval};
pub use segment::segment;
pub use series::Series;
pub use session::{MeasureSettings, Session, UnbrokenRun, measure};
pub use settings::SegmentSettings;

/// The code on the page for users of the library.
#[cfg(doctest)]
#[doc = include_str!("../README.md")]
struct LibraryPage;

//! Invented recordings with known truth, and the evaluation against it.
//!
//! The path of a session: a [`plan`](plans) → what was really done ([`Deviation`], interruptions) → how fast and
//! where (pace, route) → what a device made of it (position error, sampling, sensors) → [`SyntheticSession`] →
//! [`files`]; many of them over
//! weeks make a [`squad`]. Found bouts are held against its truth in
//! [`evaluation`]; [`peers`] are other methods for comparison.
//!
//! ```
//! use boutwise_truth::{SessionSettings, SyntheticSession, Tier};
//!
//! let session = SyntheticSession::draw(7, &SessionSettings::of(Tier::Medium));
//! assert!(session.recording.points.len() > 300);
//! assert_eq!(session.truth[0].start_s, 0.0);
//! ```

#![warn(missing_docs)]

mod cadence;
mod deviation;
mod elevation;
pub mod evaluation;
pub mod files;
mod free_run;
mod going;
mod happening;
mod heart_rate;
mod interruption;
pub mod open;
mod pace;
pub mod peers;
mod person;
pub mod plans;
mod position_error;
mod random;
mod receiver;
mod route;
mod sampling;
mod session;
pub mod squad;
mod stretch;
mod tier;

pub use cadence::CadenceSettings;
pub use deviation::Deviation;
pub use elevation::HeightErrorSettings;
pub use going::GoingSettings;
pub use happening::{DriveAt, EventfulSession, ExpectedEvent, Happening, PlanPart};
pub use heart_rate::HeartRateSettings;
pub use interruption::InterruptionSettings;
pub use pace::PaceSettings;
pub use person::{Person, PersonSettings};
pub use position_error::{PositionError, PositionErrorSettings};
pub use random::Random;
pub use receiver::ReceiverSettings;
pub use sampling::SamplingSettings;
pub use session::{Device, SyntheticSession};
pub use stretch::{Stretch, TrueBout};
pub use tier::{AsRecorded, Sensors, SessionSettings, Simulator, Tier};

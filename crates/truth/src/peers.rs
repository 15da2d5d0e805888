//! Other ways to tell running from walking, written out for comparison only.

mod cadence_threshold;
mod change_points;
mod hidden_markov;
mod hysteresis;
mod plan_alone;
mod speed_series;

pub use cadence_threshold::{CadenceCut, cadence_threshold};
pub use change_points::{ChangePoints, change_points, pelt};
pub use hidden_markov::{GaussianHmm, hidden_markov, hidden_markov_told, viterbi};
pub use hysteresis::{SpeedCut, hysteresis};
pub use plan_alone::plan_alone;
pub use speed_series::SpeedSeries;

//! A bout: a maximal stretch of one kind of movement.

use std::ops::Range;

use serde::{Deserialize, Serialize};

use crate::{Bounds, Series};

/// The kind of a bout.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
pub enum Kind {
    /// Running, however slow.
    Run,
    /// Walking.
    Walk,
    /// Standing still.
    Stand,
    /// No points, or none that says where: the recording says nothing.
    Gap,
}

impl Kind {
    /// The word used in every table: `run`, `walk`, `stand` or `gap`.
    pub fn word(self) -> &'static str {
        match self {
            Self::Run => "run",
            Self::Walk => "walk",
            Self::Stand => "stand",
            Self::Gap => "gap",
        }
    }
}

/// A maximal stretch of one kind. Bouts of a session touch each other and cover it from its first to its
/// last point; `end_s` is not included.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Bout {
    /// What was done.
    pub kind: Kind,
    /// Start, in seconds from the session's first point.
    pub start_s: f64,
    /// End, in seconds from the session's first point.
    pub end_s: f64,
    /// Metres covered, from the filtered speed along the track; `None` in a gap or where nothing tells.
    pub distance_m: Option<f64>,
    /// Mean heart rate in beats per minute over the points that have one.
    pub heart_rate_mean_bpm: Option<f64>,
    /// Mean heart rate in beats per minute over the last 5 s.
    pub heart_rate_end_bpm: Option<f64>,
    /// Mean cadence of both legs in steps per minute.
    pub cadence_spm: Option<f64>,
    /// Probability that the kind is right and the extent at least half right (intersection over union with the true
    /// bout from 0.5 up), 0 to 1; calibrated against known truth. 1 in a gap.
    pub confidence: f64,
}

impl Bout {
    /// A bout of which only kind and extent are known, and these for certain.
    pub fn new(kind: Kind, start_s: f64, end_s: f64) -> Self {
        Self {
            kind,
            start_s,
            end_s,
            distance_m: None,
            heart_rate_mean_bpm: None,
            heart_rate_end_bpm: None,
            cadence_spm: None,
            confidence: 1.0,
        }
    }

    /// Length in seconds.
    pub fn duration_s(&self) -> f64 {
        self.end_s - self.start_s
    }
}

/// What segmentation found in one recording.
#[derive(Clone, Debug, PartialEq)]
pub struct Segmentation {
    /// The bouts, in order, without holes.
    pub bouts: Vec<Bout>,
    /// Whether running and walking can be told apart in this recording at all.
    pub resolvable: bool,
    /// Probability that every run is right: their number, and each edge within 10 s. Calibrated against known truth.
    pub confidence: f64,
    /// What is known of the runs however doubtful the bouts are; `None` where nothing tells anything.
    pub bounds: Option<Bounds>,
    /// What a coach should know, in words.
    pub notes: Vec<String>,
    /// What was measured, second by second.
    pub series: Series,
    /// Stretches in a vehicle, in seconds from the session's first point; `gap` among the bouts.
    pub vehicles: Vec<Range<f64>>,
    /// Stretches in which the person came on or nobody can tell, and nothing was recorded of how, in seconds from the session's
    /// first point; `gap` among the bouts.
    pub unseen: Vec<Range<f64>>,
}

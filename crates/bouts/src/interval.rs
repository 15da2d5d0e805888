//! What a plan asks for: intervals to run or to walk.

use serde::{Deserialize, Serialize};

/// How an interval is to be covered.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum Gait {
    /// To be run: a rep.
    Run,
    /// To be walked: a break, a warm-up or a walk of its own.
    Walk,
}

impl Gait {
    /// The word used in every table: `run` or `walk`.
    pub fn word(self) -> &'static str {
        match self {
            Self::Run => "run",
            Self::Walk => "walk",
        }
    }
}

/// How much of an interval is asked for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Amount {
    /// So many seconds.
    Seconds(f64),
    /// So many metres.
    Metres(f64),
}

/// One planned interval.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Interval {
    /// Run or walk.
    pub gait: Gait,
    /// How long or how far.
    pub amount: Amount,
}

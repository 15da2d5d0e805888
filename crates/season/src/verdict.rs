//! What the figures suggest, in one word.

use serde::{Deserialize, Serialize};

/// The word of a proposal, and of a coach's own decision.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
pub enum Verdict {
    /// Go on with the plan as written.
    Advance,
    /// Repeat the block.
    Hold,
    /// Go back a block; on the first, shorter.
    Ease,
    /// A warning sign was noted: no running.
    Stop,
}

impl Verdict {
    /// All of them, from the boldest to the most careful.
    pub const ALL: [Self; 4] = [Self::Advance, Self::Hold, Self::Ease, Self::Stop];

    /// The word in every table: `advance`, `hold`, `ease` or `stop`.
    pub fn word(self) -> &'static str {
        match self {
            Self::Advance => "advance",
            Self::Hold => "hold",
            Self::Ease => "ease",
            Self::Stop => "stop",
        }
    }
}

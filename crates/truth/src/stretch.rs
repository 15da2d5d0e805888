//! What was really done, stretch by stretch, and the truth that follows from it.

use boutwise_bouts::Kind;

/// A stretch of one kind with its length.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stretch {
    /// What was done.
    pub kind: Kind,
    /// For how many seconds.
    pub duration_s: f64,
}

/// A bout that is known to have taken place; seconds count from the session's first point.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TrueBout {
    /// What was done.
    pub kind: Kind,
    /// Start in seconds.
    pub start_s: f64,
    /// End in seconds, not included.
    pub end_s: f64,
}

impl TrueBout {
    /// Length in seconds.
    pub fn duration_s(&self) -> f64 {
        self.end_s - self.start_s
    }
}

/// Joins neighbours of the same kind and leaves out what has no length.
pub(crate) fn joined(stretches: impl IntoIterator<Item = Stretch>) -> Vec<Stretch> {
    let mut result: Vec<Stretch> = Vec::new();
    for stretch in stretches.into_iter().filter(|s| s.duration_s > 0.0) {
        match result.last_mut() {
            Some(last) if last.kind == stretch.kind => last.duration_s += stretch.duration_s,
            _ => result.push(stretch),
        }
    }
    result
}

/// The bouts that stretches laid end to end make, from second 0.
pub(crate) fn laid_out(stretches: &[Stretch]) -> Vec<TrueBout> {
    let mut start_s = 0.0;
    stretches
        .iter()
        .map(|stretch| {
            let bout = TrueBout { kind: stretch.kind, start_s, end_s: start_s + stretch.duration_s };
            start_s = bout.end_s;
            bout
        })
        .collect()
}

//! What was measured, second by second.

/// Values for each second of a session: index `i` stands for the second from `i` to `i + 1` after the first point.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Series {
    /// Filtered speed along the track in metres per second; NaN where nothing is known.
    pub speed_m_per_s: Vec<f32>,
    /// Heart rate in beats per minute; NaN where missing.
    pub heart_rate_bpm: Vec<f32>,
    /// Cadence of both legs in steps per minute, as recorded; NaN where missing.
    pub cadence_spm: Vec<f32>,
}

impl Series {
    /// Number of seconds.
    pub fn len(&self) -> usize {
        self.speed_m_per_s.len()
    }

    /// Whether there is no second.
    pub fn is_empty(&self) -> bool {
        self.speed_m_per_s.is_empty()
    }
}

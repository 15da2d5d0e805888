//! What was measured, second by second.

use crate::Bout;
use crate::timeline::Timeline;

/// Values for the seconds of a session. What lies more than 20 s inside a gap has none, so that a gap of a year takes no more
/// room than one of a minute; [`Series::start_s`] tells which second an index stands for.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Series {
    /// Filtered speed along the track in metres per second; NaN where nothing is known.
    pub speed_m_per_s: Vec<f32>,
    /// Heart rate in beats per minute; NaN where missing.
    pub heart_rate_bpm: Vec<f32>,
    /// Cadence of both legs in steps per minute, as recorded; NaN where missing.
    pub cadence_spm: Vec<f32>,
    pub(crate) timeline: Timeline,
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

    /// Seconds from the first point to the beginning of the second that an index stands for.
    ///
    /// ```
    /// assert_eq!(boutwise_bouts::Series::default().start_s(7), 7.0);
    /// ```
    #[inline]
    pub fn start_s(&self, index: usize) -> f64 {
        self.timeline.second(index) as f64
    }

    /// A bout that holds no gap, in time as if every index were a second.
    pub(crate) fn by_index(&self, bout: &Bout) -> Bout {
        let second = bout.start_s as usize;
        let left_out_s = (second - self.timeline.cell(second)) as f64;
        Bout { start_s: bout.start_s - left_out_s, end_s: bout.end_s - left_out_s, ..bout.clone() }
    }
}

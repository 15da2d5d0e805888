//! Fixed hysteresis on speed: the naive way.

use boutwise_track::Recording;

use super::SpeedSeries;
use crate::evaluation::FoundBout;

/// Speeds at which running begins and ends.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SpeedCut {
    /// Running begins above this, in m/s.
    pub enter_m_per_s: f64,
    /// Running ends below this, in m/s.
    pub leave_m_per_s: f64,
    /// Window of the mean speed, in seconds.
    pub window_s: usize,
}

impl Default for SpeedCut {
    /// 2.1 and 1.8 m/s around the speed at which adults change from walk to run (near 2.0–2.1 m/s), on a 10 s mean.
    fn default() -> Self {
        Self { enter_m_per_s: 2.1, leave_m_per_s: 1.8, window_s: 10 }
    }
}

/// Bouts by fixed hysteresis.
pub fn hysteresis(recording: &Recording, cut: SpeedCut) -> Vec<FoundBout> {
    let Some(series) = SpeedSeries::of(recording) else { return Vec::new() };
    let mut running = false;
    let verdicts: Vec<bool> = series
        .mean_speed_m_per_s(cut.window_s)
        .iter()
        .map(|speed| {
            running = *speed > if running { cut.leave_m_per_s } else { cut.enter_m_per_s };
            running
        })
        .collect();
    series.bouts(&verdicts)
}

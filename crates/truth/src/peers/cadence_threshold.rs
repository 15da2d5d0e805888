//! Fixed hysteresis on cadence.

use boutwise_track::Recording;

use super::SpeedSeries;
use crate::evaluation::FoundBout;

/// Cadences at which running begins and ends, in steps of both legs a minute.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CadenceCut {
    /// Running begins above this.
    pub enter_spm: f64,
    /// Running ends below this.
    pub leave_spm: f64,
}

impl Default for CadenceCut {
    /// 140 steps a minute, where adults change from walk to run (Ducharme and others 2021), and 130 to leave.
    fn default() -> Self {
        Self { enter_spm: 140.0, leave_spm: 130.0 }
    }
}

/// Bouts by fixed hysteresis on cadence; none without cadence.
pub fn cadence_threshold(recording: &Recording, cut: CadenceCut) -> Vec<FoundBout> {
    let Some(series) = SpeedSeries::of(recording) else { return Vec::new() };
    let mut running = false;
    let verdicts: Vec<bool> = series
        .cadence_spm
        .iter()
        .map(|cadence| {
            running = *cadence > if running { cut.leave_spm } else { cut.enter_spm };
            running
        })
        .collect();
    series.bouts(&verdicts)
}

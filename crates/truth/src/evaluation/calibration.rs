//! Whether a stated confidence means what it says, and what calling a session not resolvable costs and saves.

use super::SessionScore;

/// Bouts whose confidence lies in one tenth.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ReliabilityBin {
    /// Lowest confidence of the bin, included; the highest is 0.1 above (1 included in the last bin).
    pub from: f64,
    /// Number of bouts.
    pub bouts: usize,
    /// Mean confidence.
    pub mean_confidence: f64,
    /// Share of the bouts that are right.
    pub right_share: f64,
}

/// Reliability table and Brier score.
#[derive(Clone, Debug, PartialEq)]
pub struct Calibration {
    /// Mean squared difference between confidence and rightness (0 or 1).
    pub brier: f64,
    /// The bins that hold a bout.
    pub bins: Vec<ReliabilityBin>,
}

impl Calibration {
    /// Calibration of these pairs of confidence and rightness; `None` where there are none.
    pub fn of(judged: &[(f64, bool)]) -> Option<Self> {
        if judged.is_empty() {
            return None;
        }
        let outcome = |right: bool| f64::from(u8::from(right));
        let squares: f64 =
            judged.iter().map(|&(confidence, right)| (confidence - outcome(right)).powi(2)).sum();
        let bins = (0..10).filter_map(|tenth| {
            let inside =
                judged.iter().filter(|(c, _)| ((c * 10.0).floor().clamp(0.0, 9.0)) as usize == tenth);
            let (bouts, sum, right) =
                inside.fold((0, 0.0, 0.0), |(n, sum, hits), &(c, r)| (n + 1, sum + c, hits + outcome(r)));
            (bouts > 0).then(|| ReliabilityBin {
                from: tenth as f64 / 10.0,
                bouts,
                mean_confidence: sum / bouts as f64,
                right_share: right / bouts as f64,
            })
        });
        Some(Self { brier: squares / judged.len() as f64, bins: bins.collect() })
    }

    /// Largest distance between mean confidence and right share over bins with at least so many bouts.
    pub fn largest_gap(&self, least_bouts: usize) -> Option<f64> {
        let full = self.bins.iter().filter(|bin| bin.bouts >= least_bouts);
        full.map(|bin| (bin.mean_confidence - bin.right_share).abs()).max_by(f64::total_cmp)
    }
}

/// What refusing to answer saves and costs at one place of the line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TradeOff {
    /// Sessions with less confidence than this are refused; `None` for the method's own flag.
    pub below_confidence: Option<f64>,
    /// Of the sessions with a wrong count of runs, the share that is refused; `None` where there is none.
    pub wrong_refused: Option<f64>,
    /// Of the sessions with every rep right, the share that is refused; `None` where there is none.
    pub right_refused: Option<f64>,
    /// Share of all sessions that is refused.
    pub refused: f64,
    /// Of the sessions that are answered, the share with every rep right; `None` where none is.
    pub right_of_answered: Option<f64>,
}

/// The method's own flag first, then refusing by session confidence below each line.
pub fn trade_off(scores: &[SessionScore], lines: &[f64]) -> Vec<TradeOff> {
    let at = |below_confidence: Option<f64>| {
        let refused = |score: &&SessionScore| match below_confidence {
            None => !score.resolvable,
            Some(line) => score.confidence.is_some_and(|confidence| confidence < line),
        };
        let share = |chosen: &dyn Fn(&&SessionScore) -> bool, hit: &dyn Fn(&&SessionScore) -> bool| {
            let all = scores.iter().filter(chosen).count();
            let hits = scores.iter().filter(chosen).filter(hit).count();
            (all > 0).then(|| hits as f64 / all as f64)
        };
        TradeOff {
            below_confidence,
            wrong_refused: share(&|s| !s.count_right, &refused),
            right_refused: share(&|s| s.every_rep_right, &refused),
            refused: share(&|_| true, &refused).unwrap_or(0.0),
            right_of_answered: share(&|s| !refused(s), &|s| s.every_rep_right),
        }
    };
    std::iter::once(None).chain(lines.iter().copied().map(Some)).map(at).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn brier_and_bins_follow_their_definition() {
        let judged = [(0.95, true), (0.95, false), (0.15, false), (1.0, true)];
        let calibration = Calibration::of(&judged).unwrap();
        let expected = (0.05_f64.powi(2) + 0.95_f64.powi(2) + 0.15_f64.powi(2)) / 4.0;
        assert!((calibration.brier - expected).abs() < 1e-12);
        assert_eq!(calibration.bins.iter().map(|bin| bin.bouts).collect::<Vec<_>>(), [1, 3]);
        assert!((calibration.bins[1].right_share - 2.0 / 3.0).abs() < 1e-12);
        assert_eq!(calibration.largest_gap(4), None);
        assert_eq!(Calibration::of(&[]), None);
    }

    #[test]
    fn the_trade_off_counts_refused_sessions() {
        let session = |count_right, every_rep_right, confidence| {
            let score = SessionScore::of(&[], true, &[]);
            SessionScore { count_right, every_rep_right, confidence: Some(confidence), ..score }
        };
        let scores = [session(true, true, 0.9), session(true, true, 0.4), session(false, false, 0.3)];
        let line = trade_off(&scores, &[0.5])[1];
        assert_eq!((line.wrong_refused, line.right_refused), (Some(1.0), Some(0.5)));
        assert_eq!(line.right_of_answered, Some(1.0));
    }
}

//! One session's found bouts against its true ones.

use boutwise_bouts::{Bout, Kind, Segmentation};

use super::agreement::{Span, iou, matches, overlap_s};
use crate::TrueBout;

/// A boundary is right within this many seconds.
pub const EDGE_LIMIT_S: f64 = 10.0;
/// A bout is right when its kind matches and it meets a true bout with at least this intersection over union.
pub const IOU_LIMIT: f64 = 0.5;

/// A bout that some method found.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FoundBout {
    /// What was found.
    pub kind: Kind,
    /// Start in seconds from the session's first point.
    pub start_s: f64,
    /// End in seconds from the session's first point.
    pub end_s: f64,
    /// How sure the method is, 0 to 1; `None` where it does not say.
    pub confidence: Option<f64>,
}

impl From<&Bout> for FoundBout {
    fn from(bout: &Bout) -> Self {
        let Bout { kind, start_s, end_s, confidence, .. } = *bout;
        Self { kind, start_s, end_s, confidence: Some(confidence) }
    }
}

/// How one session came out.
#[derive(Clone, Debug, PartialEq)]
pub struct SessionScore {
    /// Whether the session had followed its plan.
    pub as_planned: bool,
    /// Whether the method called the session resolvable.
    pub resolvable: bool,
    /// Confidence in the session as a whole, where the method gives one.
    pub confidence: Option<f64>,
    /// Whether as many runs were found as there were.
    pub count_right: bool,
    /// Whether the count is right and each run begins and ends within [`EDGE_LIMIT_S`] of the truth.
    pub every_rep_right: bool,
    /// True runs.
    pub true_runs: usize,
    /// Found runs.
    pub found_runs: usize,
    /// Found walks.
    pub found_walks: usize,
    /// Found walks more than half of which was running.
    pub walks_while_running: usize,
    /// Runs found with at least [`IOU_LIMIT`].
    pub matched_runs: usize,
    /// Absolute errors in seconds of the starts and ends of matched runs.
    pub edge_errors_s: Vec<f64>,
    /// Found minus true seconds of the longest run; no run counts as 0 s.
    pub longest_run_error_s: f64,
    /// Seconds by truth (row) and finding (column): 0 not running, 1 running; true gaps left out.
    pub seconds: [[f64; 2]; 2],
    /// Confidence and rightness of each found bout but gaps, where the method gives a confidence.
    pub judged_bouts: Vec<(f64, bool)>,
}

fn spans(bouts: impl Iterator<Item = (Kind, f64, f64)>, kind: Kind) -> Vec<Span> {
    bouts.filter(|bout| bout.0 == kind).map(|bout| (bout.1, bout.2)).collect()
}

fn longest_s(spans: &[Span]) -> f64 {
    spans.iter().map(|span| span.1 - span.0).fold(0.0, f64::max)
}

impl SessionScore {
    /// Scores bouts of a method that always answers.
    pub fn of(truth: &[TrueBout], as_planned: bool, found: &[FoundBout]) -> Self {
        let true_of = |kind| spans(truth.iter().map(|b| (b.kind, b.start_s, b.end_s)), kind);
        let found_of = |kind| spans(found.iter().map(|b| (b.kind, b.start_s, b.end_s)), kind);
        let (true_runs, found_runs) = (true_of(Kind::Run), found_of(Kind::Run));
        let pairs = matches(&true_runs, &found_runs, IOU_LIMIT);
        let edge_errors_s = pairs
            .iter()
            .map(|&(i, j)| (true_runs[i], found_runs[j]))
            .flat_map(|(a, b)| [(a.0 - b.0).abs(), (a.1 - b.1).abs()])
            .collect();
        let near =
            |(a, b): (&Span, &Span)| (a.0 - b.0).abs() <= EDGE_LIMIT_S && (a.1 - b.1).abs() <= EDGE_LIMIT_S;
        let count_right = true_runs.len() == found_runs.len();
        let right = |bout: &FoundBout| {
            true_of(bout.kind).iter().any(|&span| iou(span, (bout.start_s, bout.end_s)) >= IOU_LIMIT)
        };
        let found_walks = found_of(Kind::Walk);
        let running_s = |walk: Span| true_runs.iter().map(|&run| overlap_s(run, walk)).sum::<f64>();
        let while_running = found_walks.iter().filter(|&&walk| running_s(walk) > 0.5 * (walk.1 - walk.0));
        Self {
            as_planned,
            resolvable: true,
            confidence: None,
            count_right,
            every_rep_right: count_right && true_runs.iter().zip(&found_runs).all(near),
            true_runs: true_runs.len(),
            found_runs: found_runs.len(),
            walks_while_running: while_running.count(),
            found_walks: found_walks.len(),
            matched_runs: pairs.len(),
            edge_errors_s,
            longest_run_error_s: longest_s(&found_runs) - longest_s(&true_runs),
            seconds: seconds(truth, &found_runs),
            judged_bouts: found
                .iter()
                .filter(|bout| bout.kind != Kind::Gap)
                .filter_map(|bout| Some((bout.confidence?, right(bout))))
                .collect(),
        }
    }

    /// Scores a segmentation with its confidence; where it is not resolvable its best guess is scored.
    pub fn of_segmentation(truth: &[TrueBout], as_planned: bool, segmentation: &Segmentation) -> Self {
        let found: Vec<FoundBout> = segmentation.bouts.iter().map(FoundBout::from).collect();
        Self {
            resolvable: segmentation.resolvable,
            confidence: Some(segmentation.confidence),
            ..Self::of(truth, as_planned, &found)
        }
    }
}

/// Each second is judged by its middle.
fn seconds(truth: &[TrueBout], found_runs: &[Span]) -> [[f64; 2]; 2] {
    let mut counts = [[0.0; 2]; 2];
    let (mut bout, mut run) = (0, 0);
    let end_s = truth.last().map_or(0.0, |b| b.end_s);
    for second in 0..end_s as usize {
        let middle_s = second as f64 + 0.5;
        while bout + 1 < truth.len() && truth[bout].end_s <= middle_s {
            bout += 1;
        }
        while run < found_runs.len() && found_runs[run].1 <= middle_s {
            run += 1;
        }
        if truth[bout].kind != Kind::Gap {
            let found = run < found_runs.len() && found_runs[run].0 <= middle_s;
            counts[usize::from(truth[bout].kind == Kind::Run)][usize::from(found)] += 1.0;
        }
    }
    counts
}

#[cfg(test)]
mod tests {
    use super::*;

    fn truth() -> Vec<TrueBout> {
        [
            (Kind::Walk, 0.0, 60.0),
            (Kind::Run, 60.0, 120.0),
            (Kind::Gap, 120.0, 150.0),
            (Kind::Run, 150.0, 200.0),
        ]
        .map(|(kind, start_s, end_s)| TrueBout { kind, start_s, end_s })
        .to_vec()
    }

    fn found(spans: &[(Kind, f64, f64)]) -> Vec<FoundBout> {
        let bout = |&(kind, start_s, end_s)| FoundBout { kind, start_s, end_s, confidence: Some(0.9) };
        spans.iter().map(bout).collect()
    }

    #[test]
    fn the_truth_itself_scores_full_marks() {
        let same: Vec<_> = truth().iter().map(|b| (b.kind, b.start_s, b.end_s)).collect();
        let score = SessionScore::of(&truth(), true, &found(&same));
        assert!(score.every_rep_right && score.matched_runs == 2);
        assert_eq!(score.seconds, [[60.0, 0.0], [0.0, 110.0]]);
        assert_eq!(score.judged_bouts, [(0.9, true); 3]);
        assert_eq!(score.longest_run_error_s, 0.0);
    }

    #[test]
    fn an_edge_eleven_seconds_off_is_not_right_and_counts_as_such() {
        let score =
            SessionScore::of(&truth(), true, &found(&[(Kind::Run, 71.0, 120.0), (Kind::Run, 150.0, 200.0)]));
        assert!(score.count_right && !score.every_rep_right);
        assert_eq!(score.edge_errors_s, [11.0, 0.0, 0.0, 0.0]);
        assert_eq!(score.longest_run_error_s, -10.0);
        assert_eq!(score.seconds, [[60.0, 0.0], [11.0, 99.0]]);
    }

    #[test]
    fn a_walk_found_in_a_run_is_told_from_one_found_in_a_walk() {
        let score =
            SessionScore::of(&truth(), true, &found(&[(Kind::Walk, 0.0, 70.0), (Kind::Walk, 160.0, 180.0)]));
        assert_eq!((score.found_walks, score.walks_while_running), (2, 1));
    }

    #[test]
    fn a_wrong_kind_is_a_wrong_bout() {
        let score = SessionScore::of(&truth(), true, &found(&[(Kind::Walk, 60.0, 120.0)]));
        assert_eq!(score.judged_bouts, [(0.9, false)]);
        assert!(!score.count_right);
    }
}

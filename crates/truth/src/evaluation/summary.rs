//! Many sessions' scores in a handful of figures.

use super::agreement::{Limits, f1, kappa, limits_of_agreement};
use super::{Calibration, SessionScore};

/// Figures over a set of sessions. A share is `None` where its set is empty.
#[derive(Clone, Debug, PartialEq)]
pub struct Summary {
    /// Number of sessions.
    pub sessions: usize,
    /// Share called not resolvable.
    pub not_resolvable: f64,
    /// Share with every rep right, over all sessions (the best guess counts where not resolvable).
    pub every_rep_right: Option<f64>,
    /// The same over the sessions called resolvable.
    pub every_rep_right_resolvable: Option<f64>,
    /// F1 of runs at the IoU limit, hits and misses pooled over the sessions.
    pub f1: Option<f64>,
    /// Share of the seconds rightly called running or not running.
    pub seconds_right: Option<f64>,
    /// Cohen's kappa of the seconds.
    pub kappa: Option<f64>,
    /// Median error of the edges of matched runs in seconds.
    pub edge_median_s: Option<f64>,
    /// 90th percentile of the same.
    pub edge_p90_s: Option<f64>,
    /// Median absolute error of the longest run in seconds.
    pub longest_median_s: Option<f64>,
    /// 90th percentile of the same.
    pub longest_p90_s: Option<f64>,
    /// Bias and limits of the longest run, found minus true, in seconds.
    pub longest_limits_s: Option<Limits>,
    /// Share of the sessions called resolvable in which a run was found although there was none; of those without.
    pub invented_runs: Option<f64>,
    /// Share of the sessions called resolvable in which a walk was found.
    pub with_walks: Option<f64>,
    /// Share of the sessions called resolvable in which a walk was found where somebody ran.
    pub with_walks_while_running: Option<f64>,
    /// Reliability of bout confidence.
    pub calibration: Option<Calibration>,
}

/// The value below which this share of the values lies, linear between neighbours; `None` without values.
pub fn quantile(values: &[f64], share: f64) -> Option<f64> {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let place = share * (sorted.len().checked_sub(1)? as f64);
    let (below, above) = (sorted[place.floor() as usize], sorted[place.ceil() as usize]);
    Some(below + (above - below) * place.fract())
}

fn share<'a>(
    mut scores: impl Iterator<Item = &'a SessionScore>,
    hit: impl Fn(&SessionScore) -> bool,
) -> Option<f64> {
    let (all, hits) = scores.by_ref().fold((0, 0), |(all, hits), s| (all + 1, hits + u32::from(hit(s))));
    (all > 0).then(|| f64::from(hits) / f64::from(all))
}

impl Summary {
    /// The figures of these sessions.
    pub fn of<'a>(scores: impl IntoIterator<Item = &'a SessionScore>) -> Self {
        let scores: Vec<&SessionScore> = scores.into_iter().collect();
        let all = || scores.iter().copied();
        let resolvable = || all().filter(|score| score.resolvable);
        let sum = |count: fn(&SessionScore) -> usize| all().map(count).sum::<usize>() as f64;
        let hits = sum(|s| s.matched_runs);
        let mut seconds = [[0.0; 2]; 2];
        for score in all() {
            (0..4).for_each(|cell| seconds[cell / 2][cell % 2] += score.seconds[cell / 2][cell % 2]);
        }
        let total_s: f64 = seconds.iter().flatten().sum();
        let edges: Vec<f64> = all().flat_map(|s| s.edge_errors_s.iter().copied()).collect();
        let longest: Vec<f64> = all().map(|s| s.longest_run_error_s).collect();
        let longest_size: Vec<f64> = longest.iter().map(|error| error.abs()).collect();
        let judged: Vec<(f64, bool)> = all().flat_map(|s| s.judged_bouts.iter().copied()).collect();
        Self {
            sessions: scores.len(),
            not_resolvable: share(all(), |s| !s.resolvable).unwrap_or(0.0),
            every_rep_right: share(all(), |s| s.every_rep_right),
            every_rep_right_resolvable: share(resolvable(), |s| s.every_rep_right),
            f1: f1(hits, sum(|s| s.found_runs) - hits, sum(|s| s.true_runs) - hits),
            seconds_right: (total_s > 0.0).then(|| (seconds[0][0] + seconds[1][1]) / total_s),
            kappa: kappa(&seconds),
            edge_median_s: quantile(&edges, 0.5),
            edge_p90_s: quantile(&edges, 0.9),
            longest_median_s: quantile(&longest_size, 0.5),
            longest_p90_s: quantile(&longest_size, 0.9),
            longest_limits_s: limits_of_agreement(&longest),
            invented_runs: share(resolvable().filter(|s| s.true_runs == 0), |s| s.found_runs > 0),
            with_walks: share(resolvable(), |s| s.found_walks > 0),
            with_walks_while_running: share(resolvable(), |s| s.walks_while_running > 0),
            calibration: Calibration::of(&judged),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quantiles_lie_between_their_neighbours() {
        assert_eq!(quantile(&[3.0, 1.0, 2.0], 0.5), Some(2.0));
        assert_eq!(quantile(&[0.0, 10.0], 0.9), Some(9.0));
        assert_eq!(quantile(&[], 0.5), None);
    }

    #[test]
    fn figures_pool_runs_and_skip_what_is_not_resolvable_where_they_say_so() {
        let base = SessionScore::of(&[], true, &[]);
        let good = SessionScore { true_runs: 4, found_runs: 4, matched_runs: 4, ..base.clone() };
        let bad = SessionScore {
            true_runs: 4,
            found_runs: 2,
            matched_runs: 1,
            every_rep_right: false,
            resolvable: false,
            ..base
        };
        let summary = Summary::of([&good, &bad]);
        assert_eq!(summary.f1, Some(10.0 / 14.0));
        assert_eq!(summary.every_rep_right, Some(0.5));
        assert_eq!(summary.every_rep_right_resolvable, Some(1.0));
        assert_eq!(summary.not_resolvable, 0.5);
    }
}

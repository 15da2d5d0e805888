//! How long bouts are likely to be.

use crate::{Amount, Gait, Interval};

/// Longest bout that the generic prior knows, in seconds (three hours).
const LONGEST_S: f64 = 10_800.0;
/// Share of the generic prior beside the plan's.
const GENERIC_SHARE: f64 = 0.1;
/// Scale of the plan's Laplace densities in seconds.

/// Durations that a plan makes likely: a prior on how long bouts are. It may move edges; it never makes a bout.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct DurationPrior {
    /// Planned durations of runs in seconds.
    pub run_s: Vec<f64>,
    /// Planned durations of walks in seconds.
    pub walk_s: Vec<f64>,
}

impl DurationPrior {
    /// The durations that planned intervals ask for; distances ask for none.
    ///
    /// ```
    /// use boutwise_bouts::{Amount, DurationPrior, Gait, Interval};
    /// let intervals = [Interval { gait: Gait::Run, amount: Amount::Seconds(60.0) }];
    /// assert_eq!(DurationPrior::from_intervals(&intervals).run_s, [60.0]);
    /// ```
    pub fn from_intervals(intervals: &[Interval]) -> Self {
        let durations = |gait: Gait| {
            intervals
                .iter()
                .filter(|interval| interval.gait == gait)
                .filter_map(|interval| match interval.amount {
                    Amount::Seconds(seconds) => Some(seconds),
                    Amount::Metres(_) => None,
                })
                .collect()
        };
        Self { run_s: durations(Gait::Run), walk_s: durations(Gait::Walk) }
    }
}

/// Log probabilities of durations in whole seconds, for walks and runs.
#[derive(Debug)]
pub(crate) struct LogDurations {
    /// Of a bout seen whole.
    inner: [Vec<f64>; 2],
    /// Of a bout cut off at one end: the log probability of lasting at least so long.
    open: [Vec<f64>; 2],
    /// Shortest bout of each kind in seconds.
    pub(crate) least_s: [usize; 2],
}

impl LogDurations {
    /// The generic prior: any order of magnitude is as likely as another, from the shortest bout to three hours.
    pub(crate) fn generic(least_s: [usize; 2], cells: usize, sh: f64) -> Self {
        let tables = |log: &dyn Fn(f64, f64) -> f64| {
            least_s.map(|least| (0..=cells).map(|n| log((n.max(least)) as f64, least as f64)).collect())
        };
        Self {
            inner: tables(&|n, least| {
                -(n * (LONGEST_S / least).ln()).ln()
                    + crate::tune::tune!("SHORTP", 3.0) * ((n / (n + sh)).ln() - (60.0 / (60.0 + sh)).ln())
            }),
            open: tables(&|n, least| {
                let lasting = (LONGEST_S / n).ln() / (LONGEST_S / least).ln();
                lasting.max(1.0 / LONGEST_S).ln()
            }),
            least_s,
        }
    }

    pub(crate) fn with_broad(mut self, seen_s: [Vec<f64>; 2]) -> Self {
        let bw = crate::tune::tune!("BW", 0.35);
        for kind in 0..2 {
            let seen = &seen_s[kind];
            if seen.len() < crate::tune::tune!("BROADN", 2.0) as usize {
                continue;
            }
            let count = seen.len() as f64;
            let share =
                crate::tune::tune!("BROAD", 0.8) * count / (count + crate::tune::tune!("BROADN0", 2.0));
            let longest = seen.iter().copied().fold(0.0, f64::max);
            self.mix(kind, share, 3.0 * longest, |n| {
                let x = n.ln();
                let terms = seen.iter().map(|m| (-0.5 * ((x - m.ln()) / bw).powi(2)).exp());
                terms.sum::<f64>() / (bw * 2.5066 * n * count)
            });
        }
        self
    }

    /// The prior so far mixed with Laplace densities around likely durations.
    pub(crate) fn with_likely(mut self, likely_s: [&[f64]; 2], generic_share: f64) -> Self {
        let scale_s = crate::tune::tune!("SCALE", 4.0);
        for kind in 0..2 {
            let likely = likely_s[kind];
            if likely.is_empty() {
                continue;
            }
            let longest = likely.iter().copied().fold(0.0, f64::max);
            let scale = 1.0 / (2.0 * scale_s * likely.len() as f64);
            self.mix(kind, 1.0 - generic_share, longest + 20.0 * scale_s, |n| {
                likely.iter().map(|mean_s| (-(n - mean_s).abs() / scale_s).exp()).sum::<f64>() * scale
            });
        }
        self
    }

    /// Mixes a density in with weight `share`; beyond `longest_s` it is nil.
    fn mix(&mut self, kind: usize, share: f64, longest_s: f64, density: impl Fn(f64) -> f64) {
        let rest = (1.0 - share).ln();
        for (n, log) in self.inner[kind].iter_mut().enumerate() {
            *log = if n > 0 && n as f64 <= longest_s {
                ((1.0 - share) * log.exp() + share * density(n as f64)).ln()
            } else {
                *log + rest
            };
        }
    }

    /// Log probability of a bout of `kind` over `seconds`; `open` where an end of it is not seen.
    pub(crate) fn log(&self, kind: usize, seconds: usize, open: bool) -> f64 {
        if open { self.open[kind][seconds] } else { self.inner[kind][seconds] }
    }
}

impl DurationPrior {
    pub(crate) fn generic_share() -> f64 {
        GENERIC_SHARE
    }
}

//! How long bouts are likely to be.

use std::ops::Range;
use std::sync::LazyLock;

use crate::exponential::exponential;

/// Durations up to this, in seconds, are tabulated; beyond it only the generic prior speaks.
const TABLE_S: usize = 1200;
/// Longest bout that the generic prior knows, in seconds (three hours; own choice).
const LONGEST_S: f64 = 10_800.0;
/// Power by which short durations are less likely than a flat prior over orders of magnitude has it.
const SHORTNESS_POWER: i32 = 3;
/// Duration in seconds at which shortness costs nothing.
const REFERENCE_S: f64 = 60.0;
/// Scale of the Laplace densities around likely durations, in seconds.
const LAPLACE_S: f64 = 4.0;
/// Laplace densities are nil beyond this many scales.
const LAPLACE_REACH: f64 = 20.0;
/// Most weight of the durations seen in the session, each as a broad bell over the logarithm.
const SEEN_SHARE: f64 = 0.8;
/// Width of that bell.
const SEEN_LOG_SD: f64 = 0.35;
/// The bell is nil beyond this many widths.
const SEEN_REACH_SDS: f64 = 3.0;
/// So many durations seen weigh half of the most.
const SEEN_HALF: f64 = 2.0;
/// Fewer durations than this say nothing.
const SEEN_LEAST: usize = 2;
/// Weight of durations that keep coming back.
const REGULAR_SHARE: f64 = 0.8;
/// Durations within this of each other are the same one, in seconds.
const REGULAR_S: f64 = 10.0;
/// So many of the same make it regular.
const REGULAR_LEAST: usize = 3;
/// Weight of durations that a rhythm makes likely.
const EXPECTED_SHARE: f64 = 0.9;

/// Logarithms of whole seconds up to [`TABLE_S`].
static LOG_SECONDS: LazyLock<Vec<f64>> =
    LazyLock::new(|| (0..=TABLE_S).map(|seconds| (seconds as f64).ln()).collect());

/// Probabilities of durations in whole seconds. In pairs of values walking comes first.
#[derive(Clone, Debug)]
pub(crate) struct Durations {
    /// Shortest bout of each kind in seconds.
    pub(crate) least_s: [usize; 2],
    /// Probability of a bout seen whole, up to [`TABLE_S`].
    density: [Vec<f64>; 2],
    log_density: [Vec<f64>; 2],
    /// What is left of the generic prior after mixing.
    generic_share: [f64; 2],
    shortness_s: f64,
    /// Log of the ratio between the longest and the shortest bout.
    log_span: [f64; 2],
}

impl Durations {
    /// The generic prior: any order of magnitude is as likely as another, from the shortest bout to three hours, except
    /// that bouts well below `shortness_s` are rare.
    pub(crate) fn generic(least_s: [usize; 2], shortness_s: f64) -> Self {
        let mut generic = Self {
            least_s,
            density: [Vec::new(), Vec::new()],
            log_density: [Vec::new(), Vec::new()],
            generic_share: [1.0; 2],
            shortness_s,
            log_span: least_s.map(|least_s| (LONGEST_S / least_s as f64).ln()),
        };
        for kind in 0..2 {
            generic.density[kind] =
                (0..=TABLE_S).map(|seconds| generic.generic_density(kind, seconds)).collect();
            generic.log_density[kind] = generic.density[kind].iter().map(|density| density.ln()).collect();
        }
        generic
    }

    /// Mixes in the durations of whole bouts that this session was found to have, and those that keep coming back.
    pub(crate) fn with_seen(&self, seen_s: [&[f64]; 2]) -> Self {
        let mut mixed = self.clone();
        for (kind, seen_s) in seen_s.into_iter().enumerate() {
            if seen_s.len() < SEEN_LEAST {
                continue;
            }
            // What came several times is added once.
            let mut seen_s = seen_s.to_vec();
            seen_s.sort_unstable_by(f64::total_cmp);
            let count = seen_s.len() as f64;
            let mut changes = Changes::default();
            mixed.mix(kind, SEEN_SHARE * count / (count + SEEN_HALF), &mut changes, |density, share| {
                let equal = seen_s.chunk_by(|a, b| a == b);
                joined(
                    equal.map(|equal| add_log_normal(density, equal[0], equal.len() as f64 * share / count)),
                )
            });
            let regular_s = regular(&seen_s);
            if !regular_s.is_empty() {
                mixed.mix(kind, REGULAR_SHARE, &mut changes, |density, share| {
                    add_laplaces(density, &regular_s, share)
                });
            }
            mixed.take_logs(kind, changes);
        }
        mixed
    }

    /// Mixes in durations that are expected from elsewhere, walking first.
    pub(crate) fn with_expected(&self, expected_s: [&[f64]; 2]) -> Self {
        let mut mixed = self.clone();
        for (kind, expected_s) in expected_s.into_iter().enumerate() {
            if !expected_s.is_empty() {
                let mut changes = Changes::default();
                mixed.mix(kind, EXPECTED_SHARE, &mut changes, |density, share| {
                    add_laplaces(density, expected_s, share)
                });
                mixed.take_logs(kind, changes);
            }
        }
        mixed
    }

    /// Log probability of a bout of `kind` over so many seconds; `open` where an end of it is not seen.
    pub(crate) fn log(&self, kind: usize, seconds: usize, open: bool) -> f64 {
        if open { self.log_open(kind, seconds) } else { self.log_whole(kind, seconds) }
    }

    /// Probability of a bout of `kind` over so many seconds, as [`Durations::log`] has it.
    #[inline]
    pub(crate) fn probability(&self, kind: usize, seconds: usize, open: bool) -> f64 {
        match self.density[kind].get(seconds) {
            _ if open => self.lasting(kind, seconds),
            Some(&density) => density,
            None => self.generic_share[kind] * self.generic_density(kind, seconds),
        }
    }

    /// Log probability of a whole bout of `kind` over so many seconds.
    fn log_whole(&self, kind: usize, seconds: usize) -> f64 {
        match self.log_density[kind].get(seconds) {
            Some(&log) => log,
            None => (self.generic_share[kind] * self.generic_density(kind, seconds)).ln(),
        }
    }

    /// Log probability of a bout of `kind` over at least so many seconds: an end of it is not seen.
    fn log_open(&self, kind: usize, seconds: usize) -> f64 {
        self.lasting(kind, seconds).ln()
    }

    /// Probability of a bout of `kind` over at least so many seconds.
    fn lasting(&self, kind: usize, seconds: usize) -> f64 {
        let least_s = self.least_s[kind] as f64;
        let lasting = (LONGEST_S / (seconds as f64).max(least_s)).ln() / self.log_span[kind];
        lasting.max(1.0 / LONGEST_S)
    }

    fn generic_density(&self, kind: usize, seconds: usize) -> f64 {
        let least_s = self.least_s[kind] as f64;
        let seconds = (seconds as f64).max(least_s);
        let rarity = seconds / (seconds + self.shortness_s) * (REFERENCE_S + self.shortness_s) / REFERENCE_S;
        rarity.powi(SHORTNESS_POWER) / (seconds * self.log_span[kind])
    }

    /// Mixes in durations that `add` adds with a share; it tells which seconds it changed.
    fn mix(
        &mut self,
        kind: usize,
        share: f64,
        changes: &mut Changes,
        add: impl Fn(&mut [f64], f64) -> Range<usize>,
    ) {
        let left = 1.0 - share;
        self.density[kind].iter_mut().for_each(|density| *density *= left);
        self.generic_share[kind] *= left;
        changes.left *= left;
        changes.seconds = joined([changes.seconds.clone(), add(&mut self.density[kind], share)]);
    }

    /// Takes logarithms where something was added; elsewhere all fell alike.
    fn take_logs(&mut self, kind: usize, changes: Changes) {
        let fall = changes.left.ln();
        self.log_density[kind].iter_mut().for_each(|log| *log += fall);
        let logs = self.log_density[kind][changes.seconds.clone()].iter_mut();
        logs.zip(&self.density[kind][changes.seconds]).for_each(|(log, density)| *log = density.ln());
    }
}

/// What mixing did to probabilities.
struct Changes {
    /// Share of what was there before.
    left: f64,
    /// Seconds to which something was added.
    seconds: Range<usize>,
}

impl Default for Changes {
    fn default() -> Self {
        Self { left: 1.0, seconds: 0..0 }
    }
}

/// The least range that holds all of some ranges, empty ones left out.
fn joined(ranges: impl IntoIterator<Item = Range<usize>>) -> Range<usize> {
    let join = |a: Range<usize>, b: Range<usize>| a.start.min(b.start)..a.end.max(b.end);
    ranges.into_iter().filter(|range| !range.is_empty()).reduce(join).unwrap_or(0..0)
}

fn add_log_normal(density: &mut [f64], mean_s: f64, weight: f64) -> Range<usize> {
    let scale = weight / (SEEN_LOG_SD * std::f64::consts::TAU.sqrt());
    let reach = (SEEN_REACH_SDS * SEEN_LOG_SD).exp();
    let last = ((mean_s * reach) as usize + 1).min(density.len());
    let first = ((mean_s / reach) as usize + 1).min(last);
    let log_mean = mean_s.ln();
    let seconds = (first as u32..).map(f64::from).zip(&LOG_SECONDS[first..]);
    for (slot, (seconds, log_seconds)) in density[first..last].iter_mut().zip(seconds) {
        let off = (log_seconds - log_mean) * (1.0 / SEEN_LOG_SD);
        *slot += scale / seconds * exponential(-0.5 * off * off);
    }
    first..last
}

fn add_laplaces(density: &mut [f64], means_s: &[f64], weight: f64) -> Range<usize> {
    let scale = weight / (2.0 * LAPLACE_S * means_s.len() as f64);
    joined(means_s.chunk_by(|a, b| a == b).map(|equal| {
        let (mean_s, scale) = (equal[0], scale * equal.len() as f64);
        let first = (mean_s - LAPLACE_REACH * LAPLACE_S).max(0.0) as usize;
        let last = ((mean_s + LAPLACE_REACH * LAPLACE_S).max(0.0) as usize + 1).min(density.len());
        let first = first.min(last);
        for (seconds, slot) in (first as u32..).zip(&mut density[first..last]) {
            *slot += scale * exponential((f64::from(seconds) - mean_s).abs() * (-1.0 / LAPLACE_S));
        }
        first..last
    }))
}

/// Durations that keep coming back: for each of those in order that has company, the mean of those around it.
fn regular(seen_s: &[f64]) -> Vec<f64> {
    let mut sum_s = 0.0;
    let mut sums_s = vec![0.0];
    sums_s.extend(seen_s.iter().map(|seen_s| {
        sum_s += seen_s;
        sum_s
    }));
    let mean_around = |&centre_s: &f64| {
        let first = seen_s.partition_point(|&other_s| other_s < centre_s - REGULAR_S);
        let last = seen_s.partition_point(|&other_s| other_s <= centre_s + REGULAR_S);
        let count = last - first;
        (count >= REGULAR_LEAST).then(|| (sums_s[last] - sums_s[first]) / count as f64)
    };
    seen_s.iter().filter_map(mean_around).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn probabilities_of_the_generic_prior_sum_to_about_one_without_shortness() {
        let flat = Durations::generic([12, 13], 0.0);
        let sum: f64 = (12..=10_800).map(|seconds| flat.log_whole(0, seconds).exp()).sum();
        assert!((sum - 1.0).abs() < 0.01, "{sum}");
    }

    #[test]
    fn durations_that_come_back_become_likely_and_one_alone_does_not() {
        assert_eq!(regular(&[59.0, 60.0, 61.0, 200.0]), [60.0, 60.0, 60.0]);
        let generic = Durations::generic([12, 13], 200.0);
        let seen = generic.with_seen([&[], &[60.0, 61.0, 59.0]]);
        assert!(seen.log_whole(1, 60) > generic.log_whole(1, 60) + 2.0);
        assert!(seen.log_whole(1, 300) < generic.log_whole(1, 300));
        let alone = generic.with_seen([&[], &[60.0]]);
        assert_eq!(alone.log_whole(1, 60), generic.log_whole(1, 60));
    }

    #[test]
    fn an_expected_duration_is_likelier_than_its_neighbours() {
        let durations = Durations::generic([12, 13], 60.0).with_expected([&[], &[90.0]]);
        assert!(durations.log_whole(1, 90) > durations.log_whole(1, 100));
        assert!(durations.log_whole(1, 90) > durations.log_whole(1, 80));
    }

    #[test]
    fn the_table_and_what_lies_beyond_it_meet() {
        let durations = Durations::generic([12, 13], 60.0).with_seen([&[90.0, 91.0, 89.0], &[]]);
        let (inside, outside) = (durations.log_whole(0, TABLE_S), durations.log_whole(0, TABLE_S + 1));
        assert!((inside - outside).abs() < 0.01, "{inside} {outside}");
    }
}

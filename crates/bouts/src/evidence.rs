//! Cumulative evidence, so that any stretch is scored in constant time.

use crate::durations::LogDurations;
use crate::levels::Levels;

/// Sums over cells from the start of the recording; one value more than there are cells.
#[derive(Debug)]
pub(crate) struct Cumulative {
    /// Trusted metres along the track.
    pub(crate) length_m: Vec<f64>,
    /// Trusted seconds.
    pub(crate) known_s: Vec<f64>,
    /// Evidence of cadence for running against walking, in nats.
    pub(crate) cadence_nats: Vec<f64>,
}

impl Cumulative {
    /// Sums up displacement, its weight and the evidence of cadence.
    pub(crate) fn new(along_m: &[f64], weight: &[f64], cadence_nats: &[f64]) -> Self {
        let sums = |values: &mut dyn Iterator<Item = f64>| {
            let mut total = 0.0;
            let mut sums = Vec::with_capacity(along_m.len() + 1);
            sums.push(0.0);
            sums.extend(values.map(|value| {
                total += value;
                total
            }));
            sums
        };
        Self {
            length_m: sums(&mut along_m.iter().zip(weight).map(|(length_m, weight)| length_m * weight)),
            known_s: sums(&mut weight.iter().copied()),
            cadence_nats: sums(&mut cadence_nats.iter().copied()),
        }
    }
}

/// The sums up to one cell.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Sums {
    length_m: f64,
    known_s: f64,
    cadence_nats: f64,
}

impl Cumulative {
    /// The sums of all cells before `cell`.
    pub(crate) fn sums(&self, cell: usize) -> Sums {
        Sums {
            length_m: self.length_m[cell],
            known_s: self.known_s[cell],
            cadence_nats: self.cadence_nats[cell],
        }
    }
}

/// Scores a stretch of one kind: each bout has a speed of its own around the person's level, and displacement errs by
/// long-run noise around that speed.
pub(crate) struct Scorer<'a> {
    pub(crate) cumulative: &'a Cumulative,
    pub(crate) durations: &'a LogDurations,
    level: [f64; 2],
    level_variance: [f64; 2],
    noise: f64,
    /// −½ ln(1 + n·q/s) for each kind and n seconds.
    spread: [Vec<f64>; 2],
}

/// Index of walking in pairs of values.
pub(crate) const WALK: usize = 0;
/// Index of running in pairs of values.
pub(crate) const RUN: usize = 1;

impl<'a> Scorer<'a> {
    pub(crate) fn new(
        cumulative: &'a Cumulative,
        durations: &'a LogDurations,
        levels: Levels,
        level_sd: [f64; 2],
        noise_m2_per_s: f64,
    ) -> Self {
        let cells = cumulative.known_s.len();
        let noise_m2_per_s = noise_m2_per_s * crate::tune::tune!("TEMPER", 1.0);
        let level_variance = level_sd.map(|sd| sd * sd);
        let spread = level_variance
            .map(|q| (0..=cells).map(|n| -0.5 * (n as f64 * q / noise_m2_per_s).ln_1p()).collect());
        Self {
            cumulative,
            durations,
            level: [levels.walk_m_per_s, levels.run_m_per_s],
            level_variance,
            noise: noise_m2_per_s,
            spread,
        }
    }

    /// Log likelihood of the cells `from..to` being one bout of `kind`, up to what both kinds share.
    pub(crate) fn data(&self, kind: usize, from: &Sums, to: &Sums) -> f64 {
        let known_s = to.known_s - from.known_s;
        let length_m = to.length_m - from.length_m;
        let cadence = to.cadence_nats - from.cadence_nats;
        let (level, q, s) = (self.level[kind], self.level_variance[kind], self.noise);
        let off_m = length_m - level * known_s;
        level * (length_m - 0.5 * level * known_s) / s
            + 0.5 * q * off_m * off_m / (s * (s + q * known_s))
            + self.spread[kind][known_s as usize]
            + if kind == RUN { 0.5 * cadence } else { -0.5 * cadence }
    }

    /// Evidence of one second for running at fixed levels, cumulative at `cell`.
    pub(crate) fn lean(&self, cell: usize) -> f64 {
        let gap = self.level[RUN] - self.level[WALK];
        let middle = 0.5 * (self.level[RUN] + self.level[WALK]);
        gap * (self.cumulative.length_m[cell] - middle * self.cumulative.known_s[cell]) / self.noise
            + self.cumulative.cadence_nats[cell]
    }
}

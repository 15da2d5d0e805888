//! Cumulative evidence, so that any stretch is scored in constant time.

use crate::durations::Durations;
use crate::grid::Grid;
use crate::levels::Levels;

/// Index of walking in pairs of values.
pub(crate) const WALK: usize = 0;
/// Index of running in pairs of values.
pub(crate) const RUN: usize = 1;

/// Displacements count up to this many standard deviations of the noise beyond the levels.
const CLAMP_SDS: f64 = 3.0;
/// Beside cadence they count up to this share of the level gap beyond the levels.
const CLAMP_GAPS: f64 = 0.5;
/// Beside cadence speed is worth at most this: squared level gap over long-run noise, a second. So no second of speed
/// outweighs a second of cadence: cadence decides, speed dates the edges.
const WORTH_BESIDE_CADENCE: f64 = 0.8;

/// Sums over cells from the start of the recording up to a cell.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Sums {
    /// Trusted metres along the track.
    length_m: f64,
    /// Trusted seconds.
    known_s: f64,
    /// Evidence of cadence for running against walking, in nats.
    cadence_nats: f64,
}

/// Scores a stretch of one kind: each bout has a speed of its own around the person's level, and displacement errs by
/// long-run noise around that speed.
pub(crate) struct Scorer<'a> {
    pub(crate) durations: &'a Durations,
    /// One value more than there are cells.
    sums: Vec<Sums>,
    levels: Levels,
    level_variance: [f64; 2],
    noise_m2_per_s: f64,
}

impl<'a> Scorer<'a> {
    /// Sums up a recording. `cadence_nats` is the evidence of cadence for each cell, 0 where there is none.
    pub(crate) fn new(
        grid: &Grid,
        cadence_nats: &[f64],
        durations: &'a Durations,
        levels: Levels,
        noise_m2_per_s: f64,
    ) -> Self {
        let gap = levels.gap();
        let worth = (WORTH_BESIDE_CADENCE * noise_m2_per_s / (gap * gap)).min(1.0);
        let free_m = CLAMP_SDS * noise_m2_per_s.sqrt();
        let mut total = Sums::default();
        let mut sums = Vec::with_capacity(grid.len() + 1);
        sums.push(total);
        let cells = grid.along_m.iter().zip(&grid.weight).zip(&grid.step_s);
        for (((&along_m, &weight), &step_s), &nats) in cells.zip(cadence_nats) {
            let (margin_m, weight) = if nats != 0.0 {
                (CLAMP_GAPS * gap, worth * weight)
            } else if step_s > 1.0 {
                (free_m / f64::from(step_s).sqrt(), weight)
            } else {
                (free_m, weight)
            };
            let length_m = along_m.clamp(levels.walk_m_per_s - margin_m, levels.run_m_per_s + margin_m);
            total.length_m += weight * length_m;
            total.known_s += weight;
            total.cadence_nats += nats;
            sums.push(total);
        }
        let level_variance = levels.bout_sds().map(|sd| sd * sd);
        Self { durations, sums, levels, level_variance, noise_m2_per_s }
    }

    /// The sums of all cells before `cell`.
    pub(crate) fn sums(&self, cell: usize) -> &Sums {
        &self.sums[cell]
    }

    /// Log likelihood ratio of what lies between two sums being one bout of `kind` against movement at the middle of the
    /// levels.
    ///
    /// With middle c, level m, variance q of bouts around it, noise s, n trusted seconds and Y metres in them:
    /// (m − c)(Y − (m + c)n/2)/s + q(Y − mn)²/(2s(s + qn)) − ½ ln(1 + qn/s), and half the evidence of cadence either
    /// way.
    pub(crate) fn data(&self, kind: usize, from: &Sums, to: &Sums) -> f64 {
        self.most(kind, from, to) - 0.5 * self.spread(kind, from, to).ln()
    }

    /// How much wider the displacement between two sums spreads in bouts of `kind` than by noise alone, squared.
    #[inline]
    pub(crate) fn spread(&self, kind: usize, from: &Sums, to: &Sums) -> f64 {
        1.0 + self.level_variance[kind] * (to.known_s - from.known_s) / self.noise_m2_per_s
    }

    /// The same without its last term, which is never positive: what [`Scorer::data`] is at most.
    #[inline]
    pub(crate) fn most(&self, kind: usize, from: &Sums, to: &Sums) -> f64 {
        let known_s = to.known_s - from.known_s;
        let length_m = to.length_m - from.length_m;
        let cadence_nats = 0.5 * (to.cadence_nats - from.cadence_nats);
        let (level, q, s) = (self.levels.pair()[kind], self.level_variance[kind], self.noise_m2_per_s);
        let off_m = length_m - level * known_s;
        let middle = self.levels.middle();
        let lean_m = (level - middle) * (length_m - 0.5 * (level + middle) * known_s);
        (lean_m + 0.5 * q * off_m * off_m / (s + q * known_s)) / s
            + if kind == RUN { cadence_nats } else { -cadence_nats }
    }

    /// Standard deviation of the evidence of one second at fixed levels, in nats.
    pub(crate) fn second_sd_nats(&self) -> f64 {
        self.levels.gap() / self.noise_m2_per_s.sqrt()
    }

    /// Evidence for running at fixed levels, in nats, summed up to `cell`.
    #[inline]
    pub(crate) fn lean(&self, cell: usize) -> f64 {
        let sums = &self.sums[cell];
        let balance_m = sums.length_m - self.levels.middle() * sums.known_s;
        self.levels.gap() * balance_m / self.noise_m2_per_s + sums.cadence_nats
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_score_is_the_marginal_likelihood_of_the_bout() {
        // Against a numerical integral over the bout's speed, for twenty seconds of made displacements.
        let along_m: Vec<f64> = (0..20).map(|i| 2.0 + 0.1 * f64::from(i % 5)).collect();
        let grid = Grid { weight: vec![1.0; 20], step_s: vec![1.0; 20], along_m, ..Grid::default() };
        let durations = Durations::generic([12, 13], 60.0);
        let levels = Levels { walk_m_per_s: 1.4, run_m_per_s: 2.2 };
        let scorer = Scorer::new(&grid, &[0.0; 20], &durations, levels, 0.4);
        for kind in [WALK, RUN] {
            let (level, sd) = (levels.pair()[kind], levels.bout_sds()[kind]);
            let step = sd / 200.0;
            let middle: f64 = grid.along_m.iter().map(|y| 1.8 * (y - 0.5 * 1.8) / 0.4).sum();
            let integral: f64 = (-2000..2000)
                .map(|i| {
                    let speed = level + f64::from(i) * step;
                    let misfit: f64 = grid.along_m.iter().map(|y| speed * (y - 0.5 * speed) / 0.4).sum();
                    let prior = (-0.5 * (f64::from(i) * step / sd).powi(2)).exp()
                        / (sd * std::f64::consts::TAU.sqrt());
                    (misfit - middle).exp() * prior * step
                })
                .sum();
            let score = scorer.data(kind, scorer.sums(0), scorer.sums(20));
            assert!((score - integral.ln()).abs() < 1e-6, "{score} {}", integral.ln());
        }
    }

    #[test]
    fn a_second_of_cadence_outweighs_a_second_of_speed() {
        let grid =
            Grid { weight: vec![1.0; 2], step_s: vec![1.0; 2], along_m: vec![9.0; 2], ..Grid::default() };
        let durations = Durations::generic([12, 13], 60.0);
        let levels = Levels { walk_m_per_s: 1.4, run_m_per_s: 3.0 };
        let scorer = Scorer::new(&grid, &[-1.0; 2], &durations, levels, 0.15);
        assert!(scorer.lean(2) < scorer.lean(0));
    }
}

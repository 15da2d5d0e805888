//! Cumulative evidence, so that any stretch is scored in constant time.

use std::ops::Range;

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
struct Sums {
    /// Trusted metres along the track.
    length_m: f64,
    /// Trusted seconds.
    known_s: f64,
    /// Evidence of cadence for running against walking, in nats.
    cadence_nats: f64,
    /// All evidence for running at fixed levels, in nats.
    lean_nats: f64,
}

/// The same sums as bouts of one kind see them: what lies between two places follows from their differences.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Place {
    /// Log likelihood ratio of movement at the level of the kind against movement at the middle of the levels.
    nats: f64,
    /// Metres beyond the level of the kind.
    off_m: f64,
    /// Trusted seconds.
    known_s: f64,
}

/// Places in order, as columns, so that a loop over them takes several at a time.
#[derive(Default)]
pub(crate) struct Places {
    nats: Vec<f64>,
    off_m: Vec<f64>,
    known_s: Vec<f64>,
}

impl Places {
    /// Takes the places of `cells` in place of what was there.
    pub(crate) fn take(&mut self, scorer: &Scorer, kind: usize, cells: Range<usize>) {
        for column in [&mut self.nats, &mut self.off_m, &mut self.known_s] {
            column.clear();
        }
        for Place { nats, off_m, known_s } in cells.map(|cell| scorer.place(kind, cell)) {
            self.nats.push(nats);
            self.off_m.push(off_m);
            self.known_s.push(known_s);
        }
    }

    /// The places from an index on.
    #[inline]
    pub(crate) fn from(&self, index: usize) -> impl Iterator<Item = Place> {
        let columns = self.nats[index..].iter().zip(&self.off_m[index..]).zip(&self.known_s[index..]);
        columns.map(|((&nats, &off_m), &known_s)| Place { nats, off_m, known_s })
    }
}

/// How well a bout of one kind explains what lies between two places, against movement at the middle of the levels.
///
/// With middle c, level m, variance q of bouts around it, noise s, n trusted seconds and Y metres in them, the log likelihood
/// ratio is (m − c)(Y − (m + c)n/2)/s + q(Y − mn)²/(2s(s + qn)) − ½ ln(1 + qn/s), and half the evidence of cadence either
/// way.
#[derive(Clone, Copy)]
pub(crate) struct Likelihood {
    /// q/s: so much each second widens what is expected.
    widening_per_s: f64,
    /// q/2s².
    pull_per_m2: f64,
}

impl Likelihood {
    /// The log likelihood ratio.
    pub(crate) fn data(self, from: &Place, to: &Place) -> f64 {
        self.most(from, to) - 0.5 * self.spread(from, to).ln()
    }

    /// The same without its last term, which is never positive: what it is at most.
    #[inline]
    pub(crate) fn most(self, from: &Place, to: &Place) -> f64 {
        let off_m = to.off_m - from.off_m;
        to.nats - from.nats + self.pull_per_m2 * off_m * off_m / self.spread(from, to)
    }

    /// How much wider the displacement spreads in such bouts than by noise alone, squared.
    #[inline]
    pub(crate) fn spread(self, from: &Place, to: &Place) -> f64 {
        1.0 + self.widening_per_s * (to.known_s - from.known_s)
    }
}

/// Scores a stretch of one kind: each bout has a speed of its own around the person's level, and displacement errs by
/// long-run noise around that speed.
pub(crate) struct Scorer {
    /// One value more than there are cells.
    sums: Vec<Sums>,
    levels: Levels,
    noise_m2_per_s: f64,
    likelihoods: [Likelihood; 2],
}

impl Scorer {
    /// Sums up a recording. `cadence_nats` is the evidence of cadence for each cell, 0 where there is none.
    pub(crate) fn new(grid: &Grid, cadence_nats: &[f64], levels: Levels, noise_m2_per_s: f64) -> Self {
        Self::in_room(Vec::new(), grid, cadence_nats, levels, noise_m2_per_s)
    }

    /// The same anew with other levels and noise, in the room of the old one: of a long recording two would be large.
    pub(crate) fn renew(&mut self, grid: &Grid, cadence_nats: &[f64], levels: Levels, noise_m2_per_s: f64) {
        let room = std::mem::take(&mut self.sums);
        *self = Self::in_room(room, grid, cadence_nats, levels, noise_m2_per_s);
    }

    fn in_room(
        mut sums: Vec<Sums>,
        grid: &Grid,
        cadence_nats: &[f64],
        levels: Levels,
        noise_m2_per_s: f64,
    ) -> Self {
        let gap = levels.gap();
        let worth = (WORTH_BESIDE_CADENCE * noise_m2_per_s / (gap * gap)).min(1.0);
        let (middle, lean_per_m) = (levels.middle(), gap / noise_m2_per_s);
        let free_m = CLAMP_SDS * noise_m2_per_s.sqrt();
        let within = |margin_m: f64| (levels.walk_m_per_s - margin_m, levels.run_m_per_s + margin_m);
        let (beside_cadence, free) = (within(CLAMP_GAPS * gap), within(free_m));
        let mut total = Sums::default();
        sums.clear();
        sums.reserve_exact(grid.len() + 1);
        sums.push(total);
        let cells = grid.along_m.iter().zip(&grid.weight).zip(&grid.step_s);
        sums.extend(cells.zip(cadence_nats).map(|(((&along_m, &weight), &step_s), &nats)| {
            let ((least_m, most_m), weight) = if nats != 0.0 {
                (beside_cadence, worth * weight)
            } else if step_s > 1.0 {
                (within(free_m / f64::from(step_s).sqrt()), weight)
            } else {
                (free, weight)
            };
            let length_m = along_m.clamp(least_m, most_m);
            total.length_m += weight * length_m;
            total.known_s += weight;
            total.cadence_nats += nats;
            total.lean_nats = lean_per_m * (total.length_m - middle * total.known_s) + total.cadence_nats;
            total
        }));
        let likelihoods = levels.bout_sds().map(|sd| {
            let widening_per_s = sd * sd / noise_m2_per_s;
            Likelihood { widening_per_s, pull_per_m2: 0.5 * widening_per_s / noise_m2_per_s }
        });
        Self { sums, levels, noise_m2_per_s, likelihoods }
    }

    /// What lies before `cell`, for bouts of `kind`.
    #[inline]
    pub(crate) fn place(&self, kind: usize, cell: usize) -> Place {
        let Sums { length_m, known_s, cadence_nats, .. } = self.sums[cell];
        let (level, middle) = (self.levels.pair()[kind], self.levels.middle());
        let lean = (level - middle) * (length_m - 0.5 * (level + middle) * known_s) / self.noise_m2_per_s;
        let cadence_nats = if kind == RUN { cadence_nats } else { -cadence_nats };
        Place { nats: lean + 0.5 * cadence_nats, off_m: length_m - level * known_s, known_s }
    }

    /// How well bouts of `kind` explain what lies between two places.
    #[inline]
    pub(crate) fn likelihood(&self, kind: usize) -> Likelihood {
        self.likelihoods[kind]
    }

    /// Standard deviation of the evidence of one second at fixed levels, in nats.
    pub(crate) fn second_sd_nats(&self) -> f64 {
        self.levels.gap() / self.noise_m2_per_s.sqrt()
    }

    /// Evidence for running at fixed levels, in nats, summed up to `cell`.
    #[inline]
    pub(crate) fn lean(&self, cell: usize) -> f64 {
        self.sums[cell].lean_nats
    }

    /// The same up to each of some cells.
    #[inline]
    pub(crate) fn leans(&self, cells: Range<usize>) -> impl Iterator<Item = f64> {
        self.sums[cells].iter().map(|sums| sums.lean_nats)
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
        let levels = Levels { walk_m_per_s: 1.4, run_m_per_s: 2.2 };
        let scorer = Scorer::new(&grid, &[0.0; 20], levels, 0.4);
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
            let score = scorer.likelihood(kind).data(&scorer.place(kind, 0), &scorer.place(kind, 20));
            assert!((score - integral.ln()).abs() < 1e-6, "{score} {}", integral.ln());
        }
    }

    #[test]
    fn a_second_of_cadence_outweighs_a_second_of_speed() {
        let grid =
            Grid { weight: vec![1.0; 2], step_s: vec![1.0; 2], along_m: vec![9.0; 2], ..Grid::default() };
        let levels = Levels { walk_m_per_s: 1.4, run_m_per_s: 3.0 };
        let scorer = Scorer::new(&grid, &[-1.0; 2], levels, 0.15);
        assert!(scorer.lean(2) < scorer.lean(0));
    }
}

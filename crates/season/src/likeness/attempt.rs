//! Runs and rests laid rep by rep on what a block asks for.

use boutwise_bouts::{Bout, Kind};

use super::Asked;
use super::lengths::{ANYTHING, OFF_S, RANGE_LN, REST_OFF_SHARE, near, off_s, within};
use crate::Outing;

/// Share of the reps that are found in two pieces (own choice).
pub(super) const IN_TWO: f64 = 0.05;
/// Reps that are cut short: shares of the rep (own choice).
const CUT: (f64, f64) = (0.25, 0.95);
/// Reps that are all shortened: shares of the rep (own choice).
const SHORT: (f64, f64) = (0.45, 0.9);
/// Walks that are all longer: shares of the walk (own choice).
const LONG: (f64, f64) = (1.2, 2.2);

/// The runs of an outing and the rests between.
pub(super) struct Runs {
    /// Seconds before the first.
    pub(super) before_s: f64,
    lengths_s: Vec<f64>,
    rests_s: Vec<f64>,
}

impl Runs {
    pub(super) fn of(outing: &Outing, m_per_s: Option<f64>) -> Self {
        let bouts: Vec<&Bout> = outing.bouts.iter().filter(|bout| bout.kind == Kind::Run).collect();
        let length_s = |bout: &&Bout| match (m_per_s, bout.distance_m) {
            (Some(m_per_s), Some(distance_m)) => distance_m / m_per_s,
            _ => bout.duration_s(),
        };
        let begin_s = outing.bouts.first().map_or(0.0, |bout| bout.start_s);
        Self {
            before_s: bouts.first().map_or(0.0, |bout| bout.start_s - begin_s),
            lengths_s: bouts.iter().map(length_s).collect(),
            rests_s: bouts.windows(2).map(|pair| pair[1].start_s - pair[0].end_s).collect(),
        }
    }

    pub(super) fn len(&self) -> usize {
        self.lengths_s.len()
    }

    fn run_s(&self, first: usize, last: usize) -> f64 {
        self.lengths_s[first..=last].iter().sum()
    }

    pub(super) fn span_s(&self, first: usize, last: usize) -> f64 {
        self.run_s(first, last) + self.rests_s[first..last].iter().sum::<f64>()
    }
}

/// What holds for all reps of an attempt.
#[derive(Clone, Copy, PartialEq)]
pub(super) enum Manner {
    Asked,
    Short,
    LongRests,
}

/// A value and what it was reckoned of last: most reps of a block are as long as the one before, and so are the rests.
#[derive(Clone, Copy)]
struct Reckoned {
    of: [f64; 2],
    value: f64,
}

impl Default for Reckoned {
    /// Of nothing yet.
    fn default() -> Self {
        Self { of: [f64::NAN; 2], value: f64::NAN }
    }
}

impl Reckoned {
    fn of(&mut self, lengths_s: [f64; 2], value: impl FnOnce() -> f64) -> f64 {
        if self.of != lengths_s {
            *self = Self { of: lengths_s, value: value() };
        }
        self.value
    }
}

/// An attempt of a block's reps.
pub(super) struct Attempt<'a> {
    pub(super) asked: &'a Asked,
    pub(super) runs: &'a Runs,
    pub(super) manner: Manner,
    /// Natural logarithms: of the share of each way to depart from a session, of that in which one certain rep is where the way
    /// begins, of that in which two certain reps are merged, and of that in which it is stopped within a certain rep.
    way: f64,
    way_at_rep: f64,
    merged: f64,
    stopped: f64,
    /// And of the share of reps that are found in two pieces.
    in_two: f64,
}

impl<'a> Attempt<'a> {
    pub(super) fn new(asked: &'a Asked, runs: &'a Runs, manner: Manner, way: f64) -> Self {
        let reps = asked.reps as f64;
        Self {
            asked,
            runs,
            manner,
            way: way.ln(),
            way_at_rep: (way / reps).ln(),
            merged: (way / (reps - 1.0)).ln(),
            stopped: (way / 2.0 / reps).ln(),
            in_two: IN_TWO.ln(),
        }
    }

    /// The best way to lay all runs in order on the reps: reps may be skipped, stand in one run with the next, be found
    /// in two pieces, be missing at the end or come on top.
    pub(super) fn best(&self) -> f64 {
        let (reps, runs) = (self.asked.reps_s.len(), self.runs.len());
        // For each rep and run the best that ends with them.
        let mut best = vec![f64::NEG_INFINITY; reps * runs];
        let mut end = f64::NEG_INFINITY;
        let mut rests = vec![Reckoned::default(); reps];
        for first_run in 0..runs {
            rests.fill(Reckoned::default());
            let mut as_run = [Reckoned::default(); 3];
            for first in 0..reps {
                let before = self.arrive(&best, first, first_run, &mut rests);
                if before == f64::NEG_INFINITY {
                    continue;
                }
                for last_run in first_run..(first_run + 2).min(runs) {
                    for last in first..(first + 2).min(reps) {
                        if last > first && (last >= self.asked.reps || last_run > first_run) {
                            continue;
                        }
                        let way = 2 * (last_run - first_run) + (last - first);
                        let of_run = self.run((first, last), (first_run, last_run), &mut as_run[way]);
                        let so_far = before + of_run;
                        let here = &mut best[last * runs + last_run];
                        *here = here.max(so_far);
                        if last_run + 1 == runs {
                            let cut = before + self.cut(last, (first_run, last_run));
                            end = end.max(so_far + self.stopped_after(last)).max(cut);
                        }
                    }
                }
            }
        }
        end
    }

    /// The best way to begin a rep with a run; `rests` is what was reckoned of the rest before that run, by how many reps on.
    fn arrive(&self, best: &[f64], rep: usize, run: usize, rests: &mut [Reckoned]) -> f64 {
        let (asked, runs) = (self.asked, self.runs.len());
        let skipped = self.way_at_rep;
        if run == 0 {
            return if rep < asked.reps { skipped * rep as f64 } else { f64::NEG_INFINITY };
        }
        let mut arrived = f64::NEG_INFINITY;
        let mut rest_s = 0.0;
        let most = self.most_of_a_rest(run - 1);
        for before in (0..rep).rev() {
            rest_s += asked.rests_s[before];
            let mut points = best[before * runs + run - 1] + skipped * (rep - before - 1) as f64;
            if rep >= asked.reps && before + 1 < rep {
                break;
            }
            if rep == asked.reps {
                points += self.way;
            }
            // Where even the likeliest rest would not make it the best, none is looked at.
            if points + most > arrived {
                let rest = || self.rest(before, run - 1, rest_s);
                arrived = arrived.max(points + rests[rep - before].of([rest_s, asked.reps_s[before]], rest));
            }
            rest_s += asked.reps_s[before];
        }
        arrived
    }

    /// Reps done as these runs, of which as many were reckoned before.
    fn run(
        &self,
        (first, last): (usize, usize),
        (first_run, last_run): (usize, usize),
        before: &mut Reckoned,
    ) -> f64 {
        let asked_s = self.asked.reps_s[first..=last].iter().sum::<f64>()
            + self.asked.rests_s[first..last].iter().sum::<f64>();
        let merged = if last > first { self.merged } else { 0.0 };
        let pieces = if last_run > first_run { self.in_two } else { 0.0 };
        let odds = |length_s: f64| match self.manner {
            Manner::Short => within(length_s, asked_s, SHORT),
            _ => near(length_s, asked_s, off_s(asked_s)),
        };
        before.of([asked_s, 0.0], || {
            let done = odds(self.runs.run_s(first_run, last_run));
            let odds = if last_run > first_run {
                odds(self.runs.span_s(first_run, last_run)).max(done)
            } else {
                done
            };
            (odds * (1.0 - ANYTHING) + ANYTHING).ln() + merged + pieces
        })
    }

    /// The rep with which it ended, not run in full.
    fn cut(&self, rep: usize, (first_run, last_run): (usize, usize)) -> f64 {
        if rep >= self.asked.reps {
            return f64::NEG_INFINITY;
        }
        let done_s = self.runs.run_s(first_run, last_run);
        let pieces = if last_run > first_run { self.in_two } else { 0.0 };
        (within(done_s, self.asked.reps_s[rep], CUT) + ANYTHING).ln() + self.stopped + pieces
    }

    fn stopped_after(&self, rep: usize) -> f64 {
        if rep + 1 >= self.asked.reps { 0.0 } else { self.way_at_rep }
    }

    /// More than [`Self::rest`] ever gives after a run: a rest as meant, with the smallest deviation, or one within a range whose
    /// width grows with what was asked.
    fn most_of_a_rest(&self, run: usize) -> f64 {
        let as_meant = near(self.runs.rests_s[run], self.runs.rests_s[run], OFF_S);
        let in_range = LONG.1 / (LONG.1 - LONG.0) * RANGE_LN;
        as_meant.max(in_range).max(1.0).ln() + 1e-6
    }

    fn rest(&self, rep: usize, run: usize, asked_s: f64) -> f64 {
        let done_s = self.runs.rests_s[run];
        let off_s = OFF_S + REST_OFF_SHARE * asked_s;
        let odds = match self.manner {
            Manner::Asked => near(done_s, asked_s, off_s),
            Manner::LongRests => within(done_s, asked_s, LONG),
            // What is missing of the run is mostly walked.
            Manner::Short => {
                let missing_s = (self.asked.reps_s[rep] - self.runs.lengths_s[run]).max(0.0);
                0.5 * near(done_s, asked_s, off_s) + 0.5 * near(done_s, asked_s + missing_s, off_s)
            }
        };
        (odds * (1.0 - ANYTHING) + ANYTHING).ln()
    }
}

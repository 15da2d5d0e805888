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
/// Reps that are all lengthened: shares of the rep (own choice).
const LENGTHENED: (f64, f64) = (1.1, 1.7);
/// Walks that are all longer: shares of the walk (own choice).
const LONG: (f64, f64) = (1.2, 2.2);
/// What rounding may make of a bound.
const ROUNDING: f64 = 1e-6;

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
    Lengthened,
    LongRests,
}

/// A value and what it was reckoned of last: most rests of a block are as long as the one before.
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

/// Lengths by their place in a row, each different one once: most reps of a block are as long as the others.
#[derive(Clone, Debug, Default)]
pub(super) struct Lengths {
    different_s: Vec<f64>,
    /// For each place which of them it is.
    which: Vec<usize>,
}

impl FromIterator<f64> for Lengths {
    fn from_iter<I: IntoIterator<Item = f64>>(lengths_s: I) -> Self {
        let mut all = Self::default();
        for length_s in lengths_s {
            let known = all.different_s.iter().position(|known_s| *known_s == length_s);
            all.which.push(known.unwrap_or(all.different_s.len()));
            if known.is_none() {
                all.different_s.push(length_s);
            }
        }
        all
    }
}

/// What each run brings, by each different length that was asked for.
pub(super) struct OfRuns {
    /// As one rep.
    one: Vec<f64>,
    /// As two reps and the rest between.
    merged: Vec<f64>,
    /// With the run after it as one rep; nothing for the last run.
    in_two: Vec<f64>,
}

impl OfRuns {
    /// Where `odds` says how much more likely a length is where another was asked for than where any is as likely.
    fn new(asked: &Asked, runs: &Runs, way: f64, odds: impl Fn(f64, f64) -> f64) -> Self {
        let points = |odds: f64| (odds * (1.0 - ANYTHING) + ANYTHING).ln();
        let (one_s, merged_s) = (&asked.one_s.different_s, &asked.merged_s.different_s);
        let (merged, in_two) = ((way / (asked.reps as f64 - 1.0)).ln(), IN_TWO.ln());
        let mut of_runs = Self {
            one: Vec::with_capacity(runs.len() * one_s.len()),
            merged: Vec::with_capacity(runs.len() * merged_s.len()),
            in_two: Vec::with_capacity(runs.len() * one_s.len()),
        };
        for (run, run_s) in runs.lengths_s.iter().enumerate() {
            of_runs.one.extend(one_s.iter().map(|asked_s| points(odds(*run_s, *asked_s))));
            of_runs.merged.extend(merged_s.iter().map(|asked_s| points(odds(*run_s, *asked_s)) + merged));
            if run + 1 < runs.len() {
                let (run_s, span_s) = (runs.run_s(run, run + 1), runs.span_s(run, run + 1));
                let both = |asked_s: &f64| points(odds(span_s, *asked_s).max(odds(run_s, *asked_s))) + in_two;
                of_runs.in_two.extend(one_s.iter().map(both));
            }
        }
        of_runs
    }

    /// Where the reps are run as asked.
    pub(super) fn as_asked(asked: &Asked, runs: &Runs, way: f64) -> Self {
        Self::new(asked, runs, way, |run_s, asked_s| near(run_s, asked_s, off_s(asked_s)))
    }

    /// Where all are shortened.
    pub(super) fn short(asked: &Asked, runs: &Runs, way: f64) -> Self {
        Self::new(asked, runs, way, |run_s, asked_s| within(run_s, asked_s, SHORT))
    }

    /// Where all are lengthened.
    pub(super) fn lengthened(asked: &Asked, runs: &Runs, way: f64) -> Self {
        Self::new(asked, runs, way, |run_s, asked_s| within(run_s, asked_s, LENGTHENED))
    }

    /// Those of one run, in the order of the fields.
    fn of(&self, run: usize, asked: &Asked) -> [&[f64]; 3] {
        let (ones, merged) = (asked.one_s.different_s.len(), asked.merged_s.different_s.len());
        let in_two = self.in_two.get(run * ones..(run + 1) * ones).unwrap_or_default();
        [&self.one[run * ones..(run + 1) * ones], &self.merged[run * merged..(run + 1) * merged], in_two]
    }
}

/// Where a run may be reached from.
struct Arrivals<'a> {
    /// The best that ends with each rep and the run before.
    ended: &'a [f64],
    /// The best of these.
    likeliest: f64,
    /// What the rest before the run brings at most.
    most_of_a_rest: f64,
    /// What arrives with less could not be the best.
    least: f64,
}

/// An attempt of a block's reps.
pub(super) struct Attempt<'a> {
    asked: &'a Asked,
    runs: &'a Runs,
    manner: Manner,
    /// Natural logarithms: of the share of each way to depart from a session, of that in which one certain rep is where the way
    /// begins, and of that in which it is stopped within a certain rep.
    way: f64,
    way_at_rep: f64,
    stopped: f64,
    of_runs: &'a OfRuns,
}

impl<'a> Attempt<'a> {
    pub(super) fn new(
        asked: &'a Asked,
        runs: &'a Runs,
        manner: Manner,
        way: f64,
        of_runs: &'a OfRuns,
    ) -> Self {
        let reps = asked.reps as f64;
        Self {
            asked,
            runs,
            manner,
            way: way.ln(),
            way_at_rep: (way / reps).ln(),
            stopped: (way / 2.0 / reps).ln(),
            of_runs,
        }
    }

    /// The best way to lay all runs in order on the reps: reps may be skipped, stand in one run with the next, be found
    /// in two pieces, be missing at the end or come on top. Not looked for where it could not bring more than `least`.
    pub(super) fn best(&self, least: f64) -> f64 {
        let most = self.most_from();
        if most[0] <= least {
            return f64::NEG_INFINITY;
        }
        // What cannot come up to one rep after the other is not followed.
        let one_by_one = self.one_by_one();
        let (reps, runs) = (self.asked.reps_s.len(), self.runs.len());
        let (one_s, merged_s) = (&self.asked.one_s.which, &self.asked.merged_s.which);
        // For each run and rep the best that ends with them.
        let mut best = vec![f64::NEG_INFINITY; (runs + 1) * reps];
        let mut end = f64::NEG_INFINITY;
        let mut rests = vec![Reckoned::default(); reps];
        for (run, most_from_here) in most.iter().enumerate() {
            rests.fill(Reckoned::default());
            let (ended, begun) = best.split_at_mut(run * reps);
            let (here, next) = begun.split_at_mut(reps);
            let ended = &ended[ended.len().saturating_sub(reps)..];
            let arrivals = Arrivals {
                ended,
                likeliest: ended.iter().copied().fold(f64::NEG_INFINITY, f64::max),
                most_of_a_rest: run.checked_sub(1).map_or(0.0, |before| self.most_of_a_rest(before)),
                least: one_by_one - most_from_here - ROUNDING,
            };
            // Before the first rep that the run before may end with nothing arrives, and soon after the last nothing that counts.
            let is_reached = |points: &f64| *points > f64::NEG_INFINITY;
            let first = ended.iter().position(is_reached).map_or(0, |first| first + 1);
            let last = ended.iter().rposition(is_reached).unwrap_or(reps);
            let too_far = |rep: usize| {
                let skips = self.way_at_rep * (rep - last - 1) as f64;
                arrivals.likeliest + skips + arrivals.most_of_a_rest <= arrivals.least
            };
            let [one, merged, in_two] = self.of_runs.of(run, self.asked);
            let (is_last, is_last_but_one) = (run + 1 == runs, run + 2 == runs);
            for rep in first..reps {
                if rep > last && too_far(rep) {
                    break;
                }
                let before = self.arrive(&arrivals, rep, run, &mut rests);
                if before == f64::NEG_INFINITY {
                    continue;
                }
                let as_one = before + one[one_s[rep]];
                here[rep] = here[rep].max(as_one);
                let as_merged = merged_s.get(rep).map(|which| before + merged[*which]);
                if let Some(as_merged) = as_merged {
                    here[rep + 1] = here[rep + 1].max(as_merged);
                }
                let as_two = in_two.get(one_s[rep]).map(|points| before + points);
                if let Some(as_two) = as_two {
                    next[rep] = next[rep].max(as_two);
                }
                if is_last {
                    end =
                        end.max(as_one + self.stopped_after(rep)).max(self.cut(before, rep, (run, run), end));
                    if let Some(as_merged) = as_merged {
                        let cut = self.cut(before, rep + 1, (run, run), end);
                        end = end.max(as_merged + self.stopped_after(rep + 1)).max(cut);
                    }
                }
                if let Some(as_two) = as_two.filter(|_| is_last_but_one) {
                    let cut = self.cut(before, rep, (run, run + 1), end);
                    end = end.max(as_two + self.stopped_after(rep)).max(cut);
                }
            }
        }
        end
    }

    /// Each run as the next rep, where there are as many.
    fn one_by_one(&self) -> f64 {
        let runs = self.runs.len();
        if runs > self.asked.reps {
            return f64::NEG_INFINITY;
        }
        let mut points = self.stopped_after(runs - 1);
        for run in 0..runs {
            points += self.of_runs.of(run, self.asked)[0][self.asked.one_s.which[run]];
            if run > 0 {
                points += self.rest(run - 1, run - 1, self.asked.rests_s[run - 1]);
            }
        }
        points
    }

    /// More than [`Self::best`] ever gives of the runs from each one on: each run as what it is most like, and each rest.
    fn most_from(&self) -> Vec<f64> {
        let most = |of: &[f64]| of.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        // Of the runs from each one on, and of none.
        let (mut from_next, mut from_here) = (f64::NEG_INFINITY, 0.0_f64);
        let mut all = vec![0.0; self.runs.len()];
        for run in (0..self.runs.len()).rev() {
            let [one, merged, in_two] = self.of_runs.of(run, self.asked);
            let (mut alone, mut with_next) = (most(one).max(most(merged)), most(in_two));
            if run + 1 == self.runs.len() {
                alone = alone.max(self.most_of_a_cut());
            }
            if run + 2 == self.runs.len() {
                with_next = with_next.max(self.most_of_a_cut());
            }
            let rest_after = |run: usize| match run + 1 < self.runs.len() {
                true => self.most_of_a_rest(run),
                false => 0.0,
            };
            let alone = alone + rest_after(run) + from_here;
            let with_next =
                if from_next.is_finite() { with_next + rest_after(run + 1) + from_next } else { from_next };
            (from_next, from_here) = (from_here, alone.max(with_next));
            all[run] = from_here + ROUNDING;
        }
        all
    }

    /// The best way to begin a rep with a run; `rests` is what was reckoned of the rest before that run, by how many reps on.
    fn arrive(&self, arrivals: &Arrivals<'_>, rep: usize, run: usize, rests: &mut [Reckoned]) -> f64 {
        let Arrivals { ended, likeliest, most_of_a_rest: most, least } = *arrivals;
        let asked = self.asked;
        let skipped = self.way_at_rep;
        if run == 0 {
            let points = skipped * rep as f64;
            return if rep < asked.reps && points >= least { points } else { f64::NEG_INFINITY };
        }
        let mut arrived = f64::NEG_INFINITY;
        let mut rest_s = 0.0;
        for before in (0..rep).rev() {
            rest_s += asked.rests_s[before];
            let skips = skipped * (rep - before - 1) as f64;
            // With as many reps skipped, and with more, even the likeliest would not be the best.
            if (rep >= asked.reps && before + 1 < rep) || likeliest + skips + most <= arrived.max(least) {
                break;
            }
            let mut points = ended[before] + skips;
            if rep == asked.reps {
                points += self.way;
            }
            // Where even the likeliest rest would not make it the best, none is looked at.
            if points + most > arrived.max(least) {
                let rest = || self.rest(before, run - 1, rest_s);
                arrived = arrived.max(points + rests[rep - before].of([rest_s, asked.reps_s[before]], rest));
            }
            rest_s += asked.reps_s[before];
        }
        arrived
    }

    /// The rep with which it ended, not run in full, after a beginning that brings so much; nothing where that could not be more
    /// than `least`.
    fn cut(&self, before: f64, rep: usize, (first_run, last_run): (usize, usize), least: f64) -> f64 {
        if rep >= self.asked.reps || before + self.most_of_a_cut() <= least {
            return f64::NEG_INFINITY;
        }
        let done_s = self.runs.run_s(first_run, last_run);
        let pieces = if last_run > first_run { IN_TWO.ln() } else { 0.0 };
        before + ((within(done_s, self.asked.reps_s[rep], CUT) + ANYTHING).ln() + self.stopped + pieces)
    }

    /// More than [`Self::cut`] ever gives: a length within a range whose width grows with what was asked.
    fn most_of_a_cut(&self) -> f64 {
        const MOST: f64 = CUT.1 / (CUT.1 - CUT.0) * RANGE_LN + 2.0 * ANYTHING;
        MOST.ln() + self.stopped
    }

    fn stopped_after(&self, rep: usize) -> f64 {
        if rep + 1 >= self.asked.reps { 0.0 } else { self.way_at_rep }
    }

    /// More than [`Self::rest`] ever gives after a run: a rest as long as was meant, or one within a range whose width grows
    /// with what was asked.
    fn most_of_a_rest(&self, run: usize) -> f64 {
        const IN_RANGE: f64 = LONG.1 / (LONG.1 - LONG.0) * RANGE_LN;
        let done_s = self.runs.rests_s[run];
        let odds = match self.manner {
            Manner::Asked => near(done_s, done_s, OFF_S + REST_OFF_SHARE * done_s),
            Manner::LongRests => IN_RANGE,
            Manner::Short | Manner::Lengthened => {
                near(done_s, done_s, OFF_S + REST_OFF_SHARE * self.asked.least_rest_s)
            }
        };
        odds.max(1.0).ln() + ROUNDING
    }

    fn rest(&self, rep: usize, run: usize, asked_s: f64) -> f64 {
        let done_s = self.runs.rests_s[run];
        let off_s = OFF_S + REST_OFF_SHARE * asked_s;
        let odds = match self.manner {
            Manner::Asked => near(done_s, asked_s, off_s),
            Manner::LongRests => within(done_s, asked_s, LONG),
            // What is missing of the run is mostly walked, and what there is more of it is mostly not.
            Manner::Short | Manner::Lengthened => {
                let missing_s = self.asked.reps_s[rep] - self.runs.lengths_s[run];
                0.5 * near(done_s, asked_s, off_s) + 0.5 * near(done_s, asked_s + missing_s, off_s)
            }
        };
        (odds * (1.0 - ANYTHING) + ANYTHING).ln()
    }
}

#[cfg(test)]
mod tests {
    use boutwise_bouts::{Amount, Gait, Interval};
    use proptest::prelude::*;

    use super::*;

    /// Every way to lay the runs from one on, told in the words of [`Attempt::best`]: the best of them.
    struct Slow<'a> {
        asked: &'a Asked,
        runs: &'a Runs,
        manner: Manner,
        way: f64,
    }

    impl Slow<'_> {
        fn points(odds: f64) -> f64 {
            (odds * (1.0 - ANYTHING) + ANYTHING).ln()
        }

        fn odds_of_run(&self, length_s: f64, asked_s: f64) -> f64 {
            match self.manner {
                Manner::Short => within(length_s, asked_s, SHORT),
                Manner::Lengthened => within(length_s, asked_s, LENGTHENED),
                _ => near(length_s, asked_s, off_s(asked_s)),
            }
        }

        /// The rest after a run that ended with rep `before`, where rep `rep` comes next.
        fn rest(&self, before: usize, run: usize, rep: usize) -> f64 {
            let asked = self.asked;
            let asked_s = asked.rests_s[before..rep].iter().sum::<f64>()
                + asked.reps_s[before + 1..rep].iter().sum::<f64>();
            let (done_s, off_s) = (self.runs.rests_s[run], OFF_S + REST_OFF_SHARE * asked_s);
            Self::points(match self.manner {
                Manner::Asked => near(done_s, asked_s, off_s),
                Manner::LongRests => within(done_s, asked_s, LONG),
                Manner::Short | Manner::Lengthened => {
                    let missing_s = asked.reps_s[before] - self.runs.lengths_s[run];
                    0.5 * near(done_s, asked_s, off_s) + 0.5 * near(done_s, asked_s + missing_s, off_s)
                }
            })
        }

        /// From `run` on, after the rep and the run before.
        fn best(&self, run: usize, before: Option<usize>) -> f64 {
            let asked = self.asked;
            let of_rep = (self.way / asked.reps as f64).ln();
            let mut best = f64::NEG_INFINITY;
            for rep in before.map_or(0, |before| before + 1)..asked.reps_s.len() {
                let skipped = rep - before.map_or(0, |before| before + 1);
                let may_begin = match before {
                    None => rep < asked.reps,
                    Some(_) => rep < asked.reps || skipped == 0,
                };
                if !may_begin {
                    continue;
                }
                let mut arrived = of_rep * skipped as f64;
                if let Some(before) = before {
                    arrived += self.rest(before, run - 1, rep);
                    arrived += if rep == asked.reps { self.way.ln() } else { 0.0 };
                }
                for (last, last_run) in [(rep, run), (rep + 1, run), (rep, run + 1)] {
                    if last_run >= self.runs.len() || (last > rep && last >= asked.reps) {
                        continue;
                    }
                    let (done_s, span_s) = (self.runs.run_s(run, last_run), self.runs.span_s(run, last_run));
                    let asked_s = asked.reps_s[rep..=last].iter().sum::<f64>()
                        + asked.rests_s[rep..last].iter().sum::<f64>();
                    let odds = self.odds_of_run(done_s, asked_s).max(self.odds_of_run(span_s, asked_s));
                    let merged = if last > rep { (self.way / (asked.reps as f64 - 1.0)).ln() } else { 0.0 };
                    let in_two = if last_run > run { IN_TWO.ln() } else { 0.0 };
                    let done = arrived + Self::points(odds) + merged + in_two;
                    if last_run + 1 < self.runs.len() {
                        best = best.max(done + self.best(last_run + 1, Some(last)));
                        continue;
                    }
                    best = best.max(done + if last + 1 < asked.reps { of_rep } else { 0.0 });
                    if last < asked.reps {
                        let cut = (within(done_s, asked.reps_s[last], CUT) + ANYTHING).ln();
                        best = best.max(arrived + cut + (self.way / 2.0 / asked.reps as f64).ln() + in_two);
                    }
                }
            }
            best
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(300))]

        #[test]
        fn the_search_finds_the_best_of_all_ways_and_nothing_where_it_could_not_reach_more(
            reps in prop_oneof![
                (prop::sample::select(vec![(60.0, 90.0), (120.0, 60.0)]), 1_usize..5).prop_map(|(rep, count)| vec![rep; count]),
                prop::collection::vec((prop::sample::select(vec![30.0, 60.0, 120.0]), prop::sample::select(vec![30.0, 60.0, 90.0])), 1..5),
            ],
            runs in prop::collection::vec(
                (prop_oneof![Just(60.0), Just(121.0), (5_u32..300).prop_map(f64::from)], prop_oneof![Just(88.0), (5_u32..240).prop_map(f64::from)]),
                1..6,
            ),
            before_s in prop::sample::select(vec![0.0, 290.0]),
            way in prop::sample::select(vec![0.01, 0.03, 0.1]),
        ) {
            let ask = |gait, seconds| Interval { gait, amount: Amount::Seconds(seconds) };
            let intervals: Vec<Interval> =
                reps.iter().flat_map(|(run_s, walk_s)| [ask(Gait::Run, *run_s), ask(Gait::Walk, *walk_s)]).collect();
            let asked = Asked::new(&intervals, 2.5, 1.4);
            let (lengths_s, mut rests_s): (Vec<f64>, Vec<f64>) = runs.into_iter().unzip();
            rests_s.pop();
            let runs = Runs { before_s, lengths_s, rests_s };
            let (as_asked, short) = (OfRuns::as_asked(&asked, &runs, way), OfRuns::short(&asked, &runs, way));
            let lengthened = OfRuns::lengthened(&asked, &runs, way);
            let manners = [
                (Manner::Asked, &as_asked),
                (Manner::Short, &short),
                (Manner::Lengthened, &lengthened),
                (Manner::LongRests, &as_asked),
            ];
            for (manner, of_runs) in manners {
                let slow = Slow { asked: &asked, runs: &runs, manner, way }.best(0, None);
                let attempt = Attempt::new(&asked, &runs, manner, way, of_runs);
                let best = attempt.best(f64::NEG_INFINITY);
                prop_assert!((best - slow).abs() < 1e-9 || best == slow, "{best} {slow}");
                prop_assert!(attempt.most_from()[0] >= best);
                prop_assert_eq!(attempt.best(best - 1e-3), best);
            }
        }
    }
}

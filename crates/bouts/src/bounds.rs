//! What is known of a session although its bouts are in doubt: between what its runs, their time and the longest lie.
//!
//! The session is played through many times: a stated bout may be none, one that became part of what is around it may be
//! one after all, bouts may have been missed, and edges lie beside where they were dated, each as often as its
//! probability says. The draws are always the same.

use std::ops::Range;
use std::slice;
use std::sync::OnceLock;

use serde::{Deserialize, Serialize};

use crate::decode::Part;
use crate::evidence::{RUN, WALK};

/// What is certain of a session, and between what the rest lies in nine of ten.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Bounds {
    /// Fewest runs that there surely were.
    pub runs_at_least: usize,
    /// A run that surely took place lasted so many seconds.
    pub longest_at_least_s: f64,
    /// All runs together surely lasted so many seconds.
    pub run_at_least_s: f64,
    /// Number of runs: low and high end of a 90 % interval.
    pub runs: (usize, usize),
    /// Seconds of all runs, likewise.
    pub run_s: (f64, f64),
    /// Seconds of the longest run, likewise; 0 where there may have been none.
    pub longest_s: (f64, f64),
}

impl Bounds {
    /// The same where nothing may have been run as well.
    pub(crate) fn or_nothing(self) -> Self {
        Self {
            runs_at_least: 0,
            longest_at_least_s: 0.0,
            run_at_least_s: 0.0,
            runs: (0, self.runs.1),
            run_s: (0.0, self.run_s.1),
            longest_s: (0.0, self.longest_s.1),
        }
    }

    /// What is known, in words.
    pub(crate) fn words(&self) -> String {
        let (fewest, most) = self.runs;
        if most == 0 {
            return "Known all the same: most likely nothing was run.".to_owned();
        }
        let count = |count: usize| if count == 1 { "1 run".to_owned() } else { format!("{count} runs") };
        let runs = match (self.runs_at_least, fewest == most) {
            (_, true) => format!("most likely {}", count(most)),
            (0, false) => format!("most likely {fewest} to {}", count(most)),
            (least, false) => format!("at least {}, most likely {fewest} to {most}", count(least)),
        };
        let clock =
            |seconds: f64| format!("{}:{:02}", seconds.round() as u64 / 60, seconds.round() as u64 % 60);
        let between = |(low, high): (f64, f64)| match clock(low) == clock(high) {
            true => clock(low),
            false => format!("between {} and {}", clock(low), clock(high)),
        };
        if fewest == 0 {
            let (most, running) = (count(most), clock(self.run_s.1));
            return format!(
                "Known all the same: most likely no more than {most} and a run time of {running}, perhaps none."
            );
        }
        let (total, longest) = (between(self.run_s), between(self.longest_s));
        format!("Known all the same: {runs}; run time {total}; the longest run {longest}.")
    }
}

/// What a session is played through with.
pub(crate) struct Doubts<'a> {
    /// Stated parts, with their confidence for probability.
    pub(crate) parts: &'a [Part],
    /// Parts of each stretch, as indices.
    pub(crate) stretches: &'a [Range<usize>],
    /// Parts that became one with what is around them, with their confidence.
    pub(crate) joined: &'a [Part],
    /// Probability that there were as many runs.
    pub(crate) count_right: f64,
    /// Probability that every run is right as it is stated: no larger.
    pub(crate) confidence: f64,
    /// Spread of an edge in seconds, and of what all runs have in common.
    pub(crate) edge_s: f64,
    pub(crate) common_s: f64,
    /// Shortest bout of each kind in seconds.
    pub(crate) least_s: [usize; 2],
}

/// Number of times.
const TIMES: usize = 200;
/// What lies below this share of them is left out at either end of a 90 % interval …
const OUTSIDE: f64 = 0.05;
/// … and of what is called certain.
const UNSURE: f64 = 0.01;
/// Where the number of runs is wrong it is too low in nine sessions of ten: runs were missed, or walks between them. So many on
/// average for each second that an edge errs by, at least one, since what blurs edges hides whole bouts. Fitted by hand on
/// tuning seeds from 400,000 on, and looked at on those from 450,000 on: see the table of intervals in docs/accuracy.md.
const MISSED_PER_EDGE_S: f64 = 1.3;
/// Most of them, on average.
const MOST_MISSED: f64 = 6.0;
/// A bout that was missed lasts no longer than so many times what an edge errs by: a longer one would have shown. Fitted likewise,
/// as is what follows.
const HIDES_EDGES: f64 = 10.0;
/// Of the sessions with a wrong number this share is taken for reps and walks of one length over all of it, of which hardly any
/// shows: so beginners' plans begin …
const EVEN_SHARE: f64 = 0.3;
/// … with a rep and its walk in so many seconds …
const EVEN_PERIOD_S: Range<f64> = 100.0..200.0;
/// … where edges err by so much or more: sharper ones would show them.
const EVEN_EDGE_S: f64 = 1.5;
/// However sure it is that a session is not as stated, it is in this share: what nobody knows anything of may hold no run at all.
const LEAST_AS_STATED: f64 = 0.06;
/// Variance of the error of a run's length, in squares of the scale of its edges: half of what two Laplace distributions have, since
/// that scale covers the few edges that lie far off, too. Fitted by hand on tuning seeds, as is that errors shrink by half of
/// what they should where lengths are taken to the mean (see the table of intervals in docs/accuracy.md).
const LENGTH_ERROR: f64 = 2.0;
/// Fewest runs whose lengths say something of each other (own choice).
const FEWEST_ALIKE: usize = 3;
/// Standard deviations from the mean within which a run lasts like the others (own choice).
const ALIKE_SDS: f64 = 3.0;
/// Length in seconds of a bout that was missed where no other of its kind says how long they are.
const USUAL_MISSED_S: usize = 45;

/// Plays the session through; `None` where nothing moved.
pub(crate) fn bounds(doubts: &Doubts) -> Option<Bounds> {
    if doubts.parts.is_empty() {
        return None;
    }
    let mut draws = Draws::new();
    let missed = doubts.missed();
    let (mut counts, mut totals_s, mut longest_s) = (Vec::new(), Vec::new(), Vec::new());
    // Mostly the session is as it is stated, which is the same each time but for its edges.
    let of_stretch = |parts: &Range<usize>| runs_of(&doubts.parts[parts.clone()]);
    let alike = doubts.alike(doubts.stretches.iter().flat_map(of_stretch));
    let lengths = |parts: &Range<usize>| doubts.lengths(of_stretch(parts), &alike).collect();
    let stated: Vec<Vec<Length>> = doubts.stretches.iter().map(lengths).collect();
    let mut runs = Vec::new();
    // How many are as stated is no matter of chance.
    let as_stated = (doubts.confidence.max(LEAST_AS_STATED) * TIMES as f64).round() as usize;
    for time in 0..TIMES {
        runs.clear();
        doubts.play(time < as_stated, &stated, &missed, &alike, &mut draws, &mut runs);
        counts.push(runs.len() as f64);
        totals_s.push(runs.iter().fold(0.0, |sum, run_s| sum + run_s));
        longest_s.push(runs.iter().copied().fold(0.0, f64::max));
    }
    for values in [&mut counts, &mut totals_s, &mut longest_s] {
        values.sort_unstable_by(f64::total_cmp);
    }
    let at = |values: &[f64], share: f64| values[((share * TIMES as f64) as usize).min(TIMES - 1)];
    let between = |values: &[f64]| (at(values, OUTSIDE), at(values, 1.0 - OUTSIDE));
    let (fewest, most) = between(&counts);
    Some(Bounds {
        runs_at_least: at(&counts, UNSURE) as usize,
        longest_at_least_s: at(&longest_s, UNSURE),
        run_at_least_s: at(&totals_s, UNSURE),
        runs: (fewest as usize, most as usize),
        run_s: between(&totals_s),
        longest_s: between(&longest_s),
    })
}

impl Doubts<'_> {
    /// Adds the durations of the runs as they may have been; `stated` are those of each stretch as stated.
    fn play(
        &self,
        as_stated: bool,
        stated: &[Vec<Length>],
        missed: &Missed,
        alike: &Alike,
        draws: &mut Draws,
        runs: &mut Vec<f64>,
    ) {
        let common_s = draws.laplace(self.common_s) + draws.laplace(alike.mean_error_s);
        let wrong = (1.0 - self.count_right) / (1.0 - self.confidence).max(f64::MIN_POSITIVE);
        let hidden = match !as_stated && draws.chance(wrong) {
            true => missed.draw(draws),
            false => Hidden::default(),
        };
        let mut passed_s = 0;
        let mut laid: Vec<Part> = Vec::new();
        for (stretch, stated) in self.stretches.iter().zip(stated) {
            if as_stated {
                self.close(stated.iter().copied(), common_s, draws, runs);
                continue;
            }
            laid.clear();
            laid.extend_from_slice(&self.parts[stretch.clone()]);
            for index in 0..laid.len() {
                if !laid[index].stop && draws.chance(self.flips(&laid, index)) {
                    laid[index].kind = 1 - laid[index].kind;
                }
            }
            let Some((start, end)) = laid.first().zip(laid.last()).map(|(a, b)| (a.cells.start, b.cells.end))
            else {
                continue;
            };
            for part in self.joined.iter().filter(|part| part.cells.start >= start && part.cells.end <= end) {
                if draws.chance(part.probability) {
                    paint(&mut laid, part.kind, part.cells.clone());
                }
            }
            let within = passed_s..passed_s + (end - start);
            passed_s = within.end;
            for spot in hidden.spots.iter().filter(|spot| within.contains(spot)) {
                let at = start + spot - within.start;
                let there = laid.partition_point(|part| part.cells.end <= at);
                let kind = 1 - laid.get(there).map_or(RUN, |part| part.kind);
                paint(&mut laid, kind, at..(at + hidden.lasts_s[kind]).min(end));
            }
            self.close(self.lengths(runs_of(&laid), alike), common_s, draws, runs);
        }
    }

    /// Probability that a stated part was the other kind: one that is longer than what is around it has its extent in doubt
    /// rather than its kind.
    fn flips(&self, laid: &[Part], index: usize) -> f64 {
        let seconds = laid[index].cells.len() as f64;
        let near =
            [index.checked_sub(1), Some(index + 1)].into_iter().flatten().filter_map(|at| laid.get(at));
        let beside_s = near.map(|part| part.cells.len() as f64).fold(0.0, f64::max);
        let share = if laid.len() > 1 { (beside_s / seconds).min(1.0) } else { 1.0 };
        (1.0 - laid[index].probability) * share
    }

    /// The lengths of the runs of a stretch that are long enough.
    fn lengths(&self, runs: impl Iterator<Item = Run>, alike: &Alike) -> impl Iterator<Item = Length> {
        runs.filter(|run| run.seconds >= self.least_s[RUN]).map(|run| alike.length(&run))
    }

    /// Adds the durations of the runs of a stretch, each edge moved.
    fn close(
        &self,
        lengths: impl Iterator<Item = Length>,
        common_s: f64,
        draws: &mut Draws,
        runs: &mut Vec<f64>,
    ) {
        for length in lengths {
            let moved_s = (0..length.edges).fold(0.0, |sum, _| sum + draws.laplace(self.edge_s));
            let common_s = if length.edges > 0 { common_s } else { 0.0 };
            let seconds = length.seconds + length.moved * moved_s + common_s;
            runs.push(seconds.max(self.least_s[RUN] as f64));
        }
    }

    /// What the lengths of the stated runs say of each other.
    fn alike(&self, stated: impl Iterator<Item = Run>) -> Alike {
        let whole = stated.filter(|run| run.is_inside() && run.seconds >= self.least_s[RUN]);
        let lengths_s: Vec<f64> = whole.map(|run| run.seconds as f64).collect();
        let count = lengths_s.len() as f64;
        let mean_s = lengths_s.iter().sum::<f64>() / count;
        let square_s2 = lengths_s.iter().map(|length_s| (length_s - mean_s).powi(2)).sum::<f64>();
        let error_s2 = LENGTH_ERROR * self.edge_s.powi(2);
        if lengths_s.len() < FEWEST_ALIKE {
            return Alike { mean_s, own: 1.0, moved: 1.0, most_off_s: 0.0, mean_error_s: 0.0 };
        }
        let spread_s2 = square_s2 / (count - 1.0);
        let own = (1.0 - error_s2 / spread_s2.max(error_s2)).max(0.0);
        let most_off_s = ALIKE_SDS * spread_s2.max(error_s2).sqrt();
        let mean_error_s = ((1.0 - own) * error_s2 / (2.0 * count)).sqrt();
        Alike { mean_s, own, moved: 0.5 * (1.0 + own.sqrt()), most_off_s, mean_error_s }
    }

    fn missed(&self) -> Missed {
        Missed {
            bouts: (MISSED_PER_EDGE_S * self.edge_s).clamp(1.0, MOST_MISSED),
            of_seconds: self.parts.iter().map(|part| part.cells.len()).sum(),
            may_be_even: self.edge_s >= EVEN_EDGE_S,
            lasts_s: [WALK, RUN].map(|kind| self.missed_s(kind)),
        }
    }

    /// How long a bout of a kind is that was missed: the middle duration of those found, as far as one can hide.
    fn missed_s(&self, kind: usize) -> usize {
        let mut seconds: Vec<usize> = self
            .parts
            .iter()
            .filter(|part| part.kind == kind && !part.stop)
            .map(|part| part.cells.len())
            .collect();
        seconds.sort_unstable();
        let usual_s = seconds.get(seconds.len() / 2).copied().unwrap_or(USUAL_MISSED_S);
        usual_s.min((HIDES_EDGES * self.edge_s) as usize).max(self.least_s[kind])
    }
}

/// How far runs last alike. Of runs that last alike the longest as measured is mostly one whose edges err outwards: what their
/// lengths differ by beyond what edges err is their own, the rest they have in common (James and Stein 1961, from memory).
struct Alike {
    mean_s: f64,
    /// Share of how far a length lies from the mean that is its own, 0 to 1.
    own: f64,
    /// Share of an error of edges that is left of a length that is taken to the mean.
    moved: f64,
    /// Runs further from the mean are not of them.
    most_off_s: f64,
    /// Scale of the error of the mean, where lengths are taken to it.
    mean_error_s: f64,
}

/// How long a run lasted, its edges in their places.
#[derive(Clone, Copy)]
struct Length {
    seconds: f64,
    /// Number of its edges that were found: others are those of the stretch.
    edges: usize,
    /// Seconds by which it is longer for each by which its edges err outwards.
    moved: f64,
}

impl Alike {
    /// How long a run lasted, as far as the others say.
    fn length(&self, run: &Run) -> Length {
        let off_s = run.seconds as f64 - self.mean_s;
        let edges = usize::from(run.begins_inside) + usize::from(run.ends_inside);
        match run.is_inside() && off_s.abs() <= self.most_off_s {
            true => Length { seconds: self.mean_s + self.own * off_s, edges, moved: self.moved },
            false => Length { seconds: run.seconds as f64, edges, moved: 1.0 },
        }
    }
}

/// Bouts that were missed.
struct Missed {
    /// How many are expected in the whole session where any were …
    bouts: f64,
    /// … of so many seconds.
    of_seconds: usize,
    /// Whether reps and walks of one length may hide all over it.
    may_be_even: bool,
    /// How many seconds one of each kind lasts.
    lasts_s: [usize; 2],
}

/// Bouts that were missed, as they may have been.
#[derive(Default)]
struct Hidden {
    /// Where they begin, in seconds of the stretches together.
    spots: Vec<usize>,
    /// How many seconds one of each kind lasts.
    lasts_s: [usize; 2],
}

impl Missed {
    /// A few of them anywhere, or a rep in every so many seconds over the whole session.
    fn draw(&self, draws: &mut Draws) -> Hidden {
        let all_s = self.of_seconds as f64;
        if self.may_be_even && draws.chance(EVEN_SHARE) {
            let Range { start, end } = EVEN_PERIOD_S;
            let period_s = start + (end - start) * draws.unit();
            let first = draws.unit();
            let spots =
                (0..(all_s / period_s) as usize).map(|rep| ((rep as f64 + first) * period_s) as usize);
            return Hidden { spots: spots.collect(), lasts_s: [(0.5 * period_s) as usize; 2] };
        }
        let spots = (0..draws.geometric(self.bouts)).map(|_| (draws.unit() * all_s) as usize);
        Hidden { spots: spots.collect(), lasts_s: self.lasts_s }
    }
}

/// A run of a stretch, neighbours made one.
struct Run {
    seconds: usize,
    /// Whether something of the stretch lies before it, and after it.
    begins_inside: bool,
    ends_inside: bool,
}

impl Run {
    /// Whether both edges are found ones.
    fn is_inside(&self) -> bool {
        self.begins_inside && self.ends_inside
    }
}

/// The runs of a stretch.
fn runs_of(laid: &[Part]) -> impl Iterator<Item = Run> {
    fn is_run(part: &Part) -> bool {
        part.kind == RUN && !part.stop
    }
    let (first, last) = (laid.first().map(|part| part.cells.start), laid.last().map(|part| part.cells.end));
    let together = laid.chunk_by(|a, b| is_run(a) == is_run(b)).filter(|parts| is_run(&parts[0]));
    let run = move |parts: &[Part]| {
        let (start, end) = (parts[0].cells.start, parts[parts.len() - 1].cells.end);
        Run { seconds: end - start, begins_inside: first != Some(start), ends_inside: last != Some(end) }
    };
    together.map(run)
}

/// Lays a kind over cells; the parts are in order.
fn paint(laid: &mut Vec<Part>, kind: usize, cells: Range<usize>) {
    let first = cut(laid, cells.start);
    let end = cut(laid, cells.end);
    laid[first..end].iter_mut().for_each(|part| part.kind = kind);
}

/// Cuts the part in which a cell lies before it; hands over which part begins there.
fn cut(laid: &mut Vec<Part>, cell: usize) -> usize {
    let at = laid.partition_point(|part| part.cells.end <= cell);
    match laid.get_mut(at).filter(|part| part.cells.start < cell) {
        Some(part) => {
            let after = Part { cells: cell..part.cells.end, ..part.clone() };
            part.cells.end = cell;
            laid.insert(at + 1, after);
            at + 1
        }
        None => at,
    }
}

/// Draws that are the same each time (xorshift64*, Vigna 2016). The first blocks of them, which serve nearly every session, are
/// made once, when they are first asked for.
struct Draws {
    /// What is left of the block at hand.
    rest: slice::Iter<'static, (f64, f64)>,
    /// Blocks asked for.
    blocks: usize,
    /// The state after the block at hand, or after the last draw beyond all blocks.
    state: u64,
}

/// Blocks that are made once: together as many draws as a session of 40 runs takes whose runs are as they are stated.
const BLOCKS: usize = 17;
/// Draws in a block.
const BLOCK: usize = 1024;
/// Where the draws begin.
const SEED: u64 = 0x9e37_79b9_7f4a_7c15;

/// Draws, each with the Laplace variate of scale 1 that it gives, and the state after the last.
struct Block(Vec<(f64, f64)>, u64);

/// The block with this number, of those that are made once.
fn block(number: usize) -> Option<&'static Block> {
    static MADE: [OnceLock<Block>; BLOCKS] = [const { OnceLock::new() }; BLOCKS];
    let made = MADE.get(number)?;
    Some(made.get_or_init(|| {
        let mut state = number.checked_sub(1).and_then(block).map_or(SEED, |before| before.1);
        let draws = (0..BLOCK).map(|_| {
            let unit = next_unit(&mut state);
            (unit, standard_laplace(unit))
        });
        Block(draws.collect(), state)
    }))
}

fn next_unit(state: &mut u64) -> f64 {
    *state ^= *state >> 12;
    *state ^= *state << 25;
    *state ^= *state >> 27;
    (state.wrapping_mul(0x2545_f491_4f6c_dd1d) >> 11) as f64 / (1_u64 << 53) as f64
}

fn standard_laplace(unit: f64) -> f64 {
    let off = unit - 0.5;
    -off.signum() * (1.0 - 2.0 * off.abs()).max(1e-12).ln()
}

impl Draws {
    fn new() -> Self {
        Self { rest: [].iter(), blocks: 0, state: SEED }
    }

    /// The next draw, and its Laplace variate where it is known already.
    #[inline]
    fn next(&mut self) -> (f64, Option<f64>) {
        match self.rest.next() {
            Some(&(unit, laplace)) => (unit, Some(laplace)),
            None => self.next_of_another_block(),
        }
    }

    #[cold]
    fn next_of_another_block(&mut self) -> (f64, Option<f64>) {
        match block(self.blocks) {
            Some(Block(draws, after)) => {
                (self.rest, self.state) = (draws.iter(), *after);
                self.blocks += 1;
                self.next()
            }
            None => (next_unit(&mut self.state), None),
        }
    }

    fn unit(&mut self) -> f64 {
        self.next().0
    }

    fn chance(&mut self, probability: f64) -> bool {
        self.unit() < probability
    }

    /// Laplace with this scale.
    fn laplace(&mut self, scale: f64) -> f64 {
        let (unit, laplace) = self.next();
        scale * laplace.unwrap_or_else(|| standard_laplace(unit))
    }

    /// One or more: geometric with this mean.
    fn geometric(&mut self, mean: f64) -> usize {
        let mut count = 1;
        while self.chance(1.0 - 1.0 / mean) {
            count += 1;
        }
        count
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn draws_are_the_same_in_blocks_and_behind_them() {
        let (mut draws, mut state) = (Draws::new(), SEED);
        for number in 0..BLOCKS * BLOCK + 100 {
            let unit = next_unit(&mut state);
            let known = (number < BLOCKS * BLOCK).then(|| standard_laplace(unit));
            assert_eq!(draws.next(), (unit, known));
        }
    }

    /// What is known of a session of one stretch.
    fn of_parts(parts: &[Part], joined: &[Part], confidence: f64, edge_s: f64) -> Bounds {
        let stretch = 0..parts.len();
        let doubts = Doubts {
            parts,
            stretches: std::slice::from_ref(&stretch),
            joined,
            count_right: 1.0,
            confidence,
            edge_s,
            common_s: 0.0,
            least_s: [12, 13],
        };
        bounds(&doubts).expect("bounds")
    }

    #[test]
    fn what_edges_have_in_common_moves_no_run_whose_ends_are_those_of_the_recording() {
        let part = |kind, cells| Part { kind, stop: false, cells, probability: 1.0 };
        let run_s = |parts: &[Part]| {
            let stretch = 0..parts.len();
            let stretches = std::slice::from_ref(&stretch);
            let (joined, least_s) = (&[][..], [12, 13]);
            let (count_right, confidence, edge_s, common_s) = (1.0, 1.0, 0.0, 5.0);
            bounds(&Doubts { parts, stretches, joined, count_right, confidence, edge_s, common_s, least_s })
                .expect("bounds")
                .run_s
        };
        assert_eq!(run_s(&[part(RUN, 0..600)]), (600.0, 600.0));
        let (low, high) = run_s(&[part(WALK, 0..100), part(RUN, 100..600)]);
        assert!(low < 495.0 && high > 505.0, "{low} {high}");
    }

    /// Walks and runs of a minute in turn, each with this confidence.
    fn played(confidence: f64, joined: &[Part]) -> Bounds {
        let parts: Vec<Part> = (0..11)
            .map(|at| Part {
                kind: at % 2,
                stop: false,
                cells: at * 60..(at + 1) * 60,
                probability: confidence,
            })
            .collect();
        of_parts(&parts, joined, 0.0, 2.0)
    }

    /// What is known of runs of these lengths, with walks of a minute around them.
    fn of_lengths(lengths_s: &[usize]) -> Bounds {
        let mut parts = Vec::new();
        let mut at = 0;
        for seconds in lengths_s.iter().flat_map(|length_s| [60, *length_s]).chain([60]) {
            parts.push(Part {
                kind: parts.len() % 2,
                stop: false,
                cells: at..at + seconds,
                probability: 1.0,
            });
            at += seconds;
        }
        of_parts(&parts, &[], 1.0, 5.0)
    }

    #[test]
    fn the_longest_of_runs_that_last_alike_is_likely_one_whose_edges_err() {
        let alike = of_lengths(&[58, 66, 55, 62, 59, 60]);
        let unlike = of_lengths(&[20, 66, 25, 62, 40, 200]);
        assert!(alike.longest_s.0 < 63.0 && alike.longest_s.1 < 85.0, "{alike:?}");
        assert!(unlike.longest_s.0 > 180.0 && unlike.longest_s.1 > 205.0, "{unlike:?}");
        // Two say nothing of each other, and all together lasted as long either way.
        assert!(of_lengths(&[58, 66]).longest_s.0 > 54.0);
        assert!(alike.run_s.0 < 360.0 && 360.0 < alike.run_s.1, "{alike:?}");
    }

    #[test]
    fn what_is_sure_is_narrow_and_what_is_not_is_wide() {
        let sure = played(1.0, &[]);
        assert_eq!((sure.runs, sure.runs_at_least), ((5, 5), 5));
        assert!(
            sure.run_s.0 < 300.0 && sure.run_s.1 > 300.0 && sure.run_s.1 - sure.run_s.0 < 40.0,
            "{sure:?}"
        );
        let doubtful = played(0.7, &[]);
        assert!(doubtful.runs.0 < 5 && doubtful.run_s.1 - doubtful.run_s.0 > 100.0, "{doubtful:?}");
        assert!(doubtful.longest_s.1 > 150.0 && doubtful.runs_at_least <= doubtful.runs.0, "{doubtful:?}");
        assert_eq!(doubtful, played(0.7, &[]));
    }

    #[test]
    fn a_number_of_runs_that_is_likely_wrong_is_mostly_too_low() {
        let cells = [0..300, 300..600, 600..900];
        let parts: Vec<Part> = cells
            .into_iter()
            .enumerate()
            .map(|(at, cells)| Part { kind: at % 2, stop: false, cells, probability: 1.0 })
            .collect();
        let stretch = 0..parts.len();
        let of = |count_right, edge_s| {
            let doubts = Doubts {
                parts: &parts,
                stretches: std::slice::from_ref(&stretch),
                joined: &[],
                count_right,
                confidence: 0.5 * count_right,
                edge_s,
                common_s: 0.0,
                least_s: [12, 13],
            };
            bounds(&doubts).expect("bounds")
        };
        let (right, wrong, blurred) = (of(1.0, 1.0), of(0.2, 1.0), of(0.2, 5.0));
        assert_eq!((right.runs, right.runs_at_least), ((1, 1), 1));
        assert!(
            wrong.runs.0 == 1 && wrong.runs.1 >= 2 && blurred.run_s.0 < wrong.run_s.0,
            "{wrong:?} {blurred:?}"
        );
        assert!(wrong.longest_s.0 < 250.0, "{wrong:?}");
        // An interval that begins at nothing is told by its end.
        let none = Bounds {
            runs: (0, 6),
            run_s: (0.0, 1799.0),
            longest_s: (0.0, 1799.0),
            runs_at_least: 0,
            ..wrong
        };
        assert_eq!(
            none.words(),
            "Known all the same: most likely no more than 6 runs and a run time of 29:59, perhaps none."
        );
    }

    #[test]
    fn of_a_walk_in_which_nearly_anything_may_hide_neither_no_run_nor_many_are_ruled_out() {
        let part = |kind| Part { kind, stop: false, cells: 0..1500, probability: 0.9 };
        let of = |kind, edge_s| {
            let (parts, stretch) = ([part(kind)], 0..1);
            let doubts = Doubts {
                parts: &parts,
                stretches: std::slice::from_ref(&stretch),
                joined: &[],
                count_right: 0.0,
                confidence: 0.0,
                edge_s,
                common_s: 0.0,
                least_s: [12, 13],
            };
            bounds(&doubts).expect("bounds")
        };
        let (walked, run) = (of(WALK, 4.0), of(RUN, 4.0));
        assert!(walked.runs.0 == 0 && walked.runs.1 >= 10 && walked.longest_s.0 == 0.0, "{walked:?}");
        // A run of 25 min may have been reps of a minute or so.
        assert!(run.runs.1 >= 10 && run.longest_s.0 < 100.0 && run.longest_s.1 > 1200.0, "{run:?}");
        // Sharp edges would show them.
        assert!(of(RUN, 1.0).runs.1 < 8, "{run:?}");
    }

    #[test]
    fn what_is_painted_lies_where_it_was_painted_and_the_rest_stays() {
        let part = |(at, kind)| Part { kind, stop: false, cells: 4 * at..4 * at + 4, probability: 1.0 };
        let whole: Vec<Part> = [WALK, RUN, WALK].into_iter().enumerate().map(part).collect();
        for (start, end) in (0..12).flat_map(|start| (start + 1..=12).map(move |end| (start, end))) {
            let mut laid = whole.clone();
            paint(&mut laid, RUN, start..end);
            let kinds: Vec<usize> =
                laid.iter().flat_map(|part| part.cells.clone().map(|_| part.kind)).collect();
            let asked = |cell: usize| if (start..end).contains(&cell) { RUN } else { whole[cell / 4].kind };
            assert_eq!(kinds, (0..12).map(asked).collect::<Vec<_>>(), "{start}..{end}");
            assert!(laid.windows(2).all(|two| two[0].cells.end == two[1].cells.start), "{laid:?}");
        }
    }

    #[test]
    fn a_walk_that_was_joined_may_have_cut_its_run() {
        let cells = 80..100;
        let joined = [Part { kind: WALK, stop: false, cells, probability: 0.4 }];
        let found = played(1.0, &joined);
        assert_eq!(found.runs, (5, 6));
        assert!(found.longest_at_least_s > 40.0, "{found:?}");
    }
}

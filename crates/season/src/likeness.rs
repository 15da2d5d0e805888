//! How much more likely a recording is as a session of a block than off the plan.

use std::f64::consts::LN_2;

use boutwise_bouts::{Amount, Bout, Gait, Interval, Kind};

use crate::{CalendarScore, Outing};

/// Widest range of a length, from 10 s to an hour, in which nothing is known of it beforehand (own choice): ln 360.
const RANGE_LN: f64 = 5.886;
/// How far a length that was meant lies off, in seconds and as a share of it, as the scale of a Laplace distribution: (own choice).
const OFF_S: f64 = 2.5;
const OFF_SHARE: f64 = 0.02;
/// The same of a rest, where people start late or stop at a crossing (own choice).
const REST_OFF_SHARE: f64 = 0.05;
/// The same of a whole session (own choice).
const TOTAL_OFF_S: f64 = 15.0;
/// Share of the lengths that are anything, for a stop or a bout that was not found (own choice).
const ANYTHING: f64 = 0.05;
/// Share of the reps that are found in two pieces (own choice).
const IN_TWO: f64 = 0.05;
/// Reps that are cut short: shares of the rep (own choice).
const CUT: (f64, f64) = (0.25, 0.95);
/// Reps that are all shortened: shares of the rep (own choice).
const SHORT: (f64, f64) = (0.45, 0.9);
/// Walks that are all longer: shares of the walk (own choice).
const LONG: (f64, f64) = (1.2, 2.2);
/// Most reps done beyond those asked for (own choice).
const EXTRA_REPS: usize = 3;
/// The rest before an extra rep where the block has no walks, in seconds (own choice).
const EXTRA_REST_S: f64 = 90.0;
/// Share of those who walk a whole session who keep its length (own choice).
const WALKED_IN_FULL: f64 = 0.7;
/// Share of those who run a session who walk before it as asked (own choice).
const WALKED_BEFORE: f64 = 0.5;
/// The same of those who run off the plan, by habit (own choice).
const WALKS_BEFORE_ANY: f64 = 0.2;
/// Ways to depart from a session, each as likely as the others: stopped early, a rep skipped, two merged, all shortened,
/// longer walks, extra reps, walked, run straight through.
const WAYS: f64 = 8.0;

/// How likely a recording is a session of a block.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Likeness {
    /// Natural logarithm of the odds that it is one and not off the plan.
    pub log_odds: f64,
    /// Whether it was only walked where runs were asked for, so that nothing but its day makes a session of it.
    pub walked: bool,
}

/// What a block asks for, rep by rep.
#[derive(Clone, Debug)]
pub struct Asked {
    /// Seconds of each rep, and some extra ones.
    reps_s: Vec<f64>,
    /// Seconds of rest after each.
    rests_s: Vec<f64>,
    /// Number of reps that are asked for.
    reps: usize,
    /// Walk before the first rep.
    before_s: f64,
    total_s: f64,
    /// Speed at which metres of runs count as seconds, where reps are asked for in metres.
    m_per_s: Option<f64>,
}

impl Asked {
    /// The work of a block; metres count as seconds at the plan's speeds.
    pub fn new(intervals: &[Interval], run_m_per_s: f64, walk_m_per_s: f64) -> Self {
        let mut asked = Self {
            reps_s: Vec::new(),
            rests_s: Vec::new(),
            reps: 0,
            before_s: 0.0,
            total_s: 0.0,
            m_per_s: None,
        };
        let mut running = false;
        for interval in intervals {
            let seconds = match (interval.amount, interval.gait) {
                (Amount::Seconds(seconds), _) => seconds,
                (Amount::Metres(metres), Gait::Run) => metres / *asked.m_per_s.insert(run_m_per_s),
                (Amount::Metres(metres), Gait::Walk) => metres / walk_m_per_s,
            };
            asked.total_s += seconds;
            match (interval.gait, asked.rests_s.last_mut(), asked.reps_s.last_mut()) {
                (Gait::Run, _, Some(rep_s)) if running => *rep_s += seconds,
                (Gait::Run, ..) => {
                    asked.reps_s.push(seconds);
                    asked.rests_s.push(0.0);
                }
                (Gait::Walk, Some(rest_s), _) => *rest_s += seconds,
                (Gait::Walk, None, _) => asked.before_s += seconds,
            }
            running = interval.gait == Gait::Run;
        }
        asked.reps = asked.reps_s.len();
        if let Some(&last_s) = asked.reps_s.last() {
            let between_s = asked.rests_s[..asked.reps - 1].last().copied().unwrap_or(EXTRA_REST_S);
            asked.rests_s[asked.reps - 1] = between_s;
            asked.reps_s.resize(asked.reps + EXTRA_REPS, last_s);
            asked.rests_s.resize(asked.reps + EXTRA_REPS, between_s);
        }
        asked
    }

    /// How likely an outing is a session of the block, told by what was done: how many runs, how long each, how long the rests between; where nobody ran, how
    /// long it took. A session may have been done as asked or in one of the ways to depart from it.
    pub fn likeness(&self, outing: &Outing, score: &CalendarScore) -> Likeness {
        let walked = outing.resolvable && self.reps > 0 && !outing.has_runs();
        Likeness { log_odds: self.log_odds(outing, score), walked }
    }

    fn log_odds(&self, outing: &Outing, score: &CalendarScore) -> f64 {
        let way = (score.departing_pct / 100.0 / WAYS).ln();
        let walk = (score.walk_on_day_pct / 100.0).ln();
        let run = (score.extra_run_pct / 100.0).ln();
        let total_s = match (outing.bouts.first(), outing.bouts.last()) {
            (Some(first), Some(last)) => last.end_s - first.start_s,
            _ => 0.0,
        };
        let in_full = || {
            let meant = near(total_s, self.total_s, TOTAL_OFF_S + OFF_SHARE * self.total_s);
            (WALKED_IN_FULL * meant + 1.0 - WALKED_IN_FULL).ln()
        };
        if !outing.resolvable {
            return in_full() - ((score.walk_on_day_pct + score.extra_run_pct) / 100.0).ln();
        }
        match (self.reps, outing.has_runs()) {
            (0, false) => in_full() - walk,
            (0, true) => way - run,
            (_, false) => way + in_full() - walk,
            (_, true) => self.ran(&Runs::of(outing, self.m_per_s), score) - run,
        }
    }

    /// How much more likely the runs are as an attempt of the reps than as runs of any kind.
    fn ran(&self, runs: &Runs, score: &CalendarScore) -> f64 {
        let before = near(runs.before_s, self.before_s, OFF_S + REST_OFF_SHARE * self.before_s);
        let share = |walked: f64| walked * before + 1.0 - walked;
        let before = (share(WALKED_BEFORE) / share(WALKS_BEFORE_ANY)).ln();
        let departing = score.departing_pct / 100.0;
        let way = departing / WAYS;
        let manners = [(Manner::Asked, 1.0 - departing), (Manner::Short, way), (Manner::LongRests, way)];
        let best = manners
            .into_iter()
            .map(|(manner, share)| share.ln() + Attempt { asked: self, runs, manner, way }.best())
            .fold(f64::NEG_INFINITY, f64::max);
        // Each further run off the plan is as likely as not.
        (before + best).max(way.ln() + self.straight(runs) + if self.reps > 1 { before } else { 0.0 })
            + LN_2 * runs.len() as f64
    }

    /// One run from the first rep to the end of the last; of a single rep, from the start.
    fn straight(&self, runs: &Runs) -> f64 {
        let reps_s: f64 = self.reps_s[..self.reps].iter().sum();
        let rests_s = if self.reps == 1 { self.before_s } else { self.rests_s[..self.reps - 1].iter().sum() };
        let straight_s = reps_s + rests_s;
        if runs.len() > 2 {
            return f64::NEG_INFINITY;
        }
        let in_two = if runs.len() == 2 { IN_TWO.ln() } else { 0.0 };
        (near(runs.span_s(0, runs.len() - 1), straight_s, off_s(straight_s)) + ANYTHING).ln() + in_two
    }
}

/// The runs of an outing and the rests between.
struct Runs {
    /// Seconds before the first.
    before_s: f64,
    lengths_s: Vec<f64>,
    rests_s: Vec<f64>,
}

impl Runs {
    fn of(outing: &Outing, m_per_s: Option<f64>) -> Self {
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

    fn len(&self) -> usize {
        self.lengths_s.len()
    }

    fn run_s(&self, first: usize, last: usize) -> f64 {
        self.lengths_s[first..=last].iter().sum()
    }

    fn span_s(&self, first: usize, last: usize) -> f64 {
        self.run_s(first, last) + self.rests_s[first..last].iter().sum::<f64>()
    }
}

/// What holds for all reps of an attempt.
#[derive(Clone, Copy, PartialEq)]
enum Manner {
    Asked,
    Short,
    LongRests,
}

/// An attempt of a block's reps.
struct Attempt<'a> {
    asked: &'a Asked,
    runs: &'a Runs,
    manner: Manner,
    /// Share of each way to depart from a session.
    way: f64,
}

impl Attempt<'_> {
    /// The best way to lay all runs in order on the reps: reps may be skipped, stand in one run with the next, be found
    /// in two pieces, be missing at the end or come on top.
    fn best(&self) -> f64 {
        let (reps, runs) = (self.asked.reps_s.len(), self.runs.len());
        // For each rep and run the best that ends with them.
        let mut best = vec![f64::NEG_INFINITY; reps * runs];
        let mut end = f64::NEG_INFINITY;
        for first_run in 0..runs {
            for first in 0..reps {
                let before = self.arrive(&best, first, first_run);
                if before == f64::NEG_INFINITY {
                    continue;
                }
                for last_run in first_run..(first_run + 2).min(runs) {
                    for last in first..(first + 2).min(reps) {
                        if last > first && (last >= self.asked.reps || last_run > first_run) {
                            continue;
                        }
                        let so_far = before + self.run((first, last), (first_run, last_run));
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

    /// The best way to begin a rep with a run.
    fn arrive(&self, best: &[f64], rep: usize, run: usize) -> f64 {
        let (asked, runs) = (self.asked, self.runs.len());
        let skipped = (self.way / asked.reps as f64).ln();
        if run == 0 {
            return if rep < asked.reps { skipped * rep as f64 } else { f64::NEG_INFINITY };
        }
        let mut arrived = f64::NEG_INFINITY;
        let mut rest_s = 0.0;
        for before in (0..rep).rev() {
            rest_s += asked.rests_s[before];
            let mut points = best[before * runs + run - 1] + skipped * (rep - before - 1) as f64;
            if rep >= asked.reps && before + 1 < rep {
                break;
            }
            if rep == asked.reps {
                points += self.way.ln();
            }
            if points > f64::NEG_INFINITY {
                arrived = arrived.max(points + self.rest(before, run - 1, rest_s));
            }
            rest_s += asked.reps_s[before];
        }
        arrived
    }

    fn run(&self, (first, last): (usize, usize), (first_run, last_run): (usize, usize)) -> f64 {
        let reps = self.asked.reps as f64;
        let span_s = self.runs.span_s(first_run, last_run);
        let done_s = self.runs.run_s(first_run, last_run);
        let asked_s = self.asked.reps_s[first..=last].iter().sum::<f64>()
            + self.asked.rests_s[first..last].iter().sum::<f64>();
        let merged = if last > first { (self.way / (reps - 1.0)).ln() } else { 0.0 };
        let pieces = if last_run > first_run { IN_TWO.ln() } else { 0.0 };
        let odds = |length_s: f64| match self.manner {
            Manner::Short => within(length_s, asked_s, SHORT),
            _ => near(length_s, asked_s, off_s(asked_s)),
        };
        (odds(span_s).max(odds(done_s)) * (1.0 - ANYTHING) + ANYTHING).ln() + merged + pieces
    }

    /// The rep with which it ended, not run in full.
    fn cut(&self, rep: usize, (first_run, last_run): (usize, usize)) -> f64 {
        if rep >= self.asked.reps {
            return f64::NEG_INFINITY;
        }
        let done_s = self.runs.run_s(first_run, last_run);
        let pieces = if last_run > first_run { IN_TWO.ln() } else { 0.0 };
        let stopped = self.way / 2.0 / self.asked.reps as f64;
        (within(done_s, self.asked.reps_s[rep], CUT) + ANYTHING).ln() + stopped.ln() + pieces
    }

    fn stopped_after(&self, rep: usize) -> f64 {
        if rep + 1 >= self.asked.reps { 0.0 } else { (self.way / self.asked.reps as f64).ln() }
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

fn off_s(asked_s: f64) -> f64 {
    OFF_S + OFF_SHARE * asked_s
}

/// How much more likely a length is where one was meant than where any is as likely as another.
fn near(done_s: f64, meant_s: f64, off_s: f64) -> f64 {
    done_s * RANGE_LN * (-(done_s - meant_s).abs() / off_s).exp() / (2.0 * off_s)
}

/// The same where it is anything between two shares of what was meant.
fn within(done_s: f64, meant_s: f64, (least, most): (f64, f64)) -> f64 {
    let range_s = (most - least) * meant_s;
    if range_s > 0.0 && (least * meant_s..=most * meant_s).contains(&done_s) {
        done_s * RANGE_LN / range_s
    } else {
        0.0
    }
}

#[cfg(test)]
mod tests {
    use chrono::DateTime;

    use super::*;

    /// So many times a run and a walk, between walks of five minutes.
    fn asked(reps: usize, run_s: f64, walk_s: f64) -> Asked {
        let interval = |gait, seconds| Interval { gait, amount: Amount::Seconds(seconds) };
        let mut intervals = vec![interval(Gait::Walk, 300.0)];
        for _ in 0..reps {
            intervals.extend([interval(Gait::Run, run_s), interval(Gait::Walk, walk_s)]);
        }
        Asked::new(&intervals, 2.5, 1.4)
    }

    /// An outing of runs and the walks after them; the first walk lasts five minutes.
    fn outing(runs_and_walks_s: &[(f64, f64)]) -> Outing {
        let mut bouts = vec![Bout::new(Kind::Walk, 0.0, 300.0)];
        let mut at_s = 300.0;
        for (run_s, walk_s) in runs_and_walks_s {
            bouts.push(Bout::new(Kind::Run, at_s, at_s + run_s));
            bouts.push(Bout::new(Kind::Walk, at_s + run_s, at_s + run_s + walk_s));
            at_s += run_s + walk_s;
        }
        let start = DateTime::from_timestamp(1_772_000_000, 0).unwrap();
        Outing::new("made.gpx", 1, start, start.naive_utc(), true, bouts)
    }

    fn log_odds(asked: &Asked, runs_and_walks_s: &[(f64, f64)]) -> f64 {
        asked.likeness(&outing(runs_and_walks_s), &CalendarScore::default()).log_odds
    }

    #[test]
    fn every_way_to_depart_from_a_session_fits_it_better_than_the_blocks_beside_it() {
        let (before, own, after) = (asked(8, 90.0, 90.0), asked(6, 120.0, 90.0), asked(5, 180.0, 90.0));
        let full = [(120.0, 90.0); 6];
        let ways: [&[(f64, f64)]; 8] = [
            &full,
            &full[..3],
            &[(121.0, 88.0), (119.0, 300.0), (122.0, 90.0), (120.0, 92.0), (118.0, 90.0)],
            &[(330.0, 90.0), (120.0, 90.0), (121.0, 90.0), (120.0, 90.0), (119.0, 90.0)],
            &[(80.0, 130.0), (70.0, 140.0), (95.0, 115.0), (85.0, 125.0), (75.0, 135.0), (90.0, 120.0)],
            &[(120.0, 150.0); 6],
            &[(120.0, 90.0); 8],
            &[(6.0 * 120.0 + 5.0 * 90.0, 90.0)],
        ];
        for (way, done) in ways.iter().enumerate() {
            let own = log_odds(&own, done);
            assert!(own > 0.0, "{way}: {own}");
            for other in [&before, &after] {
                assert!(own > log_odds(other, done), "{way}");
            }
        }
    }

    #[test]
    fn the_closer_the_lengths_the_likelier_the_session() {
        let own = asked(6, 120.0, 90.0);
        let off = |by_s: f64| log_odds(&own, &[(120.0 + by_s, 90.0 - by_s); 6]);
        assert!(off(0.0) > off(4.0) && off(4.0) > off(8.0));
    }

    #[test]
    fn a_walk_as_long_as_the_session_is_likelier_the_session_walked() {
        let own = asked(8, 60.0, 90.0);
        let walked = |walk_s: f64| {
            let bouts = vec![Bout::new(Kind::Walk, 0.0, walk_s)];
            let start = DateTime::from_timestamp(1_772_000_000, 0).unwrap();
            let outing = Outing::new("made.gpx", 1, start, start.naive_utc(), true, bouts);
            let likeness = own.likeness(&outing, &CalendarScore::default());
            assert!(likeness.walked);
            likeness.log_odds
        };
        assert!(walked(300.0 + 8.0 * 150.0) > walked(900.0));
    }
}

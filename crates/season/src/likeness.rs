//! How much more likely a recording is as a session of a block than off the plan.

mod attempt;
mod lengths;

use std::f64::consts::LN_2;

use boutwise_bouts::{Amount, Gait, Interval};

use crate::{CalendarScore, Outing};
use attempt::{Attempt, IN_TWO, Lengths, Manner, OfRuns, Runs};
use lengths::{ANYTHING, OFF_S, REST_OFF_SHARE, near, near_whole, off_s};

/// Most reps done beyond those asked for (own choice).
const EXTRA_REPS: usize = 3;
/// The rest before an extra rep where the block has no walks, in seconds (own choice).
const EXTRA_REST_S: f64 = 90.0;
/// Share of those who walk a whole session who keep its length (own choice).
const WALKED_IN_FULL: f64 = 0.7;
/// Share of the walks off the plan that are as long as the plan asks for on the days between (own choice).
const BETWEEN_AS_ASKED: f64 = 0.5;
/// Share of those who run a session who walk before it as asked (own choice).
const WALKED_BEFORE: f64 = 0.5;
/// The same of those who run off the plan, by habit (own choice).
const WALKS_BEFORE_ANY: f64 = 0.2;
/// Ways to depart from a session, each as likely as the others: stopped early, a rep skipped, two merged, all shortened,
/// all lengthened, longer walks, extra reps, walked, run straight through.
const WAYS: f64 = 9.0;

/// How likely a recording is a session of a block.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Likeness {
    /// Natural logarithm of the odds that it is one and not off the plan.
    pub log_odds: f64,
    /// Whether it was only walked where runs were asked for, so that nothing but its day makes a session of it.
    pub walked: bool,
}

/// Whether a recording may be a session by what was done in it, whatever its day.
pub(crate) fn may_be_session(likenesses: &[Likeness]) -> bool {
    likenesses.iter().any(|of| !of.walked && of.log_odds > 0.0)
}

/// What was seen of an outing.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Seen {
    Runs,
    Walk,
    /// Running and walking can't be told apart.
    Unknown,
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
    /// The reps, and of those asked for each with the rest and the rep after it, by their different lengths.
    one_s: Lengths,
    merged_s: Lengths,
    /// The shortest rest.
    least_rest_s: f64,
    /// Walk before the first rep.
    before_s: f64,
    total_s: f64,
    /// The walk that is asked for on the days between.
    between_s: Option<f64>,
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
            one_s: Lengths::default(),
            merged_s: Lengths::default(),
            least_rest_s: 0.0,
            before_s: 0.0,
            total_s: 0.0,
            between_s: None,
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
        asked.one_s = asked.reps_s.iter().copied().collect();
        let reps_s = &asked.reps_s[..asked.reps];
        let rests_s = asked.rests_s.iter();
        asked.merged_s =
            reps_s.windows(2).zip(rests_s).map(|(pair, rest_s)| pair[0] + pair[1] + rest_s).collect();
        asked.least_rest_s = asked.rests_s.iter().copied().fold(f64::INFINITY, f64::min);
        asked
    }

    /// The same work of a block that asks for a walk of so many seconds on the days between.
    #[must_use]
    pub fn with_between(self, between_s: Option<f64>) -> Self {
        Self { between_s, ..self }
    }

    /// How likely an outing is a session of the block, told by what was done: how many runs, how long each, how long the
    /// rests between; where nobody ran, how long it took. A session may have been done as asked or in one of the ways to
    /// depart from it.
    pub fn likeness(&self, outing: &Outing, score: &CalendarScore) -> Likeness {
        let seen = match (outing.resolvable, outing.has_runs()) {
            (false, _) => Seen::Unknown,
            (true, true) => Seen::Runs,
            (true, false) => Seen::Walk,
        };
        self.likeness_of(outing, seen, score)
    }

    /// The same of an outing that is taken for a walk, though that cannot be told for certain.
    pub(crate) fn likeness_of_walk(&self, outing: &Outing, score: &CalendarScore) -> Likeness {
        self.likeness_of(outing, Seen::Walk, score)
    }

    fn likeness_of(&self, outing: &Outing, seen: Seen, score: &CalendarScore) -> Likeness {
        let walked = self.reps > 0 && seen == Seen::Walk;
        Likeness { log_odds: self.log_odds(outing, seen, score), walked }
    }

    fn log_odds(&self, outing: &Outing, seen: Seen, score: &CalendarScore) -> f64 {
        let way = (score.departing_pct / 100.0 / WAYS).ln();
        let run = (score.extra_run_pct / 100.0).ln();
        let total_s = match (outing.bouts.first(), outing.bouts.last()) {
            (Some(first), Some(last)) => last.end_s - first.start_s,
            _ => 0.0,
        };
        let meant = |meant_s: f64| near_whole(total_s, meant_s);
        let in_full = || (WALKED_IN_FULL * meant(self.total_s) + 1.0 - WALKED_IN_FULL).ln();
        // Walks off the plan are as long as the plan asks for between, or anything.
        let between = self
            .between_s
            .map_or(1.0, |between_s| BETWEEN_AS_ASKED * meant(between_s) + 1.0 - BETWEEN_AS_ASKED);
        let walk_pct = score.walk_on_day_pct * between;
        let walk = (walk_pct / 100.0).ln();
        match (self.reps, seen) {
            (_, Seen::Unknown) => in_full() - ((walk_pct + score.extra_run_pct) / 100.0).ln(),
            (0, Seen::Walk) => in_full() - walk,
            (0, Seen::Runs) => way - run,
            (_, Seen::Walk) => way + in_full() - walk,
            (_, Seen::Runs) => self.ran(&Runs::of(outing, self.m_per_s), score) - run,
        }
    }

    /// How much more likely the runs are as an attempt of the reps than as runs of any kind.
    fn ran(&self, runs: &Runs, score: &CalendarScore) -> f64 {
        let before = near(runs.before_s, self.before_s, OFF_S + REST_OFF_SHARE * self.before_s);
        let share = |walked: f64| walked * before + 1.0 - walked;
        let before = (share(WALKED_BEFORE) / share(WALKS_BEFORE_ANY)).ln();
        let departing = score.departing_pct / 100.0;
        let way = departing / WAYS;
        let (as_asked, short) = (OfRuns::as_asked(self, runs, way), OfRuns::short(self, runs, way));
        let lengthened = OfRuns::lengthened(self, runs, way);
        let manners = [
            (Manner::Asked, 1.0 - departing, &as_asked),
            (Manner::Short, way, &short),
            (Manner::Lengthened, way, &lengthened),
            (Manner::LongRests, way, &as_asked),
        ];
        let best = manners.into_iter().fold(f64::NEG_INFINITY, |best: f64, (manner, share, of_runs)| {
            let share = share.ln();
            best.max(share + Attempt::new(self, runs, manner, way, of_runs).best(best - share))
        });
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

#[cfg(test)]
mod tests {
    use boutwise_bouts::{Bout, Kind};
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
        let (before, own, after) = (asked(8, 95.0, 85.0), asked(6, 120.0, 90.0), asked(5, 180.0, 90.0));
        let full = [(120.0, 90.0); 6];
        let ways: [&[(f64, f64)]; 9] = [
            &full,
            &full[..3],
            &[(121.0, 88.0), (119.0, 300.0), (122.0, 90.0), (120.0, 92.0), (118.0, 90.0)],
            &[(330.0, 90.0), (120.0, 90.0), (121.0, 90.0), (120.0, 90.0), (119.0, 90.0)],
            &[(80.0, 130.0), (70.0, 140.0), (95.0, 115.0), (85.0, 125.0), (75.0, 135.0), (90.0, 120.0)],
            &[(150.0, 60.0), (149.0, 61.0), (152.0, 59.0), (150.0, 60.0), (147.0, 64.0), (150.0, 60.0)],
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

    fn walked_log_odds(asked: &Asked, walk_s: f64) -> f64 {
        let bouts = vec![Bout::new(Kind::Walk, 0.0, walk_s)];
        let start = DateTime::from_timestamp(1_772_000_000, 0).unwrap();
        let outing = Outing::new("made.gpx", 1, start, start.naive_utc(), true, bouts);
        let likeness = asked.likeness(&outing, &CalendarScore::default());
        assert!(likeness.walked);
        likeness.log_odds
    }

    #[test]
    fn a_walk_as_long_as_the_session_is_likelier_the_session_walked() {
        let own = asked(8, 65.0, 85.0);
        assert!(walked_log_odds(&own, 300.0 + 8.0 * 150.0) > walked_log_odds(&own, 900.0));
    }

    #[test]
    fn a_walk_as_long_as_the_plan_asks_for_between_is_less_likely_a_session_than_any_other() {
        let (plain, between) = (asked(8, 65.0, 85.0), asked(8, 65.0, 85.0).with_between(Some(2100.0)));
        assert!(walked_log_odds(&between, 2100.0) < walked_log_odds(&plain, 2100.0));
        assert!(walked_log_odds(&between, 2100.0) < walked_log_odds(&between, 2700.0));
    }
}

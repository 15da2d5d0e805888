//! From the probabilities of the model to probabilities that hold against known truth.
//!
//! The model knows two kinds and its own kinds of error. Real ways are steep, turn and cross roads, receivers filter, and
//! a runner who slows down for that walks no more than before. What speaks for a bout beside the model: how fast it was,
//! how it stands out from what is beside it and how sharply, for how long, whether there were others like it, and what the
//! heart did. For a session: that there were as many runs. What makes that wrong are walks of a few seconds that look like a
//! dip at a crossing, and steep ways that look like a walk; so beside the doubts of its bouts there speak for it how even its
//! paces are, how often there is a point, what the heart did meanwhile, and how much there was to be missed. What speaks for
//! the session then speaks for each bout that is stated in it: one that is wrong is seldom alone. Logistic functions weigh that
//! in; their weights are made by `cargo run --release -p boutwise-truth --example fit-confidence`, which prints how far they
//! lie from those in `fitted.rs`.

mod fitted;

use crate::evenness::Evenness;
use crate::evidence::{RUN, WALK};
use crate::levels::Levels;
use fitted::{FITTED, PRODUCTS};

/// Number of terms of a session.
pub(crate) const SESSION_TERMS: usize = 25;

/// Which logistic function weighs something.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Model {
    /// A walk with runs on both sides.
    WalkBetween,
    /// A run with walks on both sides.
    RunBetween,
    /// A walk that begins or ends with a stand or a gap.
    WalkAtAStop,
    /// A run that does.
    RunAtAStop,
    /// A walk that begins or ends with the recording.
    WalkAtAnEnd,
    /// A run that does.
    RunAtAnEnd,
    /// A session in which walks and runs were found.
    TwoKinds,
    /// A session in which only runs were.
    RunAlone,
    /// A session in which only walks were.
    WalkAlone,
    /// A bout that is stated, once the session is known.
    Stated,
}

impl Model {
    /// All of them.
    pub const ALL: [Self; 10] = [
        Self::WalkBetween,
        Self::RunBetween,
        Self::WalkAtAStop,
        Self::RunAtAStop,
        Self::WalkAtAnEnd,
        Self::RunAtAnEnd,
        Self::TwoKinds,
        Self::RunAlone,
        Self::WalkAlone,
        Self::Stated,
    ];
}

/// What a bout is weighed from. Products of two of them stand beside them, since one sign of a dip or a climb says more where
/// another says the same.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Term {
    /// One, for the constant.
    One,
    /// Log odds of the model.
    Model,
    /// Log of the slow noise.
    Noise,
    /// Log duration in minutes, below one.
    Short,
    /// Log duration in minutes, above one.
    Long,
    /// Log of the contrast.
    LogContrast,
    /// Log of the duration that tells it from its neighbours.
    Pair,
    /// How much slower it is than bouts of its kind mostly are.
    Slower,
    /// How much faster.
    Faster,
    /// Log of the number alike.
    Alike,
    /// How sharp its edges are.
    Sharpness,
    /// How round its course of speed is.
    Roundness,
    /// Fall of the heart rate in a walk, rise in a run, in tens of bpm.
    HeartRate,
    /// Contrast as it is.
    Contrast,
    /// Whether it lies alone between stops.
    Alone,
    /// Log share of the seconds that are of its kind.
    Share,
}

impl Term {
    /// All of them.
    pub const ALL: [Self; 16] = [
        Self::One,
        Self::Model,
        Self::Noise,
        Self::Short,
        Self::Long,
        Self::LogContrast,
        Self::Pair,
        Self::Slower,
        Self::Faster,
        Self::Alike,
        Self::Sharpness,
        Self::Roundness,
        Self::HeartRate,
        Self::Contrast,
        Self::Alone,
        Self::Share,
    ];
}

/// A product of two terms of a bout, or the square of one.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Product(pub Term, pub Term);

impl Product {
    /// Its value, from at least all terms, in the order of [`Term::ALL`].
    pub fn of(self, terms: &[f64]) -> f64 {
        terms[self.0 as usize] * terms[self.1 as usize]
    }
}

/// The products that a function weighs besides the terms; none of a session or of a stated bout.
pub fn products_of(model: Model) -> &'static [Product] {
    PRODUCTS.get(model as usize).copied().unwrap_or_default()
}

/// Weights of the logistic functions, term by term; `Default` is what was fitted.
#[derive(Clone, Debug, PartialEq)]
pub struct Coefficients(pub [Vec<f64>; 10]);

impl Coefficients {
    /// The weights of one of them.
    pub fn of(&self, model: Model) -> &[f64] {
        &self.0[model as usize]
    }
}

impl Default for Coefficients {
    fn default() -> Self {
        Self(FITTED.map(|weights| weights.to_vec()))
    }
}

/// Least level gap by which anything is divided, in m/s.
const LEAST_GAP_M_PER_S: f64 = 0.2;
/// Seconds of the rarer kind from which more of it adds no trust: what is rare in a session may be noise.
const RARER_S: f64 = 300.0;
/// So much more than even odds must speak for what was called walking and running by their speeds (own choice: at
/// 1.65 m/s some walk and some run).
const BEYOND_EVEN_NATS: f64 = 1.0;
/// Levels of walking and running that lie this close, in m/s, are even odds to be one level, and so many nats a metre per
/// second it is clearer to either side. Noise alone always offers two levels that lie close: without this, runs are found in
/// up to 1.6 % of the sessions of walks alone that are answered; from 0.45 on in none (the table of sessions of one kind that
/// `accuracy` makes, tuning seeds), and what lies above refuses more sessions that are right.
const ONE_LEVEL_GAP_M_PER_S: f64 = 0.45;
const ONE_LEVEL_NATS_PER_M_PER_S: f64 = 10.0;
/// So many bouts in doubt are as bad as more.
const MOST_DOUBTED: f64 = 6.0;
/// Where the running level lies above the middle of the levels, and the walking level below it, in gaps.
const AT_THE_LEVEL: f64 = 0.5;
/// Bounds of how far the slowest block in a run lies above the middle of the levels, or the fastest in a walk below it, in gaps.
const LEAST_OFF: f64 = -1.0;
const MOST_OFF: f64 = 1.5;
/// Gaps by which a run slows down from which more says no more.
const MOST_SLOWING: f64 = 3.0;
/// Change of the heart rate inside a bout from which more says no more, in bpm, and the unit in which it counts.
const MOST_CHANGE_BPM: f64 = 30.0;
const TEN_BPM: f64 = 10.0;
/// Seconds run from which less, and to which more, says nothing more; then seconds walked.
const LEAST_RUN_S: f64 = 60.0;
const MOST_RUN_S: f64 = 5400.0;
const LEAST_WALKED_S: f64 = 12.0;
const MOST_WALKED_S: f64 = 1800.0;
/// Spread of the speed of runs from which a wider one says no more, in m/s.
const WIDEST_SPREAD_M_PER_S: f64 = 0.8;
/// Least log probability of stands that is told apart from none.
const LEAST_LOG_STANDS: f64 = -4.0;
/// Bounds of the log odds by speed.
const SPEED_BOUND: f64 = 6.0;
/// Duration in seconds from which a longer bout is neither more nor less likely …
const LONG_S: f64 = 1200.0;
/// … and from which a longer neighbour does not tell it better.
const LONG_PAIR_S: f64 = 300.0;
/// Duration whose logarithm is 0 there, in seconds.
const MINUTE_S: f64 = 60.0;
/// Least contrast that is told apart from none.
const LEAST_CONTRAST_M_PER_S: f64 = 0.1;
/// Speeds in m/s from which a walk is faster, and to which it is slower, than walks mostly are; then those of runs.
const USUAL_M_PER_S: [[f64; 2]; 2] = [[1.35, 1.55], [2.0, 2.4]];
/// Further off than this a speed says no more, in m/s.
const SPEED_REACH_M_PER_S: f64 = 0.8;
/// Share of a kind that is told apart from none.
const LEAST_KIND_SHARE: f64 = 0.02;
/// Change of the heart rate in bpm from which more says nothing more.
const HEART_RATE_BOUND_BPM: f64 = 20.0;
/// No walk is sure above the first speed and no run below the second, in m/s (common practice, no source) …
const SURE_M_PER_S: [f64; 2] = [1.95, 1.65];
/// … and so many nats a metre per second it is clearer to either side (own choice).
const SURE_NATS_PER_M_PER_S: f64 = 15.0;
/// Stand: constant, and weights of the log of its evidence and of the log duration.
const STAND: [f64; 3] = [-7.192, 0.887, 3.225];
/// Bound of the log odds of a session that go into those of its stated bouts.
const SESSION_BOUND: f64 = 8.0;
/// Least evidence in nats that is told apart from none.
const LEAST_NATS: f64 = 0.1;
/// Least noise that is told apart from none, in m²/s.
const LEAST_NOISE_M2_PER_S: f64 = 0.05;
/// Bounds of log odds that go into a logistic function.
const BOUT_BOUND: f64 = 6.907;
/// What was found in a session without good cadence, and how.
#[derive(Clone, Copy, Debug)]
pub(crate) struct SessionEvidence {
    /// Expected number of the stated bouts that are wrong.
    pub(crate) wrong: f64,
    /// Number of bouts that became one with what was around them …
    pub(crate) joined: usize,
    /// … and how many of them are expected to have been there.
    pub(crate) missed: f64,
    /// The least probability that a stated bout is right, or that one was not there that became one with others.
    pub(crate) least_confidence: f64,
    /// Log probability that each stand is one.
    pub(crate) log_stands: f64,
    pub(crate) levels: Levels,
    /// Seconds walked and seconds run.
    pub(crate) seconds: [usize; 2],
    /// What in the walks and runs does not fit their kind.
    pub(crate) evenness: Evenness,
    /// Mean length of a step in seconds.
    pub(crate) mean_step_s: f64,
    /// Log odds that what was called walking and running are that, by their speeds alone.
    pub(crate) plausible: f64,
}

impl SessionEvidence {
    /// Log odds that the number of runs is right.
    pub(crate) fn log_odds(&self, coefficients: &Coefficients) -> f64 {
        let apart = match self.model() {
            Model::TwoKinds => ONE_LEVEL_NATS_PER_M_PER_S * (self.levels.gap() - ONE_LEVEL_GAP_M_PER_S),
            _ => f64::INFINITY,
        };
        let odds = weighed(&self.terms(), coefficients.of(self.model()));
        odds.min(apart).min(self.plausible - BEYOND_EVEN_NATS)
    }

    /// Which function weighs it.
    pub(crate) fn model(&self) -> Model {
        match self.seconds {
            [_, 0] => Model::WalkAlone,
            [0, _] => Model::RunAlone,
            _ => Model::TwoKinds,
        }
    }

    /// One for the constant; root of the expected number of bouts that are stated and wrong (of two kinds), and of those that
    /// became one with others and were there; log odds of the least sure, where it is more likely right, and that times the
    /// log of the number joined; log share of the rarer kind (of one kind the log odds by speed); log of the number of fast
    /// blocks in walks, and that times log seconds run; log of the mean step, and its square; spread of the runs, and that
    /// times the log of the mean step; log seconds run, log seconds walked; spread of the durations of runs; how much longer
    /// the longest walk between runs is than most; log probability of the stands; log of the number of stands between runs;
    /// how far the fastest long block in a walk lies below the middle of the levels, in gaps, and that times how far the
    /// slowest block in a run lies above it; how much slower than the whole of a run its slowest long block is, in gaps;
    /// whether the heart rate is known, how far it falls in a run and rises in a walk, in tens of bpm; rise times slowing.
    ///
    /// Expected numbers stand in place of the log probability of a whole: the doubts of a session are of a kind, and ten of
    /// them say less than ten times what one says. The products are there since what was doubted once is not doubted twice as
    /// much where a second sign says the same.
    pub(crate) fn terms(&self) -> [f64; SESSION_TERMS] {
        let log = |count: usize| (count.max(1) as f64).ln();
        let long = |seconds: usize, least_s: f64, most_s: f64| {
            ((seconds as f64).clamp(least_s, most_s) / MINUTE_S).ln()
        };
        let root = |expected: f64| expected.min(MOST_DOUBTED).sqrt();
        let [walk_s, run_s] = self.seconds;
        let (wrong, share, walked) = if self.model() == Model::TwoKinds {
            let rarer_s = (walk_s.min(run_s) as f64).min(RARER_S);
            (root(self.wrong), (rarer_s / RARER_S).ln(), long(walk_s, LEAST_WALKED_S, MOST_WALKED_S))
        } else {
            (0.0, self.plausible.clamp(-SPEED_BOUND, SPEED_BOUND), 0.0)
        };
        let even = &self.evenness;
        let gap_m_per_s = self.levels.gap().max(LEAST_GAP_M_PER_S);
        let off = |by_m_per_s: Option<f64>| {
            by_m_per_s.map_or(AT_THE_LEVEL, |by_m_per_s| by_m_per_s / gap_m_per_s).clamp(LEAST_OFF, MOST_OFF)
        };
        let above = off(even.slowest_run_m_per_s.map(|slowest| slowest - self.levels.middle()));
        let below = off(even.fastest_walk_m_per_s.map(|fastest| self.levels.middle() - fastest));
        let slowing = (even.slowing_m_per_s / gap_m_per_s).min(MOST_SLOWING);
        let least = log_odds(self.least_confidence).clamp(0.0, BOUT_BOUND);
        let fast = log(1 + even.fast_walk_blocks);
        let step = self.mean_step_s.max(1.0).ln();
        let spread = even.run_spread_m_per_s.min(WIDEST_SPREAD_M_PER_S);
        let ran = if run_s > 0 { long(run_s, LEAST_RUN_S, MOST_RUN_S) } else { 0.0 };
        let beats = |bpm: f64| bpm.min(MOST_CHANGE_BPM) / TEN_BPM;
        let [fall, rise] = even.heart_rate_bpm.unwrap_or_default().map(beats);
        [
            1.0,
            wrong,
            root(self.missed),
            least,
            least * log(1 + self.joined),
            share,
            fast,
            fast * ran,
            step,
            step * step,
            spread,
            spread * step,
            ran,
            walked,
            even.run_log_spread,
            even.longest_walk_log,
            self.log_stands.max(LEAST_LOG_STANDS),
            log(1 + even.stands_between),
            below,
            below * above,
            slowing,
            f64::from(u8::from(even.heart_rate_bpm.is_some())),
            fall,
            rise,
            rise * slowing,
        ]
    }
}

/// What was found of a bout in a session without good cadence.
#[derive(Clone, Copy, Debug)]
pub(crate) struct BoutEvidence {
    /// Walking or running.
    pub(crate) kind: usize,
    /// The model's probability of a bout of this kind with about this extent.
    pub(crate) probability: f64,
    pub(crate) seconds: usize,
    pub(crate) speed_m_per_s: f64,
    /// How much faster a run is than the walks beside it, or slower a walk than the runs.
    pub(crate) contrast_m_per_s: f64,
    /// The same against the seconds right beside it, as a share of that.
    pub(crate) sharpness: f64,
    /// How much further its inner half is from what is beside it than the whole, as a share of the contrast: 0 where
    /// speed changes at its edges and nowhere else.
    pub(crate) roundness: f64,
    /// Duration of the shorter of the bouts beside it.
    pub(crate) neighbour_s: usize,
    /// Number of others of its kind in the session that last about as long at about that speed.
    pub(crate) alike: usize,
    /// Share of the other seconds of the session that are of its kind.
    pub(crate) kind_share: f64,
    /// Fall of the heart rate in a walk or rise in a run, in bpm; 0 where it is not known or the bout is short.
    pub(crate) heart_rate_change_bpm: f64,
    /// Slow errors of position of the recording.
    pub(crate) slow_noise_m2_per_s: f64,
    /// How many of its edges are changes of kind: with two it may be no bout at all.
    pub(crate) edges: usize,
    /// An edge is at a stand or a gap: people slow down before they stop.
    pub(crate) at_a_stop: bool,
}

impl BoutEvidence {
    /// Probability that the bout has its kind and at least half of its extent right.
    pub(crate) fn confidence(&self, coefficients: &Coefficients) -> f64 {
        let weights = coefficients.of(self.model());
        logistic(self.log_odds(weights).min(most_log_odds(self.kind, self.speed_m_per_s)))
    }

    /// Which function weighs it.
    pub(crate) fn model(&self) -> Model {
        match (self.edges, self.at_a_stop, self.kind) {
            (2, _, WALK) => Model::WalkBetween,
            (2, _, _) => Model::RunBetween,
            (_, true, WALK) => Model::WalkAtAStop,
            (_, true, _) => Model::RunAtAStop,
            (_, false, WALK) => Model::WalkAtAnEnd,
            (_, false, _) => Model::RunAtAnEnd,
        }
    }

    /// What it is weighed from, in the order of [`Term`]; then the products of its function.
    pub(crate) fn terms(&self) -> Vec<f64> {
        let terms = self.plain_terms();
        let products = products_of(self.model()).iter();
        terms.into_iter().chain(products.map(|product| product.of(&terms))).collect()
    }

    fn log_odds(&self, weights: &[f64]) -> f64 {
        let terms = self.plain_terms();
        let (plain, of_products) = weights.split_at(Term::ALL.len().min(weights.len()));
        let products = products_of(self.model()).iter().zip(of_products);
        weighed(&terms, plain) + products.map(|(product, weight)| product.of(&terms) * weight).sum::<f64>()
    }

    fn plain_terms(&self) -> [f64; Term::ALL.len()] {
        let noise = self.slow_noise_m2_per_s.max(LEAST_NOISE_M2_PER_S).ln();
        let [seconds, neighbour_s] = [self.seconds, self.neighbour_s].map(|seconds| seconds.max(1) as f64);
        let length = (seconds.min(LONG_S) / MINUTE_S).ln();
        let pair_s = seconds * neighbour_s / (seconds + neighbour_s);
        let [slow, fast] = USUAL_M_PER_S[self.kind];
        let off = |by: f64| by.clamp(0.0, SPEED_REACH_M_PER_S);
        Term::ALL.map(|term| match term {
            Term::One => 1.0,
            Term::Model => log_odds(self.probability).clamp(-BOUT_BOUND, BOUT_BOUND),
            Term::Noise => noise,
            Term::Short => length.min(0.0),
            Term::Long => length.max(0.0),
            Term::LogContrast => self.contrast_m_per_s.max(LEAST_CONTRAST_M_PER_S).ln(),
            Term::Pair => (pair_s.min(LONG_PAIR_S) / MINUTE_S).ln(),
            Term::Slower => off(slow - self.speed_m_per_s),
            Term::Faster => off(self.speed_m_per_s - fast),
            Term::Alike => (1.0 + self.alike as f64).ln(),
            Term::Sharpness => self.sharpness.clamp(-1.0, 2.0),
            Term::Roundness => self.roundness.clamp(-1.0, 2.0),
            Term::HeartRate => {
                self.heart_rate_change_bpm.clamp(-HEART_RATE_BOUND_BPM, HEART_RATE_BOUND_BPM) / TEN_BPM
            }
            Term::Contrast => self.contrast_m_per_s.clamp(-1.0, 2.0),
            Term::Alone => f64::from(u8::from(self.edges == 0)),
            Term::Share => (self.kind_share + LEAST_KIND_SHARE).ln(),
        })
    }
}

/// Most log odds of a walk or a run at a speed, whatever else speaks for it.
fn most_log_odds(kind: usize, speed_m_per_s: f64) -> f64 {
    let beyond_m_per_s = match kind {
        WALK => SURE_M_PER_S[WALK] - speed_m_per_s,
        _ => speed_m_per_s - SURE_M_PER_S[RUN],
    };
    SURE_NATS_PER_M_PER_S * beyond_m_per_s
}

/// What a stated bout is weighed from once its session is known: one for the constant, its own log odds, and those that the
/// number of runs is right.
pub(crate) fn terms_of_stated(confidence: f64, session_log_odds: f64) -> [f64; 3] {
    [
        1.0,
        log_odds(confidence).clamp(-BOUT_BOUND, BOUT_BOUND),
        session_log_odds.clamp(-SESSION_BOUND, SESSION_BOUND),
    ]
}

/// Probability that a stated walk or run is right, from its own and the log odds of its session.
pub(crate) fn stated_confidence(
    (kind, speed_m_per_s): (usize, f64),
    confidence: f64,
    session_log_odds: f64,
    coefficients: &Coefficients,
) -> f64 {
    let odds = weighed(&terms_of_stated(confidence, session_log_odds), coefficients.of(Model::Stated));
    logistic(odds.min(most_log_odds(kind, speed_m_per_s)))
}

fn weighed(terms: &[f64], weights: &[f64]) -> f64 {
    terms.iter().zip(weights).map(|(term, weight)| term * weight).sum()
}

/// Probability that a stand with so much evidence is one.
pub(crate) fn stand_confidence(evidence_nats: f64, seconds: usize) -> f64 {
    logistic(STAND[0] + STAND[1] * evidence_nats.max(LEAST_NATS).ln() + STAND[2] * log_seconds(seconds))
}

/// Probability of log odds.
pub(crate) fn logistic(log_odds: f64) -> f64 {
    1.0 / (1.0 + (-log_odds).exp())
}

fn log_seconds(seconds: usize) -> f64 {
    (seconds.max(1) as f64).ln()
}

fn log_odds(probability: f64) -> f64 {
    (probability / (1.0 - probability)).ln()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn session() -> SessionEvidence {
        SessionEvidence {
            wrong: 0.05,
            joined: 0,
            missed: 0.0,
            least_confidence: 0.98,
            log_stands: 0.0,
            levels: Levels { walk_m_per_s: 1.4, run_m_per_s: 2.4 },
            seconds: [900, 600],
            evenness: Evenness {
                fast_walk_blocks: 0,
                slowest_run_m_per_s: Some(2.2),
                fastest_walk_m_per_s: Some(1.6),
                slowing_m_per_s: 0.15,
                run_spread_m_per_s: 0.15,
                run_log_spread: 0.05,
                ..Evenness::default()
            },
            mean_step_s: 1.0,
            plausible: 9.0,
        }
    }

    fn odds(session: SessionEvidence) -> f64 {
        session.log_odds(&Coefficients::default())
    }

    #[test]
    fn a_clear_session_is_sure_and_doubt_of_any_kind_takes_from_it() {
        let clear = session();
        assert!(logistic(odds(clear)) > 0.9, "{}", logistic(odds(clear)));
        for doubtful in [
            SessionEvidence { wrong: 1.5, least_confidence: 0.55, ..clear },
            SessionEvidence { joined: 3, missed: 0.8, least_confidence: 0.65, ..clear },
            SessionEvidence { plausible: 0.0, ..clear },
            SessionEvidence { levels: Levels { walk_m_per_s: 1.5, run_m_per_s: 1.95 }, ..clear },
        ] {
            assert!(odds(doubtful) < odds(clear) - 0.1, "{doubtful:?}");
        }
    }

    #[test]
    fn a_session_of_many_paces_seen_at_few_points_leaves_more_to_be_missed() {
        // In doubt enough that no bound hides the rest.
        let even = SessionEvidence { wrong: 0.6, joined: 1, missed: 0.3, ..session() };
        let wide = Evenness { run_spread_m_per_s: 0.5, ..even.evenness };
        let odd = Evenness { run_log_spread: 1.2, ..even.evenness };
        let fast = Evenness { fast_walk_blocks: 6, fastest_walk_m_per_s: Some(2.05), ..even.evenness };
        let swallowed = Evenness { fast_walk_blocks: 2, fastest_walk_m_per_s: Some(2.4), ..even.evenness };
        let slowed = Evenness { slowing_m_per_s: 0.9, ..even.evenness };
        let longer = Evenness { longest_walk_log: 1.2, ..even.evenness };
        for uneven in [
            SessionEvidence { evenness: wide, ..even },
            SessionEvidence { evenness: odd, ..even },
            SessionEvidence { evenness: fast, ..even },
            SessionEvidence { evenness: swallowed, ..even },
            SessionEvidence { evenness: slowed, ..even },
            SessionEvidence { evenness: longer, ..even },
            SessionEvidence { mean_step_s: 5.0, ..even },
        ] {
            assert!(odds(uneven) < odds(even) - 0.5, "{uneven:?}");
        }
        let run = SessionEvidence { seconds: [0, 3600], ..even };
        let dip = Evenness { slowest_run_m_per_s: Some(1.5), slowing_m_per_s: 0.6, ..even.evenness };
        let slowed = SessionEvidence { evenness: dip, ..run };
        assert!(odds(slowed) < odds(run) - 1.0, "{} {}", odds(slowed), odds(run));
        let heart_rate = |fall_bpm| Evenness { heart_rate_bpm: Some([fall_bpm, 0.0]), ..even.evenness };
        let [steady, falling] = [2.0, 14.0].map(|fall| SessionEvidence { evenness: heart_rate(fall), ..run });
        assert!(odds(falling) < odds(steady) - 1.0, "{} {}", odds(falling), odds(steady));
        let settled = SessionEvidence { joined: 2, missed: 0.5, least_confidence: 0.7, ..run };
        assert!(odds(settled) < odds(run) - 1.0, "{} {}", odds(settled), odds(run));
    }

    #[test]
    fn one_kind_alone_is_judged_by_its_speed_and_not_by_a_gap_that_nobody_saw() {
        let nothing_ran = Evenness { slowest_run_m_per_s: None, ..Evenness::default() };
        let walked =
            SessionEvidence { seconds: [1800, 0], evenness: nothing_ran, plausible: 3.0, ..session() };
        let elsewhere = Levels { walk_m_per_s: 1.42, run_m_per_s: 2.6 };
        assert_eq!(odds(SessionEvidence { levels: elsewhere, ..walked }), odds(walked));
        assert!(odds(SessionEvidence { plausible: -1.0, ..walked }) <= -1.0);
        assert!(odds(SessionEvidence { plausible: 1.0, ..walked }) < odds(walked));
    }

    #[test]
    fn nothing_known_of_a_session_is_a_probability_all_the_same() {
        let nothing = SessionEvidence {
            wrong: 900.0,
            joined: 900,
            missed: 900.0,
            least_confidence: 0.0,
            log_stands: f64::NEG_INFINITY,
            seconds: [0, 0],
            evenness: Evenness::default(),
            mean_step_s: 0.0,
            plausible: f64::NEG_INFINITY,
            ..session()
        };
        for seconds in [[0, 0], [0, 1], [1, 0], [1, 1], [1_000_000, 1_000_000]] {
            for plausible in [f64::NEG_INFINITY, 9.0] {
                let confidence = logistic(odds(SessionEvidence { seconds, plausible, ..nothing }));
                assert!((0.0..=1.0).contains(&confidence), "{seconds:?} {confidence}");
            }
        }
    }

    fn bout(kind: usize, speed_m_per_s: f64, seconds: usize) -> BoutEvidence {
        BoutEvidence {
            kind,
            probability: 0.99,
            seconds,
            speed_m_per_s,
            contrast_m_per_s: 1.0,
            sharpness: 1.0,
            roundness: 0.0,
            neighbour_s: 120,
            alike: 3,
            kind_share: 0.4,
            heart_rate_change_bpm: 0.0,
            slow_noise_m2_per_s: 0.3,
            edges: 2,
            at_a_stop: false,
        }
    }

    #[test]
    fn every_function_has_a_weight_for_each_of_its_terms() {
        for model in Model::ALL {
            let terms = match (model, products_of(model).len()) {
                (Model::Stated, _) => terms_of_stated(0.5, 0.0).len(),
                (_, 0) => SESSION_TERMS,
                (_, products) => Term::ALL.len() + products,
            };
            assert_eq!(Coefficients::default().of(model).len(), terms, "{model:?}");
        }
    }

    #[test]
    fn what_is_weighed_is_what_those_who_fit_are_given() {
        for (kind, edges, at_a_stop) in
            [(WALK, 2, false), (RUN, 2, false), (WALK, 1, true), (RUN, 0, true), (RUN, 1, false)]
        {
            let bout = BoutEvidence {
                edges,
                at_a_stop,
                roundness: 0.2,
                heart_rate_change_bpm: 7.0,
                ..bout(kind, 1.8, 45)
            };
            let weights = Coefficients::default().of(bout.model()).to_vec();
            let told = weighed(&bout.terms(), &weights);
            assert!((bout.log_odds(&weights) - told).abs() < 1e-9, "{bout:?}");
        }
    }

    #[test]
    fn a_dip_between_long_runs_is_less_sure_a_walk_than_a_break_among_others() {
        let confidence = |bout: BoutEvidence| bout.confidence(&Coefficients::default());
        let pause = bout(WALK, 1.4, 60);
        assert!(confidence(pause) > 0.95, "{}", confidence(pause));
        let dip = BoutEvidence { alike: 0, kind_share: 0.0, neighbour_s: 900, ..bout(WALK, 1.8, 16) };
        assert!(confidence(dip) < 0.5, "{}", confidence(dip));
    }

    #[test]
    fn no_walk_is_sure_that_is_faster_than_legs_walk_and_no_run_that_is_slower_than_they_run() {
        for edges in 0..3 {
            for at_a_stop in [false, true] {
                for seconds in [20, 60, 600] {
                    let walk = BoutEvidence { edges, at_a_stop, ..bout(WALK, 2.1, seconds) };
                    let run = BoutEvidence { edges, at_a_stop, ..bout(RUN, 1.5, seconds) };
                    for bout in [walk, run] {
                        let confidence = bout.confidence(&Coefficients::default());
                        assert!(confidence < 0.15, "{bout:?} {confidence}");
                    }
                }
            }
        }
    }

    #[test]
    fn a_sure_session_speaks_for_its_bouts_and_not_for_what_legs_cannot_do() {
        let coefficients = Coefficients::default();
        let of = |bout, confidence, session| stated_confidence(bout, confidence, session, &coefficients);
        let walk = (WALK, 1.4);
        assert!(of(walk, 0.8, 3.0) > of(walk, 0.8, 0.0) && of(walk, 0.8, 0.0) > of(walk, 0.8, -3.0));
        assert!(of(walk, 0.9, 1.0) > of(walk, 0.6, 1.0));
        assert_eq!(of(walk, 0.9, 90.0), of(walk, 0.9, f64::INFINITY));
        for bout in [(WALK, 2.1), (RUN, 1.5)] {
            assert!(of(bout, 1.0, f64::INFINITY) < 0.15, "{bout:?}");
        }
        for confidence in [0.0, 0.5, 1.0] {
            for session in [f64::NEG_INFINITY, 0.0, f64::INFINITY] {
                assert!((0.0..=1.0).contains(&of(walk, confidence, session)));
            }
        }
    }

    #[test]
    fn every_confidence_is_a_probability() {
        for probability in [0.0, 0.3, 1.0] {
            for contrast_m_per_s in [-3.0, 0.0, f64::INFINITY] {
                let odd = BoutEvidence { probability, contrast_m_per_s, neighbour_s: 0, ..bout(RUN, 2.0, 0) };
                let confidence = odd.confidence(&Coefficients::default());
                assert!((0.0..=1.0).contains(&confidence), "{confidence}");
            }
        }
        assert!((0.0..=1.0).contains(&stand_confidence(-50.0, 0)));
    }
}

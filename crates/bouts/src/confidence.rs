//! From the probabilities of the model to probabilities that hold against known truth.
//!
//! The model knows only its own kinds of error. How far its word can be trusted depends for a session on the gap between
//! the levels, on slow errors of position, on how rare the rarer kind is and on how short the shortest bout; for a bout on
//! how it stands out from those beside it, and for how long. Logistic functions weigh that in, fitted on invented
//! recordings with known truth (both simulators, both kinds of position error, all three tiers; seeds below 50 000,
//! never those that are reported on).

use crate::levels::Levels;

/// Session with both kinds: constant, and weights of the log probability of the decoded structure, of the log resolution
/// time, of the log share of the rarer kind, of the log level gap, and of the log duration of the shortest bout.
const TWO_KINDS: [f64; 6] = [4.69, 1.96, -0.35, 1.7, 6.47, 0.87];
/// Level gap from which a wider one adds no trust, in m/s: position errors make wide ones.
const WIDE_GAP_M_PER_S: f64 = 1.0;
/// Session with one kind: constant, and weights of the log probability of the decoded structure, of the log of the
/// slow noise, and of the log odds of the kind by its speed.
const ONE_KIND: [f64; 4] = [-3.16, 2.2, -2.93, 2.18];
/// Seconds of the rarer kind from which more of it adds no trust: what is rare in a session may be noise.
const RARER_S: f64 = 300.0;
/// Duration of the shortest bout that adds no trust and takes none, in seconds.
const SHORTEST_S: f64 = 60.0;
/// Bounds of the log odds by speed.
const SPEED_BOUND: f64 = 6.0;
/// Bout between others in a session that is not all right: weights of what [`BoutEvidence::terms`] lists. A sharp contrast
/// is noise where it lasts for seconds, and tells where it lasts for minutes.
const BETWEEN: [f64; 9] = [4.857, 0.307, 0.182, 1.39, 1.06, -0.702, 1.98, 3.643, 2.123];
/// The same for a bout at an end of what was decoded in one go: one of its edges at least is no change of kind.
const AT_AN_END: [f64; 9] = [1.704, 0.223, 0.057, 0.276, 0.843, -0.542, 0.325, 0.0, 0.0];
/// Duration in seconds from which a longer bout is neither more nor less likely …
const LONG_S: f64 = 1200.0;
/// … and from which a longer neighbour does not tell it better.
const LONG_PAIR_S: f64 = 300.0;
/// Duration whose logarithm is 0 there, in seconds.
const MINUTE_S: f64 = 60.0;
/// Least contrast that is told apart from none.
const LEAST_CONTRAST_M_PER_S: f64 = 0.1;
/// Stand: constant, and weights of the log of its evidence and of the log duration.
const STAND: [f64; 3] = [-7.192, 0.887, 3.225];
/// Least evidence in nats that is told apart from none.
const LEAST_NATS: f64 = 0.1;
/// Least noise that is told apart from none, in m²/s.
const LEAST_NOISE_M2_PER_S: f64 = 0.05;
/// Bounds of log odds that go into a logistic function.
const SESSION_BOUND: f64 = 6.0;
const BOUT_BOUND: f64 = 6.907;
/// Least log probability that is told apart from none.
const LEAST_LOG: f64 = -8.0;

/// What was found in a session without good cadence, and how.
#[derive(Clone, Copy, Debug)]
pub(crate) struct SessionEvidence {
    /// The model's log probability that all parts are there with each edge near its place.
    pub(crate) log_structure: f64,
    pub(crate) levels: Levels,
    /// Slow errors of position; over the squared level gap they are the resolution time in seconds.
    pub(crate) slow_noise_m2_per_s: f64,
    /// Seconds of the rarer kind, `None` where only one kind was found.
    pub(crate) rarer_s: Option<usize>,
    /// Duration of the shortest bout.
    pub(crate) shortest_s: usize,
    /// Log odds that what was called walking and running are that, by their speeds alone.
    pub(crate) plausible: f64,
}

impl SessionEvidence {
    /// Log odds that every run is right: their number, and each edge within 10 s.
    pub(crate) fn log_odds(&self) -> f64 {
        let log_structure = self.log_structure.max(LEAST_LOG);
        let gap = self.levels.gap().min(WIDE_GAP_M_PER_S);
        let odds = match self.rarer_s {
            None => {
                ONE_KIND[0]
                    + ONE_KIND[1] * log_structure
                    + ONE_KIND[2] * self.slow_noise_m2_per_s.ln()
                    + ONE_KIND[3] * self.plausible.clamp(-SPEED_BOUND, SPEED_BOUND)
            }
            Some(rarer_s) => {
                TWO_KINDS[0]
                    + TWO_KINDS[1] * log_structure
                    + TWO_KINDS[2] * (self.slow_noise_m2_per_s / gap.powi(2)).ln()
                    + TWO_KINDS[3] * ((rarer_s as f64).clamp(1.0, RARER_S) / RARER_S).ln()
                    + TWO_KINDS[4] * gap.ln()
                    + TWO_KINDS[5] * (self.shortest_s.max(1) as f64 / SHORTEST_S).ln()
            }
        };
        odds.min(self.plausible)
    }
}

/// What was found of a bout in a session without good cadence.
#[derive(Clone, Copy, Debug)]
pub(crate) struct BoutEvidence {
    /// The model's probability of a bout of this kind with about this extent.
    pub(crate) probability: f64,
    pub(crate) seconds: usize,
    /// How much faster a run is than the walks beside it, or slower a walk than the runs.
    pub(crate) contrast_m_per_s: f64,
    /// Duration of the shorter of the bouts beside it.
    pub(crate) neighbour_s: usize,
    /// Both its edges are changes of kind, so that it may be no bout at all.
    pub(crate) between: bool,
}

impl BoutEvidence {
    /// Probability that the bout has its kind and at least half of its extent right: it is where the whole session is, and
    /// may be where not.
    pub(crate) fn confidence(&self, session_log_odds: f64, slow_noise_m2_per_s: f64) -> f64 {
        let session = session_log_odds.clamp(-SESSION_BOUND, SESSION_BOUND);
        let terms = self.terms(session, slow_noise_m2_per_s);
        let weights = if self.between { &BETWEEN } else { &AT_AN_END };
        let otherwise = logistic(terms.iter().zip(weights).map(|(term, weight)| term * weight).sum());
        let all_right = logistic(session);
        all_right + (1.0 - all_right) * otherwise
    }

    /// One for the constant; log odds of the model and of the session; log of the slow noise; log duration and its square;
    /// log contrast; log of the duration that tells it from its neighbours, and that times the log contrast.
    fn terms(&self, session_log_odds: f64, slow_noise_m2_per_s: f64) -> [f64; 9] {
        let model = log_odds(self.probability).clamp(-BOUT_BOUND, BOUT_BOUND);
        let noise = slow_noise_m2_per_s.max(LEAST_NOISE_M2_PER_S).ln();
        let [seconds, neighbour_s] = [self.seconds, self.neighbour_s].map(|seconds| seconds.max(1) as f64);
        let length = (seconds.min(LONG_S) / MINUTE_S).ln();
        let pair_s = seconds * neighbour_s / (seconds + neighbour_s);
        let pair = (pair_s.min(LONG_PAIR_S) / MINUTE_S).ln();
        let contrast = self.contrast_m_per_s.max(LEAST_CONTRAST_M_PER_S).ln();
        [1.0, model, session_log_odds, noise, length, length * length, contrast, pair, pair * contrast]
    }
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

    #[test]
    fn confidence_falls_with_noise_with_a_narrow_gap_with_a_rare_kind_and_with_a_short_bout() {
        let clear = SessionEvidence {
            log_structure: -0.05,
            levels: Levels { walk_m_per_s: 1.4, run_m_per_s: 2.4 },
            slow_noise_m2_per_s: 0.3,
            rarer_s: Some(600),
            shortest_s: 60,
            plausible: 9.0,
        };
        let narrow = Levels { walk_m_per_s: 1.5, run_m_per_s: 1.9 };
        assert!(logistic(clear.log_odds()) > 0.9);
        for doubtful in [
            SessionEvidence { slow_noise_m2_per_s: 1.2, ..clear },
            SessionEvidence { levels: narrow, ..clear },
            SessionEvidence { rarer_s: Some(20), ..clear },
            SessionEvidence { log_structure: -2.0, ..clear },
            SessionEvidence { shortest_s: 15, ..clear },
            SessionEvidence { plausible: 0.0, ..clear },
        ] {
            assert!(doubtful.log_odds() < clear.log_odds(), "{doubtful:?}");
        }
    }

    #[test]
    fn one_kind_alone_is_judged_by_its_speed_and_not_by_a_gap_that_nobody_saw() {
        let walked = SessionEvidence {
            log_structure: -0.01,
            levels: Levels { walk_m_per_s: 1.42, run_m_per_s: 2.15 },
            slow_noise_m2_per_s: 0.3,
            rarer_s: None,
            shortest_s: 1800,
            plausible: 3.0,
        };
        assert!(logistic(walked.log_odds()) > 0.9);
        let brisk = SessionEvidence { plausible: 0.5, slow_noise_m2_per_s: 0.8, ..walked };
        assert!(logistic(brisk.log_odds()) < 0.5);
        let elsewhere = Levels { walk_m_per_s: 1.42, run_m_per_s: 2.6 };
        assert_eq!(SessionEvidence { levels: elsewhere, ..walked }.log_odds(), walked.log_odds());
    }

    #[test]
    fn every_confidence_is_a_probability() {
        for probability in [0.0, 0.3, 1.0] {
            for odds in [f64::NEG_INFINITY, -3.0, 0.0, f64::INFINITY] {
                let bout = BoutEvidence {
                    probability,
                    seconds: 0,
                    contrast_m_per_s: 0.0,
                    neighbour_s: 0,
                    between: false,
                };
                let confidence = bout.confidence(odds, 0.0);
                assert!((0.0..=1.0).contains(&confidence), "{confidence}");
            }
        }
        assert!((0.0..=1.0).contains(&stand_confidence(-50.0, 0)));
    }
}

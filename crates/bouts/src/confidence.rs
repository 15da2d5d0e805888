//! From the probabilities of the model to probabilities that hold against known truth.
//!
//! The model knows only its own kinds of error. How far its word can be trusted depends on the gap between the levels, on
//! slow errors of position and on how rare the rarer kind is; logistic functions weigh that in, fitted on invented
//! recordings with known truth (both simulators, both kinds of position error, all three tiers; seeds 1–700 for
//! sessions, 1–250 for bouts, never those that are reported on).

use crate::levels::Levels;

/// Session: constant, and weights of the log probability of the decoded structure, of the log resolution time, of the log
/// share of the rarer kind, and of the log level gap.
const SESSION: [f64; 5] = [4.38, 2.12, -0.62, 2.81, 6.43];
/// Seconds of the rarer kind from which more of it adds no trust: what is rare in a session may be noise.
const RARER_S: f64 = 300.0;
/// Bout: constant, and weights of the log odds of the model, of those of the session, and of the log duration.
const BOUT: [f64; 4] = [-1.354, 0.234, 0.342, 0.751];
/// Stand: constant, and weights of the log of its evidence and of the log duration.
const STAND: [f64; 3] = [-7.192, 0.887, 3.225];
/// Least evidence in nats that is told apart from none.
const LEAST_NATS: f64 = 0.1;
/// Bounds of log odds that go into a logistic function.
const SESSION_BOUND: f64 = 6.0;
const BOUT_BOUND: f64 = 6.907;
/// Least log probability that is told apart from none.
const LEAST_LOG: f64 = -8.0;

/// Log odds that every run of a session without good cadence is right: their number, and each edge within 10 s.
///
/// `log_structure` is the model's log probability that all parts are there with each edge near its place;
/// `slow_noise_m2_per_s` over the squared level gap is the resolution time in seconds; `rarer_s` are the seconds of
/// the rarer kind, `None` where only one kind was found.
pub(crate) fn session_log_odds(
    log_structure: f64,
    levels: Levels,
    slow_noise_m2_per_s: f64,
    rarer_s: Option<usize>,
) -> f64 {
    let resolution_s = slow_noise_m2_per_s / levels.gap().powi(2);
    let rarer = rarer_s.map_or(1.0, |seconds| (seconds as f64).clamp(1.0, RARER_S) / RARER_S);
    SESSION[0]
        + SESSION[1] * log_structure.max(LEAST_LOG)
        + SESSION[2] * resolution_s.ln()
        + SESSION[3] * rarer.ln()
        + SESSION[4] * levels.gap().ln()
}

/// Probability that a bout of this length has its kind and at least half of its extent right.
pub(crate) fn bout_confidence(probability: f64, session_log_odds: f64, seconds: usize) -> f64 {
    let model = log_odds(probability).clamp(-BOUT_BOUND, BOUT_BOUND);
    let session = session_log_odds.clamp(-SESSION_BOUND, SESSION_BOUND);
    logistic(BOUT[0] + BOUT[1] * model + BOUT[2] * session + BOUT[3] * log_seconds(seconds))
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
    fn confidence_falls_with_noise_and_with_a_narrow_gap_and_with_a_lone_short_bout() {
        let wide = Levels { walk_m_per_s: 1.4, run_m_per_s: 2.4 };
        let narrow = Levels { walk_m_per_s: 1.5, run_m_per_s: 1.9 };
        let clear = session_log_odds(-0.05, wide, 0.3, Some(600));
        assert!(clear > session_log_odds(-0.05, wide, 1.2, Some(600)));
        assert!(clear > session_log_odds(-0.05, narrow, 0.3, Some(600)));
        assert!(clear > session_log_odds(-0.05, wide, 0.3, Some(20)));
        assert!(clear > session_log_odds(-2.0, wide, 0.3, Some(600)));
        assert!(logistic(clear) > 0.9);
    }

    #[test]
    fn every_confidence_is_a_probability() {
        for probability in [0.0, 0.3, 1.0] {
            for odds in [f64::NEG_INFINITY, -3.0, 0.0, f64::INFINITY] {
                let confidence = bout_confidence(probability, odds, 0);
                assert!((0.0..=1.0).contains(&confidence), "{confidence}");
            }
        }
        assert!((0.0..=1.0).contains(&stand_confidence(-50.0, 0)));
    }
}

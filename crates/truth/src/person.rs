//! The one who runs: levels of pace, cadence and heart rate that stay the same over a session.

use crate::Random;

/// Ranges that a person's levels are drawn from, uniformly.
#[derive(Clone, Debug, PartialEq)]
pub struct PersonSettings {
    /// Usual running speed in m/s.
    pub run_speed_m_per_s: (f64, f64),
    /// Usual walking speed in m/s.
    pub walk_speed_m_per_s: (f64, f64),
    /// Running cadence of both legs in steps per minute. Running is found at 148–165 at easy speeds; people change
    /// from walk to run near 140 (Ducharme and others 2021, PMC8629136).
    pub run_cadence_spm: (f64, f64),
    /// Walking cadence of both legs in steps per minute; walking stays below 130.
    pub walk_cadence_spm: (f64, f64),
}

impl Default for PersonSettings {
    /// Beginners of medium difficulty; own choice.
    fn default() -> Self {
        Self {
            run_speed_m_per_s: (2.0, 2.4),
            walk_speed_m_per_s: (1.35, 1.55),
            run_cadence_spm: (148.0, 165.0),
            walk_cadence_spm: (105.0, 122.0),
        }
    }
}

/// One person's usual levels.
#[derive(Clone, Debug, PartialEq)]
pub struct Person {
    /// Running speed in m/s.
    pub run_speed_m_per_s: f64,
    /// Walking speed in m/s.
    pub walk_speed_m_per_s: f64,
    /// Running cadence of both legs in steps per minute.
    pub run_cadence_spm: f64,
    /// Walking cadence of both legs in steps per minute.
    pub walk_cadence_spm: f64,
    /// Heart rate at rest in beats per minute.
    pub rest_heart_rate_bpm: f64,
    /// Steady heart rate while walking.
    pub walk_heart_rate_bpm: f64,
    /// Steady heart rate while running at the usual speed.
    pub run_heart_rate_bpm: f64,
}

impl Person {
    /// A person by chance. Heart rates are an own choice: rest 58–76, walking 30–45 and running 75–100 above it.
    pub fn draw(settings: &PersonSettings, random: &mut Random) -> Self {
        let rest_heart_rate_bpm = random.between((58.0, 76.0));
        Self {
            run_speed_m_per_s: random.between(settings.run_speed_m_per_s),
            walk_speed_m_per_s: random.between(settings.walk_speed_m_per_s),
            run_cadence_spm: random.between(settings.run_cadence_spm),
            walk_cadence_spm: random.between(settings.walk_cadence_spm),
            rest_heart_rate_bpm,
            walk_heart_rate_bpm: rest_heart_rate_bpm + random.between((30.0, 45.0)),
            run_heart_rate_bpm: rest_heart_rate_bpm + random.between((75.0, 100.0)),
        }
    }
}

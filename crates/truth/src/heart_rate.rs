//! Heart rate that follows the effort late and climbs over the session.

use boutwise_bouts::Kind;

use crate::pace::{STEP_S, levels, wandering};
use crate::stretch::Stretch;
use crate::{Person, Random};

/// How the heart follows. All values are own choices inside what is commonly seen.
#[derive(Clone, Debug, PartialEq)]
pub struct HeartRateSettings {
    /// Time constant of the rise in seconds.
    pub rise_s: f64,
    /// Range of the time constant of the fall in seconds; drawn once per session.
    pub fall_s: (f64, f64),
    /// Standard deviation of the wandering around it, in beats per minute.
    pub spread_bpm: f64,
    /// Climb over an hour of running in beats per minute, for at most two hours.
    pub climb_per_h_bpm: f64,
}

impl Default for HeartRateSettings {
    fn default() -> Self {
        Self { rise_s: 25.0, fall_s: (40.0, 40.0), spread_bpm: 1.5, climb_per_h_bpm: 12.0 }
    }
}

impl HeartRateSettings {
    /// A heart that falls by some 13 bpm (2–26) in a walk of 30–60 s and drifts (seen in open recordings).
    pub(crate) fn as_recorded() -> Self {
        Self { rise_s: 35.0, fall_s: (60.0, 400.0), spread_bpm: 2.5, climb_per_h_bpm: 15.0 }
    }
}

/// How long a heart climbs in running, in seconds (own choice: two hours, so that no day of running ends beyond what hearts do).
const CLIMBS_S: f64 = 7200.0;

/// Beats per minute on the grid.
pub(crate) fn heart_rate_bpm(
    stretches: &[Stretch],
    person: &Person,
    settings: &HeartRateSettings,
    random: &mut Random,
) -> Vec<f64> {
    let target = levels(stretches, |stretch| match stretch.kind {
        Kind::Run => person.run_heart_rate_bpm,
        Kind::Walk => person.walk_heart_rate_bpm,
        Kind::Stand | Kind::Gap => person.rest_heart_rate_bpm + 15.0,
    });
    let noise = wandering(target.len(), settings.spread_bpm, 15.0, random);
    let fall_s = random.between(settings.fall_s);
    let mut shown = person.rest_heart_rate_bpm + 15.0;
    let mut run_s = 0.0;
    target
        .iter()
        .zip(noise)
        .map(|(&target, noise)| {
            if target >= person.run_heart_rate_bpm {
                run_s = (run_s + STEP_S).min(CLIMBS_S);
            }
            let aim = target + settings.climb_per_h_bpm * run_s / 3600.0;
            let time_s = if aim > shown { settings.rise_s } else { fall_s };
            shown += (aim - shown) * (1.0 - (-STEP_S / time_s).exp());
            shown + noise
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::PersonSettings;

    #[test]
    fn a_heart_climbs_for_two_hours_and_then_no_more() {
        let person = Person::draw(&PersonSettings::default(), &mut Random::new(1));
        let settings = HeartRateSettings { spread_bpm: 0.0, ..HeartRateSettings::default() };
        let day = [Stretch { kind: Kind::Run, duration_s: 86_400.0 }];
        let shown = heart_rate_bpm(&day, &person, &settings, &mut Random::new(2));
        let most = shown.iter().copied().fold(0.0, f64::max);
        assert!((most - person.run_heart_rate_bpm - 2.0 * settings.climb_per_h_bpm).abs() < 0.1, "{most}");
    }
}

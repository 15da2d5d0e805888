//! A step counter: late, now and then silent, sometimes counting one leg only.

use boutwise_bouts::Kind;

use crate::pace::{STEP_S, levels, ramped, wandering};
use crate::stretch::Stretch;
use crate::{Person, Random, Simulator};

/// How a step counter errs.
#[derive(Clone, Debug, PartialEq)]
pub struct CadenceSettings {
    /// Standard deviation around the person's level, in steps per minute.
    pub spread_spm: f64,
    /// Range of the lag behind the movement, in seconds; drawn once per session.
    pub lag_s: (f64, f64),
    /// Share of the points without a value.
    pub dropout_share: f64,
    /// Range of the length of a dropout, in seconds. Own choice.
    pub dropout_s: (f64, f64),
    /// Share of the files that count one leg.
    pub per_leg_share: f64,
}

impl Default for CadenceSettings {
    fn default() -> Self {
        Self {
            spread_spm: 3.0,
            lag_s: (1.0, 3.0),
            dropout_share: 0.03,
            dropout_s: (1.0, 8.0),
            per_leg_share: 0.5,
        }
    }
}

/// Share of the variance that wanders slowly; the rest is new with each step of the grid. Own choice.
const SLOW_SHARE: f64 = 0.5;
/// Correlation time of the slow part in seconds. Own choice.
const SLOW_S: f64 = 10.0;
/// Below this the counter shows 0: nobody steps so slowly. Own choice.
const STILL_SPM: f64 = 20.0;

/// Steps of both legs per minute on the grid as the counter shows them; 0 while standing, NaN in a dropout.
pub(crate) fn cadence_spm(
    stretches: &[Stretch],
    person: &Person,
    settings: &CadenceSettings,
    simulator: Simulator,
    random: &mut Random,
) -> Vec<f64> {
    let target = levels(stretches, |stretch| match stretch.kind {
        Kind::Run => person.run_cadence_spm,
        Kind::Walk => person.walk_cadence_spm,
        Kind::Stand | Kind::Gap => 0.0,
    });
    let true_spm = ramped(&target, 2.0);
    let lag_s = random.between(settings.lag_s);
    let late = match simulator {
        Simulator::First => delayed(&true_spm, lag_s),
        Simulator::Second => followed(&true_spm, lag_s),
    };
    let slow = wandering(late.len(), settings.spread_spm * SLOW_SHARE.sqrt(), SLOW_S, random);
    let quick_spm = settings.spread_spm * (1.0 - SLOW_SHARE).sqrt();
    let mut shown: Vec<f64> = late
        .iter()
        .zip(slow)
        .map(|(&level, slow)| if level < STILL_SPM { 0.0 } else { level + slow + random.normal(quick_spm) })
        .collect();
    drop_out(&mut shown, settings, simulator, random);
    shown
}

fn delayed(values: &[f64], lag_s: f64) -> Vec<f64> {
    let steps = (lag_s / STEP_S).round() as usize;
    (0..values.len()).map(|index| values[index.saturating_sub(steps)]).collect()
}

/// A counter that averages: first-order, with the lag as its time constant.
fn followed(values: &[f64], lag_s: f64) -> Vec<f64> {
    let keep = (-STEP_S / lag_s.max(0.1)).exp();
    let mut shown = values.first().copied().unwrap_or(0.0);
    values
        .iter()
        .map(|value| {
            shown = keep * shown + (1.0 - keep) * value;
            shown
        })
        .collect()
}

fn drop_out(shown: &mut [f64], settings: &CadenceSettings, simulator: Simulator, random: &mut Random) {
    let range_s = match simulator {
        Simulator::First => settings.dropout_s,
        // Mostly single points, and now and then a long silence.
        Simulator::Second => (STEP_S, 2.0 * STEP_S),
    };
    let mut left = (settings.dropout_share * shown.len() as f64) as usize;
    if simulator == Simulator::Second && random.chance(0.5) {
        let long = ((random.between((10.0, 30.0)) / STEP_S) as usize).min(left);
        silence(shown, long, random);
        left -= long;
    }
    while left > 0 {
        let length = ((random.between(range_s) / STEP_S).ceil() as usize).clamp(1, left);
        silence(shown, length, random);
        left -= length;
    }
}

fn silence(shown: &mut [f64], length: usize, random: &mut Random) {
    let start = random.whole(0, shown.len().saturating_sub(length));
    let end = (start + length).min(shown.len());
    shown[start..end].fill(f64::NAN);
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::PersonSettings;

    #[test]
    fn cadence_shows_level_lag_and_dropouts_as_asked() {
        let stretches =
            [(Kind::Walk, 600.0), (Kind::Run, 600.0)].map(|(kind, duration_s)| Stretch { kind, duration_s });
        for simulator in [Simulator::First, Simulator::Second] {
            let mut random = Random::new(3);
            let person = Person::draw(&PersonSettings::default(), &mut random);
            let settings = CadenceSettings { lag_s: (3.0, 3.0), ..Default::default() };
            let shown = cadence_spm(&stretches, &person, &settings, simulator, &mut random);
            let silent = shown.iter().filter(|s| s.is_nan()).count() as f64 / shown.len() as f64;
            assert!((0.015..=0.0301).contains(&silent), "{silent}");
            let walking: Vec<f64> = shown[..1150].iter().copied().filter(|s| !s.is_nan()).collect();
            let mean = walking.iter().sum::<f64>() / walking.len() as f64;
            assert!((mean - person.walk_cadence_spm).abs() < 1.0);
            let middle = 0.5 * (person.run_cadence_spm + person.walk_cadence_spm);
            let settings = CadenceSettings { dropout_share: 0.0, ..settings };
            let shown = cadence_spm(&stretches, &person, &settings, simulator, &mut random);
            let crossing = shown.iter().position(|&s| s > middle).unwrap_or(0) as f64 * STEP_S;
            assert!((600.0..606.0).contains(&crossing), "{crossing}");
        }
    }
}

//! What slows a runner on the way: hills, turns and crossings, and paces that change without a walk.
//!
//! The tiers have none of it. The sizes are what open recordings of real runs show beside their cadence.

use boutwise_bouts::Kind;

use crate::Random;
use crate::pace::{STEP_S, levels, ramped};
use crate::stretch::Stretch;

/// How often and how much the way slows a person.
#[derive(Clone, Debug, PartialEq)]
pub struct GoingSettings {
    /// Range of the length of a stretch of one pace, in seconds. Own choice.
    pub pace_s: (f64, f64),
    /// Range of a stretch's pace as a share of the person's running level (seen in open recordings).
    pub pace_share: (f64, f64),
    /// Share of the sessions with hills. Own choice.
    pub hilly_share: f64,
    /// Most climbs or descents in such a session. Own choice.
    pub most_hills: usize,
    /// Range of their length in seconds (seen in open recordings).
    pub hill_s: (f64, f64),
    /// Range of their gradient as a share (seen in open recordings: 6–18 %).
    pub gradient: (f64, f64),
    /// Range of running speed uphill in m/s (seen in open recordings: 1.6–2.1).
    pub climb_m_per_s: (f64, f64),
    /// Range of speed downhill as a share of what it were on the flat. Own choice.
    pub descent_share: (f64, f64),
    /// Range of the number of dips in an hour of running: turns, crossings, others on the way; drawn once per session. Own
    /// choice.
    pub dips_per_h: (f64, f64),
    /// Range of their length in seconds (seen in open recordings: up to 26).
    pub dip_s: (f64, f64),
    /// Range of their speed in m/s (seen in open recordings).
    pub dip_m_per_s: (f64, f64),
    /// Share of the times that a runner slows down before a stop, and of those that one sets off slowly after it or at the
    /// very start. Own choice.
    pub slow_beside_stop_share: f64,
    /// Length of the changes of speed that they bring, in seconds. Own choice.
    pub ramp_s: (f64, f64),
}

impl Default for GoingSettings {
    fn default() -> Self {
        Self {
            pace_s: (120.0, 900.0),
            pace_share: (0.85, 1.12),
            hilly_share: 0.5,
            most_hills: 6,
            hill_s: (20.0, 180.0),
            gradient: (0.06, 0.18),
            climb_m_per_s: (1.6, 2.1),
            descent_share: (0.8, 1.2),
            dips_per_h: (0.0, 10.0),
            dip_s: (6.0, 26.0),
            dip_m_per_s: (1.2, 2.2),
            slow_beside_stop_share: 0.4,
            ramp_s: (2.0, 5.0),
        }
    }
}

/// Slows `speed_m_per_s` as the way does and puts its hills into `gradients`, both on the grid.
pub(crate) fn slow(
    speed_m_per_s: &mut [f64],
    gradients: &mut [f64],
    stretches: &[Stretch],
    settings: &GoingSettings,
    random: &mut Random,
) {
    let running: Vec<bool> = levels(stretches, |s| f64::from(u8::from(s.kind == Kind::Run)))
        .iter()
        .map(|&run| run > 0.5)
        .collect();
    let mut factor = vec![1.0; speed_m_per_s.len()];
    let mut at = 0;
    while at < factor.len() {
        let end = (at + (random.between(settings.pace_s) / STEP_S) as usize).min(factor.len());
        let share = random.between(settings.pace_share);
        (at..end).filter(|&step| running[step]).for_each(|step| factor[step] = share);
        at = end;
    }
    if random.chance(settings.hilly_share) {
        for _ in 0..random.whole(1, settings.most_hills) {
            climb_or_descend(speed_m_per_s, &mut factor, gradients, &running, settings, random);
        }
    }
    let run_h = running.iter().filter(|&&run| run).count() as f64 * STEP_S / 3600.0;
    let mut dip = |start: usize, steps: usize, random: &mut Random| {
        let aim_m_per_s = random.between(settings.dip_m_per_s);
        for step in start..(start + steps).min(factor.len()) {
            if running[step] {
                factor[step] = factor[step].min(aim_m_per_s / speed_m_per_s[step].max(0.1));
            }
        }
    };
    let dip_steps = |random: &mut Random| (random.between(settings.dip_s) / STEP_S) as usize;
    for _ in 0..(random.between(settings.dips_per_h) * run_h).round() as usize {
        let steps = dip_steps(random);
        dip(random.whole(0, running.len().saturating_sub(steps)), steps, random);
    }
    let mut end_s = 0.0;
    for (index, stretch) in stretches.iter().enumerate() {
        let stops = |index: usize| {
            stretches.get(index).is_none_or(|stretch| matches!(stretch.kind, Kind::Stand | Kind::Gap))
        };
        let (start, end) = ((end_s / STEP_S) as usize, ((end_s + stretch.duration_s) / STEP_S) as usize);
        end_s += stretch.duration_s;
        if stretch.kind == Kind::Run
            && stops(index.wrapping_sub(1))
            && random.chance(settings.slow_beside_stop_share)
        {
            let steps = dip_steps(random);
            dip(start, steps.min(end - start), random);
        }
        if stretch.kind == Kind::Run && stops(index + 1) && random.chance(settings.slow_beside_stop_share) {
            let steps = dip_steps(random);
            dip(end.saturating_sub(steps).max(start), steps.min(end - start), random);
        }
    }
    let factor = ramped(&factor, random.between(settings.ramp_s));
    speed_m_per_s.iter_mut().zip(factor).for_each(|(speed, factor)| *speed *= factor);
}

fn climb_or_descend(
    speed_m_per_s: &[f64],
    factor: &mut [f64],
    gradients: &mut [f64],
    running: &[bool],
    settings: &GoingSettings,
    random: &mut Random,
) {
    let steps = (random.between(settings.hill_s) / STEP_S) as usize;
    let start = random.whole(0, factor.len().saturating_sub(steps));
    let up = random.chance(0.5);
    let gradient = random.between(settings.gradient);
    let climb_m_per_s = random.between(settings.climb_m_per_s);
    let descent_share = random.between(settings.descent_share);
    for step in start..(start + steps).min(factor.len()) {
        gradients[step] = if up { gradient } else { -gradient };
        factor[step] = match (up, running[step]) {
            (true, true) => (climb_m_per_s / speed_m_per_s[step].max(0.1)).min(1.0),
            // Walking uphill is slower too: half as much as the gradient in tenths. Own choice.
            (true, false) => 1.0 - gradient,
            (false, _) => descent_share.max(if running[step] { 0.0 } else { 0.95 }),
        };
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hills_and_dips_slow_runs_and_never_stop_them_nor_speed_up_walks() {
        let stretches =
            [(Kind::Walk, 300.0), (Kind::Run, 1800.0)].map(|(kind, duration_s)| Stretch { kind, duration_s });
        let flat = levels(&stretches, |s| if s.kind == Kind::Run { 2.6 } else { 1.4 });
        let mut slowest: f64 = 9.0;
        for seed in 0..40 {
            let (mut speed, mut gradients) = (flat.clone(), vec![0.0; flat.len()]);
            slow(&mut speed, &mut gradients, &stretches, &GoingSettings::default(), &mut Random::new(seed));
            assert!(speed[..590].iter().all(|&speed| (1.0..1.7).contains(&speed)));
            assert!(speed[620..].iter().all(|&speed| (1.1..3.6).contains(&speed)));
            assert!(gradients.iter().all(|gradient| gradient.abs() <= 0.18));
            slowest = speed[620..].iter().copied().fold(slowest, f64::min);
        }
        assert!(slowest < 1.4, "{slowest}");
    }
}

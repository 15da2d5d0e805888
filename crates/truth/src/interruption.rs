//! Standing, pauses and lost signal: what breaks into a session besides its plan.

use boutwise_bouts::Kind;

use crate::Random;
use crate::stretch::Stretch;

/// How often sessions are broken into, and for how long.
#[derive(Clone, Debug, PartialEq)]
pub struct InterruptionSettings {
    /// Share of the sessions with one or two stops.
    pub stop_share: f64,
    /// Length of a stop in seconds.
    pub stop_s: (f64, f64),
    /// Share of the sessions with one or two pauses of the device: no points, at most a stroll meanwhile.
    pub pause_share: f64,
    /// Length of a pause in seconds.
    pub pause_s: (f64, f64),
    /// Share of the stops and pauses that fall into a run; the others fall into a walk. Own choice.
    pub in_run_share: f64,
    /// Share of the sessions with a stretch whose points have no position (tunnel, trees).
    pub tunnel_share: f64,
    /// Length of such a stretch in seconds. Own choice.
    pub tunnel_s: (f64, f64),
}

impl Default for InterruptionSettings {
    /// None at all.
    fn default() -> Self {
        Self {
            stop_share: 0.0,
            stop_s: (10.0, 30.0),
            pause_share: 0.0,
            pause_s: (30.0, 90.0),
            in_run_share: 0.4,
            tunnel_share: 0.0,
            tunnel_s: (20.0, 60.0),
        }
    }
}

/// What is left of a bout on either side of an interruption, so that both sides are bouts. Own choice.
const MARGIN_S: f64 = 20.0;

/// Puts stops and pauses into the stretches; the clock of the plan runs on, so the bout hit gets shorter.
pub(crate) fn interrupt(stretches: &mut Vec<Stretch>, settings: &InterruptionSettings, random: &mut Random) {
    let both = [
        (Kind::Stand, settings.stop_share, settings.stop_s),
        (Kind::Gap, settings.pause_share, settings.pause_s),
    ];
    for (kind, share, range_s) in both {
        if random.chance(share) {
            for _ in 0..random.whole(1, 2) {
                let host = if random.chance(settings.in_run_share) { Kind::Run } else { Kind::Walk };
                let duration_s = random.between(range_s);
                put_in(stretches, Stretch { kind, duration_s }, host, random);
            }
        }
    }
}

fn put_in(stretches: &mut Vec<Stretch>, interruption: Stretch, host: Kind, random: &mut Random) {
    let needed_s = interruption.duration_s + 2.0 * MARGIN_S;
    let hosts: Vec<usize> = (0..stretches.len())
        .filter(|&i| stretches[i].kind == host && stretches[i].duration_s > needed_s)
        .collect();
    if hosts.is_empty() {
        return;
    }
    let index = *random.pick(&hosts);
    let kind = stretches[index].kind;
    let rest_s = stretches[index].duration_s - interruption.duration_s;
    let before_s = random.between((MARGIN_S, rest_s - MARGIN_S));
    let before = Stretch { kind, duration_s: before_s };
    let after = Stretch { kind, duration_s: rest_s - before_s };
    stretches.splice(index..=index, [before, interruption, after]);
}

/// Length of a stand before or after everything else, in seconds (seen in open recordings).
const END_STAND_S: (f64, f64) = (10.0, 90.0);

/// Puts a stand before the first stretch and one after the last, each with this chance.
pub(crate) fn stand_at_the_ends(stretches: &mut Vec<Stretch>, share: f64, random: &mut Random) {
    let mut stand = || {
        let duration_s = random.between(END_STAND_S).round();
        random.chance(share).then_some(Stretch { kind: Kind::Stand, duration_s })
    };
    if let Some(before) = stand() {
        stretches.insert(0, before);
    }
    stretches.extend(stand());
}

/// Seconds between which the points have no position.
pub(crate) fn tunnel(
    total_s: f64,
    settings: &InterruptionSettings,
    random: &mut Random,
) -> Option<(f64, f64)> {
    random.chance(settings.tunnel_share).then(|| {
        let start_s = random.between((0.1 * total_s, 0.8 * total_s));
        (start_s, start_s + random.between(settings.tunnel_s))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_interruption_keeps_the_total_and_leaves_bouts_on_both_sides() {
        let settings = InterruptionSettings { stop_share: 1.0, pause_share: 1.0, ..Default::default() };
        for seed in 0..50 {
            let mut stretches = vec![
                Stretch { kind: Kind::Walk, duration_s: 300.0 },
                Stretch { kind: Kind::Run, duration_s: 600.0 },
            ];
            interrupt(&mut stretches, &settings, &mut Random::new(seed));
            assert!(stretches.iter().any(|s| s.kind == Kind::Stand));
            assert!(stretches.iter().any(|s| s.kind == Kind::Gap));
            assert!((stretches.iter().map(|s| s.duration_s).sum::<f64>() - 900.0).abs() < 1e-9);
            assert!(stretches.iter().all(|s| s.duration_s >= 10.0));
        }
    }
}

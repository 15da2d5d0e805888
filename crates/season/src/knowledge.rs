//! How much a recording knows of its outing: which of several that were made at once counts.

use boutwise_bouts::Bout;

/// Share of its time in which a recording must have cadence, or heart rate, to know of it. Own choice.
const KNOWN_SHARE: f64 = 0.5;
/// Share of another recording's length from which one is nearly as long: one that is shorter misses a part of the outing,
/// however much it knows of the rest. Own choice.
const NEARLY_AS_LONG_SHARE: f64 = 0.8;
/// Steps in which confidence is compared: what differs by less says nothing. Own choice.
const CONFIDENCE_STEPS: f64 = 10.0;

/// What a recording knows of its outing; of two the larger knows more. One without way and steps knows nothing of it. Cadence
/// tells running from walking best, then comes how sure the bouts are; heart rate judges nothing, and is only better than none.
///
/// ```
/// use boutwise_season::Knowledge;
/// use boutwise_bouts::{Bout, Kind};
/// let phone = [Bout::new(Kind::Run, 0.0, 600.0)];
/// let watch = [Bout { cadence_spm: Some(158.0), ..phone[0].clone() }];
/// assert!(Knowledge::of(&watch, true, 0.9) > Knowledge::of(&phone, true, 1.0));
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Knowledge {
    resolvable: bool,
    has_movement: bool,
    has_cadence: bool,
    confidence: u8,
    has_heart_rate: bool,
}

impl Knowledge {
    /// What the bouts of a recording know, whether running and walking can be told apart in it, and how surely (0 to 1).
    pub fn of(bouts: &[Bout], resolvable: bool, confidence: f64) -> Self {
        let seconds = |bouts: &mut dyn Iterator<Item = &Bout>| bouts.map(Bout::duration_s).sum::<f64>();
        let all_s = seconds(&mut bouts.iter());
        let is_known = |value: fn(&Bout) -> Option<f64>| {
            seconds(&mut bouts.iter().filter(|bout| value(bout).is_some())) > KNOWN_SHARE * all_s
        };
        Self {
            resolvable,
            has_movement: resolvable || bouts.iter().any(shows_movement),
            has_cadence: is_known(|bout| bout.cadence_spm),
            confidence: (CONFIDENCE_STEPS * confidence) as u8,
            has_heart_rate: is_known(|bout| bout.heart_rate_mean_bpm),
        }
    }

    /// Whether a recording of one length misses a part of the outing that a longer one, which knows so much of it, holds, in
    /// seconds. Of one that shows no movement nothing is missed.
    pub fn misses_part(one_s: f64, other_s: f64, other: Self) -> bool {
        other.has_movement && one_s < NEARLY_AS_LONG_SHARE * other_s
    }
}

/// Whether a bout has way or steps, without which nothing tells what was done in it.
fn shows_movement(bout: &Bout) -> bool {
    bout.distance_m.is_some_and(|distance_m| distance_m > 0.0) || bout.cadence_spm.is_some()
}

#[cfg(test)]
mod tests {
    use boutwise_bouts::Kind;

    use super::*;

    #[test]
    fn cadence_outranks_confidence_and_confidence_outranks_heart_rate() {
        let bout = |end_s: f64, cadence_spm: Option<f64>, heart_rate_mean_bpm: Option<f64>| Bout {
            cadence_spm,
            heart_rate_mean_bpm,
            ..Bout::new(Kind::Run, 0.0, end_s)
        };
        let plain = [bout(600.0, None, None)];
        let stepped = [bout(600.0, Some(158.0), None)];
        let beating = [bout(600.0, None, Some(140.0))];
        let of = |bouts: &[Bout], confidence: f64| Knowledge::of(bouts, true, confidence);
        assert!(of(&stepped, 0.5) > of(&beating, 1.0));
        assert!(of(&plain, 0.95) > of(&beating, 0.85));
        assert!(of(&beating, 0.91) > of(&plain, 0.99), "as sure");
        assert!(of(&plain, 0.5) > Knowledge::of(&stepped, false, 1.0), "what can't be told knows least");
        let lost = [bout(100.0, Some(158.0), None), bout(600.0, None, None)];
        assert_eq!(of(&lost, 1.0), of(&plain, 1.0), "cadence that was lost soon");
        let misses = |one_s: f64| Knowledge::misses_part(one_s, 600.0, of(&plain, 1.0));
        assert!(misses(479.0) && !misses(480.0));
        let beats_alone = Knowledge::of(&beating, false, 0.5);
        assert!(!Knowledge::misses_part(60.0, 600.0, beats_alone), "it shows no movement");
        assert!(
            Knowledge::misses_part(60.0, 600.0, Knowledge::of(&stepped, false, 0.5)),
            "too coarse, but a run"
        );
        assert!(Knowledge::of(&stepped, false, 0.1) > beats_alone);
    }
}

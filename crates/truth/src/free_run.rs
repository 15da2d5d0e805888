//! A run without a plan: long runs, now and then a walk.

use boutwise_bouts::Kind;

use crate::Random;
use crate::stretch::Stretch;

/// Range of the length of a run without a plan, in seconds. Own choice.
const LASTING_S: (f64, f64) = (900.0, 5400.0);
/// Share of those without any walk, and with a few; the others have many. Own choice after open recordings.
const NO_WALK_SHARE: f64 = 0.4;
const FEW_WALKS_SHARE: f64 = 0.35;
/// Most walks of those with a few, and with many.
const FEW_WALKS: usize = 3;
const MANY_WALKS: usize = 12;
/// Range of the length of a walk in seconds, even over orders of magnitude (seen in open recordings).
const WALK_S: (f64, f64) = (14.0, 160.0);
/// Shortest run between two walks, in seconds.
const BETWEEN_S: f64 = 25.0;

/// The stretches of a run without a plan.
pub(crate) fn draw(random: &mut Random) -> Vec<Stretch> {
    let lasting_s = random.between(LASTING_S).round();
    let walks = if random.chance(NO_WALK_SHARE) {
        0
    } else if random.chance(FEW_WALKS_SHARE / (1.0 - NO_WALK_SHARE)) {
        random.whole(1, FEW_WALKS)
    } else {
        random.whole(FEW_WALKS, MANY_WALKS)
    };
    let mut places_s: Vec<f64> =
        (0..walks).map(|_| random.between((BETWEEN_S, lasting_s - BETWEEN_S))).collect();
    places_s.sort_unstable_by(f64::total_cmp);
    let mut stretches = Vec::new();
    let mut end_s = 0.0;
    for place_s in places_s {
        let (short, long) = WALK_S;
        let walk_s = random.between((short.ln(), long.ln())).exp().round();
        if place_s - end_s >= BETWEEN_S && place_s + walk_s + BETWEEN_S <= lasting_s {
            stretches.push(Stretch { kind: Kind::Run, duration_s: place_s - end_s });
            stretches.push(Stretch { kind: Kind::Walk, duration_s: walk_s });
            end_s = place_s + walk_s;
        }
    }
    stretches.push(Stretch { kind: Kind::Run, duration_s: lasting_s - end_s });
    stretches
}

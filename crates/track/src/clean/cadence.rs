//! What cadence counts, decided once for a whole file.
//!
//! Files give the steps of both legs or of one, and do not say which. Over the moving seconds, a median below 100
//! with a median step above 1.1 m is one leg's count: nobody walks or jogs slowly with such long steps.

use super::{STANDING_M_PER_S, Session};
use crate::note::NoteKind;
use crate::points::count;
use crate::timestamp::NS_PER_S;

/// Median cadence from which both legs are counted, in steps per minute (own choice).
const BOTH_LEGS_SPM: f64 = 100.0;

/// Median step, in metres, above which a cadence below 100 is one leg's (own choice).
const LONGEST_SLOW_STEP_M: f64 = 1.1;

/// Without any speed: the median of the fastest-turning fifth that shows one leg's running (own choice).
const ONE_LEG_RUNNING_SPM: std::ops::Range<f64> = 65.0..100.0;

/// Seconds with cadence that a decision needs (own choice).
const MIN_DECIDING_S: f64 = 20.0;

/// A point stands for no more than this many seconds: the gap limit.
const MAX_WEIGHT_S: f64 = 20.0;

/// What cadence counts in a file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Unit {
    BothLegs,
    OneLeg,
    Undecided,
}

/// A turning cadence with the seconds it stands for and the speed beside it.
#[derive(Clone, Copy, Debug)]
struct Sample {
    cadence_spm: f64,
    speed_m_per_s: f64,
    weight_s: f64,
}

/// Whether a session has any cadence, so that speeds are needed to settle what it counts.
pub(super) fn has_any(session: &Session) -> bool {
    let is_number = |cadence: &f64| !cadence.is_nan();
    session.raw.points.cadence_spm.iter().any(is_number)
        || session.raw.bicycle_cadence_rpm.iter().any(is_number)
}

/// Chooses the cadence column, decides its unit, doubles or drops it, and drops zeros that are dropouts.
pub(super) fn settle(sessions: &mut [Session], speeds_m_per_s: &[Vec<f64>]) {
    for session in sessions.iter_mut() {
        choose_column(session);
    }
    if !sessions.iter().any(has_any) {
        return;
    }
    let unit =
        unit(|| sessions.iter().zip(speeds_m_per_s).flat_map(|(session, speeds)| samples(session, speeds)));
    for (session, speeds) in sessions.iter_mut().zip(speeds_m_per_s) {
        drop_dropouts(session, speeds);
        apply(session, unit);
    }
}

/// TCX `Cadence` was meant for the bicycle: it serves only where a session has no running cadence.
fn choose_column(session: &mut Session) {
    let bicycle = std::mem::take(&mut session.raw.bicycle_cadence_rpm);
    if session.raw.points.cadence_spm.iter().all(|cadence| cadence.is_nan()) {
        for (slot, cadence) in session.raw.points.cadence_spm.iter_mut().zip(bicycle) {
            *slot = cadence;
        }
    }
}

fn samples<'a>(session: &'a Session, speeds_m_per_s: &'a [f64]) -> impl Iterator<Item = Sample> + 'a {
    let points = &session.raw.points;
    let (times_ns, cadences_spm) = (points.time_ns(), points.cadence_spm());
    // The last point stands for nothing.
    let steps_s = times_ns.windows(2).map(|pair| (pair[1] - pair[0]) as f64 / NS_PER_S as f64);
    let weights_s = steps_s.map(|step_s| step_s.min(MAX_WEIGHT_S)).chain(std::iter::once(0.0));
    let samples = cadences_spm.iter().zip(speeds_m_per_s).zip(weights_s);
    let sample = |((&cadence_spm, &speed_m_per_s), weight_s)| Sample { cadence_spm, speed_m_per_s, weight_s };
    samples.map(sample).filter(|sample| sample.cadence_spm > 0.0)
}

fn unit<S: Iterator<Item = Sample>>(samples: impl Fn() -> S) -> Unit {
    let seconds = |samples: &[Sample]| samples.iter().map(|sample| sample.weight_s).sum::<f64>();
    let mut is_moving = false;
    // A median lies below a limit where half of the weight does, and above it where less than half lies up to it.
    let (mut moving_s, mut turning_slowly_s, mut stepping_short_s) = (0.0, 0.0, 0.0);
    samples().filter(|sample| sample.speed_m_per_s >= STANDING_M_PER_S).for_each(|sample| {
        let is_slow = sample.cadence_spm < BOTH_LEGS_SPM;
        let is_short = 60.0 * sample.speed_m_per_s <= LONGEST_SLOW_STEP_M * sample.cadence_spm;
        is_moving = true;
        moving_s += sample.weight_s;
        turning_slowly_s += if is_slow { sample.weight_s } else { 0.0 };
        stepping_short_s += if is_short { sample.weight_s } else { 0.0 };
    });
    if !is_moving {
        // Indoors without any distance: the turning alone must tell.
        let mut samples: Vec<Sample> = samples().collect();
        if seconds(&samples) < MIN_DECIDING_S {
            return Unit::Undecided;
        }
        samples.sort_by(|a, b| b.cadence_spm.total_cmp(&a.cadence_spm));
        let fastest_s = seconds(&samples) / 5.0;
        let mut counted_s = 0.0;
        let fastest = samples.into_iter().take_while(|sample| {
            let is_fast = counted_s < fastest_s;
            counted_s += sample.weight_s;
            is_fast
        });
        let median_spm =
            weighted_median(fastest.map(|sample| (sample.cadence_spm, sample.weight_s)).collect());
        return match median_spm {
            spm if ONE_LEG_RUNNING_SPM.contains(&spm) => Unit::OneLeg,
            spm if spm >= BOTH_LEGS_SPM => Unit::BothLegs,
            _ => Unit::Undecided,
        };
    }
    if moving_s < MIN_DECIDING_S {
        Unit::Undecided
    } else if turning_slowly_s >= 0.5 * moving_s && stepping_short_s < 0.5 * moving_s {
        Unit::OneLeg
    } else {
        Unit::BothLegs
    }
}

/// The value at which half of the weight is reached; NaN without values. The values are parted, not sorted.
fn weighted_median(mut values: Vec<(f64, f64)>) -> f64 {
    let weight_of = |values: &[(f64, f64)]| values.iter().map(|(_, weight)| weight).sum::<f64>();
    let mut left = values.as_mut_slice();
    let mut to_reach = weight_of(left) / 2.0;
    while left.len() > 1 {
        let middle = left.len() / 2;
        left.select_nth_unstable_by(middle, |a, b| a.0.total_cmp(&b.0));
        let below = weight_of(&left[..middle]);
        left = if below >= to_reach {
            &mut left[..middle]
        } else {
            to_reach -= below;
            &mut left[middle..]
        };
    }
    left.first().map_or(f64::NAN, |(value, _)| *value)
}

/// A cadence of 0 is standing where the speed agrees, else a dropout.
fn drop_dropouts(session: &mut Session, speeds_m_per_s: &[f64]) {
    // Mostly there is none, which is seen several values at a time.
    if count(&session.raw.points.cadence_spm, |cadence| cadence == 0.0) == 0 {
        return;
    }
    let mut found = (0, None);
    let cadences = session.raw.points.cadence_spm.iter_mut().zip(speeds_m_per_s);
    for (index, (cadence, speed_m_per_s)) in cadences.enumerate() {
        let stands = *speed_m_per_s < STANDING_M_PER_S;
        if *cadence == 0.0 && !stands {
            *cadence = f64::NAN;
            found = (found.0 + 1, found.1.or(Some(session.raw.point_bytes[index])));
        }
    }
    session.notes.add_many(NoteKind::CadenceDropout, found.0, found.1, String::new);
}

fn apply(session: &mut Session, unit: Unit) {
    let cadences = &mut session.raw.points.cadence_spm;
    if !cadences.iter().any(|cadence| *cadence > 0.0) {
        return;
    }
    match unit {
        Unit::BothLegs => {}
        Unit::OneLeg => {
            cadences.iter_mut().for_each(|cadence| *cadence *= 2.0);
            session.notes.add_many(NoteKind::CadencePerLeg, 1, None, String::new);
        }
        Unit::Undecided => {
            cadences.iter_mut().for_each(|cadence| *cadence = f64::NAN);
            session.notes.add_many(NoteKind::CadenceUndecided, 1, None, String::new);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn unit_of(samples: Vec<Sample>) -> Unit {
        unit(|| samples.iter().copied())
    }

    proptest! {
        #[test]
        fn the_median_is_where_sorted_values_reach_half_of_the_weight(
            values in proptest::collection::vec((0_u8..20, 0_u8..9), 1..60)
        ) {
            let mut values: Vec<(f64, f64)> =
                values.into_iter().map(|(value, weight)| (value.into(), weight.into())).collect();
            let found = weighted_median(values.clone());
            values.sort_by(|a, b| a.0.total_cmp(&b.0));
            let half = values.iter().map(|(_, weight)| weight).sum::<f64>() / 2.0;
            let mut reached = 0.0;
            let expected = values.iter().find(|(_, weight)| {
                reached += weight;
                reached >= half
            });
            prop_assert_eq!(Some(found), expected.map(|(value, _)| *value));
        }
    }

    fn decide(cadence_spm: f64, speed_m_per_s: f64) -> Unit {
        unit_of(vec![Sample { cadence_spm, speed_m_per_s, weight_s: 1.0 }; 60])
    }

    #[test]
    fn the_unit_follows_cadence_and_step_length() {
        assert_eq!(decide(156.0, 2.4), Unit::BothLegs);
        assert_eq!(decide(78.0, 2.4), Unit::OneLeg);
        assert_eq!(decide(55.0, 1.4), Unit::OneLeg);
        assert_eq!(decide(85.0, 0.9), Unit::BothLegs);
        assert_eq!(decide(110.0, 1.5), Unit::BothLegs);
        assert_eq!(decide(170.0, 4.0), Unit::BothLegs, "long steps of a quick cadence");
    }

    #[test]
    fn without_speed_the_fastest_fifth_decides() {
        assert_eq!(decide(82.0, f64::NAN), Unit::OneLeg);
        assert_eq!(decide(164.0, f64::NAN), Unit::BothLegs);
        assert_eq!(decide(55.0, f64::NAN), Unit::Undecided);
        let at = |cadence_spm| Sample { cadence_spm, speed_m_per_s: f64::NAN, weight_s: 1.0 };
        assert_eq!(unit_of([vec![at(82.0); 15], vec![at(40.0); 45]].concat()), Unit::OneLeg);
    }

    #[test]
    fn a_point_before_a_gap_weighs_no_more_than_the_gap_limit() {
        let second = |second: i64, cadence_spm| crate::Point {
            time_ns: Some(second * NS_PER_S),
            cadence_spm: Some(cadence_spm),
            ..crate::Point::default()
        };
        let points = (0..60).map(|at| second(at, 78.0)).chain([second(60, 160.0), second(2000, 78.0)]);
        let raw = crate::raw::RawSession { points: points.collect(), ..Default::default() };
        let session = Session { raw, notes: Default::default(), points_found: 62 };
        let weights: Vec<f64> = samples(&session, &[2.4; 62]).map(|sample| sample.weight_s).collect();
        assert_eq!((weights[0], weights[60], weights[61]), (1.0, 20.0, 0.0));
    }

    #[test]
    fn too_few_seconds_decide_nothing() {
        assert_eq!(
            unit_of(vec![Sample { cadence_spm: 78.0, speed_m_per_s: 2.4, weight_s: 1.0 }; 10]),
            Unit::Undecided
        );
        let indoors = Sample { cadence_spm: 82.0, speed_m_per_s: f64::NAN, weight_s: 1.0 };
        assert_eq!((unit_of(vec![indoors; 19]), unit_of(vec![indoors; 20])), (Unit::Undecided, Unit::OneLeg));
    }

    #[test]
    fn a_second_weighs_the_same_however_it_was_sampled() {
        let sparse = Sample { cadence_spm: 78.0, speed_m_per_s: 2.4, weight_s: 10.0 };
        let dense = Sample { cadence_spm: 160.0, speed_m_per_s: 2.4, weight_s: 1.0 };
        let samples = [vec![sparse; 5], vec![dense; 40]].concat();
        assert_eq!(unit_of(samples), Unit::OneLeg);
    }
}

//! What it takes to know a session again, in about two kilobytes.

use serde::{Deserialize, Serialize};

use crate::points::count;
use crate::timestamp::NS_PER_S;
use crate::{NO_TIME, Position, Recording};

/// The most samples that a fingerprint holds, so that it stays below 2 kB (own choice).
const MAX_SAMPLES: i64 = 100;

/// Distances between samples in seconds. Each divides the next, so that two fingerprints of unlike step share the
/// samples of the coarser one; those up to 900 s divide the quarter hour by which time zones differ (own choice).
const STEPS_S: [i64; 8] = [1, 5, 10, 20, 60, 180, 900, 3600];

/// The longest stretch without a value that a sample is interpolated across, in nanoseconds (own choice: 2 min).
const MAX_BRIDGE_NS: i64 = 120_000_000_000;

/// Share of the samples that lie below their median.
const MEDIAN: f64 = 0.5;

/// Units of 10⁻⁷ degrees, about 1 cm.
const UNITS_PER_DEGREE: f64 = 1e7;

/// Mean radius of the Earth in metres (IUGG); good to half a percent, and only tolerances are compared with it.
const EARTH_RADIUS_M: f64 = 6_371_008.8;

/// A recording's span, its values counted, and its series sampled at whole steps of absolute time, so that two
/// copies of a session are compared at equal times however each was thinned or rounded.
///
/// ```
/// use boutwise_track::{Fingerprint, Point, Position, Recording};
///
/// let points = (0..60).map(|second| Point {
///     time_ns: Some(second * 1_000_000_000),
///     position: Some(Position { latitude_deg: 52.0 + second as f64 * 2e-5, longitude_deg: 4.0 }),
///     ..Point::default()
/// });
/// let recording = Recording { points: points.collect(), ..Recording::default() };
/// assert_eq!(Fingerprint::of(&recording).usable_values(), 120);
/// ```
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Fingerprint {
    start_ns: i64,
    end_ns: i64,
    usable_values: u64,
    first_place: Option<Position>,
    step_s: i64,
    first_slot: i64,
    places: Vec<Option<[i32; 2]>>,
    /// The least and the greatest latitude of the places, in units of 10⁻⁷ degrees.
    latitudes: Option<[i32; 2]>,
    heart_rates_bpm: Vec<f32>,
    distances_m: Vec<f32>,
    /// When what counts of it begins and ends, where that is a part; this is said of a fingerprint, and not of the bytes.
    #[serde(skip)]
    part_ns: Option<(i64, i64)>,
}

/// How far apart two fingerprints are at each of their common samples, series by series.
#[derive(Clone, Debug, Default)]
pub(crate) struct Differences {
    places_m: Vec<f64>,
    heart_rates_bpm: Vec<f64>,
    distances_m: Vec<f64>,
}

/// How far apart two fingerprints are in one figure, series by series; `None` where they share no sample.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Apart {
    pub(crate) place_m: Option<f64>,
    pub(crate) heart_rate_bpm: Option<f64>,
    pub(crate) distance_m: Option<f64>,
}

impl Differences {
    /// Samples of the richest series that both have.
    pub(crate) fn samples(&self) -> usize {
        self.places_m.len().max(self.heart_rates_bpm.len()).max(self.distances_m.len())
    }

    pub(crate) fn median(&self) -> Apart {
        self.quantile(MEDIAN)
    }

    pub(crate) fn nine_in_ten(&self) -> Apart {
        self.quantile(0.9)
    }

    fn quantile(&self, share: f64) -> Apart {
        let of = |series: &[f64]| -> Option<f64> {
            let mut sorted = series.to_vec();
            sorted.sort_unstable_by(f64::total_cmp);
            sorted.get((sorted.len() as f64 * share) as usize).copied()
        };
        Apart {
            place_m: of(&self.places_m),
            heart_rate_bpm: of(&self.heart_rates_bpm),
            distance_m: of(&self.distances_m),
        }
    }
}

impl Fingerprint {
    /// That of the same recording so many seconds later (before 0: earlier), as where its clock is found to be of another zone.
    #[must_use]
    pub fn moved_by(self, seconds: i64) -> Self {
        let moved_ns = seconds.saturating_mul(NS_PER_S);
        Self {
            start_ns: self.start_ns.saturating_add(moved_ns),
            end_ns: self.end_ns.saturating_add(moved_ns),
            // Zones differ by whole steps, but for recordings of months.
            first_slot: self.first_slot.saturating_add(seconds.div_euclid(self.step_s.max(1))),
            ..self
        }
    }

    /// Takes the fingerprint of a recording.
    pub fn of(recording: &Recording) -> Self {
        let points = &recording.points;
        let is_time = |time_ns: &i64| *time_ns != NO_TIME;
        let mut times = points.time_ns().iter().copied();
        let start_ns = times.clone().find(is_time).unwrap_or_default();
        let end_ns = times.rfind(is_time).unwrap_or_default();
        let slots_of = |step_s: i64| {
            let step_ns = step_s * NS_PER_S;
            let first = start_ns.div_euclid(step_ns) + i64::from(start_ns.rem_euclid(step_ns) != 0);
            (first, end_ns.div_euclid(step_ns) - first + 1)
        };
        let coarsest = STEPS_S[STEPS_S.len() - 1];
        let step_s =
            STEPS_S.into_iter().find(|&step_s| slots_of(step_s).1 <= MAX_SAMPLES).unwrap_or(coarsest);
        let (first_slot, slots) = slots_of(step_s);
        let slots = slots.clamp(0, MAX_SAMPLES);
        let samples = move || (first_slot..first_slot + slots).map(move |slot| slot * step_s * NS_PER_S);

        let columns =
            [points.latitude_deg(), points.longitude_deg(), points.heart_rate_bpm(), points.distance_m()];
        let other_columns = [points.elevation_m(), points.cadence_spm(), points.speed_m_per_s()];
        // A position is one value.
        let timed = count(points.time_ns(), |time_ns| is_time(&time_ns));
        let sensed =
            columns[1..].iter().chain(&other_columns).map(|column| count(column, |value| !value.is_nan()));
        let values = timed + sensed.sum::<usize>();

        let place =
            |index: usize| Position { latitude_deg: columns[0][index], longitude_deg: columns[1][index] };
        let column = |values: &[f64]| -> Vec<f32> {
            let sampled: Vec<f32> = sample(points.time_ns(), |index| !values[index].is_nan(), samples())
                .map(|found| {
                    found.map_or(f32::NAN, |at| at.between(values[at.before], values[at.after]) as f32)
                })
                .collect();
            if sampled.iter().all(|value| value.is_nan()) { Vec::new() } else { sampled }
        };
        let mut places: Vec<_> = sample(points.time_ns(), |index| !columns[0][index].is_nan(), samples())
            .map(|found| found.map(|at| packed_place(&at, place(at.before), place(at.after))))
            .collect();
        if places.iter().all(Option::is_none) {
            places = Vec::new();
        }
        let first_place = columns[0].iter().position(|latitude| !latitude.is_nan()).map(place);
        Self {
            start_ns,
            end_ns,
            usable_values: values as u64,
            first_place,
            step_s,
            first_slot,
            latitudes: first_place.map(|place| {
                let latitudes = places.iter().flatten().map(|place| place[0]);
                let first = units(place)[0];
                latitudes.fold([first; 2], |[least, greatest], latitude| {
                    [least.min(latitude), greatest.max(latitude)]
                })
            }),
            places,
            heart_rates_bpm: column(columns[2]),
            distances_m: column(columns[3]),
            part_ns: None,
        }
    }

    /// The same where only a part counts, by seconds from the start: only that shares time with other recordings. What is a copy of
    /// what is told by the whole.
    #[must_use]
    pub fn of_part(self, from_s: f64, to_s: f64) -> Self {
        // What lies beyond the range of the type is beyond the end too.
        let at_ns = |seconds: f64| self.start_ns.saturating_add((seconds * NS_PER_S as f64) as i64);
        let from_ns = at_ns(from_s).min(self.end_ns);
        Self { part_ns: Some((from_ns, at_ns(to_s).clamp(from_ns, self.end_ns))), ..self }
    }

    /// Whether only a part counts.
    pub(crate) fn is_part(&self) -> bool {
        self.part_ns.is_some()
    }

    /// When what counts of it begins and ends, in nanoseconds since 1970-01-01T00:00:00Z.
    pub fn counts_ns(&self) -> (i64, i64) {
        self.part_ns.unwrap_or((self.start_ns, self.end_ns))
    }

    /// Time of the first point, in nanoseconds since 1970-01-01T00:00:00Z.
    pub fn start_ns(&self) -> i64 {
        self.start_ns
    }

    /// Time of the last point, in nanoseconds since 1970-01-01T00:00:00Z.
    pub fn end_ns(&self) -> i64 {
        self.end_ns
    }

    /// From the first point to the last, in nanoseconds.
    pub(crate) fn duration_ns(&self) -> i64 {
        self.end_ns.saturating_sub(self.start_ns)
    }

    /// How many values its points hold that are not missing; a position counts as one.
    pub fn usable_values(&self) -> u64 {
        self.usable_values
    }

    /// Median of the metres between the positions of both at equal times; `None` where they share none.
    pub fn apart_m(&self, other: &Self) -> Option<f64> {
        self.difference(other, 0).median().place_m
    }

    /// Whether the places lie further apart than `distance_m` anywhere.
    pub(crate) fn moves(&self, distance_m: f64) -> bool {
        let mut places = self.places.iter().flatten();
        places.next().is_some_and(|&first| places.any(|&place| place_distance_m(first, place) > distance_m))
    }

    /// Metres between the first places of both.
    pub(crate) fn start_difference_m(&self, other: &Self) -> Option<f64> {
        Some(place_distance_m(units(self.first_place?), units(other.first_place?)))
    }

    /// Whether all places lie further apart than `limit_m`, by their latitudes alone.
    pub(crate) fn is_far(&self, other: &Self, limit_m: f64) -> bool {
        let (Some([least, greatest]), Some([other_least, other_greatest])) =
            (self.latitudes, other.latitudes)
        else {
            return false;
        };
        let apart_units = (other_least - greatest).max(least - other_greatest);
        f64::from(apart_units) > limit_units(limit_m) + 1.0
    }

    /// Whether the median distance of places at equal times is at most `limit_m`; `None` where there are none. The same as
    /// [`Fingerprint::difference`] tells, without looking closely at places that are far apart.
    pub(crate) fn places_agree(&self, other: &Self, limit_m: f64) -> Option<bool> {
        let step_s = self.step_s.max(other.step_s);
        let from_s = (self.first_slot * self.step_s).max(other.first_slot * other.step_s);
        let from_slot = from_s.div_euclid(step_s) + i64::from(from_s.rem_euclid(step_s) != 0);
        // Places from there on at common times; every step divides the coarser ones.
        let common = |of: &'_ Self| -> (usize, usize) {
            (
                usize::try_from(from_slot * (step_s / of.step_s) - of.first_slot).unwrap_or(0),
                (step_s / of.step_s) as usize,
            )
        };
        let ((first, stride), (other_first, other_stride)) = (common(self), common(other));
        let own = self.places.get(first..).unwrap_or_default().iter().step_by(stride);
        let others = other.places.get(other_first..).unwrap_or_default().iter().step_by(other_stride);
        let samples = own.len().min(others.len());
        let limit_units = limit_units(limit_m);
        let (mut both, mut far) = (0, 0);
        for (own, other) in own.zip(others) {
            let (Some(own), Some(other)) = (own, other) else { continue };
            both += 1;
            let is_far = f64::from(own[0].abs_diff(other[0])) > limit_units
                || place_distance_m(*own, *other) > limit_m;
            far += usize::from(is_far);
            // So many that the median is among them, however many more there are.
            if far > samples / 2 {
                return Some(false);
            }
        }
        (both > 0).then(|| both - far > (both as f64 * MEDIAN) as usize)
    }

    /// Compares samples at equal times, `other` being moved by `shift_s` seconds.
    pub(crate) fn difference(&self, other: &Self, shift_s: i64) -> Differences {
        let step_s = self.step_s.max(other.step_s);
        if shift_s % step_s != 0 {
            return Differences::default();
        }
        // Every step divides the coarser ones, so each coarse slot falls on a slot of the finer fingerprint.
        let slot_in = |of: &Self, time_s: i64| usize::try_from(time_s / of.step_s - of.first_slot).ok();
        let first_s = (self.first_slot * self.step_s).max(other.first_slot * other.step_s + shift_s);
        let first_s =
            first_s.div_euclid(step_s) * step_s + if first_s.rem_euclid(step_s) == 0 { 0 } else { step_s };
        let pairs: Vec<(usize, usize)> = (0..MAX_SAMPLES)
            .map(|slot| first_s + slot * step_s)
            .filter_map(|time_s| Some((slot_in(self, time_s)?, slot_in(other, time_s - shift_s)?)))
            .collect();

        let places_m = pairs
            .iter()
            .filter_map(|&(a, b)| Some(place_distance_m((*self.places.get(a)?)?, (*other.places.get(b)?)?)))
            .collect();
        let both = |a: &[f32], b: &[f32]| -> Vec<(f64, f64)> {
            pairs
                .iter()
                .filter_map(|&(in_a, in_b)| Some((f64::from(*a.get(in_a)?), f64::from(*b.get(in_b)?))))
                .filter(|(a, b)| !a.is_nan() && !b.is_nan())
                .collect()
        };
        let heart_rates_bpm =
            both(&self.heart_rates_bpm, &other.heart_rates_bpm).iter().map(|(a, b)| (a - b).abs()).collect();
        // One device counts from its start, another from the lap's; so both count from the first common sample.
        let distances_m = both(&self.distances_m, &other.distances_m);
        let (from_a, from_b) = distances_m.first().copied().unwrap_or_default();
        let distances_m = distances_m.iter().map(|(a, b)| ((a - from_a) - (b - from_b)).abs()).collect();
        Differences { places_m, heart_rates_bpm, distances_m }
    }
}

/// Two points round a moment, and how far between them it lies.
struct Between {
    before: usize,
    after: usize,
    share: f64,
}

impl Between {
    fn between(&self, before: f64, after: f64) -> f64 {
        before + (after - before) * self.share
    }
}

/// For each moment, the points with a value round it, where they lie close enough together. Times rise, and so do moments: most
/// points are passed over, and none is looked at twice from the same side.
fn sample<'a>(
    times_ns: &'a [i64],
    has_value: impl Fn(usize) -> bool + 'a,
    moments_ns: impl Iterator<Item = i64> + 'a,
) -> impl Iterator<Item = Option<Between>> + 'a {
    let (mut passed, mut before) = (0, None);
    let mut after = (0..times_ns.len()).find(|&index| has_value(index));
    moments_ns.map(move |moment_ns| {
        let now_passed = passed + times_ns[passed..].partition_point(|&time_ns| time_ns <= moment_ns);
        before = (passed..now_passed).rev().find(|&index| has_value(index)).or(before);
        passed = now_passed;
        if after.is_some_and(|after| after < passed) {
            after = (passed..times_ns.len()).find(|&index| has_value(index));
        }
        let before = before?;
        let since_ns = moment_ns.saturating_sub(times_ns[before]);
        if since_ns == 0 {
            return Some(Between { before, after: before, share: 0.0 });
        }
        let after = after?;
        let span_ns = times_ns[after].saturating_sub(times_ns[before]);
        (span_ns <= MAX_BRIDGE_NS).then(|| Between { before, after, share: since_ns as f64 / span_ns as f64 })
    })
}

fn packed_place(at: &Between, before: Position, after: Position) -> [i32; 2] {
    let eastward_deg = wrapped_deg(after.longitude_deg - before.longitude_deg);
    units(Position {
        latitude_deg: at.between(before.latitude_deg, after.latitude_deg),
        longitude_deg: wrapped_deg(before.longitude_deg + eastward_deg * at.share),
    })
}

/// The same angle within −180 to 180 degrees.
fn wrapped_deg(angle_deg: f64) -> f64 {
    (angle_deg + 180.0).rem_euclid(360.0) - 180.0
}

/// So many metres north in units of a latitude.
fn limit_units(limit_m: f64) -> f64 {
    limit_m / (EARTH_RADIUS_M / UNITS_PER_DEGREE).to_radians()
}

fn units(place: Position) -> [i32; 2] {
    [place.latitude_deg, place.longitude_deg].map(|degrees| (degrees * UNITS_PER_DEGREE).round() as i32)
}

/// Metres between two places, on a plane that touches the sphere; for places close together.
fn place_distance_m(a: [i32; 2], b: [i32; 2]) -> f64 {
    let degrees = |place: [i32; 2]| place.map(|units| f64::from(units) / UNITS_PER_DEGREE);
    let ([latitude_a, longitude_a], [latitude_b, longitude_b]) = (degrees(a), degrees(b));
    let north = (latitude_b - latitude_a).to_radians();
    let east = wrapped_deg(longitude_b - longitude_a).to_radians()
        * ((latitude_a + latitude_b) / 2.0).to_radians().cos();
    EARTH_RADIUS_M * north.hypot(east)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::Point;

    /// A walk north from a second on, a point every so many seconds, so many metres to the east.
    fn walk(start_s: i64, seconds: i64, every_s: usize, east_m: f64, lost: i64) -> Fingerprint {
        let points = (0..seconds).step_by(every_s).map(|second| Point {
            time_ns: Some((start_s + second) * NS_PER_S),
            position: (lost == 0 || second % lost != 0).then(|| Position {
                latitude_deg: 1.3e-5 * (start_s + second) as f64,
                longitude_deg: 9e-6 * east_m * ((start_s + second) % 7) as f64,
            }),
            ..Point::default()
        });
        Fingerprint::of(&Recording { points: points.collect(), ..Recording::default() })
    }

    proptest! {
        #[test]
        fn places_agree_where_their_median_distance_says_so(
            a in (0..300_i64, 20..2000_i64, 1..30_usize, 0..4_i64),
            b in (0..300_i64, 20..2000_i64, 1..30_usize, 0..4_i64),
            east_m in 0.0..6.0_f64,
        ) {
            let (one, other) = (walk(a.0, a.1, a.2, 0.0, a.3), walk(b.0, b.1, b.2, east_m, b.3));
            let expected = one.difference(&other, 0).median().place_m.map(|place_m| place_m <= 10.0);
            prop_assert_eq!(one.places_agree(&other, 10.0), expected);
            prop_assert_eq!(other.places_agree(&one, 10.0), expected);
            prop_assert!(!one.is_far(&other, 10.0) || expected != Some(true));
        }
    }
}

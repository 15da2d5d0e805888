//! Distances on the WGS-84 ellipsoid.

use std::ops::Range;

use geographiclib_rs::{Geodesic, InverseGeodesic};

use crate::points::known;
use crate::{Points, Position};

/// Half the longer axis of WGS-84 in metres (NGA TR8350.2, from memory).
const EQUATORIAL_RADIUS_M: f64 = 6_378_137.0;

/// Flattening of WGS-84 (NGA TR8350.2, from memory).
const FLATTENING: f64 = 1.0 / 298.257_223_563;

/// Square of the first eccentricity: f·(2 − f).
const ECCENTRICITY_SQUARED: f64 = FLATTENING * (2.0 - FLATTENING);

/// Longest step for which the formula of small steps serves, in metres. Its relative error is that of a flat
/// triangle, below (step ÷ radius)² ÷ 12 · (1 + tan² latitude): 1.3·10⁻⁹ at 75° (checked against geodesics below).
const MAX_SMALL_STEP_M: f64 = 200.0;

/// Latitude up to which the formula of small steps serves, in degrees.
const MAX_SMALL_STEP_LATITUDE_DEG: f64 = 75.0;

/// At most and at least so many steps are worked out together (own choice).
const STEPS_TOGETHER: usize = 64;
const FEWEST_TOGETHER: usize = 4;

/// The geodesic distance between two positions in metres.
///
/// Steps up to 200 m are taken from the radii of curvature at their middle, within 5·10⁻⁹ relative of the geodesic;
/// longer ones are geodesics (Karney 2013).
///
/// # Example
/// ```
/// use boutwise_track::{Position, step_m};
///
/// let at = |latitude_deg, longitude_deg| Position { latitude_deg, longitude_deg };
/// assert!((step_m(at(0.0, 0.0), at(0.0, 1.0)) - 111_319.4908).abs() < 1e-4);
/// ```
#[inline]
pub fn step_m(from: Position, to: Position) -> f64 {
    Steps::default().step_m(from, to)
}

/// Places as columns of one length.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Places<'a> {
    pub(crate) latitude_deg: &'a [f64],
    pub(crate) longitude_deg: &'a [f64],
}

impl Places<'_> {
    /// Some of them.
    pub(crate) fn within(self, range: Range<usize>) -> Self {
        Self { latitude_deg: &self.latitude_deg[range.clone()], longitude_deg: &self.longitude_deg[range] }
    }

    fn at(self, index: usize) -> Position {
        Position { latitude_deg: self.latitude_deg[index], longitude_deg: self.longitude_deg[index] }
    }
}

/// Steps near each other: [`step_m`] with the lengths of a radian at one latitude carried on to those beside it.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Steps {
    latitude_deg: f64,
    /// Metres a radian of latitude there, and what they change by with a radian to the north: the terms of a Taylor series.
    north_m: [f64; 3],
    /// The same for a radian of longitude.
    east_m: [f64; 4],
}

impl Default for Steps {
    /// At no latitude, infinitely far from all, so that the first step takes its own.
    fn default() -> Self {
        Self { latitude_deg: f64::INFINITY, north_m: [f64::NAN; 3], east_m: [f64::NAN; 4] }
    }
}

impl Steps {
    /// The latitude is taken anew beyond so many radians (4 km): up to there the series err by 4·10⁻¹² at most.
    const NEAR_RAD: f64 = 6.5e-4;

    /// The radius of curvature along the meridian is M = a(1 − e²)w^(−3/2) with w = 1 − e²·sin², the radius of the parallel
    /// is aw^(−1/2)·cos, whose derivative is −M·sin; the other terms follow from these two.
    #[cold]
    fn at(latitude_deg: f64) -> Self {
        let (sine, cosine) = latitude_deg.to_radians().sin_cos();
        let w = 1.0 - ECCENTRICITY_SQUARED * sine * sine;
        let across_m = EQUATORIAL_RADIUS_M / w.sqrt();
        let along_m = across_m * (1.0 - ECCENTRICITY_SQUARED) / w;
        let bend = 3.0 * ECCENTRICITY_SQUARED / w;
        let along_1 = along_m * bend * sine * cosine;
        let along_2 = along_m
            * bend
            * (cosine * cosine - sine * sine + 5.0 * ECCENTRICITY_SQUARED * (sine * cosine).powi(2) / w);
        Self {
            latitude_deg,
            north_m: [along_m, along_1, along_2 / 2.0],
            east_m: [
                across_m * cosine,
                -along_m * sine,
                -(along_1 * sine + along_m * cosine) / 2.0,
                (along_m * sine - 2.0 * along_1 * cosine - along_2 * sine) / 6.0,
            ],
        }
    }

    #[inline(always)]
    pub(crate) fn step_m(&mut self, from: Position, to: Position) -> f64 {
        let middle_deg = 0.5 * (from.latitude_deg + to.latitude_deg);
        if self.off_rad(middle_deg).abs() > Self::NEAR_RAD {
            *self = Self::at(middle_deg);
        }
        let east_deg = longitude_difference_deg(from.longitude_deg, to.longitude_deg);
        let small_m = self.small_m(middle_deg, to.latitude_deg - from.latitude_deg, east_deg);
        if small_m <= MAX_SMALL_STEP_M && middle_deg.abs() <= MAX_SMALL_STEP_LATITUDE_DEG {
            small_m
        } else {
            geodesic_m(from, to)
        }
    }

    /// Hands over the steps from each place to the one that stands as far behind the others, each as [`Steps::step_m`] has it. Many
    /// are worked out together without a branch, so that the compiler takes several at a time; one by one only where they
    /// are few, or not all of them small and near.
    pub(crate) fn each_m(&mut self, from: Places<'_>, to: Places<'_>, mut take: impl FnMut(f64)) {
        let count = from.latitude_deg.len().min(to.latitude_deg.len());
        for begin in (0..count).step_by(STEPS_TOGETHER) {
            let block = begin..count.min(begin + STEPS_TOGETHER);
            let (from, to) = (from.within(block.clone()), to.within(block.clone()));
            let mut steps_m = [0.0; STEPS_TOGETHER];
            let mut are_plain = block.len() >= FEWEST_TOGETHER;
            if are_plain {
                let latitudes = from.latitude_deg.iter().zip(to.latitude_deg);
                let longitudes = from.longitude_deg.iter().zip(to.longitude_deg);
                for (step_m, (latitude_deg, longitude_deg)) in
                    steps_m.iter_mut().zip(latitudes.zip(longitudes))
                {
                    let middle_deg = 0.5 * (latitude_deg.0 + latitude_deg.1);
                    let east_deg = longitude_deg.1 - longitude_deg.0;
                    *step_m = self.small_m(middle_deg, latitude_deg.1 - latitude_deg.0, east_deg);
                    are_plain &= (self.off_rad(middle_deg).abs() <= Self::NEAR_RAD)
                        & (east_deg.abs() <= 180.0)
                        & (*step_m <= MAX_SMALL_STEP_M)
                        & (middle_deg.abs() <= MAX_SMALL_STEP_LATITUDE_DEG);
                }
            }
            if !are_plain {
                for (at, step_m) in (0..block.len()).zip(&mut steps_m) {
                    *step_m = self.step_m(from.at(at), to.at(at));
                }
            }
            steps_m[..block.len()].iter().for_each(|&step_m| take(step_m));
        }
    }

    /// Radians from the latitude whose lengths are carried on.
    #[inline(always)]
    fn off_rad(&self, latitude_deg: f64) -> f64 {
        (latitude_deg - self.latitude_deg).to_radians()
    }

    /// The formula of small steps.
    #[inline(always)]
    fn small_m(&self, middle_deg: f64, north_deg: f64, east_deg: f64) -> f64 {
        let off = self.off_rad(middle_deg);
        let ([n0, n1, n2], [e0, e1, e2, e3]) = (self.north_m, self.east_m);
        let north_m = north_deg.to_radians() * (n0 + off * (n1 + off * n2));
        let east_m = east_deg.to_radians() * (e0 + off * (e1 + off * (e2 + off * e3)));
        (north_m * north_m + east_m * east_m).sqrt()
    }
}

/// Degrees east from one longitude to another the short way round, −180 to 180.
#[inline]
pub(crate) fn longitude_difference_deg(from_deg: f64, to_deg: f64) -> f64 {
    let difference = to_deg - from_deg;
    if difference > 180.0 {
        difference - 360.0
    } else if difference < -180.0 {
        difference + 360.0
    } else {
        difference
    }
}

#[cold]
fn geodesic_m(from: Position, to: Position) -> f64 {
    Geodesic::wgs84().inverse(from.latitude_deg, from.longitude_deg, to.latitude_deg, to.longitude_deg)
}

/// The way over consecutive positions in metres, points without position bridged, the points in `left_out` and the steps
/// to them left out; `None` for fewer than two.
pub(crate) fn over_positions_m(points: &Points, left_out: &[Range<usize>]) -> Option<f64> {
    let mut sum_m = None;
    let mut steps = Steps::default();
    let begins = std::iter::once(0).chain(left_out.iter().map(|range| range.end));
    let ends = left_out.iter().map(|range| range.start).chain([points.len()]);
    for (begin, end) in begins.zip(ends).filter(|(begin, end)| begin < end) {
        let [latitude_deg, longitude_deg] =
            [points.latitude_deg(), points.longitude_deg()].map(|degrees| &degrees[begin..end]);
        let [latitude_deg, longitude_deg] = known([latitude_deg, longitude_deg], latitude_deg);
        let places = Places { latitude_deg: &latitude_deg, longitude_deg: &longitude_deg };
        let (from, to) = (places, places.within(1.min(latitude_deg.len())..latitude_deg.len()));
        steps.each_m(from, to, |step_m| *sum_m.get_or_insert(0.0) += step_m);
    }
    sum_m
}

/// The way over the device's running totals in metres, what was added in `left_out` and on the steps to it left out;
/// `None` for fewer than two.
pub(crate) fn over_totals_m(points: &Points, left_out: &[Range<usize>]) -> Option<f64> {
    let mut from = 0;
    let ends = left_out.iter().map(|range| (range.start, range.end)).chain([(points.len(), points.len())]);
    let mut sum_m = None;
    for (to, next) in ends {
        let mut totals = points.distance_m()[from..to.max(from)].iter().filter(|total_m| !total_m.is_nan());
        if let Some(first_m) = totals.next()
            && let Some(last_m) = totals.next_back()
        {
            *sum_m.get_or_insert(0.0) += last_m - first_m;
        }
        from = next;
    }
    sum_m
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;
    use proptest::prelude::*;

    fn at(latitude_deg: f64, longitude_deg: f64) -> Position {
        Position { latitude_deg, longitude_deg }
    }

    /// Published values: WGS-84 meridian arcs and parallels (Simpson's rule over the radius of curvature agrees).
    #[test]
    fn known_arcs_come_out() {
        assert_abs_diff_eq!(step_m(at(0.0, 0.0), at(1.0, 0.0)), 110_574.388_6, epsilon = 1e-3);
        assert_abs_diff_eq!(step_m(at(59.5, 0.0), at(60.5, 0.0)), 111_412.273_3, epsilon = 1e-3);
        assert_abs_diff_eq!(step_m(at(0.0, 0.0), at(0.0, 1.0)), 111_319.490_8, epsilon = 1e-4);
    }

    /// The published example of the reference geodesic library.
    #[test]
    fn an_ocean_is_crossed_on_the_ellipsoid() {
        assert_abs_diff_eq!(step_m(at(40.6, -73.8), at(51.6, -0.5)), 5_551_759.400_319, epsilon = 1e-3);
    }

    #[test]
    fn the_short_way_round_is_taken_at_the_date_line() {
        let (west, east) =
            (step_m(at(10.0, 179.9995), at(10.0, -179.9995)), step_m(at(10.0, 0.0), at(10.0, 0.001)));
        assert_abs_diff_eq!(west, east, epsilon = 1e-7);
        assert_eq!(step_m(at(10.0, 180.0), at(10.0, -180.0)), 0.0);
    }

    /// A made lap on the measured line of a standard track, kerb radius 36.50 m and straights of 84.39 m
    /// (track facility dimensions), 0.30 m outside the kerb, one point a second at 2.5 m/s.
    #[test]
    fn a_lap_of_a_standard_track_is_400_m() {
        let (straight_m, radius_m) = (84.39_f64, 36.80_f64);
        let bend_m = std::f64::consts::PI * radius_m;
        let lap_m = 2.0 * (straight_m + bend_m);
        let place = |way_m: f64| {
            let way_m = way_m % lap_m;
            let half = (way_m / (straight_m + bend_m)).floor();
            let in_half_m = way_m - half * (straight_m + bend_m);
            let (x, y) = if in_half_m < straight_m {
                (in_half_m - straight_m / 2.0, -radius_m)
            } else {
                let angle = (in_half_m - straight_m) / radius_m;
                (straight_m / 2.0 + radius_m * angle.sin(), -radius_m * angle.cos())
            };
            if half < 1.0 { (x, y) } else { (-x, -y) }
        };
        // One degree at 47.5° north by the same radii of curvature, so that the plan becomes positions.
        let (north_m, east_m) =
            (step_m(at(47.4995, 8.5), at(47.5005, 8.5)), step_m(at(47.5, 8.5), at(47.5, 8.501)));
        let positions: Vec<Position> = (0..=160)
            .map(|second| place((2.5 * f64::from(second)).min(lap_m)))
            .map(|(x, y)| at(47.5 + y / north_m * 0.001, 8.5 + x / east_m * 0.001))
            .chain(
                std::iter::once(place(0.0))
                    .map(|(x, y)| at(47.5 + y / north_m * 0.001, 8.5 + x / east_m * 0.001)),
            )
            .collect();
        let sum_m: f64 = positions.windows(2).map(|pair| step_m(pair[0], pair[1])).sum();
        assert_abs_diff_eq!(sum_m, 400.0, epsilon = 0.5);
    }

    #[test]
    fn lengths_carried_on_are_those_taken_anew() {
        for latitude_deg in [-74.9, -48.3, -0.01, 0.0, 33.0, 61.7, 74.9] {
            let mut steps = Steps::default();
            steps.step_m(at(latitude_deg, 9.0), at(latitude_deg, 9.0001));
            for off_deg in [-0.036, -0.01, 0.0002, 0.02, 0.036] {
                for (north_deg, east_deg) in [(0.0, 0.001), (0.001, 0.0), (-0.0004, 0.0007)] {
                    let from = at(latitude_deg + off_deg, 9.0);
                    let to = at(from.latitude_deg + north_deg, 9.0 + east_deg);
                    let (carried_m, anew_m) = (steps.step_m(from, to), step_m(from, to));
                    assert!(
                        (carried_m / anew_m - 1.0).abs() < 4e-12,
                        "{from:?} {to:?}: {carried_m} {anew_m}"
                    );
                }
            }
            assert_eq!(steps.latitude_deg, latitude_deg);
        }
    }

    /// Steps of a walk on which some are long, cross the date line, go over high latitudes or far to the north, each as one by one.
    #[test]
    fn steps_worked_out_together_are_those_one_by_one() {
        let small = |index: usize| at(52.0 + 2e-5 * index as f64, 4.0 + 1e-5 * (index % 9) as f64);
        for odd in
            [None, Some(at(52.0, 4.9)), Some(at(53.0, 4.0)), Some(at(75.5, 4.0)), Some(at(52.0, -179.99999))]
        {
            for count in [2, 3, 4, 5, 63, 64, 65, 66, 200] {
                for place in [0, 1, 30, 64, 65, 130] {
                    let mut places: Vec<Position> = (0..count).map(small).collect();
                    if let (Some(odd), Some(of_odd)) = (odd, places.get_mut(place)) {
                        *of_odd = odd;
                    }
                    if odd.is_some_and(|odd| odd.longitude_deg < 0.0) {
                        places
                            .iter_mut()
                            .filter(|place| place.longitude_deg > 0.0)
                            .for_each(|place| place.longitude_deg += 175.99995);
                    }
                    let mut steps = Steps::default();
                    let expected: Vec<f64> =
                        places.windows(2).map(|pair| steps.step_m(pair[0], pair[1])).collect();
                    let [latitude_deg, longitude_deg]: [Vec<f64>; 2] = [
                        places.iter().map(|place| place.latitude_deg).collect(),
                        places.iter().map(|place| place.longitude_deg).collect(),
                    ];
                    let all = Places { latitude_deg: &latitude_deg, longitude_deg: &longitude_deg };
                    let mut found = Vec::new();
                    Steps::default().each_m(all, all.within(1..count), |step_m| found.push(step_m));
                    assert_eq!(found, expected, "{odd:?} {count} {place}");
                }
            }
        }
    }

    proptest! {
        /// Against geographiclib-rs, steps of runners and beyond, everywhere.
        #[test]
        fn steps_are_geodesics(
            latitude_deg in -89.9..89.9_f64,
            longitude_deg in -180.0..180.0_f64,
            azimuth_deg in 0.0..360.0_f64,
            length_m in 0.1..2000.0_f64,
        ) {
            use geographiclib_rs::DirectGeodesic;
            let (lat2, lon2): (f64, f64) =
                Geodesic::wgs84().direct(latitude_deg, longitude_deg, azimuth_deg, length_m);
            let (from, to) = (at(latitude_deg, longitude_deg), at(lat2, lon2));
            let (expected_m, found_m) = (geodesic_m(from, to), step_m(from, to));
            // Positions are rounded to about 1e-9 m, which short steps feel.
            prop_assert!((found_m - expected_m).abs() <= 5e-9 * expected_m + 2e-9, "{found_m} {expected_m}");
        }
    }
}

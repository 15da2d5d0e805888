//! Points as columns: one vector a quantity, one index a point.

use std::borrow::Cow;
use std::ops::Range;

use serde::{Deserialize, Serialize};

use crate::Quantity;

/// The value of the time column where a point has no valid time.
pub const NO_TIME: i64 = i64::MIN;

/// Positions within this many degrees all along are one place: the recording was made on the spot.
const ONE_PLACE_DEG: f64 = 2e-5;

/// Positions tell the way where so much of the device's distance was counted from the first to the last of them (own choice).
const POSITIONS_SHARE: f64 = 0.2;

/// How many values of a column fit. A sum that is watched for leaving its range is taken one by one; this one cannot leave it, and
/// several values are looked at together.
pub(crate) fn count<T: Copy>(column: &[T], fits: impl Fn(T) -> bool) -> usize {
    column.iter().fold(0, |count: usize, &value| count.wrapping_add(usize::from(fits(value))))
}

/// Of some columns what stands where another has a value.
pub(crate) fn known<'a, T: Copy, const N: usize>(columns: [&'a [T]; N], by: &[f64]) -> [Cow<'a, [T]>; N] {
    let is_known = |value: &f64| !value.is_nan();
    match count(by, f64::is_nan) {
        0 => columns.map(Cow::Borrowed),
        _ => columns.map(|column| {
            column.iter().zip(by).filter(|(_, value)| is_known(value)).map(|(of, _)| *of).collect()
        }),
    }
}

/// A place on the WGS-84 ellipsoid, in degrees.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Position {
    /// Latitude in degrees, −90 to 90, north positive.
    pub latitude_deg: f64,
    /// Longitude in degrees, −180 to 180, east positive.
    pub longitude_deg: f64,
}

/// One sample of a recording. Every value is optional on its own.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Point {
    /// Nanoseconds since 1970-01-01T00:00:00Z.
    pub time_ns: Option<i64>,
    /// Place of the sample.
    pub position: Option<Position>,
    /// Elevation in metres.
    pub elevation_m: Option<f64>,
    /// Heart rate in beats per minute.
    pub heart_rate_bpm: Option<f64>,
    /// Cadence in steps per minute; as recorded (one leg or both) until the recording is cleaned.
    pub cadence_spm: Option<f64>,
    /// The device's own running total of distance, in metres.
    pub distance_m: Option<f64>,
    /// The device's own speed, in metres per second.
    pub speed_m_per_s: Option<f64>,
}

/// The points of a recording as columns of equal length.
///
/// Missing values are [`NO_TIME`] in the time column and NaN in all others; [`Points::get`] gives them as
/// `None`. A position is missing as a whole: latitude and longitude are both NaN or both numbers.
#[derive(Clone, Debug, Default)]
pub struct Points {
    pub(crate) time_ns: Vec<i64>,
    pub(crate) latitude_deg: Vec<f64>,
    pub(crate) longitude_deg: Vec<f64>,
    pub(crate) elevation_m: Vec<f64>,
    pub(crate) heart_rate_bpm: Vec<f64>,
    pub(crate) cadence_spm: Vec<f64>,
    pub(crate) distance_m: Vec<f64>,
    pub(crate) speed_m_per_s: Vec<f64>,
}

impl Points {
    /// No points yet.
    pub fn new() -> Self {
        Self::default()
    }

    /// Number of points.
    pub fn len(&self) -> usize {
        self.time_ns.len()
    }

    /// Whether there is no point.
    pub fn is_empty(&self) -> bool {
        self.time_ns.is_empty()
    }

    /// Whether positions tell the way: they lie in more than one place and, where a device counts the distance beside them,
    /// are spread over enough of it.
    ///
    /// On a treadmill a receiver writes the same place over and over, or a few positions before it gives up.
    pub fn positions_lead(&self) -> bool {
        let spreads = |degrees: &[f64]| {
            let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
            // What is not known is neither lower nor higher.
            degrees.iter().any(|&value| {
                (low, high) = (low.min(value), high.max(value));
                high - low > ONE_PLACE_DEG
            })
        };
        (spreads(&self.latitude_deg) || spreads(&self.longitude_deg)) && !self.counts_beyond_positions()
    }

    /// Whether nearly all of the device's distance was counted before the first or after the last position.
    fn counts_beyond_positions(&self) -> bool {
        let is_known = |degrees: &f64| !degrees.is_nan();
        let (first, last) =
            (self.latitude_deg.iter().position(is_known), self.latitude_deg.iter().rposition(is_known));
        let (Some(first), Some(last)) = (first, last) else { return false };
        if last + 1 - first == self.len() {
            return false;
        }
        let counted_m = |within: Range<usize>| {
            let mut totals_m = self.distance_m[within].iter().filter(|total_m| !total_m.is_nan());
            let first_m = totals_m.next();
            first_m.zip(totals_m.next_back()).map_or(0.0, |(first_m, last_m)| last_m - first_m)
        };
        counted_m(first..last + 1) < POSITIONS_SHARE * counted_m(0..self.len())
    }

    /// Appends one point.
    #[inline]
    pub fn push(&mut self, point: Point) {
        let mut values = [f64::NAN; Quantity::COUNT];
        if let Some(Position { latitude_deg, longitude_deg }) = point.position {
            values[Quantity::Latitude as usize] = latitude_deg;
            values[Quantity::Longitude as usize] = longitude_deg;
        }
        for (quantity, value) in [
            (Quantity::Elevation, point.elevation_m),
            (Quantity::HeartRate, point.heart_rate_bpm),
            (Quantity::Cadence, point.cadence_spm),
            (Quantity::Distance, point.distance_m),
            (Quantity::Speed, point.speed_m_per_s),
        ] {
            values[quantity as usize] = value.unwrap_or(f64::NAN);
        }
        self.push_values(point.time_ns, &values);
    }

    /// Appends a point with values by quantity, NaN where missing.
    #[inline]
    pub(crate) fn push_values(&mut self, time_ns: Option<i64>, values: &[f64; Quantity::COUNT]) {
        let value = |quantity: Quantity| values[quantity as usize];
        self.time_ns.push(time_ns.unwrap_or(NO_TIME));
        self.latitude_deg.push(value(Quantity::Latitude));
        self.longitude_deg.push(value(Quantity::Longitude));
        self.elevation_m.push(value(Quantity::Elevation));
        self.heart_rate_bpm.push(value(Quantity::HeartRate));
        self.cadence_spm.push(value(Quantity::Cadence));
        self.distance_m.push(value(Quantity::Distance));
        self.speed_m_per_s.push(value(Quantity::Speed));
    }

    /// The point at `index`.
    ///
    /// # Panics
    /// Where `index` is not below [`Points::len`].
    pub fn get(&self, index: usize) -> Point {
        let present = |value: f64| (!value.is_nan()).then_some(value);
        Point {
            time_ns: (self.time_ns[index] != NO_TIME).then_some(self.time_ns[index]),
            position: present(self.latitude_deg[index])
                .map(|latitude_deg| Position { latitude_deg, longitude_deg: self.longitude_deg[index] }),
            elevation_m: present(self.elevation_m[index]),
            heart_rate_bpm: present(self.heart_rate_bpm[index]),
            cadence_spm: present(self.cadence_spm[index]),
            distance_m: present(self.distance_m[index]),
            speed_m_per_s: present(self.speed_m_per_s[index]),
        }
    }

    /// The position at `index`.
    ///
    /// # Panics
    /// Where `index` is not below [`Points::len`].
    #[inline]
    pub fn position(&self, index: usize) -> Option<Position> {
        let (latitude_deg, longitude_deg) = (self.latitude_deg[index], self.longitude_deg[index]);
        (!latitude_deg.is_nan()).then_some(Position { latitude_deg, longitude_deg })
    }

    /// Makes room for more points, so that columns need not grow while they are filled.
    pub(crate) fn reserve(&mut self, additional: usize) {
        self.time_ns.reserve(additional);
        self.latitude_deg.reserve(additional);
        self.longitude_deg.reserve(additional);
        self.elevation_m.reserve(additional);
        self.heart_rate_bpm.reserve(additional);
        self.cadence_spm.reserve(additional);
        self.distance_m.reserve(additional);
        self.speed_m_per_s.reserve(additional);
    }

    /// Gives each column so many values: missing ones where it has less.
    pub(crate) fn fill_up(&mut self, length: usize) {
        self.time_ns.resize(length, NO_TIME);
        for column in [
            &mut self.latitude_deg,
            &mut self.longitude_deg,
            &mut self.elevation_m,
            &mut self.heart_rate_bpm,
            &mut self.cadence_spm,
            &mut self.distance_m,
            &mut self.speed_m_per_s,
        ] {
            column.resize(length, f64::NAN);
        }
    }

    /// The points at `indices`, in that order.
    pub(crate) fn select(&self, indices: &[usize]) -> Self {
        fn pick<T: Copy>(column: &[T], indices: &[usize]) -> Vec<T> {
            indices.iter().map(|&index| column[index]).collect()
        }
        Self {
            time_ns: pick(&self.time_ns, indices),
            latitude_deg: pick(&self.latitude_deg, indices),
            longitude_deg: pick(&self.longitude_deg, indices),
            elevation_m: pick(&self.elevation_m, indices),
            heart_rate_bpm: pick(&self.heart_rate_bpm, indices),
            cadence_spm: pick(&self.cadence_spm, indices),
            distance_m: pick(&self.distance_m, indices),
            speed_m_per_s: pick(&self.speed_m_per_s, indices),
        }
    }

    /// Appends the points of another.
    pub(crate) fn append(&mut self, mut other: Self) {
        self.time_ns.append(&mut other.time_ns);
        self.latitude_deg.append(&mut other.latitude_deg);
        self.longitude_deg.append(&mut other.longitude_deg);
        self.elevation_m.append(&mut other.elevation_m);
        self.heart_rate_bpm.append(&mut other.heart_rate_bpm);
        self.cadence_spm.append(&mut other.cadence_spm);
        self.distance_m.append(&mut other.distance_m);
        self.speed_m_per_s.append(&mut other.speed_m_per_s);
    }

    /// Forgets the position at `index`.
    pub(crate) fn forget_position(&mut self, index: usize) {
        self.latitude_deg[index] = f64::NAN;
        self.longitude_deg[index] = f64::NAN;
    }

    /// All points in order, without allocating.
    ///
    /// ```
    /// use boutwise_track::{Point, Points};
    ///
    /// let points: Points = [Some(131.0), None].map(|bpm| Point { heart_rate_bpm: bpm, ..Point::default() }).into_iter().collect();
    /// assert_eq!(points.iter().filter_map(|point| point.heart_rate_bpm).sum::<f64>(), 131.0);
    /// ```
    pub fn iter(&self) -> impl ExactSizeIterator<Item = Point> + '_ {
        (0..self.len()).map(|index| self.get(index))
    }

    /// Times in nanoseconds since 1970-01-01T00:00:00Z; [`NO_TIME`] where missing.
    pub fn time_ns(&self) -> &[i64] {
        &self.time_ns
    }

    /// Latitudes in degrees; NaN where missing.
    pub fn latitude_deg(&self) -> &[f64] {
        &self.latitude_deg
    }

    /// Longitudes in degrees; NaN where missing.
    pub fn longitude_deg(&self) -> &[f64] {
        &self.longitude_deg
    }

    /// Elevations in metres; NaN where missing.
    pub fn elevation_m(&self) -> &[f64] {
        &self.elevation_m
    }

    /// Heart rates in beats per minute; NaN where missing.
    pub fn heart_rate_bpm(&self) -> &[f64] {
        &self.heart_rate_bpm
    }

    /// Cadences in steps per minute; NaN where missing.
    pub fn cadence_spm(&self) -> &[f64] {
        &self.cadence_spm
    }

    /// The device's running totals of distance in metres; NaN where missing.
    pub fn distance_m(&self) -> &[f64] {
        &self.distance_m
    }

    /// The device's own speeds in metres per second; NaN where missing.
    pub fn speed_m_per_s(&self) -> &[f64] {
        &self.speed_m_per_s
    }
}

impl FromIterator<Point> for Points {
    fn from_iter<I: IntoIterator<Item = Point>>(points: I) -> Self {
        let mut columns = Self::new();
        points.into_iter().for_each(|point| columns.push(point));
        columns
    }
}

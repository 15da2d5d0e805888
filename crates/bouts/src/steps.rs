//! The displacements between points, from whatever the recording measures them by.

use boutwise_track::Points;

/// Semi-major axis of WGS-84 in metres (NGA TR8350.2, from memory).
const SEMI_MAJOR_AXIS_M: f64 = 6_378_137.0;
/// First eccentricity of WGS-84, squared (NGA TR8350.2, from memory).
const ECCENTRICITY_SQUARED: f64 = 6.694_379_990_14e-3;
/// Metres per degree are taken afresh once the latitude moved this far.
const LATITUDE_STEP_DEG: f64 = 0.002;
/// A position that repeats is no news for this long, in seconds: coarse or stale positions move in leaps, and a
/// leap belongs to the whole time since the last one (own choice).
const REPEAT_S: f64 = 12.0;
/// A faster single step is a jump of the position, in metres per second (own choice).
pub(crate) const JUMP_M_PER_S: f64 = 8.0;
/// Who went on while positions were missing or stood came further than at this speed, in metres per second (own choice: slower
/// than walking, which may turn).
pub(crate) const SLOWEST_M_PER_S: f64 = 1.1;
/// Positions within this many degrees all along are one place: the recording was made on the spot.
const ONE_PLACE_DEG: f64 = 2e-5;

/// A displacement between two points.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Step {
    pub(crate) start_s: f64,
    pub(crate) end_s: f64,
    pub(crate) east_m: f64,
    pub(crate) north_m: f64,
}

impl Step {
    pub(crate) fn span_s(&self) -> f64 {
        self.end_s - self.start_s
    }

    pub(crate) fn length_m(&self) -> f64 {
        self.east_m.hypot(self.north_m)
    }

    /// Whether it is longer than so many metres. None is longer than its two sides together, which mostly tell.
    fn is_longer(&self, than_m: f64) -> bool {
        self.east_m.abs() + self.north_m.abs() > than_m && self.length_m() > than_m
    }

    fn is_still(&self) -> bool {
        self.east_m == 0.0 && self.north_m == 0.0
    }

    /// Whether whoever made it went on, as far as its ends tell.
    pub(crate) fn goes_on(&self) -> bool {
        self.length_m() >= SLOWEST_M_PER_S * self.span_s()
    }
}

/// The steps of a recording up to `longest_s`, and longer ones from position to position: from positions, else from the
/// device's running total of distance, else from its speed. Without direction all steps lead east.
pub(crate) fn steps(points: &Points, times_s: &[f64], longest_s: f64) -> (Vec<Step>, Vec<Step>) {
    if moves(points) {
        return position_steps(points, times_s, longest_s);
    }
    let distance_steps = scalar_steps(times_s, points.distance_m(), longest_s, |from, to, _| to - from);
    if distance_steps.iter().any(|step| step.east_m > 0.0) {
        return (distance_steps, Vec::new());
    }
    let by_speed = |from, to, span_s| 0.5 * (from + to) * span_s;
    (scalar_steps(times_s, points.speed_m_per_s(), longest_s, by_speed), Vec::new())
}

/// Whether there are positions in more than one place.
pub(crate) fn moves(points: &Points) -> bool {
    let spreads = |degrees: &[f64]| {
        let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
        // What is not known is neither lower nor higher.
        degrees.iter().any(|&value| {
            (low, high) = (low.min(value), high.max(value));
            high - low > ONE_PLACE_DEG
        })
    };
    spreads(points.latitude_deg()) || spreads(points.longitude_deg())
}

fn position_steps(points: &Points, times_s: &[f64], longest_s: f64) -> (Vec<Step>, Vec<Step>) {
    let (mut steps, mut long): (Vec<Step>, Vec<Step>) = (Vec::with_capacity(points.len()), Vec::new());
    let mut scale = DegreeLengths::at(f64::NAN);
    let mut last: Option<(f64, f64, f64)> = None;
    let positions = points.latitude_deg().iter().zip(points.longitude_deg());
    for (&time_s, (&latitude_deg, &longitude_deg)) in times_s.iter().zip(positions) {
        if latitude_deg.is_nan() {
            continue;
        }
        if let Some((last_s, last_latitude_deg, last_longitude_deg)) = last {
            let span_s = time_s - last_s;
            let repeats = latitude_deg == last_latitude_deg && longitude_deg == last_longitude_deg;
            if repeats && span_s < REPEAT_S {
                continue;
            }
            scale = scale.near(latitude_deg);
            let mut turn_deg = longitude_deg - last_longitude_deg;
            if turn_deg.abs() > 180.0 {
                turn_deg -= 360.0_f64.copysign(turn_deg);
            }
            let step = Step {
                start_s: last_s,
                end_s: time_s,
                east_m: turn_deg * scale.east_m,
                north_m: (latitude_deg - last_latitude_deg) * scale.north_m,
            };
            let leaps = step.is_longer(JUMP_M_PER_S * span_s);
            let step = if leaps { thawed(step, &mut steps) } else { step };
            match step.span_s() <= longest_s {
                true => steps.push(step),
                false => long.push(step),
            }
        }
        last = Some((time_s, latitude_deg, longitude_deg));
    }
    (steps, long)
}

/// A leap with the time before it in which its position stood still: a receiver that lost its satellites writes the last position
/// again and leaps once it has them back; nobody stood, and what lies between was not seen.
fn thawed(leap: Step, steps: &mut Vec<Step>) -> Step {
    let still = steps.iter().rev().take_while(|step| step.is_still()).count();
    let frozen = steps.len() - still;
    let Some(first) = steps.get(frozen) else { return leap };
    let thawed = Step { start_s: first.start_s, ..leap };
    match thawed.goes_on() {
        true => {
            steps.truncate(frozen);
            thawed
        }
        false => leap,
    }
}

fn scalar_steps(
    times_s: &[f64],
    values: &[f64],
    longest_s: f64,
    length_m: impl Fn(f64, f64, f64) -> f64,
) -> Vec<Step> {
    let mut steps = Vec::new();
    let mut last: Option<(f64, f64)> = None;
    for (&time_s, &value) in times_s.iter().zip(values).filter(|(_, value)| !value.is_nan()) {
        if let Some((last_s, last_value)) = last
            && time_s - last_s <= longest_s
        {
            let east_m = length_m(last_value, value, time_s - last_s).max(0.0);
            steps.push(Step { start_s: last_s, end_s: time_s, east_m, north_m: 0.0 });
        }
        last = Some((time_s, value));
    }
    steps
}

/// Metres per degree of longitude and latitude on WGS-84 around a latitude.
#[derive(Clone, Copy)]
struct DegreeLengths {
    latitude_deg: f64,
    east_m: f64,
    north_m: f64,
}

impl DegreeLengths {
    fn at(latitude_deg: f64) -> Self {
        let (sin, cos) = latitude_deg.to_radians().sin_cos();
        let w_squared = 1.0 - ECCENTRICITY_SQUARED * sin * sin;
        let prime_vertical_m = SEMI_MAJOR_AXIS_M / w_squared.sqrt();
        let meridian_m = prime_vertical_m * (1.0 - ECCENTRICITY_SQUARED) / w_squared;
        Self { latitude_deg, east_m: (prime_vertical_m * cos).to_radians(), north_m: meridian_m.to_radians() }
    }

    fn near(self, latitude_deg: f64) -> Self {
        let is_near = (latitude_deg - self.latitude_deg).abs() <= LATITUDE_STEP_DEG;
        if is_near { self } else { Self::at(latitude_deg) }
    }
}

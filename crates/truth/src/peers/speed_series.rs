//! A recording on a regular grid of seconds, as simply as it is commonly done.

use boutwise_bouts::Kind;
use boutwise_track::{NO_TIME, Recording};

use crate::evaluation::FoundBout;

/// Steps longer than this are gaps, in seconds.
const GAP_S: f64 = 20.0;
/// Runs shorter than this are not counted, in seconds.
const SHORTEST_RUN_S: usize = 15;
/// Other stretches shorter than this are filled, in seconds.
const SHORTEST_BREAK_S: usize = 10;
/// Mean radius of the Earth in metres (2a + b)/3, for a flat map of a few kilometres.
const EARTH_RADIUS_M: f64 = 6_371_008.8;

/// One value a second from the first point on.
#[derive(Clone, Debug)]
pub struct SpeedSeries {
    /// East and north in metres from the first position.
    pub place_m: Vec<[f64; 2]>,
    /// Steps of both legs a minute, held over dropouts; NaN before the first value.
    pub cadence_spm: Vec<f64>,
    /// Whether the second lies in a gap.
    pub gap: Vec<bool>,
}

impl SpeedSeries {
    /// Straight lines between the positions of a recording; `None` without two timed positions.
    pub fn of(recording: &Recording) -> Option<Self> {
        let points = &recording.points;
        let start_ns = *points.time_ns().iter().find(|&&time_ns| time_ns != NO_TIME)?;
        let first = points.iter().find_map(|point| point.position)?;
        let metres = EARTH_RADIUS_M.to_radians();
        let squeeze = first.latitude_deg.to_radians().cos();
        let mut places = Vec::new();
        let mut cadences = Vec::new();
        for point in points.iter() {
            let Some(time_ns) = point.time_ns else { continue };
            let time_s = (time_ns - start_ns) as f64 * 1e-9;
            cadences.extend(point.cadence_spm.map(|cadence_spm| (time_s, cadence_spm)));
            places.extend(point.position.map(|position| {
                let east_m = (position.longitude_deg - first.longitude_deg) * squeeze * metres;
                (time_s, [east_m, (position.latitude_deg - first.latitude_deg) * metres])
            }));
        }
        if places.len() < 2 {
            return None;
        }
        let length = recording.duration_s().floor() as usize + 1;
        let mut series = Self {
            place_m: Vec::with_capacity(length),
            cadence_spm: Vec::with_capacity(length),
            gap: Vec::with_capacity(length),
        };
        let mut next = 1;
        let mut held = cadences.iter().peekable();
        let mut cadence_spm = f64::NAN;
        for second in 0..length {
            let time_s = second as f64;
            while next + 1 < places.len() && places[next].0 < time_s {
                next += 1;
            }
            let (before, after) = (places[next - 1], places[next]);
            let share = ((time_s - before.0) / (after.0 - before.0)).clamp(0.0, 1.0);
            series.place_m.push([0, 1].map(|axis| before.1[axis] + share * (after.1[axis] - before.1[axis])));
            series.gap.push(after.0 - before.0 > GAP_S && before.0 <= time_s && time_s < after.0);
            while let Some(&&(_, value)) = held.peek().filter(|sample| sample.0 <= time_s) {
                cadence_spm = value;
                held.next();
            }
            series.cadence_spm.push(cadence_spm);
        }
        Some(series)
    }

    /// Mean of the step speeds over so many seconds around each second, in m/s.
    pub fn mean_speed_m_per_s(&self, window_s: usize) -> Vec<f64> {
        let mut sums = vec![0.0];
        for pair in self.place_m.windows(2) {
            let step_m = (pair[1][0] - pair[0][0]).hypot(pair[1][1] - pair[0][1]);
            sums.push(sums[sums.len() - 1] + step_m);
        }
        self.windows(window_s).map(|(from, to)| (sums[to] - sums[from]) / (to - from).max(1) as f64).collect()
    }

    /// Straight distance over so many seconds around each second, divided by them, in m/s.
    pub fn displacement_speed_m_per_s(&self, window_s: usize) -> Vec<f64> {
        let place = &self.place_m;
        let straight_m =
            |from: usize, to: usize| (place[to][0] - place[from][0]).hypot(place[to][1] - place[from][1]);
        self.windows(window_s).map(|(from, to)| straight_m(from, to) / (to - from).max(1) as f64).collect()
    }

    fn windows(&self, window_s: usize) -> impl Iterator<Item = (usize, usize)> + '_ {
        let (half, last) = (window_s / 2, self.place_m.len() - 1);
        (0..=last).map(move |second| (second.saturating_sub(half), (second + half).min(last)))
    }

    /// Bouts from a verdict a second; gaps cut in, short breaks filled, short runs left out.
    pub fn bouts(&self, running: &[bool]) -> Vec<FoundBout> {
        let kind = |second: usize| match (self.gap[second], running[second]) {
            (true, _) => Kind::Gap,
            (false, true) => Kind::Run,
            (false, false) => Kind::Walk,
        };
        let mut kinds: Vec<Kind> = (0..running.len()).map(kind).collect();
        replace_short(&mut kinds, Kind::Walk, SHORTEST_BREAK_S, Kind::Run);
        replace_short(&mut kinds, Kind::Run, SHORTEST_RUN_S, Kind::Walk);
        stretches(&kinds)
            .map(|(kind, from, to)| FoundBout {
                kind,
                start_s: from as f64,
                end_s: to.min(kinds.len() - 1) as f64,
                confidence: None,
            })
            .filter(|bout| bout.end_s > bout.start_s)
            .collect()
    }
}

fn stretches(kinds: &[Kind]) -> impl Iterator<Item = (Kind, usize, usize)> + '_ {
    let mut from = 0;
    kinds.chunk_by(|a, b| a == b).map(move |chunk| {
        let start = from;
        from += chunk.len();
        (chunk[0], start, from)
    })
}

/// Turns stretches of `kind` shorter than `shortest` into `other` where they stand between two of `other`, or where
/// they are runs.
fn replace_short(kinds: &mut [Kind], kind: Kind, shortest: usize, other: Kind) {
    let found: Vec<(Kind, usize, usize)> = stretches(kinds).collect();
    for (index, &(_, from, to)) in
        found.iter().enumerate().filter(|(_, s)| s.0 == kind && s.2 - s.1 < shortest)
    {
        let beside = |neighbour: Option<&(Kind, usize, usize)>| neighbour.is_some_and(|s| s.0 == other);
        let between =
            beside(index.checked_sub(1).and_then(|before| found.get(before))) && beside(found.get(index + 1));
        if between || kind == Kind::Run {
            kinds[from..to].fill(other);
        }
    }
}

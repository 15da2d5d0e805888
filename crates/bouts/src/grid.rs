//! A recording on a regular grid of one-second cells.

use std::ops::Range;

use boutwise_track::Points;

use crate::SegmentSettings;
use crate::steps::{Step, steps};

/// Steps longer than this, in seconds, carry reduced weight: the path between their ends is not seen.
const COARSE_STEP_S: f64 = 9.5;
/// Weight of a cell within such a step.
const COARSE_STEP_WEIGHT: f64 = 0.5;
/// No leg moves a beginner faster for long, in metres per second (own choice; 1 km in 2:34).
const FASTER_THAN_LEGS_M_PER_S: f64 = 6.5;
/// A faster single step is a jump of the position, in metres per second (own choice).
const JUMP_M_PER_S: f64 = 8.0;
/// Seconds over which a vehicle keeps its speed.
const VEHICLE_WINDOW_S: usize = 30;
/// Share of the window that is faster than legs.
const VEHICLE_SHARE: f64 = 0.8;
/// Stops of a vehicle up to this long, in seconds, belong to the ride (own choice).
const VEHICLE_STOP_S: usize = 180;
/// A ride begins and ends where it is slower than this, in metres per second (own choice).
const VEHICLE_EDGE_M_PER_S: f64 = 4.0;
/// Steps this many robust standard deviations off their surroundings are jumps.
const JUMP_SDS: f64 = 5.0;
/// Least deviation in metres per second that can be a jump.
const JUMP_FLOOR_M_PER_S: f64 = 1.0;
/// Standard deviation of a normal distribution over its median absolute deviation.
pub(crate) const SD_PER_MAD: f64 = 1.4826;

/// One-second cells: cell `i` covers the seconds `i` to `i + 1` after the first point.
#[derive(Debug, Default)]
pub(crate) struct Grid {
    /// Seconds from the first to the last point.
    pub(crate) duration_s: f64,
    /// Metres along the track in each cell, projected on the heading; jumps replaced.
    pub(crate) along_m: Vec<f64>,
    /// Metres to the east in each cell.
    pub(crate) east_m: Vec<f64>,
    /// Metres to the north in each cell.
    pub(crate) north_m: Vec<f64>,
    /// What the displacement of each cell is worth, 0 (nothing known) to 1.
    pub(crate) weight: Vec<f64>,
    /// Length of the step that crosses each cell, in seconds.
    pub(crate) step_s: Vec<f32>,
    /// Cadence of both legs in steps per minute, NaN where missing.
    pub(crate) cadence_spm: Vec<f32>,
    /// Heart rate in beats per minute, NaN where missing.
    pub(crate) heart_rate_bpm: Vec<f32>,
    /// Stretches without points, as exact seconds.
    pub(crate) gaps: Vec<Range<f64>>,
    /// Stretches faster than legs, as cells.
    pub(crate) rides: Vec<Range<usize>>,
    /// Number of cells whose displacement was left out as a jump.
    pub(crate) jumps: usize,
}

impl Grid {
    /// Lays the points of a recording on the grid.
    pub(crate) fn new(points: &Points, settings: &SegmentSettings) -> Self {
        let times_s = seconds_from_first(points);
        let duration_s = times_s.last().copied().unwrap_or(0.0);
        let cells = duration_s.ceil() as usize;
        let mut grid = Self {
            duration_s,
            cadence_spm: sample(&times_s, points.cadence_spm(), cells, settings.gap_s),
            heart_rate_bpm: sample(&times_s, points.heart_rate_bpm(), cells, settings.gap_s),
            gaps: times_s
                .windows(2)
                .filter(|pair| pair[1] - pair[0] > settings.gap_s)
                .map(|pair| pair[0]..pair[1])
                .collect(),
            ..Self::default()
        };
        grid.spread(&steps(points, &times_s, settings.gap_s), cells);
        grid.find_rides();
        grid.project(settings.heading_half_width_s);
        grid
    }

    /// Number of cells.
    pub(crate) fn len(&self) -> usize {
        self.along_m.len()
    }

    /// Shares each step out over the cells that it crosses.
    fn spread(&mut self, steps: &[Step], cells: usize) {
        self.east_m = vec![0.0; cells];
        self.north_m = vec![0.0; cells];
        self.weight = vec![0.0; cells];
        self.step_s = vec![0.0; cells];
        for step in steps {
            let span_s = step.end_s - step.start_s;
            let trust = if span_s > COARSE_STEP_S { COARSE_STEP_WEIGHT } else { 1.0 };
            let last = (step.end_s.ceil() as usize).min(cells);
            for cell in step.start_s as usize..last {
                let covered_s = step.end_s.min(cell as f64 + 1.0) - step.start_s.max(cell as f64);
                self.east_m[cell] += step.east_m * covered_s / span_s;
                self.north_m[cell] += step.north_m * covered_s / span_s;
                self.weight[cell] += trust * covered_s;
                self.step_s[cell] = span_s as f32;
            }
        }
    }

    /// Marks stretches that no leg can cover.
    fn find_rides(&mut self) {
        let fast: Vec<bool> =
            (0..self.east_m.len()).map(|i| self.cell_speed(i) > FASTER_THAN_LEGS_M_PER_S).collect();
        if fast.iter().filter(|&&is_fast| is_fast).count() < VEHICLE_WINDOW_S / 2 {
            return;
        }
        let needed = (VEHICLE_SHARE * VEHICLE_WINDOW_S as f64) as usize;
        let mut in_window = 0;
        for end in 0..fast.len() {
            in_window += usize::from(fast[end]);
            if end >= VEHICLE_WINDOW_S {
                in_window -= usize::from(fast[end - VEHICLE_WINDOW_S]);
            }
            if in_window < needed {
                continue;
            }
            let start = (end + 1).saturating_sub(VEHICLE_WINDOW_S);
            match self.rides.last_mut() {
                Some(ride) if start <= ride.end + VEHICLE_STOP_S => ride.end = end + 1,
                _ => self.rides.push(start..end + 1),
            }
        }
        let mut rides = std::mem::take(&mut self.rides);
        for ride in &mut rides {
            while ride.start > 0 && self.cell_speed(ride.start - 1) > VEHICLE_EDGE_M_PER_S {
                ride.start -= 1;
            }
            while ride.end < fast.len() && self.cell_speed(ride.end) > VEHICLE_EDGE_M_PER_S {
                ride.end += 1;
            }
        }
        self.rides = rides;
    }

    fn cell_speed(&self, cell: usize) -> f64 {
        self.east_m[cell].hypot(self.north_m[cell])
    }

    /// Fills `along_m`: each cell's displacement projected on the heading around it, without jumps.
    fn project(&mut self, half_width_s: usize) {
        for cell in 0..self.east_m.len() {
            if self.cell_speed(cell) > JUMP_M_PER_S && !self.rides.iter().any(|ride| ride.contains(&cell)) {
                self.leave_out(cell);
            }
        }
        let mut headings = Headings::default();
        headings.fill(self, half_width_s);
        let mut along_off = Vec::with_capacity(self.east_m.len());
        let mut cross_off = Vec::with_capacity(self.east_m.len());
        for cell in 0..self.east_m.len() {
            let (along_m, cross_m) = headings.resolve(self, cell);
            along_off.push(along_m - headings.speed_m_per_s[cell] * self.weight[cell].min(1.0));
            cross_off.push(cross_m);
        }
        let along_limit = jump_limit(&along_off, &self.weight);
        let cross_limit = jump_limit(&cross_off, &self.weight);
        let jumps_before = self.jumps;
        for cell in 0..self.east_m.len() {
            if along_off[cell].abs() > along_limit || cross_off[cell].abs() > cross_limit {
                self.leave_out(cell);
            }
        }
        if self.jumps > jumps_before {
            headings.fill(self, half_width_s);
        }
        self.along_m = (0..self.east_m.len())
            .map(|cell| {
                if self.weight[cell] > 0.0 {
                    headings.resolve(self, cell).0
                } else {
                    headings.speed_m_per_s[cell]
                }
            })
            .collect();
    }

    fn leave_out(&mut self, cell: usize) {
        if self.weight[cell] > 0.0 {
            self.east_m[cell] = 0.0;
            self.north_m[cell] = 0.0;
            self.weight[cell] = 0.0;
            self.jumps += 1;
        }
    }
}

/// Limit beyond which a deviation is a jump, from the median absolute deviation of the known cells.
fn jump_limit(deviation_m: &[f64], weight: &[f64]) -> f64 {
    let mut sizes: Vec<f64> =
        deviation_m.iter().zip(weight).filter(|(_, w)| **w > 0.0).map(|(d, _)| d.abs()).collect();
    match median(&mut sizes) {
        Some(mad_m) => JUMP_SDS * SD_PER_MAD * mad_m + JUMP_FLOOR_M_PER_S,
        None => f64::INFINITY,
    }
}

/// The upper median; reorders the values.
pub(crate) fn median(values: &mut [f64]) -> Option<f64> {
    if values.is_empty() {
        return None;
    }
    let middle = values.len() / 2;
    Some(*values.select_nth_unstable_by(middle, f64::total_cmp).1)
}

/// Direction and speed of travel around each cell.
#[derive(Default)]
struct Headings {
    east: Vec<f64>,
    north: Vec<f64>,
    speed_m_per_s: Vec<f64>,
}

impl Headings {
    fn fill(&mut self, grid: &Grid, half_width_s: usize) {
        let cells = grid.east_m.len();
        self.east.clear();
        self.north.clear();
        self.speed_m_per_s.clear();
        let (mut east_m, mut north_m, mut known_s) = (0.0, 0.0, 0.0);
        for cell in 0..half_width_s.min(cells) {
            east_m += grid.east_m[cell];
            north_m += grid.north_m[cell];
            known_s += f64::from(u8::from(grid.weight[cell] > 0.0));
        }
        for cell in 0..cells {
            if let Some(&weight) = grid.weight.get(cell + half_width_s) {
                east_m += grid.east_m[cell + half_width_s];
                north_m += grid.north_m[cell + half_width_s];
                known_s += f64::from(u8::from(weight > 0.0));
            }
            if cell > half_width_s {
                let left = cell - half_width_s - 1;
                east_m -= grid.east_m[left];
                north_m -= grid.north_m[left];
                known_s -= f64::from(u8::from(grid.weight[left] > 0.0));
            }
            let length_m = (east_m * east_m + north_m * north_m).sqrt();
            let scale = if length_m > 0.0 { 1.0 / length_m } else { 0.0 };
            self.east.push(east_m * scale);
            self.north.push(north_m * scale);
            self.speed_m_per_s.push(if known_s > 0.0 { length_m / known_s } else { 0.0 });
        }
    }

    /// Metres along and across the heading in a cell.
    fn resolve(&self, grid: &Grid, cell: usize) -> (f64, f64) {
        let (east_m, north_m) = (grid.east_m[cell], grid.north_m[cell]);
        (
            east_m * self.east[cell] + north_m * self.north[cell],
            north_m * self.east[cell] - east_m * self.north[cell],
        )
    }
}

/// Seconds of each point from the first one.
pub(crate) fn seconds_from_first(points: &Points) -> Vec<f64> {
    let first_ns = points.time_ns().first().copied().unwrap_or(0);
    points.time_ns().iter().map(|&time_ns| time_ns.saturating_sub(first_ns) as f64 * 1e-9).collect()
}

/// Values at the middle of each cell: linear between readings up to `longest_s` apart, the nearer one beside a
/// reading of zero (a dropout does not halve its neighbours), NaN elsewhere.
fn sample(times_s: &[f64], values: &[f64], cells: usize, longest_s: f64) -> Vec<f32> {
    let mut sampled = vec![f32::NAN; cells];
    let mut readings = times_s.iter().zip(values).filter(|(_, value)| !value.is_nan());
    let Some((mut from_s, mut from)) = readings.next() else {
        return sampled;
    };
    for (to_s, to) in readings {
        if to_s - from_s <= longest_s {
            let first = (from_s - 0.5).ceil().max(0.0) as usize;
            let last = ((to_s + 0.5).floor() as usize).min(cells);
            for (cell, slot) in sampled.iter_mut().enumerate().take(last).skip(first) {
                let share = (cell as f64 + 0.5 - from_s) / (to_s - from_s);
                *slot = if *from == 0.0 || *to == 0.0 {
                    if share < 0.5 { *from } else { *to }
                } else {
                    from + share * (to - from)
                } as f32;
            }
        }
        (from_s, from) = (to_s, to);
    }
    sampled
}

//! A recording on a regular grid of one-second cells.

use std::borrow::Cow;
use std::cell::OnceCell;
use std::ops::Range;

use boutwise_track::{Points, Recording};

use crate::SegmentSettings;
use crate::heading::Headings;
use crate::stand::STUMBLE_S;
use crate::statistics::{count, largest};
use crate::steps::{JUMP_M_PER_S, Step, steps};
use crate::timeline::Timeline;

/// Steps longer than this, in seconds, carry reduced weight: the path between their ends is not seen.
const COARSE_STEP_S: f64 = 9.5;
/// Weight of a cell within such a step.
const COARSE_STEP_WEIGHT: f64 = 0.5;
/// A device that pauses goes on writing the last cadence for no longer than this, in seconds (own choice: 76 s are seen in an
/// open recording); cadence that goes on for longer is believed.
const STALE_CADENCE_S: f64 = 120.0;
/// Positions that are missing for longer, in seconds, leave open what was done where nothing counts steps either, although the
/// person came on (own choice: two or three bouts hide in it).
const UNSEEN_S: f64 = 60.0;
/// Share of a stretch of which the way must be known to speak for the rest of it (own choice).
const KNOWN_LENGTH_SHARE: f64 = 0.2;
/// A step in which the device paused is so many times as long as its steps are in the mean (own choice).
const PAUSE_STEPS: f64 = 3.0;
/// Steps this many robust standard deviations off their surroundings are jumps.
const JUMP_SDS: f64 = 5.0;
/// Least deviation in metres per second that can be a jump.
const JUMP_FLOOR_M_PER_S: f64 = 1.0;
/// Standard deviation of a normal distribution over its median absolute deviation.
pub(crate) const SD_PER_MAD: f64 = 1.4826;

/// One-second cells. Up to the first long gap cell `i` covers the seconds `i` to `i + 1` after the first point; what lies deep
/// inside a gap has no cells.
#[derive(Clone, Debug, Default)]
pub(crate) struct Grid {
    /// Seconds from the first to the last point.
    pub(crate) duration_s: f64,
    /// Which seconds the cells stand for.
    pub(crate) timeline: Timeline,
    /// Metres along the track in each cell, projected on the heading; jumps replaced.
    pub(crate) along_m: Vec<f64>,
    /// Metres to the east in each cell.
    pub(crate) east_m: Vec<f64>,
    /// Metres to the north in each cell.
    pub(crate) north_m: Vec<f64>,
    /// What the displacement of each cell is worth, 0 (nothing known) to 1.
    pub(crate) weight: Vec<f64>,
    /// Length of the step that crosses each cell, in seconds; 0 where none does.
    pub(crate) step_s: Vec<f32>,
    /// Cadence of both legs in steps per minute, NaN where missing.
    pub(crate) cadence_spm: Vec<f32>,
    /// Heart rate in beats per minute, NaN where missing.
    pub(crate) heart_rate_bpm: Vec<f32>,
    /// Stretches of which nothing is known, in exact seconds.
    pub(crate) gaps: Vec<Range<f64>>,
    /// Those of them in which the person came on, or nobody can tell.
    pub(crate) unseen: Vec<Range<f64>>,
    /// Mean length of a step in seconds; 0 without steps.
    pub(crate) mean_step_s: f64,
    /// Number of cells left out since nobody moves so fast.
    pub(crate) jumps: usize,
    /// What [`Grid::sums`] gives, summed up when first asked for.
    pub(crate) sums: OnceCell<Vec<(f64, f64)>>,
}

impl Grid {
    /// Lays a recording on the grid; `times_s` are the seconds of its points from the first one.
    pub(crate) fn new(recording: &Recording, times_s: &[f64], settings: &SegmentSettings) -> Self {
        let points = &recording.points;
        let duration_s = times_s.last().copied().unwrap_or(0.0);
        let gap_s = settings.gap_s;
        let (steps, long_steps) = steps(points, times_s, gap_s);
        let cadence = fresh_cadence(points, times_s, &steps);
        let Gaps { gaps, unseen } = Gaps::new(points, times_s, &long_steps, &cadence, gap_s);
        let timeline = Timeline::new(&gaps);
        let cells = timeline.cell(duration_s.ceil() as usize);
        let sampler = Sampler::new(times_s, &timeline, cells, gap_s);
        let mut cadence_spm = sampler.at_middles(&cadence);
        forget_unseen_cadence(&mut cadence_spm, times_s, &steps, &timeline, settings);
        let mut grid = Self {
            duration_s,
            cadence_spm,
            heart_rate_bpm: sampler.at_middles(points.heart_rate_bpm()),
            unseen,
            ..Self::default()
        };
        grid.spread(&steps, &timeline, cells);
        drop(steps);
        (grid.gaps, grid.timeline) = (gaps, timeline);
        grid.project(settings.heading_half_width_s);
        grid
    }

    /// Number of cells.
    pub(crate) fn len(&self) -> usize {
        self.along_m.len()
    }

    /// Seconds of a range of cells, with those deep inside gaps.
    pub(crate) fn seconds(&self, cells: &Range<usize>) -> usize {
        self.timeline.seconds(cells)
    }

    /// All cells, cut at long gaps, each piece from a whole multiple of seconds on.
    pub(crate) fn pieces(&self, multiple_s: usize) -> impl Iterator<Item = Range<usize>> + Clone + '_ {
        self.timeline.pieces(self.len(), multiple_s)
    }

    /// Trusted metres along the track within cells, and trusted seconds.
    pub(crate) fn trusted(&self, cells: Range<usize>) -> (f64, f64) {
        let sums = self.sums();
        let ((from_m, from_s), (to_m, to_s)) = (sums[cells.start], sums[cells.end]);
        (to_m - from_m, to_s - from_s)
    }

    /// Trusted metres and trusted seconds before each cell and before the end.
    pub(crate) fn sums(&self) -> &[(f64, f64)] {
        self.sums.get_or_init(|| self.sum_up())
    }

    fn sum_up(&self) -> Vec<(f64, f64)> {
        let mut sums = Vec::with_capacity(self.len() + 1);
        let (mut length_m, mut known_s) = (0.0, 0.0);
        sums.push((length_m, known_s));
        sums.extend(self.along_m.iter().zip(&self.weight).map(|(along_m, weight)| {
            length_m += along_m * weight;
            known_s += weight;
            (length_m, known_s)
        }));
        sums
    }

    /// Speed within cells in metres per second, where at least so many seconds are trusted.
    pub(crate) fn speed_m_per_s(&self, cells: Range<usize>, least_known_s: f64) -> Option<f64> {
        let (length_m, known_s) = self.trusted(cells);
        (known_s >= least_known_s).then(|| length_m / known_s)
    }

    /// Metres along the track within cells, whether trusted or filled in; `None` where too little of it is known.
    ///
    /// Cells too far from any position to be filled in count at the mean speed of the others.
    pub(crate) fn length_m(&self, cells: Range<usize>) -> Option<f64> {
        let all = cells.len() as f64;
        let lengths = self.along_m[cells.clone()].iter().zip(&self.weight[cells]);
        let known = lengths.filter(|&(&along_m, &weight)| weight > 0.0 || along_m != 0.0);
        let (length_m, count, trusted) =
            known.fold((0.0, 0.0, false), |(length_m, count, trusted), (along_m, &weight)| {
                (length_m + along_m, count + 1.0, trusted || weight > 0.0)
            });
        (trusted && count >= KNOWN_LENGTH_SHARE * all).then(|| length_m * all / count)
    }

    /// Straight distance between the ends of a range of cells, in metres.
    pub(crate) fn net_m(&self, cells: Range<usize>) -> f64 {
        let east_m: f64 = self.east_m[cells.clone()].iter().sum();
        let north_m: f64 = self.north_m[cells].iter().sum();
        east_m.hypot(north_m)
    }

    /// Shares each step out over the cells that it crosses.
    fn spread(&mut self, steps: &[Step], timeline: &Timeline, cells: usize) {
        self.east_m = vec![0.0; cells];
        self.north_m = vec![0.0; cells];
        self.weight = vec![0.0; cells];
        self.step_s = vec![0.0; cells];
        let mut stepped_s = 0.0;
        for step in steps {
            let span_s = step.span_s();
            stepped_s += span_s;
            let first_s = step.start_s as i64;
            let first = first_s as usize;
            let first_cell = timeline.cell(first);
            if span_s == 1.0 && first_s as f64 == step.start_s && first_cell < cells {
                // What follows, for the usual case of a point each whole second.
                self.east_m[first_cell] += step.east_m;
                self.north_m[first_cell] += step.north_m;
                self.weight[first_cell] += 1.0;
                self.step_s[first_cell] = 1.0;
                continue;
            }
            let trust = if span_s > COARSE_STEP_S { COARSE_STEP_WEIGHT } else { 1.0 };
            for (cell, second) in (first_cell..cells).zip(first..ceil_s(step.end_s)) {
                let covered_s = step.end_s.min(second as f64 + 1.0) - step.start_s.max(second as f64);
                let share = covered_s / span_s;
                self.east_m[cell] += step.east_m * share;
                self.north_m[cell] += step.north_m * share;
                self.weight[cell] += trust * covered_s;
                self.step_s[cell] = span_s as f32;
            }
        }
        self.mean_step_s = stepped_s / steps.len().max(1) as f64;
    }

    fn speed(&self, cell: usize) -> f64 {
        (self.east_m[cell] * self.east_m[cell] + self.north_m[cell] * self.north_m[cell]).sqrt()
    }

    /// Fills `along_m`: each cell's displacement projected on the heading around it, without jumps.
    fn project(&mut self, half_width_s: usize) {
        let cells = self.east_m.len();
        // Without an early end, so that several are looked at together.
        let is_fast = |(east_m, north_m): (&f64, &f64)| {
            east_m * east_m + north_m * north_m > JUMP_M_PER_S * JUMP_M_PER_S
        };
        if self.east_m.iter().zip(&self.north_m).map(is_fast).fold(false, |any, is_fast| any | is_fast) {
            for cell in 0..cells {
                if self.speed(cell) > JUMP_M_PER_S {
                    self.leave_out(cell);
                    self.jumps += 1;
                }
            }
        }
        let mut headings = Headings::default();
        headings.fill(self, half_width_s);
        // How far each cell is off steady movement, NaN where that is not known.
        let [mut along, mut along_off, mut cross_off] = [(); 3].map(|()| vec![f64::NAN; cells]);
        let steps = self.east_m.iter().zip(&self.north_m).zip(&self.weight).zip(headings.all());
        let found = along.iter_mut().zip(&mut along_off).zip(&mut cross_off);
        for ((((&east_m, &north_m), &weight), heading), ((along, along_off), cross_off)) in steps.zip(found) {
            let (along_m, cross_m) = heading.resolve(east_m, north_m);
            let steady_m_per_s = heading.speed_m_per_s;
            let is_known = weight > 0.0;
            let off_m = (along_m - steady_m_per_s * weight.min(1.0)).abs();
            *along = if is_known { along_m } else { steady_m_per_s };
            *along_off = if is_known { off_m } else { f64::NAN };
            *cross_off = if is_known { cross_m.abs() } else { f64::NAN };
        }
        self.along_m = along;
        let (along_limit, cross_limit) = (jump_limit(&along_off), jump_limit(&cross_off));
        if along_limit < f64::INFINITY || cross_limit < f64::INFINITY {
            for cell in 0..cells {
                if along_off[cell] > along_limit || cross_off[cell] > cross_limit {
                    self.leave_out(cell);
                }
            }
            headings.fill(self, half_width_s);
            for (cell, heading) in headings.all().iter().enumerate() {
                self.along_m[cell] = match self.weight[cell] > 0.0 {
                    true => heading.resolve(self.east_m[cell], self.north_m[cell]).0,
                    false => heading.speed_m_per_s,
                };
            }
        }
    }

    fn leave_out(&mut self, cell: usize) {
        self.east_m[cell] = 0.0;
        self.north_m[cell] = 0.0;
        self.weight[cell] = 0.0;
    }
}

/// The gaps of a recording.
struct Gaps {
    gaps: Vec<Range<f64>>,
    /// Those of them in which the person came on, or nobody can tell.
    unseen: Vec<Range<f64>>,
}

impl Gaps {
    /// Gaps lie between points further apart than `gap_s`; and, where nothing counts steps, between positions that are missing for
    /// longer if whoever went on would have come further, or if they are missing for long, and before the first and after the
    /// last position.
    fn new(points: &Points, times_s: &[f64], long_steps: &[Step], cadence_spm: &[f64], gap_s: f64) -> Self {
        let counts_steps = |from_s: f64, to_s: f64| {
            cadence_spm[points_within(times_s, from_s, to_s)].iter().any(|&spm| spm > 0.0)
        };
        let far_apart =
            times_s.windows(2).filter(|pair| pair[1] - pair[0] > gap_s).map(|pair| pair[0]..pair[1]);
        let without_position = long_steps.iter().filter(|step| {
            let counts_steps = counts_steps(step.start_s, step.end_s);
            match step.goes_on() {
                true => step.span_s() > UNSEEN_S && !counts_steps,
                false => step.span_s() <= STALE_CADENCE_S || !counts_steps,
            }
        });
        let outer = outer_s(points, times_s).into_iter();
        let outer: Vec<Range<f64>> = outer
            .filter(|ends| ends.end - ends.start > gap_s && !counts_steps(ends.start, ends.end))
            .collect();
        let mut gaps: Vec<Range<f64>> = far_apart
            .chain(without_position.map(|step| step.start_s..step.end_s))
            .chain(outer.iter().cloned())
            .collect();
        gaps.sort_by(|a, b| a.start.total_cmp(&b.start).then(b.end.total_cmp(&a.end)));
        gaps.dedup_by(|gap, before| gap.end <= before.end);
        let came_on = |gap: &Range<f64>| {
            let across = long_steps.get(long_steps.partition_point(|step| step.end_s < gap.end));
            across.is_some_and(|step| step.start_s <= gap.start && step.goes_on()) || outer.contains(gap)
        };
        let unseen = gaps.iter().filter(|gap| came_on(gap)).cloned().collect();
        Self { gaps, unseen }
    }
}

/// Indices of the points between two times.
fn points_within(times_s: &[f64], from_s: f64, to_s: f64) -> Range<usize> {
    let first = times_s.partition_point(|&time_s| time_s <= from_s);
    first..times_s.partition_point(|&time_s| time_s < to_s).max(first)
}

/// Times before the first and after the last position of a recording that has positions.
fn outer_s(points: &Points, times_s: &[f64]) -> Vec<Range<f64>> {
    let is_known = |degrees: &f64| !degrees.is_nan();
    let latitude_deg = points.latitude_deg();
    let (Some(first), Some(last)) =
        (latitude_deg.iter().position(is_known), latitude_deg.iter().rposition(is_known))
    else {
        return Vec::new();
    };
    if (first == 0 && last + 1 == times_s.len()) || !points.positions_lead() {
        return Vec::new();
    }
    vec![times_s[0]..times_s[first], times_s[last]..times_s[times_s.len() - 1]]
}

/// Cadence without what a device that pauses goes on writing: the same reading again, at points without a position after the
/// last one, or between two positions from one of which nobody went on to the other.
fn fresh_cadence<'a>(points: &'a Points, times_s: &[f64], steps: &[Step]) -> Cow<'a, [f64]> {
    let mut cadence_spm = Cow::Borrowed(points.cadence_spm());
    let latitude_deg = points.latitude_deg();
    if !latitude_deg.iter().any(|degrees| degrees.is_nan()) {
        return cadence_spm;
    }
    let positions_lead = points.positions_lead();
    let is_measured = |index: usize| {
        !latitude_deg[index].is_nan() || !positions_lead && !points.distance_m()[index].is_nan()
    };
    let mut forget = |range: Range<usize>, held_spm: Option<&f64>| {
        let is_held = |index: &usize| !is_measured(*index) && Some(&points.cadence_spm()[*index]) == held_spm;
        range.filter(is_held).for_each(|index| cadence_spm.to_mut()[index] = f64::NAN);
    };
    for step in steps.iter().filter(|step| !step.goes_on()) {
        let within = points_within(times_s, step.start_s, step.end_s);
        let held_spm = within.start.checked_sub(1).map(|before| &points.cadence_spm()[before]);
        forget(within, held_spm);
    }
    if positions_lead && let Some(last) = latitude_deg.iter().rposition(|degrees| !degrees.is_nan()) {
        // The first reading of the pause, if it stays the same for most of it.
        let readings = &points.cadence_spm()[last + 1..];
        let held = readings.iter().filter(|reading| Some(*reading) == readings.first()).count();
        if 2 * held > readings.len() {
            forget(last + 1..latitude_deg.len(), readings.first());
        }
    }
    cadence_spm
}

/// Forgets the cadence of seconds in which a device wrote nothing and nobody moved: a device that pauses goes on with the
/// cadence that it left off with, so that what lies between is no reading. A stretch as short as a stumble is looked over, and
/// so is one hardly longer than the recording's other steps, in which somebody may have turned round. Where a recording as a
/// whole does not move, speed says nothing and cadence stays.
fn forget_unseen_cadence(
    cadence_spm: &mut [f32],
    times_s: &[f64],
    steps: &[Step],
    timeline: &Timeline,
    settings: &SegmentSettings,
) {
    let is_still = |length_m: f64, span_s: f64| length_m < settings.stand_speed_m_per_s * span_s;
    let unseen: Vec<&Step> = steps
        .iter()
        .filter(|step| step.span_s() >= STUMBLE_S as f64 && is_still(step.length_m(), step.span_s()))
        .filter(|step| {
            let next = times_s.partition_point(|&time_s| time_s <= step.start_s);
            times_s.get(next).is_none_or(|&next_s| next_s >= step.end_s)
        })
        .collect();
    if unseen.is_empty() {
        return;
    }
    let (all_m, all_s) =
        steps.iter().fold((0.0, 0.0), |(m, s), step| (m + step.length_m(), s + step.span_s()));
    if is_still(all_m, all_s) {
        return;
    }
    let usual_s = all_s / steps.len() as f64;
    for step in unseen.into_iter().filter(|step| step.span_s() >= PAUSE_STEPS * usual_s) {
        let (first, end) = (timeline.cell(ceil_s(step.start_s)), timeline.cell(step.end_s as usize));
        let counted = cadence_spm[first.min(end)..end].iter_mut().filter(|reading| **reading > 0.0);
        counted.for_each(|reading| *reading = f32::NAN);
    }
}

/// Limit beyond which a deviation of this size is a jump, from the median absolute deviation of the known cells, those that are
/// not NaN; none where no deviation is beyond it.
fn jump_limit(sizes_m: &[f64]) -> f64 {
    let largest_m = largest(sizes_m, 0.0);
    // The largest is beyond the limit only if the median is below this: counting is faster than finding it.
    let median_below_m = (largest_m - JUMP_FLOOR_M_PER_S) / (JUMP_SDS * SD_PER_MAD);
    let below = count(sizes_m, |size_m| size_m < median_below_m);
    if 2 * below <= count(sizes_m, |size_m| !size_m.is_nan()) {
        return f64::INFINITY;
    }
    let known: Vec<f64> = sizes_m.iter().copied().filter(|size_m| !size_m.is_nan()).collect();
    median(&known).map_or(f64::INFINITY, |mad_m| JUMP_SDS * SD_PER_MAD * mad_m + JUMP_FLOOR_M_PER_S)
}

/// The upper median.
pub(crate) fn median(values: &[f64]) -> Option<f64> {
    if values.is_empty() {
        return None;
    }
    // Doubles have the order of their bits as whole numbers, negative ones turned round; those are faster to compare.
    let turned = |bits: i64| bits ^ ((bits >> 63) as u64 >> 1) as i64;
    let mut keys: Vec<i64> = values.iter().map(|value| turned(value.to_bits() as i64)).collect();
    let (_, &mut middle, _) = keys.select_nth_unstable(values.len() / 2);
    Some(f64::from_bits(turned(middle) as u64))
}

/// The least whole second that is not before a time of 0 or later.
fn ceil_s(time_s: f64) -> usize {
    let whole = time_s as usize;
    whole + usize::from((whole as f64) < time_s)
}

/// Takes the values of sensors at the middles of cells.
struct Sampler<'a> {
    times_s: &'a [f64],
    timeline: &'a Timeline,
    cells: usize,
    /// Readings further apart than this have nothing between them.
    longest_s: f64,
    /// Whether there is a point at each whole second, as is usual.
    is_each_second: bool,
}

impl<'a> Sampler<'a> {
    fn new(times_s: &'a [f64], timeline: &'a Timeline, cells: usize, longest_s: f64) -> Self {
        // Without an early end, so that several are looked at together.
        let is_each_second = times_s.len() == cells + 1
            && timeline.is_whole()
            && times_s.windows(2).fold(true, |all, pair| all & (pair[1] - pair[0] == 1.0));
        Self { times_s, timeline, cells, longest_s, is_each_second }
    }

    /// Values at the middle of each cell: linear between readings, the nearer one beside a reading of zero (a dropout does not
    /// halve its neighbours; of two as near the later one), NaN elsewhere.
    fn at_middles(&self, values: &[f64]) -> Vec<f32> {
        if self.is_each_second {
            return self.at_middles_of_seconds(values);
        }
        let mut sampled = vec![f32::NAN; self.cells];
        let mut readings = self.times_s.iter().zip(values).filter(|(_, value)| !value.is_nan());
        let Some((mut from_s, mut from)) = readings.next() else { return sampled };
        for (to_s, to) in readings {
            self.bridge(&mut sampled, [*from_s, *to_s], [*from, *to]);
            (from_s, from) = (to_s, to);
        }
        sampled
    }

    /// The same where there is a point at each second: what lies between two of them is worked out several at a time, and what
    /// lies where readings are missing afterwards.
    fn at_middles_of_seconds(&self, values: &[f64]) -> Vec<f32> {
        let middle = |pair: &[f64]| between(pair[0], pair[1], 0.5);
        let mut sampled: Vec<f32> = values.windows(2).map(middle).collect();
        if count(values, |value| value.is_nan()) == 0 {
            return sampled;
        }
        let mut at = 0;
        while let Some(known) = values[at..].iter().position(|value| value.is_nan()) {
            let missing = at + known;
            let Some(length) = values[missing..].iter().position(|value| !value.is_nan()) else { break };
            at = missing + length;
            if let Some(before) = missing.checked_sub(1) {
                self.bridge(&mut sampled, [before as f64, at as f64], [values[before], values[at]]);
            }
        }
        sampled
    }

    /// Fills the cells between two readings.
    fn bridge(&self, sampled: &mut [f32], [from_s, to_s]: [f64; 2], [from, to]: [f64; 2]) {
        if to_s - from_s <= self.longest_s {
            let first = ceil_s((from_s - 0.5).max(0.0));
            let last = (to_s + 0.5) as usize;
            let first_cell = self.timeline.cell(first).min(self.cells);
            for (second, slot) in (first..last).zip(&mut sampled[first_cell..]) {
                *slot = between(from, to, (second as f64 + 0.5 - from_s) / (to_s - from_s));
            }
        }
    }
}

/// What is read so far on the way from one reading to the next.
#[inline]
fn between(from: f64, to: f64, share: f64) -> f32 {
    let share = if (from == 0.0) | (to == 0.0) { f64::from(share >= 0.5) } else { share };
    (from + share * (to - from)) as f32
}

#[cfg(test)]
mod tests {
    use boutwise_track::{Point, Position};

    use super::*;

    /// Points along a meridian, `metres` from the start, one a second.
    fn along_a_meridian(metres: impl Iterator<Item = f64>) -> (Recording, Vec<f64>) {
        // One degree of latitude at the equator is 110 574.4 m (WGS-84).
        let points: boutwise_track::Points = metres
            .map(|m| Point {
                position: Some(Position { latitude_deg: m / 110_574.4, longitude_deg: 0.0 }),
                ..Point::default()
            })
            .collect();
        let times_s = (0..points.len()).map(|i| i as f64).collect();
        (Recording { points, ..Recording::default() }, times_s)
    }

    #[test]
    fn steady_movement_gives_its_speed_in_every_cell() {
        let (recording, times_s) = along_a_meridian((0..100).map(|i| 2.0 * f64::from(i)));
        let grid = Grid::new(&recording, &times_s, &SegmentSettings::default());
        assert_eq!(grid.len(), 99);
        assert!(grid.along_m.iter().all(|along_m| (along_m - 2.0).abs() < 1e-3));
    }

    #[test]
    fn the_mean_step_leaves_gaps_out() {
        let (recording, _) = along_a_meridian((0..100).map(|i| 2.0 * f64::from(i)));
        let times_s: Vec<f64> = (0..100).map(|i| f64::from(4 * i + if i < 50 { 0 } else { 600 })).collect();
        let mean_step_s = |recording: &Recording, times_s: &[f64]| {
            Grid::new(recording, times_s, &SegmentSettings::default()).mean_step_s
        };
        assert_eq!(mean_step_s(&recording, &times_s), 4.0);
        assert_eq!(mean_step_s(&Recording::default(), &[]), 0.0);
    }

    #[test]
    fn one_wild_point_is_left_out_and_adds_no_distance() {
        let wild = |i: i32| if i == 50 { 400.0 } else { 2.0 * f64::from(i) };
        let (recording, times_s) = along_a_meridian((0..100).map(wild));
        let grid = Grid::new(&recording, &times_s, &SegmentSettings::default());
        assert_eq!(grid.jumps, 2);
        let length_m = grid.length_m(0..99).unwrap_or(0.0);
        assert!((length_m - 198.0).abs() < 0.5, "{length_m}");
    }

    #[test]
    fn a_stretch_without_positions_counts_at_the_speed_around_it() {
        let (mut recording, times_s) = along_a_meridian((0..200).map(|i| 2.0 * f64::from(i)));
        let lost = |(i, point): (usize, Point)| Point {
            position: point.position.filter(|_| !(80..135).contains(&i)),
            ..point
        };
        recording.points = recording.points.iter().enumerate().map(lost).collect();
        let grid = Grid::new(&recording, &times_s, &SegmentSettings::default());
        let length_m = grid.length_m(0..199).unwrap_or(0.0);
        assert!((length_m - 398.0).abs() < 1.0, "{length_m}");
    }

    /// A recording at 2 m/s that keeps its time and loses its positions for these seconds, with cadence there or without.
    fn without_positions(seconds: Range<usize>, cadence_spm: impl Fn(usize) -> Option<f64>) -> Grid {
        let (mut recording, times_s) = along_a_meridian((0..400).map(|i| 2.0 * f64::from(i)));
        let lost = |(i, point): (usize, Point)| Point {
            position: point.position.filter(|_| !seconds.contains(&i)),
            cadence_spm: cadence_spm(i),
            ..point
        };
        recording.points = recording.points.iter().enumerate().map(lost).collect();
        Grid::new(&recording, &times_s, &SegmentSettings::default())
    }

    #[test]
    fn what_neither_positions_nor_steps_show_is_a_gap_in_which_nobody_knows() {
        for (lost, unseen) in [(100..200, 99.0..200.0), (0..100, 0.0..100.0), (300..400, 299.0..399.0)] {
            let grid = without_positions(lost.clone(), |_| None);
            assert_eq!(
                (grid.gaps.as_slice(), grid.unseen.as_slice()),
                (&[unseen.clone()][..], &[unseen][..])
            );
            let counted = without_positions(lost.clone(), |i| Some(150.0 + (i % 3) as f64));
            assert!(counted.gaps.is_empty() && counted.unseen.is_empty());
            // Steps tell how long it was run, and not how far.
            assert!(
                counted.length_m(0..399).is_some() && counted.length_m(lost.start..lost.end - 1).is_none()
            );
        }
        // Of a stretch of which hardly any way is known it is not told either.
        let seen_for_a_minute = without_positions(60..400, |i| Some(150.0 + (i % 3) as f64));
        assert!(seen_for_a_minute.length_m(0..399).is_none() && seen_for_a_minute.length_m(0..240).is_some());
        // A device that pauses at the end goes on writing the cadence that it left off with.
        let held =
            without_positions(300..400, |i| Some(if i < 300 { 150.0 + (i % 3) as f64 } else { 152.0 }));
        assert_eq!(held.gaps, [299.0..399.0]);
    }

    #[test]
    fn a_position_that_stands_and_then_leaps_hides_what_lies_between_and_nobody_stood() {
        let read = |metres: &dyn Fn(i32) -> f64| {
            let (recording, times_s) = along_a_meridian((0..400).map(metres));
            Grid::new(&recording, &times_s, &SegmentSettings::default())
        };
        let frozen =
            |until: i32| move |i: i32| if (100..until).contains(&i) { 200.0 } else { 2.0 * f64::from(i) };
        let tunnel = read(&frozen(150));
        assert!(tunnel.gaps.is_empty() && tunnel.weight[110..140].iter().all(|&weight| weight == 0.0));
        let length_m = tunnel.length_m(0..399).unwrap_or(0.0);
        assert!((length_m - 798.0).abs() < 5.0, "{length_m}");
        assert_eq!(read(&frozen(200)).unseen, [100.0..200.0]);
        // Who stood and went on from there did stand.
        let stood = read(&|i: i32| 2.0 * f64::from(if i < 100 { i } else { (i - 100).max(100) }));
        assert!(stood.unseen.is_empty() && stood.weight[110..190].iter().all(|&weight| weight > 0.0));
    }

    #[test]
    fn cadence_that_a_paused_device_goes_on_writing_is_none_and_fresh_readings_are_believed() {
        let read = |stands: bool, spm: f64| {
            let metres = |i: i32| 2.5 * f64::from(if stands { i.min(50) + (i - 60).max(0) } else { i });
            let (mut recording, times_s) = along_a_meridian((0..100).map(metres));
            let lost = |(i, point): (usize, Point)| match (51..60).contains(&i) {
                true => Point { cadence_spm: Some(spm), ..Point::default() },
                false => Point { cadence_spm: Some(if i < 51 { 164.0 } else { 0.0 }), ..point },
            };
            recording.points = recording.points.iter().enumerate().map(lost).collect();
            Grid::new(&recording, &times_s, &SegmentSettings::default()).cadence_spm[57]
        };
        assert_eq!(read(true, 164.0), 0.0);
        assert_eq!(read(true, 150.0), 150.0);
        assert_eq!(read(false, 164.0), 164.0);
    }

    #[test]
    fn cadence_between_points_far_apart_is_none_where_nobody_moved() {
        // Some seconds without a point after the 50th, in which a person stood or ran on, in a recording of a point every second
        // or every few.
        let read = |stands: bool, moves: bool, seconds: i32, every: usize| {
            let begun = || (0..51).step_by(every).chain((50 + seconds..100).step_by(every));
            let metres = |i: i32| match (moves, stands && i > 50) {
                (false, _) => 0.0,
                (true, true) => 2.5 * f64::from(i - seconds),
                (true, false) => 2.5 * f64::from(i),
            };
            let (mut recording, _) = along_a_meridian(begun().map(metres));
            let times_s: Vec<f64> = begun().map(f64::from).collect();
            let cadence = |point: Point| Point { cadence_spm: Some(164.0), ..point };
            recording.points = recording.points.iter().map(cadence).collect();
            Grid::new(&recording, &times_s, &SegmentSettings::default()).cadence_spm[55]
        };
        assert!(read(true, true, 12, 1).is_nan());
        assert_eq!(read(true, true, 11, 1), 164.0);
        assert_eq!(read(true, true, 12, 10), 164.0);
        assert_eq!(read(false, true, 12, 1), 164.0);
        assert_eq!(read(true, false, 12, 1), 164.0);
    }

    #[test]
    fn without_positions_who_came_no_further_paused_unless_cadence_goes_on_for_long() {
        let gaps = |end: i32, moved_m: f64, cadence_spm: Option<f64>| {
            let (mut recording, times_s) = along_a_meridian(
                (0..400).map(|i| 2.0 * f64::from(i.min(80)) + if i < end { 0.0 } else { moved_m }),
            );
            let lost = |(i, point): (usize, Point)| Point {
                position: point.position.filter(|_| !(81..end as usize).contains(&i)),
                cadence_spm,
                ..point
            };
            recording.points = recording.points.iter().enumerate().map(lost).collect();
            Grid::new(&recording, &times_s, &SegmentSettings::default()).gaps
        };
        assert_eq!(gaps(110, 10.0, None), [80.0..110.0]);
        assert_eq!(gaps(110, 60.0, None), []);
        assert_eq!(gaps(110, 10.0, Some(150.0)), [80.0..110.0]);
        assert_eq!(gaps(300, 10.0, None), [80.0..300.0]);
        assert_eq!(gaps(300, 10.0, Some(150.0)), []);
        assert_eq!(gaps(95, 10.0, None), []);
    }

    #[test]
    fn a_step_is_shared_out_by_time() {
        let (recording, _) = along_a_meridian([0.0, 6.0, 9.0].into_iter());
        let grid = Grid::new(&recording, &[0.0, 3.0, 4.5], &SegmentSettings::default());
        assert_eq!(grid.len(), 5);
        assert!((grid.length_m(0..5).unwrap_or(0.0) - 9.0).abs() < 1e-3);
        assert_eq!(grid.weight, [1.0, 1.0, 1.0, 1.0, 0.5]);
    }

    #[test]
    fn long_steps_are_gaps_and_carry_no_displacement() {
        let (recording, _) = along_a_meridian([0.0, 2.0, 70.0, 72.0].into_iter());
        let grid = Grid::new(&recording, &[0.0, 1.0, 31.0, 32.0], &SegmentSettings::default());
        assert_eq!(grid.gaps, [1.0..31.0]);
        assert_eq!(grid.weight.iter().sum::<f64>(), 2.0);
    }

    #[test]
    fn the_median_is_the_upper_middle_value_of_either_sign() {
        assert_eq!(median(&[]), None);
        assert_eq!(median(&[3.0, -1.0, 2.0, -5.0]), Some(2.0));
        assert_eq!(median(&[-3.0, -1.0, -2.0]), Some(-2.0));
    }

    #[test]
    fn a_dropout_to_zero_does_not_halve_its_neighbours() {
        let (times_s, timeline) = ([0.0, 1.0, 2.0, 3.0], Timeline::default());
        let sampled = Sampler::new(&times_s, &timeline, 3, 20.0).at_middles(&[150.0, 150.0, 0.0, 150.0]);
        assert!(sampled.iter().all(|&reading| reading == 0.0 || reading == 150.0), "{sampled:?}");
    }
}

//! Positions that cannot be true are forgotten; the points keep their time and sensors.

use std::ops::Range;

use super::Session;
use super::chain::{Chain, MAX_WILD_S, Sample, chains, without_excursions};
use crate::distance::longitude_difference_deg;
use crate::note::NoteKind;
use crate::timestamp::NS_PER_S;
use crate::{Points, Position};

/// Faster than any legs, in m/s (the fastest sprinters reach 12.4 m/s; common knowledge, from memory).
pub(super) const LEGS_M_PER_S: f64 = 12.5;

/// Faster than road vehicles, in m/s: 180 km/h (own choice).
pub(super) const VEHICLE_M_PER_S: f64 = 50.0;

/// Error of a position that is noise, not a wild position, in metres (own choice).
pub(super) const NOISE_M: f64 = 50.0;

/// A chain as long as this is surely the track itself, in seconds (own choice).
const SURE_CHAIN_S: f64 = 60.0;

/// Mean speed over all steps below which no two devices are merged, in m/s (own choice: beginners stay below).
const MERGED_MIN_M_PER_S: f64 = 3.5;

/// How many times longer the way over all points must be than that of the two streams together (own choice; white
/// noise of one device reaches 1.4).
const MERGED_RATIO: f64 = 2.0;

/// Least share of the points that the lesser of two merged streams has (own choice).
const MERGED_MIN_SHARE: f64 = 0.2;

/// Positions that are looked at together for two devices (own choice: some points of each, also where one has few).
const MERGED_WINDOW: usize = 30;

/// So many windows in a row are two devices, fewer are a spot of bad positions (own choice: 90 positions never reach them).
const MERGED_MIN_WINDOWS: usize = 5;

/// Single positions are off the track from so many metres on (own choice: above the steps of positions with four decimals).
const SPIKE_MIN_M: f64 = 20.0;

/// So many single positions off the track are no noise (own choice), where each is at most so many seconds from the next (own
/// choice).
const MIN_SPIKES: usize = 3;
const SPIKES_APART_S: f64 = 10.0;

/// A thousandth of a degree is some 110 m of latitude: what is rounded to it stands still for half a minute of running, and leaps.
const ROUNDED_PER_DEG: f64 = 1000.0;

/// So near to a whole number of thousandths a position is one: what a number with six decimals and more never is by chance.
const ROUNDED_WITHIN: f64 = 1e-6;

/// From so many positions on, as a recording has that was not written by hand (own choice: a minute of a point a second).
const ROUNDED_FROM: usize = 60;

/// Mean radius of the earth in metres; serves where a per mille does not matter.
const EARTH_RADIUS_M: f64 = 6_371_008.8;

/// About the distance in metres: good to a per cent for steps, enough to tell what is impossible.
fn about_m(from: Position, to: Position) -> f64 {
    let north = (to.latitude_deg - from.latitude_deg).to_radians();
    let middle = (0.5 * (from.latitude_deg + to.latitude_deg)).to_radians();
    let east = longitude_difference_deg(from.longitude_deg, to.longitude_deg).to_radians() * middle.cos();
    EARTH_RADIUS_M * (north * north + east * east).sqrt()
}

/// A distance in metres that [`about_m`] never exceeds, found without a cosine.
pub(super) fn at_most_m(from: Position, to: Position) -> f64 {
    let north_deg = to.latitude_deg - from.latitude_deg;
    let east_deg = longitude_difference_deg(from.longitude_deg, to.longitude_deg);
    EARTH_RADIUS_M * (north_deg.abs() + east_deg.abs()).to_radians()
}

/// A place at a time.
#[derive(Clone, Copy, Debug)]
struct Fix {
    index: usize,
    time_s: f64,
    position: Position,
}

impl Sample for Fix {
    fn time_s(&self) -> f64 {
        self.time_s
    }

    fn leads_to(&self, next: &Self) -> bool {
        !is_leap(self, next, LEGS_M_PER_S)
    }
}

fn fixes(points: &Points) -> Vec<Fix> {
    let origin_ns = points.time_ns().first().copied().unwrap_or(0);
    let fix = |index: usize| {
        let time_s = (points.time_ns()[index] - origin_ns) as f64 / NS_PER_S as f64;
        points.position(index).map(|position| Fix { index, time_s, position })
    };
    (0..points.len()).filter_map(fix).collect()
}

/// Whether the way from one fix to another is too far for a speed.
fn is_leap(from: &Fix, to: &Fix, speed_m_per_s: f64) -> bool {
    at_most_m(from.position, to.position) > NOISE_M
        && about_m(from.position, to.position) > NOISE_M + speed_m_per_s * (to.time_s - from.time_s).abs()
}

/// Whether legs can come from one point to another, in either direction of time, as far as their positions tell.
pub(super) fn can_reach(points: &Points, from: usize, to: usize) -> bool {
    let fix = |index: usize| {
        let time_s = points.time_ns()[index] as f64 / NS_PER_S as f64;
        points.position(index).map(|position| Fix { index, time_s, position })
    };
    fix(from).zip(fix(to)).is_none_or(|(from, to)| !is_leap(&from, &to, LEGS_M_PER_S))
}

/// Whether the way is too far for legs, whatever the noise.
fn is_spike_step(from: &Fix, to: &Fix) -> bool {
    let least_m = SPIKE_MIN_M.max(LEGS_M_PER_S * (to.time_s - from.time_s).abs());
    at_most_m(from.position, to.position) > least_m && about_m(from.position, to.position) > least_m
}

/// Takes 0/0 before the first fix for missing, unless legs could get from there to the first other position.
pub(super) fn forget_null_positions(session: &mut Session) {
    let null = Position { latitude_deg: 0.0, longitude_deg: 0.0 };
    let points = &session.raw.points;
    let is_null = |index: &usize| points.position(*index).is_some_and(|position| position == null);
    let Some(first) = (0..points.len()).find(|&index| points.position(index).is_some()) else { return };
    if !is_null(&first) {
        return;
    }
    let other =
        (first..points.len()).find(|&index| points.position(index).is_some_and(|position| position != null));
    let nulls: Vec<usize> = (first..other.unwrap_or(points.len())).filter(is_null).collect();
    if let Some(other) = other {
        let fix = |index: usize, position| Fix {
            index,
            time_s: (points.time_ns()[index] - points.time_ns()[first]) as f64 / NS_PER_S as f64,
            position,
        };
        let last = nulls[nulls.len() - 1];
        if let Some(position) = points.position(other)
            && !is_leap(&fix(last, null), &fix(other, position), LEGS_M_PER_S)
        {
            return;
        }
    }
    let at = Some(session.raw.point_bytes[first]);
    session.notes.add_many(NoteKind::NullPosition, nulls.len() as u64, at, String::new);
    nulls.into_iter().for_each(|index| session.raw.points.forget_position(index));
}

/// Keeps of positions that are rounded to three decimals or fewer only the first, which tells where a recording was made: nobody's way
/// can be told by them, nor a speed or a distance.
pub(super) fn forget_rounded_positions(session: &mut Session) {
    let points = &session.raw.points;
    let is_rounded = |degrees: f64| {
        let thousandths = degrees * ROUNDED_PER_DEG;
        (thousandths - thousandths.round()).abs() < ROUNDED_WITHIN
    };
    // Of nearly all recordings the first position tells.
    let positions = || points.latitude_deg().iter().zip(points.longitude_deg());
    let is_one = |(&latitude_deg, &longitude_deg): (&f64, &f64)| {
        latitude_deg.is_nan() || is_rounded(latitude_deg) && is_rounded(longitude_deg)
    };
    if !positions().all(is_one) {
        return;
    }
    let known: Vec<usize> = (0..points.len()).filter(|&index| points.position(index).is_some()).collect();
    let [first, others @ ..] = &known[..] else { return };
    let moves = others.iter().any(|&index| points.position(index) != points.position(*first));
    if known.len() < ROUNDED_FROM || !moves {
        return;
    }
    let at = Some(session.raw.point_bytes[*first]);
    session.notes.add_many(NoteKind::RoundedPosition, known.len() as u64, at, String::new);
    others.iter().for_each(|&index| session.raw.points.forget_position(index));
}

/// A distance in metres without the narrowing of meridians: never less than [`about_m`], and never more than [`at_most_m`].
fn widest_m(from: Position, to: Position) -> f64 {
    let north_deg = to.latitude_deg - from.latitude_deg;
    let east_deg = longitude_difference_deg(from.longitude_deg, to.longitude_deg);
    EARTH_RADIUS_M * (north_deg * north_deg + east_deg * east_deg).sqrt().to_radians()
}

/// Whether no step is far enough for a leap, too few are far and fast enough for spikes, and all together are too short for two
/// devices, as in most recordings: then there is nothing to part and nothing wild to forget.
pub(super) fn is_steady(points: &Points) -> bool {
    let mut fixes = (0..points.len())
        .filter_map(|index| points.position(index).map(|position| (points.time_ns()[index], position)));
    let Some((first_ns, mut last)) = fixes.next() else { return true };
    // A row of spikes has one far step more than it has spikes.
    let (mut last_ns, mut way_m, mut may_be_spikes) = (first_ns, 0.0, 0);
    for (time_ns, position) in fixes {
        let step_m = widest_m(last, position);
        if step_m > SPIKE_MIN_M && step_m > LEGS_M_PER_S * (time_ns - last_ns) as f64 / NS_PER_S as f64 {
            may_be_spikes += 1;
            if step_m > NOISE_M || may_be_spikes > MIN_SPIKES {
                return false;
            }
        }
        way_m += step_m;
        (last_ns, last) = (time_ns, position);
    }
    way_m < MERGED_MIN_M_PER_S * ((last_ns - first_ns) as f64 / NS_PER_S as f64)
}

/// Fixes in two streams, each fix in that whose last one is nearer.
///
/// One device gives one stream, as every fix is nearest to the one before; two devices give two that are together much
/// shorter than the zigzag between them.
struct Streams {
    indices: [Vec<usize>; 2],
    ways_m: f64,
    zigzag_m: f64,
    duration_s: f64,
}

impl Streams {
    fn of(fixes: &[Fix]) -> Option<Self> {
        let [first, second, rest @ ..] = fixes else { return None };
        let mut indices = [vec![first.index], vec![second.index]];
        let mut heads = [first.position, second.position];
        let mut ways_m = 0.0;
        for fix in rest {
            let ways = heads.map(|head| about_m(head, fix.position));
            let nearer = usize::from(ways[1] < ways[0]);
            ways_m += ways[nearer];
            heads[nearer] = fix.position;
            indices[nearer].push(fix.index);
        }
        let zigzag_m = fixes.windows(2).map(|pair| about_m(pair[0].position, pair[1].position)).sum();
        Some(Self { indices, ways_m, zigzag_m, duration_s: fixes[fixes.len() - 1].time_s - first.time_s })
    }

    fn is_zigzag(&self) -> bool {
        self.zigzag_m >= MERGED_MIN_M_PER_S * self.duration_s && self.zigzag_m >= MERGED_RATIO * self.ways_m
    }

    fn are_two(&self) -> bool {
        let [first, second] = self.indices.each_ref().map(Vec::len);
        self.is_zigzag() && first.min(second) as f64 >= MERGED_MIN_SHARE * (first + second) as f64
    }
}

/// Where two devices may be merged: the whole, if the way is a zigzag in half of it, else every long part of it in which it is.
fn merged_parts(fixes: &[Fix]) -> Vec<Range<usize>> {
    let is_zigzag = |window| Streams::of(window).is_some_and(|streams| streams.is_zigzag());
    let windows: Vec<bool> = fixes.chunks(MERGED_WINDOW).map(is_zigzag).collect();
    if 2 * windows.iter().filter(|is_zigzag| **is_zigzag).count() >= windows.len() {
        return std::iter::once(0..fixes.len()).collect();
    }
    let mut parts = Vec::new();
    let mut start = 0;
    for alike in windows.chunk_by(|a, b| a == b) {
        let end = start + alike.len();
        if alike[0] && alike.len() >= MERGED_MIN_WINDOWS {
            parts.push(start * MERGED_WINDOW..fixes.len().min(end * MERGED_WINDOW));
        }
        start = end;
    }
    parts
}

/// Keeps one of two streams where two devices are merged point by point: the fuller one of the whole, of a part the one that
/// goes on beside it.
pub(super) fn part_merged_devices(session: &mut Session) {
    let points = &session.raw.points;
    let fixes = fixes(points);
    let mut is_kept = vec![true; points.len()];
    let mut left_out = (0, None);
    for part in merged_parts(&fixes) {
        let Some(streams) = Streams::of(&fixes[part.clone()]).filter(Streams::are_two) else { continue };
        let [first, second] = &streams.indices;
        let is_second = if part.len() == fixes.len() {
            values_in(points, second) > values_in(points, first)
        } else {
            let beside = [part.start.checked_sub(1), Some(part.end)];
            let beside = beside.map(|at| at.and_then(|at| Some(fixes.get(at)?.position)));
            way_to_m(points, beside, second) < way_to_m(points, beside, first)
        };
        let other = if is_second { first } else { second };
        other.iter().for_each(|&index| is_kept[index] = false);
        left_out = (left_out.0 + other.len(), left_out.1.or(Some(session.raw.point_bytes[other[0]])));
    }
    if left_out.0 > 0 {
        let kept: Vec<usize> = (0..points.len()).filter(|&index| is_kept[index]).collect();
        session.notes.add_many(NoteKind::MergedDevices, left_out.0 as u64, left_out.1, String::new);
        session.raw = session.raw.select(&kept);
    }
}

/// How much points hold: a position each, heart rates and cadences.
fn values_in(points: &Points, indices: &[usize]) -> usize {
    let values = |&index: &usize| {
        let point = points.get(index);
        usize::from(point.heart_rate_bpm.is_some()) + usize::from(point.cadence_spm.is_some()) + 1
    };
    indices.iter().map(values).sum()
}

/// The way in metres from what lies beside a stream, before and after it, to its ends.
fn way_to_m(points: &Points, beside: [Option<Position>; 2], stream: &[usize]) -> f64 {
    let ends = [stream[0], stream[stream.len() - 1]];
    let way_m = |(end, beside): (usize, Option<Position>)| Some(about_m(beside?, points.position(end)?));
    ends.into_iter().zip(beside).filter_map(way_m).sum()
}

/// Forgets single positions off the track where they are many: such as neither the one before nor the one after can be reached
/// from by legs, while those two reach each other.
///
/// In a row that goes to and fro each position is such a one; the first of them is off the track that led to it.
pub(super) fn forget_spikes(session: &mut Session) {
    let fixes = fixes(&session.raw.points);
    let is_spike = |at: &usize| {
        let [before, fix, after] = [&fixes[at - 1], &fixes[*at], &fixes[at + 1]];
        is_spike_step(before, fix) && is_spike_step(fix, after) && !is_spike_step(before, after)
    };
    let all: Vec<usize> = (1..fixes.len().max(1) - 1).filter(is_spike).collect();
    let rows = all.chunk_by(|a, b| a + 1 == *b);
    let off: Vec<usize> = rows.flat_map(|row| off_the_track(row, fixes.len())).collect();
    for spikes in off.chunk_by(|a, b| fixes[*b].time_s - fixes[*a].time_s <= SPIKES_APART_S) {
        for at in spikes.iter().filter(|_| spikes.len() >= MIN_SPIKES) {
            let index = fixes[*at].index;
            let byte = Some(session.raw.point_bytes[index]);
            session.notes.add_many(NoteKind::WildPosition, 1, byte, String::new);
            session.raw.points.forget_position(index);
        }
    }
}

/// Every second of a row of spikes: from its first on, or where nothing led to the row, so that its last is among them.
fn off_the_track(row: &[usize], fixes: usize) -> impl Iterator<Item = usize> {
    let (first, last) = (row[0], row[row.len() - 1]);
    let skipped = if first == 1 && last + 2 < fixes { (last - first) % 2 } else { 0 };
    (first + skipped..=last).step_by(2)
}

/// Forgets positions far off the track: before the first fix, behind the last, and single ones between.
pub(super) fn forget_wild_positions(session: &mut Session) {
    let fixes = fixes(&session.raw.points);
    let chains = chains(&fixes);
    if chains.len() < 2 {
        return;
    }
    let mut kept = without_excursions(&chains);
    trim_begin(&mut kept);
    trim_end(&mut kept);
    for pair in kept.windows(2) {
        let [before, after] = pair else { continue };
        if is_leap(before.last(), after.first(), VEHICLE_M_PER_S) {
            let at = Some(session.raw.point_bytes[after.first().index]);
            session.notes.add_many(NoteKind::PositionLeap, 1, at, String::new);
        }
    }
    let mut is_kept = vec![false; session.raw.points.len()];
    kept.iter().flat_map(|chain| chain.0).for_each(|fix| is_kept[fix.index] = true);
    for fix in fixes.iter().filter(|fix| !is_kept[fix.index]) {
        let at = Some(session.raw.point_bytes[fix.index]);
        session.notes.add_many(NoteKind::WildPosition, 1, at, String::new);
        session.raw.points.forget_position(fix.index);
    }
}

/// Leaves out a short beginning that the rest cannot have come from.
fn trim_begin(chains: &mut Vec<Chain<'_, Fix>>) {
    let mut fixes_left: usize = chains.iter().map(|chain| chain.0.len()).sum();
    let mut wild = 0;
    for pair in chains.windows(2) {
        let [begin, next] = pair else { break };
        fixes_left -= begin.0.len();
        let leaps = is_leap(begin.last(), next.first(), VEHICLE_M_PER_S)
            || (!begin.leads_to(next) && next.duration_s() >= SURE_CHAIN_S);
        if !leaps || begin.duration_s() > MAX_WILD_S || begin.0.len() >= fixes_left {
            break;
        }
        wild += 1;
    }
    chains.drain(..wild);
}

/// Leaves out a short end that the rest cannot have led to.
fn trim_end(chains: &mut Vec<Chain<'_, Fix>>) {
    let mut fixes_left: usize = chains.iter().map(|chain| chain.0.len()).sum();
    while let [.., before, end] = chains.as_slice() {
        fixes_left -= end.0.len();
        let leaps = is_leap(before.last(), end.first(), VEHICLE_M_PER_S);
        if !leaps || end.duration_s() > MAX_WILD_S || end.0.len() >= fixes_left {
            break;
        }
        chains.pop();
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Point;
    use crate::note::Notes;
    use crate::raw::RawSession;

    /// Twenty minutes at 2 m/s round a loop of 400 m, a point a second, with `off_m` north of it.
    fn on_a_loop(off_m: impl Fn(i64) -> f64) -> Session {
        merged((0..1200).map(|second| (second * NS_PER_S, off_m(second))))
    }

    /// The same at other times, in nanoseconds.
    fn merged(at_and_off_m: impl Iterator<Item = (i64, f64)>) -> Session {
        let point = |(time_ns, off_m): (i64, f64)| {
            let (along, radius_m) = (2.0 * time_ns as f64 / NS_PER_S as f64, 400.0 / std::f64::consts::TAU);
            let (north, east) = (along / radius_m).sin_cos();
            let degrees = |metres: f64| (metres / EARTH_RADIUS_M).to_degrees();
            let position = Position {
                latitude_deg: 51.5 + degrees(radius_m * north + off_m),
                longitude_deg: 7.25 + degrees(radius_m * east) / 51.5_f64.to_radians().cos(),
            };
            Point { time_ns: Some(time_ns), position: Some(position), ..Point::default() }
        };
        let points: Points = at_and_off_m.map(point).collect();
        let points_found = points.len();
        let raw = RawSession { point_bytes: (0..points_found).collect(), points, ..RawSession::default() };
        Session { raw, notes: Notes::default(), points_found }
    }

    fn cleaned(mut session: Session) -> Session {
        if !is_steady(&session.raw.points) {
            part_merged_devices(&mut session);
            forget_spikes(&mut session);
            forget_wild_positions(&mut session);
        }
        session
    }

    fn positions(session: &Session) -> Vec<usize> {
        let points = &session.raw.points;
        (0..points.len()).filter(|&index| points.position(index).is_some()).collect()
    }

    #[test]
    fn bad_positions_to_and_fro_are_forgotten_alone() {
        for (spot, off_m) in [
            (600..620, 200.0),
            (600..661, 40.0),
            (600..661, 60.0),
            (600..661, 80.0),
            (600..690, 30.0),
            (0..20, 40.0),
            (1190..1200, 40.0),
        ] {
            let is_bad = |second: i64| spot.contains(&second) && second % 2 == 0;
            let session = cleaned(on_a_loop(|second| if is_bad(second) { off_m } else { 0.0 }));
            let good: Vec<usize> = (0..1200).filter(|&second| !is_bad(second)).map(|s| s as usize).collect();
            // What the track begins with, nothing led to.
            let found = positions(&session).into_iter().filter(|index| *index > 0 || spot.start > 0);
            assert_eq!(found.collect::<Vec<_>>(), good, "{spot:?} {off_m}");
            assert_eq!(session.raw.points.len(), 1200);
        }
    }

    #[test]
    fn every_third_position_off_the_track_is_forgotten_and_a_single_one_is_noise() {
        let count = |off_m: &dyn Fn(i64) -> f64| positions(&cleaned(on_a_loop(off_m))).len();
        assert_eq!(
            count(&|second| if (300..360).contains(&second) && second % 3 == 0 { 40.0 } else { 0.0 }),
            1180
        );
        assert_eq!(count(&|second| if second == 300 || second == 700 { 40.0 } else { 0.0 }), 1200);
        assert_eq!(
            count(&|second| if (300..390).contains(&second) && second % 2 == 0 { 10.0 } else { 0.0 }),
            1200
        );
    }

    #[test]
    fn two_devices_are_parted_throughout_and_in_a_long_part() {
        let half_s = NS_PER_S / 2;
        for (from, to) in [(0, 600), (100, 300), (400, 600)] {
            let other = (from..to).map(|index| (2 * index * NS_PER_S + half_s, 30.0));
            let mut both: Vec<(i64, f64)> =
                (0..1200).map(|second| (second * NS_PER_S, 0.0)).chain(other).collect();
            both.sort_by_key(|(time_ns, _)| *time_ns);
            let session = cleaned(merged(both.into_iter()));
            let kept = session.raw.points.time_ns().iter().filter(|time_ns| *time_ns % NS_PER_S == 0).count();
            assert!(kept >= 1199 && session.raw.points.len() <= 1230, "{from} to {to}: {kept}");
        }
    }
}

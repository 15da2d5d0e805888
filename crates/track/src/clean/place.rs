//! Positions that cannot be true are forgotten; the points keep their time and sensors.

use super::Session;
use crate::distance::longitude_difference_deg;
use crate::note::NoteKind;
use crate::timestamp::NS_PER_S;
use crate::{Points, Position};

/// Faster than any legs, in m/s (the fastest sprinters reach 12.4 m/s; common knowledge, from memory).
const LEGS_M_PER_S: f64 = 12.5;

/// Faster than road vehicles, in m/s: 180 km/h (own choice).
const VEHICLE_M_PER_S: f64 = 50.0;

/// Error of a position that is noise, not a wild position, in metres (own choice).
const NOISE_M: f64 = 50.0;

/// Longest stretch of wild positions, in seconds (own choice).
const MAX_WILD_S: f64 = 120.0;

/// Chains that are looked through for the one that goes on behind wild positions (own choice).
const MAX_WILD_CHAINS: usize = 8;

/// A chain as long as this is surely the track itself, in seconds (own choice).
const SURE_CHAIN_S: f64 = 60.0;

/// Mean speed over all steps below which no two devices are merged, in m/s (own choice: beginners stay below).
const MERGED_MIN_M_PER_S: f64 = 3.5;

/// How many times longer the way over all points must be than that of the two streams together (own choice; white
/// noise of one device reaches 1.4).
const MERGED_RATIO: f64 = 2.0;

/// Least share of the points that the lesser of two merged streams has (own choice).
const MERGED_MIN_SHARE: f64 = 0.2;

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

/// The same without the narrowing of meridians: never less than [`about_m`], and never more than [`at_most_m`].
fn widest_m(from: Position, to: Position) -> f64 {
    let north_deg = to.latitude_deg - from.latitude_deg;
    let east_deg = longitude_difference_deg(from.longitude_deg, to.longitude_deg);
    EARTH_RADIUS_M * (north_deg * north_deg + east_deg * east_deg).sqrt().to_radians()
}

/// Whether no step is far enough for a leap and all together are too short for two devices, as in most recordings:
/// then there is nothing to part and nothing wild to forget.
pub(super) fn is_steady(points: &Points) -> bool {
    let mut fixes = (0..points.len())
        .filter_map(|index| points.position(index).map(|position| (points.time_ns()[index], position)));
    let Some((first_ns, mut last)) = fixes.next() else { return true };
    let (mut last_ns, mut way_m) = (first_ns, 0.0);
    for (time_ns, position) in fixes {
        let step_m = widest_m(last, position);
        if step_m > NOISE_M {
            return false;
        }
        way_m += step_m;
        (last_ns, last) = (time_ns, position);
    }
    way_m < MERGED_MIN_M_PER_S * ((last_ns - first_ns) as f64 / NS_PER_S as f64)
}

/// Keeps the fuller of two streams where two devices are merged point by point.
///
/// Each fix goes to the stream whose last fix is nearer. One device gives one stream, as every fix is nearest to the
/// one before; two devices give two that are together much shorter than the zigzag between them.
pub(super) fn part_merged_devices(session: &mut Session) {
    let points = &session.raw.points;
    let fixes = fixes(points);
    let [first, second, rest @ ..] = fixes.as_slice() else { return };
    let zigzag_m: f64 = fixes.windows(2).map(|pair| about_m(pair[0].position, pair[1].position)).sum();
    let duration_s = fixes[fixes.len() - 1].time_s - first.time_s;
    if zigzag_m < MERGED_MIN_M_PER_S * duration_s {
        return;
    }
    let mut streams = [vec![first.index], vec![second.index]];
    let mut heads = [first.position, second.position];
    let mut ways_m = 0.0;
    for fix in rest {
        let ways = heads.map(|head| about_m(head, fix.position));
        let nearer = usize::from(ways[1] < ways[0]);
        ways_m += ways[nearer];
        heads[nearer] = fix.position;
        streams[nearer].push(fix.index);
    }
    let lesser = streams[0].len().min(streams[1].len());
    if zigzag_m < MERGED_RATIO * ways_m || (lesser as f64) < MERGED_MIN_SHARE * fixes.len() as f64 {
        return;
    }
    let sensors = |stream: &Vec<usize>| -> usize {
        let values = |&index: &usize| {
            let point = points.get(index);
            usize::from(point.heart_rate_bpm.is_some()) + usize::from(point.cadence_spm.is_some()) + 1
        };
        stream.iter().map(values).sum()
    };
    let other = if sensors(&streams[1]) > sensors(&streams[0]) { &streams[0] } else { &streams[1] };
    let mut is_kept = vec![true; points.len()];
    other.iter().for_each(|&index| is_kept[index] = false);
    let kept: Vec<usize> = (0..points.len()).filter(|&index| is_kept[index]).collect();
    let at = Some(session.raw.point_bytes[other[0]]);
    session.notes.add_many(NoteKind::MergedDevices, other.len() as u64, at, String::new);
    session.raw = session.raw.select(&kept);
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

/// Fixes that follow each other at the speed of legs. Never empty.
#[derive(Clone, Copy, Debug)]
struct Chain<'a>(&'a [Fix]);

impl Chain<'_> {
    fn first(&self) -> &Fix {
        &self.0[0]
    }

    fn last(&self) -> &Fix {
        &self.0[self.0.len() - 1]
    }

    fn duration_s(&self) -> f64 {
        self.last().time_s - self.first().time_s
    }

    fn leads_to(&self, next: &Chain<'_>) -> bool {
        !is_leap(self.last(), next.first(), LEGS_M_PER_S)
    }
}

fn chains(fixes: &[Fix]) -> Vec<Chain<'_>> {
    fixes.chunk_by(|from, to| !is_leap(from, to, LEGS_M_PER_S)).map(Chain).collect()
}

/// Leaves out short chains between two that connect with each other.
fn without_excursions<'a>(chains: &[Chain<'a>]) -> Vec<Chain<'a>> {
    let mut kept = vec![chains[0]];
    let mut next = 1;
    while next < chains.len() {
        let before = kept[kept.len() - 1];
        let until = chains.len().min(next + 1 + MAX_WILD_CHAINS);
        let connected = (next + 1..until).find(|&later| {
            chains[later].first().time_s - before.last().time_s <= MAX_WILD_S
                && before.leads_to(&chains[later])
        });
        next = connected.unwrap_or(next);
        kept.push(chains[next]);
        next += 1;
    }
    kept
}

/// Leaves out a short beginning that the rest cannot have come from.
fn trim_begin(chains: &mut Vec<Chain<'_>>) {
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
fn trim_end(chains: &mut Vec<Chain<'_>>) {
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

//! Clocks put right, points in order of time.
//!
//! Nearly all files are in order. Where one is not, single points whose time fits neither the points beside them nor any
//! other place are left out. What remains is cut into blocks where its clock leaps. The heaviest chain of blocks that
//! follows in time as it follows in the file is the recording. Blocks beside it that were only written in another order
//! are sorted. One recorded with the clock an hour back is moved to its place by quarters of an hour if it fits there; one
//! that shares its time with the chain, as of a second device, is left out. Small disorder inside a block is sorted.
//! Before all that, points behind a clock that was set back by some minutes are moved on to where they went on, and those
//! under a clock that was not set are left out where others have one that was.

use std::collections::BTreeMap;

use super::place::can_reach;
use super::{CLOCK_SET_AFTER_S, Session};
use crate::Points;
use crate::note::{NoteKind, Notes};
use crate::raw::RawSession;
use crate::step_m;
use crate::timestamp::NS_PER_S;

/// A step by more than this may be a leap of the clock, a smaller one back is a disorder of the writing (own choice).
const LEAP_NS: i64 = 300 * NS_PER_S;

/// Points in a row that may have wrong times of their own; more of them are a block under another clock (own choice).
const MAX_STRAYS_IN_A_ROW: usize = 3;

/// At most one point in so many is a stray; where more leave the order, it is the order that is odd (own choice).
const POINTS_PER_STRAY: usize = 10;

/// Time zones differ by multiples of a quarter of an hour.
const ZONE_STEP_NS: i64 = 900 * NS_PER_S;

/// Farthest that a block is moved: the largest difference of two zones, in nanoseconds.
const MAX_SHIFT_NS: i64 = 26 * 3600 * NS_PER_S;

/// How close in time a stray before or after all others, a moved block at the begin or end, or blocks that were sorted
/// must come to what they join (own choice).
const CLOSE_NS: i64 = 60 * NS_PER_S;

/// Seams that sorting makes at most for a step back in the file: a piece put into its place closes one and makes two.
const SEAMS_PER_CUT: usize = 3;

/// So many more where no two points share a time: a few pieces of a few points, none of which cut the file (own choice).
const FREE_SEAMS: usize = 8;

/// A leap ahead by more than this parts sessions (own choice).
const SESSION_LEAP_NS: i64 = 24 * 3600 * NS_PER_S;

/// Longest stretch before a leap of days that counts as a clock not yet set, not as a session (own choice).
const MAX_UNSET_NS: i64 = 300 * NS_PER_S;

/// A clock set back by less than this costs no bout: few points share their times then (own choice).
const SET_BACK_NS: i64 = 10 * NS_PER_S;

/// Places at one time farther apart than this are two, and a step no longer than this goes on where the one before ended, in
/// metres (own choice: above the errors of two receivers, below what is walked in [`SET_BACK_NS`]).
const OTHER_PLACE_M: f64 = 10.0;

/// Points of the file under one clock, sorted.
#[derive(Debug)]
struct Block {
    indices: Vec<usize>,
    first_ns: i64,
    last_ns: i64,
    shift_ns: i64,
}

/// What is to become of a block as it stands in the file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Place {
    /// It belongs to the heaviest chain.
    Chain,
    /// It fits behind the block before it when moved by so many nanoseconds.
    Moved(i64),
    /// The chain has a hole for it where it stands, so that its clock is wrong, by no quarters of an hour.
    Hole,
    /// Nothing in the file gives it a place.
    Nowhere,
}

/// Sorts one track, its clocks put right. Gives one session, or more where days lie between its parts.
pub(super) fn in_order(mut raw: RawSession, notes: &mut Option<Notes>) -> Vec<(RawSession, Notes)> {
    let mut notes = notes.take().unwrap_or_default();
    if raw.points.is_empty() {
        return Vec::new();
    }
    let is_ordinary = |pair: &[i64]| (0..=SESSION_LEAP_NS).contains(&(pair[1].saturating_sub(pair[0])));
    let are_ordinary = |raw: &RawSession| raw.points.time_ns().windows(2).all(is_ordinary);
    if are_ordinary(&raw) {
        return vec![(raw, notes)];
    }
    undo_steps_back(&mut raw, &mut notes);
    if are_ordinary(&raw) {
        return vec![(raw, notes)];
    }
    let written = under_a_set_clock(without_strays(&raw, &mut notes), &raw, &mut notes);
    let blocks = placed(&written, &raw, &mut notes);
    let parts = parts(blocks, &raw, &mut notes);
    let mut notes = Some(notes);
    parts
        .into_iter()
        .map(|part| {
            let indices: Vec<usize> = part.iter().flat_map(|block| block.indices.iter().copied()).collect();
            let mut selected = raw.select(&indices);
            let mut begin = 0;
            for block in &part {
                let end = begin + block.indices.len();
                selected.points.time_ns[begin..end].iter_mut().for_each(|time_ns| *time_ns += block.shift_ns);
                begin = end;
            }
            (selected, notes.take().unwrap_or_default())
        })
        .collect()
}

/// Moves on the points behind each step by which the clock was set back, until it leaps ahead by as much again.
fn undo_steps_back(raw: &mut RawSession, notes: &mut Notes) {
    let (mut index, mut run) = (1, 0);
    while index < raw.points.len() {
        let times_ns = raw.points.time_ns();
        if times_ns[index] >= times_ns[index - 1] {
            index += 1;
            continue;
        }
        let Some(shift_ns) = set_back_ns(&raw.points, run, index) else {
            (run, index) = (index, index + 1);
            continue;
        };
        let is_right_again =
            |pair: &[i64]| (shift_ns..=shift_ns + SET_BACK_NS).contains(&pair[1].saturating_sub(pair[0]));
        let behind = times_ns[index..].windows(2).position(is_right_again);
        let end = behind.map_or(raw.points.len(), |behind| index + behind + 1);
        raw.points.time_ns[index..end].iter_mut().for_each(|time_ns| *time_ns += shift_ns);
        let at = Some(raw.point_bytes[index]);
        let detail = || format!("moved by {} s", shift_ns / NS_PER_S);
        notes.add_many(NoteKind::ClockShifted, (end - index) as u64, at, detail);
        // Behind the step it is in order now, and what comes next is held against all before it.
        index += 1;
    }
}

/// By how much the clock was set back before the point `step`, if the points behind it go on where those from `run` on, which
/// are in order, end, while at most of the times that both have they are elsewhere.
fn set_back_ns(points: &Points, run: usize, step: usize) -> Option<i64> {
    let times_ns = points.time_ns();
    let (before, last_ns) = (&times_ns[run..step], times_ns[step - 1]);
    let back_ns = last_ns - times_ns[step];
    let apart_m = |one: usize, other: usize| Some(step_m(points.position(one)?, points.position(other)?));
    if !(SET_BACK_NS..ZONE_STEP_NS).contains(&back_ns)
        || !apart_m(step - 1, step).is_some_and(|apart_m| apart_m <= OTHER_PLACE_M)
    {
        return None;
    }
    let behind = times_ns[step..].windows(2).position(|pair| !(pair[0]..=last_ns).contains(&pair[1]));
    let behind = step..behind.map_or(times_ns.len(), |count| step + count + 1);
    let shared = behind.clone().filter(|&index| times_ns[index] >= before[0]);
    let (mut count, mut elsewhere) = (0, 0);
    for index in shared {
        // The one before it in time, which is at most as long ago as a clock must be set back.
        let other = run + before.partition_point(|&time_ns| time_ns <= times_ns[index]) - 1;
        count += 1;
        let is_at_once = times_ns[index] - times_ns[other] < SET_BACK_NS;
        elsewhere += usize::from(is_at_once && apart_m(index, other).is_some_and(|m| m > OTHER_PLACE_M));
    }
    let step_ns = |pair: &[i64]| pair[1] - pair[0];
    let steps_ns =
        before.windows(2).last().into_iter().chain(times_ns[behind].windows(2).next()).map(step_ns);
    (count > MAX_STRAYS_IN_A_ROW && 2 * elsewhere > count)
        .then(|| back_ns + steps_ns.min().unwrap_or(NS_PER_S))
}

/// Leaves out points under a clock that was not set, where others have one that was.
fn under_a_set_clock(written: Vec<usize>, raw: &RawSession, notes: &mut Notes) -> Vec<usize> {
    let is_set = |index: &usize| raw.points.time_ns()[*index] >= CLOCK_SET_AFTER_S * NS_PER_S;
    if written.iter().all(is_set) || !written.iter().any(is_set) {
        return written;
    }
    let mut kept = Vec::with_capacity(written.len());
    for (index, part) in written.chunk_by(|one, next| is_set(one) == is_set(next)).enumerate() {
        if is_set(&part[0]) {
            kept.extend_from_slice(part);
            continue;
        }
        let times_ns = part.iter().map(|&index| raw.points.time_ns()[index]);
        let lasted_ns = times_ns.clone().max().unwrap_or(0) - times_ns.min().unwrap_or(0);
        let costs_little = index == 0 && lasted_ns <= MAX_UNSET_NS || part.len() <= MAX_STRAYS_IN_A_ROW;
        let kind = if costs_little { NoteKind::ClockWrong } else { NoteKind::ClockLost };
        notes.add_many(kind, part.len() as u64, Some(raw.point_bytes[part[0]]), String::new);
    }
    kept
}

/// The points as the file has them, strays put where their time is or, where it is nowhere, left out.
fn without_strays(raw: &RawSession, notes: &mut Notes) -> Vec<usize> {
    let times_ns = raw.points.time_ns();
    let (others, strays) = strays(times_ns);
    if strays.len() > (times_ns.len() / POINTS_PER_STRAY).max(1) {
        return (0..times_ns.len()).collect();
    }
    let mut in_time = others.clone();
    in_time.sort_by_key(|&index| times_ns[index]);
    // Each point behind, or before, the one that it is written beside.
    let mut written: Vec<(usize, i8, i64, usize)> = others.into_iter().map(|at| (at, 0, 0, at)).collect();
    for stray in strays {
        let at = Some(raw.point_bytes[stray]);
        let next = in_time.partition_point(|&other| times_ns[other] <= times_ns[stray]);
        let before = next.checked_sub(1).map(|before| in_time[before]);
        let after = in_time.get(next).copied();
        if !can_be_between(&raw.points, before, stray, after) {
            notes.add_many(NoteKind::ClockWrong, 1, at, String::new);
            continue;
        }
        notes.add_many(NoteKind::Unordered, 1, at, String::new);
        let beside = before.map(|before| (before, 1)).or(after.map(|after| (after, -1)));
        written.extend(beside.map(|(other, side)| (other, side, times_ns[stray], stray)));
    }
    written.sort_unstable();
    written.into_iter().map(|(.., index)| index).collect()
}

/// Parts the few points in a row that are ahead of, or behind, both points beside them, while these follow each other,
/// from all others; both in the order of the file.
fn strays(times_ns: &[i64]) -> (Vec<usize>, Vec<usize>) {
    let mut others: Vec<usize> = Vec::with_capacity(times_ns.len());
    let mut strays = Vec::new();
    let mut index = 0;
    while let Some(&time_ns) = times_ns.get(index) {
        let is_back = others.last().is_some_and(|&last| time_ns < times_ns[last]);
        let few = (1..=MAX_STRAYS_IN_A_ROW).filter(|_| is_back).find_map(|count| {
            let were_ahead = others
                .len()
                .checked_sub(count)
                .is_some_and(|left| others[..left].last().is_none_or(|&before| times_ns[before] <= time_ns));
            let are_behind = || {
                let after_ns = times_ns.get(index + count);
                others.last().zip(after_ns).is_none_or(|(&last, &after_ns)| times_ns[last] <= after_ns)
            };
            if were_ahead { Some((count, 0)) } else { are_behind().then_some((0, count)) }
        });
        let (ahead, behind) = few.unwrap_or_default();
        strays.extend(others.drain(others.len() - ahead..));
        strays.extend(index..times_ns.len().min(index + behind));
        index += behind;
        if behind == 0 {
            others.push(index);
            index += 1;
        }
    }
    (others, strays)
}

/// Whether a stray was only written in the wrong place: a person can be there between the points before and after it in
/// time, and no other point has its time elsewhere.
fn can_be_between(points: &Points, before: Option<usize>, stray: usize, after: Option<usize>) -> bool {
    let away_ns = |other: usize| points.time_ns()[other].abs_diff(points.time_ns()[stray]);
    if let Some(same) = before.filter(|&before| away_ns(before) == 0) {
        let (place, other) = (points.position(stray), points.position(same));
        return place.is_none() || other.is_none() || place == other;
    }
    let is_within = before.is_some() && after.is_some();
    let mut beside = before.into_iter().chain(after);
    beside.all(|other| (is_within || away_ns(other) <= CLOSE_NS as u64) && can_reach(points, other, stray))
}

/// Cuts points at leaps of the clock and sorts each block.
fn blocks(raw: &RawSession, points: &[usize], notes: &mut Notes) -> Vec<Block> {
    let times_ns = raw.points.time_ns();
    let goes_on =
        |a: &usize, b: &usize| (-LEAP_NS..=LEAP_NS).contains(&times_ns[*b].saturating_sub(times_ns[*a]));
    let block = |points: &[usize]| {
        note_disorder(raw, points, notes);
        let mut indices = points.to_vec();
        indices.sort_by_key(|&index| times_ns[index]);
        let (first_ns, last_ns) = (times_ns[indices[0]], times_ns[indices[indices.len() - 1]]);
        Block { indices, first_ns, last_ns, shift_ns: 0 }
    };
    points.chunk_by(goes_on).map(block).collect()
}

/// Notes points, as the file has them, that are earlier than one before them.
fn note_disorder(raw: &RawSession, written: &[usize], notes: &mut Notes) {
    let mut latest_ns = i64::MIN;
    for &index in written {
        let time_ns = raw.points.time_ns()[index];
        if time_ns < latest_ns {
            notes.add_many(NoteKind::Unordered, 1, Some(raw.point_bytes[index]), String::new);
        }
        latest_ns = latest_ns.max(time_ns);
    }
}

/// The points in blocks in order of time: sorted where that mends them, else those beside the heaviest chain moved or left
/// out.
fn placed(written: &[usize], raw: &RawSession, notes: &mut Notes) -> Vec<Block> {
    let mut disorder = Notes::default();
    let blocks_as_written = blocks(raw, written, &mut disorder);
    let places = places(&blocks_as_written);
    if places.iter().any(|place| *place != Place::Chain) {
        let mut ranks: Vec<usize> = (0..written.len()).collect();
        ranks.sort_by_key(|&rank| raw.points.time_ns()[written[rank]]);
        if sorting_mends(&ranks, written, raw, &places) {
            note_disorder(raw, written, notes);
            let sorted: Vec<usize> = ranks.into_iter().map(|rank| written[rank]).collect();
            return blocks(raw, &sorted, notes);
        }
    }
    notes.absorb(&disorder);
    let mut placed = Vec::with_capacity(blocks_as_written.len());
    for (mut block, place) in blocks_as_written.into_iter().zip(places) {
        let (count, at) = (block.indices.len() as u64, Some(raw.point_bytes[block.indices[0]]));
        match place {
            Place::Chain => {}
            Place::Moved(shift_ns) => {
                block.shift_ns = shift_ns;
                let minutes = shift_ns / (60 * NS_PER_S);
                notes.add_many(NoteKind::ClockShifted, count, at, || format!("moved by {minutes} min"));
            }
            Place::Hole | Place::Nowhere => {
                notes.add_many(NoteKind::ConflictingTimes, count, at, String::new);
                continue;
            }
        }
        placed.push(block);
    }
    placed
}

/// What is to become of each block, by the chain that it belongs to or lies in.
fn places(blocks: &[Block]) -> Vec<Place> {
    let in_chain = heaviest_chain(blocks);
    let points = |of_chain: bool| {
        let blocks = blocks.iter().zip(&in_chain).filter(|(_, in_chain)| **in_chain || !of_chain);
        blocks.map(|(block, _)| block.indices.len()).sum::<usize>()
    };
    let is_most = 2 * points(true) >= points(false);
    let mut next_first_ns = vec![None; blocks.len()];
    let mut following = None;
    for (index, block) in blocks.iter().enumerate().rev() {
        next_first_ns[index] = following;
        following = if in_chain[index] { Some(block.first_ns) } else { following };
    }
    let (mut chain_ns, mut after_ns) = (None, None);
    let mut places = Vec::with_capacity(blocks.len());
    for ((block, &in_chain), before_ns) in blocks.iter().zip(&in_chain).zip(next_first_ns) {
        let hole_ns = chain_ns
            .zip(before_ns)
            .map(|(chain_ns, before_ns): (i64, i64)| before_ns.saturating_sub(chain_ns));
        let place = if in_chain {
            Place::Chain
        } else if let Some(shift_ns) = shift_into(block, after_ns, before_ns) {
            Place::Moved(shift_ns)
        } else if is_most
            && hole_ns.is_some_and(|hole_ns| block.last_ns.saturating_sub(block.first_ns) < hole_ns)
        {
            Place::Hole
        } else {
            Place::Nowhere
        };
        match place {
            Place::Chain => (chain_ns, after_ns) = (Some(block.last_ns), Some(block.last_ns)),
            Place::Moved(shift_ns) => after_ns = Some(block.last_ns + shift_ns),
            Place::Hole | Place::Nowhere => {}
        }
        places.push(place);
    }
    places
}

/// Whether blocks fit together once all points are sorted, `ranks` giving their places in `written`.
///
/// Blocks written in another order stay whole then, and points in no order at all come together, while those of two devices
/// or clocks come between each other.
fn sorting_mends(ranks: &[usize], written: &[usize], raw: &RawSession, places: &[Place]) -> bool {
    let times_ns = raw.points.time_ns();
    let time_ns = |rank: usize| times_ns[written[rank]];
    let cuts = (1..written.len()).filter(|&rank| time_ns(rank) < time_ns(rank - 1)).count();
    let (mut seams, mut widest_ns, mut free_seams) = (0, 0, FREE_SEAMS);
    let mut last = ranks[0];
    for &rank in &ranks[1..] {
        let step_ns = time_ns(rank).saturating_sub(time_ns(last));
        let is_again =
            step_ns == 0 && raw.points.position(written[rank]) == raw.points.position(written[last]);
        if is_again {
            continue;
        }
        if step_ns == 0 {
            free_seams = 0;
        }
        if rank != last + 1 {
            seams += 1;
            widest_ns = step_ns.max(widest_ns);
        }
        last = rank;
    }
    // Far apart they may be of another clock; then they are sorted only where nothing else can be done with them.
    seams <= SEAMS_PER_CUT * cuts + free_seams
        && (widest_ns <= CLOSE_NS || (places.contains(&Place::Nowhere) && !places.contains(&Place::Hole)))
}

/// Which blocks belong to the chain with the most points whose times follow as in the file.
fn heaviest_chain(blocks: &[Block]) -> Vec<bool> {
    // For each end time, the heaviest chain that ends by then: (points, last block). Both rise along the map.
    let mut best: BTreeMap<i64, (usize, usize)> = BTreeMap::new();
    let mut before: Vec<Option<usize>> = Vec::with_capacity(blocks.len());
    for (index, block) in blocks.iter().enumerate() {
        let (weight, previous) = match best.range(..=block.first_ns).next_back() {
            Some((_, &(weight, previous))) => (weight + block.indices.len(), Some(previous)),
            None => (block.indices.len(), None),
        };
        before.push(previous);
        let heavier_before =
            best.range(..=block.last_ns).next_back().is_some_and(|(_, &(other, _))| other >= weight);
        if heavier_before {
            continue;
        }
        let outdone: Vec<i64> = best
            .range(block.last_ns..)
            .take_while(|(_, (other, _))| *other <= weight)
            .map(|(&end_ns, _)| end_ns)
            .collect();
        for end_ns in outdone {
            best.remove(&end_ns);
        }
        best.insert(block.last_ns, (weight, index));
    }
    let mut in_chain = vec![false; blocks.len()];
    let mut next = best.last_key_value().map(|(_, &(_, index))| index);
    while let Some(index) = next {
        in_chain[index] = true;
        next = before[index];
    }
    in_chain
}

/// The shift by quarters of an hour that puts a block between its neighbours in the file.
fn shift_into(block: &Block, after_ns: Option<i64>, before_ns: Option<i64>) -> Option<i64> {
    let target_ns = match (after_ns, before_ns) {
        (Some(after_ns), _) => after_ns.saturating_sub(block.first_ns),
        (None, Some(before_ns)) => before_ns.saturating_sub(block.last_ns),
        (None, None) => return None,
    };
    let steps = target_ns.div_euclid(ZONE_STEP_NS);
    let is_between = |shift_ns: i64| {
        let (first_ns, last_ns) = (block.first_ns + shift_ns, block.last_ns + shift_ns);
        let fits = after_ns.is_none_or(|after_ns| after_ns < first_ns)
            && before_ns.is_none_or(|before_ns| last_ns < before_ns);
        let is_close = after_ns.is_some_and(|after_ns| first_ns - after_ns <= CLOSE_NS)
            || before_ns.is_some_and(|before_ns| before_ns - last_ns <= CLOSE_NS);
        fits && (is_close || (after_ns.is_some() && before_ns.is_some()))
    };
    [steps, steps + 1, steps - 1]
        .into_iter()
        .filter_map(|steps| steps.checked_mul(ZONE_STEP_NS))
        .find(|&shift_ns| shift_ns.abs() <= MAX_SHIFT_NS && is_between(shift_ns))
}

/// Parts the blocks where days lie between; short parts before or after such a leap are left out.
fn parts(blocks: Vec<Block>, raw: &RawSession, notes: &mut Notes) -> Vec<Vec<Block>> {
    let mut parts: Vec<Vec<Block>> = Vec::new();
    for block in blocks {
        let begin_ns = block.first_ns + block.shift_ns;
        match parts.last_mut() {
            Some(part)
                if part.last().is_some_and(|last| {
                    begin_ns.saturating_sub(last.last_ns + last.shift_ns) <= SESSION_LEAP_NS
                }) =>
            {
                part.push(block);
            }
            _ => parts.push(vec![block]),
        }
    }
    let count = |part: &[Block]| part.iter().map(|block| block.indices.len()).sum::<usize>();
    let largest = parts.iter().map(|part| count(part)).max().unwrap_or(0);
    let several = parts.len() > 1;
    parts.retain(|part| {
        let last = &part[part.len() - 1];
        let (begin_ns, end_ns) = (part[0].first_ns + part[0].shift_ns, last.last_ns + last.shift_ns);
        let is_short = end_ns - begin_ns <= MAX_UNSET_NS && count(part) < largest;
        let is_wrong = several && is_short;
        if is_wrong {
            let first = part[0].indices[0];
            // Before a clock is set it may stand at any date; later a part of the recording is lost.
            let costs_little = first == 0 || count(part) <= MAX_STRAYS_IN_A_ROW;
            let kind = if costs_little { NoteKind::ClockWrong } else { NoteKind::ConflictingTimes };
            notes.add_many(kind, count(part) as u64, Some(raw.point_bytes[first]), String::new);
        }
        !is_wrong
    });
    parts
}

/// Sorts a session whose tracks overlap a little.
pub(super) fn sort(session: &mut Session) {
    let times_ns = session.raw.points.time_ns();
    let mut indices: Vec<usize> = (0..times_ns.len()).collect();
    note_disorder(&session.raw, &indices, &mut session.notes);
    indices.sort_by_key(|&index| times_ns[index]);
    session.raw = session.raw.select(&indices);
}

/// Makes points at the same time one: the first stays and takes what it lacks from the others at the same place.
pub(super) fn merge_same_times(session: &mut Session) {
    let times_ns = session.raw.points.time_ns();
    if times_ns.windows(2).all(|pair| pair[0] < pair[1]) {
        return;
    }
    let mut kept: Vec<usize> = Vec::with_capacity(times_ns.len());
    let mut fills: Vec<(usize, usize)> = Vec::new();
    for index in 0..times_ns.len() {
        match kept.last() {
            Some(&first) if times_ns[first] == times_ns[index] => {
                session.notes.add_many(
                    NoteKind::SameTime,
                    1,
                    Some(session.raw.point_bytes[index]),
                    String::new,
                );
                fills.push((first, index));
            }
            _ => kept.push(index),
        }
    }
    let points = &mut session.raw.points;
    for (first, other) in fills {
        let (place, other_place) = (points.position(first), points.position(other));
        if place.is_some() && other_place.is_some() && place != other_place {
            continue;
        }
        for column in [
            &mut points.latitude_deg,
            &mut points.longitude_deg,
            &mut points.elevation_m,
            &mut points.heart_rate_bpm,
            &mut points.cadence_spm,
            &mut points.distance_m,
            &mut points.speed_m_per_s,
        ] {
            if column[first].is_nan() {
                column[first] = column[other];
            }
        }
    }
    session.raw = session.raw.select(&kept);
}

#[cfg(test)]
mod tests {
    use super::*;

    fn block(points: usize, first_s: i64, last_s: i64) -> Block {
        Block {
            indices: vec![0; points],
            first_ns: first_s * NS_PER_S,
            last_ns: last_s * NS_PER_S,
            shift_ns: 0,
        }
    }

    #[test]
    fn the_heaviest_chain_leaves_out_the_block_with_the_clock_back() {
        let blocks = [
            block(100, 0, 99),
            block(10, -3500, -3490),
            block(50, 112, 160),
            block(3, 9000, 9002),
            block(9, 200, 220),
        ];
        assert_eq!(heaviest_chain(&blocks), [true, false, true, false, true]);
    }

    #[test]
    fn a_block_is_moved_by_quarters_of_an_hour_only_where_it_fits() {
        let back = block(10, -3499, -3490);
        let ns = |seconds: i64| seconds * NS_PER_S;
        assert_eq!(shift_into(&back, Some(ns(100)), Some(ns(112))), Some(ns(3600)));
        assert_eq!(shift_into(&back, Some(ns(100)), Some(ns(105))), None);
        assert_eq!(shift_into(&back, Some(ns(100)), None), Some(ns(3600)));
        assert_eq!(shift_into(&block(10, -3000, -2990), Some(ns(100)), None), None);
    }
}

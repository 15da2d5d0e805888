//! Clocks put right, points in order of time.
//!
//! A track is cut into blocks where its clock leaps. The heaviest chain of blocks that follows in time as it follows
//! in the file is the recording. A block beside it, such as one recorded with the clock an hour back, is moved to its
//! place by quarters of an hour if it fits there, and left out if not. Small disorder inside a block is sorted.

use std::collections::BTreeMap;
use std::ops::Range;

use super::{CLOCK_SET_AFTER_S, Session};
use crate::note::{NoteKind, Notes};
use crate::raw::RawSession;
use crate::timestamp::NS_PER_S;

/// A step back by more than this is a leap of the clock, a smaller one a disorder of the writing (own choice).
const BACKWARD_LEAP_NS: i64 = 300 * NS_PER_S;

/// A step ahead by more than this may be a leap of the clock (own choice: the smallest step between zones).
const FORWARD_LEAP_NS: i64 = ZONE_STEP_NS;

/// Time zones differ by multiples of a quarter of an hour.
const ZONE_STEP_NS: i64 = 900 * NS_PER_S;

/// Farthest that a block is moved: the largest difference of two zones, in nanoseconds.
const MAX_SHIFT_NS: i64 = 26 * 3600 * NS_PER_S;

/// How close a block at the begin or end must come to the recording when it is moved (own choice).
const CLOSE_NS: i64 = 60 * NS_PER_S;

/// A leap ahead by more than this parts sessions (own choice).
const SESSION_LEAP_NS: i64 = 24 * 3600 * NS_PER_S;

/// Longest stretch before a leap of days that counts as a clock not yet set, not as a session (own choice).
const MAX_UNSET_NS: i64 = 300 * NS_PER_S;

/// Points of the file under one clock, sorted.
#[derive(Debug)]
struct Block {
    indices: Vec<usize>,
    first_ns: i64,
    last_ns: i64,
    shift_ns: i64,
}

/// Sorts one track, its clocks put right. Gives one session, or more where days lie between its parts.
pub(super) fn in_order(raw: RawSession, notes: &mut Option<Notes>) -> Vec<(RawSession, Notes)> {
    let mut notes = notes.take().unwrap_or_default();
    if raw.points.is_empty() {
        return Vec::new();
    }
    let is_ordinary = |pair: &[i64]| (0..=FORWARD_LEAP_NS).contains(&(pair[1].saturating_sub(pair[0])));
    if raw.points.time_ns().windows(2).all(is_ordinary) {
        return vec![(raw, notes)];
    }
    let blocks = placed(blocks(&raw, &mut notes), &raw, &mut notes);
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

/// Cuts at leaps of the clock and sorts each block.
fn blocks(raw: &RawSession, notes: &mut Notes) -> Vec<Block> {
    let times_ns = raw.points.time_ns();
    let is_leap = |index: usize| {
        let step_ns = times_ns[index].saturating_sub(times_ns[index - 1]);
        !(-BACKWARD_LEAP_NS..=FORWARD_LEAP_NS).contains(&step_ns)
    };
    let cuts = (1..times_ns.len()).filter(|&index| is_leap(index));
    let mut begin = 0;
    let mut blocks = Vec::new();
    for end in cuts.chain(std::iter::once(times_ns.len())) {
        let range = begin..end;
        note_disorder(raw, range.clone(), notes);
        let mut indices: Vec<usize> = range.collect();
        indices.sort_by_key(|&index| times_ns[index]);
        let (first_ns, last_ns) = (times_ns[indices[0]], times_ns[indices[indices.len() - 1]]);
        blocks.push(Block { indices, first_ns, last_ns, shift_ns: 0 });
        begin = end;
    }
    blocks
}

fn note_disorder(raw: &RawSession, range: Range<usize>, notes: &mut Notes) {
    let mut latest_ns = i64::MIN;
    for index in range {
        let time_ns = raw.points.time_ns()[index];
        if time_ns < latest_ns {
            notes.add_many(NoteKind::Unordered, 1, Some(raw.point_bytes[index]), String::new);
        }
        latest_ns = latest_ns.max(time_ns);
    }
}

/// The blocks in order of time, those beside the heaviest chain moved or left out.
fn placed(blocks: Vec<Block>, raw: &RawSession, notes: &mut Notes) -> Vec<Block> {
    let in_chain = heaviest_chain(&blocks);
    let mut next_first_ns = vec![None; blocks.len()];
    let mut following = None;
    for index in (0..blocks.len()).rev() {
        next_first_ns[index] = following;
        if in_chain[index] {
            following = Some(blocks[index].first_ns);
        }
    }
    let mut placed: Vec<Block> = Vec::with_capacity(blocks.len());
    for (index, mut block) in blocks.into_iter().enumerate() {
        let after_ns = placed.last().map(|last| last.last_ns + last.shift_ns);
        if !in_chain[index] {
            let at = raw.point_bytes[block.indices[0]];
            let count = block.indices.len() as u64;
            let Some(shift_ns) = shift_into(&block, after_ns, next_first_ns[index]) else {
                notes.add_many(NoteKind::ClockWrong, count, Some(at), String::new);
                continue;
            };
            notes.add_many(NoteKind::ClockShifted, count, Some(at), || {
                format!("moved by {} min", shift_ns / (60 * NS_PER_S))
            });
            block.shift_ns = shift_ns;
        }
        placed.push(block);
    }
    placed
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

/// Parts the blocks where days lie between; short parts before or after such a leap, and those before the clock was
/// set, are left out.
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
    let any_set = parts.iter().any(|part| part[0].first_ns >= CLOCK_SET_AFTER_S * NS_PER_S);
    let several = parts.len() > 1;
    parts.retain(|part| {
        let last = &part[part.len() - 1];
        let (begin_ns, end_ns) = (part[0].first_ns + part[0].shift_ns, last.last_ns + last.shift_ns);
        let is_short = end_ns - begin_ns <= MAX_UNSET_NS && count(part) < largest;
        let is_unset = begin_ns < CLOCK_SET_AFTER_S * NS_PER_S && any_set;
        let is_wrong = several && (is_short || is_unset);
        if is_wrong {
            let at = raw.point_bytes[part[0].indices[0]];
            notes.add_many(NoteKind::ClockWrong, count(part) as u64, Some(at), String::new);
        }
        !is_wrong
    });
    parts
}

/// Sorts a session whose tracks overlap a little.
pub(super) fn sort(session: &mut Session) {
    let times_ns = session.raw.points.time_ns();
    let mut indices: Vec<usize> = (0..times_ns.len()).collect();
    note_disorder(&session.raw, 0..times_ns.len(), &mut session.notes);
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

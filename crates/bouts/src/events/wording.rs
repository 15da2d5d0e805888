//! The sentences: what happened, as a kind coach would say it.

use super::{Event, EventKind};
use crate::Gait;

/// Seconds as `m:ss`.
pub(super) fn clock(seconds: f64) -> String {
    let whole = seconds.round().max(0.0) as u64;
    match whole / 3600 {
        0 => format!("{}:{:02}", whole / 60, whole % 60),
        hours => format!("{hours}:{:02}:{:02}", whole / 60 % 60, whole % 60),
    }
}

/// A count with its noun.
fn counted(count: usize, noun: &str) -> String {
    if count == 1 { format!("1 {noun}") } else { format!("{count} {noun}s") }
}

pub(super) fn stopped_after(run: usize, planned: usize) -> String {
    format!("Ran {run} of {}, then walked on.", counted(planned, "rep"))
}

pub(super) fn rep_walked(number: usize) -> String {
    format!("Rep {number} was walked.")
}

pub(super) fn rep_left_out(count: usize, planned: usize) -> String {
    format!("Ran {} of {}.", planned - count, counted(planned, "rep"))
}

pub(super) fn reps_joined(walk: usize) -> String {
    format!("Ran on through walk {walk}, so that reps {walk} and {} were one run.", walk + 1)
}

pub(super) fn hole(unseen_s: f64) -> String {
    format!("The recording has a hole of {}.", clock(unseen_s))
}

pub(super) fn in_hole(rep: usize, seen_s: f64) -> String {
    match seen_s > 0.0 {
        true => format!(
            "The recording has a hole in rep {rep}, of which {} show: how long it was cannot be told.",
            clock(seen_s)
        ),
        false => {
            format!("The recording has a hole where rep {rep} would be: whether it was run cannot be told.")
        }
    }
}

pub(super) fn may_be_joined(walk: usize) -> String {
    format!(
        "Reps {walk} and {} show as one run, in which walk {walk} may hide: ask whether it was walked.",
        walk + 1
    )
}

/// A rep or walk that lasted longer or shorter than planned; without a planned length in seconds only what it was.
pub(super) fn lasted(kind: EventKind, number: usize, planned_s: Option<f64>, done_s: f64) -> String {
    let part = if matches!(kind, EventKind::WalkShort | EventKind::WalkLong) { "Walk" } else { "Rep" };
    let is_long = matches!(kind, EventKind::WalkLong | EventKind::RepLong);
    let done = clock(done_s);
    match (planned_s, is_long) {
        (Some(planned_s), true) => {
            format!("{part} {number} lasted {done}, {} more than planned.", clock(done_s - planned_s))
        }
        (Some(planned_s), false) => format!("{part} {number} lasted {done} of {}.", clock(planned_s)),
        (None, true) => format!("{part} {number} was longer than planned: {done}."),
        (None, false) => format!("{part} {number} was shorter than planned: {done}."),
    }
}

/// A rep that a rest parted, of which so much was run and rested, so that so much counts.
pub(super) fn in_pieces(
    number: usize,
    planned_s: Option<f64>,
    (run_s, rest_s): (f64, f64),
    done_s: f64,
) -> String {
    let of = planned_s.map_or(String::new(), |planned_s| format!(" of {}", clock(planned_s)));
    let (run, rest, done) = (clock(run_s), clock(rest_s), clock(done_s));
    format!("Rep {number} was run in pieces, {run} with {rest} of rest between: counts as {done}{of}.")
}

pub(super) fn rep_extra(done_s: f64) -> String {
    format!("Ran once more than planned, for {}.", clock(done_s))
}

pub(super) fn ran_through(done_s: f64) -> String {
    format!("Ran the whole main part in one go, {} without a break.", clock(done_s))
}

/// Walked but for runs of these seconds, which are none of the plan's.
pub(super) fn walked_through(run_s: f64) -> String {
    match run_s > 0.0 {
        true => format!("Walked the whole way, but for {} of running.", clock(run_s)),
        false => "Walked the whole way.".to_owned(),
    }
}

pub(super) fn more_may_have_been_run(seen: usize, planned: usize) -> String {
    let reps = counted(planned, "rep");
    match seen {
        0 => format!("No run shows of {reps}, and a recording this rough may hide them: ask what was run."),
        seen => {
            format!("{seen} of {reps} show, and a recording this rough may hide others: ask what was run.")
        }
    }
}

/// What has an edge: the recording, or the part of it that counts by hand, beyond which the file may go on.
pub(super) fn what_counts(is_part: bool) -> &'static str {
    if is_part { "The part that counts by hand" } else { "The recording" }
}

/// `what` counts begins or ends in a part of the plan of which it holds `seen_s`.
pub(super) fn recording_edge(
    kind: EventKind,
    what: &str,
    part: Gait,
    number: Option<usize>,
    seen_s: f64,
) -> String {
    let noun = noun(part);
    let place = number.map_or(format!("a {noun}"), |number| format!("{noun} {number}"));
    let seen = clock(seen_s);
    match kind {
        EventKind::RecordingLate => {
            format!("{what} begins in {place}, with {seen} of it left; what came before is not in it.")
        }
        _ => format!("{what} ends {seen} into {place}; what came after is not in it."),
    }
}

/// The walk at the start is so much longer than planned, and may hide the end of a rep.
pub(super) fn late_in_hidden(what: &str, number: usize, longer_s: f64) -> String {
    format!(
        "{what} seems to begin in rep {number}: the walk at its start is {} longer than planned, and may hide the end of \
         the rep; what came before is not in it.",
        clock(longer_s)
    )
}

/// The same at the end.
pub(super) fn cut_in_hidden(what: &str, number: usize, longer_s: f64) -> String {
    format!(
        "{what} seems to end in rep {number}: the walk at its end is {} longer than planned, and may hide the begin of \
         the rep; what came after is not in it.",
        clock(longer_s)
    )
}

pub(super) fn late_or_not_run(what: &str, seen: usize, planned: usize, before_s: f64) -> String {
    format!(
        "{what} shows {seen} of {} and begins {} before the first of them: whether the others came before \
         that cannot be told.",
        counted(planned, "rep"),
        clock(before_s)
    )
}

pub(super) fn cut_or_stopped(what: &str, seen: usize, planned: usize, after_s: f64) -> String {
    format!(
        "{what} shows {seen} of {} and ends {} after the last of them: whether the others followed cannot be \
         told.",
        counted(planned, "rep"),
        clock(after_s)
    )
}

pub(super) fn nothing_seen(what: &str, planned: usize, seen_s: f64) -> String {
    format!(
        "{what} holds {} on foot and none of {}: whether any was run before or after it cannot be told.",
        clock(seen_s),
        counted(planned, "rep")
    )
}

pub(super) fn aside(kind: EventKind, seconds: f64) -> String {
    let lasted = clock(seconds);
    match kind {
        EventKind::Vehicle => format!("In a vehicle for {lasted}: left out of everything."),
        EventKind::Stood => format!("Stood for {lasted}."),
        _ => format!("The recording pauses for {lasted}."),
    }
}

fn noun(part: Gait) -> &'static str {
    match part {
        Gait::Run => "rep",
        Gait::Walk => "walk",
    }
}

/// The events in as few sentences as they need, each with its kind, in order of time: walks and reps that differ from the
/// plan in the same way are told in one.
pub fn told(events: &[Event]) -> Vec<(EventKind, String)> {
    let mut sentences = Vec::new();
    for (index, event) in events.iter().enumerate() {
        let alike = |other: &&Event| is_grouped(event.kind) && other.kind == event.kind;
        if events[..index].iter().any(|before| alike(&before)) {
            continue;
        }
        let group: Vec<&Event> =
            std::iter::once(event).chain(events[index + 1..].iter().filter(alike)).collect();
        let sentence = if group.len() == 1 { event.text.clone() } else { together(&group) };
        sentences.push((event.kind, sentence));
    }
    sentences
}

fn is_grouped(kind: EventKind) -> bool {
    matches!(
        kind,
        EventKind::RepWalked
            | EventKind::RepsJoined
            | EventKind::WalkShort
            | EventKind::WalkLong
            | EventKind::RepShort
            | EventKind::RepLong
            | EventKind::RepExtra
            | EventKind::Stood
            | EventKind::Paused
            | EventKind::Vehicle
    )
}

/// Several events of one kind in one sentence.
fn together(group: &[&Event]) -> String {
    let count = group.len();
    let numbers = list(&group.iter().filter_map(|event| event.number).collect::<Vec<_>>());
    let done_s: f64 = group.iter().filter_map(|event| event.done_s).sum();
    let done = clock(done_s);
    let planned_s: Option<f64> = group.iter().map(|event| event.planned_s).sum();
    let of_planned = planned_s.map_or(String::new(), |planned_s| format!(" of {}", clock(planned_s)));
    let beyond =
        planned_s.map_or(String::new(), |planned_s| format!(", {} more in all", clock(done_s - planned_s)));
    match group[0].kind {
        EventKind::RepWalked => format!("Reps {numbers} were walked."),
        EventKind::RepsJoined => format!("Ran on through walks {numbers}."),
        EventKind::WalkShort => format!("Walks {numbers} were shorter than planned: {done}{of_planned}."),
        EventKind::WalkLong => format!("Walks {numbers} were longer than planned{beyond}."),
        EventKind::RepShort => format!("Reps {numbers} were shorter than planned: {done}{of_planned}."),
        EventKind::RepLong => format!("Reps {numbers} were longer than planned{beyond}."),
        EventKind::RepExtra => format!("Ran {count} times more than planned, {done} in all."),
        EventKind::Stood => format!("Stood {count} times, {done} in all."),
        EventKind::Vehicle => format!("In a vehicle {count} times, {done} in all: left out of everything."),
        _ => format!("The recording pauses {count} times, {done} in all."),
    }
}

/// Numbers in order: `1 to 4, 6 and 8`.
fn list(numbers: &[usize]) -> String {
    let mut ranges: Vec<(usize, usize)> = Vec::new();
    for &number in numbers {
        match ranges.last_mut() {
            Some((_, last)) if *last + 1 == number => *last = number,
            _ => ranges.push((number, number)),
        }
    }
    let words: Vec<String> = ranges
        .iter()
        .flat_map(|&(first, last)| match last - first {
            0 => vec![first.to_string()],
            1 => vec![first.to_string(), last.to_string()],
            _ => vec![format!("{first} to {last}")],
        })
        .collect();
    match words.split_last() {
        Some((last, rest)) if !rest.is_empty() => format!("{} and {last}", rest.join(", ")),
        _ => words.concat(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn event(kind: EventKind, number: usize, planned_s: f64, done_s: f64) -> Event {
        Event {
            kind,
            part: None,
            number: Some(number),
            at_s: 0.0,
            to_s: 0.0,
            planned_s: Some(planned_s),
            done_s: Some(done_s),
            confidence: 1.0,
            text: lasted(kind, number, Some(planned_s), done_s),
        }
    }

    #[test]
    fn what_differs_in_the_same_way_is_told_in_one_sentence() {
        let walks = [1, 2, 3, 5].map(|number| event(EventKind::WalkShort, number, 80.0, 40.0));
        let mut events = walks.to_vec();
        events.insert(2, event(EventKind::RepLong, 2, 40.0, 60.0));
        let sentences: Vec<String> = told(&events).into_iter().map(|(_, sentence)| sentence).collect();
        assert_eq!(
            sentences,
            [
                "Walks 1 to 3 and 5 were shorter than planned: 2:40 of 5:20.",
                "Rep 2 lasted 1:00, 0:20 more than planned."
            ]
        );
    }

    #[test]
    fn numbers_read_as_people_say_them() {
        assert_eq!(list(&[4]), "4");
        assert_eq!(list(&[1, 2]), "1 and 2");
        assert_eq!(list(&[1, 2, 3, 6, 8, 9]), "1 to 3, 6, 8 and 9");
    }
}

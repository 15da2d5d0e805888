//! Which recordings of one athlete are one session twice.
//!
//! Rules, for two recordings of the same athlete:
//!
//! 1. **The same session**: starts and ends within 5 s of each other, and positions at equal times within 10 m in the
//!    median. Where they share no positions, heart rates and the device's distances at equal times decide, all that
//!    both have. The recording of which a part counts by hand counts; then the one with more usable values; then the first in
//!    the order of paths.
//! 2. **A truncated copy** lies within the time of a longer recording. Where its file lost a part, it is one by the
//!    places of rule 1. Where its file is whole, it was cut off by hand: it starts with the longer one, and nine in
//!    ten of its samples are those of the longer one but for rounding, which no second device achieves. The longer
//!    recording counts, however rich the other is.
//! 3. **The same bytes** are the same session without further proof.
//! 4. Anything else of which what counts shares more than 5 s is an **overlap**: both are kept, both are noted. So are two devices that
//!    started together and stopped apart, and a whole file without the beginning of another: which of two recordings
//!    with different starts is the true one cannot be known.
//! 5. **A slip of the time zone**: rule 1 would hold if one clock were put right by whole quarter hours, up to 14 h; where
//!    places prove it, starts and ends may lie apart as two buttons do. Both count unless they share time, both are noted; of
//!    one recording the first three that look like it.

use std::collections::HashMap;

use crate::fingerprint::{Apart, Fingerprint};
use crate::timestamp::NS_PER_S;
use crate::{Note, NoteKind};

crate::settings! {
    /// Tolerances for [`find_duplicates`].
    DuplicateSettings {
        /// How far starts and ends of one session may lie apart.
        time_s: f64 = 5.0, "s", 0..120, "by definition";
        /// How far positions at equal times may lie apart in the median; also distances since the start.
        distance_m: f64 = 10.0, "m", 0..200, "by definition";
        /// How far heart rates at equal times may lie apart in the median.
        heart_rate_bpm: f64 = 3.0, "beats/min", 0..50, "own choice";
        /// How far positions at equal times may lie apart where one recording is the other, cut off by hand; also distances since the start.
        rounding_m: f64 = 1.6, "m", 0..50, "own choice: two roundings to five decimals";
        /// The same for heart rates.
        rounding_bpm: f64 = 1.0, "beats/min", 0..20, "own choice: two roundings to whole beats";
        /// The largest slip of a time zone that is looked for.
        zone_slip_s: i64 = 50400, "s", 0..86400, "own choice: 14 h, the widest offset from UTC";
    }
}

/// Offsets of time zones are whole quarter hours.
const ZONE_UNIT_S: i64 = 900;
/// Seconds between the buttons of two devices that recorded one session (own choice: time to put away a phone).
const BUTTONS_S: f64 = 120.0;
/// The most that these are of the shorter recording (own choice: what lies inside a few seconds is no session).
const BUTTONS_SHARE: f64 = 0.1;
/// Samples that a slip of the time zone needs as proof (own choice); at equal times one is enough.
const SLIP_SAMPLES: usize = 3;
/// Most recordings that one is held against for a slip of the time zone, those that begin first (own choice: nobody makes
/// more on one day, to the second in quarter hours apart; where somebody did, time must not grow with their square).
const MAX_HELD_AGAINST: usize = 64;
/// A recording whose places stay within this distance proves nothing by them, in metres (own choice).
const STATIONARY_M: f64 = 20.0;

/// Seconds from one time in nanoseconds to another.
fn seconds_between(from_ns: i64, to_ns: i64) -> f64 {
    to_ns.saturating_sub(from_ns) as f64 * 1e-9
}

/// A recording that takes part in the comparison.
#[derive(Clone, Copy, Debug)]
pub struct Candidate<'a> {
    /// Its file, as in [`crate::FileReading::file`].
    pub file: &'a str,
    /// Its number in the file.
    pub session: usize,
    /// Hash of the file's bytes.
    pub content_hash: Option<u128>,
    /// Whether its file is known to have lost a part ([`crate::Status::Partial`]).
    pub partial: bool,
    /// Its fingerprint.
    pub fingerprint: &'a Fingerprint,
}

/// How a recording stands among the others.
#[derive(Clone, Debug, Default, PartialEq)]
#[non_exhaustive]
pub struct Standing {
    /// Index of the recording that counts in its place; `None` where it counts itself.
    pub duplicate_of: Option<usize>,
    /// Indices of the counting recordings that share time with it, ascending; where there are more than three, that of the
    /// first only.
    pub overlaps: Vec<usize>,
    /// Number of counting recordings that share time with it.
    pub overlap_count: usize,
    /// Indices of counting recordings that begin earlier and look like it on a clock of another time zone.
    pub slips: Vec<usize>,
    /// What to say about it.
    pub notes: Vec<Note>,
}

/// Compares all recordings of one athlete and says for each, in the same order, whether it counts.
///
/// The result depends on what the candidates are and not on their order.
///
/// ```
/// use boutwise_track::{Candidate, DuplicateSettings, Fingerprint, Point, Recording, find_duplicates};
///
/// let points = (0..60).map(|second| Point {
///     time_ns: Some(second * 1_000_000_000),
///     heart_rate_bpm: Some(120.0 + second as f64),
///     ..Point::default()
/// });
/// let fingerprint = Fingerprint::of(&Recording { points: points.collect(), ..Recording::default() });
/// let copy =
///     |file| Candidate { file, session: 1, content_hash: None, partial: false, fingerprint: &fingerprint };
/// let standings = find_duplicates(&[copy("b.gpx"), copy("a.gpx")], &DuplicateSettings::default());
/// assert_eq!(standings[0].duplicate_of, Some(1));
/// assert_eq!(standings[1].duplicate_of, None);
/// ```
pub fn find_duplicates(candidates: &[Candidate<'_>], settings: &DuplicateSettings) -> Vec<Standing> {
    let mut standings = vec![Standing::default(); candidates.len()];
    let mut by_start: Vec<usize> = (0..candidates.len()).collect();
    by_start.sort_by_key(|&index| {
        let candidate = &candidates[index];
        (candidate.fingerprint.start_ns(), candidate.file, candidate.session)
    });
    // A copy never reaches beyond the recordings that share time with it.
    let mut group: Vec<usize> = Vec::new();
    let mut group_end_ns = i64::MIN;
    for &index in &by_start {
        let fingerprint = candidates[index].fingerprint;
        if seconds_between(group_end_ns, fingerprint.start_ns()) > settings.time_s {
            choose(std::mem::take(&mut group), candidates, settings, &mut standings);
        }
        group_end_ns = group_end_ns.max(fingerprint.end_ns());
        group.push(index);
    }
    choose(group, candidates, settings, &mut standings);
    let counting: Vec<usize> =
        by_start.into_iter().filter(|&index| standings[index].duplicate_of.is_none()).collect();
    note_overlaps(&counting, candidates, settings, &mut standings);
    note_zone_slips(&counting, candidates, settings, &mut standings);
    standings
}

/// Decides among recordings that share time which count: the longest first, or the richest that is the same.
fn choose(
    mut open: Vec<usize>,
    candidates: &[Candidate<'_>],
    settings: &DuplicateSettings,
    standings: &mut [Standing],
) {
    let by_path = |index: &usize| std::cmp::Reverse((candidates[*index].file, candidates[*index].session));
    let usable = |index: &usize| candidates[*index].fingerprint.usable_values();
    let duration_ns = |index: &usize| candidates[*index].fingerprint.duration_ns();
    open.sort_by_key(|index| std::cmp::Reverse((duration_ns(index), usable(index), by_path(index))));
    while let Some(&longest) = open.first() {
        let best = open
            .iter()
            .copied()
            .filter(|&index| is_same(&candidates[longest], &candidates[index], settings))
            .max_by_key(|&index| (candidates[index].fingerprint.is_part(), usable(&index), by_path(&index)))
            .unwrap_or(longest);
        open.retain(|&index| {
            let (whole, other) = (&candidates[best], &candidates[index]);
            if index == best {
                return false;
            }
            let is_copy = is_same(whole, other, settings) || is_truncated(whole, other, settings);
            if is_copy {
                standings[index].duplicate_of = Some(best);
                let why = reason(other, whole, settings);
                standings[index].notes.push(said(NoteKind::Duplicate, other, "duplicate of ", whole, &why));
            }
            !is_copy
        });
    }
}

/// Whether both are one session, from its start to its end.
fn is_same(a: &Candidate<'_>, b: &Candidate<'_>, settings: &DuplicateSettings) -> bool {
    has_same_bytes(a, b)
        || starts_together(a, b, settings)
            && ends_together(a, b, settings)
            && !a.fingerprint.is_far(b.fingerprint, settings.distance_m)
            && agrees(a, b, settings)
}

/// Whether `copy` is `whole` without its end, or a part of it that was left of a damaged file.
fn is_truncated(whole: &Candidate<'_>, copy: &Candidate<'_>, settings: &DuplicateSettings) -> bool {
    let (a, b) = (whole.fingerprint, copy.fingerprint);
    let lies_within = seconds_between(b.start_ns(), a.start_ns()) <= settings.time_s
        && seconds_between(a.end_ns(), b.end_ns()) <= settings.time_s;
    lies_within
        && if copy.partial {
            agrees(whole, copy, settings)
        } else {
            starts_together(whole, copy, settings) && is_rounded(whole, copy, settings)
        }
}

fn starts_together(a: &Candidate<'_>, b: &Candidate<'_>, settings: &DuplicateSettings) -> bool {
    seconds_between(a.fingerprint.start_ns(), b.fingerprint.start_ns()).abs() <= settings.time_s
}

fn ends_together(a: &Candidate<'_>, b: &Candidate<'_>, settings: &DuplicateSettings) -> bool {
    seconds_between(a.fingerprint.end_ns(), b.fingerprint.end_ns()).abs() <= settings.time_s
}

/// Whether the places are near each other in the median; without common places, heart rates and distances.
fn agrees(a: &Candidate<'_>, b: &Candidate<'_>, settings: &DuplicateSettings) -> bool {
    let starts_agree = || {
        let apart_m = a.fingerprint.start_difference_m(b.fingerprint)?;
        starts_together(a, b, settings).then_some(apart_m <= settings.distance_m)
    };
    a.fingerprint.places_agree(b.fingerprint, settings.distance_m).or_else(starts_agree).unwrap_or_else(
        || {
            let difference = a.fingerprint.difference(b.fingerprint, 0).median();
            sensors_agree(&difference, settings.heart_rate_bpm, settings.distance_m) == Some(true)
        },
    )
}

/// Whether nine in ten samples of every series that both have are the same but for rounding.
fn is_rounded(a: &Candidate<'_>, b: &Candidate<'_>, settings: &DuplicateSettings) -> bool {
    // What is not near in the median is so no more often.
    if a.fingerprint.is_far(b.fingerprint, settings.rounding_m)
        || a.fingerprint.places_agree(b.fingerprint, settings.rounding_m) == Some(false)
    {
        return false;
    }
    let difference = a.fingerprint.difference(b.fingerprint, 0).nine_in_ten();
    let place_m = difference.place_m.or_else(|| a.fingerprint.start_difference_m(b.fingerprint));
    let places = place_m.map(|place_m| place_m <= settings.rounding_m);
    let sensors = sensors_agree(&difference, settings.rounding_bpm, settings.rounding_m);
    (places.is_some() || sensors.is_some()) && places.unwrap_or(true) && sensors.unwrap_or(true)
}

fn has_same_bytes(a: &Candidate<'_>, b: &Candidate<'_>) -> bool {
    a.content_hash.is_some() && a.content_hash == b.content_hash && a.session == b.session
}

/// Whether the sensors that both have agree; `None` where there is none.
fn sensors_agree(apart: &Apart, heart_rate_bpm: f64, distance_m: f64) -> Option<bool> {
    let heart_rate = apart.heart_rate_bpm.map(|difference| difference <= heart_rate_bpm);
    let distance = apart.distance_m.map(|difference| difference <= distance_m);
    match (heart_rate, distance) {
        (None, None) => None,
        (heart_rate, distance) => Some(heart_rate.unwrap_or(true) && distance.unwrap_or(true)),
    }
}

/// Why a copy does not count, as what follows the name of the recording that does.
fn reason(copy: &Candidate<'_>, whole: &Candidate<'_>, settings: &DuplicateSettings) -> String {
    if has_same_bytes(copy, whole) {
        let why = match whole.fingerprint.is_part() && !copy.fingerprint.is_part() {
            true => "it counts, as a part of it does by hand",
            false => "it counts as the first in the order of paths",
        };
        return format!(", byte for byte; {why}");
    }
    let (a, b) = (copy.fingerprint, whole.fingerprint);
    let why = if !is_same(copy, whole, settings) {
        format!("it goes on for {:.0} s more", (b.duration_ns() - a.duration_ns()) as f64 * 1e-9)
    } else if b.is_part() && !a.is_part() {
        "a part of it counts by hand".to_owned()
    } else if b.usable_values() > a.usable_values() {
        format!("it holds more values ({} against {})", b.usable_values(), a.usable_values())
    } else if copy.file == whole.file {
        "it comes first".to_owned()
    } else {
        "it comes first in the order of paths".to_owned()
    };
    format!(", which counts: {why}")
}

/// A note about one recording that calls another by its name between two parts of a sentence. It begins with the number
/// of the recording in its file, unless that is the first.
fn said(kind: NoteKind, of: &Candidate<'_>, before: &str, other: &Candidate<'_>, after: &str) -> Note {
    let before = match of.session {
        0 | 1 => before.to_owned(),
        session => format!("session {session}: {before}"),
    };
    match other.session {
        session if other.file == of.file => {
            let text = format!("{before}session {session} of the same file{after}");
            Note { kind, quantity: None, place: None, count: 1, text, other_file: None }
        }
        0 | 1 => naming(kind, &before, other.file, after),
        session => naming(kind, &before, other.file, &format!(" (session {session}){after}")),
    }
}

/// A note that names another file between two parts of a sentence.
fn naming(kind: NoteKind, before: &str, file: &str, after: &str) -> Note {
    let start = before.len() + 1;
    Note {
        kind,
        quantity: None,
        place: None,
        count: 1,
        text: format!("{before}`{file}`{after}"),
        other_file: Some(start..start + file.len()),
    }
}

/// Most recordings that are named one by one to a recording that shares time with them; of more only the first is named,
/// and how many there are (own choice).
const MAX_NAMED: usize = 3;

/// Seconds that what counts of two recordings shares; below 0 where it lies apart.
fn shared_s(a: &Candidate<'_>, b: &Candidate<'_>) -> f64 {
    let ((a_start, a_end), (b_start, b_end)) = (a.fingerprint.counts_ns(), b.fingerprint.counts_ns());
    seconds_between(a_start.max(b_start), a_end.min(b_end))
}

/// Notes which recordings share time, by what counts of each.
fn note_overlaps(
    counting: &[usize],
    candidates: &[Candidate<'_>],
    settings: &DuplicateSettings,
    standings: &mut [Standing],
) {
    let span = |index: usize| candidates[index].fingerprint.counts_ns();
    let shared_s = |one: usize, another: usize| shared_s(&candidates[one], &candidates[another]);
    // What lasts no longer than the tolerance shares no more with anything. Of the others, in order of their start, those
    // that share time with one are those that begin before its end, without those that end before its start.
    let mut lasting: Vec<usize> =
        counting.iter().copied().filter(|&index| shared_s(index, index) > settings.time_s).collect();
    // What counts of a recording may begin after what began later.
    lasting.sort_by_key(|&index| span(index).0);
    let mut ends_ns: Vec<i64> = lasting.iter().map(|&index| span(index).1).collect();
    // The latest end of each and all before it, so that the first that reaches a time is found.
    let mut reached_ns = ends_ns.clone();
    for at in 1..reached_ns.len() {
        reached_ns[at] = reached_ns[at].max(reached_ns[at - 1]);
    }
    ends_ns.sort_unstable();
    for (at, &index) in lasting.iter().enumerate() {
        let (start_ns, end_ns) = span(index);
        let begun =
            lasting.partition_point(|&other| seconds_between(span(other).0, end_ns) > settings.time_s);
        let over =
            ends_ns.partition_point(|&other_ns| seconds_between(start_ns, other_ns) <= settings.time_s);
        // It shares time with itself.
        let count = begun - over - 1;
        let first =
            reached_ns.partition_point(|&other_ns| seconds_between(start_ns, other_ns) <= settings.time_s);
        let named = if count > MAX_NAMED { 1 } else { count };
        let others = (first..begun).filter(|&other| other != at).map(|other| lasting[other]);
        let others = others.filter(|&other| shared_s(index, other) > settings.time_s).take(named);
        standings[index].overlap_count = count;
        for other in others {
            let shared_s = shared_s(index, other);
            let before = match count > MAX_NAMED {
                true => format!("overlaps {count} recordings, first "),
                false => "overlaps ".to_owned(),
            };
            let after =
                format!(" by {shared_s:.0} s; each has its row, and of two at one time at most one counts");
            let note = said(NoteKind::Overlap, &candidates[index], &before, &candidates[other], &after);
            standings[index].overlaps.push(other);
            standings[index].notes.push(note);
        }
        standings[index].overlaps.sort_unstable();
    }
}

/// Notes which recordings look like one session on two clocks; `counting` are in order of their start.
fn note_zone_slips(
    counting: &[usize],
    candidates: &[Candidate<'_>],
    settings: &DuplicateSettings,
    standings: &mut [Standing],
) {
    let starts_ns: Vec<i64> =
        counting.iter().map(|&index| candidates[index].fingerprint.start_ns()).collect();
    for (at, &earlier) in counting.iter().enumerate() {
        let fingerprint = candidates[earlier].fingerprint;
        let slips = slipped(at, &starts_ns, settings).take(MAX_HELD_AGAINST).filter_map(|later| {
            let later = counting[later];
            Some((later, zone_slip_s(fingerprint, candidates[later].fingerprint, settings)?))
        });
        for (later, slip_s) in slips.take(MAX_NAMED) {
            standings[later].slips.push(earlier);
            // Which counts of two that share time is said where they overlap.
            let is_apart = shared_s(&candidates[earlier], &candidates[later]) <= settings.time_s;
            let counts = if is_apart { "; both count" } else { "" };
            for (one, another, word) in [(earlier, later, "earlier"), (later, earlier, "later")] {
                let by = hours_and_minutes(slip_s);
                let after = format!(" with the clock {by} {word}, a slip of the time zone{counts}");
                let (own, other) = (&candidates[one], &candidates[another]);
                standings[one].notes.push(said(NoteKind::ZoneSlip, own, "looks like ", other, &after));
            }
        }
    }
}

/// Those that begin whole quarter hours after one but for two buttons, up to the widest slip, in order of their start as all are.
fn slipped<'s>(
    at: usize,
    starts_ns: &'s [i64],
    settings: &DuplicateSettings,
) -> impl Iterator<Item = usize> + 's {
    let tolerance_ns = (settings.time_s.max(BUTTONS_S) * 1e9) as i64;
    let units = (settings.zone_slip_s + settings.time_s as i64) / ZONE_UNIT_S;
    let mut from = at + 1;
    let start_ns = starts_ns[at];
    (1..=units)
        .map(move |unit| start_ns.saturating_add(unit * ZONE_UNIT_S * NS_PER_S))
        .take_while(move |slipped_ns| {
            starts_ns.last().is_some_and(|last_ns| slipped_ns.saturating_sub(tolerance_ns) <= *last_ns)
        })
        .flat_map(move |slipped_ns| {
            let later = &starts_ns[from..];
            from += later.partition_point(|&other_ns| other_ns < slipped_ns.saturating_sub(tolerance_ns));
            let last_ns = slipped_ns.saturating_add(tolerance_ns);
            (from..starts_ns.len()).take_while(move |&other| starts_ns[other] <= last_ns)
        })
}

/// By how much `later` is the same session as `earlier` on another clock.
fn zone_slip_s(earlier: &Fingerprint, later: &Fingerprint, settings: &DuplicateSettings) -> Option<i64> {
    let start_s = seconds_between(earlier.start_ns(), later.start_ns());
    let end_s = seconds_between(earlier.end_ns(), later.end_ns());
    let slip_s = (start_s / ZONE_UNIT_S as f64).round() as i64 * ZONE_UNIT_S;
    let off_s = (start_s - slip_s as f64).abs().max((end_s - slip_s as f64).abs());
    let is_together = off_s <= settings.time_s;
    let shorter_s = earlier.duration_ns().min(later.duration_ns()) as f64 * 1e-9;
    if slip_s == 0 || !is_together && off_s > BUTTONS_S.min(BUTTONS_SHARE * shorter_s) {
        return None;
    }
    let differences = earlier.difference(later, -slip_s);
    let difference = differences.median();
    let moves = earlier.moves(STATIONARY_M);
    let places_agree = difference.place_m.map(|place_m| place_m <= settings.distance_m);
    let sensors_agree = sensors_agree(&difference, settings.heart_rate_bpm, settings.distance_m);
    let is_proven = match (places_agree.filter(|_| moves), sensors_agree) {
        (None, None) => false,
        (places, sensors) => places.unwrap_or(is_together) && sensors.unwrap_or(true),
    };
    (is_proven && differences.samples() >= SLIP_SAMPLES).then_some(slip_s)
}

fn hours_and_minutes(duration_s: i64) -> String {
    match (duration_s / 3600, duration_s % 3600 / 60) {
        (hours, 0) => format!("{hours} h"),
        (0, minutes) => format!("{minutes} min"),
        (hours, minutes) => format!("{hours} h {minutes} min"),
    }
}

/// One file of one athlete, for [`note_same_bytes`].
#[derive(Clone, Copy, Debug)]
pub struct OwnedFile<'a> {
    /// Whose it is.
    pub athlete: &'a str,
    /// The file, as in [`crate::FileReading::file`].
    pub file: &'a str,
    /// Hash of its bytes.
    pub content_hash: Option<u128>,
}

/// For each file, a note where another athlete has the same bytes. They count for both.
///
/// ```
/// use boutwise_track::{OwnedFile, note_same_bytes};
///
/// let file = |athlete, file| OwnedFile { athlete, file, content_hash: Some(7) };
/// let notes = note_same_bytes(&[file("anna", "anna/run.gpx"), file("ben", "ben/run.gpx")]);
/// assert!(notes.iter().all(Option::is_some));
/// ```
pub fn note_same_bytes(files: &[OwnedFile<'_>]) -> Vec<Option<Note>> {
    let mut by_hash: HashMap<u128, Vec<&OwnedFile<'_>>> = HashMap::new();
    for file in files {
        if let Some(hash) = file.content_hash {
            by_hash.entry(hash).or_default().push(file);
        }
    }
    by_hash.values_mut().for_each(|same| same.sort_by_key(|file| file.file));
    let note = |file: &OwnedFile<'_>| {
        let others = &by_hash[&file.content_hash?];
        let other = others.iter().find(|other| other.athlete != file.athlete)?;
        let after = " of another athlete; counted for both";
        Some(naming(NoteKind::Duplicate, "the same bytes as ", other.file, after))
    };
    files.iter().map(note).collect()
}

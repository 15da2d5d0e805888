//! What happened in a session, told as events: apart from the score, from bouts and plan alone.
//!
//! ```text
//! intervals ─▶ demand ─┐
//!                      ├─▶ alignment ─▶ telling ─▶ events, and what lies inside the recording
//! bouts ─────▶ course ─┘
//! ```
//!
//! The score (see [`match_session`](crate::match_session)) asks for how much credit is due; this reading asks what the
//! person did. Runs are laid on reps in time and order: a run that lasts a little longer than its rep is a long rep and
//! no other one, a rest as long as a rep with the walks around it is a rep that was walked, and a run as long as two
//! reps with the walk between them is both, run together. Of all ways to lay them the likeliest is told.
//!
//! What lies outside a recording is neither missed nor done. Where the edge of a recording and the plan leave it open
//! whether somebody stopped or only the recording did, the event is `cannot_say`, never a reproach.
//!
//! Walk `j` lies between reps `j` and `j + 1`. Walks before the first rep, after the last rep that was run, and beside a
//! rep that was walked make no event.

mod alignment;
mod telling;
mod wording;

use std::ops::Range;

use serde::{Deserialize, Serialize};

pub use wording::told;

use crate::adherence::course::Course;
use crate::adherence::demand::Demand;
use crate::{AdherenceSettings, Bout, Gait, Inside, Interval, Kind};
use alignment::{Edges, align};
use telling::Telling;

/// Standing from which it is told, in seconds (by definition).
const STOOD_S: f64 = 60.0;

/// What happened.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
pub enum EventKind {
    /// Fewer reps than planned: running ended for good after the rep of this number.
    StoppedAfter,
    /// The rep was walked in its place and time.
    RepWalked,
    /// Fewer reps than planned, and nothing in their place; the number says how many.
    RepLeftOut,
    /// The walk of this number was run through.
    RepsJoined,
    /// The walk was shorter than planned.
    WalkShort,
    /// The walk was longer than planned.
    WalkLong,
    /// The rep was shorter than planned.
    RepShort,
    /// The rep was longer than planned.
    RepLong,
    /// A run beyond the plan.
    RepExtra,
    /// The whole main part was one run.
    RanThrough,
    /// No run at all.
    WalkedThrough,
    /// The recording begins after the session did.
    RecordingLate,
    /// The recording ends before the session did.
    RecordingCut,
    /// Driven or ridden.
    Vehicle,
    /// Standing of 60 s or more.
    Stood,
    /// No points for more than 20 s, or no positions and nobody came on.
    Paused,
    /// What cannot be told.
    CannotSay,
}

impl EventKind {
    /// All of them, in the order of the documented table.
    pub const ALL: [Self; 17] = [
        Self::StoppedAfter,
        Self::RepWalked,
        Self::RepLeftOut,
        Self::RepsJoined,
        Self::WalkShort,
        Self::WalkLong,
        Self::RepShort,
        Self::RepLong,
        Self::RepExtra,
        Self::RanThrough,
        Self::WalkedThrough,
        Self::RecordingLate,
        Self::RecordingCut,
        Self::Vehicle,
        Self::Stood,
        Self::Paused,
        Self::CannotSay,
    ];

    /// The word used in every table.
    pub fn word(self) -> &'static str {
        match self {
            Self::StoppedAfter => "stopped_after",
            Self::RepWalked => "rep_walked",
            Self::RepLeftOut => "rep_left_out",
            Self::RepsJoined => "reps_joined",
            Self::WalkShort => "walk_short",
            Self::WalkLong => "walk_long",
            Self::RepShort => "rep_short",
            Self::RepLong => "rep_long",
            Self::RepExtra => "rep_extra",
            Self::RanThrough => "ran_through",
            Self::WalkedThrough => "walked_through",
            Self::RecordingLate => "recording_late",
            Self::RecordingCut => "recording_cut",
            Self::Vehicle => "vehicle",
            Self::Stood => "stood",
            Self::Paused => "paused",
            Self::CannotSay => "cannot_say",
        }
    }
}

/// One thing that happened in a session.
#[derive(Clone, Debug, PartialEq)]
pub struct Event {
    /// What happened.
    pub kind: EventKind,
    /// The part of the plan that it happened in: a rep (`Run`) or a walk; `None` where it belongs to neither.
    pub part: Option<Gait>,
    /// Number of the rep or walk, from 1; how many for [`EventKind::RepLeftOut`].
    pub number: Option<usize>,
    /// Start in seconds from the session's first point.
    pub at_s: f64,
    /// End in seconds from the session's first point.
    pub to_s: f64,
    /// Seconds that were planned; `None` where metres were, or nothing.
    pub planned_s: Option<f64>,
    /// Seconds that were done.
    pub done_s: Option<f64>,
    /// Probability that it happened within 10 s of where it stands, 0 to 1.
    pub confidence: f64,
    /// The sentence that tells it.
    pub text: String,
}

/// What is known of one recording beside its plan.
#[derive(Clone, Copy, Debug)]
pub struct Observed<'a> {
    /// The bouts, in order.
    pub bouts: &'a [Bout],
    /// Stretches in a vehicle, in order and in seconds from the first point; `gap` in the bouts.
    pub vehicles: &'a [Range<f64>],
    /// Stretches in which the person came on or nobody can tell, and nothing was recorded of how, likewise.
    pub unseen: &'a [Range<f64>],
    /// Why running and walking cannot be told apart here; `None` where they can.
    pub doubt: Option<&'a str>,
    /// Probability that every run is right, 0 to 1.
    pub confidence: f64,
    /// Whether the file breaks off: its end says nothing about the session's.
    pub breaks_off: bool,
    /// Whether these bouts are a part of the recording, since by hand no more of it counts.
    pub is_part: bool,
}

impl<'a> Observed<'a> {
    /// Bouts of a whole recording on foot, with how likely it is that every run is right.
    pub fn of(bouts: &'a [Bout], confidence: f64) -> Self {
        Self { bouts, vehicles: &[], unseen: &[], doubt: None, confidence, breaks_off: false, is_part: false }
    }
}

/// A session read as events.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Reading {
    /// What happened, in order of time.
    pub events: Vec<Event>,
    /// The part of the plan that lies inside the recording; `None` where all of it does, or where nobody can tell.
    pub inside: Option<Inside>,
    /// Share of the planned run seconds that lies inside the recording, in %; `None` where no run is planned or nobody
    /// can tell.
    pub recorded_pct: Option<f64>,
    /// Whether a rep was not run in full: it is told as short, or lacks less than is told and more than its boundaries may be off.
    pub rep_lacking: bool,
}

/// Reads what happened in one session that was to follow `intervals` (none: a session on no plan).
///
/// ```
/// use boutwise_bouts::{AdherenceSettings, Amount, Bout, EventKind, Gait, Interval, Kind, Observed, read_events};
///
/// let ask = |gait, seconds| Interval { gait, amount: Amount::Seconds(seconds) };
/// let planned = [ask(Gait::Run, 480.0), ask(Gait::Walk, 120.0), ask(Gait::Run, 480.0)];
/// // The first rep, two seconds too long, and home.
/// let bouts = [Bout::new(Kind::Walk, 0.0, 300.0), Bout::new(Kind::Run, 300.0, 782.0), Bout::new(Kind::Walk, 782.0, 1100.0)];
/// let observed = Observed::of(&bouts, 1.0);
/// let reading = read_events(&planned, &observed, &AdherenceSettings::default());
/// let [stopped] = &reading.events[..] else { panic!() };
/// assert_eq!((stopped.kind, stopped.number), (EventKind::StoppedAfter, Some(1)));
/// assert_eq!(stopped.text, "Ran 1 of 2 reps, then walked on.");
/// ```
pub fn read_events(intervals: &[Interval], observed: &Observed<'_>, settings: &AdherenceSettings) -> Reading {
    let mut reading = match (observed.doubt, Demand::new(intervals, settings)) {
        (Some(doubt), _) => Reading { events: vec![cannot_tell(observed, doubt)], ..Reading::default() },
        (None, Some(demand)) => against_plan(&demand, observed, settings),
        (None, None) => Reading::default(),
    };
    let asides = asides(observed, &reading.events);
    reading.events.extend(asides);
    reading.events.sort_by(|a, b| a.at_s.total_cmp(&b.at_s).then(a.kind.cmp(&b.kind)));
    reading
}

/// The bouts on foot: what was driven took no part in the session, and where nothing was seen before or after all others the
/// recording has its edge.
fn against_plan(demand: &Demand, observed: &Observed<'_>, settings: &AdherenceSettings) -> Reading {
    let on_foot = observed.bouts.iter().filter(|bout| !lies_in(bout, observed.vehicles));
    let mut on_foot: Vec<Bout> = on_foot.cloned().collect();
    let is_unseen = |bout: &Bout| lies_in(bout, observed.unseen);
    let first = on_foot.iter().take_while(|bout| is_unseen(bout)).count();
    on_foot.drain(..first);
    let last = on_foot.iter().rev().take_while(|bout| is_unseen(bout)).count();
    on_foot.truncate(on_foot.len() - last);
    if on_foot.iter().all(|bout| bout.kind == Kind::Gap) {
        return nothing_recorded(demand, observed);
    }
    let course = Course::with_holes(&on_foot, observed.unseen, settings);
    let edges = Edges::new(observed, &course);
    let alignment = align(demand, &course, &edges, settings);
    Telling { demand, course: &course, edges: &edges, observed, settings }.tell(&alignment)
}

/// Nothing of the session lies inside the recording: all of it is not recorded, and none of it missed.
fn nothing_recorded(demand: &Demand, observed: &Observed<'_>) -> Reading {
    let planned = demand.reps.len();
    let text = wording::nothing_seen(wording::what_counts(observed.is_part), planned, 0.0);
    Reading {
        events: vec![Event { text, confidence: 1.0, ..cannot_tell(observed, "") }],
        inside: Some(Inside::of(0..0)),
        recorded_pct: (planned > 0).then_some(0.0),
        rep_lacking: false,
    }
}

/// Whether a bout is the gap that one of these stretches leaves, which are in order.
fn lies_in(bout: &Bout, stretches: &[Range<f64>]) -> bool {
    let middle_s = 0.5 * (bout.start_s + bout.end_s);
    let next = stretches.partition_point(|stretch| stretch.end <= middle_s);
    bout.kind == Kind::Gap && stretches.get(next).is_some_and(|stretch| stretch.contains(&middle_s))
}

fn span(observed: &Observed<'_>) -> Range<f64> {
    let bouts = observed.bouts;
    bouts.first().map_or(0.0, |bout| bout.start_s)..bouts.last().map_or(0.0, |bout| bout.end_s)
}

fn cannot_tell(observed: &Observed<'_>, doubt: &str) -> Event {
    let Range { start, end } = span(observed);
    Event {
        kind: EventKind::CannotSay,
        part: None,
        number: None,
        at_s: start,
        to_s: end,
        planned_s: None,
        done_s: None,
        confidence: 1.0 - observed.confidence,
        text: doubt.to_owned(),
    }
}

/// Standing, pauses and drives, with the rep or walk in which they fell where `told` shows one.
fn asides(observed: &Observed<'_>, told: &[Event]) -> Vec<Event> {
    let aside = |kind, at_s: f64, to_s: f64, confidence| {
        let around = told.iter().find(|event| {
            let is_part = match event.kind {
                EventKind::WalkLong | EventKind::RepShort | EventKind::RepLong => true,
                EventKind::CannotSay => event.done_s.is_some() && event.part.is_some(),
                _ => false,
            };
            is_part && event.at_s <= at_s && to_s <= event.to_s
        });
        Event {
            kind,
            part: around.and_then(|event| event.part),
            number: around.and_then(|event| event.number),
            at_s,
            to_s,
            planned_s: None,
            done_s: Some(to_s - at_s),
            confidence,
            text: wording::aside(kind, to_s - at_s),
        }
    };
    let drives = observed.vehicles.iter().map(|drive| aside(EventKind::Vehicle, drive.start, drive.end, 1.0));
    let rests = observed.bouts.iter().filter_map(|bout| match bout.kind {
        Kind::Stand if bout.duration_s() >= STOOD_S => {
            Some(aside(EventKind::Stood, bout.start_s, bout.end_s, bout.confidence))
        }
        Kind::Gap if !lies_in(bout, observed.vehicles) => {
            let paused = aside(EventKind::Paused, bout.start_s, bout.end_s, bout.confidence);
            let is_unseen = lies_in(bout, observed.unseen);
            let text = if is_unseen { wording::hole(bout.duration_s()) } else { paused.text.clone() };
            Some(Event { text, ..paused })
        }
        _ => None,
    });
    drives.chain(rests).collect()
}

#[cfg(test)]
mod tests;

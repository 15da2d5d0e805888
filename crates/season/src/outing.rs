//! One recording of an athlete, as the season sees it.

use std::cmp::Ordering;
use std::ops::Range;

use boutwise_bouts::{AdherenceSettings, Bounds, Bout, Interval, Kind, Observed, Reading, read_events};
use chrono::{DateTime, NaiveDate, NaiveDateTime, TimeDelta, Utc};

use crate::{HeartRate, Knowledge};

/// What is said where nobody gave a reason.
const CANNOT_BE_TOLD: &str = "Running and walking could not be told apart.";

/// One recording of an athlete: when it took place and which bouts it has.
#[derive(Clone, Debug, PartialEq)]
pub struct Outing {
    /// Path of the file below the audited folder.
    pub file: String,
    /// Number of the session in its file, from 1.
    pub session: usize,
    /// Its place among the athlete's recordings in the order of paths: what comes first of those that began at one moment.
    pub rank: usize,
    /// First instant.
    pub start_utc: DateTime<Utc>,
    /// The same on the clock on the wall.
    pub start_local: NaiveDateTime,
    /// Whether running and walking can be told apart.
    pub resolvable: bool,
    /// Why not, in words.
    pub doubt: Option<String>,
    /// Probability that every run is right, 0 to 1.
    pub confidence: f64,
    /// What is certain of its runs, and between what the rest lies.
    pub bounds: Option<Bounds>,
    /// Stretches in a vehicle, in seconds from the first point.
    pub vehicles: Vec<Range<f64>>,
    /// Stretches in which the person came on or nobody can tell, and nothing was recorded of how; `gap` among the bouts.
    pub unseen: Vec<Range<f64>>,
    /// Whether the file breaks off, so that its end says nothing about the session's.
    pub breaks_off: bool,
    /// Whether by hand no more than a part of the recording counts, and these are its bouts.
    pub is_part: bool,
    /// The bouts, in order.
    pub bouts: Vec<Bout>,
    /// Change of pace over the run time in %; positive is slowing.
    pub pace_drift_pct: Option<f64>,
    /// Fall of the heart rate in the first 60 s of the walks, median in beats per minute.
    pub heart_rate_fall_60s_bpm: Option<f64>,
    /// Heart rate while running.
    pub heart_rate: Option<HeartRate>,
    /// Whether another recording of the same time counts in its place.
    pub is_overlapped: bool,
    /// Of which earlier recording it may be a copy, on a clock of another time zone.
    pub may_be_copy_of: Option<String>,
}

impl Outing {
    /// An outing with its bouts, known for certain, and no further figures yet.
    pub fn new(
        file: impl Into<String>,
        session: usize,
        start_utc: DateTime<Utc>,
        start_local: NaiveDateTime,
        resolvable: bool,
        bouts: Vec<Bout>,
    ) -> Self {
        Self {
            file: file.into(),
            session,
            rank: 0,
            start_utc,
            start_local,
            resolvable,
            doubt: None,
            confidence: 1.0,
            bounds: None,
            vehicles: Vec::new(),
            unseen: Vec::new(),
            breaks_off: false,
            is_part: false,
            bouts,
            pace_drift_pct: None,
            heart_rate_fall_60s_bpm: None,
            heart_rate: None,
            is_overlapped: false,
            may_be_copy_of: None,
        }
    }

    /// What outings are sorted by.
    pub(crate) fn order(&self) -> (DateTime<Utc>, usize) {
        (self.start_utc, self.rank)
    }

    /// That it may be a copy of another recording, in words.
    pub(crate) fn copy_text(&self) -> Option<String> {
        let earlier = self.may_be_copy_of.as_ref()?;
        Some(format!("{} may be a copy of {earlier} on a clock of another time zone", self.file))
    }

    /// The local day.
    pub fn day(&self) -> NaiveDate {
        self.start_local.date()
    }

    /// From the first bout to the end of the last, in seconds.
    fn duration_s(&self) -> f64 {
        self.bouts.last().map_or(0.0, |last| last.end_s - self.bouts[0].start_s)
    }

    fn at_utc(&self, seconds: f64) -> DateTime<Utc> {
        self.start_utc + TimeDelta::milliseconds((1000.0 * seconds) as i64)
    }

    /// When what counts of it begins: at the first bout.
    pub(crate) fn counts_from_utc(&self) -> DateTime<Utc> {
        self.at_utc(self.bouts.first().map_or(0.0, |bout| bout.start_s))
    }

    /// The end of the last bout.
    pub(crate) fn end_utc(&self) -> DateTime<Utc> {
        self.at_utc(self.bouts.last().map_or(0.0, |bout| bout.end_s))
    }

    /// Which of two recordings of one time knows more of it; equal where one is much shorter.
    pub(crate) fn held_against(&self, other: &Self) -> Ordering {
        let knowledge = |of: &Self| Knowledge::of(&of.bouts, of.resolvable, of.confidence);
        let misses_part =
            |one: &Self, of: &Self| Knowledge::misses_part(one.duration_s(), of.duration_s(), knowledge(of));
        if misses_part(self, other) || misses_part(other, self) {
            return Ordering::Equal;
        }
        knowledge(self).cmp(&knowledge(other))
    }

    /// What happened in it, were it to follow these intervals.
    pub(crate) fn read(&self, intervals: &[Interval], settings: &AdherenceSettings) -> Reading {
        let observed = Observed {
            bouts: &self.bouts,
            vehicles: &self.vehicles,
            unseen: &self.unseen,
            doubt: (!self.resolvable).then(|| self.doubt.as_deref().unwrap_or(CANNOT_BE_TOLD)),
            confidence: self.confidence,
            breaks_off: self.breaks_off,
            is_part: self.is_part,
        };
        read_events(intervals, &observed, settings)
    }

    fn told(&self, kind: Kind) -> Option<impl Iterator<Item = &Bout>> {
        self.resolvable.then(|| self.bouts.iter().filter(move |bout| bout.kind == kind))
    }

    /// Metres of a kind; `None` where kinds can't be told apart, or a bout of that kind has no distance.
    pub fn metres(&self, kind: Kind) -> Option<f64> {
        self.told(kind)?.map(|bout| bout.distance_m).sum()
    }

    /// Seconds of a kind; `None` where kinds can't be told apart.
    pub(crate) fn seconds(&self, kind: Kind) -> Option<f64> {
        Some(self.told(kind)?.map(Bout::duration_s).sum())
    }

    /// Whether a run was found in it.
    pub fn has_runs(&self) -> bool {
        self.told(Kind::Run).is_some_and(|mut runs| runs.next().is_some())
    }

    /// The longest unbroken run, the first of equals.
    pub fn longest_run(&self) -> Option<&Bout> {
        self.told(Kind::Run)?.fold(None, |longest: Option<&Bout>, bout| match longest {
            Some(known) if known.duration_s() >= bout.duration_s() => longest,
            _ => Some(bout),
        })
    }

    /// What an unbroken run surely lasted and covered at least, in seconds and metres, where kinds can't be told apart.
    /// Wherever in the recording it lay, it covered what the slowest stretch of its length did.
    pub(crate) fn surely_run(&self) -> Option<(f64, f64)> {
        let least_s = self.bounds.filter(|_| !self.resolvable)?.longest_at_least_s;
        let (first, last) = (self.bouts.first()?.start_s, self.bouts.last()?.end_s);
        let metres_until = |at_s: f64| -> f64 {
            let before = self.bouts.iter().filter(|bout| bout.start_s < at_s);
            before
                .map(|bout| {
                    let share = ((at_s - bout.start_s) / bout.duration_s()).min(1.0);
                    share * bout.distance_m.unwrap_or(0.0)
                })
                .sum()
        };
        // Between two edges of bouts the speed is even: the slowest stretch begins or ends at one.
        let edges = self.bouts.iter().flat_map(|bout| [bout.start_s, bout.end_s]);
        let starts = edges.flat_map(|edge| [edge, edge - least_s]);
        let within = starts.filter(|start| *start >= first && *start + least_s <= last);
        let metres = within.map(|start| metres_until(start + least_s) - metres_until(start));
        (least_s > 0.0).then(|| metres.min_by(f64::total_cmp)).flatten().map(|metres| (least_s, metres))
    }

    /// Mean speed of the runs in metres per second.
    pub fn run_speed_m_per_s(&self) -> Option<f64> {
        let (metres, seconds) = self
            .told(Kind::Run)?
            .filter_map(|bout| Some((bout.distance_m?, bout.duration_s())))
            .fold((0.0, 0.0), |(metres, seconds), (m, s)| (metres + m, seconds + s));
        (seconds > 0.0 && metres > 0.0).then(|| metres / seconds)
    }
}

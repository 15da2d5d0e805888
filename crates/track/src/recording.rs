//! One recorded session: its points, its marks and what was noted on the way.

use serde::{Deserialize, Serialize};

use crate::distance::{over_positions_m, over_totals_m};
use crate::timestamp::NS_PER_S;
use crate::{Note, Points};

/// What the file says was done. Decides nothing by itself about running and walking.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Sport {
    /// Said to be running (or walking, or on foot).
    OnFoot,
    /// Said to be cycling.
    Cycling,
    /// Not said, or said in a word that decides nothing.
    #[default]
    Unknown,
}

impl Sport {
    /// The sport that a word in a file means.
    pub(crate) fn from_word(word: &[u8]) -> Self {
        let word = String::from_utf8_lossy(word).to_lowercase();
        let has = |parts: &[&str]| parts.iter().any(|part| word.contains(part));
        if has(&["run", "walk", "jog", "hik", "foot"]) {
            Self::OnFoot
        } else if has(&["cycl", "bik"]) {
            Self::Cycling
        } else {
            Self::Unknown
        }
    }
}

/// Whether the dates of a recording can be believed. Durations hold in every case.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum Clock {
    /// Nothing speaks against the date.
    #[default]
    Plausible,
    /// The clock was never set: the date is an epoch's first days.
    NotSet,
}

/// What a mark stands for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum MarkKind {
    /// A new track segment or TCX track begins.
    Segment,
    /// A new lap begins.
    Lap,
}

/// A boundary that the file draws before a point. It changes nothing by itself.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Mark {
    /// Index of the first point after the boundary.
    pub index: usize,
    /// What was written there.
    pub kind: MarkKind,
}

/// One recorded session, cleaned: every point has a time, times rise strictly, positions are plausible,
/// cadence counts the steps of both legs.
#[derive(Clone, Debug, Default)]
pub struct Recording {
    /// Number of the session in its file, from 1.
    pub session: usize,
    /// What the file says was done.
    pub sport: Sport,
    /// The samples, in order of time.
    pub points: Points,
    /// Segment and lap boundaries, in order.
    pub marks: Vec<Mark>,
    /// Offset of local time from UTC in seconds, where the file writes one.
    pub utc_offset_s: Option<i32>,
    /// Whether no time of the file has a zone, nor the settings an offset for such times, so that they were read as UTC and
    /// may be those of a clock on the wall.
    pub without_zone: bool,
    /// Whether the dates can be believed.
    pub clock: Clock,
    /// A key of the device or program that the file names, to tell devices apart: a hash, which says nothing else of it.
    pub device_key: Option<u64>,
    /// Stretches of points that are faster than legs, as in a vehicle, in order: no part of any run or walk.
    pub faster_than_legs: Vec<std::ops::Range<usize>>,
    /// Points that were left out by cleaning.
    pub points_dropped: usize,
    /// What was noted about this session.
    pub notes: Vec<Note>,
}

impl Recording {
    /// Seconds from the first to the last point; 0 for fewer than two points.
    pub fn duration_s(&self) -> f64 {
        match (self.points.time_ns().first(), self.points.time_ns().last()) {
            (Some(first), Some(last)) => (last - first) as f64 / NS_PER_S as f64,
            _ => 0.0,
        }
    }

    /// The way in metres: the sum of WGS-84 geodesics over consecutive positions, with straight lines over gaps and
    /// points without position; what is faster than legs is left out. The device's own totals serve where positions do not tell
    /// the way ([`Points::positions_lead`]); `None` without either.
    pub fn distance_m(&self) -> Option<f64> {
        let drives = &self.faster_than_legs;
        let counted_m = || over_totals_m(&self.points, drives);
        let grown_m = match self.points.positions_lead() {
            true => None,
            false => counted_m().filter(|&counted_m| counted_m > 0.0),
        };
        grown_m.or_else(|| over_positions_m(&self.points, drives)).or_else(counted_m)
    }

    /// The recording without what is faster than legs; `None` where nothing is.
    pub fn on_foot(&self) -> Option<Self> {
        if self.faster_than_legs.is_empty() {
            return None;
        }
        let is_driven = |index: &usize| self.faster_than_legs.iter().any(|drive| drive.contains(index));
        let kept: Vec<usize> = (0..self.points.len()).filter(|index| !is_driven(index)).collect();
        Some(Self {
            points: self.points.select(&kept),
            marks: Vec::new(),
            faster_than_legs: Vec::new(),
            notes: Vec::new(),
            ..self.clone()
        })
    }
}

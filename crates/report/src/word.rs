//! The fixed words of the tables, which the crates before this one define.

use std::borrow::Cow;

use boutwise_bouts::{EventKind, Gait, IntervalStatus, Kind};
use boutwise_season::{Verdict, ZoneSource};
use boutwise_track::Status;
use serde::{Deserialize, Serialize};

use crate::column::{Cell, Field, Holds};

/// A part of a plan as people name it: a planned run is a rep.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Part {
    /// A planned run.
    Rep,
    /// A planned walk.
    Walk,
}

impl Part {
    /// The word used in every table.
    pub fn word(self) -> &'static str {
        match self {
            Self::Rep => "rep",
            Self::Walk => "walk",
        }
    }
}

impl From<Gait> for Part {
    fn from(gait: Gait) -> Self {
        match gait {
            Gait::Run => Self::Rep,
            Gait::Walk => Self::Walk,
        }
    }
}

/// What each proposal means, in words of every day.
pub(crate) const PROPOSAL_MEANINGS: [(Verdict, &str); 4] = [
    (Verdict::Advance, "go on with the plan"),
    (Verdict::Hold, "stay at this step: its next session, or the same once more"),
    (Verdict::Ease, "something easier"),
    (
        Verdict::Stop,
        "no running: after a warning sign until a licensed health professional was asked, by the coach's word until you have spoken",
    ),
];

/// What it means beside the person whom it stops.
pub(crate) const STOP_AFTER_SIGN: &str = "no running until a licensed health professional was asked";
pub(crate) const STOP_BY_COACH: &str = "no running until the coach has spoken with them";

macro_rules! words {
    ($($name:ident: $($word:literal),+;)+) => {
        $(impl Field for $name {
            const HOLDS: Holds = Holds::Text;
            const WORDS: &'static [&'static str] = &[$($word),+];
            fn cell(&self) -> Cell<'_> {
                Cell::Text(Cow::Borrowed(self.word()))
            }
        })+
    };
}

// A writer refuses a word that does not stand here: see the test of written tables.
words! {
    EventKind: "stopped_after", "rep_walked", "rep_left_out", "reps_joined", "walk_short", "walk_long", "rep_short", "rep_long", "rep_extra", "ran_through", "walked_through", "recording_late", "recording_cut", "vehicle", "stood", "paused", "cannot_say";
    Gait: "run", "walk";
    IntervalStatus: "done", "short", "long", "missed", "not_recorded", "extra";
    Kind: "run", "walk", "stand", "gap";
    Part: "rep", "walk";
    Status: "read", "partial", "failed", "ignored", "duplicate";
    Verdict: "advance", "hold", "ease", "stop";
    ZoneSource: "squad", "setting", "recording", "position", "others", "assumed";
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_words_listed_are_those_that_are_written() {
        assert_eq!(Status::ALL.map(Status::word)[..], *Status::WORDS);
        assert_eq!(EventKind::ALL.map(EventKind::word)[..], *EventKind::WORDS);
        assert_eq!([Part::Rep, Part::Walk].map(Part::word)[..], *Part::WORDS);
        assert_eq!(Verdict::ALL.map(Verdict::word)[..], *Verdict::WORDS);
        let kinds = [Kind::Run, Kind::Walk, Kind::Stand, Kind::Gap].map(Kind::word);
        assert_eq!(kinds[..], *Kind::WORDS);
        assert_eq!([Gait::Run, Gait::Walk].map(Gait::word)[..], *Gait::WORDS);
        assert_eq!(ZoneSource::ALL.map(ZoneSource::word)[..], *ZoneSource::WORDS);
        use IntervalStatus::{Done, Extra, Long, Missed, NotRecorded, Short};
        let statuses = [Done, Short, Long, Missed, NotRecorded, Extra].map(IntervalStatus::word);
        assert_eq!(statuses[..], *IntervalStatus::WORDS);
    }
}

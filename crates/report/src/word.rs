//! The fixed words of the tables, which the crates before this one define.

use std::borrow::Cow;

use boutwise_bouts::{EventKind, Gait, IntervalStatus, Kind};
use boutwise_season::{Outcome, Verdict, ZoneSource};
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

/// What became of a planned session in one recording.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum SessionOutcome {
    /// Done in full.
    Completed,
    /// Run otherwise than planned.
    Modified,
    /// Running ended before the last rep.
    CutShort,
    /// Walked in place of run.
    Walked,
    /// Nobody can tell.
    Attended,
}

impl SessionOutcome {
    /// All of them.
    pub const ALL: [Self; 5] =
        [Self::Completed, Self::Modified, Self::CutShort, Self::Walked, Self::Attended];

    fn outcome(self) -> Outcome {
        match self {
            Self::Completed => Outcome::Completed,
            Self::Modified => Outcome::Modified,
            Self::CutShort => Outcome::CutShort,
            Self::Walked => Outcome::Walked,
            Self::Attended => Outcome::Unresolvable,
        }
    }

    /// By what the season says of it; `None` of what is no recording's.
    pub fn of(outcome: Outcome) -> Option<Self> {
        Self::ALL.into_iter().find(|own| own.outcome() == outcome)
    }

    /// The word used in every table.
    pub fn word(self) -> &'static str {
        self.outcome().word()
    }
}

/// What became of a planned session.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum PlannedOutcome {
    /// Done in full.
    Completed,
    /// Run otherwise than planned.
    Modified,
    /// Running ended before the last rep.
    CutShort,
    /// Walked, or nobody can tell.
    Attended,
    /// Due, and not done.
    Missed,
    /// Neither due nor missed.
    Excused,
    /// Done, as the coach says.
    Said,
}

impl PlannedOutcome {
    /// All of them.
    pub const ALL: [Self; 7] = [
        Self::Completed,
        Self::Modified,
        Self::CutShort,
        Self::Attended,
        Self::Missed,
        Self::Excused,
        Self::Said,
    ];

    /// By what the season says of it; `None` while it is ahead.
    pub fn of(outcome: Outcome) -> Option<Self> {
        Some(match outcome {
            Outcome::Completed => Self::Completed,
            Outcome::Modified => Self::Modified,
            Outcome::CutShort => Self::CutShort,
            Outcome::Walked | Outcome::Unresolvable => Self::Attended,
            Outcome::Missed | Outcome::Interrupted => Self::Missed,
            Outcome::Excused => Self::Excused,
            Outcome::Said => Self::Said,
            Outcome::Ahead => return None,
        })
    }

    /// The word used in every table.
    pub fn word(self) -> &'static str {
        match self {
            Self::Completed => Outcome::Completed.word(),
            Self::Modified => Outcome::Modified.word(),
            Self::CutShort => Outcome::CutShort.word(),
            Self::Attended => Outcome::Unresolvable.word(),
            Self::Missed => Outcome::Missed.word(),
            Self::Excused => Outcome::Excused.word(),
            Self::Said => Outcome::Said.word(),
        }
    }
}

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
    SessionOutcome: "completed", "modified", "cut short", "walked", "attended";
    PlannedOutcome: "completed", "modified", "cut short", "attended", "missed", "excused", "said";
    ZoneSource: "squad", "setting", "recording", "position", "own", "others", "assumed";
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_words_listed_are_those_that_are_written() {
        assert_eq!(Status::ALL.map(Status::word)[..], *Status::WORDS);
        assert_eq!(EventKind::ALL.map(EventKind::word)[..], *EventKind::WORDS);
        assert_eq!(SessionOutcome::ALL.map(SessionOutcome::word)[..], *SessionOutcome::WORDS);
        assert_eq!(PlannedOutcome::ALL.map(PlannedOutcome::word)[..], *PlannedOutcome::WORDS);
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

//! One time that an athlete went out.

use boutwise_bouts::Interval;
use boutwise_track::Position;

use super::{Gear, SessionKey};
use crate::{Deviation, Person, Random, SyntheticSession};

/// What an outing was to its plan.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Role {
    /// A planned session, done for the first time.
    Planned,
    /// A planned session once more.
    Repeat,
    /// What another block asks for, in place of the session that was due.
    OtherBlock,
    /// A run that no plan asked for.
    ExtraRun,
    /// A walk on a day between.
    BetweenWalk,
}

impl Role {
    /// The word used in truth tables.
    pub fn word(self) -> &'static str {
        match self {
            Self::Planned => "planned",
            Self::Repeat => "repeat",
            Self::OtherBlock => "another block",
            Self::ExtraRun => "extra run",
            Self::BetweenWalk => "walk between",
        }
    }
}

/// What became of the file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FileState {
    /// Whole.
    Whole,
    /// Cut off after so many percent of its bytes.
    CutAfterPercent(u8),
    /// Written a second time in the other format.
    TwoFormats,
}

/// One time out.
#[derive(Clone, Debug, PartialEq)]
pub struct Outing {
    /// Start in seconds since 1970 UTC.
    pub start_s: i64,
    /// What it was to the plan.
    pub role: Role,
    /// The planned session it follows, if any.
    pub follows: Option<SessionKey>,
    /// What was meant to be done.
    pub plan: Vec<Interval>,
    /// What was made of it.
    pub deviation: Deviation,
    /// Seed of the session.
    pub seed: u64,
    /// What it was recorded with.
    pub gear: Gear,
    /// What became of the file.
    pub state: FileState,
}

/// Where squads run: a few kilometres of shore and streets around it.
const HARBOUR: Position = Position { latitude_deg: 55.06, longitude_deg: 10.42 };

impl Outing {
    /// The session with its truth.
    pub fn session(&self, person: &Person) -> SyntheticSession {
        let mut random = Random::new(self.seed);
        let place = Position {
            latitude_deg: HARBOUR.latitude_deg + random.normal(0.004),
            longitude_deg: HARBOUR.longitude_deg + random.normal(0.006),
        };
        let settings = &self.gear.settings;
        SyntheticSession::of(&self.plan, self.deviation, person, self.start_s, place, settings, &mut random)
    }
}

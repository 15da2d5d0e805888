//! One time that an athlete went out.

use std::ops::Range;

use boutwise_bouts::{Interval, Kind};
use boutwise_track::Position;

use super::{Gear, SessionKey};
use crate::{Deviation, DriveAt, Person, Random, SyntheticSession, TrueBout};

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
    /// Whether the recording goes on in a car, the whole way home.
    pub driven_home: bool,
}

/// How fast a car goes through a town, in m/s (common practice, no source).
const CAR_M_PER_S: f64 = 13.0;

/// Where squads run: a few kilometres of shore and streets around it.
const HARBOUR: Position = Position { latitude_deg: 55.06, longitude_deg: 10.42 };

impl Outing {
    /// The stretch in a car, of the true bouts of this outing.
    pub(super) fn driven_s(&self, truth: &[TrueBout]) -> Option<Range<f64>> {
        truth.last().filter(|_| self.driven_home).map(|bout| bout.start_s..bout.end_s)
    }

    /// The session with its truth.
    pub fn session(&self, person: &Person) -> SyntheticSession {
        let mut random = Random::new(self.seed);
        let place = Position {
            latitude_deg: HARBOUR.latitude_deg + random.normal(0.004),
            longitude_deg: HARBOUR.longitude_deg + random.normal(0.006),
        };
        let settings = &self.gear.settings;
        let mut session = SyntheticSession::of(
            &self.plan,
            self.deviation,
            person,
            self.start_s,
            place,
            settings,
            &mut random,
        );
        if self.driven_home {
            let (stand_s, drive_s) = session.drive(DriveAt::After, CAR_M_PER_S, &mut random);
            let end_s = session.truth.last().map_or(0.0, |bout| bout.end_s);
            let bout = |kind, start_s, end_s| TrueBout { kind, start_s, end_s };
            session.truth.extend([
                bout(Kind::Stand, end_s, end_s + stand_s),
                bout(Kind::Gap, end_s + stand_s, end_s + stand_s + drive_s),
            ]);
        }
        session
    }
}

//! Plans, squads, calendars, progress and proposals: what a season of sessions tells a coach.

#![warn(missing_docs)]

mod calendar;
mod date;
mod day;
mod error;
mod journal;
mod keys;
mod notation;
mod plan;
mod settings;
mod sheet;
mod squad;
mod verdict;
mod zone;

pub use calendar::{Laid, Laying, Likeness, lay};
pub use day::{LocalTime, ZoneHints, ZoneSource, local_time};
pub use error::{Error, ErrorKind};
pub use journal::{Entry, Journal, WarningSign};
pub use notation::{
    MAX_INTERVALS, MAX_REPEATS, MAX_SESSION_S, MIN_CUT_INTERVAL_S, MIN_INTERVAL_M, MIN_INTERVAL_S, NominalSpeeds,
    parse_intervals,
};
pub use plan::{
    Block, DayKind, MAX_BLOCK_SESSIONS, MAX_BLOCKS, MAX_EVERY_DAYS, Plan, PlanDay, Prescription, Rhythm, SessionId,
};
pub use settings::{CalendarScore, Rules, Setting, Settings};
pub use squad::{Assignment, Athlete, Squad};
pub use verdict::Verdict;
pub use zone::Zone;

//! What a season of sessions tells a coach: who followed the plan and how, what it led to, and what may come next.
//!
//! Pure throughout: files come in as text or bytes, today is a day that the caller names, and the machine's clock and
//! time zone are never asked.
//!
//! ```text
//! plan.toml ─▶ Plan ────────────┐
//! squad.csv ─▶ Squad ─▶ Athlete ┤
//! journal.csv ─▶ Journal ───────┼─▶ audit_athlete ─▶ AthleteAudit
//! settings.toml ─▶ Settings ────┤
//! bouts ─▶ Outing (local_time) ─┘
//! ```
//!
//! Modules in the order of the data:
//!
//! - reading: [`Plan`] with [`parse_intervals`], [`Squad`], [`Journal`], [`Settings`]; [`Error`] shows line, caret and
//!   how to mend;
//! - [`Corrections`]: what the coach says by hand;
//! - days: [`Zone`], [`local_time`], [`SquadDay`];
//! - laying recordings on the plan: [`Asked`], [`Likeness`], [`lay`];
//! - what came of it: [`Attendance`], [`weeks()`], [`Progress`], [`Habit`], [`Effort`], load ([`SpikeClass`]), [`Readiness`];
//! - what may come next: [`Proposal`] under [`Rules`], [`Caution`]; what to say of a session: [`Remark`];
//! - everything of one athlete: [`audit_athlete`].
//!
//! The crate measures and proposes; the coach decides. It gives no medical advice.

#![warn(missing_docs)]

mod as_of;
mod attendance;
mod audit;
mod calendar;
mod cautions;
mod corrections;
mod course;
mod date;
mod day;
mod effort;
mod error;
mod evidence;
mod folder_pattern;
mod goal;
mod group;
mod habit;
mod headings;
mod journal;
mod keys;
mod knowledge;
mod likeness;
mod load;
#[cfg(feature = "zone-from-position")]
mod map;
mod name;
mod name_tokens;
mod notation;
mod outing;
mod owners;
mod ownership;
mod plan;
mod plan_file;
mod progress;
mod proposal;
mod readiness;
mod remark;
mod settings;
mod sheet;
mod squad;
mod standing;
mod verdict;
mod visit;
mod warning_sign;
mod weeks;
mod wording;
mod zone;

pub use as_of::{AthleteDay, ClockInDoubt, RecordingDay, SquadDay};
pub use attendance::{Attendance, Outcome, PlannedSession, Untold};
pub use audit::{
    AthleteAudit, AthleteInput, OutingAudit, PlanInUse, READINESS_DISTANCES_M, Role, audit_athlete,
    done_without_recording,
};
pub use calendar::{ByHand, Known, Laid, Laying, Word, lay};
pub use cautions::{Caution, Triggers};
pub use corrections::{Correction, Corrections, PlanPlace, keep_part};
pub use date::parse_day;
pub use day::{LocalTime, ZoneHints, ZoneSource, local_time};
pub use effort::{Effort, HeartRate, MaxHeartRate, SensorFault, predicted_max_bpm, reserve_pct};
pub use error::{Error, ErrorKind};
pub use evidence::NotedSign;
pub use folder_pattern::FolderPattern;
pub use goal::{DEFAULT_GOAL_M, Goal, ON_THE_WAY_M};
pub use group::{PlanStep, plan_step, plan_steps};
pub use habit::Habit;
pub use journal::{Entry, Journal};
pub use knowledge::Knowledge;
pub use likeness::{Asked, Likeness};
pub use load::{RunDistance, SPIKE_SLACK_PCT, SpikeClass, largest_before, rise_14_days_pct, spike_pct};
pub use name::folded_name;
pub use notation::{
    MAX_INTERVALS, MAX_REPEATS, MAX_RUN_S, MAX_SESSION_LETTERS, MAX_SESSION_S, MIN_CUT_INTERVAL_S,
    MIN_INTERVAL_M, MIN_INTERVAL_S, NominalSpeeds, parse_intervals,
};
pub use outing::Outing;
pub use owners::{Owner, Owners};
pub use ownership::{Clue, Ownership, SharedTime, TrackClues, assign};
pub use plan::{
    Block, DayKind, MAX_BLOCK_SESSIONS, MAX_BLOCKS, MAX_EVERY_DAYS, MAX_PLAN_SESSIONS, Pause, Plan, PlanDay,
    Prescription, Rhythm, SessionId,
};
pub use progress::{LongestRun, Progress};
pub use proposal::{HoldCause, NextStep, Proposal, SHORTER, SessionEvidence, Situation};
pub use readiness::{ExpectedTime, Nearness, READINESS_NOTE, Readiness, Shown, endurance_time_s};
pub use remark::Remark;
pub use settings::{CalendarScore, Rules, Settings};
pub use sheet::{FORMULA_STARTS, MAX_NAME_LETTERS, MAX_TABLE_BYTES, decode, is_formula, too_large};
pub use squad::{AfterAway, Assignment, Athlete, Away, Squad};
pub use standing::NextSession;
pub use verdict::Verdict;
pub use warning_sign::{SignWords, WarningSign};
pub use weeks::{Week, weeks};
pub use zone::{TIME_ZONE_DATA, Zone};

/// The code on the page for users of the library.
#[cfg(doctest)]
#[doc = include_str!("../README.md")]
struct LibraryPage;

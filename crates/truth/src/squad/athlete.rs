//! Athletes and what is known of them.

use chrono::NaiveDate;
use chrono_tz::Tz;

use super::{BeginnersPlan, Outing, SessionKey};
use crate::Person;

/// A day's entry in the journal; what was not noted is `None`.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct JournalEntry {
    /// Day of the entry.
    pub date: NaiveDate,
    /// Effort from 0 to 10.
    pub effort_0_10: Option<u8>,
    /// Whether whole sentences could be spoken.
    pub talkable: Option<bool>,
    /// Soreness from 0 to 10.
    pub soreness_0_10: Option<u8>,
    /// Pain from 0 to 10.
    pub pain_0_10: Option<u8>,
    /// Whether pain was still there the next morning.
    pub pain_next_morning: Option<bool>,
    /// Whether pain grew while running.
    pub pain_worse_running: Option<bool>,
    /// A warning sign.
    pub warning_sign: Option<&'static str>,
    /// Whether it was hot.
    pub hot: Option<bool>,
    /// Free words.
    pub note: &'static str,
}

/// What a coach says of an athlete in squad file, journal and corrections, beside the plan.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct CoachWords {
    /// Day of the plan's first session, where it is another than the squad's.
    pub start: Option<NaiveDate>,
    /// Decisions by day, as a journal writes them.
    pub decisions: Vec<(NaiveDate, &'static str)>,
    /// Absences: first and last day, and whether the plan waits.
    pub away: Vec<(NaiveDate, NaiveDate, bool)>,
    /// Outings whose place on the plan is told by hand, by index.
    pub by_hand: Vec<usize>,
    /// Sessions that did not fall due for what was said.
    pub not_due: Vec<SessionKey>,
    /// How many sessions fell due and were done a second time for what was said.
    pub due_again: usize,
}

/// What is true of an athlete as a participant of a trial.
#[derive(Clone, Debug, PartialEq)]
pub struct Participant {
    /// The arm.
    pub arm: &'static str,
    /// The longest unbroken run of the first week on average, in seconds.
    pub first_run_s: f64,
    /// How much longer it is each week, in seconds.
    pub gain_s_per_week: f64,
    /// The week from which nothing was done any more, from 2.
    pub gave_up_week: Option<u32>,
}

/// One athlete of a squad.
#[derive(Clone, Debug)]
pub struct Athlete {
    /// Invented given name or a number; also the folder.
    pub name: String,
    /// Levels of pace, cadence and heart rate.
    pub person: Person,
    /// Year of birth, where the squad file tells it.
    pub birth_year: Option<i32>,
    /// Whether a screening was noted.
    pub screened: bool,
    /// Times out, in order of time.
    pub outings: Vec<Outing>,
    /// Planned sessions that fell due and were never attempted.
    pub missed: Vec<SessionKey>,
    /// What the coach said.
    pub words: CoachWords,
    /// Days in the journal.
    pub journal: Vec<JournalEntry>,
    /// The proposal that follows from the rules, where the story was made for one; empty means no proposal.
    pub proposal: Option<&'static str>,
    /// What a coach should see in a sentence; empty for athletes drawn by chance.
    pub story: &'static str,
    /// What is true of a participant; `None` where there is no trial.
    pub participant: Option<Participant>,
}

/// A squad on one plan.
#[derive(Clone, Debug)]
pub struct Squad {
    /// The plan of all.
    pub plan: BeginnersPlan,
    /// Day of the first session.
    pub start: NaiveDate,
    /// Number of sessions that fell due.
    pub sessions_due: usize,
    /// Where they live.
    pub time_zone: Tz,
    /// The athletes.
    pub athletes: Vec<Athlete>,
}

impl Squad {
    /// Whether its athletes are participants of a trial.
    pub fn is_trial(&self) -> bool {
        self.athletes.iter().any(|athlete| athlete.participant.is_some())
    }
}

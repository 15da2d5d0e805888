//! Invented squads: athletes who follow one plan over weeks, more or less, with known truth.
//!
//! [`demo_files`] is the squad that stories are told of; [`Squad::draw`] makes as many athletes as a test needs;
//! [`Trial`] draws the participants of a trial, with a known effect between its arms.

mod athlete;
mod beginners_plan;
mod demo;
mod draw;
mod gear;
mod outing;
mod recorded;
mod story;
mod tables;
mod trial;

pub use athlete::{Athlete, CoachWords, JournalEntry, Participant, Squad};
pub use beginners_plan::{BeginnersPlan, PlanBlock, PlanSet, Rhythm, SessionKey};
pub use demo::{demo_files, demo_squad, write_demo, write_files};
pub use draw::SquadSettings;
pub use gear::Gear;
pub use outing::{FileState, Outing, Role};
pub use recorded::{RecordedOuting, SquadFile};
pub use trial::Trial;

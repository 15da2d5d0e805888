//! A whole audit as one call: recordings, season files and one configuration in; tables, judgements and what a page
//! needs out.
//!
//! Knows nothing of arguments, terminals and output folders: the command, and whatever else shows an audit, only puts
//! into words what comes out here.
//!
//! ```text
//! Inputs ─▶ batch ─▶ judge ─▶ rows, pages ─▶ Audit
//! SeasonFiles ───────┘ Configuration: all of it
//! ```
//!
//! Modules in the order of the data:
//!
//! - what goes in: [`Inputs`], [`SeasonFiles`], [`Configuration`]; [`Watch`] follows and stops;
//! - `batch`: every file read and every session measured, many at a time, always in the same order; whose it is and
//!   which of two copies counts;
//! - `judge`: when each session took place, and the audit of each athlete;
//! - `rows`, `pages`: what tables and pages say of that, without reckoning anything new;
//! - [`audit`]: all of it, as [`Audit`]; [`recording_bouts`]: single recordings alone; [`manifest_json`] and [`verify`]: how
//!   a result was made, and whether it still is that.

#![warn(missing_docs)]

mod assign;
mod configuration;
mod error;
mod inputs;
mod overlap;
mod plan_odds;
mod season_files;
mod watch;
mod workers;

mod batch;
mod by_hand;
mod judge;
mod pages;
mod rows;
mod said;

mod audit;
mod manifest;
mod recordings;

pub use assign::{Proposed, propose_owners};
pub use audit::{AthleteJudgement, Audit, audit};
pub use configuration::Configuration;
pub use error::{Error, ErrorKind};
pub use inputs::Inputs;
pub use manifest::{Deviation, Difference, manifest_json, verify};
pub use recordings::{FileBouts, SessionBouts, recording_bouts};
pub use season_files::{SeasonFiles, SeasonPaths, read_owners, read_plan, read_settings};
pub use watch::{Watch, unwatched};

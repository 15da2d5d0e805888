//! A whole audit as one call: recordings, season files and one configuration in; tables, judgements and what a page
//! needs out.
//!
//! Knows nothing of arguments, terminals and output folders: the command, and whatever else shows an audit, only puts
//! into words what comes out here.
//!
//! ```text
//! Inputs ─▶ batch ─▶ judge ─▶ rows, pages ─▶ Sink, Audit
//! SeasonFiles ───────┘ Configuration: all of it
//! ```
//!
//! Modules in the order of the data:
//!
//! - what goes in: [`Inputs`], [`SeasonFiles`], [`Configuration`]; [`Watch`] follows and stops, [`Timings`] tell what it
//!   costs;
//! - `measuring`: what a file gives, whoever's it is; [`Cache`] keeps it for audits that come later;
//! - `again`: a whole result that need not be made again;
//! - `batch`: every file read and every session measured, many at a time, always in the same order; whose it is and
//!   which of two copies counts; what was measured is put by (`spill`);
//! - [`Pseudonyms`]: codes in place of names, where they are asked for, before anything is said; `shift`: days moved, likewise;
//!   `coarse_times`: times cut, once everything is said;
//! - `judge`: when each session took place, and the audit of each athlete;
//! - `rows`, `pages`: what tables and pages say of that, without reckoning anything new;
//! - [`audit_into`]: all of it, an athlete at a time into a [`Sink`]; [`audit`]: all of it at once, as [`Audit`];
//!   [`audit_stored`]: its rows put by, a table at a time; [`recording_bouts`]: single recordings alone; [`write_manifest`]
//!   and [`verify`]: how a result was made, and whether it still is that.

#![warn(missing_docs)]

mod again;
mod assign;
mod cache;
mod configuration;
mod error;
mod inputs;
mod measuring;
mod overlap;
mod plan_odds;
mod pseudonyms;
mod season_files;
mod spill;
mod timings;
mod watch;
mod workers;

mod batch;
mod by_hand;
mod coarse_times;
mod judge;
mod pages;
mod rows;
mod said;
mod shift;
mod slip;

mod audit;
mod how_far;
mod manifest;
mod overview;
mod recordings;
mod result_sink;
mod stored;

pub use again::{Decided, Written};
pub use assign::{Proposed, propose_owners};
pub use audit::{
    AthleteFindings, AthleteJudgement, AthleteOverview, Audit, Beginning, Overview, Sink, audit, audit_into,
};
pub use cache::{Cache, CacheUse};
pub use configuration::Configuration;
pub use error::{Error, ErrorKind};
pub use inputs::Inputs;
pub use manifest::{Deviation, Difference, ManifestDigests, Source, verify, write_manifest};
pub use pseudonyms::{Pseudonyms, without_names};
pub use recordings::{FileBouts, SessionBouts, recording_bouts};
pub use result_sink::ResultSink;
pub use season_files::{SeasonFiles, SeasonPaths, read_plan, read_settings};
pub use stored::{StoredAudit, audit_stored};
pub use timings::{Stage, Taken, Timings};
pub use watch::{Watch, unwatched};

/// The code on the page for users of the library.
#[cfg(doctest)]
#[doc = include_str!("../README.md")]
struct LibraryPage;

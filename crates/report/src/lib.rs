//! Rows and columns declared once, and every output made from them: CSV, JSON, Parquet, a report to look at, and the
//! folder that holds them. Knows nothing of how anything was computed.
//!
//! The path of the data:
//!
//! 1. Rows ([`SessionRow`] and its sisters, whose columns are declared in one place) fill [`Tables`].
//! 2. [`write_csv`], [`write_json`] and [`record_batch`] put any rows into a format; [`columns`] lists what every column means.
//! 3. [`write_report`] makes the pages from the tables, a [`Trace`] a session and [`AthleteExtras`].
//! 4. [`NewFolder`] puts the files in their place, whole or not at all.
//!
//! Inside, a report goes from the tables, leafed through by person (`book`), over who needs a word
//! (`attention`) and the geometry of charts (`plot`, `strip`, `calendar`, `progress`, `study`) to the
//! views that the templates show (`group_view`, `slip_view`, `squad_view`, `athlete_view`, `session_view`, `page`).

#![warn(missing_docs)]

mod at_once;
mod carried;
mod codebook;
mod column;
mod digits;
mod rows;
mod tables;
mod word;

mod arrow_table;
mod csv_form;
mod csv_table;
mod error;
mod folder;
mod json_table;
mod parquet_table;
mod workplace;

mod figures;
mod input;
mod trace;

mod book;
mod markup;
mod plot;

mod attention;
mod calendar;
mod group_view;
mod look;
mod progress;
mod register;
mod remark_text;
mod strip;
mod study;

mod athlete_view;
mod page;
mod place;
mod policy;
mod result;
mod session_view;
mod slip_view;
mod squad_view;
mod table_files;

pub use arrow_table::{arrow_schema, record_batch};
pub use carried::{CannotBeCarried, CarriedCells, CarriedColumns};
pub use codebook::{CODEBOOK_FILE, codebook_json, package_json};
pub use column::{Cell, Column, Field, Holds, Row, Unit};
pub use csv_form::{CsvForm, UnknownLocale};
pub use csv_table::{csv_text, write_csv};
pub use error::{Error, ErrorKind, Result};
pub use figures::{
    PaceUnit, distance as distance_text, duration as duration_text, of_them_counted, pace as pace_text,
    place_in_plan, short_day,
};
pub use folder::{
    ATHLETE_FOLDER, Begun, GROUP_FILE, MANIFEST_FILE, NewFile, NewFolder, PROGRAM, REPORT_FILE, digest_of,
    manifest_bytes, recover_result, write_folder,
};
pub use input::{
    AthleteExtras, AthletePart, Habit, JournalDay, LeftOut, NextSession, Pages, PlannedSession, Report,
    ReportSettings, SessionRemarks, Target,
};
pub use json_table::{json_text, json_value, write_json};
pub use page::{AthleteText, ReportWriter, write_report};
pub use parquet_table::MANIFEST_KEY;
pub use place::{lies_inside, refuse_inside, result_beside};
pub use result::{AthleteBytes, AthleteTexts, ResultWriter, RowBytes, TablesWriter, write_result};
pub use rows::{
    AthleteRow, BoutRow, ColumnRow, EventRow, FileRow, IntervalRow, NoteRow, PlannedRow, SessionRow, WeekRow,
};
pub use table_files::Formats;
pub use tables::{DECLARED, Declared, Tables, columns};
pub use trace::Trace;
pub use word::{Part, PlannedOutcome, SessionOutcome};

/// The code on the page for users of the library.
#[cfg(doctest)]
#[doc = include_str!("../README.md")]
struct LibraryPage;

//! Rows and columns declared once, and every output made from them: CSV, JSON, a report page, and the folder
//! that holds them. Knows nothing of how anything was computed.
//!
//! The path of the data: rows ([`SessionRow`] and its sisters, whose columns are declared in one place) fill
//! [`Tables`]; [`write_csv`] and [`write_json`] put any rows into a format; [`NewFolder`] and
//! [`write_folder`] put the files in their place whole or not at all.

#![warn(missing_docs)]

mod column;
mod csv_table;
mod error;
mod folder;
mod json_table;
mod rows;
mod tables;
mod word;

pub use column::{Cell, Column, Field, Holds, Row, Unit};
pub use csv_table::{csv_text, write_csv};
pub use error::{Error, ErrorKind, Result};
pub use folder::{ATHLETE_FOLDER, NewFolder, REPORT_FILE, write_folder};
pub use json_table::{json_text, write_json};
pub use rows::{AthleteRow, BoutRow, ColumnRow, FileRow, IntervalRow, SessionRow, WeekRow};
pub use tables::{Tables, columns};
pub use word::{FileStatus, IntervalStatus, Proposal};

//! A result written as it comes: the rows of an athlete and their page, then the next athlete.

use std::collections::HashMap;

use crate::column::Row;
use crate::csv_form::CsvForm;
use crate::csv_table::{append_csv, write_header};
use crate::error::Result;
use crate::folder::{NewFile, NewFolder};
use crate::input::{AthletePart, Report, ReportSettings};
use crate::page::{AthleteText, ReportWriter};
use crate::rows::{
    AthleteRow, BoutRow, EventRow, FileRow, IntervalRow, NoteRow, PlannedRow, SessionRow, WeekRow,
};
use crate::tables::Tables;

/// Writes tables, and a report where one is asked for, into a new folder. Nothing is held of an athlete who was written,
/// but for what a report still needs.
///
/// ```
/// use boutwise_report::{AthletePart, CsvForm, NewFolder, ResultWriter};
///
/// # let place = tempfile::tempdir().unwrap();
/// let folder = NewFolder::begin(&place.path().join("squad-audit"))?;
/// let mut result = ResultWriter::new(&folder, CsvForm::default(), None)?;
/// let made = result.make(AthletePart::default())?;
/// result.add(made)?;
/// result.finish(&[])?;
/// assert!(folder.digests().contains_key("sessions.csv"));
/// # Ok::<(), boutwise_report::Error>(())
/// ```
pub struct ResultWriter<'a> {
    folder: &'a NewFolder,
    csv: CsvForm,
    /// The tables with rows of athletes, in the order of [`AthleteBytes::tables`].
    of_athletes: [NewFile; OF_ATHLETES],
    files: NewFile,
    notes: NewFile,
    report: Option<ReportWriter>,
}

/// How many tables have rows of athletes.
const OF_ATHLETES: usize = 7;

/// What [`ResultWriter::make`] made of an athlete.
#[derive(Clone, Debug)]
pub struct AthleteBytes {
    tables: [Vec<u8>; OF_ATHLETES],
    text: Option<AthleteText>,
}

impl<'a> ResultWriter<'a> {
    /// Begins every table in `folder`, in the form `csv`; `report` takes the pages.
    ///
    /// # Errors
    /// [`ErrorKind::Io`](crate::ErrorKind) where a file cannot be written.
    pub fn new(folder: &'a NewFolder, csv: CsvForm, report: Option<ReportWriter>) -> Result<Self> {
        Ok(Self {
            of_athletes: [
                begin::<SessionRow>(folder, csv)?,
                begin::<BoutRow>(folder, csv)?,
                begin::<IntervalRow>(folder, csv)?,
                begin::<EventRow>(folder, csv)?,
                begin::<AthleteRow>(folder, csv)?,
                begin::<WeekRow>(folder, csv)?,
                begin::<PlannedRow>(folder, csv)?,
            ],
            files: begin::<FileRow>(folder, csv)?,
            notes: begin::<NoteRow>(folder, csv)?,
            folder,
            csv,
            report,
        })
    }

    /// Makes what is to be written of one athlete; many threads may do so at a time, in any order.
    ///
    /// # Errors
    /// Where a row or the page cannot be put into words.
    pub fn make(&self, part: AthletePart) -> Result<AthleteBytes> {
        let Tables { sessions, bouts, intervals, events, athletes, weeks, planned, .. } = &part.tables;
        let tables = [
            lines(sessions, self.csv)?,
            lines(bouts, self.csv)?,
            lines(intervals, self.csv)?,
            lines(events, self.csv)?,
            lines(athletes, self.csv)?,
            lines(weeks, self.csv)?,
            lines(planned, self.csv)?,
        ];
        let text = self.report.as_ref().map(|report| report.make(part)).transpose()?;
        Ok(AthleteBytes { tables, text })
    }

    /// Writes what was made of the next athlete, in the order of their names.
    ///
    /// # Errors
    /// [`ErrorKind::Io`](crate::ErrorKind) where it cannot be written.
    pub fn add(&mut self, made: AthleteBytes) -> Result<()> {
        for (file, bytes) in self.of_athletes.iter_mut().zip(&made.tables) {
            self.folder.append(file, bytes)?;
        }
        match (&mut self.report, made.text) {
            (Some(report), Some(text)) => {
                report.add(text, &mut |name, page| self.folder.write(name, page.as_bytes()))
            }
            _ => Ok(()),
        }
    }

    /// Writes the row of the next file, in the order of their names, and of what was said of it.
    ///
    /// # Errors
    /// [`ErrorKind::Io`](crate::ErrorKind) where it cannot be written.
    pub fn file(&mut self, row: &FileRow, notes: &[NoteRow]) -> Result<()> {
        self.folder.append(&mut self.files, &lines(std::slice::from_ref(row), self.csv)?)?;
        self.folder.append(&mut self.notes, &lines(notes, self.csv)?)?;
        if let Some(report) = &mut self.report {
            report.file(row);
        }
        Ok(())
    }

    /// Ends every table, and the report with its index. `notes` are what a reader should know about the whole.
    ///
    /// # Errors
    /// [`ErrorKind::Io`](crate::ErrorKind) where something cannot be written.
    pub fn finish(self, notes: &[String]) -> Result<()> {
        for file in self.of_athletes.into_iter().chain([self.files, self.notes]) {
            self.folder.close(file)?;
        }
        match self.report {
            Some(report) => report.finish(notes, |name, page| self.folder.write(name, page.as_bytes())),
            None => Ok(()),
        }
    }
}

/// Writes a result whose parts are all at hand; without `settings` its tables alone.
///
/// # Errors
/// Those of [`ResultWriter`].
pub fn write_result(folder: &NewFolder, report: &Report<'_>, settings: Option<ReportSettings>) -> Result<()> {
    let parts = report.parts();
    let pages = settings.map(|settings| ReportWriter::new(report.title, report.day(), settings));
    let mut result = ResultWriter::new(folder, CsvForm::default(), pages)?;
    for part in parts {
        let made = result.make(part)?;
        result.add(made)?;
    }
    let notes: HashMap<&str, &[NoteRow]> = (report.tables.notes.chunk_by(|a, b| a.file == b.file))
        .map(|notes| (notes[0].file.as_str(), notes))
        .collect();
    for row in &report.tables.files {
        result.file(row, notes.get(row.file.as_str()).copied().unwrap_or_default())?;
    }
    result.finish(report.notes)
}

fn begin<R: Row>(folder: &NewFolder, csv: CsvForm) -> Result<NewFile> {
    let mut file = folder.open(&format!("{}.csv", R::TABLE))?;
    let mut header = Vec::new();
    write_header::<R>(csv, &mut header)?;
    folder.append(&mut file, &header)?;
    Ok(file)
}

fn lines<R: Row>(rows: &[R], csv: CsvForm) -> Result<Vec<u8>> {
    let mut bytes = Vec::new();
    append_csv(rows, csv, &mut bytes)?;
    Ok(bytes)
}

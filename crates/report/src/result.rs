//! A result written as it comes: the rows of an athlete and their page, then the next athlete. Tables alone have a writer of
//! their own, so that a program without pages carries nothing of them.

use std::collections::HashMap;

use crate::at_once::both;
use crate::carried::CarriedColumns;
use crate::error::Result;
use crate::folder::NewFolder;
use crate::input::{AthletePart, Report, ReportSettings};
use crate::page::{AthleteText, ReportWriter};
use crate::rows::{
    AthleteRow, BoutRow, EventRow, FileRow, IntervalRow, NoteRow, PlannedRow, SessionRow, WeekRow,
};
use crate::table_files::{Formats, TableBytes, TableFiles};
use crate::tables::Tables;

/// Writes tables, and a report where one is asked for, into a new folder. Nothing is held of an athlete who was written,
/// but for what a report still needs.
///
/// ```
/// use boutwise_report::{AthletePart, CarriedColumns, Formats, NewFolder, ResultWriter};
///
/// # let place = tempfile::tempdir().unwrap();
/// let folder = NewFolder::begin(&place.path().join("squad-audit"))?;
/// let mut result = ResultWriter::new(&folder, Formats::default(), &CarriedColumns::default(), None)?;
/// let made = result.make(AthletePart::default())?;
/// result.add(made)?;
/// result.finish(&[], "")?;
/// assert!(folder.digests().contains_key("sessions.csv"));
/// # Ok::<(), boutwise_report::Error>(())
/// ```
pub struct ResultWriter<'a> {
    tables: TablesWriter<'a>,
    report: Option<ReportWriter>,
}

/// What [`ResultWriter::make`] made of an athlete.
#[derive(Clone, Debug)]
pub struct AthleteBytes {
    tables: RowBytes,
    text: Option<AthleteText>,
}

impl AthleteBytes {
    /// The texts that were made, to be read by [`AthleteTexts::read`]: one behind the other, the page first, and then of each the
    /// number of its bytes and whether it is there.
    pub fn texts(&self) -> Vec<u8> {
        let page = self.text.as_ref().map(|text| text.text().as_bytes());
        let texts: Vec<Option<&[u8]>> =
            std::iter::once(page).chain(self.tables.0.iter().map(TableBytes::csv)).collect();
        let of_texts: usize = texts.iter().flatten().map(|text| text.len()).sum();
        let mut bytes = Vec::with_capacity(of_texts + texts.len() * LENGTH_BYTES);
        texts.iter().flatten().for_each(|text| bytes.extend_from_slice(text));
        for text in texts {
            bytes.extend((text.map_or(0, <[u8]>::len) as u64).to_le_bytes());
            bytes.push(u8::from(text.is_some()));
        }
        bytes
    }
}

/// Bytes that tell of a text how long it is, and whether it is there.
const LENGTH_BYTES: usize = 9;

/// The texts of an athlete: the CSV of every table with rows of athletes, and that of a page. What is not written is missing.
#[derive(Clone, Debug)]
pub struct AthleteTexts {
    csv: [Option<Vec<u8>>; OF_ATHLETES],
    text: Option<String>,
}

impl AthleteTexts {
    /// What [`AthleteBytes::texts`] put together; `None` for other bytes.
    pub fn read(mut bytes: Vec<u8>) -> Option<Self> {
        let (mut rest, lengths) =
            bytes.split_at_checked(bytes.len().checked_sub((1 + OF_ATHLETES) * LENGTH_BYTES)?)?;
        let mut next = lengths.chunks_exact(LENGTH_BYTES).map(|told| {
            let (length, is_there) = told.split_first_chunk()?;
            let (text, behind) = rest.split_at_checked(usize::try_from(u64::from_le_bytes(*length)).ok()?)?;
            rest = behind;
            Some((is_there == [1]).then_some(text))
        });
        // The page is the largest of them: it keeps the room that all were read into, for which it stands first.
        let page_bytes = next.next()??.map(<[u8]>::len);
        let mut csv: [Option<Vec<u8>>; OF_ATHLETES] = Default::default();
        for csv in &mut csv {
            *csv = next.next()??.map(<[u8]>::to_vec);
        }
        if !rest.is_empty() {
            return None;
        }
        bytes.truncate(page_bytes.unwrap_or(0));
        // Many are held at a time.
        bytes.shrink_to_fit();
        let text = page_bytes.map(|_| String::from_utf8(bytes)).transpose().ok()?;
        Some(Self { csv, text })
    }
}

impl<'a> ResultWriter<'a> {
    /// Begins every table in `folder`, in these formats, with the columns that its rows carry; `report` takes the pages.
    ///
    /// # Errors
    /// [`ErrorKind::Io`](crate::ErrorKind) where a file cannot be written.
    pub fn new(
        folder: &'a NewFolder,
        formats: Formats,
        carried: &CarriedColumns,
        report: Option<ReportWriter>,
    ) -> Result<Self> {
        Ok(Self { tables: TablesWriter::new(folder, formats, carried)?, report })
    }

    /// Makes what is to be written of one athlete; many threads may do so at a time, in any order.
    ///
    /// # Errors
    /// Where a row or the page cannot be put into words.
    pub fn make(&self, part: AthletePart) -> Result<AthleteBytes> {
        let tables = self.tables.make(&part.tables)?;
        let text = self.report.as_ref().map(|report| report.make(part)).transpose()?;
        Ok(AthleteBytes { tables, text })
    }

    /// What [`make`](Self::make) would make, of the texts that it made of an equal part while [`words`](Self::words) were the
    /// same.
    ///
    /// # Errors
    /// Those of [`make`](Self::make).
    pub fn make_of_texts(&self, part: AthletePart, texts: AthleteTexts) -> Result<AthleteBytes> {
        let tables = self.tables.with_csv(&part.tables, texts.csv)?;
        let text = self.report.as_ref().map(|report| report.with_text(part, texts.text)).transpose()?;
        Ok(AthleteBytes { tables, text })
    }

    /// Makes the page of an athlete alone, if there is a report.
    ///
    /// # Errors
    /// Where the page cannot be put into words.
    pub fn make_page(&self, part: AthletePart) -> Result<Option<AthleteText>> {
        self.report.as_ref().map(|report| report.make(part)).transpose()
    }

    /// What [`make_page`](Self::make_page) would make, of the text that it made of an equal part while [`words`](Self::words) were
    /// the same.
    ///
    /// # Errors
    /// Those of [`make_page`](Self::make_page).
    pub fn make_page_of_text(&self, part: AthletePart, text: String) -> Result<Option<AthleteText>> {
        self.report.as_ref().map(|report| report.with_text(part, Some(text))).transpose()
    }

    /// All that decides the texts of an athlete beside what is known of them, in words.
    pub fn words(&self) -> String {
        let forms = self.tables.of_athletes.each_ref().map(TableFiles::csv_form);
        format!("{:?}{}", forms, self.report.as_ref().map_or(String::new(), ReportWriter::words))
    }

    /// Writes what was made of the next athlete, in the order of their names.
    ///
    /// # Errors
    /// [`ErrorKind::Io`](crate::ErrorKind) where it cannot be written.
    pub fn add(&mut self, made: AthleteBytes) -> Result<()> {
        self.tables.add(&made.tables)?;
        self.add_page(made.text)
    }

    /// Writes the page of an athlete whose rows were written before.
    ///
    /// # Errors
    /// [`ErrorKind::Io`](crate::ErrorKind) where it cannot be written.
    pub fn add_page(&mut self, made: Option<AthleteText>) -> Result<()> {
        let folder = self.tables.folder;
        match self.report.as_mut().zip(made) {
            Some((report, text)) => report.add(text, &mut |name, page| folder.write(name, page.as_bytes())),
            None => Ok(()),
        }
    }

    /// Those whose pages are made again, as [`ReportWriter::take_again`] has it.
    pub fn take_again(&mut self) -> Vec<AthletePart> {
        self.report.as_mut().map_or_else(Vec::new, ReportWriter::take_again)
    }

    /// Tells that every athlete and every file was taken, as [`ReportWriter::close`] has it.
    ///
    /// # Errors
    /// Those of [`ReportWriter::close`].
    pub fn close(&mut self, notes: &[String]) -> Result<()> {
        self.report.as_mut().map_or(Ok(()), |report| report.close(notes))
    }

    /// Writes the row of the next file, in the order of their names, and of what was said of it.
    ///
    /// # Errors
    /// [`ErrorKind::Io`](crate::ErrorKind) where it cannot be written.
    pub fn file(&mut self, row: FileRow, notes: Vec<NoteRow>) -> Result<()> {
        if let Some(report) = &mut self.report {
            report.file(&row);
        }
        self.tables.file(row, notes)
    }

    /// Ends every table, and the report with its index. `notes` are what a reader should know about the whole,
    /// `made_from` tells in a word how the result was made.
    ///
    /// # Errors
    /// [`ErrorKind::Io`](crate::ErrorKind) where something cannot be written.
    pub fn finish(self, notes: &[String], made_from: &str) -> Result<()> {
        let Self { tables, report } = self;
        let folder = tables.folder;
        let page = |name: &str, pieces: &[&str]| {
            folder.stream(name, |out| pieces.iter().try_for_each(|piece| out.write_all(piece.as_bytes())))
        };
        let report = || report.map_or(Ok(()), |report| report.finish(notes, page));
        let (tables, report) = both(|| tables.finish(made_from), report);
        tables.and(report)
    }
}

/// Writes tables alone, by the same bytes as [`ResultWriter`].
///
/// ```
/// use boutwise_report::{CarriedColumns, Formats, NewFolder, Tables, TablesWriter};
///
/// # let place = tempfile::tempdir().unwrap();
/// let folder = NewFolder::begin(&place.path().join("squad-audit"))?;
/// let mut tables = TablesWriter::new(&folder, Formats::default(), &CarriedColumns::default())?;
/// let made = tables.make(&Tables::default())?;
/// tables.add(&made)?;
/// tables.finish("")?;
/// assert!(folder.digests().contains_key("sessions.csv"));
/// # Ok::<(), boutwise_report::Error>(())
/// ```
pub struct TablesWriter<'a> {
    folder: &'a NewFolder,
    /// The tables with rows of athletes, in the order of [`RowBytes`].
    of_athletes: [TableFiles; OF_ATHLETES],
    files: TableFiles,
    notes: TableFiles,
    /// Rows of files and notes that are not written yet.
    waiting: (Vec<FileRow>, Vec<NoteRow>),
}

/// How many tables have rows of athletes.
const OF_ATHLETES: usize = 7;

/// So many rows of files are written at once (own choice: few are held, and a batch of columns is worth its making).
const FILES_AT_ONCE: usize = 1000;

/// What [`TablesWriter::make`] made of an athlete's rows.
#[derive(Clone, Debug)]
pub struct RowBytes([TableBytes; OF_ATHLETES]);

impl<'a> TablesWriter<'a> {
    /// Begins every table in `folder`, in these formats, with the columns that its rows carry.
    ///
    /// # Errors
    /// [`ErrorKind::Io`](crate::ErrorKind) where a file cannot be written.
    pub fn new(folder: &'a NewFolder, formats: Formats, carried: &CarriedColumns) -> Result<Self> {
        Ok(Self {
            of_athletes: [
                TableFiles::begin::<SessionRow>(folder, formats, carried)?,
                TableFiles::begin::<BoutRow>(folder, formats, carried)?,
                TableFiles::begin::<IntervalRow>(folder, formats, carried)?,
                TableFiles::begin::<EventRow>(folder, formats, carried)?,
                TableFiles::begin::<AthleteRow>(folder, formats, carried)?,
                TableFiles::begin::<WeekRow>(folder, formats, carried)?,
                TableFiles::begin::<PlannedRow>(folder, formats, carried)?,
            ],
            files: TableFiles::begin::<FileRow>(folder, formats, carried)?,
            notes: TableFiles::begin::<NoteRow>(folder, formats, carried)?,
            waiting: (Vec::new(), Vec::new()),
            folder,
        })
    }

    /// Makes what is to be written of one athlete's rows, but for those of files and notes; many threads may do so at a time,
    /// in any order.
    ///
    /// # Errors
    /// Where a row cannot be put into words.
    pub fn make(&self, tables: &Tables) -> Result<RowBytes> {
        let Tables { sessions, bouts, intervals, events, athletes, weeks, planned, .. } = tables;
        let [of_sessions, of_bouts, of_intervals, of_events, of_athletes, of_weeks, of_planned] =
            &self.of_athletes;
        Ok(RowBytes([
            of_sessions.make(sessions)?,
            of_bouts.make(bouts)?,
            of_intervals.make(intervals)?,
            of_events.make(events)?,
            of_athletes.make(athletes)?,
            of_weeks.make(weeks)?,
            of_planned.make(planned)?,
        ]))
    }

    /// The same, where it is known already what the rows are as CSV.
    fn with_csv(&self, tables: &Tables, csv: [Option<Vec<u8>>; OF_ATHLETES]) -> Result<RowBytes> {
        let Tables { sessions, bouts, intervals, events, athletes, weeks, planned, .. } = tables;
        let [of_sessions, of_bouts, of_intervals, of_events, of_athletes, of_weeks, of_planned] =
            &self.of_athletes;
        let [csv_sessions, csv_bouts, csv_intervals, csv_events, csv_athletes, csv_weeks, csv_planned] = csv;
        Ok(RowBytes([
            of_sessions.with_csv(sessions, csv_sessions)?,
            of_bouts.with_csv(bouts, csv_bouts)?,
            of_intervals.with_csv(intervals, csv_intervals)?,
            of_events.with_csv(events, csv_events)?,
            of_athletes.with_csv(athletes, csv_athletes)?,
            of_weeks.with_csv(weeks, csv_weeks)?,
            of_planned.with_csv(planned, csv_planned)?,
        ]))
    }

    /// Writes what was made of the next athlete, in the order of their names.
    ///
    /// # Errors
    /// [`ErrorKind::Io`](crate::ErrorKind) where it cannot be written.
    pub fn add(&mut self, made: &RowBytes) -> Result<()> {
        let mut tables = self.of_athletes.iter_mut().zip(&made.0);
        tables.try_for_each(|(files, rows)| files.add(self.folder, rows))
    }

    /// Writes the row of the next file, in the order of their names, and of what was said of it.
    ///
    /// # Errors
    /// [`ErrorKind::Io`](crate::ErrorKind) where it cannot be written.
    pub fn file(&mut self, row: FileRow, notes: Vec<NoteRow>) -> Result<()> {
        self.waiting.0.push(row);
        self.waiting.1.extend(notes);
        if self.waiting.0.len() < FILES_AT_ONCE { Ok(()) } else { self.write_waiting() }
    }

    fn write_waiting(&mut self) -> Result<()> {
        let (files, notes) = std::mem::take(&mut self.waiting);
        self.files.add(self.folder, &self.files.make(&files)?)?;
        self.notes.add(self.folder, &self.notes.make(&notes)?)
    }

    /// Ends every table. `made_from` tells in a word how the result was made.
    ///
    /// # Errors
    /// [`ErrorKind::Io`](crate::ErrorKind) where something cannot be written.
    pub fn finish(mut self, made_from: &str) -> Result<()> {
        self.write_waiting()?;
        let mut files = self.of_athletes.into_iter().chain([self.files, self.notes]);
        files.try_for_each(|file| file.close(self.folder, made_from))
    }
}

/// Writes a result whose parts are all at hand; without `settings` its tables alone. `carried` are the columns that its rows
/// carry, `made_from` tells in a word how it was made.
///
/// # Errors
/// Those of [`ResultWriter`].
pub fn write_result(
    folder: &NewFolder,
    report: &Report<'_>,
    formats: Formats,
    carried: &CarriedColumns,
    settings: Option<ReportSettings>,
    made_from: &str,
) -> Result<()> {
    let parts = report.parts();
    let pages = settings.map(|settings| ReportWriter::new(report.title, report.day(), settings));
    let mut result = ResultWriter::new(folder, formats, carried, pages)?;
    for part in parts {
        let made = result.make(part)?;
        result.add(made)?;
    }
    let notes: HashMap<&str, &[NoteRow]> = (report.tables.notes.chunk_by(|a, b| a.file == b.file))
        .map(|notes| (notes[0].file.as_str(), notes))
        .collect();
    for row in &report.tables.files {
        let notes = notes.get(row.file.as_str()).copied().unwrap_or_default();
        result.file(row.clone(), notes.to_vec())?;
    }
    result.finish(report.notes, made_from)
}

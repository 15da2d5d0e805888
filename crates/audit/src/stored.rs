//! An audit whose rows are put by as they come, and taken up again a table at a time: for who wants some of the tables, or all of
//! them later, of more recordings than memory has room for.

use std::collections::BTreeMap;
use std::ops::ControlFlow;

use boutwise_report::{
    AthleteRow, BoutRow, CarriedColumns, EventRow, FileRow, Formats, IntervalRow, NewFolder, NoteRow,
    PlannedRow, Row, SessionRow, Tables, TablesWriter, WeekRow,
};
use serde::Serialize;
use serde::de::DeserializeOwned;

use crate::manifest::Manifest;
use crate::result_sink::write_codebook_and_manifest;
use crate::spill::{Kept, Spill};
use crate::{
    AthleteFindings, Beginning, Configuration, Error, Inputs, Overview, SeasonFiles, Sink, Watch, audit_into,
};

/// Files whose rows are put by at once (own choice: few are held, and a piece is worth its reading).
const FILES_AT_ONCE: usize = 1000;

/// Audits recordings, and puts the rows of every table by: in memory as long as they are few, then on disk.
///
/// ```
/// use boutwise_audit::{Configuration, Inputs, SeasonFiles, audit_stored, unwatched};
/// use boutwise_report::FileRow;
///
/// let inputs = Inputs::of_bytes("harbour", [("mira/notes.txt".to_owned(), b"bananas".to_vec())]);
/// let found = audit_stored(&inputs, &SeasonFiles::default(), &Configuration::default(), &unwatched)?;
/// for piece in found.rows::<FileRow>() {
///     assert_eq!(piece?[0].status.word(), "ignored");
/// }
/// # Ok::<(), boutwise_audit::Error>(())
/// ```
///
/// # Errors
/// Those of [`audit_into`], and [`ErrorKind::Spill`](crate::ErrorKind) where rows cannot be put by.
pub fn audit_stored(
    inputs: &Inputs,
    files: &SeasonFiles,
    configuration: &Configuration,
    watch: Watch<'_>,
) -> Result<StoredAudit, Error> {
    let mut store = Store {
        rows: Rows { spill: Spill::new(configuration.scratch.as_deref()), pieces: BTreeMap::new() },
        carried: CarriedColumns::default(),
        waiting: Default::default(),
    };
    match audit_into(inputs, files, configuration, &mut store, watch)? {
        ControlFlow::Continue(overview) => {
            store.put_waiting()?;
            Ok(StoredAudit { overview, carried: store.carried, rows: store.rows })
        }
        ControlFlow::Break(error) => Err(error),
    }
}

/// An audit whose rows are put by. The file on disk, where there is one, has no name and is gone with this value.
pub struct StoredAudit {
    /// The whole in short.
    pub overview: Overview,
    carried: CarriedColumns,
    rows: Rows,
}

impl StoredAudit {
    /// The rows of a table in their order, in pieces.
    ///
    /// # Errors
    /// [`ErrorKind::Spill`](crate::ErrorKind) for a piece that cannot be read again.
    pub fn rows<R: Row + DeserializeOwned>(&self) -> impl Iterator<Item = Result<Vec<R>, Error>> {
        self.rows.of::<R>().iter().map(|piece| self.rows.spill.get(*piece))
    }

    /// Writes its tables, codebook and manifest into a folder that the caller has begun, without pages. `formats` are those of
    /// [`Configuration::formats`].
    ///
    /// # Errors
    /// [`ErrorKind::Output`](crate::ErrorKind) where something cannot be written.
    pub fn write(
        &self,
        folder: &NewFolder,
        files: &SeasonFiles,
        configuration: &Configuration,
        formats: Formats,
    ) -> Result<(), Error> {
        let mut result = TablesWriter::new(folder, formats, &self.carried)?;
        for athlete in 0..self.overview.athletes.len() {
            let tables = Tables {
                sessions: self.rows.piece(athlete)?,
                bouts: self.rows.piece(athlete)?,
                intervals: self.rows.piece(athlete)?,
                events: self.rows.piece(athlete)?,
                athletes: self.rows.piece(athlete)?,
                weeks: self.rows.piece(athlete)?,
                planned: self.rows.piece(athlete)?,
                ..Tables::default()
            };
            let made = result.make(&tables)?;
            result.add(&made)?;
        }
        for (some_files, notes) in self.rows::<FileRow>().zip(self.rows::<NoteRow>()) {
            let mut notes = notes?.into_iter().peekable();
            for file in some_files? {
                let of_file = std::iter::from_fn(|| notes.next_if(|note| note.file == file.file)).collect();
                result.file(file, of_file)?;
            }
        }
        let begun = Manifest::begin(&self.overview, files, configuration);
        result.finish(begun.made_from())?;
        Ok(write_codebook_and_manifest(folder, files, configuration, begun)?)
    }
}

/// Rows that are put by: of each table the pieces, in their order; those of athletes have one for each.
struct Rows {
    spill: Spill,
    pieces: BTreeMap<&'static str, Vec<Kept>>,
}

impl Rows {
    fn put<R: Row + Serialize>(&self, rows: &[R]) -> Result<Piece, Error> {
        Ok((R::TABLE, self.spill.put(&rows)?))
    }

    fn add(&mut self, (table, kept): Piece) {
        self.pieces.entry(table).or_default().push(kept);
    }

    fn of<R: Row>(&self) -> &[Kept] {
        self.pieces.get(R::TABLE).map_or(&[], Vec::as_slice)
    }

    fn piece<R: Row + DeserializeOwned>(&self, at: usize) -> Result<Vec<R>, Error> {
        self.of::<R>().get(at).map_or(Ok(Vec::new()), |piece| self.spill.get(*piece))
    }
}

/// A table, and where some of its rows were put.
type Piece = (&'static str, Kept);

/// The sink that puts rows by.
struct Store {
    rows: Rows,
    carried: CarriedColumns,
    /// Rows of files, and of what was said of them, that are not put by yet.
    waiting: (Vec<FileRow>, Vec<NoteRow>),
}

impl Store {
    fn put_waiting(&mut self) -> Result<(), Error> {
        let (files, notes) = std::mem::take(&mut self.waiting);
        for piece in [self.rows.put(&files)?, self.rows.put(&notes)?] {
            self.rows.add(piece);
        }
        Ok(())
    }
}

impl Sink for Store {
    type Made = Result<[Piece; 7], Error>;
    type Stop = Error;

    fn begin(&mut self, beginning: &Beginning) -> ControlFlow<Error> {
        self.carried = beginning.carried.clone();
        ControlFlow::Continue(())
    }

    fn make(&self, findings: AthleteFindings) -> Self::Made {
        let Tables { sessions, bouts, intervals, events, athletes, weeks, planned, .. } =
            &findings.part.tables;
        Ok([
            self.rows.put::<SessionRow>(sessions)?,
            self.rows.put::<BoutRow>(bouts)?,
            self.rows.put::<IntervalRow>(intervals)?,
            self.rows.put::<EventRow>(events)?,
            self.rows.put::<AthleteRow>(athletes)?,
            self.rows.put::<WeekRow>(weeks)?,
            self.rows.put::<PlannedRow>(planned)?,
        ])
    }

    fn athlete(&mut self, made: Self::Made) -> ControlFlow<Error> {
        match made {
            Ok(pieces) => {
                pieces.into_iter().for_each(|piece| self.rows.add(piece));
                ControlFlow::Continue(())
            }
            Err(error) => ControlFlow::Break(error),
        }
    }

    fn file(&mut self, row: FileRow, notes: Vec<NoteRow>) -> ControlFlow<Error> {
        self.waiting.0.push(row);
        self.waiting.1.extend(notes);
        if self.waiting.0.len() < FILES_AT_ONCE {
            return ControlFlow::Continue(());
        }
        self.put_waiting().map_or_else(ControlFlow::Break, ControlFlow::Continue)
    }
}

//! One table of a result, as a file of every format that is asked for.

use arrow_array::RecordBatch;
use arrow_schema::SchemaRef;

use crate::arrow_table::{arrow_schema, record_batch};
use crate::carried::CarriedColumns;
use crate::column::Row;
use crate::csv_form::CsvForm;
use crate::csv_table::{append_csv, write_header};
use crate::error::Result;
use crate::folder::{NewFile, NewFolder};
use crate::parquet_table::ParquetFile;

/// The formats in which tables are written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Formats {
    /// `NAME.csv`, in this form.
    pub csv: Option<CsvForm>,
    /// `NAME.parquet`, with the same rows, order and values.
    pub parquet: bool,
}

impl Default for Formats {
    fn default() -> Self {
        Self { csv: Some(CsvForm::default()), parquet: false }
    }
}

/// The files of one table.
pub(crate) struct TableFiles {
    csv: Option<(NewFile, CsvForm)>,
    parquet: Option<(ParquetFile, SchemaRef)>,
}

/// Rows of one table as they go into its files.
#[derive(Clone, Debug)]
pub(crate) struct TableBytes {
    csv: Option<Vec<u8>>,
    parquet: Option<RecordBatch>,
}

impl TableBytes {
    pub(crate) fn csv(&self) -> Option<&[u8]> {
        self.csv.as_deref()
    }
}

impl TableFiles {
    pub(crate) fn begin<R: Row>(
        folder: &NewFolder,
        formats: Formats,
        carried: &CarriedColumns,
    ) -> Result<Self> {
        let csv = |form| {
            let mut file = folder.open(&format!("{}.csv", R::TABLE))?;
            let mut header = Vec::new();
            write_header::<R>(form, carried, &mut header)?;
            folder.append(&mut file, &header)?;
            Ok((file, form))
        };
        let parquet = || {
            let schema = arrow_schema::<R>(carried);
            Ok((ParquetFile::begin(folder, R::TABLE, schema.clone())?, schema))
        };
        Ok(Self {
            csv: formats.csv.map(csv).transpose()?,
            parquet: formats.parquet.then(parquet).transpose()?,
        })
    }

    /// Puts rows into every format; many threads may do so at a time.
    pub(crate) fn make<R: Row>(&self, rows: &[R]) -> Result<TableBytes> {
        let csv = self.csv.as_ref().map(|(_, form)| {
            let mut bytes = Vec::new();
            append_csv(rows, *form, true, &mut bytes).map(|()| bytes)
        });
        self.with_csv(rows, csv.transpose()?)
    }

    /// The same, where it is known already what the rows are as CSV.
    pub(crate) fn with_csv<R: Row>(&self, rows: &[R], csv: Option<Vec<u8>>) -> Result<TableBytes> {
        let parquet = self.parquet.as_ref().map(|(_, schema)| record_batch(schema, rows));
        Ok(TableBytes { csv, parquet: parquet.transpose()? })
    }

    /// How CSV is written, if it is.
    pub(crate) fn csv_form(&self) -> Option<CsvForm> {
        self.csv.as_ref().map(|(_, form)| *form)
    }

    pub(crate) fn add(&mut self, folder: &NewFolder, rows: &TableBytes) -> Result<()> {
        if let (Some((file, _)), Some(bytes)) = (&mut self.csv, &rows.csv) {
            folder.append(file, bytes)?;
        }
        match (&mut self.parquet, &rows.parquet) {
            (Some((file, _)), Some(batch)) => file.add(folder, batch),
            _ => Ok(()),
        }
    }

    /// Ends the files; `made_from` tells how the result was made.
    pub(crate) fn close(self, folder: &NewFolder, made_from: &str) -> Result<()> {
        self.csv.map_or(Ok(()), |(file, _)| folder.close(file))?;
        self.parquet.map_or(Ok(()), |(file, _)| file.close(folder, made_from))
    }
}

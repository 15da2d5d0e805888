//! A table as a Parquet file, written batch by batch; see `arrow_table` for its types.

use std::io;
use std::sync::{Mutex, PoisonError};

use arrow_array::RecordBatch;
use arrow_schema::SchemaRef;
use parquet::arrow::ArrowWriter;
use parquet::basic::{Compression, ZstdLevel};
use parquet::errors::ParquetError;
use parquet::file::metadata::KeyValue;
use parquet::file::properties::{EnabledStatistics, WriterProperties};

use crate::error::{Error, Result};
use crate::folder::{NewFile, NewFolder};

/// The key under which a file says what it was made from: the `made_from` of the result's manifest.
pub const MANIFEST_KEY: &str = "boutwise.manifest";

/// Rows are held until they take so many bytes in the file, then written as a group (own choice: little memory, and groups
/// that are still worth skipping).
const ROW_GROUP_BYTES: usize = 8 << 20;

/// A Parquet file of a result that is being written.
pub(crate) struct ParquetFile {
    name: String,
    /// Never locked: the writer can't be shared between threads, and what stands beside it in a result is.
    writer: Mutex<ArrowWriter<NewFile>>,
}

impl ParquetFile {
    pub(crate) fn begin(folder: &NewFolder, table: &str, schema: SchemaRef) -> Result<Self> {
        let name = format!("{table}.parquet");
        let file = folder.open(&name)?;
        let properties = WriterProperties::builder()
            .set_compression(Compression::ZSTD(ZstdLevel::default()))
            .set_statistics_enabled(EnabledStatistics::Chunk)
            .set_max_row_group_bytes(Some(ROW_GROUP_BYTES))
            .build();
        let writer = ArrowWriter::try_new(file, schema, Some(properties))
            .map_err(|error| unwritten(folder, &name, error))?;
        Ok(Self { name, writer: Mutex::new(writer) })
    }

    pub(crate) fn add(&mut self, folder: &NewFolder, batch: &RecordBatch) -> Result<()> {
        self.writer
            .get_mut()
            .unwrap_or_else(PoisonError::into_inner)
            .write(batch)
            .map_err(|error| unwritten(folder, &self.name, error))
    }

    /// Ends the file; `made_from` tells how the result was made.
    pub(crate) fn close(self, folder: &NewFolder, made_from: &str) -> Result<()> {
        let Self { name, writer } = self;
        let mut writer = writer.into_inner().unwrap_or_else(PoisonError::into_inner);
        writer.append_key_value_metadata(KeyValue::new(MANIFEST_KEY.to_owned(), made_from.to_owned()));
        let file = writer.into_inner().map_err(|error| unwritten(folder, &name, error))?;
        folder.close(file)
    }
}

/// What the disk says reaches the reader as it is.
fn unwritten(folder: &NewFolder, name: &str, error: ParquetError) -> Error {
    let error = match error {
        ParquetError::External(error) => match error.downcast::<io::Error>() {
            Ok(error) => return folder.unwritable(name, *error),
            Err(error) => ParquetError::External(error),
        },
        error => error,
    };
    Error::format(name, error)
}

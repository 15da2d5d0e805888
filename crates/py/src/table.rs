//! A table as Python code gets it.

use arrow_array::cast::AsArray;
use arrow_array::ffi_stream::FFI_ArrowArrayStream;
use arrow_array::temporal_conversions::{date32_to_datetime, timestamp_us_to_datetime};
use arrow_array::types::{
    ArrowPrimitiveType, Date32Type, Float64Type, Int32Type, Int64Type, TimestampMicrosecondType,
};
use arrow_array::{Array, RecordBatch, RecordBatchIterator};
use arrow_schema::ffi::FFI_ArrowSchema;
use arrow_schema::{DataType, Schema, SchemaRef};
use boutwise_audit::Error;
use boutwise_report::{CarriedColumns, Row, arrow_schema, record_batch};
use pyo3::exceptions::PyTypeError;
use pyo3::prelude::*;
use pyo3::types::{PyCapsule, PyDict, PyList};

use crate::errors;

/// So many rows lie in one piece (own choice: a million rows reach others as one, and no text outgrows its offsets).
const ROWS_A_BATCH: usize = 1 << 20;

/// Rows and columns that stay as they are.
///
/// A table has a length (its rows) and gives its columns to any package that knows the Arrow interface, without a copy of
/// numbers: ``polars.DataFrame(table)``, ``pyarrow.table(table)``, ``pandas.DataFrame.from_arrow(table)``, or DuckDB by
/// the name of the variable. Types: int64, float64 (missing: null), bool, utf8, dictionary for words of a fixed list,
/// date32, timestamp in microseconds (columns whose name ends in ``_utc`` in the zone UTC). Each column says its ``unit``
/// and ``meaning`` as metadata.
///
/// >>> point = "<trkpt lat='0.01' lon='{:.6f}'><time>2025-03-01T10:00:{:02}Z</time></trkpt>"
/// >>> points = "".join(point.format(-30 + second * 2.5e-5, second) for second in range(60))
/// >>> gpx = f"<gpx><trk><trkseg>{points}</trkseg></trk></gpx>".encode()
/// >>> table = boutwise.bouts(gpx, name="pier.gpx")
/// >>> len(table), table.column_names[:5]
/// (1, ['athlete', 'file', 'session', 'bout', 'kind'])
#[pyclass(frozen, module = "boutwise")]
pub(crate) struct Table {
    schema: SchemaRef,
    batches: Vec<RecordBatch>,
}

impl Table {
    /// Rows, as they come in pieces, with the columns that they carry.
    pub(crate) fn of<R: Row>(
        py: Python<'_>,
        pieces: impl IntoIterator<Item = Result<Vec<R>, Error>, IntoIter: Send> + Send,
        carried: &CarriedColumns,
    ) -> PyResult<Self> {
        let schema = arrow_schema::<R>(carried);
        let batches = py.detach(|| {
            let (mut batches, mut waiting) = (Vec::new(), Vec::new());
            for piece in pieces {
                waiting.extend(piece?);
                while waiting.len() >= ROWS_A_BATCH {
                    batches.push(record_batch(&schema, &waiting[..ROWS_A_BATCH])?);
                    waiting.drain(..ROWS_A_BATCH);
                }
            }
            if !waiting.is_empty() {
                batches.push(record_batch(&schema, &waiting)?);
            }
            Ok(batches)
        });
        Ok(Self { batches: batches.map_err(|error: Error| errors::of_audit(py, &error))?, schema })
    }
}

#[pymethods]
impl Table {
    fn __len__(&self) -> usize {
        self.batches.iter().map(RecordBatch::num_rows).sum()
    }

    fn __repr__(&self) -> String {
        format!("<boutwise.Table: {} rows, {} columns>", self.__len__(), self.schema.fields().len())
    }

    /// The names of the columns, in order.
    #[getter]
    fn column_names(&self) -> Vec<&str> {
        self.schema.fields().iter().map(|field| field.name().as_str()).collect()
    }

    /// Every column by its name, as a list of int, float, bool, str, date, datetime or None, without any other package.
    ///
    /// Moments are datetimes in UTC, local times datetimes without a zone.
    fn to_dict<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyDict>> {
        let columns = PyDict::new(py);
        for (place, field) in self.schema.fields().iter().enumerate() {
            let values = PyList::empty(py);
            for batch in &self.batches {
                append(&values, batch.column(place).as_ref())?;
            }
            columns.set_item(field.name(), values)?;
        }
        Ok(columns)
    }

    /// The columns' types for packages that know the Arrow interface.
    fn __arrow_c_schema__<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyCapsule>> {
        let schema = FFI_ArrowSchema::try_from(Schema::clone(&self.schema));
        let schema = schema.map_err(|error| PyTypeError::new_err(error.to_string()))?;
        PyCapsule::new_with_value(py, schema, c"arrow_schema")
    }

    /// The rows for packages that know the Arrow interface; a wish for other types is not met, as the interface allows.
    #[pyo3(signature = (requested_schema=None))]
    fn __arrow_c_stream__<'py>(
        &self,
        py: Python<'py>,
        requested_schema: Option<Bound<'py, PyAny>>,
    ) -> PyResult<Bound<'py, PyCapsule>> {
        let _ = requested_schema;
        // A batch is a bundle of shared columns: nothing is copied here.
        let batches = self.batches.clone().into_iter().map(Ok);
        let reader = RecordBatchIterator::new(batches, self.schema.clone());
        PyCapsule::new_with_value(py, FFI_ArrowArrayStream::new(Box::new(reader)), c"arrow_array_stream")
    }
}

/// Appends the values of a column.
fn append(values: &Bound<'_, PyList>, column: &dyn Array) -> PyResult<()> {
    fn all<'py, T: ArrowPrimitiveType, V: IntoPyObject<'py>>(
        values: &Bound<'py, PyList>,
        column: &dyn Array,
        value: impl Fn(T::Native) -> V,
    ) -> PyResult<()> {
        column.as_primitive::<T>().iter().try_for_each(|native| values.append(native.map(&value)))
    }
    match column.data_type() {
        DataType::Int64 => all::<Int64Type, _>(values, column, |number| number),
        DataType::Float64 => all::<Float64Type, _>(values, column, |number| number),
        DataType::Date32 => {
            all::<Date32Type, _>(values, column, |days| date32_to_datetime(days).map(|time| time.date()))
        }
        DataType::Timestamp(_, None) => {
            all::<TimestampMicrosecondType, _>(values, column, timestamp_us_to_datetime)
        }
        DataType::Timestamp(_, Some(_)) => all::<TimestampMicrosecondType, _>(values, column, |time| {
            timestamp_us_to_datetime(time).map(|time| time.and_utc())
        }),
        DataType::Boolean => column.as_boolean().iter().try_for_each(|flag| values.append(flag)),
        DataType::Utf8 => column.as_string::<i32>().iter().try_for_each(|text| values.append(text)),
        DataType::Dictionary(..) => {
            let words = column.as_dictionary::<Int32Type>();
            let texts = words.values().as_string::<i32>();
            words.keys_iter().try_for_each(|key| values.append(key.map(|key| texts.value(key))))
        }
        other => Err(PyTypeError::new_err(format!("a column of {other} is not known"))),
    }
}

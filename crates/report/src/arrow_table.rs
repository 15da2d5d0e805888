//! Rows as columns in memory, as Apache Arrow lays them out.
//!
//! Types follow the codebook: whole numbers are 64 bits, decimals are floats with the value that stands in the CSV, days
//! `date32`, times microseconds (moments in the zone UTC), words of a fixed list a dictionary. A column is nullable where
//! its cells may be missing, and says `unit` and `meaning` in its metadata. Text is as it is: the marks against formulas
//! and terminals that the CSV adds are not needed here.

use std::collections::HashMap;
use std::sync::Arc;

use arrow_array::builder::{
    BooleanBuilder, Date32Builder, Float64Builder, Int32Builder, Int64Builder, StringBuilder,
    TimestampMicrosecondBuilder,
};
use arrow_array::types::{Date32Type, Int32Type};
use arrow_array::{ArrayRef, DictionaryArray, RecordBatch, StringArray};
use arrow_schema::{ArrowError, DataType, Field, Schema, SchemaRef, TimeUnit};

use crate::carried::CarriedColumns;
use crate::column::{Cell, Column, Holds, Row, in_milliseconds};
use crate::error::{Error, Result};

/// The zone of moments.
const UTC: &str = "UTC";

/// The columns of a table, those that are carried behind its own: names, types, whether a cell may be missing, and `unit` and
/// `meaning` of each as metadata.
///
/// ```
/// use boutwise_report::{BoutRow, CarriedColumns, arrow_schema};
///
/// let schema = arrow_schema::<BoutRow>(&CarriedColumns::default());
/// let pace = schema.field_with_name("pace_s_per_km").expect("a column of this table");
/// assert!(pace.is_nullable());
/// assert_eq!(pace.metadata()["unit"], "s/km");
/// ```
pub fn arrow_schema<R: Row>(carried: &CarriedColumns) -> SchemaRef {
    let field = |column: Column<'_>| {
        let said = [("unit", column.unit.symbol()), ("meaning", column.meaning)];
        let said = said.into_iter().filter(|(_, text)| !text.is_empty());
        Field::new(column.name, data_type(&column), column.optional).with_metadata(
            said.map(|(key, text)| (key.to_owned(), text.to_owned())).collect::<HashMap<_, _>>(),
        )
    };
    let own: &[Column<'_>] = R::COLUMNS;
    let columns = own.iter().copied().chain(carried.behind(R::CARRIES));
    Arc::new(Schema::new(columns.map(field).collect::<Vec<_>>()))
}

fn data_type(column: &Column<'_>) -> DataType {
    match column.holds {
        Holds::Text if column.words.is_empty() => DataType::Utf8,
        Holds::Text => DataType::Dictionary(Box::new(DataType::Int32), Box::new(DataType::Utf8)),
        Holds::Count | Holds::Whole => DataType::Int64,
        Holds::Flag => DataType::Boolean,
        Holds::Decimal => DataType::Float64,
        Holds::Day => DataType::Date32,
        Holds::LocalTime => DataType::Timestamp(TimeUnit::Microsecond, None),
        Holds::Moment => DataType::Timestamp(TimeUnit::Microsecond, Some(UTC.into())),
    }
}

/// Rows as one batch of columns with a schema that [`arrow_schema()`] made of the same columns that the rows carry; no rows give a
/// batch without rows.
///
/// # Errors
/// [`ErrorKind::Format`](crate::ErrorKind) for a cell that its column does not allow.
pub fn record_batch<'a, R: Row + 'a>(
    schema: &SchemaRef,
    rows: impl IntoIterator<Item = &'a R>,
) -> Result<RecordBatch> {
    // Room for as many as come: what is there by default is more than most tables need, and is given anew for each.
    let rows = rows.into_iter();
    let room = rows.size_hint().0;
    let mut columns: Vec<ColumnBuilder> =
        R::COLUMNS.iter().map(|column| ColumnBuilder::new(column, room)).collect();
    let behind = schema.fields().len().saturating_sub(columns.len());
    let mut carried: Vec<StringBuilder> = (0..behind).map(|_| text_builder(room)).collect();
    let fill = || {
        for row in rows {
            let (mut builders, mut done) = (columns.iter_mut(), Ok(()));
            row.each_cell(|column, cell| {
                if let (Some(builder), Ok(())) = (builders.next(), &done) {
                    done = builder.push(column, &cell);
                }
            });
            done?;
            for (builder, cell) in carried.iter_mut().zip(row.carried()) {
                builder.append_option(cell.as_deref());
            }
        }
        let own = columns.into_iter().map(ColumnBuilder::finish);
        let carried = carried.into_iter().map(|mut builder| Ok(Arc::new(builder.finish()) as ArrayRef));
        let arrays = own.chain(carried).collect::<std::result::Result<_, _>>()?;
        RecordBatch::try_new(schema.clone(), arrays)
    };
    fill().map_err(|error| Error::format(R::TABLE, error))
}

/// Bytes of a text for which room is made (own choice: names and paths of files).
const TEXT_BYTES: usize = 16;

fn text_builder(room: usize) -> StringBuilder {
    StringBuilder::with_capacity(room, TEXT_BYTES * room)
}

/// The cells of one column.
enum ColumnBuilder {
    Text(StringBuilder),
    /// Places in the list of words.
    Word(Int32Builder, Arc<StringArray>),
    Number(Int64Builder),
    Flag(BooleanBuilder),
    Decimal(Float64Builder),
    Day(Date32Builder),
    Time(TimestampMicrosecondBuilder),
}

impl ColumnBuilder {
    fn new(column: &Column<'_>, room: usize) -> Self {
        match column.holds {
            Holds::Text if column.words.is_empty() => Self::Text(text_builder(room)),
            Holds::Text => Self::Word(
                Int32Builder::with_capacity(room),
                Arc::new(StringArray::from_iter_values(column.words)),
            ),
            Holds::Count | Holds::Whole => Self::Number(Int64Builder::with_capacity(room)),
            Holds::Flag => Self::Flag(BooleanBuilder::with_capacity(room)),
            Holds::Decimal => Self::Decimal(Float64Builder::with_capacity(room)),
            Holds::Day => Self::Day(Date32Builder::with_capacity(room)),
            Holds::LocalTime | Holds::Moment => {
                Self::Time(TimestampMicrosecondBuilder::with_capacity(room).with_data_type(data_type(column)))
            }
        }
    }

    fn push(&mut self, column: &Column<'_>, cell: &Cell<'_>) -> std::result::Result<(), ArrowError> {
        let refused = || ArrowError::InvalidArgumentError(format!("{}: {cell:?}", column.name));
        match (self, cell) {
            (Self::Text(builder), Cell::Text(text)) => builder.append_value(text),
            (Self::Word(builder, _), Cell::Text(text)) => {
                let place = column.words.iter().position(|word| word == text).ok_or_else(refused)?;
                builder.append_value(i32::try_from(place).map_err(|_| refused())?);
            }
            (Self::Number(builder), Cell::Count(count)) => {
                builder.append_value(i64::try_from(*count).map_err(|_| refused())?);
            }
            (Self::Number(builder), Cell::Whole(number)) => builder.append_value(*number),
            (Self::Flag(builder), Cell::Flag(flag)) => builder.append_value(*flag),
            (Self::Decimal(builder), Cell::Decimal(value)) => {
                builder.append_value(column.unit.rounded(*value));
            }
            (Self::Day(builder), Cell::Day(day)) => {
                builder.append_value(Date32Type::from_naive_date(*day));
            }
            (Self::Time(builder), Cell::LocalTime(time)) => {
                builder.append_value(in_milliseconds(*time).and_utc().timestamp_micros());
            }
            (Self::Time(builder), Cell::Moment(time)) => {
                builder.append_value(in_milliseconds(*time).timestamp_micros());
            }
            (Self::Text(builder), Cell::Missing) => builder.append_null(),
            (Self::Word(builder, _), Cell::Missing) => builder.append_null(),
            (Self::Number(builder), Cell::Missing) => builder.append_null(),
            (Self::Flag(builder), Cell::Missing) => builder.append_null(),
            (Self::Decimal(builder), Cell::Missing) => builder.append_null(),
            (Self::Day(builder), Cell::Missing) => builder.append_null(),
            (Self::Time(builder), Cell::Missing) => builder.append_null(),
            _ => return Err(refused()),
        }
        Ok(())
    }

    fn finish(self) -> std::result::Result<ArrayRef, ArrowError> {
        Ok(match self {
            Self::Text(mut builder) => Arc::new(builder.finish()),
            Self::Word(mut builder, words) => {
                Arc::new(DictionaryArray::<Int32Type>::try_new(builder.finish(), words)?)
            }
            Self::Number(mut builder) => Arc::new(builder.finish()),
            Self::Flag(mut builder) => Arc::new(builder.finish()),
            Self::Decimal(mut builder) => Arc::new(builder.finish()),
            Self::Day(mut builder) => Arc::new(builder.finish()),
            Self::Time(mut builder) => Arc::new(builder.finish()),
        })
    }
}

#[cfg(test)]
mod tests {
    use arrow_array::cast::AsArray;
    use arrow_array::types::{Float64Type, Int64Type, TimestampMicrosecondType};
    use arrow_array::{Array, types::ArrowPrimitiveType};

    use super::*;
    use crate::SessionRow;

    fn value<T: ArrowPrimitiveType>(batch: &RecordBatch, column: &str) -> Option<T::Native> {
        let column = batch.column_by_name(column).unwrap().as_primitive::<T>();
        column.is_valid(0).then(|| column.value(0))
    }

    #[test]
    fn numbers_have_the_value_of_the_csv_and_missing_is_null() {
        let row = SessionRow {
            athlete: "=1+1".into(),
            session: 7,
            run_s: Some(480.04),
            run_m: Some(1234.5678),
            walk_s: Some(f64::NAN),
            start_utc: Some("2024-03-05T17:30:00.2504Z".parse().unwrap()),
            start_local: Some("2024-03-05T18:30:00.2504".parse().unwrap()),
            ..SessionRow::default()
        };
        let carried = CarriedColumns::default();
        let batch = record_batch(&arrow_schema::<SessionRow>(&carried), [&row]).unwrap();
        assert_eq!(batch.column_by_name("athlete").unwrap().as_string::<i32>().value(0), "=1+1");
        assert_eq!(value::<Int64Type>(&batch, "session"), Some(7));
        assert_eq!(value::<Float64Type>(&batch, "run_s"), Some(480.0));
        assert_eq!(value::<Float64Type>(&batch, "run_m"), Some(1234.57));
        assert_eq!(value::<Float64Type>(&batch, "walk_s"), None);
        assert_eq!(value::<Float64Type>(&batch, "stand_s"), None);
        // 2024-03-05 is day 19 787 from 1970-01-01.
        let start_us = (19_787 * 86_400 + 17 * 3600 + 30 * 60) * 1_000_000 + 250_000;
        assert_eq!(value::<TimestampMicrosecondType>(&batch, "start_utc"), Some(start_us));
        let hour_us = 3600 * 1_000_000;
        assert_eq!(value::<TimestampMicrosecondType>(&batch, "start_local"), Some(start_us + hour_us));
    }

    #[test]
    fn every_table_has_a_schema_without_rows_and_carried_columns_behind_its_own() {
        for (names, own) in [(&[][..], 0), (&["arm", "site"], 2)] {
            let schema = arrow_schema::<SessionRow>(&CarriedColumns::new(names).unwrap());
            let batch = record_batch(&schema, &[] as &[SessionRow]).unwrap();
            assert_eq!((batch.num_rows(), batch.num_columns()), (0, SessionRow::COLUMNS.len() + own));
            assert_eq!(batch.schema(), schema);
        }
        let schema = arrow_schema::<SessionRow>(&CarriedColumns::new(["arm", "site"]).unwrap());
        let row = SessionRow { carried: [Some("007".to_owned()), None].into(), ..SessionRow::default() };
        let batch = record_batch(&schema, [&row]).unwrap();
        assert_eq!(batch.column_by_name("arm").unwrap().as_string::<i32>().value(0), "007");
        assert!(batch.column_by_name("site").unwrap().is_null(0));
        // A row without what the schema has is refused, and not moved to other columns.
        assert!(record_batch(&schema, &[SessionRow::default()]).is_err());
    }

    #[test]
    fn a_word_that_is_not_in_its_list_is_refused() {
        let column = Column { words: &["run", "walk"], ..SessionRow::COLUMNS[0] };
        let mut builder = ColumnBuilder::new(&column, 1);
        assert!(builder.push(&column, &Cell::Text("walk".into())).is_ok());
        assert!(builder.push(&column, &Cell::Text("swim".into())).is_err());
        assert!(builder.push(&column, &Cell::Count(1)).is_err());
    }
}

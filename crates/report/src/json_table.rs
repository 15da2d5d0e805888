//! Rows as JSON: an array of objects with the columns' names, `null` for missing, numbers rounded as in CSV.

use std::io;

use serde::ser::{Serialize, SerializeMap, SerializeSeq, Serializer};

use crate::column::{Cell, Column, Row};
use crate::error::{Error, Result};
use crate::tables::Tables;

/// Writes rows as a JSON array of objects.
///
/// # Errors
/// Where `out` refuses to take the bytes.
pub fn write_json<R: Row>(rows: &[R], out: impl io::Write) -> Result<()> {
    serde_json::to_writer_pretty(out, &RowArray(rows)).map_err(|error| Error::format(R::TABLE, error))
}

/// Rows as JSON in memory; see [`write_json`].
///
/// # Errors
/// None that memory could give; those of [`write_json`].
pub fn json_text<R: Row>(rows: &[R]) -> Result<String> {
    serde_json::to_string_pretty(&RowArray(rows)).map_err(|error| Error::format(R::TABLE, error))
}

/// Rows as one value among others; see [`write_json`].
///
/// # Errors
/// None that memory could give; those of [`write_json`].
pub fn json_value<R: Row>(rows: &[R]) -> Result<serde_json::Value> {
    serde_json::from_str(&json_text(rows)?).map_err(|error| Error::format(R::TABLE, error))
}

impl Serialize for Tables {
    /// An object with one array a table: `files`, `sessions`, `bouts`, `intervals`, `events`, `athletes`, `weeks`,
    /// `planned`, `notes`.
    fn serialize<S: Serializer>(&self, serializer: S) -> std::result::Result<S::Ok, S::Error> {
        fn table<M: SerializeMap, R: Row>(map: &mut M, rows: &[R]) -> std::result::Result<(), M::Error> {
            map.serialize_entry(R::TABLE, &RowArray(rows))
        }
        let mut map = serializer.serialize_map(Some(9))?;
        table(&mut map, &self.files)?;
        table(&mut map, &self.sessions)?;
        table(&mut map, &self.bouts)?;
        table(&mut map, &self.intervals)?;
        table(&mut map, &self.events)?;
        table(&mut map, &self.athletes)?;
        table(&mut map, &self.weeks)?;
        table(&mut map, &self.planned)?;
        table(&mut map, &self.notes)?;
        map.end()
    }
}

struct RowArray<'a, R>(&'a [R]);

impl<R: Row> Serialize for RowArray<'_, R> {
    fn serialize<S: Serializer>(&self, serializer: S) -> std::result::Result<S::Ok, S::Error> {
        let mut array = serializer.serialize_seq(Some(self.0.len()))?;
        for row in self.0 {
            array.serialize_element(&RowObject(row))?;
        }
        array.end()
    }
}

struct RowObject<'a, R>(&'a R);

impl<R: Row> Serialize for RowObject<'_, R> {
    fn serialize<S: Serializer>(&self, serializer: S) -> std::result::Result<S::Ok, S::Error> {
        let mut object = serializer.serialize_map(Some(R::COLUMNS.len()))?;
        let mut result = Ok(());
        self.0.each_cell(|column, cell| {
            if result.is_ok() {
                result = serialize_cell(&mut object, column, &cell);
            }
        });
        result?;
        object.end()
    }
}

fn serialize_cell<M: SerializeMap>(
    object: &mut M,
    column: &Column,
    cell: &Cell<'_>,
) -> std::result::Result<(), M::Error> {
    match cell {
        Cell::Missing => object.serialize_entry(column.name, &None::<()>),
        Cell::Text(text) => object.serialize_entry(column.name, text),
        Cell::Count(count) => object.serialize_entry(column.name, count),
        Cell::Whole(number) => object.serialize_entry(column.name, number),
        Cell::Flag(flag) => object.serialize_entry(column.name, flag),
        // Rounded as in CSV, so that both forms hold the same number.
        Cell::Decimal(number) => object.serialize_entry(column.name, &column.unit.rounded(*number)),
        Cell::Day(_) | Cell::LocalTime(_) | Cell::Moment(_) => {
            object.serialize_entry(column.name, &cell.to_text(0))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::csv_table::csv_text;
    use crate::rows::SessionRow;
    use proptest::prelude::*;

    #[test]
    fn missing_is_null_and_nought_is_a_number() {
        let row = SessionRow { run_s: Some(0.0), resolvable: Some(false), ..SessionRow::default() };
        let value: serde_json::Value =
            serde_json::from_str(&json_text(&[row]).expect("writing to memory")).expect("valid JSON");
        assert_eq!(value[0]["run_s"], 0.0);
        assert_eq!(value[0]["resolvable"], false);
        assert!(value[0]["walk_s"].is_null() && value[0]["notes"].is_null());
        assert_eq!(value[0].as_object().map(|object| object.len()), Some(SessionRow::COLUMNS.len()));
    }

    proptest! {
        #[test]
        fn both_forms_hold_the_same_number(run_m in prop_oneof![-1e7..1e7, Just(f64::NAN), Just(-0.001)]) {
            let row = SessionRow { run_m: Some(run_m), ..SessionRow::default() };
            let json: serde_json::Value =
                serde_json::from_str(&json_text(std::slice::from_ref(&row)).expect("writing to memory")).expect("valid JSON");
            let csv = csv_text(&[row]).expect("writing to memory");
            let place = SessionRow::COLUMNS.iter().position(|column| column.name == "run_m").expect("a column");
            let cell = csv.lines().nth(1).and_then(|line| line.split(',').nth(place)).expect("a cell");
            prop_assert_eq!(json[0]["run_m"].as_f64(), cell.parse().ok());
        }
    }
}

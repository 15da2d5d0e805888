//! The columns for machines: a list of all of them, and a package of the open standard for tables.

use std::borrow::Cow;

use boutwise_season::Settings;
use serde::Serialize;
use serde_json::{Map, Value, json};

use crate::carried::CarriedColumns;
use crate::column::{Column, Holds};
use crate::csv_form::CsvForm;
use crate::tables::{DECLARED, Declared};

/// The file of the codebook beside the tables.
pub const CODEBOOK_FILE: &str = "codebook.json";

/// The type of a column in the codebook.
fn type_word(holds: Holds) -> &'static str {
    match holds {
        Holds::Text => "string",
        Holds::Count | Holds::Whole => "integer",
        Holds::Flag => "boolean",
        Holds::Decimal => "number",
        Holds::Day => "date",
        Holds::LocalTime | Holds::Moment => "datetime",
    }
}

/// A column in the codebook. Its fields stand in the order of the alphabet.
#[derive(Serialize)]
struct Entry<'a> {
    allowed: Option<&'a [&'a str]>,
    column: &'a str,
    decimal_sign: Option<char>,
    decimals: Option<usize>,
    key: bool,
    meaning: &'a str,
    nullable: bool,
    refers_to: Option<&'a str>,
    source: Cow<'a, str>,
    table: &'a str,
    #[serde(rename = "type")]
    type_word: &'static str,
    unit: Option<&'static str>,
    when_empty: Option<&'static str>,
}

/// Every column of every table as JSON: `table`, `column`, `type`, `nullable`, `unit`, `decimals`, `decimal_sign` (of the
/// form `csv`), `allowed`, `key`, `refers_to`, `when_empty`, `meaning`, `source` (with the numbers of `settings`).
///
/// ```
/// use boutwise_report::{CarriedColumns, CsvForm, codebook_json};
/// use boutwise_season::Settings;
///
/// let text = codebook_json(CsvForm::default(), &CarriedColumns::default(), &Settings::default());
/// assert!(text.contains("\"column\": \"run_pace_s_per_km\""));
/// ```
pub fn codebook_json(csv: CsvForm, carried: &CarriedColumns, settings: &Settings) -> String {
    let columns: Vec<(&Declared, Column<'_>)> =
        DECLARED.iter().flat_map(|table| table.with(carried).map(move |column| (table, column))).collect();
    let entries: Vec<Entry<'_>> =
        columns.iter().map(|(table, column)| entry(table, column, csv, settings)).collect();
    pretty(&entries)
}

fn entry<'a>(table: &'a Declared, column: &'a Column<'_>, csv: CsvForm, settings: &Settings) -> Entry<'a> {
    let refers_to = table.refers.iter().find(|(columns, _)| columns.contains(&column.name));
    Entry {
        allowed: (!column.words.is_empty()).then_some(column.words),
        column: column.name,
        decimal_sign: column.decimals().map(|_| csv.decimal_sign),
        decimals: column.decimals(),
        key: table.key.contains(&column.name),
        meaning: column.meaning,
        nullable: column.optional,
        refers_to: refers_to.map(|(_, other)| *other),
        source: column.source_with(settings),
        table: table.name,
        type_word: type_word(column.holds),
        unit: Some(column.unit.symbol()).filter(|symbol| !symbol.is_empty()),
        when_empty: column.when_empty(),
    }
}

/// The tables, written in the form `csv`, as a Tabular Data Package (Frictionless Standards), whose schemas a validator can
/// hold them against.
pub fn package_json(csv: CsvForm, carried: &CarriedColumns) -> String {
    let resources: Vec<Value> = DECLARED.iter().map(|table| resource(table, csv, carried)).collect();
    pretty(&json!({ "name": "boutwise", "profile": "tabular-data-package", "resources": resources }))
}

fn resource(table: &Declared, csv: CsvForm, carried: &CarriedColumns) -> Value {
    let mut schema = Map::new();
    schema.insert("fields".into(), table.with(carried).map(|column| field(&column, csv)).collect());
    schema.insert("missingValues".into(), json!([""]));
    if !table.key.is_empty() {
        schema.insert("primaryKey".into(), json!(table.key));
    }
    if !table.refers.is_empty() {
        let foreign = table.refers.iter().map(|(columns, other)| {
            json!({ "fields": columns, "reference": { "resource": other, "fields": columns } })
        });
        schema.insert("foreignKeys".into(), foreign.collect());
    }
    json!({
        "name": table.name,
        "path": format!("{}.csv", table.name),
        "title": table.about,
        "profile": "tabular-data-resource",
        "format": "csv",
        "encoding": if csv.byte_order_mark { "utf-8-sig" } else { "utf-8" },
        "dialect": { "delimiter": char::from(csv.separator) },
        "schema": schema,
    })
}

fn field(column: &Column<'_>, csv: CsvForm) -> Value {
    let mut constraints = Map::new();
    constraints.insert("required".into(), json!(!column.optional));
    if !column.words.is_empty() {
        constraints.insert("enum".into(), json!(column.words));
    }
    if column.holds == Holds::Count {
        constraints.insert("minimum".into(), json!(0));
    }
    let mut field = Map::new();
    field.insert("name".into(), json!(column.name));
    field.insert("type".into(), json!(type_word(column.holds)));
    if column.holds == Holds::Decimal && csv.decimal_sign != '.' {
        field.insert("decimalChar".into(), json!(csv.decimal_sign));
    }
    // Seconds may have decimals, so the format is left to the reader of ISO 8601.
    if matches!(column.holds, Holds::LocalTime | Holds::Moment) {
        field.insert("format".into(), json!("any"));
    }
    field.insert("description".into(), json!(column.meaning));
    field.insert("constraints".into(), Value::Object(constraints));
    if !column.unit.symbol().is_empty() {
        field.insert("unit".into(), json!(column.unit.symbol()));
    }
    Value::Object(field)
}

/// JSON of something that holds texts, numbers and lists of them alone, which has one.
fn pretty(value: &impl Serialize) -> String {
    serde_json::to_string_pretty(value).map(|text| text + "\n").unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    fn carried() -> CarriedColumns {
        CarriedColumns::new(["arm"]).unwrap()
    }

    #[test]
    fn keys_and_references_name_columns_that_there_are() {
        let has = |table: &str, column: &str| {
            let table = DECLARED.iter().find(|declared| declared.name == table).unwrap();
            table.columns.iter().any(|declared| declared.name == column && !declared.optional)
        };
        for table in DECLARED {
            assert!(table.key.iter().all(|column| has(table.name, column)), "{}", table.name);
            for (columns, other) in table.refers {
                let target = DECLARED.iter().find(|declared| declared.name == *other).unwrap();
                assert_eq!(columns, &target.key, "{} refers to {other} by its key", table.name);
                assert!(columns.iter().all(|column| has(table.name, column)), "{}", table.name);
            }
        }
    }

    #[test]
    fn the_list_and_the_package_hold_every_column_once() {
        let list: Value =
            serde_json::from_str(&codebook_json(CsvForm::default(), &carried(), &Settings::default()))
                .unwrap();
        let names: BTreeSet<(String, String)> = (list.as_array().unwrap().iter())
            .map(|entry| (entry["table"].to_string(), entry["column"].to_string()))
            .collect();
        assert_eq!(names.len(), crate::columns(&carried(), &Settings::default()).len());
        let package: Value = serde_json::from_str(&package_json(CsvForm::default(), &carried())).unwrap();
        let fields: usize = (package["resources"].as_array().unwrap().iter())
            .map(|resource| resource["schema"]["fields"].as_array().unwrap().len())
            .sum();
        assert_eq!(fields, names.len());
    }

    /// Only sources are filled, so numbers of the settings stand nowhere else.
    #[test]
    fn every_setting_that_a_column_names_is_one() {
        let settings = Settings::default();
        for column in DECLARED.iter().flat_map(|table| table.columns) {
            let named = column.source.split('{').skip(1);
            for name in named.map(|piece| piece.split_once('}').unwrap().0) {
                assert!(settings.get(name).is_some(), "{}: {name}", column.name);
            }
            assert!(!column.meaning.contains('{') && !column.empty.contains('{'), "{}", column.name);
        }
    }

    #[test]
    fn what_may_be_empty_says_when() {
        for entry in serde_json::from_str::<Value>(&codebook_json(
            CsvForm::default(),
            &carried(),
            &Settings::default(),
        ))
        .unwrap()
        .as_array()
        .unwrap()
        {
            assert_eq!(entry["nullable"] == true, !entry["when_empty"].is_null(), "{entry}");
        }
    }
}

//! Rows as CSV (RFC 4180): header line, double quotes where needed, line feed, UTF-8; separator, decimal sign and
//! byte-order mark as the [`CsvForm`] says.
//!
//! Spreadsheet programs run a cell that begins with `=`, `+`, `-` or `@` (or a tab, a line break, or one of
//! the first four in full width) as a formula, even when the file says it is text, and names of athletes and
//! files come from other people. A *text* cell that begins so is written with an apostrophe before it
//! (OWASP, "CSV Injection"), and so is one that begins with apostrophes and then so: to read a text back, one apostrophe
//! is taken off where what follows it would be marked. The same rule holds in every table, so names still match from table
//! to table.
//! Numbers are never touched, and the JSON form holds the text as it is. Characters that act on a terminal or turn the
//! direction of reading are written as `\u001b` ([`shown`]).

use std::borrow::Cow;
use std::io;

use boutwise_season::is_formula;
use boutwise_track::shown;
use csv::ByteRecord;

use crate::carried::CarriedColumns;
use crate::column::{Cell, Holds, Row};
use crate::csv_form::CsvForm;
use crate::error::{Error, Result};

/// Writes rows as a CSV table with a header line, without cells that are carried; no rows give the header alone.
///
/// # Errors
/// Where `out` refuses to take the bytes.
pub fn write_csv<'a, R: Row + 'a>(
    rows: impl IntoIterator<Item = &'a R>,
    form: CsvForm,
    mut out: impl io::Write,
) -> Result<()> {
    write_header::<R>(form, &CarriedColumns::default(), &mut out)?;
    append_csv(rows, form, false, out)
}

/// The byte-order mark (Unicode, UTF-8).
const BYTE_ORDER_MARK: &[u8] = "\u{feff}".as_bytes();

/// Bytes that are gathered before they are handed on: most tables of an athlete are short, and go into memory (own choice).
const BUFFER_BYTES: usize = 4 << 10;

/// The header line of a table, and what stands before it.
pub(crate) fn write_header<R: Row>(
    form: CsvForm,
    carried: &CarriedColumns,
    mut out: impl io::Write,
) -> Result<()> {
    let failed = |error| Error::format(R::TABLE, error);
    if form.byte_order_mark {
        out.write_all(BYTE_ORDER_MARK).map_err(|error| Error::format(R::TABLE, error))?;
    }
    let mut writer = writer(form, out);
    let own = R::COLUMNS.iter().map(|column| Cow::Borrowed(column.name));
    let carried = carried.behind(R::CARRIES).map(|column| safe(column.name));
    writer.write_record(own.chain(carried).map(Cow::into_owned)).map_err(failed)?;
    writer.flush().map_err(|error| Error::format(R::TABLE, error))
}

/// Rows without a header line, with or without the cells that are carried.
pub(crate) fn append_csv<'a, R: Row + 'a>(
    rows: impl IntoIterator<Item = &'a R>,
    form: CsvForm,
    with_carried: bool,
    out: impl io::Write,
) -> Result<()> {
    let failed = |error| Error::format(R::TABLE, error);
    let mut writer = writer(form, out);
    let mut record = ByteRecord::new();
    let mut text = String::new();
    for row in rows {
        record.clear();
        row.each_cell(|column, cell| match cell {
            Cell::Missing => record.push_field(b""),
            Cell::Text(words) => record.push_field(safe(&words).as_bytes()),
            cell => {
                text.clear();
                cell.write(column.unit.decimals(), &mut text);
                if column.holds == Holds::Decimal && form.decimal_sign != '.' {
                    text = text.replace('.', form.decimal_sign.encode_utf8(&mut [0; 4]));
                }
                record.push_field(text.as_bytes());
            }
        });
        for cell in row.carried().iter().filter(|_| with_carried) {
            record.push_field(cell.as_deref().map_or(Cow::default(), safe).as_bytes());
        }
        writer.write_byte_record(&record).map_err(failed)?;
    }
    writer.flush().map_err(|error| Error::format(R::TABLE, error))
}

fn writer<W: io::Write>(form: CsvForm, out: W) -> csv::Writer<W> {
    csv::WriterBuilder::new().delimiter(form.separator).buffer_capacity(BUFFER_BYTES).from_writer(out)
}

/// Rows as a CSV table of the usual form in memory; see [`write_csv`].
///
/// ```
/// use boutwise_report::{SessionRow, csv_text};
///
/// let row = SessionRow { athlete: "Ines".into(), session: 1, run_s: Some(480.04), ..SessionRow::default() };
/// let text = csv_text(&[row]).expect("memory takes all bytes");
/// assert!(text.lines().nth(1).expect("one row").starts_with("Ines,,1,"));
/// assert!(text.contains(",480.0,"));
/// ```
///
/// # Errors
/// None that memory could give; those of [`write_csv`].
pub fn csv_text<'a, R: Row + 'a>(rows: impl IntoIterator<Item = &'a R>) -> Result<String> {
    let mut bytes = Vec::new();
    write_csv(rows, CsvForm::default(), &mut bytes)?;
    String::from_utf8(bytes).map_err(|error| Error::format(R::TABLE, error))
}

/// A text as it stands in a table: it acts on no terminal, and no spreadsheet runs it.
fn safe(text: &str) -> Cow<'_, str> {
    let shown = shown(text, &[]);
    if is_formula(&shown) { format!("'{shown}").into() } else { shown }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rows::{FileRow, SessionRow};
    use boutwise_track::Status;
    use proptest::prelude::*;

    fn file(name: &str) -> FileRow {
        FileRow {
            file: name.into(),
            status: Status::Read,
            format: Some("gpx".into()),
            sessions: 1,
            points_kept: 1800,
            points_dropped: Some(0),
            notes: vec!["first, with a comma".into(), "second".into()],
        }
    }

    #[test]
    fn no_rows_give_the_header() {
        let text = csv_text(&[] as &[FileRow]).expect("writing to memory");
        assert_eq!(text, "file,status,format,sessions,points_kept,points_dropped,notes\n");
    }

    #[test]
    fn text_that_a_spreadsheet_would_run_is_marked_and_numbers_are_not() {
        for hostile in ["=1+1", "+49", "-x.gpx", "@SUM(A1)", "＝1", "'=1+1", "''+49"] {
            let text = csv_text(&[file(hostile)]).expect("writing to memory");
            let row = text.lines().nth(1).expect("a row");
            assert!(row.trim_start_matches('"').starts_with(&format!("'{hostile}")), "{row}");
        }
        let row = SessionRow { pace_drift_pct: Some(-2.5), ..SessionRow::default() };
        assert!(csv_text(&[row]).expect("writing to memory").contains(",-2.5,"));
    }

    #[test]
    fn each_form_holds_the_same_cells() {
        let rows = [
            SessionRow {
                athlete: "a;b,c\"d".into(),
                pace_drift_pct: Some(-12_345.65),
                ..SessionRow::default()
            },
            SessionRow {
                notes: vec!["1.5 s; 2,5 s".into()],
                hr_share_pct: Some(0.0),
                ..SessionRow::default()
            },
        ];
        let usual = cells(&csv_text(&rows).expect("writing to memory"), CsvForm::default());
        assert!(usual.iter().flatten().any(|cell| cell == "-12345.6" || cell == "-12345.7"));
        for tag in ["de", "en", "excel", "sv-SE"] {
            let form: CsvForm = tag.parse().expect("a form");
            let mut bytes = Vec::new();
            write_csv(&rows, form, &mut bytes).expect("writing to memory");
            let text = String::from_utf8(bytes).expect("UTF-8");
            let text = text.strip_prefix('\u{feff}').expect("a byte-order mark");
            let mut found = cells(text, form);
            for record in found.iter_mut().skip(1) {
                for (column, cell) in SessionRow::COLUMNS.iter().zip(record) {
                    if column.holds == Holds::Decimal {
                        assert!(
                            form.decimal_sign == '.' || !cell.contains('.'),
                            "{tag} {}: {cell}",
                            column.name
                        );
                        *cell = cell.replace(form.decimal_sign, ".");
                    }
                }
            }
            assert_eq!(found, usual, "{tag}");
        }
    }

    fn cells(text: &str, form: CsvForm) -> Vec<Vec<String>> {
        let mut reader = csv::ReaderBuilder::new()
            .delimiter(form.separator)
            .has_headers(false)
            .from_reader(text.as_bytes());
        reader.records().map(|record| record.expect("a record").iter().map(str::to_owned).collect()).collect()
    }

    proptest! {
        #[test]
        fn whatever_the_names_a_reader_gets_them_back(name in "('{0,2}[=+]?)?\\PC{0,40}[\",\n\r';]?\\PC{0,5}") {
            let text = csv_text(&[file(&name)]).expect("writing to memory");
            let mut reader = csv::Reader::from_reader(text.as_bytes());
            let record = reader.records().next().expect("a row").expect("a valid row");
            prop_assert_eq!(record.len(), FileRow::COLUMNS.len());
            let read = record[0].strip_prefix('\'').filter(|rest| is_formula(rest)).unwrap_or(&record[0]);
            prop_assert_eq!(read, &*shown(&name, &[]));
        }
    }
}

//! A table as spreadsheets save it: any usual separator, byte-order mark, quotes, spaces, case of headers.

use std::borrow::Cow;
use std::collections::HashMap;
use std::ops::Range;

use chrono::NaiveDate;

use crate::Error;
use crate::date::{Order, Unreadable, Written, read_date};
use crate::error::{ErrorKind, Flaw, suggestion};

/// Text of a file in UTF-8 or UTF-16 (with its mark), else in Windows-1252, as spreadsheets still save it.
fn decode(bytes: &[u8]) -> Cow<'_, str> {
    match encoding_rs::Encoding::for_bom(bytes) {
        Some((encoding, length)) => encoding.decode_without_bom_handling(&bytes[length..]).0,
        None => match std::str::from_utf8(bytes) {
            Ok(text) => Cow::Borrowed(text),
            Err(_) => encoding_rs::WINDOWS_1252.decode(bytes).0,
        },
    }
}

/// One cell, without quotes and the spaces around it, and where it stands in the text.
#[derive(Debug)]
struct Cell {
    text: String,
    span: Range<usize>,
}

/// One row that holds anything.
#[derive(Debug)]
struct Row {
    line: usize,
    cells: Vec<Cell>,
}

/// Splits a text into rows of cells. A cell in quotes may hold separators, line ends and doubled quotes.
fn split(text: &str, body_start: usize, separator: char) -> Result<Vec<Row>, Flaw> {
    let mut rows = Vec::new();
    let mut line = text[..body_start].matches('\n').count() + 1;
    let mut rest = text[body_start..].char_indices().map(|(at, c)| (body_start + at, c)).peekable();
    while rest.peek().is_some() {
        let mut row = Row { line, cells: Vec::new() };
        let mut more = true;
        while more {
            while rest.next_if(|(_, c)| *c != separator && matches!(c, ' ' | '\t' | '\r')).is_some() {}
            let start = rest.peek().map_or(text.len(), |(at, _)| *at);
            let mut cell = String::new();
            if rest.next_if(|(_, c)| *c == '"').is_some() {
                loop {
                    match rest.next() {
                        Some((_, '"')) if rest.next_if(|(_, c)| *c == '"').is_some() => cell.push('"'),
                        Some((_, '"')) => break,
                        Some((_, c)) => {
                            line += usize::from(c == '\n');
                            cell.push(c);
                        }
                        None => {
                            return Err(Flaw::new(
                                start..start + 1,
                                "a quote that is never closed",
                                "a second \" at the end of the cell",
                                "add the quote, or take this one out",
                            ));
                        }
                    }
                }
            }
            while let Some((_, c)) = rest.next_if(|(_, c)| *c != separator && *c != '\n') {
                cell.push(c);
            }
            let end = rest.peek().map_or(text.len(), |(at, _)| *at);
            let length = text[start..end].trim_end().len();
            row.cells.push(Cell { text: cell.trim().to_owned(), span: start..start + length });
            more = matches!(rest.next(), Some((_, c)) if c == separator);
        }
        line += 1;
        if row.cells.iter().any(|cell| !cell.text.is_empty()) {
            rows.push(row);
        }
    }
    Ok(rows)
}

/// A sheet with known columns.
#[derive(Debug)]
pub(crate) struct Sheet<'a> {
    kind: ErrorKind,
    name: &'a str,
    text: String,
    columns: HashMap<&'static str, usize>,
    rows: Vec<Row>,
    order: Option<Order>,
    /// What was odd and left out, in sentences.
    pub(crate) notes: Vec<String>,
}

impl<'a> Sheet<'a> {
    /// Reads the rows under a header row. `known` are the columns, of which the first `required` must be there.
    pub(crate) fn read(
        kind: ErrorKind,
        name: &'a str,
        bytes: &[u8],
        known: &[&'static str],
        required: usize,
    ) -> Result<Self, Error> {
        let text = decode(bytes).into_owned();
        let mut body_start = 0;
        let mut separator = None;
        // A first line such as "sep=;" is how some spreadsheets name the separator.
        if let Some(first) = text.lines().next()
            && let Some(sign) =
                first.trim().to_lowercase().strip_prefix("sep=").and_then(|rest| rest.chars().next())
        {
            separator = Some(sign);
            body_start = text.find('\n').map_or(text.len(), |at| at + 1);
        }
        let separator = separator.unwrap_or_else(|| guess_separator(&text[body_start..]));
        let rows = split(&text, body_start, separator).map_err(|flaw| Error::new(kind, name, &text, flaw))?;
        let mut sheet =
            Self { kind, name, text, columns: HashMap::new(), rows, order: None, notes: Vec::new() };
        sheet.read_header(known, required)?;
        Ok(sheet)
    }

    fn read_header(&mut self, known: &[&'static str], required: usize) -> Result<(), Error> {
        let expected = format!("a first row with the columns' names: {}", known.join(", "));
        if self.rows.is_empty() {
            let flaw =
                Flaw::new(0..0, "an empty table", expected, format!("begin with a row {}", known.join(",")));
            return Err(self.error(flaw));
        }
        let header = self.rows.remove(0);
        let header_span = header.cells.first().map_or(0..0, |first| {
            first.span.start..header.cells.last().map_or(first.span.end, |last| last.span.end)
        });
        let mut strangers: Vec<String> = Vec::new();
        for (index, cell) in header.cells.iter().enumerate() {
            let heading = heading(&cell.text);
            match known.iter().find(|column| **column == heading) {
                Some(column) => {
                    if self.columns.insert(column, index).is_some() {
                        let flaw = Flaw::new(
                            cell.span.clone(),
                            format!("the column {column} for a second time"),
                            "each column once",
                            "take one of the two out",
                        );
                        return Err(self.error(flaw));
                    }
                }
                None if heading.is_empty() => {}
                None => strangers.push(cell.text.clone()),
            }
        }
        let missing = known[..required].iter().copied().find(|column| !self.columns.contains_key(column));
        if let Some(column) = missing {
            let meant = strangers.iter().find(|stranger| suggestion(&heading(stranger), [column]).is_some());
            let mend = match meant {
                Some(stranger) => format!("name the column \"{stranger}\" {column}"),
                None => format!("add a column named {column}"),
            };
            return Err(self.error(Flaw::new(header_span, format!("no column {column}"), expected, mend)));
        }
        for stranger in strangers {
            let meant = suggestion(&heading(&stranger), known.iter().copied())
                .map_or(String::new(), |column| format!("; did you mean {column}?"));
            self.notes.push(format!(
                "{}, line {}: the column \"{stranger}\" is not known and was left out{meant}",
                self.name, header.line
            ));
        }
        Ok(())
    }

    /// Indices of the rows.
    pub(crate) fn rows(&self) -> Range<usize> {
        0..self.rows.len()
    }

    /// Line of a row in the file, from 1.
    pub(crate) fn line(&self, row: usize) -> usize {
        self.rows[row].line
    }

    /// A cell; `None` where the column is absent or the cell is empty.
    pub(crate) fn cell(&self, row: usize, column: &str) -> Option<&str> {
        let index = *self.columns.get(column)?;
        self.rows[row].cells.get(index).map(|cell| cell.text.as_str()).filter(|cell| !cell.is_empty())
    }

    /// An error about one cell.
    pub(crate) fn cell_error(
        &self,
        row: usize,
        column: &str,
        problem: String,
        expected: &str,
        mend: &str,
    ) -> Error {
        let cells = &self.rows[row].cells;
        let span = self.columns.get(column).and_then(|index| cells.get(*index)).or(cells.first());
        let span = span.map_or(0..0, |cell| cell.span.clone());
        self.error(Flaw::new(span, problem, expected, mend))
    }

    fn error(&self, flaw: Flaw) -> Error {
        Error::new(self.kind, self.name, &self.text, flaw)
    }

    /// A yes or no.
    pub(crate) fn flag(&self, row: usize, column: &str) -> Result<Option<bool>, Error> {
        let Some(cell) = self.cell(row, column) else { return Ok(None) };
        match cell.to_lowercase().as_str() {
            "yes" | "y" | "true" | "1" | "x" => Ok(Some(true)),
            "no" | "n" | "false" | "0" | "-" => Ok(Some(false)),
            _ => Err(self.cell_error(
                row,
                column,
                format!("{column} is \"{cell}\""),
                "yes or no",
                "write yes or no",
            )),
        }
    }

    /// A number within limits. A decimal comma is read where the comma does not separate the cells.
    pub(crate) fn number(&self, row: usize, column: &str, limits: (f64, f64)) -> Result<Option<f64>, Error> {
        let Some(cell) = self.cell(row, column) else { return Ok(None) };
        let (low, high) = limits;
        match cell.replace(',', ".").parse::<f64>() {
            Ok(number) if (low..=high).contains(&number) => Ok(Some(number)),
            _ => {
                let expected = format!("a number from {low} to {high}, or nothing");
                let mend = "write the number without unit, or leave the cell empty";
                Err(self.cell_error(row, column, format!("{column} is \"{cell}\""), &expected, mend))
            }
        }
    }

    /// Finds the order of day and month from all cells of a date column: the dates that leave one reading decide.
    pub(crate) fn find_date_order(&mut self, column: &str) -> Result<(), Error> {
        let mut decided: Option<(Order, usize)> = None;
        for row in self.rows() {
            let Some(Ok(order)) = self.cell(row, column).map(read_date).map(|date| date.map(Written::order))
            else {
                continue;
            };
            match (order, decided) {
                (Some(order), None) => decided = Some((order, row)),
                (Some(order), Some((earlier, at))) if order != earlier => {
                    let problem = format!("day and month in another order than in line {}", self.line(at));
                    let mend = "write every date year first, as in 2026-03-31";
                    return Err(self.cell_error(row, column, problem, "one order in the whole file", mend));
                }
                _ => {}
            }
        }
        self.order = decided.map(|(order, _)| order);
        Ok(())
    }

    /// A date.
    pub(crate) fn date(&self, row: usize, column: &str) -> Result<Option<NaiveDate>, Error> {
        let Some(cell) = self.cell(row, column) else { return Ok(None) };
        const ISO: &str = "a date, year first, as in 2026-03-31";
        let refuse = |problem: String, mend: &str| Err(self.cell_error(row, column, problem, ISO, mend));
        match read_date(cell) {
            Ok(written) => match written.resolve(self.order) {
                Some(date) => Ok(Some(date)),
                None if self.order.is_none() => refuse(
                    format!("\"{cell}\" can be read day first or month first"),
                    "write it year first: no date in this file shows which order is meant",
                ),
                None => {
                    refuse(format!("\"{cell}\" is no day of the calendar"), "check the day and the month")
                }
            },
            Err(Unreadable::NoSuchDay) => {
                refuse(format!("\"{cell}\" is no day of the calendar"), "check the day and the month")
            }
            Err(Unreadable::ShortYear) => {
                refuse(format!("\"{cell}\" has no year of four digits"), "write the year in full and first")
            }
            Err(Unreadable::Serial) => refuse(
                format!("\"{cell}\" is a bare number"),
                "format the column as a date in the spreadsheet and save it again",
            ),
            Err(Unreadable::NoDate) => refuse(format!("\"{cell}\" is no date"), "write it as 2026-03-31"),
        }
    }
}

/// The separator that the first line which holds any has most of; a comma where none is found.
fn guess_separator(text: &str) -> char {
    let header = text.lines().find(|line| !line.trim().is_empty()).unwrap_or_default();
    let mut counts = [(';', 0), ('\t', 0), (',', 0)];
    let mut quoted = false;
    for c in header.chars() {
        match c {
            '"' => quoted = !quoted,
            _ if !quoted => {
                counts.iter_mut().filter(|(sign, _)| *sign == c).for_each(|(_, count)| *count += 1)
            }
            _ => {}
        }
    }
    let most = counts.iter().map(|(_, count)| *count).max().unwrap_or(0);
    if most == 0 {
        ','
    } else {
        counts.iter().find(|(_, count)| *count == most).map_or(',', |(sign, _)| *sign)
    }
}

/// A column's name in the form in which names are compared: small letters, words joined by `_`.
fn heading(cell: &str) -> String {
    let mut name = String::new();
    for c in cell.trim().chars() {
        if c.is_alphanumeric() {
            name.extend(c.to_lowercase());
        } else if !name.is_empty() && !name.ends_with('_') {
            name.push('_');
        }
    }
    name.trim_end_matches('_').to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const KNOWN: [&str; 3] = ["athlete", "date", "note"];

    fn read(bytes: &[u8]) -> Result<Sheet<'static>, Error> {
        Sheet::read(ErrorKind::Journal, "j.csv", bytes, &KNOWN, 2)
    }

    #[test]
    fn spreadsheets_of_every_kind_read_the_same() {
        let utf16: Vec<u8> = std::iter::once(0xFEFF)
            .chain("athlete\tdate\nJosé\t2026-03-02\n".encode_utf16())
            .flat_map(u16::to_le_bytes)
            .collect();
        let texts: [&[u8]; 8] = [
            "athlete,date\nJosé,2026-03-02\n".as_bytes(),
            "\u{feff}Athlete ; Date \r\n José ;2026-03-02\r\n".as_bytes(),
            "ATHLETE\tDATE\nJosé\t2026-03-02".as_bytes(),
            "sep=;\r\n\"athlete\";\"date\"\r\n\"José\";\"2026-03-02\"\r\n;;\r\n".as_bytes(),
            "\n\nathlete,date,\n\nJosé,2026-03-02,,,\n\n".as_bytes(),
            "athlete, date\n\"José\" , \"2026-03-02\"\n".as_bytes(),
            b"athlete;date\nJos\xe9;2026-03-02\n",
            &utf16,
        ];
        for text in texts {
            let sheet = read(text).unwrap();
            assert_eq!((sheet.rows(), sheet.cell(0, "athlete"), sheet.notes.len()), (0..1, Some("José"), 0));
            assert_eq!(sheet.date(0, "date").unwrap(), NaiveDate::from_ymd_opt(2026, 3, 2));
        }
    }

    #[test]
    fn a_wrong_cell_is_shown_in_its_line_with_a_caret_under_it() {
        let text = "athlete;date;note\n\nAnna;2026-03-02;\"so; so\"\nBob; 31.2.26 ;x\n";
        let error = read(text.as_bytes()).unwrap().date(1, "date").unwrap_err();
        assert_eq!(
            error.to_string(),
            "j.csv, line 4, column 6: \"31.2.26\" has no year of four digits\n  \
             |\n4 | Bob; 31.2.26 ;x\n  |      ^^^^^^^\n\
             expected: a date, year first, as in 2026-03-31\nto mend: write the year in full and first"
        );
    }

    #[test]
    fn ambiguous_dates_are_refused_and_clear_ones_decide_for_the_file() {
        let dates = |text: &str| -> Result<Vec<Option<NaiveDate>>, Error> {
            let mut sheet = read(text.as_bytes())?;
            sheet.find_date_order("date")?;
            sheet.rows().map(|row| sheet.date(row, "date")).collect()
        };
        let ambiguous = dates("athlete,date\na,03/04/2026\n").unwrap_err();
        assert!(ambiguous.problem().contains("day first or month first") && ambiguous.line() == 2);
        let decided = dates("athlete,date\na,03/04/2026\na,25/04/2026\n").unwrap();
        assert_eq!(decided[0], NaiveDate::from_ymd_opt(2026, 4, 3));
        let at_odds = dates("athlete,date\na,25/04/2026\na,04/25/2026\n").unwrap_err();
        assert!(at_odds.problem().contains("another order than in line 2") && at_odds.line() == 3);
    }

    #[test]
    fn a_header_that_cannot_serve_says_what_to_do() {
        assert!(read(b"").unwrap_err().problem().contains("empty table"));
        assert!(read(b"athlet,date\n").unwrap_err().mend().contains("\"athlet\" athlete"));
        assert!(read(b"athlete,date\na,\"2026").unwrap_err().problem().contains("never closed"));
        assert!(read(b"athlete,date,Date\n").unwrap_err().problem().contains("second time"));
        let sheet = read(b"athlete,date,shoes,notes\na,2026-03-02,x,y\n").unwrap();
        assert!(
            sheet.notes[0].contains("\"shoes\" is not known")
                && sheet.notes[1].ends_with("did you mean note?")
        );
    }

    proptest! {
        #[test]
        fn no_bytes_make_the_reader_panic(bytes in proptest::collection::vec(any::<u8>(), 0..80)) {
            let mut all = b"athlete,date\n".to_vec();
            all.extend(bytes);
            if let Ok(mut sheet) = read(&all) {
                let _ = sheet.find_date_order("date");
                for row in sheet.rows() {
                    let _ = sheet.date(row, "date");
                    let _ = sheet.number(row, "note", (0.0, 10.0));
                }
            }
        }
    }
}

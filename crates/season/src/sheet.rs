//! A table as spreadsheets save it: any usual separator, byte-order mark, quotes, spaces, case of headers.

use std::borrow::Cow;
use std::collections::HashMap;
use std::ops::Range;

use chrono::NaiveDate;

use crate::Error;
use crate::date::{Order, read_date};
use crate::error::{ErrorKind, Flaw, suggestion};
use crate::headings::{heading, meant_heading};

/// Text of a file that a person wrote: in UTF-8 or UTF-16 (with its mark), else in Windows-1252, as spreadsheets still
/// save it. Lines that end with a carriage return alone end with a line feed then.
pub fn decode(bytes: &[u8]) -> Cow<'_, str> {
    let text = match encoding_rs::Encoding::for_bom(bytes) {
        Some((encoding, length)) => {
            encoding.decode_without_bom_handling(bytes.get(length..).unwrap_or_default()).0
        }
        None => match std::str::from_utf8(bytes) {
            Ok(text) => Cow::Borrowed(text),
            Err(_) => encoding_rs::WINDOWS_1252.decode(bytes).0,
        },
    };
    // How the first line ends tells how all do; several before a line feed are one odd end of a line.
    let end = text.find(['\r', '\n']).map_or("", |at| &text[at..]);
    let has_returns_alone = end.starts_with('\r') && !end.trim_start_matches('\r').starts_with('\n');
    if has_returns_alone { Cow::Owned(text.replace("\r\n", "\n").replace('\r', "\n")) } else { text }
}

/// Largest table in bytes; a larger file is refused unread (own choice: a million rows fit).
pub const MAX_TABLE_BYTES: u64 = 128 << 20;
/// Most letters of what stands in every row of a table or on every page: names of athletes and groups, titles and labels of a
/// plan, cells that are carried (own choice: full names fit, and a result grows with its rows alone).
pub const MAX_NAME_LETTERS: usize = 200;
/// Oddities that are told one by one; of further ones only the number is (own choice: a screenful).
pub(crate) const NOTES_MOST: usize = 20;

/// First characters that make a spreadsheet read a text cell as a formula (OWASP, "CSV Injection"; the first four in full width
/// too).
pub const FORMULA_STARTS: [char; 11] = ['=', '+', '-', '@', '\t', '\r', '\n', '＝', '＋', '－', '＠'];

/// Whether a spreadsheet would run a cell as a formula, or would if it had no marks before it: such a text is written with one
/// mark more, an apostrophe, so that what it was can be read back.
pub fn is_formula(cell: &str) -> bool {
    cell.trim_start_matches('\'').starts_with(FORMULA_STARTS)
}

/// A text as it is written into a cell: in quotes where it must be, and marked where a spreadsheet would run it.
pub(crate) fn written(text: &str, separator: char) -> String {
    let mark = if is_formula(text) { "'" } else { "" };
    let is_plain = !text.contains([separator, ',', '"', '\n', '\r', ';']) && text == text.trim();
    if is_plain { format!("{mark}{text}") } else { format!("\"{mark}{}\"", text.replace('"', "\"\"")) }
}

/// One cell, without quotes, the spaces around it and the mark against formulas, and where it stands in the text.
#[derive(Debug)]
struct Cell<'t> {
    text: Cow<'t, str>,
    span: Range<usize>,
}

/// One row that holds anything.
#[derive(Debug)]
pub(crate) struct Row<'s> {
    sheet: &'s Sheet<'s>,
    pub(crate) line: usize,
    cells: Vec<Cell<'s>>,
}

/// Where the reading of a text has come to.
#[derive(Clone, Debug)]
struct Cursor {
    /// Byte of the text: its first, its end, or one that a search for a character led to, so that the text can be cut there.
    at: usize,
    line: usize,
}

impl Cursor {
    /// Reads the next row that holds anything. A cell in quotes may hold separators, line ends and doubled quotes.
    fn next_row<'t>(
        &mut self,
        text: &'t str,
        separator: char,
    ) -> Option<Result<(usize, Vec<Cell<'t>>), Flaw>> {
        while self.at < text.len() {
            let line = self.line;
            let cells = match self.cells(text, separator) {
                Ok(cells) => cells,
                Err(flaw) => return Some(Err(flaw)),
            };
            self.line += 1;
            if cells.iter().any(|cell| !cell.text.is_empty()) {
                return Some(Ok((line, cells)));
            }
        }
        None
    }

    fn cells<'t>(&mut self, text: &'t str, separator: char) -> Result<Vec<Cell<'t>>, Flaw> {
        let mut cells = Vec::new();
        loop {
            let rest = &text[self.at..];
            let blank = |c: char| c != separator && matches!(c, ' ' | '\t' | '\r');
            let start = self.at + rest.find(|c| !blank(c)).unwrap_or(rest.len());
            self.at = start;
            let quoted = text[start..].starts_with('"').then(|| self.quoted(text)).transpose()?;
            let rest = &text[self.at..];
            let tail = &rest[..rest.find([separator, '\n']).unwrap_or(rest.len())];
            self.at += tail.len();
            let content = match quoted {
                None => Cow::Borrowed(tail.trim()),
                Some(mut content) => {
                    content.push_str(tail);
                    Cow::Owned(content.trim().to_owned())
                }
            };
            let content = match content.strip_prefix('\'').filter(|rest| is_formula(rest)) {
                Some(unmarked) => Cow::Owned(unmarked.to_owned()),
                None => content,
            };
            cells.push(Cell { text: content, span: start..start + text[start..self.at].trim_end().len() });
            let mut after = text[self.at..].chars();
            let next = after.next();
            self.at = text.len() - after.as_str().len();
            if next != Some(separator) {
                return Ok(cells);
            }
        }
    }

    /// The content of a cell in quotes, from its first quote on.
    fn quoted(&mut self, text: &str) -> Result<String, Flaw> {
        let start = self.at;
        let mut content = String::new();
        let mut at = start + 1;
        loop {
            let Some(length) = text[at..].find('"') else {
                return Err(Flaw::new(
                    start..start + 1,
                    "a quote that is never closed",
                    "a second \" at the end of the cell",
                    "add the quote, or take this one out",
                ));
            };
            content.push_str(&text[at..at + length]);
            at += length + 1;
            if !text[at..].starts_with('"') {
                break;
            }
            content.push('"');
            at += 1;
        }
        self.line += text[start..at].matches('\n').count();
        self.at = at;
        Ok(content)
    }
}

/// Columns of a kind of sheet.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Columns {
    /// All of them.
    pub(crate) known: &'static [&'static str],
    /// Of each of these groups at least one must be there.
    pub(crate) required: &'static [&'static [&'static str]],
    /// Those that hold one name, of at most [`MAX_NAME_LETTERS`].
    pub(crate) names: &'static [&'static str],
    /// Those whose loss may lose a warning or the coach's word.
    pub(crate) signs: &'static [&'static str],
}

/// A sheet with known columns, read row by row.
#[derive(Debug)]
pub(crate) struct Sheet<'a> {
    pub(crate) kind: ErrorKind,
    name: &'a str,
    text: Cow<'a, str>,
    separator: char,
    columns: HashMap<&'static str, usize>,
    /// How many cells of a row stand under headings: as many as the first row has up to its last that is filled.
    headings: usize,
    /// How many cells the first row has.
    cells: usize,
    /// Places of the columns that were asked for beyond the known ones, in the order in which they were.
    carried: Vec<usize>,
    /// Places of the columns whose cells are names, and of those that are carried.
    names: Vec<usize>,
    body: Cursor,
    /// Byte of the text at which the cells of the first row end.
    header_end: usize,
    order: Option<Order>,
    /// What was odd and left out, in sentences.
    pub(crate) notes: Oddities,
}

/// Sentences about a file, the first of them in full.
#[derive(Clone, Debug, Default)]
pub(crate) struct Oddities {
    told: Vec<String>,
    more: usize,
}

impl Oddities {
    pub(crate) fn push(&mut self, sentence: impl FnOnce() -> String) {
        if self.told.len() < NOTES_MOST { self.told.push(sentence()) } else { self.more += 1 }
    }

    pub(crate) fn into_sentences(mut self, name: &str) -> Vec<String> {
        if self.more > 0 {
            self.told.push(format!("{name}: and {} more of the kind", self.more));
        }
        self.told
    }
}

impl<'a> Sheet<'a> {
    /// Reads the header row; the rows under it are read when they are asked for.
    pub(crate) fn read(
        kind: ErrorKind,
        name: &'a str,
        bytes: &'a [u8],
        columns: Columns,
    ) -> Result<Self, Error> {
        Self::read_carrying(kind, name, bytes, columns, &[])
    }

    /// The same with further columns, asked for by their headings in any case; none of them is known.
    pub(crate) fn read_carrying(
        kind: ErrorKind,
        name: &'a str,
        bytes: &'a [u8],
        columns: Columns,
        further: &[String],
    ) -> Result<Self, Error> {
        if bytes.len() as u64 > MAX_TABLE_BYTES {
            return Err(too_large_of(kind, name, bytes.len() as u64));
        }
        let text = decode(bytes);
        let mut start = 0;
        let mut separator = None;
        // A first line such as "sep=;" is how some spreadsheets name the separator.
        if let Some(first) = text.lines().next()
            && let Some(sign) =
                first.trim().to_lowercase().strip_prefix("sep=").and_then(|rest| rest.chars().next())
        {
            separator = Some(sign);
            start = text.find('\n').map_or(text.len(), |at| at + 1);
        }
        let separator = separator.unwrap_or_else(|| guess_separator(&text[start..]));
        let body = Cursor { at: start, line: text[..start].matches('\n').count() + 1 };
        let mut sheet = Self {
            kind,
            name,
            text,
            separator,
            columns: HashMap::new(),
            headings: 0,
            cells: 0,
            carried: Vec::new(),
            names: Vec::new(),
            body,
            header_end: 0,
            order: None,
            notes: Oddities::default(),
        };
        sheet.read_header(columns, further)?;
        Ok(sheet)
    }

    fn read_header(&mut self, columns: Columns, further: &[String]) -> Result<(), Error> {
        let Columns { known, required, names, signs } = columns;
        let expected = format!("a first row with the columns' names: {}", known.join(", "));
        let mut body = self.body.clone();
        let (line, header) = match body.next_row(&self.text, self.separator) {
            Some(Ok(header)) => header,
            Some(Err(flaw)) => return Err(self.error(flaw)),
            None => {
                let mend = format!("begin with a row {}", known.join(","));
                return Err(self.error(Flaw::new(0..0, "an empty table", expected, mend)));
            }
        };
        let mut columns: HashMap<&'static str, usize> = HashMap::new();
        let mut strangers: Vec<(String, Range<usize>)> = Vec::new();
        let mut carried: Vec<Option<usize>> = vec![None; further.len()];
        let mut order = None;
        let row_span = header.first().map_or(0..0, |first| {
            first.span.start..header.last().map_or(first.span.end, |last| last.span.end)
        });
        if let Some(known) = further.iter().find(|name| known.contains(&heading(name).as_str())) {
            let problem = format!("\"{known}\" cannot be carried: the column has a meaning of its own");
            let mend =
                format!("leave {known} out of what is carried, or keep it in a column of another name");
            let expected = "a column that is not one of the squad file's own";
            return Err(self.error(Flaw::new(row_span, problem, expected, mend)));
        }
        for (index, cell) in header.iter().enumerate() {
            let mut places = carried.iter_mut().zip(further);
            let asked = places.find(|(_, name)| heading(name) == heading(&cell.text));
            if let Some((place, name)) = asked.filter(|_| !cell.text.is_empty()) {
                if place.replace(index).is_some() {
                    let problem = format!("the column {name} for a second time");
                    let mend = "take one of the two out";
                    return Err(self.error(Flaw::new(cell.span.clone(), problem, "each column once", mend)));
                }
                continue;
            }
            let (heading, said) = heading_and_order(&cell.text);
            order = order.or(said);
            match known.iter().find(|column| **column == heading) {
                Some(column) => {
                    if columns.insert(column, index).is_some() {
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
                None => strangers.push((cell.text.clone().into_owned(), cell.span.clone())),
            }
        }
        if let Some((absent, _)) = further.iter().zip(&carried).find(|(_, place)| place.is_none()) {
            let problem = format!("no column \"{absent}\", which is to be carried");
            let there: Vec<&str> = strangers.iter().map(|(stranger, _)| stranger.as_str()).collect();
            let (expected, mend): (String, String) = match there.as_slice() {
                [] => {
                    ("a column of this name".to_owned(), "add it, or leave it out of what is carried".into())
                }
                there => {
                    let near = suggestion(&heading(absent), there.iter().copied());
                    let mend =
                        near.map_or("leave it out of what is carried".into(), |near| format!("carry {near}"));
                    (format!("one of {}", there.join(", ")), mend)
                }
            };
            return Err(self.error(Flaw::new(row_span, problem, expected, mend)));
        }
        self.carried = carried.into_iter().flatten().collect();
        // What may have been meant for a column that is not there must not be left out: it may hold a warning.
        let strangers: Vec<_> = strangers
            .into_iter()
            .map(|(stranger, span)| (meant_heading(&stranger, known, signs), stranger, span))
            .collect();
        for (meant, stranger, span) in &strangers {
            if let Some(column) = meant.filter(|column| !columns.contains_key(column)) {
                return Err(self.error(Flaw::new(
                    span.clone(),
                    format!("the column \"{stranger}\" is not known"),
                    format!("one of {}", known.join(", ")),
                    format!("name it {column}; if something else is meant, name it so that it is not like {column}"),
                )));
            }
        }
        let missing = required.iter().find(|group| !group.iter().any(|column| columns.contains_key(column)));
        if let Some([column, ..]) = missing {
            let mend = format!("add a column named {column}");
            return Err(self.error(Flaw::new(row_span, format!("no column {column}"), expected, mend)));
        }
        for (meant, stranger, _) in strangers {
            let near = meant.map_or(String::new(), |column| format!("; {column} is there already"));
            let name = self.name;
            self.notes.push(|| {
                format!("{name}, line {line}: the column \"{stranger}\" is not known and was left out{near}")
            });
        }
        let of_names = names.iter().filter_map(|column| columns.get(column)).copied();
        self.names = of_names.chain(self.carried.iter().copied()).collect();
        self.cells = header.len();
        self.headings = header.iter().rposition(|cell| !cell.text.is_empty()).map_or(0, |last| last + 1);
        self.header_end = row_span.end;
        self.columns = columns;
        self.body = body;
        self.order = order;
        Ok(())
    }

    /// Calls `each` with every row that holds anything, up to the first error.
    pub(crate) fn for_each(&self, mut each: impl FnMut(&Row<'_>) -> Result<(), Error>) -> Result<(), Error> {
        let mut body = self.body.clone();
        while let Some(row) = body.next_row(&self.text, self.separator) {
            let (line, cells) = row.map_err(|flaw| self.error(flaw))?;
            self.check_width(&cells).map_err(|flaw| self.error(flaw))?;
            for name in self.names.iter().filter_map(|&index| cells.get(index)) {
                check_name(&name.text, &name.span).map_err(|flaw| self.error(flaw))?;
            }
            each(&Row { sheet: self, line, cells })?;
        }
        Ok(())
    }

    /// Refuses a row with more than its headings hold: a separator in a text has moved every cell behind it, and one of them
    /// may be a warning.
    fn check_width(&self, cells: &[Cell<'_>]) -> Result<(), Flaw> {
        let beyond = cells.iter().skip(self.headings).find(|cell| !cell.text.is_empty());
        let Some(stray) = beyond else { return Ok(()) };
        let (found, headings) = (cells.len(), self.headings);
        let sign = match self.separator {
            ',' => "comma",
            ';' => "semicolon",
            '\t' => "tab",
            _ => "separator",
        };
        Err(Flaw::new(
            stray.span.clone(),
            format!("{found} cells under {headings} headings: \"{}\" has no heading", stray.text),
            "no more cells than headings",
            format!("put a text that holds a {sign} into quotes, or give the column a heading"),
        ))
    }

    fn error(&self, flaw: Flaw) -> Error {
        Error::new(self.kind, self.name, &self.text, flaw)
    }

    /// Finds the order of day and month from all cells of the date columns: the dates that leave one reading decide.
    /// `parts` parts a cell into its dates.
    pub(crate) fn find_date_order(
        &mut self,
        columns: &[&str],
        parts: fn(&str) -> Vec<&str>,
    ) -> Result<(), Error> {
        // What the heading says outranks what the dates show.
        let mut decided = self.order.map(|order| (order, self.body.line.saturating_sub(1)));
        self.for_each(|row| {
            for column in columns {
                let Some(cell) = row.cell(column) else { continue };
                for order in parts(cell).into_iter().filter_map(|part| read_date(part).ok()?.order()) {
                    match decided {
                        None => decided = Some((order, row.line)),
                        Some((earlier, at)) if order != earlier => {
                            let problem = format!("day and month in another order than in line {at}");
                            let mend = "write every date year first, as in 2026-03-31";
                            return Err(row.error(column, problem, "one order in the whole file", mend));
                        }
                        Some(_) => {}
                    }
                }
            }
            Ok(())
        })?;
        self.order = decided.map(|(order, _)| order);
        Ok(())
    }

    /// The table with further rows below, each with its cells by column; what stands there stays as it is. A column that it has
    /// not is added.
    pub(crate) fn extended(self, columns: &[&'static str], rows: &[Vec<String>]) -> String {
        let Self { text, separator, columns: mut places, cells: mut width, header_end, .. } = self;
        if rows.is_empty() {
            return text.into_owned();
        }
        let (header, body) = text.split_at(header_end);
        let mut extended = header.to_owned();
        for column in columns {
            places.entry(column).or_insert_with(|| {
                extended.push(separator);
                extended.push_str(column);
                width += 1;
                width - 1
            });
        }
        extended.push_str(body);
        let line_end = if body.contains("\r\n") { "\r\n" } else { "\n" };
        if !extended.ends_with('\n') {
            extended.push_str(line_end);
        }
        for row in rows {
            let mut cells = vec![String::new(); width];
            for (column, cell) in columns.iter().zip(row) {
                cells[places[column]] = written(cell, separator);
            }
            extended.push_str(&cells.join(separator.encode_utf8(&mut [0; 4])));
            extended.push_str(line_end);
        }
        extended
    }

    /// The text, for errors found later.
    pub(crate) fn into_text(self) -> String {
        self.text.into_owned()
    }
}

/// Refuses a name that is too long to stand in every row.
pub(crate) fn check_name(name: &str, span: &Range<usize>) -> Result<(), Flaw> {
    // No letter has less than a byte.
    if name.len() <= MAX_NAME_LETTERS || name.chars().count() <= MAX_NAME_LETTERS {
        return Ok(());
    }
    Err(Flaw::new(
        span.clone(),
        format!("a name of {} letters", name.chars().count()),
        format!("at most {MAX_NAME_LETTERS}"),
        "write a shorter one",
    ))
}

/// What is said of a squad, journal or other table of so many bytes, which is beyond [`MAX_TABLE_BYTES`].
pub fn too_large(name: &str, bytes: u64) -> Error {
    too_large_of(ErrorKind::TooLarge, name, bytes)
}

fn too_large_of(kind: ErrorKind, name: &str, bytes: u64) -> Error {
    let flaw = Flaw::new(
        0..0,
        format!("a table of {} MiB", bytes >> 20),
        format!("at most {} MiB: a larger one is not read", MAX_TABLE_BYTES >> 20),
        "keep the rows of this squad and season only",
    );
    Error::new(kind, name, "", flaw)
}

impl Row<'_> {
    /// A cell; `None` where the column is absent or the cell is empty.
    pub(crate) fn cell(&self, column: &str) -> Option<&str> {
        let index = *self.sheet.columns.get(column)?;
        self.cells.get(index).map(|cell| cell.text.as_ref()).filter(|cell| !cell.is_empty())
    }

    /// The cells of the columns that were asked for beyond the known ones, in that order.
    pub(crate) fn carried(&self) -> Vec<Option<String>> {
        let cell = |index: &usize| self.cells.get(*index).map(|cell| cell.text.as_ref().to_owned());
        self.sheet.carried.iter().map(|index| cell(index).filter(|cell| !cell.is_empty())).collect()
    }

    /// The bytes of the text in which a cell stands, the first cell's where it is absent.
    pub(crate) fn span(&self, column: &str) -> Range<usize> {
        let cell = self.sheet.columns.get(column).and_then(|index| self.cells.get(*index));
        cell.or(self.cells.first()).map_or(0..0, |cell| cell.span.clone())
    }

    /// An error about one cell.
    pub(crate) fn error(&self, column: &str, problem: String, expected: &str, mend: &str) -> Error {
        self.sheet.error(Flaw::new(self.span(column), problem, expected, mend))
    }

    /// Refuses a text of a cell that is longer than a name.
    pub(crate) fn check_name(&self, column: &str, text: &str) -> Result<(), Error> {
        check_name(text, &self.span(column)).map_err(|flaw| self.sheet.error(flaw))
    }

    /// A yes or no.
    pub(crate) fn flag(&self, column: &str) -> Result<Option<bool>, Error> {
        let Some(cell) = self.cell(column) else { return Ok(None) };
        match cell.to_lowercase().as_str() {
            "yes" | "y" | "true" | "1" | "x" => Ok(Some(true)),
            "no" | "n" | "false" | "0" | "-" => Ok(Some(false)),
            _ => Err(self.error(column, format!("{column} is \"{cell}\""), "yes or no", "write yes or no")),
        }
    }

    /// A number within limits. A decimal comma is read where the comma does not separate the cells.
    pub(crate) fn number(&self, column: &str, limits: (f64, f64)) -> Result<Option<f64>, Error> {
        let Some(cell) = self.cell(column) else { return Ok(None) };
        let (low, high) = limits;
        match cell.replace(',', ".").parse::<f64>() {
            Ok(number) if (low..=high).contains(&number) => Ok(Some(number)),
            _ => {
                let expected = format!("a number from {low} to {high}, or nothing");
                let mend = "write the number without unit, or leave the cell empty";
                Err(self.error(column, format!("{column} is \"{cell}\""), &expected, mend))
            }
        }
    }

    /// A date.
    pub(crate) fn date(&self, column: &str) -> Result<Option<NaiveDate>, Error> {
        self.cell(column).map(|cell| self.date_in(column, cell)).transpose()
    }

    /// A date that stands in a cell, perhaps beside other things.
    pub(crate) fn date_in(&self, column: &str, written: &str) -> Result<NaiveDate, Error> {
        const ISO: &str = "a date, year first, as in 2026-03-31";
        let refuse = |problem: String, mend: &str| Err(self.error(column, problem, ISO, mend));
        let order = self.sheet.order;
        match read_date(written) {
            Ok(date) => match date.resolve(order) {
                Some(date) => Ok(date),
                None if order.is_none() => refuse(
                    format!("\"{written}\" can be read day first or month first"),
                    "write it year first, or say the order once in the heading: date (day first)",
                ),
                None => {
                    refuse(format!("\"{written}\" is no day of the calendar"), "check the day and the month")
                }
            },
            Err(flaw) => {
                let (problem, mend) = flaw.said(written);
                refuse(problem, mend)
            }
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

/// A heading without the order of day and month that it may say, `date (day first)` or `date (dd/mm/yyyy)`, and that order.
fn heading_and_order(cell: &str) -> (String, Option<Order>) {
    let whole = heading(cell);
    const SAID: [(&str, Order); 6] = [
        ("_day_first", Order::DayFirst),
        ("_month_first", Order::MonthFirst),
        ("_dd_mm_yyyy", Order::DayFirst),
        ("_mm_dd_yyyy", Order::MonthFirst),
        ("_d_m_y", Order::DayFirst),
        ("_m_d_y", Order::MonthFirst),
    ];
    let said = SAID.into_iter().find_map(|(end, order)| Some((whole.strip_suffix(end)?.to_owned(), order)));
    said.map_or((whole, None), |(heading, order)| (heading, Some(order)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const COLUMNS: Columns = Columns {
        known: &["athlete", "date", "note", "pain_0_10"],
        required: &[&["athlete"], &["date"]],
        names: &["athlete"],
        signs: &["pain_0_10"],
    };

    fn read(bytes: &[u8]) -> Result<Sheet<'_>, Error> {
        Sheet::read(ErrorKind::Journal, "j.csv", bytes, COLUMNS)
    }

    /// An athlete and a day, as one row has them.
    type Dated = (Option<String>, Option<NaiveDate>);

    fn dates(bytes: &[u8]) -> Result<Vec<Dated>, Error> {
        let mut sheet = read(bytes)?;
        sheet.find_date_order(&["date"], |cell| vec![cell])?;
        let mut dates = Vec::new();
        sheet.for_each(|row| {
            dates.push((row.cell("athlete").map(str::to_owned), row.date("date")?));
            Ok(())
        })?;
        Ok(dates)
    }

    #[test]
    fn spreadsheets_of_every_kind_read_the_same() {
        let utf16: Vec<u8> = std::iter::once(0xFEFF)
            .chain("athlete\tdate\nJosé\t2026-03-02\n".encode_utf16())
            .flat_map(u16::to_le_bytes)
            .collect();
        let texts: [&[u8]; 12] = [
            "athlete,date\nJosé,2026-03-02\n".as_bytes(),
            "\u{feff}Athlete ; Date \r\n José ;2026-03-02\r\n".as_bytes(),
            "ATHLETE\tDATE\nJosé\t2026-03-02".as_bytes(),
            "sep=;\r\n\"athlete\";\"date\"\r\n\"José\";\"2026-03-02\"\r\n;;\r\n".as_bytes(),
            "\n\nathlete,date,\n\nJosé,2026-03-02,,,\n\n".as_bytes(),
            "athlete, date\n\"José\" , \"2026-03-02\"\n".as_bytes(),
            "athlete, date,x\n\"José\" , 2026-03-02,\"a\n\"\"b\"\"\"\n".as_bytes(),
            b"athlete;date\nJos\xe9;2026-03-02\n",
            b"athlete;date\rJos\xe9;2026-03-02\r",
            "sep=;\r\rathlete;date;x\rJosé;2026-03-02;\"a\nb\"".as_bytes(),
            "athlete,date\r\r\nJosé,2026-03-02\r\r\n".as_bytes(),
            &utf16,
        ];
        let expected = (Some("José".to_owned()), NaiveDate::from_ymd_opt(2026, 3, 2));
        for text in texts {
            assert_eq!(dates(text).unwrap(), std::slice::from_ref(&expected));
        }
    }

    #[test]
    fn a_wrong_cell_is_shown_in_its_line_with_a_caret_under_it() {
        let text = "athlete;date;note\n\nAnna;2026-03-02;\"so;\nso\"\nBob; 31.2.26 ;x\n";
        assert_eq!(
            dates(text.as_bytes()).unwrap_err().to_string(),
            "j.csv, line 5, column 6: \"31.2.26\" has no year of four digits\n  \
             |\n5 | 31.2.26\n  | ^^^^^^^\n\
             expected: a date, year first, as in 2026-03-31\nto mend: write the year in full and first"
        );
        // Lines are as many when a carriage return alone ends them.
        let error = dates(text.replace('\n', "\r").as_bytes()).unwrap_err();
        assert_eq!((error.line(), error.column()), (5, 6));
    }

    #[test]
    fn ambiguous_dates_are_refused_and_clear_ones_decide_for_the_file() {
        let ambiguous = dates(b"athlete,date\na,03/04/2026\n").unwrap_err();
        assert!(ambiguous.problem().contains("day first or month first") && ambiguous.line() == 2);
        let decided = dates(b"athlete,date\na,03/04/2026\na,25/04/2026\n").unwrap();
        assert_eq!(decided[0].1, NaiveDate::from_ymd_opt(2026, 4, 3));
        let said = dates(b"athlete,date (month first)\na,03/04/2026\n").unwrap();
        assert_eq!(said[0].1, NaiveDate::from_ymd_opt(2026, 3, 4));
        let against = dates(b"athlete,date (dd/mm/yyyy)\na,03/25/2026\n").unwrap_err();
        assert!(against.problem().contains("another order than in line 1"), "{against}");
        let at_odds = dates(b"athlete,date\na,25/04/2026\na,04/25/2026\n").unwrap_err();
        assert!(at_odds.problem().contains("another order than in line 2") && at_odds.line() == 3);
    }

    #[test]
    fn a_header_that_cannot_serve_says_what_to_do() {
        assert!(read(b"").unwrap_err().problem().contains("empty table"));
        assert!(read(b"athlet,date\n").unwrap_err().mend().starts_with("name it athlete"));
        assert!(read(b"date,shoes\n").unwrap_err().mend().contains("add a column named athlete"));
        assert!(dates(b"athlete,date\na,\"2026").unwrap_err().problem().contains("never closed"));
        assert!(read(b"athlete,date,Date\n").unwrap_err().problem().contains("second time"));
        let sheet = read(b"athlete,date,shoes,note,notes\na,2026-03-02,x,y,z\n").unwrap();
        let notes = sheet.notes.into_sentences("j.csv");
        assert!(notes[0].contains("\"shoes\" is not known") && notes[1].ends_with("note is there already"));
    }

    #[test]
    fn a_heading_near_a_column_that_is_not_there_is_an_error_with_its_name() {
        for heading in ["pain", "Pain score", "pian_0_10", "Schmerzen", "pain level", "knee pain", "pain010"]
        {
            let text = format!("athlete,date,{heading}\na,2026-03-02,3\n");
            let error = read(text.as_bytes()).map(|sheet| sheet.columns).unwrap_err();
            assert!(error.mend().starts_with("name it pain_0_10"), "{heading}: {error}");
            assert_eq!((error.line(), error.column()), (1, 14));
        }
        for (text, there) in [
            ("athlete,date,pain_0_10,pain where\n", "; pain_0_10 is there already"),
            ("athlete,date,weather\n", ""),
            ("athlete,date,2026\n", ""),
            ("athlete,date,danger\n", ""),
        ] {
            let notes = read(text.as_bytes()).unwrap().notes.into_sentences("j.csv");
            assert!(notes[0].ends_with(&format!("is not known and was left out{there}")), "{notes:?}");
        }
    }

    #[test]
    fn what_would_run_as_a_formula_is_marked_and_read_back() {
        for text in ["=x/a.gpx", "'=x/a.gpx", "''-1", "+1", "＝1", "'a", "a=b", "-", "=\"a\";b", "@x, y "] {
            let cell = written(text, ';');
            assert!(!cell.trim_start_matches('"').starts_with(FORMULA_STARTS), "{cell}");
            let table = format!("athlete;date\n{cell};2026-03-02\n");
            assert_eq!(dates(table.as_bytes()).unwrap()[0].0.as_deref(), Some(text.trim()), "{cell}");
        }
    }

    #[test]
    fn a_cell_beyond_the_headings_is_an_error_at_its_place() {
        for (text, problem, mend) in [
            ("athlete,date,note,x\nAnn,2026-03-25,hot day, no,chest\n", "5 cells under 4", "holds a comma"),
            ("athlete;date;x;\nAnn;2026-03-25;;chest\n", "4 cells under 3", "holds a semicolon"),
            ("athlete\tdate\nAnn\t2026-03-25\t\tchest\t\n", "5 cells under 2", "holds a tab"),
        ] {
            let error = dates(text.as_bytes()).unwrap_err();
            assert_eq!(error.problem(), format!("{problem} headings: \"chest\" has no heading"));
            assert!(error.line() == 2 && error.mend().contains(mend), "{error}");
            assert_eq!(error.column(), text.lines().nth(1).unwrap().find("chest").unwrap() + 1);
        }
        assert!(dates(b",athlete,date\n1,Ann,2026-03-25,,\n").is_ok());
    }

    #[test]
    fn a_name_that_is_too_long_for_every_row_is_an_error_at_its_place() {
        let row = |name: &str, note: &str| format!("note,date,athlete\n{note},2026-03-02,{name}\n");
        let longest = "ö".repeat(MAX_NAME_LETTERS);
        assert!(dates(row(&longest, &"n".repeat(9000)).as_bytes()).is_ok());
        let error = dates(row(&(longest + "n"), "x").as_bytes()).unwrap_err();
        assert_eq!((error.line(), error.column(), error.problem()), (2, 14, "a name of 201 letters"));
        let carried = ["arm".to_owned()];
        let text = format!("athlete,date,arm\na,2026-03-02,{}\n", "n".repeat(300));
        let sheet =
            Sheet::read_carrying(ErrorKind::Squad, "s.csv", text.as_bytes(), COLUMNS, &carried).unwrap();
        assert_eq!(sheet.for_each(|_| Ok(())).unwrap_err().problem(), "a name of 300 letters");
        // Of a heading that nobody slipped into, no more than that it is not known.
        assert!(read(format!("athlete,date,{}\n", "pain".repeat(99_999)).as_bytes()).is_ok());
    }

    #[test]
    fn a_table_beyond_the_limit_is_refused_unread() {
        let bytes = vec![b'x'; MAX_TABLE_BYTES as usize + 1];
        assert!(read(&bytes).unwrap_err().problem().contains("a table of 128 MiB"));
    }

    proptest! {
        #[test]
        fn no_bytes_make_the_reader_panic(bytes in proptest::collection::vec(any::<u8>(), 0..80)) {
            let mut all = b"athlete,date\n".to_vec();
            all.extend(bytes);
            let _ = dates(&all);
        }

        // Whatever stands in a cell comes back out of quotes.
        #[test]
        fn a_cell_in_quotes_is_read_as_it_was_written(cell in "[a-z\",;\n ]{0,12}") {
            let text = format!("athlete,date\n\"{}\",2026-03-02\n", cell.replace('"', "\"\""));
            let read = dates(text.as_bytes()).unwrap();
            let expected = Some(cell.trim().to_owned()).filter(|cell| !cell.is_empty());
            prop_assert_eq!(read, vec![(expected, NaiveDate::from_ymd_opt(2026, 3, 2))]);
        }
    }
}

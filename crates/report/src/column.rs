//! What a column is: name, meaning, unit, decimals, source and the type of its cells.

use std::borrow::Cow;
use std::fmt::Write;
use std::sync::Arc;

use boutwise_season::Settings;
use chrono::{DateTime, Datelike, IsoWeek, NaiveDate, NaiveDateTime, SubsecRound, Timelike, Utc};

use crate::digits::{fixed, push_count, push_fixed, push_two, push_whole};

/// The unit of a column; it fixes the decimals.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Unit {
    /// No unit: a word, a text, a number of things or a time.
    None,
    /// Seconds.
    Seconds,
    /// Metres.
    Metres,
    /// Per cent.
    Percent,
    /// Beats per minute.
    BeatsPerMinute,
    /// Steps per minute, both legs.
    StepsPerMinute,
    /// Seconds per kilometre.
    SecondsPerKilometre,
    /// Seconds per week.
    SecondsPerWeek,
    /// Beats per minute, per week.
    BeatsPerMinutePerWeek,
    /// Metres per heartbeat, per week.
    MetresPerBeatPerWeek,
    /// A probability, 0 to 1.
    Probability,
}

impl Unit {
    /// The unit as written in listings; empty for none.
    pub fn symbol(self) -> &'static str {
        match self {
            Self::None => "",
            Self::Seconds => "s",
            Self::Metres => "m",
            Self::Percent => "%",
            Self::BeatsPerMinute => "beats/min",
            Self::StepsPerMinute => "steps/min",
            Self::SecondsPerKilometre => "s/km",
            Self::SecondsPerWeek => "s/week",
            Self::BeatsPerMinutePerWeek => "beats/min/week",
            Self::MetresPerBeatPerWeek => "m/beat/week",
            Self::Probability => "0 to 1",
        }
    }

    /// Digits after the decimal point.
    pub fn decimals(self) -> usize {
        match self {
            Self::None => 0,
            Self::Metres => 2,
            Self::Probability | Self::MetresPerBeatPerWeek => 3,
            _ => 1,
        }
    }

    /// A number as it stands in a table.
    pub fn rounded(self, value: f64) -> f64 {
        fixed(value, self.decimals())
    }
}

/// The type of a column's cells.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Holds {
    /// Text, or a word of a fixed list.
    Text,
    /// A whole number, 0 or more.
    Count,
    /// A whole number, below 0 too.
    Whole,
    /// `true` or `false`.
    Flag,
    /// A number with the decimals of its unit.
    Decimal,
    /// A day, `2024-03-05`.
    Day,
    /// A local time without zone, `2024-03-05T18:30:00`.
    LocalTime,
    /// A moment, `2024-03-05T17:30:00Z`.
    Moment,
}

impl Holds {
    /// The type in one word.
    pub fn word(self) -> &'static str {
        match self {
            Self::Text => "text",
            Self::Count => "count",
            Self::Whole => "whole number",
            Self::Flag => "flag",
            Self::Decimal => "decimal",
            Self::Day => "day",
            Self::LocalTime => "local time",
            Self::Moment => "moment",
        }
    }
}

/// One column of a table.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Column<'n> {
    /// The name in the header line.
    pub name: &'n str,
    /// The type of its cells.
    pub holds: Holds,
    /// Whether a cell may be missing.
    pub optional: bool,
    /// The unit, which fixes the decimals.
    pub unit: Unit,
    /// What the value says.
    pub meaning: &'static str,
    /// Where the value comes from; `{section.key}` stands for a number of the settings ([`Column::source_with`]).
    pub source: &'static str,
    /// Why a cell may be empty; empty where the declaration says nothing of its own.
    pub empty: &'static str,
    /// The only texts that may stand in it; none where any may.
    pub words: &'static [&'static str],
}

impl Column<'_> {
    /// Where the value comes from, with the numbers of these settings.
    pub fn source_with(&self, settings: &Settings) -> Cow<'_, str> {
        if !self.source.contains('{') {
            return self.source.into();
        }
        let mut pieces = self.source.split('{');
        let mut source = pieces.next().unwrap_or_default().to_owned();
        for piece in pieces {
            let (name, after) = piece.split_once('}').unwrap_or((piece, ""));
            match settings.get(name) {
                // Writing into a String cannot fail.
                Some(number) => _ = write!(source, "{number}"),
                None => source.push_str(name),
            }
            source.push_str(after);
        }
        source.into()
    }

    /// When a cell is missing, in words; `None` where none ever is.
    pub fn when_empty(&self) -> Option<&'static str> {
        match (self.optional, self.empty) {
            (false, _) => None,
            (true, "") => Some("not known, or nothing to say"),
            (true, reason) => Some(reason),
        }
    }

    /// Digits after the decimal point; `None` where the cells are no decimals.
    pub fn decimals(&self) -> Option<usize> {
        (self.holds == Holds::Decimal).then(|| self.unit.decimals())
    }
}

/// One value of a row, ready to be put into any format.
#[derive(Clone, Debug, PartialEq)]
pub enum Cell<'a> {
    /// Nothing is known: an empty cell, a null.
    Missing,
    /// Text or word.
    Text(Cow<'a, str>),
    /// A whole number, 0 or more.
    Count(u64),
    /// A whole number, below 0 too.
    Whole(i64),
    /// Yes or no.
    Flag(bool),
    /// A number, rounded when it is written.
    Decimal(f64),
    /// A day.
    Day(NaiveDate),
    /// A local time.
    LocalTime(NaiveDateTime),
    /// A moment.
    Moment(DateTime<Utc>),
}

impl Cell<'_> {
    /// Appends the cell as it stands in a table: rounded to `decimals` digits, times in ISO 8601 with
    /// milliseconds only where they are not 0, nothing for a missing value.
    pub fn write(&self, decimals: usize, out: &mut String) {
        match self {
            Self::Missing => {}
            Self::Text(text) => out.push_str(text),
            Self::Flag(flag) => out.push_str(if *flag { "true" } else { "false" }),
            Self::Moment(time) => {
                push_time(in_milliseconds(*time).naive_utc(), out);
                out.push('Z');
            }
            Self::Count(count) => push_count(*count, out),
            Self::Whole(number) => push_whole(*number, out),
            Self::Decimal(value) => push_fixed(*value, decimals, out),
            Self::Day(day) => push_day(*day, out),
            Self::LocalTime(time) => push_time(in_milliseconds(*time), out),
        }
    }

    /// The cell as it stands in a table; see [`Cell::write`].
    pub fn to_text(&self, decimals: usize) -> String {
        let mut text = match self {
            Self::Missing => String::new(),
            _ => String::with_capacity(16),
        };
        self.write(decimals, &mut text);
        text
    }
}

/// A time as every format writes it.
pub(crate) fn in_milliseconds<T: SubsecRound>(time: T) -> T {
    time.round_subsecs(3)
}

/// Appends a day as ISO 8601 has it.
fn push_day(day: NaiveDate, out: &mut String) {
    match u32::try_from(day.year()) {
        Ok(year) if year < 10_000 => {
            push_two(year / 100, out);
            for part in [year, day.month(), day.day()] {
                push_two(part, out);
                out.push('-');
            }
            out.pop();
        }
        // Writing into a String cannot fail.
        _ => _ = write!(out, "{day}"),
    }
}

/// Appends a day and a time as ISO 8601 has them, with milliseconds where they are not 0.
fn push_time(time: NaiveDateTime, out: &mut String) {
    push_day(time.date(), out);
    // In a leap second the nanoseconds go beyond a second (chrono).
    let (more_s, ns) = (time.nanosecond() / 1_000_000_000, time.nanosecond() % 1_000_000_000);
    let mut before = 'T';
    for part in [time.hour(), time.minute(), time.second() + more_s] {
        out.push(before);
        push_two(part, out);
        before = ':';
    }
    if ns > 0 {
        out.push('.');
        out.push(char::from(b'0' + (ns / 100_000_000) as u8));
        push_two(ns / 1_000_000, out);
    }
}

/// A type that can stand in a column.
pub trait Field {
    /// The type of the column.
    const HOLDS: Holds;
    /// Whether a cell may be missing.
    const OPTIONAL: bool = false;
    /// The only texts that there are; none where there may be any.
    const WORDS: &'static [&'static str] = &[];
    /// The value as a cell.
    fn cell(&self) -> Cell<'_>;
}

impl<T: Field> Field for Option<T> {
    const HOLDS: Holds = T::HOLDS;
    const OPTIONAL: bool = true;
    const WORDS: &'static [&'static str] = T::WORDS;
    fn cell(&self) -> Cell<'_> {
        self.as_ref().map_or(Cell::Missing, Field::cell)
    }
}

impl Field for String {
    const HOLDS: Holds = Holds::Text;
    fn cell(&self) -> Cell<'_> {
        Cell::Text(Cow::Borrowed(self))
    }
}

/// A text that many rows share.
impl Field for Arc<str> {
    const HOLDS: Holds = Holds::Text;
    fn cell(&self) -> Cell<'_> {
        Cell::Text(Cow::Borrowed(self))
    }
}

/// Sentences, joined by `; `; none is a missing cell.
impl Field for Vec<String> {
    const HOLDS: Holds = Holds::Text;
    const OPTIONAL: bool = true;
    fn cell(&self) -> Cell<'_> {
        match self.as_slice() {
            [] => Cell::Missing,
            [text] => Cell::Text(Cow::Borrowed(text)),
            texts => Cell::Text(Cow::Owned(texts.join("; "))),
        }
    }
}

impl Field for u64 {
    const HOLDS: Holds = Holds::Count;
    fn cell(&self) -> Cell<'_> {
        Cell::Count(*self)
    }
}

impl Field for i64 {
    const HOLDS: Holds = Holds::Whole;
    fn cell(&self) -> Cell<'_> {
        Cell::Whole(*self)
    }
}

impl Field for bool {
    const HOLDS: Holds = Holds::Flag;
    fn cell(&self) -> Cell<'_> {
        Cell::Flag(*self)
    }
}

/// A number; one that is not finite is missing.
impl Field for f64 {
    const HOLDS: Holds = Holds::Decimal;
    fn cell(&self) -> Cell<'_> {
        if self.is_finite() { Cell::Decimal(*self) } else { Cell::Missing }
    }
}

impl Field for NaiveDate {
    const HOLDS: Holds = Holds::Day;
    fn cell(&self) -> Cell<'_> {
        Cell::Day(*self)
    }
}

impl Field for NaiveDateTime {
    const HOLDS: Holds = Holds::LocalTime;
    fn cell(&self) -> Cell<'_> {
        Cell::LocalTime(*self)
    }
}

impl Field for DateTime<Utc> {
    const HOLDS: Holds = Holds::Moment;
    fn cell(&self) -> Cell<'_> {
        Cell::Moment(*self)
    }
}

/// A week as ISO 8601 writes it, `2024-W09`.
impl Field for IsoWeek {
    const HOLDS: Holds = Holds::Text;
    fn cell(&self) -> Cell<'_> {
        Cell::Text(Cow::Owned(format!("{:04}-W{:02}", self.year(), self.week())))
    }
}

/// A row of a table whose columns are declared once.
pub trait Row {
    /// The table's name; its file is `NAME.csv`.
    const TABLE: &'static str;
    /// What one row stands for.
    const ABOUT: &'static str;
    /// The columns, in order.
    const COLUMNS: &'static [Column<'static>];
    /// Whether columns of the squad file may be carried behind its own.
    const CARRIES: bool = false;
    /// The columns that together name a row; none where rows have no name.
    const KEY: &'static [&'static str];
    /// Columns that name a row of another table, and that table.
    const REFERS: &'static [(&'static [&'static str], &'static str)];
    /// Hands the cells to `visit`, in the order of the columns.
    fn each_cell(&self, visit: impl FnMut(&'static Column<'static>, Cell<'_>));
    /// The cells behind them that are carried from the squad file.
    fn carried(&self) -> &[Option<String>] {
        &[]
    }
}

/// Declares a row: each column's name, type, unit, meaning and source in one place. The meaning is also the
/// field's documentation.
macro_rules! row {
    (
        $(#[$attribute:meta])*
        $row:ident in $table:literal, $(carries $cells:ty,)? key [$($key:literal),*] $(, refers [$($to:literal),+] to $other:literal)*, $about:literal:
        $($(#[$of_field:meta])* $name:ident: $type:ty, $unit:ident, $meaning:literal, $source:literal $(, empty $empty:literal)?;)+
    ) => {
        #[doc = $about]
        $(#[$attribute])*
        #[derive(serde::Serialize, serde::Deserialize)]
        pub struct $row {
            $(#[doc = $meaning] $(#[$of_field])* pub $name: $type,)+
            $(#[doc = "Cells carried from the squad file"] pub carried: $cells,)?
        }

        impl $crate::column::Row for $row {
            const TABLE: &'static str = $table;
            const ABOUT: &'static str = $about;
            const COLUMNS: &'static [$crate::column::Column<'static>] = &[
                $($crate::column::Column {
                    name: stringify!($name),
                    holds: <$type as $crate::column::Field>::HOLDS,
                    optional: <$type as $crate::column::Field>::OPTIONAL,
                    unit: $crate::column::Unit::$unit,
                    meaning: $meaning,
                    source: $source,
                    empty: concat!($($empty)?),
                    words: <$type as $crate::column::Field>::WORDS,
                },)+
            ];
            const CARRIES: bool = !stringify!($($cells)?).is_empty();
            const KEY: &'static [&'static str] = &[$($key),*];
            const REFERS: &'static [(&'static [&'static str], &'static str)] = &[$((&[$($to),+], $other)),*];

            fn carried(&self) -> &[Option<String>] {
                let own: &[&$crate::carried::CarriedCells] = &[$({ let cells: &$cells = &self.carried; cells })?];
                match own.first() {
                    Some(cells) => cells,
                    None => &[],
                }
            }

            fn each_cell(&self, mut visit: impl FnMut(&'static $crate::column::Column<'static>, $crate::column::Cell<'_>)) {
                let mut columns = Self::COLUMNS.iter();
                $(if let Some(column) = columns.next() {
                    visit(column, $crate::column::Field::cell(&self.$name));
                })+
            }
        }
    };
}
pub(crate) use row;

#[cfg(test)]
mod tests {
    use super::*;

    /// What the library of times writes.
    #[test]
    fn days_and_times_are_written_as_ever() {
        let text = |cell: Cell<'_>| cell.to_text(0);
        for instant in [
            "2024-02-29T00:00:00Z",
            "0999-12-31T23:59:59.999Z",
            "2026-03-02T06:07:08.090Z",
            "2026-03-02T06:07:08.0004Z",
            "2016-12-31T23:59:60Z",
            "2016-12-31T23:59:60.250Z",
            "-0044-03-15T12:00:00Z",
            "+12345-01-02T03:04:05Z",
        ] {
            let time: DateTime<Utc> = instant.parse().unwrap();
            let rounded = time.round_subsecs(3);
            let local = rounded.naive_utc();
            let written = rounded.to_rfc3339_opts(chrono::SecondsFormat::AutoSi, true);
            assert_eq!(text(Cell::Moment(time)), written);
            assert_eq!(text(Cell::Day(local.date())), local.date().to_string());
            assert_eq!(text(Cell::LocalTime(time.naive_utc())), written.trim_end_matches('Z'));
        }
    }

    #[test]
    fn a_number_that_rounds_to_nothing_has_no_minus() {
        assert_eq!(Cell::Decimal(-0.04).to_text(1), "0.0");
        assert_eq!(Cell::Decimal(-0.0).to_text(2), "0.00");
        assert_eq!(Cell::Decimal(-0.05001).to_text(1), "-0.1");
        assert_eq!(Cell::Decimal(-10.0).to_text(1), "-10.0");
    }

    #[test]
    fn missing_differs_from_nought() {
        assert_eq!(None::<f64>.cell().to_text(1), "");
        assert_eq!(Some(0.0).cell().to_text(1), "0.0");
        assert_eq!(f64::NAN.cell(), Cell::Missing);
        assert_eq!(Some(f64::INFINITY).cell(), Cell::Missing);
    }

    #[test]
    fn times_are_iso_8601_with_milliseconds_only_where_needed() {
        let moment = |text: &str| text.parse::<DateTime<Utc>>().expect("a valid time").cell().to_text(0);
        assert_eq!(moment("2024-03-05T17:30:00Z"), "2024-03-05T17:30:00Z");
        assert_eq!(moment("2024-03-05T17:30:00.2500001Z"), "2024-03-05T17:30:00.250Z");
        assert_eq!(moment("2024-03-05T17:30:00.9999999Z"), "2024-03-05T17:30:01Z");
        let local: NaiveDateTime = "2024-03-05T18:30:00.5".parse().expect("a valid time");
        assert_eq!(local.cell().to_text(0), "2024-03-05T18:30:00.500");
    }

    /// ISO 8601: the week with the year's first Thursday is week 1, so 2021-01-03 lies in 2020-W53.
    #[test]
    fn weeks_are_iso_weeks() {
        use chrono::Datelike;
        let day = NaiveDate::from_ymd_opt(2021, 1, 3).expect("a valid day");
        assert_eq!(day.iso_week().cell().to_text(0), "2020-W53");
    }
}

//! Dates as people write them. Year first is always read; any other order only where the file leaves one reading.

use chrono::NaiveDate;

use crate::Error;
use crate::error::{ErrorKind, Flaw};

const MONTHS: [&str; 12] =
    ["jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec"];

/// Reads one day that was typed by itself, best as 2026-03-31.
///
/// # Errors
///
/// An [`Error`] that says what to write; for a date that may be read day first or month first, both readings.
///
/// ```
/// use boutwise_season::parse_day;
/// assert_eq!(parse_day("31 Mar 2026").unwrap().to_string(), "2026-03-31");
/// assert!(parse_day("12/04/2026").unwrap_err().to_string().ends_with("to mend: write 2026-04-12 or 2026-12-04"));
/// ```
pub fn parse_day(text: &str) -> Result<NaiveDate, Error> {
    let refuse = |problem: String, mend: String| {
        let flaw = Flaw::new(0..text.len(), problem, "a date, year first, as in 2026-03-31", mend);
        Err(Error::new(ErrorKind::Date, "", text, flaw))
    };
    match read_date(text) {
        Ok(written) => match written.resolve(written.order()) {
            Some(day) => Ok(day),
            None => {
                let readings = [Order::DayFirst, Order::MonthFirst].map(|order| written.resolve(Some(order)));
                let readings: Vec<String> =
                    readings.into_iter().flatten().map(|day| day.to_string()).collect();
                refuse(
                    format!("\"{text}\" can be read day first or month first"),
                    format!("write {}", readings.join(" or ")),
                )
            }
        },
        Err(flaw) => {
            let (problem, mend) = flaw.said(text.trim());
            refuse(problem, mend.to_owned())
        }
    }
}

/// What a date cell says before the order of day and month is known.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Written {
    /// One reading only.
    Clear(NaiveDate),
    /// Two numbers before a year: day and month in an order still to be found.
    Open {
        /// The first number.
        first: u32,
        /// The second number.
        second: u32,
        /// The year.
        year: i32,
    },
}

/// The order of day and month in the dates of one file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Order {
    DayFirst,
    MonthFirst,
}

/// Why a date cell can't be read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Unreadable {
    /// A year of two digits.
    ShortYear,
    /// A bare number, as spreadsheets store dates.
    Serial,
    /// A day that the calendar does not have.
    NoSuchDay,
    /// Anything else.
    NoDate,
}

impl Unreadable {
    /// What is wrong and how to mend it, in words.
    pub(crate) fn said(self, written: &str) -> (String, &'static str) {
        match self {
            Self::NoSuchDay => {
                (format!("\"{written}\" is no day of the calendar"), "check the day and the month")
            }
            Self::ShortYear => {
                (format!("\"{written}\" has no year of four digits"), "write the year in full and first")
            }
            Self::Serial => (
                format!("\"{written}\" is a bare number"),
                "format the column as a date in the spreadsheet and save it again",
            ),
            Self::NoDate => (format!("\"{written}\" is no date"), "write it as 2026-03-31"),
        }
    }
}

/// Reads one cell. A time of day after the date is left out.
pub(crate) fn read_date(cell: &str) -> Result<Written, Unreadable> {
    let cell = cell.trim();
    let has_separator = |day: &str| day.contains(['-', '/', '.']);
    let is_time = |time: &str| time.starts_with(|c: char| c.is_ascii_digit()) && cell.contains(':');
    let day_part = match cell.split_once(['T', ' ']) {
        Some((day, time)) if has_separator(day) && is_time(time) => day,
        _ => cell,
    };
    let fields: Vec<&str> =
        day_part.split(|c: char| !c.is_alphanumeric()).filter(|f| !f.is_empty()).collect();
    let [a, b, c] = fields[..] else {
        let serial =
            matches!(fields[..], [only] if only.len() == 5 && only.bytes().all(|b| b.is_ascii_digit()));
        return Err(if serial { Unreadable::Serial } else { Unreadable::NoDate });
    };
    let exists = |year: i32, month: u32, day: u32| {
        NaiveDate::from_ymd_opt(year, month, day).map(Written::Clear).ok_or(Unreadable::NoSuchDay)
    };
    if let Some(year) = year(a) {
        let month = number(b).or_else(|| month(b)).ok_or(Unreadable::NoDate)?;
        return exists(year, month, number(c).ok_or(Unreadable::NoDate)?);
    }
    let Some(year) = year(c) else {
        let numbers = [a, b, c].iter().all(|field| number(field).is_some() || month(field).is_some());
        return Err(if numbers { Unreadable::ShortYear } else { Unreadable::NoDate });
    };
    match (number(a), number(b), month(a), month(b)) {
        (Some(day), _, _, Some(month)) | (_, Some(day), Some(month), _) => exists(year, month, day),
        (Some(first), Some(second), ..) => {
            if first == second {
                exists(year, first, second)
            } else if first > 12 && second > 12 {
                Err(Unreadable::NoSuchDay)
            } else {
                Ok(Written::Open { first, second, year })
            }
        }
        _ => Err(Unreadable::NoDate),
    }
}

impl Written {
    /// The order that this date shows, where one of the two numbers can't be a month.
    pub(crate) fn order(self) -> Option<Order> {
        match self {
            Self::Open { first, .. } if first > 12 => Some(Order::DayFirst),
            Self::Open { second, .. } if second > 12 => Some(Order::MonthFirst),
            _ => None,
        }
    }

    /// The date, once the order is known; `None` if there is no such day or no order.
    pub(crate) fn resolve(self, order: Option<Order>) -> Option<NaiveDate> {
        match (self, order) {
            (Self::Clear(date), _) => Some(date),
            (Self::Open { first, second, year }, Some(Order::DayFirst)) => {
                NaiveDate::from_ymd_opt(year, second, first)
            }
            (Self::Open { first, second, year }, Some(Order::MonthFirst)) => {
                NaiveDate::from_ymd_opt(year, first, second)
            }
            (Self::Open { .. }, None) => None,
        }
    }
}

fn year(field: &str) -> Option<i32> {
    (field.len() == 4 && field.bytes().all(|b| b.is_ascii_digit())).then(|| field.parse().ok()).flatten()
}

fn number(field: &str) -> Option<u32> {
    (field.len() <= 2 && field.bytes().all(|b| b.is_ascii_digit())).then(|| field.parse().ok()).flatten()
}

fn month(field: &str) -> Option<u32> {
    let name = field.to_lowercase();
    let at = MONTHS.iter().position(|month| name.starts_with(month))?;
    u32::try_from(at + 1).ok()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn clear(year: i32, month: u32, day: u32) -> Result<Written, Unreadable> {
        Ok(Written::Clear(NaiveDate::from_ymd_opt(year, month, day).unwrap()))
    }

    #[test]
    fn year_first_and_named_months_have_one_reading() {
        for text in [
            "2026-03-02",
            " 2026/03/02 ",
            "2026.3.2",
            "2 Mar 2026",
            "March 2, 2026",
            "02-mar-2026",
            "2026-03-02T18:05:00",
            "2026-03-02 00:00:00",
        ] {
            assert_eq!(read_date(text), clear(2026, 3, 2), "{text}");
        }
        assert_eq!(read_date("05/05/2026"), clear(2026, 5, 5));
    }

    #[test]
    fn the_order_shows_only_where_one_number_is_no_month() {
        assert_eq!(read_date("25.03.2026").unwrap().order(), Some(Order::DayFirst));
        assert_eq!(read_date("3/25/2026").unwrap().order(), Some(Order::MonthFirst));
        let open = read_date("03/04/2026").unwrap();
        assert_eq!((open.order(), open.resolve(None)), (None, None));
        assert_eq!(open.resolve(Some(Order::DayFirst)), NaiveDate::from_ymd_opt(2026, 4, 3));
    }

    #[test]
    fn twelve_may_be_a_month_on_either_side_and_other_lengths_are_no_date() {
        for text in ["12/11/2026", "11/12/2026"] {
            assert_eq!(read_date(text).unwrap().order(), None, "{text}");
        }
        for text in ["202-03-02", "20260-03-02", "2026-003-02", "2026-03-02 evening"] {
            assert!(read_date(text).is_err(), "{text}");
        }
    }

    #[test]
    fn what_is_no_date_is_refused_with_its_cause() {
        assert_eq!(read_date("2026-02-30"), Err(Unreadable::NoSuchDay));
        assert_eq!(read_date("03.04.26"), Err(Unreadable::ShortYear));
        assert_eq!(read_date("46083"), Err(Unreadable::Serial));
        assert_eq!(read_date("25/26/2026"), Err(Unreadable::NoSuchDay));
        for text in ["", "soon", "2026", "2026-03", "a/b/2026", "1/2/3/2026"] {
            assert_eq!(read_date(text), Err(Unreadable::NoDate), "{text}");
        }
    }

    proptest! {
        #[test]
        fn no_cell_makes_the_reader_panic(cell in "\\PC{0,20}") {
            let _ = read_date(&cell);
        }
    }
}

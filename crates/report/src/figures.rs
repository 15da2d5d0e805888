//! Figures as people read them: 8:00, 6:40 /km, 87 %, Tue 5 Mar.

use chrono::{Datelike, NaiveDate, NaiveDateTime, Timelike};

use crate::column::{Cell, Unit};
use crate::digits::{fixed, push_count, push_fixed, push_two};

/// Metres in an international mile (international yard and pound agreement, 1959).
const MILE_M: f64 = 1609.344;

/// Space that does not break and has no digit's width (U+202F), between a number and its unit.
const THIN: char = '\u{202f}';

/// Room for most figures as people read them.
const TEXT_BYTES: usize = 16;

/// The distance that a pace is given for.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum PaceUnit {
    /// Minutes and seconds per kilometre.
    #[default]
    Kilometre,
    /// Minutes and seconds per mile.
    Mile,
}

impl PaceUnit {
    /// `/km` or `/mi`.
    pub fn suffix(self) -> &'static str {
        match self {
            Self::Kilometre => "/km",
            Self::Mile => "/mi",
        }
    }

    /// `kilometre` or `mile`.
    pub fn word(self) -> &'static str {
        match self {
            Self::Kilometre => "kilometre",
            Self::Mile => "mile",
        }
    }

    /// Metres of the distance.
    pub(crate) fn metres(self) -> f64 {
        match self {
            Self::Kilometre => 1000.0,
            Self::Mile => MILE_M,
        }
    }
}

/// Block and number of a planned session, apart, since a label may end in a digit: `Week 6, 3`.
pub fn place_in_plan(block: &str, session: u64) -> String {
    format!("{block}, {session}")
}

/// A figure of a table as it stands in a page: the table's own text for machines, a reading for people. Both are put together
/// where they are written, so that a page of thousands holds none of them for itself.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Figure {
    /// Nothing is known.
    Missing,
    Number(f64, Reading),
    Count(u64),
    Day(NaiveDate),
}

/// What a number is read as.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Reading {
    Duration,
    Distance,
    Percent,
    SignedPercent,
    Pace(PaceUnit),
    Rate,
    Trend,
}

impl Reading {
    fn unit(self) -> Unit {
        match self {
            Self::Duration => Unit::Seconds,
            Self::Distance => Unit::Metres,
            Self::Percent | Self::SignedPercent => Unit::Percent,
            Self::Pace(_) => Unit::SecondsPerKilometre,
            Self::Rate => Unit::BeatsPerMinute,
            Self::Trend => Unit::SecondsPerWeek,
        }
    }
}

impl Figure {
    fn number(number: Option<f64>, reading: Reading) -> Self {
        match number.filter(|number| number.is_finite()) {
            Some(number) => Self::Number(number, reading),
            None => Self::Missing,
        }
    }

    pub(crate) fn duration(seconds: Option<f64>) -> Self {
        Self::number(seconds, Reading::Duration)
    }

    pub(crate) fn distance(metres: Option<f64>) -> Self {
        Self::number(metres, Reading::Distance)
    }

    pub(crate) fn percent(percent: Option<f64>) -> Self {
        Self::number(percent, Reading::Percent)
    }

    pub(crate) fn signed_percent(percent: Option<f64>) -> Self {
        Self::number(percent, Reading::SignedPercent)
    }

    pub(crate) fn pace(s_per_km: Option<f64>, unit: PaceUnit) -> Self {
        Self::number(s_per_km, Reading::Pace(unit))
    }

    pub(crate) fn rate(per_minute: Option<f64>) -> Self {
        Self::number(per_minute, Reading::Rate)
    }

    pub(crate) fn trend(seconds_per_week: Option<f64>) -> Self {
        Self::number(seconds_per_week, Reading::Trend)
    }

    pub(crate) fn count(count: Option<u64>) -> Self {
        count.map_or(Self::Missing, Self::Count)
    }

    pub(crate) fn day(day: Option<NaiveDate>) -> Self {
        day.map_or(Self::Missing, Self::Day)
    }

    pub(crate) fn is_missing(&self) -> bool {
        *self == Self::Missing
    }

    /// Appends the cell of the CSV table; nothing where missing.
    pub(crate) fn push_value(self, out: &mut String) {
        match self {
            Self::Missing => {}
            Self::Number(number, reading) => push_fixed(number, reading.unit().decimals(), out),
            Self::Count(count) => push_count(count, out),
            Self::Day(day) => Cell::Day(day).write(0, out),
        }
    }

    /// Appends what people read. It rounds as the table does before, so that page and table never disagree.
    pub(crate) fn push_text(self, out: &mut String) {
        let (number, reading) = match self {
            Self::Missing => return out.push('–'),
            Self::Count(count) => return push_count(count, out),
            Self::Day(day) => return out.push_str(&short_day(day)),
            Self::Number(number, reading) => (fixed(number, reading.unit().decimals()), reading),
        };
        match reading {
            Reading::Duration => push_duration(number, out),
            Reading::Distance => push_distance(number, out),
            Reading::Percent => push_with_unit(number, 0, "%", out),
            Reading::SignedPercent => {
                out.push_str(&signed(number, 1));
                out.push(THIN);
                out.push('%');
            }
            Reading::Pace(unit) => push_pace(number, unit, out),
            Reading::Rate => push_fixed(number, 0, out),
            Reading::Trend => {
                out.push_str(&signed_duration(number));
                out.push_str(" a week");
            }
        }
    }

    /// What people read.
    pub(crate) fn text(self) -> String {
        text_of(|out| self.push_text(out))
    }
}

fn text_of(push: impl FnOnce(&mut String)) -> String {
    let mut text = String::with_capacity(TEXT_BYTES);
    push(&mut text);
    text
}

/// `m:ss`, from an hour on `h:mm:ss`.
pub fn duration(seconds: f64) -> String {
    text_of(|out| push_duration(seconds, out))
}

fn push_duration(seconds: f64, out: &mut String) {
    let total = seconds.abs().round() as u64;
    if seconds < 0.0 && total > 0 {
        out.push('−');
    }
    let (hours, minutes, seconds) = (total / 3600, (total / 60 % 60) as u32, (total % 60) as u32);
    if hours > 0 {
        push_count(hours, out);
        out.push(':');
        push_two(minutes, out);
    } else {
        push_count(minutes.into(), out);
    }
    out.push(':');
    push_two(seconds, out);
}

/// A number, and its unit behind a thin space.
fn push_with_unit(value: f64, decimals: usize, unit: &str, out: &mut String) {
    push_fixed(value, decimals, out);
    out.push(THIN);
    out.push_str(unit);
}

/// As [`duration`], with a plus where it is more than nothing.
pub(crate) fn signed_duration(seconds: f64) -> String {
    text_of(|out| {
        if seconds.round() > 0.0 {
            out.push('+');
        }
        push_duration(seconds, out);
    })
}

/// A number with its sign; nought has none.
fn signed(value: f64, decimals: usize) -> String {
    let text = format!("{:.decimals$}", value.abs());
    match text.parse::<f64>() {
        Ok(rounded) if rounded > 0.0 => format!("{}{text}", if value < 0.0 { '−' } else { '+' }),
        _ => text,
    }
}

pub(crate) fn percent_text(percent: f64) -> String {
    text_of(|out| push_with_unit(percent, 0, "%", out))
}

/// Metres below a kilometre, then kilometres with two digits.
pub fn distance(metres: f64) -> String {
    text_of(|out| push_distance(metres, out))
}

fn push_distance(metres: f64, out: &mut String) {
    if metres.abs() < 999.5 {
        push_with_unit(metres, 0, "m", out);
    } else {
        push_with_unit(metres / 1000.0, 2, "km", out);
    }
}

/// `6:40 /km`.
pub fn pace(s_per_km: f64, unit: PaceUnit) -> String {
    text_of(|out| push_pace(s_per_km, unit, out))
}

fn push_pace(s_per_km: f64, unit: PaceUnit, out: &mut String) {
    push_duration(s_per_km * unit.metres() / 1000.0, out);
    out.push(THIN);
    out.push_str(unit.suffix());
}

/// A sentence of the tables with its days as pages write them: `2024-03-05`, with its weekday or without, as `Tue 5 Mar`.
pub(crate) fn days_in_words(sentence: &str) -> String {
    const DAY_BYTES: usize = "2024-03-05".len();
    let is_part = |c: char| c.is_alphanumeric() || matches!(c, '-' | '_' | '/' | '.');
    let mut said = String::with_capacity(sentence.len());
    let mut rest = sentence;
    while let Some(first) = rest.chars().next() {
        let may_be_day = rest.get(..DAY_BYTES).filter(|_| first.is_ascii_digit());
        let day = may_be_day.and_then(|text| NaiveDate::parse_from_str(text, "%Y-%m-%d").ok());
        // Within a name, of a file say, it stays.
        let follows = rest.get(DAY_BYTES..).and_then(|after| after.chars().next());
        let stands_alone = !said.ends_with(is_part) && !follows.is_some_and(|c| is_part(c) && c != '.');
        match day.filter(|_| stands_alone) {
            Some(day) => {
                let weekday = day.format("%A ").to_string();
                said.truncate(said.strip_suffix(weekday.as_str()).unwrap_or(&said).len());
                said.push_str(&short_day(day));
                rest = &rest[DAY_BYTES..];
            }
            None => {
                said.push(first);
                rest = &rest[first.len_utf8()..];
            }
        }
    }
    said
}

/// `Tue 5 Mar`.
pub fn short_day(day: NaiveDate) -> String {
    const WEEKDAYS: [&str; 7] = ["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"];
    let mut text = String::with_capacity(TEXT_BYTES);
    text.push_str(WEEKDAYS[day.weekday().num_days_from_monday() as usize]);
    text.push(' ');
    push_day_and_month(day, &mut text);
    text
}

/// `5 Mar`.
pub(crate) fn day_and_month(day: NaiveDate) -> String {
    let mut text = String::with_capacity(TEXT_BYTES);
    push_day_and_month(day, &mut text);
    text
}

fn push_day_and_month(day: NaiveDate, out: &mut String) {
    const MONTHS: [&str; 12] =
        ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"];
    push_count(day.day().into(), out);
    out.push(' ');
    out.push_str(MONTHS[day.month0() as usize]);
}

/// `Tue 5 Mar 2024`.
pub(crate) fn full_day(day: NaiveDate) -> String {
    format!("{} {}", short_day(day), day.year())
}

/// `Tue 5 Mar, 18:30`.
pub(crate) fn day_and_time(time: NaiveDateTime) -> String {
    let mut text = short_day(time.date());
    text.push_str(", ");
    push_two(time.hour(), &mut text);
    text.push(':');
    push_two(time.minute(), &mut text);
    text
}

/// How many of the recorded sessions count, where not all do: ` (8 of them counted)`; the others are later than the day judged
/// from, of a clock that cannot be believed, or of a time that another recording has too.
pub fn of_them_counted(recorded: usize, counting: usize) -> String {
    if counting == recorded { String::new() } else { format!(" ({counting} of them counted)") }
}

/// One of them, or so many of the others: `1 session`, `2 sessions`.
pub(crate) fn counted(count: usize, one: &str, more: &str) -> String {
    format!("{count} {}", if count == 1 { one } else { more })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn days_in_sentences_are_written_as_elsewhere_on_the_page_and_names_stay() {
        for (sentence, said) in [
            (
                "next: C, 2 on Thursday 2026-03-26; by its own days",
                "next: C, 2 on Thu 26 Mar; by its own days",
            ),
            ("done on 2026-04-26: 5.2 km", "done on Sun 26 Apr: 5.2 km"),
            ("walked in place of run on 2026-04-26.", "walked in place of run on Sun 26 Apr."),
            ("2026-04-26-1.gpx and x/2026-04-26 stay", "2026-04-26-1.gpx and x/2026-04-26 stay"),
            ("Läuft 2026-13-40", "Läuft 2026-13-40"),
        ] {
            assert_eq!(days_in_words(sentence), said);
        }
    }

    /// What the library of times writes.
    #[test]
    fn days_are_written_as_ever() {
        let first = NaiveDate::from_ymd_opt(2024, 1, 1).unwrap();
        for day in first.iter_days().take(400) {
            assert_eq!(full_day(day), day.format("%a %-d %b %Y").to_string());
            let time = day.and_hms_opt(day.day() % 24, day.month(), 0).unwrap();
            assert_eq!(day_and_time(time), time.format("%a %-d %b, %H:%M").to_string());
        }
    }

    #[test]
    fn durations_carry_into_minutes_and_hours() {
        assert_eq!(duration(0.0), "0:00");
        assert_eq!(duration(59.6), "1:00");
        assert_eq!(duration(3599.6), "1:00:00");
        assert_eq!(signed_duration(-12.0), "−0:12");
        assert_eq!(signed_duration(-0.2), "0:00");
        assert_eq!(signed_duration(75.0), "+1:15");
    }

    /// 6:40 per km is 10:44 per mile: 400 s × 1.609344 = 643.7 s.
    #[test]
    fn a_pace_per_mile_is_longer() {
        assert_eq!(pace(400.0, PaceUnit::Kilometre), "6:40\u{202f}/km");
        assert_eq!(pace(400.0, PaceUnit::Mile), "10:44\u{202f}/mi");
    }

    #[test]
    fn the_reading_rounds_what_the_table_rounded() {
        let both = |figure: Figure| (text_of(|out| figure.push_value(out)), figure.text());
        assert_eq!(both(Figure::percent(Some(89.4501))), ("89.5".into(), "90\u{202f}%".into()));
        assert_eq!(both(Figure::duration(None)), (String::new(), "–".into()));
        assert_eq!(both(Figure::signed_percent(Some(-0.04))), ("0.0".into(), "0.0\u{202f}%".into()));
        let day = NaiveDate::from_ymd_opt(2024, 3, 5);
        assert_eq!(both(Figure::day(day)), ("2024-03-05".into(), "Tue 5 Mar".into()));
    }
}

//! Figures as people read them: 8:00, 6:40 /km, 87 %, Tue 5 Mar.

use chrono::{Datelike, NaiveDate, NaiveDateTime, Timelike};

use crate::column::{Field, Unit};
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

/// A figure of a table as it stands in a page: the table's own text for machines, a reading for people.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct Figure {
    /// The cell of the CSV table; empty where missing.
    pub(crate) value: String,
    /// What people read.
    pub(crate) text: String,
}

impl Figure {
    /// Rounds as the table does before `read` puts it into words, so that page and table never disagree.
    fn new(number: Option<f64>, unit: Unit, read: impl FnOnce(f64) -> String) -> Self {
        let number = number.filter(|number| number.is_finite());
        let value = number.cell().to_text(unit.decimals());
        let text = number.map_or_else(|| "–".into(), |number| read(fixed(number, unit.decimals())));
        Self { value, text }
    }

    pub(crate) fn duration(seconds: Option<f64>) -> Self {
        Self::new(seconds, Unit::Seconds, duration)
    }

    pub(crate) fn distance(metres: Option<f64>) -> Self {
        Self::new(metres, Unit::Metres, distance)
    }

    pub(crate) fn percent(percent: Option<f64>) -> Self {
        Self::new(percent, Unit::Percent, percent_text)
    }

    pub(crate) fn signed_percent(percent: Option<f64>) -> Self {
        Self::new(percent, Unit::Percent, |value| format!("{}{THIN}%", signed(value, 1)))
    }

    pub(crate) fn pace(s_per_km: Option<f64>, unit: PaceUnit) -> Self {
        Self::new(s_per_km, Unit::SecondsPerKilometre, |value| pace(value, unit))
    }

    pub(crate) fn rate(per_minute: Option<f64>) -> Self {
        Self::new(per_minute, Unit::BeatsPerMinute, |value| with_unit(value, 0, ""))
    }

    pub(crate) fn trend(seconds_per_week: Option<f64>) -> Self {
        Self::new(seconds_per_week, Unit::SecondsPerWeek, |value| {
            format!("{} a week", signed_duration(value))
        })
    }

    pub(crate) fn count(count: Option<u64>) -> Self {
        let value = count.cell().to_text(0);
        Self { text: if value.is_empty() { "–".into() } else { value.clone() }, value }
    }

    pub(crate) fn is_missing(&self) -> bool {
        self.value.is_empty()
    }
}

/// `m:ss`, from an hour on `h:mm:ss`.
pub fn duration(seconds: f64) -> String {
    let total = seconds.abs().round() as u64;
    let sign = if seconds < 0.0 && total > 0 { "−" } else { "" };
    let (hours, minutes, seconds) = (total / 3600, (total / 60 % 60) as u32, (total % 60) as u32);
    let mut text = String::with_capacity(TEXT_BYTES);
    text.push_str(sign);
    if hours > 0 {
        push_count(hours, &mut text);
        text.push(':');
        push_two(minutes, &mut text);
    } else {
        push_count(minutes.into(), &mut text);
    }
    text.push(':');
    push_two(seconds, &mut text);
    text
}

/// A number, and its unit behind a thin space.
fn with_unit(value: f64, decimals: usize, unit: &str) -> String {
    let mut text = String::with_capacity(TEXT_BYTES);
    push_fixed(value, decimals, &mut text);
    if !unit.is_empty() {
        text.push(THIN);
        text.push_str(unit);
    }
    text
}

/// As [`duration`], with a plus where it is more than nothing.
pub(crate) fn signed_duration(seconds: f64) -> String {
    let text = duration(seconds);
    if seconds.round() > 0.0 { format!("+{text}") } else { text }
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
    with_unit(percent, 0, "%")
}

/// Metres below a kilometre, then kilometres with two digits.
pub fn distance(metres: f64) -> String {
    if metres.abs() < 999.5 { with_unit(metres, 0, "m") } else { with_unit(metres / 1000.0, 2, "km") }
}

/// `6:40 /km`.
pub fn pace(s_per_km: f64, unit: PaceUnit) -> String {
    format!("{}{THIN}{}", duration(s_per_km * unit.metres() / 1000.0), unit.suffix())
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
        let figure = Figure::percent(Some(89.4501));
        assert_eq!((figure.value.as_str(), figure.text.as_str()), ("89.5", "90\u{202f}%"));
        let missing = Figure::duration(None);
        assert_eq!((missing.value.as_str(), missing.text.as_str()), ("", "–"));
        assert_eq!(Figure::signed_percent(Some(-0.04)).text, "0.0\u{202f}%");
    }
}

//! Instants as recordings write them: RFC 3339, XSD dateTime and their usual deviations.

use std::ops::{Range, RangeInclusive};

use memchr::memchr;

use crate::lex::MAX_VALUE_BYTES;
use crate::number::{self, Digits};
use crate::words::{self, EACH};

/// Nanoseconds in a second.
pub(crate) const NS_PER_S: i64 = 1_000_000_000;

const S_PER_DAY: i64 = 86_400;

/// Largest offset from UTC: 14 hours (XSD dateTime 3.2.7).
const MAX_OFFSET_S: i32 = 14 * 3600;

/// Years whose every instant a count of nanoseconds in an `i64` reaches.
const YEARS: std::ops::RangeInclusive<i64> = 1678..=2261;

/// A moment as written: the clock reading and the zone beside it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Timestamp {
    /// The clock reading as if it were UTC, in nanoseconds since 1970.
    pub(crate) clock_ns: i64,
    /// Seconds that the clock is ahead of UTC; `None` where no zone is written.
    pub(crate) offset_s: Option<i32>,
    /// Whether the second is 60.
    pub(crate) leap_second: bool,
}

impl Timestamp {
    /// Seconds that the clock of the place is ahead of UTC, where the zone tells it: `Z` says nothing of the place, nor does an
    /// offset of zero, in which programs write UTC (RFC 3339, section 4.3, of `-00:00`).
    #[inline]
    pub(crate) fn local_offset_s(&self) -> Option<i32> {
        self.offset_s.filter(|offset_s| *offset_s != 0)
    }
}

/// Reads a date and time; `None` where it is none, impossible, or outside the years 1678 to 2261.
#[inline]
pub(crate) fn parse(text: &[u8]) -> Option<Timestamp> {
    let text = crate::number::trim(text);
    let (head, tail) = text.split_first_chunk()?;
    let [y1, y2, y3, y4, b'-', m1, m2, b'-', d1, d2, b'T' | b't' | b' ', h1, h2, b':', n1, n2, b':', s1, s2] =
        *head
    else {
        return None;
    };
    let two = |tens: u8, ones: u8| -> Option<i64> {
        let (tens, ones) = (tens.wrapping_sub(b'0'), ones.wrapping_sub(b'0'));
        (tens < 10 && ones < 10).then(|| i64::from(tens) * 10 + i64::from(ones))
    };
    let year = two(y1, y2)? * 100 + two(y3, y4)?;
    let (month, day) = (two(m1, m2)?, two(d1, d2)?);
    let (hour, minute, second) = (two(h1, h2)?, two(n1, n2)?, two(s1, s2)?);
    if !YEARS.contains(&year) || !(1..=12).contains(&month) || day < 1 || day > days_in_month(year, month) {
        return None;
    }
    let (fraction_ns, zone) = fraction(tail)?;
    let end_of_day = hour == 24 && minute == 0 && second == 0 && fraction_ns == 0;
    if minute > 59 || second > 60 || (hour > 23 && !end_of_day) {
        return None;
    }
    let offset_s = offset(zone)?;
    let seconds = days_since_1970(year, month, day) * S_PER_DAY + hour * 3600 + minute * 60 + second;
    Some(Timestamp { clock_ns: seconds * NS_PER_S + fraction_ns, offset_s, leap_second: second == 60 })
}

/// Reads times as nearly all files write them, `2025-03-01T10:00:00Z`, most of them on one day: its date is read once.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct PlainTimes {
    date: [u8; 11],
    midnight_ns: i64,
}

impl PlainTimes {
    /// What [`parse`] reads of the time that `text` begins with and that ends before a `<`, and its length; `None` where
    /// it is none, has no zone or falls on a leap second.
    #[inline]
    pub(crate) fn read(&mut self, text: &[u8]) -> Option<(Timestamp, usize)> {
        if let Some((date, rest)) = text.split_first_chunk()
            && self.date == *date
            && let Some((since_midnight_ns, length)) = plain_time_of_day(rest)
        {
            let clock_ns = self.midnight_ns + since_midnight_ns;
            let time = Timestamp { clock_ns, offset_s: Some(0), leap_second: false };
            return Some((time, date.len() + length));
        }
        self.read_with_date(text)
    }

    #[inline(never)]
    fn read_with_date(&mut self, text: &[u8]) -> Option<(Timestamp, usize)> {
        let length = memchr(b'<', &text[..text.len().min(MAX_VALUE_BYTES)])?;
        let time = parse(&text[..length])?;
        if time.leap_second || time.offset_s.is_none() {
            return None;
        }
        if let Some((date, rest)) = text.split_first_chunk()
            && let Some((since_midnight_ns, _)) = plain_time_of_day(rest)
        {
            (self.date, self.midnight_ns) = (*date, time.clock_ns - since_midnight_ns);
        }
        Some((time, length))
    }
}

/// Reads the times of one day and one zone at one place of rows of text, whose digits are known to be digits.
#[derive(Clone, Copy, Debug)]
pub(crate) struct ClockReader {
    /// Where hours, minutes and seconds begin.
    begin: usize,
    /// The digits behind the seconds, and the nanoseconds of a unit in their last place.
    fraction: Option<(Digits, i64)>,
    midnight_ns: i64,
    /// That of [`Timestamp::local_offset_s`].
    pub(crate) utc_offset_s: Option<i32>,
}

impl ClockReader {
    /// The largest digit of each byte of hours, minutes and seconds, between which the colons stay.
    const MOST: [u8; 8] = [2, 9, 0, 5, 9, 0, 5, 9];

    /// What reads times that are written as the one at a place of this row; `None` where that one has no zone, more than seven
    /// decimals, or is odd.
    pub(crate) fn new(row: &[u8], place: Range<usize>) -> Option<Self> {
        const DATE_BYTES: usize = b"2025-03-01T".len();
        let text = row.get(place.clone())?;
        let time = parse(text).filter(|time| !time.leap_second)?;
        let offset_s = time.offset_s?;
        let (date, clock) = text.split_at_checked(DATE_BYTES)?;
        if !date[0].is_ascii_digit() || clock.starts_with(b"24") {
            return None;
        }
        let begin = place.start + DATE_BYTES;
        let decimals = match &clock[Self::MOST.len()..] {
            [b'.' | b',', rest @ ..] => rest.iter().take_while(|byte| byte.is_ascii_digit()).count(),
            _ => 0,
        };
        let fraction = match decimals {
            0 => None,
            _ => Some((Digits::new(begin + Self::MOST.len() + 1, decimals)?, *NS_OF_DECIMALS.get(decimals)?)),
        };
        let day_ns = S_PER_DAY * NS_PER_S;
        let midnight_ns = time.clock_ns - time.clock_ns.rem_euclid(day_ns) - i64::from(offset_s) * NS_PER_S;
        Some(Self { begin, fraction, midnight_ns, utc_offset_s: time.local_offset_s() })
    }

    /// The largest digit of each byte that may differ, and where these bytes stand.
    pub(crate) fn most(&self) -> [(Range<usize>, [u8; 8]); 2] {
        let end = self.begin + Self::MOST.len();
        let decimals = self.fraction.map_or(end..end, |(digits, _)| digits.place());
        [(self.begin..end, Self::MOST), (decimals, [9; 8])]
    }

    /// First and last moment of the day.
    pub(crate) fn day_ns(&self) -> RangeInclusive<i64> {
        self.midnight_ns..=self.midnight_ns + S_PER_DAY * NS_PER_S - 1
    }

    /// Appends the time of each row to a column; hours from 24 on are those of the next day.
    #[inline]
    pub(crate) fn read_each<'a>(&self, rows: impl Iterator<Item = &'a [u8]>, column: &mut Vec<i64>) {
        let Self { begin, midnight_ns, fraction, .. } = *self;
        let whole_ns = |row| {
            let [hours, minutes, seconds] = clock(words::eight(row, begin).unwrap_or_default() ^ CLOCK);
            midnight_ns + (hours * 3600 + minutes * 60 + seconds) * NS_PER_S
        };
        match fraction {
            None => column.extend(rows.map(whole_ns)),
            Some((digits, unit_ns)) => {
                column.extend(rows.map(|row| whole_ns(row) + digits.value(row) as i64 * unit_ns));
            }
        }
    }
}

/// A clock of which nothing but the digits is left by exclusive or.
const CLOCK: u64 = u64::from_le_bytes(*b"00:00:00");

/// Hours, minutes and seconds of the digits of a clock.
#[inline]
fn clock(digits: u64) -> [i64; 3] {
    let pairs = digits.wrapping_mul(10).wrapping_add(digits >> 8);
    [0, 3, 6].map(|at: u32| i64::from((pairs >> (8 * at)) as u8))
}

/// Nanoseconds of a time such as `10:00:00Z<` or `10:00:00.250Z<` and its length without the `<`; `None` for anything
/// else, midnight as 24 and leap seconds too.
#[inline]
fn plain_time_of_day(text: &[u8]) -> Option<(i64, usize)> {
    const COLONS: u64 = 0xFF_00_00_FF_00_00;
    let digits = words::eight(text, 0)? ^ CLOCK;
    // A byte above 9 reaches its highest bit.
    if (digits.wrapping_add(EACH * 0x76) | digits) & (EACH * 0x80) | digits & COLONS != 0 {
        return None;
    }
    let [hours, minutes, seconds] = clock(digits);
    if hours > 23 || minutes > 59 || seconds > 59 {
        return None;
    }
    let whole_ns = (hours * 3600 + minutes * 60 + seconds) * NS_PER_S;
    match text.get(8..10)? {
        b"Z<" => Some((whole_ns, 9)),
        [b'.', _] => {
            let (fraction, count) = number::leading_of_eight(words::eight(text, 9)?);
            let fraction_ns = fraction as i64 * NS_OF_DECIMALS.get(count)?;
            let ends = count > 0 && text.get(9 + count..11 + count)? == b"Z<";
            ends.then_some((whole_ns + fraction_ns, 10 + count))
        }
        _ => None,
    }
}

/// Nanoseconds of a unit in the last of so many decimals of a second.
const NS_OF_DECIMALS: [i64; 8] =
    [1_000_000_000, 100_000_000, 10_000_000, 1_000_000, 100_000, 10_000, 1000, 100];

/// Reads a time that neither GPX nor TCX allows but that can mean one moment only; `None` for any other.
///
/// These are ISO 8601 without separators (`20250301T100000Z`) or without seconds (`2025-03-01T10:00Z`), the zone as
/// `UTC` or `GMT`, and ten or thirteen digits, the seconds or milliseconds since 1970 of any year from 2001 on.
pub(crate) fn parse_unusual(text: &[u8]) -> Option<Timestamp> {
    let text = crate::number::trim(text);
    let digits_only = |range: &[u8]| range.iter().all(u8::is_ascii_digit);
    if digits_only(text) {
        let unit_ns = match text.len() {
            10 => NS_PER_S,
            13 => NS_PER_S / 1000,
            _ => return None,
        };
        let count = text.iter().fold(0, |count, digit| count * 10 + i64::from(digit - b'0'));
        let clock_ns = count.checked_mul(unit_ns)?;
        return Some(Timestamp { clock_ns, offset_s: Some(0), leap_second: false });
    }
    // Written out in full, it is read as any other.
    let is_zulu = |end: &[u8]| end.eq_ignore_ascii_case(b"UTC") || end.eq_ignore_ascii_case(b"GMT");
    let full = match text {
        [time @ .., z1, z2, z3] if is_zulu(&[*z1, *z2, *z3]) => [crate::number::trim(time), b"Z"].concat(),
        [y1, y2, y3, y4, m1, m2, d1, d2, b'T' | b't', h1, h2, n1, n2, s1, s2, rest @ ..] => {
            let date = [y1, y2, y3, y4, &b'-', m1, m2, &b'-', d1, d2, &b'T'].map(|byte| *byte);
            let time = [h1, h2, &b':', n1, n2, &b':', s1, s2].map(|byte| *byte);
            [&date[..], &time, rest].concat()
        }
        _ => {
            let (to_minutes, zone) = text.split_at_checked(16)?;
            if !matches!(zone, [] | [b'Z' | b'z' | b'+' | b'-' | b' ', ..]) {
                return None;
            }
            [to_minutes, b":00", zone].concat()
        }
    };
    parse(&full)
}

/// The nanoseconds of a leading fraction, and what follows it. Digits beyond the ninth are cut off.
#[inline]
fn fraction(tail: &[u8]) -> Option<(i64, &[u8])> {
    let Some((b'.' | b',', rest)) = tail.split_first() else { return Some((0, tail)) };
    let length = rest.iter().take_while(|byte| byte.is_ascii_digit()).count();
    let (digits, zone) = rest.split_at_checked(length).filter(|(digits, _)| !digits.is_empty())?;
    let mut nanoseconds = 0;
    for index in 0..9 {
        let digit = digits.get(index).map_or(0, |digit| i64::from(digit - b'0'));
        nanoseconds = nanoseconds * 10 + digit;
    }
    Some((nanoseconds, zone))
}

/// The zone: `Z`, `±hh:mm`, `±hhmm`, `±hh`, or none.
#[inline]
fn offset(zone: &[u8]) -> Option<Option<i32>> {
    if matches!(zone, b"Z" | b"z") {
        return Some(Some(0));
    }
    // A blank may stand before the zone, as it may between date and time.
    let zone = crate::number::trim(zone);
    let (sign, digits) = match zone.split_first() {
        None => return Some(None),
        Some((b'Z' | b'z', [])) => return Some(Some(0)),
        Some((b'+', digits)) => (1, digits),
        Some((b'-', digits)) => (-1, digits),
        Some(_) => return None,
    };
    let digit = |byte: u8| byte.is_ascii_digit().then(|| i32::from(byte - b'0'));
    let (hours, minutes) = match *digits {
        [h1, h2] => (digit(h1)? * 10 + digit(h2)?, 0),
        [h1, h2, m1, m2] | [h1, h2, b':', m1, m2] => {
            (digit(h1)? * 10 + digit(h2)?, digit(m1)? * 10 + digit(m2)?)
        }
        _ => return None,
    };
    let seconds = hours * 3600 + minutes * 60;
    (minutes < 60 && seconds <= MAX_OFFSET_S).then_some(Some(sign * seconds))
}

fn days_in_month(year: i64, month: i64) -> i64 {
    match month {
        2 if year % 4 == 0 && (year % 100 != 0 || year % 400 == 0) => 29,
        2 => 28,
        4 | 6 | 9 | 11 => 30,
        _ => 31,
    }
}

/// Days from 1970-01-01 in the Gregorian calendar, the year counted from March so that the leap day ends it.
#[inline]
fn days_since_1970(year: i64, month: i64, day: i64) -> i64 {
    /// Days from 0000-03-01 to 1970-01-01.
    const DAYS_BEFORE_1970: i64 = 719_468;
    let (year, month) = if month > 2 { (year, month - 3) } else { (year - 1, month + 9) };
    let day_of_year = (153 * month + 2) / 5 + day - 1;
    year * 365 + year / 4 - year / 100 + year / 400 + day_of_year - DAYS_BEFORE_1970
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono::{DateTime, NaiveDate};
    use proptest::prelude::*;

    fn utc_ns(text: &str) -> Option<i64> {
        parse(text.as_bytes()).map(|t| t.clock_ns - i64::from(t.offset_s.unwrap_or(0)) * NS_PER_S)
    }

    #[test]
    fn one_instant_in_its_usual_spellings() {
        let expected = Some(1_614_592_800 * NS_PER_S);
        for text in [
            "2021-03-01T10:00:00Z",
            "2021-03-01t10:00:00z",
            "2021-03-01 10:00:00Z",
            "2021-03-01 12:00:00 +02:00",
            " 2021-03-01T10:00:00.000000000Z\n",
            "2021-03-01T12:00:00+02:00",
            "2021-03-01T12:00:00+0200",
            "2021-03-01T12:00:00+02",
            "2021-03-01T06:30:00-03:30",
            "2021-03-01T10:00:00,0Z",
            "2021-03-01T09:59:60Z",
        ] {
            assert_eq!(utc_ns(text), expected, "{text}");
        }
        assert_eq!(utc_ns("2021-02-28T24:00:00Z"), utc_ns("2021-03-01T00:00:00Z"));
    }

    proptest! {
        #[test]
        fn plain_times_are_read_as_any_other(texts in prop::collection::vec(
            "2025-0[0-3]-0[12][T ][0-2][0-9][:;][0-6][0-9]:[0-6][0-9](\\.[0-9]{0,10})?([Zz]|\\+01:00)?", 1..20,
        )) {
            let mut plain = PlainTimes::default();
            for text in texts.iter().chain(&texts) {
                let usual = |time: &Timestamp| !time.leap_second && time.offset_s.is_some();
                let expected = parse(text.as_bytes()).filter(usual).map(|time| (time, text.len()));
                prop_assert_eq!(plain.read(format!("{text}</time>").as_bytes()), expected);
            }
        }
    }

    proptest! {
        #[test]
        fn times_in_rows_are_read_as_any_other(
            clocks in prop::collection::vec((0_u8..24, 0_u8..60, 0_u8..60, 0_u32..1_000_000_000), 1..5),
            decimals in 0_usize..=9,
            zone in prop::sample::select(vec!["Z", "z", " Z", "+02:00", "-0330", " +14", "-00:00", ""]),
        ) {
            let rows: Vec<String> = clocks.iter().map(|(hour, minute, second, fraction)| {
                let fraction = format!(".{fraction:09}");
                let fraction = &fraction[..if decimals > 0 { decimals + 1 } else { 0 }];
                format!("<time>2024-02-29 {hour:02}:{minute:02}:{second:02}{fraction}{zone}</time>")
            }).collect();
            let place = b"<time>".len()..rows[0].len() - b"</time>".len();
            let reader = ClockReader::new(rows[0].as_bytes(), place.clone());
            prop_assert_eq!(reader.is_some(), decimals < 8 && !zone.is_empty());
            let Some(reader) = reader else { return Ok(()) };
            let mut times_ns = Vec::new();
            reader.read_each(rows.iter().map(String::as_bytes), &mut times_ns);
            for (row, time_ns) in rows.iter().zip(times_ns) {
                let time = parse(row[place.clone()].as_bytes()).unwrap();
                let offset_s = time.offset_s.unwrap();
                prop_assert_eq!(time_ns, time.clock_ns - i64::from(offset_s) * NS_PER_S);
                prop_assert!(reader.day_ns().contains(&time_ns));
                prop_assert_eq!(reader.utc_offset_s, time.local_offset_s());
            }
        }
    }

    #[test]
    fn only_plain_times_are_read_in_rows() {
        for text in
            ["2025-03-01T24:00:00Z", "2025-03-01T10:00:60Z", " 2025-03-01T10:00:00Z", "2025-03-01", ""]
        {
            assert!(ClockReader::new(text.as_bytes(), 0..text.len()).is_none(), "{text}");
        }
    }

    #[test]
    fn the_zone_is_kept_and_its_absence_too() {
        assert_eq!(parse(b"2021-03-01T10:00:00").unwrap().offset_s, None);
        assert_eq!(parse(b"2021-03-01T10:00:00-03:30").unwrap().offset_s, Some(-12_600));
        for zone in ["Z", " Z", ".5 z", "+00:00", "-00:00", "+0000", " +00"] {
            let time = parse(format!("2021-03-01T10:00:00{zone}").as_bytes()).unwrap();
            assert_eq!((time.offset_s, time.local_offset_s()), (Some(0), None), "{zone}");
        }
        assert_eq!(parse(b"2021-03-01T10:00:00 +00:30").unwrap().local_offset_s(), Some(1800));
    }

    #[test]
    fn unusual_times_that_can_mean_one_moment_only_are_read() {
        let expected = parse(b"2021-03-01T10:00:00Z");
        for text in ["20210301T100000Z", "2021-03-01T10:00Z", "1614592800", " 1614592800000 "] {
            assert_eq!(parse(text.as_bytes()), None, "{text}");
            assert_eq!(parse_unusual(text.as_bytes()), expected, "{text}");
        }
        assert_eq!(parse_unusual(b"20210301T120000.5+0200"), parse(b"2021-03-01T12:00:00.5+02:00"));
        for text in ["2021-03-01 10:00:00 UTC", "2021-03-01T10:00:00gmt"] {
            assert_eq!(parse_unusual(text.as_bytes()), expected, "{text}");
        }
        assert_eq!(parse_unusual(b"2021-03-01 10:00"), parse(b"2021-03-01T10:00:00"));
        for text in [
            "03/01/2021 10:00:00",
            "2021-03-01",
            "20210301",
            "2021-03-01T10:00.5Z",
            "2021-03-01T10:0",
            "2021-02-30T10:00Z",
            "20210301T1000Z",
            "161459280",
            "16145928000",
            "9999999999",
            "-1614592800",
            "UTC",
            "2021-03-01T10:00:00Z UTC",
            "2021-03-01T10:00:00+02:00 UTC",
            "Mon, 01 Mar 2021 10:00:00 GMT",
            "",
        ] {
            assert_eq!(parse_unusual(text.as_bytes()), None, "{text}");
        }
    }

    #[test]
    fn impossible_times_are_none() {
        for text in [
            "2021-13-01T10:00:00Z",
            "2021-02-30T10:00:00Z",
            "2021-02-29T10:00:00Z",
            "2021-00-10T10:00:00Z",
            "2021-01-00T10:00:00Z",
            "2021-03-01T25:00:00Z",
            "2021-03-01T24:00:01Z",
            "2021-03-01T10:60:00Z",
            "2021-03-01T10:00:61Z",
            "2021-03-01",
            "2021-03-01T10:00Z",
            "2021-03-01T10:00:00.Z",
            "2021-03-01T10:00:00+15:00",
            "2021-03-01T10:00:00+02:60",
            "2021-03-01T10:00:00 UTC",
            "0001-01-01T00:00:00Z",
            "9999-01-01T00:00:00Z",
            "yesterday",
            "",
        ] {
            assert_eq!(parse(text.as_bytes()), None, "{text}");
        }
    }

    // The Gregorian calendar: of the years that end a century only every fourth is a leap year. Days by `chrono`.
    #[test]
    fn centuries_are_leap_years_only_every_four_hundred_years() {
        for year in [1700, 1800, 1900, 2100, 2200] {
            assert_eq!(parse(format!("{year}-02-29T00:00:00Z").as_bytes()), None, "{year}");
        }
        for year in [1696, 1904, 2000, 2004, 2096] {
            assert!(parse(format!("{year}-02-29T00:00:00Z").as_bytes()).is_some(), "{year}");
        }
        for (year, month, day) in
            [(1700, 3, 1), (1900, 3, 1), (2000, 2, 29), (2000, 3, 1), (2100, 3, 1), (2200, 12, 31)]
        {
            let date = NaiveDate::from_ymd_opt(year, month, day).unwrap();
            let expected = date.and_hms_opt(0, 0, 0).unwrap().and_utc().timestamp() * NS_PER_S;
            assert_eq!(utc_ns(&format!("{date}T00:00:00Z")), Some(expected), "{date}");
        }
    }

    #[test]
    fn offsets_reach_fourteen_hours_and_no_further() {
        let offset =
            |text: &str| parse(format!("2021-03-01T10:00:00{text}").as_bytes()).map(|time| time.offset_s);
        assert_eq!(offset("+14:00"), Some(Some(50_400)));
        assert_eq!(offset("-14:00"), Some(Some(-50_400)));
        assert_eq!(offset("+14:01"), None);
        assert_eq!(offset("+01:60"), None);
    }

    #[test]
    fn the_end_of_a_day_is_a_moment_and_nothing_after_it() {
        assert!(parse(b"2021-03-01T24:00:00Z").is_some());
        for text in ["2021-03-01T24:00:01Z", "2021-03-01T24:01:00Z", "2021-03-01T24:00:00.5Z"] {
            assert_eq!(parse(text.as_bytes()), None, "{text}");
        }
        assert_eq!(utc_ns("2021-03-01T23:59:59.25Z"), Some(1_614_643_199 * NS_PER_S + NS_PER_S / 4));
    }

    proptest! {
        #[test]
        fn instants_are_those_of_chrono(ns in any::<i64>(), offset_min in -840_i32..=840) {
            let zone = chrono::FixedOffset::east_opt(offset_min * 60).unwrap();
            let time = DateTime::from_timestamp_nanos(ns / 2).with_timezone(&zone);
            prop_assert_eq!(utc_ns(&time.to_rfc3339()), Some(ns / 2));
        }

        #[test]
        fn dates_are_those_of_chrono(year in 1678_i32..=2261, month in 0_u32..=13, day in 0_u32..=32) {
            let text = format!("{year:04}-{month:02}-{day:02}T00:00:00Z");
            let expected = NaiveDate::from_ymd_opt(year, month, day)
                .map(|date| date.and_hms_opt(0, 0, 0).unwrap().and_utc().timestamp() * NS_PER_S);
            prop_assert_eq!(utc_ns(&text), expected);
        }

        #[test]
        fn no_text_is_too_odd(text in "\\PC{0,40}") {
            let _ = (parse(text.as_bytes()), parse_unusual(text.as_bytes()));
        }
    }
}

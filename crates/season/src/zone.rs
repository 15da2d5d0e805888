//! Time zones as people name them.

use std::fmt;

use chrono::{DateTime, FixedOffset, NaiveDateTime, Offset, TimeDelta, TimeZone, Utc};
use chrono_tz::{TZ_VARIANTS, Tz};

use crate::Error;
use crate::error::{ErrorKind, Flaw};
use crate::sheet::MAX_NAME_LETTERS;

/// Likeness (Jaro–Winkler) from which a zone's name is suggested (own choice).
const LIKENESS: f64 = 0.8;

/// Version of the time-zone data (IANA) that local times rest on.
pub const TIME_ZONE_DATA: &str = chrono_tz::IANA_TZDB_VERSION;

/// A time zone: a place of the IANA data base, or a fixed offset from UTC.
///
/// ```
/// use boutwise_season::Zone;
/// assert_eq!(Zone::parse("europe/berlin").unwrap().to_string(), "Europe/Berlin");
/// assert_eq!(Zone::parse("-03:30").unwrap().to_string(), "-03:30");
/// assert!(Zone::parse("Berlin").unwrap_err().to_string().ends_with("to mend: write Europe/Berlin"));
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Zone {
    /// A place, with its summer time.
    Named(Tz),
    /// A fixed offset.
    Fixed(FixedOffset),
}

impl Zone {
    /// Reads a zone's name such as `Europe/Berlin`, in any case, or an offset such as `+02:00`.
    ///
    /// # Errors
    ///
    /// An [`Error`] that suggests the zone that may have been meant.
    pub fn parse(text: &str) -> Result<Self, Error> {
        Self::find(text).map_err(|flaw| Error::new(ErrorKind::TimeZone, "", text, flaw))
    }

    pub(crate) fn find(text: &str) -> Result<Self, Flaw> {
        let name = text.trim();
        if let Some(zone) = TZ_VARIANTS.iter().find(|zone| zone.name().eq_ignore_ascii_case(name)) {
            return Ok(Self::Named(*zone));
        }
        if let Some(offset) = fixed_offset(name) {
            return Ok(Self::Fixed(offset));
        }
        // No zone has a longer name; to hold one against each takes their product.
        let wanted: String = name.chars().take(MAX_NAME_LETTERS).collect();
        let wanted = wanted.to_lowercase().replace(' ', "_");
        let likeness = |zone: &Tz| {
            let full = zone.name().to_lowercase();
            let place = full.rsplit('/').next().unwrap_or(&full);
            strsim::jaro_winkler(&wanted, &full).max(strsim::jaro_winkler(&wanted, place))
        };
        let best = TZ_VARIANTS.iter().map(|zone| (likeness(zone), zone)).max_by(|a, b| a.0.total_cmp(&b.0));
        let mend = match best {
            Some((alike, zone)) if alike >= LIKENESS => format!("write {}", zone.name()),
            _ => "write the zone as Area/City, or the offset as +02:00".to_owned(),
        };
        Err(Flaw::new(
            0..text.len(),
            format!("there is no time zone \"{name}\""),
            "a zone such as Europe/Berlin, or an offset such as +02:00",
            mend,
        ))
    }

    /// Local time of an instant, and its offset from UTC in seconds.
    pub fn local(&self, instant: DateTime<Utc>) -> (NaiveDateTime, i32) {
        let offset = match self {
            Self::Named(zone) => zone.offset_from_utc_datetime(&instant.naive_utc()).fix(),
            Self::Fixed(offset) => *offset,
        };
        (instant.with_timezone(&offset).naive_local(), offset.local_minus_utc())
    }

    /// The instant at which a clock on the wall shows a time: the first where summer time ends and it shows the time twice;
    /// that of the clock not yet put forward where summer time begins and it never does.
    pub fn instant(&self, clock: NaiveDateTime) -> DateTime<Utc> {
        let shown = |clock: NaiveDateTime| match self {
            Self::Named(zone) => zone.from_local_datetime(&clock).earliest().map(|time| time.to_utc()),
            Self::Fixed(offset) => offset.from_local_datetime(&clock).earliest().map(|time| time.to_utc()),
        };
        // No summer time puts a clock forward by more than a day.
        let before = || Some(shown(clock.checked_sub_signed(TimeDelta::days(1))?)? + TimeDelta::days(1));
        shown(clock).or_else(before).unwrap_or_else(|| clock.and_utc())
    }
}

impl fmt::Display for Zone {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Named(zone) => f.write_str(zone.name()),
            Self::Fixed(offset) => write!(f, "{offset}"),
        }
    }
}

/// `+02:00`, `+0200`, `+2`, with `UTC` or `GMT` before it or not.
fn fixed_offset(name: &str) -> Option<FixedOffset> {
    let rest = name.strip_prefix("UTC").or_else(|| name.strip_prefix("GMT")).unwrap_or(name);
    let (sign, digits) = match rest.strip_prefix('+') {
        Some(digits) => (1, digits),
        None => (-1, rest.strip_prefix(['-', '−'])?),
    };
    if !digits.bytes().all(|b| b.is_ascii_digit() || b == b':') {
        return None;
    }
    let (hours, minutes) = match digits.split_once(':') {
        Some(parts) => parts,
        None if digits.len() == 4 => digits.split_at(2),
        None => (digits, "0"),
    };
    let (hours, minutes) = (hours.parse::<i32>().ok()?, minutes.parse::<i32>().ok()?);
    if hours > 14 || minutes > 59 {
        return None;
    }
    FixedOffset::east_opt(sign * (hours * 3600 + minutes * 60))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn offsets_are_read_in_every_usual_form() {
        for text in ["+02:00", "+0200", "+2", "UTC+2", "GMT+02:00"] {
            assert_eq!(Zone::parse(text).unwrap().to_string(), "+02:00", "{text}");
        }
        for text in ["+25:00", "+", "2", "+02:61", "", "Mars/Base"] {
            assert!(Zone::parse(text).is_err(), "{text}");
        }
    }

    // IANA time zone data base: Berlin is at +01:00 in winter and +02:00 from 29 March 2026, 01:00 UTC, on.
    #[test]
    fn summer_time_follows_the_data_base() {
        let zone = Zone::parse("Europe/Berlin").unwrap();
        let at = |text: &str| zone.local(text.parse::<DateTime<Utc>>().unwrap());
        assert_eq!(at("2026-03-29T00:59:59Z").0.to_string(), "2026-03-29 01:59:59");
        assert_eq!(at("2026-03-29T01:00:00Z").0.to_string(), "2026-03-29 03:00:00");
        assert_eq!(at("2026-07-01T00:00:00Z").1, 7200);
    }

    // The same rules; summer time ends on 25 October 2026, 01:00 UTC.
    #[test]
    fn a_clock_on_the_wall_tells_an_instant_by_its_day() {
        let instant = |zone: &str, clock: &str| {
            let instant = Zone::parse(zone).unwrap().instant(clock.parse().unwrap());
            instant.format("%d %H:%M").to_string()
        };
        assert_eq!(instant("Europe/Berlin", "2026-02-01T00:30:00"), "31 23:30");
        assert_eq!(instant("Europe/Berlin", "2026-07-01T22:30:00"), "01 20:30");
        assert_eq!(instant("-03:30", "2026-07-01T22:30:00"), "02 02:00");
        assert_eq!(instant("Europe/Berlin", "2026-10-25T02:30:00"), "25 00:30");
        assert_eq!(instant("Europe/Berlin", "2026-03-29T02:30:00"), "29 01:30");
    }
}

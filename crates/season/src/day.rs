//! The local day of a recording: never UTC without saying so, never the zone of this machine.

use chrono::{DateTime, NaiveDate, NaiveDateTime, Utc};
use serde::{Deserialize, Serialize};

use crate::Zone;

/// What may tell the local time of a recording, in order of rank.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct ZoneHints<'a> {
    /// The zone of the squad file.
    pub squad: Option<&'a Zone>,
    /// The zone of the settings or the command line.
    pub setting: Option<&'a Zone>,
    /// The offset that the recording itself writes, in seconds east of UTC.
    pub file_offset_s: Option<i32>,
    /// The first position, latitude and longitude in degrees.
    pub position_deg: Option<(f64, f64)>,
    /// The zone of most of the athlete's other recordings.
    pub own: Option<&'a Zone>,
    /// The zone of most of the squad's other recordings.
    pub others: Option<&'a Zone>,
}

/// Where the local time comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum ZoneSource {
    /// The squad file.
    Squad,
    /// The settings or the command line.
    Setting,
    /// The recording's own offset.
    Recording,
    /// The zone of the place.
    Position,
    /// The zone of most of the athlete's other recordings.
    Own,
    /// The zone of most of the squad's other recordings.
    Others,
    /// Nothing told it: UTC.
    Assumed,
}

impl ZoneSource {
    /// All of them, in order of rank.
    pub const ALL: [Self; 7] =
        [Self::Squad, Self::Setting, Self::Recording, Self::Position, Self::Own, Self::Others, Self::Assumed];

    /// The word in tables.
    pub fn word(self) -> &'static str {
        match self {
            Self::Squad => "squad",
            Self::Setting => "setting",
            Self::Recording => "recording",
            Self::Position => "position",
            Self::Own => "own",
            Self::Others => "others",
            Self::Assumed => "assumed",
        }
    }
}

/// Local time of an instant.
#[derive(Clone, Copy, Debug, PartialEq)]
#[non_exhaustive]
pub struct LocalTime {
    /// The clock on the wall.
    pub time: NaiveDateTime,
    /// Its offset from UTC in seconds, east positive.
    pub offset_s: i32,
    /// What told it.
    pub source: ZoneSource,
    /// The zone, where one is known by name.
    pub zone: Option<Zone>,
}

impl LocalTime {
    /// The local day.
    pub fn day(&self) -> NaiveDate {
        self.time.date()
    }

    /// What a coach should know about the day; `None` where it was told by somebody.
    pub fn note(&self) -> Option<String> {
        match (self.source, self.zone) {
            (ZoneSource::Assumed, _) => {
                Some("no time zone is known, so the day is that of UTC: name one with --time-zone".to_owned())
            }
            (source @ (ZoneSource::Own | ZoneSource::Others), Some(zone)) => {
                let whose = if source == ZoneSource::Own { "athlete" } else { "squad" };
                Some(format!(
                    "neither the recording nor a place tells the time zone: {zone}, as in the {whose}'s other \
                     recordings"
                ))
            }
            (ZoneSource::Position, Some(zone)) => Some(format!("local time by the place: {zone}")),
            _ => None,
        }
    }
}

/// Local time of an instant, by the first hint that tells it.
///
/// Instants stay instants: summer time may change the clock in the middle of a session, never its duration.
///
/// ```
/// use boutwise_season::{Zone, ZoneHints, ZoneSource, local_time};
/// let instant = "2026-03-02T23:30:00Z".parse().unwrap();
/// let berlin = Zone::parse("Europe/Berlin").unwrap();
/// let local = local_time(instant, &ZoneHints { squad: Some(&berlin), ..ZoneHints::default() });
/// assert_eq!(local.day().to_string(), "2026-03-03");
/// assert_eq!(local_time(instant, &ZoneHints::default()).source, ZoneSource::Assumed);
/// ```
pub fn local_time(instant: DateTime<Utc>, hints: &ZoneHints<'_>) -> LocalTime {
    let told = [(hints.squad.copied(), ZoneSource::Squad), (hints.setting.copied(), ZoneSource::Setting)]
        .into_iter()
        .find_map(|(zone, source)| Some((zone?, source)))
        .or_else(|| {
            let offset = chrono::FixedOffset::east_opt(hints.file_offset_s?)?;
            Some((Zone::Fixed(offset), ZoneSource::Recording))
        })
        .or_else(|| {
            let (latitude, longitude) = hints.position_deg?;
            Some((zone_at(latitude, longitude)?, ZoneSource::Position))
        })
        .or_else(|| Some((hints.own.copied()?, ZoneSource::Own)))
        .or_else(|| Some((hints.others.copied()?, ZoneSource::Others)));
    match told {
        Some((zone, source)) => {
            let (time, offset_s) = zone.local(instant);
            LocalTime { time, offset_s, source, zone: Some(zone) }
        }
        None => LocalTime { time: instant.naive_utc(), offset_s: 0, source: ZoneSource::Assumed, zone: None },
    }
}

/// The zone of a place. The map is read where it lies in the program: a run asks it once a recording.
#[cfg(feature = "zone-from-position")]
fn zone_at(latitude_deg: f64, longitude_deg: f64) -> Option<Zone> {
    let name = crate::map::Map::of(tzf_dist::load_lite_tzb())?.name_at(latitude_deg, longitude_deg)?;
    name.parse().ok().map(Zone::Named)
}

/// Without the map no place tells its zone.
#[cfg(not(feature = "zone-from-position"))]
fn zone_at(_latitude_deg: f64, _longitude_deg: f64) -> Option<Zone> {
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    const LATE: &str = "2026-03-02T23:30:00Z";

    #[test]
    fn the_squad_outranks_the_setting_and_both_the_file() {
        let (tokyo, lima) = (Zone::parse("Asia/Tokyo").unwrap(), Zone::parse("America/Lima").unwrap());
        let mut hints = ZoneHints {
            squad: Some(&tokyo),
            setting: Some(&lima),
            file_offset_s: Some(3600),
            position_deg: Some((52.5, 13.4)),
            own: Some(&lima),
            others: Some(&lima),
        };
        let instant = LATE.parse().unwrap();
        assert_eq!(local_time(instant, &hints).time.to_string(), "2026-03-03 08:30:00");
        hints.squad = None;
        assert_eq!(local_time(instant, &hints).time.to_string(), "2026-03-02 18:30:00");
        hints.setting = None;
        assert_eq!(local_time(instant, &hints).time.to_string(), "2026-03-03 00:30:00");
        assert_eq!(local_time(instant, &hints).source, ZoneSource::Recording);
    }

    #[test]
    fn a_recording_that_tells_nothing_takes_the_zone_of_the_athletes_others_else_of_the_squads() {
        let (tokyo, lima) = (Zone::parse("Asia/Tokyo").unwrap(), Zone::parse("America/Lima").unwrap());
        let mut hints = ZoneHints { own: Some(&tokyo), others: Some(&lima), ..ZoneHints::default() };
        let local = local_time(LATE.parse().unwrap(), &hints);
        assert_eq!((local.day().to_string().as_str(), local.source), ("2026-03-03", ZoneSource::Own));
        assert!(local.note().unwrap().ends_with("Asia/Tokyo, as in the athlete's other recordings"));
        hints.own = None;
        let local = local_time(LATE.parse().unwrap(), &hints);
        assert_eq!((local.day().to_string().as_str(), local.source), ("2026-03-02", ZoneSource::Others));
        assert!(local.note().unwrap().ends_with("America/Lima, as in the squad's other recordings"));
    }

    #[test]
    fn a_day_that_nobody_told_is_said_to_be_utc() {
        let local = local_time(LATE.parse().unwrap(), &ZoneHints::default());
        assert_eq!((local.day().to_string().as_str(), local.offset_s), ("2026-03-02", 0));
        assert!(local.note().unwrap().contains("UTC"));
    }

    // Zones of well-known places, by the IANA data base; also near a border and in the southern hemisphere.
    #[cfg(feature = "zone-from-position")]
    #[test]
    fn a_place_tells_its_zone() {
        for (place, zone) in [
            ((52.52, 13.40), "Europe/Berlin"),
            ((38.72, -9.14), "Europe/Lisbon"),
            ((-33.87, 151.21), "Australia/Sydney"),
            ((40.71, -74.01), "America/New_York"),
        ] {
            let hints = ZoneHints { position_deg: Some(place), ..ZoneHints::default() };
            let local = local_time(LATE.parse().unwrap(), &hints);
            assert_eq!(local.zone.map(|zone| zone.to_string()).as_deref(), Some(zone));
            assert!(local.note().unwrap().contains(zone));
        }
    }
}

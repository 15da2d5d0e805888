//! The same extraction with quick-xml events, for well-formed files: the peer that results and speed are held against.

use boutwise_track::{Point, Points, Position};
use quick_xml::Reader;
use quick_xml::events::{BytesStart, Event};

/// Value that the next text belongs to.
#[derive(Clone, Copy, PartialEq)]
enum Slot {
    None,
    Time,
    Latitude,
    Longitude,
    Elevation,
    HeartRate,
    Cadence,
    Distance,
    Speed,
}

/// The standard library's reading of a number.
pub(crate) fn standard(text: &str) -> Option<f64> {
    text.trim().parse().ok()
}

/// A faster reading of plain decimals: one exact division where the digits fit a double, else [`standard`].
pub(crate) fn decimal(text: &str) -> Option<f64> {
    let (negative, digits) = text.strip_prefix('-').map_or((false, text), |digits| (true, digits));
    let (mut mantissa, mut scale, mut point) = (0_u64, 1_u64, false);
    if digits.is_empty() || digits.len() > 16 {
        return standard(text);
    }
    for byte in digits.bytes() {
        match byte {
            b'0'..=b'9' => {
                mantissa = mantissa * 10 + u64::from(byte - b'0');
                scale *= if point { 10 } else { 1 };
            }
            b'.' if !point => point = true,
            _ => return standard(text),
        }
    }
    let value = mantissa as f64 / scale as f64;
    Some(if negative && mantissa != 0 { -value } else { value })
}

/// RFC 3339 in UTC only, as the generated files have it.
pub(crate) fn time_ns(text: &[u8]) -> Option<i64> {
    let digits = |range: std::ops::Range<usize>| -> Option<i64> {
        text.get(range)?
            .iter()
            .try_fold(0, |sum, byte| byte.is_ascii_digit().then(|| sum * 10 + i64::from(byte - b'0')))
    };
    let (year, month, day) = (digits(0..4)?, digits(5..7)?, digits(8..10)?);
    let (year, month) = if month > 2 { (year, month - 3) } else { (year - 1, month + 9) };
    let days = year * 365 + year / 4 - year / 100 + year / 400 + (153 * month + 2) / 5 + day - 1 - 719_468;
    let seconds = days * 86_400 + digits(11..13)? * 3600 + digits(14..16)? * 60 + digits(17..19)?;
    let fraction = text.get(20..).unwrap_or(b"").iter().take_while(|byte| byte.is_ascii_digit());
    let (nanoseconds, _) =
        fraction.fold((0, 100_000_000), |(sum, unit), byte| (sum + i64::from(byte - b'0') * unit, unit / 10));
    Some(seconds * 1_000_000_000 + nanoseconds)
}

fn track_point(tag: &BytesStart<'_>, number: impl Fn(&str) -> Option<f64>) -> Point {
    let (mut latitude_deg, mut longitude_deg) = (None, None);
    for attribute in tag.attributes().with_checks(false).flatten() {
        match attribute.key.as_ref() {
            "lat" => latitude_deg = number(&attribute.value),
            "lon" => longitude_deg = number(&attribute.value),
            _ => {}
        }
    }
    let position = latitude_deg
        .zip(longitude_deg)
        .map(|(latitude_deg, longitude_deg)| Position { latitude_deg, longitude_deg });
    Point { position, ..Point::default() }
}

/// The points of a well-formed GPX or TCX text, its numbers read by `number`.
pub(crate) fn extract(text: &[u8], number: impl Fn(&str) -> Option<f64>) -> Points {
    let mut reader = Reader::from_str(std::str::from_utf8(text).expect("UTF-8"));
    reader.config_mut().check_end_names = false;
    let mut points = Points::new();
    let mut point = Point::default();
    let (mut latitude_deg, mut longitude_deg) = (None, None);
    let (mut in_point, mut in_heart_rate) = (false, false);
    let mut slot = Slot::None;
    loop {
        match reader.read_event().expect("well-formed") {
            Event::Start(tag) => {
                slot = Slot::None;
                match tag.local_name().as_ref() {
                    "trkpt" => {
                        point = track_point(&tag, &number);
                        in_point = true;
                    }
                    "Trackpoint" => {
                        point = Point::default();
                        (latitude_deg, longitude_deg) = (None, None);
                        in_point = true;
                    }
                    _ if !in_point => {}
                    "time" | "Time" => slot = Slot::Time,
                    "ele" | "AltitudeMeters" => slot = Slot::Elevation,
                    "LatitudeDegrees" => slot = Slot::Latitude,
                    "LongitudeDegrees" => slot = Slot::Longitude,
                    "hr" => slot = Slot::HeartRate,
                    "HeartRateBpm" => in_heart_rate = true,
                    "Value" if in_heart_rate => slot = Slot::HeartRate,
                    "cad" | "RunCadence" => slot = Slot::Cadence,
                    "DistanceMeters" => slot = Slot::Distance,
                    "speed" | "Speed" => slot = Slot::Speed,
                    _ => {}
                }
            }
            Event::Text(text) if slot != Slot::None => {
                let text: &str = &text;
                match slot {
                    Slot::Time => point.time_ns = time_ns(text.as_bytes()),
                    Slot::Latitude => latitude_deg = number(text),
                    Slot::Longitude => longitude_deg = number(text),
                    Slot::Elevation => point.elevation_m = number(text),
                    Slot::HeartRate => point.heart_rate_bpm = number(text),
                    Slot::Cadence => point.cadence_spm = number(text),
                    Slot::Distance => point.distance_m = number(text),
                    Slot::Speed => point.speed_m_per_s = number(text),
                    Slot::None => {}
                }
                slot = Slot::None;
            }
            Event::End(tag) => {
                slot = Slot::None;
                match tag.local_name().as_ref() {
                    "HeartRateBpm" => in_heart_rate = false,
                    "Position" => {
                        point.position = latitude_deg
                            .zip(longitude_deg)
                            .map(|(latitude_deg, longitude_deg)| Position { latitude_deg, longitude_deg });
                    }
                    "trkpt" | "Trackpoint" => {
                        in_point = false;
                        points.push(point);
                    }
                    _ => {}
                }
            }
            Event::Eof => return points,
            _ => {}
        }
    }
}

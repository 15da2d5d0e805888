//! The peers: loops that do nothing but pull the points out of GPX and TCX with quick-xml, names compared as bytes, values
//! borrowed, numbers and times read by hand, into the same columns. Both versions are timed; the faster one counts.

use boutwise_track::{Point, Points, Position};

/// A text as bytes, whichever way a version hands it out.
trait Raw {
    fn raw(&self) -> &[u8];
}

impl Raw for [u8] {
    fn raw(&self) -> &[u8] {
        self
    }
}

impl Raw for str {
    fn raw(&self) -> &[u8] {
        self.as_bytes()
    }
}

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

/// A plain decimal: one division of whole numbers.
fn decimal(text: &[u8]) -> Option<f64> {
    let (negative, digits) = match text {
        [b'-', digits @ ..] => (true, digits),
        digits => (false, digits),
    };
    let (mut mantissa, mut scale, mut point) = (0_u64, 1_u64, false);
    for byte in digits {
        match byte {
            b'0'..=b'9' => {
                mantissa = mantissa * 10 + u64::from(byte - b'0');
                scale *= if point { 10 } else { 1 };
            }
            b'.' if !point => point = true,
            _ => return None,
        }
    }
    let value = mantissa as f64 / scale as f64;
    Some(if negative { -value } else { value })
}

/// RFC 3339 in UTC to whole seconds.
fn time_ns(text: &[u8]) -> Option<i64> {
    let digits = |range: std::ops::Range<usize>| -> Option<i64> {
        Some(text.get(range)?.iter().fold(0, |sum, byte| sum * 10 + i64::from(byte - b'0')))
    };
    let (year, month, day) = (digits(0..4)?, digits(5..7)?, digits(8..10)?);
    let (year, month) = if month > 2 { (year, month - 3) } else { (year - 1, month + 9) };
    let days = year * 365 + year / 4 - year / 100 + year / 400 + (153 * month + 2) / 5 + day - 1 - 719_468;
    let seconds = days * 86_400 + digits(11..13)? * 3600 + digits(14..16)? * 60 + digits(17..19)?;
    Some(seconds * 1_000_000_000)
}

/// Puts a value where it belongs.
fn take(point: &mut Point, place: &mut [Option<f64>; 2], slot: Slot, text: &[u8]) {
    match slot {
        Slot::None => {}
        Slot::Time => point.time_ns = time_ns(text),
        Slot::Latitude => place[0] = decimal(text),
        Slot::Longitude => place[1] = decimal(text),
        Slot::Elevation => point.elevation_m = decimal(text),
        Slot::HeartRate => point.heart_rate_bpm = decimal(text),
        Slot::Cadence => point.cadence_spm = decimal(text),
        Slot::Distance => point.distance_m = decimal(text),
        Slot::Speed => point.speed_m_per_s = decimal(text),
    }
}

fn position(place: [Option<f64>; 2]) -> Option<Position> {
    Some(Position { latitude_deg: place[0]?, longitude_deg: place[1]? })
}

/// One loop, written for each version: their events have the same names and hand out other types.
macro_rules! peer {
    ($name:ident, $quick_xml:ident) => {
        /// The points of a well-formed text.
        pub(crate) fn $name(text: &str) -> Points {
            use $quick_xml::events::Event;
            let mut reader = $quick_xml::Reader::from_str(text);
            reader.config_mut().check_end_names = false;
            let (mut points, mut point, mut place) = (Points::new(), Point::default(), [None; 2]);
            let (mut slot, mut in_heart_rate) = (Slot::None, false);
            loop {
                match reader.read_event().expect("well-formed") {
                    Event::Start(tag) => {
                        slot = match tag.local_name().into_inner().raw() {
                            b"trkpt" => {
                                (point, place) = (Point::default(), [None; 2]);
                                for attribute in tag.attributes().with_checks(false).flatten() {
                                    let value = attribute.value.raw();
                                    match attribute.key.into_inner().raw() {
                                        b"lat" => place[0] = decimal(value),
                                        b"lon" => place[1] = decimal(value),
                                        _ => {}
                                    }
                                }
                                Slot::None
                            }
                            b"Trackpoint" => {
                                (point, place) = (Point::default(), [None; 2]);
                                Slot::None
                            }
                            b"time" | b"Time" => Slot::Time,
                            b"ele" | b"AltitudeMeters" => Slot::Elevation,
                            b"LatitudeDegrees" => Slot::Latitude,
                            b"LongitudeDegrees" => Slot::Longitude,
                            b"hr" => Slot::HeartRate,
                            b"HeartRateBpm" => {
                                in_heart_rate = true;
                                Slot::None
                            }
                            b"Value" if in_heart_rate => Slot::HeartRate,
                            b"cad" | b"RunCadence" => Slot::Cadence,
                            b"DistanceMeters" => Slot::Distance,
                            b"speed" | b"Speed" => Slot::Speed,
                            _ => Slot::None,
                        };
                    }
                    Event::Text(text) if slot != Slot::None => {
                        take(&mut point, &mut place, slot, (*text).raw());
                        slot = Slot::None;
                    }
                    Event::End(tag) => {
                        slot = Slot::None;
                        match tag.local_name().into_inner().raw() {
                            b"HeartRateBpm" => in_heart_rate = false,
                            b"trkpt" | b"Trackpoint" => {
                                point.position = position(place);
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
    };
}

peer!(quick_xml_0_41, quick_xml_0_41);
peer!(quick_xml_0_42, quick_xml);

//! The same extraction with quick-xml 0.41, whose events are bytes and not checked to be UTF-8: names and values are compared
//! and read as bytes.

use boutwise_track::{Point, Points, Position};
use quick_xml_0_41::Reader;
use quick_xml_0_41::events::{BytesStart, Event};

use crate::quick_xml_peer::{decimal, time_ns};

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

fn number(text: &[u8]) -> Option<f64> {
    std::str::from_utf8(text).ok().and_then(decimal)
}

fn track_point(tag: &BytesStart<'_>) -> Point {
    let (mut latitude_deg, mut longitude_deg) = (None, None);
    for attribute in tag.attributes().with_checks(false).flatten() {
        match attribute.key.as_ref() {
            b"lat" => latitude_deg = number(&attribute.value),
            b"lon" => longitude_deg = number(&attribute.value),
            _ => {}
        }
    }
    let position = latitude_deg
        .zip(longitude_deg)
        .map(|(latitude_deg, longitude_deg)| Position { latitude_deg, longitude_deg });
    Point { position, ..Point::default() }
}

/// The points of a well-formed GPX or TCX text.
pub(crate) fn extract(text: &[u8]) -> Points {
    let mut reader = Reader::from_reader(text);
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
                    b"trkpt" => {
                        point = track_point(&tag);
                        in_point = true;
                    }
                    b"Trackpoint" => {
                        point = Point::default();
                        (latitude_deg, longitude_deg) = (None, None);
                        in_point = true;
                    }
                    _ if !in_point => {}
                    b"time" | b"Time" => slot = Slot::Time,
                    b"ele" | b"AltitudeMeters" => slot = Slot::Elevation,
                    b"LatitudeDegrees" => slot = Slot::Latitude,
                    b"LongitudeDegrees" => slot = Slot::Longitude,
                    b"hr" => slot = Slot::HeartRate,
                    b"HeartRateBpm" => in_heart_rate = true,
                    b"Value" if in_heart_rate => slot = Slot::HeartRate,
                    b"cad" | b"RunCadence" => slot = Slot::Cadence,
                    b"DistanceMeters" => slot = Slot::Distance,
                    b"speed" | b"Speed" => slot = Slot::Speed,
                    _ => {}
                }
            }
            Event::Text(text) if slot != Slot::None => {
                match slot {
                    Slot::Time => point.time_ns = time_ns(&text),
                    Slot::Latitude => latitude_deg = number(&text),
                    Slot::Longitude => longitude_deg = number(&text),
                    Slot::Elevation => point.elevation_m = number(&text),
                    Slot::HeartRate => point.heart_rate_bpm = number(&text),
                    Slot::Cadence => point.cadence_spm = number(&text),
                    Slot::Distance => point.distance_m = number(&text),
                    Slot::Speed => point.speed_m_per_s = number(&text),
                    Slot::None => {}
                }
                slot = Slot::None;
            }
            Event::End(tag) => {
                slot = Slot::None;
                match tag.local_name().as_ref() {
                    b"HeartRateBpm" => in_heart_rate = false,
                    b"Position" => {
                        point.position = latitude_deg
                            .zip(longitude_deg)
                            .map(|(latitude_deg, longitude_deg)| Position { latitude_deg, longitude_deg });
                    }
                    b"trkpt" | b"Trackpoint" => {
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

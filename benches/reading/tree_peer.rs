//! Extraction from a whole document tree, by roxmltree.

use boutwise_track::{Point, Points, Position};
use roxmltree::{Document, Node};

use crate::quick_xml_peer::{decimal, time_ns};

pub(crate) fn extract(text: &[u8]) -> Points {
    let document = Document::parse(std::str::from_utf8(text).expect("UTF-8")).expect("well-formed");
    let points =
        document.descendants().filter(|node| matches!(node.tag_name().name(), "trkpt" | "Trackpoint"));
    points.map(point).collect()
}

fn point(node: Node<'_, '_>) -> Point {
    let mut point = Point::default();
    let (mut latitude_deg, mut longitude_deg) =
        (node.attribute("lat").and_then(decimal), node.attribute("lon").and_then(decimal));
    for value in node.descendants().skip(1).filter(Node::is_element) {
        let number = || decimal(value.text()?);
        match value.tag_name().name() {
            "time" | "Time" => point.time_ns = value.text().and_then(|text| time_ns(text.as_bytes())),
            "ele" | "AltitudeMeters" => point.elevation_m = number(),
            "LatitudeDegrees" => latitude_deg = number(),
            "LongitudeDegrees" => longitude_deg = number(),
            "hr" | "Value" => point.heart_rate_bpm = number(),
            "cad" | "RunCadence" => point.cadence_spm = number(),
            "DistanceMeters" => point.distance_m = number(),
            "speed" | "Speed" => point.speed_m_per_s = number(),
            _ => {}
        }
    }
    point.position = latitude_deg
        .zip(longitude_deg)
        .map(|(latitude_deg, longitude_deg)| Position { latitude_deg, longitude_deg });
    point
}

//! The same points as other libraries find: quick-xml events and the gpx crate.

use boutwise_track::{Point, ReadSettings, read_raw};
use chrono::DateTime;

use crate::generated;
use crate::open_recordings::{RECORDINGS, open_data};
use crate::quick_xml_peer;
use crate::samples::sample;

fn well_formed() -> Vec<(String, Vec<u8>)> {
    let open = RECORDINGS.into_iter().filter_map(|name| Some((name.to_owned(), open_data(name)?)));
    let generated = [
        ("generated GPX".to_owned(), generated::gpx(3000)),
        ("generated TCX".to_owned(), generated::tcx(3000)),
    ];
    let samples = [
        "A1-one-track.gpx",
        "A2-segments.gpx",
        "C2-some-heart-rate.gpx",
        "D1-laps.tcx",
        "D4-no-position.tcx",
    ];
    generated.into_iter().chain(open).chain(samples.map(|name| (name.to_owned(), sample(name)))).collect()
}

fn points(text: &[u8]) -> Vec<Point> {
    let reading = read_raw(text, &ReadSettings::default()).expect("well-formed");
    reading.sessions.iter().flat_map(|session| session.points.iter().collect::<Vec<_>>()).collect()
}

/// Reference: quick-xml with the standard library's numbers.
#[test]
fn every_value_is_the_one_that_quick_xml_finds() {
    for (name, text) in well_formed() {
        let found = points(&text);
        let expected = quick_xml_peer::extract(&text, quick_xml_peer::standard);
        assert_eq!(found.len(), expected.len(), "{name}");
        assert!(quick_xml_peer::extract(&text, quick_xml_peer::decimal).iter().eq(expected.iter()), "{name}");
        for (index, (found, expected)) in found.iter().zip(expected.iter()).enumerate() {
            assert_eq!(*found, expected, "{name}, point {index}");
        }
    }
}

/// Reference: the gpx crate.
#[test]
fn points_times_and_positions_are_those_of_the_gpx_crate() {
    for (name, text) in
        well_formed().into_iter().filter(|(_, text)| !text.windows(5).any(|five| five == b"<Lap "))
    {
        let document = gpx::read(text.as_slice()).unwrap_or_else(|error| panic!("{name}: {error}"));
        let expected: Vec<(i64, f64, f64, Option<f64>)> = document
            .tracks
            .iter()
            .flat_map(|track| &track.segments)
            .flat_map(|segment| &segment.points)
            .map(|point| {
                let time = point.time.expect("timed").format().expect("a date");
                let time = DateTime::parse_from_rfc3339(&time).expect("RFC 3339");
                (
                    time.timestamp_nanos_opt().expect("this century"),
                    point.point().y(),
                    point.point().x(),
                    point.elevation,
                )
            })
            .collect();
        let found: Vec<(i64, f64, f64, Option<f64>)> = points(&text)
            .iter()
            .map(|point| {
                let position = point.position.expect("GPX demands it");
                (
                    point.time_ns.expect("timed"),
                    position.latitude_deg,
                    position.longitude_deg,
                    point.elevation_m,
                )
            })
            .collect();
        assert_eq!(found, expected, "{name}");
    }
}

#[test]
fn gpx_and_tcx_of_the_same_data_give_the_same_points() {
    let shared = |text: &[u8]| -> Vec<Point> {
        points(text)
            .into_iter()
            .map(|point| Point { distance_m: None, speed_m_per_s: None, ..point })
            .collect()
    };
    // The generated files draw their numbers alike for the same count.
    assert_eq!(shared(&generated::gpx(500)), shared(&generated::tcx(500)));
}

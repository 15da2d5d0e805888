//! Well-formed files of every habit: by layouts, by the lexer alone, and by quick-xml, the same points come out.
#![no_main]

#[path = "../../tests/reading/quick_xml_peer.rs"]
#[allow(dead_code)]
mod quick_xml_peer;

use std::fmt::Write;

use arbitrary::{Arbitrary, Result, Unstructured};
use boutwise_track::{Point, ReadSettings, read_raw};
use boutwise_track_fuzz::assert_same;
use libfuzzer_sys::fuzz_target;

/// How a writer writes all its points.
#[derive(Arbitrary, Debug)]
struct Habits {
    is_gpx: bool,
    indented: bool,
    carriage_returns: bool,
    single_quotes: bool,
    longitude_first: bool,
    prefix: bool,
    decimals: u8,
    fraction_digits: u8,
    unneeded: bool,
}

#[derive(Arbitrary, Debug)]
struct Values {
    time_s: u16,
    latitude: i32,
    longitude: i32,
    elevation: Option<i16>,
    heart_rate: Option<u8>,
    cadence: Option<u8>,
    distance: Option<u16>,
    speed: Option<u8>,
}

/// An element on its own line, if there is a value.
fn element(text: &mut String, habits: &Habits, name: &str, value: Option<impl std::fmt::Display>) {
    let Some(value) = value else { return };
    if habits.indented {
        text.push_str(if habits.carriage_returns { "\r\n\t" } else { "\n      " });
    }
    write!(text, "<{name}>{value}</{name}>").expect("strings take everything");
}

fn time(habits: &Habits, values: &Values) -> String {
    let fraction = match habits.fraction_digits % 10 {
        0 => String::new(),
        digits => format!(".{:0width$}", values.time_s % 10, width = usize::from(digits)),
    };
    let (hour, minute, second) = (values.time_s / 3600, values.time_s / 60 % 60, values.time_s % 60);
    format!("2024-02-29T{hour:02}:{minute:02}:{second:02}{fraction}Z")
}

fn point(text: &mut String, habits: &Habits, values: &Values) {
    let decimals = usize::from(habits.decimals % 18);
    let latitude = format!("{:.decimals$}", f64::from(values.latitude) * 4e-8);
    let longitude = format!("{:.decimals$}", f64::from(values.longitude) * 8e-8);
    let elevation = values.elevation.map(|decimetres| format!("{:.1}", f64::from(decimetres) / 10.0));
    let speed = values.speed.map(|tenths| format!("{:.3}", f64::from(tenths) / 10.0));
    let prefix = if habits.prefix { "ns3:" } else { "" };
    if habits.is_gpx {
        let quote = if habits.single_quotes { '\'' } else { '"' };
        let latitude = format!("lat={quote}{latitude}{quote}");
        let longitude = format!("lon={quote}{longitude}{quote}");
        let (first, second) =
            if habits.longitude_first { (longitude, latitude) } else { (latitude, longitude) };
        write!(text, "<trkpt {first} {second}>").expect("strings take everything");
        element(text, habits, "ele", elevation);
        element(text, habits, "time", Some(time(habits, values)));
        element(text, habits, "sat", habits.unneeded.then_some(values.time_s));
        text.push_str("<extensions><x>");
        element(text, habits, &format!("{prefix}hr"), values.heart_rate);
        element(text, habits, &format!("{prefix}cad"), values.cadence);
        element(text, habits, &format!("{prefix}speed"), speed);
        text.push_str("</x></extensions></trkpt>");
    } else {
        text.push_str("<Trackpoint>");
        element(text, habits, "Time", Some(time(habits, values)));
        text.push_str("<Position>");
        element(text, habits, "LatitudeDegrees", Some(latitude));
        element(text, habits, "LongitudeDegrees", Some(longitude));
        text.push_str("</Position>");
        element(text, habits, "AltitudeMeters", elevation);
        element(text, habits, "DistanceMeters", values.distance);
        if let Some(heart_rate) = values.heart_rate {
            text.push_str("<HeartRateBpm>");
            element(text, habits, "Value", Some(heart_rate));
            text.push_str("</HeartRateBpm>");
        }
        element(text, habits, "Unneeded", habits.unneeded.then_some("some text"));
        text.push_str("<Extensions><x>");
        element(text, habits, &format!("{prefix}Speed"), speed);
        element(text, habits, &format!("{prefix}RunCadence"), values.cadence);
        text.push_str("</x></Extensions></Trackpoint>");
    }
}

fn file(input: &mut Unstructured<'_>) -> Result<String> {
    let habits = Habits::arbitrary(input)?;
    let (head, tail) = if habits.is_gpx {
        ("<gpx><trk><trkseg>", "</trkseg></trk></gpx>")
    } else {
        (
            "<TrainingCenterDatabase><Activities><Activity><Lap><Track>",
            "</Track></Lap></Activity></Activities></TrainingCenterDatabase>",
        )
    };
    let mut text = head.to_owned();
    for values in input.arbitrary_iter::<Values>()? {
        point(&mut text, &habits, &values?);
    }
    text.push_str(tail);
    Ok(text)
}

fuzz_target!(|data: &[u8]| {
    let Ok(text) = file(&mut Unstructured::new(data)) else { return };
    assert_same(text.as_bytes());
    let expected = quick_xml_peer::extract(text.as_bytes(), quick_xml_peer::standard);
    let found: Vec<Point> = match read_raw(text.as_bytes(), &ReadSettings::default()) {
        Ok(reading) => {
            reading.sessions.iter().flat_map(|session| session.points.iter().collect::<Vec<_>>()).collect()
        }
        Err(_) => Vec::new(),
    };
    assert!(found.iter().copied().eq(expected.iter()), "{found:?}");
});

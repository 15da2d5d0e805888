//! Extraction with serde on top of quick-xml: one structure a format, missing elements as `None`.

use boutwise_track::{Point, Points, Position};
use serde::Deserialize;

use crate::quick_xml_peer::time_ns;

#[derive(Deserialize)]
struct Gpx {
    trk: Vec<GpxTrack>,
}

#[derive(Deserialize)]
struct GpxTrack {
    trkseg: Vec<GpxSegment>,
}

#[derive(Deserialize)]
struct GpxSegment {
    trkpt: Vec<GpxPoint>,
}

#[derive(Deserialize)]
struct GpxPoint {
    #[serde(rename = "@lat")]
    latitude_deg: f64,
    #[serde(rename = "@lon")]
    longitude_deg: f64,
    ele: Option<f64>,
    time: Option<String>,
    extensions: Option<GpxExtensions>,
}

#[derive(Deserialize)]
struct GpxExtensions {
    #[serde(rename = "TrackPointExtension")]
    point: Option<GpxSensors>,
}

#[derive(Deserialize)]
struct GpxSensors {
    hr: Option<f64>,
    cad: Option<f64>,
    speed: Option<f64>,
}

#[derive(Deserialize)]
#[serde(rename_all = "PascalCase")]
struct Tcx {
    activities: Activities,
}

#[derive(Deserialize)]
#[serde(rename_all = "PascalCase")]
struct Activities {
    activity: Vec<Activity>,
}

#[derive(Deserialize)]
#[serde(rename_all = "PascalCase")]
struct Activity {
    lap: Vec<Lap>,
}

#[derive(Deserialize)]
#[serde(rename_all = "PascalCase")]
struct Lap {
    track: Vec<Track>,
}

#[derive(Deserialize)]
#[serde(rename_all = "PascalCase")]
struct Track {
    trackpoint: Vec<Trackpoint>,
}

#[derive(Deserialize)]
#[serde(rename_all = "PascalCase")]
struct Trackpoint {
    time: Option<String>,
    position: Option<Place>,
    altitude_meters: Option<f64>,
    distance_meters: Option<f64>,
    heart_rate_bpm: Option<HeartRate>,
    extensions: Option<TcxExtensions>,
}

#[derive(Deserialize)]
#[serde(rename_all = "PascalCase")]
struct Place {
    latitude_degrees: f64,
    longitude_degrees: f64,
}

#[derive(Deserialize)]
#[serde(rename_all = "PascalCase")]
struct HeartRate {
    value: f64,
}

#[derive(Deserialize)]
struct TcxExtensions {
    #[serde(rename = "TPX")]
    point: Option<TcxSensors>,
}

#[derive(Deserialize)]
#[serde(rename_all = "PascalCase")]
struct TcxSensors {
    speed: Option<f64>,
    run_cadence: Option<f64>,
}

pub(crate) fn extract(text: &[u8]) -> Points {
    let text = std::str::from_utf8(text).expect("UTF-8");
    if text.contains("<gpx") {
        let file: Gpx = quick_xml::de::from_str(text).expect("valid");
        file.trk
            .into_iter()
            .flat_map(|track| track.trkseg)
            .flat_map(|segment| segment.trkpt)
            .map(gpx_point)
            .collect()
    } else {
        let file: Tcx = quick_xml::de::from_str(text).expect("valid");
        let laps = file.activities.activity.into_iter().flat_map(|activity| activity.lap);
        laps.flat_map(|lap| lap.track).flat_map(|track| track.trackpoint).map(tcx_point).collect()
    }
}

fn gpx_point(point: GpxPoint) -> Point {
    let sensors = point.extensions.and_then(|extensions| extensions.point);
    Point {
        time_ns: point.time.and_then(|time| time_ns(time.as_bytes())),
        position: Some(Position { latitude_deg: point.latitude_deg, longitude_deg: point.longitude_deg }),
        elevation_m: point.ele,
        heart_rate_bpm: sensors.as_ref().and_then(|sensors| sensors.hr),
        cadence_spm: sensors.as_ref().and_then(|sensors| sensors.cad),
        distance_m: None,
        speed_m_per_s: sensors.and_then(|sensors| sensors.speed),
    }
}

fn tcx_point(point: Trackpoint) -> Point {
    let sensors = point.extensions.and_then(|extensions| extensions.point);
    Point {
        time_ns: point.time.and_then(|time| time_ns(time.as_bytes())),
        position: point.position.map(|place| Position {
            latitude_deg: place.latitude_degrees,
            longitude_deg: place.longitude_degrees,
        }),
        elevation_m: point.altitude_meters,
        heart_rate_bpm: point.heart_rate_bpm.map(|heart_rate| heart_rate.value),
        cadence_spm: sensors.as_ref().and_then(|sensors| sensors.run_cadence),
        distance_m: point.distance_meters,
        speed_m_per_s: sensors.and_then(|sensors| sensors.speed),
    }
}

//! GPX 1.1: by the GPX library without sensors, by hand with them, since the library writes no extensions.

use std::io;

use geo::Point;
use gpx::{Gpx, GpxVersion, Track, TrackSegment, Waypoint};
use time::OffsetDateTime;

use super::xml::Xml;
use super::{FileSettings, Written};
use crate::SyntheticSession;

/// Namespace of GPX 1.1.
const GPX: &str = "http://www.topografix.com/GPX/1/1";
/// Namespace of TrackPointExtension v1.
const TRACK_POINT_EXTENSION: &str = "http://www.garmin.com/xmlschemas/TrackPointExtension/v1";
/// Who wrote it.
const CREATOR: &str = "invented recording";

pub(super) fn with_sensors(points: &[Written]) -> io::Result<Vec<u8>> {
    let mut xml = Xml::new()?;
    xml.line();
    let attributes =
        [("version", "1.1"), ("creator", CREATOR), ("xmlns", GPX), ("xmlns:gpxtpx", TRACK_POINT_EXTENSION)];
    xml.open("gpx", &attributes)?;
    xml.open("trk", &[])?;
    xml.text("type", "running")?;
    xml.open("trkseg", &[])?;
    xml.line();
    for point in points {
        let Some((latitude, longitude)) = &point.position else { continue };
        if point.begins_segment {
            xml.close("trkseg")?;
            xml.open("trkseg", &[])?;
            xml.line();
        }
        xml.open("trkpt", &[("lat", latitude), ("lon", longitude)])?;
        if let Some(elevation) = &point.elevation {
            xml.text("ele", elevation)?;
        }
        xml.text("time", &point.time)?;
        if point.heart_rate.is_some() || point.cadence.is_some() {
            xml.open("extensions", &[])?;
            xml.open("gpxtpx:TrackPointExtension", &[])?;
            if let Some(heart_rate) = &point.heart_rate {
                xml.text("gpxtpx:hr", heart_rate)?;
            }
            if let Some(cadence) = &point.cadence {
                xml.text("gpxtpx:cad", cadence)?;
            }
            xml.close("gpxtpx:TrackPointExtension")?;
            xml.close("extensions")?;
        }
        xml.close("trkpt")?;
        xml.line();
    }
    xml.close("trkseg")?;
    xml.close("trk")?;
    xml.close("gpx")?;
    xml.line();
    Ok(xml.into_bytes())
}

pub(super) fn plain(session: &SyntheticSession, settings: &FileSettings) -> io::Result<Vec<u8>> {
    let mut track = Track::new();
    let mut segment = TrackSegment::new();
    for (index, point) in session.recording.points.iter().enumerate() {
        let (Some(time_ns), Some(position)) = (point.time_ns, point.position) else { continue };
        let marked = session.recording.marks.iter().any(|mark| mark.index == index);
        let split = settings.split_every.is_some_and(|every| index % every.max(1) == 0);
        if index > 0 && (marked || split) {
            track.segments.push(std::mem::take(&mut segment));
        }
        let mut waypoint = Waypoint::new(Point::new(position.longitude_deg, position.latitude_deg));
        waypoint.elevation = point.elevation_m;
        let time =
            OffsetDateTime::from_unix_timestamp_nanos(i128::from(time_ns)).map_err(io::Error::other)?;
        waypoint.time = Some(time.into());
        segment.points.push(waypoint);
    }
    track.segments.push(segment);
    let gpx = Gpx {
        version: GpxVersion::Gpx11,
        creator: Some(CREATOR.to_owned()),
        tracks: vec![track],
        ..Default::default()
    };
    let mut bytes = Vec::new();
    gpx::write(&gpx, &mut bytes).map_err(io::Error::other)?;
    Ok(bytes)
}

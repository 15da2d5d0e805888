//! TCX v2: one activity, a lap a kilometre, speed and cadence in ActivityExtension v2.

use std::io;

use chrono::DateTime;

use super::Written;
use super::xml::Xml;

/// Namespace of TCX v2.
const TRAINING_CENTER: &str = "http://www.garmin.com/xmlschemas/TrainingCenterDatabase/v2";
/// Namespace of ActivityExtension v2.
const ACTIVITY_EXTENSION: &str = "http://www.garmin.com/xmlschemas/ActivityExtension/v2";
/// A lap ends with each kilometre.
const LAP_M: f64 = 1000.0;

pub(super) fn bytes(points: &[Written]) -> io::Result<Vec<u8>> {
    let mut xml = Xml::new()?;
    xml.line();
    let attributes = [("xmlns", TRAINING_CENTER), ("xmlns:ns3", ACTIVITY_EXTENSION)];
    xml.open("TrainingCenterDatabase", &attributes)?;
    xml.open("Activities", &[])?;
    xml.open("Activity", &[("Sport", "Running")])?;
    xml.text("Id", points.first().map_or("", |point| point.time.as_str()))?;
    for lap in points.chunk_by(|a, b| (a.distance_m / LAP_M).floor() == (b.distance_m / LAP_M).floor()) {
        write_lap(&mut xml, lap)?;
    }
    xml.close("Activity")?;
    xml.close("Activities")?;
    xml.close("TrainingCenterDatabase")?;
    xml.line();
    Ok(xml.into_bytes())
}

fn write_lap(xml: &mut Xml, points: &[Written]) -> io::Result<()> {
    let (first, last) = (&points[0], &points[points.len() - 1]);
    xml.open("Lap", &[("StartTime", &first.time)])?;
    xml.text("TotalTimeSeconds", &format!("{:.1}", seconds_between(&first.time, &last.time)))?;
    xml.text("DistanceMeters", &format!("{:.2}", last.distance_m - first.distance_m))?;
    xml.text("Calories", "0")?;
    xml.text("Intensity", "Active")?;
    xml.text("TriggerMethod", "Distance")?;
    xml.open("Track", &[])?;
    xml.line();
    for (index, point) in points.iter().enumerate() {
        if index > 0 && point.begins_segment {
            xml.close("Track")?;
            xml.open("Track", &[])?;
            xml.line();
        }
        write_point(xml, point)?;
    }
    xml.close("Track")?;
    xml.close("Lap")?;
    xml.line();
    Ok(())
}

fn write_point(xml: &mut Xml, point: &Written) -> io::Result<()> {
    xml.open("Trackpoint", &[])?;
    xml.text("Time", &point.time)?;
    if let Some((latitude, longitude)) = &point.position {
        xml.open("Position", &[])?;
        xml.text("LatitudeDegrees", latitude)?;
        xml.text("LongitudeDegrees", longitude)?;
        xml.close("Position")?;
    }
    if let Some(elevation) = &point.elevation {
        xml.text("AltitudeMeters", elevation)?;
    }
    if !point.paused {
        xml.text("DistanceMeters", &format!("{:.2}", point.distance_m))?;
    }
    if let Some(heart_rate) = &point.heart_rate {
        xml.open("HeartRateBpm", &[])?;
        xml.text("Value", heart_rate)?;
        xml.close("HeartRateBpm")?;
    }
    xml.open("Extensions", &[])?;
    xml.open("ns3:TPX", &[])?;
    if !point.paused {
        xml.text("ns3:Speed", &format!("{:.3}", point.speed_m_per_s))?;
    }
    if let Some(cadence) = &point.cadence {
        xml.text("ns3:RunCadence", cadence)?;
    }
    xml.close("ns3:TPX")?;
    xml.close("Extensions")?;
    xml.close("Trackpoint")?;
    xml.line();
    Ok(())
}

/// Seconds between two written times; 0 where one cannot be read.
fn seconds_between(from: &str, to: &str) -> f64 {
    match (DateTime::parse_from_rfc3339(from), DateTime::parse_from_rfc3339(to)) {
        (Ok(from), Ok(to)) => (to - from).num_milliseconds() as f64 / 1000.0,
        _ => 0.0,
    }
}

//! Drives are cut off before anything is learned from a recording, and told as gaps.

use std::ops::Range;

use boutwise_track::Recording;

use crate::segment::{seconds_from_first, segment_on_foot};
use crate::{Bout, Kind, SegmentSettings, Segmentation};

/// Segments a recording of which `on_foot` is what no vehicle explains.
pub(crate) fn segment_around_drives(
    recording: &Recording,
    on_foot: &Recording,
    settings: &SegmentSettings,
) -> Segmentation {
    let times_s = seconds_from_first(recording.points.time_ns());
    let vehicles = vehicles(recording, &times_s);
    let mut found = segment_on_foot(on_foot, settings);
    let end_s = times_s.last().copied().unwrap_or(0.0);
    // The first point on foot is the end of a drive at the start.
    let offset_s = vehicles.first().filter(|drive| drive.start == 0.0).map_or(0.0, |drive| drive.end);
    for bout in &mut found.bouts {
        bout.start_s += offset_s;
        bout.end_s += offset_s;
    }
    for unseen in &mut found.unseen {
        *unseen = unseen.start + offset_s..unseen.end + offset_s;
    }
    if offset_s > 0.0 {
        found.bouts.insert(0, Bout::new(Kind::Gap, 0.0, offset_s));
    }
    let last_s = found.bouts.last().map_or(0.0, |bout| bout.end_s);
    if end_s > last_s {
        found.bouts.push(Bout::new(Kind::Gap, last_s, end_s));
    }
    let before = offset_s.round() as usize;
    let series = &mut found.series;
    series.timeline.delay(before);
    let cells = series.timeline.cell(end_s.ceil() as usize);
    for column in [&mut series.speed_m_per_s, &mut series.heart_rate_bpm, &mut series.cadence_spm] {
        column.splice(0..0, std::iter::repeat_n(f32::NAN, before));
        column.resize(cells, f32::NAN);
    }
    found.vehicles = vehicles;
    found
}

/// Drives in seconds, each from the last point on foot before it to the first one after it.
fn vehicles(recording: &Recording, times_s: &[f64]) -> Vec<Range<f64>> {
    let time_s = |index: usize| times_s[index.min(times_s.len() - 1)];
    let of = |drive: &Range<usize>| time_s(drive.start.saturating_sub(1))..time_s(drive.end);
    recording.faster_than_legs.iter().map(of).collect()
}

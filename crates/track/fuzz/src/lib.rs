//! What several targets check.

use boutwise_track::{RawReading, ReadSettings, read_raw, read_text};

/// All columns of all sessions, bit by bit.
pub fn columns(reading: &RawReading) -> Vec<Vec<u64>> {
    let mut columns = Vec::new();
    for session in &reading.sessions {
        let points = &session.points;
        columns.push(points.time_ns().iter().map(|&time_ns| time_ns as u64).collect());
        for column in [
            points.latitude_deg(),
            points.longitude_deg(),
            points.elevation_m(),
            points.heart_rate_bpm(),
            points.cadence_spm(),
            points.distance_m(),
            points.speed_m_per_s(),
            &session.bicycle_cadence_rpm,
        ] {
            columns.push(column.iter().map(|value| value.to_bits()).collect());
        }
    }
    columns
}

/// Reads by layouts and by the lexer alone: points, marks, notes and errors must be the same.
pub fn assert_same(text: &[u8]) {
    let read = |without_layouts| read_raw(text, &ReadSettings { without_layouts, ..ReadSettings::default() });
    match (read(false), read(true)) {
        (Ok(short), Ok(long)) => {
            assert_eq!(columns(&short), columns(&long));
            assert_eq!(short.format, long.format);
            assert_eq!(short.points_broken, long.points_broken);
            assert_eq!(short.notes(text), long.notes(text));
            for (short, long) in short.sessions.iter().zip(&long.sessions) {
                assert_eq!(short.sport, long.sport);
                assert_eq!(short.point_bytes, long.point_bytes);
                assert_eq!(short.marks, long.marks);
                assert_eq!(short.utc_offset_s, long.utc_offset_s);
            }
        }
        (short, long) => assert_eq!(short.err(), long.err()),
    }
}

/// Reads and cleans a text; what comes out must keep the promises of a recording.
pub fn assert_sound(text: &[u8]) {
    let Ok(reading) = read_text(text, &ReadSettings::default()) else { return };
    assert!(reading.points_kept > 0);
    for recording in &reading.recordings {
        assert!(recording.points.time_ns().windows(2).all(|pair| pair[0] < pair[1]));
        assert!(recording.distance_m().is_none_or(f64::is_finite));
        assert!(recording.marks.iter().all(|mark| mark.index < recording.points.len()));
        assert!(recording.faster_than_legs.iter().all(|range| range.end <= recording.points.len()));
    }
}

//! Memory follows what was recorded, not the clock: a gap of a year takes as much as one of a minute.

use boutwise_bouts::{Kind, MeasureSettings, SegmentSettings, Segmentation, Session, measure, segment};
use boutwise_track::{Point, Position, Recording};
use peak_alloc::PeakAlloc;

#[global_allocator]
static ALLOCATED: PeakAlloc = PeakAlloc;

/// Most bytes that segmentation takes for a point a second; in a gap a point stands for 41 s at most.
const MAX_BYTES_PER_SECOND: usize = 300;
const SECONDS_OF_A_GAP: usize = 41;
/// Bytes that any segmentation may take: tables made once.
const ALLOWANCE_BYTES: usize = 400_000;

/// Two stretches of walks and runs in turn, a point a second, with `gap_s` between them, along a meridian.
fn outing(gap_s: i64) -> Recording {
    let mut recording = Recording::default();
    let mut metres = 0.0;
    for second in 0..2400_i64 {
        let late_s = if second >= 1200 { gap_s } else { 0 };
        let position = Position { latitude_deg: metres / 110_574.0, longitude_deg: 0.0 };
        recording.points.push(Point {
            time_ns: Some((second + late_s) * 1_000_000_000),
            position: Some(position),
            heart_rate_bpm: Some(130.0),
            ..Point::default()
        });
        metres += if second % 150 < 70 { 2.4 } else { 1.4 };
    }
    recording
}

/// Points so many seconds apart.
fn scattered(points: i64, apart_s: i64) -> Recording {
    let point = |index: i64| Point {
        time_ns: Some(index * apart_s * 1_000_000_000),
        position: Some(Position { latitude_deg: 1e-4 * index as f64, longitude_deg: 0.0 }),
        ..Point::default()
    };
    Recording { points: (0..points).map(point).collect(), ..Recording::default() }
}

fn measured(recording: &Recording) -> (Segmentation, Session, usize) {
    let before = ALLOCATED.current_usage();
    ALLOCATED.reset_peak_usage();
    let segmentation = segment(recording, &SegmentSettings::default());
    let session = measure(recording, &segmentation, &MeasureSettings::default());
    (segmentation, session, ALLOCATED.peak_usage() - before)
}

/// One test only: the allocator counts for the whole process.
#[test]
fn a_gap_of_a_year_costs_what_a_gap_of_a_minute_does() {
    const YEAR_S: i64 = 31_536_000;
    let (minute, minute_session, minute_bytes) = measured(&outing(60));
    for gap_s in [600, 86_400, YEAR_S] {
        let (found, session, bytes) = measured(&outing(gap_s));
        assert!(bytes <= minute_bytes + 50_000, "{gap_s} s: {bytes} against {minute_bytes} bytes");
        let late_s = (gap_s - 60) as f64;
        for (bout, other) in found.bouts.iter().zip(&minute.bouts) {
            let moved_s = |second: f64| if second > 1230.0 { second + late_s } else { second };
            assert_eq!((bout.kind, bout.start_s), (other.kind, moved_s(other.start_s)), "{gap_s}");
            if bout.kind != Kind::Gap {
                assert_eq!(
                    bout,
                    &boutwise_bouts::Bout { start_s: bout.start_s, end_s: bout.end_s, ..other.clone() }
                );
            }
        }
        assert_eq!(found.bouts.len(), minute.bouts.len());
        assert_eq!(session.pace_drift, minute_session.pace_drift);
        assert_eq!(session.gap_s, minute_session.gap_s + late_s);
    }
    for (points, apart_s) in [(100, 72_000), (366, 86_400), (5_000, 540), (5_000, 19)] {
        let (_, session, bytes) = measured(&scattered(points, apart_s));
        assert_eq!(session.duration_s, ((points - 1) * apart_s) as f64);
        let most = MAX_BYTES_PER_SECOND * SECONDS_OF_A_GAP * points as usize + ALLOWANCE_BYTES;
        println!("{points} points {apart_s} s apart: {bytes} bytes");
        assert!(bytes <= most, "{points} points {apart_s} s apart: {bytes} of {most} bytes");
    }
}

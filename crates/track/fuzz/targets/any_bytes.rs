//! Any bytes as a file: whatever arrives is read or refused, and handed over at least once.
#![no_main]

use boutwise_track::{Fingerprint, ReadSettings, Status, read_bytes};
use libfuzzer_sys::fuzz_target;

fuzz_target!(|bytes: &[u8]| {
    let mut handed_over = 0;
    read_bytes("a.gpx", bytes, &ReadSettings::default(), &mut |reading| {
        handed_over += 1;
        let has_points = matches!(reading.status, Status::Read | Status::Partial) && reading.error.is_none();
        assert_eq!(has_points, reading.points_kept > 0);
        for recording in &reading.recordings {
            assert!(recording.points.time_ns().windows(2).all(|pair| pair[0] < pair[1]));
            Fingerprint::of(recording);
        }
    });
    assert!(handed_over > 0);
});

//! Sampling and positions (L).

use boutwise_track::NoteKind;

use crate::samples::{kinds, note, present, seconds, session};

#[test]
fn l1_irregular_steps_are_kept_as_they_are() {
    let recording = session("L1-irregular-steps.gpx");
    assert_eq!(seconds(&recording), [0.0, 1.0, 4.0, 14.0, 15.0, 20.0, 29.0, 30.0, 40.0, 50.0, 60.0]);
    assert!(recording.notes.is_empty());
}

#[test]
fn l2_a_pause_is_one_session() {
    let recording = session("L2-pause-at-one-place.gpx");
    assert_eq!((recording.points.len(), recording.duration_s()), (60, 359.0));
    assert!(recording.notes.is_empty());
}

#[test]
fn l3_a_lost_signal_is_noted_and_bridged() {
    let recording = session("L3-lost-signal.gpx");
    assert_eq!(kinds(&recording.notes), [NoteKind::LostSignal]);
    assert!((recording.distance_m().expect("positions") - 794.0).abs() < 2.0);
}

#[test]
fn a_signal_that_is_lost_while_points_go_on_is_noted_too() {
    let of = |lost: std::ops::Range<u32>| {
        let point = |second: u32| {
            let degrees = 41.5 + f64::from(second) * 2.5 / 111_000.0;
            let position = format!(
                "<Position><LatitudeDegrees>{degrees:.7}</LatitudeDegrees><LongitudeDegrees>2.5</LongitudeDegrees></Position>"
            );
            let position = if lost.contains(&second) { "" } else { &position };
            let time = format!("2025-03-01T10:{:02}:{:02}Z", second / 60, second % 60);
            format!("<Trackpoint><Time>{time}</Time>{position}</Trackpoint>")
        };
        let points: String = (0..240).map(point).collect();
        let text = format!(
            "<TrainingCenterDatabase><Activities><Activity Sport=\"Running\"><Lap><Track>{points}</Track></Lap></Activity></Activities></TrainingCenterDatabase>"
        );
        let reading =
            boutwise_track::read_text(text.as_bytes(), &boutwise_track::ReadSettings::default()).unwrap();
        kinds(&reading.recordings[0].notes).contains(&NoteKind::LostSignal)
    };
    assert_eq!([of(100..170), of(100..150), of(0..0)], [true, false, false]);
}

#[test]
fn l4_wild_positions_before_the_fix_are_no_distance() {
    let recording = session("L4-wild-before-the-fix.gpx");
    assert_eq!((recording.points.len(), present(recording.points.latitude_deg())), (60, 57));
    assert_eq!(note(&recording.notes, NoteKind::WildPosition).count, 3);
    assert!(recording.distance_m().expect("positions") < 130.0);
}

#[test]
fn l5_one_point_far_off_is_left_out() {
    let recording = session("L5-one-point-far-off.gpx");
    assert_eq!((recording.points.len(), recording.points.get(30).position), (60, None));
    assert!((recording.distance_m().expect("positions") - 130.5).abs() < 0.5);
}

#[test]
fn l6_drift_while_standing_is_left_to_segmentation() {
    let recording = session("L6-standing-with-drift.gpx");
    assert_eq!(present(recording.points.latitude_deg()), 120);
    assert!(recording.notes.is_empty());
}

#[test]
fn l7_a_treadmill_is_no_fault() {
    let recording = session("L7-treadmill.gpx");
    assert_eq!(recording.distance_m(), Some(0.0));
    assert_eq!(recording.points.heart_rate_bpm(), [140.0; 60]);
    assert_eq!(recording.points.cadence_spm(), [160.0; 60]);
    assert!(recording.notes.is_empty());
}

#[test]
fn l8_few_decimals_are_data() {
    let recording = session("L8-few-decimals.gpx");
    assert_eq!(present(recording.points.latitude_deg()), 60);
    assert!(recording.notes.is_empty());
}

#[test]
fn l9_of_two_merged_devices_the_fuller_stream_is_kept() {
    let recording = session("L9-two-devices.gpx");
    assert_eq!(seconds(&recording), (0..60).map(f64::from).collect::<Vec<_>>());
    assert_eq!(present(recording.points.heart_rate_bpm()), 60);
    assert_eq!(note(&recording.notes, NoteKind::MergedDevices).count, 60);
    assert!((recording.distance_m().expect("positions") - 130.5).abs() < 0.5);
}

#[test]
fn l10_one_point_a_minute_is_noted_as_coarse() {
    let recording = session("L10-one-point-a-minute.gpx");
    assert_eq!(recording.points.len(), 20);
    assert_eq!(kinds(&recording.notes), [NoteKind::Coarse]);
}

#[test]
fn l11_the_drive_home_is_marked() {
    let recording = session("L11-drive-home.gpx");
    assert_eq!(present(recording.points.latitude_deg()), 420);
    let [drive] = recording.faster_than_legs.as_slice() else { panic!("{:?}", recording.faster_than_legs) };
    // It begins at 240 s; a mean speed that rises, and rolling out up to 10 s, go with the drive.
    assert!((225..=242).contains(&drive.start) && drive.end == 420, "{drive:?}");
    note(&recording.notes, NoteKind::FasterThanLegs);
}

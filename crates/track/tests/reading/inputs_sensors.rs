//! Sensors (C) and TCX (D).

use boutwise_track::{ErrorKind, MarkKind, NoteKind, ReadSettings, Recording, Sport, read_text};

use crate::samples::{error, kinds, note, points, present, read, seconds, session};

#[test]
fn c1_heart_rates_0_and_255_are_missing() {
    let recording = session("C1-heart-rate-fills.gpx");
    assert_eq!(present(recording.points.heart_rate_bpm()), 58);
    assert_eq!(note(&recording.notes, NoteKind::HeartRateFill).count, 2);
}

#[test]
fn c2_heart_rate_is_optional_point_by_point() {
    let recording = session("C2-some-heart-rate.gpx");
    assert_eq!((recording.points.len(), present(recording.points.heart_rate_bpm())), (60, 15));
}

#[test]
fn c3_cadence_0_is_standing_or_a_dropout() {
    let recording = session("C3-cadence-zero.gpx");
    assert_eq!(recording.points.get(3).cadence_spm, Some(0.0));
    assert_eq!(recording.points.get(50).cadence_spm, None);
    assert_eq!(note(&recording.notes, NoteKind::CadenceDropout).count, 1);
}

#[test]
fn c4_cadence_255_is_missing() {
    let recording = session("C4-cadence-255.gpx");
    assert_eq!(
        (recording.points.get(7).cadence_spm, recording.points.get(8).cadence_spm),
        (None, Some(160.0))
    );
}

#[test]
fn c5_cadence_of_one_leg_is_doubled_and_noted() {
    for (name, both_legs_spm) in [("C5-one-leg.gpx", 160.0), ("C5-one-leg-walking.gpx", 110.0)] {
        let recording = session(name);
        assert_eq!(recording.points.cadence_spm(), vec![both_legs_spm; 60], "{name}");
        assert_eq!(kinds(&recording.notes), [NoteKind::CadencePerLeg], "{name}");
    }
}

#[test]
fn c6_cadence_of_both_legs_stays() {
    let recording = session("C6-both-legs.gpx");
    assert_eq!(recording.points.cadence_spm(), [160.0; 60]);
    assert!(recording.notes.is_empty());
}

#[test]
fn c7_running_cadence_outranks_the_bicycle_one() {
    assert_eq!(session("C7-two-cadences.tcx").points.cadence_spm(), [160.0; 60]);
}

#[test]
fn c8_too_little_movement_gives_no_cadence_rather_than_a_guess() {
    let recording = session("C8-too-little-movement.gpx");
    assert_eq!(present(recording.points.cadence_spm()), 0);
    assert_eq!(kinds(&recording.notes), [NoteKind::CadenceUndecided]);
}

#[test]
fn c9_a_recorded_speed_of_zero_stops_nobody() {
    let recording = session("C9-recorded-speed-zero.tcx");
    assert_eq!(recording.points.speed_m_per_s(), [0.0; 60]);
    assert!(recording.distance_m().expect("positions") > 120.0);
}

#[test]
fn c10_other_sensors_are_passed_over_whatever_they_hold() {
    let recording = session("C10-other-sensors.gpx");
    assert_eq!(recording.points.heart_rate_bpm(), [140.0; 60]);
    assert!(read("C10-other-sensors.gpx").notes.is_empty());
}

#[test]
fn c11_text_in_place_of_a_number_costs_that_value_alone() {
    let reading = read("C11-no-numbers.gpx");
    assert_eq!(reading.recordings[0].points.len(), 60);
    assert_eq!(present(reading.recordings[0].points.heart_rate_bpm()), 57);
    assert_eq!(note(&reading.notes, NoteKind::BadNumber).count, 3);
    assert!(!reading.partial);
}

#[test]
fn c12_heart_rate_may_have_a_point_and_blanks() {
    assert_eq!(session("C12-heart-rate-decimal.gpx").points.heart_rate_bpm(), [140.0; 60]);
}

#[test]
fn c13_elevation_0_is_a_height_and_missing_is_missing() {
    let recording = session("C13-elevation-zero-and-missing.gpx");
    assert_eq!((recording.points.get(0).elevation_m, recording.points.get(1).elevation_m), (Some(0.0), None));
}

#[test]
fn c14_elevation_fills_are_missing() {
    let reading = read("C14-elevation-fills.gpx");
    let recording = &reading.recordings[0];
    assert_eq!(
        (present(recording.points.elevation_m()), recording.points.get(3).elevation_m),
        (57, Some(3.0))
    );
    assert_eq!(note(&reading.notes, NoteKind::ElevationFill).count, 2);
}

#[test]
fn d1_laps_are_marks_in_one_session() {
    let recording = session("D1-laps.tcx");
    assert_eq!(seconds(&recording), (0..60).map(f64::from).collect::<Vec<_>>());
    assert_eq!((recording.marks[0].index, recording.marks[0].kind), (30, MarkKind::Lap));
    assert_eq!(recording.sport, Sport::OnFoot);
}

#[test]
fn d2_a_second_track_in_a_lap_is_a_mark() {
    let recording = session("D2-two-tracks-in-a-lap.tcx");
    assert_eq!((recording.marks.len(), recording.marks[0].kind), (1, MarkKind::Segment));
}

#[test]
fn d3_the_time_between_laps_is_a_step_like_any_other() {
    let recording = session("D3-gap-between-laps.tcx");
    assert_eq!((recording.points.len(), recording.duration_s()), (60, 119.0));
}

#[test]
fn d4_without_positions_the_totals_give_the_distance() {
    let recording = session("D4-no-position.tcx");
    assert_eq!(present(recording.points.latitude_deg()), 0);
    assert_eq!(recording.distance_m(), Some(147.5));
}

#[test]
fn d5_points_without_position_keep_their_time_and_are_bridged() {
    let recording = session("D5-some-positions-missing.tcx");
    assert_eq!((recording.points.len(), present(recording.points.latitude_deg())), (60, 55));
    let whole_m = session("D1-laps.tcx").distance_m().expect("positions");
    assert!((recording.distance_m().expect("positions") - whole_m).abs() < 1e-6);
}

#[test]
fn d6_totals_that_restart_in_each_lap_are_added() {
    let recording = session("D6-totals-restart.tcx");
    assert_eq!(recording.distance_m(), Some(2.0 * 72.5));
    assert!(recording.points.distance_m().is_sorted());
}

#[test]
fn d7_a_difference_of_distances_is_noted_with_both() {
    let recording = session("D7-distance-differs.tcx");
    let text = &note(&recording.notes, NoteKind::DistanceDiffers).text;
    assert!(text.contains("177 m") && text.contains("131 m"), "{text}");
    assert!((recording.distance_m().expect("positions") - 130.5).abs() < 0.5);
}

/// Ten minutes of a treadmill, a point a second at 2.5 m/s by the device, with positions where there is one.
fn on_a_treadmill(position: impl Fn(u32) -> Option<(f64, f64)>) -> Recording {
    let point = |second: u32| {
        let position = position(second).map_or_else(String::new, |(latitude, longitude)| {
            format!(
                "<Position><LatitudeDegrees>{latitude}</LatitudeDegrees><LongitudeDegrees>{longitude}</LongitudeDegrees></Position>"
            )
        });
        let (minute, second_of, metres) = (second / 60, second % 60, 2.5 * f64::from(second));
        format!(
            "<Trackpoint><Time>2025-03-01T10:{minute:02}:{second_of:02}Z</Time>{position}<DistanceMeters>{metres}</DistanceMeters></Trackpoint>"
        )
    };
    let points: String = (0..600).map(point).collect();
    let text = format!(
        "<TrainingCenterDatabase><Activities><Activity Sport=\"Running\"><Lap><Track>{points}</Track></Lap></Activity></Activities></TrainingCenterDatabase>"
    );
    let mut reading = read_text(text.as_bytes(), &ReadSettings::default()).expect("a recording");
    reading.recordings.remove(0)
}

#[test]
fn d7_positions_that_do_not_show_the_way_do_not_lead() {
    let one_place = on_a_treadmill(|_| Some((10.5, 20.5)));
    let few = on_a_treadmill(|second| (second < 10).then(|| (10.5 + 1e-5 * f64::from(second), 20.5)));
    for recording in [one_place, few] {
        assert!(!recording.points.positions_lead());
        assert_eq!(recording.distance_m(), Some(1497.5));
        let text = &note(&recording.notes, NoteKind::DistanceLeads).text;
        assert!(text.contains("device 1498 m") && text.contains("the device's distance leads"), "{text}");
    }
    let most = on_a_treadmill(|second| (second < 400).then(|| (10.5 + 2e-5 * f64::from(second), 20.5)));
    assert!(most.points.positions_lead());
    assert!(most.distance_m().is_some_and(|metres| (metres - 882.5).abs() < 2.0), "{:?}", most.distance_m());
}

#[test]
fn d8_a_time_alone_is_a_point_and_sets_the_origin() {
    let recording = session("D8-time-alone.tcx");
    assert_eq!((recording.points.len(), seconds(&recording)[0]), (60, 0.0));
    let point = recording.points.get(0);
    assert_eq!((point.position, point.elevation_m, point.heart_rate_bpm), (None, None, None));
}

#[test]
fn d9_totals_without_points_are_no_success() {
    let error = error("D9-totals-only.tcx");
    assert_eq!(error.kind(), ErrorKind::TotalsOnly);
    assert!(error.is_no_recording() && error.to_string().contains("totals only"));
    let reading = read("D9-one-lap-of-totals.tcx");
    assert!(reading.partial);
    assert_eq!((reading.points_kept, kinds(&reading.notes)), (60, vec![NoteKind::TotalsOnly]));
}

#[test]
fn d10_a_course_is_no_recording() {
    let error = error("D10-course.tcx");
    assert_eq!(error.kind(), ErrorKind::CourseOnly);
    assert!(error.is_no_recording() && error.to_string().contains("course"));
}

#[test]
fn d11_each_activity_of_a_multi_sport_session_is_a_session_and_transitions_are_none() {
    let reading = read("D11-multi-sport.tcx");
    let found: Vec<_> =
        reading.recordings.iter().map(|recording| (recording.sport, recording.points.len())).collect();
    assert_eq!(found, [(Sport::OnFoot, 60), (Sport::Cycling, 60)]);
}

#[test]
fn d12_each_activity_is_a_session_however_close() {
    assert_eq!(read("D12-activities.tcx").recordings.len(), 2);
}

#[test]
fn d13_cycling_is_kept_under_its_sport_and_said() {
    let recording = session("D13-biking.tcx");
    assert_eq!(recording.sport, Sport::Cycling);
    assert_eq!(kinds(&recording.notes), [NoteKind::Cycling]);
}

#[test]
fn d14_another_word_leaves_the_sport_open() {
    for name in ["D14-other-sport.tcx", "D14-word-off-the-list.tcx"] {
        assert_eq!(session(name).sport, Sport::Unknown, "{name}");
    }
}

#[test]
fn d15_what_stands_before_the_declaration_is_skipped() {
    assert_eq!(points(&session("D15-before-the-declaration.tcx")), points(&session("D14-other-sport.tcx")));
}

#[test]
fn d16_sensor_values_are_found_without_tpx_and_under_any_prefix() {
    for name in ["D16-no-tpx.tcx", "D16-own-prefix.tcx"] {
        assert_eq!(session(name).points.cadence_spm(), [160.0; 60], "{name}");
    }
}

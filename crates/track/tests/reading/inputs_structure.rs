//! Structure (A), versions and namespaces (B).

use boutwise_track::{ErrorKind, MarkKind, NoteKind, ReadSettings, read_text};

use crate::samples::{error, kinds, note, points, present, read, seconds, session};

#[test]
fn a1_one_track_is_one_session_in_file_order() {
    let recording = session("A1-one-track.gpx");
    assert_eq!(seconds(&recording), (0..10).map(f64::from).collect::<Vec<_>>());
    assert_eq!(recording.points.latitude_deg()[9], 12.50018);
    assert!(recording.notes.is_empty(), "{:?}", recording.notes);
}

#[test]
fn a2_segments_are_one_session_with_a_mark() {
    let recording = session("A2-segments.gpx");
    assert_eq!(recording.points.len(), 10);
    assert_eq!(recording.marks.len(), 1);
    assert_eq!((recording.marks[0].index, recording.marks[0].kind), (5, MarkKind::Segment));
}

#[test]
fn a3_tracks_hours_apart_are_sessions_of_their_own() {
    let reading = read("A3-tracks-hours-apart.gpx");
    let starts: Vec<f64> = reading.recordings.iter().map(|recording| seconds(recording)[0]).collect();
    assert_eq!(starts, [0.0, 10_800.0]);
    assert_eq!(reading.recordings.iter().map(|recording| recording.session).collect::<Vec<_>>(), [1, 2]);
}

#[test]
fn a4_tracks_seconds_apart_are_one_session_and_no_point_is_lost_or_used_twice() {
    let recording = session("A4-tracks-seconds-apart.gpx");
    assert_eq!(seconds(&recording), (0..10).chain(12..20).map(f64::from).collect::<Vec<_>>());
}

#[test]
fn a5_a_route_is_no_recording() {
    let error = error("A5-route-only.gpx");
    assert_eq!(error.kind(), ErrorKind::RoutesOnly);
    assert!(error.is_no_recording() && error.to_string().contains("route"));
}

#[test]
fn a6_waypoints_are_no_recording_even_with_times() {
    let error = error("A6-waypoints-only.gpx");
    assert_eq!(error.kind(), ErrorKind::WaypointsOnly);
    assert!(error.is_no_recording() && error.to_string().contains("waypoint"));
}

#[test]
fn a7_waypoints_and_routes_beside_a_track_add_nothing() {
    assert_eq!(points(&session("A7-waypoint-and-route-beside.gpx")), points(&session("A1-one-track.gpx")));
}

#[test]
fn a8_no_points_is_no_success() {
    for name in ["A8-metadata-only.gpx", "A8-empty-root.gpx"] {
        let error = error(name);
        assert_eq!(error.kind(), ErrorKind::NoPoints, "{name}");
        assert!(error.is_no_recording(), "{name}");
    }
}

#[test]
fn points_in_a_form_that_is_not_read_are_counted_and_are_no_file_without_points() {
    let point = "<Trackpoint><Time>2025-03-01T10:00:00Z</Time></Trackpoint>";
    let lap = format!("<Lap><Track>{}<!--{point}--></Track></Lap>", point.repeat(7));
    let text = format!(
        "<TrainingCenterDatabase><History><Running><Run>{lap}</Run></Running></History></TrainingCenterDatabase>"
    );
    let error = read_text(text.as_bytes(), &ReadSettings::default()).unwrap_err();
    assert_eq!((error.kind(), error.is_no_recording()), (ErrorKind::OtherRecording, false));
    assert!(error.to_string().contains("holds 7 points"), "{error}");
}

#[test]
fn a9_an_empty_file_is_named_so() {
    for name in ["A9-empty.gpx", "A9-blanks.gpx"] {
        let error = error(name);
        assert_eq!(error.kind(), ErrorKind::Empty, "{name}");
        assert!(!error.is_no_recording() && error.to_string().contains("empty"), "{name}");
    }
}

#[test]
fn a10_empty_tracks_and_segments_are_skipped_without_a_word() {
    let reading = read("A10-empty-tracks-beside.gpx");
    assert_eq!(reading.recordings.len(), 1);
    assert!(reading.notes.is_empty(), "{:?}", reading.notes);
}

#[test]
fn a11_a_single_point_is_noted_and_lasts_no_time() {
    let recording = session("A11-single-point.gpx");
    assert_eq!(kinds(&recording.notes), [NoteKind::SinglePoint]);
    assert_eq!((recording.duration_s(), recording.distance_m()), (0.0, None));
}

#[test]
fn a12_on_one_line_the_byte_tells_the_place() {
    let reading = read("A12-one-line.gpx");
    let place = note(&reading.notes, NoteKind::BadNumber).place.expect("a value has a place");
    let text = crate::samples::sample("A12-one-line.gpx");
    assert_eq!(place.line, 1);
    assert!(text[place.byte as usize..].starts_with(b"--"));
}

#[test]
fn a13_quotes_order_and_blanks_of_attributes_do_not_matter() {
    let recording = session("A13-quotes-and-blanks.gpx");
    assert_eq!(recording.points.latitude_deg(), [12.5, 12.50002]);
    assert_eq!(recording.points.longitude_deg(), [-38.25, -38.25]);
}

#[test]
fn a14_all_pieces_of_a_value_are_joined() {
    let recording = session("A14-pieces-of-a-value.gpx");
    assert_eq!(recording.points.elevation_m(), [12.5; 3]);
    assert_eq!(seconds(&recording), [0.0, 1.0, 2.0]);
}

#[test]
fn a15_points_in_a_comment_do_not_exist() {
    assert_eq!(points(&session("A15-commented-point.gpx")), points(&session("A1-one-track.gpx")));
}

#[test]
fn a16_the_order_of_children_does_not_matter() {
    let point = session("A16-extensions-first.gpx").points.get(0);
    assert_eq!((point.heart_rate_bpm, point.elevation_m), (Some(140.0), Some(7.0)));
}

#[test]
fn a17_foreign_elements_of_the_same_name_are_none_of_ours() {
    assert_eq!(points(&session("A17-foreign-elements.gpx")), points(&session("A1-one-track.gpx")));
}

#[test]
fn b1_b2_speed_beside_the_position_is_read_in_every_version() {
    for name in ["B1-version-1.0.gpx", "B2-speed-in-1.1.gpx"] {
        assert_eq!(session(name).points.speed_m_per_s(), [2.2; 10], "{name}");
    }
}

#[test]
fn b3_b4_neither_version_nor_namespace_decides() {
    for name in ["B3-no-version.gpx", "B3-version-2.0.gpx", "B4-no-namespace.gpx"] {
        assert_eq!(points(&session(name)), points(&session("A1-one-track.gpx")), "{name}");
    }
}

#[test]
fn b5_to_b8_prefixes_carry_no_meaning() {
    for name in
        ["B5-all-prefixed.gpx", "B6-unusual-prefix.gpx", "B7-other-uri.gpx", "B8-undeclared-prefix.gpx"]
    {
        let recording = session(name);
        assert_eq!(recording.points.heart_rate_bpm(), [140.0; 10], "{name}");
        assert_eq!(present(recording.points.latitude_deg()), 10, "{name}");
    }
}

#[test]
fn b9_a_default_namespace_may_change_inside_extensions() {
    assert_eq!(session("B9-default-namespace-switched.gpx").points.heart_rate_bpm(), [140.0; 10]);
}

#[test]
fn b10_both_versions_of_the_extension_are_read() {
    let recording = session("B10-both-extension-versions.gpx");
    assert_eq!(present(recording.points.heart_rate_bpm()), 10);
    assert_eq!(present(recording.points.speed_m_per_s()), 5);
}

#[test]
fn b11_another_root_is_told() {
    let error = error("B11-other-root.gpx");
    assert_eq!(error.kind(), ErrorKind::OtherRoot);
    assert!(
        error.is_no_recording() && error.to_string().contains("the root element is <playlist>"),
        "{error}"
    );
}

#[test]
fn devices_are_told_apart_by_what_names_them_and_by_nothing_else() {
    let point = "<trkpt lat='47.5' lon='8.5'><time>2025-03-01T10:00:00Z</time></trkpt>";
    let gpx = |root: &str, rest: &str| format!("<gpx {root}>{rest}<trk><trkseg>{point}</trkseg></trk></gpx>");
    let lap = "<Lap><Track><Trackpoint><Time>2025-03-01T10:00:00Z</Time></Trackpoint></Track></Lap>";
    let tcx = |creator: &str| {
        format!(
            "<TrainingCenterDatabase><Activities><Activity Sport='Running'>{lap}{creator}</Activity></Activities>\
             </TrainingCenterDatabase>"
        )
    };
    let key = |text: String| {
        let reading = read_text(text.as_bytes(), &ReadSettings::default()).expect("a recording");
        assert!(!reading.partial, "{:?}", reading.notes);
        reading.recordings[0].device_key
    };
    assert_eq!(key(gpx("", "")), None);
    assert_eq!(key(tcx("")), None);
    assert_eq!(key(gpx("creator='one'", "")), key(gpx("version='1.1' creator='one'", "<metadata/>")));
    assert_ne!(key(gpx("creator='one'", "")), key(gpx("creator='two'", "")));
    let unit =
        |id: &str| key(tcx(&format!("<Creator><Name>one</Name><UnitId>{id}</UnitId><Odd/></Creator>")));
    assert!(unit("7").is_some() && unit("7") == unit(" 7 ") && unit("7") != unit("8"));
}

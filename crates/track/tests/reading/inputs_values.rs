//! Times (E) and numbers (F).

use boutwise_track::{Clock, ErrorKind, NoteKind, Quantity, ReadSettings, Recording, read_text};

use crate::samples::{
    BEGIN_S, by_quantity, error, kinds, note, points, present, read, sample, seconds, session,
};

const TEN: [f64; 10] = [0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0, 9.0];

#[test]
fn e1_to_e3_offsets_are_instants_and_kept_for_local_dates() {
    let cases = [
        ("E1-zulu.gpx", None),
        ("E2-offset.gpx", Some(7200)),
        ("E2-negative-offset.gpx", Some(-12_600)),
        ("E3-offset-without-colon.gpx", Some(7200)),
        ("E3-offset-of-hours.gpx", Some(7200)),
    ];
    for (name, offset_s) in cases {
        let recording = session(name);
        assert_eq!(seconds(&recording), TEN, "{name}");
        assert_eq!(recording.utc_offset_s, offset_s, "{name}");
    }
}

#[test]
fn e4_times_without_zone_are_utc_or_the_zone_given_and_noted_once() {
    let reading = read("E4-no-zone.gpx");
    assert_eq!(seconds(&reading.recordings[0]), TEN);
    assert_eq!(note(&reading.notes, NoteKind::NoZone).count, 10);
    let settings = ReadSettings { assumed_utc_offset_s: Some(7200), ..ReadSettings::default() };
    let reading = read_text(&sample("E4-no-zone.gpx"), &settings).expect("a recording");
    assert_eq!(seconds(&reading.recordings[0])[0], -7200.0);
    assert_eq!(reading.recordings[0].utc_offset_s, Some(7200));
    assert!(!reading.recordings[0].without_zone, "the zone was given");
}

#[test]
fn e4_only_times_none_of_which_has_a_zone_may_be_those_of_a_clock_on_the_wall() {
    assert!(session("E4-no-zone.gpx").without_zone);
    let mixed = String::from_utf8(sample("E4-no-zone.gpx")).unwrap().replacen("</time>", "Z</time>", 1);
    let reading = read_text(mixed.as_bytes(), &ReadSettings::default()).expect("a recording");
    assert_eq!(seconds(&reading.recordings[0]), TEN);
    assert!(!reading.recordings[0].without_zone);
    assert!(!session("E1-zulu.gpx").without_zone);
}

#[test]
fn e5_fractions_of_any_length_are_exact() {
    let recording = session("E5-fractions.gpx");
    let ns: Vec<i64> = recording.points.time_ns().iter().map(|ns| ns - BEGIN_S * 1_000_000_000).collect();
    assert_eq!(ns, [0, 500_000_000, 1_125_000_000, 2_000_000_001, 3_123_456_000]);
}

#[test]
fn e6_a_blank_and_lower_case_letters_are_read() {
    assert_eq!(seconds(&session("E6-blank-and-lower-case.gpx")), TEN[..4]);
}

#[test]
fn e7_e8_hour_24_and_second_60_are_the_instants_that_follow() {
    for name in ["E7-hour-24.gpx", "E8-second-60.gpx"] {
        let recording = session(name);
        let steps: Vec<i64> = recording.points.time_ns().windows(2).map(|pair| pair[1] - pair[0]).collect();
        assert_eq!(steps, [1_000_000_000; 2], "{name}");
    }
}

#[test]
fn e9_impossible_times_cost_their_points_alone() {
    let reading = read("E9-impossible-times.gpx");
    assert_eq!(seconds(&reading.recordings[0]), [0.0, 1.0, 2.0, 7.0, 8.0, 9.0]);
    assert_eq!(note(&reading.notes, NoteKind::BadTime).count, 4);
    assert_eq!((reading.points_kept, reading.points_dropped, reading.partial), (6, 4, false));
}

#[test]
fn e9_other_forms_are_read_where_they_can_mean_one_moment_only() {
    let reading = read("E9-other-forms-of-one-meaning.gpx");
    assert_eq!(seconds(&reading.recordings[0]), [0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 9.0]);
    assert_eq!(note(&reading.notes, NoteKind::UnusualTime).count, 3);
    assert_eq!(note(&reading.notes, NoteKind::BadTime).count, 1);
    assert_eq!(reading.recordings[0].utc_offset_s, None);
}

#[test]
fn e10_points_without_time_are_dropped_and_counted() {
    let reading = read("E10-some-times-missing.gpx");
    assert_eq!((reading.points_kept, reading.points_dropped), (7, 3));
    assert_eq!(note(&reading.notes, NoteKind::NoTime).count, 3);
}

#[test]
fn e11_no_time_anywhere_is_an_error_that_says_so() {
    let error = error("E11-no-times.gpx");
    assert_eq!(error.kind(), ErrorKind::NoTime);
    assert!(error.to_string().contains("time"));
}

#[test]
fn e11_times_that_cannot_be_read_are_told_with_their_place_and_not_quoted() {
    let error = error("E11-times-of-two-meanings.gpx");
    assert_eq!((error.kind(), error.place().map(|place| place.line)), (ErrorKind::NoTime, Some(5)));
    assert!(error.to_string().contains("such as 2025-03-01T10:00:00Z"), "{error}");
    assert!(!error.to_string().contains("03/01/2025"), "{error}");
}

#[test]
fn e12_e13_one_point_a_time_is_kept() {
    let reading = read("E12-same-time-same-place.gpx");
    assert_eq!(points(&reading.recordings[0]), points(&session("A1-one-track.gpx")));
    let recording = session("E13-same-time-other-place.gpx");
    assert_eq!(recording.points.len(), 9);
    assert_eq!(recording.points.latitude_deg()[4], 12.50008);
    assert_eq!(note(&recording.notes, NoteKind::SameTime).count, 1);
}

#[test]
fn e14_swapped_neighbours_are_sorted() {
    let recording = session("E14-neighbours-swapped.gpx");
    assert_eq!(points(&recording), points(&session("A1-one-track.gpx")));
    assert_eq!(note(&recording.notes, NoteKind::Unordered).count, 1);
}

#[test]
fn e14_segments_newest_first_are_sorted() {
    let recording = session("E14-segments-newest-first.gpx");
    assert_eq!(seconds(&recording), (0..90).map(|tens| f64::from(10 * tens)).collect::<Vec<_>>());
    assert_eq!(note(&recording.notes, NoteKind::Unordered).count, 60);
}

#[test]
fn e14_one_time_far_back_costs_its_point() {
    let recording = session("E14-one-time-far-back.gpx");
    assert_eq!((recording.points.len(), recording.duration_s()), (89, 890.0));
    assert_eq!(note(&recording.notes, NoteKind::ClockWrong).count, 1);
}

#[test]
fn e15_a_block_under_a_clock_an_hour_back_makes_no_run_an_hour_longer() {
    let recording = session("E15-clock-an-hour-back.gpx");
    assert_eq!((recording.points.len(), recording.duration_s()), (120, 119.0));
    assert_eq!(note(&recording.notes, NoteKind::ClockShifted).count, 20);
}

#[test]
fn e16_the_session_begins_at_the_leap() {
    let recording = session("E16-first-points-years-off.gpx");
    assert_eq!((seconds(&recording)[0], recording.duration_s()), (5.0, 54.0));
    assert_eq!(note(&recording.notes, NoteKind::ClockWrong).count, 5);
}

#[test]
fn e17_e20_midnight_and_summer_time_change_no_duration() {
    for name in ["E17-over-new-year.gpx", "E20-summer-time-begins.gpx"] {
        let recording = session(name);
        assert_eq!((recording.points.len(), recording.duration_s()), (60, 59.0), "{name}");
        assert!(recording.notes.is_empty(), "{name}");
    }
}

#[test]
fn e18_a_clock_that_was_not_set_is_noted_and_durations_hold() {
    let recording = session("E18-clock-not-set.gpx");
    assert_eq!((recording.clock, recording.duration_s()), (Clock::NotSet, 9.0));
    assert_eq!(kinds(&recording.notes), [NoteKind::ClockNotSet]);
}

#[test]
fn e19_a_date_far_off_is_read_as_written_and_the_season_judges_it() {
    let recording = session("E19-future.gpx");
    assert_eq!(recording.clock, Clock::Plausible);
    assert!(recording.notes.is_empty());
    let seconds = recording.points.time_ns()[0] / 1_000_000_000;
    assert_eq!(seconds / 86_400 / 365, 129, "2099 as the file has it");
}

#[test]
fn e21_the_offset_tells_the_local_day() {
    let recording = session("E21-local-day-is-another.gpx");
    let day = |seconds: i64| seconds.div_euclid(86_400);
    let start_s = recording.points.time_ns()[0] / 1_000_000_000;
    let offset_s = i64::from(recording.utc_offset_s.expect("written"));
    assert_eq!(day(start_s + offset_s), day(start_s) + 1);
}

#[test]
fn f1_a_decimal_comma_is_read_by_one_rule_for_the_file_and_noted() {
    let recording = session("F1-decimal-comma.gpx");
    assert_eq!(recording.points.latitude_deg()[9], 12.50018);
    assert_eq!(recording.points.elevation_m(), [4.5; 10]);
    let expected = [(Quantity::Latitude, 10), (Quantity::Longitude, 10), (Quantity::Elevation, 10)];
    assert_eq!(by_quantity(&read("F1-decimal-comma.gpx").notes, NoteKind::DecimalComma), expected);
}

#[test]
fn f2_to_f4_unusual_forms_are_the_same_numbers() {
    for name in ["F2-exponent.gpx", "F3-signs-and-zeros.gpx", "F4-blanks-round-a-number.gpx"] {
        let recording = session(name);
        assert_eq!(
            recording.points.latitude_deg(),
            session("A1-one-track.gpx").points.latitude_deg(),
            "{name}"
        );
        assert_eq!(recording.points.longitude_deg(), [-38.25; 10], "{name}");
    }
    assert_eq!(session("F3-signs-and-zeros.gpx").points.elevation_m()[..2], [5.0, 0.5]);
}

#[test]
fn f5_f6_what_is_no_number_is_missing_and_noted() {
    use Quantity::{Elevation, Latitude, Longitude};
    let cases = [
        ("F5-no-finite-number.gpx", vec![(Latitude, 1), (Longitude, 1), (Elevation, 1)], 9),
        ("F6-empty-and-word.gpx", vec![(Latitude, 2)], 10),
    ];
    for (name, expected, elevations) in cases {
        let reading = read(name);
        let recording = &reading.recordings[0];
        assert_eq!(present(recording.points.latitude_deg()), 8, "{name}");
        assert_eq!(present(recording.points.elevation_m()), elevations, "{name}");
        assert_eq!(by_quantity(&reading.notes, NoteKind::BadNumber), expected, "{name}");
    }
}

#[test]
fn f7_positions_out_of_range_are_missing_not_wrapped() {
    let reading = read("F7-out-of-range.gpx");
    assert_eq!(present(reading.recordings[0].points.latitude_deg()), 8);
    let expected = [(Quantity::Latitude, 1), (Quantity::Longitude, 1)];
    assert_eq!(by_quantity(&reading.notes, NoteKind::OutOfRange), expected);
}

#[test]
fn f7_a_file_without_one_readable_position_is_partial() {
    let reading = read("F7-not-one-in-range.gpx");
    assert!(reading.partial);
    assert_eq!((reading.points_kept, present(reading.recordings[0].points.latitude_deg())), (10, 0));
    assert_eq!(note(&reading.notes, NoteKind::NoPosition).count, 10);
    assert!(!read("F7-out-of-range.gpx").partial);
    let without: String =
        (0..10).map(|second| format!("<trkpt><time>2025-03-01T10:00:0{second}Z</time></trkpt>")).collect();
    let reading = read_text(format!("<gpx><trk>{without}</trk></gpx>").as_bytes(), &ReadSettings::default());
    let reading = reading.expect("ten times");
    assert!(!reading.partial && note(&reading.notes, NoteKind::WithoutPosition).count == 1);
    // Indoors nothing is written and nothing lost.
    assert!(!read("D4-no-position.tcx").partial);
}

#[test]
fn f8_f9_the_date_line_is_no_distance() {
    let north_m = session("A1-one-track.gpx").distance_m().expect("positions");
    assert!((session("F8-longitude-180.gpx").distance_m().expect("positions") - north_m).abs() < 1e-6);
    let across_m = session("F9-across-the-date-line.gpx").distance_m().expect("positions");
    assert!((15.0..25.0).contains(&across_m), "{across_m}");
}

#[test]
fn f10_minus_zero_is_zero() {
    let recording = session("F10-minus-zero.gpx");
    let zeros = recording.points.longitude_deg().iter().chain(recording.points.elevation_m());
    assert!(zeros.into_iter().all(|value| value.to_bits() == 0));
    assert_eq!(present(recording.points.latitude_deg()), 10);
}

#[test]
fn f11_null_positions_before_the_fix_are_missing() {
    let recording = session("F11-null-before-the-fix.gpx");
    assert_eq!((recording.points.len(), present(recording.points.latitude_deg())), (20, 16));
    assert_eq!(note(&recording.notes, NoteKind::NullPosition).count, 4);
    assert!(recording.distance_m().expect("positions") < 40.0);
}

/// So many points, one a second at 2.5 m/s, each with its latitude and longitude; with the device's distance or without.
fn placed(points: u32, place: impl Fn(f64) -> [String; 2], with_totals: bool) -> Recording {
    let point = |second: u32| {
        let (minute, second_of, metres) = (second / 60, second % 60, 2.5 * f64::from(second));
        let [latitude, longitude] = place(metres);
        let total =
            if with_totals { format!("<DistanceMeters>{metres}</DistanceMeters>") } else { String::new() };
        format!(
            "<Trackpoint><Time>2025-03-01T10:{minute:02}:{second_of:02}Z</Time><Position><LatitudeDegrees>{latitude}</LatitudeDegrees><LongitudeDegrees>{longitude}</LongitudeDegrees></Position>{total}</Trackpoint>"
        )
    };
    let points: String = (0..points).map(point).collect();
    let text = format!(
        "<TrainingCenterDatabase><Activities><Activity Sport=\"Running\"><Lap><Track>{points}</Track></Lap></Activity></Activities></TrainingCenterDatabase>"
    );
    read_text(text.as_bytes(), &ReadSettings::default()).expect("a recording").recordings.remove(0)
}

/// To the north-east, with so many decimals of a degree.
fn with_decimals(points: u32, decimals: usize, with_totals: bool) -> Recording {
    let place = |metres: f64| {
        let degrees = 0.9e-5 * std::f64::consts::FRAC_1_SQRT_2 * metres;
        [10.51234 + degrees, 20.51234 + degrees].map(|degrees| format!("{degrees:.decimals$}"))
    };
    placed(points, place, with_totals)
}

/// Rounded to some 110 m, positions stand still and leap: they tell the place, and no metres.
#[test]
fn l8_positions_of_three_decimals_tell_no_way() {
    for decimals in [2, 3] {
        let recording = with_decimals(600, decimals, false);
        assert_eq!(note(&recording.notes, NoteKind::RoundedPosition).count, 600);
        assert_eq!((present(recording.points.latitude_deg()), recording.distance_m()), (1, None));
        let counted = with_decimals(600, decimals, true);
        assert_eq!(counted.distance_m(), Some(1497.5));
        let kinds: Vec<NoteKind> = counted.notes.iter().map(|note| note.kind).collect();
        assert_eq!(kinds, [NoteKind::RoundedPosition]);
    }
    for decimals in [4, 5, 6, 7] {
        let recording = with_decimals(600, decimals, false);
        assert_eq!((present(recording.points.latitude_deg()), recording.notes.len()), (600, 0));
        assert!(recording.distance_m().is_some_and(|metres| metres > 1450.0));
    }
    // A few points may be written by hand, and who runs along a parallel has one latitude.
    let by_hand = with_decimals(59, 3, false);
    let along_a_parallel =
        placed(600, |metres| ["10.5".to_owned(), format!("{:.6}", 20.5 + 0.9e-5 * metres)], false);
    for recording in [by_hand, along_a_parallel] {
        assert!(recording.notes.iter().all(|note| note.kind != NoteKind::RoundedPosition));
        assert!(present(recording.points.latitude_deg()) > 1);
    }
}

#[test]
fn f12_the_equator_is_a_real_place() {
    assert_eq!(present(session("F12-on-the-equator.gpx").points.latitude_deg()), 10);
}

#[test]
fn f13_half_a_position_is_none() {
    let reading = read("F13-half-a-position.gpx");
    assert_eq!(present(reading.recordings[0].points.latitude_deg()), 9);
    assert_eq!(kinds(&reading.notes), [NoteKind::HalfPosition]);
}

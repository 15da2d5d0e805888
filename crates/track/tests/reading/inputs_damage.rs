//! Encodings as far as the text reader sees them (G), hostile markup (H), truncation (I).

use boutwise_track::{ErrorKind, NoteKind, Point, ReadSettings, Reading, read_raw, read_text};
use proptest::prelude::*;

use crate::generated;
use crate::samples::{all, error, kinds, note, points, present, read, sample, seconds, session};

#[test]
fn g1_a_byte_order_mark_is_skipped() {
    assert_eq!(points(&session("G1-byte-order-mark.gpx")), points(&session("A1-one-track.gpx")));
    for name in ["G1-byte-order-mark.gpx", "D15-before-the-declaration.tcx"] {
        assert!(!kinds(&read(name).notes).contains(&NoteKind::StrayText), "{name}");
    }
}

#[test]
fn g7_control_bytes_are_skipped_also_inside_a_value() {
    let reading = read("G7-control-bytes.gpx");
    assert_eq!(reading.recordings[0].points.len(), 10);
    assert_eq!(present(reading.recordings[0].points.elevation_m()), 10);
    let place = note(&reading.notes, NoteKind::ControlBytes).place.expect("bytes have a place");
    assert_eq!(sample("G7-control-bytes.gpx")[place.byte as usize], 1);
}

#[test]
fn g8_lines_are_counted_as_editors_do_for_every_line_end() {
    for name in ["G8-carriage-returns.gpx", "G8-both-line-ends.gpx"] {
        let reading = read(name);
        assert_eq!(reading.points_kept, 9, "{name}");
        assert_eq!(note(&reading.notes, NoteKind::BadTime).place.expect("a place").line, 10, "{name}");
    }
}

#[test]
fn h1_h2_entities_are_never_expanded_nor_fetched() {
    for name in ["H1-nested-entities.gpx", "H2-external-entity.gpx"] {
        let reading = read(name);
        assert_eq!(reading.points_kept, 10, "{name}");
        assert!(note(&reading.notes, NoteKind::Entity).text.contains("entit"), "{name}");
    }
    assert_eq!(present(read("H1-nested-entities.gpx").recordings[0].points.elevation_m()), 9);
}

#[test]
fn h1_what_an_entity_hides_is_told_to_be_one() {
    let text = String::from_utf8(sample("A1-one-track.gpx")).expect("UTF-8");
    let defining = |entity: &str, rest: &str| {
        let rest = &rest[rest.find("<gpx").expect("a root")..];
        format!("<!DOCTYPE gpx [<!ENTITY {entity}>]>{rest}")
    };
    let times = defining("z \"Z\"", &text.replace("Z</time>", "&z;</time>"));
    let points = defining("p \"<trkpt/>\"", "<gpx><trk><trkseg>&p;</trkseg></trk></gpx>");
    for (text, kind) in [(times, ErrorKind::NoTime), (points, ErrorKind::OtherRecording)] {
        let error = read_text(text.as_bytes(), &ReadSettings::default()).expect_err("nothing is expanded");
        assert!(error.kind() == kind && !error.is_no_recording(), "{error}");
        assert!(error.to_string().contains("entit") && error.place().is_some(), "{error}");
    }
    // One that hides nothing is not blamed.
    let drawn = text
        .replace("<time>", "<was>")
        .replace("</time>", "</was>")
        .replace("<trk>", "<trk><name>&nbsp;</name>");
    let error = read_text(drawn.as_bytes(), &ReadSettings::default()).expect_err("no times");
    assert!(
        error.kind() == ErrorKind::NoTime && error.to_string().contains("a drawn or planned track"),
        "{error}"
    );
}

#[test]
fn h3_a_harmless_document_type_is_noted() {
    let reading = read("H3-harmless-document-type.gpx");
    assert_eq!((reading.points_kept, kinds(&reading.notes)), (10, vec![NoteKind::DocumentType]));
}

/// A sample with text put in front of its track.
fn before_the_track(inserted: &str) -> Vec<u8> {
    let text = String::from_utf8(sample("A1-one-track.gpx")).expect("UTF-8");
    text.replacen("  <trk>", &format!("{inserted}  <trk>"), 1).into_bytes()
}

fn read_inserted(inserted: &str) -> Reading {
    read_text(&before_the_track(inserted), &ReadSettings::default()).expect("the track is whole")
}

#[test]
fn h4_fifty_thousand_nested_elements_are_passed_over() {
    let nested = format!("<metadata>{}{}</metadata>", "<a>".repeat(50_000), "</a>".repeat(50_000));
    let reading = read_inserted(&nested);
    assert_eq!((reading.points_kept, kinds(&reading.notes)), (10, vec![NoteKind::TooDeep]));
    let unclosed = read_inserted(&"<a>".repeat(50_000));
    assert_eq!((unclosed.points_kept, unclosed.partial), (10, true));
}

#[test]
fn h5_h6_megabytes_in_what_nobody_needs_are_passed_over() {
    let reading = read_inserted(&format!("<extensions><x y=\"{}\"/></extensions>", "z".repeat(4_000_000)));
    assert_eq!((reading.points_kept, reading.notes.len()), (10, 0));
    let reading =
        read_inserted(&format!("<metadata><desc>{}</desc></metadata>", "long text ".repeat(1_000_000)));
    assert_eq!((reading.points_kept, reading.notes.len()), (10, 0));
}

#[test]
fn h7_an_attribute_that_stands_twice_costs_the_point() {
    let reading = read("H7-attribute-twice.gpx");
    assert_eq!(seconds(&reading.recordings[0]), [0.0, 1.0, 2.0, 4.0, 5.0, 6.0, 7.0, 8.0, 9.0]);
    assert_eq!(note(&reading.notes, NoteKind::DuplicateAttribute).count, 1);
    assert!(reading.partial);
}

#[test]
fn h8_bare_markup_in_a_title_costs_nothing() {
    let reading = read("H8-bare-markup-in-title.gpx");
    assert_eq!((reading.points_kept, reading.partial), (10, false));
    note(&reading.notes, NoteKind::BareMarkup);
}

#[test]
fn h9_a_wrong_end_tag_costs_its_point_and_the_rest_is_read() {
    let reading = read("H9-wrong-end-tag.gpx");
    assert!(reading.partial);
    assert_eq!(seconds(&reading.recordings[0]), [0.0, 1.0, 2.0, 3.0, 5.0, 6.0, 7.0, 8.0, 9.0]);
    let place = note(&reading.notes, NoteKind::WrongEndTag).place.expect("a tag has a place");
    assert!(sample("H9-wrong-end-tag.gpx")[place.byte as usize..].starts_with(b"</trkpoint>"));
    let reading = read("H9-wrong-end-of-segment.gpx");
    assert!(reading.partial);
    assert_eq!(reading.points_kept, 10);
}

#[test]
fn h10_references_to_controls_are_control_bytes() {
    let reading = read("H10-control-reference.gpx");
    assert_eq!((reading.points_kept, present(reading.recordings[0].points.elevation_m())), (10, 10));
    assert_eq!(note(&reading.notes, NoteKind::ControlBytes).count, 2);
}

#[test]
fn i1_to_i4_complete_points_before_the_cut_are_kept() {
    let cases = [
        ("I1-inside-a-point.gpx", 7),
        ("I2-after-a-point.gpx", 7),
        ("I3-root-end-missing.gpx", 10),
        ("I4-inside-an-attribute.gpx", 7),
        ("I7-tail-of-zeros.gpx", 7),
    ];
    for (name, count) in cases {
        let reading = read(name);
        assert!(reading.partial, "{name}");
        assert_eq!(points(&reading.recordings[0]), points(&session("A1-one-track.gpx"))[..count], "{name}");
        assert!(note(&reading.notes, NoteKind::Truncated).text.contains("truncated"), "{name}");
        assert_eq!(reading.notes.len(), 1, "{name}: {:?}", reading.notes);
    }
}

#[test]
fn what_is_never_closed_is_told_where_it_begins() {
    let text = String::from_utf8(sample("A1-one-track.gpx")).unwrap();
    let third = text.match_indices("<trkpt").nth(3).unwrap().0;
    for opening in ["<!-- ", "<![CDATA[", "<?x "] {
        let text = format!("{}{opening}{}", &text[..third], &text[third..]);
        let reading = read_text(text.as_bytes(), &ReadSettings::default()).unwrap();
        assert_eq!((reading.points_kept, reading.partial), (3, true), "{opening}");
        let place = note(&reading.notes, NoteKind::NeverClosed).place.expect("it has a place");
        assert_eq!(place.byte as usize, third, "{opening}");
    }
}

#[test]
fn i5_a_cut_before_the_first_point_is_an_error() {
    let error = error("I5-before-the-first-point.gpx");
    assert_eq!(error.kind(), ErrorKind::Truncated);
    assert!(!error.is_no_recording() && error.to_string().contains("truncated"));
}

#[test]
fn i6_laps_before_the_cut_and_points_of_the_cut_lap_are_kept() {
    let reading = read("I6-inside-a-later-lap.tcx");
    assert!(reading.partial);
    assert_eq!(seconds(&reading.recordings[0]), (0..15).map(f64::from).collect::<Vec<_>>());
}

#[test]
fn i8_rubbish_behind_the_root_is_noted_only() {
    let reading = read("I8-rubbish-after-the-root.gpx");
    assert_eq!((reading.points_kept, reading.partial), (10, false));
    assert_eq!(kinds(&reading.notes), [NoteKind::AfterRoot]);
}

#[test]
fn i8_a_second_document_is_a_loss_that_is_noted_once() {
    for second in ["A1-one-track.gpx", "D1-laps.tcx"] {
        let text = [sample("A1-one-track.gpx"), sample(second)].concat();
        let reading = read_text(&text, &ReadSettings::default()).unwrap();
        assert!(reading.partial, "{second}");
        assert_eq!(kinds(&reading.notes), [NoteKind::SecondDocument]);
    }
}

#[test]
fn g7_a_program_s_messages_before_the_declaration_are_skipped() {
    let message = "<br />\n<b>Warning</b>: Undefined variable in <b>export</b> on line <b>12</b><br />\n";
    let text = [message.as_bytes(), &sample("A1-one-track.gpx")].concat();
    let reading = read_text(&text, &ReadSettings::default()).unwrap();
    assert_eq!((reading.points_kept, reading.partial), (10, false));
    assert_eq!(kinds(&reading.notes), [NoteKind::StrayText]);
    // A declaration is no reason to look into another document.
    let other = "<library><book><![CDATA[<?xml version='1.0'?><trkpt lat='1' lon='2'/>]]></book></library>";
    let error = read_text(other.as_bytes(), &ReadSettings::default()).unwrap_err();
    assert_eq!(error.kind(), ErrorKind::OtherRoot);
}

#[test]
fn i9_points_before_and_after_a_missing_block_are_kept() {
    let reading = read("I9-block-missing.gpx");
    assert!(reading.partial);
    assert_eq!(seconds(&reading.recordings[0]), [0.0, 1.0, 2.0, 8.0, 9.0]);
}

/// Points of all sessions as written.
fn raw_points(text: &[u8]) -> Vec<Point> {
    match read_raw(text, &ReadSettings::default()) {
        Ok(reading) => {
            reading.sessions.iter().flat_map(|session| session.points.iter().collect::<Vec<_>>()).collect()
        }
        Err(_) => Vec::new(),
    }
}

/// Where the text of the root's end tag ends; a cut behind it is none.
fn root_end(text: &[u8]) -> usize {
    text.iter().rposition(|&byte| byte == b'>').map_or(0, |last| last + 1)
}

#[test]
fn a_cut_at_any_byte_gives_a_prefix_of_the_points_and_never_a_full_read() {
    let whole = [
        generated::gpx(12),
        generated::tcx(12),
        sample("A2-segments.gpx"),
        sample("A7-waypoint-and-route-beside.gpx"),
        sample("A14-pieces-of-a-value.gpx"),
        sample("A17-foreign-elements.gpx"),
        sample("B5-all-prefixed.gpx"),
        sample("D1-laps.tcx"),
        sample("H1-nested-entities.gpx"),
    ];
    for text in whole {
        let expected = raw_points(&text);
        assert!(!expected.is_empty());
        for end in 0..root_end(&text) {
            let cut = &text[..end];
            let found = raw_points(cut);
            assert!(expected.starts_with(&found), "cut at {end}: {found:?}");
            match read_text(cut, &ReadSettings::default()) {
                Ok(reading) => assert!(reading.partial && !found.is_empty(), "cut at {end} was read"),
                Err(error) => assert!(found.is_empty() && !error.is_no_recording(), "cut at {end}: {error}"),
            }
        }
    }
}

#[test]
fn a_block_missing_anywhere_leaves_every_whole_point_outside_it() {
    let text = generated::gpx(12);
    let whole = raw_points(&text);
    let step = text.len() / 97;
    for begin in (600..text.len() - 3 * step).step_by(step / 3) {
        let end = begin + 2 * step;
        let damaged = [&text[..begin], &text[end..]].concat();
        let found = raw_points(&damaged);
        let untouched = whole.iter().filter(|point| found.contains(point)).count();
        // The block is about two points long, so that it touches four at most.
        assert!(untouched + 4 >= whole.len(), "{begin}..{end}: {untouched} of {}", whole.len());
    }
}

/// Sorting anew at each overlapping track took seconds for as many as are read; all at once it takes some hundredths of a second.
#[test]
fn no_number_of_tracks_makes_reading_slow() {
    let point = |second: usize| {
        let (hour, minute, second) = (second / 3600, second / 60 % 60, second % 60);
        format!("<trkpt lat='1' lon='2'><time>2025-03-01T{hour:02}:{minute:02}:{second:02}Z</time></trkpt>")
    };
    let tracks: String =
        (0..80_000).map(|index| format!("<trk>{}{}</trk>", point(index), point(index + 5))).collect();
    let start = std::time::Instant::now();
    assert_eq!(
        read_text(format!("<gpx>{tracks}</gpx>").as_bytes(), &ReadSettings::default()).unwrap().points_kept,
        20_005
    );
    assert!(start.elapsed().as_secs() < 2, "{:?}", start.elapsed());
}

fn read_anything(text: &[u8]) {
    if let Ok(reading) = read_text(text, &ReadSettings::default()) {
        assert!(reading.points_kept > 0);
        for recording in &reading.recordings {
            assert!(recording.points.time_ns().windows(2).all(|pair| pair[0] < pair[1]));
            assert!(recording.distance_m().is_none_or(f64::is_finite));
            assert!(recording.marks.iter().all(|mark| mark.index < recording.points.len()));
        }
    }
}

#[test]
fn every_sample_is_either_read_or_refused_with_a_sentence() {
    for (name, text) in all() {
        read_anything(&text);
        if let Err(error) = read_text(&text, &ReadSettings::default()) {
            assert!(error.to_string().len() > 20, "{name}");
        }
    }
}

proptest! {
    #[test]
    fn no_bytes_make_the_reader_panic(bytes in proptest::collection::vec(any::<u8>(), 0..400)) {
        read_anything(&bytes);
    }

    #[test]
    fn no_markup_makes_the_reader_panic(
        pieces in proptest::collection::vec(
            prop::sample::select(vec![
                "<gpx>", "</gpx>", "<trk>", "</trk>", "<trkseg>", "</trkseg>", "<trkpt lat=\"1\" lon=\"2\">", "</trkpt>",
                "<time>2025-03-01T10:00:00Z</time>", "<time>2025-03-01T09:00:00Z</time>", "<time>1678-01-01T00:00:00Z</time>", "<time>2261-12-31T23:59:60Z</time>",
                "<trkpt lat=\"80\" lon=\"-179\"><time>2025-03-01T10:00:07Z</time></trkpt>", "<time>", "</time>", "<ele>",
                "5", "<extensions>", "</extensions>", "<!--", "-->", "<![CDATA[", "]]>", "<", "&", "&#0;", "\0", "\"",
                "<TrainingCenterDatabase>", "<Activities>", "<Activity Sport=\"Running\">", "<Lap>", "<Track>",
                "<Trackpoint>", "<Time>2025-03-01T10:00:00Z</Time>", "</Trackpoint>", "</Lap>", "<a", "</", "<?", "?>",
            ]),
            0..60,
        )
    ) {
        read_anything(pieces.concat().as_bytes());
    }

    #[test]
    fn no_damage_makes_the_reader_panic(
        which in any::<prop::sample::Index>(),
        damages in proptest::collection::vec((any::<prop::sample::Index>(), any::<prop::sample::Index>(), any::<u8>()), 1..6),
    ) {
        let samples = all();
        let mut text = which.get(&samples).1.clone();
        for (at, other, byte) in damages {
            if text.is_empty() {
                break;
            }
            let (at, other) = (at.index(text.len()), other.index(text.len()));
            match byte % 4 {
                0 => text[at] = byte,
                1 => text.truncate(at),
                2 => {
                    text.drain(at.min(other)..at.max(other));
                }
                _ => {
                    let copy = text[at.min(other)..at.max(other)].to_vec();
                    text.splice(at..at, copy);
                }
            }
        }
        read_anything(&text);
    }
}

/// Recordings hold places, devices and names, and notes reach tables and screens: nothing of a file is quoted.
#[test]
fn no_note_and_no_error_quotes_the_recording() {
    // A mark in every place where a value, a name or a title may stand, each broken in its own way.
    let points: String = (0..12)
        .map(|second| {
            format!("<trkpt lat=\"12,55{second}secret\" lon=\"-738.2secret\"><ele>secret</ele><time>2025-03-01T10:00:{second:02}Z</time></trkpt>")
        })
        .collect();
    let texts = [
        format!(
            "<gpx creator=\"secret\"><trk><name>secret & <secret</name><trkseg>{points}</trkseg></trk></gpx>secret"
        ),
        format!("secret<gpx><trk>secret<secret secret='1' secret='2'><trkseg>{points}</secret></trk>"),
        format!("<gpx><trk><trkseg>{}</trkseg></trk></gpx>", points.replace("2025-03-01T", "secret ")),
        "secret".to_owned(),
        "<?xml version='1.0' encoding='secret'?><gpx></gpx>".to_owned(),
    ];
    for text in texts {
        let said: Vec<String> = match read_text(text.as_bytes(), &ReadSettings::default()) {
            Ok(reading) => {
                let own = reading.recordings.iter().flat_map(|recording| &recording.notes);
                reading.notes.iter().chain(own).map(|note| note.text.clone()).collect()
            }
            Err(error) => vec![error.to_string()],
        };
        assert!(!said.is_empty(), "{text}");
        for sentence in said {
            assert!(!sentence.contains("secret") && !sentence.contains("738"), "{sentence}");
        }
    }
}

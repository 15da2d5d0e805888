//! Which of several recordings of one athlete count: section by section of what arrives twice.

use boutwise_track::{
    Candidate, DuplicateSettings, Fingerprint, NoteKind, OwnedFile, Point, Position, Recording, Standing,
    find_duplicates, note_same_bytes,
};
use proptest::prelude::*;

const NS: i64 = 1_000_000_000;
/// 2024-03-04T18:00:00Z.
const EVENING_S: i64 = 1_709_575_200;
/// Length of a degree of latitude, about.
const M_PER_DEGREE: f64 = 111_200.0;

/// A runner on a loop of 400 m with one lap in 150 s; a point every `every_s` seconds.
#[derive(Clone, Copy, Debug)]
struct Run {
    start_s: i64,
    first_s: i64,
    last_s: i64,
    every_s: usize,
    north_m: f64,
    digits: i32,
    heart_rate: bool,
    place: bool,
}

const RUN: Run = Run {
    start_s: EVENING_S,
    first_s: 0,
    last_s: 1800,
    every_s: 1,
    north_m: 0.0,
    digits: 7,
    heart_rate: true,
    place: true,
};

impl Run {
    fn recording(self) -> Recording {
        let points = (self.first_s..=self.last_s).step_by(self.every_s).map(|second| {
            let angle = second as f64 / 150.0 * std::f64::consts::TAU;
            let (north_m, east_m) = (63.7 * angle.sin() + self.north_m, 63.7 * angle.cos());
            let rounded =
                |degrees: f64| (degrees * 10f64.powi(self.digits)).round() / 10f64.powi(self.digits);
            Point {
                time_ns: Some((self.start_s + second) * NS),
                position: self.place.then(|| Position {
                    latitude_deg: rounded(52.0 + north_m / M_PER_DEGREE),
                    longitude_deg: rounded(4.0 + east_m / M_PER_DEGREE / 52f64.to_radians().cos()),
                }),
                heart_rate_bpm: self.heart_rate.then(|| 130.0 + (second % 600) as f64 / 20.0),
                ..Point::default()
            }
        });
        Recording { session: 1, points: points.collect(), ..Recording::default() }
    }
}

fn compare(files: &[(&str, Run)]) -> Vec<Standing> {
    compare_partial(files, &[])
}

/// As [`compare`], where the files named in `partial` lost a part.
fn compare_partial(files: &[(&str, Run)], partial: &[&str]) -> Vec<Standing> {
    let fingerprints: Vec<Fingerprint> =
        files.iter().map(|(_, run)| Fingerprint::of(&run.recording())).collect();
    let candidates: Vec<Candidate<'_>> = files
        .iter()
        .zip(&fingerprints)
        .map(|(&(file, _), fingerprint)| {
            let partial = partial.contains(&file);
            Candidate { file, session: 1, content_hash: None, partial, fingerprint }
        })
        .collect();
    find_duplicates(&candidates, &DuplicateSettings::default())
}

fn kinds(standing: &Standing) -> Vec<NoteKind> {
    standing.notes.iter().map(|note| note.kind).collect()
}

#[test]
fn k1_the_first_of_equal_bytes_in_path_order_counts() {
    // Two points without place or pulse: nothing but the bytes can tell.
    let run = Run { place: false, heart_rate: false, last_s: 1, ..RUN };
    let fingerprint = Fingerprint::of(&run.recording());
    let file = |file, content_hash| Candidate {
        file,
        session: 1,
        content_hash,
        partial: false,
        fingerprint: &fingerprint,
    };
    let settings = DuplicateSettings::default();
    let standings = find_duplicates(&[file("copy/run.gpx", Some(1)), file("a.gpx", Some(1))], &settings);
    assert_eq!((standings[0].duplicate_of, standings[1].duplicate_of), (Some(1), None));
    assert!(standings[0].notes[0].text.contains("`a.gpx`"));
    let standings = find_duplicates(&[file("copy/run.gpx", Some(1)), file("a.gpx", Some(2))], &settings);
    assert!(standings.iter().all(|standing| standing.duplicate_of.is_none()));
}

#[test]
fn k2_the_richer_of_two_exports_counts_and_it_is_said() {
    let poor = Run { heart_rate: false, ..RUN };
    let standings = compare(&[("a.gpx", poor), ("b.tcx", RUN)]);
    assert_eq!((standings[0].duplicate_of, standings[1].duplicate_of), (Some(1), None));
    assert!(standings[0].notes[0].text.contains("`b.tcx`"), "{:?}", standings[0].notes);
    assert!(standings[0].notes[0].text.contains("more values"));
}

#[test]
fn k3_rounding_thinning_and_dropped_sensors_do_not_hide_a_copy() {
    let copy = Run { digits: 4, every_s: 7, heart_rate: false, last_s: 1797, first_s: 3, ..RUN };
    let standings = compare(&[("a.gpx", RUN), ("b.gpx", copy)]);
    assert_eq!((standings[0].duplicate_of, standings[1].duplicate_of), (None, Some(0)));
}

#[test]
fn k3_a_very_short_session_is_compared_too() {
    let short = Run { last_s: 4, ..RUN };
    let standings = compare(&[("a.gpx", short), ("b.gpx", Run { digits: 5, ..short })]);
    assert_eq!(standings[1].duplicate_of, Some(0));
}

#[test]
fn of_one_file_the_sessions_are_told_apart_by_their_numbers() {
    let fingerprints =
        [RUN, RUN, Run { first_s: 600, last_s: 2400, ..RUN }].map(|run| Fingerprint::of(&run.recording()));
    let candidates: Vec<Candidate<'_>> = (1..)
        .zip(&fingerprints)
        .map(|(session, fingerprint)| Candidate {
            file: "a.gpx",
            session,
            content_hash: Some(1),
            partial: false,
            fingerprint,
        })
        .collect();
    let standings = find_duplicates(&candidates, &DuplicateSettings::default());
    let said = |index: usize| standings[index].notes[0].text.as_str();
    assert_eq!(
        said(0),
        "overlaps session 3 of the same file by 1200 s; each has its row, and of two at one time at most one counts"
    );
    assert_eq!(said(1), "session 2: duplicate of session 1 of the same file, which counts: it comes first");
    assert_eq!(
        said(2),
        "session 3: overlaps session 1 of the same file by 1200 s; each has its row, and of two at one time at most one counts"
    );
}

#[test]
fn k4_an_overlap_is_noted_on_both_and_both_count() {
    let phone = Run { first_s: 600, last_s: 2400, ..RUN };
    let standings = compare(&[("watch.gpx", RUN), ("phone.gpx", phone)]);
    for (standing, other) in standings.iter().zip([1, 0]) {
        assert_eq!(standing.duplicate_of, None);
        assert_eq!(standing.overlaps, [other]);
        assert_eq!(kinds(standing), [NoteKind::Overlap]);
    }
    assert!(standings[0].notes[0].text.contains("1200 s"));
}

#[test]
fn k4_of_many_that_share_time_the_first_is_named_and_their_number() {
    let names: Vec<String> = (0..50).map(|index| format!("{index:02}.gpx")).collect();
    let runs: Vec<(&str, Run)> = names
        .iter()
        .zip(0..)
        .map(|(name, index)| {
            (name.as_str(), Run { start_s: EVENING_S + index, north_m: 100.0 * index as f64, ..RUN })
        })
        .collect();
    let standings = compare(&runs);
    for (index, standing) in standings.iter().enumerate() {
        assert_eq!((standing.duplicate_of, standing.overlap_count), (None, 49));
        let first = usize::from(index == 0);
        assert_eq!(standing.overlaps, [first]);
        assert_eq!(standing.notes.len(), 1);
        let shared_s = 1800 - index.abs_diff(first);
        let text = format!(
            "overlaps 49 recordings, first `0{first}.gpx` by {shared_s} s; each has its row, and of two at one time at most one counts"
        );
        assert_eq!(standing.notes[0].text, text);
    }
}

#[test]
fn k4_up_to_three_that_share_time_are_named_one_by_one() {
    let at = |first_s, last_s, north_m| Run { first_s, last_s, north_m, ..RUN };
    let standings = compare(&[
        ("long.gpx", at(0, 1800, 0.0)),
        ("a.gpx", at(100, 300, 200.0)),
        ("b.gpx", at(310, 500, 400.0)),
        ("c.gpx", at(497, 900, 600.0)),
        ("brief.gpx", at(1000, 1004, 800.0)),
    ]);
    let overlaps: Vec<&[usize]> = standings.iter().map(|standing| standing.overlaps.as_slice()).collect();
    assert_eq!(overlaps, [&[1, 2, 3][..], &[0], &[0], &[0], &[]]);
}

#[test]
fn k4_the_same_time_in_another_place_is_an_overlap() {
    let standings = compare(&[("a.gpx", RUN), ("b.gpx", Run { north_m: 30.0, ..RUN })]);
    assert!(standings.iter().all(|standing| standing.duplicate_of.is_none()));
    assert_eq!(kinds(&standings[0]), [NoteKind::Overlap]);
}

#[test]
fn k5_the_same_loop_on_another_day_is_another_session() {
    let next_day = Run { start_s: EVENING_S + 86_400, ..RUN };
    let two_hours_later = Run { start_s: EVENING_S + 7325, ..RUN };
    let standings = compare(&[("a.gpx", RUN), ("b.gpx", next_day), ("c.gpx", two_hours_later)]);
    assert!(standings.iter().all(|standing| *standing == Standing::default()), "{standings:?}");
}

#[test]
fn k7_the_whole_recording_counts_and_not_its_truncated_copy() {
    for cut_s in [20, 70, 900, 1700] {
        // The truncated copy comes first, and has a sensor more.
        let cut = Run { last_s: cut_s, ..RUN };
        let whole = Run { heart_rate: false, ..RUN };
        let standings = compare(&[("a.gpx", cut), ("b.gpx", whole)]);
        assert_eq!((standings[0].duplicate_of, standings[1].duplicate_of), (Some(1), None), "{cut_s}");
        assert!(standings[0].notes[0].text.contains(&format!("{} s more", 1800 - cut_s)));
    }
}

#[test]
fn k7_a_file_that_lost_a_part_is_a_copy_wherever_the_part_lay() {
    let rounded = Run { digits: 4, ..RUN };
    for (first_s, last_s) in [(0, 900), (400, 1800), (400, 900)] {
        let cut = Run { first_s, last_s, ..rounded };
        let standings = compare_partial(&[("a.gpx", cut), ("b.tcx", RUN)], &["a.gpx"]);
        assert_eq!((standings[0].duplicate_of, standings[1].duplicate_of), (Some(1), None), "{first_s}");
        // Another stretch of way at that time is no part of it.
        let elsewhere = Run { north_m: 40.0, ..cut };
        let standings = compare_partial(&[("a.gpx", elsewhere), ("b.tcx", RUN)], &["a.gpx"]);
        assert!(standings.iter().all(|standing| standing.duplicate_of.is_none()), "{first_s}");
    }
}

#[test]
fn k7_of_two_truncated_copies_the_longer_counts() {
    let cut = |last_s| Run { last_s, ..RUN };
    let standings = compare_partial(&[("a.gpx", cut(700)), ("b.gpx", cut(1200))], &["a.gpx", "b.gpx"]);
    assert_eq!((standings[0].duplicate_of, standings[1].duplicate_of), (Some(1), None));
}

#[test]
fn k4_two_devices_that_started_together_and_stopped_apart_both_count() {
    // Four metres beside each other all the way: near enough for one session, too far for the same points.
    let phone = Run { last_s: 1500, north_m: 4.0, ..RUN };
    let standings = compare(&[("phone.gpx", phone), ("watch.gpx", RUN)]);
    assert!(standings.iter().all(|standing| standing.duplicate_of.is_none()), "{standings:?}");
    assert!(standings.iter().all(|standing| kinds(standing) == [NoteKind::Overlap]));
}

/// [`RUN`] beside another run whose pulse is so much higher.
fn compare_with_another_pulse(run: Run, higher_bpm: f64) -> Vec<Standing> {
    let mut recording = run.recording();
    recording.points = recording
        .points
        .iter()
        .map(|point| Point { heart_rate_bpm: point.heart_rate_bpm.map(|bpm| bpm + higher_bpm), ..point })
        .collect();
    let fingerprints = [Fingerprint::of(&RUN.recording()), Fingerprint::of(&recording)];
    let candidates = ["a.gpx", "b.gpx"].into_iter().zip(&fingerprints).map(|(file, fingerprint)| Candidate {
        file,
        session: 1,
        content_hash: None,
        partial: false,
        fingerprint,
    });
    find_duplicates(&candidates.collect::<Vec<_>>(), &DuplicateSettings::default())
}

#[test]
fn k4_the_same_places_under_another_pulse_are_another_device() {
    let strap = Run { last_s: 1500, ..RUN };
    let standings = compare_with_another_pulse(strap, 4.0);
    assert!(standings.iter().all(|standing| standing.duplicate_of.is_none()), "{standings:?}");
}

#[test]
fn k7_the_end_cut_off_by_hand_is_a_copy_also_after_another_rounding() {
    let trimmed = Run { last_s: 1500, digits: 5, ..RUN };
    let standings = compare(&[("a.gpx", trimmed), ("b.gpx", RUN)]);
    assert_eq!((standings[0].duplicate_of, standings[1].duplicate_of), (Some(1), None));
    assert!(standings[0].notes[0].text.contains("300 s more"), "{:?}", standings[0].notes);
}

#[test]
fn k4_a_whole_file_without_the_beginning_of_another_overlaps() {
    let later = Run { first_s: 300, ..RUN };
    let standings = compare(&[("a.gpx", later), ("b.gpx", RUN)]);
    assert!(standings.iter().all(|standing| standing.duplicate_of.is_none()), "{standings:?}");
    assert_eq!(kinds(&standings[0]), [NoteKind::Overlap]);
}

#[test]
fn recordings_of_which_nothing_but_their_times_is_known_are_no_copies() {
    let silent = Run { place: false, heart_rate: false, ..RUN };
    let standings =
        compare_partial(&[("a.gpx", silent), ("b.gpx", Run { last_s: 900, ..silent })], &["b.gpx"]);
    assert!(standings.iter().all(|standing| standing.duplicate_of.is_none()), "{standings:?}");
}

#[test]
fn k8_a_slip_of_the_time_zone_is_noted_and_both_count() {
    let slipped = Run { start_s: EVENING_S + 3600, ..RUN };
    let standings = compare(&[("a.gpx", RUN), ("b.gpx", slipped)]);
    for standing in &standings {
        assert_eq!(standing.duplicate_of, None);
        assert_eq!(kinds(standing), [NoteKind::ZoneSlip]);
    }
    assert_eq!(
        standings[1].notes[0].text,
        "looks like `a.gpx` with the clock 1 h later, a slip of the time zone; both count"
    );
    assert_eq!([false, true], [&standings[0], &standings[1]].map(|standing| !standing.slips.is_empty()));
}

#[test]
fn k8_a_second_device_on_another_clock_was_started_later_and_stopped_sooner() {
    let phone =
        |first_s: i64| Run { start_s: EVENING_S + 3600, first_s, last_s: 1780, heart_rate: false, ..RUN };
    let slips = |a: Run, b: Run| compare(&[("a.gpx", a), ("b.gpx", b)])[1].slips.clone();
    assert_eq!(slips(RUN, phone(40)), [0]);
    assert_eq!(slips(RUN, phone(150)), [], "another button is pressed sooner");
    let short = |first_s: i64, last_s: i64| Run { first_s, last_s, ..phone(0) };
    assert_eq!(slips(Run { last_s: 60, ..RUN }, short(30, 40)), [], "ten seconds are nobody's session");
    // Of a heart that beats alike nobody knows the way.
    let indoors = Run { place: false, ..RUN };
    let later = |first_s: i64| Run { start_s: EVENING_S + 3600, first_s, ..indoors };
    assert_eq!((slips(indoors, later(0)), slips(indoors, later(40))), (vec![0], vec![]));
}

#[test]
fn of_a_slip_of_the_time_zone_that_shares_time_the_overlap_says_what_counts() {
    let slipped = Run { start_s: EVENING_S + 900, ..RUN };
    let standings = compare(&[("a.gpx", RUN), ("b.gpx", slipped)]);
    assert_eq!(
        standings[0].notes.iter().map(|note| note.text.as_str()).collect::<Vec<_>>(),
        [
            "overlaps `b.gpx` by 900 s; each has its row, and of two at one time at most one counts",
            "looks like `b.gpx` with the clock 15 min earlier, a slip of the time zone",
        ]
    );
}

#[test]
fn k8_another_pulse_on_the_same_loop_is_no_slip() {
    let again = Run { start_s: EVENING_S + 3600, ..RUN };
    let standings = compare_with_another_pulse(again, 9.0);
    assert!(standings.iter().all(|standing| standing.notes.is_empty()));
}

#[test]
fn indoor_copies_are_known_by_their_pulse() {
    let indoor = Run { place: false, ..RUN };
    let standings = compare(&[("a.tcx", indoor), ("b.gpx", Run { every_s: 5, ..indoor })]);
    assert_eq!(standings[1].duplicate_of, Some(0));
    let silent = Run { heart_rate: false, ..indoor };
    let standings = compare(&[("a.tcx", indoor), ("b.gpx", silent)]);
    assert_eq!(standings[1].duplicate_of, None);
    assert_eq!(kinds(&standings[1]), [NoteKind::Overlap]);
}

#[test]
fn copies_across_the_antimeridian_are_known() {
    let cross = |digits: i32| {
        let points = (0..300).map(|second| {
            let factor = 10f64.powi(digits);
            let longitude_deg = 179.998 + second as f64 * 2e-5;
            let wrapped = if longitude_deg >= 180.0 { longitude_deg - 360.0 } else { longitude_deg };
            Point {
                time_ns: Some(second * NS),
                position: Some(Position {
                    latitude_deg: -17.0,
                    longitude_deg: (wrapped * factor).round() / factor,
                }),
                ..Point::default()
            }
        });
        Fingerprint::of(&Recording {
            points: points.step_by(if digits > 5 { 1 } else { 7 }).collect(),
            ..Default::default()
        })
    };
    let fingerprints = [cross(7), cross(5)];
    let candidates: Vec<_> = fingerprints
        .iter()
        .zip(["a", "b"])
        .map(|(fingerprint, file)| Candidate {
            file,
            session: 1,
            content_hash: None,
            partial: false,
            fingerprint,
        })
        .collect();
    assert_eq!(find_duplicates(&candidates, &DuplicateSettings::default())[1].duplicate_of, Some(0));
}

#[test]
fn the_same_bytes_under_two_athletes_are_noted_for_both() {
    let file = |athlete, file, hash| OwnedFile { athlete, file, content_hash: Some(hash) };
    let notes = note_same_bytes(&[
        file("anna", "anna/a.gpx", 1),
        file("anna", "anna/b.gpx", 1),
        file("ben", "ben/a.gpx", 1),
        file("ben", "ben/c.gpx", 2),
    ]);
    let texts: Vec<_> =
        notes.iter().map(|note| note.as_ref().map(|note| note.text.contains("counted for both"))).collect();
    assert_eq!(texts, [Some(true), Some(true), Some(true), None]);
    assert!(notes[2].as_ref().unwrap().text.contains("`anna/a.gpx`"));
}

fn any_run() -> impl Strategy<Value = Run> {
    let start = prop::sample::select(vec![0, 2, 4, 8, 900, 3600, 86_400]);
    let (last, first) =
        (prop::sample::select(vec![300i64, 303, 306, 600, 1800]), prop::sample::select(vec![0i64, 4, 120]));
    let looks = (
        prop::sample::select(vec![1usize, 5]),
        prop::sample::select(vec![0.0, 8.0, 50.0]),
        any::<bool>(),
        any::<bool>(),
    );
    (start, last, first, looks).prop_map(|(start, last_s, first_s, (every_s, north_m, heart_rate, place))| {
        Run { start_s: EVENING_S + start, first_s, last_s, every_s, north_m, digits: 6, heart_rate, place }
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn k9_the_order_of_files_changes_nothing(runs in prop::collection::vec(any_run(), 1..8), seed in any::<u64>()) {
        let names: Vec<String> = (0..runs.len()).map(|index| format!("{index}.gpx")).collect();
        let files: Vec<(&str, Run)> = names.iter().map(String::as_str).zip(runs).collect();
        let mut order: Vec<usize> = (0..files.len()).collect();
        order.sort_by_key(|&index| (index as u64 + 1).wrapping_mul(seed | 1));
        let shuffled: Vec<_> = order.iter().map(|&index| files[index]).collect();
        let (straight, mixed) = (compare(&files), compare(&shuffled));
        for (at, &index) in order.iter().enumerate() {
            prop_assert_eq!(straight[index].duplicate_of, mixed[at].duplicate_of.map(|other| order[other]));
            let texts = |standing: &Standing| {
                let mut texts: Vec<_> = standing.notes.iter().map(|note| note.text.clone()).collect();
                texts.sort();
                texts
            };
            prop_assert_eq!(texts(&straight[index]), texts(&mixed[at]));
        }
    }

    #[test]
    fn what_counts_is_never_a_duplicate_and_something_always_counts(runs in prop::collection::vec(any_run(), 1..8)) {
        let names: Vec<String> = (0..runs.len()).map(|index| format!("{index}.gpx")).collect();
        let standings = compare(&names.iter().map(String::as_str).zip(runs).collect::<Vec<_>>());
        prop_assert!(standings.iter().any(|standing| standing.duplicate_of.is_none()));
        for other in standings.iter().filter_map(|standing| standing.duplicate_of) {
            prop_assert_eq!(standings[other].duplicate_of, None);
        }
    }
}

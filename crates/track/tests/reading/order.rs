//! Points out of order and times that are wrong: what they cost, whatever the file.

use std::fmt::Write;

use boutwise_track::{NoteKind, ReadSettings, Reading, read_text};
use proptest::prelude::*;

use crate::samples::{kinds, note, seconds};

/// A place at a time, in seconds after the beginning of most samples.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Fix {
    second: i64,
    latitude_deg: f64,
}

/// Due north, walking and running in turns, a point every so many seconds in turns.
fn way(steps_s: &[i64], count: usize) -> Vec<Fix> {
    let (mut second, mut latitude_deg) = (0, 12.5);
    let point = |index: usize| {
        let fix = Fix { second, latitude_deg };
        let step_s = steps_s[index % steps_s.len()];
        second += step_s;
        let speed_m_per_s = if (index / 80).is_multiple_of(2) { 1.4 } else { 2.6 };
        // About 9e-6 degrees of latitude are a metre; whole seventh decimals are read as they are written.
        latitude_deg = ((latitude_deg + step_s as f64 * speed_m_per_s * 9e-6) * 1e7).round() / 1e7;
        fix
    };
    (0..count).map(point).collect()
}

fn gpx<'a>(segments: impl IntoIterator<Item = &'a [Fix]>) -> Reading {
    let mut text = String::from("<gpx><trk>");
    for segment in segments {
        text += "<trkseg>";
        for Fix { second, latitude_deg } in segment {
            let time = chrono::DateTime::from_timestamp(crate::samples::BEGIN_S + second, 0).unwrap();
            let time = time.format("%FT%TZ");
            write!(text, "<trkpt lat='{latitude_deg:.7}' lon='-38.25'><time>{time}</time></trkpt>").unwrap();
        }
        text += "</trkseg>";
    }
    text += "</trk></gpx>";
    read_text(text.as_bytes(), &ReadSettings::default()).expect("a recording")
}

/// The points of the only recording; those without a position are left out.
fn fixes(reading: &Reading) -> Vec<Fix> {
    let [recording] = reading.recordings.as_slice() else { panic!("{:?}", reading.notes) };
    let latitudes = recording.points.latitude_deg();
    let fixes = seconds(recording).into_iter().zip(latitudes);
    let fixes = fixes.map(|(second, &latitude_deg)| Fix { second: second as i64, latitude_deg });
    fixes.filter(|fix| !fix.latitude_deg.is_nan()).collect()
}

/// The way in pieces that begin at these points, each after the first so many seconds later.
fn pieces(mut way: Vec<Fix>, begins: &[usize], pause_s: i64) -> Vec<Vec<Fix>> {
    let mut begins: Vec<usize> = begins.iter().map(|begin| begin % way.len()).collect();
    begins.sort_unstable();
    begins.dedup();
    begins.iter().for_each(|&begin| way[begin..].iter_mut().for_each(|fix| fix.second += pause_s));
    let ends = begins.iter().copied().chain([way.len()]);
    let mut begin = 0;
    ends.map(|end| way[std::mem::replace(&mut begin, end)..end].to_vec())
        .filter(|piece| !piece.is_empty())
        .collect()
}

#[test]
fn a_wrong_time_costs_its_point_and_no_half_of_the_recording() {
    let way = way(&[1], 1660);
    for wrong_s in [-900, -600, -301, -299, 200, 301, 600, 899, 950, 90_000, -800] {
        let mut written = way.clone();
        written[800].second += wrong_s;
        let reading = gpx([written.as_slice()]);
        let expected: Vec<Fix> = way.iter().copied().filter(|fix| fix.second != 800).collect();
        assert_eq!(fixes(&reading), expected, "{wrong_s}");
        assert_eq!((reading.points_dropped, reading.partial), (1, false), "{wrong_s}");
        assert_eq!(kinds(&reading.notes), [NoteKind::ClockWrong], "{wrong_s}");
    }
}

#[test]
fn laps_that_each_begin_with_the_time_of_the_start_cost_one_point_each() {
    let mut way = way(&[1], 1660);
    let start = way[0].second;
    let begins = [300, 600, 1000, 1400];
    begins.iter().for_each(|&begin| way[begin].second = start);
    let reading = gpx(way.chunk_by(|_, next| next.second != start));
    assert_eq!((reading.points_kept, reading.partial), (1656, false));
    assert_eq!(note(&reading.notes, NoteKind::ClockWrong).count, 4);
}

#[test]
fn a_few_wrong_times_in_a_row_cost_themselves_and_more_are_told_as_a_loss() {
    for (count, partial) in [(3, false), (20, true)] {
        let mut way = way(&[1], 1660);
        way[800..800 + count].iter_mut().for_each(|fix| fix.second += 500);
        let reading = gpx([way.as_slice()]);
        assert_eq!((reading.points_kept, reading.partial), (1660 - count, partial));
    }
}

#[test]
fn segments_newest_first_are_sorted_also_after_long_pauses() {
    for pause_s in [1, 300, 2000] {
        let pieces = pieces(way(&[1], 1660), &[300, 600, 1000, 1400], pause_s);
        let reading = gpx(pieces.iter().rev().map(Vec::as_slice));
        assert_eq!(fixes(&reading), pieces.concat(), "{pause_s}");
        assert!(!reading.partial && reading.points_dropped == 0);
        note(&reading.notes, NoteKind::Unordered);
    }
}

#[test]
fn of_two_devices_one_after_the_other_the_fuller_is_kept_and_the_loss_is_told() {
    let way = way(&[1], 600);
    let other: Vec<Fix> =
        way[..500].iter().map(|fix| Fix { latitude_deg: fix.latitude_deg + 3e-5, ..*fix }).collect();
    let reading = gpx([other.as_slice(), way.as_slice()]);
    assert_eq!(fixes(&reading), way);
    assert!(reading.partial && note(&reading.notes, NoteKind::ConflictingTimes).count == 500);
    // The same points twice are no other device.
    let reading = gpx([&way[..500], &way[..]]);
    assert_eq!(fixes(&reading), way);
    assert!(!reading.partial && note(&reading.notes, NoteKind::SameTime).count == 500);
}

#[test]
fn a_block_under_a_clock_off_by_no_quarter_of_an_hour_makes_no_run_longer() {
    let mut way = way(&[1], 600);
    way[300..350].iter_mut().for_each(|fix| fix.second -= 4321);
    let reading = gpx([way.as_slice()]);
    assert_eq!((reading.points_kept, reading.recordings[0].duration_s()), (550, 599.0));
    assert!(reading.partial && note(&reading.notes, NoteKind::ConflictingTimes).count == 50);
}

#[test]
fn a_clock_set_back_by_minutes_costs_nothing() {
    for back_s in [20, 120, 240, 420] {
        let way = way(&[1], 1660);
        let mut written = way.clone();
        written[700..].iter_mut().for_each(|fix| fix.second -= back_s);
        let reading = gpx([written.as_slice()]);
        assert_eq!((fixes(&reading), reading.partial), (way.clone(), false), "{back_s}");
        assert_eq!(kinds(&reading.notes), [NoteKind::ClockShifted], "{back_s}");
        assert_eq!(note(&reading.notes, NoteKind::ClockShifted).count, 960);
        // Put right again soon after.
        written[900..].iter_mut().for_each(|fix| fix.second += back_s);
        let reading = gpx([written.as_slice()]);
        assert_eq!((fixes(&reading), reading.partial), (way, false), "{back_s}");
        assert_eq!(note(&reading.notes, NoteKind::ClockShifted).count, 200);
    }
}

#[test]
fn a_clock_that_falls_back_to_its_first_day_loses_what_is_under_it_and_that_is_told_once() {
    for (under_it, kept) in [(700..1410, 700), (0..710, 700), (700..960, 1150), (1150..1410, 1150)] {
        let mut way = way(&[1], 1410);
        let first_s = way[under_it.start].second;
        way[under_it.clone()].iter_mut().for_each(|fix| fix.second -= crate::samples::BEGIN_S + first_s);
        let reading = gpx([way.as_slice()]);
        assert_eq!((reading.points_kept, reading.partial), (kept, true), "{under_it:?}");
        assert_eq!(note(&reading.notes, NoteKind::ClockLost).count, under_it.len() as u64);
        let others = kinds(&reading.notes).into_iter().filter(|kind| *kind != NoteKind::ClockLost);
        // Where it was put right again the way went on meanwhile.
        assert!(others.into_iter().all(|kind| kind == NoteKind::LostSignal), "{under_it:?}");
    }
}

proptest! {
    #[test]
    fn one_wrong_time_anywhere_costs_at_most_its_point_and_that_of_the_same_time(
        steps_s in prop::collection::vec(1_i64..9, 1..20),
        at in any::<prop::sample::Index>(),
        wrong_s in prop_oneof![-1200_i64..1200, -100_000_i64..100_000, -1_000_000_000_i64..1_000_000_000],
    ) {
        let way = way(&steps_s, 500);
        let at = at.index(way.len());
        let mut written = way.clone();
        written[at].second += wrong_s;
        let reading = gpx([written.as_slice()]);
        let kept = fixes(&reading);
        let lost: Vec<&Fix> = way.iter().filter(|fix| !kept.contains(fix)).collect();
        prop_assert!(
            lost.iter().all(|fix| [way[at].second, written[at].second].contains(&fix.second)),
            "{:?} lost of a wrong time at {:?}", lost, written[at]
        );
        prop_assert!(!reading.partial);
    }

    #[test]
    fn segments_in_any_order_are_the_same_recording(
        steps_s in prop::collection::vec(1_i64..9, 1..20),
        begins in prop::collection::vec(0_usize..500, 0..8),
        // Pieces of a few points that lie a minute before all others are strays.
        pause_s in 0_i64..12,
        order in prop::collection::vec(any::<u32>(), 9),
    ) {
        let pieces = pieces(way(&steps_s, 500), &begins, pause_s);
        let mut permuted: Vec<(u32, &Vec<Fix>)> = order.into_iter().zip(&pieces).collect();
        permuted.sort_by_key(|(key, _)| *key);
        let reading = gpx(permuted.into_iter().map(|(_, piece)| piece.as_slice()));
        prop_assert!(fixes(&reading) == pieces.concat(), "{:?}", kinds(&reading.notes));
        prop_assert!(!reading.partial && reading.points_dropped == 0);
    }

    #[test]
    fn points_in_no_order_at_all_are_the_same_recording(order in prop::collection::vec(any::<u32>(), 700)) {
        let way = way(&[1, 4, 2], 700);
        let mut shuffled: Vec<(u32, Fix)> = order.into_iter().zip(way.iter().copied()).collect();
        shuffled.sort_by_key(|(key, _)| *key);
        let shuffled: Vec<Fix> = shuffled.into_iter().map(|(_, fix)| fix).collect();
        let reading = gpx([shuffled.as_slice()]);
        prop_assert!(fixes(&reading) == way, "{:?}", kinds(&reading.notes));
    }
}

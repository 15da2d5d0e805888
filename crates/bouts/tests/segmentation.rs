//! Segmentation as its users see it: made sessions with known truth, the properties that hold for any recording, and
//! recordings that hardly are ones.

use boutwise_bouts::{Coefficients, Kind, SegmentSettings, Segmentation, grounds, segment};
use boutwise_track::{Mark, MarkKind, Point, Points, Position, Recording};
use proptest::prelude::*;
use rand::SeedableRng;
use rand_distr::{Distribution, Normal};
use rand_pcg::Pcg64;

/// Metres in a degree of latitude near the equator on WGS-84.
const METRES_PER_DEGREE: f64 = 110_574.4;

/// Spread and correlation time of position errors in metres and seconds: a fair wrist receiver (from memory).
const ERROR_SD_M: f64 = 3.2;
const ERROR_TIME_S: f64 = 100.0;

/// A made session: stretches of (kind, seconds, metres per second, steps per minute).
struct Made {
    stretches: Vec<(Kind, usize, f64, f64)>,
    noisy: bool,
    with_cadence: bool,
    seed: u64,
}

impl Made {
    fn new(stretches: &[(Kind, usize, f64, f64)]) -> Self {
        Self { stretches: stretches.to_vec(), noisy: false, with_cadence: false, seed: 0 }
    }

    /// Five minutes of walking, six times a minute of running and a minute and a half of walking, five minutes of walking.
    fn six_reps(seed: u64) -> Self {
        let (walk, run) = ((Kind::Walk, 300, 1.5, 112.0), (Kind::Run, 60, 2.4, 156.0));
        let mut stretches = vec![walk];
        for _ in 0..6 {
            stretches.extend([run, (Kind::Walk, 90, 1.5, 112.0)]);
        }
        stretches.push(walk);
        Self { stretches, noisy: true, with_cadence: false, seed }
    }

    /// A point a second along a meridian, with Gauss–Markov errors on both axes where asked for.
    fn recording(&self) -> Recording {
        let mut random = Pcg64::seed_from_u64(self.seed);
        let keep = (-1.0 / ERROR_TIME_S).exp();
        // Both spreads are positive numbers.
        let first = Normal::new(0.0, ERROR_SD_M).unwrap();
        let fresh = Normal::new(0.0, ERROR_SD_M * (1.0 - keep * keep).sqrt()).unwrap();
        let mut error_m = [first.sample(&mut random), first.sample(&mut random)];
        let mut metres = 0.0;
        let mut points = Points::new();
        let seconds = self.stretches.iter().flat_map(|&(_, seconds, speed, spm)| vec![(speed, spm); seconds]);
        let last = self.stretches.last().map(|&(_, _, speed, spm)| (speed, spm));
        for (second, (speed, spm)) in seconds.chain(last).enumerate() {
            let [north_m, east_m] = if self.noisy { error_m } else { [0.0; 2] };
            points.push(Point {
                time_ns: Some(1_750_000_000_000_000_000 + second as i64 * 1_000_000_000),
                position: Some(Position {
                    latitude_deg: (metres + north_m) / METRES_PER_DEGREE,
                    longitude_deg: east_m / METRES_PER_DEGREE,
                }),
                cadence_spm: self.with_cadence.then_some(spm),
                ..Point::default()
            });
            metres += speed;
            error_m = error_m.map(|error_m| keep * error_m + fresh.sample(&mut random));
        }
        Recording { points, ..Recording::default() }
    }
}

fn segmented(recording: &Recording) -> Segmentation {
    segment(recording, &SegmentSettings::default())
}

fn of_kind(found: &Segmentation, kind: Kind) -> Vec<(f64, f64)> {
    found.bouts.iter().filter(|bout| bout.kind == kind).map(|bout| (bout.start_s, bout.end_s)).collect()
}

fn kinds(found: &Segmentation) -> Vec<Kind> {
    found.bouts.iter().map(|bout| bout.kind).collect()
}

#[test]
fn the_confidence_of_a_bout_is_weighed_with_that_of_its_session() {
    let weights = Coefficients::default();
    let confidence = |terms: &[f64], weights: &[f64]| {
        let odds: f64 = terms.iter().zip(weights).map(|(term, weight)| term * weight).sum();
        1.0 / (1.0 + (-odds).exp())
    };
    let mut moved = [0, 0];
    for seed in 0..20 {
        let mut made = Made::six_reps(seed);
        if seed % 2 == 1 {
            // Running and walking lie close together.
            made.stretches
                .iter_mut()
                .for_each(|stretch| stretch.2 = if stretch.0 == Kind::Run { 2.0 } else { 1.6 });
        }
        let recording = made.recording();
        let found = segmented(&recording);
        let known = grounds(&recording, &SegmentSettings::default(), &weights).unwrap();
        let bouts = found.bouts.iter().filter(|bout| matches!(bout.kind, Kind::Run | Kind::Walk));
        for (bout, (alone, with_session)) in bouts.zip(known.stated.iter().zip(&known.with_session)) {
            let expected = confidence(&with_session.terms, weights.of(with_session.model));
            // A speed that is no walk's or run's holds it lower.
            assert!(bout.confidence <= expected + 1e-9, "{bout:?} {expected}");
            let alone = confidence(&alone.terms, weights.of(alone.model));
            moved[usize::from(bout.confidence > alone)] +=
                usize::from((bout.confidence - alone).abs() > 1e-4);
        }
    }
    // A sure session speaks for its bouts, a doubtful one against them.
    assert!(moved[0] > 0 && moved[1] > 0, "{moved:?}");
}

#[test]
fn six_reps_without_noise_have_every_edge_within_two_seconds_and_the_right_distances() {
    // 300 s walk, 6 × (60 s run, 90 s walk), 300 s walk at 2.4 and 1.5 m/s: 1500 s, 2574 m, of it run 360 s and 864 m,
    // runs start at 300 + 150 k (own calculation).
    let made = Made { noisy: false, ..Made::six_reps(0) };
    let found = segmented(&made.recording());
    let runs = of_kind(&found, Kind::Run);
    assert_eq!(runs.len(), 6);
    for (k, (start_s, end_s)) in runs.iter().enumerate() {
        let true_start_s = 300.0 + 150.0 * k as f64;
        assert!((start_s - true_start_s).abs() <= 2.0, "{runs:?}");
        assert!((end_s - true_start_s - 60.0).abs() <= 2.0, "{runs:?}");
    }
    let metres = |kind: Kind| -> f64 {
        found.bouts.iter().filter(|bout| bout.kind == kind).filter_map(|bout| bout.distance_m).sum()
    };
    assert!((metres(Kind::Run) - 864.0).abs() < 10.0);
    assert!((metres(Kind::Run) + metres(Kind::Walk) - 2574.0).abs() < 2.0);
    assert!(found.resolvable && found.confidence > 0.9);
}

/// Where speed decides, the number of runs is likelier right than every edge as well.
#[test]
fn a_session_by_speed_is_answered_by_the_number_of_its_runs() {
    let recording = Made { noisy: true, ..Made::six_reps(1) }.recording();
    let confidence = segment(&recording, &SegmentSettings::default()).confidence;
    let above =
        SegmentSettings { resolvable_by_speed_confidence: confidence + 1e-9, ..SegmentSettings::default() };
    assert!(segment(&recording, &above).resolvable, "{confidence}");
}

#[test]
fn what_cadence_decides_and_what_speed_decides_have_limits_of_their_own() {
    let speed = Made { noisy: true, ..Made::six_reps(1) };
    let cadence = Made { with_cadence: true, ..Made::six_reps(1) };
    let is_resolvable =
        |made: &Made, settings: &SegmentSettings| segment(&made.recording(), settings).resolvable;
    let usual = SegmentSettings::default();
    assert!(is_resolvable(&speed, &usual) && is_resolvable(&cadence, &usual));
    let by_cadence = SegmentSettings { resolvable_confidence: 1.0, ..usual };
    assert!(is_resolvable(&speed, &by_cadence) && !is_resolvable(&cadence, &by_cadence));
    let by_speed = SegmentSettings { resolvable_by_speed_confidence: 1.0, ..usual };
    assert!(!is_resolvable(&speed, &by_speed) && is_resolvable(&cadence, &by_speed));
}

#[test]
fn six_reps_with_noise_are_six_reps_in_nearly_all_sessions() {
    // The line to pass: 190 of 200 sessions with exactly six runs, 99 % of the edges within 5 s, 99 % of the
    // intersections over union from 0.85 up (own calculation: a plain two-state speed decoder reaches 196, 4 s, 0.906).
    let (mut sessions, mut edges, mut near, mut fits) = (0, 0, 0, 0);
    for seed in 0..200 {
        let runs = of_kind(&segmented(&Made::six_reps(seed).recording()), Kind::Run);
        if runs.len() != 6 {
            continue;
        }
        sessions += 1;
        for (k, (start_s, end_s)) in runs.into_iter().enumerate() {
            let (true_start_s, true_end_s) = (300.0 + 150.0 * k as f64, 360.0 + 150.0 * k as f64);
            edges += 2;
            near += usize::from((start_s - true_start_s).abs() <= 5.0);
            near += usize::from((end_s - true_end_s).abs() <= 5.0);
            let both = (end_s.min(true_end_s) - start_s.max(true_start_s)).max(0.0);
            let either = end_s.max(true_end_s) - start_s.min(true_start_s);
            fits += usize::from(both / either >= 0.85);
        }
    }
    assert!(sessions >= 190, "{sessions}");
    assert!(near as f64 >= 0.99 * f64::from(edges), "{near} of {edges}");
    assert!(2.0 * fits as f64 >= 0.99 * f64::from(edges), "{fits} of {}", edges / 2);
}

#[test]
fn six_reps_with_noise_and_cadence_are_six_reps_in_every_session() {
    for seed in 0..200 {
        let made = Made { with_cadence: true, ..Made::six_reps(seed) };
        let found = segmented(&made.recording());
        assert_eq!(of_kind(&found, Kind::Run).len(), 6, "seed {seed}");
        assert!(found.resolvable, "seed {seed}");
    }
}

#[test]
fn away_from_edges_less_than_two_seconds_in_a_hundred_are_wrong() {
    // Displacement over k seconds errs by s_k/k; the wrong side gets 1.2 % for k = 5 and 0.06 % for k = 10 with this
    // noise, 1.5 and 2.4 m/s and a cut half way (own calculation).
    let (mut wrong, mut all) = (0, 0);
    for seed in 0..60 {
        let runs = of_kind(&segmented(&Made::six_reps(seed).recording()), Kind::Run);
        for second in 300..1200 {
            let since_start = (second - 300) % 150;
            if [0, 60, 150].iter().any(|edge: &i32| (since_start - edge).abs() <= 10) {
                continue;
            }
            let middle_s = f64::from(second) + 0.5;
            let found = runs.iter().any(|run| (run.0..run.1).contains(&middle_s));
            all += 1;
            wrong += usize::from(found != (since_start < 60));
        }
    }
    assert!((wrong as f64) < 0.02 * f64::from(all), "{wrong} of {all}");
}

#[test]
fn cadence_parts_walking_from_running_whatever_the_speed() {
    // Adults change from walking to running near 140 steps a minute (Ducharme and others 2021, PMC8629136).
    let made = Made {
        with_cadence: true,
        ..Made::new(&[
            (Kind::Walk, 120, 1.9, 120.0),
            (Kind::Run, 120, 1.7, 156.0),
            (Kind::Walk, 120, 1.9, 120.0),
        ])
    };
    let found = segmented(&made.recording());
    assert_eq!(kinds(&found), [Kind::Walk, Kind::Run, Kind::Walk]);
    let run = of_kind(&found, Kind::Run)[0];
    assert!((run.0 - 120.0).abs() <= 5.0 && (run.1 - 240.0).abs() <= 5.0, "{run:?}");
}

#[test]
fn at_the_speed_of_a_slow_jog_cadence_decides_and_without_it_nobody_can_tell() {
    // 1.65 m/s is jogging by one published class of activities and brisk walking by any walker.
    let at = |spm: f64, with_cadence: bool| {
        let made = Made { with_cadence, ..Made::new(&[(Kind::Run, 900, 1.65, spm)]) };
        segmented(&made.recording())
    };
    assert_eq!(kinds(&at(150.0, true)), [Kind::Run]);
    assert_eq!(kinds(&at(118.0, true)), [Kind::Walk]);
    let unsure = at(150.0, false);
    assert!(!unsure.resolvable && unsure.notes[0].contains("cannot be told apart"), "{:?}", unsure.notes);
    // So no run is certain, however likely.
    let bounds = at(150.0, false).bounds.unwrap();
    assert_eq!((bounds.runs_at_least, bounds.longest_at_least_s, bounds.run_at_least_s), (0, 0.0, 0.0));
    assert!(bounds.runs.0 == 0 && bounds.runs.1 >= 1 && bounds.run_s.0 == 0.0 && bounds.longest_s.0 == 0.0);
}

#[test]
fn a_stop_that_positions_drift_through_is_no_walk() {
    let made = Made {
        with_cadence: true,
        ..Made::new(&[
            (Kind::Run, 300, 2.1, 156.0),
            (Kind::Stand, 14, 0.65, 0.0),
            (Kind::Run, 300, 2.1, 156.0),
        ])
    };
    let found = segmented(&made.recording());
    assert_eq!(kinds(&found), [Kind::Run, Kind::Stand, Kind::Run], "{:?}", found.bouts);
}

#[test]
fn a_climb_run_slowly_is_no_break_where_heights_tell_of_it() {
    let run = (Kind::Run, 600, 2.4, 156.0);
    let walk = (Kind::Walk, 300, 1.4, 112.0);
    let climb = (Kind::Run, 90, 1.65, 156.0);
    let made = Made::new(&[walk, run, climb, run, walk]);
    let level = made.recording();
    let climbed = Recording {
        points: level
            .points
            .iter()
            .enumerate()
            // Twelve in a hundred, from the fifteenth minute on.
            .map(|(second, point)| {
                let climbed_m = (second.clamp(900, 990) - 900) as f64 * climb.2;
                Point { elevation_m: Some(200.0 + 0.12 * climbed_m), ..point }
            })
            .collect(),
        ..Recording::default()
    };
    let runs = |recording: &Recording| of_kind(&segmented(recording), Kind::Run).len();
    assert_eq!([runs(&level), runs(&climbed)], [2, 1]);
}

#[test]
fn a_stop_of_a_minute_is_a_stand_that_adds_no_distance() {
    // Standing still, this noise alone shows 0.57 m/s, 34 m a minute (own calculation).
    let mut worst_m: f64 = 0.0;
    for seed in 0..40 {
        let made = Made {
            noisy: true,
            seed,
            ..Made::new(&[
                (Kind::Run, 300, 2.4, 156.0),
                (Kind::Stand, 60, 0.0, 0.0),
                (Kind::Run, 300, 2.4, 156.0),
            ])
        };
        let found = segmented(&made.recording());
        let stand = found.bouts.iter().find(|bout| bout.kind == Kind::Stand);
        let stand = stand.unwrap_or_else(|| panic!("seed {seed}: {:?}", found.bouts));
        assert!((stand.start_s - 300.0).abs() <= 5.0 && (stand.end_s - 360.0).abs() <= 5.0, "{stand:?}");
        worst_m = worst_m.max(stand.distance_m.unwrap_or(0.0));
    }
    assert!(worst_m <= 2.0, "{worst_m}");
}

#[test]
fn a_ride_belongs_to_no_bout_of_the_legs() {
    let made = Made::new(&[(Kind::Run, 600, 2.4, 0.0), (Kind::Gap, 300, 14.0, 0.0)]);
    let mut recording = made.recording();
    recording.faster_than_legs.push(600..901);
    let found = segmented(&recording);
    assert_eq!(kinds(&found), [Kind::Run, Kind::Gap]);
    assert!((found.bouts[0].end_s - 600.0).abs() <= 2.0);
}

#[test]
fn a_hole_behind_a_ride_lies_where_its_gap_does() {
    let made = Made::new(&[(Kind::Gap, 300, 14.0, 0.0), (Kind::Run, 600, 2.4, 0.0)]);
    let all = made.recording().points;
    let points = (0..all.len()).filter(|index| !(601..661).contains(index)).map(|index| all.get(index));
    let mut recording = Recording { points: points.collect(), ..Recording::default() };
    recording.faster_than_legs.push(0..300);
    let found = segmented(&recording);
    assert_eq!(kinds(&found), [Kind::Gap, Kind::Run, Kind::Gap, Kind::Run]);
    assert_eq!((found.bouts[2].start_s, found.bouts[2].end_s), (600.0, 661.0));
    assert_eq!(found.unseen, [600.0..661.0]);
}

#[test]
fn a_step_beyond_the_limit_is_a_gap_that_ends_a_run_and_lies_on_points() {
    let made = Made::new(&[(Kind::Run, 600, 2.4, 156.0)]);
    let all = made.recording().points;
    let without = |first: usize, last: usize| {
        let points =
            (0..all.len()).filter(|index| !(first..last).contains(index)).map(|index| all.get(index));
        segmented(&Recording { points: points.collect(), ..Recording::default() })
    };
    assert_eq!(kinds(&without(301, 320)), [Kind::Run], "20 s are sampling");
    let gap = without(301, 321);
    assert_eq!(kinds(&gap), [Kind::Run, Kind::Gap, Kind::Run]);
    assert_eq!((gap.bouts[1].start_s, gap.bouts[1].end_s), (300.0, 321.0));
    // The person came on: what was done in it nobody knows.
    assert_eq!(gap.unseen, [300.0..321.0]);
}

#[test]
fn recordings_that_hardly_are_ones_are_taken_without_a_panic() {
    let second = |second: i64, point: Point| Point { time_ns: Some(second * 1_000_000_000), ..point };
    let somewhere = Position { latitude_deg: 10.0, longitude_deg: 179.9999 };
    let elsewhere = Position { latitude_deg: 10.01, longitude_deg: -179.9999 };
    let at = |position| Point { position: Some(position), ..Point::default() };
    let odd: Vec<Vec<Point>> = vec![
        vec![],
        vec![second(5, at(somewhere))],
        vec![second(5, at(somewhere)), second(6, at(elsewhere))],
        vec![second(0, Point::default()), second(7200, Point::default())],
        (0..600).map(|s| second(s, Point::default())).collect(),
        (0..600).map(|s| second(s, at(somewhere))).collect(),
        (0..600).map(|s| second(s, at(if s % 2 == 0 { somewhere } else { elsewhere }))).collect(),
        (0..600).map(|s| second(s * 60, at(somewhere))).collect(),
        (0..600).map(|s| second(s, Point { cadence_spm: Some(0.0), ..Point::default() })).collect(),
        (0..600).map(|s| second(s, Point { cadence_spm: Some(156.0), ..Point::default() })).collect(),
        (0..600).map(|s| second(s, Point { distance_m: Some(2.4 * s as f64), ..Point::default() })).collect(),
        (0..600).map(|s| second(s, Point { speed_m_per_s: Some(2.4), ..Point::default() })).collect(),
        (0..600).map(|s| Point { time_ns: Some(s * 100_000_000), ..at(somewhere) }).collect(),
    ];
    for points in odd {
        let recording = Recording { points: points.into_iter().collect(), ..Recording::default() };
        let found = segmented(&recording);
        covers(&found, &recording);
        assert!(found.confidence.is_finite() && (0.0..=1.0).contains(&found.confidence));
    }
}

#[test]
fn distance_or_speed_of_the_device_serves_where_there_are_no_positions() {
    let recording = |value: fn(&mut Point, f64, f64)| {
        let mut metres = 0.0;
        let points = (0..=900).map(|second: i64| {
            let speed = if (300..600).contains(&second) { 2.5 } else { 1.4 };
            let mut point = Point { time_ns: Some(second * 1_000_000_000), ..Point::default() };
            value(&mut point, metres, speed);
            metres += speed;
            point
        });
        Recording { points: points.collect(), ..Recording::default() }
    };
    let by_distance = recording(|point, metres, _| point.distance_m = Some(metres));
    let by_speed = recording(|point, _, speed| point.speed_m_per_s = Some(speed));
    for recording in [by_distance, by_speed] {
        let found = segmented(&recording);
        assert_eq!(kinds(&found), [Kind::Walk, Kind::Run, Kind::Walk]);
        assert!(found.resolvable);
    }
}

#[test]
fn nothing_that_tells_is_said_to_be_so() {
    let points = (0..600).map(|s: i64| Point {
        time_ns: Some(s * 1_000_000_000),
        heart_rate_bpm: Some(130.0),
        ..Point::default()
    });
    let found = segmented(&Recording { points: points.collect(), ..Recording::default() });
    assert!(!found.resolvable && found.notes[0].starts_with("Nothing tells"), "{:?}", found.notes);
    assert_eq!(found.bouts[0].heart_rate_mean_bpm, Some(130.0));
    assert_eq!(found.bouts[0].distance_m, None);
}

/// Bouts touch, cover the session exactly, and carry probabilities.
fn covers(found: &Segmentation, recording: &Recording) {
    let mut end_s = 0.0;
    for bout in &found.bouts {
        assert_eq!(bout.start_s, end_s);
        assert!(bout.end_s > bout.start_s);
        assert!((0.0..=1.0).contains(&bout.confidence), "{bout:?}");
        assert!(bout.distance_m.is_none_or(|metres| metres.is_finite() && metres >= 0.0), "{bout:?}");
        end_s = bout.end_s;
    }
    assert!((end_s - recording.duration_s()).abs() < 1e-6, "{end_s} {}", recording.duration_s());
    let series = &found.series;
    assert_eq!(series.start_s(series.len()), recording.duration_s().ceil());
    assert_eq!(series.heart_rate_bpm.len(), series.len());
    assert_eq!(series.cadence_spm.len(), series.len());
}

/// Any points with times that rise by 1 to 40 s, each value present or not.
fn any_points() -> impl Strategy<Value = Vec<Point>> {
    let value = |range: std::ops::Range<f64>| proptest::option::weighted(0.8, range);
    let point = (1_i64..40, value(-0.01..0.01), value(0.0..200.0), value(0.0..220.0), value(0.0..12.0));
    proptest::collection::vec(point, 0..200).prop_map(|rows| {
        let mut time_ns = 0;
        let row = |(step_s, degrees, bpm, spm, speed): (i64, Option<f64>, _, _, _)| {
            time_ns += step_s * 1_000_000_000;
            let position = degrees.map(|degrees| Position { latitude_deg: degrees, longitude_deg: degrees });
            Point {
                time_ns: Some(time_ns),
                position,
                heart_rate_bpm: bpm,
                cadence_spm: spm,
                speed_m_per_s: speed,
                ..Point::default()
            }
        };
        rows.into_iter().map(row).collect()
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(96))]

    #[test]
    fn any_recording_is_covered_from_its_first_to_its_last_point(points in any_points()) {
        let recording = Recording { points: points.into_iter().collect(), ..Recording::default() };
        covers(&segmented(&recording), &recording);
    }

    #[test]
    fn a_shift_of_the_clock_changes_nothing(points in any_points(), shift_ms in -1_000_000_000_000_i64..1_000_000_000_000) {
        let shift = |point: &Point| Point {
            time_ns: point.time_ns.map(|time_ns| time_ns + shift_ms * 1_000_000),
            ..*point
        };
        let shifted: Points = points.iter().map(shift).collect();
        let here = segmented(&Recording { points: points.into_iter().collect(), ..Recording::default() });
        let there = segmented(&Recording { points: shifted, ..Recording::default() });
        prop_assert_eq!(here.bouts, there.bouts);
        prop_assert_eq!(here.confidence.to_bits(), there.confidence.to_bits());
    }

    #[test]
    fn segments_and_laps_change_nothing(seed in 0_u64..1000, cuts in proptest::collection::vec(1_usize..1500, 0..8)) {
        let plain = Made::six_reps(seed).recording();
        let mut cut = plain.clone();
        for (number, index) in cuts.into_iter().enumerate() {
            let kind = if number % 2 == 0 { MarkKind::Segment } else { MarkKind::Lap };
            cut.marks.push(Mark { index, kind });
        }
        prop_assert_eq!(segmented(&plain).bouts, segmented(&cut).bouts);
    }
}

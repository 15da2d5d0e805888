//! What one recording yields without a plan.

use std::ops::Range;

use boutwise_track::Recording;
use serde::{Deserialize, Serialize};

use crate::statistics::{mean_of, median};
use crate::{
    AdherenceSettings, Bounds, Bout, DriftSettings, HeartRateFallSettings, Inside, Interval, Kind, Observed,
    PaceDrift, Reading, Segmentation, SessionMatch, SpeedPerBeatSettings, heart_rate_falls,
    heart_rate_mean_bpm, heart_rate_share_pct, match_recorded, pace_drift, read_events,
    speed_per_beat_loss_pct,
};

/// Settings of [`measure`]; `Default` is the documented method.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct MeasureSettings {
    /// Pace drift.
    pub drift: DriftSettings,
    /// Heart-rate fall in walk breaks.
    pub heart_rate_fall: HeartRateFallSettings,
    /// Speed against heart rate in steady runs.
    pub speed_per_beat: SpeedPerBeatSettings,
}

/// An unbroken run: one run bout.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct UnbrokenRun {
    /// Start in seconds from the session's first point.
    pub start_s: f64,
    /// Length in seconds.
    pub duration_s: f64,
    /// Length in metres.
    pub distance_m: Option<f64>,
}

/// One recorded session, measured. It holds no points: a batch keeps many of these.
///
/// Where running and walking can't be told apart (`resolvable` is `false`), the bouts and their sums are the best guess,
/// and what would enter a record or a trend is `None`: longest run, pace drift, heart-rate fall, loss of speed per beat, and any
/// match with a plan.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Session {
    /// Time of the first point, in nanoseconds since 1970-01-01T00:00:00Z; `None` without points.
    pub start_ns: Option<i64>,
    /// Seconds from the first to the last point.
    pub duration_s: f64,
    /// The way along the positions in metres.
    pub distance_m: Option<f64>,
    /// Number of points.
    pub points: usize,
    /// Mean heart rate over the points that have one, in beats per minute.
    pub heart_rate_mean_bpm: Option<f64>,
    /// Share of the points that have a heart rate, in %.
    pub heart_rate_share_pct: Option<f64>,
    /// Seconds run.
    pub run_s: f64,
    /// Metres run; `None` where those of a run bout are not known.
    pub run_m: Option<f64>,
    /// Seconds walked.
    pub walk_s: f64,
    /// Metres walked; `None` where those of a walk bout are not known.
    pub walk_m: Option<f64>,
    /// Seconds standing.
    pub stand_s: f64,
    /// Seconds without points, or without positions while nobody came on.
    pub gap_s: f64,
    /// The longest unbroken run, the earlier one of equals.
    pub longest_run: Option<UnbrokenRun>,
    /// Pace of the running in seconds per kilometre.
    pub run_pace_s_per_km: Option<f64>,
    /// Change of the running pace over the run time.
    pub pace_drift: Option<PaceDrift>,
    /// Mean heart rate over the points of the run bouts, in beats per minute.
    pub run_heart_rate_mean_bpm: Option<f64>,
    /// Median fall of the heart rate in the first minute of the walk breaks, in beats per minute.
    pub heart_rate_fall_60s_bpm: Option<f64>,
    /// Loss of speed for the same heart rate over the longest run, in %.
    pub speed_per_beat_loss_pct: Option<f64>,
    /// Mean cadence of both legs over the points of the run bouts, in steps per minute; dropouts (0) left out.
    pub run_cadence_spm: Option<f64>,
    /// Whether running and walking can be told apart.
    pub resolvable: bool,
    /// Probability that every run is right, 0 to 1: their number, and each edge within 10 s.
    pub confidence: f64,
    /// Why running and walking can't be told apart, in words; `None` where they can.
    pub doubt: Option<String>,
    /// Stretches in a vehicle, in seconds from the session's first point; `gap` among the bouts.
    pub vehicles: Vec<Range<f64>>,
    /// Stretches in which the person came on or nobody can tell, and nothing was recorded of how; `gap` among the bouts.
    pub unseen: Vec<Range<f64>>,
    /// Between what the runs lie, and what is certain of them however doubtful the bouts are.
    pub bounds: Option<Bounds>,
    /// What was odd, in words: from reading, then from segmentation.
    pub notes: Vec<String>,
    /// The bouts, in order, without holes.
    pub bouts: Vec<Bout>,
}

impl Session {
    /// Reads what happened in the session that was to follow `intervals`; `breaks_off` says that the file does.
    pub fn read(&self, intervals: &[Interval], breaks_off: bool, settings: &AdherenceSettings) -> Reading {
        let observed = Observed {
            bouts: &self.bouts,
            vehicles: &self.vehicles,
            unseen: &self.unseen,
            doubt: self.doubt.as_deref(),
            confidence: self.confidence,
            breaks_off,
            is_part: false,
        };
        read_events(intervals, &observed, settings)
    }

    /// Lays the session on what was asked for, as far as `inside` says that it was recorded; `None` where it is not
    /// resolvable or nothing can be compared.
    pub fn matched(
        &self,
        intervals: &[Interval],
        inside: Option<&Inside>,
        settings: &AdherenceSettings,
    ) -> Option<SessionMatch> {
        self.resolvable.then(|| match_recorded(intervals, &self.bouts, inside, settings)).flatten()
    }
}

/// Measures one session.
///
/// ```
/// use boutwise_bouts::{MeasureSettings, SegmentSettings, measure, segment};
/// use boutwise_track::Recording;
///
/// let recording = Recording::default();
/// let segmentation = segment(&recording, &SegmentSettings::default());
/// let session = measure(&recording, &segmentation, &MeasureSettings::default());
/// assert_eq!((session.points, session.longest_run), (0, None));
/// ```
pub fn measure(recording: &Recording, segmentation: &Segmentation, settings: &MeasureSettings) -> Session {
    let points = &recording.points;
    let bouts = &segmentation.bouts;
    let start_ns = points.time_ns().first().copied();
    let times_s: Vec<f64> = points
        .time_ns()
        .iter()
        .map(|&time_ns| time_ns.saturating_sub(start_ns.unwrap_or(0)) as f64 * 1e-9)
        .collect();
    let (run_s, run_m) = sums(bouts, Kind::Run);
    let (walk_s, walk_m) = sums(bouts, Kind::Walk);
    let longest = segmentation.resolvable.then(|| longest_run(bouts)).flatten();
    let series = &segmentation.series;
    let runs: Vec<Bout> =
        bouts.iter().filter(|bout| bout.kind == Kind::Run).map(|run| series.by_index(run)).collect();
    let falls_bpm: Vec<f64> =
        heart_rate_falls(bouts, &times_s, points.heart_rate_bpm(), &settings.heart_rate_fall)
            .iter()
            .map(|fall| fall.fall_bpm)
            .collect();
    let resolved = |value: Option<f64>| value.filter(|_| segmentation.resolvable);
    Session {
        start_ns,
        duration_s: recording.duration_s(),
        distance_m: recording.distance_m(),
        points: points.len(),
        heart_rate_mean_bpm: heart_rate_mean_bpm(points.heart_rate_bpm()),
        heart_rate_share_pct: heart_rate_share_pct(points.heart_rate_bpm()),
        run_s,
        run_m,
        walk_s,
        walk_m,
        stand_s: sums(bouts, Kind::Stand).0,
        gap_s: sums(bouts, Kind::Gap).0,
        longest_run: longest.map(|bout| UnbrokenRun {
            start_s: bout.start_s,
            duration_s: bout.duration_s(),
            distance_m: bout.distance_m,
        }),
        run_pace_s_per_km: run_m.filter(|&metres| metres > 0.0).map(|metres| 1000.0 * run_s / metres),
        pace_drift: pace_drift(&runs, &series.speed_m_per_s, &settings.drift)
            .filter(|_| segmentation.resolvable),
        run_heart_rate_mean_bpm: mean_of(while_running(bouts, &times_s, points.heart_rate_bpm())),
        heart_rate_fall_60s_bpm: resolved(median(&falls_bpm)),
        speed_per_beat_loss_pct: longest.and_then(|bout| {
            let run = series.by_index(bout);
            speed_per_beat_loss_pct(
                &run,
                &series.speed_m_per_s,
                &series.heart_rate_bpm,
                &settings.speed_per_beat,
            )
        }),
        run_cadence_spm: mean_of(
            while_running(bouts, &times_s, points.cadence_spm()).filter(|&cadence_spm| cadence_spm > 0.0),
        ),
        resolvable: segmentation.resolvable,
        confidence: segmentation.confidence,
        doubt: (!segmentation.resolvable).then(|| segmentation.notes.first().cloned().unwrap_or_default()),
        vehicles: segmentation.vehicles.clone(),
        unseen: segmentation.unseen.clone(),
        bounds: segmentation.bounds,
        notes: recording.notes.iter().map(|note| &note.text).chain(&segmentation.notes).cloned().collect(),
        bouts: bouts.clone(),
    }
}

/// Seconds and metres of the bouts of one kind; no metres where those of a bout are not known.
fn sums(bouts: &[Bout], kind: Kind) -> (f64, Option<f64>) {
    let of_kind = || bouts.iter().filter(|bout| bout.kind == kind);
    (of_kind().map(Bout::duration_s).sum(), of_kind().map(|bout| bout.distance_m).sum())
}

/// The longest run bout, the earlier one of equals.
fn longest_run(bouts: &[Bout]) -> Option<&Bout> {
    bouts
        .iter()
        .filter(|bout| bout.kind == Kind::Run)
        .reduce(|longest, bout| if bout.duration_s() > longest.duration_s() { bout } else { longest })
}

/// Values that are present at the points of the run bouts.
fn while_running<'a>(
    bouts: &'a [Bout],
    times_s: &'a [f64],
    values: &'a [f64],
) -> impl Iterator<Item = f64> + 'a {
    let place = move |limit_s: f64| times_s.partition_point(|&time_s| time_s < limit_s);
    bouts
        .iter()
        .filter(|bout| bout.kind == Kind::Run)
        .flat_map(move |bout| values.get(place(bout.start_s)..place(bout.end_s)).unwrap_or_default())
        .copied()
        .filter(|value| !value.is_nan())
}

#[cfg(test)]
mod tests {
    use approx::assert_abs_diff_eq;
    use boutwise_track::{Point, Points, Position};
    use proptest::prelude::*;

    use super::*;
    use crate::{Amount, Gait, SegmentSettings, Series, segment};

    const START_NS: i64 = 1_767_225_600_000_000_000;

    /// A session sampled every second along a meridian: seconds, speed, heart rate and cadence of each stretch.
    fn recording(start_ns: i64, stretches: &[(usize, f64, f64, f64)]) -> Recording {
        /// Degrees of latitude in a metre, about.
        const DEG_PER_M: f64 = 1.0 / 111_200.0;
        let (mut points, mut metres, mut second) = (Points::new(), 0.0, 0);
        for &(seconds, speed_m_per_s, heart_rate_bpm, cadence_spm) in stretches {
            for _ in 0..seconds {
                points.push(Point {
                    time_ns: Some(start_ns + second * 1_000_000_000),
                    position: Some(Position { latitude_deg: metres * DEG_PER_M, longitude_deg: 10.0 }),
                    heart_rate_bpm: Some(heart_rate_bpm),
                    cadence_spm: Some(cadence_spm),
                    ..Point::default()
                });
                metres += speed_m_per_s;
                second += 1;
            }
        }
        Recording { points, ..Recording::default() }
    }

    fn run_walk(start_ns: i64) -> Recording {
        let mut stretches = vec![(300, 1.4, 100.0, 112.0)];
        for rep in 0..6 {
            stretches.push((60, 2.4, 150.0 + f64::from(rep), 156.0));
            stretches.push((90, 1.4, 120.0, 112.0));
        }
        recording(start_ns, &stretches)
    }

    /// Bouts as they were made, each with its metres.
    fn made(recording: &Recording, resolvable: bool) -> Segmentation {
        let mut bouts = vec![Bout::new(Kind::Walk, 0.0, 300.0)];
        for rep in 0..6 {
            let start_s = f64::from(300 + 150 * rep);
            bouts.push(Bout::new(Kind::Run, start_s, start_s + 60.0));
            bouts.push(Bout::new(Kind::Walk, start_s + 60.0, (start_s + 150.0).min(recording.duration_s())));
        }
        for bout in &mut bouts {
            let speed_m_per_s = if bout.kind == Kind::Run { 2.4 } else { 1.4 };
            bout.distance_m = Some(bout.duration_s() * speed_m_per_s);
        }
        let seconds = recording.duration_s() as usize;
        let speed_m_per_s = (0..seconds)
            .map(|second| if second >= 300 && (second - 300) % 150 < 60 { 2.4 } else { 1.4 })
            .collect();
        let series = Series { speed_m_per_s, ..Series::default() };
        Segmentation {
            bouts,
            resolvable,
            confidence: 0.9,
            bounds: None,
            notes: vec!["a note".into()],
            series,
            vehicles: Vec::new(),
            unseen: Vec::new(),
        }
    }

    fn measured(recording: &Recording, resolvable: bool) -> Session {
        measure(recording, &made(recording, resolvable), &MeasureSettings::default())
    }

    #[test]
    fn a_made_session_has_the_measures_it_was_made_with() {
        let session = measured(&run_walk(START_NS), true);
        assert_eq!((session.start_ns, session.points, session.duration_s), (Some(START_NS), 1200, 1199.0));
        assert_eq!((session.run_s, session.walk_s, session.stand_s, session.gap_s), (360.0, 839.0, 0.0, 0.0));
        assert_abs_diff_eq!(session.run_m.unwrap(), 864.0, epsilon = 1e-9);
        assert_abs_diff_eq!(session.run_pace_s_per_km.unwrap(), 1000.0 / 2.4, epsilon = 1e-9);
        assert_eq!(session.longest_run.unwrap().start_s, 300.0);
        assert_abs_diff_eq!(session.run_heart_rate_mean_bpm.unwrap(), 152.5, epsilon = 1e-9);
        assert_eq!(session.heart_rate_share_pct, Some(100.0));
        assert_eq!(session.run_cadence_spm, Some(156.0));
        // Six falls from 150 … 155 to 120 beats a minute.
        assert_abs_diff_eq!(session.heart_rate_fall_60s_bpm.unwrap(), 32.5, epsilon = 1e-9);
        assert_abs_diff_eq!(session.pace_drift.unwrap().drift_pct, 0.0, epsilon = 1e-9);
        assert_eq!(session.notes, ["a note"]);
    }

    #[test]
    fn what_cannot_be_resolved_enters_no_record_and_no_match() {
        let session = measured(&run_walk(START_NS), false);
        assert_eq!(session.longest_run, None);
        assert_eq!(session.pace_drift, None);
        assert_eq!(session.heart_rate_fall_60s_bpm, None);
        let planned = [Interval { gait: Gait::Run, amount: Amount::Seconds(60.0) }];
        assert_eq!(session.matched(&planned, None, &AdherenceSettings::default()), None);
        assert!(!session.bouts.is_empty());
        let resolved = measured(&run_walk(START_NS), true);
        assert!(resolved.matched(&planned, None, &AdherenceSettings::default()).is_some());
    }

    #[test]
    fn metres_that_are_not_known_are_missing_and_none_run_is_zero() {
        let recording = run_walk(START_NS);
        let mut segmentation = made(&recording, true);
        segmentation.bouts[1].distance_m = None;
        let session = measure(&recording, &segmentation, &MeasureSettings::default());
        assert_eq!((session.run_m, session.run_pace_s_per_km), (None, None));
        segmentation.bouts.iter_mut().for_each(|bout| bout.kind = Kind::Walk);
        let walked = measure(&recording, &segmentation, &MeasureSettings::default());
        assert_eq!((walked.run_s, walked.run_m, walked.run_pace_s_per_km), (0.0, Some(0.0), None));
        assert_eq!(walked.longest_run, None);
    }

    #[test]
    fn the_earlier_of_equal_runs_is_the_longest() {
        let bouts = [
            Bout::new(Kind::Run, 0.0, 60.0),
            Bout::new(Kind::Walk, 60.0, 90.0),
            Bout::new(Kind::Run, 90.0, 150.0),
        ];
        assert_eq!(longest_run(&bouts).unwrap().start_s, 0.0);
    }

    #[test]
    fn a_dropout_of_the_step_counter_is_no_cadence() {
        let recording =
            recording(START_NS, &[(30, 2.4, 150.0, 160.0), (10, 2.4, 150.0, 0.0), (20, 2.4, 150.0, 160.0)]);
        let segmentation = Segmentation {
            bouts: vec![Bout::new(Kind::Run, 0.0, 59.0)],
            resolvable: true,
            confidence: 1.0,
            bounds: None,
            notes: Vec::new(),
            series: Series::default(),
            vehicles: Vec::new(),
            unseen: Vec::new(),
        };
        let session = measure(&recording, &segmentation, &MeasureSettings::default());
        assert_eq!(session.run_cadence_spm, Some(160.0));
    }

    /// Reps, walks and their lengths as a beginner might do them, with a stretch of 45 s without points after some.
    fn any_recording() -> impl Strategy<Value = Recording> {
        let rep = (20..200_usize, 2.2..2.9_f64, 20..120_usize, any::<bool>());
        prop::collection::vec(rep, 0..6).prop_map(|reps| {
            let stretches: Vec<_> = reps
                .iter()
                .flat_map(|&(run, speed, walk, _)| [(run, speed, 150.0, 156.0), (walk, 1.4, 120.0, 112.0)])
                .collect();
            let whole = recording(START_NS, &stretches);
            let (mut lost_ns, mut ends) = (0, Vec::new());
            for &(run, _, walk, lost) in &reps {
                ends.push((ends.last().map_or(0, |&(end, _)| end) + run + walk, lost));
            }
            let points = whole.points.iter().enumerate().map(|(index, point)| {
                if ends.iter().any(|&(end, lost)| lost && end == index) {
                    lost_ns += 45_000_000_000;
                }
                Point { time_ns: point.time_ns.map(|time_ns| time_ns + lost_ns), ..point }
            });
            Recording { points: points.collect(), ..Recording::default() }
        })
    }

    proptest! {
        #[test]
        fn bouts_add_up_to_the_session(recording in any_recording()) {
            let segmentation = segment(&recording, &SegmentSettings::default());
            let session = measure(&recording, &segmentation, &MeasureSettings::default());
            let bouts_s: f64 = session.bouts.iter().map(Bout::duration_s).sum();
            prop_assert!((bouts_s - session.duration_s).abs() < 1e-6);
            let kinds_s = session.run_s + session.walk_s + session.stand_s + session.gap_s;
            prop_assert!((kinds_s - session.duration_s).abs() < 1e-6);
            prop_assert!(session.longest_run.is_none_or(|run| run.duration_s <= session.run_s + 1e-6));
        }

        #[test]
        fn a_recording_at_another_time_is_the_same_session(
            recording in any_recording(), shift_ns in -1_000_000_000_000_000_000..1_000_000_000_000_000_000_i64,
        ) {
            let moved = |point: Point| Point { time_ns: point.time_ns.map(|time_ns| time_ns + shift_ns), ..point };
            let later = Recording { points: recording.points.iter().map(moved).collect(), ..Recording::default() };
            let measured = |recording: &Recording| {
                let segmentation = segment(recording, &SegmentSettings::default());
                measure(recording, &segmentation, &MeasureSettings::default())
            };
            let session = measured(&recording);
            let later = measured(&later);
            prop_assert_eq!(Session { start_ns: session.start_ns, ..later }, session);
        }

        #[test]
        fn a_session_at_another_time_has_the_same_measures(shift_ns in -1_000_000_000_000_000_000..1_000_000_000_000_000_000_i64) {
            let session = measured(&run_walk(START_NS), true);
            let later = measured(&run_walk(START_NS + shift_ns), true);
            prop_assert_eq!(later.start_ns, Some(START_NS + shift_ns));
            prop_assert_eq!(Session { start_ns: session.start_ns, ..later }, session);
        }
    }
}

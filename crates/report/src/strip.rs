//! One session as strips over one time axis: what was planned, what was done, and what was measured.

use boutwise_bouts::{Gait, Kind};

use crate::digits::push_whole_bytes;
use crate::figures::{PaceUnit, duration};
use crate::plot::{Scale, Tick, line, multiples, nearest, step};
use crate::rows::{BoutRow, IntervalRow};
use crate::trace::Trace;
use boutwise_bouts::IntervalStatus;

/// Height of a measured curve in units of its drawing.
const CURVE_HEIGHT: f64 = 100.0;

/// Speed at which a planned distance is drawn where none was done, in metres per second (own choice).
const PLANNED_SPEED_M_PER_S: f64 = 2.5;

/// Steps of the time axis in seconds.
const TIME_STEPS_S: [f64; 9] = [60.0, 120.0, 300.0, 600.0, 900.0, 1800.0, 3600.0, 7200.0, 21_600.0];

/// Most parts of the time axis.
const TIME_PARTS_MAX: f64 = 8.0;

/// Paces that the speed is marked with, in seconds per kilometre and per mile.
const PACES_PER_KM: [f64; 3] = [720.0, 480.0, 360.0];
const PACES_PER_MILE: [f64; 3] = [1200.0, 780.0, 600.0];

/// All stretches of one kind in a strip: the kind's word, and the path around them.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Stretches {
    pub(crate) kind: &'static str,
    pub(crate) path: String,
}

/// A measured quantity as a line over the time axis.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Curve {
    pub(crate) name: &'static str,
    pub(crate) path: String,
    pub(crate) ticks: Vec<Tick>,
    pub(crate) label: String,
}

/// All strips of a session; every part has the same time axis.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Strips {
    pub(crate) planned: Vec<Stretches>,
    pub(crate) done: Vec<Stretches>,
    pub(crate) curves: Vec<Curve>,
    pub(crate) ticks: Vec<Tick>,
    /// First and last second of the time axis.
    pub(crate) from_s: f64,
    pub(crate) to_s: f64,
}

impl Strips {
    /// Draws a session of `duration_s` seconds. Nothing to draw gives `None`.
    pub(crate) fn new(
        duration_s: f64,
        bouts: &[BoutRow],
        intervals: &[IntervalRow],
        trace: Option<&Trace>,
        pace: PaceUnit,
    ) -> Option<Self> {
        if bouts.is_empty() && trace.is_none() {
            return None;
        }
        let planned = planned_times(intervals);
        let from_s = planned.first().map_or(0.0, |(_, start_s, _)| start_s.min(0.0));
        let to_s = planned.last().map_or(duration_s, |(_, _, end_s)| end_s.max(duration_s));
        let time = Scale::across(from_s, to_s);
        let time_step_s = step(to_s - from_s, TIME_PARTS_MAX, &TIME_STEPS_S);
        Some(Self {
            planned: by_kind(planned.iter().copied(), time),
            done: by_kind(bouts.iter().map(|bout| (bout.kind, bout.start_s, bout.end_s)), time),
            curves: trace.map_or_else(Vec::new, |trace| curves(trace, time, pace)),
            ticks: multiples(from_s, to_s, time_step_s)
                .map(|time_s| Tick { at: time.percent(time_s), label: duration(time_s) })
                .collect(),
            from_s,
            to_s,
        })
    }
}

/// When each planned interval would have run, had the plan been kept from the first rep that was begun.
fn planned_times(intervals: &[IntervalRow]) -> Vec<(Kind, f64, f64)> {
    let planned = || intervals.iter().filter(|row| row.status != IntervalStatus::Extra);
    let mut time_s = 0.0;
    let mut offset_s = None;
    let mut times = Vec::new();
    for row in planned() {
        let length_s = row.planned_s.or(row.done_s.filter(|&done_s| done_s > 0.0));
        let length_s = length_s.or(row.planned_m.map(|metres| metres / PLANNED_SPEED_M_PER_S)).unwrap_or(0.0);
        if row.kind == Gait::Run && offset_s.is_none() {
            offset_s = row.start_s.map(|start_s| start_s - time_s);
        }
        let kind = if row.kind == Gait::Run { Kind::Run } else { Kind::Walk };
        times.push((kind, time_s, time_s + length_s));
        time_s += length_s;
    }
    let offset_s = offset_s.unwrap_or(0.0);
    times.into_iter().map(|(kind, start_s, end_s)| (kind, start_s + offset_s, end_s + offset_s)).collect()
}

/// The stretches of each kind that there are.
fn by_kind(stretches: impl Iterator<Item = (Kind, f64, f64)> + Clone, time: Scale) -> Vec<Stretches> {
    let of_kind = |kind: Kind| {
        let mut path = Vec::new();
        for (_, start_s, end_s) in stretches.clone().filter(|(of, ..)| *of == kind) {
            push_stretch(kind, start_s, end_s, time, &mut path);
        }
        // Nothing but letters, digits, blanks and signs.
        (!path.is_empty())
            .then(|| Stretches { kind: kind.word(), path: String::from_utf8(path).unwrap_or_default() })
    };
    [Kind::Walk, Kind::Run, Kind::Stand, Kind::Gap].into_iter().filter_map(of_kind).collect()
}

/// Where a kind stands in a strip, from above, and how high it is. Kinds differ by height first, then by texture and colour: a run
/// is full, a walk half, standing a low step, a gap a thin line half way up.
fn height_of(kind: Kind) -> (i64, i64) {
    match kind {
        Kind::Run => (0, 28),
        Kind::Walk => (14, 14),
        Kind::Stand => (23, 5),
        Kind::Gap => (13, 2),
    }
}

/// Appends the way around a stretch: `M x y H end v height H x z`.
fn push_stretch(kind: Kind, start_s: f64, end_s: f64, time: Scale, path: &mut Vec<u8>) {
    let (y, height) = height_of(kind);
    let (x, end) = (nearest(time.place(start_s)), nearest(time.place(end_s)));
    for (letter, number) in [(b'M', x), (b' ', y), (b'H', end), (b'v', height), (b'H', x)] {
        path.push(letter);
        push_whole_bytes(number, path);
    }
    path.push(b'z');
}

/// Levels of a curve that lie closer, in % of its height, would have their labels over one another (own choice: a label's height).
const LEVELS_APART_PCT: f64 = 20.0;

fn curves(trace: &Trace, time: Scale, pace: PaceUnit) -> Vec<Curve> {
    let mut curves = Vec::new();
    let recorded = |values: &[f32]| {
        let (low, high) = values
            .iter()
            .filter(|value| value.is_finite())
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), &value| {
                (low.min(f64::from(value)), high.max(f64::from(value)))
            });
        (low <= high).then_some((low, high))
    };
    let path = |values: &[f32], scale: Scale| {
        line(values.iter().enumerate().map(|(slice, value)| {
            let middle_s = (slice as f64 + 0.5) * trace.slice_s;
            value.is_finite().then(|| (time.place(middle_s), scale.place(f64::from(*value))))
        }))
    };
    if let Some((_, fastest)) = recorded(&trace.speed_m_per_s) {
        let paces = if pace == PaceUnit::Kilometre { PACES_PER_KM } else { PACES_PER_MILE };
        let speed = |s: f64| pace.metres() / s;
        let scale = Scale::up(0.0, fastest.max(speed(paces[1])) * 1.08, CURVE_HEIGHT);
        let ticks = paces.into_iter().filter(|&s| speed(s) <= fastest.max(speed(paces[1])));
        let mut last_at = None;
        curves.push(Curve {
            name: "Speed",
            path: path(&trace.speed_m_per_s, scale),
            ticks: ticks
                .map(|s| Tick {
                    at: scale.percent(speed(s)),
                    label: format!("{}\u{202f}{}", duration(s), pace.suffix()),
                })
                .filter(|tick| {
                    let is_apart = last_at.is_none_or(|last: f64| (last - tick.at).abs() >= LEVELS_APART_PCT);
                    last_at = if is_apart { Some(tick.at) } else { last_at };
                    is_apart
                })
                .collect(),
            label: format!("Speed over the session, up to {:.1} metres per second", fastest),
        });
    }
    let rates = [
        ("Heart rate", &trace.heart_rate_bpm, "beats per minute"),
        ("Cadence", &trace.cadence_spm, "steps per minute"),
    ];
    for (name, values, unit) in rates {
        let Some((low, high)) = recorded(values) else { continue };
        let scale = Scale::up(low - 4.0, high + 4.0, CURVE_HEIGHT);
        let rate_step = step(high - low, 3.0, &[10.0, 20.0, 40.0, 50.0, 100.0]);
        curves.push(Curve {
            name,
            path: path(values, scale),
            ticks: multiples(low, high, rate_step)
                .map(|rate| Tick { at: scale.percent(rate), label: format!("{rate:.0}") })
                .collect(),
            label: format!("{name} over the session, from {low:.0} to {high:.0} {unit}"),
        });
    }
    curves
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plot::WIDTH;

    /// Seconds of the time axis at a place of a strip.
    fn seconds_at(strips: &Strips, x: f64) -> f64 {
        strips.from_s + x / WIDTH * (strips.to_s - strips.from_s)
    }

    /// First and last place of each stretch of a kind.
    fn places(strip: &[Stretches], kind: &str) -> Vec<(f64, f64)> {
        let of_kind = strip.iter().find(|of| of.kind == kind).expect("stretches of this kind");
        let around = of_kind.path.split_terminator('z');
        let place = |numbers: &str| numbers.split(['M', ' ', 'H', 'v']).nth(1).unwrap().parse().unwrap();
        around.map(|way| (place(way), place(&way[way.find('H').unwrap()..]))).collect()
    }

    fn bout(kind: Kind, start_s: f64, end_s: f64) -> BoutRow {
        BoutRow {
            athlete: "Ann".into(),
            file: "a".into(),
            session: 1,
            bout: 1,
            kind,
            start_s,
            end_s,
            start_utc: None,
            duration_s: end_s - start_s,
            distance_m: None,
            pace_s_per_km: None,
            hr_mean_bpm: None,
            hr_end_bpm: None,
            cadence_spm: None,
            confidence: 1.0,
        }
    }

    fn interval(kind: Gait, planned_s: f64, start_s: Option<f64>) -> IntervalRow {
        IntervalRow {
            athlete: "Ann".into(),
            file: "a".into(),
            session: 1,
            interval: 1,
            kind,
            planned_s: Some(planned_s),
            planned_m: None,
            done_s: start_s.map(|_| planned_s),
            done_m: None,
            status: if start_s.is_some() { IntervalStatus::Done } else { IntervalStatus::Missed },
            credit_pct: None,
            start_s,
        }
    }

    #[test]
    fn both_strips_stand_on_one_time_axis() {
        let bouts =
            [bout(Kind::Walk, 0.0, 310.0), bout(Kind::Run, 310.0, 372.0), bout(Kind::Walk, 372.0, 600.0)];
        let intervals = [
            interval(Gait::Walk, 300.0, None),
            interval(Gait::Run, 60.0, Some(310.0)),
            interval(Gait::Walk, 300.0, None),
        ];
        let strips =
            Strips::new(600.0, &bouts, &intervals, None, PaceUnit::Kilometre).expect("bouts to draw");
        assert_eq!((strips.from_s, strips.to_s), (0.0, 670.0));
        let [(rep_x, rep_end)] = places(&strips.planned, "run")[..] else { panic!("{strips:?}") };
        assert!((seconds_at(&strips, rep_x) - 310.0).abs() < 0.05);
        assert!((seconds_at(&strips, rep_end) - 370.0).abs() < 0.05);
        let ([(run_x, run_end)], [(_, before), (after, _)]) =
            (&places(&strips.done, "run")[..], &places(&strips.done, "walk")[..])
        else {
            panic!("{strips:?}")
        };
        assert_eq!((*run_x, *run_x, *run_end), (rep_x, *before, *after));
    }

    #[test]
    fn kinds_differ_without_colour() {
        let shapes: std::collections::BTreeSet<_> =
            [Kind::Run, Kind::Walk, Kind::Stand, Kind::Gap].map(height_of).into_iter().collect();
        assert_eq!(shapes.len(), 4);
    }

    /// In a session with a very fast stretch the slow paces lie close to one another.
    #[test]
    fn levels_of_a_curve_stand_apart() {
        let mut trace = Trace::new("a", 1, 600.0);
        trace.speed_m_per_s = vec![1.4, 2.4, 9.0];
        let strips =
            Strips::new(600.0, &[], &[], Some(&trace), PaceUnit::Kilometre).expect("a trace to draw");
        let at: Vec<f64> = strips.curves[0].ticks.iter().map(|tick| tick.at).collect();
        assert!(
            !at.is_empty() && at.windows(2).all(|pair| (pair[0] - pair[1]).abs() >= LEVELS_APART_PCT),
            "{at:?}"
        );
    }

    #[test]
    fn a_quantity_that_was_not_recorded_has_no_curve() {
        let mut trace = Trace::new("a", 1, 600.0);
        trace.speed_m_per_s = vec![1.4, f32::NAN, 2.4];
        let strips = Strips::new(600.0, &[], &[], Some(&trace), PaceUnit::Mile).expect("a trace to draw");
        assert_eq!(strips.curves.iter().map(|curve| curve.name).collect::<Vec<_>>(), ["Speed"]);
        assert!(strips.curves[0].path.matches('M').count() == 2, "the line breaks at the missing slice");
    }
}

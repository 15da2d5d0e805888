//! The displacements between points, from whatever the recording measures them by.

use boutwise_track::Points;

use crate::grid::median;

/// Semi-major axis of WGS-84 in metres (NGA TR8350.2, from memory).
const SEMI_MAJOR_AXIS_M: f64 = 6_378_137.0;
/// First eccentricity of WGS-84, squared (NGA TR8350.2, from memory).
const ECCENTRICITY_SQUARED: f64 = 6.694_379_990_14e-3;
/// Metres per degree are taken afresh once the latitude moved this far.
const LATITUDE_STEP_DEG: f64 = 0.002;
/// A position that repeats is no news for this long, in seconds: coarse or stale positions move in leaps, and a
/// leap belongs to the whole time since the last one (own choice).
const REPEAT_S: f64 = 12.0;
/// A faster single step is a jump of the position, in metres per second (own choice).
pub(crate) const JUMP_M_PER_S: f64 = 8.0;
/// Who went on while positions were missing or stood came further than at this speed, in metres per second (own choice: slower
/// than walking, which may turn).
pub(crate) const SLOWEST_M_PER_S: f64 = 1.1;
/// A total of distance that usually grows after so many steps from point to point, or more, is held between (own choice).
const HELD_STEPS: f64 = 1.5;
/// One that stays the same for so many times as long as it usually does shows a stop (own choice: by steps of ten metres, a slow
/// walker's come a third as often as a quick runner's).
const PAUSE_RENEWALS: f64 = 3.0;
/// A total held for longer, in seconds, tells nothing of what was done meanwhile.
const LONGEST_HELD_S: f64 = 60.0;

/// A displacement between two points.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Step {
    pub(crate) start_s: f64,
    pub(crate) end_s: f64,
    pub(crate) east_m: f64,
    pub(crate) north_m: f64,
}

impl Step {
    pub(crate) fn span_s(&self) -> f64 {
        self.end_s - self.start_s
    }

    pub(crate) fn length_m(&self) -> f64 {
        self.east_m.hypot(self.north_m)
    }

    /// Whether it is longer than so many metres. None is longer than its two sides together, which mostly tell.
    fn is_longer(&self, than_m: f64) -> bool {
        self.east_m.abs() + self.north_m.abs() > than_m && self.length_m() > than_m
    }

    /// Whether nobody moves so fast.
    fn leaps(&self) -> bool {
        self.is_longer(JUMP_M_PER_S * self.span_s())
    }

    fn is_still(&self) -> bool {
        self.east_m == 0.0 && self.north_m == 0.0
    }

    /// Whether whoever made it went on, as far as its ends tell.
    pub(crate) fn goes_on(&self) -> bool {
        self.length_m() >= SLOWEST_M_PER_S * self.span_s()
    }
}

/// The steps of a recording up to `longest_s`, and longer ones from position to position: from positions, else from the
/// device's running total of distance, else from its speed. Without direction all steps lead east.
pub(crate) fn steps(points: &Points, times_s: &[f64], longest_s: f64) -> (Vec<Step>, Vec<Step>) {
    if points.positions_lead() {
        return position_steps(points, times_s, longest_s);
    }
    let (distance_steps, long) = distance_steps(points, times_s, longest_s);
    if distance_steps.iter().chain(&long).any(|step| step.east_m > 0.0) {
        return (distance_steps, long);
    }
    let by_speed = |from, to, span_s| 0.5 * (from + to) * span_s;
    (scalar_steps(times_s, points.speed_m_per_s(), longest_s, by_speed), Vec::new())
}

fn position_steps(points: &Points, times_s: &[f64], longest_s: f64) -> (Vec<Step>, Vec<Step>) {
    let (mut steps, mut long): (Vec<Step>, Vec<Step>) = (Vec::with_capacity(points.len()), Vec::new());
    let mut scale = DegreeLengths::at(f64::NAN);
    let mut last: Option<(f64, f64, f64)> = None;
    let positions = points.latitude_deg().iter().zip(points.longitude_deg());
    for (&time_s, (&latitude_deg, &longitude_deg)) in times_s.iter().zip(positions) {
        if latitude_deg.is_nan() {
            continue;
        }
        if let Some((last_s, last_latitude_deg, last_longitude_deg)) = last {
            let span_s = time_s - last_s;
            let repeats = latitude_deg == last_latitude_deg && longitude_deg == last_longitude_deg;
            if repeats && span_s < REPEAT_S {
                continue;
            }
            scale = scale.near(latitude_deg);
            let mut turn_deg = longitude_deg - last_longitude_deg;
            if turn_deg.abs() > 180.0 {
                turn_deg -= 360.0_f64.copysign(turn_deg);
            }
            let step = Step {
                start_s: last_s,
                end_s: time_s,
                east_m: turn_deg * scale.east_m,
                north_m: (latitude_deg - last_latitude_deg) * scale.north_m,
            };
            let step = over_a_stall(step, &mut steps);
            match step.span_s() <= longest_s {
                true => steps.push(step),
                false => long.push(step),
            }
        }
        last = Some((time_s, latitude_deg, longitude_deg));
    }
    (steps, long)
}

/// A leap with the time before it in which its position, or its total, stood still: a receiver that lost its satellites writes the
/// last position again and leaps once it has them back; nobody stood, and what lies between was not seen.
fn thawed(leap: Step, steps: &mut Vec<Step>) -> Step {
    let still = steps.iter().rev().take_while(|step| step.is_still()).count();
    let frozen = steps.len() - still;
    let Some(first) = steps.get(frozen) else { return leap };
    let thawed = Step { start_s: first.start_s, ..leap };
    match thawed.goes_on() {
        true => {
            steps.truncate(frozen);
            thawed
        }
        false => leap,
    }
}

/// The steps of a running total of distance, and those that are too long to tell anything.
///
/// Some devices renew it every few seconds only, or every ten metres, and write it at each point: what it grew by was covered
/// since it grew before. One that stays the same for much longer than it usually does shows that nobody moved.
fn distance_steps(points: &Points, times_s: &[f64], longest_s: f64) -> (Vec<Step>, Vec<Step>) {
    let written = scalar_steps(times_s, points.distance_m(), longest_s, |from, to, _| to - from);
    let Some(usual_s) = renewed_every_s(&written) else { return (over_stalls(written), Vec::new()) };
    let longest_usual_s = if usual_s <= LONGEST_HELD_S { PAUSE_RENEWALS * usual_s } else { f64::INFINITY };
    let (mut steps, mut long): (Vec<Step>, Vec<Step>) = (Vec::with_capacity(written.len()), Vec::new());
    for part in written.chunk_by(|before, step| before.end_s == step.start_s) {
        let mut rest = part;
        while let Some(renewed) = rest.iter().position(|step| !step.is_still()) {
            let (held, after) = rest.split_at(renewed + 1);
            rest = after;
            let end_s = held[renewed].end_s;
            let is_usual = end_s - held[0].start_s <= longest_usual_s;
            let first = match is_usual {
                true => 0,
                false => held.partition_point(|held| end_s - held.start_s > usual_s).min(renewed),
            };
            steps.extend_from_slice(&held[..first]);
            let step = over_a_stall(Step { start_s: held[first].start_s, ..held[renewed] }, &mut steps);
            match step.span_s() <= LONGEST_HELD_S {
                true => steps.push(step),
                false => long.push(step),
            }
        }
        // What was covered since the total grew last is not known, where it may yet have grown.
        if let (Some(first), Some(last)) = (rest.first(), rest.last())
            && last.end_s - first.start_s > longest_usual_s
        {
            steps.extend_from_slice(rest);
        }
    }
    (steps, long)
}

/// The steps of a total that did not grow for a while and then leapt: what it leapt by was covered meanwhile.
fn over_stalls(written: Vec<Step>) -> Vec<Step> {
    if !written.iter().any(Step::leaps) {
        return written;
    }
    let mut steps = Vec::with_capacity(written.len());
    for step in written {
        let step = over_a_stall(step, &mut steps);
        steps.push(step);
    }
    steps
}

fn over_a_stall(step: Step, steps: &mut Vec<Step>) -> Step {
    if step.leaps() { thawed(step, steps) } else { step }
}

/// Seconds after which a running total usually grows again; `None` where it does at most points.
fn renewed_every_s(written: &[Step]) -> Option<f64> {
    let mut renewals_s = Vec::with_capacity(written.len());
    let mut start_s = written.first()?.start_s;
    for pair in written.windows(2).chain(written.windows(1).last()) {
        let step = pair[0];
        if !step.is_still() {
            renewals_s.push(step.end_s - start_s);
        }
        if !step.is_still() || pair.last().is_some_and(|next| next.start_s != step.end_s) {
            start_s = pair.last().unwrap_or(&step).start_s.max(step.end_s);
        }
    }
    let points_s: Vec<f64> = written.iter().map(Step::span_s).collect();
    let usual_s = median(&renewals_s)?;
    (usual_s > HELD_STEPS * median(&points_s)?).then_some(usual_s)
}

fn scalar_steps(
    times_s: &[f64],
    values: &[f64],
    longest_s: f64,
    length_m: impl Fn(f64, f64, f64) -> f64,
) -> Vec<Step> {
    let mut steps = Vec::new();
    let mut last: Option<(f64, f64)> = None;
    for (&time_s, &value) in times_s.iter().zip(values).filter(|(_, value)| !value.is_nan()) {
        if let Some((last_s, last_value)) = last
            && time_s - last_s <= longest_s
        {
            let east_m = length_m(last_value, value, time_s - last_s).max(0.0);
            steps.push(Step { start_s: last_s, end_s: time_s, east_m, north_m: 0.0 });
        }
        last = Some((time_s, value));
    }
    steps
}

/// Metres per degree of longitude and latitude on WGS-84 around a latitude.
#[derive(Clone, Copy)]
struct DegreeLengths {
    latitude_deg: f64,
    east_m: f64,
    north_m: f64,
}

impl DegreeLengths {
    fn at(latitude_deg: f64) -> Self {
        let (sin, cos) = latitude_deg.to_radians().sin_cos();
        let w_squared = 1.0 - ECCENTRICITY_SQUARED * sin * sin;
        let prime_vertical_m = SEMI_MAJOR_AXIS_M / w_squared.sqrt();
        let meridian_m = prime_vertical_m * (1.0 - ECCENTRICITY_SQUARED) / w_squared;
        Self { latitude_deg, east_m: (prime_vertical_m * cos).to_radians(), north_m: meridian_m.to_radians() }
    }

    fn near(self, latitude_deg: f64) -> Self {
        let is_near = (latitude_deg - self.latitude_deg).abs() <= LATITUDE_STEP_DEG;
        if is_near { self } else { Self::at(latitude_deg) }
    }
}

#[cfg(test)]
mod tests {
    use boutwise_track::Point;

    use super::*;

    /// The steps of totals, one a second, and those that are too long.
    fn of_totals(totals_m: impl Iterator<Item = f64>) -> (Vec<Step>, Vec<Step>) {
        let points: Points =
            totals_m.map(|total_m| Point { distance_m: Some(total_m), ..Point::default() }).collect();
        let times_s: Vec<f64> = (0..points.len()).map(|second| second as f64).collect();
        steps(&points, &times_s, 20.0)
    }

    fn length_m(steps: &[Step]) -> f64 {
        steps.iter().map(Step::length_m).sum()
    }

    fn still_s(steps: &[Step]) -> f64 {
        steps.iter().filter(|step| step.is_still()).map(Step::span_s).sum()
    }

    #[test]
    fn a_total_that_is_renewed_every_few_seconds_grew_all_the_time() {
        for every in [2_u32, 4, 5, 10] {
            let (steps, long) = of_totals((0..=600).map(|second| f64::from(second / every * every) * 2.5));
            assert!((length_m(&steps) - 1500.0).abs() < 1e-6 && long.is_empty(), "{every}");
            let even = |step: &Step| (step.length_m() / step.span_s() - 2.5).abs() < 1e-9;
            assert!(steps.iter().all(even) && steps.len() == 600 / every as usize, "{every}");
        }
    }

    #[test]
    fn a_total_in_steps_of_metres_gives_the_speeds_of_walks_and_runs() {
        let way_m = |second: i32| 1.4 * f64::from(second.min(300)) + 2.5 * f64::from((second - 300).max(0));
        for step_m in [5.0, 10.0, 20.0, 50.0] {
            let (steps, long) = of_totals((0..=600).map(|second| (way_m(second) / step_m).floor() * step_m));
            assert!(long.is_empty() && still_s(&steps) == 0.0, "{step_m} m");
            assert!(length_m(&steps) > 1170.0 - step_m, "{step_m} m: {}", length_m(&steps));
            let (walked, ran): (Vec<Step>, Vec<Step>) = steps.iter().partition(|step| step.end_s <= 300.0);
            for (steps, m_per_s) in [(walked, 1.4), (ran, 2.5)] {
                let found = length_m(&steps) / steps.iter().map(Step::span_s).sum::<f64>();
                assert!((found / m_per_s - 1.0).abs() < 0.07, "{step_m} m: {found}");
            }
        }
    }

    #[test]
    fn a_held_total_that_stays_for_long_is_a_stop() {
        // Five minutes, one standing, five minutes.
        let way_m = |second: i32| 2.5 * f64::from(second.min(300) + (second - 360).max(0));
        let (steps, long) = of_totals((0..=660).map(|second| way_m(second / 5 * 5)));
        assert!(long.is_empty() && (length_m(&steps) - 1500.0).abs() < 1e-6);
        assert_eq!(still_s(&steps), 60.0);
        let stood_to_the_end = of_totals((0..=600).map(|second| 2.5 * f64::from(second.min(300) / 5 * 5)));
        assert_eq!(still_s(&stood_to_the_end.0), 300.0);
    }

    #[test]
    fn a_total_that_grows_at_most_points_is_taken_point_by_point() {
        // A stop of 10 s and one of 3 s; whole metres, which stay at times.
        let way_m = |second: i32| {
            1.4 * f64::from(second.min(300) + (second - 310).clamp(0, 100) + (second - 413).max(0))
        };
        for step_m in [0.01, 1.0] {
            let totals_m: Vec<f64> =
                (0..=600).map(|second| (way_m(second) / step_m).floor() * step_m).collect();
            let (steps, long) = of_totals(totals_m.iter().copied());
            let written: Vec<f64> = totals_m.windows(2).map(|pair| pair[1] - pair[0]).collect();
            let found: Vec<f64> = steps.iter().map(|step| step.east_m).collect();
            assert!(long.is_empty() && found == written, "{step_m} m");
        }
    }

    #[test]
    fn what_a_total_leaps_by_after_it_stood_was_covered_meanwhile() {
        let way_m = |second: i32| 2.0 * f64::from(if (300..315).contains(&second) { 300 } else { second });
        let (steps, _) = of_totals((0..=600).map(way_m));
        assert_eq!((length_m(&steps), still_s(&steps)), (1200.0, 0.0));
        assert!(steps.contains(&Step { start_s: 300.0, end_s: 315.0, east_m: 30.0, north_m: 0.0 }));
    }

    #[test]
    fn totals_of_laps_tell_nothing_of_what_lies_between() {
        let (steps, long) = of_totals((0..=1200).map(|second| f64::from(second / 400) * 800.0));
        assert!(steps.is_empty());
        assert_eq!((long.len(), length_m(&long)), (3, 2400.0));
    }

    #[test]
    fn runs_are_told_from_totals_that_are_held_and_not_where_they_are_held_for_long() {
        // Five minutes walked, four times five run and one walked, four walked.
        let is_run = |second: usize| (300..1740).contains(&second) && (second - 300) % 360 < 300;
        let mut way_m = vec![0.0];
        (0..1980).for_each(|second| way_m.push(way_m[second] + if is_run(second) { 2.5 } else { 1.4 }));
        for (held_s, is_told) in [(1, true), (5, true), (10, true), (30, false), (60, false)] {
            let point = |second: usize| Point {
                time_ns: Some(second as i64 * 1_000_000_000),
                distance_m: Some(way_m[second / held_s * held_s]),
                ..Point::default()
            };
            let points = (0..=1980).map(point).collect();
            let recording = boutwise_track::Recording { points, ..Default::default() };
            let found = crate::segment(&recording, &crate::SegmentSettings::default());
            let runs: Vec<&crate::Bout> =
                found.bouts.iter().filter(|bout| bout.kind == crate::Kind::Run).collect();
            assert_eq!(found.resolvable, is_told, "{held_s} s");
            if is_told {
                let run_m: f64 = runs.iter().filter_map(|run| run.distance_m).sum();
                assert!(runs.len() == 4 && (run_m - 3000.0).abs() < 50.0, "{held_s} s: {run_m}");
            }
        }
    }
}

//! What took place: runs, and the rest between them.

use std::ops::Range;

use super::AdherenceSettings;
use super::demand::{Length, Part};
use crate::{Bout, Kind};

/// The bouts of a session as runs with rest before, between and after them.
#[derive(Debug)]
pub(crate) struct Course<'a> {
    bouts: Vec<&'a Bout>,
    /// The bouts of each run; run bouts that touch are one run.
    runs: Vec<Range<usize>>,
    /// Sums over the runs before each index.
    run_sums: Vec<Length>,
    /// Sums over the rests before each run, that before the first run included.
    rest_sums: Vec<Length>,
    /// Sums of the rest seconds beyond the free ones, over the rests before each run but the first; holes are none.
    lost_sums: Vec<f64>,
    /// Sums of what holes in the recording hide, over the same rests.
    hole_sums: Vec<f64>,
}

impl<'a> Course<'a> {
    pub(crate) fn new(bouts: &'a [Bout], settings: &AdherenceSettings) -> Self {
        Self::with_holes(bouts, &[], settings)
    }

    /// The same with the stretches, in order, of which the recording does not show whether they were run or rested.
    pub(crate) fn with_holes(bouts: &'a [Bout], holes: &[Range<f64>], settings: &AdherenceSettings) -> Self {
        let (all, mut bouts) = (bouts, Vec::with_capacity(bouts.len()));
        bouts.extend(all.iter().filter(|bout| bout.duration_s() > 0.0));
        let mut runs: Vec<Range<usize>> = Vec::with_capacity(bouts.len() / 2 + 1);
        for (index, bout) in bouts.iter().enumerate() {
            match runs.last_mut() {
                _ if bout.kind != Kind::Run => {}
                Some(run) if run.end == index => run.end += 1,
                _ => runs.push(index..index + 1),
            }
        }
        let mut run_sums = Vec::with_capacity(runs.len() + 1);
        run_sums.push(Length::default());
        let mut course = Self {
            run_sums,
            rest_sums: Vec::with_capacity(runs.len()),
            lost_sums: Vec::with_capacity(runs.len()),
            hole_sums: Vec::with_capacity(runs.len()),
            bouts,
            runs,
        };
        let (mut rest, mut lost_s, mut hole_s, mut from) = (Length::default(), 0.0, 0.0, 0);
        for (index, run) in course.runs.iter().enumerate() {
            let before = length(&course.bouts[from..run.start], settings.walk_m_per_s);
            rest = rest.plus(before);
            if index > 0 {
                let resting = course.run_span(index - 1).end..course.run_span(index).start;
                let hidden_s = overlap_s(holes, &resting);
                hole_s += hidden_s;
                lost_s += (before.by_time_s - hidden_s - settings.free_rest_s).max(0.0);
            }
            course.rest_sums.push(rest);
            course.lost_sums.push(lost_s);
            course.hole_sums.push(hole_s);
            let run_length = length(&course.bouts[run.clone()], settings.run_m_per_s);
            course.run_sums.push(course.run_sums[index].plus(run_length));
            from = run.end;
        }
        course
    }

    /// Number of runs.
    pub(crate) fn len(&self) -> usize {
        self.runs.len()
    }

    /// Seconds of the first and the last bout, from the first point.
    pub(crate) fn span(&self) -> Range<f64> {
        let start_s = self.bouts.first().map_or(0.0, |bout| bout.start_s);
        start_s..self.bouts.last().map_or(start_s, |bout| bout.end_s)
    }

    /// Start and end of a run in seconds from the first point.
    pub(crate) fn run_span(&self, run: usize) -> Range<f64> {
        let bouts = &self.bouts[self.runs[run].clone()];
        bouts[0].start_s..bouts[bouts.len() - 1].end_s
    }

    /// Least confidence of the bouts of some runs.
    pub(crate) fn confidence(&self, runs: Range<usize>) -> f64 {
        let bouts = self.runs[runs].iter().flat_map(|run| &self.bouts[run.clone()]);
        bouts.map(|bout| bout.confidence).fold(1.0, f64::min)
    }

    /// The least confidence of what lies in a stretch of seconds and is no run; 1 where nothing does.
    pub(crate) fn rest_confidence(&self, span: &Range<f64>) -> f64 {
        let first = self.bouts.partition_point(|bout| bout.end_s <= span.start);
        let here = self.bouts[first..].iter().take_while(|bout| bout.start_s < span.end);
        let rests = here.filter(|bout| matches!(bout.kind, Kind::Walk | Kind::Stand));
        rests.map(|bout| bout.confidence).fold(1.0, f64::min)
    }

    /// Seconds of rest before the first of all runs up to `run`, that before it included; runs between are none.
    pub(crate) fn rest_before_s(&self, run: usize) -> f64 {
        self.rest_sums[run].by_time_s
    }

    /// Seconds of walking and standing after the last of all runs from `run` on, and between them.
    pub(crate) fn seen_rest_after_s(&self, run: usize) -> f64 {
        let rests = self.bouts[self.runs[run].end..].iter();
        rests.filter(|bout| matches!(bout.kind, Kind::Walk | Kind::Stand)).map(|bout| bout.duration_s()).sum()
    }

    /// Whether the metres of each run are known.
    pub(crate) fn runs_have_metres(&self) -> bool {
        self.bouts.iter().all(|bout| bout.kind != Kind::Run || bout.distance_m.is_some())
    }

    /// What was run in these runs.
    pub(crate) fn run(&self, runs: Range<usize>) -> Length {
        self.run_sums[runs.end].minus(self.run_sums[runs.start])
    }

    /// Seconds of rest lost inside these runs, taken as one piece.
    pub(crate) fn lost_s(&self, runs: Range<usize>) -> f64 {
        self.lost_sums[runs.end - 1] - self.lost_sums[runs.start]
    }

    /// Seconds that holes hide between these runs.
    pub(crate) fn hole_s(&self, runs: Range<usize>) -> f64 {
        self.hole_sums[runs.end - 1] - self.hole_sums[runs.start]
    }

    /// What counts of these runs, taken as one piece.
    pub(crate) fn laid(&self, runs: Range<usize>) -> Length {
        let lost_s = self.lost_s(runs.clone());
        self.run(runs).minus(Length { by_time_s: lost_s, by_distance_s: lost_s })
    }

    /// The rest between two runs; runs between them are no rest.
    pub(crate) fn rest(&self, before: usize, after: usize) -> Length {
        self.rest_sums[after].minus(self.rest_sums[before])
    }

    /// The rest between two runs as it is held against a walk, by its unit: what a hole hides makes it no longer than planned.
    pub(crate) fn rest_for(&self, walk: &Part, before: usize, after: usize) -> f64 {
        let rest_s = self.rest(before, after).by(walk.unit);
        rest_s - self.hole_s(before..after + 1).min((rest_s - walk.planned_s).max(0.0))
    }

    /// The running of these runs.
    pub(crate) fn running(&self, runs: Range<usize>) -> Stretch<'a> {
        let bouts = &self.bouts[self.runs[runs.start].start..self.runs[runs.end - 1].end];
        Stretch::new(bouts, |kind| kind == Kind::Run)
    }

    /// The rest from the end of run `after` to the start of run `before`; from and to the session's ends without them.
    pub(crate) fn resting(&self, after: Option<usize>, before: Option<usize>) -> Stretch<'a> {
        Stretch::new(self.between(after, before), |kind| kind != Kind::Run)
    }

    /// The same without gaps: what was driven, or hidden by a pause, is no walking.
    pub(crate) fn on_foot(&self, after: Option<usize>, before: Option<usize>) -> Stretch<'a> {
        Stretch::new(self.between(after, before), |kind| matches!(kind, Kind::Walk | Kind::Stand))
    }

    /// The bouts from the end of run `after` to the start of run `before`; from and to the session's ends without them.
    fn between(&self, after: Option<usize>, before: Option<usize>) -> &[&'a Bout] {
        let from = after.map_or(0, |run| self.runs[run].end);
        let to = before.map_or(self.bouts.len(), |run| self.runs[run].start);
        &self.bouts[from..to]
    }

    /// All the walking of the session.
    pub(crate) fn walking(&self) -> Stretch<'a> {
        Stretch::new(&self.bouts, |kind| kind == Kind::Walk)
    }
}

/// Seconds of a span that lie in stretches, which are in order.
pub(crate) fn overlap_s(stretches: &[Range<f64>], span: &Range<f64>) -> f64 {
    let first = stretches.partition_point(|stretch| stretch.end <= span.start);
    let here = stretches[first..].iter().take_while(|stretch| stretch.start < span.end);
    here.map(|stretch| stretch.end.min(span.end) - stretch.start.max(span.start)).sum()
}

/// Time and metres of some bouts; of those that rest, only walking is counted by its metres.
fn length(bouts: &[&Bout], m_per_s: f64) -> Length {
    let seconds = |bout: &Bout| match (bout.kind, bout.distance_m) {
        (Kind::Run | Kind::Walk, Some(metres)) => metres.max(0.0) / m_per_s,
        _ => bout.duration_s(),
    };
    Length {
        by_time_s: bouts.iter().map(|bout| bout.duration_s()).sum(),
        by_distance_s: bouts.iter().map(|bout| seconds(bout)).sum(),
    }
}

/// Bouts in order of time, not always without holes between them.
#[derive(Debug, Default)]
pub(crate) struct Stretch<'a> {
    bouts: Vec<&'a Bout>,
}

/// Of two pieces that meet closer than this, in seconds, the later one begins at the boundary.
const SAME_TIME_S: f64 = 1e-6;

impl<'a> Stretch<'a> {
    fn new(bouts: &[&'a Bout], keep: impl Fn(Kind) -> bool) -> Self {
        Self { bouts: bouts.iter().copied().filter(|bout| keep(bout.kind)).collect() }
    }

    /// Seconds of all bouts together.
    pub(crate) fn duration_s(&self) -> f64 {
        self.bouts.iter().map(|bout| bout.duration_s()).sum()
    }

    /// Whether the metres of each bout are known.
    pub(crate) fn has_metres(&self) -> bool {
        self.bouts.iter().all(|bout| bout.distance_m.is_some())
    }

    /// Length by time, and by distance at a speed.
    pub(crate) fn length(&self, m_per_s: f64) -> Length {
        length(&self.bouts, m_per_s)
    }

    /// Session time at which a share of the stretch is behind; at the end of a bout, the start of the next one.
    pub(crate) fn time_at(&self, share: f64) -> Option<f64> {
        let mut left_s = share * self.duration_s();
        for bout in &self.bouts {
            if left_s < bout.duration_s() - SAME_TIME_S {
                return Some(bout.start_s + left_s.max(0.0));
            }
            left_s -= bout.duration_s();
        }
        self.bouts.last().map(|bout| bout.end_s)
    }

    /// Metres between two shares of the stretch, each bout covered evenly; `None` where none are known.
    pub(crate) fn distance_m(&self, shares: Range<f64>) -> Option<f64> {
        let all_s = self.duration_s();
        let (from_s, to_s) = (shares.start * all_s, shares.end * all_s);
        let (mut metres, mut begun_s) = (None, 0.0);
        for bout in &self.bouts {
            let duration_s = bout.duration_s();
            if let Some(distance_m) = bout.distance_m {
                let within_s = (to_s.min(begun_s + duration_s) - from_s.max(begun_s)).max(0.0);
                *metres.get_or_insert(0.0) += distance_m * within_s / duration_s;
            }
            begun_s += duration_s;
        }
        metres
    }

    /// Pace between two shares of the stretch, in seconds per kilometre; `None` where not all metres are known.
    pub(crate) fn pace_s_per_km(&self, shares: Range<f64>) -> Option<f64> {
        let seconds = (shares.end - shares.start) * self.duration_s();
        let metres = self.distance_m(shares).filter(|_| self.has_metres())?;
        (seconds > 0.0 && metres > 0.0).then(|| 1000.0 * seconds / metres)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_bout_of_no_length_parts_no_run() {
        let bouts = [
            Bout::new(Kind::Run, 0.0, 100.0),
            Bout::new(Kind::Walk, 100.0, 100.0),
            Bout::new(Kind::Run, 100.0, 200.0),
        ];
        let course = Course::new(&bouts, &AdherenceSettings::default());
        assert_eq!((course.len(), course.run_span(0)), (1, 0.0..200.0));
    }

    #[test]
    fn what_lies_at_the_end_of_a_bout_is_the_start_of_the_next() {
        let bouts = [Bout::new(Kind::Run, 0.0, 60.0), Bout::new(Kind::Run, 90.0, 150.0)];
        let stretch = Stretch::new(&bouts.iter().collect::<Vec<_>>(), |_| true);
        assert_eq!(
            [0.0, 0.25, 0.5, 1.0].map(|share| stretch.time_at(share)),
            [0.0, 30.0, 90.0, 150.0].map(Some)
        );
    }
}

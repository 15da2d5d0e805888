//! The likeliest way to lay what was run on what was planned.
//!
//! Reps and runs keep their order. A way is a row of steps: a group of runs laid on one rep, or one run laid on several
//! reps; reps of which nothing was run, for one of five reasons; runs that no rep asked for. Each step costs what makes
//! it unlikely, in nats by our own choice (no source), set so that the table of made sessions
//! (`testdata/events.txt`) is told as a coach would; the cheapest way is found exactly, by dynamic programming over
//! (rep, run).

use std::ops::Range;

use super::Observed;
use crate::AdherenceSettings;
use crate::adherence::course::Course;
use crate::adherence::demand::Demand;

/// A run that begins this close to the recording's first point, or ends this close to its last, in seconds, is cut by
/// the recording's edge.
const EDGE_S: f64 = 3.0;
/// Shortest run that is one, in seconds (by definition): what is shorter is a fragment and decides nothing.
pub(super) const SHORTEST_RUN_S: f64 = 15.0;
/// After a last walk this much longer than it should be, in seconds, the next rep would show: the shortest run that can
/// be seen, and what two boundaries may be off.
const OVERDUE_S: f64 = 20.0;
/// Where a session is less likely right than the second, what is recorded of a rep at the start may hide in the walk after it,
/// up to the first, in seconds: most of a short rep (from `cargo run --release -p boutwise-truth --example events 240 100000`, and
/// from 300000, 500000 and 700000).
const HIDDEN_S: f64 = 45.0;
const HIDES_NO_RUN: f64 = 0.95;
/// A walk longer than its plan and tolerance by up to this share is as long as planned when reps are laid.
const NEAR_SHARE: f64 = 0.05;

/// Cost of a rep that is off its length by the factor e, beyond its tolerance, and the most that it can cost.
const REP_OFF: f64 = 2.0;
const REP_OFF_MOST: f64 = 3.0;
/// Cost of a rep at the edge of its tolerance.
const REP_WITHIN: f64 = 0.1;
/// Cost of a walk that is off its length by the factor e, and the most that it can cost.
const WALK_OFF: f64 = 1.0;
const WALK_OFF_MOST: f64 = 2.0;
/// Cost of walking a rep in its place, and for each factor e by which the rest is off the rep with its walks.
const WALKED: f64 = 1.4;
/// Cost of each further one in the same rest.
const WALKED_MORE: f64 = 0.5;
const WALKED_OFF: f64 = 4.0;
/// The same for reps before the first that was run: nothing but the length of the first walk tells them.
const WALKED_FIRST: f64 = 0.8;
/// Cost of a rep that is left out with nothing in its place, and of one before the first that was run: that seldom happens.
const LEFT_OUT: f64 = 1.4;
const LEFT_OUT_FIRST: f64 = 1.6;
/// Cost of stopping, and for each rep not run.
const STOPPED: f64 = 1.0;
const STOPPED_REP: f64 = 0.05;
/// Cost of an edge of the recording in a walk, and in a rep.
const EDGE_IN_WALK: f64 = 1.0;
const EDGE_IN_REP: f64 = 0.8;
/// Cost of running two reps as one, for each rep more, and for leaving out the time of the walks.
const JOINED: f64 = 1.6;
const JOINED_MORE: f64 = 0.1;
const JOINED_WITHOUT_WALKS: f64 = 0.5;
/// Cost of a rest inside a rep: of one that is free, of one that is not, and more for one as long as a planned walk.
const FREE_REST: f64 = 0.05;
const REST: f64 = 0.9;
const REST_LIKE_A_WALK: f64 = 2.0;
/// Cost of a run that no rep asked for, of a fragment, and most for its length.
const EXTRA: f64 = 1.5;
const FRAGMENT: f64 = 0.2;
const EXTRA_LENGTH_MOST: f64 = 0.5;
/// A warm-up walk longer than planned costs this at least: it may hold a first rep.
const LONG_WARM_UP: f64 = 0.2;
/// Two readings that differ by less are equally likely.
const ALIKE: f64 = 0.5;
/// A group that costs more than this is none: it could not be part of the cheapest way.
const HOPELESS: f64 = 12.0;
/// Most runs between two groups that no rep asked for.
const EXTRAS_BETWEEN: usize = 12;

/// What the edges of a recording show.
#[derive(Clone, Debug)]
pub(super) struct Edges {
    /// First and last second on foot.
    pub(super) span: Range<f64>,
    /// Whether something was recorded before the first step: a drive there.
    driven_before: bool,
    /// Seconds driven after the last step.
    driven_after_s: f64,
    /// Whether the file breaks off.
    breaks_off: bool,
    /// Median rest between two runs, in seconds.
    usual_rest_s: f64,
    /// Whether the end of a rep may hide in the first walk.
    may_hide_a_run: bool,
}

impl Edges {
    pub(super) fn new(observed: &Observed<'_>, course: &Course) -> Self {
        let span = course.span();
        let mut rests_s: Vec<f64> =
            (1..course.len()).map(|run| course.rest(run - 1, run).by_time_s).collect();
        rests_s.sort_by(f64::total_cmp);
        let driven_before = observed.vehicles.iter().any(|drive| drive.start < span.start);
        let driven_after_s = observed
            .vehicles
            .iter()
            .filter(|drive| drive.end > span.end)
            .map(|drive| drive.end - drive.start.max(span.end))
            .sum();
        Self {
            span,
            driven_before,
            driven_after_s,
            breaks_off: observed.breaks_off,
            may_hide_a_run: observed.confidence < HIDES_NO_RUN,
            usual_rest_s: rests_s.get(rests_s.len() / 2).copied().unwrap_or(0.0),
        }
    }
}

/// Why nothing was run of a rep.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Missing {
    /// Walked in its place.
    Walked,
    /// Nothing in its place.
    LeftOut,
    /// Before the recording.
    Before,
    /// After the recording.
    After,
    /// Running ended for good.
    Stopped,
}

/// One step of a way.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Step {
    /// Runs laid on one rep, or one run on several reps. It may be cut by the edges of the recording.
    Laid { reps: Range<usize>, runs: Range<usize>, begins_inside: bool, ends_inside: bool },
    /// Reps of which nothing was run.
    Missing { reps: Range<usize>, why: Missing },
    /// A run that no rep asked for.
    Extra(usize),
}

/// The likeliest way.
#[derive(Clone, Debug)]
pub(super) struct Alignment {
    pub(super) steps: Vec<Step>,
    /// Another way is as likely in which the reps said to lie before the recording were not run, or the other way round.
    pub(super) open_start: bool,
}

/// Whether the recording may begin in a walk between reps.
#[derive(Clone, Copy, PartialEq, Eq)]
enum BeginsInWalk {
    No,
    Yes,
}

pub(super) fn align(
    demand: &Demand,
    course: &Course,
    edges: &Edges,
    settings: &AdherenceSettings,
) -> Alignment {
    let search = |begins| Search::new(demand, course, edges, settings, begins).run();
    let (cost, steps) = search(BeginsInWalk::No);
    let (late_cost, late_steps) = search(BeginsInWalk::Yes);
    let open_start = (cost - late_cost).abs() < ALIKE;
    let steps = if open_start || late_cost < cost { late_steps } else { steps };
    Alignment { steps, open_start }
}

/// A way up to some rep and run: its cost, and the place in `links` of its last steps.
#[derive(Clone, Copy)]
struct Best {
    cost: f64,
    link: usize,
}

const NOWHERE: Best = Best { cost: f64::INFINITY, link: usize::MAX };

impl Best {
    fn offer(&mut self, cost: f64, link: impl FnOnce() -> usize) {
        if cost < self.cost {
            *self = Self { cost, link: link() };
        }
    }
}

struct Link {
    before: usize,
    steps: Vec<Step>,
}

struct Search<'a> {
    demand: &'a Demand,
    course: &'a Course<'a>,
    edges: &'a Edges,
    settings: &'a AdherenceSettings,
    begins: BeginsInWalk,
    links: Vec<Link>,
}

impl<'a> Search<'a> {
    fn new(
        demand: &'a Demand,
        course: &'a Course<'a>,
        edges: &'a Edges,
        settings: &'a AdherenceSettings,
        begins: BeginsInWalk,
    ) -> Self {
        Self { demand, course, edges, settings, begins, links: Vec::new() }
    }

    fn run(mut self) -> (f64, Vec<Step>) {
        let (reps, runs) = (self.demand.reps.len(), self.course.len());
        let mut ended = vec![vec![NOWHERE; runs + 1]; reps + 1];
        for rep in 0..reps {
            for run in 0..runs {
                let arrived = self.arrive(rep, run, &ended);
                if arrived.cost.is_finite() {
                    self.lay(rep, run, arrived, &mut ended);
                }
            }
        }
        let mut best = NOWHERE;
        if self.begins == BeginsInWalk::No && !(0..runs).any(|run| self.is_as_long_as_a_rep(run)) {
            let steps =
                self.with_extras(0..runs, vec![Step::Missing { reps: 0..reps, why: Missing::Stopped }]);
            let cost = self.extras(0..runs) + STOPPED + STOPPED_REP * reps as f64;
            best.offer(cost, || self.link(usize::MAX, steps));
        }
        for (rep, ended) in ended.iter().enumerate().skip(1) {
            for (run, &here) in ended.iter().enumerate().skip(1) {
                if here.cost < best.cost {
                    let (cost, why) = self.end(rep, run);
                    let mut steps: Vec<Step> = (run..runs).map(Step::Extra).collect();
                    if rep < reps {
                        steps.push(Step::Missing { reps: rep..reps, why });
                    }
                    best.offer(here.cost + cost, || self.link(here.link, steps));
                }
            }
        }
        (best.cost, self.trace(best.link))
    }

    /// Whether a run is long enough to be the shortest rep.
    fn is_as_long_as_a_rep(&self, run: usize) -> bool {
        let run = self.course.run(run..run + 1);
        self.demand
            .reps
            .iter()
            .any(|rep| run.by(rep.unit) >= rep.planned_s - self.settings.rep_tolerance_s(rep.planned_s))
    }

    fn link(&mut self, before: usize, steps: Vec<Step>) -> usize {
        self.links.push(Link { before, steps });
        self.links.len() - 1
    }

    fn trace(mut self, mut link: usize) -> Vec<Step> {
        let mut pieces = Vec::new();
        while link != usize::MAX {
            let Link { before, steps } = &mut self.links[link];
            pieces.push(std::mem::take(steps));
            link = *before;
        }
        pieces.into_iter().rev().flatten().collect()
    }

    fn with_extras(&self, extras: Range<usize>, steps: Vec<Step>) -> Vec<Step> {
        extras.map(Step::Extra).chain(steps).collect()
    }

    /// The best way to be about to lay `run` on `rep`.
    fn arrive(&mut self, rep: usize, run: usize, ended: &[Vec<Best>]) -> Best {
        let mut best = NOWHERE;
        if let Some((cost, why)) = self.start(rep, run) {
            let missing = (rep > 0).then_some(Step::Missing { reps: 0..rep, why });
            let steps = self.with_extras(0..run, missing.into_iter().collect());
            best.offer(cost, || self.link(usize::MAX, steps));
        }
        let earliest = run.saturating_sub(EXTRAS_BETWEEN).max(1);
        for (before, ended) in ended.iter().enumerate().take(rep + 1).skip(1) {
            for (last, &here) in ended.iter().enumerate().take(run + 1).skip(earliest) {
                if here.cost >= best.cost {
                    continue;
                }
                let (cost, why) = self.between(before..rep, last..run);
                let missing = (before < rep).then_some(Step::Missing { reps: before..rep, why });
                let steps = self.with_extras(last..run, missing.into_iter().collect());
                best.offer(here.cost + cost, || self.link(here.link, steps));
            }
        }
        best
    }

    /// Cost of beginning with `run` on `rep`, and why the reps before it are missing.
    fn start(&self, rep: usize, run: usize) -> Option<(f64, Missing)> {
        let extras = self.extras(0..run);
        let first_walk_s = self.course.rest_before_s(run);
        if self.begins == BeginsInWalk::Yes {
            let may = run == 0 && rep > 0 && self.may_begin_in_walk(rep, first_walk_s);
            return may.then_some((EDGE_IN_WALK, Missing::Before));
        }
        let warm_up_s = self.demand.before.as_ref().map_or(0.0, |walk| walk.whole.planned_s);
        if rep == 0 {
            let is_long = warm_up_s > 0.0 && first_walk_s > 1.1 * warm_up_s;
            let long = match is_long {
                true => LONG_WARM_UP.max(self.walk(first_walk_s, warm_up_s)),
                false => 0.0,
            };
            return Some((extras + long, Missing::LeftOut));
        }
        let asked_s = warm_up_s + self.asked_s(0..rep);
        let more = WALKED_MORE * (rep - 1) as f64;
        let walked = WALKED_FIRST + more + WALKED_OFF * beyond(first_walk_s, asked_s, self.settings.edges_s);
        let left_out = LEFT_OUT_FIRST * rep as f64;
        if self.begins_in_run(run) && self.is_cut(&(rep..rep + 1), &(run..run + 1)) {
            return Some((0.0, Missing::Before));
        }
        Some(match walked < left_out {
            true => (extras + walked, Missing::Walked),
            false => (extras + left_out, Missing::LeftOut),
        })
    }

    /// Seconds of reps, each with the walk after it.
    fn asked_s(&self, reps: Range<usize>) -> f64 {
        let walk_s = |rep: usize| self.demand.walks.get(rep).map_or(0.0, |walk| walk.whole.planned_s);
        reps.map(|rep| self.demand.reps[rep].planned_s + walk_s(rep)).sum()
    }

    /// Whether the first walk may be what the recording holds of the walk before `rep`: it is no longer than that, and no
    /// warm-up.
    fn may_begin_in_walk(&self, rep: usize, first_walk_s: f64) -> bool {
        let walk_s = self.demand.walks[rep - 1].whole.planned_s.max(self.edges.usual_rest_s);
        let tolerance_s = self.settings.walk_tolerance_s(walk_s);
        let is_whole_warm_up = match &self.demand.before {
            Some(warm_up) => {
                let planned_s = warm_up.whole.planned_s;
                first_walk_s >= planned_s - self.settings.walk_tolerance_s(planned_s).max(0.15 * planned_s)
            }
            None => first_walk_s <= EDGE_S,
        };
        let before_s = if self.edges.may_hide_a_run { HIDDEN_S } else { OVERDUE_S };
        !self.edges.driven_before && !is_whole_warm_up && first_walk_s <= walk_s + tolerance_s + before_s
    }

    fn begins_in_run(&self, run: usize) -> bool {
        run == 0
            && !self.edges.driven_before
            && self.course.run_span(0).start <= self.edges.span.start + EDGE_S
    }

    fn ends_in_run(&self, run: usize) -> bool {
        run + 1 == self.course.len()
            && self.edges.driven_after_s == 0.0
            && self.course.run_span(run).end >= self.edges.span.end - EDGE_S
    }

    /// Cost of what lies between two groups: missing reps, and runs that no rep asked for.
    fn between(&self, missing: Range<usize>, extras: Range<usize>) -> (f64, Missing) {
        let rest = self.course.rest(extras.start - 1, extras.end);
        let walk = &self.demand.walks[missing.start - 1].whole;
        let walk_cost = self.walk(rest.by(walk.unit), walk.planned_s);
        let cost = self.extras(extras);
        if missing.is_empty() {
            return (cost + walk_cost, Missing::LeftOut);
        }
        let count = missing.len() as f64;
        let asked_s = walk.planned_s + self.asked_s(missing);
        let walked = WALKED
            + WALKED_MORE * (count - 1.0)
            + WALKED_OFF * beyond(rest.by_time_s, asked_s, self.settings.edges_s);
        let left_out = LEFT_OUT * count + walk_cost;
        match walked < left_out {
            true => (cost + walked, Missing::Walked),
            false => (cost + left_out, Missing::LeftOut),
        }
    }

    fn walk(&self, walked_s: f64, planned_s: f64) -> f64 {
        (WALK_OFF * beyond(walked_s, planned_s, self.settings.walk_tolerance_s(planned_s))).min(WALK_OFF_MOST)
    }

    /// Cost of ending after `rep` reps and `run` runs, and why the reps that follow are missing.
    fn end(&self, rep: usize, run: usize) -> (f64, Missing) {
        let extras = self.extras(run..self.course.len());
        let missing = self.demand.reps.len() - rep;
        if missing == 0 {
            return (extras, Missing::LeftOut);
        }
        let runs_on = (run..self.course.len()).any(|run| self.course.run_span(run).len_s() >= SHORTEST_RUN_S);
        if runs_on {
            return (extras + LEFT_OUT * missing as f64, Missing::LeftOut);
        }
        let is_cut = run == self.course.len()
            && self.ends_in_run(run - 1)
            && self.is_cut(&(rep - 1..rep), &(run - 1..run));
        if is_cut {
            return (0.0, Missing::After);
        }
        match self.edges.breaks_off || self.edges.seen_after_s(self.course, run - 1) < self.overdue_s(rep) {
            true => (extras + EDGE_IN_WALK, Missing::After),
            false => (extras + STOPPED + STOPPED_REP * missing as f64, Missing::Stopped),
        }
    }

    /// Seconds after rep `rep` − 1 from which the next one is overdue.
    fn overdue_s(&self, rep: usize) -> f64 {
        let walk_s = self.demand.walks[rep - 1].whole.planned_s.max(self.edges.usual_rest_s);
        walk_s + self.settings.walk_tolerance_s(walk_s) + OVERDUE_S
    }

    fn extras(&self, runs: Range<usize>) -> f64 {
        let usual_s = self.demand.run_s() / self.demand.reps.len() as f64;
        runs.map(|run| {
            let run_s = self.course.run_span(run).len_s();
            match run_s < SHORTEST_RUN_S {
                true => FRAGMENT,
                false => EXTRA + (run_s / usual_s).min(EXTRA_LENGTH_MOST),
            }
        })
        .sum()
    }

    /// Lays runs from `run` on reps from `rep` on.
    fn lay(&mut self, rep: usize, run: usize, arrived: Best, ended: &mut [Vec<Best>]) {
        let mut rests = 0.0;
        for last in run..self.course.len() {
            if last > run {
                rests += self.rest_inside(rep, last);
            }
            if rests > HOPELESS {
                break;
            }
            let runs = run..last + 1;
            for last_rep in rep..self.demand.reps.len() {
                let reps = rep..last_rep + 1;
                let begins_inside = self.begins_in_run(run) && self.is_cut(&reps, &runs);
                let ends_inside = self.ends_in_run(last) && self.is_cut(&reps, &runs);
                let cost = match (begins_inside || ends_inside, reps.len()) {
                    (true, 1) => EDGE_IN_REP.min(self.rep(rep, runs.clone())),
                    (_, 1) => self.rep(rep, runs.clone()),
                    _ => self.joined(reps.clone(), runs.clone()),
                };
                let cost = arrived.cost + cost + rests;
                let step = Step::Laid {
                    reps: reps.clone(),
                    runs: runs.clone(),
                    begins_inside: begins_inside && reps.len() == 1,
                    ends_inside: ends_inside && reps.len() == 1 && !begins_inside,
                };
                ended[last_rep + 1][last + 1].offer(cost, || self.link(arrived.link, vec![step]));
            }
        }
    }

    /// Whether less was run than the reps ask for, by more than their tolerance.
    fn is_cut(&self, reps: &Range<usize>, runs: &Range<usize>) -> bool {
        let rep = &self.demand.reps[reps.start];
        reps.len() == 1
            && self.course.run(runs.clone()).by(rep.unit)
                < rep.planned_s - self.settings.rep_tolerance_s(rep.planned_s)
    }

    fn rep(&self, rep: usize, runs: Range<usize>) -> f64 {
        let part = &self.demand.reps[rep];
        let done_s = self.course.run(runs).by(part.unit);
        let tolerance_s = self.settings.rep_tolerance_s(part.planned_s);
        let within = REP_WITHIN * ((done_s - part.planned_s).abs() / tolerance_s).min(1.0);
        (within + REP_OFF * beyond(done_s, part.planned_s, tolerance_s)).min(REP_OFF_MOST)
    }

    /// Reps run as one: as long as they are together, or with the walks between them, or anything in between.
    fn joined(&self, reps: Range<usize>, runs: Range<usize>) -> f64 {
        let done_s = self.course.run(runs).by(self.demand.run_unit());
        let run_s: f64 = self.demand.reps[reps.clone()].iter().map(|rep| rep.planned_s).sum();
        let walk_s: f64 =
            self.demand.walks[reps.start..reps.end - 1].iter().map(|walk| walk.whole.planned_s).sum();
        let left_out = ((run_s + walk_s - done_s) / walk_s).clamp(0.0, 1.0);
        let off = if done_s < run_s {
            beyond(done_s, run_s, self.settings.edges_s)
        } else {
            beyond(done_s.max(run_s + walk_s), run_s + walk_s, self.settings.edges_s)
        };
        JOINED + JOINED_MORE * (reps.len() - 2) as f64 + JOINED_WITHOUT_WALKS * left_out + REP_OFF * off
    }

    /// Cost of the rest before run `last` being part of a rep.
    fn rest_inside(&self, rep: usize, last: usize) -> f64 {
        let rest_s = self.course.rest(last - 1, last).by_time_s;
        if rest_s <= self.settings.free_rest_s {
            return FREE_REST;
        }
        let walk = self.demand.walks.get(rep).or(self.demand.walks.last());
        let walk_s = walk.map_or(self.demand.reps[rep].planned_s, |walk| walk.whole.planned_s);
        REST + REST_LIKE_A_WALK * (rest_s / walk_s)
    }
}

impl Edges {
    /// Seconds recorded after a run: on foot, and driven. What a pause hides is not.
    pub(super) fn seen_after_s(&self, course: &Course, run: usize) -> f64 {
        course.seen_rest_after_s(run) + self.driven_after_s
    }
}

/// How far a length is off what was asked, beyond a tolerance, as the logarithm of the ratio; 0 within.
fn beyond(done_s: f64, asked_s: f64, tolerance_s: f64) -> f64 {
    let slack_s = tolerance_s.max(NEAR_SHARE * asked_s);
    if (done_s - asked_s).abs() <= slack_s {
        return 0.0;
    }
    let nearest_s = if done_s > asked_s { asked_s + slack_s } else { asked_s - slack_s };
    (done_s.max(1.0) / nearest_s).ln().abs()
}

/// Length of a range of seconds.
pub(super) trait Seconds {
    fn len_s(&self) -> f64;
}

impl Seconds for Range<f64> {
    fn len_s(&self) -> f64 {
        self.end - self.start
    }
}

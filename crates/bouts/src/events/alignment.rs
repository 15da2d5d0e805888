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
use crate::adherence::CELLS;
use crate::adherence::course::Course;
use crate::adherence::demand::{Demand, Unit};

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
/// Cost of a run that no rep asked for, of a fragment, and most for its length; and more where all runs together are no longer
/// than the plan, so that nothing was run beyond it.
const EXTRA: f64 = 1.5;
const FRAGMENT: f64 = 0.2;
const EXTRA_LENGTH_MOST: f64 = 0.5;
const EXTRA_WITHIN_PLAN: f64 = 1.5;
/// A warm-up walk longer than planned costs this at least: it may hold a first rep.
const LONG_WARM_UP: f64 = 0.2;
/// Two readings that differ by less are equally likely.
const ALIKE: f64 = 0.5;
/// What the cheapest way is sought within, one after the other, until it lies there. It changes no result: most sessions are done
/// as planned, or with one thing amiss, and then hardly a way but the cheapest costs less. Own choice.
const WITHIN: [f64; 3] = [1.5, 5.0, f64::INFINITY];
/// A group that costs more than this is none: it could not be part of the cheapest way.
const HOPELESS: f64 = 12.0;
/// What rounding may make of a sum of costs, of which it is a share.
const ROUNDING: f64 = 1e-9;
/// Most runs between two groups that no rep asked for.
const EXTRAS_BETWEEN: usize = 12;
/// Most reps that one run is laid on, and that may be missing between two groups (own choice: more than a beginners' session
/// holds).
const REPS_AT_ONCE: usize = 60;

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

    /// Whether the first walk may be what the recording holds of the walk before `rep`: it is no longer than that, and no
    /// warm-up.
    fn may_begin_in_walk(
        &self,
        demand: &Demand,
        rep: usize,
        first_walk_s: f64,
        settings: &AdherenceSettings,
    ) -> bool {
        let walk_s = demand.walks[rep - 1].whole.planned_s.max(self.usual_rest_s);
        let tolerance_s = settings.walk_tolerance_s(walk_s);
        let is_whole_warm_up = match &demand.before {
            Some(warm_up) => {
                let planned_s = warm_up.whole.planned_s;
                first_walk_s >= planned_s - settings.walk_tolerance_s(planned_s).max(0.15 * planned_s)
            }
            None => first_walk_s <= EDGE_S,
        };
        let before_s = if self.may_hide_a_run { HIDDEN_S } else { OVERDUE_S };
        !self.driven_before && !is_whole_warm_up && first_walk_s <= walk_s + tolerance_s + before_s
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
#[derive(Clone, Debug, PartialEq)]
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
    align_within(&WITHIN, ALIKE, demand, course, edges, settings)
}

/// The same, sought within these costs, and begun late within so much more than otherwise.
fn align_within(
    within: &[f64],
    more: f64,
    demand: &Demand,
    course: &Course,
    edges: &Edges,
    settings: &AdherenceSettings,
) -> Alignment {
    let search = |begins, most| Search::new(demand, course, edges, settings, begins, most).run();
    let found = within.iter().find_map(|most| search(BeginsInWalk::No, *most));
    let (cost, steps) = found.unwrap_or((f64::INFINITY, Vec::new()));
    let may_begin_late = course.len() > 0
        && (1..demand.reps.len())
            .any(|rep| edges.may_begin_in_walk(demand, rep, course.rest_before_s(0), settings));
    match may_begin_late.then(|| search(BeginsInWalk::Yes, cost + more)).flatten() {
        Some((late_cost, late_steps)) => {
            let open_start = (cost - late_cost).abs() < ALIKE;
            let steps = if open_start || late_cost < cost { late_steps } else { steps };
            Alignment { steps, open_start }
        }
        None => Alignment { steps, open_start: false },
    }
}

/// The best way up to a rep and a run that are about to be laid: its cost, and the place in `links` of its last step.
#[derive(Clone, Copy)]
struct Arrived {
    cost: f64,
    link: u32,
}

/// The best way that ends with a rep and a run: its cost, and how the last group was laid.
#[derive(Clone, Copy)]
struct Ended {
    cost: f64,
    /// The place in `links` of what comes before the group.
    before: u32,
    /// Where the group begins.
    rep: u32,
    run: u32,
    begins_inside: bool,
    ends_inside: bool,
}

const NOWHERE: Ended =
    Ended { cost: f64::INFINITY, before: NO_LINK, rep: 0, run: 0, begins_inside: false, ends_inside: false };

/// What a group follows: the start, or the group that ends with a rep and a run; and why reps are missing between.
#[derive(Clone, Copy)]
enum Origin {
    Nowhere,
    Start(Missing),
    Group(usize, usize, Missing),
}

/// The place of no link.
const NO_LINK: u32 = u32::MAX;

/// From the group that ends with so many reps and runs (none: from the start) up to the next one, or the end. There are as many as
/// reps × runs, up to [`CELLS`].
#[derive(Clone, Copy)]
struct Link {
    from: (u32, u32),
    to: (u32, u32),
    why: Missing,
}

struct Search<'a> {
    demand: &'a Demand,
    course: &'a Course<'a>,
    edges: &'a Edges,
    settings: &'a AdherenceSettings,
    begins: BeginsInWalk,
    /// Ways that cost more are not followed.
    most: f64,
    /// Most reps that may be missing between two groups within that.
    most_missing: usize,
    /// Runs that may be laid, from the first.
    runs: usize,
    /// Seconds of each rep with the walk after it.
    asked_s: Vec<f64>,
    /// Sums of these over the reps before each.
    asked_before_s: Vec<f64>,
    /// Cost of each run where no rep asked for it.
    extra: Vec<f64>,
    /// Sums of these over the runs before each.
    extra_before: Vec<f64>,
    /// The last run that is more than a fragment.
    last_long: Option<usize>,
    /// Cost of all runs where none is a rep.
    without_reps: f64,
    run_unit: Unit,
    links: Vec<Link>,
    /// For each number of runs and of reps the best way that ends with them.
    ended: Vec<Vec<Ended>>,
    /// For each number of reps what the cheapest of these costs.
    least_ended: Vec<f64>,
    /// For each number of reps the numbers of runs between which there are ways.
    reached: Vec<Range<usize>>,
}

impl<'a> Search<'a> {
    fn new(
        demand: &'a Demand,
        course: &'a Course<'a>,
        edges: &'a Edges,
        settings: &'a AdherenceSettings,
        begins: BeginsInWalk,
        most: f64,
    ) -> Self {
        let walk_s = |rep: usize| demand.walks.get(rep).map_or(0.0, |walk| walk.whole.planned_s);
        let asked_s: Vec<f64> =
            demand.reps.iter().enumerate().map(|(at, rep)| rep.planned_s + walk_s(at)).collect();
        let usual_s = demand.run_s() / demand.reps.len() as f64;
        let run_unit = demand.run_unit();
        let is_beyond = course.run(0..course.len()).by(run_unit) > demand.run_s();
        let extras = |within_plan: f64| -> Vec<f64> {
            let extra = |run| {
                let run_s = course.run_span(run).len_s();
                match run_s < SHORTEST_RUN_S {
                    true => FRAGMENT,
                    false => EXTRA + (run_s / usual_s).min(EXTRA_LENGTH_MOST) + within_plan,
                }
            };
            (0..course.len()).map(extra).collect()
        };
        let extra = extras(if is_beyond { 0.0 } else { EXTRA_WITHIN_PLAN });
        let without_reps = extras(0.0).iter().sum();
        let reps = demand.reps.len();
        let runs = course.len().min(CELLS / reps.max(1));
        let is_long = |run: &usize| course.run_span(*run).len_s() >= SHORTEST_RUN_S;
        Self {
            demand,
            course,
            edges,
            settings,
            begins,
            most,
            most_missing: (1..=reps.min(REPS_AT_ONCE))
                .take_while(|missing| least_missing(*missing) <= most)
                .count(),
            runs,
            asked_before_s: sums_before(&asked_s),
            asked_s,
            extra_before: sums_before(&extra),
            extra,
            last_long: (0..course.len()).rev().find(is_long),
            without_reps,
            run_unit,
            links: Vec::new(),
            ended: vec![vec![NOWHERE; reps + 1]; runs + 1],
            least_ended: vec![f64::INFINITY; reps + 1],
            reached: vec![Range { start: usize::MAX, end: 0 }; reps + 1],
        }
    }

    /// The cheapest way and its cost, where it costs no more than it may.
    fn run(mut self) -> Option<(f64, Vec<Step>)> {
        let (reps, runs) = (self.demand.reps.len(), self.runs);
        // Runs with which a way may begin, whatever it begins with.
        let may_begin = (0..runs).take_while(|run| self.extra_before[*run] <= self.most).count();
        for rep in 0..reps {
            let before = &self.reached[rep.saturating_sub(self.most_missing)..=rep];
            let first = before.iter().map(|reached| reached.start).min().unwrap_or(runs);
            // Whatever ends last, the runs after it up to the next are asked for by no rep, and that soon costs too much.
            let last = before.iter().map(|reached| reached.end).max().unwrap_or(0).saturating_sub(1);
            let is_near = |run: &usize| *run <= last || self.extras(last..*run) <= self.most + ROUNDING;
            let end = (first.max(may_begin)..runs).take_while(is_near).last().map_or(0, |run| run + 1);
            for run in (0..may_begin).chain(first.max(may_begin)..end) {
                if let Some(arrived) = self.arrive(rep, run) {
                    self.lay(rep, run, arrived);
                }
            }
        }
        let (mut best, mut origin) = (f64::INFINITY, Origin::Nowhere);
        if self.begins == BeginsInWalk::No && !(0..self.course.len()).any(|run| self.is_as_long_as_a_rep(run))
        {
            best = self.without_reps + STOPPED + STOPPED_REP * reps as f64;
            origin = Origin::Start(Missing::Stopped);
        }
        let all = self.extra_before[self.course.len()];
        for (rep, reached) in self.reached.iter().enumerate() {
            for run in reached.clone() {
                let here = self.ended[run][rep].cost;
                let extras = (all - self.extra_before[run]) - ROUNDING * all;
                if here < best && here + extras < best {
                    let (cost, why) = self.end(rep, run);
                    if here + cost < best {
                        (best, origin) = (here + cost, Origin::Group(rep, run, why));
                    }
                }
            }
        }
        if best > self.most {
            return None;
        }
        let link = self.link(origin, reps, self.course.len());
        Some((best, self.trace(link)))
    }

    /// Whether a run is long enough to be the shortest rep.
    fn is_as_long_as_a_rep(&self, run: usize) -> bool {
        let run = self.course.run(run..run + 1);
        self.demand
            .reps
            .iter()
            .any(|rep| run.by(rep.unit) >= rep.planned_s - self.settings.rep_tolerance_s(rep.planned_s))
    }

    /// Adds the steps from an origin up to a rep and a run, and tells their place.
    fn link(&mut self, origin: Origin, rep: usize, run: usize) -> u32 {
        let (from, why) = match origin {
            Origin::Nowhere => return NO_LINK,
            Origin::Start(why) => ((0, 0), why),
            Origin::Group(last_rep, last, why) => ((last_rep as u32, last as u32), why),
        };
        self.links.push(Link { from, to: (rep as u32, run as u32), why });
        (self.links.len() - 1) as u32
    }

    fn trace(&self, mut link: u32) -> Vec<Step> {
        let mut pieces = Vec::new();
        while let Some(Link { from, to, why }) = self.links.get(link as usize).copied() {
            let range = |from: u32, to: u32| from as usize..to as usize;
            let group = (from.0 > 0).then(|| self.ended[from.1 as usize][from.0 as usize]);
            let laid = group.map(|Ended { rep, run, begins_inside, ends_inside, .. }| Step::Laid {
                reps: range(rep, from.0),
                runs: range(run, from.1),
                begins_inside,
                ends_inside,
            });
            let extras = range(from.1, to.1).map(Step::Extra);
            let missing = (from.0 < to.0).then(|| Step::Missing { reps: range(from.0, to.0), why });
            pieces.push(laid.into_iter().chain(extras).chain(missing).collect::<Vec<_>>());
            link = group.map_or(NO_LINK, |group| group.before);
        }
        pieces.into_iter().rev().flatten().collect()
    }

    /// The best way to be about to lay `run` on `rep`; `None` where there is none within the bound.
    fn arrive(&mut self, rep: usize, run: usize) -> Option<Arrived> {
        let (mut best, mut origin) = match self.start(rep, run) {
            Some((cost, why)) => (cost, Origin::Start(why)),
            None => (f64::INFINITY, Origin::Nowhere),
        };
        // The best is most often to come from the rep and the run just before: what costs more than that is passed over.
        let next_to = self.ended[run][rep].cost;
        let bound = match next_to.is_finite() && rep > 0 && run > 0 {
            true => next_to + self.between(rep..rep, run..run).0,
            false => f64::INFINITY,
        };
        let bound = bound.min(self.most);
        let earliest = run.saturating_sub(EXTRAS_BETWEEN);
        for before in rep.saturating_sub(self.most_missing)..=rep {
            let least = least_missing(rep - before);
            let here = self.least_ended[before];
            if here >= best || here + least > bound {
                continue;
            }
            let reached = &self.reached[before];
            for last in reached.start.max(earliest)..reached.end.min(run + 1) {
                let here = self.ended[last][before].cost;
                let extra = if last < run { self.extra[last] } else { 0.0 };
                if here >= best || here + least > bound || here + extra > bound {
                    continue;
                }
                let (cost, why) = self.between(before..rep, last..run);
                if here + cost < best {
                    (best, origin) = (here + cost, Origin::Group(before, last, why));
                }
            }
        }
        let is_within = best.is_finite() && best <= self.most;
        is_within.then(|| Arrived { cost: best, link: self.link(origin, rep, run) })
    }

    /// Cost of beginning with `run` on `rep`, and why the reps before it are missing.
    fn start(&self, rep: usize, run: usize) -> Option<(f64, Missing)> {
        let extras = self.extra_before[run];
        if extras > self.most {
            return None;
        }
        let first_walk_s = self.course.rest_before_s(run);
        if self.begins == BeginsInWalk::Yes {
            let may = run == 0
                && rep > 0
                && self.edges.may_begin_in_walk(self.demand, rep, first_walk_s, self.settings);
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
        let asked_s = warm_up_s + self.asked_before_s[rep];
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
        self.asked_s[reps].iter().sum()
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
        if self.last_long.is_some_and(|last| last >= run) {
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
        self.extra[runs].iter().sum()
    }

    /// Lays runs from `run` on reps from `rep` on.
    fn lay(&mut self, rep: usize, run: usize, arrived: Arrived) {
        let mut rests = 0.0;
        for last in run..self.runs {
            if last > run {
                rests += self.rest_inside(rep, last);
            }
            if rests > HOPELESS || arrived.cost + rests > self.most {
                break;
            }
            let runs = run..last + 1;
            let is_cut = self.is_cut(&(rep..rep + 1), &runs);
            let done_s = self.course.run(runs.clone()).by(self.run_unit);
            let (mut run_s, mut walk_s) = (0.0, 0.0);
            for last_rep in rep..self.demand.reps.len().min(rep + REPS_AT_ONCE) {
                let reps = rep..last_rep + 1;
                run_s += self.demand.reps[last_rep].planned_s;
                let known = self.ended[last + 1][last_rep + 1].cost;
                let is_one = reps.len() == 1;
                let begins_inside = is_one && is_cut && self.begins_in_run(run);
                let ends_inside = is_one && is_cut && self.ends_in_run(last);
                // Between reps that are said to be run as one a hole may hide the walk.
                let hole = self.hole_inside(rep, &runs, if is_one { run_s - done_s } else { 0.0 });
                let cost = if is_one {
                    let cost = self.rep(rep, runs.clone());
                    if begins_inside || ends_inside { EDGE_IN_REP.min(cost) } else { cost }
                } else {
                    walk_s += self.demand.walks[last_rep - 1].whole.planned_s;
                    // Nothing that follows can make it cheaper than that, and more reps cost more.
                    let least = arrived.cost + joining(reps.len()) + rests;
                    if least > self.most {
                        break;
                    }
                    if least >= known {
                        continue;
                    }
                    self.joined(reps.len(), done_s, run_s, walk_s)
                };
                let cost = arrived.cost + cost + rests + hole;
                if cost < known && cost <= self.most {
                    let ends_inside = ends_inside && !begins_inside;
                    let (rep, run) = (rep as u32, run as u32);
                    self.ended[last + 1][last_rep + 1] =
                        Ended { cost, before: arrived.link, rep, run, begins_inside, ends_inside };
                    let least = &mut self.least_ended[last_rep + 1];
                    *least = least.min(cost);
                    let reached = &mut self.reached[last_rep + 1];
                    *reached = reached.start.min(last + 1)..reached.end.max(last + 2);
                }
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
    fn joined(&self, reps: usize, done_s: f64, run_s: f64, walk_s: f64) -> f64 {
        let left_out = ((run_s + walk_s - done_s) / walk_s).clamp(0.0, 1.0);
        let off = if done_s < run_s {
            beyond(done_s, run_s, self.settings.edges_s)
        } else {
            beyond(done_s.max(run_s + walk_s), run_s + walk_s, self.settings.edges_s)
        };
        joining(reps) + JOINED_WITHOUT_WALKS * left_out + REP_OFF * off
    }

    /// Cost of the rest before run `last` being part of a rep.
    fn rest_inside(&self, rep: usize, last: usize) -> f64 {
        let rest_s = self.course.rest(last - 1, last).by_time_s - self.course.hole_s(last - 1..last + 1);
        if rest_s <= self.settings.free_rest_s { FREE_REST } else { self.rest(rep, rest_s) }
    }

    /// Cost of the holes between these runs being part of a rep: as far as it lacks so many seconds they may have been run.
    fn hole_inside(&self, rep: usize, runs: &Range<usize>, lacking_s: f64) -> f64 {
        let rest_s = self.course.hole_s(runs.clone()) - lacking_s.max(0.0);
        if rest_s <= self.settings.free_rest_s { 0.0 } else { self.rest(rep, rest_s) }
    }

    /// Cost of so many seconds of rest inside a rep.
    fn rest(&self, rep: usize, rest_s: f64) -> f64 {
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

/// Sums of what stands before each place, and of all.
fn sums_before(values: &[f64]) -> Vec<f64> {
    let mut sum = 0.0;
    let sums = values.iter().map(|value| {
        sum += value;
        sum
    });
    std::iter::once(0.0).chain(sums).collect()
}

/// Cost of running so many reps as one, whatever their length.
fn joining(reps: usize) -> f64 {
    JOINED + JOINED_MORE * (reps - 2) as f64
}

/// The least that so many missing reps cost between two groups.
fn least_missing(reps: usize) -> f64 {
    match reps {
        0 => 0.0,
        _ => (WALKED + WALKED_MORE * (reps as f64 - 1.0)).min(LEFT_OUT * reps as f64),
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

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::{Amount, Bout, Gait, Interval, Kind};

    /// Reps with the walks after them.
    fn plan(before_s: f64, reps: &[(f64, f64)]) -> Vec<Interval> {
        let ask = |gait, seconds| Interval { gait, amount: Amount::Seconds(seconds) };
        let reps = reps.iter().flat_map(|(run_s, walk_s)| [ask(Gait::Run, *run_s), ask(Gait::Walk, *walk_s)]);
        [ask(Gait::Walk, before_s)].into_iter().chain(reps).collect()
    }

    /// Runs with the rests after them.
    fn done(before_s: f64, runs: &[(f64, f64, Kind)]) -> Vec<Bout> {
        let mut bouts = vec![Bout::new(Kind::Walk, 0.0, before_s)];
        let mut at_s = before_s;
        for (run_s, rest_s, rest) in runs {
            bouts.push(Bout::new(Kind::Run, at_s, at_s + run_s));
            bouts.push(Bout::new(*rest, at_s + run_s, at_s + run_s + rest_s));
            at_s += run_s + rest_s;
        }
        bouts
    }

    fn any_plan() -> impl Strategy<Value = (f64, Vec<(f64, f64)>)> {
        let rep = || prop::sample::select(vec![30.0, 60.0, 90.0, 120.0, 300.0]);
        let walk = || prop::sample::select(vec![30.0, 60.0, 90.0]);
        let reps = prop_oneof![
            ((rep(), walk()), 1_usize..9).prop_map(|(rep, count)| vec![rep; count]),
            prop::collection::vec((rep(), walk()), 1..7),
        ];
        (prop::sample::select(vec![0.0, 300.0]), reps)
    }

    /// What was made of a plan: reps left out, walked, cut; recorded late; and anything.
    fn any_session() -> impl Strategy<Value = (Vec<Interval>, Vec<Bout>)> {
        let off_s = || prop_oneof![3 => Just(0.0), 1 => (-60_i32..60).prop_map(f64::from)];
        let rest = || prop::sample::select(vec![Kind::Walk, Kind::Walk, Kind::Walk, Kind::Stand, Kind::Gap]);
        let manner = (prop_oneof![6 => Just(true), 1 => Just(false)], off_s(), off_s(), rest());
        let run = || prop_oneof![Just(8.0), (5_u32..200).prop_map(f64::from)];
        let extra = prop::collection::vec((run(), run(), rest()), 0..4);
        // A first walk as long as a rep and its walk may be just that, or what the recording holds of a longer one.
        let first = prop_oneof![run(), prop::sample::select(vec![60.0, 90.0, 120.0, 150.0])];
        let late = prop_oneof![2 => Just(None), 1 => (1_usize..4, first).prop_map(Some)];
        (any_plan(), prop::collection::vec(manner, 9), extra, off_s(), late).prop_map(
            |((before_s, reps), manners, extra, off_s, late)| {
                let (begins_with, first_s) = late.unwrap_or((0, before_s + off_s));
                let done_reps = reps.iter().zip(manners).skip(begins_with);
                let followed = done_reps.filter(|(_, (is_done, ..))| *is_done).map(
                    |((run_s, walk_s), (_, run_off_s, walk_off_s, rest))| {
                        ((run_s + run_off_s).max(3.0), (walk_s + walk_off_s).max(3.0), rest)
                    },
                );
                let bouts = done(first_s.max(3.0), &followed.chain(extra).collect::<Vec<_>>());
                (plan(before_s, &reps), bouts)
            },
        )
    }

    #[test]
    fn a_recording_that_may_as_well_begin_late_leaves_it_open() {
        let settings = AdherenceSettings::default();
        let bouts = done(60.0, &[(30.0, 30.0, Kind::Walk); 3]);
        let demand = Demand::new(&plan(0.0, &[(30.0, 30.0); 4]), &settings).unwrap();
        let course = Course::new(&bouts, &settings);
        let observed = Observed::of(&bouts, 0.8);
        let found = align(&demand, &course, &Edges::new(&observed, &course), &settings);
        // To walk the first rep costs a little less than to begin after it.
        assert!(found.open_start);
        assert_eq!(found.steps[0], Step::Missing { reps: 0..1, why: Missing::Before });
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(600))]

        #[test]
        fn what_is_not_followed_could_not_have_been_the_cheapest(
            (planned, bouts) in any_session(), breaks_off in any::<bool>(), is_sure in any::<bool>(),
        ) {
            let settings = AdherenceSettings::default();
            let (demand, course) = (Demand::new(&planned, &settings).unwrap(), Course::new(&bouts, &settings));
            let confidence = if is_sure { 1.0 } else { 0.8 };
            let observed = Observed { breaks_off, ..Observed::of(&bouts, confidence) };
            let edges = Edges::new(&observed, &course);
            let all = align_within(&[f64::INFINITY], f64::INFINITY, &demand, &course, &edges, &settings);
            prop_assert_eq!(align(&demand, &course, &edges, &settings), all);
        }
    }
}

//! The best alignment of runs with reps, found exactly by dynamic programming.
//!
//! The search goes through the reps in order. `settled[i][a]` is the best that can be had from the reps before `i` and
//! the runs before `a`. What a walk earns depends on how the groups on both sides of it ended, so for each end (rep,
//! run) every entry is kept that no other beats in points, in the credit of the last rep and in seconds lost at once.
//!
//! All ways are as many as reps × runs³ and more. Up to [`STEPS`] all are followed; in a larger session only so many that the
//! work stays the same ([`Reach`]): what is laid as one rep, and what lies between two reps with their walk, is then at
//! most so many runs.

use std::ops::Range;

use super::AdherenceSettings;
use super::course::Course;
use super::demand::{Demand, Length, Part};

/// Points that differ by less are equal.
const EQUAL: f64 = 1e-9;
/// The best alignment is sought with at least such a share of the points that the runs could earn at most, one after the other,
/// until it has them: what can no longer come to that is not followed. It changes no result: what was done as planned, all
/// of it or a part, earns nearly all, and then few ways but the best one do. Own choice.
const AT_LEAST: [f64; 4] = [0.98, 0.85, 0.6, 0.0];
/// What rounding may make of the points of an alignment, and ties of those that are kept.
const ROUNDING: f64 = 1e-6;
/// Reps × runs × runs up to which every alignment is looked at: those of 60 reps and 60 runs, of 9 reps and 154 (own choice:
/// beginners' sessions hold a third of that).
const STEPS: usize = 60 * 60 * 60;
/// In a larger session, the fewest runs that a group may have, and that may lie between two (own choice).
const LEAST_REACH: usize = 6;
/// Most reps × runs that are looked at: runs beyond are laid on no rep. 60 reps and 1600 runs have fewer (own choice).
pub(crate) const CELLS: usize = 100_000;
/// Less than this, in seconds, is nothing.
const NOTHING_S: f64 = 1e-9;

/// Consecutive runs laid on consecutive reps.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Group {
    pub(super) reps: Range<usize>,
    pub(super) runs: Range<usize>,
}

/// How far the search looks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Reach {
    /// The runs that may be laid, from the first.
    pub(super) runs: usize,
    /// Most runs in a group, and from the end of a group to the next one where the walk between them earns.
    pub(super) at_once: usize,
}

impl Reach {
    pub(super) fn of(demand: &Demand, course: &Course) -> Self {
        let reps = demand.reps.len().max(1);
        let runs = course.len().min(CELLS / reps);
        let at_once = STEPS / (reps * runs.max(1));
        Self { runs, at_once: at_once.max(LEAST_REACH) }
    }

    /// Whether that is all there is.
    pub(super) fn is_all(self, course: &Course) -> bool {
        course.len() <= self.runs.min(self.at_once)
    }
}

/// The groups of the alignment with the most points, in order.
pub(super) fn align(demand: &Demand, course: &Course, settings: &AdherenceSettings) -> Vec<Group> {
    let searched = || AT_LEAST.into_iter().find_map(|share| align_with(demand, course, settings, share));
    one_by_one(demand, course, settings).or_else(searched).unwrap_or_default()
}

/// Each run laid on its rep, where there are as many and that is the best for certain.
///
/// With as many runs as reps every other alignment leaves a rep out or lays two on one group, and so earns nothing for that rep or
/// for the walk between the two. Where one by one earns more than all but the least of these, no other comes up to it.
fn one_by_one(demand: &Demand, course: &Course, settings: &AdherenceSettings) -> Option<Vec<Group>> {
    let count = demand.reps.len();
    if course.len() != count {
        return None;
    }
    let worth = Worth::new(demand, settings);
    let (mut lost, mut least) = (0.0, f64::INFINITY);
    let mut credit_before = 0.0_f64;
    for (at, rep) in demand.reps.iter().enumerate() {
        let done_s = course.laid(at..at + 1).by(rep.unit);
        let (dose, full) = worth.reps[at];
        lost += dose + full - worth.of_rep(at, done_s, rep.planned_s, settings);
        least = least.min(dose + full);
        let credit = settings.rep_credit(done_s, rep.planned_s);
        if let Some(before) = at.checked_sub(1) {
            let walk = demand.walks[before].whole;
            let rest_s = course.rest_for(&walk, before, at);
            let kept = settings.walk_credit(rest_s, 0.0, walk.planned_s) * credit.min(credit_before);
            lost += worth.walks[at] * (1.0 - kept);
            least = least.min(worth.walks[at]);
        }
        credit_before = credit;
    }
    // Ties go their own way, each by a little.
    let is_best = least > lost + ROUNDING * count as f64;
    is_best.then(|| (0..count).map(|at| Group { reps: at..at + 1, runs: at..at + 1 }).collect())
}

/// The most points that each part of what was asked can earn.
struct Worth {
    /// Points of each rep for its dose and for being full.
    reps: Vec<(f64, f64)>,
    /// Of the walk before each rep; 0 before the first.
    walks: Vec<f64>,
}

impl Worth {
    fn new(demand: &Demand, settings: &AdherenceSettings) -> Self {
        let weights = demand.break_weights().into_iter().map(|weight| settings.breaks_weight * weight);
        let (count, run_s) = (demand.reps.len(), demand.run_s());
        // A single rep earns what breaks would.
        let dose_weight = settings.dose_weight + if count == 1 { settings.breaks_weight } else { 0.0 };
        let points = |rep: &Part| (dose_weight * rep.planned_s / run_s, settings.full_weight / count as f64);
        Self {
            reps: demand.reps.iter().map(points).collect(),
            walks: std::iter::once(0.0).chain(weights).collect(),
        }
    }

    /// What a rep earns, without the walks beside it.
    fn of_rep(&self, rep: usize, done_s: f64, planned_s: f64, settings: &AdherenceSettings) -> f64 {
        let (dose, full) = self.reps[rep];
        dose * settings.rep_credit(done_s, planned_s) + full * settings.full_credit(done_s, planned_s)
    }
}

/// The same, where the best has at least such a share of the points that the runs could earn.
pub(super) fn align_with(
    demand: &Demand,
    course: &Course,
    settings: &AdherenceSettings,
    share: f64,
) -> Option<Vec<Group>> {
    Search::new(demand, course, settings, share).run()
}

/// Lays a length on what was asked for in order, each up to its own length; the last takes all that is left. Ends
/// where nothing is left.
pub(super) fn fill(asked: &[Part], laid: Length) -> Vec<Filled> {
    let mut left = laid;
    let mut filled = Vec::with_capacity(asked.len());
    let mut begun = 0.0;
    for (index, part) in asked.iter().enumerate() {
        let left_s = left.by(part.unit);
        if left_s <= NOTHING_S {
            break;
        }
        let takes_all = index + 1 == asked.len() || left_s <= part.planned_s;
        let done_s = if takes_all { left_s } else { part.planned_s };
        let end = if takes_all { 1.0 } else { begun + (1.0 - begun) * done_s / left_s };
        filled.push(Filled { done_s, shares: begun..end });
        left = left.without(done_s, part.unit);
        begun = end;
    }
    filled
}

/// What one of the things asked for got.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Filled {
    /// Seconds, by its unit.
    pub(super) done_s: f64,
    /// Where in the length that was laid they lie, as shares of it.
    pub(super) shares: Range<f64>,
}

/// Index of a link in the search's list; [`FIRST`] before all of them.
type LinkId = u32;

/// What is before the first group.
const FIRST: LinkId = LinkId::MAX;

/// A group and what came before it. There are many: neither reps nor runs that are looked at pass [`CELLS`].
struct Link {
    reps: Range<u32>,
    runs: Range<u32>,
    before: LinkId,
}

/// The best that ends somewhere.
#[derive(Clone, Copy)]
struct Best {
    points: f64,
    link: LinkId,
}

/// One way to end with a given rep and run.
#[derive(Clone, Copy)]
struct Entry {
    points: f64,
    /// Credit of the last rep.
    credit: f64,
    /// Seconds lost in the last group.
    lost_s: f64,
    link: LinkId,
}

/// One way to arrive at a rep and run with a walk that may earn.
struct Arrival {
    entry: Entry,
    /// Its place in the order of runs to end with, then of reps and runs to begin with.
    place: usize,
    /// Rest since then, by the walk's unit.
    rest_s: f64,
}

/// What reps and runs that are not laid yet can earn at most.
struct ToCome {
    /// Points of each rep and all after it; 0 after the last.
    reps: Vec<f64>,
    /// Most points a second that any of them earns.
    a_second: Vec<f64>,
    /// Seconds of each run and all after it, by whichever count is longer.
    runs_s: Vec<f64>,
    /// Points of the walks before each rep and all after it.
    walks: Vec<f64>,
    /// Most points of any of them.
    a_walk: Vec<f64>,
}

impl ToCome {
    fn new(demand: &Demand, course: &Course, settings: &AdherenceSettings, worth: &Worth) -> Self {
        let (reps, runs) = (demand.reps.len(), course.len());
        let mut to_come = Self {
            reps: vec![0.0; reps + 1],
            a_second: vec![0.0; reps + 1],
            runs_s: vec![0.0; runs + 1],
            walks: vec![0.0; reps + 1],
            a_walk: vec![0.0; reps + 1],
        };
        for rep in (0..reps).rev() {
            let points = worth.reps[rep].0 + worth.reps[rep].1;
            // Both credits lie below the line from nothing to enough.
            let a_second = points / settings.rep_enough_s(demand.reps[rep].planned_s);
            to_come.reps[rep] = to_come.reps[rep + 1] + points;
            to_come.a_second[rep] = to_come.a_second[rep + 1].max(a_second);
            to_come.walks[rep] = to_come.walks[rep + 1] + worth.walks[rep];
            to_come.a_walk[rep] = to_come.a_walk[rep + 1].max(worth.walks[rep]);
        }
        for run in (0..runs).rev() {
            let run_s = course.run(run..run + 1);
            to_come.runs_s[run] = to_come.runs_s[run + 1] + run_s.by_time_s.max(run_s.by_distance_s);
        }
        to_come
    }

    /// Of the runs from `run` on, laid on the reps from `rep` on, with as many walks before reps from `walk` on.
    fn most(&self, rep: usize, run: usize, walk: usize, walks: usize) -> f64 {
        let reps = self.reps[rep].min(self.runs_s[run] * self.a_second[rep]);
        let walks = self.walks.get(walk).map_or(0.0, |all| all.min(walks as f64 * self.a_walk[walk]));
        reps + walks
    }
}

struct Search<'a> {
    demand: &'a Demand,
    course: &'a Course<'a>,
    settings: &'a AdherenceSettings,
    worth: Worth,
    to_come: ToCome,
    /// An alignment that cannot come to so many points is not followed.
    least: f64,
    reach: Reach,
    links: Vec<Link>,
    /// `endings[rep][run]`: entries whose last group ends there; none of reps that nothing can follow any more.
    endings: Vec<Vec<Vec<Entry>>>,
}

impl<'a> Search<'a> {
    fn new(demand: &'a Demand, course: &'a Course<'a>, settings: &'a AdherenceSettings, share: f64) -> Self {
        let worth = Worth::new(demand, settings);
        let to_come = ToCome::new(demand, course, settings, &worth);
        let reach = Reach::of(demand, course);
        Self {
            demand,
            course,
            settings,
            worth,
            least: share * to_come.most(0, 0, 1, reach.runs.saturating_sub(1)),
            to_come,
            reach,
            links: Vec::new(),
            endings: vec![vec![Vec::new(); reach.runs]; demand.reps.len()],
        }
    }

    /// The groups with the most points, where they come to as many as they must.
    fn run(mut self) -> Option<Vec<Group>> {
        let runs = self.reach.runs;
        let mut settled = vec![Best { points: 0.0, link: FIRST }; runs + 1];
        for rep in 0..self.demand.reps.len() {
            let mut most_before = f64::NEG_INFINITY;
            for (first, &before) in settled[..runs].iter().enumerate() {
                if let (Some(rep), Some(run)) = (rep.checked_sub(1), first.checked_sub(1)) {
                    let points = self.endings[rep][run].iter().map(|entry| entry.points);
                    most_before = points.fold(most_before, f64::max);
                }
                let arrived = if most_before.is_finite() { most_before + self.worth.walks[rep] } else { 0.0 };
                // Walks lie after the group alone.
                let is_worth_it = |search: &Self, last: usize| {
                    let to_come = search.to_come.most(rep, first, rep + 1, runs - last - 1);
                    !search.is_too_little(before.points.max(arrived) + to_come)
                };
                if !is_worth_it(&self, first) {
                    continue;
                }
                let arrivals = self.arrivals(rep, first);
                for last in first..runs.min(first + self.reach.at_once) {
                    if !is_worth_it(&self, last) {
                        break;
                    }
                    self.lay(rep, first..last + 1, before, &arrivals);
                }
            }
            if let Some(before) = rep.checked_sub(1) {
                self.endings[before] = Vec::new();
            }
            // A tie goes to the alignment without this rep, then to the one without the last run.
            for last in 0..runs {
                let mut best = settled[last + 1];
                let ending = self.endings[rep][last]
                    .iter()
                    .map(|entry| Best { points: entry.points, link: entry.link });
                for other in std::iter::once(settled[last]).chain(ending) {
                    if other.points > best.points + EQUAL {
                        best = other;
                    }
                }
                settled[last + 1] = best;
            }
        }
        let best = settled[runs];
        (best.points >= self.least).then(|| self.trace(best.link))
    }

    /// Whether no alignment that can come to so many points is the best.
    fn is_too_little(&self, points: f64) -> bool {
        points < self.least - ROUNDING
    }

    /// Ways to arrive at a group that begins with `rep` and run `first` right after a group that ends at the rep
    /// before, most points first.
    fn arrivals(&self, rep: usize, first: usize) -> Vec<Arrival> {
        let Some(before) = rep.checked_sub(1) else {
            return Vec::new();
        };
        let walk = &self.demand.walks[before].whole;
        let mut arrivals: Vec<Arrival> = (first.saturating_sub(self.reach.at_once)..first)
            .filter(|run| !self.endings[before][*run].is_empty())
            .flat_map(|run| {
                let rest_s = self.course.rest_for(walk, run, first);
                self.endings[before][run].iter().map(move |&entry| (entry, rest_s))
            })
            .enumerate()
            .map(|(place, (entry, rest_s))| Arrival { entry, place, rest_s })
            .collect();
        arrivals.sort_by(|a, b| b.entry.points.total_cmp(&a.entry.points));
        arrivals
    }

    /// Lays `runs` on the reps from `first_rep` on, as many as they reach, and keeps what is worth keeping.
    fn lay(&mut self, first_rep: usize, runs: Range<usize>, settled: Best, arrivals: &[Arrival]) {
        let mut left = self.course.laid(runs.clone());
        let lost_s = self.course.lost_s(runs.clone());
        let rep = &self.demand.reps[first_rep];
        if left.by(rep.unit) <= NOTHING_S {
            return;
        }
        let credit = self.settings.rep_credit(left.by(rep.unit), rep.planned_s);
        let before = self.best_before(first_rep, credit, lost_s, settled, arrivals);
        let mut points = before.points;
        let runs_left = self.reach.runs - runs.end;
        for last_rep in first_rep..self.demand.reps.len() {
            let rep = &self.demand.reps[last_rep];
            let left_s = left.by(rep.unit);
            if left_s <= NOTHING_S {
                break;
            }
            let ending = Entry {
                points: points + self.rep_points(last_rep, left_s),
                credit: self.settings.rep_credit(left_s, rep.planned_s),
                lost_s,
                link: before.link,
            };
            let after = self.to_come.most(last_rep + 1, runs.end, last_rep + 1, runs_left);
            if !self.is_too_little(ending.points + after) {
                self.keep(ending, Group { reps: first_rep..last_rep + 1, runs: runs.clone() });
            }
            if left_s <= rep.planned_s {
                break;
            }
            points += self.rep_points(last_rep, rep.planned_s);
            if self
                .is_too_little(points + self.to_come.most(last_rep + 1, runs.start, last_rep + 2, runs_left))
            {
                break;
            }
            left = left.without(rep.planned_s, rep.unit);
        }
    }

    /// The best that can stand before a group: anything settled, or a group that ends at the rep before with the walk
    /// between. A tie goes to what is settled, then to the earlier arrival.
    fn best_before(&self, rep: usize, credit: f64, lost_s: f64, settled: Best, arrivals: &[Arrival]) -> Best {
        let mut best = settled;
        let mut best_place = None;
        for arrival in arrivals {
            let entry = &arrival.entry;
            if entry.points + self.worth.walks[rep] * credit < best.points - EQUAL {
                break;
            }
            let walk_s = self.demand.walks[rep - 1].whole.planned_s;
            let kept = self.settings.walk_credit(arrival.rest_s, entry.lost_s + lost_s, walk_s);
            let points = entry.points + self.worth.walks[rep] * kept * entry.credit.min(credit);
            let is_better = points > best.points + EQUAL;
            let is_earlier =
                points >= best.points - EQUAL && best_place.is_some_and(|place| arrival.place < place);
            if is_better || is_earlier {
                best = Best { points, link: entry.link };
                best_place = Some(arrival.place);
            }
        }
        best
    }

    fn rep_points(&self, rep: usize, done_s: f64) -> f64 {
        self.worth.of_rep(rep, done_s, self.demand.reps[rep].planned_s, self.settings)
    }

    /// Keeps an entry unless an earlier one that ends there is at least as good in all respects; drops those that it beats.
    /// Rounding decides neither.
    fn keep(&mut self, entry: Entry, group: Group) {
        let kept = &mut self.endings[group.reps.end - 1][group.runs.end - 1];
        let beats = |a: &Entry, b: &Entry| {
            a.points >= b.points - EQUAL && a.credit >= b.credit - EQUAL && a.lost_s <= b.lost_s + EQUAL
        };
        if kept.iter().any(|earlier| beats(earlier, &entry)) {
            return;
        }
        kept.retain(|earlier| !beats(&entry, earlier));
        kept.push(Entry { link: self.links.len() as LinkId, ..entry });
        let Group { reps, runs } = group;
        self.links.push(Link {
            reps: reps.start as u32..reps.end as u32,
            runs: runs.start as u32..runs.end as u32,
            before: entry.link,
        });
    }

    fn trace(&self, mut link: LinkId) -> Vec<Group> {
        let mut groups = Vec::new();
        while let Some(Link { reps, runs, before }) = self.links.get(link as usize) {
            groups.push(Group {
                reps: reps.start as usize..reps.end as usize,
                runs: runs.start as usize..runs.end as usize,
            });
            link = *before;
        }
        groups.reverse();
        groups
    }
}

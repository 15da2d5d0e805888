//! From the likeliest way to events.

use std::ops::Range;

use super::alignment::{Alignment, Edges, Missing, SHORTEST_RUN_S, Seconds, Step};
use super::{Event, EventKind, Observed, Reading, wording};
use crate::adherence::Hidden;
use crate::adherence::course::{Course, overlap_s};
use crate::adherence::demand::{Demand, Part, Unit};
use crate::segment::WALK_OR_JOG_M_PER_S;
use crate::{AdherenceSettings, Gait, Inside, Kind};

/// A rep or walk is told as short or long from this share of its plan on (by definition), and beyond its tolerance.
const TOLD_SHARE: f64 = 0.15;
/// A rep that is not told as short is run in full where it lacks no more than this, in seconds: two boundaries that are each off by
/// 6 s, somewhat more than what nine of ten keep to where nothing counts steps (edges of the medium tier, docs/accuracy.md).
const LACKING_S: f64 = 12.0;
/// Walking or standing after the last run from which it is seen that nothing follows at once, in seconds (by definition).
const SEEN_AFTER_S: f64 = 30.0;
/// A rep at an edge of the recording is as short as the others where it reaches this share of what they reach (own choice).
const LIKE_OTHERS_SHARE: f64 = 0.8;
/// A walk that lasts this much beyond the walks before the first and after the last rep, in seconds, shows that reps were
/// walked: the shortest run that can be seen, and what two boundaries may be off.
const BEYOND_OUTER_WALKS_S: f64 = 20.0;
/// How far a boundary may be off where a session is surely wrong, in seconds, and in proportion to its doubt and to that of the
/// part and of what it touches: a part is told as short or long beyond that. The doubt of a short rep itself is left out: what
/// is missing of it hides in a walk that looks sure. From `cargo run --release -p boutwise-truth --example events 240 100000`,
/// and from 300000, 500000 and 700000: so 97 of 100 such parts or more were so, without cadence too, and as many of those that
/// were so are told.
const OFF_IN_DOUBT_S: f64 = 10.0;
/// So much more for each side of the part beside which no part of the plan lies whose length shows where the boundary is (from
/// the same).
const OFF_UNSEEN_S: f64 = 10.0;
/// Where a session is less likely right than this, what one boundary that lies wrongly explains is taken off: it makes a rep
/// short and the walk beside it as much too long (from the same).
const SURE_OF_BOUNDARIES: f64 = 0.95;
/// Below this probability that all that was found is right nobody is said to have stopped (from the same command) …
const SURE_OF_LESS: f64 = 0.8;
/// … nor below this one that the last run and what was walked after it are right …
const SURE_OF_THE_LAST: f64 = 0.9;
/// … nor is a rep said to be walked below this one that the runs, and what was walked there, are right: of those below it one
/// in eight was run after all.
const SURE_OF_WALKED: f64 = 0.85;
/// Below this one it cannot be said whether reps were run together, or a walk hides in the run (from the same: of those below it
/// nearly half were not).
const SURE_OF_JOINED: f64 = 0.9;
/// Below this one nobody is said to have walked it all where a run shows that is too short to be a rep and what was walked is as
/// fast as some jog: it may be all that shows of several (from the same).
const SURE_OF_NONE: f64 = 0.95;
/// Below this one a walk at an edge of the recording may hide what is left of a rep, where it is as much longer than planned as a
/// run that is seen at times and not always (from the same).
const SURE_OF_OUTER_WALK: f64 = 0.9;
/// Runs of such lengths are seen at times and not always, in seconds (from the same: of those of 22 to 40 s at the start one in
/// eight was lost).
const HIDDEN_RUN_S: Range<f64> = 15.0..45.0;
/// A rep that was not seen for this share of it may have been run (own choice).
const HIDDEN_SHARE: f64 = 0.5;
/// What lies so close to a run, in seconds, touches it.
const BESIDE_S: f64 = 1.0;
/// Confidence of what is as likely as not.
const AS_LIKELY_AS_NOT: f64 = 0.5;

pub(super) struct Telling<'a> {
    pub(super) demand: &'a Demand,
    pub(super) course: &'a Course<'a>,
    pub(super) edges: &'a Edges,
    pub(super) observed: &'a Observed<'a>,
    pub(super) settings: &'a AdherenceSettings,
}

/// What was laid in one step.
#[derive(Clone, Debug)]
struct Laid {
    reps: Range<usize>,
    runs: Range<usize>,
    begins_inside: bool,
    ends_inside: bool,
    /// Whether reps were missed, or runs lie that no rep asked for, since the step before it.
    follows_other: bool,
}

impl Telling<'_> {
    pub(super) fn tell(&self, alignment: &Alignment) -> Reading {
        let mut laid: Vec<Laid> = Vec::new();
        let mut follows_other = false;
        for step in &alignment.steps {
            match step {
                Step::Laid { reps, runs, begins_inside, ends_inside } => {
                    laid.push(Laid {
                        reps: reps.clone(),
                        runs: runs.clone(),
                        begins_inside: *begins_inside,
                        ends_inside: *ends_inside,
                        follows_other,
                    });
                    follows_other = false;
                }
                Step::Extra(run) => follows_other |= self.course.run_span(*run).len_s() >= SHORTEST_RUN_S,
                Step::Missing { .. } => follows_other = true,
            }
        }
        let mut events = Vec::new();
        let mut rep_lacking = false;
        let mut hidden = Vec::new();
        let inside = match (laid.is_empty(), self.demand.reps.is_empty()) {
            (_, true) => {
                self.tell_extras(alignment, &mut events);
                None
            }
            (true, false) => self.tell_no_run(&mut events),
            (false, false) => {
                self.tell_extras(alignment, &mut events);
                self.settle_edges(&mut laid);
                rep_lacking = self.tell_laid(&laid, &mut hidden, &mut events);
                self.tell_missing(alignment, &laid, hidden, &mut events)
            }
        };
        if self.is_doubtful(&events) {
            return self.cannot_tell_how_much(&laid);
        }
        let recorded_pct = (!self.demand.reps.is_empty()).then(|| self.recorded_pct(inside.as_ref()));
        Reading { events, inside, recorded_pct, rep_lacking }
    }

    fn event(&self, kind: EventKind, span: Range<f64>, confidence: f64, text: String) -> Event {
        Event {
            kind,
            part: None,
            number: None,
            at_s: span.start,
            to_s: span.end,
            planned_s: None,
            done_s: None,
            confidence,
            text,
        }
    }

    /// Where both the session and the bouts are known to some degree, the better of both: an event needs its own runs
    /// alone.
    fn confidence(&self, runs: Range<usize>) -> f64 {
        self.observed.confidence.max(self.course.confidence(runs))
    }

    /// The same of something that rests on runs and on what was walked in a stretch of seconds: neither may hide a run.
    fn confidence_with_rest(&self, runs: Range<usize>, rest: &Range<f64>) -> f64 {
        let bouts = self.course.confidence(runs).min(self.course.rest_confidence(rest));
        self.observed.confidence.max(bouts)
    }

    /// Seconds that a part asked for, where it asked for seconds.
    fn seconds(part: &Part) -> Option<f64> {
        (part.unit == Unit::Time).then_some(part.planned_s)
    }

    /// Whether less running would be told than was planned, and more may have been there.
    fn is_doubtful(&self, events: &[Event]) -> bool {
        let bouts = self.observed.bouts.iter().filter(|bout| bout.kind != Kind::Gap);
        let sure = self.observed.confidence.max(bouts.map(|bout| bout.confidence).fold(1.0, f64::min));
        events.iter().any(|event| match event.kind {
            EventKind::StoppedAfter => sure < SURE_OF_LESS || event.confidence < SURE_OF_THE_LAST,
            EventKind::RepWalked => event.confidence < SURE_OF_WALKED,
            EventKind::WalkedThrough => {
                self.run_s() > 0.0 && !self.walked_slowly() && self.observed.confidence < SURE_OF_NONE
            }
            _ => false,
        })
    }

    /// Whether what was walked is, taken together, slower than anybody jogs: so no runs hide in it.
    fn walked_slowly(&self) -> bool {
        let walking = self.course.walking();
        let metres = walking.distance_m(0.0..1.0).filter(|_| walking.has_metres());
        metres.is_some_and(|metres| metres < WALK_OR_JOG_M_PER_S.start * walking.duration_s())
    }

    /// Seconds of all runs that last long enough to be one.
    fn run_s(&self) -> f64 {
        let runs = (0..self.course.len()).map(|run| self.course.run_span(run).len_s());
        runs.filter(|run_s| *run_s >= SHORTEST_RUN_S).sum()
    }

    fn cannot_tell_how_much(&self, laid: &[Laid]) -> Reading {
        let seen: usize = laid.iter().map(|laid| laid.reps.len()).sum();
        let text = wording::more_may_have_been_run(seen, self.demand.reps.len());
        let confidence = 1.0 - self.observed.confidence;
        let event = self.event(EventKind::CannotSay, self.edges.span.clone(), confidence, text);
        Reading { events: vec![event], ..Reading::default() }
    }

    fn tell_extras(&self, alignment: &Alignment, events: &mut Vec<Event>) {
        for step in &alignment.steps {
            let Step::Extra(run) = step else { continue };
            let span = self.course.run_span(*run);
            let run_s = span.len_s();
            if run_s >= SHORTEST_RUN_S {
                let confidence = self.confidence(*run..run + 1);
                events.push(Event {
                    done_s: Some(run_s),
                    ..self.event(EventKind::RepExtra, span, confidence, wording::rep_extra(run_s))
                });
            }
        }
    }

    /// Nothing was run that a rep could have asked for.
    fn tell_no_run(&self, events: &mut Vec<Event>) -> Option<Inside> {
        let span = self.edges.span.clone();
        let reps = 0..self.reps_within(span.len_s());
        let (mut hidden, mut one_by_one) = (Vec::new(), Vec::new());
        self.tell_walked(&reps, span.clone(), true, &mut hidden, &mut one_by_one);
        if !hidden.is_empty() {
            events.extend(one_by_one);
            return Some(Inside { hidden, ..Inside::of(reps) });
        }
        let outer_s = |walk: &Option<crate::adherence::demand::Walk>| {
            walk.as_ref().map_or(0.0, |walk| walk.whole.planned_s)
        };
        let outer_s = outer_s(&self.demand.before).max(outer_s(&self.demand.after));
        // In a recording that ends soon after its warm-up the first rep may hide.
        let doubted_s = match self.observed.confidence < SURE_OF_NONE {
            true => {
                self.demand.reps[0].planned_s
                    + self.demand.walks.first().map_or(0.0, |walk| walk.whole.planned_s)
            }
            false => 0.0,
        };
        let enough_s = outer_s + self.settings.edges_s + BEYOND_OUTER_WALKS_S + doubted_s;
        if !self.observed.breaks_off && span.len_s() >= enough_s {
            let text = wording::walked_through(self.run_s());
            events.push(self.event(EventKind::WalkedThrough, span, self.observed.confidence, text));
            return None;
        }
        let text = wording::nothing_seen(self.what_counts(), self.demand.reps.len(), span.len_s());
        events.push(self.event(EventKind::CannotSay, span, AS_LIKELY_AS_NOT, text));
        Some(Inside::of(0..0))
    }

    /// How many reps would have begun within so many seconds, were all as planned.
    fn reps_within(&self, seconds: f64) -> usize {
        let mut begins_s = self.demand.before.as_ref().map_or(0.0, |walk| walk.whole.planned_s);
        let begins_within = |rep: &usize| {
            let within = begins_s < seconds;
            let walk_s = self.demand.walks.get(*rep).map_or(0.0, |walk| walk.whole.planned_s);
            begins_s += self.demand.reps[*rep].planned_s + walk_s;
            within
        };
        (0..self.demand.reps.len()).take_while(begins_within).count()
    }

    /// A rep at an edge of the recording that is as short as the others were is short, and not cut by the edge.
    fn settle_edges(&self, laid: &mut [Laid]) {
        let share = |laid: &Laid| {
            let rep = &self.demand.reps[laid.reps.start];
            self.course.run(laid.runs.clone()).by(rep.unit) / rep.planned_s
        };
        let mut others: Vec<f64> = laid
            .iter()
            .filter(|laid| laid.reps.len() == 1 && !laid.begins_inside && !laid.ends_inside)
            .map(share)
            .collect();
        others.sort_by(f64::total_cmp);
        let Some(&usual) = others.get(others.len() / 2) else { return };
        let (first, last) = (0, self.demand.reps.len());
        for laid in laid {
            let is_like_others = usual < 1.0 - TOLD_SHARE && share(laid) >= LIKE_OTHERS_SHARE * usual;
            laid.begins_inside &= !(is_like_others && laid.reps.start == first);
            laid.ends_inside &= !(is_like_others && laid.reps.end == last);
        }
    }

    /// Tells what was run of the plan; returns whether a rep was not run in full.
    fn tell_laid(&self, laid: &[Laid], hidden: &mut Vec<Hidden>, events: &mut Vec<Event>) -> bool {
        // Walk, rep, walk, rep …: those that have a length of their own.
        let mut lengths: Vec<Option<Measured<'_>>> = Vec::with_capacity(2 * laid.len());
        for (index, here) in laid.iter().enumerate() {
            let follows = index > 0 && !here.follows_other;
            lengths.push(follows.then(|| self.walk(&laid[index - 1], here)));
            let is_whole = here.reps.len() == 1 && !here.begins_inside && !here.ends_inside;
            lengths.push(is_whole.then(|| self.rep(here)));
            if here.reps.len() > 1 {
                self.tell_joined(here, events);
            }
        }
        let mut rep_lacking = false;
        for (index, here) in lengths.iter().enumerate() {
            let Some(here) = here else { continue };
            let beside = [index.checked_sub(1), Some(index + 1)]
                .map(|at| at.and_then(|at| lengths.get(at)?.as_ref()).map(Measured::off_s));
            let beyond_s = self.off_beyond_doubt_s(here, beside);
            // What the recording does not show of a rep is no less for being little.
            if here.kind() == EventKind::RepShort && self.has_hole(&here.span) {
                if -here.off_s() > self.settings.rep_tolerance_s(here.part.planned_s) {
                    hidden.push(Hidden { rep: here.number - 1, seen_s: here.by_plan_s });
                    events.push(self.in_hole(here.number - 1, here.by_time_s, here.span.clone()));
                }
                continue;
            }
            rep_lacking |= here.kind() == EventKind::RepShort && beyond_s > here.limit_s.min(LACKING_S);
            // In a hole as long as it is too long by, the rest of a rep may lie, and its last seconds after the hole do not show.
            let hole_s = self.unseen_s(&here.span);
            let may_be_run =
                here.kind() == EventKind::WalkLong && hole_s > 0.0 && here.off_s() <= hole_s + SHORTEST_RUN_S;
            if beyond_s > here.limit_s && !may_be_run {
                events.push(self.off_length(here));
            }
        }
        rep_lacking
    }

    fn rep(&self, laid: &Laid) -> Measured<'_> {
        let part = &self.demand.reps[laid.reps.start];
        // As it is credited: what was rested in it beyond what is free is lost, but no more than leaves its longest piece.
        let credited = self.course.laid(laid.runs.clone());
        let longest = |unit: Unit| {
            let pieces = laid.runs.clone().map(|run| self.course.run(run..run + 1).by(unit));
            pieces.fold(credited.by(unit), f64::max)
        };
        let span = self.runs_span(&laid.runs);
        let run_s = self.course.run(laid.runs.clone()).by_time_s;
        let is_broken = self.course.lost_s(laid.runs.clone()) > 0.0;
        Measured {
            part,
            by_plan_s: longest(part.unit),
            by_time_s: longest(Unit::Time),
            limit_s: self.settings.rep_tolerance_s(part.planned_s).max(TOLD_SHARE * part.planned_s),
            gait: Gait::Run,
            number: laid.reps.end,
            confidence: self.confidence_with_rest(laid.runs.clone(), &self.beside(&span)),
            pieces: is_broken.then(|| Pieces { run_s, rest_s: span.len_s() - run_s }),
            span,
        }
    }

    fn walk(&self, before: &Laid, after: &Laid) -> Measured<'_> {
        let part = &self.demand.walks[before.reps.end - 1].whole;
        let rest = self.course.rest(before.runs.end - 1, after.runs.start);
        let span = self.run_span_end(&before.runs)..self.course.run_span(after.runs.start).start;
        Measured {
            part,
            by_plan_s: rest.by(part.unit),
            by_time_s: rest.by_time_s,
            limit_s: self.settings.walk_tolerance_s(part.planned_s).max(TOLD_SHARE * part.planned_s),
            gait: Gait::Walk,
            number: before.reps.end,
            confidence: self.confidence_with_rest(before.runs.end - 1..after.runs.start + 1, &span),
            pieces: None,
            span,
        }
    }

    /// By how many seconds a part is off its plan beyond what doubt explains; `beside` is how much the parts before and after it
    /// are off theirs, where they have a length of their own.
    fn off_beyond_doubt_s(&self, here: &Measured<'_>, beside: [Option<f64>; 2]) -> f64 {
        let off_s = here.off_s();
        let own_doubt = if here.kind() == EventKind::RepShort { 0.0 } else { 1.0 - here.confidence };
        let doubt = 1.0 - self.observed.confidence + own_doubt;
        let unseen = beside.iter().filter(|other| other.is_none()).count() as f64;
        let explained_s = match self.observed.confidence < SURE_OF_BOUNDARIES {
            true => beside.iter().flatten().map(|other_s| -other_s * off_s.signum()).fold(0.0, f64::max),
            false => 0.0,
        };
        off_s.abs() - explained_s - (OFF_IN_DOUBT_S + OFF_UNSEEN_S * unseen) * doubt
    }

    /// A part that is off its plan.
    fn off_length(&self, here: &Measured<'_>) -> Event {
        let (kind, planned_s) = (here.kind(), Self::seconds(here.part));
        let text = match here.pieces.as_ref().filter(|_| kind == EventKind::RepShort) {
            Some(Pieces { run_s, rest_s }) => {
                wording::in_pieces(here.number, planned_s, (*run_s, *rest_s), here.by_time_s)
            }
            None => wording::lasted(kind, here.number, planned_s, here.by_time_s),
        };
        Event {
            part: Some(here.gait),
            number: Some(here.number),
            planned_s,
            done_s: Some(here.by_time_s),
            ..self.event(kind, here.span.clone(), here.confidence, text)
        }
    }

    fn tell_joined(&self, laid: &Laid, events: &mut Vec<Event>) {
        let span = self.runs_span(&laid.runs);
        let confidence = self.confidence(laid.runs.clone());
        let done_s = self.course.run(laid.runs.clone()).by_time_s;
        let (reps, walks) = (&self.demand.reps[laid.reps.clone()], laid.reps.start..laid.reps.end - 1);
        let walks_s = self.demand.walks[walks.clone()].iter().map(|walk| Self::seconds(&walk.whole));
        if laid.reps == (0..self.demand.reps.len()) {
            let planned_s: Option<f64> = reps.iter().map(Self::seconds).chain(walks_s).sum();
            let text = wording::ran_through(done_s);
            events.push(Event {
                planned_s,
                done_s: Some(done_s),
                ..self.event(EventKind::RanThrough, span, confidence, text)
            });
            return;
        }
        // Where in the run the walks would have been, were all parts as long as planned, drawn out or in alike.
        let asked_s = |upto: usize| -> f64 {
            let reps = self.demand.reps[laid.reps.start..upto].iter().map(|rep| rep.planned_s);
            let walks = self.demand.walks[laid.reps.start..upto - 1].iter().map(|walk| walk.whole.planned_s);
            reps.sum::<f64>() + walks.sum::<f64>()
        };
        let scale = span.len_s() / asked_s(laid.reps.end);
        for (walk, planned_s) in walks.zip(walks_s) {
            let at_s = span.start + scale * asked_s(walk + 1);
            let to_s = at_s + scale * self.demand.walks[walk].whole.planned_s;
            let (kind, text, done_s) = match confidence < SURE_OF_JOINED {
                true => (EventKind::CannotSay, wording::may_be_joined(walk + 1), None),
                false => (EventKind::RepsJoined, wording::reps_joined(walk + 1), Some(0.0)),
            };
            events.push(Event {
                part: Some(Gait::Walk),
                number: Some(walk + 1),
                planned_s,
                done_s,
                ..self.event(kind, at_s..to_s, confidence, text)
            });
        }
    }

    /// Tells reps of which nothing was run, and the edges of the recording; returns what lies inside them.
    fn tell_missing(
        &self,
        alignment: &Alignment,
        laid: &[Laid],
        mut hidden: Vec<Hidden>,
        events: &mut Vec<Event>,
    ) -> Option<Inside> {
        let planned = self.demand.reps.len();
        let seen: usize = laid.iter().map(|laid| laid.reps.len()).sum();
        let mut inside = Inside::of(0..planned);
        let (mut left_out, mut left_out_at) = (0, self.edges.span.clone());
        let mut last: Option<&Laid> = None;
        let mut following = laid.iter();
        for step in &alignment.steps {
            match step {
                Step::Laid { .. } => last = following.next(),
                Step::Extra(_) => {}
                Step::Missing { reps, why } => {
                    let next = following.clone().next();
                    let from_s = last.map_or(self.edges.span.start, |laid| self.run_span_end(&laid.runs));
                    let until_s =
                        next.map_or(self.edges.span.end, |laid| self.course.run_span(laid.runs.start).start);
                    match why {
                        Missing::Walked => {
                            self.tell_walked(reps, from_s..until_s, last.is_none(), &mut hidden, events);
                        }
                        Missing::LeftOut => {
                            let unseen = self.tell_unseen(reps, &(from_s..until_s), &mut hidden, events);
                            left_out += reps.len() - unseen;
                            left_out_at = from_s..until_s;
                        }
                        Missing::Stopped => {
                            let Some(last) = last else { continue };
                            let unseen = self.tell_unseen(reps, &(from_s..until_s), &mut hidden, events);
                            if unseen < reps.len() {
                                events.push(self.stopped(last, seen, planned - unseen));
                            }
                        }
                        Missing::Before => inside.reps.start = reps.end,
                        Missing::After => inside.reps.end = reps.start,
                    }
                }
            }
        }
        if left_out > 0 {
            let planned_s: Option<f64> = None;
            events.push(Event {
                number: Some(left_out),
                planned_s,
                done_s: Some(0.0),
                part: Some(Gait::Run),
                ..self.event(
                    EventKind::RepLeftOut,
                    left_out_at.clone(),
                    self.confidence_with_rest(0..self.course.len(), &left_out_at),
                    wording::rep_left_out(left_out, planned),
                )
            });
        }
        self.tell_edges(alignment, laid, &mut inside, events);
        hidden.sort_by_key(|hidden| hidden.rep);
        inside.hidden = hidden;
        if self.course.len() > 0 && self.course.hole_s(0..self.course.len()) > 0.0 {
            inside.holes = self.observed.unseen.to_vec();
        }
        (!inside.is_all(planned)).then_some(inside)
    }

    /// Tells which of the reps that are missing in a stretch the holes of the recording there may hide, from the first on; returns
    /// how many.
    fn tell_unseen(
        &self,
        reps: &Range<usize>,
        stretch: &Range<f64>,
        hidden: &mut Vec<Hidden>,
        events: &mut Vec<Event>,
    ) -> usize {
        let mut left_s = self.unseen_s(stretch);
        let may_hide = |rep: &usize| {
            let planned_s = self.demand.reps[*rep].planned_s;
            let hides = left_s >= HIDDEN_SHARE * planned_s;
            left_s -= planned_s;
            hides
        };
        let unseen: Vec<usize> = reps.clone().take_while(may_hide).collect();
        for rep in &unseen {
            hidden.push(Hidden { rep: *rep, seen_s: 0.0 });
            events.push(self.in_hole(*rep, 0.0, stretch.clone()));
        }
        unseen.len()
    }

    /// Seconds of a stretch in which the person came on or nobody can tell, and nothing was recorded of how.
    fn unseen_s(&self, stretch: &Range<f64>) -> f64 {
        overlap_s(self.observed.unseen, stretch)
    }

    /// Whether the recording has such a hole in a run or beside it.
    fn has_hole(&self, span: &Range<f64>) -> bool {
        self.unseen_s(&self.beside(span)) > 0.0
    }

    /// A rep of which the recording does not show what became of it.
    fn in_hole(&self, rep: usize, seen_s: f64, span: Range<f64>) -> Event {
        let part = &self.demand.reps[rep];
        Event {
            part: Some(Gait::Run),
            number: Some(rep + 1),
            planned_s: Self::seconds(part),
            done_s: (seen_s > 0.0).then_some(seen_s),
            ..self.event(EventKind::CannotSay, span, AS_LIKELY_AS_NOT, wording::in_hole(rep + 1, seen_s))
        }
    }

    fn tell_walked(
        &self,
        reps: &Range<usize>,
        rest: Range<f64>,
        is_first: bool,
        hidden: &mut Vec<Hidden>,
        events: &mut Vec<Event>,
    ) {
        // Where in the rest the reps would have been: the walk before them is as long as planned.
        let before = match (is_first, reps.start) {
            (true, _) => self.demand.before.as_ref(),
            (false, start) => self.demand.walks.get(start - 1),
        };
        let mut at_s = rest.start + before.map_or(0.0, |walk| walk.whole.planned_s);
        // Before the first run nothing but the length of a walk tells it, in which the first runs may hide.
        let confidence = match is_first {
            true => self.observed.confidence,
            false => self.confidence_with_rest(0..self.course.len(), &rest),
        };
        for rep in reps.clone() {
            let part = &self.demand.reps[rep];
            let to_s = at_s + part.planned_s;
            let span = at_s.min(rest.end)..to_s.min(rest.end);
            if self.unseen_s(&span) > 0.0 && self.unseen_s(&span) >= HIDDEN_SHARE * span.len_s() {
                hidden.push(Hidden { rep, seen_s: 0.0 });
                events.push(self.in_hole(rep, 0.0, span));
            } else {
                events.push(Event {
                    part: Some(Gait::Run),
                    number: Some(rep + 1),
                    planned_s: Self::seconds(part),
                    done_s: Some(0.0),
                    ..self.event(EventKind::RepWalked, span, confidence, wording::rep_walked(rep + 1))
                });
            }
            at_s = to_s + self.demand.walks.get(rep).map_or(0.0, |walk| walk.whole.planned_s);
        }
    }

    fn stopped(&self, last: &Laid, seen: usize, planned: usize) -> Event {
        let planned_s: Option<f64> = self.demand.reps.iter().map(Self::seconds).sum();
        let span = self.run_span_end(&last.runs)..self.edges.span.end;
        Event {
            part: Some(Gait::Run),
            number: Some(last.reps.end),
            planned_s,
            done_s: Some(self.course.run(0..self.course.len()).by_time_s),
            ..self.event(
                EventKind::StoppedAfter,
                span.clone(),
                self.confidence_with_rest(last.runs.clone(), &span),
                wording::stopped_after(seen, planned),
            )
        }
    }

    /// Tells where in the plan the recording begins and ends, as far as its edges show it.
    fn tell_edges(&self, alignment: &Alignment, laid: &[Laid], inside: &mut Inside, events: &mut Vec<Event>) {
        let (Some(first), Some(last)) = (laid.first(), laid.last()) else { return };
        let planned = self.demand.reps.len();
        let seen: usize = laid.iter().map(|laid| laid.reps.len()).sum();
        let span = self.edges.span.clone();
        // With both edges in the main part nothing but the lengths of the reps tells which ones were seen.
        let begins_late = first.begins_inside || inside.reps.start > 0;
        let ends_early = last.ends_inside || inside.reps.end < planned;
        let shifted = begins_late && ends_early && self.reps_are_alike();
        let edge = |kind, part, number: usize, at_s: f64, seen_s| Event {
            part: Some(part),
            number: (!shifted).then_some(number),
            done_s: Some(seen_s),
            ..self.event(
                kind,
                at_s..at_s,
                self.observed.confidence,
                wording::recording_edge(kind, self.what_counts(), part, (!shifted).then_some(number), seen_s),
            )
        };
        let hidden = |text, edge| Event { confidence: AS_LIKELY_AS_NOT, text, ..edge };
        let first_walk_s = self.course.rest_before_s(0);
        if first.begins_inside {
            let (number, seen_s) = (first.reps.start + 1, self.course.run(first.runs.clone()).by_time_s);
            inside.reps.start = first.reps.start;
            inside.first_s = Some(self.seen(first));
            events.push(edge(EventKind::RecordingLate, Gait::Run, number, span.start, seen_s));
        } else if let Some(hidden_s) = self.hidden_end_s(inside.reps.start).filter(|_| alignment.open_start) {
            let number = inside.reps.start;
            let text = wording::late_in_hidden(self.what_counts(), number, hidden_s);
            events
                .push(hidden(text, edge(EventKind::RecordingLate, Gait::Run, number, span.start, hidden_s)));
        } else if inside.reps.start > 0 && alignment.open_start {
            let text = wording::late_or_not_run(self.what_counts(), seen, planned, first_walk_s);
            events.push(self.event(EventKind::CannotSay, span.start..span.start, AS_LIKELY_AS_NOT, text));
        } else if inside.reps.start > 0 {
            let number = inside.reps.start;
            events.push(edge(EventKind::RecordingLate, Gait::Walk, number, span.start, first_walk_s));
        }
        let seen_after_s = self.edges.seen_after_s(self.course, last.runs.end - 1);
        if last.ends_inside {
            let (number, seen_s) = (last.reps.end, self.course.run(last.runs.clone()).by_time_s);
            inside.reps.end = last.reps.end;
            inside.last_s = Some(self.seen(last));
            events.push(edge(EventKind::RecordingCut, Gait::Run, number, span.end, seen_s));
        } else if let Some(hidden_s) =
            self.hidden_begin_s(inside.reps.end).filter(|_| inside.reps.end < planned)
        {
            let number = inside.reps.end + 1;
            let text = wording::cut_in_hidden(self.what_counts(), number, hidden_s);
            events.push(hidden(text, edge(EventKind::RecordingCut, Gait::Run, number, span.end, hidden_s)));
        } else if inside.reps.end < planned && seen_after_s >= SEEN_AFTER_S && !self.observed.breaks_off {
            let text = wording::cut_or_stopped(self.what_counts(), seen, planned, seen_after_s);
            events.push(self.event(EventKind::CannotSay, span.end..span.end, AS_LIKELY_AS_NOT, text));
        } else if inside.reps.end < planned {
            let number = inside.reps.end;
            events.push(edge(EventKind::RecordingCut, Gait::Walk, number, span.end, seen_after_s));
        }
    }

    fn what_counts(&self) -> &'static str {
        wording::what_counts(self.observed.is_part)
    }

    /// Seconds of a rep whose end the first walk of the recording may hide, where `missing` reps are not seen before it: as much
    /// longer it is than the walk after that rep was to be.
    fn hidden_end_s(&self, missing: usize) -> Option<f64> {
        let walk = &self.demand.walks.get(missing.checked_sub(1)?)?.whole;
        let first = self.edges.span.start..self.course.run_span(0).start;
        let longer_s = self.course.rest_before_s(0) - walk.planned_s;
        self.may_hide(longer_s, missing - 1, &first).then_some(longer_s)
    }

    /// The same of the begin of a rep in the last walk, where reps from `seen` on are not seen after it.
    fn hidden_begin_s(&self, seen: usize) -> Option<f64> {
        let walk = &self.demand.walks.get(seen.checked_sub(1)?)?.whole;
        let last = self.course.run_span(self.course.len() - 1).end..self.edges.span.end;
        let longer_s = last.len_s() - walk.planned_s;
        self.may_hide(longer_s, seen, &last).then_some(longer_s)
    }

    /// Whether so much of a rep may hide in a walk.
    fn may_hide(&self, hidden_s: f64, rep: usize, walk: &Range<f64>) -> bool {
        HIDDEN_RUN_S.contains(&hidden_s)
            && self.demand.reps.get(rep).is_some_and(|rep| hidden_s <= rep.planned_s)
            && self.course.rest_confidence(walk) < SURE_OF_OUTER_WALK
    }

    /// Whether all reps are as long, as far as boundaries tell.
    fn reps_are_alike(&self) -> bool {
        let first_s = self.demand.reps[0].planned_s;
        self.demand.reps.iter().all(|rep| (rep.planned_s - first_s).abs() <= self.settings.edges_s)
    }

    /// What was run of a rep, by its unit.
    fn seen(&self, laid: &Laid) -> f64 {
        self.course.run(laid.runs.clone()).by(self.demand.reps[laid.reps.start].unit)
    }

    fn recorded_pct(&self, inside: Option<&Inside>) -> f64 {
        let Some(inside) = inside else { return 100.0 };
        let reps = self.demand.inside(inside).reps;
        let inside_s: f64 = reps.iter().map(|rep| rep.planned_s).sum();
        100.0 * inside_s / self.demand.run_s()
    }

    /// A stretch with a second to each side.
    fn beside(&self, span: &Range<f64>) -> Range<f64> {
        span.start - BESIDE_S..span.end + BESIDE_S
    }

    fn runs_span(&self, runs: &Range<usize>) -> Range<f64> {
        self.course.run_span(runs.start).start..self.run_span_end(runs)
    }

    fn run_span_end(&self, runs: &Range<usize>) -> f64 {
        self.course.run_span(runs.end - 1).end
    }
}

/// A rep or walk and how long it was.
struct Measured<'a> {
    part: &'a Part,
    /// Seconds by the unit of the plan, and by the clock.
    by_plan_s: f64,
    by_time_s: f64,
    /// How far it may be off.
    limit_s: f64,
    gait: Gait,
    number: usize,
    span: Range<f64>,
    confidence: f64,
    /// Of a rep with more rest inside it than is free.
    pieces: Option<Pieces>,
}

/// A rep that was run in pieces.
struct Pieces {
    run_s: f64,
    rest_s: f64,
}

impl Measured<'_> {
    /// What it would be told as.
    fn kind(&self) -> EventKind {
        match (self.gait, self.off_s() > 0.0) {
            (Gait::Run, false) => EventKind::RepShort,
            (Gait::Run, true) => EventKind::RepLong,
            (Gait::Walk, false) => EventKind::WalkShort,
            (Gait::Walk, true) => EventKind::WalkLong,
        }
    }

    /// How much longer it was than planned, in seconds; below 0 shorter.
    fn off_s(&self) -> f64 {
        self.by_plan_s - self.part.planned_s
    }
}

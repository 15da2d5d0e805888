//! The search for the likeliest laying, recording by recording.

use std::cmp::Ordering;
use std::collections::hash_map::Entry;
use std::hash::{Hash, Hasher};
use std::ops::Range;

use chrono::NaiveDate;
use rustc_hash::FxHashMap;

use super::chances::Chances;
use super::grid::Grid;
use super::most::Most;
use super::step::Step;
use super::{Laid, Laying};
use crate::{Likeness, SessionId};

/// A story that is so much less likely than the best one (as a natural logarithm) is not followed any further. Own
/// choice: a whole session done as asked brings less.
const BEHIND: f64 = 40.0;
/// Most stories that are followed at a time. Own choice: of 200 tuning seasons half as many lay 3 of 12,604 recordings elsewhere than
/// they were, and of those told the true bouts 17 more (`seasons tuning 200`).
const STORIES: usize = 64;
/// Stories are first sought no further behind the best than the last that was followed after the recording before, and this much
/// (natural logarithm); where that leaves too few, all are. It decides how often they are sought twice, and nothing else. Own choice.
const SPREADS_MORE: f64 = 2.0;
/// What rounding may make of points.
pub(super) const ROUNDING: f64 = 1e-9;
/// Sessions left out one after the other that are always thought of, whatever the days say. Own choice.
const LEFT_OUT: usize = 3;
/// The same of sessions whose day lies so many planned days beside. Own choice.
const BESIDE: i32 = 2;
/// The chance of a step from which a walk may be a session that was walked, in an own rhythm. Own choice.
const USUAL_STEP: f64 = 0.25;
/// The chance of a step longer than any that is told apart. Own choice.
const LONG_STEP: f64 = 0.002;
/// Share of those who went back a block who then do the block that they left from its start. Own choice.
const FROM_ITS_START: f64 = 0.3;
/// Share of those who were to go back a block who do. Own choice.
const FOLLOWS_EASE: f64 = 0.3;
/// Share of the words after which it goes on with the next session, whatever the plan's days say, and not with one further on:
/// of two that ask for the same the next one is likelier. Own choice.
const GOES_ON: f64 = 0.6;
/// Share of the sessions on hold that are the newest one again and not the next of the block. Own choice.
pub(super) const DONE_AGAIN_ON_HOLD: f64 = 0.3;
/// A place told by hand that no other story has: so much less likely than one that it may stand in (natural logarithm).
pub(super) const AGAINST_THE_ORDER: f64 = -20.0;
/// No step before the first.
const NONE: u32 = u32::MAX;

/// What a coach said that changes a plan's days.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Word {
    /// The plan waits until what comes next is done.
    Hold,
    /// Back a block.
    Ease,
    /// On; what was left out before is not missed.
    Advance,
    /// Nothing falls due until the next word.
    Stop,
    /// An absence has ended in which the plan may have waited.
    Back,
}

/// Where a recording lies in a story.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Spot {
    /// On a session, by its place in the plan.
    Session(usize),
    /// On no session, though it is what another block asks for; by the number of what is asked.
    Other(usize),
}

/// Which days are a plan's for an athlete.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Calendar {
    /// The planned ones, so many days late, after the plan waited on so many planned days.
    Plan { late: i32, waited: i32 },
    /// Those of the athlete's own rhythm.
    Own,
}

/// All that matters of a story for what comes next.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
struct Place {
    /// The session that comes next.
    passed: usize,
    calendar: Calendar,
    /// Day of the newest session; where it does not matter more exactly, two days ago.
    newest: Option<i32>,
    /// Whether the newest session was only walked.
    walked: bool,
    /// After going back a block: the session that would have come next.
    resume: Option<usize>,
    /// A word of the coach, or an absence, since the newest session that came next.
    pending: Option<Word>,
}

/// Of what tells most places apart, in two words.
impl Hash for Place {
    fn hash<H: Hasher>(&self, state: &mut H) {
        let (late, waited) = match self.calendar {
            Calendar::Plan { late, waited } => (late, waited),
            Calendar::Own => (-1, -1),
        };
        let both = |a: i32, b: i32| u64::from(a as u32) << 32 | u64::from(b as u32);
        state.write_u64(both(self.passed as i32, late));
        state.write_u64(both(self.newest.unwrap_or(i32::MIN), waited));
    }
}

#[derive(Clone, Copy)]
struct Story {
    place: Place,
    points: f64,
    /// Points with the sessions due by now that nobody attended.
    value: f64,
    /// The newest recording that has a spot, in the table of steps.
    step: u32,
    spot: Option<Spot>,
}

#[derive(Clone, Copy)]
struct Told {
    before: u32,
    recording: usize,
    spot: Spot,
}

/// What a plan asks for, and when recordings were made.
pub(super) struct Ground<'a> {
    pub(super) sessions: &'a [SessionId],
    /// For each session what is asked, by number.
    pub(super) kinds: &'a [usize],
    pub(super) planned: Vec<Option<NaiveDate>>,
    pub(super) grid: Grid,
    /// Days of the recordings.
    pub(super) days: Vec<i32>,
    pub(super) likenesses: &'a [Vec<Likeness>],
    pub(super) chances: Chances,
    pub(super) known_start: bool,
    /// Words by day.
    pub(super) words: Vec<(i32, Word)>,
    /// First and last days of times in which nothing falls due, in order and apart.
    pub(super) free: Vec<(i32, i32)>,
    /// For each session whether it was done without a recording, as the coach says.
    pub(super) done: Vec<bool>,
    /// Whether any was.
    pub(super) any_done: bool,
    /// Points of so many sessions that were missed.
    pub(super) missed: Vec<f64>,
    /// For each recording whether the sessions before it call for going back a block.
    pub(super) ease_called: Vec<bool>,
    /// For each recording whether its place was told by hand.
    pub(super) by_hand: Vec<bool>,
    /// Places of the first session of each block and of the one after its last.
    pub(super) blocks: &'a [(usize, usize)],
    pub(super) candidates: &'a [Candidates],
}

/// What a recording may be.
pub(super) struct Candidates {
    /// Blocks that it may be a session of, in order, each with its largest log odds.
    blocks: Vec<(usize, f64)>,
    /// The blocks whose work it is most like, at most three, the likeliest first: block, number of what is asked, log odds.
    others: Vec<(usize, usize, f64)>,
}

impl Candidates {
    /// `kinds` are the numbers of what each block asks for.
    pub(super) fn new(kinds: &[Vec<usize>], likenesses: &[Likeness]) -> Self {
        let most =
            |kinds: &Vec<usize>| kinds.iter().map(|kind| likenesses[*kind].log_odds).fold(f64::MIN, f64::max);
        // What could never make up for being left off is not looked at.
        let blocks = kinds.iter().map(most).enumerate().filter(|(_, most)| *most >= -BEHIND).collect();
        let mut others: Vec<(usize, usize, f64)> = (kinds.iter().enumerate())
            .filter_map(|(block, kinds)| {
                let run = kinds.iter().filter(|kind| !likenesses[**kind].walked);
                let odds = |kind: &usize| likenesses[*kind].log_odds;
                let best =
                    run.copied().reduce(|best, kind| if odds(&kind) > odds(&best) { kind } else { best })?;
                Some((block, best, odds(&best)))
            })
            .collect();
        others.sort_by(|a, b| descending(a.2, b.2));
        others.truncate(3);
        Self { blocks, others }
    }
}

impl Ground<'_> {
    fn likeness(&self, recording: usize, session: usize) -> Likeness {
        self.likenesses[recording][self.kinds[session]]
    }

    /// What stories come to at most after some recordings more.
    pub(super) fn most_after(&self, most: Most, recordings: Range<usize>, all_dated: bool) -> Most {
        recordings.fold(most, |most, at| most.after(&self.likenesses[at], &self.chances, all_dated))
    }

    /// Whether each session has a day.
    pub(super) fn all_dated(&self) -> bool {
        self.grid.dated() == self.sessions.len()
    }

    fn block(&self, session: usize) -> usize {
        self.sessions[session].block
    }

    /// First session of the block that a session belongs to.
    fn first_of_block(&self, session: usize) -> usize {
        session + 1 - self.sessions[session].number as usize
    }

    fn due(&self, session: usize, late: i32, waited: i32) -> i32 {
        self.grid.at(session as i32 + waited) + late
    }

    /// Whether nobody wonders that a session was not done on its day.
    fn is_free(&self, session: usize, day: i32) -> bool {
        let before = self.free.partition_point(|(from, _)| *from <= day);
        self.done[session] || before.checked_sub(1).is_some_and(|at| day <= self.free[at].1)
    }

    /// How many sessions of a range fall on days that `early` holds for, in a calendar; it holds up to some day.
    fn how_many(&self, sessions: Range<usize>, late: i32, waited: i32, early: impl Fn(i32) -> bool) -> usize {
        let (mut begin, mut end) = (sessions.start, sessions.end.max(sessions.start));
        while begin < end {
            let middle = begin.midpoint(end);
            if early(self.due(middle, late, waited)) { begin = middle + 1 } else { end = middle }
        }
        begin - sessions.start
    }

    /// How many sessions of a range nobody wonders about, in a calendar.
    fn free_among(&self, sessions: Range<usize>, late: i32, waited: i32) -> usize {
        if self.any_done {
            let is_free = |session: &usize| self.is_free(*session, self.due(*session, late, waited));
            return sessions.filter(is_free).count();
        }
        if self.free.is_empty() {
            return 0;
        }
        let within = |(from, to): &(i32, i32)| {
            let up_to = self.how_many(sessions.clone(), late, waited, |day| day <= *to);
            up_to - self.how_many(sessions.clone(), late, waited, |day| day < *from)
        };
        self.free.iter().map(within).sum()
    }

    /// How many sessions of a range were done without a recording.
    fn done_among(&self, sessions: Range<usize>) -> usize {
        if !self.any_done {
            return 0;
        }
        sessions.filter(|session| self.done[*session]).count()
    }

    /// Whether a recording of a day may be a session that was done without one, as the coach says, for the first time: it
    /// turned up after all where this is the day that the plan gives the session. Which day the first one has, only a known
    /// start tells.
    fn turned_up(&self, session: usize, day: i32) -> bool {
        self.grid.is_dated(session)
            && self.grid.at(session as i32) == day
            && (self.known_start || session > 0)
    }

    /// Points of the sessions that were left out, in a calendar.
    fn left_out(&self, sessions: Range<usize>, calendar: Calendar) -> f64 {
        // Mostly all have a day, and nobody wonders about none.
        if sessions.end <= self.grid.dated() && !self.any_done && self.free.is_empty() {
            return self.missed[sessions.len()];
        }
        let dated = sessions.start..sessions.end.min(self.grid.dated()).max(sessions.start);
        let undated = dated.end..sessions.end.max(dated.end);
        let undated = undated.len() - self.done_among(undated);
        let free = match calendar {
            Calendar::Plan { late, waited } => self.free_among(dated.clone(), late, waited),
            Calendar::Own => self.done_among(dated.clone()),
        };
        (0..undated).fold(self.missed[dated.len() - free], |points, _| points + self.chances.skipped)
    }

    /// The newest word of the days before a recording's day, from the day of the recording before it on.
    fn word_before(&self, recording: usize) -> Option<Word> {
        let day = self.days[recording];
        let since = recording.checked_sub(1).map_or(i32::MIN, |before| self.days[before]);
        let newest = self.words.partition_point(|(said, _)| *said < day).checked_sub(1)?;
        let (said, word) = self.words[newest];
        (said >= since).then_some(word)
    }

    /// The calendars in which a session falls on a day, whose last planned day has a place: later by days, or by planned
    /// days.
    fn anchored(
        &self,
        session: usize,
        day: i32,
        place: i32,
        waited: i32,
    ) -> impl Iterator<Item = Calendar> + use<> {
        let by_days = Calendar::Plan { late: day - self.due(session, 0, waited), waited };
        let by_planned = Calendar::Plan { late: day - self.grid.at(place), waited: place - session as i32 };
        let longest = self.chances.longest_delay_days;
        let all = day - self.grid.at(session as i32);
        let may_be = move |calendar: &Calendar| {
            matches!(calendar, Calendar::Plan { late, waited } if *late >= 0 && *waited >= 0)
                && all <= longest
        };
        let other = (by_planned != by_days).then_some(by_planned);
        [Some(by_days), other].into_iter().flatten().filter(may_be)
    }
}

/// A recording, and what is known when it is laid.
#[derive(Clone, Copy)]
struct Offers<'a> {
    ground: &'a Ground<'a>,
    recording: usize,
    day: i32,
    /// Place of the last planned day up to that day.
    planned: i32,
    step: &'a Step,
    /// The only place that it may have, where there is one.
    only: Option<Option<Spot>>,
}

/// The stories that are followed.
#[derive(Clone)]
pub(super) struct Search {
    stories: Vec<Story>,
    /// How far the last of as many stories as are followed was behind the best.
    spread: f64,
    told: Vec<Told>,
    next: Vec<Story>,
    /// Where the story of a place stands in `next`.
    next_at: FxHashMap<Place, usize>,
}

impl Search {
    pub(super) fn new() -> Self {
        let calendar = Calendar::Plan { late: 0, waited: 0 };
        let place = Place { passed: 0, calendar, newest: None, walked: false, resume: None, pending: None };
        let story = Story { place, points: 0.0, value: 0.0, step: NONE, spot: None };
        Self {
            stories: vec![story],
            spread: BEHIND,
            told: Vec::new(),
            next: Vec::new(),
            next_at: FxHashMap::default(),
        }
    }

    /// Takes one more recording; with `only` it lies there and nowhere else.
    pub(super) fn take(
        &mut self,
        ground: &Ground<'_>,
        recording: usize,
        step: &Step,
        only: Option<Option<Spot>>,
    ) {
        let day = ground.days[recording];
        let word = ground.word_before(recording);
        for story in &mut self.stories {
            story.place.pending = word.or(story.place.pending);
            if let (Calendar::Plan { .. }, Some(newest)) = (story.place.calendar, &mut story.place.newest) {
                *newest = (*newest).max(day - 2);
            }
        }
        let planned = if ground.grid.is_dated(0) { ground.grid.place_by(day) } else { 0 };
        let offers = Offers { ground, recording, day, planned, step, only };
        let mut next = std::mem::take(&mut self.next);
        let mut next_at = std::mem::take(&mut self.next_at);
        let near = (self.spread + SPREADS_MORE).min(BEHIND);
        let mut best = self.continued(&offers, near, &mut next, &mut next_at);
        // Where more stories than are followed lie that near, none that was left out would be followed.
        let are_enough = next.iter().filter(|story| story.value >= best - near).count() > STORIES;
        if near < BEHIND && !are_enough {
            best = self.continued(&offers, BEHIND, &mut next, &mut next_at);
        }
        #[cfg(test)]
        self.assert_nothing_was_lost(&offers, best, &next);
        // Numbers of stories are sorted, which are shorter than they.
        let mut followed: Vec<usize> =
            (0..next.len()).filter(|at| next[*at].value >= best - BEHIND).collect();
        if followed.len() > STORIES {
            let likelier = |a: &usize, b: &usize| {
                let (story, other) = (&next[*a], &next[*b]);
                descending(story.value, other.value).then_with(|| story.place.cmp(&other.place))
            };
            followed.select_nth_unstable_by(STORIES, likelier);
            followed.truncate(STORIES);
            followed.sort_unstable_by(likelier);
            self.spread = best - next[followed[STORIES - 1]].value;
        } else {
            followed.sort_unstable_by_key(|at| next[*at].place);
            self.spread = BEHIND;
        }
        self.stories.clear();
        self.stories.extend(followed.into_iter().map(|at| next[at]));
        for story in &mut self.stories {
            if let Some(spot) = story.spot.take() {
                self.told.push(Told { before: story.step, recording, spot });
                // As many steps as stories and recordings, far below the limit.
                story.step = u32::try_from(self.told.len() - 1).unwrap_or(NONE);
            }
        }
        next.clear();
        next_at.clear();
        (self.next, self.next_at) = (next, next_at);
    }

    /// The likeliest stories are those that are found where all are sought.
    #[cfg(test)]
    fn assert_nothing_was_lost(&self, offers: &Offers<'_>, best: f64, next: &[Story]) {
        let (mut all, mut all_at) = (Vec::new(), FxHashMap::default());
        assert_eq!(self.continued(offers, BEHIND, &mut all, &mut all_at), best);
        let followed = |stories: &[Story]| {
            let mut values: Vec<f64> =
                stories.iter().map(|story| story.value).filter(|value| *value >= best - BEHIND).collect();
            values.sort_unstable_by(|a, b| descending(*a, *b));
            values.truncate(STORIES);
            values
        };
        assert_eq!(followed(next), followed(&all));
    }

    /// Puts into `next` how the stories go on, without what is so far behind the best, whose value it hands back.
    fn continued(
        &self,
        offers: &Offers<'_>,
        behind: f64,
        next: &mut Vec<Story>,
        next_at: &mut FxHashMap<Place, usize>,
    ) -> f64 {
        let Offers { ground, recording, day, planned, step, only } = *offers;
        next.clear();
        next_at.clear();
        let moves = |story: &Story, least: f64| {
            let (place, only) = (story.place, only.flatten());
            let one_step = match (place.calendar, place.newest) {
                (Calendar::Own, Some(newest)) => step.chance(newest, day, 1).max(LONG_STEP).ln(),
                _ => f64::NEG_INFINITY,
            };
            Moves { ground, recording, day, planned, place, step, one_step, least, only }
        };
        // What the likeliest story comes to is what the others are held against.
        let mut best = f64::NEG_INFINITY;
        if let Some(likeliest) = self.best() {
            let mut bound = |place: Place, points: f64, spot: Option<Spot>| {
                if only.is_none_or(|only| only == spot) {
                    best = best.max(likeliest.points + points + end(ground, &place, day));
                }
            };
            bound(likeliest.place, 0.0, None);
            moves(likeliest, f64::NEG_INFINITY).all(&mut bound);
        }
        for story in &self.stories {
            let moves = moves(story, best - behind - story.points - ROUNDING);
            let mut offer = |place: Place, points: f64, spot: Option<Spot>| {
                let points = story.points + points;
                // Sessions that nobody attended only cost: what is too far behind without them is so with them.
                if only.is_some_and(|only| only != spot)
                    || points < best - behind
                    || points == f64::NEG_INFINITY
                {
                    return;
                }
                // Of the stories that are the same from here on the likeliest goes on; of equals the one that was there first.
                let at = match next_at.entry(place) {
                    Entry::Occupied(known) if points <= next[*known.get()].points => return,
                    Entry::Occupied(known) => Some(*known.get()),
                    Entry::Vacant(free) => {
                        free.insert(next.len());
                        None
                    }
                };
                let value = points + end(ground, &place, day);
                best = best.max(value);
                let story = Story { place, points, value, step: story.step, spot };
                match at {
                    Some(at) => next[at] = story,
                    None => next.push(story),
                }
            };
            offer(story.place, 0.0, None);
            if only != Some(None) {
                moves.all(&mut offer);
            }
            if let (true, Some(Some(Spot::Session(session)))) = (ground.by_hand[recording], only) {
                moves.by_hand(session, &mut offer);
            }
        }
        best
    }

    fn best(&self) -> Option<&Story> {
        self.stories.iter().reduce(|best, story| if story.value > best.value { story } else { best })
    }

    /// The most points that its stories have; their values are no more.
    pub(super) fn most(&self) -> Most {
        self.stories.iter().fold(Most::NONE, |most, story| match story.place {
            Place { calendar: Calendar::Own, .. } => Most { own: most.own.max(story.points), ..most },
            Place { newest: None, .. } => Most { fresh: most.fresh.max(story.points), ..most },
            _ => Most { plan: most.plan.max(story.points), ..most },
        })
    }

    /// Value of the best story.
    pub(super) fn value(&self) -> f64 {
        self.best().map_or(f64::NEG_INFINITY, |story| story.value)
    }

    /// Where the best story has each recording.
    pub(super) fn trace(&self, recordings: usize) -> Vec<Option<Spot>> {
        let mut spots = vec![None; recordings];
        let mut step = self.best().map_or(NONE, |story| story.step);
        while let Some(told) = self.told.get(step as usize) {
            spots[told.recording] = Some(told.spot);
            step = told.before;
        }
        spots
    }

    /// Follows only the stories that have the recordings from one on where the best one has them.
    pub(super) fn settle(&mut self, from: usize) {
        let newest = |story: &Story| {
            let mut spots = Vec::new();
            let mut step = story.step;
            while let Some(told) = self.told.get(step as usize).filter(|told| told.recording >= from) {
                spots.push((told.recording, told.spot));
                step = told.before;
            }
            spots
        };
        let Some(best) = self.best().map(newest) else { return };
        let kept: Vec<Story> = self.stories.iter().filter(|story| newest(story) == best).copied().collect();
        self.stories = kept;
    }
}

fn descending(a: f64, b: f64) -> Ordering {
    b.total_cmp(&a)
}

/// Points of the sessions that fell due after the newest one: nobody attended them.
fn end(ground: &Ground<'_>, place: &Place, day: i32) -> f64 {
    let Calendar::Plan { late, waited } = place.calendar else { return 0.0 };
    if matches!(place.pending, Some(Word::Hold | Word::Ease | Word::Stop)) {
        return 0.0;
    }
    let dated = place.passed..ground.grid.dated();
    if dated.is_empty() || ground.due(place.passed, late, waited) > day {
        return 0.0;
    }
    let due = ground.how_many(dated, late, waited, |due| due <= day);
    let free = ground.free_among(place.passed..place.passed + due, late, waited);
    ground.chances.missed * (due - free) as f64
}

/// The places of one recording in one story.
struct Moves<'a> {
    ground: &'a Ground<'a>,
    recording: usize,
    day: i32,
    /// Place of the last planned day up to that day.
    planned: i32,
    place: Place,
    step: &'a Step,
    /// In an own rhythm, what it says of the days that this is one step after the newest session.
    one_step: f64,
    /// Points below which nothing that is offered is followed.
    least: f64,
    /// The only spot that counts, where there is one.
    only: Option<Spot>,
}

impl Moves<'_> {
    /// Whether a session may count that brings so many points at most: whatever else is known of it only costs.
    fn may_count(&self, session: usize, log_odds: f64) -> bool {
        log_odds >= self.least && self.only.is_none_or(|only| only == Spot::Session(session))
    }

    fn all(&self, offer: &mut impl FnMut(Place, f64, Option<Spot>)) {
        let passed = self.place.passed;
        let due_today = match self.place.calendar {
            Calendar::Plan { late: 0, waited } if self.ground.grid.is_dated(passed) => {
                Some(self.planned - waited)
            }
            Calendar::Plan { late, waited } if self.ground.grid.is_dated(passed) => {
                Some(self.ground.grid.place_by(self.day - late) - waited)
            }
            _ => None,
        };
        for (block, most) in &self.ground.candidates[self.recording].blocks {
            let (first, end) = self.ground.blocks[*block];
            let first = first.max(passed);
            if first >= end || *most < self.least {
                continue;
            }
            let near = due_today
                .filter(|_| self.ground.grid.is_dated(first))
                .map_or((0, 0), |place| (place - BESIDE, place + BESIDE + 1));
            let near = (near.0.max(0) as usize).clamp(first, end)..(near.1.max(0) as usize).clamp(first, end);
            let next = first..(first + LEFT_OUT + 1 + self.ground.done_among(first..end)).min(end);
            let rest = near.start.max(next.end)..near.end;
            for session in next.chain(rest) {
                self.attend(session, offer);
            }
        }
        if passed > 0 {
            self.repeat(passed - 1, offer);
            self.ease(passed - 1, offer);
        }
        self.go_on(offer);
        self.other(offer);
    }

    fn likeness(&self, session: usize) -> Likeness {
        self.ground.likeness(self.recording, session)
    }

    fn reached(&self, session: usize, calendar: Calendar, walked: bool) -> Place {
        let passed = session + 1;
        let resume = self.place.resume.filter(|resume| passed < *resume);
        Place { passed, calendar, newest: Some(self.day), walked, resume, pending: None }
    }

    /// A session for the first time, the next one or a later one.
    fn attend(&self, session: usize, offer: &mut impl FnMut(Place, f64, Option<Spot>)) {
        let Self { ground, day, place, .. } = *self;
        let c = &ground.chances;
        let Likeness { log_odds, walked } = self.likeness(session);
        if !self.may_count(session, log_odds) {
            return;
        }
        if ground.done[session] && (walked || !ground.turned_up(session, day)) {
            return;
        }
        let comes_next = self.count_left_out(session) == 0;
        let mut left_out = ground.left_out(place.passed..session, place.calendar);
        if place.pending == Some(Word::Advance) {
            left_out = 0.0;
        }
        let mut base = log_odds + c.attended;
        if matches!(place.pending, Some(Word::Advance | Word::Back)) && !comes_next {
            base += (1.0 - GOES_ON).ln();
        }
        // What was done before going back a block is done again by some.
        if place.resume.is_some_and(|resume| ground.first_of_block(resume - 1) == session) {
            base += FROM_ITS_START.ln();
        }
        let mut lay = |calendar: Calendar, points: f64| {
            if base + points >= self.least {
                offer(self.reached(session, calendar, walked), base + points, Some(Spot::Session(session)));
            }
        };
        if !ground.grid.is_dated(session) {
            if !walked {
                lay(place.calendar, left_out);
            }
            return;
        }
        let (late, waited) = match place.calendar {
            Calendar::Plan { late, waited } => (late, waited),
            Calendar::Own => {
                if let Some(points) = self.own_step(session, walked) {
                    lay(Calendar::Own, points);
                }
                if place.pending.is_some() && !walked {
                    lay(Calendar::Own, left_out + c.on_day);
                }
                for calendar in ground.anchored(session, day, self.planned, 0) {
                    lay(calendar, left_out + c.delayed + c.on_day);
                }
                return;
            }
        };
        // No date brings anything.
        if base + left_out < self.least {
            return;
        }
        let off = day - ground.due(session, late, waited);
        // After a word the plan may go on with what is done next, on this day; an absence brings nothing forward.
        if place.pending.is_some_and(|word| word != Word::Back || off >= 0) {
            lay(self.today(session, place.calendar), left_out + c.on_day + GOES_ON.ln());
        }
        let after_walk = if place.walked && off < 0 && comes_next { c.run_after_walk } else { 0.0 };
        if off == 0 || !walked {
            lay(place.calendar, left_out + c.date(off.abs()) + after_walk);
        }
        if !walked && comes_next && place.newest == Some(day) {
            lay(place.calendar, c.same_day);
        }
        let is_first = place.newest.is_none();
        for calendar in
            ground.anchored(session, day, self.planned, waited).filter(|calendar| *calendar != place.calendar)
        {
            let by_planned = matches!(calendar, Calendar::Plan { late: 0, .. });
            let delayed = match (is_first && ground.known_start, by_planned) {
                (true, true) => c.late_by_planned,
                (true, false) => c.late_start,
                _ => c.delayed,
            };
            lay(calendar, left_out + delayed + c.on_day);
        }
        if !walked {
            // Whoever has an own rhythm begins on a day of theirs, before the next planned one.
            let begins = !ground.known_start || (0..ground.due(1, 0, 0) - ground.due(0, 0, 0)).contains(&off);
            let (own, late) = match (is_first, begins) {
                (true, true) => (c.own_rhythm, 0.0),
                (true, false) => (c.own_rhythm, c.late_start),
                _ => (c.own_rhythm_later, 0.0),
            };
            lay(Calendar::Own, left_out + own + late + c.on_day);
        }
    }

    /// How many sessions were neither done nor recorded before one.
    fn count_left_out(&self, session: usize) -> usize {
        let between = self.place.passed..session;
        between.len() - self.ground.done_among(between)
    }

    /// What it says of the days that a session comes next in the own rhythm.
    fn own_step(&self, session: usize, walked: bool) -> Option<f64> {
        let c = &self.ground.chances;
        let left_out = self.count_left_out(session);
        let newest = self.place.newest?;
        if newest == self.day {
            return (left_out == 0 && !walked).then_some(c.same_day);
        }
        if walked && (left_out > 0 || self.step.chance(newest, self.day, 1) < USUAL_STEP) {
            return None;
        }
        let next = self.one_step + c.skipped * left_out as f64;
        let steps = session - self.place.passed + 1;
        let later = self.step.chance(newest, self.day, steps);
        // Of a single step it says no more than was said already.
        if steps == 1 || later == 0.0 {
            return Some(next);
        }
        Some(next.max(later.ln() + c.missed * left_out as f64))
    }

    /// The newest session once more; the plan goes on, or waits if this is the next planned day.
    fn repeat(&self, session: usize, offer: &mut impl FnMut(Place, f64, Option<Spot>)) {
        let Self { ground, day, place, .. } = *self;
        let c = &ground.chances;
        let Likeness { log_odds, walked } = self.likeness(session);
        if walked || log_odds < self.least {
            return;
        }
        let mut lay = |calendar: Calendar, points: f64| {
            if log_odds + points >= self.least {
                let (resume, pending) = (place.resume, place.pending);
                let reached = Place { resume, pending, ..self.reached(session, calendar, false) };
                offer(reached, log_odds + points, Some(Spot::Session(session)));
            }
        };
        if matches!(place.pending, Some(Word::Hold | Word::Ease)) {
            lay(place.calendar, c.on_day + DONE_AGAIN_ON_HOLD.ln());
        }
        let soon = place.newest.is_some_and(|newest| day - newest <= 1);
        let after_walk = if place.walked { c.run_after_walk } else { 0.0 };
        lay(place.calendar, after_walk + if soon { c.again } else { c.again_later });
        match place.calendar {
            Calendar::Plan { late, waited } if ground.grid.is_dated(session) => {
                if ground.due(session, late, waited + 1) == day {
                    lay(Calendar::Plan { late, waited: waited + 1 }, c.waiting);
                }
            }
            Calendar::Own => {
                if let Some(points) = self.own_step(place.passed, false) {
                    lay(Calendar::Own, c.waiting + points);
                }
            }
            // Without days the plan waits for whatever is done again.
            Calendar::Plan { .. } => lay(place.calendar, c.waiting),
        }
    }

    /// Back to the block before, whose sessions are done again; and where that is called for, one further from there.
    fn ease(&self, newest: usize, offer: &mut impl FnMut(Place, f64, Option<Spot>)) {
        let Self { ground, place, .. } = *self;
        let c = &ground.chances;
        let of_block = ground.first_of_block(newest);
        let is_called = ground.ease_called[self.recording] || place.pending == Some(Word::Ease);
        if of_block == 0 || place.resume.is_some() && !is_called {
            return;
        }
        let session = ground.first_of_block(of_block - 1);
        let Likeness { log_odds, walked } = self.likeness(session);
        if walked || log_odds <= 0.0 {
            return;
        }
        let calendar = self.today(session, place.calendar);
        let resume = place.resume.or(Some(place.passed));
        let reached = Place { resume, ..self.reached(session, calendar, false) };
        let date = if ground.grid.is_dated(session) { c.on_day } else { 0.0 };
        let eased = if is_called { FOLLOWS_EASE.ln() } else { c.eased };
        offer(reached, log_odds + eased + c.attended + date, Some(Spot::Session(session)));
    }

    /// Where the coach says that it lies, whatever else speaks against it.
    fn by_hand(&self, session: usize, offer: &mut impl FnMut(Place, f64, Option<Spot>)) {
        let Likeness { log_odds, walked } = self.likeness(session);
        let spot = Some(Spot::Session(session));
        if session >= self.place.passed {
            let left_out = self.ground.left_out(self.place.passed..session, self.place.calendar);
            let calendar = self.today(session, self.place.calendar);
            let points = log_odds + left_out + self.ground.chances.delayed;
            offer(self.reached(session, calendar, walked), points, spot);
        }
        offer(self.place, log_odds + AGAINST_THE_ORDER, spot);
    }

    /// The calendar in which a session falls on this day.
    fn today(&self, session: usize, calendar: Calendar) -> Calendar {
        match calendar {
            Calendar::Plan { .. } if self.ground.grid.is_dated(session) => {
                let place = self.planned;
                let late = self.day - self.ground.grid.at(place);
                Calendar::Plan { late, waited: place - session as i32 }
            }
            other => other,
        }
    }

    /// After going back a block: on, with the block that was left, or with the session that would have come next, of which some may
    /// be left out as well. The day of the first of these is that of the session that would come next in the block before, or of one
    /// further on there: what lies between is left out.
    fn go_on(&self, offer: &mut impl FnMut(Place, f64, Option<Spot>)) {
        let Self { ground, day, place, .. } = *self;
        let c = &ground.chances;
        let Some(resume) = place.resume else { return };
        let again = ground.first_of_block(resume - 1);
        let onward = resume + ground.done[resume..].iter().take_while(|done| **done).count();
        if onward == again {
            return;
        }
        let on = (0..=LEFT_OUT).map(|more| (onward, more, 1.0 - FROM_ITS_START));
        for (first, more, share) in std::iter::once((again, 0, FROM_ITS_START)).chain(on) {
            let session = first + more;
            if session <= place.passed || session >= ground.sessions.len() {
                continue;
            }
            let Likeness { log_odds, walked } = self.likeness(session);
            if walked || !self.may_count(session, log_odds) {
                continue;
            }
            for turn in place.passed..=again.max(place.passed) {
                let left_out = |calendar: Calendar| {
                    ground.left_out(place.passed..turn, place.calendar)
                        + ground.left_out(first..session, calendar)
                };
                let (calendar, date) = match place.calendar {
                    Calendar::Plan { late, waited } if ground.grid.is_dated(session) => {
                        let waited = waited + turn as i32 - first as i32;
                        let off = day - ground.due(session, late, waited);
                        let calendar = Calendar::Plan { late, waited };
                        (calendar, c.date(off.abs()) + left_out(calendar))
                    }
                    Calendar::Own => match self.own_step(turn + more, false) {
                        Some(points) => (Calendar::Own, points),
                        None => continue,
                    },
                    other => (other, left_out(other)),
                };
                let reached = Place { resume: None, ..self.reached(session, calendar, false) };
                offer(reached, log_odds + c.attended + date + share.ln(), Some(Spot::Session(session)));
            }
        }
    }

    /// On no session, though it is what a block asks for that it is not the turn of.
    fn other(&self, offer: &mut impl FnMut(Place, f64, Option<Spot>)) {
        let Self { ground, place, .. } = *self;
        let newest = place.passed.checked_sub(1).map(|newest| ground.block(newest));
        let next = ground.sessions.get(place.passed).map(|id| id.block);
        let others = &ground.candidates[self.recording].others;
        let best = others.iter().find(|(block, ..)| Some(*block) != newest && Some(*block) != next);
        if let Some(&(_, kind, log_odds)) = best {
            offer(place, log_odds + ground.chances.other_block, Some(Spot::Other(kind)));
        }
    }
}

/// The laying that a story tells.
pub(super) fn laying(ground: &Ground<'_>, spots: &[Option<Spot>], points: f64) -> Laying {
    let mut seen = vec![false; ground.sessions.len()];
    let laid = spots.iter().map(|spot| {
        let Some(Spot::Session(index)) = *spot else { return None };
        let again = std::mem::replace(&mut seen[index], true);
        Some(Laid { session: ground.sessions[index], index, again })
    });
    let recordings: Vec<Option<Laid>> = laid.collect();
    let others = spots.iter().map(|spot| match spot {
        Some(Spot::Other(kind)) => Some(*kind),
        _ => None,
    });
    let any = ground.known_start || recordings.iter().any(Option::is_some);
    let days = if any { ground.planned.clone() } else { vec![None; ground.sessions.len()] };
    Laying { recordings, others: others.collect(), days, points }
}

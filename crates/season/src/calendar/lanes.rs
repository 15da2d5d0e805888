//! The first days that a plan may have, and the stories from each.

use std::ops::Range;

use chrono::NaiveDate;

use super::most::Most;
use super::search::{Ground, Search, Spot};
use super::step::Step;

/// A first day whose likeliest story is so much less likely than the best of all (as a natural logarithm) is given up: another
/// one tells the same story with a delay, which costs less than half of that. Own choice.
const LANE_BEHIND: f64 = 20.0;

/// One first day that a plan may have, and the stories from there.
struct Lane<'a> {
    ground: Ground<'a>,
    search: Search,
    first: NaiveDate,
    going: Going,
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Going {
    Followed,
    /// Not followed for now; what it would have taken is made up for where it may matter.
    Waits,
    /// Its likeliest story was far behind that of another lane.
    GivenUp,
}

/// The recordings of a day, and the value up to which the likeliest story changes nothing.
struct Day {
    day: NaiveDate,
    recordings: Range<usize>,
    enough: f64,
}

/// All of them.
///
/// What they tell counts only where one of them is clearly likelier than the laying that is held, which mostly lasts as long as
/// the season. So all wait as long as [`Most`] rules that out. Where it does not they take what they left, day by day, and it is as
/// if they had never waited.
///
/// They share the story of an own rhythm, so that several stay close to the best. Where they are followed, all but the best still
/// wait as long as the same bound rules out that one of them is the best, or that it matters.
pub(super) struct Lanes<'a> {
    all: Vec<Lane<'a>>,
    /// Whether each session has a day in each.
    all_dated: bool,
    /// Of all stories, with the days that were left; nothing before the first day.
    most: Most,
    left: Vec<Day>,
    /// Of the lanes that wait while others are followed, with the days since, and what the best of the others came to.
    most_of_waiting: Most,
    left_by_waiting: Vec<(Range<usize>, f64)>,
    /// Whether any may wait.
    may_wait: bool,
}

/// The only place that each recording may have, where there is one.
type Only<'a> = &'a dyn Fn(usize) -> Option<Option<Spot>>;

impl<'a> Lanes<'a> {
    pub(super) fn new(firsts: impl Iterator<Item = (NaiveDate, Ground<'a>)>, may_wait: bool) -> Self {
        let of = |(first, ground)| Lane { ground, search: Search::new(), first, going: Going::Followed };
        let all: Vec<Lane<'a>> = firsts.map(of).collect();
        Self {
            all_dated: all.iter().all(|lane| lane.ground.all_dated()),
            all,
            most: Most { fresh: f64::INFINITY, ..Most::NONE },
            left: Vec::new(),
            most_of_waiting: Most::NONE,
            left_by_waiting: Vec::new(),
            may_wait,
        }
    }

    pub(super) fn ground(&self, lane: usize) -> &Ground<'a> {
        &self.all[lane].ground
    }

    /// Where the likeliest story of a lane has each recording.
    pub(super) fn trace(&self, lane: usize, recordings: usize) -> Vec<Option<Spot>> {
        self.all[lane].search.trace(recordings)
    }

    /// Takes the recordings of a day. Hands back the lane of the likeliest story and its value, where that exceeds `enough`; else
    /// nothing, or any value that does not.
    pub(super) fn take(
        &mut self,
        recordings: Range<usize>,
        day: NaiveDate,
        steps: &[Step],
        only: Only<'_>,
        enough: f64,
    ) -> Option<(usize, f64)> {
        self.most = self.most_after(self.most, &recordings);
        self.left.push(Day { day, recordings, enough });
        if self.may_wait && self.most.of_any() <= enough {
            return None;
        }
        let mut best = (0, f64::NEG_INFINITY);
        for day in std::mem::take(&mut self.left) {
            best = self.follow(day, steps, only);
        }
        let followed = self.all.iter().filter(|lane| lane.going == Going::Followed);
        self.most = followed.map(|lane| lane.search.most()).fold(self.most_of_waiting, Most::or);
        Some(best)
    }

    /// The same without leaving the day.
    fn follow(&mut self, day: Day, steps: &[Step], only: Only<'_>) -> (usize, f64) {
        let Day { day, recordings, enough } = day;
        self.each(Going::Followed, |lane| lane.take(recordings.clone(), steps, only));
        if self.all.iter().any(|lane| lane.going == Going::Waits) {
            let (best, value) = self.best(day);
            self.most_of_waiting = self.most_after(self.most_of_waiting, &recordings);
            self.left_by_waiting.push((recordings, value));
            let most = self.most_of_waiting.of_any();
            // Either the best is one that does not wait, or nothing is likely enough; and it is given up for none of them.
            if most < value || most <= enough && most - LANE_BEHIND <= value {
                return (best, value);
            }
            self.make_up(steps, only);
        }
        let best = self.best(day);
        let has_started = |lane: &Lane<'_>| lane.has_started(day);
        self.each(Going::Followed, |lane| {
            if has_started(lane) {
                lane.give_up_behind(best.1);
            }
        });
        let mut followed = self.all.iter().filter(|lane| lane.going == Going::Followed);
        if self.may_wait && followed.all(has_started) {
            for (_, lane) in self.all.iter_mut().enumerate().filter(|(at, _)| *at != best.0) {
                if lane.going == Going::Followed {
                    lane.going = Going::Waits;
                    self.most_of_waiting = self.most_of_waiting.or(lane.search.most());
                }
            }
        }
        best
    }

    /// Takes with those that wait what they left, and gives up those that would have been.
    fn make_up(&mut self, steps: &[Step], only: Only<'_>) {
        for (recordings, mut best) in std::mem::take(&mut self.left_by_waiting) {
            self.each(Going::Waits, |lane| {
                lane.take(recordings.clone(), steps, only);
                best = best.max(lane.search.value());
            });
            self.each(Going::Waits, |lane| lane.give_up_behind(best));
        }
        self.each(Going::Waits, |lane| lane.going = Going::Followed);
        self.most_of_waiting = Most::NONE;
    }

    fn most_after(&self, most: Most, recordings: &Range<usize>) -> Most {
        self.all[0].ground.most_after(most, recordings.clone(), self.all_dated)
    }

    fn each(&mut self, going: Going, what: impl FnMut(&mut Lane<'a>)) {
        self.all.iter_mut().filter(|lane| lane.going == going).for_each(what);
    }

    /// The lane of the likeliest story of those that are followed, of equals the first, and its value.
    fn best(&self, day: NaiveDate) -> (usize, f64) {
        let started = |(_, lane): &(usize, &Lane<'_>)| lane.going == Going::Followed && lane.has_started(day);
        let values = self.all.iter().enumerate().filter(started).map(|(at, lane)| (at, lane.search.value()));
        values.fold((0, f64::NEG_INFINITY), |best, lane| if lane.1 > best.1 { lane } else { best })
    }
}

impl Lane<'_> {
    fn take(&mut self, recordings: Range<usize>, steps: &[Step], only: Only<'_>) {
        recordings.for_each(|at| self.search.take(&self.ground, at, &steps[at], only(at)));
    }

    /// Whether there are stories of it by a day.
    fn has_started(&self, day: NaiveDate) -> bool {
        self.ground.known_start || self.first <= day
    }

    fn give_up_behind(&mut self, best: f64) {
        if self.search.value() < best - LANE_BEHIND {
            self.going = Going::GivenUp;
        }
    }
}

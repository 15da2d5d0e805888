//! An athlete's weeks, told session by session.

use std::collections::BTreeMap;

use boutwise_bouts::Interval;
use chrono::{Days, NaiveDate, NaiveTime, TimeDelta, TimeZone};
use chrono_tz::Tz;

use super::{BeginnersPlan, FileState, Gear, Outing, Role, SessionKey};
use crate::Deviation;

/// A planned session as it was done.
#[derive(Clone, Debug)]
struct Act {
    date: NaiveDate,
    deviation: Deviation,
    gear: Gear,
    state: FileState,
    driven_home: bool,
}

/// Something beside the plan.
#[derive(Clone, Debug)]
struct Aside {
    date: NaiveDate,
    role: Role,
    follows: Option<SessionKey>,
    plan: Vec<Interval>,
    deviation: Deviation,
}

/// Builds the outings of one athlete: first all sessions as planned, then what came otherwise.
#[derive(Clone, Debug)]
pub(super) struct Story<'a> {
    plan: &'a BeginnersPlan,
    start: NaiveDate,
    gear: Gear,
    acts: BTreeMap<usize, Act>,
    asides: Vec<Aside>,
}

impl<'a> Story<'a> {
    /// The first `due` sessions, each on its day and as planned.
    pub(super) fn new(plan: &'a BeginnersPlan, start: NaiveDate, due: usize, gear: Gear) -> Self {
        let act = |index| Act {
            date: plan.date(start, index),
            deviation: Deviation::AsPlanned,
            gear: gear.clone(),
            state: FileState::Whole,
            driven_home: false,
        };
        let acts = (0..due).map(|index| (index, act(index))).collect();
        Self { plan, start, gear, acts, asides: Vec::new() }
    }

    /// Sessions that were never done.
    pub(super) fn missed(mut self, sessions: impl IntoIterator<Item = usize>) -> Self {
        for index in sessions {
            self.acts.remove(&index);
        }
        self
    }

    /// Sessions done otherwise than planned.
    pub(super) fn deviating(
        mut self,
        deviation: Deviation,
        sessions: impl IntoIterator<Item = usize>,
    ) -> Self {
        for index in sessions {
            if let Some(act) = self.acts.get_mut(&index) {
                act.deviation = deviation;
            }
        }
        self
    }

    /// A session on another day.
    pub(super) fn moved(mut self, index: usize, days: i64) -> Self {
        if let Some(act) = self.acts.get_mut(&index) {
            act.date += TimeDelta::days(days);
        }
        self
    }

    /// Sessions recorded with something else.
    pub(super) fn with_gear(mut self, gear: &Gear, sessions: impl IntoIterator<Item = usize>) -> Self {
        for index in sessions {
            if let Some(act) = self.acts.get_mut(&index) {
                act.gear = gear.clone();
            }
        }
        self
    }

    /// A session whose file is not a plain whole one.
    pub(super) fn with_state(mut self, index: usize, state: FileState) -> Self {
        if let Some(act) = self.acts.get_mut(&index) {
            act.state = state;
        }
        self
    }

    /// Sessions after which the recording goes on in a car.
    pub(super) fn driven_home(mut self, sessions: impl IntoIterator<Item = usize>) -> Self {
        for index in sessions {
            if let Some(act) = self.acts.get_mut(&index) {
                act.driven_home = true;
            }
        }
        self
    }

    /// A session done once more, so many days after the plan's first day.
    pub(super) fn repeated(mut self, index: usize, day: u64) -> Self {
        let key = self.plan.sessions()[index];
        self.asides.push(Aside {
            date: self.start + Days::new(day),
            role: Role::Repeat,
            follows: Some(key),
            plan: self.plan.blocks[key.block].intervals(),
            deviation: Deviation::AsPlanned,
        });
        self
    }

    /// A run or a walk that is no session, so many days after the plan's first day.
    pub(super) fn aside(mut self, role: Role, day: u64, plan: Vec<Interval>) -> Self {
        let date = self.start + Days::new(day);
        self.asides.push(Aside { date, role, follows: None, plan, deviation: Deviation::AsPlanned });
        self
    }

    /// Sessions that were never done, of those due.
    pub(super) fn missing(&self, due: usize) -> Vec<SessionKey> {
        let sessions = self.plan.sessions();
        (0..due).filter(|index| !self.acts.contains_key(index)).map(|index| sessions[index]).collect()
    }

    /// The outings in order of time, each begun within a quarter of an hour of the usual local time.
    pub(super) fn outings(&self, usual: NaiveTime, zone: Tz, first_seed: u64) -> Vec<Outing> {
        let sessions = self.plan.sessions();
        let planned = self.acts.iter().map(|(&index, act)| {
            let key = sessions[index];
            let intervals = self.plan.blocks[key.block].intervals();
            let aside = Aside {
                date: act.date,
                role: Role::Planned,
                follows: Some(key),
                plan: intervals,
                deviation: act.deviation,
            };
            (aside, act.gear.clone(), act.state, act.driven_home)
        });
        let besides =
            self.asides.iter().map(|aside| (aside.clone(), self.gear.clone(), FileState::Whole, false));
        let mut outings: Vec<Outing> = planned
            .chain(besides)
            .zip(first_seed..)
            .map(|((aside, gear, state, driven_home), seed)| Outing {
                start_s: start_s(aside.date, usual, zone, seed),
                role: aside.role,
                follows: aside.follows,
                plan: aside.plan,
                deviation: aside.deviation,
                seed,
                gear,
                state,
                driven_home,
            })
            .collect();
        outings.sort_by_key(|outing| outing.start_s);
        outings
    }
}

/// Seconds since 1970 of a local time, moved by up to a quarter of an hour.
pub(super) fn start_s(date: NaiveDate, usual: NaiveTime, zone: Tz, seed: u64) -> i64 {
    let local = date.and_time(usual) + TimeDelta::seconds((seed.wrapping_mul(7919) % 1801) as i64 - 900);
    // A local time that the clock skips in spring is taken as if it were UTC.
    zone.from_local_datetime(&local).earliest().map_or(local.and_utc().timestamp(), |time| time.timestamp())
}

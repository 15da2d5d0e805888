//! What a plan session demands: reps, and the walks between them.

use super::{AdherenceSettings, Inside};
use crate::{Amount, Gait, Interval};

/// What a length is counted by.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Unit {
    /// Seconds as they pass.
    Time,
    /// Metres, as the seconds that they last at the plan's fixed speed.
    Distance,
}

/// A length counted both ways, in seconds.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Length {
    pub(crate) by_time_s: f64,
    pub(crate) by_distance_s: f64,
}

impl Length {
    pub(crate) fn by(self, unit: Unit) -> f64 {
        match unit {
            Unit::Time => self.by_time_s,
            Unit::Distance => self.by_distance_s,
        }
    }

    pub(crate) fn plus(self, other: Self) -> Self {
        Self {
            by_time_s: self.by_time_s + other.by_time_s,
            by_distance_s: self.by_distance_s + other.by_distance_s,
        }
    }

    pub(crate) fn minus(self, other: Self) -> Self {
        Self {
            by_time_s: self.by_time_s - other.by_time_s,
            by_distance_s: self.by_distance_s - other.by_distance_s,
        }
    }

    /// What is left once `taken_s`, counted by `unit`, is taken; the other count shrinks by the same share.
    pub(crate) fn without(self, taken_s: f64, unit: Unit) -> Self {
        let left = 1.0 - taken_s / self.by(unit);
        match unit {
            Unit::Time => {
                Self { by_time_s: self.by_time_s - taken_s, by_distance_s: self.by_distance_s * left }
            }
            Unit::Distance => {
                Self { by_time_s: self.by_time_s * left, by_distance_s: self.by_distance_s - taken_s }
            }
        }
    }
}

/// One thing asked for: an interval, or adjoining ones of one gait.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Part {
    pub(crate) planned_s: f64,
    pub(crate) unit: Unit,
}

impl Part {
    /// This and the next one as one; in metres only where both are.
    fn joined(self, next: Self) -> Self {
        let unit = if self.unit == next.unit { self.unit } else { Unit::Time };
        Self { planned_s: self.planned_s + next.planned_s, unit }
    }
}

/// Adjoining walks.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Walk {
    pub(crate) whole: Part,
    pub(crate) parts: Vec<Part>,
}

/// What is demanded, in order: `before`, then reps and the walks between them in turn, then `after`.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Demand {
    /// The walk before the first rep; all of the session where there is no rep.
    pub(crate) before: Option<Walk>,
    pub(crate) reps: Vec<Part>,
    /// One fewer than the reps.
    pub(crate) walks: Vec<Walk>,
    /// The walk after the last rep.
    pub(crate) after: Option<Walk>,
}

impl Demand {
    /// `None` where no interval asks for anything.
    pub(crate) fn new(intervals: &[Interval], settings: &AdherenceSettings) -> Option<Self> {
        let most = intervals.len() / 2 + 1;
        let (reps, walks) = (Vec::with_capacity(most), Vec::with_capacity(most));
        let mut demand = Self { before: None, reps, walks, after: None };
        let mut last_gait = None;
        for interval in intervals {
            let speed_m_per_s = match interval.gait {
                Gait::Run => settings.run_m_per_s,
                Gait::Walk => settings.walk_m_per_s,
            };
            let part = match interval.amount {
                Amount::Seconds(planned_s) => Part { planned_s, unit: Unit::Time },
                Amount::Metres(metres) => Part { planned_s: metres / speed_m_per_s, unit: Unit::Distance },
            };
            if !(part.planned_s.is_finite() && part.planned_s > 0.0) {
                continue;
            }
            match interval.gait {
                Gait::Run => demand.add_run(part, last_gait == Some(Gait::Run)),
                Gait::Walk => demand.add_walk(part),
            }
            last_gait = Some(interval.gait);
        }
        last_gait.map(|_| demand)
    }

    fn add_run(&mut self, part: Part, joins: bool) {
        match self.reps.last_mut() {
            Some(rep) if joins => *rep = rep.joined(part),
            _ => {
                self.walks.extend(self.after.take());
                self.reps.push(part);
            }
        }
    }

    fn add_walk(&mut self, part: Part) {
        let place = if self.reps.is_empty() { &mut self.before } else { &mut self.after };
        match place {
            Some(walk) => {
                walk.whole = walk.whole.joined(part);
                walk.parts.push(part);
            }
            None => *place = Some(Walk { whole: part, parts: vec![part] }),
        }
    }

    /// What is demanded of the part that lies inside a recording. The walks before and after stay with it only where
    /// nothing is missing on their side.
    pub(crate) fn inside(&self, inside: &Inside) -> Self {
        let seen = inside.seen();
        let last = self.reps.len();
        let mut part = Self {
            before: self.before.clone().filter(|_| seen.first() == Some(&0) && inside.first_s.is_none()),
            reps: seen.iter().map(|rep| self.reps[*rep]).collect(),
            walks: seen.windows(2).map(|pair| self.between(pair[0], pair[1])).collect(),
            after: self.after.clone().filter(|_| seen.last() == Some(&(last - 1)) && inside.last_s.is_none()),
        };
        for (rep, index) in part.reps.iter_mut().zip(&seen) {
            if let Some(hidden) = inside.hidden.iter().find(|hidden| hidden.rep == *index) {
                rep.planned_s = rep.planned_s.min(hidden.seen_s);
            }
        }
        if let (Some(rep), Some(first_s)) = (part.reps.first_mut(), inside.first_s) {
            rep.planned_s = rep.planned_s.min(first_s);
        }
        if let (Some(rep), Some(last_s)) = (part.reps.last_mut(), inside.last_s) {
            rep.planned_s = rep.planned_s.min(last_s);
        }
        part
    }

    /// What lies between two reps, those between them and their walks as one.
    fn between(&self, before: usize, after: usize) -> Walk {
        if before + 1 == after {
            return self.walks[before].clone();
        }
        let walks: f64 = self.walks[before..after].iter().map(|walk| walk.whole.planned_s).sum();
        let reps: f64 = self.reps[before + 1..after].iter().map(|rep| rep.planned_s).sum();
        let whole = Part { planned_s: walks + reps, unit: Unit::Time };
        Walk { whole, parts: vec![whole] }
    }

    /// Seconds of running.
    pub(crate) fn run_s(&self) -> f64 {
        self.reps.iter().map(|rep| rep.planned_s).sum()
    }

    /// Whether a rep is counted by its metres.
    pub(crate) fn in_metres(&self) -> bool {
        self.reps.iter().any(|rep| rep.unit == Unit::Distance)
    }

    /// What runs outside all groups are counted by.
    pub(crate) fn run_unit(&self) -> Unit {
        if self.reps.iter().all(|rep| rep.unit == Unit::Distance) { Unit::Distance } else { Unit::Time }
    }

    /// What each break weighs: vⱼ = ((n − j)·pⱼ + j·pⱼ₊₁) / ((n − 1)·P). They add up to 1.
    pub(crate) fn break_weights(&self) -> Vec<f64> {
        let count = self.reps.len() as f64;
        let all_s = (count - 1.0) * self.run_s();
        (1..self.reps.len())
            .map(|j| {
                let (before_s, after_s) = (self.reps[j - 1].planned_s, self.reps[j].planned_s);
                ((count - j as f64) * before_s + j as f64 * after_s) / all_s
            })
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn interval(gait: Gait, seconds: f64) -> Interval {
        Interval { gait, amount: Amount::Seconds(seconds) }
    }

    #[test]
    fn adjoining_runs_are_one_rep_and_outer_walks_are_not_between_reps() {
        let intervals = [
            interval(Gait::Walk, 300.0),
            interval(Gait::Run, 60.0),
            interval(Gait::Run, 30.0),
            interval(Gait::Walk, 40.0),
            interval(Gait::Walk, 50.0),
            interval(Gait::Run, 60.0),
            interval(Gait::Walk, 90.0),
            interval(Gait::Walk, 300.0),
        ];
        let demand = Demand::new(&intervals, &AdherenceSettings::default()).unwrap();
        assert_eq!(demand.before.as_ref().unwrap().whole.planned_s, 300.0);
        assert_eq!(demand.reps.iter().map(|rep| rep.planned_s).collect::<Vec<_>>(), [90.0, 60.0]);
        assert_eq!(demand.walks.iter().map(|walk| walk.whole.planned_s).collect::<Vec<_>>(), [90.0]);
        assert_eq!(demand.after.as_ref().unwrap().whole.planned_s, 390.0);
        assert_eq!(demand.after.as_ref().unwrap().parts.len(), 2);
    }

    #[test]
    fn intervals_that_ask_for_nothing_are_left_out() {
        let settings = AdherenceSettings::default();
        let nothing = [interval(Gait::Run, 0.0), interval(Gait::Run, f64::NAN), interval(Gait::Walk, -5.0)];
        assert_eq!(Demand::new(&nothing, &settings), None);
        assert_eq!(Demand::new(&[], &settings), None);
    }

    #[test]
    fn a_walk_of_nothing_joins_the_reps_beside_it() {
        let intervals = [interval(Gait::Run, 60.0), interval(Gait::Walk, 0.0), interval(Gait::Run, 60.0)];
        let demand = Demand::new(&intervals, &AdherenceSettings::default()).unwrap();
        assert_eq!(demand.reps.len(), 1);
        assert_eq!(demand.reps[0].planned_s, 120.0);
    }
}

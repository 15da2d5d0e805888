//! The step of an athlete's own rhythm, learned from the days on which they ran so far.

use std::cell::OnceCell;

/// Longest step that is told apart from longer ones, in days.
const LONGEST: usize = 10;
/// What is thought of a step of 1, 2, … days before any was seen: mostly two or three days. Own choice.
const BEFOREHAND: [f64; LONGEST] = [0.12, 0.34, 0.26, 0.12, 0.06, 0.03, 0.04, 0.01, 0.01, 0.01];
/// How many steps seen weigh as much as what is thought beforehand. Own choice.
const BEFOREHAND_STEPS: f64 = 2.0;
/// How many steps seen from one day of the week weigh as much as those seen from all. Own choice.
const ANY_DAY_STEPS: f64 = 1.0;
/// Most sessions whose steps are added up.
const MOST_SESSIONS: usize = 4;
/// Days that a sum of steps may have.
const SPAN: usize = MOST_SESSIONS * LONGEST + 1;
const WEEK: usize = 7;

/// How often a step of so many days was seen, from each day of the week.
#[derive(Clone, Default)]
pub(super) struct Steps {
    seen: [[f64; LONGEST]; WEEK],
}

/// For each number of days since the session before the chances that so many sessions lie between.
#[derive(Clone)]
pub(super) struct Step {
    /// Of one session, for each day of the week from which it is counted.
    one: [[f64; LONGEST]; WEEK],
    /// Of more, for each day of the week and each number of sessions; seldom asked for.
    more: [OnceCell<Box<[[f64; SPAN]; MOST_SESSIONS]>>; WEEK],
}

impl Steps {
    /// Counts a step that was seen.
    pub(super) fn count(&mut self, from: i32, to: i32) {
        if let Some(days) = usize::try_from(to - from).ok().filter(|days| (1..=LONGEST).contains(days)) {
            self.seen[weekday(from)][days - 1] += 1.0;
        }
    }

    /// The chances that follow from what was seen.
    pub(super) fn chances(&self) -> Step {
        let all: [f64; LONGEST] = std::array::from_fn(|at| self.seen.iter().map(|seen| seen[at]).sum());
        let of_all = all.iter().sum::<f64>() + BEFOREHAND_STEPS;
        let any: [f64; LONGEST] =
            std::array::from_fn(|at| (all[at] + BEFOREHAND_STEPS * BEFOREHAND[at]) / of_all);
        let one: [[f64; LONGEST]; WEEK] = std::array::from_fn(|from| {
            let seen = &self.seen[from];
            let of_day = seen.iter().sum::<f64>() + ANY_DAY_STEPS;
            std::array::from_fn(|at| (seen[at] + ANY_DAY_STEPS * any[at]) / of_day)
        });
        Step { one, more: Default::default() }
    }
}

impl Step {
    /// The chance that so many sessions later, by the own rhythm, it is this day.
    pub(super) fn chance(&self, from: i32, to: i32, sessions: usize) -> f64 {
        let (from, days) = (weekday(from), usize::try_from(to - from).unwrap_or(0));
        match sessions {
            0 => 0.0,
            1 => days.checked_sub(1).and_then(|at| self.one[from].get(at)).copied().unwrap_or(0.0),
            _ => {
                let sums = self.more[from].get_or_init(|| Box::new(self.sums(from)));
                sums.get(sessions - 1).and_then(|sums| sums.get(days)).copied().unwrap_or(0.0)
            }
        }
    }

    /// From a day of the week, for each number of sessions and of days.
    fn sums(&self, from: usize) -> [[f64; SPAN]; MOST_SESSIONS] {
        let mut sums = [[0.0; SPAN]; MOST_SESSIONS];
        sums[0][1..=LONGEST].copy_from_slice(&self.one[from]);
        for sessions in 1..MOST_SESSIONS {
            for before in 0..=sessions * LONGEST {
                let so_far = sums[sessions - 1][before];
                if so_far > 0.0 {
                    for (days, chance) in self.one[(from + before) % WEEK].iter().enumerate() {
                        sums[sessions][before + days + 1] += so_far * chance;
                    }
                }
            }
        }
        sums
    }
}

fn weekday(day: i32) -> usize {
    day.rem_euclid(WEEK as i32) as usize
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn three_days_of_the_week_are_learned_and_two_sessions_take_two_steps() {
        let mut steps = Steps::default();
        let days: Vec<i32> = (0..6).flat_map(|week| [0, 2, 4].map(|day| 7 * week + day)).collect();
        days.windows(2).for_each(|pair| steps.count(pair[0], pair[1]));
        let step = steps.chances();
        assert!(step.chance(42, 44, 1) > 0.8 && step.chance(46, 49, 1) > 0.8);
        assert!(step.chance(42, 46, 2) > 0.7 && step.chance(42, 44, 2) < 0.05);
        for from in 0..7 {
            for sessions in 1..=MOST_SESSIONS {
                let sum: f64 = (0..SPAN as i32).map(|days| step.chance(from, from + days, sessions)).sum();
                assert!((sum - 1.0).abs() < 1e-9);
            }
        }
    }
}

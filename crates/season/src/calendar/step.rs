//! The step of an athlete's own rhythm, learned from the days on which they ran so far.

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
    /// For each day of the week from which it is counted, and each number of sessions.
    chances: Vec<[[f64; SPAN]; MOST_SESSIONS]>,
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
        let of = |from: usize| {
            let mut sums = [[0.0; SPAN]; MOST_SESSIONS];
            for (days, chance) in one[from].iter().enumerate() {
                sums[0][days + 1] = *chance;
            }
            for sessions in 1..MOST_SESSIONS {
                for before in 0..=sessions * LONGEST {
                    let so_far = sums[sessions - 1][before];
                    if so_far > 0.0 {
                        for (days, chance) in one[(from + before) % WEEK].iter().enumerate() {
                            sums[sessions][before + days + 1] += so_far * chance;
                        }
                    }
                }
            }
            sums
        };
        Step { chances: (0..WEEK).map(of).collect() }
    }
}

impl Step {
    /// The chance that so many sessions later, by the own rhythm, it is this day.
    pub(super) fn chance(&self, from: i32, to: i32, sessions: usize) -> f64 {
        let days = usize::try_from(to - from).unwrap_or(0);
        let sums = sessions.checked_sub(1).and_then(|at| self.chances[weekday(from)].get(at));
        sums.and_then(|sums| sums.get(days)).copied().unwrap_or(0.0)
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

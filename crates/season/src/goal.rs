//! The distance that an athlete is to run without a break, and whether it was reached.

use crate::{Athlete, LongestRun, Plan};

/// The goal where neither the squad file nor the plan names one, in metres.
pub const DEFAULT_GOAL_M: f64 = 5000.0;
/// The distance on the way that is told too, in metres.
pub const ON_THE_WAY_M: f64 = 3000.0;

/// The distance to be run without a break.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub struct Goal {
    /// The distance in metres.
    pub goal_m: f64,
    /// The first unbroken run that was as far.
    pub reached: Option<LongestRun>,
    /// The first unbroken run over 3 km, where the goal is farther and was not reached.
    pub on_the_way: Option<LongestRun>,
}

impl Goal {
    /// The goal of the squad file, else of the plan, else 5 km. `first_as_far` finds the first run over a distance.
    pub(crate) fn of(
        athlete: Option<&Athlete>,
        plan: Option<&Plan>,
        first_as_far: impl Fn(f64) -> Option<LongestRun>,
    ) -> Self {
        let own = athlete.and_then(|athlete| athlete.goal_m);
        let goal_m = own.or_else(|| plan.and_then(|plan| plan.goal_m)).unwrap_or(DEFAULT_GOAL_M);
        let reached = first_as_far(goal_m);
        let on_the_way = first_as_far(ON_THE_WAY_M).filter(|_| reached.is_none() && goal_m > ON_THE_WAY_M);
        Self { goal_m, reached, on_the_way }
    }

    /// What was reached, in words; `None` where nothing was.
    pub fn reached_text(&self) -> Option<String> {
        let said = |run: &LongestRun, distance_m: f64| {
            format!("{} without a break on {}: {}", kilometres(distance_m), run.day, run.text())
        };
        match (&self.reached, &self.on_the_way) {
            (Some(run), _) => Some(format!("reached: {}", said(run, self.goal_m))),
            (None, Some(run)) => Some(format!("on the way: {}", said(run, ON_THE_WAY_M))),
            (None, None) => None,
        }
    }
}

/// Metres as kilometres, without decimals that say nothing.
pub(crate) fn kilometres(metres: f64) -> String {
    let text = format!("{:.2}", metres / 1000.0);
    format!("{} km", text.trim_end_matches('0').trim_end_matches('.'))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn run(metres: f64) -> LongestRun {
        LongestRun {
            day: chrono::NaiveDate::from_ymd_opt(2026, 5, 1).unwrap_or_default(),
            start_utc: chrono::DateTime::default(),
            file: "a.gpx".into(),
            session: 1,
            duration_s: 2280.0,
            distance_m: Some(metres),
            start_s: Some(0.0),
            is_at_least: false,
        }
    }

    #[test]
    fn the_squads_goal_outranks_the_plans_and_five_kilometres_are_the_rest() {
        let plan =
            Plan { goal_m: Some(4000.0), ..Plan::parse("[[block]]\nsession = '9:00 run'", "p").unwrap() };
        let athlete = Athlete { goal_m: Some(2000.0), ..Athlete::default() };
        let none = |_| None;
        assert_eq!(Goal::of(Some(&athlete), Some(&plan), none).goal_m, 2000.0);
        assert_eq!(Goal::of(Some(&Athlete::default()), Some(&plan), none).goal_m, 4000.0);
        assert_eq!(Goal::of(None, None, none).goal_m, 5000.0);
    }

    #[test]
    fn what_was_reached_has_a_word_of_its_own() {
        let up_to =
            |metres: f64| Goal::of(None, None, |asked| (metres >= asked).then(|| run(metres))).reached_text();
        assert_eq!(up_to(5210.0).unwrap(), "reached: 5 km without a break on 2026-05-01: 5.2 km in 38:00");
        assert_eq!(up_to(3300.0).unwrap(), "on the way: 3 km without a break on 2026-05-01: 3.3 km in 38:00");
        assert_eq!(up_to(2900.0), None);
    }
}

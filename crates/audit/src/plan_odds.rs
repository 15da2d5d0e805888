//! How much likelier a recording is as a session of an athlete's plan than off it, where athletes follow several plans.

use boutwise_bouts::segment;
use boutwise_season::{Asked, Outing, Plan};
use boutwise_track::Recording;
use chrono::{DateTime, Utc};

use crate::{Configuration, SeasonFiles};

/// Most log odds that what was done speaks for or against a plan (own choice: many plans ask for much the same).
const MOST: f64 = 4.0;

/// The work of each plan, and who follows which.
pub(crate) struct PlanOdds {
    /// The kinds of session of each plan.
    plans: Vec<Vec<Asked>>,
    /// For each athlete the plans.
    followed: Vec<Vec<usize>>,
}

impl PlanOdds {
    /// The plans of the squad file; `None` where all follow the same, so that plans tell nobody apart.
    pub(crate) fn new(names: &[Vec<String>], files: &SeasonFiles) -> Option<Self> {
        let mut plans: Vec<&Plan> = Vec::new();
        let mut followed: Vec<Vec<usize>> = Vec::new();
        for names in names {
            let own = files.plans_of(&names[0]).into_iter().map(|used| {
                let known = plans.iter().position(|plan| std::ptr::eq(*plan, used.plan));
                known.unwrap_or_else(|| {
                    plans.push(used.plan);
                    plans.len() - 1
                })
            });
            followed.push(own.collect());
        }
        let differ = followed.windows(2).any(|pair| pair[0] != pair[1]);
        let asked = |plan: &Plan| {
            let speeds = plan.speeds;
            let kinds = plan.kinds().into_iter();
            let asked =
                kinds.map(|(_, asked)| Asked::new(&asked.intervals, speeds.run_m_per_s, speeds.walk_m_per_s));
            asked.collect()
        };
        differ.then(|| Self { plans: plans.into_iter().map(asked).collect(), followed })
    }

    /// The log odds for each athlete; 0 for one who follows no plan.
    pub(crate) fn of(&self, recording: &Recording, configuration: &Configuration) -> Vec<f64> {
        let settings = &configuration.settings;
        let found = segment(recording, &settings.segmentation);
        // What was done counts here, not when.
        let never = DateTime::<Utc>::default();
        let outing = Outing::new("", 1, never, never.naive_utc(), found.resolvable, found.bouts);
        let best = |kinds: &Vec<Asked>| {
            let odds = kinds.iter().map(|asked| asked.likeness(&outing, &settings.calendar).log_odds);
            odds.fold(-MOST, f64::max).min(MOST)
        };
        let by_plan: Vec<f64> = self.plans.iter().map(best).collect();
        let of = |own: &Vec<usize>| own.iter().map(|plan| by_plan[*plan]).max_by(f64::total_cmp);
        self.followed.iter().map(|own| of(own).unwrap_or(0.0)).collect()
    }
}

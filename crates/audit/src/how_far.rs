//! How far an athlete is from running a distance without a break, in sentences.

use boutwise_report::distance_text;
use boutwise_season::{ON_THE_WAY_M, READINESS_NOTE};

use crate::{AthleteJudgement, slip};

impl AthleteJudgement {
    /// A sentence for 3 km and one for the goal, and what to know of times that are estimated.
    pub fn how_far(&self) -> Vec<String> {
        let audit = &self.audit;
        let mut distances_m = vec![ON_THE_WAY_M, audit.goal.goal_m];
        distances_m.dedup();
        distances_m.sort_by(f64::total_cmp);
        let so_far = |distance_m: f64| {
            let metres = slip::farthest(&self.longest_runs)?.distance_m?;
            let left_m = (distance_m - metres).max(0.0);
            Some(format!("{} were run, {} are left", distance_text(metres), distance_text(left_m)))
        };
        let words = |distance_m: f64| {
            let readiness = audit.readiness.iter().find(|readiness| readiness.distance_m == distance_m);
            readiness.map_or_else(|| so_far(distance_m), |readiness| Some(readiness.text()))
        };
        let sentence = |&distance_m: &f64| {
            Some(format!("{} without a break: {}", distance_text(distance_m), words(distance_m)?))
        };
        let is_estimated = (audit.readiness.iter())
            .any(|readiness| readiness.expected.is_some() && readiness.done.is_none());
        let note = is_estimated.then(|| READINESS_NOTE.to_owned());
        distances_m.iter().filter_map(sentence).chain(note).collect()
    }

    /// The longest run of each session in order of time, in seconds.
    pub fn longest_runs_in_time_s(&self) -> Vec<f64> {
        let mut runs: Vec<_> = self.longest_runs.iter().collect();
        runs.sort_by_key(|run| run.start_utc);
        runs.iter().map(|run| run.duration_s).collect()
    }
}

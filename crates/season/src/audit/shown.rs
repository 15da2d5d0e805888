//! What was shown lately, and the readiness that follows.

use boutwise_bouts::statistics::median;
use boutwise_bouts::{Bout, Kind};

use super::AthleteInput;
use crate::evidence::Notes;
use crate::standing::Standing;
use crate::{Goal, LongestRun, Outing, Readiness, Rules, SessionEvidence, Shown};

/// Distances whose readiness is looked at, in metres.
pub const READINESS_DISTANCES_M: [f64; 2] = [3000.0, 5000.0];
/// Share of a long rep from which it counts for readiness (own choice, as the dose of a good session).
const LONG_REP_SHARE: f64 = 0.9;

/// Median running speed of the last two outings with runs.
pub(super) fn own_speed_m_per_s(past: &[&Outing]) -> Option<f64> {
    let speeds: Vec<f64> =
        past.iter().rev().filter_map(|outing| outing.run_speed_m_per_s()).take(2).collect();
    median(&speeds)
}

/// Readiness for each distance: what was done, and what was shown lately speaks for.
pub(super) fn readiness(
    input: &AthleteInput<'_>,
    past: &[&Outing],
    standing: &Standing<'_>,
    notes: &Notes<'_>,
    goal: &Goal,
) -> Vec<Readiness> {
    let rules = &input.settings.rules;
    let shown = shown(input, past, standing, notes);
    let mut distances_m = READINESS_DISTANCES_M.to_vec();
    if !distances_m.contains(&goal.goal_m) {
        distances_m.push(goal.goal_m);
        distances_m.sort_by(f64::total_cmp);
    }
    let of = |m: &f64| Readiness::for_distance(*m, first_as_far(past, *m, rules), shown.as_ref(), rules);
    distances_m.iter().filter_map(of).collect()
}

/// The first unbroken run that was as far as a distance.
pub(super) fn first_as_far(past: &[&Outing], distance_m: f64, rules: &Rules) -> Option<LongestRun> {
    let is_as_far = |run: &LongestRun| run.distance_m >= Some(rules.done_share * distance_m);
    past.iter().filter_map(|outing| LongestRun::at_least_of(outing)).find(is_as_far)
}

/// What was shown lately, for readiness; `None` before the evidence allows: two sessions with runs, one of them lately.
fn shown(
    input: &AthleteInput<'_>,
    past: &[&Outing],
    standing: &Standing<'_>,
    notes: &Notes<'_>,
) -> Option<Shown> {
    let rules = &input.settings.rules;
    let runs: Vec<&Outing> = past.iter().copied().filter(|outing| outing.has_runs()).collect();
    let [.., before, newest] = runs[..] else { return None };
    let is_late = |outing: &Outing| (input.as_of - outing.day()).num_days() < i64::from(rules.readiness_days);
    let lately = || runs.iter().filter(|outing| is_late(outing));
    let longest = lately()
        .filter_map(|outing| outing.longest_run())
        .filter(|run| run.distance_m.is_some())
        .max_by(|a, b| a.duration_s().total_cmp(&b.duration_s()))?;
    let long_reps_done = lately().any(|outing| {
        let long =
            |run: &&Bout| run.kind == Kind::Run && run.duration_s() >= LONG_REP_SHARE * rules.close_rep_s;
        outing.bouts.iter().filter(long).count() >= rules.close_reps as usize
    });
    let last_two = standing.evidence(notes, 2);
    let are_good = last_two.len() == 2 && last_two.iter().all(|session| session.is_good(rules));
    let shorter_s = [before, newest]
        .iter()
        .filter_map(|outing| Some(outing.longest_run()?.duration_s()))
        .fold(f64::INFINITY, f64::min);
    Some(Shown {
        longest_run_s: longest.duration_s(),
        longest_run_m: longest.distance_m?,
        run_speed_m_per_s: own_speed_m_per_s(past)?,
        last_two_good: are_good && !standing.laid.is_empty(),
        both_of_last_two_s: (are_good && standing.laid.is_empty() && is_late(before)).then_some(shorter_s),
        long_reps_done,
        not_now: standing.since_good(notes, rules).iter().any(SessionEvidence::has_pain)
            || !notes.open_warning_signs().is_empty(),
    })
}

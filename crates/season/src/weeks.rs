//! Weeks: what was run and walked in each ISO week, and the largest step in distance.

use boutwise_bouts::Kind;
use chrono::{Datelike, IsoWeek, NaiveDate};

use crate::{Outing, Rules, RunDistance, SpikeClass, largest_before, spike_pct};

/// One athlete's ISO week. Recordings in which running and walking can't be told apart count as sessions only.
#[derive(Clone, Debug, PartialEq)]
pub struct Week {
    /// The ISO week.
    pub week: IsoWeek,
    /// Recordings.
    pub sessions: u32,
    /// Seconds run.
    pub run_s: f64,
    /// Metres run.
    pub run_m: f64,
    /// Seconds walked.
    pub walk_s: f64,
    /// Metres walked.
    pub walk_m: f64,
    /// Longest unbroken run in seconds; `None` without a run.
    pub longest_run_s: Option<f64>,
    /// Most metres run in one session.
    pub session_run_m_max: Option<f64>,
    /// Most metres run in one session of the 30 days before the session with the largest step.
    pub session_run_m_max_before_30d: Option<f64>,
    /// The largest step of a session in this week, in %; `None` without earlier runs to compare with.
    pub spike_pct: Option<f64>,
    /// Its published class.
    pub spike_class: Option<SpikeClass>,
    /// Change of the run time against the week before, in %; `None` where that week had no run.
    pub run_change_pct: Option<f64>,
}

impl Week {
    /// The week as `2026-W09`.
    pub fn label(&self) -> String {
        format!("{}-W{:02}", self.week.year(), self.week.week())
    }
}

/// The weeks in which an athlete went out, in order. `outings` need no order; those after `as_of` are left out.
pub fn weeks<'a>(
    outings: impl IntoIterator<Item = &'a Outing>,
    as_of: NaiveDate,
    rules: &Rules,
) -> Vec<Week> {
    let mut outings: Vec<&Outing> = outings.into_iter().filter(|outing| outing.day() <= as_of).collect();
    outings.sort_by(|a, b| (a.start_utc, &a.file, a.session).cmp(&(b.start_utc, &b.file, b.session)));
    let runs = run_distances(outings.iter().copied());
    let mut weeks: Vec<Week> = Vec::new();
    // Local days can step back where the zone changes; a week is found and not assumed to be the last.
    outings.sort_by_key(|outing| outing.day());
    for together in outings.chunk_by(|a, b| a.day().iso_week() == b.day().iso_week()) {
        let sum = |metre: bool, kind: Kind| -> f64 {
            together
                .iter()
                .filter_map(|outing| if metre { outing.metres(kind) } else { outing.seconds(kind) })
                .sum()
        };
        let largest = |values: Vec<f64>| values.into_iter().max_by(f64::total_cmp);
        let step = together
            .iter()
            .filter_map(|outing| Some((outing, outing.metres(Kind::Run).filter(|run_m| *run_m > 0.0)?)))
            .filter_map(|(outing, run_m)| {
                Some((run_m, largest_before(&runs, outing.day(), rules.spike_window_days)?))
            })
            .map(|(run_m, before_m)| (spike_pct(run_m, before_m), before_m))
            .max_by(|a, b| a.0.total_cmp(&b.0));
        let week = together[0].day().iso_week();
        let run_s = sum(false, Kind::Run);
        let before = weeks.last().filter(|before: &&Week| follows(before.week, week) && before.run_s > 0.0);
        weeks.push(Week {
            week,
            sessions: together.len() as u32,
            run_s,
            run_m: sum(true, Kind::Run),
            walk_s: sum(false, Kind::Walk),
            walk_m: sum(true, Kind::Walk),
            longest_run_s: largest(
                together.iter().filter_map(|o| Some(o.longest_run()?.duration_s())).collect(),
            ),
            session_run_m_max: largest(
                together.iter().filter_map(|o| o.metres(Kind::Run).filter(|run_m| *run_m > 0.0)).collect(),
            ),
            session_run_m_max_before_30d: step.map(|(_, before_m)| before_m),
            spike_pct: step.map(|(spike, _)| spike),
            spike_class: step.map(|(spike, _)| SpikeClass::of(spike, rules)),
            run_change_pct: before.map(|before| spike_pct(run_s, before.run_s)),
        });
    }
    weeks
}

/// The run distance of each outing that has one.
pub(crate) fn run_distances<'a>(outings: impl IntoIterator<Item = &'a Outing>) -> Vec<RunDistance> {
    outings
        .into_iter()
        .filter_map(|outing| Some(RunDistance { day: outing.day(), run_m: outing.metres(Kind::Run)? }))
        .collect()
}

fn follows(week: IsoWeek, next: IsoWeek) -> bool {
    let monday = |week: IsoWeek| NaiveDate::from_isoywd_opt(week.year(), week.week(), chrono::Weekday::Mon);
    matches!((monday(week), monday(next)), (Some(a), Some(b)) if (b - a).num_days() == 7)
}

//! A larger group as a whole: distributions, missing data.

use std::collections::BTreeMap;

use crate::book::AthletePages;
use crate::figures::{duration, percent_text};
use crate::plot::{Scale, Tick, WIDTH, multiples, step};
use crate::progress::{Chart, Layer};
use crate::rows::SessionRow;
use crate::squad_view::Entry;
use boutwise_season::Verdict;

/// Athletes from which on a squad is also shown as a study.
pub(crate) const STUDY_ABOVE: usize = 30;

/// Width of a bar of a distribution in per cent, and the number of bars.
const BAR_PCT: f64 = 5.0;
const BARS: usize = 20;

/// Height of a distribution in units.
const HEIGHT: f64 = 110.0;

/// Most weeks shown of the longest runs.
const WEEKS_MAX: i64 = 30;

/// How many sessions have a quantity.
#[derive(Clone, Debug)]
pub(crate) struct Presence {
    pub(crate) name: &'static str,
    pub(crate) present: usize,
    pub(crate) missing: usize,
    pub(crate) missing_share: String,
}

/// Median and quartiles of a week.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct WeekLine {
    pub(crate) week: i64,
    pub(crate) athletes: usize,
    pub(crate) lower: String,
    pub(crate) median: String,
    pub(crate) upper: String,
}

#[derive(Clone, Debug)]
pub(crate) struct Study {
    pub(crate) charts: Vec<Chart>,
    pub(crate) weeks: Vec<WeekLine>,
    pub(crate) proposals: Vec<(&'static str, usize)>,
    pub(crate) presence: Vec<Presence>,
    pub(crate) sessions: usize,
}

/// What one athlete adds to a study.
#[derive(Clone, Debug)]
pub(crate) struct Share {
    /// Those that count.
    pub(crate) sessions: usize,
    /// All of them.
    pub(crate) recorded: usize,
    dose_pct: Option<f64>,
    adherences_pct: Vec<f64>,
    proposal: Option<Verdict>,
    /// Longest unbroken run in seconds, by the week of the athlete's own training: week 1 is that of the first recording.
    longest_by_week: BTreeMap<i64, f64>,
    /// Sessions that have each of [`QUANTITIES`].
    present: [usize; QUANTITIES.len()],
}

impl Share {
    pub(crate) fn of(athlete: &AthletePages<'_>) -> Self {
        let rows = || athlete.counting().map(|(_, pages)| pages.row);
        Self {
            sessions: rows().count(),
            recorded: athlete.sessions.len(),
            dose_pct: athlete.row.dose_pct,
            adherences_pct: rows().filter_map(|row| row.adherence_pct).collect(),
            proposal: athlete.row.proposal,
            longest_by_week: longest_by_week(athlete),
            present: QUANTITIES.map(|(_, has)| rows().filter(|row| has(row)).count()),
        }
    }
}

impl Study {
    /// `None` for a squad that is small enough to be read row by row.
    pub(crate) fn new(entries: &[Entry]) -> Option<Self> {
        if entries.len() <= STUDY_ABOVE {
            return None;
        }
        let shares = || entries.iter().map(|entry| &entry.share);
        let doses: Vec<_> = shares().filter_map(|share| share.dose_pct).collect();
        let adherences: Vec<_> = shares().flat_map(|share| share.adherences_pct.iter().copied()).collect();
        let sessions = shares().map(|share| share.sessions).sum();
        let (weeks, weekly) = by_week(shares());
        let charts = [
            distribution("Dose, by athlete", "athletes", &doses),
            distribution("Adherence, by session", "sessions", &adherences),
            weekly,
        ];
        let count = |proposal| shares().filter(|share| share.proposal == proposal).count();
        let mut proposals: Vec<_> =
            Verdict::ALL.iter().map(|&proposal| (proposal.word(), count(Some(proposal)))).collect();
        proposals.push(("no call", count(None)));
        Some(Self {
            charts: charts.into_iter().flatten().collect(),
            weeks,
            proposals,
            presence: presence(shares(), sessions),
            sessions,
        })
    }
}

fn distribution(title: &str, of_what: &str, values_pct: &[f64]) -> Option<Chart> {
    let mut counts = [0_usize; BARS];
    for &pct in values_pct {
        // 100 % belongs to the last bar.
        counts[((pct / BAR_PCT).max(0.0) as usize).min(BARS - 1)] += 1;
    }
    let sorted = sorted(values_pct);
    let median = quantile(&sorted, 0.5)?;
    let most = *counts.iter().max()? as f64;
    let across = Scale::across(0.0, 100.0);
    let up = Scale::up(0.0, most * 1.05, HEIGHT);
    let edge = WIDTH / BARS as f64 * 0.08;
    let path = counts.iter().enumerate().filter(|(_, count)| **count > 0).fold(
        String::new(),
        |path, (bar, &count)| {
            let (left, right) =
                (across.place(bar as f64 * BAR_PCT) + edge, across.place((bar + 1) as f64 * BAR_PCT) - edge);
            path + &format!("M{left:.0} {HEIGHT:.0}V{:.0}H{right:.0}V{HEIGHT:.0}z", up.place(count as f64))
        },
    );
    let count_step =
        step(most, 4.0, &[1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1000.0, 5000.0, 20_000.0]);
    Some(Chart {
        title: title.into(),
        label: format!(
            "{title}: median {}, middle half from {} to {}, {} {of_what}",
            percent_text(median),
            percent_text(quantile(&sorted, 0.25)?),
            percent_text(quantile(&sorted, 0.75)?),
            values_pct.len()
        ),
        height: HEIGHT as u32,
        layers: vec![
            Layer { look: "columns", path },
            Layer { look: "median", path: format!("M{:.0} 0V{HEIGHT:.0}", across.place(median)) },
        ],
        values: multiples(0.0, most, count_step)
            .map(|n| Tick { at: up.percent(n), label: format!("{n:.0}") })
            .collect(),
        dates: multiples(0.0, 100.0, 25.0)
            .map(|pct| Tick { at: across.percent(pct), label: percent_text(pct) })
            .collect(),
    })
}

/// The longest unbroken run of each week of an athlete's own training: week 1 is that of the first recording.
fn longest_by_week(athlete: &AthletePages<'_>) -> BTreeMap<i64, f64> {
    let mut longest: BTreeMap<i64, f64> = BTreeMap::new();
    let first = athlete.counting().filter_map(|(_, pages)| pages.day()).min();
    let Some(first_monday) = first.map(|day| day.week(chrono::Weekday::Mon).first_day()) else {
        return longest;
    };
    for (_, pages) in athlete.counting() {
        let Some((day, run_s)) = pages.day().zip(pages.longest_run_s()) else { continue };
        let week = (day - first_monday).num_days() / 7 + 1;
        if week <= WEEKS_MAX {
            longest.entry(week).and_modify(|most| *most = most.max(run_s)).or_insert(run_s);
        }
    }
    longest
}

fn by_week<'a>(shares: impl Iterator<Item = &'a Share>) -> (Vec<WeekLine>, Option<Chart>) {
    let mut by_week: BTreeMap<i64, Vec<f64>> = BTreeMap::new();
    for (week, run_s) in shares.flat_map(|share| &share.longest_by_week) {
        by_week.entry(*week).or_default().push(*run_s);
    }
    let quartiles: Vec<_> = by_week
        .iter()
        .filter_map(|(&week, runs)| {
            let runs = sorted(runs);
            let quartile = |share| quantile(&runs, share);
            Some((week, runs.len(), quartile(0.25)?, quartile(0.5)?, quartile(0.75)?))
        })
        .collect();
    let lines = quartiles
        .iter()
        .map(|&(week, athletes, lower, median, upper)| WeekLine {
            week,
            athletes,
            lower: duration(lower),
            median: duration(median),
            upper: duration(upper),
        })
        .collect();
    (lines, weekly_chart(&quartiles))
}

fn weekly_chart(quartiles: &[(i64, usize, f64, f64, f64)]) -> Option<Chart> {
    let (&(first, _, _, first_median, _), &(last, _, _, last_median, _)) =
        quartiles.first().zip(quartiles.last())?;
    let most = quartiles.iter().map(|(.., upper)| *upper).fold(60.0, f64::max);
    let across = Scale::across(first as f64 - 0.6, last as f64 + 0.6);
    let up = Scale::up(0.0, most * 1.05, HEIGHT);
    let spread = quartiles.iter().fold(String::new(), |path, &(week, _, lower, _, upper)| {
        path + &format!("M{:.0} {:.0}V{:.0}", across.place(week as f64), up.place(lower), up.place(upper))
    });
    let medians: Vec<_> = quartiles
        .iter()
        .map(|&(week, _, _, median, _)| (across.place(week as f64), up.place(median)))
        .collect();
    let dots = crate::plot::dots(medians);
    let step_s = step(most, 4.0, &[30.0, 60.0, 120.0, 300.0, 600.0, 900.0, 1800.0, 3600.0]);
    let week_step = step((last - first) as f64, 10.0, &[1.0, 2.0, 4.0]);
    Some(Chart {
        title: "Longest unbroken run, by week of training".into(),
        label: format!(
            "Median of the longest unbroken run: {} in week {first}, {} in week {last}; bars span the middle half",
            duration(first_median),
            duration(last_median)
        ),
        height: HEIGHT as u32,
        layers: vec![Layer { look: "spread", path: spread }, Layer { look: "dots", path: dots }],
        values: multiples(0.0, most, step_s)
            .map(|s| Tick { at: up.percent(s), label: duration(s) })
            .collect(),
        dates: multiples(first as f64, last as f64, week_step)
            .map(|week| Tick { at: across.percent(week), label: format!("{week:.0}") })
            .collect(),
    })
}

/// A quantity that a session may lack, and whether one has it.
type Quantity = (&'static str, fn(&SessionRow) -> bool);

const QUANTITIES: [Quantity; 7] = [
    ("heart rate", |row| row.hr_mean_bpm.is_some()),
    ("cadence while running", |row| row.run_cadence_spm.is_some()),
    ("distance", |row| row.distance_m.is_some()),
    ("running told from walking", |row| row.resolvable == Some(true)),
    ("a place in the plan", |row| row.planned.is_some()),
    ("adherence", |row| row.adherence_pct.is_some()),
    ("pace drift", |row| row.pace_drift_pct.is_some()),
];

fn presence<'a>(shares: impl Iterator<Item = &'a Share> + Clone, sessions: usize) -> Vec<Presence> {
    let line = |(place, (name, _)): (usize, &Quantity)| {
        let present = shares.clone().map(|share| share.present[place]).sum();
        let missing = sessions - present;
        let missing_share = percent_text(100.0 * missing as f64 / sessions.max(1) as f64);
        Presence { name, present, missing, missing_share }
    };
    QUANTITIES.iter().enumerate().map(line).collect()
}

fn sorted(values: &[f64]) -> Vec<f64> {
    let mut values = values.to_vec();
    values.sort_by(f64::total_cmp);
    values
}

/// The quantile of sorted values, linear between neighbours (Hyndman and Fan 1996, type 7).
fn quantile(sorted: &[f64], share: f64) -> Option<f64> {
    let place = share * sorted.len().checked_sub(1)? as f64;
    let (below, above) = (sorted[place.floor() as usize], sorted[place.ceil() as usize]);
    Some(below + (above - below) * place.fract())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// R's default, `quantile(c(1, 2, 3, 4))`: 1.75, 2.5, 3.25.
    #[test]
    fn quantiles_are_those_of_type_7() {
        let values = [1.0, 2.0, 3.0, 4.0];
        assert_eq!(
            [0.25, 0.5, 0.75].map(|share| quantile(&values, share)),
            [Some(1.75), Some(2.5), Some(3.25)]
        );
        assert_eq!(quantile(&[], 0.5), None);
    }

    #[test]
    fn a_distribution_holds_every_value_once() {
        let chart = distribution("Dose", "athletes", &[0.0, 4.9, 5.0, 99.9, 100.0]).expect("values");
        assert_eq!(chart.layers[0].path.matches('z').count(), 3);
        assert!(chart.label.contains("5 athletes"));
    }
}

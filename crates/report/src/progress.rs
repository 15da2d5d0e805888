//! An athlete's sessions over the weeks: longest unbroken run, dose, pace drift, effort, time of day.

use std::collections::BTreeSet;

use chrono::{Datelike, Days, NaiveDate, Timelike};

use crate::attention::is_stopped;
use crate::book::{AthletePages, SessionPages};
use crate::figures::{counted, duration, percent_text, signed_duration};
use crate::plot::{Scale, Tick, WIDTH, bars, dots, line, multiples, step};

/// Height of the chart of the longest run, of the smaller ones and of a trend line, in units.
const TALL: f64 = 150.0;
const LOW: f64 = 60.0;
const LINE: f64 = 24.0;

/// Most labels under a chart.
const DATES_MAX: f64 = 6.0;
/// Steps of a year in days, in whole weeks: from here on the month alone would be the same at each.
const YEAR_DAYS: f64 = 364.0;

/// Days after the newest run that the chart of all shows of plans (own choice).
const AHEAD_DAYS: u64 = 14;

/// Part of the width by which half a week stands out on both sides, so that no mark is cut at the edge.
const EDGE_DAYS: f64 = 2.0;

/// One layer of a chart: its look and its path.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Layer {
    pub(crate) look: &'static str,
    pub(crate) path: String,
}

#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Chart {
    pub(crate) title: String,
    /// What the chart says, in a sentence.
    pub(crate) label: String,
    pub(crate) height: u32,
    pub(crate) layers: Vec<Layer>,
    pub(crate) values: Vec<Tick>,
    pub(crate) dates: Vec<Tick>,
}

/// The days that all charts of an athlete span.
struct Span {
    first: NaiveDate,
    scale: Scale,
    days: f64,
}

impl Span {
    fn new(athlete: &AthletePages<'_>) -> Option<Self> {
        Self::of_days(days_of(athlete))
    }

    fn of_days(days: impl Iterator<Item = NaiveDate> + Clone) -> Option<Self> {
        let (first, last) = days.clone().min().zip(days.max())?;
        let days = (last - first).num_days() as f64;
        Some(Self { first, scale: Scale::across(-EDGE_DAYS, days + EDGE_DAYS), days })
    }

    fn place(&self, day: NaiveDate) -> f64 {
        self.scale.place((day - self.first).num_days() as f64)
    }

    fn ticks(&self) -> Vec<Tick> {
        let to_monday = f64::from((7 - self.first.weekday().num_days_from_monday()) % 7);
        let step_days = step(self.days, DATES_MAX, &[7.0, 14.0, 28.0, 56.0, 112.0, YEAR_DAYS]);
        multiples(0.0, self.days - to_monday, step_days)
            .filter_map(|days| {
                let day = self.first.checked_add_signed(chrono::Duration::days((days + to_monday) as i64))?;
                let over_years = step_days >= YEAR_DAYS;
                let label = day.format(if over_years { "%b %Y" } else { "%-d %b" }).to_string();
                Some(Tick { at: self.scale.percent(days + to_monday), label })
            })
            .collect()
    }
}

/// The days of an athlete's recordings and of the plan.
fn days_of(athlete: &AthletePages<'_>) -> impl Iterator<Item = NaiveDate> + Clone {
    let recorded = athlete.counting().filter_map(|(_, pages)| pages.day());
    recorded.chain(athlete.extras.calendar.iter().filter_map(|planned| planned.date))
}

/// What one athlete adds to the chart of all.
#[derive(Clone, Debug)]
pub(crate) struct ProgressShare {
    /// First and last day of recordings and plan.
    days: Option<(NaiveDate, NaiveDate)>,
    /// Longest unbroken runs in seconds; none beside a warning sign.
    runs_s: Vec<(NaiveDate, f64)>,
    /// The longest run that the plan asks for in one piece, in whole seconds.
    asked_s: Vec<(NaiveDate, u64)>,
}

impl ProgressShare {
    pub(crate) fn of(athlete: &AthletePages<'_>) -> Self {
        if is_stopped(athlete) {
            return Self { days: None, runs_s: Vec::new(), asked_s: Vec::new() };
        }
        Self {
            days: days_of(athlete).min().zip(days_of(athlete).max()),
            runs_s: by_day(athlete, |pages| pages.longest_run_s()).collect(),
            asked_s: (athlete.extras.calendar.iter())
                .filter_map(|planned| Some((planned.date?, planned.longest_run_planned_s?.round() as u64)))
                .collect(),
        }
    }
}

/// The longest unbroken runs of all, a line a person, beside what their plans ask for.
pub(crate) fn group_chart<'a>(shares: impl Iterator<Item = &'a ProgressShare> + Clone) -> Option<Chart> {
    let newest = shares.clone().flat_map(|share| &share.runs_s).map(|(day, _)| *day).max()?;
    let end = newest.checked_add_days(Days::new(AHEAD_DAYS))?;
    let days = shares.clone().filter_map(|share| share.days).flat_map(|(first, last)| [first, last.min(end)]);
    let span = Span::of_days(days)?;
    let asked: BTreeSet<_> = (shares.clone().flat_map(|share| share.asked_s.iter().copied()))
        .filter(|(day, _)| *day <= end)
        .collect();
    let longest_s = shares.clone().flat_map(|share| &share.runs_s).map(|(_, s)| *s).reduce(f64::max)?;
    let most_s = asked.iter().map(|(_, s)| *s as f64).fold(longest_s.max(60.0), f64::max);
    let (scale, values) = run_axis(most_s);
    let asked = asked.into_iter().map(|(day, s)| (day, s as f64));
    let lines: String = (shares.clone())
        .map(|share| line(share.runs_s.iter().map(|&(day, s)| Some((span.place(day), scale.place(s))))))
        .collect();
    let people = shares.filter(|share| !share.runs_s.is_empty()).count();
    Some(Chart {
        title: "Longest unbroken runs of all (a line a person) and what the plan asks (flat dashes)".into(),
        label: format!(
            "Longest unbroken runs of {} over the weeks, up to {}",
            counted(people, "person", "people"),
            duration(longest_s)
        ),
        height: TALL as u32,
        layers: vec![dashes(asked, &span, scale), Layer { look: "line", path: lines }],
        values,
        dates: span.ticks(),
    })
}

/// The charts that have something to show.
pub(crate) fn charts(athlete: &AthletePages<'_>) -> Vec<Chart> {
    let Some(span) = Span::new(athlete) else { return Vec::new() };
    [longest_run(athlete, &span), dose(athlete, &span), drift(athlete, &span), effort(athlete, &span)]
        .into_iter()
        .flatten()
        .collect()
}

/// The values of the athlete's sessions by day, where both are known.
fn by_day<'a>(
    athlete: &'a AthletePages<'_>,
    value: impl Fn(&SessionPages<'_>) -> Option<f64> + 'a,
) -> impl Iterator<Item = (NaiveDate, f64)> + 'a {
    athlete.counting().filter_map(move |(_, pages)| Some((pages.day()?, value(pages)?)))
}

/// The axis of run lengths up to a length, in seconds, with its labels.
fn run_axis(most_s: f64) -> (Scale, Vec<Tick>) {
    let scale = Scale::up(0.0, most_s * 1.08, TALL);
    let step_s = step(most_s, 4.0, &[30.0, 60.0, 120.0, 300.0, 600.0, 900.0, 1800.0, 3600.0]);
    let values = multiples(0.0, most_s, step_s).map(|s| Tick { at: scale.percent(s), label: duration(s) });
    (scale, values.collect())
}

/// What plans ask for on their days, as flat dashes.
fn dashes(asked_s: impl Iterator<Item = (NaiveDate, f64)>, span: &Span, scale: Scale) -> Layer {
    let half_day = (span.scale.place(1.0) - span.scale.place(0.0)) * 0.8;
    let path = asked_s.fold(String::new(), |path, (day, s)| {
        path + &format!("M{:.0} {:.0}h{:.0}", span.place(day) - half_day, scale.place(s), 2.0 * half_day)
    });
    Layer { look: "asked", path }
}

fn longest_run(athlete: &AthletePages<'_>, span: &Span) -> Option<Chart> {
    let done: Vec<_> = by_day(athlete, |pages| pages.longest_run_s()).collect();
    let asked: Vec<_> = (athlete.extras.calendar.iter())
        .filter_map(|planned| planned.date.zip(planned.longest_run_planned_s))
        .collect();
    let (&(_, first_s), &(_, last_s)) = done.first().zip(done.last())?;
    let target =
        athlete.extras.target.as_ref().and_then(|target| target.needed_s.map(|s| (target.distance_m, s)));
    let all = done.iter().chain(&asked).map(|(_, s)| *s).chain(target.map(|(_, s)| s));
    let most_s = all.fold(60.0, f64::max);
    let (scale, values) = run_axis(most_s);
    let mut layers = Vec::new();
    if let Some((_, needed_s)) = target {
        layers.push(Layer { look: "target", path: format!("M0 {:.0}h{WIDTH:.0}", scale.place(needed_s)) });
    }
    layers.push(dashes(asked.iter().copied(), span, scale));
    let places: Vec<_> = done.iter().map(|&(day, s)| (span.place(day), scale.place(s))).collect();
    layers.push(Layer { look: "line", path: line(places.iter().copied().map(Some)) });
    layers.push(Layer { look: "dots", path: dots(places) });
    let mut label = format!(
        "Longest unbroken run by session: {} at first, {} in the last of {} sessions",
        duration(first_s),
        duration(last_s),
        done.len()
    );
    if let Some((_, asked_s)) = asked.last() {
        label.push_str(&format!("; the plan's last session asks for {}", duration(*asked_s)));
    }
    if let Some((metres, needed_s)) = target {
        label.push_str(&format!("; {:.1} km is likely to take {}", metres / 1000.0, duration(needed_s)));
    }
    Some(Chart {
        title: "Longest unbroken run".into(),
        label,
        height: TALL as u32,
        layers,
        values,
        dates: span.ticks(),
    })
}

fn dose(athlete: &AthletePages<'_>, span: &Span) -> Option<Chart> {
    let doses: Vec<_> = by_day(athlete, |pages| pages.row.dose_pct).collect();
    let mean = mean(&doses)?;
    let scale = Scale::up(0.0, 100.0, LOW);
    let path = bars(doses.iter().map(|&(day, pct)| (span.place(day), scale.place(pct))), LOW);
    Some(Chart {
        title: "Dose".into(),
        label: format!("Dose by session: mean {} over {} sessions", percent_text(mean), doses.len()),
        height: LOW as u32,
        layers: vec![Layer { look: "bars", path }],
        values: [0.0, 50.0, 100.0]
            .map(|pct| Tick { at: scale.percent(pct), label: percent_text(pct) })
            .into(),
        dates: span.ticks(),
    })
}

fn drift(athlete: &AthletePages<'_>, span: &Span) -> Option<Chart> {
    let drifts: Vec<_> = by_day(athlete, |pages| pages.row.pace_drift_pct).collect();
    let mean = mean(&drifts)?;
    let most = drifts.iter().map(|(_, pct)| pct.abs()).fold(10.0, f64::max);
    let scale = Scale::up(-most * 1.1, most * 1.1, LOW);
    let path = dots(drifts.iter().map(|&(day, pct)| (span.place(day), scale.place(pct))));
    let base = format!("M0 {:.0}h{WIDTH:.0}", scale.place(0.0));
    let step_pct = step(2.0 * most, 2.5, &[10.0, 20.0, 50.0, 100.0]);
    Some(Chart {
        title: "Pace drift (above the line: slowing)".into(),
        label: format!(
            "Pace drift by session: mean {mean:+.1} % over {} sessions; plus is slowing",
            drifts.len()
        ),
        height: LOW as u32,
        layers: vec![Layer { look: "base", path: base }, Layer { look: "dots", path }],
        values: multiples(-most, most, step_pct)
            .map(|pct| Tick {
                at: scale.percent(pct),
                label: format!("{pct:+.0}\u{202f}%").replace("+0", "0").replace('-', "−"),
            })
            .collect(),
        dates: span.ticks(),
    })
}

fn effort(athlete: &AthletePages<'_>, span: &Span) -> Option<Chart> {
    let efforts: Vec<_> =
        athlete.extras.journal.iter().filter_map(|day| Some((day.date, day.effort_0_10?))).collect();
    let mean = mean(&efforts)?;
    let scale = Scale::up(-0.8, 10.8, LOW);
    let path = dots(efforts.iter().map(|&(day, effort)| (span.place(day), scale.place(effort))));
    Some(Chart {
        title: "Effort (0 to 10, from the journal)".into(),
        label: format!("Effort by day: mean {mean:.1} of 10 over {} entries", efforts.len()),
        height: LOW as u32,
        layers: vec![Layer { look: "dots", path }],
        values: [0.0, 5.0, 10.0]
            .map(|effort| Tick { at: scale.percent(effort), label: format!("{effort:.0}") })
            .into(),
        dates: span.ticks(),
    })
}

fn mean(values: &[(NaiveDate, f64)]) -> Option<f64> {
    (!values.is_empty()).then(|| values.iter().map(|(_, value)| value).sum::<f64>() / values.len() as f64)
}

/// The times of day at which sessions began, midnight to midnight.
pub(crate) fn time_of_day(athlete: &AthletePages<'_>) -> Option<Chart> {
    let starts: Vec<_> = (athlete.counting())
        .filter_map(|(_, pages)| Some(f64::from(pages.row.start_local?.num_seconds_from_midnight())))
        .collect();
    let (earliest, latest) =
        starts.iter().copied().reduce(f64::min).zip(starts.iter().copied().reduce(f64::max))?;
    let scale = Scale::across(0.0, 86_400.0);
    let clock = |s: f64| format!("{}:{:02}", s as u64 / 3600, s as u64 / 60 % 60);
    let path = bars(starts.iter().map(|&s| (scale.place(s), 4.0)), LINE);
    Some(Chart {
        title: "Starts by time of day".into(),
        label: format!("{} starts between {} and {}", starts.len(), clock(earliest), clock(latest)),
        height: LINE as u32,
        layers: vec![Layer { look: "starts", path }],
        values: Vec::new(),
        dates: (0..=4)
            .map(|quarter| f64::from(quarter) * 21_600.0)
            .map(|s| Tick { at: scale.percent(s), label: clock(s) })
            .collect(),
    })
}

/// The longest unbroken run of each session as a small line without axes.
pub(crate) fn trend_line(athlete: &AthletePages<'_>) -> Option<Chart> {
    let span = Span::new(athlete)?;
    let done: Vec<_> = by_day(athlete, |pages| pages.longest_run_s()).collect();
    let (&(_, first_s), &(last_day, last_s)) = done.first().zip(done.last())?;
    let most_s = done.iter().map(|(_, s)| *s).fold(1.0, f64::max);
    let scale = Scale::up(0.0, most_s * 1.1, LINE);
    let trend = athlete.row.longest_run_trend_s_per_week;
    let trend = trend.map(|s| format!(", {} a week", signed_duration(s))).unwrap_or_default();
    Some(Chart {
        title: String::new(),
        label: format!(
            "Longest unbroken run from {} to {} over {} sessions{trend}",
            duration(first_s),
            duration(last_s),
            done.len()
        ),
        height: LINE as u32,
        layers: vec![
            Layer {
                look: "line",
                path: line(done.iter().map(|&(day, s)| Some((span.place(day), scale.place(s))))),
            },
            Layer { look: "dots", path: dots([(span.place(last_day), scale.place(last_s))]) },
        ],
        values: Vec::new(),
        dates: Vec::new(),
    })
}

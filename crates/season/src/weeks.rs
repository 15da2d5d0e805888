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
    /// Seconds run; `None`, as below, where no recording of the week tells it.
    pub run_s: Option<f64>,
    /// Metres run; `None`, as of those walked, where they are not known of a recording that tells the time.
    pub run_m: Option<f64>,
    /// Seconds walked.
    pub walk_s: Option<f64>,
    /// Metres walked.
    pub walk_m: Option<f64>,
    /// Longest unbroken run in seconds; `None` without a run.
    pub longest_run_s: Option<f64>,
    /// Most metres run in one session.
    pub session_run_m_max: Option<f64>,
    /// Most metres run in one session of the 30 days before that session.
    pub session_run_m_max_before_30d: Option<f64>,
    /// How far the one is above the other, in %; `None` without earlier runs to compare with.
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

/// The weeks in which an athlete went out, in order. `outings` need no order; those after `as_of` are left out. Each counts
/// whole: of two devices that recorded the same time only one may be among them.
pub fn weeks<'a>(
    outings: impl IntoIterator<Item = &'a Outing>,
    as_of: NaiveDate,
    rules: &Rules,
) -> Vec<Week> {
    let mut outings: Vec<&Outing> = outings.into_iter().filter(|outing| outing.day() <= as_of).collect();
    outings.sort_by_key(|outing| outing.order());
    let runs = run_distances(outings.iter().copied());
    let mut weeks: Vec<Week> = Vec::new();
    // Local days can step back where the zone changes; a week is found and not assumed to be the last.
    outings.sort_by_key(|outing| outing.day());
    for together in outings.chunk_by(|a, b| a.day().iso_week() == b.day().iso_week()) {
        // What cannot be told adds nothing; a part is never taken for the whole.
        let sum = |amount: fn(&Outing, Kind) -> Option<f64>, kind: Kind| -> Option<f64> {
            let mut told = together.iter().filter(|outing| outing.resolvable).peekable();
            told.peek()?;
            told.map(|outing| amount(outing, kind)).sum()
        };
        let largest = |values: Vec<f64>| values.into_iter().max_by(f64::total_cmp);
        let run_m = sum(Outing::metres, Kind::Run);
        // Where the metres of one are not known it may be the one with the most.
        let most = together
            .iter()
            .filter_map(|outing| Some((outing, outing.metres(Kind::Run).filter(|run_m| *run_m > 0.0)?)))
            .max_by(|a, b| a.1.total_cmp(&b.1))
            .filter(|_| run_m.is_some());
        let before_m =
            most.and_then(|(outing, _)| largest_before(&runs, outing.day(), rules.spike_window_days));
        let spike = most.zip(before_m).map(|((_, run_m), before_m)| spike_pct(run_m, before_m));
        let week = together[0].day().iso_week();
        let run_s = sum(Outing::seconds, Kind::Run);
        let before_s = weeks
            .last()
            .filter(|before: &&Week| follows(before.week, week))
            .and_then(|before| before.run_s.filter(|run_s| *run_s > 0.0));
        weeks.push(Week {
            week,
            sessions: together.len() as u32,
            run_s,
            run_m,
            walk_s: sum(Outing::seconds, Kind::Walk),
            walk_m: sum(Outing::metres, Kind::Walk),
            longest_run_s: largest(
                together.iter().filter_map(|o| Some(o.longest_run()?.duration_s())).collect(),
            ),
            session_run_m_max: most.map(|(_, run_m)| run_m),
            session_run_m_max_before_30d: before_m,
            spike_pct: spike,
            spike_class: spike.map(|spike| SpikeClass::of(spike, rules)),
            run_change_pct: run_s.zip(before_s).map(|(run_s, before_s)| spike_pct(run_s, before_s)),
        });
    }
    weeks
}

/// The run distance of each outing in which running can be told.
pub(crate) fn run_distances<'a>(outings: impl IntoIterator<Item = &'a Outing>) -> Vec<RunDistance> {
    outings
        .into_iter()
        .filter(|outing| outing.resolvable)
        .map(|outing| RunDistance { day: outing.day(), run_m: outing.metres(Kind::Run) })
        .collect()
}

fn follows(week: IsoWeek, next: IsoWeek) -> bool {
    let monday = |week: IsoWeek| NaiveDate::from_isoywd_opt(week.year(), week.week(), chrono::Weekday::Mon);
    matches!((monday(week), monday(next)), (Some(a), Some(b)) if (b - a).num_days() == 7)
}

#[cfg(test)]
mod tests {
    use boutwise_bouts::Bout;

    use super::*;

    fn outing(file: &str, start: &str, bouts: Vec<Bout>) -> Outing {
        let start: chrono::NaiveDateTime = start.parse().unwrap();
        Outing::new(file, 1, start.and_utc(), start, true, bouts)
    }

    #[test]
    fn the_step_of_a_week_is_that_of_the_session_with_the_most_running() {
        let run = |metres: f64| vec![Bout { distance_m: Some(metres), ..Bout::new(Kind::Run, 0.0, 600.0) }];
        let before = outing("a.gpx", "2026-03-01T08:00:00", run(1000.0));
        let large_step = outing("b.gpx", "2026-03-02T08:00:00", run(2000.0));
        let most = outing("c.gpx", "2026-03-04T08:00:00", run(2100.0));
        let all = weeks([&before, &large_step, &most], most.day(), &Rules::default());
        assert_eq!((all[0].session_run_m_max, all[0].session_run_m_max_before_30d), (Some(1000.0), None));
        assert_eq!(
            (all[1].session_run_m_max, all[1].session_run_m_max_before_30d),
            (Some(2100.0), Some(2000.0))
        );
        assert!((all[1].spike_pct.unwrap() - 5.0).abs() < 1e-9);
    }

    #[test]
    fn where_the_metres_of_a_run_are_not_known_a_part_is_no_sum() {
        let bout = |distance_m: Option<f64>| Bout { distance_m, ..Bout::new(Kind::Run, 0.0, 600.0) };
        let of = |second: Option<f64>| {
            let part = outing("a.gpx", "2026-03-02T08:00:00", vec![bout(Some(900.0)), bout(second)]);
            let whole = outing("b.gpx", "2026-03-04T08:00:00", vec![bout(Some(1500.0))]);
            let next = outing("c.gpx", "2026-03-11T08:00:00", vec![bout(Some(2400.0))]);
            let weeks = weeks([&part, &whole, &next], next.day(), &Rules::default());
            (weeks[0].run_s, weeks[0].run_m, weeks[0].session_run_m_max, weeks[1].spike_pct.map(f64::round))
        };
        assert_eq!(of(Some(1100.0)), (Some(1800.0), Some(3500.0), Some(2000.0), Some(20.0)));
        assert_eq!(of(None), (Some(1800.0), None, None, None));
    }

    #[test]
    fn a_week_in_which_nothing_can_be_told_has_no_run_time_and_one_of_walks_has_none_of_it() {
        let bouts = |kind| vec![Bout::new(kind, 0.0, 600.0)];
        let untold = Outing { resolvable: false, ..outing("a.gpx", "2026-03-02T08:00:00", bouts(Kind::Run)) };
        let walked = outing("b.gpx", "2026-03-09T08:00:00", bouts(Kind::Walk));
        let weeks = weeks([&untold, &walked], walked.day(), &Rules::default());
        assert_eq!((weeks[0].run_s, weeks[0].walk_s), (None, None));
        assert_eq!((weeks[1].run_s, weeks[1].walk_s), (Some(0.0), Some(600.0)));
        // No distance was recorded.
        assert_eq!((weeks[1].run_m, weeks[1].walk_m), (Some(0.0), None));
        assert_eq!(weeks[1].session_run_m_max, None);
    }

    fn run_of(start: &str, seconds: f64) -> Outing {
        outing(start, start, vec![Bout::new(Kind::Run, 0.0, seconds), Bout::new(Kind::Walk, seconds, 3000.0)])
    }

    #[test]
    fn a_week_is_compared_with_the_one_before_it_and_no_other() {
        let all = [
            run_of("2026-03-02T08:00:00", 600.0),
            run_of("2026-03-09T08:00:00", 900.0),
            run_of("2026-03-23T08:00:00", 1200.0),
            outing("walk", "2026-03-30T08:00:00", vec![Bout::new(Kind::Walk, 0.0, 600.0)]),
            run_of("2026-04-06T08:00:00", 1200.0),
            run_of("2026-04-13T08:00:00", 1200.0),
        ];
        let as_of = NaiveDate::from_ymd_opt(2026, 4, 12).unwrap();
        let changes: Vec<_> =
            weeks(&all, as_of, &Rules::default()).iter().map(|week| week.run_change_pct).collect();
        // Week 12 is empty, week 14 had no run, and the last lies after the day.
        assert_eq!(changes, [None, Some(50.0), None, Some(-100.0), None]);
    }

    #[test]
    fn what_nobody_can_tell_covers_no_time_of_another_recording() {
        let untold = Outing { resolvable: false, ..run_of("2026-03-02T08:00:00", 600.0) };
        let told = run_of("2026-03-02T08:01:00", 600.0);
        let together = weeks([&untold, &told], told.day(), &Rules::default());
        assert_eq!((together[0].sessions, together[0].run_s), (2, Some(600.0)));
    }
}

//! The group on one page: who came on which day, how the week went against the one before, the next session by sub-group
//! with the times to whistle at, and the weeks of the plan one after the other.

use std::collections::{BTreeMap, BTreeSet};

use boutwise_bouts::{Amount, Gait};
use boutwise_season::parse_intervals;
use chrono::{Datelike, Days, IsoWeek, NaiveDate, Weekday};

use crate::attention::is_stopped;
use crate::book::{AthletePages, Book, SessionPages};
use crate::column::Field;
use crate::figures::{duration, full_day, percent_text, place_in_plan, short_day};
use crate::markup::Text;
use crate::progress::{Chart, group_chart};
use crate::rows::PlannedRow;

/// Sub-groups of the next session that get a plan of their own; who is left over goes alone (own choice: as many as a
/// coach and a helper can whistle for).
const SUB_GROUPS_MAX: usize = 3;

/// What a cell of the register says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Mark {
    Came,
    Done,
    Cut,
    Absent,
    Excused,
    NotTold,
}

impl Mark {
    fn word(self) -> &'static str {
        match self {
            Self::Came => "came",
            Self::Done => "done",
            Self::Cut => "cut",
            Self::Absent => "absent",
            Self::Excused => "excused",
            Self::NotTold => "not told",
        }
    }

    /// The marks and what they mean, for the legend.
    const MEANINGS: [(Self, &str); 6] = [
        (Self::Done, "all reps in full"),
        (Self::Came, "a recording, not all in full"),
        (Self::Cut, "the last reps are missing"),
        (Self::Absent, "due, and no recording"),
        (Self::Excused, "away, paused or excused"),
        (Self::NotTold, "running could not be told from walking"),
    ];

    /// By the outcome of the planned session, `None` while nothing is due.
    fn of_planned(planned: &PlannedRow, recorded: Option<&SessionPages<'_>>) -> Option<Self> {
        Some(match planned.outcome.as_deref()? {
            "completed" | "said" => Self::Done,
            "cut short" => Self::Cut,
            "missed" => Self::Absent,
            "excused" => Self::Excused,
            _ => Self::of_recording(recorded?),
        })
    }

    fn of_recording(recorded: &SessionPages<'_>) -> Self {
        if recorded.row.resolvable == Some(false) { Self::NotTold } else { Self::Came }
    }
}

/// A day of the register.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct RegisterDay {
    pub(crate) date: NaiveDate,
    /// `Tue 5 Mar`.
    pub(crate) name: String,
}

/// A person and a day of the register.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(crate) struct RegisterCell {
    /// The marks, parted by commas; empty where nothing was asked or is due.
    pub(crate) text: String,
    /// Whether one of them says that somebody was expected and not all was done.
    pub(crate) stands_out: bool,
}

/// A person of the register.
#[derive(Clone, Debug)]
pub(crate) struct RegisterLine {
    pub(crate) name: Text,
    pub(crate) name_key: String,
    pub(crate) cells: Vec<RegisterCell>,
}

/// One quantity in two weeks.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Compared {
    pub(crate) what: &'static str,
    pub(crate) this_week: String,
    pub(crate) week_before: String,
}

/// When to whistle, from the start.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Whistle {
    /// Starts of the runs.
    pub(crate) run: String,
    /// Starts of the walks.
    pub(crate) walk: String,
    pub(crate) end: String,
}

/// Those who do the same next.
#[derive(Clone, Debug)]
pub(crate) struct SubGroup {
    pub(crate) place: Text,
    pub(crate) planned: Text,
    pub(crate) days: String,
    pub(crate) names: Vec<Text>,
    pub(crate) whistle: Option<Whistle>,
}

/// Somebody whose next session nobody shares.
#[derive(Clone, Debug)]
pub(crate) struct Alone {
    pub(crate) name: Text,
    pub(crate) place: Text,
    pub(crate) planned: Text,
    pub(crate) day: String,
}

/// A week of the whole group.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct GroupWeek {
    pub(crate) week: String,
    pub(crate) monday: String,
    /// How many were asked for which block.
    pub(crate) steps: String,
    pub(crate) came: String,
    pub(crate) missing: String,
    pub(crate) dose: String,
    pub(crate) longest: String,
}

/// The group on one page.
#[derive(Clone, Debug)]
pub(crate) struct GroupView {
    /// Both weeks in a sentence.
    pub(crate) sentence: String,
    pub(crate) days: Vec<RegisterDay>,
    pub(crate) lines: Vec<RegisterLine>,
    pub(crate) marks: Vec<(&'static str, &'static str)>,
    pub(crate) compared: Vec<Compared>,
    pub(crate) sub_groups: Vec<SubGroup>,
    pub(crate) alone: Vec<Alone>,
    /// Those for whom nothing comes next, and why is said elsewhere.
    pub(crate) without_next: Vec<Text>,
    pub(crate) weeks: Vec<GroupWeek>,
    pub(crate) chart: Option<Chart>,
}

impl GroupView {
    /// Of the week of the as-of day and the one before; without a day the register is empty.
    pub(crate) fn new(book: &Book<'_>) -> Self {
        let mondays = book.as_of.and_then(|as_of| {
            let this = as_of.week(Weekday::Mon).first_day();
            Some((this, this.checked_sub_days(Days::new(7))?))
        });
        let days = mondays.map_or_else(Vec::new, |(this, before)| register_days(book, before, this));
        let lines: Vec<_> = book.athletes.iter().map(|athlete| register_line(athlete, &days)).collect();
        let is_used = |mark: Mark| {
            let mut cells = lines.iter().flat_map(|line| &line.cells);
            cells.any(|cell| cell.text.split(", ").any(|word| word == mark.word()))
        };
        let marks = Mark::MEANINGS.into_iter().filter(|(mark, _)| is_used(*mark));
        let (sub_groups, alone) = sub_groups(book);
        let weeks = Sums::by_week(book);
        Self {
            sentence: mondays.map(|(this, before)| sentence(&weeks, this, before)).unwrap_or_default(),
            marks: marks.map(|(mark, meaning)| (mark.word(), meaning)).collect(),
            compared: mondays.map(|(this, before)| compared(&weeks, this, before)).unwrap_or_default(),
            sub_groups,
            alone,
            without_next: (book.athletes.iter())
                .filter(|athlete| is_stopped(athlete) || athlete.extras.next.is_none())
                .map(|athlete| athlete.name().into())
                .collect(),
            weeks: weeks.iter().rev().map(|(monday, sums)| group_week(*monday, sums)).collect(),
            chart: group_chart(book),
            days: days.into_iter().map(|date| RegisterDay { date, name: short_day(date) }).collect(),
            lines,
        }
    }

    /// Whether anybody has a next session.
    pub(crate) fn has_next(&self) -> bool {
        !self.sub_groups.is_empty() || !self.alone.is_empty()
    }
}

/// The planned days of two weeks, by their Mondays; where nothing is planned by days, those with a recording.
fn register_days(book: &Book<'_>, this: NaiveDate, before: NaiveDate) -> Vec<NaiveDate> {
    let inside = |day: &NaiveDate| [this, before].contains(&day.week(Weekday::Mon).first_day());
    let planned: BTreeSet<_> = (book.athletes.iter())
        .flat_map(|athlete| &athlete.planned)
        .filter_map(|planned| planned.due_date)
        .filter(inside)
        .collect();
    if !planned.is_empty() {
        return planned.into_iter().collect();
    }
    let recorded: BTreeSet<_> = (book.athletes.iter())
        .flat_map(|athlete| &athlete.sessions)
        .filter_map(SessionPages::day)
        .filter(inside)
        .collect();
    recorded.into_iter().collect()
}

fn register_line(athlete: &AthletePages<'_>, days: &[NaiveDate]) -> RegisterLine {
    let recorded = |planned: &PlannedRow| {
        let number = athlete.session_number(planned.file.as_deref()?, planned.session?)?;
        athlete.sessions.get(number - 1)
    };
    let cells = days.iter().map(|&day| {
        let planned = || athlete.planned.iter().filter(|planned| planned.due_date == Some(day));
        let mut marks: Vec<_> =
            planned().filter_map(|planned| Mark::of_planned(planned, recorded(planned))).collect();
        if athlete.planned.iter().all(|planned| planned.due_date.is_none()) {
            let on_day = athlete.sessions.iter().filter(|pages| pages.day() == Some(day));
            marks.extend(on_day.map(Mark::of_recording));
            marks.dedup();
        }
        RegisterCell {
            text: marks.iter().map(|mark| mark.word()).collect::<Vec<_>>().join(", "),
            stands_out: marks.iter().any(|mark| matches!(mark, Mark::Absent | Mark::Cut)),
        }
    });
    RegisterLine { name: athlete.name().into(), name_key: athlete.name().into(), cells: cells.collect() }
}

/// What is added up of a week.
#[derive(Clone, Debug, Default)]
struct Sums {
    due: u64,
    came: u64,
    run_s: f64,
    longest_s: Vec<(f64, String)>,
    /// Running asked and done of what fell due and can be told.
    asked_s: f64,
    done_s: f64,
    /// People asked, by block.
    steps: BTreeMap<String, usize>,
}

impl Sums {
    /// The weeks with a recording or something due, by their Mondays.
    fn by_week(book: &Book<'_>) -> BTreeMap<NaiveDate, Self> {
        let mut weeks: BTreeMap<NaiveDate, Self> = BTreeMap::new();
        for athlete in &book.athletes {
            // Beside a warning sign nothing about progress is shown.
            let shown = !is_stopped(athlete);
            for row in &athlete.weeks {
                let Some(monday) = monday_of(row.week) else { continue };
                let sums = weeks.entry(monday).or_default();
                sums.due += row.sessions_due.unwrap_or(0);
                sums.came += row.sessions_attempted.unwrap_or(0);
                sums.run_s += row.run_s.unwrap_or(0.0);
                let longest = row.longest_run_s.filter(|&s| shown && s > 0.0);
                sums.longest_s.extend(longest.map(|s| (s, athlete.name().to_owned())));
            }
            let mut seen = BTreeSet::new();
            for planned in athlete.planned.iter().filter(|planned| planned.due) {
                let Some(day) = planned.due_date else { continue };
                let monday = day.week(Weekday::Mon).first_day();
                let Some(sums) = weeks.get_mut(&monday) else { continue };
                if seen.insert((monday, planned.plan_block.as_str())) {
                    *sums.steps.entry(planned.plan_block.clone()).or_default() += 1;
                }
                let done_s = match planned.outcome.as_deref() {
                    Some("missed") => Some(0.0),
                    _ => planned.run_done_s,
                };
                if let (Some(asked_s), Some(done_s)) = (planned.run_planned_s, done_s) {
                    sums.asked_s += asked_s;
                    sums.done_s += done_s;
                }
            }
        }
        weeks
    }

    fn came_of_due(&self) -> String {
        if self.due == 0 { "nothing was due".into() } else { format!("{} of {}", self.came, self.due) }
    }

    fn dose(&self) -> String {
        if self.asked_s > 0.0 { percent_text(100.0 * self.done_s / self.asked_s) } else { "–".into() }
    }

    /// The longest run without a break of the week.
    fn longest(&self) -> Option<&(f64, String)> {
        self.longest_s.iter().max_by(|a, b| a.0.total_cmp(&b.0).then_with(|| b.1.cmp(&a.1)))
    }
}

fn monday_of(week: IsoWeek) -> Option<NaiveDate> {
    NaiveDate::from_isoywd_opt(week.year(), week.week(), Weekday::Mon)
}

/// `Week of Mon 4 Mar: came 7 of 9 due. The week before: came 8 of 9.`
fn sentence(weeks: &BTreeMap<NaiveDate, Sums>, this: NaiveDate, before: NaiveDate) -> String {
    let said = |monday: NaiveDate| match weeks.get(&monday) {
        Some(sums) if sums.due > 0 => format!("came {} of {} due", sums.came, sums.due),
        Some(_) => "nothing was due".into(),
        None => "no recording, and nothing due".into(),
    };
    format!(
        "Week of {}: {}. The week before, of {}: {}.",
        full_day(this),
        said(this),
        short_day(before),
        said(before)
    )
}

fn compared(weeks: &BTreeMap<NaiveDate, Sums>, this: NaiveDate, before: NaiveDate) -> Vec<Compared> {
    let nothing = Sums::default();
    let [now, then] = [this, before].map(|monday| weeks.get(&monday).unwrap_or(&nothing));
    let row =
        |what, read: fn(&Sums) -> String| Compared { what, this_week: read(now), week_before: read(then) };
    vec![
        row("Came", Sums::came_of_due),
        row("Running done of what was asked", Sums::dose),
        row("Time run by all", |sums| duration(sums.run_s)),
        row("Longest run without a break", |sums| {
            sums.longest().map_or_else(|| "–".into(), |(s, _)| duration(*s))
        }),
    ]
}

fn group_week(monday: NaiveDate, sums: &Sums) -> GroupWeek {
    let steps: Vec<_> = sums.steps.iter().map(|(block, people)| format!("{block}: {people}")).collect();
    let mut longest: Vec<_> = sums.longest_s.iter().map(|(s, _)| *s).collect();
    longest.sort_by(f64::total_cmp);
    let median = longest.get(longest.len().saturating_sub(1) / 2);
    GroupWeek {
        week: monday.iso_week().cell().to_text(0),
        monday: short_day(monday),
        steps: if steps.is_empty() { "–".into() } else { steps.join(", ") },
        came: sums.came_of_due(),
        missing: (sums.due.saturating_sub(sums.came)).to_string(),
        dose: sums.dose(),
        longest: match (median, longest.last()) {
            (Some(&median), Some(&most)) => format!("{}, up to {}", duration(median), duration(most)),
            _ => "–".into(),
        },
    }
}

/// Those who do the same next, the largest first, and those left over.
fn sub_groups(book: &Book<'_>) -> (Vec<SubGroup>, Vec<Alone>) {
    let mut by_text: BTreeMap<&str, Vec<&AthletePages<'_>>> = BTreeMap::new();
    for athlete in book.athletes.iter().filter(|athlete| !is_stopped(athlete)) {
        if let Some(next) = &athlete.extras.next {
            by_text.entry(&next.planned).or_default().push(athlete);
        }
    }
    let mut groups: Vec<_> = by_text.into_iter().collect();
    groups.sort_by_key(|(_, athletes)| std::cmp::Reverse(athletes.len()));
    let left = groups.split_off(groups.len().min(SUB_GROUPS_MAX));
    let named = groups.into_iter().map(|(planned, athletes)| sub_group(planned, &athletes)).collect();
    let alone = left.into_iter().flat_map(|(_, athletes)| athletes).filter_map(alone).collect();
    (named, alone)
}

fn sub_group(planned: &str, athletes: &[&AthletePages<'_>]) -> SubGroup {
    let nexts = || athletes.iter().filter_map(|athlete| athlete.extras.next.as_ref());
    let places: BTreeSet<_> = nexts().map(|next| place_in_plan(&next.block, next.session)).collect();
    let days: BTreeSet<_> = nexts().filter_map(|next| next.date).collect();
    let day_names: Vec<_> = days.iter().map(|&day| short_day(day)).collect();
    let names = athletes.iter().map(|athlete| {
        let own = athlete.extras.next.as_ref().and_then(|next| next.date).filter(|_| days.len() > 1);
        Text(match own {
            Some(day) => format!("{} ({})", athlete.name(), short_day(day)),
            None => athlete.name().to_owned(),
        })
    });
    SubGroup {
        place: Text(places.into_iter().collect::<Vec<_>>().join("; ")),
        planned: planned.into(),
        days: day_names.join(", "),
        names: names.collect(),
        whistle: whistle(planned),
    }
}

fn alone(athlete: &AthletePages<'_>) -> Option<Alone> {
    let next = athlete.extras.next.as_ref()?;
    Some(Alone {
        name: athlete.name().into(),
        place: Text(place_in_plan(&next.block, next.session)),
        planned: next.planned.as_str().into(),
        day: next.date.map(short_day).unwrap_or_default(),
    })
}

/// The starts of runs and walks, where every interval has a time; intervals of one kind in a row are one.
fn whistle(planned: &str) -> Option<Whistle> {
    let (mut starts, mut at_s, mut last) = ([Vec::new(), Vec::new()], 0.0, None);
    for interval in parse_intervals(planned).ok()? {
        let Amount::Seconds(seconds) = interval.amount else { return None };
        if last != Some(interval.gait) {
            starts[usize::from(interval.gait == Gait::Walk)].push(duration(at_s));
        }
        (at_s, last) = (at_s + seconds, Some(interval.gait));
    }
    let [run, walk] = starts.map(|starts| starts.join(", "));
    Some(Whistle { run, walk, end: duration(at_s) })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 6:00, then 2 × (0:40 + 1:20): runs begin at 6:00 and 8:00, walks at 0:00, 6:40 and 8:40; 10:00 in all.
    #[test]
    fn the_whistle_is_blown_where_the_kind_changes() {
        let whistle = whistle("4:00 walk, 2:00 walk, 2 x (0:40 run, 1:20 walk)").expect("all in times");
        assert_eq!(whistle.run, "6:00, 8:00");
        assert_eq!(whistle.walk, "0:00, 6:40, 8:40");
        assert_eq!(whistle.end, "10:00");
    }

    #[test]
    fn nobody_can_whistle_for_a_distance() {
        assert_eq!(whistle("6:00 walk, 800 m run"), None);
    }
}

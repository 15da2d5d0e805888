//! The group on one page: who came on which day, how the week went against the one before, the next session by sub-group
//! with the times to whistle at, and the weeks of the plan one after the other.

use std::collections::{BTreeMap, BTreeSet};

use boutwise_bouts::statistics::median;
use boutwise_bouts::{Amount, Gait};
use boutwise_season::{Settings, parse_intervals};
use chrono::{Datelike, Days, NaiveDate, Weekday};

use crate::attention::is_stopped;
use crate::book::AthletePages;
use crate::column::Field;
use crate::figures::{duration, full_day, percent_text, place_in_plan, short_day};
use crate::input::NextSession;
use crate::markup::Text;
use crate::progress::{Chart, ProgressShare, group_chart};
use crate::register::{Mark, Register, WeekCount, monday_before};
use crate::slip_view::SlipView;

/// Sub-groups of the next session that get a plan of their own; who is left over goes alone (own choice: as many as a
/// coach and a helper can whistle for).
const SUB_GROUPS_MAX: usize = 3;

/// Weeks of the group that stand open; earlier ones are folded (own choice).
const WEEKS_OPEN: usize = 4;

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
    /// Each day with those who go out on it.
    pub(crate) days: Vec<(String, Vec<Text>)>,
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
#[derive(Clone, Debug)]
pub(crate) struct GroupWeek {
    pub(crate) week: String,
    pub(crate) monday: String,
    /// Who was asked for which block.
    pub(crate) steps: Vec<(Text, Vec<Text>)>,
    pub(crate) came: String,
    /// Sessions on whose day somebody was absent, and whose they were.
    pub(crate) missing: u64,
    pub(crate) missing_names: Vec<Text>,
    pub(crate) dose: String,
    pub(crate) longest: String,
}

/// What one athlete adds to the sheet.
#[derive(Clone, Debug)]
pub(crate) struct GroupShare {
    name: String,
    is_stopped: bool,
    /// Planned days of the two weeks.
    planned: Vec<NaiveDate>,
    /// Days with a recording in the two weeks.
    recorded: Vec<NaiveDate>,
    register: Register,
    weeks: Vec<WeekShare>,
    next: Option<NextSession>,
    pub(crate) progress: ProgressShare,
    pub(crate) slip: SlipView,
}

/// What one athlete adds to a week.
#[derive(Clone, Debug, Default)]
struct WeekShare {
    monday: NaiveDate,
    count: WeekCount,
    run_s: f64,
    longest_s: Option<f64>,
    /// The longest run that was asked in one piece of what fell due.
    longest_asked_s: Option<f64>,
    /// Running asked and done of what fell due and can be told.
    asked_s: f64,
    done_s: f64,
    /// Blocks of what fell due.
    blocks: BTreeSet<String>,
}

impl GroupShare {
    pub(crate) fn of(athlete: &AthletePages<'_>, as_of: Option<NaiveDate>, numbers: &Settings) -> Self {
        let mondays = as_of.and_then(two_weeks);
        let inside = |day: NaiveDate| mondays.is_some_and(|mondays| mondays.contains(&monday_before(day)));
        let register = athlete.register();
        Self {
            name: athlete.name().to_owned(),
            is_stopped: is_stopped(athlete),
            planned: (athlete.planned.iter())
                .filter_map(|planned| planned.due_date)
                .filter(|day| inside(*day))
                .collect(),
            recorded: register.days_out().filter(|day| inside(*day)).collect(),
            weeks: week_shares(athlete, register),
            register: register.clone(),
            next: athlete.extras.next.clone(),
            progress: ProgressShare::of(athlete),
            slip: SlipView::new(athlete, numbers),
        }
    }

    fn line(&self, days: &[NaiveDate]) -> RegisterLine {
        let cells = days.iter().map(|&day| {
            let marks = self.register.cell(day);
            RegisterCell {
                text: marks.iter().map(|mark| mark.word()).collect::<Vec<_>>().join(", "),
                stands_out: marks.iter().any(|mark| matches!(mark, Mark::Absent | Mark::Cut)),
            }
        });
        RegisterLine {
            name: self.name.as_str().into(),
            name_key: self.name.as_str().into(),
            cells: cells.collect(),
        }
    }
}

/// The Mondays of the week of a day and of the one before.
fn two_weeks(as_of: NaiveDate) -> Option<[NaiveDate; 2]> {
    let this = monday_before(as_of);
    Some([this, this.checked_sub_days(Days::new(7))?])
}

fn week_shares(athlete: &AthletePages<'_>, register: &Register) -> Vec<WeekShare> {
    // Beside a warning sign nothing about progress is shown.
    let shown = !is_stopped(athlete);
    let counts = register.weeks();
    let mut weeks: BTreeMap<NaiveDate, WeekShare> = BTreeMap::new();
    for row in &athlete.weeks {
        let Some(monday) = NaiveDate::from_isoywd_opt(row.week.year(), row.week.week(), Weekday::Mon) else {
            continue;
        };
        let share = WeekShare {
            monday,
            count: counts.get(&monday).copied().unwrap_or_default(),
            run_s: row.run_s.unwrap_or(0.0),
            longest_s: row.longest_run_s.filter(|&s| shown && s > 0.0),
            ..WeekShare::default()
        };
        weeks.insert(monday, share);
    }
    for planned in athlete.planned.iter().filter(|planned| planned.due) {
        let Some(week) = planned.due_date.and_then(|day| weeks.get_mut(&monday_before(day))) else {
            continue;
        };
        week.blocks.insert(planned.plan_block.clone());
        let done_s = if planned.is_missed() { Some(0.0) } else { planned.run_done_s };
        if let (Some(asked_s), Some(done_s)) = (planned.run_planned_s, done_s) {
            week.asked_s += asked_s;
            week.done_s += done_s;
        }
    }
    for planned in athlete.extras.calendar.iter().filter(|planned| planned.due && !planned.excused) {
        if let Some(week) = planned.date.and_then(|day| weeks.get_mut(&monday_before(day))) {
            let longest_s = planned.longest_run_planned_s.into_iter().chain(week.longest_asked_s);
            week.longest_asked_s = longest_s.reduce(f64::max);
        }
    }
    weeks.into_values().collect()
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
    /// Those for whom nothing comes next.
    pub(crate) without_next: Vec<Text>,
    /// The newest weeks, newest first, and those before.
    pub(crate) weeks: Vec<GroupWeek>,
    pub(crate) earlier_weeks: Vec<GroupWeek>,
    pub(crate) chart: Option<Chart>,
}

impl GroupView {
    /// Of the week of the as-of day and the one before; without a day the register is empty.
    pub(crate) fn new(shares: &[&GroupShare], as_of: Option<NaiveDate>) -> Self {
        let mondays = as_of.and_then(two_weeks);
        let days = register_days(shares);
        let lines: Vec<_> = shares.iter().map(|share| share.line(&days)).collect();
        let is_used = |mark: Mark| {
            let mut cells = lines.iter().flat_map(|line| &line.cells);
            cells.any(|cell| cell.text.split(", ").any(|word| word == mark.word()))
        };
        let marks = Mark::MEANINGS.into_iter().filter(|(mark, _)| is_used(*mark));
        let (sub_groups, alone) = sub_groups(shares);
        let weeks = Sums::by_week(shares);
        let mut newest: Vec<_> = weeks.iter().rev().map(|(monday, sums)| group_week(*monday, sums)).collect();
        let earlier_weeks = newest.split_off(newest.len().min(WEEKS_OPEN));
        Self {
            sentence: mondays.map(|[this, before]| sentence(&weeks, this, before)).unwrap_or_default(),
            marks: marks.map(|(mark, meaning)| (mark.word(), meaning)).collect(),
            compared: mondays.map(|[this, before]| compared(&weeks, this, before)).unwrap_or_default(),
            sub_groups,
            alone,
            without_next: (shares.iter())
                .filter(|share| share.is_stopped || share.next.is_none())
                .map(|share| share.name.as_str().into())
                .collect(),
            weeks: newest,
            earlier_weeks,
            chart: group_chart(shares.iter().map(|share| &share.progress)),
            days: days.into_iter().map(|date| RegisterDay { date, name: short_day(date) }).collect(),
            lines,
        }
    }

    /// Whether anybody has a next session.
    pub(crate) fn has_next(&self) -> bool {
        !self.sub_groups.is_empty() || !self.alone.is_empty()
    }
}

/// The planned days of the two weeks; where nothing is planned by days, those with a recording.
fn register_days(shares: &[&GroupShare]) -> Vec<NaiveDate> {
    let planned: BTreeSet<_> = shares.iter().flat_map(|share| &share.planned).copied().collect();
    if !planned.is_empty() {
        return planned.into_iter().collect();
    }
    let recorded: BTreeSet<_> = shares.iter().flat_map(|share| &share.recorded).copied().collect();
    recorded.into_iter().collect()
}

/// What is added up of a week over all.
#[derive(Clone, Debug, Default)]
struct Sums<'a> {
    count: WeekCount,
    run_s: f64,
    longest_s: Vec<f64>,
    asked_s: f64,
    done_s: f64,
    longest_asked_s: Option<f64>,
    /// People asked, by block.
    steps: BTreeMap<&'a str, Vec<&'a str>>,
    /// Those who were absent, and how often.
    missed: Vec<(&'a str, u64)>,
}

impl<'a> Sums<'a> {
    /// The weeks with a recording or something due, by their Mondays.
    fn by_week(shares: &[&'a GroupShare]) -> BTreeMap<NaiveDate, Self> {
        let mut weeks: BTreeMap<NaiveDate, Self> = BTreeMap::new();
        for (name, week) in shares.iter().flat_map(|share| share.weeks.iter().map(|week| (&share.name, week)))
        {
            let sums = weeks.entry(week.monday).or_default();
            sums.count.add(week.count);
            sums.run_s += week.run_s;
            sums.longest_s.extend(week.longest_s);
            sums.asked_s += week.asked_s;
            sums.done_s += week.done_s;
            sums.longest_asked_s =
                sums.longest_asked_s.into_iter().chain(week.longest_asked_s).reduce(f64::max);
            for block in &week.blocks {
                sums.steps.entry(block).or_default().push(name);
            }
            if week.count.absent > 0 {
                sums.missed.push((name, week.count.absent));
            }
        }
        weeks.values_mut().for_each(|sums| sums.longest_s.sort_by(f64::total_cmp));
        weeks
    }

    fn dose(&self) -> String {
        if self.asked_s > 0.0 { percent_text(100.0 * self.done_s / self.asked_s) } else { "–".into() }
    }
}

/// `Week of Mon 4 Mar 2024: came 7 of 9 due. The week before, of Mon 26 Feb: came 8 of 9 due.`
fn sentence(weeks: &BTreeMap<NaiveDate, Sums<'_>>, this: NaiveDate, before: NaiveDate) -> String {
    let said = |monday: NaiveDate| match weeks.get(&monday) {
        Some(sums) => sums.count.sentence(),
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

fn compared(weeks: &BTreeMap<NaiveDate, Sums<'_>>, this: NaiveDate, before: NaiveDate) -> Vec<Compared> {
    let nothing = Sums::default();
    let [now, then] = [this, before].map(|monday| weeks.get(&monday).unwrap_or(&nothing));
    let row = |what, read: fn(&Sums<'_>) -> String| Compared {
        what,
        this_week: read(now),
        week_before: read(then),
    };
    vec![
        row("Came", |sums| sums.count.in_short()),
        row("Running done of what was asked", |sums| sums.dose()),
        row("Time run by all", |sums| duration(sums.run_s)),
        row("Longest run without a break", |sums| {
            sums.longest_s.last().map_or_else(|| "–".into(), |s| duration(*s))
        }),
        row("Longest run that the plan asked for", |sums| {
            sums.longest_asked_s.map_or_else(|| "–".into(), duration)
        }),
    ]
}

fn group_week(monday: NaiveDate, sums: &Sums<'_>) -> GroupWeek {
    let texts = |names: &Vec<&str>| names.iter().map(|name| Text::from(*name)).collect();
    let missed = sums.missed.iter().map(|&(name, count)| match count {
        1 => name.into(),
        count => Text(format!("{name} ({count})")),
    });
    GroupWeek {
        week: monday.iso_week().cell().to_text(0),
        monday: short_day(monday),
        steps: sums.steps.iter().map(|(block, names)| (Text::from(*block), texts(names))).collect(),
        came: sums.count.in_short(),
        missing: sums.count.absent,
        missing_names: missed.collect(),
        dose: sums.dose(),
        longest: match (median(&sums.longest_s), sums.longest_s.last()) {
            (Some(median), Some(&most)) => format!("{}, up to {}", duration(median), duration(most)),
            _ => "–".into(),
        },
    }
}

/// Somebody and what comes next.
type Nexts<'a> = Vec<(&'a str, &'a NextSession)>;

/// Those who do the same next, the largest first, and those left over.
fn sub_groups(shares: &[&GroupShare]) -> (Vec<SubGroup>, Vec<Alone>) {
    let mut by_text: BTreeMap<String, Nexts<'_>> = BTreeMap::new();
    for share in shares.iter().filter(|share| !share.is_stopped) {
        if let Some(next) = &share.next {
            by_text.entry(next.asked()).or_default().push((&share.name, next));
        }
    }
    let mut groups: Vec<_> = by_text.into_iter().collect();
    groups.sort_by_key(|(_, people)| std::cmp::Reverse(people.len()));
    let left = groups.split_off(groups.len().min(SUB_GROUPS_MAX));
    let named = groups.into_iter().map(|(asked, people)| sub_group(asked, &people)).collect();
    let alone =
        left.into_iter().flat_map(|(_, people)| people).map(|(name, next)| alone(name, next)).collect();
    (named, alone)
}

fn sub_group(asked: String, people: &[(&str, &NextSession)]) -> SubGroup {
    let places: BTreeSet<_> =
        people.iter().map(|(_, next)| place_in_plan(&next.block, next.session)).collect();
    let mut days: BTreeMap<Option<NaiveDate>, Vec<Text>> = BTreeMap::new();
    for (name, next) in people {
        days.entry(next.date).or_default().push((*name).into());
    }
    let day_name = |day: Option<NaiveDate>| day.map(short_day).unwrap_or_default();
    SubGroup {
        place: Text(places.into_iter().collect::<Vec<_>>().join("; ")),
        days: days.into_iter().map(|(day, names)| (day_name(day), names)).collect(),
        // What is shortened has no times yet, and no plan in the notation either.
        whistle: whistle(&asked),
        planned: Text(asked),
    }
}

fn alone(name: &str, next: &NextSession) -> Alone {
    Alone {
        name: name.into(),
        place: Text(place_in_plan(&next.block, next.session)),
        planned: Text(next.asked()),
        day: next.date.map(short_day).unwrap_or_default(),
    }
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
    use crate::input::AthletePart;
    use crate::rows::AthleteRow;

    /// 6:00, then 2 × (0:40 + 1:20): runs begin at 6:00 and 8:00, walks at 0:00, 6:40 and 8:40; 10:00 in all.
    #[test]
    fn the_whistle_is_blown_where_the_kind_changes() {
        let whistle = whistle("4:00 walk, 2:00 walk, 2 x (0:40 run, 1:20 walk)").expect("all in times");
        assert_eq!(whistle.run, "6:00, 8:00");
        assert_eq!(whistle.walk, "0:00, 6:40, 8:40");
        assert_eq!(whistle.end, "10:00");
    }

    #[test]
    fn who_shortens_goes_apart_and_without_a_whistle() {
        let share = |name: &str, is_shortened| {
            let mut part = AthletePart::default();
            part.tables.athletes = vec![AthleteRow { athlete: name.into(), ..AthleteRow::default() }];
            let planned = "4:00 walk, 2 x (0:40 run, 1:20 walk)".into();
            part.extras.next = Some(NextSession { planned, is_shortened, ..NextSession::default() });
            GroupShare::of(&AthletePages::new(&part), None, &Settings::default())
        };
        let shares = [share("Ada", false), share("Bo", true)];
        let (groups, _) = sub_groups(&shares.iter().collect::<Vec<_>>());
        let told: Vec<(String, bool)> =
            groups.iter().map(|group| (group.planned.to_string(), group.whistle.is_some())).collect();
        assert_eq!(told.len(), 2);
        assert!(told[0].1 && !told[0].0.contains("shorter"), "{told:?}");
        assert!(!told[1].1 && told[1].0.contains("shorter or fewer runs, longer walks"), "{told:?}");
    }

    #[test]
    fn nobody_can_whistle_for_a_distance() {
        assert_eq!(whistle("6:00 walk, 800 m run"), None);
    }
}

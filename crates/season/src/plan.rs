//! A plan: blocks of sessions, read from TOML, and its days.

use std::ops::Range;
use std::path::Path;

use boutwise_bouts::{Gait, Interval};
use chrono::{Datelike, Days, NaiveDate, Weekday};
use toml::Spanned;
use toml::de::{DeTable, DeValue};

use crate::Error;
use crate::error::{ErrorKind, Flaw, suggestion};
use crate::keys::{self, Value};
use crate::notation::{NominalSpeeds, read_intervals};

/// Most sessions of one block (own choice).
pub const MAX_BLOCK_SESSIONS: u32 = 200;
/// Most blocks of a plan (own choice).
pub const MAX_BLOCKS: usize = 200;
/// Longest step between two sessions in days (own choice).
pub const MAX_EVERY_DAYS: u32 = 28;
/// Running speeds that a plan may fix, in metres per second (own choice).
const RUN_SPEED_LIMITS_M_PER_S: (f64, f64) = (1.0, 7.0);
/// Walking speeds that a plan may fix, in metres per second (own choice).
const WALK_SPEED_LIMITS_M_PER_S: (f64, f64) = (0.5, 3.0);

const PLAN_KEYS: [&str; 4] = ["title", "run_speed_m_per_s", "walk_speed_m_per_s", "block"];
const BLOCK_KEYS: [&str; 6] = ["label", "sessions", "every_days", "days", "session", "between"];
const SESSION_EXAMPLE: &str = "\"5:00 walk, 8 x (1:00 run, 1:30 walk), 5:00 walk\"";

/// What one day asks for: the text as the coach wrote it, and its intervals.
#[derive(Clone, Debug, PartialEq)]
pub struct Prescription {
    /// The interval text as written.
    pub text: String,
    /// The intervals in order, repeats written out.
    pub intervals: Vec<Interval>,
    /// Seconds to be run; metres count at the plan's fixed speed.
    pub run_s: f64,
    /// Seconds to be walked; metres count at the plan's fixed speed.
    pub walk_s: f64,
    /// Metres to be run; seconds count at the plan's fixed speed.
    pub run_m: f64,
}

impl Prescription {
    /// Reads an interval text; a flaw's span counts bytes of `text`.
    fn read(text: &str, speeds: NominalSpeeds) -> Result<Self, Flaw> {
        let intervals = read_intervals(text, speeds)?;
        let of = |gait: Gait, amount: fn(NominalSpeeds, &Interval) -> f64| -> f64 {
            intervals
                .iter()
                .filter(|interval| interval.gait == gait)
                .map(|interval| amount(speeds, interval))
                .sum()
        };
        Ok(Self {
            text: text.trim().to_owned(),
            run_s: of(Gait::Run, NominalSpeeds::duration_s),
            walk_s: of(Gait::Walk, NominalSpeeds::duration_s),
            run_m: of(Gait::Run, NominalSpeeds::distance_m),
            intervals,
        })
    }

    /// Whether anything is to be run.
    pub fn has_runs(&self) -> bool {
        self.intervals.iter().any(|interval| interval.gait == Gait::Run)
    }

    /// The longest stretch of running that is asked for without a walk, in seconds.
    pub fn longest_run_s(&self, speeds: NominalSpeeds) -> f64 {
        self.intervals
            .chunk_by(|a, b| a.gait == b.gait)
            .filter(|stretch| stretch[0].gait == Gait::Run)
            .map(|stretch| stretch.iter().map(|interval| speeds.duration_s(interval)).sum())
            .fold(0.0, f64::max)
    }
}

/// When the sessions of a block fall.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Rhythm {
    /// No days are named: order alone counts.
    Undated,
    /// So many days after the session before.
    EveryDays(u32),
    /// On the next of these days of the week after the session before; in order from Monday.
    Weekdays(Vec<Weekday>),
}

/// A step of the plan: one session, done a number of times.
#[derive(Clone, Debug, PartialEq)]
pub struct Block {
    /// The coach's name for it, unique in the plan.
    pub label: String,
    /// How often the session is to be done.
    pub sessions: u32,
    /// When.
    pub rhythm: Rhythm,
    /// The session.
    pub session: Prescription,
    /// What the days between the sessions ask for, if anything.
    pub between: Option<Prescription>,
}

/// A whole plan.
///
/// ```
/// use boutwise_season::Plan;
/// let plan = Plan::parse(r#"
///     [[block]]
///     sessions = 3
///     every_days = 2
///     session = "5:00 walk, 8 x (1:00 run, 1:30 walk)"
/// "#, "spring.toml").unwrap();
/// assert_eq!(plan.title, "spring");
/// assert_eq!(plan.blocks[0].label, "A");
/// assert_eq!(plan.blocks[0].session.run_s, 480.0);
/// let start = chrono::NaiveDate::from_ymd_opt(2026, 3, 2).unwrap();
/// assert_eq!(plan.dates(start)[2], chrono::NaiveDate::from_ymd_opt(2026, 3, 6));
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct Plan {
    /// Its title.
    pub title: String,
    /// The steps in order, at least one.
    pub blocks: Vec<Block>,
    /// The fixed speeds that turn metres into seconds.
    pub speeds: NominalSpeeds,
}

/// One session of the plan: which block, and which time.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct SessionId {
    /// Index of the block, from 0.
    pub block: usize,
    /// Number of the session within its block, from 1.
    pub number: u32,
}

/// What kind of day a row of the day-by-day list is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DayKind {
    /// A session of the plan.
    Session(SessionId),
    /// A day between sessions for which the plan asks something.
    Between {
        /// Index of the block, from 0.
        block: usize,
    },
}

/// One row of the day-by-day list.
#[derive(Clone, Debug, PartialEq)]
pub struct PlanDay<'a> {
    /// Day of the plan, from 1; `None` where order alone counts.
    pub day: Option<u32>,
    /// The date, where a start was given and the plan is dated.
    pub date: Option<NaiveDate>,
    /// Session or day between.
    pub kind: DayKind,
    /// Label of the block.
    pub label: &'a str,
    /// What is asked.
    pub asked: &'a Prescription,
}

impl Plan {
    /// Reads a plan file. `name` is the file's name or path: it stands in messages and gives the default title.
    ///
    /// # Errors
    ///
    /// The first thing that cannot be read, with line, caret, what was expected and how to mend it. An unknown
    /// key is an error.
    pub fn parse(text: &str, name: &str) -> Result<Self, Error> {
        let body = text.strip_prefix('\u{feff}').unwrap_or(text);
        read_plan(body, name).map_err(|flaw| Error::new(ErrorKind::Plan, name, body, flaw))
    }

    /// Every session in order.
    pub fn sessions(&self) -> impl Iterator<Item = SessionId> + '_ {
        self.blocks
            .iter()
            .enumerate()
            .flat_map(|(block, held)| (1..=held.sessions).map(move |number| SessionId { block, number }))
    }

    /// The date of every session when the first one falls on `start`; `None` from the first block on that names
    /// no days.
    pub fn dates(&self, start: NaiveDate) -> Vec<Option<NaiveDate>> {
        let mut next = (self.blocks[0].rhythm != Rhythm::Undated).then_some(start);
        let mut last: Option<NaiveDate> = None;
        self.sessions()
            .map(|id| {
                if let Some(before) = last {
                    next = next.and_then(|_| match &self.blocks[id.block].rhythm {
                        Rhythm::Undated => None,
                        Rhythm::EveryDays(days) => before.checked_add_days(Days::new(u64::from(*days))),
                        Rhythm::Weekdays(days) => next_weekday(before, days),
                    });
                }
                last = next.or(last);
                next
            })
            .collect()
    }

    /// The plan day by day: its sessions, and the days between where they ask something.
    ///
    /// Without a start, a dated plan still counts its days (one that names days of the week from the first of
    /// them), but bears no dates.
    pub fn days(&self, start: Option<NaiveDate>) -> Vec<PlanDay<'_>> {
        let first = start.unwrap_or_else(|| self.nominal_start());
        let dates = self.dates(first);
        let mut rows: Vec<PlanDay<'_>> = Vec::new();
        let mut before: Option<(NaiveDate, usize)> = None;
        for (id, date) in self.sessions().zip(dates) {
            if let (Some((last, block)), Some(date)) = (before, date)
                && let Some(asked) = &self.blocks[block].between
            {
                rows.extend(
                    last.iter_days()
                        .skip(1)
                        .take_while(|day| *day < date)
                        .map(|day| self.row(first, Some(day), start, DayKind::Between { block }, asked)),
                );
            }
            rows.push(self.row(first, date, start, DayKind::Session(id), &self.blocks[id.block].session));
            before = date.map(|date| (date, id.block));
        }
        rows
    }

    fn row<'a>(
        &'a self,
        first: NaiveDate,
        date: Option<NaiveDate>,
        start: Option<NaiveDate>,
        kind: DayKind,
        asked: &'a Prescription,
    ) -> PlanDay<'a> {
        let block = match kind {
            DayKind::Session(id) => id.block,
            DayKind::Between { block } => block,
        };
        PlanDay {
            day: date.and_then(|date| u32::try_from((date - first).num_days() + 1).ok()),
            date: start.and(date),
            kind,
            label: &self.blocks[block].label,
            asked,
        }
    }

    /// A day to count from where no start is known: a Monday, or the first day of the week that the plan names.
    fn nominal_start(&self) -> NaiveDate {
        let weekday = match &self.blocks[0].rhythm {
            Rhythm::Weekdays(days) => days[0],
            _ => Weekday::Mon,
        };
        NaiveDate::from_isoywd_opt(2024, 1, weekday).unwrap_or_default()
    }
}

/// The next of these weekdays after a date.
fn next_weekday(after: NaiveDate, days: &[Weekday]) -> Option<NaiveDate> {
    after.iter_days().skip(1).take(7).find(|day| days.contains(&day.weekday()))
}

fn read_plan(text: &str, name: &str) -> Result<Plan, Flaw> {
    let document = keys::read_toml(text)?;
    let table = document.get_ref();
    keys::refuse_unknown(table, "in a plan", &PLAN_KEYS)?;
    let title = match table.get("title") {
        Some(value) => keys::text(value, "title", "\"Spring beginners\"")?.trim().to_owned(),
        None => {
            Path::new(name).file_stem().map(|stem| stem.to_string_lossy().into_owned()).unwrap_or_default()
        }
    };
    let mut speeds = NominalSpeeds::default();
    if let Some(value) = table.get("run_speed_m_per_s") {
        speeds.run_m_per_s = keys::number(value, "run_speed_m_per_s", RUN_SPEED_LIMITS_M_PER_S, "2.5")?;
    }
    if let Some(value) = table.get("walk_speed_m_per_s") {
        speeds.walk_m_per_s = keys::number(value, "walk_speed_m_per_s", WALK_SPEED_LIMITS_M_PER_S, "1.5")?;
    }
    let blocks = match table.get("block") {
        None => {
            return Err(Flaw::new(
                0..text.len().min(1),
                "a plan without a block",
                "at least one [[block]] with its session",
                format!("add a line [[block]] and a line session = {SESSION_EXAMPLE}"),
            ));
        }
        Some(value) => read_blocks(text, value, speeds)?,
    };
    Ok(Plan { title, blocks, speeds })
}

fn read_blocks(file: &str, value: &Value<'_>, speeds: NominalSpeeds) -> Result<Vec<Block>, Flaw> {
    if value.get_ref().is_table() {
        return Err(Flaw::new(
            value.span(),
            "a block between single brackets",
            "[[block]]",
            "write [[block]] with two brackets on each side",
        ));
    }
    let tables = keys::list(value, "block", "a table headed [[block]]")?;
    if tables.is_empty() || tables.len() > MAX_BLOCKS {
        return Err(Flaw::new(
            value.span(),
            format!("{} blocks", tables.len()),
            format!("1 to {MAX_BLOCKS} blocks"),
            "join blocks that ask the same, or part the plan in two files",
        ));
    }
    let mut blocks: Vec<Block> = Vec::new();
    let mut label_spans: Vec<Range<usize>> = Vec::new();
    for (index, value) in tables.into_iter().enumerate() {
        let DeValue::Table(table) = value.get_ref() else {
            return Err(Flaw::new(
                value.span(),
                "a block that is no table",
                "[[block]]",
                "head it [[block]]",
            ));
        };
        let block = read_block(file, table, value.span(), index, speeds)?;
        let label_span = table.get("label").map_or(value.span(), Spanned::span);
        if let Some(twin) = blocks.iter().position(|earlier| earlier.label == block.label) {
            return Err(Flaw::new(
                label_span,
                format!("the label \"{}\" for a second time", block.label),
                format!("a label of its own: block {} has this one", twin + 1),
                "give each block its own label",
            ));
        }
        label_spans.push(label_span);
        blocks.push(block);
    }
    Ok(blocks)
}

fn read_block(
    file: &str,
    table: &DeTable<'_>,
    span: Range<usize>,
    index: usize,
    speeds: NominalSpeeds,
) -> Result<Block, Flaw> {
    keys::refuse_unknown(table, "in a block", &BLOCK_KEYS)?;
    let label = match table.get("label") {
        None => default_label(index),
        Some(value) => match keys::text(value, "label", "\"A\"")?.trim() {
            "" => {
                return Err(Flaw::new(value.span(), "an empty label", "a short name", "write label = \"A\""));
            }
            label => label.to_owned(),
        },
    };
    let sessions = match table.get("sessions") {
        None => 1,
        Some(value) => keys::whole(value, "sessions", (1, MAX_BLOCK_SESSIONS), "6")?,
    };
    let rhythm = match (table.get("every_days"), table.get("days")) {
        (Some(_), Some(days)) => {
            return Err(Flaw::new(
                days.span(),
                "both every_days and days",
                "one of the two, or neither",
                "take one of the lines out",
            ));
        }
        (Some(value), None) => Rhythm::EveryDays(keys::whole(value, "every_days", (1, MAX_EVERY_DAYS), "2")?),
        (None, Some(value)) => Rhythm::Weekdays(read_weekdays(value)?),
        (None, None) => Rhythm::Undated,
    };
    let Some(session) = table.get("session") else {
        return Err(Flaw::new(
            span,
            "a block without its session",
            "session = and the intervals",
            format!("add session = {SESSION_EXAMPLE}"),
        ));
    };
    let session = read_prescription(file, session, "session", SESSION_EXAMPLE, speeds)?;
    let between = match table.get("between") {
        None => None,
        Some(value) => Some(read_prescription(file, value, "between", "\"25:00 walk\"", speeds)?),
    };
    Ok(Block { label, sessions, rhythm, session, between })
}

fn read_prescription(
    file: &str,
    value: &Value<'_>,
    key: &str,
    example: &str,
    speeds: NominalSpeeds,
) -> Result<Prescription, Flaw> {
    let text = keys::text(value, key, example)?;
    Prescription::read(text, speeds)
        .map_err(|flaw| Flaw { span: keys::span_in_file(file, value, flaw.span.clone()), ..flaw })
}

fn read_weekdays(value: &Value<'_>) -> Result<Vec<Weekday>, Flaw> {
    const EXAMPLE: &str = "[\"Mon\", \"Wed\", \"Sat\"]";
    const NAMES: [&str; 7] = ["monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday"];
    let mut days = Vec::new();
    for named in keys::list(value, "days", EXAMPLE)? {
        let name = keys::text(named, "days", EXAMPLE)?.trim();
        let Ok(day) = name.parse::<Weekday>() else {
            let mend = match suggestion(name, NAMES) {
                Some(meant) => format!("write \"{}{}\"", meant[..1].to_uppercase(), &meant[1..3]),
                None => format!("write days = {EXAMPLE}"),
            };
            return Err(Flaw::new(
                named.span(),
                format!("\"{name}\" is no day of the week"),
                "Mon, Tue, Wed, Thu, Fri, Sat or Sun",
                mend,
            ));
        };
        if days.contains(&day) {
            return Err(Flaw::new(
                named.span(),
                format!("\"{name}\" for a second time"),
                "each day once",
                "take it out; two sessions on one day cannot be planned",
            ));
        }
        days.push(day);
    }
    if days.is_empty() {
        return Err(Flaw::new(
            value.span(),
            "no day named",
            "at least one day of the week",
            "name the days, or take the line out",
        ));
    }
    days.sort_by_key(Weekday::num_days_from_monday);
    Ok(days)
}

/// A, B, …, Z, AA, AB, …
fn default_label(index: usize) -> String {
    let letter = char::from(b'A' + (index % 26) as u8);
    match index / 26 {
        0 => letter.to_string(),
        more => format!("{}{letter}", default_label(more - 1)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const HARBOUR: &str = r#"
title = "Harbour beginners, spring"

[[block]]
label = "A"
sessions = 6
every_days = 2
session = "5:00 walk, 8 x (1:00 run, 1:30 walk), 5:00 walk"
between = "25:00 walk"

[[block]]
label = "B"
sessions = 3
every_days = 2
session = "25:00 run"
"#;

    fn date(year: i32, month: u32, day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(year, month, day).unwrap()
    }

    #[test]
    fn a_plan_is_listed_day_by_day_with_the_walks_between() {
        let plan = Plan::parse(HARBOUR, "harbour.toml").unwrap();
        let days = plan.days(Some(date(2026, 2, 23)));
        assert_eq!(days.len(), 6 + 6 + 3);
        assert_eq!(days[0].date, Some(date(2026, 2, 23)));
        assert_eq!(days[1].kind, DayKind::Between { block: 0 });
        assert_eq!(days[1].asked.walk_s, 1500.0);
        assert_eq!(days[12].kind, DayKind::Session(SessionId { block: 1, number: 1 }));
        assert_eq!((days[12].day, days[12].date), (Some(13), Some(date(2026, 3, 7))));
        let undated = plan.days(None);
        assert_eq!((undated[12].day, undated[12].date), (Some(13), None));
    }

    #[test]
    fn days_of_the_week_follow_the_start_whatever_day_it_is() {
        let plan = Plan::parse(
            "[[block]]\nsessions = 4\ndays = ['Sat', 'wednesday', 'mon']\nsession = '25:00 run'",
            "p",
        )
        .unwrap();
        // Started a day late, on a Tuesday: the rest keeps to its days.
        let dates = plan.dates(date(2026, 3, 3));
        let expected = [date(2026, 3, 3), date(2026, 3, 4), date(2026, 3, 7), date(2026, 3, 9)].map(Some);
        assert_eq!(dates, expected);
    }

    #[test]
    fn order_alone_counts_from_the_first_block_without_days() {
        let text = "[[block]]\nevery_days = 2\nsession = '5:00 run'\n[[block]]\nsession = '6:00 run'\n\
                    [[block]]\nevery_days = 3\nsession = '7:00 run'";
        let plan = Plan::parse(text, "p").unwrap();
        assert_eq!(plan.dates(date(2026, 3, 3)), [Some(date(2026, 3, 3)), None, None]);
        assert_eq!(plan.days(None).iter().map(|row| row.day).collect::<Vec<_>>(), [Some(1), None, None]);
    }

    #[test]
    fn only_the_session_is_required() {
        let plan =
            Plan::parse("\u{feff}[[block]]\r\nsession = '25:00 run'\r\n", "plans/first steps.toml").unwrap();
        assert_eq!((plan.title.as_str(), plan.blocks[0].label.as_str()), ("first steps", "A"));
        assert_eq!((plan.blocks[0].sessions, &plan.blocks[0].rhythm), (1, &Rhythm::Undated));
        assert_eq!([0, 25, 26, 51, 52].map(default_label), ["A", "Z", "AA", "AZ", "BA"]);
    }

    #[test]
    fn reps_in_metres_count_at_the_plans_own_speed() {
        let plan =
            Plan::parse("run_speed_m_per_s = 2\n[[block]]\nsession = '4 x (400 m run, 2:00 walk)'", "p")
                .unwrap();
        assert_eq!((plan.blocks[0].session.run_s, plan.blocks[0].session.run_m), (800.0, 1600.0));
        assert_eq!(plan.blocks[0].session.longest_run_s(plan.speeds), 200.0);
    }

    #[test]
    fn a_flaw_in_the_notation_is_shown_in_the_line_of_the_file() {
        let error = Plan::parse(&HARBOUR.replace("1:30 walk", "1:30 wlak"), "harbour.toml").unwrap_err();
        assert_eq!(
            error.to_string(),
            "harbour.toml, line 8, column 43: \"wlak\" is neither run nor walk\n  \
             |\n\
             8 | session = \"5:00 walk, 8 x (1:00 run, 1:30 wlak), 5:00 walk\"\n  \
             |                                           ^^^^\n\
             expected: run or walk\n\
             to mend: write walk"
        );
    }

    #[test]
    fn every_flaw_of_a_plan_names_its_line_and_how_to_mend_it() {
        let cases = [
            ("titel = 'x'\n[[block]]\nsession = '5:00 run'", 1, "unknown key \"titel\"", "write title"),
            ("[[block]]\nsesion = '5:00 run'", 2, "unknown key \"sesion\"", "write session"),
            ("[[block]]\nsession = '5:00 run'\nzzz = 1", 3, "unknown key \"zzz\"", "take the line out"),
            ("title = 'x'", 1, "a plan without a block", "[[block]]"),
            ("", 1, "a plan without a block", "[[block]]"),
            ("[block]\nsession = '5:00 run'", 1, "single brackets", "two brackets"),
            ("[[block]]\nsessions = 2", 1, "a block without its session", "add session ="),
            ("[[block]]\nsession = '5:00 run'\nsessions = 0", 3, "sessions = 0", "sessions = 6"),
            ("[[block]]\nsession = '5:00 run'\nsessions = '6'", 3, "sessions is a text", "sessions = 6"),
            ("[[block]]\nsession = '5:00 run'\nsessions = -1", 3, "sessions = -1", "sessions = 6"),
            ("[[block]]\nsession = '5:00 run'\nevery_days = 2\ndays = ['Mon']", 4, "both", "take one"),
            ("[[block]]\nsession = '5:00 run'\ndays = ['Mno']", 3, "no day of the week", "\"Mon\""),
            ("[[block]]\nsession = '5:00 run'\ndays = ['Tuseday']", 3, "no day of the week", "\"Tue\""),
            ("[[block]]\nsession = '5:00 run'\ndays = ['Mon', 'monday']", 3, "second time", "take it out"),
            ("[[block]]\nsession = '5:00 run'\ndays = []", 3, "no day named", "name the days"),
            ("[[block]]\nsession = '5:00 run'\ndays = 'Mon'", 3, "days is a text", "[\"Mon\""),
            ("[[block]]\nsession = 25", 2, "session is a whole number", "session = \"5:00 walk"),
            (
                "[[block]]\nlabel = 'A'\nsession = '5:00 run'\n[[block]]\nlabel = 'A'\nsession = '5:00 run'",
                5,
                "for a second time",
                "its own label",
            ),
            ("[[block]]\nlabel = ' '\nsession = '5:00 run'", 2, "an empty label", "label = \"A\""),
            ("[[block]]\nsession = '5:00 run", 2, "", "check quotes"),
            ("run_speed_m_per_s = 25\n[[block]]\nsession = '5:00 run'", 1, "= 25", "2.5"),
            ("[[block]]\nsession = '''\n5:00 walk,\n3:00 jog'''", 4, "\"jog\"", "write run"),
        ];
        for (text, line, problem, mend) in cases {
            let error = Plan::parse(text, "p.toml").unwrap_err();
            assert_eq!(error.line(), line, "{text}\n{error}");
            assert!(error.problem().contains(problem) && error.mend().contains(mend), "{text}\n{error}");
        }
    }

    /// Block by block: minutes of running and of walking.
    fn minutes(text: &str) -> Vec<(f64, f64)> {
        let plan = Plan::parse(text, "plan.toml").unwrap();
        plan.blocks.iter().map(|block| (block.session.run_s / 60.0, block.session.walk_s / 60.0)).collect()
    }

    // Military reconditioning walk-to-run table, read second-hand: run minutes 5 to 25 of 30 at levels 1 to 5;
    // level 6 is 5 min of walking and 15, later 20 min of running.
    #[test]
    fn published_walk_to_run_levels_have_their_totals() {
        let levels = minutes(include_str!("../../../testdata/plans/walk-to-run-six-levels.toml"));
        let expected =
            [(5.0, 25.0), (10.0, 20.0), (15.0, 15.0), (20.0, 10.0), (25.0, 5.0), (15.0, 5.0), (20.0, 5.0)];
        assert_eq!(levels, expected);
    }

    // Trials 2023, doi 10.1186/s13063-023-07502-x, table 1: run share of time 60, 60, 66.7, 66.7, 80 and 100 %
    // over 1.0, 1.5, 1.5, 2.0, 2.0 and 2.0 miles.
    #[test]
    fn published_return_to_running_phases_cover_their_miles() {
        let text = include_str!("../../../testdata/plans/return-to-running-six-phases.toml");
        let plan = Plan::parse(text, "plan.toml").unwrap();
        for (block, miles) in plan.blocks.iter().zip([1.0, 1.5, 1.5, 2.0, 2.0, 2.0]) {
            let covered_m: f64 =
                block.session.intervals.iter().map(|interval| plan.speeds.distance_m(interval)).sum();
            let short_m = miles * 1609.344 - covered_m;
            // Distances stand in whole metres in the file; a last scrap under 15 s (37.5 m) is left out.
            assert!((-0.5..=37.5).contains(&short_m), "{miles} miles: {covered_m} m");
        }
        let shares: Vec<f64> = plan.blocks[..5]
            .iter()
            .map(|block| match block.session.intervals[..2] {
                [walk, run] => {
                    plan.speeds.duration_s(&run)
                        / (plan.speeds.duration_s(&walk) + plan.speeds.duration_s(&run))
                }
                _ => f64::NAN,
            })
            .map(|share| (share * 1000.0).round() / 10.0)
            .collect();
        assert_eq!(shares, [60.0, 60.0, 66.7, 66.7, 80.0]);
        assert!(plan.blocks[5].session.walk_s == 0.0);
    }

    // National heart institute's 12-week walking table: 15 to 40 min a session, at least three a week,
    // 615 min of brisk walking in all.
    #[test]
    fn published_walking_weeks_have_their_totals() {
        let text = include_str!("../../../testdata/plans/walking-twelve-weeks.toml");
        let plan = Plan::parse(text, "plan.toml").unwrap();
        let totals: Vec<f64> = plan.blocks.iter().map(|block| block.session.walk_s / 60.0).collect();
        assert_eq!(totals, [15.0, 17.0, 19.0, 21.0, 23.0, 25.0, 28.0, 30.0, 33.0, 36.0, 38.0, 40.0]);
        let brisk_s: f64 = plan
            .blocks
            .iter()
            .map(|block| f64::from(block.sessions) * plan.speeds.duration_s(&block.session.intervals[1]))
            .sum();
        assert_eq!(brisk_s / 60.0, 615.0);
        assert!(plan.blocks.iter().all(|block| !block.session.has_runs()));
    }

    // Graded running after Moen and others 2012, as a clinic page prints it: 16, 16, 20, 20, 16 and 18 min.
    #[test]
    fn published_graded_running_phases_have_their_totals() {
        let phases = minutes(include_str!("../../../testdata/plans/graded-running-six-phases.toml"));
        let totals: Vec<f64> = phases.iter().map(|(run, walk)| run + walk).collect();
        assert_eq!(totals, [16.0, 16.0, 20.0, 20.0, 16.0, 18.0]);
        assert_eq!(phases[4], (16.0, 0.0));
    }

    // A ladder of our own: run seconds by arithmetic.
    #[test]
    fn the_ladder_from_minutes_to_half_an_hour_has_its_totals() {
        let steps = minutes(include_str!("../../../testdata/plans/ladder.toml"));
        let run: Vec<f64> = steps.iter().map(|(run, _)| *run).collect();
        assert_eq!(run, [8.0, 12.0, 12.0, 15.0, 18.0, 24.0, 24.0, 25.0, 30.0]);
    }
}

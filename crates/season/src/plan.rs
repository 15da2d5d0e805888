//! A plan: blocks of sessions, read from TOML, and its days.

use boutwise_bouts::{Gait, Interval};
use chrono::{Datelike, Days, NaiveDate, Weekday};

use crate::error::{ErrorKind, Flaw};
use crate::notation::{NominalSpeeds, read_intervals};
use crate::plan_file::read_plan;
use crate::{Error, Rules};

/// Most sessions of one block (own choice).
pub const MAX_BLOCK_SESSIONS: u32 = 200;
/// Most blocks of a plan (own choice).
pub const MAX_BLOCKS: usize = 200;
/// Most sessions of a plan (own choice: more than one a day for a year; each has a row for everybody who follows the plan).
pub const MAX_PLAN_SESSIONS: u32 = 400;
/// Longest step between two sessions in days (own choice).
pub const MAX_EVERY_DAYS: u32 = 28;
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
    pub(crate) fn read(text: &str, speeds: NominalSpeeds) -> Result<Self, Flaw> {
        let intervals = read_intervals(text, speeds)?;
        let of = |gait: Gait, amount: fn(NominalSpeeds, &Interval) -> f64| -> f64 {
            intervals
                .iter()
                .filter(|interval| interval.gait == gait)
                .map(|interval| amount(speeds, interval))
                // The sum of none has a minus.
                .fold(0.0, |sum, more| sum + more)
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

impl Rhythm {
    /// Days of rest between two sessions that stand nearest to each other; `None` where order alone counts.
    pub(crate) fn least_rest_days(&self) -> Option<u32> {
        let gap = match self {
            Self::Undated => return None,
            Self::EveryDays(days) => *days,
            Self::Weekdays(days) => {
                let after = days.iter().cycle().skip(1);
                let gaps = days.iter().zip(after).map(|(day, next)| match next.days_since(*day) {
                    0 => 7,
                    gap => gap,
                });
                gaps.min()?
            }
        };
        Some(gap.saturating_sub(1))
    }
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
    /// What is asked: one session, or several that are taken in order and round again.
    pub asked: Vec<Prescription>,
    /// What the days between the sessions ask for, if anything.
    pub between: Option<Prescription>,
}

impl Block {
    /// What the session of a number (from 1) asks for.
    pub fn session(&self, number: u32) -> &Prescription {
        &self.asked[number.saturating_sub(1) as usize % self.asked.len()]
    }
}

/// Days on which a plan waits for all.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Pause {
    /// The first of them.
    pub from: NaiveDate,
    /// The last of them.
    pub to: NaiveDate,
}

impl Pause {
    /// Whether a day is one of them.
    pub fn holds(&self, day: NaiveDate) -> bool {
        (self.from..=self.to).contains(&day)
    }
}

/// A whole plan.
///
/// ```
/// use boutwise_season::Plan;
/// let plan = Plan::parse(r#"
///     [[block]]
///     sessions = 3
///     every_days = 2
///     session = "6:00 walk, 9 x (0:40 run, 1:20 walk)"
/// "#, "spring.toml").unwrap();
/// assert_eq!(plan.title, "spring");
/// assert_eq!(plan.blocks[0].label, "A");
/// assert_eq!(plan.blocks[0].session(1).run_s, 360.0);
/// let start = chrono::NaiveDate::from_ymd_opt(2026, 3, 2).unwrap();
/// assert_eq!(plan.dates(start)[2], chrono::NaiveDate::from_ymd_opt(2026, 3, 6));
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct Plan {
    /// Its title.
    pub title: String,
    /// The distance to be run without a break in the end, in metres, where the plan names one.
    pub goal_m: Option<f64>,
    /// The steps in order, at least one.
    pub blocks: Vec<Block>,
    /// The fixed speeds that turn metres into seconds.
    pub speeds: NominalSpeeds,
    /// Days on which the plan waits, in order.
    pub pauses: Vec<Pause>,
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

/// What stands in the corrections for no session of the plan; no block is called so.
pub(crate) const NO_BLOCK: &str = "none";

/// The label of a block as labels are compared.
pub(crate) fn folded_label(label: &str) -> String {
    label.trim().to_lowercase()
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

    /// The place of a session in the plan, by the label of its block in any case and its number (the first without one).
    pub fn find(&self, label: &str, number: Option<u32>) -> Option<usize> {
        let label = folded_label(label);
        let block = self.blocks.iter().position(|known| folded_label(&known.label) == label)?;
        let id = SessionId { block, number: number.unwrap_or(1) };
        self.sessions().position(|session| session == id)
    }

    /// What a session asks for.
    pub fn session(&self, id: SessionId) -> &Prescription {
        self.blocks[id.block].session(id.number)
    }

    /// Everything that the plan asks for, block by block, each once, with the first session that asks for it.
    pub fn kinds(&self) -> Vec<(SessionId, &Prescription)> {
        let of = |(block, held): (usize, &'_ Block)| {
            (1..=held.asked.len() as u32).map(move |number| SessionId { block, number })
        };
        let ids = self.blocks.iter().enumerate().flat_map(of);
        ids.map(|id| (id, self.session(id))).collect()
    }

    /// Which of [`Plan::kinds`] a session is.
    pub fn kind(&self, id: SessionId) -> usize {
        let before: usize = self.blocks[..id.block].iter().map(|block| block.asked.len()).sum();
        before + id.number.saturating_sub(1) as usize % self.blocks[id.block].asked.len()
    }

    /// The date of every session when the first one falls on `start`; `None` from the first block on that names
    /// no days. Pauses of the plan are left out.
    pub fn dates(&self, start: NaiveDate) -> Vec<Option<NaiveDate>> {
        self.days_from(start, self.sessions().count())
    }

    /// So many planned days from `start` on; past the last session the days of the last block go on.
    pub fn days_from(&self, start: NaiveDate, count: usize) -> Vec<Option<NaiveDate>> {
        let last = self.blocks.len() - 1;
        let mut blocks = self.sessions().map(|id| id.block).chain(std::iter::repeat(last)).take(count);
        let mut days = Vec::with_capacity(count);
        let mut next = blocks.next().and_then(|first| self.first_day(first, start));
        while days.len() < count {
            days.push(next);
            next = next.and_then(|before| self.day_after(before, blocks.next()?));
        }
        days
    }

    /// The first planned day of a block from a day on; `None` where order alone counts.
    fn first_day(&self, block: usize, from: NaiveDate) -> Option<NaiveDate> {
        match &self.blocks[block].rhythm {
            Rhythm::Undated => None,
            _ => self.out_of_pauses(block, from),
        }
    }

    /// The planned day after a day, in the rhythm of a block; `None` where order alone counts.
    pub(crate) fn day_after(&self, before: NaiveDate, block: usize) -> Option<NaiveDate> {
        let next = match &self.blocks[block].rhythm {
            Rhythm::Undated => None,
            Rhythm::EveryDays(days) => before.checked_add_days(Days::new(u64::from(*days))),
            Rhythm::Weekdays(days) => next_weekday(before, days),
        };
        self.out_of_pauses(block, next?)
    }

    /// The first planned day of a block after a day on which the plan waited; `None` where order alone counts.
    pub(crate) fn first_day_after(&self, waited: NaiveDate, block: usize) -> Option<NaiveDate> {
        match &self.blocks[block].rhythm {
            Rhythm::Undated => None,
            Rhythm::EveryDays(_) => self.out_of_pauses(block, waited.succ_opt()?),
            Rhythm::Weekdays(_) => self.day_after(waited, block),
        }
    }

    /// The day itself, or the planned day after the pause that it lies in.
    fn out_of_pauses(&self, block: usize, day: NaiveDate) -> Option<NaiveDate> {
        match self.pauses.iter().find(|pause| pause.holds(day)) {
            None => Some(day),
            Some(pause) => match &self.blocks[block].rhythm {
                Rhythm::Weekdays(days) => self.out_of_pauses(block, next_weekday(pause.to, days)?),
                _ => self.out_of_pauses(block, pause.to.succ_opt()?),
            },
        }
    }

    /// A sentence for each block but the last that nobody can leave by the rules without doing a session again.
    ///
    /// ```
    /// use boutwise_season::{Plan, Rules};
    /// let text = "[[block]]\nsession = '9:00 run'\n[[block]]\nsessions = 3\nsession = '12:00 run'";
    /// let plan = Plan::parse(text, "p").unwrap();
    /// let told = plan.never_advances(&Rules::default());
    /// assert_eq!(told.len(), 1);
    /// assert!(told[0].starts_with("block A has 1 session, and advancing needs 2 good ones of the newest 3"));
    /// ```
    pub fn never_advances(&self, rules: &Rules) -> Vec<String> {
        let (needed, window) = (rules.min_good_sessions, rules.window_sessions);
        let sessions =
            |count: u32| if count == 1 { "1 session".to_owned() } else { format!("{count} sessions") };
        let all_but_the_last = &self.blocks[..self.blocks.len() - 1];
        let short = all_but_the_last.iter().filter(|block| block.sessions < needed);
        short
            .map(|block| {
                format!(
                    "block {} has {}, and advancing needs {needed} good ones of the newest {window} of the block: as the \
                     plan is written nobody advances from it without doing a session again; write sessions = {needed} or \
                     more, or put it together with the next block as a list of sessions",
                    block.label,
                    sessions(block.sessions)
                )
            })
            .collect()
    }

    /// What is odd about a start on a day that the plan does not name, and what to write; `None` where all is well.
    ///
    /// ```
    /// use boutwise_season::Plan;
    /// let plan = Plan::parse("[[block]]\ndays = ['Tue', 'Sun']\nsession = '9:00 run'", "p").unwrap();
    /// let day = |day| chrono::NaiveDate::from_ymd_opt(2026, 3, day).unwrap();
    /// assert_eq!(plan.start_note(day(3)), None);
    /// assert_eq!(
    ///     plan.start_note(day(4)).unwrap(),
    ///     "the start 2026-03-04 is a Wednesday, and the plan names Tue, Sun: write 2026-03-08 or 2026-03-03"
    /// );
    /// ```
    pub fn start_note(&self, start: NaiveDate) -> Option<String> {
        let Rhythm::Weekdays(days) = &self.blocks[0].rhythm else { return None };
        if days.contains(&start.weekday()) {
            return None;
        }
        let before = (1..7).filter_map(|back| start.checked_sub_days(Days::new(back)));
        let before = before.into_iter().find(|day| days.contains(&day.weekday()))?;
        let named: Vec<String> = days.iter().map(ToString::to_string).collect();
        Some(format!(
            "the start {start} is a {}, and the plan names {}: write {} or {before}",
            start.format("%A"),
            named.join(", "),
            next_weekday(start, days)?
        ))
    }

    /// The plan day by day: its sessions, and the days between where they ask something; the days of a pause ask nothing.
    ///
    /// Without a start, a dated plan still counts its days (one that names days of the week from the first of
    /// them), but bears no dates.
    pub fn days(&self, start: Option<NaiveDate>) -> Vec<PlanDay<'_>> {
        let first = start.unwrap_or_else(|| self.nominal_start());
        // Where days are only counted, no pause is known to lie among them.
        let (pauses, dates) = match start {
            Some(start) => (self.pauses.as_slice(), self.dates(start)),
            None => (&[][..], Self { pauses: Vec::new(), ..self.clone() }.dates(first)),
        };
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
                        .filter(|day| !pauses.iter().any(|pause| pause.holds(*day)))
                        .map(|day| self.row(first, Some(day), start, DayKind::Between { block }, asked)),
                );
            }
            rows.push(self.row(first, date, start, DayKind::Session(id), self.session(id)));
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

    /// The weekday that the first session is taken to fall on where no start is known; `None` where the plan names no weekday,
    /// so that its days are the same whenever it begins.
    ///
    /// ```
    /// use boutwise_season::Plan;
    /// let plan = |days| Plan::parse(&format!("[[block]]\n{days}\nsession = '9:00 run'"), "p").unwrap();
    /// assert_eq!(plan("days = ['Tue', 'Sun']").assumed_weekday().as_deref(), Some("Tuesday"));
    /// assert_eq!(plan("every_days = 2").assumed_weekday(), None);
    /// ```
    pub fn assumed_weekday(&self) -> Option<String> {
        let has_weekdays = self.blocks.iter().any(|block| matches!(block.rhythm, Rhythm::Weekdays(_)));
        has_weekdays.then(|| self.nominal_start().format("%A").to_string())
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

#[cfg(test)]
mod tests {
    use super::*;

    const HARBOUR: &str = r#"
title = "Harbour beginners, spring"

[[block]]
label = "A"
sessions = 6
every_days = 2
session = "6:00 walk, 9 x (0:40 run, 1:20 walk), 4:00 walk"
between = "35:00 walk"

[[block]]
label = "B"
sessions = 3
every_days = 2
session = "21:00 run"
"#;

    fn date(year: i32, month: u32, day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(year, month, day).unwrap()
    }

    #[test]
    fn days_counted_from_the_first_session_know_of_no_pause() {
        let pause = "[[pause]]\nfrom = 2024-01-01\nto = 2024-01-28\n";
        let plain = Plan::parse(HARBOUR, "p").unwrap();
        let paused = Plan::parse(&format!("{HARBOUR}{pause}"), "p").unwrap();
        let numbers = |plan: &Plan| plan.days(None).iter().map(|day| day.day).collect::<Vec<_>>();
        assert_eq!(numbers(&paused), numbers(&plain));
        assert_eq!(numbers(&paused)[..3], [Some(1), Some(2), Some(3)]);
        // A start is known to lie in it.
        assert_eq!(paused.days(Some(date(2024, 1, 1)))[0].date, Some(date(2024, 1, 29)));
    }

    #[test]
    fn a_plan_is_listed_day_by_day_with_the_walks_between() {
        let plan = Plan::parse(HARBOUR, "harbour.toml").unwrap();
        let days = plan.days(Some(date(2026, 2, 23)));
        assert_eq!(days.len(), 6 + 6 + 3);
        assert_eq!(days[0].date, Some(date(2026, 2, 23)));
        assert_eq!(days[1].kind, DayKind::Between { block: 0 });
        assert_eq!(days[1].asked.walk_s, 2100.0);
        assert_eq!(days[12].kind, DayKind::Session(SessionId { block: 1, number: 1 }));
        assert_eq!((days[12].day, days[12].date), (Some(13), Some(date(2026, 3, 7))));
        let undated = plan.days(None);
        assert_eq!((undated[12].day, undated[12].date), (Some(13), None));
    }

    #[test]
    fn days_of_the_week_follow_the_start_whatever_day_it_is() {
        let plan = Plan::parse(
            "[[block]]\nsessions = 4\ndays = ['Sun', 'thursday', 'tue']\nsession = '21:00 run'",
            "p",
        )
        .unwrap();
        // Started a day late, on a Wednesday: the rest keeps to its days.
        let dates = plan.dates(date(2026, 3, 4));
        let expected = [date(2026, 3, 4), date(2026, 3, 5), date(2026, 3, 8), date(2026, 3, 10)].map(Some);
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
            Plan::parse("\u{feff}[[block]]\r\nsession = '21:00 run'\r\n", "plans/first steps.toml").unwrap();
        assert_eq!((plan.title.as_str(), plan.blocks[0].label.as_str()), ("first steps", "A"));
        assert_eq!((plan.blocks[0].sessions, &plan.blocks[0].rhythm), (1, &Rhythm::Undated));
    }

    #[test]
    fn reps_in_metres_count_at_the_plans_own_speed() {
        let plan =
            Plan::parse("run_speed_m_per_s = 2\n[[block]]\nsession = '4 x (400 m run, 2:00 walk)'", "p")
                .unwrap();
        assert_eq!((plan.blocks[0].session(1).run_s, plan.blocks[0].session(1).run_m), (800.0, 1600.0));
        assert_eq!(plan.blocks[0].session(1).longest_run_s(plan.speeds), 200.0);
    }

    /// Block by block: minutes of running and of walking.
    fn minutes(text: &str) -> Vec<(f64, f64)> {
        let plan = Plan::parse(text, "plan.toml").unwrap();
        plan.blocks
            .iter()
            .map(|block| (block.session(1).run_s / 60.0, block.session(1).walk_s / 60.0))
            .collect()
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
                block.session(1).intervals.iter().map(|interval| plan.speeds.distance_m(interval)).sum();
            let short_m = miles * 1609.344 - covered_m;
            // Distances stand in whole metres in the file; a last scrap under 15 s (37.5 m) is left out.
            assert!((-0.5..=37.5).contains(&short_m), "{miles} miles: {covered_m} m");
        }
        let shares: Vec<f64> = plan.blocks[..5]
            .iter()
            .map(|block| match block.session(1).intervals[..2] {
                [walk, run] => {
                    plan.speeds.duration_s(&run)
                        / (plan.speeds.duration_s(&walk) + plan.speeds.duration_s(&run))
                }
                _ => f64::NAN,
            })
            .map(|share| (share * 1000.0).round() / 10.0)
            .collect();
        assert_eq!(shares, [60.0, 60.0, 66.7, 66.7, 80.0]);
        assert!(plan.blocks[5].session(1).walk_s == 0.0);
    }

    // National heart institute's 12-week walking table: 15 to 40 min a session, at least three a week,
    // 615 min of brisk walking in all.
    #[test]
    fn published_walking_weeks_have_their_totals() {
        let text = include_str!("../../../testdata/plans/walking-twelve-weeks.toml");
        let plan = Plan::parse(text, "plan.toml").unwrap();
        let totals: Vec<f64> = plan.blocks.iter().map(|block| block.session(1).walk_s / 60.0).collect();
        assert_eq!(totals, [15.0, 17.0, 19.0, 21.0, 23.0, 25.0, 28.0, 30.0, 33.0, 36.0, 38.0, 40.0]);
        let brisk_s: f64 = plan
            .blocks
            .iter()
            .map(|block| f64::from(block.sessions) * plan.speeds.duration_s(&block.session(1).intervals[1]))
            .sum();
        assert_eq!(brisk_s / 60.0, 615.0);
        assert!(plan.blocks.iter().all(|block| !block.session(1).has_runs()));
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
    fn the_ladder_has_its_totals() {
        let plan = Plan::parse(include_str!("../../../testdata/plans/ladder.toml"), "plan.toml").unwrap();
        let run_s: Vec<f64> = plan.blocks.iter().map(|block| block.session(1).run_s).collect();
        assert_eq!(run_s, [360.0, 490.0, 630.0, 775.0, 920.0, 1020.0, 1020.0, 1140.0, 1260.0, 1620.0]);
    }
}

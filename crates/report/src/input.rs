//! What a report page is made from, besides the tables.

use std::collections::{BTreeMap, HashMap};

use chrono::{NaiveDate, NaiveTime};
use serde::Serialize;

use crate::figures::PaceUnit;
use crate::rows::SessionRow;
use crate::tables::Tables;
use crate::trace::Trace;
use boutwise_season::{Caution, HoldCause, Remark, SHORTER, Settings};

/// Everything that a report shows. Only the tables must be filled; what is missing is left out of the page.
#[derive(Clone, Copy, Debug)]
pub struct Report<'a> {
    /// What the report is about, for instance the name of the input folder.
    pub title: &'a str,
    /// The day up to which planned sessions are due; without it, the day of the last session.
    pub as_of: Option<NaiveDate>,
    /// The tables, sorted.
    pub tables: &'a Tables,
    /// What was measured along each session, in any order; a session without one is shown by its bouts alone.
    pub traces: &'a [Trace],
    /// What the tables do not hold about each athlete, in any order.
    pub athletes: &'a [AthleteExtras],
    /// What a reader should know about this audit as a whole: settings that were changed, a time zone that was
    /// assumed.
    pub notes: &'a [String],
}

/// Everything of one athlete: the rows of the tables, and what pages show beyond them.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct AthletePart {
    /// The rows of this athlete alone, sorted; those of files and their notes stand elsewhere.
    pub tables: Tables,
    /// What the tables do not hold.
    pub extras: AthleteExtras,
    /// What was measured along each session, in any order.
    pub traces: Vec<Trace>,
}

impl AthletePart {
    /// All of it as it is, numbers unrounded, for a digest of it; the JSON of [`Tables`] is rounded.
    pub fn whole(&self) -> impl Serialize {
        let Tables { files, sessions, bouts, intervals, events, athletes, weeks, planned, notes } =
            &self.tables;
        let tables = (files, sessions, bouts, intervals, events, athletes, weeks, planned, notes);
        (tables, &self.extras, &self.traces)
    }
}

impl Report<'_> {
    /// The day that pages speak for: without one, that of the last session.
    pub(crate) fn day(&self) -> Option<NaiveDate> {
        self.as_of.or_else(|| self.tables.sessions.iter().filter_map(SessionRow::day).max())
    }

    /// Every athlete's part, in the order of their names.
    pub(crate) fn parts(&self) -> Vec<AthletePart> {
        let mut parts: BTreeMap<&str, AthletePart> = BTreeMap::new();
        let mut athlete_of: HashMap<(&str, u64), &str> = HashMap::new();
        macro_rules! share_out {
            ($($table:ident),*) => {$(
                for row in &self.tables.$table {
                    parts.entry(&row.athlete).or_default().tables.$table.push(row.clone());
                }
            )*};
        }
        share_out!(athletes, sessions, bouts, intervals, events, weeks, planned);
        for extras in self.athletes {
            parts.entry(&extras.athlete).or_default().extras = extras.clone();
        }
        for row in &self.tables.sessions {
            athlete_of.insert((&row.file, row.session), &row.athlete);
        }
        for trace in self.traces {
            let athlete = athlete_of.get(&(trace.file.as_str(), trace.session));
            if let Some(part) = athlete.and_then(|athlete| parts.get_mut(athlete)) {
                part.traces.push(trace.clone());
            }
        }
        let named = parts.into_iter().map(|(name, mut part)| {
            part.extras.athlete = name.to_owned();
            part
        });
        named.collect()
    }
}

/// How a report is written.
#[derive(Clone, Debug, PartialEq)]
pub struct ReportSettings {
    /// The numbers that decided, which pages name.
    pub numbers: Settings,
    /// The distance that paces are given for.
    pub pace: PaceUnit,
    /// One page, or an index and a page an athlete.
    pub pages: Pages,
    /// Whether the group has a sheet and slips; not where the days of its people are no days of one calendar.
    pub has_group: bool,
    /// The size in bytes from which [`Pages::BySize`] divides the report (own choice).
    pub page_limit_bytes: usize,
    /// The number of athletes above which it does so (own choice: nobody finds anybody on a page of more).
    pub page_limit_athletes: usize,
}

impl Default for ReportSettings {
    fn default() -> Self {
        Self {
            numbers: Settings::default(),
            pace: PaceUnit::Kilometre,
            pages: Pages::BySize,
            has_group: true,
            page_limit_bytes: 5_000_000,
            page_limit_athletes: 500,
        }
    }
}

/// How a report is divided.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Pages {
    /// One page while it stays below the limits, else an index and a page an athlete.
    #[default]
    BySize,
    /// One page, whatever its size.
    One,
    /// An index and a page an athlete.
    PerAthlete,
}

/// What a page shows of an athlete beyond the tables. Every part may be left empty.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct AthleteExtras {
    /// The athlete, as in the tables.
    pub athlete: String,
    /// The athlete's group, as the squad file has it.
    pub group: Option<String>,
    /// Title of the athlete's plan.
    pub plan_title: Option<String>,
    /// Every session of the plan, in order, dated or not.
    pub calendar: Vec<PlannedSession>,
    /// The coach's newest decision, with its day; it stands before every computed proposal.
    pub coach_decision: Option<(NaiveDate, String)>,
    /// The athlete's journal, in order of date.
    pub journal: Vec<JournalDay>,
    /// How many older entries of it are left out.
    pub journal_left_out: usize,
    /// Cautions whose reason is given.
    pub cautions: Vec<Caution>,
    /// What else was measured, in sentences: attendance in detail, days out, effort, growth. Hidden beside a warning
    /// sign.
    pub facts: Vec<String>,
    /// What could not be told about this athlete, and why.
    pub notes: Vec<String>,
    /// The usual time of day.
    pub habit: Option<Habit>,
    /// The distance that the plan leads to.
    pub target: Option<Target>,
    /// What comes next.
    pub next: Option<NextSession>,
    /// Absences, first and last day, as the squad file has them.
    pub away: Vec<(NaiveDate, NaiveDate)>,
    /// The first day on which a run is proposed again, where rest was called for.
    pub no_run_before: Option<NaiveDate>,
    /// The day from which the athlete is judged, where a note of their own makes it another than the report's.
    pub as_of: Option<NaiveDate>,
    /// Whether a warning sign or the coach's `stop` stands, beside which nothing about progress is said.
    pub is_stopped: bool,
    /// Whether it is the coach's `stop` alone, without any sign.
    pub is_paused: bool,
    /// The day from which running is stopped, where it is.
    pub stopped_on: Option<NaiveDate>,
    /// Why the step is held, where that can be told.
    pub hold_cause: Option<HoldCause>,
    /// Seconds run beyond the plan in the newest session, where that is why the step is held.
    pub overdone_s: Option<f64>,
    /// Metres of the unbroken run that went farthest.
    pub farthest_run_m: Option<f64>,
    /// Whether it stays unsaid that the goal was reached: beside `stop` or pain.
    pub is_goal_unsaid: bool,
    /// Whether the distance on the way to the goal was run unbroken.
    pub is_way_done: bool,
    /// Rank for lists that begin with those who need attention first: 0 is the most urgent.
    pub attention: u8,
    /// Whether there was no recording for so long that somebody should ask.
    pub is_silent: bool,
    /// What there is to remark on the sessions, in any order.
    pub remarks: Vec<SessionRemarks>,
}

/// What there is to remark on one session.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct SessionRemarks {
    /// Path of the file, as in the tables.
    pub file: String,
    /// Number of the session in its file, from 1.
    pub session: u64,
    /// The remarks.
    pub remarks: Vec<Remark>,
    /// What else happened, in sentences.
    pub asides: Vec<String>,
    /// Pace of the running in each interval, rests inside it left out, in seconds per kilometre; in the order of the table.
    pub interval_paces_s_per_km: Vec<Option<f64>>,
    /// Why it counts for nothing, where it does.
    pub left_out: Option<LeftOut>,
}

/// Why a recording is no session that counts.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub enum LeftOut {
    /// It was recorded after the day from which the athlete is judged.
    Later,
    /// Another recording of the same outing counts in its place.
    SecondRecording,
    /// By hand it is not to be used.
    Unused,
    /// Its date cannot be believed.
    Undated,
    /// It is one of several people's.
    OfSeveral,
}

impl LeftOut {
    /// The words beside a session.
    pub(crate) fn words(self) -> &'static str {
        match self {
            Self::Later => "after the as-of day: left out",
            Self::SecondRecording => "second recording of the same session",
            Self::Unused => "not to be used, by hand",
            Self::Undated => "its date cannot be believed: left out",
            Self::OfSeveral => "of several people: nobody is judged by it",
        }
    }
}

/// One session of the plan and what became of it.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct PlannedSession {
    /// Label of the block.
    pub block: String,
    /// Number of the session in its block, from 1.
    pub session: u64,
    /// The day, where the plan is dated.
    pub date: Option<NaiveDate>,
    /// What is asked, in the notation of the plan.
    pub planned: String,
    /// The longest run that is asked for in one piece, in seconds.
    pub longest_run_planned_s: Option<f64>,
    /// Whether it is due by the as-of day.
    pub due: bool,
    /// Whether it is neither due nor missed: away, paused, excused or skipped by the coach's word.
    pub excused: bool,
    /// Whether it was done without a recording, as the coach says.
    pub said: bool,
    /// File and number of the recorded sessions that were laid on it, in order of time: all but the first did it again.
    pub recordings: Vec<(String, u64)>,
}

/// One line of an athlete's journal. Missing is `None`, never 0.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct JournalDay {
    /// The day.
    pub date: NaiveDate,
    /// Effort, 0 to 10.
    pub effort_0_10: Option<f64>,
    /// Whether whole sentences could be spoken.
    pub talkable: Option<bool>,
    /// Muscle soreness, 0 to 10.
    pub soreness_0_10: Option<f64>,
    /// Pain, 0 to 10.
    pub pain_0_10: Option<f64>,
    /// Whether the pain was still there the next morning.
    pub pain_next_morning: Option<bool>,
    /// Whether the pain grew while running.
    pub pain_worse_running: Option<bool>,
    /// A warning sign, in the journal's word.
    pub warning_sign: Option<String>,
    /// Whether the day was hot.
    pub hot: Option<bool>,
    /// What the coach decided.
    pub coach_decision: Option<String>,
    /// Free text.
    pub note: Option<String>,
}

/// When an athlete usually starts, by the athlete's clock (circular statistics).
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Habit {
    /// The mean time of day; `None` where the starts are spread all round the clock.
    pub usual_time: Option<NaiveTime>,
    /// Circular standard deviation in minutes.
    pub spread_min: f64,
}

/// The distance that the plan leads to, and how near the athlete is.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Target {
    /// The distance in metres.
    pub distance_m: f64,
    /// The time it is likely to take, in seconds; `None` where it cannot be estimated.
    pub needed_s: Option<f64>,
    /// How near: a word such as `close`, and the figures compared.
    pub readiness: Option<String>,
}

/// What comes next by the proposal.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct NextSession {
    /// Label of the block.
    pub block: String,
    /// Number of the session in its block, from 1.
    pub session: u64,
    /// The day, where the plan is dated.
    pub date: Option<NaiveDate>,
    /// What is asked, in the notation of the plan.
    pub planned: String,
    /// What is asked of the days between.
    pub between: Option<String>,
    /// Whether it was done before.
    pub is_again: bool,
    /// Whether it is to be made shorter than the plan has it.
    pub is_shortened: bool,
}

impl NextSession {
    /// What is to be done: as the plan has it, or that shortened.
    pub(crate) fn asked(&self) -> String {
        match self.is_shortened {
            true => format!("{}: {SHORTER}", self.planned),
            false => self.planned.clone(),
        }
    }
}

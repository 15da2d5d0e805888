//! The tables leafed through by person: each athlete's sessions, each session's bouts, intervals and trace.

use std::cell::OnceCell;
use std::collections::HashMap;
use std::sync::Arc;

use boutwise_season::Remark;
use chrono::NaiveDate;

use crate::input::{AthleteExtras, AthletePart, LeftOut};
use crate::markup::address;
use crate::register::Register;
use crate::rows::{AthleteRow, BoutRow, IntervalRow, PlannedRow, SessionRow, WeekRow};
use crate::trace::Trace;

/// One session with all that belongs to it.
#[derive(Clone, Debug)]
pub(crate) struct SessionPages<'a> {
    pub(crate) row: &'a SessionRow,
    pub(crate) bouts: &'a [BoutRow],
    pub(crate) intervals: &'a [IntervalRow],
    pub(crate) trace: Option<&'a Trace>,
    pub(crate) remarks: &'a [Remark],
    /// What else happened, in sentences.
    pub(crate) asides: &'a [String],
    /// Pace of the running in each of the intervals, where that is known.
    pub(crate) interval_paces_s_per_km: &'a [Option<f64>],
    /// Why it counts for nothing, where that is known.
    pub(crate) left_out: Option<LeftOut>,
}

impl SessionPages<'_> {
    /// The day by the athlete's clock, else by UTC.
    pub(crate) fn day(&self) -> Option<NaiveDate> {
        self.row.day()
    }

    /// Whether it counts.
    pub(crate) fn counts(&self) -> bool {
        self.row.counted != Some(false)
    }

    /// Whether it stands apart from the others, since nothing of it belongs among them.
    pub(crate) fn stands_apart(&self) -> bool {
        matches!(self.left_out, Some(LeftOut::Later | LeftOut::Undated))
    }

    /// The longest unbroken run, where running and walking can be told apart.
    pub(crate) fn longest_run_s(&self) -> Option<f64> {
        self.row.longest_run_s.filter(|_| self.row.resolvable != Some(false))
    }
}

/// One athlete with all that belongs to them.
#[derive(Clone, Debug)]
pub(crate) struct AthletePages<'a> {
    pub(crate) row: AthleteRow,
    /// The athlete's name in addresses, different for each.
    pub(crate) slug: String,
    /// In order of time.
    pub(crate) sessions: Vec<SessionPages<'a>>,
    pub(crate) weeks: Vec<&'a WeekRow>,
    pub(crate) planned: &'a [PlannedRow],
    pub(crate) extras: &'a AthleteExtras,
    register: OnceCell<Register>,
}

impl<'a> AthletePages<'a> {
    pub(crate) fn new(part: &'a AthletePart) -> Self {
        let tables = &part.tables;
        let bouts = by_session(&tables.bouts, |row| (&row.file, row.session));
        let intervals = by_session(&tables.intervals, |row| (&row.file, row.session));
        let traces: HashMap<_, _> =
            part.traces.iter().map(|trace| ((trace.file.as_str(), trace.session), trace)).collect();
        let remarks: HashMap<_, _> =
            (part.extras.remarks.iter()).map(|of| ((of.file.as_str(), of.session), of)).collect();
        let sessions = tables.sessions.iter().map(|row| {
            let key = (row.file.as_str(), row.session);
            let remarks = remarks.get(&key);
            SessionPages {
                row,
                bouts: bouts.get(&key).copied().unwrap_or_default(),
                intervals: intervals.get(&key).copied().unwrap_or_default(),
                trace: traces.get(&key).copied(),
                remarks: remarks.map_or(&[], |of| &of.remarks),
                asides: remarks.map_or(&[], |of| &of.asides),
                interval_paces_s_per_km: remarks.map_or(&[], |of| &of.interval_paces_s_per_km),
                left_out: remarks.and_then(|of| of.left_out),
            }
        });
        let name_alone = || AthleteRow { athlete: part.extras.athlete.clone(), ..AthleteRow::default() };
        Self {
            row: tables.athletes.first().cloned().unwrap_or_else(name_alone),
            slug: address(&part.extras.athlete),
            sessions: sessions.collect(),
            weeks: tables.weeks.iter().collect(),
            planned: &tables.planned,
            extras: &part.extras,
            register: OnceCell::new(),
        }
    }

    /// What was due and done on which day.
    pub(crate) fn register(&self) -> &Register {
        self.register.get_or_init(|| Register::of(self))
    }

    pub(crate) fn name(&self) -> &str {
        &self.row.athlete
    }

    /// Those that count, each with its number among all, from 1.
    pub(crate) fn counting(&self) -> impl DoubleEndedIterator<Item = (usize, &SessionPages<'a>)> + Clone {
        let numbered = self.sessions.iter().enumerate().map(|(place, pages)| (place + 1, pages));
        numbered.filter(|(_, pages)| pages.counts())
    }

    /// The newest session that counts; where none does, the newest that has a place among the others.
    pub(crate) fn last_session(&self) -> Option<&SessionPages<'a>> {
        let counting = self.counting().next_back().map(|(_, pages)| pages);
        counting.or_else(|| self.sessions.iter().rfind(|pages| !pages.stands_apart()))
    }

    /// All sessions of the day of the newest one, in order of time; that one alone where it has no day.
    pub(crate) fn of_last_day(&self) -> impl DoubleEndedIterator<Item = &SessionPages<'a>> {
        let last = self.last_session();
        let day = last.and_then(SessionPages::day);
        self.sessions.iter().filter(move |pages| match day {
            Some(_) => {
                pages.day() == day && (pages.counts() || last.is_some_and(|last| std::ptr::eq(last, *pages)))
            }
            None => last.is_some_and(|last| std::ptr::eq(last, *pages)),
        })
    }

    /// Of that day the newest that is held against a session of a plan; where there is none, the newest of all.
    pub(crate) fn last_asked(&self) -> Option<&SessionPages<'a>> {
        let is_held = |pages: &&SessionPages<'a>| pages.row.adherence_pct.is_some();
        self.of_last_day().rfind(is_held).or_else(|| self.last_session())
    }

    /// The number of a recorded session among the athlete's, from 1.
    pub(crate) fn session_number(&self, file: &str, session: u64) -> Option<usize> {
        self.sessions
            .iter()
            .position(|pages| pages.row.file == file && pages.row.session == session)
            .map(|place| place + 1)
    }
}

/// The rows of each session; they stand together in a sorted table.
fn by_session<R>(rows: &[R], key: impl Fn(&R) -> (&Arc<str>, u64)) -> HashMap<(&str, u64), &[R]> {
    rows.chunk_by(|a, b| key(a) == key(b))
        .filter_map(|chunk| {
            let (file, session) = key(chunk.first()?);
            Some(((&**file, session), chunk))
        })
        .collect()
}

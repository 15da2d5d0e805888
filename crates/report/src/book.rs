//! The tables leafed through by person: each athlete's sessions, each session's bouts, intervals and trace.

use std::collections::{BTreeMap, HashMap};

use boutwise_season::Remark;
use chrono::NaiveDate;

use crate::input::{AthleteExtras, Report};
use crate::markup::slug;
use crate::rows::{AthleteRow, BoutRow, IntervalRow, SessionRow, WeekRow};
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
}

impl SessionPages<'_> {
    /// The day by the athlete's clock, else by UTC.
    pub(crate) fn day(&self) -> Option<NaiveDate> {
        self.row.start_local.map(|time| time.date()).or(self.row.start_utc.map(|time| time.date_naive()))
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
    pub(crate) extras: AthleteExtras,
}

impl<'a> AthletePages<'a> {
    pub(crate) fn name(&self) -> &str {
        &self.row.athlete
    }

    pub(crate) fn last_session(&self) -> Option<&SessionPages<'a>> {
        self.sessions.last()
    }

    /// The number of a recorded session among the athlete's, from 1.
    pub(crate) fn session_number(&self, file: &str, session: u64) -> Option<usize> {
        self.sessions
            .iter()
            .position(|pages| pages.row.file == file && pages.row.session == session)
            .map(|place| place + 1)
    }
}

/// Everything of a report, by athlete, in the order of the tables.
#[derive(Clone, Debug)]
pub(crate) struct Book<'a> {
    pub(crate) athletes: Vec<AthletePages<'a>>,
    /// The day that the report speaks for.
    pub(crate) as_of: Option<NaiveDate>,
}

impl<'a> Book<'a> {
    pub(crate) fn new(report: &Report<'a>) -> Self {
        let tables = report.tables;
        let bouts = by_session(&tables.bouts, |row| (&row.file, row.session));
        let intervals = by_session(&tables.intervals, |row| (&row.file, row.session));
        let traces: HashMap<_, _> =
            report.traces.iter().map(|trace| ((trace.file.as_str(), trace.session), trace)).collect();
        let remarks: HashMap<_, _> = (report.athletes.iter())
            .flat_map(|extras| &extras.remarks)
            .map(|of| ((of.file.as_str(), of.session), of))
            .collect();
        let mut athletes: BTreeMap<&str, AthletePages<'a>> = BTreeMap::new();
        let blank = |name: &str| AthletePages {
            row: AthleteRow { athlete: name.into(), ..AthleteRow::default() },
            slug: String::new(),
            sessions: Vec::new(),
            weeks: Vec::new(),
            extras: AthleteExtras::default(),
        };
        for row in &tables.athletes {
            athletes.insert(&row.athlete, AthletePages { row: row.clone(), ..blank(&row.athlete) });
        }
        for row in &tables.sessions {
            let key = (row.file.as_str(), row.session);
            let intervals = intervals.get(&key).copied().unwrap_or_default();
            let bouts = bouts.get(&key).copied().unwrap_or_default();
            let remarks = remarks.get(&key);
            athletes.entry(&row.athlete).or_insert_with(|| blank(&row.athlete)).sessions.push(SessionPages {
                row,
                bouts,
                intervals,
                trace: traces.get(&key).copied(),
                remarks: remarks.map_or(&[], |of| &of.remarks),
                asides: remarks.map_or(&[], |of| &of.asides),
            });
        }
        for row in &tables.weeks {
            athletes.entry(&row.athlete).or_insert_with(|| blank(&row.athlete)).weeks.push(row);
        }
        for extras in report.athletes {
            athletes.entry(&extras.athlete).or_insert_with(|| blank(&extras.athlete)).extras = extras.clone();
        }
        let mut athletes: Vec<_> = athletes.into_values().collect();
        name_addresses(&mut athletes);
        let last_day =
            athletes.iter().flat_map(|athlete| &athlete.sessions).filter_map(SessionPages::day).max();
        Self { athletes, as_of: report.as_of.or(last_day) }
    }
}

/// The rows of each session; they stand together in a sorted table.
fn by_session<R>(rows: &[R], key: impl Fn(&R) -> (&String, u64)) -> HashMap<(&str, u64), &[R]> {
    rows.chunk_by(|a, b| key(a) == key(b))
        .filter_map(|chunk| {
            let (file, session) = key(chunk.first()?);
            Some(((file.as_str(), session), chunk))
        })
        .collect()
}

/// Gives each athlete an address; where two names give the same one, a number follows.
fn name_addresses(athletes: &mut [AthletePages<'_>]) {
    let mut taken = std::collections::HashSet::new();
    for athlete in athletes {
        let plain = slug(athlete.name());
        let numbered = (2..).map(|number| format!("{plain}-{number}"));
        let free = std::iter::once(plain.clone()).chain(numbered).find(|slug| !taken.contains(slug));
        athlete.slug = free.unwrap_or(plain);
        taken.insert(athlete.slug.clone());
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::tables::Tables;

    #[test]
    fn athletes_with_the_same_address_are_told_apart() {
        let tables = Tables {
            athletes: ["A b", "a-B", "名", "名前"]
                .map(|name| AthleteRow { athlete: name.into(), ..AthleteRow::default() })
                .into(),
            ..Tables::default()
        };
        let report =
            Report { title: "", as_of: None, tables: &tables, traces: &[], athletes: &[], notes: &[] };
        let slugs: Vec<_> = Book::new(&report).athletes.into_iter().map(|athlete| athlete.slug).collect();
        assert_eq!(slugs, ["a-b", "a-b-2", "athlete", "athlete-2"]);
    }
}

//! All tables of one audit.

use std::collections::HashMap;

use boutwise_season::Settings;

use crate::carried::CarriedColumns;
use crate::column::{Column, Row};
use crate::rows::{
    AthleteRow, BoutRow, ColumnRow, EventRow, FileRow, IntervalRow, NoteRow, PlannedRow, SessionRow, WeekRow,
};

/// All tables of one audit. Call [`Tables::sort`] once they are filled; the writers keep the order they find.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Tables {
    /// Every input file.
    pub files: Vec<FileRow>,
    /// Every recorded session that counts.
    pub sessions: Vec<SessionRow>,
    /// Every bout of these sessions.
    pub bouts: Vec<BoutRow>,
    /// Every planned interval of the sessions laid on a plan, and the extra runs.
    pub intervals: Vec<IntervalRow>,
    /// What happened in these sessions.
    pub events: Vec<EventRow>,
    /// Every athlete.
    pub athletes: Vec<AthleteRow>,
    /// Every athlete and week.
    pub weeks: Vec<WeekRow>,
    /// Every planned session of every athlete.
    pub planned: Vec<PlannedRow>,
    /// Every kind of oddity of every file and session.
    pub notes: Vec<NoteRow>,
}

/// What tells one session from all others: athlete, file, number in the file.
type SessionKey<'a> = (&'a str, &'a str, u64);

impl Tables {
    /// Adds the rows of other tables behind their own.
    pub fn append(&mut self, mut others: Self) {
        self.files.append(&mut others.files);
        self.sessions.append(&mut others.sessions);
        self.bouts.append(&mut others.bouts);
        self.intervals.append(&mut others.intervals);
        self.events.append(&mut others.events);
        self.athletes.append(&mut others.athletes);
        self.weeks.append(&mut others.weeks);
        self.planned.append(&mut others.planned);
        self.notes.append(&mut others.notes);
    }

    /// Puts every table into its one order: by athlete, then time, then file; a session's bouts and intervals
    /// stay together, in the order of the sessions. Rows without a time come after those with one.
    ///
    /// The order does not depend on the order in which rows were added, so the same input gives the same bytes.
    pub fn sort(&mut self) {
        self.files.sort_by(|a, b| a.file.cmp(&b.file));
        self.sessions.sort_by(|a, b| {
            (&a.athlete, a.start_utc.is_none(), a.start_utc, &a.file, a.session).cmp(&(
                &b.athlete,
                b.start_utc.is_none(),
                b.start_utc,
                &b.file,
                b.session,
            ))
        });
        let place: HashMap<SessionKey<'_>, usize> = (self.sessions.iter().enumerate())
            .map(|(place, row)| ((row.athlete.as_str(), row.file.as_str(), row.session), place))
            .collect();
        sort_within_sessions(&mut self.bouts, &place, |row| {
            ((&row.athlete, &row.file, row.session), row.bout)
        });
        sort_within_sessions(&mut self.intervals, &place, |row| {
            ((&row.athlete, &row.file, row.session), row.interval)
        });
        sort_within_sessions(&mut self.events, &place, |row| {
            // Events of a session come in order of time; milliseconds tell them apart.
            let at_ms = (1000.0 * row.at_s.max(0.0)).round() as u64;
            ((&row.athlete, &row.file, row.session), at_ms)
        });
        self.athletes.sort_by(|a, b| a.athlete.cmp(&b.athlete));
        self.weeks.sort_by(|a, b| a.athlete.cmp(&b.athlete).then(a.week.cmp(&b.week)));
        // Planned sessions come in the order of their plans, notes in the order in which people should read them.
        self.planned.sort_by(|a, b| a.athlete.cmp(&b.athlete));
        self.notes.sort_by(|a, b| (&a.file, a.session).cmp(&(&b.file, b.session)));
    }
}

fn sort_within_sessions<R>(
    rows: &mut [R],
    place: &HashMap<SessionKey<'_>, usize>,
    key: impl Fn(&R) -> (SessionKey<'_>, u64),
) {
    // Mostly they stand in order, many of a session one after the other.
    let mut last: Option<(SessionKey<'_>, usize)> = None;
    let mut before = (0, 0);
    let in_order = rows.iter().all(|row| {
        let (session, number) = key(row);
        let known = last.filter(|(of_last, _)| *of_last == session).map(|(_, place)| place);
        let Some(at) = known.or_else(|| place.get(&session).copied()) else { return false };
        last = Some((session, at));
        std::mem::replace(&mut before, (at, number)) <= (at, number)
    });
    if in_order {
        return;
    }
    rows.sort_by_cached_key(|row| {
        let (session, number) = key(row);
        // A row of a session that the table lacks stands behind all others, in the order of its name.
        match place.get(&session) {
            Some(&place) => (place, None, number),
            None => (usize::MAX, Some((session.0.to_owned(), session.1.to_owned(), session.2)), number),
        }
    });
}

/// A table as it is declared, without rows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Declared {
    /// Its name; its file is `NAME.csv`.
    pub name: &'static str,
    /// What one row stands for.
    pub about: &'static str,
    /// The columns, in order.
    pub columns: &'static [Column<'static>],
    /// Whether columns of the squad file may be carried behind them.
    pub carries: bool,
    /// The columns that together name a row; none where rows have no name.
    pub key: &'static [&'static str],
    /// Columns that name a row of another table, and that table.
    pub refers: &'static [(&'static [&'static str], &'static str)],
}

impl Declared {
    const fn of<R: Row>() -> Self {
        Self {
            name: R::TABLE,
            about: R::ABOUT,
            columns: R::COLUMNS,
            carries: R::CARRIES,
            key: R::KEY,
            refers: R::REFERS,
        }
    }

    /// The columns, and behind them those that are carried.
    pub(crate) fn with<'c>(&self, carried: &'c CarriedColumns) -> impl Iterator<Item = Column<'c>> {
        let own: &[Column<'c>] = self.columns;
        own.iter().copied().chain(carried.behind(self.carries))
    }
}

/// Every table of an audit, in the order of the listing.
pub const DECLARED: &[Declared] = &[
    Declared::of::<FileRow>(),
    Declared::of::<SessionRow>(),
    Declared::of::<BoutRow>(),
    Declared::of::<IntervalRow>(),
    Declared::of::<EventRow>(),
    Declared::of::<AthleteRow>(),
    Declared::of::<WeekRow>(),
    Declared::of::<PlannedRow>(),
    Declared::of::<NoteRow>(),
];

/// Every column of every table, in order, those that are carried too: the listing behind `boutwise columns`.
/// Sources hold the numbers of `settings`.
///
/// ```
/// use boutwise_report::{CarriedColumns, columns};
/// use boutwise_season::Settings;
///
/// let columns = columns(&CarriedColumns::default(), &Settings::default());
/// let pace = columns.iter().find(|row| row.column == "run_pace_s_per_km").expect("a fixed column");
/// assert_eq!(pace.unit.as_deref(), Some("s/km"));
/// assert_eq!(pace.decimals, Some(1));
/// ```
pub fn columns(carried: &CarriedColumns, settings: &Settings) -> Vec<ColumnRow> {
    let row = |table: &Declared, column: Column<'_>| ColumnRow {
        table: table.name.into(),
        column: column.name.into(),
        holds: column.holds.word().into(),
        unit: Some(column.unit.symbol()).filter(|symbol| !symbol.is_empty()).map(Into::into),
        decimals: column.decimals().map(|decimals| decimals as u64),
        meaning: column.meaning.into(),
        source: column.source_with(settings).into_owned(),
        nullable: column.optional,
        when_empty: column.when_empty().map(Into::into),
        allowed: column.words.iter().copied().map(Into::into).collect(),
    };
    let rows =
        |table: &'static Declared| table.with(carried).map(|column| row(table, column)).collect::<Vec<_>>();
    DECLARED.iter().flat_map(rows).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use boutwise_bouts::Kind;
    use proptest::prelude::*;

    fn session(athlete: &str, file: &str, start_utc: Option<&str>) -> SessionRow {
        SessionRow {
            athlete: athlete.into(),
            file: file.into(),
            session: 1,
            start_utc: start_utc.map(|text| text.parse().expect("a valid time")),
            ..SessionRow::default()
        }
    }

    fn bout(athlete: &str, file: &str, number: u64) -> BoutRow {
        BoutRow {
            athlete: athlete.into(),
            file: file.into(),
            session: 1,
            bout: number,
            kind: Kind::Run,
            start_s: 0.0,
            end_s: 1.0,
            start_utc: None,
            duration_s: 1.0,
            distance_m: None,
            pace_s_per_km: None,
            hr_mean_bpm: None,
            hr_end_bpm: None,
            cadence_spm: None,
            confidence: 1.0,
        }
    }

    fn filled() -> Tables {
        Tables {
            sessions: vec![
                session("Ann", "a/2.gpx", Some("2024-03-05T17:30:00Z")),
                session("Ann", "a/1.gpx", Some("2024-03-07T17:30:00Z")),
                session("Ann", "a/0.gpx", None),
                session("Bob", "b/1.gpx", Some("2024-03-01T17:30:00Z")),
            ],
            bouts: vec![
                bout("Ann", "a/2.gpx", 1),
                bout("Ann", "a/2.gpx", 2),
                bout("Ann", "a/2.gpx", 10),
                bout("Ann", "a/1.gpx", 1),
                bout("Bob", "b/1.gpx", 1),
                bout("Cy", "c/1.gpx", 1),
            ],
            ..Tables::default()
        }
    }

    proptest! {
        #[test]
        fn the_order_of_adding_rows_does_not_show(
            sessions in Just(filled().sessions).prop_shuffle(),
            bouts in Just(filled().bouts).prop_shuffle(),
        ) {
            let mut tables = Tables { sessions, bouts, ..Tables::default() };
            tables.sort();
            prop_assert_eq!(tables, filled());
        }
    }

    #[test]
    fn the_listing_names_each_column_of_each_table_once() {
        let rows = columns(&CarriedColumns::default(), &Settings::default());
        let names: std::collections::BTreeSet<_> =
            rows.iter().map(|row| (row.table.as_str(), row.column.as_str())).collect();
        assert_eq!(names.len(), rows.len());
        insta::assert_snapshot!("columns", crate::csv_text(&rows).expect("writing to memory"));
    }
}

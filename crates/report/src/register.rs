//! Who came on which day. A session that fell due stands for its day, whenever it was done; where it was not, a recording of that
//! day does: nobody who was out is absent.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{NaiveDate, Weekday};

use crate::book::{AthletePages, SessionPages};
use crate::figures::counted;
use crate::rows::PlannedRow;
use crate::word::PlannedOutcome;

/// What a cell of the register says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Mark {
    Came,
    Done,
    Cut,
    Absent,
    Excused,
    NotTold,
}

impl Mark {
    pub(crate) fn word(self) -> &'static str {
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
    pub(crate) const MEANINGS: [(Self, &str); 6] = [
        (Self::Done, "what fell due, all reps in full"),
        (
            Self::Came,
            "a recording: otherwise than asked, not all of it recorded, another session, or nothing was asked",
        ),
        (Self::Cut, "the last reps are missing"),
        (Self::Absent, "due, not done, and no recording that day"),
        (Self::Excused, "away, paused or excused"),
        (Self::NotTold, "running could not be told from walking"),
    ];

    /// What an outcome says by itself; of the others the recording is asked.
    fn of_outcome(outcome: PlannedOutcome) -> Option<Self> {
        match outcome {
            PlannedOutcome::Completed | PlannedOutcome::Said => Some(Self::Done),
            PlannedOutcome::CutShort => Some(Self::Cut),
            _ => None,
        }
    }

    fn of_recording(recorded: &SessionPages<'_>) -> Self {
        if recorded.row.resolvable == Some(false) { Self::NotTold } else { Self::Came }
    }
}

/// What became of a planned session, as far as its day is asked.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Fate {
    /// Done, or so the coach says.
    Kept(Mark),
    /// Due, and not done.
    NotKept,
    Excused,
}

/// A week in numbers.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct WeekCount {
    /// Sessions that fell due.
    pub(crate) due: u64,
    /// Those of them that were done.
    pub(crate) came: u64,
    /// Those of them that were not, and on whose day nothing was recorded.
    pub(crate) absent: u64,
    /// Days on which another session was done.
    pub(crate) more_days: u64,
}

impl WeekCount {
    pub(crate) fn add(&mut self, other: Self) {
        self.due += other.due;
        self.came += other.came;
        self.absent += other.absent;
        self.more_days += other.more_days;
    }

    /// `7 of 9, and 1 more day`.
    pub(crate) fn in_short(self) -> String {
        let of_due =
            if self.due == 0 { "nothing was due".into() } else { format!("{} of {}", self.came, self.due) };
        self.with_more(of_due, "")
    }

    /// `came 7 of 9 due, and 1 more day on which another session was done`.
    pub(crate) fn sentence(self) -> String {
        let of_due = if self.due == 0 {
            "nothing was due".into()
        } else {
            format!("came {} of {} due", self.came, self.due)
        };
        self.with_more(of_due, " on which another session was done")
    }

    fn with_more(self, of_due: String, which: &str) -> String {
        match self.more_days {
            0 => of_due,
            days => {
                format!("{of_due}, and {}{which}", counted(days as usize, "more day", "more days"))
            }
        }
    }
}

/// The days of one person.
#[derive(Clone, Debug, Default)]
pub(crate) struct Register {
    planned: BTreeMap<NaiveDate, Vec<Fate>>,
    recorded: BTreeMap<NaiveDate, Vec<Mark>>,
    /// Days on which another session was done than what fell due, and those with a session that stands for no day.
    other_sessions: BTreeSet<NaiveDate>,
    away: Vec<(NaiveDate, NaiveDate)>,
}

impl Register {
    /// It is kept with the athlete ([`AthletePages::register`]).
    pub(crate) fn of(athlete: &AthletePages<'_>) -> Self {
        let mut register = Self { away: athlete.extras.away.clone(), ..Self::default() };
        // What was done on which day, by as many recordings as there are.
        let done_by: BTreeMap<_, _> = athlete
            .counting()
            .filter_map(|(_, pages)| Some(((pages.row.file.as_str(), pages.row.session), done(pages)?)))
            .collect();
        let all_done: BTreeSet<_> = done_by.values().copied().collect();
        let mut kept = BTreeSet::new();
        for planned in athlete.planned {
            let Some((day, fate)) = planned.due_date.zip(fate(planned, athlete)) else { continue };
            if matches!(fate, Fate::Kept(_)) {
                // Who did it on its day came for it, however often it was done again.
                let then = (day, Some(planned.plan_block.as_str()), Some(planned.plan_session));
                let by_row = || done_by.get(&planned.file.as_deref().zip(planned.session)?).copied();
                kept.extend(all_done.get(&then).copied().or_else(by_row));
            }
            register.planned.entry(day).or_default().push(fate);
        }
        for (_, pages) in athlete.counting() {
            let Some(done) = done(pages) else { continue };
            let day = done.0;
            register.recorded.entry(day).or_default().push(Mark::of_recording(pages));
            let is_kept = kept.contains(&done);
            let falls_due = register.planned.get(&day).is_some_and(|of| of.contains(&Fate::NotKept));
            if falls_due || !is_kept && pages.row.plan_session.is_some() {
                register.other_sessions.insert(day);
            }
        }
        register
    }

    /// What stands in the cell of a day; nothing where nothing was asked or is due, and nothing was recorded.
    pub(crate) fn cell(&self, day: NaiveDate) -> Vec<Mark> {
        let recorded = || self.recorded.get(&day).into_iter().flatten().copied();
        let is_out = recorded().next().is_some();
        let mut marks: Vec<Mark> = Vec::new();
        for fate in self.planned.get(&day).into_iter().flatten() {
            match fate {
                Fate::Kept(mark) => marks.push(*mark),
                _ if is_out => marks.extend(recorded()),
                Fate::NotKept => marks.push(Mark::Absent),
                Fate::Excused => marks.push(Mark::Excused),
            }
        }
        if marks.is_empty() {
            marks.extend(recorded());
        }
        if marks.is_empty() && self.is_away(day) {
            marks.push(Mark::Excused);
        }
        let mut told = Vec::new();
        for mark in marks {
            if !told.contains(&mark) {
                told.push(mark);
            }
        }
        told
    }

    /// The planned days from one on whose cell says so.
    pub(crate) fn planned_days(&self, from: NaiveDate, mark: Mark) -> Vec<NaiveDate> {
        let days = self.planned.range(from..).map(|(day, _)| *day);
        days.filter(|day| self.cell(*day).contains(&mark)).collect()
    }

    /// The days with a recording.
    pub(crate) fn days_out(&self) -> impl Iterator<Item = NaiveDate> {
        self.recorded.keys().copied()
    }

    fn is_away(&self, day: NaiveDate) -> bool {
        self.away.iter().any(|(from, to)| (*from..=*to).contains(&day))
    }

    /// The weeks with something due or another session, by their Mondays.
    pub(crate) fn weeks(&self) -> BTreeMap<NaiveDate, WeekCount> {
        let mut weeks: BTreeMap<NaiveDate, WeekCount> = BTreeMap::new();
        for (day, fates) in &self.planned {
            let week = weeks.entry(monday_before(*day)).or_default();
            let is_out = self.recorded.contains_key(day);
            for fate in fates {
                week.due += u64::from(*fate != Fate::Excused);
                week.came += u64::from(matches!(fate, Fate::Kept(_)));
                week.absent += u64::from(*fate == Fate::NotKept && !is_out);
            }
        }
        for day in &self.other_sessions {
            weeks.entry(monday_before(*day)).or_default().more_days += 1;
        }
        weeks
    }
}

/// What was done on which day; nothing of a day that is not known.
fn done<'a>(pages: &SessionPages<'a>) -> Option<(NaiveDate, Option<&'a str>, Option<u64>)> {
    Some((pages.day()?, pages.row.plan_block.as_deref(), pages.row.plan_session))
}

/// What became of a planned session; `None` while it is not due.
fn fate(planned: &PlannedRow, athlete: &AthletePages<'_>) -> Option<Fate> {
    let outcome = planned.outcome?;
    if outcome == PlannedOutcome::Excused {
        return Some(Fate::Excused);
    }
    let recorded = planned
        .file
        .as_deref()
        .zip(planned.session)
        .and_then(|(file, session)| athlete.sessions.get(athlete.session_number(file, session)? - 1));
    let lies_outside = recorded.is_some_and(|pages| pages.row.reps_not_recorded > Some(0));
    // Of a rep outside the recording nobody knows that it was run in full.
    let told = Mark::of_outcome(outcome).filter(|mark| !(*mark == Mark::Done && lies_outside));
    let mark = told.or_else(|| recorded.map(Mark::of_recording));
    Some(mark.map_or(Fate::NotKept, Fate::Kept))
}

pub(crate) fn monday_before(day: NaiveDate) -> NaiveDate {
    day.week(Weekday::Mon).first_day()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::input::{AthleteExtras, AthletePart};
    use crate::rows::SessionRow;
    use crate::tables::Tables;

    /// A day of March 2026, whose 16th is a Monday.
    fn march(day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2026, 3, day).expect("a day of March")
    }

    fn recorded(day: u32, plan_session: Option<u64>) -> SessionRow {
        SessionRow {
            file: format!("{day}.gpx"),
            session: 1,
            start_local: march(day).and_hms_opt(18, 0, 0),
            plan_session,
            counted: Some(true),
            ..SessionRow::default()
        }
    }

    fn planned(day: u32, outcome: PlannedOutcome, done_on: Option<u32>) -> PlannedRow {
        PlannedRow {
            due_date: Some(march(day)),
            due: outcome != PlannedOutcome::Excused,
            outcome: Some(outcome),
            file: done_on.map(|on| format!("{on}.gpx")),
            session: done_on.map(|_| 1),
            days_late: done_on.map(|on| i64::from(on) - i64::from(day)),
            ..PlannedRow::default()
        }
    }

    fn register(
        planned: Vec<PlannedRow>,
        sessions: Vec<SessionRow>,
        away: Vec<(NaiveDate, NaiveDate)>,
    ) -> Register {
        let part = AthletePart {
            tables: Tables { planned, sessions, ..Tables::default() },
            extras: AthleteExtras { away, ..AthleteExtras::default() },
            ..AthletePart::default()
        };
        Register::of(&AthletePages::new(&part))
    }

    fn words(register: &Register, days: &[u32]) -> Vec<String> {
        let cell = |day: &u32| {
            register.cell(march(*day)).iter().map(|mark| mark.word()).collect::<Vec<_>>().join(", ")
        };
        days.iter().map(cell).collect()
    }

    /// She repeats a block on every planned day; the session of the 17th is done on the 24th.
    #[test]
    fn who_repeats_came_and_what_is_done_a_week_later_stands_for_its_day() {
        let rows = vec![
            planned(17, PlannedOutcome::Completed, Some(24)),
            planned(19, PlannedOutcome::Missed, None),
            planned(22, PlannedOutcome::Missed, None),
            planned(24, PlannedOutcome::Missed, None),
        ];
        let sessions = [17, 19, 22, 24].map(|day| recorded(day, Some(1))).to_vec();
        let register = register(rows, sessions, Vec::new());
        assert_eq!(words(&register, &[17, 19, 22, 24]), ["done", "came", "came", "came"]);
        assert!(register.planned_days(march(1), Mark::Absent).is_empty());
        let weeks: Vec<String> = register.weeks().into_values().map(WeekCount::sentence).collect();
        assert_eq!(
            weeks,
            [
                "came 1 of 3 due, and 3 more days on which another session was done",
                "came 0 of 1 due, and 1 more day on which another session was done"
            ]
        );
    }

    #[test]
    fn a_second_recording_of_the_same_session_on_its_day_is_no_other_session() {
        let of_a = |day, file: &str| SessionRow {
            plan_block: Some("A".into()),
            file: file.into(),
            ..recorded(day, Some(1))
        };
        let of_plan = |day, done_on| PlannedRow {
            plan_block: "A".into(),
            plan_session: 1,
            ..planned(day, PlannedOutcome::Completed, Some(done_on))
        };
        // On its day, and on another one.
        for due in [17, 16] {
            let sessions = vec![of_a(17, "17.gpx"), of_a(17, "again.gpx")];
            let register = register(vec![of_plan(due, 17)], sessions, Vec::new());
            assert_eq!(register.weeks()[&march(16)].sentence(), "came 1 of 1 due");
        }
    }

    #[test]
    fn a_session_that_was_moved_stands_for_its_day_alone() {
        let rows = vec![
            planned(3, PlannedOutcome::Completed, Some(4)),
            planned(10, PlannedOutcome::CutShort, Some(8)),
            planned(17, PlannedOutcome::Missed, None),
        ];
        let sessions = [4, 8].map(|day| recorded(day, Some(1))).to_vec();
        let register = register(rows, sessions, Vec::new());
        assert_eq!(words(&register, &[3, 4, 10, 17]), ["done", "came", "cut", "absent"]);
        assert_eq!(register.planned_days(march(1), Mark::Absent), [march(17)]);
        let last = register.weeks()[&march(16)];
        assert_eq!(last, WeekCount { due: 1, came: 0, absent: 1, more_days: 0 });
    }

    #[test]
    fn who_is_away_is_excused_before_the_plan_goes_on_and_came_all_the_same_with_a_recording() {
        let register = register(Vec::new(), vec![recorded(19, Some(1))], vec![(march(16), march(29))]);
        assert_eq!(words(&register, &[15, 17, 19, 22]), ["", "excused", "came", "excused"]);
        assert_eq!(
            register.weeks()[&march(16)].sentence(),
            "nothing was due, and 1 more day on which another session was done"
        );
    }

    #[test]
    fn who_was_not_seen_to_run_all_reps_in_full_came() {
        for (outside, word) in [(None, "done"), (Some(0), "done"), (Some(1), "came")] {
            let session = SessionRow { reps_not_recorded: outside, ..recorded(17, Some(1)) };
            let rows = vec![planned(17, PlannedOutcome::Completed, Some(17))];
            assert_eq!(words(&register(rows, vec![session], Vec::new()), &[17]), [word]);
        }
    }

    #[test]
    fn what_does_not_count_makes_nobody_present() {
        let later = SessionRow { counted: Some(false), ..recorded(17, Some(1)) };
        let register = register(vec![planned(17, PlannedOutcome::Missed, None)], vec![later], Vec::new());
        assert_eq!(words(&register, &[17]), ["absent"]);
    }
}

//! The plan as a calendar: what was due on which day, and what became of it.

use boutwise_season::Remark;
use chrono::{Datelike, Days, NaiveDate};

use crate::book::{AthletePages, SessionPages};
use crate::figures::{day_and_month, full_day, place_in_plan, short_day};
use crate::input::PlannedSession;
use crate::markup::Text;

/// Longest span of weeks that is drawn; a plan lasts two or three months (own choice).
const WEEKS_MAX: usize = 60;

/// One planned or recorded session in the calendar.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Entry {
    /// `done`, `short`, `joined`, `walked`, `untold`, `said`, `missed`, `excused`, `ahead` or `extra`: the name of the mark
    /// and its word.
    pub(crate) mark: &'static str,
    /// Block and number, `B, 2`; empty for an extra session.
    pub(crate) place: Text,
    /// Whether the session was done before.
    pub(crate) is_again: bool,
    /// `7/8`.
    pub(crate) reps: String,
    /// Number of the recorded session among the athlete's, from 1.
    pub(crate) session: Option<usize>,
    /// What was asked.
    pub(crate) planned: Text,
}

#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Day {
    pub(crate) number: u32,
    pub(crate) date: NaiveDate,
    pub(crate) name: String,
    pub(crate) is_as_of: bool,
    pub(crate) entries: Vec<Entry>,
}

#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Week {
    pub(crate) label: String,
    pub(crate) days: Vec<Day>,
}

/// The dated part of a plan by weeks, and the undated part in its order.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct Calendar {
    pub(crate) weeks: Vec<Week>,
    pub(crate) undated: Vec<Entry>,
    /// The marks in use, for the legend.
    pub(crate) marks: Vec<(&'static str, &'static str)>,
}

/// Every mark and what it says.
const MARKS: [(&str, &str); 10] = [
    ("done", "every rep in full"),
    ("short", "less run than planned"),
    ("joined", "reps run as one"),
    ("walked", "walked throughout"),
    ("untold", "could not be told"),
    ("said", "done without a recording, by the coach's word"),
    ("missed", "due, no recording of it"),
    ("excused", "neither due nor missed"),
    ("ahead", "still to come"),
    ("extra", "recorded, not in the plan"),
];

impl Calendar {
    pub(crate) fn new(athlete: &AthletePages<'_>, as_of: Option<NaiveDate>) -> Self {
        let plan = &athlete.extras.calendar;
        let mut dated: Vec<(NaiveDate, Entry)> = Vec::new();
        let mut undated = Vec::new();
        for planned in plan {
            for (entry, recorded_on) in entries_of_plan(planned, athlete) {
                match recorded_on.filter(|_| planned.date.is_some()).or(planned.date) {
                    Some(day) => dated.push((day, entry)),
                    None => undated.push(entry),
                }
            }
        }
        if let Some((first, last)) =
            dated.iter().map(|(day, _)| *day).min().zip(dated.iter().map(|(day, _)| *day).max())
        {
            let is_laid = |pages: &SessionPages<'_>| {
                let key = (pages.row.file.as_str(), pages.row.session);
                let mut laid = plan.iter().flat_map(|planned| &planned.recordings);
                laid.any(|(file, n)| (file.as_str(), *n) == key)
            };
            for (number, pages) in athlete.counting() {
                let day = pages.day().filter(|day| (first..=last).contains(day));
                if let Some(day) = day.filter(|_| !is_laid(pages)) {
                    dated.push((day, extra(number)));
                }
            }
        }
        let mut calendar = Self { weeks: weeks(dated, as_of), undated, marks: Vec::new() };
        let days = calendar.weeks.iter().flat_map(|week| &week.days).flat_map(|day| &day.entries);
        let used: Vec<_> = days.chain(&calendar.undated).map(|entry| entry.mark).collect();
        calendar.marks = MARKS.into_iter().filter(|(mark, _)| used.contains(mark)).collect();
        calendar
    }

    pub(crate) fn is_empty(&self) -> bool {
        self.weeks.is_empty() && self.undated.is_empty()
    }
}

/// What became of a planned session, each time with the day on which it was recorded.
fn entries_of_plan(planned: &PlannedSession, athlete: &AthletePages<'_>) -> Vec<(Entry, Option<NaiveDate>)> {
    let number = |(file, number): &(String, u64)| athlete.session_number(file, *number);
    let mut sessions: Vec<Option<usize>> = planned.recordings.iter().map(number).collect();
    if sessions.is_empty() {
        sessions.push(None);
    }
    let entry = |(at, session)| entry_of_plan(planned, athlete, session, at > 0);
    sessions.into_iter().enumerate().map(entry).collect()
}

fn entry_of_plan(
    planned: &PlannedSession,
    athlete: &AthletePages<'_>,
    session: Option<usize>,
    is_again: bool,
) -> (Entry, Option<NaiveDate>) {
    let pages = session.and_then(|number| athlete.sessions.get(number - 1));
    let reps = pages
        .filter(|pages| pages.row.resolvable != Some(false))
        .and_then(|pages| pages.row.reps_done.zip(pages.row.reps_planned.filter(|&planned| planned > 0)))
        .map(|(done, planned)| format!("{done}/{planned}"))
        .unwrap_or_default();
    let mark = match pages {
        Some(pages) => mark_of_recording(pages),
        None if planned.said => "said",
        None if planned.excused => "excused",
        None if planned.due => "missed",
        None => "ahead",
    };
    let place = Text(place_in_plan(&planned.block, planned.session));
    (
        Entry { mark, place, is_again, reps, session, planned: planned.planned.as_str().into() },
        pages.and_then(SessionPages::day),
    )
}

fn mark_of_recording(pages: &SessionPages<'_>) -> &'static str {
    let is_any = |kind: fn(&Remark) -> bool| pages.remarks.iter().any(kind);
    if is_any(Remark::is_walked_through) {
        "walked"
    } else if is_any(Remark::is_less_run) {
        "short"
    } else if pages.row.resolvable == Some(false) || is_any(Remark::is_untold) {
        "untold"
    } else if is_any(Remark::is_joined) {
        "joined"
    } else {
        "done"
    }
}

fn extra(number: usize) -> Entry {
    Entry {
        mark: "extra",
        place: Text::default(),
        is_again: false,
        reps: String::new(),
        session: Some(number),
        planned: Text::default(),
    }
}

fn weeks(mut dated: Vec<(NaiveDate, Entry)>, as_of: Option<NaiveDate>) -> Vec<Week> {
    dated.sort_by_key(|(day, _)| *day);
    let (Some((first, _)), Some((last, _))) = (dated.first(), dated.last()) else { return Vec::new() };
    let monday = first.week(chrono::Weekday::Mon).first_day();
    let last = *last;
    let mut dated = dated.into_iter().peekable();
    (monday.iter_days().step_by(7))
        .take_while(|monday| *monday <= last)
        .take(WEEKS_MAX)
        .map(|monday| Week {
            label: day_and_month(monday),
            days: (0..7)
                .filter_map(|offset| monday.checked_add_days(Days::new(offset)))
                .map(|date| Day {
                    number: date.day(),
                    date,
                    name: if as_of == Some(date) {
                        format!("{}, as-of day", full_day(date))
                    } else {
                        short_day(date)
                    },
                    is_as_of: as_of == Some(date),
                    entries: std::iter::from_fn(|| dated.next_if(|(day, _)| *day == date))
                        .map(|(_, e)| e)
                        .collect(),
                })
                .collect(),
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(text: &str) -> NaiveDate {
        text.parse().expect("a valid day")
    }

    fn planned(date: Option<&str>, due: bool) -> PlannedSession {
        PlannedSession {
            block: "A".into(),
            session: 1,
            date: date.map(day),
            due,
            ..PlannedSession::default()
        }
    }

    fn calendar(planned: Vec<PlannedSession>, as_of: Option<NaiveDate>) -> Calendar {
        let extras = crate::AthleteExtras { calendar: planned, ..Default::default() };
        let part = crate::AthletePart { extras, ..Default::default() };
        Calendar::new(&AthletePages::new(&part), as_of)
    }

    #[test]
    fn days_stand_under_their_weekday_and_what_is_due_is_missed() {
        // 2024-03-05 was a Tuesday (ISO 8601 calendar).
        let dated = vec![planned(Some("2024-03-05"), true), planned(Some("2024-03-13"), false)];
        let calendar = calendar(dated, Some(day("2024-03-06")));
        assert_eq!(calendar.weeks.len(), 2);
        assert_eq!(calendar.weeks[0].days[1].entries[0].mark, "missed");
        assert_eq!(calendar.weeks[1].days[2].entries[0].mark, "ahead");
        assert!(calendar.weeks[0].days[2].is_as_of);
        assert_eq!(calendar.marks.len(), 2);
    }

    #[test]
    fn what_the_coach_says_of_a_session_is_no_missed_one() {
        let due = planned(Some("2024-03-05"), true);
        let said = PlannedSession { said: true, ..due.clone() };
        let excused = PlannedSession { excused: true, due: false, ..due };
        let calendar = calendar(vec![said, excused], None);
        let marks: Vec<_> = calendar.weeks[0].days[1].entries.iter().map(|entry| entry.mark).collect();
        assert_eq!(marks, ["said", "excused"]);
    }

    /// Once on its day, again a week later, and recorded by a second device; 5 March 2024 was a Tuesday.
    #[test]
    fn what_is_done_again_stands_with_its_session_and_a_second_recording_does_not() {
        let session = |day: u32, file: &str, counted| crate::SessionRow {
            file: file.into(),
            session: 1,
            start_local: NaiveDate::from_ymd_opt(2024, 3, day).and_then(|day| day.and_hms_opt(18, 0, 0)),
            reps_done: Some(6),
            reps_planned: Some(6),
            counted: Some(counted),
            ..crate::SessionRow::default()
        };
        let recordings = vec![("a.gpx".to_owned(), 1), ("b.gpx".to_owned(), 1)];
        let calendar_of = vec![
            PlannedSession { recordings, ..planned(Some("2024-03-05"), true) },
            PlannedSession { session: 2, ..planned(Some("2024-03-17"), false) },
        ];
        let sessions =
            vec![session(5, "a.gpx", true), session(12, "b.gpx", true), session(12, "phone.gpx", false)];
        let part = crate::AthletePart {
            tables: crate::Tables { sessions, ..crate::Tables::default() },
            extras: crate::AthleteExtras { calendar: calendar_of, ..Default::default() },
            ..Default::default()
        };
        let calendar = Calendar::new(&AthletePages::new(&part), None);
        let told = |week: usize| {
            let entries = &calendar.weeks[week].days[1].entries;
            entries.iter().map(|entry| (entry.mark, entry.is_again, entry.reps.clone())).collect::<Vec<_>>()
        };
        assert_eq!(told(0), [("done", false, "6/6".to_owned())]);
        assert_eq!(told(1), [("done", true, "6/6".to_owned())]);
    }

    #[test]
    fn an_undated_plan_keeps_its_order() {
        let calendar = calendar(vec![planned(None, true), planned(None, false)], None);
        assert!(calendar.weeks.is_empty());
        assert_eq!(calendar.undated.iter().map(|entry| entry.mark).collect::<Vec<_>>(), ["missed", "ahead"]);
    }
}

//! One athlete as a page shows them.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{Days, NaiveDate};

use crate::attention::is_stopped;
use crate::book::{AthletePages, SessionPages};
use crate::calendar::Calendar;
use crate::column::Field;
use crate::figures::{
    Figure, PaceUnit, counted, days_in_words, distance, duration, full_day, place_in_plan, short_day,
};
use crate::input::{JournalDay, LeftOut};
use crate::markup::Text;
use crate::progress::{Chart, charts, time_of_day};
use crate::rows::WeekRow;
use crate::session_view::{Named, SessionView};
use crate::word::{PROPOSAL_MEANINGS, STOP_AFTER_SIGN, STOP_BY_COACH};
use boutwise_season::{Caution, Verdict};

/// Days whose sessions stand open, the as-of day included; earlier ones are folded (own choice: four weeks).
const OPEN_DAYS: u64 = 28;

/// A day of the journal, in words.
#[derive(Clone, Debug)]
pub(crate) struct JournalLine {
    pub(crate) date: NaiveDate,
    pub(crate) day: String,
    pub(crate) effort: String,
    pub(crate) soreness: String,
    pub(crate) pain: String,
    pub(crate) words: Vec<Text>,
}

/// A week of training.
#[derive(Clone, Debug)]
pub(crate) struct WeekLine {
    pub(crate) week: String,
    pub(crate) sessions: Figure,
    pub(crate) run: Figure,
    pub(crate) run_distance: Figure,
    pub(crate) walk: Figure,
    pub(crate) longest: Figure,
    pub(crate) spike: Figure,
    /// How many of the sessions due were attempted.
    pub(crate) attempted: Option<String>,
    pub(crate) dose: Figure,
}

#[derive(Clone, Debug)]
pub(crate) struct NextView {
    pub(crate) place: Text,
    pub(crate) day: Option<String>,
    pub(crate) planned: Text,
    pub(crate) between: Option<Text>,
}

#[derive(Clone, Debug)]
pub(crate) struct AthleteView {
    pub(crate) slug: String,
    pub(crate) name: Text,
    pub(crate) name_key: String,
    pub(crate) plan_title: Option<Text>,
    /// The word and what it means.
    pub(crate) proposal: Option<(&'static str, &'static str)>,
    pub(crate) has_plan: bool,
    pub(crate) reasons: Vec<Text>,
    pub(crate) coach: Option<(String, Text)>,
    pub(crate) no_run_before: Option<String>,
    pub(crate) cautions: Vec<Caution>,
    pub(crate) next: Option<NextView>,
    pub(crate) target: Option<String>,
    pub(crate) readiness: Option<Text>,
    /// Figures that change what somebody does, and the rest.
    pub(crate) figures: Vec<Named>,
    pub(crate) more_figures: Vec<Named>,
    pub(crate) facts: Vec<Text>,
    pub(crate) calendar: Calendar,
    pub(crate) charts: Vec<Chart>,
    pub(crate) habit: Option<(String, Chart)>,
    pub(crate) weeks: Vec<WeekLine>,
    pub(crate) journal: Vec<JournalLine>,
    /// How many older entries of the journal are left out.
    pub(crate) journal_left_out: usize,
    pub(crate) notes: Vec<Text>,
    /// What holds of all or nearly all sessions, said once.
    pub(crate) common_notes: Vec<Text>,
    pub(crate) sessions: Vec<SessionView>,
    /// Those of more than four weeks ago.
    pub(crate) earlier: Vec<SessionView>,
    /// Those after the day judged from, and those whose date cannot be believed.
    pub(crate) apart: Vec<SessionView>,
}

/// The address of a recorded session within its page.
pub(crate) fn session_id(slug: &str, number: usize) -> String {
    format!("session-{slug}-{number}")
}

impl AthleteView {
    pub(crate) fn new(athlete: &AthletePages<'_>, as_of: Option<NaiveDate>, pace: PaceUnit) -> Self {
        let is_stopped = is_stopped(athlete);
        let (row, extras) = (&athlete.row, &athlete.extras);
        let numbered = athlete.sessions.iter().enumerate().rev();
        let open_from = as_of.and_then(|day| day.checked_sub_days(Days::new(OPEN_DAYS - 1)));
        let common = common_notes(&athlete.sessions);
        let (mut sessions, mut earlier, mut apart) = (Vec::new(), Vec::new(), Vec::new());
        for (place, pages) in numbered {
            let is_earlier = open_from.zip(pages.day()).is_some_and(|(from, day)| day < from);
            let view = SessionView::new(pages, session_id(&athlete.slug, place + 1), pace, &common);
            match (pages.stands_apart(), is_earlier) {
                (true, _) => apart.push(view),
                (false, true) => earlier.push(view),
                (false, false) => sessions.push(view),
            }
        }
        let shown = !is_stopped;
        let mut figures = if shown { figures(athlete) } else { Vec::new() };
        let more_figures = figures.extract_if(.., |named| !SHOWN.contains(&named.column)).collect();
        Self {
            slug: athlete.slug.to_owned(),
            name: athlete.name().into(),
            name_key: athlete.name().into(),
            plan_title: extras.plan_title.as_deref().map(Text::from),
            proposal: match (is_stopped, extras.is_paused) {
                (true, true) => Some((Verdict::Stop.word(), STOP_BY_COACH)),
                (true, false) => Some((Verdict::Stop.word(), STOP_AFTER_SIGN)),
                (false, _) => row.proposal.map(with_meaning),
            },
            has_plan: row.sessions_due.is_some() || !extras.calendar.is_empty(),
            reasons: row.reasons.iter().map(|reason| Text(days_in_words(reason))).collect(),
            coach: extras.coach_decision.as_ref().map(|(day, word)| (full_day(*day), word.as_str().into())),
            no_run_before: extras.no_run_before.map(full_day),
            cautions: extras.cautions.clone(),
            next: extras.next.as_ref().filter(|_| shown).map(|next| NextView {
                place: Text(place_in_plan(&next.block, next.session)),
                day: next.date.map(full_day),
                planned: Text(next.asked()),
                between: next.between.as_deref().map(Text::from),
            }),
            target: extras.target.as_ref().filter(|_| shown).map(|target| {
                // The words on readiness hold the time already, with its range.
                let needed_s = target.needed_s.filter(|_| target.readiness.is_none());
                let time = needed_s.map_or_else(String::new, |s| format!(", likely to take {}", duration(s)));
                format!("{}{time}", distance(target.distance_m))
            }),
            readiness: extras
                .target
                .as_ref()
                .filter(|_| shown)
                .and_then(|t| Some(Text(days_in_words(t.readiness.as_deref()?)))),
            figures,
            more_figures,
            facts: extras.facts.iter().filter(|_| shown).map(|fact| Text(days_in_words(fact))).collect(),
            calendar: Calendar::new(athlete, as_of),
            charts: if shown { charts(athlete) } else { Vec::new() },
            habit: habit(athlete),
            weeks: if shown {
                athlete.weeks.iter().rev().map(|row| week_line(row)).collect()
            } else {
                Vec::new()
            },
            journal: extras.journal.iter().rev().map(journal_line).collect(),
            journal_left_out: extras.journal_left_out,
            notes: extras.notes.iter().map(|note| note.as_str().into()).collect(),
            common_notes: common.into_values().map(Text).collect(),
            sessions,
            earlier,
            apart,
        }
    }
}

fn with_meaning(verdict: Verdict) -> (&'static str, &'static str) {
    let meaning = PROPOSAL_MEANINGS.iter().find(|(other, _)| *other == verdict);
    (verdict.word(), meaning.map_or("", |(_, meaning)| *meaning))
}

/// Columns that stand open (own choice): what a coach asks first.
const SHOWN: [&str; 4] = ["attendance_pct", "dose_pct", "longest_run_s", "longest_run_trend_s_per_week"];

/// Sessions of which at most this share may lack a note that is said once (own choice).
const LACKING_SHARE: f64 = 0.25;

/// The notes that nearly all sessions have, each with the sentence that says it once.
fn common_notes<'a>(sessions: &[SessionPages<'a>]) -> BTreeMap<&'a str, String> {
    let has = |pages: &SessionPages<'a>, note: &str| pages.row.notes.iter().any(|other| other == note);
    // Each session is gone through for the few notes alone that most sessions have: others are as many as the sessions.
    let mut with: BTreeMap<&'a str, usize> = BTreeMap::new();
    for pages in sessions {
        let notes: BTreeSet<&'a str> = pages.row.notes.iter().map(|note| note.as_str()).collect();
        notes.into_iter().for_each(|note| *with.entry(note).or_default() += 1);
    }
    let is_common = |with: usize| (sessions.len() - with) as f64 <= LACKING_SHARE * sessions.len() as f64;
    let common = with.into_iter().filter(|(_, with)| sessions.len() > 1 && is_common(*with));
    let said = common.filter_map(|(note, _)| {
        let lacking = sessions.iter().filter(|pages| !has(pages, note));
        let days: Vec<_> = lacking.map(|pages| pages.day().map(short_day)).collect::<Option<_>>()?;
        let but = if days.is_empty() { String::new() } else { format!(" but {}", days.join(", ")) };
        Some((note, format!("All sessions{but}: {note}")))
    });
    said.collect()
}

fn figures(athlete: &AthletePages<'_>) -> Vec<Named> {
    let row = &athlete.row;
    let mut figures = vec![
        Named { column: "sessions_due", name: "Sessions due", figure: Figure::count(row.sessions_due) },
        Named {
            column: "sessions_attempted",
            name: "attempted",
            figure: Figure::count(row.sessions_attempted),
        },
        Named { column: "attendance_pct", name: "Attendance", figure: Figure::percent(row.attendance_pct) },
        Named { column: "dose_pct", name: "Dose", figure: Figure::percent(row.dose_pct) },
        Named {
            column: "longest_run_s",
            name: "Longest unbroken run",
            figure: Figure::duration(row.longest_run_s),
        },
        Named { column: "longest_run_m", name: "its distance", figure: Figure::distance(row.longest_run_m) },
        Named { column: "longest_run_date", name: "its day", figure: Figure::day(row.longest_run_date) },
        Named {
            column: "longest_run_trend_s_per_week",
            name: "its trend",
            figure: Figure::trend(row.longest_run_trend_s_per_week),
        },
    ];
    figures.retain(|named| !named.figure.is_missing());
    figures
}

fn habit(athlete: &AthletePages<'_>) -> Option<(String, Chart)> {
    let chart = time_of_day(athlete)?;
    let text = match athlete.extras.habit {
        Some(habit) => match habit.usual_time {
            Some(time) => format!(
                "Usually starts about {}, give or take {} min.",
                time.format("%H:%M"),
                habit.spread_min.round()
            ),
            None => "No usual time of day.".into(),
        },
        None => String::new(),
    };
    Some((text, chart))
}

fn week_line(row: &WeekRow) -> WeekLine {
    WeekLine {
        week: row.week.cell().to_text(0),
        sessions: Figure::count(Some(row.sessions)),
        run: Figure::duration(row.run_s),
        run_distance: Figure::distance(row.run_m),
        walk: Figure::duration(row.walk_s),
        longest: Figure::duration(row.longest_run_s),
        spike: Figure::signed_percent(row.spike_pct),
        attempted: row
            .sessions_attempted
            .zip(row.sessions_due)
            .map(|(attempted, due)| format!("{attempted} of {due}")),
        dose: Figure::percent(row.dose_pct),
    }
}

fn journal_line(day: &JournalDay) -> JournalLine {
    let of_ten = |value: Option<f64>| value.map(|value| format!("{value}")).unwrap_or_default();
    let mut words: Vec<Text> = Vec::new();
    words.extend(day.warning_sign.as_ref().map(|sign| Text(format!("warning sign: {sign}"))));
    let flags = [
        (day.talkable == Some(true), "could speak in sentences"),
        (day.talkable == Some(false), "could not speak in sentences"),
        (day.pain_worse_running == Some(true), "pain grew while running"),
        (day.pain_next_morning == Some(true), "pain still there next morning"),
        (day.pain_next_morning == Some(false) && day.pain_0_10 > Some(0.0), "pain gone next morning"),
        (day.hot == Some(true), "hot"),
    ];
    words.extend(flags.into_iter().filter(|(is_set, _)| *is_set).map(|(_, words)| Text::from(words)));
    words.extend(day.coach_decision.as_ref().map(|decision| Text(format!("coach: {decision}"))));
    words.extend(day.note.as_deref().map(Text::from));
    JournalLine {
        date: day.date,
        day: short_day(day.date),
        effort: of_ten(day.effort_0_10),
        soreness: of_ten(day.soreness_0_10),
        pain: of_ten(day.pain_0_10),
        words,
    }
}

/// `14 sessions, 2 Jan to 5 Mar`, and how many recordings beside them are no sessions of their own.
pub(crate) fn span_of_sessions(sessions: &[SessionPages<'_>]) -> String {
    let is_second = |pages: &&SessionPages<'_>| pages.left_out == Some(LeftOut::SecondRecording);
    let own = || sessions.iter().filter(|pages| !is_second(pages) && !pages.stands_apart());
    let beside = [
        (sessions.iter().filter(is_second).count(), "second recording", "second recordings"),
        (
            sessions.iter().filter(|pages| pages.stands_apart()).count(),
            "recording left out",
            "recordings left out",
        ),
    ];
    let beside = beside.into_iter().filter(|(count, ..)| *count > 0);
    beside.fold(span(own), |said, (count, one, many)| format!("{said}; and {}", counted(count, one, many)))
}

fn span<'a, 'b: 'a, I: Iterator<Item = &'a SessionPages<'b>>>(own: impl Fn() -> I) -> String {
    let days = || own().filter_map(SessionPages::day);
    let count = counted(own().count(), "session", "sessions");
    match days().min().zip(days().max()) {
        Some((first, last)) if first != last => format!("{count}, {} to {}", full_day(first), full_day(last)),
        Some((only, _)) => format!("{count}, {}", full_day(only)),
        None => count,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::input::AthletePart;
    use crate::rows::SessionRow;
    use crate::tables::Tables;

    #[test]
    fn what_holds_of_nearly_all_sessions_is_said_once_and_the_rest_stays_with_its_session() {
        let session = |day: u32, notes: &[&str]| SessionRow {
            file: format!("{day}.gpx"),
            start_local: NaiveDate::from_ymd_opt(2026, 3, day).and_then(|day| day.and_hms_opt(18, 0, 0)),
            notes: notes.iter().map(|note| (*note).to_owned()).collect(),
            ..SessionRow::default()
        };
        let sessions = vec![
            session(3, &["zone", "odd"]),
            session(5, &["zone", "one leg"]),
            session(8, &["zone", "one leg"]),
            session(10, &["zone", "one leg"]),
        ];
        let part = AthletePart { tables: Tables { sessions, ..Tables::default() }, ..AthletePart::default() };
        let athlete = AthletePages::new(&part);
        let said: Vec<_> = common_notes(&athlete.sessions).into_values().collect();
        assert_eq!(said, ["All sessions but Tue 3 Mar: one leg", "All sessions: zone"]);
        let view = AthleteView::new(&athlete, None, PaceUnit::Kilometre);
        let left: Vec<String> =
            view.sessions.iter().flat_map(|session| &session.notes).map(Text::to_string).collect();
        assert_eq!(left, ["<bdi>odd</bdi>"]);
        // A single session has nothing in common with another.
        assert!(common_notes(&athlete.sessions[..1]).is_empty());
    }
}

//! The squad as a page shows it: who needs a word, a row an athlete, the last days, the files.

use chrono::Days;

use crate::athlete_view::session_id;
use crate::attention::{REASONS_SHOWN, is_stopped, questions};
use crate::book::{AthletePages, Book, SessionPages};
use crate::figures::{Figure, counted, distance};
use crate::markup::Text;
use crate::progress::{Chart, trend_line};
use crate::remark_text::remark_text;
use crate::rows::FileRow;
use crate::session_view::{place_of, reps, when};
use boutwise_season::Verdict;
use boutwise_track::Status;

/// Days of the table of recent sessions, the as-of day included.
const RECENT_DAYS: u64 = 7;

/// Where an athlete's part stands: in the page itself or in a page of its own.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Place {
    SamePage,
    OwnPage,
}

impl Place {
    pub(crate) fn athlete_href(self, slug: &str) -> String {
        match self {
            Self::SamePage => format!("#athlete-{slug}"),
            Self::OwnPage => format!("{}/{slug}.html", crate::folder::ATHLETE_FOLDER),
        }
    }

    pub(crate) fn session_href(self, slug: &str, number: usize) -> String {
        let id = session_id(slug, number);
        match self {
            Self::SamePage => format!("#{id}"),
            Self::OwnPage => format!("{}/{slug}.html#{id}", crate::folder::ATHLETE_FOLDER),
        }
    }
}

#[derive(Clone, Debug)]
pub(crate) struct MentionView {
    pub(crate) name: Text,
    pub(crate) href: String,
    pub(crate) why: Vec<Text>,
}

#[derive(Clone, Debug)]
pub(crate) struct QuestionView {
    pub(crate) title: &'static str,
    pub(crate) is_urgent: bool,
    pub(crate) mentions: Vec<MentionView>,
}

#[derive(Clone, Debug)]
pub(crate) struct LastView {
    pub(crate) href: String,
    pub(crate) when: String,
    pub(crate) sort: String,
    pub(crate) reps: Option<String>,
    pub(crate) remarks: Vec<String>,
}

#[derive(Clone, Debug)]
pub(crate) struct SquadLine {
    pub(crate) name: Text,
    pub(crate) name_key: String,
    pub(crate) href: String,
    pub(crate) proposal: &'static str,
    pub(crate) is_urgent: bool,
    pub(crate) is_stopped: bool,
    pub(crate) reasons: Vec<Text>,
    pub(crate) attendance: Figure,
    pub(crate) attended: Option<String>,
    pub(crate) dose: Figure,
    pub(crate) longest: Figure,
    pub(crate) longest_distance: Option<String>,
    pub(crate) trend: Figure,
    pub(crate) trend_line: Option<Chart>,
    pub(crate) last: Option<LastView>,
}

#[derive(Clone, Debug)]
pub(crate) struct RecentLine {
    pub(crate) href: String,
    pub(crate) athlete_href: String,
    pub(crate) athlete: Text,
    pub(crate) file_key: String,
    pub(crate) session: u64,
    pub(crate) when: String,
    pub(crate) sort: String,
    pub(crate) place: Option<Text>,
    pub(crate) planned: Option<Text>,
    pub(crate) reps: Option<String>,
    pub(crate) adherence: Figure,
    pub(crate) longest: Figure,
    pub(crate) remarks: Vec<String>,
}

#[derive(Clone, Debug)]
pub(crate) struct FileLine {
    pub(crate) key: String,
    pub(crate) file: Text,
    pub(crate) status: &'static str,
    pub(crate) notes: Vec<Text>,
}

pub(crate) fn question_views(book: &Book<'_>, place: Place) -> Vec<QuestionView> {
    let views = questions(book).into_iter().map(|question| QuestionView {
        title: question.title,
        is_urgent: question.is_urgent,
        mentions: question
            .mentions
            .into_iter()
            .map(|mention| {
                let athlete = &book.athletes[mention.athlete];
                let href = match mention.session {
                    Some(number) => place.session_href(&athlete.slug, number),
                    None => place.athlete_href(&athlete.slug),
                };
                MentionView { name: athlete.name().into(), href, why: mention.why }
            })
            .collect(),
    });
    views.collect()
}

/// A row an athlete, those who need attention first, then by name.
pub(crate) fn squad_lines(book: &Book<'_>, place: Place) -> Vec<SquadLine> {
    let mut athletes: Vec<_> = book.athletes.iter().collect();
    athletes.sort_by_key(|athlete| athlete.extras.attention);
    athletes.into_iter().map(|athlete| squad_line(athlete, place)).collect()
}

fn squad_line(athlete: &AthletePages<'_>, place: Place) -> SquadLine {
    let row = &athlete.row;
    let is_stopped = is_stopped(athlete);
    SquadLine {
        name: athlete.name().into(),
        name_key: athlete.name().into(),
        href: place.athlete_href(&athlete.slug),
        proposal: if is_stopped { Verdict::Stop.word() } else { row.proposal.map_or("", Verdict::word) },
        is_urgent: is_stopped || row.proposal == Some(Verdict::Ease),
        is_stopped,
        reasons: row.reasons.iter().take(REASONS_SHOWN).map(|reason| reason.as_str().into()).collect(),
        attendance: Figure::percent(row.attendance_pct),
        attended: row
            .sessions_attempted
            .zip(row.sessions_due)
            .map(|(attempted, due)| format!("{attempted} of {due}")),
        dose: Figure::percent(row.dose_pct),
        longest: Figure::duration(row.longest_run_s),
        longest_distance: row.longest_run_m.map(distance),
        trend: Figure::trend(row.longest_run_trend_s_per_week),
        trend_line: trend_line(athlete),
        last: athlete.last_session().map(|pages| LastView {
            href: place.session_href(&athlete.slug, athlete.sessions.len()),
            when: when(pages),
            sort: sort_key(pages),
            reps: reps(pages.row),
            remarks: remark_texts(pages),
        }),
    }
}

/// A moment as text that sorts by time.
fn sort_key(pages: &SessionPages<'_>) -> String {
    pages.row.start_utc.map(|time| time.format("%Y-%m-%dT%H:%M:%SZ").to_string()).unwrap_or_default()
}

fn remark_texts(pages: &SessionPages<'_>) -> Vec<String> {
    pages.remarks.iter().map(remark_text).collect()
}

/// The sessions of the last days up to the as-of day, newest first.
pub(crate) fn recent_lines(book: &Book<'_>, place: Place) -> Vec<RecentLine> {
    let Some(as_of) = book.as_of else { return Vec::new() };
    let first = as_of.checked_sub_days(Days::new(RECENT_DAYS - 1)).unwrap_or(as_of);
    let mut recent: Vec<_> = book
        .athletes
        .iter()
        .flat_map(|athlete| (1..).zip(&athlete.sessions).map(move |(number, pages)| (athlete, number, pages)))
        .filter(|(_, _, pages)| pages.day().is_some_and(|day| (first..=as_of).contains(&day)))
        .collect();
    recent.sort_by_key(|(_, _, pages)| std::cmp::Reverse(pages.row.start_utc));
    recent
        .into_iter()
        .map(|(athlete, number, pages)| RecentLine {
            href: place.session_href(&athlete.slug, number),
            athlete_href: place.athlete_href(&athlete.slug),
            athlete: athlete.name().into(),
            file_key: pages.row.file.clone(),
            session: pages.row.session,
            when: when(pages),
            sort: sort_key(pages),
            place: place_of(pages.row),
            planned: pages.row.planned.as_deref().map(Text::from),
            reps: reps(pages.row),
            adherence: Figure::percent(pages.row.adherence_pct),
            longest: Figure::duration(pages.longest_run_s()),
            remarks: remark_texts(pages),
        })
        .collect()
}

/// The files that were not read as a whole.
pub(crate) fn file_lines(files: &[FileRow]) -> Vec<FileLine> {
    (files.iter())
        .filter(|row| row.status != Status::Read)
        .map(|row| FileLine {
            key: row.file.clone(),
            file: row.file.as_str().into(),
            status: row.status.word(),
            notes: row.notes.iter().map(|note| note.as_str().into()).collect(),
        })
        .collect()
}

/// `24 files: 20 read, 1 failed, 3 duplicate.`
pub(crate) fn file_counts(files: &[FileRow]) -> String {
    let count = |status| files.iter().filter(|row| row.status == status).count();
    let parts: Vec<_> = Status::ALL
        .iter()
        .map(|&status| (count(status), status.word()))
        .filter(|(count, _)| *count > 0)
        .map(|(count, word)| format!("{count} {word}"))
        .collect();
    match parts.as_slice() {
        [] => "No files.".into(),
        parts => format!("{}: {}.", counted(files.len(), "file", "files"), parts.join(", ")),
    }
}

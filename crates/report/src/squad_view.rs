//! The squad as a page shows it: who needs a word, a row an athlete, the last days, the files.

use chrono::{DateTime, Datelike, Days, NaiveDate, Utc};

use crate::athlete_view::session_id;
use crate::attention::{
    ASKED, Answers, GROWN_MOST, GROWN_TITLE, Mention, REASONS_SHOWN, RECENT_DAYS, answers, is_stopped,
};
use crate::book::{AthletePages, SessionPages};
use crate::figures::{Figure, counted, days_in_words, distance, full_day};
use crate::group_view::GroupShare;
use crate::markup::Text;
use crate::progress::{Chart, trend_line};
use crate::register::{WeekCount, monday_before};
use crate::remark_text::remark_text;
use crate::rows::FileRow;
use crate::session_view::{place_of, reps, when};
use crate::study::Share;
use boutwise_season::{Settings, Verdict};
use boutwise_track::Status;

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
}

#[derive(Clone, Debug)]
pub(crate) struct SquadLine {
    pub(crate) name: Text,
    pub(crate) name_key: String,
    pub(crate) href: String,
    /// The group of the squad file.
    pub(crate) group: Option<Text>,
    /// Whether the person came in the week of the as-of day.
    pub(crate) this_week: &'static str,
    pub(crate) this_week_detail: Option<String>,
    pub(crate) proposal: &'static str,
    pub(crate) is_urgent: bool,
    pub(crate) is_stopped: bool,
    /// Whether it is the coach alone who stops.
    pub(crate) is_paused: bool,
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

/// What the index says of one athlete.
#[derive(Clone, Debug)]
pub(crate) struct Entry {
    line: SquadLine,
    attention: u8,
    answers: Answers,
    slug: String,
    place: Place,
    /// Sessions of the last days, each with its start.
    recent: Vec<(Option<DateTime<Utc>>, RecentLine)>,
    pub(crate) share: Share,
    pub(crate) group: GroupShare,
}

impl Entry {
    pub(crate) fn new(
        athlete: &AthletePages<'_>,
        as_of: Option<NaiveDate>,
        place: Place,
        numbers: &Settings,
    ) -> Self {
        Self {
            line: squad_line(athlete, as_of, place),
            attention: athlete.extras.attention,
            answers: answers(athlete, as_of),
            slug: athlete.slug.to_owned(),
            place,
            recent: recent_lines(athlete, as_of, place),
            share: Share::of(athlete),
            group: GroupShare::of(athlete, as_of, numbers),
        }
    }

    fn view(&self, mention: &Mention) -> MentionView {
        let href = match mention.session {
            Some(number) => self.place.session_href(&self.slug, number),
            None => self.place.athlete_href(&self.slug),
        };
        MentionView { name: self.line.name.clone(), href, why: mention.why.clone() }
    }
}

/// The questions that somebody answers to, most urgent first.
pub(crate) fn question_views(entries: &[Entry]) -> Vec<QuestionView> {
    let alone = ASKED.iter().enumerate().map(|(question, asked)| QuestionView {
        title: asked.title,
        is_urgent: asked.is_urgent,
        mentions: (entries.iter())
            .filter_map(|entry| Some(entry.view(entry.answers.alone[question].as_ref()?)))
            .collect(),
    });
    let mut grown: Vec<(&Entry, &(f64, Mention))> =
        entries.iter().filter_map(|entry| Some((entry, entry.answers.growth.as_ref()?))).collect();
    grown.sort_by(|(_, (a, _)), (_, (b, _))| b.total_cmp(a));
    let most = grown.into_iter().take(GROWN_MOST).map(|(entry, (_, mention))| entry.view(mention));
    let grown = QuestionView { title: GROWN_TITLE, is_urgent: false, mentions: most.collect() };
    let mut questions: Vec<QuestionView> = alone.chain([grown]).collect();
    questions.retain(|question| !question.mentions.is_empty());
    questions
}

/// A row an athlete, those who need attention first, then by name.
pub(crate) fn squad_lines(entries: &[Entry]) -> Vec<&SquadLine> {
    let mut entries: Vec<&Entry> = entries.iter().collect();
    entries.sort_by_key(|entry| entry.attention);
    entries.into_iter().map(|entry| &entry.line).collect()
}

/// The sessions of the last days up to the as-of day, newest first.
pub(crate) fn newest_first(entries: &[Entry]) -> Vec<&RecentLine> {
    let mut recent: Vec<_> = entries.iter().flat_map(|entry| &entry.recent).collect();
    recent.sort_by_key(|(start, _)| std::cmp::Reverse(*start));
    recent.into_iter().map(|(_, line)| line).collect()
}

/// Whether the person came in the week of the as-of day, and how often of how many due.
fn this_week(athlete: &AthletePages<'_>, as_of: Option<NaiveDate>) -> (&'static str, Option<String>) {
    let week = as_of.and_then(|day| athlete.weeks.iter().find(|row| row.week == day.iso_week()));
    let is_out = week.is_some_and(|row| row.sessions > 0);
    let count = as_of.and_then(|day| athlete.register().weeks().get(&monday_before(day)).copied());
    let detail = count.filter(|count| count.due > 0).map(WeekCount::in_short);
    match (is_out || count.is_some_and(|count| count.came > 0), detail) {
        (true, detail) => ("came", detail),
        (false, None) => ("nothing due", None),
        (false, detail) => ("did not come", detail),
    }
}

fn squad_line(athlete: &AthletePages<'_>, as_of: Option<NaiveDate>, place: Place) -> SquadLine {
    let row = &athlete.row;
    let (this_week, this_week_detail) = this_week(athlete, as_of);
    let is_stopped = is_stopped(athlete);
    SquadLine {
        name: athlete.name().into(),
        name_key: athlete.name().into(),
        href: place.athlete_href(&athlete.slug),
        group: athlete.extras.group.as_deref().map(Text::from),
        this_week,
        this_week_detail,
        proposal: if is_stopped { Verdict::Stop.word() } else { row.proposal.map_or("", Verdict::word) },
        is_urgent: is_stopped || row.proposal == Some(Verdict::Ease),
        is_stopped,
        is_paused: athlete.extras.is_paused,
        reasons: row.reasons.iter().take(REASONS_SHOWN).map(|reason| Text(days_in_words(reason))).collect(),
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
            href: place.session_href(
                &athlete.slug,
                athlete.session_number(&pages.row.file, pages.row.session).unwrap_or(athlete.sessions.len()),
            ),
            when: match pages.day().filter(|day| as_of.is_some_and(|as_of| as_of.year() != day.year())) {
                Some(day) => full_day(day),
                None => when(pages),
            },
            sort: sort_key(pages),
            reps: reps(pages.row),
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

/// The athlete's sessions of the last days up to the as-of day, each with its start.
fn recent_lines(
    athlete: &AthletePages<'_>,
    as_of: Option<NaiveDate>,
    place: Place,
) -> Vec<(Option<DateTime<Utc>>, RecentLine)> {
    let Some(as_of) = as_of else { return Vec::new() };
    let first = as_of.checked_sub_days(Days::new(RECENT_DAYS - 1)).unwrap_or(as_of);
    let is_recent = |pages: &SessionPages<'_>| pages.day().is_some_and(|day| (first..=as_of).contains(&day));
    let line = |number: usize, pages: &SessionPages<'_>| RecentLine {
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
    };
    (athlete.counting())
        .filter(|(_, pages)| is_recent(pages))
        .map(|(number, pages)| (pages.row.start_utc, line(number, pages)))
        .collect()
}

/// The files so far: how many of each kind, and those that were not read as a whole.
#[derive(Clone, Debug, Default)]
pub(crate) struct FileLines {
    counts: [usize; Status::ALL.len()],
    pub(crate) lines: Vec<FileLine>,
}

impl FileLines {
    pub(crate) fn add(&mut self, row: &FileRow) {
        if let Some(place) = Status::ALL.iter().position(|status| *status == row.status) {
            self.counts[place] += 1;
        }
        if row.status != Status::Read {
            self.lines.push(FileLine {
                key: row.file.clone(),
                file: row.file.as_str().into(),
                status: row.status.word(),
                notes: row.notes.iter().map(|note| note.as_str().into()).collect(),
            });
        }
    }

    pub(crate) fn count(&self) -> usize {
        self.counts.iter().sum()
    }

    /// `24 files: 20 read, 1 failed, 3 duplicate.`
    pub(crate) fn counts(&self) -> String {
        let parts: Vec<_> = (self.counts.iter().zip(&Status::ALL))
            .filter(|(count, _)| **count > 0)
            .map(|(count, status)| format!("{count} {}", status.word()))
            .collect();
        match parts.as_slice() {
            [] => "No files.".into(),
            parts => format!("{}: {}.", counted(self.count(), "file", "files"), parts.join(", ")),
        }
    }
}

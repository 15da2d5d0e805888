//! Who needs a word, and why: the questions of a Monday, most urgent first.

use chrono::NaiveDate;

use crate::book::{AthletePages, Book};
use crate::caution::Caution;
use crate::figures::{counted, duration, short_day, signed_duration};
use crate::markup::Text;
use crate::remark::Remark;
use crate::word::Proposal;

/// Days without a recording from which an athlete counts as not heard of (own choice).
const SILENT_DAYS: i64 = 8;

/// Athletes named under the question whose longest run grew most.
const GROWN_MOST: usize = 3;

/// An athlete under a question, with the answer in a line.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Mention {
    /// Place in the book.
    pub(crate) athlete: usize,
    pub(crate) why: Vec<Text>,
    /// Number of the session that shows it, from 1.
    pub(crate) session: Option<usize>,
}

/// A question and the athletes that answer it.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Question {
    pub(crate) title: &'static str,
    pub(crate) is_urgent: bool,
    pub(crate) mentions: Vec<Mention>,
}

/// The questions that somebody answers to, most urgent first.
pub(crate) fn questions(book: &Book<'_>) -> Vec<Question> {
    let mut questions = [
        (
            "Not to run now",
            true,
            not_to_run as fn(&AthletePages<'_>, Option<NaiveDate>) -> Option<Vec<String>>,
        ),
        ("To ease off", true, to_ease),
        ("Walks skipped, or more run than asked, in the last session", false, overdone),
        ("Stopped early, or reps missing, in the last session", false, cut_short),
        ("Not heard of", false, silent),
        ("Could not be told in the last session", false, untold),
    ]
    .map(|(title, is_urgent, answer)| Question {
        title,
        is_urgent,
        mentions: book
            .athletes
            .iter()
            .enumerate()
            .filter_map(|(place, athlete)| {
                let why = answer(athlete, book.as_of)?.into_iter().map(Text).collect();
                let is_of_last_session = !is_urgent && title != "Not heard of";
                let session = Some(athlete.sessions.len()).filter(|&count| is_of_last_session && count > 0);
                Some(Mention { athlete: place, why, session })
            })
            .collect(),
    })
    .to_vec();
    questions.push(Question { title: "Longest run grew most", is_urgent: false, mentions: grown_most(book) });
    questions.retain(|question| !question.mentions.is_empty());
    questions
}

/// Whether a warning sign stands; nothing about progress is shown then.
pub(crate) fn is_stopped(athlete: &AthletePages<'_>) -> bool {
    athlete.row.proposal == Some(Proposal::Stop) || athlete.extras.cautions.contains(&Caution::WarningSign)
}

fn not_to_run(athlete: &AthletePages<'_>, as_of: Option<NaiveDate>) -> Option<Vec<String>> {
    let rests_until = athlete.extras.no_run_before.filter(|&day| as_of.is_none_or(|as_of| day > as_of));
    if !is_stopped(athlete) && rests_until.is_none() {
        return None;
    }
    let mut why = Vec::new();
    why.extend(rests_until.map(|day| format!("no run before {}", short_day(day))));
    why.extend(athlete.row.reasons.iter().cloned());
    Some(why)
}

fn to_ease(athlete: &AthletePages<'_>, as_of: Option<NaiveDate>) -> Option<Vec<String>> {
    let is_said_already = not_to_run(athlete, as_of).is_some();
    (athlete.row.proposal == Some(Proposal::Ease) && !is_said_already).then(|| athlete.row.reasons.clone())
}

fn overdone(athlete: &AthletePages<'_>, _: Option<NaiveDate>) -> Option<Vec<String>> {
    of_last_session(athlete, |remark| matches!(remark, Remark::WalksCut { .. } | Remark::Overdone { .. }))
}

fn cut_short(athlete: &AthletePages<'_>, _: Option<NaiveDate>) -> Option<Vec<String>> {
    of_last_session(athlete, |remark| {
        matches!(remark, Remark::StoppedEarly { .. } | Remark::RepsMissing { .. } | Remark::AllWalked)
    })
}

fn untold(athlete: &AthletePages<'_>, _: Option<NaiveDate>) -> Option<Vec<String>> {
    of_last_session(athlete, |remark| *remark == Remark::NotResolvable)
}

fn of_last_session(athlete: &AthletePages<'_>, is_meant: impl Fn(&Remark) -> bool) -> Option<Vec<String>> {
    let session = athlete.last_session()?;
    let remarks: Vec<_> =
        session.remarks.iter().filter(|remark| is_meant(remark)).map(Remark::text).collect();
    let day = session.day().map(short_day).unwrap_or_default();
    (!remarks.is_empty())
        .then(|| vec![format!("{day}: {}", remarks.join(", ")).trim_start_matches(": ").to_owned()])
}

fn silent(athlete: &AthletePages<'_>, as_of: Option<NaiveDate>) -> Option<Vec<String>> {
    let Some(last) = athlete.last_session() else {
        return Some(vec!["no recording at all".into()]);
    };
    let (last_day, as_of) = (last.day()?, as_of?);
    let days = (as_of - last_day).num_days();
    (days >= SILENT_DAYS).then(|| {
        vec![format!("last recording {}, {} ago", short_day(last_day), counted(days as usize, "day", "days"))]
    })
}

fn grown_most(book: &Book<'_>) -> Vec<Mention> {
    let mut grown: Vec<_> = (book.athletes.iter().enumerate())
        .filter(|(_, athlete)| !is_stopped(athlete))
        .filter_map(|(place, athlete)| {
            let trend = athlete.row.longest_run_trend_s_per_week.filter(|&trend| trend >= 1.0)?;
            Some((trend, place, athlete))
        })
        .collect();
    grown.sort_by(|a, b| b.0.total_cmp(&a.0));
    grown
        .into_iter()
        .take(GROWN_MOST)
        .map(|(trend, athlete, pages)| {
            let longest =
                pages.row.longest_run_s.map(|s| format!(", longest {}", duration(s))).unwrap_or_default();
            let why = vec![Text(format!("{} a week{longest}", signed_duration(trend)))];
            Mention { athlete, why, session: None }
        })
        .collect()
}

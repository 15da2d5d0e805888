//! Who needs a word, and why: the questions of a Monday, most urgent first.

use chrono::{Days, NaiveDate};

use crate::book::AthletePages;
use crate::figures::{counted, days_in_words, duration, short_day, signed_duration};
use crate::markup::Text;
use crate::register::{Mark, monday_before};
use crate::remark_text::remark_text;
use boutwise_season::{Remark, Verdict};

/// The last question, whose answers are held against each other.
pub(crate) const GROWN_TITLE: &str = "Longest run grew most";

/// Athletes named under the question whose longest run grew most.
pub(crate) const GROWN_MOST: usize = 3;

/// An athlete's answer to a question, in a line.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Mention {
    pub(crate) why: Vec<Text>,
    /// Number of the session that shows it, from 1.
    pub(crate) session: Option<usize>,
}

impl Mention {
    /// An answer that no single session shows.
    fn of(why: Vec<String>) -> Self {
        Self { why: why.into_iter().map(Text).collect(), session: None }
    }
}

/// What one athlete answers to the questions.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Answers {
    /// By the place of the question among those that are asked of each alone.
    pub(crate) alone: [Option<Mention>; ASKED.len()],
    /// How much the longest run grows, in seconds a week, with the answer to whose grew most.
    pub(crate) growth: Option<(f64, Mention)>,
}

/// An athlete's answer to a question, if there is one.
type Answer = fn(&AthletePages<'_>, Option<NaiveDate>) -> Option<Mention>;

/// Days of what happened lately, the as-of day included.
pub(crate) const RECENT_DAYS: u64 = 7;

/// Reasons that are shown of each athlete where many stand together.
pub(crate) const REASONS_SHOWN: usize = 2;

/// A question that is put to each athlete.
pub(crate) struct Asked {
    pub(crate) title: &'static str,
    pub(crate) is_urgent: bool,
    answer: Answer,
}

/// All questions but the last, most urgent first. What happened in sessions is asked of the last days.
pub(crate) const ASKED: [Asked; 8] = [
    Asked { title: "Not to run now", is_urgent: true, answer: not_to_run },
    Asked { title: "To ease off", is_urgent: true, answer: to_ease },
    Asked { title: "Walks run through, or more run than planned", is_urgent: false, answer: overdone },
    Asked { title: "Stopped early, or less run than planned", is_urgent: false, answer: cut_short },
    Asked { title: "Absent in this week or the one before", is_urgent: false, answer: absent },
    Asked { title: "Away or excused in this week or the one before", is_urgent: false, answer: excused },
    Asked { title: "Not heard of", is_urgent: false, answer: silent },
    Asked { title: "Not all could be told", is_urgent: false, answer: untold },
];

/// What an athlete answers.
pub(crate) fn answers(athlete: &AthletePages<'_>, as_of: Option<NaiveDate>) -> Answers {
    let as_of = athlete.extras.as_of.or(as_of);
    Answers { alone: ASKED.map(|asked| mention(&asked, athlete, as_of)), growth: growth(athlete) }
}

fn mention(asked: &Asked, athlete: &AthletePages<'_>, as_of: Option<NaiveDate>) -> Option<Mention> {
    // Beside a warning sign nothing else is said.
    if !asked.is_urgent && is_stopped(athlete) {
        return None;
    }
    (asked.answer)(athlete, as_of)
}

/// Whether a warning sign or the coach's `stop` stands; nothing about progress is shown then.
pub(crate) fn is_stopped(athlete: &AthletePages<'_>) -> bool {
    athlete.extras.is_stopped
}

fn not_to_run(athlete: &AthletePages<'_>, _: Option<NaiveDate>) -> Option<Mention> {
    let rests_until = athlete.extras.no_run_before;
    if !is_stopped(athlete) && rests_until.is_none() {
        return None;
    }
    let mut why = Vec::new();
    why.extend(rests_until.map(|day| format!("no run before {}", short_day(day))));
    why.extend(ran_all_the_same(athlete));
    why.extend(first_reasons(athlete));
    Some(Mention::of(why))
}

/// Who ran after the day from which running is stopped, and when.
fn ran_all_the_same(athlete: &AthletePages<'_>) -> Option<String> {
    let from = athlete.extras.stopped_on?;
    let ran = athlete.counting().filter(|(_, pages)| pages.row.run_s > Some(0.0));
    let days: Vec<_> = ran.filter_map(|(_, pages)| pages.day()).filter(|day| *day > from).collect();
    (!days.is_empty()).then(|| format!("ran all the same on {}", day_list(&days)))
}

fn to_ease(athlete: &AthletePages<'_>, as_of: Option<NaiveDate>) -> Option<Mention> {
    let is_said_already = not_to_run(athlete, as_of).is_some();
    (athlete.row.proposal == Some(Verdict::Ease) && !is_said_already)
        .then(|| Mention::of(first_reasons(athlete)))
}

/// The first reasons, which are the most urgent; all of them stand with the athlete.
fn first_reasons(athlete: &AthletePages<'_>) -> Vec<String> {
    athlete.row.reasons.iter().take(REASONS_SHOWN).map(|reason| days_in_words(reason)).collect()
}

fn overdone(athlete: &AthletePages<'_>, as_of: Option<NaiveDate>) -> Option<Mention> {
    of_last_days(athlete, as_of, Remark::is_more_run)
}

fn cut_short(athlete: &AthletePages<'_>, as_of: Option<NaiveDate>) -> Option<Mention> {
    of_last_days(athlete, as_of, Remark::is_less_run)
}

fn untold(athlete: &AthletePages<'_>, as_of: Option<NaiveDate>) -> Option<Mention> {
    of_last_days(athlete, as_of, Remark::is_untold)
}

/// What is remarked on the sessions of the last days, the newest first; where there were none, on the last session. What is
/// the same of several is said once.
fn of_last_days(
    athlete: &AthletePages<'_>,
    as_of: Option<NaiveDate>,
    is_meant: impl Fn(&Remark) -> bool,
) -> Option<Mention> {
    let from = as_of.and_then(|day| day.checked_sub_days(Days::new(RECENT_DAYS - 1)));
    let last = athlete.counting().next_back().map(|(number, _)| number);
    let mut said: Vec<(String, Vec<String>)> = Vec::new();
    let mut newest = None;
    for (number, pages) in athlete.counting().rev() {
        let is_recent = from.zip(pages.day()).is_some_and(|(from, day)| day >= from);
        if !is_recent && Some(number) != last {
            continue;
        }
        let remarks: Vec<_> =
            pages.remarks.iter().filter(|remark| is_meant(remark)).map(remark_text).collect();
        if remarks.is_empty() {
            continue;
        }
        let (day, text) = (pages.day().map(short_day), remarks.join(" "));
        match said.iter_mut().find(|(other, _)| *other == text) {
            Some((_, days)) => days.extend(day),
            None => said.push((text, day.into_iter().collect())),
        }
        newest = newest.or(Some(number));
    }
    let why = said.into_iter().map(|(text, days)| match days.as_slice() {
        [] => text,
        days => format!("{}: {text}", days.join(", ")),
    });
    let why = Text(why.collect::<Vec<_>>().join(" "));
    newest.map(|session| Mention { why: vec![why], session: Some(session) })
}

/// The first day of the week before that of the as-of day.
fn first_of_two_weeks(as_of: Option<NaiveDate>) -> Option<NaiveDate> {
    monday_before(as_of?).checked_sub_days(Days::new(7))
}

fn day_list(days: &[NaiveDate]) -> String {
    days.iter().copied().map(short_day).collect::<Vec<_>>().join(", ")
}

fn excused(athlete: &AthletePages<'_>, as_of: Option<NaiveDate>) -> Option<Mention> {
    let from = first_of_two_weeks(as_of)?;
    let away = athlete.extras.away.iter().filter(|(first, last)| Some(*first) <= as_of && *last >= from);
    let is_away = |day: &NaiveDate| away.clone().any(|(first, last)| (*first..=*last).contains(day));
    let mut days = athlete.register().planned_days(from, Mark::Excused);
    days.retain(|day| !is_away(day));
    let spans =
        away.clone().map(|(first, last)| format!("away {} to {}", short_day(*first), short_day(*last)));
    let mut why: Vec<String> = spans.collect();
    why.extend((!days.is_empty()).then(|| day_list(&days)));
    (!why.is_empty()).then(|| Mention::of(why))
}

/// The days on which something fell due and nothing of theirs lies, as the register has them.
fn absent(athlete: &AthletePages<'_>, as_of: Option<NaiveDate>) -> Option<Mention> {
    let days = athlete.register().planned_days(first_of_two_weeks(as_of)?, Mark::Absent);
    (!days.is_empty()).then(|| Mention::of(vec![day_list(&days)]))
}

fn silent(athlete: &AthletePages<'_>, as_of: Option<NaiveDate>) -> Option<Mention> {
    if !athlete.extras.is_silent {
        return None;
    }
    let Some(last) = athlete.last_session() else {
        return Some(Mention::of(vec!["no recording at all".into()]));
    };
    let (last_day, as_of) = (last.day()?, as_of?);
    let days = (as_of - last_day).num_days();
    let ago = counted(days as usize, "day", "days");
    Some(Mention::of(vec![format!("last recording {}, {ago} ago", short_day(last_day))]))
}

fn growth(athlete: &AthletePages<'_>) -> Option<(f64, Mention)> {
    let trend = athlete.row.longest_run_trend_s_per_week.filter(|&trend| trend >= 1.0)?;
    if is_stopped(athlete) {
        return None;
    }
    let longest = athlete.row.longest_run_s.map(|s| format!(", longest {}", duration(s))).unwrap_or_default();
    let day = athlete.row.longest_run_date.map(|day| format!(" on {}", short_day(day))).unwrap_or_default();
    let why = vec![Text(format!("{} a week{longest}{day}", signed_duration(trend)))];
    Some((trend, Mention { why, session: None }))
}

//! A slip for one person, in plain words to that person: what was done, what went well, what is next and when, how far the
//! goal is, one caution. It holds nothing of anybody else.

use boutwise_season::{Caution, DEFAULT_GOAL_M, ON_THE_WAY_M, Remark, Verdict};
use chrono::NaiveDate;

use crate::attention::is_stopped;
use crate::book::{AthletePages, SessionPages};
use crate::figures::{distance, duration, place_in_plan};
use crate::markup::Text;

/// What a slip says, part by part.
#[derive(Clone, Debug)]
pub(crate) struct SlipView {
    pub(crate) name: Text,
    pub(crate) name_key: String,
    pub(crate) did: Vec<String>,
    pub(crate) well: Vec<String>,
    pub(crate) next: Vec<Text>,
    /// What to do next, in the notation of the plan.
    pub(crate) planned: Option<Text>,
    pub(crate) way: Vec<String>,
    pub(crate) caution: &'static str,
    /// Whether a warning sign stands, beside which nothing else is said.
    pub(crate) is_stopped: bool,
}

impl SlipView {
    pub(crate) fn new(athlete: &AthletePages<'_>) -> Self {
        let is_stopped = is_stopped(athlete);
        let caution = if is_stopped { Some(Caution::WarningSign) } else { caution(athlete) };
        let blank = Self {
            name: athlete.name().into(),
            name_key: athlete.name().into(),
            did: Vec::new(),
            well: Vec::new(),
            next: Vec::new(),
            planned: None,
            way: Vec::new(),
            caution: caution.unwrap_or(Caution::NoAdvice).in_short(),
            is_stopped,
        };
        if is_stopped {
            return blank;
        }
        let next = athlete.extras.next.as_ref();
        Self {
            did: did(athlete.last_session()),
            well: well(athlete),
            next: next_steps(athlete),
            planned: next.map(|next| next.planned.as_str().into()),
            way: vec![way(athlete)],
            ..blank
        }
    }
}

/// `Tuesday 5 March`.
fn day_in_words(day: NaiveDate) -> String {
    day.format("%A %-d %B").to_string()
}

fn did(last: Option<&SessionPages<'_>>) -> Vec<String> {
    let Some(last) = last else { return vec!["There is no recording of you yet.".into()] };
    let row = last.row;
    let mut said = vec![match last.day() {
        Some(day) => format!("You were last out on {}.", day_in_words(day)),
        None => "The time of your last recording is not known.".into(),
    }];
    said.push(if row.resolvable == Some(false) {
        "That recording cannot tell your running from your walking.".into()
    } else {
        match (row.reps_done, row.reps_planned.filter(|&planned| planned > 0)) {
            (Some(done), Some(1)) if done >= 1 => "You ran the whole run that was asked.".into(),
            (Some(_), Some(1)) if row.longest_run_s.is_some_and(|s| s > 0.0) => {
                format!("You ran {} of the run that was asked.", duration(row.longest_run_s.unwrap_or(0.0)))
            }
            (Some(done), Some(planned)) if row.reps_not_recorded.is_some_and(|outside| outside > 0) => {
                format!("The recording shows {done} of {planned} runs in full. Some lie outside it.")
            }
            (Some(done), Some(planned)) if done >= planned => format!("You ran all {planned} runs in full."),
            (Some(done), Some(planned)) => format!("You ran {done} of {planned} runs in full."),
            _ => match row.run_s.filter(|&s| s > 0.0) {
                Some(run_s) => format!("You ran for {} in all.", duration(run_s)),
                None => "You walked.".into(),
            },
        }
    });
    said
}

/// Whether there were walks between the reps, and nothing is to be remarked on how they were taken.
fn took_the_walks(session: &SessionPages<'_>) -> bool {
    let has_walks = session.row.breaks_pct.is_some() && session.row.reps_planned > Some(1);
    has_walks && !session.remarks.iter().any(Remark::is_more_run)
}

/// The best that can be said truly, at most two sentences.
fn well(athlete: &AthletePages<'_>) -> Vec<String> {
    let row = &athlete.row;
    let last = athlete.last_session();
    let mut said = Vec::new();
    if let (Some(longest_s), Some(day)) = (row.longest_run_s.filter(|&s| s > 0.0), row.longest_run_date) {
        said.push(match last.and_then(SessionPages::day) == Some(day) {
            true => format!("That day you ran {} without a break. It is your longest.", duration(longest_s)),
            false => format!("Your longest run without a break is {}.", duration(longest_s)),
        });
    }
    let came = row.sessions_attempted.zip(row.sessions_due.filter(|&due| due > 0));
    if last.is_some_and(took_the_walks) {
        said.push("You took the walks between, as asked.".into());
    } else if came.is_some_and(|(came, due)| came == due) {
        said.push("You have come to every session.".into());
    } else if let Some(days) = row.days_out_28d.filter(|&days| days > 1) {
        said.push(format!("You were out on {days} of the last 28 days."));
    }
    said
}

fn next_steps(athlete: &AthletePages<'_>) -> Vec<Text> {
    let extras = &athlete.extras;
    let mut said: Vec<Text> = Vec::new();
    said.extend(extras.no_run_before.map(|day| Text(format!("No run before {}.", day_in_words(day)))));
    said.extend(
        match athlete.row.proposal {
            Some(Verdict::Advance) => Some("You can go on with the plan."),
            Some(Verdict::Hold) => Some("Do the same once more, a little slower."),
            Some(Verdict::Ease) => Some("The next one is easier, so that you can recover."),
            Some(Verdict::Stop) | None => None,
        }
        .map(Text::from),
    );
    match &extras.next {
        Some(next) => {
            let place = place_in_plan(&next.block, next.session);
            said.push(Text(match next.date {
                Some(day) => format!("Next is session {place}, on {}.", day_in_words(day)),
                None => format!("Next is session {place}. Your coach says the day."),
            }));
        }
        None => said.push("Your coach tells you what comes next.".into()),
    }
    said
}

/// How far 3 km or the goal is.
fn way(athlete: &AthletePages<'_>) -> String {
    let goal_m = athlete.row.goal_m.unwrap_or(DEFAULT_GOAL_M);
    let km = |metres: f64| format!("{:.1}", metres / 1000.0).trim_end_matches(".0").to_owned() + " km";
    if athlete.row.goal_reached_date.is_some() {
        return format!("You have run {} without a break. Now it is about keeping it.", km(goal_m));
    }
    let Some(longest_m) = athlete.row.longest_run_m.filter(|&m| m > 0.0) else {
        return format!("How far you are on the way to {} cannot be told yet.", km(goal_m));
    };
    let to_go = |metres: f64| distance(metres - longest_m);
    match longest_m {
        m if m < ON_THE_WAY_M.min(goal_m) => {
            let first = ON_THE_WAY_M.min(goal_m);
            format!(
                "So far you ran {} without a break. To {} it is {} more.",
                distance(m),
                km(first),
                to_go(first)
            )
        }
        m if m < goal_m => {
            format!(
                "You have run {} without a break. To {} it is {} more.",
                distance(m),
                km(goal_m),
                to_go(goal_m)
            )
        }
        m => format!("You have run {} without a break.", distance(m)),
    }
}

/// The gravest caution that speaks to the person.
fn caution(athlete: &AthletePages<'_>) -> Option<Caution> {
    athlete.extras.cautions.iter().copied().find(|caution| *caution != Caution::PredictedHeartRate)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::input::AthletePart;
    use crate::rows::AthleteRow;
    use crate::tables::Tables;

    fn part(row: AthleteRow) -> AthletePart {
        AthletePart { tables: Tables { athletes: vec![row], ..Tables::default() }, ..AthletePart::default() }
    }

    #[test]
    fn the_way_goes_by_three_kilometres_to_the_goal() {
        let of = |longest_m: Option<f64>, goal_m: Option<f64>| {
            let part = part(AthleteRow { longest_run_m: longest_m, goal_m, ..AthleteRow::default() });
            way(&AthletePages::new(&part))
        };
        assert_eq!(
            of(Some(1200.0), None),
            "So far you ran 1.20\u{202f}km without a break. To 3 km it is 1.80\u{202f}km more."
        );
        assert_eq!(
            of(Some(3500.0), None),
            "You have run 3.50\u{202f}km without a break. To 5 km it is 1.50\u{202f}km more."
        );
        assert_eq!(
            of(Some(900.0), Some(2500.0)),
            "So far you ran 900\u{202f}m without a break. To 2.5 km it is 1.60\u{202f}km more."
        );
        assert_eq!(of(None, None), "How far you are on the way to 5 km cannot be told yet.");
    }

    #[test]
    fn beside_a_warning_sign_only_the_caution_stands() {
        let mut part = part(AthleteRow { longest_run_m: Some(900.0), ..AthleteRow::default() });
        part.extras.is_stopped = true;
        let slip = SlipView::new(&AthletePages::new(&part));
        assert_eq!(slip.caution, Caution::WarningSign.in_short());
        assert!(slip.did.is_empty() && slip.well.is_empty() && slip.next.is_empty() && slip.way.is_empty());
    }
}

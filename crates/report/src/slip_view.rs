//! A slip for one person, in plain words to that person: what was done, what went well, what is next and when, how far the
//! goal is, one caution. It holds nothing of anybody else.

use boutwise_bouts::{EventKind, Gait};
use boutwise_season::{Caution, DEFAULT_GOAL_M, HoldCause, ON_THE_WAY_M, Remark, Settings, Verdict};
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
    /// The caution; before it, where the coach alone stops, that they do.
    pub(crate) caution: String,
    /// Whether a warning sign or the coach's `stop` stands, beside which nothing else is said.
    pub(crate) is_stopped: bool,
}

impl SlipView {
    pub(crate) fn new(athlete: &AthletePages<'_>, numbers: &Settings) -> Self {
        let is_stopped = is_stopped(athlete);
        let blank = Self {
            name: athlete.name().into(),
            name_key: athlete.name().into(),
            did: Vec::new(),
            well: Vec::new(),
            next: Vec::new(),
            planned: None,
            way: Vec::new(),
            caution: match (is_stopped, athlete.extras.is_paused) {
                (true, false) => Caution::WarningSign.in_short().into(),
                (true, true) => format!("{PAUSED} {}", caution(athlete).in_short()),
                (false, _) => caution(athlete).in_short().into(),
            },
            is_stopped,
        };
        if is_stopped {
            return blank;
        }
        let next = athlete.extras.next.as_ref();
        Self {
            did: did(athlete),
            well: well(athlete, numbers.rules.habit_long_days),
            next: next_steps(athlete),
            planned: next.map(|next| Text(next.asked())),
            way: vec![way(athlete)],
            ..blank
        }
    }
}

/// What is said where the coach stops and no warning sign stands.
const PAUSED: &str = "Your coach asks you to pause until you have spoken.";

/// Days from the last time out beyond which a day is told with its year (own choice: half a year).
const YEAR_TOLD_DAYS: i64 = 183;

/// `Tuesday 5 March`.
fn day_in_words(day: NaiveDate) -> String {
    day.format("%A %-d %B").to_string()
}

/// The same of a day to come; with its year where that lies far from the last time out.
fn coming_day(day: NaiveDate, last: Option<NaiveDate>) -> String {
    match last.is_some_and(|last| (day - last).num_days() > YEAR_TOLD_DAYS) {
        true => day.format("%A %-d %B %Y").to_string(),
        false => day_in_words(day),
    }
}

/// What was done on the day of the newest session, by all of that day's recordings.
fn did(athlete: &AthletePages<'_>) -> Vec<String> {
    let Some(last) = athlete.last_session() else { return vec!["There is no recording of you yet.".into()] };
    let of_day: Vec<&SessionPages<'_>> = athlete.of_last_day().collect();
    let run_s = |pages: &&SessionPages<'_>| pages.row.run_s.filter(|_| pages.row.resolvable != Some(false));
    let all_run_s: f64 = of_day.iter().filter_map(run_s).sum();
    let mut said = vec![match last.day() {
        Some(day) => format!("You were last out on {}.", day_in_words(day)),
        None => "The time of your last recording is not known.".into(),
    }];
    let asked = athlete.last_asked().filter(|pages| pages.row.reps_planned > Some(0));
    said.push(match asked {
        Some(asked) => reps_run(asked),
        None if all_run_s > 0.0 => format!("You ran for {} in all.", duration(all_run_s)),
        None if of_day.iter().any(|pages| pages.row.resolvable == Some(false)) => {
            "That recording cannot tell your running from your walking.".into()
        }
        None => "You walked.".into(),
    });
    let beside_s = asked.map_or(0.0, |asked| all_run_s - run_s(&asked).unwrap_or(0.0));
    said.extend((beside_s > 0.0).then(|| format!("You ran {} more that day.", duration(beside_s))));
    said
}

/// What was run of the reps that were asked for.
fn reps_run(asked: &SessionPages<'_>) -> String {
    let row = asked.row;
    let (done, planned) = (row.reps_done.unwrap_or(0), row.reps_planned.unwrap_or(0));
    match (done, planned) {
        (1.., 1) => "You ran the whole run that was asked.".into(),
        (_, 1) if row.longest_run_s.is_some_and(|s| s > 0.0) => part_of_the_run(asked),
        _ if row.reps_not_recorded.is_some_and(|outside| outside > 0) => {
            format!("The recording shows {done} of {planned} runs in full. Some lie outside it.")
        }
        _ if done >= planned => format!("You ran all {planned} runs in full."),
        _ => format!("You ran {done} of {planned} runs in full."),
    }
}

/// How much was run of a single run, and how much of that in one piece.
fn part_of_the_run(session: &SessionPages<'_>) -> String {
    let row = session.row;
    let longest_s = row.longest_run_s.unwrap_or(0.0);
    let asked = session.intervals.iter().find(|interval| interval.kind == Gait::Run);
    let Some(asked_s) = asked.and_then(|interval| interval.planned_s) else {
        return format!("You ran {} of the run that was asked.", duration(longest_s));
    };
    let run_s = row.run_s.unwrap_or(longest_s);
    let ran = format!("You ran {} of {}", duration(run_s.min(asked_s)), duration(asked_s));
    if run_s.round() > longest_s.round() {
        format!("{ran}, {} of it without a break.", duration(longest_s))
    } else {
        ran + "."
    }
}

/// Walks that were not taken as asked.
const OTHER_WALKS: [EventKind; 4] =
    [EventKind::RepsJoined, EventKind::RanThrough, EventKind::WalkShort, EventKind::WalkLong];

/// Whether there were walks between reps that were run, and all of them were taken as asked.
fn took_the_walks(session: &SessionPages<'_>) -> bool {
    let row = session.row;
    let reps_run = row.reps_done.unwrap_or(0) + row.reps_short.unwrap_or(0);
    let is_other =
        |remark: &Remark| matches!(remark, Remark::Happened { kind, .. } if OTHER_WALKS.contains(kind));
    row.breaks_pct.is_some()
        && reps_run >= 2
        && !session.remarks.iter().any(|remark| is_other(remark) || remark.is_more_run())
}

/// The best that can be said truly, at most two sentences.
fn well(athlete: &AthletePages<'_>, habit_days: u32) -> Vec<String> {
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
    if athlete.last_asked().is_some_and(took_the_walks) {
        said.push("You took the walks between, as asked.".into());
    } else if came.is_some_and(|(came, due)| came == due) {
        said.push("You have come to every session.".into());
    } else if let Some(days) = row.days_out_28d.filter(|&days| days > 1) {
        said.push(format!("You were out on {days} of the last {habit_days} days."));
    }
    said
}

fn next_steps(athlete: &AthletePages<'_>) -> Vec<Text> {
    let extras = &athlete.extras;
    let mut said: Vec<Text> = Vec::new();
    let last = athlete.last_session().and_then(SessionPages::day);
    said.extend(extras.no_run_before.map(|day| Text(format!("No run before {}.", coming_day(day, last)))));
    match athlete.row.proposal {
        Some(Verdict::Advance) => said.push(onward(athlete).into()),
        Some(Verdict::Hold) => said.extend(held(athlete).into_iter().map(Text)),
        Some(Verdict::Ease) if extras.next.as_ref().is_some_and(|next| next.is_shortened) => {
            said.push("Make the next one shorter, so that you can recover.".into());
        }
        Some(Verdict::Ease) => said.push("The next one is easier, so that you can recover.".into()),
        Some(Verdict::Stop) | None => {}
    }
    match &extras.next {
        Some(next) => {
            let place = place_in_plan(&next.block, next.session);
            said.push(Text(match next.date {
                Some(day) => format!("Next is session {place}, on {}.", coming_day(day, last)),
                None => format!("Next is session {place}. Your coach says the day."),
            }));
        }
        None => said.push("Your coach tells you what comes next.".into()),
    }
    said
}

/// Where the way leads on; beyond the plan's last session it is done.
fn onward(athlete: &AthletePages<'_>) -> &'static str {
    match (&athlete.extras.next, &athlete.extras.plan_title) {
        (Some(_), _) => "You can go on with the plan.",
        (None, Some(_)) => "You have come to the end of the plan.",
        (None, None) => "You can go on.",
    }
}

/// Why the step is held, and whether its next session or the same follows.
fn held(athlete: &AthletePages<'_>) -> Vec<String> {
    let cause = athlete.extras.hold_cause;
    let why = match cause {
        Some(HoldCause::Overdone) => (athlete.extras.overdone_s)
            .map(|run_s| format!("You ran {} more than asked. As written is enough.", duration(run_s))),
        Some(HoldCause::WalksNotKept) => Some("Take the walks between the runs.".into()),
        Some(HoldCause::Pain) => Some("Stop if the pain comes back.".into()),
        Some(HoldCause::Gap) => Some("It is a while since your last run.".into()),
        Some(HoldCause::Hard | HoldCause::MoreNeeded | HoldCause::Walked | HoldCause::Short) | None => None,
    };
    let last = athlete.last_asked().and_then(|last| last.row.planned.as_deref());
    let step = athlete.extras.next.as_ref().map(|next| match next.is_again {
        _ if next.is_shortened => "Make the next one shorter",
        true => "Do the same once more",
        false if last == Some(next.planned.as_str()) => "The next session is like the last one",
        false => "Go on with the next session of the plan",
    });
    let slower =
        if matches!(cause, Some(HoldCause::Hard | HoldCause::Short)) { ", a little slower" } else { "" };
    why.into_iter().chain(step.map(|step| format!("{step}{slower}."))).collect()
}

/// How far 3 km or the goal is, from the run without a break that went farthest.
fn way(athlete: &AthletePages<'_>) -> String {
    let goal_m = athlete.row.goal_m.unwrap_or(DEFAULT_GOAL_M);
    let km = |metres: f64| format!("{:.1}", metres / 1000.0).trim_end_matches(".0").to_owned() + " km";
    if athlete.row.goal_reached_date.is_some() {
        return match athlete.extras.is_goal_unsaid {
            true => format!("The goal is {} without a break.", km(goal_m)),
            false => format!("You have run {} without a break. Now it is about keeping it.", km(goal_m)),
        };
    }
    let Some(longest_m) = athlete.extras.farthest_run_m.filter(|&m| m > 0.0) else {
        return format!("How far you are on the way to {} cannot be told yet.", km(goal_m));
    };
    let to_go = |metres: f64| distance(metres - longest_m);
    match longest_m {
        m if m < ON_THE_WAY_M.min(goal_m) && !athlete.extras.is_way_done => {
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

/// The gravest caution that speaks to the person; beside a stop none of what comes next.
fn caution(athlete: &AthletePages<'_>) -> Caution {
    let is_of_what_comes =
        |caution: &Caution| matches!(caution, Caution::LargeStep | Caution::RanFar | Caution::FastRise);
    let mut cautions = athlete.extras.cautions.iter().copied();
    let speaks = cautions.find(|caution| {
        *caution != Caution::PredictedHeartRate && !(is_stopped(athlete) && is_of_what_comes(caution))
    });
    speaks.unwrap_or(Caution::NoAdvice)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::input::{AthleteExtras, AthletePart};
    use crate::rows::{AthleteRow, IntervalRow, SessionRow};
    use crate::tables::Tables;
    use boutwise_bouts::IntervalStatus;

    fn part(row: AthleteRow) -> AthletePart {
        AthletePart { tables: Tables { athletes: vec![row], ..Tables::default() }, ..AthletePart::default() }
    }

    #[test]
    fn the_way_goes_by_three_kilometres_to_the_goal() {
        let of = |longest_m: Option<f64>, goal_m: Option<f64>| {
            // The longest in time went less far than another.
            let longest_run_m = longest_m.map(|m| m - 200.0);
            let mut part = part(AthleteRow { longest_run_m, goal_m, ..AthleteRow::default() });
            part.extras.farthest_run_m = longest_m;
            part.extras.is_way_done = longest_m >= Some(0.99 * ON_THE_WAY_M);
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
        // As near as passes for 3 km everywhere else.
        assert_eq!(
            of(Some(2990.0), None),
            "You have run 2.99\u{202f}km without a break. To 5 km it is 2.01\u{202f}km more."
        );
        assert_eq!(of(None, None), "How far you are on the way to 5 km cannot be told yet.");
    }

    fn slip_of(row: SessionRow, extras: AthleteExtras) -> SlipView {
        let mut part = part(AthleteRow { proposal: Some(Verdict::Hold), ..AthleteRow::default() });
        let session = SessionRow {
            file: "a.gpx".into(),
            session: 1,
            start_local: NaiveDate::from_ymd_opt(2026, 4, 26).and_then(|day| day.and_hms_opt(9, 0, 0)),
            planned: Some("21:00 run".into()),
            counted: Some(true),
            ..row
        };
        part.tables.intervals = vec![IntervalRow {
            file: "a.gpx".into(),
            session: 1,
            interval: 1,
            kind: Gait::Run,
            planned_s: Some(1260.0),
            athlete: "".into(),
            planned_m: None,
            done_s: None,
            done_m: None,
            status: IntervalStatus::Short,
            credit_pct: None,
            start_s: None,
        }];
        part.tables.sessions = vec![session];
        part.extras = extras;
        SlipView::new(&AthletePages::new(&part), &Settings::default())
    }

    fn next(planned: &str, is_again: bool) -> Option<crate::NextSession> {
        Some(crate::NextSession { planned: planned.into(), is_again, ..crate::NextSession::default() })
    }

    #[test]
    fn what_was_done_is_told_of_all_recordings_of_the_day() {
        let session = |hour: u32, row: SessionRow| SessionRow {
            file: format!("{hour}.gpx"),
            session: 1,
            start_local: NaiveDate::from_ymd_opt(2026, 3, 11).and_then(|day| day.and_hms_opt(hour, 0, 0)),
            counted: Some(true),
            resolvable: Some(true),
            ..row
        };
        let asked = SessionRow {
            plan_session: Some(1),
            adherence_pct: Some(100.0),
            reps_done: Some(5),
            reps_planned: Some(5),
            run_s: Some(600.0),
            ..SessionRow::default()
        };
        let other = |run_s| SessionRow { run_s: Some(run_s), ..SessionRow::default() };
        let said = |rows: [SessionRow; 2]| {
            let mut part = part(AthleteRow::default());
            let [first, second] = rows;
            part.tables.sessions = vec![session(8, first), session(18, second)];
            did(&AthletePages::new(&part))[1..].join(" ")
        };
        let all = "You ran all 5 runs in full.";
        assert_eq!(said([asked.clone(), other(0.0)]), all);
        assert_eq!(said([other(0.0), asked.clone()]), all);
        assert_eq!(said([asked, other(100.0)]), format!("{all} You ran 1:40 more that day."));
        assert_eq!(said([other(600.0), other(100.0)]), "You ran for 11:40 in all.");
        assert_eq!(said([other(0.0), other(0.0)]), "You walked.");
    }

    #[test]
    fn a_day_far_from_the_last_one_out_is_told_with_its_year() {
        let last = NaiveDate::from_ymd_opt(2026, 10, 16);
        let day = |year, month, day| NaiveDate::from_ymd_opt(year, month, day).unwrap();
        assert_eq!(coming_day(day(2026, 10, 20), last), "Tuesday 20 October");
        assert_eq!(coming_day(day(2027, 4, 17), last), "Saturday 17 April");
        assert_eq!(coming_day(day(2027, 4, 18), last), "Sunday 18 April 2027");
        assert_eq!(coming_day(day(2027, 10, 20), last), "Wednesday 20 October 2027");
        assert_eq!(coming_day(day(2027, 10, 20), None), "Wednesday 20 October");
    }

    #[test]
    fn who_is_held_reads_why_and_whether_the_next_session_is_the_same_once_more() {
        let first = |next: Option<crate::NextSession>, hold_cause: Option<HoldCause>| {
            let extras =
                AthleteExtras { next, hold_cause, overdone_s: Some(354.0), ..AthleteExtras::default() };
            let said = slip_of(SessionRow::default(), extras).next;
            said[..said.len() - 1].iter().map(Text::to_string).collect::<Vec<_>>().join(" ")
        };
        let plain = |text: &str| text.replace("<bdi>", "").replace("</bdi>", "");
        for (next, cause, words) in [
            (next("21:00 run", false), None, "The next session is like the last one."),
            (next("27:00 run", false), None, "Go on with the next session of the plan."),
            (next("21:00 run", true), None, "Do the same once more."),
            (next("21:00 run", true), Some(HoldCause::Hard), "Do the same once more, a little slower."),
            (next("21:00 run", true), Some(HoldCause::Walked), "Do the same once more."),
            (
                next("21:00 run", true),
                Some(HoldCause::Gap),
                "It is a while since your last run. Do the same once more.",
            ),
            (
                next("21:00 run", false),
                Some(HoldCause::Short),
                "The next session is like the last one, a little slower.",
            ),
            (
                next("21:00 run", true),
                Some(HoldCause::Overdone),
                "You ran 5:54 more than asked. As written is enough. Do the same once more.",
            ),
        ] {
            assert_eq!(plain(&first(next, cause)), words);
        }
    }

    #[test]
    fn what_has_nothing_easier_before_it_is_shortened() {
        let slip = |verdict, next| {
            let mut part = part(AthleteRow { proposal: Some(verdict), ..AthleteRow::default() });
            part.extras.next = next;
            part.extras.hold_cause = (verdict == Verdict::Hold).then_some(HoldCause::Pain);
            let slip = SlipView::new(&AthletePages::new(&part), &Settings::default());
            (slip.next.iter().map(Text::to_string).collect::<Vec<_>>().join(" "), slip.planned)
        };
        let shortened =
            || next("21:00 run", false).map(|next| crate::NextSession { is_shortened: true, ..next });
        let (said, planned) = slip(Verdict::Ease, shortened());
        assert!(said.contains("Make the next one shorter") && !said.contains("easier"), "{said}");
        let planned = planned.unwrap().to_string();
        assert!(planned.contains("21:00 run: shorter or fewer runs, longer walks"), "{planned}");
        let (said, _) = slip(Verdict::Hold, shortened());
        assert!(
            said.contains("Stop if the pain comes back.") && said.contains("Make the next one shorter."),
            "{said}"
        );
        let (said, planned) = slip(Verdict::Ease, next("21:00 run", false));
        assert!(said.contains("The next one is easier"), "{said}");
        assert!(!planned.unwrap().to_string().contains("shorter"));
    }

    #[test]
    fn who_has_done_the_whole_plan_is_not_told_to_go_on_with_it() {
        let said = |next, plan_title: Option<&str>| {
            let mut part = part(AthleteRow { proposal: Some(Verdict::Advance), ..AthleteRow::default() });
            part.extras.next = next;
            part.extras.plan_title = plan_title.map(str::to_owned);
            next_steps(&AthletePages::new(&part))[0].to_string()
        };
        assert!(said(next("21:00 run", false), Some("Winter")).contains("You can go on with the plan."));
        assert!(said(None, Some("Winter")).contains("You have come to the end of the plan."));
        assert!(said(None, None).contains("You can go on."));
    }

    #[test]
    fn a_goal_that_was_reached_is_not_told_beside_pain() {
        let way_of = |is_goal_unsaid| {
            let goal_reached_date = NaiveDate::from_ymd_opt(2026, 3, 1);
            let row = AthleteRow { goal_m: Some(1400.0), goal_reached_date, ..AthleteRow::default() };
            let mut part = part(row);
            part.extras.is_goal_unsaid = is_goal_unsaid;
            way(&AthletePages::new(&part))
        };
        assert_eq!(way_of(false), "You have run 1.4 km without a break. Now it is about keeping it.");
        assert_eq!(way_of(true), "The goal is 1.4 km without a break.");
    }

    #[test]
    fn of_a_single_run_with_a_walk_in_it_both_lengths_are_told() {
        let row = |run_s| SessionRow {
            reps_done: Some(0),
            reps_short: Some(1),
            reps_planned: Some(1),
            breaks_pct: Some(90.0),
            run_s: Some(run_s),
            longest_run_s: Some(668.0),
            ..SessionRow::default()
        };
        let slip = slip_of(row(1140.0), AthleteExtras::default());
        assert_eq!(slip.did[1], "You ran 19:00 of 21:00, 11:08 of it without a break.");
        // There was no walk to take.
        assert!(!slip.well.iter().any(|said| said.contains("walks")), "{:?}", slip.well);
        assert_eq!(slip_of(row(668.0), AthleteExtras::default()).did[1], "You ran 11:08 of 21:00.");
    }

    #[test]
    fn walks_that_were_too_long_or_stood_beside_one_run_alone_are_not_praised() {
        let session = |reps_done, kind: Option<EventKind>| {
            let remarks = kind.map(|kind| Remark::Happened { kind, text: String::new() });
            let of = crate::SessionRemarks {
                file: "a.gpx".into(),
                session: 1,
                remarks: remarks.into_iter().collect(),
                ..crate::SessionRemarks::default()
            };
            let row = SessionRow {
                reps_planned: Some(3),
                reps_done: Some(reps_done),
                breaks_pct: Some(90.0),
                ..SessionRow::default()
            };
            let slip = slip_of(row, AthleteExtras { remarks: vec![of], ..AthleteExtras::default() });
            slip.well.iter().any(|said| said.contains("walks"))
        };
        assert!(session(3, None) && session(2, None));
        assert!(!session(1, None));
        for kind in OTHER_WALKS {
            assert!(!session(3, Some(kind)), "{kind:?}");
        }
    }

    /// Nobody reads of an emergency who only is to speak with the coach.
    #[test]
    fn the_coachs_own_stop_asks_for_a_word_and_keeps_the_usual_caution() {
        let extras = AthleteExtras {
            is_stopped: true,
            is_paused: true,
            cautions: vec![Caution::LargeStep],
            ..AthleteExtras::default()
        };
        let slip = slip_of(SessionRow::default(), extras);
        assert_eq!(slip.caution, format!("{PAUSED} {}", Caution::NoAdvice.in_short()));
        assert!(slip.did.is_empty() && slip.well.is_empty() && slip.next.is_empty() && slip.way.is_empty());
    }

    #[test]
    fn beside_a_warning_sign_only_the_caution_stands() {
        let mut part = part(AthleteRow { longest_run_m: Some(900.0), ..AthleteRow::default() });
        part.extras.is_stopped = true;
        let slip = SlipView::new(&AthletePages::new(&part), &Settings::default());
        assert_eq!(slip.caution, Caution::WarningSign.in_short());
        assert!(slip.did.is_empty() && slip.well.is_empty() && slip.next.is_empty() && slip.way.is_empty());
    }
}

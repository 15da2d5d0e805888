//! What the report shows of an athlete beyond the tables.

use boutwise_report::{
    AthleteExtras, Habit, JournalDay, LeftOut, NextSession, PlannedSession, SessionRemarks, Target,
    distance_text, duration_text, short_day,
};
use boutwise_season::{
    Athlete, AthleteAudit, Caution, Entry, NextSession as Next, ON_THE_WAY_M, Outcome,
    PlannedSession as Planned, READINESS_NOTE, Readiness, Remark, Role, Rules, Settings,
};
use chrono::{NaiveDate, NaiveTime};

use crate::judge::{Judged, Placed};
use crate::slip;

/// Entries of a journal that a page shows, the newest (own choice: one a day for a season, and what a group's row says stands
/// on the page of each of its athletes).
const JOURNAL_MOST: usize = 100;

/// Everything that the page of one athlete, who has `row` in the squad file, shows beyond the tables.
pub(crate) fn extras(judged: &Judged<'_>, row: Option<&Athlete>, settings: &Settings) -> AthleteExtras {
    let (audit, rules) = (&judged.audit, &settings.rules);
    let runs = judged.longest_runs(judged.day.day);
    let journal_left_out = judged.journal.len().saturating_sub(JOURNAL_MOST);
    AthleteExtras {
        athlete: judged.name.clone(),
        group: row.and_then(|row| row.group.clone()),
        plan_title: judged.plans.last().map(|used| used.plan.title.clone()),
        calendar: audit
            .planned
            .iter()
            .map(|(plan, planned)| planned_session(judged, *plan, planned))
            .collect(),
        coach_decision: judged.audit.newest_decision.map(|(day, verdict)| (day, verdict.word().to_owned())),
        journal: judged.journal[journal_left_out..].iter().map(|entry| journal_day(entry)).collect(),
        journal_left_out,
        // That it is no medical advice stands on every page.
        cautions: audit.cautions.iter().copied().filter(|caution| *caution != Caution::NoAdvice).collect(),
        facts: facts(judged, settings),
        notes: Vec::new(),
        habit: audit.habit.usual_time_min.map(|usual| Habit {
            usual_time: usual.mean.and_then(time_of_day),
            spread_min: usual.standard_deviation,
        }),
        target: audit.readiness.iter().find(|readiness| is_of_goal(audit, readiness)).map(target),
        next: audit.next.as_ref().map(|next| next_session(judged, next)),
        away: row.map_or_else(Vec::new, |row| row.away.iter().map(|away| (away.from, away.to)).collect()),
        // A day that is over says nothing to anybody any more.
        no_run_before: audit.no_run_before.filter(|&day| judged.day.day.is_none_or(|as_of| as_of < day)),
        as_of: judged.day.day.filter(|_| judged.day.is_by_note),
        is_stopped: !audit.tells_progress(),
        is_paused: audit.is_paused(),
        stopped_on: audit.stopped_on(),
        hold_cause: slip::hold_cause(audit),
        overdone_s: slip::overdone_s(judged),
        farthest_run_m: slip::farthest(&runs).and_then(|run| run.distance_m),
        is_goal_unsaid: !audit.tells_goal,
        is_way_done: (audit.readiness.iter())
            .any(|readiness| readiness.distance_m == ON_THE_WAY_M && readiness.done.is_some()),
        attention: audit.attention(),
        is_silent: is_silent(judged, row, rules),
        remarks: judged
            .sessions
            .iter()
            .enumerate()
            .map(|(at, placed)| remarks(judged, at, placed, rules))
            .collect(),
    }
}

/// Whether the newest recording lies so long back that somebody should ask: not of who is known to be away, gone, or not there yet.
fn is_silent(judged: &Judged<'_>, row: Option<&Athlete>, rules: &Rules) -> bool {
    let is_known_of = |as_of: NaiveDate| {
        let starts_later = judged.plans.iter().all(|used| used.start.is_some_and(|start| start > as_of));
        row.is_some_and(|row| !row.is_there(as_of)) || !judged.plans.is_empty() && starts_later
    };
    if judged.day.day.is_some_and(is_known_of) {
        return false;
    }
    let is_later = |day: &NaiveDate| judged.day.day.is_some_and(|as_of| *day > as_of);
    let newest = judged.sessions.iter().filter_map(Placed::day).filter(|day| !is_later(day)).max();
    match (newest, judged.day.day) {
        (Some(newest), Some(as_of)) => (as_of - newest).num_days() >= i64::from(rules.silent_days),
        (None, _) => true,
        (_, None) => false,
    }
}

fn remarks(judged: &Judged<'_>, at: usize, placed: &Placed, rules: &Rules) -> SessionRemarks {
    let audited = judged.audited(at);
    let matched = audited.and_then(|audited| audited.matched.as_ref());
    let events = judged.events(at);
    let mut remarks = Remark::of(&events, matched, placed.session.pace_drift.as_ref(), rules);
    remarks.extend(audited.and_then(|audited| Remark::on_its_day(audited, rules)));
    SessionRemarks {
        file: placed.name.file.to_string(),
        session: placed.name.session,
        remarks,
        asides: Remark::asides(&events),
        interval_paces_s_per_km: (matched.iter())
            .flat_map(|matched| matched.intervals.iter().map(|interval| interval.run_pace_s_per_km))
            .collect(),
        left_out: left_out(judged, at, placed),
    }
}

/// Why a recording counts for nothing; `None` where it counts.
fn left_out(judged: &Judged<'_>, at: usize, placed: &Placed) -> Option<LeftOut> {
    match judged.audited(at).map(|audited| audited.role) {
        Some(Role::Later) => Some(LeftOut::Later),
        Some(Role::Overlapped) => Some(LeftOut::SecondRecording),
        Some(_) => None,
        None if !placed.is_used() => Some(LeftOut::Unused),
        None if !placed.dated() => Some(LeftOut::Undated),
        None => Some(LeftOut::OfSeveral),
    }
}

/// What else was measured, in sentences.
fn facts(judged: &Judged<'_>, settings: &Settings) -> Vec<String> {
    let (audit, rules) = (&judged.audit, &settings.rules);
    let mut facts = Vec::new();
    let attendance = &audit.attendance;
    if attendance.due > 0 {
        let interrupted = format!("missed in a row of {} or more", rules.interrupted_sessions);
        let otherwise = attendance.modified - attendance.cut_short;
        let counted = [
            (attendance.completed, "in full"),
            (attendance.cut_short, "cut short"),
            (otherwise, "otherwise than planned"),
            (attendance.attended - attendance.completed - attendance.modified, "attended and not to be told"),
            (attendance.missed - attendance.interrupted, "missed"),
            (attendance.interrupted, interrupted.as_str()),
        ];
        let counted = counted.iter().filter(|(count, _)| *count > 0);
        let parts: Vec<String> = counted.map(|(count, what)| format!("{count} {what}")).collect();
        let mean = attendance.mean_completion_pct.map_or_else(String::new, |mean| {
            format!("; the attended ones were done to {mean:.0}\u{202f}% in the mean")
        });
        facts.push(format!("Of {} sessions due: {}{mean}.", attendance.due, parts.join(", ")));
        let by_block = audit.attendance_by_block.iter().map(|(_, label, block)| {
            let dose = block.dose_pct.map_or_else(String::new, |dose| format!(" ({dose:.0}\u{202f}%)"));
            format!("{label}: {} of {}{dose}", block.attended, block.due)
        });
        facts.push(format!(
            "By block, attempted of due and dose: {}.",
            by_block.collect::<Vec<_>>().join(", ")
        ));
    }
    let habit = &audit.habit;
    if let Some(longest) = habit.longest_stretch_days {
        facts.push(format!(
            "Out on {} of the last {} and {} of the last {} days; at most {longest} days from one outing to the next.",
            habit.days_out_short, rules.habit_short_days, habit.days_out_long, rules.habit_long_days
        ));
    }
    facts.extend(farthest_run(judged));
    facts.extend(effort(judged));
    facts.extend(heart_rate_trends(judged, settings.measures.heart_rate_fall.after_s));
    if let Some(rise) = audit.rise_14_days_pct {
        facts.push(format!(
            "Distance run in the last 14 days: {rise:+.0}\u{202f}% against the 14 days before."
        ));
    }
    let others = audit.readiness.iter().rev().filter(|readiness| !is_of_goal(audit, readiness));
    facts.extend(others.map(|readiness| {
        format!("{:.0} km without a break: {}.", readiness.distance_m / 1000.0, readiness.text())
    }));
    facts
}

/// The run that went farthest, where it is not the longest in time.
fn farthest_run(judged: &Judged<'_>) -> Option<String> {
    let runs = judged.longest_runs(judged.day.day);
    let farthest = slip::farthest(&runs)?;
    let metres = farthest.distance_m?;
    let longest = judged.audit.progress.longest.as_ref()?;
    (longest.distance_m < Some(metres)).then(|| {
        format!(
            "The run without a break that went farthest: {} on {}, in {}.",
            distance_text(metres),
            short_day(farthest.day),
            duration_text(farthest.duration_s)
        )
    })
}

/// Heart rate of the newest session that has one, against the largest.
fn effort(judged: &Judged<'_>) -> Option<String> {
    let audit = &judged.audit;
    let newest = audit.outings.iter().rev().find(|audited| audited.effort.run_mean_bpm.is_some())?;
    let day = short_day(judged.outings[newest.outing].day());
    let mut text =
        format!("Heart rate while running on {day}: {:.0} in the mean", newest.effort.run_mean_bpm?);
    if let (Some(max), Some(above)) = (audit.max_heart_rate, newest.effort.above_talkable_pct) {
        let error = max.error_bpm.map_or_else(String::new, |bpm| format!(" ± {bpm:.0}, estimated from age"));
        text += &format!(
            ", {above:.0}\u{202f}% of the time above what usually still allows whole sentences (largest: {:.0}{error})",
            max.bpm
        );
    }
    if let Some(slope) = newest.effort.rep_end_slope_bpm {
        text += &format!("; at the end of the reps {slope:+.1} from rep to rep");
    }
    Some(text + ".")
}

/// How the heart rate changes over the weeks: figures, no judgement of health. Its fall is that of the first `after_s` of a walk.
fn heart_rate_trends(judged: &Judged<'_>, after_s: f64) -> Option<String> {
    let fall = judged.audit.heart_rate_fall_trend_bpm_per_week.map(|bpm| {
        format!("its fall in the first {after_s} s of the walks changes by {bpm:+.1} beats per minute a week, over sessions that ask for the same")
    });
    let per_beat = judged
        .audit
        .metres_per_beat_trend_per_week
        .map(|metres| format!("the metres run for each heartbeat by {metres:+.3} a week"));
    let trends: Vec<String> = fall.into_iter().chain(per_beat).collect();
    (!trends.is_empty()).then(|| format!("Heart rate over the last weeks: {}.", trends.join(", ")))
}

fn planned_session(judged: &Judged<'_>, plan: usize, planned: &Planned) -> PlannedSession {
    let plan = judged.plans[plan].plan;
    let block = &plan.blocks[planned.session.block];
    let recordings = planned.recordings.iter().map(|&audited| {
        let outing = &judged.outings[judged.audit.outings[audited].outing];
        (outing.file.clone(), outing.session as u64)
    });
    PlannedSession {
        block: block.label.clone(),
        session: u64::from(planned.session.number),
        date: planned.day,
        planned: block.session(planned.session.number).text.clone(),
        longest_run_planned_s: Some(block.session(planned.session.number).longest_run_s(plan.speeds)),
        due: planned.due,
        excused: planned.outcome == Outcome::Excused,
        said: planned.outcome == Outcome::Said,
        recordings: recordings.collect(),
    }
}

fn next_session(judged: &Judged<'_>, next: &Next) -> NextSession {
    let block = &judged.plans[next.plan].plan.blocks[next.session.block];
    NextSession {
        block: next.label.clone(),
        session: u64::from(next.session.number),
        date: next.day,
        planned: next.text.clone(),
        between: block.between.as_ref().map(|between| between.text.clone()),
        is_again: slip::was_done_before(judged, next),
        is_shortened: next.is_shortened,
    }
}

fn journal_day(entry: &Entry) -> JournalDay {
    let signs: Vec<&str> = entry.warning_signs.iter().map(|sign| sign.word()).collect();
    JournalDay {
        date: entry.date,
        effort_0_10: entry.effort_0_10,
        talkable: entry.talkable,
        soreness_0_10: entry.soreness_0_10,
        pain_0_10: entry.pain_0_10,
        pain_next_morning: entry.pain_next_morning,
        pain_worse_running: entry.pain_worse_running,
        warning_sign: (!signs.is_empty()).then(|| signs.join(", ")),
        hot: entry.hot,
        coach_decision: entry.coach_decision.map(|verdict| verdict.word().to_owned()),
        note: entry.note.as_deref().map(str::to_owned),
    }
}

fn is_of_goal(audit: &AthleteAudit, readiness: &Readiness) -> bool {
    readiness.distance_m == audit.goal.goal_m
}

fn target(readiness: &Readiness) -> Target {
    let expected = readiness.expected.filter(|_| readiness.done.is_none());
    let note = expected.map_or_else(String::new, |_| format!(" {READINESS_NOTE}"));
    Target {
        distance_m: readiness.distance_m,
        needed_s: expected.map(|expected| expected.needed_s),
        readiness: Some(format!("{}.{note}", readiness.text())),
    }
}

/// To the minute, as the table of athletes has it.
fn time_of_day(minutes: f64) -> Option<NaiveTime> {
    let whole = minutes.round() as u32 % (24 * 60);
    NaiveTime::from_hms_opt(whole / 60, whole % 60, 0)
}

#[cfg(test)]
mod tests {
    use boutwise_season::{Journal, SignWords, Squad};
    use chrono::NaiveDate;

    use super::{JOURNAL_MOST, time_of_day};
    use crate::{Configuration, Inputs, SeasonFiles, audit, unwatched};

    /// As athletes.csv has it, so that page and table never differ by a minute.
    #[test]
    fn the_usual_start_is_rounded_to_the_minute() {
        let text = |minutes| time_of_day(minutes).map(|time| time.format("%H:%M:%S").to_string());
        assert_eq!(text(18.0 * 60.0 + 11.93).as_deref(), Some("18:12:00"));
        assert_eq!(text(1439.7).as_deref(), Some("00:00:00"));
    }

    #[test]
    fn who_is_known_to_be_away_gone_or_not_there_yet_is_not_among_those_not_heard_of() {
        let squad = "athlete,joined,left,away\n\
                     ada,,,2026-03-10..2026-04-05\nbo,,2026-03-20,\ncy,2026-04-07,,\ndi,2026-03-01,2026-05-01,\n";
        let files = SeasonFiles {
            squad: Some(Squad::read(squad.as_bytes(), "squad.csv").unwrap()),
            ..SeasonFiles::default()
        };
        let configuration =
            Configuration { as_of: NaiveDate::from_ymd_opt(2026, 3, 29), ..Configuration::default() };
        let nothing: [(String, Vec<u8>); 0] = [];
        let found = audit(&Inputs::of_bytes("squad", nothing), &files, &configuration, &unwatched).unwrap();
        let silent: Vec<bool> = found.pages.iter().map(|page| page.is_silent).collect();
        assert_eq!(silent, [false, false, false, true]);
    }

    #[test]
    fn of_a_long_journal_a_page_shows_the_newest_entries_and_says_how_many_older_ones_there_are() {
        let row = |at: usize| format!("ada,2026-0{}-01,said {at}\n", 1 + at * 6 / (JOURNAL_MOST + 200));
        let rows: String = (0..JOURNAL_MOST + 200).map(row).collect();
        let text = format!("athlete,date,note\n{rows}");
        let files = SeasonFiles {
            squad: Some(Squad::read(b"athlete\nada\n", "squad.csv").unwrap()),
            journal: Journal::read(text.as_bytes(), "journal.csv", &SignWords::default()).unwrap(),
            ..SeasonFiles::default()
        };
        let configuration =
            Configuration { as_of: NaiveDate::from_ymd_opt(2026, 7, 1), ..Configuration::default() };
        let nothing: [(String, Vec<u8>); 0] = [];
        let found = audit(&Inputs::of_bytes("squad", nothing), &files, &configuration, &unwatched).unwrap();
        let shown = &found.pages[0];
        assert_eq!((shown.journal.len(), shown.journal_left_out), (JOURNAL_MOST, 200));
        assert_eq!(shown.journal[0].note.as_deref(), Some("said 200"));
    }
}

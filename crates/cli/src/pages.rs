//! What the report shows of an athlete beyond the tables.

use boutwise_report::{AthleteExtras, Habit, JournalDay, NextSession, PlannedSession, Target, duration_text};
use boutwise_season::{
    Caution, Entry, NextSession as Next, PlannedSession as Planned, READINESS_NOTE, Readiness,
};
use chrono::NaiveTime;

use crate::judge::Judged;

/// Everything that the page of one athlete shows beyond the tables.
pub(crate) fn extras(judged: &Judged<'_>) -> AthleteExtras {
    let audit = &judged.audit;
    AthleteExtras {
        athlete: judged.name.clone(),
        plan_title: judged.plans.last().map(|used| used.plan.title.clone()),
        calendar: audit
            .planned
            .iter()
            .map(|(plan, planned)| planned_session(judged, *plan, planned))
            .collect(),
        journal: judged.journal.iter().map(|entry| journal_day(entry)).collect(),
        // That it is no medical advice stands on every page.
        cautions: audit.cautions.iter().copied().filter(|caution| *caution != Caution::NoAdvice).collect(),
        notes: Vec::new(),
        habit: audit.habit.usual_time_min.map(|usual| Habit {
            usual_time: usual.mean.and_then(time_of_day),
            spread_min: usual.standard_deviation,
        }),
        target: audit.readiness.last().map(target),
        next: audit.next.as_ref().map(|next| next_session(judged, next)),
        no_run_before: audit.no_run_before,
    }
}

fn planned_session(judged: &Judged<'_>, plan: usize, planned: &Planned) -> PlannedSession {
    let plan = judged.plans[plan].plan;
    let block = &plan.blocks[planned.session.block];
    let recording = planned.recordings.first().map(|&audited| {
        let outing = &judged.outings[judged.audit.outings[audited].outing];
        (outing.file.clone(), outing.session as u64)
    });
    PlannedSession {
        block: block.label.clone(),
        session: u64::from(planned.session.number),
        date: planned.day,
        planned: block.session.text.clone(),
        longest_run_planned_s: Some(block.session.longest_run_s(plan.speeds)),
        due: planned.due,
        recording,
    }
}

fn next_session(judged: &Judged<'_>, next: &Next) -> NextSession {
    let block = &judged.plans[next.plan].plan.blocks[next.session.block];
    let planned = judged
        .audit
        .planned
        .iter()
        .find(|(plan, planned)| *plan == next.plan && planned.session == next.session);
    NextSession {
        block: next.label.clone(),
        session: u64::from(next.session.number),
        date: planned.and_then(|(_, planned)| planned.day.filter(|_| !planned.due)),
        planned: next.text.clone(),
        between: block.between.as_ref().map(|between| between.text.clone()),
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
        note: entry.note.clone(),
    }
}

fn target(readiness: &Readiness) -> Target {
    Target {
        distance_m: readiness.distance_m,
        needed_s: Some(readiness.needed_s),
        readiness: Some(format!(
            "{}: the longest unbroken run is {:.0}\u{202f}% of the {} to {} that it would take. {READINESS_NOTE}",
            readiness.nearness.words(),
            100.0 * readiness.share,
            duration_text(readiness.range_s.0),
            duration_text(readiness.range_s.1),
        )),
    }
}

fn time_of_day(minutes: f64) -> Option<NaiveTime> {
    NaiveTime::from_num_seconds_from_midnight_opt((60.0 * minutes).round() as u32 % 86_400, 0)
}

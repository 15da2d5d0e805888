//! What the slip of a person says beyond the tables: why a step is held, whose word stops it, and how far the farthest run was.

use boutwise_bouts::{Bout, Kind};
use boutwise_report::HoldCause;
use boutwise_season::{LongestRun, NextSession, Role, Rules, Verdict};
use chrono::NaiveDate;

use crate::judge::Judged;

/// Why the step is held, as far as the newest session and the journal tell; `None` where it is not, or by the coach's word.
///
/// The order is that of the rules of a proposal, whose reasons are sentences.
pub(crate) fn hold_cause(judged: &Judged<'_>, rules: &Rules) -> Option<HoldCause> {
    let (audit, proposal) = (&judged.audit, &judged.audit.proposal);
    if audit.coach_decision.is_some() || proposal.verdict != Some(Verdict::Hold) {
        return None;
    }
    if proposal.rest_days > 0 {
        return Some(HoldCause::Pain);
    }
    if proposal.slower_days > 0 {
        return Some(HoldCause::Hard);
    }
    let is_laid = |role: Role| matches!(role, Role::Session(_));
    let newest = audit.outings.iter().rfind(|audited| is_laid(audited.role) && audited.matched.is_some())?;
    let running = newest.matched.as_ref()?.running.as_ref()?;
    if running.dose_pct < rules.complete_advance_pct {
        Some(HoldCause::Short)
    } else if running.overdone_pct > rules.overdone_good_pct {
        // Overdone allows for the error of edges; a person is told what the clock says.
        let runs = judged.outings[newest.outing].bouts.iter().filter(|bout| bout.kind == Kind::Run);
        let beyond_s = runs.map(Bout::duration_s).sum::<f64>() - running.planned_s;
        Some(HoldCause::Overdone { run_s: beyond_s.max(running.overdone_pct / 100.0 * running.planned_s) })
    } else if running.breaks_pct < rules.breaks_good_pct {
        Some(HoldCause::WalksNotKept)
    } else {
        let day = judged.outings[newest.outing].day();
        let hard = judged.journal.iter().filter(|entry| entry.date == day).any(|entry| {
            entry.talkable == Some(false) || entry.effort_0_10.is_some_and(|effort| effort > rules.effort_ok)
        });
        hard.then_some(HoldCause::Hard)
    }
}

/// Whether the session that comes next was done before.
pub(crate) fn was_done_before(judged: &Judged<'_>, next: &NextSession) -> bool {
    judged.audit.planned.iter().any(|(plan, planned)| {
        (*plan, planned.session) == (next.plan, next.session) && !planned.recordings.is_empty()
    })
}

/// The day of the newest warning sign that no word of the coach but `stop` has followed.
fn open_sign(judged: &Judged<'_>) -> Option<NaiveDate> {
    let up_to_now = judged.journal.iter().filter(|entry| judged.day.day.is_none_or(|day| entry.date <= day));
    let mut open = None;
    for entry in up_to_now {
        // A word of the sign's own day does not answer it.
        if entry.coach_decision.is_some_and(|verdict| verdict != Verdict::Stop) {
            open = open.filter(|sign| *sign >= entry.date);
        }
        if !entry.warning_signs.is_empty() {
            open = Some(entry.date);
        }
    }
    open
}

/// Whether the coach alone stops: no warning sign stands.
pub(crate) fn is_paused(judged: &Judged<'_>) -> bool {
    !judged.audit.tells_progress()
        && judged.audit.proposal.verdict != Some(Verdict::Stop)
        && open_sign(judged).is_none()
}

/// The day from which running is stopped, where it is.
pub(crate) fn stopped_on(judged: &Judged<'_>) -> Option<NaiveDate> {
    if judged.audit.tells_progress() {
        return None;
    }
    let by_coach = judged.audit.coach_decision.map(|(day, _)| day);
    open_sign(judged).into_iter().chain(by_coach).min()
}

/// The run without a break that went farthest, the first of equals: not always the longest in time.
pub(crate) fn farthest(runs: &[LongestRun]) -> Option<&LongestRun> {
    let metres = |run: &LongestRun| run.distance_m.unwrap_or(0.0);
    let known = runs.iter().filter(|run| run.distance_m.is_some());
    known.reduce(|farthest, run| if metres(run) > metres(farthest) { run } else { farthest })
}

#[cfg(test)]
mod tests {
    use boutwise_season::{Journal, SignWords, Squad};

    use super::*;
    use crate::{Configuration, Inputs, SeasonFiles, audit, unwatched};

    /// Whether the coach's own `stop` alone stands by a journal, and since when running is stopped.
    fn stopped(rows: &str) -> (bool, bool, Option<NaiveDate>) {
        let text = format!("athlete,date,warning_sign,coach_decision\n{rows}");
        let files = SeasonFiles {
            squad: Some(Squad::read(b"athlete\nada\n", "squad.csv").unwrap()),
            journal: Journal::read(text.as_bytes(), "journal.csv", &SignWords::default()).unwrap(),
            ..SeasonFiles::default()
        };
        let nothing: [(String, Vec<u8>); 0] = [];
        let inputs = Inputs::of_bytes("squad", nothing);
        let found = audit(&inputs, &files, &Configuration::default(), &unwatched).unwrap();
        let page = &found.pages[0];
        (page.is_stopped, page.is_paused, page.stopped_on)
    }

    /// Safety first: the words for emergencies stand wherever a sign does, also one that the coach has answered with `stop`.
    #[test]
    fn only_a_stop_without_any_sign_is_the_coachs_own() {
        let day = |text: &str| text.parse().ok();
        for (rows, expected) in [
            ("ada,2026-03-22,,stop\n", (true, true, day("2026-03-22"))),
            ("ada,2026-03-22,chest,\n", (true, false, day("2026-03-22"))),
            ("ada,2026-03-20,chest,\nada,2026-03-22,,stop\n", (true, false, day("2026-03-20"))),
            (
                "ada,2026-03-20,chest,\nada,2026-03-21,,advance\nada,2026-03-22,,stop\n",
                (true, true, day("2026-03-22")),
            ),
            ("ada,2026-03-22,chest,stop\n", (true, false, day("2026-03-22"))),
            ("ada,2026-03-20,chest,\nada,2026-03-21,,advance\n", (false, false, None)),
        ] {
            assert_eq!(stopped(rows), expected, "{rows}");
        }
    }
}

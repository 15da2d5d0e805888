//! What the slip of a person says beyond the tables: why a step is held, and how far the farthest run was.

use boutwise_bouts::{Bout, Kind};
use boutwise_season::{AthleteAudit, HoldCause, LongestRun, NextSession, Role};

use crate::judge::Judged;

/// Seconds run beyond the plan in the newest session and on its day, where that is why the step is held.
pub(crate) fn overdone_s(judged: &Judged<'_>) -> Option<f64> {
    let audit = &judged.audit;
    if hold_cause(audit) != Some(HoldCause::Overdone) {
        return None;
    }
    let is_laid = |role: Role| matches!(role, Role::Session(_));
    let newest = audit.outings.iter().rfind(|audited| is_laid(audited.role) && audited.matched.is_some())?;
    let matched = newest.matched.as_ref()?;
    // Overdone allows for the error of edges; a person is told what the clock says.
    let runs = judged.outings[newest.outing].bouts.iter().filter(|bout| bout.kind == Kind::Run);
    let asked_s = matched.running.as_ref().map_or(0.0, |running| running.planned_s);
    let beyond_s = runs.map(Bout::duration_s).sum::<f64>() - asked_s;
    Some(beyond_s.max(matched.overdone_pct / 100.0 * matched.asked_s) + newest.run_beside_s)
}

/// Why the step is held, where it is, and not by the coach's word.
pub(crate) fn hold_cause(audit: &AthleteAudit) -> Option<HoldCause> {
    audit.proposal.hold_cause.filter(|_| audit.coach_decision.is_none())
}

/// Whether the session that comes next was done before.
pub(crate) fn was_done_before(judged: &Judged<'_>, next: &NextSession) -> bool {
    judged.audit.planned.iter().any(|(plan, planned)| {
        (*plan, planned.session) == (next.plan, next.session) && !planned.recordings.is_empty()
    })
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
    use chrono::NaiveDate;

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

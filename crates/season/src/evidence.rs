//! What the matches and the journal say about the sessions of a block, as the proposal wants it.

use boutwise_bouts::SessionMatch;
use chrono::NaiveDate;

use crate::{Entry, Rules, SessionEvidence, Verdict, WarningSign};

/// Evidence of one session from its match, without the journal.
pub(crate) fn from_match(
    matched: &SessionMatch,
    has_runs: bool,
    pace_drift_pct: Option<f64>,
) -> SessionEvidence {
    match &matched.running {
        Some(running) => SessionEvidence {
            dose_pct: running.dose_pct,
            breaks_pct: (running.reps.planned > 1).then_some(running.breaks_pct),
            overdone_pct: running.overdone_pct,
            reps_done: running.reps.done,
            reps_planned: running.reps.planned,
            walked: !has_runs,
            pace_drift_pct,
            ..SessionEvidence::default()
        },
        None => SessionEvidence { dose_pct: matched.adherence_pct, ..SessionEvidence::default() },
    }
}

/// The journal of one athlete up to a day.
pub(crate) struct Notes<'a> {
    entries: Vec<&'a Entry>,
}

impl<'a> Notes<'a> {
    pub(crate) fn new(entries: &[&'a Entry], as_of: NaiveDate) -> Self {
        let mut entries: Vec<&Entry> = entries.iter().copied().filter(|entry| entry.date <= as_of).collect();
        entries.sort_by_key(|entry| entry.date);
        Self { entries }
    }

    /// Sessions on their days, oldest first, with what was noted of each.
    pub(crate) fn added_to(&self, mut sessions: Vec<(SessionEvidence, NaiveDate)>) -> Vec<SessionEvidence> {
        let days: Vec<NaiveDate> = sessions.iter().map(|(_, day)| *day).collect();
        for (at, (evidence, day)) in sessions.iter_mut().enumerate() {
            let next = days[at + 1..].iter().copied().find(|next| next > day);
            self.add_to(evidence, *day, next);
        }
        sessions.into_iter().map(|(evidence, _)| evidence).collect()
    }

    /// Adds what was noted to a session on `day`: effort and speech of the day itself; soreness and pain up to the
    /// day before the next session. Of several entries the gravest counts.
    fn add_to(&self, evidence: &mut SessionEvidence, day: NaiveDate, next: Option<NaiveDate>) {
        let until_next = |entry: &&&Entry| {
            entry.date >= day && (entry.date == day || next.is_none_or(|next| entry.date < next))
        };
        for entry in self.entries.iter().filter(until_next) {
            if entry.date == day {
                graver(&mut evidence.effort_0_10, entry.effort_0_10);
                evidence.talkable = match (evidence.talkable, entry.talkable) {
                    (Some(known), Some(noted)) => Some(known && noted),
                    (known, noted) => known.or(noted),
                };
            }
            graver(&mut evidence.soreness_0_10, entry.soreness_0_10);
            graver(&mut evidence.pain_0_10, entry.pain_0_10);
            either(&mut evidence.pain_next_morning, entry.pain_next_morning);
            either(&mut evidence.pain_worse_running, entry.pain_worse_running);
        }
    }

    /// Warning signs that the coach has not answered on a later day by a decision other than stop.
    pub(crate) fn open_warning_signs(&self) -> Vec<(NaiveDate, WarningSign)> {
        let answered = self
            .entries
            .iter()
            .filter(|entry| entry.coach_decision.is_some_and(|decision| decision != Verdict::Stop))
            .map(|entry| entry.date)
            .max();
        self.entries
            .iter()
            .filter(|entry| answered.is_none_or(|answered| entry.date >= answered))
            .flat_map(|entry| entry.warning_signs.iter().map(|sign| (entry.date, *sign)))
            .collect()
    }

    /// The coach's newest decision, if no session was recorded after it.
    pub(crate) fn coach_decision(&self, newest_session: Option<NaiveDate>) -> Option<(NaiveDate, Verdict)> {
        let newest = self.entries.iter().rev().find_map(|entry| Some((entry.date, entry.coach_decision?)))?;
        newest_session.is_none_or(|session| session <= newest.0).then_some(newest)
    }

    /// Whether heat was noted in the last days.
    pub(crate) fn is_hot(&self, as_of: NaiveDate, rules: &Rules) -> bool {
        self.entries.iter().any(|entry| {
            entry.hot == Some(true) && (as_of - entry.date).num_days() < i64::from(rules.heat_note_days)
        })
    }
}

fn graver(known: &mut Option<f64>, noted: Option<f64>) {
    *known = match (*known, noted) {
        (Some(a), Some(b)) => Some(a.max(b)),
        (a, b) => a.or(b),
    };
}

fn either(known: &mut Option<bool>, noted: Option<bool>) {
    *known = match (*known, noted) {
        (Some(a), Some(b)) => Some(a || b),
        (a, b) => a.or(b),
    };
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2026, 3, day).unwrap()
    }

    #[test]
    fn pain_noted_on_the_days_after_a_session_belongs_to_it() {
        let effort = Entry { effort_0_10: Some(3.0), pain_0_10: Some(0.0), ..Entry::new("a", day(2)) };
        let after = Entry { pain_0_10: Some(4.0), effort_0_10: Some(9.0), ..Entry::new("a", day(3)) };
        let next = Entry { pain_0_10: Some(8.0), ..Entry::new("a", day(4)) };
        let notes = Notes::new(&[&next, &after, &effort], day(10));
        let mut evidence = SessionEvidence::default();
        notes.add_to(&mut evidence, day(2), Some(day(4)));
        assert_eq!((evidence.effort_0_10, evidence.pain_0_10), (Some(3.0), Some(4.0)));
    }

    #[test]
    fn a_warning_sign_stands_until_the_coach_decides_on_a_later_day() {
        let sign = Entry {
            warning_signs: vec![WarningSign::Dizzy],
            coach_decision: Some(Verdict::Hold),
            ..Entry::new("a", day(2))
        };
        let stop = Entry { coach_decision: Some(Verdict::Stop), ..Entry::new("a", day(4)) };
        let later = Entry { coach_decision: Some(Verdict::Ease), ..Entry::new("a", day(5)) };
        assert_eq!(Notes::new(&[&sign], day(9)).open_warning_signs().len(), 1);
        assert_eq!(Notes::new(&[&sign, &stop], day(9)).open_warning_signs().len(), 1);
        assert_eq!(Notes::new(&[&sign, &stop, &later], day(9)).open_warning_signs(), []);
        assert_eq!(Notes::new(&[&sign, &stop, &later], day(4)).open_warning_signs().len(), 1);
    }
}

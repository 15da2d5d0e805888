//! What the matches and the journal say about the sessions of a plan, as the proposal wants it.

use std::collections::BTreeMap;

use boutwise_bouts::{Event, SessionMatch};
use chrono::{Days, NaiveDate};

use crate::wording::list;
use crate::{Entry, Outcome, Remark, Rules, SessionEvidence, Verdict, WarningSign};

/// Evidence of one session from its match, without the journal.
pub(crate) fn from_match(
    matched: &SessionMatch,
    outcome: Outcome,
    events: &[Event],
    pace_drift_pct: Option<f64>,
) -> SessionEvidence {
    let overdone_pct = matched.overdone_pct;
    match &matched.running {
        Some(running) => SessionEvidence {
            dose_pct: running.dose_pct,
            breaks_pct: (running.reps.planned > 1).then_some(running.breaks_pct),
            overdone_pct,
            reps_done: running.reps.done,
            reps_planned: running.reps.planned,
            walked: outcome == Outcome::Walked,
            happened: Remark::on_running(events),
            pace_drift_pct,
            ..SessionEvidence::default()
        },
        // What was run in place of a walk is more than was asked for, and no less.
        None => SessionEvidence {
            dose_pct: (matched.adherence_pct + overdone_pct).min(100.0),
            overdone_pct,
            ..SessionEvidence::default()
        },
    }
}

/// A warning sign in the journal.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NotedSign {
    /// The day of the entry.
    pub date: NaiveDate,
    /// The sign.
    pub sign: WarningSign,
    /// The words that were not understood, for [`WarningSign::Other`].
    pub not_understood: Option<Box<str>>,
}

/// The coach's decisions by day, whatever the order of the entries: an athlete's own outranks the group's, and of several the
/// most careful stands. Her own stop stands until her own next word, whatever is said to the group.
pub(crate) fn decisions<'a>(entries: impl IntoIterator<Item = &'a Entry>) -> Vec<(NaiveDate, Verdict)> {
    let mut is_stopped = false;
    let stands = |(date, said): (NaiveDate, Said<Verdict>)| {
        if said.is_own {
            is_stopped = said.what == Verdict::Stop;
        }
        (said.is_own || !is_stopped).then_some((date, said.what))
    };
    by_day(entries, |entry| entry.coach_decision).into_iter().filter_map(stands).collect()
}

/// The days on which what falls due is neither due nor missed: an athlete's own word outranks the group's.
pub(crate) fn excused_days<'a>(entries: impl IntoIterator<Item = &'a Entry>) -> Vec<NaiveDate> {
    let said = by_day(entries, |entry| entry.excused);
    said.into_iter().filter(|(_, excused)| excused.what).map(|(date, _)| date).collect()
}

/// What was said on a day: an athlete's own word is larger than the group's.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
struct Said<T> {
    is_own: bool,
    what: T,
}

/// What entries say by day: an athlete's own outranks the group's, of several the largest stands.
fn by_day<'a, T: Ord + Copy>(
    entries: impl IntoIterator<Item = &'a Entry>,
    said: impl Fn(&Entry) -> Option<T>,
) -> BTreeMap<NaiveDate, Said<T>> {
    let mut by_day: BTreeMap<NaiveDate, Said<T>> = BTreeMap::new();
    for entry in entries {
        if let Some(what) = said(entry) {
            let said = Said { is_own: !entry.of_group, what };
            by_day.entry(entry.date).and_modify(|known| *known = said.max(*known)).or_insert(said);
        }
    }
    by_day
}

/// The journal of one athlete up to a day.
pub(crate) struct Notes<'a> {
    /// Entries by day; on one day those of the group first.
    entries: Vec<&'a Entry>,
    /// Entries after the day.
    later: Vec<&'a Entry>,
    /// The coach's decisions by day.
    decisions: Vec<(NaiveDate, Verdict)>,
    as_of: NaiveDate,
}

impl<'a> Notes<'a> {
    pub(crate) fn new(entries: &[&'a Entry], as_of: NaiveDate) -> Self {
        let mut entries = entries.to_vec();
        entries.sort_by_key(|entry| (entry.date, !entry.of_group));
        let later = entries.split_off(entries.partition_point(|entry| entry.date <= as_of));
        // A word for a whole group that is newer than the day makes nobody's day, and is not lost: it stands in the proposal.
        let of_group = later.iter().filter(|entry| entry.of_group);
        let decisions = decisions(entries.iter().chain(of_group).copied());
        Self { entries, later, decisions, as_of }
    }

    /// Sessions on their days, oldest first, with what was noted of each.
    ///
    /// What was noted on the day of a session or later belongs to the newest session by then; what was noted after the day after
    /// it belongs to the session that follows too.
    pub(crate) fn added_to(&self, mut sessions: Vec<(SessionEvidence, NaiveDate)>) -> Vec<SessionEvidence> {
        let days: Vec<NaiveDate> = sessions.iter().map(|(_, day)| *day).collect();
        sessions.iter_mut().for_each(|(evidence, day)| evidence.day = Some(*day));
        for entry in &self.entries {
            let after = days.partition_point(|day| *day <= entry.date);
            let newest = after.checked_sub(1).map(|at| days[at]);
            let is_soon = newest.is_some_and(|day| (entry.date - day).num_days() <= 1);
            let following = days.get(after).copied().filter(|_| !is_soon);
            for (evidence, day) in &mut sessions {
                if Some(*day) == newest {
                    add_own(evidence, entry);
                } else if Some(*day) == following {
                    add_before(evidence, entry);
                }
            }
        }
        sessions.into_iter().map(|(evidence, _)| evidence).collect()
    }

    /// What was noted where there is no session that it could belong to.
    pub(crate) fn without_session(&self) -> SessionEvidence {
        let mut evidence = SessionEvidence::default();
        self.entries.iter().for_each(|entry| add_before(&mut evidence, entry));
        evidence
    }

    /// Warning signs that the coach has not answered on a later day by a decision other than stop for this athlete: a word for a
    /// group answers nobody's.
    pub(crate) fn open_warning_signs(&self) -> Vec<NotedSign> {
        let answered = self.answered();
        self.signs().filter(|sign| answered.is_none_or(|answered| sign.date >= answered)).collect()
    }

    /// The day of the newest decision of the coach other than stop for this athlete: signs that were noted before it are answered.
    fn answered(&self) -> Option<NaiveDate> {
        let own = decisions(self.entries.iter().copied().filter(|entry| !entry.of_group));
        own.into_iter().rfind(|(_, decision)| *decision != Verdict::Stop).map(|(date, _)| date)
    }

    /// A sentence that a newer word for the group lifts no stop that was called for on a day; `None` where there is none.
    pub(crate) fn not_lifted(&self, stopped_on: NaiveDate) -> Option<String> {
        let newer =
            self.entries.iter().chain(&self.later).filter(|entry| entry.of_group && entry.date > stopped_on);
        let mut words = newer.filter_map(|entry| Some((entry.date, entry.coach_decision?)));
        let (date, word) = words.rfind(|(_, word)| *word != Verdict::Stop)?;
        Some(format!(
            "{word} for the whole group on {date} does not lift it: that takes a row of their own",
            word = word.word()
        ))
    }

    fn signs(&self) -> impl Iterator<Item = NotedSign> {
        self.entries.iter().flat_map(|entry| {
            entry.warning_signs.iter().map(|sign| NotedSign {
                date: entry.date,
                sign: *sign,
                not_understood: (entry.sign_not_understood.clone()).filter(|_| *sign == WarningSign::Other),
            })
        })
    }

    /// The coach's newest decision, if no session was recorded after it or it is stop. An open sign that was noted on its
    /// day or later is not answered by it.
    pub(crate) fn coach_decision(&self, newest_session: Option<NaiveDate>) -> Option<(NaiveDate, Verdict)> {
        let newest = *self.decisions.last()?;
        let is_overtaken = newest_session.is_some_and(|session| session > newest.0);
        (newest.1 == Verdict::Stop || !is_overtaken).then_some(newest)
    }

    /// A sentence that names each pain, each sign already answered, and what was hard or sore: those after the last good
    /// session and of the last days; `None` where there are none.
    pub(crate) fn named(&self, last_good: Option<NaiveDate>, rules: &Rules) -> Option<String> {
        let from = self.as_of.checked_sub_days(Days::new(u64::from(rules.name_notes_days)));
        let counts = |date: NaiveDate| last_good.is_none_or(|good| date > good);
        let open = self.open_warning_signs();
        let named: Vec<String> = (self.entries.iter())
            .filter(|entry| counts(entry.date) || from.is_none_or(|from| entry.date >= from))
            .filter_map(|entry| {
                let mut said = pain(entry);
                said.extend(
                    (entry.soreness_0_10.filter(|soreness| *soreness >= rules.soreness_ease))
                        .map(|soreness| format!("soreness {soreness} of 10")),
                );
                said.extend(
                    (entry.effort_0_10.filter(|effort| *effort >= rules.effort_hard))
                        .map(|effort| format!("effort {effort} of 10")),
                );
                let answered = |sign: &&WarningSign| {
                    !open.iter().any(|open| (open.date, &open.sign) == (entry.date, *sign))
                };
                said.extend(
                    (entry.warning_signs.iter().filter(answered))
                        .map(|sign| format!("{} (answered by the coach)", sign.word())),
                );
                (!said.is_empty()).then(|| format!("{} on {}", said.join(", "), entry.date))
            })
            .collect();
        (!named.is_empty()).then(|| format!("noted: {}", list(&named)))
    }

    /// What was noted on or after the day of the coach's decision and is not answered by it.
    pub(crate) fn unanswered(&self, decided: NaiveDate) -> Option<String> {
        let noted: Vec<String> = (self.entries.iter())
            .filter(|entry| entry.date >= decided)
            .filter_map(|entry| {
                let said = pain(entry);
                (!said.is_empty()).then(|| format!("{} on {}", said.join(", "), entry.date))
            })
            .collect();
        (!noted.is_empty()).then(|| {
            format!(
                "ask: the coach's word of {decided} does not answer what was noted since: {}",
                list(&noted)
            )
        })
    }

    /// A sentence for signs and pain after the day judged from, which are left out.
    pub(crate) fn left_out(&self) -> Option<String> {
        let noted: Vec<String> = (self.later.iter())
            .filter_map(|entry| {
                let mut said: Vec<String> =
                    entry.warning_signs.iter().map(|sign| sign.word().to_owned()).collect();
                said.extend(pain(entry));
                (!said.is_empty()).then(|| format!("{} on {}", said.join(", "), entry.date))
            })
            .collect();
        (!noted.is_empty()).then(|| format!("left out, since it lies after {}: {}", self.as_of, list(&noted)))
    }

    /// The newest day on which pain was noted.
    pub(crate) fn newest_pain(&self) -> Option<NaiveDate> {
        self.entries.iter().rfind(|entry| !pain(entry).is_empty()).map(|entry| entry.date)
    }

    /// The newest day on which they were noted to be sore.
    pub(crate) fn newest_soreness(&self, rules: &Rules) -> Option<NaiveDate> {
        let is_sore =
            |entry: &&&Entry| entry.soreness_0_10.is_some_and(|soreness| soreness >= rules.soreness_ease);
        self.entries.iter().rfind(is_sore).map(|entry| entry.date)
    }

    /// Whether heat was noted in the last days.
    pub(crate) fn is_hot(&self, as_of: NaiveDate, rules: &Rules) -> bool {
        self.entries.iter().any(|entry| {
            entry.hot == Some(true) && (as_of - entry.date).num_days() < i64::from(rules.heat_note_days)
        })
    }
}

/// The pain of an entry in words; empty without any.
fn pain(entry: &Entry) -> Vec<String> {
    let level = entry.pain_0_10.filter(|pain| *pain > 0.0);
    let (lasting, growing) = (entry.pain_next_morning == Some(true), entry.pain_worse_running == Some(true));
    let first = match level {
        Some(pain) => Some(format!("pain {pain} of 10")),
        None => (lasting || growing).then(|| "pain".to_owned()),
    };
    let Some(mut said) = first else { return Vec::new() };
    if lasting {
        said.push_str(", still there next morning");
    }
    if growing {
        said.push_str(", growing while running");
    }
    vec![said]
}

/// Adds what was noted of a session. Of several entries the gravest counts.
fn add_own(evidence: &mut SessionEvidence, entry: &Entry) {
    graver(&mut evidence.effort_0_10, entry.effort_0_10);
    less_speech(&mut evidence.talkable, entry.talkable);
    graver(&mut evidence.soreness_0_10, entry.soreness_0_10);
    add_pain(evidence, entry);
}

/// Adds what was noted before a session, long after the one before it.
fn add_before(evidence: &mut SessionEvidence, entry: &Entry) {
    graver(&mut evidence.effort_before_0_10, entry.effort_0_10);
    less_speech(&mut evidence.talkable_before, entry.talkable);
    graver(&mut evidence.soreness_before_0_10, entry.soreness_0_10);
    add_pain(evidence, entry);
}

fn add_pain(evidence: &mut SessionEvidence, entry: &Entry) {
    graver(&mut evidence.pain_0_10, entry.pain_0_10);
    either(&mut evidence.pain_next_morning, entry.pain_next_morning);
    either(&mut evidence.pain_worse_running, entry.pain_worse_running);
}

fn graver(known: &mut Option<f64>, noted: Option<f64>) {
    *known = match (*known, noted) {
        (Some(a), Some(b)) => Some(a.max(b)),
        (a, b) => a.or(b),
    };
}

fn less_speech(known: &mut Option<bool>, noted: Option<bool>) {
    *known = match (*known, noted) {
        (Some(a), Some(b)) => Some(a && b),
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

    fn pain_on(on: u32, pain: f64) -> Entry {
        Entry { pain_0_10: Some(pain), ..Entry::new("a", day(on)) }
    }

    /// The pain of sessions on some days.
    fn pains(on: &[u32], noted: Entry) -> Vec<Option<f64>> {
        let sessions = on.iter().map(|on| (SessionEvidence::default(), day(*on))).collect();
        Notes::new(&[&noted], day(30)).added_to(sessions).iter().map(|session| session.pain_0_10).collect()
    }

    #[test]
    fn pain_belongs_to_its_session_and_what_comes_later_to_the_next_one_too() {
        let (none, some) = (None, Some(4.0));
        for (on, expected) in [
            (1, [some, none, none]),
            (2, [some, none, none]),
            (3, [some, none, none]),
            (4, [some, some, none]),
            (6, [none, some, none]),
            (8, [none, none, some]),
            (20, [none, none, some]),
        ] {
            assert_eq!(pains(&[2, 6, 8], pain_on(on, 4.0)), expected, "day {on}");
        }
        // On two days in a row each session has its own; on one day both have it.
        assert_eq!(pains(&[2, 3, 9], pain_on(3, 4.0)), [none, some, none]);
        assert_eq!(pains(&[2, 2, 9], pain_on(2, 4.0)), [some, some, none]);
    }

    #[test]
    fn effort_and_speech_belong_to_the_session_before_and_after_a_day_to_the_next_one_too() {
        let of = |on| {
            let noted = Entry { effort_0_10: Some(9.0), talkable: Some(false), ..Entry::new("a", day(on)) };
            let sessions = [2, 6].map(|on| (SessionEvidence::default(), day(on))).to_vec();
            let evidence = Notes::new(&[&noted], day(30)).added_to(sessions);
            let told = |effort: Option<f64>, talkable: Option<bool>| {
                assert_eq!(effort.is_some(), talkable.is_some());
                effort.is_some()
            };
            let of = |session: &SessionEvidence| {
                (
                    told(session.effort_0_10, session.talkable),
                    told(session.effort_before_0_10, session.talkable_before),
                )
            };
            [of(&evidence[0]), of(&evidence[1])]
        };
        let (none, own, before) = ((false, false), (true, false), (false, true));
        assert_eq!(
            [1, 2, 3, 4, 6, 8].map(of),
            [[before, none], [own, none], [own, none], [own, before], [none, own], [none, own],]
        );
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
        let of_group = Entry { of_group: true, ..later };
        assert_eq!(Notes::new(&[&sign, &of_group], day(9)).open_warning_signs().len(), 1);
    }

    #[test]
    fn the_coachs_word_stands_until_a_session_and_a_stop_until_the_next_word() {
        let decided = |verdict| Entry { coach_decision: Some(verdict), ..Entry::new("a", day(4)) };
        let (hold, stop) = (decided(Verdict::Hold), decided(Verdict::Stop));
        assert_eq!(Notes::new(&[&hold], day(9)).coach_decision(Some(day(4))), Some((day(4), Verdict::Hold)));
        assert_eq!(Notes::new(&[&hold], day(9)).coach_decision(Some(day(5))), None);
        assert_eq!(Notes::new(&[&stop], day(9)).coach_decision(Some(day(5))), Some((day(4), Verdict::Stop)));
        // A later word for her group is newer than her hold, and lifts no stop of hers.
        let of_group = Entry { of_group: true, date: day(5), ..decided(Verdict::Advance) };
        assert_eq!(
            Notes::new(&[&hold, &of_group], day(9)).coach_decision(None),
            Some((day(5), Verdict::Advance))
        );
        assert_eq!(
            Notes::new(&[&stop, &of_group], day(9)).coach_decision(None),
            Some((day(4), Verdict::Stop))
        );
        assert_eq!(
            Notes::new(&[&stop, &of_group], day(4)).coach_decision(None),
            Some((day(4), Verdict::Stop))
        );
        let own = Entry { of_group: false, ..of_group.clone() };
        assert_eq!(Notes::new(&[&stop, &own], day(9)).coach_decision(None), Some((day(5), Verdict::Advance)));
        // On one day the athlete's own row outranks the group's.
        let group = Entry { of_group: true, ..decided(Verdict::Advance) };
        assert_eq!(Notes::new(&[&hold, &group], day(9)).coach_decision(None), Some((day(4), Verdict::Hold)));
    }

    #[test]
    fn what_lies_after_the_day_is_said_and_nothing_else() {
        let (early, late) = (pain_on(2, 3.0), pain_on(12, 3.0));
        let notes = Notes::new(&[&early, &late], day(9));
        assert_eq!(
            notes.left_out().unwrap(),
            "left out, since it lies after 2026-03-09: pain 3 of 10 on 2026-03-12"
        );
        assert_eq!(notes.named(None, &Rules::default()).unwrap(), "noted: pain 3 of 10 on 2026-03-02");
        // Named for two weeks even after a good session, longer only before the first one.
        let late = Notes::new(&[&early], day(16));
        assert!(late.named(Some(day(8)), &Rules::default()).is_some());
        let later = Notes::new(&[&early], day(17));
        assert!(later.named(Some(day(8)), &Rules::default()).is_none());
        assert!(later.named(Some(day(1)), &Rules::default()).is_some());
    }

    #[test]
    fn an_athletes_own_word_of_being_excused_outranks_the_groups() {
        let day = |day| NaiveDate::from_ymd_opt(2026, 3, day).unwrap();
        let said = |on: u32, of_group: bool, excused: bool| Entry {
            excused: Some(excused),
            of_group,
            ..Entry::new("a", day(on))
        };
        let entries =
            [said(2, true, true), said(2, false, false), said(4, true, false), said(4, false, true)];
        assert_eq!(excused_days(&entries), [day(4)]);
        assert_eq!(excused_days(entries.iter().rev()), [day(4)]);
        assert_eq!(excused_days(&[said(2, true, true)]), [day(2)]);
    }
}

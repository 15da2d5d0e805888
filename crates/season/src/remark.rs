//! What there is to remark on one session: what happened in it, and how its running went. Decided here, shown elsewhere.

use boutwise_bouts::{Event, EventKind, PaceDrift, SessionMatch, told};
use serde::Serialize;

use crate::{OutingAudit, Rules};

/// What happens in any session and is no remark.
const ASIDE: [EventKind; 2] = [EventKind::Stood, EventKind::Paused];
/// Less running than planned.
const LESS_RUN: [EventKind; 5] = [
    EventKind::StoppedAfter,
    EventKind::RepWalked,
    EventKind::RepLeftOut,
    EventKind::RepShort,
    EventKind::WalkedThrough,
];
/// Walks run through or cut, or more running than planned.
const MORE_RUN: [EventKind; 5] = [
    EventKind::RepsJoined,
    EventKind::WalkShort,
    EventKind::RepLong,
    EventKind::RepExtra,
    EventKind::RanThrough,
];
/// Reps run as one.
const JOINED: [EventKind; 2] = [EventKind::RepsJoined, EventKind::RanThrough];
/// What nobody can tell.
const UNTOLD: [EventKind; 3] = [EventKind::CannotSay, EventKind::RecordingLate, EventKind::RecordingCut];

/// One thing to remark on a session.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub enum Remark {
    /// It happened, told in a sentence.
    Happened {
        /// What happened.
        kind: EventKind,
        /// The sentence.
        text: String,
    },
    /// Clearly more was run than planned, and no event tells it.
    Overdone {
        /// Run seconds beyond the plan, in % of it.
        pct: f64,
    },
    /// On the day of the session more was run than planned, part of it in recordings that lie on no session.
    RanBeside {
        /// Seconds run in those.
        run_s: f64,
    },
    /// The pace fell markedly, and clearly so.
    MarkedSlowing {
        /// Change of pace in %.
        pct: f64,
    },
}

impl Remark {
    /// The remarks on a session, in order of time, then what holds of the whole: by what happened in it, what it was matched
    /// with, and the drift of its pace.
    pub fn of(
        events: &[Event],
        matched: Option<&SessionMatch>,
        drift: Option<&PaceDrift>,
        rules: &Rules,
    ) -> Vec<Self> {
        let happened: Vec<Event> =
            events.iter().filter(|event| !ASIDE.contains(&event.kind)).cloned().collect();
        let mut remarks: Vec<Self> =
            told(&happened).into_iter().map(|(kind, text)| Self::Happened { kind, text }).collect();
        let overdone = matched
            .map(|matched| matched.overdone_pct)
            .filter(|pct| *pct > rules.overdone_good_pct && !remarks.iter().any(Self::is_more_run));
        remarks.extend(overdone.map(|pct| Self::Overdone { pct }));
        let marked = drift.filter(|drift| drift.is_clear() && drift.drift_pct > rules.drift_note_pct);
        remarks.extend(marked.map(|drift| Self::MarkedSlowing { pct: drift.drift_pct }));
        remarks
    }

    /// What there is to remark on what was run beside a session on its day.
    pub fn on_its_day(audit: &OutingAudit, rules: &Rules) -> Option<Self> {
        let overdone_pct = audit.matched.as_ref()?.overdone_pct + audit.run_beside_pct();
        let is_overdone = audit.run_beside_s > 0.0 && overdone_pct > rules.overdone_good_pct;
        is_overdone.then_some(Self::RanBeside { run_s: audit.run_beside_s })
    }

    /// What else happened, in sentences: standing and pauses, which are nothing to remark on.
    pub fn asides(events: &[Event]) -> Vec<String> {
        let asides: Vec<Event> = events.iter().filter(|event| ASIDE.contains(&event.kind)).cloned().collect();
        told(&asides).into_iter().map(|(_, text)| text).collect()
    }

    /// What was run otherwise than planned, in a clause for a reason.
    pub(crate) fn on_running(events: &[Event]) -> Option<String> {
        let is_meant = |event: &&Event| LESS_RUN.contains(&event.kind) || MORE_RUN.contains(&event.kind);
        let meant: Vec<Event> = events.iter().filter(is_meant).cloned().collect();
        let clause = |(_, sentence): (EventKind, String)| {
            let (first, rest) = sentence.split_at_checked(1).unwrap_or_default();
            first.to_lowercase() + rest.trim_end_matches('.')
        };
        let clauses: Vec<String> = told(&meant).into_iter().map(clause).collect();
        (!clauses.is_empty()).then(|| clauses.join("; "))
    }

    /// Whether less was run than planned.
    pub fn is_less_run(&self) -> bool {
        self.is_any_of(&LESS_RUN)
    }

    /// Whether walks were run through or cut, or more was run than planned.
    pub fn is_more_run(&self) -> bool {
        self.is_any_of(&MORE_RUN) || matches!(self, Self::Overdone { .. } | Self::RanBeside { .. })
    }

    /// Whether reps were run as one.
    pub fn is_joined(&self) -> bool {
        self.is_any_of(&JOINED)
    }

    /// Whether nothing was run of what was planned.
    pub fn is_walked_through(&self) -> bool {
        self.is_any_of(&[EventKind::WalkedThrough])
    }

    /// Whether nobody can tell, all or in part.
    pub fn is_untold(&self) -> bool {
        self.is_any_of(&UNTOLD)
    }

    fn is_any_of(&self, kinds: &[EventKind]) -> bool {
        matches!(self, Self::Happened { kind, .. } if kinds.contains(kind))
    }
}

#[cfg(test)]
mod tests {
    use boutwise_bouts::{AdherenceSettings, Bout, Kind, Observed, match_recorded, read_events};

    use super::*;
    use crate::parse_intervals;

    const DRIFT: PaceDrift = PaceDrift {
        drift_pct: 30.0,
        interval_pct: Some((20.0, 40.0)),
        start_pace_s_per_km: 400.0,
        end_pace_s_per_km: 520.0,
        slices: 9,
    };

    /// The remarks on runs of these lengths, each with the walk after it, and what is said beside.
    fn of(parts_s: &[(f64, f64)], doubt: Option<&str>, rules: &Rules) -> Vec<Remark> {
        let planned = parse_intervals("4 x (1:10 run, 1:20 walk)").unwrap();
        let (mut bouts, mut at_s) = (Vec::new(), 0.0);
        for &(run_s, walk_s) in parts_s {
            bouts.push(Bout::new(Kind::Run, at_s, at_s + run_s));
            bouts.push(Bout::new(Kind::Walk, at_s + run_s, at_s + run_s + walk_s));
            at_s += run_s + walk_s;
        }
        let settings = AdherenceSettings::default();
        let observed = Observed { doubt, ..Observed::of(&bouts, 1.0) };
        let reading = read_events(&planned, &observed, &settings);
        let matched = (doubt.is_none())
            .then(|| match_recorded(&planned, &bouts, reading.inside.as_ref(), &settings))
            .flatten();
        Remark::of(&reading.events, matched.as_ref(), None, rules)
    }

    fn texts(remarks: &[Remark]) -> Vec<&str> {
        fn text(remark: &Remark) -> &str {
            match remark {
                Remark::Happened { text, .. } => text,
                _ => "",
            }
        }
        remarks.iter().map(text).collect()
    }

    #[test]
    fn a_session_done_as_asked_has_nothing_to_remark() {
        assert_eq!(of(&[(70.0, 80.0); 4], None, &Rules::default()), []);
    }

    #[test]
    fn what_happened_is_remarked_on_in_its_own_words() {
        let stopped = of(&[(70.0, 80.0), (70.0, 300.0)], None, &Rules::default());
        assert_eq!(texts(&stopped), ["Ran 2 of 4 reps, then walked on."]);
        assert!(stopped[0].is_less_run() && !stopped[0].is_more_run());
        let joined = of(&[(70.0, 80.0), (220.0, 80.0), (70.0, 80.0)], None, &Rules::default());
        assert_eq!(texts(&joined), ["Ran on through walk 2, so that reps 2 and 3 were one run."]);
        assert!(joined[0].is_joined() && joined[0].is_more_run());
        let walked = of(&[(0.0, 900.0)], None, &Rules::default());
        assert_eq!(texts(&walked), ["Walked the whole way."]);
        assert!(walked[0].is_walked_through() && walked[0].is_less_run());
    }

    #[test]
    fn more_running_than_planned_is_said_once() {
        let long = of(&[(100.0, 80.0); 4], None, &Rules::default());
        assert_eq!(texts(&long), ["Reps 1 to 4 were longer than planned, 2:00 more in all."]);
        // Each rep within what is told of a rep, and all of them together beyond what is good.
        let rules = Rules { overdone_good_pct: 2.0, ..Rules::default() };
        let all = of(&[(80.0, 80.0); 4], None, &rules);
        let [Remark::Overdone { pct }] = all[..] else { panic!("{all:?}") };
        assert!(pct > 2.0 && all[0].is_more_run());
        let just_good = Rules { overdone_good_pct: pct, ..Rules::default() };
        assert_eq!(of(&[(80.0, 80.0); 4], None, &just_good), []);
        assert_eq!(of(&[(80.0, 80.0); 4], None, &Rules::default()), []);
    }

    #[test]
    fn a_session_that_cannot_be_told_says_why_and_no_more() {
        let untold = of(&[(100.0, 80.0); 4], Some("One even pace: jogged or walked?"), &Rules::default());
        assert_eq!(texts(&untold), ["One even pace: jogged or walked?"]);
        assert!(untold[0].is_untold());
    }

    #[test]
    fn what_was_run_otherwise_is_a_reason_in_a_clause() {
        let bouts = [
            Bout::new(Kind::Run, 0.0, 70.0),
            Bout::new(Kind::Walk, 70.0, 110.0),
            Bout::new(Kind::Run, 110.0, 180.0),
            Bout::new(Kind::Stand, 180.0, 600.0),
        ];
        let planned = parse_intervals("4 x (1:10 run, 1:20 walk)").unwrap();
        let observed = Observed::of(&bouts, 1.0);
        let events = read_events(&planned, &observed, &AdherenceSettings::default()).events;
        let clause = Remark::on_running(&events);
        assert_eq!(clause.as_deref(), Some("walk 1 lasted 0:40 of 1:20; ran 2 of 4 reps, then walked on"));
        assert_eq!(Remark::on_running(&events[..0]), None);
    }

    #[test]
    fn a_stand_is_an_aside_and_a_marked_slowing_a_remark() {
        let bouts = [Bout::new(Kind::Walk, 0.0, 100.0), Bout::new(Kind::Stand, 100.0, 180.0)];
        let observed = Observed::of(&bouts, 1.0);
        let events = read_events(&[], &observed, &AdherenceSettings::default()).events;
        assert_eq!(Remark::asides(&events), ["Stood for 1:20."]);
        let marked = Remark::of(&events, None, Some(&DRIFT), &Rules::default());
        assert_eq!(marked, [Remark::MarkedSlowing { pct: 30.0 }]);
        let none = Rules { drift_note_pct: 30.0, ..Rules::default() };
        assert_eq!(Remark::of(&events, None, Some(&DRIFT), &none), []);
        let unclear = PaceDrift { interval_pct: Some((-5.0, 60.0)), ..DRIFT };
        let quicker = PaceDrift { drift_pct: -30.0, interval_pct: Some((-40.0, -20.0)), ..DRIFT };
        for drift in [unclear, quicker] {
            assert_eq!(Remark::of(&events, None, Some(&drift), &Rules::default()), []);
        }
    }
}

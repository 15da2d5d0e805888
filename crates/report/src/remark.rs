//! What a coach would remark on one session: what happened in it, and how its running went.

use boutwise_bouts::{Event, EventKind, told};

use crate::figures::percent_text;
use crate::rows::{EventRow, SessionRow};

/// Run seconds beyond the plan from which a session is remarked on, in per cent (own choice, as in the rules).
const OVERDONE_PCT: f64 = 15.0;

/// Pace drift from which slowing is called marked, in per cent (own choice).
const MARKED_SLOWING_PCT: f64 = 10.0;

/// One thing to remark on, in order of time.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Remark {
    /// Something happened, told in a sentence.
    Happened { kind: EventKind, text: String },
    /// Clearly more was run than asked, and no event says so.
    Overdone { pct: f64 },
    /// The pace fell markedly.
    MarkedSlowing { pct: f64 },
}

impl Remark {
    /// In a few words.
    pub(crate) fn text(&self) -> String {
        match self {
            Self::Happened { text, .. } => text.clone(),
            Self::Overdone { pct } => format!("{} more running than asked.", percent_text(*pct)),
            Self::MarkedSlowing { pct } => {
                format!("Marked slowing ({}): fast start, heat, a climb or tiredness.", percent_text(*pct))
            }
        }
    }

    /// Whether it tells one of these events.
    pub(crate) fn is_any_of(&self, kinds: &[EventKind]) -> bool {
        matches!(self, Self::Happened { kind, .. } if kinds.contains(kind))
    }
}

/// Less running than planned.
pub(crate) const LESS_RUN: [EventKind; 5] = [
    EventKind::StoppedAfter,
    EventKind::RepWalked,
    EventKind::RepLeftOut,
    EventKind::RepShort,
    EventKind::WalkedThrough,
];

/// Walks run through or cut, or more running than planned.
pub(crate) const MORE_RUN: [EventKind; 5] = [
    EventKind::RepsJoined,
    EventKind::WalkShort,
    EventKind::RepLong,
    EventKind::RepExtra,
    EventKind::RanThrough,
];

/// What nobody can tell.
pub(crate) const UNTOLD: [EventKind; 3] =
    [EventKind::CannotSay, EventKind::RecordingLate, EventKind::RecordingCut];

/// What happens in any session and is no remark.
const ASIDE: [EventKind; 2] = [EventKind::Stood, EventKind::Paused];

/// The remarks on a session.
pub(crate) fn remarks(session: &SessionRow, events: &[EventRow]) -> Vec<Remark> {
    let mut remarks: Vec<Remark> = sentences(events, |kind| !ASIDE.contains(&kind))
        .into_iter()
        .map(|(kind, text)| Remark::Happened { kind, text })
        .collect();
    if session.resolvable == Some(false) {
        return remarks;
    }
    let is_told = remarks.iter().any(|remark| remark.is_any_of(&MORE_RUN));
    let overdone = session.overdone_pct.filter(|&pct| pct > OVERDONE_PCT && !is_told);
    remarks.extend(overdone.map(|pct| Remark::Overdone { pct }));
    remarks.extend(
        session
            .pace_drift_pct
            .filter(|&pct| {
                pct > MARKED_SLOWING_PCT && session.pace_drift_low_pct.is_none_or(|low_pct| low_pct > 0.0)
            })
            .map(|pct| Remark::MarkedSlowing { pct }),
    );
    remarks
}

/// What is told of a session beside the remarks.
pub(crate) fn asides(events: &[EventRow]) -> Vec<String> {
    sentences(events, |kind| ASIDE.contains(&kind)).into_iter().map(|(_, text)| text).collect()
}

fn sentences(events: &[EventRow], keep: impl Fn(EventKind) -> bool) -> Vec<(EventKind, String)> {
    let kept: Vec<Event> = events.iter().filter(|row| keep(row.event)).map(EventRow::event).collect();
    told(&kept)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn event(event: EventKind, number: u64, text: &str) -> EventRow {
        EventRow {
            athlete: "Ann".into(),
            file: "a".into(),
            session: 1,
            event,
            part: Some("rep".into()),
            number: Some(number),
            at_s: 0.0,
            to_s: 60.0,
            planned_s: Some(60.0),
            done_s: Some(60.0),
            confidence: 0.9,
            text: text.into(),
        }
    }

    #[test]
    fn what_happened_is_remarked_on_in_its_own_words_and_a_stand_is_an_aside() {
        let events = [
            event(EventKind::Stood, 1, "Stood for 1:20."),
            event(EventKind::StoppedAfter, 5, "Ran 5 of 8 reps, then walked on."),
        ];
        let session = SessionRow { resolvable: Some(true), ..SessionRow::default() };
        let texts: Vec<String> = remarks(&session, &events).iter().map(Remark::text).collect();
        assert_eq!(texts, ["Ran 5 of 8 reps, then walked on."]);
        assert_eq!(asides(&events), ["Stood for 1:20."]);
    }

    #[test]
    fn more_running_is_said_once() {
        let session =
            SessionRow { resolvable: Some(true), overdone_pct: Some(40.0), ..SessionRow::default() };
        assert_eq!(remarks(&session, &[]), [Remark::Overdone { pct: 40.0 }]);
        let long = [event(EventKind::RepLong, 2, "Rep 2 lasted 2:00, 1:00 more than planned.")];
        assert_eq!(remarks(&session, &long).len(), 1);
    }

    #[test]
    fn a_session_that_cannot_be_told_gets_no_other_remark() {
        let session = SessionRow {
            resolvable: Some(false),
            overdone_pct: Some(80.0),
            pace_drift_pct: Some(30.0),
            ..SessionRow::default()
        };
        let events = [event(EventKind::CannotSay, 1, "Walked or jogged?")];
        let [remark] = &remarks(&session, &events)[..] else { panic!() };
        assert!(remark.is_any_of(&UNTOLD));
    }
}

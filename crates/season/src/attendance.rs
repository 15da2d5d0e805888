//! Attendance and dose in the terms of exercise trials.
//!
//! Sources of the terms: Nilsen and others 2018, Fairman and others 2020 (Med Sci Sports Exerc): sessions attended of
//! those planned, relative dose, dose modified, ended early, missed (up to two in a row) and interrupted (three or
//! more). The capped sum of the dose is the project's own definition.

use boutwise_bouts::{Event, EventKind, IntervalMatch, IntervalStatus, Reading, SessionMatch};
use chrono::NaiveDate;

use crate::{Rules, SessionId};

/// Share of the planned running that must lie inside a recording for the session to be good or poor, in % (by definition).
const JUDGED_RECORDED_PCT: f64 = 90.0;
/// Events of a session whose running was another than planned.
const OTHERWISE_THAN_PLANNED: [EventKind; 5] = [
    EventKind::RepWalked,
    EventKind::RepLeftOut,
    EventKind::RepShort,
    EventKind::RepsJoined,
    EventKind::RanThrough,
];

/// What became of a planned session.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Outcome {
    /// Attended and done in full.
    Completed,
    /// Attended, and run otherwise than planned: a rep walked, cut, broken by a walk or left out, reps run as one.
    Modified,
    /// Attended, and running ended before the last rep.
    CutShort,
    /// Attended, and walked in place of run.
    Walked,
    /// Attended; running and walking can't be told apart, or too little was recorded.
    Unresolvable,
    /// Done, as the coach says, without a recording.
    Said,
    /// Neither due nor missed: away, excused, or left out by the coach's decision.
    Excused,
    /// Due and not attended, alone or two in a row.
    Missed,
    /// Due and not attended, three or more in a row.
    Interrupted,
    /// Not due yet.
    Ahead,
}

impl Outcome {
    /// The word.
    pub fn word(self) -> &'static str {
        match self {
            Self::Completed => "completed",
            Self::Modified => "modified",
            Self::CutShort => "cut short",
            Self::Walked => "walked",
            Self::Unresolvable => "attended",
            Self::Said => "said",
            Self::Excused => "excused",
            Self::Missed => "missed",
            Self::Interrupted => "interrupted",
            Self::Ahead => "ahead",
        }
    }

    /// Whether the session was attended.
    pub fn is_attended(self) -> bool {
        !matches!(self, Self::Missed | Self::Interrupted | Self::Ahead | Self::Excused)
    }

    /// Outcome of an attended session from what happened in it; a session of walking alone from its match: it is completed where
    /// all was walked, as far as boundaries tell, and no more was run in it than a good session allows. Where less was
    /// seen of it than a judgement needs it was attended, and no more is known.
    pub fn attended(reading: &Reading, matched: Option<&SessionMatch>, rules: &Rules) -> Self {
        let Some(matched) = matched else { return Self::Unresolvable };
        if matched.running.is_none() {
            let lacks =
                |row: &IntervalMatch| matches!(row.status, IntervalStatus::Short | IntervalStatus::Missed);
            let is_as_asked =
                matched.overdone_pct <= rules.overdone_good_pct && !matched.intervals.iter().any(lacks);
            return if is_as_asked { Self::Completed } else { Self::Modified };
        }
        let happened = |kinds: &[EventKind]| reading.events.iter().any(|event| kinds.contains(&event.kind));
        if happened(&[EventKind::WalkedThrough]) {
            Self::Walked
        } else if reading.recorded_pct.is_none_or(|pct| pct < JUDGED_RECORDED_PCT) {
            Self::Unresolvable
        } else if happened(&[EventKind::StoppedAfter]) {
            Self::CutShort
        } else if reading.rep_lacking || happened(&OTHERWISE_THAN_PLANNED) {
            Self::Modified
        } else if reading.events.iter().any(is_question_of_a_part) {
            Self::Unresolvable
        } else {
            Self::Completed
        }
    }
}

/// Why it cannot be said what became of a session that was attended.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Untold {
    /// Running and walking can't be told apart.
    NotApart,
    /// Too little of it lies in the recording.
    TooLittleRecorded,
    /// What became of a rep or walk is a question.
    PartInDoubt,
}

impl Untold {
    /// What keeps a session from being told whose outcome is [`Outcome::Unresolvable`].
    pub(crate) fn of(resolvable: bool, recorded_pct: Option<f64>) -> Self {
        match recorded_pct {
            _ if !resolvable => Self::NotApart,
            Some(pct) if pct >= JUDGED_RECORDED_PCT => Self::PartInDoubt,
            _ => Self::TooLittleRecorded,
        }
    }

    /// The reason, said of a session that is left out.
    pub(crate) fn of_session(self) -> &'static str {
        match self {
            Self::NotApart => "running and walking can't be told apart",
            Self::TooLittleRecorded => "too little of it was recorded",
            Self::PartInDoubt => "what became of a rep or walk can't be told",
        }
    }

    /// The reason, said of the sessions of a block.
    pub(crate) fn of_block(self) -> &'static str {
        match self {
            Self::NotApart => "running and walking can't be told apart in this block's recordings",
            Self::TooLittleRecorded => "too little of this block's sessions lies in the recordings",
            Self::PartInDoubt => "what became of a rep or walk can't be told in this block's recordings",
        }
    }
}

/// The run seconds asked for of an attended session that can be held against what was done: those that lie inside the
/// recording, also where too few do to judge the session by. `None` where nobody can tell what was done of them.
pub(crate) fn counted_run_s(
    outcome: Outcome,
    matched: &SessionMatch,
    recorded_pct: Option<f64>,
    events: &[Event],
) -> Option<f64> {
    let running = matched.running.as_ref()?;
    let is_told = outcome != Outcome::Unresolvable
        || recorded_pct.is_some() && !events.iter().any(is_question_of_a_part);
    is_told.then_some(running.planned_s)
}

/// Whether it cannot be said what became of a rep or walk: the session may be as planned, or not.
fn is_question_of_a_part(event: &Event) -> bool {
    event.kind == EventKind::CannotSay && event.part.is_some()
}

/// A planned session with what became of it.
#[derive(Clone, Debug, PartialEq)]
pub struct PlannedSession {
    /// Which session.
    pub session: SessionId,
    /// The plan's own day, whether the athlete is late or not; `None` where order alone counts.
    pub day: Option<NaiveDate>,
    /// Whether it is due: its day has come, or a later session was laid.
    pub due: bool,
    /// Run seconds asked for.
    pub planned_run_s: f64,
    /// Of these: those that dose and completion count. What lies outside a recording is neither done nor missed; `None` where
    /// nobody can tell what was done.
    pub counted_run_s: Option<f64>,
    /// Run seconds done of them at the best attempt, capped rep by rep; `None` where that can't be told.
    pub done_run_s: Option<f64>,
    /// What became of it.
    pub outcome: Outcome,
    /// Recordings laid on it, by index.
    pub recordings: Vec<usize>,
    /// The one of them whose outcome and running this is: the best attempt, the first of equals.
    pub shown: Option<usize>,
    /// Whether the coach said by hand that it was done, or that a recording is this session.
    pub by_hand: bool,
}

/// Marks stretches of missed sessions that are long enough as interrupted.
pub(crate) fn mark_interruptions(sessions: &mut [PlannedSession], rules: &Rules) {
    let mut start = 0;
    while start < sessions.len() {
        let length =
            sessions[start..].iter().take_while(|session| session.outcome == Outcome::Missed).count();
        if length >= rules.interrupted_sessions as usize {
            sessions[start..start + length]
                .iter_mut()
                .for_each(|session| session.outcome = Outcome::Interrupted);
        }
        start += length.max(1);
    }
}

/// Attendance and dose over some planned sessions.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[non_exhaustive]
pub struct Attendance {
    /// Sessions due.
    pub due: usize,
    /// Of those: attended.
    pub attended: usize,
    /// Of those attended: done in full.
    pub completed: usize,
    /// Of those attended: below plan, cut short and walked ones included.
    pub modified: usize,
    /// Of those: with the last reps absent.
    pub cut_short: usize,
    /// Due and not attended.
    pub missed: usize,
    /// Of those: three or more in a row.
    pub interrupted: usize,
    /// Attended of due in %.
    pub attendance_pct: Option<f64>,
    /// Σ done / Σ planned run seconds over all due sessions in %: missed ones count as nothing done, those that are
    /// not resolvable, or done without a recording, are left out, and what lies outside a recording. `None` where none of the attended ones can be told.
    pub dose_pct: Option<f64>,
    /// Mean completion of the attended sessions in %: another question than the dose.
    pub mean_completion_pct: Option<f64>,
}

impl Attendance {
    /// Counts and sums.
    pub fn of<'a>(sessions: impl IntoIterator<Item = &'a PlannedSession>) -> Self {
        let mut sums = Self::default();
        let (mut planned_s, mut done_s) = (0.0, 0.0);
        let mut completions = Vec::new();
        for session in sessions.into_iter().filter(|session| session.due) {
            let outcome = session.outcome;
            sums.due += 1;
            sums.attended += usize::from(outcome.is_attended());
            sums.completed += usize::from(outcome == Outcome::Completed);
            sums.modified +=
                usize::from(matches!(outcome, Outcome::Modified | Outcome::CutShort | Outcome::Walked));
            sums.cut_short += usize::from(outcome == Outcome::CutShort);
            sums.missed += usize::from(!outcome.is_attended());
            sums.interrupted += usize::from(outcome == Outcome::Interrupted);
            if let Some(counted_s) = session.counted_run_s.filter(|counted_s| *counted_s > 0.0) {
                let done = session.done_run_s.unwrap_or(0.0);
                planned_s += counted_s;
                done_s += done;
                if outcome.is_attended() {
                    completions.push(100.0 * done / counted_s);
                }
            }
        }
        sums.attendance_pct = (sums.due > 0).then(|| 100.0 * sums.attended as f64 / sums.due as f64);
        let told = sums.attended == 0 || !completions.is_empty();
        sums.dose_pct = (told && planned_s > 0.0).then(|| 100.0 * done_s / planned_s);
        sums.mean_completion_pct =
            (!completions.is_empty()).then(|| completions.iter().sum::<f64>() / completions.len() as f64);
        sums
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Planned and done run seconds of a worked set of nine sessions.
    const WORKED: [(f64, f64); 9] = [
        (480.0, 480.0),
        (480.0, 480.0),
        (540.0, 540.0),
        (540.0, 418.0),
        (600.0, 600.0),
        (600.0, 0.0),
        (600.0, 540.0),
        (720.0, 720.0),
        (720.0, 0.0),
    ];

    fn worked(pairs: &[(f64, f64)]) -> Vec<PlannedSession> {
        let mut sessions: Vec<PlannedSession> = pairs
            .iter()
            .enumerate()
            .map(|(at, (planned_run_s, done))| PlannedSession {
                session: SessionId { block: 0, number: at as u32 + 1 },
                day: None,
                due: true,
                planned_run_s: *planned_run_s,
                counted_run_s: Some(*planned_run_s),
                done_run_s: (*done > 0.0).then_some(*done),
                outcome: match done {
                    0.0 => Outcome::Missed,
                    done if done < planned_run_s => Outcome::Modified,
                    _ => Outcome::Completed,
                },
                recordings: Vec::new(),
                shown: None,
                by_hand: false,
            })
            .collect();
        mark_interruptions(&mut sessions, &Rules::default());
        sessions
    }

    // Terms of Nilsen and others 2018 and Fairman and others 2020; the numbers are worked by arithmetic.
    #[test]
    fn the_worked_set_gives_attendance_dose_and_completion() {
        let sums = Attendance::of(&worked(&WORKED));
        assert_eq!((sums.due, sums.attended, sums.modified, sums.missed, sums.interrupted), (9, 7, 2, 2, 0));
        assert!((sums.attendance_pct.unwrap() - 77.777_8).abs() < 1e-4);
        assert!((sums.dose_pct.unwrap() - 71.553_030_3).abs() < 1e-6);
        assert!((sums.mean_completion_pct.unwrap() - 95.343_9).abs() < 1e-4);
    }

    // A published trial: 153.8 of 200.7 MET-hours are 76.63 %, the printed mean of the people 77 %.
    #[test]
    fn the_ratio_of_sums_is_not_the_mean_of_ratios() {
        let sums = Attendance::of(&worked(&[(100.0, 50.0), (900.0, 900.0)]));
        assert_eq!((sums.dose_pct, sums.mean_completion_pct), (Some(95.0), Some(75.0)));
    }

    #[test]
    fn three_in_a_row_turn_missed_into_interrupted() {
        let sums = |done: [f64; 6]| Attendance::of(&worked(&done.map(|done| (480.0, done))));
        assert_eq!(sums([480.0, 0.0, 0.0, 480.0, 0.0, 480.0]).interrupted, 0);
        let three = sums([480.0, 0.0, 0.0, 0.0, 480.0, 0.0]);
        assert_eq!((three.missed, three.interrupted), (4, 3));
    }

    fn planned(outcome: Outcome, planned_run_s: f64, done_run_s: Option<f64>) -> PlannedSession {
        PlannedSession {
            session: SessionId { block: 0, number: 1 },
            day: None,
            due: outcome != Outcome::Ahead,
            planned_run_s,
            counted_run_s: Some(planned_run_s)
                .filter(|_| !matches!(outcome, Outcome::Unresolvable | Outcome::Said)),
            done_run_s,
            outcome,
            recordings: Vec::new(),
            shown: None,
            by_hand: false,
        }
    }

    #[test]
    fn each_outcome_is_counted_where_it_belongs() {
        let sums = Attendance::of(&[
            planned(Outcome::Completed, 480.0, Some(480.0)),
            planned(Outcome::Modified, 480.0, Some(400.0)),
            planned(Outcome::CutShort, 480.0, Some(240.0)),
            planned(Outcome::Walked, 480.0, Some(0.0)),
            planned(Outcome::Unresolvable, 480.0, None),
            planned(Outcome::Missed, 480.0, None),
            planned(Outcome::Ahead, 480.0, None),
        ]);
        assert_eq!((sums.due, sums.attended, sums.completed), (6, 5, 1));
        assert_eq!((sums.modified, sums.cut_short, sums.missed, sums.interrupted), (3, 1, 1, 0));
        // What nobody can tell is neither done nor planned; what was missed is planned.
        assert!((sums.dose_pct.unwrap() - 100.0 * 1120.0 / 2400.0).abs() < 1e-9);
        assert!((sums.mean_completion_pct.unwrap() - 100.0 * 1120.0 / 1920.0).abs() < 1e-9);
    }

    #[test]
    fn a_dose_is_told_only_where_something_is_known_of_it() {
        let untold = planned(Outcome::Unresolvable, 480.0, None);
        let missed = planned(Outcome::Missed, 480.0, None);
        assert_eq!(Attendance::of(&[untold, missed.clone()]).dose_pct, None);
        assert_eq!(Attendance::of(&[missed.clone(), missed]).dose_pct, Some(0.0));
        // A session of walking asks for no running.
        let walk = planned(Outcome::Completed, 0.0, None);
        let half = planned(Outcome::Modified, 480.0, Some(240.0));
        let sums = Attendance::of(&[walk, half]);
        assert_eq!((sums.dose_pct, sums.mean_completion_pct), (Some(50.0), Some(50.0)));
    }

    #[test]
    fn what_lies_outside_a_recording_is_neither_done_nor_missed() {
        let cut = PlannedSession {
            counted_run_s: Some(281.0),
            ..planned(Outcome::Unresolvable, 480.0, Some(281.0))
        };
        let half = planned(Outcome::Modified, 480.0, Some(240.0));
        let sums = Attendance::of(&[cut, half]);
        assert!((sums.dose_pct.unwrap() - 100.0 * 521.0 / 761.0).abs() < 1e-9, "{sums:?}");
        assert_eq!(sums.mean_completion_pct, Some(75.0));
    }

    #[test]
    fn what_is_only_said_to_be_done_enters_no_dose() {
        let said = planned(Outcome::Said, 480.0, None);
        let half = planned(Outcome::Modified, 480.0, Some(240.0));
        assert_eq!(Attendance::of(&[said, half]).dose_pct, Some(50.0));
    }

    #[test]
    fn a_session_of_which_too_little_was_seen_is_neither_good_nor_poor() {
        use boutwise_bouts::{AdherenceSettings, Amount, Bout, Gait, Interval, Kind, match_session};
        let asked = [Interval { gait: Gait::Run, amount: Amount::Seconds(300.0) }];
        let matched =
            match_session(&asked, &[Bout::new(Kind::Run, 0.0, 300.0)], &AdherenceSettings::default());
        let outcome = |recorded_pct| {
            let reading = Reading { recorded_pct, ..Reading::default() };
            Outcome::attended(&reading, matched.as_ref(), &Rules::default())
        };
        assert_eq!((outcome(Some(90.0)), outcome(Some(89.9))), (Outcome::Completed, Outcome::Unresolvable));
        assert_eq!(outcome(None), Outcome::Unresolvable, "nobody can tell how much");
    }

    #[test]
    fn a_session_with_a_question_about_a_walk_is_not_as_planned_and_what_is_certain_in_it_counts() {
        assert_eq!(outcome_in_doubt(&[(340.0, 80.0), (130.0, 80.0), (130.0, 300.0)]), Outcome::Unresolvable);
        assert_eq!(outcome_in_doubt(&[(340.0, 80.0), (60.0, 80.0), (130.0, 300.0)]), Outcome::Modified);
    }

    fn outcome(done: &[(f64, f64)]) -> Outcome {
        outcome_of(done, 1.0, 1.0)
    }

    /// The same where the first run is doubtful.
    fn outcome_in_doubt(done: &[(f64, f64)]) -> Outcome {
        outcome_of(done, 0.8, 0.85)
    }

    fn outcome_of(done: &[(f64, f64)], confidence: f64, of_first_run: f64) -> Outcome {
        let (reading, matched) = seen(done, confidence, of_first_run);
        Outcome::attended(&reading, matched.as_ref(), &Rules::default())
    }

    /// What is seen of a session of four reps, where the first run is as sure as it says.
    fn seen(done: &[(f64, f64)], confidence: f64, of_first_run: f64) -> (Reading, Option<SessionMatch>) {
        use boutwise_bouts::{
            AdherenceSettings, Amount, Bout, Gait, Interval, Kind, Observed, match_recorded, read_events,
        };
        let ask = |gait, seconds| Interval { gait, amount: Amount::Seconds(seconds) };
        let intervals: Vec<Interval> =
            (0..4).flat_map(|_| [ask(Gait::Run, 130.0), ask(Gait::Walk, 80.0)]).collect();
        let mut bouts = vec![Bout::new(Kind::Walk, 0.0, 300.0)];
        for &(run_s, walk_s) in done {
            for (kind, duration_s) in [(Kind::Run, run_s), (Kind::Walk, walk_s)] {
                let start_s = bouts.last().map_or(0.0, |bout| bout.end_s);
                if duration_s > 0.0 {
                    bouts.push(Bout::new(kind, start_s, start_s + duration_s));
                }
            }
        }
        bouts[1].confidence = of_first_run;
        let observed = Observed::of(&bouts, confidence);
        let settings = AdherenceSettings::default();
        let reading = read_events(&intervals, &observed, &settings);
        let matched = match_recorded(&intervals, &bouts, reading.inside.as_ref(), &settings);
        (reading, matched)
    }

    #[test]
    fn the_dose_counts_what_lies_in_a_recording_and_nothing_that_is_a_question() {
        let counted_s = |done: &[(f64, f64)], confidence, of_first_run| {
            let (reading, matched) = seen(done, confidence, of_first_run);
            let outcome = Outcome::attended(&reading, matched.as_ref(), &Rules::default());
            (outcome, counted_run_s(outcome, &matched.unwrap(), reading.recorded_pct, &reading.events))
        };
        assert_eq!(counted_s(&[(130.0, 80.0); 4], 1.0, 1.0), (Outcome::Completed, Some(520.0)));
        let cut = [(130.0, 80.0), (130.0, 20.0)];
        assert_eq!(counted_s(&cut, 1.0, 1.0), (Outcome::Unresolvable, Some(260.0)));
        let joined = [(340.0, 80.0), (130.0, 80.0), (130.0, 300.0)];
        assert_eq!(counted_s(&joined, 0.8, 0.85), (Outcome::Unresolvable, None));
    }

    #[test]
    fn a_session_of_walking_is_done_in_full_or_below_plan() {
        use boutwise_bouts::{AdherenceSettings, Amount, Bout, Gait, Interval, Kind, match_session};
        let asked = [Interval { gait: Gait::Walk, amount: Amount::Seconds(1500.0) }];
        let outcome = |walk_s: f64, run_s: f64| {
            let bouts = [Bout::new(Kind::Walk, 0.0, walk_s), Bout::new(Kind::Run, walk_s, walk_s + run_s)];
            let bouts = if run_s > 0.0 { &bouts[..] } else { &bouts[..1] };
            let matched = match_session(&asked, bouts, &AdherenceSettings::default());
            Outcome::attended(&Reading::default(), matched.as_ref(), &Rules::default())
        };
        assert_eq!((outcome(1500.0, 0.0), outcome(1200.0, 0.0)), (Outcome::Completed, Outcome::Modified));
        // As far as boundaries tell: 1,500 points are 1,499 s.
        assert_eq!((outcome(1494.0, 0.0), outcome(1493.0, 0.0)), (Outcome::Completed, Outcome::Modified));
        // A trot to the traffic light is within what a good session allows, a run is another session.
        assert_eq!((outcome(1500.0, 225.0), outcome(1500.0, 226.0)), (Outcome::Completed, Outcome::Modified));
    }

    #[test]
    fn what_became_of_a_session_is_read_off_what_happened() {
        assert_eq!(outcome(&[(130.0, 80.0); 4]), Outcome::Completed);
        assert_eq!(outcome(&[(125.0, 80.0); 4]), Outcome::Completed, "within the tolerance");
        assert_eq!(outcome(&[(130.0, 80.0), (90.0, 80.0), (130.0, 80.0), (130.0, 80.0)]), Outcome::Modified);
        // Not told as short, and not in full either: by 14 s, and by what a walk inside it takes.
        assert_eq!(outcome(&[(130.0, 80.0), (116.0, 80.0), (130.0, 80.0), (130.0, 80.0)]), Outcome::Modified);
        let in_pieces = [(130.0, 80.0), (65.0, 24.0), (65.0, 80.0), (130.0, 80.0), (130.0, 80.0)];
        assert_eq!(outcome(&in_pieces), Outcome::Modified);
        assert_eq!(outcome(&[(130.0, 80.0), (130.0, 80.0), (130.0, 300.0)]), Outcome::CutShort);
        assert_eq!(
            outcome(&[(130.0, 80.0), (130.0, 20.0)]),
            Outcome::Unresolvable,
            "the recording ends early"
        );
        assert_eq!(outcome(&[(340.0, 80.0), (130.0, 80.0), (130.0, 80.0)]), Outcome::Modified, "two as one");
        // A run beyond the plan is no last rep.
        assert_eq!(outcome(&[(130.0, 80.0); 5]), Outcome::Completed);
        assert_eq!(outcome(&[(0.0, 600.0)]), Outcome::Walked);
        assert_eq!(Outcome::attended(&Reading::default(), None, &Rules::default()), Outcome::Unresolvable);
    }
}

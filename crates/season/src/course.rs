//! The course of a plan for one athlete: which sessions fell due on which days, after what the coach said.
//!
//! Without a word of the coach the plan's own days are the course. A word moves what comes after it:
//!
//! - `hold`: from its day nothing falls due until a session of what comes next is done; from that day on the plan goes on;
//! - `stop`: the same until the next word;
//! - `ease`: the block before falls due again; those of its sessions that were left out once the athlete went on are not due.
//!   Doing the block that was left once more is going on too: each of its sessions is due on the day on which it is done again,
//!   and what follows after that day;
//! - `advance`: what lies between the newest session and the next one that is done is neither due nor missed;
//! - an absence: nothing falls due; the plan waits (*go on*), or its days pass (*rejoin*);
//! - before `joined`, after `left`, and on an excused day nothing falls due.
//!
//! What is done all the same is due and done.

use chrono::NaiveDate;

use crate::{Pause, Plan, Verdict, Word};

/// An absence of one athlete.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Absence {
    pub(crate) days: Pause,
    /// Whether the plan waited; unknown where nobody said so.
    pub(crate) waits: Option<bool>,
}

/// What is known beside the plan of when an athlete's sessions fall due.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct Words {
    /// The coach's decisions by day.
    pub(crate) decisions: Vec<(NaiveDate, Verdict)>,
    /// Absences by day.
    pub(crate) absences: Vec<Absence>,
    pub(crate) excused: Vec<NaiveDate>,
    pub(crate) joined: Option<NaiveDate>,
    pub(crate) left: Option<NaiveDate>,
}

impl Words {
    /// What was said in the time of one plan, and the word of the time before it that still stands: a stop, or a hold since which
    /// no session was laid on an earlier plan.
    pub(crate) fn within(
        &self,
        from: Option<NaiveDate>,
        to: NaiveDate,
        newest_before: Option<NaiveDate>,
    ) -> Self {
        let until_then = from.map_or(0, |from| self.decisions.partition_point(|(day, _)| *day < from));
        let (before, since) = self.decisions.split_at(until_then);
        let stands = |(day, verdict): &&(NaiveDate, Verdict)| match verdict {
            Verdict::Stop => true,
            Verdict::Hold => newest_before.is_none_or(|newest| newest <= *day),
            Verdict::Ease | Verdict::Advance => false,
        };
        let standing = before.last().filter(stands);
        let decisions = standing.into_iter().chain(since).filter(|(day, _)| *day <= to).copied().collect();
        Self { decisions, ..self.clone() }
    }

    /// The same without absences in which the plan is said to have waited and nothing like a session was recorded: those are
    /// pauses of the plan.
    pub(crate) fn apart_from_pauses(&self, session_days: &[NaiveDate]) -> (Vec<Pause>, Self) {
        let is_pause = |absence: &Absence| {
            absence.waits == Some(true) && !session_days.iter().any(|day| absence.days.holds(*day))
        };
        let (pauses, absences): (Vec<Absence>, _) = self.absences.iter().copied().partition(is_pause);
        (pauses.iter().map(|absence| absence.days).collect(), Self { absences, ..self.clone() })
    }

    /// The words that the laying follows, by day.
    pub(crate) fn said(&self) -> Vec<(NaiveDate, Word)> {
        let decided = self.decisions.iter().map(|(day, verdict)| {
            let word = match verdict {
                Verdict::Hold => Word::Hold,
                Verdict::Ease => Word::Ease,
                Verdict::Advance => Word::Advance,
                Verdict::Stop => Word::Stop,
            };
            (*day, word)
        });
        // Where the plan did not wait its days are what they were; else what is done in the absence or after it may be what comes
        // next.
        let may_wait = self.absences.iter().filter(|absence| absence.waits != Some(false));
        let back = may_wait.flat_map(|Absence { days, .. }| {
            let before = days.from.pred_opt();
            before.into_iter().chain([days.to]).map(|day| (day, Word::Back))
        });
        let mut words: Vec<(NaiveDate, Word)> = decided.chain(back).collect();
        words.sort_by_key(|(day, _)| *day);
        words
    }

    /// Times in which nothing falls due.
    pub(crate) fn free(&self) -> Vec<Pause> {
        let day = |day: &NaiveDate| Pause { from: *day, to: *day };
        let before = self.joined.and_then(|joined| joined.pred_opt());
        let after = self.left.and_then(|left| left.succ_opt());
        (self.absences.iter().map(|absence| absence.days))
            .chain(self.excused.iter().map(day))
            .chain(before.map(|to| Pause { from: NaiveDate::MIN, to }))
            .chain(after.map(|from| Pause { from, to: NaiveDate::MAX }))
            .collect()
    }

    fn is_excused(&self, day: NaiveDate) -> bool {
        self.excused.contains(&day)
            || self.joined.is_some_and(|joined| day < joined)
            || self.left.is_some_and(|left| day > left)
    }
}

/// A session laid on the plan: its place, its day, its index among the recordings.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Done {
    pub(crate) session: usize,
    pub(crate) day: NaiveDate,
    pub(crate) recording: usize,
}

/// A session as it fell due.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct DueSession {
    pub(crate) session: usize,
    pub(crate) day: Option<NaiveDate>,
    pub(crate) due: bool,
    /// Neither due nor missed.
    pub(crate) excused: bool,
    pub(crate) recordings: Vec<usize>,
}

/// The course of a plan that begins on `first` (`None` where order alone counts), up to a day.
pub(crate) fn course(
    plan: &Plan,
    first: Option<NaiveDate>,
    words: &Words,
    done: &[Done],
    said: &[usize],
    until: NaiveDate,
) -> Vec<DueSession> {
    let blocks: Vec<usize> = plan.sessions().map(|id| id.block).collect();
    let first = first.and_then(|first| plan.dates(first)[0]);
    let mut by_session: Vec<Vec<Done>> = vec![Vec::new(); blocks.len()];
    for done in done {
        by_session[done.session].push(*done);
    }
    let mut is_said = vec![false; blocks.len()];
    for session in said {
        is_said[*session] = true;
    }
    let mut course = Course {
        plan,
        blocks: &blocks,
        words,
        done,
        by_session,
        is_said,
        until,
        newest: done.last().map(|done| done.session),
        first,
        cursor: None,
        forced: None,
        ended: false,
        rows: Vec::new(),
    };
    let mut decisions = words.decisions.iter().copied().filter(|(day, _)| *day <= until).peekable();
    let mut session = 0;
    while session < blocks.len() {
        let slot = course.next_day(session);
        if let Some((day, verdict)) = decisions.peek().copied()
            && !course.ended
            && slot.is_none_or(|slot| {
                slot > day || (slot == day && !course.by_session[session].iter().any(|done| done.day <= day))
            })
            && course.forced.is_none()
        {
            decisions.next();
            let next_word = decisions.peek().map(|(day, _)| *day);
            session = course.decide(session, day, verdict, next_word);
            continue;
        }
        course.forced = None;
        course.push(session, slot);
        course.cursor = slot.or(course.cursor);
        session += 1;
    }
    // Words after the plan's last day.
    for (day, verdict) in decisions {
        course.decide(blocks.len(), day, verdict, None);
    }
    course.rows
}

struct Course<'a> {
    plan: &'a Plan,
    blocks: &'a [usize],
    words: &'a Words,
    /// In order of time.
    done: &'a [Done],
    /// The same by session.
    by_session: Vec<Vec<Done>>,
    /// For each session whether it was done without a recording.
    is_said: Vec<bool>,
    until: NaiveDate,
    /// The session that was done last.
    newest: Option<usize>,
    /// The plan's first day; `None` where order alone counts.
    first: Option<NaiveDate>,
    /// The planned day before.
    cursor: Option<NaiveDate>,
    /// The day of the next session, where a word says so.
    forced: Option<NaiveDate>,
    /// Whether nothing falls due any more.
    ended: bool,
    rows: Vec<DueSession>,
}

impl Course<'_> {
    /// The day on which the next session falls due; `None` where order alone counts or nothing falls due.
    fn next_day(&self, session: usize) -> Option<NaiveDate> {
        self.first.filter(|_| !self.ended)?;
        let planned = match self.cursor {
            None => self.first,
            Some(before) => self.plan.day_after(before, self.blocks[session]),
        };
        planned.map(|planned| self.forced.unwrap_or_else(|| self.after_absences(session, planned)))
    }

    /// Takes the sessions that were done already, ahead of their days; which one comes next then.
    fn catch_up(&mut self, session: usize, newest: Option<usize>) -> usize {
        let next = newest.map_or(session, |newest| session.max(newest + 1));
        for done in session..next {
            let day = self.next_day(done);
            self.push(done, day);
            self.cursor = day.or(self.cursor);
        }
        next
    }

    fn is_done(&self, session: usize) -> bool {
        self.is_said[session] || !self.by_session[session].is_empty()
    }

    fn push(&mut self, session: usize, day: Option<NaiveDate>) {
        let recordings: Vec<usize> = self.by_session[session].iter().map(|done| done.recording).collect();
        let is_done = self.is_done(session);
        let excused = !is_done && day.is_some_and(|day| self.is_excused(session, day));
        let passed = self.newest.is_some_and(|newest| session <= newest);
        let has_come = passed || day.is_some_and(|day| day <= self.until);
        let due = !excused && (is_done || (has_come && !(self.ended && day.is_none())));
        self.rows.push(DueSession { session, day, due, excused: excused && has_come, recordings });
    }

    fn is_excused(&self, session: usize, day: NaiveDate) -> bool {
        self.words.is_excused(day)
            || self
                .words
                .absences
                .iter()
                .any(|absence| absence.days.holds(day) && !self.waits(absence, session))
    }

    /// Whether the plan waited in an absence that begins before a session: not where a later one was done in it, else as it was
    /// said, else as what was done next says, in the absence or after it.
    fn waits(&self, absence: &Absence, session: usize) -> bool {
        let next = self.done.iter().find(|done| done.day >= absence.days.from && done.session >= session);
        if next.is_some_and(|next| next.session > session && absence.days.holds(next.day)) {
            return false;
        }
        if let Some(waits) = absence.waits {
            return waits;
        }
        let mut passed = 0;
        let mut day = self.cursor;
        while let Some(next) = day.and_then(|day| self.plan.day_after(day, self.blocks[session])) {
            if next > absence.days.to {
                break;
            }
            passed += usize::from(next >= absence.days.from);
            day = Some(next);
        }
        next.is_none_or(|next| 2 * (next.session - session) < passed || passed == 0)
    }

    /// The day itself, or the planned day after the absences in which the plan waits.
    fn after_absences(&self, session: usize, slot: NaiveDate) -> NaiveDate {
        let mut slot = slot;
        for absence in &self.words.absences {
            let is_done_then = self.by_session[session].iter().any(|done| absence.days.holds(done.day));
            if absence.days.holds(slot) && !is_done_then && self.waits(absence, session) {
                slot = self.plan.first_day_after(absence.days.to, self.blocks[session]).unwrap_or(slot);
            }
        }
        slot
    }

    /// What a word on a day changes for the session that would come next; which one comes next then.
    fn decide(
        &mut self,
        session: usize,
        said: NaiveDate,
        verdict: Verdict,
        next_word: Option<NaiveDate>,
    ) -> usize {
        let newest = self.done.iter().filter(|done| done.day <= said).map(|done| done.session).max();
        let session = self.catch_up(session, newest);
        if self.first.is_none() && verdict != Verdict::Advance {
            return session;
        }
        match verdict {
            Verdict::Hold => self.hold(session, said, next_word),
            Verdict::Stop => self.stop(session, next_word),
            Verdict::Advance => self.advance(session, said, newest),
            Verdict::Ease => self.ease(session, said),
        }
    }

    /// The plan waits until what comes next is done. What fell due before the word may be done after it: the plan goes on with
    /// what came next.
    fn hold(&mut self, session: usize, said: NaiveDate, next_word: Option<NaiveDate>) -> usize {
        let comes_next = |done: &&Done| done.day > said && done.session >= session;
        let before_word = |done: &Done| next_word.is_none_or(|next| done.day <= next);
        match self.done.iter().find(comes_next).copied().filter(before_word) {
            Some(done) => self.go_on(session, done),
            None => self.stop(session, next_word),
        }
    }

    /// Nothing falls due until the next word; what is done all the same is due on its day.
    fn stop(&mut self, session: usize, next_word: Option<NaiveDate>) -> usize {
        let Some(until) = next_word else {
            self.ended = true;
            return session;
        };
        let mut session = session;
        while session < self.blocks.len()
            && let Some(done) = self.by_session[session].iter().find(|done| done.day <= until).copied()
        {
            self.push(session, Some(done.day));
            session += 1;
        }
        self.cursor = Some(self.cursor.map_or(until, |cursor| cursor.max(until)));
        session
    }

    /// What lies between the newest session and the next one that is done is neither due nor missed.
    fn advance(&mut self, session: usize, said: NaiveDate, newest: Option<usize>) -> usize {
        let from = newest.map_or(0, |newest| newest + 1);
        let is_onward = |done: &&Done| done.day > said && done.session >= from;
        let onward = self.done.iter().find(is_onward).copied();
        let skipped = from..onward.map_or(session, |done| done.session);
        let skipped: Vec<usize> = skipped.filter(|at| !self.is_done(*at)).collect();
        for row in self.rows.iter_mut().filter(|row| skipped.contains(&row.session)) {
            row.due = false;
            row.excused = true;
        }
        let Some(done) = onward.filter(|done| done.session > session) else { return session };
        let on = self.first.map(|_| done.day);
        for session in session..done.session {
            if skipped.contains(&session) {
                let recordings = Vec::new();
                self.rows.push(DueSession { session, day: None, due: false, excused: true, recordings });
            } else {
                // Done without a recording.
                self.push(session, on);
            }
        }
        self.forced = on;
        done.session
    }

    /// The block before the one in which she is falls due again, and of the block that was left what is done once more. Whoever
    /// does anything of it, or of what follows, has gone on, unless she turns back again: what of the block before was left out
    /// is not due then. What an earlier word brought back and is still to come waits behind it.
    fn ease(&mut self, session: usize, said: NaiveDate) -> usize {
        let newest = self.done.iter().rfind(|done| done.day <= said).map(|done| done.session);
        let Some(newest) = newest.filter(|newest| self.blocks[*newest] > 0) else { return session };
        let left = self.blocks[newest];
        let is_to_come = |row: &DueSession| {
            row.session < session && row.recordings.is_empty() && row.day.is_some_and(|day| day > said)
        };
        // What was done without a recording, ahead of its day, is done.
        let is_said = &self.is_said;
        let to_come: Vec<usize> = (self.rows)
            .extract_if(.., |row| is_to_come(row) && !is_said[row.session])
            .map(|row| row.session)
            .collect();
        let since: Vec<Done> = self.done.iter().filter(|done| done.day > said).copied().collect();
        let comes_next = since.iter().position(|done| done.session >= session);
        let before = &since[..comes_next.unwrap_or(since.len())];
        let is_onward = |done: &Done| self.blocks[done.session] >= left;
        let went_on = comes_next.is_some() || before.last().is_some_and(is_onward);
        let is_begun_again = before.iter().any(is_onward);
        self.cursor = Some(self.cursor.map_or(said, |cursor| cursor.max(said)));
        let falls_due = |at: &usize| (*at <= newest && self.blocks[*at] + 1 >= left) || to_come.contains(at);
        for again in (0..session).filter(falls_due).collect::<Vec<_>>() {
            let on_it: Vec<Done> = before.iter().filter(|done| done.session == again).copied().collect();
            let (day, due) = match on_it.first() {
                Some(done) => (Some(done.day), true),
                None if self.blocks[again] >= left && !to_come.contains(&again) => continue,
                None if went_on => (None, false),
                None => {
                    let planned =
                        self.cursor.and_then(|before| self.plan.day_after(before, self.blocks[again]));
                    let day = planned.map(|planned| self.after_absences(again, planned));
                    (day, day.is_some_and(|day| day <= self.until && !self.is_excused(again, day)))
                }
            };
            self.cursor = day.max(self.cursor);
            self.bring_back(again, said, day, due, &on_it);
        }
        self.cursor = before.last().map(|done| done.day).max(self.cursor);
        match comes_next.map(|at| since[at]) {
            Some(done) if !is_begun_again => self.go_on(session, done),
            _ => session,
        }
    }

    /// A session falls due again after a word.
    fn bring_back(
        &mut self,
        session: usize,
        said: NaiveDate,
        day: Option<NaiveDate>,
        due: bool,
        done: &[Done],
    ) {
        let recordings: Vec<usize> = done.iter().map(|done| done.recording).collect();
        // What an earlier word brought back and is done only now is due once.
        self.rows.retain_mut(|row| {
            let had = !row.recordings.is_empty();
            row.recordings.retain(|recording| !recordings.contains(recording));
            !(had && row.recordings.is_empty() && row.session == session)
                || row.day.is_none_or(|day| day <= said)
        });
        let excused = !due && day.is_none_or(|day| day <= self.until);
        self.rows.push(DueSession { session, day, due, excused, recordings });
    }

    /// The plan goes on with a session on the day on which it was done; those before it are due on that day too.
    fn go_on(&mut self, session: usize, done: Done) -> usize {
        for left_out in session..done.session {
            self.push(left_out, Some(done.day));
        }
        self.forced = Some(done.day);
        done.session.max(session)
    }
}

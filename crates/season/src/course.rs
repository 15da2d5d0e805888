//! The course of a plan for one athlete: which sessions fell due on which days, after what the coach said.
//!
//! Without a word of the coach the plan's own days are the course. A word moves what comes after it:
//!
//! - `hold`: from its day nothing falls due until a session of what comes next is done; from that day on the plan goes on;
//! - `stop`: the same until the next word;
//! - `ease`: the block before falls due again; those of its sessions that were left out once the athlete went on are not due.
//!   Doing the block that was left once more is going on too: each of its sessions is due on the day on which it is done again,
//!   and what follows after that day;
//! - `advance`: what lies between the newest session and the next one that is done is neither due nor missed, nor is what an
//!   `ease` brought back and was not done;
//! - an absence: nothing falls due; the plan waits (*go on*), or its days pass (*rejoin*);
//! - before `joined`, after `left`, and on an excused day nothing falls due.
//!
//! What an `ease` brought back comes before the sessions of the plan that are to come, and a later word moves it as it moves them.
//! What is done all the same is due and done.

use std::collections::HashMap;

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
    let mut order: Vec<Coming> =
        (0..blocks.len()).map(|session| Coming { session, again: false, done: Vec::new() }).collect();
    for done in done {
        order[done.session].done.push(*done);
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
        order,
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
    let mut at = 0;
    loop {
        let slot = course.order.get(at).and_then(|_| course.next_day(at));
        if let Some((day, verdict)) = decisions.peek().copied()
            && !course.ended
            && slot.is_none_or(|slot| {
                slot > day || (slot == day && !course.order[at].done.iter().any(|done| done.day <= day))
            })
            && course.forced.is_none()
        {
            decisions.next();
            let next_word = decisions.peek().map(|(day, _)| *day);
            at = course.decide(at, day, verdict, next_word);
            continue;
        }
        if at == course.order.len() {
            return course.rows;
        }
        course.forced = None;
        course.take(at, slot);
        at += 1;
    }
}

/// A session that is to come.
#[derive(Clone, Debug)]
struct Coming {
    session: usize,
    /// Whether a word brought it back.
    again: bool,
    /// What was done of it, in order of time.
    done: Vec<Done>,
}

struct Course<'a> {
    plan: &'a Plan,
    blocks: &'a [usize],
    words: &'a Words,
    /// In order of time.
    done: &'a [Done],
    /// The plan's sessions and those that words brought back, as they come.
    order: Vec<Coming>,
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
    /// The day on which a session falls due that comes next: what is done though nothing falls due any more, or was brought back,
    /// on the day on which it is done. `None` where order alone counts or nothing falls due.
    fn next_day(&self, at: usize) -> Option<NaiveDate> {
        self.first?;
        let Coming { session, again, done } = &self.order[at];
        if let (true, Some(done)) = (self.ended || *again, done.first()) {
            return Some(done.day);
        }
        if self.ended {
            return None;
        }
        let planned = match self.cursor {
            None => self.first,
            Some(before) => self.plan.day_after(before, self.blocks[*session]),
        };
        planned.map(|planned| self.forced.unwrap_or_else(|| self.after_absences(at, planned)))
    }

    /// Takes the sessions that were done already, ahead of their days; which one comes next then.
    fn catch_up(&mut self, at: usize, said: NaiveDate) -> usize {
        let is_done = |coming: &Coming| coming.done.iter().any(|done| done.day <= said);
        let next = self.order[at..].iter().rposition(is_done).map_or(at, |newest| at + newest + 1);
        for done in at..next {
            self.take(done, self.next_day(done));
        }
        next
    }

    /// Takes a session on its day, after which the plan goes on.
    fn take(&mut self, at: usize, day: Option<NaiveDate>) {
        self.push(at, day);
        let Coming { again, ref done, .. } = self.order[at];
        // What was brought back waits for what is done once more, and may be done in any order.
        let newest = done.last().map(|done| done.day).max(day);
        self.cursor = if again { newest.max(self.cursor) } else { day.or(self.cursor) };
    }

    /// Whether it was done. What was done without a recording and is brought back is open again.
    fn is_done(&self, at: usize) -> bool {
        let Coming { session, again, done } = &self.order[at];
        !done.is_empty() || self.is_said[*session] && !again
    }

    fn push(&mut self, at: usize, day: Option<NaiveDate>) {
        let Coming { session, again, ref done } = self.order[at];
        let recordings = done.iter().map(|done| done.recording).collect();
        let is_done = self.is_done(at);
        let excused = !is_done && day.is_some_and(|day| self.is_excused(session, day));
        let passed = !again && self.newest.is_some_and(|newest| session <= newest);
        let has_come = passed || day.is_some_and(|day| day <= self.until);
        let due = !excused && (is_done || (has_come && !(self.ended && day.is_none())));
        self.rows.push(DueSession { session, day, due, excused: excused && has_come, recordings });
    }

    /// A session that is neither due nor missed.
    fn leave_out(&mut self, session: usize) {
        let recordings = Vec::new();
        self.rows.push(DueSession { session, day: None, due: false, excused: true, recordings });
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
    fn after_absences(&self, at: usize, slot: NaiveDate) -> NaiveDate {
        let Coming { session, ref done, .. } = self.order[at];
        let mut slot = slot;
        for absence in &self.words.absences {
            let is_done_then = done.iter().any(|done| absence.days.holds(done.day));
            if absence.days.holds(slot) && !is_done_then && self.waits(absence, session) {
                slot = self.plan.first_day_after(absence.days.to, self.blocks[session]).unwrap_or(slot);
            }
        }
        slot
    }

    /// What a word on a day changes for the session that would come next; which one comes next then.
    fn decide(
        &mut self,
        at: usize,
        said: NaiveDate,
        verdict: Verdict,
        next_word: Option<NaiveDate>,
    ) -> usize {
        let at = self.catch_up(at, said);
        if self.first.is_none() && verdict != Verdict::Advance {
            return at;
        }
        match verdict {
            Verdict::Hold => self.hold(at, said, next_word),
            Verdict::Stop => self.stop(at, next_word),
            Verdict::Advance => self.advance(at, said),
            Verdict::Ease => self.ease(at, said),
        }
    }

    /// What of the sessions to come is done first after a day: its place and when.
    fn first_done(&self, from: usize, said: NaiveDate) -> Option<(usize, Done)> {
        let of = |at: usize| self.order[at].done.iter().map(move |done| (at, *done));
        let since = (from..self.order.len()).flat_map(of).filter(|(_, done)| done.day > said);
        since.min_by_key(|(_, done)| done.recording)
    }

    /// The plan waits until what comes next is done. What fell due before the word may be done after it: the plan goes on with
    /// what came next.
    fn hold(&mut self, at: usize, said: NaiveDate, next_word: Option<NaiveDate>) -> usize {
        let before_word = |(_, done): &(usize, Done)| next_word.is_none_or(|next| done.day <= next);
        match self.first_done(at, said).filter(before_word) {
            Some((onward, done)) => self.go_on(at, onward, done.day),
            None => self.stop(at, next_word),
        }
    }

    /// Nothing falls due until the next word; what is done all the same is due on its day.
    fn stop(&mut self, at: usize, next_word: Option<NaiveDate>) -> usize {
        let Some(until) = next_word else {
            self.ended = true;
            return at;
        };
        let mut at = at;
        while let Some(coming) = self.order.get(at)
            && let Some(done) = coming.done.iter().find(|done| done.day <= until).copied()
        {
            self.push(at, Some(done.day));
            at += 1;
        }
        self.cursor = Some(self.cursor.map_or(until, |cursor| cursor.max(until)));
        at
    }

    /// What lies between the newest session and the next one that is done is neither due nor missed, nor is what an earlier word
    /// brought back.
    fn advance(&mut self, at: usize, said: NaiveDate) -> usize {
        let by_then = self.done.iter().map(|done| (done.recording, done.day <= said));
        let by_then: HashMap<usize, bool> = by_then.collect();
        let is_done = |row: &DueSession, early: bool| {
            row.recordings.iter().any(|recording| by_then.get(recording) == Some(&early))
        };
        let newest = self.rows.iter().rposition(|row| is_done(row, true));
        let since = newest.map_or(0, |newest| newest + 1);
        let onward = self.rows[since..].iter().position(|row| is_done(row, false));
        let skipped = since..onward.map_or(self.rows.len(), |onward| since + onward);
        for row in &mut self.rows[skipped] {
            if row.recordings.is_empty() && !self.is_said[row.session] {
                row.due = false;
                row.excused = true;
            }
        }
        if onward.is_some() {
            return at;
        }
        let brought_back = self.order[at..].iter().take_while(|coming| coming.again).count();
        let next = self.first_done(at + brought_back, said);
        let end = next.map_or(at + brought_back, |(next, _)| next);
        let on = next.map(|(_, done)| done.day).filter(|_| self.first.is_some());
        for at in at..end {
            match self.is_done(at) {
                false => self.leave_out(self.order[at].session),
                true if self.order[at].again => self.take(at, self.next_day(at)),
                // Done without a recording.
                true => self.push(at, on),
            }
        }
        self.forced = on;
        end
    }

    /// The block before the one in which she is falls due again, and of the block that was left what is done once more. Whoever
    /// does anything of it, or of what follows, has gone on, unless she turns back again: what of the block before was left out
    /// is not due then. What an earlier word brought back and is still to come waits behind it.
    fn ease(&mut self, at: usize, said: NaiveDate) -> usize {
        let newest = self.newest_by(said);
        let Some(newest) = newest.filter(|newest| self.blocks[*newest] > 0) else { return at };
        let left = self.blocks[newest];
        let next = self.order[at..].iter().find(|coming| !coming.again);
        let next = next.map_or(self.blocks.len(), |coming| coming.session);
        let since: Vec<Done> = self.done.iter().filter(|done| done.day > said).copied().collect();
        let comes_next = since.iter().position(|done| done.session >= next);
        let before = &since[..comes_next.unwrap_or(since.len())];
        let is_onward = |done: &Done| self.blocks[done.session] >= left;
        let went_on = comes_next.is_some() || before.last().is_some_and(is_onward);
        let is_begun_again = before.iter().any(is_onward);
        self.cursor = self.cursor.max(Some(said));
        let of_both: Vec<usize> =
            (0..next).filter(|again| *again <= newest && self.blocks[*again] + 1 >= left).collect();
        let mut behind = self.order.split_off(at);
        behind.retain(|coming| !(coming.again && of_both.contains(&coming.session)));
        for again in of_both {
            let done: Vec<Done> = before.iter().filter(|done| done.session == again).copied().collect();
            self.take_from_before(again, said, &done);
            let is_left = self.blocks[again] >= left;
            match done.first().map(|done| done.day) {
                None if is_left => {}
                None if went_on => self.leave_out(again),
                // What was done of the block that was left before she turned back lies before what comes back.
                Some(day) if is_left || went_on => {
                    let recordings = done.iter().map(|done| done.recording).collect();
                    self.rows.push(DueSession {
                        session: again,
                        day: Some(day),
                        due: true,
                        excused: false,
                        recordings,
                    });
                }
                _ => self.order.push(Coming { session: again, again: true, done }),
            }
        }
        self.order.append(&mut behind);
        // The plan waits for what was done of the sessions before those that are to come.
        let is_to_come = |done: &&Done| self.order[at..].iter().any(|coming| coming.session == done.session);
        let newest = before.iter().rfind(|done| !is_to_come(done)).map(|done| done.day);
        self.cursor = self.cursor.max(newest);
        match comes_next.map(|at| since[at]) {
            Some(done) if !is_begun_again => {
                let is_it = |coming: &Coming| coming.session == done.session && !coming.again;
                let onward = self.order[at..].iter().position(is_it).map_or(at, |onward| at + onward);
                self.go_on(at, onward, done.day)
            }
            _ => at,
        }
    }

    /// The session that was done last up to a day: the newest recording, or what was said to be done further on since.
    fn newest_by(&self, said: NaiveDate) -> Option<usize> {
        let newest = self.done.iter().rfind(|done| done.day <= said);
        let is_newest =
            |row: &DueSession| newest.is_some_and(|done| row.recordings.contains(&done.recording));
        let since = self.rows.iter().rev().take_while(|row| !is_newest(row));
        let is_said = |row: &&DueSession| row.due && row.recordings.is_empty() && self.is_said[row.session];
        let further = since.filter(is_said).map(|row| row.session).max();
        further.max(newest.map(|done| done.session))
    }

    /// What was done after a word of a session that it brought back is of no row before it.
    fn take_from_before(&mut self, session: usize, said: NaiveDate, done: &[Done]) {
        let is_it = |recording: &usize| done.iter().any(|done| done.recording == *recording);
        self.rows.retain_mut(|row| {
            let had = !row.recordings.is_empty();
            row.recordings.retain(|recording| !is_it(recording));
            // What an earlier word brought back and is done only now is due once.
            !(had && row.recordings.is_empty() && row.session == session)
                || row.day.is_none_or(|day| day <= said)
        });
    }

    /// The plan goes on with a session on the day on which it was done; those before it are due on that day too.
    fn go_on(&mut self, at: usize, onward: usize, day: NaiveDate) -> usize {
        for left_out in at..onward {
            self.push(left_out, Some(day));
        }
        self.forced = Some(day);
        onward
    }
}

//! Which day it is: found from recordings and notes, never from a clock, so that a result does not depend on when it was
//! made.
//!
//! ```text
//! days of all recordings ─▶ clocks in doubt ─▶ the squad's day ─▶ + own notes ─▶ the athlete's day
//! ```

use std::collections::BTreeSet;

use chrono::NaiveDate;

use crate::{Entry, Error, Journal, Rules};

/// The day of one recording, as far as it concerns which day it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct RecordingDay<'a> {
    /// Whose recording it is.
    pub athlete: &'a str,
    /// The local day of its start.
    pub day: NaiveDate,
    /// What tells devices of one athlete apart; `None` where the file names none.
    pub device_key: Option<u64>,
    /// Whether somebody said that its day is right.
    pub is_confirmed: bool,
}

impl RecordingDay<'_> {
    /// A device is worn by one person: two people's devices are two, whatever they call themselves.
    fn device(&self) -> (&str, Option<u64>) {
        (self.athlete, self.device_key)
    }
}

/// A recording whose clock may be wrong.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub struct ClockInDoubt {
    /// Index of the recording.
    pub recording: usize,
    /// Its day.
    pub day: NaiveDate,
    /// Days from the squad's newest recording before it.
    pub days_after: i64,
    /// Whether it is left out; where nobody else records, it is only told.
    pub is_left_out: bool,
}

impl ClockInDoubt {
    /// What to say of it, without the name of its file.
    pub fn text(&self) -> String {
        let Self { day, days_after, is_left_out, .. } = self;
        let what = match is_left_out {
            true => {
                "its clock may be wrong, so it is left out of plan, trends and proposal until more recordings of \
                 these days join it"
            }
            false => "if its clock was wrong, plan, trend and proposal are too",
        };
        format!("recorded on {day}, {days_after} days after anybody's recording before it: {what}")
    }
}

/// From which day a squad is judged.
#[derive(Clone, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub struct SquadDay {
    /// The day that was named, else that of the squad's newest recording; `None` where there is neither.
    pub day: Option<NaiveDate>,
    /// Whether the day was named.
    pub is_named: bool,
    /// Recordings whose clock may be wrong, by day and index.
    pub clocks_in_doubt: Vec<ClockInDoubt>,
}

/// From which day one athlete is judged.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub struct AthleteDay {
    /// The day; `None` where neither a recording nor a note has one.
    pub day: Option<NaiveDate>,
    /// Whether a note of the athlete's own makes the day.
    pub is_by_note: bool,
}

impl SquadDay {
    /// Finds the day from all recordings of a squad with a day, and from the day that was named, if one was. Recordings
    /// after a named day are nothing yet.
    ///
    /// A clock is in doubt where the recordings after a hole without any of the squad's are few and of one device. What is
    /// in doubt vouches for nothing that was recorded before it.
    ///
    /// ```
    /// use boutwise_season::{RecordingDay, Rules, SquadDay};
    /// let recorded = |athlete, day: &str| RecordingDay {
    ///     athlete,
    ///     day: day.parse().unwrap(),
    ///     device_key: None,
    ///     is_confirmed: false,
    /// };
    /// let days = [recorded("Ada", "2026-04-12"), recorded("Tom", "2026-04-10"), recorded("Tom", "2062-04-13")];
    /// let squad = SquadDay::find(&days, None, &Rules::default());
    /// assert_eq!(squad.day, Some("2026-04-12".parse().unwrap()));
    /// assert_eq!(squad.clocks_in_doubt[0].recording, 2);
    /// ```
    pub fn find(recordings: &[RecordingDay<'_>], named: Option<NaiveDate>, rules: &Rules) -> Self {
        let mut order: Vec<(usize, &RecordingDay<'_>)> = recordings
            .iter()
            .enumerate()
            .filter(|(_, recording)| named.is_none_or(|named| recording.day <= named))
            .collect();
        order.sort_by_key(|(index, recording)| (recording.day, *index));
        let athletes: BTreeSet<&str> = order.iter().map(|(_, recording)| recording.athlete).collect();
        let is_left_out = athletes.len() > 1;
        let mut clocks_in_doubt = Vec::new();
        let mut believed = order.len();
        while let Some((from, days_after)) = newest_hole(&order[..believed], rules) {
            let after = &order[from..believed];
            let one_device = after.iter().all(|(_, recording)| recording.device() == after[0].1.device());
            let is_confirmed = after.iter().any(|(_, recording)| recording.is_confirmed);
            if after.len() >= rules.clock_recordings as usize || !one_device || is_confirmed {
                break;
            }
            clocks_in_doubt.extend(after.iter().map(|(recording, of)| ClockInDoubt {
                recording: *recording,
                day: of.day,
                days_after,
                is_left_out,
            }));
            believed = from;
        }
        clocks_in_doubt.sort_by_key(|doubt| (doubt.day, doubt.recording));
        let counted = if is_left_out { believed } else { order.len() };
        let newest = order[..counted].last().map(|(_, recording)| recording.day);
        Self { day: named.or(newest), is_named: named.is_some(), clocks_in_doubt }
    }

    /// Refuses a journal with a day too far after the squad's newest recording: a slip of the pen there would judge a
    /// person from a day that has not come. Where the day was named, later days are no error.
    ///
    /// # Errors
    ///
    /// The newest day of the journal, where it is too late.
    pub fn check(&self, journal: &Journal, rules: &Rules) -> Result<(), Error> {
        let Some(newest) = self.day.filter(|_| !self.is_named) else { return Ok(()) };
        let ahead = chrono::Days::new(u64::from(rules.journal_ahead_days));
        let last = newest.checked_add_days(ahead).unwrap_or(NaiveDate::MAX);
        let found = |day: NaiveDate| {
            format!(
                "{day} is {} days after the squad's newest recording, {newest}",
                (day - newest).num_days()
            )
        };
        let expected = format!("a day until {last}");
        let mend = "correct the date, or name the day to judge from with --as-of";
        journal.refuse_after(last, found, &expected, mend)
    }

    /// The day of one athlete, whose notes are `own`: the newest of them makes the day where it is later than the squad's
    /// and no day was named. What was written for a whole group makes nobody's day, so that one slip of the pen moves one
    /// person at most: a decision in it stands in the proposals of its people, and nothing falls due for it.
    pub fn of<'a>(&self, own: impl IntoIterator<Item = &'a Entry>) -> AthleteDay {
        let newest_note = own.into_iter().filter(|entry| !entry.of_group).map(|entry| entry.date).max();
        match newest_note.filter(|note| !self.is_named && self.day.is_none_or(|day| *note > day)) {
            Some(note) => AthleteDay { day: Some(note), is_by_note: true },
            None => AthleteDay { day: self.day, is_by_note: false },
        }
    }

    /// The decisions for whole groups that are later than the squad's newest recording, in words: they stand, though nobody is
    /// judged from their day. Where the day was named, what is later is left out.
    pub fn of_groups_since<'a>(&self, entries: impl IntoIterator<Item = &'a Entry>) -> Vec<String> {
        let Some(newest) = self.day.filter(|_| !self.is_named) else { return Vec::new() };
        let later = entries.into_iter().filter(|entry| entry.of_group && entry.date > newest);
        later
            .filter_map(|entry| {
                let Entry { athlete: group, date, .. } = entry;
                let word = entry.coach_decision?.word();
                Some(format!(
                    "group {group}: {word} decided on {date}, after the newest recording, {newest}: it stands in the \
                     proposals of the group and makes nobody's day; to judge all from that day give --as-of {date}"
                ))
            })
            .collect()
    }

    /// What a named day leaves out of a journal and a coach must hear first: signs and pain of later days. `known` tells the name by
    /// which all else is said of whom the journal names.
    pub fn left_out<'a>(
        &self,
        entries: impl IntoIterator<Item = &'a Entry>,
        known: impl Fn(&'a str) -> &'a str,
    ) -> Vec<String> {
        let Some(named) = self.day.filter(|_| self.is_named) else { return Vec::new() };
        let later = entries.into_iter().filter(|entry| entry.date > named);
        later
            .filter_map(|entry| {
                let what = what_hurts(entry)?;
                let (athlete, date) = (known(&entry.athlete), entry.date);
                Some(format!("{athlete}: {what} noted on {date}, after the day that was named, and left out"))
            })
            .collect()
    }
}

/// A sign or pain in an entry, in words.
fn what_hurts(entry: &Entry) -> Option<String> {
    let mut what: Vec<String> =
        entry.warning_signs.iter().map(|sign| format!("warning sign {}", sign.word())).collect();
    match entry.pain_0_10.filter(|pain| *pain > 0.0) {
        Some(pain) => what.push(format!("pain {pain}")),
        None if entry.pain_next_morning == Some(true) || entry.pain_worse_running == Some(true) => {
            what.push("pain".to_owned());
        }
        None => {}
    }
    (!what.is_empty()).then(|| crate::wording::list(&what))
}

/// The newest hole between recordings in order of their days: index of the first after it, and its length in days.
fn newest_hole(order: &[(usize, &RecordingDay<'_>)], rules: &Rules) -> Option<(usize, i64)> {
    let days_before = |index: usize| (order[index].1.day - order[index - 1].1.day).num_days();
    let index =
        (1..order.len()).rev().find(|&index| days_before(index) > i64::from(rules.clock_hole_days))?;
    Some((index, days_before(index)))
}

#[cfg(test)]
mod tests {
    use chrono::Days;

    use super::*;

    fn day(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    fn recorded<'a>(athlete: &'a str, on: &str, device: u64) -> RecordingDay<'a> {
        RecordingDay { athlete, day: day(on), device_key: Some(device), is_confirmed: false }
    }

    /// Three people until 12 April 2026.
    fn spring() -> Vec<RecordingDay<'static>> {
        vec![
            recorded("Ada", "2026-04-12", 1),
            recorded("Tom", "2026-04-10", 2),
            recorded("Mia", "2026-04-11", 3),
        ]
    }

    fn find(further: &[RecordingDay<'static>], named: Option<&str>) -> SquadDay {
        let days: Vec<_> = spring().into_iter().chain(further.iter().copied()).collect();
        SquadDay::find(&days, named.map(day), &Rules::default())
    }

    #[test]
    fn one_clock_far_ahead_moves_nobody() {
        let squad = find(&[recorded("Tom", "2031-01-01", 2)], None);
        assert_eq!((squad.day, squad.is_named), (Some(day("2026-04-12")), false));
        let [doubt] = squad.clocks_in_doubt[..] else { panic!("{squad:?}") };
        assert_eq!((doubt.recording, doubt.days_after, doubt.is_left_out), (3, 1725, true));
        assert!(doubt.text().contains("1725 days") && doubt.text().contains("left out"), "{}", doubt.text());
    }

    #[test]
    fn a_hole_must_be_longer_than_sixty_days() {
        let after = |days: u64| {
            let on = day("2026-04-12") + Days::new(days);
            find(&[RecordingDay { day: on, ..recorded("Tom", "2026-04-12", 2) }], None)
        };
        assert_eq!((after(60).day, after(60).clocks_in_doubt.len()), (Some(day("2026-06-11")), 0));
        assert_eq!((after(61).day, after(61).clocks_in_doubt.len()), (Some(day("2026-04-12")), 1));
    }

    #[test]
    fn three_recordings_two_devices_two_people_or_a_word_confirm_the_days_after_a_hole() {
        let tom = |on, device| recorded("Tom", on, device);
        let doubtful = |further: &[RecordingDay<'static>]| find(further, None).clocks_in_doubt.len();
        assert_eq!(doubtful(&[tom("2026-09-01", 2), tom("2026-09-03", 2)]), 2);
        assert_eq!(doubtful(&[tom("2026-09-01", 2), tom("2026-09-03", 2), tom("2026-09-05", 2)]), 0);
        assert_eq!(doubtful(&[tom("2026-09-01", 2), tom("2026-09-03", 5)]), 0);
        // The same program on two people's phones.
        assert_eq!(doubtful(&[tom("2026-09-01", 2), recorded("Ada", "2026-09-03", 2)]), 0);
        let confirmed = RecordingDay { is_confirmed: true, ..tom("2026-09-01", 2) };
        assert_eq!(doubtful(&[confirmed, tom("2026-09-03", 2)]), 0);
        // Without a name two recordings of one person are of one device as far as anybody knows.
        let unnamed = |on| RecordingDay { device_key: None, ..tom(on, 0) };
        assert_eq!(doubtful(&[unnamed("2026-09-01"), unnamed("2026-09-03")]), 2);
    }

    #[test]
    fn a_wrong_clock_vouches_for_no_other() {
        let squad = find(&[recorded("Tom", "2031-01-01", 2), recorded("Ada", "2062-04-01", 1)], None);
        assert_eq!((squad.day, squad.clocks_in_doubt.len()), (Some(day("2026-04-12")), 2));
    }

    #[test]
    fn a_lone_runner_after_a_long_rest_is_told_and_goes_on() {
        let days = [recorded("Ada", "2026-01-12", 1), recorded("Ada", "2026-04-12", 1)];
        let squad = SquadDay::find(&days, None, &Rules::default());
        assert_eq!(squad.day, Some(day("2026-04-12")));
        assert_eq!(squad.clocks_in_doubt.len(), 1);
        assert!(
            !squad.clocks_in_doubt[0].is_left_out && !squad.clocks_in_doubt[0].text().contains("left out")
        );
    }

    #[test]
    fn a_named_day_is_that_day_and_later_recordings_are_nothing_yet() {
        let late = [recorded("Tom", "2026-09-01", 2)];
        let squad = find(&late, Some("2026-04-20"));
        assert_eq!(
            (squad.day, squad.is_named, squad.clocks_in_doubt.len()),
            (Some(day("2026-04-20")), true, 0)
        );
        assert_eq!(find(&late, Some("2026-09-02")).clocks_in_doubt.len(), 1);
        assert_eq!(SquadDay::find(&[], None, &Rules::default()).day, None);
    }

    fn journal(rows: &str) -> Journal {
        let text = format!("athlete,date,pain_0_10,warning_sign\n{rows}");
        Journal::read(text.as_bytes(), "journal.csv", &crate::SignWords::default()).unwrap()
    }

    #[test]
    fn a_note_makes_the_day_of_one_person_only() {
        let journal = journal("Tom,2026-04-13,,chest\nAda,2026-04-02,,\n");
        let squad = find(&[], None);
        assert_eq!(squad.check(&journal, &Rules::default()), Ok(()));
        let tom = squad.of(journal.of("Tom", None));
        assert_eq!(tom, AthleteDay { day: Some(day("2026-04-13")), is_by_note: true });
        let others = AthleteDay { day: Some(day("2026-04-12")), is_by_note: false };
        assert_eq!((squad.of(journal.of("Ada", None)), squad.of([])), (others, others));
        let nothing = SquadDay::find(&[], None, &Rules::default());
        assert_eq!(nothing.of(journal.of("Ada", None)).day, Some(day("2026-04-02")));
        assert_eq!(nothing.of([]).day, None);
    }

    #[test]
    fn a_word_for_a_group_after_the_newest_recording_makes_nobodys_day_and_is_said() {
        let text = "athlete,group,date,coach_decision\n,Harbour,2026-04-13,stop\n,Harbour,2026-04-12,hold\nTom,,2026-04-13,hold\n";
        let journal = Journal::read(text.as_bytes(), "journal.csv", &crate::SignWords::default()).unwrap();
        let squad = find(&[], None);
        let of_group = journal.entries.iter().filter(|entry| entry.of_group);
        assert_eq!(squad.of(of_group).day, Some(day("2026-04-12")));
        assert_eq!(
            squad.of_groups_since(&journal.entries),
            [
                "group Harbour: stop decided on 2026-04-13, after the newest recording, 2026-04-12: it stands in the proposals \
                 of the group and makes nobody's day; to judge all from that day give --as-of 2026-04-13"
            ]
        );
        let named = find(&[], Some("2026-04-12"));
        assert!(named.of_groups_since(&journal.entries).is_empty(), "what is later is left out");
    }

    #[test]
    fn a_journal_day_far_ahead_is_refused_with_its_place_unless_the_day_is_named() {
        let squad = find(&[], None);
        assert!(squad.check(&journal("Tom,2026-04-26,,\n"), &Rules::default()).is_ok());
        let far = journal("Ada,2026-04-12,1,\nTom,2026-04-27,,chest\nAda,2026-04-13,,\n");
        let error = squad.check(&far, &Rules::default()).unwrap_err();
        assert_eq!((error.line(), error.column(), error.name()), (3, 5, "journal.csv"));
        assert_eq!(error.problem(), "2026-04-27 is 15 days after the squad's newest recording, 2026-04-12");
        let text = error.to_string();
        assert!(text.contains("a day until 2026-04-26") && text.contains("--as-of"), "{text}");
        let named = find(&[], Some("2026-04-12"));
        assert!(named.check(&far, &Rules::default()).is_ok());
        assert_eq!(
            named.left_out(&far.entries, |name| if name == "Tom" { "Thomas" } else { name }),
            ["Thomas: warning sign chest noted on 2026-04-27, after the day that was named, and left out"]
        );
        assert!(!named.of(far.of("Tom", None)).is_by_note);
    }
}

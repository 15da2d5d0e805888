//! Lays an athlete's recordings on the plan: the likeliest explanation, found exactly.
//!
//! # The score
//!
//! Every recording is laid on one session of the plan, or on none. Laid sessions follow each other in the plan's
//! order; a session may be laid twice (done again) or never (missed). A laying has as its points the natural logarithm of
//! how likely it is, up to what is the same for all layings. It is the sum of
//!
//! - for each recording laid, its **likeness**: the log odds that it is a session of the block and not off the plan
//!   ([`Likeness`]); recordings on no session bring 0;
//! - for each **session**, that it was missed, attended, or done again;
//! - for each **date**, that the session was done on its day or so many days beside it.
//!
//! A break, a late start or a session done again may *delay* the plan. That is rare and costs once; from then on the
//! delayed day is the session's day. A delay is a number of days, and of planned days on which the plan waited.
//! How rare each is, says [`CalendarScore`] in % of the sessions. Where order alone counts, no date says anything.
//!
//! Where the start is not known, the day of each of the first recordings may have been the first.
//!
//! # Stable under new recordings
//!
//! The recordings are taken day by day. Those of a new day are first laid with all earlier ones left where they are;
//! only where the best laying of all is clearly likelier (`rewrite_odds`) does it take over. So the past is
//! rewritten only with cause, and the result is within those odds of the best.
//!
//! # The search
//!
//! The search is dynamic programming: the state is the newest laid session with the plan's delay. Time and memory
//! O(r·s·d) for r recordings, s sessions and d delays that may have occurred by then. The points of all delays of a session
//! stand side by side, so that several are reckoned at once.

mod bests;
mod chances;
mod due;
mod search;

use chrono::NaiveDate;

use crate::{CalendarScore, Likeness, Plan, SessionId};
use chances::Chances;
use search::{Held, Search};

/// Where a recording was laid.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Laid {
    /// The session.
    pub session: SessionId,
    /// Index of the session in the whole plan, from 0.
    pub index: usize,
    /// Whether the session had been laid before.
    pub again: bool,
    /// Days after the planned day; negative before it. `None` where order alone counts.
    pub delay_days: Option<i64>,
}

/// A plan with an athlete's recordings laid on it.
#[derive(Clone, Debug, PartialEq)]
pub struct Laying {
    /// For each recording its session, in the order of the recordings.
    pub recordings: Vec<Option<Laid>>,
    /// The planned day of each session; `None` where order alone counts or no recording was laid.
    pub days: Vec<Option<NaiveDate>>,
    /// The points.
    pub points: f64,
}

/// Lays recordings on a plan.
///
/// `days` are the local days of the recordings, in order of time. `start` is the day of the plan's first session;
/// without it the plan starts on the day of one of the first recordings.
/// `likeness` tells how likely a recording (by index) is a session of a block (by index); it is asked once for each pair.
///
/// ```
/// use boutwise_season::{CalendarScore, Likeness, Plan, lay};
/// let plan = Plan::parse("[[block]]\nsessions = 3\nevery_days = 2\nsession = '10:00 run'", "p").unwrap();
/// let day = |day| chrono::NaiveDate::from_ymd_opt(2026, 3, day).unwrap();
/// // The second session was skipped.
/// let laying = lay(&plan, Some(day(2)), &[day(2), day(6)], &CalendarScore::default(), |_, _| {
///     Likeness { log_odds: 5.0, walked: false }
/// });
/// let numbers: Vec<_> = laying.recordings.iter().flatten().map(|laid| laid.session.number).collect();
/// assert_eq!(numbers, [1, 3]);
/// ```
pub fn lay(
    plan: &Plan,
    start: Option<NaiveDate>,
    days: &[NaiveDate],
    score: &CalendarScore,
    likeness: impl Fn(usize, usize) -> Likeness,
) -> Laying {
    let sessions: Vec<SessionId> = plan.sessions().collect();
    let likenesses: Vec<Vec<Likeness>> = (0..days.len())
        .map(|recording| (0..plan.blocks.len()).map(|block| likeness(recording, block)).collect())
        .collect();
    let mut starts: Vec<NaiveDate> = match start {
        Some(start) => vec![start],
        None => days.iter().copied().take(score.start_recordings as usize).collect(),
    };
    starts.dedup();
    let mut searches: Vec<Search<'_>> = starts
        .iter()
        .map(|first| {
            Search::new(
                &sessions,
                plan.dates(*first),
                days,
                &likenesses,
                Chances::new(score),
                start.is_some(),
            )
        })
        .collect();
    let mut held: Option<(usize, Held)> = None;
    let mut first = 0;
    while first < days.len() {
        let until = first + days[first..].iter().take_while(|day| **day == days[first]).count();
        held = held.map(|(search, held)| (search, searches[search].extend(held, until)));
        let mut best = (0, f64::NEG_INFINITY);
        for (at, search) in searches.iter_mut().enumerate() {
            (first..until).for_each(|recording| search.take(recording));
            let points = search.end(days[first]);
            let has_started = start.is_some() || starts[at] <= days[first];
            if has_started && points > best.1 {
                best = (at, points);
            }
        }
        let kept = held
            .as_ref()
            .map_or(f64::NEG_INFINITY, |(search, held)| searches[*search].value(held, days[first]));
        if best.1 > kept + score.rewrite_odds.ln() || held.is_none() {
            let search = &searches[best.0];
            held = Some((best.0, search.hold(&search.trace(until, days[first]))));
        }
        first = until;
    }
    match held {
        Some((search, held)) => searches[search].laying(&held),
        None => Laying { recordings: Vec::new(), days: vec![None; sessions.len()], points: 0.0 },
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn day(day: u64) -> NaiveDate {
        NaiveDate::from_ymd_opt(2026, 3, 1).unwrap() + chrono::Days::new(day)
    }

    /// The documented score, by plain recursion over everything that could be laid.
    struct Slow<'a> {
        /// More planned days than sessions, for a plan that waits.
        planned: &'a [Option<NaiveDate>],
        sessions: usize,
        days: &'a [NaiveDate],
        likeness: &'a dyn Fn(usize, usize) -> Likeness,
        chances: Chances,
    }

    /// Days late and planned days waited.
    type Delay = (i64, usize);

    impl Slow<'_> {
        fn due(&self, session: usize, (days, waited): Delay) -> Option<NaiveDate> {
            self.planned[session + waited].map(|planned| planned + chrono::TimeDelta::days(days))
        }

        /// Delays with which a session falls due on a day.
        fn delays(&self, session: usize, on: NaiveDate) -> Vec<Delay> {
            let may_be = |late: i64| {
                let late_by =
                    |planned: &NaiveDate| self.days.iter().any(|day| (*day - *planned).num_days() == late);
                let occurs = self.planned[..self.sessions].iter().flatten().any(late_by);
                late == 0 || ((1..=self.chances.longest_delay_days).contains(&late) && occurs)
            };
            let of = |waited: usize| Some(((on - self.planned[session + waited]?).num_days(), waited));
            (0..=3).filter_map(of).filter(|(late, _)| may_be(*late)).collect()
        }

        /// Points of the recordings from one on, after so many sessions and with a delay of the plan.
        fn best(&self, recording: usize, passed: usize, delay: Delay, newest: Option<NaiveDate>) -> f64 {
            let c = self.chances;
            let Some(&on) = self.days.get(recording) else {
                let last = self.days[self.days.len() - 1];
                let due =
                    (passed..self.sessions).filter(|s| self.due(*s, delay).is_some_and(|due| due <= last));
                return c.missed * due.count() as f64;
            };
            let mut best = self.best(recording + 1, passed, delay, newest);
            let mut lay = |points: f64, session: usize, delay: Delay| {
                best = best.max(points + self.best(recording + 1, session + 1, delay, Some(on)));
            };
            for session in passed..self.sessions {
                let Likeness { log_odds, walked } = (self.likeness)(recording, session);
                let dated = self.planned[session].is_some();
                let missed = if dated { c.missed } else { c.skipped } * (session - passed) as f64;
                let attended = log_odds + c.attended + missed;
                let Some(due) = self.due(session, delay) else {
                    if !walked {
                        lay(attended, session, delay);
                    }
                    continue;
                };
                let off = (on - due).num_days().abs();
                if off == 0 {
                    lay(attended + c.on_day, session, delay);
                } else if !walked {
                    lay(attended + c.moved + c.day_further * (off - 1) as f64, session, delay);
                    if session == passed && newest == Some(on) {
                        lay(attended + c.same_day, session, delay);
                    }
                }
                for changed in self.delays(session, on) {
                    lay(attended + c.delayed + c.on_day, session, changed);
                }
            }
            let Some(session) = passed.checked_sub(1) else { return best };
            let Likeness { log_odds, walked } = (self.likeness)(recording, session);
            if !walked {
                let soon = newest.is_some_and(|newest| (on - newest).num_days() <= 1);
                lay(log_odds + if soon { c.again } else { c.again_later }, session, delay);
                let waiting = (delay.0, delay.1 + 1);
                if delay.1 < 3 && self.due(session, waiting) == Some(on) {
                    lay(log_odds + c.waiting, session, waiting);
                }
            }
            best
        }
    }

    fn any_likeness() -> impl Strategy<Value = Likeness> {
        prop_oneof![
            6 => (-4.0..30.0f64).prop_map(|log_odds| Likeness { log_odds, walked: false }),
            1 => (-4.0..3.0f64).prop_map(|log_odds| Likeness { log_odds, walked: true }),
        ]
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(2000))]

        #[test]
        fn the_search_finds_the_most_points_that_there_are(
            dated in any::<bool>(),
            known_start in any::<bool>(),
            mut offsets in proptest::collection::vec(0u64..12, 1..5),
            likenesses in proptest::collection::vec(proptest::array::uniform2(any_likeness()), 4),
        ) {
            let rhythm = if dated { "every_days = 2" } else { "" };
            let text = |last: usize| format!(
                "[[block]]\nsessions = 2\n{rhythm}\nsession = '5:00 run'\n\
                 [[block]]\nsessions = {last}\n{rhythm}\nsession = '9:00 run'"
            );
            let plan = Plan::parse(&text(2), "p").unwrap();
            offsets.sort_unstable();
            let days: Vec<NaiveDate> = offsets.iter().map(|offset| day(*offset)).collect();
            let score = CalendarScore {
                rewrite_odds: 1.0,
                longest_delay_days: 5,
                start_recordings: 1,
                ..CalendarScore::default()
            };
            let start = known_start.then(|| day(2));
            let laying = lay(&plan, start, &days, &score, |recording, block| likenesses[recording][block]);
            let start = start.unwrap_or(days[0]);
            let slow = Slow {
                planned: &Plan::parse(&text(5), "p").unwrap().dates(start),
                sessions: 4,
                days: &days,
                likeness: &|recording, session| likenesses[recording][session / 2],
                chances: Chances::new(&score),
            };
            let late: Vec<Delay> = slow.delays(0, start).into_iter().chain((1..=5).map(|days| (days, 0))).collect();
            let occurs = |(days, _): &&Delay| {
                let occurs = || slow.delays(0, start + chrono::TimeDelta::days(*days)).contains(&(*days, 0));
                *days == 0 || known_start && occurs()
            };
            let best = late.iter().filter(|(_, waited)| *waited == 0).filter(occurs).map(|delay| {
                let late_start = if delay.0 == 0 { 0.0 } else { slow.chances.late_start };
                late_start + slow.best(0, 0, *delay, None)
            });
            let best = if dated { best.fold(f64::NEG_INFINITY, f64::max) } else { slow.best(0, 0, (0, 0), None) };
            prop_assert!((laying.points - best).abs() < 1e-6, "{} {}", laying.points, best);
        }
    }

    #[test]
    fn a_walk_is_laid_on_its_very_day_only() {
        let plan = Plan::parse("[[block]]\nsessions = 2\nevery_days = 2\nsession = '5:00 run'", "p").unwrap();
        let lay = |days: &[u64]| {
            let days: Vec<NaiveDate> = days.iter().map(|offset| day(*offset)).collect();
            let walked = Likeness { log_odds: 2.0, walked: true };
            lay(&plan, Some(day(0)), &days, &CalendarScore::default(), |_, _| walked).recordings
        };
        assert_eq!(lay(&[0, 1, 2]).iter().map(Option::is_some).collect::<Vec<_>>(), [true, false, true]);
        assert_eq!(lay(&[0, 3]).iter().map(Option::is_some).collect::<Vec<_>>(), [true, false]);
    }

    #[test]
    fn a_plan_that_waits_goes_on_by_its_own_days_of_the_week() {
        let text = "[[block]]\nsessions = 6\ndays = ['Mon', 'Wed', 'Sat']\nsession = '5:00 run'";
        let plan = Plan::parse(text, "p").unwrap();
        // Monday to Wednesday of the week after; then the second session once more, and the rest one planned day late.
        let days: Vec<NaiveDate> = [1, 3, 6, 8, 10, 13, 15].into_iter().map(day).collect();
        let laying = lay(&plan, Some(day(1)), &days, &CalendarScore::default(), |_, _| Likeness {
            log_odds: 20.0,
            walked: false,
        });
        assert_eq!(laying.recordings.iter().flatten().filter(|laid| laid.again).count(), 1);
        assert_eq!(laying.recordings[6].unwrap().index, 5);
    }
}

//! Lays an athlete's recordings on the plan: the one explanation with the most points, found exactly.
//!
//! # The score
//!
//! Every recording is laid on one session of the plan, or on none. Laid sessions follow each other in the plan's
//! order; a session may be laid twice (done again) or never (skipped). A laying has the sum of these points, all
//! of them numbers of [`CalendarScore`]:
//!
//! - **Likeness**: adherence to the session less a share of what was overdone, less the bar that a recording off
//!   the plan does not reach; more for a full match.
//! - **Date**: full points on the session's day, fewer for each day off it. Being late is forgiven in two ways,
//!   and the kinder one counts: against the plan's own day, and against the delay of the session before. So a
//!   break of two weeks or a late start costs once, and the way back to the plan's own days is free.
//!   Being early costs more than being late, without limit. Where order alone counts, a constant.
//! - **Order**: points off for skipped sessions (the second in a row costs less than the first, since weeks
//!   off hang together) and for sessions done again.
//!
//! A walk is laid on a session with runs on its very day only. Recordings that are on no session bring nothing.
//! On equal points the earlier session and the later predecessor are taken, so the result does not depend on the
//! order of files.
//!
//! The search is dynamic programming over (recording, session): the state is the newest laid recording with its
//! session, which fixes the delay. Time O(r·s²), and O(r²·s²) over recordings that are late; memory O(r·s).

use chrono::NaiveDate;

use crate::{CalendarScore, Plan, SessionId};

/// How well a recording matches what a block asks for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Likeness {
    /// Adherence and overdone share, both in %.
    Fit {
        /// Adherence, 0 to 100.
        adherence_pct: f64,
        /// Run seconds beyond the plan, in % of the plan.
        overdone_pct: f64,
    },
    /// Only walked, where runs were asked for.
    Walked,
    /// Running and walking can't be told apart.
    Unresolvable,
    /// Can't be this session.
    None,
}

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
/// without it the plan starts on the day of the first recording that is laid when order alone counts.
/// `likeness` tells how well a recording (by index) matches a block (by index); it is asked once for each pair.
///
/// ```
/// use boutwise_season::{CalendarScore, Likeness, Plan, lay};
/// let plan = Plan::parse("[[block]]\nsessions = 3\nevery_days = 2\nsession = '10:00 run'", "p").unwrap();
/// let day = |day| chrono::NaiveDate::from_ymd_opt(2026, 3, day).unwrap();
/// // The second session was skipped.
/// let laying = lay(&plan, Some(day(2)), &[day(2), day(6)], &CalendarScore::default(), |_, _| {
///     Likeness::Fit { adherence_pct: 100.0, overdone_pct: 0.0 }
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
    let blocks = plan.blocks.len();
    let contents: Vec<Content> = (0..days.len())
        .flat_map(|recording| (0..blocks).map(move |block| (recording, block)))
        .map(|(recording, block)| Content::new(likeness(recording, block), score))
        .collect();
    let search = |planned: Vec<Option<NaiveDate>>| -> Laying {
        Search { sessions: &sessions, planned: &planned, days, contents: &contents, blocks, score }.run()
    };
    let undated = vec![None; sessions.len()];
    let start = start.or_else(|| {
        let by_order = search(undated.clone());
        by_order.recordings.iter().position(Option::is_some).map(|first| days[first])
    });
    search(start.map_or(undated, |start| plan.dates(start)))
}

/// Points of a recording for what was done, bar included.
#[derive(Clone, Copy)]
struct Content {
    points: f64,
    /// May only be laid on the very day.
    walked: bool,
}

impl Content {
    fn new(likeness: Likeness, score: &CalendarScore) -> Self {
        let points = match likeness {
            Likeness::Fit { adherence_pct, overdone_pct } => {
                let alike = adherence_pct - score.overdone_share * overdone_pct.clamp(0.0, 100.0);
                let width = (score.full_match_at - score.full_match_from).max(f64::MIN_POSITIVE);
                let full = ((alike - score.full_match_from) / width).clamp(0.0, 1.0);
                alike + score.full_match * full - score.bar
            }
            Likeness::Walked => score.walked - score.bar,
            Likeness::Unresolvable => score.unresolvable - score.bar,
            Likeness::None => f64::NEG_INFINITY,
        };
        Self { points, walked: likeness == Likeness::Walked }
    }
}

/// The best laying that ends with one recording on one session.
#[derive(Clone, Copy)]
struct State {
    points: f64,
    /// Recording and session before; `None` at the start.
    before: Option<(usize, usize)>,
}

const IMPOSSIBLE: State = State { points: f64::NEG_INFINITY, before: None };

impl State {
    fn improve(&mut self, points: f64, before: Option<(usize, usize)>) {
        if points > self.points {
            *self = Self { points, before };
        }
    }
}

struct Search<'a> {
    sessions: &'a [SessionId],
    planned: &'a [Option<NaiveDate>],
    days: &'a [NaiveDate],
    contents: &'a [Content],
    blocks: usize,
    score: &'a CalendarScore,
}

impl Search<'_> {
    fn run(&self) -> Laying {
        let (recordings, sessions) = (self.days.len(), self.sessions.len());
        let mut states = vec![IMPOSSIBLE; recordings * sessions];
        // For each session the best state of the recordings so far, and its recording.
        let mut best: Vec<(f64, usize)> = vec![(f64::NEG_INFINITY, 0); sessions];
        for recording in 0..recordings {
            for session in 0..sessions {
                let content = self.contents[recording * self.blocks + self.sessions[session].block];
                if content.points > f64::NEG_INFINITY {
                    states[recording * sessions + session] = self.state(recording, session, content, &states, &best);
                }
            }
            for (session, best) in best.iter_mut().enumerate() {
                let points = states[recording * sessions + session].points;
                if points >= best.0 && points > f64::NEG_INFINITY {
                    *best = (points, recording);
                }
            }
        }
        self.trace(&states)
    }

    /// Best way to lay a recording on a session, as the newest.
    fn state(
        &self,
        recording: usize,
        session: usize,
        content: Content,
        states: &[State],
        best: &[(f64, usize)],
    ) -> State {
        let delay = self.delay_days(recording, session);
        let by_plan = match delay {
            None if content.walked => f64::NEG_INFINITY,
            None => self.score.undated,
            Some(0) => self.score.on_day,
            Some(_) if content.walked => f64::NEG_INFINITY,
            Some(days) => self.score.on_day - self.off_day(days),
        };
        let mut state = IMPOSSIBLE;
        let at_start = self.score.skipped_at_start * session as f64;
        state.improve(content.points + by_plan - at_start, None);
        for before in (0..=session).rev() {
            let (points, newest) = best[before];
            if points == f64::NEG_INFINITY {
                continue;
            }
            if before == session {
                if !content.walked {
                    state.improve(points + content.points - self.score.repeat_cost, Some((newest, before)));
                }
                continue;
            }
            let order = content.points - self.skipped(before, session);
            state.improve(points + order + by_plan, Some((newest, before)));
            // Late: as late as the session before is no new delay. No predecessor may beat this bound otherwise.
            let Some(delay) = delay.filter(|delay| *delay > 0) else { continue };
            if points + order + self.score.on_day - self.score.same_delay <= state.points {
                continue;
            }
            for earlier in (0..recording).rev() {
                let points = states[earlier * self.sessions.len() + before].points;
                let Some(known) = self.delay_days(earlier, before).filter(|known| *known > 0) else { continue };
                let by_delay = match delay - known {
                    0 => self.score.on_day - self.score.same_delay,
                    _ if content.walked => continue,
                    days => self.score.on_day - self.score.same_delay - self.off_day(days.abs()),
                };
                state.improve(points + order + by_delay, Some((earlier, before)));
            }
        }
        state
    }

    fn delay_days(&self, recording: usize, session: usize) -> Option<i64> {
        self.planned[session].map(|planned| (self.days[recording] - planned).num_days())
    }

    /// Points off for so many days late (positive) or early (negative).
    fn off_day(&self, days: i64) -> f64 {
        let score = self.score;
        if days < 0 {
            score.early - score.early_day * days as f64
        } else {
            (score.moved + score.late_day * days as f64).min(score.late_most)
        }
    }

    /// Points off for the sessions between two laid ones.
    fn skipped(&self, before: usize, session: usize) -> f64 {
        let count = session - before - 1;
        if count == 0 {
            0.0
        } else if self.planned[session].is_none() {
            self.score.skipped_undated * count as f64
        } else {
            self.score.skipped + self.score.skipped_more * (count - 1) as f64
        }
    }

    /// Follows the best state back to its start.
    fn trace(&self, states: &[State]) -> Laying {
        let sessions = self.sessions.len();
        let mut recordings = vec![None; self.days.len()];
        let mut points = 0.0;
        let mut newest = None;
        for (at, state) in states.iter().enumerate() {
            if state.points > points {
                points = state.points;
                newest = Some((at / sessions, at % sessions));
            }
        }
        while let Some((recording, session)) = newest {
            let before = states[recording * sessions + session].before;
            recordings[recording] = Some(Laid {
                session: self.sessions[session],
                index: session,
                again: before.is_some_and(|(_, before)| before == session),
                delay_days: self.delay_days(recording, session),
            });
            newest = before;
        }
        Laying { recordings, days: self.planned.to_vec(), points }
    }
}

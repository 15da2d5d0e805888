//! One athlete's audit: everything that the tables and the report page say about a person.
//!
//! ```text
//! outings ─▶ matches ─▶ laying ─▶ planned sessions ─▶ attendance
//!                          │
//! journal ─▶ evidence ◀────┘─▶ situation ─▶ proposal ─▶ next session
//! ```

use std::collections::BTreeMap;

use boutwise_bouts::statistics::{median, theil_sen};
use boutwise_bouts::{AdherenceSettings, Amount, Bout, Gait, Kind, SessionMatch, match_session};
use chrono::{Datelike, Days, IsoWeek, NaiveDate};

use crate::attendance::mark_interruptions;
use crate::day::is_clock_set;
use crate::evidence::Notes;
use crate::standing::Standing;
use crate::weeks::run_distances;
use crate::{
    Asked, Athlete, Attendance, Caution, Effort, Entry, Habit, Laid, Laying, LongestRun, MaxHeartRate,
    NextSession, Outcome, Outing, Plan, PlannedSession, Progress, Proposal, Readiness, Rules,
    SessionEvidence, Settings, Shown, Situation, Triggers, Verdict, Week, largest_before, lay,
    rise_14_days_pct, weeks,
};

/// Distances whose readiness is looked at, in metres.
pub const READINESS_DISTANCES_M: [f64; 2] = [3000.0, 5000.0];
/// Share of a long rep from which it counts for readiness (own choice, as the dose of a good session).
const LONG_REP_SHARE: f64 = 0.9;

/// A plan that the athlete follows.
#[derive(Clone, Copy, Debug)]
pub struct PlanInUse<'a> {
    /// The plan.
    pub plan: &'a Plan,
    /// Day of its first session. A later plan takes over on its start.
    pub start: Option<NaiveDate>,
}

/// Everything that is known of one athlete.
#[derive(Clone, Copy, Debug)]
pub struct AthleteInput<'a> {
    /// The recordings, in any order.
    pub outings: &'a [Outing],
    /// The plans in order of their starts; none, one, or several where the plan was switched.
    pub plans: &'a [PlanInUse<'a>],
    /// The row of the squad file.
    pub athlete: Option<&'a Athlete>,
    /// The journal's entries, in any order.
    pub journal: &'a [&'a Entry],
    /// The day that counts as today; later recordings and entries are left out.
    pub as_of: NaiveDate,
    /// Rules and points.
    pub settings: &'a Settings,
}

/// What one recording is to the plan.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Role {
    /// A session of the plan.
    Session(Laid),
    /// A walk on no session.
    Walk,
    /// A run on no session, or one that can't be told.
    Extra,
    /// After the day that counts as today: left out of everything.
    Later,
    /// By a clock that was not set: left out of everything that needs a day.
    NoDay,
}

impl Role {
    /// Whether the recording counts at all.
    pub fn counts(self) -> bool {
        !matches!(self, Self::Later | Self::NoDay)
    }
}

/// One recording with what the season knows of it.
#[derive(Clone, Debug, PartialEq)]
pub struct OutingAudit {
    /// Index in the input.
    pub outing: usize,
    /// Index of the plan that it falls to, if there is any.
    pub plan: Option<usize>,
    /// What it is to the plan.
    pub role: Role,
    /// The match with the session that it is laid on, where it is resolvable.
    pub matched: Option<SessionMatch>,
    /// What became of that session in this recording.
    pub outcome: Option<Outcome>,
    /// Effort by heart rate.
    pub effort: Effort,
}

/// The audit of one athlete.
#[derive(Clone, Debug, PartialEq)]
pub struct AthleteAudit {
    /// The recordings in order of time.
    pub outings: Vec<OutingAudit>,
    /// The planned sessions of all plans in order, with the index of their plan.
    pub planned: Vec<(usize, PlannedSession)>,
    /// Attendance and dose over everything that is due.
    pub attendance: Attendance,
    /// The same by block: index of the plan, label, sums. Blocks with nothing due are left out.
    pub attendance_by_block: Vec<(usize, String, Attendance)>,
    /// The same by the ISO week of the planned day. Weeks with nothing due are left out, undated plans too.
    pub attendance_by_week: Vec<(IsoWeek, Attendance)>,
    /// The weeks.
    pub weeks: Vec<Week>,
    /// The longest unbroken run and its trend.
    pub progress: Progress,
    /// How regularly they go out.
    pub habit: Habit,
    /// The largest heart rate, given or estimated.
    pub max_heart_rate: Option<MaxHeartRate>,
    /// Trend of the fall of the heart rate in walks, in beats per minute and week.
    pub heart_rate_fall_trend_bpm_per_week: Option<f64>,
    /// Trend of the metres run for each heartbeat, per week.
    pub metres_per_beat_trend_per_week: Option<f64>,
    /// Growth of the run distance over 14 days in %.
    pub rise_14_days_pct: Option<f64>,
    /// Readiness for 3 km and 5 km without a break, where the evidence allows.
    pub readiness: Vec<Readiness>,
    /// The proposal.
    pub proposal: Proposal,
    /// The coach's own decision, where it is newer than the newest session.
    pub coach_decision: Option<(NaiveDate, Verdict)>,
    /// The next session, by the coach's decision or else the proposal.
    pub next: Option<NextSession>,
    /// The first day on which a run is proposed again, where extra rest was called for.
    pub no_run_before: Option<NaiveDate>,
    /// The cautions to show.
    pub cautions: Vec<Caution>,
}

impl AthleteAudit {
    /// Rank for a list that begins with those who need attention first: 0 is the most urgent.
    pub fn attention(&self) -> u8 {
        match (self.proposal.verdict, self.proposal.rest_days > 0) {
            (Some(Verdict::Stop), _) => 0,
            (Some(Verdict::Ease), true) => 1,
            (Some(Verdict::Ease), false) => 2,
            (Some(Verdict::Hold), true) => 3,
            (Some(Verdict::Hold), false) => 4,
            (None, _) => 5,
            (Some(Verdict::Advance), _) => 6,
        }
    }
}

/// Audits one athlete. Pure, and independent of the order of its input.
pub fn audit_athlete(input: &AthleteInput<'_>) -> AthleteAudit {
    let rules = &input.settings.rules;
    let mut order: Vec<usize> = (0..input.outings.len()).collect();
    order.sort_by(|a, b| {
        let key = |at: &usize| {
            let outing = &input.outings[*at];
            (outing.start_utc, &outing.file, outing.session)
        };
        key(a).cmp(&key(b))
    });
    let birth_year = input.athlete.and_then(|athlete| athlete.birth_year);
    let max_heart_rate = MaxHeartRate::of(
        input.athlete.and_then(|athlete| athlete.max_hr_bpm),
        birth_year.map(|year| input.as_of.year() - year),
        rules,
    );
    let resting_bpm = input.athlete.and_then(|athlete| athlete.resting_hr_bpm);
    let mut outings: Vec<OutingAudit> = order
        .iter()
        .map(|&outing| {
            let held = &input.outings[outing];
            let role = if !is_clock_set(held.day()) {
                Role::NoDay
            } else if held.day() > input.as_of {
                Role::Later
            } else if held.resolvable && !held.has_runs() {
                Role::Walk
            } else {
                Role::Extra
            };
            OutingAudit {
                outing,
                plan: role.counts().then(|| plan_on(input.plans, held.day())).flatten(),
                role,
                matched: None,
                outcome: None,
                effort: Effort::of(held, max_heart_rate, resting_bpm, rules),
            }
        })
        .collect();
    let mut planned = Vec::new();
    for index in 0..input.plans.len() {
        let laying = lay_plan(input, index, &mut outings);
        let mut sessions = planned_sessions(input, index, &outings, &laying);
        mark_interruptions(&mut sessions, rules);
        planned.extend(sessions.into_iter().map(|session| (index, session)));
    }
    let past: Vec<&Outing> = outings
        .iter()
        .filter(|audit| audit.role.counts())
        .map(|audit| &input.outings[audit.outing])
        .collect();
    let standing = Standing::new(input, &outings, &planned);
    let notes = Notes::new(input.journal, input.as_of);
    let (proposal, coach_decision, next) = propose(input, &standing, &notes, &past, &outings);
    let runs = run_distances(past.iter().copied());
    let rise = rise_14_days_pct(&runs, input.as_of);
    let heart_rate_shown = outings.iter().any(|audit| audit.effort.run_mean_bpm.is_some());
    let last = standing.evidence(&notes, 1).pop().unwrap_or_default();
    let cautions = Caution::of(&Triggers {
        screened: input.athlete.and_then(|athlete| athlete.screened) == Some(true),
        warning_sign: proposal.verdict == Some(Verdict::Stop),
        strong_pain: last.has_strong_pain(rules),
        mild_pain: last.has_pain(),
        heat: notes.is_hot(input.as_of, rules),
        heart_rate_shown,
        pulse_medicine: input.athlete.and_then(|athlete| athlete.pulse_medicine) == Some(true),
        predicted_heart_rate: max_heart_rate.is_some_and(|max| max.error_bpm.is_some()),
        large_step: proposal.caution,
        fast_rise: rise.is_some_and(|rise| rise > rules.rise_14_days_pct),
    });
    let trend = |value: fn(&Outing, &Effort) -> Option<f64>| weekly_trend(input, &outings, value);
    AthleteAudit {
        attendance: Attendance::of(planned.iter().map(|(_, session)| session)),
        attendance_by_block: attendance_by_block(input, &planned),
        attendance_by_week: attendance_by_week(&planned),
        weeks: weeks(past.iter().copied(), input.as_of, rules),
        progress: Progress::of(past.iter().copied(), input.as_of, rules),
        habit: Habit::of(
            &past.iter().map(|outing| (outing.day(), outing.start_local.time())).collect::<Vec<_>>(),
            input.as_of,
            rules,
        ),
        max_heart_rate,
        heart_rate_fall_trend_bpm_per_week: trend(|outing, _| outing.heart_rate_fall_60s_bpm),
        metres_per_beat_trend_per_week: trend(|_, effort| effort.metres_per_beat),
        rise_14_days_pct: rise,
        readiness: readiness(input, &past, &standing, &notes),
        no_run_before: no_run_before(&proposal, &past, rules),
        proposal,
        coach_decision,
        next,
        cautions,
        planned,
        outings,
    }
}

/// The first day for a run after extra rest: rest days are counted from the newest run.
fn no_run_before(proposal: &Proposal, past: &[&Outing], rules: &Rules) -> Option<NaiveDate> {
    if proposal.rest_days == 0 {
        return None;
    }
    let newest = past.iter().filter(|outing| outing.has_runs()).map(|outing| outing.day()).max()?;
    newest.checked_add_days(Days::new(u64::from(rules.rest_days + proposal.rest_days) + 1))
}

/// The plan that a day falls to: the newest that has started, else the first.
pub(crate) fn plan_on(plans: &[PlanInUse<'_>], day: NaiveDate) -> Option<usize> {
    let started = plans.iter().rposition(|plan| plan.start.is_some_and(|start| start <= day));
    started.or_else(|| (!plans.is_empty()).then_some(0))
}

/// Lays the outings of one plan on it and notes where each belongs.
fn lay_plan(input: &AthleteInput<'_>, index: usize, outings: &mut [OutingAudit]) -> Laying {
    let PlanInUse { plan, start } = input.plans[index];
    let adherence = AdherenceSettings {
        run_m_per_s: plan.speeds.run_m_per_s,
        walk_m_per_s: plan.speeds.walk_m_per_s,
        ..AdherenceSettings::default()
    };
    let held: Vec<usize> = (0..outings.len()).filter(|at| outings[*at].plan == Some(index)).collect();
    let recordings: Vec<&Outing> = held.iter().map(|at| &input.outings[outings[*at].outing]).collect();
    let days: Vec<NaiveDate> = recordings.iter().map(|outing| outing.day()).collect();
    let asked: Vec<Asked> = plan
        .blocks
        .iter()
        .map(|block| Asked::new(&block.session.intervals, plan.speeds.run_m_per_s, plan.speeds.walk_m_per_s))
        .collect();
    let score = &input.settings.calendar;
    let laying = lay(plan, start, &days, score, |recording, block| {
        asked[block].likeness(recordings[recording], score)
    });
    for ((at, laid), outing) in held.iter().zip(&laying.recordings).zip(recordings) {
        if let Some(laid) = laid {
            let intervals = &plan.blocks[laid.session.block].session.intervals;
            let matched =
                outing.resolvable.then(|| match_session(intervals, &outing.bouts, &adherence)).flatten();
            let audit = &mut outings[*at];
            audit.role = Role::Session(*laid);
            audit.outcome = Some(Outcome::attended(matched.as_ref()));
            audit.matched = matched;
        }
    }
    laying
}

/// The sessions of one plan with what became of them.
fn planned_sessions(
    input: &AthleteInput<'_>,
    index: usize,
    outings: &[OutingAudit],
    laying: &Laying,
) -> Vec<PlannedSession> {
    let plan = input.plans[index].plan;
    // A later plan ends what is due of this one.
    let until =
        input.plans[index + 1..].iter().find_map(|next| next.start?.pred_opt()).unwrap_or(NaiveDate::MAX);
    let until = until.min(input.as_of);
    let laid: Vec<(usize, Laid)> = outings
        .iter()
        .enumerate()
        .filter(|(_, audit)| audit.plan == Some(index))
        .filter_map(|(at, audit)| if let Role::Session(laid) = audit.role { Some((at, laid)) } else { None })
        .collect();
    let newest = laid.last().map(|(_, laid)| laid.index);
    plan.sessions()
        .zip(&laying.days)
        .enumerate()
        .map(|(session, (id, day))| {
            let recordings: Vec<usize> =
                laid.iter().filter(|(_, laid)| laid.index == session).map(|(at, _)| *at).collect();
            let passed = newest.is_some_and(|newest| session <= newest);
            let day = *day;
            let due = passed || day.is_some_and(|day| day <= until);
            let planned_run_s = plan.blocks[id.block].session.run_s;
            let best = recordings
                .iter()
                .filter_map(|at| {
                    Some((outings[*at].matched.as_ref()?.running.as_ref()?.dose_pct, outings[*at].outcome?))
                })
                .max_by(|a, b| a.0.total_cmp(&b.0));
            let outcome = match (best, recordings.first()) {
                (Some((_, outcome)), _) => outcome,
                (None, Some(first)) => outings[*first].outcome.unwrap_or(Outcome::Unresolvable),
                (None, None) if due => Outcome::Missed,
                (None, None) => Outcome::Ahead,
            };
            PlannedSession {
                session: id,
                day,
                due,
                planned_run_s,
                done_run_s: best.map(|(dose_pct, _)| dose_pct / 100.0 * planned_run_s),
                outcome,
                recordings,
            }
        })
        .collect()
}

fn attendance_by_week(planned: &[(usize, PlannedSession)]) -> Vec<(IsoWeek, Attendance)> {
    let mut weeks: BTreeMap<IsoWeek, Vec<&PlannedSession>> = BTreeMap::new();
    for (_, session) in planned.iter().filter(|(_, session)| session.due) {
        if let Some(day) = session.day {
            weeks.entry(day.iso_week()).or_default().push(session);
        }
    }
    weeks.into_iter().map(|(week, sessions)| (week, Attendance::of(sessions))).collect()
}

fn attendance_by_block(
    input: &AthleteInput<'_>,
    planned: &[(usize, PlannedSession)],
) -> Vec<(usize, String, Attendance)> {
    planned
        .chunk_by(|a, b| (a.0, a.1.session.block) == (b.0, b.1.session.block))
        .map(|block| {
            let (plan, first) = &block[0];
            let label = input.plans[*plan].plan.blocks[first.session.block].label.clone();
            (*plan, label, Attendance::of(block.iter().map(|(_, session)| session)))
        })
        .filter(|(_, _, sums)| sums.due > 0)
        .collect()
}

type Proposed = (Proposal, Option<(NaiveDate, Verdict)>, Option<NextSession>);

fn propose(
    input: &AthleteInput<'_>,
    standing: &Standing<'_>,
    notes: &Notes<'_>,
    past: &[&Outing],
    outings: &[OutingAudit],
) -> Proposed {
    let rules = &input.settings.rules;
    let warning_signs = notes.open_warning_signs();
    if standing.place.is_none() && warning_signs.is_empty() {
        let newest = standing.evidence(notes, 1).pop();
        let proposal = newest.and_then(|newest| Proposal::for_pain(&newest, rules));
        let no_proposal =
            || Proposal { reasons: vec!["no plan: no proposal".to_owned()], ..Proposal::default() };
        return (proposal.unwrap_or_else(no_proposal), notes.coach_decision(None), None);
    }
    let runs = run_distances(past.iter().copied());
    let newest_run = outings
        .iter()
        .filter(|audit| {
            input.outings[audit.outing].has_runs() && audit.role.counts()
                || audit.outcome == Some(Outcome::Unresolvable)
        })
        .map(|audit| input.outings[audit.outing].day())
        .max();
    let next_run_m = standing.next(Verdict::Advance).and_then(|next| {
        let speed = own_speed_m_per_s(past)?;
        let asked = &standing.plans[next.plan].plan.blocks[next.session.block].session;
        let metres = |amount: Amount| match amount {
            Amount::Seconds(seconds) => seconds * speed,
            Amount::Metres(metres) => metres,
        };
        Some(asked.intervals.iter().filter(|i| i.gait == Gait::Run).map(|i| metres(i.amount)).sum())
    });
    let situation = Situation {
        sessions: standing.of_block(notes),
        unresolvable_sessions: standing.unresolvable_sessions,
        days_since_run: newest_run.map(|day| (input.as_of - day).num_days()),
        warning_signs,
        next_run_m,
        longest_before_m: input
            .as_of
            .succ_opt()
            .and_then(|day| largest_before(&runs, day, rules.spike_window_days)),
        first_block: standing.place.is_none_or(|(_, block)| block == 0),
    };
    let mut proposal = Proposal::weigh(&situation, rules);
    if proposal.verdict != Some(Verdict::Stop) {
        proposal.reasons.extend(remarks(input, outings));
    }
    let coach = notes.coach_decision(standing.laid.last().map(|(_, day, _)| *day));
    if let Some((date, verdict)) = coach {
        proposal.reasons.insert(0, format!("coach decided {} on {date}", verdict.word()));
    }
    let decided = coach.map(|(_, verdict)| verdict).or(proposal.verdict);
    let next = match decided {
        Some(verdict) => standing.next(verdict),
        None if situation.sessions.is_empty() => standing.next(Verdict::Hold),
        None => None,
    };
    if decided == Some(Verdict::Advance) && next.is_none() {
        proposal.reasons.push("every session of the plan was attempted".to_owned());
    }
    (proposal, coach, next)
}

/// What else a coach should see beside the rule: sessions that were walked.
fn remarks(input: &AthleteInput<'_>, outings: &[OutingAudit]) -> Vec<String> {
    let walked: Vec<String> = outings
        .iter()
        .filter(|audit| audit.outcome == Some(Outcome::Walked) && !input.outings[audit.outing].has_runs())
        .map(|audit| input.outings[audit.outing].day().to_string())
        .collect();
    if walked.is_empty() {
        Vec::new()
    } else {
        vec![format!("walked in place of run on {}", crate::wording::list(&walked))]
    }
}

/// Median running speed of the last two outings with runs.
fn own_speed_m_per_s(past: &[&Outing]) -> Option<f64> {
    let speeds: Vec<f64> =
        past.iter().rev().filter_map(|outing| outing.run_speed_m_per_s()).take(2).collect();
    median(&speeds)
}

/// Readiness for each distance: what was done, and what was shown lately speaks for.
fn readiness(
    input: &AthleteInput<'_>,
    past: &[&Outing],
    standing: &Standing<'_>,
    notes: &Notes<'_>,
) -> Vec<Readiness> {
    let rules = &input.settings.rules;
    let shown = shown(input, past, standing, notes);
    let first_as_far = |distance_m: f64| {
        let is_as_far = |run: &LongestRun| run.distance_m >= Some(rules.done_share * distance_m);
        past.iter().filter_map(|outing| LongestRun::of(outing)).find(is_as_far)
    };
    let of = |m: &f64| Readiness::for_distance(*m, first_as_far(*m), shown.as_ref(), rules);
    READINESS_DISTANCES_M.iter().filter_map(of).collect()
}

/// What was shown lately, for readiness; `None` before the evidence allows: two sessions with runs, one of them lately.
fn shown(
    input: &AthleteInput<'_>,
    past: &[&Outing],
    standing: &Standing<'_>,
    notes: &Notes<'_>,
) -> Option<Shown> {
    let rules = &input.settings.rules;
    let runs: Vec<&Outing> = past.iter().copied().filter(|outing| outing.has_runs()).collect();
    let [.., before, newest] = runs[..] else { return None };
    let is_late = |outing: &Outing| (input.as_of - outing.day()).num_days() < i64::from(rules.readiness_days);
    let lately = || runs.iter().filter(|outing| is_late(outing));
    let longest = lately()
        .filter_map(|outing| outing.longest_run())
        .filter(|run| run.distance_m.is_some())
        .max_by(|a, b| a.duration_s().total_cmp(&b.duration_s()))?;
    let long_reps_done = lately().any(|outing| {
        let long =
            |run: &&Bout| run.kind == Kind::Run && run.duration_s() >= LONG_REP_SHARE * rules.close_rep_s;
        outing.bouts.iter().filter(long).count() >= rules.close_reps as usize
    });
    let last_two = standing.evidence(notes, 2);
    let are_good = last_two.len() == 2 && last_two.iter().all(|session| session.is_good(rules));
    let shorter_s = [before, newest]
        .iter()
        .filter_map(|outing| Some(outing.longest_run()?.duration_s()))
        .fold(f64::INFINITY, f64::min);
    Some(Shown {
        longest_run_s: longest.duration_s(),
        longest_run_m: longest.distance_m?,
        run_speed_m_per_s: own_speed_m_per_s(past)?,
        last_two_good: are_good && !standing.laid.is_empty(),
        both_of_last_two_s: (are_good && standing.laid.is_empty() && is_late(before)).then_some(shorter_s),
        long_reps_done,
        not_now: last_two.last().is_some_and(SessionEvidence::has_pain)
            || !notes.open_warning_signs().is_empty(),
    })
}

/// Trend per week of a figure over the last weeks; `None` for too few sessions.
fn weekly_trend(
    input: &AthleteInput<'_>,
    outings: &[OutingAudit],
    value: fn(&Outing, &Effort) -> Option<f64>,
) -> Option<f64> {
    let rules = &input.settings.rules;
    let after = input.as_of.checked_sub_days(Days::new(u64::from(rules.trend_weeks) * 7))?;
    let (days, values): (Vec<f64>, Vec<f64>) = outings
        .iter()
        .filter(|audit| audit.role.counts())
        .filter_map(|audit| {
            let outing = &input.outings[audit.outing];
            Some((outing.day(), value(outing, &audit.effort)?))
        })
        .filter(|(day, _)| *day > after)
        .map(|(day, value)| ((day - after).num_days() as f64, value))
        .unzip();
    let enough = days.len() >= rules.trend_min_sessions as usize;
    enough.then(|| theil_sen(&days, &values)).flatten().map(|trend| 7.0 * trend.slope)
}

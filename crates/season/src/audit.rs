//! One athlete's audit: everything that the tables and the report page say about a person.
//!
//! ```text
//! outings ─▶ matches ─▶ laying ─▶ planned sessions ─▶ attendance
//!                          │
//! journal ─▶ evidence ◀────┘─▶ situation ─▶ proposal ─▶ next session
//! ```

mod next_step;
mod plans;
mod ran_far;
mod shown;
mod words;

use std::collections::HashMap;

use boutwise_bouts::statistics::theil_sen;
use boutwise_bouts::{AdherenceSettings, Event, Kind, SessionMatch};
use chrono::{Datelike, Days, IsoWeek, NaiveDate};

use crate::attendance::mark_interruptions;
use crate::corrections::ByRecording;
use crate::evidence::Notes;
use crate::standing::Standing;
use crate::weeks::run_distances;
use crate::{
    Athlete, Attendance, Caution, Correction, Effort, Entry, Goal, Habit, HeartRate, Laid, MaxHeartRate,
    NextSession, Outcome, Outing, Plan, PlannedSession, Progress, Proposal, Readiness, SessionEvidence,
    SessionId, Settings, Triggers, Verdict, Week, rise_14_days_pct, weeks,
};
use next_step::{Proposed, propose};
use plans::{attendance_by_block, attendance_by_week, lay_plan, planned_sessions};
use ran_far::RanFar;
use shown::{first_as_far, readiness};
use words::words;

pub use shown::READINESS_DISTANCES_M;
pub use words::done_without_recording;

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
    /// The recordings whose clock was set, in any order.
    pub outings: &'a [Outing],
    /// The plans in order of their starts; none, one, or several where the plan was switched.
    pub plans: &'a [PlanInUse<'a>],
    /// The row of the squad file.
    pub athlete: Option<&'a Athlete>,
    /// The journal's entries, in any order. A decision for a whole group counts in the proposal on whatever day it was written.
    pub journal: &'a [&'a Entry],
    /// What the coach says by hand of this athlete's recordings and sessions.
    pub corrections: &'a [&'a Correction],
    /// The day from which the athlete is judged; later recordings and other entries are left out.
    pub as_of: NaiveDate,
    /// Rules and points.
    pub settings: &'a Settings,
}

impl AthleteInput<'_> {
    /// Whether a medicine lowers the pulse: no figure is made of it then.
    fn takes_pulse_medicine(&self) -> bool {
        self.athlete.and_then(|athlete| athlete.pulse_medicine) == Some(true)
    }
}

/// Days by which a plan may start after its first recording before that is told, in days (own choice: a session or two may be done
/// ahead).
const START_LATE_DAYS: i64 = 7;

/// What one recording is to the plan.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Role {
    /// A session of the plan.
    Session(Laid),
    /// What another block asks for than the one whose turn it was: on no session. The first session that asks for it.
    Other(SessionId),
    /// A walk on no session.
    Walk,
    /// A run on no session, or one that can't be told.
    Extra,
    /// After the day from which the athlete is judged: left out of everything.
    Later,
    /// Of the same time as another recording, which counts in its place.
    Overlapped,
}

impl Role {
    /// Whether the recording counts at all.
    pub fn counts(self) -> bool {
        !matches!(self, Self::Later | Self::Overlapped)
    }
}

/// One recording with what the season knows of it.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
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
    /// What happened in it, in order of time.
    pub events: Vec<Event>,
    /// Share of the planned run seconds that lies inside the recording, in %; `None` on no plan, or where nobody can tell.
    pub recorded_pct: Option<f64>,
    /// Seconds run on its day in recordings that lie on no session: beyond what the plan asks of that day. The last session of the
    /// day that can be told has them.
    pub run_beside_s: f64,
    /// Effort by heart rate.
    pub effort: Effort,
}

impl OutingAudit {
    /// The same in % of what the session asks for; 0 where that can't be held against it.
    pub fn run_beside_pct(&self) -> f64 {
        self.matched.as_ref().map_or(0.0, |matched| 100.0 * self.run_beside_s / matched.asked_s)
    }
}

/// The audit of one athlete.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
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
    /// The distance to be run without a break, and whether it was reached.
    pub goal: Goal,
    /// Whether that it was reached may be said: not beside `stop` or pain.
    pub tells_goal: bool,
    /// Readiness for 3 km, 5 km and the goal without a break, where the evidence allows.
    pub readiness: Vec<Readiness>,
    /// The proposal.
    pub proposal: Proposal,
    /// The day of the newest warning sign that no word of the coach but `stop` has followed.
    pub open_sign: Option<NaiveDate>,
    /// The coach's own decision, where it is newer than the newest session.
    pub coach_decision: Option<(NaiveDate, Verdict)>,
    /// The coach's newest decision up to the day judged from, whether it was overtaken since or not.
    pub newest_decision: Option<(NaiveDate, Verdict)>,
    /// The next session, by the coach's decision or else the proposal.
    pub next: Option<NextSession>,
    /// The first day on which a run is proposed again, where extra rest was called for.
    pub no_run_before: Option<NaiveDate>,
    /// The cautions to show.
    pub cautions: Vec<Caution>,
}

impl AthleteAudit {
    /// Whether anything about progress may be said: beside a warning sign nothing is.
    pub fn tells_progress(&self) -> bool {
        self.shown_verdict() != Some(Verdict::Stop)
    }

    /// Whether the coach alone stops: no warning sign stands.
    pub fn is_paused(&self) -> bool {
        !self.tells_progress() && self.open_sign.is_none()
    }

    /// The day from which running is stopped, where it is.
    pub fn stopped_on(&self) -> Option<NaiveDate> {
        let by_coach = self.coach_decision.map(|(day, _)| day);
        self.open_sign.into_iter().chain(by_coach).min().filter(|_| !self.tells_progress())
    }

    /// The word to show: the coach's where there is one that stands, else the computed one.
    pub fn shown_verdict(&self) -> Option<Verdict> {
        self.coach_decision.map(|(_, verdict)| verdict).or(self.proposal.verdict)
    }

    /// Of the plans whose start the squad file names: that day, and the first one of a recording that lies on the plan, where this
    /// is so much earlier that the start may be a slip of the pen.
    pub fn starts_in_doubt(
        &self,
        plans: &[PlanInUse<'_>],
        outings: &[Outing],
    ) -> Vec<(NaiveDate, NaiveDate)> {
        let first_laid = |plan: usize| {
            let laid = self
                .outings
                .iter()
                .find(|audit| audit.plan == Some(plan) && matches!(audit.role, Role::Session(_)));
            laid.map(|audit| outings[audit.outing].day())
        };
        let starts = plans.iter().enumerate().filter_map(|(at, used)| Some((used.start?, first_laid(at)?)));
        starts.filter(|(start, first)| (*start - *first).num_days() > START_LATE_DAYS).collect()
    }

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
    let max_heart_rate = max_heart_rate(input);
    let mut outings = in_order_of_time(input, max_heart_rate);
    let mut planned = Vec::new();
    let words = words(input);
    let corrections = ByRecording::new(input.corrections);
    for index in 0..input.plans.len() {
        let followed = lay_plan(input, index, &words, &corrections, &mut outings);
        let mut sessions = planned_sessions(input, &followed, &outings);
        mark_interruptions(&mut sessions, rules);
        planned.extend(sessions.into_iter().map(|session| (index, session)));
    }
    put_beside(&mut outings, input.outings);
    let past: Vec<&Outing> = outings
        .iter()
        .filter(|audit| audit.role.counts())
        .map(|audit| &input.outings[audit.outing])
        .collect();
    let standing = Standing::new(input, &outings, &planned, &words);
    let notes = Notes::new(input.journal, input.as_of);
    let runs = run_distances(past.iter().copied());
    let ran_far = RanFar::newest(input, &outings, &runs);
    let goal = Goal::of(
        input.athlete,
        plan_on(input.plans, input.as_of).map(|plan| input.plans[plan].plan),
        |distance_m| first_as_far(&past, distance_m, rules),
    );
    let Proposed { proposal, open_sign, coach_decision, next, no_run_before, tells_goal } =
        propose(input, &standing, &notes, &past, &outings, &goal, ran_far);
    let rise = rise_14_days_pct(&runs, input.as_of);
    let since_good = standing.since_good(&notes, rules);
    let triggers = Triggers {
        screened: input.athlete.and_then(|athlete| athlete.screened) == Some(true),
        warning_sign: proposal.verdict == Some(Verdict::Stop),
        strong_pain: since_good.iter().any(|session| session.has_strong_pain(rules)),
        mild_pain: since_good.iter().any(SessionEvidence::has_pain),
        heat: notes.is_hot(input.as_of, rules),
        heart_rate_shown: input
            .outings
            .iter()
            .any(|outing| outing.heart_rate.as_ref().is_some_and(HeartRate::is_believed)),
        pulse_medicine: input.takes_pulse_medicine(),
        predicted_heart_rate: max_heart_rate.is_some_and(|max| max.error_bpm.is_some()),
        large_step: proposal.caution,
        ran_far: ran_far.is_some(),
        fast_rise: rise.is_some_and(|rise| rise > rules.rise_14_days_pct),
    };
    let metres_per_beat = |audit: &OutingAudit| audit.effort.metres_per_beat;
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
        heart_rate_fall_trend_bpm_per_week: heart_rate_fall_trend(input, &outings),
        metres_per_beat_trend_per_week: weekly_trend(input, &outings, metres_per_beat),
        rise_14_days_pct: rise,
        readiness: readiness(input, &past, &standing, &notes, &goal),
        no_run_before,
        goal,
        tells_goal,
        proposal,
        open_sign,
        coach_decision,
        newest_decision: words.decisions.last().copied(),
        next,
        cautions: Caution::of(&triggers),
        planned,
        outings,
    }
}

fn max_heart_rate(input: &AthleteInput<'_>) -> Option<MaxHeartRate> {
    let athlete = input.athlete;
    let age_years = athlete.and_then(|athlete| athlete.birth_year).map(|year| input.as_of.year() - year);
    MaxHeartRate::of(athlete.and_then(|athlete| athlete.max_hr_bpm), age_years, &input.settings.rules)
}

/// The outings before any is laid on a plan.
fn in_order_of_time(input: &AthleteInput<'_>, max_heart_rate: Option<MaxHeartRate>) -> Vec<OutingAudit> {
    let resting_bpm = input.athlete.and_then(|athlete| athlete.resting_hr_bpm);
    let mut order: Vec<(usize, &Outing)> = input.outings.iter().enumerate().collect();
    order.sort_by_key(|(_, outing)| outing.order());
    let audit = |(outing, held): (usize, &Outing)| {
        let role = role(held, input.as_of);
        OutingAudit {
            outing,
            plan: role.counts().then(|| plan_on(input.plans, held.day())).flatten(),
            role,
            matched: None,
            outcome: None,
            events: held.read(&[], &AdherenceSettings::default()).events,
            recorded_pct: None,
            run_beside_s: 0.0,
            effort: match input.takes_pulse_medicine() {
                true => Effort::default(),
                false => Effort::of(held, max_heart_rate, resting_bpm, &input.settings.rules),
            },
        }
    };
    order.into_iter().map(audit).collect()
}

/// What a recording is to a plan that it is not laid on.
fn role(outing: &Outing, as_of: NaiveDate) -> Role {
    if outing.day() > as_of {
        Role::Later
    } else if outing.is_overlapped {
        Role::Overlapped
    } else if outing.resolvable && !outing.has_runs() {
        Role::Walk
    } else {
        Role::Extra
    }
}

/// Puts what was run in recordings on no session to the session of their day, as if one recording held both. What may be the same
/// running once more is left out: a recording that shares time with one of that day's sessions, or may be a copy.
fn put_beside(outings: &mut [OutingAudit], recorded: &[Outing]) {
    let mut laid: HashMap<NaiveDate, Vec<usize>> = HashMap::new();
    for (at, audit) in outings.iter().enumerate() {
        if matches!(audit.role, Role::Session(_)) {
            laid.entry(recorded[audit.outing].day()).or_default().push(at);
        }
    }
    for at in 0..outings.len() {
        let (role, other) = (outings[at].role, &recorded[outings[at].outing]);
        let Some(of_day) = laid.get(&other.day()) else { continue };
        let may_be_seen_twice = |&session: &usize| {
            let session = &recorded[outings[session].outing];
            let shares_time =
                session.counts_from_utc() < other.end_utc() && other.counts_from_utc() < session.end_utc();
            shares_time || session.may_be_copy_of.as_deref() == Some(&other.file)
        };
        let is_beside = role.counts() && !matches!(role, Role::Session(_)) && other.may_be_copy_of.is_none();
        if !is_beside || of_day.iter().any(may_be_seen_twice) {
            continue;
        }
        let told = of_day.iter().rfind(|session| outings[**session].matched.is_some());
        if let Some((&session, run_s)) = told.zip(other.seconds(Kind::Run)) {
            outings[session].run_beside_s += run_s;
        }
    }
}

/// The plan that a day falls to: the newest that has started, else the first.
pub(crate) fn plan_on(plans: &[PlanInUse<'_>], day: NaiveDate) -> Option<usize> {
    let started = plans.iter().rposition(|plan| plan.start.is_some_and(|start| start <= day));
    started.or_else(|| (!plans.is_empty()).then_some(0))
}

/// The plan that takes over from another one, and its start.
pub(crate) fn plan_after(plans: &[PlanInUse<'_>], index: usize) -> Option<(usize, NaiveDate)> {
    let start = plans[index + 1..].iter().find_map(|next| next.start)?;
    Some((plan_on(plans, start)?, start))
}

/// Trend of the fall of the heart rate in walks over sessions that ask for what the newest with such a fall asks for: it is
/// compared only after like runs, and in like walks. `None` beside a medicine that lowers the pulse.
fn heart_rate_fall_trend(input: &AthleteInput<'_>, outings: &[OutingAudit]) -> Option<f64> {
    let fall_bpm = |audit: &OutingAudit| input.outings[audit.outing].heart_rate_fall_60s_bpm;
    let asked = |audit: &OutingAudit| match audit.role {
        Role::Session(laid) => Some(&input.plans[audit.plan?].plan.session(laid.session).intervals),
        _ => None,
    };
    let newest = outings.iter().rfind(|audit| asked(audit).is_some() && fall_bpm(audit).is_some())?;
    let of_like = |audit: &OutingAudit| fall_bpm(audit).filter(|_| asked(audit) == asked(newest));
    (!input.takes_pulse_medicine()).then(|| weekly_trend(input, outings, of_like)).flatten()
}

/// Trend per week of a figure over the last weeks; `None` for too few sessions.
fn weekly_trend(
    input: &AthleteInput<'_>,
    outings: &[OutingAudit],
    value: impl Fn(&OutingAudit) -> Option<f64>,
) -> Option<f64> {
    let rules = &input.settings.rules;
    let after = input.as_of.checked_sub_days(Days::new(u64::from(rules.trend_weeks) * 7))?;
    let (days, values): (Vec<f64>, Vec<f64>) = outings
        .iter()
        .filter(|audit| audit.role.counts())
        .filter_map(|audit| Some((input.outings[audit.outing].day(), value(audit)?)))
        .filter(|(day, _)| *day > after)
        .map(|(day, value)| ((day - after).num_days() as f64, value))
        .unzip();
    let enough = days.len() >= rules.trend_min_sessions as usize;
    enough.then(|| theil_sen(&days, &values)).flatten().map(|trend| 7.0 * trend.slope)
}

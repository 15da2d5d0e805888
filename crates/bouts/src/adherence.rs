//! How closely a session follows what was asked of it.
//!
//! ```text
//! intervals ─▶ demand ─┐
//!                      ├─▶ alignment ─▶ score ─▶ rows
//! bouts ─────▶ course ─┘
//! ```
//!
//! # Definition
//!
//! A plan session asks for reps of p₁ … pₙ seconds with walks of w₁ … wₙ₋₁ seconds between them; P = Σp. Walks before
//! the first and after the last rep are listed and never demanded. Run intervals with no walk between them are one
//! rep. A recording holds run bouts; walking, standing and gaps between two of them are rest.
//!
//! 1. *Tolerance*, for two boundaries of 3 s: τ(p) = min(6, 0.12·p) for a rep, τ(w) = min(6, w/3) for a walk.
//! 2. Consecutive bouts are laid as one *group* on consecutive reps. Rests inside a group are free up to 10 s; what
//!    is longer is lost: λ. The laid seconds L = Σ run − λ must be positive.
//! 3. L fills the reps in order, each up to its length; the last takes all that is left, and something must be left.
//! 4. Groups keep the order and share neither bout nor rep. Reps and bouts may stay out.
//! 5. A rep with s seconds done has the credit d = min(1, s / (p − τ)). *Dose* D = Σ p·d / P.
//! 6. *Full*: per rep 0 up to 0.75·p, 1 from p − τ on, straight between; F is the mean.
//! 7. A walk earns where one group ends at the rep before it and the next begins at the rep after it. With x seconds
//!    of rest between them and λ lost in both, g = min(1, x / (w − τ), (w + τ) / (x + λ)), and b = g · min(d, d′).
//! 8. *Breaks* B = Σ v·b with vⱼ = ((n − j)·pⱼ + j·pⱼ₊₁) / ((n − 1)·P). One rep: B = D.
//! 9. *Adherence* = 100 · (0.60·D + 0.25·B + 0.15·F), the largest over all alignments. Of alignments within 10⁻⁹ the
//!    one counts that ends at earlier reps and bouts.
//! 10. *Overdone*: run seconds outside all groups, and those of each group beyond what it was laid on + 6 s, in % of P; of a
//!     session that asks for walking alone all run seconds, in % of the walking.
//! 11. A rep is done where d = 1, long where it also passes its length by more than 6 s, short where 0 < d < 1,
//!     missed where d = 0. A bout in no group is extra.
//! 12. Planned and done metres become seconds at a fixed speed of the plan, never the athlete's own, so that a pace
//!     can't move the result.
//!
//! Weights and constants are our own choice, without a source; all stand in [`AdherenceSettings`].
//!
//! # What holds
//!
//! Seconds or whole bouts taken out of a recording never raise adherence. Walking in place of running, or a walk made
//! longer, never raises it where all planned walks are equal and no rest is shorter than w − τ. All walked is 0; run
//! straight through is at most 75. 0 ≤ B ≤ D. Boundaries up to 3 s off give 100 for reps from 50 s and walks from
//! 18 s on.
//!
//! # What does not hold
//!
//! - Stretching a walk that was cut short raises adherence, as it should.
//! - A walk put into a run makes two bouts, and the second may pass for a missing rep; a walk left out joins two reps,
//!   and the long run may fill a short one. With very unequal reps this can reach about 20 points.
//! - Reps under 45 s and walks under 18 s are about as long as the error of their boundaries: such a session
//!   ([`SessionMatch::too_short_to_judge`]) should be marked, not judged.
//! - A missed rep among equal ones is read as the last one missed and one long walk: "7 of 8" is known, which one is not.
//! - One run of P seconds gives 75, more than five faithful reps of eight. Adherence is not readiness.
//! - A jog in the warm-up may be taken for a missing rep.
//! - Overdone belongs to the alignment; where two tie, it can step.
//! - A gap counts as rest. What a lost signal hides is neither run nor rested: it loses no seconds and makes no walk too long,
//!   and what is missing of a rep beside it has to be taken out of what is demanded before ([`match_recorded`]).

mod alignment;
pub(crate) mod course;
pub(crate) mod demand;
mod inside;
mod rows;
mod score;
mod settings;

pub use inside::{Hidden, Inside};
pub use rows::{IntervalMatch, IntervalStatus};
pub use score::{Reps, RunMatch};
pub use settings::AdherenceSettings;

use crate::{Bout, Interval};
pub(crate) use alignment::CELLS;
use alignment::{Reach, align};
use course::Course;
use demand::Demand;
use score::Score;

/// Shortest rep that single boundaries can't hide, in seconds: below it a 15 % cut is no larger than the error.
const JUDGED_REP_S: f64 = 45.0;
/// Shortest walk between reps for which the same holds, in seconds: three times its tolerance.
const JUDGED_WALK_S: f64 = 18.0;

/// One session laid on what was asked.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub struct SessionMatch {
    /// Adherence in %, 0 to 100. Where no rep was asked for: the share of the planned walking that was walked.
    pub adherence_pct: f64,
    /// The running against the reps; `None` where no rep was asked for.
    pub running: Option<RunMatch>,
    /// Seconds asked for, of running; where no rep was asked for, of walking. Metres count at the plan's fixed speed.
    pub asked_s: f64,
    /// Running beyond the plan, in % of `asked_s`: where no rep was asked for, all of it.
    pub overdone_pct: f64,
    /// Whether reps or walks were asked for that are too short for a single session to show that they were cut.
    pub too_short_to_judge: bool,
    /// Whether so many reps and runs were to be laid on each other that not all ways were looked at: what was found may then be
    /// less than the best. Up to reps × runs × runs = 216 000 (60 reps and 60 runs) all are.
    pub not_all_ways: bool,
    /// The planned intervals in order, runs that no rep asked for among them where they took place. Run intervals
    /// with no walk between them are one.
    pub intervals: Vec<IntervalMatch>,
}

/// Lays the bouts of one session on the intervals that were asked for.
///
/// `bouts` are those of one recording in which running and walking could be told apart, in order of time. `None`
/// where nothing can be compared: no interval asks for anything, or metres are asked for and a bout to be counted
/// has none.
///
/// Time O(n·m²·(n + m·k)) for n reps and m runs, with k entries kept for each end (single digits in practice). Beyond
/// 60 reps and 60 runs, and as much work of other numbers, not every way is looked at
/// ([`SessionMatch::not_all_ways`]), and time and memory grow no further.
///
/// ```
/// use boutwise_bouts::{AdherenceSettings, Amount, Bout, Gait, Interval, Kind, match_session};
///
/// let ask = |gait, seconds| Interval { gait, amount: Amount::Seconds(seconds) };
/// let planned = [ask(Gait::Run, 60.0), ask(Gait::Walk, 90.0), ask(Gait::Run, 60.0), ask(Gait::Walk, 90.0)];
/// let bouts = [
///     Bout::new(Kind::Walk, 0.0, 300.0),
///     Bout::new(Kind::Run, 300.0, 360.0),
///     Bout::new(Kind::Walk, 360.0, 450.0),
///     Bout::new(Kind::Run, 450.0, 508.0),
/// ];
/// let matched = match_session(&planned, &bouts, &AdherenceSettings::default()).unwrap();
/// assert_eq!(matched.adherence_pct, 100.0); // 2 s are within what boundaries can tell.
/// assert_eq!(matched.running.unwrap().reps.done, 2);
/// ```
pub fn match_session(
    intervals: &[Interval],
    bouts: &[Bout],
    settings: &AdherenceSettings,
) -> Option<SessionMatch> {
    match_demand(&Demand::new(intervals, settings)?, &Course::new(bouts, settings), settings)
}

/// The same where only `inside` of what was asked for lies inside the recording (`None`: all of it). The rest is neither
/// missed nor done: it is taken out of what is demanded and listed as not recorded; a rep that an edge of the recording
/// cuts counts with the seconds seen. `None` also where no rep lies inside.
pub fn match_recorded(
    intervals: &[Interval],
    bouts: &[Bout],
    inside: Option<&Inside>,
    settings: &AdherenceSettings,
) -> Option<SessionMatch> {
    let Some(inside) = inside else { return match_session(intervals, bouts, settings) };
    let whole = Demand::new(intervals, settings)?;
    if inside.seen().is_empty() || inside.reps.end > whole.reps.len() {
        return None;
    }
    let course = Course::with_holes(bouts, &inside.holes, settings);
    let mut matched = match_demand(&whole.inside(inside), &course, settings)?;
    // Reps cut short by an edge or a hole were not asked to be.
    matched.too_short_to_judge = asks_too_little(&whole);
    inside::add_rows_outside(&mut matched, &whole, inside, settings);
    Some(matched)
}

/// Whether reps or walks are asked for that single boundaries can hide.
fn asks_too_little(demand: &Demand) -> bool {
    demand.reps.iter().any(|rep| rep.planned_s < JUDGED_REP_S)
        || demand.walks.iter().any(|walk| walk.whole.planned_s < JUDGED_WALK_S)
}

fn match_demand(demand: &Demand, course: &Course, settings: &AdherenceSettings) -> Option<SessionMatch> {
    if demand.reps.is_empty() {
        let (adherence_pct, intervals) = rows::walked(demand, course, settings)?;
        let asked_s = demand.before.as_ref()?.whole.planned_s;
        let run_s = course.run(0..course.len()).by_time_s;
        return Some(SessionMatch {
            adherence_pct,
            running: None,
            asked_s,
            overdone_pct: 100.0 * run_s / asked_s,
            too_short_to_judge: false,
            not_all_ways: false,
            intervals,
        });
    }
    if demand.in_metres() && !course.runs_have_metres() {
        return None;
    }
    let groups = align(demand, course, settings);
    let score = Score::new(demand, course, &groups, settings);
    Some(SessionMatch {
        adherence_pct: score.adherence_pct,
        too_short_to_judge: asks_too_little(demand),
        not_all_ways: !Reach::of(demand, course).is_all(course),
        intervals: rows::run_and_walked(demand, course, &groups, &score, settings),
        asked_s: score.running.planned_s,
        overdone_pct: score.overdone_pct,
        running: Some(score.running),
    })
}

#[cfg(test)]
mod tests;

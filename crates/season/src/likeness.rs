//! How well a recording matches what a block asks for.

use boutwise_bouts::{Gait, IntervalStatus, SessionMatch};

use crate::Outing;

/// How well a recording matches what a block asks for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Likeness {
    /// Resolvable, with runs or asked to be a walk.
    Fit {
        /// Adherence, 0 to 100.
        adherence_pct: f64,
        /// How far what was attempted had the session's form, 0 to 100; see [`form_pct`].
        form_pct: f64,
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

impl Likeness {
    /// How well an outing matches a block, for the calendar. `asks_runs` tells whether the block asks for any run,
    /// `matched` is the outing's match with it, `None` where nothing can be compared.
    pub fn of(outing: &Outing, asks_runs: bool, matched: Option<&SessionMatch>) -> Self {
        if !outing.resolvable {
            return Self::Unresolvable;
        }
        if asks_runs && !outing.has_runs() {
            return Self::Walked;
        }
        let Some(matched) = matched else { return Self::None };
        let adherence_pct = matched.adherence_pct;
        let Some(running) = &matched.running else {
            return Self::Fit { adherence_pct, form_pct: adherence_pct, overdone_pct: 0.0 };
        };
        let credits: Vec<f64> = matched
            .intervals
            .iter()
            .filter(|interval| interval.gait == Gait::Run && interval.status != IntervalStatus::Extra)
            .map(|interval| interval.credit_pct.unwrap_or(0.0) / 100.0)
            .collect();
        Self::Fit {
            adherence_pct,
            form_pct: form_pct(&credits, running.reps.extra as u32, running.breaks_pct, adherence_pct),
            overdone_pct: running.overdone_pct,
        }
    }
}

/// Credit above which a rep was attempted and did not just get the crumbs of a longer run (own choice).
const ATTEMPTED: f64 = 0.25;

/// How far the attempted part of a session had its form, 0 to 100.
///
/// `credits` are the credits of the planned reps, 0 to 1; `extra` counts runs that no rep asked for. A rep was
/// attempted from a quarter on; it gives nothing there and all of it when run in full; the mean over all runs is taken times the
/// breaks taken of those that lie between the attempted reps. One rep alone, planned or attempted, has no form beside
/// its adherence.
///
/// ```
/// use boutwise_season::form_pct;
/// // Three of eight reps as asked, with both breaks between them: breaks are 2 of 7.
/// let credits = [1.0, 1.0, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0];
/// assert_eq!(form_pct(&credits, 0, 200.0 / 7.0, 36.0).round(), 100.0);
/// // One straight run.
/// assert_eq!(form_pct(&[1.0; 8], 0, 0.0, 75.0), 0.0);
/// ```
pub fn form_pct(credits: &[f64], extra: u32, breaks_pct: f64, adherence_pct: f64) -> f64 {
    if credits.len() < 2 {
        return adherence_pct;
    }
    let attempted: Vec<f64> = credits.iter().copied().filter(|credit| *credit > ATTEMPTED).collect();
    if attempted.len() < 2 {
        return if attempted.is_empty() { 0.0 } else { adherence_pct };
    }
    let quality: f64 =
        attempted.iter().map(|credit| ((credit - ATTEMPTED) / (1.0 - ATTEMPTED)).clamp(0.0, 1.0)).sum();
    let due = (attempted.len() - 1) as f64 / (credits.len() - 1) as f64;
    let breaks = (breaks_pct / 100.0 / due).clamp(0.0, 1.0);
    100.0 * quality / (attempted.len() as f64 + f64::from(extra)) * breaks
}

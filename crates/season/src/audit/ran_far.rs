//! A session already run that went far beyond those before it, though nobody asked for it.

use boutwise_bouts::Kind;
use chrono::{Days, NaiveDate};

use super::{AthleteInput, OutingAudit, Role};
use crate::{Rules, RunDistance, SpikeClass, largest_before, spike_pct};

/// Days for which such a session is told, the day judged from included (own choice: a week).
const TOLD_DAYS: u64 = 7;

/// A session of which the step in distance is a spike, and not the plan's own.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct RanFar {
    day: NaiveDate,
    run_m: f64,
    /// Most metres run in one session of the days before it.
    before_m: f64,
}

impl RanFar {
    /// The newest of the last days. A step that the plan asked for, and that was done as asked, is the plan's own.
    pub(super) fn newest(
        input: &AthleteInput<'_>,
        outings: &[OutingAudit],
        runs: &[RunDistance],
    ) -> Option<Self> {
        let rules = &input.settings.rules;
        let after = input.as_of.checked_sub_days(Days::new(TOLD_DAYS))?;
        let is_of_late = |audit: &OutingAudit| input.outings[audit.outing].day() > after;
        let is_as_asked = |audit: &OutingAudit| {
            let overdone_pct = audit.matched.as_ref().map(|matched| matched.overdone_pct);
            matches!(audit.role, Role::Session(_)) && overdone_pct <= Some(rules.overdone_good_pct)
        };
        let far = |audit: &OutingAudit| {
            let outing = &input.outings[audit.outing];
            let day = outing.day();
            let before_m = largest_before(runs, day, rules.spike_window_days)?;
            let run_m = outing.metres(Kind::Run)?;
            let is_spike = SpikeClass::of(spike_pct(run_m, before_m), rules) != SpikeClass::None;
            is_spike.then_some(Self { day, run_m, before_m })
        };
        let more = |audit: &&OutingAudit| audit.role.counts() && is_of_late(audit) && !is_as_asked(audit);
        outings.iter().rev().filter(more).find_map(far)
    }

    /// What was run, and what before, in words.
    pub(super) fn text(self, rules: &Rules) -> String {
        format!(
            "care: {:.1} km of running on {}, after at most {:.1} km in a session of the {} days before, more than was asked for",
            self.run_m / 1000.0,
            self.day,
            self.before_m / 1000.0,
            rules.spike_window_days
        )
    }
}

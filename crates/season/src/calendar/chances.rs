//! How often athletes do what, as the search counts it.

use crate::CalendarScore;

/// Natural logarithms of how often athletes do what.
#[derive(Clone, Copy)]
pub(super) struct Chances {
    pub(super) attended: f64,
    pub(super) missed: f64,
    /// Without days, and in an own rhythm without the time for it.
    pub(super) skipped: f64,
    pub(super) on_day: f64,
    pub(super) moved: f64,
    pub(super) day_further: f64,
    pub(super) same_day: f64,
    pub(super) again: f64,
    pub(super) again_later: f64,
    pub(super) waiting: f64,
    pub(super) delayed: f64,
    pub(super) late_start: f64,
    pub(super) late_by_planned: f64,
    pub(super) own_rhythm: f64,
    pub(super) own_rhythm_later: f64,
    pub(super) other_block: f64,
    pub(super) eased: f64,
    pub(super) run_after_walk: f64,
    pub(super) longest_delay_days: i32,
}

impl Chances {
    pub(super) fn new(score: &CalendarScore) -> Self {
        let ln = |pct: f64| (pct / 100.0).ln();
        Self {
            attended: ln(100.0 - score.missed_pct),
            missed: ln(score.missed_pct),
            skipped: ln(score.skipped_undated_pct),
            on_day: ln(100.0 - score.moved_pct),
            moved: ln(score.moved_pct / 2.0),
            day_further: ln(score.day_further_pct),
            same_day: ln(score.same_day_pct),
            again: ln(score.again_pct),
            again_later: ln(score.again_later_pct),
            waiting: ln(score.waiting_pct),
            delayed: ln(score.delayed_pct),
            late_start: ln(score.late_start_pct),
            late_by_planned: ln(score.late_by_planned_pct),
            own_rhythm: ln(score.own_rhythm_pct),
            own_rhythm_later: ln(score.own_rhythm_later_pct),
            other_block: ln(score.other_block_pct),
            eased: ln(score.eased_pct),
            run_after_walk: ln(score.run_after_walk_pct),
            longest_delay_days: score.longest_delay_days as i32,
        }
    }

    /// Of a session done so many days beside its day.
    pub(super) fn date(&self, off_days: i32) -> f64 {
        if off_days == 0 { self.on_day } else { self.moved + self.day_further * f64::from(off_days - 1) }
    }
}

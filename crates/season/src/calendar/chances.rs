//! How often athletes do what, as the search counts it.

use crate::CalendarScore;

/// Natural logarithms of how often athletes do what.
#[derive(Clone, Copy)]
pub(super) struct Chances {
    pub(super) attended: f64,
    pub(super) missed: f64,
    /// Without days.
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
    pub(super) longest_delay_days: i64,
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
            longest_delay_days: i64::from(score.longest_delay_days),
        }
    }

    /// Of a session done so many days beside its day.
    pub(super) fn date(&self, off_days: i32) -> f64 {
        if off_days == 0 { self.on_day } else { self.moved + self.day_further * f64::from(off_days - 1) }
    }
}

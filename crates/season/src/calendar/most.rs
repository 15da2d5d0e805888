//! What stories can come to at most, without following them.

use super::chances::Chances;
use super::search::{AGAINST_THE_ORDER, DONE_AGAIN_ON_HOLD, ROUNDING};
use crate::Likeness;

/// Points that no story exceeds.
///
/// Whatever a story makes of a recording brings no more than the likeness to what it is most like and the chances of what is made
/// of it, each a logarithm of a share and so at most nothing; sessions left out, and words, only cost. As a story goes on by the
/// plan's days or in a rhythm of its own, which differ in what a day says and cost something to change between, the bounds of both
/// are kept apart.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Most {
    /// Of stories in which nothing was laid yet.
    pub(super) fresh: f64,
    /// Of stories by the plan's days.
    pub(super) plan: f64,
    /// Of stories in an own rhythm.
    pub(super) own: f64,
}

impl Most {
    /// Of no story.
    pub(super) const NONE: Self =
        Self { fresh: f64::NEG_INFINITY, plan: f64::NEG_INFINITY, own: f64::NEG_INFINITY };

    /// Of any of them.
    pub(super) fn of_any(self) -> f64 {
        self.fresh.max(self.plan).max(self.own)
    }

    /// Of the stories of both.
    pub(super) fn or(self, other: Self) -> Self {
        Self {
            fresh: self.fresh.max(other.fresh),
            plan: self.plan.max(other.plan),
            own: self.own.max(other.own),
        }
    }

    /// After one more recording with these likenesses; `all_dated`: where each session has a day.
    #[must_use]
    pub(super) fn after(self, likenesses: &[Likeness], chances: &Chances, all_dated: bool) -> Self {
        let c = chances;
        let log_odds = likenesses.iter().map(|likeness| likeness.log_odds).fold(f64::NEG_INFINITY, f64::max);
        // Left where it is, or on no session.
        let stays = (log_odds + c.other_block.max(AGAINST_THE_ORDER)).max(0.0);
        // A session that was laid before, or by hand.
        let again = [c.again, c.again_later, c.waiting, c.delayed, c.on_day + DONE_AGAIN_ON_HOLD.ln()];
        let again = again.into_iter().fold(f64::NEG_INFINITY, f64::max);
        let date = if all_dated { c.on_day.max(c.moved).max(c.same_day) } else { 0.0 };
        let by_plan = log_odds + (c.attended + date).max(again);
        let by_own = log_odds + c.attended.max(again);
        let changes = log_odds + c.attended + c.on_day;
        let plan =
            (self.plan + stays.max(by_plan)).max(self.fresh + by_plan).max(self.own + changes + c.delayed);
        let own = (self.own + stays.max(by_own))
            .max(self.plan + changes + c.own_rhythm_later)
            .max(self.fresh + changes + c.own_rhythm);
        Self { fresh: self.fresh + stays + ROUNDING, plan: plan + ROUNDING, own: own + ROUNDING }
    }
}

//! The constants of adherence and the credits that they give.

boutwise_track::settings! {
    /// Constants of [`match_session`](crate::match_session); `Default` is the documented definition. All are our own choice.
    AdherenceSettings {
        /// Share of the dose in adherence; the three shares add up to 1.
        dose_weight: f64 = 0.60, "share", 0..1, "own choice";
        /// Share of the breaks in adherence.
        breaks_weight: f64 = 0.25, "share", 0..1, "own choice";
        /// Share of the reps run in full in adherence.
        full_weight: f64 = 0.15, "share", 0..1, "own choice";
        /// What two boundaries can be off together: 3 s each.
        edges_s: f64 = 6.0, "s", 0..30, "accuracy of edges";
        /// Largest share of a rep that is tolerance.
        rep_tolerance_share: f64 = 0.12, "share", 0..0.2, "own choice";
        /// Largest share of a walk that is tolerance.
        walk_tolerance_share: f64 = 1.0 / 3.0, "share", 0..0.9, "own choice";
        /// Share of a rep from which it begins to count as full.
        full_from_share: f64 = 0.75, "share", 0..0.79, "own choice";
        /// Longest rest inside a rep that costs nothing.
        free_rest_s: f64 = 10.0, "s", 0..60, "own choice";
        not settings {
            /// Speed that turns metres to be run into seconds, in metres per second: the plan says it.
            run_m_per_s: f64 = 2.5;
            /// Speed that turns metres to be walked into seconds, in metres per second: the plan says it.
            walk_m_per_s: f64 = 1.5;
        }
    }
}

impl AdherenceSettings {
    /// Seconds that a rep may be short.
    pub(crate) fn rep_tolerance_s(&self, planned_s: f64) -> f64 {
        self.edges_s.min(self.rep_tolerance_share * planned_s)
    }

    /// Seconds from which a rep counts as run in full.
    pub(super) fn rep_enough_s(&self, planned_s: f64) -> f64 {
        planned_s - self.rep_tolerance_s(planned_s)
    }

    /// Seconds that a walk may be off either way.
    pub(crate) fn walk_tolerance_s(&self, planned_s: f64) -> f64 {
        self.edges_s.min(self.walk_tolerance_share * planned_s)
    }

    /// Credit of a rep, 0 to 1.
    pub(super) fn rep_credit(&self, done_s: f64, planned_s: f64) -> f64 {
        if done_s <= 0.0 { 0.0 } else { (done_s / self.rep_enough_s(planned_s)).min(1.0) }
    }

    /// How far a rep counts as full, 0 to 1.
    pub(super) fn full_credit(&self, done_s: f64, planned_s: f64) -> f64 {
        let (from_s, to_s) = (self.full_from_share * planned_s, self.rep_enough_s(planned_s));
        if done_s >= to_s { 1.0 } else { ((done_s - from_s) / (to_s - from_s)).max(0.0) }
    }

    /// How far a walk was kept, 0 to 1, with `lost_s` seconds of rest lost in the groups on both sides.
    pub(super) fn walk_credit(&self, rest_s: f64, lost_s: f64, planned_s: f64) -> f64 {
        if rest_s <= 0.0 {
            return 0.0;
        }
        let tolerance_s = self.walk_tolerance_s(planned_s);
        let long_enough = rest_s / (planned_s - tolerance_s);
        let not_too_long = (planned_s + tolerance_s) / (rest_s + lost_s);
        long_enough.min(not_too_long).min(1.0)
    }
}

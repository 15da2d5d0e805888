//! What segmentation may be told; the defaults are the documented method.

/// Settings of [`segment`](crate::segment). `Default` is the method as documented and measured.
#[derive(Clone, Debug, PartialEq)]
pub struct SegmentSettings {
    /// Longest time step that is sampling and not a gap, in seconds (20, by definition).
    pub gap_s: f64,
    /// Half-width in seconds of the window that gives the heading on which displacement is projected.
    pub heading_half_width_s: usize,
    /// A stand is slower than this on average, in metres per second (0.55, by definition).
    pub stand_speed_m_per_s: f64,
    /// Shortest stand in seconds (6, by definition).
    pub stand_min_s: usize,
    /// Shortest run in seconds: 15 by definition, less what edges may err.
    pub run_min_s: usize,
    /// Shortest walk in seconds (12, by definition).
    pub walk_min_s: usize,
    /// Walking speed expected before anything is known of the person, in metres per second.
    pub walk_level_m_per_s: f64,
    /// Standard deviation of walking speed between people, in metres per second.
    pub walk_level_sd_m_per_s: f64,
    /// Running speed expected before anything is known of the person, in metres per second.
    pub run_level_m_per_s: f64,
    /// Standard deviation of running speed between people, in metres per second.
    pub run_level_sd_m_per_s: f64,
    /// Cadence in steps per minute that parts walking from running where only one of them is seen
    /// (140: Ducharme and others 2021, PMC8629136).
    pub cadence_cut_spm: f64,
    /// A recording is resolvable where the probability that every run is right reaches this.
    pub resolvable_confidence: f64,
}

impl Default for SegmentSettings {
    fn default() -> Self {
        Self {
            gap_s: 20.0,
            heading_half_width_s: 8,
            stand_speed_m_per_s: 0.55,
            stand_min_s: 6,
            run_min_s: 13,
            walk_min_s: 12,
            walk_level_m_per_s: 1.42,
            walk_level_sd_m_per_s: 0.17,
            run_level_m_per_s: 2.15,
            run_level_sd_m_per_s: 0.32,
            cadence_cut_spm: 140.0,
            resolvable_confidence: 0.5,
        }
    }
}

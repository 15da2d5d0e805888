//! What segmentation may be told; the defaults are the documented method.

boutwise_track::settings! {
    /// Settings of [`segment`](crate::segment). `Default` is the method as documented and measured.
    SegmentSettings {
        /// Longest time step that is sampling and not a gap.
        gap_s: f64 = 20.0, "s", 2..600, "by definition";
        /// Half-width of the window that gives the heading on which displacement is projected.
        heading_half_width_s: usize = 8, "s", 1..60, "own choice";
        /// A stand is slower than this on average.
        stand_speed_m_per_s: f64 = 0.55, "m/s", 0.1..1.2, "by definition";
        /// Shortest stand.
        stand_min_s: usize = 6, "s", 1..120, "by definition";
        /// Shortest run: 15 s by definition, less what edges may err.
        run_min_s: usize = 13, "s", 3..120, "by definition";
        /// Shortest walk.
        walk_min_s: usize = 12, "s", 3..120, "by definition";
        /// Walking speed expected before anything is known of the person.
        walk_level_m_per_s: f64 = 1.42, "m/s", 0.8..2.2, "own choice";
        /// Standard deviation of walking speed between people.
        walk_level_sd_m_per_s: f64 = 0.17, "m/s", 0.02..0.6, "own choice";
        /// Running speed expected before anything is known of the person.
        run_level_m_per_s: f64 = 2.15, "m/s", 1.2..5, "own choice";
        /// Standard deviation of running speed between people.
        run_level_sd_m_per_s: f64 = 0.32, "m/s", 0.05..1.2, "own choice";
        /// Cadence that parts walking from running where only one of them is seen.
        cadence_cut_spm: f64 = 140.0, "steps/min", 100..190, "Ducharme and others 2021, PMC8629136";
        /// Where cadence decides, a recording is resolvable if the probability that every run is right reaches this.
        resolvable_confidence: f64 = 0.55, "0 to 1", 0..1, "own choice";
        /// Where speed decides, a recording is resolvable if the probability that the number of runs is right reaches this.
        resolvable_by_speed_confidence: f64 = 0.76, "0 to 1", 0..1, "own choice";
    }
}

//! When a device writes a point, and how precisely.

use crate::{Random, TrueBout};
use boutwise_bouts::Kind;

/// How a device samples.
#[derive(Clone, Debug, PartialEq)]
pub struct SamplingSettings {
    /// Share of the files with irregular steps; the others have a point a second.
    pub irregular_share: f64,
    /// Range of irregular steps in whole seconds.
    pub irregular_step_s: (usize, usize),
    /// Range of the decimals of a degree that are written; drawn once per session.
    pub coordinate_decimals: (usize, usize),
}

impl Default for SamplingSettings {
    fn default() -> Self {
        Self { irregular_share: 0.0, irregular_step_s: (1, 5), coordinate_decimals: (7, 7) }
    }
}

/// Seconds of the points, none of them inside a pause; always with the first and the last second.
pub(crate) fn times_s(bouts: &[TrueBout], settings: &SamplingSettings, random: &mut Random) -> Vec<f64> {
    let last_s = bouts.last().map_or(0.0, |bout| bout.end_s.floor());
    let irregular = random.chance(settings.irregular_share);
    let (shortest, longest) = if irregular { settings.irregular_step_s } else { (1, 1) };
    let mut times = vec![0.0];
    let mut time_s = 0.0;
    while time_s < last_s {
        time_s = (time_s + random.whole(shortest, longest) as f64).min(last_s);
        times.push(time_s);
    }
    let paused =
        |time_s: f64| bouts.iter().any(|b| b.kind == Kind::Gap && b.start_s < time_s && time_s < b.end_s);
    times.retain(|&time_s| !paused(time_s));
    times
}

/// The truth as far as the points reach: a gap begins at the last point before it and ends at the first after.
pub(crate) fn seen(bouts: &[TrueBout], times_s: &[f64]) -> Vec<TrueBout> {
    let last_s = times_s.last().copied().unwrap_or(0.0);
    let mut seen = bouts.to_vec();
    for index in 0..seen.len() {
        if seen[index].kind == Kind::Gap {
            let after = times_s.partition_point(|&t| t < seen[index].end_s).min(times_s.len() - 1);
            let before = times_s.partition_point(|&t| t <= seen[index].start_s).max(1) - 1;
            (seen[index].start_s, seen[index].end_s) = (times_s[before], times_s[after]);
            if index > 0 {
                seen[index - 1].end_s = times_s[before];
            }
            if index + 1 < seen.len() {
                seen[index + 1].start_s = times_s[after];
            }
        }
    }
    seen.iter_mut().for_each(|bout| bout.end_s = bout.end_s.min(last_s));
    seen.retain(|bout| bout.end_s > bout.start_s);
    seen
}

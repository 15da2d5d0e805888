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

/// Seconds at which a device that never pauses writes a point; always with the first and the last second.
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
    times
}

/// Takes away the seconds inside pauses of the device.
pub(crate) fn pause(times_s: &mut Vec<f64>, bouts: &[TrueBout]) {
    let paused =
        |time_s: f64| bouts.iter().any(|b| b.kind == Kind::Gap && b.start_s < time_s && time_s < b.end_s);
    times_s.retain(|&time_s| !paused(time_s));
}

/// Seconds of standing after which a device pauses by itself. Own choice.
const PAUSES_AFTER_S: f64 = 4.0;

/// Takes away the seconds at which a device pauses by itself while standing, but at the very ends.
pub(crate) fn auto_pause(times_s: &mut Vec<f64>, bouts: &[TrueBout]) {
    let (Some(&first_s), Some(&last_s)) = (times_s.first(), times_s.last()) else { return };
    let stands: Vec<&TrueBout> = bouts.iter().filter(|bout| bout.kind == Kind::Stand).collect();
    times_s.retain(|&time_s| {
        let paused = |stand: &&&TrueBout| stand.start_s + PAUSES_AFTER_S < time_s && time_s < stand.end_s;
        time_s == first_s || time_s == last_s || !stands.iter().any(|stand| paused(&stand))
    });
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

/// Longest step between points that is sampling; a longer one is a gap and ends a run. The tool's definition.
const LONGEST_SAMPLING_STEP_S: f64 = 20.0;

/// The truth that points at these seconds can tell: it begins at the first and ends at the last of them, and what
/// lies in a step of more than 20 s is a gap. Seconds count from the first point.
pub(crate) fn told_by(bouts: &[TrueBout], times_s: &[f64]) -> Vec<TrueBout> {
    let (Some(&first_s), Some(&last_s)) = (times_s.first(), times_s.last()) else { return Vec::new() };
    let mut told: Vec<TrueBout> = Vec::new();
    let mut tell = |kind, start_s: f64, end_s: f64| {
        if end_s > start_s {
            match told.last_mut() {
                Some(last) if last.kind == kind => last.end_s = end_s - first_s,
                _ => told.push(TrueBout { kind, start_s: start_s - first_s, end_s: end_s - first_s }),
            }
        }
    };
    let mut from_s = first_s;
    let long_steps = times_s.windows(2).filter(|pair| pair[1] - pair[0] > LONGEST_SAMPLING_STEP_S);
    for (gap_from_s, gap_to_s) in long_steps.map(|pair| (pair[0], pair[1])).chain([(last_s, last_s)]) {
        for bout in bouts {
            tell(bout.kind, bout.start_s.max(from_s), bout.end_s.min(gap_from_s));
        }
        tell(Kind::Gap, gap_from_s, gap_to_s);
        from_s = gap_to_s;
    }
    told
}

#[cfg(test)]
mod tests {
    use super::*;

    fn bout(kind: Kind, start_s: f64, end_s: f64) -> TrueBout {
        TrueBout { kind, start_s, end_s }
    }

    #[test]
    fn a_long_step_is_a_gap_that_ends_a_run_and_a_short_one_is_not() {
        let bouts =
            [bout(Kind::Walk, 0.0, 60.0), bout(Kind::Run, 60.0, 300.0), bout(Kind::Walk, 300.0, 400.0)];
        let times = |hidden: std::ops::Range<usize>| -> Vec<f64> {
            (0..=400).filter(|second| !hidden.contains(second)).map(|second| second as f64).collect()
        };
        assert_eq!(told_by(&bouts, &times(101..120)), bouts);
        assert_eq!(
            told_by(&bouts, &times(101..121)),
            [
                bouts[0],
                bout(Kind::Run, 60.0, 100.0),
                bout(Kind::Gap, 100.0, 121.0),
                bout(Kind::Run, 121.0, 300.0),
                bouts[2],
            ]
        );
        let across = told_by(&bouts, &times(281..330));
        assert_eq!(across[1..3], [bout(Kind::Run, 60.0, 280.0), bout(Kind::Gap, 280.0, 330.0)]);
        let late = told_by(&bouts, &times(0..30));
        assert_eq!((late[0], late[2].end_s), (bout(Kind::Walk, 0.0, 30.0), 370.0));
        assert_eq!(told_by(&bouts, &[]), []);
    }
}

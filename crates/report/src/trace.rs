//! Speed, heart rate and cadence of a session, thinned for a page.

use std::ops::Range;

use serde::{Deserialize, Serialize};

/// Most values that a page draws for one quantity of one session; at 40 min this is one in 8 s.
const SLICES: usize = 300;

/// Shortest slice in seconds; below it a page could not show the difference.
const SLICE_MIN_S: f64 = 2.0;

/// What was measured along a session, as means over equal slices of time.
///
/// ```
/// let mut trace = boutwise_report::Trace::new("ines/1.gpx", 1, 600.0);
/// let times_s: Vec<f64> = (0..=600).map(f64::from).collect();
/// let speed_m_per_s = vec![2.4; times_s.len()];
/// trace.speed_m_per_s = trace.thin(&times_s, &speed_m_per_s);
/// assert_eq!(trace.speed_m_per_s.len(), 300);
/// ```
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Trace {
    /// Path of the file, as in the tables.
    pub file: String,
    /// Number of the session in its file, from 1.
    pub session: u64,
    /// Length of a slice in seconds; slice `i` begins at `i * slice_s` after the session's start.
    pub slice_s: f64,
    /// Speed in metres per second, NaN where missing; empty where not recorded.
    pub speed_m_per_s: Vec<f32>,
    /// Heart rate in beats per minute, NaN where missing; empty where not recorded.
    pub heart_rate_bpm: Vec<f32>,
    /// Cadence of both legs in steps per minute, NaN where missing; empty where not recorded.
    pub cadence_spm: Vec<f32>,
}

impl Trace {
    /// A trace of a session of `duration_s` seconds, with nothing in it yet.
    pub fn new(file: impl Into<String>, session: u64, duration_s: f64) -> Self {
        let slice_s = if duration_s.is_finite() { duration_s / SLICES as f64 } else { SLICE_MIN_S };
        Self { file: file.into(), session, slice_s: slice_s.max(SLICE_MIN_S), ..Self::default() }
    }

    /// The means of `values` over the trace's slices: NaN for a slice without a value, empty where there is no
    /// value at all. Times are seconds from the session's start, in any order; both are as long as the
    /// shorter; values that are not finite are missing.
    pub fn thin<Value: Copy + Into<f64>>(&self, times_s: &[f64], values: &[Value]) -> Vec<f32> {
        let [thinned] = self.thin_all(times_s, [values]);
        thinned
    }

    /// The same of several columns at the same times, which are looked at once.
    ///
    /// ```
    /// let trace = boutwise_report::Trace::new("ines/1.gpx", 1, 600.0);
    /// assert_eq!(trace.thin_all(&[0.0, 1.0, 2.0], [&[1.0, 3.0, 9.0], &[5.0; 3]]), [[2.0, 9.0], [5.0; 2]]);
    /// ```
    pub fn thin_all<Value: Copy + Into<f64>, const COLUMNS: usize>(
        &self,
        times_s: &[f64],
        columns: [&[Value]; COLUMNS],
    ) -> [Vec<f32>; COLUMNS] {
        let stretches = self.stretches(times_s);
        columns.map(|values| {
            let mut sums = [(0.0, 0_u32); SLICES];
            let mut used = 0;
            for (slice, points) in &stretches {
                let (mut sum, mut count) = sums[*slice];
                let values = &values[points.start.min(values.len())..points.end.min(values.len())];
                let all = values.iter().fold(sum, |sum, &value| sum + value.into());
                if all.is_finite() {
                    // Then each of them is.
                    (sum, count) = (all, count + values.len() as u32);
                } else {
                    for value in values.iter().map(|&value| value.into()).filter(|value| value.is_finite()) {
                        sum += value;
                        count += 1;
                    }
                }
                if count > 0 {
                    sums[*slice] = (sum, count);
                    used = used.max(slice + 1);
                }
            }
            sums[..used].iter().map(|(sum, count)| (sum / f64::from(*count)) as f32).collect()
        })
    }

    /// Stretches of times in one slice. Where a stretch begins the time is looked at, further on only whether they go on.
    fn stretches(&self, times_s: &[f64]) -> Vec<(usize, Range<usize>)> {
        let mut stretches = Vec::with_capacity(SLICES + 1);
        let mut first = 0;
        while let Some(&time_s) = times_s.get(first) {
            // Not a number is no time either.
            if !(0.0..f64::INFINITY).contains(&time_s) {
                first += 1;
                continue;
            }
            // The last point stands on the end of the last slice and counts to it.
            let slice = ((time_s / self.slice_s) as usize).min(SLICES - 1);
            let rounding_s = 1e-9 * (time_s + self.slice_s);
            let start_s = slice as f64 * self.slice_s;
            let sure_s = start_s + rounding_s..start_s + self.slice_s - rounding_s;
            let further = times_s[first + 1..].iter().take_while(|time_s| sure_s.contains(time_s)).count();
            stretches.push((slice, first..first + 1 + further));
            first += 1 + further;
        }
        stretches
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_slice_is_the_mean_of_its_values_and_missing_without() {
        let trace = Trace { slice_s: 10.0, ..Trace::new("a", 1, 100.0) };
        let thinned = trace.thin(&[0.0, 5.0, 9.9, 25.0, 30.0], &[1.0, 2.0, f64::NAN, 4.0, 8.0]);
        assert_eq!(thinned[0], 1.5);
        assert!(thinned[1].is_nan());
        assert_eq!(thinned[2..], [4.0, 8.0]);
    }

    #[test]
    fn a_value_without_a_time_is_left_out_and_those_after_it_are_not() {
        let trace = Trace { slice_s: 10.0, ..Trace::new("a", 1, 100.0) };
        let times_s = [-1.0, 1.0, f64::NAN, 2.0, f64::INFINITY, 12.0, 3.0];
        let thinned = trace.thin(&times_s, &[100.0, 1.0, 100.0, 2.0, 100.0, 7.0, 6.0]);
        assert_eq!(thinned, [3.0, 7.0]);
    }

    #[test]
    fn nothing_recorded_gives_nothing_to_draw() {
        let trace = Trace::new("a", 1, 100.0);
        assert!(trace.thin::<f64>(&[], &[]).is_empty());
        assert!(trace.thin(&[1.0, 2.0], &[f64::NAN, f64::NAN]).is_empty());
    }

    #[test]
    fn a_day_long_session_has_no_more_slices_than_a_short_one() {
        let trace = Trace::new("a", 1, 86_400.0);
        let times_s: Vec<f64> = (0..=86_400).map(f64::from).collect();
        let thinned = trace.thin(&times_s, &times_s);
        assert_eq!(thinned.len(), 300);
        assert!(thinned.windows(2).all(|pair| pair[0] < pair[1]));
    }
}

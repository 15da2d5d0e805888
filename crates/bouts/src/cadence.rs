//! What cadence says about running and walking.

use crate::SegmentSettings;
use crate::grid::Grid;

/// Width of a histogram bin in steps per minute.
const BIN_SPM: f64 = 2.0;
/// Readings from here on are steps and not a sensor at rest, in steps per minute.
const LOWEST_SPM: f64 = 60.0;
/// Number of bins, up to 240 steps per minute.
const BINS: usize = 90;
/// Least difference of the two cluster means in steps per minute.
const LEAST_SEPARATION_SPM: f64 = 15.0;
/// Each cluster holds at least this share of the readings.
const LEAST_SHARE: f64 = 0.03;
/// The cut lies in this range, in steps per minute (walking stays below 130, running above 148: common practice).
const CUT_RANGE_SPM: (f64, f64) = (130.0, 146.0);
/// Steps per minute from the cut at which the evidence is full.
const FULL_AT_SPM: f64 = 8.0;
/// Most evidence of one second in nats: readings of neighbouring seconds are the same reading, smoothed.
const CLIP_NATS: f64 = 1.0;
/// Zeros of at most this many seconds between two running readings are dropouts.
const DROPOUT_S: usize = 20;
/// Zeros while moving faster than this, in metres per second, are dropouts.
const MOVING_M_PER_S: f64 = 0.9;
/// Hysteresis around the cut in steps per minute, to each side.
const HYSTERESIS_SPM: f64 = 4.0;
/// Expected delay of cadence behind position in seconds, and its standard deviation.
const LAG_S: f64 = 3.5;
const LAG_SD_S: f64 = 3.0;
/// Delays that are tried, in seconds.
const LAGS_S: std::ops::RangeInclusive<isize> = -2..=14;
/// Share of the speed evidence about the delay that counts: its errors are correlated.
const LAG_TRUST: f64 = 0.5;

/// Evidence of cadence for running against walking.
#[derive(Debug)]
pub(crate) struct Cadence {
    /// Log likelihood ratio of running against walking for each cell, 0 where nothing is known.
    pub(crate) evidence: Vec<f64>,
    /// Share of the moving cells that have evidence.
    pub(crate) share: f64,
    /// Cadence that parts walking from running, in steps per minute.
    pub(crate) cut_spm: f64,
    transitions: Vec<Transition>,
}

#[derive(Clone, Copy, Debug)]
struct Transition {
    cell: usize,
    to_run: bool,
}

impl Cadence {
    /// Reads the cadence of a grid, as it lies in time; see [`Cadence::advance`] for the delay.
    pub(crate) fn new(grid: &Grid, settings: &SegmentSettings) -> Self {
        let mut readings: Vec<f64> = grid.cadence_spm.iter().map(|&reading| f64::from(reading)).collect();
        let histogram = histogram(&readings);
        let cut_spm = otsu_cut(&histogram).unwrap_or(settings.cadence_cut_spm);
        drop_zeros(&mut readings, grid, cut_spm);
        let evidence: Vec<f64> = readings
            .iter()
            .map(|&reading| {
                if reading.is_nan() {
                    0.0
                } else {
                    ((reading - cut_spm) / FULL_AT_SPM).clamp(-1.0, 1.0) * CLIP_NATS
                }
            })
            .collect();
        let known = readings.iter().filter(|reading| !reading.is_nan()).count();
        Self {
            evidence,
            share: known as f64 / grid.len().max(1) as f64,
            cut_spm,
            transitions: transitions(&readings, cut_spm),
        }
    }

    /// Moves the evidence earlier by the delay of cadence behind position, estimated for each direction of change
    /// from where speed changes. `speed_evidence` is the cumulative evidence of speed for running, one value more than cells.
    pub(crate) fn advance(&mut self, speed_evidence: &[f64]) {
        if self.transitions.is_empty() {
            return;
        }
        let lag_s = [false, true].map(|to_run| self.lag_s(speed_evidence, to_run));
        let source = self.evidence.clone();
        let cells = source.len() as isize;
        let lag_of = |transition: &Transition| lag_s[usize::from(transition.to_run)];
        let mut nearest = 0;
        for cell in 0..cells {
            while let Some(next) = self.transitions.get(nearest + 1) {
                let here = &self.transitions[nearest];
                let middle = here.cell as isize - lag_of(here) + next.cell as isize - lag_of(next);
                if 2 * cell < middle {
                    break;
                }
                nearest += 1;
            }
            let from = cell + lag_of(&self.transitions[nearest]);
            self.evidence[cell as usize] =
                if (0..cells).contains(&from) { source[from as usize] } else { 0.0 };
        }
    }

    /// Delay in seconds at changes of one direction: the posterior mean over [`LAGS_S`].
    fn lag_s(&self, speed_evidence: &[f64], to_run: bool) -> isize {
        let sign = if to_run { -1.0 } else { 1.0 };
        let last = speed_evidence.len() as isize - 1;
        let log_weight = |lag_s: isize| {
            let evidence: f64 = self
                .transitions
                .iter()
                .filter(|transition| transition.to_run == to_run)
                .map(|transition| {
                    let at = |cell: isize| speed_evidence[cell.clamp(0, last) as usize];
                    let cell = transition.cell as isize;
                    sign * (at(cell - lag_s) - at(cell))
                })
                .sum();
            LAG_TRUST * evidence - 0.5 * ((lag_s as f64 - LAG_S) / LAG_SD_S).powi(2)
        };
        let top = LAGS_S.map(log_weight).fold(f64::NEG_INFINITY, f64::max);
        let (mut total, mut mean) = (0.0, 0.0);
        for lag_s in LAGS_S {
            let weight = (log_weight(lag_s) - top).exp();
            total += weight;
            mean += weight * lag_s as f64;
        }
        (mean / total).round() as isize
    }
}

/// Removes zeros that are not standing: the sensor waking up, short holes within running, zeros on the move.
fn drop_zeros(readings: &mut [f64], grid: &Grid, cut_spm: f64) {
    let mut cell = 0;
    while cell < readings.len() {
        if readings[cell] != 0.0 {
            cell += 1;
            continue;
        }
        let start = cell;
        while cell < readings.len() && readings[cell] == 0.0 {
            cell += 1;
        }
        let before = readings[..start].iter().rev().find(|reading| !reading.is_nan());
        let after = readings[cell..].iter().find(|reading| !reading.is_nan());
        let within_running = cell - start <= DROPOUT_S
            && before.is_some_and(|&reading| reading >= cut_spm)
            && after.is_some_and(|&reading| reading >= cut_spm);
        let known_s: f64 = grid.weight[start..cell].iter().sum();
        let length_m: f64 = (start..cell).map(|i| grid.along_m[i] * grid.weight[i]).sum();
        let moving = known_s > 0.0 && length_m / known_s > MOVING_M_PER_S;
        if before.is_none() || moving || (within_running && known_s == 0.0) {
            readings[start..cell].fill(f64::NAN);
        }
    }
}

fn histogram(readings: &[f64]) -> [f64; BINS] {
    let mut bins = [0.0; BINS];
    for &reading in readings {
        if reading >= LOWEST_SPM {
            let bin = ((reading - LOWEST_SPM) / BIN_SPM) as usize;
            bins[bin.min(BINS - 1)] += 1.0;
        }
    }
    bins
}

/// Otsu's cut in steps per minute, where two clusters on either side of walking and running are seen.
fn otsu_cut(bins: &[f64; BINS]) -> Option<f64> {
    let split = otsu(bins)?;
    let centre = |bin: usize| LOWEST_SPM + (bin as f64 + 0.5) * BIN_SPM;
    let mean = |bins_in: std::ops::Range<usize>| {
        let count: f64 = bins[bins_in.clone()].iter().sum();
        (count, bins_in.map(|bin| bins[bin] * centre(bin)).sum::<f64>() / count)
    };
    let (walk_count, walk_spm) = mean(0..split);
    let (run_count, run_spm) = mean(split..BINS);
    let least = LEAST_SHARE * (walk_count + run_count);
    let apart =
        run_spm - walk_spm >= LEAST_SEPARATION_SPM && walk_spm < CUT_RANGE_SPM.0 && run_spm > CUT_RANGE_SPM.1;
    (apart && walk_count >= least && run_count >= least)
        .then(|| (0.5 * (walk_spm + run_spm)).clamp(CUT_RANGE_SPM.0, CUT_RANGE_SPM.1))
}

/// Otsu's threshold: the first bin of the upper class where the variance between the classes is largest
/// (Otsu 1979, IEEE Transactions on Systems, Man, and Cybernetics 9:62–66). `None` where one class would be empty.
pub(crate) fn otsu(bins: &[f64]) -> Option<usize> {
    let total: f64 = bins.iter().sum();
    let total_sum: f64 = bins.iter().enumerate().map(|(bin, count)| bin as f64 * count).sum();
    let (mut count, mut sum) = (0.0, 0.0);
    let mut best: Option<(f64, usize)> = None;
    for (bin, bin_count) in bins.iter().enumerate() {
        if count > 0.0 && count < total {
            let difference = sum / count - (total_sum - sum) / (total - count);
            let between = count * (total - count) * difference * difference / (total * total);
            if best.is_none_or(|(best_between, _)| between > best_between) {
                best = Some((between, bin));
            }
        }
        count += bin_count;
        sum += bin as f64 * bin_count;
    }
    best.map(|(_, bin)| bin)
}

/// Changes between walking and running with hysteresis around the cut.
fn transitions(readings: &[f64], cut_spm: f64) -> Vec<Transition> {
    let mut found = Vec::new();
    let mut running: Option<bool> = None;
    for (cell, &reading) in readings.iter().enumerate() {
        let now = if reading >= cut_spm + HYSTERESIS_SPM {
            true
        } else if reading < cut_spm - HYSTERESIS_SPM {
            false
        } else {
            continue;
        };
        if running.is_some_and(|before| before != now) {
            found.push(Transition { cell, to_run: now });
        }
        running = Some(now);
    }
    found
}

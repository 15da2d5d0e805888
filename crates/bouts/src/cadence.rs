//! What cadence says about running and walking.

use std::ops::{Range, RangeInclusive};

use crate::SegmentSettings;
use crate::exponential::exponential;
use crate::grid::Grid;
use crate::levels::Levels;
use crate::otsu::otsu;
use crate::statistics::count;

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
/// The cut lies in this range, in steps per minute: the walking cluster must lie below it, the running one above
/// (walking stays below 130, easy running above 148: common practice, no source).
const CUT_RANGE_SPM: RangeInclusive<f64> = 130.0..=146.0;
/// Steps per minute from the cut at which the evidence is full.
const FULL_AT_SPM: f64 = 8.0;
/// Most evidence of one second in nats: readings of neighbouring seconds are much the same reading.
const CLIP_NATS: f64 = 1.0;
/// Zeros of at most this many seconds between two running readings are dropouts.
const DROPOUT_S: usize = 20;
/// Zeros while moving faster than this, in metres per second, are dropouts.
const MOVING_M_PER_S: f64 = 0.9;
/// Hysteresis around the cut in steps per minute, to each side.
const HYSTERESIS_SPM: f64 = 4.0;
/// Expected delay of cadence behind position in seconds, and its standard deviation (1–3 s in simulation, 5–10 s in
/// some real recordings).
const LAG_S: f64 = 3.5;
const LAG_SD_S: f64 = 3.0;
/// How much longer the delay is at changes to walking than at changes to running, in seconds, and its standard deviation: what
/// differs makes every run longer or shorter. Own choice between none, as in simulation, and the 5 s of an open recording with 42
/// changes each way; held closer together, an open recording with few changes loses a walk of 14 s.
const LAG_DIFFERENCE_S: f64 = 1.0;
const LAG_DIFFERENCE_SD_S: f64 = 5.0;
/// Delays that are tried, in seconds.
const LAGS_S: RangeInclusive<isize> = -2..=14;
/// Share of the evidence of speed about the delay that counts: its errors are correlated.
const LAG_TRUST: f64 = 0.5;
/// Share of the level gap from the middle at which a second of speed says all that it can about the delay.
const LAG_SATURATION: f64 = 1.0;

/// Evidence of cadence for running against walking.
#[derive(Debug)]
pub(crate) struct Cadence {
    /// Log likelihood ratio of running against walking for each cell, 0 where nothing is known.
    pub(crate) evidence: Vec<f64>,
    /// Share of the cells outside gaps that have evidence.
    pub(crate) share: f64,
    /// Cadence that parts walking from running, in steps per minute.
    pub(crate) cut_spm: f64,
    transitions: Vec<Transition>,
}

/// A change between walking and running cadence.
#[derive(Clone, Copy, Debug)]
struct Transition {
    cell: usize,
    /// The second that the cell stands for.
    second: usize,
    to_run: bool,
}

impl Cadence {
    /// Reads the cadence of a grid as it lies in time; see [`Cadence::advance`] for its delay.
    pub(crate) fn new(grid: &Grid, settings: &SegmentSettings) -> Self {
        if grid.cadence_spm.iter().all(|reading| reading.is_nan()) {
            // Zeros that nobody writes take no room.
            let evidence = vec![0.0; grid.len()];
            return Self { evidence, share: 0.0, cut_spm: settings.cadence_cut_spm, transitions: Vec::new() };
        }
        let mut readings: Vec<f64> = grid.cadence_spm.iter().map(|&reading| f64::from(reading)).collect();
        let cut_spm = cut_between_clusters(&readings).unwrap_or(settings.cadence_cut_spm);
        drop_zeros(&mut readings, grid, cut_spm);
        let evidence = |reading: &f64| match reading.is_nan() {
            true => 0.0,
            false => ((reading - cut_spm) / FULL_AT_SPM).clamp(-1.0, 1.0) * CLIP_NATS,
        };
        let gaps_s: f64 = grid.gaps.iter().map(|gap| gap.end - gap.start).sum();
        let known = count(&readings, |reading| !reading.is_nan());
        Self {
            evidence: readings.iter().map(evidence).collect(),
            share: known as f64 / (grid.seconds(&(0..grid.len())) as f64 - gaps_s).max(1.0),
            cut_spm,
            transitions: transitions(&readings, grid, cut_spm),
        }
    }

    /// Moves the evidence earlier by the delay of cadence behind position, estimated for each direction of change
    /// from where speed changes.
    pub(crate) fn advance(&mut self, grid: &Grid, levels: Levels, noise_m2_per_s: f64) {
        if self.transitions.is_empty() {
            return;
        }
        let speed_evidence = speed_evidence(grid, levels, noise_m2_per_s);
        let lags_s = self.lags_s(&speed_evidence);
        let lag_s = |transition: &Transition| lags_s[usize::from(transition.to_run)];
        let source = std::mem::replace(&mut self.evidence, Vec::with_capacity(grid.len()));
        let mut start = 0;
        for (index, here) in self.transitions.iter().enumerate() {
            // A change has a say up to half way to the next one, both where they were by position.
            let end = self.transitions.get(index + 1).map_or(source.len(), |next| {
                let twice_middle = (here.second + next.second) as isize - lag_s(here) - lag_s(next);
                grid.timeline.cell((twice_middle.max(0) as usize).div_ceil(2)).clamp(start, source.len())
            });
            let from = start as isize + lag_s(here);
            self.evidence.resize((start + (-from).max(0) as usize).min(end), 0.0);
            let later = source.get(from.max(0) as usize..).unwrap_or_default();
            self.evidence.extend_from_slice(&later[..later.len().min(end - self.evidence.len())]);
            self.evidence.resize(end, 0.0);
            start = end;
        }
    }

    /// Delays in seconds at changes to walking and to running: the posterior means over [`LAGS_S`].
    fn lags_s(&self, speed_evidence: &[f64]) -> [isize; 2] {
        let [to_walk, to_run] = [false, true].map(|to_run| self.log_weights(speed_evidence, to_run));
        let differ = |walk_s: isize, run_s: isize| {
            -0.5 * (((walk_s - run_s) as f64 - LAG_DIFFERENCE_S) / LAG_DIFFERENCE_SD_S).powi(2)
        };
        let pairs = || {
            let of_run = |(walk_s, walk): (isize, f64)| {
                let runs = LAGS_S.zip(&to_run);
                runs.map(move |(run_s, run)| ([walk_s, run_s], walk + run + differ(walk_s, run_s)))
            };
            LAGS_S.zip(to_walk.iter().copied()).flat_map(of_run)
        };
        let top = pairs().map(|(_, log)| log).fold(f64::NEG_INFINITY, f64::max);
        let (mut total, mut sums) = (0.0, [0.0; 2]);
        for (lags_s, log) in pairs() {
            let weight = exponential(log - top);
            total += weight;
            sums.iter_mut().zip(lags_s).for_each(|(sum, lag_s)| *sum += weight * lag_s as f64);
        }
        sums.map(|sum| (sum / total).round() as isize)
    }

    /// Log weight of each delay at changes of one direction.
    fn log_weights(&self, speed_evidence: &[f64], to_run: bool) -> Vec<f64> {
        let sign = if to_run { -1.0 } else { 1.0 };
        let last = speed_evidence.len() - 1;
        let log_weight = |lag_s: isize| {
            let one_way = self.transitions.iter().filter(|transition| transition.to_run == to_run);
            let evidence: f64 = one_way
                .map(|transition| {
                    let earlier = transition.cell.checked_add_signed(-lag_s).unwrap_or(0).min(last);
                    sign * (speed_evidence[earlier] - speed_evidence[transition.cell])
                })
                .sum();
            LAG_TRUST * evidence - 0.5 * ((lag_s as f64 - LAG_S) / LAG_SD_S).powi(2)
        };
        LAGS_S.map(log_weight).collect()
    }
}

/// Evidence of speed for running, summed up to each cell; no second says more than any other that is clear.
fn speed_evidence(grid: &Grid, levels: Levels, noise_m2_per_s: f64) -> Vec<f64> {
    let gap = levels.gap();
    let worth = (LAG_SATURATION * gap * gap / noise_m2_per_s).min(1.0);
    let mut total = 0.0;
    let mut sums = Vec::with_capacity(grid.len() + 1);
    sums.push(0.0);
    sums.extend(grid.along_m.iter().zip(&grid.weight).map(|(along_m, weight)| {
        let off = (along_m - levels.middle()) / (LAG_SATURATION * gap);
        total += off.clamp(-1.0, 1.0) * worth * weight;
        total
    }));
    sums
}

/// Removes zeros that are not standing: the sensor waking up, short holes within running, zeros on the move.
fn drop_zeros(readings: &mut [f64], grid: &Grid, cut_spm: f64) {
    let mut before = f64::NAN;
    let mut start = 0;
    while let Some(others) = readings[start..].iter().position(|&reading| reading == 0.0) {
        let known = readings[start..start + others].iter().rfind(|reading| !reading.is_nan());
        before = known.copied().unwrap_or(before);
        start += others;
        let zeros = readings[start..].iter().take_while(|&&reading| reading == 0.0).count();
        let cells: Range<usize> = start..start + zeros;
        let after = readings[cells.end..].iter().take(DROPOUT_S).find(|reading| !reading.is_nan());
        let (length_m, known_s) = grid.trusted(cells.clone());
        let within_running =
            zeros <= DROPOUT_S && before >= cut_spm && after.is_some_and(|&reading| reading >= cut_spm);
        let moving = length_m > MOVING_M_PER_S * known_s;
        if before.is_nan() || (known_s > 0.0 && moving) || (known_s == 0.0 && within_running) {
            readings[cells.clone()].fill(f64::NAN);
        }
        start = cells.end;
    }
}

/// Half way between the means of two clusters on either side of walking and running, where both are seen.
fn cut_between_clusters(readings: &[f64]) -> Option<f64> {
    let mut bins = [0.0; BINS];
    for reading in readings.iter().filter(|&&reading| reading >= LOWEST_SPM) {
        let bin = ((reading - LOWEST_SPM) / BIN_SPM) as u32 as usize;
        bins[bin.min(BINS - 1)] += 1.0;
    }
    let split = otsu(&bins)?;
    let cluster = |range: Range<usize>| {
        let count: f64 = bins[range.clone()].iter().sum();
        let centre = |bin: usize| LOWEST_SPM + (bin as f64 + 0.5) * BIN_SPM;
        (count, range.map(|bin| bins[bin] * centre(bin)).sum::<f64>() / count)
    };
    let (walk_count, walk_spm) = cluster(0..split);
    let (run_count, run_spm) = cluster(split..BINS);
    let least = LEAST_SHARE * (walk_count + run_count);
    let (low, high) = (*CUT_RANGE_SPM.start(), *CUT_RANGE_SPM.end());
    let apart = run_spm - walk_spm >= LEAST_SEPARATION_SPM && walk_spm < low && run_spm > high;
    (apart && walk_count >= least && run_count >= least)
        .then(|| (0.5 * (walk_spm + run_spm)).clamp(low, high))
}

/// Changes between walking and running with hysteresis around the cut.
fn transitions(readings: &[f64], grid: &Grid, cut_spm: f64) -> Vec<Transition> {
    let (least_run_spm, walk_below_spm) = (cut_spm + HYSTERESIS_SPM, cut_spm - HYSTERESIS_SPM);
    let runs = |reading: f64| reading >= least_run_spm;
    let walks = |reading: f64| reading < walk_below_spm;
    let mut found = Vec::new();
    let first = readings.iter().position(|&reading| runs(reading) || walks(reading)).unwrap_or(0);
    let (mut cell, mut running) = (first, readings.get(first).is_some_and(|&reading| runs(reading)));
    let next = |cell: usize, running: bool| {
        let mut rest = readings[cell..].iter();
        if running {
            rest.position(|&reading| walks(reading))
        } else {
            rest.position(|&reading| runs(reading))
        }
    };
    while let Some(further) = next(cell, running) {
        (cell, running) = (cell + further, !running);
        found.push(Transition { cell, second: grid.timeline.second(cell), to_run: running });
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Minutes of walking and running in turn, cadence trailing by so many seconds.
    fn trailing(lag_s: usize) -> Grid {
        let runs = |cell: usize| cell / 60 % 2 == 1;
        let along_m: Vec<f64> = (0..900).map(|cell| if runs(cell) { 2.3 } else { 1.4 }).collect();
        let cadence_spm =
            (0..900_usize).map(|cell| if runs(cell.saturating_sub(lag_s)) { 156.0 } else { 112.0 }).collect();
        Grid { weight: vec![1.0; 900], step_s: vec![1.0; 900], along_m, cadence_spm, ..Grid::default() }
    }

    #[test]
    fn the_delay_is_taken_back_whatever_it_is() {
        for lag_s in [0, 2, 5, 10] {
            let grid = trailing(lag_s);
            let mut cadence = Cadence::new(&grid, &SegmentSettings::default());
            let levels = Levels { walk_m_per_s: 1.4, run_m_per_s: 2.3 };
            cadence.advance(&grid, levels, 0.3);
            let right =
                (30..870).filter(|&cell| (cadence.evidence[cell] > 0.0) == (cell / 60 % 2 == 1)).count();
            assert!(right >= 825, "lag {lag_s}: {right} of 840 seconds");
        }
    }

    /// The delays that are found where cadence trails by these seconds at changes to walking and to running.
    fn lags_found_s(to_walk_s: usize, to_run_s: usize, clear: bool) -> [isize; 2] {
        let is_run = |cell: usize| cell / 60 % 2 == 1;
        let mut grid = trailing(0);
        for (cell, reading) in grid.cadence_spm.iter_mut().enumerate() {
            // Either kind lasts until the delay after the change is over.
            let late_s = if is_run(cell) { to_run_s } else { to_walk_s };
            let was = cell % 60 < late_s && cell >= 60;
            *reading = if is_run(cell) != was { 156.0 } else { 112.0 };
        }
        if !clear {
            grid.along_m.fill(1.85);
        }
        let cadence = Cadence::new(&grid, &SegmentSettings::default());
        let levels = Levels { walk_m_per_s: 1.4, run_m_per_s: 2.3 };
        cadence.lags_s(&speed_evidence(&grid, levels, 0.3))
    }

    #[test]
    fn each_direction_has_its_delay_where_speed_shows_it_and_the_usual_ones_elsewhere() {
        for [to_walk_s, to_run_s] in [[10, 5], [2, 2], [3, 8]] {
            let found_s = lags_found_s(to_walk_s, to_run_s, true);
            let near = |(found, true_s): (isize, usize)| found.abs_diff(true_s as isize) <= 1;
            assert!(found_s.into_iter().zip([to_walk_s, to_run_s]).all(near), "{found_s:?}");
        }
        assert_eq!(lags_found_s(10, 5, false), [4, 3]);
    }

    #[test]
    fn one_cluster_is_cut_where_people_change_from_walking_to_running() {
        let grid = Grid { cadence_spm: vec![156.0; 300], ..trailing(0) };
        let grid = Grid { along_m: vec![2.0; 300], weight: vec![1.0; 300], ..grid };
        let cadence = Cadence::new(&grid, &SegmentSettings::default());
        assert_eq!(cadence.cut_spm, 140.0);
        assert!(cadence.evidence.iter().all(|&nats| nats > 0.9));
    }

    #[test]
    fn a_zero_on_the_move_is_a_dropout_and_a_zero_at_rest_is_not() {
        let mut grid = trailing(0);
        grid.cadence_spm[90..95].fill(0.0);
        grid.cadence_spm[210..215].fill(0.0);
        grid.along_m[210..215].fill(0.0);
        let cadence = Cadence::new(&grid, &SegmentSettings::default());
        assert!(cadence.evidence[90..95].iter().all(|&nats| nats == 0.0));
        assert!(cadence.evidence[210..215].iter().all(|&nats| nats == -1.0));
    }
}

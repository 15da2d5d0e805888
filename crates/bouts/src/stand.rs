//! Where the person stood still.

use std::ops::Range;

use crate::SegmentSettings;
use crate::confidence::stand_confidence;
use crate::grid::Grid;

/// Log prior odds in nats against a stand beginning in a given second, and against it ending.
const ENTER_NATS: f64 = 6.0;
const LEAVE_NATS: f64 = 3.0;
/// Most evidence of one second in nats.
const CLIP_NATS: f64 = 3.0;
/// Evidence in nats of a second with running cadence against standing: more than speed can have for it.
const RUNNING_NATS: f64 = 4.0;
/// Evidence in nats of a second with other steps against standing, and of a second without steps for it.
const STEPPING_NATS: f64 = 1.0;
/// Cadence that counts as steps, in steps per minute.
const STEPPING_SPM: f32 = 60.0;
/// A stand shorter than this, in seconds, between two stretches of running cadence is none (by definition), unless
/// cadence says that the steps stopped.
pub(crate) const STUMBLE_S: usize = 12;
/// Share of the cadence of a stand from which the steps stopped.
const STEPLESS_SHARE: f64 = 0.5;
/// Who steps on for this long, in seconds, and for this share of the cadence known there, does not stand, whatever positions do:
/// longer than cadence trails (own choices).
const STEPPED_S: usize = 30;
const STEPPED_SHARE: f64 = 0.8;
/// Seconds on either side in which running cadence is looked for.
const BESIDE_S: usize = 10;

/// A stretch without moving.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Stand {
    pub(crate) cells: Range<usize>,
    /// Evidence for standing against moving, less what a stand costs beforehand, in nats.
    pub(crate) evidence_nats: f64,
}

impl Stand {
    /// Probability that it is one.
    pub(crate) fn confidence(&self, grid: &Grid) -> f64 {
        stand_confidence(self.evidence_nats, grid.seconds(&self.cells))
    }
}

/// Stands, in order: a two-state Viterbi decoder of standing against walking; stands that are short, or too fast on
/// average, or a stumble between running steps are left out.
pub(crate) fn find_stands(
    grid: &Grid,
    noise_m2_per_s: f64,
    cadence_cut_spm: f64,
    settings: &SegmentSettings,
) -> Vec<Stand> {
    let cut_spm = cadence_cut_spm as f32;
    let walk_m_per_s = settings.walk_level_m_per_s;
    let scale = walk_m_per_s / noise_m2_per_s;
    let second = |((&along_m, &weight), &reading): ((&f64, &f64), &f32)| {
        let speed_nats = scale * (0.5 * walk_m_per_s - along_m) * weight;
        let cadence_nats = if reading >= cut_spm {
            -RUNNING_NATS
        } else if reading >= STEPPING_SPM {
            -STEPPING_NATS
        } else if reading < STEPPING_SPM {
            STEPPING_NATS
        } else {
            0.0
        };
        let nats = speed_nats.clamp(-CLIP_NATS, CLIP_NATS) + cadence_nats;
        if weight == 0.0 { 0.0 } else { nats }
    };
    let cells = grid.along_m.iter().zip(&grid.weight).zip(&grid.cadence_spm);
    let evidence: Vec<f64> = cells.map(second).collect();
    let mut stands = decode(&evidence);
    stands.retain(|stand| {
        let cells = &stand.cells;
        let before = cells.start.saturating_sub(BESIDE_S)..cells.start;
        let after = cells.end..(cells.end + BESIDE_S).min(grid.len());
        let stumble = || {
            stepless_share(grid, cells.clone()) < STEPLESS_SHARE
                && [before, after].into_iter().all(|cells| mostly_running(grid, cells, cut_spm))
        };
        // Cells that were left out as jumps are no sign of standing: only known seconds count.
        let known_s: f64 = grid.weight[cells.clone()].iter().sum();
        known_s >= settings.stand_min_s as f64
            && grid.net_m(cells.clone()) < settings.stand_speed_m_per_s * known_s
            && !(cells.len() < STUMBLE_S && stumble())
            && !(cells.len() >= STEPPED_S && steps_on(grid, cells.clone()))
    });
    stands
}

/// The best path of a two-state chain, given each second's evidence for standing.
fn decode(evidence: &[f64]) -> Vec<Stand> {
    let (mut moving, mut standing) = (0.0, -ENTER_NATS);
    // Stands that were left, each with the index of the one before it on its path. Of the best path that moves by now: the index of
    // its last stand. Of the best one that stands by now: where that stand began, and the index of the one before it.
    let mut left: Vec<(Range<usize>, Option<usize>)> = Vec::new();
    let mut last = None;
    let (mut start, mut before) = (0, None);
    for (cell, nats) in evidence.iter().enumerate() {
        let (enter, leave) = (moving - ENTER_NATS, standing - LEAVE_NATS);
        if leave > moving {
            last = Some(left.len());
            left.push((start..cell, before));
            moving = leave;
        } else if enter > standing {
            (start, before) = (cell, last);
            standing = enter;
        }
        standing += nats;
    }
    if standing > moving {
        last = Some(left.len());
        left.push((start..evidence.len(), before));
    }
    let mut stands = Vec::new();
    while let Some((cells, before)) = last.map(|last| left[last].clone()) {
        let evidence_nats = evidence[cells.clone()].iter().sum::<f64>() - ENTER_NATS - LEAVE_NATS;
        stands.push(Stand { cells, evidence_nats });
        last = before;
    }
    stands.reverse();
    stands
}

/// Share of the known cadence that says that no step was made; 0 where none is known.
pub(crate) fn stepless_share(grid: &Grid, cells: Range<usize>) -> f64 {
    let known = grid.cadence_spm[cells].iter().filter(|reading| !reading.is_nan());
    let (stepless, known) = known.fold((0_u32, 0_u32), |(stepless, known), reading| {
        (stepless + u32::from(*reading < STEPPING_SPM), known + 1)
    });
    f64::from(stepless) / f64::from(known.max(1))
}

/// Whether cadence counts steps nearly all the time, and is known for most of it.
fn steps_on(grid: &Grid, cells: Range<usize>) -> bool {
    let known = grid.cadence_spm[cells.clone()].iter().filter(|reading| !reading.is_nan()).count();
    2 * known > cells.len() && 1.0 - stepless_share(grid, cells) >= STEPPED_SHARE
}

fn mostly_running(grid: &Grid, cells: Range<usize>, cut_spm: f32) -> bool {
    let (mut running, mut known) = (0, 0);
    for reading in grid.cadence_spm[cells].iter().filter(|reading| !reading.is_nan()) {
        known += 1;
        running += usize::from(*reading >= cut_spm);
    }
    running > 0 && 2 * running >= known
}

#[cfg(test)]
mod tests {
    use super::*;

    fn grid_of(speeds: Vec<f64>, cadence_spm: Vec<f32>) -> Grid {
        Grid {
            weight: vec![1.0; speeds.len()],
            step_s: vec![1.0; speeds.len()],
            east_m: speeds.clone(),
            north_m: vec![0.0; speeds.len()],
            along_m: speeds,
            cadence_spm,
            ..Grid::default()
        }
    }

    fn stop(from: usize, to: usize) -> Vec<f64> {
        (0..200).map(|cell| if (from..to).contains(&cell) { 0.05 } else { 2.2 }).collect()
    }

    /// First and last cell of each stand, the last not included.
    fn found(grid: &Grid) -> Vec<(usize, usize)> {
        let stands = find_stands(grid, 0.3, 140.0, &SegmentSettings::default());
        stands.into_iter().map(|stand| (stand.cells.start, stand.cells.end)).collect()
    }

    #[test]
    fn a_stop_is_found_to_the_second_and_a_slow_second_is_none() {
        let silent = vec![f32::NAN; 200];
        assert_eq!(found(&grid_of(stop(90, 110), silent.clone())), [(90, 110)]);
        assert!(found(&grid_of(stop(90, 93), silent)).is_empty());
    }

    #[test]
    fn running_on_the_spot_is_no_stand() {
        assert!(found(&grid_of(stop(90, 110), vec![156.0; 200])).is_empty());
    }

    #[test]
    fn a_short_stop_between_running_steps_is_a_stumble_unless_the_steps_stopped() {
        let steps = |from: usize, to: usize, spm: f32| -> Vec<f32> {
            (0..200).map(|cell| if (from..to).contains(&cell) { spm } else { 156.0 }).collect()
        };
        assert!(found(&grid_of(stop(90, 99), steps(90, 99, 100.0))).is_empty());
        assert_eq!(found(&grid_of(stop(90, 99), steps(90, 99, 0.0))), [(90, 99)]);
        assert_eq!(found(&grid_of(stop(90, 105), steps(90, 105, 100.0))), [(90, 105)]);
    }

    #[test]
    fn who_walks_on_by_the_steps_does_not_stand_although_positions_do() {
        let steps = |stepless: usize| -> Vec<f32> {
            (0..200).map(|cell| if (90..90 + stepless).contains(&cell) { 0.0 } else { 110.0 }).collect()
        };
        assert!(found(&grid_of(stop(90, 150), steps(0))).is_empty());
        assert_eq!(found(&grid_of(stop(90, 150), steps(50))), [(90, 150)]);
    }

    #[test]
    fn stops_at_both_ends_are_found_and_each_of_several() {
        let stops = [(0, 20), (60, 85), (180, 200)];
        let is_stop = |cell: usize| stops.iter().any(|(from, to)| (*from..*to).contains(&cell));
        let speeds = (0..200).map(|cell| if is_stop(cell) { 0.05 } else { 2.2 }).collect();
        assert_eq!(found(&grid_of(speeds, vec![f32::NAN; 200])), stops);
    }
}

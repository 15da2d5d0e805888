//! Where the person stood still.

use std::ops::Range;

use crate::SegmentSettings;
use crate::grid::Grid;

/// Log prior odds in nats against a stand beginning in a given second, and against it ending.
const ENTER_NATS: f64 = 6.0;
const LEAVE_NATS: f64 = 3.0;
/// Most evidence of one second in nats.
const CLIP_NATS: f64 = 3.0;
/// Evidence in nats of a second with steps against standing, and of a second with a cadence of zero for it.
const CADENCE_NATS: f64 = 1.0;
/// Cadence that counts as steps, in steps per minute.
const STEPPING_SPM: f32 = 60.0;
/// A stand shorter than this, in seconds, between two stretches of running cadence is none.
const STUMBLE_S: usize = 12;
/// Seconds on either side in which running cadence is looked for.
const BESIDE_S: usize = 10;

/// Stands as cells, in order: a two-state Viterbi decoder of standing against moving at `walk_m_per_s`; those that are short,
/// or too fast on average, or between running steps are left out.
pub(crate) fn find_stands(
    grid: &Grid,
    walk_m_per_s: f64,
    noise_m2_per_s: f64,
    cadence_cut_spm: f64,
    settings: &SegmentSettings,
) -> Vec<Range<usize>> {
    let evidence = |cell: usize| {
        let speed =
            walk_m_per_s * (0.5 * walk_m_per_s - grid.along_m[cell]) * grid.weight[cell] / noise_m2_per_s;
        let cadence = match grid.cadence_spm[cell] {
            reading if reading >= cadence_cut_spm as f32 => -2.0 * CADENCE_NATS,
            reading if reading >= STEPPING_SPM => -CADENCE_NATS,
            reading if reading < STEPPING_SPM => CADENCE_NATS,
            _ => 0.0,
        };
        speed.clamp(-CLIP_NATS, CLIP_NATS) + if grid.weight[cell] > 0.0 { cadence } else { 0.0 }
    };
    let mut found = Vec::new();
    let (mut moving, mut standing) = (0.0, -ENTER_NATS);
    let cells = grid.len();
    let mut enter = vec![false; cells];
    let mut leave = vec![false; cells];
    for cell in 0..cells {
        enter[cell] = moving - ENTER_NATS > standing;
        leave[cell] = standing - LEAVE_NATS > moving;
        let next_standing = if enter[cell] { moving - ENTER_NATS } else { standing };
        let next_moving = if leave[cell] { standing - LEAVE_NATS } else { moving };
        standing = next_standing + evidence(cell);
        moving = next_moving;
    }
    let mut is_standing = standing > moving;
    let mut end = cells;
    for cell in (0..cells).rev() {
        if is_standing && enter[cell] {
            found.push(cell..end);
            is_standing = false;
        } else if !is_standing && leave[cell] {
            end = cell;
            is_standing = true;
        }
    }
    if is_standing {
        found.push(0..end);
    }
    found.reverse();
    found.retain(|stand| {
        let net_m = net_displacement_m(grid, stand);
        let runs = |cells: Range<usize>| {
            let (mut running, mut known) = (0, 0);
            for &reading in grid.cadence_spm[cells].iter().filter(|reading| !reading.is_nan()) {
                known += 1;
                running += usize::from(reading >= cadence_cut_spm as f32);
            }
            running > 0 && 2 * running >= known
        };
        let before = runs(stand.start.saturating_sub(BESIDE_S)..stand.start);
        let after = runs(stand.end..(stand.end + BESIDE_S).min(cells));
        stand.len() >= settings.stand_min_s
            && net_m < settings.stand_speed_m_per_s * stand.len() as f64
            && !(stand.len() < STUMBLE_S && before && after)
    });
    found
}

/// Straight distance between the ends of a range of cells, in metres.
pub(crate) fn net_displacement_m(grid: &Grid, cells: &Range<usize>) -> f64 {
    let east_m: f64 = grid.east_m[cells.clone()].iter().sum();
    let north_m: f64 = grid.north_m[cells.clone()].iter().sum();
    east_m.hypot(north_m)
}

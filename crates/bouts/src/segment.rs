//! From a recording to its bouts.

use std::ops::Range;

use boutwise_track::Recording;

use crate::cadence::Cadence;
use crate::decode::{Decoder, Part};
use crate::durations::{DurationPrior, LogDurations};
use crate::edges::EdgeDater;
use crate::evidence::{Cumulative, RUN, Scorer, WALK};
use crate::grid::{Grid, median, seconds_from_first};
use crate::levels::{BOUT_SD_SHARE, Levels, estimate_levels, priors};
use crate::noise::{long_run_noise, unknown};
use crate::stand::{find_stands, net_displacement_m};
use crate::{Bout, Kind, SegmentSettings, Segmentation, Series};

/// Cadence is used for the levels where at least this share of the moving seconds has it.
const CADENCE_SHARE: f64 = 0.5;
/// Where cadence is known, speed counts at most this much: squared level gap over long-run noise, per second.
const SPEED_BESIDE_CADENCE: f64 = 0.8;
/// Rounds of decoding, each with levels and noise from the one before.
const ROUNDS: usize = 2;
/// The last seconds of a bout that give its final heart rate.
const HEART_RATE_END_S: f64 = 5.0;
/// Half-width in seconds of the mean that filters the speed series.
const SPEED_HALF_WIDTH_S: usize = 4;

/// Tells run, walk, stand and gap apart in a recording.
pub fn segment(
    recording: &Recording,
    settings: &SegmentSettings,
    durations: Option<&DurationPrior>,
) -> Segmentation {
    let grid = Grid::new(&recording.points, settings);
    let mut spans: Vec<f64> = grid.step_s.iter().map(|&s| f64::from(s)).filter(|s| *s > 0.0).collect();
    let span = median(&mut spans).unwrap_or(1.0);
    let block =
        (crate::tune::tune!("NB", 5.0).max(crate::tune::tune!("NBSTEP", 4.0) * span)).round() as usize;
    let whole: Vec<Range<usize>> = std::iter::once(0..grid.len()).collect();
    let c20 = crate::tune::tune!("C20", 0.0);
    let floor = crate::tune::tune!("FLOOR", 0.15);
    let mut noise = long_run_noise(&grid, &whole, block).unwrap_or(unknown()).max(floor);
    let slow = if c20 > 0.0 {
        c20 * long_run_noise(&grid, &whole, crate::tune::tune!("B20", 20.0) as usize).unwrap_or(0.0)
    } else {
        0.0
    };
    noise = noise.max(slow);
    let noise_0 = noise;
    let mut cadence = Cadence::new(&grid, settings);
    let stands = find_stands(
        &grid,
        settings.walk_level_m_per_s,
        long_run_noise(&grid, &whole, 5).unwrap_or(unknown()).max(floor),
        cadence.cut_spm,
        settings,
    );
    let fixed = fixed_parts(&grid, &stands);
    let stretches = stretches_between(&fixed, grid.len());
    let mut moving = vec![false; grid.len()];
    for stretch in &stretches {
        moving[stretch.clone()].fill(true);
    }
    let by_cadence = cadence.share >= CADENCE_SHARE;
    let mut levels = if by_cadence {
        levels_by_cadence(&grid, &moving, &cadence.evidence, settings)
    } else {
        estimate_levels(&grid, &moving, noise, settings)
    };
    if let Some((a, b)) = *crate::tune::ORACLE.lock().unwrap() {
        levels = Levels { walk_m_per_s: a, run_m_per_s: b };
    }
    if cadence.share > 0.0 {
        let speed_only = lean_of_speed(&grid, levels, noise);
        cadence.advance(&speed_only);
    }
    let mut generic = LogDurations::generic(
        [settings.walk_min_s, settings.run_min_s],
        grid.len(),
        crate::tune::tune!("SHORT", 60.0),
    );
    let mut decoder = Decoder::default();
    let mut parts: Vec<Part> = Vec::new();
    let mut all_right = 0.0;
    for round in 0..crate::tune::tune!("ROUNDS", 3.0) as usize {
        if round > 0 {
            levels = if crate::tune::ORACLE.lock().unwrap().is_some() {
                levels
            } else {
                levels_of_parts(&grid, &parts, levels, noise, settings)
            };
            noise = noise_within(&grid, &parts, noise, noise_0, block);
            if crate::tune::tune!("POOL", 0.8) > 0.0 {
                let regular = [WALK, RUN].map(|kind| regular_durations(&parts, kind));
                generic = LogDurations::generic(
                    [settings.walk_min_s, settings.run_min_s],
                    grid.len(),
                    crate::tune::tune!("SHORT2", 200.0),
                )
                .with_broad([WALK, RUN].map(|kind| inner_durations(&parts, kind)))
                .with_likely([&regular[WALK], &regular[RUN]], 1.0 - crate::tune::tune!("POOL", 0.8));
            }
        }
        let weight = weights(&grid, &cadence.evidence, levels, noise);
        let along_m = clamped(&grid, &cadence.evidence, levels, noise);
        let cumulative = Cumulative::new(&along_m, &weight, &cadence.evidence);
        let scorer = Scorer::new(&cumulative, &generic, levels, bout_sd(levels), noise);
        parts.clear();
        all_right = 0.0;
        for stretch in &stretches {
            all_right += decoder.decode(&scorer, stretch.clone(), &mut parts);
        }
        if std::env::var_os("SEG_DEBUG").is_some() {
            eprintln!(
                "span {span} round {round} levels {levels:?} noise {noise} parts {} logp {all_right}",
                parts.len()
            );
        }
    }
    {
        let f = |b: usize| long_run_noise(&grid, &whole, b).unwrap_or(0.4);
        let run_s: usize = parts.iter().filter(|p| p.kind == RUN).map(|p| p.cells.len()).sum();
        let walk_s: usize = parts.iter().filter(|p| p.kind == WALK).map(|p| p.cells.len()).sum();
        let least = parts.iter().map(|p| p.probability).fold(1.0, f64::min);
        let gap_s: usize = stretches.len();
        *crate::tune::FEATURES.lock().unwrap() = vec![
            all_right,
            least,
            levels.walk_m_per_s,
            levels.run_m_per_s,
            noise,
            f(5),
            f(10),
            f(20),
            f(30),
            run_s as f64,
            walk_s as f64,
            parts.len() as f64,
            gap_s as f64,
            cadence.share,
        ];
    }
    let weight = weights(&grid, &cadence.evidence, levels, noise);
    let along_m = clamped(&grid, &cadence.evidence, levels, noise);
    let cumulative = Cumulative::new(&along_m, &weight, &cadence.evidence);
    let planned;
    let durations = match durations {
        Some(prior) => {
            planned = LogDurations::generic(
                [settings.walk_min_s, settings.run_min_s],
                grid.len(),
                crate::tune::tune!("SHORT", 60.0),
            )
            .with_likely([&prior.walk_s, &prior.run_s], DurationPrior::generic_share());
            &planned
        }
        None => &generic,
    };
    let scorer = Scorer::new(&cumulative, durations, levels, bout_sd(levels), noise);
    let mut dater = EdgeDater::default();
    let mut start = 0;
    while start < parts.len() {
        let mut end = start + 1;
        while end < parts.len()
            && parts[end].cells.start == parts[end - 1].cells.end
            && parts[end].kind != parts[end - 1].kind
            && !fixed.iter().any(|(_, cells)| cells.start == parts[end].cells.start)
        {
            end += 1;
        }
        let right = dater.date(&scorer, &mut parts[start..end]);
        for (edge, probability) in right.into_iter().enumerate() {
            parts[start + edge].probability *= probability;
            parts[start + edge + 1].probability *= probability;
            all_right += probability.ln();
        }
        start = end;
    }
    // A run too short to be a bout, alone between stops, is none.
    for index in 0..parts.len() {
        let cells = parts[index].cells.clone();
        let alone = stretches.iter().any(|stretch| *stretch == cells);
        if alone && parts[index].kind == RUN && cells.len() < settings.run_min_s {
            parts[index].kind = WALK;
        }
    }
    compose(recording, &grid, &fixed, &parts, all_right, settings)
}

fn bout_sd(levels: Levels) -> [f64; 2] {
    let (w, r) = (crate::tune::tune!("QW", 0.06), crate::tune::tune!("QR", 0.06));
    [w * levels.walk_m_per_s, r * levels.run_m_per_s]
}

/// Gaps, rides and stands as cells, in order.
fn fixed_parts(grid: &Grid, stands: &[Range<usize>]) -> Vec<(Kind, Range<usize>)> {
    let mut fixed: Vec<(Kind, Range<usize>)> = grid
        .gaps
        .iter()
        .map(|gap| gap.start.round() as usize..(gap.end.round() as usize).min(grid.len()))
        .chain(grid.rides.iter().cloned())
        .map(|cells| (Kind::Gap, cells))
        .collect();
    fixed.sort_by_key(|(_, cells)| cells.start);
    fixed.dedup_by(|later, earlier| {
        let touches = later.1.start <= earlier.1.end;
        if touches {
            earlier.1.end = earlier.1.end.max(later.1.end);
        }
        touches
    });
    let blank = fixed.clone();
    for stand in stands {
        let mut start = stand.start;
        for (_, gap) in blank.iter().filter(|(_, gap)| gap.start < stand.end && gap.end > stand.start) {
            if gap.start > start {
                fixed.push((Kind::Stand, start..gap.start));
            }
            start = gap.end;
        }
        if start < stand.end {
            fixed.push((Kind::Stand, start..stand.end));
        }
    }
    fixed.sort_by_key(|(_, cells)| cells.start);
    fixed
}

fn stretches_between(fixed: &[(Kind, Range<usize>)], cells: usize) -> Vec<Range<usize>> {
    let mut stretches = Vec::with_capacity(fixed.len() + 1);
    let mut start = 0;
    for (_, taken) in fixed {
        if taken.start > start {
            stretches.push(start..taken.start);
        }
        start = start.max(taken.end);
    }
    if cells > start {
        stretches.push(start..cells);
    }
    stretches
}

/// Mean speeds of the seconds that cadence calls walked or run, drawn towards what is expected of people.
fn levels_by_cadence(grid: &Grid, moving: &[bool], evidence: &[f64], settings: &SegmentSettings) -> Levels {
    let expected = priors(settings);
    let level = |kind: usize| {
        let mut speeds: Vec<f64> = (0..grid.len())
            .filter(|&cell| moving[cell] && grid.weight[cell] > 0.0)
            .filter(|&cell| if kind == RUN { evidence[cell] > 0.5 } else { evidence[cell] < -0.5 })
            .map(|cell| grid.along_m[cell] / grid.weight[cell].min(1.0))
            .collect();
        (speeds.len() >= 30).then(|| median(&mut speeds)).flatten()
    };
    match (level(WALK), level(RUN)) {
        (Some(walk_m_per_s), Some(run_m_per_s)) => {
            Levels { walk_m_per_s, run_m_per_s: run_m_per_s.max(walk_m_per_s + 0.25) }
        }
        (None, Some(run)) => Levels { walk_m_per_s: expected[WALK].mean.min(run - 0.4), run_m_per_s: run },
        (Some(walk), None) => Levels { walk_m_per_s: walk, run_m_per_s: expected[RUN].mean.max(walk + 0.4) },
        (None, None) => Levels { walk_m_per_s: expected[WALK].mean, run_m_per_s: expected[RUN].mean },
    }
}

fn lean_of_speed(grid: &Grid, levels: Levels, noise: f64) -> Vec<f64> {
    let mut total = 0.0;
    std::iter::once(0.0)
        .chain((0..grid.len()).map(|cell| {
            let off = grid.along_m[cell] - levels.middle();
            let sat = crate::tune::tune!("LAGSAT", 0.5);
            total += if sat > 0.0 {
                let worth = (sat * levels.gap().powi(2) / noise).min(1.0);
                (off / (sat * levels.gap())).clamp(-1.0, 1.0) * worth * grid.weight[cell]
            } else {
                (levels.gap() * off / noise).clamp(-1.0, 1.0) * grid.weight[cell]
            };
            total
        }))
        .collect()
}

/// What each second's displacement is worth: less beside cadence, which outranks it.
fn weights(grid: &Grid, evidence: &[f64], levels: Levels, noise: f64) -> Vec<f64> {
    let beside = (SPEED_BESIDE_CADENCE * noise / levels.gap().powi(2)).min(1.0);
    grid.weight
        .iter()
        .zip(evidence)
        .map(|(&weight, &nats)| if nats == 0.0 { weight } else { weight * beside })
        .collect()
}

/// Displacements drawn back to what the levels and the noise allow, so that no single step decides.
fn clamped(grid: &Grid, evidence: &[f64], levels: Levels, noise: f64) -> Vec<f64> {
    let beside = crate::tune::tune!("CLAMPC", 0.5) * levels.gap();
    (0..grid.len())
        .map(|cell| {
            let free =
                crate::tune::tune!("CLAMP", 3.0) * (noise / f64::from(grid.step_s[cell].max(1.0))).sqrt();
            let margin = if evidence[cell] == 0.0 { free } else { beside };
            grid.along_m[cell].clamp(levels.walk_m_per_s - margin, levels.run_m_per_s + margin)
        })
        .collect()
}

/// Levels from the mean speed of each part, with the prior.
fn levels_of_parts(
    grid: &Grid,
    parts: &[Part],
    levels: Levels,
    noise: f64,
    settings: &SegmentSettings,
) -> Levels {
    let expected = priors(settings);
    let sd = bout_sd(levels);
    let level = |kind: usize| {
        let mut precision = 1.0 / expected[kind].variance;
        let mut sum = expected[kind].mean * precision;
        for part in parts.iter().filter(|part| part.kind == kind) {
            let inner = part.cells.start + 2..part.cells.end.saturating_sub(2);
            let known_s: f64 = grid.weight.get(inner.clone()).map_or(0.0, |w| w.iter().sum());
            if known_s > 5.0 {
                let length_m: f64 = inner.map(|cell| grid.along_m[cell] * grid.weight[cell]).sum();
                let weight = crate::tune::tune!("OWNP", 1.0) / (noise / known_s + sd[kind].powi(2));
                precision += weight;
                sum += weight * length_m / known_s;
            }
        }
        (precision, sum)
    };
    let (walk, run) = (level(WALK), level(RUN));
    crate::levels::drawn_apart([walk.0, run.0], [walk.1, run.1])
}

/// Durations of one kind that keep coming back: the means of at least three that lie close together.
fn regular_durations(parts: &[Part], kind: usize) -> Vec<f64> {
    let close = crate::tune::tune!("CLOSE", 10.0);
    let durations = inner_durations(parts, kind);
    durations
        .iter()
        .filter_map(|&duration| {
            let near = durations.iter().filter(|&&other| (other - duration).abs() <= close);
            let (count, sum) = near.fold((0, 0.0), |(count, sum), &other| (count + 1, sum + other));
            (count >= crate::tune::tune!("LEASTN", 3.0) as usize).then(|| sum / count as f64)
        })
        .collect()
}

fn inner_durations(parts: &[Part], kind: usize) -> Vec<f64> {
    parts
        .iter()
        .enumerate()
        .filter(|(index, part)| {
            let touches = |a: usize, b: usize| {
                parts.get(a).zip(parts.get(b)).is_some_and(|(a, b)| a.cells.end == b.cells.start)
            };
            part.kind == kind && *index > 0 && touches(index - 1, *index) && touches(*index, index + 1)
        })
        .map(|(_, part)| part.cells.len() as f64)
        .collect()
}

fn noise_within(grid: &Grid, parts: &[Part], noise: f64, noise_0: f64, block: usize) -> f64 {
    let inner = |longer: usize| -> Vec<Range<usize>> {
        parts
            .iter()
            .filter(|part| part.cells.len() > longer)
            .map(|part| part.cells.start + 3..part.cells.end - 3)
            .collect()
    };
    let w = crate::tune::tune!("NW", 0.5);
    let quick = match long_run_noise(grid, &inner(26.max(3 * block)), block) {
        Some(within) => noise_0 * (1.0 - w) + w * within,
        None => noise,
    };
    let b = crate::tune::tune!("B20", 20.0) as usize;
    let slow = long_run_noise(grid, &inner(3 * b), b).unwrap_or(0.0);
    quick.max(crate::tune::tune!("CSLOW", 0.8) * slow).max(crate::tune::tune!("FLOOR", 0.15))
}

fn compose(
    recording: &Recording,
    grid: &Grid,
    fixed: &[(Kind, Range<usize>)],
    parts: &[Part],
    all_right: f64,
    settings: &SegmentSettings,
) -> Segmentation {
    let mut pieces: Vec<(Kind, Range<usize>, f64)> = fixed
        .iter()
        .map(|(kind, cells)| (*kind, cells.clone(), 1.0))
        .chain(parts.iter().map(|part| {
            let kind = if part.kind == RUN { Kind::Run } else { Kind::Walk };
            (kind, part.cells.clone(), part.probability)
        }))
        .collect();
    pieces.sort_by_key(|piece| piece.1.start);
    let times_s = seconds_from_first(&recording.points);
    let exact = |cell: usize| {
        if cell >= grid.len() {
            return grid.duration_s;
        }
        for gap in &grid.gaps {
            if gap.start.round() as usize == cell {
                return gap.start;
            }
            if gap.end.round() as usize == cell {
                return gap.end;
            }
        }
        cell as f64
    };
    let mut bouts: Vec<Bout> = Vec::with_capacity(pieces.len());
    for (kind, cells, confidence) in pieces {
        let (start_s, end_s) = (bouts.last().map_or(0.0, |bout| bout.end_s), exact(cells.end));
        if end_s <= start_s {
            continue;
        }
        let known = cells.clone().any(|cell| grid.weight[cell] > 0.0);
        let length_m: f64 = grid.along_m[cells.clone()].iter().sum();
        let distance_m = match kind {
            Kind::Gap => None,
            _ if !known => None,
            Kind::Stand => Some(length_m.min(net_displacement_m(grid, &cells))),
            _ => Some(length_m),
        };
        let mean = |values: &[f64], from_s: f64, keep: &dyn Fn(f64) -> bool| {
            let first = times_s.partition_point(|&time_s| time_s < from_s);
            let last = times_s.partition_point(|&time_s| time_s < end_s);
            let (mut count, mut sum) = (0.0, 0.0);
            for &value in values[first..last].iter().filter(|value| !value.is_nan() && keep(**value)) {
                count += 1.0;
                sum += value;
            }
            (count > 0.0).then(|| sum / count)
        };
        let points = &recording.points;
        bouts.push(Bout {
            kind,
            start_s,
            end_s,
            distance_m,
            heart_rate_mean_bpm: mean(points.heart_rate_bpm(), start_s, &|_| true),
            heart_rate_end_bpm: mean(points.heart_rate_bpm(), start_s.max(end_s - HEART_RATE_END_S), &|_| {
                true
            }),
            cadence_spm: mean(points.cadence_spm(), start_s, &|spm| kind == Kind::Stand || spm > 0.0),
            confidence,
        });
    }
    let confidence = all_right.exp();
    Segmentation {
        bouts,
        resolvable: confidence >= settings.resolvable_confidence,
        confidence,
        notes: Vec::new(),
        series: filtered(grid),
    }
}

fn filtered(grid: &Grid) -> Series {
    let cells = grid.len();
    let speed_m_per_s = (0..cells)
        .map(|cell| {
            let window = cell.saturating_sub(SPEED_HALF_WIDTH_S)..(cell + SPEED_HALF_WIDTH_S + 1).min(cells);
            let known: f64 = grid.weight[window.clone()].iter().sum();
            let length_m: f64 = window.map(|i| grid.along_m[i] * grid.weight[i]).sum();
            if known > 0.0 { (length_m / known) as f32 } else { f32::NAN }
        })
        .collect();
    Series {
        speed_m_per_s,
        heart_rate_bpm: grid.heart_rate_bpm.clone(),
        cadence_spm: grid.cadence_spm.clone(),
    }
}

//! From a recording to its bouts.

use std::iter::once;
use std::ops::Range;

use boutwise_track::{Recording, Sport};

use crate::assemble::{Piece, bouts, series};
use crate::cadence::Cadence;
use crate::confidence::{SessionEvidence, bout_confidence, logistic};
use crate::decode::{Decoder, Part};
use crate::durations::{DurationPrior, Durations};
use crate::edges::{EdgeDater, Reach};
use crate::evidence::{RUN, Scorer, WALK};
use crate::frame::Frame;
use crate::grid::Grid;
use crate::levels::{Levels, levels_of_cadence, levels_of_parts, levels_of_speed, plausibility_log_odds};
use crate::noise::{Noise, SLOW_BLOCK_S, long_run_noise};
use crate::notes::{Findings, notes};
use crate::stand::{find_stands, stepless_share};
use crate::{Kind, SegmentSettings, Segmentation};

/// Cadence decides where at least this share of the time has it.
const CADENCE_SHARE: f64 = 0.5;
/// Rounds of decoding; each takes levels, noise and durations from the one before.
const ROUNDS: usize = 3;
/// Duration in seconds below which bouts are rare.
const SHORTNESS_S: f64 = 200.0;
/// Nanoseconds in a second.
const NS_PER_S: f64 = 1e9;
/// Bounds of the log odds of a session whose kinds cadence decides.
const CADENCE_LOG_ODDS: f64 = 12.0;

/// Tells run, walk, stand and gap apart in a recording.
///
/// Bouts cover the session from its first to its last point, in order and without holes. `durations` says how long a plan
/// makes bouts; it moves edges by seconds and never makes, joins or removes a bout. Where running and walking cannot be
/// told apart, the bouts are the best guess and [`Segmentation::resolvable`] is false.
///
/// ```
/// use boutwise_bouts::{Kind, SegmentSettings, segment};
/// use boutwise_track::{Point, Position, Recording};
///
/// // Five minutes at 1.4 m/s and five at 2.4 m/s, along a meridian, a point a second.
/// let mut recording = Recording::default();
/// let mut metres = 0.0;
/// for second in 0..=600_i64 {
///     let position = Position { latitude_deg: metres / 110_574.0, longitude_deg: 0.0 };
///     recording.points.push(Point {
///         time_ns: Some(second * 1_000_000_000),
///         position: Some(position),
///         ..Point::default()
///     });
///     metres += if second < 300 { 1.4 } else { 2.4 };
/// }
/// let found = segment(&recording, &SegmentSettings::default(), None);
/// let kinds: Vec<Kind> = found.bouts.iter().map(|bout| bout.kind).collect();
/// assert_eq!(kinds, [Kind::Walk, Kind::Run]);
/// assert!((found.bouts[1].start_s - 300.0).abs() <= 2.0);
/// ```
pub fn segment(
    recording: &Recording,
    settings: &SegmentSettings,
    durations: Option<&DurationPrior>,
) -> Segmentation {
    let times_s = seconds_from_first(recording.points.time_ns());
    let grid = Grid::new(recording, &times_s, settings);
    let mut cadence = Cadence::new(&grid, settings);
    let by_cadence = cadence.share >= CADENCE_SHARE;
    let noise = Noise::of_recording(&grid);
    let quick = Noise::quick(&grid);
    // Without cadence nothing vouches for a stand but positions, and those of coarse recordings freeze at times.
    let stand_m2_per_s = if by_cadence { quick.m2_per_s } else { noise.m2_per_s };
    let stands = find_stands(&grid, stand_m2_per_s, cadence.cut_spm, settings);
    let frame = Frame::new(&grid, &stands);
    let by_speed = |noise: Noise| levels_of_speed(&grid, &frame.stretches, noise.m2_per_s, settings);
    let by_steps = |nats: &[f64]| levels_of_cadence(&grid, &frame.stretches, nats, settings);
    let levels = if by_cadence { by_steps(&cadence.evidence) } else { by_speed(noise) };
    cadence.advance(&grid, levels, quick.m2_per_s);
    let find = |noise: Noise, levels: Levels| {
        find_parts(&grid, &frame, &cadence.evidence, levels, by_cadence, noise, settings)
    };
    let mut found = if by_cadence { find(noise, by_steps(&cadence.evidence)) } else { find(noise, levels) };
    if !by_cadence && noise.block_s != quick.block_s {
        let other = find(quick, by_speed(quick));
        if other.evidence(&grid, &frame, noise.block_s) > found.evidence(&grid, &frame, noise.block_s) {
            found = other;
        }
    }
    date_edges(&mut found, &grid, &cadence.evidence, durations);
    found.tell_stops(&grid);

    let informed = cadence.share > 0.0 || grid.weight.iter().any(|&weight| weight > 0.0);
    let slow_m2_per_s = long_run_noise(&grid, once(0..grid.len()), SLOW_BLOCK_S)
        .map_or(found.noise.m2_per_s, |slow_m2_per_s| slow_m2_per_s.max(found.noise.m2_per_s));
    let log_odds = if by_cadence {
        let odds = (found.log_structure.exp() / (1.0 - found.log_structure.exp())).ln();
        odds.clamp(-CADENCE_LOG_ODDS, CADENCE_LOG_ODDS)
    } else if informed {
        SessionEvidence {
            log_structure: found.log_structure,
            levels: found.levels,
            slow_noise_m2_per_s: slow_m2_per_s,
            rarer_s: found.rarer_s(),
            shortest_s: found.parts.iter().map(|part| part.cells.len()).min().unwrap_or(0),
            plausible: plausibility_log_odds(&grid, &found.parts, settings).unwrap_or(f64::NEG_INFINITY),
        }
        .log_odds()
    } else {
        f64::NEG_INFINITY
    };
    let confidence = logistic(log_odds);
    let resolvable = confidence >= settings.resolvable_confidence && recording.sport != Sport::Cycling;
    let pieces = found.pieces(&frame, |part| match by_cadence {
        true => part.probability,
        false => bout_confidence(part.probability, log_odds, slow_m2_per_s, part.cells.len()),
    });
    Segmentation {
        bouts: bouts(&recording.points, &times_s, &grid, &pieces, found.noise.m2_per_s),
        resolvable,
        confidence,
        notes: notes(&Findings { grid: &grid, sport: recording.sport, resolvable, by_cadence, informed }),
        series: series(&grid),
    }
}

/// What decoding found.
struct Found {
    parts: Vec<Part>,
    /// Indices into `parts` of the parts of each stretch.
    stretches: Vec<Range<usize>>,
    /// Log probability that all parts are there, with each edge near its place.
    log_structure: f64,
    /// Log likelihood relative to movement at the middle of the levels.
    log_likelihood: f64,
    levels: Levels,
    noise: Noise,
    durations: Durations,
}

impl Found {
    /// Durations in seconds of the parts of a kind that lie between others: those seen whole.
    fn whole_s(&self, kind: usize) -> Vec<f64> {
        let inner = |stretch: &Range<usize>| stretch.start + 1..stretch.end.max(stretch.start + 2) - 1;
        let parts = self.stretches.iter().flat_map(|stretch| &self.parts[inner(stretch)]);
        parts.filter(|part| part.kind == kind).map(|part| part.cells.len() as f64).collect()
    }

    /// Log likelihood of block means, whatever the parts: what decides between two ideas of the noise.
    fn evidence(&self, grid: &Grid, frame: &Frame, block_s: usize) -> f64 {
        let (middle, noise) = (self.levels.middle(), self.noise.m2_per_s);
        let blocks = frame.stretches.iter().flat_map(|stretch| {
            (0..stretch.len() / block_s).map(move |block| stretch.start + block * block_s)
        });
        let at_the_middle: f64 = blocks
            .map(|start| grid.trusted(start..start + block_s))
            .filter(|(_, known_s)| *known_s > BLOCK_KNOWN_SHARE * block_s as f64)
            .map(|(length_m, known_s)| {
                let off = length_m / known_s - middle;
                -0.5 * (off * off * known_s / noise + noise.ln())
            })
            .sum();
        self.log_likelihood + at_the_middle
    }

    /// Takes short walks that hardly moved for what they are: stops whose few seconds positions did not show.
    fn tell_stops(&mut self, grid: &Grid) {
        let walk_m_per_s = self.levels.walk_m_per_s;
        for part in self.parts.iter_mut().filter(|part| part.kind == WALK && part.cells.len() <= STOP_S) {
            let (length_m, known_s) = grid.trusted(part.cells.clone());
            let share = match stepless_share(grid, part.cells.clone()) >= STEPLESS_SHARE {
                true => STEPLESS_STOP_SHARE,
                false => STOP_SHARE,
            };
            if length_m < share * walk_m_per_s * known_s {
                part.kind = STOP;
            }
        }
    }

    /// Seconds of the rarer kind; `None` where only one kind was found.
    fn rarer_s(&self) -> Option<usize> {
        let seconds = [WALK, RUN].map(|kind| {
            let parts = self.parts.iter().filter(|part| part.kind == kind);
            parts.map(|part| part.cells.len()).sum::<usize>()
        });
        let rarer_s = seconds[WALK].min(seconds[RUN]);
        (rarer_s > 0).then_some(rarer_s)
    }

    /// Parts and settled pieces in order.
    fn pieces(&self, frame: &Frame, confidence: impl Fn(&Part) -> f64) -> Vec<Piece> {
        let parts = self.parts.iter().map(|part| Piece {
            kind: match part.kind {
                RUN => Kind::Run,
                WALK => Kind::Walk,
                _ => Kind::Stand,
            },
            cells: part.cells.clone(),
            confidence: confidence(part),
        });
        let settled = frame.settled.iter().map(|piece| Piece {
            kind: piece.kind,
            cells: piece.cells.clone(),
            confidence: piece.confidence,
        });
        let mut pieces: Vec<Piece> = parts.chain(settled).collect();
        pieces.sort_by_key(|piece| piece.cells.start);
        pieces.dedup_by(|piece, before| {
            let one_stand = piece.kind == Kind::Stand && before.kind == Kind::Stand;
            if one_stand {
                before.cells.end = piece.cells.end;
                before.confidence = before.confidence.max(piece.confidence);
            }
            one_stand
        });
        pieces
    }
}

/// A walk between runs that is faster than this is part of the run (brisk walkers reach 1.9 m/s; common practice, no
/// source).
const FASTEST_WALK_BOUT_M_PER_S: f64 = 1.9;
/// Kind of a part that turned out to be a stop.
const STOP: usize = 2;
/// A walk of up to so many seconds may be a stop …
const STOP_S: usize = 60;
/// … if it is slower than this share of the walking level: three standard deviations of rough positions below it …
const STOP_SHARE: f64 = 0.5;
/// … or than this one where cadence says for a while that no step was made: at least for this share of what it says.
const STEPLESS_STOP_SHARE: f64 = 0.7;
const STEPLESS_SHARE: f64 = 0.25;
/// Share of a block that must be known to speak for the noise.
const BLOCK_KNOWN_SHARE: f64 = 0.5;

/// Decodes all stretches, in rounds.
fn find_parts(
    grid: &Grid,
    frame: &Frame,
    cadence_nats: &[f64],
    levels: Levels,
    levels_settled: bool,
    noise: Noise,
    settings: &SegmentSettings,
) -> Found {
    let generic = Durations::generic([settings.walk_min_s, settings.run_min_s], SHORTNESS_S);
    let mut found = Found {
        parts: Vec::new(),
        stretches: Vec::with_capacity(frame.stretches.len()),
        log_structure: 0.0,
        log_likelihood: 0.0,
        levels,
        noise,
        durations: generic.clone(),
    };
    let mut decoder = Decoder::default();
    let mut parts = Vec::new();
    for round in 0..ROUNDS {
        if round > 0 {
            if !levels_settled {
                found.levels =
                    levels_of_parts(grid, &found.parts, found.levels, found.noise.m2_per_s, settings);
            }
            found.noise = found.noise.refined(grid, found.parts.iter().map(|part| part.cells.clone()));
            found.durations = generic.clone().with_seen([&found.whole_s(WALK), &found.whole_s(RUN)]);
        }
        let scorer = Scorer::new(grid, cadence_nats, &found.durations, found.levels, found.noise.m2_per_s);
        found.parts.clear();
        found.stretches.clear();
        for stretch in &frame.stretches {
            decoder.decode(&scorer, stretch.clone(), &mut parts);
            if round == ROUNDS - 1 {
                found.log_structure += decoder.judge(&mut parts);
                found.log_likelihood += decoder.log_likelihood();
            }
            if !levels_settled {
                run_through_fast_walks(grid, &mut parts);
            }
            let first = found.parts.len();
            found.parts.append(&mut parts);
            found.stretches.push(first..found.parts.len());
        }
    }
    for stretch in &found.stretches {
        // Alone between stops, a run too short to be a bout is none.
        if let [part] = &mut found.parts[stretch.clone()]
            && part.cells.len() < settings.run_min_s
        {
            part.kind = WALK;
        }
    }
    found
}

/// Makes walks that are faster than anyone walks one with the runs around them: runners slow down at times.
fn run_through_fast_walks(grid: &Grid, parts: &mut Vec<Part>) {
    let [_, inner @ .., _] = &mut parts[..] else { return };
    for part in inner.iter_mut().filter(|part| part.kind == WALK) {
        let (length_m, known_s) = grid.trusted(part.cells.clone());
        if length_m > FASTEST_WALK_BOUT_M_PER_S * known_s {
            part.kind = RUN;
        }
    }
    parts.dedup_by(|part, before| {
        let same = part.kind == before.kind;
        if same {
            before.cells.end = part.cells.end;
            before.probability = before.probability.min(part.probability);
        }
        same
    });
}

/// Moves the edges between parts to their places; the plan, if there is one, has its say here and nowhere else.
fn date_edges(found: &mut Found, grid: &Grid, cadence_nats: &[f64], plan: Option<&DurationPrior>) {
    let mut dater = EdgeDater::default();
    let mut rights = date_by(&mut dater, found, grid, cadence_nats, &found.durations.clone(), Reach::Free);
    if let Some(plan) = plan {
        let planned = found.durations.clone().with_plan(plan);
        rights = date_by(&mut dater, found, grid, cadence_nats, &planned, Reach::Overlapping);
    }
    for (part, right) in rights {
        found.parts[part].probability *= right;
        found.parts[part + 1].probability *= right;
        found.log_structure += right.ln();
    }
}

/// Dates all edges by some idea of durations; returns the index of the part before each and the probability that it is
/// right.
fn date_by(
    dater: &mut EdgeDater,
    found: &mut Found,
    grid: &Grid,
    cadence_nats: &[f64],
    durations: &Durations,
    reach: Reach,
) -> Vec<(usize, f64)> {
    let scorer = Scorer::new(grid, cadence_nats, durations, found.levels, found.noise.m2_per_s);
    let mut rights = Vec::with_capacity(found.parts.len());
    for stretch in &found.stretches {
        dater.date(&scorer, &mut found.parts[stretch.clone()], reach);
        rights.extend(dater.right.iter().enumerate().map(|(edge, &right)| (stretch.start + edge, right)));
    }
    rights
}

/// Seconds of each point from the first one.
fn seconds_from_first(times_ns: &[i64]) -> Vec<f64> {
    let first_ns = times_ns.first().copied().unwrap_or(0);
    times_ns.iter().map(|&time_ns| time_ns.saturating_sub(first_ns) as f64 / NS_PER_S).collect()
}

//! From a recording to its bouts.

use boutwise_track::{Recording, Sport};

use crate::assemble::{bouts, series};
use crate::bounds::{Bounds, Doubts, bounds};
use crate::cadence::Cadence;
use crate::climb::on_the_level;
use crate::confidence::{Coefficients, SessionEvidence, logistic, stated_confidence};
use crate::decode::Part;
use crate::doubt::Settled;
use crate::drives::segment_around_drives;
use crate::evenness::Evenness;
use crate::found::{Found, Start, date_edges, find_by_speed, find_parts, usual_durations};
use crate::frame::Frame;
use crate::grid::Grid;
use crate::levels::{levels_of_cadence, levels_of_speed, plausibility_log_odds};
use crate::noise::Noise;
use crate::notes::{Findings, notes};
use crate::stand::find_stands;
use crate::{SegmentSettings, Segmentation};

/// Cadence decides where at least this share of the time has it.
const CADENCE_SHARE: f64 = 0.5;
/// Nanoseconds in a second.
const NS_PER_S: f64 = 1e9;
/// Spread of an edge in seconds (scale of a Laplace distribution), where cadence decides; and of what the edges of all runs have
/// in common, which is how far the delay of cadence is off: at least, per second of resolution time (noise over squared level
/// gap, by which that delay is found), and at most. Fitted by hand on invented recordings: see the table of intervals in
/// docs/accuracy.md.
const CADENCE_EDGE_S: f64 = 0.6;
const CADENCE_COMMON_S: f64 = 0.3;
const CADENCE_COMMON_SHARE: f64 = 0.25;
const MOST_CADENCE_COMMON_S: f64 = 1.3;
/// The same where speed decides: of an edge at least, per second of resolution time, and at most; and what all have in common.
const SPEED_EDGE_S: f64 = 0.4;
const EDGE_SHARE: f64 = 1.3;
const SPEED_COMMON_S: f64 = 0.2;
const MOST_EDGE_S: f64 = 12.0;
/// Bounds of the log odds of a session whose kinds cadence decides.
const CADENCE_LOG_ODDS: f64 = 12.0;

/// Speeds in metres per second at which some people walk and others jog: a compendium of activities has jogging from 1.16
/// to 1.65 m/s (code 12026, from memory), brisk walkers reach 1.9 m/s (common practice, no source); walks of beginners
/// are slower than the lower bound.
pub(crate) const WALK_OR_JOG_M_PER_S: std::ops::Range<f64> = 1.47..1.9;
/// Confidence of what may as well be the other kind.
const EITHER: f64 = 0.5;

/// Tells run, walk, stand and gap apart in a recording.
///
/// Bouts cover the session from its first to its last point, in order and without holes. No plan has a say in them.
/// Where running and walking cannot be told apart, the bouts are the best guess and [`Segmentation::resolvable`] is false.
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
/// let found = segment(&recording, &SegmentSettings::default());
/// let kinds: Vec<Kind> = found.bouts.iter().map(|bout| bout.kind).collect();
/// assert_eq!(kinds, [Kind::Walk, Kind::Run]);
/// assert!((found.bouts[1].start_s - 300.0).abs() <= 2.0);
/// ```
pub fn segment(recording: &Recording, settings: &SegmentSettings) -> Segmentation {
    match recording.on_foot() {
        Some(on_foot) => segment_around_drives(recording, &on_foot, settings),
        None => segment_on_foot(recording, settings),
    }
}

/// The same for a recording without drives.
pub(crate) fn segment_on_foot(recording: &Recording, settings: &SegmentSettings) -> Segmentation {
    let (laid, mut decoded) = decode(recording, settings);
    let (grid, level) = (&laid.grid, laid.level());
    let (log_odds, joined) = decoded.judge(level, settings, &Coefficients::default());
    let informed = decoded.cadence.share > 0.0 || grid.weight.iter().any(|&weight| weight > 0.0);
    let even_pace = !decoded.by_cadence && is_even_pace(&decoded.found, level);
    let likely = match (informed, even_pace) {
        (false, _) => 0.0,
        (true, true) => logistic(log_odds).min(EITHER),
        (true, false) => logistic(log_odds),
    };
    // Where speed decides, that is the confidence in the number of runs; the model's own doubt of their edges comes on top.
    let (confidence, limit) = match decoded.by_cadence {
        true => (likely, settings.resolvable_confidence),
        false => (likely * decoded.found.log_structure.exp(), settings.resolvable_by_speed_confidence),
    };
    let resolvable = likely >= limit && recording.sport != Sport::Cycling;
    let bounds = informed.then(|| decoded.bounds(&joined, [likely, confidence], settings)).flatten();
    // At an even pace at which some jog others walk, and no run is certain.
    let bounds = bounds.map(|bounds| if even_pace { bounds.or_nothing() } else { bounds });
    decoded.know_the_session(level, log_odds, &Coefficients::default());
    let resolution_s = decoded.resolution_s();
    let Decoded { frame, found, by_cadence, .. } = decoded;
    let pieces = found.pieces(&frame);
    Segmentation {
        bouts: bouts(&recording.points, &laid.times_s, grid, &pieces, found.noise.m2_per_s),
        resolvable,
        confidence,
        bounds,
        notes: notes(&Findings {
            grid,
            sport: recording.sport,
            resolvable,
            by_cadence,
            informed,
            even_pace,
            resolution_s,
            bounds,
        }),
        unseen: grid.unseen.clone(),
        series: series(laid.grid),
        vehicles: Vec::new(),
    }
}

/// Whether all movement was of one kind, at a pace at which some walk and others jog: nothing but steps would tell.
fn is_even_pace(found: &Found, grid: &Grid) -> bool {
    let moving = || found.parts.iter().filter(|part| !part.stop);
    let (length_m, known_s) = moving().fold((0.0, 0.0), |(length_m, known_s), part| {
        let (more_m, more_s) = grid.trusted(part.cells.clone());
        (length_m + more_m, known_s + more_s)
    });
    found.seconds().contains(&0) && known_s > 0.0 && WALK_OR_JOG_M_PER_S.contains(&(length_m / known_s))
}

/// What was decoded before anything was judged.
pub(crate) struct Decoded {
    frame: Frame,
    pub(crate) found: Found,
    cadence: Cadence,
    pub(crate) by_cadence: bool,
    /// Slow errors of position.
    pub(crate) slow_m2_per_s: f64,
}

/// A recording on its grid.
pub(crate) struct Laid {
    /// Seconds of each point from the first one.
    times_s: Vec<f64>,
    /// As it was measured.
    grid: Grid,
    /// As it would have been on the level, where speed decides and that is not the same.
    level: Option<Grid>,
}

impl Laid {
    /// The grid on which walks and runs are told apart.
    pub(crate) fn level(&self) -> &Grid {
        self.level.as_ref().unwrap_or(&self.grid)
    }
}

/// Lays a recording on its grid and decodes it.
pub(crate) fn decode(recording: &Recording, settings: &SegmentSettings) -> (Laid, Decoded) {
    let times_s = seconds_from_first(recording.points.time_ns());
    let grid = Grid::new(recording, &times_s, settings);
    let cadence = Cadence::new(&grid, settings);
    let by_cadence = cadence.share >= CADENCE_SHARE;
    let level = match by_cadence {
        true => None,
        false => on_the_level(&grid, &recording.points, &times_s, settings.gap_s),
    };
    let decoded = decode_grid(level.as_ref().unwrap_or(&grid), cadence, by_cadence, settings);
    (Laid { times_s, grid, level }, decoded)
}

fn decode_grid(grid: &Grid, mut cadence: Cadence, by_cadence: bool, settings: &SegmentSettings) -> Decoded {
    let noise = Noise::of_recording(grid);
    let quick = noise.quick(grid);
    // Without cadence nothing vouches for a stand but positions, and those of coarse recordings freeze at times.
    let stand_m2_per_s = if by_cadence { quick.m2_per_s } else { noise.m2_per_s };
    let mut stands = find_stands(grid, stand_m2_per_s, cadence.cut_spm, settings);
    if !by_cadence {
        stands.retain(|stand| stand.confidence(grid) >= EITHER);
    }
    let frame = Frame::new(grid, &stands);
    let by_steps = |nats: &[f64]| levels_of_cadence(grid, &frame.stretches, nats, settings);
    let levels = match by_cadence {
        true => by_steps(&cadence.evidence),
        false => levels_of_speed(grid, &frame.stretches, noise.m2_per_s, settings),
    };
    cadence.advance(grid, levels, quick.m2_per_s);
    let usual = usual_durations(settings);
    let mut found = if by_cadence {
        let start = Start::new(by_steps(&cadence.evidence), true, noise, &usual);
        find_parts(grid, &frame, &cadence.evidence, start, settings)
    } else {
        let start = Start::new(levels, false, noise, &usual);
        find_by_speed(grid, &frame, &cadence.evidence, start, settings)
    };
    date_edges(&mut found);
    found.tell_stops(grid);

    let slow_m2_per_s = if by_cadence { found.noise.m2_per_s } else { found.noise.with_slow_errors(grid) };
    Decoded { frame, found, cadence, by_cadence, slow_m2_per_s }
}

impl Decoded {
    /// Log odds that every run is right, or without cadence that their number is; there each bout gets its confidence, and what
    /// is doubtful becomes one with what is around it: those come along, each with the confidence that it was there.
    fn judge(
        &mut self,
        grid: &Grid,
        settings: &SegmentSettings,
        coefficients: &Coefficients,
    ) -> (f64, Vec<Part>) {
        if self.by_cadence {
            let all_right = self.found.log_structure.exp();
            let odds = (all_right / (1.0 - all_right)).ln();
            return (odds.clamp(-CADENCE_LOG_ODDS, CADENCE_LOG_ODDS), Vec::new());
        }
        let (session, settled) = self.judge_session(grid, settings, coefficients);
        (session.log_odds(coefficients), settled.joined)
    }

    /// Weighs the confidence of each bout that is stated with that of the session; cadence speaks for each by itself.
    fn know_the_session(&mut self, grid: &Grid, log_odds: f64, coefficients: &Coefficients) {
        if self.by_cadence {
            return;
        }
        let middle_m_per_s = self.found.levels.middle();
        for part in self.found.parts.iter_mut().filter(|part| !part.stop) {
            let speed_m_per_s = grid.speed_m_per_s(part.cells.clone(), f64::MIN_POSITIVE);
            let speed_m_per_s = speed_m_per_s.unwrap_or(middle_m_per_s);
            part.probability =
                stated_confidence((part.kind, speed_m_per_s), part.probability, log_odds, coefficients);
        }
    }

    /// Slow noise over the squared difference of the levels, in seconds: how long it takes to tell them apart.
    fn resolution_s(&self) -> f64 {
        self.slow_m2_per_s / self.found.levels.gap().powi(2)
    }

    /// What is known of the session although its bouts are in doubt.
    fn bounds(
        &self,
        joined: &[Part],
        [count_right, confidence]: [f64; 2],
        settings: &SegmentSettings,
    ) -> Option<Bounds> {
        let found = &self.found;
        let resolution_s = self.resolution_s();
        let (edge_s, common_s) = match self.by_cadence {
            true => {
                let common_s = CADENCE_COMMON_S + CADENCE_COMMON_SHARE * resolution_s;
                (CADENCE_EDGE_S, common_s.min(MOST_CADENCE_COMMON_S))
            }
            false => (SPEED_EDGE_S + EDGE_SHARE * resolution_s, SPEED_COMMON_S),
        };
        bounds(&Doubts {
            parts: &found.parts,
            stretches: found.stretches(),
            joined,
            count_right,
            confidence,
            edge_s: edge_s.min(MOST_EDGE_S),
            common_s,
            least_s: [settings.walk_min_s, settings.run_min_s],
        })
    }

    /// Settles doubts, and says what speaks for the session as it is then.
    pub(crate) fn judge_session(
        &mut self,
        grid: &Grid,
        settings: &SegmentSettings,
        coefficients: &Coefficients,
    ) -> (SessionEvidence, Settled) {
        let slow_m2_per_s = self.slow_m2_per_s;
        let found = &mut self.found;
        let settled = found.settle_doubts(grid, slow_m2_per_s, |bout| bout.confidence(coefficients));
        let evidence = SessionEvidence {
            wrong: found.parts.iter().filter(|part| !part.stop).map(|part| 1.0 - part.probability).sum(),
            joined: settled.joined.len(),
            missed: settled.joined.iter().map(|part| part.probability).sum(),
            least_confidence: settled.least_confidence,
            log_stands: self.frame.log_stands(),
            evenness: Evenness::of(&found.pieces(&self.frame), grid, found.levels.middle()),
            mean_step_s: grid.mean_step_s,
            levels: found.levels,
            seconds: found.seconds(),
            plausible: plausibility_log_odds(grid, &found.parts, settings).unwrap_or(f64::NEG_INFINITY),
        };
        (evidence, settled)
    }
}

/// Seconds of each point from the first one.
pub(crate) fn seconds_from_first(times_ns: &[i64]) -> Vec<f64> {
    let first_ns = times_ns.first().copied().unwrap_or(0);
    times_ns.iter().map(|&time_ns| time_ns.saturating_sub(first_ns) as f64 / NS_PER_S).collect()
}

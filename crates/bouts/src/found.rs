//! The walks and runs of a recording: decoded in rounds, dated, and told from stops.

use std::ops::Range;
use std::sync::{Arc, LazyLock};

use crate::assemble::Piece;
use crate::confidence::BoutEvidence;
use crate::decode::{Decoder, Part};
use crate::doubt::{Settled, evidence_of, settle_doubts};
use crate::durations::Durations;
use crate::edges::EdgeDater;
use crate::evidence::{RUN, Scorer, WALK};
use crate::frame::Frame;
use crate::grid::Grid;
use crate::levels::{Levels, levels_of_parts};
use crate::noise::Noise;
use crate::rhythm::Rhythm;
use crate::stand::stepless_share;
use crate::{Kind, SegmentSettings};

/// Rounds of decoding; each takes levels, noise and durations from the one before.
const ROUNDS: usize = 3;
/// Duration in seconds below which bouts are rare.
const SHORTNESS_S: f64 = 200.0;
/// A rhythm is looked for where what was found is all there with less than this probability.
const SURE: f64 = 0.9;
/// A walk that is faster than this was run (brisk walkers reach 1.9 m/s; common practice, no
/// source).
const FASTEST_WALK_BOUT_M_PER_S: f64 = 1.9;
/// A walk of up to so many seconds may be a stop …
const STOP_S: usize = 60;
/// … if it is slower than this share of the walking level: three standard deviations of rough positions below it …
const STOP_SHARE: f64 = 0.5;
/// … or than this one where cadence says for a while that no step was made: at least for this share of what it says.
const STEPLESS_STOP_SHARE: f64 = 0.7;
const STEPLESS_SHARE: f64 = 0.25;
/// Share of a block that must be known to speak for the noise.
const BLOCK_KNOWN_SHARE: f64 = 0.5;

/// What decoding found.
pub(crate) struct Found {
    pub(crate) parts: Vec<Part>,
    /// Indices into `parts` of the parts of each stretch.
    stretches: Vec<Range<usize>>,
    /// Log probability that all parts are there, with each edge near its place.
    pub(crate) log_structure: f64,
    /// Log likelihood relative to movement at the middle of the levels.
    log_likelihood: f64,
    pub(crate) levels: Levels,
    pub(crate) noise: Noise,
    durations: Arc<Durations>,
    /// Scores by these levels and this noise.
    scorer: Scorer,
}

impl Found {
    /// Durations in seconds of the parts of a kind that lie between others: those seen whole.
    fn whole_s(&self, kind: usize) -> Vec<f64> {
        let inner = |stretch: &Range<usize>| stretch.start + 1..stretch.end.max(stretch.start + 2) - 1;
        let parts = self.stretches.iter().flat_map(|stretch| &self.parts[inner(stretch)]);
        parts.filter(|part| part.kind == kind).map(|part| part.cells.len() as f64).collect()
    }

    /// Log likelihood of block means, whatever the parts: what decides between two findings.
    fn evidence(&self, grid: &Grid, frame: &Frame) -> f64 {
        let (middle, noise, block_s) = (self.levels.middle(), self.noise.m2_per_s, self.noise.block_s);
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
    pub(crate) fn tell_stops(&mut self, grid: &Grid) {
        let walk_m_per_s = self.levels.walk_m_per_s;
        for part in self.parts.iter_mut().filter(|part| part.kind == WALK && part.cells.len() <= STOP_S) {
            let (length_m, known_s) = grid.trusted(part.cells.clone());
            let share = match stepless_share(grid, part.cells.clone()) >= STEPLESS_SHARE {
                true => STEPLESS_STOP_SHARE,
                false => STOP_SHARE,
            };
            if length_m < share * walk_m_per_s * known_s {
                part.stop = true;
            }
        }
    }

    /// Seconds walked and seconds run.
    pub(crate) fn seconds(&self) -> [usize; 2] {
        [WALK, RUN].map(|kind| {
            let parts = self.parts.iter().filter(|part| part.kind == kind && !part.stop);
            parts.map(|part| part.cells.len()).sum::<usize>()
        })
    }

    /// Gives each part the confidence that it is right for its probability, and states none that more likely is not.
    pub(crate) fn settle_doubts(
        &mut self,
        grid: &Grid,
        slow_noise_m2_per_s: f64,
        confidence: impl Fn(&BoutEvidence) -> f64,
    ) -> Settled {
        settle_doubts(
            &mut self.parts,
            &mut self.stretches,
            grid,
            self.levels.middle(),
            slow_noise_m2_per_s,
            confidence,
        )
    }

    /// What speaks for each part.
    pub(crate) fn evidence_of_parts(&self, grid: &Grid, slow_noise_m2_per_s: f64) -> Vec<BoutEvidence> {
        evidence_of(&self.parts, &self.stretches, grid, self.levels.middle(), slow_noise_m2_per_s)
    }

    /// Indices of the parts of each stretch.
    pub(crate) fn stretches(&self) -> &[Range<usize>] {
        &self.stretches
    }

    /// Parts and settled pieces in order.
    pub(crate) fn pieces(&self, frame: &Frame) -> Vec<Piece> {
        let parts = self.parts.iter().map(|part| Piece {
            kind: match part.kind {
                RUN => Kind::Run,
                _ if part.stop => Kind::Stand,
                _ => Kind::Walk,
            },
            cells: part.cells.clone(),
            confidence: part.probability,
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

/// What decoding begins with.
#[derive(Clone, Copy)]
pub(crate) struct Start<'a> {
    levels: Levels,
    /// Whether the levels stay, instead of being learned from each round.
    levels_settled: bool,
    noise: Noise,
    /// Expected durations until the last round …
    early: &'a Arc<Durations>,
    /// … and in the last round.
    last: &'a Arc<Durations>,
}

impl<'a> Start<'a> {
    pub(crate) fn new(
        levels: Levels,
        levels_settled: bool,
        noise: Noise,
        durations: &'a Arc<Durations>,
    ) -> Self {
        Self { levels, levels_settled, noise, early: durations, last: durations }
    }
}

/// Durations of bouts before anything is known of the session: short ones are rare.
pub(crate) fn usual_durations(settings: &SegmentSettings) -> Arc<Durations> {
    /// Those of the documented method, made once: a session begins with them, and most have no others.
    static USUAL: LazyLock<Arc<Durations>> = LazyLock::new(|| made(&SegmentSettings::default()));
    fn made(settings: &SegmentSettings) -> Arc<Durations> {
        Arc::new(Durations::generic([settings.walk_min_s, settings.run_min_s], SHORTNESS_S))
    }
    match USUAL.least_s == [settings.walk_min_s, settings.run_min_s] {
        true => Arc::clone(&USUAL),
        false => made(settings),
    }
}

/// Decodes by speed, and where that leaves doubt once more with the durations of the strongest rhythm; the likelier finding
/// counts.
pub(crate) fn find_by_speed(
    grid: &Grid,
    frame: &Frame,
    cadence_nats: &[f64],
    start: Start,
    settings: &SegmentSettings,
) -> Found {
    let find = |start: Start| find_parts(grid, frame, cadence_nats, start, settings);
    let found = find(start);
    if found.log_structure >= SURE.ln() {
        return found;
    }
    let least_s = [settings.walk_min_s, settings.run_min_s];
    let Some(rhythm) = Rhythm::strongest(grid, &frame.stretches, least_s) else { return found };
    let early = Arc::new(start.early.with_expected([&[rhythm.walk_s], &[rhythm.run_s]]));
    let other = find(Start { early: &early, ..start });
    let evidence = |found: &Found| found.evidence(grid, frame);
    if evidence(&other) > evidence(&found) { other } else { found }
}

/// Decodes all stretches, in rounds.
pub(crate) fn find_parts(
    grid: &Grid,
    frame: &Frame,
    cadence_nats: &[f64],
    start: Start,
    settings: &SegmentSettings,
) -> Found {
    let Start { levels, levels_settled, noise, early, last } = start;
    let mut found = Found {
        parts: Vec::new(),
        stretches: Vec::with_capacity(frame.stretches.len()),
        log_structure: 0.0,
        log_likelihood: 0.0,
        levels,
        noise,
        durations: Arc::clone(early),
        scorer: Scorer::new(grid, cadence_nats, levels, noise.m2_per_s),
    };
    let mut decoder = Decoder::default();
    let (mut parts, mut parts_before) = (Vec::new(), Vec::new());
    for round in 0..ROUNDS {
        if round > 0 {
            if !levels_settled {
                found.levels =
                    levels_of_parts(grid, &found.parts, found.levels, found.noise.m2_per_s, settings);
            }
            found.noise = found.noise.refined(grid, found.parts.iter().map(|part| part.cells.clone()));
            let prior = if round == ROUNDS - 1 { last } else { early };
            found.durations = Arc::new(prior.with_seen([&found.whole_s(WALK), &found.whole_s(RUN)]));
            found.scorer.renew(grid, cadence_nats, found.levels, found.noise.m2_per_s);
        }
        std::mem::swap(&mut found.parts, &mut parts_before);
        found.parts.clear();
        found.stretches.clear();
        (found.log_structure, found.log_likelihood) = (0.0, 0.0);
        let may_be_last = round == ROUNDS - 1 || levels_settled && round > 0 && std::ptr::eq(early, last);
        for stretch in &frame.stretches {
            decoder.decode(&found.scorer, &found.durations, stretch.clone(), &mut parts);
            if may_be_last {
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
        // Where levels are settled and one expectation of durations holds to the end, noise and durations follow from the parts
        // alone: the same parts again would make a further round the same as this one.
        if may_be_last && found.parts.iter().map(Part::place).eq(parts_before.iter().map(Part::place)) {
            break;
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
    for part in parts.iter_mut().filter(|part| part.kind == WALK) {
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

/// Moves the edges between parts to their places.
pub(crate) fn date_edges(found: &mut Found) {
    let mut dater = EdgeDater::default();
    for stretch in &found.stretches {
        let parts = &mut found.parts[stretch.clone()];
        dater.date(&found.scorer, &found.durations, parts);
        for (edge, &right) in dater.right.iter().enumerate() {
            parts[edge].probability *= right;
            parts[edge + 1].probability *= right;
            found.log_structure += right.ln();
        }
    }
}

//! What the confidence of a recording is weighed from, for those who fit the weights.

use boutwise_track::Recording;

use crate::confidence::{BoutEvidence, Coefficients, Model, logistic, terms_of_stated};
use crate::decode::Part;
use crate::evidence::RUN;
use crate::segment::decode;
use crate::{Kind, SegmentSettings};

/// A bout, and the terms that its confidence is weighed from.
#[derive(Clone, Debug)]
pub struct BoutGrounds {
    /// Walk or run.
    pub kind: Kind,
    /// Start in seconds from the first point.
    pub start_s: f64,
    /// End in seconds from the first point.
    pub end_s: f64,
    /// Which logistic function weighs it.
    pub model: Model,
    /// Its terms.
    pub terms: Vec<f64>,
}

/// What was found in a recording without good cadence, and the terms that its confidence is weighed from.
#[derive(Clone, Debug)]
pub struct Grounds {
    /// Bouts as they were decoded.
    pub decoded: Vec<BoutGrounds>,
    /// Bouts that are left once doubtful ones became one with what is around them.
    pub stated: Vec<BoutGrounds>,
    /// The same bouts, weighed once more with the session.
    pub with_session: Vec<BoutGrounds>,
    /// Which logistic function weighs the session.
    pub model: Model,
    /// Its terms.
    pub terms: Vec<f64>,
    /// Confidence of the session with these weights.
    pub confidence: f64,
}

/// What the confidence of a recording is weighed from, with these weights of its bouts; `None` where cadence decides.
pub fn grounds(
    recording: &Recording,
    settings: &SegmentSettings,
    coefficients: &Coefficients,
) -> Option<Grounds> {
    let (laid, mut decoded) = decode(recording, settings);
    let grid = laid.level();
    if decoded.by_cadence {
        return None;
    }
    let slow_m2_per_s = decoded.slow_m2_per_s;
    let as_decoded = bouts(&decoded.found.parts, &decoded.found.evidence_of_parts(grid, slow_m2_per_s));
    // Settled parts carry their confidence; what the model said of them is asked for once more.
    let (session, settled_doubts) = decoded.judge_session(grid, settings, coefficients);
    let mut settled = decoded.found.evidence_of_parts(grid, slow_m2_per_s);
    for (evidence, &probability) in settled.iter_mut().zip(&settled_doubts.model_probability) {
        evidence.probability = probability;
    }
    let stated = bouts(&decoded.found.parts, &settled);
    let log_odds = session.log_odds(coefficients);
    let moving = decoded.found.parts.iter().filter(|part| !part.stop);
    let with_session = stated.iter().zip(moving).map(|(bout, part)| BoutGrounds {
        model: Model::Stated,
        terms: terms_of_stated(part.probability, log_odds).to_vec(),
        ..bout.clone()
    });
    Some(Grounds {
        with_session: with_session.collect(),
        decoded: as_decoded,
        stated,
        model: session.model(),
        terms: session.terms().to_vec(),
        confidence: logistic(log_odds),
    })
}

fn bouts(parts: &[Part], evidence: &[BoutEvidence]) -> Vec<BoutGrounds> {
    let moving = parts.iter().zip(evidence).filter(|(part, _)| !part.stop);
    moving
        .map(|(part, evidence)| BoutGrounds {
            kind: if part.kind == RUN { Kind::Run } else { Kind::Walk },
            start_s: part.cells.start as f64,
            end_s: part.cells.end as f64,
            model: evidence.model(),
            terms: evidence.terms(),
        })
        .collect()
}

//! Fits the weights of confidence on recordings with known truth, and prints how far they lie from those in the code.
//!
//! `cargo run --release -p boutwise-truth --example fit-confidence [SESSIONS]` with SESSIONS of each set of invented
//! recordings, 300 unless given (seeds below 50 000, never those that are reported on), and the open recordings that are
//! at hand, positions alone. Each open recording is then judged by weights that were fitted without it.

mod logistic;

use std::error::Error;

use boutwise_bouts::{BoutGrounds, Coefficients, Kind, Model, SegmentSettings, grounds};
use boutwise_track::Recording;
use boutwise_truth::evaluation::agreement::{iou, overlap_s};
use boutwise_truth::evaluation::{Calibration, IOU_LIMIT};
use boutwise_truth::{
    PositionError, Sensors, SessionSettings, Simulator, SyntheticSession, Tier, TrueBout, open,
};
use logistic::{Example, fit, logistic};
use rayon::prelude::*;

/// Rounds of fitting: what is joined depends on the weights of bouts, and what a session is made of on what is joined.
const ROUNDS: usize = 3;
/// So many invented bouts or sessions weigh as much as one of an open recording. Own choice.
const OPEN_WEIGHT: f64 = 12.0;
/// Recordings as real ones are weigh so much more than those of the tiers. Own choice.
const AS_RECORDED_WEIGHT: f64 = 1.5;

/// A recording with known truth.
struct Known {
    recording: Recording,
    truth: Vec<TrueBout>,
    weight: f64,
    /// What it is like.
    set: &'static str,
    /// Fewest and most runs there are, where that is arguable.
    runs: Option<std::ops::RangeInclusive<usize>>,
    /// Which open recording it is.
    open: Option<usize>,
}

fn main() -> Result<(), Box<dyn Error>> {
    let sessions: u64 = match std::env::args().nth(1) {
        Some(text) => text.parse().map_err(|_| format!("expected a number of sessions, found {text:?}"))?,
        None => 300,
    };
    let mut known = invented(0, sessions);
    match open::folder() {
        Some(folder) => {
            known.extend(open::read(&folder)?.into_iter().enumerate().map(|(index, open)| Known {
                recording: open.positions_alone(),
                truth: open.truth,
                weight: OPEN_WEIGHT,
                set: open.name,
                runs: Some(open.runs),
                open: Some(index),
            }))
        }
        None => eprintln!("OPEN RECORDINGS NOT FOUND: set BOUTWISE_OPEN_DATA to their folder"),
    }
    let fresh = invented(50_000, sessions / 3);
    let old = Coefficients::default();
    let mut new = old.clone();
    let mut examples = Vec::new();
    for round in 0..ROUNDS {
        examples = examples_of(&known, &new);
        for model in Model::ALL {
            new.0[model as usize] = fit(&chosen(&examples, model, |_| true));
        }
        eprintln!("round {} of {ROUNDS}: {} examples", round + 1, examples.len());
    }
    println!("Weights, as they stand in the code:\n");
    for model in Model::ALL {
        let weights: Vec<String> = new.of(model).iter().map(|weight| format!("{weight:.3}")).collect();
        println!("    // {model:?}\n    &[{}],", weights.join(", "));
    }
    println!("\nHow far they lie from those in the code, and how they do on what they were fitted on:\n");
    println!(
        "| model | examples | right | largest change of a weight | mean change of confidence | Brier, code | Brier, new |"
    );
    println!("|---|---:|---:|---:|---:|---:|---:|");
    for model in Model::ALL {
        let of_model = chosen(&examples, model, |_| true);
        compare(&format!("{model:?}"), &of_model, old.of(model), new.of(model));
    }
    println!("\nOpen recordings, each by weights fitted without it:\n");
    println!(
        "| model | examples | right | largest change of a weight | mean change of confidence | Brier, code | Brier, left out |"
    );
    println!("|---|---:|---:|---:|---:|---:|---:|");
    let recordings = known.iter().filter_map(|known| known.open).max().map_or(0, |last| last + 1);
    for model in Model::ALL {
        let mut judged = Vec::new();
        let mut by_code = Vec::new();
        for left_out in 0..recordings {
            let without = fit(&chosen(&examples, model, |open| open != Some(left_out)));
            for example in chosen(&examples, model, |open| open == Some(left_out)) {
                judged.push((logistic(&example.terms, &without), example.right));
                by_code.push((logistic(&example.terms, old.of(model)), example.right));
            }
        }
        let right = judged.iter().filter(|judged| judged.1).count();
        let brier = |judged: &[(f64, bool)]| {
            Calibration::of(judged)
                .map_or("–".to_owned(), |calibration| format!("{:.4}", calibration.brier))
        };
        println!("| {model:?} | {} | {right} | | | {} | {} |", judged.len(), brier(&by_code), brier(&judged));
    }
    println!(
        "\nSessions that were not fitted on (open recordings by weights fitted without them), answered from a confidence of:\n"
    );
    println!(
        "| set | sessions | right in number | … 0.5: answered | wrong number | right refused | … 0.7 | | | … 0.8 | | |"
    );
    println!("|---|---:|---:|---:|---:|---:|---:|---:|---:|---:|---:|---:|");
    let sets: Vec<&str> = ["easy", "medium", "hard", "as recorded"].to_vec();
    for set in sets {
        let of_set: Vec<&Known> = fresh.iter().filter(|known| known.set == set).collect();
        for known in &of_set {
            let answer = answer(known, &new);
            if ["easy", "medium"].contains(&set) && !answer.count_right {
                eprintln!("{set}: runs {}, confidence {:.3}", answer.runs, answer.confidence);
                for bout in &known.truth {
                    eprintln!("      true {:?} {:.0}-{:.0}", bout.kind, bout.start_s, bout.end_s);
                }
                for (bout, confidence) in &answer.bouts {
                    eprintln!(
                        "      found {:?} {:.0}-{:.0} {confidence:.3}",
                        bout.kind, bout.start_s, bout.end_s
                    );
                }
            }
        }
        println!(
            "| {set} {}",
            trade(&of_set.par_iter().map(|known| answer(known, &new)).collect::<Vec<_>>())
        );
    }
    let mut open_answers = Vec::new();
    for left_out in 0..recordings {
        let mut without = new.clone();
        for model in Model::ALL {
            without.0[model as usize] = fit(&chosen(&examples, model, |open| open != Some(left_out)));
        }
        for known in known.iter().filter(|known| known.open == Some(left_out)) {
            let answer = answer(known, &without);
            eprintln!(
                "{}: runs {} of {:?}, confidence {:.3}",
                known.set, answer.runs, known.runs, answer.confidence
            );
            for (bout, confidence) in &answer.bouts {
                let share = told_share(&known.truth, bout);
                let wrong = if share < 0.5 { "WRONG" } else { "" };
                let terms: Vec<String> = bout.terms.iter().map(|term| format!("{term:.2}")).collect();
                eprintln!(
                    "    {:?} {:.0}-{:.0} {confidence:.3} {wrong} {:?} [{}]",
                    bout.kind,
                    bout.start_s,
                    bout.end_s,
                    bout.model,
                    terms.join(" ")
                );
            }
            open_answers.push(answer);
        }
    }
    println!("| open {}", trade(&open_answers));
    Ok(())
}

/// What a session came to.
struct Answer {
    runs: usize,
    count_right: bool,
    right: bool,
    confidence: f64,
    bouts: Vec<(BoutGrounds, f64)>,
}

fn answer(known: &Known, coefficients: &Coefficients) -> Answer {
    let nothing = Answer { runs: 0, count_right: false, right: false, confidence: 0.0, bouts: Vec::new() };
    let Some(grounds) = grounds(&known.recording, &SegmentSettings::default(), coefficients) else {
        return nothing;
    };
    let runs = grounds.stated.iter().filter(|bout| bout.kind == Kind::Run).count();
    let true_runs = known.truth.iter().filter(|bout| bout.kind == Kind::Run).count();
    Answer {
        runs,
        count_right: known.runs.clone().unwrap_or(true_runs..=true_runs).contains(&runs),
        right: session_right(known, &grounds.stated),
        confidence: grounds.confidence,
        bouts: grounds
            .stated
            .into_iter()
            .map(|bout| {
                let confidence = logistic(&bout.terms, coefficients.of(bout.model));
                (bout, confidence)
            })
            .collect(),
    }
}

fn trade(answers: &[Answer]) -> String {
    let mut cells = vec![
        answers.len().to_string(),
        answers.iter().filter(|answer| answer.count_right).count().to_string(),
    ];
    for least in [0.5, 0.7, 0.8] {
        let answered = || answers.iter().filter(move |answer| answer.confidence >= least);
        let refused = answers.iter().filter(|answer| answer.right && answer.confidence < least).count();
        cells.extend([
            answered().count().to_string(),
            answered().filter(|answer| !answer.count_right).count().to_string(),
            refused.to_string(),
        ]);
    }
    format!("| {} |", cells.join(" | "))
}

/// Share of a bout's seconds that were of its kind.
fn told_share(truth: &[TrueBout], bout: &BoutGrounds) -> f64 {
    let alike = truth.iter().filter(|other| (other.kind == Kind::Run) == (bout.kind == Kind::Run));
    let seconds = alike.map(|other| overlap_s((other.start_s, other.end_s), (bout.start_s, bout.end_s)));
    seconds.sum::<f64>() / (bout.end_s - bout.start_s)
}

fn compare(name: &str, examples: &[Example], old: &[f64], new: &[f64]) {
    let change = old.iter().zip(new).map(|(old, new)| (old - new).abs()).fold(0.0, f64::max);
    let judged = |weights: &[f64]| -> Vec<(f64, bool)> {
        examples.iter().map(|example| (logistic(&example.terms, weights), example.right)).collect()
    };
    let (by_old, by_new) = (judged(old), judged(new));
    let moved: f64 = by_old.iter().zip(&by_new).map(|(old, new)| (old.0 - new.0).abs()).sum();
    let right = examples.iter().filter(|example| example.right).count();
    let brier =
        |judged: &[(f64, bool)]| Calibration::of(judged).map_or(f64::NAN, |calibration| calibration.brier);
    println!(
        "| {name} | {} | {right} | {change:.3} | {:.4} | {:.4} | {:.4} |",
        examples.len(),
        moved / examples.len().max(1) as f64,
        brier(&by_old),
        brier(&by_new)
    );
}

/// Invented recordings: the tiers, and what real ones show.
fn invented(first_seed: u64, sessions: u64) -> Vec<Known> {
    let mut drawn = Vec::new();
    for simulator in [Simulator::First, Simulator::Second] {
        for error in [PositionError::GaussMarkov, PositionError::Smooth] {
            let of_tier = |tier| SessionSettings::of(tier).with_sensors(Sensors::SPEED_ONLY);
            let tiers = Tier::ALL.map(|tier| (tier.word(), of_tier(tier), 1.0));
            let real = SessionSettings::as_recorded();
            let sensors = Sensors { cadence: false, ..real.sensors };
            let real = ("as recorded", real.with_sensors(sensors), AS_RECORDED_WEIGHT);
            for (set, settings, weight) in tiers.into_iter().chain([real]) {
                let settings = settings.with_error(error).with_simulator(simulator);
                drawn.par_extend((first_seed..first_seed + sessions).into_par_iter().map(|seed| {
                    // One in five each of walks alone and of runs alone.
                    let session = match seed % 5 {
                        3 => SyntheticSession::draw_walk_only(seed, &settings),
                        4 => SyntheticSession::draw_run_only(seed, &settings),
                        _ => SyntheticSession::draw(seed, &settings),
                    };
                    let SyntheticSession { recording, truth, .. } = session;
                    Known { recording, truth, weight, set, runs: None, open: None }
                }));
            }
        }
    }
    drawn
}

/// What is weighed, by which function, and of which open recording it is.
type Labelled = (Model, Option<usize>, Example);

fn examples_of(known: &[Known], coefficients: &Coefficients) -> Vec<Labelled> {
    let settings = SegmentSettings::default();
    known
        .par_iter()
        .flat_map_iter(|known| {
            let Some(grounds) = grounds(&known.recording, &settings, coefficients) else { return Vec::new() };
            let bout = |bout: &BoutGrounds| {
                let right = right(&known.truth, bout);
                (bout.model, known.open, Example { terms: bout.terms.clone(), right, weight: known.weight })
            };
            let mut examples: Vec<Labelled> =
                grounds.decoded.iter().chain(&grounds.stated).map(bout).collect();
            let right = session_right(known, &grounds.stated);
            let session = Example { terms: grounds.terms.clone(), right, weight: known.weight };
            examples.push((grounds.model, known.open, session));
            examples
        })
        .collect()
}

fn chosen(examples: &[Labelled], model: Model, keep: impl Fn(Option<usize>) -> bool) -> Vec<Example> {
    examples
        .iter()
        .filter(|example| example.0 == model && keep(example.1))
        .map(|example| example.2.clone())
        .collect()
}

/// Whether a bout of the kind was there, with half of the extent.
fn right(truth: &[TrueBout], bout: &BoutGrounds) -> bool {
    truth
        .iter()
        .filter(|other| other.kind == bout.kind)
        .any(|other| iou((other.start_s, other.end_s), (bout.start_s, bout.end_s)) >= IOU_LIMIT)
}

/// Whether all runs are there; where their number is arguable that alone counts, and edges do not.
fn session_right(known: &Known, stated: &[BoutGrounds]) -> bool {
    let found: Vec<&BoutGrounds> = stated.iter().filter(|bout| bout.kind == Kind::Run).collect();
    if let Some(runs) = &known.runs {
        return runs.contains(&found.len());
    }
    let runs: Vec<&TrueBout> = known.truth.iter().filter(|bout| bout.kind == Kind::Run).collect();
    let near = |(a, b): (&&TrueBout, &&BoutGrounds)| {
        let limit_s = boutwise_truth::evaluation::EDGE_LIMIT_S;
        (a.start_s - b.start_s).abs() <= limit_s && (a.end_s - b.end_s).abs() <= limit_s
    };
    runs.len() == found.len() && runs.iter().zip(&found).all(near)
}

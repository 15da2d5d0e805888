//! Fits the weights of confidence on recordings with known truth, and prints how far they lie from those in the code.
//!
//! `cargo run --release -p boutwise-truth --example fit-confidence [SESSIONS [sessions|products]]` with SESSIONS of each set of
//! invented recordings, 300 unless given (tuning seeds, never those that are reported on), and the open recordings that are at
//! hand, positions alone; with `sessions` it leaves the functions that weigh bouts as they stand in the code and fits those that
//! weigh a session; with `products` it chooses the products of terms that bouts are weighed by, and prints nothing else. Each
//! open recording is then judged by weights that were fitted without its session.

mod logistic;

use std::error::Error;
use std::sync::Arc;

use boutwise_bouts::{BoutGrounds, Coefficients, Kind, Model, Product, SegmentSettings, Term, grounds};
use boutwise_track::Recording;
use boutwise_truth::evaluation::agreement::{iou, overlap_s};
use boutwise_truth::evaluation::{Calibration, IOU_LIMIT};
use boutwise_truth::{
    PositionError, Sensors, SessionSettings, Simulator, SyntheticSession, Tier, TrueBout, open,
};
use logistic::{Example, best_further, fit, logistic};
use rayon::prelude::*;

/// Rounds of fitting: what is joined depends on the weights of bouts, and what a session is made of on what is joined.
const ROUNDS: usize = 3;
/// So many invented bouts or sessions weigh as much as one of an open recording. Own choice.
const OPEN_WEIGHT: f64 = 12.0;
/// So many of the functions weigh bouts, the rest sessions.
const BOUT_MODELS: usize = 6;
/// Products of terms beside those of a bout. Own choice: more hardly lower the Brier score of sessions not fitted on.
const PRODUCTS: usize = 12;
/// Recordings as real ones are weigh so much more than those of the tiers. Own choice.
const AS_RECORDED_WEIGHT: f64 = 1.5;
/// … and as sessions so much more: they are of one set against three. Own choice.
const AS_RECORDED_SESSION_WEIGHT: f64 = 3.0;

/// First seed of the sessions that are not fitted on; those that are begin at 0.
const FIRST_FRESH_SEED: u64 = 50_000;
/// Sets of invented recordings.
const SETS: u64 = 16;
/// Limits of confidence for an answer that the last table shows.
const LIMITS: [f64; 4] = [0.72, 0.76, 0.8, 0.85];

/// A recording with known truth.
struct Known {
    recording: Recording,
    truth: Vec<TrueBout>,
    /// What each of its bouts weighs, and what it weighs as a session.
    weight: f64,
    session_weight: f64,
    /// What it is like.
    set: &'static str,
    /// Fewest and most runs there are, where that is arguable.
    runs: Option<std::ops::RangeInclusive<usize>>,
    /// Which open session it is of.
    open: Option<&'static str>,
}

fn main() -> Result<(), Box<dyn Error>> {
    let sessions: u64 = match std::env::args().nth(1) {
        Some(text) => text.parse().map_err(|_| format!("expected a number of sessions, found {text:?}"))?,
        None => 300,
    };
    if sessions * SETS > FIRST_FRESH_SEED {
        return Err(format!("at most {} sessions a set have seeds", FIRST_FRESH_SEED / SETS).into());
    }
    let which: &[Model] = match std::env::args().nth(2).as_deref() {
        Some("sessions") => &[Model::TwoKinds, Model::RunAlone, Model::WalkAlone],
        Some("products") => {
            choose_products(&invented(0, sessions), &open_recordings()?);
            return Ok(());
        }
        Some(word) => return Err(format!("expected sessions, products or nothing, found {word:?}").into()),
        None => &Model::ALL[..Model::Stated as usize],
    };
    let drawn = invented(0, sessions);
    let open = open_recordings()?;
    let fresh = invented(FIRST_FRESH_SEED, sessions / 3);
    let old = Coefficients::default();
    let mut new = old.clone();
    // What is joined hangs on the weights of bouts alone.
    let rounds = if which.contains(&Model::WalkBetween) { ROUNDS } else { 1 };
    for round in 0..rounds {
        let examples = examples_of(&drawn, &open, &new);
        for &model in which {
            new.0[model as usize] = fit(&chosen(&examples, model, |_| true));
        }
        eprintln!("round {} of {rounds}: {} examples", round + 1, examples.len());
    }
    // What is stated is weighed with its session, which hangs on all the others.
    let examples = examples_of(&drawn, &open, &new);
    new.0[Model::Stated as usize] = fit(&chosen(&examples, Model::Stated, |_| true));
    println!("Weights, as they stand in the code:\n");
    for model in Model::ALL {
        let weights: Vec<String> =
            new.of(model).iter().map(|weight| format!("{weight:.3}").replace("-0.000", "0.000")).collect();
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
    println!("\nOpen recordings, each by weights fitted without its session:\n");
    println!(
        "| model | examples | right | largest change of a weight | mean change of confidence | Brier, code | Brier, left out |"
    );
    println!("|---|---:|---:|---:|---:|---:|---:|");
    let mut open_sessions: Vec<&str> = open.iter().filter_map(|known| known.open).collect();
    open_sessions.dedup();
    for model in Model::ALL {
        let mut judged = Vec::new();
        let mut by_code = Vec::new();
        for &left_out in &open_sessions {
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
    let limits: Vec<String> =
        LIMITS.iter().map(|limit| format!("… {limit}: answered | wrong number | right refused |")).collect();
    println!("| set | sessions | right in number | {}", limits.join(" "));
    println!("|---|{}", "---:|".repeat(2 + 3 * LIMITS.len()));
    for set in ["easy", "medium", "hard", "as recorded"] {
        let of_set: Vec<&Invented> = fresh.iter().filter(|invented| invented.set == set).collect();
        let answers: Vec<Answer> =
            of_set.par_iter().map(|invented| answer(&invented.known(), &new)).collect();
        println!("| {set} {}", trade(&answers));
    }
    let mut open_answers = Vec::new();
    for &left_out in &open_sessions {
        let mut without = new.clone();
        for &model in which.iter().chain([&Model::Stated]) {
            without.0[model as usize] = fit(&chosen(&examples, model, |open| open != Some(left_out)));
        }
        for known in open.iter().filter(|known| known.open == Some(left_out)) {
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

/// The open recordings that are at hand.
fn open_recordings() -> Result<Vec<Known>, Box<dyn Error>> {
    let Some(folder) = open::folder() else {
        eprintln!("OPEN RECORDINGS NOT FOUND: set BOUTWISE_OPEN_DATA to their folder");
        return Ok(Vec::new());
    };
    let known = |open: open::OpenRecording| Known {
        open: Some(open.session()),
        recording: open.positions_alone(),
        truth: open.truth,
        weight: OPEN_WEIGHT,
        session_weight: OPEN_WEIGHT,
        set: open.name,
        runs: Some(open.runs),
    };
    Ok(open::read(&folder)?.into_iter().map(known).collect())
}

/// Chooses products of terms, one after the other, the one that fits best what those before it leave, and prints them.
fn choose_products(drawn: &[Invented], open: &[Known]) {
    let plain = Term::ALL.len();
    let further: Vec<Product> = (1..plain)
        .flat_map(|first| (first..plain).map(move |second| Product(Term::ALL[first], Term::ALL[second])))
        .collect();
    let mut weights = Coefficients::default();
    let mut examples = Vec::new();
    for _ in 0..ROUNDS {
        examples = examples_of(drawn, open, &weights);
        examples.iter_mut().for_each(|example| example.2.terms.truncate(plain));
        for &model in &Model::ALL[..BOUT_MODELS] {
            weights.0[model as usize] = fit(&chosen(&examples, model, |_| true));
        }
    }
    let chosen_of = |&model: &Model| {
        let mut of_model = chosen(&examples, model, |_| true);
        let mut products = Vec::new();
        let mut further = further.clone();
        while products.len() < PRODUCTS {
            let weights = fit(&of_model);
            let Some(best) =
                best_further(&of_model, &weights, further.len(), |index, terms| further[index].of(terms))
            else {
                break;
            };
            let product = further.swap_remove(best);
            of_model.iter_mut().for_each(|example| example.terms.push(product.of(&example.terms)));
            products.push(format!("Product({:?}, {:?})", product.0, product.1));
        }
        format!("    // {model:?}\n    &[{}],", products.join(", "))
    };
    let lines: Vec<String> = Model::ALL[..BOUT_MODELS].par_iter().map(chosen_of).collect();
    println!("{}", lines.join("\n"));
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
            .with_session
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
    for least in LIMITS {
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

/// An invented recording that is made when it is looked at: many do not fit into memory.
struct Invented {
    seed: u64,
    settings: Arc<SessionSettings>,
    set: &'static str,
    weight: f64,
    session_weight: f64,
}

impl Invented {
    fn known(&self) -> Known {
        let Self { seed, ref settings, set, weight, session_weight } = *self;
        // Half of each set has a heart rate: it is not to tell the sets apart.
        let sensors = Sensors { heart_rate: seed / 10 % 2 == 0, ..settings.sensors };
        let settings = &SessionSettings::clone(settings).with_sensors(sensors);
        // One in ten each of walks alone and of runs alone.
        let SyntheticSession { recording, truth, .. } = match seed % 10 {
            3 => SyntheticSession::draw_walk_only(seed, settings),
            4 => SyntheticSession::draw_run_only(seed, settings),
            _ => SyntheticSession::draw(seed, settings),
        };
        Known { recording, truth, weight, session_weight, set, runs: None, open: None }
    }
}

/// Invented recordings: the tiers, and what real ones show. Each set has seeds of its own, since sessions of one seed are much
/// the same session.
fn invented(first_seed: u64, sessions: u64) -> Vec<Invented> {
    let mut drawn = Vec::new();
    let mut seed = first_seed;
    for simulator in [Simulator::First, Simulator::Second] {
        for error in [PositionError::GaussMarkov, PositionError::Smooth] {
            let of_tier = |tier| SessionSettings::of(tier).with_sensors(Sensors::SPEED_ONLY);
            let tiers = Tier::ALL.map(|tier| (tier.word(), of_tier(tier), [1.0, 1.0]));
            let real = SessionSettings::as_recorded();
            let sensors = Sensors { cadence: false, ..real.sensors };
            let real =
                ("as recorded", real.with_sensors(sensors), [AS_RECORDED_WEIGHT, AS_RECORDED_SESSION_WEIGHT]);
            for (set, settings, [weight, session_weight]) in tiers.into_iter().chain([real]) {
                let settings = Arc::new(settings.with_error(error).with_simulator(simulator));
                drawn.extend((seed..seed + sessions).map(|seed| Invented {
                    seed,
                    settings: Arc::clone(&settings),
                    set,
                    weight,
                    session_weight,
                }));
                seed += sessions;
            }
        }
    }
    drawn
}

/// What is weighed, by which function, and of which open session it is.
type Labelled = (Model, Option<&'static str>, Example);

fn examples_of(invented: &[Invented], open: &[Known], coefficients: &Coefficients) -> Vec<Labelled> {
    let mut examples: Vec<Labelled> = invented
        .par_iter()
        .flat_map_iter(|invented| examples_of_one(&invented.known(), coefficients))
        .collect();
    examples.extend(open.iter().flat_map(|known| examples_of_one(known, coefficients)));
    examples
}

fn examples_of_one(known: &Known, coefficients: &Coefficients) -> Vec<Labelled> {
    let Some(grounds) = grounds(&known.recording, &SegmentSettings::default(), coefficients) else {
        return Vec::new();
    };
    let bout = |bout: &BoutGrounds| {
        let right = right(&known.truth, bout);
        (bout.model, known.open, Example { terms: bout.terms.clone(), right, weight: known.weight })
    };
    let bouts = grounds.decoded.iter().chain(&grounds.stated).chain(&grounds.with_session);
    let mut examples: Vec<Labelled> = bouts.map(bout).collect();
    let right = count_right(known, &grounds.stated);
    let session = Example { terms: grounds.terms.clone(), right, weight: known.session_weight };
    examples.push((grounds.model, known.open, session));
    examples
}

fn chosen(examples: &[Labelled], model: Model, keep: impl Fn(Option<&'static str>) -> bool) -> Vec<Example> {
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

/// Whether there were as many runs; where their number is arguable, whether any says so.
fn count_right(known: &Known, stated: &[BoutGrounds]) -> bool {
    let true_runs = known.truth.iter().filter(|bout| bout.kind == Kind::Run).count();
    let found_runs = stated.iter().filter(|bout| bout.kind == Kind::Run).count();
    known.runs.clone().unwrap_or(true_runs..=true_runs).contains(&found_runs)
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

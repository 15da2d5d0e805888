//! The tables of the accuracy report as Markdown.

use std::fmt::Write;

use boutwise_bouts::{Bounds, Kind};
use boutwise_truth::evaluation::{
    Calibration, EDGE_LIMIT_S, SessionScore, Summary, TradeOff, datable_share, quantile, trade_off,
};
use boutwise_truth::{PositionError, Sensors, SessionSettings, Simulator, SyntheticSession, Tier, TrueBout};
use rayon::prelude::*;

use crate::methods::{Method, boutwise};
use crate::sets::{ERRORS, Results, Set, error_word, first_seed};

/// A share in %, a dash where there is none.
pub(crate) fn percent(share: Option<f64>, decimals: usize) -> String {
    share.map_or_else(|| "–".to_owned(), |share| format!("{:.*}", decimals, 100.0 * share))
}

/// A number, a dash where there is none.
pub(crate) fn number(value: Option<f64>, decimals: usize) -> String {
    let Some(value) = value else { return "–".to_owned() };
    let text = format!("{value:.decimals$}");
    // What rounds to nothing has no sign.
    if text.parse() == Ok(0.0) { text.trim_start_matches('-').to_owned() } else { text }
}

/// A line of a table.
pub(crate) fn row(cells: impl IntoIterator<Item = String>) -> String {
    let cells: Vec<String> = cells.into_iter().collect();
    format!("| {} |\n", cells.join(" | "))
}

/// The first two lines of a table; all columns but the first are figures.
pub(crate) fn head(titles: &[&str]) -> String {
    let rule: String =
        titles.iter().enumerate().map(|(i, _)| if i == 0 { "|---|" } else { "---:|" }).collect();
    format!("| {} |\n{rule}\n", titles.join(" | "))
}

fn sets_of(simulator: Simulator, cadence: bool) -> impl Iterator<Item = Set> {
    Set::all().into_iter().filter(move |set| set.simulator == simulator && set.cadence == cadence)
}

/// One figure of every method on every set of a simulator.
pub(crate) fn by_method(
    results: &Results,
    simulator: Simulator,
    figure: impl Fn(&[SessionScore]) -> String,
) -> String {
    let titles: Vec<String> = sets_of(simulator, false).map(Set::title).collect();
    let titles: Vec<&str> = std::iter::once("method").chain(titles.iter().map(String::as_str)).collect();
    let mut table = head(&titles);
    for cadence in [false, true] {
        for method in Method::ALL {
            let cells: Vec<Option<&[SessionScore]>> =
                sets_of(simulator, cadence).map(|set| results.of(set, method)).collect();
            if cells.iter().all(Option::is_none) {
                continue;
            }
            let name = match (cadence, method) {
                (true, Method::Boutwise) => format!("{}, cadence", method.title()),
                _ => method.title().to_owned(),
            };
            let figures = cells.into_iter().map(|cell| cell.map_or_else(String::new, &figure));
            table += &row(std::iter::once(name).chain(figures));
        }
    }
    table
}

/// Share with every rep right.
pub(crate) fn every_rep_right(scores: &[SessionScore]) -> String {
    percent(Summary::of(scores).every_rep_right, 1)
}

/// F1 of runs on the sessions that depart from their plan.
pub(crate) fn f1_departing(scores: &[SessionScore]) -> String {
    number(Summary::of(scores.iter().filter(|score| !score.as_planned)).f1, 3)
}

/// Everything about the method of this project.
pub(crate) fn detail(results: &Results, simulator: Simulator) -> String {
    let mut table = head(&[
        "set",
        "every rep right",
        "… of resolvable",
        "not resolvable",
        "F1",
        "F1 departing",
        "seconds",
        "kappa",
        "edge median / p90 s",
        "longest median / p90 s",
        "longest bias (95 % limits) s",
    ]);
    for cadence in [false, true] {
        for set in sets_of(simulator, cadence) {
            let Some(scores) = results.of(set, Method::Boutwise) else { continue };
            let all = Summary::of(scores);
            let departing = Summary::of(scores.iter().filter(|score| !score.as_planned));
            let sensors = if cadence { ", cadence" } else { "" };
            let limits = all.longest_limits_s.map(|l| {
                let [mean, lower, upper] =
                    [(l.mean, 1), (l.lower, 0), (l.upper, 0)].map(|(v, d)| number(Some(v), d));
                format!("{mean} ({lower} to {upper})")
            });
            table += &row([
                format!("{}{sensors}", set.title()),
                percent(all.every_rep_right, 1),
                percent(all.every_rep_right_resolvable, 1),
                percent(Some(all.not_resolvable), 1),
                number(all.f1, 3),
                number(departing.f1, 3),
                percent(all.seconds_right, 2),
                number(all.kappa, 3),
                format!("{} / {}", number(all.edge_median_s, 1), number(all.edge_p90_s, 1)),
                format!("{} / {}", number(all.longest_median_s, 1), number(all.longest_p90_s, 1)),
                limits.unwrap_or_default(),
            ]);
        }
    }
    table
}

/// Sessions of one kind only.
pub(crate) fn one_kind_only(sessions: u64) -> String {
    let mut table = head(&[
        "set",
        "walk-only: with an invented run",
        "not resolvable",
        "run-only: with a walk",
        "… where they ran",
        "not resolvable",
    ]);
    for set in Set::all().into_iter().filter(|set| set.simulator == Simulator::First) {
        let settings = set.settings();
        let scored = |draw: fn(u64, &boutwise_truth::SessionSettings) -> SyntheticSession| {
            let scores: Vec<SessionScore> = (0..sessions)
                .into_par_iter()
                .map(|index| Method::Boutwise.score(&draw(set.seed(index), &settings)))
                .collect();
            Summary::of(&scores)
        };
        let (walked, ran) =
            (scored(SyntheticSession::draw_walk_only), scored(SyntheticSession::draw_run_only));
        let sensors = if set.cadence { ", cadence" } else { "" };
        table += &row([
            format!("{}{sensors}", set.title()),
            percent(walked.invented_runs, 1),
            percent(Some(walked.not_resolvable), 1),
            percent(ran.with_walks, 1),
            percent(ran.with_walks_while_running, 1),
            percent(Some(ran.not_resolvable), 1),
        ]);
    }
    table
}

/// Recordings as real ones are.
pub(crate) fn as_recorded(sessions: u64) -> String {
    let mut table = head(&[
        "set",
        "count right",
        "answered",
        "… wrong count",
        "every rep right but refused",
        "F1",
        "seconds",
        "longest median / p90 s",
        "Brier score (worst bin)",
    ]);
    for cadence in [false, true] {
        for simulator in [Simulator::First, Simulator::Second] {
            for error in ERRORS {
                let settings = SessionSettings::as_recorded();
                let sensors = Sensors { cadence, ..settings.sensors };
                let settings = settings.with_sensors(sensors).with_error(error).with_simulator(simulator);
                let scores: Vec<SessionScore> = (0..sessions)
                    .into_par_iter()
                    .map(|index| {
                        let session = SyntheticSession::draw(first_seed() + 300_000 + index, &settings);
                        Method::Boutwise.score(&session)
                    })
                    .collect();
                let summary = Summary::of(&scores);
                let share = |hit: &dyn Fn(&&SessionScore) -> bool, of: &dyn Fn(&&SessionScore) -> bool| {
                    let all = scores.iter().filter(of).count();
                    percent(
                        (all > 0).then(|| scores.iter().filter(of).filter(hit).count() as f64 / all as f64),
                        1,
                    )
                };
                let word = if simulator == Simulator::First { "first" } else { "second" };
                let sensors = if cadence { ", cadence" } else { "" };
                let calibration = summary.calibration.as_ref();
                let gap = calibration.and_then(|calibration| calibration.largest_gap(LEAST_BOUTS));
                table += &row([
                    format!("{word}, {}{sensors}", error_word(error)),
                    share(&|score| score.count_right, &|_| true),
                    share(&|score| score.resolvable, &|_| true),
                    share(&|score| !score.count_right, &|score| score.resolvable),
                    share(&|score| !score.resolvable, &|score| score.every_rep_right),
                    number(summary.f1, 3),
                    percent(summary.seconds_right, 2),
                    format!("{} / {}", number(summary.longest_median_s, 1), number(summary.longest_p90_s, 1)),
                    format!(
                        "{} ({})",
                        number(calibration.map(|calibration| calibration.brier), 4),
                        number(gap, 3)
                    ),
                ]);
            }
        }
    }
    table
}

/// How often 90 % intervals hold the truth, over all sessions, and how wide they are where a session is refused.
pub(crate) fn intervals(sessions: u64) -> String {
    let mut table = head(&[
        "set",
        "number of runs held, %",
        "run time held, %",
        "longest run held, %",
        "refused",
        "… number certain, %",
        "… at least as many as said, %",
        "… longest at least as said, %",
        "… width of run time, s",
        "… width of the longest, s",
    ]);
    for set in Set::all().into_iter().filter(|set| set.simulator == Simulator::First) {
        let settings = set.settings();
        let rows: Vec<(bool, Bounds, [f64; 3])> = (0..sessions)
            .into_par_iter()
            .filter_map(|index| {
                let session = SyntheticSession::draw(set.seed(index), &settings);
                let found = boutwise(&session.recording);
                let runs = || session.truth.iter().filter(|bout| bout.kind == Kind::Run);
                let seconds = runs().map(TrueBout::duration_s);
                let truth = [runs().count() as f64, seconds.clone().sum(), seconds.fold(0.0, f64::max)];
                Some((found.resolvable, found.bounds?, truth))
            })
            .collect();
        let share = |rows: &[&(bool, Bounds, [f64; 3])], hit: &dyn Fn(&Bounds, &[f64; 3]) -> bool| {
            let hits = rows.iter().filter(|row| hit(&row.1, &row.2)).count();
            percent((!rows.is_empty()).then(|| hits as f64 / rows.len() as f64), 1)
        };
        let all: Vec<_> = rows.iter().collect();
        let refused: Vec<_> = rows.iter().filter(|row| !row.0).collect();
        let held = |(low, high): (f64, f64), value: f64| low <= value && value <= high;
        let width = |of: &dyn Fn(&Bounds) -> (f64, f64)| {
            let widths: Vec<f64> =
                refused.iter().map(|row| of(&row.1)).map(|(low, high)| high - low).collect();
            number(quantile(&widths, 0.5), 0)
        };
        let runs = |bounds: &Bounds| (bounds.runs.0 as f64, bounds.runs.1 as f64);
        let sensors = if set.cadence { ", cadence" } else { "" };
        table += &row([
            format!("{}{sensors}", set.title()),
            share(&all, &|bounds, truth| held(runs(bounds), truth[0])),
            share(&all, &|bounds, truth| held(bounds.run_s, truth[1])),
            share(&all, &|bounds, truth| held(bounds.longest_s, truth[2])),
            refused.len().to_string(),
            share(&refused, &|bounds, _| bounds.runs.0 == bounds.runs.1),
            share(&refused, &|bounds, truth| bounds.runs_at_least as f64 <= truth[0]),
            share(&refused, &|bounds, truth| bounds.longest_at_least_s <= truth[2]),
            width(&|bounds| bounds.run_s),
            width(&|bounds| bounds.longest_s),
        ]);
    }
    table
}

fn pooled(
    results: &Results,
    simulator: Option<Simulator>,
    tier: Option<Tier>,
    cadence: bool,
    resolvable_alone: bool,
) -> Vec<(f64, bool)> {
    Set::all()
        .into_iter()
        .filter(|set| set.cadence == cadence)
        .filter(|set| simulator.is_none_or(|simulator| set.simulator == simulator))
        .filter(|set| tier.is_none_or(|tier| set.tier == tier))
        .filter_map(|set| results.of(set, Method::Boutwise))
        .flatten()
        .filter(|score| score.resolvable || !resolvable_alone)
        .flat_map(|score| score.judged_bouts.iter().copied())
        .collect()
}

/// Reliability of bout confidence, all tiers, errors and simulators together.
pub(crate) fn reliability(results: &Results) -> String {
    let mut titles = vec!["confidence".to_owned()];
    let columns = [(false, false), (false, true), (true, false)].map(|(cadence, resolvable_alone)| {
        let set = match (cadence, resolvable_alone) {
            (true, _) => "cadence",
            (false, true) => "speed only, resolvable",
            (false, false) => "speed only",
        };
        titles.extend([format!("{set}: bouts"), "mean confidence".to_owned(), "right".to_owned()]);
        Calibration::of(&pooled(results, None, None, cadence, resolvable_alone))
    });
    let mut table = head(&titles.iter().map(String::as_str).collect::<Vec<_>>());
    for tenth in 0..10 {
        let mut cells = vec![format!("{:.1}–{:.1}", tenth as f64 / 10.0, (tenth + 1) as f64 / 10.0)];
        for column in &columns {
            let mut bins = column.iter().flat_map(|calibration| &calibration.bins);
            let bin = bins.find(|bin| (bin.from * 10.0).round() as usize == tenth);
            cells.push(bin.map_or(String::new(), |bin| bin.bouts.to_string()));
            cells.push(bin.map_or(String::new(), |bin| format!("{:.3}", bin.mean_confidence)));
            cells.push(bin.map_or(String::new(), |bin| format!("{:.3}", bin.right_share)));
        }
        table += &row(cells);
    }
    table
}

/// Brier scores, and in brackets the largest gap of a bin with at least so many bouts.
pub(crate) fn brier(results: &Results) -> String {
    let mut table = head(&["simulator, tier", "speed only", "speed only, resolvable", "cadence"]);
    let simulators = [(Some(Simulator::First), "first"), (Some(Simulator::Second), "second"), (None, "both")];
    for (simulator, word) in simulators {
        for tier in Tier::ALL.into_iter().map(Some).chain([None]) {
            let figures =
                [(false, false), (false, true), (true, false)].map(|(cadence, resolvable_alone)| {
                    let judged = pooled(results, simulator, tier, cadence, resolvable_alone);
                    let calibration = Calibration::of(&judged);
                    let gap = calibration.as_ref().and_then(|c| c.largest_gap(LEAST_BOUTS));
                    format!("{} ({})", number(calibration.map(|c| c.brier), 4), number(gap, 3))
                });
            let name = format!("{word}, {}", tier.map_or("all", Tier::word));
            table += &row(std::iter::once(name).chain(figures));
        }
    }
    table
}

/// Bins with fewer bouts say nothing.
const LEAST_BOUTS: usize = 50;
/// Session confidence at which the trade-off is shown.
const LINES: [f64; 8] = [0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9];

/// What calling sessions not resolvable saves and costs, speed only: all sets of a simulator together at several
/// lines, then each set by the flag.
pub(crate) fn refusal(results: &Results) -> String {
    let mut table = head(&[
        "set",
        "refused",
        "… of all",
        "… of wrong counts",
        "… of every rep right",
        "right among the answered",
    ]);
    for simulator in [Simulator::First, Simulator::Second] {
        let of = |set: &Set| results.of(*set, Method::Boutwise).unwrap_or_default();
        let together: Vec<SessionScore> =
            sets_of(simulator, false).flat_map(|set| of(&set).iter().cloned()).collect();
        let word = if simulator == Simulator::First { "first" } else { "second" };
        for line in trade_off(&together, &LINES) {
            table += &refusal_row(format!("{word}, all"), line);
        }
        for set in sets_of(simulator, false) {
            for line in trade_off(of(&set), &[]) {
                table += &refusal_row(format!("{word}, {}", set.title()), line);
            }
        }
    }
    table
}

fn refusal_row(name: String, line: TradeOff) -> String {
    let by = line.below_confidence.map_or("by the flag".to_owned(), |line| format!("confidence < {line:.1}"));
    row([
        name,
        by,
        percent(Some(line.refused), 1),
        percent(line.wrong_refused, 1),
        percent(line.right_refused, 1),
        percent(line.right_of_answered, 1),
    ])
}

/// How well anybody could date the edges of the first simulator's sessions with rough errors, edge by edge.
pub(crate) fn edge_limit(results: &Results, sessions: u64) -> String {
    let mut table = head(&[
        "set",
        "edges a session",
        "difference of speed, m/s",
        "resolution time, s",
        "edges datable within 10 s",
        "sessions with every edge within 10 s, dated one by one",
        "**Boutwise**, every rep right",
    ]);
    for tier in Tier::ALL {
        let set =
            Set { tier, error: PositionError::GaussMarkov, simulator: Simulator::First, cadence: false };
        let settings = set.settings();
        let edges: Vec<Vec<Edge>> = (0..sessions)
            .into_par_iter()
            .map(|index| edges_of(&SyntheticSession::draw(set.seed(index), &settings), &settings))
            .collect();
        let share = |edge: &Edge| datable_share(EDGE_LIMIT_S, edge.resolution_s);
        let all: Vec<&Edge> = edges.iter().flatten().collect();
        let of_all = |value: &dyn Fn(&Edge) -> f64| all.iter().map(|edge| value(edge)).collect::<Vec<f64>>();
        let mean = |values: Vec<f64>| values.iter().sum::<f64>() / values.len().max(1) as f64;
        let products = edges.iter().map(|edges| edges.iter().map(share).product()).collect();
        table += &row([
            set.title(),
            format!("{:.1}", all.len() as f64 / sessions as f64),
            number(quantile(&of_all(&|edge| edge.gap_m_per_s), 0.5), 2),
            number(quantile(&of_all(&|edge| edge.resolution_s), 0.5), 1),
            percent(Some(mean(of_all(&share))), 1),
            percent(Some(mean(products)), 1),
            results.of(set, Method::Boutwise).map_or(String::new(), every_rep_right),
        ]);
    }
    table
}

/// A change between running and walking.
struct Edge {
    gap_m_per_s: f64,
    /// Noise of displacement over the squared difference of the true speeds.
    resolution_s: f64,
}

/// The edges of a session with the speeds that were really gone on either side.
fn edges_of(session: &SyntheticSession, settings: &SessionSettings) -> Vec<Edge> {
    let times_ns = session.recording.points.time_ns();
    let metres_at = |second: f64| {
        let at_ns = times_ns[0] + (second * 1e9) as i64;
        session.odometer_m[times_ns.partition_point(|&time_ns| time_ns < at_ns).min(times_ns.len() - 1)]
    };
    let speed = |bout: &TrueBout| (metres_at(bout.end_s) - metres_at(bout.start_s)) / bout.duration_s();
    let moving = |pair: &&[TrueBout]| {
        pair[0].kind != pair[1].kind
            && pair
                .iter()
                .all(|bout| [Kind::Run, Kind::Walk].contains(&bout.kind) && bout.duration_s() >= 10.0)
    };
    let edge = |pair: &[TrueBout]| {
        let (before, after) = (speed(&pair[0]), speed(&pair[1]));
        let gap_m_per_s = (after - before).abs().max(LEAST_GAP_M_PER_S);
        // Increments of a first-order error are independent, 2σ²/τ a second; the wander of pace adds its own.
        let error = 2.0 * settings.position.sigma_m.powi(2) / settings.position.tau_s;
        let wander_m_per_s = settings.pace.within_spread * 0.5 * (before + after);
        let wander = 2.0 * wander_m_per_s.powi(2) * settings.pace.within_time_s;
        Edge { gap_m_per_s, resolution_s: (error + wander) / gap_m_per_s.powi(2) }
    };
    session.truth.windows(2).filter(moving).map(edge).collect()
}

/// Closer speeds than this count as this far apart, in metres per second.
const LEAST_GAP_M_PER_S: f64 = 0.05;

/// What each tier is made of.
pub(crate) fn tiers() -> String {
    let mut table = head(&["", "easy", "medium", "hard"]);
    let settings = Tier::ALL.map(boutwise_truth::SessionSettings::of);
    let mut line = |title: &str, show: &dyn Fn(&boutwise_truth::SessionSettings) -> String| {
        let cells = settings.iter().map(show);
        let _ = write!(table, "{}", row(std::iter::once(title.to_owned()).chain(cells)));
    };
    let range =
        |(low, high): (f64, f64)| if low == high { format!("{low}") } else { format!("{low}–{high}") };
    line("running, m/s", &|s| range(s.person.run_speed_m_per_s));
    line("walking, m/s", &|s| range(s.person.walk_speed_m_per_s));
    line("position error σ, m", &|s| s.position.sigma_m.to_string());
    line("its correlation time τ, s", &|s| s.position.tau_s.to_string());
    line("white jitter (G–M only), m", &|s| range(s.position.jitter_m));
    line("sessions with jumps of 10–40 m", &|s| percent(Some(s.position.jump_share), 0));
    line("files at irregular 1–5 s", &|s| percent(Some(s.sampling.irregular_share), 0));
    line("decimals of a degree", &|s| {
        let (low, high) = s.sampling.coordinate_decimals;
        range((low as f64, high as f64))
    });
    line("sessions with stops of 10–30 s", &|s| percent(Some(s.interruptions.stop_share), 0));
    line("sessions with pauses of 30–90 s", &|s| percent(Some(s.interruptions.pause_share), 0));
    line("sessions as planned", &|s| percent(Some(s.as_planned_share), 0));
    table
}

/// The kinds of position error in words that stand beside the tables.
pub(crate) fn seeds(sessions: u64) -> String {
    let simulators = [PositionError::GaussMarkov, PositionError::Smooth].len();
    format!(
        "{sessions} sessions a tier; each recorded with {simulators} kinds of position error, by 2 simulators, with and \
         without cadence. Seeds {} + 100 000 · tier + n; seeds below 1 000 000 are for tuning.\n",
        first_seed()
    )
}

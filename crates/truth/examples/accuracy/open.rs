//! Open recordings with a reference, where they are at hand.

use std::error::Error;
use std::ops::RangeInclusive;
use std::path::Path;

use boutwise_bouts::{Bout, Kind};
use boutwise_track::{Point, Recording};
use boutwise_truth::TrueBout;
use boutwise_truth::evaluation::agreement::overlap_s;
use boutwise_truth::evaluation::{Calibration, FoundBout, SessionScore, Summary};
use boutwise_truth::open::{self, OpenRecording};
use boutwise_truth::peers::{SpeedCut, hysteresis};

use crate::methods::boutwise;
use crate::tables::{head, number, percent, row};

/// Fixed cuts that the best one is sought among, in m/s; half of the hysteresis to each side.
const CUTS_M_PER_S: RangeInclusive<u32> = 30..=50;
/// Spacing of the cuts in m/s.
const CUT_STEP_M_PER_S: f64 = 0.05;
/// Half of the hysteresis in m/s.
const HALF_HYSTERESIS_M_PER_S: f64 = 0.15;
/// A break is invented that lies this deep in a true run, in seconds, …
const BREAK_MARGIN_S: f64 = 5.0;
/// … and lasts as long as this.
const BREAK_S: f64 = 10.0;
/// Shorter bouts are not asked for their kind.
const JUDGED_S: f64 = 12.0;
/// A bout is right with this share of its seconds, and wrong with the rest of it; what lies between is mixed.
const RIGHT_SHARE: f64 = 0.7;
/// Confidence that is called sure.
const SURE: f64 = 0.95;

/// What a segmentation may use.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Given {
    Everything,
    /// Cadence and recorded speed taken away.
    PositionsAlone,
}

/// A found walk or run that was the other kind.
struct Wrong {
    bout: Bout,
    /// Metres up per metre on the way, where heights were recorded.
    slope: Option<f64>,
}

/// How one recording came out.
struct Outcome {
    name: &'static str,
    given: Given,
    score: SessionScore,
    count_right: bool,
    /// Seconds of each break inside a true run.
    invented_s: Vec<f64>,
    wrong: Vec<Wrong>,
    /// Kind, confidence and rightness of each bout that is not mixed.
    judged: Vec<(Kind, f64, bool)>,
}

/// How all recordings at hand came out, first with everything, then by positions alone.
pub(crate) struct Outcomes(Vec<Outcome>);

impl Outcomes {
    /// Segments the recordings that lie in a folder.
    pub(crate) fn of(folder: &Path) -> Result<Self, Box<dyn Error>> {
        let mut outcomes = Vec::new();
        let recordings = open::read(folder)?;
        for given in [Given::Everything, Given::PositionsAlone] {
            outcomes.extend(recordings.iter().map(|open| match given {
                Given::Everything => outcome(open, given, &open.recording),
                Given::PositionsAlone => outcome(open, given, &open.positions_alone()),
            }));
        }
        Ok(Self(outcomes))
    }

    fn given(&self, given: Given) -> impl Iterator<Item = &Outcome> {
        self.0.iter().filter(move |outcome| outcome.given == given)
    }

    /// Each recording, everything beside positions alone.
    pub(crate) fn table(&self) -> String {
        let mut table = head(&[
            "recording",
            "given",
            "runs found / in the reference",
            "count right",
            "answered",
            "confidence",
            "F1",
            "seconds",
            "edge median / p90 s",
            "longest run, error s",
            "invented breaks",
        ]);
        for outcome in &self.0 {
            let Outcome { score, .. } = outcome;
            let summary = Summary::of([score]);
            table += &row([
                outcome.name.trim_end_matches(".gz").to_owned(),
                match outcome.given {
                    Given::Everything => "everything".to_owned(),
                    Given::PositionsAlone => "positions alone".to_owned(),
                },
                format!("{} / {}", score.found_runs, score.true_runs),
                yes_no(outcome.count_right),
                yes_no(score.resolvable),
                number(score.confidence, 3),
                number(summary.f1, 3),
                percent(summary.seconds_right, 2),
                format!("{} / {}", number(summary.edge_median_s, 1), number(summary.edge_p90_s, 1)),
                number(Some(score.longest_run_error_s), 0),
                outcome.invented_s.len().to_string(),
            ]);
        }
        table
    }

    /// The figures over all recordings.
    pub(crate) fn figures(&self) -> String {
        let mut table = head(&["", "everything", "positions alone"]);
        let columns = [Given::Everything, Given::PositionsAlone];
        let mut line = |title: &str, figure: &dyn Fn(&[&Outcome]) -> String| {
            let cells = columns.map(|given| figure(&self.given(given).collect::<Vec<_>>()));
            table += &row(std::iter::once(title.to_owned()).chain(cells));
        };
        let of = |hits: usize, all: usize| format!("{hits} of {all}");
        let answered = |outcomes: &[&Outcome], hit: &dyn Fn(&Outcome) -> bool| {
            let answered = || outcomes.iter().filter(|outcome| outcome.score.resolvable);
            of(answered().filter(|outcome| hit(outcome)).count(), answered().count())
        };
        line("answered", &|all| of(all.iter().filter(|o| o.score.resolvable).count(), all.len()));
        line("wrong count among the answered", &|all| answered(all, &|outcome| !outcome.count_right));
        line("invented break of 10 s among the answered", &|all| {
            answered(all, &|outcome| !outcome.invented_s.is_empty())
        });
        line("right count, answered or not", &|all| {
            of(all.iter().filter(|outcome| outcome.count_right).count(), all.len())
        });
        line("F1 ≥ .95 and seconds ≥ 97 %", &|all| {
            let good = |outcome: &&&Outcome| {
                let summary = Summary::of([&outcome.score]);
                summary.f1 >= Some(0.95) && summary.seconds_right >= Some(0.97)
            };
            of(all.iter().filter(good).count(), all.len())
        });
        for (kind, word) in [(Kind::Walk, "walks"), (Kind::Run, "runs")] {
            line(&format!("{word} of confidence ≥ {SURE}: right"), &|all| {
                let sure = || {
                    let judged = all.iter().flat_map(|outcome| &outcome.judged);
                    judged.filter(|judged| judged.0 == kind && judged.1 >= SURE)
                };
                of(sure().filter(|judged| judged.2).count(), sure().count())
            });
        }
        line("Brier score of walks and runs", &|all| {
            let judged = all.iter().flat_map(|outcome| &outcome.judged);
            let pairs: Vec<(f64, bool)> = judged.map(|judged| (judged.1, judged.2)).collect();
            number(Calibration::of(&pairs).map(|calibration| calibration.brier), 4)
        });
        table
    }

    /// The bouts by positions alone that were something else.
    pub(crate) fn wrong(&self) -> String {
        let mut table =
            head(&["recording", "found", "from s", "duration s", "speed, m/s", "slope, %", "confidence"]);
        for outcome in self.given(Given::PositionsAlone) {
            for Wrong { bout, slope } in &outcome.wrong {
                table += &row([
                    outcome.name.trim_end_matches(".gz").to_owned(),
                    bout.kind.word().to_owned(),
                    number(Some(bout.start_s), 0),
                    number(Some(bout.duration_s()), 0),
                    number(bout.distance_m.map(|distance_m| distance_m / bout.duration_s()), 2),
                    percent(*slope, 0),
                    number(Some(bout.confidence), 3),
                ]);
            }
        }
        table
    }

    /// The older recordings against the fixed cut that suits each best.
    pub(crate) fn against_cut(folder: &Path) -> Result<String, Box<dyn Error>> {
        let mut table = head(&["recording", "its best fixed cut, m/s", "F1", "seconds", "kappa"]);
        for open in open::read(folder)? {
            let (cut, score) = best_fixed_cut(&open.recording, &open.truth);
            let summary = Summary::of([&score]);
            table += &row([
                open.name.trim_end_matches(".gz").to_owned(),
                number(Some(cut), 2),
                number(summary.f1, 3),
                percent(summary.seconds_right, 2),
                number(summary.kappa, 3),
            ]);
        }
        Ok(table)
    }
}

fn yes_no(yes: bool) -> String {
    if yes { "yes" } else { "no" }.to_owned()
}

fn outcome(open: &OpenRecording, given: Given, recording: &Recording) -> Outcome {
    let truth = &open.truth;
    let found = boutwise(recording);
    let seconds_of = |kind: Kind, bout: &Bout| -> f64 {
        let alike = truth.iter().filter(|other| (other.kind == Kind::Run) == (kind == Kind::Run));
        let told = alike.filter(|other| other.kind != Kind::Gap);
        told.map(|other| overlap_s((other.start_s, other.end_s), (bout.start_s, bout.end_s))).sum()
    };
    let (mut judged, mut wrong) = (Vec::new(), Vec::new());
    for bout in found.bouts.iter().filter(|bout| matches!(bout.kind, Kind::Run | Kind::Walk)) {
        let other = if bout.kind == Kind::Run { Kind::Walk } else { Kind::Run };
        let (right_s, wrong_s) = (seconds_of(bout.kind, bout), seconds_of(other, bout));
        let share = right_s / (right_s + wrong_s);
        if bout.duration_s() >= JUDGED_S && (share >= RIGHT_SHARE || share <= 1.0 - RIGHT_SHARE) {
            judged.push((bout.kind, bout.confidence, share >= RIGHT_SHARE));
        }
        if share <= 1.0 - RIGHT_SHARE {
            wrong.push(Wrong { slope: slope(recording, bout), bout: bout.clone() });
        }
    }
    let score = SessionScore::of_segmentation(truth, true, &found);
    Outcome {
        name: open.name,
        given,
        count_right: open.runs.contains(&score.found_runs),
        score,
        invented_s: invented_breaks_s(truth, &found.bouts),
        wrong,
        judged,
    }
}

/// Seconds of what is not running, deep inside true runs.
fn invented_breaks_s(truth: &[TrueBout], found: &[Bout]) -> Vec<f64> {
    let mut breaks: Vec<(f64, f64)> = Vec::new();
    for bout in found.iter().filter(|bout| bout.kind != Kind::Run) {
        match breaks.last_mut() {
            Some(last) if last.1 == bout.start_s => last.1 = bout.end_s,
            _ => breaks.push((bout.start_s, bout.end_s)),
        }
    }
    let mut invented_s = Vec::new();
    for run in truth.iter().filter(|bout| bout.kind == Kind::Run) {
        let deep = (run.start_s + BREAK_MARGIN_S, run.end_s - BREAK_MARGIN_S);
        let inside = breaks.iter().map(|&pause| overlap_s(deep, pause));
        invented_s.extend(inside.filter(|&seconds| seconds >= BREAK_S));
    }
    invented_s
}

/// Metres up per metre along a bout.
fn slope(recording: &Recording, bout: &Bout) -> Option<f64> {
    let start_ns = recording.points.time_ns().first()?;
    let seconds = |point: &Point| point.time_ns.map(|time_ns| (time_ns - start_ns) as f64 * 1e-9);
    let inside =
        |point: &Point| seconds(point).is_some_and(|at_s| (bout.start_s..bout.end_s).contains(&at_s));
    let heights: Vec<f64> = recording.points.iter().filter(inside).filter_map(|p| p.elevation_m).collect();
    Some((heights.last()? - heights.first()?) / bout.distance_m.filter(|&distance_m| distance_m > 0.0)?)
}

/// The cut that agrees with the reference on most seconds, and how it does.
fn best_fixed_cut(recording: &Recording, truth: &[TrueBout]) -> (f64, SessionScore) {
    let at = |step: u32| {
        let middle = f64::from(step) * CUT_STEP_M_PER_S;
        let cut = SpeedCut {
            enter_m_per_s: middle + HALF_HYSTERESIS_M_PER_S,
            leave_m_per_s: middle - HALF_HYSTERESIS_M_PER_S,
            window_s: 10,
        };
        let found: Vec<FoundBout> = hysteresis(recording, cut);
        (middle, SessionScore::of(truth, true, &found))
    };
    let agreement = |score: &SessionScore| score.seconds[0][0] + score.seconds[1][1];
    let first = at(*CUTS_M_PER_S.start());
    CUTS_M_PER_S
        .skip(1)
        .map(at)
        .fold(first, |best, next| if agreement(&next.1) > agreement(&best.1) { next } else { best })
}

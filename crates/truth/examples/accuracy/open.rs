//! Open recordings with a reference, where they are at hand.

use std::error::Error;
use std::io::Read;
use std::path::{Path, PathBuf};

use boutwise_bouts::Kind;
use boutwise_track::{Point, ReadSettings, Recording, read_text};
use boutwise_truth::TrueBout;
use boutwise_truth::evaluation::{FoundBout, SessionScore, Summary};
use boutwise_truth::peers::{SpeedCut, hysteresis};
use flate2::read::GzDecoder;

use crate::methods::boutwise;
use crate::tables::{head, number, percent, row};

/// Recordings and the references that belong to them.
const RECORDINGS: [(&str, &str); 4] = [
    ("runwalk-3-1.gpx.gz", "runwalk-3-1.bouts.csv"),
    ("runwalk-3-1.tcx.gz", "runwalk-3-1.bouts.csv"),
    ("slow-jog.gpx.gz", "slow-jog.bouts.csv"),
    ("steady-slow-10k.gpx.gz", "steady-slow-10k.bouts.csv"),
];
/// Fixed cuts that the best one is sought among, in m/s; half of the hysteresis to each side.
const CUTS_M_PER_S: std::ops::RangeInclusive<u32> = 30..=50;
/// Spacing of the cuts in m/s.
const CUT_STEP_M_PER_S: f64 = 0.05;
/// Half of the hysteresis in m/s.
const HALF_HYSTERESIS_M_PER_S: f64 = 0.15;

/// Where the recordings lie: `BOUTWISE_OPEN_DATA`, else `../shared/data` beside the checkout.
pub(crate) fn folder() -> Option<PathBuf> {
    let beside = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../../shared/data");
    let folder = std::env::var_os("BOUTWISE_OPEN_DATA").map_or(beside, PathBuf::from);
    folder.join(RECORDINGS[0].0).exists().then_some(folder)
}

/// The table of the open recordings.
pub(crate) fn table(folder: &Path) -> Result<String, Box<dyn Error>> {
    let mut table = head(&[
        "recording",
        "method",
        "runs found / in the reference",
        "F1",
        "seconds",
        "kappa",
        "edge median / p90 s",
        "longest run, error s",
        "resolvable",
    ]);
    for (name, reference) in RECORDINGS {
        let recording = recording(&folder.join(name))?;
        let truth = reference_bouts(&folder.join(reference))?;
        let bare = without_cadence(&recording);
        let scored =
            |recording: &Recording| SessionScore::of_segmentation(&truth, true, &boutwise(recording, None));
        table += &line(name, "**Boutwise**, cadence", &scored(&recording), true);
        table += &line(name, "**Boutwise**, positions alone", &scored(&bare), true);
        let (cut, best) = best_fixed_cut(&recording, &truth);
        table += &line(name, &format!("its best fixed cut, {cut:.2} m/s"), &best, false);
    }
    Ok(table)
}

fn line(name: &str, method: &str, score: &SessionScore, judges: bool) -> String {
    let summary = Summary::of([score]);
    row([
        name.to_owned(),
        method.to_owned(),
        format!("{} / {}", score.found_runs, score.true_runs),
        number(summary.f1, 3),
        percent(summary.seconds_right, 2),
        number(summary.kappa, 3),
        format!("{} / {}", number(summary.edge_median_s, 1), number(summary.edge_p90_s, 1)),
        number(Some(score.longest_run_error_s), 1),
        if judges { score.resolvable.to_string() } else { String::new() },
    ])
}

fn recording(path: &Path) -> Result<Recording, Box<dyn Error>> {
    let mut text = Vec::new();
    GzDecoder::new(std::fs::File::open(path)?).read_to_end(&mut text)?;
    let reading = read_text(&text, &ReadSettings::default())?;
    reading.recordings.into_iter().next().ok_or_else(|| format!("{}: no recording", path.display()).into())
}

fn reference_bouts(path: &Path) -> Result<Vec<TrueBout>, Box<dyn Error>> {
    let mut bouts = Vec::new();
    for record in csv::Reader::from_path(path)?.records() {
        let record = record?;
        let kind = match &record[0] {
            "run" => Kind::Run,
            "walk" => Kind::Walk,
            "gap" => Kind::Gap,
            other => return Err(format!("{}: unexpected kind {other:?}", path.display()).into()),
        };
        bouts.push(TrueBout { kind, start_s: record[1].parse()?, end_s: record[2].parse()? });
    }
    Ok(bouts)
}

fn without_cadence(recording: &Recording) -> Recording {
    let points = recording.points.iter().map(|point| Point { cadence_spm: None, ..point }).collect();
    Recording { points, ..recording.clone() }
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

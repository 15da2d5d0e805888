//! `boutwise longest`: the longest runs without a break, ranked, with their trend.

use std::fmt::Write;

use anyhow::Result;
use boutwise_audit::{AthleteJudgement, Inputs, SeasonFiles, SeasonPaths, audit};
use boutwise_report::{Unit, distance_text, duration_text};
use comfy_table::CellAlignment;
use serde_json::json;

use crate::Outcome;
use crate::args::{Common, Longest as Options};
use crate::terminal;

/// What stands beside every word on how near a distance is.
const NOT_LOOKED_AT: &str = "Journal and plan were not looked at: a sign or pain comes first, and where sessions were laid on a \
                             plan they must have been good. `boutwise audit` looks at both.";

/// Sessions that the small picture of the growth shows.
const HEIGHTS_MOST: usize = 60;

pub(crate) fn run(options: &Options, common: &Common) -> Result<Outcome> {
    let recordings = &options.recordings;
    let mut configuration = recordings.configuration(common, options.pseudonyms.as_deref())?;
    configuration.with_pages = false;
    let files = SeasonFiles::read(
        &SeasonPaths { squad: recordings.squad.clone(), ..SeasonPaths::default() },
        &configuration.settings,
    )?;
    let inputs = Inputs::below(&recordings.folder)?;
    let found = terminal::watched(common, |watch| audit(&inputs, &files, &configuration, watch))?;
    let athletes = &found.athletes;
    let text = if common.json { as_json(athletes, options.most)? } else { as_text(athletes, options.most) };
    terminal::print(&text)?;
    for said in &found.overview.warnings {
        terminal::message(common, &terminal::wrapped(said));
    }
    for fault in found.overview.faults() {
        terminal::message(common, &fault);
    }
    if found.overview.sessions == 0 {
        let folder = configuration.told(&recordings.folder, "the folder of recordings").display();
        terminal::message(
            common,
            &format!("No recording was found in {folder}: put .gpx or .tcx files there."),
        );
    }
    Ok(Outcome::of(found.overview.is_clean()))
}

fn as_text(athletes: &[AthleteJudgement], most: usize) -> String {
    let mut text = String::new();
    for judged in athletes {
        let (progress, runs) = (&judged.audit.progress, &judged.longest_runs);
        let _ = writeln!(text, "{}", judged.athlete);
        if runs.is_empty() {
            let _ = writeln!(text, "no run was found that can be told apart from walking\n");
            continue;
        }
        let mut table = terminal::table(&["", "run", "distance", "day", "recording"]);
        for column in 0..3 {
            if let Some(column) = table.column_mut(column) {
                column.set_cell_alignment(CellAlignment::Right);
            }
        }
        for (place, run) in runs.iter().take(most).enumerate() {
            table.add_row([
                (place + 1).to_string(),
                duration_text(run.duration_s),
                run.distance_m.map_or_else(String::new, distance_text),
                run.day.to_string(),
                run.file.clone(),
            ]);
        }
        let _ = writeln!(text, "{}", terminal::trimmed(&table));
        let _ = writeln!(text, "in order of time {}", heights(&judged.longest_runs_in_time_s()));
        let _ = match (progress.trend_s_per_week, progress.trend_interval_s_per_week) {
            (Some(trend), Some((low, high))) => writeln!(
                text,
                "trend {} a week over {} (95 % interval {} to {})",
                terminal::signed_seconds(trend),
                terminal::counted(progress.trend_sessions, "session"),
                terminal::signed_seconds(low),
                terminal::signed_seconds(high),
            ),
            (Some(trend), None) => writeln!(
                text,
                "trend {} a week over {}",
                terminal::signed_seconds(trend),
                terminal::counted(progress.trend_sessions, "session")
            ),
            (None, _) => writeln!(text, "too few sessions lately for a trend"),
        };
        let how_far = judged.how_far();
        for sentence in &how_far {
            let _ = writeln!(text, "{}", terminal::wrapped(sentence));
        }
        if !how_far.is_empty() {
            let _ = writeln!(text, "{}", terminal::wrapped(NOT_LOOKED_AT));
        }
        text.push('\n');
    }
    text
}

/// Values as characters of eight heights, from nothing to the largest; the newest where they are too many.
fn heights(values: &[f64]) -> String {
    const HEIGHTS: [char; 8] = ['▁', '▂', '▃', '▄', '▅', '▆', '▇', '█'];
    let newest = &values[values.len().saturating_sub(HEIGHTS_MOST)..];
    let largest = newest.iter().copied().fold(f64::MIN_POSITIVE, f64::max);
    let height = |value: &f64| HEIGHTS[((value / largest * 8.0).ceil() as usize).clamp(1, 8) - 1];
    newest.iter().map(height).collect()
}

fn as_json(athletes: &[AthleteJudgement], most: usize) -> Result<String> {
    let (seconds, metres) = (|value| Unit::Seconds.rounded(value), |value| Unit::Metres.rounded(value));
    let a_week = |value| Unit::SecondsPerWeek.rounded(value);
    let athletes: Vec<serde_json::Value> = athletes
        .iter()
        .map(|judged| {
            let (progress, runs) = (&judged.audit.progress, &judged.longest_runs);
            let runs: Vec<serde_json::Value> = runs
                .iter()
                .take(most)
                .map(|run| {
                    json!({
                        "longest_run_s": seconds(run.duration_s),
                        "longest_run_m": run.distance_m.map(metres),
                        "longest_run_start_s": run.start_s.map(seconds),
                        "date": run.day.to_string(),
                        "file": run.file,
                        "session": run.session,
                    })
                })
                .collect();
            let interval = progress.trend_interval_s_per_week.map(|(low, high)| [low, high].map(a_week));
            json!({
                "athlete": judged.athlete,
                "longest_run_trend_s_per_week": progress.trend_s_per_week.map(a_week),
                "trend_interval_s_per_week": interval,
                "trend_sessions": progress.trend_sessions,
                "runs": runs,
            })
        })
        .collect();
    Ok(serde_json::to_string_pretty(&athletes)? + "\n")
}

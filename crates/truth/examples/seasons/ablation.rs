//! What each point of the calendar brings.

use std::fmt::Write;

use boutwise_season::{CalendarScore, Settings};
use rayon::prelude::*;

use crate::outcome::{Season, Told, places};
use crate::tables::{changes, share};

/// Seasons that can be laid again and again.
pub(crate) struct Trial<'a> {
    seasons: &'a [Season],
    recordings: usize,
}

impl<'a> Trial<'a> {
    pub(crate) fn of(seasons: &'a [Season]) -> Self {
        Self { seasons, recordings: seasons.iter().map(|season| season.outings.len()).sum() }
    }

    /// Recordings laid right, and those with them whose facts fit both stories.
    pub(crate) fn count(&self, score: &CalendarScore) -> (usize, usize) {
        let each = self.seasons.par_iter().map(|season| {
            let places = places(&season.whole_audit(score));
            season.told_all(&places).into_iter().fold((0, 0), |(right, fits), told| match told {
                Told::Right => (right + 1, fits + 1),
                Told::Indistinguishable => (right, fits + 1),
                Told::Wrong => (right, fits),
            })
        });
        each.reduce(|| (0, 0), |a, b| (a.0 + b.0, a.1 + b.1))
    }

    fn shares(&self, (right, fits): (usize, usize)) -> String {
        format!("{} / {}", share(right, self.recordings), share(fits, self.recordings))
    }
}

/// Odds from which the past is rewritten that are tried.
const REWRITE_ODDS: [f64; 4] = [5.0, 20.0, 100.0, 500.0];

/// What rewriting the past sooner or later brings, and how often it is done, for the usual and the harsh squad.
pub(crate) fn rewriting(squads: [&[Season]; 2]) -> String {
    let mut text = "| `rewrite_odds` | usual: laid right / or indistinguishable | changes | harsh: laid right / or indistinguishable | changes |\n\
                    |---:|---:|---:|---:|---:|\n"
        .to_owned();
    for rewrite_odds in REWRITE_ODDS {
        let score = CalendarScore { rewrite_odds, ..CalendarScore::default() };
        let _ = writeln!(text, "| {rewrite_odds} | {} |", row(squads, &score));
    }
    text
}

/// Recordings laid right and changes of the usual and the harsh squad.
pub(crate) fn row(squads: [&[Season]; 2], score: &CalendarScore) -> String {
    let cells = squads.map(|seasons| {
        let trial = Trial::of(seasons);
        format!("{} | {}", trial.shares(trial.count(score)), changes(seasons, score))
    });
    cells.join(" | ")
}

/// A row for each number, half and double.
pub(crate) fn table(seasons: &[Season]) -> String {
    let trial = Trial::of(seasons);
    let all = trial.shares(trial.count(&CalendarScore::default()));
    let mut text =
        format!("| key | value | half | double |\n|---|---:|---:|---:|\n| all as they are | {all} | | |\n");
    for setting in CalendarScore::ALL {
        let with = |value: f64| {
            let value = value.clamp(setting.lowest, setting.highest);
            let value = if ["days", "recordings"].contains(&setting.unit) { value.round() } else { value };
            let settings = Settings::parse(&format!("[calendar]\n{} = {value}\n", setting.name), "ablation");
            settings.map_or("–".to_owned(), |settings| trial.shares(trial.count(&settings.calendar)))
        };
        let _ = writeln!(
            text,
            "| `{}` | {} | {} | {} |",
            setting.name,
            setting.value,
            with(0.5 * setting.value),
            with(2.0 * setting.value)
        );
    }
    text
}

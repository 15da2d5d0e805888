//! What each point of the calendar brings.

use std::fmt::Write;

use boutwise_bouts::{AdherenceSettings, match_session};
use boutwise_season::{CalendarScore, Likeness, Settings, lay};
use chrono::NaiveDate;
use rayon::prelude::*;

use crate::outcome::{Place, Season, Told, key};
use crate::tables::share;

/// The recordings of one plan, matched with its blocks once for all scores.
struct Matched {
    part: usize,
    recordings: Vec<usize>,
    days: Vec<NaiveDate>,
    likenesses: Vec<Vec<Likeness>>,
}

impl Matched {
    fn of(season: &Season) -> Vec<Self> {
        let settings = AdherenceSettings::default();
        let audit = season.whole_audit(&CalendarScore::default());
        let parts = season.made.parts.iter().enumerate();
        let matched = parts.map(|(part, of_part)| {
            let recordings: Vec<usize> =
                (0..season.outings.len()).filter(|at| audit.outings[*at].plan == Some(part)).collect();
            let outing = |at: &usize| &season.outings[*at].outing;
            let likenesses = recordings.iter().map(outing).map(|outing| {
                let blocks = of_part.plan.blocks.iter();
                let likeness = blocks.map(|block| {
                    let matched = match_session(&block.session.intervals, &outing.bouts, &settings);
                    let comparable = matched.as_ref().filter(|_| outing.resolvable);
                    Likeness::of(outing, block.session.has_runs(), comparable)
                });
                likeness.collect()
            });
            let likenesses = likenesses.collect();
            let days = recordings.iter().map(|at| outing(at).day()).collect();
            Self { part, recordings, days, likenesses }
        });
        matched.collect()
    }

    fn lay(&self, season: &Season, score: &CalendarScore) -> Vec<(usize, Option<Place>)> {
        let part = &season.made.parts[self.part];
        let laying = lay(&part.plan, part.start, &self.days, score, |at, block| self.likenesses[at][block]);
        let laid = laying.recordings.iter().map(|laid| laid.as_ref().map(|laid| (self.part, key(laid))));
        self.recordings.iter().copied().zip(laid).collect()
    }
}

/// Seasons that can be laid again and again.
pub(crate) struct Trial<'a> {
    seasons: Vec<(&'a Season, Vec<Matched>)>,
    recordings: usize,
}

impl<'a> Trial<'a> {
    pub(crate) fn of(seasons: &'a [Season]) -> Self {
        let recordings = seasons.iter().map(|season| season.outings.len()).sum();
        let seasons = seasons.par_iter().map(|season| (season, Matched::of(season))).collect();
        Self { seasons, recordings }
    }

    /// Recordings laid right, and those with them whose facts fit both stories.
    pub(crate) fn count(&self, score: &CalendarScore) -> (usize, usize) {
        let each = self.seasons.par_iter().map(|(season, matched)| {
            let laid = matched.iter().flat_map(|matched| matched.lay(season, score));
            laid.fold((0, 0), |(right, fits), (at, place)| match season.told(at, place) {
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

/// A row for each number, left out (0) and a quarter smaller or larger.
pub(crate) fn table(seasons: &[Season]) -> String {
    let trial = Trial::of(seasons);
    let all = trial.shares(trial.count(&CalendarScore::default()));
    let mut text = format!(
        "| key | value | left out | −25 % | +25 % |\n|---|---:|---:|---:|---:|\n| all as they are | | {all} | | |\n"
    );
    for setting in CalendarScore::ALL {
        let with = |value: f64| {
            let value = value.clamp(setting.lowest, setting.highest);
            let value = if setting.unit == "days" { value.round() } else { value };
            let settings = Settings::parse(&format!("[calendar]\n{} = {value}\n", setting.name), "ablation");
            settings.map_or("–".to_owned(), |settings| trial.shares(trial.count(&settings.calendar)))
        };
        let _ = writeln!(
            text,
            "| `{}` | {} | {} | {} | {} |",
            setting.name,
            setting.value,
            with(0.0),
            with(0.75 * setting.value),
            with(1.25 * setting.value)
        );
    }
    text
}

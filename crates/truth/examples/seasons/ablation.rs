//! What each point of the calendar brings.

use std::fmt::Write;

use boutwise_season::{CalendarScore, Settings};
use rayon::prelude::*;

use crate::outcome::{Counts, Season};
use crate::tables::share;

/// The counts of all seasons with some score.
pub(crate) fn counts(seasons: &[Season], score: &CalendarScore) -> Counts {
    let each: Vec<Counts> =
        seasons.par_iter().map(|season| season.counts(&season.whole_audit(score))).collect();
    let mut all = Counts::default();
    each.iter().for_each(|counts| all.add(counts));
    all
}

/// A row for each number, left out (0) and a quarter smaller or larger.
pub(crate) fn table(seasons: &[Season]) -> String {
    let all = counts(seasons, &CalendarScore::default());
    let mut text = format!(
        "| key | value | left out | −25 % | +25 % |\n|---|---:|---:|---:|---:|\n| all as they are | | {} | | |\n",
        share(all.right, all.recordings)
    );
    for setting in CalendarScore::ALL {
        let with = |value: f64| {
            let value = value.clamp(setting.lowest, setting.highest);
            let value = if setting.unit == "days" { value.round() } else { value };
            let settings = Settings::parse(&format!("[calendar]\n{} = {value}\n", setting.name), "ablation");
            settings.map_or("–".to_owned(), |settings| {
                let counts = counts(seasons, &settings.calendar);
                share(counts.right, counts.recordings)
            })
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

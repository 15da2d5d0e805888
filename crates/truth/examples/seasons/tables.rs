//! The tables of `docs/season.md`.

use std::collections::BTreeMap;
use std::fmt::Write;

use boutwise_season::{AthleteAudit, CalendarScore, Outing};
use rayon::prelude::*;

use crate::TUNING_SEEDS;
use crate::outcome::{Counts, Place, Season, Told, places};

/// A share in percent.
pub(crate) fn share(part: usize, of: usize) -> String {
    if of == 0 { "–".to_owned() } else { format!("{:.2} %", 100.0 * part as f64 / of as f64) }
}

pub(crate) fn seeds(seasons: &[Season], first_seed: u64) -> String {
    let recordings: usize = seasons.iter().map(|season| season.outings.len()).sum();
    format!(
        "{} athletes, {recordings} recordings. Seeds {first_seed} + n; points were chosen on seeds {TUNING_SEEDS} + n.",
        seasons.len()
    )
}

/// Groups of seasons that are told apart in the table.
fn groups(season: &Season) -> Vec<&'static str> {
    let part = &season.made.parts[0];
    let days = match (part.is_dated(), part.start.is_some()) {
        (false, _) => "plan without days",
        (true, true) => "plan with days, start known",
        (true, false) => "plan with days, start unknown",
    };
    let mut groups = vec!["all", days];
    if season.made.parts.len() > 1 {
        groups.push("plan switched");
    }
    groups
}

pub(crate) fn laid(seasons: &[Season], score: &CalendarScore) -> String {
    let counted: Vec<Counts> =
        seasons.par_iter().map(|season| season.counts(&season.whole_audit(score))).collect();
    let told: Vec<Counts> = seasons.par_iter().map(|season| season.counts(&season.told_audit())).collect();
    let mut sums: BTreeMap<&str, Counts> = BTreeMap::new();
    for (season, counts) in seasons.iter().zip(&counted) {
        for group in groups(season) {
            sums.entry(group).or_default().add(counts);
        }
    }
    for counts in &told {
        sums.entry("all, told the true bouts and rates").or_default().add(counts);
    }
    let mut text = "|  | athletes | recordings | laid right | right or indistinguishable | missed named | named or a like one | named, a like one or indistinguishable | named truly | out of order | due and attended exact | by hand stands |\n\
                    |---|---:|---:|---:|---:|---:|---:|---:|---:|---:|---:|---:|\n"
        .to_owned();
    for (group, sum) in sums {
        let _ = writeln!(
            text,
            "| {group} | {} | {} | {} | {} | {} | {} | {} | {} | {} | {} | {} |",
            sum.seasons,
            sum.recordings,
            share(sum.right, sum.recordings),
            share(sum.right + sum.indistinguishable, sum.recordings),
            share(sum.named_truly, sum.missed),
            share(sum.named_truly + sum.named_beside, sum.missed),
            share(sum.named_truly + sum.named_beside + sum.unnamed_by_facts, sum.missed),
            share(sum.named_truly, sum.named),
            sum.out_of_order,
            share(sum.exact, sum.counted),
            share(sum.by_hand_stands, sum.by_hand)
        );
    }
    text
}

/// What the recordings were that lie elsewhere.
pub(crate) fn errors(seasons: &[Season], score: &CalendarScore) -> String {
    let mut counts: BTreeMap<(&str, &str, &str), usize> = BTreeMap::new();
    for season in seasons {
        let audit = season.whole_audit(score);
        let places = places(&audit);
        let told = season.told_all(&places);
        for ((found, place), told) in season.outings.iter().zip(places).zip(told) {
            if told != Told::Wrong {
                continue;
            }
            let elsewhere = match (found.follows, place) {
                (Some(_), None) => "on no session",
                (None, Some(_)) => "on a session",
                (Some(key), Some((_, other))) if key.block == other.block => "in the block",
                _ => "in another block",
            };
            let resolvable = if found.outing.resolvable { found.deviation } else { "can't be told" };
            *counts.entry((found.role.word(), resolvable, elsewhere)).or_default() += 1;
        }
    }
    let mut rows: Vec<_> = counts.into_iter().collect();
    rows.sort_by_key(|(_, count)| std::cmp::Reverse(*count));
    let mut text = "| it was | done | laid | recordings |\n|---|---|---|---:|\n".to_owned();
    for ((role, deviation, elsewhere), count) in rows {
        let _ = writeln!(text, "| {role} | {deviation} | {elsewhere} | {count} |");
    }
    text
}

#[derive(Clone, Copy, Default)]
struct Stability {
    added: usize,
    changed: usize,
    /// Earlier recordings, each counted for every one added after it, and those of them laid elsewhere then.
    earlier: usize,
    moved: usize,
    /// Of the changes: afterwards more recordings lay right than before.
    for_better: usize,
    for_worse: usize,
    of_the_last: usize,
    of_a_row: usize,
    other_order: usize,
}

pub(crate) fn stability(seasons: &[Season], score: &CalendarScore) -> String {
    let sum = stability_sum(seasons, score);
    format!(
        "|  | count | share |\n|---|---:|---:|\n\
         | recordings added | {} | |\n\
         | of these: an earlier one is laid elsewhere then | {} | {} |\n\
         | earlier recordings laid elsewhere, of all earlier ones at each time | {} | {} |\n\
         | changes after which more lie right | {} | {} |\n\
         | changes after which fewer lie right | {} | {} |\n\
         | changes of the last two recordings before alone | {} | {} |\n\
         | changes that move several by as many sessions: a delay is seen or unseen | {} | {} |\n\
         | seasons with another result in another order of files | {} | {} |\n",
        sum.added,
        sum.changed,
        share(sum.changed, sum.added),
        sum.moved,
        share(sum.moved, sum.earlier),
        sum.for_better,
        share(sum.for_better, sum.changed),
        sum.for_worse,
        share(sum.for_worse, sum.changed),
        sum.of_the_last,
        share(sum.of_the_last, sum.changed),
        sum.of_a_row,
        share(sum.of_a_row, sum.changed),
        sum.other_order,
        share(sum.other_order, seasons.len()),
    )
}

/// Share of the added recordings that change where earlier ones lie.
pub(crate) fn changes(seasons: &[Season], score: &CalendarScore) -> String {
    let sum = stability_sum(seasons, score);
    share(sum.changed, sum.added)
}

/// The recordings of a season that changed where earlier ones lie: where each lay, lies now and truly lies.
pub(crate) fn changes_of(season: &Season, score: &CalendarScore) -> String {
    let name = |place: Option<Place>| {
        place.map_or("-".to_owned(), |(part, key)| format!("{part}.{}.{}", key.block, key.number))
    };
    let mut text = String::new();
    let mut before: Vec<Option<Place>> = Vec::new();
    for (at, found) in season.outings.iter().enumerate() {
        let after = places(&season.audit(at + 1, found.outing.day(), score));
        if after[..at] != before[..] {
            let _ = writeln!(
                text,
                "\nseason {} on {}: {} {}",
                season.made.seed,
                found.outing.day(),
                found.role.word(),
                found.deviation
            );
            let all = before.iter().copied().chain([None]).zip(&after).zip(&season.outings);
            for ((before, after), found) in all.skip(at.saturating_sub(9)) {
                let truth = found.follows.map(|key| (found.part, key));
                let mark = if before == *after { "" } else { "  <<<" };
                let _ = writeln!(
                    text,
                    "  {} {:12} true {} was {} is {}{mark}",
                    found.outing.day(),
                    found.role.word(),
                    name(truth),
                    name(before),
                    name(*after)
                );
            }
        }
        before = after;
    }
    text
}

fn stability_sum(seasons: &[Season], score: &CalendarScore) -> Stability {
    let each: Vec<Stability> = seasons.par_iter().map(|season| stability_of(season, score)).collect();
    each.iter().fold(Stability::default(), |a, b| Stability {
        added: a.added + b.added,
        changed: a.changed + b.changed,
        earlier: a.earlier + b.earlier,
        moved: a.moved + b.moved,
        for_better: a.for_better + b.for_better,
        for_worse: a.for_worse + b.for_worse,
        of_the_last: a.of_the_last + b.of_the_last,
        of_a_row: a.of_a_row + b.of_a_row,
        other_order: a.other_order + b.other_order,
    })
}

/// What a new recording changed among the earlier ones.
enum Change {
    /// One or both of the last two.
    OfTheLast,
    /// Several, each by as many sessions.
    OfARow,
    Other,
}

fn change(season: &Season, before: &[Option<Place>], after: &[Option<Place>]) -> Change {
    let moved: Vec<usize> = (0..before.len()).filter(|&at| before[at] != after[at]).collect();
    if moved.iter().all(|at| at + 2 >= before.len()) {
        return Change::OfTheLast;
    }
    let at_session = |(part, key): Place| {
        let sessions = season.made.parts[part].squad.plan.sessions();
        let at = sessions.iter().position(|session| *session == key)?;
        i64::try_from(at).ok()
    };
    let shift = |&at: &usize| Some(at_session(after[at]?)? - at_session(before[at]?)?);
    let shifts: Vec<Option<i64>> = moved.iter().map(shift).collect();
    let in_a_row = shifts[0].is_some() && shifts.iter().all(|shift| *shift == shifts[0]);
    if in_a_row { Change::OfARow } else { Change::Other }
}

fn stability_of(season: &Season, score: &CalendarScore) -> Stability {
    let mut sums = Stability::default();
    let mut before = Vec::new();
    for count in 1..=season.outings.len() {
        let day = season.outings[count - 1].outing.day();
        let mut after = places(&season.audit(count, day, score));
        sums.added += usize::from(count > 1);
        let newest = after.pop();
        sums.earlier += before.len();
        sums.moved += before.iter().zip(&after).filter(|(before, after)| before != after).count();
        if after != before && count > 1 {
            let right = |places: &[_]| {
                let told = places.iter().enumerate();
                told.filter(|(at, place)| season.told(*at, **place) == Told::Right).count()
            };
            sums.changed += 1;
            sums.for_better += usize::from(right(&after) > right(&before));
            sums.for_worse += usize::from(right(&after) < right(&before));
            match change(season, &before, &after) {
                Change::OfTheLast => sums.of_the_last += 1,
                Change::OfARow => sums.of_a_row += 1,
                Change::Other => {}
            }
        }
        after.extend(newest);
        before = after;
    }
    let as_found = season.whole_audit(score);
    let mut outings: Vec<Outing> = season.outings.iter().map(|found| found.outing.clone()).collect();
    let middle = outings.len() / 2;
    outings.rotate_left(middle);
    let rotated = season.audit_of(&outings, season.as_of(), score);
    outings.reverse();
    let reversed = season.audit_of(&outings, season.as_of(), score);
    let same =
        |other: &AthleteAudit| places(other) == places(&as_found) && other.attendance == as_found.attendance;
    sums.other_order = usize::from(!same(&rotated) || !same(&reversed));
    sums
}

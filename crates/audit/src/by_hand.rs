//! What the coach says by hand of recordings and sessions, where it contradicts something or changes nothing.

use std::collections::{BTreeMap, BTreeSet};

use boutwise_season::{Plan, PlanPlace, Role};

use crate::SeasonFiles;
use crate::batch::Batch;
use crate::judge::Judged;

/// A sentence for each row about a recording or an athlete that is not there, and about a recording that does not count.
pub(crate) fn of_all<'a>(
    batch: &Batch<'_>,
    athletes: impl IntoIterator<Item = &'a str>,
    files: &'a SeasonFiles,
) -> Vec<String> {
    let corrections = &files.corrections;
    let there: BTreeSet<&str> = (0..batch.files.len()).map(|file| batch.file_name(file)).collect();
    let mut notes = corrections.strangers(there.iter().copied());
    let names =
        files.squad.iter().flat_map(|squad| squad.athletes.iter().flat_map(|athlete| athlete.names()));
    let names: Vec<&str> = names.chain(athletes).collect();
    notes.extend(corrections.without_athlete(names));
    let mut counted: BTreeMap<&str, Vec<u32>> = BTreeMap::new();
    for (_, recorded) in batch.counting() {
        counted.entry(batch.file_name(recorded.file as usize)).or_default().push(recorded.session);
    }
    let copies = corrections.rows.iter().filter(|row| {
        let Some(file) = row.file.as_deref().filter(|file| there.contains(file)) else { return false };
        let counts = |session: &u32| row.is_of(file, *session as usize);
        !row.is_unused() && !counted.get(file).is_some_and(|sessions| sessions.iter().any(counts))
    });
    notes.extend(copies.map(|row| {
        let text = "the recording does not count (a copy, nobody's, no run or walk, or not there: files.csv says what it \
                    is), so that the row changes nothing";
        corrections.of_line(row, text)
    }));
    notes
}

/// A sentence for each row about an athlete that names a session that no plan has, or that stands against the order of the
/// plan.
pub(crate) fn of_athlete(judged: &Judged<'_>, files: &SeasonFiles) -> Vec<String> {
    let names = files.names_of(&judged.name);
    let plans: Vec<&Plan> = judged.plans.iter().map(|used| used.plan).collect();
    let recorded = judged.sessions.iter().map(|placed| placed.name.file.as_str());
    let mut notes = files.corrections.without_session(&names, recorded, &plans);
    notes.extend(against_the_order(judged, files));
    notes
}

/// A sentence for each recording that lies, by hand, on a session before that of an earlier recording.
fn against_the_order(judged: &Judged<'_>, files: &SeasonFiles) -> Vec<String> {
    let mut newest: Option<(usize, usize, String)> = None;
    let mut notes = Vec::new();
    for audited in &judged.audit.outings {
        let (Role::Session(laid), Some(plan)) = (audited.role, audited.plan) else { continue };
        let placed = &judged.sessions[judged.dated[audited.outing]];
        let said =
            placed.by_hand.as_ref().filter(|said| matches!(said.place, Some(PlanPlace::Session { .. })));
        let label = &judged.plans[plan].plan.blocks[laid.session.block].label;
        let what = format!("{label}, {}", laid.session.number);
        let (day, is_later) =
            (placed.day(), newest.as_ref().is_some_and(|(of, index, _)| *of == plan && *index > laid.index));
        if let (Some(said), Some((_, _, before)), Some(day), true) = (said, &newest, day, is_later) {
            let text = format!(
                "{what} on {day} comes after {before}, which follows it in the plan; the word stands"
            );
            notes.push(files.corrections.of_line(said, &text));
        }
        if let (false, Some(day)) = (is_later, day) {
            newest = Some((plan, laid.index, format!("{what} on {day}")));
        }
    }
    notes
}

//! What the coach says by hand of recordings and sessions, where it contradicts something or changes nothing.

use std::collections::{BTreeMap, BTreeSet};

use boutwise_season::{Plan, PlanPlace, Role};

use crate::SeasonFiles;
use crate::batch::Batch;
use crate::judge::Judged;

/// A sentence for each row that names what is not there, that is about a copy, or that stands against the order of the plan.
pub(crate) fn notes(batch: &Batch, athletes: &[Judged<'_>], files: &SeasonFiles) -> Vec<String> {
    let corrections = &files.corrections;
    let mut notes = corrections.strangers(batch.files.iter().map(|file| file.file.as_str()));
    let squad =
        files.squad.iter().flat_map(|squad| squad.athletes.iter().flat_map(|athlete| athlete.names()));
    notes
        .extend(corrections.without_athlete(squad.chain(athletes.iter().map(|judged| judged.name.as_str()))));
    let mut counted: BTreeMap<&str, Vec<usize>> = BTreeMap::new();
    for recorded in &batch.sessions {
        let (file, session) = recorded.name.place();
        counted.entry(file).or_default().push(session);
    }
    let there: BTreeSet<&str> = batch.files.iter().map(|file| file.file.as_str()).collect();
    let copies = corrections.rows.iter().filter(|row| {
        let Some(file) = row.file.as_deref().filter(|file| there.contains(file)) else { return false };
        let counts = |session: &usize| row.session.is_none_or(|named| named == *session);
        !row.is_unused() && !counted.get(file).is_some_and(|sessions| sessions.iter().any(counts))
    });
    notes.extend(copies.map(|row| {
        let text = "the recording does not count (a copy, nobody's, no run or walk, or not there: files.csv says what it is), so that the \
                    row changes nothing";
        corrections.of_line(row, text)
    }));
    for judged in athletes {
        let own = [judged.name.as_str()];
        let names: Vec<&str> =
            files.athlete(&judged.name).map_or_else(|| own.to_vec(), |row| row.names().collect());
        let plans: Vec<&Plan> = judged.plans.iter().map(|used| used.plan).collect();
        let recorded = judged.sessions.iter().map(|placed| placed.recorded.name.place().0);
        notes.extend(corrections.without_session(&names, recorded, &plans));
        notes.extend(against_the_order(judged, files));
    }
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

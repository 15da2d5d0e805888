//! What the coach says by hand of recordings and sessions, where it contradicts something or changes nothing.

use std::collections::BTreeSet;

use boutwise_season::{Correction, Plan, PlanPlace, Role};

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
    let counted: BTreeSet<(&str, usize)> =
        batch.sessions.iter().map(|recorded| recorded.name.place()).collect();
    let copies = corrections.rows.iter().filter(|row| {
        let of_file = |(file, session): &(&str, usize)| row.is_of(file, *session);
        let is_there = batch.files.iter().any(|file| {
            row.file.as_deref() == Some(file.file.as_str()) && file.sessions >= row.session.unwrap_or(1)
        });
        is_there && !row.is_unused() && !counted.iter().any(of_file)
    });
    notes.extend(copies.map(|row| {
        let text = "the recording does not count (a copy, nobody's, or no run or walk: files.csv says why), so that the \
                    row changes nothing";
        corrections.of_line(row, text)
    }));
    for judged in athletes {
        let own = [judged.name.as_str()];
        let names: Vec<&str> =
            files.athlete(&judged.name).map_or_else(|| own.to_vec(), |row| row.names().collect());
        let plans: Vec<&Plan> = judged.plans.iter().map(|used| used.plan).collect();
        let is_own = |row: &Correction| {
            let mut recorded = judged.sessions.iter().map(|placed| placed.recorded.name.place());
            recorded.any(|(file, session)| row.is_of(file, session))
        };
        notes.extend(corrections.without_session(&names, is_own, &plans));
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

//! What the coach says by hand of recordings and sessions, where it contradicts something or changes nothing.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use boutwise_bouts::Kind;
use boutwise_season::{
    Correction, Laid, Outcome, OutingAudit, Plan, PlanPlace, PlannedSession, Role, done_without_recording,
};

use crate::SeasonFiles;
use crate::batch::Batch;
use crate::judge::{Judged, Placed};

/// A sentence for each row about a recording, a session or an athlete that is not there, and about a recording that does not
/// count.
pub(crate) fn of_all<'a>(
    batch: &Batch<'_>,
    athletes: impl IntoIterator<Item = &'a str>,
    files: &'a SeasonFiles,
) -> Vec<String> {
    let corrections = &files.corrections;
    let there: BTreeSet<&str> = (0..batch.files.len()).map(|file| batch.file_name(file)).collect();
    let mut notes = corrections.strangers(there.iter().copied());
    let held: HashMap<&str, usize> = (0..batch.files.len())
        .map(|file| (batch.file_name(file).trim(), batch.files[file].recordings))
        .collect();
    notes.extend(corrections.without_recording(|file| held.get(file).copied()));
    let squad = files.squad.iter().flat_map(|squad| &squad.athletes);
    let names: Vec<&str> = squad.flat_map(|athlete| athlete.names()).collect();
    let usual = names.iter().copied().chain(batch.usual_names.iter().map(String::as_str));
    notes.extend(corrections.of_newcomers(&batch.newcomers, usual));
    notes.extend(corrections.without_athlete(names.into_iter().chain(athletes)));
    let mut counted: BTreeMap<&str, Vec<u32>> = BTreeMap::new();
    for (_, recorded) in batch.counting() {
        counted.entry(batch.file_name(recorded.file as usize)).or_default().push(recorded.session);
    }
    let copies = corrections.rows.iter().filter(|row| {
        let Some(file) = row.file.as_deref().filter(|file| there.contains(file)) else { return false };
        let counts = |session: &u32| row.is_of(file, *session as usize);
        let is_there = row.session.is_none_or(|session| session <= held[file.trim()]);
        is_there && !row.is_unused() && !counted.get(file).is_some_and(|sessions| sessions.iter().any(counts))
    });
    notes.extend(copies.map(|row| {
        let text = "the recording does not count (a copy, nobody's, or no run or walk: the table of files says \
                    what it is), so that the row changes nothing";
        corrections.of_line(row, text)
    }));
    notes
}

/// A sentence for each row about an athlete that names a session that no plan has, that stands against the order of the plan,
/// or that changes nothing for another reason.
pub(crate) fn of_athlete(judged: &Judged<'_>, files: &SeasonFiles) -> Vec<String> {
    let names = files.names_of(&judged.name);
    let plans: Vec<&Plan> = judged.plans.iter().map(|used| used.plan).collect();
    let recorded = judged.sessions.iter().map(|placed| &*placed.name.file);
    if judged.is_of_several {
        let rows = files.corrections.of(&names, recorded).into_iter();
        let on_plan = rows.filter(|row| row.is_on_plan() == Some(true));
        let text = format!("{} is not judged, as recordings overlap: the cell changes nothing", judged.name);
        return on_plan.map(|row| files.corrections.of_line(row, &text)).collect();
    }
    let mut notes = files.corrections.without_session(&names, recorded, &plans);
    notes.extend(empty_parts(judged, files));
    notes.extend(of_another_plan(judged, files));
    notes.extend(overlapped(judged, files));
    notes.extend(undated(judged, files));
    notes.extend(against_the_order(judged, files));
    let said = files.corrections.of(&names, []).into_iter().filter(|row| row.file.is_none());
    notes.extend(said.filter_map(|row| Some(files.corrections.of_line(row, &of_said(row, judged)?))));
    notes
}

/// A sentence for each recording of which, by hand, only a part counts in which nothing was recorded.
fn empty_parts(judged: &Judged<'_>, files: &SeasonFiles) -> Vec<String> {
    let of = |placed: &Placed| {
        let said = placed.by_hand.as_ref().filter(|said| !said.is_unused())?;
        said.part_s().filter(|_| placed.session.bouts.iter().all(|bout| bout.kind == Kind::Gap))?;
        let lasts_s = placed.session.duration_s;
        let text = format!("nothing of the recording, which lasts {lasts_s:.0} s, lies in this part");
        Some(files.corrections.of_line(said, &text))
    };
    judged.sessions.iter().filter_map(of).collect()
}

/// What a reader should know of a session that was done, by hand, without a recording: that it has one now, that it does not
/// count yet, or which of several plans it counts in.
fn of_said(said: &Correction, judged: &Judged<'_>) -> Option<String> {
    let PlanPlace::Session { block, number } = said.place.as_ref()? else { return None };
    let plans = &judged.plans;
    let having: Vec<&Plan> =
        plans.iter().map(|used| used.plan).filter(|plan| plan.find(block, *number).is_some()).collect();
    let as_of = judged.day.day?;
    let Some((index, place)) = done_without_recording(plans, said, as_of) else {
        let later = having.first()?;
        return Some(format!("{} begins after {as_of}: the row counts nothing until then", later.title));
    };
    let plan = plans[index].plan;
    let session = plan.sessions().nth(place)?;
    let (label, number) = (&plan.blocks[session.block].label, session.number);
    let of_it: Vec<&PlannedSession> = (judged.audit.planned.iter())
        .filter(|(of, planned)| *of == index && planned.session == session)
        .map(|(_, planned)| planned)
        .collect();
    let counts = of_it.iter().any(|planned| planned.outcome == Outcome::Said);
    if let Some(recording) = of_it.iter().flat_map(|planned| &planned.recordings).next()
        && !counts
    {
        let outing = judged.audit.outings[*recording].outing;
        let file = &judged.sessions[judged.dated[outing]].name.file;
        return Some(format!("{label}, {number} has a recording, {file}, which counts: the row can go"));
    }
    let is_ahead = |planned: &&&PlannedSession| planned.outcome == Outcome::Ahead;
    if let Some(due) = of_it.iter().find(is_ahead).and_then(|planned| planned.day).filter(|_| !counts) {
        return Some(format!("{label}, {number} falls due on {due}: the row counts from that day on"));
    }
    (having.len() > 1).then(|| {
        format!("several plans of {} have {label}, {number}: the row counts in {}", judged.name, plan.title)
    })
}

/// A sentence for each recording that is a session by hand, or of which a part counts by hand, though another one of its time
/// counts in its place, as something else; and for one that counts as it was cut by hand, with one that does not for that.
fn overlapped(judged: &Judged<'_>, files: &SeasonFiles) -> Vec<String> {
    let of = |placed: &Placed| {
        let said = placed.by_hand.as_ref().filter(|_| placed.is_used())?;
        let is_cut = said.part_s().is_some();
        let is_of_two = |other: &&Placed| {
            other.is_overlapped != placed.is_overlapped
                && placed.overlaps_file.iter().any(|file| **file == *other.name.file)
        };
        let mut others = judged.sessions.iter().filter(is_of_two);
        let other = others.clone().next().filter(|_| is_cut || on_session(placed).is_some())?;
        let file = &other.name.file;
        let text = if placed.is_overlapped {
            let is_so = |word: &Correction| word.place == said.place && (!is_cut || word.part_s().is_some());
            if others.any(|other| other.by_hand.as_ref().is_some_and(is_so)) {
                return None;
            }
            format!("{file}, of the same time, counts in its place: the cell changes nothing")
        } else {
            let text = format!("{file}, of the same time, counts for nothing: this one does, as it was cut");
            Some(text).filter(|_| is_cut)?
        };
        Some(files.corrections.of_line(said, &text))
    };
    judged.sessions.iter().filter_map(of).collect()
}

/// A sentence for each recording of which nobody knows the day though it is a session by hand, or is to be used.
fn undated(judged: &Judged<'_>, files: &SeasonFiles) -> Vec<String> {
    let of = |placed: &Placed| {
        let said = placed.by_hand.as_ref().filter(|_| placed.is_used() && !placed.dated())?;
        let text = if let Some(done) = placed.done_some_day() {
            done_without_recording(&judged.plans, &done, judged.day.day?)?;
            let mend = placed.clock_in_doubt.map_or("", |_| "; with use = yes its own day is right");
            let counts =
                || format!("its day can't be known: the session counts as done without a recording{mend}");
            of_said(&done, judged).unwrap_or_else(counts)
        } else {
            said.used?;
            "its day can't be known, as its clock was not set: use = yes changes nothing".to_owned()
        };
        Some(files.corrections.of_line(said, &text))
    };
    judged.sessions.iter().filter_map(of).collect()
}

/// A sentence for each recording that is, by hand, a session of a plan that was not followed on its day.
fn of_another_plan(judged: &Judged<'_>, files: &SeasonFiles) -> Vec<String> {
    let of = |audited: &OutingAudit| {
        let placed = &judged.sessions[judged.dated[audited.outing]];
        let (said, day) = (placed.by_hand.as_ref()?, placed.day()?);
        let PlanPlace::Session { block, number } = said.place.as_ref()? else { return None };
        let has = |plan: &Plan| plan.find(block, *number).is_some();
        let followed = judged.plans[audited.plan?].plan;
        if has(followed) || !judged.plans.iter().any(|used| has(used.plan)) {
            return None;
        }
        let number = number.map_or(String::new(), |number| format!(", {number}"));
        let (name, title) = (&judged.name, &followed.title);
        let text = format!(
            "on {day} {name} follows {title}, which has no session {block}{number}: the cell changes nothing"
        );
        Some(files.corrections.of_line(said, &text))
    };
    judged.audit.outings.iter().filter_map(of).collect()
}

/// What the coach says of a recording that lies on a session by hand.
fn on_session(placed: &Placed) -> Option<&Correction> {
    placed.by_hand.as_ref().filter(|said| matches!(said.place, Some(PlanPlace::Session { .. })))
}

/// A sentence for each recording that lies, by hand, on a session that stands against the order of the plan: before that of an
/// earlier recording, or after that of a later one.
fn against_the_order(judged: &Judged<'_>, files: &SeasonFiles) -> Vec<String> {
    let mut newest: Option<(Laid, usize, &Placed)> = None;
    let mut notes = Vec::new();
    for audited in &judged.audit.outings {
        let (Role::Session(laid), Some(plan)) = (audited.role, audited.plan) else { continue };
        let placed = &judged.sessions[judged.dated[audited.outing]];
        let what = |laid: Laid, placed: &Placed| {
            let label = &judged.plans[plan].plan.blocks[laid.session.block].label;
            let on = placed.day().map_or_else(String::new, |day| format!(" on {day}"));
            format!("{label}, {}{on}", laid.session.number)
        };
        let before = newest.filter(|(before, of, _)| *of == plan && before.index > laid.index);
        if let Some((before, _, earlier)) = before {
            let (first, second) = (what(before, earlier), what(laid, placed));
            if let Some(said) = on_session(placed) {
                let text =
                    format!("{second} comes after {first}, which follows it in the plan; the word stands");
                notes.push(files.corrections.of_line(said, &text));
                continue;
            }
            if let Some(said) = on_session(earlier) {
                let text =
                    format!("{first} comes before {second}, which it follows in the plan; the word stands");
                notes.push(files.corrections.of_line(said, &text));
            }
        }
        newest = Some((laid, plan, placed));
    }
    notes
}

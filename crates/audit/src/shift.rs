//! Days moved by whole weeks, for each athlete by another number: what was seen of one day in the world cannot be looked up
//! here.
//!
//! Which day it is, whose clock may be wrong and what the journal may say of it are found before, from the days as they are.
//! Then everything that has a day is moved, and before anything is said: recordings, plans, squad file and journal, so that
//! what comes after knows no other days. Weekdays, the time of day and whatever lies between two days of one person stay.

use std::collections::{BTreeMap, HashMap};
use std::sync::Arc;

use boutwise_season::{Athlete, AthleteDay, Away, Plan};
use chrono::{Datelike, NaiveDate, TimeDelta};

use crate::batch::Batch;
use crate::judge::Squad;
use crate::{Pseudonyms, SeasonFiles};

/// What is said of it where a reader looks first.
pub(crate) const NOTE: &str = "Days are moved by whole weeks, for each athlete by another number: weekdays and what lies between \
    two days of one athlete are true, days of two athletes say nothing of each other, and there is no page of the group.";

/// Moves the days of all athletes; hands back the season files as they are from then on.
pub(crate) fn move_days(
    squad: &mut Squad,
    batch: &mut Batch<'_>,
    files: &SeasonFiles,
    codes: &Pseudonyms,
) -> SeasonFiles {
    let mut moved = files.clone();
    // One copy of each plan serves all whose days it does not name.
    let mut copies: HashMap<*const Plan, Arc<Plan>> = HashMap::new();
    let (mut of_session, mut of_person) = (HashMap::new(), BTreeMap::new());
    for athlete in &mut squad.athletes {
        let by = codes.moved_by(&athlete.name);
        for &index in &athlete.sessions {
            of_session.insert(index, by);
            if let Some((instant, local)) = &mut batch.sessions[index].start {
                *instant += by;
                local.time += by;
            }
        }
        let own_plans = files.plans_of(&athlete.name).into_iter().map(|used| {
            let copy = copies.entry(used.plan).or_insert_with(|| Arc::new(used.plan.clone()));
            (moved_plan(copy, by), used.start.map(|start| start + by))
        });
        moved.moved_plans.insert(athlete.name.clone(), own_plans.collect());
        of_person.insert(athlete.name.as_str(), (athlete.day, by));
        athlete.day.day = athlete.day.day.map(|day| day + by);
    }
    for row in moved.squad.iter_mut().flat_map(|squad| &mut squad.athletes) {
        if let Some((day, by)) = of_person.get(row.name.as_str()) {
            move_row(row, *day, *by);
        }
    }
    let people = of_person.iter().map(|(name, (_, by))| (*name, files.athlete(name), *by));
    moved.journal = files.journal.moved(people);
    squad.say_of_days(batch, &moved, |session| of_session.get(&session).copied(), codes);
    moved
}

/// A plan with its pauses moved; one without has no day of its own.
fn moved_plan(plan: &Arc<Plan>, by: TimeDelta) -> Arc<Plan> {
    if plan.pauses.is_empty() {
        return plan.clone();
    }
    let mut moved = Plan::clone(plan);
    for pause in &mut moved.pauses {
        (pause.from, pause.to) = (pause.from + by, pause.to + by);
    }
    Arc::new(moved)
}

/// Moves the days of a row of the squad file; the age on the day of judgement stays.
fn move_row(row: &mut Athlete, judged: AthleteDay, by: TimeDelta) {
    let moved = |day: &mut NaiveDate| *day += by;
    row.assignments.iter_mut().filter_map(|assignment| assignment.start.as_mut()).for_each(moved);
    row.joined.iter_mut().chain(&mut row.left).for_each(moved);
    for Away { from, to, .. } in &mut row.away {
        (*from, *to) = (*from + by, *to + by);
    }
    if let (Some(year), Some(day)) = (&mut row.birth_year, judged.day) {
        *year += (day + by).year() - day.year();
    }
}

//! What coach, squad file, journal and corrections say of an athlete's plan.

use chrono::NaiveDate;

use super::{AthleteInput, PlanInUse, plan_on};
use crate::corrections::ByRecording;
use crate::course::{Absence, Words};
use crate::evidence::{decisions, excused_days};
use crate::{AfterAway, ByHand, Correction, Outing, Pause, Plan, PlanPlace};

/// Everything that moves the days of an athlete's plans.
pub(super) fn words(input: &AthleteInput<'_>) -> Words {
    let decisions = decisions(input.journal.iter().copied().filter(|entry| entry.date <= input.as_of));
    let away = input.athlete.map_or(&[][..], |athlete| &athlete.away);
    let mut absences: Vec<Absence> = (away.iter())
        .map(|away| Absence {
            days: Pause { from: away.from, to: away.to },
            waits: away.then.as_ref().map(|then| matches!(then, AfterAway::GoOn)),
        })
        .collect();
    absences.sort_by_key(|absence| (absence.days.from, absence.days.to));
    Words {
        decisions,
        absences,
        excused: excused_days(input.journal.iter().copied()),
        joined: input.athlete.and_then(|athlete| athlete.joined),
        left: input.athlete.and_then(|athlete| athlete.left),
    }
}

impl AthleteInput<'_> {
    /// The sessions of a plan, by its index, that were done without a recording, as the coach says.
    pub(super) fn done_by_hand(&self, plan: usize) -> Vec<usize> {
        let said = self.corrections.iter().filter(|correction| correction.file.is_none());
        let places = said.filter_map(|said| done_without_recording(self.plans, said, self.as_of));
        places.filter(|(of, _)| *of == plan).map(|(_, session)| session).collect()
    }
}

/// The one plan that a session done without a recording counts in, and its place there: the plan in force on the day judged from
/// where that has it, else the newest before that has it. A plan whose own day for it is still ahead comes after the others.
pub fn done_without_recording(
    plans: &[PlanInUse<'_>],
    said: &Correction,
    as_of: NaiveDate,
) -> Option<(usize, usize)> {
    let Some(PlanPlace::Session { block, number }) = &said.place else { return None };
    let in_force = plan_on(plans, as_of)?;
    let places: Vec<(usize, usize)> = (0..=in_force)
        .rev()
        .filter_map(|index| Some((index, plans[index].plan.find(block, *number)?)))
        .collect();
    let has_come = |(index, session): &&(usize, usize)| {
        let PlanInUse { plan, start } = plans[*index];
        start.is_none_or(|start| plan.dates(start)[*session].is_none_or(|day| day <= as_of))
    };
    places.iter().find(has_come).or(places.first()).copied()
}

/// What the coach says of where a recording lies on a plan.
pub(super) fn by_hand(corrections: &ByRecording<'_>, plan: &Plan, outing: &Outing) -> Option<ByHand> {
    match corrections.of(&outing.file, outing.session)?.place? {
        PlanPlace::None => Some(ByHand::OffPlan),
        PlanPlace::Session { block, number } => plan.find(&block, number).map(ByHand::Session),
    }
}

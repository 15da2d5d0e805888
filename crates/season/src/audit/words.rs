//! What coach, squad file, journal and corrections say of an athlete's plan.

use super::AthleteInput;
use crate::corrections::ByRecording;
use crate::course::{Absence, Words};
use crate::evidence::{decisions, excused_days};
use crate::{AfterAway, ByHand, Outing, Pause, Plan, PlanPlace};

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
    /// The sessions that were done without a recording, as the coach says.
    pub(super) fn done_by_hand(&self, plan: &Plan) -> Vec<usize> {
        let said = self.corrections.iter().filter(|correction| correction.file.is_none());
        said.filter_map(|correction| match correction.place.as_ref()? {
            PlanPlace::None => None,
            PlanPlace::Session { block, number } => plan.find(block, *number),
        })
        .collect()
    }
}

/// What the coach says of where a recording lies on a plan.
pub(super) fn by_hand(corrections: &ByRecording<'_>, plan: &Plan, outing: &Outing) -> Option<ByHand> {
    match corrections.of(&outing.file, outing.session)?.place? {
        PlanPlace::None => Some(ByHand::OffPlan),
        PlanPlace::Session { block, number } => plan.find(&block, number).map(ByHand::Session),
    }
}

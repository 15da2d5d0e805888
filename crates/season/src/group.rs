//! What is told once for a whole group, and not to each of its athletes.

use std::collections::BTreeMap;

use crate::wording::{clock, list};
use crate::{AthleteAudit, PlanInUse, Verdict};

/// A large step that a plan itself makes, to which an athlete comes.
#[derive(Clone, Debug, PartialEq)]
pub struct PlanStep<'a> {
    title: &'a str,
    block: usize,
    label: &'a str,
    asked_s: f64,
    /// The athlete, with the longest run shown.
    who: String,
}

/// The large step of an athlete's plan that comes next, if it is one; none where the word that stands is not to step.
pub fn plan_step<'a>(name: &str, audit: &AthleteAudit, plans: &[PlanInUse<'a>]) -> Option<PlanStep<'a>> {
    if audit.shown_verdict() != Some(Verdict::Advance) {
        return None;
    }
    let (step, next) = (audit.proposal.plan_step.as_ref()?, audit.next.as_ref()?);
    let plan = plans.get(next.plan)?.plan;
    let shown = step.shown_longest_run_s.map_or_else(String::new, |s| format!(" ({})", clock(s)));
    Some(PlanStep {
        title: &plan.title,
        block: next.session.block,
        label: plan.blocks.get(next.session.block).map_or("", |block| block.label.as_str()),
        asked_s: step.next_longest_run_s,
        who: format!("{name}{shown}"),
    })
}

/// A sentence for each large step that a plan itself makes, with those who come to it: the longest run asked next against
/// the longest that each has shown.
pub fn plan_steps<'a>(steps: impl IntoIterator<Item = PlanStep<'a>>) -> Vec<String> {
    let mut by_place: BTreeMap<(&str, usize, &str), (f64, Vec<String>)> = BTreeMap::new();
    for step in steps {
        let key = (step.title, step.block, step.label);
        by_place.entry(key).or_insert((step.asked_s, Vec::new())).1.push(step.who);
    }
    by_place
        .into_iter()
        .map(|((title, _, label), (asked_s, names))| {
            format!(
                "{title}: {label} is a large step that the plan itself makes; the longest run it asks for is {}, the longest shown by {}",
                clock(asked_s),
                list(&names)
            )
        })
        .collect()
}

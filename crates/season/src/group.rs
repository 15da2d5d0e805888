//! What is told once for a whole group, and not to each of its athletes.

use std::collections::BTreeMap;

use crate::wording::{clock, list};
use crate::{AthleteAudit, PlanInUse};

/// A sentence for each large step that a plan itself makes, with those who come to it: the longest run asked next against
/// the longest that each has shown.
pub fn plan_steps<'a>(
    athletes: impl IntoIterator<Item = (&'a str, &'a AthleteAudit, &'a [PlanInUse<'a>])>,
) -> Vec<String> {
    let mut steps: BTreeMap<(&str, usize, &str), (f64, Vec<String>)> = BTreeMap::new();
    for (name, audit, plans) in athletes {
        let (Some(step), Some(next)) = (&audit.proposal.plan_step, &audit.next) else { continue };
        let Some(used) = plans.get(next.plan) else { continue };
        let label = used.plan.blocks.get(next.session.block).map_or("", |block| block.label.as_str());
        let shown = step.shown_longest_run_s.map_or_else(String::new, |s| format!(" ({})", clock(s)));
        let key = (used.plan.title.as_str(), next.session.block, label);
        steps.entry(key).or_insert((step.next_longest_run_s, Vec::new())).1.push(format!("{name}{shown}"));
    }
    steps
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

//! Printing the plan without a look at the recording: what every other method must beat.

use boutwise_bouts::{Amount, Gait, Interval, Kind};

use crate::evaluation::FoundBout;

/// Speed that turns planned metres into seconds, in m/s. Own choice.
const PLAN_SPEED_M_PER_S: f64 = 2.5;

/// The plan as if it had been done to the second, cut at the recording's end.
pub fn plan_alone(plan: &[Interval], duration_s: f64) -> Vec<FoundBout> {
    let mut end_s = 0.0;
    let bouts = plan.iter().map(|interval| {
        let start_s = end_s;
        end_s += match interval.amount {
            Amount::Seconds(length_s) => length_s,
            Amount::Metres(length_m) => length_m / PLAN_SPEED_M_PER_S,
        };
        let kind = if interval.gait == Gait::Run { Kind::Run } else { Kind::Walk };
        FoundBout { kind, start_s, end_s: end_s.min(duration_s), confidence: None }
    });
    bouts.filter(|bout| bout.end_s > bout.start_s).collect()
}

//! Sessions such as beginners get: short runs with walking breaks, step by step up to 25 minutes in one go.
//! All of them are our own choice.

use boutwise_bouts::{Amount, Gait, Interval};

use crate::Random;

/// A run of so many seconds.
pub fn run(duration_s: f64) -> Interval {
    Interval { gait: Gait::Run, amount: Amount::Seconds(duration_s) }
}

/// A walk of so many seconds.
pub fn walk(duration_s: f64) -> Interval {
    Interval { gait: Gait::Walk, amount: Amount::Seconds(duration_s) }
}

/// Warm-up walk, the runs with one walk between each two, cool-down walk; 0 leaves a walk out.
pub fn session(warm_up_s: f64, runs_s: &[f64], walk_s: f64, cool_down_s: f64) -> Vec<Interval> {
    let mut intervals = vec![walk(warm_up_s)];
    for (index, &duration_s) in runs_s.iter().enumerate() {
        if index > 0 {
            intervals.push(walk(walk_s));
        }
        intervals.push(run(duration_s));
    }
    intervals.push(walk(cool_down_s));
    intervals.retain(|interval| interval.amount != Amount::Seconds(0.0));
    intervals
}

/// The main parts that [`draw`] chooses from: the runs and the walk between, in seconds.
const MAIN_PARTS: &[(&[f64], f64)] = &[
    (&[30.0; 12], 60.0),
    (&[45.0; 10], 75.0),
    (&[60.0; 8], 90.0),
    (&[60.0; 10], 60.0),
    (&[90.0; 8], 90.0),
    (&[120.0; 6], 90.0),
    (&[180.0; 5], 90.0),
    (&[60.0, 120.0, 180.0, 240.0], 90.0),
    (&[60.0, 120.0, 180.0, 120.0, 60.0], 90.0),
    (&[90.0, 180.0, 90.0, 180.0], 120.0),
    (&[240.0, 180.0, 120.0, 60.0], 60.0),
    (&[270.0; 4], 90.0),
    (&[300.0; 4], 150.0),
    (&[480.0; 3], 60.0),
    (&[600.0; 2], 180.0),
    (&[720.0; 2], 60.0),
    (&[1200.0], 0.0),
    (&[1500.0], 0.0),
];

/// A planned session by chance.
pub fn draw(random: &mut Random) -> Vec<Interval> {
    let (runs_s, walk_s) = random.pick(MAIN_PARTS);
    let warm_up_s = *random.pick(&[300.0, 300.0, 300.0, 180.0, 0.0]);
    let cool_down_s = *random.pick(&[300.0, 300.0, 180.0, 0.0]);
    session(warm_up_s, runs_s, *walk_s, cool_down_s)
}

//! Sessions such as beginners get: short runs with walking breaks, step by step up to 27 minutes in one go.
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
    (&[35.0; 11], 65.0),
    (&[40.0; 9], 80.0),
    (&[70.0; 7], 80.0),
    (&[55.0; 10], 65.0),
    (&[105.0; 6], 80.0),
    (&[125.0; 6], 85.0),
    (&[155.0; 5], 75.0),
    (&[65.0, 130.0, 195.0, 260.0], 85.0),
    (&[65.0, 125.0, 190.0, 125.0, 65.0], 85.0),
    (&[110.0, 75.0, 200.0, 140.0], 110.0),
    (&[250.0, 185.0, 125.0, 70.0], 65.0),
    (&[230.0; 4], 70.0),
    (&[290.0; 4], 140.0),
    (&[340.0; 3], 65.0),
    (&[510.0; 2], 60.0),
    (&[780.0, 360.0], 60.0),
    (&[1260.0], 0.0),
    (&[1620.0], 0.0),
];

/// A planned session by chance.
pub fn draw(random: &mut Random) -> Vec<Interval> {
    let (runs_s, walk_s) = random.pick(MAIN_PARTS);
    let warm_up_s = *random.pick(&[300.0, 300.0, 300.0, 180.0, 0.0]);
    let cool_down_s = *random.pick(&[300.0, 300.0, 180.0, 0.0]);
    session(warm_up_s, runs_s, *walk_s, cool_down_s)
}

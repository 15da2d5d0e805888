//! A plan of blocks: what a coach would write down, as intervals, as notation and as a plan file.

use std::fmt::Write;

use boutwise_bouts::Interval;
use chrono::{Days, NaiveDate};

use crate::{Random, plans};

/// So many times a run and the walk after it, in seconds; a walk of 0 is left out.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PlanSet {
    /// How often.
    pub repeats: usize,
    /// Length of each run.
    pub run_s: f64,
    /// Length of the walk after each run.
    pub walk_s: f64,
}

/// Sessions of one kind.
#[derive(Clone, Debug, PartialEq)]
pub struct PlanBlock {
    /// Label in the plan file.
    pub label: String,
    /// Number of sessions.
    pub sessions: usize,
    /// What a session asks for between the first and the last walk.
    pub sets: Vec<PlanSet>,
    /// The walk before, in seconds.
    pub first_walk_s: f64,
    /// The walk after, in seconds.
    pub last_walk_s: f64,
    /// A walk asked for on the days between, in seconds; nothing is asked if `None`.
    pub between_walk_s: Option<f64>,
}

/// On which days sessions fall.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Rhythm {
    /// Every so many days.
    EveryDays(u32),
    /// Tuesdays, Thursdays and Sundays; a plan begins on a Tuesday.
    TuesdayThursdaySunday,
    /// The plan names no days; its athletes go out every other day.
    Undated,
}

/// Blocks that a plan by chance has. Own choice.
const DRAWN_BLOCKS: usize = 7;
/// So many reps of a run with a walk after each, in seconds.
const fn set(repeats: usize, run_s: f64, walk_s: f64) -> PlanSet {
    PlanSet { repeats, run_s, walk_s }
}

/// The steps of every plan: each run about half as long again as the one before. Own choice.
const LADDER: [&[PlanSet]; 10] = [
    &[set(9, 40.0, 80.0)],
    &[set(7, 70.0, 80.0)],
    &[set(6, 105.0, 80.0)],
    &[set(5, 155.0, 75.0)],
    &[set(4, 230.0, 70.0)],
    &[set(3, 340.0, 65.0)],
    &[set(2, 510.0, 60.0)],
    &[set(1, 780.0, 60.0), set(1, 360.0, 0.0)],
    &[set(1, 1260.0, 0.0)],
    &[set(1, 1620.0, 0.0)],
];
/// The walks before and after, and on the days between, in seconds. Own choice.
const FIRST_WALK_S: f64 = 360.0;
const LAST_WALK_S: f64 = 240.0;
const BETWEEN_WALK_S: f64 = 2100.0;

/// A planned session: block (from 0) and number in the block (from 1).
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct SessionKey {
    /// Index of the block, from 0.
    pub block: usize,
    /// Number of the session in its block, from 1.
    pub number: usize,
}

/// A plan over some weeks.
#[derive(Clone, Debug, PartialEq)]
pub struct BeginnersPlan {
    /// Title in the plan file.
    pub title: String,
    /// Blocks in order.
    pub blocks: Vec<PlanBlock>,
    /// On which days sessions fall.
    pub rhythm: Rhythm,
}

impl PlanBlock {
    /// The intervals of a session.
    pub fn intervals(&self) -> Vec<Interval> {
        let mut intervals = vec![plans::walk(self.first_walk_s)];
        for set in &self.sets {
            for _ in 0..set.repeats {
                intervals.push(plans::run(set.run_s));
                if set.walk_s > 0.0 {
                    intervals.push(plans::walk(set.walk_s));
                }
            }
        }
        intervals.push(plans::walk(self.last_walk_s));
        intervals
    }

    /// The same in plan notation.
    pub fn notation(&self) -> String {
        let sets = self.sets.iter().map(|set| {
            let mut pair = format!("{} run", clock(set.run_s));
            if set.walk_s > 0.0 {
                let _ = write!(pair, ", {} walk", clock(set.walk_s));
            }
            if set.repeats > 1 { format!("{} x ({pair})", set.repeats) } else { pair }
        });
        let [first, last] =
            [self.first_walk_s, self.last_walk_s].map(|walk_s| format!("{} walk", clock(walk_s)));
        std::iter::once(first).chain(sets).chain([last]).collect::<Vec<_>>().join(", ")
    }
}

impl BeginnersPlan {
    /// Nine weeks in a harbour town, three sessions a week: from forty seconds of running to 27 minutes. Own choice.
    pub fn harbour() -> Self {
        let sessions = [3, 3, 3, 3, 3, 3, 2, 2, 2, 3];
        let blocks = LADDER.iter().zip(sessions).zip('A'..).map(|((sets, sessions), label)| PlanBlock {
            label: label.to_string(),
            sessions,
            sets: sets.to_vec(),
            first_walk_s: FIRST_WALK_S,
            last_walk_s: LAST_WALK_S,
            between_walk_s: (label < 'D').then_some(BETWEEN_WALK_S),
        });
        Self {
            title: "Harbour beginners, spring".to_owned(),
            blocks: blocks.collect(),
            rhythm: Rhythm::TuesdayThursdaySunday,
        }
    }

    /// Seven steps of the ladder one after the other, four to six sessions each.
    pub fn draw(rhythm: Rhythm, random: &mut Random) -> Self {
        let first = random.whole(0, LADDER.len() - DRAWN_BLOCKS);
        let between_walk_s = random.chance(0.5).then_some(BETWEEN_WALK_S);
        let blocks = LADDER[first..first + DRAWN_BLOCKS].iter().zip('A'..);
        let blocks = blocks.map(|(sets, label)| PlanBlock {
            label: label.to_string(),
            sessions: random.whole(4, 6),
            sets: sets.to_vec(),
            first_walk_s: FIRST_WALK_S,
            last_walk_s: LAST_WALK_S,
            between_walk_s,
        });
        Self { title: "A plan by chance".to_owned(), blocks: blocks.collect(), rhythm }
    }

    /// All sessions in order.
    pub fn sessions(&self) -> Vec<SessionKey> {
        let blocks = self.blocks.iter().enumerate();
        blocks
            .flat_map(|(block, held)| (1..=held.sessions).map(move |number| SessionKey { block, number }))
            .collect()
    }

    /// Days from the first session to the session at this place in the order.
    pub fn day_offset(&self, index: usize) -> u64 {
        match self.rhythm {
            Rhythm::EveryDays(days) => index as u64 * u64::from(days),
            Rhythm::TuesdayThursdaySunday => (index as u64 / 3) * 7 + [0, 2, 5][index % 3],
            Rhythm::Undated => 2 * index as u64,
        }
    }

    /// Date of the session at this place in the order, when the first one falls on `start`; without days in the plan
    /// the date on which its athletes would go.
    pub fn date(&self, start: NaiveDate, index: usize) -> NaiveDate {
        start + Days::new(self.day_offset(index))
    }

    /// The plan file.
    pub fn toml(&self) -> String {
        let mut text = format!("title = \"{}\"\n", self.title);
        let rhythm = match self.rhythm {
            Rhythm::EveryDays(days) => format!("every_days = {days}\n"),
            Rhythm::TuesdayThursdaySunday => "days = [\"Tue\", \"Thu\", \"Sun\"]\n".to_owned(),
            Rhythm::Undated => String::new(),
        };
        for block in &self.blocks {
            let _ = write!(
                text,
                "\n[[block]]\nlabel = \"{}\"\nsessions = {}\n{rhythm}session = \"{}\"\n",
                block.label,
                block.sessions,
                block.notation()
            );
            if let Some(walk_s) = block.between_walk_s {
                let _ = writeln!(text, "between = \"{} walk\"", clock(walk_s));
            }
        }
        text
    }
}

fn clock(duration_s: f64) -> String {
    let whole_s = duration_s.round() as u64;
    format!("{}:{:02}", whole_s / 60, whole_s % 60)
}

#[cfg(test)]
mod tests {
    use boutwise_bouts::{Amount, Gait};
    use chrono::Datelike;

    use super::*;

    #[test]
    fn notation_and_intervals_say_the_same() {
        let plan = BeginnersPlan::harbour();
        assert_eq!(plan.blocks[0].notation(), "6:00 walk, 9 x (0:40 run, 1:20 walk), 4:00 walk");
        assert_eq!(plan.blocks[7].notation(), "6:00 walk, 13:00 run, 1:00 walk, 6:00 run, 4:00 walk");
        let run_s = |block: &PlanBlock| -> f64 {
            let runs = block.intervals().into_iter().filter(|interval| interval.gait == Gait::Run);
            runs.map(|interval| if let Amount::Seconds(s) = interval.amount { s } else { 0.0 }).sum()
        };
        let runs_s: Vec<f64> = plan.blocks.iter().map(run_s).collect();
        assert_eq!(runs_s, [360.0, 490.0, 630.0, 775.0, 920.0, 1020.0, 1020.0, 1140.0, 1260.0, 1620.0]);
    }

    #[test]
    fn sessions_fall_on_tuesday_thursday_and_sunday() {
        let plan = BeginnersPlan::harbour();
        let start = NaiveDate::from_ymd_opt(2026, 3, 3).unwrap();
        let days: Vec<u32> =
            (0..6).map(|index| plan.date(start, index).weekday().number_from_monday()).collect();
        assert_eq!(days, [2, 4, 7, 2, 4, 7]);
        assert_eq!(plan.sessions().len(), 27);
    }
}

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
    /// The walk at either end, in seconds.
    pub end_walk_s: f64,
    /// A walk asked for on the days between, in seconds; nothing is asked if `None`.
    pub between_walk_s: Option<f64>,
}

/// On which days sessions fall.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Rhythm {
    /// Every so many days.
    EveryDays(u32),
    /// Mondays, Wednesdays and Saturdays; a plan begins on a Monday.
    MondayWednesdaySaturday,
    /// The plan names no days; its athletes go out every other day.
    Undated,
}

/// Blocks that a plan by chance has. Own choice.
const DRAWN_BLOCKS: usize = 7;
/// Steps that it takes them from: reps, run and walk in seconds. Own choice.
const LADDER: [(usize, f64, f64); 9] = [
    (8, 60.0, 90.0),
    (8, 90.0, 90.0),
    (6, 120.0, 90.0),
    (5, 180.0, 90.0),
    (4, 270.0, 90.0),
    (3, 480.0, 60.0),
    (2, 720.0, 60.0),
    (1, 1500.0, 0.0),
    (1, 1800.0, 0.0),
];

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
        let mut intervals = vec![plans::walk(self.end_walk_s)];
        for set in &self.sets {
            for _ in 0..set.repeats {
                intervals.push(plans::run(set.run_s));
                if set.walk_s > 0.0 {
                    intervals.push(plans::walk(set.walk_s));
                }
            }
        }
        intervals.push(plans::walk(self.end_walk_s));
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
        let end = format!("{} walk", clock(self.end_walk_s));
        std::iter::once(end.clone()).chain(sets).chain([end]).collect::<Vec<_>>().join(", ")
    }
}

impl BeginnersPlan {
    /// Nine weeks in a harbour town, three sessions a week: from one minute of running to thirty. Own choice.
    pub fn harbour() -> Self {
        let block = |label: &str, sessions, repeats, run_s, walk_s, between_walk_s| PlanBlock {
            label: label.to_owned(),
            sessions,
            sets: vec![PlanSet { repeats, run_s, walk_s }],
            end_walk_s: 300.0,
            between_walk_s,
        };
        Self {
            title: "Harbour beginners, spring".to_owned(),
            blocks: vec![
                block("A", 4, 8, 60.0, 90.0, Some(1500.0)),
                block("B", 4, 8, 90.0, 90.0, Some(1500.0)),
                block("C", 4, 6, 150.0, 90.0, None),
                block("D", 4, 4, 270.0, 90.0, None),
                block("E", 3, 3, 480.0, 60.0, None),
                block("F", 3, 2, 720.0, 60.0, None),
                block("G", 2, 1, 1500.0, 0.0, None),
                block("H", 3, 1, 1800.0, 0.0, None),
            ],
            rhythm: Rhythm::MondayWednesdaySaturday,
        }
    }

    /// Seven steps of a ladder from eight times one minute to half an hour, four to six sessions each.
    pub fn draw(rhythm: Rhythm, random: &mut Random) -> Self {
        let first = random.whole(0, LADDER.len() - DRAWN_BLOCKS);
        let between_walk_s = random.chance(0.5).then_some(1500.0);
        let blocks = LADDER[first..first + DRAWN_BLOCKS].iter().zip('A'..);
        let blocks = blocks.map(|(&(repeats, run_s, walk_s), label)| PlanBlock {
            label: label.to_string(),
            sessions: random.whole(4, 6),
            sets: vec![PlanSet { repeats, run_s, walk_s }],
            end_walk_s: 300.0,
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
            Rhythm::MondayWednesdaySaturday => (index as u64 / 3) * 7 + [0, 2, 5][index % 3],
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
            Rhythm::MondayWednesdaySaturday => "days = [\"Mon\", \"Wed\", \"Sat\"]\n".to_owned(),
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
        assert_eq!(plan.blocks[0].notation(), "5:00 walk, 8 x (1:00 run, 1:30 walk), 5:00 walk");
        assert_eq!(plan.blocks[6].notation(), "5:00 walk, 25:00 run, 5:00 walk");
        let run_s = |block: &PlanBlock| -> f64 {
            let runs = block.intervals().into_iter().filter(|interval| interval.gait == Gait::Run);
            runs.map(|interval| if let Amount::Seconds(s) = interval.amount { s } else { 0.0 }).sum()
        };
        let minutes: Vec<f64> = plan.blocks.iter().map(|block| run_s(block) / 60.0).collect();
        assert_eq!(minutes, [8.0, 12.0, 15.0, 18.0, 24.0, 24.0, 25.0, 30.0]);
    }

    #[test]
    fn sessions_fall_on_monday_wednesday_and_saturday() {
        let plan = BeginnersPlan::harbour();
        let start = NaiveDate::from_ymd_opt(2026, 3, 2).unwrap();
        let days: Vec<u32> =
            (0..6).map(|index| plan.date(start, index).weekday().number_from_monday()).collect();
        assert_eq!(days, [1, 3, 6, 1, 3, 6]);
        assert_eq!(plan.sessions().len(), 27);
    }
}

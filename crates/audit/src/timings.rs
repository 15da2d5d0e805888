//! What an audit costs, stage by stage, for who asks.

use std::ops::{Add, Sub};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Duration;

/// A stage of an audit, in the order of the data.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Stage {
    /// From a file to points: opened, unpacked, read, cleaned.
    Read,
    /// Running told from walking.
    TellApart,
    /// The measures of a session, and what pages draw of it.
    Measure,
    /// What was measured put by.
    PutBy,
    /// Recordings of an athlete held against each other.
    Compare,
    /// What was measured taken up again, laid on the plan, and judged.
    Judge,
    /// Rows and pages made.
    Make,
    /// What was made handed over, and the rows of files.
    HandOver,
}

impl Stage {
    /// All stages, in the order of the data.
    pub const ALL: [Self; 8] = [
        Self::Read,
        Self::TellApart,
        Self::Measure,
        Self::PutBy,
        Self::Compare,
        Self::Judge,
        Self::Make,
        Self::HandOver,
    ];

    /// What it does, in a few words.
    pub fn text(self) -> &'static str {
        match self {
            Self::Read => "files read and cleaned",
            Self::TellApart => "running told from walking",
            Self::Measure => "sessions measured",
            Self::PutBy => "measures put by",
            Self::Compare => "recordings compared",
            Self::Judge => "athletes judged",
            Self::Make => "tables and pages made",
            Self::HandOver => "tables and pages written",
        }
    }
}

/// Time that something took, or that a thread has taken so far.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Taken {
    /// On the processor.
    pub processor: Duration,
    /// On the wall; more than on the processor where a thread waits.
    pub wall: Duration,
}

impl Add for Taken {
    type Output = Self;

    fn add(self, other: Self) -> Self {
        Self { processor: self.processor + other.processor, wall: self.wall + other.wall }
    }
}

impl Sub for Taken {
    type Output = Self;

    fn sub(self, other: Self) -> Self {
        Self {
            processor: self.processor.saturating_sub(other.processor),
            wall: self.wall.saturating_sub(other.wall),
        }
    }
}

/// Adds up what the stages of an audit take. Clones share their sums.
///
/// The caller brings the clock: this crate has none. It is read a few times a file and athlete.
#[derive(Clone, Debug)]
pub struct Timings(Arc<Sums>);

#[derive(Debug)]
struct Sums {
    clock: fn() -> Taken,
    /// Nanoseconds on the processor and on the wall of each stage.
    stages: [[AtomicU64; 2]; Stage::ALL.len()],
    points: AtomicU64,
}

impl Timings {
    /// Nothing taken yet; `clock` says what the thread that asks has taken so far.
    pub fn new(clock: fn() -> Taken) -> Self {
        Self(Arc::new(Sums { clock, stages: Default::default(), points: AtomicU64::new(0) }))
    }

    /// What all threads together took for a stage.
    pub fn of(&self, stage: Stage) -> Taken {
        let [processor, wall] =
            [0, 1].map(|which| self.0.stages[stage as usize][which].load(Ordering::Relaxed));
        Taken { processor: Duration::from_nanos(processor), wall: Duration::from_nanos(wall) }
    }

    /// Points of all sessions.
    pub fn points(&self) -> u64 {
        self.0.points.load(Ordering::Relaxed)
    }

    pub(crate) fn add_points(&self, points: u64) {
        self.0.points.fetch_add(points, Ordering::Relaxed);
    }

    fn add(&self, stage: Stage, taken: Taken) {
        for (sum, time) in self.0.stages[stage as usize].iter().zip([taken.processor, taken.wall]) {
            sum.fetch_add(u64::try_from(time.as_nanos()).unwrap_or(u64::MAX), Ordering::Relaxed);
        }
    }
}

/// Those that share their sums are equal.
impl PartialEq for Timings {
    fn eq(&self, other: &Self) -> bool {
        Arc::ptr_eq(&self.0, &other.0)
    }
}

/// The work of one thread, told as stages one after the other.
pub(crate) struct Laps<'a>(Option<(&'a Timings, Taken)>);

impl<'a> Laps<'a> {
    /// The work begins; without `timings` nothing is told.
    pub(crate) fn begin(timings: Option<&'a Timings>) -> Self {
        Self(timings.map(|timings| (timings, (timings.0.clock)())))
    }

    /// What was done since the last stage ended, or the work began, was this stage.
    pub(crate) fn end(&mut self, stage: Stage) {
        if let Some((timings, since)) = &mut self.0 {
            let now = (timings.0.clock)();
            timings.add(stage, now - *since);
            *since = now;
        }
    }
}

#[cfg(test)]
mod tests {
    use std::cell::Cell;

    use super::*;

    thread_local! {
        static ASKED: Cell<u64> = const { Cell::new(0) };
    }

    /// A clock that goes on by a second on the processor, and by two on the wall, each time it is asked.
    fn second_by_second() -> Taken {
        let seconds = ASKED.get();
        ASKED.set(seconds + 1);
        Taken { processor: Duration::from_secs(seconds), wall: Duration::from_secs(2 * seconds) }
    }

    #[test]
    fn what_was_done_counts_for_the_stage_that_ends() {
        let timings = Timings::new(second_by_second);
        let mut laps = Laps::begin(Some(&timings));
        for stage in [Stage::Read, Stage::Judge, Stage::Read] {
            laps.end(stage);
        }
        let seconds =
            |stage| [timings.of(stage).processor, timings.of(stage).wall].map(|time| time.as_secs());
        assert_eq!(seconds(Stage::Read), [2, 4]);
        assert_eq!(seconds(Stage::Judge), [1, 2]);
        assert_eq!(seconds(Stage::Make), [0, 0]);
    }

    /// Two recordings of one athlete go through every stage.
    #[test]
    fn an_audit_tells_every_stage_and_all_points() {
        use crate::{Configuration, Inputs, SeasonFiles, audit, unwatched};
        let file = |hour: u32| {
            let point = |second: u32| {
                let place = 1e-5 * f64::from(second);
                format!(
                    "<trkpt lat='{place}' lon='0'><time>2026-03-02T{hour:02}:00:{second:02}Z</time></trkpt>"
                )
            };
            let points: String = (0..60).map(point).collect();
            let text = format!("<gpx><trk><trkseg>{points}</trkseg></trk></gpx>");
            (format!("mira/{hour}.gpx"), text.into_bytes())
        };
        let timings = Timings::new(second_by_second);
        let configuration = Configuration { timings: Some(timings.clone()), ..Configuration::default() };
        let inputs = Inputs::of_bytes("harbour", [file(7), file(8)]);
        let found = audit(&inputs, &SeasonFiles::default(), &configuration, &unwatched).unwrap();
        assert_eq!((found.overview.sessions, timings.points()), (2, 120));
        for stage in Stage::ALL {
            assert!(timings.of(stage).processor > Duration::ZERO, "{stage:?}");
        }
    }

    #[test]
    fn the_stages_are_all_listed_in_their_order() {
        assert!(Stage::ALL.iter().enumerate().all(|(place, stage)| *stage as usize == place));
    }
}

//! Precision and recall of each kind of event.

use std::collections::BTreeMap;

use boutwise_bouts::{
    AdherenceSettings, Bout, Event, EventKind, Gait, Kind, MeasureSettings, SegmentSettings, Session,
    measure, segment,
};
use boutwise_truth::{
    EventfulSession, ExpectedEvent, Happening, PositionError, Sensors, SessionSettings, Simulator, Tier,
};
use rayon::prelude::*;

/// Both kinds of position error.
pub(crate) const ERRORS: [PositionError; 2] = [PositionError::GaussMarkov, PositionError::Smooth];

/// Settings of the n-th session of a kind: tiers and simulators in turn.
pub(crate) fn settings(index: u64, error: PositionError, cadence: bool) -> SessionSettings {
    let tier = Tier::ALL[(index % 3) as usize];
    let simulator = if (index / 3).is_multiple_of(2) { Simulator::First } else { Simulator::Second };
    let sensors = if cadence { Sensors::WITH_CADENCE } else { Sensors::SPEED_ONLY };
    SessionSettings::of(tier).with_error(error).with_simulator(simulator).with_sensors(sensors)
}

/// What is measured of a recording as the tool does it.
pub(crate) fn measured(recording: &boutwise_track::Recording) -> Session {
    let found = segment(recording, &SegmentSettings::default());
    measure(recording, &found, &MeasureSettings::default())
}

/// One session, drawn and read.
struct Told {
    cadence: bool,
    error: PositionError,
    seed: u64,
    eventful: EventfulSession,
    resolvable: bool,
    confidence: f64,
    bouts: Vec<Bout>,
    events: Vec<Event>,
}

/// All sessions.
pub(crate) struct Results(Vec<Told>);

/// Counts of one kind of event.
#[derive(Clone, Copy, Debug, Default)]
struct Count {
    expected: usize,
    found: usize,
    told: usize,
    right: usize,
}

fn is_same(expected: &ExpectedEvent, event: &Event) -> bool {
    expected.kind == event.kind
        && expected.part == event.part.filter(|_| expected.part.is_some())
        && (expected.number.is_none() || expected.number == event.number)
}

impl Told {
    fn draw(happening: Happening, index: u64, error: PositionError, cadence: bool, first_seed: u64) -> Self {
        let seed = first_seed + happening as u64 * 10_000 + index;
        let eventful = EventfulSession::draw(seed, happening, &settings(index, error, cadence));
        let session = measured(&eventful.session.recording);
        let reading = session.read(&eventful.session.plan, false, &AdherenceSettings::default());
        Self {
            cadence,
            error,
            seed,
            resolvable: session.resolvable,
            confidence: session.confidence,
            bouts: session.bouts,
            events: reading.events,
            eventful,
        }
    }

    /// Whether a told event is left out of the count: a part whose length lies near the limit.
    fn is_open(&self, event: &Event) -> bool {
        let lengths = [EventKind::RepShort, EventKind::RepLong, EventKind::WalkShort, EventKind::WalkLong];
        let part = event.part.zip(event.number);
        lengths.contains(&event.kind) && part.is_some_and(|part| self.eventful.open.contains(&part))
    }

    /// Whether it is said that what happened cannot be told, in a session whose runs and walks can be.
    fn is_left_open(&self) -> bool {
        self.resolvable && self.events.iter().any(|event| event.kind == EventKind::CannotSay)
    }

    fn in_walk(&self) -> bool {
        matches!(self.eventful.happening, Happening::LateInWalk | Happening::CutInWalk)
    }
}

impl Results {
    pub(crate) fn collect(sessions: u64, first_seed: u64) -> Self {
        let mut jobs = Vec::new();
        for happening in Happening::ALL {
            for error in ERRORS {
                for cadence in [true, false] {
                    jobs.extend((0..sessions).map(|index| (happening, index, error, cadence)));
                }
            }
        }
        let told = jobs.into_par_iter().map(|(happening, index, error, cadence)| {
            Told::draw(happening, index, error, cadence, first_seed)
        });
        Self(told.collect())
    }

    /// Counts by kind over the resolvable sessions with or without cadence and one kind of error, but for those that are left
    /// open; edges in walks have a table of their own.
    fn counts(&self, cadence: bool, error: PositionError) -> BTreeMap<EventKind, Count> {
        let mut counts: BTreeMap<EventKind, Count> = BTreeMap::new();
        let of_set = self.0.iter().filter(|told| {
            let is_counted = told.resolvable && !told.is_left_open() && !told.in_walk();
            told.cadence == cadence && told.error == error && is_counted
        });
        for told in of_set {
            for expected in &told.eventful.expected {
                let count = counts.entry(expected.kind).or_default();
                count.expected += 1;
                count.found += usize::from(told.events.iter().any(|event| is_same(expected, event)));
            }
            for event in told.events.iter().filter(|event| !told.is_open(event)) {
                let count = counts.entry(event.kind).or_default();
                count.told += 1;
                count.right +=
                    usize::from(told.eventful.expected.iter().any(|expected| is_same(expected, event)));
            }
        }
        counts
    }

    pub(crate) fn table(&self) -> String {
        let mut text = String::from(
            "| event | cadence, G–M | cadence, smooth | speed alone, G–M | speed alone, smooth |\n\
             |---|---|---|---|---|\n",
        );
        let sets: Vec<BTreeMap<EventKind, Count>> = [true, false]
            .into_iter()
            .flat_map(|cadence| ERRORS.map(|error| self.counts(cadence, error)))
            .collect();
        for kind in EventKind::ALL {
            let cells: Vec<String> = sets
                .iter()
                .map(|counts| counts.get(&kind).map_or("–".to_owned(), |count| count.cell()))
                .collect();
            if cells.iter().any(|cell| cell != "–") {
                text += &format!("| `{}` | {} |\n", kind.word(), cells.join(" | "));
            }
        }
        let row = |name: &str, is: fn(&Told) -> bool| {
            let shares = [true, false].into_iter().flat_map(|cadence| {
                ERRORS.map(|error| {
                    let of_set = self.0.iter().filter(|told| told.cadence == cadence && told.error == error);
                    let (all, those) = of_set
                        .filter(|told| !told.in_walk())
                        .fold((0_u32, 0_u32), |(all, those), told| (all + 1, those + u32::from(is(told))));
                    format!("{:.1} %", 100.0 * f64::from(those) / f64::from(all.max(1)))
                })
            });
            format!("| {name} | {} |\n", shares.collect::<Vec<_>>().join(" | "))
        };
        text + &row("resolvable", |told| told.resolvable)
            + &row("resolvable, but left open", Told::is_left_open)
    }

    /// Edges of recordings: told, left open, and told as something that nobody did.
    pub(crate) fn edges(&self) -> String {
        let mut text = String::from(
            "| edge of the recording | sensors | sessions | told | left open | a reproach |\n|---|---|---:|---:|---:|---:|\n",
        );
        let edges = [Happening::LateInRep, Happening::CutInRep, Happening::LateInWalk, Happening::CutInWalk];
        for happening in edges {
            for cadence in [true, false] {
                let sessions: Vec<&Told> = self
                    .0
                    .iter()
                    .filter(|told| {
                        told.eventful.happening == happening && told.cadence == cadence && told.resolvable
                    })
                    .collect();
                let share = |is: &dyn Fn(&Told) -> bool| {
                    let count = sessions.iter().filter(|told| is(told)).count();
                    format!("{:.1} %", 100.0 * count as f64 / sessions.len().max(1) as f64)
                };
                let edge = |told: &Told| {
                    told.events
                        .iter()
                        .any(|event| matches!(event.kind, EventKind::RecordingLate | EventKind::RecordingCut))
                };
                let open = |told: &Told| told.events.iter().any(|event| event.kind == EventKind::CannotSay);
                let reproach = |told: &Told| {
                    told.events.iter().any(|event| {
                        matches!(
                            event.kind,
                            EventKind::StoppedAfter | EventKind::RepWalked | EventKind::RepLeftOut
                        )
                    })
                };
                text += &format!(
                    "| {} | {} | {} | {} | {} | {} |\n",
                    happening.word(),
                    if cadence { "cadence" } else { "speed alone" },
                    sessions.len(),
                    share(&edge),
                    share(&|told| !edge(told) && open(told)),
                    share(&reproach),
                );
            }
        }
        text
    }

    /// How often an event is right, by the confidence that it was told with.
    pub(crate) fn confidence(&self) -> String {
        let limits = [0.0, 0.7, 0.8, 0.9, 0.95, 0.99, 1.01];
        let mut text = String::from("| confidence | events | mean | right |\n|---|---:|---:|---:|\n");
        for pair in limits.windows(2) {
            let (mut count, mut sum, mut right) = (0_u32, 0.0, 0_u32);
            for told in self.0.iter().filter(|told| told.resolvable && !told.in_walk()) {
                for event in told.events.iter().filter(|event| {
                    (pair[0]..pair[1]).contains(&event.confidence)
                        && event.kind != EventKind::CannotSay
                        && !told.is_open(event)
                }) {
                    count += 1;
                    sum += event.confidence;
                    let same = told.eventful.expected.iter().any(|expected| is_same(expected, event));
                    right += u32::from(same);
                }
            }
            if count > 0 {
                let [mean, right] = [sum, f64::from(right)].map(|sum| sum / f64::from(count));
                text += &format!(
                    "| {:.2}–{:.2} | {count} | {mean:.3} | {right:.3} |\n",
                    pair[0],
                    pair[1].min(1.0)
                );
            }
        }
        text
    }

    /// Prints each resolvable session in which something is missing or wrong, with the lengths of its bouts beside the true
    /// ones.
    pub(crate) fn print_wrong(&self) {
        for told in self.0.iter().filter(|told| told.resolvable && !told.in_walk()) {
            let expected = &told.eventful.expected;
            let is_expected = |event: &Event| expected.iter().any(|expected| is_same(expected, event));
            let is_told = |expected: &ExpectedEvent| told.events.iter().any(|event| is_same(expected, event));
            let is_right = expected.iter().all(is_told)
                && told.events.iter().all(|event| told.is_open(event) || is_expected(event));
            if std::env::var_os("ALL").is_none() && is_right {
                continue;
            }
            let asked: Vec<String> =
                expected.iter().map(|event| named(event.kind, event.part, event.number)).collect();
            let said = told.events.iter().map(|event| {
                let right = if is_expected(event) || told.is_open(event) { "" } else { "!" };
                format!(
                    "{right}{} {:.2} {:.0}/{:.0}",
                    named(event.kind, event.part, event.number),
                    event.confidence,
                    event.done_s.unwrap_or(f64::NAN),
                    event.planned_s.unwrap_or(f64::NAN)
                )
            });
            println!(
                "{} {} {:?} {:?} ({:.2}): expected {asked:?}, told {:?}",
                if told.cadence { "cadence" } else { "speed" },
                told.seed,
                told.error,
                told.eventful.happening,
                told.confidence,
                said.collect::<Vec<_>>(),
            );
            let length = |kind: Kind, from_s: f64, to_s: f64| {
                format!("{}{:.0}-{:.0}", &kind.word()[..1], from_s, to_s)
            };
            let truth: Vec<String> = (told.eventful.session.truth.iter())
                .map(|bout| length(bout.kind, bout.start_s, bout.end_s))
                .collect();
            let found: Vec<String> = (told.bouts.iter())
                .map(|bout| {
                    format!("{}({:.2})", length(bout.kind, bout.start_s, bout.end_s), bout.confidence)
                })
                .collect();
            println!("    true {}\n    found {}", truth.join(" "), found.join(" "));
        }
    }
}

fn named(kind: EventKind, part: Option<Gait>, number: Option<usize>) -> String {
    let part = match part {
        Some(Gait::Run) => " rep",
        Some(Gait::Walk) => " walk",
        None => "",
    };
    format!("{}{part}{}", kind.word(), number.map_or(String::new(), |number| format!(" {number}")))
}

impl Count {
    fn cell(self) -> String {
        let share = |part: usize, of: usize| match of {
            0 => "–".to_owned(),
            _ => format!("{:.3}", part as f64 / of as f64),
        };
        format!("{} / {} ({})", share(self.right, self.told), share(self.found, self.expected), self.expected)
    }
}

//! Sessions in which something known happened, with the events that should be told of them.

use boutwise_bouts::{EventKind, Gait, Kind};
use boutwise_track::Position;

use crate::deviation::with_reaction;
use crate::session::Scene;
use crate::stretch::Stretch;
use crate::{
    Deviation, InterruptionSettings, Person, Random, SessionSettings, SyntheticSession, TrueBout, plans,
};

/// What happened in a session.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Happening {
    /// Nothing but the plan.
    AsPlanned,
    /// Went home after some rep.
    Stopped,
    /// Walked a rep in its place.
    RepWalked,
    /// Left a rep out with its walk; the reps are unequal, so that the others tell which.
    RepLeftOut,
    /// Ran through a walk.
    RepsJoined,
    /// Cut a walk.
    WalkShort,
    /// Drew a walk out.
    WalkLong,
    /// Cut a rep.
    RepShort,
    /// Ran on.
    RepLong,
    /// One rep more.
    RepExtra,
    /// No walk in the main part.
    RanThrough,
    /// No run.
    WalkedThrough,
    /// The recording begins in a rep.
    LateInRep,
    /// The recording ends in a rep.
    CutInRep,
    /// The recording begins in a walk between reps.
    LateInWalk,
    /// The recording ends in a walk between reps.
    CutInWalk,
    /// Stood in a walk.
    Stood,
    /// The device paused in a walk.
    Paused,
}

impl Happening {
    /// All of them.
    pub const ALL: [Self; 18] = [
        Self::AsPlanned,
        Self::Stopped,
        Self::RepWalked,
        Self::RepLeftOut,
        Self::RepsJoined,
        Self::WalkShort,
        Self::WalkLong,
        Self::RepShort,
        Self::RepLong,
        Self::RepExtra,
        Self::RanThrough,
        Self::WalkedThrough,
        Self::LateInRep,
        Self::CutInRep,
        Self::LateInWalk,
        Self::CutInWalk,
        Self::Stood,
        Self::Paused,
    ];

    /// The word used in tables.
    pub fn word(self) -> &'static str {
        match self {
            Self::AsPlanned => "as planned",
            Self::Stopped => "stopped after a rep",
            Self::RepWalked => "a rep walked",
            Self::RepLeftOut => "a rep left out",
            Self::RepsJoined => "two reps run together",
            Self::WalkShort => "a walk cut",
            Self::WalkLong => "a walk drawn out",
            Self::RepShort => "a rep cut",
            Self::RepLong => "a rep run on",
            Self::RepExtra => "a rep more",
            Self::RanThrough => "ran straight through",
            Self::WalkedThrough => "walked it all",
            Self::LateInRep => "recording begun in a rep",
            Self::CutInRep => "recording ended in a rep",
            Self::LateInWalk => "recording begun in a walk",
            Self::CutInWalk => "recording ended in a walk",
            Self::Stood => "stood in a walk",
            Self::Paused => "paused in a walk",
        }
    }
}

/// A part of a plan: a rep or a walk between reps, by its number from 1.
pub type PlanPart = (Gait, usize);

/// An event that should be told.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ExpectedEvent {
    /// What happened.
    pub kind: EventKind,
    /// The part of the plan that it happened in, where it is one.
    pub part: Option<Gait>,
    /// Number of the part.
    pub number: Option<usize>,
}

/// A session in which something known happened.
#[derive(Clone, Debug)]
pub struct EventfulSession {
    /// The session.
    pub session: SyntheticSession,
    /// What happened in it.
    pub happening: Happening,
    /// The events that should be told.
    pub expected: Vec<ExpectedEvent>,
    /// Parts whose length lies within 6 s of the limit from which it is told: either is right.
    pub open: Vec<PlanPart>,
}

/// A stretch with the part of the plan that it is.
#[derive(Clone, Copy, Debug)]
struct Labelled {
    stretch: Stretch,
    part: Option<PlanPart>,
}

/// The main parts of such sessions: reps of 45 s and more, walks of 60 s and more, so that what happened can be seen.
/// Own choice.
const EQUAL: &[(&[f64], f64)] = &[
    (&[45.0; 10], 75.0),
    (&[50.0; 8], 80.0),
    (&[70.0; 7], 80.0),
    (&[105.0; 6], 75.0),
    (&[130.0; 6], 90.0),
    (&[180.0; 5], 90.0),
    (&[240.0; 4], 120.0),
    (&[480.0; 3], 120.0),
];
/// Those with unequal reps.
const UNEQUAL: &[(&[f64], f64)] = &[
    (&[60.0, 120.0, 180.0, 240.0], 80.0),
    (&[50.0, 100.0, 150.0, 100.0, 50.0], 80.0),
    (&[240.0, 160.0, 100.0, 60.0], 75.0),
    (&[90.0, 180.0, 300.0], 100.0),
];
/// Walks before and after, in seconds.
const OUTER_S: (f64, f64) = (240.0, 360.0);
/// A part is told as short or long beyond its tolerance and this share of its plan (by definition).
const TOLD_SHARE: f64 = 0.15;
/// Durations so near to a limit are left out of the count, in seconds (by definition).
const OPEN_S: f64 = 6.0;
/// Least seen of a rep that an edge of the recording cuts, in seconds: a run can be seen in it.
const SEEN_OF_REP_S: f64 = 24.0;

/// Seconds that a rep or walk may be off before it is told.
fn limit_s(gait: Gait, planned_s: f64) -> f64 {
    let tolerance_s = match gait {
        Gait::Run => (0.12 * planned_s).min(6.0),
        Gait::Walk => (planned_s / 3.0).min(6.0),
    };
    tolerance_s.max(TOLD_SHARE * planned_s)
}

impl EventfulSession {
    /// A session by chance in which this happened.
    pub fn draw(seed: u64, happening: Happening, settings: &SessionSettings) -> Self {
        let mut random = Random::new(seed);
        let unequal = happening == Happening::RepLeftOut || random.chance(0.3);
        let (runs_s, walk_s) = *random.pick(if unequal { UNEQUAL } else { EQUAL });
        let outer_s = [OUTER_S, OUTER_S].map(|range| random.between(range).round());
        let plan = plans::session(outer_s[0], runs_s, walk_s, outer_s[1]);
        let mut stretches = labelled(outer_s, runs_s, walk_s);
        let mut expected = Vec::new();
        let crop = perform(happening, &mut stretches, runs_s, walk_s, &mut expected, &mut random);
        // What breaks in beside what happened would be told as well.
        let settings =
            &SessionSettings { interruptions: InterruptionSettings::default(), ..settings.clone() };
        let random = &mut random;
        let person = Person::draw(&settings.person, random);
        let mut durations: Vec<Stretch> = stretches.iter().map(|labelled| labelled.stretch).collect();
        with_reaction(&mut durations, settings.pace.reaction_s, random);
        for (labelled, stretch) in stretches.iter_mut().zip(durations) {
            labelled.stretch = stretch;
        }
        let mut open = Vec::new();
        for (gait, number) in parts(&stretches) {
            let planned_s = if gait == Gait::Run { runs_s[number - 1] } else { walk_s };
            let done_s: f64 = stretches
                .iter()
                .filter(|l| l.part == Some((gait, number)))
                .map(|l| l.stretch.duration_s)
                .sum();
            let cut = crop.is_some_and(|crop| crop.part == (gait, number));
            let off_s = done_s - planned_s;
            if (off_s.abs() - limit_s(gait, planned_s)).abs() <= OPEN_S {
                open.push((gait, number));
            } else if off_s.abs() > limit_s(gait, planned_s) && !cut {
                let kind = match (gait, off_s > 0.0) {
                    (Gait::Run, true) => EventKind::RepLong,
                    (Gait::Run, false) => EventKind::RepShort,
                    (Gait::Walk, true) => EventKind::WalkLong,
                    (Gait::Walk, false) => EventKind::WalkShort,
                };
                expected.push(ExpectedEvent { kind, part: Some(gait), number: Some(number) });
            }
        }
        let done: Vec<Stretch> = stretches.iter().map(|labelled| labelled.stretch).collect();
        let start_s = 1_740_812_400 + random.whole(0, 365) as i64 * 86_400;
        let place = Position {
            latitude_deg: random.between((-50.0, 62.0)),
            longitude_deg: random.between((-170.0, 170.0)),
        };
        let scene = Scene { person, start_s, place };
        let mut session = SyntheticSession::made(&plan, Deviation::AsPlanned, done, scene, settings, random);
        if let Some(crop) = crop {
            let from_s = stretches
                .iter()
                .take_while(|labelled| labelled.part != Some(crop.part))
                .map(|labelled| labelled.stretch.duration_s)
                .sum::<f64>();
            let length_s: f64 = stretches
                .iter()
                .filter(|labelled| labelled.part == Some(crop.part))
                .map(|labelled| labelled.stretch.duration_s)
                .sum();
            match crop.begins {
                true => session.keep(from_s + length_s - crop.seen_s, f64::INFINITY),
                false => session.keep(0.0, from_s + crop.seen_s),
            }
        }
        Self { session, happening, expected, open }
    }
}

/// An edge of the recording in a part of the plan, of which some seconds are seen.
#[derive(Clone, Copy, Debug)]
struct Crop {
    part: PlanPart,
    begins: bool,
    seen_s: f64,
}

fn labelled(outer_s: [f64; 2], runs_s: &[f64], walk_s: f64) -> Vec<Labelled> {
    let of = |kind, duration_s, part| Labelled { stretch: Stretch { kind, duration_s }, part };
    let mut stretches = vec![of(Kind::Walk, outer_s[0], None)];
    for (index, &run_s) in runs_s.iter().enumerate() {
        if index > 0 {
            stretches.push(of(Kind::Walk, walk_s, Some((Gait::Walk, index))));
        }
        stretches.push(of(Kind::Run, run_s, Some((Gait::Run, index + 1))));
    }
    stretches.push(of(Kind::Walk, outer_s[1], None));
    stretches
}

/// The parts that took place, each once.
fn parts(stretches: &[Labelled]) -> Vec<PlanPart> {
    let mut parts: Vec<PlanPart> = stretches.iter().filter_map(|labelled| labelled.part).collect();
    parts.dedup();
    parts
}

/// Changes the stretches and says what should be told beside lengths.
fn perform(
    happening: Happening,
    stretches: &mut Vec<Labelled>,
    runs_s: &[f64],
    walk_s: f64,
    expected: &mut Vec<ExpectedEvent>,
    random: &mut Random,
) -> Option<Crop> {
    let reps = runs_s.len();
    let place = |stretches: &[Labelled], part: PlanPart| {
        stretches.iter().position(|labelled| labelled.part == Some(part)).unwrap_or(0)
    };
    let mut expect = |kind, part: Option<PlanPart>| {
        expected.push(ExpectedEvent {
            kind,
            part: part.map(|(gait, _)| gait),
            number: part.map(|(_, number)| number),
        });
    };
    match happening {
        Happening::AsPlanned => {}
        Happening::Stopped => {
            let rep = random.whole(1, reps - 1);
            let last = stretches.len() - 1;
            let home = Labelled {
                stretch: Stretch { kind: Kind::Walk, duration_s: random.between((180.0, 420.0)) },
                part: None,
            };
            let at = place(stretches, (Gait::Run, rep));
            stretches.splice(at + 1..=last, [home]);
            expect(EventKind::StoppedAfter, Some((Gait::Run, rep)));
        }
        Happening::RepWalked => {
            let rep = random.whole(2, reps - 1);
            let at = place(stretches, (Gait::Run, rep));
            for labelled in &mut stretches[at - 1..=at + 1] {
                labelled.part = None;
                labelled.stretch.kind = Kind::Walk;
            }
            expect(EventKind::RepWalked, Some((Gait::Run, rep)));
        }
        Happening::RepLeftOut => {
            let rep = random.whole(2, reps - 1);
            let at = place(stretches, (Gait::Run, rep));
            stretches.drain(at - 1..=at);
            expect(EventKind::RepLeftOut, Some((Gait::Run, 1)));
        }
        Happening::RepsJoined => {
            let walk = random.whole(1, reps - 1);
            let at = place(stretches, (Gait::Walk, walk));
            for labelled in &mut stretches[at - 1..=at + 1] {
                labelled.part = None;
                labelled.stretch.kind = Kind::Run;
            }
            expect(EventKind::RepsJoined, Some((Gait::Walk, walk)));
        }
        Happening::WalkShort | Happening::WalkLong => {
            let walk = random.whole(1, reps - 1);
            let at = place(stretches, (Gait::Walk, walk));
            let factor =
                random.between(if happening == Happening::WalkShort { (0.4, 0.6) } else { (1.5, 1.9) });
            stretches[at].stretch.duration_s *= factor;
        }
        Happening::RepShort | Happening::RepLong => {
            let rep = random.whole(1, reps);
            let at = place(stretches, (Gait::Run, rep));
            let factor =
                random.between(if happening == Happening::RepShort { (0.5, 0.7) } else { (1.35, 1.6) });
            stretches[at].stretch.duration_s *= factor;
        }
        Happening::RepExtra => {
            let at = place(stretches, (Gait::Run, reps));
            let more = [(Kind::Walk, walk_s), (Kind::Run, runs_s[reps - 1].min(120.0))];
            stretches.splice(
                at + 1..at + 1,
                more.map(|(kind, duration_s)| Labelled { stretch: Stretch { kind, duration_s }, part: None }),
            );
            expect(EventKind::RepExtra, None);
        }
        Happening::RanThrough => {
            for labelled in stretches.iter_mut().filter(|labelled| labelled.part.is_some()) {
                labelled.stretch.kind = Kind::Run;
                labelled.part = None;
            }
            expect(EventKind::RanThrough, None);
        }
        Happening::WalkedThrough => {
            for labelled in stretches.iter_mut() {
                labelled.stretch.kind = Kind::Walk;
                labelled.part = None;
            }
            expect(EventKind::WalkedThrough, None);
        }
        Happening::LateInRep | Happening::CutInRep => {
            let begins = happening == Happening::LateInRep;
            let rep = random.whole(1, reps);
            let run_s = runs_s[rep - 1];
            let most_s = run_s - (0.12 * run_s).min(6.0) - OPEN_S;
            let part = (Gait::Run, rep);
            expect(if begins { EventKind::RecordingLate } else { EventKind::RecordingCut }, Some(part));
            return Some(Crop { part, begins, seen_s: random.between((SEEN_OF_REP_S, most_s)) });
        }
        Happening::LateInWalk | Happening::CutInWalk => {
            let begins = happening == Happening::LateInWalk;
            let part = (Gait::Walk, random.whole(1, reps - 1));
            expect(if begins { EventKind::RecordingLate } else { EventKind::RecordingCut }, Some(part));
            return Some(Crop { part, begins, seen_s: random.between((0.1 * walk_s, 0.9 * walk_s)) });
        }
        Happening::Stood | Happening::Paused => {
            let walk = random.whole(1, reps - 1);
            let at = place(stretches, (Gait::Walk, walk));
            let (kind, event) = match happening {
                Happening::Stood => (Kind::Stand, EventKind::Stood),
                _ => (Kind::Gap, EventKind::Paused),
            };
            let part = stretches[at].part;
            let piece = |kind, duration_s| Labelled { stretch: Stretch { kind, duration_s }, part };
            let pieces = [
                piece(Kind::Walk, 0.5 * walk_s),
                piece(kind, random.between((75.0, 150.0))),
                piece(Kind::Walk, 0.5 * walk_s),
            ];
            stretches.splice(at..=at, pieces);
            expect(event, None);
        }
    }
    None
}

/// Where a drive lies.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DriveAt {
    /// Before the session.
    Before,
    /// After it.
    After,
}

/// How quickly a vehicle gains and loses speed, in m/s² (common practice, no source).
const DRIVE_GAIN_M_PER_S2: f64 = 1.5;
/// How long a drive lasts, in seconds. Own choice.
const DRIVE_S: (usize, usize) = (180, 720);
/// How long people stand beside the vehicle, in seconds. Own choice.
const BESIDE_S: (usize, usize) = (5, 40);

impl SyntheticSession {
    /// Adds a drive at `speed_m_per_s` with the recording on, in a straight line northwards, a point a second, and a stand
    /// beside the vehicle. The points of the session stay as they are. Gives how long both last, in seconds.
    pub fn drive(&mut self, at: DriveAt, speed_m_per_s: f64, random: &mut Random) -> (f64, f64) {
        let count = random.whole(DRIVE_S.0, DRIVE_S.1);
        let stand = random.whole(BESIDE_S.0, BESIDE_S.1);
        let points = &self.recording.points;
        let end = match at {
            DriveAt::Before => 0,
            DriveAt::After => points.len() - 1,
        };
        let positions = || (0..points.len()).filter_map(|index| points.position(index));
        let anchor = match at {
            DriveAt::Before => positions().next(),
            DriveAt::After => positions().next_back(),
        };
        let (Some(anchor), Some(&time_ns)) = (anchor, points.time_ns().get(end)) else { return (0.0, 0.0) };
        // Seconds away from the session, and metres from its end by then.
        let mut metres = 0.0;
        let mut away = Vec::with_capacity(count + stand);
        for second in 1..=stand + count {
            let driven_s = second.saturating_sub(stand) as f64;
            let left_s = (count + stand - second) as f64;
            let speed = speed_m_per_s.min(DRIVE_GAIN_M_PER_S2 * driven_s).min(DRIVE_GAIN_M_PER_S2 * left_s);
            // Lights and bends.
            let lights = if second % 97 < 12 && driven_s > 30.0 && left_s > 30.0 { 0.5 } else { 1.0 };
            metres += speed.max(0.0) * lights;
            away.push((second as i64, metres));
        }
        let mut error_m = [0.0, 0.0];
        let sample = |&(second, metres): &(i64, f64)| {
            error_m = error_m.map(|error: f64| 0.98 * error + random.normal(0.4));
            let latitude_deg = anchor.latitude_deg + (metres + error_m[0]) / 111_132.0;
            let longitude_deg =
                anchor.longitude_deg + error_m[1] / (111_320.0 * anchor.latitude_deg.to_radians().cos());
            let sign = if at == DriveAt::Before { -1 } else { 1 };
            boutwise_track::Point {
                time_ns: Some(time_ns + sign * second * 1_000_000_000),
                position: Some(Position { latitude_deg, longitude_deg }),
                ..boutwise_track::Point::default()
            }
        };
        let mut driven: Vec<boutwise_track::Point> = away.iter().map(sample).collect();
        let total_m = away.last().map_or(0.0, |&(_, metres)| metres);
        let own: Vec<boutwise_track::Point> = points.iter().collect();
        let length = driven.len();
        let speeds = vec![speed_m_per_s; length];
        match at {
            DriveAt::Before => {
                driven.reverse();
                self.recording.points = driven.into_iter().chain(own).collect();
                self.odometer_m.iter_mut().for_each(|metres| *metres += total_m);
                self.odometer_m.splice(0..0, away.iter().rev().map(|&(_, metres)| total_m - metres));
                self.speedometer_m_per_s.splice(0..0, speeds);
                self.recording.marks.iter_mut().for_each(|mark| mark.index += length);
            }
            DriveAt::After => {
                self.recording.points = own.into_iter().chain(driven).collect();
                let before_m = self.odometer_m.last().copied().unwrap_or(0.0);
                self.odometer_m.extend(away.iter().map(|&(_, metres)| before_m + metres));
                self.speedometer_m_per_s.extend(speeds);
            }
        }
        (stand as f64, count as f64)
    }

    /// Keeps what lies between two seconds: a recording begun late or cut off.
    pub fn keep(&mut self, from_s: f64, to_s: f64) {
        let start_ns = self.recording.points.time_ns().first().copied().unwrap_or(0);
        let time_s = |index: usize| (self.recording.points.time_ns()[index] - start_ns) as f64 * 1e-9;
        let kept: Vec<usize> = (0..self.recording.points.len())
            .filter(|&index| (from_s..=to_s).contains(&time_s(index)))
            .collect();
        let (Some(&first), Some(&last)) = (kept.first(), kept.last()) else { return };
        let (first_s, last_s) = (time_s(first), time_s(last));
        self.truth = self
            .truth
            .iter()
            .map(|bout| TrueBout {
                start_s: bout.start_s.max(first_s) - first_s,
                end_s: bout.end_s.min(last_s) - first_s,
                ..*bout
            })
            .filter(|bout| bout.duration_s() > 0.0)
            .collect();
        self.recording.points = kept.iter().map(|&index| self.recording.points.get(index)).collect();
        self.recording.marks.retain(|mark| mark.index > first && mark.index <= last);
        self.recording.marks.iter_mut().for_each(|mark| mark.index -= first);
        self.odometer_m = self.odometer_m[first..=last].to_vec();
        self.speedometer_m_per_s = self.speedometer_m_per_s[first..=last].to_vec();
    }

    /// An even pace from the first to the last second, without any change of kind.
    pub fn draw_even(seed: u64, speed_m_per_s: f64, settings: &SessionSettings) -> Self {
        let mut random = Random::new(seed);
        let mut settings = settings.clone();
        settings.person.walk_speed_m_per_s = (speed_m_per_s, speed_m_per_s);
        settings.pace.bout_spread = (0.0, 0.0);
        let plan = [plans::walk(random.between((1200.0, 2100.0)).round())];
        Self::drawn(&plan, Deviation::AsPlanned, &settings, &mut random)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Tier;

    #[test]
    fn what_happens_shows_in_the_truth() {
        let settings = SessionSettings::of(Tier::Easy);
        for seed in 0..40 {
            let runs = |happening| {
                let told = EventfulSession::draw(seed, happening, &settings);
                let reps = told.session.plan.iter().filter(|interval| interval.gait == Gait::Run).count();
                (told.session.truth.iter().filter(|bout| bout.kind == Kind::Run).count(), reps)
            };
            let is = |happening, less: usize| {
                let (done, planned) = runs(happening);
                assert_eq!(done + less, planned, "{happening:?}");
            };
            is(Happening::AsPlanned, 0);
            is(Happening::RepWalked, 1);
            is(Happening::RepLeftOut, 1);
            is(Happening::RepsJoined, 1);
            assert_eq!(runs(Happening::WalkedThrough).0, 0);
            assert_eq!(runs(Happening::RanThrough).0, 1);
            let (done, planned) = runs(Happening::RepExtra);
            assert_eq!(done, planned + 1);
            let late = EventfulSession::draw(seed, Happening::LateInRep, &settings);
            assert_eq!(late.session.truth[0].kind, Kind::Run);
            assert_eq!(late.session.truth[0].start_s, 0.0);
            assert!(late.session.truth[0].duration_s() >= 20.0);
        }
    }

    #[test]
    fn a_drive_adds_points_and_leaves_those_of_the_session() {
        let settings = SessionSettings::of(Tier::Easy);
        let plain = SyntheticSession::draw(5, &settings);
        for at in [DriveAt::Before, DriveAt::After] {
            let mut driven = plain.clone();
            driven.drive(at, 12.0, &mut Random::new(1));
            let more = driven.recording.points.len() - plain.recording.points.len();
            assert!(more >= 185);
            assert!(driven.recording.points.time_ns().windows(2).all(|pair| pair[0] < pair[1]));
            let same = if at == DriveAt::Before { more } else { 0 };
            assert_eq!(driven.recording.points.get(same + 7), plain.recording.points.get(7));
            assert_eq!(driven.odometer_m.len(), driven.recording.points.len());
        }
    }

    /// The session with a stand of a minute at its end, while which positions drift, and `moved_s` seconds of movement after it.
    fn with_a_stand_and_a_fragment(seed: u64, moved_s: usize) -> SyntheticSession {
        let settings = SessionSettings {
            interruptions: InterruptionSettings::default(),
            ..SessionSettings::of(Tier::Easy).with_sensors(crate::Sensors::SPEED_ONLY)
        };
        let mut session = SyntheticSession::draw(seed, &settings);
        let mut random = Random::new(seed);
        let points = &mut session.recording.points;
        let last = points.len() - 1;
        let time_ns = points.time_ns()[last];
        let Some(place) = points.position(last) else { panic!("{seed}: a position at the end") };
        let (mut error_m, mut metres) = ([0.0, 0.0], session.odometer_m[last]);
        for second in 1..=60 + moved_s {
            error_m = error_m.map(|error: f64| 0.95 * error + random.normal(0.15));
            let north_m = 1.2 * second.saturating_sub(60) as f64;
            points.push(boutwise_track::Point {
                time_ns: Some(time_ns + second as i64 * 1_000_000_000),
                position: Some(Position {
                    latitude_deg: place.latitude_deg + (north_m + error_m[0]) / 111_132.0,
                    longitude_deg: place.longitude_deg
                        + error_m[1] / (111_320.0 * place.latitude_deg.to_radians().cos()),
                }),
                ..boutwise_track::Point::default()
            });
            metres += if second > 60 { 1.2 } else { 0.0 };
            session.odometer_m.push(metres);
            session.speedometer_m_per_s.push(if second > 60 { 1.2 } else { 0.0 });
        }
        session
    }

    #[test]
    fn a_fragment_of_a_few_seconds_after_a_stand_changes_no_verdict_in_either_format() {
        use crate::files::{FileFormat, FileSettings, file_bytes};
        use boutwise_bouts::{MeasureSettings, SegmentSettings, measure, segment};
        use boutwise_track::{ReadSettings, read_text};

        let judged = |session: &SyntheticSession, format| {
            let settings = FileSettings { format, ..FileSettings::default() };
            let bytes =
                file_bytes(session, &settings, &mut Random::new(1)).expect("a session can be written");
            let reading = read_text(&bytes, &ReadSettings::default()).expect("what was written can be read");
            let recording = &reading.recordings[0];
            let found = segment(recording, &SegmentSettings::default());
            let session = measure(recording, &found, &MeasureSettings::default());
            let runs = session.bouts.iter().filter(|bout| bout.kind == Kind::Run).count();
            (session.resolvable, runs, session.confidence)
        };
        let mut compared = 0;
        for seed in 40..52 {
            let (resolvable, runs, confidence) =
                judged(&with_a_stand_and_a_fragment(seed, 0), FileFormat::Gpx);
            for moved_s in 0..=5 {
                for format in [FileFormat::Gpx, FileFormat::Tcx] {
                    let session = with_a_stand_and_a_fragment(seed, moved_s);
                    let other = judged(&session, format);
                    let told = format!("{seed}, {moved_s} s, {format:?}: {confidence} and {}", other.2);
                    // A session at the very limit may fall to either side of it.
                    let limit = SegmentSettings::default().resolvable_confidence;
                    let is_at_the_limit = (confidence - limit).abs() < 0.01;
                    assert_eq!(
                        (other.0 || is_at_the_limit, other.1),
                        (resolvable || is_at_the_limit, runs),
                        "{told}"
                    );
                    assert!((other.2 - confidence).abs() < 0.05, "{told}");
                    compared += usize::from(resolvable);
                }
            }
        }
        assert!(compared >= 60, "{compared} of sessions that can be told");
    }
}

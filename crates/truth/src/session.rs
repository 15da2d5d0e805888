//! One invented session: what was planned, what was done, what the device recorded.

use boutwise_bouts::{Gait, Interval};
use boutwise_track::{Mark, MarkKind, Point, Position, Recording, Sport};

use crate::deviation::with_reaction;
use crate::pace::STEP_S;
use crate::stretch::{Stretch, joined, laid_out};
use crate::{
    Deviation, Person, PositionError, Random, SessionSettings, TrueBout, cadence, elevation, free_run, going,
    heart_rate, interruption, pace, plans, position_error, receiver, route, sampling,
};

/// How the device writes what it measured; the in-memory recording is what a reader should make of it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Device {
    /// Whether cadence in the file counts one leg.
    pub cadence_per_leg: bool,
    /// Whether a dropout of cadence is written as 0 (else the value is left out).
    pub dropout_as_zero: bool,
    /// Decimals of a degree.
    pub coordinate_decimals: usize,
}

/// A session with known truth.
#[derive(Clone, Debug)]
pub struct SyntheticSession {
    /// What was asked for.
    pub plan: Vec<Interval>,
    /// How the session departs from it.
    pub deviation: Deviation,
    /// Who did it.
    pub person: Person,
    /// What was done, from the first to the last point; neighbours differ in kind.
    pub truth: Vec<TrueBout>,
    /// What the device recorded, as a reader should give it: cadence of both legs, dropouts missing.
    pub recording: Recording,
    /// What the device's own odometer shows at each point, in metres.
    pub odometer_m: Vec<f64>,
    /// What the device's own speedometer shows at each point, in m/s.
    pub speedometer_m_per_s: Vec<f64>,
    /// How the device would write it to a file.
    pub device: Device,
}

/// Semi-major axis of WGS-84 in metres (NIMA TR8350.2, from memory).
const SEMI_MAJOR_M: f64 = 6_378_137.0;
/// Flattening of WGS-84 (NIMA TR8350.2, from memory).
const FLATTENING: f64 = 1.0 / 298.257_223_563;
/// 2025-03-01T07:00:00Z in seconds since 1970: drawn sessions begin within a year of it.
const FIRST_START_S: i64 = 1_740_812_400;

impl SyntheticSession {
    /// A session by chance: plan, person, deviation and everything else follow from the seed.
    pub fn draw(seed: u64, settings: &SessionSettings) -> Self {
        let mut random = Random::new(seed);
        if let Some(recorded) = &settings.as_recorded
            && random.chance(recorded.free_share)
        {
            let stretches = free_run::draw(&mut random);
            let lasting_s = stretches.iter().map(|stretch| stretch.duration_s).sum::<f64>();
            let scene = Scene::draw(settings, &mut random);
            return Self::made(
                &[plans::run(lasting_s)],
                Deviation::AsPlanned,
                stretches,
                scene,
                settings,
                &mut random,
            );
        }
        let plan = plans::draw(&mut random);
        let deviation = if random.chance(settings.as_planned_share) {
            Deviation::AsPlanned
        } else {
            *random.pick(&Deviation::TIER_DEVIATIONS)
        };
        Self::drawn(&plan, deviation, settings, &mut random)
    }

    /// A session without any running: 20 to 40 minutes of walking, or a plan that was walked.
    pub fn draw_walk_only(seed: u64, settings: &SessionSettings) -> Self {
        let mut random = Random::new(seed);
        if random.chance(0.5) {
            let plan = plans::draw(&mut random);
            return Self::drawn(&plan, Deviation::WalkedItAll, settings, &mut random);
        }
        let plan = [plans::walk(random.between((1200.0, 2400.0)).round())];
        Self::drawn(&plan, Deviation::AsPlanned, settings, &mut random)
    }

    /// A session without any walking: 8 to 35 minutes of running.
    pub fn draw_run_only(seed: u64, settings: &SessionSettings) -> Self {
        let mut random = Random::new(seed);
        let plan = [plans::run(random.between((480.0, 2100.0)).round())];
        Self::drawn(&plan, Deviation::AsPlanned, settings, &mut random)
    }

    pub(crate) fn drawn(
        plan: &[Interval],
        deviation: Deviation,
        settings: &SessionSettings,
        random: &mut Random,
    ) -> Self {
        let Scene { person, start_s, place } = Scene::draw(settings, random);
        Self::of(plan, deviation, &person, start_s, place, settings, random)
    }

    /// A session of this person on this plan, begun at `start_s` (seconds since 1970, UTC) near `place`.
    pub fn of(
        plan: &[Interval],
        deviation: Deviation,
        person: &Person,
        start_s: i64,
        place: Position,
        settings: &SessionSettings,
        random: &mut Random,
    ) -> Self {
        let mut stretches = deviation.perform(plan, person, random);
        with_reaction(&mut stretches, settings.pace.reaction_s, random);
        let scene = Scene { person: person.clone(), start_s, place };
        Self::made(plan, deviation, stretches, scene, settings, random)
    }

    /// A session of which it is known what was done, before anything came between.
    pub(crate) fn made(
        plan: &[Interval],
        deviation: Deviation,
        mut stretches: Vec<Stretch>,
        scene: Scene,
        settings: &SessionSettings,
        random: &mut Random,
    ) -> Self {
        interruption::interrupt(&mut stretches, &settings.interruptions, random);
        if let Some(recorded) = &settings.as_recorded {
            interruption::stand_at_the_ends(&mut stretches, recorded.end_stand_share, random);
        }
        let stretches = joined(stretches);
        let bouts = laid_out(&stretches);
        let all_s = sampling::times_s(&bouts, &settings.sampling, &mut random.fork());
        let mut times_s = all_s.clone();
        sampling::pause(&mut times_s, &bouts);
        let mut writes_in_pauses = false;
        if let Some(recorded) = &settings.as_recorded {
            // One draw for both: those that write points in pauses are some of those that pause by themselves.
            let share = random.between((0.0, 1.0));
            writes_in_pauses = share < recorded.auto_pause_share * recorded.pause_points_share;
            if share < recorded.auto_pause_share {
                sampling::auto_pause(&mut times_s, &bouts);
            }
        }
        let written_s = if writes_in_pauses { &all_s } else { &times_s };
        let recorded = record(&stretches, written_s, &times_s, &scene, settings, random);
        Self {
            plan: plan.to_vec(),
            deviation,
            person: scene.person,
            truth: if settings.as_recorded.is_some() {
                sampling::told_by(&bouts, &times_s)
            } else {
                sampling::seen(&bouts, &times_s)
            },
            recording: recorded.recording,
            odometer_m: recorded.odometer_m,
            speedometer_m_per_s: recorded.speedometer_m_per_s,
            device: recorded.device,
        }
    }

    /// The truth as far as the points with a position tell it, for files that hold no others: a stretch of more than
    /// 20 s without any is a gap.
    pub fn truth_by_positions(&self) -> Vec<TrueBout> {
        let start_ns = self.recording.points.time_ns().first().copied().unwrap_or(0);
        let placed = self.recording.points.iter().filter(|point| point.position.is_some());
        let times_s: Vec<f64> =
            placed.map(|point| (point.time_ns.unwrap_or(start_ns) - start_ns) as f64 * 1e-9).collect();
        sampling::told_by(&self.truth, &times_s)
    }

    /// Whether the session was done as planned.
    pub fn as_planned(&self) -> bool {
        self.deviation == Deviation::AsPlanned
    }

    /// Whether the plan asks for any running.
    pub fn run_planned(&self) -> bool {
        self.plan.iter().any(|interval| interval.gait == Gait::Run)
    }
}

/// Who, when and where.
pub(crate) struct Scene {
    pub(crate) person: Person,
    /// Seconds since 1970, UTC.
    pub(crate) start_s: i64,
    pub(crate) place: Position,
}

impl Scene {
    fn draw(settings: &SessionSettings, random: &mut Random) -> Self {
        Self {
            person: Person::draw(&settings.person, random),
            start_s: FIRST_START_S + random.whole(0, 365) as i64 * 86_400 + random.whole(0, 40_000) as i64,
            place: Position {
                latitude_deg: random.between((-50.0, 62.0)),
                longitude_deg: random.between((-170.0, 170.0)),
            },
        }
    }
}

struct Recorded {
    recording: Recording,
    odometer_m: Vec<f64>,
    speedometer_m_per_s: Vec<f64>,
    device: Device,
}

/// What a device writes that writes points at `written_s`; at those of them that are not `times_s` it pauses.
fn record(
    stretches: &[Stretch],
    written_s: &[f64],
    times_s: &[f64],
    scene: &Scene,
    settings: &SessionSettings,
    random: &mut Random,
) -> Recorded {
    let Scene { person, start_s, place } = scene;
    // Each part has draws of its own: switching a sensor on leaves everything else as it was.
    let [
        mut pace_draws,
        mut hill_draws,
        mut route_draws,
        mut error_draws,
        mut cadence_draws,
        mut heart_draws,
    ] = std::array::from_fn(|_| random.fork());
    let mut speed =
        pace::speed_m_per_s(stretches, person, &settings.pace, settings.simulator, &mut pace_draws);
    let mut gradients =
        elevation::gradients(&elevation::distance_m(&speed), settings.steepness, &mut hill_draws);
    for (value, gradient) in speed.iter_mut().zip(&gradients) {
        *value *= 1.0 - settings.hill_slowing * gradient;
    }
    if let Some(recorded) = &settings.as_recorded {
        going::slow(&mut speed, &mut gradients, stretches, &recorded.going, &mut hill_draws.fork());
    }
    let distance_m = elevation::distance_m(&speed);
    let mut elevation_m = elevation::elevation_m(&speed, &gradients, hill_draws.between((3.0, 60.0)));
    let mut way = route::positions_m(&speed, &mut route_draws);
    let errors =
        position_error::errors_m(way.len(), &settings.position, settings.simulator, &mut error_draws);
    if let Some(recorded) = &settings.as_recorded {
        receiver::filter(&mut way, &speed, &recorded.receiver, &mut route_draws);
    }
    let jitter_m = match settings.position.kind {
        PositionError::GaussMarkov => error_draws.between(settings.position.jitter_m),
        PositionError::Smooth => 0.0,
    };
    let cadence =
        cadence::cadence_spm(stretches, person, &settings.cadence, settings.simulator, &mut cadence_draws);
    let heart = heart_rate::heart_rate_bpm(stretches, person, &settings.heart_rate, &mut heart_draws);
    let (low, high) = settings.sampling.coordinate_decimals;
    let device = Device {
        cadence_per_leg: cadence_draws.chance(settings.cadence.per_leg_share),
        dropout_as_zero: cadence_draws.chance(0.5),
        coordinate_decimals: random.whole(low, high),
    };
    let total_s = written_s.last().copied().unwrap_or(0.0);
    let tunnel = interruption::tunnel(total_s, &settings.interruptions, random);
    // A foot pod or the device's own filter is off by a few percent. Own choice.
    let odometer_factor = random.between((0.98, 1.02));
    if let Some(recorded) = &settings.as_recorded {
        elevation::err(&mut elevation_m, &distance_m, &recorded.heights, &mut random.fork());
    }
    let (mut odometer_m, mut speedometer_m_per_s) = (Vec::new(), Vec::new());
    let decimals = 10_f64.powi(device.coordinate_decimals as i32);
    let plane = Plane::at(*place);
    let mut recording = Recording { session: 1, sport: Sport::OnFoot, ..Default::default() };
    let mut last_cadence_spm = None;
    for (index, &time_s) in written_s.iter().enumerate() {
        let step = (time_s / STEP_S).round() as usize;
        odometer_m.push(round_to(odometer_factor * distance_m[step], 100.0));
        speedometer_m_per_s.push(round_to(odometer_factor * speed[step], 1000.0));
        let sensors = settings.sensors;
        let time_ns = Some((start_s + time_s as i64) * 1_000_000_000);
        let heart_rate_bpm = sensors.heart_rate.then(|| heart[step].round());
        if times_s.binary_search_by(|other_s| other_s.total_cmp(&time_s)).is_err() {
            let cadence_spm = last_cadence_spm;
            recording.points.push(Point { time_ns, heart_rate_bpm, cadence_spm, ..Point::default() });
            continue;
        }
        let east_m = way[step][0] + errors[step][0] + error_draws.normal(jitter_m);
        let north_m = way[step][1] + errors[step][1] + error_draws.normal(jitter_m);
        let hidden = tunnel.is_some_and(|(from_s, to_s)| (from_s..to_s).contains(&time_s));
        let position = plane.position(east_m, north_m, decimals);
        let cadence_spm = (sensors.cadence && !cadence[step].is_nan()).then(|| {
            let written = if device.cadence_per_leg { 0.5 * cadence[step] } else { cadence[step] }.round();
            if device.cadence_per_leg { 2.0 * written } else { written }
        });
        last_cadence_spm = cadence_spm.or(last_cadence_spm);
        recording.points.push(Point {
            time_ns,
            position: (sensors.position && !hidden).then_some(position),
            elevation_m: sensors.position.then(|| round_to(elevation_m[step], 10.0)),
            heart_rate_bpm,
            cadence_spm,
            distance_m: (!sensors.position).then(|| odometer_m[index]),
            speed_m_per_s: (!sensors.position).then(|| speedometer_m_per_s[index]),
        });
        if index > 0 && time_s - written_s[index - 1] > 20.0 {
            recording.marks.push(Mark { index, kind: MarkKind::Segment });
        }
    }
    Recorded { recording, odometer_m, speedometer_m_per_s, device }
}

fn round_to(value: f64, parts: f64) -> f64 {
    (value * parts).round() / parts
}

/// A flat piece of the WGS-84 ellipsoid around a place: degrees per metre north and east.
struct Plane {
    origin: Position,
    degrees_per_metre: [f64; 2],
}

impl Plane {
    fn at(origin: Position) -> Self {
        let eccentricity2 = FLATTENING * (2.0 - FLATTENING);
        let (sin, cos) = origin.latitude_deg.to_radians().sin_cos();
        let root = 1.0 - eccentricity2 * sin * sin;
        let prime_vertical_m = SEMI_MAJOR_M / root.sqrt();
        let meridian_m = SEMI_MAJOR_M * (1.0 - eccentricity2) / root.powf(1.5);
        let degrees_per_metre =
            [(1.0 / (prime_vertical_m * cos)).to_degrees(), (1.0 / meridian_m).to_degrees()];
        Self { origin, degrees_per_metre }
    }

    fn position(&self, east_m: f64, north_m: f64, decimals: f64) -> Position {
        let [east, north] = self.degrees_per_metre;
        Position {
            latitude_deg: round_to(self.origin.latitude_deg + north * north_m, decimals),
            longitude_deg: round_to(self.origin.longitude_deg + east * east_m, decimals),
        }
    }
}

#[cfg(test)]
mod tests {
    use boutwise_bouts::Kind;
    use proptest::prelude::*;

    use super::*;
    use crate::{Sensors, Simulator, Tier};

    fn all_settings() -> Vec<SessionSettings> {
        let mut all = Vec::new();
        for tier in Tier::ALL {
            for kind in [PositionError::GaussMarkov, PositionError::Smooth] {
                for simulator in [Simulator::First, Simulator::Second] {
                    let sensors = Sensors { position: true, cadence: true, heart_rate: true };
                    let settings = SessionSettings::of(tier).with_error(kind);
                    all.push(settings.with_simulator(simulator).with_sensors(sensors));
                }
            }
        }
        all
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(60))]
        #[test]
        fn truth_covers_the_recording_without_holes(seed: u64, which in 0_usize..12) {
            let session = SyntheticSession::draw(seed, &all_settings()[which]);
            prop_assert_eq!(session.truth[0].start_s, 0.0);
            let end_s = session.truth[session.truth.len() - 1].end_s;
            prop_assert!((end_s - session.recording.duration_s()).abs() < 1e-6);
            for pair in session.truth.windows(2) {
                prop_assert_eq!(pair[0].end_s, pair[1].start_s);
                prop_assert!(pair[0].kind != pair[1].kind);
            }
            for bout in &session.truth {
                let shortest_s = if bout.kind == Kind::Run { 15.0 } else { 6.0 };
                prop_assert!(bout.duration_s() >= shortest_s || bout.end_s == end_s, "{:?}", bout);
            }
        }

        #[test]
        fn times_rise_and_only_true_gaps_have_long_steps(seed: u64, which in 0_usize..12) {
            let session = SyntheticSession::draw(seed, &all_settings()[which]);
            let times = session.recording.points.time_ns();
            let mut long_steps = 0;
            for pair in times.windows(2) {
                prop_assert!(pair[1] > pair[0]);
                long_steps += usize::from(pair[1] - pair[0] > 20_000_000_000);
            }
            let gaps = session.truth.iter().filter(|bout| bout.kind == Kind::Gap).count();
            prop_assert_eq!(long_steps, gaps);
            prop_assert_eq!(session.recording.marks.len(), gaps);
        }
    }

    #[test]
    fn the_same_seed_gives_the_same_recording() {
        for settings in all_settings() {
            let (first, second) =
                (SyntheticSession::draw(3, &settings), SyntheticSession::draw(3, &settings));
            assert_eq!(first.truth, second.truth);
            let same = first.recording.points.iter().zip(second.recording.points.iter()).all(|(a, b)| a == b);
            assert!(same);
        }
    }

    #[test]
    fn a_sensor_switched_on_changes_nothing_else() {
        let plain = SyntheticSession::draw(11, &SessionSettings::of(Tier::Hard));
        let settings = SessionSettings::of(Tier::Hard).with_sensors(Sensors::WITH_CADENCE);
        let equipped = SyntheticSession::draw(11, &settings);
        assert_eq!(plain.truth, equipped.truth);
        assert_eq!(plain.recording.points.latitude_deg(), equipped.recording.points.latitude_deg());
        assert!(equipped.recording.points.cadence_spm().iter().any(|c| *c > 140.0));
    }

    #[test]
    fn cadence_of_a_run_is_running_cadence_and_of_a_walk_walking() {
        for settings in all_settings() {
            let session = SyntheticSession::draw(21, &settings);
            let start_ns = session.recording.points.time_ns()[0];
            for bout in session.truth.iter().filter(|bout| bout.duration_s() > 20.0) {
                for point in session.recording.points.iter() {
                    let time_s = (point.time_ns.unwrap_or(start_ns) - start_ns) as f64 * 1e-9;
                    let inside = time_s > bout.start_s + 15.0 && time_s < bout.end_s - 3.0;
                    let Some(cadence_spm) = point.cadence_spm.filter(|_| inside) else { continue };
                    match bout.kind {
                        Kind::Run => assert!(cadence_spm > 133.0, "{cadence_spm}"),
                        Kind::Walk => assert!((85.0..137.0).contains(&cadence_spm), "{cadence_spm}"),
                        Kind::Stand => assert_eq!(cadence_spm, 0.0),
                        Kind::Gap => {}
                    }
                }
            }
        }
    }

    #[test]
    fn a_device_that_writes_points_in_pauses_says_no_more_in_them_and_nothing_else_changes() {
        let mut settings = SessionSettings::as_recorded();
        let of = |settings: &mut SessionSettings, share: f64, seed| {
            if let Some(recorded) = &mut settings.as_recorded {
                recorded.pause_points_share = share;
            }
            SyntheticSession::draw(seed, settings)
        };
        let mut paused = 0;
        for seed in 0..30 {
            let [silent, writing] = [0.0, 1.0].map(|share| of(&mut settings, share, seed));
            assert_eq!(silent.truth, writing.truth);
            assert_eq!(silent.truth_by_positions(), writing.truth_by_positions());
            let places = |session: &SyntheticSession| -> Vec<Point> {
                session.recording.points.iter().filter(|point| point.position.is_some()).collect()
            };
            assert_eq!(places(&silent), places(&writing));
            let mut last_spm = None;
            for point in writing.recording.points.iter() {
                if point.position.is_none() {
                    paused += 1;
                    assert!(point.elevation_m.is_none() && point.heart_rate_bpm.is_some());
                    assert_eq!(point.cadence_spm, last_spm);
                }
                last_spm = point.cadence_spm.or(last_spm);
            }
        }
        assert!(paused > 100, "{paused}");
    }

    #[test]
    fn walk_only_and_run_only_sessions_are_what_they_say() {
        for tier in Tier::ALL {
            let settings = SessionSettings::of(tier);
            for seed in 0..30 {
                let walked = SyntheticSession::draw_walk_only(seed, &settings);
                assert!(walked.truth.iter().all(|bout| bout.kind != Kind::Run));
                let ran = SyntheticSession::draw_run_only(seed, &settings);
                assert!(ran.truth.iter().all(|bout| bout.kind != Kind::Walk));
            }
        }
    }

    #[test]
    fn about_as_many_sessions_follow_their_plan_as_the_tier_says() {
        let settings = SessionSettings::of(Tier::Easy);
        let followed = (0..600).filter(|&seed| SyntheticSession::draw(seed, &settings).as_planned()).count();
        assert!((180..=240).contains(&followed), "{followed}");
    }

    #[test]
    fn a_straight_kilometre_on_the_plane_is_a_kilometre_on_the_ellipsoid() {
        // One degree of latitude from 59.5 to 60.5 is 111 412.27 m on WGS-84 (Simpson rule over the meridian).
        let plane = Plane::at(Position { latitude_deg: 60.0, longitude_deg: 10.0 });
        let half = plane.position(0.0, 55_706.14, 1e9).latitude_deg;
        assert!((half - 60.5).abs() < 2e-4, "{half}");
    }
}

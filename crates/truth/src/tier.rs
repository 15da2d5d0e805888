//! How hard a recording is to read: three tiers, and everything that they set.

use crate::{
    CadenceSettings, GoingSettings, HeartRateSettings, HeightErrorSettings, InterruptionSettings,
    PaceSettings, PersonSettings, PositionError, PositionErrorSettings, ReceiverSettings, SamplingSettings,
};

/// Three degrees of difficulty.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Tier {
    /// A clear gap between walking and running, good reception.
    Easy,
    /// Slow running, fair reception, now and then a stop.
    Medium,
    /// Jogging hardly faster than walking, poor reception, pauses, jumps.
    Hard,
}

impl Tier {
    /// All three, from easy to hard.
    pub const ALL: [Self; 3] = [Self::Easy, Self::Medium, Self::Hard];

    /// The word used in tables.
    pub fn word(self) -> &'static str {
        match self {
            Self::Easy => "easy",
            Self::Medium => "medium",
            Self::Hard => "hard",
        }
    }
}

/// Which of two independently built simulators makes the recording; they differ in the shape of pace variation,
/// ramps, position errors, jumps, cadence lag and dropouts, so that nothing is fitted to one shape alone.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Simulator {
    /// First-order variation, straight ramps, evenly spread errors, delayed cadence.
    First,
    /// Spline variation that lasts over bouts, soft ramps, uneven heavy-tailed or second-order errors, averaged cadence.
    Second,
}

/// Which sensors write along with the positions.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Sensors {
    /// Positions at all; without them a foot pod writes distance and speed.
    pub position: bool,
    /// Cadence.
    pub cadence: bool,
    /// Heart rate.
    pub heart_rate: bool,
}

impl Sensors {
    /// Positions alone.
    pub const SPEED_ONLY: Self = Self { position: true, cadence: false, heart_rate: false };
    /// Positions and cadence.
    pub const WITH_CADENCE: Self = Self { position: true, cadence: true, heart_rate: false };
}

/// Everything that shapes an invented session.
#[derive(Clone, Debug, PartialEq)]
pub struct SessionSettings {
    /// Which simulator.
    pub simulator: Simulator,
    /// Levels of the person.
    pub person: PersonSettings,
    /// Variation of pace.
    pub pace: PaceSettings,
    /// Share of the sessions that follow their plan.
    pub as_planned_share: f64,
    /// Stops, pauses, lost signal.
    pub interruptions: InterruptionSettings,
    /// Steepest gradient of the way, as a share.
    pub steepness: (f64, f64),
    /// Loss of speed per gradient: 3 means 3 % slower on 1 % uphill. Own choice; 0 in the tiers.
    pub hill_slowing: f64,
    /// Errors of position.
    pub position: PositionErrorSettings,
    /// Points in time and decimals.
    pub sampling: SamplingSettings,
    /// What the device writes.
    pub sensors: Sensors,
    /// Errors of the step counter.
    pub cadence: CadenceSettings,
    /// How the heart follows.
    pub heart_rate: HeartRateSettings,
    /// What real recordings show besides; `None` in the tiers.
    pub as_recorded: Option<AsRecorded>,
}

/// What open recordings of real runs show and the tiers do not have.
#[derive(Clone, Debug, PartialEq)]
pub struct AsRecorded {
    /// Share of the sessions that are a run without a plan: long runs, now and then a walk. Own choice.
    pub free_share: f64,
    /// Share of the sessions that begin with a stand, and of those that end with one. Own choice.
    pub end_stand_share: f64,
    /// Share of the devices that pause by themselves while standing. Own choice.
    pub auto_pause_share: f64,
    /// Share of those that go on writing points while they pause, without a place or a way (seen in open recordings; how
    /// many of them is an own choice). The others write no points.
    pub pause_points_share: f64,
    /// Hills, dips and changing paces.
    pub going: GoingSettings,
    /// The receiver's own filter, and drift while standing.
    pub receiver: ReceiverSettings,
    /// What recorded heights err by.
    pub heights: HeightErrorSettings,
}

impl Default for AsRecorded {
    fn default() -> Self {
        Self {
            free_share: 0.5,
            end_stand_share: 0.4,
            auto_pause_share: 0.4,
            pause_points_share: 0.33,
            going: GoingSettings::default(),
            receiver: ReceiverSettings::default(),
            heights: HeightErrorSettings::default(),
        }
    }
}

impl SessionSettings {
    /// The settings of a tier: positions alone, rough errors, first simulator.
    pub fn of(tier: Tier) -> Self {
        let person = |run_speed_m_per_s, walk_speed_m_per_s| PersonSettings {
            run_speed_m_per_s,
            walk_speed_m_per_s,
            ..Default::default()
        };
        let position = |sigma_m, tau_s| PositionErrorSettings { sigma_m, tau_s, ..Default::default() };
        let base = Self {
            simulator: Simulator::First,
            person: person((2.5, 3.1), (1.25, 1.5)),
            pace: PaceSettings::default(),
            as_planned_share: 0.35,
            interruptions: InterruptionSettings::default(),
            steepness: (0.0, 0.02),
            hill_slowing: 0.0,
            position: position(2.0, 60.0),
            sampling: SamplingSettings::default(),
            sensors: Sensors::SPEED_ONLY,
            cadence: CadenceSettings::default(),
            heart_rate: HeartRateSettings::default(),
            as_recorded: None,
        };
        match tier {
            Tier::Easy => base,
            Tier::Medium => Self {
                person: person((2.0, 2.4), (1.35, 1.55)),
                position: position(3.0, 60.0),
                sampling: SamplingSettings { irregular_share: 0.1, ..Default::default() },
                interruptions: InterruptionSettings {
                    stop_share: 0.4,
                    stop_s: (10.0, 30.0),
                    ..Default::default()
                },
                ..base
            },
            Tier::Hard => Self {
                person: person((1.75, 2.05), (1.45, 1.6)),
                position: PositionErrorSettings { jump_share: 0.5, ..position(4.0, 40.0) },
                sampling: SamplingSettings {
                    irregular_share: 0.3,
                    coordinate_decimals: (5, 6),
                    ..Default::default()
                },
                interruptions: InterruptionSettings {
                    stop_share: 0.5,
                    stop_s: (10.0, 30.0),
                    pause_share: 0.4,
                    pause_s: (30.0, 90.0),
                    ..Default::default()
                },
                ..base
            },
        }
    }

    /// Recordings as real ones are: several paces, hills, dips, filtered positions, stands with drift, pauses by the device,
    /// coarse and irregular points, a heart that drifts and falls late. Each parameter says where it comes from.
    pub fn as_recorded() -> Self {
        Self {
            person: PersonSettings {
                run_speed_m_per_s: (2.0, 3.2),
                walk_speed_m_per_s: (1.2, 1.6),
                ..Default::default()
            },
            pace: PaceSettings { bout_spread: (0.03, 0.09), ramp_s: (2.0, 6.0), ..Default::default() },
            interruptions: InterruptionSettings {
                stop_share: 0.5,
                stop_s: (8.0, 60.0),
                pause_share: 0.15,
                in_run_share: 0.7,
                ..Default::default()
            },
            position: PositionErrorSettings {
                sigma_m: 3.0,
                tau_s: 50.0,
                jitter_m: (0.0, 0.5),
                jump_share: 0.1,
                ..Default::default()
            },
            sampling: SamplingSettings {
                irregular_share: 0.5,
                irregular_step_s: (1, 9),
                coordinate_decimals: (6, 8),
            },
            sensors: Sensors { position: true, cadence: true, heart_rate: true },
            cadence: CadenceSettings { lag_s: (1.0, 9.0), ..Default::default() },
            heart_rate: HeartRateSettings::as_recorded(),
            as_recorded: Some(AsRecorded::default()),
            ..Self::of(Tier::Medium)
        }
    }

    /// The same with another kind of position error.
    pub fn with_error(mut self, kind: PositionError) -> Self {
        self.position.kind = kind;
        self
    }

    /// The same with other sensors.
    pub fn with_sensors(mut self, sensors: Sensors) -> Self {
        self.sensors = sensors;
        self
    }

    /// The same by another simulator.
    pub fn with_simulator(mut self, simulator: Simulator) -> Self {
        self.simulator = simulator;
        self
    }
}

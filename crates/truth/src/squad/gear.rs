//! What an athlete records with.

use crate::files::{FileFormat, FileSettings, TimeStyle};
use crate::{
    CadenceSettings, InterruptionSettings, PositionError, PositionErrorSettings, SamplingSettings, Sensors,
    SessionSettings, Tier,
};

/// A device: what it measures, how well, and how it writes files.
#[derive(Clone, Debug, PartialEq)]
pub struct Gear {
    /// How sessions are recorded.
    pub settings: SessionSettings,
    /// How files are written.
    pub file: FileSettings,
}

/// Gentle days out: a little fatigue, hills, now and then a crossing. Own choice.
fn outdoors(sensors: Sensors, sigma_m: f64) -> SessionSettings {
    let mut settings =
        SessionSettings::of(Tier::Easy).with_sensors(sensors).with_error(PositionError::Smooth);
    settings.pace.fatigue = (0.0, 0.06);
    settings.steepness = (0.0, 0.03);
    settings.hill_slowing = 2.0;
    settings.position.sigma_m = sigma_m;
    settings.interruptions = InterruptionSettings {
        stop_share: 0.15,
        tunnel_share: 0.05,
        in_run_share: 0.1,
        ..Default::default()
    };
    settings
}

impl Gear {
    /// A watch with cadence and heart rate, a point a second.
    pub fn watch(format: FileFormat, per_leg: bool) -> Self {
        let mut settings = outdoors(Sensors { position: true, cadence: true, heart_rate: true }, 2.0);
        settings.cadence =
            CadenceSettings { per_leg_share: f64::from(u8::from(per_leg)), ..Default::default() };
        if format == FileFormat::Tcx {
            // GPX has no place for points without position: there a tunnel would be a gap and end a run.
            settings.interruptions.tunnel_share = 0.1;
        }
        Self { settings, file: FileSettings { format, gzip: true, ..Default::default() } }
    }

    /// A watch that saves points: one every two to six seconds, as plain text.
    pub fn saving_watch(format: FileFormat, per_leg: bool) -> Self {
        let mut gear = Self::watch(format, per_leg);
        gear.settings.sampling =
            SamplingSettings { irregular_share: 1.0, irregular_step_s: (2, 6), ..Default::default() };
        gear.file.gzip = false;
        gear
    }

    /// A watch with heart rate but without cadence, a point a second.
    pub fn heart_watch() -> Self {
        let mut gear = Self::watch(FileFormat::Gpx, false);
        gear.settings.sensors.cadence = false;
        gear.file.times = TimeStyle::UtcMilliseconds;
        gear
    }

    /// A phone in fair reception: positions alone, every two to five seconds.
    pub fn phone() -> Self {
        let mut settings = outdoors(Sensors::SPEED_ONLY, 2.5);
        settings.sampling =
            SamplingSettings { irregular_share: 1.0, irregular_step_s: (2, 5), ..Default::default() };
        Self { settings, file: FileSettings { format: FileFormat::PlainGpx, ..Default::default() } }
    }

    /// A phone among walls: coarse positions alone.
    pub fn poor_phone() -> Self {
        let mut gear = Self::phone();
        gear.settings.position = PositionErrorSettings { sigma_m: 5.0, tau_s: 40.0, ..Default::default() };
        gear.settings.sampling.coordinate_decimals = (5, 5);
        gear
    }

    /// The same watch on a treadmill: no positions, a foot pod for distance and speed, always TCX.
    pub fn indoors(mut self) -> Self {
        self.settings.sensors.position = false;
        self.file.format = FileFormat::Tcx;
        self
    }
}

//! The folders that are audited: invented sessions of a point a second, the same at every run.

use std::fs;
use std::io;
use std::path::Path;

use boutwise_bouts::Interval;
use boutwise_track::Position;
use boutwise_truth::files::{FileFormat, FileSettings, file_bytes};
use boutwise_truth::plans::{run, walk};
use boutwise_truth::{
    Deviation, Person, Random, SamplingSettings, Sensors, SessionSettings, SyntheticSession, Tier,
};
use chrono::{DateTime, SecondsFormat};

/// 2026-03-02T06:00:00Z in seconds since 1970: the first session; each next one of a person is two days later.
const FIRST_START_S: i64 = 1_772_431_200;
const S_PER_DAY: i64 = 86_400;

/// One sort of recordings.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Sort {
    pub(crate) name: &'static str,
    pub(crate) format: FileFormat,
    pub(crate) minutes: usize,
    pub(crate) cadence: bool,
    /// How hard running and walking are to tell apart.
    pub(crate) tier: Tier,
    pub(crate) gzip: bool,
}

const CLEAR: Sort =
    Sort { name: "", format: FileFormat::Gpx, minutes: 60, cadence: true, tier: Tier::Easy, gzip: false };

/// Everything that is measured.
pub(crate) const SORTS: [Sort; 12] = [
    Sort { name: "gpx-20min", minutes: 20, ..CLEAR },
    Sort { name: "gpx-60min", ..CLEAR },
    Sort { name: "gpx-3h", minutes: 180, ..CLEAR },
    Sort { name: "gpx-24h", minutes: 1440, ..CLEAR },
    Sort { name: "tcx-20min", format: FileFormat::Tcx, minutes: 20, ..CLEAR },
    Sort { name: "tcx-60min", format: FileFormat::Tcx, ..CLEAR },
    Sort { name: "gpx-60min-speed", cadence: false, ..CLEAR },
    Sort { name: "tcx-60min-speed", format: FileFormat::Tcx, cadence: false, ..CLEAR },
    Sort { name: "gpx-20min-hard", minutes: 20, cadence: false, tier: Tier::Hard, ..CLEAR },
    Sort { name: "gpx-60min-hard", cadence: false, tier: Tier::Hard, ..CLEAR },
    Sort { name: "gpx-6h-hard", minutes: 360, cadence: false, tier: Tier::Hard, ..CLEAR },
    Sort { name: "gpx-60min-gz", gzip: true, ..CLEAR },
];

impl Sort {
    pub(crate) fn named(name: &str) -> Option<Self> {
        SORTS.into_iter().find(|sort| sort.name == name)
    }

    /// Five minutes of walking, then runs of 70 s and walks of 80 s in turn to the end.
    fn plan(&self) -> Vec<Interval> {
        let mut plan = vec![walk(300.0)];
        for _ in 0..(60 * self.minutes).saturating_sub(300) / 150 {
            plan.extend([run(70.0), walk(80.0)]);
        }
        plan
    }

    /// The bytes of the session with this number.
    pub(crate) fn session(&self, number: u64) -> io::Result<Vec<u8>> {
        let sensors = Sensors { position: true, cadence: self.cadence, heart_rate: true };
        let tier = SessionSettings::of(self.tier).with_sensors(sensors);
        let sampling =
            SamplingSettings { irregular_share: 0.0, coordinate_decimals: (7, 7), ..tier.sampling };
        let settings = SessionSettings { sampling, ..tier };
        let mut random = Random::new(1_000 + number);
        let person = Person::draw(&settings.person, &mut random);
        let start_s = FIRST_START_S + number as i64 * 2 * S_PER_DAY;
        // An invented place in the open country of central Europe.
        let place = Position { latitude_deg: 48.9, longitude_deg: 15.6 };
        let session = SyntheticSession::of(
            &self.plan(),
            Deviation::AsPlanned,
            &person,
            start_s,
            place,
            &settings,
            &mut random,
        );
        let file = FileSettings { format: self.format, gzip: self.gzip, ..FileSettings::default() };
        file_bytes(&session, &file, &mut random)
    }

    fn ending(&self) -> &'static str {
        match (self.format, self.gzip) {
            (FileFormat::Tcx, false) => "tcx",
            (FileFormat::Tcx, true) => "tcx.gz",
            (_, false) => "gpx",
            (_, true) => "gpx.gz",
        }
    }

    /// Writes so many sessions below a folder, those of an athlete in a folder of their own.
    pub(crate) fn write(&self, folder: &Path, sessions: usize, athletes: usize) -> io::Result<()> {
        for athlete in 0..athletes {
            let own = folder.join(format!("athlete-{athlete:03}"));
            fs::create_dir_all(&own)?;
            for number in (athlete..sessions).step_by(athletes) {
                let name = format!("{}-{number:05}.{}", self.name, self.ending());
                fs::write(own.join(name), self.session(number as u64)?)?;
            }
        }
        Ok(())
    }
}

/// Writes so many recordings of one minute below a folder. Those of an athlete begin so many seconds apart, each a hundred
/// metres beside the one before; a single athlete's lie in the folder itself.
pub(crate) fn write_minutes(folder: &Path, count: usize, athletes: usize, apart_s: i64) -> io::Result<()> {
    for index in 0..count {
        let (athlete, number) = (index % athletes, (index / athletes) as i64);
        let own = if athletes > 1 { folder.join(format!("athlete-{athlete:03}")) } else { folder.to_owned() };
        fs::create_dir_all(&own)?;
        let mut text = String::from(
            "<?xml version=\"1.0\"?>\n<gpx version=\"1.1\" creator=\"invented\"><trk><trkseg>\n",
        );
        for second in 0..60 {
            let time =
                DateTime::from_timestamp(FIRST_START_S + number * apart_s + second, 0).unwrap_or_default();
            let latitude_deg = 48.9 + 0.001 * index as f64 + 2.4e-5 * second as f64;
            let time = time.to_rfc3339_opts(SecondsFormat::Secs, true);
            text += &format!("<trkpt lat=\"{latitude_deg:.6}\" lon=\"15.6\"><time>{time}</time></trkpt>\n");
        }
        fs::write(own.join(format!("minute-{number:06}.gpx")), text + "</trkseg></trk></gpx>\n")?;
    }
    Ok(())
}

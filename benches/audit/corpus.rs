//! The folders that are audited: invented sessions of a point a second, the same at every run.

use std::fs::{self, File};
use std::io::{self, Write};
use std::path::Path;

use boutwise_bouts::Interval;
use boutwise_track::Position;
use boutwise_truth::files::{FileFormat, FileSettings, file_bytes};
use boutwise_truth::plans::{run, walk};
use boutwise_truth::{
    Deviation, Person, Random, SamplingSettings, Sensors, SessionSettings, SyntheticSession, Tier,
};
use chrono::{DateTime, SecondsFormat};

/// 2026-03-02T06:00:00Z in seconds since 1970: the first session.
const FIRST_START_S: i64 = 1_772_431_200;
/// Days from one session to the next.
pub(crate) const DAYS_APART: i64 = 2;
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

pub(crate) const CLEAR: Sort =
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

    /// The same as a plan of so many sessions, one every so many days.
    pub(crate) fn plan_text(&self, sessions: usize, every_days: usize) -> String {
        let runs = (60 * self.minutes).saturating_sub(300) / 150;
        format!(
            "[[block]]\nsessions = {sessions}\nevery_days = {every_days}\nsession = \"5:00 walk, {runs} x (1:10 run, 1:20 walk)\"\n"
        )
    }

    /// The session with this number.
    pub(crate) fn invent(&self, number: u64) -> SyntheticSession {
        self.drawn(number).0
    }

    /// The bytes of the session with this number.
    pub(crate) fn session(&self, number: u64) -> io::Result<Vec<u8>> {
        let (session, mut random) = self.drawn(number);
        let file = FileSettings { format: self.format, gzip: self.gzip, ..FileSettings::default() };
        file_bytes(&session, &file, &mut random)
    }

    /// The session with this number, and what its file is drawn from.
    fn drawn(&self, number: u64) -> (SyntheticSession, Random) {
        let sensors = Sensors { position: true, cadence: self.cadence, heart_rate: true };
        let tier = SessionSettings::of(self.tier).with_sensors(sensors);
        let sampling =
            SamplingSettings { irregular_share: 0.0, coordinate_decimals: (7, 7), ..tier.sampling };
        let settings = SessionSettings { sampling, ..tier };
        let mut random = Random::new(1_000 + number);
        let person = Person::draw(&settings.person, &mut random);
        let start_s = FIRST_START_S + number as i64 * DAYS_APART * S_PER_DAY;
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
        (session, random)
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
        let mut file = File::create(own.join(format!("minute-{number:06}.gpx")))?;
        write_points(&mut file, [number * apart_s, 60, 1], 48.9 + 0.001 * index as f64, "")?;
    }
    Ok(())
}

/// Writes one recording of so many points, so many seconds apart, that have what follows in them.
pub(crate) fn write_one(folder: &Path, points: i64, apart_s: i64, more: &str) -> io::Result<()> {
    fs::create_dir_all(folder)?;
    write_points(&mut File::create(folder.join("one.gpx"))?, [0, points, apart_s], 48.9, more)
}

/// Writes a GPX that begins so many seconds late and has so many points, so many seconds apart: they go 2.7 m to the north each,
/// and turn back every thousand.
fn write_points(
    out: &mut impl Write,
    [late_s, points, apart_s]: [i64; 3],
    latitude_deg: f64,
    more: &str,
) -> io::Result<()> {
    let mut text =
        String::from("<?xml version=\"1.0\"?>\n<gpx version=\"1.1\" creator=\"invented\"><trk><trkseg>\n");
    for point in 0..points {
        let time = DateTime::from_timestamp(FIRST_START_S + late_s + point * apart_s, 0).unwrap_or_default();
        let time = time.to_rfc3339_opts(SecondsFormat::Secs, true);
        let (turn, step) = (point / 1000 % 2, point % 1000);
        let latitude_deg = latitude_deg + 2.4e-5 * if turn == 0 { step } else { 1000 - step } as f64;
        text += &format!("<trkpt lat=\"{latitude_deg:.6}\" lon=\"15.6\"><time>{time}</time>{more}</trkpt>\n");
        if text.len() > 1 << 16 {
            out.write_all(text.as_bytes())?;
            text.clear();
        }
    }
    text += "</trkseg></trk></gpx>\n";
    out.write_all(text.as_bytes())
}

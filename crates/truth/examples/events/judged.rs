//! Drives, and even paces that people walk and jog.

use std::error::Error;

use boutwise_bouts::{AdherenceSettings, EventKind, Kind, Session};
use boutwise_track::{ReadSettings, Recording, read_text};
use boutwise_truth::files::{FileSettings, file_bytes};
use boutwise_truth::{
    DriveAt, EventfulSession, Happening, Random, Sensors, SessionSettings, Simulator, SyntheticSession, Tier,
    plans,
};
use rayon::prelude::*;

use crate::told::{ERRORS, measured, settings};

/// Two runs are the same where their edges differ by no more than this, in seconds.
const SAME_EDGE_S: f64 = 3.0;

/// The recording as the tool reads it from a file.
fn read(session: &SyntheticSession) -> Result<Recording, String> {
    let bytes =
        file_bytes(session, &FileSettings::default(), &mut Random::new(1)).map_err(|e| e.to_string())?;
    let reading = read_text(&bytes, &ReadSettings::default()).map_err(|e| e.to_string())?;
    reading.recordings.into_iter().next().ok_or_else(|| "no recording".to_owned())
}

/// Start and end of each run on the clock, in seconds since 1970.
fn runs(session: &Session) -> Vec<(f64, f64)> {
    let start_s = session.start_ns.unwrap_or(0) as f64 * 1e-9;
    let runs = session.bouts.iter().filter(|bout| bout.kind == Kind::Run);
    runs.map(|bout| (start_s + bout.start_s, start_s + bout.end_s)).collect()
}

fn is_same(plain: &Session, driven: &Session) -> bool {
    let (a, b) = (runs(plain), runs(driven));
    let near = |a: f64, b: f64| (a - b).abs() <= SAME_EDGE_S;
    plain.resolvable == driven.resolvable
        && (!plain.resolvable
            || a.len() == b.len() && a.iter().zip(&b).all(|(a, b)| near(a.0, b.0) && near(a.1, b.1)))
}

/// How often a session with a drive is judged as the same session without it.
pub(crate) fn drives(sessions: u64, first_seed: u64) -> Result<String, Box<dyn Error>> {
    let places: [(&str, &[DriveAt]); 3] = [
        ("before", &[DriveAt::Before]),
        ("after", &[DriveAt::After]),
        ("before and after", &[DriveAt::Before, DriveAt::After]),
    ];
    let mut text = String::from(
        "| drive | sensors | sessions | judged the same | drive told |\n|---|---|---:|---:|---:|\n",
    );
    for (name, at) in places {
        for cadence in [true, false] {
            let one = |index: u64| -> Result<(bool, bool), String> {
                let seed = first_seed + 500_000 + index;
                let settings = settings(index, ERRORS[(index % 2) as usize], cadence);
                let plain = EventfulSession::draw(seed, Happening::AsPlanned, &settings).session;
                let mut driven = plain.clone();
                let mut random = Random::new(seed);
                for &at in at {
                    let speed_m_per_s = random.between((7.0, 25.0));
                    driven.drive(at, speed_m_per_s, &mut random);
                }
                let [plain, driven] = [&plain, &driven].map(read);
                let (plain, driven) = (measured(&plain?), measured(&driven?));
                let told = driven.read(&[], false, &AdherenceSettings::default());
                let drives = told.events.iter().filter(|event| event.kind == EventKind::Vehicle).count();
                let same = is_same(&plain, &driven);
                if !same && std::env::args().len() > 2 {
                    println!(
                        "{name} {seed}: {} {} {:?} {:?}",
                        plain.resolvable,
                        driven.resolvable,
                        runs(&plain),
                        runs(&driven)
                    );
                }
                Ok((same, drives == at.len()))
            };
            let judged: Vec<(bool, bool)> =
                (0..sessions).into_par_iter().map(one).collect::<Result<_, _>>()?;
            let share = |is: fn(&(bool, bool)) -> bool| {
                100.0 * judged.iter().filter(|judged| is(judged)).count() as f64 / judged.len().max(1) as f64
            };
            text += &format!(
                "| {name} | {} | {sessions} | {:.1} % | {:.1} % |\n",
                if cadence { "cadence" } else { "speed alone" },
                share(|judged| judged.0),
                share(|judged| judged.1)
            );
        }
    }
    Ok(text)
}

/// How often an even pace is told as walked, as run, or left open, on a plan with runs and without cadence.
pub(crate) fn even_pace(sessions: u64, first_seed: u64) -> String {
    let mut text = String::from(
        "| even pace, m/s | sessions | told as walked | told as run | left open |\n|---|---:|---:|---:|---:|\n",
    );
    let plan = plans::session(300.0, &[70.0; 7], 80.0, 300.0);
    for range in [(1.2, 1.4), (1.4, 1.5), (1.55, 1.65), (1.65, 1.75), (1.75, 1.85), (2.0, 2.4)] {
        let one = |index: u64| {
            let seed = first_seed + 700_000 + index;
            let speed_m_per_s = Random::new(seed).between(range);
            let tier = Tier::ALL[(index % 3) as usize];
            let simulator = if (index / 6).is_multiple_of(2) { Simulator::First } else { Simulator::Second };
            let settings = SessionSettings {
                interruptions: Default::default(),
                ..SessionSettings::of(tier)
                    .with_error(ERRORS[(index / 3 % 2) as usize])
                    .with_simulator(simulator)
                    .with_sensors(Sensors::SPEED_ONLY)
            };
            let session = measured(&SyntheticSession::draw_even(seed, speed_m_per_s, &settings).recording);
            let events = session.read(&plan, false, &AdherenceSettings::default()).events;
            let is = |kind| events.iter().any(|event| event.kind == kind);
            let is_odd = match range.0 {
                slow if slow < 1.4 => !is(EventKind::WalkedThrough),
                slow if slow < 1.8 => !is(EventKind::CannotSay),
                _ => is(EventKind::WalkedThrough),
            };
            if is_odd && std::env::args().len() > 2 {
                let bouts = session.bouts.iter().map(|bout| {
                    format!(
                        "{}{:.0}-{:.0} {:.2} m/s",
                        &bout.kind.word()[..1],
                        bout.start_s,
                        bout.end_s,
                        bout.distance_m.unwrap_or(0.0) / bout.duration_s()
                    )
                });
                println!(
                    "even {seed} {speed_m_per_s:.2} {tier:?} {:.2}: {:?} {:?}",
                    session.confidence,
                    bouts.collect::<Vec<_>>(),
                    events.iter().map(|event| event.kind.word()).collect::<Vec<_>>()
                );
            }
            (is(EventKind::WalkedThrough), is(EventKind::CannotSay))
        };
        let told: Vec<(bool, bool)> = (0..sessions).into_par_iter().map(one).collect();
        let share = |is: fn(&(bool, bool)) -> bool| {
            100.0 * told.iter().filter(|told| is(told)).count() as f64 / told.len().max(1) as f64
        };
        text += &format!(
            "| {}–{} | {sessions} | {:.1} % | {:.1} % | {:.1} % |\n",
            range.0,
            range.1,
            share(|told| told.0),
            share(|told| !told.0 && !told.1),
            share(|told| told.1)
        );
    }
    text
}

//! Whose each file is: reads the recordings for what they show of their owner, and proposes.

use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::fmt::Write;

use boutwise_season::{
    Clue, MAX_NAME_LETTERS, Owner, Owners, Ownership, TrackClues, ZoneHints, assign, local_time,
};
use boutwise_track::{Fingerprint, ReadSettings, Recording, Sport, Status};
use chrono::{Datelike, Timelike};
use rayon::prelude::*;

use crate::overlap::shared_times;
use crate::plan_odds::PlanOdds;
use crate::rows::{moment, moment_in};
use crate::watch::Counter;
use crate::{Configuration, Error, Inputs, SeasonFiles, Watch};

/// Names that a row gives of those whom a recording fits alike (own choice).
const NAMED_MOST: usize = 5;

/// Owners that are proposed for a folder.
#[derive(Clone, Debug, Default)]
#[non_exhaustive]
pub struct Proposed {
    /// The owners file: the rows that stood there, then the new files.
    pub owners: Owners,
    /// New files whose owner is sure.
    pub sure: usize,
    /// New files whose owner is not sure.
    pub unsure: usize,
    /// New files that fit several alike.
    pub alike: usize,
    /// Whom these fit, in the order of the squad.
    pub alike_names: Vec<String>,
    /// New files that fit nobody.
    pub nobodys: usize,
    /// Files that stood in the owners file already.
    pub kept: usize,
    /// Files that failed or are partial, with the reason.
    pub faults: Vec<String>,
}

/// One recording with what it shows.
struct Track {
    clues: TrackClues,
    fingerprint: Fingerprint,
}

/// Proposes an owner for each file that holds a recording. Rows of the owners file, if there is one, stay as they are.
///
/// Titles, authors and devices serve the comparison and stand in no result.
///
/// # Errors
/// [`ErrorKind::Stopped`](crate::ErrorKind) where `watch` says so, [`ErrorKind::NoInput`](crate::ErrorKind) where the name of
/// a folder is longer than a name in an owners file may be.
pub fn propose_owners(
    inputs: &Inputs,
    files: &SeasonFiles,
    configuration: &Configuration,
    watch: Watch<'_>,
) -> Result<Proposed, Error> {
    let reading = ReadSettings { with_origin: true, ..configuration.reading.clone() };
    let names = names(inputs, files);
    if let Some(name) = names.iter().flatten().find(|name| name.chars().count() > MAX_NAME_LETTERS) {
        return Err(Error::long_name(name));
    }
    let plans = PlanOdds::new(&names, files);
    let counter = Counter::new(watch, inputs.len());
    let read: Vec<ReadInput> = (inputs.list().par_iter())
        .map(|input| {
            let (mut tracks, mut faults, mut bytes) = (Vec::new(), Vec::new(), Vec::new());
            input.read(&reading, &mut |reading| {
                if matches!(reading.status, Status::Failed | Status::Partial) {
                    let why = reading.sentences().next().unwrap_or_default();
                    faults.push(format!("{} {}: {why}", reading.status.word(), reading.file));
                }
                bytes.extend(reading.content_hash.map(|hash| (reading.file.clone(), hash)));
                let on_foot = reading.recordings.iter().filter(|recording| recording.sport != Sport::Cycling);
                tracks.extend(on_foot.map(|recording| {
                    let sessions = reading.recordings.len();
                    let mut track =
                        track(recording, &reading.file, reading.origin.as_ref(), sessions, configuration);
                    if let Some(plans) = &plans {
                        track.clues.plan_log_odds = plans.of(recording, configuration);
                    }
                    track
                }));
            });
            counter.one_more()?;
            Ok(ReadInput { tracks, faults, bytes })
        })
        .collect::<Result<_, Error>>()?;
    let (mut tracks, mut faults, mut bytes) = (Vec::new(), Vec::new(), HashMap::new());
    for input in read {
        tracks.extend(input.tracks);
        faults.extend(input.faults);
        bytes.extend(input.bytes);
    }
    for track in &mut tracks {
        track.clues.claimed = claimed(&track.clues, &names, files);
    }
    let fingerprints: Vec<&Fingerprint> = tracks.iter().map(|track| &track.fingerprint).collect();
    let shared = shared_times(&fingerprints);
    let clues: Vec<TrackClues> = tracks.into_iter().map(|track| track.clues).collect();
    let found = assign(&names, &clues, &shared);
    let originals = originals(&clues, &found, &bytes);
    Ok(table(&names, &clues, &found, files, &originals, faults))
}

/// What one input gave.
struct ReadInput {
    tracks: Vec<Track>,
    /// Files that failed or are partial, with the reason.
    faults: Vec<String>,
    /// Digests of the files' bytes.
    bytes: Vec<(String, u128)>,
}

/// For each file of nobody's that has the bytes of a file of somebody's the first of these, a sure one before others.
fn originals<'t>(
    clues: &'t [TrackClues],
    found: &[Ownership],
    bytes: &HashMap<String, u128>,
) -> HashMap<&'t str, &'t str> {
    let mut owned: HashMap<u128, (bool, &str)> = HashMap::new();
    let hashed = |at: usize| Some((at, *bytes.get(&clues[at].file)?));
    let (somebodys, nobodys): (Vec<_>, Vec<_>) =
        (0..clues.len()).filter_map(hashed).partition(|(at, _)| found[*at].athlete.is_some());
    for (at, hash) in somebodys {
        let this = (!found[at].sure, clues[at].file.as_str());
        let known = owned.entry(hash).or_insert(this);
        *known = this.min(*known);
    }
    let copy = |(at, hash): (usize, u128)| Some((clues[at].file.as_str(), owned.get(&hash)?.1));
    nobodys.into_iter().filter_map(copy).collect()
}

/// The names of each athlete: those of the squad file, else of the folders.
fn names(inputs: &Inputs, files: &SeasonFiles) -> Vec<Vec<String>> {
    match &files.squad {
        Some(squad) => {
            squad.athletes.iter().map(|athlete| athlete.names().map(str::to_owned).collect()).collect()
        }
        None => {
            let mut folders: Vec<String> = (inputs.list().iter())
                .filter_map(|input| Some(input.name().split_once('/')?.0.to_owned()))
                .collect();
            folders.dedup();
            folders.into_iter().map(|folder| vec![folder]).collect()
        }
    }
}

/// The athlete whom the owners file, the squad file, or without one the first folder, names for a recording.
fn claimed(clues: &TrackClues, names: &[Vec<String>], files: &SeasonFiles) -> Option<usize> {
    let index = |name: &str| names.iter().position(|names| names[0] == name);
    if let Some(owner) = files.owners.as_ref().and_then(|owners| owners.of(&clues.file, clues.session)) {
        let name = owner.athlete.as_deref()?;
        let known = files.athlete(name);
        return index(known.map_or(name, |athlete| athlete.name.as_str()));
    }
    let folder = clues.file.split_once('/').map_or("", |(folder, _)| folder);
    match &files.squad {
        Some(_) => files.athlete_at(&clues.file, folder).and_then(|athlete| index(&athlete.name)),
        None => index(folder),
    }
}

fn track(
    recording: &Recording,
    file: &str,
    origin: Option<&boutwise_track::Origin>,
    sessions: usize,
    configuration: &Configuration,
) -> Track {
    let place = recording.points.iter().find_map(|point| point.position);
    let place_deg = place.map(|place| (place.latitude_deg, place.longitude_deg));
    let start_ns = recording.points.time_ns().first().copied();
    let start = start_ns.map(|start_ns| moment_in(start_ns, recording.without_zone, configuration.zone()));
    let moved_s = start.zip(start_ns).map_or(0, |(start, start_ns)| (start - moment(start_ns)).num_seconds());
    let start = start.map(|start| {
        let hints = ZoneHints {
            setting: configuration.zone(),
            file_offset_s: recording.utc_offset_s,
            position_deg: place_deg,
            ..ZoneHints::default()
        };
        local_time(start, &hints).time
    });
    // Titles belong to sessions only where none was left out.
    let title = origin.and_then(|origin| {
        let at = if sessions == origin.titles.len() { recording.session.saturating_sub(1) } else { 0 };
        (sessions == origin.titles.len() || sessions == 1).then(|| origin.titles.get(at)?.clone()).flatten()
    });
    Track {
        clues: TrackClues {
            file: file.to_owned(),
            session: recording.session,
            title,
            author: origin.and_then(|origin| origin.author.clone()),
            device: origin.and_then(|origin| origin.device.clone()),
            start_minute: start.map(|start| f64::from(start.hour() * 60 + start.minute())),
            weekday: start.map(|start| start.weekday().num_days_from_monday()),
            place_deg,
            ..TrackClues::default()
        },
        fingerprint: Fingerprint::of(recording).moved_by(moved_s),
    }
}

fn table(
    names: &[Vec<String>],
    clues: &[TrackClues],
    found: &[Ownership],
    files: &SeasonFiles,
    originals: &HashMap<&str, &str>,
    faults: Vec<String>,
) -> Proposed {
    let mut proposed =
        Proposed { owners: files.owners.clone().unwrap_or_default(), faults, ..Proposed::default() };
    proposed.kept = proposed.owners.files.len();
    let mut by_file: BTreeMap<&str, Vec<&Ownership>> = BTreeMap::new();
    for (clues, ownership) in clues.iter().zip(found) {
        if !files.owners.as_ref().is_some_and(|owners| owners.has(&clues.file)) {
            by_file.entry(&clues.file).or_default().push(ownership);
        }
    }
    let mut alike: BTreeSet<usize> = BTreeSet::new();
    for (file, mut tracks) in by_file {
        alike.extend(tracks.iter().flat_map(|track| &track.alike));
        let fits_several = tracks.iter().any(|track| track.alike.len() > 1);
        let (sure, is_somebodys) =
            (tracks.iter().all(|track| track.sure), tracks.iter().any(|track| track.athlete.is_some()));
        match (sure, is_somebodys) {
            (true, _) => proposed.sure += 1,
            (false, true) => proposed.unsure += 1,
            (false, false) if fits_several => proposed.alike += 1,
            (false, false) => proposed.nobodys += 1,
        }
        // Tracks of one person need one row.
        if tracks.iter().all(|track| track.athlete == tracks[0].athlete) {
            tracks.sort_by_key(|track| track.sure);
            tracks.truncate(1);
        }
        for track in tracks {
            let athlete = track.athlete.map(|athlete| names[athlete][0].clone());
            let kinds: Vec<&str> = track.clues.iter().map(|clue| words(*clue, files)).collect();
            let mut why = match &athlete {
                Some(athlete) if !kinds.is_empty() => format!("{athlete}: {}", kinds.join(", ")),
                Some(athlete) => athlete.clone(),
                None => String::new(),
            };
            if let (None, Some(original)) = (&athlete, originals.get(file)) {
                let _ = write!(why, "a copy of {original}, byte for byte");
            } else if let Some(doubt) = track.doubt {
                if !why.is_empty() {
                    why.push_str("; ");
                }
                why.push_str(doubt);
                if !track.alike.is_empty() {
                    let _ = write!(why, ": {}", name_list(&track.alike, names));
                }
            }
            proposed.owners.push(file, Owner { athlete, sure: Some(track.sure), why });
        }
    }
    proposed.alike_names = alike.into_iter().map(|athlete| names[athlete][0].clone()).collect();
    proposed
}

/// The words for a kind of evidence: without a squad file it is the first folder that claims.
fn words(clue: Clue, files: &SeasonFiles) -> &'static str {
    if clue == Clue::SquadFolder && files.squad.is_none() {
        "the folder that it lies in"
    } else {
        clue.words()
    }
}

/// Names in a row; of many the first and how many more.
fn name_list(athletes: &[usize], names: &[Vec<String>]) -> String {
    let named: Vec<&str> =
        athletes.iter().take(NAMED_MOST).map(|athlete| names[*athlete][0].as_str()).collect();
    match athletes.len() - named.len() {
        0 => named.join(", "),
        more => format!("{} and {more} more", named.join(", ")),
    }
}

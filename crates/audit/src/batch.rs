//! Reads a folder of recordings and measures each session, many at a time, always in the same order.
//!
//! What was measured is put by at once ([`Spill`]). What stays in memory of a recording is what the others need to know:
//! whose it is, when and on which device it was made, and whether it counts.

use std::cell::RefCell;
use std::cmp::Reverse;
use std::collections::{BTreeMap, BTreeSet, HashMap, HashSet};
use std::ops::ControlFlow;

use boutwise_season::{Correction, Knowledge, LocalTime, Zone, ZoneHints, local_time};
use boutwise_track::{
    Candidate, Clock, Fingerprint, Format, OwnedFile, Status, find_duplicates, note_same_bytes,
};
use chrono::{DateTime, NaiveDate, Utc};
use rayon::prelude::*;
use serde::{Deserialize, Serialize};

use crate::cache::Round;
use crate::inputs::Input;
use crate::measuring::{Measured, MeasuredFile, MeasuredSession, Measuring};
use crate::overlap::of_several;
use crate::rows::moment;
use crate::said::{Said, SaidOfSessions};
use crate::spill::{Kept, Spill};
use crate::timings::{Laps, Stage};
use crate::watch::Counter;
use crate::workers::on_workers;
use crate::{Configuration, Error, Inputs, Pseudonyms, SeasonFiles};

/// Files that are read before what is known of them is put in order (own choice: the workers wait for the last of them).
const FILES_AT_A_TIME: usize = 1024;

/// Everything that a folder gave.
pub(crate) struct Batch<'a> {
    inputs: &'a Inputs,
    spill: Spill,
    /// Everybody who has a file or a session.
    names: Vec<String>,
    /// Every file and every member of an archive, in order of path.
    pub(crate) files: Vec<FileRead>,
    /// Every session that counts or would, in order of file and number.
    pub(crate) sessions: Vec<Recorded>,
    /// What was said of a file or a session when it was held against the others, by the index of the file.
    said: BTreeMap<usize, Vec<Said>>,
    /// Of those whose recordings cannot all be one person's: why, by name.
    /// Sessions that look like an earlier one on a clock of another time zone, each with that one.
    slips: Vec<(usize, usize)>,
    of_several: BTreeMap<String, String>,
    /// Of files that the folders of several athletes of the squad file name equally exactly: for whom they count, who comes next,
    /// and how many files there are.
    pub(crate) contested: BTreeMap<[String; 2], usize>,
    /// Of athletes with folders of their own in the squad file: how many files lie elsewhere, in a folder that bears a name of theirs.
    pub(crate) elsewhere: BTreeMap<String, usize>,
    /// Those whom squad file, owners file and folders name; only where corrections name somebody.
    pub(crate) usual_names: BTreeSet<String>,
    /// Corrections that give a recording to somebody who is none of these, by index of the row.
    pub(crate) newcomers: Vec<usize>,
}

/// What stays of one file.
pub(crate) struct FileRead {
    input: u32,
    /// Its name, where it is not the input's.
    member: Option<Box<str>>,
    /// Whose it is, by index; that of the first session where a file holds those of several people, `None` for nobody's.
    athlete: Option<u32>,
    pub(crate) status: Status,
    /// How many recordings were found in it.
    pub(crate) recordings: usize,
    pub(crate) content_hash: Option<u128>,
    kept: Kept,
}

/// What is put by of one file.
#[derive(Serialize, Deserialize)]
pub(crate) struct FileDetail {
    pub(crate) format: Option<Format>,
    /// Sessions, those that count for nobody too; once it is known which do, those that have rows of their own and those that
    /// are nobody's, and all of a copy.
    pub(crate) sessions: usize,
    pub(crate) has_recordings: bool,
    /// Points of these sessions.
    pub(crate) points_kept: usize,
    /// Of both: what is nobody's by the owners file. It was read, and counts for nobody.
    nobodys: (usize, usize),
    pub(crate) points_dropped: usize,
    /// What was said of it.
    pub(crate) said: Vec<Said>,
    /// What was said of each of its sessions that count or would.
    said_of_sessions: Vec<Vec<Said>>,
}

/// What stays of one recorded session.
pub(crate) struct Recorded {
    /// Index of its file.
    pub(crate) file: u32,
    /// Whose it is, by index.
    athlete: u32,
    /// Its number in the file, from 1.
    pub(crate) session: u32,
    /// Its place among all sessions in the order of paths, as they are without codes in place of names.
    pub(crate) rank: u32,
    /// Its start; `None` for a recording without points.
    pub(crate) start: Option<(DateTime<Utc>, LocalTime)>,
    pub(crate) clock: Clock,
    /// Whether the file breaks off in it.
    pub(crate) breaks_off: bool,
    pub(crate) device_key: Option<u64>,
    /// From when to when it counts, in seconds from its start, where the coach says that it is a part.
    part_s: Option<(f64, f64)>,
    /// Of what counts of it.
    duration_s: f64,
    points: u32,
    is_duplicate: bool,
    /// Whether another recording of the same time counts in its place.
    pub(crate) is_overlapped: bool,
    /// Whether the coach says that it counts for nothing.
    pub(crate) is_unused: bool,
    /// Whether the coach vouches for its day.
    is_vouched_for: bool,
    /// Whether the coach says that it is a session of the plan (`true`) or none (`false`).
    is_on_plan: Option<bool>,
    /// Indices of the files with a recording of the athlete that shares time with it.
    overlaps: Box<[u32]>,
    /// Index of the file of the earlier recording that it may be a copy of.
    may_be_copy_of: Option<u32>,
    fingerprint: Kept,
    measured: Kept,
}

impl Recorded {
    /// Whether it is of a later day than one that was named. Where nothing tells the time zone, its day is that of UTC here.
    fn is_after(&self, day: Option<NaiveDate>) -> bool {
        matches!((self.start, day), (Some((_, local)), Some(day)) if local.day() > day)
    }
}

/// What one input gave: its files and their sessions, each with the name of its athlete.
type FromInput = Vec<(Named<FileRead>, Vec<Named<Recorded>>)>;

/// Something of somebody's, or of nobody's.
struct Named<T>(Option<String>, T);

/// Reads and measures every recording, and says which of them count and which are copies or of several people.
pub(crate) fn read<'a>(
    inputs: &'a Inputs,
    files: &SeasonFiles,
    configuration: &Configuration,
    counter: &Counter<'_>,
) -> Result<Batch<'a>, Error> {
    let measuring = Measuring::new(configuration);
    let reader = Reader {
        all: inputs.name(),
        files,
        configuration,
        round: Round::of_files(configuration.cache.as_ref(), &measuring, inputs),
        measuring,
        spill: Spill::new(configuration.scratch.as_deref()),
        counter,
    };
    let read = read_all(inputs, &reader);
    // What was read of a run that was stopped need not be read again either.
    reader.round.end(read.is_ok());
    let (names, all_files, sessions) = read?;
    let (usual_names, newcomers) = reader.newcomers(inputs, &all_files);
    let (contested, elsewhere) = (reader.contested(inputs, &all_files), reader.elsewhere(inputs, &all_files));
    let mut batch = Batch {
        inputs,
        spill: reader.spill,
        names,
        files: all_files,
        sessions,
        said: BTreeMap::new(),
        of_several: BTreeMap::new(),
        slips: Vec::new(),
        contested,
        elsewhere,
        usual_names,
        newcomers,
    };
    batch.compare(configuration, counter)?;
    batch.note_bytes_of_two_athletes();
    batch.set_ranks();
    Ok(batch)
}

/// Everybody's names, and files and sessions in their order.
type AllRead = (Vec<String>, Vec<FileRead>, Vec<Recorded>);

/// Reads every recording.
fn read_all(inputs: &Inputs, reader: &Reader<'_>) -> Result<AllRead, Error> {
    // Most files hold one session.
    let (mut all_files, mut sessions) = (Vec::with_capacity(inputs.len()), Vec::with_capacity(inputs.len()));
    let mut names = Names::default();
    for (chunk, list) in inputs.list().chunks(FILES_AT_A_TIME).enumerate() {
        let mut places: Vec<usize> = (0..list.len()).collect();
        // Large files first: the others would wait for one that is begun last.
        places.sort_by_cached_key(|&place| Reverse(list[place].size_bytes()));
        let mut read: Vec<(usize, FromInput)> = (places.into_iter().par_bridge())
            .map(|place| {
                let found = reader.read(&list[place], (chunk * FILES_AT_A_TIME + place) as u32)?;
                reader.counter.one_more()?;
                Ok((place, found))
            })
            .collect::<Result<_, Error>>()?;
        read.sort_unstable_by_key(|(place, _)| *place);
        for (Named(athlete, file), own) in read.into_iter().flat_map(|(_, found)| found) {
            let index = all_files.len() as u32;
            all_files.push(FileRead { athlete: athlete.map(|name| names.index(name)), ..file });
            sessions.extend(own.into_iter().filter_map(|Named(athlete, session)| {
                Some(Recorded { file: index, athlete: names.index(athlete?), ..session })
            }));
        }
    }
    Ok((names.list, all_files, sessions))
}

/// The digest of every file, as an audit would find it.
pub(crate) fn digests(
    inputs: &Inputs,
    configuration: &Configuration,
) -> Result<Vec<(String, Option<u128>)>, Error> {
    let reading = configuration.read_settings();
    on_workers(configuration, || {
        let read = |input: &Input| {
            let mut found = Vec::new();
            input.read(&reading, &mut |reading| found.push((reading.file, reading.content_hash)));
            found
        };
        Ok(inputs.list().par_iter().flat_map_iter(read).collect())
    })
}

/// Names by index.
#[derive(Default)]
struct Names {
    list: Vec<String>,
    places: HashMap<String, u32>,
}

impl Names {
    fn index(&mut self, name: String) -> u32 {
        if let Some(place) = self.places.get(&name) {
            return *place;
        }
        let place = self.list.len() as u32;
        self.list.push(name.clone());
        self.places.insert(name, place);
        place
    }
}

/// Reads inputs, and puts by what they gave.
struct Reader<'a> {
    /// The athlete of the recordings that lie in no folder of an athlete.
    all: &'a str,
    files: &'a SeasonFiles,
    configuration: &'a Configuration,
    round: Round<'a>,
    measuring: Measuring,
    spill: Spill,
    counter: &'a Counter<'a>,
}

impl Reader<'_> {
    /// Whose a session of a file, or of a member of an archive, is that lies in `input`: as corrections say, else as the
    /// owners file says, else as the squad file says, else by the first folder; `None` for nobody's.
    fn athlete(&self, input: &Input, file: &str, session: usize) -> Option<String> {
        let by_hand = self.files.corrections.of_file(file, session).and_then(|said| said.athlete);
        if let Some(name) = by_hand {
            let known = self.files.athlete(&name);
            return Some(known.map_or(name, |athlete| athlete.name.clone()));
        }
        self.usual_athlete(input, file, session)
    }

    /// The same without corrections.
    fn usual_athlete(&self, input: &Input, file: &str, session: usize) -> Option<String> {
        if let Some(owner) = self.files.owners.as_ref().and_then(|owners| owners.of(file, session)) {
            let name = owner.athlete.as_ref()?;
            let known = self.files.athlete(name);
            return Some(known.map_or_else(|| name.clone(), |athlete| athlete.name.clone()));
        }
        let folder = input.first_folder().unwrap_or(self.all);
        let known = self.files.athlete_at(file, folder);
        Some(known.map_or_else(|| folder.to_owned(), |athlete| athlete.name.clone()))
    }

    /// Whom anything but corrections names, and the rows of the corrections that give a recording to somebody else.
    fn newcomers(&self, inputs: &Inputs, read: &[FileRead]) -> (BTreeSet<String>, Vec<usize>) {
        let rows = self.files.corrections.rows.iter().enumerate();
        let named: Vec<(usize, &str)> = rows
            .filter(|(_, row)| row.file.is_some())
            .filter_map(|(at, row)| Some((at, row.athlete.as_deref()?)))
            .filter(|(_, name)| self.files.athlete(name).is_none())
            .collect();
        if named.is_empty() {
            return (BTreeSet::new(), Vec::new());
        }
        let of_file = |file: &FileRead| {
            let input = &inputs.list()[file.input as usize];
            let name = file.member.as_deref().unwrap_or(input.name());
            (1..=file.recordings.max(1))
                .filter_map(|session| self.usual_athlete(input, name, session))
                .collect()
        };
        let usual: BTreeSet<String> = read.iter().flat_map(|file| -> Vec<String> { of_file(file) }).collect();
        let newcomers =
            named.into_iter().filter(|(_, name)| !usual.contains(*name)).map(|(at, _)| at).collect();
        (usual, newcomers)
    }

    /// The files that several athletes of the squad file claim alike, where nothing but that file says whose they are.
    fn contested(&self, inputs: &Inputs, read: &[FileRead]) -> BTreeMap<[String; 2], usize> {
        let mut contested = BTreeMap::new();
        let Some(squad) = self.files.squad.as_ref().filter(|squad| squad.has_patterns()) else {
            return contested;
        };
        for (_, name) in self.placed(inputs, read) {
            if let [first, next, ..] = squad.claims(name)[..] {
                *contested.entry([first.name.clone(), next.name.clone()]).or_default() += 1;
            }
        }
        contested
    }

    /// The files that lie in none of the folders of the squad file, but in one that bears the name of somebody who has such.
    fn elsewhere(&self, inputs: &Inputs, read: &[FileRead]) -> BTreeMap<String, usize> {
        let mut elsewhere = BTreeMap::new();
        let Some(squad) = &self.files.squad else { return elsewhere };
        for (input, name) in self.placed(inputs, read) {
            let known = self.files.athlete_at(name, input.first_folder().unwrap_or(self.all));
            if let Some(known) = known.filter(|known| !known.folders.is_empty())
                && squad.athlete_of(name).is_none()
            {
                *elsewhere.entry(known.name.clone()).or_default() += 1;
            }
        }
        elsewhere
    }

    /// The files with recordings of which only their place says whose they are, by their names.
    fn placed<'r>(
        &'r self,
        inputs: &'r Inputs,
        read: &'r [FileRead],
    ) -> impl Iterator<Item = (&'r Input, &'r str)> {
        let with_recordings = read.iter().filter(|file| file.recordings > 0);
        with_recordings.filter_map(move |file| {
            let input = &inputs.list()[file.input as usize];
            let name = file.member.as_deref().unwrap_or(input.name());
            let is_told = |session| {
                let by_hand = self.files.corrections.of_file(name, session).and_then(|said| said.athlete);
                by_hand.is_some() || self.files.owners.as_ref().is_some_and(|owners| owners.has(name))
            };
            (!(1..=file.recordings).all(is_told)).then_some((input, name))
        })
    }

    /// What an input gives: as it is known, where it is, else as it is read.
    fn read(&self, input: &Input, place: u32) -> Result<FromInput, Error> {
        let (mut found, mut failed, mut laps) = (Vec::new(), None, self.configuration.laps());
        let mut take = |file: MeasuredFile, laps: &mut Laps<'_>| {
            let taken = self.take(file, input, place).map(|taken| found.push(taken));
            laps.end(Stage::PutBy);
            taken.and_then(|()| self.counter.go_on())
        };
        let entry = self.round.entry(input, &self.files.corrections);
        if let Some(known) = entry.unchanged() {
            laps.end(Stage::Read);
            known.into_iter().try_for_each(|file| take(file, &mut laps))?;
            return Ok(found);
        }
        let (entry, mut known) = (RefCell::new(entry), None);
        let mut is_known = |bytes: &[u8]| {
            known = entry.borrow_mut().with_content(bytes);
            known.is_some()
        };
        input.read_unless_known(&self.measuring.reading, &mut is_known, &mut |reading| {
            laps.end(Stage::Read);
            let file = self.measuring.file(reading, &self.files.corrections, &mut laps);
            let taken = file.and_then(|file| {
                entry.borrow_mut().give(&file);
                take(file, &mut laps)
            });
            match taken {
                Ok(()) => ControlFlow::Continue(()),
                Err(error) => {
                    failed = Some(error);
                    ControlFlow::Break(())
                }
            }
        });
        laps.end(Stage::Read);
        if let Some(error) = failed {
            return Err(error);
        }
        match known {
            Some(known) => known.into_iter().try_for_each(|file| take(file, &mut laps))?,
            None => entry.into_inner().keep(),
        }
        laps.end(Stage::PutBy);
        Ok(found)
    }

    /// Says whose the sessions of a file are, and puts by what they gave.
    fn take(
        &self,
        mut file: MeasuredFile,
        input: &Input,
        place: u32,
    ) -> Result<(Named<FileRead>, Vec<Named<Recorded>>), Error> {
        file.put_into_zones(|file, session| self.zone(self.athlete(input, &file.name, session)?.as_str()))?;
        let (mut sessions, mut said_of_sessions) = (Vec::new(), Vec::new());
        let pieces = self.spill.put_bytes(std::mem::take(&mut file.pieces))?;
        let on_foot = file.sessions.len();
        let mut nobodys = (0, 0);
        for session in file.sessions {
            let Some(athlete) = self.athlete(input, &file.name, session.number) else {
                nobodys = (nobodys.0 + 1, nobodys.1 + session.points as usize);
                continue;
            };
            let by_hand = self.files.corrections.of_file(&file.name, session.number);
            let part_s = by_hand.as_ref().and_then(Correction::part_s);
            let recorded = Recorded {
                file: 0,
                athlete: 0,
                session: session.number as u32,
                rank: 0,
                start: session.start_ns.map(|start_ns| self.local(start_ns, &session, &athlete)),
                clock: session.clock,
                breaks_off: false,
                device_key: session.device_key,
                part_s,
                duration_s: part_s.map_or(session.duration_s, |(from_s, to_s)| {
                    (to_s.min(session.duration_s) - from_s).max(0.0)
                }),
                points: session.points,
                is_duplicate: false,
                is_overlapped: false,
                is_unused: by_hand.as_ref().is_some_and(Correction::is_unused),
                is_vouched_for: by_hand.as_ref().is_some_and(Correction::confirms_day),
                is_on_plan: by_hand.as_ref().and_then(Correction::is_on_plan),
                overlaps: Box::default(),
                may_be_copy_of: None,
                fingerprint: pieces.part(&session.fingerprint),
                measured: pieces.part(&session.measured),
            };
            sessions.push(Named(Some(athlete), recorded));
            said_of_sessions.push(session.said);
        }
        if let (Status::Partial, Some(Named(_, last))) = (file.status, sessions.last_mut()) {
            last.breaks_off = true;
        }
        let mut said = file.said;
        if sessions.len() < on_foot {
            let count = on_foot - sessions.len();
            let text =
                format!("nobody's by the owners file: {count} of {on_foot} recordings count for nobody");
            said.push(Said::of_file("nobody's", count as u64, text));
        }
        let detail = FileDetail {
            format: file.format,
            sessions: file.sessions_found,
            has_recordings: file.sessions_found > 0,
            points_kept: file.points_kept,
            nobodys,
            points_dropped: file.points_dropped,
            said,
            said_of_sessions,
        };
        // A file that lies loose is guessed to be of the one whose folder the whole is: where nothing was read of it, it makes
        // nobody a person.
        let is_guess = file.sessions_found == 0 && input.first_folder().is_none();
        let athlete = self.athlete(input, &file.name, 1).filter(|name| !is_guess || name != self.all);
        let read = FileRead {
            input: place,
            athlete: None,
            status: file.status,
            recordings: file.sessions_found,
            content_hash: file.content_hash,
            kept: self.spill.put(&detail)?,
            member: (file.name != input.name()).then(|| file.name.into_boxed_str()),
        };
        Ok((Named(athlete, read), sessions))
    }

    /// The zone that the user names for an athlete.
    fn zone(&self, athlete: &str) -> Option<&Zone> {
        let squad = self.files.athlete(athlete).and_then(|athlete| athlete.time_zone.as_ref());
        squad.or(self.configuration.zone())
    }

    fn local(&self, start_ns: i64, session: &MeasuredSession, athlete: &str) -> (DateTime<Utc>, LocalTime) {
        let instant = moment(start_ns);
        let hints = ZoneHints {
            squad: self.files.athlete(athlete).and_then(|athlete| athlete.time_zone.as_ref()),
            setting: self.configuration.zone(),
            file_offset_s: session.utc_offset_s,
            position_deg: session.position_deg,
            ..ZoneHints::default()
        };
        (instant, local_time(instant, &hints))
    }
}

/// How the sessions of one athlete stand to each other.
struct Compared {
    /// Of each session: what counts in its place, by index of session.
    duplicate_of: Vec<Option<usize>>,
    overlaps: Vec<Vec<usize>>,
    /// Pairs that look like one session on two clocks, the later first.
    slips: Vec<(usize, usize)>,
    said: Vec<Vec<Said>>,
    of_several: Option<String>,
}

impl Batch<'_> {
    /// Whether others may belong to the same squad.
    pub(crate) fn is_part(&self) -> bool {
        self.inputs.is_part()
    }

    /// The name of a file.
    pub(crate) fn file_name(&self, file: usize) -> &str {
        let file = &self.files[file];
        match &file.member {
            Some(name) => name,
            None => self.inputs.list()[file.input as usize].name(),
        }
    }

    /// Puts codes in place of all names. What the order of paths decides is decided by then, as a code is a number by chance.
    pub(crate) fn rename(&mut self, codes: &Pseudonyms) {
        self.names = self.names.iter().map(|name| codes.person(name)).collect();
        let contested = std::mem::take(&mut self.contested).into_iter();
        self.contested =
            contested.map(|(names, count)| (names.map(|name| codes.person(&name)), count)).collect();
        let elsewhere = std::mem::take(&mut self.elsewhere).into_iter();
        self.elsewhere = elsewhere.map(|(name, count)| (codes.person(&name), count)).collect();
        let of_several = std::mem::take(&mut self.of_several).into_iter();
        self.of_several = of_several.map(|(name, why)| (codes.person(&name), why)).collect();
        self.said.values_mut().flatten().for_each(|said| said.rename_other(|file| codes.file(file)));
        let coded: Vec<String> = (0..self.files.len()).map(|file| codes.file(self.file_name(file))).collect();
        for (file, code) in self.files.iter_mut().zip(coded) {
            file.member = Some(code.into_boxed_str());
        }
    }

    /// Everybody who has a file or a session.
    pub(crate) fn athletes(&self) -> impl Iterator<Item = &str> {
        self.names.iter().map(String::as_str)
    }

    /// Whose a file is.
    pub(crate) fn file_athlete(&self, file: &FileRead) -> Option<&str> {
        file.athlete.map(|athlete| self.names[athlete as usize].as_str())
    }

    /// Whose a session is.
    pub(crate) fn athlete(&self, recorded: &Recorded) -> &str {
        &self.names[recorded.athlete as usize]
    }

    /// Why the recordings of an athlete are taken for several people's.
    pub(crate) fn of_several(&self, athlete: &str) -> Option<&str> {
        self.of_several.get(athlete).map(String::as_str)
    }

    /// What was measured of a session; what was said of it beside the others is among its notes.
    pub(crate) fn measured(&self, recorded: &Recorded) -> Result<Measured, Error> {
        let mut measured: Measured = self.spill.get(recorded.measured)?;
        self.file_name(recorded.file as usize).clone_into(&mut measured.trace.file);
        let of_file = self.said.get(&(recorded.file as usize));
        let own = of_file.into_iter().flatten();
        let own = own.filter(|said| said.session == Some(u64::from(recorded.session)));
        measured.session.notes.extend(own.map(|said| said.text.clone()));
        Ok(measured)
    }

    /// The names of the files that share time with a session.
    pub(crate) fn overlaps(&self, recorded: &Recorded) -> Vec<String> {
        recorded.overlaps.iter().map(|file| self.file_name(*file as usize).to_owned()).collect()
    }

    /// What is known of a file, and what was said of each of its sessions that count, by index.
    pub(crate) fn file(&self, file: usize) -> Result<(FileDetail, SaidOfSessions), Error> {
        let mut detail: FileDetail = self.spill.get(self.files[file].kept)?;
        detail.said.extend(self.said.get(&file).into_iter().flatten().cloned());
        let first = self.sessions.partition_point(|recorded| (recorded.file as usize) < file);
        let said = std::mem::take(&mut detail.said_of_sessions);
        let own = (first..).zip(said).filter(|(index, _)| !self.sessions[*index].is_duplicate);
        let own: SaidOfSessions = own.collect();
        // A copy keeps what was found in it, as it counts elsewhere.
        if self.files[file].status != Status::Duplicate {
            let points = own.iter().map(|(index, _)| self.sessions[*index].points as usize);
            let (nobodys, points_nobodys) = detail.nobodys;
            (detail.sessions, detail.points_kept) =
                (own.len() + nobodys, points.sum::<usize>() + points_nobodys);
        }
        Ok((detail, own))
    }

    /// The name of the file with the earlier recording that a session may be a copy of.
    pub(crate) fn may_be_copy_of(&self, recorded: &Recorded) -> Option<String> {
        recorded.may_be_copy_of.map(|file| self.file_name(file as usize).to_owned())
    }

    /// The digest of every file, by name.
    pub(crate) fn into_digests(self) -> Vec<(String, Option<u128>)> {
        let Self { inputs, files, sessions, spill, .. } = self;
        drop((sessions, spill));
        let named = files.into_iter().map(|file| {
            let name = file
                .member
                .map_or_else(|| inputs.list()[file.input as usize].name().to_owned(), String::from);
            (name, file.content_hash)
        });
        named.collect()
    }

    /// Holds the sessions of each athlete against each other: finds those that another recording holds too, those that
    /// share time with another, and those that cannot all be one person's.
    fn compare(&mut self, configuration: &Configuration, counter: &Counter<'_>) -> Result<(), Error> {
        let mut by_athlete: BTreeMap<u32, Vec<usize>> = BTreeMap::new();
        // What counts for nothing, by hand, stands in nobody's way.
        for (index, recorded) in self.sessions.iter().enumerate().filter(|(_, recorded)| !recorded.is_unused)
        {
            by_athlete.entry(recorded.athlete).or_default().push(index);
        }
        let mut by_athlete: Vec<(u32, Vec<usize>)> =
            by_athlete.into_iter().filter(|(_, own)| own.len() > 1).collect();
        by_athlete.sort_by(|(a, _), (b, _)| self.names[*a as usize].cmp(&self.names[*b as usize]));
        let compared: Vec<Compared> = (by_athlete.par_iter())
            .map(|(_, own)| {
                counter.go_on()?;
                let mut laps = configuration.laps();
                let compared = self.compared(own, configuration);
                laps.end(Stage::Compare);
                compared
            })
            .collect::<Result<_, Error>>()?;
        let mut lost_in: HashSet<u32> = HashSet::new();
        for ((athlete, own), compared) in by_athlete.iter().zip(compared) {
            for (&index, said) in own.iter().zip(compared.said) {
                if !said.is_empty() {
                    self.said.entry(self.sessions[index].file as usize).or_default().extend(said);
                }
            }
            for (&index, duplicate_of) in own.iter().zip(&compared.duplicate_of) {
                self.sessions[index].is_duplicate = duplicate_of.is_some();
                if duplicate_of.is_some_and(|other| !self.makes_good(other, index, configuration)) {
                    lost_in.insert(self.sessions[index].file);
                }
            }
            for &(later, earlier) in &compared.slips {
                let file = self.sessions[earlier].file;
                self.sessions[later].may_be_copy_of.get_or_insert(file);
            }
            self.slips.extend(compared.slips);
            self.set_overlapped_apart(own, &compared.overlaps, configuration.as_of)?;
            let name = || self.names[*athlete as usize].clone();
            self.of_several.extend(compared.of_several.map(|why| (name(), why)));
        }
        let mut counting = vec![(0_u32, 0_u32); self.files.len()];
        for recorded in &self.sessions {
            let (all, counts) = &mut counting[recorded.file as usize];
            *all += 1;
            *counts += u32::from(!recorded.is_duplicate);
        }
        for ((file, (all, counts)), index) in self.files.iter_mut().zip(counting).zip(0..) {
            // What was read of it counts elsewhere; what was lost of it may be nowhere, so that it stays to be told.
            let is_lost = file.status == Status::Partial && lost_in.contains(&index);
            if all > 0 && counts == 0 && !is_lost {
                file.status = Status::Duplicate;
            }
        }
        Ok(())
    }

    /// Whether one recording holds what the file of its copy lost: it has the same bytes, or is whole and goes on where the copy
    /// breaks off.
    fn makes_good(&self, whole: usize, copy: usize, configuration: &Configuration) -> bool {
        let (whole, copy) = (&self.sessions[whole], &self.sessions[copy]);
        let [file, other] = [whole, copy].map(|recorded| &self.files[recorded.file as usize]);
        let has_same_bytes = file.content_hash.is_some() && file.content_hash == other.content_hash;
        let goes_on = whole.duration_s > copy.duration_s + configuration.settings.duplicates.time_s;
        has_same_bytes || file.status != Status::Partial && goes_on
    }

    fn compared(&self, own: &[usize], configuration: &Configuration) -> Result<Compared, Error> {
        let fingerprint = |&index: &usize| {
            let Recorded { fingerprint, part_s, .. } = &self.sessions[index];
            let fingerprint: Fingerprint = self.spill.get(*fingerprint)?;
            Ok(match *part_s {
                Some((from_s, to_s)) => fingerprint.of_part(from_s, to_s),
                None => fingerprint,
            })
        };
        let fingerprints: Vec<Fingerprint> = own.iter().map(fingerprint).collect::<Result<_, Error>>()?;
        let candidate = |(&index, fingerprint)| {
            let recorded: &Recorded = &self.sessions[index];
            let file = &self.files[recorded.file as usize];
            Candidate {
                file: self.file_name(recorded.file as usize),
                session: recorded.session as usize,
                content_hash: file.content_hash,
                partial: file.status == Status::Partial,
                fingerprint,
            }
        };
        let candidates: Vec<Candidate<'_>> = own.iter().zip(&fingerprints).map(candidate).collect();
        let standings = find_duplicates(&candidates, &configuration.settings.duplicates);
        let counting: Vec<&Fingerprint> = (own.iter().zip(&fingerprints).zip(&standings))
            .filter(|((index, _), standing)| {
                // What a clock of another time zone put beside the same session is nobody else's.
                let is_again = standing.duplicate_of.is_some() || !standing.slips.is_empty();
                !is_again && !self.sessions[**index].is_after(configuration.as_of)
            })
            .map(|((_, fingerprint), _)| fingerprint)
            .collect();
        let of_several = of_several(&counting, &configuration.settings.rules);
        let mut compared = Compared {
            duplicate_of: Vec::with_capacity(own.len()),
            overlaps: Vec::with_capacity(own.len()),
            slips: Vec::new(),
            said: Vec::with_capacity(own.len()),
            of_several,
        };
        for (&index, standing) in own.iter().zip(standings) {
            let session = u64::from(self.sessions[index].session);
            // Of two that share time at most one counts, and that is said where they do.
            let apart = standing.slips.iter().filter(|earlier| !standing.overlaps.contains(earlier));
            // Where the coach says that its day is right, or which session it is, it is none.
            let is_on_plan = self.sessions[index].is_on_plan == Some(true);
            let apart = apart.filter(|_| !is_on_plan && !self.sessions[index].is_vouched_for);
            compared.slips.extend(apart.map(|&earlier| (index, own[earlier])));
            compared.duplicate_of.push(standing.duplicate_of.map(|other| own[other]));
            compared.overlaps.push(standing.overlaps.into_iter().map(|other| own[other]).collect());
            compared
                .said
                .push(standing.notes.into_iter().map(|note| Said::from(note).about(session)).collect());
        }
        Ok(compared)
    }

    /// Of recordings that share time the one that is a session of the plan by hand counts, and one that is none by hand only
    /// where all are; then one of which a part counts by hand, or what was cut off would count all the same. Of those nearly as
    /// long as the others that show movement the one that knows most of the outing, then the longest, then the first in the
    /// order of paths.
    fn set_overlapped_apart(
        &mut self,
        own: &[usize],
        overlaps: &[Vec<usize>],
        as_of: Option<NaiveDate>,
    ) -> Result<(), Error> {
        let with: HashMap<usize, &[usize]> = (own.iter().zip(overlaps))
            .filter(|(_, overlaps)| !overlaps.is_empty())
            .map(|(&index, overlaps)| (index, overlaps.as_slice()))
            .collect();
        let mut best_first: Vec<usize> = with.keys().copied().collect();
        let mut knowledge: HashMap<usize, Knowledge> = HashMap::new();
        for &at in &best_first {
            let Measured { session, .. } = self.spill.get(self.sessions[at].measured)?;
            knowledge.insert(at, Knowledge::of(&session.bouts, session.resolvable, session.confidence));
        }
        let duration_s = |at: usize| self.sessions[at].duration_s;
        // What is later than the day judged from takes nothing from what is not.
        let is_later = |at: usize| self.sessions[at].is_after(as_of);
        let is_short = |at: usize| {
            let others = with[&at].iter().filter(|other| is_later(at) || !is_later(**other));
            others
                .into_iter()
                .any(|other| Knowledge::misses_part(duration_s(at), duration_s(*other), knowledge[other]))
        };
        let rank = |at: usize| match (self.sessions[at].is_on_plan, self.sessions[at].part_s) {
            (Some(true), Some(_)) => 0,
            (Some(true), None) => 1,
            (None, Some(_)) => 2,
            (None, None) => 3,
            (Some(false), _) => 4,
        };
        best_first.sort_by(|&a, &b| {
            (is_later(a), rank(a), is_short(a))
                .cmp(&(is_later(b), rank(b), is_short(b)))
                .then(knowledge[&b].cmp(&knowledge[&a]))
                .then(duration_s(b).total_cmp(&duration_s(a)))
                .then(a.cmp(&b))
        });
        let mut counted: std::collections::HashSet<usize> = std::collections::HashSet::new();
        for &at in &best_first {
            if !with[&at].iter().any(|other| counted.contains(other)) {
                counted.insert(at);
            }
        }
        for at in best_first {
            let files = with[&at].iter().map(|&other| self.sessions[other].file).collect();
            let recorded = &mut self.sessions[at];
            recorded.overlaps = files;
            recorded.is_overlapped = !counted.contains(&at);
        }
        Ok(())
    }

    /// Notes the files of several athletes that have the same bytes.
    fn note_bytes_of_two_athletes(&mut self) {
        let mut by_hash: Vec<(u128, usize)> = (self.files.iter().enumerate())
            .filter(|(_, file)| file.recordings > 0 && file.athlete.is_some())
            .filter_map(|(index, file)| Some((file.content_hash?, index)))
            .collect();
        by_hash.sort_unstable();
        let alike = by_hash.chunk_by(|(a, _), (b, _)| a == b).filter(|alike| alike.len() > 1);
        let mut alike: Vec<usize> = alike.flatten().map(|(_, index)| *index).collect();
        alike.sort_unstable();
        let owned: Vec<OwnedFile<'_>> = (alike.iter())
            .filter_map(|&file| {
                Some(OwnedFile {
                    athlete: self.file_athlete(&self.files[file])?,
                    file: self.file_name(file),
                    content_hash: self.files[file].content_hash,
                })
            })
            .collect();
        let notes = note_same_bytes(&owned);
        for (file, note) in alike.into_iter().zip(notes) {
            self.said.entry(file).or_default().extend(note.map(Said::from));
        }
    }

    fn set_ranks(&mut self) {
        let mut by_path: Vec<u32> = (0..self.sessions.len() as u32).collect();
        let path = |recorded: &Recorded| (self.file_name(recorded.file as usize), recorded.session);
        by_path.sort_by(|&a, &b| path(&self.sessions[a as usize]).cmp(&path(&self.sessions[b as usize])));
        for (session, rank) in by_path.into_iter().zip(0..) {
            self.sessions[session as usize].rank = rank;
        }
    }

    /// Files that look like another on a clock of another time zone, each with that one, in the order of names.
    pub(crate) fn slips(&self) -> Vec<(&str, &str)> {
        let file_name = |session: usize| self.file_name(self.sessions[session].file as usize);
        let mut slips: Vec<(&str, &str)> =
            self.slips.iter().map(|&(later, earlier)| (file_name(later), file_name(earlier))).collect();
        slips.sort_unstable();
        slips
    }

    /// Points of all sessions.
    pub(crate) fn points(&self) -> u64 {
        self.sessions.iter().map(|recorded| u64::from(recorded.points)).sum()
    }

    /// The sessions that count, with their indices.
    pub(crate) fn counting(&self) -> impl Iterator<Item = (usize, &Recorded)> {
        self.sessions.iter().enumerate().filter(|(_, recorded)| !recorded.is_duplicate)
    }
}

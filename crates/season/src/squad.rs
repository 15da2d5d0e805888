//! The squad file: who is in the squad, which plan each follows and what is known of each.

use std::collections::{BTreeSet, HashMap, HashSet};

use chrono::NaiveDate;

use crate::Error;
use crate::error::{ErrorKind, nearest};
use crate::folder_pattern::{FolderPattern, folded_path};
use crate::name::{composed, folded_name};
use crate::sheet::{Columns, NOTES_MOST, Row, Sheet};
use crate::wording::{list, withheld};
use crate::zone::Zone;

const COLUMNS: Columns = Columns {
    known: &[
        "athlete",
        "also",
        "folder",
        "plan",
        "start",
        "joined",
        "left",
        "away",
        "group",
        "goal_m",
        "birth_year",
        "resting_hr_bpm",
        "max_hr_bpm",
        "time_zone",
        "screened",
        "pulse_medicine",
    ],
    required: &[&["athlete", "group"]],
    names: &["athlete", "group"],
    signs: &[],
};
/// Columns that a row of a group may fill.
const GROUP_COLUMNS: [&str; 7] = ["group", "plan", "start", "joined", "left", "away", "goal_m"];
/// Years of birth that are believed (own choice).
const BIRTH_YEARS: (f64, f64) = (1900.0, 2100.0);
/// Resting heart rates that are believed, in beats per minute (own choice).
const RESTING_HR_BPM: (f64, f64) = (25.0, 120.0);
/// Largest heart rates that are believed, in beats per minute (own choice).
const MAX_HR_BPM: (f64, f64) = (100.0, 240.0);
/// Most plans that somebody follows one after the other (own choice: one a month for a year and more).
const MAX_PLANS: usize = 20;
/// Most absences of an athlete or a group, whose athletes have each of them (own choice: one a week for a year).
const MAX_ABSENCES: usize = 50;
/// Goals that are believed, in metres (own choice: below, kilometres were meant).
const GOAL_M: (f64, f64) = (100.0, 100_000.0);
/// Parts several names, folders or absences in one cell.
const BAR: char = '|';
/// Likeness from which a word after an absence is a slip for one of the two that have a meaning (own choice).
const RETURN_LIKENESS: f64 = 0.75;

/// A plan that an athlete follows from a day on.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Assignment {
    /// Path of the plan file, as seen from the squad file.
    pub plan: Option<String>,
    /// Day of the plan's first session.
    pub start: Option<NaiveDate>,
}

/// What happens to the plan after an absence.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum AfterAway {
    /// The athlete goes on where they left off: the plan waited.
    GoOn,
    /// The athlete joins the others again: the plan went on.
    Rejoin,
}

/// Days on which nothing falls due for an athlete.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Away {
    /// First day.
    pub from: NaiveDate,
    /// Last day.
    pub to: NaiveDate,
    /// Why, as written.
    pub reason: Option<Box<str>>,
    /// What follows, where the coach said so; else the recordings say.
    pub then: Option<AfterAway>,
}

impl Away {
    /// Whether a day lies in it.
    pub fn holds(&self, day: NaiveDate) -> bool {
        (self.from..=self.to).contains(&day)
    }
}

/// One athlete of the squad file.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Athlete {
    /// The name in every table.
    pub name: String,
    /// Other names of the same person.
    pub also: Vec<String>,
    /// Where the recordings lie below the audited folder; empty for the folders named as the athlete.
    pub folders: Vec<FolderPattern>,
    /// The plans, in order of their starts: one, or more where the plan was switched.
    pub assignments: Vec<Assignment>,
    /// The first day on which a session may fall due.
    pub joined: Option<NaiveDate>,
    /// The last day on which a session may fall due.
    pub left: Option<NaiveDate>,
    /// Absences, in order of their first days.
    pub away: Vec<Away>,
    /// The group, as written.
    pub group: Option<String>,
    /// Metres to be run without a break.
    pub goal_m: Option<f64>,
    /// Year of birth.
    pub birth_year: Option<i32>,
    /// Heart rate at rest in beats per minute.
    pub resting_hr_bpm: Option<f64>,
    /// Largest heart rate in beats per minute.
    pub max_hr_bpm: Option<f64>,
    /// Time zone of the runs.
    pub time_zone: Option<Zone>,
    /// Whether a health screening was noted.
    pub screened: Option<bool>,
    /// Whether a medicine that lowers the pulse was noted.
    pub pulse_medicine: Option<bool>,
    /// The cells of the columns that are carried, in the order in which these were asked for.
    pub carried: Vec<Option<String>>,
}

impl Athlete {
    /// The name and the other names.
    pub fn names(&self) -> impl Iterator<Item = &str> {
        std::iter::once(self.name.as_str()).chain(self.also.iter().map(String::as_str))
    }

    /// Whether sessions may fall due for the athlete on a day, as far as the squad file says.
    pub fn is_there(&self, day: NaiveDate) -> bool {
        self.joined.is_none_or(|joined| joined <= day)
            && self.left.is_none_or(|left| day <= left)
            && !self.away.iter().any(|away| away.holds(day))
    }
}

/// A squad file.
///
/// An athlete who switched plans has one row for each plan, the later ones with their `start`. A row with a group and
/// without an athlete holds for all of that group; an athlete's own cell outranks it.
///
/// ```
/// use boutwise_season::Squad;
/// let squad = Squad::read("Athlete; plan; start\nMira; spring.toml; 2026-03-02\n".as_bytes(), "squad.csv").unwrap();
/// assert_eq!(squad.athlete_of("mira/2026-03-02.gpx").unwrap().name, "Mira");
/// ```
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Squad {
    /// The athletes, in the order of the file.
    pub athletes: Vec<Athlete>,
    /// The groups, as the file first writes them.
    pub groups: Vec<String>,
    /// What was odd in the file, in sentences.
    pub notes: Vec<String>,
    /// Athletes by each of their folded names.
    by_name: HashMap<Box<str>, u32>,
    /// Athletes by each folded folder, as it is written.
    by_folder: HashMap<Box<str>, u32>,
    /// Those with `*` or `?`, by what stands before the first of these.
    patterns: HashMap<Box<str>, Vec<(FolderPattern, u32)>>,
    /// Bytes of the longest of these.
    longest_head: usize,
    /// Those that begin with `*` or `?`, by the longest piece of them that has neither, and how long these are.
    by_piece: HashMap<Box<str>, Vec<(FolderPattern, u32)>>,
    piece_lengths: BTreeSet<usize>,
    /// Whether the names are codes, of which none is a slip of the pen for another.
    is_coded: bool,
}

/// A row of the file, before the rows are joined.
struct Written {
    athlete: Athlete,
    line: usize,
}

impl Squad {
    /// Reads a squad file: any usual separator and encoding, headers in any case and order.
    ///
    /// # Errors
    ///
    /// The first cell that can't be read, with line, caret and how to mend it: a wrong number, an ambiguous date,
    /// an unknown time zone, one name or folder of two athletes, two rows for one athlete that contradict each other, a
    /// heading that is near a known one, a file beyond [`MAX_TABLE_BYTES`](crate::MAX_TABLE_BYTES).
    pub fn read(bytes: &[u8], name: &str) -> Result<Self, Error> {
        Self::read_carrying(bytes, name, &[])
    }

    /// The same with columns that have no meaning here and are carried as they stand: the cells of an athlete's own row, else
    /// of the group's.
    ///
    /// ```
    /// use boutwise_season::Squad;
    /// let text = "athlete,arm\nMira,calls\n";
    /// let squad = Squad::read_carrying(text.as_bytes(), "squad.csv", &["arm".to_owned()]).unwrap();
    /// assert_eq!(squad.athletes[0].carried, [Some("calls".to_owned())]);
    /// ```
    ///
    /// # Errors
    ///
    /// Those of [`Squad::read`]; a column that the file has not, or that has a meaning of its own.
    pub fn read_carrying(bytes: &[u8], name: &str, carry: &[String]) -> Result<Self, Error> {
        let mut sheet = Sheet::read_carrying(ErrorKind::Squad, name, bytes, COLUMNS, carry)?;
        sheet.find_date_order(&["start", "joined", "left", "away"], dates_in)?;
        let mut notes = std::mem::take(&mut sheet.notes);
        let mut squad = Self::default();
        let mut lines: Vec<u32> = Vec::new();
        let mut groups: HashMap<Box<str>, (Option<Written>, String)> = HashMap::new();
        let mut zones: HashMap<String, Zone> = HashMap::new();
        sheet.for_each(|row| {
            let written = read_row(row, &mut zones)?;
            if let Some(group) = &written.group {
                let known = groups.entry(folded_name(group).into()).or_insert((None, group.clone()));
                if written.name.is_empty() {
                    join_group(row, &mut known.0, written)?;
                    return Ok(());
                }
            }
            let folded: Box<str> = folded_name(&written.name).into();
            let Some(&at) = squad.by_name.get(&folded) else {
                return squad.add(row, written, &mut lines);
            };
            // Names lead to athletes that were added, each with its line.
            let known = &mut squad.athletes[at as usize];
            let first = lines[at as usize];
            if folded_name(&known.name) != *folded {
                return Err(row.error(
                    "athlete",
                    format!("\"{}\" is another name of {} in line {first}", written.name, known.name),
                    "names of one person only",
                    "take the name out of `also` there, or this row out",
                ));
            }
            if join(known, &written) {
                notes.push(|| format!("{name}, line {}: the same as line {first}, read once", row.line));
            } else if is_switch(known, &written) && complete(known, &written) {
                switch(row, known, written)?;
            } else {
                return Err(row.error(
                    "athlete",
                    format!("\"{}\" stands in line {first} already, with other values", written.name),
                    "one row for each athlete, or for a switched plan another plan with its later start",
                    "take one of the rows out, or fill in plan and start of the later plan and nothing that differs",
                ));
            }
            Ok(())
        })?;
        squad.groups = groups.values().map(|(_, written)| written.clone()).collect();
        squad.groups.sort();
        for athlete in &mut squad.athletes {
            let group = athlete.group.as_deref().and_then(|group| groups.get(folded_name(group).as_str()));
            if let Some((Some(group), _)) = group {
                fill_in(athlete, &group.athlete);
            }
        }
        squad.notes = notes.into_sentences(name);
        Ok(squad)
    }

    /// Adds an athlete whose name is new.
    fn add(&mut self, row: &Row<'_>, athlete: Athlete, lines: &mut Vec<u32>) -> Result<(), Error> {
        let index = u32::try_from(self.athletes.len()).unwrap_or(u32::MAX);
        for (column, name) in
            athlete.names().zip(0..).map(|(name, at)| (["athlete", "also"][at.min(1)], name))
        {
            match self.by_name.insert(folded_name(name).into(), index) {
                // Whoever else has it was added before, with a line.
                Some(other) if other != index => {
                    let problem =
                        format!("\"{name}\" is a name of the athlete in line {}", lines[other as usize]);
                    let mend = "give each name to one person";
                    return Err(row.error(column, problem, "a name that nobody else has", mend));
                }
                _ => {}
            }
        }
        for pattern in &athlete.folders {
            if !pattern.is_literal() {
                let (head, piece) = (pattern.head(), pattern.longest_piece());
                let known = if head.is_empty() {
                    self.piece_lengths.insert(piece.len());
                    self.by_piece.entry(piece.into())
                } else {
                    self.longest_head = self.longest_head.max(head.len());
                    self.patterns.entry(head.into())
                };
                known.or_default().push((pattern.clone(), index));
            }
            // A folder whose name is the pattern's own letters is one that the pattern holds.
            if let Some(twin) = self.by_folder.insert(pattern.text().into(), index)
                && twin != index
            {
                let problem = format!("the folder of the athlete in line {}", lines[twin as usize]);
                let mend = "give each athlete a folder of their own";
                return Err(row.error("folder", problem, "a folder of its own", mend));
            }
        }
        lines.push(u32::try_from(row.line).unwrap_or(u32::MAX));
        self.athletes.push(athlete);
        Ok(())
    }

    /// The squad with codes in place of the names of athletes and groups, and without folders and what was written freely:
    /// for what comes after it is known whose each recording is.
    #[must_use]
    pub fn renamed(&self, athlete: impl Fn(&str) -> String, group: impl Fn(&str) -> String) -> Self {
        let renamed = |known: &Athlete| Athlete {
            name: athlete(&known.name),
            also: Vec::new(),
            folders: Vec::new(),
            away: known.away.iter().map(|away| Away { reason: None, ..away.clone() }).collect(),
            group: known.group.as_deref().map(&group),
            ..known.clone()
        };
        let athletes: Vec<Athlete> = self.athletes.iter().map(renamed).collect();
        let by_name = athletes.iter().zip(0..).map(|(athlete, at)| (folded_name(&athlete.name).into(), at));
        Self {
            by_name: by_name.collect(),
            groups: self.groups.iter().map(|written| group(written)).collect(),
            notes: withheld(&self.notes, ErrorKind::Squad.word()),
            by_folder: HashMap::new(),
            patterns: HashMap::new(),
            longest_head: 0,
            by_piece: HashMap::new(),
            piece_lengths: BTreeSet::new(),
            is_coded: true,
            athletes,
        }
    }

    /// The athlete whose folder holds a path below the audited folder, composition and case of letters being free.
    ///
    /// The folder with the most parts wins, then the one with the most characters that are no `*` or `?`, then the first
    /// of the file. An athlete without `folder` has those that bear one of their names.
    pub fn athlete_of(&self, path: &str) -> Option<&Athlete> {
        self.claims(path).into_iter().next()
    }

    /// Whether a folder has `*` or `?`: only then may one path be claimed by several.
    pub fn has_patterns(&self) -> bool {
        !(self.patterns.is_empty() && self.by_piece.is_empty())
    }

    /// The athletes whose folders hold a path equally exactly: none, one, or several who can't be told apart by it.
    pub fn claims(&self, path: &str) -> Vec<&Athlete> {
        let path = folded_path(path);
        let mut claims: Vec<(crate::folder_pattern::Exactness, u32)> = Vec::new();
        let ends = path.match_indices('/').map(|(at, _)| at).chain([path.len()]);
        for (parts, folder) in ends.filter_map(|end| path.get(..end)).enumerate() {
            let claim = FolderPattern::new(folder).map(|folder| folder.exactness());
            let named = self.by_folder.get(folder).copied().or_else(|| {
                let athlete = self.by_name.get(folder).copied().filter(|_| parts == 0)?;
                self.athletes.get(athlete as usize)?.folders.is_empty().then_some(athlete)
            });
            claims.extend(claim.zip(named));
        }
        let ends = path.char_indices().map(|(at, _)| at).chain([path.len()]);
        let heads = ends.take_while(|end| *end <= self.longest_head);
        let by_head = heads.filter_map(|end| self.patterns.get(&path[..end])).flatten();
        let path = path.as_str();
        let pieces = self.piece_lengths.iter().flat_map(|&length| {
            let starts = path.char_indices().map(|(at, _)| at).chain([path.len()]);
            starts.filter_map(move |at| path.get(at..at + length))
        });
        let mut by_piece: Vec<&(FolderPattern, u32)> =
            pieces.filter_map(|piece| self.by_piece.get(piece)).flatten().collect();
        by_piece.sort_unstable_by_key(|(_, athlete)| *athlete);
        by_piece.dedup_by(|a, b| std::ptr::eq(*a, *b));
        let matching = by_head.chain(by_piece).filter(|(pattern, _)| pattern.holds(path));
        claims.extend(matching.map(|(pattern, athlete)| (pattern.exactness(), *athlete)));
        let Some(best) = claims.iter().map(|(exactness, _)| *exactness).max() else { return Vec::new() };
        claims.retain(|(exactness, _)| *exactness == best);
        let mut athletes: Vec<u32> = claims.into_iter().map(|(_, athlete)| athlete).collect();
        athletes.sort_unstable();
        athletes.dedup();
        athletes.into_iter().filter_map(|athlete| self.athletes.get(athlete as usize)).collect()
    }

    /// The athlete of a name or other name, whatever its case and composition.
    pub fn athlete(&self, name: &str) -> Option<&Athlete> {
        self.by_name.get(folded_name(name).as_str()).and_then(|index| self.athletes.get(*index as usize))
    }

    /// A sentence for each athlete of the squad file of whom there is no recording, and for each folder that the
    /// squad file does not know. `recorded` are the athletes that the folders name.
    pub fn compare<'a>(&self, recorded: impl IntoIterator<Item = &'a str>) -> Vec<String> {
        let recorded: Vec<&str> = recorded.into_iter().collect();
        let folded: HashSet<String> = recorded.iter().map(|name| folded_name(name)).collect();
        let silent =
            self.athletes.iter().filter(|athlete| !folded.contains(&folded_name(&athlete.name))).map(
                |athlete| {
                    let places: Vec<&str> = if athlete.folders.is_empty() {
                        athlete.names().collect()
                    } else {
                        athlete.folders.iter().map(FolderPattern::written).collect()
                    };
                    let places: Vec<String> = places.iter().map(|place| format!("\"{place}\"")).collect();
                    format!(
                        "{}: in the squad file, but no recording was found in {}",
                        athlete.name,
                        list(&places)
                    )
                },
            );
        let strangers = recorded.iter().filter(|name| self.athlete(name).is_none());
        let strangers = strangers.enumerate().map(|(at, name)| {
            // Whoever named so many folders otherwise means something else by their names.
            let is_asked = at < NOTES_MOST && !self.is_coded;
            let known = self.athletes.iter().filter(|_| is_asked).flat_map(Athlete::names);
            let meant = nearest(name, known, 1)
                .first()
                .map_or(String::new(), |meant| format!("; did you mean {meant}?"));
            format!("{name}: recordings, but no row in the squad file{meant}")
        });
        silent.chain(strangers).collect()
    }
}

/// The dates that a cell of the squad file holds.
fn dates_in(cell: &str) -> Vec<&str> {
    cell.split(BAR).flat_map(|part| part.split("..")).map(|part| leading_date(part).0).collect()
}

/// The date that a text begins with, and what follows it.
fn leading_date(text: &str) -> (&str, &str) {
    let text = text.trim();
    let ends = text.match_indices([' ', ',']).map(|(at, _)| at).chain([text.len()]);
    // A date may hold spaces and commas (2 Mar 2026); four fields are more than any has.
    let parts = ends.filter_map(|end| text.split_at_checked(end));
    let candidates: Vec<(&str, &str)> = parts.filter(|(date, _)| !date.is_empty()).take(4).collect();
    let dated = candidates.iter().find(|(date, _)| crate::date::read_date(date).is_ok());
    dated.or(candidates.first()).copied().unwrap_or(("", text))
}

fn read_row(row: &Row<'_>, zones: &mut HashMap<String, Zone>) -> Result<Athlete, Error> {
    let name = row.cell("athlete").map(composed).unwrap_or_default().into_owned();
    let group = row.cell("group").map(|group| composed(group).into_owned());
    if name.is_empty() {
        if group.is_none() {
            let mend = "fill in the name, or take the row out";
            let problem = "a row without athlete".into();
            return Err(row.error("athlete", problem, "a name, or a group for the row of a group", mend));
        }
        let of_one = COLUMNS.known.iter().find(|column| {
            **column != "athlete" && !GROUP_COLUMNS.contains(column) && row.cell(column).is_some()
        });
        if let Some(column) = of_one {
            let problem = format!("{column} in the row of a group");
            let expected = format!("in such a row only {}", GROUP_COLUMNS.join(", "));
            let mend = "empty the cell, or fill in the athlete";
            return Err(row.error(column, problem, &expected, mend));
        }
    }
    let max_hr_bpm = row.number("max_hr_bpm", MAX_HR_BPM)?;
    let resting_hr_bpm = row.number("resting_hr_bpm", RESTING_HR_BPM)?;
    if let (Some(rest), Some(max)) = (resting_hr_bpm, max_hr_bpm)
        && rest >= max
    {
        let problem = format!("a resting heart rate of {rest} and a largest of {max}");
        let mend = "check the two columns: they may be swapped";
        return Err(row.error("resting_hr_bpm", problem, "resting below largest", mend));
    }
    let (joined, left) = (row.date("joined")?, row.date("left")?);
    if let (Some(joined), Some(left)) = (joined, left)
        && joined > left
    {
        let problem = format!("left on {left}, before joining on {joined}");
        return Err(row.error("left", problem, "a day after joined", "check the two days"));
    }
    Ok(Athlete {
        also: read_also(row, &name),
        folders: read_folders(row)?,
        assignments: vec![Assignment {
            plan: row.cell("plan").map(str::to_owned),
            start: row.date("start")?,
        }],
        joined,
        left,
        away: read_away(row)?,
        group,
        goal_m: read_goal(row)?,
        birth_year: row.number("birth_year", BIRTH_YEARS)?.map(|year| year as i32),
        resting_hr_bpm,
        max_hr_bpm,
        time_zone: row.cell("time_zone").map(|cell| read_zone(row, cell, zones)).transpose()?,
        screened: row.flag("screened")?,
        pulse_medicine: row.flag("pulse_medicine")?,
        carried: row.carried(),
        name,
    })
}

fn read_goal(row: &Row<'_>) -> Result<Option<f64>, Error> {
    let kilometres = row.cell("goal_m").and_then(|cell| {
        let number =
            cell.to_lowercase().trim_end_matches("km").trim().replace(',', ".").parse::<f64>().ok()?;
        (number > 0.0 && number < GOAL_M.0).then_some(number)
    });
    match kilometres {
        Some(km) => Err(row.error(
            "goal_m",
            format!("a goal of {}", row.cell("goal_m").unwrap_or_default()),
            "the distance to be run without a break, in metres",
            &format!("write {:.0}", km * 1000.0),
        )),
        None => row.number("goal_m", GOAL_M),
    }
}

fn read_also(row: &Row<'_>, name: &str) -> Vec<String> {
    let mut seen = HashSet::from([folded_name(name)]);
    let mut also = Vec::new();
    for other in row.cell("also").into_iter().flat_map(|cell| cell.split(BAR)) {
        let folded = folded_name(other);
        if !folded.is_empty() && seen.insert(folded) {
            also.push(composed(other.trim()).into_owned());
        }
    }
    also
}

fn read_folders(row: &Row<'_>) -> Result<Vec<FolderPattern>, Error> {
    let mut seen = HashSet::new();
    let mut folders = Vec::new();
    for written in row.cell("folder").into_iter().flat_map(|cell| cell.split(BAR)) {
        if written.trim().is_empty() {
            continue;
        }
        let Some(pattern) = FolderPattern::new(written) else {
            let problem = format!("\"{}\" is no folder below the audited folder", written.trim());
            let mend = "name the folder as seen from the audited folder";
            return Err(row.error("folder", problem, "a folder below it", mend));
        };
        if seen.insert(pattern.clone()) {
            folders.push(pattern);
        }
    }
    Ok(folders)
}

fn read_away(row: &Row<'_>) -> Result<Vec<Away>, Error> {
    const FORM: &str = "days as 2026-10-12..2026-10-25, several parted by |";
    let mut absences = Vec::new();
    for written in row.cell("away").into_iter().flat_map(|cell| cell.split(BAR)) {
        let written = written.trim();
        if written.is_empty() {
            continue;
        }
        let Some((first, rest)) = written.split_once("..") else {
            let day = leading_date(written).0;
            let mend = match row.date_in("away", day) {
                Ok(_) => format!("write {day}..{day} for one day"),
                Err(_) => "leave it empty, or write the first and the last day".to_owned(),
            };
            return Err(row.error("away", format!("\"{written}\" has no .. between two days"), FORM, &mend));
        };
        let (last, rest) = leading_date(rest.trim_start_matches('.'));
        let (from, to) = (row.date_in("away", first.trim())?, row.date_in("away", last)?);
        if from > to {
            let problem = format!("away from {from} to {to}, which is earlier");
            return Err(row.error("away", problem, FORM, "write the first day first"));
        }
        let (reason, then) = read_reason(row, rest)?;
        row.check_name("away", reason.unwrap_or_default())?;
        if absences.len() == MAX_ABSENCES {
            let problem = format!("more than {MAX_ABSENCES} absences");
            let mend = "join those that follow each other, and leave out those of other seasons";
            return Err(row.error("away", problem, &format!("at most {MAX_ABSENCES}"), mend));
        }
        absences.push(Away { from, to, reason: reason.map(Into::into), then });
    }
    absences.sort_by_key(|away| (away.from, away.to));
    Ok(absences)
}

/// The reason of an absence and what follows it: `injured, rejoin`.
fn read_reason<'t>(row: &Row<'_>, rest: &'t str) -> Result<(Option<&'t str>, Option<AfterAway>), Error> {
    let rest = rest.trim_matches([' ', ',', ';']);
    let (before, last) = rest.rsplit_once([',', ';']).unwrap_or(("", rest));
    let word = folded_name(&last.replace('-', " "));
    let then = match word.as_str() {
        "go on" => AfterAway::GoOn,
        "rejoin" => AfterAway::Rejoin,
        _ => {
            let meant = RETURN_WORDS
                .into_iter()
                .find(|meant| strsim::normalized_damerau_levenshtein(&word, meant) >= RETURN_LIKENESS);
            return match meant {
                Some(meant) => Err(row.error(
                    "away",
                    format!("\"{}\" after an absence", last.trim()),
                    "go on or rejoin, or a reason",
                    &format!("write {meant}"),
                )),
                None if has_return_word(rest) => Err(row.error(
                    "away",
                    format!("\"{rest}\" after an absence: a reason, or what follows it?"),
                    "a reason, and go on or rejoin after a comma",
                    &said_apart(rest),
                )),
                None => Ok((Some(rest).filter(|reason| !reason.is_empty()), None)),
            };
        }
    };
    Ok((Some(before.trim()).filter(|reason| !reason.is_empty()), Some(then)))
}

/// What may follow an absence, as names are compared.
const RETURN_WORDS: [&str; 2] = ["go on", "rejoin"];

fn has_return_word(reason: &str) -> bool {
    let words = folded_name(&reason.replace(|c: char| !c.is_alphanumeric(), " "));
    let words = format!(" {} ", words.split_whitespace().collect::<Vec<_>>().join(" "));
    RETURN_WORDS.iter().any(|word| words.contains(&format!(" {word} ")))
}

/// How to write a reason in which stands what follows the absence.
fn said_apart(reason: &str) -> String {
    let lower = reason.to_lowercase();
    let apart = RETURN_WORDS.iter().find_map(|word| {
        let before = reason.get(..lower.strip_suffix(word)?.len())?;
        Some(format!("write \"{}, {word}\"", before.trim()))
    });
    let other = "or give the reason in other words";
    apart.map_or_else(
        || format!("put go on or rejoin last, after a comma, {other}"),
        |apart| format!("{apart}, {other}"),
    )
}

fn read_zone(row: &Row<'_>, cell: &str, zones: &mut HashMap<String, Zone>) -> Result<Zone, Error> {
    if let Some(zone) = zones.get(cell) {
        return Ok(*zone);
    }
    let zone =
        Zone::find(cell).map_err(|flaw| row.error("time_zone", flaw.problem, &flaw.expected, &flaw.mend))?;
    zones.insert(cell.to_owned(), zone);
    Ok(zone)
}

/// Joins a row of a group with an earlier one: a repeat or a switched plan.
fn join_group(row: &Row<'_>, known: &mut Option<Written>, written: Athlete) -> Result<(), Error> {
    match known {
        None => *known = Some(Written { athlete: written, line: row.line }),
        Some(known) if join(&known.athlete, &written) => {}
        Some(known) if is_switch(&known.athlete, &written) => {
            switch(row, &mut known.athlete, written)?;
        }
        Some(known) => {
            let group = written.group.unwrap_or_default();
            return Err(row.error(
                "group",
                format!("the group \"{group}\" stands in line {} already, with other values", known.line),
                "one row for each group, or for a switched plan another plan with its later start",
                "take one of the rows out, or fill in plan and start of the later plan",
            ));
        }
    }
    Ok(())
}

/// Gives an athlete what their group has and they have not.
fn fill_in(athlete: &mut Athlete, group: &Athlete) {
    let own = &mut athlete.assignments;
    if own.iter().all(|assignment| *assignment == Assignment::default()) {
        own.clone_from(&group.assignments);
    } else if let (Some(first), Some(of_group)) = (own.first_mut(), group.assignments.first()) {
        first.plan = first.plan.take().or_else(|| of_group.plan.clone());
        first.start = first.start.or(of_group.start);
    }
    athlete.joined = athlete.joined.or(group.joined);
    athlete.left = athlete.left.or(group.left);
    if athlete.away.is_empty() {
        athlete.away.clone_from(&group.away);
    }
    athlete.goal_m = athlete.goal_m.or(group.goal_m);
    for (own, of_group) in athlete.carried.iter_mut().zip(&group.carried) {
        *own = own.take().or_else(|| of_group.clone());
    }
}

/// Whether a later row only repeats what is known.
fn join(known: &Athlete, row: &Athlete) -> bool {
    let alike = Athlete { assignments: row.assignments.clone(), ..known.clone() };
    let row_named = Athlete { name: known.name.clone(), group: known.group.clone(), ..row.clone() };
    let same_group = known.group.as_deref().map(folded_name) == row.group.as_deref().map(folded_name);
    same_group
        && alike == row_named
        && row.assignments.iter().all(|assignment| known.assignments.contains(assignment))
}

/// Takes from a later row what the earlier one left open; false where the two contradict each other.
fn complete(known: &mut Athlete, row: &Athlete) -> bool {
    fn take<T: Clone + PartialEq>(known: &mut Option<T>, row: &Option<T>) -> bool {
        let agree = known.is_none() || row.is_none() || known == row;
        *known = known.take().or_else(|| row.clone());
        agree
    }
    let lists = (row.also.is_empty() || row.also == known.also)
        && (row.folders.is_empty() || row.folders == known.folders)
        && (row.away.is_empty() || row.away == known.away);
    lists
        & take(&mut known.joined, &row.joined)
        & take(&mut known.left, &row.left)
        & take(&mut known.group, &row.group)
        & take(&mut known.goal_m, &row.goal_m)
        & take(&mut known.birth_year, &row.birth_year)
        & take(&mut known.resting_hr_bpm, &row.resting_hr_bpm)
        & take(&mut known.max_hr_bpm, &row.max_hr_bpm)
        & take(&mut known.time_zone, &row.time_zone)
        & take(&mut known.screened, &row.screened)
        & take(&mut known.pulse_medicine, &row.pulse_medicine)
        & known
            .carried
            .iter_mut()
            .zip(&row.carried)
            .fold(true, |agree, (known, row)| agree & take(known, row))
}

/// Whether a later row names another plan with a later start.
fn is_switch(known: &Athlete, row: &Athlete) -> bool {
    let (Some(last), Some(next)) = (known.assignments.last(), row.assignments.first()) else { return false };
    next.plan.is_some() && next.plan != last.plan && next.start.is_some() && next.start > last.start
}

/// Adds the plan of a later row.
fn switch(row: &Row<'_>, known: &mut Athlete, later: Athlete) -> Result<(), Error> {
    if known.assignments.len() == MAX_PLANS {
        let problem = format!("a plan number {} for the same", MAX_PLANS + 1);
        let mend = "keep the plans of this season only";
        return Err(row.error("plan", problem, &format!("at most {MAX_PLANS}, one after the other"), mend));
    }
    known.assignments.extend(later.assignments);
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn squad(text: &str) -> Result<Squad, Error> {
        Squad::read(text.as_bytes(), "squad.csv")
    }

    fn day(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    #[test]
    fn a_pattern_that_begins_with_a_star_is_found_by_what_is_written_in_it() {
        let rows: String = (0..50).map(|at| format!("N{at},*{at:02}*\n")).collect();
        let squad = squad(&format!("athlete,folder\n{rows}Ada,*\nZoe,?*é?x\nCy,*ab*b*\n")).unwrap();
        assert_eq!(squad.by_piece.len(), 53);
        let owner = |path: &str| squad.athlete_of(path).map(|athlete| athlete.name.as_str());
        for (path, name) in [
            ("group 07/a.gpx", "N7"),
            ("07/a.gpx", "N7"),
            ("some/a07.gpx", "Ada"),
            ("1 Éyx/a.gpx", "Zoe"),
            ("xabab/a.gpx", "Cy"),
            ("cab/a.gpx", "Ada"),
        ] {
            assert_eq!(owner(path), Some(name), "{path}");
        }
        let claims = |path: &str| squad.claims(path).iter().map(|one| one.name.clone()).collect::<Vec<_>>();
        assert_eq!(claims("0712/a.gpx"), ["N7", "N12"]);
        assert!(squad.has_patterns());
    }

    #[test]
    fn a_full_row_is_read_whatever_the_case_and_order_of_its_columns() {
        let text = "\u{feff}Time zone;Athlete;Resting HR (bpm);MAX_HR_BPM;folder;Birth-Year;screened;pulse medicine;\
                    also;Joined;left;goal m;group\r\n\
                    europe/berlin;Mira;58,5;190;.\\group 1\\mira\\ | mira-new*;1985;yes;No;Mimi|M. Ost|mira;\
                    2026-03-02;2026-06-01;3000;Tuesday\r\n";
        let squad = squad(text).unwrap();
        let athlete = &squad.athletes[0];
        assert_eq!((athlete.name.as_str(), athlete.also.join("|")), ("Mira", "Mimi|M. Ost".to_owned()));
        let folders: Vec<&str> = athlete.folders.iter().map(FolderPattern::text).collect();
        assert_eq!(folders, ["group 1/mira", "mira-new*"]);
        assert_eq!(
            (athlete.resting_hr_bpm, athlete.max_hr_bpm, athlete.birth_year, athlete.goal_m),
            (Some(58.5), Some(190.0), Some(1985), Some(3000.0))
        );
        assert_eq!((athlete.joined, athlete.left), (Some(day("2026-03-02")), Some(day("2026-06-01"))));
        assert_eq!((athlete.screened, athlete.pulse_medicine), (Some(true), Some(false)));
        assert_eq!(athlete.time_zone.as_ref().map(ToString::to_string), Some("Europe/Berlin".into()));
        assert_eq!(
            (athlete.group.as_deref(), squad.groups.as_slice()),
            (Some("Tuesday"), &["Tuesday".into()][..])
        );
        assert!(squad.athlete("MIMI").is_some() && squad.athlete("m. ost").is_some());
    }

    #[test]
    fn the_most_exact_folder_names_the_athlete() {
        let text =
            "athlete,folder\nCoach,group\nMira,group/mira\nMi,\nTom,tom.zip|inbox/tom-*\nAny,inbox/*\n";
        let squad = squad(text).unwrap();
        let name = |path: &str| squad.athlete_of(path).map(|athlete| athlete.name.as_str());
        assert_eq!(name("group/mira/a.gpx"), Some("Mira"));
        assert_eq!(name("group/other/a.gpx"), Some("Coach"));
        assert_eq!((name("MI/a.gpx"), name("mirabelle/a.gpx")), (Some("Mi"), None));
        assert_eq!((name("tom.zip/x/a.gpx"), name("inbox/Tom-1.gpx")), (Some("Tom"), Some("Tom")));
        assert_eq!((name("inbox/x.gpx"), name("other/mi/a.gpx")), (Some("Any"), None));
    }

    #[test]
    fn accents_in_any_composition_and_other_names_lead_to_one_person() {
        let squad = squad("athlete,also\nZo\u{e9},Z\nNils,\n").unwrap();
        for path in ["Zoe\u{301}/a.gpx", "ZO\u{c9}/a.gpx", "zoé/b/c.gpx", "z/a.gpx"] {
            assert_eq!(squad.athlete_of(path).map(|athlete| athlete.name.as_str()), Some("Zoé"), "{path}");
        }
        assert_eq!(squad.athlete_of("Zoe/a.gpx"), None);
    }

    #[test]
    fn a_second_row_is_a_switched_plan_a_repeat_or_an_error() {
        let switched = squad("athlete,plan,start\nMira,a.toml,2026-03-02\nmira,b.toml,2026-04-13\n").unwrap();
        assert_eq!(switched.athletes[0].assignments.len(), 2);
        for (of, who) in [("athlete", "Mira"), ("group", "Tuesday")] {
            let row = |at: usize| format!("{who},{}.toml,20{:02}-03-02\n", ["a", "b"][at % 2], 10 + at);
            let rows = |count: usize| format!("{of},plan,start\n{}", (0..count).map(row).collect::<String>());
            assert!(squad(&rows(MAX_PLANS)).is_ok());
            let error = squad(&rows(MAX_PLANS + 1)).unwrap_err();
            assert_eq!((error.line(), error.problem()), (22, "a plan number 21 for the same"));
        }
        let repeated = squad("athlete,plan\nMira,a.toml\nMira,a.toml\n").unwrap();
        assert_eq!(repeated.athletes.len(), 1);
        assert!(repeated.notes[0].contains("line 3: the same as line 2"));
        let error = squad("athlete,plan\nMira,a.toml\nMira,b.toml\n").unwrap_err();
        assert!(error.problem().contains("line 2 already") && error.line() == 3);
    }

    #[test]
    fn the_row_of_a_group_gives_what_the_athletes_own_cells_leave_open() {
        let text = "athlete,group,plan,start,away,goal_m,joined,left\n\
                    Mira,tue,,,,,,\n\
                    Tom,Tue,own.toml,,,3000,,\n\
                    Ida,thu,,2026-04-01,,,,\n\
                    ,TUE,group.toml,2026-03-03,2026-04-06..2026-04-12 Easter,5000,2026-03-01,2026-06-30\n";
        let squad = squad(text).unwrap();
        let [mira, tom, ida] = &squad.athletes[..] else { panic!() };
        assert_eq!(
            mira.assignments,
            [Assignment { plan: Some("group.toml".into()), start: Some(day("2026-03-03")) }]
        );
        assert_eq!(
            tom.assignments,
            [Assignment { plan: Some("own.toml".into()), start: Some(day("2026-03-03")) }]
        );
        assert_eq!((mira.goal_m, tom.goal_m, ida.goal_m), (Some(5000.0), Some(3000.0), None));
        assert!(!mira.is_there(day("2026-04-06")) && mira.is_there(day("2026-04-13")));
        assert!(
            !mira.is_there(day("2026-02-28"))
                && !mira.is_there(day("2026-07-01"))
                && ida.is_there(day("2026-04-06"))
        );
        assert_eq!(squad.groups, ["thu", "tue"]);
    }

    #[test]
    fn absences_have_a_limit_and_so_have_their_reasons() {
        let away = |count: usize, letters: usize| {
            let absence = format!("2026-04-01..2026-04-03 {}", "ö".repeat(letters));
            squad(&format!("athlete,away\nMira,{}\n", vec![absence; count].join("|")))
        };
        assert_eq!(away(MAX_ABSENCES, 200).unwrap().athletes[0].away.len(), MAX_ABSENCES);
        assert_eq!(away(MAX_ABSENCES + 1, 1).unwrap_err().problem(), "more than 50 absences");
        assert_eq!(away(1, 201).unwrap_err().problem(), "a name of 201 letters");
    }

    #[test]
    fn absences_have_days_a_reason_and_what_follows() {
        let text = "athlete;away\nMira;2026-10-12..2026-10-25 injured, rejoin | 2026-08-01..2026-08-14, go on|\
                    03.09.2026 .. 13.09.2026 wedding, in Rome|2026-12-01..2026-12-01\n";
        let squad = squad(text).unwrap();
        let shown: Vec<String> = squad.athletes[0]
            .away
            .iter()
            .map(|away| {
                format!(
                    "{} {} {:?} {:?}",
                    away.from,
                    away.to,
                    away.reason.as_deref().unwrap_or("-"),
                    away.then
                )
            })
            .collect();
        assert_eq!(
            shown,
            [
                "2026-08-01 2026-08-14 \"-\" Some(GoOn)",
                "2026-09-03 2026-09-13 \"wedding, in Rome\" None",
                "2026-10-12 2026-10-25 \"injured\" Some(Rejoin)",
                "2026-12-01 2026-12-01 \"-\" None",
            ]
        );
    }

    #[test]
    fn wrong_cells_are_refused() {
        let cases = [
            ("athlete,start\nMira,03/04/2026\n", "day first or month first", "year first"),
            ("athlete,max_hr_bpm\nMira,19\n", "max_hr_bpm is \"19\"", "without unit"),
            ("athlete,resting_hr_bpm,max_hr_bpm\nMira,119,110\n", "a resting heart rate of 119", "swapped"),
            ("athlete,time_zone\nMira,Europe/Berln\n", "no time zone", "Europe/Berlin"),
            ("athlete,screened\nMira,perhaps\n", "screened is \"perhaps\"", "yes or no"),
            ("athlete,plan\n,a.toml\n", "a row without athlete", "fill in"),
            ("athlete,folder\nMira,../x\n", "no folder below", "as seen from"),
            ("athlete,folder\nMira,x\nTom,X\n", "the folder of the athlete in line 2", "of their own"),
            ("athlete,also\nMira,Tom\nTom,\n", "another name of Mira in line 2", "take the name out"),
            ("athlete,also\nTom,\nMira,tom\n", "a name of the athlete in line 2", "one person"),
            ("athlete,away\nMira,2026-10-12\n", "no .. between", "write 2026-10-12..2026-10-12"),
            (
                "athlete,away\nMira,-\n",
                "no .. between",
                "leave it empty, or write the first and the last day",
            ),
            ("athlete,away\nMira,2026-10-12..2026-10-02\n", "which is earlier", "first day first"),
            ("athlete,away\nMira,\"2026-10-12..2026-10-22 ill, rejoyn\"\n", "\"rejoyn\"", "write rejoin"),
            ("athlete,away\nMira,2026-10-12..2026-10-22 flu rejoin\n", "\"flu rejoin\"", "\"flu, rejoin\""),
            ("athlete;away\nMira;2026-10-12..2026-10-22 Go-on, flu\n", "\"Go-on, flu\"", "after a comma"),
            ("athlete,away\nMira,2026-10-12..soon\n", "\"soon\" is no date", "2026-03-31"),
            ("athlete,joined,left\nMira,2026-10-12,2026-10-02\n", "before joining", "check the two days"),
            ("athlete,goal_m\nMira,5\n", "a goal of 5", "write 5000"),
            ("athlete,goal_m\nMira,3 km\n", "a goal of 3 km", "write 3000"),
            (
                "athlete,group,max_hr_bpm\n,tue,190\n",
                "max_hr_bpm in the row of a group",
                "fill in the athlete",
            ),
            ("athlete,group,plan\n,tue,a.toml\n,Tue,b.toml\n", "line 2 already", "take one"),
            ("athlete,goal\nMira,3000\n", "\"goal\" is not known", "name it goal_m"),
            ("athlete,alias\nMira,Mimi\n", "\"alias\" is not known", "name it also"),
        ];
        for (text, problem, mend) in cases {
            let error = squad(text).unwrap_err();
            assert!(error.problem().contains(problem) && error.mend().contains(mend), "{error}");
        }
    }

    #[test]
    fn columns_that_are_carried_stay_as_they_stand_and_what_cannot_be_is_named() {
        let carry = |text: &str, names: &[&str]| {
            let names: Vec<String> = names.iter().map(|name| (*name).to_owned()).collect();
            Squad::read_carrying(text.as_bytes(), "squad.csv", &names)
        };
        // Of a heading near a known one it is said what it is.
        let text = "athlete,Site,arm,group,goals\nMira,007,\"a, b\",tue,x\nTom,,,tue,\nIda,NA,=1,,\n,north,calls,tue,\n";
        let squad = carry(text, &["arm", "site", "goals"]).unwrap();
        let of =
            |at: usize| squad.athletes[at].carried.iter().map(|cell| cell.as_deref()).collect::<Vec<_>>();
        assert_eq!(of(0), [Some("a, b"), Some("007"), Some("x")]);
        assert_eq!(of(1), [Some("calls"), Some("north"), None]);
        assert_eq!(of(2), [Some("=1"), Some("NA"), None]);
        assert!(squad.notes.is_empty(), "{:?}", squad.notes);
        let twice = "athlete,plan,start,arm\nMira,a.toml,2026-03-02,B\nMira,b.toml,2026-04-13,\n";
        assert_eq!(carry(twice, &["arm"]).unwrap().athletes[0].carried, [Some("B".to_owned())]);
        let clash = twice.replace("13,\n", "13,A\n");
        for (text, names, problem, mend) in [
            ("athlete,arm\nMira,A\n", &["arms"][..], "no column \"arms\"", "carry arm"),
            ("athlete\nMira\n", &["arm"], "no column \"arm\"", "add it"),
            ("athlete,plan\nMira,\n", &["plan"], "\"plan\" cannot be carried", "leave plan out"),
            ("athlete,arm,Arm\nMira,,\n", &["arm"], "the column arm for a second time", "take one"),
            (&clash, &["arm"], "line 2 already, with other values", "take one"),
        ] {
            let error = carry(text, names).unwrap_err();
            assert!(error.problem().contains(problem) && error.mend().contains(mend), "{error}");
        }
    }

    #[test]
    fn one_pattern_is_one_athletes_however_it_is_written_and_is_told_as_written() {
        let error = squad("athlete,folder\nAda,inbox/B*\nBen,Ben|.\\INBOX\\b*\\\n").unwrap_err();
        assert_eq!((error.line(), error.problem()), (3, "the folder of the athlete in line 2"));
        // The same of one athlete, of whom there may be a row for each plan.
        let twice = "athlete,folder,plan,start\nAda,B*,a.toml,2026-03-02\nAda,B*,b.toml,2026-04-13\n";
        assert_eq!(squad(twice).unwrap().athletes.len(), 1);
        let notes = squad("athlete,folder\nAda,B* |b/C\n").unwrap().compare([]);
        assert_eq!(notes, ["Ada: in the squad file, but no recording was found in \"B*\" and \"b/C\""]);
    }

    #[test]
    fn unknown_athletes_are_named_on_both_sides() {
        let notes = squad("athlete\nMira\nTom\n").unwrap().compare(["MIRA", "Tomm"]);
        assert_eq!(notes.len(), 2);
        assert!(notes[0].starts_with("Tom: in the squad file") && notes[1].ends_with("did you mean Tom?"));
    }
}

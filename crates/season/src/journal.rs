//! The journal: what the athlete said about a day, read and never interpreted beyond its columns.

use std::collections::{HashMap, HashSet};
use std::hash::{DefaultHasher, Hash, Hasher};
use std::ops::Range;
use std::sync::Arc;

use chrono::{NaiveDate, TimeDelta};

use crate::error::{ErrorKind, Flaw, nearest};
use crate::name::{composed, folded_name};
use crate::sheet::{Columns, Row, Sheet};
use crate::warning_sign::Said;
use crate::wording::{list, withheld};
use crate::{Athlete, Error, SignWords, Squad, Verdict, WarningSign};

const COLUMNS: Columns = Columns {
    known: &[
        "athlete",
        "group",
        "date",
        "effort_0_10",
        "talkable",
        "soreness_0_10",
        "pain_0_10",
        "pain_next_morning",
        "pain_worse_running",
        "warning_sign",
        "hot",
        "excused",
        "coach_decision",
        "note",
    ],
    required: &[&["athlete", "group"], &["date"]],
    names: &["athlete", "group"],
    signs: &[
        "effort_0_10",
        "soreness_0_10",
        "pain_0_10",
        "pain_next_morning",
        "pain_worse_running",
        "warning_sign",
        "coach_decision",
    ],
};
/// Columns that a row of a group may fill.
const GROUP_COLUMNS: [&str; 5] = ["group", "date", "excused", "coach_decision", "note"];
/// The scale of effort, soreness and pain.
const SCALE: (f64, f64) = (0.0, 10.0);
/// Names that a message offers for one that nobody has (own choice).
const NEAREST_NAMES: usize = 3;

/// What was noted about one day.
#[derive(Clone, Debug, PartialEq)]
pub struct Entry {
    /// The athlete's name as written, or the group's for a row of a group.
    pub athlete: Arc<str>,
    /// Whether the row is one of a group.
    pub of_group: bool,
    /// The local day.
    pub date: NaiveDate,
    /// Effort, 0 to 10.
    pub effort_0_10: Option<f64>,
    /// Whether they could speak in sentences.
    pub talkable: Option<bool>,
    /// Muscle soreness on the next day, 0 to 10.
    pub soreness_0_10: Option<f64>,
    /// Pain, 0 to 10.
    pub pain_0_10: Option<f64>,
    /// Whether the pain was still there next morning.
    pub pain_next_morning: Option<bool>,
    /// Whether the pain grew while running.
    pub pain_worse_running: Option<bool>,
    /// Warning signs.
    pub warning_signs: Vec<WarningSign>,
    /// Words about a sign that were not understood and count as [`WarningSign::Other`].
    pub sign_not_understood: Option<Box<str>>,
    /// Whether it was hot.
    pub hot: Option<bool>,
    /// Whether what falls due on that day is neither due nor missed.
    pub excused: Option<bool>,
    /// What the coach decided.
    pub coach_decision: Option<Verdict>,
    /// Free text, never interpreted.
    pub note: Option<Box<str>>,
}

impl Entry {
    /// An entry that says nothing yet.
    pub fn new(athlete: &str, date: NaiveDate) -> Self {
        Self {
            athlete: athlete.into(),
            of_group: false,
            date,
            effort_0_10: None,
            talkable: None,
            soreness_0_10: None,
            pain_0_10: None,
            pain_next_morning: None,
            pain_worse_running: None,
            warning_signs: Vec::new(),
            sign_not_understood: None,
            hot: None,
            excused: None,
            coach_decision: None,
            note: None,
        }
    }

    /// What tells two rows apart.
    fn digest(&self) -> u64 {
        let mut hasher = DefaultHasher::new();
        let numbers = [self.effort_0_10, self.soreness_0_10, self.pain_0_10];
        let flags = [self.talkable, self.pain_next_morning, self.pain_worse_running, self.hot, self.excused];
        (&self.athlete, self.of_group, self.date, numbers.map(|number| number.map(f64::to_bits)))
            .hash(&mut hasher);
        (flags, &self.warning_signs, &self.sign_not_understood, self.coach_decision, &self.note)
            .hash(&mut hasher);
        hasher.finish()
    }
}

/// A journal file.
///
/// ```
/// use boutwise_season::{Journal, SignWords, WarningSign};
/// let text = "athlete,date,effort_0_10,warning_sign\nMira,2026-03-02,3,no\nMira,2026-03-04,4,felt dizzy\n";
/// let journal = Journal::read(text.as_bytes(), "journal.csv", &SignWords::default()).unwrap();
/// assert_eq!(journal.of("mira", None).len(), 2);
/// assert_eq!(journal.entries[1].warning_signs, [WarningSign::Dizzy]);
/// ```
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Journal {
    /// The entries by day, then in the order of the file.
    pub entries: Vec<Entry>,
    /// What was odd in the file, in sentences.
    pub notes: Vec<String>,
    /// The newest day and the bytes of its first cell in the text.
    newest: Option<(NaiveDate, Range<u32>)>,
    /// Each name of athletes or groups, folded.
    names: HashMap<NameKey, Named>,
    /// For each entry the index of the next one of the same name; [`LAST`] for none.
    next_of_name: Vec<u32>,
    /// The file, for messages about its names.
    name: String,
    text: String,
}

/// What stands in place of words that may hold names.
const WITHHELD: &str = "words that are not told";

/// What stands in place of a next entry where there is none.
const LAST: u32 = u32::MAX;

/// A folded name, and whether it is a group's.
type NameKey = (bool, Box<str>);

/// Where a name stands.
#[derive(Clone, Debug, Default, PartialEq)]
struct Named {
    /// Bytes of its first cell in the text.
    first: Range<u32>,
    /// Index of its first entry by day.
    head: u32,
}

impl Journal {
    /// Reads a journal file. `words` are those for warning signs.
    ///
    /// # Errors
    ///
    /// The first cell that can't be read, and a heading near a known one. A journal is read whole or not at all: a
    /// mistyped pain or warning sign must not be passed over. Beyond [`MAX_TABLE_BYTES`](crate::MAX_TABLE_BYTES) it is
    /// refused unread.
    pub fn read(bytes: &[u8], name: &str, words: &SignWords) -> Result<Self, Error> {
        let mut sheet = Sheet::read(ErrorKind::Journal, name, bytes, COLUMNS)?;
        sheet.find_date_order(&["date"], |cell| vec![cell])?;
        let mut notes = std::mem::take(&mut sheet.notes);
        let mut reader = Reader { words, cells: HashSet::new(), names: HashMap::new(), said: HashMap::new() };
        let mut entries: Vec<(Entry, u32)> = Vec::new();
        let mut seen: HashMap<u64, u32> = HashMap::new();
        let mut newest: Option<(NaiveDate, Range<u32>)> = None;
        sheet.for_each(|row| {
            let (entry, span) = reader.entry(row)?;
            if newest.as_ref().is_none_or(|(newest, _)| entry.date > *newest) {
                let cell = row.span("date");
                let [start, end] = [cell.start, cell.end].map(|at| u32::try_from(at).unwrap_or(0));
                newest = Some((entry.date, start..end));
            }
            if let Some(said) = &entry.sign_not_understood {
                notes.push(|| {
                    format!(
                        "{name}, line {}: warning_sign \"{said}\" was not understood and counts as a sign: ask what was meant, then write {}, or no",
                        row.line,
                        WarningSign::ALL.map(WarningSign::word).join(", ")
                    )
                });
            }
            let at = u32::try_from(entries.len()).unwrap_or(u32::MAX);
            match seen.entry(entry.digest()) {
                std::collections::hash_map::Entry::Occupied(twin) => {
                    let twin = entries.get(*twin.get() as usize);
                    if let Some((_, first)) = twin.filter(|(earlier, _)| *earlier == entry) {
                        notes.push(|| format!("{name}, line {}: the same as line {first}, read once", row.line));
                        return Ok(());
                    }
                }
                std::collections::hash_map::Entry::Vacant(place) => {
                    place.insert(at);
                }
            }
            reader.names.entry((entry.of_group, folded_name(&entry.athlete).into())).or_insert_with(|| Named {
                first: u32::try_from(span.start).unwrap_or(0)..u32::try_from(span.end).unwrap_or(0),
                head: LAST,
            });
            entries.push((entry, u32::try_from(row.line).unwrap_or(u32::MAX)));
            Ok(())
        })?;
        let mut names = reader.names;
        drop((seen, reader.cells, reader.said));
        let mut entries: Vec<Entry> = entries.into_iter().map(|(entry, _)| entry).collect();
        entries.sort_by_key(|entry| entry.date);
        let next_of_name = chained(&entries, &mut names);
        Ok(Self {
            entries,
            notes: notes.into_sentences(name),
            newest,
            names,
            next_of_name,
            name: name.to_owned(),
            text: sheet.into_text(),
        })
    }

    /// The journal with other names of groups (`true`) and athletes, and without what was written freely.
    ///
    /// `rename` gives the names by which the entries of one are found from then on, the first being the one that is told: a
    /// name may be that of several whom only capitals tell apart.
    #[must_use]
    pub fn renamed(&self, rename: impl Fn(bool, &str) -> Vec<String>) -> Self {
        let mut entries = self.entries.clone();
        let key = |of_group: bool, name: &str| -> NameKey { (of_group, folded_name(name).into()) };
        let mut names: HashMap<NameKey, Named> = HashMap::new();
        let mut others: HashMap<NameKey, NameKey> = HashMap::new();
        let mut told: HashMap<(bool, Arc<str>), Arc<str>> = HashMap::new();
        for entry in &mut entries {
            let of_group = entry.of_group;
            let new = || {
                let mut given = rename(of_group, &entry.athlete).into_iter();
                let first: Arc<str> = given.next().unwrap_or_default().into();
                let first_key = key(of_group, &first);
                others.extend(given.map(|other| (key(of_group, &other), first_key.clone())));
                names.insert(first_key, Named { first: 0..0, head: LAST });
                first
            };
            entry.athlete = told.entry((of_group, entry.athlete.clone())).or_insert_with(new).clone();
            entry.note = None;
            entry.sign_not_understood = entry.sign_not_understood.as_ref().map(|_| WITHHELD.into());
        }
        let next_of_name = chained(&entries, &mut names);
        for (other, told) in others {
            if let Some(of_told) = names.get(&told).cloned() {
                names.insert(other, of_told);
            }
        }
        let name = ErrorKind::Journal.word();
        // Places in it stay what they are.
        let text = self.text.bytes().map(|byte| if byte == b'\n' { '\n' } else { ' ' }).collect();
        Self {
            entries,
            notes: withheld(&self.notes, name),
            newest: self.newest.clone(),
            names,
            next_of_name,
            name: name.to_owned(),
            text,
        }
    }

    /// The journal with the days of each person moved by so much, and nothing else in it. `people` are names with their rows in
    /// the squad file; what was said of a group is said of each of it.
    #[must_use]
    pub fn moved<'a>(
        &self,
        people: impl IntoIterator<Item = (&'a str, Option<&'a Athlete>, TimeDelta)>,
    ) -> Self {
        let mut moved = Self { notes: self.notes.clone(), name: self.name.clone(), ..Self::default() };
        for (name, row, by) in people {
            let own = self.of(name, row);
            let head = u32::try_from(moved.entries.len()).unwrap_or(LAST);
            let athlete: Arc<str> = name.into();
            for entry in &own {
                let (athlete, date) = (athlete.clone(), entry.date + by);
                moved.entries.push(Entry { athlete, date, ..(*entry).clone() });
                moved.next_of_name.push(u32::try_from(moved.entries.len()).unwrap_or(LAST));
            }
            if let Some(last) = moved.next_of_name.last_mut().filter(|_| !own.is_empty()) {
                *last = LAST;
                moved.names.insert((false, folded_name(name).into()), Named { first: 0..0, head });
            }
        }
        moved
    }

    /// The entries about an athlete by day: under the name, under the other names of their row in the squad file, and
    /// those of their group.
    pub fn of(&self, athlete: &str, row: Option<&Athlete>) -> Vec<&Entry> {
        let mut keys: Vec<NameKey> = vec![(false, folded_name(athlete).into())];
        if let Some(row) = row {
            keys.extend(row.names().map(|name| (false, folded_name(name).into())));
            keys.extend(row.group.as_deref().map(|group| (true, folded_name(group).into())));
        }
        keys.sort_unstable();
        keys.dedup();
        let mut found: Vec<u32> = keys
            .iter()
            .filter_map(|key| self.names.get(key))
            .flat_map(|named| self.from(named.head))
            .collect();
        found.sort_unstable();
        found.into_iter().filter_map(|at| self.entries.get(at as usize)).collect()
    }

    /// The indices of the entries of one name, from its first on.
    fn from(&self, head: u32) -> impl Iterator<Item = u32> {
        let known = |at: u32| (at != LAST).then_some(at);
        std::iter::successors(known(head), move |at| known(*self.next_of_name.get(*at as usize)?))
    }

    /// Refuses a newest day later than `last`.
    ///
    /// # Errors
    ///
    /// That day at its place, with the words that are given for it.
    pub(crate) fn refuse_after(
        &self,
        last: NaiveDate,
        problem: impl Fn(NaiveDate) -> String,
        expected: &str,
        mend: &str,
    ) -> Result<(), Error> {
        let Some((newest, span)) = self.newest.as_ref().filter(|(newest, _)| *newest > last) else {
            return Ok(());
        };
        let flaw = Flaw::new(span.start as usize..span.end as usize, problem(*newest), expected, mend);
        Err(Error::new(ErrorKind::Journal, &self.name, &self.text, flaw))
    }

    /// Checks that every name is an athlete of the squad file or of `recorded`, the athletes that folders and owners
    /// name, and every group one of the squad file.
    ///
    /// # Errors
    ///
    /// The first name in the file that nobody has, with the nearest ones: a sign must not be lost by a slip of the pen.
    pub fn check_names<'a>(
        &self,
        squad: Option<&Squad>,
        recorded: impl IntoIterator<Item = &'a str>,
    ) -> Result<(), Error> {
        let recorded: Vec<&str> = recorded.into_iter().collect();
        let folded: std::collections::HashSet<String> =
            recorded.iter().map(|name| folded_name(name)).collect();
        let groups: std::collections::HashSet<String> =
            squad.into_iter().flat_map(|squad| &squad.groups).map(|group| folded_name(group)).collect();
        let is_known = |(of_group, name): &NameKey| match of_group {
            true => groups.contains(&**name),
            false => folded.contains(&**name) || squad.is_some_and(|squad| squad.athlete(name).is_some()),
        };
        let strangers = self.names.iter().filter(|(key, _)| !is_known(key));
        let Some(((of_group, _), named)) = strangers.min_by_key(|(_, named)| named.first.start) else {
            return Ok(());
        };
        let span = named.first.start as usize..named.first.end as usize;
        let written = self.text.get(span.clone()).unwrap_or_default().trim_matches('"');
        let (problem, expected, near) = if *of_group {
            let groups = squad.into_iter().flat_map(|squad| &squad.groups).map(String::as_str);
            (
                format!("no group is called \"{written}\""),
                "a group of the squad file",
                nearest(written, groups, NEAREST_NAMES),
            )
        } else {
            let names = squad.into_iter().flat_map(|squad| squad.athletes.iter().flat_map(Athlete::names));
            (
                format!("nobody is called \"{written}\""),
                "an athlete of the squad file, or one of whom there are recordings",
                nearest(written, names.chain(recorded.iter().copied()), NEAREST_NAMES),
            )
        };
        let mend = match &near[..] {
            [] if *of_group => "write the group as the squad file has it".to_owned(),
            [] => "write the name as the squad file or the folder has it, or add a row to the squad file"
                .to_owned(),
            near => {
                let near: Vec<String> = near.iter().map(|name| format!("\"{name}\"")).collect();
                format!("the nearest: {}; or add the name to the squad file", list(&near))
            }
        };
        Err(Error::new(ErrorKind::Journal, &self.name, &self.text, Flaw::new(span, problem, expected, mend)))
    }
}

/// Chains the entries of each name, which are in the order of days: their first goes into `names`, the next of each comes
/// back.
fn chained(entries: &[Entry], names: &mut HashMap<NameKey, Named>) -> Vec<u32> {
    let mut next_of_name = vec![LAST; entries.len()];
    for ((at, entry), next) in entries.iter().enumerate().zip(&mut next_of_name).rev() {
        if let Some(named) = names.get_mut(&(entry.of_group, folded_name(&entry.athlete).into())) {
            *next = std::mem::replace(&mut named.head, u32::try_from(at).unwrap_or(LAST));
        }
    }
    next_of_name
}

/// Reads rows, keeping what many of them share.
struct Reader<'w> {
    words: &'w SignWords,
    cells: HashSet<Arc<str>>,
    names: HashMap<NameKey, Named>,
    said: HashMap<Box<str>, Said>,
}

impl Reader<'_> {
    fn entry(&mut self, row: &Row<'_>) -> Result<(Entry, Range<usize>), Error> {
        let date = row.date("date")?;
        let athlete = row.cell("athlete");
        let column = if athlete.is_some() { "athlete" } else { "group" };
        let (Some(name), Some(date)) = (row.cell(column), date) else {
            let column = if date.is_none() { "date" } else { "athlete" };
            let mend = "fill it in, or take the row out";
            return Err(row.error(column, format!("a row without {column}"), "athlete and date", mend));
        };
        let of_group = athlete.is_none();
        if of_group
            && let Some(column) = COLUMNS
                .known
                .iter()
                .find(|column| !GROUP_COLUMNS.contains(column) && row.cell(column).is_some())
        {
            let problem = format!("{column} in the row of a group");
            let expected = format!("in such a row only {}", GROUP_COLUMNS.join(", "));
            let mend = "write a row for each athlete whom it is about";
            return Err(row.error(column, problem, &expected, mend));
        }
        let said = self.signs(row.cell("warning_sign").unwrap_or_default());
        let not_understood = said.not_understood.join(", ");
        let entry = Entry {
            athlete: self.shared(name),
            of_group,
            date,
            effort_0_10: row.number("effort_0_10", SCALE)?,
            talkable: row.flag("talkable")?,
            soreness_0_10: row.number("soreness_0_10", SCALE)?,
            pain_0_10: row.number("pain_0_10", SCALE)?,
            pain_next_morning: row.flag("pain_next_morning")?,
            pain_worse_running: row.flag("pain_worse_running")?,
            warning_signs: said.signs,
            sign_not_understood: (!not_understood.is_empty()).then(|| not_understood.into()),
            hot: row.flag("hot")?,
            excused: row.flag("excused")?,
            coach_decision: read_decision(row)?,
            note: row.cell("note").map(Into::into),
        };
        Ok((entry, row.span(column)))
    }

    fn shared(&mut self, name: &str) -> Arc<str> {
        let name = composed(name);
        if let Some(shared) = self.cells.get(&*name) {
            return shared.clone();
        }
        let shared: Arc<str> = name.into();
        self.cells.insert(shared.clone());
        shared
    }

    fn signs(&mut self, cell: &str) -> Said {
        if cell.is_empty() {
            return Said::default();
        }
        if let Some(said) = self.said.get(cell) {
            return said.clone();
        }
        let said = self.words.read(cell);
        self.said.insert(cell.into(), said.clone());
        said
    }
}

fn read_decision(row: &Row<'_>) -> Result<Option<Verdict>, Error> {
    let Some(cell) = row.cell("coach_decision") else { return Ok(None) };
    match Verdict::ALL.into_iter().find(|verdict| verdict.word() == cell.to_lowercase()) {
        Some(verdict) => Ok(Some(verdict)),
        None => {
            let problem = format!("coach_decision is \"{cell}\"");
            let mend = "write one of these words; the reason goes into note";
            Err(row.error("coach_decision", problem, "advance, hold, ease or stop", mend))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn journal(text: &str) -> Result<Journal, Error> {
        Journal::read(text.as_bytes(), "journal.csv", &SignWords::default())
    }

    #[test]
    fn a_full_row_is_read_and_an_empty_cell_stays_unknown() {
        let text = "Date;Athlete;effort 0-10;Talkable;pain_0_10;pain next morning;warning sign;coach_decision;note;excused\n\
                    25.03.2026;Mira;3,5;yes;0;;Chest + dizzy;Hold;\"slept badly; cold\";x\n";
        let entry = &journal(text).unwrap().entries[0];
        assert_eq!(entry.date, NaiveDate::from_ymd_opt(2026, 3, 25).unwrap());
        assert_eq!((entry.effort_0_10, entry.talkable, entry.pain_0_10), (Some(3.5), Some(true), Some(0.0)));
        assert_eq!((entry.pain_next_morning, entry.hot, entry.excused), (None, None, Some(true)));
        assert_eq!(entry.warning_signs, [WarningSign::Chest, WarningSign::Dizzy]);
        assert_eq!(
            (entry.coach_decision, entry.note.as_deref()),
            (Some(Verdict::Hold), Some("slept badly; cold"))
        );
    }

    #[test]
    fn what_could_hide_a_warning_is_refused() {
        let cases = [
            ("athlete,date,pain_0_10\na,2026-03-02,11\n", "pain_0_10 is \"11\""),
            ("athlete,date,pain_0_10\na,2026-03-02,a bit\n", "pain_0_10 is \"a bit\""),
            ("athlete,date,pain_next_morning\na,2026-03-02,later\n", "pain_next_morning is \"later\""),
            ("athlete,date,coach_decision\na,2026-03-02,rest\n", "coach_decision is \"rest\""),
            ("athlete,date\na,\n", "a row without date"),
            ("athlete,date\n,2026-03-02\n", "a row without athlete"),
            ("athlete,date\na,03/04/2026\n", "day first or month first"),
            ("athlete,date,pain\na,2026-03-02,4\n", "the column \"pain\" is not known"),
            ("athlete,date,effort\na,2026-03-02,4\n", "the column \"effort\" is not known"),
            ("athlete,date,warning\na,2026-03-02,chest\n", "the column \"warning\" is not known"),
            ("athlete,date,symptoms\na,2026-03-02,chest\n", "the column \"symptoms\" is not known"),
            ("group,date,warning_sign\ntue,2026-03-02,chest\n", "warning_sign in the row of a group"),
        ];
        for (text, problem) in cases {
            let error = journal(text).unwrap_err();
            assert!(error.problem().contains(problem), "{error}");
        }
    }

    #[test]
    fn words_that_are_not_understood_count_as_a_sign_and_are_told() {
        let read =
            journal("athlete,date,warning_sign\nMira,2026-03-02,sore knee\nMira,2026-03-04,none\n").unwrap();
        assert_eq!(read.entries[0].warning_signs, [WarningSign::Other]);
        assert_eq!(read.entries[0].sign_not_understood.as_deref(), Some("sore knee"));
        assert!(
            read.notes[0].contains("line 2: warning_sign \"sore knee\" was not understood"),
            "{:?}",
            read.notes
        );
        assert_eq!(read.entries[1].warning_signs, []);
    }

    #[test]
    fn the_same_row_twice_counts_once() {
        let read =
            journal("athlete,date,pain_0_10\nMira,2026-03-02,2\nMira,2026-03-02,2\nMiro,2026-03-01,0\n")
                .unwrap();
        assert_eq!((read.entries.len(), &*read.entries[0].athlete), (2, "Miro"));
        assert!(read.notes[0].contains("line 3: the same as line 2"));
    }

    #[test]
    fn entries_are_found_under_every_name_and_for_the_group() {
        let squad =
            Squad::read("athlete,also,group\nZo\u{e9},Zed,tue\nTom,,thu\n".as_bytes(), "s.csv").unwrap();
        let read = journal(
            "athlete,group,date,excused\nZOE\u{301},,2026-03-02,\nzed,,2026-03-01,\n,Tue,2026-03-03,yes\nTom,tue,2026-03-04,\n",
        )
        .unwrap();
        let days = |name: &str| -> Vec<String> {
            read.of(name, squad.athlete(name)).iter().map(|entry| entry.date.to_string()).collect()
        };
        assert_eq!(days("Zoé"), ["2026-03-01", "2026-03-02", "2026-03-03"]);
        assert_eq!(days("Tom"), ["2026-03-04"]);
        assert!(read.check_names(Some(&squad), []).is_ok());
    }

    #[test]
    fn a_name_that_nobody_has_is_an_error_with_the_nearest() {
        let squad = Squad::read("athlete,also,group\nAda,,tue\nAdam,,\nTom,,\n".as_bytes(), "s.csv").unwrap();
        let read = journal("athlete,group,date\nada,,2026-03-02\nAdda,,2026-03-01\n").unwrap();
        let error = read.check_names(Some(&squad), []).unwrap_err();
        assert_eq!(
            error.to_string(),
            "journal.csv, line 3, column 1: nobody is called \"Adda\"\n  |\n3 | Adda\n  | ^^^^\n\
             expected: an athlete of the squad file, or one of whom there are recordings\n\
             to mend: the nearest: \"Ada\" and \"Adam\"; or add the name to the squad file"
        );
        assert!(read.check_names(Some(&squad), ["ADDA"]).is_ok());
        assert!(read.check_names(None, ["Ada"]).is_err());
        let group = journal("athlete,group,date\n,teu,2026-03-02\n").unwrap();
        assert!(
            group.check_names(Some(&squad), []).unwrap_err().problem().contains("no group is called \"teu\"")
        );
    }
}

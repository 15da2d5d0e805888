//! What the coach says by hand of a recording or a session: it outranks everything that is computed.

use std::collections::{BTreeSet, HashMap};

use boutwise_bouts::Bout;
use boutwise_track::plain_path;

use crate::error::{ErrorKind, nearest, suggestion};
use crate::name::folded_name;
use crate::plan::{NO_BLOCK, folded_label};
use crate::sheet::{Columns, Oddities, Row, Sheet};
use crate::wording::withheld;
use crate::{Error, Plan};

const COLUMNS: Columns = Columns {
    known: &["file", "session", "use", "athlete", "plan_block", "plan_session", "from_s", "to_s", "note"],
    required: &[&["file", "athlete"]],
    names: &["athlete", "plan_block"],
    signs: &[],
};
/// Longest recording that is believed, in seconds (own choice: two days).
const MOST_S: f64 = 172_800.0;
/// Most sessions in one file or block that are believed (own choice).
const MOST_SESSIONS: f64 = 10_000.0;

/// Where a recording lies on the plan, by hand.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum PlanPlace {
    /// On no session of the plan.
    None,
    /// On a session.
    Session {
        /// Label of its block.
        block: String,
        /// Number of the session in its block, from 1; the first where none is told.
        number: Option<u32>,
    },
}

/// One row of a file of corrections.
#[derive(Clone, Debug, PartialEq)]
pub struct Correction {
    /// Path of the file below the audited folder, as tables show it, without blanks round it; `None` for a session that was done without a recording.
    pub file: Option<String>,
    /// Number of the session in its file, from 1; `None` for all of them.
    pub session: Option<usize>,
    /// Whether the recording is to be used.
    pub used: Option<bool>,
    /// Whose it is, or who did a session without a recording.
    pub athlete: Option<String>,
    /// Where it lies on the plan.
    pub place: Option<PlanPlace>,
    /// Seconds from its start from which it counts.
    pub from_s: Option<f64>,
    /// Seconds from its start up to which it counts.
    pub to_s: Option<f64>,
    /// Line in the file, for messages.
    pub line: usize,
}

impl Correction {
    /// Whether it is about a session of a file.
    pub fn is_of(&self, file: &str, session: usize) -> bool {
        self.file.as_deref() == Some(file.trim()) && self.session.is_none_or(|known| known == session)
    }

    /// Whether it says that the recording counts for nothing.
    pub fn is_unused(&self) -> bool {
        self.used == Some(false)
    }

    /// Whether it says that the recording is a session of the plan, or that it is none; `None` where it says neither.
    pub fn is_on_plan(&self) -> Option<bool> {
        self.place.as_ref().map(|place| matches!(place, PlanPlace::Session { .. }))
    }

    /// Whether it vouches for the recording's day. Which session it is says nothing of that.
    pub fn confirms_day(&self) -> bool {
        self.used == Some(true)
    }

    /// From when to when the recording counts, in seconds from its start; `None` where all of it does.
    pub fn part_s(&self) -> Option<(f64, f64)> {
        let is_part = self.from_s.is_some() || self.to_s.is_some();
        is_part.then(|| (self.from_s.unwrap_or(0.0), self.to_s.unwrap_or(f64::INFINITY)))
    }

    /// What it says of a recording, each as one word: `use`, `athlete`, `plan`, `part`.
    pub fn words(&self) -> impl Iterator<Item = &'static str> {
        let words = [
            (self.used.is_some(), "use"),
            (self.athlete.is_some(), "athlete"),
            (self.place.is_some(), "plan"),
            (self.part_s().is_some(), "part"),
        ];
        words.into_iter().filter(|(is_said, _)| *is_said).map(|(_, word)| word)
    }
}

/// Keeps what lies between two times of bouts, in seconds; what lies across them in proportion.
pub fn keep_part(bouts: &mut Vec<Bout>, from_s: f64, to_s: f64) {
    bouts.retain(|bout| bout.end_s > from_s && bout.start_s < to_s);
    for bout in bouts {
        let (start_s, end_s) = (bout.start_s.max(from_s), bout.end_s.min(to_s));
        let share = (end_s - start_s) / bout.duration_s();
        (bout.start_s, bout.end_s) = (start_s, end_s);
        bout.distance_m = bout.distance_m.map(|distance_m| distance_m * share);
    }
}

/// A file of corrections.
///
/// ```
/// use boutwise_season::{Corrections, PlanPlace};
/// let text = "file,plan_block,plan_session\nmira/tuesday.gpx,C,2\nmira/bus.gpx,none,\n";
/// let corrections = Corrections::read(text.as_bytes(), "corrections.csv").unwrap();
/// assert_eq!(corrections.rows[1].place, Some(PlanPlace::None));
/// assert!(corrections.of_file("mira/tuesday.gpx", 1).is_some());
/// ```
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Corrections {
    /// The rows in the order of the file.
    pub rows: Vec<Correction>,
    /// What was odd in the file, in sentences.
    pub notes: Vec<String>,
    /// Indices of the rows about recordings, in the order of [`place`].
    by_file: Vec<u32>,
    /// Indices of the rows without a file, by the folded name of the athlete.
    by_athlete: HashMap<String, Vec<usize>>,
    name: String,
    /// Whether names and files are codes, of which none is a slip of the pen for another.
    is_coded: bool,
}

/// What is said of a session of a file: each cell of that session's own row, where it is empty that of the whole file's.
fn merged(own: Option<&Correction>, whole: Option<&Correction>) -> Option<Correction> {
    let (Some(own), Some(whole)) = (own, whole) else { return own.or(whole).cloned() };
    let (from_s, to_s) = match own.part_s() {
        Some(_) => (own.from_s, own.to_s),
        None => (whole.from_s, whole.to_s),
    };
    Some(Correction {
        used: own.used.or(whole.used),
        athlete: own.athlete.clone().or_else(|| whole.athlete.clone()),
        place: own.place.clone().or_else(|| whole.place.clone()),
        from_s,
        to_s,
        ..own.clone()
    })
}

/// By what rows about recordings are found: the file, then the session, first without one.
fn place(row: &Correction) -> (Option<&str>, Option<usize>) {
    (row.file.as_deref(), row.session)
}

/// Indices of the rows about recordings, in the order of [`place`], then of the file.
fn by_file(rows: &[Correction]) -> Vec<u32> {
    let indices = (0..).zip(rows).filter(|(_, row)| row.file.is_some()).map(|(at, _)| at);
    let mut by_file: Vec<u32> = indices.collect();
    by_file.sort_by_key(|at| place(&rows[*at as usize]));
    by_file
}

/// Rows about recordings, by file and session.
pub(crate) struct ByRecording<'a>(HashMap<(&'a str, Option<usize>), &'a Correction>);

impl<'a> ByRecording<'a> {
    pub(crate) fn new(rows: &[&'a Correction]) -> Self {
        Self(rows.iter().filter_map(|row| Some(((row.file.as_deref()?, row.session), *row))).collect())
    }

    /// What is said of a session of a file.
    pub(crate) fn of(&self, file: &str, session: usize) -> Option<Correction> {
        let row = |session| self.0.get(&(file.trim(), session)).copied();
        merged(row(Some(session)), row(None))
    }
}

/// Indices of the rows of sessions done without a recording, by the athlete's folded name.
fn by_athlete(rows: &[Correction]) -> HashMap<String, Vec<usize>> {
    let mut by_athlete: HashMap<String, Vec<usize>> = HashMap::new();
    for (at, row) in rows.iter().enumerate().filter(|(_, row)| row.file.is_none()) {
        if let Some(athlete) = &row.athlete {
            by_athlete.entry(folded_name(athlete)).or_default().push(at);
        }
    }
    by_athlete
}

impl Corrections {
    /// Reads a file of corrections.
    ///
    /// # Errors
    ///
    /// The first cell that can't be read, two rows that say different things of one recording, and a row that says nothing.
    pub fn read(bytes: &[u8], name: &str) -> Result<Self, Error> {
        let mut sheet = Sheet::read(ErrorKind::Corrections, name, bytes, COLUMNS)?;
        let mut notes = std::mem::take(&mut sheet.notes);
        let mut rows: Vec<Correction> = Vec::new();
        sheet.for_each(|row| {
            rows.push(read_row(row)?);
            Ok(())
        })?;
        let mut by_file = self::by_file(&rows);
        let mut repeated: Vec<(u32, usize)> = Vec::new();
        let mut contrary: Option<(usize, usize)> = None;
        let at = |at: &u32| &rows[*at as usize];
        for of_place in by_file.chunk_by(|a, b| place(at(a)) == place(at(b))) {
            let [first, later @ ..] = of_place else { continue };
            let first = at(first);
            for later in later {
                let Correction { line, .. } = *at(later);
                if (Correction { line, ..first.clone() }) == *at(later) {
                    repeated.push((*later, first.line));
                } else if contrary.is_none_or(|(earlier, _)| line < earlier) {
                    contrary = Some((line, first.line));
                }
            }
        }
        if let Some((line, first)) = contrary {
            sheet.for_each(|row| match row.cell("file") {
                Some(file) if row.line == line => {
                    let problem = format!("{file} for a second time, and not as in line {first}");
                    let mend = "put everything that is to be said of a recording into one row";
                    Err(row.error("file", problem, "each recording once", mend))
                }
                _ => Ok(()),
            })?;
        }
        if !repeated.is_empty() {
            repeated.sort_unstable();
            for (later, first) in &repeated {
                let line = at(later).line;
                notes.push(|| format!("{name}, line {line}: the same as line {first}, read once"));
            }
            let mut index = 0;
            rows.retain(|_| {
                index += 1;
                repeated.binary_search_by_key(&(index - 1), |(later, _)| *later).is_err()
            });
            by_file = self::by_file(&rows);
        }
        Ok(Self {
            by_athlete: by_athlete(&rows),
            rows,
            notes: notes.into_sentences(name),
            by_file,
            name: name.to_owned(),
            is_coded: false,
        })
    }

    /// The corrections with codes in place of the names of athletes and files.
    ///
    /// `athlete` gives the names by which the rows of one are found from then on, the first being the one that is told: a
    /// name may be that of several whom only capitals tell apart.
    #[must_use]
    pub fn renamed(&self, athlete: impl Fn(&str) -> Vec<String>, file: impl Fn(&str) -> String) -> Self {
        let name = ErrorKind::Corrections.word();
        let mut by_athlete: HashMap<String, Vec<usize>> = HashMap::new();
        let mut rows = self.rows.clone();
        for (at, row) in rows.iter_mut().enumerate() {
            row.file = row.file.as_deref().map(&file);
            let given = row.athlete.as_deref().map(&athlete).unwrap_or_default();
            for name in given.iter().filter(|_| row.file.is_none()) {
                by_athlete.entry(folded_name(name)).or_default().push(at);
            }
            row.athlete = given.into_iter().next();
        }
        Self {
            by_athlete,
            by_file: by_file(&rows),
            rows,
            notes: withheld(&self.notes, name),
            name: name.to_owned(),
            is_coded: true,
        }
    }

    /// What is said of a session of a file: each cell of that session's row, where it is empty that of the whole file's.
    pub fn of_file(&self, file: &str, session: usize) -> Option<Correction> {
        let rows = self.about(file);
        let of = |at: &u32| self.rows.get(*at as usize);
        let row = |session| {
            let found = rows.binary_search_by_key(&session, |at| of(at).and_then(|row| row.session));
            found.ok().and_then(|found| rows.get(found)).and_then(of)
        };
        merged(row(Some(session)), row(None))
    }

    /// Whether a part of a recording counts alone, of a file or of one in the archive with this name.
    pub fn has_part_of(&self, file: &str) -> bool {
        let file = file.trim();
        let row = |at: &u32| self.rows.get(*at as usize);
        let name = |at: &u32| row(at)?.file.as_deref();
        // They are in order of their names: those that begin with this one stand together.
        let first = self.by_file.partition_point(|at| name(at) < Some(file));
        let rest = self.by_file.iter().skip(first);
        let beginning = rest.map_while(|at| Some((row(at)?, name(at)?.strip_prefix(file)?)));
        let mut those = beginning.filter(|(_, rest)| rest.is_empty() || rest.starts_with('/'));
        those.any(|(row, _)| row.part_s().is_some())
    }

    /// Indices of the rows about a file, by session.
    fn about(&self, file: &str) -> &[u32] {
        // A spreadsheet's cell has no blanks round it.
        let file = file.trim();
        let of = |at: &u32| self.rows.get(*at as usize)?.file.as_deref();
        let (_, rest) = self.by_file.split_at(self.by_file.partition_point(|at| of(at) < Some(file)));
        rest.split_at(rest.partition_point(|at| of(at) == Some(file))).0
    }

    /// What concerns an athlete: rows about their recordings, and what was done without one, in the order of the file.
    pub fn of<'a, 'f>(
        &'a self,
        names: &[&str],
        files: impl IntoIterator<Item = &'f str>,
    ) -> Vec<&'a Correction> {
        let files: BTreeSet<&str> = files.into_iter().collect();
        let of_files = files.into_iter().flat_map(|file| self.about(file)).map(|at| *at as usize);
        let names: BTreeSet<String> = names.iter().map(|name| folded_name(name)).collect();
        let done = names.iter().filter_map(|name| self.by_athlete.get(name)).flatten();
        let rows: BTreeSet<usize> = of_files.chain(done.copied()).collect();
        rows.into_iter().filter_map(|at| self.rows.get(at)).collect()
    }

    /// A sentence for each row about a recording that is not there, the first of them in full.
    pub fn strangers<'a>(&self, files: impl IntoIterator<Item = &'a str>) -> Vec<String> {
        let files: BTreeSet<&str> = files.into_iter().map(str::trim).collect();
        let mut gone = Oddities::default();
        for row in &self.rows {
            let Some(file) = row.file.as_deref().filter(|file| !files.contains(file)) else { continue };
            gone.push(|| {
                let known = files.iter().copied().filter(|_| !self.is_coded);
                let meant =
                    suggestion(file, known).map_or(String::new(), |meant| format!("; did you mean {meant}?"));
                let gone = "is not among the recordings, so that the row changes nothing";
                self.of_line(row, &format!("{file} {gone}{meant}"))
            });
        }
        gone.into_sentences(&self.name)
    }

    /// A sentence for each row that names a session that no plan of an athlete has: rows of their recordings
    /// and of what they did without one.
    pub fn without_session<'f>(
        &self,
        names: &[&str],
        files: impl IntoIterator<Item = &'f str>,
        plans: &[&Plan],
    ) -> Vec<String> {
        let unknown = self.of(names, files).into_iter().filter_map(|row| {
            let Some(PlanPlace::Session { block, number }) = &row.place else { return None };
            if plans.iter().any(|plan| plan.find(block, *number).is_some()) {
                return None;
            }
            let number = number.map_or(String::new(), |number| format!(", {number}"));
            let named = if self.is_coded { "named there".to_owned() } else { format!("{block}{number}") };
            let name = names.first().copied().unwrap_or_default();
            let what = if plans.is_empty() { "has no plan, and not" } else { "has no plan with" };
            Some(self.of_line(row, &format!("{name} {what} the session {named}: the cell changes nothing")))
        });
        unknown.collect()
    }

    /// A sentence for each row of a session done without a recording whose athlete nobody is.
    pub fn without_athlete<'a>(&self, names: impl IntoIterator<Item = &'a str>) -> Vec<String> {
        let names: Vec<&str> = names.into_iter().collect();
        let folded: Vec<String> = names.iter().map(|name| folded_name(name)).collect();
        let unknown =
            self.rows.iter().filter(|row| row.file.is_none()).filter_map(|row| {
                let name = row.athlete.as_deref().filter(|name| !folded.contains(&folded_name(name)))?;
                let known = names.iter().copied().filter(|_| !self.is_coded);
                let meant =
                    suggestion(name, known).map_or(String::new(), |meant| format!("; did you mean {meant}?"));
                Some(self.of_line(
                    row,
                    &format!("nobody is called {name}, so that the row changes nothing{meant}"),
                ))
            });
        unknown.collect()
    }

    /// A sentence for each row that gives a recording to somebody whom nothing else names, by index of the row. `known` are
    /// the names that something else gives.
    pub fn of_newcomers<'a>(
        &self,
        rows: &[usize],
        known: impl Iterator<Item = &'a str> + Clone,
    ) -> Vec<String> {
        let row = |at: &usize| Some((self.rows.get(*at)?, self.rows.get(*at)?.athlete.as_deref()?));
        let mut newcomers = Oddities::default();
        for (row, name) in rows.iter().filter_map(row) {
            newcomers.push(|| {
                let known = known.clone().filter(|_| !self.is_coded);
                let meant = nearest(name, known, 1)
                    .first()
                    .map_or(String::new(), |meant| format!("; did you mean {meant}?"));
                let text = format!("nothing else names {name}, who is judged as one more person{meant}");
                self.of_line(row, &text)
            });
        }
        newcomers.into_sentences(&self.name)
    }

    /// A sentence for each row about a session that its file has not. `sessions` tells how many a file has that is there.
    pub fn without_recording(&self, sessions: impl Fn(&str) -> Option<usize>) -> Vec<String> {
        let mut gone = Oddities::default();
        for row in &self.rows {
            let (Some(file), Some(session)) = (row.file.as_deref(), row.session) else { continue };
            let Some(held) = sessions(file).filter(|held| session > *held) else { continue };
            gone.push(|| {
                let meant = match held {
                    0 => String::new(),
                    _ => format!("; did you mean {held}?"),
                };
                let text = format!("{file} has no session {session}, so that the row changes nothing{meant}");
                self.of_line(row, &text)
            });
        }
        gone.into_sentences(&self.name)
    }

    /// A sentence about a row, with the place where it stands.
    pub fn of_line(&self, row: &Correction, text: &str) -> String {
        format!("{}, line {}: {text}", self.name, row.line)
    }
}

fn read_row(row: &Row<'_>) -> Result<Correction, Error> {
    let file = row.cell("file").map(|file| plain_path(file).into_owned());
    let whole = |column: &str| -> Result<Option<u32>, Error> {
        let number = row.number(column, (1.0, MOST_SESSIONS))?;
        match number.filter(|number| number.fract() != 0.0) {
            None => Ok(number.map(|number| number as u32)),
            Some(number) => {
                let problem = format!("{column} is {number}");
                Err(row.error(column, problem, "a whole number from 1", "write the number of the session"))
            }
        }
    };
    let number = whole("plan_session")?;
    let place = match (row.cell("plan_block"), number) {
        (Some(block), None) if folded_label(block) == NO_BLOCK => Some(PlanPlace::None),
        (Some(block), Some(_)) if folded_label(block) == NO_BLOCK => {
            let mend = "take the number out, or name the block";
            let problem = "a number beside none".to_owned();
            return Err(row.error("plan_session", problem, "an empty cell beside none", mend));
        }
        (Some(block), number) => Some(PlanPlace::Session { block: block.to_owned(), number }),
        (None, Some(_)) => {
            let problem = "a number without its block".to_owned();
            return Err(row.error(
                "plan_session",
                problem,
                "the label of a block in plan_block",
                "name the block too",
            ));
        }
        (None, None) => None,
    };
    let correction = Correction {
        session: whole("session")?.map(|session| session as usize),
        used: row.flag("use")?,
        athlete: row.cell("athlete").map(str::to_owned),
        place,
        from_s: row.number("from_s", (0.0, MOST_S))?,
        to_s: row.number("to_s", (0.0, MOST_S))?,
        line: row.line,
        file,
    };
    if let (Some(from_s), Some(to_s)) = (correction.from_s, correction.to_s)
        && to_s <= from_s
    {
        let problem = format!("a part that ends at {to_s} s and begins at {from_s} s");
        return Err(row.error(
            "to_s",
            problem,
            "an end after the beginning",
            "put the earlier time into from_s",
        ));
    }
    let says_something = correction.used.is_some()
        || correction.place.is_some()
        || correction.from_s.is_some()
        || correction.to_s.is_some()
        || (correction.file.is_some() && correction.athlete.is_some());
    if !says_something {
        let column = if correction.file.is_some() { "file" } else { "athlete" };
        let problem = "a row that says nothing".to_owned();
        let expected = "use, athlete, plan_block, from_s or to_s beside file";
        return Err(row.error(
            column,
            problem,
            expected,
            "fill in what is to be changed, or take the row out",
        ));
    }
    let is_session = matches!(correction.place, Some(PlanPlace::Session { number: Some(_), .. }));
    if correction.file.is_none() && (correction.athlete.is_none() || !is_session) {
        let problem = "a row without file".to_owned();
        let expected = "file; or athlete, plan_block and plan_session for a session without a recording";
        return Err(row.error("athlete", problem, expected, "fill these cells in"));
    }
    Ok(correction)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> Result<Corrections, Error> {
        Corrections::read(text.as_bytes(), "corrections.csv")
    }

    #[test]
    fn a_part_of_a_file_or_of_one_in_an_archive_is_known_by_its_name() {
        let rows = "a.zip-b,5,\na.zip/in.gpx,,90\nb.gpx,,60\nc.gpx.gz,5,\nd/e.gpx,5,\n";
        let found = read(&format!("file,from_s,to_s\n{rows}")).unwrap();
        for (file, has_part) in [
            ("a.zip", true),
            ("a.zip/in.gpx", true),
            ("a", false),
            ("b.gpx", true),
            ("c.gpx", false),
            ("d/e.gpx", true),
            ("d/e", false),
            ("e", false),
        ] {
            assert_eq!(found.has_part_of(file), has_part, "{file}");
        }
        assert!(!read("file,use\na.gpx,no\n").unwrap().has_part_of("a.gpx"));
    }

    #[test]
    fn a_path_is_taken_as_tables_show_it() {
        let rows = "Zo\\xe9\\a.gpx,no\n\" An/a\\u005cb.gpx \",no\n'=x/a.gpx,no\n'a.gpx,no\n";
        let found = read(&format!("file,use\n{rows}")).unwrap();
        let files = ["Zo\\xe9/a.gpx", " An/a\\u005cb.gpx", "=x/a.gpx", "'a.gpx"];
        assert!(
            files.iter().all(|file| found.of_file(file, 1).is_some()) && found.strangers(files).is_empty()
        );
        assert!(found.of_file("An/a/b.gpx", 1).is_none());
    }

    #[test]
    fn every_word_by_hand_is_read() {
        let text = "file;session;use;athlete;plan_block;plan_session;from_s;to_s;note\n\
                    mira\\a.gpx;2;yes;Mira;C;2;30;900,5;early\nmira/b.gpx;;no;;;;;;bus\n;;;Tom;A;3;;;\n";
        let corrections = read(text).unwrap();
        let first = corrections.of_file("mira/a.gpx", 2).unwrap();
        assert_eq!((first.used, first.from_s, first.to_s), (Some(true), Some(30.0), Some(900.5)));
        assert_eq!(first.place, Some(PlanPlace::Session { block: "C".to_owned(), number: Some(2) }));
        assert!(corrections.of_file("mira/a.gpx", 1).is_none());
        assert_eq!(corrections.of_file("mira/b.gpx", 7).unwrap().used, Some(false));
        assert_eq!(corrections.of(&["TOM"], []).iter().filter(|row| row.file.is_none()).count(), 1);
    }

    #[test]
    fn what_contradicts_itself_or_says_nothing_is_refused() {
        let cases = [
            ("file,use\na.gpx,perhaps\n", "use is \"perhaps\""),
            ("file,plan_block,plan_session\na.gpx,none,2\n", "a number beside none"),
            ("file,plan_block,plan_session\na.gpx,,2\n", "a number without its block"),
            ("file,from_s,to_s\na.gpx,60,30\n", "ends at 30 s"),
            ("file,use\na.gpx,no\na.gpx,yes\n", "for a second time"),
            ("file,use\na.gpx,\n", "says nothing"),
            ("athlete,plan_block\nTom,A\n", "a row without file"),
            ("file,plan_block,plan_session\na.gpx,A,1.5\n", "plan_session is 1.5"),
        ];
        for (text, problem) in cases {
            let error = read(text).unwrap_err();
            assert!(error.problem().contains(problem), "{error}");
        }
    }

    #[test]
    fn the_row_of_a_session_outranks_that_of_its_file_cell_by_cell() {
        let text = "file,session,use,athlete,plan_block,plan_session,from_s\na.gpx,,yes,Mira,A,1,30\na.gpx,2,,,B,2,\n";
        let corrections = read(text).unwrap();
        let second = corrections.of_file("a.gpx", 2).unwrap();
        assert_eq!((second.used, second.athlete.as_deref()), (Some(true), Some("Mira")));
        assert_eq!(second.place, Some(PlanPlace::Session { block: "B".to_owned(), number: Some(2) }));
        assert_eq!(second.part_s(), Some((30.0, f64::INFINITY)));
        assert_eq!(second.words().collect::<Vec<_>>(), ["use", "athlete", "plan", "part"]);
        assert!(second.confirms_day());
    }

    #[test]
    fn a_session_that_no_plan_has_and_a_name_that_nobody_has_are_told() {
        let plan = Plan::parse("[[block]]\nsessions = 2\nsession = '9:00 run'", "p").unwrap();
        let corrections =
            read("file,athlete,plan_block,plan_session\n,Tom,A,3\nt.gpx,,B,1\n,Tim,A,1\n").unwrap();
        let told = corrections.without_session(&["Tom"], ["t.gpx"], &[&plan]);
        assert_eq!(told.len(), 2);
        assert!(told.iter().any(|told| told.contains("line 2: Tom has no plan with the session A, 3")));
        let told = corrections.without_athlete(["Tom"]);
        assert_eq!(told, ["corrections.csv, line 4: nobody is called Tim, so that the row changes nothing"]);
    }

    #[test]
    fn a_recording_that_is_gone_is_told_with_the_one_that_may_be_meant() {
        let corrections = read("file,use\nmira/aa.gpx,no\n").unwrap();
        let told = corrections.strangers(["mira/ab.gpx"]);
        assert!(
            told[0].starts_with("corrections.csv, line 2: mira/aa.gpx is not among")
                && told[0].ends_with("mira/ab.gpx?")
        );
        assert!(corrections.strangers(["mira/aa.gpx"]).is_empty());
    }
}

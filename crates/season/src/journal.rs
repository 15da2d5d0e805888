//! The journal: what the athlete said about a day, read and never interpreted beyond its columns.

use chrono::NaiveDate;

use crate::error::{ErrorKind, suggestion};
use crate::sheet::Sheet;
use crate::squad::same_name;
use crate::{Error, Verdict};

const COLUMNS: [&str; 12] = [
    "athlete",
    "date",
    "effort_0_10",
    "talkable",
    "soreness_0_10",
    "pain_0_10",
    "pain_next_morning",
    "pain_worse_running",
    "warning_sign",
    "hot",
    "coach_decision",
    "note",
];
/// The scale of effort, soreness and pain.
const SCALE: (f64, f64) = (0.0, 10.0);

/// A sign for which running stops until a licensed professional has been asked.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum WarningSign {
    /// Pain or pressure in the chest.
    Chest,
    /// Fainting or nearly so.
    Faint,
    /// Dizziness.
    Dizzy,
    /// Breathlessness out of proportion.
    Breathless,
    /// A racing or irregular heartbeat.
    Heartbeat,
    /// Another sign that the coach takes as a warning.
    Other,
}

impl WarningSign {
    /// All of them.
    pub const ALL: [Self; 6] =
        [Self::Chest, Self::Faint, Self::Dizzy, Self::Breathless, Self::Heartbeat, Self::Other];

    /// The word in the journal.
    pub fn word(self) -> &'static str {
        match self {
            Self::Chest => "chest",
            Self::Faint => "faint",
            Self::Dizzy => "dizzy",
            Self::Breathless => "breathless",
            Self::Heartbeat => "heartbeat",
            Self::Other => "other",
        }
    }
}

/// What was noted about one day.
#[derive(Clone, Debug, PartialEq)]
pub struct Entry {
    /// The athlete's name as written.
    pub athlete: String,
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
    /// Whether it was hot.
    pub hot: Option<bool>,
    /// What the coach decided.
    pub coach_decision: Option<Verdict>,
    /// Free text, never interpreted.
    pub note: Option<String>,
}

impl Entry {
    /// An entry that says nothing yet.
    pub fn new(athlete: &str, date: NaiveDate) -> Self {
        Self {
            athlete: athlete.to_owned(),
            date,
            effort_0_10: None,
            talkable: None,
            soreness_0_10: None,
            pain_0_10: None,
            pain_next_morning: None,
            pain_worse_running: None,
            warning_signs: Vec::new(),
            hot: None,
            coach_decision: None,
            note: None,
        }
    }
}

/// A journal file.
///
/// ```
/// use boutwise_season::{Journal, WarningSign};
/// let text = "athlete,date,effort_0_10,warning_sign\nMira,2026-03-02,3,\nMira,2026-03-04,4,dizzy\n";
/// let journal = Journal::read(text.as_bytes(), "journal.csv").unwrap();
/// assert_eq!(journal.of("mira").count(), 2);
/// assert_eq!(journal.entries[1].warning_signs, [WarningSign::Dizzy]);
/// ```
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Journal {
    /// The entries by day, then in the order of the file.
    pub entries: Vec<Entry>,
    /// What was odd in the file, in sentences.
    pub notes: Vec<String>,
    /// The newest day and where it stands, as an error that nobody has worded yet.
    newest: Option<(NaiveDate, Error)>,
}

impl Journal {
    /// Reads a journal file.
    ///
    /// # Errors
    ///
    /// The first cell that can't be read. A journal is read whole or not at all: a mistyped pain or warning sign
    /// must not be passed over.
    pub fn read(bytes: &[u8], name: &str) -> Result<Self, Error> {
        let mut sheet = Sheet::read(ErrorKind::Journal, name, bytes, &COLUMNS, 2)?;
        sheet.find_date_order("date")?;
        let mut journal = Self { notes: std::mem::take(&mut sheet.notes), ..Self::default() };
        let mut seen: Vec<(usize, Entry)> = Vec::new();
        for row in sheet.rows() {
            let entry = read_entry(&sheet, row)?;
            let line = sheet.line(row);
            if journal.newest.as_ref().is_none_or(|(newest, _)| entry.date > *newest) {
                journal.newest = Some((entry.date, sheet.cell_error(row, "date", String::new(), "", "")));
            }
            match seen.iter().find(|(_, earlier)| *earlier == entry) {
                Some((twin, _)) => {
                    journal.notes.push(format!("{name}, line {line}: the same as line {twin}, read once"));
                }
                None => seen.push((line, entry)),
            }
        }
        journal.entries = seen.into_iter().map(|(_, entry)| entry).collect();
        journal.entries.sort_by_key(|entry| entry.date);
        Ok(journal)
    }

    /// The entries of one athlete, by day.
    pub fn of<'a>(&'a self, athlete: &str) -> impl Iterator<Item = &'a Entry> {
        self.entries.iter().filter(move |entry| same_name(&entry.athlete, athlete))
    }

    /// The newest day where it is later than `last`, with its place in the file.
    pub(crate) fn later_than(&self, last: NaiveDate) -> Option<(NaiveDate, Error)> {
        self.newest.clone().filter(|(newest, _)| *newest > last)
    }

    /// A sentence for each name in the journal that is no athlete.
    pub fn strangers<'a>(&self, athletes: impl IntoIterator<Item = &'a str>) -> Vec<String> {
        let athletes: Vec<&str> = athletes.into_iter().collect();
        let mut names: Vec<&str> = self.entries.iter().map(|entry| entry.athlete.as_str()).collect();
        names.sort_unstable();
        names.dedup();
        names.retain(|name| !athletes.iter().any(|athlete| same_name(athlete, name)));
        names
            .iter()
            .map(|name| {
                let meant = suggestion(name, athletes.iter().copied())
                    .map_or(String::new(), |meant| format!("; did you mean {meant}?"));
                format!("{name}: in the journal, but no athlete of that name{meant}")
            })
            .collect()
    }
}

fn read_entry(sheet: &Sheet<'_>, row: usize) -> Result<Entry, Error> {
    let (Some(athlete), Some(date)) = (sheet.cell(row, "athlete"), sheet.date(row, "date")?) else {
        let column = if sheet.cell(row, "athlete").is_none() { "athlete" } else { "date" };
        let mend = "fill it in, or take the row out";
        return Err(sheet.cell_error(
            row,
            column,
            format!("a row without {column}"),
            "athlete and date",
            mend,
        ));
    };
    Ok(Entry {
        effort_0_10: sheet.number(row, "effort_0_10", SCALE)?,
        talkable: sheet.flag(row, "talkable")?,
        soreness_0_10: sheet.number(row, "soreness_0_10", SCALE)?,
        pain_0_10: sheet.number(row, "pain_0_10", SCALE)?,
        pain_next_morning: sheet.flag(row, "pain_next_morning")?,
        pain_worse_running: sheet.flag(row, "pain_worse_running")?,
        warning_signs: read_warning_signs(sheet, row)?,
        hot: sheet.flag(row, "hot")?,
        coach_decision: read_decision(sheet, row)?,
        note: sheet.cell(row, "note").map(str::to_owned),
        ..Entry::new(athlete, date)
    })
}

fn read_warning_signs(sheet: &Sheet<'_>, row: usize) -> Result<Vec<WarningSign>, Error> {
    let Some(cell) = sheet.cell(row, "warning_sign") else { return Ok(Vec::new()) };
    if ["none", "no", "-", "0"].contains(&cell.to_lowercase().as_str()) {
        return Ok(Vec::new());
    }
    let words = WarningSign::ALL.map(WarningSign::word);
    let mut signs = Vec::new();
    for said in cell.split(|c: char| !c.is_alphanumeric()).filter(|said| !said.is_empty()) {
        let sign = WarningSign::ALL.into_iter().find(|sign| sign.word() == said.to_lowercase());
        let Some(sign) = sign else {
            let mend = match suggestion(said, words) {
                Some(meant) => format!("write {meant}"),
                None => "write one of these words, other where none fits; details go into note".to_owned(),
            };
            let problem = format!("\"{said}\" is no warning sign");
            return Err(sheet.cell_error(row, "warning_sign", problem, &words.join(", "), &mend));
        };
        if !signs.contains(&sign) {
            signs.push(sign);
        }
    }
    Ok(signs)
}

fn read_decision(sheet: &Sheet<'_>, row: usize) -> Result<Option<Verdict>, Error> {
    let Some(cell) = sheet.cell(row, "coach_decision") else { return Ok(None) };
    match Verdict::ALL.into_iter().find(|verdict| verdict.word() == cell.to_lowercase()) {
        Some(verdict) => Ok(Some(verdict)),
        None => {
            let problem = format!("coach_decision is \"{cell}\"");
            let mend = "write one of these words; the reason goes into note";
            Err(sheet.cell_error(row, "coach_decision", problem, "advance, hold, ease or stop", mend))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn journal(text: &str) -> Result<Journal, Error> {
        Journal::read(text.as_bytes(), "journal.csv")
    }

    #[test]
    fn a_full_row_is_read_and_an_empty_cell_stays_unknown() {
        let text = "Date;Athlete;effort 0-10;Talkable;pain_0_10;pain next morning;warning sign;coach_decision;note\n\
                    25.03.2026;Mira;3,5;yes;0;;Chest + dizzy;Hold;\"slept badly; cold\"\n";
        let entry = &journal(text).unwrap().entries[0];
        assert_eq!(entry.date, NaiveDate::from_ymd_opt(2026, 3, 25).unwrap());
        assert_eq!((entry.effort_0_10, entry.talkable, entry.pain_0_10), (Some(3.5), Some(true), Some(0.0)));
        assert_eq!((entry.pain_next_morning, entry.hot), (None, None));
        assert_eq!(entry.warning_signs, [WarningSign::Chest, WarningSign::Dizzy]);
        assert_eq!(
            (entry.coach_decision, entry.note.as_deref()),
            (Some(Verdict::Hold), Some("slept badly; cold"))
        );
    }

    #[test]
    fn what_could_hide_a_warning_is_refused() {
        let cases = [
            ("athlete,date,warning_sign\na,2026-03-02,chest pain\n", "\"pain\" is no warning sign"),
            ("athlete,date,pain_0_10\na,2026-03-02,11\n", "pain_0_10 is \"11\""),
            ("athlete,date,pain_0_10\na,2026-03-02,a bit\n", "pain_0_10 is \"a bit\""),
            ("athlete,date,pain_next_morning\na,2026-03-02,later\n", "pain_next_morning is \"later\""),
            ("athlete,date,coach_decision\na,2026-03-02,rest\n", "coach_decision is \"rest\""),
            ("athlete,date\na,\n", "a row without date"),
            ("athlete,date\n,2026-03-02\n", "a row without athlete"),
            ("athlete,date\na,03/04/2026\n", "day first or month first"),
        ];
        for (text, problem) in cases {
            assert!(journal(text).unwrap_err().problem().contains(problem), "{text}");
        }
    }

    #[test]
    fn the_same_row_twice_counts_once_and_strangers_are_named() {
        let read =
            journal("athlete,date,pain_0_10\nMira,2026-03-02,2\nMira,2026-03-02,2\nMiro,2026-03-01,0\n")
                .unwrap();
        assert_eq!((read.entries.len(), read.entries[0].athlete.as_str()), (2, "Miro"));
        assert!(read.notes[0].contains("line 3: the same as line 2"));
        assert_eq!(
            read.strangers(["mira"]),
            ["Miro: in the journal, but no athlete of that name; did you mean mira?"]
        );
    }
}

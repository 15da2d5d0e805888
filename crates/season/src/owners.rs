//! The owners file: whose each recording is, proposed by the program and changed by the coach.

use std::collections::HashMap;

use boutwise_track::plain_path;

use crate::Error;
use crate::error::ErrorKind;
use crate::name::{composed, folded_name};
use crate::sheet::{Columns, Oddities, Sheet};
use crate::wording::withheld;

const COLUMNS: Columns = Columns {
    known: &["athlete", "file", "sure", "why"],
    required: &[&["athlete"], &["file"]],
    names: &["athlete"],
    signs: &[],
};

/// Most names that a sentence about one file has (own choice).
const NAMES_MOST: usize = 4;

/// Whose one recording is.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Owner {
    /// The athlete; `None` for nobody.
    pub athlete: Option<String>,
    /// Whether it is sure; `None` where nothing is said.
    pub sure: Option<bool>,
    /// What speaks for it.
    pub why: String,
}

/// An owners file. A file with several tracks of several people has a row for each, in their order.
///
/// ```
/// use boutwise_season::Owners;
/// let owners = Owners::read("athlete,file,sure,why\nMira,a.gpx,yes,\n,b.gpx,no,\n".as_bytes(), "owners.csv").unwrap();
/// assert_eq!(owners.of("a.gpx", 1).and_then(|owner| owner.athlete.as_deref()), Some("Mira"));
/// assert_eq!(owners.of("b.gpx", 1).map(|owner| owner.athlete.is_none()), Some(true));
/// assert!(owners.of("c.gpx", 1).is_none());
/// ```
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Owners {
    /// The files in the order of the table, each with its rows.
    pub files: Vec<(String, Vec<Owner>)>,
    /// What was odd in the file, in sentences.
    pub notes: Vec<String>,
    by_file: HashMap<String, usize>,
    /// The table as it was read, so that it can be written as it stands, with what the coach keeps in it.
    standing: Vec<u8>,
    /// The rows that were added since: their file and which of its rows each is.
    added: Vec<(usize, usize)>,
}

impl Owners {
    /// Reads an owners file.
    ///
    /// # Errors
    ///
    /// The first cell that can't be read, a row without file, a heading near a known one, a file beyond
    /// [`MAX_TABLE_BYTES`](crate::MAX_TABLE_BYTES).
    pub fn read(bytes: &[u8], name: &str) -> Result<Self, Error> {
        let mut sheet = Sheet::read(ErrorKind::Owners, name, bytes, COLUMNS)?;
        let notes = std::mem::take(&mut sheet.notes);
        let mut owners = Self::default();
        sheet.for_each(|row| {
            let Some(file) = row.cell("file") else {
                let mend = "write the file's path below the folder, or take the row out";
                return Err(row.error("file", "a row without file".into(), "a file", mend));
            };
            owners.push(
                &plain_path(file),
                Owner {
                    athlete: row.cell("athlete").map(|name| composed(name).into_owned()),
                    sure: row.flag("sure")?,
                    why: row.cell("why").unwrap_or_default().to_owned(),
                },
            );
            Ok(())
        })?;
        owners.notes = notes.into_sentences(name);
        owners.standing = bytes.to_vec();
        owners.added.clear();
        Ok(owners)
    }

    /// Adds the row of a file's next track.
    pub fn push(&mut self, file: &str, owner: Owner) {
        let at = *self.by_file.entry(file.trim().to_owned()).or_insert(self.files.len());
        self.added.push((at, self.files.get(at).map_or(0, |(_, rows)| rows.len())));
        match self.files.get_mut(at) {
            Some((_, rows)) => rows.push(owner),
            // Most files have one row; room for more would be the most of the table.
            None => self.files.push((file.to_owned(), vec![owner])),
        }
    }

    /// The table with codes in place of the names of athletes and files, and without reasons.
    #[must_use]
    pub fn renamed(&self, athlete: impl Fn(&str) -> String, file: impl Fn(&str) -> String) -> Self {
        let mut renamed = Self { notes: withheld(&self.notes, ErrorKind::Owners.word()), ..Self::default() };
        for (path, rows) in &self.files {
            let path = file(path);
            for row in rows {
                let athlete = row.athlete.as_deref().map(&athlete);
                renamed.push(&path, Owner { athlete, sure: row.sure, why: String::new() });
            }
        }
        renamed
    }

    /// The owner of a session of a file, counted from 1; `None` where the file is not in the table. One row holds for all
    /// sessions, of several the last for those beyond.
    pub fn of(&self, file: &str, session: usize) -> Option<&Owner> {
        // A spreadsheet's cell has no blanks round it.
        let (_, rows) = self.files.get(*self.by_file.get(file.trim())?)?;
        rows.get(session.saturating_sub(1)).or(rows.last())
    }

    /// Whether a file is in the table.
    pub fn has(&self, file: &str) -> bool {
        self.by_file.contains_key(file.trim())
    }

    /// What is said of files whose rows name several people and are more than the recordings in them, a sentence each.
    /// `recordings` gives how many there are in a file, `None` for one that is not there.
    pub fn at_odds(&self, recordings: impl Fn(&str) -> Option<usize>) -> Vec<String> {
        let at_odds = self.files.iter().filter_map(|(file, rows)| {
            let count = recordings(file).filter(|count| (1..rows.len()).contains(count))?;
            let name = |owner: &Owner| owner.athlete.as_deref().map_or(String::new(), folded_name);
            if rows.iter().all(|row| name(row) == name(&rows[0])) {
                return None;
            }
            let named: Vec<&str> =
                rows.iter().map(|row| row.athlete.as_deref().unwrap_or("nobody")).take(NAMES_MOST).collect();
            let (recordings, count_for) = match count {
                1 => ("one recording".to_owned(), "it counts for the first"),
                _ => (format!("{count} recordings"), "they count for the first of them"),
            };
            let rows = rows.len();
            Some(format!(
                "{file} holds {recordings} and has {rows} rows in the owners file, which name {}: {count_for}; take the rows out \
                 that are wrong",
                named.join(", then ")
            ))
        });
        let mut told = Oddities::default();
        at_odds.for_each(|sentence| told.push(|| sentence));
        told.into_sentences(ErrorKind::Owners.word())
    }

    /// The table as CSV: the one that was read as it stands, with the files that were added since below it.
    ///
    /// # Errors
    ///
    /// Those of [`Owners::read`], of what was read.
    pub fn text(&self) -> Result<String, Error> {
        let standing =
            if self.standing.is_empty() { b"athlete,file,sure,why\n" } else { self.standing.as_slice() };
        let sheet = Sheet::read(ErrorKind::Owners, "", standing, COLUMNS)?;
        let cells = |&(file, row): &(usize, usize)| {
            let (file, rows) = self.files.get(file)?;
            let owner = rows.get(row)?;
            let sure = owner.sure.map_or("", |sure| if sure { "yes" } else { "no" });
            let athlete = owner.athlete.as_deref().unwrap_or_default();
            Some([athlete, file, sure, &owner.why].map(str::to_owned).to_vec())
        };
        let added: Vec<Vec<String>> = self.added.iter().filter_map(cells).collect();
        // A spreadsheet tells UTF-8 by the mark that it wrote before.
        let mark = if encoding_rs::Encoding::for_bom(&self.standing).is_some() { "\u{feff}" } else { "" };
        Ok(mark.to_owned() + &sheet.extended(COLUMNS.known, &added))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_table_comes_back_as_it_was_written() {
        let mut owners = Owners::default();
        let owner = |athlete: Option<&str>, sure, why: &str| Owner {
            athlete: athlete.map(str::to_owned),
            sure,
            why: why.into(),
        };
        owners.push("a, b.gpx", owner(Some("Zoé \"Z\" Ost"), Some(true), "name in the path; device"));
        owners.push("two.gpx", owner(Some("Mira"), Some(false), ""));
        owners.push("two.gpx", owner(None, None, "x"));
        let read = Owners::read(owners.text().unwrap().as_bytes(), "owners.csv").unwrap();
        assert_eq!(read.files, owners.files);
        assert_eq!(read.text().unwrap(), owners.text().unwrap());
        assert_eq!(read.of("two.gpx", 1).unwrap().athlete.as_deref(), Some("Mira"));
        assert_eq!(read.of("two.gpx", 2).unwrap().athlete, None);
        assert_eq!(read.of("two.gpx", 9).unwrap().athlete, None);
    }

    #[test]
    fn what_the_coach_keeps_in_the_table_stays_and_new_rows_fit_it() {
        let table =
            "sep=;\r\nfile;remark;athlete\r\nAnna\\a.gpx;\"my \"\"own\"\"\r\nwords\";Anna\r\n;;;\r\nb.gpx;;";
        let mut owners = Owners::read(table.as_bytes(), "owners.csv").unwrap();
        assert!(owners.has("Anna/a.gpx"));
        assert_eq!(owners.text().unwrap(), table);
        owners
            .push("=x;y.gpx", Owner { athlete: Some("-1".into()), sure: Some(false), why: "device".into() });
        let expected = format!(
            "{}\r\n\"'=x;y.gpx\";;'-1;no;device\r\n",
            table.replacen("athlete", "athlete;sure;why", 1)
        );
        assert_eq!(owners.text().unwrap(), expected);
        let again = Owners::read(expected.as_bytes(), "owners.csv").unwrap();
        assert_eq!((again.files == owners.files, again.text().unwrap()), (true, expected));
    }

    #[test]
    fn rows_that_name_several_people_for_one_recording_are_told() {
        let table = "file,athlete\na.gpx,Bob\na.gpx,Anna\nb.gpx,Bob\nb.gpx,BOB\nc.gpx,Bob\nc.gpx,\nd.gpx,Bob\nd.gpx,Anna\n";
        let owners = Owners::read(table.as_bytes(), "owners.csv").unwrap();
        let recordings =
            |file: &str| [("a.gpx", 1), ("b.gpx", 1), ("c.gpx", 2)].into_iter().find(|at| at.0 == file);
        assert_eq!(
            owners.at_odds(|file| Some(recordings(file)?.1)),
            [
                "a.gpx holds one recording and has 2 rows in the owners file, which name Bob, then Anna: it counts for the first; \
              take the rows out that are wrong"
            ]
        );
    }

    #[test]
    fn wrong_cells_are_refused() {
        for (text, problem) in [
            ("athlete,file,sure\nMira,,yes\n", "a row without file"),
            ("athlete,file,sure\nMira,a.gpx,perhaps\n", "sure is \"perhaps\""),
            ("name,file\nMira,a.gpx\n", "the column \"name\" is not known"),
            ("athlete\nMira\n", "no column file"),
        ] {
            let error = Owners::read(text.as_bytes(), "owners.csv").unwrap_err();
            assert!(error.problem().contains(problem), "{error}");
        }
    }
}

//! The owners file: whose each recording is, proposed by the program and changed by the coach.

use std::collections::HashMap;
use std::fmt::Write;

use crate::Error;
use crate::error::ErrorKind;
use crate::name::composed;
use crate::sheet::{Columns, Sheet};
use crate::wording::withheld;

const COLUMNS: Columns = Columns {
    known: &["athlete", "file", "sure", "why"],
    required: &[&["athlete"], &["file"]],
    names: &["athlete"],
};

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
                &file.replace('\\', "/"),
                Owner {
                    athlete: row.cell("athlete").map(|name| composed(name).into_owned()),
                    sure: row.flag("sure")?,
                    why: row.cell("why").unwrap_or_default().to_owned(),
                },
            );
            Ok(())
        })?;
        owners.notes = notes.into_sentences(name);
        Ok(owners)
    }

    /// Adds the row of a file's next track.
    pub fn push(&mut self, file: &str, owner: Owner) {
        let at = *self.by_file.entry(file.to_owned()).or_insert(self.files.len());
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
        let (_, rows) = self.files.get(*self.by_file.get(file)?)?;
        rows.get(session.saturating_sub(1)).or(rows.last())
    }

    /// Whether a file is in the table.
    pub fn has(&self, file: &str) -> bool {
        self.by_file.contains_key(file)
    }

    /// The table as CSV.
    pub fn text(&self) -> String {
        let mut text = "athlete,file,sure,why\n".to_owned();
        let quoted = |cell: &str| {
            if cell.contains([',', '"', '\n', '\r', ';']) || cell != cell.trim() {
                format!("\"{}\"", cell.replace('"', "\"\""))
            } else {
                cell.to_owned()
            }
        };
        for (file, rows) in &self.files {
            for owner in rows {
                let sure = owner.sure.map_or("", |sure| if sure { "yes" } else { "no" });
                let athlete = owner.athlete.as_deref().unwrap_or_default();
                let _ = writeln!(text, "{},{},{sure},{}", quoted(athlete), quoted(file), quoted(&owner.why));
            }
        }
        text
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
        let read = Owners::read(owners.text().as_bytes(), "owners.csv").unwrap();
        assert_eq!(read, owners);
        assert_eq!(read.of("two.gpx", 1).unwrap().athlete.as_deref(), Some("Mira"));
        assert_eq!(read.of("two.gpx", 2).unwrap().athlete, None);
        assert_eq!(read.of("two.gpx", 9).unwrap().athlete, None);
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

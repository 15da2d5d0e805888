//! Codes in place of the names of athletes and files: keyed, stable, and in every output.
//!
//! Names are replaced as soon as it is known whose each recording is, and before anything is said: what comes after knows
//! no names, so that no table, page, note or message can tell one. What people write freely (notes of a journal, titles of
//! plans, reasons of an absence) may hold names and is left out.

use std::collections::{BTreeSet, HashMap};
use std::fmt;
use std::path::Path;

use boutwise_report::{ATHLETE_FOLDER, CODEBOOK_FILE, DECLARED, GROUP_FILE, REPORT_FILE};
use boutwise_season::{Corrections, Journal, Owners, Plan, Squad, folded_name};
use chrono::TimeDelta;
use hmac::{Hmac, KeyInit, Mac};
use sha2::Sha256;

use crate::{Error, ErrorKind, SeasonFiles};

/// Bytes that a key has at least: as many as stand for 128 bits of chance (NIST SP 800-107, section 5.3.4, asks for 112).
const KEY_LEAST_BYTES: usize = 16;
/// Bytes that a key file has at most (own choice: more is some other file).
const KEY_MOST_BYTES: u64 = 4096;
/// Codes are numbers below it: 18 digits, so that two of 100,000 files have one code in one squad of 10⁸. Figures alone
/// read as no name.
const CODES: u64 = 1_000_000_000_000_000_000;
/// Digits of a code.
const CODE_DIGITS: usize = CODES.ilog10() as usize;

/// Days are moved into the past by so many weeks, from the first to below the second: ten to twenty years. So far back no
/// moved day of a season is one of its own days, and every number is as likely as the others (own choice).
const MOVED_WEEKS: (u64, u64) = (522, 1044);

/// What a name is the name of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Of {
    Person,
    Group,
    Plan,
    File,
}

impl Of {
    fn word(self) -> &'static str {
        match self {
            Self::Person => "Person",
            Self::Group => "Group",
            Self::Plan => "Plan",
            Self::File => "File",
        }
    }
}

/// A key, and the codes that it makes of names: of one name always the same, of another key others.
///
/// A code is a part of HMAC-SHA-256 (RFC 2104, FIPS 180-4) of the name. Without the key nobody can find the name by trying.
#[derive(Clone)]
pub struct Pseudonyms {
    keyed: Hmac<Sha256>,
    shifts_dates: bool,
}

impl fmt::Debug for Pseudonyms {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        formatter.write_str("Pseudonyms")
    }
}

impl PartialEq for Pseudonyms {
    fn eq(&self, other: &Self) -> bool {
        let known = |codes: &Self| (codes.code(Of::Person, ""), codes.shifts_dates);
        known(self) == known(other)
    }
}

impl Pseudonyms {
    /// Codes by a key.
    ///
    /// ```
    /// use boutwise_audit::Pseudonyms;
    /// let codes = Pseudonyms::of_key(b"a key that nobody guesses").unwrap();
    /// assert_eq!(codes.file("mira/run.gpx"), codes.file("mira/run.gpx"));
    /// assert_ne!(codes.file("mira/run.gpx"), codes.file("mira/run2.gpx"));
    /// assert!(Pseudonyms::of_key(b"short").is_none());
    /// ```
    pub fn of_key(key: &[u8]) -> Option<Self> {
        let keyed = Hmac::new_from_slice(key).ok().filter(|_| key.len() >= KEY_LEAST_BYTES)?;
        Some(Self { keyed, shifts_dates: false })
    }

    /// Reads a key file: a regular file of 16 to 4096 bytes, line ends at its end not counted, that lies outside the
    /// folder of recordings.
    ///
    /// # Errors
    /// [`ErrorKind::Key`](crate::ErrorKind) where it is none, or cannot be read.
    pub fn read(path: &Path, recordings: &Path) -> Result<Self, Error> {
        let refused = |why: String| Error::key(path, why);
        let unreadable = |error: std::io::Error| refused(format!("it cannot be read ({error})"));
        let data = std::fs::metadata(path).map_err(unreadable)?;
        if !data.is_file() {
            return Err(refused("it is no regular file".to_owned()));
        }
        if data.len() > KEY_MOST_BYTES {
            return Err(refused(format!(
                "it has {} bytes, and a key has at most {KEY_MOST_BYTES}",
                data.len()
            )));
        }
        let is_inside = |folder: &Path| path.canonicalize().is_ok_and(|path| path.starts_with(folder));
        if recordings.canonicalize().is_ok_and(|folder| is_inside(&folder)) {
            return Err(refused(
                "it lies in the folder of recordings, where it would be given away with them".into(),
            ));
        }
        let bytes = std::fs::read(path).map_err(unreadable)?;
        let end = bytes.iter().rposition(|byte| !matches!(byte, b'\n' | b'\r')).map_or(0, |last| last + 1);
        Self::of_key(&bytes[..end]).ok_or_else(|| {
            refused(format!(
                "it has {end} bytes, and a key has at least {KEY_LEAST_BYTES}: fill it by chance"
            ))
        })
    }

    /// The same, with the days of each athlete moved by a number of whole weeks of their own, too.
    #[must_use]
    pub fn shifting_dates(self) -> Self {
        Self { shifts_dates: true, ..self }
    }

    /// Whether days are moved.
    pub(crate) fn shifts_dates(&self) -> bool {
        self.shifts_dates
    }

    /// By how much the days of an athlete are moved, by the code of the name.
    pub(crate) fn moved_by(&self, person: &str) -> TimeDelta {
        let weeks = MOVED_WEEKS.0 + self.number("Weeks", person.as_bytes(), MOVED_WEEKS.1 - MOVED_WEEKS.0);
        -TimeDelta::weeks(i64::try_from(weeks).unwrap_or_default())
    }

    /// What stands in place of a digest: nobody finds by it whose bytes they have.
    pub(crate) fn digest(&self, digest: u128) -> u128 {
        let bytes = self.bytes("Digest", &digest.to_be_bytes());
        bytes.as_ref().iter().take(16).fold(0, |number, byte| number << 8 | u128::from(*byte))
    }

    fn bytes(&self, of: &str, what: &[u8]) -> impl AsRef<[u8]> + use<> {
        let mut keyed = self.keyed.clone();
        keyed.update(of.as_bytes());
        keyed.update(&[0]);
        keyed.update(what);
        keyed.finalize().into_bytes()
    }

    /// A number below another.
    fn number(&self, of: &str, what: &[u8], below: u64) -> u64 {
        let digest = self.bytes(of, what);
        digest.as_ref().iter().take(8).fold(0_u64, |number, byte| number << 8 | u64::from(*byte)) % below
    }

    fn code(&self, of: Of, name: &str) -> String {
        let number = self.number(of.word(), name.as_bytes(), CODES);
        format!("{} {number:0CODE_DIGITS$}", of.word())
    }

    /// The code of an athlete, by the name that tables have.
    pub fn person(&self, name: &str) -> String {
        self.code(Of::Person, name)
    }

    /// The code of a file, by its path below the folder.
    pub fn file(&self, path: &str) -> String {
        self.code(Of::File, path)
    }

    /// The name of a file that a manifest has: a code stays, and what is none becomes one.
    pub(crate) fn stated_file(&self, name: &str) -> String {
        if name.strip_prefix("File ").is_some_and(is_number) { name.to_owned() } else { self.file(name) }
    }

    /// The name of a file of a result: what the program calls its own files stays, and every other becomes a code.
    pub(crate) fn output(&self, name: &str) -> String {
        let page = name.strip_prefix(ATHLETE_FOLDER).and_then(|name| name.strip_prefix("/person-"));
        let is_page = page.and_then(|page| page.strip_suffix(".html")).is_some_and(is_number);
        let is_table = |ending: &str| {
            name.strip_suffix(ending).is_some_and(|name| DECLARED.iter().any(|table| table.name == name))
        };
        let is_own = [REPORT_FILE, GROUP_FILE, CODEBOOK_FILE].contains(&name)
            || is_table(".csv")
            || is_table(".parquet");
        if is_own || is_page { name.to_owned() } else { self.file(name) }
    }

    /// What people wrote about a season, with codes in place of names and without what they wrote freely. `recorded` are
    /// the athletes of recordings, by name.
    pub(crate) fn season_files<'a>(
        &self,
        files: &SeasonFiles,
        recorded: impl IntoIterator<Item = &'a str>,
    ) -> SeasonFiles {
        // A name is written in many ways; its code is that of the way in which tables write it. Folders that no row of the
        // squad file joins are several people: what was written of their name reaches each of them.
        let mut by_folded: HashMap<String, BTreeSet<&str>> = HashMap::new();
        for name in recorded {
            by_folded.entry(folded_name(name)).or_default().insert(name);
        }
        let people = |name: &str| -> Vec<String> {
            let of_squad = files.athlete(name).map(|athlete| self.person(&athlete.name));
            let recorded = || by_folded.get(&folded_name(name)).into_iter().flatten();
            match of_squad {
                Some(code) => vec![code],
                None if recorded().next().is_none() => vec![self.person(name)],
                None => recorded().map(|name| self.person(name)).collect(),
            }
        };
        let person = |name: &str| people(name).swap_remove(0);
        let group = |name: &str| self.code(Of::Group, &folded_name(name));
        let file = |path: &str| self.file(path);
        let plan = |plan: &Plan| Plan { title: self.code(Of::Plan, &plan.title), ..plan.clone() };
        let squad_plans = files.squad_plans.iter().map(|(name, of_name)| (name.clone(), plan(of_name)));
        SeasonFiles {
            squad: files.squad.as_ref().map(|squad| Squad::renamed(squad, person, group)),
            journal: Journal::renamed(&files.journal, |of_group, name| {
                if of_group { vec![group(name)] } else { people(name) }
            }),
            corrections: Corrections::renamed(&files.corrections, people, file),
            owners: files.owners.as_ref().map(|owners| Owners::renamed(owners, person, file)),
            plan: files.plan.as_ref().map(plan),
            squad_plans: squad_plans.collect(),
            carried: files.carried.clone(),
            moved_plans: HashMap::new(),
            digests: files.digests.clone(),
        }
    }
}

/// Whether a text is the number of a code.
fn is_number(text: &str) -> bool {
    text.len() == CODE_DIGITS && text.bytes().all(|digit| digit.is_ascii_digit())
}

/// Why a run with codes for names ended, without a name, a path or a cell: what stood in the way, and at which line of
/// which kind of file.
pub fn without_names(error: &(dyn std::error::Error + 'static)) -> String {
    const HOW: &str = "what it says may hold names and is not shown; to see it, run without --pseudonyms";
    if let Some(error) = error.downcast_ref::<Error>() {
        if let Some(why) = error.of_cache() {
            return format!("the cache: {why}");
        }
        return match (error.kind(), error.place()) {
            (ErrorKind::Key | ErrorKind::Threads | ErrorKind::Spill | ErrorKind::Stopped, _) => {
                error.to_string()
            }
            (_, Some(place)) => {
                format!("{}, line {}, column {}: {HOW}", place.kind().word(), place.line(), place.column())
            }
            (ErrorKind::NoInput, None) => format!("the folder of recordings cannot be looked at: {HOW}"),
            (ErrorKind::NoManifest, None) => format!("the manifest of the result is none: {HOW}"),
            (_, None) => format!("the {} cannot be opened: {HOW}", error.unopened().unwrap_or("file")),
        };
    }
    if let Some(error) = error.downcast_ref::<boutwise_report::Error>() {
        let why = std::error::Error::source(error).map_or_else(String::new, said_by_system);
        let what = match error.kind() {
            boutwise_report::ErrorKind::NoRecordings => "the folder of recordings",
            _ => "the output folder",
        };
        return format!("{what}: {}{why}: {HOW}", error.kind().words());
    }
    format!("the run failed{}: {HOW}", said_by_system(error))
}

/// The kind of what the system said, without the path that may stand in its words.
fn said_by_system(error: &(dyn std::error::Error + 'static)) -> String {
    let error = error.downcast_ref::<std::io::Error>();
    error.map_or_else(String::new, |error| format!(" ({})", error.kind()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_code_is_a_part_of_the_keyed_digest() {
        // RFC 4231, test case 1 has the key 20 times 0b; the digest of "Person\0Hi There" by `openssl dgst -sha256 -mac
        // HMAC -macopt hexkey:0b…`.
        let codes = Pseudonyms::of_key(&[0x0b; 20]).unwrap();
        assert_eq!(codes.person("Hi There"), "Person 237735747256105322");
        assert_ne!(codes.person("x"), codes.file("x").replace("File", "Person"));
    }

    #[test]
    fn days_move_by_whole_weeks_never_none_and_by_key_and_athlete() {
        let [one, two] = [b"a key that nobody guesses", b"b key that nobody guesses"]
            .map(|key| Pseudonyms::of_key(key).unwrap().shifting_dates());
        let weeks = |codes: &Pseudonyms, name: &str| -codes.moved_by(name).num_weeks();
        let all: Vec<i64> = (0..4000).map(|number| weeks(&one, &format!("Person {number}"))).collect();
        assert!(all.iter().all(|weeks| (522..1044).contains(weeks)));
        let different: BTreeSet<i64> = all.iter().copied().collect();
        // All but one in e⁷·⁷ of 522 numbers.
        assert!(different.len() >= 510, "{}", different.len());
        assert_eq!(one.moved_by("Person 1").num_days() % 7, 0);
        assert_eq!(weeks(&one, "Person 1"), weeks(&one.clone(), "Person 1"));
        let same = (0..4000).filter(|number| {
            let name = format!("Person {number}");
            weeks(&one, &name) == weeks(&two, &name)
        });
        assert!(same.count() < 30);
    }

    #[test]
    fn a_key_file_is_a_regular_file_with_enough_of_chance_outside_the_recordings() {
        let place = tempfile::tempdir().unwrap();
        let (key, recordings) = (place.path().join("key"), place.path().join("squad"));
        std::fs::create_dir(&recordings).unwrap();
        let read = |bytes: &[u8]| {
            std::fs::write(&key, bytes).unwrap();
            Pseudonyms::read(&key, &recordings).map_err(|error| error.to_string())
        };
        assert_eq!(read(b"0123456789abcdef"), read(b"0123456789abcdef\r\n"));
        assert_ne!(read(b"0123456789abcdef"), read(b"0123456789abcdeg"));
        assert!(read(b"0123456789abcde\n\n").unwrap_err().contains("15 bytes"));
        assert!(read(&[b'a'; 4097]).unwrap_err().contains("at most 4096"));
        let refused = |path: &Path| Pseudonyms::read(path, &recordings).unwrap_err().to_string();
        assert!(refused(place.path()).contains("no regular file"));
        assert!(refused(&place.path().join("absent")).contains("cannot be read"));
        std::fs::write(recordings.join("key"), [b'a'; 32]).unwrap();
        assert!(refused(&recordings.join("key")).contains("in the folder of recordings"));
        assert!(!format!("{:?}", read(b"0123456789abcdef").unwrap()).contains("0123"));
    }
}

//! Why an audit could not be made.

use std::fmt;
use std::io;
use std::path::{Path, PathBuf};

use boutwise_season::MAX_NAME_LETTERS;
use rayon::ThreadPoolBuildError;

/// What stood in the way.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum ErrorKind {
    /// There is nothing at the place of the recordings, or it cannot be looked at.
    NoInput,
    /// A plan, squad, journal or settings file is there and says what cannot be understood.
    SeasonFile,
    /// A plan, squad, journal or settings file cannot be opened.
    Unopenable,
    /// The file with the key for codes in place of names is none, or cannot be read.
    Key,
    /// What should be the manifest of a result is none.
    NoManifest,
    /// The operating system gives no more threads.
    Threads,
    /// What was read cannot be put by until its turn comes: no room, or no folder for it.
    Spill,
    /// A result cannot be written.
    Output,
    /// The folder in which is kept what files gave cannot be used.
    Cache,
    /// The caller asked to stop.
    Stopped,
}

/// Why an audit could not be made. A recording that cannot be read is none: it has its row.
#[derive(Debug)]
pub struct Error(Box<Repr>);

#[derive(Debug)]
enum Repr {
    NoInput(boutwise_track::Error),
    NamedTwice(String),
    LongName(String),
    SeasonFile { error: boutwise_season::Error, path: PathBuf },
    Unopenable { what: &'static str, path: PathBuf, error: io::Error },
    NamedBySquad { plan: String, error: Error },
    NoManifest(PathBuf),
    Key { path: PathBuf, why: String },
    Threads(ThreadPoolBuildError),
    Spill(io::Error),
    Output(boutwise_report::Error),
    Cache { folder: PathBuf, why: String },
    Stopped,
}

impl Error {
    /// What stood in the way.
    pub fn kind(&self) -> ErrorKind {
        match &*self.0 {
            Repr::NoInput(_) | Repr::NamedTwice(_) | Repr::LongName(_) => ErrorKind::NoInput,
            Repr::SeasonFile { .. } => ErrorKind::SeasonFile,
            Repr::Unopenable { .. } => ErrorKind::Unopenable,
            Repr::NamedBySquad { error, .. } => error.kind(),
            Repr::NoManifest(_) => ErrorKind::NoManifest,
            Repr::Key { .. } => ErrorKind::Key,
            Repr::Threads(_) => ErrorKind::Threads,
            Repr::Spill(_) => ErrorKind::Spill,
            Repr::Output(_) => ErrorKind::Output,
            Repr::Cache { .. } => ErrorKind::Cache,
            Repr::Stopped => ErrorKind::Stopped,
        }
    }

    /// The file it is about, if it is one of those about the season, or of a result.
    pub fn path(&self) -> Option<&Path> {
        match &*self.0 {
            Repr::SeasonFile { path, .. }
            | Repr::Unopenable { path, .. }
            | Repr::NoManifest(path)
            | Repr::Key { path, .. }
            | Repr::Cache { folder: path, .. } => Some(path),
            Repr::NamedBySquad { error, .. } => error.path(),
            Repr::Output(error) => error.path(),
            Repr::NoInput(_)
            | Repr::NamedTwice(_)
            | Repr::LongName(_)
            | Repr::Threads(_)
            | Repr::Spill(_)
            | Repr::Stopped => None,
        }
    }

    /// What it is that cannot be opened.
    pub(crate) fn unopened(&self) -> Option<&'static str> {
        match &*self.0 {
            Repr::Unopenable { what, .. } => Some(what),
            Repr::NamedBySquad { error, .. } => error.unopened(),
            _ => None,
        }
    }

    /// The place in a file about the season, with what was expected there and how to mend it.
    pub fn place(&self) -> Option<&boutwise_season::Error> {
        match &*self.0 {
            Repr::SeasonFile { error, .. } => Some(error),
            Repr::NamedBySquad { error, .. } => error.place(),
            Repr::NoInput(_)
            | Repr::NamedTwice(_)
            | Repr::LongName(_)
            | Repr::Unopenable { .. }
            | Repr::NoManifest(_)
            | Repr::Key { .. }
            | Repr::Threads(_)
            | Repr::Spill(_)
            | Repr::Output(_)
            | Repr::Cache { .. }
            | Repr::Stopped => None,
        }
    }

    /// Why a cache cannot be used, without the name of its folder.
    pub(crate) fn of_cache(&self) -> Option<&str> {
        match &*self.0 {
            Repr::Cache { why, .. } => Some(why),
            _ => None,
        }
    }

    pub(crate) fn no_input(error: boutwise_track::Error) -> Self {
        Self(Box::new(Repr::NoInput(error)))
    }

    pub(crate) fn named_twice(name: &str) -> Self {
        Self(Box::new(Repr::NamedTwice(name.to_owned())))
    }

    pub(crate) fn long_name(folder: &str) -> Self {
        Self(Box::new(Repr::LongName(folder.to_owned())))
    }

    pub(crate) fn season_file(path: &Path, error: boutwise_season::Error) -> Self {
        Self(Box::new(Repr::SeasonFile { error, path: path.to_owned() }))
    }

    /// An error that names its file itself.
    pub(crate) fn in_season_file(error: boutwise_season::Error) -> Self {
        let path = PathBuf::from(error.name());
        Self(Box::new(Repr::SeasonFile { error, path }))
    }

    pub(crate) fn unopenable(what: &'static str, path: &Path, error: io::Error) -> Self {
        Self(Box::new(Repr::Unopenable { what, path: path.to_owned(), error }))
    }

    pub(crate) fn named_by_squad(self, plan: &str) -> Self {
        Self(Box::new(Repr::NamedBySquad { plan: plan.to_owned(), error: self }))
    }

    pub(crate) fn no_manifest(path: &Path) -> Self {
        Self(Box::new(Repr::NoManifest(path.to_owned())))
    }

    pub(crate) fn key(path: &Path, why: String) -> Self {
        Self(Box::new(Repr::Key { path: path.to_owned(), why }))
    }

    /// The same without anything that the file holds, or that lies beside it.
    pub(crate) fn without_text(self) -> Self {
        Self(Box::new(match *self.0 {
            Repr::SeasonFile { error, path } => Repr::SeasonFile { error: error.without_text(), path },
            Repr::Unopenable { what, error, .. } => Repr::Unopenable { what, path: PathBuf::new(), error },
            other => other,
        }))
    }

    pub(crate) fn threads(error: ThreadPoolBuildError) -> Self {
        Self(Box::new(Repr::Threads(error)))
    }

    pub(crate) fn spill(error: io::Error) -> Self {
        Self(Box::new(Repr::Spill(error)))
    }

    pub(crate) fn cache(folder: &Path, why: String) -> Self {
        Self(Box::new(Repr::Cache { folder: folder.to_owned(), why }))
    }

    pub(crate) fn stopped() -> Self {
        Self(Box::new(Repr::Stopped))
    }
}

impl From<boutwise_report::Error> for Error {
    fn from(error: boutwise_report::Error) -> Self {
        Self(Box::new(Repr::Output(error)))
    }
}

impl fmt::Display for Error {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        match &*self.0 {
            Repr::NoInput(error) => error.fmt(formatter),
            Repr::NamedTwice(name) => {
                write!(formatter, "the recording {name} is named twice; expected each file once")
            }
            Repr::LongName(folder) => write!(
                formatter,
                "the folder {folder} has a name of {} letters, too long for an owners file; expected at most \
                 {MAX_NAME_LETTERS}: give it a shorter one",
                folder.chars().count()
            ),
            Repr::SeasonFile { error, .. } => error.fmt(formatter),
            Repr::Unopenable { what, path, .. } if path.as_os_str().is_empty() => {
                write!(formatter, "the {what} cannot be read")
            }
            Repr::Unopenable { what, path, .. } => {
                write!(formatter, "the {what} {} cannot be read{}", path.display(), others(path))
            }
            Repr::NamedBySquad { plan, .. } => write!(formatter, "the squad file names the plan \"{plan}\""),
            Repr::NoManifest(path) => write!(
                formatter,
                "{} is no manifest of a result; expected JSON with inputs and outputs: make the result again",
                path.display()
            ),
            Repr::Key { path, why } => write!(
                formatter,
                "the key file {}: {why}; expected a regular file of 16 to 4096 bytes that nobody can guess, such as 32 \
                 bytes of /dev/urandom, outside the folder of recordings",
                path.display()
            ),
            Repr::Cache { folder, why } => write!(formatter, "the cache {}: {why}", folder.display()),
            Repr::Threads(_) => formatter.write_str("the threads cannot be begun; ask for fewer"),
            Repr::Spill(_) => formatter.write_str(
                "what was read cannot be put by on the disk until its turn comes; make room there, or name another place for the result",
            ),
            Repr::Output(error) => error.fmt(formatter),
            Repr::Stopped => formatter.write_str("the audit was stopped before its end"),
        }
    }
}

/// Files that a message names where one is missing (own choice).
const OTHERS_NAMED: usize = 5;

/// What lies with the same ending where a file was looked for; empty where the file is there.
fn others(path: &Path) -> String {
    if path.exists() {
        return String::new();
    }
    let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let Ok(entries) = std::fs::read_dir(folder) else {
        return format!("; there is no folder {}", folder.display());
    };
    let mut names: Vec<String> = entries
        .filter_map(|entry| Some(entry.ok()?.path()).filter(|other| other.extension() == path.extension()))
        .filter_map(|other| Some(other.file_name()?.to_string_lossy().into_owned()))
        .collect();
    names.sort();
    names.truncate(OTHERS_NAMED);
    if names.is_empty() {
        "; is its name right?".to_owned()
    } else {
        format!("; is its name right? Beside it are {}", names.join(", "))
    }
}

impl std::error::Error for Error {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        match &*self.0 {
            Repr::Unopenable { error, .. } => Some(error),
            Repr::Threads(error) => Some(error),
            Repr::Spill(error) => Some(error),
            Repr::NamedBySquad { error, .. } => Some(error),
            // The message of the inner error is the message of this one.
            Repr::NoInput(error) => std::error::Error::source(error),
            Repr::SeasonFile { error, .. } => std::error::Error::source(error),
            Repr::Output(error) => std::error::Error::source(error),
            Repr::NamedTwice(_)
            | Repr::LongName(_)
            | Repr::NoManifest(_)
            | Repr::Key { .. }
            | Repr::Cache { .. }
            | Repr::Stopped => None,
        }
    }
}

//! Why an output could not be written.

use std::fmt;
use std::path::{Path, PathBuf};

/// What went wrong, for callers that decide by it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum ErrorKind {
    /// The output folder exists and is not an earlier result, so it is left alone.
    NotAnEarlierResult,
    /// There is nothing where the recordings should be, or it cannot be looked at.
    NoRecordings,
    /// The operating system refused to create, write or move something.
    Io,
    /// A table or page could not be put into its format.
    Format,
}

impl ErrorKind {
    /// In a few words.
    pub fn words(self) -> &'static str {
        match self {
            Self::NotAnEarlierResult => "it is no place for a result, and nothing was changed",
            Self::NoRecordings => "it cannot be looked at",
            Self::Io => "it cannot be written",
            Self::Format => "something cannot be put into its format",
        }
    }
}

/// An output that could not be written: what, where and why.
#[derive(Debug)]
pub struct Error {
    kind: ErrorKind,
    path: Option<PathBuf>,
    text: String,
    source: Option<Box<dyn std::error::Error + Send + Sync>>,
}

/// Result of writing an output.
pub type Result<T> = std::result::Result<T, Error>;

impl Error {
    /// What went wrong.
    pub fn kind(&self) -> ErrorKind {
        self.kind
    }

    /// The file or folder it is about, if there is one.
    pub fn path(&self) -> Option<&Path> {
        self.path.as_deref()
    }

    pub(crate) fn refused(path: &Path, text: String) -> Self {
        Self { kind: ErrorKind::NotAnEarlierResult, path: Some(path.into()), text, source: None }
    }

    pub(crate) fn io(path: &Path, doing: &str, source: std::io::Error) -> Self {
        Self {
            kind: ErrorKind::Io,
            path: Some(path.into()),
            text: format!("cannot {doing}"),
            source: Some(source.into()),
        }
    }

    pub(crate) fn no_recordings(folder: &Path, source: std::io::Error) -> Self {
        let doing = "read the folder of recordings; is its name right?";
        Self { kind: ErrorKind::NoRecordings, ..Self::io(folder, doing, source) }
    }

    pub(crate) fn format(what: &str, source: impl std::error::Error + Send + Sync + 'static) -> Self {
        Self {
            kind: ErrorKind::Format,
            path: None,
            text: format!("cannot write {what}"),
            source: Some(source.into()),
        }
    }
}

impl fmt::Display for Error {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        if let Some(path) = &self.path {
            write!(formatter, "{}: ", path.display())?;
        }
        formatter.write_str(&self.text)
    }
}

impl std::error::Error for Error {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        self.source.as_ref().map(|source| source.as_ref() as _)
    }
}

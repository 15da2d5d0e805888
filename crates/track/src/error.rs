//! Why a file gave no session.

use std::io;
use std::sync::Arc;

use crate::Place;

/// What stood in the way.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[non_exhaustive]
pub enum ErrorKind {
    /// Nothing but blanks, or nothing at all.
    Empty,
    /// No element anywhere.
    NotMarkup,
    /// Well-formed perhaps, but neither GPX nor TCX.
    OtherRoot,
    /// A GPX or TCX file without any point.
    NoPoints,
    /// Routes only: a plan, no recording.
    RoutesOnly,
    /// Waypoints only.
    WaypointsOnly,
    /// A course, whose times are invented.
    CourseOnly,
    /// Lap totals without points.
    TotalsOnly,
    /// The file ends before the first complete point.
    Truncated,
    /// There are points, but none has a valid time.
    NoTime,
    /// There are points, but every one is broken.
    Broken,
    /// Neither GPX nor TCX: a picture, a table, a web page.
    OtherContent,
    /// A recording or an archive in a form that is not read.
    OtherRecording,
    /// A file that an operating system left beside others.
    SideFile,
    /// It cannot be opened: a pipe, a broken link, no permission.
    Unopenable,
    /// It was changed while it was read.
    Changed,
    /// An archive deeper inside others than is opened.
    TooDeep,
    /// It is encrypted.
    Encrypted,
    /// It is larger, or unpacks to more, than a cap allows.
    Cap,
    /// An archive, a stream, or a member that does not unpack.
    DamagedContainer,
    /// An archive of which some members were read and others may be lost.
    IncompleteArchive,
    /// An archive with nothing inside.
    EmptyArchive,
    /// An archive that was opened: its members have readings of their own.
    Archive,
    /// A link, or another second way, to a folder whose files are listed already.
    SecondWay,
    /// A folder, or a file named by itself, that is not there or cannot be looked at.
    NoInput,
    /// This program has a fault that the file brought out.
    OwnFault,
}

impl ErrorKind {
    /// The stable short word for tables, such as `no time`.
    pub fn word(self) -> &'static str {
        match self {
            Self::Empty => "empty",
            Self::NotMarkup => "not markup",
            Self::OtherRoot => "other root",
            Self::NoPoints => "no points",
            Self::RoutesOnly => "routes only",
            Self::WaypointsOnly => "waypoints only",
            Self::CourseOnly => "course only",
            Self::TotalsOnly => "totals only",
            Self::Truncated => "truncated",
            Self::NoTime => "no time",
            Self::Broken => "broken",
            Self::OtherContent => "other content",
            Self::OtherRecording => "other recording",
            Self::SideFile => "side file",
            Self::Unopenable => "unopenable",
            Self::Changed => "changed",
            Self::TooDeep => "too deep",
            Self::Encrypted => "encrypted",
            Self::Cap => "cap",
            Self::DamagedContainer => "damaged container",
            Self::IncompleteArchive => "incomplete archive",
            Self::EmptyArchive => "empty archive",
            Self::Archive => "archive",
            Self::SecondWay => "second way",
            Self::NoInput => "no input",
            Self::OwnFault => "own fault",
        }
    }
}

/// Why a file gave no session: what was found, what was expected, and how to mend it.
///
/// Its text is whole: where the operating system refused, it says so, and [`source`](std::error::Error::source) gives the
/// [`io::Error`] to those who decide by it. Two errors are equal where their kinds, places and texts are.
#[derive(Clone, Debug)]
pub struct Error {
    kind: ErrorKind,
    place: Option<Place>,
    text: String,
    source: Option<Arc<io::Error>>,
}

impl Error {
    pub(crate) fn new(kind: ErrorKind, place: Option<Place>, text: impl Into<String>) -> Self {
        Self { kind, place, text: text.into(), source: None }
    }

    /// With what the operating system said.
    pub(crate) fn because_of(self, error: io::Error) -> Self {
        Self { source: Some(Arc::new(error)), ..self }
    }

    /// What stood in the way.
    pub fn kind(&self) -> ErrorKind {
        self.kind
    }

    /// Where it was found, if it has a place.
    pub fn place(&self) -> Option<Place> {
        self.place
    }

    /// Whether the file was never meant to be a recording, so that it is ignored rather than failed.
    pub fn is_no_recording(&self) -> bool {
        matches!(
            self.kind,
            ErrorKind::OtherRoot
                | ErrorKind::NoPoints
                | ErrorKind::RoutesOnly
                | ErrorKind::WaypointsOnly
                | ErrorKind::CourseOnly
                | ErrorKind::TotalsOnly
                | ErrorKind::SideFile
                | ErrorKind::Archive
                | ErrorKind::SecondWay
        )
    }
}

impl std::fmt::Display for Error {
    fn fmt(&self, formatter: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self.place {
            Some(place) => write!(formatter, "line {}, byte {}: {}", place.line, place.byte, self.text),
            None => formatter.write_str(&self.text),
        }
    }
}

impl PartialEq for Error {
    fn eq(&self, other: &Self) -> bool {
        (self.kind, self.place, &self.text) == (other.kind, other.place, &other.text)
    }
}

impl std::error::Error for Error {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        self.source.as_deref().map(|error| error as _)
    }
}

#[cfg(test)]
mod tests {
    use std::error::Error as _;

    use crate::{ReadSettings, find_inputs, read_path};

    #[test]
    fn what_the_operating_system_said_can_be_asked_for() {
        let folder = tempfile::tempdir().unwrap();
        let gone = folder.path().join("gone.gpx");
        let not_found = |error: &crate::Error| {
            let source = error.source().and_then(|source| source.downcast_ref::<std::io::Error>());
            source.map(std::io::Error::kind) == Some(std::io::ErrorKind::NotFound)
        };
        assert!(not_found(&find_inputs(&gone).unwrap_err()));
        read_path(&gone, &ReadSettings::default(), &mut |reading| {
            assert!(not_found(&reading.error.unwrap()))
        });
        let text = crate::read_text(b"", &ReadSettings::default()).unwrap_err();
        assert!(text.source().is_none());
    }
}

//! What is raised: the package's own exceptions, which `boutwise/_errors.py` declares, and those of the system.

use std::io;
use std::path::Path;

use boutwise_audit::ErrorKind as AuditKind;
use boutwise_track::ErrorKind as TrackKind;
use pyo3::call::PyCallArgs;
use pyo3::exceptions::PyOSError;
use pyo3::prelude::*;

/// An exception of the package.
fn own<'py>(py: Python<'py>, class: &str, arguments: impl PyCallArgs<'py>) -> PyErr {
    let raised = py.import("boutwise._errors").and_then(|module| module.getattr(class)?.call1(arguments));
    raised.map_or_else(|error| error, PyErr::from_value)
}

/// An exception of the package without a class of its own.
pub(crate) fn of_text(py: Python<'_>, text: &str) -> PyErr {
    own(py, "BoutwiseError", (text,))
}

/// What the system says about a file; Python chooses the class by the number.
pub(crate) fn of_system(path: &Path, error: &io::Error) -> PyErr {
    let Some(number) = error.raw_os_error() else {
        return PyOSError::new_err(format!("{}: {error}", path.display()));
    };
    let text = error.to_string();
    // Python says the number itself.
    let text = text.rsplit_once(" (os error").map_or(text.as_str(), |(text, _)| text).to_owned();
    PyOSError::new_err((number, text, path.as_os_str().to_owned()))
}

/// Why a recording could not be read.
pub(crate) fn of_recording(py: Python<'_>, error: &boutwise_track::Error, path: Option<&Path>) -> PyErr {
    let kind = match error.kind() {
        TrackKind::Empty | TrackKind::EmptyArchive => "empty",
        TrackKind::Truncated => "cut",
        TrackKind::Cap | TrackKind::TooDeep => "too_large",
        TrackKind::Broken
        | TrackKind::DamagedContainer
        | TrackKind::IncompleteArchive
        | TrackKind::Encrypted
        | TrackKind::Unopenable
        | TrackKind::Changed
        | TrackKind::OwnFault => "damaged",
        _ => "no_recording",
    };
    let place = error.place();
    let (byte, line) = (place.map(|place| place.byte), place.map(|place| place.line));
    own(py, "RecordingError", (error.to_string(), kind, path.map(Path::as_os_str), byte, line))
}

/// Why an audit could not be made, or its result not written.
pub(crate) fn of_audit(py: Python<'_>, error: &boutwise_audit::Error) -> PyErr {
    match (error.kind(), error.place(), system(error), error.path()) {
        (AuditKind::SeasonFile, Some(place), _, path) => {
            let path = path.map(Path::as_os_str);
            own(py, "SeasonFileError", (text_of(error), path, place.line(), place.column()))
        }
        (_, _, Some(system), Some(path)) => of_system(path, system),
        _ => of_text(py, &text_of(error)),
    }
}

/// What the system says, where an error comes from there.
fn system<'e>(error: &'e (dyn std::error::Error + 'static)) -> Option<&'e io::Error> {
    error.source()?.downcast_ref::<io::Error>().filter(|error| error.raw_os_error().is_some())
}

/// An error with all that it comes from.
fn text_of(error: &dyn std::error::Error) -> String {
    let mut text = error.to_string();
    let mut source = error.source();
    while let Some(error) = source {
        text.push_str(&format!(": {error}"));
        source = error.source();
    }
    text
}

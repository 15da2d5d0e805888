//! What Python code may hand over as a recording: a path, bytes, or a file object.

use std::fs::{self, File};
use std::path::PathBuf;

use boutwise_audit::{Inputs, Watch};
use boutwise_track::{FileReading, ReadSettings, read_bytes, read_path};
use pyo3::exceptions::PyTypeError;
use pyo3::prelude::*;
use pyo3::types::{PyBytes, PyString};

use crate::errors;
use crate::recording::Recording;

/// What a whole is called whose bytes came without a folder.
const NAMELESS: &str = "athlete";

/// What content is called that came without a name.
const CONTENT: &str = "recording";

/// One recording, or an archive of some.
#[derive(Clone)]
pub(crate) enum Source {
    Path(PathBuf),
    /// Its name and its bytes.
    Content(String, Vec<u8>),
}

impl Source {
    /// What `source` stands for.
    pub(crate) fn of(source: &Bound<'_, PyAny>, name: Option<String>) -> PyResult<Self> {
        if is_path(source, name.is_some())? {
            let path = file_at(any_path(source)?)?;
            return match name {
                // What is no regular file is never opened; the readers say so.
                Some(name) if path.is_file() => {
                    let bytes = fs::read(&path);
                    Ok(Self::Content(name, bytes.map_err(|error| errors::of_system(&path, &error))?))
                }
                _ => Ok(Self::Path(path)),
            };
        }
        let content = if source.hasattr("read")? { source.call_method0("read")? } else { source.clone() };
        let own_name = || {
            let name = source.getattr("name").ok()?.extract::<PathBuf>().ok()?;
            Some(boutwise_track::plain_name(name.file_name()?.as_encoded_bytes()).into_owned())
        };
        let name = name.or_else(own_name).unwrap_or_else(|| CONTENT.to_owned());
        Ok(Self::Content(name, bytes_of(&content)?))
    }

    /// The one input of an audit.
    pub(crate) fn into_inputs(self) -> Result<Inputs, boutwise_audit::Error> {
        match self {
            Self::Path(path) => Inputs::below(&path),
            Self::Content(name, bytes) => Ok(Inputs::of_bytes(NAMELESS, [(name, bytes)])),
        }
    }

    /// Its sessions, and those of all files of an archive; where there are none, the first that was said of why.
    pub(crate) fn recordings(
        &self,
        settings: &ReadSettings,
        watch: Watch<'_>,
    ) -> Result<Vec<Recording>, boutwise_track::Error> {
        let (mut recordings, mut refused) = (Vec::new(), None);
        let mut take = |found: FileReading| {
            refused = refused.take().or(found.error);
            let file = found.file;
            recordings.extend(found.recordings.into_iter().map(|recording| Recording {
                file: file.clone(),
                session: recording.session,
                points: recording.points,
            }));
            watch(0, 1)
        };
        match self {
            Self::Path(path) => read_path(path, settings, &mut take),
            Self::Content(name, bytes) => read_bytes(name, bytes, settings, &mut take),
        }
        refused.filter(|_| recordings.is_empty()).map_or(Ok(recordings), Err)
    }

    /// Where it lies, where it has a place.
    pub(crate) fn path(&self) -> Option<PathBuf> {
        match self {
            Self::Path(path) => Some(path.clone()),
            Self::Content(..) => None,
        }
    }
}

/// Longer paths are none, in bytes (Linux: PATH_MAX).
const PATH_BYTES: usize = 4096;

/// Whether a source is a path. `bytes` without a name are one, but for such as no path holds and every recording does: no
/// byte at all, more than a path may have, an angle bracket, a line break, or a byte that is 0.
fn is_path(source: &Bound<'_, PyAny>, is_named: bool) -> PyResult<bool> {
    let Ok(bytes) = source.cast::<PyBytes>() else {
        return Ok(source.is_instance_of::<PyString>() || source.hasattr("__fspath__")?);
    };
    let bytes = bytes.as_bytes();
    let is_content = |byte: &u8| matches!(byte, 0 | b'<' | b'\n' | b'\r');
    Ok(!is_named && (1..=PATH_BYTES).contains(&bytes.len()) && !bytes.iter().any(is_content))
}

/// The path that a `str`, `bytes` or a path object stands for.
pub(crate) fn any_path(path: &Bound<'_, PyAny>) -> PyResult<PathBuf> {
    // Turns bytes into text whose odd letters stand for single bytes, as the system's own functions do.
    path.py().import("os")?.call_method1("fsdecode", (path,))?.extract()
}

/// The path, where there is something that may be read.
fn file_at(path: PathBuf) -> PyResult<PathBuf> {
    let looked_at = path.metadata().and_then(|data| match data.file_type() {
        // The system's own words for a folder that is read as a file.
        kind if kind.is_dir() => fs::read(&path).map(drop),
        kind if kind.is_file() => File::open(&path).map(drop),
        _ => Ok(()),
    });
    looked_at.map_err(|error| errors::of_system(&path, &error))?;
    Ok(path)
}

/// The path, where there is a folder.
pub(crate) fn folder_at(path: PathBuf) -> PyResult<PathBuf> {
    fs::read_dir(&path).map_err(|error| errors::of_system(&path, &error))?;
    Ok(path)
}

/// The bytes of anything that has some; a copy, so that no other thread changes them while they are read.
pub(crate) fn bytes_of(content: &Bound<'_, PyAny>) -> PyResult<Vec<u8>> {
    if let Ok(bytes) = content.cast::<PyBytes>() {
        return Ok(bytes.as_bytes().to_vec());
    }
    let wrong = |_| {
        let kind = content.get_type().name().map_or_else(|_| "an object".to_owned(), |name| name.to_string());
        PyTypeError::new_err(format!(
            "expected a path, bytes or a file object that is read in binary, found {kind}"
        ))
    };
    let copied = content.py().import("builtins")?.getattr("memoryview")?.call1((content,)).map_err(wrong)?;
    Ok(copied.call_method0("tobytes")?.cast::<PyBytes>()?.as_bytes().to_vec())
}

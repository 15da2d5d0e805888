//! The functions of the package.

use std::num::NonZeroUsize;
use std::path::PathBuf;
use std::sync::LazyLock;

use boutwise_audit::{
    Configuration, Inputs, Pseudonyms, SeasonFiles, SeasonPaths, audit_stored, read_settings,
    recording_bouts, without_names,
};
use boutwise_report::{BoutRow, CarriedColumns};
use boutwise_season::{Settings, Zone, parse_day};
use boutwise_track::ReadSettings;
use pyo3::exceptions::{PyTypeError, PyValueError};
use pyo3::prelude::*;
use pyo3::types::{PyBytes, PyString, PyTuple};

use crate::errors;
use crate::recording::Recording;
use crate::result::AuditResult;
use crate::source::{Source, any_path, bytes_of, folder_at};
use crate::table::Table;
use crate::watched::watched;

/// As many threads as the command takes at most.
const MOST_THREADS: usize = 1024;

/// One recording without settings of its own. Made once a process: with it every word for a warning sign is copied.
static ONE_RECORDING: LazyLock<Configuration> = LazyLock::new(|| one_recording(Settings::default()));

fn one_recording(settings: Settings) -> Configuration {
    // Of one recording there is nothing to share out among threads.
    Configuration { settings, with_pages: false, threads: NonZeroUsize::new(1), ..Configuration::default() }
}

/// Reads a recording: a list of its sessions, one for each in the file, or in all files of an archive.
///
/// ``source`` is a path (str, bytes, PathLike), bytes-like content, or a file object that is read in binary; ``name`` says
/// how content is called. ``bytes`` without a ``name`` are a path, unless they hold what no path does. ``settings`` is a
/// settings file (TOML). What can be read of a cut file is returned.
///
/// Raises RecordingError where no session can be read; FileNotFoundError, IsADirectoryError or another OSError where the
/// file cannot be opened; SeasonFileError for a fault in the settings; TypeError for another source.
///
/// >>> point = "<trkpt lat='0.01' lon='{:.6f}'><time>2025-03-01T10:00:{:02}Z</time></trkpt>"
/// >>> points = "".join(point.format(-30 + second * 2.5e-5, second) for second in range(60))
/// >>> gpx = f"<gpx><trk><trkseg>{points}</trkseg></trk></gpx>".encode()
/// >>> [len(recording) for recording in boutwise.read(gpx, name="pier.gpx")]
/// [60]
#[pyfunction]
#[pyo3(signature = (source, *, name=None, settings=None))]
pub(crate) fn read(
    py: Python<'_>,
    source: &Bound<'_, PyAny>,
    name: Option<String>,
    settings: Option<&Bound<'_, PyAny>>,
) -> PyResult<Vec<Recording>> {
    let source = Source::of(source, name)?;
    let path = source.path();
    let archive = settings_of(py, settings)?.as_ref().unwrap_or(&ONE_RECORDING.settings).reading;
    let reading = ReadSettings { archive, without_content_hash: true, ..ReadSettings::default() };
    let read = watched(py, None, move |watch| source.recordings(&reading, watch))?;
    read.map_err(|error| errors::of_recording(py, &error, path.as_deref()))
}

/// The bouts of a recording: a :class:`Table` with the rows and columns of ``boutwise bouts --csv``.
///
/// ``source``, ``name`` and ``settings`` are those of :func:`read`, and so is what is raised.
///
/// >>> point = "<trkpt lat='0.01' lon='{:.6f}'><time>2025-03-01T10:00:{:02}Z</time></trkpt>"
/// >>> points = "".join(point.format(-30 + second * 2.5e-5, second) for second in range(60))
/// >>> gpx = f"<gpx><trk><trkseg>{points}</trkseg></trk></gpx>".encode()
/// >>> table = boutwise.bouts(gpx, name="pier.gpx").to_dict()
/// >>> table["kind"], table["duration_s"]
/// (['run'], [59.0])
#[pyfunction]
#[pyo3(signature = (source, *, name=None, settings=None))]
pub(crate) fn bouts(
    py: Python<'_>,
    source: &Bound<'_, PyAny>,
    name: Option<String>,
    settings: Option<&Bound<'_, PyAny>>,
) -> PyResult<Table> {
    let source = Source::of(source, name)?;
    let path = source.path();
    let own = settings_of(py, settings)?.map(one_recording);
    let found = watched(py, None, move |watch| {
        recording_bouts(&source.into_inputs()?, own.as_ref().unwrap_or(&ONE_RECORDING), watch)
    })?
    .map_err(|error| errors::of_audit(py, &error))?;
    if found.iter().all(|file| file.sessions.is_empty())
        && let Some(error) = found.iter().find_map(|file| file.error.as_ref())
    {
        return Err(errors::of_recording(py, error, path.as_deref()));
    }
    let sessions = found.into_iter().flat_map(|file| file.sessions);
    let rows: Vec<BoutRow> = sessions.flat_map(|session| session.bouts).collect();
    Table::of(py, [Ok(rows)], &CarriedColumns::default())
}

/// Audits one recording, as if it lay alone in a folder; ``plan`` is a plan file (TOML). Gives a :class:`Result`.
///
/// ``source``, ``name`` and ``settings`` are those of :func:`read`, and so is what is raised; SeasonFileError also for a
/// fault in the plan, with the line and a caret under the place.
///
/// >>> point = "<trkpt lat='0.01' lon='{:.6f}'><time>2025-03-01T10:00:{:02}Z</time></trkpt>"
/// >>> points = "".join(point.format(-30 + second * 2.5e-5, second) for second in range(60))
/// >>> gpx = f"<gpx><trk><trkseg>{points}</trkseg></trk></gpx>".encode()
/// >>> boutwise.audit_recording(gpx, name="pier.gpx").sessions.to_dict()["longest_run_s"]
/// [59.0]
#[pyfunction]
#[pyo3(signature = (source, *, plan=None, name=None, settings=None))]
pub(crate) fn audit_recording(
    py: Python<'_>,
    source: &Bound<'_, PyAny>,
    plan: Option<&Bound<'_, PyAny>>,
    name: Option<String>,
    settings: Option<&Bound<'_, PyAny>>,
) -> PyResult<AuditResult> {
    let source = Source::of(source, name)?;
    let path = source.path();
    let configuration = settings_of(py, settings)?.map_or_else(|| ONE_RECORDING.clone(), one_recording);
    let paths = SeasonPaths { plan: plan.map(any_path).transpose()?, ..SeasonPaths::default() };
    let (found, refused) = watched(py, None, move |watch| {
        let files = SeasonFiles::read(&paths, &configuration.settings)?;
        let inputs = source.into_inputs()?;
        let audit = audit_stored(&inputs, &files, &configuration, watch)?;
        // A table says in words why there is no recording; the reader says it with its kind and place.
        let refused = match audit.overview.sessions {
            0 => recording_bouts(&inputs, &configuration, watch)?.into_iter().find_map(|file| file.error),
            _ => None,
        };
        Ok((AuditResult::new(audit, files, configuration, None), refused))
    })?
    .map_err(|error| errors::of_audit(py, &error))?;
    refused.map_or(Ok(found), |error| Err(errors::of_recording(py, &error, path.as_deref())))
}

/// Audits a folder of recordings: what ``boutwise audit FOLDER`` finds, as a :class:`Result`.
///
/// ``files`` names some files of the folder, each by its path below it, or as a pair of that path and its bytes: then these alone are
/// read, and those alone are judged to whom they belong, as where a cluster takes an athlete at a time. The folder need not be
/// there where every file comes with its bytes.
///
/// The options mean what they mean there: ``plan``, ``squad``, ``journal``, ``owners``, ``corrections``, ``settings`` and
/// ``pseudonyms`` are paths of files, ``shift_dates`` (with ``pseudonyms``) and ``coarse_times`` are flags, ``carry`` names
/// columns of the squad file (a list, or text with commas), ``as_of`` is a day (date or ``"YYYY-MM-DD"``), ``time_zone`` the
/// name of a zone, ``threads`` how many work at a time. ``progress`` is called every so often with how many files are done, of how many. The
/// lock of the interpreter is free meanwhile. A file that cannot be read is a row of ``files`` and raises nothing.
///
/// Raises FileNotFoundError or NotADirectoryError for ``folder``, BoutwiseError for a path in ``files`` that leads out of it or is
/// named twice, SeasonFileError for a fault in a file about the season,
/// ValueError for a day, a zone or a number of threads that is none, and for columns that cannot be carried. What ``progress`` raises, and KeyboardInterrupt, end
/// the call.
///
/// >>> import tempfile
/// >>> with tempfile.TemporaryDirectory() as folder:
/// ...     found = boutwise.audit_folder(folder, as_of="2025-03-01")
/// >>> len(found.files), found.manifest["as_of"]
/// (0, '2025-03-01')
#[pyfunction]
#[pyo3(signature = (
    folder, *, files=None, plan=None, squad=None, journal=None, owners=None, corrections=None, settings=None, pseudonyms=None,
    shift_dates=false, coarse_times=false, carry=None, as_of=None, time_zone=None, threads=None, progress=None
))]
#[expect(clippy::too_many_arguments, reason = "they are the options of the command, each by its name")]
pub(crate) fn audit_folder(
    py: Python<'_>,
    folder: &Bound<'_, PyAny>,
    files: Option<&Bound<'_, PyAny>>,
    plan: Option<&Bound<'_, PyAny>>,
    squad: Option<&Bound<'_, PyAny>>,
    journal: Option<&Bound<'_, PyAny>>,
    owners: Option<&Bound<'_, PyAny>>,
    corrections: Option<&Bound<'_, PyAny>>,
    settings: Option<&Bound<'_, PyAny>>,
    pseudonyms: Option<&Bound<'_, PyAny>>,
    shift_dates: bool,
    coarse_times: bool,
    carry: Option<&Bound<'_, PyAny>>,
    as_of: Option<&Bound<'_, PyAny>>,
    time_zone: Option<&str>,
    threads: Option<usize>,
    progress: Option<&Bound<'_, PyAny>>,
) -> PyResult<AuditResult> {
    let (folder, part) = (any_path(folder)?, files.map(some_files).transpose()?);
    let is_at_hand = |files: &Vec<SomeFile>| files.iter().all(|(_, bytes)| bytes.is_some());
    let folder = if part.as_ref().is_some_and(is_at_hand) { folder } else { folder_at(folder)? };
    let path = |path: Option<&Bound<'_, PyAny>>| path.map(any_path).transpose();
    let paths = SeasonPaths {
        plan: path(plan)?,
        squad: path(squad)?,
        journal: path(journal)?,
        corrections: path(corrections)?,
        owners: path(owners)?,
        carry: carry.map(carried_of).transpose()?.unwrap_or_default(),
    };
    if paths.squad.is_none() && !paths.carry.names().is_empty() {
        return Err(PyValueError::new_err("carry takes columns of a squad file, and there is no squad"));
    }
    let key = path(pseudonyms)?.map(|key| Pseudonyms::read(&key, &folder)).transpose();
    let key = key.map_err(|error| errors::of_audit(py, &error))?;
    if shift_dates && key.is_none() {
        return Err(PyValueError::new_err("shift_dates needs pseudonyms, the key by which days are moved"));
    }
    let configuration = Configuration {
        pseudonyms: if shift_dates { key.map(Pseudonyms::shifting_dates) } else { key },
        coarse_times,
        settings: settings_of(py, settings)?.unwrap_or_default(),
        time_zone: time_zone.map(Zone::parse).transpose().map_err(value_error)?,
        as_of: as_of.map(|day| parse_day(&day.str()?.to_cow()?).map_err(value_error)).transpose()?,
        threads: threads.map(threads_of).transpose()?,
        with_pages: false,
        ..Configuration::default()
    };
    let hides_names = configuration.pseudonyms.is_some();
    let found = watched(py, progress, move |watch| {
        let files = SeasonFiles::read(&paths, &configuration.settings)?;
        let inputs = match part {
            Some(part) => Inputs::part_of(&folder, part)?,
            None => Inputs::below(&folder)?,
        };
        let audit = audit_stored(&inputs, &files, &configuration, watch)?;
        Ok(AuditResult::new(audit, files, configuration, Some(folder)))
    })?;
    found.map_err(|error: boutwise_audit::Error| match hides_names {
        true => errors::of_text(py, &without_names(&error)),
        false => errors::of_audit(py, &error),
    })
}

/// A path below a folder, and the bytes of the file where they are at hand.
type SomeFile = (PathBuf, Option<Vec<u8>>);

/// Files that are paths, or pairs of a path and bytes.
fn some_files(files: &Bound<'_, PyAny>) -> PyResult<Vec<SomeFile>> {
    if files.is_instance_of::<PyString>() || files.is_instance_of::<PyBytes>() {
        return Err(PyTypeError::new_err(
            "files is one text; expected a list of paths, or of pairs of a path and bytes",
        ));
    }
    let some_file = |file: Bound<'_, PyAny>| match file.cast::<PyTuple>() {
        Ok(pair) => {
            let (path, content): (Bound<'_, PyAny>, Bound<'_, PyAny>) = pair.extract()?;
            Ok((any_path(&path)?, Some(bytes_of(&content)?)))
        }
        Err(_) => Ok((any_path(&file)?, None)),
    };
    files.try_iter()?.map(|file| some_file(file?)).collect()
}

/// What a settings file says, where there is one.
fn settings_of(py: Python<'_>, path: Option<&Bound<'_, PyAny>>) -> PyResult<Option<Settings>> {
    let settings = path.map(any_path).transpose()?.map(|path| read_settings(&path)).transpose();
    settings.map_err(|error| errors::of_audit(py, &error))
}

/// Names of columns: text with commas between, or any number of texts.
fn carried_of(names: &Bound<'_, PyAny>) -> PyResult<CarriedColumns> {
    let carried = match names.extract::<String>() {
        Ok(names) => CarriedColumns::new(names.split(',')),
        Err(_) => {
            let names = names.try_iter()?.map(|name| name?.extract::<String>());
            CarriedColumns::new(names.collect::<PyResult<Vec<_>>>()?)
        }
    };
    carried.map_err(value_error)
}

fn threads_of(threads: usize) -> PyResult<NonZeroUsize> {
    let refused = || PyValueError::new_err(format!("threads is {threads}; expected 1 to {MOST_THREADS}"));
    NonZeroUsize::new(threads).filter(|threads| threads.get() <= MOST_THREADS).ok_or_else(refused)
}

fn value_error(error: impl std::fmt::Display) -> PyErr {
    PyValueError::new_err(error.to_string())
}

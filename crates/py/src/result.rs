//! What an audit found, as Python code gets it.

use std::collections::BTreeMap;
use std::path::PathBuf;

use boutwise_audit::{Configuration, Error, SeasonFiles, StoredAudit, write_manifest};
use boutwise_report::{
    AthleteRow, BoutRow, EventRow, FileRow, Formats, IntervalRow, NewFolder, NoteRow, PlannedRow, Row,
    SessionRow, WeekRow, recover_result, refuse_inside,
};
use pyo3::exceptions::PyValueError;
use pyo3::prelude::*;
use pyo3::sync::PyOnceLock;
use serde::de::DeserializeOwned;

use crate::errors;
use crate::source::any_path;
use crate::table::Table;

/// What an audit found: a :class:`Table` for each table of the command, with its rows, order and values.
///
/// ``files``, ``sessions``, ``bouts``, ``intervals``, ``athletes``, ``weeks``, ``events``, ``planned`` and ``notes`` are
/// made when they are first asked for; ``manifest`` says how the result was made.
///
/// >>> point = "<trkpt lat='0.01' lon='{:.6f}'><time>2025-03-01T10:00:{:02}Z</time></trkpt>"
/// >>> points = "".join(point.format(-30 + second * 2.5e-5, second) for second in range(60))
/// >>> gpx = f"<gpx><trk><trkseg>{points}</trkseg></trk></gpx>".encode()
/// >>> found = boutwise.audit_recording(gpx, name="pier.gpx")
/// >>> len(found.sessions), found.files.to_dict()["status"]
/// (1, ['read'])
#[pyclass(frozen, name = "Result", module = "boutwise")]
pub(crate) struct AuditResult {
    audit: StoredAudit,
    files: SeasonFiles,
    configuration: Configuration,
    /// The folder that was audited, into which nothing is written.
    folder: Option<PathBuf>,
    /// The tables that were asked for.
    made: [PyOnceLock<Py<Table>>; TABLES],
}

/// How many tables there are.
const TABLES: usize = 9;

impl AuditResult {
    pub(crate) fn new(
        audit: StoredAudit,
        files: SeasonFiles,
        configuration: Configuration,
        folder: Option<PathBuf>,
    ) -> Self {
        let made = std::array::from_fn(|_| PyOnceLock::new());
        // In full, since the program may go to another folder before it writes; one that is gone holds nothing.
        let folder = folder.and_then(|folder| folder.canonicalize().ok());
        Self { audit, files, configuration, folder, made }
    }

    /// The table at its place among the tables, made of its rows at the first call.
    fn made<R: Row + DeserializeOwned + Send>(&self, py: Python<'_>, place: usize) -> PyResult<Py<Table>> {
        let make = || Py::new(py, Table::of(py, self.audit.rows::<R>(), &self.files.carried)?);
        Ok(self.made[place].get_or_try_init(py, make)?.clone_ref(py))
    }
}

#[pymethods]
impl AuditResult {
    /// Every input file: what became of it, and why.
    #[getter]
    fn files(&self, py: Python<'_>) -> PyResult<Py<Table>> {
        self.made::<FileRow>(py, 0)
    }

    /// Every recorded session.
    #[getter]
    fn sessions(&self, py: Python<'_>) -> PyResult<Py<Table>> {
        self.made::<SessionRow>(py, 1)
    }

    /// Every bout of these sessions.
    #[getter]
    fn bouts(&self, py: Python<'_>) -> PyResult<Py<Table>> {
        self.made::<BoutRow>(py, 2)
    }

    /// Every planned interval of the sessions laid on a plan, and the extra runs.
    #[getter]
    fn intervals(&self, py: Python<'_>) -> PyResult<Py<Table>> {
        self.made::<IntervalRow>(py, 3)
    }

    /// Every athlete.
    #[getter]
    fn athletes(&self, py: Python<'_>) -> PyResult<Py<Table>> {
        self.made::<AthleteRow>(py, 4)
    }

    /// Every athlete and week.
    #[getter]
    fn weeks(&self, py: Python<'_>) -> PyResult<Py<Table>> {
        self.made::<WeekRow>(py, 5)
    }

    /// What happened in the sessions.
    #[getter]
    fn events(&self, py: Python<'_>) -> PyResult<Py<Table>> {
        self.made::<EventRow>(py, 6)
    }

    /// Every planned session of every athlete, missed ones too.
    #[getter]
    fn planned(&self, py: Python<'_>) -> PyResult<Py<Table>> {
        self.made::<PlannedRow>(py, 7)
    }

    /// Every kind of oddity of every file and session.
    #[getter]
    fn notes(&self, py: Python<'_>) -> PyResult<Py<Table>> {
        self.made::<NoteRow>(py, 8)
    }

    /// How the result was made: version, settings, day, digests of inputs. A new dict each time; ``outputs`` is empty, since
    /// nothing is written yet.
    #[getter]
    fn manifest<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyAny>> {
        let mut bytes = Vec::new();
        let (found, nothing) = (&self.audit.overview, BTreeMap::new());
        py.detach(|| write_manifest(found, &self.files, &self.configuration, &nothing, &mut bytes))?;
        py.import("json")?.call_method1("loads", (bytes,))
    }

    fn __repr__(&self) -> String {
        let found = &self.audit.overview;
        let files: usize = found.files.iter().sum();
        format!(
            "<boutwise.Result: {} athletes, {} sessions, {files} files>",
            found.athletes.len(),
            found.sessions,
        )
    }

    /// Writes the tables, the codebook and the manifest into the folder ``dir``, whole or not at all; an earlier result
    /// there is replaced. ``formats`` are ``"csv"`` and ``"parquet"``, or one of them.
    ///
    /// Raises BoutwiseError where ``dir`` holds something else or lies in the audited folder, OSError where it can't be
    /// written, ValueError for a format that is not known.
    #[pyo3(signature = (dir, formats=vec!["csv".to_owned()]))]
    fn write(&self, py: Python<'_>, dir: &Bound<'_, PyAny>, formats: Vec<String>) -> PyResult<()> {
        let mut chosen = Formats { csv: None, parquet: false };
        for format in &formats {
            match format.as_str() {
                "csv" => chosen.csv = Some(self.configuration.csv),
                "parquet" => chosen.parquet = true,
                _ => {
                    let text = format!("the format {format:?} is not known; expected csv or parquet");
                    return Err(PyValueError::new_err(text));
                }
            }
        }
        if chosen.csv.is_none() && !chosen.parquet {
            return Err(PyValueError::new_err("no format is named; expected csv or parquet"));
        }
        let out = any_path(dir)?;
        let write = || {
            recover_result(&out)?;
            if let Some(folder) = self.folder.as_ref().filter(|folder| folder.is_dir()) {
                refuse_inside(folder, &out)?;
            }
            let folder = NewFolder::begin(&out)?;
            self.audit.write(&folder, &self.files, &self.configuration, chosen)?;
            Ok(folder.put_in_place()?)
        };
        py.detach(write).map_err(|error: Error| errors::of_audit(py, &error))
    }
}

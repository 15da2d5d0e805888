//! A recording as Python code gets it.

use boutwise_track::{NO_TIME, Points};
use pyo3::exceptions::PyKeyError;
use pyo3::prelude::*;
use pyo3::types::{PyByteArray, PyString};

/// Nanoseconds of a microsecond.
const NS_PER_US: i64 = 1000;

/// One session of a recording: its points as columns.
///
/// ``len(recording)`` is the number of its points. ``recording["hr_bpm"]`` is a column as a NumPy array of that length:
/// ``time`` as datetime64[us] in UTC (NaT where missing), and as float64 (NaN where missing) ``lat`` and ``lon`` in
/// degrees, ``ele`` in metres, ``hr_bpm`` in beats a minute, ``cadence_spm`` in steps a minute of both legs,
/// ``distance_m``, the device's own running total, in metres. Each call makes a new array, which is yours to change.
/// NumPy is imported at the first.
///
/// >>> point = "<trkpt lat='0.01' lon='{:.6f}'><time>2025-03-01T10:00:{:02}Z</time></trkpt>"
/// >>> points = "".join(point.format(-30 + second * 2.5e-5, second) for second in range(60))
/// >>> gpx = f"<gpx><trk><trkseg>{points}</trkseg></trk></gpx>".encode()
/// >>> recording = boutwise.read(gpx, name="pier.gpx")[0]
/// >>> len(recording), recording.file, recording.session
/// (60, 'pier.gpx', 1)
#[pyclass(frozen, module = "boutwise")]
pub(crate) struct Recording {
    /// Path below the folder, or the content's name; of an archive's member ``outer.zip/inner.gpx``.
    #[pyo3(get)]
    pub(crate) file: String,
    /// Number of the session in its file, from 1.
    #[pyo3(get)]
    pub(crate) session: usize,
    pub(crate) points: Points,
}

/// The columns by their names.
const COLUMNS: [&str; 7] = ["time", "lat", "lon", "ele", "hr_bpm", "cadence_spm", "distance_m"];

#[pymethods]
impl Recording {
    fn __len__(&self) -> usize {
        self.points.len()
    }

    fn __repr__(&self) -> PyResult<String> {
        Ok(format!(
            "<boutwise.Recording: {} points of session {} in {:?}>",
            self.points.len(),
            self.session,
            self.file
        ))
    }

    /// The names of the columns.
    fn keys(&self) -> [&'static str; 7] {
        COLUMNS
    }

    fn __getitem__<'py>(
        &self,
        py: Python<'py>,
        column: &Bound<'py, PyString>,
    ) -> PyResult<Bound<'py, PyAny>> {
        let points = &self.points;
        let numbers = match column.to_str()? {
            "time" => {
                // What NumPy takes for no time is the same number.
                let time_us = |&ns: &i64| if ns == NO_TIME { NO_TIME } else { ns.div_euclid(NS_PER_US) };
                return array(py, "<M8[us]", points.time_ns().iter().map(time_us).map(i64::to_le_bytes));
            }
            "lat" => points.latitude_deg(),
            "lon" => points.longitude_deg(),
            "ele" => points.elevation_m(),
            "hr_bpm" => points.heart_rate_bpm(),
            "cadence_spm" => points.cadence_spm(),
            "distance_m" => points.distance_m(),
            other => {
                let known = COLUMNS.join(", ");
                return Err(PyKeyError::new_err(format!("{other}: expected one of {known}")));
            }
        };
        array(py, "<f8", numbers.iter().map(|number| number.to_le_bytes()))
    }
}

/// A NumPy array of values of eight bytes, copied once.
fn array<'py>(
    py: Python<'py>,
    kind: &str,
    values: impl ExactSizeIterator<Item = [u8; 8]>,
) -> PyResult<Bound<'py, PyAny>> {
    let bytes = PyByteArray::new_with(py, 8 * values.len(), |bytes| {
        for (place, value) in bytes.as_chunks_mut().0.iter_mut().zip(values) {
            *place = value;
        }
        Ok(())
    })?;
    py.import("numpy")?.call_method1("frombuffer", (bytes, kind))
}

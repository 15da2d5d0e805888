//! From what was found to table rows: no figure is computed here beyond a change of unit.

use boutwise_bouts::Bout;
use boutwise_report::BoutRow;
use chrono::{DateTime, TimeDelta, Utc};

/// What names a session in every table.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct SessionName {
    /// The athlete.
    pub(crate) athlete: String,
    /// Path of the file below the input folder.
    pub(crate) file: String,
    /// Number of the session in its file, from 1.
    pub(crate) session: u64,
}

/// The moment of a time in nanoseconds since 1970.
pub(crate) fn moment(time_ns: i64) -> DateTime<Utc> {
    DateTime::from_timestamp_nanos(time_ns)
}

/// The bouts of one session that begins at `start`.
pub(crate) fn bout_rows(name: &SessionName, start: Option<DateTime<Utc>>, bouts: &[Bout]) -> Vec<BoutRow> {
    let row = |(index, bout): (usize, &Bout)| BoutRow {
        athlete: name.athlete.clone(),
        file: name.file.clone(),
        session: name.session,
        bout: index as u64 + 1,
        kind: bout.kind,
        start_s: bout.start_s,
        end_s: bout.end_s,
        start_utc: start.map(|start| start + seconds(bout.start_s)),
        duration_s: bout.duration_s(),
        distance_m: bout.distance_m,
        pace_s_per_km: bout.distance_m.and_then(|metres| pace_s_per_km(bout.duration_s(), metres)),
        hr_mean_bpm: bout.heart_rate_mean_bpm,
        hr_end_bpm: bout.heart_rate_end_bpm,
        cadence_spm: bout.cadence_spm,
        confidence: bout.confidence,
    };
    bouts.iter().enumerate().map(row).collect()
}

fn seconds(seconds: f64) -> TimeDelta {
    TimeDelta::milliseconds((seconds * 1000.0).round() as i64)
}

/// Seconds a kilometre; none where nothing was covered.
pub(crate) fn pace_s_per_km(duration_s: f64, distance_m: f64) -> Option<f64> {
    (distance_m > 0.0).then(|| 1000.0 * duration_s / distance_m)
}

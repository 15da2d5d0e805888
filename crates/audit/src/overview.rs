//! What stays of an audit, as JSON for other programs.

use boutwise_report::AthleteRow;
use boutwise_track::Status;
use chrono::NaiveDate;
use serde_json::{Map, Value, json};

use crate::{ManifestDigests, Overview};

impl Overview {
    /// The athletes who are judged as of the day of a note of their own.
    pub fn days_by_note(&self) -> impl Iterator<Item = (&str, NaiveDate)> {
        let by_note = self.athletes.iter().filter(|judged| judged.day.is_by_note);
        by_note.filter_map(|judged| Some((judged.row.athlete.as_str(), judged.day.day?)))
    }

    /// The whole in short as JSON; `out` is the place of the result, `digests` what it is known by.
    ///
    /// # Errors
    /// Where a row cannot be put into JSON, which no row is known to do.
    pub fn as_json(&self, out: &str, digests: &ManifestDigests) -> Result<Value, boutwise_report::Error> {
        let files: Map<String, Value> = Status::ALL
            .iter()
            .map(|status| (status.word().to_owned(), json!(self.files_of(*status))))
            .collect();
        let athletes: Vec<AthleteRow> =
            self.by_urgency().into_iter().map(|judged| judged.row.clone()).collect();
        let by_note: Map<String, Value> =
            self.days_by_note().map(|(name, day)| (name.to_owned(), json!(day.to_string()))).collect();
        Ok(json!({
            "out": out,
            "made_from": digests.made_from,
            "manifest_digest": digests.manifest,
            "as_of": self.as_of.map(|day| day.to_string()),
            "as_of_by_note": by_note,
            "files": files,
            "sessions": self.sessions,
            "sessions_counted": self.sessions_counted(),
            "athletes": boutwise_report::json_value(&athletes)?,
            "notes": self.notes,
        }))
    }
}

//! What the caller decides about an audit.

use boutwise_bouts::{MeasureSettings, SegmentSettings};
use boutwise_season::{Settings, Zone};
use boutwise_track::{DuplicateSettings, ReadSettings};
use chrono::NaiveDate;

/// Everything that decides about a result beside the recordings and the season files. `Default` is the documented
/// method.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Configuration {
    /// How recordings are read.
    pub reading: ReadSettings,
    /// How running is told from walking.
    pub segmentation: SegmentSettings,
    /// How a session is measured.
    pub measures: MeasureSettings,
    /// When two recordings of an athlete are one session.
    pub duplicates: DuplicateSettings,
    /// The rules of a season.
    pub season: Settings,
    /// The zone of local days; it outranks that of the settings.
    pub time_zone: Option<Zone>,
    /// The day to judge from; else that of the squad's newest recording, or of a later note of an athlete's own.
    pub as_of: Option<NaiveDate>,
}

impl Configuration {
    /// The zone of local days where the squad file names none.
    pub(crate) fn zone(&self) -> Option<&Zone> {
        self.time_zone.as_ref().or(self.season.time_zone.as_ref())
    }
}

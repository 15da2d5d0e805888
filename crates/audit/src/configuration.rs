//! What the caller decides about an audit.

use std::num::NonZeroUsize;
use std::path::{Path, PathBuf};

use boutwise_report::{CsvForm, Formats, PaceUnit};
use boutwise_season::{Settings, Zone};
use boutwise_track::{AtOnce, ReadSettings};
use chrono::NaiveDate;

use crate::timings::Laps;
use crate::{Cache, Pseudonyms, Timings};

/// Everything that the caller decides beside the recordings and the season files. `Default` is the documented method.
#[derive(Clone, Debug, PartialEq)]
pub struct Configuration {
    /// Every number that decides something.
    pub settings: Settings,
    /// What files leave open; how much they may unpack to is a setting.
    pub reading: ReadSettings,
    /// The zone of local days; it outranks that of the settings.
    pub time_zone: Option<Zone>,
    /// The day to judge from; else that of the squad's newest recording, or of a later note of an athlete's own.
    pub as_of: Option<NaiveDate>,
    /// Whether pages will be made; without them nothing is kept for their drawings.
    pub with_pages: bool,
    /// The distance that pages give paces for.
    pub pace: PaceUnit,
    /// How tables are written.
    pub csv: CsvForm,
    /// The folder of the file without a name in which much that was read is put by; else where the system keeps such
    /// files.
    pub scratch: Option<PathBuf>,
    /// Where is kept what files gave, for audits that come later; without, nothing is. Never changes a result.
    pub cache: Option<Cache>,
    /// Codes in place of the names of athletes and files; without, names stand as they are.
    pub pseudonyms: Option<Pseudonyms>,
    /// Whether times of day are cut to the hour in tables and pages.
    pub coarse_times: bool,
    /// How many threads work at a time; one a processor core where nothing is said. Never changes a result.
    pub threads: Option<NonZeroUsize>,
    /// Where it is added up what each stage takes, if anywhere. Never changes a result.
    pub timings: Option<Timings>,
}

impl Default for Configuration {
    fn default() -> Self {
        Self {
            settings: Settings::default(),
            reading: ReadSettings::default(),
            time_zone: None,
            as_of: None,
            with_pages: true,
            pace: PaceUnit::default(),
            csv: CsvForm::default(),
            scratch: None,
            cache: None,
            pseudonyms: None,
            coarse_times: false,
            threads: None,
            timings: None,
        }
    }
}

impl Configuration {
    /// The formats of tables, CSV in the form of this configuration.
    pub fn formats(&self, csv: bool, parquet: bool) -> Formats {
        Formats { csv: csv.then_some(self.csv), parquet }
    }

    /// A path as it may be told: what it is, in words, where names are not told.
    pub fn told<'p>(&self, path: &'p Path, what: &'p str) -> &'p Path {
        if self.pseudonyms.is_some() { Path::new(what) } else { path }
    }

    /// The work of a thread begins, to be told as stages where that is asked for.
    pub(crate) fn laps(&self) -> Laps<'_> {
        Laps::begin(self.timings.as_ref())
    }

    /// The codes by which days are moved, where they are.
    pub(crate) fn shift(&self) -> Option<&Pseudonyms> {
        self.pseudonyms.as_ref().filter(|codes| codes.shifts_dates())
    }

    /// The zone of local days where the squad file names none.
    pub(crate) fn zone(&self) -> Option<&Zone> {
        self.time_zone.as_ref().or(self.settings.time_zone.as_ref())
    }

    /// How recordings are read, all of one run by one of these: they share its memory.
    pub(crate) fn read_settings(&self) -> ReadSettings {
        let archive = self.settings.reading;
        ReadSettings { archive, at_once: AtOnce::at_most(archive.max_bytes_at_once), ..self.reading.clone() }
    }
}

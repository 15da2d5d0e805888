//! A squad's outings as files with their truth beside them.

use std::io;

use boutwise_bouts::Kind;
use rayon::prelude::*;

use super::{Athlete, FileState, Outing, Squad};
use crate::files::{FileFormat, file_bytes};
use crate::{Random, TrueBout};

/// A file below some folder.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SquadFile {
    /// Path with `/` below the folder.
    pub path: String,
    /// Content.
    pub bytes: Vec<u8>,
}

/// What was written of one outing.
#[derive(Clone, Debug)]
pub struct RecordedOuting {
    /// Index of the athlete in the squad.
    pub athlete: usize,
    /// Index of the outing with this athlete.
    pub outing: usize,
    /// The file, or both where it was written in two formats; the first is the one named in the truth.
    pub files: Vec<SquadFile>,
    /// What was done, as far as the first file can tell: GPX leaves out points without a position, and more than 20 s
    /// without any are a gap.
    pub truth: Vec<TrueBout>,
}

impl RecordedOuting {
    /// Seconds of the true bouts of a kind.
    pub fn total_s(&self, kind: Kind) -> f64 {
        self.truth.iter().filter(|bout| bout.kind == kind).fold(0.0, |sum_s, bout| sum_s + bout.duration_s())
    }

    /// Number of true runs.
    pub fn runs(&self) -> usize {
        self.truth.iter().filter(|bout| bout.kind == Kind::Run).count()
    }

    /// Seconds of the longest true run; 0 without one.
    pub fn longest_run_s(&self) -> f64 {
        let runs = self.truth.iter().filter(|bout| bout.kind == Kind::Run);
        runs.map(TrueBout::duration_s).fold(0.0, f64::max)
    }
}

impl Squad {
    /// Every outing recorded and written, athlete by athlete in order of time; paths begin with the athlete's name.
    ///
    /// # Errors
    /// Where a file cannot be written to memory, which drawn sessions never cause.
    pub fn recorded(&self) -> io::Result<Vec<RecordedOuting>> {
        let outings: Vec<(usize, usize)> = self
            .athletes
            .iter()
            .enumerate()
            .flat_map(|(athlete, held)| (0..held.outings.len()).map(move |outing| (athlete, outing)))
            .collect();
        outings
            .into_par_iter()
            .map(|(athlete, outing)| {
                let held = &self.athletes[athlete];
                let (files, truth) = written(held, &held.outings[outing])?;
                Ok(RecordedOuting { athlete, outing, files, truth })
            })
            .collect()
    }
}

fn written(athlete: &Athlete, outing: &Outing) -> io::Result<(Vec<SquadFile>, Vec<TrueBout>)> {
    let session = outing.session(&athlete.person);
    let mut random = Random::new(outing.seed ^ 1);
    let mut settings = outing.gear.file.clone();
    let mut files = Vec::new();
    let mut write = |settings: &crate::files::FileSettings, percent: usize| -> io::Result<()> {
        let mut bytes = file_bytes(&session, settings, &mut random)?;
        bytes.truncate(bytes.len() * percent / 100);
        let ending = if settings.format == FileFormat::Tcx { "tcx" } else { "gpx" };
        let packed = if settings.gzip { ".gz" } else { "" };
        let stamp = chrono::DateTime::from_timestamp(outing.start_s, 0).unwrap_or_default();
        let path = format!("{}/{}.{ending}{packed}", athlete.name, stamp.format("%Y%m%d-%H%M%S"));
        files.push(SquadFile { path, bytes });
        Ok(())
    };
    match outing.state {
        FileState::Whole => write(&settings, 100)?,
        FileState::CutAfterPercent(percent) => write(&settings, usize::from(percent.min(100)))?,
        FileState::TwoFormats => {
            write(&settings, 100)?;
            let other = if settings.format == FileFormat::Tcx { FileFormat::Gpx } else { FileFormat::Tcx };
            settings.format = other;
            write(&settings, 100)?;
        }
    }
    let truth = match outing.gear.file.format {
        FileFormat::Tcx => session.truth,
        FileFormat::Gpx | FileFormat::PlainGpx => session.truth_by_positions(),
    };
    Ok((files, truth))
}

//! The one call: recordings, season files and a configuration in; tables, judgements and what a page needs out.

use std::collections::BTreeSet;

use boutwise_report::{AthleteExtras, AthleteRow, Report, Tables, Trace};
use boutwise_season::{AthleteAudit, AthleteDay, LongestRun};
use boutwise_track::Status;
use chrono::NaiveDate;
use rayon::prelude::*;

use crate::batch::{self, Batch};
use crate::judge::{Judged, Judgement, judge};
use crate::workers::on_workers;
use crate::{Configuration, Error, Inputs, SeasonFiles, Watch, pages, rows};

/// Everything that an audit found.
#[derive(Clone, Debug)]
#[non_exhaustive]
pub struct Audit {
    /// The title of the plan that all follow, else the name of the whole.
    pub title: String,
    /// The day that was named, else that of the squad's newest recording; `None` without either. Athletes may be judged
    /// from a later one: [`AthleteJudgement::day`].
    pub as_of: Option<NaiveDate>,
    /// Every table, sorted.
    pub tables: Tables,
    /// Every athlete, in the order of their names.
    pub athletes: Vec<AthleteJudgement>,
    /// What pages show of the athletes beyond the tables, in the same order.
    pub pages: Vec<AthleteExtras>,
    /// What was measured along each session, for pages.
    pub traces: Vec<Trace>,
    /// What must be said before anything else, as that recordings of several people lie together.
    pub warnings: Vec<String>,
    /// What a reader should know about the audit as a whole; the warnings first.
    pub notes: Vec<String>,
    /// The digest (XXH3, 128 bits) of the unpacked bytes of every input file; `None` where they were not read.
    pub inputs: Vec<(String, Option<u128>)>,
}

/// What was judged of one athlete.
#[derive(Clone, Debug)]
#[non_exhaustive]
pub struct AthleteJudgement {
    /// The name, as in the tables.
    pub athlete: String,
    /// The day from which the athlete was judged.
    pub day: AthleteDay,
    /// The audit of the season.
    pub audit: AthleteAudit,
    /// The longest unbroken run of each session that counts, the longest first; up to the as-of day where the
    /// configuration names one.
    pub longest_runs: Vec<LongestRun>,
}

/// Audits recordings.
///
/// ```
/// use boutwise_audit::{Configuration, Inputs, SeasonFiles, audit, unwatched};
///
/// let inputs = Inputs::of_bytes("harbour", [("mira/notes.txt".to_owned(), b"bananas".to_vec())]);
/// let found = audit(&inputs, &SeasonFiles::default(), &Configuration::default(), &unwatched)?;
/// assert_eq!(found.tables.files[0].status.word(), "ignored");
/// assert!(!found.is_clean());
/// # Ok::<(), boutwise_audit::Error>(())
/// ```
///
/// # Errors
/// [`ErrorKind::Stopped`](crate::ErrorKind) where `watch` says so; [`ErrorKind::SeasonFile`](crate::ErrorKind) for a name
/// in the journal that neither squad nor recordings have, and for a day too far after the newest recording. A recording that cannot be read is no error: it has
/// its row in the table of files.
pub fn audit(
    inputs: &Inputs,
    files: &SeasonFiles,
    configuration: &Configuration,
    watch: Watch<'_>,
) -> Result<Audit, Error> {
    on_workers(configuration, || audit_here(inputs, files, configuration, watch))
}

fn audit_here(
    inputs: &Inputs,
    files: &SeasonFiles,
    configuration: &Configuration,
    watch: Watch<'_>,
) -> Result<Audit, Error> {
    let batch = batch::read(inputs, files, configuration, watch)?;
    let recorded = batch.athletes();
    files.journal.check_names(files.squad.as_ref(), recorded).map_err(Error::in_season_file)?;
    let judgement = judge(&batch, files, configuration).map_err(Error::in_season_file)?;
    let tables = tables(&batch, &judgement);
    let pages = (judgement.athletes.par_iter())
        .map(|judged| pages::extras(judged, &configuration.settings.rules))
        .collect();
    let (title, as_of) = (title(inputs, &judgement), judgement.day.day);
    let athletes = judgement.athletes.into_iter().map(|judged| AthleteJudgement {
        longest_runs: judged.longest_runs(configuration.as_of),
        athlete: judged.name,
        day: judged.day,
        audit: judged.audit,
    });
    let athletes = athletes.collect();
    let warnings = judgement.warnings;
    let notes = warnings.iter().cloned().chain(judgement.notes).collect();
    let inputs = batch.files.iter().map(|file| (file.file.clone(), file.content_hash)).collect();
    let traces = batch.sessions.into_iter().map(|recorded| recorded.trace).collect();
    Ok(Audit { title, as_of, tables, athletes, pages, traces, warnings, notes, inputs })
}

impl Audit {
    /// Whether a recording was found and no file failed or is partial.
    pub fn is_clean(&self) -> bool {
        let fault = |status| matches!(status, Status::Failed | Status::Partial);
        !self.tables.sessions.is_empty() && !self.tables.files.iter().any(|file| fault(file.status))
    }

    /// Whether a recording was found and no file failed; some may be partial.
    pub fn is_complete(&self) -> bool {
        !self.tables.sessions.is_empty()
            && !self.tables.files.iter().any(|file| file.status == Status::Failed)
    }

    /// The athletes with their rows, those who need attention first, then by name.
    pub fn by_urgency(&self) -> Vec<(&AthleteJudgement, &AthleteRow)> {
        let mut athletes: Vec<_> = self.athletes.iter().zip(&self.tables.athletes).collect();
        athletes.sort_by_key(|(judgement, _)| judgement.audit.attention());
        athletes
    }

    /// What the report is made from.
    pub fn report(&self) -> Report<'_> {
        Report {
            title: &self.title,
            as_of: self.as_of,
            tables: &self.tables,
            traces: &self.traces,
            athletes: &self.pages,
            notes: &self.notes,
        }
    }
}

fn tables(batch: &Batch, judgement: &Judgement<'_>) -> Tables {
    let mut tables = Tables {
        files: batch.files.iter().map(rows::file_row).collect(),
        notes: batch.files.iter().flat_map(rows::file_notes).collect(),
        ..Tables::default()
    };
    for judged in &judgement.athletes {
        rows::add_athlete(&mut tables, judged);
    }
    tables.sort();
    tables
}

/// The title of the plan that all follow, else the name of the whole.
fn title(inputs: &Inputs, judgement: &Judgement<'_>) -> String {
    let plans = judgement.athletes.iter().flat_map(|judged: &Judged<'_>| &judged.plans);
    let titles: BTreeSet<&str> = plans.map(|used| used.plan.title.as_str()).collect();
    match titles.first() {
        Some(title) if titles.len() == 1 => (*title).to_owned(),
        _ => inputs.name().to_owned(),
    }
}

//! `boutwise audit`: a folder of recordings in, a folder of results out, and a summary.

use std::ops::ControlFlow;
use std::path::{Path, PathBuf};

use anyhow::{Context, Result, bail};
use boutwise_audit::{
    AthleteFindings, Beginning, Inputs, Overview, SeasonFiles, SeasonPaths, Sink, audit_into, write_manifest,
};
use boutwise_report::{
    AthleteBytes, CODEBOOK_FILE, Error, FileRow, MANIFEST_FILE, NewFolder, NoteRow, ReportSettings,
    ReportWriter, ResultWriter, codebook_json, recover_result,
};

use crate::Outcome;
use crate::args::{Audit as Options, Common, FailOn};
use crate::{interrupt, summary, terminal};

pub(crate) fn run(options: &Options, common: &Common) -> Result<Outcome> {
    let folder = &options.recordings.folder;
    let out = options.out.clone().unwrap_or_else(|| beside(folder));
    // First of all, so that a whole result stands whatever becomes of this run.
    recover_result(&out)?;
    refuse_inside(folder, &out)?;
    let mut configuration = options.recordings.configuration(common)?;
    let paths = SeasonPaths {
        plan: options.plan.clone(),
        squad: options.recordings.squad.clone(),
        journal: options.journal.clone(),
        corrections: options.corrections.clone(),
        owners: options.owners.clone(),
    };
    let files = SeasonFiles::read(&paths, &configuration.settings)?;
    // Begun before the work, so that an output that can't be written is known at once.
    let new_folder = NewFolder::begin(&out)?;
    interrupt::guard(new_folder.begun());
    let inputs = Inputs::below(folder)?;
    configuration.with_pages = !options.no_report;
    configuration.scratch = Some(new_folder.hidden().to_owned());
    let settings = ReportSettings {
        pace: options.pace.into(),
        pages: options.pages.into(),
        ..ReportSettings::default()
    };
    let report = (!options.no_report).then_some(settings);
    let mut writer = Writer { folder: &new_folder, report, result: None };
    let found =
        terminal::watched(common, |watch| audit_into(&inputs, &files, &configuration, &mut writer, watch))?;
    let found = match found {
        ControlFlow::Continue(found) => found,
        ControlFlow::Break(error) => return Err(error.into()),
    };
    if let Some(result) = writer.result {
        result.finish(&found.notes)?;
    }
    new_folder.write(CODEBOOK_FILE, codebook_json().as_bytes())?;
    let mut manifest = Vec::new();
    write_manifest(&found, &files, &configuration, &new_folder.digests(), &mut manifest)?;
    new_folder.write(MANIFEST_FILE, &manifest)?;
    new_folder.put_in_place()?;
    terminal::print(&summary::text(&found, &out, options, common)?)?;
    Ok(Outcome::of(options.fail_on.is_content(&found)))
}

/// Writes what is found into the folder as it comes.
struct Writer<'a> {
    folder: &'a NewFolder,
    report: Option<ReportSettings>,
    result: Option<ResultWriter<'a>>,
}

impl Sink for Writer<'_> {
    type Made = Option<Result<AthleteBytes, Error>>;
    type Stop = Error;

    fn begin(&mut self, beginning: &Beginning) -> ControlFlow<Error> {
        let Beginning { title, day, athletes, .. } = beginning;
        let report = self.report.map(|settings| ReportWriter::new(title, *day, athletes, settings));
        match ResultWriter::new(self.folder, report) {
            Ok(result) => {
                self.result = Some(result);
                ControlFlow::Continue(())
            }
            Err(error) => ControlFlow::Break(error),
        }
    }

    fn make(&self, findings: AthleteFindings) -> Self::Made {
        self.result.as_ref().map(|result| result.make(findings.part))
    }

    fn athlete(&mut self, made: Self::Made) -> ControlFlow<Error> {
        let added = self.result.as_mut().zip(made).map(|(result, made)| result.add(made?));
        on(added)
    }

    fn file(&mut self, row: FileRow, notes: Vec<NoteRow>) -> ControlFlow<Error> {
        on(self.result.as_mut().map(|result| result.file(&row, &notes)))
    }
}

/// Goes on, but for an error.
fn on(done: Option<Result<(), Error>>) -> ControlFlow<Error> {
    match done {
        Some(Err(error)) => ControlFlow::Break(error),
        _ => ControlFlow::Continue(()),
    }
}

impl FailOn {
    /// Whether nothing happened that was to make the audit fail.
    fn is_content(self, found: &Overview) -> bool {
        match self {
            Self::Never => true,
            Self::Failed => found.is_complete(),
            Self::Partial => found.is_clean(),
        }
    }
}

/// `FOLDER-audit` beside the folder.
fn beside(folder: &Path) -> PathBuf {
    let named =
        |path: &Path| path.file_name().map(|name| path.with_file_name(format!("{}-audit", name.display())));
    // A folder written as `..` has its name only in full.
    let absolute = std::path::absolute(folder).ok();
    let written = absolute.as_deref().and_then(named);
    written
        .or_else(|| folder.canonicalize().ok().as_deref().and_then(named))
        .unwrap_or_else(|| "audit".into())
}

/// Results among the recordings would be read as recordings the next time.
fn refuse_inside(folder: &Path, out: &Path) -> Result<()> {
    let folder = folder.canonicalize().with_context(|| {
        format!("the folder of recordings {} cannot be read; is its name right?", folder.display())
    })?;
    let mut existing = std::path::absolute(out)?;
    while !existing.exists() && existing.pop() {}
    if folder.is_dir() && existing.canonicalize()?.starts_with(&folder) {
        bail!(
            "{} lies inside the folder of recordings, where results are never written; name a place beside it with --out",
            out.display()
        );
    }
    Ok(())
}

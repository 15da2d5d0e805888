//! `boutwise audit`: a folder of recordings in, a folder of results out, and a summary.

use std::ops::ControlFlow;

use anyhow::Result;
use boutwise_audit::{Inputs, Overview, ResultSink, SeasonFiles, audit_into};
use boutwise_report::{NewFolder, ReportSettings, recover_result, refuse_inside, result_beside};

use crate::Outcome;
use crate::args::{Audit as Options, Common, FailOn};
use crate::{interrupt, summary, terminal};

pub(crate) fn run(options: &Options, common: &Common) -> Result<Outcome> {
    let folder = &options.recordings.folder;
    let out = options.out.clone().unwrap_or_else(|| result_beside(folder));
    // First of all, so that a whole result stands whatever becomes of this run.
    recover_result(&out)?;
    refuse_inside(folder, &out)?;
    let mut configuration = options.recordings.configuration(common)?;
    let paths = options.season.paths(options.recordings.squad.as_ref());
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
    let mut sink = ResultSink::new(&new_folder, (!options.no_report).then_some(settings));
    let found =
        terminal::watched(common, |watch| audit_into(&inputs, &files, &configuration, &mut sink, watch))?;
    let found = match found {
        ControlFlow::Continue(found) => found,
        ControlFlow::Break(error) => return Err(error.into()),
    };
<<<<<<< HEAD
    if let Some(result) = writer.result {
        result.finish(&found.notes)?;
    }
    new_folder.write(CODEBOOK_FILE, codebook_json().as_bytes())?;
    let mut manifest = Vec::new();
    write_manifest(&found, &files, &configuration, &new_folder.digests(), &mut manifest)?;
    new_folder.write(MANIFEST_FILE, &manifest)?;
    // Told before it stands in its place: where nothing can be told, the earlier result stays.
=======
    sink.finish(&found, &files, &configuration)?;
    new_folder.put_in_place()?;
>>>>>>> main
    terminal::print(&summary::text(&found, &out, options, common)?)?;
    new_folder.put_in_place()?;
    Ok(Outcome::of(options.fail_on.is_content(&found)))
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
<<<<<<< HEAD

/// `FOLDER-audit` beside the folder.
fn beside(folder: &Path) -> PathBuf {
    let named = |path: &Path| {
        let mut name = path.file_name()?.to_owned();
        name.push("-audit");
        Some(path.with_file_name(name))
    };
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
=======
>>>>>>> main

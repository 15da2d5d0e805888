//! `boutwise audit`: a folder of recordings in, a folder of results out, and a summary.

use std::path::{Path, PathBuf};

use anyhow::{Context, Result, bail};
use boutwise_audit::{Audit, Inputs, SeasonFiles, SeasonPaths, audit, manifest_json};
use boutwise_report::{
    CODEBOOK_FILE, MANIFEST_FILE, NewFolder, ReportSettings, codebook_json, recover_result, write_report,
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
    let configuration = options.recordings.configuration(common)?;
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
    let found = terminal::watched(common, |watch| audit(&inputs, &files, &configuration, watch))?;
    new_folder.tables(&found.tables)?;
    new_folder.write(CODEBOOK_FILE, codebook_json().as_bytes())?;
    let settings = ReportSettings {
        pace: options.pace.into(),
        pages: options.pages.into(),
        ..ReportSettings::default()
    };
    if !options.no_report {
        write_report(&found.report(), &settings, |name, page| new_folder.write(name, page.as_bytes()))?;
    }
    let manifest = manifest_json(&found, &files, &configuration, &new_folder.digests());
    new_folder.write(MANIFEST_FILE, manifest.as_bytes())?;
    new_folder.put_in_place()?;
    terminal::print(&summary::text(&found, &out, options, common)?)?;
    Ok(Outcome::of(options.fail_on.is_content(&found)))
}

impl FailOn {
    /// Whether nothing happened that was to make the audit fail.
    fn is_content(self, found: &Audit) -> bool {
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

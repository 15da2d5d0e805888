//! `boutwise audit`: a folder of recordings in, a folder of results out, and a summary.

use std::path::{Path, PathBuf};

use anyhow::{Context, Result, bail};
use boutwise_audit::{Inputs, SeasonFiles, SeasonPaths, audit};
use boutwise_report::{NewFolder, ReportSettings, write_report};

use crate::Outcome;
use crate::args::{Audit as Options, Common};
use crate::{interrupt, summary, terminal};

pub(crate) fn run(options: &Options, common: &Common) -> Result<Outcome> {
    let folder = &options.recordings.folder;
    let out = options.out.clone().unwrap_or_else(|| beside(folder));
    refuse_inside(folder, &out)?;
    let configuration = options.recordings.configuration()?;
    let files = SeasonFiles::read(&SeasonPaths {
        plan: options.plan.clone(),
        squad: options.recordings.squad.clone(),
        journal: options.journal.clone(),
    })?;
    // Begun before the work, so that an output that can't be written is known at once.
    let new_folder = NewFolder::begin(&out)?;
    interrupt::guard(new_folder.begun());
    let inputs = Inputs::below(folder)?;
    let found = terminal::watched(common, |watch| audit(&inputs, &files, &configuration, watch))?;
    new_folder.tables(&found.tables)?;
    let settings = ReportSettings {
        pace: options.pace.into(),
        pages: options.pages.into(),
        ..ReportSettings::default()
    };
    write_report(&found.report(), &settings, |name, page| new_folder.write(name, page.as_bytes()))?;
    new_folder.put_in_place()?;
    terminal::print(&summary::text(&found, &out, options, common)?)?;
    Ok(Outcome::of(found.is_clean()))
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

//! `boutwise audit`: a folder of recordings in, a folder of results out, and a summary.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use anyhow::{Context, Result, bail};
use boutwise_report::{NewFolder, Report, ReportSettings, Tables, Trace, write_report};
use boutwise_track::Status;
use rayon::prelude::*;

use crate::Outcome;
use crate::args::{Audit as Options, Common};
use crate::batch::{self, Batch, folder_name};
use crate::judge::{Judgement, judge};
use crate::season_files::SeasonFiles;
use crate::{pages, rows, summary, terminal};

pub(crate) fn run(options: &Options, common: &Common) -> Result<Outcome> {
    let folder = &options.recordings.folder;
    let out = options.out.clone().unwrap_or_else(|| beside(folder));
    refuse_inside(folder, &out)?;
    let files = SeasonFiles::read(&options.recordings, options.plan.as_deref(), options.journal.as_deref())?;
    // Begun before the work, so that an output that can't be written is known at once.
    let new_folder = NewFolder::begin(&out)?;
    let batch = batch::read(folder, files.squad.as_ref(), common)?;
    let judgement = judge(&batch, &files, options.recordings.as_of)?;
    let tables = tables(&batch, &judgement);
    new_folder.tables(&tables)?;
    write_pages(&new_folder, options, &batch, &judgement, &tables)?;
    new_folder.put_in_place()?;
    terminal::print(&summary::text(&tables, &judgement, &out, options, common)?)?;
    let clean = batch.files.iter().all(|file| !matches!(file.status, Status::Failed | Status::Partial));
    Ok(if clean && !tables.sessions.is_empty() { Outcome::Clean } else { Outcome::Faults })
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

fn tables(batch: &Batch, judgement: &Judgement<'_>) -> Tables {
    let mut tables = Tables { files: batch.files.iter().map(rows::file_row).collect(), ..Tables::default() };
    for judged in &judgement.athletes {
        rows::add_athlete(&mut tables, judged);
    }
    tables.sort();
    tables
}

/// The title of the plan that all follow, else the name of the folder.
fn title(options: &Options, judgement: &Judgement<'_>) -> String {
    let plans = judgement.athletes.iter().flat_map(|judged| &judged.plans);
    let titles: BTreeSet<&str> = plans.map(|used| used.plan.title.as_str()).collect();
    match titles.first() {
        Some(title) if titles.len() == 1 => (*title).to_owned(),
        _ => folder_name(&options.recordings.folder),
    }
}

fn write_pages(
    new_folder: &NewFolder,
    options: &Options,
    batch: &Batch,
    judgement: &Judgement<'_>,
    tables: &Tables,
) -> Result<()> {
    let traces: Vec<Trace> = batch.sessions.iter().map(|recorded| recorded.trace.clone()).collect();
    let athletes: Vec<_> = judgement.athletes.par_iter().map(pages::extras).collect();
    let notes: Vec<String> = judgement.said_first.iter().chain(&judgement.notes).cloned().collect();
    let report = Report {
        title: &title(options, judgement),
        as_of: judgement.day.day,
        tables,
        traces: &traces,
        athletes: &athletes,
        notes: &notes,
    };
    let settings = ReportSettings {
        pace: options.pace.into(),
        pages: options.pages.into(),
        ..ReportSettings::default()
    };
    write_report(&report, &settings, |name, page| new_folder.write(name, page.as_bytes()))?;
    Ok(())
}

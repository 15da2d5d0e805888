//! `boutwise audit`: a folder of recordings in, a folder of results out, and a summary.

use std::ops::ControlFlow;
use std::path::Path;

use anyhow::{Context, Result};
use boutwise_audit::{
    Cache, Decided, Inputs, Overview, Pseudonyms, ResultSink, SeasonFiles, SeasonPaths, Written, audit_into,
};
use boutwise_report::{NewFolder, ReportSettings, recover_result, refuse_inside, result_beside};

use crate::args::{Audit as Options, Common, FailOn, TableFormat};
use crate::timings::Stopwatch;
use crate::{Outcome, interrupt, summary, terminal};

pub(crate) fn run(options: &Options, common: &Common) -> Result<Outcome> {
    let stopwatch = options.timings.then(Stopwatch::begin);
    let folder = &options.recordings.folder;
    let out = options.out.clone().unwrap_or_else(|| result_beside(folder));
    // First of all, so that a whole result stands whatever becomes of this run.
    recover_result(&out)?;
    refuse_inside(folder, &out)?;
    let mut configuration = options.recordings.configuration(common, options.pseudonyms.as_deref())?;
    if options.shift_dates {
        configuration.pseudonyms = configuration.pseudonyms.map(Pseudonyms::shifting_dates);
    }
    configuration.coarse_times = options.coarse_times;
    let paths = SeasonPaths {
        carry: options.carry.clone().unwrap_or_default(),
        ..options.season.paths(options.recordings.squad.as_ref())
    };
    let files = SeasonFiles::read(&paths, &configuration.settings)?;
    configuration.cache =
        options.cache.as_deref().map(|cache| open_cache(cache, folder, &out)).transpose()?;
    // Begun before the work, so that an output that can't be written is known at once.
    let told = configuration.told(&out, "the output folder");
    let new_folder = interrupt::guarded(told, || NewFolder::begin(&out))?;
    let inputs = Inputs::below(folder)?;
    configuration.with_pages = !options.no_report;
    configuration.pace = options.pace.into();
    configuration.csv = options.csv_for.unwrap_or_default();
    configuration.scratch = Some(new_folder.hidden().to_owned());
    configuration.timings = stopwatch.as_ref().map(Stopwatch::stages);
    let settings = ReportSettings {
        numbers: configuration.settings.clone(),
        pace: configuration.pace,
        pages: options.pages.into(),
        has_group: !options.shift_dates,
        ..ReportSettings::default()
    };
    let words = format!("{:?}", (options, common, terminal::width()));
    let decided = Decided { inputs: &inputs, files: &files, configuration: &configuration, words: &words };
    // Who asks what each stage takes is told that: all of them are gone through.
    let again = configuration.cache.as_ref().filter(|_| stopwatch.is_none());
    let standing = again.and_then(|cache| cache.written(&decided));
    if let Some(written) = standing.filter(|written| new_folder.stands(&written.digests)) {
        terminal::print(&written.said)?;
        return Ok(Outcome::of(written.is_content));
    }
    let formats =
        configuration.formats(options.writes(TableFormat::Csv), options.writes(TableFormat::Parquet));
    let mut sink = ResultSink::new(&new_folder, formats, (!options.no_report).then_some(settings));
    if let Some(cache) = &configuration.cache {
        sink = sink.with_cache(cache, &inputs);
    }
    let found =
        terminal::watched(common, |watch| audit_into(&inputs, &files, &configuration, &mut sink, watch))?;
    let found = match found {
        ControlFlow::Continue(found) => found,
        ControlFlow::Break(error) => return Err(error.into()),
    };
    let digests = sink.finish(&found, &files, &configuration)?;
    // Told before it stands in its place: where nothing can be told, the earlier result stays.
    let said = summary::text(&found, &out, &digests, options, &configuration, common)?;
    terminal::print(&said)?;
    let is_content = options.fail_on.is_content(&found);
    if let Some(cache) = again {
        cache.keep_written(&decided, &Written { digests: new_folder.digests(), said, is_content });
    }
    let cache = configuration.cache.as_ref().map(Cache::told);
    let cost = stopwatch.map(|stopwatch| stopwatch.text(&inputs, new_folder.size_bytes(), cache.as_ref()));
    new_folder.put_in_place()?;
    if let Some(fault) = cache.and_then(|cache| cache.fault) {
        let text = format!(
            "Nothing is kept in the cache: {fault}. The result is whole; files are read again the next time."
        );
        terminal::message(common, &text);
    }
    if let Some(cost) = cost {
        terminal::note(&cost);
    }
    Ok(Outcome::of(is_content))
}

/// The cache that this program keeps at a place, beside recordings and results.
fn open_cache(cache: &Path, folder: &Path, out: &Path) -> Result<Cache> {
    Cache::refuse_inside(cache, folder, "the folder of recordings")?;
    Cache::refuse_inside(cache, out, "the output folder")?;
    Ok(Cache::open(cache, &std::env::current_exe().context("the program does not find its own file")?)?)
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

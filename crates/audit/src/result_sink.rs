//! A sink that writes what it takes into a folder that the caller has begun.

use std::io::Write;
use std::ops::ControlFlow;

use boutwise_report::{
    AthleteBytes, AthletePart, CODEBOOK_FILE, Error, FileRow, Formats, MANIFEST_FILE, NewFolder, NoteRow,
    ReportSettings, ReportWriter, ResultWriter, codebook_json,
};
use rayon::current_num_threads;
use rayon::prelude::*;

use crate::cache::{Cache, Round};
use crate::manifest::{Manifest, digest_text};
use crate::{
    AthleteFindings, Beginning, Configuration, Inputs, ManifestDigests, Overview, SeasonFiles, Sink,
};

/// Pages that each thread makes again before they are written (own choice: few are held).
const PAGES_AT_ONCE: usize = 4;

/// Writes tables, and a report where one is asked for, as they come.
pub struct ResultSink<'a> {
    folder: &'a NewFolder,
    formats: Formats,
    report: Option<ReportSettings>,
    /// `None` before the audit begins.
    result: Option<ResultWriter<'a>>,
    round: Option<Round<'a>>,
}

impl<'a> ResultSink<'a> {
    /// A sink into `folder`, with tables in these formats ([`Configuration::formats`]); without `report` it takes tables alone.
    pub fn new(folder: &'a NewFolder, formats: Formats, report: Option<ReportSettings>) -> Self {
        Self { folder, formats, report, result: None, round: None }
    }

    /// The same, with texts taken up from a cache and kept there.
    pub fn with_cache(self, cache: &'a Cache, inputs: &Inputs) -> Self {
        Self { round: Some(Round::of_texts(Some(cache), inputs)), ..self }
    }

    /// Ends tables and report, and adds the codebook, and the manifest as the last; hands back what it is known by.
    ///
    /// # Errors
    /// Where something cannot be written.
    pub fn finish(
        self,
        found: &Overview,
        files: &SeasonFiles,
        configuration: &Configuration,
    ) -> Result<ManifestDigests, Error> {
        let begun = Manifest::begin(found, files, configuration);
        let made_from = begun.made_from().to_owned();
        let Self { folder, result, round, .. } = self;
        if let Some(round) = &round {
            round.end(true);
        }
        result.map_or(Ok(()), |result| result.finish(&found.notes, &made_from))?;
        write_codebook_and_manifest(folder, files, configuration, begun)?;
        let manifest = folder.digests().get(MANIFEST_FILE).copied().unwrap_or_default();
        Ok(ManifestDigests { made_from, manifest: digest_text(manifest) })
    }
}

/// Adds what comes last to a result.
pub(crate) fn write_codebook_and_manifest(
    folder: &NewFolder,
    files: &SeasonFiles,
    configuration: &Configuration,
    begun: Manifest<'_>,
) -> Result<(), Error> {
    let codebook = codebook_json(configuration.csv, &files.carried, &configuration.settings);
    folder.write(CODEBOOK_FILE, codebook.as_bytes())?;
    let written = folder.digests();
    folder.stream(MANIFEST_FILE, |out: &mut dyn Write| begun.with_outputs(&written).write(out))
}

impl Sink for ResultSink<'_> {
    type Made = Option<Result<AthleteBytes, Error>>;
    type Stop = Error;

    fn begin(&mut self, beginning: &Beginning) -> ControlFlow<Error> {
        let Beginning { title, day, carried, .. } = beginning;
        let report = self.report.clone().map(|settings| ReportWriter::new(title, *day, settings));
        match ResultWriter::new(self.folder, self.formats, carried, report) {
            Ok(result) => {
                self.result = Some(result);
                ControlFlow::Continue(())
            }
            Err(error) => ControlFlow::Break(error),
        }
    }

    fn make(&self, findings: AthleteFindings) -> Self::Made {
        self.result.as_ref().map(|result| match &self.round {
            Some(round) => round.texts(result, findings.part),
            None => result.make(findings.part),
        })
    }

    fn athlete(&mut self, made: Self::Made) -> ControlFlow<Error> {
        let round = self.round.as_ref();
        on(self.result.as_mut().zip(made).map(|(result, made)| {
            result.add(made?)?;
            make_again(result, round)
        }))
    }

    fn file(&mut self, row: FileRow, notes: Vec<NoteRow>) -> ControlFlow<Error> {
        on(self.result.as_mut().map(|result| result.file(row, notes)))
    }

    fn end(&mut self, found: &Overview) -> ControlFlow<Error> {
        let round = self.round.as_ref();
        on(self.result.as_mut().map(|result| {
            result.close(&found.notes)?;
            make_again(result, round)
        }))
    }
}

/// Makes and adds the pages of athletes again, several at a time.
fn make_again(result: &mut ResultWriter<'_>, round: Option<&Round<'_>>) -> Result<(), Error> {
    let mut again = result.take_again().into_iter().peekable();
    while again.peek().is_some() {
        let some: Vec<AthletePart> = again.by_ref().take(PAGES_AT_ONCE * current_num_threads()).collect();
        let make = |part| match round {
            Some(round) => round.page(result, part),
            None => result.make_page(part),
        };
        let pages: Vec<_> = some.into_par_iter().map(make).collect::<Result<_, Error>>()?;
        pages.into_iter().try_for_each(|page| result.add_page(page))?;
    }
    Ok(())
}

/// Goes on, but for an error.
fn on(done: Option<Result<(), Error>>) -> ControlFlow<Error> {
    match done {
        Some(Err(error)) => ControlFlow::Break(error),
        _ => ControlFlow::Continue(()),
    }
}

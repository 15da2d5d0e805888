//! The one call: recordings, season files and a configuration in; tables, judgements and what a page needs out, all at
//! once ([`audit`]) or an athlete at a time ([`audit_into`]).

use std::convert::Infallible;
use std::ops::ControlFlow;

use boutwise_report::{
    AthleteExtras, AthletePart, AthleteRow, CarriedColumns, FileRow, NoteRow, Report, Tables, Trace,
};
use boutwise_season::{AthleteAudit, AthleteDay, LongestRun, PlanInUse, PlanStep, plan_step, plan_steps};
use boutwise_track::Status;
use chrono::NaiveDate;
use rayon::prelude::*;

use crate::batch::{self, Batch};
use crate::judge::{Judged, Member, PlanNotes, Squad, several_text};
use crate::timings::Stage;
use crate::watch::Counter;
use crate::workers::on_workers;
use crate::{Configuration, Error, Inputs, SeasonFiles, Watch, by_hand, coarse_times, pages, rows, shift};

/// Athletes that each thread judges before what was made of them is handed over (own choice: a thread rarely waits for
/// another, and few are held).
const ATHLETES_A_THREAD: usize = 2;

/// What is known of an audit before its first athlete is judged.
#[derive(Clone, Debug)]
#[non_exhaustive]
pub struct Beginning {
    /// The title of the plan that all follow, else the name of the whole.
    pub title: String,
    /// The day that pages speak for: [`Overview::as_of`], else the newest day of all, were it of a clock that was not set.
    pub day: Option<NaiveDate>,
    /// The athletes, in the order in which they come.
    pub athletes: Vec<String>,
    /// The columns that their rows carry from the squad file.
    pub carried: CarriedColumns,
}

/// What was found of one athlete.
#[derive(Clone, Debug)]
#[non_exhaustive]
pub struct AthleteFindings {
    /// What was judged.
    pub judgement: AthleteJudgement,
    /// The rows, and what pages show beyond them.
    pub part: AthletePart,
}

/// Takes what an audit finds, an athlete at a time, so that nothing of them need be held.
///
/// Each method but [`Sink::make`] may end the audit with [`ControlFlow::Break`].
pub trait Sink: Sync {
    /// What is made of an athlete.
    type Made: Send;
    /// Why the sink wants no more.
    type Stop: Send;

    /// The audit begins.
    fn begin(&mut self, beginning: &Beginning) -> ControlFlow<Self::Stop>;

    /// Makes what is needed of an athlete; several threads do so at a time, in any order.
    fn make(&self, findings: AthleteFindings) -> Self::Made;

    /// Takes what was made, in the order of the athletes.
    fn athlete(&mut self, made: Self::Made) -> ControlFlow<Self::Stop>;

    /// Takes a file and what was said of it and of its sessions, in the order of the files, after all athletes.
    fn file(&mut self, row: FileRow, notes: Vec<NoteRow>) -> ControlFlow<Self::Stop>;

    /// All was handed over; what stays comes along. Runs on the threads of the audit.
    fn end(&mut self, _: &Overview) -> ControlFlow<Self::Stop> {
        ControlFlow::Continue(())
    }
}

/// What stays of an audit whose athletes went into a sink.
#[derive(Clone, Debug)]
#[non_exhaustive]
pub struct Overview {
    /// The title of the plan that all follow, else the name of the whole.
    pub title: String,
    /// The day that was named, else that of the squad's newest recording; `None` without either. Athletes may be judged
    /// from a later one: [`AthleteOverview::day`].
    pub as_of: Option<NaiveDate>,
    /// Every athlete, in the order of their names.
    pub athletes: Vec<AthleteOverview>,
    /// How many sessions were recorded; [`Overview::sessions_counted`] of them count.
    pub sessions: usize,
    /// How many files there are of each status, in the order of [`Status::ALL`].
    pub files: [usize; Status::ALL.len()],
    /// The files that failed or are partial.
    pub faulty: Vec<FileRow>,
    /// What must be said before anything else, as that recordings of several people lie together.
    pub warnings: Vec<String>,
    /// What a reader should know about the audit as a whole; the warnings first.
    pub notes: Vec<String>,
    /// The digest (XXH3, 128 bits) of the unpacked bytes of every input file; `None` where they were not read.
    pub inputs: Vec<(String, Option<u128>)>,
}

/// What stays of one athlete.
#[derive(Clone, Debug)]
#[non_exhaustive]
pub struct AthleteOverview {
    /// The row of the table of athletes.
    pub row: AthleteRow,
    /// The day from which the athlete was judged.
    pub day: AthleteDay,
    /// How many of the sessions count.
    pub sessions_counted: usize,
    /// Rank for lists that begin with those who need attention first: 0 is the most urgent.
    pub attention: u8,
    /// Whether anything about progress may be said: nothing beside a warning sign or the coach's `stop`.
    pub tells_progress: bool,
    /// Whether that is for the coach's `stop` alone, without any sign.
    pub is_paused: bool,
}

impl Overview {
    /// How many of the sessions count.
    pub fn sessions_counted(&self) -> usize {
        self.athletes.iter().map(|judged| judged.sessions_counted).sum()
    }

    /// Whether a recording was found and no file failed or is partial.
    pub fn is_clean(&self) -> bool {
        self.sessions > 0 && self.faulty.is_empty()
    }

    /// Whether a recording was found and no file failed; some may be partial.
    pub fn is_complete(&self) -> bool {
        self.sessions > 0 && !self.faulty.iter().any(|file| file.status == Status::Failed)
    }

    /// A sentence for each file that failed or is partial: which, and why.
    pub fn faults(&self) -> impl ExactSizeIterator<Item = String> {
        self.faulty.iter().map(|file| {
            let why = file.notes.first().map_or("", String::as_str);
            format!("{} {}: {why}", file.status.word(), file.file)
        })
    }

    /// How many files have a status.
    pub fn files_of(&self, status: Status) -> usize {
        let of_status = Status::ALL.iter().zip(&self.files).filter(|(of, _)| **of == status);
        of_status.map(|(_, count)| count).sum()
    }

    /// The athletes, those who need attention first, then by name.
    pub fn by_urgency(&self) -> Vec<&AthleteOverview> {
        let mut athletes: Vec<_> = self.athletes.iter().collect();
        athletes.sort_by_key(|athlete| athlete.attention);
        athletes
    }
}

/// Everything that an audit found.
#[derive(Clone, Debug)]
#[non_exhaustive]
pub struct Audit {
    /// The whole in short.
    pub overview: Overview,
    /// Every table, sorted.
    pub tables: Tables,
    /// Every athlete, in the order of their names.
    pub athletes: Vec<AthleteJudgement>,
    /// What pages show of the athletes beyond the tables, in the same order.
    pub pages: Vec<AthleteExtras>,
    /// What was measured along each session, for pages.
    pub traces: Vec<Trace>,
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

impl Audit {
    /// What the report is made from.
    pub fn report(&self) -> Report<'_> {
        Report {
            title: &self.overview.title,
            as_of: self.overview.as_of,
            tables: &self.tables,
            traces: &self.traces,
            athletes: &self.pages,
            notes: &self.overview.notes,
        }
    }
}

/// Audits recordings, and hands over everything at once: for a squad, or where memory is no matter.
///
/// ```
/// use boutwise_audit::{Configuration, Inputs, SeasonFiles, audit, unwatched};
///
/// let inputs = Inputs::of_bytes("harbour", [("mira/notes.txt".to_owned(), b"bananas".to_vec())]);
/// let found = audit(&inputs, &SeasonFiles::default(), &Configuration::default(), &unwatched)?;
/// assert_eq!(found.tables.files[0].status.word(), "ignored");
/// assert!(!found.overview.is_clean());
/// # Ok::<(), boutwise_audit::Error>(())
/// ```
///
/// # Errors
/// Those of [`audit_into`].
pub fn audit(
    inputs: &Inputs,
    files: &SeasonFiles,
    configuration: &Configuration,
    watch: Watch<'_>,
) -> Result<Audit, Error> {
    let mut all = Everything::default();
    let ControlFlow::Continue(overview) = audit_into(inputs, files, configuration, &mut all, watch)?;
    let Everything { tables, athletes, pages, traces } = all;
    Ok(Audit { overview, tables, athletes, pages, traces })
}

/// A sink that keeps all.
#[derive(Default)]
struct Everything {
    tables: Tables,
    athletes: Vec<AthleteJudgement>,
    pages: Vec<AthleteExtras>,
    traces: Vec<Trace>,
}

impl Sink for Everything {
    type Made = AthleteFindings;
    type Stop = Infallible;

    fn begin(&mut self, _: &Beginning) -> ControlFlow<Self::Stop> {
        ControlFlow::Continue(())
    }

    fn make(&self, findings: AthleteFindings) -> AthleteFindings {
        findings
    }

    fn athlete(&mut self, found: AthleteFindings) -> ControlFlow<Self::Stop> {
        let AthletePart { tables, extras, traces } = found.part;
        self.tables.append(tables);
        self.pages.push(extras);
        self.traces.extend(traces);
        self.athletes.push(found.judgement);
        ControlFlow::Continue(())
    }

    fn file(&mut self, row: FileRow, notes: Vec<NoteRow>) -> ControlFlow<Self::Stop> {
        self.tables.files.push(row);
        self.tables.notes.extend(notes);
        ControlFlow::Continue(())
    }
}

/// Audits recordings, and hands over what is found of each athlete as soon as they are judged.
///
/// Every file is read once. What was measured is put by on disk where it is much, and taken up again athlete by athlete,
/// so that memory grows by little more than the names of the files.
///
/// # Errors
/// [`ErrorKind::Stopped`](crate::ErrorKind) where `watch` says so; [`ErrorKind::SeasonFile`](crate::ErrorKind) for a name
/// in the journal that neither squad nor recordings have, and for a day too far after the newest recording;
/// [`ErrorKind::Spill`](crate::ErrorKind) where nothing can be put by. A recording that cannot be read is no error: it has
/// its row in the table of files. A sink that wants no more is none either: what it says comes back.
pub fn audit_into<S: Sink + Send>(
    inputs: &Inputs,
    files: &SeasonFiles,
    configuration: &Configuration,
    sink: &mut S,
    watch: Watch<'_>,
) -> Result<ControlFlow<S::Stop, Overview>, Error> {
    on_workers(configuration, || audit_here(inputs, files, configuration, sink, watch))
}

/// Goes on, or hands back why the sink wants no more.
macro_rules! go_on {
    ($flow:expr) => {
        if let ControlFlow::Break(stop) = $flow {
            return Ok(ControlFlow::Break(stop));
        }
    };
}

fn audit_here<S: Sink>(
    inputs: &Inputs,
    files: &SeasonFiles,
    configuration: &Configuration,
    sink: &mut S,
    watch: Watch<'_>,
) -> Result<ControlFlow<S::Stop, Overview>, Error> {
    let counter = Counter::new(watch, inputs.len());
    let mut batch = batch::read(inputs, files, configuration, &counter)?;
    if let Some(timings) = &configuration.timings {
        timings.add_points(batch.points());
    }
    files.journal.check_names(files.squad.as_ref(), batch.athletes()).map_err(Error::in_season_file)?;
    let codes = configuration.pseudonyms.as_ref();
    let renamed = codes.map(|codes| codes.season_files(files, batch.athletes()));
    let files = renamed.as_ref().unwrap_or(files);
    let all = codes.map_or_else(|| inputs.name().to_owned(), |codes| codes.person(inputs.name()));
    if let Some(codes) = codes {
        batch.rename(codes);
    }
    let mut squad = Squad::of(&mut batch, files, configuration).map_err(Error::in_season_file)?;
    let shift = configuration.shift();
    let moved = shift.map(|codes| shift::move_days(&mut squad, &mut batch, files, codes));
    let files = moved.as_ref().unwrap_or(files);
    let title = squad.plan_title(&batch, files).unwrap_or(&all).to_owned();
    let as_of = squad.day.day;
    let names = squad.athletes.iter().map(|member| member.name.clone()).collect();
    go_on!(sink.begin(&Beginning {
        title: title.clone(),
        day: as_of.or(squad.newest_day),
        athletes: names,
        carried: files.carried.clone(),
    }));
    let mut athletes = Vec::with_capacity(squad.athletes.len());
    let (mut of_plans, mut steps, mut by_hand) = (PlanNotes::default(), Vec::new(), Vec::new());
    for some in squad.athletes.chunks(ATHLETES_A_THREAD * rayon::current_num_threads()) {
        let found: Vec<(ForAll<'_>, S::Made)> = (some.par_iter())
            .map(|athlete| {
                counter.go_on()?;
                let mut laps = configuration.laps();
                let judged = squad.judge(athlete, &batch, files, configuration)?;
                laps.end(Stage::Judge);
                let (for_all, findings) = findings(judged, files, configuration);
                let made = sink.make(findings);
                laps.end(Stage::Make);
                Ok((for_all, made))
            })
            .collect::<Result<_, Error>>()?;
        let mut laps = configuration.laps();
        for (for_all, made) in found {
            let rules = &configuration.settings.rules;
            of_plans.add(&for_all.overview.row.athlete, &for_all.plans, rules);
            of_plans.add_doubts(&for_all.overview.row.athlete, &for_all.starts_in_doubt);
            steps.extend(for_all.step);
            by_hand.extend(for_all.by_hand);
            athletes.push(for_all.overview);
            go_on!(sink.athlete(made));
        }
        laps.end(Stage::HandOver);
    }
    let mut overview = Overview {
        title,
        as_of,
        athletes,
        sessions: batch.counting().count(),
        files: [0; Status::ALL.len()],
        faulty: Vec::new(),
        warnings: Vec::new(),
        notes: Vec::new(),
        inputs: Vec::new(),
    };
    let mut by_name: Vec<usize> = (0..batch.files.len()).collect();
    by_name.sort_by(|&a, &b| batch.file_name(a).cmp(batch.file_name(b)));
    let mut laps = configuration.laps();
    for file in by_name {
        let (row, notes) = file_rows(file, &batch, &squad)?;
        for (status, count) in Status::ALL.iter().zip(&mut overview.files) {
            *count += usize::from(row.status == *status);
        }
        if matches!(row.status, Status::Failed | Status::Partial) {
            overview.faulty.push(row.clone());
        }
        go_on!(sink.file(row, notes));
    }
    laps.end(Stage::HandOver);
    let overlaps = squad.athletes.iter().filter_map(|Member { name, .. }| {
        Some(format!("overlap: {name}: {}", several_text(batch.of_several(name)?)))
    });
    overview.warnings = squad.warnings.iter().cloned().chain(of_plans.warnings()).chain(overlaps).collect();
    let shared = [(shift.is_some(), shift::NOTE), (configuration.coarse_times, coarse_times::NOTE)];
    let shared = shared.into_iter().filter(|(is_said, _)| *is_said).map(|(_, note)| note.to_owned());
    let of_all = shared
        .chain(squad.notes.iter().cloned().chain(by_hand).chain(of_plans.sentences()))
        .chain(plan_steps(steps));
    overview.notes = overview.warnings.iter().cloned().chain(of_all).collect();
    go_on!(sink.end(&overview));
    drop(squad);
    overview.inputs = batch.into_digests();
    if codes.is_some() {
        overview.inputs.sort();
    }
    Ok(ControlFlow::Continue(overview))
}

/// What of one athlete is needed for what is said of all.
struct ForAll<'a> {
    overview: AthleteOverview,
    plans: Vec<PlanInUse<'a>>,
    step: Option<PlanStep<'a>>,
    /// Starts of plans that may be a slip of the pen, each with the first day on which the plan was followed.
    starts_in_doubt: Vec<(NaiveDate, NaiveDate)>,
    /// What the coach says by hand where it contradicts something.
    by_hand: Vec<String>,
}

/// Puts what was judged into rows and into what pages show.
fn findings<'a>(
    mut judged: Judged<'a>,
    files: &SeasonFiles,
    configuration: &Configuration,
) -> (ForAll<'a>, AthleteFindings) {
    let mut tables = rows::of_athlete(&judged);
    let squad_row = files.squad.as_ref().and_then(|squad| squad.athlete(&judged.name));
    let mut extras = pages::extras(&judged, squad_row, &configuration.settings);
    if configuration.shift().is_some() {
        extras.as_of = judged.day.day;
    }
    if configuration.coarse_times {
        coarse_times::cut(&mut tables, &mut extras);
    }
    let traces = judged.sessions.iter_mut().map(|placed| std::mem::take(&mut placed.trace)).collect();
    let for_all = ForAll {
        overview: AthleteOverview {
            row: tables.athletes.first().cloned().unwrap_or_default(),
            day: judged.day,
            sessions_counted: judged.audit.outings.iter().filter(|audited| audited.role.counts()).count(),
            attention: judged.audit.attention(),
            tells_progress: judged.audit.tells_progress(),
            is_paused: judged.audit.is_paused(),
        },
        step: plan_step(&judged.name, &judged.audit, &judged.plans),
        starts_in_doubt: judged.audit.starts_in_doubt(&judged.plans, &judged.outings),
        by_hand: by_hand::of_athlete(&judged, files),
        plans: std::mem::take(&mut judged.plans),
    };
    let judgement = AthleteJudgement {
        longest_runs: judged.longest_runs(configuration.as_of.and(judged.day.day)),
        athlete: judged.name,
        day: judged.day,
        audit: judged.audit,
    };
    (for_all, AthleteFindings { judgement, part: AthletePart { tables, extras, traces } })
}

/// The row of a file, and those of what was said of it and of its sessions.
fn file_rows(file: usize, batch: &Batch<'_>, squad: &Squad) -> Result<(FileRow, Vec<NoteRow>), Error> {
    let (detail, of_sessions) = batch.file(file)?;
    let name = batch.file_name(file);
    let row = rows::file_row(name, batch.files[file].status, &detail);
    let mut said = detail.said;
    for (index, own) in of_sessions {
        said.extend(own);
        said.extend(squad.said_of_time(index, &batch.sessions[index]));
    }
    said.sort_by_key(|said| said.session);
    Ok((row, said.iter().map(|said| said.row(name)).collect()))
}

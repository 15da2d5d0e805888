//! The command line as typed values: what a person may write, and nothing of what it does.

use std::num::NonZeroUsize;
use std::path::{Path, PathBuf};

use anyhow::bail;
use boutwise_audit::{Configuration, Pseudonyms, SeasonPaths, read_settings};
use boutwise_report::{CannotBeCarried, CarriedColumns, CsvForm};
use boutwise_season::{Zone, parse_day};
use boutwise_truth::squad::Trial;
use chrono::NaiveDate;
use clap::{Args, Parser, Subcommand, ValueEnum};
use clap_complete::Shell;

/// Says what was really run and walked in GPX and TCX recordings, beside what the plan asked for.
///
/// It measures and proposes; the coach decides. It gives no medical advice.
#[derive(Debug, Parser)]
#[command(name = "boutwise", version, max_term_width = 100, arg_required_else_help = true)]
pub struct Arguments {
    /// What to do.
    #[command(subcommand)]
    pub command: Command,
    /// Options that go with every command.
    #[command(flatten)]
    pub common: Common,
}

/// Options that go with every command.
#[derive(Debug, Args)]
pub struct Common {
    /// Print no progress and no summary; results and errors still appear.
    #[arg(long, short, global = true)]
    pub quiet: bool,
    /// Print the result as JSON on standard output.
    #[arg(long, global = true)]
    pub json: bool,
    /// Work on so many files at a time [default: one a processor core]. Never changes a result.
    #[arg(long, global = true, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=1024))]
    pub threads: Option<u16>,
}

impl Common {
    pub(crate) fn threads(&self) -> Option<NonZeroUsize> {
        self.threads.and_then(|threads| NonZeroUsize::new(threads.into()))
    }
}

/// What to do.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Audit a folder of recordings: a report, tidy tables, and a proposal for each athlete.
    ///
    /// The athlete of a recording is the first folder below FOLDER, or as the squad file says; recordings
    /// directly in FOLDER belong to one athlete named after it. Without a plan, everything that needs none
    /// is done.
    Audit(Audit),
    /// Propose whose each file is, with reasons, as a table to look through.
    ///
    /// It writes owners.csv beside FOLDER, or into DIR; rows that stand there stay as they are.
    Assign(Assign),
    /// Show the bouts (run, walk, stand, gap) of single recordings.
    Bouts(Bouts),
    /// Rank the longest runs without a break, and show how they grow.
    Longest(Longest),
    /// Check a plan file and print it day by day.
    Plan(Plan),
    /// Write an invented squad with known truth, to try the other commands on.
    Demo(Demo),
    /// List every output column: meaning, unit, source.
    Columns(Columns),
    /// Say what differs between a result, its manifest and its recordings.
    ///
    /// Exit status 0: nothing differs; 1: something does, each file is named; 2: it could not be told.
    Verify(Verify),
    /// Print completions for a shell: bash, elvish, fish, powershell or zsh.
    Completions(Completions),
    /// Print the manual page (troff).
    Manual,
}

impl Command {
    /// Refuses an option that would change nothing.
    pub(crate) fn check(&self) -> anyhow::Result<()> {
        match self {
            Self::Audit(audit) if audit.csv_for.is_some() && !audit.writes(TableFormat::Csv) => {
                bail!(
                    "--csv-for says how CSV is written, and --format parquet writes none: leave it out, or write --format csv,parquet"
                )
            }
            Self::Columns(columns) if columns.csv_for.is_some() && columns.format == ColumnFormat::Text => {
                bail!(
                    "--csv-for goes with --format json or frictionless: columns as text or with --json do not say how CSV is written"
                )
            }
            _ => Ok(()),
        }
    }

    /// Whether no name is to be told.
    pub(crate) fn hides_names(&self) -> bool {
        let key = match self {
            Self::Audit(audit) => &audit.pseudonyms,
            Self::Longest(longest) => &longest.pseudonyms,
            Self::Verify(verify) => &verify.pseudonyms,
            _ => &None,
        };
        key.is_some()
    }
}

/// Where recordings lie and how their dates are read.
#[derive(Debug, Args)]
pub struct Recordings {
    /// A folder of .gpx and .tcx files, also .gz and .zip, searched with all folders below it.
    #[arg(value_name = "FOLDER")]
    pub folder: PathBuf,
    /// The athletes and what is known of them (CSV).
    #[arg(long, value_name = "SQUAD.csv")]
    pub squad: Option<PathBuf>,
    /// The day to judge from, as YYYY-MM-DD [default: that of the squad's newest recording, or of a later note of
    /// an athlete's own]. What is later is left out.
    #[arg(long, value_name = "DATE", value_parser = day)]
    pub as_of: Option<NaiveDate>,
    /// The time zone of local days, such as Europe/Lisbon [default: from file or position, else UTC].
    #[arg(long, value_name = "ZONE", value_parser = time_zone)]
    pub time_zone: Option<Zone>,
    /// Rules and limits other than the usual ones (TOML).
    #[arg(long, value_name = "FILE.toml")]
    pub settings: Option<PathBuf>,
}

impl Recordings {
    /// The configuration that these options stand for, with the file of the key for codes in place of names.
    pub(crate) fn configuration(&self, common: &Common, key: Option<&Path>) -> anyhow::Result<Configuration> {
        let settings = self.settings.as_deref().map(read_settings).transpose()?.unwrap_or_default();
        Ok(Configuration {
            settings,
            time_zone: self.time_zone,
            as_of: self.as_of,
            threads: common.threads(),
            pseudonyms: key.map(|key| Pseudonyms::read(key, &self.folder)).transpose()?,
            ..Configuration::default()
        })
    }
}

/// What people wrote about a season, beside the squad file.
#[derive(Debug, Args)]
pub struct Season {
    /// The plan that the athletes follow (TOML); a plan named in the squad file outranks it.
    #[arg(long, value_name = "PLAN.toml")]
    pub plan: Option<PathBuf>,
    /// What athletes and coach noted: effort, pain, decisions (CSV).
    #[arg(long, value_name = "JOURNAL.csv")]
    pub journal: Option<PathBuf>,
    /// What you say by hand: which session a recording is, whose, or not to be used (CSV). It outranks everything else.
    #[arg(long, value_name = "CORRECTIONS.csv")]
    pub corrections: Option<PathBuf>,
    /// Whose each recording is (CSV, as `boutwise assign` writes it); it outranks folders and squad file.
    #[arg(long, value_name = "OWNERS.csv")]
    pub owners: Option<PathBuf>,
}

impl Season {
    /// Where the files lie, the squad file among them.
    pub(crate) fn paths(&self, squad: Option<&PathBuf>) -> SeasonPaths {
        let Self { plan, journal, corrections, owners } = self;
        SeasonPaths {
            plan: plan.clone(),
            squad: squad.cloned(),
            journal: journal.clone(),
            corrections: corrections.clone(),
            owners: owners.clone(),
            carry: CarriedColumns::default(),
        }
    }
}

/// `boutwise audit`.
#[derive(Debug, Args)]
pub struct Audit {
    /// Where the recordings lie.
    #[command(flatten)]
    pub recordings: Recordings,
    /// The files about the season.
    #[command(flatten)]
    pub season: Season,
    /// Where to write [default: FOLDER-audit, beside FOLDER]. An earlier result there is replaced whole.
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// Pace in the report and on the terminal; the tables stay metric.
    #[arg(long, value_name = "UNIT", default_value = "km")]
    pub pace: PaceUnit,
    /// Write codes in place of the names of athletes, groups, plans and files, in every output and message; what people wrote
    /// freely is left out. KEY-FILE holds 16 to 4096 secret bytes: one key gives one name the same code every time, and
    /// without it nobody finds a name by trying.
    #[arg(long, value_name = "KEY-FILE")]
    pub pseudonyms: Option<PathBuf>,
    /// Move the days of each athlete by a number of whole weeks of their own, drawn from the key and the name: weekdays and what
    /// lies between two days of one athlete stay. There is no page of the group then.
    #[arg(long, requires = "pseudonyms")]
    pub shift_dates: bool,
    /// Cut the times of day to the hour.
    #[arg(long)]
    pub coarse_times: bool,
    /// Write these columns of the squad file, as text, behind those of the tables with a row for each athlete, session or
    /// planned session: names with a comma between, such as `arm,site`. They stand as they are, with --pseudonyms too.
    #[arg(long, value_name = "COLUMNS", requires = "squad", value_parser = carried)]
    pub carry: Option<CarriedColumns>,
    /// Write tables alone.
    #[arg(long)]
    pub no_report: bool,
    /// How tables are written: csv, parquet, or both with a comma between.
    #[arg(long, value_name = "FORMATS", default_value = "csv", value_delimiter = ',')]
    pub format: Vec<TableFormat>,
    /// Write the tables for spreadsheets of a language, such as `de` or `en-GB`, or for `excel` [default: comma, decimal
    /// point, no byte-order mark].
    #[arg(long, value_name = "LOCALE|excel")]
    pub csv_for: Option<CsvForm>,
    /// What makes the exit status 1.
    #[arg(long, value_name = "WHAT", default_value = "partial")]
    pub fail_on: FailOn,
    /// Keep in DIR what was measured of each file, and take it up again the next time where file, settings and program are the
    /// same. Never changes a result. It tells of people what their recordings tell, with --pseudonyms too.
    #[arg(long, value_name = "DIR")]
    pub cache: Option<PathBuf>,
    /// Say on standard error what each stage took, how fast it was and how much memory it had. Never changes a result.
    #[arg(long)]
    pub timings: bool,
    /// One report page, or an index and a page an athlete.
    #[arg(long, value_name = "HOW", default_value = "auto")]
    pub pages: Pages,
}

impl Audit {
    /// Whether tables are written in a format.
    pub(crate) fn writes(&self, format: TableFormat) -> bool {
        self.format.contains(&format)
    }
}

/// `boutwise assign`.
#[derive(Debug, Args)]
pub struct Assign {
    /// Where the recordings lie.
    #[command(flatten)]
    pub recordings: Recordings,
    /// Where to write owners.csv [default: beside FOLDER].
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
}

/// `boutwise bouts`.
#[derive(Debug, Args)]
pub struct Bouts {
    /// Recordings: .gpx or .tcx, also .gz and .zip.
    #[arg(required = true, value_name = "FILE")]
    pub files: Vec<PathBuf>,
    /// Print the rows as CSV, with the columns of bouts.csv.
    #[arg(long, conflicts_with = "json")]
    pub csv: bool,
    /// Pace on the terminal; CSV and JSON stay metric.
    #[arg(long, value_name = "UNIT", default_value = "km")]
    pub pace: PaceUnit,
}

/// `boutwise longest`.
#[derive(Debug, Args)]
pub struct Longest {
    /// Where the recordings lie.
    #[command(flatten)]
    pub recordings: Recordings,
    /// Write codes in place of the names of athletes and files, by the secret key in KEY-FILE, as `audit` does.
    #[arg(long, value_name = "KEY-FILE")]
    pub pseudonyms: Option<PathBuf>,
    /// Show so many runs an athlete.
    #[arg(long, value_name = "N", default_value_t = 10)]
    pub most: usize,
}

/// `boutwise plan`.
#[derive(Debug, Args)]
pub struct Plan {
    /// The plan file (TOML).
    #[arg(value_name = "PLAN.toml")]
    pub plan: PathBuf,
    /// The day of the first session, as YYYY-MM-DD, to print dates.
    #[arg(long, value_name = "DATE", value_parser = day)]
    pub start: Option<NaiveDate>,
}

/// `boutwise demo`.
#[derive(Debug, Args)]
pub struct Demo {
    /// The folder to write; it must not exist yet, or be empty.
    #[arg(value_name = "DIR")]
    pub folder: PathBuf,
    /// Draw a trial of so many participants in place of the squad of ten. About 0.3 MB each over eight weeks [default: 40].
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..=10_000))]
    pub athletes: Option<u32>,
    /// Draw a trial of so many weeks, three sessions each, 2 to 26 [default: 8].
    #[arg(long, value_name = "W", value_parser = clap::value_parser!(u32).range(2..=26))]
    pub weeks: Option<u32>,
    /// Draw a trial of so many arms, 1 to 4, as column `arm` of squad.csv: they differ by the known effect in
    /// truth/effect.csv, and by who gives up [default: 1].
    #[arg(long, value_name = "A", value_parser = clap::value_parser!(u32).range(1..=Trial::MOST_ARMS as i64))]
    pub arms: Option<u32>,
    /// Draw a trial from this seed; one seed gives the same bytes every time [default: 1].
    #[arg(long, value_name = "S")]
    pub seed: Option<u64>,
    /// Let the arms differ by who gives up alone: the effect is 0.
    #[arg(long, requires = "arms")]
    pub no_effect: bool,
}

impl Demo {
    /// The trial that is asked for; `None` is the squad of ten.
    pub(crate) fn trial(&self) -> anyhow::Result<Option<Trial>> {
        let Self { athletes, weeks, arms, seed, no_effect, .. } = *self;
        if (athletes, weeks, arms, seed) == (None, None, None, None) {
            return Ok(None);
        }
        let (athletes, arms) = (athletes.unwrap_or(40), arms.unwrap_or(1));
        if arms > athletes {
            bail!(
                "--arms {arms} needs at least {arms} athletes, and --athletes says {athletes}: an arm would be empty"
            );
        }
        if no_effect && arms == 1 {
            bail!("--no-effect goes with --arms 2 or more: a single arm has no effect to leave out");
        }
        let (weeks, seed) = (weeks.unwrap_or(8), seed.unwrap_or(1));
        Ok(Some(Trial { athletes, weeks, arms, seed, has_effect: !no_effect }))
    }
}

/// `boutwise columns`.
#[derive(Debug, Args)]
pub struct Columns {
    /// How to list them: for people, as JSON with types and keys, or as a package of the open standard for tables.
    #[arg(long, value_name = "HOW", default_value = "text", conflicts_with = "json")]
    pub format: ColumnFormat,
    /// With the columns that `audit --carry` takes from a squad file.
    #[arg(long, value_name = "COLUMNS", value_parser = carried)]
    pub carry: Option<CarriedColumns>,
    /// Of tables that were written with the same `--csv-for`.
    #[arg(long, value_name = "LOCALE|excel")]
    pub csv_for: Option<CsvForm>,
}

/// How columns are listed.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum)]
pub enum ColumnFormat {
    /// Tables for people.
    #[default]
    Text,
    /// A list with type, unit, allowed values, keys and meaning; the same as codebook.json.
    Json,
    /// A Tabular Data Package (Frictionless Standards).
    Frictionless,
}

/// `boutwise verify`.
#[derive(Debug, Args)]
pub struct Verify {
    /// A folder that `boutwise audit` wrote.
    #[arg(value_name = "RESULT")]
    pub result: PathBuf,
    /// The recordings that it was made from.
    #[arg(value_name = "FOLDER")]
    pub folder: Option<PathBuf>,
    /// The athletes that it was made with (CSV), and the plans that are named there.
    #[arg(long, value_name = "SQUAD.csv")]
    pub squad: Option<PathBuf>,
    /// The other files that it was made with.
    #[command(flatten)]
    pub season: Season,
    /// The key of the codes that stand in place of names there.
    #[arg(long, value_name = "KEY-FILE")]
    pub pseudonyms: Option<PathBuf>,
}

/// `boutwise completions`.
#[derive(Debug, Args)]
pub struct Completions {
    /// The shell.
    #[arg(value_name = "SHELL")]
    pub shell: Shell,
}

/// What makes an audit end with exit status 1.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum)]
pub enum FailOn {
    /// Nothing.
    Never,
    /// A failed file, or no recording at all.
    Failed,
    /// A failed or partial file, or no recording at all.
    #[default]
    Partial,
}

/// A format of tables.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum TableFormat {
    /// Text for spreadsheets.
    Csv,
    /// Typed columns for programs.
    Parquet,
}

/// The distance that pace is given for.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum)]
pub enum PaceUnit {
    /// Minutes and seconds a kilometre.
    #[default]
    Km,
    /// Minutes and seconds a mile.
    Mile,
}

impl From<PaceUnit> for boutwise_report::PaceUnit {
    fn from(unit: PaceUnit) -> Self {
        match unit {
            PaceUnit::Km => Self::Kilometre,
            PaceUnit::Mile => Self::Mile,
        }
    }
}

/// How the report is cut into pages.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum)]
pub enum Pages {
    /// One page, unless it would pass about 5 MB.
    #[default]
    Auto,
    /// One page, however large.
    One,
    /// An index and a page an athlete.
    Athlete,
}

impl From<Pages> for boutwise_report::Pages {
    fn from(pages: Pages) -> Self {
        match pages {
            Pages::Auto => Self::BySize,
            Pages::One => Self::One,
            Pages::Athlete => Self::PerAthlete,
        }
    }
}

fn day(text: &str) -> Result<NaiveDate, String> {
    parse_day(text).map_err(|error| error.to_string())
}

fn carried(text: &str) -> Result<CarriedColumns, CannotBeCarried> {
    CarriedColumns::new(text.split(','))
}

fn time_zone(text: &str) -> Result<Zone, String> {
    Zone::parse(text).map_err(|error| error.to_string())
}

#[cfg(test)]
mod tests {
    use clap::CommandFactory;

    use super::*;

    #[test]
    fn the_command_line_is_sound() {
        Arguments::command().debug_assert();
    }

    #[test]
    fn an_unknown_zone_is_refused_with_an_example() {
        let refused =
            Arguments::try_parse_from(["boutwise", "audit", "x", "--time-zone", "Nowhere"]).unwrap_err();
        assert!(refused.to_string().contains("Europe/Berlin"));
    }
}

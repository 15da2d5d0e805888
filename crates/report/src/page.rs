//! The report as pages: `group.html` for print, and `report.html` alone or an index and a page an athlete.

use askama::Template;

use crate::athlete_view::{AthleteView, span_of_sessions};
use crate::book::{AthletePages, Book};
use crate::error::{Error, Result};
use crate::figures::{PaceUnit, counted, full_day};
use crate::folder::{ATHLETE_FOLDER, GROUP_FILE, REPORT_FILE};
use crate::group_view::GroupView;
use crate::input::{Pages, Report, ReportSettings};
use crate::markup::{Text, isolated, replace_forbidden};
use crate::rows::ColumnRow;
use crate::slip_view::SlipView;
use crate::squad_view::{
    FileLine, Place, QuestionView, RecentLine, SquadLine, file_counts, file_lines, question_views,
    recent_lines, squad_lines,
};
use crate::study::Study;
use crate::tables::columns;
use boutwise_season::Caution;

const STYLE: &str = include_str!("../templates/style.css");
const SCRIPT: &str = include_str!("../templates/script.js");

#[derive(Template)]
#[template(path = "index.html")]
struct IndexPage<'a> {
    style: &'a str,
    script: &'a str,
    title: Text,
    title_plain: String,
    as_of: Option<(String, String)>,
    counts: String,
    notes: Vec<Text>,
    group: GroupView,
    /// Whether names lead to the pages of athletes.
    linked: bool,
    questions: Vec<QuestionView>,
    rows: Vec<SquadLine>,
    recent: Vec<RecentLine>,
    study: Option<Study>,
    articles: &'a [String],
    file_counts: String,
    files: Vec<FileLine>,
    always: &'a str,
    columns: Vec<(String, Vec<ColumnRow>)>,
}

#[derive(Template)]
#[template(path = "group.html")]
struct GroupPage<'a> {
    style: &'a str,
    script: &'a str,
    title: Text,
    title_plain: String,
    as_of: Option<(String, String)>,
    group: GroupView,
    linked: bool,
    questions: Vec<QuestionView>,
    slips: Vec<SlipView>,
    always: &'a str,
}

#[derive(Template)]
#[template(path = "athlete_page.html")]
struct AthletePage<'a> {
    style: &'a str,
    script: &'a str,
    title: Text,
    name_plain: String,
    slip: SlipView,
    article: &'a str,
    always: &'a str,
}

#[derive(Template)]
#[template(path = "athlete.html")]
struct Article<'a> {
    view: AthleteView,
    span: String,
    /// Level of the athlete's own heading.
    level: u8,
    /// The page that holds the meanings of the columns; empty for the same.
    columns: &'a str,
    pace_suffix: &'a str,
}

/// Writes the report: hands each page's name (`group.html`, `report.html`, `athletes/NAME.html`) and text to `page`,
/// the index last.
///
/// The pages need no network and no script; the same input gives the same bytes.
///
/// ```
/// use boutwise_report::{Report, ReportSettings, Tables, write_report};
///
/// let tables = Tables::default();
/// let report = Report { title: "Harbour", as_of: None, tables: &tables, traces: &[], athletes: &[], notes: &[] };
/// let mut names = Vec::new();
/// write_report(&report, &ReportSettings::default(), |name, _text| {
///     names.push(name.to_owned());
///     Ok(())
/// })?;
/// assert_eq!(names, ["group.html", "report.html"]);
/// # Ok::<(), boutwise_report::Error>(())
/// ```
///
/// # Errors
/// Those of `page`.
pub fn write_report(
    report: &Report<'_>,
    settings: &ReportSettings,
    mut page: impl FnMut(&str, &str) -> Result<()>,
) -> Result<()> {
    let book = Book::new(report);
    page(GROUP_FILE, &group(report, &book)?)?;
    if settings.pages != Pages::PerAthlete {
        let mut articles = Vec::new();
        let mut size_bytes = 0;
        let is_small = |size_bytes| settings.pages == Pages::One || size_bytes < settings.page_limit_bytes;
        for athlete in &book.athletes {
            articles.push(article(athlete, &book, settings.pace, Place::SamePage)?);
            size_bytes += articles.last().map_or(0, String::len);
            if !is_small(size_bytes) {
                break;
            }
        }
        if is_small(size_bytes) {
            let index = index(report, &book, &articles, Place::SamePage)?;
            if is_small(index.len()) {
                return page(REPORT_FILE, &index);
            }
        }
    }
    for athlete in &book.athletes {
        let text = render(&AthletePage {
            style: STYLE,
            script: SCRIPT,
            title: report.title.into(),
            name_plain: isolated(athlete.name()),
            slip: SlipView::new(athlete),
            article: &article(athlete, &book, settings.pace, Place::OwnPage)?,
            always: Caution::NoAdvice.text(),
        })?;
        page(&format!("{ATHLETE_FOLDER}/{}.html", athlete.slug), &text)?;
    }
    page(REPORT_FILE, &index(report, &book, &[], Place::OwnPage)?)
}

/// The group sheet and the slips, which need no other page.
fn group(report: &Report<'_>, book: &Book<'_>) -> Result<String> {
    render(&GroupPage {
        style: STYLE,
        script: "",
        title: report.title.into(),
        title_plain: isolated(report.title),
        as_of: book.as_of.map(|day| (day.to_string(), full_day(day))),
        group: GroupView::new(book),
        linked: false,
        questions: question_views(book, Place::SamePage),
        slips: book.athletes.iter().map(SlipView::new).collect(),
        always: Caution::NoAdvice.text(),
    })
}

fn article(athlete: &AthletePages<'_>, book: &Book<'_>, pace: PaceUnit, place: Place) -> Result<String> {
    let (level, columns) = match place {
        Place::SamePage => (3, ""),
        Place::OwnPage => (1, "../report.html"),
    };
    let view = AthleteView::new(athlete, athlete.extras.as_of.or(book.as_of), pace);
    let span = span_of_sessions(&athlete.sessions);
    render(&Article { view, span, level, columns, pace_suffix: pace.suffix() })
}

fn index(report: &Report<'_>, book: &Book<'_>, articles: &[String], place: Place) -> Result<String> {
    let tables = report.tables;
    let mut column_tables: Vec<(String, Vec<ColumnRow>)> = Vec::new();
    for column in columns() {
        match column_tables.last_mut().filter(|(table, _)| *table == column.table) {
            Some((_, columns)) => columns.push(column),
            None => column_tables.push((column.table.clone(), vec![column])),
        }
    }
    render(&IndexPage {
        style: STYLE,
        script: SCRIPT,
        title: report.title.into(),
        title_plain: isolated(report.title),
        as_of: book.as_of.map(|day| (day.to_string(), full_day(day))),
        counts: format!(
            "{}, {}, {}.",
            counted(book.athletes.len(), "athlete", "athletes"),
            counted(tables.sessions.len(), "recorded session", "recorded sessions"),
            counted(tables.files.len(), "file", "files"),
        ),
        notes: report.notes.iter().map(|note| note.as_str().into()).collect(),
        group: GroupView::new(book),
        linked: true,
        questions: question_views(book, place),
        rows: squad_lines(book, place),
        recent: recent_lines(book, place),
        study: Study::new(book),
        articles,
        file_counts: file_counts(&tables.files),
        files: file_lines(&tables.files),
        always: Caution::NoAdvice.text(),
        columns: column_tables,
    })
}

fn render(template: &impl Template) -> Result<String> {
    let text = template.render().map_err(|error| Error::format("the report page", error))?;
    Ok(replace_forbidden(text))
}

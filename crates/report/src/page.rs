//! The report as pages: `group.html` for print, and `report.html` alone or an index and a page an athlete.

use std::cell::Cell;
use std::fmt;
use std::sync::OnceLock;

use askama::Template;
use chrono::NaiveDate;

use crate::at_once::{drop_all, of_each};
use crate::athlete_view::{AthleteView, span_of_sessions};
use crate::book::AthletePages;
use crate::error::{Error, Result};
use crate::figures::{counted, full_day, of_them_counted};
use crate::folder::{ATHLETE_FOLDER, GROUP_FILE, REPORT_FILE};
use crate::group_view::{GroupShare, GroupView};
use crate::input::{AthletePart, Pages, Report, ReportSettings};
use crate::look::Look;
use crate::markup::{Text, isolated, replace_forbidden};
use crate::rows::FileRow;
use crate::slip_view::SlipView;
use crate::squad_view::{
    Entry, FileLine, FileLines, Place, QuestionView, RecentLine, SquadLine, newest_first, question_views,
    squad_lines,
};
use crate::study::{Share, Study};
use crate::tables::{DECLARED, Declared};
use crate::word::PROPOSAL_MEANINGS;
use boutwise_season::{Caution, Settings, Verdict};

#[derive(Template)]
#[template(path = "index.html")]
struct IndexPage<'a> {
    look: &'a Look,
    title: Text,
    title_plain: String,
    as_of: Option<(String, String)>,
    counts: String,
    notes: Vec<Text>,
    group: GroupView,
    /// Whether names lead to the pages of athletes.
    linked: bool,
    questions: Vec<QuestionView>,
    rows: Vec<&'a SquadLine>,
    /// Whether the group has a sheet and slips.
    has_group: bool,
    /// Whether the squad file names groups.
    has_groups: bool,
    meanings: [(Verdict, &'static str); 4],
    recent: Vec<&'a RecentLine>,
    study: Option<Study>,
    has_articles: bool,
    /// Where the articles of the athletes go.
    here: Here<'a>,
    file_counts: String,
    files: &'a [FileLine],
    always: &'a str,
    tables: &'static [Declared],
    numbers: &'a Settings,
}

#[derive(Template)]
#[template(path = "group.html")]
struct GroupPage<'a> {
    look: &'a Look,
    title: Text,
    title_plain: String,
    as_of: Option<(String, String)>,
    group: GroupView,
    linked: bool,
    questions: Vec<QuestionView>,
    slips: Vec<&'a SlipView>,
    always: &'a str,
}

#[derive(Template)]
#[template(path = "athlete_page.html")]
struct AthletePage<'a> {
    look: &'a Look,
    title: Text,
    name_plain: String,
    slip: &'a SlipView,
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
    /// Whether it stands folded, among others.
    is_folded: bool,
    /// The page that holds the meanings of the columns; empty for the same.
    columns: &'a str,
    pace_suffix: &'a str,
    numbers: &'a Settings,
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
    let parts = report.parts();
    let mut writer = ReportWriter::new(report.title, report.day(), settings.clone());
    for part in parts {
        let made = writer.make(part)?;
        writer.add(made, &mut page)?;
    }
    report.tables.files.iter().for_each(|row| writer.file(row));
    writer.finish(report.notes, |name, pieces| page(name, &pieces.concat()))
}

/// Writes a report athlete by athlete, so that no more than a page's worth of them is held at a time.
///
/// Whether all fit into one page shows only on the way; until then the parts are kept, and those that were kept get
/// pages of their own once it is too large. They are made one by one then, or by whoever asks for them:
/// [`ReportWriter::take_again`].
#[derive(Clone, Debug)]
pub struct ReportWriter {
    title: String,
    as_of: Option<NaiveDate>,
    settings: ReportSettings,
    /// Title, day and settings in words, from when they are first asked for.
    words: OnceLock<String>,
    layout: Layout,
    /// Parts of those on the page, while it is open whether all will stand there.
    kept: Vec<AthletePart>,
    articles: Vec<String>,
    entries: Vec<Entry>,
    files: FileLines,
    /// Those that are to be made again, before any other.
    again: Vec<AthletePart>,
    /// The index, where [`ReportWriter::close`] made it already.
    index: Option<Index>,
}

/// The text of an index before the articles of the athletes and behind them. They are most of it, and never put together with it.
#[derive(Clone, Debug)]
struct Index([String; 2]);

/// How a report is divided, as far as that is known.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Layout {
    Open,
    OnePage,
    Divided,
}

/// What [`ReportWriter::make`] made of an athlete.
#[derive(Clone, Debug)]
pub struct AthleteText(Made);

#[derive(Clone, Debug)]
enum Made {
    /// An article for the one page, and what it takes to make a page of its own instead.
    Open(String, Box<AthletePart>),
    /// An article for the one page.
    Article(String, Box<Entry>),
    /// A page of its own, by its address.
    Page(String, String, Box<Entry>),
}

impl AthleteText {
    /// The text of the page, or of the article on the one page.
    pub fn text(&self) -> &str {
        match &self.0 {
            Made::Open(text, _) | Made::Article(text, _) | Made::Page(_, text, _) => text,
        }
    }
}

impl ReportWriter {
    /// Begins a report. `as_of` is the day that it speaks for.
    pub fn new(title: &str, as_of: Option<NaiveDate>, settings: ReportSettings) -> Self {
        let layout = match settings.pages {
            Pages::BySize => Layout::Open,
            Pages::One => Layout::OnePage,
            Pages::PerAthlete => Layout::Divided,
        };
        Self {
            title: title.to_owned(),
            as_of,
            words: OnceLock::new(),
            settings,
            layout,
            kept: Vec::new(),
            articles: Vec::new(),
            entries: Vec::new(),
            files: FileLines::default(),
            again: Vec::new(),
            index: None,
        }
    }

    /// Makes the text of one athlete; many threads may do so at a time, in any order.
    ///
    /// # Errors
    /// Where the page cannot be put into words.
    pub fn make(&self, part: AthletePart) -> Result<AthleteText> {
        self.with_text(part, None)
    }

    /// The same, where it is known already what its text is.
    pub(crate) fn with_text(&self, part: AthletePart, text: Option<String>) -> Result<AthleteText> {
        let pages = AthletePages::new(&part);
        let entry = |place| Box::new(Entry::new(&pages, self.as_of, place, &self.settings.numbers));
        let text = match (text, self.layout) {
            (Some(text), _) => text,
            (None, Layout::Open | Layout::OnePage) => self.article(&pages, Place::SamePage)?,
            (None, Layout::Divided) => self.own_page(&pages)?,
        };
        Ok(AthleteText(match self.layout {
            Layout::Open => Made::Open(text, Box::new(part)),
            Layout::OnePage => Made::Article(text, entry(Place::SamePage)),
            Layout::Divided => Made::Page(pages.slug.clone(), text, entry(Place::OwnPage)),
        }))
    }

    /// All that decides the text of an athlete beside what is known of them, in words.
    pub(crate) fn words(&self) -> String {
        let words = || format!("{:?}", (&self.title, self.as_of, &self.settings));
        format!("{:?} {}", self.layout, self.words.get_or_init(words))
    }

    /// Takes what was made of the next athlete, in order. A page of its own goes to `page` by name
    /// (`athletes/NAME.html`) and text.
    ///
    /// # Errors
    /// Those of `page`, and of [`ReportWriter::make`].
    pub fn add(&mut self, made: AthleteText, page: &mut impl FnMut(&str, &str) -> Result<()>) -> Result<()> {
        for part in std::mem::take(&mut self.again) {
            let made = self.make(part)?;
            self.add(made, page)?;
        }
        // An index that is at hand knows nothing of this one.
        self.index = None;
        match made.0 {
            Made::Open(_, part) if self.layout == Layout::Divided => self.again.push(*part),
            Made::Open(article, part) => {
                self.articles.push(article);
                self.kept.push(*part);
                if !self.is_small() {
                    self.divide();
                }
            }
            Made::Article(article, entry) => {
                self.articles.push(article);
                self.entries.push(*entry);
            }
            Made::Page(address, text, entry) => {
                page(&format!("{ATHLETE_FOLDER}/{address}.html"), &text)?;
                self.entries.push(*entry);
            }
        }
        Ok(())
    }

    /// Those whose text is made again, since they get pages of their own after all: whoever takes them makes and adds them,
    /// in this order and before the next athlete.
    pub fn take_again(&mut self) -> Vec<AthletePart> {
        std::mem::take(&mut self.again)
    }

    /// Takes a file of the recordings.
    pub fn file(&mut self, row: &FileRow) {
        self.files.add(row);
    }

    /// Tells that every athlete and every file was taken; `notes` are those of [`ReportWriter::finish`]. From here on it is sure
    /// whether all stand on one page.
    ///
    /// # Errors
    /// Where the index cannot be put into words.
    pub fn close(&mut self, notes: &[String]) -> Result<()> {
        if self.layout != Layout::Open {
            return Ok(());
        }
        let entry = |part: &AthletePart| {
            let pages = AthletePages::new(part);
            Entry::new(&pages, self.as_of, Place::SamePage, &self.settings.numbers)
        };
        let entries: Vec<Entry> = of_each(&self.kept, entry);
        self.index = self.index(&entries, notes, self.settings.page_limit_bytes)?;
        if self.index.is_none() {
            self.divide();
            return Ok(());
        }
        (self.layout, self.entries) = (Layout::OnePage, entries);
        // What was known of them is many small pieces.
        drop_all(std::mem::take(&mut self.kept));
        Ok(())
    }

    /// Ends the report with the group sheet, `group.html`, and its index, `report.html`. `notes` are what a reader should know about the
    /// whole. A page goes to `page` by name and the pieces of its text.
    ///
    /// # Errors
    /// Those of `page`, and of [`ReportWriter::make`].
    pub fn finish(
        mut self,
        notes: &[String],
        mut page: impl FnMut(&str, &[&str]) -> Result<()>,
    ) -> Result<()> {
        self.close(notes)?;
        for part in self.take_again() {
            let made = self.make(part)?;
            self.add(made, &mut |name, text| page(name, &[text]))?;
        }
        if self.settings.has_group {
            page(GROUP_FILE, &[&self.group(&self.entries)?])?;
        }
        let index = match self.index.take() {
            Some(index) => Some(index),
            None => self.index(&self.entries, notes, usize::MAX)?,
        };
        let Some(Index([before, behind])) = &index else { return page(REPORT_FILE, &[]) };
        let articles = self.articles.iter().map(String::as_str);
        let pieces: Vec<&str> =
            [before.as_str()].into_iter().chain(articles).chain([behind.as_str()]).collect();
        page(REPORT_FILE, &pieces)
    }

    /// Whether those so far may stand on one page.
    fn is_small(&self) -> bool {
        let size_bytes: usize = self.articles.iter().map(String::len).sum();
        size_bytes < self.settings.page_limit_bytes && self.kept.len() <= self.settings.page_limit_athletes
    }

    /// Gives pages of their own to those that were to stand on one.
    fn divide(&mut self) {
        self.layout = Layout::Divided;
        self.articles = Vec::new();
        self.again = std::mem::take(&mut self.kept);
    }

    fn own_page(&self, pages: &AthletePages<'_>) -> Result<String> {
        let (slip, article) =
            (SlipView::new(pages, &self.settings.numbers), self.article(pages, Place::OwnPage)?);
        let page = |look: &Look| {
            render(&AthletePage {
                look,
                title: self.title.as_str().into(),
                name_plain: isolated(pages.name()),
                slip: &slip,
                article: &article,
                always: Caution::NoAdvice.text(),
            })
        };
        // Of an athlete without a recording there is little to show, and a squad may have thousands of them.
        if pages.sessions.is_empty() { page(&Look::of(&page(Look::none())?)) } else { page(Look::whole()) }
    }

    fn article(&self, athlete: &AthletePages<'_>, place: Place) -> Result<String> {
        let (level, is_folded, columns) = match place {
            Place::SamePage => (3, true, ""),
            Place::OwnPage => (1, false, "../report.html"),
        };
        let ReportSettings { pace, ref numbers, .. } = self.settings;
        let view = AthleteView::new(athlete, athlete.extras.as_of.or(self.as_of), pace);
        let span = span_of_sessions(&athlete.sessions);
        let mut article =
            render(&Article { view, span, level, is_folded, columns, pace_suffix: pace.suffix(), numbers })?;
        // Many are held at a time.
        article.shrink_to_fit();
        Ok(article)
    }

    fn group_view(&self, entries: &[Entry]) -> GroupView {
        let shares = entries.iter().filter(|_| self.settings.has_group).map(|entry| &entry.group);
        let shares: Vec<&GroupShare> = shares.collect();
        GroupView::new(&shares, self.as_of)
    }

    /// The group sheet and the slips, which need no other page.
    fn group(&self, entries: &[Entry]) -> Result<String> {
        render(&GroupPage {
            look: Look::without_script(),
            title: self.title.as_str().into(),
            title_plain: isolated(&self.title),
            as_of: self.as_of.map(|day| (day.to_string(), full_day(day))),
            group: self.group_view(entries),
            linked: false,
            questions: question_views(entries),
            slips: entries.iter().map(|entry| &entry.group.slip).collect(),
            always: Caution::NoAdvice.text(),
        })
    }

    /// The index, where it has less than `limit_bytes`.
    fn index(&self, entries: &[Entry], notes: &[String], limit_bytes: usize) -> Result<Option<Index>> {
        let written = Written::default();
        let sum = |of: fn(&Share) -> usize| entries.iter().map(|entry| of(&entry.share)).sum::<usize>();
        let (recorded, counting) = (sum(|share| share.recorded), sum(|share| share.sessions));
        let rows = squad_lines(entries);
        let page = IndexPage {
            look: Look::whole(),
            title: self.title.as_str().into(),
            title_plain: isolated(&self.title),
            as_of: self.as_of.map(|day| (day.to_string(), full_day(day))),
            counts: format!(
                "{}, {}{}, {}.",
                counted(entries.len(), "athlete", "athletes"),
                counted(recorded, "recorded session", "recorded sessions"),
                of_them_counted(recorded, counting),
                counted(self.files.count(), "file", "files"),
            ),
            notes: notes.iter().map(|note| note.as_str().into()).collect(),
            group: self.group_view(entries),
            linked: true,
            questions: question_views(entries),
            has_group: self.settings.has_group,
            has_groups: rows.iter().any(|row| row.group.is_some()),
            rows,
            meanings: PROPOSAL_MEANINGS,
            recent: newest_first(entries),
            study: Study::new(entries),
            has_articles: !self.articles.is_empty(),
            here: Here(&written),
            file_counts: self.files.counts(),
            files: &self.files.lines,
            always: Caution::NoAdvice.text(),
            tables: DECLARED,
            numbers: &self.settings.numbers,
        };
        let articles_bytes: usize = self.articles.iter().map(String::len).sum();
        let limit_bytes = limit_bytes.saturating_sub(articles_bytes);
        let mut text = Below { text: String::new(), limit_bytes, written: &written };
        match page.render_into(&mut text) {
            Ok(()) => {
                let mut before = text.text;
                let behind = before.split_off(written.articles_at.get().min(before.len()));
                Ok(Some(Index([before, behind].map(replace_forbidden))))
            }
            Err(_) if text.limit_bytes == 0 => Ok(None),
            Err(error) => Err(unwritten(error)),
        }
    }
}

/// How much of a page is written, and how much was where its articles go, in bytes.
#[derive(Default)]
struct Written {
    bytes: Cell<usize>,
    articles_at: Cell<usize>,
}

/// Writes nothing into a page, and remembers where that was.
struct Here<'a>(&'a Written);

impl fmt::Display for Here<'_> {
    fn fmt(&self, _: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.articles_at.set(self.0.bytes.get());
        Ok(())
    }
}

/// Text that ends where it would reach a limit, which is 0 from then on.
struct Below<'a> {
    text: String,
    limit_bytes: usize,
    written: &'a Written,
}

impl fmt::Write for Below<'_> {
    fn write_str(&mut self, more: &str) -> fmt::Result {
        if self.text.len() + more.len() >= self.limit_bytes {
            self.limit_bytes = 0;
            return Err(fmt::Error);
        }
        self.text.push_str(more);
        self.written.bytes.set(self.text.len());
        Ok(())
    }
}

fn render(template: &impl Template) -> Result<String> {
    Ok(replace_forbidden(template.render().map_err(unwritten)?))
}

fn unwritten(error: askama::Error) -> Error {
    Error::format("the report page", error)
}

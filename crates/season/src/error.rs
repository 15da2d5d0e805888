//! The one error of this crate: what a person wrote and could not be read, and how to mend it.

use std::fmt;
use std::ops::Range;

use crate::name::folded_name;

/// Longest excerpt of a line that a message shows, in characters: of a table no more than the cell (own choice: what
/// stands beside it is nobody's business who mends it).
const EXCERPT_CHARS: usize = 40;

/// What kind of text could not be read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum ErrorKind {
    /// The interval text of a session, read by itself.
    Intervals,
    /// A plan file.
    Plan,
    /// A settings file.
    Settings,
    /// A squad file.
    Squad,
    /// A journal file.
    Journal,
    /// A file of corrections.
    Corrections,
    /// A file that says whose each recording is.
    Owners,
    /// A file beyond the limit, which was not read.
    TooLarge,
    /// A date that was typed.
    Date,
    /// A time zone that was typed.
    TimeZone,
}

impl ErrorKind {
    /// What the text is, in a few words.
    pub fn word(self) -> &'static str {
        match self {
            Self::Intervals => "the text of a session",
            Self::Plan => "the plan",
            Self::Settings => "the settings file",
            Self::Squad => "the squad file",
            Self::Journal => "the journal",
            Self::Corrections => "the file of corrections",
            Self::Owners => "the owners file",
            Self::TooLarge => "a file beyond the limit",
            Self::Date => "a date",
            Self::TimeZone => "a time zone",
        }
    }

    /// Whether it is a table, whose lines hold cells that have nothing to do with each other.
    fn is_table(self) -> bool {
        matches!(self, Self::Squad | Self::Journal | Self::Corrections | Self::Owners)
    }
}

/// What is wrong at one place of a text: the words of a message, without the place's line.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Flaw {
    /// Bytes of the text that the caret goes under.
    pub(crate) span: Range<usize>,
    /// What is wrong, in a few words.
    pub(crate) problem: String,
    /// What could have stood there.
    pub(crate) expected: String,
    /// What to do.
    pub(crate) mend: String,
}

impl Flaw {
    pub(crate) fn new(
        span: Range<usize>,
        problem: impl Into<String>,
        expected: impl Into<String>,
        mend: impl Into<String>,
    ) -> Self {
        Self { span, problem: problem.into(), expected: expected.into(), mend: mend.into() }
    }
}

/// A text that could not be read: where, what was found, what was expected and how to mend it.
///
/// Its `Display` is the whole message, several lines with a caret under the place:
///
/// ```
/// let error = boutwise_season::parse_intervals("9 x (0:40 run, 1:20 wlak)").unwrap_err();
/// assert_eq!(
///     error.to_string(),
///     "line 1, column 21: \"wlak\" is neither run nor walk\n\
///      \x20 |\n\
///      1 | 9 x (0:40 run, 1:20 wlak)\n\
///      \x20 |                     ^^^^\n\
///      expected: run or walk\n\
///      to mend: write walk"
/// );
/// ```
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Error(Box<Place>);

/// The place of a flaw, boxed so that an error stays as small as a pointer.
#[derive(Clone, Debug, PartialEq, Eq)]
struct Place {
    kind: ErrorKind,
    name: String,
    line: usize,
    column: usize,
    excerpt: String,
    caret_start: usize,
    caret_length: usize,
    flaw: Flaw,
}

impl Error {
    /// Places a flaw in its text. `name` is the file's name, empty for a text that is no file.
    pub(crate) fn new(kind: ErrorKind, name: &str, text: &str, flaw: Flaw) -> Self {
        // Here as at a line end and behind it the text can be cut.
        let start = floor_char(text, flaw.span.start);
        let end = floor_char(text, flaw.span.end).max(start);
        let line_start = text[..start].rfind('\n').map_or(0, |newline| newline + 1);
        let line_end = text[start..].find('\n').map_or(text.len(), |newline| start + newline);
        let before = text[line_start..start].chars().count();
        let marked = text[start..end.min(line_end)].trim_end().chars().count().max(1);
        let from = match kind {
            _ if kind.is_table() => before,
            _ if before + marked > EXCERPT_CHARS => before.saturating_sub(EXCERPT_CHARS / 2),
            _ => 0,
        };
        let shown_end = if kind.is_table() { end.clamp(start, line_end) } else { line_end };
        let excerpt: String = text[line_start..shown_end]
            .trim_end()
            .chars()
            .skip(from)
            .take(EXCERPT_CHARS)
            .map(|c| if c.is_control() { ' ' } else { c })
            .collect();
        let caret_start = before - from;
        Self(Box::new(Place {
            kind,
            name: name.to_owned(),
            line: text[..line_start].matches('\n').count() + 1,
            column: before + 1,
            excerpt,
            caret_start,
            caret_length: marked.min(EXCERPT_CHARS.saturating_sub(caret_start)).max(1),
            flaw: Flaw { problem: quoting_little(&flaw.problem), mend: quoting_little(&flaw.mend), ..flaw },
        }))
    }

    /// The same without anything that the text holds: for a file that somebody else than its owner named.
    #[must_use]
    pub fn without_text(mut self) -> Self {
        self.0.excerpt = "(not shown)".to_owned();
        (self.0.caret_start, self.0.caret_length) = (0, 1);
        self.0.flaw.problem = format!("{} cannot be understood here", self.kind().word());
        self.0.flaw.mend = "look whether it is the file that was meant".to_owned();
        self
    }

    /// What kind of text could not be read.
    pub fn kind(&self) -> ErrorKind {
        self.0.kind
    }

    /// The name of the file, empty for a text that is no file.
    pub fn name(&self) -> &str {
        &self.0.name
    }

    /// Line of the place, from 1.
    pub fn line(&self) -> usize {
        self.0.line
    }

    /// Column of the place in characters, from 1.
    pub fn column(&self) -> usize {
        self.0.column
    }

    /// What is wrong, in one short clause without place.
    pub fn problem(&self) -> &str {
        &self.0.flaw.problem
    }

    /// What to do about it.
    pub fn mend(&self) -> &str {
        &self.0.flaw.mend
    }
}

impl fmt::Display for Error {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let number = self.0.line.to_string();
        let margin = " ".repeat(number.len());
        if !self.0.name.is_empty() {
            write!(f, "{}, ", self.0.name)?;
        }
        writeln!(f, "line {}, column {}: {}", self.0.line, self.0.column, self.0.flaw.problem)?;
        writeln!(f, "{margin} |")?;
        writeln!(f, "{number} | {}", self.0.excerpt)?;
        writeln!(f, "{margin} | {}{}", " ".repeat(self.0.caret_start), "^".repeat(self.0.caret_length))?;
        writeln!(f, "expected: {}", self.0.flaw.expected)?;
        write!(f, "to mend: {}", self.0.flaw.mend)
    }
}

impl std::error::Error for Error {}

/// Most characters of a sentence about a flaw (own choice: twice the longest of those that are written here).
const SENTENCE_CHARS: usize = 240;

/// A sentence in which what stands between quotes, and every word, is cut to as many characters as an excerpt has. Where quotes
/// can be told to stand in what is quoted, that is all from the first to the last.
fn quoting_little(sentence: &str) -> String {
    let of_words =
        |part: &str| part.split(' ').map(|word| brief(word, EXCERPT_CHARS)).collect::<Vec<_>>().join(" ");
    let quotes = sentence.matches('"').count();
    let little = match (sentence.find('"'), sentence.rfind('"')) {
        (Some(first), Some(last)) if quotes % 2 == 1 || quotes > 4 => {
            let quoted = brief(&sentence[first..last], EXCERPT_CHARS);
            format!("{}{quoted}{}", of_words(&sentence[..first]), of_words(&sentence[last..]))
        }
        _ => {
            let part = |(at, part): (usize, &str)| match at % 2 {
                1 => brief(part, EXCERPT_CHARS),
                _ => of_words(part),
            };
            sentence.split('"').enumerate().map(part).collect::<Vec<_>>().join("\"")
        }
    };
    brief(&little, SENTENCE_CHARS)
}

/// A text cut to so many characters.
pub(crate) fn brief(text: &str, characters: usize) -> String {
    match text.char_indices().nth(characters) {
        Some((end, _)) => format!("{}…", &text[..end]),
        None => text.to_owned(),
    }
}

/// The candidate most like a word, if any is alike enough to be what was meant.
pub(crate) fn suggestion<'a>(word: &str, candidates: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let word = word.to_lowercase();
    candidates
        .into_iter()
        .filter(|candidate| may_be_like(&word, candidate))
        .map(|candidate| (strsim::normalized_damerau_levenshtein(&word, candidate), candidate))
        .filter(|(likeness, _)| *likeness >= LIKENESS)
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, candidate)| candidate)
}

/// The names most like a name, the nearest first, as they are written.
pub(crate) fn nearest<'a>(
    name: &str,
    candidates: impl IntoIterator<Item = &'a str>,
    most: usize,
) -> Vec<&'a str> {
    let name = folded_name(name);
    let mut near: Vec<(f64, &str)> = candidates
        .into_iter()
        .filter(|candidate| may_be_like(&name, candidate))
        .map(|candidate| (strsim::normalized_damerau_levenshtein(&name, &folded_name(candidate)), candidate))
        .filter(|(likeness, _)| *likeness >= LIKENESS)
        .collect();
    near.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(b.1)));
    near.dedup_by_key(|(_, candidate)| *candidate);
    near.truncate(most);
    near.into_iter().map(|(_, candidate)| candidate).collect()
}

/// Bytes of words that are held against each other: that takes the product of their lengths (own choice: longer ones are no
/// slips of a pen).
const COMPARED_BYTES: usize = 1000;

/// Whether two words can be like each other by their lengths.
fn may_be_like(one: &str, other: &str) -> bool {
    one.len().max(other.len()) <= COMPARED_BYTES
}

/// Normalised Damerau–Levenshtein likeness from which a word is suggested (own choice).
const LIKENESS: f64 = 0.5;

fn floor_char(text: &str, byte: usize) -> usize {
    let mut byte = byte.min(text.len());
    while !text.is_char_boundary(byte) {
        byte -= 1;
    }
    byte
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_place_in_a_very_long_line_is_still_shown_with_its_caret() {
        let text = format!("{}?{}", "a".repeat(400), "b".repeat(400));
        let error = Error::new(ErrorKind::Plan, "p.toml", &text, Flaw::new(400..401, "odd", "x", "y"));
        let shown = error.to_string();
        let lines: Vec<&str> = shown.lines().collect();
        let caret = lines[3].find('^').unwrap();
        assert_eq!(&lines[2][caret..=caret], "?");
        assert_eq!(error.column(), 401);
    }

    #[test]
    fn a_sentence_quotes_little_whatever_is_quoted() {
        let said = |cell: &str| quoting_little(&format!("\"{cell}\" has no .. between two days"));
        assert_eq!(said("2 May"), "\"2 May\" has no .. between two days");
        let words = "my knee hurts since the second run of Tuesday, and the coach said ".repeat(9);
        for cell in
            [words.clone(), words.replace("knee", "\"knee"), words.replace("knee hurts", "\"knee\" hurts")]
        {
            let said = said(&cell);
            assert!(said.contains("my") && said.chars().count() < 90, "{said}");
            assert!(said.ends_with("has no .. between two days"), "{said}");
        }
        // Where the quotes could be those of two words, the sentence ends.
        let two = said(&format!("a\" {words} \"b"));
        assert!(two.chars().count() <= SENTENCE_CHARS + 1, "{two}");
    }

    #[test]
    fn words_of_any_length_have_their_nearest_in_little_time() {
        let long = "n".repeat(5_000_000);
        assert_eq!(suggestion(&long, [long.as_str(), "n"]), None);
        assert!(nearest(&long, [long.as_str(), "n"], 3).is_empty());
        assert_eq!(nearest("Anna", [long.as_str(), "Ana", "Tom"], 3), ["Ana"]);
    }

    proptest! {
        #[test]
        fn any_span_in_any_text_makes_a_message(text in "\\PC{0,40}\n?\\PC{0,200}", start in 0usize..300, length in 0usize..300) {
            let error = Error::new(ErrorKind::Squad, "s.csv", &text, Flaw::new(start..start + length, "a", "b", "c"));
            prop_assert!(error.to_string().contains('^'));
        }
    }
}

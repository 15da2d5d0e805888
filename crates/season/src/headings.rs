//! Which known column a heading may have meant that is none of them.

use std::collections::HashMap;
use std::sync::LazyLock;

use serde::Deserialize;

use crate::name::folded_name;
use crate::sheet::MAX_NAME_LETTERS;

/// How a heading comes near to a column's name; a later one outranks an earlier.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
enum Nearness {
    /// It has all words of the name of a column that may hold a sign, so many: `knee pain`.
    Holds(usize),
    /// It is a slip of the pen, so like: `pian`.
    Slip(f64),
    /// The name begins with it: `birth`.
    Begins,
    /// It says the name in other words, or with words that add nothing: `schmerz`, `pain today`.
    Same,
}

/// The column nearest to a heading, if it is near any.
///
/// Scales in a name do not count (`pain` is near `pain_0_10`). `signs` are the columns whose loss may lose a warning: what
/// has their names among its words is near them.
pub(crate) fn meant_heading(said: &str, known: &[&'static str], signs: &[&str]) -> Option<&'static str> {
    if said.chars().count() > MAX_NAME_LETTERS {
        return None;
    }
    let said = Words::of(said);
    let near =
        known.iter().filter_map(|column| Some((said.nearness(column, signs.contains(column))?, *column)));
    near.max_by(|(one, _), (other, _)| one.partial_cmp(other).unwrap_or(std::cmp::Ordering::Equal))
        .map(|(_, column)| column)
}

/// Words of a heading without its scale.
#[derive(Debug)]
struct Words {
    words: Vec<String>,
    /// Their letters: a slip may part words elsewhere, or write the scale into one of them.
    letters: String,
}

impl Words {
    fn of(said: &str) -> Self {
        let is_number = |word: &str| word.chars().all(|c| c.is_ascii_digit());
        let said = heading(said);
        let scaled = said.split('_').any(is_number);
        let words = said.split('_').filter(|word| !is_number(word) && (!scaled || *word != "to"));
        Self::new(words.map(str::to_owned).collect())
    }

    fn new(words: Vec<String>) -> Self {
        Self { letters: words.concat().replace("010", ""), words }
    }

    /// The letters without words that add nothing, if any others are left.
    fn telling(&self) -> String {
        let telling = self.words.iter().filter(|word| !LISTED.idle.contains(word));
        let telling = Self::new(telling.cloned().collect());
        if telling.words.is_empty() { self.letters.clone() } else { telling.letters }
    }

    fn has_all(&self, other: &Self) -> bool {
        !other.words.is_empty() && other.words.iter().all(|word| self.words.contains(word))
    }

    fn nearness(&self, column: &str, is_sign: bool) -> Option<Nearness> {
        let forms = [&self.letters, &self.telling()];
        let own = Words::of(column);
        let others = LISTED.headings.get(column).map_or(&[][..], Vec::as_slice);
        let mut names = std::iter::once(&own).chain(others);
        if names.any(|name| forms.iter().any(|form| !form.is_empty() && **form == name.letters)) {
            return Some(Nearness::Same);
        }
        if (1..own.words.len()).any(|count| forms.contains(&&own.words[..count].concat())) {
            return Some(Nearness::Begins);
        }
        let slips = forms.iter().filter_map(|form| {
            let in_name = slip(form, &own.letters, LIKENESS);
            let long = others.iter().filter(|other| other.letters.chars().count() >= OTHER_LETTERS);
            let in_others = long.filter_map(|other| slip(form, &other.letters, OTHER_LIKENESS));
            in_name.into_iter().chain(in_others).max_by(f64::total_cmp)
        });
        if let Some(likeness) = slips.max_by(f64::total_cmp) {
            return Some(Nearness::Slip(likeness));
        }
        let held = std::iter::once(&own).chain(others).filter(|name| is_sign && self.has_all(name));
        held.map(|name| name.words.len()).max().map(Nearness::Holds)
    }
}

/// How like a form of a heading is to a name, where that is enough, or one slip parts them.
fn slip(form: &str, name: &str, enough: f64) -> Option<f64> {
    let (form_letters, name_letters) = (form.chars().count(), name.chars().count());
    let (fewer, more) = (form_letters.min(name_letters), form_letters.max(name_letters));
    // Likeness is no more than their lengths leave.
    if fewer == 0 || more > 1 + fewer && (fewer as f64) < enough * more as f64 {
        return None;
    }
    let slips = strsim::damerau_levenshtein(form, name);
    let likeness = 1.0 - slips as f64 / more as f64;
    (likeness >= enough || slips == 1 && name_letters > 2).then_some(likeness)
}

/// Normalised Damerau–Levenshtein likeness to a column's name from which a heading is taken for a slip of the pen (own
/// choice: one slip in four letters; one slip is one in a shorter name too).
const LIKENESS: f64 = 0.7;
/// The same for other names of a column, of so many letters at least (own choice: one slip in five; shorter ones are too
/// near to words of another meaning).
const OTHER_LIKENESS: f64 = 0.8;
const OTHER_LETTERS: usize = 6;

/// The list of words.
#[derive(Debug)]
struct Listed {
    headings: HashMap<String, Vec<Words>>,
    idle: Vec<String>,
}

static LISTED: LazyLock<Listed> = LazyLock::new(|| {
    #[derive(Default, Deserialize)]
    struct File {
        idle: Vec<String>,
        headings: HashMap<String, Vec<String>>,
    }
    let File { idle, headings } = toml::from_str(include_str!("headings.toml")).unwrap_or_default();
    let words = |names: Vec<String>| names.iter().map(|name| Words::of(name)).collect();
    Listed { idle, headings: headings.into_iter().map(|(column, names)| (column, words(names))).collect() }
});

/// A column's name in the form in which names are compared: small letters, words joined by `_`.
pub(crate) fn heading(cell: &str) -> String {
    let mut name = String::new();
    for c in folded_name(cell).chars() {
        if c.is_alphanumeric() {
            name.push(c);
        } else if !name.is_empty() && !name.ends_with('_') {
            name.push('_');
        }
    }
    name.trim_end_matches('_').to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    const KNOWN: [&str; 9] = [
        "athlete",
        "date",
        "pain_0_10",
        "pain_next_morning",
        "warning_sign",
        "hot",
        "coach_decision",
        "note",
        "talkable",
    ];
    const SIGNS: [&str; 4] = ["pain_0_10", "pain_next_morning", "warning_sign", "coach_decision"];

    #[test]
    fn the_list_of_words_is_read() {
        assert!(LISTED.headings.len() > 20 && !LISTED.idle.is_empty());
        assert!(LISTED.headings.values().flatten().all(|words| !words.letters.is_empty()));
    }

    #[test]
    fn a_heading_means_the_column_that_it_is_nearest_to() {
        for (column, headings) in [
            (
                "pain_0_10",
                "pain; PAIN 0 to 10; pain/10; Schmerz; pian_0_10; pain_0_10s; pai_n0_10; pain010; pains",
            ),
            (
                "pain_0_10",
                "pain level; pain after; pain today; Pain scale; knee pain; how much pain; my pain_0_10",
            ),
            (
                "pain_next_morning",
                "pain next; morning pain; next morning; pain nextmorning; pain nxt morning",
            ),
            ("warning_sign", "warnung; signs today; warning; any red flags seen; warning_sings"),
            ("coach_decision", "decison; coach's word; coach; the decision"),
            ("hot", "hto; ho; oht; hot day"),
            ("date", "day"),
            ("note", "notes"),
        ] {
            for said in headings.split("; ") {
                assert_eq!(meant_heading(said, &KNOWN, &SIGNS), Some(column), "{said}");
            }
        }
        // Of other columns a word among others is none, and a short other name has no slips.
        for said in
            ["weather", "shoes", "notes2", "2026", "10", "danger", "walk", "a note on shoes", "hot drink"]
        {
            assert_eq!(meant_heading(said, &KNOWN, &SIGNS), None, "{said}");
        }
    }

    #[test]
    fn of_the_squads_columns_too() {
        let known = ["athlete", "start", "joined", "left", "away", "group", "birth_year", "folder", "to_s"];
        for (said, column) in [
            ("birth", "birth_year"),
            ("date of birth", "birth_year"),
            ("start day", "start"),
            ("left day", "left"),
            ("joined date", "joined"),
            ("the group", "group"),
            ("to", "to_s"),
        ] {
            assert_eq!(meant_heading(said, &known, &[]), Some(column), "{said}");
        }
        for said in ["age group", "left foot", "start weight", "year", "location", "s"] {
            assert_eq!(meant_heading(said, &known, &[]), None, "{said}");
        }
    }
}

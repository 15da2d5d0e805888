//! Names of people as they turn up in file names, titles and authors: without accents, joined, turned round, shortened.

use unicode_normalization::UnicodeNormalization;
use unicode_normalization::char::is_combining_mark;

use crate::name::folded_name;

/// How much of a name a text holds, from nothing to all of it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Held {
    /// Nothing.
    #[default]
    Nothing,
    /// The first letters of its parts.
    Initials,
    /// Something very like one part.
    Near,
    /// One of several parts.
    Part,
    /// One part and the first letter of another.
    PartAndInitial,
    /// All of it.
    Whole,
}

/// Shortest part that is looked for inside of nothing but a whole word, in letters (own choice: shorter ones turn up by
/// chance).
const SHORTEST_NEAR: usize = 5;
/// Normalised Damerau–Levenshtein likeness from which a word is a slip for a part of a name (own choice).
const NEAR: f64 = 0.8;

/// Words of names of files that are no names (own collection).
const NO_NAMES: &[&str] = &[
    "activities",
    "activity",
    "afternoon",
    "am",
    "and",
    "apr",
    "april",
    "aug",
    "august",
    "backup",
    "bike",
    "copy",
    "cycling",
    "data",
    "dec",
    "december",
    "download",
    "downloads",
    "easy",
    "evening",
    "export",
    "exports",
    "feb",
    "february",
    "file",
    "files",
    "final",
    "fri",
    "friday",
    "from",
    "gps",
    "gpx",
    "group",
    "gz",
    "home",
    "inbox",
    "interval",
    "intervals",
    "jan",
    "january",
    "jog",
    "jogging",
    "jul",
    "july",
    "jun",
    "june",
    "km",
    "lunch",
    "mail",
    "mar",
    "march",
    "may",
    "mixed",
    "mon",
    "monday",
    "morning",
    "move",
    "my",
    "new",
    "night",
    "nov",
    "november",
    "oct",
    "october",
    "of",
    "old",
    "park",
    "phone",
    "pm",
    "rec",
    "recording",
    "recordings",
    "route",
    "run",
    "runner",
    "running",
    "sat",
    "saturday",
    "sep",
    "september",
    "session",
    "sport",
    "squad",
    "sun",
    "sunday",
    "tcx",
    "test",
    "the",
    "thu",
    "thursday",
    "to",
    "track",
    "tracks",
    "training",
    "tue",
    "tuesday",
    "unknown",
    "unnamed",
    "untitled",
    "upload",
    "uploads",
    "walk",
    "walking",
    "watch",
    "wed",
    "wednesday",
    "week",
    "with",
    "workout",
    "workouts",
    "zip",
];

/// The words of a text as names are compared: folded, without accents, parted at signs, digits and small-to-capital.
pub(crate) fn words(text: &str) -> Vec<String> {
    let mut parted = String::with_capacity(text.len() + 8);
    let mut before: Option<char> = None;
    for c in text.nfc() {
        let turns = before
            .is_some_and(|b| b.is_lowercase() && c.is_uppercase() || b.is_alphabetic() != c.is_alphabetic());
        if turns {
            parted.push(' ');
        }
        parted.push(c);
        before = Some(c);
    }
    let bare = bare(&parted);
    let mut words: Vec<String> =
        bare.split(|c: char| !c.is_alphabetic()).filter(|word| !word.is_empty()).map(str::to_owned).collect();
    // What small-to-capital has parted may be one word all the same.
    let whole = self::bare(text);
    words
        .extend(whole.split(|c: char| !c.is_alphabetic()).filter(|word| !word.is_empty()).map(str::to_owned));
    words.sort_unstable();
    words.dedup();
    words
}

/// The words of a text that may be a name that nobody of the squad has.
pub(crate) fn strange_words(text: &str) -> impl Iterator<Item = String> {
    words(text).into_iter().filter(|word| word.chars().count() >= 3 && !NO_NAMES.contains(&word.as_str()))
}

/// A text folded and without accents.
fn bare(text: &str) -> String {
    let mut bare = String::with_capacity(text.len());
    for c in folded_name(text).nfd().filter(|c| !is_combining_mark(*c)) {
        match c {
            'ø' => bare.push('o'),
            'ł' => bare.push('l'),
            'đ' | 'ð' => bare.push('d'),
            'ı' => bare.push('i'),
            'þ' => bare.push_str("th"),
            'æ' => bare.push_str("ae"),
            'œ' => bare.push_str("oe"),
            _ => bare.push(c),
        }
    }
    bare
}

/// A name with the spellings that files may have of it.
#[derive(Clone, Debug)]
pub(crate) struct NameParts {
    /// For each spelling its parts.
    spellings: Vec<Vec<String>>,
}

impl NameParts {
    pub(crate) fn new(name: &str) -> Self {
        let parts = |bare: &str| -> Vec<String> {
            bare.split(|c: char| !c.is_alphabetic())
                .filter(|part| !part.is_empty())
                .map(str::to_owned)
                .collect()
        };
        // In some languages two letters stand for one with dots or a ring.
        let spelt: String = folded_name(name)
            .chars()
            .map(|c| match c {
                'ä' => "ae".to_owned(),
                'ö' => "oe".to_owned(),
                'ü' => "ue".to_owned(),
                'å' => "aa".to_owned(),
                c => c.to_string(),
            })
            .collect();
        let mut spellings = vec![parts(&bare(name)), parts(&bare(&spelt))];
        spellings.dedup();
        spellings.retain(|parts| !parts.is_empty());
        Self { spellings }
    }

    /// How much of the name some words hold.
    pub(crate) fn held_in(&self, words: &[String]) -> Held {
        self.spellings.iter().map(|parts| held(parts, words)).max().unwrap_or_default()
    }
}

fn held(parts: &[String], words: &[String]) -> Held {
    let has = |wanted: &str| words.iter().any(|word| word == wanted);
    if parts.iter().all(|part| has(part)) {
        return Held::Whole;
    }
    if let [only] = parts {
        return if near(only, words) { Held::Near } else { Held::Nothing };
    }
    if has(&parts.concat()) || has(&parts.iter().rev().map(String::as_str).collect::<String>()) {
        return Held::Whole;
    }
    let first = |part: &str| part.chars().next().map(String::from).unwrap_or_default();
    let mut with_initial =
        parts.iter().enumerate().filter(|(_, part)| part.chars().count() > 1).flat_map(|(at, part)| {
            parts
                .iter()
                .enumerate()
                .filter(move |(other, _)| *other != at)
                .map(move |(_, other)| (part, first(other)))
        });
    if with_initial.any(|(part, initial)| {
        has(part) && has(&initial) || has(&format!("{part}{initial}")) || has(&format!("{initial}{part}"))
    }) {
        return Held::PartAndInitial;
    }
    if parts.iter().any(|part| part.chars().count() > 1 && has(part)) {
        return Held::Part;
    }
    if parts.iter().any(|part| near(part, words)) {
        return Held::Near;
    }
    let initials: String = parts.iter().map(|part| first(part)).collect();
    if !NO_NAMES.contains(&initials.as_str()) && has(&initials) { Held::Initials } else { Held::Nothing }
}

fn near(part: &str, words: &[String]) -> bool {
    part.chars().count() >= SHORTEST_NEAR
        && words.iter().any(|word| {
            word.chars().count() >= SHORTEST_NEAR - 1
                && !NO_NAMES.contains(&word.as_str())
                && strsim::normalized_damerau_levenshtein(part, word) >= NEAR
        })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn held(name: &str, text: &str) -> Held {
        NameParts::new(name).held_in(&words(text))
    }

    #[test]
    fn names_are_found_in_the_ways_people_write_them() {
        for (name, text, expected) in [
            ("Anna Keller", "anna-keller_2026-03-02", Held::Whole),
            ("Anna Keller", "Keller, Anna", Held::Whole),
            ("Anna Keller", "AnnaKeller7", Held::Whole),
            ("Anna Keller", "kelleranna", Held::Whole),
            ("Anna Keller", "anna k 12", Held::PartAndInitial),
            ("Anna Keller", "AKeller", Held::PartAndInitial),
            ("Anna Keller", "run anna", Held::Part),
            ("Anna Keller", "AK_0302", Held::Initials),
            ("Anna Keller", "kelle run", Held::Near),
            ("Anna Keller", "banana", Held::Nothing),
            ("Zo\u{e9}", "ZOE\u{301} run", Held::Whole),
            ("Zoé", "zoe-1", Held::Whole),
            ("Jürgen", "juergen", Held::Whole),
            ("Jürgen", "jurgen.gpx", Held::Whole),
            ("Bjørn Åse", "bjorn aase", Held::Whole),
            ("Łukasz", "lukasz", Held::Whole),
            ("Pia Meyer", "evening 5 pm", Held::Nothing),
            ("Mi", "mid", Held::Nothing),
        ] {
            assert_eq!(held(name, text), expected, "{name} in {text}");
        }
    }

    #[test]
    fn usual_words_of_files_are_no_strange_names() {
        let strange = |text: &str| strange_words(text).collect::<Vec<_>>().join(" ");
        assert_eq!(strange("Morning Run 2026-03-02.gpx"), "");
        assert_eq!(strange("otto_run_3.gpx"), "otto");
    }
}

//! Patterns of the squad file for folders, archives and files below the audited folder.

use std::hash::{Hash, Hasher};

use boutwise_track::plain_path;

use crate::name::folded_name;

/// A path below the audited folder, with `*` for any characters of one part and `?` for one of them.
///
/// It matches what it names and everything below. Parts are compared as names are: composed, and in any case.
#[derive(Clone, Debug)]
pub struct FolderPattern {
    /// The pattern as compared, parts between `/`.
    folded: Box<str>,
    written: Box<str>,
}

/// Patterns that match the same are equal, however they are written.
impl PartialEq for FolderPattern {
    fn eq(&self, other: &Self) -> bool {
        self.folded == other.folded
    }
}

impl Eq for FolderPattern {}

impl Hash for FolderPattern {
    fn hash<H: Hasher>(&self, hasher: &mut H) {
        self.folded.hash(hasher);
    }
}

/// How exactly a pattern names a path: more parts first, then more characters that are no `*` or `?`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Exactness {
    parts: usize,
    characters: usize,
}

impl FolderPattern {
    /// A pattern as written, with `/` or `\` between its parts and names as tables show them; `None` for one that leads out of
    /// the folder.
    pub(crate) fn new(written: &str) -> Option<Self> {
        let path = plain_path(written);
        let parts: Vec<String> =
            path.split('/').map(folded_name).filter(|part| !part.is_empty() && part != ".").collect();
        let leads_out = parts.is_empty() || parts.iter().any(|part| part == "..");
        (!leads_out).then(|| Self { folded: parts.join("/").into(), written: written.trim().into() })
    }

    /// The pattern in the form in which it is compared.
    pub fn text(&self) -> &str {
        &self.folded
    }

    /// The pattern as written.
    pub fn written(&self) -> &str {
        &self.written
    }

    pub(crate) fn is_literal(&self) -> bool {
        !self.folded.contains(['*', '?'])
    }

    /// What stands before its first `*` or `?`: with that every path begins that it holds.
    pub(crate) fn head(&self) -> &str {
        self.folded.split(['*', '?']).next().unwrap_or_default()
    }

    /// The longest piece without `*` and `?`: every path that it holds has that somewhere.
    pub(crate) fn longest_piece(&self) -> &str {
        self.folded.split(['*', '?']).max_by_key(|piece| piece.len()).unwrap_or_default()
    }

    pub(crate) fn exactness(&self) -> Exactness {
        Exactness {
            parts: self.folded.split('/').count(),
            characters: self.folded.chars().filter(|c| !matches!(c, '*' | '?')).count(),
        }
    }

    /// Whether a folded path lies at or below what the pattern names.
    pub(crate) fn holds(&self, folded_path: &str) -> bool {
        let mut path = folded_path.split('/');
        self.folded.split('/').all(|pattern| path.next().is_some_and(|part| part_matches(pattern, part)))
    }
}

/// A path in the form in which patterns are compared with it.
pub(crate) fn folded_path(path: &str) -> String {
    path.split('/').map(folded_name).collect::<Vec<_>>().join("/")
}

/// Whether one part of a path matches, by going back to the last `*` only: time grows with the product of both lengths
/// at most.
fn part_matches(pattern: &str, part: &str) -> bool {
    let pattern: Vec<char> = pattern.chars().collect();
    let part: Vec<char> = part.chars().collect();
    let (mut at, mut seen) = (0, 0);
    let mut star: Option<(usize, usize)> = None;
    while let Some(letter) = part.get(seen) {
        match pattern.get(at) {
            Some('*') => {
                star = Some((at, seen));
                at += 1;
            }
            Some(c) if *c == '?' || c == letter => {
                at += 1;
                seen += 1;
            }
            _ => {
                let Some((star_at, star_seen)) = star else { return false };
                at = star_at + 1;
                seen = star_seen + 1;
                star = Some((star_at, star_seen + 1));
            }
        }
    }
    pattern.iter().skip(at).all(|c| *c == '*')
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn holds(pattern: &str, path: &str) -> bool {
        FolderPattern::new(pattern).unwrap().holds(&folded_path(path))
    }

    #[test]
    fn a_pattern_matches_what_it_names_and_all_below_it() {
        for (pattern, path) in [
            ("mira", "Mira/2026-03-02.gpx"),
            ("Mira*", "mira new phone/a.gpx"),
            ("inbox/mira-??.gpx", "inbox/Mira-07.gpx"),
            ("mira.zip", "mira.zip/runs/a.gpx"),
            ("export.zip/Zo\u{e9}", "export.zip/Zoe\u{301}/a.gpx"),
            (".\\group 1\\mira\\", "group 1/mira/a.gpx"),
            ("Zo\\xe9\\a\\u005cb", "Zo\\xe9/A\\u005cb/c.gpx"),
            ("[a].gpx", "[A].gpx"),
            ("*", "anything.gpx"),
            ("*m*a*", "mira/a.gpx"),
        ] {
            assert!(holds(pattern, path), "{pattern} {path}");
        }
        for (pattern, path) in [
            ("mira", "mirabelle/a.gpx"),
            ("inbox/mira-??.gpx", "inbox/mira-7.gpx"),
            ("mira/a", "mira/ab"),
            ("[ab].gpx", "a.gpx"),
            ("mira*", "group/mira/a.gpx"),
            ("*/a.gpx", "a.gpx"),
            ("mi?a", "mi/a"),
        ] {
            assert!(!holds(pattern, path), "{pattern} {path}");
        }
    }

    #[test]
    fn what_leads_out_of_the_folder_is_no_pattern() {
        for written in ["../x", "a/../..", "", "/", "."] {
            assert_eq!(FolderPattern::new(written), None, "{written}");
        }
    }

    proptest! {
        // Against the plain recursive definition of the two signs.
        #[test]
        fn matching_is_that_of_its_definition(pattern in "[ab*?]{0,8}", part in "[ab]{0,8}") {
            fn defined(pattern: &[char], part: &[char]) -> bool {
                match (pattern, part) {
                    ([], []) => true,
                    (['*', rest @ ..], _) => {
                        defined(rest, part) || !part.is_empty() && defined(pattern, &part[1..])
                    }
                    (['?', rest @ ..], [_, others @ ..]) => defined(rest, others),
                    ([a, rest @ ..], [b, others @ ..]) => a == b && defined(rest, others),
                    _ => false,
                }
            }
            let chars = |text: &str| text.chars().collect::<Vec<_>>();
            prop_assert_eq!(part_matches(&pattern, &part), defined(&chars(&pattern), &chars(&part)));
        }
    }
}

//! Names of people, groups and folders, in the form in which they are compared.

use std::borrow::Cow;

use unicase::UniCase;
use unicode_normalization::{UnicodeNormalization, is_nfc};

/// A name as names are compared: composed (NFC), case folded, one space where several stand, none around.
///
/// Two spellings of one name, with accents composed or not and in any case, fold to the same text. Source: canonical
/// caseless matching, The Unicode Standard, section 3.13, definition D145.
///
/// ```
/// use boutwise_season::folded_name;
/// assert_eq!(folded_name(" Zoe\u{301}  STRAßE"), folded_name("zoé strasse"));
/// assert_ne!(folded_name("Zoe"), folded_name("Zoé"));
/// ```
pub fn folded_name(name: &str) -> String {
    let name = single_spaced(name);
    if name.is_ascii() {
        return name.to_ascii_lowercase();
    }
    let decomposed: String = name.nfd().collect();
    UniCase::unicode(decomposed).to_folded_case().nfc().collect()
}

/// A name composed (NFC), as it is written in every table.
pub(crate) fn composed(name: &str) -> Cow<'_, str> {
    if is_nfc(name) { Cow::Borrowed(name) } else { Cow::Owned(name.nfc().collect()) }
}

fn single_spaced(name: &str) -> Cow<'_, str> {
    let name = name.trim();
    let mut spaces = name.char_indices().filter(|(_, c)| c.is_whitespace()).peekable();
    let mut odd = false;
    while let Some((at, c)) = spaces.next() {
        odd |= c != ' ' || spaces.peek().is_some_and(|(next, _)| *next == at + 1);
    }
    if odd { Cow::Owned(name.split_whitespace().collect::<Vec<_>>().join(" ")) } else { Cow::Borrowed(name) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    // Full case folding as in CaseFolding.txt of the Unicode Character Database: ß to ss, final sigma to sigma, and the
    // decomposed forms of UnicodeData.txt.
    #[test]
    fn spellings_of_one_name_fold_alike_and_other_names_do_not() {
        for (a, b) in [
            ("Ada", "ADA"),
            ("José", "JOSE\u{301}"),
            ("Groß", "GROSS"),
            ("ΝΙΚΟΣ", "νικος"),
            ("Łucja", "łUCJA"),
            ("Ng\u{1b0}\u{1a1}\u{300}i", "ngườI"),
            ("Anna  Lena", " anna\tlena "),
        ] {
            assert_eq!(folded_name(a), folded_name(b), "{a} {b}");
        }
        for (a, b) in [("Ada", "Adda"), ("Jose", "José"), ("Anna Lena", "Annalena")] {
            assert_ne!(folded_name(a), folded_name(b), "{a} {b}");
        }
    }

    proptest! {
        #[test]
        fn folding_a_folded_name_changes_nothing(name in "\\PC{0,20}") {
            let once = folded_name(&name);
            prop_assert_eq!(folded_name(&once), once);
        }

        #[test]
        fn composition_and_case_do_not_matter(name in "[a-zA-ZàéîõüñçßæøžŁőΑ-Ωа-яё ]{1,20}") {
            let decomposed: String = name.nfd().collect();
            prop_assert_eq!(folded_name(&name), folded_name(&decomposed));
            prop_assert_eq!(folded_name(&name), folded_name(&name.to_lowercase()));
        }
    }
}

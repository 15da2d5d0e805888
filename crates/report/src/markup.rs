//! What stands between foreign text and a page: every name, note and figure is written through here.

use std::fmt;

use askama::filters::HtmlSafe;
use twox_hash::XxHash3_64;

use crate::figures::Figure;

/// Text that comes from a file, a name or another crate. It is written escaped and in an element of its own
/// direction, so that neither markup nor writing from right to left reaches beyond it. Marks that open or close
/// a direction are left out: browsers pair an open one with the end of the element, which then isolates nothing.
#[derive(Clone, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Text(pub(crate) String);

impl From<&str> for Text {
    fn from(text: &str) -> Self {
        Self(text.to_owned())
    }
}

impl From<String> for Text {
    fn from(text: String) -> Self {
        Self(text)
    }
}

impl fmt::Display for Text {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        out.write_str("<bdi>")?;
        for part in self.0.split(is_direction_span) {
            write_escaped(part, out)?;
        }
        out.write_str("</bdi>")
    }
}

/// Displays itself as finished markup.
impl HtmlSafe for Text {}

/// Room for most figures as markup.
const FIGURE_BYTES: usize = 64;

impl fmt::Display for Figure {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        // Digits, signs and units: nothing that markup knows.
        let mut markup = String::with_capacity(FIGURE_BYTES);
        markup.push_str("<data value=\"");
        self.push_value(&mut markup);
        markup.push_str("\">");
        self.push_text(&mut markup);
        markup.push_str("</data>");
        out.write_str(&markup)
    }
}

/// Displays itself as finished markup.
impl HtmlSafe for Figure {}

fn write_escaped(text: &str, out: &mut fmt::Formatter<'_>) -> fmt::Result {
    let mut rest = text;
    while let Some(place) = rest.find(['&', '<', '>', '"', '\'']) {
        out.write_str(&rest[..place])?;
        out.write_str(match rest.as_bytes()[place] {
            b'&' => "&amp;",
            b'<' => "&lt;",
            b'>' => "&gt;",
            b'"' => "&quot;",
            _ => "&#39;",
        })?;
        rest = &rest[place + 1..];
    }
    out.write_str(rest)
}

/// Embeddings, overrides, isolates and their ends (Unicode Standard Annex 9).
fn is_direction_span(c: char) -> bool {
    matches!(c, '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
}

/// Foreign text for a place where no element can stand (a title, a label): it is put between marks of its own
/// direction, and no others stay in it. The template escapes it.
pub(crate) fn isolated(text: &str) -> String {
    let plain: String = text.chars().filter(|&c| !is_direction_span(c)).collect();
    format!("\u{2068}{plain}\u{2069}")
}

/// Replaces the characters that HTML forbids (controls and noncharacters), wherever in a page they stand.
pub(crate) fn replace_forbidden(page: String) -> String {
    let is_forbidden = |c: char| {
        (c.is_control() && !matches!(c, '\n' | '\t'))
            || matches!(c, '\u{fdd0}'..='\u{fdef}')
            || u32::from(c) & 0xfffe == 0xfffe
    };
    // First bytes, with the next, that no forbidden character lacks; most pages have none of them and need no second look.
    // Without branches, so that many bytes are looked at at once.
    let may_begin_one = |byte: u8, next: u8| {
        ((byte < 0x20) & (byte != b'\n') & (byte != b'\t'))
            | (byte == 0x7f)
            | ((byte == 0xc2) & (next < 0xa0))
            | (byte >= 0xef)
    };
    let bytes = page.as_bytes();
    let suspicious = match bytes {
        [] => false,
        [all @ .., last] => {
            let pairs = all.iter().zip(&bytes[1..]);
            pairs.fold(may_begin_one(*last, 0), |any, (&byte, &next)| any | may_begin_one(byte, next))
        }
    };
    if suspicious && page.contains(is_forbidden) { page.replace(is_forbidden, "\u{fffd}") } else { page }
}

/// The address of an athlete's page and of what stands on it: small Latin letters, digits and hyphens, by the name alone,
/// so that nobody's moves when another joins.
///
/// A name such as `Ada` or `Athlete 7` is its own address. Every other is followed by its digest (XXH3, 64 bits), since
/// several may be alike in small letters or without accents, and one may be no name for a file (`con`, of Windows).
pub(crate) fn address(name: &str) -> String {
    let mut plain = String::new();
    for c in name.chars() {
        if plain.len() >= ADDRESS_LETTERS {
            break;
        }
        if c.is_ascii_alphanumeric() {
            plain.push(c.to_ascii_lowercase());
        } else if !plain.is_empty() && !plain.ends_with('-') {
            plain.push('-');
        }
    }
    let plain = plain.trim_end_matches('-');
    if is_written_as(plain, name) && !is_kept_by_systems(plain) {
        return plain.to_owned();
    }
    let plain = if plain.is_empty() { "athlete" } else { plain };
    format!("{plain}-{:0width$x}", XxHash3_64::oneshot(name.as_bytes()), width = DIGEST_DIGITS)
}

/// Letters that an address takes of a name, at most (own choice: with folder and digest below the 255 that file systems
/// allow).
const ADDRESS_LETTERS: usize = 40;
/// Digits of a digest.
const DIGEST_DIGITS: usize = 16;

/// Whether a name is its address with capitals and blanks, the one name for which the address stands alone; none that looks
/// like an address with a digest.
fn is_written_as(plain: &str, name: &str) -> bool {
    let is_capital = |word: &str| word.starts_with(|c: char| c.is_ascii_uppercase() || c.is_ascii_digit());
    let small = |word: &str| !word[1..].contains(|c: char| c.is_ascii_uppercase());
    let mut words = name.split(' ');
    words.clone().all(|word| !word.is_empty() && is_capital(word) && small(word))
        && words.next_back().is_some_and(|word| word.len() != DIGEST_DIGITS)
        && name.to_ascii_lowercase().replace(' ', "-") == plain
}

/// Whether a system keeps the name for a device of its own, with any ending (Microsoft, Naming Files, Paths, and Namespaces).
fn is_kept_by_systems(plain: &str) -> bool {
    let numbered = |device: &str| {
        plain.strip_prefix(device).is_some_and(|rest| matches!(rest.as_bytes(), [b'0'..=b'9']))
    };
    matches!(plain, "con" | "prn" | "aux" | "nul") || numbered("com") || numbered("lpt")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn markup_in_a_name_stays_text() {
        let text = Text::from("<script>alert('x')</script>&\"");
        assert_eq!(text.to_string(), "<bdi>&lt;script&gt;alert(&#39;x&#39;)&lt;/script&gt;&amp;&quot;</bdi>");
    }

    #[test]
    fn marks_of_direction_cannot_leave_a_name() {
        assert_eq!(Text::from("a\u{2067}b\u{202e}c\u{200f}").to_string(), "<bdi>abc\u{200f}</bdi>");
    }

    #[test]
    fn marks_of_direction_cannot_leave_a_label() {
        assert_eq!(isolated("a\u{202e}b\u{2069}c"), "\u{2068}abc\u{2069}");
    }

    #[test]
    fn what_html_forbids_is_replaced_and_the_rest_kept() {
        assert_eq!(replace_forbidden("a\u{0}b\u{9f}\n\u{ffff}ü".into()), "a\u{fffd}b\u{fffd}\n\u{fffd}ü");
        for forbidden in
            ['\u{1}', '\r', '\u{7f}', '\u{80}', '\u{fdd0}', '\u{fffe}', '\u{1fffe}', '\u{10ffff}']
        {
            assert_eq!(replace_forbidden(format!("é{forbidden}·")), "é\u{fffd}·", "{forbidden:?}");
        }
    }

    #[test]
    fn an_address_is_a_name_for_a_file_everywhere_and_of_one_person_alone() {
        for (name, is) in [
            ("Ada", "ada"),
            ("Athlete 7", "athlete-7"),
            ("Ada Maria Lund", "ada-maria-lund"),
            ("Person 237735747256105322", "person-237735747256105322"),
        ] {
            assert_eq!(address(name), is);
        }
        let names = [
            "Ada",
            "ada",
            "ADA",
            "Ada ",
            " Ada",
            "Ada-Maria",
            "Ada Maria",
            "Ada  Maria",
            "In\u{ea}s",
            "Inês O'Hara",
            "名",
            "名前",
            "../../etc",
            "Con",
            "con",
            "Com1",
            "Lpt9",
            "Nul",
            "",
            "a\u{301}",
            "á",
            "Ada 0123456789abcdef",
        ];
        let long = ["n".repeat(300), "n".repeat(301), format!("Ada {}", "n".repeat(60))];
        let addresses: Vec<String> =
            names.iter().copied().chain(long.iter().map(String::as_str)).map(address).collect();
        let apart: std::collections::BTreeSet<&String> = addresses.iter().collect();
        assert_eq!(apart.len(), addresses.len(), "{addresses:?}");
        for address in &addresses {
            assert!(address.len() <= 60 && !is_kept_by_systems(address), "{address}");
            assert!(address.bytes().all(|c| matches!(c, b'a'..=b'z' | b'0'..=b'9' | b'-')), "{address}");
        }
        assert_eq!(address("Ada 0123456789abcdef").len(), "ada-0123456789abcdef-0123456789abcdef".len());
    }

    proptest::proptest! {
        #[test]
        fn two_names_have_two_addresses(one in "[A-Ca-c1 -]{1,6}|\\PC{1,12}", other in "[A-Ca-c1 -]{1,6}|\\PC{1,12}") {
            proptest::prop_assert_eq!(one == other, address(&one) == address(&other));
        }
    }
}

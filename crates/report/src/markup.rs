//! What stands between foreign text and a page: every name, note and figure is written through here.

use std::fmt;

use askama::filters::HtmlSafe;

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

impl fmt::Display for Figure {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(out, "<data value=\"")?;
        write_escaped(&self.value, out)?;
        write!(out, "\">")?;
        write_escaped(&self.text, out)?;
        write!(out, "</data>")
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

/// A name as part of an address: small Latin letters and digits, all else one hyphen, at most 40 characters.
pub(crate) fn slug(name: &str) -> String {
    const LENGTH_MAX: usize = 40;
    let mut slug = String::new();
    for c in name.chars() {
        if slug.len() >= LENGTH_MAX {
            break;
        }
        if c.is_ascii_alphanumeric() {
            slug.push(c.to_ascii_lowercase());
        } else if !slug.is_empty() && !slug.ends_with('-') {
            slug.push('-');
        }
    }
    let slug = slug.trim_end_matches('-');
    if slug.is_empty() { "athlete".into() } else { slug.into() }
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
    fn a_slug_is_an_address_whatever_the_name() {
        assert_eq!(slug("Inês  O'Hara"), "in-s-o-hara");
        assert_eq!(slug("../../etc"), "etc");
        assert_eq!(slug("名前"), "athlete");
        assert!(slug(&"x".repeat(300)).len() <= 40);
    }
}

//! Names and texts from strangers in a form that harms no terminal and no table, and that tells names apart.

use std::borrow::Cow;
use std::fmt::Write;

/// Whether a character does something other than to be seen: control characters (C0, DEL, C1), line separators, and the
/// marks, embeddings, overrides and isolates of direction (The Unicode Standard, section 23.2; UAX #9).
fn acts(letter: char) -> bool {
    letter.is_control()
        || matches!(letter, '\u{61c}' | '\u{200e}' | '\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
}

/// A text with every character that acts on a terminal or turns the direction of reading written as `\u001b`, but those in
/// `kept`.
///
/// ```
/// assert_eq!(boutwise_track::shown("red \u{1b}[31m\n", &['\n']), "red \\u001b[31m\n");
/// assert_eq!(boutwise_track::shown("\u{202e}gpx.nur", &[]), "\\u202egpx.nur");
/// ```
pub fn shown<'t>(text: &'t str, kept: &[char]) -> Cow<'t, str> {
    let is_hidden = |letter: char| acts(letter) && !kept.contains(&letter);
    // Most texts are letters, digits and blanks of ASCII, which many at a time tell.
    let is_plain = text.bytes().fold(true, |plain, byte| plain & (b' '..0x7f).contains(&byte));
    if is_plain || !text.contains(is_hidden) {
        return Cow::Borrowed(text);
    }
    let mut plain = String::with_capacity(text.len() + 16);
    for letter in text.chars() {
        if is_hidden(letter) { escape(letter, &mut plain) } else { plain.push(letter) }
    }
    Cow::Owned(plain)
}

/// The name of a file or folder as it stands in every table: what acts is written as `\u001b`, bytes that are no UTF-8 as
/// `\xff`, and a backslash as `\u005c`. Two names are never written alike, and each can be read back.
///
/// ```
/// use boutwise_track::plain_name;
/// assert_eq!(plain_name("Zoé's run.gpx".as_bytes()), "Zoé's run.gpx");
/// assert_eq!(plain_name(b"Z\xe9"), "Z\\xe9");
/// assert_eq!(plain_name(b"Z\\xe9"), "Z\\u005cxe9");
/// ```
pub fn plain_name(name: &[u8]) -> Cow<'_, str> {
    if let Ok(text) = std::str::from_utf8(name)
        && !text.contains(|letter| acts(letter) || letter == '\\')
    {
        return Cow::Borrowed(text);
    }
    let mut plain = String::with_capacity(name.len() + 16);
    for chunk in name.utf8_chunks() {
        for letter in chunk.valid().chars() {
            if acts(letter) || letter == '\\' { escape(letter, &mut plain) } else { plain.push(letter) }
        }
        for byte in chunk.invalid() {
            // Writing to a string does not fail.
            _ = write!(plain, "\\x{byte:02x}");
        }
    }
    Cow::Owned(plain)
}

/// A path as it stands in every table, from what a person wrote: a backslash parts it as `/` does, unless it begins what
/// [`plain_name`] writes with one.
///
/// ```
/// use boutwise_track::plain_path;
/// assert_eq!(plain_path("mira\\runs\\a.gpx"), "mira/runs/a.gpx");
/// assert_eq!(plain_path("Zo\\xe9\\a\\u000ab.gpx"), "Zo\\xe9/a\\u000ab.gpx");
/// ```
pub fn plain_path(written: &str) -> Cow<'_, str> {
    if !written.contains('\\') {
        return Cow::Borrowed(written);
    }
    let mut plain = String::with_capacity(written.len());
    for (at, letter) in written.char_indices() {
        let parts = letter == '\\' && !reads_as_escape(&written[at + 1..]);
        plain.push(if parts { '/' } else { letter });
    }
    Cow::Owned(plain)
}

/// Whether what follows a backslash makes it one that [`plain_name`] writes: digits as it writes them, of what it escapes.
fn reads_as_escape(rest: &str) -> bool {
    let (digits, is_byte) = match rest.as_bytes() {
        [b'x', ..] => (rest.get(1..3), true),
        [b'u', ..] => (rest.get(1..5), false),
        _ => (None, false),
    };
    let is_written = |digit: u8| digit.is_ascii_digit() || (b'a'..=b'f').contains(&digit);
    let written = digits.filter(|digits| digits.bytes().all(is_written));
    let code = written.and_then(|digits| u32::from_str_radix(digits, 16).ok());
    match code {
        Some(code) if is_byte => code >= 0x80,
        Some(code) => char::from_u32(code).is_some_and(|letter| acts(letter) || letter == '\\'),
        None => false,
    }
}

fn escape(letter: char, plain: &mut String) {
    _ = write!(plain, "\\u{:04x}", u32::from(letter));
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// The name that a plain one stands for.
    fn read_back(plain: &str) -> Vec<u8> {
        let mut name = Vec::new();
        let mut rest = plain;
        while let Some(letter) = rest.chars().next() {
            rest = &rest[letter.len_utf8()..];
            if letter == '\\' && reads_as_escape(rest) {
                let length = if rest.starts_with('x') { 3 } else { 5 };
                let code = u32::from_str_radix(&rest[1..length], 16).unwrap();
                match length {
                    3 => name.push(code as u8),
                    _ => name.extend(char::from_u32(code).unwrap().to_string().bytes()),
                }
                rest = &rest[length..];
            } else {
                name.extend(letter.to_string().bytes());
            }
        }
        name
    }

    #[test]
    fn names_that_are_replaced_alike_stay_apart() {
        let names: [&[u8]; 6] =
            [b"Z\xe9", b"Z\xe8", "Z\u{fffd}".as_bytes(), b"Z\\xe9", b"Z\x1b", b"Z\\u001b"];
        let plain: std::collections::BTreeSet<_> = names.iter().map(|name| plain_name(name)).collect();
        assert_eq!(plain.len(), names.len(), "{plain:?}");
    }

    #[test]
    fn a_backslash_parts_a_path_where_it_escapes_nothing() {
        for (written, path) in [
            ("An\\xE9.gpx", "An/xE9.gpx"),
            ("An\\u2026-03.gpx", "An/u2026-03.gpx"),
            ("An\\x41.gpx", "An/x41.gpx"),
            ("An\\xé.gpx", "An/xé.gpx"),
            ("An\\u202e.gpx", "An\\u202e.gpx"),
        ] {
            assert_eq!(plain_path(written), path);
        }
    }

    proptest! {
        #[test]
        fn every_name_is_read_back_and_does_nothing(
            name in proptest::collection::vec(prop_oneof![any::<u8>(), Just(b'\\'), Just(b'x'), Just(b'u'), 48u8..58], 0..30),
        ) {
            let plain = plain_name(&name);
            prop_assert!(!plain.contains(acts));
            prop_assert_eq!(&*plain_path(&plain), &*plain);
            prop_assert_eq!(read_back(&plain), name.as_slice());
        }

        #[test]
        fn what_is_shown_acts_nowhere(text in "\\PC{0,9}[\u{0}-\u{20}\u{7f}-\u{9f}\u{202a}-\u{202e}]{0,4}\\PC{0,9}") {
            prop_assert!(!shown(&text, &[]).contains(acts));
        }
    }
}

//! From the bytes of a file to text whose markup is ASCII, by what the bytes are and not what they say.
//!
//! All that a recording consists of, its element names and its numbers, is ASCII. So text in UTF-8 and in every
//! single-byte encoding that contains ASCII passes untouched and uncopied, even where a title in it is not what the
//! declaration promises. Only encodings that write ASCII differently are converted. Places in notes count bytes of
//! the text after this step: of the file itself, or of its UTF-8 form where it was converted.

use std::borrow::Cow;

#[cfg(feature = "encodings")]
use encoding_rs::{Encoding, UTF_8, UTF_16BE, UTF_16LE};
use memchr::{memchr_iter, memmem};

use crate::{Note, NoteKind, Place, sniff::Kind};

/// Text with ASCII markup, and what was noted on the way to it.
#[derive(Debug)]
pub(crate) struct Decoded<'a> {
    /// The text; borrowed unless it had to be converted. A byte order mark in UTF-8 is still there.
    pub(crate) text: Cow<'a, [u8]>,
    /// What does not fit the encoding.
    pub(crate) notes: Vec<Note>,
}

/// An encoding that is recognised and not read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Refused {
    Utf16WithoutMarkup,
    #[cfg(not(feature = "encodings"))]
    Utf16,
    Utf32,
    Ebcdic,
}

impl Refused {
    pub(crate) fn kind(self) -> Kind {
        let name = match self {
            Self::Utf16WithoutMarkup => "text in UTF-16 that does not begin as XML",
            #[cfg(not(feature = "encodings"))]
            Self::Utf16 => "text in UTF-16 (this reader was built without the feature `encodings`)",
            Self::Utf32 => "text in UTF-32",
            Self::Ebcdic => "text in EBCDIC",
        };
        Kind { name, advice: "save it as UTF-8", may_hold_recordings: false }
    }
}

/// How far from the start an XML declaration is looked for, in bytes (own choice).
const DECLARATION_BYTES: usize = 1024;

/// Finds the encoding of `bytes` and gives the text.
///
/// Method: XML 1.0 appendix F (byte order mark, then the pattern of `<` and `<?`, then the declaration), with the
/// bytes outranking the declaration wherever both cannot be true.
pub(crate) fn decode(bytes: &[u8]) -> Result<Decoded<'_>, Refused> {
    match wide_form(bytes)? {
        #[cfg(feature = "encodings")]
        Some((ByteOrder::Little, text)) => Ok(convert(UTF_16LE, text)),
        #[cfg(feature = "encodings")]
        Some((ByteOrder::Big, text)) => Ok(convert(UTF_16BE, text)),
        #[cfg(not(feature = "encodings"))]
        Some(_) => Err(Refused::Utf16),
        None => Ok(decode_narrow(bytes)),
    }
}

/// Which byte of a unit of two stands first.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum ByteOrder {
    Little,
    Big,
}

/// The order of bytes in text of two-byte units, and the text; `None` for units of one byte.
fn wide_form(bytes: &[u8]) -> Result<Option<(ByteOrder, &[u8])>, Refused> {
    match bytes {
        [0xff, 0xfe, 0, 0, ..] | [0, 0, 0xfe, 0xff, ..] | [b'<', 0, 0, 0, ..] | [0, 0, 0, b'<', ..] => {
            return Err(Refused::Utf32);
        }
        // A mark of UTF-16 before text of single bytes: written by a program that changed only the mark.
        [0xff, 0xfe, b'<', next, ..] | [0xfe, 0xff, b'<', next, ..] if *next != 0 => return Ok(None),
        [0xff, 0xfe, text @ ..] => return Ok(Some((ByteOrder::Little, text))),
        [0xfe, 0xff, text @ ..] => return Ok(Some((ByteOrder::Big, text))),
        // "<?xm" in EBCDIC.
        [0x4c, 0x6f, 0xa7, 0x94, ..] => return Err(Refused::Ebcdic),
        _ => {}
    }
    let (units, _) = bytes.as_chunks();
    let is_blank = |letter: &u8, zero: &u8| *zero == 0 && letter.is_ascii_whitespace();
    if let Some([b'<', 0]) = units.iter().find(|[letter, zero]| !is_blank(letter, zero)) {
        return Ok(Some((ByteOrder::Little, bytes)));
    }
    if let Some([0, b'<']) = units.iter().find(|[zero, letter]| !is_blank(letter, zero)) {
        return Ok(Some((ByteOrder::Big, bytes)));
    }
    // ASCII in UTF-16 is every second byte zero; eight such units in a row are no chance.
    const TELLING_UNITS: usize = 8;
    if let Some(opening) = units.get(..TELLING_UNITS)
        && (opening.iter().all(|[a, b]| *a == 0 && *b != 0)
            || opening.iter().all(|[a, b]| *a != 0 && *b == 0))
    {
        return Err(Refused::Utf16WithoutMarkup);
    }
    Ok(None)
}

#[cfg(feature = "encodings")]
fn decode_narrow(bytes: &[u8]) -> Decoded<'_> {
    let label = declared_label(bytes);
    let declared = label.map(|label| (label, Encoding::for_label(label)));
    match declared {
        Some((_, Some(encoding))) if encoding.is_single_byte() => {
            Decoded { text: Cow::Borrowed(bytes), notes: Vec::new() }
        }
        // Declared UTF-16 in single bytes contradicts itself, as does "replacement"; the bytes decide.
        Some((_, Some(encoding))) if encoding != UTF_8 && encoding.output_encoding() == encoding => {
            convert(encoding, bytes)
        }
        Some((_, None)) => {
            let mut decoded = pass_as_utf_8(bytes);
            decoded.notes.insert(0, Note::new(NoteKind::UnknownEncoding, ""));
            decoded
        }
        _ => pass_as_utf_8(bytes),
    }
}

/// What is declared cannot be looked up, so that all but UTF-8 and its part ASCII is noted as unknown.
#[cfg(not(feature = "encodings"))]
fn decode_narrow(bytes: &[u8]) -> Decoded<'_> {
    let mut decoded = pass_as_utf_8(bytes);
    let is_known = |label: &[u8]| {
        [&b"utf-8"[..], b"utf8", b"us-ascii", b"ascii"].iter().any(|known| label.eq_ignore_ascii_case(known))
    };
    if declared_label(bytes).is_some_and(|label| !is_known(label)) {
        decoded.notes.insert(0, Note::new(NoteKind::UnknownEncoding, ""));
    }
    decoded
}

/// Text that is UTF-8 or ought to be, untouched, with a note where it is not.
fn pass_as_utf_8(bytes: &[u8]) -> Decoded<'_> {
    let mut notes = Vec::new();
    // Where it is not all UTF-8, the standard library tells the place.
    if simdutf8::basic::from_utf8(bytes).is_err()
        && let Err(error) = std::str::from_utf8(bytes)
    {
        let first = error.valid_up_to();
        let count = bytes.utf8_chunks().filter(|chunk| !chunk.invalid().is_empty()).count() as u64;
        let detail = format!("not UTF-8: at byte {first}");
        notes.push(Note {
            place: Some(Place::of(bytes, first)),
            count,
            ..Note::new(NoteKind::Encoding, &detail)
        });
    }
    Decoded { text: Cow::Borrowed(bytes), notes }
}

#[cfg(feature = "encodings")]
fn convert(encoding: &'static Encoding, bytes: &[u8]) -> Decoded<'static> {
    let (text, had_errors) = encoding.decode_without_bom_handling(bytes);
    let mut notes = Vec::new();
    if had_errors {
        let first = text.find(char::REPLACEMENT_CHARACTER).unwrap_or_default();
        let detail = format!("not {}: at byte {first} of the text as UTF-8", encoding.name());
        notes.push(Note {
            place: Some(Place::of(text.as_bytes(), first)),
            count: text.matches(char::REPLACEMENT_CHARACTER).count() as u64,
            ..Note::new(NoteKind::Encoding, &detail)
        });
    }
    Decoded { text: Cow::Owned(text.into_owned().into_bytes()), notes }
}

/// The value of `encoding` in the XML declaration, as it stands there.
fn declared_label(bytes: &[u8]) -> Option<&[u8]> {
    let head = bytes.get(..DECLARATION_BYTES).unwrap_or(bytes);
    // Nearly always at the very start; a search costs more there than all that follows.
    let begin = if head.starts_with(b"<?xml") { 0 } else { memmem::find(head, b"<?xml")? };
    let rest = head.get(begin..)?;
    let mut ends = memchr_iter(b'>', rest).filter_map(|at| rest.get(..at));
    let declaration = ends.find(|declaration| declaration.ends_with(b"?"))?;
    let at = declaration.windows(b"encoding".len()).position(|word| word == b"encoding")?;
    let value = declaration.get(at + b"encoding".len()..)?.trim_ascii_start();
    let value = value.strip_prefix(b"=")?.trim_ascii_start();
    let (&quote, value) = value.split_first().filter(|(quote, _)| matches!(quote, b'"' | b'\''))?;
    value.get(..memchr::memchr(quote, value)?)
}

#[cfg(test)]
mod tests {
    use super::*;

    const TEXT: &str = "<?xml version='1.0'?><gpx creator='Läufer'/>";

    fn wide(text: &str, unit: fn(u16) -> [u8; 2]) -> Vec<u8> {
        text.encode_utf16().flat_map(unit).collect()
    }

    #[test]
    fn utf_8_is_not_copied() {
        for text in [TEXT.to_owned(), format!("\u{feff}{TEXT}")] {
            let decoded = decode(text.as_bytes()).unwrap();
            assert!(matches!(decoded.text, Cow::Borrowed(same) if same == text.as_bytes()));
            assert!(decoded.notes.is_empty());
        }
    }

    #[test]
    #[cfg(feature = "encodings")]
    fn utf_16_is_read_in_both_orders_with_and_without_mark() {
        for (unit, mark) in
            [(u16::to_le_bytes as fn(u16) -> [u8; 2], [0xff, 0xfe]), (u16::to_be_bytes, [0xfe, 0xff])]
        {
            let bare = wide(TEXT, unit);
            assert_eq!(decode(&bare).unwrap().text, TEXT.as_bytes());
            let marked = [&mark[..], &bare].concat();
            assert_eq!(decode(&marked).unwrap().text, TEXT.as_bytes());
            let after_blanks = wide(&format!("\r\n {TEXT}"), unit);
            assert_eq!(decode(&after_blanks).unwrap().text.trim_ascii_start(), TEXT.as_bytes());
        }
    }

    #[test]
    fn encodings_that_are_not_read_are_named() {
        let plain = wide("lat;lon;time;x", u16::to_be_bytes);
        assert_eq!(decode(&plain).unwrap_err(), Refused::Utf16WithoutMarkup);
        assert_eq!(decode(b"<\0\0\0?\0\0\0").unwrap_err(), Refused::Utf32);
        assert_eq!(decode(b"\x4c\x6f\xa7\x94\x93").unwrap_err(), Refused::Ebcdic);
    }

    #[test]
    #[cfg(feature = "encodings")]
    fn a_declared_single_byte_encoding_passes_without_a_note() {
        let bytes = b"<?xml version='1.0' encoding=\"ISO-8859-1\"?><gpx creator='L\xe4ufer'/>";
        let decoded = decode(bytes).unwrap();
        assert_eq!(decoded.text, &bytes[..]);
        assert!(decoded.notes.is_empty());
    }

    #[test]
    fn bytes_that_are_not_utf_8_are_noted_with_their_place() {
        let bytes =
            b"<?xml version='1.0' encoding='UTF-8'?>\n<gpx creator='L\xe4ufer'><name>\xfcber</name></gpx>";
        let decoded = decode(bytes).unwrap();
        assert_eq!(decoded.text, &bytes[..]);
        let place = decoded.notes[0].place.unwrap();
        assert_eq!((place.byte, place.line, decoded.notes[0].count), (54, 2, 2));
    }

    #[test]
    #[cfg(feature = "encodings")]
    fn a_false_declaration_of_utf_16_is_overruled_by_the_bytes() {
        let bytes = "<?xml version='1.0' encoding='UTF-16'?><gpx/>".as_bytes();
        assert!(matches!(decode(bytes).unwrap().text, Cow::Borrowed(same) if same == bytes));
    }

    #[test]
    #[cfg(feature = "encodings")]
    fn a_multi_byte_encoding_is_converted() {
        // ISO-2022-JP writes letters in bytes that look like markup: U+3042 is ESC $ B $ " ESC ( B.
        let bytes = b"<?xml version='1.0' encoding='iso-2022-jp'?><gpx creator='\x1b$B$\"\x1b(B'/>";
        let decoded = decode(bytes).unwrap();
        assert!(decoded.text.ends_with("creator='あ'/>".as_bytes()));
    }

    #[test]
    #[cfg(not(feature = "encodings"))]
    fn without_the_feature_utf_16_is_refused_and_the_rest_is_read_as_it_is() {
        assert_eq!(decode(&wide(TEXT, u16::to_le_bytes)).unwrap_err(), Refused::Utf16);
        let latin = b"<?xml version='1.0' encoding=\"ISO-8859-1\"?><gpx creator='L\xe4ufer'/>";
        let decoded = decode(latin).unwrap();
        assert_eq!(decoded.text, &latin[..]);
        assert_eq!(decoded.notes[0].kind, NoteKind::UnknownEncoding);
    }
}

//! Eight bytes at a time, as a number whose lowest byte is the first.
//!
//! Tests of all eight bytes at once give *marks*: the highest bit of each byte that fits. Only the lowest mark counts; a
//! borrow may set false ones above it (Warren 2013, *Hacker's Delight*, 6-1).

use crate::lex::is_blank;

/// A one in each byte.
pub(crate) const EACH: u64 = 0x0101_0101_0101_0101;

const HIGHEST: u64 = EACH * 0x80;

/// The eight bytes at `at`; `None` near the end of the text.
#[inline]
pub(crate) fn eight(text: &[u8], at: usize) -> Option<u64> {
    Some(u64::from_le_bytes(*text.get(at..)?.first_chunk()?))
}

/// How many bytes stand before the lowest mark; 8 where there is none.
#[inline]
pub(crate) fn before(marks: u64) -> usize {
    marks.trailing_zeros() as usize / 8
}

/// The bits of all bytes up to the lowest mark; all bits where there is none.
#[inline]
pub(crate) fn up_to(marks: u64) -> u64 {
    marks ^ marks.wrapping_sub(1)
}

/// Marks bytes equal to `byte`.
#[inline]
pub(crate) fn equal(bytes: u64, byte: u8) -> u64 {
    let others = bytes ^ (EACH * u64::from(byte));
    others.wrapping_sub(EACH) & !others & HIGHEST
}

/// Marks bytes below `limit`, which is at most 128.
#[inline]
pub(crate) fn below(bytes: u64, limit: u8) -> u64 {
    bytes.wrapping_sub(EACH * u64::from(limit)) & !bytes & HIGHEST
}

/// Marks bytes that are no blanks, each of them rightly.
#[inline]
fn no_blanks(bytes: u64) -> u64 {
    let differs = |byte: u8| {
        let others = bytes ^ (EACH * u64::from(byte));
        ((others & !HIGHEST) + !HIGHEST) | others
    };
    differs(b' ') & differs(b'\t') & differs(b'\n') & differs(b'\r') & HIGHEST
}

/// Where the blanks at `at` end.
#[inline]
pub(crate) fn behind_blanks(text: &[u8], mut at: usize) -> usize {
    while let Some(bytes) = eight(text, at) {
        let count = before(no_blanks(bytes));
        at += count;
        if count < 8 {
            return at;
        }
    }
    at + text[at..].iter().take_while(|&&byte| is_blank(byte)).count()
}

/// Where `byte` stands first in the text, if that is among about the first `most` bytes and not near the end.
#[inline]
pub(crate) fn find(text: &[u8], byte: u8, most: usize) -> Option<usize> {
    let mut at = 0;
    while at < most {
        let marks = equal(eight(text, at)?, byte);
        if marks != 0 {
            return Some(at + before(marks));
        }
        at += 8;
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Bytes about which markup turns, and their neighbours.
    fn bytes() -> impl Strategy<Value = Vec<u8>> {
        let byte =
            prop_oneof![any::<u8>(), prop::sample::select(b"\x00\x08\t\n\x0b\x0c\r\x1f !&<=>;:".to_vec())];
        prop::collection::vec(byte, 8..40)
    }

    proptest! {
        #[test]
        fn words_find_what_bytes_find(text in bytes(), byte in any::<u8>(), limit in 0_u8..=128) {
            let word = eight(&text, 0).unwrap();
            let first = |fits: &dyn Fn(u8) -> bool| text[..8].iter().position(|&byte| fits(byte)).unwrap_or(8);
            prop_assert_eq!(before(equal(word, byte)), first(&|other| other == byte));
            prop_assert_eq!(before(equal(word, text[3])), first(&|other| other == text[3]));
            prop_assert_eq!(before(below(word, limit)), first(&|byte| byte < limit));
            prop_assert_eq!(before(no_blanks(word)), first(&|byte| !is_blank(byte)));
        }

        #[test]
        fn blanks_end_where_they_end(blanks in "[ \t\r\n]{0,30}", text in bytes()) {
            let text = [blanks.as_bytes(), &text].concat();
            let end = text.iter().position(|&byte| !is_blank(byte)).unwrap_or(text.len());
            prop_assert_eq!(behind_blanks(&text, 0), end);
        }
    }
}

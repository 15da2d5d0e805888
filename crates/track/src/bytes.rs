//! Bytes of a text that are looked for again in it.

use crate::words::eight;

/// Such bytes: the first sixteen as two words, so that they are compared without a
/// branch whatever their number.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Bytes {
    words: [u64; 2],
    at: usize,
    length: usize,
}

/// Bits of the first so many bytes of two words.
const FIRST: [[u64; 2]; 17] = {
    let mut masks = [[u64::MAX; 2]; 17];
    let mut length = 0;
    while length < 16 {
        if length < 8 {
            masks[length] = [(1 << (8 * length)) - 1, 0];
        } else {
            masks[length][1] = (1 << (8 * (length - 8))) - 1;
        }
        length += 1;
    }
    masks
};

impl Bytes {
    /// The `length` bytes at `at`.
    #[inline]
    pub(crate) fn of(text: &[u8], at: usize, length: usize) -> Self {
        let mut sixteen = [0; 16];
        for (into, byte) in sixteen.iter_mut().zip(text.get(at..at + length).unwrap_or_default()) {
            *into = *byte;
        }
        let (first, second) = sixteen.split_at(8);
        let word = |eight: &[u8]| eight.try_into().map_or(0, u64::from_le_bytes);
        Self { words: [word(first), word(second)], at, length }
    }

    /// Only the first `length` of them.
    #[inline]
    pub(crate) fn first(self, length: usize) -> Self {
        Self { length, ..self }
    }

    /// How many they are.
    #[inline]
    pub(crate) fn len(&self) -> usize {
        self.length
    }

    /// They themselves.
    #[inline]
    pub(crate) fn text<'a>(&self, text: &'a [u8]) -> &'a [u8] {
        text.get(self.at..self.at + self.length).unwrap_or_default()
    }

    /// Whether the same bytes stand at `at`; may be false in the last sixteen bytes of the text though they do.
    #[inline(always)]
    pub(crate) fn stand_at(&self, text: &[u8], at: usize) -> bool {
        let (Some(first), Some(second)) = (eight(text, at), eight(text, at + 8)) else { return false };
        let masks = FIRST[self.length.min(16)];
        let differ = (first ^ self.words[0]) & masks[0] | (second ^ self.words[1]) & masks[1];
        differ == 0 && (self.length <= 16 || self.all_stand_at(text, at))
    }

    #[inline(never)]
    fn all_stand_at(&self, text: &[u8], at: usize) -> bool {
        text.get(at..at + self.length) == Some(self.text(text))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn the_same_bytes_are_found(text in prop::collection::vec(any::<u8>(), 8..40), length in 0_usize..40, at in 0_usize..40, change in any::<bool>()) {
            let length = length.min(text.len());
            let mut twice = [&text[..], &text, &[0; 16]].concat();
            let bytes = Bytes::of(&twice, 0, length);
            prop_assert!(bytes.stand_at(&twice, text.len()));
            prop_assert!(!bytes.stand_at(&twice, twice.len()));
            if change && at < length {
                twice[text.len() + at] ^= 1;
                prop_assert!(!bytes.stand_at(&twice, text.len()));
                prop_assert!(bytes.first(at).stand_at(&twice, text.len()));
            }
        }
    }
}

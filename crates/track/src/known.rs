//! Elements known again by the bytes of their tags.
//!
//! What an element inside a point means depends on its parent and its name. So a start tag that is written as one before
//! it, below a parent of the same meaning, means the same, and need be neither cut into tokens nor looked up by name.
//! Points whose elements stand in ever other order, with these or those of them missing, have no layout (`layout.rs`),
//! but they have the same few tags. As with layouts, whatever is not plain is left to the lexer: `docs/reading.md` has
//! the reasoning.

use crate::bytes::Bytes;
use crate::note::Quantity;
use crate::walk::Role;
use crate::words;

/// How many tags are known at one time; one that falls on the place of another takes it (own choice).
const PLACES: usize = 64;

/// Longest tag that is known, in bytes (own choice; a device's name of its extensions takes about 80).
const MAX_TAG_BYTES: usize = 256;

/// What a known element is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Meaning<N> {
    /// A value of a point.
    Value(Quantity),
    /// Anything else.
    Other {
        /// What it is.
        node: N,
        /// Its role.
        role: Role,
        /// Whether it declares a namespace.
        declares: bool,
    },
}

/// A start tag.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Tag<N> {
    /// All of it, from the name to its `>`.
    bytes: Bytes,
    name_length: usize,
    parent: N,
    /// What it means below its parent.
    pub(crate) meaning: Meaning<N>,
}

impl<N> Tag<N> {
    /// How many bytes stand from its name to its `>`, both included.
    #[inline]
    pub(crate) fn len(&self) -> usize {
        self.bytes.len()
    }

    /// Its name.
    #[inline]
    pub(crate) fn name(&self) -> Bytes {
        self.bytes.first(self.name_length)
    }
}

/// The tags that are known.
#[derive(Debug)]
pub(crate) struct Known<N> {
    /// The first eight bytes of each from the name on, those behind its `>` zero; 0 where there is none.
    keys: [u64; PLACES],
    tags: [Tag<N>; PLACES],
}

impl<N: Copy + PartialEq> Known<N> {
    /// None yet; `document` stands for a node.
    pub(crate) fn new(document: N) -> Self {
        let meaning = Meaning::Other { node: document, role: Role::Unneeded, declares: false };
        let none = Tag { bytes: Bytes::default(), name_length: 0, parent: document, meaning };
        Self { keys: [0; PLACES], tags: [none; PLACES] }
    }

    #[inline]
    fn key(text: &[u8], name_at: usize) -> Option<u64> {
        let bytes = words::eight(text, name_at)?;
        Some(bytes & words::up_to(words::equal(bytes, b'>')))
    }

    /// The place of a key, from the highest bits of its product with the golden ratio of 2⁶⁴ (Knuth, TAOCP 6.4).
    #[inline]
    fn place(key: u64) -> usize {
        (key.wrapping_mul(0x9E37_79B9_7F4A_7C15) >> 58) as usize % PLACES
    }

    /// The tag that is written at `name_at`, if it is known below `parent`.
    #[inline]
    pub(crate) fn find(&self, text: &[u8], name_at: usize, parent: N) -> Option<&Tag<N>> {
        let key = Self::key(text, name_at)?;
        let place = Self::place(key);
        // Where another has its place, it may stand beside it: told without a branch, as it is for some and not for others.
        let place = place ^ usize::from(self.keys[place] != key);
        let tag = &self.tags[place];
        // No name begins with a zero, so that what is in no place is no tag.
        let is_it =
            key != 0 && self.keys[place] == key && tag.parent == parent && tag.bytes.stand_at(text, name_at);
        is_it.then_some(tag)
    }

    /// Learns what the tag with this name that ends at `end` means below `parent`.
    pub(crate) fn learn(
        &mut self,
        text: &[u8],
        name_at: usize,
        name_length: usize,
        end: usize,
        parent: N,
        meaning: Meaning<N>,
    ) {
        let length = end - name_at;
        let Some(key) = Self::key(text, name_at).filter(|_| length <= MAX_TAG_BYTES) else { return };
        let place = Self::place(key);
        let is_taken = self.keys[place] != key && self.keys[place] != 0;
        let place = place ^ usize::from(is_taken);
        self.keys[place] = key;
        self.tags[place] = Tag { bytes: Bytes::of(text, name_at, length), name_length, parent, meaning };
    }
}

/// Where the end tag of `name` ends that stands at `at`; `None` where another thing stands there.
#[inline]
pub(crate) fn behind_end_tag(text: &[u8], at: usize, name: &Bytes) -> Option<usize> {
    let end = at + 2 + name.len();
    let closes =
        text.get(at..at + 2)? == b"</" && name.stand_at(text, at + 2) && text.get(end) == Some(&b'>');
    closes.then_some(end + 1)
}

/// Where the text at `at` ends, which is the next `<`; `None` where it holds what is to be noted, or what may be.
#[inline]
pub(crate) fn plain_end(text: &[u8], at: usize) -> Option<usize> {
    let mut end = at;
    loop {
        let bytes = words::eight(text, end)?;
        let stops = words::below(bytes, b' ') | words::equal(bytes, b'<') | words::equal(bytes, b'&');
        end += words::before(stops);
        if stops != 0 {
            return (text[end] == b'<').then_some(end);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What is known of `second` below parent 1, after `first` was learnt there: the length of its tag.
    fn known(first: &str, second: &str) -> Option<usize> {
        let text = format!("{first} {second} and sixteen bytes more");
        let mut tags = Known::new(0);
        let name_length = first.find([' ', '>']).unwrap();
        tags.learn(text.as_bytes(), 0, name_length, first.len(), 1, Meaning::Value(Quantity::Speed));
        let name_at = first.len() + 1;
        assert!(tags.find(text.as_bytes(), name_at, 2).is_none(), "{second} below another parent");
        let tag = tags.find(text.as_bytes(), name_at, 1)?;
        assert_eq!(tag.name().text(text.as_bytes()), &first.as_bytes()[..name_length]);
        Some(tag.len())
    }

    #[test]
    fn the_same_tag_is_known_again_and_no_other() {
        for tag in
            ["a>", "hr>", "x:speed>", "x:cadence>", "LongitudeDegrees>", "x:Extension xmlns:x=\"urn:x\">"]
        {
            assert_eq!(known(tag, tag), Some(tag.len()), "{tag}");
            assert_eq!(known(tag, &format!("{tag}5")), Some(tag.len()), "{tag}");
            for at in 0..tag.len() {
                let mut other = tag.as_bytes().to_vec();
                other[at] ^= 1;
                assert_eq!(known(tag, std::str::from_utf8(&other).unwrap()), None, "{tag} at {at}");
                assert_eq!(known(tag, &tag[..at]), None, "{tag} up to {at}");
                assert_eq!(known(tag, &tag[at + 1..]), None, "{tag} from {at}");
            }
        }
        let nothing = Known::new(0);
        for text in [[0; 40], [b'a'; 40]] {
            assert!(nothing.find(&text, 0, 0).is_none(), "{text:?}");
        }
        let long = format!("name {}>", "x".repeat(MAX_TAG_BYTES));
        assert_eq!(known(&long, &long), None);
    }

    #[test]
    fn tags_of_one_place_stand_beside_each_other_and_more_push_each_other_out() {
        let names: Vec<String> = (0..1000).map(|number| format!("n{number}>")).collect();
        let same = |name: &&String| {
            let key = |name: &str| Known::<u8>::key(format!("{name}        ").as_bytes(), 0).unwrap();
            Known::<u8>::place(key(name)) == Known::<u8>::place(key("n0>"))
        };
        let [first, second, third] = *names.iter().filter(same).take(3).collect::<Vec<_>>() else { panic!() };
        let text = format!("{first}{second}{third} and sixteen bytes more");
        let at = [0, first.len(), first.len() + second.len()];
        let mut tags = Known::new(0);
        let mut found = |learn: usize| {
            let length = [first, second, third][learn].len();
            let meaning = Meaning::Value(Quantity::Speed);
            tags.learn(text.as_bytes(), at[learn], length - 1, at[learn] + length, 1, meaning);
            at.map(|name_at| tags.find(text.as_bytes(), name_at, 1).is_some())
        };
        assert_eq!(found(0), [true, false, false]);
        assert_eq!(found(1), [true, true, false]);
        assert_eq!(found(1), [true, true, false]);
        assert_eq!(found(2), [true, false, true]);
    }

    #[test]
    fn plain_text_ends_at_the_next_tag_and_an_end_tag_bears_the_name() {
        for (text, end) in [
            ("12.5</ele> and more", Some(4)),
            ("</ele> and more", Some(0)),
            ("twelve and \u{bd}</ele> and more", Some(13)),
            ("1&amp;2</ele> and more", None),
            ("1\n2</ele> and more", None),
            ("1\0</ele> and more", None),
            ("12.5 and no end", None),
        ] {
            assert_eq!(plain_end(text.as_bytes(), 0), end, "{text}");
        }
        let text = b"<ele></ele></elf></ele ></ele";
        let name = Bytes::of(text, 1, 3);
        assert_eq!(behind_end_tag(text, 5, &name), Some(11));
        for at in [0, 4, 6, 11, 17, 24, 29, 40] {
            assert_eq!(behind_end_tag(text, at, &name), None, "{at}");
        }
    }
}

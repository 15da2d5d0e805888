//! The shortest way through points that are written alike to the byte: the last one laid under the next one.
//!
//! Most points of a file are as long as the one before them and differ in digits alone. So a point is held against the
//! last one sixteen bytes at a time, each of which is to be the same, or a digit where there was a digit; what its
//! numbers are is then read from where they stand. Wherever anything else differs, `layout.rs` takes the point.

use std::ops::Range;

use crate::note::Quantity;
use crate::number::Shape;
use crate::raw::Collector;

/// Bytes that are compared at a time.
const CHUNK: usize = 16;
/// Longest point that gets a stencil, in bytes (own choice: some kilobytes are no point that a watch writes).
const LONGEST: usize = 2048;

/// A value of a point, by where it stands.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Value {
    /// A number of this shape.
    Number(Quantity, Shape),
    Time,
    Unneeded,
}

/// A point under which the next one is laid.
///
/// With `x` the bits in which a byte differs from `like`, none of `(x + more) | x` may lie in `mask`: for a byte that is to be the
/// same that is any bit; for a digit, held against `0`, one of the upper four, with 6 added so that more than 9 reaches them.
#[derive(Debug, Default)]
pub(crate) struct Stencil {
    like: Vec<u8>,
    more: Vec<u8>,
    mask: Vec<u8>,
    /// The numbers, and where they begin.
    numbers: Vec<(Quantity, Shape, usize)>,
    /// The times, and where they begin and end.
    times: Vec<Range<usize>>,
}

impl Stencil {
    /// Begins anew with a point, of which every byte is to be the same so far.
    pub(crate) fn begin(&mut self, point: &[u8]) {
        self.clear();
        if (CHUNK..=LONGEST).contains(&point.len()) {
            self.like.extend_from_slice(point);
            self.more.resize(point.len(), 0);
            self.mask.resize(point.len(), u8::MAX);
        }
    }

    fn clear(&mut self) {
        [&mut self.like, &mut self.more, &mut self.mask].into_iter().for_each(Vec::clear);
        self.numbers.clear();
        self.times.clear();
    }

    /// Tells what stands at a place of it.
    pub(crate) fn add(&mut self, value: Value, place: Range<usize>) {
        match value {
            // A number that is not plain is never found by its shape.
            Value::Number(_, shape) if shape.len() != place.len() => self.clear(),
            Value::Number(quantity, shape) => self.numbers.push((quantity, shape, place.start)),
            Value::Time => self.times.push(place.clone()),
            Value::Unneeded => {}
        }
        let Some(like) = self.like.get_mut(place.clone()) else { return };
        for ((like, more), mask) in
            like.iter_mut().zip(&mut self.more[place.clone()]).zip(&mut self.mask[place])
        {
            match (value, *like) {
                // Times are looked at when they are read.
                (Value::Time, _) => *mask = 0,
                (_, b'0'..=b'9') => (*like, *more, *mask) = (b'0', 6, 0xF0),
                _ => {}
            }
        }
    }

    /// Whether each byte of a point as long as this may stand there.
    #[inline(always)]
    fn fits(&self, point: &[u8]) -> bool {
        let mut differs = [0; CHUNK];
        let mut hold = |text: &[u8; CHUNK], like: &[u8; CHUNK], more: &[u8; CHUNK], mask: &[u8; CHUNK]| {
            for at in 0..CHUNK {
                let x = text[at] ^ like[at];
                differs[at] |= (x.wrapping_add(more[at]) | x) & mask[at];
            }
        };
        let [texts, likes, mores, masks] =
            [point, &self.like, &self.more, &self.mask].map(|bytes| bytes.as_chunks::<CHUNK>().0);
        for (((text, like), more), mask) in texts.iter().zip(likes).zip(mores).zip(masks) {
            hold(text, like, more, mask);
        }
        // The bytes after the last whole chunk, with some before them.
        let [text, like, more, mask] =
            [point, &self.like, &self.more, &self.mask].map(|bytes| bytes.last_chunk::<CHUNK>());
        let (Some(text), Some(like), Some(more), Some(mask)) = (text, like, more, mask) else { return false };
        hold(text, like, more, mask);
        u128::from_ne_bytes(differs) == 0
    }

    /// Takes the point at `at` of a text, blanks before it included, which are so many bytes; gives its end, or nothing where it
    /// is not written like the last one. Values may have been taken then.
    #[inline]
    pub(crate) fn take(
        &self,
        text: &[u8],
        at: usize,
        blanks: usize,
        collector: &mut Collector,
    ) -> Option<usize> {
        let end = at + self.like.len();
        if !self.fits(text.get(at..end)?) {
            return None;
        }
        collector.begin_point(at + blanks);
        for place in &self.times {
            let (time, length) = collector.plain_times.read(&text[at + place.start..])?;
            if length != place.len() {
                return None;
            }
            collector.take_time(time);
        }
        for (quantity, shape, begin) in &self.numbers {
            if !collector.take_number(*quantity, shape.value(&text[at + begin..])?) {
                return None;
            }
        }
        collector.end_point(true);
        Some(end)
    }
}

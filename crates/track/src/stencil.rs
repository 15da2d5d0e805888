//! The shortest way through points that are written alike to the byte: the last one laid under the next one.
//!
//! Most points of a file are as long as the one before them and differ in digits alone. So a point is held against the
//! last one sixteen bytes at a time, each of which is to be the same, or a digit where there was a digit; what its
//! numbers are is then read from where they stand. Wherever anything else differs, `layout.rs` takes the point.

use std::ops::Range;

use crate::note::Quantity;
use crate::number::{Reader, Shape};
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
    /// The numbers, and what reads them.
    numbers: Vec<(Quantity, Reader)>,
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
        let has_plus = self.like.get(place.start) == Some(&b'+');
        match value {
            Value::Number(quantity, shape) => match shape.reader(place.start) {
                Some(reader) if shape.len() == place.len() && !has_plus => {
                    self.numbers.push((quantity, reader));
                }
                // A number that is not plain is not found by its shape, nor is a plus.
                _ => self.clear(),
            },
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
        for (quantity, reader) in &self.numbers {
            if !collector.take_number(*quantity, reader.read(&text[at..])?) {
                return None;
            }
        }
        collector.end_point(true);
        Some(end)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ReadSettings;
    use crate::number;
    use crate::timestamp::PlainTimes;

    const POINT: &[u8] = b"\n<trkpt lat='-41.5500098' lon='2.5'><ele>7</ele><sat>8b9</sat>\
        <time>2025-03-01T10:00:00Z</time></trkpt>";

    fn place_of(text: &[u8]) -> Range<usize> {
        let begin = POINT.windows(text.len()).position(|part| part == text).unwrap();
        begin..begin + text.len()
    }

    fn shape_of(text: &[u8]) -> Shape {
        let mut shape = Shape::default();
        let longer = [text, &[b'<'; 40]].concat();
        number::leading_like(&longer, &mut shape).unwrap();
        shape
    }

    /// The stencil of the point above.
    fn stencil() -> Stencil {
        let mut stencil = Stencil::default();
        stencil.begin(POINT);
        for (quantity, text) in [
            (Quantity::Latitude, &b"-41.5500098"[..]),
            (Quantity::Longitude, b"2.5"),
            (Quantity::Elevation, b"7"),
        ] {
            stencil.add(Value::Number(quantity, shape_of(text)), place_of(text));
        }
        stencil.add(Value::Unneeded, place_of(b"8b9"));
        stencil.add(Value::Time, place_of(b"2025-03-01T10:00:00Z"));
        stencil
    }

    /// The columns that are taken of a point, which more follows.
    fn taken(point: &[u8]) -> Option<[f64; 4]> {
        let text = [b"....", point, b"<trkpt lat='1'>"].concat();
        let mut collector = Collector::new(&ReadSettings::default());
        let end = stencil().take(&text, 4, 1, &mut collector)?;
        assert_eq!(end, 4 + point.len());
        let session = &collector.sessions[0];
        assert_eq!(session.point_bytes, [5]);
        let points = &session.points;
        let second = (points.time_ns[0] / 1_000_000_000) as f64;
        Some([points.latitude_deg[0], points.longitude_deg[0], points.elevation_m[0], second])
    }

    #[test]
    fn of_each_byte_only_digits_and_the_time_may_be_others() {
        assert_eq!(taken(POINT), Some([-41.550_009_8, 2.5, 7.0, 1_740_823_200.0]));
        let time = place_of(b"2025-03-01T10:00:00Z");
        for at in 0..POINT.len() {
            for byte in 0..=255 {
                let mut point = POINT.to_vec();
                point[at] = byte;
                let is_digit = POINT[at].is_ascii_digit() && byte.is_ascii_digit();
                let found = taken(&point);
                if time.contains(&at) {
                    let read = PlainTimes::default().read(&point[time.start..]);
                    let second = read.filter(|(_, length)| *length == time.len());
                    let second = second.map(|(time, _)| (time.clock_ns / 1_000_000_000) as f64);
                    assert_eq!(found.map(|of| of[3]), second, "{at} {byte}");
                } else {
                    assert_eq!(found.is_some(), is_digit || byte == POINT[at], "{at} {byte}");
                }
            }
        }
    }

    #[test]
    fn numbers_are_those_that_stand_there() {
        let next = POINT.to_vec();
        let with = |text: &[u8], other: &[u8]| {
            let mut next = next.clone();
            next[place_of(text)].copy_from_slice(other);
            taken(&next)
        };
        assert_eq!(with(b"-41.5500098", b"-09.9000001").map(|of| of[0]), Some(-9.900_000_1));
        assert_eq!(with(b"-41.5500098", b"-00.0000000").map(|of| of[0].to_bits()), Some(0.0_f64.to_bits()));
        assert_eq!(with(b"'2.5'", b"'8.1'").map(|of| of[1]), Some(8.1));
        assert_eq!(with(b"10:00:00", b"23:59:59").map(|of| of[3]), Some(1_740_873_599.0));
        // No latitude is no position, as ever.
        assert!(with(b"-41.5500098", b"-91.0000000").is_some_and(|of| of[0].is_nan() && of[2] == 7.0));
        assert_eq!(with(b"10:00:00", b"24:00:00").map(|of| of[3]), Some(1_740_873_600.0));
        assert_eq!(with(b"10:00:00", b"25:00:00"), None);
    }

    #[test]
    fn what_is_too_short_or_not_plain_has_no_stencil() {
        let mut short = Stencil::default();
        short.begin(&POINT[..CHUNK - 1]);
        assert!(!short.fits(&POINT[..CHUNK - 1]));
        let mut odd = stencil();
        odd.add(Value::Number(Quantity::Elevation, Shape::default()), place_of(b"7"));
        assert!(!odd.fits(POINT));
        let mut signed = Stencil::default();
        let point = [POINT, b"+7.5"].concat();
        signed.begin(&point);
        assert!(signed.fits(&point));
        signed.add(Value::Number(Quantity::Elevation, shape_of(b"+7.5")), POINT.len()..point.len());
        assert!(!signed.fits(&point));
    }
}

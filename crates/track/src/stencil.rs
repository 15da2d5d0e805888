//! The shortest way through points that are written alike to the byte: the last one laid under the next one.
//!
//! Most points of a file are as long as the one before them and differ in digits alone. So a point is held against the
//! last one sixteen bytes at a time, each of which is to be the same, or a digit where there was a digit; what its
//! numbers are is then read from where they stand. Wherever anything else differs, `layout.rs` takes the point.

use std::ops::{Range, RangeInclusive};

use crate::note::Quantity;
use crate::number::{Reader, Shape};
use crate::points::count;
use crate::raw::{Collector, RawSession};
use crate::timestamp::ClockReader;

/// Bytes that are compared at a time.
const CHUNK: usize = 16;
/// Points that are held against it at a time.
const TOGETHER: usize = 4;
/// Most points that are taken at once (own choice: some 20 kB of text, which the nearest cache still has when they are read).
const AT_ONCE: usize = 64;
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

/// A point under which the next ones are laid.
///
/// A byte may stand where one of `like` does if it differs from it, by exclusive or, by no more than `most` says: by nothing where
/// it is to be the same; of a digit, which is held against `0`, its value is left.
#[derive(Debug, Default)]
pub(crate) struct Stencil {
    like: Vec<u8>,
    most: Vec<u8>,
    /// The numbers, and what reads them.
    numbers: Vec<(Quantity, Reader)>,
    time: Option<ClockReader>,
}

impl Stencil {
    /// Begins anew with a point that was read value by value. Points with values of which no shape tells, or about which there may
    /// be something to note, get none.
    pub(crate) fn make(&mut self, point: &[u8], values: impl Iterator<Item = (Value, Range<usize>)> + Clone) {
        self.like.clear();
        self.most.clear();
        self.numbers.clear();
        self.time = None;
        if !(CHUNK..=LONGEST).contains(&point.len()) || self.add_readers(point, values.clone()).is_none() {
            return;
        }
        self.like.extend_from_slice(point);
        self.most.resize(point.len(), 0);
        for (_, place) in values.filter(|(value, _)| *value != Value::Time) {
            self.let_digits_differ(place, [9].into_iter().cycle());
        }
        for (place, most) in self.time.into_iter().flat_map(|time| time.most()) {
            self.let_digits_differ(place, most.into_iter());
        }
    }

    /// Finds what reads the values; `None` where one of them has no reader or stands for a second time, or where half a position
    /// is written.
    fn add_readers(
        &mut self,
        point: &[u8],
        values: impl Iterator<Item = (Value, Range<usize>)>,
    ) -> Option<()> {
        for (value, place) in values {
            match value {
                Value::Number(quantity, shape) => {
                    // A number that is not plain is not found by its shape, nor is a plus.
                    let is_found = shape.len() == place.len() && point.get(place.start) != Some(&b'+');
                    let is_first = self.numbers.iter().all(|(other, _)| *other != quantity);
                    let reader = shape.reader(place.start).filter(|_| is_found && is_first)?;
                    self.numbers.push((quantity, reader));
                }
                Value::Time if self.time.is_some() => return None,
                Value::Time => self.time = Some(ClockReader::new(point, place)?),
                Value::Unneeded => {}
            }
        }
        let has = |quantity: Quantity| self.numbers.iter().any(|(other, _)| *other == quantity);
        (has(Quantity::Latitude) == has(Quantity::Longitude)).then_some(())
    }

    /// Lets other digits, up to so much each, stand for those at a place.
    fn let_digits_differ(&mut self, place: Range<usize>, most: impl Iterator<Item = u8>) {
        let bytes = self.like[place.clone()].iter_mut().zip(&mut self.most[place]).zip(most);
        for ((like, most), new_most) in bytes.filter(|((like, _), _)| like.is_ascii_digit()) {
            (*like, *most) = (b'0', new_most);
        }
    }

    /// Whether each byte of some points as long as this may stand there.
    #[inline(always)]
    fn fits<const N: usize>(&self, points: [&[u8]; N]) -> bool {
        let mut excess = [0; CHUNK];
        let mut hold = |texts: [&[u8; CHUNK]; N], like: &[u8; CHUNK], most: &[u8; CHUNK]| {
            for at in 0..CHUNK {
                for text in texts {
                    excess[at] |= (text[at] ^ like[at]).saturating_sub(most[at]);
                }
            }
        };
        let [likes, mosts] = [&self.like, &self.most].map(|bytes| bytes.as_chunks::<CHUNK>().0);
        let mosts = &mosts[..likes.len()];
        let texts = points.map(|point| &point.as_chunks::<CHUNK>().0[..likes.len()]);
        for index in 0..likes.len() {
            hold(texts.map(|text| &text[index]), &likes[index], &mosts[index]);
        }
        // The bytes after the last whole chunk, with some before them.
        let [like, most] = [&self.like, &self.most].map(|bytes| bytes.last_chunk());
        let (Some(like), Some(most)) = (like, most) else { return false };
        hold(points.map(|point| point.last_chunk().unwrap_or(like)), like, most);
        excess == [0; CHUNK]
    }

    /// Takes the points that follow each other from `at` of a text, blanks before them included, which are so many bytes; gives how
    /// many they are and where they end, or nothing where the first is not written like the last one.
    ///
    /// Up to [`AT_ONCE`] of them are rows of a table: its columns are read one after another, so that what a reader is about is
    /// made out once for all rows. Where a value is out of its range, its point and those behind it are left.
    #[inline]
    pub(crate) fn take(
        &self,
        text: &[u8],
        at: usize,
        blanks: usize,
        collector: &mut Collector,
    ) -> Option<(usize, usize)> {
        let length = self.like.len();
        if length == 0 {
            return None;
        }
        let rest = text.get(at..)?;
        let several = rest.chunks_exact(length * TOGETHER).take(AT_ONCE / TOGETHER);
        let several = several.take_while(|points| {
            self.fits(std::array::from_fn::<_, TOGETHER, _>(|index| &points[index * length..][..length]))
        });
        let fitting = TOGETHER * several.count();
        let single = rest[fitting * length..].chunks_exact(length).take(AT_ONCE - fitting);
        let fitting = fitting + single.take_while(|point| self.fits([point])).count();
        if fitting == 0 {
            return None;
        }
        let count = collector.file(|session| self.read(&rest[..fitting * length], at + blanks, session));
        (count > 0).then(|| (count, at + count * length))
    }

    /// Appends the points of a text that fit, the first of which begins at byte `at`; gives how many they are.
    fn read(&self, text: &[u8], at: usize, session: &mut RawSession) -> usize {
        let length = self.like.len();
        let rows = |count: usize| text.chunks_exact(length).take(count);
        let (begin, bicycle_begin) = (session.points.len(), session.bicycle_cadence_rpm.len());
        let mut count = text.len() / length;
        if let Some(time) = &self.time {
            let column = &mut session.points.time_ns;
            time.read_each(rows(count), column);
            count = first_within(&column[begin..], time.day_ns());
        }
        for (quantity, reader) in &self.numbers {
            let Some(column) = session.column_mut(*quantity) else { continue };
            column.resize(begin, f64::NAN);
            reader.read_each(rows(count), column);
            count = first_within(&column[begin..], quantity.plain_range());
        }
        session.points.fill_up(begin + count);
        match count {
            0 => session.bicycle_cadence_rpm.truncate(bicycle_begin),
            _ if session.bicycle_cadence_rpm.is_empty() => {}
            _ => session.bicycle_cadence_rpm.resize(begin + count, f64::NAN),
        }
        session.point_bytes.extend((at..at + count * length).step_by(length));
        if count > 0 {
            session.utc_offset_s = session.utc_offset_s.or(self.time.and_then(|time| time.utc_offset_s));
        }
        count
    }
}

/// How many values lie in a range before the first that does not.
fn first_within<T: Copy + PartialOrd>(column: &[T], range: RangeInclusive<T>) -> usize {
    let is_outside = |value: T| !range.contains(&value);
    match count(column, is_outside) {
        0 => column.len(),
        _ => column.iter().position(|&value| is_outside(value)).unwrap_or(column.len()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::timestamp::PlainTimes;
    use crate::{MarkKind, ReadSettings, Sport, number};

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

    /// The stencil of a point, by the values that are named.
    fn stencil_of(point: &[u8], values: &[(Value, Range<usize>)]) -> Stencil {
        let mut stencil = Stencil::default();
        stencil.make(point, values.iter().cloned());
        stencil
    }

    /// The values of the point above.
    fn values() -> Vec<(Value, Range<usize>)> {
        let number = |quantity, text| (Value::Number(quantity, shape_of(text)), place_of(text));
        vec![
            number(Quantity::Latitude, b"-41.5500098"),
            number(Quantity::Longitude, b"2.5"),
            number(Quantity::Elevation, b"7"),
            (Value::Unneeded, place_of(b"8b9")),
            (Value::Time, place_of(b"2025-03-01T10:00:00Z")),
        ]
    }

    /// The session with what is taken of some text, and of how many points.
    fn session_of(text: &[u8]) -> Option<(usize, RawSession)> {
        let text = [b"....", text, b"<trkpt lat='1'>"].concat();
        let mut collector = Collector::new(&ReadSettings::default());
        collector.begin_session(Sport::Unknown);
        collector.mark(MarkKind::Lap);
        let (count, end) = stencil_of(POINT, &values()).take(&text, 4, 1, &mut collector)?;
        assert_eq!(end, 4 + count * POINT.len());
        Some((count, collector.sessions.remove(0)))
    }

    /// The columns that are taken of a point, which more follows.
    fn taken(point: &[u8]) -> Option<[f64; 4]> {
        let (count, session) = session_of(point)?;
        assert_eq!((count, session.point_bytes.as_slice()), (1, [5].as_slice()));
        let points = &session.points;
        let second = (points.time_ns[0] / 1_000_000_000) as f64;
        Some([points.latitude_deg[0], points.longitude_deg[0], points.elevation_m[0], second])
    }

    #[test]
    fn of_each_byte_only_digits_may_be_others_and_no_date() {
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
                    let second = read.map(|(time, _)| time.clock_ns / 1_000_000_000);
                    let is_same_day =
                        at >= time.start + "2025-03-01T".len() && point[time.start + 11..][..2] < b"24"[..];
                    let second = second.filter(|_| byte == POINT[at] || is_digit && is_same_day);
                    assert_eq!(found.map(|of| of[3]), second.map(|second| second as f64), "{at} {byte}");
                } else {
                    // No latitude is −91.
                    let is_latitude = point[place_of(b"-41.5500098")][..2] != b"-9"[..];
                    assert_eq!(found.is_some(), is_latitude && is_digit || byte == POINT[at], "{at} {byte}");
                }
            }
        }
    }

    #[test]
    fn points_are_taken_up_to_one_that_is_unlike_or_has_something_to_note() {
        let with = |other: &[u8], text: &[u8]| {
            let mut point = POINT.to_vec();
            point[place_of(text)].copy_from_slice(other);
            point
        };
        for (last, is_like) in [
            (POINT.to_vec(), true),
            (with(b"-91.0000000", b"-41.5500098"), false),
            (with(b"25:00:00", b"10:00:00"), false),
            (with(b"8b.", b"8b9"), false),
            (with(b"02T", b"01T"), false),
        ] {
            for before in [0, 1, 3, 4, 5, 11, AT_ONCE - 1, AT_ONCE] {
                let text = [POINT.repeat(before), last.clone(), POINT.to_vec()].concat();
                let expected = if is_like { AT_ONCE.min(before + 2) } else { before };
                let found = session_of(&text);
                assert_eq!(
                    found.as_ref().map(|(count, _)| *count),
                    Some(expected).filter(|count| *count > 0)
                );
                let Some((count, session)) = found else { continue };
                let points = session.points;
                assert_eq!(points.time_ns, vec![1_740_823_200_000_000_000; count]);
                assert_eq!(points.latitude_deg, vec![-41.550_009_8; count]);
                assert_eq!(points.elevation_m, vec![7.0; count]);
                assert!(
                    points.cadence_spm.len() == count && points.cadence_spm.iter().all(|spm| spm.is_nan())
                );
                assert_eq!((session.point_bytes.len(), session.bicycle_cadence_rpm.len()), (count, 0));
                assert_eq!(session.point_bytes.last(), Some(&(5 + (count - 1) * POINT.len())));
            }
        }
    }

    #[test]
    fn a_mark_waits_for_the_point_that_is_taken() {
        let stencil = stencil_of(POINT, &values());
        let mut odd = POINT.to_vec();
        odd[place_of(b"-41.5500098")].copy_from_slice(b"-91.0000000");
        let mut collector = Collector::new(&ReadSettings::default());
        collector.begin_session(Sport::Unknown);
        let mut take = |point: &[u8], mark: Option<MarkKind>| {
            mark.into_iter().for_each(|kind| collector.mark(kind));
            let found = stencil.take(&[point, b"<trkpt lat='1'>"].concat(), 0, 1, &mut collector);
            (found.is_some(), collector.sessions[0].marks.iter().map(|mark| mark.index).collect::<Vec<_>>())
        };
        assert_eq!(take(POINT, Some(MarkKind::Lap)), (true, vec![]));
        assert_eq!(take(&odd, Some(MarkKind::Lap)), (false, vec![]));
        assert_eq!(take(POINT, None), (true, vec![1]));
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
        assert_eq!(with(b"-41.5500098", b"-91.0000000"), None);
        assert_eq!(with(b"10:00:00", b"24:00:00"), None);
    }

    #[test]
    fn what_is_too_short_or_not_plain_has_no_stencil() {
        let has_none = |point: &[u8], values: &[_]| stencil_of(point, values).like.is_empty();
        assert!(has_none(&POINT[..CHUNK - 1], &[]));
        assert!(!has_none(POINT, &values()));
        let elevation = Value::Number(Quantity::Elevation, Shape::default());
        assert!(has_none(POINT, &[(elevation, place_of(b"7"))]));
        let signed = [POINT, b"+7.5"].concat();
        let value = Value::Number(Quantity::Elevation, shape_of(b"+7.5"));
        assert!(!has_none(&signed, &[]));
        assert!(has_none(&signed, &[(value, POINT.len()..signed.len())]));
        // Half a position, a value twice, a time without a zone.
        assert!(has_none(POINT, &values()[1..]));
        assert!(has_none(POINT, &[values(), values()[2..3].to_vec()].concat()));
        assert!(has_none(POINT, &[values(), values()[4..].to_vec()].concat()));
        let zone = [POINT, b"<time>2025-03-01T10:00:00</time>"].concat();
        assert!(has_none(&zone, &[(Value::Time, POINT.len() + 6..zone.len() - 7)]));
    }
}

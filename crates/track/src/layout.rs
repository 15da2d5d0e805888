//! The short way through files as programs write them: their points are laid out alike.
//!
//! A point that the lexer has read teaches a layout: the bytes between its values, and what the values are. Where the
//! bytes after a point repeat a layout, the same tokens follow, as tokens depend on the bytes alone and a value that
//! is a plain number or time holds no markup; so its values are taken in place. Wherever a byte differs, or a value
//! is anything but plain, nothing is taken and the lexer reads the point as ever. `docs/reading.md` has the reasoning.

use std::ops::Range;

use crate::lex::{Lexer, Token, is_blank};
use crate::note::Notes;
use crate::note::Quantity;
use crate::number::{self, Shape};
use crate::raw::{Collector, Seen};
use crate::stencil::{Stencil, Value};
use crate::walk::is_control;

/// Layouts that are kept, for points that lack one sensor or another (own choice).
const MAX_LAYOUTS: usize = 8;

/// Points in a row without a fitting layout from which on the lexer is left alone for a while (own choice).
const PATIENCE: usize = 8;

/// Most points for which it is left alone (own choice).
const MAX_REST: usize = 256;

/// What stands at one place of a layout.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Slot {
    Number(Quantity),
    Time,
    /// Text that nobody needs.
    Unneeded,
}

/// How a point is written: the bytes up to its first value, then each value with the bytes after it.
#[derive(Debug)]
struct Layout<'a> {
    blanks: usize,
    opening: &'a [u8],
    values: Vec<(Slot, &'a [u8])>,
    /// How the last number of each slot was written.
    shapes: Vec<Shape>,
    /// Where the values of the last point stood that was taken value by value.
    places: Vec<Range<usize>>,
    /// A point that the one after it was like to the byte, but for digits.
    stencil: Stencil,
}

impl<'a> Layout<'a> {
    /// The layout of the point at `range` of `text`, blanks before it included, whose values stand where `seen` says.
    fn of(
        text: &'a [u8],
        range: Range<usize>,
        mut seen: &[Seen],
        is_skeleton: impl Fn(&[u8]) -> bool,
    ) -> Option<Self> {
        let mut lexer = Lexer::new(&text[..range.end]);
        lexer.move_to(range.start);
        let mut notes = Notes::default();
        let mut slots: Vec<(Range<usize>, Slot)> = Vec::with_capacity(2 * seen.len());
        let mut point_at = None;
        loop {
            match lexer.next(&mut notes) {
                Token::Start(tag) => {
                    if point_at.is_some() && is_skeleton(tag.local) {
                        return None;
                    }
                    point_at.get_or_insert(tag.at);
                    // Values in this tag, each between its quotes.
                    while let [value, rest @ ..] = seen
                        && value.at < lexer.position()
                    {
                        let end = value.at + value.length;
                        let quote = text[value.at - 1];
                        if !matches!(quote, b'"' | b'\'') || text.get(end) != Some(&quote) {
                            return None;
                        }
                        slots.push((value.at..end, Slot::of(value.quantity)));
                        seen = rest;
                    }
                }
                Token::Text(_) => {
                    let range = lexer.token_start()..lexer.position();
                    match seen {
                        [value, rest @ ..] if value.at == range.start && value.length == range.len() => {
                            slots.push((range, Slot::of(value.quantity)));
                            seen = rest;
                        }
                        _ => slots.push((range, Slot::Unneeded)),
                    }
                }
                Token::End(_) => {}
                Token::CharacterData(_) => return None,
                Token::EndOfFile => break,
            }
        }
        if !seen.is_empty() || notes.total() > 0 {
            return None;
        }
        let ends = slots.iter().skip(1).map(|(next, _)| next.start).chain([range.end]);
        Some(Self {
            shapes: vec![Shape::default(); slots.len()],
            places: vec![0..0; slots.len()],
            stencil: Stencil::default(),
            blanks: point_at? - range.start,
            opening: &text[range.start..slots.first()?.0.start],
            values: slots
                .iter()
                .zip(ends)
                .map(|((value, slot), end)| (*slot, &text[value.end..end]))
                .collect(),
        })
    }

    fn is_like(&self, other: &Self) -> bool {
        (self.blanks, self.opening, &self.values) == (other.blanks, other.opening, &other.values)
    }

    /// Takes the point at `at`, if it is laid out like this, and those behind it that differ from it in digits alone; gives how
    /// many they are and where they end.
    #[inline]
    fn take(&mut self, text: &[u8], at: usize, collector: &mut Collector) -> Option<(usize, usize)> {
        let taken = self.stencil.take(text, at, self.blanks, collector);
        taken.or_else(|| Some((1, self.take_value_by_value(text, at, collector)?)))
    }

    fn take_value_by_value(&mut self, text: &[u8], at: usize, collector: &mut Collector) -> Option<usize> {
        let mut rest = text[at..].strip_prefix(self.opening)?;
        collector.begin_point(at + self.blanks);
        let mut is_like_last = true;
        for (((slot, after), shape), place) in self.values.iter().zip(&mut self.shapes).zip(&mut self.places)
        {
            let begin = text.len() - rest.len() - at;
            let length = slot.take(rest, shape, collector)?;
            is_like_last &= place.len() == length;
            *place = begin..begin + length;
            rest = rest[length..].strip_prefix(*after)?;
        }
        collector.end_point(true);
        let end = text.len() - rest.len();
        // A stencil is worth its making where one point after the other is as long in each value.
        if is_like_last {
            let values = self.values.iter().zip(&self.shapes).zip(&self.places);
            let values = values.map(|(((slot, _), shape), place)| (slot.value(*shape), place.clone()));
            self.stencil.make(&text[at..end], values);
        }
        Some(end)
    }
}

impl Slot {
    fn of(quantity: Quantity) -> Self {
        if quantity == Quantity::Time { Self::Time } else { Self::Number(quantity) }
    }

    fn value(self, shape: Shape) -> Value {
        match self {
            Self::Number(quantity) => Value::Number(quantity, shape),
            Self::Time => Value::Time,
            Self::Unneeded => Value::Unneeded,
        }
    }

    /// Takes the value that `rest` begins with and gives its length; `None` where it is not plain.
    #[inline]
    fn take(self, rest: &[u8], shape: &mut Shape, collector: &mut Collector) -> Option<usize> {
        match self {
            Self::Number(quantity) => {
                let (value, length) = number::leading_like(rest, shape)?;
                collector.take_number(quantity, value).then_some(length)
            }
            Self::Time => {
                let (time, length) = collector.plain_times.read(rest)?;
                collector.take_time(time);
                Some(length)
            }
            Self::Unneeded => {
                let length =
                    rest.iter().position(|&byte| byte == b'<' || byte == b'&' || is_control(byte))?;
                (rest[length] == b'<').then_some(length)
            }
        }
    }
}

/// The layouts of a file's points below one parent, the last one used first.
#[derive(Debug)]
pub(crate) struct Layouts<'a, N> {
    parent: Option<(N, usize)>,
    known: Vec<Layout<'a>>,
    misses: usize,
    rest: usize,
}

impl<N> Default for Layouts<'_, N> {
    fn default() -> Self {
        Self { parent: None, known: Vec::new(), misses: 0, rest: 0 }
    }
}

impl<'a, N: Copy + PartialEq> Layouts<'a, N> {
    /// Whether points below `parent` at `depth` are known.
    #[inline]
    pub(crate) fn serve(&self, parent: N, depth: usize) -> bool {
        self.parent == Some((parent, depth))
    }

    /// Takes the points from `at` on, as far as their layouts are known; gives where the lexer goes on.
    pub(crate) fn predict(&mut self, text: &[u8], mut at: usize, collector: &mut Collector) -> usize {
        if self.rest > 0 {
            self.rest -= 1;
            return at;
        }
        loop {
            let mut taken = None;
            let fitting = self.known.iter_mut().position(|layout| {
                taken = layout.take(text, at, collector);
                taken.is_some()
            });
            match (fitting, taken) {
                (Some(index), Some((count, end))) => {
                    self.known[..=index].rotate_right(1);
                    self.misses = self.misses.saturating_sub(count);
                    at = end;
                }
                _ => break,
            }
        }
        collector.abandon_point();
        self.misses += 1;
        if self.misses >= PATIENCE {
            self.rest = self.misses.min(MAX_REST);
        }
        at
    }

    /// Learns the layout of the last point, which ends at `end`.
    pub(crate) fn learn(
        &mut self,
        text: &'a [u8],
        end: usize,
        parent: N,
        depth: usize,
        collector: &mut Collector,
        is_skeleton: impl Fn(&[u8]) -> bool,
    ) {
        if self.rest > 0 {
            return;
        }
        let Some((point_at, seen)) = collector.last_point() else { return };
        let blanks = text[..point_at].iter().rev().take_while(|&&byte| is_blank(byte)).count();
        let Some(layout) = Layout::of(text, point_at - blanks..end, seen, is_skeleton) else { return };
        if !self.serve(parent, depth) {
            self.parent = Some((parent, depth));
            self.known.clear();
        }
        if !self.known.iter().any(|known| known.is_like(&layout)) {
            self.known.truncate(MAX_LAYOUTS - 1);
            self.known.insert(0, layout);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ReadSettings;
    use crate::gpx::{Beside, Gpx, Node};
    use crate::walk::{Schema, walk};

    const FIRST: &str = "<trkpt lat='1.5' lon='2.5'><time>2025-03-01T10:00:00Z</time><sat>7</sat></trkpt>";

    /// The layouts that the points of a text teach.
    fn taught(text: &str) -> usize {
        let mut collector = Collector::new(&ReadSettings::default());
        let mut layouts = Layouts::<Node>::default();
        let is_skeleton = |local: &[u8]| Gpx::rank(local).is_some();
        // Points are read one at a time, so that none is stepped over.
        for point in text.split_inclusive("</trkpt>") {
            let begin = point.as_ptr().addr() - text.as_ptr().addr();
            let end = begin + point.len();
            walk(
                &text.as_bytes()[..end],
                0,
                &mut Gpx { collector: &mut collector, beside: Beside::default() },
                None,
            );
            layouts.learn(text.as_bytes(), end, Node::Document, 0, &mut collector, is_skeleton);
        }
        layouts.known.len()
    }

    /// How many bytes of `next` are taken by the layout of [`FIRST`].
    fn taken(next: &str) -> usize {
        let mut collector = Collector::new(&ReadSettings::default());
        let mut layouts = Layouts::<Node>::default();
        walk(FIRST.as_bytes(), 0, &mut Gpx { collector: &mut collector, beside: Beside::default() }, None);
        layouts.learn(FIRST.as_bytes(), FIRST.len(), Node::Document, 0, &mut collector, |_| false);
        layouts.predict(next.as_bytes(), 0, &mut collector)
    }

    #[test]
    fn points_written_alike_are_taken_one_after_another() {
        let next = FIRST.replace("1.5", "-41.639554192388331443908100482").replace("00Z", "00.25+02:00");
        assert_eq!(taken(&next), next.len());
        assert_eq!(taken(&next.repeat(3)), 3 * next.len());
        assert_eq!(taken(&next.replace('7', "nine point 5")), next.len() + 11);
    }

    #[test]
    fn whatever_is_not_plain_is_left_to_the_lexer() {
        for (from, to) in [
            ("lat", "lab"),
            ("1.5", ""),
            ("1.5", "1,5"),
            ("1.5", "1e5"),
            ("1.5", " 1.5"),
            ("1.5", "NaN"),
            ("1.5", "1&5"),
            ("1.5", "1.5\""),
            ("00Z", "60Z"),
            ("00Z", "00"),
            ("00Z", "61Z"),
            ("2025", "1025"),
            ("7", "&amp;"),
            ("7", "\0"),
            ("7", "<x/>"),
            ("</sat>", "</sat> "),
            ("</trkpt>", "</trkpt"),
            ("</trkpt>", ""),
        ] {
            assert_eq!(taken(&FIRST.replacen(from, to, 1)), 0, "{from} to {to}");
        }
    }

    #[test]
    fn only_a_point_about_which_nothing_is_odd_teaches() {
        for (from, to) in [
            ("7", "<![CDATA[7]]>"),
            ("7", "&foo;"),
            ("7", "<trkpt/>"),
            ("1.5", "&#49;"),
            ("1.5", "1,5"),
            ("1.5", "95"),
            ("1.5", ""),
            ("<time>", "<time><!-- c -->"),
            ("<sat>7</sat>", "<ele>1<!-- -->2</ele>"),
            ("</sat>", "</sad>"),
            ("<sat", "<sat <"),
            ("lon", "lat"),
        ] {
            assert_eq!(taught(&FIRST.replacen(from, to, 1)), 0, "{from} to {to}");
        }
        assert_eq!(taught(&FIRST.replacen('7', "<!-- 7 -->", 1)), 1);
    }

    #[test]
    fn each_way_of_writing_is_kept_once_and_the_last_ones_only() {
        assert_eq!(taught(&FIRST.repeat(5)), 1);
        assert_eq!(taught(&[FIRST, &FIRST.replace("sat", "fix"), FIRST].concat()), 2);
        let many: String = (0..20).map(|index| FIRST.replace("sat", &format!("sat{index}"))).collect();
        assert_eq!(taught(&many), MAX_LAYOUTS);
    }
}

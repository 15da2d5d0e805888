//! Decimal numbers as recordings write them, read exactly.

use std::ops::Range;

use crate::words::{self, EACH};

/// Why a text is no number.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum NumberFault {
    /// Nothing but blanks.
    Empty,
    /// A number with a decimal comma; its value, if the comma is one.
    DecimalComma,
    /// A word, NaN, an infinity or anything else.
    Malformed,
}

/// Powers of ten that a double holds exactly.
const EXACT_POWERS_OF_TEN: [f64; 23] = [
    1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18,
    1e19, 1e20, 1e21, 1e22,
];

/// Largest whole number up to which a double holds every whole number: 2⁵³.
const LARGEST_EXACT_MANTISSA: u64 = 1 << 53;

/// Longest decimal that is looked at where it stands, in digits or bytes (own choice; a double's exact decimal near 100 has
/// about 50); longer ones go the long way.
pub(crate) const MAX_DIGITS: usize = 64;

/// Digits that surely fit a `u64`.
const MAX_MANTISSA_DIGITS: usize = 19;

/// Powers of ten by which eight digits at a time move a mantissa.
const WHOLE_POWERS_OF_TEN: [u64; 9] = [1, 10, 100, 1000, 10_000, 100_000, 1_000_000, 10_000_000, 100_000_000];

/// Reads a finite number, blanks around it allowed; −0 counts as 0.
///
/// The result is the double nearest to the decimal: one exact division serves where mantissa and power are exact
/// (Clinger 1990), the standard library where not.
#[inline]
pub(crate) fn parse(text: &[u8]) -> Result<f64, NumberFault> {
    let text = trim(text);
    match leading(text) {
        Some((value, length)) if length == text.len() => Ok(value),
        _ if text.is_empty() => Err(NumberFault::Empty),
        _ => parse_unusual(text),
    }
}

/// The decimal without exponent that `text` begins with and its length; `None` where there is none, or where it has
/// more digits than anyone writes.
#[inline]
pub(crate) fn leading(text: &[u8]) -> Option<(f64, usize)> {
    leading_short(text).map(|(value, shape)| (value, shape.len())).or_else(|| leading_any(text))
}

/// How a decimal of up to fifteen digits is written: how many stand before and behind the point, and whether there are a sign
/// and a point. Most numbers of a column are written as the one before them.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Shape {
    /// Bytes of the sign, 0 or 1.
    sign: u8,
    whole: u8,
    /// Bytes of the point, 0 or 1.
    point: u8,
    decimals: u8,
}

impl Shape {
    /// How many bytes a number of this shape has; 0 for no shape.
    #[inline]
    pub(crate) fn len(self) -> usize {
        usize::from(self.sign + self.whole + self.point + self.decimals)
    }

    /// What reads numbers of this shape from a place of rows; `None` where they have no digit before the point.
    pub(crate) fn reader(self, begin: usize) -> Option<Reader> {
        let [sign, whole, point, decimals] =
            [self.sign, self.whole, self.point, self.decimals].map(usize::from);
        let fraction = begin + sign + whole + point;
        Some(Reader {
            whole: Digits::new(begin + sign, whole)?,
            fraction: if decimals > 0 { Some(Digits::new(fraction, decimals.min(8))?) } else { None },
            rest: if decimals > 8 { Some(Digits::new(fraction + 8, decimals - 8)?) } else { None },
            divisor: if sign == 1 { -1.0 } else { 1.0 } * EXACT_POWERS_OF_TEN[decimals],
        })
    }

    /// What [`leading`] reads of a text that begins with a number of this shape; `None` where it does not, or where the
    /// number may go on.
    ///
    /// Nothing is counted, so that what follows is looked at while the number is still being made out.
    #[inline]
    fn read(self, text: &[u8]) -> Option<(f64, usize)> {
        let text: &[u8; SHORT_BYTES] = text.first_chunk()?;
        let eight_at = |at: usize| Some(u64::from_le_bytes(*text.get(at..)?.first_chunk()?));
        let [sign, whole, point, decimals] =
            [self.sign, self.whole, self.point, self.decimals].map(usize::from);
        let point_at = sign + whole;
        let end = point_at + point + decimals;
        let is_signed = sign == 0 || text[0] == b'-';
        let is_pointed = point == 0 || text[point_at] == b'.';
        let goes_on = text[end].is_ascii_digit() || (point == 0 && text[end] == b'.');
        if whole + decimals == 0 || !is_signed || !is_pointed || goes_on {
            return None;
        }
        let mut mantissa = digits_of_eight(eight_at(sign)?, whole)?;
        let mut append = |at: usize, count: usize| {
            let digits = digits_of_eight(eight_at(at)?, count)?;
            mantissa = mantissa.wrapping_mul(WHOLE_POWERS_OF_TEN[count]).wrapping_add(digits);
            Some(())
        };
        if decimals > 0 {
            append(point_at + 1, decimals.min(8))?;
        }
        if decimals > 8 {
            append(point_at + 9, decimals - 8)?;
        }
        let value = mantissa.cast_signed() as f64 / EXACT_POWERS_OF_TEN[decimals];
        Some((if sign == 1 { -value } else { value } + 0.0, end))
    }
}

/// Reads numbers of one shape at one place of rows of text, whose digits are known to be digits.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Reader {
    whole: Digits,
    fraction: Option<Digits>,
    rest: Option<Digits>,
    /// The power of ten by which the digits are too many, negative where the numbers are.
    divisor: f64,
}

/// Up to eight digits: where the eight bytes begin with whose end they end, the bits that are theirs, and the power of ten that
/// they move a mantissa by.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Digits {
    eight_at: usize,
    mask: u64,
    factor: u64,
}

impl Digits {
    /// From one to eight digits; `None` for more or less, and where eight bytes do not end with them.
    pub(crate) fn new(begin: usize, count: usize) -> Option<Self> {
        let eight_at = (begin + count).checked_sub(8)?;
        let mask = (1..=8).contains(&count).then(|| u64::MAX << (64 - 8 * count))?;
        Some(Self { eight_at, mask, factor: WHOLE_POWERS_OF_TEN[count] })
    }

    /// Where they stand.
    pub(crate) fn place(&self) -> Range<usize> {
        let end = self.eight_at + 8;
        end - self.mask.count_ones() as usize / 8..end
    }

    /// The whole number that they make in a row.
    #[inline]
    pub(crate) fn value(&self, row: &[u8]) -> u64 {
        joined((words::eight(row, self.eight_at).unwrap_or_default() ^ (EACH * 0x30)) & self.mask)
    }

    #[inline]
    fn append(&self, mantissa: u64, row: &[u8]) -> u64 {
        mantissa.wrapping_mul(self.factor).wrapping_add(self.value(row))
    }
}

impl Reader {
    /// Appends the number of each row to a column.
    #[inline]
    pub(crate) fn read_each<'a>(&self, rows: impl Iterator<Item = &'a [u8]>, column: &mut Vec<f64>) {
        let Self { whole, fraction, rest, divisor } = *self;
        let begin = column.len();
        let double = |mantissa: u64| mantissa.cast_signed() as f64;
        match (fraction, rest) {
            (None, _) => column.extend(rows.map(|row| double(whole.value(row)))),
            (Some(fraction), None) => {
                column.extend(rows.map(|row| double(fraction.append(whole.value(row), row))));
            }
            (Some(fraction), Some(rest)) => {
                let mantissa = |row| rest.append(fraction.append(whole.value(row), row), row);
                column.extend(rows.map(|row| double(mantissa(row))));
            }
        }
        // Several are divided at a time. Of zero, the sign goes.
        column[begin..].iter_mut().for_each(|number| *number = *number / divisor + 0.0);
    }
}

/// What [`leading`] reads, and faster where the number is written as the last one of `shape` was, which it learns.
#[inline]
pub(crate) fn leading_like(text: &[u8], shape: &mut Shape) -> Option<(f64, usize)> {
    shape.read(text).or_else(|| leading_and_learn(text, shape))
}

#[inline(never)]
fn leading_and_learn(text: &[u8], shape: &mut Shape) -> Option<(f64, usize)> {
    let short = leading_short(text);
    *shape = short.map_or_else(Shape::default, |(_, shape)| shape);
    short.map(|(value, shape)| (value, shape.len())).or_else(|| leading_any(text))
}

/// Most bytes that [`leading_short`] looks at: a sign, seven digits, a point, and sixteen bytes to find the end in.
const SHORT_BYTES: usize = 25;

/// Digits that always make a whole number below 2⁵³.
const EXACT_DIGITS: usize = 15;

/// The number and its shape, for up to seven digits before the point and up to fifteen in all, as nearly all numbers have;
/// `None` for others, and near the end of the text.
#[inline]
fn leading_short(text: &[u8]) -> Option<(f64, Shape)> {
    let text: &[u8; SHORT_BYTES] = text.first_chunk()?;
    let eight_at = |at: usize| Some(u64::from_le_bytes(*text.get(at..)?.first_chunk()?));
    let negative = text[0] == b'-';
    let begin = usize::from(negative || text[0] == b'+');
    let (whole, count) = leading_of_eight(eight_at(begin)?);
    let point_at = begin + count;
    if count == 8 {
        return None;
    }
    // Where no point stands, no byte is taken for a decimal; all numbers go one way, so that nothing is to be guessed.
    let has_point = text[point_at] == b'.';
    let (fraction, mut decimals) = leading_of_eight(if has_point { eight_at(point_at + 1)? } else { 0 });
    let mut mantissa = whole.wrapping_mul(WHOLE_POWERS_OF_TEN[decimals]).wrapping_add(fraction);
    if decimals == 8 {
        let (fraction, more) = leading_of_eight(eight_at(point_at + 9)?);
        mantissa = mantissa.wrapping_mul(WHOLE_POWERS_OF_TEN[more]).wrapping_add(fraction);
        decimals += more;
    }
    if count + decimals == 0 || count + decimals > EXACT_DIGITS {
        return None;
    }
    // From a number with a sign a double is made in one step.
    let mantissa = mantissa.cast_signed();
    let value = mantissa as f64 / EXACT_POWERS_OF_TEN[decimals];
    let signed = if negative { -value } else { value };
    let [sign, whole, decimals] = [begin, count, decimals].map(|count| count as u8);
    // Of zero, the sign goes.
    Some((signed + 0.0, Shape { sign, whole, point: u8::from(has_point), decimals }))
}

fn leading_any(text: &[u8]) -> Option<(f64, usize)> {
    let negative = text.first() == Some(&b'-');
    let signed = negative || text.first() == Some(&b'+');
    let mut mantissa = 0_u64;
    let whole_begin = usize::from(signed);
    let whole_end = digits_one_by_one(text, whole_begin, &mut mantissa);
    let mut end = whole_end;
    let mut decimals = 0;
    if text.get(whole_end) == Some(&b'.') {
        end = digits(text, whole_end + 1, &mut mantissa);
        decimals = end - whole_end - 1;
    }
    let count = whole_end - whole_begin + decimals;
    if count > MAX_MANTISSA_DIGITS || mantissa > LARGEST_EXACT_MANTISSA {
        return leading_long(text, whole_begin..whole_end, decimals, mantissa);
    }
    if count == 0 {
        return None;
    }
    let value = mantissa as f64 / EXACT_POWERS_OF_TEN[decimals];
    Some((if negative && mantissa != 0 { -value } else { value }, end))
}

/// The same for a decimal whose digits before the point stand at `whole` and that takes more than an exact division;
/// `mantissa` is made of all its digits, if they are not too many.
#[inline(never)]
fn leading_long(text: &[u8], whole: Range<usize>, decimals: usize, mantissa: u64) -> Option<(f64, usize)> {
    let point_at = whole.end;
    let end = point_at + usize::from(text.get(point_at) == Some(&b'.')) + decimals;
    let value = match MAX_MANTISSA_DIGITS.checked_sub(whole.len()) {
        Some(most) if decimals <= most => nearest(mantissa, decimals, 0),
        Some(most) => {
            let mut first = 0;
            digits_one_by_one(&text[..point_at], whole.start, &mut first);
            digits(&text[..point_at + 1 + most], point_at + 1, &mut first);
            nearest(first, most, 1)
        }
        None => None,
    };
    if whole.len() + decimals > MAX_DIGITS {
        return None;
    }
    if let Some(value) = value {
        return Some((if text[0] == b'-' { -value } else { value }, end));
    }
    let value: f64 = std::str::from_utf8(&text[..end]).ok()?.parse().ok()?;
    Some((value + 0.0, end))
}

/// Powers of ten whose reciprocals are known.
const RECIPROCAL_POWERS: usize = MAX_MANTISSA_DIGITS;

/// The reciprocal of each power of ten as 64 bits, cut off, and the power of two that it is multiplied by.
const RECIPROCALS: [(u64, u32); RECIPROCAL_POWERS] = {
    let mut reciprocals = [(0, 0); RECIPROCAL_POWERS];
    let mut index = 0;
    while index < RECIPROCAL_POWERS {
        let ten = 10_u128.pow(index as u32);
        // Of one it is 2⁶³ itself, of all others more.
        let power = if index == 0 { 63 } else { 63 + ten.ilog2() + 1 };
        reciprocals[index] = (((1_u128 << power) / ten) as u64, power);
        index += 1;
    }
    reciprocals
};

/// The double nearest to `mantissa` by so many decimals, to which a part of `cut` units of its last digit may be missing;
/// `None` where that decides, or where the mantissa is too small.
///
/// The mantissa is multiplied by the reciprocal of the power of ten to 64 bits, as Lemire (2021, *Number parsing at a
/// gigabyte per second*) does. The true value lies above the product by less than what was cut off both; where no half
/// between two doubles lies in that stretch, its ends are rounded to the same double.
fn nearest(mantissa: u64, decimals: usize, cut: u64) -> Option<f64> {
    /// Bits of the product behind the 53 of a double.
    const REST: u64 = (1 << 11) - 1;
    const HALF: u64 = 1 << 10;
    let (reciprocal, two) = *RECIPROCALS.get(decimals)?;
    // The mantissa moves up to the highest bit, and so does the product.
    let zeros = mantissa.leading_zeros();
    if zeros > 8 {
        return None;
    }
    let product = u128::from(mantissa << zeros) * u128::from(reciprocal);
    let moved = product.leading_zeros();
    let highest = (product << moved >> 64) as u64;
    let cut_off = (((cut << zeros) + 1) << moved) + 2;
    let rest = highest & REST;
    if rest <= HALF && rest + cut_off >= HALF {
        return None;
    }
    let rounded = (highest >> 11) + u64::from(rest > HALF);
    let power = 75 - i64::from(two) - i64::from(zeros) - i64::from(moved);
    Some(rounded as f64 * f64::from_bits(((1023 + power) as u64) << 52))
}

/// Appends the digits at `at` to a mantissa, which wraps around where they are too many; gives their end.
#[inline]
fn digits_one_by_one(text: &[u8], mut at: usize, mantissa: &mut u64) -> usize {
    while let Some(digit) = text.get(at).map(|byte| byte.wrapping_sub(b'0')).filter(|digit| *digit < 10) {
        *mantissa = mantissa.wrapping_mul(10).wrapping_add(u64::from(digit));
        at += 1;
    }
    at
}

/// The same, eight at a time, which is faster for more than a few.
#[inline]
fn digits(text: &[u8], mut at: usize, mantissa: &mut u64) -> usize {
    while let Some(eight) = text.get(at..).and_then(|rest| rest.first_chunk::<8>()) {
        let (value, count) = leading_of_eight(u64::from_le_bytes(*eight));
        *mantissa = mantissa.wrapping_mul(WHOLE_POWERS_OF_TEN[count]).wrapping_add(value);
        at += count;
        if count < 8 {
            return at;
        }
    }
    digits_one_by_one(text, at, mantissa)
}

/// The value and count of the digits that eight bytes begin with, the first byte lowest.
#[inline]
pub(crate) fn leading_of_eight(bytes: u64) -> (u64, usize) {
    let digits = bytes ^ (EACH * 0x30);
    let count = words::before(no_digits(digits));
    (joined(last_places(digits, count)), count)
}

/// The value of the first `count` of eight bytes, the first byte lowest, where they are digits.
#[inline]
fn digits_of_eight(bytes: u64, count: usize) -> Option<u64> {
    let digits = last_places(bytes ^ (EACH * 0x30), count);
    (no_digits(digits) == 0).then(|| joined(digits))
}

/// Marks what is above 9: it reaches the highest bit of its byte. What it carries on into later bytes does not matter.
#[inline]
fn no_digits(digits: u64) -> u64 {
    (digits.wrapping_add(EACH * 0x76) | digits) & (EACH * 0x80)
}

/// The first `count` of eight digits moved to the last places; zeros stand before them.
#[inline]
fn last_places(digits: u64, count: usize) -> u64 {
    digits.checked_shl(64 - 8 * count as u32).unwrap_or(0)
}

/// The number that eight digits make: neighbours are joined to pairs, pairs to fours, fours to eight.
#[inline]
fn joined(digits: u64) -> u64 {
    let pairs = digits.wrapping_mul(10).wrapping_add(digits >> 8) & 0x00FF_00FF_00FF_00FF;
    let fours = pairs.wrapping_mul(100).wrapping_add(pairs >> 16) & 0x0000_FFFF_0000_FFFF;
    fours.wrapping_mul(10_000).wrapping_add(fours >> 32) & 0xFFFF_FFFF
}

/// Reads a number whose single comma stands for the decimal point.
pub(crate) fn parse_with_comma(text: &[u8]) -> Result<f64, NumberFault> {
    let pointed: Vec<u8> = trim(text).iter().map(|&byte| if byte == b',' { b'.' } else { byte }).collect();
    parse(&pointed)
}

fn parse_unusual(text: &[u8]) -> Result<f64, NumberFault> {
    let unsigned = text.strip_prefix(b"-").or(text.strip_prefix(b"+")).unwrap_or(text);
    if !unsigned.first().is_some_and(|byte| byte.is_ascii_digit() || *byte == b'.') {
        return Err(NumberFault::Malformed);
    }
    let mut parts = unsigned.splitn(2, |&byte| byte == b',');
    if let (Some(whole), Some(fraction)) = (parts.next(), parts.next()) {
        let all_digits = |part: &[u8]| !part.is_empty() && part.iter().all(u8::is_ascii_digit);
        let comma = all_digits(whole) && all_digits(fraction);
        return Err(if comma { NumberFault::DecimalComma } else { NumberFault::Malformed });
    }
    let value = std::str::from_utf8(text).ok().and_then(|text| text.parse::<f64>().ok());
    match value {
        Some(value) if value.is_finite() => Ok(value + 0.0),
        _ => Err(NumberFault::Malformed),
    }
}

/// The text without the blanks of XML around it.
#[inline]
pub(crate) fn trim(mut text: &[u8]) -> &[u8] {
    while let [b' ' | b'\t' | b'\n' | b'\r', rest @ ..] = text {
        text = rest;
    }
    while let [rest @ .., b' ' | b'\t' | b'\n' | b'\r'] = text {
        text = rest;
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn numbers_in_rows_are_read_as_any_other(
            rows in prop::collection::vec("[0-9]{24}", 1..9), sign in "-?", whole in 1_usize..=7, decimals in 0_usize..=9,
        ) {
            let decimals = decimals.min(EXACT_DIGITS - whole);
            let point = if decimals > 0 { "." } else { "" };
            let text = |digits: &str| format!("{sign}{}{point}{}", &digits[..whole], &digits[whole..whole + decimals]);
            let rows: Vec<String> = rows.iter().map(|digits| format!("<ele>12\"{}</ele>", text(digits))).collect();
            let place = b"<ele>12\"".len()..rows[0].len() - b"</ele>".len();
            let mut shape = Shape::default();
            let longer = format!("{}<{:30}", &rows[0][place.clone()], "");
            prop_assert!(leading_like(longer.as_bytes(), &mut shape).is_some());
            let mut column = vec![7.5];
            shape.reader(place.start).unwrap().read_each(rows.iter().map(String::as_bytes), &mut column);
            let expected = rows.iter().map(|row| parse(row[place.clone()].as_bytes()).unwrap().to_bits());
            prop_assert_eq!(column[1..].iter().map(|number| number.to_bits()).collect::<Vec<_>>(), expected.collect::<Vec<_>>());
        }

        #[test]
        fn numbers_like_those_before_them_are_read_as_any_other(
            texts in prop::collection::vec("[-+]?[0-9]{0,8}[.]?[0-9]{0,17}[\"<e. ]", 1..9),
        ) {
            let mut shape = Shape::default();
            for text in texts.iter().flat_map(|text| [text, text]) {
                let text = format!("{text} and a number of bytes more");
                let expected = leading(text.as_bytes());
                prop_assert_eq!(leading_like(text.as_bytes(), &mut shape), expected, "{} as {:?}", text, shape);
            }
        }
    }

    #[test]
    fn nineteen_digits_tell_a_position_and_not_a_half_between_doubles() {
        for (mantissa, decimals, value) in [
            (3_439_037_642_178_948_317, 17, Some(34.390_376_421_789_48)),
            (1_549_166_732_034_259_155, 16, Some(154.916_673_203_425_92)),
            (9_000_000_000_000_000_001, 18, Some(9.0)),
            (9_007_199_254_740_993, 0, None),
            (9_007_199_254_740_995_000, 3, None),
            (123_456_994_628_906_251, 14, Some(1_234.569_946_289_062_5)),
            // Half way from 256 to the next double, 256 + 2⁻⁴⁴.
            (2_560_000_000_000_000_284, 16, None),
            // The product ends at such a half itself, the true value behind it.
            (4_713_307_188_656_515_834, 17, None),
            (376_421_789_483_174, 18, None),
            (0, 18, None),
            (9_000_000_000_000_000_001, 19, None),
        ] {
            assert_eq!(nearest(mantissa, decimals, 1), value, "{mantissa} by {decimals}");
        }
    }

    #[test]
    fn a_shape_serves_numbers_of_its_own_kind_only() {
        let of = |text: &str| leading_short(format!("{text}\" and a number of bytes").as_bytes()).unwrap().1;
        let shape = of("-12.5");
        for (text, read) in [
            ("-07.9\"", Some((-7.9, 5))),
            ("-00.0\"", Some((0.0, 5))),
            ("-7.95\"", None),
            ("-123.5\"", None),
            ("-12.55\"", None),
            ("+12.5\"", None),
            ("112.5\"", None),
            ("-12,5\"", None),
            ("-1x.5\"", None),
            ("-12.x\"", None),
        ] {
            assert_eq!(shape.read(format!("{text} and a number of bytes").as_bytes()), read, "{text}");
        }
        assert_eq!(of("145").read(b"145.5 and a number of bytes"), None);
        assert_eq!(of("+5").read(b"+5 and a number of bytes"), None);
        assert_eq!(Shape::default().read(b" and a number of bytes"), None);
    }

    #[test]
    fn forms_inside_and_beside_the_xsd_decimal_are_read() {
        for (text, value) in [
            ("10.25", 10.25),
            ("+7", 7.0),
            ("007.50", 7.5),
            (".5", 0.5),
            ("5.", 5.0),
            ("1.01e1", 10.1),
            (" \n 3.5\t", 3.5),
            ("-41.639554192388331443908100482", -41.639_554_192_388_33),
        ] {
            assert_eq!(parse(text.as_bytes()), Ok(value), "{text}");
        }
    }

    #[test]
    fn minus_zero_is_zero() {
        for text in ["-0", "-0.0", "-0e0", "-0.00000000000000000000000000"] {
            assert_eq!(parse(text.as_bytes()).map(f64::to_bits), Ok(0.0_f64.to_bits()), "{text}");
        }
    }

    #[test]
    fn what_is_no_finite_number_is_refused() {
        for text in [
            "NaN", "inf", "-inf", "infinity", "1e999", "--", "n/a", "1.2.3", ".", "-", "12a", "0x1F", "1 2",
            "+-3",
        ] {
            assert_eq!(parse(text.as_bytes()), Err(NumberFault::Malformed), "{text}");
        }
        assert_eq!(parse(b" \n"), Err(NumberFault::Empty));
    }

    #[test]
    fn a_decimal_comma_is_named_and_never_read_as_a_point() {
        assert_eq!(parse(b"10,1234"), Err(NumberFault::DecimalComma));
        assert_eq!(parse(b"1,234.5"), Err(NumberFault::Malformed));
        assert_eq!(parse(b"1,2,3"), Err(NumberFault::Malformed));
        assert_eq!(parse_with_comma(b" -10,1234 "), Ok(-10.1234));
    }

    proptest! {
        #[test]
        fn decimals_are_the_doubles_of_the_standard_library(text in "[+-]?[0-9]{1,22}(\\.[0-9]{0,22})?") {
            prop_assert_eq!(parse(text.as_bytes()), Ok(text.parse::<f64>().unwrap()));
        }

        #[test]
        fn the_short_way_gives_what_the_long_one_does(text in "[+-]?[0-9]{0,9}\\.?[0-9]{0,17}[<\" .+a0-9-]{0,3}<.{20}") {
            let short = leading_short(text.as_bytes()).map(|(value, shape)| (value, shape.len()));
            prop_assert!(short.is_none() || short == leading_any(text.as_bytes()));
        }

        #[test]
        fn long_decimals_are_the_doubles_of_the_standard_library(
            text in "-?(0|[1-9][0-9]{0,7})\\.[0-9]{8,40}",
        ) {
            let rest = format!("{text}\" and more");
            prop_assert_eq!(leading(rest.as_bytes()), Some((text.parse::<f64>().unwrap(), text.len())));
        }

        // Halves between two doubles, written in full and moved by one unit far behind: what nineteen digits cannot tell.
        #[test]
        fn halves_between_doubles_are_rounded_as_the_standard_library_rounds_them(
            double in 1.0_f64..512.0, last in prop::sample::select(b"0159".to_vec()), units in 0_u64..64,
        ) {
            let bits = double.to_bits();
            let (odd, shift) = (2 * ((bits & ((1 << 52) - 1)) | 1 << 52) + 1, 1076 - (bits >> 52));
            let mut rest = u128::from(odd) & ((1 << shift) - 1);
            let mut text = format!("{}.", odd >> shift);
            while rest > 0 {
                text += &((rest * 10) >> shift).to_string();
                rest = (rest * 10) & ((1 << shift) - 1);
            }
            text.push(char::from(last));
            let below = format!("{}{}", &text[..text.len() - 2], "49");
            // The same to nineteen digits, and some units of the last of them more.
            let (whole, decimals) = text.split_once('.').unwrap();
            let kept = 19 - whole.len();
            let first = format!("{whole}{}", &decimals[..kept]).parse::<u64>().unwrap() + units;
            let power = 10_u64.pow(kept as u32);
            let above = format!("{}.{:0kept$}", first / power, first % power);
            for text in [text, below, above] {
                let expected = Some((text.parse::<f64>().unwrap(), text.len()));
                prop_assert_eq!(leading(format!("{text}<").as_bytes()), expected, "{}", text);
            }
        }

        #[test]
        fn printed_doubles_come_back(value in proptest::num::f64::NORMAL) {
            prop_assert_eq!(parse(value.to_string().as_bytes()), Ok(value));
        }
    }
}

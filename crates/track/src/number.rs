//! Decimal numbers as recordings write them, read exactly.

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

/// Digits that surely fit a `u64`.
const MAX_MANTISSA_DIGITS: usize = 19;

/// Reads a finite number, blanks around it allowed; −0 counts as 0.
///
/// The result is the double nearest to the decimal: one exact multiplication or division serves where mantissa
/// and power are exact (Clinger 1990), the standard library where not.
#[inline]
pub(crate) fn parse(text: &[u8]) -> Result<f64, NumberFault> {
    let text = trim(text);
    let (negative, digits) = match text.first() {
        None => return Err(NumberFault::Empty),
        Some(b'-') => (true, &text[1..]),
        Some(b'+') => (false, &text[1..]),
        Some(_) => (false, text),
    };
    let mut mantissa = 0_u64;
    let mut decimals = 0_usize;
    let mut point = false;
    if digits.len() <= MAX_MANTISSA_DIGITS {
        for (index, &byte) in digits.iter().enumerate() {
            match byte {
                b'0'..=b'9' => mantissa = mantissa * 10 + u64::from(byte - b'0'),
                b'.' if !point => {
                    point = true;
                    decimals = digits.len() - index - 1;
                }
                _ => return parse_unusual(text),
            }
        }
        let digit_count = digits.len() - usize::from(point);
        if digit_count > 0 && mantissa <= LARGEST_EXACT_MANTISSA {
            let value = mantissa as f64 / EXACT_POWERS_OF_TEN[decimals];
            return Ok(if negative && mantissa != 0 { -value } else { value });
        }
    }
    parse_unusual(text)
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
        fn printed_doubles_come_back(value in proptest::num::f64::NORMAL) {
            prop_assert_eq!(parse(value.to_string().as_bytes()), Ok(value));
        }
    }
}

//! Numbers as digits: what the standard library writes, at a fraction of its cost, since tables and drawings hold little else.

use std::fmt::Write;

/// Powers of ten by the number of decimals.
const POWERS_OF_TEN: [f64; 7] = [1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6];

/// Up to here a product with a power of ten errs by less than [`TIE`].
const LARGEST: f64 = 1e9;

/// A rest so near to a half may be rounded either way: only exact arithmetic tells.
const TIE: f64 = 1e-6;

/// Appends a number with so many decimals, as `{:.decimals$}` has it, but nothing as 0 without a sign.
pub(crate) fn push_fixed(value: f64, decimals: usize, out: &mut String) {
    if let Some((negative, digits)) = scaled(value, decimals) {
        push_digits(negative, digits, decimals, out);
        return;
    }
    let start = out.len();
    // Writing into a String cannot fail.
    _ = write!(out, "{value:.decimals$}");
    if out[start..].starts_with('-') && !out[start..].contains(|c: char| ('1'..='9').contains(&c)) {
        out.remove(start);
    }
}

/// The number that [`push_fixed`] writes.
pub(crate) fn fixed(value: f64, decimals: usize) -> f64 {
    match scaled(value, decimals) {
        // Both are whole numbers that a float holds exactly, so the quotient is the float nearest to the decimal.
        Some((negative, digits)) => {
            let value = digits as f64 / POWERS_OF_TEN[decimals];
            if negative { -value } else { value }
        }
        None => {
            let mut text = String::new();
            push_fixed(value, decimals, &mut text);
            text.parse().unwrap_or(value)
        }
    }
}

/// Whether a number is below nothing, and its digits without the point; `None` where only exact arithmetic tells them.
fn scaled(value: f64, decimals: usize) -> Option<(bool, u64)> {
    let scaled = value.abs() * POWERS_OF_TEN.get(decimals).copied().unwrap_or(f64::NAN);
    // Of a number in this range the same as `trunc`, without a call.
    let whole = scaled as i64;
    let rest = scaled - whole as f64;
    (scaled < LARGEST && (rest - 0.5).abs() > TIE).then(|| {
        let digits = whole as u64 + u64::from(rest > 0.5);
        (value < 0.0 && digits > 0, digits)
    })
}

/// Appends a whole number.
pub(crate) fn push_whole(value: i64, out: &mut String) {
    push_digits(value < 0, value.unsigned_abs(), 0, out);
}

/// The same as bytes, for drawings, which hold thousands of small ones.
pub(crate) fn push_whole_bytes(value: i64, out: &mut Vec<u8>) {
    let digits = value.unsigned_abs();
    if value < 0 {
        out.push(b'-');
    }
    match digits {
        0..10 => out.push(b'0' + digits as u8),
        10..100 => out.extend([b'0' + (digits / 10) as u8, b'0' + (digits % 10) as u8]),
        100..1000 => {
            let tens = digits / 10;
            out.extend([tens / 10, tens % 10, digits % 10].map(|digit| b'0' + digit as u8));
        }
        _ => {
            let (text, begin) = digits_of(false, digits, 0);
            out.extend_from_slice(&text[begin..]);
        }
    }
}

/// Appends a whole number that is not below nothing.
pub(crate) fn push_count(value: u64, out: &mut String) {
    push_digits(false, value, 0, out);
}

/// Appends digits of which the last so many are decimals.
fn push_digits(negative: bool, digits: u64, decimals: usize, out: &mut String) {
    let (text, begin) = digits_of(negative, digits, decimals);
    // The compiler knows then that each takes one byte.
    out.extend(text[begin..].iter().map(|&digit| char::from(digit & 0x7f)));
}

/// A sign, twenty digits and a point.
const MOST_BYTES: usize = 22;

/// Digits of which the last so many are decimals, at the end of some bytes, and where they begin.
fn digits_of(negative: bool, mut digits: u64, decimals: usize) -> ([u8; MOST_BYTES], usize) {
    let mut text = [b'0'; MOST_BYTES];
    let mut begin = text.len();
    let mut push = |byte: u8| {
        begin -= 1;
        text[begin] = byte;
    };
    if decimals > 0 {
        for _ in 0..decimals {
            push(b'0' + (digits % 10) as u8);
            digits /= 10;
        }
        push(b'.');
    }
    loop {
        push(b'0' + (digits % 10) as u8);
        digits /= 10;
        if digits == 0 {
            break;
        }
    }
    if negative {
        push(b'-');
    }
    (text, begin)
}

/// Appends a whole number in two digits, as clocks and days have them; of a larger one the last two.
pub(crate) fn push_two(value: u32, out: &mut String) {
    for digit in [value / 10 % 10, value % 10] {
        out.push(char::from(b'0' + digit as u8));
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn text(value: f64, decimals: usize) -> String {
        let mut text = String::new();
        push_fixed(value, decimals, &mut text);
        text
    }

    #[test]
    fn halves_and_nothing_are_written_as_ever() {
        assert_eq!(text(0.125, 2), "0.12");
        assert_eq!(text(0.375, 2), "0.38");
        assert_eq!(text(-0.04, 1), "0.0");
        assert_eq!(text(-2.5, 0), "-2");
        assert_eq!(text(9.996, 2), "10.00");
        assert_eq!(text(0.07, 3), "0.070");
        assert_eq!(text(f64::NAN, 1), "NaN");
    }

    /// What the standard library writes, without the sign of nothing.
    fn written(value: f64, decimals: usize) -> String {
        let text = format!("{value:.decimals$}");
        match text.strip_prefix('-') {
            Some(nothing) if !nothing.contains(|c: char| ('1'..='9').contains(&c)) => nothing.to_owned(),
            _ => text,
        }
    }

    proptest! {
        #[test]
        fn the_standard_library_writes_the_same(value in -1e10..1e10_f64, decimals in 0..9_usize, scale in 0..12_i32) {
            let value = value / 10_f64.powi(scale);
            prop_assert_eq!(text(value, decimals), written(value, decimals));
            prop_assert_eq!(fixed(value, decimals).to_bits(), text(value, decimals).parse::<f64>().unwrap().to_bits());
        }

        #[test]
        fn short_decimals_are_written_the_same(whole in -100_000..100_000_i32, decimals in 0..4_usize) {
            for value in [f64::from(whole) / 1000.0, f64::from(whole) / 16.0] {
                prop_assert_eq!(text(value, decimals), written(value, decimals));
            }
        }

        #[test]
        fn whole_numbers_are_written_the_same(value in any::<i64>()) {
            let (mut text, mut bytes) = (String::new(), Vec::new());
            push_whole(value, &mut text);
            push_whole_bytes(value, &mut bytes);
            prop_assert_eq!(&bytes, text.as_bytes());
            prop_assert_eq!(text, value.to_string());
        }

        #[test]
        fn small_whole_numbers_are_written_the_same(value in -1100..1100_i64) {
            let mut bytes = Vec::new();
            push_whole_bytes(value, &mut bytes);
            prop_assert_eq!(bytes, value.to_string().into_bytes());
        }
    }
}

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
    let whole = scaled.trunc();
    let rest = scaled - whole;
    (scaled < LARGEST && (rest - 0.5).abs() > TIE).then(|| {
        let digits = whole as u64 + u64::from(rest > 0.5);
        (value < 0.0 && digits > 0, digits)
    })
}

/// Appends a whole number.
pub(crate) fn push_whole(value: i64, out: &mut String) {
    push_digits(value < 0, value.unsigned_abs(), 0, out);
}

/// Appends digits of which the last so many are decimals.
fn push_digits(negative: bool, mut digits: u64, decimals: usize, out: &mut String) {
    // A sign, twenty digits and a point.
    let mut text = [b'0'; 22];
    let mut begin = text.len();
    let least = begin - decimals - usize::from(decimals > 0) - 1;
    while digits > 0 || begin > least {
        if decimals > 0 && begin == text.len() - decimals {
            begin -= 1;
            text[begin] = b'.';
            continue;
        }
        begin -= 1;
        text[begin] = b'0' + (digits % 10) as u8;
        digits /= 10;
    }
    if negative {
        begin -= 1;
        text[begin] = b'-';
    }
    out.push_str(std::str::from_utf8(&text[begin..]).unwrap_or_default());
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
            let mut text = String::new();
            push_whole(value, &mut text);
            prop_assert_eq!(text, value.to_string());
        }
    }
}

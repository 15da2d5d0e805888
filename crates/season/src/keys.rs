//! A TOML text read key by key, with the place of every value kept for messages.

use std::ops::Range;

use boutwise_track::Setting;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

use crate::error::{Flaw, suggestion};
use crate::sheet::check_name;

/// A value with its place in the text.
pub(crate) type Value<'a> = Spanned<DeValue<'a>>;

/// Reads the text as TOML.
pub(crate) fn read_toml(text: &str) -> Result<Spanned<DeTable<'_>>, Flaw> {
    DeTable::parse(text).map_err(|error| {
        let span = error.span().unwrap_or(0..0);
        if let Some(curly) = curly_quote(text, span.start) {
            return curly;
        }
        Flaw::new(
            span,
            error.message().trim().replace('\n', ", "),
            "TOML: key = value, texts between \" and \"",
            "check quotes, brackets and equals signs on this line and the one before",
        )
    })
}

/// A quote that a word processor has curled, in the line of a flaw.
fn curly_quote(text: &str, at: usize) -> Option<Flaw> {
    let before = (0..=at.min(text.len())).rev().find_map(|at| text.get(..at))?;
    let start = before.rfind('\n').map_or(0, |end| end + 1);
    let line = text.get(start..)?.lines().next()?;
    let (offset, curly) = line
        .char_indices()
        .find(|(_, c)| "\u{201c}\u{201d}\u{201e}\u{2018}\u{2019}\u{201a}\u{ab}\u{bb}".contains(*c))?;
    let span = start + offset..start + offset + curly.len_utf8();
    let mend = "write a straight \" on both sides; a plain text editor does not curl it";
    Some(Flaw::new(span, format!("the curly quote {curly}"), "texts between \" and \"", mend))
}

/// Refuses the first key that is not known, and says which one may have been meant.
pub(crate) fn refuse_unknown(table: &DeTable<'_>, place: &str, known: &[&str]) -> Result<(), Flaw> {
    let first = table
        .keys()
        .filter(|key| !known.contains(&key.get_ref().as_ref()))
        .min_by_key(|key| key.span().start);
    let Some(key) = first else { return Ok(()) };
    let word = key.get_ref().as_ref();
    let mend = match suggestion(word, known.iter().copied()) {
        Some(meant) => format!("write {meant}"),
        None => "take the line out".to_owned(),
    };
    Err(Flaw::new(
        key.span(),
        format!("unknown key \"{word}\" {place}"),
        format!("one of {}", known.join(", ")),
        mend,
    ))
}

fn wrong_kind(value: &Value<'_>, key: &str, expected: &str, example: &str) -> Flaw {
    let found = match value.get_ref() {
        DeValue::String(_) => "a text",
        DeValue::Integer(_) => "a whole number",
        DeValue::Float(_) => "a number",
        DeValue::Boolean(_) => "true or false",
        DeValue::Datetime(_) => "a date",
        DeValue::Array(_) => "a list",
        DeValue::Table(_) => "a table",
    };
    Flaw::new(value.span(), format!("{key} is {found}"), expected, format!("write {key} = {example}"))
}

/// The value as a text.
pub(crate) fn text<'v>(value: &'v Value<'_>, key: &str, example: &str) -> Result<&'v str, Flaw> {
    value.get_ref().as_str().ok_or_else(|| wrong_kind(value, key, "a text between \" and \"", example))
}

/// The value as a name.
pub(crate) fn name<'v>(value: &'v Value<'_>, key: &str, example: &str) -> Result<&'v str, Flaw> {
    let name = text(value, key, example)?.trim();
    check_name(name, &value.span()).map(|()| name)
}

/// The value as a number within limits; whole numbers count too.
pub(crate) fn number(value: &Value<'_>, key: &str, limits: (f64, f64), example: &str) -> Result<f64, Flaw> {
    let (low, high) = limits;
    let expected = format!("a number from {low} to {high}");
    let digits = match value.get_ref() {
        DeValue::Float(float) => float.as_str().to_owned(),
        DeValue::Integer(integer) if integer.radix() == 10 => integer.as_str().to_owned(),
        _ => return Err(wrong_kind(value, key, &expected, example)),
    };
    match digits.replace('_', "").parse::<f64>() {
        Ok(number) if number >= low && number <= high => Ok(number),
        _ => Err(Flaw::new(
            value.span(),
            format!("{key} = {digits}"),
            expected,
            format!("write {key} = {example}"),
        )),
    }
}

/// The value as a whole number within limits.
pub(crate) fn whole(value: &Value<'_>, key: &str, limits: (u32, u32), example: &str) -> Result<u32, Flaw> {
    let (low, high) = limits;
    let expected = format!("a whole number from {low} to {high}");
    let DeValue::Integer(integer) = value.get_ref() else {
        return Err(wrong_kind(value, key, &expected, example));
    };
    let digits = integer.as_str().replace('_', "");
    match u32::from_str_radix(digits.trim_start_matches('+'), integer.radix()) {
        Ok(number) if (low..=high).contains(&number) => Ok(number),
        _ => Err(Flaw::new(
            value.span(),
            format!("{key} = {digits}"),
            expected,
            format!("write {key} = {example}"),
        )),
    }
}

/// The value as what a setting takes.
pub(crate) fn setting(value: &Value<'_>, setting: &Setting) -> Result<f64, Flaw> {
    let (limits, example) = ((setting.lowest, setting.highest), setting.value.to_string());
    if !setting.is_whole {
        return number(value, setting.name, limits, &example);
    }
    let DeValue::Integer(_) = value.get_ref() else {
        let expected = format!("a whole number from {} to {}", setting.lowest, setting.highest);
        return Err(wrong_kind(value, setting.name, &expected, &example));
    };
    number(value, setting.name, limits, &example)
}

/// The value as a list.
pub(crate) fn list<'v, 'a>(
    value: &'v Value<'a>,
    key: &str,
    example: &str,
) -> Result<Vec<&'v Value<'a>>, Flaw> {
    match value.get_ref().as_array() {
        Some(array) => Ok(array.iter().collect()),
        None => Err(wrong_kind(value, key, "a list between [ and ]", example)),
    }
}

/// Moves a span inside a TOML text value to the whole file; where escapes hide it, the whole value.
pub(crate) fn span_in_file(file: &str, value: &Value<'_>, inner: Range<usize>) -> Range<usize> {
    let outer = value.span();
    let source = file.get(outer.clone()).unwrap_or_default();
    match value.get_ref().as_str().and_then(|decoded| source.find(decoded)) {
        Some(offset) => outer.start + offset + inner.start..outer.start + offset + inner.end,
        None => outer,
    }
}

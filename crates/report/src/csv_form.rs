//! What a CSV table is written for: the separator, the decimal sign and the mark at its beginning that spreadsheets of a
//! country expect.

use std::fmt;
use std::str::FromStr;

/// How tables are written as CSV. `Default` is what every program reads: comma, decimal point, no byte-order mark.
///
/// ```
/// use boutwise_report::CsvForm;
///
/// let form: CsvForm = "de".parse().expect("a language");
/// assert_eq!((form.separator, form.decimal_sign, form.byte_order_mark), (b';', ',', true));
/// assert!("de-CH".parse::<CsvForm>().is_ok_and(|form| form.decimal_sign == '.'));
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct CsvForm {
    /// Stands between cells.
    pub separator: u8,
    /// Stands before the digits after the whole.
    pub decimal_sign: char,
    /// Whether the text begins with U+FEFF, by which spreadsheets know UTF-8.
    pub byte_order_mark: bool,
}

impl Default for CsvForm {
    fn default() -> Self {
        Self { separator: b',', decimal_sign: '.', byte_order_mark: false }
    }
}

/// Semicolon and decimal point, whatever the country.
const EXCEL: CsvForm = CsvForm { separator: b';', decimal_sign: '.', byte_order_mark: true };

/// Languages with a decimal comma (Unicode CLDR 48, number symbols of the Latin digits).
const COMMA: &str = "af az be bg br bs ca cs cv da de el eo es et eu ff fi fo fr fy gl hr hu hy ia id ie in is it jv jw \
    ka kk kl ku ky lb ln lo lt lu lv mk mo nb nl nn no oc os pl ps pt rm rn ro ru rw sc se sg sh sk sl sq sr su sv tg tk \
    tr tt uk uz vi wo";

/// Languages with a decimal point (as above).
const POINT: &str = "ak am ar as ba bm bn bo ce cy dz ee en fa ga gd gu gv ha he hi ig ii iw ja ji ki km kn ko ks kw lg \
    mg mi ml mn mr ms mt my nd ne om or pa qu sa sd si sn so st sw ta te th ti tl tn to ug ur xh yi yo zh zu";

/// Languages where some regions (letters, or the digits of an area) or scripts have the other sign of the two (as above).
const OTHERWISE: [(&str, &str); 11] = [
    ("ar", "DZ LB LY MA MR TN"),
    ("de", "CH LI"),
    ("en", "AT BE CZ DE DK EE ES FI FR GE HU ID IT LT LV NL NO PL PT RO SE SI SK UA ZA"),
    ("es", "BR BZ CU DO GT HN MX NI PA PE PR SV US 419"),
    ("ff", "ADLM"),
    ("it", "CH"),
    ("kk", "CN ARAB"),
    ("ku", "IQ"),
    ("ms", "BN ID"),
    ("qu", "BO"),
    ("sw", "CD"),
];

/// `excel`, or a language tag of a language, a script and a region (BCP 47), the last two where they matter: `de`, `de-CH`,
/// `sr-Latn-RS`.
///
/// Where the decimal sign is a comma, cells are parted by semicolons (common practice, no source).
impl FromStr for CsvForm {
    type Err = UnknownLocale;

    fn from_str(text: &str) -> Result<Self, UnknownLocale> {
        if text.eq_ignore_ascii_case("excel") {
            return Ok(EXCEL);
        }
        let mut parts = text.split(['-', '_']);
        let language = parts.next().unwrap_or_default().to_ascii_lowercase();
        let rest: Vec<String> = parts.map(str::to_ascii_uppercase).collect();
        let is_tag = match &rest[..] {
            [] => true,
            [one] => is_script(one) || is_region(one),
            [script, region] => is_script(script) && is_region(region),
            _ => false,
        };
        if !is_tag {
            return Err(UnknownLocale);
        }
        let has = |list: &str, word: &str| list.split_ascii_whitespace().any(|listed| listed == word);
        let is_otherwise = OTHERWISE
            .iter()
            .any(|(other, words)| *other == language && rest.iter().any(|word| has(words, word)));
        let has_comma = match (has(COMMA, &language), has(POINT, &language)) {
            (false, false) => return Err(UnknownLocale),
            (has_comma, _) => has_comma != is_otherwise,
        };
        let (separator, decimal_sign) = if has_comma { (b';', ',') } else { (b',', '.') };
        Ok(Self { separator, decimal_sign, byte_order_mark: true })
    }
}

/// Four letters (BCP 47, section 2.2.3).
fn is_script(word: &str) -> bool {
    word.len() == 4 && word.bytes().all(|byte| byte.is_ascii_alphabetic())
}

/// Two letters or three digits (BCP 47, section 2.2.4).
fn is_region(word: &str) -> bool {
    match word.len() {
        2 => word.bytes().all(|byte| byte.is_ascii_alphabetic()),
        3 => word.bytes().all(|byte| byte.is_ascii_digit()),
        _ => false,
    }
}

/// A language that is not known.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct UnknownLocale;

impl fmt::Display for UnknownLocale {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        formatter.write_str("expected a language of two letters, with its region where that matters, such as `de`, `pt-BR` or `en-GB`; or `excel`")
    }
}

impl std::error::Error for UnknownLocale {}

#[cfg(test)]
mod tests {
    use super::*;

    /// The browser's tests hold the lists against the whole of CLDR.
    #[test]
    fn regions_outrank_languages() {
        let signs = |tags: &[&str]| -> String {
            tags.iter().map(|tag| tag.parse::<CsvForm>().expect(tag).decimal_sign).collect()
        };
        assert_eq!(signs(&["de", "DE", "de-DE", "de_AT", "de-CH", "de-Latn-LI"]), ",,,,..");
        assert_eq!(signs(&["en", "en-GB", "en-ZA", "es", "es-AR", "es-MX", "es-419"]), "..,,,..");
        assert_eq!(signs(&["kk", "kk-Cyrl", "kk-Arab", "kk-CN"]), ",,..");
    }

    #[test]
    fn what_is_no_language_is_refused_with_examples() {
        for wrong in [
            "",
            "german",
            "xx",
            "comma",
            "1",
            "de-",
            "de-Switzerland",
            "de-C1",
            "de-CH-1996",
            "de-CH-Latn",
            "en GB",
        ] {
            let refused = wrong.parse::<CsvForm>().expect_err(wrong);
            assert!(refused.to_string().contains("`de`"));
        }
    }
}

//! Small pieces of sentences: lists, shares, counts, durations.

/// `a`, `a and b`, `a, b and c`.
pub(crate) fn list(items: &[impl AsRef<str>]) -> String {
    match items {
        [] => String::new(),
        [only] => only.as_ref().to_owned(),
        [first @ .., last] => {
            let first: Vec<&str> = first.iter().map(AsRef::as_ref).collect();
            format!("{} and {}", first.join(", "), last.as_ref())
        }
    }
}

/// What stands in place of sentences that quote a file, where names are not to be told.
pub(crate) fn withheld(sentences: &[String], file: &str) -> Vec<String> {
    match sentences.len() {
        0 => Vec::new(),
        count => vec![format!("{file}: {} left out, as names are not told", times(count, "remark"))],
    }
}

/// Decimals after which no share is taken any further (own choice: far below what anybody measures).
const MOST_DECIMALS: usize = 6;

/// A share in %, rounded as pages round it (the tables' one decimal, then whole); with as many decimals as it takes not to
/// seem to reach one of the limits that it is held against, or not to, where it does otherwise.
pub(crate) fn share(pct: f64, limits_pct: &[f64]) -> String {
    let side = |pct: f64| limits_pct.iter().map(|limit| pct.total_cmp(limit)).collect::<Vec<_>>();
    let rounded = |pct: f64, decimals: usize| format!("{pct:.decimals$}");
    let tells = |text: &String| text.parse().is_ok_and(|said| side(said) == side(pct));
    let whole = rounded(rounded(pct, 1).parse().unwrap_or(pct), 0);
    let finer = (1..=MOST_DECIMALS).map(|decimals| rounded(pct, decimals));
    let told = std::iter::once(whole).chain(finer).find(tells);
    format!("{} %", told.unwrap_or_else(|| rounded(pct, 0)))
}

/// `1 session`, `2 sessions`.
pub(crate) fn times(count: usize, noun: &str) -> String {
    if count == 1 { format!("1 {noun}") } else { format!("{count} {noun}s") }
}

/// Minutes and seconds, or hours before them.
pub(crate) fn clock(seconds: f64) -> String {
    let whole = seconds.round().max(0.0) as u64;
    match whole / 3600 {
        0 => format!("{}:{:02}", whole / 60, whole % 60),
        hours => format!("{hours}:{:02}:{:02}", whole / 60 % 60, whole % 60),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pieces_read_as_people_write_them() {
        assert_eq!((list(&["9", "10"]), list(&["9", "8", "10"])), ("9 and 10".into(), "9, 8 and 10".into()));
        assert_eq!((times(1, "session"), times(2, "session")), ("1 session".into(), "2 sessions".into()));
        assert_eq!((clock(2305.918), clock(3725.0)), ("38:26".into(), "1:02:05".into()));
    }

    #[test]
    fn a_share_is_rounded_but_never_across_a_limit_that_it_is_held_against() {
        assert_eq!((share(57.6, &[60.0]), share(57.46, &[60.0])), ("58 %".into(), "58 %".into()));
        assert_eq!((share(90.0, &[90.0]), share(87.5, &[87.5])), ("90 %".into(), "87.5 %".into()));
        assert_eq!((share(89.6, &[90.0]), share(89.96, &[90.0])), ("89.6 %".into(), "89.96 %".into()));
        assert_eq!((share(15.4, &[15.0]), share(90.4, &[90.0])), ("15.4 %".into(), "90.4 %".into()));
        assert_eq!((share(89.6, &[]), share(59.7, &[90.0, 60.0])), ("90 %".into(), "59.7 %".into()));
    }
}

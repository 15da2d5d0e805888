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

/// A share in whole %, never rounded up to a line that it does not reach.
pub(crate) fn share(pct: f64) -> String {
    format!("{:.0} %", (pct + 1e-9).floor())
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
        assert_eq!((share(89.96), share(90.0)), ("89 %".into(), "90 %".into()));
        assert_eq!((times(1, "session"), times(2, "session")), ("1 session".into(), "2 sessions".into()));
        assert_eq!((clock(2305.918), clock(3725.0)), ("38:26".into(), "1:02:05".into()));
    }
}

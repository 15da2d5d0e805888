//! Tables inside hand-written text: regenerating replaces the tables and keeps the words.

/// The text with the block `name` replaced; a block stands between `<!-- table NAME -->` and `<!-- end -->` lines.
/// `None` where the text has no such block.
///
/// ```
/// use boutwise_truth::evaluation::fill_block;
/// let text = "Words.\n<!-- table reps -->\nold\n<!-- end -->\nMore words.\n";
/// let filled = fill_block(text, "reps", "| new |\n");
/// assert_eq!(filled.as_deref(), Some("Words.\n<!-- table reps -->\n| new |\n<!-- end -->\nMore words.\n"));
/// ```
pub fn fill_block(text: &str, name: &str, table: &str) -> Option<String> {
    let opening = format!("<!-- table {name} -->\n");
    let start = text.find(&opening)? + opening.len();
    let end = start + text[start..].find("<!-- end -->")?;
    let newline = if table.ends_with('\n') { "" } else { "\n" };
    Some(format!("{}{table}{newline}{}", &text[..start], &text[end..]))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_around_a_block_stay_and_a_missing_block_is_said() {
        let text = "a\n<!-- table x -->\n<!-- end -->\nb\n<!-- table y -->\nkeep\n<!-- end -->\n";
        let filled = fill_block(text, "x", "t").unwrap_or_default();
        assert_eq!(filled, "a\n<!-- table x -->\nt\n<!-- end -->\nb\n<!-- table y -->\nkeep\n<!-- end -->\n");
        assert_eq!(fill_block(&filled, "x", "t").as_deref(), Some(filled.as_str()));
        assert_eq!(fill_block(text, "z", "t"), None);
    }
}

//! Tables inside hand-written text: regenerating replaces the tables and keeps the words. Tables of a small draw, kept in a
//! file of their own, show whether what makes the tables has changed.

use std::io;
use std::path::Path;

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

/// Tables as one text, each under its name.
fn joined(tables: &[(String, String)]) -> String {
    tables.iter().map(|(name, table)| format!("## {name}\n\n{}\n\n", table.trim_end())).collect()
}

/// Keeps tables in a file of their own.
///
/// # Errors
/// Where the file cannot be written.
pub fn keep_tables(path: &Path, tables: &[(String, String)]) -> io::Result<()> {
    if let Some(folder) = path.parent() {
        std::fs::create_dir_all(folder)?;
    }
    std::fs::write(path, joined(tables))
}

/// Compares tables with those that were kept, to the byte.
///
/// # Errors
/// Where the file cannot be read, or differs: the first line that does, as it was kept and as it is made now.
pub fn compare_tables(path: &Path, tables: &[(String, String)]) -> io::Result<()> {
    let (kept, made) = (std::fs::read_to_string(path)?, joined(tables));
    if kept == made {
        return Ok(());
    }
    let lines = kept.lines().map(Some).chain(std::iter::repeat(None));
    let pairs = lines.zip(made.lines().map(Some).chain([None]));
    let (line, (kept, made)) =
        pairs.enumerate().find(|(_, (kept, made))| kept != made).unwrap_or((0, (None, None)));
    Err(io::Error::other(format!(
        "{}, line {}: kept {:?}, made {:?}; where the change is meant, keep the tables anew and make those of the docs anew",
        path.display(),
        line + 1,
        kept.unwrap_or("nothing"),
        made.unwrap_or("nothing")
    )))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn kept_tables_are_compared_to_the_byte() {
        let folder = std::env::temp_dir().join(format!("boutwise-kept-tables-{}", std::process::id()));
        let path = folder.join("tables.md");
        let table = |cell: &str| vec![("laid".to_owned(), format!("| a |\n| {cell} |\n"))];
        keep_tables(&path, &table("1")).expect("the temporary folder takes files");
        assert!(compare_tables(&path, &table("1")).is_ok());
        for (other, line) in [("2", "line 4"), ("1 |\n| 3", "line 5"), ("", "line 4")] {
            let error = compare_tables(&path, &table(other)).expect_err("they differ").to_string();
            assert!(error.contains(line), "{error}");
        }
        std::fs::remove_dir_all(&folder).expect("it was made above");
    }

    #[test]
    fn words_around_a_block_stay_and_a_missing_block_is_said() {
        let text = "a\n<!-- table x -->\n<!-- end -->\nb\n<!-- table y -->\nkeep\n<!-- end -->\n";
        let filled = fill_block(text, "x", "t").unwrap_or_default();
        assert_eq!(filled, "a\n<!-- table x -->\nt\n<!-- end -->\nb\n<!-- table y -->\nkeep\n<!-- end -->\n");
        assert_eq!(fill_block(&filled, "x", "t").as_deref(), Some(filled.as_str()));
        assert_eq!(fill_block(text, "z", "t"), None);
    }
}

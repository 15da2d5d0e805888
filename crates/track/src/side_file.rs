//! Files that operating systems leave beside others.

/// What is said of such a file.
pub(crate) const SIDE_FILE: &str = "a file that an operating system left beside others";

/// Whether a path names a side file: a resource fork, a thumbnail, the settings of a folder's view.
///
/// The names are common practice of the operating systems that write them, no source.
pub(crate) fn is_side_file(path: &str) -> bool {
    let mut parts = path.rsplit(['/', '\\']);
    let name = parts.next().unwrap_or_default();
    let lower = name.to_ascii_lowercase();
    name.starts_with("._")
        || matches!(
            lower.as_str(),
            ".ds_store" | "thumbs.db" | "ehthumbs.db" | "desktop.ini" | ".directory" | ".localized"
        )
        || parts.any(|folder| matches!(folder, "__MACOSX" | ".thumbnails" | "$RECYCLE.BIN"))
}

#[cfg(test)]
mod tests {
    use super::is_side_file;

    #[test]
    fn side_files_are_told_from_recordings() {
        for path in [
            "._run.gpx",
            "a/._run.gpx",
            "__MACOSX/run.gpx",
            "x/__MACOSX/y/._run.gpx",
            "Thumbs.db",
            "a\\.DS_Store",
        ] {
            assert!(is_side_file(path), "{path}");
        }
        for path in ["run.gpx", ".run.gpx", "a/_run.gpx", "MACOSX/run.gpx", "thumbs/run.gpx"] {
            assert!(!is_side_file(path), "{path}");
        }
    }
}

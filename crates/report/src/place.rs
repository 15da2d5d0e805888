//! Where a result may lie: beside the recordings, never among them.

use std::path::{Path, PathBuf};

use crate::error::{Error, Result};

/// `FOLDER-audit` beside the folder.
pub fn result_beside(folder: &Path) -> PathBuf {
    let named = |path: &Path| {
        let mut name = path.file_name()?.to_owned();
        name.push("-audit");
        Some(path.with_file_name(name))
    };
    // A folder written as `..` has its name only in full.
    let absolute = std::path::absolute(folder).ok();
    let written = absolute.as_deref().and_then(named);
    written
        .or_else(|| folder.canonicalize().ok().as_deref().and_then(named))
        .unwrap_or_else(|| "audit".into())
}

/// Refuses a result among the recordings, where it would be read as recordings the next time.
///
/// # Errors
/// [`ErrorKind::NotAnEarlierResult`](crate::ErrorKind) where `out` lies inside `folder`; else those of [`lies_inside`].
pub fn refuse_inside(folder: &Path, out: &Path) -> Result<()> {
    if lies_inside(folder, out)? {
        let text = "it lies inside the folder of recordings, where results are never written; name a place beside it \
                    with --out";
        return Err(Error::refused(out, text.to_owned()));
    }
    Ok(())
}

/// Whether a place, which need not be there, is or lies inside a folder.
///
/// # Errors
/// [`ErrorKind::NoRecordings`](crate::ErrorKind) where the folder cannot be looked at, [`ErrorKind::Io`](crate::ErrorKind)
/// where the place cannot.
pub fn lies_inside(folder: &Path, place: &Path) -> Result<bool> {
    let folder = folder.canonicalize().map_err(|error| Error::no_recordings(folder, error))?;
    let unfindable = |error| Error::io(place, "find the output folder", error);
    let mut existing = std::path::absolute(place).map_err(unfindable)?;
    while !existing.exists() && existing.pop() {}
    Ok(folder.is_dir() && existing.canonicalize().map_err(unfindable)?.starts_with(&folder))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[cfg(unix)]
    #[test]
    fn folders_whose_names_are_no_utf8_have_results_of_their_own() {
        use std::ffi::OsStr;
        use std::os::unix::ffi::OsStrExt;
        let [one, other] =
            [b"/x/Z\xe9", b"/x/Z\xe8"].map(|name| result_beside(Path::new(OsStr::from_bytes(name))));
        assert_ne!(one, other);
        assert_eq!(other.as_os_str().as_bytes(), b"/x/Z\xe8-audit");
    }
}

//! The files below a folder, in an order that depends on nothing but their names.

use std::fs::{self, FileType};
use std::io;
use std::path::{Path, PathBuf};

use walkdir::WalkDir;

/// One file to be read, or something in a file's place that must not be opened.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct InputPath {
    /// Where it lies.
    pub path: PathBuf,
    /// Its path below the folder, with `/` between the parts; for a single file, the file's name.
    pub name: String,
    /// Why it cannot be opened: a pipe, a link that leads nowhere, a folder without permission.
    pub obstacle: Option<String>,
}

/// Lists every file at or below `root`, sorted by the bytes of [`InputPath::name`].
///
/// Links are followed; what cannot be followed or opened stays in the list, with the obstacle. Nothing is opened
/// but folders.
///
/// # Errors
/// Where there is nothing at `root`, or it cannot be looked at.
///
/// ```
/// # fn main() -> std::io::Result<()> {
/// let folder = tempfile::tempdir()?;
/// std::fs::create_dir(folder.path().join("anna"))?;
/// std::fs::write(folder.path().join("anna").join("run.gpx"), "<gpx/>")?;
/// let inputs = boutwise_track::find_inputs(folder.path())?;
/// assert_eq!(inputs[0].name, "anna/run.gpx");
/// # Ok(())
/// # }
/// ```
pub fn find_inputs(root: &Path) -> io::Result<Vec<InputPath>> {
    let at_root = |error: io::Error| io::Error::new(error.kind(), format!("{}: {error}", root.display()));
    fs::symlink_metadata(root).map_err(at_root)?;
    let mut inputs = Vec::new();
    for entry in WalkDir::new(root).follow_links(true) {
        match entry {
            Ok(entry) if entry.file_type().is_dir() => {}
            Ok(entry) => {
                let obstacle = obstacle_of(entry.file_type());
                inputs.push(InputPath {
                    name: name_below(root, entry.path()),
                    path: entry.into_path(),
                    obstacle,
                });
            }
            Err(error) => {
                let path = error.path().unwrap_or(root).to_owned();
                inputs.push(InputPath {
                    name: name_below(root, &path),
                    obstacle: Some(describe(&error, &path)),
                    path,
                });
            }
        }
    }
    inputs.sort_by(|a, b| a.name.cmp(&b.name));
    Ok(inputs)
}

/// Why a thing of this type is never opened.
pub(crate) fn obstacle_of(file_type: FileType) -> Option<String> {
    if file_type.is_file() {
        return None;
    }
    let what = special_type(file_type).unwrap_or("something other than a file");
    Some(format!("{what}; only regular files are opened"))
}

#[cfg(unix)]
fn special_type(file_type: FileType) -> Option<&'static str> {
    use std::os::unix::fs::FileTypeExt;
    if file_type.is_fifo() {
        Some("a pipe")
    } else if file_type.is_socket() {
        Some("a socket")
    } else if file_type.is_block_device() || file_type.is_char_device() {
        Some("a device")
    } else {
        None
    }
}

#[cfg(not(unix))]
fn special_type(_: FileType) -> Option<&'static str> {
    None
}

fn describe(error: &walkdir::Error, path: &Path) -> String {
    if error.loop_ancestor().is_some() {
        return "a circular link: it leads back to a folder above it".to_owned();
    }
    let reason = error.io_error().map_or_else(|| error.to_string(), io::Error::to_string);
    let is_link = fs::symlink_metadata(path).is_ok_and(|metadata| metadata.is_symlink());
    match error.io_error().map(io::Error::kind) {
        Some(io::ErrorKind::NotFound) if is_link => {
            "a dangling link: what it points to does not exist".to_owned()
        }
        Some(io::ErrorKind::PermissionDenied) => format!("no permission to look into it ({reason})"),
        // The operating system gives up on links that point at each other; the kind of that error has no stable name.
        _ if is_link => format!("a circular or broken link ({reason})"),
        _ => format!("it cannot be looked into ({reason})"),
    }
}

fn name_below(root: &Path, path: &Path) -> String {
    let below = path.strip_prefix(root).unwrap_or(path);
    let parts: Vec<_> = below.components().map(|part| part.as_os_str().to_string_lossy()).collect();
    if !parts.is_empty() {
        return parts.join("/");
    }
    root.file_name()
        .map_or_else(|| root.to_string_lossy().into_owned(), |name| name.to_string_lossy().into_owned())
}

//! Where a run writes before its result is whole: a hidden folder beside the output, locked while the run lives.
//!
//! ```text
//! .boutwise-a1b2c3           the new result, not yet whole
//! .boutwise-a1b2c3.lock      held by the run that writes it; holds the name of the output
//! .boutwise-a1b2c3-earlier   the earlier result, for the moment between two moves, where folders can't be exchanged
//! ```
//!
//! The lock ends with its process, however that ends. A workplace whose lock nobody holds is therefore what a dead run
//! left: it is cleared, and an earlier result that stands aside is put back if its place is empty. Whatever has no lock
//! file of this kind beside it was not written by this program, and is left alone.

use std::ffi::{OsStr, OsString};
use std::fs::{self, File, TryLockError};
use std::io::{self, Read, Write};
use std::path::{Path, PathBuf};

use crate::at_once::of_each;

/// How the names of all workplaces begin.
const PREFIX: &str = ".boutwise-";
/// How the name of a lock file ends.
const LOCK_ENDING: &str = ".lock";
/// First line of a lock file: what tells it from a file of somebody else.
const LOCK_HEADER: &[u8] = b"boutwise workplace of\n";
/// A lock file holds a line and a file name; more is none of ours.
const LOCK_LIMIT_BYTES: u64 = 4096;
/// Attempts to hold a new lock file before another run that clears takes it for a dead one's (own choice).
const ATTEMPTS: usize = 8;

/// A hidden folder in which one run writes; removed when it is dropped.
#[derive(Debug)]
pub(crate) struct Workplace {
    folder: PathBuf,
    lock_path: PathBuf,
    /// Held while this lives.
    _lock: File,
}

impl Workplace {
    /// Begins a workplace for the output at `place`.
    pub(crate) fn begin(place: &Path) -> io::Result<Self> {
        let parent = parent_of(place)?;
        for _ in 0..ATTEMPTS {
            let mut lock = tempfile::Builder::new().prefix(PREFIX).suffix(LOCK_ENDING).tempfile_in(parent)?;
            lock.as_file().lock()?;
            lock.write_all(&lock_text(place))?;
            let (lock_file, lock_path) = lock.keep().map_err(|error| error.error)?;
            // A run that clears may have taken it for a dead one's between its making and its locking.
            if !is_at(&lock_file, &lock_path) {
                continue;
            }
            let folder = folder_of(&lock_path);
            let workplace = Self { folder, lock_path, _lock: lock_file };
            fs::create_dir(&workplace.folder)?;
            return Ok(workplace);
        }
        Err(io::Error::other("another run takes every workplace away"))
    }

    /// The folder to write into.
    pub(crate) fn folder(&self) -> &Path {
        &self.folder
    }

    /// Where the earlier result stands between two moves.
    pub(crate) fn aside(&self) -> PathBuf {
        aside_of(&self.folder)
    }
}

impl Drop for Workplace {
    fn drop(&mut self) {
        // What can't be removed now is cleared by a later run.
        if remove(&self.folder).and_then(|()| remove(&self.aside())).is_ok() {
            _ = fs::remove_file(&self.lock_path);
        }
    }
}

/// Clears what dead runs left for `place`, and puts an earlier result back that one of them had moved aside.
///
/// # Errors
/// Where an earlier result cannot be put back. What cannot be cleared stays for a later run.
pub(crate) fn recover(place: &Path) -> io::Result<()> {
    let Ok(parent) = parent_of(place) else { return Ok(()) };
    let Ok(entries) = fs::read_dir(parent) else { return Ok(()) };
    for entry in entries.flatten() {
        let name = entry.file_name();
        if is_lock_name(&name) && entry.file_type().is_ok_and(|kind| kind.is_file()) {
            clear_if_dead(&entry.path(), place)?;
        }
    }
    Ok(())
}

/// Clears the workplace of a lock file that nobody holds, if it was one for `place`.
fn clear_if_dead(lock_path: &Path, place: &Path) -> io::Result<()> {
    let Ok(mut lock) = File::options().read(true).write(true).open(lock_path) else { return Ok(()) };
    match lock.try_lock() {
        Ok(()) => {}
        // Where the system has no locks, nobody can be told to be dead.
        Err(TryLockError::WouldBlock | TryLockError::Error(_)) => return Ok(()),
    }
    let mut text = Vec::new();
    let is_read = (&mut lock).take(LOCK_LIMIT_BYTES).read_to_end(&mut text).is_ok();
    // A run that died before the whole line was written had made nothing else yet.
    let is_of_place = lock_text(place).starts_with(&text);
    if !is_read || !is_of_place || !is_at(&lock, lock_path) {
        return Ok(());
    }
    let folder = folder_of(lock_path);
    let aside = aside_of(&folder);
    if is_there(&aside) && !is_there(place) {
        fs::rename(&aside, place)?;
    }
    if remove(&folder).and_then(|()| remove(&aside)).is_ok() {
        _ = fs::remove_file(lock_path);
    }
    Ok(())
}

/// What the lock file of a workplace for `place` holds.
fn lock_text(place: &Path) -> Vec<u8> {
    [LOCK_HEADER, place.file_name().unwrap_or_default().as_encoded_bytes()].concat()
}

fn parent_of(place: &Path) -> io::Result<&Path> {
    place.parent().ok_or_else(|| io::Error::other("the output folder cannot be the root of a disk"))
}

fn is_lock_name(name: &OsStr) -> bool {
    let name = name.as_encoded_bytes();
    name.starts_with(PREFIX.as_bytes()) && name.ends_with(LOCK_ENDING.as_bytes())
}

/// The folder beside a lock file.
fn folder_of(lock_path: &Path) -> PathBuf {
    lock_path.with_extension("")
}

fn aside_of(folder: &Path) -> PathBuf {
    let mut name = OsString::from(folder);
    name.push("-earlier");
    PathBuf::from(name)
}

fn is_there(path: &Path) -> bool {
    fs::symlink_metadata(path).is_ok()
}

/// Removes a folder with all in it; one that is not there is removed already. What stands in it was replaced or never
/// finished, so that it goes where it is read-only, too.
pub(crate) fn remove(folder: &Path) -> io::Result<()> {
    // Large files take a while, which need not be one after the other; what stays is met again below. A link is not followed.
    if fs::symlink_metadata(folder).is_ok_and(|found| found.is_dir()) {
        let entries: Vec<_> = fs::read_dir(folder).into_iter().flatten().flatten().collect();
        of_each(&entries, |entry| _ = fs::remove_file(entry.path()))
    }
    let removed = match fs::remove_dir_all(folder) {
        Err(error) if error.kind() == io::ErrorKind::PermissionDenied => {
            make_writable(folder).and_then(|()| fs::remove_dir_all(folder))
        }
        other => other,
    };
    match removed {
        Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(()),
        other => other,
    }
}

/// Lets the owner take away what lies in a folder and in those below it; links are not followed.
#[cfg(unix)]
fn make_writable(folder: &Path) -> io::Result<()> {
    use std::os::unix::fs::PermissionsExt;
    let mode = fs::symlink_metadata(folder)?.permissions().mode();
    fs::set_permissions(folder, fs::Permissions::from_mode(mode | 0o700))?;
    for entry in fs::read_dir(folder)? {
        let entry = entry?;
        if entry.file_type()?.is_dir() {
            make_writable(&entry.path())?;
        }
    }
    Ok(())
}

/// Elsewhere a folder that lets nothing be taken away stays.
#[cfg(not(unix))]
fn make_writable(_: &Path) -> io::Result<()> {
    Err(io::ErrorKind::PermissionDenied.into())
}

/// Whether an open file is the one that stands at a path.
#[cfg(unix)]
fn is_at(file: &File, path: &Path) -> bool {
    use std::os::unix::fs::MetadataExt;
    match (file.metadata(), fs::symlink_metadata(path)) {
        (Ok(open), Ok(standing)) => (open.dev(), open.ino()) == (standing.dev(), standing.ino()),
        _ => false,
    }
}

/// Whether an open file is the one that stands at a path: open files keep their names here.
#[cfg(not(unix))]
fn is_at(_: &File, path: &Path) -> bool {
    is_there(path)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn names(folder: &Path) -> Vec<String> {
        let entries = fs::read_dir(folder).expect("a folder");
        let mut names: Vec<_> = entries
            .map(|entry| entry.expect("an entry").file_name().to_string_lossy().into_owned())
            .collect();
        names.sort();
        names
    }

    /// A workplace as a killed run leaves it: the same files, and a lock that nobody holds.
    fn die(workplace: Workplace) -> PathBuf {
        let folder = workplace.folder.clone();
        let Workplace { _lock, .. } = &workplace;
        _lock.unlock().expect("it was locked");
        std::mem::forget(workplace);
        folder
    }

    #[test]
    fn what_a_dead_run_left_is_cleared_and_what_a_living_one_writes_is_not() {
        let parent = tempfile::tempdir().expect("a temporary folder");
        let place = parent.path().join("squad-audit");
        let living = Workplace::begin(&place).expect("a place");
        fs::write(living.folder().join("files.csv"), "half").expect("a file");
        let dead = die(Workplace::begin(&place).expect("a place"));
        fs::write(dead.join("files.csv"), "half").expect("a file");
        recover(&place).expect("nothing to put back");
        assert!(!dead.exists(), "{:?}", names(parent.path()));
        assert!(living.folder().join("files.csv").exists());
        drop(living);
        assert_eq!(names(parent.path()), Vec::<String>::new());
    }

    #[cfg(unix)]
    #[test]
    fn what_a_link_leads_to_stays() {
        let parent = tempfile::tempdir().expect("a temporary folder");
        let (other, link) = (parent.path().join("other"), parent.path().join("link"));
        fs::create_dir(&other).expect("a folder");
        fs::write(other.join("files.csv"), "whole").expect("a file");
        std::os::unix::fs::symlink(&other, &link).expect("a link");
        remove(&link).expect("a link can be taken away");
        assert_eq!(
            (names(parent.path()), names(&other)),
            (vec!["other".to_owned()], vec!["files.csv".to_owned()])
        );
    }

    // Whoever may do anything is refused nothing: there this shows little (`tests/full/run` is run as somebody else).
    #[cfg(unix)]
    #[test]
    fn what_is_left_goes_where_it_is_read_only_too() {
        use std::os::unix::fs::PermissionsExt;
        let parent = tempfile::tempdir().expect("a temporary folder");
        let place = parent.path().join("squad-audit");
        let dead = die(Workplace::begin(&place).expect("a place"));
        fs::create_dir(dead.join("athletes")).expect("a folder");
        for folder in [&dead, &dead.join("athletes")] {
            fs::write(folder.join("page.html"), "earlier").expect("a file");
        }
        for folder in [&dead.join("athletes"), &dead] {
            fs::set_permissions(folder, fs::Permissions::from_mode(0o555)).expect("it is ours");
        }
        recover(&place).expect("nothing to put back");
        assert_eq!(names(parent.path()), Vec::<String>::new());
    }

    #[test]
    fn an_earlier_result_that_was_moved_aside_is_put_back() {
        let parent = tempfile::tempdir().expect("a temporary folder");
        let place = parent.path().join("squad-audit");
        let dead = die(Workplace::begin(&place).expect("a place"));
        fs::create_dir(aside_of(&dead)).expect("a folder");
        fs::write(aside_of(&dead).join("files.csv"), "earlier").expect("a file");
        recover(&place).expect("a free place");
        assert_eq!(fs::read_to_string(place.join("files.csv")).expect("put back"), "earlier");
        assert_eq!(names(parent.path()), ["squad-audit"]);
    }

    #[test]
    fn the_new_result_stands_when_only_the_clearing_was_missed() {
        let parent = tempfile::tempdir().expect("a temporary folder");
        let place = parent.path().join("squad-audit");
        let dead = die(Workplace::begin(&place).expect("a place"));
        fs::create_dir(aside_of(&dead)).expect("a folder");
        fs::create_dir(&place).expect("a folder");
        fs::write(place.join("files.csv"), "new").expect("a file");
        recover(&place).expect("nothing to put back");
        assert_eq!(fs::read_to_string(place.join("files.csv")).expect("it stands"), "new");
        assert_eq!(names(parent.path()), ["squad-audit"]);
    }

    #[test]
    fn what_this_program_did_not_write_and_what_belongs_to_another_output_stay() {
        let parent = tempfile::tempdir().expect("a temporary folder");
        let place = parent.path().join("squad-audit");
        let other = die(Workplace::begin(&parent.path().join("other")).expect("a place"));
        fs::create_dir(parent.path().join(".boutwise-mine")).expect("a folder");
        fs::write(parent.path().join(".boutwise-mine.lock"), "my own").expect("a file");
        fs::write(parent.path().join(".boutwise-abcdef.lock"), "")
            .expect("a run died before it wrote a line");
        recover(&place).expect("nothing to do");
        assert!(!parent.path().join(".boutwise-abcdef.lock").exists());
        let before = names(parent.path());
        recover(&place).expect("nothing to do");
        assert_eq!(names(parent.path()), before);
        assert!(other.exists());
    }
}

//! The output folder: written whole beside its place, then put there in one move.

use std::collections::{BTreeMap, BTreeSet};
use std::fs::{self, File};
use std::io::{self, BufRead, BufReader, BufWriter, Write};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use boutwise_track::shown;
use serde::Deserialize;
use twox_hash::XxHash3_128;

use crate::at_once::of_each;
use crate::error::{Error, Result};
use crate::workplace::{self, Workplace};

/// The page of a squad, or the index of a larger one.
pub const REPORT_FILE: &str = "report.html";

/// The group on one page for print, and a slip for each person.
pub const GROUP_FILE: &str = "group.html";

/// The folder of the pages of single athletes, where they have pages of their own.
pub const ATHLETE_FOLDER: &str = "athletes";

/// What tells how a result was made.
pub const MANIFEST_FILE: &str = "manifest.json";

/// What a manifest calls the program that wrote it: by this an earlier result is known.
pub const PROGRAM: &str = "boutwise";

/// Files that file managers leave in every folder that somebody looks into.
const LEFT_BY_FILE_MANAGERS: [&str; 3] = [".DS_Store", "Thumbs.db", "desktop.ini"];

/// A folder of results that is being written, not yet in its place.
///
/// The files are written into a hidden folder beside `out`. [`NewFolder::put_in_place`] brings them to the
/// disk and then exchanges the two folders in one move of the operating system (Linux, macOS; elsewhere in two
/// moves, and the first is undone if the second fails, or by the next run where the program ends between them).
/// Whatever stops the program before, `out` stays as it was; a folder that is dropped before it was put in place
/// is removed, and what a killed run left is cleared by the next one.
///
/// A folder `out` that exists is replaced only if it is empty or an earlier result: it holds a manifest of this program, and
/// nothing but the files that the manifest names. Anything else is left alone.
#[derive(Debug)]
pub struct NewFolder {
    place: PathBuf,
    written: PathBuf,
    begun: Begun,
    /// Whether what stands in the place may be replaced.
    check: fn(&Path) -> Result<()>,
    digests: Mutex<BTreeMap<String, u128>>,
}

/// A result that is being written, as somebody else may end it: a signal, for example.
#[derive(Clone, Debug)]
pub struct Begun {
    place: PathBuf,
    /// Empty once the result stands in its place, or was given up.
    workplace: Arc<Mutex<Option<Workplace>>>,
}

impl Begun {
    /// Gives up what was begun and removes it; the output stays as it was. What is written after that fails.
    /// A move into place that is under way is waited for. Returns whether there was anything to give up.
    pub fn give_up(&self) -> bool {
        let mut workplace = self.workplace.lock().unwrap_or_else(PoisonError::into_inner);
        let Some(begun) = workplace.take() else { return false };
        // Other threads may still be making files in it: each try leaves them less to write into.
        for _ in 0..GIVE_UP_TRIES {
            if workplace::remove(begun.folder()).is_ok() {
                break;
            }
            std::thread::sleep(GIVE_UP_PAUSE);
        }
        true
    }

    /// Where the result is to stand.
    pub fn place(&self) -> &Path {
        &self.place
    }
}

/// Tries to remove a folder into which other threads still write, and the pause between: half a second in all.
const GIVE_UP_TRIES: u32 = 25;
const GIVE_UP_PAUSE: std::time::Duration = std::time::Duration::from_millis(20);

impl NewFolder {
    /// Begins a folder that is to stand at `out`; its parent folders are made where they are missing.
    ///
    /// # Errors
    /// [`ErrorKind::NotAnEarlierResult`](crate::ErrorKind) where `out` exists and is something else,
    /// [`ErrorKind::Io`](crate::ErrorKind) where nothing can be written beside it.
    pub fn begin(out: &Path) -> Result<Self> {
        Self::begin_at(out, check_replaceable)
    }

    /// Begins a folder that is to stand at `out` where nothing stands yet, or an empty folder.
    ///
    /// # Errors
    /// As [`NewFolder::begin`], also where `out` is an earlier result.
    pub fn begin_new(out: &Path) -> Result<Self> {
        Self::begin_at(out, check_empty)
    }

    fn begin_at(out: &Path, check: fn(&Path) -> Result<()>) -> Result<Self> {
        let place = match fs::canonicalize(out) {
            Ok(existing) => existing,
            Err(error) if error.kind() == io::ErrorKind::NotFound => {
                std::path::absolute(out).map_err(|error| Error::io(out, "find the output folder", error))?
            }
            Err(error) => return Err(Error::io(out, "find the output folder", error)),
        };
        workplace::recover(&place)
            .map_err(|error| Error::io(&place, "put an earlier result back in its place", error))?;
        check(&place)?;
        let parent = place
            .parent()
            .ok_or_else(|| Error::refused(out, "the output folder cannot be the root of a disk".into()))?;
        fs::create_dir_all(parent).map_err(|error| Error::io(parent, "make the folder", error))?;
        let workplace = Workplace::begin(&place)
            .map_err(|error| Error::io(parent, "write into the folder that is to hold the output", error))?;
        let written = workplace.folder().to_owned();
        let begun = Begun { place: place.clone(), workplace: Arc::new(Mutex::new(Some(workplace))) };
        Ok(Self { place, written, begun, check, digests: Mutex::default() })
    }

    /// What another part of the program needs to give this result up.
    pub fn begun(&self) -> Begun {
        self.begun.clone()
    }

    /// Creates a file of the result and lets `write` fill it; `name` may contain `/`.
    ///
    /// # Errors
    /// Those of `write`, and [`ErrorKind::Io`](crate::ErrorKind) where the file cannot be written.
    pub fn file(&self, name: &str, write: impl FnOnce(&mut dyn Write) -> Result<()>) -> Result<()> {
        let mut file = self.open(name)?;
        write(&mut file.out)?;
        self.close(file)
    }

    /// Creates a file of the result that is filled bit by bit and then closed; `name` may contain `/`.
    ///
    /// # Errors
    /// [`ErrorKind::Io`](crate::ErrorKind) where the file cannot be made.
    pub fn open(&self, name: &str) -> Result<NewFile> {
        let path = self.written.join(name);
        let made = match (File::create(&path), path.parent()) {
            // The folder itself is not made again: it may have been given up.
            (Err(error), Some(folder))
                if error.kind() == io::ErrorKind::NotFound && *folder != self.written =>
            {
                fs::create_dir_all(folder).and_then(|()| File::create(&path))
            }
            (made, _) => made,
        };
        let file = made.map_err(|error| self.unwritable(name, error))?;
        let out = BufWriter::with_capacity(1 << 16, Digesting { file, digest: XxHash3_128::new() });
        Ok(NewFile { name: name.to_owned(), out })
    }

    /// Adds to a file that is open.
    ///
    /// # Errors
    /// [`ErrorKind::Io`](crate::ErrorKind) where the file cannot be written.
    pub fn append(&self, file: &mut NewFile, bytes: &[u8]) -> Result<()> {
        file.out.write_all(bytes).map_err(|error| self.unwritable(&file.name, error))
    }

    /// Ends a file of the result.
    ///
    /// # Errors
    /// [`ErrorKind::Io`](crate::ErrorKind) where the file cannot be written.
    pub fn close(&self, file: NewFile) -> Result<()> {
        let NewFile { name, out } = file;
        let done = out.into_inner().map_err(|error| self.unwritable(&name, error.into_error()))?;
        self.known_digests().insert(name, done.digest.finish_128());
        Ok(())
    }

    pub(crate) fn unwritable(&self, name: &str, error: io::Error) -> Error {
        Error::io(&self.place.join(name), "write the file", error)
    }

    /// The hidden folder that the result is written into; a file without a name may be kept there meanwhile.
    pub fn hidden(&self) -> &Path {
        &self.written
    }

    /// The digest (XXH3, 128 bits) of every file written so far, by its name.
    pub fn digests(&self) -> BTreeMap<String, u128> {
        self.known_digests().clone()
    }

    /// How much was written so far, in bytes.
    pub fn size_bytes(&self) -> u64 {
        let sizes = self.known_digests();
        sizes
            .keys()
            .filter_map(|name| fs::metadata(self.written.join(name)).ok())
            .map(|file| file.len())
            .sum()
    }

    fn known_digests(&self) -> MutexGuard<'_, BTreeMap<String, u128>> {
        // Whoever panicked had added a whole entry or none.
        self.digests.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Writes a file of the result whose bytes are at hand.
    ///
    /// # Errors
    /// [`ErrorKind::Io`](crate::ErrorKind) where the file cannot be written.
    pub fn write(&self, name: &str, bytes: &[u8]) -> Result<()> {
        self.stream(name, |out| out.write_all(bytes))
    }

    /// Creates a file of the result and lets `write` fill it, whose errors are those of the file.
    ///
    /// # Errors
    /// [`ErrorKind::Io`](crate::ErrorKind) where the file cannot be written.
    pub fn stream(&self, name: &str, write: impl FnOnce(&mut dyn Write) -> io::Result<()>) -> Result<()> {
        self.file(name, |out| write(out).map_err(|error| self.unwritable(name, error)))
    }

    /// Whether exactly what would be put in its place stands there already: files of these digests (XXH3, 128 bits), by their
    /// names, and nothing else, for the same people to read and to write as new ones. If so, it takes the time of now, as a result
    /// that was written anew, and this one may be dropped. Whatever is in doubt does not stand.
    pub fn stands(&self, digests: &BTreeMap<String, u128>) -> bool {
        self.is_standing(digests).unwrap_or(false)
    }

    fn is_standing(&self, digests: &BTreeMap<String, u128>) -> io::Result<bool> {
        let mut found = Vec::new();
        files_below(&self.place, "", &mut found)?;
        found.sort();
        let new = fs::metadata(&self.written)?;
        let files: Vec<PathBuf> = found.iter().map(|name| self.place.join(name)).collect();
        let folders: BTreeSet<&Path> = files.iter().filter_map(|file| file.parent()).collect();
        let is_same = |(path, digest): (&PathBuf, &u128)| {
            Ok(is_as_new(&fs::symlink_metadata(path)?, &new) && digest_of(path)? == *digest)
        };
        let is_folder_as_new = |path: &&Path| Ok(is_as_new(&fs::symlink_metadata(path)?, &new));
        let stands = found.iter().eq(digests.keys())
            && all(folders.iter(), is_folder_as_new)?
            && all(files.iter().zip(digests.values()), is_same)?;
        if stands {
            // The folder that was just begun has the time of now by the clock of the file system.
            let now = new.modified()?;
            for path in files.iter().map(PathBuf::as_path).chain(folders) {
                File::open(path)?.set_modified(now)?;
            }
        }
        Ok(stands)
    }

    /// Puts the folder in its place and removes what stood there before.
    ///
    /// # Errors
    /// [`ErrorKind::NotAnEarlierResult`](crate::ErrorKind) where something else has come to stand there
    /// meanwhile, [`ErrorKind::Io`](crate::ErrorKind) where the move fails; the place is then as it was.
    pub fn put_in_place(self) -> Result<()> {
        let Self { place, written, begun, check, .. } = &self;
        check(place)?;
        let failed = |error| Error::io(place, "put the finished folder in its place", error);
        let files = self.known_digests().len();
        sync(written, files).map_err(failed)?;
        let mut workplace = begun.workplace.lock().unwrap_or_else(PoisonError::into_inner);
        let Some(begun) = workplace.as_ref() else {
            return Err(failed(io::Error::new(io::ErrorKind::Interrupted, "it was given up")));
        };
        let mut is_there = place.exists();
        if !is_there && let Err(error) = fs::rename(written, place) {
            // Another run may have put its result there meanwhile.
            is_there = place.exists();
            if !is_there {
                return Err(failed(error));
            }
            check(place)?;
        }
        if is_there {
            exchange(written, place, &begun.aside()).map_err(failed)?;
        }
        // What stands in the workplace now is the earlier result, if anything.
        drop(workplace.take());
        if let Some(parent) = place.parent() {
            sync_folder(parent);
        }
        Ok(())
    }
}

impl Drop for NewFolder {
    fn drop(&mut self) {
        drop(self.begun.workplace.lock().unwrap_or_else(PoisonError::into_inner).take());
    }
}

/// Puts an earlier result back in its place, where a run was killed between moving it away and moving a new one in, and
/// clears what dead runs left for that place. Every command that reads or writes a result does this first.
///
/// # Errors
/// [`ErrorKind::Io`](crate::ErrorKind) where it cannot be moved.
pub fn recover_result(out: &Path) -> Result<()> {
    let failed = |error| Error::io(out, "put an earlier result back in its place", error);
    let place = match fs::canonicalize(out) {
        Ok(existing) => existing,
        Err(_) => std::path::absolute(out).map_err(failed)?,
    };
    workplace::recover(&place).map_err(failed)
}

/// Writes a whole output folder: each file's name and bytes; see [`NewFolder`] for what happens to `out`.
///
/// ```no_run
/// # fn main() -> Result<(), boutwise_report::Error> {
/// let tables = boutwise_report::Tables::default();
/// let files = boutwise_report::csv_text(&tables.files)?;
/// boutwise_report::write_folder("squad-audit".as_ref(), [("files.csv", files.as_bytes())])
/// # }
/// ```
///
/// # Errors
/// Those of [`NewFolder`].
pub fn write_folder<'a>(out: &Path, files: impl IntoIterator<Item = (&'a str, &'a [u8])>) -> Result<()> {
    let folder = NewFolder::begin(out)?;
    for (name, bytes) in files {
        folder.write(name, bytes)?;
    }
    folder.put_in_place()
}

/// A file of a result that is being written.
pub struct NewFile {
    name: String,
    out: BufWriter<Digesting>,
}

impl Write for NewFile {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.out.write(bytes)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.out.flush()
    }
}

/// Whether something is so of all, until it cannot be told of one.
fn all<T>(items: impl Iterator<Item = T>, is_so: impl Fn(T) -> io::Result<bool>) -> io::Result<bool> {
    for item in items {
        if !is_so(item)? {
            return Ok(false);
        }
    }
    Ok(true)
}

/// Whether a file or folder is one, and whose it is and who may do what with it, as if it had been made with a new folder.
#[cfg(unix)]
fn is_as_new(found: &fs::Metadata, folder: &fs::Metadata) -> bool {
    use std::os::unix::fs::MetadataExt;
    let mode = match found.is_dir() {
        true => folder.mode(),
        // What a file is, and that nobody may execute it.
        false => 0o100_000 | folder.mode() & 0o666,
    };
    (found.uid(), found.gid(), found.mode()) == (folder.uid(), folder.gid(), mode)
}

/// Elsewhere that cannot be told.
#[cfg(not(unix))]
fn is_as_new(_: &fs::Metadata, _: &fs::Metadata) -> bool {
    false
}

/// Whether `place` is free or an empty folder.
fn check_empty(place: &Path) -> Result<()> {
    let unreadable = |error| Error::io(place, "look into the output folder", error);
    let entries = match fs::read_dir(place) {
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(()),
        other => other.map_err(unreadable)?,
    };
    match entries.into_iter().next().transpose().map_err(unreadable)? {
        None => Ok(()),
        Some(entry) => {
            let name = entry.file_name();
            let text = format!(
                "the folder holds `{}`: nothing was changed; name a folder that does not exist yet",
                name.to_string_lossy()
            );
            Err(Error::refused(place, text))
        }
    }
}

/// A file that knows its digest when it is written.
struct Digesting {
    file: File,
    digest: XxHash3_128,
}

impl Write for Digesting {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let written = self.file.write(bytes)?;
        self.digest.write(&bytes[..written]);
        Ok(written)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.file.flush()
    }
}

/// The digest (XXH3, 128 bits) of a file.
///
/// # Errors
/// The file cannot be read.
pub fn digest_of(path: &Path) -> io::Result<u128> {
    let mut digest = XxHash3_128::new();
    let mut file = BufReader::with_capacity(1 << 16, File::open(path)?);
    loop {
        let bytes = file.fill_buf()?;
        if bytes.is_empty() {
            return Ok(digest.finish_128());
        }
        let read = bytes.len();
        digest.write(bytes);
        file.consume(read);
    }
}

/// Whether `place` is free, empty or an earlier result.
fn check_replaceable(place: &Path) -> Result<()> {
    let unreadable = |error| Error::io(place, "look into the output folder", error);
    let kind = match fs::metadata(place) {
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(()),
        other => other.map_err(unreadable)?,
    };
    let advice = "nothing was changed; choose another --out, or move it away";
    if !kind.is_dir() {
        return Err(Error::refused(
            place,
            format!("the output must be a folder, and this is a file: {advice}"),
        ));
    }
    let mut found = Vec::new();
    files_below(place, "", &mut found).map_err(unreadable)?;
    if found.is_empty() {
        return Ok(());
    }
    let Some(stated) = stated_outputs(&place.join(MANIFEST_FILE)).map_err(unreadable)? else {
        let text = format!(
            "the folder holds `{}` and no {MANIFEST_FILE} of this program, so it is no earlier result: {advice}",
            shown(&found[0], &[])
        );
        return Err(Error::refused(place, text));
    };
    let is_foreign = |name: &&String| {
        let last = name.rsplit('/').next().unwrap_or_default();
        !stated.contains(*name) && *name != MANIFEST_FILE && !LEFT_BY_FILE_MANAGERS.contains(&last)
    };
    match found.iter().find(is_foreign) {
        None => Ok(()),
        Some(name) => {
            let name = shown(name, &[]);
            let text = format!("the folder holds `{name}`, which is no part of the earlier result: {advice}");
            Err(Error::refused(place, text))
        }
    }
}

/// The names of everything in a folder that is no folder, and of folders that hold nothing, in order.
fn files_below(folder: &Path, name: &str, found: &mut Vec<String>) -> io::Result<()> {
    let mut entries = fs::read_dir(folder)?.collect::<io::Result<Vec<_>>>()?;
    entries.sort_by_key(fs::DirEntry::file_name);
    if entries.is_empty() && !name.is_empty() {
        found.push(name.to_owned());
    }
    for entry in entries {
        let last = entry.file_name();
        let last = last.to_string_lossy();
        let name = if name.is_empty() { last.into_owned() } else { format!("{name}/{last}") };
        if entry.file_type()?.is_dir() {
            files_below(&entry.path(), &name, found)?;
        } else {
            found.push(name);
        }
    }
    Ok(())
}

/// The bytes of what should be a manifest; `None` where it is no regular file, a link among these, or larger than any is.
///
/// # Errors
/// It is not there, or cannot be read.
pub fn manifest_bytes(manifest: &Path) -> io::Result<Option<Vec<u8>>> {
    let data = fs::symlink_metadata(manifest)?;
    let is_one = data.is_file() && data.len() <= MANIFEST_LIMIT_BYTES;
    is_one.then(|| fs::read(manifest)).transpose()
}

/// The files that the manifest of a result says were written; `None` where there is no manifest of this program.
fn stated_outputs(manifest: &Path) -> io::Result<Option<BTreeSet<String>>> {
    let text = match manifest_bytes(manifest) {
        Ok(Some(text)) => text,
        Ok(None) => return Ok(None),
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(None),
        Err(error) => return Err(error),
    };
    let manifest = serde_json::from_slice(&text).ok().filter(|manifest: &Stated| manifest.program == PROGRAM);
    Ok(manifest.map(|manifest| manifest.outputs.into_iter().map(|output| output.file).collect()))
}

/// What is read of a manifest to know what a folder holds; all else is passed over.
#[derive(Deserialize)]
struct Stated {
    program: String,
    outputs: Vec<StatedOutput>,
}

#[derive(Deserialize)]
struct StatedOutput {
    file: String,
}

/// A larger file is no manifest (own choice: a million inputs and pages fit).
const MANIFEST_LIMIT_BYTES: u64 = 512 << 20;

/// Exchanges two folders of one disk in one move.
#[cfg(any(target_os = "linux", target_vendor = "apple"))]
fn exchange(new: &Path, place: &Path, aside: &Path) -> io::Result<()> {
    use rustix::fs::{CWD, RenameFlags, renameat_with};
    match renameat_with(CWD, new, CWD, place, RenameFlags::EXCHANGE) {
        Ok(()) => Ok(()),
        // File systems that cannot exchange (network shares, some FAT drivers) say so in one of these ways.
        Err(rustix::io::Errno::INVAL | rustix::io::Errno::NOSYS | rustix::io::Errno::NOTSUP) => {
            exchange_in_steps(new, place, aside)
        }
        Err(error) => Err(error.into()),
    }
}

/// Exchanges two folders of one disk.
#[cfg(not(any(target_os = "linux", target_vendor = "apple")))]
fn exchange(new: &Path, place: &Path, aside: &Path) -> io::Result<()> {
    exchange_in_steps(new, place, aside)
}

/// Moves the old folder aside and the new one in. A program that ends between the two leaves the old one aside, where
/// the next run finds it.
fn exchange_in_steps(new: &Path, place: &Path, aside: &Path) -> io::Result<()> {
    fs::rename(place, aside)?;
    if let Err(error) = fs::rename(new, place) {
        // The first move worked, so moving back will; if not, the error tells of the move that failed first.
        _ = fs::rename(aside, place);
        return Err(error);
    }
    Ok(())
}

/// Files from which on a result is brought to the disk with all else that waits there (own choice). A disk takes about a
/// millisecond for each file by itself, and thousands of pages would wait for it longer than they took to be made.
const MANY_FILES: usize = 64;

/// Brings a folder of so many files to the disk.
fn sync(folder: &Path, files: usize) -> io::Result<()> {
    if files < MANY_FILES || !sync_file_system(folder)? {
        sync_tree(folder)?;
    }
    Ok(())
}

/// Brings everything that waits in the file system of a folder to the disk; `false` where the system has no call for it.
#[cfg(any(target_os = "linux", target_os = "android"))]
fn sync_file_system(folder: &Path) -> io::Result<bool> {
    rustix::fs::syncfs(File::open(folder)?)?;
    Ok(true)
}

#[cfg(not(any(target_os = "linux", target_os = "android")))]
fn sync_file_system(_: &Path) -> io::Result<bool> {
    Ok(false)
}

/// Brings a folder with all its files to the disk: together at the end, and several at a time, which is far quicker than one by one.
fn sync_tree(folder: &Path) -> io::Result<()> {
    let entries: Vec<_> = fs::read_dir(folder)?.collect::<io::Result<_>>()?;
    of_each::<_, _, io::Result<()>>(&entries, |entry| match entry.file_type()?.is_dir() {
        true => sync_tree(&entry.path()),
        false => File::options().write(true).open(entry.path())?.sync_all(),
    })?;
    sync_folder(folder);
    Ok(())
}

/// Brings a folder's list of names to the disk, where the system can; names are safe without it, only later.
#[cfg(unix)]
fn sync_folder(folder: &Path) {
    if let Ok(folder) = File::open(folder) {
        _ = folder.sync_all();
    }
}

/// Only Unix systems open folders as files.
#[cfg(not(unix))]
fn sync_folder(_: &Path) {}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::error::ErrorKind;
    use crate::rows::FileRow;

    fn header() -> String {
        crate::csv_text(&[] as &[FileRow]).expect("writing to memory")
    }

    /// A result that says of itself what it is.
    fn write_result(out: &Path, files: &[(&str, &[u8])]) -> Result<()> {
        let outputs: Vec<_> = files.iter().map(|(name, _)| serde_json::json!({ "file": name })).collect();
        let manifest = serde_json::json!({ "program": PROGRAM, "outputs": outputs }).to_string();
        let all = files.iter().copied().chain([(MANIFEST_FILE, manifest.as_bytes())]);
        write_folder(out, all)
    }

    fn names(folder: &Path) -> Vec<String> {
        let mut names: Vec<_> = fs::read_dir(folder)
            .expect("a folder")
            .map(|entry| entry.expect("an entry").file_name().to_string_lossy().into_owned())
            .collect();
        names.sort();
        names
    }

    #[test]
    fn a_result_is_written_and_replaced_whole() {
        let place = tempfile::tempdir().expect("a temporary folder");
        let out = place.path().join("deep/squad-audit");
        let header = header();
        let pages: [(&str, &[u8]); 3] =
            [("files.csv", header.as_bytes()), ("athletes/a.html", b"<p>"), ("report.html", b"first")];
        write_result(&out, &pages).expect("a first result");
        assert_eq!(names(&out), ["athletes", "files.csv", "manifest.json", "report.html"]);
        write_result(&out, &[("files.csv", header.as_bytes()), ("weeks.csv", b"second")]).expect("a second");
        assert_eq!(names(&out), ["files.csv", "manifest.json", "weeks.csv"]);
        assert_eq!(names(&place.path().join("deep")), ["squad-audit"], "nothing is left beside it");
    }

    #[test]
    fn a_folder_with_anything_else_in_it_is_left_alone() {
        let place = tempfile::tempdir().expect("a temporary folder");
        let header = header();
        for (name, bytes) in
            [("notes.txt", "mine"), ("sessions.csv", "of another program"), ("files.csv", "a,b\n")]
        {
            let out = place.path().join(name);
            fs::create_dir(&out).expect("a folder");
            fs::write(out.join(name), bytes).expect("a file");
            let error = write_folder(&out, [("files.csv", header.as_bytes())]).expect_err("must refuse");
            assert_eq!(error.kind(), ErrorKind::NotAnEarlierResult, "{error}");
            assert_eq!(fs::read_to_string(out.join(name)).expect("the file"), bytes);
        }
        fs::write(place.path().join("plain"), "a file").expect("a file");
        let error = write_folder(&place.path().join("plain"), []).expect_err("must refuse");
        assert_eq!(error.kind(), ErrorKind::NotAnEarlierResult);
        assert_eq!(names(place.path()), ["files.csv", "notes.txt", "plain", "sessions.csv"]);
    }

    #[test]
    fn names_alone_make_no_earlier_result_and_what_was_added_to_one_is_named() {
        let place = tempfile::tempdir().expect("a temporary folder");
        let (copied, out) = (place.path().join("copied"), place.path().join("out"));
        let header = header();
        // Tables that somebody copied out of a result.
        fs::create_dir(&copied).expect("a folder");
        fs::write(copied.join("files.csv"), &header).expect("a file");
        let error = write_result(&copied, &[]).expect_err("must refuse");
        assert!(error.to_string().contains("files.csv") && error.to_string().contains("no manifest.json"));
        // What somebody put into one, under a name that this program may write too.
        write_result(&out, &[("files.csv", header.as_bytes()), ("athletes/a.html", b"<p>")])
            .expect("a result");
        for (name, bytes) in [("athletes/b.html", "mine"), ("weeks.csv", "mine"), ("own/notes.txt", "mine")] {
            let path = out.join(name);
            fs::create_dir_all(path.parent().expect("a folder")).expect("a folder");
            fs::write(&path, bytes).expect("a file");
            let error = write_result(&out, &[("files.csv", header.as_bytes())]).expect_err("must refuse");
            assert!(error.to_string().contains(name), "{error}");
            assert_eq!(fs::read_to_string(&path).expect("still there"), bytes);
            fs::remove_file(&path).expect("a file");
        }
        fs::remove_dir(out.join("own")).expect("a folder");
        write_result(&out, &[("files.csv", header.as_bytes())]).expect("it is a result again");
    }

    #[test]
    fn an_earlier_result_that_somebody_looked_at_is_still_a_result() {
        let place = tempfile::tempdir().expect("a temporary folder");
        let out = place.path().join("out");
        let header = header();
        write_result(&out, &[("files.csv", header.as_bytes())]).expect("a result");
        fs::write(out.join(".DS_Store"), "").expect("a file");
        write_result(&out, &[("files.csv", header.as_bytes())]).expect("a second result");
        assert_eq!(names(&out), ["files.csv", "manifest.json"]);
    }

    #[test]
    fn a_failure_half_way_leaves_the_earlier_result() {
        let place = tempfile::tempdir().expect("a temporary folder");
        let out = place.path().join("out");
        let header = header();
        write_result(&out, &[("files.csv", header.as_bytes())]).expect("a result");
        let folder = NewFolder::begin(&out).expect("a new folder");
        folder
            .file("weeks.csv", |out| out.write_all(b"half").map_err(|e| Error::format("weeks", e)))
            .expect("a file");
        let failed = folder.file("report.html", |_| Err(Error::format("the page", fmt_error())));
        assert_eq!(failed.expect_err("must fail").kind(), ErrorKind::Format);
        drop(folder);
        assert_eq!(names(&out), ["files.csv", "manifest.json"]);
        assert_eq!(names(place.path()), ["out"]);
    }

    #[test]
    fn what_is_given_up_is_removed_and_the_earlier_result_stands() {
        let place = tempfile::tempdir().expect("a temporary folder");
        let out = place.path().join("out");
        let header = header();
        write_result(&out, &[("files.csv", header.as_bytes())]).expect("a result");
        let folder = NewFolder::begin(&out).expect("a new folder");
        folder.write("weeks.csv", b"half").expect("a file");
        let begun = folder.begun();
        assert!(begun.give_up() && !begun.give_up());
        assert!(folder.write("bouts.csv", b"more").is_err());
        assert!(folder.put_in_place().is_err());
        assert_eq!(
            (names(place.path()), names(&out)),
            (vec!["out".to_string()], vec!["files.csv".to_string(), "manifest.json".to_string()])
        );
    }

    fn fmt_error() -> std::fmt::Error {
        std::fmt::Error
    }

    #[test]
    fn the_exchange_in_steps_gives_the_same_result() {
        let place = tempfile::tempdir().expect("a temporary folder");
        let (new, old) = (place.path().join("new"), place.path().join("old"));
        fs::create_dir(&new).expect("a folder");
        fs::create_dir(&old).expect("a folder");
        fs::write(new.join("n"), "").expect("a file");
        fs::write(old.join("o"), "").expect("a file");
        exchange_in_steps(&new, &old, &place.path().join("aside")).expect("both exist");
        let aside = place.path().join("aside");
        assert_eq!((names(&old), names(&aside)), (vec!["n".to_string()], vec!["o".to_string()]));
        assert_eq!(names(place.path()), ["aside", "old"]);
    }

    #[cfg(unix)]
    #[test]
    fn the_result_can_be_read_by_others_as_any_new_folder() {
        use std::os::unix::fs::PermissionsExt;
        let place = tempfile::tempdir().expect("a temporary folder");
        let (out, plain) = (place.path().join("out"), place.path().join("plain"));
        write_folder(&out, []).expect("an empty result");
        fs::create_dir(&plain).expect("a folder");
        let mode = |path: &Path| fs::metadata(path).expect("a folder").permissions().mode();
        assert_eq!(mode(&out), mode(&plain));
    }
}

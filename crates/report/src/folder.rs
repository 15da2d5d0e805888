//! The output folder: written whole beside its place, then put there in one move.

use std::cell::RefCell;
use std::collections::BTreeMap;
use std::fs::{self, File};
use std::io::{self, BufRead, BufReader, BufWriter, Read, Write};
use std::path::{Path, PathBuf};

use tempfile::TempDir;
use xxhash_rust::xxh3::Xxh3;

use crate::codebook::CODEBOOK_FILE;
use crate::column::Row;
use crate::csv_table::write_csv;
use crate::error::{Error, Result};
use crate::rows::FileRow;
use crate::tables::{DECLARED, Tables};

/// The page of a squad, or the index of a larger one.
pub const REPORT_FILE: &str = "report.html";

/// The group on one page for print, and a slip for each person.
pub const GROUP_FILE: &str = "group.html";

/// The folder of the pages of single athletes, where they have pages of their own.
pub const ATHLETE_FOLDER: &str = "athletes";

/// Endings of a table's file.
const TABLE_ENDINGS: [&str; 3] = ["csv", "json", "parquet"];

/// What tells how a result was made.
pub const MANIFEST_FILE: &str = "manifest.json";

/// Files that file managers leave in every folder that somebody looks into.
const LEFT_BY_FILE_MANAGERS: [&str; 3] = [".DS_Store", "Thumbs.db", "desktop.ini"];

/// A folder of results that is being written, not yet in its place.
///
/// The files are written into a hidden folder beside `out`. [`NewFolder::put_in_place`] brings them to the
/// disk and then exchanges the two folders in one move of the operating system (Linux, macOS; elsewhere in two
/// moves, and the first is undone if the second fails). Whatever stops the program before, `out` stays as it
/// was; a folder that is dropped before it was put in place is removed.
///
/// A folder `out` that exists is replaced only if it is empty or an earlier result: it holds `files.csv` with
/// this program's columns, and nothing but files that this program writes. Anything else is left alone.
#[derive(Debug)]
pub struct NewFolder {
    place: PathBuf,
    written: TempDir,
    digests: RefCell<BTreeMap<String, u128>>,
}

impl NewFolder {
    /// Begins a folder that is to stand at `out`; its parent folders are made where they are missing.
    ///
    /// # Errors
    /// [`ErrorKind::NotAnEarlierResult`](crate::ErrorKind) where `out` exists and is something else,
    /// [`ErrorKind::Io`](crate::ErrorKind) where nothing can be written beside it.
    pub fn begin(out: &Path) -> Result<Self> {
        let place = match fs::canonicalize(out) {
            Ok(existing) => existing,
            Err(error) if error.kind() == io::ErrorKind::NotFound => {
                std::path::absolute(out).map_err(|error| Error::io(out, "find the output folder", error))?
            }
            Err(error) => return Err(Error::io(out, "find the output folder", error)),
        };
        check_replaceable(&place)?;
        let parent = place
            .parent()
            .ok_or_else(|| Error::refused(out, "the output folder cannot be the root of a disk".into()))?;
        fs::create_dir_all(parent).map_err(|error| Error::io(parent, "make the folder", error))?;
        let mut builder = tempfile::Builder::new();
        builder.prefix(".boutwise-");
        #[cfg(unix)]
        {
            use std::os::unix::fs::PermissionsExt;
            // As mkdir does it: all that the user's mask allows, not the private mode of temporary folders.
            builder.permissions(fs::Permissions::from_mode(0o777));
        }
        let written = builder
            .tempdir_in(parent)
            .map_err(|error| Error::io(parent, "write into the folder that is to hold the output", error))?;
        Ok(Self { place, written, digests: RefCell::default() })
    }

    /// Creates a file of the result and lets `write` fill it; `name` may contain `/`.
    ///
    /// # Errors
    /// Those of `write`, and [`ErrorKind::Io`](crate::ErrorKind) where the file cannot be written.
    pub fn file(&self, name: &str, write: impl FnOnce(&mut dyn Write) -> Result<()>) -> Result<()> {
        let path = self.written.path().join(name);
        let failed = |error| Error::io(&self.place.join(name), "write the file", error);
        if let Some(folder) = path.parent() {
            fs::create_dir_all(folder).map_err(failed)?;
        }
        let file = File::create(&path).map_err(failed)?;
        let mut out = BufWriter::with_capacity(1 << 16, Digesting { file, digest: Xxh3::new() });
        write(&mut out)?;
        let done = out.into_inner().map_err(|error| failed(error.into_error()))?;
        self.digests.borrow_mut().insert(name.to_owned(), done.digest.digest128());
        Ok(())
    }

    /// The digest (XXH3, 128 bits) of every file written so far, by its name.
    pub fn digests(&self) -> BTreeMap<String, u128> {
        self.digests.borrow().clone()
    }

    /// Writes a file of the result whose bytes are at hand.
    ///
    /// # Errors
    /// [`ErrorKind::Io`](crate::ErrorKind) where the file cannot be written.
    pub fn write(&self, name: &str, bytes: &[u8]) -> Result<()> {
        self.file(name, |out| {
            out.write_all(bytes).map_err(|error| Error::io(&self.place.join(name), "write the file", error))
        })
    }

    /// Writes every table as CSV: each as `NAME.csv`.
    ///
    /// # Errors
    /// [`ErrorKind::Io`](crate::ErrorKind) where a file cannot be written.
    pub fn tables(&self, tables: &Tables) -> Result<()> {
        self.table(&tables.files)?;
        self.table(&tables.sessions)?;
        self.table(&tables.bouts)?;
        self.table(&tables.intervals)?;
        self.table(&tables.events)?;
        self.table(&tables.athletes)?;
        self.table(&tables.weeks)?;
        self.table(&tables.planned)?;
        self.table(&tables.notes)
    }

    fn table<R: Row>(&self, rows: &[R]) -> Result<()> {
        self.file(&format!("{}.csv", R::TABLE), |out| write_csv(rows, out))
    }

    /// Puts the folder in its place and removes what stood there before.
    ///
    /// # Errors
    /// [`ErrorKind::NotAnEarlierResult`](crate::ErrorKind) where something else has come to stand there
    /// meanwhile, [`ErrorKind::Io`](crate::ErrorKind) where the move fails; the place is then as it was.
    pub fn put_in_place(self) -> Result<()> {
        let Self { place, written, .. } = self;
        check_replaceable(&place)?;
        let failed = |error| Error::io(&place, "put the finished folder in its place", error);
        sync_tree(written.path()).map_err(failed)?;
        if place.exists() {
            exchange(written.path(), &place).map_err(failed)?;
            // The earlier result now lies in the hidden folder; the new one stands, so a rest is no failure.
            _ = written.close();
        } else {
            fs::rename(written.path(), &place).map_err(failed)?;
            _ = written.keep();
        }
        if let Some(parent) = place.parent() {
            sync_folder(parent);
        }
        Ok(())
    }
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

/// A file that knows its digest when it is written.
struct Digesting {
    file: File,
    digest: Xxh3,
}

impl Write for Digesting {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let written = self.file.write(bytes)?;
        self.digest.update(&bytes[..written]);
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
    let mut digest = Xxh3::new();
    let mut file = BufReader::with_capacity(1 << 16, File::open(path)?);
    loop {
        let bytes = file.fill_buf()?;
        if bytes.is_empty() {
            return Ok(digest.digest128());
        }
        let read = bytes.len();
        digest.update(bytes);
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
    let mut is_empty = true;
    for entry in fs::read_dir(place).map_err(unreadable)? {
        let entry = entry.map_err(unreadable)?;
        let name = entry.file_name();
        let name = name.to_string_lossy();
        is_empty = false;
        let is_ours = match entry.file_type().map_err(unreadable)?.is_dir() {
            true => name == ATHLETE_FOLDER && holds_only_pages(&entry.path()).map_err(unreadable)?,
            false => is_name_of_ours(&name),
        };
        if !is_ours {
            let text = format!("the folder holds `{name}`, which is no part of an earlier result: {advice}");
            return Err(Error::refused(place, text));
        }
    }
    if !is_empty && !has_our_header(&place.join("files.csv")).map_err(unreadable)? {
        let text =
            format!("the folder is no earlier result, its files.csv is missing or of another kind: {advice}");
        return Err(Error::refused(place, text));
    }
    Ok(())
}

fn is_name_of_ours(name: &str) -> bool {
    let is_table = name.rsplit_once('.').is_some_and(|(table, ending)| {
        DECLARED.iter().any(|declared| declared.name == table) && TABLE_ENDINGS.contains(&ending)
    });
    is_table
        || [REPORT_FILE, GROUP_FILE, MANIFEST_FILE, CODEBOOK_FILE].contains(&name)
        || LEFT_BY_FILE_MANAGERS.contains(&name)
}

fn holds_only_pages(folder: &Path) -> io::Result<bool> {
    for entry in fs::read_dir(folder)? {
        let entry = entry?;
        let name = entry.file_name();
        let name = name.to_string_lossy();
        let is_page = name.ends_with(".html") || LEFT_BY_FILE_MANAGERS.contains(&name.as_ref());
        if entry.file_type()?.is_dir() || !is_page {
            return Ok(false);
        }
    }
    Ok(true)
}

/// Whether the file begins with the columns of `files.csv`; later versions may have more of them.
fn has_our_header(path: &Path) -> io::Result<bool> {
    /// Far more than the header line; a file of another kind may have no line end at all.
    const HEADER_LIMIT_BYTES: u64 = 4096;
    let file = match File::open(path) {
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(false),
        other => other?,
    };
    let mut line = Vec::new();
    BufReader::new(file.take(HEADER_LIMIT_BYTES)).read_until(b'\n', &mut line)?;
    let expected: Vec<_> = FileRow::COLUMNS.iter().map(|column| column.name).collect();
    Ok(line.starts_with(expected.join(",").as_bytes()))
}

/// Exchanges two folders of one disk in one move.
#[cfg(any(target_os = "linux", target_vendor = "apple"))]
fn exchange(new: &Path, place: &Path) -> io::Result<()> {
    use rustix::fs::{CWD, RenameFlags, renameat_with};
    match renameat_with(CWD, new, CWD, place, RenameFlags::EXCHANGE) {
        Ok(()) => Ok(()),
        // File systems that cannot exchange (network shares, some FAT drivers) say so in one of these ways.
        Err(rustix::io::Errno::INVAL | rustix::io::Errno::NOSYS | rustix::io::Errno::NOTSUP) => {
            exchange_in_steps(new, place)
        }
        Err(error) => Err(error.into()),
    }
}

/// Exchanges two folders of one disk.
#[cfg(not(any(target_os = "linux", target_vendor = "apple")))]
fn exchange(new: &Path, place: &Path) -> io::Result<()> {
    exchange_in_steps(new, place)
}

/// Moves the old folder aside, the new one in, and the old one to where the new one was.
fn exchange_in_steps(new: &Path, place: &Path) -> io::Result<()> {
    let mut aside = new.as_os_str().to_owned();
    aside.push("-earlier");
    let aside = PathBuf::from(aside);
    fs::rename(place, &aside)?;
    if let Err(error) = fs::rename(new, place) {
        // The first move worked, so moving back will; if not, the error tells of the move that failed first.
        _ = fs::rename(&aside, place);
        return Err(error);
    }
    fs::rename(&aside, new)
}

/// Brings a folder with all its files to the disk: together at the end, which is far quicker than one by one.
fn sync_tree(folder: &Path) -> io::Result<()> {
    for entry in fs::read_dir(folder)? {
        let entry = entry?;
        if entry.file_type()?.is_dir() {
            sync_tree(&entry.path())?;
        } else {
            File::options().write(true).open(entry.path())?.sync_all()?;
        }
    }
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

    fn header() -> String {
        crate::csv_text(&[] as &[FileRow]).expect("writing to memory")
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
        write_folder(&out, pages).expect("a first result");
        assert_eq!(names(&out), ["athletes", "files.csv", "report.html"]);
        write_folder(&out, [("files.csv", header.as_bytes()), ("weeks.csv", b"second")]).expect("a second");
        assert_eq!(names(&out), ["files.csv", "weeks.csv"]);
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
    fn an_earlier_result_that_somebody_looked_at_is_still_a_result() {
        let place = tempfile::tempdir().expect("a temporary folder");
        let out = place.path().join("out");
        let header = header();
        write_folder(&out, [("files.csv", header.as_bytes())]).expect("a result");
        fs::write(out.join(".DS_Store"), "").expect("a file");
        write_folder(&out, [("files.csv", header.as_bytes())]).expect("a second result");
        assert_eq!(names(&out), ["files.csv"]);
    }

    #[test]
    fn a_failure_half_way_leaves_the_earlier_result() {
        let place = tempfile::tempdir().expect("a temporary folder");
        let out = place.path().join("out");
        let header = header();
        write_folder(&out, [("files.csv", header.as_bytes())]).expect("a result");
        let folder = NewFolder::begin(&out).expect("a new folder");
        folder
            .file("weeks.csv", |out| out.write_all(b"half").map_err(|e| Error::format("weeks", e)))
            .expect("a file");
        let failed = folder.file("report.html", |_| Err(Error::format("the page", fmt_error())));
        assert_eq!(failed.expect_err("must fail").kind(), ErrorKind::Format);
        drop(folder);
        assert_eq!(names(&out), ["files.csv"]);
        assert_eq!(names(place.path()), ["out"]);
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
        exchange_in_steps(&new, &old).expect("both exist");
        assert_eq!((names(&old), names(&new)), (vec!["n".to_string()], vec!["o".to_string()]));
        assert_eq!(names(place.path()), ["new", "old"]);
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

//! The files below a folder, in an order that depends on nothing but their names.

use std::collections::{BTreeSet, HashMap};
use std::fs::{self, DirEntry, FileType};
use std::io;
use std::path::{Component, Path, PathBuf};

use crate::{Error, ErrorKind, plain_name};

/// One file to be read, or something in a file's place that must not be opened.
#[derive(Clone, Debug, PartialEq)]
pub struct InputPath {
    /// Where it lies.
    pub path: PathBuf,
    /// Its path below the folder, with `/` between the parts; for a single file, the file's name.
    pub name: String,
    /// Why it is not opened: a pipe, a link that leads nowhere, a folder without permission.
    pub obstacle: Option<Error>,
    /// Whether it is a folder that is not gone into, or a link in the place of one: the name of a link that leads nowhere tells by
    /// its ending whether it was one to a file.
    pub is_folder: bool,
}

impl InputPath {
    /// A file that is known by its path below `root`; a link is followed. Nothing is opened.
    ///
    /// # Errors
    /// Where `path` leads to no place below `root`, by its own words.
    ///
    /// ```
    /// use boutwise_track::InputPath;
    ///
    /// assert_eq!(InputPath::below("squad".as_ref(), "anna/run.gpx".as_ref())?.name, "anna/run.gpx");
    /// assert!(InputPath::below("squad".as_ref(), "../run.gpx".as_ref()).is_err());
    /// # Ok::<(), boutwise_track::Error>(())
    /// ```
    pub fn below(root: &Path, path: &Path) -> Result<Self, Error> {
        let mut name = String::new();
        for part in path.components() {
            let Component::Normal(part) = part else { return Err(not_below(path)) };
            if !name.is_empty() {
                name.push('/');
            }
            name.push_str(&plain_name(part.as_encoded_bytes()));
        }
        if name.is_empty() {
            return Err(not_below(path));
        }
        let path = root.join(path);
        // What is not there is said where it is read.
        let obstacle = fs::metadata(&path).ok().and_then(|found| obstacle_of(found.file_type()));
        Ok(Self { path, name, obstacle, is_folder: false })
    }
}

fn not_below(path: &Path) -> Error {
    let sentence = format!(
        "`{}` is no path of a file below the folder; expected one such as `anna/run.gpx`",
        plain_name(path.as_os_str().as_encoded_bytes())
    );
    Error::new(ErrorKind::NoInput, None, sentence)
}

/// Lists every file at or below `root`, sorted by the bytes of [`InputPath::name`].
///
/// Links are followed, but no folder is gone into twice: a link to one that is listed already stays in the list as an
/// obstacle, as does what cannot be followed or opened. Nothing is opened but folders.
///
/// # Errors
/// Where there is nothing at `root`, or it cannot be looked at.
///
/// ```
/// # fn main() -> Result<(), Box<dyn std::error::Error>> {
/// let folder = tempfile::tempdir()?;
/// std::fs::create_dir(folder.path().join("anna"))?;
/// std::fs::write(folder.path().join("anna").join("run.gpx"), "<gpx/>")?;
/// let inputs = boutwise_track::find_inputs(folder.path())?;
/// assert_eq!(inputs[0].name, "anna/run.gpx");
/// # Ok(())
/// # }
/// ```
pub fn find_inputs(root: &Path) -> Result<Vec<InputPath>, Error> {
    let at_root = |error: io::Error| {
        let found = match error.kind() {
            io::ErrorKind::NotFound => "nothing is there".to_owned(),
            _ => format!("it cannot be looked at ({error})"),
        };
        let sentence = format!(
            "`{}`: {found}; expected a folder of recordings or one recording: check the name",
            root.display()
        );
        Error::new(ErrorKind::NoInput, None, sentence).because_of(error)
    };
    let metadata = fs::metadata(root).map_err(at_root)?;
    let mut search = Search::default();
    if metadata.is_dir() {
        let place = fs::canonicalize(root).map_err(at_root)?;
        fs::read_dir(root).map_err(at_root)?;
        search.walk(Folder { path: root.to_owned(), name: String::new(), place });
        while let Some((name, path)) = search.links.pop_first() {
            search.follow(name, path);
        }
    } else {
        let name = file_name_of(root);
        search.add(root.to_owned(), name, obstacle_of(metadata.file_type()));
    }
    search.inputs.sort_by(|a, b| (&a.name, &a.path).cmp(&(&b.name, &b.path)));
    Ok(search.inputs)
}

/// The name of a file as it stands in every table.
pub(crate) fn file_name_of(path: &Path) -> String {
    plain_name(path.file_name().unwrap_or(path.as_os_str()).as_encoded_bytes()).into_owned()
}

/// A folder on the way.
struct Folder {
    path: PathBuf,
    name: String,
    /// Its one path without links.
    place: PathBuf,
}

/// What was found so far.
#[derive(Default)]
struct Search {
    inputs: Vec<InputPath>,
    /// The names of the folders that were gone into, by their paths without links.
    seen: HashMap<PathBuf, String>,
    /// Links to folders, followed when all real folders are known, so that those keep their names.
    links: BTreeSet<(String, PathBuf)>,
}

impl Search {
    fn add(&mut self, path: PathBuf, name: String, obstacle: Option<Error>) {
        self.inputs.push(InputPath { path, name, obstacle, is_folder: false });
    }

    /// Adds a folder that is not gone into, or a link that stands in the place of one.
    fn add_folder(&mut self, path: PathBuf, name: String, obstacle: Error) {
        self.inputs.push(InputPath { path, name, obstacle: Some(obstacle), is_folder: true });
    }

    /// Lists what lies in a folder and below it, up to links.
    fn walk(&mut self, folder: Folder) {
        let mut open = vec![folder];
        while let Some(folder) = open.pop() {
            if let Some(earlier) = self.seen.get(&folder.place) {
                let obstacle = listed_already(earlier);
                self.add_folder(folder.path, folder.name, obstacle);
                continue;
            }
            self.seen.insert(folder.place.clone(), folder.name.clone());
            let listed = fs::read_dir(&folder.path)
                .and_then(|mut entries| entries.try_for_each(|entry| self.take(entry?, &folder, &mut open)));
            if let Err(error) = listed {
                self.add_folder(folder.path, folder.name, not_looked_into(error));
            }
        }
    }

    fn take(&mut self, entry: DirEntry, folder: &Folder, open: &mut Vec<Folder>) -> io::Result<()> {
        let (file_name, path) = (entry.file_name(), entry.path());
        let last = plain_name(file_name.as_encoded_bytes());
        let name = if folder.name.is_empty() { last.into_owned() } else { format!("{}/{last}", folder.name) };
        let file_type = entry.file_type()?;
        if file_type.is_dir() {
            open.push(Folder { path, name, place: folder.place.join(file_name) });
        } else if !file_type.is_symlink() {
            self.add(path, name, obstacle_of(file_type));
        } else {
            match fs::metadata(&path) {
                Ok(target) if target.is_dir() => {
                    self.links.insert((name, path));
                }
                Ok(target) => self.add(path, name, obstacle_of(target.file_type())),
                Err(error) if path.extension().is_none() => self.add_folder(path, name, broken_link(error)),
                Err(error) => self.add(path, name, Some(broken_link(error))),
            }
        }
        Ok(())
    }

    /// Goes into the folder behind a link, unless that was or is being done.
    fn follow(&mut self, name: String, path: PathBuf) {
        let place = match fs::canonicalize(&path) {
            Ok(place) => place,
            Err(error) => return self.add_folder(path, name, broken_link(error)),
        };
        let own_place = path.parent().and_then(|parent| fs::canonicalize(parent).ok());
        if own_place.is_some_and(|own| own.starts_with(&place)) {
            let reason = "a circular link: it leads back to a folder above it";
            return self.add_folder(path, name, unopenable(reason));
        }
        self.walk(Folder { path, name, place });
    }
}

fn unopenable(reason: impl Into<String>) -> Error {
    Error::new(ErrorKind::Unopenable, None, reason)
}

fn listed_already(name: &str) -> Error {
    let reason = match name {
        "" => "a second way to the whole folder, whose files are listed already".to_owned(),
        _ => format!("a second way to the folder `{name}`, whose files are listed by that name"),
    };
    Error::new(ErrorKind::SecondWay, None, reason)
}

fn not_looked_into(error: io::Error) -> Error {
    let reason = match error.kind() {
        io::ErrorKind::PermissionDenied => format!("no permission to look into it ({error})"),
        _ => format!("it cannot be looked into ({error})"),
    };
    unopenable(reason).because_of(error)
}

fn broken_link(error: io::Error) -> Error {
    let reason = match error.kind() {
        io::ErrorKind::NotFound => "a dangling link: what it points to does not exist".to_owned(),
        // The operating system gives up on links that point at each other; the kind of that error has no stable name.
        _ => format!("a circular or broken link ({error})"),
    };
    unopenable(reason).because_of(error)
}

/// Why a thing of this type is never opened.
pub(crate) fn obstacle_of(file_type: FileType) -> Option<Error> {
    if file_type.is_file() {
        return None;
    }
    let what = special_type(file_type).unwrap_or("something other than a file");
    Some(unopenable(format!("{what}; only regular files are opened")))
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

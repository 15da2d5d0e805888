//! What is to be audited: files below a folder, or names with their bytes.

use std::fs;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};

use boutwise_track::{
    Answer, FileReading, InputPath, ReadSettings, find_inputs, plain_name, read_bytes, read_unless_known,
};

use crate::Error;

/// The recordings of one audit, in the order of their names, and the name of the whole.
///
/// ```
/// let inputs = boutwise_audit::Inputs::of_bytes("harbour", [("mira/run.gpx".to_owned(), b"<gpx/>".to_vec())]);
/// assert_eq!((inputs.name(), inputs.len()), ("harbour", 1));
/// ```
#[derive(Clone, Debug, Default)]
pub struct Inputs {
    name: String,
    /// Where they lie, as it was named; empty for files whose bytes are at hand.
    root: PathBuf,
    list: Vec<Input>,
    is_part: bool,
}

/// What a folder is called that has no name.
const NAMELESS: &str = "athlete";

/// One file, packed or not.
#[derive(Clone, Debug)]
pub(crate) enum Input {
    Path(InputPath),
    /// Its name and its bytes.
    Bytes(String, Vec<u8>),
    /// A file that brings out a fault of this program, by its name.
    #[cfg(test)]
    Fault(String),
}

impl Inputs {
    /// Every file at or below `folder`; a single file stands for itself. Nothing is opened yet.
    ///
    /// # Errors
    /// [`ErrorKind::NoInput`](crate::ErrorKind) where there is nothing at `folder`, or it cannot be looked at.
    pub fn below(folder: &Path) -> Result<Self, Error> {
        let found = find_inputs(folder).map_err(Error::no_input)?;
        Ok(Self {
            name: folder_name(folder),
            root: folder.to_owned(),
            list: found.into_iter().map(Input::Path).collect(),
            is_part: false,
        })
    }

    /// Some files of a folder, each known by its path below it, and its bytes where they are at hand: the folder need not be
    /// there then. An audit of a part judges those to whom these files belong, and says nothing of others: neither rows nor
    /// notes of who or what is not among them.
    ///
    /// # Errors
    /// [`ErrorKind::NoInput`](crate::ErrorKind) for a path that does not lie below the folder, and for one that is named
    /// twice.
    pub fn part_of(
        folder: &Path,
        files: impl IntoIterator<Item = (PathBuf, Option<Vec<u8>>)>,
    ) -> Result<Self, Error> {
        let input = |(path, bytes): (PathBuf, Option<Vec<u8>>)| {
            let found = InputPath::below(folder, &path)?;
            Ok(match bytes {
                Some(bytes) => Input::Bytes(found.name, bytes),
                None => Input::Path(found),
            })
        };
        let list = files.into_iter().map(input).collect::<Result<Vec<Input>, boutwise_track::Error>>();
        let mut list = list.map_err(Error::no_input)?;
        list.sort_by(|a, b| a.name().cmp(b.name()));
        if let Some(twice) = list.windows(2).find(|pair| pair[0].name() == pair[1].name()) {
            return Err(Error::named_twice(twice[0].name()));
        }
        let root = std::path::absolute(folder).unwrap_or_else(|_| folder.to_owned());
        Ok(Self { name: last_name(&root), root, list, is_part: true })
    }

    /// Files whose bytes are at hand, each with its path below a folder that is called `name`.
    pub fn of_bytes(name: &str, files: impl IntoIterator<Item = (String, Vec<u8>)>) -> Self {
        let mut list: Vec<Input> = files.into_iter().map(|(name, bytes)| Input::Bytes(name, bytes)).collect();
        list.sort_by(|a, b| a.name().cmp(b.name()));
        Self { name: name.to_owned(), root: PathBuf::new(), list, is_part: false }
    }

    /// The name of the folder, which is also the athlete's where nothing else names one.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// How many files there are, packed ones counted once.
    pub fn len(&self) -> usize {
        self.list.len()
    }

    /// How large they are together, in bytes, packed ones as they are packed.
    pub fn size_bytes(&self) -> u64 {
        self.list.iter().map(Input::size_bytes).sum()
    }

    /// Whether there is no file.
    pub fn is_empty(&self) -> bool {
        self.list.is_empty()
    }

    /// Where they lie.
    pub(crate) fn root(&self) -> &Path {
        &self.root
    }

    /// Whether there may be others that belong to the same squad.
    pub(crate) fn is_part(&self) -> bool {
        self.is_part
    }

    pub(crate) fn list(&self) -> &[Input] {
        &self.list
    }
}

impl Input {
    /// Its path below the folder, with `/`.
    pub(crate) fn name(&self) -> &str {
        match self {
            Self::Path(path) => &path.name,
            Self::Bytes(name, _) => name,
            #[cfg(test)]
            Self::Fault(name) => name,
        }
    }

    /// The folder of an athlete that it lies in, or is: the first one below the whole.
    pub(crate) fn first_folder(&self) -> Option<&str> {
        let name = self.name();
        let is_folder = matches!(self, Self::Path(path) if path.is_folder);
        name.split_once('/').map(|(folder, _)| folder).or_else(|| is_folder.then_some(name))
    }

    /// Where it lies, if it is a file that is opened.
    pub(crate) fn path(&self) -> Option<&Path> {
        match self {
            Self::Path(path) if path.obstacle.is_none() => Some(&path.path),
            _ => None,
        }
    }

    /// How large it is; 0 where that cannot be told, or it is not opened.
    pub(crate) fn size_bytes(&self) -> u64 {
        match self {
            Self::Bytes(_, bytes) => bytes.len() as u64,
            _ => self.path().and_then(|path| fs::metadata(path).ok()).map_or(0, |metadata| metadata.len()),
        }
    }

    /// Hands over a reading for the file; of an archive one for each member.
    pub(crate) fn read<A: Answer>(
        &self,
        settings: &ReadSettings,
        hand_over: &mut dyn FnMut(FileReading) -> A,
    ) {
        self.read_unless_known(settings, &mut |_| false, hand_over);
    }

    /// The same, and nothing where the bytes of the file are known.
    pub(crate) fn read_unless_known<A: Answer>(
        &self,
        settings: &ReadSettings,
        is_known: &mut dyn FnMut(&[u8]) -> bool,
        hand_over: &mut dyn FnMut(FileReading) -> A,
    ) {
        // A fault of this program in one file ends neither the others nor the batch.
        let read = catch_unwind(AssertUnwindSafe(|| match self {
            Self::Path(path) => read_unless_known(path, settings, is_known, hand_over),
            Self::Bytes(name, bytes) => read_bytes(name, bytes, settings, hand_over),
            #[cfg(test)]
            Self::Fault(_) => panic!("a fault that a test put here"),
        }));
        if read.is_err() {
            hand_over(FileReading::of_own_fault(self.name()));
        }
    }
}

/// The name of a folder, or of the folder that holds a file.
fn folder_name(path: &Path) -> String {
    let absolute = std::path::absolute(path).unwrap_or_else(|_| path.to_owned());
    let folder = if path.is_dir() { Some(absolute.as_path()) } else { absolute.parent() };
    folder.map_or_else(|| NAMELESS.to_owned(), last_name)
}

/// The last part of the path of a folder.
fn last_name(folder: &Path) -> String {
    let name = folder.file_name().map(|name| plain_name(name.as_encoded_bytes()).into_owned());
    name.unwrap_or_else(|| NAMELESS.to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Configuration, SeasonFiles, audit, unwatched};
    use boutwise_track::Status;

    #[test]
    fn a_fault_of_this_program_in_one_file_is_the_row_of_that_file() {
        let point = |second| {
            format!("<trkpt lat='52' lon='4.00{second}'><time>2024-03-04T18:00:0{second}Z</time></trkpt>")
        };
        let points: String = (0..9).map(point).collect();
        let text = format!("<gpx version='1.1'><trk><trkseg>{points}</trkseg></trk></gpx>");
        let files =
            ["ada/a.gpx", "ada/b.gpx", "tom/c.gpx"].map(|name| (name.to_owned(), text.clone().into_bytes()));
        let mut inputs = Inputs::of_bytes("squad", files);
        inputs.list[1] = Input::Fault("ada/b.gpx".to_owned());
        let found = audit(&inputs, &SeasonFiles::default(), &Configuration::default(), &unwatched).unwrap();
        let status: Vec<Status> = found.tables.files.iter().map(|file| file.status).collect();
        assert_eq!(status, [Status::Read, Status::Failed, Status::Read]);
        assert!(found.tables.files[1].notes[0].contains("a fault of this program"));
        assert_eq!((found.tables.sessions.len(), found.overview.is_clean()), (2, false));
    }

    #[test]
    fn of_a_part_those_are_judged_to_whom_it_belongs_and_nothing_is_said_of_others() {
        let squad = "athlete,folder\nAda,a*\nTom,t*\nUma,u*\n";
        let owners = "athlete,file\nUma,z/other.gpx\n";
        let files = SeasonFiles {
            squad: Some(boutwise_season::Squad::read(squad.as_bytes(), "squad.csv").unwrap()),
            owners: Some(boutwise_season::Owners::read(owners.as_bytes(), "owners.csv").unwrap()),
            corrections: boutwise_season::Corrections::read(b"file,use\ngone.gpx,no\n", "corrections.csv")
                .unwrap(),
            ..SeasonFiles::default()
        };
        let named = [("ada/notes.txt", None), ("tom/a.gpx", Some(b"bananas".to_vec()))];
        let named = named.map(|(name, bytes)| (PathBuf::from(name), bytes));
        let whole = Inputs::of_bytes("squad", [("tom/a.gpx".to_owned(), b"bananas".to_vec())]);
        let part = Inputs::part_of(Path::new("/nowhere/squad"), named).unwrap();
        assert_eq!((part.name(), part.len()), ("squad", 2));
        let audit = |inputs: &Inputs| audit(inputs, &files, &Configuration::default(), &unwatched).unwrap();
        let (whole, part) = (audit(&whole), audit(&part));
        let judged = |found: &crate::Audit| {
            found.athletes.iter().map(|athlete| athlete.athlete.clone()).collect::<Vec<_>>()
        };
        assert_eq!(judged(&whole), ["Ada", "Tom", "Uma"]);
        // A file that is not there, or cannot be read, is somebody's all the same.
        assert_eq!(judged(&part), ["Ada", "Tom"]);
        assert_eq!(part.tables.files[0].status, Status::Failed);
        let of_others =
            |note: &&String| ["Uma", "gone.gpx", "z/other.gpx"].iter().any(|name| note.contains(name));
        assert_eq!(whole.overview.notes.iter().filter(of_others).count(), 3);
        assert_eq!(part.overview.notes.iter().filter(of_others).count(), 0);
    }

    #[test]
    fn a_part_has_each_file_once_and_nothing_beyond_its_folder() {
        let part = |names: &[&str]| {
            let names = names.iter().map(|name| (PathBuf::from(name), None));
            Inputs::part_of(Path::new("squad"), names)
                .map(|part| part.len())
                .map_err(|error| error.to_string())
        };
        assert_eq!(part(&["a/x.gpx", "a/y.gpx"]), Ok(2));
        for refused in ["", "..", "../x.gpx", "a/../../x.gpx", "/etc/passwd", "./."] {
            assert!(
                part(&[refused]).unwrap_err().contains("no path of a file below the folder"),
                "{refused}"
            );
        }
        assert_eq!(
            part(&["a/x.gpx", "b.gpx", "a//x.gpx"]).unwrap_err(),
            "the recording a/x.gpx is named twice; expected each file once"
        );
    }

    #[test]
    fn a_file_named_without_its_folder_belongs_to_the_folder_that_it_lies_in() {
        // Tests run in the folder of their crate.
        assert_eq!(Inputs::below(Path::new("Cargo.toml")).unwrap().name(), "audit");
        assert_eq!(Inputs::below(Path::new("src")).unwrap().name(), "src");
        assert_eq!(Inputs::below(Path::new(".")).unwrap().name(), "audit");
    }
}

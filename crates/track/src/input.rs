//! From a file, however packed, to readings: one for each file handed in and each member of an archive.

use std::borrow::Cow;
use std::cell::Cell;
use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom};
use std::ops::ControlFlow;
use std::path::Path;

use serde::{Deserialize, Serialize};
use twox_hash::XxHash3_128;

use crate::archive::{self, Found, Packing};
use crate::at_once::Claim;
use crate::folder::{InputPath, file_name_of, obstacle_of};
use crate::origin::Origin;
use crate::read::{Format, ReadSettings, Reading, read_text};
use crate::side_file::{SIDE_FILE, is_side_file};
use crate::sniff::{Content, Kind, ZIP_END_BYTES, ends_as_zip, sniff, sniff_signature, sniff_text};
use crate::{Error, ErrorKind, Note, Recording, encoding};

/// What became of a file.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum Status {
    /// Everything usable was kept.
    Read,
    /// The recording is there, a part of it is lost.
    Partial,
    /// Meant to be a recording, but nothing is usable.
    Failed,
    /// No recording.
    Ignored,
    /// Its recordings are already counted in another file.
    Duplicate,
}

impl Status {
    /// All of them, from the best to those that give nothing of their own.
    pub const ALL: [Self; 5] = [Self::Read, Self::Partial, Self::Failed, Self::Ignored, Self::Duplicate];

    /// The word for it in tables.
    ///
    /// ```
    /// assert_eq!(boutwise_track::Status::Partial.word(), "partial");
    /// ```
    pub fn word(self) -> &'static str {
        match self {
            Self::Read => "read",
            Self::Partial => "partial",
            Self::Failed => "failed",
            Self::Ignored => "ignored",
            Self::Duplicate => "duplicate",
        }
    }
}

/// What one file, or one member of an archive, gave.
#[derive(Clone, Debug)]
#[non_exhaustive]
pub struct FileReading {
    /// Path below the folder, with `/`; a member of an archive is `outer.zip/inner.gpx`.
    pub file: String,
    /// What became of it; never [`Status::Duplicate`] here, which takes all files of an athlete to know.
    pub status: Status,
    /// What it is written in, where it is a recording.
    pub format: Option<Format>,
    /// Its sessions.
    pub recordings: Vec<Recording>,
    /// Points in all its sessions.
    pub points_kept: usize,
    /// Points that it holds and no session does.
    pub points_dropped: usize,
    /// Why it gives no recording, where it failed or was ignored; or what was lost of an archive as a whole.
    pub error: Option<Error>,
    /// What was noted about the file, its sessions included: one note a kind.
    pub notes: Vec<Note>,
    /// Who and what wrote it, where the settings ask for it.
    pub origin: Option<Origin>,
    /// Hash of its unpacked bytes (XXH3, 128 bits), equal for equal bytes; where something is wrong with what it is packed in, of
    /// that too, so that nothing whole has the same. `None` where they were not read or the settings leave it out.
    pub content_hash: Option<u128>,
}

impl FileReading {
    /// Of a file without a recording; the error and the file's name decide whether that is a failure.
    fn without_recording(file: String, error: Error) -> Self {
        Self {
            status: status_of(&error, &file),
            file,
            format: None,
            recordings: Vec::new(),
            points_kept: 0,
            points_dropped: 0,
            error: Some(error),
            notes: Vec::new(),
            origin: None,
            content_hash: None,
        }
    }

    /// Of a file in which this program failed, by a fault of its own.
    pub fn of_own_fault(file: &str) -> Self {
        let text = "a fault of this program ended the reading of this file, and what is not listed of it was not read: please report it";
        let error = Error::new(ErrorKind::OwnFault, None, text);
        Self { status: Status::Failed, ..Self::without_recording(file.to_owned(), error) }
    }

    /// The error and all notes as sentences, in the order in which people should read them.
    pub fn sentences(&self) -> impl Iterator<Item = String> {
        self.error.iter().map(Error::to_string).chain(self.notes.iter().map(|note| note.text.clone()))
    }
}

/// Above this length only the head of a file is read at first, in bytes, to pass over films and the like (own choice).
const WHOLE_AT_ONCE_BYTES: u64 = 256 * 1024;
/// Length of that head in bytes.
const HEAD_BYTES: usize = 64 * 1024;

/// Reads one input and hands over a reading for it; of an archive one for each member, in archive order, and at last
/// one for the archive itself.
///
/// One reading exists at a time, so memory does not grow with the number of members. At least one is handed over. The
/// receiver may answer [`ControlFlow::Break`] to get no more of them.
///
/// ```
/// # fn main() -> Result<(), Box<dyn std::error::Error>> {
/// use boutwise_track::{ReadSettings, Status, find_inputs, read_input};
///
/// let folder = tempfile::tempdir()?;
/// std::fs::write(folder.path().join("squad.csv"), "athlete,start\nanna,2024-03-04\n")?;
/// for input in find_inputs(folder.path())? {
///     read_input(&input, &ReadSettings::default(), &mut |reading| assert_eq!(reading.status, Status::Ignored));
/// }
/// # Ok(())
/// # }
/// ```
pub fn read_input<A: Answer>(
    input: &InputPath,
    settings: &ReadSettings,
    hand_over: &mut dyn FnMut(FileReading) -> A,
) {
    read_unless_known(input, settings, &mut |_| false, hand_over);
}

/// Reads one input as [`read_input`] does, unless its bytes are known: before anything is made of them `is_known` is asked,
/// with the bytes as they lie on the disk, and where it says so nothing is handed over.
///
/// It is not asked where there are no bytes of the whole file: of what cannot be opened, changes meanwhile, is too long or
/// plainly no recording. `boutwise audit --cache` knows files again by it.
///
/// ```
/// # fn main() -> Result<(), Box<dyn std::error::Error>> {
/// use boutwise_track::{ReadSettings, find_inputs, read_unless_known};
///
/// let folder = tempfile::tempdir()?;
/// std::fs::write(folder.path().join("run.gpx"), "<gpx/>")?;
/// let mut read = 0;
/// for input in find_inputs(folder.path())? {
///     let is_known = &mut |bytes: &[u8]| bytes == b"<gpx/>";
///     read_unless_known(&input, &ReadSettings::default(), is_known, &mut |_| read += 1);
/// }
/// assert_eq!(read, 0);
/// # Ok(())
/// # }
/// ```
pub fn read_unless_known<A: Answer>(
    input: &InputPath,
    settings: &ReadSettings,
    is_known: &mut dyn FnMut(&[u8]) -> bool,
    hand_over: &mut dyn FnMut(FileReading) -> A,
) {
    // Whoever wants no more knows that.
    let _ = of_input(input, settings, is_known, &mut |reading| hand_over(reading).flow());
}

/// What the receiver of readings answers to each: nothing, or whether it wants more.
pub trait Answer {
    /// Whether to go on.
    fn flow(self) -> ControlFlow<()>;
}

impl Answer for () {
    fn flow(self) -> ControlFlow<()> {
        ControlFlow::Continue(())
    }
}

impl Answer for ControlFlow<()> {
    fn flow(self) -> Self {
        self
    }
}

/// Takes readings, and says whether it wants more.
type Receiver<'a> = &'a mut dyn FnMut(FileReading) -> ControlFlow<()>;

fn of_input(
    input: &InputPath,
    settings: &ReadSettings,
    is_known: &mut dyn FnMut(&[u8]) -> bool,
    hand_over: Receiver<'_>,
) -> ControlFlow<()> {
    let without_recording = |error| FileReading::without_recording(input.name.clone(), error);
    if let Some(obstacle) = &input.obstacle {
        return hand_over(without_recording(obstacle.clone()));
    }
    if is_side_file(&input.name) {
        return hand_over(without_recording(Error::new(ErrorKind::SideFile, None, SIDE_FILE)));
    }
    let most = settings.archive.max_file_bytes;
    let loaded = File::open(&input.path).and_then(|file| {
        let before = file.metadata()?;
        let claim = settings.at_once.claim(&input.name, before.len().min(most));
        let loaded = load(&file, before.len(), most)?;
        let after = file.metadata()?;
        let is_same = before.len() == after.len() && before.modified().ok() == after.modified().ok();
        Ok((if is_same { loaded } else { Loaded::Changed }, claim))
    });
    match loaded {
        Ok((Loaded::Whole(bytes), claim)) => {
            if is_known(&bytes) {
                keep_room(bytes);
                return ControlFlow::Continue(());
            }
            of_bytes(&input.name, bytes.into(), settings, claim, hand_over)
        }
        Ok((Loaded::Changed, _)) => {
            hand_over(without_recording(Error::new(ErrorKind::Changed, None, CHANGED)))
        }
        Ok((Loaded::Other(kind), _)) => hand_over(without_recording(other_content(kind, &input.name))),
        Ok((Loaded::TooLong, _)) => hand_over(without_recording(too_long(settings))),
        Err(error) => hand_over(without_recording(unopenable(error))),
    }
}

/// Reads the file at `path` under its own name; see [`read_input`].
///
/// Pipes, sockets and devices are never opened.
///
/// ```
/// # fn main() -> std::io::Result<()> {
/// use boutwise_track::{ReadSettings, Status, read_path};
///
/// let folder = tempfile::tempdir()?;
/// let path = folder.path().join("run.gpx");
/// std::fs::write(&path, "<gpx><trk><trkseg><trkpt lat='1' lon='2'><time>2025-03-01T10:00:00Z</time>")?;
/// read_path(&path, &ReadSettings::default(), &mut |reading| assert_eq!(reading.status, Status::Failed));
/// # Ok(())
/// # }
/// ```
pub fn read_path<A: Answer>(
    path: &Path,
    settings: &ReadSettings,
    hand_over: &mut dyn FnMut(FileReading) -> A,
) {
    let name = file_name_of(path);
    let obstacle = match path.metadata() {
        Ok(metadata) => obstacle_of(metadata.file_type()),
        Err(error) => Some(unopenable(error)),
    };
    read_input(&InputPath { path: path.to_owned(), name, obstacle, is_folder: false }, settings, hand_over);
}

/// Reads a stream to its end; see [`read_bytes`].
///
/// ```
/// use boutwise_track::{ReadSettings, Status, read_from};
///
/// let stream: &[u8] = b"<gpx><trk><trkseg><trkpt lat='1' lon='2'><time>2025-03-01T10:00:00Z</time></trkpt>";
/// read_from(stream, "run.gpx", &ReadSettings::default(), &mut |reading| {
///     assert_eq!((reading.status, reading.points_kept), (Status::Partial, 1));
/// });
/// ```
pub fn read_from<A: Answer>(
    mut stream: impl Read,
    name: &str,
    settings: &ReadSettings,
    hand_over: &mut dyn FnMut(FileReading) -> A,
) {
    let mut bytes = Vec::new();
    let most = settings.archive.max_file_bytes;
    match stream.by_ref().take(most.saturating_add(1)).read_to_end(&mut bytes) {
        Ok(read) if read as u64 > most => {
            hand_over(FileReading::without_recording(name.to_owned(), too_long(settings)));
        }
        Ok(_) => {
            let claim = settings.at_once.claim(name, bytes.len() as u64);
            let _ = of_bytes(name, bytes.into(), settings, claim, &mut |reading| hand_over(reading).flow());
        }
        Err(error) => {
            hand_over(FileReading::without_recording(name.to_owned(), unopenable(error)));
        }
    }
}

/// Reads the bytes of a file, packed or not; `name` serves as a label, and as a hint whether other content than a
/// recording is a failure.
///
/// ```
/// use boutwise_track::{ReadSettings, Status, read_bytes};
///
/// let page = b"<!DOCTYPE html><html><body>Please sign in</body></html>";
/// read_bytes("run.gpx", page, &ReadSettings::default(), &mut |reading| {
///     assert_eq!(reading.status, Status::Failed);
///     assert!(reading.error.is_some_and(|error| error.to_string().starts_with("a web page")));
/// });
/// ```
pub fn read_bytes<A: Answer>(
    name: &str,
    bytes: &[u8],
    settings: &ReadSettings,
    hand_over: &mut dyn FnMut(FileReading) -> A,
) {
    let claim = settings.at_once.claim(name, bytes.len() as u64);
    let _ = of_bytes(name, bytes.into(), settings, claim, &mut |reading| hand_over(reading).flow());
}

fn of_bytes(
    name: &str,
    bytes: Cow<'_, [u8]>,
    settings: &ReadSettings,
    mut claim: Claim,
    hand_over: Receiver<'_>,
) -> ControlFlow<()> {
    archive::open(name, bytes, &settings.archive, &mut claim, &mut |found| {
        hand_over(match found {
            Found::File { name, bytes, packing } => reading_of_file(name, bytes, packing, settings),
            Found::Refused { name, error } => {
                let is_damaged =
                    matches!(error.kind(), ErrorKind::DamagedContainer | ErrorKind::IncompleteArchive);
                let fault = error.kind().word().as_bytes();
                let content_hash =
                    (is_damaged && !settings.without_content_hash).then(|| XxHash3_128::oneshot(fault));
                FileReading { content_hash, ..FileReading::without_recording(name, error) }
            }
        })
    })
}

fn too_long(settings: &ReadSettings) -> Error {
    let most = settings.archive.max_file_bytes;
    Error::new(ErrorKind::Cap, None, format!("it is longer than {most} bytes (the cap max_file_bytes)"))
}

/// What is said of bytes that may be partly of one state and partly of another.
const CHANGED: &str = "it was changed while it was read; read it again once nothing writes into it";

fn unopenable(error: io::Error) -> Error {
    Error::new(ErrorKind::Unopenable, None, format!("it cannot be read ({error})")).because_of(error)
}

enum Loaded {
    Whole(Vec<u8>),
    Other(Kind),
    TooLong,
    Changed,
}

fn load(file: &File, length: u64, most: u64) -> io::Result<Loaded> {
    // Some file systems state no length.
    if length == 0 {
        let mut bytes = Vec::new();
        file.take(most.saturating_add(1)).read_to_end(&mut bytes)?;
        return Ok(if bytes.len() as u64 > most { Loaded::TooLong } else { Loaded::Whole(bytes) });
    }
    let mut bytes = ROOM.take();
    let mut read = 0;
    if length > WHOLE_AT_ONCE_BYTES {
        if bytes.len() < HEAD_BYTES {
            make_room(&mut bytes, HEAD_BYTES as u64)?;
        }
        read = fill(file, &mut bytes[..HEAD_BYTES])?;
        if let Content::Other(kind) = sniff(&bytes[..read])
            && bytes[..read].iter().any(|&byte| byte != 0)
            && !is_zip_behind(file, length, read as u64)?
        {
            return Ok(Loaded::Other(kind));
        }
        if length > most {
            return Ok(Loaded::TooLong);
        }
    }
    let whole = usize::try_from(length).unwrap_or(usize::MAX);
    if whole <= bytes.len() || length <= WHOLE_AT_ONCE_BYTES {
        make_room(&mut bytes, length)?;
        // A known length needs no growing buffer and no call that finds the end of the file.
        read += fill(file, &mut bytes[read..])?;
        bytes.truncate(read);
    } else {
        // Long files take a few calls more and spare the zeros that a buffer is made of.
        bytes.truncate(read);
        reserve(&mut bytes, whole - read)?;
        file.take((whole - read) as u64).read_to_end(&mut bytes)?;
    }
    Ok(if length > most { Loaded::TooLong } else { Loaded::Whole(bytes) })
}

/// Whether a file that begins as another one ends as a zip archive; reading goes on at `at`.
fn is_zip_behind(mut file: &File, length: u64, at: u64) -> io::Result<bool> {
    let mut end = [0; ZIP_END_BYTES];
    file.seek(SeekFrom::Start(length.saturating_sub(ZIP_END_BYTES as u64)))?;
    let read = fill(file, &mut end)?;
    file.seek(SeekFrom::Start(at))?;
    Ok(ends_as_zip(&end[..read]))
}

/// Room of up to so many bytes stays with its thread for its next file (own choice: a run of an hour or two).
const KEPT_ROOM_BYTES: usize = 2 << 20;

thread_local! {
    /// The bytes of the thread's last file: whoever reads many writes zeros into their room but once.
    static ROOM: Cell<Vec<u8>> = const { Cell::new(Vec::new()) };
}

/// Asks for room for so many more bytes, since the program would end where growing is refused.
fn reserve(bytes: &mut Vec<u8>, more: usize) -> io::Result<()> {
    let asked = bytes.try_reserve_exact(more);
    asked.map_err(|_| io::Error::new(io::ErrorKind::OutOfMemory, "the system gives no memory for it"))
}

/// Gives a buffer so many bytes.
fn make_room(bytes: &mut Vec<u8>, length: u64) -> io::Result<()> {
    let length = usize::try_from(length).unwrap_or(usize::MAX);
    reserve(bytes, length.saturating_sub(bytes.len()))?;
    bytes.resize(length, 0);
    Ok(())
}

/// Gives room back.
fn keep_room(bytes: Vec<u8>) {
    if bytes.capacity() <= KEPT_ROOM_BYTES {
        ROOM.set(bytes);
    }
}

/// Fills a buffer as far as the file goes; gives how far.
fn fill(mut file: &File, bytes: &mut [u8]) -> io::Result<usize> {
    let mut filled = 0;
    while filled < bytes.len() {
        match file.read(&mut bytes[filled..]) {
            Ok(0) => break,
            Ok(read) => filled += read,
            Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
            Err(error) => return Err(error),
        }
    }
    Ok(filled)
}

/// Reads a file and lets go of its bytes, where nobody else has them: what is made of the recordings needs the room.
fn reading_of_file(
    name: String,
    bytes: Cow<'_, [u8]>,
    packing: Packing,
    settings: &ReadSettings,
) -> FileReading {
    let mut reading = match read_content(&name, &bytes, settings) {
        Ok(reading) => FileReading {
            status: if reading.partial || packing.is_damaged() { Status::Partial } else { Status::Read },
            file: name,
            format: Some(reading.format),
            recordings: reading.recordings,
            points_kept: reading.points_kept,
            points_dropped: reading.points_dropped,
            error: None,
            notes: reading.notes,
            origin: None,
            content_hash: None,
        },
        Err(error) => FileReading::without_recording(name, error),
    };
    if settings.with_origin && !reading.recordings.is_empty() {
        reading.origin = encoding::decode(&bytes).ok().map(|decoded| Origin::of(&decoded.text));
    }
    reading.content_hash = (!settings.without_content_hash).then(|| content_hash(&bytes, &packing.notes));
    match bytes {
        Cow::Owned(bytes) if packing.is_none() => keep_room(bytes),
        _ => {}
    }
    reading.notes.splice(0..0, packing.notes);
    reading
}

/// The hash of a file's bytes, and of what is wrong with what they are packed in, if anything is.
fn content_hash(bytes: &[u8], of_packing: &[Note]) -> u128 {
    let hash = XxHash3_128::oneshot(bytes);
    if of_packing.is_empty() {
        return hash;
    }
    let mut with_faults = XxHash3_128::new();
    with_faults.write(&hash.to_le_bytes());
    for note in of_packing {
        with_faults.write(note.kind.word().as_bytes());
        with_faults.write(&note.count.to_le_bytes());
    }
    with_faults.finish_128()
}

fn read_content(name: &str, bytes: &[u8], settings: &ReadSettings) -> Result<Reading, Error> {
    if let Some(Content::Other(kind)) = sniff_signature(bytes) {
        return Err(other_content(kind, name));
    }
    let decoded = encoding::decode(bytes).map_err(|refused| other_content(refused.kind(), name))?;
    if let Content::Other(kind) = sniff_text(&decoded.text) {
        return Err(other_content(kind, name));
    }
    let mut reading = read_text(&decoded.text, settings)?;
    reading.notes.splice(0..0, decoded.notes);
    Ok(reading)
}

fn other_content(kind: Kind, name: &str) -> Error {
    let advice = match kind.advice {
        "" if promises_recording(name) => "export the recording itself again",
        advice => advice,
    };
    let end = if advice.is_empty() { "" } else { "; " };
    let error_kind =
        if kind.may_hold_recordings { ErrorKind::OtherRecording } else { ErrorKind::OtherContent };
    Error::new(error_kind, None, format!("{}, no GPX or TCX{end}{advice}", kind.name))
}

/// Whether a file without a recording failed or is ignored. Of content that says nothing of recordings, the name
/// tells whether it was meant to be one.
fn status_of(error: &Error, name: &str) -> Status {
    match error.kind() {
        ErrorKind::IncompleteArchive => Status::Partial,
        ErrorKind::Empty | ErrorKind::NotMarkup | ErrorKind::OtherRoot | ErrorKind::OtherContent => {
            if promises_recording(name) {
                Status::Failed
            } else {
                Status::Ignored
            }
        }
        _ if error.is_no_recording() => Status::Ignored,
        _ => Status::Failed,
    }
}

/// Whether a name ends as the names of recordings do, packed or not.
fn promises_recording(name: &str) -> bool {
    // A member that shares its name with another carries its number behind it.
    let name = name.rsplit_once('#').map_or(name, |(name, _)| name).to_ascii_lowercase();
    let unpacked =
        [".gz", ".zst", ".zip"].iter().find_map(|ending| name.strip_suffix(ending)).unwrap_or(&name);
    [".gpx", ".tcx"].iter().any(|ending| unpacked.ends_with(ending))
}

//! From a file, however packed, to readings: one for each file handed in and each member of an archive.

use std::fs::File;
use std::io::{self, Read};
use std::path::Path;

use xxhash_rust::xxh3::xxh3_128;

use crate::allowance::Allowance;
use crate::archive::{self, Found, Packing, Refusal};
use crate::folder::{InputPath, obstacle_of};
use crate::read::{Format, ReadSettings, Reading, read_text};
use crate::side_file::is_side_file;
use crate::sniff::{Content, Kind, sniff, sniff_signature, sniff_text};
use crate::{Note, Recording, encoding};

/// What became of a file.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
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
    /// Why it gives no recording: the sentence for people, where it failed or was ignored.
    pub reason: Option<String>,
    /// What was noted about the file as a whole; notes on single sessions are with them.
    pub notes: Vec<Note>,
    /// Hash of its unpacked bytes (XXH3, 128 bits), equal for equal bytes; `None` where they were not read.
    pub content_hash: Option<u128>,
}

impl FileReading {
    fn without_recording(file: String, status: Status, reason: String) -> Self {
        Self {
            file,
            status,
            format: None,
            recordings: Vec::new(),
            points_kept: 0,
            points_dropped: 0,
            reason: Some(reason),
            notes: Vec::new(),
            content_hash: None,
        }
    }

    /// The reason and all notes as sentences, in the order in which people should read them.
    pub fn sentences(&self) -> impl Iterator<Item = &str> {
        self.reason.as_deref().into_iter().chain(self.notes.iter().map(|note| note.text.as_str()))
    }
}

/// Above this length only the head of a file is read at first, in bytes, to pass over films and the like (own choice).
const WHOLE_AT_ONCE_BYTES: u64 = 256 * 1024;
/// Length of that head in bytes.
const HEAD_BYTES: u64 = 64 * 1024;

/// Reads one input and hands over a reading for it, or one for each member of its archives, in archive order.
///
/// One reading exists at a time, so memory does not grow with the number of members. At least one is handed over.
///
/// ```
/// # fn main() -> std::io::Result<()> {
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
pub fn read_input(input: &InputPath, settings: &ReadSettings, hand_over: &mut dyn FnMut(FileReading)) {
    let without_recording =
        |status, reason| FileReading::without_recording(input.name.clone(), status, reason);
    if let Some(obstacle) = &input.obstacle {
        return hand_over(without_recording(Status::Failed, obstacle.clone()));
    }
    if is_side_file(&input.name) {
        return hand_over(without_recording(Status::Ignored, SIDE_FILE.to_owned()));
    }
    let loaded = File::open(&input.path).and_then(|file| {
        let length = file.metadata()?.len();
        load(file, length, settings.archive.max_file_bytes)
    });
    match loaded {
        Ok(Loaded::Whole(bytes)) => read_bytes(&input.name, &bytes, settings, hand_over),
        Ok(Loaded::Other(kind)) => hand_over(reading_of_kind(input.name.clone(), kind)),
        Ok(Loaded::TooLong) => hand_over(without_recording(Status::Failed, too_long(settings))),
        Err(error) => hand_over(without_recording(Status::Failed, format!("it cannot be read ({error})"))),
    }
}

/// Reads the file at `path` under its own name; see [`read_input`].
///
/// Pipes, sockets and devices are never opened.
pub fn read_path(path: &Path, settings: &ReadSettings, hand_over: &mut dyn FnMut(FileReading)) {
    let name = path.file_name().unwrap_or(path.as_os_str()).to_string_lossy().into_owned();
    let obstacle = match path.metadata() {
        Ok(metadata) => obstacle_of(metadata.file_type()),
        Err(error) => Some(format!("it cannot be read ({error})")),
    };
    read_input(&InputPath { path: path.to_owned(), name, obstacle }, settings, hand_over);
}

/// Reads a stream to its end; see [`read_bytes`].
pub fn read_from(
    mut stream: impl Read,
    name: &str,
    settings: &ReadSettings,
    hand_over: &mut dyn FnMut(FileReading),
) {
    let mut bytes = Vec::new();
    let most = settings.archive.max_file_bytes;
    match stream.by_ref().take(most.saturating_add(1)).read_to_end(&mut bytes) {
        Ok(read) if read as u64 > most => {
            hand_over(FileReading::without_recording(name.to_owned(), Status::Failed, too_long(settings)));
        }
        Ok(_) => read_bytes(name, &bytes, settings, hand_over),
        Err(error) => {
            let reason = format!("it cannot be read ({error})");
            hand_over(FileReading::without_recording(name.to_owned(), Status::Failed, reason));
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
///     assert!(reading.reason.is_some_and(|reason| reason.starts_with("a web page")));
/// });
/// ```
pub fn read_bytes(name: &str, bytes: &[u8], settings: &ReadSettings, hand_over: &mut dyn FnMut(FileReading)) {
    let mut allowance = Allowance::new(&settings.archive, bytes.len());
    archive::open(name, bytes, &Packing::default(), &mut allowance, &mut |found| {
        hand_over(match found {
            Found::File { name, bytes, packing } => reading_of_file(name, &bytes, packing, settings),
            Found::Refused { name, why, reason } => reading_of_refused(name, why, reason),
        });
    });
}

const SIDE_FILE: &str = "a side file of an operating system";

fn too_long(settings: &ReadSettings) -> String {
    format!("it is longer than {} bytes (the cap max_file_bytes)", settings.archive.max_file_bytes)
}

enum Loaded {
    Whole(Vec<u8>),
    Other(Kind),
    TooLong,
}

fn load(mut file: File, length: u64, most: u64) -> io::Result<Loaded> {
    // One byte to spare spares the reader a second allocation at the end of the file.
    let mut bytes = Vec::with_capacity(length.min(most) as usize + 1);
    if length > WHOLE_AT_ONCE_BYTES {
        file.by_ref().take(HEAD_BYTES).read_to_end(&mut bytes)?;
        if let Content::Other(kind) = sniff(&bytes)
            && bytes.iter().any(|&byte| byte != 0)
        {
            return Ok(Loaded::Other(kind));
        }
    }
    file.take(most.saturating_add(1).saturating_sub(bytes.len() as u64)).read_to_end(&mut bytes)?;
    Ok(if bytes.len() as u64 > most { Loaded::TooLong } else { Loaded::Whole(bytes) })
}

fn reading_of_file(name: String, bytes: &[u8], packing: Packing, settings: &ReadSettings) -> FileReading {
    let content_hash = Some(xxh3_128(bytes));
    let mut reading = read_content(name, bytes, &packing, settings);
    reading.content_hash = content_hash;
    reading.notes.splice(0..0, packing.notes);
    if packing.is_damaged && reading.status == Status::Read {
        reading.status = Status::Partial;
    }
    reading
}

fn read_content(name: String, bytes: &[u8], packing: &Packing, settings: &ReadSettings) -> FileReading {
    if let Some(Content::Other(kind)) = sniff_signature(bytes) {
        return reading_of_kind(name, kind);
    }
    let decoded = match encoding::decode(bytes) {
        Ok(decoded) => decoded,
        Err(refused) => return reading_of_kind(name, refused.kind()),
    };
    match sniff_text(&decoded.text) {
        Content::Xml { root } if matches!(root.as_str(), "gpx" | "TrainingCenterDatabase") => {
            let mut reading = match read_text(&decoded.text, settings) {
                Ok(reading) => reading_of_text(name, reading),
                Err(error) => reading_of_error(name, error),
            };
            reading.notes.splice(0..0, decoded.notes);
            reading
        }
        Content::Xml { root } => {
            let reason = format!("XML with the root element `{}`, neither GPX nor TCX", root.escape_debug());
            FileReading::without_recording(name.clone(), status_by_name(&name), reason)
        }
        Content::CutXml => {
            let reason = "truncated before its first element; no points".to_owned();
            FileReading::without_recording(name, Status::Failed, reason)
        }
        Content::Other(kind) => reading_of_kind(name, kind),
        // Containers were opened before; what is left is a file without content.
        _ => {
            let reason = if packing.is_damaged { "nothing that unpacks" } else { "an empty file" };
            FileReading::without_recording(name.clone(), status_by_name(&name), reason.to_owned())
        }
    }
}

fn reading_of_text(file: String, reading: Reading) -> FileReading {
    FileReading {
        file,
        status: if reading.partial { Status::Partial } else { Status::Read },
        format: Some(reading.format),
        recordings: reading.recordings,
        points_kept: reading.points_kept,
        points_dropped: reading.points_dropped,
        reason: None,
        notes: reading.notes,
        content_hash: None,
    }
}

fn reading_of_error(file: String, error: crate::error::Error) -> FileReading {
    let status = if error.1 { Status::Ignored } else { Status::Failed };
    FileReading::without_recording(file, status, error.0)
}

fn reading_of_kind(file: String, kind: Kind) -> FileReading {
    let status = if kind.is_recording { Status::Failed } else { status_by_name(&file) };
    let reason = match kind.advice {
        "" => format!("{}, no GPX or TCX", kind.name),
        advice => format!("{}, no GPX or TCX; {advice}", kind.name),
    };
    FileReading::without_recording(file, status, reason)
}

fn reading_of_refused(file: String, why: Refusal, reason: String) -> FileReading {
    let status = match why {
        Refusal::NoRecording | Refusal::TooDeep => Status::Ignored,
        Refusal::Encrypted | Refusal::Cap | Refusal::Unreadable | Refusal::EmptyArchive => Status::Failed,
        Refusal::Incomplete => Status::Partial,
    };
    FileReading::without_recording(file, status, reason)
}

/// Whether a file without a recording fails or is ignored: it fails where its name promises a recording.
fn status_by_name(name: &str) -> Status {
    let lower = name.to_ascii_lowercase();
    let unpacked =
        [".gz", ".zst", ".zip"].iter().find_map(|ending| lower.strip_suffix(ending)).unwrap_or(&lower);
    // A member that shares its name with another carries its number behind it.
    let unpacked = unpacked.split_once('#').map_or(unpacked, |(name, _)| name);
    if unpacked.ends_with(".gpx") || unpacked.ends_with(".tcx") { Status::Failed } else { Status::Ignored }
}

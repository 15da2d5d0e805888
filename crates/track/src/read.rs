//! From the text of a file to its sessions.

use serde::{Deserialize, Serialize};

use crate::error::{Error, ErrorKind};
use crate::gpx::{self, Gpx};
use crate::layout::Layouts;
use crate::lex::{Lexer, StartTag, Token};
use crate::note::{Lines, NoteKind, Notes};
use crate::raw::{Collector, RawSession};
use crate::tcx::{self, Tcx};
use crate::walk::{Schema, walk};
use crate::{ArchiveSettings, AtOnce, Note, Place, Recording, clean, number};

/// What the file leaves open and the caller may know.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ReadSettings {
    /// Seconds that local time is ahead of UTC where a time is written without a zone; `None` reads such times as UTC.
    pub assumed_utc_offset_s: Option<i32>,
    /// Whether every point goes the long way through the lexer, also where it or its tags are written as others
    /// before them. The result is the same, only slower; for comparison.
    pub without_layouts: bool,
    /// Whether readings say who and what wrote the file.
    pub with_origin: bool,
    /// Whether readers leave the hash out by which equal files are known, for those who want the points alone.
    pub without_content_hash: bool,
    /// How deep archives are opened and how much they may unpack to.
    pub archive: ArchiveSettings,
    /// How many bytes all readings at one time may have in work.
    pub at_once: AtOnce,
}

/// The format of a file, decided by its root element.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum Format {
    /// GPX 1.0 or 1.1.
    Gpx,
    /// TCX v2.
    Tcx,
}

impl Format {
    /// The short name for tables: `gpx` or `tcx`.
    pub fn word(self) -> &'static str {
        match self {
            Self::Gpx => "gpx",
            Self::Tcx => "tcx",
        }
    }
}

/// What a file held: at least one session with at least one point.
#[derive(Clone, Debug)]
pub struct Reading {
    /// The format.
    pub format: Format,
    /// The sessions in order of time, cleaned.
    pub recordings: Vec<Recording>,
    /// Everything that was noted about the file, its sessions included: one note a kind.
    pub notes: Vec<Note>,
    /// Whether a part of the recording is lost, so that it is `partial` rather than `read`.
    pub partial: bool,
    /// Points in the recordings.
    pub points_kept: usize,
    /// Points of the file that are in no recording.
    pub points_dropped: usize,
}

/// The sessions of a file as written, before cleaning.
#[derive(Clone, Debug)]
pub struct RawReading {
    /// The format.
    pub format: Format,
    /// Tracks or activities in the order of the file, empty ones left out.
    pub sessions: Vec<RawSession>,
    /// Points left out because their markup is broken, or because they follow as many sessions as are read.
    pub points_broken: usize,
    pub(crate) notes: Notes,
}

impl RawReading {
    /// Whether a part of the recording is lost.
    pub fn partial(&self) -> bool {
        self.notes.any_loss()
    }

    /// What was noted, one note a kind, with places in the text that was read.
    pub fn notes(&self, text: &[u8]) -> Vec<Note> {
        self.notes.finish(&mut Lines::new(text))
    }
}

/// Reads the sessions of a GPX or TCX text in UTF-8 and cleans them.
///
/// The format is recognised by the root element. Faults that leave usable data become notes.
///
/// # Errors
/// Where there is no session to judge: the file is empty, of another kind, holds no point, no time, or breaks off
/// before the first complete point. [`Error::is_no_recording`] tells what was never meant to be a recording.
///
/// # Example
/// ```
/// use boutwise_track::{ReadSettings, read_text};
///
/// let text = br#"<gpx><trk><trkseg>
///   <trkpt lat="47.5" lon="8.5"><time>2025-03-01T10:00:00Z</time></trkpt>
///   <trkpt lat="47.5001" lon="8.5"><time>2025-03-01T10:00:05Z</time></trkpt>
/// </trkseg></trk></gpx>"#;
/// let reading = read_text(text, &ReadSettings::default())?;
/// assert_eq!(reading.recordings.len(), 1);
/// assert_eq!(reading.recordings[0].duration_s(), 5.0);
/// assert!(!reading.partial);
/// # Ok::<(), boutwise_track::Error>(())
/// ```
pub fn read_text(text: &[u8], settings: &ReadSettings) -> Result<Reading, Error> {
    let raw = read_raw(text, settings)?;
    let (format, points_broken) = (raw.format, raw.points_broken);
    let points_found: usize = raw.sessions.iter().map(|session| session.points.len()).sum();
    let mut notes = raw.notes;
    let mut lines = Lines::new(text);
    // One rule for the whole file: where some times have a zone, the others are in UTC.
    let times = raw.sessions.iter().flat_map(|session| session.points.time_ns());
    let without_zone = settings.assumed_utc_offset_s.is_none()
        && notes.count(NoteKind::NoZone).is_some_and(|without_zone| {
            times.filter(|&&time_ns| time_ns != crate::NO_TIME).count() as u64 <= without_zone
        });
    let mut recordings = clean::clean(raw.sessions, format, &mut notes, &mut lines);
    recordings.iter_mut().for_each(|recording| recording.without_zone = without_zone);
    if recordings.is_empty() {
        if points_found == 0 {
            let sentence =
                "every point of the file is broken; expected at least one whole point: export it again";
            return Err(Error::new(ErrorKind::Broken, None, sentence));
        }
        return Err(no_time(&notes, &mut lines));
    }
    let points_kept = recordings.iter().map(|recording| recording.points.len()).sum();
    Ok(Reading {
        format,
        partial: notes.any_loss(),
        notes: notes.finish(&mut lines),
        points_dropped: points_found + points_broken - points_kept,
        points_kept,
        recordings,
    })
}

/// Reads the sessions of a GPX or TCX text in UTF-8 as they are written, without cleaning.
///
/// # Errors
/// As [`read_text`], save that points without time are no error here.
///
/// # Example
/// ```
/// use boutwise_track::{ReadSettings, read_raw};
///
/// let text = b"<gpx><trk><trkseg><trkpt lat='47.5' lon='8.5'><ele>-32768</ele></trkpt></trkseg></trk></gpx>";
/// let reading = read_raw(text, &ReadSettings::default())?;
/// assert_eq!(reading.sessions[0].points.elevation_m(), [-32768.0]);
/// # Ok::<(), boutwise_track::Error>(())
/// ```
pub fn read_raw(text: &[u8], settings: &ReadSettings) -> Result<RawReading, Error> {
    let text = without_zero_tail(text);
    let mut collector = Collector::new(settings);
    let Beginning { at: begin, format, head_missing } = recognise(text)?;
    if begin > 0 {
        collector.notes.add(NoteKind::StrayText, 0);
    }
    let begin = begin.max(if text.starts_with(BYTE_ORDER_MARK) { BYTE_ORDER_MARK.len() } else { 0 });
    if head_missing {
        collector.notes.add(NoteKind::HeadMissing, 0);
    }
    let (root_end, no_points) = match format {
        Format::Gpx => {
            let mut schema = Gpx { collector: &mut collector, beside: gpx::Beside::default() };
            let layouts = (!settings.without_layouts).then(Layouts::default);
            (walk(text, begin, &mut schema, layouts), no_gpx_points(schema.beside))
        }
        Format::Tcx => {
            let mut schema = Tcx::new(&mut collector);
            let layouts = (!settings.without_layouts).then(Layouts::default);
            (walk(text, begin, &mut schema, layouts), no_tcx_points(schema.beside))
        }
    };
    match root_end {
        Some(end) => note_what_follows(text, end, &mut collector.notes),
        None if head_missing => {}
        None => collector.notes.add(NoteKind::Truncated, text.len()),
    }
    let points: usize = collector.sessions.iter().map(|session| session.points.len()).sum();
    if points == 0 && collector.points_broken == 0 {
        if root_end.is_none() {
            let place = Some(Place::of(text, text.len()));
            return Err(Error::new(
                ErrorKind::Truncated,
                place,
                "truncated: the file ends before its first complete point; copy or download it again",
            ));
        }
        if matches!(no_points.0, ErrorKind::NoPoints | ErrorKind::TotalsOnly)
            && let Some(at) = defined_entity(&collector.notes)
        {
            let sentence = "the file holds no points but those that may stand behind an entity, and entities are never expanded; \
                 expected points that are written out: export the recorded activity";
            return Err(Error::new(ErrorKind::OtherRecording, Some(Place::of(text, at)), sentence));
        }
        return Err(points_elsewhere(&text[begin..], format, no_points.0)
            .unwrap_or_else(|| Error::new(no_points.0, None, no_points.1)));
    }
    collector.note_missing_positions(format);
    let Collector { mut sessions, points_broken, notes, .. } = collector;
    sessions.retain(|session| !session.points.is_empty());
    Ok(RawReading { format, sessions, points_broken, notes })
}

/// Why points that stand where neither format has them were not read; `None` where there are none.
fn points_elsewhere(text: &[u8], format: Format, no_points: ErrorKind) -> Option<Error> {
    let name: &[u8] = match format {
        Format::Gpx => Gpx::POINT_NAME,
        Format::Tcx => Tcx::POINT_NAME,
    };
    if !matches!(no_points, ErrorKind::NoPoints | ErrorKind::TotalsOnly) {
        return None;
    }
    let (mut lexer, mut ignored, mut count) = (Lexer::new(text), Notes::default(), 0);
    loop {
        match lexer.next(&mut ignored) {
            Token::Start(tag) if tag.local == name => count += 1,
            Token::EndOfFile => break,
            _ => {}
        }
    }
    let sentence = format!(
        "the file holds {count} points in a form that is not read, such as that of TCX v1; expected GPX or TCX v2: export the \
         recording as one of these"
    );
    (count > 0).then(|| Error::new(ErrorKind::OtherRecording, None, sentence))
}

fn no_time(notes: &Notes, lines: &mut Lines<'_>) -> Error {
    if let Some(at) = defined_entity(notes) {
        let sentence = "no point has a valid time but those that may stand behind an entity, and entities are never expanded; \
             expected times that are written out, such as 2025-03-01T10:00:00Z: export the recording again";
        return Error::new(ErrorKind::NoTime, Some(lines.place(at)), sentence);
    }
    let at = notes.first(NoteKind::BadTime);
    let sentence = "no point has a valid time, so nothing can be timed; expected one such as 2025-03-01T10:00:00Z in each \
         point: export the recording itself, not a drawn or planned track";
    Error::new(ErrorKind::NoTime, at.map(|at| lines.place(at)), sentence)
}

/// Where a document that defines entities has one.
fn defined_entity(notes: &Notes) -> Option<usize> {
    notes.first(NoteKind::DocumentType).and(notes.first(NoteKind::Entity))
}

/// What a text in UTF-8 may begin with (XML 1.0, appendix F).
const BYTE_ORDER_MARK: &[u8] = b"\xEF\xBB\xBF";

/// A block that was never written is a tail of zero bytes: one fault, the end of the file.
fn without_zero_tail(text: &[u8]) -> &[u8] {
    let last = text.iter().rposition(|&byte| byte != 0);
    last.and_then(|last| text.get(..=last)).unwrap_or_default()
}

/// Where a document begins and what it is.
struct Beginning {
    at: usize,
    format: Format,
    /// Whether the root element itself is missing.
    head_missing: bool,
}

/// How far into a file a declaration behind other markup is looked for, in bytes (own choice).
const DECLARATION_WITHIN_BYTES: usize = 64 * 1024;

/// Root elements of public vocabularies beside which recordings lie, or for which they are mistaken.
const PUBLIC_ROOTS: [&str; 18] = [
    "HTML",
    "Workbook",
    "body",
    "document",
    "feed",
    "fit",
    "head",
    "html",
    "kml",
    "library",
    "playlist",
    "plist",
    "rss",
    "svg",
    "urlset",
    "workbook",
    "worksheet",
    "xml",
];

/// A document begins with the text, or at its declaration where a program wrote messages with markup before that.
fn recognise(text: &[u8]) -> Result<Beginning, Error> {
    recognise_at(text, 0).or_else(|error| {
        let head = text.get(..DECLARATION_WITHIN_BYTES).unwrap_or(text);
        let declared = memchr::memmem::rfind(head, b"<?xml ").filter(|&at| at > 0);
        let behind = declared.and_then(|at| recognise_at(text, at).ok());
        behind.filter(|beginning| !beginning.head_missing).ok_or(error)
    })
}

fn recognise_at(text: &[u8], at: usize) -> Result<Beginning, Error> {
    let of = |format, head_missing| Ok(Beginning { at, format, head_missing });
    let mut lexer = Lexer::new(text);
    lexer.move_to(at);
    let mut ignored = Notes::default();
    let tag: StartTag<'_> = loop {
        match lexer.next(&mut ignored) {
            Token::Start(tag) => break tag,
            Token::EndOfFile => return Err(no_element(text)),
            _ => {}
        }
    };
    match tag.local {
        b"gpx" => of(Format::Gpx, false),
        b"TrainingCenterDatabase" => of(Format::Tcx, false),
        b"trk" | b"trkseg" | b"trkpt" | b"ele" | b"time" | b"extensions" => of(Format::Gpx, true),
        b"Activities" | b"Activity" | b"Lap" | b"Trackpoint" | b"Time" | b"Position" | b"AltitudeMeters"
        | b"DistanceMeters" | b"HeartRateBpm" | b"Extensions" => of(Format::Tcx, true),
        other => {
            let looks_like = match other {
                b"html" | b"HTML" | b"head" | b"body" => {
                    ", which looks like a web page saved in place of the recording"
                }
                b"kml" => ", a map file",
                b"fit" => ", another device format",
                _ => "",
            };
            Err(Error::new(
                ErrorKind::OtherRoot,
                Some(Place::of(text, tag.at)),
                format!(
                    "the root element is {}{looks_like}; expected <gpx> or <TrainingCenterDatabase>: export the \
                     recording as GPX or TCX",
                    named(other)
                ),
            ))
        }
    }
}

/// The name of a root element where it is one of a public vocabulary: any other may be something that was written into the file.
fn named(root: &[u8]) -> String {
    let name = PUBLIC_ROOTS.iter().find(|name| name.as_bytes() == root);
    name.map_or_else(|| "another".to_owned(), |name| format!("<{name}>"))
}

fn no_element(text: &[u8]) -> Error {
    let content = text.strip_prefix(BYTE_ORDER_MARK).unwrap_or(text);
    let content = number::trim(content);
    if content.is_empty() {
        return Error::new(ErrorKind::Empty, None, "the file is empty; copy or download the recording again");
    }
    if content.starts_with(b"<") {
        return Error::new(
            ErrorKind::Truncated,
            Some(Place::of(text, text.len())),
            "truncated: the file ends before its first element is complete; copy or download it again",
        );
    }
    Error::new(
        ErrorKind::NotMarkup,
        Some(Place::of(text, 0)),
        "no XML; expected a GPX or TCX recording, so export it as one of these",
    )
}

fn note_what_follows(text: &[u8], end: usize, notes: &mut Notes) {
    let rest = text.get(end..).unwrap_or_default();
    let roots: [&[u8]; 2] = [b"<gpx", b"<TrainingCenterDatabase"];
    if let Some(second) = roots.iter().filter_map(|root| memchr::memmem::find(rest, root)).min() {
        return notes.add(NoteKind::SecondDocument, end + second);
    }
    // Comments and blanks may follow a root; anything else is rubbish.
    let mut lexer = Lexer::new(rest);
    let mut ignored = Notes::default();
    if !matches!(lexer.next(&mut ignored), Token::EndOfFile if lexer.token_start() == rest.len()) {
        notes.add(NoteKind::AfterRoot, end + lexer.token_start());
    }
}

fn no_gpx_points(beside: gpx::Beside) -> (ErrorKind, &'static str) {
    if beside.route {
        (
            ErrorKind::RoutesOnly,
            "the file holds a route (rte) only, which is a plan and no recording; expected a track (trk): \
             export the recorded activity",
        )
    } else if beside.waypoint {
        (
            ErrorKind::WaypointsOnly,
            "the file holds waypoints (wpt) only and no track; expected a track (trk): export the recorded activity",
        )
    } else {
        (
            ErrorKind::NoPoints,
            "the file holds no track points; expected a track (trk) with points: export the recorded activity",
        )
    }
}

fn no_tcx_points(beside: tcx::Beside) -> (ErrorKind, &'static str) {
    if beside.course {
        (
            ErrorKind::CourseOnly,
            "the file holds a course only, whose times are invented, and no activity; \
             export the recorded activity",
        )
    } else if beside.lap {
        (
            ErrorKind::TotalsOnly,
            "the file holds lap totals only and no trackpoints, as when entered by hand; \
             expected trackpoints: export the recorded activity",
        )
    } else {
        (
            ErrorKind::NoPoints,
            "the file holds no trackpoints; expected an activity with trackpoints: export the recorded activity",
        )
    }
}

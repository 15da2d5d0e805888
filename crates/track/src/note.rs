//! What was odd about a file and did not stop the reading.

use std::collections::BTreeMap;
use std::ops::Range;

use memchr::memchr_iter;
use serde::{Deserialize, Serialize};

/// Where in the file something was found.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Place {
    /// Byte offset from the start of the decoded text, 0-based.
    pub byte: u64,
    /// Line as editors count, 1-based: LF, CR LF and CR alone each end a line.
    pub line: u64,
}

impl Place {
    /// The place of a byte offset in a text.
    pub(crate) fn of(text: &[u8], byte: usize) -> Self {
        Self { byte: byte as u64, line: 1 + line_breaks(text, 0..byte) }
    }
}

/// Line breaks that begin in a range of a text: line feeds, and carriage returns without one.
fn line_breaks(text: &[u8], range: Range<usize>) -> u64 {
    let begin = range.start.min(text.len());
    let counted = &text[begin..range.end.min(text.len())];
    let feeds = memchr_iter(b'\n', counted).count();
    let returns = memchr_iter(b'\r', counted).filter(|at| text.get(begin + at + 1) != Some(&b'\n')).count();
    (feeds + returns) as u64
}

/// Bytes after which the lines so far are written down (own choice).
const BLOCK_BYTES: usize = 64 * 1024;

/// Finds the places of many notes in one text without counting its lines from the start for each.
#[derive(Debug)]
pub(crate) struct Lines<'t> {
    text: &'t [u8],
    breaks_before_block: Vec<u64>,
}

impl<'t> Lines<'t> {
    pub(crate) fn new(text: &'t [u8]) -> Self {
        Self { text, breaks_before_block: vec![0] }
    }

    /// The place of a byte offset.
    pub(crate) fn place(&mut self, byte: usize) -> Place {
        let block = byte.min(self.text.len()) / BLOCK_BYTES;
        while self.breaks_before_block.len() <= block {
            let end = self.breaks_before_block.len() * BLOCK_BYTES;
            let before = self.breaks_before_block[self.breaks_before_block.len() - 1];
            self.breaks_before_block.push(before + line_breaks(self.text, end - BLOCK_BYTES..end));
        }
        let breaks = self.breaks_before_block[block] + line_breaks(self.text, block * BLOCK_BYTES..byte);
        Place { byte: byte as u64, line: 1 + breaks }
    }
}

macro_rules! note_kinds {
    ($($(#[doc = $doc:literal])+ $kind:ident = $word:literal, $loss:ident, $sentence:literal;)+) => {
        /// What kind of oddity a note speaks of.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
        #[non_exhaustive]
        pub enum NoteKind {
            $($(#[doc = $doc])+ $kind,)+
        }

        impl NoteKind {
            /// All kinds in their order.
            pub const ALL: &[NoteKind] = &[$(NoteKind::$kind,)+];

            /// The stable short word for tables, such as `truncated`.
            pub fn word(self) -> &'static str {
                match self { $(NoteKind::$kind => $word,)+ }
            }

            /// Whether a part of the recording was lost in the file, which makes it partial.
            pub fn is_loss(self) -> bool {
                match self { $(NoteKind::$kind => $loss,)+ }
            }

            /// What was found and what was done about it.
            fn sentence(self) -> &'static str {
                match self { $(NoteKind::$kind => $sentence,)+ }
            }
        }
    };
}

const LOSS: bool = true;
const KEPT: bool = false;

note_kinds! {
    /// The stream or archive round the file is cut or damaged.
    CutContainer = "cut container", LOSS, "the stream or archive round the file is cut or damaged; what unpacks was read";
    /// A checksum of the stream or archive round the file is wrong.
    Checksum = "checksum", LOSS, "a checksum of the stream or archive round the file is wrong; values in it may be wrong";
    /// Bytes follow the end of the stream round the file.
    TrailingBytes = "trailing bytes", KEPT, "bytes after the end of the stream round the file were passed over";
    /// Bytes do not fit the encoding of the file.
    Encoding = "encoding", KEPT, "bytes do not fit the encoding of the file; names and titles may suffer, points do not";
    /// The declared encoding is not known.
    UnknownEncoding = "unknown encoding", KEPT, "the encoding that the file declares is not known; it was read as UTF-8";
    /// The file ends before its root element is closed.
    Truncated = "truncated", LOSS, "truncated: the file ends before its root element is closed; every complete point before was kept";
    /// The file begins inside a recording: its root element is missing.
    HeadMissing = "head missing", LOSS, "the root element is missing at the start; what follows was read";
    /// A comment, CDATA section or instruction without an end.
    NeverClosed = "never closed", LOSS, "a comment, a CDATA section or an instruction is never closed; nothing behind its beginning was read";
    /// An end tag that does not fit, or one that is missing.
    WrongEndTag = "wrong end tag", LOSS, "an end tag is wrong or missing, or a block of the file is; reading went on behind it";
    /// A point with broken markup inside it.
    BrokenPoint = "broken point", LOSS, "the markup inside a point is broken; the point was left out";
    /// Laps that give totals but hold no points.
    TotalsOnly = "totals only", LOSS, "a lap holds totals only, no points; its time and distance are not counted";
    /// More tracks or activities in one file than are read.
    TooManySessions = "too many sessions", LOSS, "the file holds more than 20000 tracks or activities with points; those after that were not read: split it";
    /// A second document follows the first.
    SecondDocument = "second document", LOSS, "a second document follows the end of the first and was not read; split the file in two";
    /// A tag is cut by the beginning of another one.
    BrokenTag = "broken tag", KEPT, "a tag is cut off or malformed; its values were not used";
    /// The same attribute twice in one tag.
    DuplicateAttribute = "duplicate attribute", KEPT, "an attribute stands twice in one tag, so neither can be trusted; a point with it was left out";
    /// A bare `<` or `&`, or an unclosed tag in a text that nobody needs.
    BareMarkup = "bare markup", KEPT, "a bare < or & or a stray tag stands in a text; it was taken as text";
    /// Control bytes where XML allows none.
    ControlBytes = "control bytes", KEPT, "bytes that no XML text may hold were skipped";
    /// Text between elements that hold none.
    StrayText = "stray text", KEPT, "text stands where only elements may; it was skipped";
    /// Something behind the end of the root element.
    AfterRoot = "after the root", KEPT, "what follows the end of the root element was not read";
    /// A document type definition.
    DocumentType = "document type", KEPT, "a document type definition was passed over; nothing it names is fetched or expanded";
    /// An entity that is not one of XML's own five.
    Entity = "entity", KEPT, "an entity was found; entities are never expanded";
    /// Elements nested deeper than the limit.
    TooDeep = "too deep", KEPT, "elements are nested deeper than 256 levels; what lies below was passed over";
    /// A value that is no number.
    BadNumber = "bad number", KEPT, "{a value} is no number; it counts as missing";
    /// A number outside what its quantity allows.
    OutOfRange = "out of range", KEPT, "{a value} is outside what it can be; it counts as missing";
    /// A decimal comma in positions.
    DecimalComma = "decimal comma", KEPT, "{a value} is written with a decimal comma; it was read as the decimal point";
    /// A latitude without a longitude, or the reverse.
    HalfPosition = "half a position", KEPT, "a point has only one of latitude and longitude; its position counts as missing";
    /// A text that is no possible time.
    BadTime = "bad time", KEPT, "a time is impossible or unreadable; it counts as missing";
    /// Times in a form that GPX and TCX do not have.
    UnusualTime = "unusual time", KEPT, "times are not written as GPX and TCX ask, such as 2025-03-01T10:00:00Z, but can mean one moment only; they were read";
    /// Points without a valid time.
    NoTime = "no time", KEPT, "points without a valid time were left out";
    /// Times without a zone.
    NoZone = "no zone", KEPT, "times are written without a zone; they were read as UTC, or as the zone that was given";
    /// A second 60.
    LeapSecond = "leap second", KEPT, "a second 60 was read as the second that follows";
    /// Two points at the same time.
    SameTime = "same time", KEPT, "several points have the same time; one of each was kept";
    /// Points not in order of time.
    Unordered = "unordered", KEPT, "points were not in order of time; they were sorted";
    /// A block of points under a clock that was off by a fixed amount.
    ClockShifted = "clock shifted", KEPT, "the clock jumped for a block of points; the block was moved to its place";
    /// Points under a clock that cannot be put right.
    ClockWrong = "clock wrong", KEPT, "points with a clock that fits nowhere in the recording were left out";
    /// A part of a recording under a clock that was not set, beside one under a clock that was.
    ClockLost = "clock lost", LOSS, "for a part of the recording the clock was not set; that part was left out";
    /// Parts of a recording that claim one another's times.
    ConflictingTimes = "conflicting times", LOSS, "parts of the recording have times that conflict; the largest that fit together were kept, the others left out";
    /// A clock that was never set.
    ClockNotSet = "clock not set", KEPT, "the clock was not set when this was recorded: durations hold, the date does not";
    /// Not one of all written positions can be read.
    NoPosition = "no position", LOSS, "not one position can be read; expected decimal degrees, latitudes within 90 and longitudes within 180; times and sensors were kept";
    /// A GPX file whose points have no positions.
    WithoutPosition = "without position", KEPT, "no point has the attributes lat and lon; times and sensors were kept";
    /// Latitude and longitude both 0 before the first fix.
    NullPosition = "null position", KEPT, "positions 0/0 before the first fix count as missing";
    /// Positions with three decimals or fewer.
    RoundedPosition = "rounded position", KEPT, "positions are rounded to three decimals of a degree or fewer, about 110 m or more; they tell where this was, and no way, speed or distance";
    /// Positions that cannot be true.
    WildPosition = "wild position", KEPT, "positions far off the track were left out";
    /// A leap between two parts that are both long.
    PositionLeap = "position leap", KEPT, "the track leaps farther than anyone can travel; both sides were kept, bridged by a straight line";
    /// Two devices merged into one track.
    MergedDevices = "merged devices", KEPT, "two devices are merged point by point; one stream was kept, the other left out";
    /// A stretch faster than legs.
    FasterThanLegs = "faster than legs", KEPT, "a stretch is faster than legs, as in a vehicle; it belongs to no run";
    /// A long gap with much way in it.
    LostSignal = "lost signal", KEPT, "points are missing over a long way; the straight line bridges it in the session's distance only";
    /// Points about a minute apart.
    Coarse = "coarse", KEPT, "points are too far apart in time to tell short runs and walks";
    /// Heart rate 0 or 255.
    HeartRateFill = "heart rate fill", KEPT, "heart rates of 0 or 255 mean no contact; they count as missing";
    /// Cadence 255.
    CadenceFill = "cadence fill", KEPT, "cadences of 255 are a fill value; they count as missing";
    /// Cadence 0 while moving.
    CadenceDropout = "cadence dropout", KEPT, "cadences of 0 while moving are dropouts; they count as missing";
    /// Cadence of one leg, doubled.
    CadencePerLeg = "cadence per leg", KEPT, "cadence counts one leg's steps; it was doubled";
    /// Cadence whose unit cannot be told.
    CadenceUndecided = "cadence undecided", KEPT, "too little movement to tell whether cadence counts one leg or both; it was not used";
    /// An elevation fill value.
    ElevationFill = "elevation fill", KEPT, "elevations of -32768 or 99999 are fill values; they count as missing";
    /// The device's distance and the positions disagree.
    DistanceDiffers = "distance differs", KEPT, "the device's distance and the positions differ by more than 3 %; the positions lead";
    /// The device counts a distance that the positions do not show.
    DistanceLeads = "distance leads", KEPT, "the positions stay in one place, or are there for a small part of the way only, as on a treadmill, and the device's distance grows; the device's distance leads";
    /// The device's distance drops out or leaps.
    DistanceLeap = "distance leap", KEPT, "the device's distance drops out or leaps farther than legs carry; such values and steps were left out";
    /// A recording said to be of cycling.
    Cycling = "cycling", KEPT, "recorded as cycling: it never counts as running";
    /// Another file holds the same session or the same bytes.
    Duplicate = "duplicate", KEPT, "another file holds the same session";
    /// Another recording of the same athlete shares time with it.
    Overlap = "overlap", KEPT, "another recording of the same athlete shares time with this one; each has its row, and of two at one time at most one counts";
    /// Another recording is the same session on a clock of another time zone.
    ZoneSlip = "zone slip", KEPT, "another recording looks like this one on a clock of another time zone; both count unless they share time";
    /// A single point.
    SinglePoint = "single point", KEPT, "the session has one single point: too short to say anything";
}

/// A quantity that a note may speak of.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
#[non_exhaustive]
pub enum Quantity {
    /// The time of a point.
    Time,
    /// Latitude and longitude together.
    Position,
    /// Latitude.
    Latitude,
    /// Longitude.
    Longitude,
    /// Elevation.
    Elevation,
    /// Heart rate.
    HeartRate,
    /// Cadence of steps.
    Cadence,
    /// TCX `Cadence`, meant for the bicycle.
    BicycleCadence,
    /// The device's running total of distance.
    Distance,
    /// The device's own speed.
    Speed,
}

impl Quantity {
    /// How many there are; each is a number below this.
    pub(crate) const COUNT: usize = Self::Speed as usize + 1;

    /// The stable word for tables, such as `heart rate`.
    pub fn word(self) -> &'static str {
        match self {
            Self::Time => "time",
            Self::Position => "position",
            Self::Latitude => "latitude",
            Self::Longitude => "longitude",
            Self::Elevation => "elevation",
            Self::HeartRate => "heart rate",
            Self::Cadence => "cadence",
            Self::BicycleCadence => "bicycle cadence",
            Self::Distance => "distance",
            Self::Speed => "speed",
        }
    }

    fn with_article(self) -> String {
        let article = if self == Self::Elevation { "an" } else { "a" };
        format!("{article} {}", self.word())
    }
}

impl NoteKind {
    /// The one quantity that the kind always speaks of, if there is one.
    fn quantity(self) -> Option<Quantity> {
        match self {
            Self::BadTime
            | Self::UnusualTime
            | Self::NoTime
            | Self::NoZone
            | Self::LeapSecond
            | Self::SameTime
            | Self::Unordered
            | Self::ClockShifted
            | Self::ClockWrong
            | Self::ClockLost
            | Self::ConflictingTimes
            | Self::ClockNotSet => Some(Quantity::Time),
            Self::HalfPosition
            | Self::NoPosition
            | Self::WithoutPosition
            | Self::NullPosition
            | Self::RoundedPosition
            | Self::WildPosition
            | Self::PositionLeap => Some(Quantity::Position),
            Self::HeartRateFill => Some(Quantity::HeartRate),
            Self::CadenceFill | Self::CadenceDropout | Self::CadencePerLeg | Self::CadenceUndecided => {
                Some(Quantity::Cadence)
            }
            Self::ElevationFill => Some(Quantity::Elevation),
            Self::DistanceDiffers | Self::DistanceLeads | Self::DistanceLeap => Some(Quantity::Distance),
            _ => None,
        }
    }
}

/// A fault or oddity that left usable data: one per kind, quantity and file, with a count.
///
/// It never quotes the file: recordings hold places, devices and names, and notes reach tables and screens.
#[derive(Clone, Debug, PartialEq)]
pub struct Note {
    /// What it is about.
    pub kind: NoteKind,
    /// The quantity that it speaks of, where it is about one.
    pub quantity: Option<Quantity>,
    /// Where it was first seen, if it has a place.
    pub place: Option<Place>,
    /// How often it was seen.
    pub count: u64,
    /// The sentence for people: what was found and what was done about it.
    pub text: String,
    /// The bytes of the sentence that are the name of another file, where it speaks of one.
    pub other_file: Option<Range<usize>>,
}

impl Note {
    /// The kind's sentence with a detail that tells nothing of the recording, seen once and without a place.
    pub(crate) fn new(kind: NoteKind, detail: &str) -> Self {
        let sentence = sentence(kind, kind.quantity());
        let text = if detail.is_empty() { sentence } else { format!("{sentence} ({detail})") };
        Self { kind, quantity: kind.quantity(), place: None, count: 1, text, other_file: None }
    }
}

/// The kind's sentence, with the quantity where it has a place for one.
fn sentence(kind: NoteKind, quantity: Option<Quantity>) -> String {
    let value = quantity.map_or_else(|| "a value".to_owned(), Quantity::with_article);
    kind.sentence().replace("{a value}", &value)
}

/// Gathers notes while reading: counts a kind and quantity and remembers its first place.
#[derive(Clone, Debug, Default)]
pub(crate) struct Notes {
    entries: BTreeMap<(NoteKind, Option<Quantity>), Entry>,
    total: u64,
}

#[derive(Clone, Debug)]
struct Entry {
    count: u64,
    at: Option<usize>,
    detail: String,
}

impl Notes {
    /// One more of a kind, found at a byte offset.
    pub(crate) fn add(&mut self, kind: NoteKind, at: usize) {
        self.add_many(kind, 1, Some(at), String::new);
    }

    /// One more of a kind about a value of a quantity, found at a byte offset.
    pub(crate) fn add_value(&mut self, kind: NoteKind, quantity: Quantity, at: usize) {
        self.put((kind, Some(quantity)), 1, Some(at), String::new);
    }

    /// Several more of a kind; `detail` is asked only for the first, and tells nothing of the recording.
    pub(crate) fn add_many(
        &mut self,
        kind: NoteKind,
        count: u64,
        at: Option<usize>,
        detail: impl FnOnce() -> String,
    ) {
        self.put((kind, kind.quantity()), count, at, detail);
    }

    fn put(
        &mut self,
        key: (NoteKind, Option<Quantity>),
        count: u64,
        at: Option<usize>,
        detail: impl FnOnce() -> String,
    ) {
        if count == 0 {
            return;
        }
        self.total += count;
        self.entries.entry(key).and_modify(|entry| entry.count += count).or_insert_with(|| Entry {
            count,
            at,
            detail: detail(),
        });
    }

    /// Adds another collection's counts.
    pub(crate) fn absorb(&mut self, other: &Notes) {
        for (&key, entry) in &other.entries {
            self.put(key, entry.count, entry.at, || entry.detail.clone());
        }
    }

    /// How many were added, all kinds together.
    pub(crate) fn total(&self) -> u64 {
        self.total
    }

    /// The first place of a kind, where it was noted.
    pub(crate) fn first(&self, kind: NoteKind) -> Option<usize> {
        self.entries.get(&(kind, kind.quantity())).and_then(|entry| entry.at)
    }

    /// How often a kind was noted, where it was.
    pub(crate) fn count(&self, kind: NoteKind) -> Option<u64> {
        self.entries.get(&(kind, kind.quantity())).map(|entry| entry.count)
    }

    pub(crate) fn any_loss(&self) -> bool {
        self.entries.keys().any(|(kind, _)| kind.is_loss())
    }

    /// The notes as sentences with their places.
    pub(crate) fn finish(&self, lines: &mut Lines<'_>) -> Vec<Note> {
        self.entries
            .iter()
            .map(|(&(kind, quantity), entry)| {
                let place = entry.at.map(|at| lines.place(at));
                let detail =
                    if entry.detail.is_empty() { String::new() } else { format!(" ({})", entry.detail) };
                let count = if entry.count > 1 { format!("{} times: ", entry.count) } else { String::new() };
                let place_text = place.map_or(String::new(), |place| {
                    format!("; first at line {}, byte {}", place.line, place.byte)
                });
                let text = format!("{count}{}{detail}{place_text}", sentence(kind, quantity));
                Note { kind, quantity, place, count: entry.count, text, other_file: None }
            })
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn how_many_sessions_are_read_is_said_as_it_is() {
        let most = format!(" {} ", crate::raw::MAX_SESSIONS);
        assert!(NoteKind::TooManySessions.sentence().contains(&most));
    }

    #[test]
    fn lines_are_counted_as_editors_do() {
        let text = b"a\nb\r\nc\rd";
        let line = |byte| Place::of(text, byte).line;
        assert_eq!([0, 2, 5, 7].map(line), [1, 2, 3, 4]);
    }

    #[test]
    fn places_are_the_same_in_any_order_and_across_blocks() {
        let text = b"some\r\ntext\rwith\nlines\n\n".repeat(10_000);
        let mut lines = Lines::new(&text);
        for byte in (0..text.len() + 9).step_by(997).rev().chain([BLOCK_BYTES, BLOCK_BYTES - 1, 5, 0]) {
            assert_eq!(lines.place(byte), Place::of(&text, byte));
        }
    }

    #[test]
    fn one_note_a_kind_and_quantity_with_count_and_first_place() {
        let mut notes = Notes::default();
        notes.add_value(NoteKind::BadNumber, Quantity::HeartRate, 3);
        notes.add_value(NoteKind::BadNumber, Quantity::HeartRate, 9);
        notes.add_value(NoteKind::BadNumber, Quantity::Elevation, 5);
        let mut notes = notes.finish(&mut Lines::new(b"a\nb\nc\nd\ne\n"));
        assert_eq!(notes.len(), 2);
        notes.sort_by_key(|note| std::cmp::Reverse(note.count));
        assert_eq!(notes[0].count, 2);
        assert_eq!(notes[0].place, Some(Place { byte: 3, line: 2 }));
        assert_eq!(
            notes[0].text,
            "2 times: a heart rate is no number; it counts as missing; first at line 2, byte 3"
        );
        assert_eq!(notes[1].text, "an elevation is no number; it counts as missing; first at line 3, byte 5");
        assert_eq!(notes[0].quantity, Some(Quantity::HeartRate));
    }

    #[test]
    fn words_are_stable_and_unlike() {
        let words: std::collections::BTreeSet<_> = NoteKind::ALL.iter().map(|kind| kind.word()).collect();
        assert_eq!(words.len(), NoteKind::ALL.len());
    }
}

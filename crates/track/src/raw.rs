//! Sessions as their file writes them, before cleaning, and the collector that both formats fill.

use std::ops::RangeInclusive;

use crate::note::{NoteKind, Notes, Quantity};
use crate::number::{self, NumberFault};
use crate::timestamp::{self, NS_PER_S, PlainTimes, Timestamp};
use crate::walk::is_control;
use crate::{Format, Mark, MarkKind, Points, ReadSettings, Sport, words};

/// One track or activity as written: order of the file, fill values and all.
#[derive(Clone, Debug, Default)]
pub struct RawSession {
    /// What the file says was done.
    pub sport: Sport,
    /// The samples in the order of the file; times may be missing and cadence may count one leg.
    pub points: Points,
    /// Byte offset of each point.
    pub point_bytes: Vec<usize>,
    /// TCX `Cadence`, meant for the bicycle, in revolutions per minute; NaN where missing. Empty for GPX.
    pub bicycle_cadence_rpm: Vec<f64>,
    /// Segment and lap boundaries.
    pub marks: Vec<Mark>,
    /// Offset from UTC in seconds that the first time with a zone other than Z has.
    pub utc_offset_s: Option<i32>,
    /// A key of what the file names as its device or program.
    pub device_key: Option<u64>,
}

impl RawSession {
    /// The session with only the points at `indices`, in that order; marks move to the next point that is left.
    pub(crate) fn select(&self, indices: &[usize]) -> Self {
        let first = indices.first().copied().unwrap_or(0);
        let passed = self.marks.partition_point(|mark| mark.index <= first);
        let mut marks = Vec::new();
        let mut left = self.marks[passed..].iter().copied().peekable();
        for (index, &old) in indices.iter().enumerate() {
            let mut kind = None;
            while let Some(mark) = left.next_if(|mark| mark.index <= old) {
                kind = if kind == Some(MarkKind::Lap) { kind } else { Some(mark.kind) };
            }
            if let Some(kind) = kind
                && index > 0
            {
                marks.push(Mark { index, kind });
            }
        }
        let bicycle = &self.bicycle_cadence_rpm;
        Self {
            points: self.points.select(indices),
            point_bytes: indices.iter().map(|&index| self.point_bytes[index]).collect(),
            bicycle_cadence_rpm: match bicycle.is_empty() {
                true => Vec::new(),
                false => {
                    indices.iter().map(|&index| bicycle.get(index).copied().unwrap_or(f64::NAN)).collect()
                }
            },
            marks,
            sport: self.sport,
            utc_offset_s: self.utc_offset_s,
            device_key: self.device_key,
        }
    }

    /// The column of a quantity; `None` for time and for positions as a whole.
    pub(crate) fn column_mut(&mut self, quantity: Quantity) -> Option<&mut Vec<f64>> {
        let points = &mut self.points;
        Some(match quantity {
            Quantity::Time | Quantity::Position => return None,
            Quantity::Latitude => &mut points.latitude_deg,
            Quantity::Longitude => &mut points.longitude_deg,
            Quantity::Elevation => &mut points.elevation_m,
            Quantity::HeartRate => &mut points.heart_rate_bpm,
            Quantity::Cadence => &mut points.cadence_spm,
            Quantity::BicycleCadence => &mut self.bicycle_cadence_rpm,
            Quantity::Distance => &mut points.distance_m,
            Quantity::Speed => &mut points.speed_m_per_s,
        })
    }

    /// Marks the point with an index, if anything is pending; what begins with the first point says nothing.
    #[inline]
    fn mark(&mut self, index: usize, pending: Option<MarkKind>) {
        if let Some(kind) = pending.filter(|_| index > 0) {
            self.marks.push(Mark { index, kind });
        }
    }

    /// Appends a session that goes on where this one ends.
    pub(crate) fn append(&mut self, other: Self) {
        let shift = self.points.len();
        self.marks.push(Mark { index: shift, kind: MarkKind::Segment });
        self.marks.extend(other.marks.iter().map(|mark| Mark { index: mark.index + shift, ..*mark }));
        self.points.append(other.points);
        self.point_bytes.extend(other.point_bytes);
        if self.sport == Sport::Unknown {
            self.sport = other.sport;
        }
        self.utc_offset_s = self.utc_offset_s.or(other.utc_offset_s);
        self.device_key = self.device_key.or(other.device_key);
    }
}

/// Largest heart rate or cadence that a byte holds; 255 itself is a fill value, which cleaning decides.
const LARGEST_BYTE: f64 = 255.0;

/// Tracks or activities with points that are read of one file (own choice: somebody's of fifty years; each takes some 2 kB
/// however short it is).
pub(crate) const MAX_SESSIONS: usize = 20_000;

/// Farthest total in metres that is believed (own choice: 1,000 km; nobody comes so far on foot in a session).
const LARGEST_TOTAL_M: f64 = 1e6;

impl Quantity {
    /// The values about which there is nothing to note.
    pub(crate) fn plain_range(self) -> RangeInclusive<f64> {
        match self {
            Self::Latitude => -LARGEST_LATITUDE_DEG..=LARGEST_LATITUDE_DEG,
            Self::Longitude => -LARGEST_LONGITUDE_DEG..=LARGEST_LONGITUDE_DEG,
            _ => RANGES[self as usize][0]..=RANGES[self as usize][1],
        }
    }
}

const LARGEST_LATITUDE_DEG: f64 = 90.0;
const LARGEST_LONGITUDE_DEG: f64 = 180.0;

/// Least and largest value of each quantity that is taken.
const RANGES: [[f64; 2]; Quantity::COUNT] = {
    let mut ranges = [[f64::NEG_INFINITY, f64::INFINITY]; Quantity::COUNT];
    ranges[Quantity::HeartRate as usize] = [0.0, LARGEST_BYTE];
    ranges[Quantity::Cadence as usize] = [0.0, LARGEST_BYTE];
    ranges[Quantity::BicycleCadence as usize] = [0.0, LARGEST_BYTE];
    ranges[Quantity::Distance as usize] = [0.0, LARGEST_TOTAL_M];
    ranges[Quantity::Speed as usize][0] = 0.0;
    ranges
};

/// A key of the texts that name a device, in their order.
#[derive(Clone, Copy, Debug, Default)]
struct Device(Option<u64>);

impl Device {
    /// Adds a text, unless it is empty.
    fn add(&mut self, text: &[u8]) {
        let text = number::trim(text);
        if !text.is_empty() {
            self.0 = Some(twox_hash::XxHash3_64::oneshot_with_seed(self.0.unwrap_or(0), text));
        }
    }

    fn key(self) -> Option<u64> {
        self.0
    }
}

/// Where a value of the last point stands.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Seen {
    pub(crate) quantity: Quantity,
    pub(crate) at: usize,
    pub(crate) length: usize,
}

/// Takes the values of points as they are found and files complete points into sessions.
#[derive(Debug, Default)]
pub(crate) struct Collector {
    assumed_utc_offset_s: Option<i32>,
    /// What the file as a whole names as its device or program.
    device: Device,
    pub(crate) notes: Notes,
    pub(crate) sessions: Vec<RawSession>,
    pub(crate) points_broken: usize,
    /// The values of the open point by quantity, NaN where missing.
    values: [f64; Quantity::COUNT],
    time_ns: Option<i64>,
    utc_offset_s: Option<i32>,
    point_at: usize,
    seen: Vec<Seen>,
    notes_before: u64,
    in_point: bool,
    point_broken: bool,
    /// Whether as many sessions as are read lie before the open one, of which nothing is kept.
    is_full: bool,
    decimal_comma: bool,
    pending_mark: Option<MarkKind>,
    room_is_made: bool,
    positions_lost: u64,
    first_lost_at: Option<usize>,
    /// The reader of times that are written plainly.
    pub(crate) plain_times: PlainTimes,
}

impl Collector {
    pub(crate) fn new(settings: &ReadSettings) -> Self {
        Self { assumed_utc_offset_s: settings.assumed_utc_offset_s, ..Self::default() }
    }

    /// A track or activity begins; one before it that stayed empty is forgotten.
    pub(crate) fn begin_session(&mut self, sport: Sport) {
        self.sessions.pop_if(|last| last.points.is_empty());
        self.is_full = self.sessions.len() == MAX_SESSIONS;
        if self.is_full {
            return;
        }
        let device_key = self.device.key();
        self.sessions.push(RawSession { sport, device_key, ..RawSession::default() });
        self.pending_mark = None;
    }

    /// The file names its device or program, for all sessions that follow.
    pub(crate) fn name_device(&mut self, text: &[u8]) {
        self.device.add(text);
    }

    /// The open session names its device, in one of several texts.
    pub(crate) fn name_session_device(&mut self, text: &[u8]) {
        if let Some(session) = self.open_session() {
            let mut device = Device(session.device_key);
            device.add(text);
            session.device_key = device.key();
        }
    }

    pub(crate) fn set_sport(&mut self, sport: Sport) {
        if let Some(session) = self.open_session() {
            session.sport = sport;
        }
    }

    fn open_session(&mut self) -> Option<&mut RawSession> {
        self.sessions.last_mut().filter(|_| !self.is_full)
    }

    /// The next point begins a new segment or lap; a lap outranks a segment at the same point.
    pub(crate) fn mark(&mut self, kind: MarkKind) {
        if self.pending_mark != Some(MarkKind::Lap) {
            self.pending_mark = Some(kind);
        }
    }

    pub(crate) fn points_in_session(&self) -> usize {
        self.sessions.last().map_or(0, |session| session.points.len())
    }

    /// Makes room in the open session, once, for the point that ends at `end` and as many like it as `left` bytes hold.
    #[inline]
    pub(crate) fn make_room(&mut self, end: usize, left: usize) {
        if self.room_is_made {
            return;
        }
        self.room_is_made = true;
        let count = 1 + left / (end - self.point_at).max(1);
        if let Some(session) = self.sessions.last_mut() {
            session.points.reserve(count);
            session.point_bytes.reserve(count);
        }
    }

    #[inline]
    pub(crate) fn begin_point(&mut self, at: usize) {
        self.values = [f64::NAN; Quantity::COUNT];
        self.time_ns = None;
        self.utc_offset_s = None;
        self.point_at = at;
        self.seen.clear();
        self.notes_before = self.notes.total();
        self.in_point = true;
        // What follows as many sessions as are read is left out as points are that are broken.
        self.point_broken = self.is_full;
    }

    /// The open point was none that could be read by its layout; nothing of it counts.
    pub(crate) fn abandon_point(&mut self) {
        self.in_point = false;
    }

    /// Where the last point began and its values, if nothing about it was noted.
    pub(crate) fn last_point(&self) -> Option<(usize, &[Seen])> {
        (self.notes.total() == self.notes_before).then_some((self.point_at, self.seen.as_slice()))
    }

    /// Broken markup was found: the open point, if any, cannot be trusted.
    pub(crate) fn fault(&mut self) {
        self.point_broken = self.in_point;
    }

    #[inline]
    pub(crate) fn end_point(&mut self, complete: bool) {
        self.in_point = false;
        if self.point_broken {
            self.points_broken += 1;
            let kind = if self.is_full { NoteKind::TooManySessions } else { NoteKind::BrokenPoint };
            self.notes.add(kind, self.point_at);
            return;
        }
        if !complete {
            return;
        }
        if !self.has_position() {
            if self.position_is_written() {
                self.positions_lost += 1;
                self.first_lost_at.get_or_insert(self.point_at);
            }
            self.values[Quantity::Latitude as usize] = f64::NAN;
            self.values[Quantity::Longitude as usize] = f64::NAN;
        }
        if self.sessions.is_empty() {
            self.begin_session(Sport::Unknown);
        }
        let Some(session) = self.sessions.last_mut() else { return };
        let index = session.points.len();
        session.mark(index, self.pending_mark.take());
        session.points.push_values(self.time_ns, &self.values);
        session.point_bytes.push(self.point_at);
        session.utc_offset_s = session.utc_offset_s.or(self.utc_offset_s);
        let bicycle_cadence_rpm = self.values[Quantity::BicycleCadence as usize];
        if !bicycle_cadence_rpm.is_nan() || !session.bicycle_cadence_rpm.is_empty() {
            session.bicycle_cadence_rpm.resize(index, f64::NAN);
            session.bicycle_cadence_rpm.push(bicycle_cadence_rpm);
        }
    }

    /// Files points, of which nothing is to be noted, into the open session by what adds them to it and tells how many they are;
    /// none where there is no open session.
    pub(crate) fn file(&mut self, add: impl FnOnce(&mut RawSession) -> usize) -> usize {
        let Some(session) = self.sessions.last_mut().filter(|_| !self.is_full) else { return 0 };
        let index = session.points.len();
        let count = add(session);
        if count > 0 {
            session.mark(index, self.pending_mark.take());
        }
        count
    }

    #[cold]
    fn position_is_written(&self) -> bool {
        self.seen.iter().any(|seen| matches!(seen.quantity, Quantity::Latitude | Quantity::Longitude))
    }

    /// Notes where points have positions and not one of them can be read, or none where the format demands them.
    pub(crate) fn note_missing_positions(&mut self, format: Format) {
        let is_place = |latitude_deg: &f64| !latitude_deg.is_nan();
        if self.sessions.iter().any(|session| session.points.latitude_deg.iter().any(is_place)) {
            return;
        }
        self.notes.add_many(NoteKind::NoPosition, self.positions_lost, self.first_lost_at, String::new);
        let first = self.sessions.iter().find_map(|session| session.point_bytes.first());
        if let Some(&first) = first
            && self.positions_lost == 0
            && format == Format::Gpx
        {
            self.notes.add(NoteKind::WithoutPosition, first);
        }
    }

    /// Whether the open point has a position; what is wrong with it is noted.
    #[inline]
    fn has_position(&mut self) -> bool {
        let degrees =
            [Quantity::Latitude, Quantity::Longitude].map(|quantity| self.values[quantity as usize]);
        let [latitude_deg, longitude_deg] = degrees;
        if latitude_deg.abs() <= LARGEST_LATITUDE_DEG && longitude_deg.abs() <= LARGEST_LONGITUDE_DEG {
            return true;
        }
        match degrees.map(f64::is_nan) {
            [true, true] => {}
            [false, false] => {
                // One note each, so that both show where both are wrong.
                for (quantity, degrees, most) in [
                    (Quantity::Latitude, latitude_deg, LARGEST_LATITUDE_DEG),
                    (Quantity::Longitude, longitude_deg, LARGEST_LONGITUDE_DEG),
                ] {
                    if degrees.abs() > most {
                        self.notes.add_value(NoteKind::OutOfRange, quantity, self.point_at);
                    }
                }
            }
            _ => self.notes.add(NoteKind::HalfPosition, self.point_at),
        }
        false
    }

    /// Takes the text of a value, which stands at byte `at`. The first valid value of a quantity counts.
    #[inline]
    pub(crate) fn value(&mut self, quantity: Quantity, text: &[u8], at: usize) {
        self.seen.push(Seen { quantity, at, length: text.len() });
        if quantity == Quantity::Time {
            return self.time(text, at);
        }
        let Some(value) = self.number(quantity, text, at) else { return };
        if !self.take_number(quantity, value) {
            self.notes.add_value(NoteKind::OutOfRange, quantity, at);
        }
    }

    /// Takes the value at `at`, if it is plain and valid and an end tag follows it; gives where that one ends.
    #[inline]
    pub(crate) fn plain_value(
        &mut self,
        quantity: Quantity,
        text: &[u8],
        at: usize,
        closing: impl FnOnce(usize) -> Option<usize>,
    ) -> Option<usize> {
        let rest = text.get(at..)?;
        if quantity == Quantity::Time {
            let (time, length) = self.plain_times.read(rest)?;
            let end = closing(at + length)?;
            self.take_time(time);
            self.seen.push(Seen { quantity, at, length });
            return Some(end);
        }
        // Where the value ends is sought first: the processor goes on behind it while it still makes out the number.
        let length = words::find(rest, b'<', number::MAX_DIGITS)?;
        let end = closing(at + length)?;
        let (value, digits) = number::leading(rest)?;
        (digits == length && self.take_plain(quantity, value, at, length)).then_some(end)
    }

    /// Takes a number whose text stands at `at`; false where it is out of range.
    #[inline]
    pub(crate) fn take_plain(&mut self, quantity: Quantity, value: f64, at: usize, length: usize) -> bool {
        let is_taken = self.take_number(quantity, value);
        if is_taken {
            self.seen.push(Seen { quantity, at, length });
        }
        is_taken
    }

    /// Takes a number; false where it is out of range.
    #[inline]
    pub(crate) fn take_number(&mut self, quantity: Quantity, value: f64) -> bool {
        let [least, most] = RANGES[quantity as usize];
        if !(least..=most).contains(&value) {
            return false;
        }
        let slot = &mut self.values[quantity as usize];
        *slot = if slot.is_nan() { value } else { *slot };
        true
    }

    /// A decimal comma is read in positions, which leave no other reading, and then in the whole file.
    #[inline]
    fn number(&mut self, quantity: Quantity, text: &[u8], at: usize) -> Option<f64> {
        let fault = match number::parse(text) {
            Ok(value) => return Some(value),
            Err(fault) => fault,
        };
        let is_position = matches!(quantity, Quantity::Latitude | Quantity::Longitude);
        if fault == NumberFault::DecimalComma && (is_position || self.decimal_comma) {
            self.decimal_comma = true;
            self.notes.add_value(NoteKind::DecimalComma, quantity, at);
            return number::parse_with_comma(text).ok();
        }
        if let Some(text) = self.without_controls(text, at) {
            return self.number(quantity, &text, at);
        }
        self.notes.add_value(NoteKind::BadNumber, quantity, at);
        None
    }

    /// A value that cannot be read, without the bytes in it that no XML text may hold; `None` where there are none.
    #[cold]
    fn without_controls(&mut self, text: &[u8], at: usize) -> Option<Vec<u8>> {
        let first = text.iter().copied().position(is_control)?;
        self.notes.add(NoteKind::ControlBytes, at + first);
        Some(text.iter().copied().filter(|&byte| !is_control(byte)).collect())
    }

    #[inline]
    fn time(&mut self, text: &[u8], at: usize) {
        let time = timestamp::parse(text).or_else(|| {
            let time = timestamp::parse_unusual(text)?;
            self.notes.add(NoteKind::UnusualTime, at);
            Some(time)
        });
        let Some(time) = time else {
            if let Some(text) = self.without_controls(text, at) {
                return self.time(&text, at);
            }
            self.notes.add(NoteKind::BadTime, at);
            return;
        };
        if time.leap_second {
            self.notes.add(NoteKind::LeapSecond, at);
        }
        if time.offset_s.is_none() {
            self.notes.add(NoteKind::NoZone, at);
        }
        self.take_time(time);
    }

    #[inline]
    pub(crate) fn take_time(&mut self, time: Timestamp) {
        let offset_s = time.offset_s.or(self.assumed_utc_offset_s).unwrap_or(0);
        if self.time_ns.is_none() {
            self.time_ns = Some(time.clock_ns - i64::from(offset_s) * NS_PER_S);
            let is_assumed = time.offset_s.is_none() && self.assumed_utc_offset_s.is_some();
            self.utc_offset_s = if is_assumed { Some(offset_s) } else { time.local_offset_s() };
        }
    }
}

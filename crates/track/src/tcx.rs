//! What the elements of TCX v2 mean: activities are recordings, courses are not.

use crate::lex::{Attribute, StartTag};
use crate::note::NoteKind;
use crate::note::Quantity;
use crate::raw::Collector;
use crate::walk::{Role, Schema};
use crate::{MarkKind, Sport};

/// A lap without points whose totals claim more than this many seconds lost its track (the gap limit).
const EMPTY_LAP_S: f64 = 20.0;

/// What was seen beside trackpoints, for the message when there are none.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Beside {
    pub(crate) course: bool,
    pub(crate) lap: bool,
}

/// Fills a collector from TCX elements.
#[derive(Debug)]
pub(crate) struct Tcx<'c> {
    pub(crate) collector: &'c mut Collector,
    pub(crate) beside: Beside,
    lap: Lap,
}

#[derive(Clone, Copy, Debug, Default)]
struct Lap {
    at: usize,
    first_point: usize,
    total_s: f64,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Node {
    Document,
    Root,
    Activities,
    MultiSport,
    MultiSportStep,
    Activity,
    Lap,
    LapTime,
    Creator,
    DeviceName,
    Track,
    Point,
    Position,
    HeartRate,
    Extensions,
    Container,
    Value(Quantity),
    Unneeded,
    Sealed,
}

impl<'c> Tcx<'c> {
    pub(crate) fn new(collector: &'c mut Collector) -> Self {
        Self { collector, beside: Beside::default(), lap: Lap::default() }
    }

    fn activity(&mut self, tag: &StartTag<'_>) -> Node {
        let mut sport = None;
        for attribute in tag.attributes() {
            if let Ok(Attribute { name: b"Sport", value, .. }) = attribute
                && sport.replace(Sport::from_word(value)).is_some()
            {
                self.collector.notes.add(NoteKind::DuplicateAttribute, tag.at);
                sport = Some(Sport::Unknown);
                break;
            }
        }
        self.collector.begin_session(sport.unwrap_or_default());
        Node::Activity
    }

    fn lap(&mut self, tag: &StartTag<'_>) -> Node {
        self.beside.lap = true;
        self.lap = Lap { at: tag.at, first_point: self.collector.points_in_session(), total_s: 0.0 };
        self.collector.mark(MarkKind::Lap);
        Node::Lap
    }
}

/// Tracks, and what may be around them where a track's tag is missing.
fn may_hold_points(node: Node) -> bool {
    matches!(node, Node::Track | Node::Lap | Node::Document)
}

/// Values in the extensions of a trackpoint, directly or inside one container such as TPX.
fn extension_value(local: &[u8]) -> Option<Node> {
    match local {
        b"RunCadence" => Some(Node::Value(Quantity::Cadence)),
        b"Speed" => Some(Node::Value(Quantity::Speed)),
        _ => None,
    }
}

impl Schema for Tcx<'_> {
    type Node = Node;
    const DOCUMENT: Node = Node::Document;

    const POINT: Node = Node::Point;
    const POINT_NAME: &'static [u8] = b"Trackpoint";

    #[inline]
    fn role(node: Node) -> Role {
        match node {
            Node::Document | Node::Root => Role::Structure(0),
            Node::Activities => Role::Structure(1),
            Node::MultiSport => Role::Structure(2),
            Node::MultiSportStep => Role::Structure(3),
            Node::Activity => Role::Structure(4),
            Node::Lap => Role::Structure(5),
            Node::Track => Role::Structure(6),
            Node::Point => Role::Structure(7),
            Node::LapTime | Node::DeviceName | Node::Value(_) => Role::Value,
            Node::Position | Node::HeartRate => Role::Part,
            Node::Extensions | Node::Container => Role::Extension,
            Node::Creator | Node::Unneeded => Role::Unneeded,
            Node::Sealed => Role::Sealed,
        }
    }

    #[inline]
    fn quantity(node: Node) -> Option<Quantity> {
        if let Node::Value(quantity) = node { Some(quantity) } else { None }
    }

    fn rank(local: &[u8]) -> Option<u8> {
        match local {
            b"Activities" => Some(1),
            b"MultiSportSession" => Some(2),
            b"FirstSport" | b"NextSport" => Some(3),
            b"Activity" => Some(4),
            b"Lap" => Some(5),
            b"Track" => Some(6),
            b"Trackpoint" => Some(7),
            _ => None,
        }
    }

    #[inline]
    fn plain_point(&mut self, parent: Node, text: &[u8], at: usize) -> Option<usize> {
        const TAG: &[u8] = b"<Trackpoint>";
        if !may_hold_points(parent) || !text.get(at..)?.starts_with(TAG) {
            return None;
        }
        self.collector.begin_point(at);
        Some(at + TAG.len())
    }

    #[inline]
    fn enter(&mut self, parent: Node, tag: &StartTag<'_>) -> Node {
        match (parent, tag.local) {
            (Node::Point, local) => match local {
                b"Time" => Node::Value(Quantity::Time),
                b"Position" => Node::Position,
                b"AltitudeMeters" => Node::Value(Quantity::Elevation),
                b"DistanceMeters" => Node::Value(Quantity::Distance),
                b"HeartRateBpm" => Node::HeartRate,
                b"Cadence" => Node::Value(Quantity::BicycleCadence),
                b"Extensions" => Node::Extensions,
                _ => Node::Unneeded,
            },
            (Node::Position, b"LatitudeDegrees") => Node::Value(Quantity::Latitude),
            (Node::Position, b"LongitudeDegrees") => Node::Value(Quantity::Longitude),
            (Node::HeartRate, b"Value") => Node::Value(Quantity::HeartRate),
            (Node::Extensions, local) => match extension_value(local) {
                Some(node) => node,
                None if Self::rank(local).is_some() => Node::Unneeded,
                None => Node::Container,
            },
            (Node::Container, local) => extension_value(local).unwrap_or(Node::Unneeded),
            (parent, b"Trackpoint") if may_hold_points(parent) => {
                self.collector.begin_point(tag.at);
                Node::Point
            }
            (Node::Lap | Node::Document, b"Track") => {
                self.collector.mark(MarkKind::Segment);
                Node::Track
            }
            (Node::Activity | Node::Document, b"Lap") => self.lap(tag),
            (Node::Lap, b"TotalTimeSeconds") => Node::LapTime,
            (Node::Activity, b"Creator") => Node::Creator,
            (Node::Creator, b"Name" | b"UnitId" | b"ProductID") => Node::DeviceName,
            (Node::Activities | Node::MultiSportStep | Node::Root | Node::Document, b"Activity") => {
                self.activity(tag)
            }
            (Node::MultiSport, b"FirstSport" | b"NextSport") => Node::MultiSportStep,
            (Node::Activities, b"MultiSportSession") => Node::MultiSport,
            (Node::Root | Node::Document, b"Activities") => Node::Activities,
            (Node::Root, b"Courses") => {
                self.beside.course = true;
                Node::Sealed
            }
            (Node::Root, b"Folders" | b"Workouts") | (Node::MultiSportStep, b"Transition") => Node::Sealed,
            (Node::Document, b"TrainingCenterDatabase") => Node::Root,
            _ => Node::Unneeded,
        }
    }

    #[inline]
    fn value(&mut self, node: Node, text: &[u8], at: usize) {
        match node {
            Node::Value(quantity) => self.collector.value(quantity, text, at),
            Node::DeviceName => self.collector.name_session_device(text),
            Node::LapTime => self.lap.total_s = crate::number::parse(text).unwrap_or(0.0),
            _ => {}
        }
    }

    #[inline]
    fn leave(&mut self, node: Node, complete: bool) {
        match node {
            Node::Point => self.collector.end_point(complete),
            Node::Lap
                if complete
                    && self.collector.points_in_session() == self.lap.first_point
                    && self.lap.total_s > EMPTY_LAP_S =>
            {
                self.collector.notes.add(NoteKind::TotalsOnly, self.lap.at);
            }
            _ => {}
        }
    }

    #[inline]
    fn collector(&mut self) -> &mut Collector {
        self.collector
    }
}

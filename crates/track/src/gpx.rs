//! What the elements of GPX 1.0 and 1.1 mean: tracks are recordings, routes and waypoints are not.

use memchr::memchr;

use crate::lex::{Attribute, StartTag, resolve};
use crate::note::NoteKind;
use crate::note::Quantity;
use crate::raw::Collector;
use crate::walk::{Role, Schema};
use crate::{MarkKind, Sport, number, words};

/// Attributes of one tag that are looked at (own choice; points have two).
const MAX_ATTRIBUTES: usize = 64;

/// What was seen beside tracks, for the message when there is no track.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Beside {
    pub(crate) route: bool,
    pub(crate) waypoint: bool,
}

/// Fills a collector from GPX elements.
#[derive(Debug)]
pub(crate) struct Gpx<'c> {
    pub(crate) collector: &'c mut Collector,
    pub(crate) beside: Beside,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Node {
    Document,
    Root,
    Track,
    TrackType,
    Segment,
    Point,
    Extensions,
    Container,
    Value(Quantity),
    Unneeded,
    Sealed,
}

impl Gpx<'_> {
    fn root(&mut self, tag: &StartTag<'_>) -> Node {
        let creator = tag.attributes().take(MAX_ATTRIBUTES).flatten().find(|seen| seen.name == b"creator");
        if let Some(Attribute { value, .. }) = creator {
            self.collector.name_device(value);
        }
        Node::Root
    }

    fn point(&mut self, tag: &StartTag<'_>) -> Node {
        self.collector.begin_point(tag.at);
        let (mut has_latitude, mut has_longitude) = (false, false);
        for (index, attribute) in tag.attributes().take(MAX_ATTRIBUTES).enumerate() {
            let Ok(Attribute { name, value, at }) = attribute else {
                self.collector.notes.add(NoteKind::BrokenTag, tag.at);
                self.collector.fault();
                break;
            };
            let is_double = match name {
                b"lat" => std::mem::replace(&mut has_latitude, true),
                b"lon" => std::mem::replace(&mut has_longitude, true),
                _ => tag.attributes().take(index).any(|seen| seen.is_ok_and(|seen| seen.name == name)),
            };
            if is_double {
                self.collector.notes.add(NoteKind::DuplicateAttribute, tag.at);
                self.collector.fault();
            }
            let quantity = match name {
                b"lat" => Quantity::Latitude,
                b"lon" => Quantity::Longitude,
                _ => continue,
            };
            if memchr(b'&', value).is_none() {
                self.collector.value(quantity, value, at);
            } else {
                let mut resolved = Vec::new();
                resolve(value, at, &mut self.collector.notes, |piece| resolved.extend_from_slice(piece));
                self.collector.value(quantity, &resolved, at);
            }
        }
        Node::Point
    }
}

/// Segments, and what may be around them where a segment's tag is missing.
fn may_hold_points(node: Node) -> bool {
    matches!(node, Node::Segment | Node::Track | Node::Root | Node::Document)
}

/// Values in the extensions of a point, directly or inside one container such as TrackPointExtension v1 or v2.
fn extension_value(local: &[u8]) -> Option<Node> {
    match local {
        b"hr" | b"heartrate" => Some(Node::Value(Quantity::HeartRate)),
        b"cad" | b"cadence" | b"RunCadence" => Some(Node::Value(Quantity::Cadence)),
        b"speed" => Some(Node::Value(Quantity::Speed)),
        _ => None,
    }
}

/// Elements of the format itself, which hold no sensor values when they turn up as foreign elements.
fn is_own(local: &[u8]) -> bool {
    matches!(
        local,
        b"gpx" | b"trk" | b"trkseg" | b"trkpt" | b"wpt" | b"rte" | b"rtept" | b"extensions" | b"metadata"
    )
}

impl Schema for Gpx<'_> {
    type Node = Node;
    const DOCUMENT: Node = Node::Document;

    const POINT: Node = Node::Point;
    const POINT_NAME: &'static [u8] = b"trkpt";

    #[inline]
    fn role(node: Node) -> Role {
        match node {
            Node::Document | Node::Root => Role::Structure(0),
            Node::Track => Role::Structure(1),
            Node::Segment => Role::Structure(2),
            Node::Point => Role::Structure(3),
            Node::TrackType | Node::Value(_) => Role::Value,
            Node::Extensions | Node::Container => Role::Extension,
            Node::Unneeded => Role::Unneeded,
            Node::Sealed => Role::Sealed,
        }
    }

    #[inline]
    fn quantity(node: Node) -> Option<Quantity> {
        if let Node::Value(quantity) = node { Some(quantity) } else { None }
    }

    fn rank(local: &[u8]) -> Option<u8> {
        match local {
            b"trk" => Some(1),
            b"trkseg" => Some(2),
            b"trkpt" => Some(3),
            _ => None,
        }
    }

    /// With just latitude and longitude, in either order.
    #[inline]
    fn plain_point(&mut self, parent: Node, text: &[u8], at: usize) -> Option<usize> {
        if !may_hold_points(parent) || !text.get(at..)?.starts_with(b"<trkpt") {
            return None;
        }
        let mut end = at + b"<trkpt".len();
        let attributes: [_; 2] = std::array::from_fn(|_| {
            let name_at = words::behind_blanks(text, end);
            let (name, rest) = text.get(name_at..)?.split_first_chunk()?;
            let quantity = match name {
                b"lat=" => Quantity::Latitude,
                b"lon=" => Quantity::Longitude,
                _ => return None,
            };
            let (quote, rest) = rest.split_first()?;
            let value_at = name_at + 5;
            let length = words::find(rest, *quote, number::MAX_DIGITS)?;
            let (value, digits) = number::leading(rest)?;
            let is_whole = name_at > end && matches!(quote, b'"' | b'\'') && digits == length;
            end = value_at + length + 1;
            is_whole.then_some((quantity, value, value_at, length))
        });
        let [Some(first), Some(second)] = attributes else { return None };
        if first.0 == second.0 || text.get(end) != Some(&b'>') {
            return None;
        }
        self.collector.begin_point(at);
        for (quantity, value, value_at, length) in [first, second] {
            self.collector.take_plain(quantity, value, value_at, length);
        }
        Some(end + 1)
    }

    #[inline]
    fn enter(&mut self, parent: Node, tag: &StartTag<'_>) -> Node {
        match (parent, tag.local) {
            (Node::Point, b"time") => Node::Value(Quantity::Time),
            (Node::Point, b"ele") => Node::Value(Quantity::Elevation),
            (Node::Point, b"speed") => Node::Value(Quantity::Speed),
            (Node::Point, b"extensions") => Node::Extensions,
            (Node::Extensions, local) => match extension_value(local) {
                Some(node) => node,
                None if is_own(local) => Node::Unneeded,
                None => Node::Container,
            },
            (Node::Container, local) => extension_value(local).unwrap_or(Node::Unneeded),
            (parent, b"trkpt") if may_hold_points(parent) => self.point(tag),
            (Node::Track | Node::Root | Node::Document, b"trkseg") => {
                self.collector.mark(MarkKind::Segment);
                Node::Segment
            }
            (Node::Root | Node::Document, b"trk") => {
                self.collector.begin_session(Sport::Unknown);
                Node::Track
            }
            (Node::Track, b"type") => Node::TrackType,
            (Node::Root, b"wpt") => {
                self.beside.waypoint = true;
                Node::Sealed
            }
            (Node::Root, b"rte") => {
                self.beside.route = true;
                Node::Sealed
            }
            (Node::Document, b"gpx") => self.root(tag),
            _ => Node::Unneeded,
        }
    }

    #[inline]
    fn value(&mut self, node: Node, text: &[u8], at: usize) {
        match node {
            Node::Value(quantity) => self.collector.value(quantity, text, at),
            Node::TrackType => self.collector.set_sport(Sport::from_word(text)),
            _ => {}
        }
    }

    #[inline]
    fn leave(&mut self, node: Node, complete: bool) {
        if node == Node::Point {
            self.collector.end_point(complete);
        }
    }

    #[inline]
    fn collector(&mut self) -> &mut Collector {
        self.collector
    }
}

//! Follows the elements of a file by their full path, through broken nesting too.
//!
//! A format says by [`Schema::enter`] what an element means below its parent; this module keeps the path, gathers the
//! text of values and mends the nesting: an end tag that fits an outer element closes all inside it, one that fits
//! none is stepped over, a point that begins inside another point closes that one.

use crate::bytes::Bytes;
use crate::known::{self, Known, Meaning};
use crate::layout::Layouts;
use crate::lex::{self, Lexer, MAX_VALUE_BYTES, StartTag, Token};
use crate::note::{NoteKind, Notes, Quantity};
use crate::raw::Collector;
use crate::words;

/// Deepest nesting that is followed (own choice; GPX and TCX need a dozen).
pub(crate) const MAX_DEPTH: usize = 256;

/// How often reading may return to points that a lost end tag had hidden (own choice; bounds the time).
const MAX_RETURNS: usize = 16;

/// What role an element plays for the nesting.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Role {
    /// Belongs to the skeleton of the format; the rank rises inwards, the root has 0.
    Structure(u8),
    /// Holds a value.
    Value,
    /// Inside a point, made of further elements of the same format.
    Part,
    /// Inside a point, holds elements of any kind.
    Extension,
    /// Passed over.
    Unneeded,
    /// Passed over for good: what looks like points in it is none.
    Sealed,
}

/// What a format's elements mean.
pub(crate) trait Schema {
    /// The meaning of an element at its path.
    type Node: Copy + PartialEq;

    /// What stands outside the root.
    const DOCUMENT: Self::Node;
    /// A point.
    const POINT: Self::Node;
    /// The name of a point.
    const POINT_NAME: &'static [u8];

    /// The role of a node.
    fn role(node: Self::Node) -> Role;
    /// The rank of an element of the skeleton by its name, whatever its path.
    fn rank(local: &[u8]) -> Option<u8>;
    /// The quantity of a point that a node is the value of.
    fn quantity(node: Self::Node) -> Option<Quantity>;
    /// Begins a point, if its tag stands plainly at `at` and `parent` can hold it; gives where the tag ends.
    fn plain_point(&mut self, parent: Self::Node, text: &[u8], at: usize) -> Option<usize>;
    /// An element begins.
    fn enter(&mut self, parent: Self::Node, tag: &StartTag<'_>) -> Self::Node;
    /// A value was read.
    fn value(&mut self, node: Self::Node, text: &[u8], at: usize);
    /// An element ends; not `complete` where its end tag is missing.
    fn leave(&mut self, node: Self::Node, complete: bool);
    /// Where points and notes go.
    fn collector(&mut self) -> &mut Collector;
}

/// Walks through the text from `begin` on; gives the offset behind the end of the root element, `None` where it has no end.
///
/// With `layouts`, points laid out as points before them are read by these, and tags written as tags before them are known
/// again; that changes nothing but the time.
pub(crate) fn walk<'a, S: Schema>(
    text: &'a [u8],
    begin: usize,
    schema: &mut S,
    layouts: Option<Layouts<'a, S::Node>>,
) -> Option<usize> {
    let mut path = Path {
        text,
        lexer: Lexer::new(text),
        known: layouts.is_some().then(|| Known::new(S::DOCUMENT)),
        layouts,
        point_may_follow: true,
        frames: Vec::new(),
        deeper: 0,
        value: Value::default(),
        hidden: None,
        returns: 0,
        root_closed: false,
    };
    path.lexer.move_to(begin);
    loop {
        if std::mem::take(&mut path.point_may_follow) {
            path.predict(schema);
        }
        path.take_known(schema);
        if path.root_closed {
            return Some(path.lexer.position());
        }
        if path.point_may_follow {
            continue;
        }
        match path.lexer.next(&mut schema.collector().notes) {
            Token::Start(tag) => path.start(&tag, schema),
            Token::End(name) => path.end(name, schema),
            Token::Text(text) => path.text(text, false, schema),
            Token::CharacterData(text) => path.text(text, true, schema),
            Token::EndOfFile => {
                path.close_down_to(0, schema);
                return None;
            }
        }
        if path.root_closed {
            return Some(path.lexer.position());
        }
    }
}

/// An open element.
#[derive(Debug)]
struct Frame<N> {
    name: Bytes,
    node: N,
    role: Role,
    /// Whether it declares a namespace outside the skeleton.
    foreign: bool,
}

/// The text of the open value, joined from its pieces.
#[derive(Debug, Default)]
struct Value {
    text: Vec<u8>,
    at: usize,
    invalid: bool,
}

/// A skeleton element passed over inside others; a later fault may show that it was none of theirs.
#[derive(Clone, Copy, Debug)]
struct Hidden {
    at: usize,
    /// Number of open elements that surely are around it.
    below: usize,
}

struct Path<'a, N> {
    text: &'a [u8],
    lexer: Lexer<'a>,
    known: Option<Known<N>>,
    layouts: Option<Layouts<'a, N>>,
    /// Whether an element of the skeleton has just begun or ended.
    point_may_follow: bool,
    frames: Vec<Frame<N>>,
    /// Open elements below [`MAX_DEPTH`].
    deeper: usize,
    value: Value,
    hidden: Option<Hidden>,
    returns: usize,
    root_closed: bool,
}

impl<'a, N: Copy + PartialEq> Path<'a, N> {
    /// Steps over points that are laid out as points before them.
    #[inline]
    fn predict<S: Schema<Node = N>>(&mut self, schema: &mut S) {
        let (parent, depth) = (self.parent::<S>(), self.frames.len());
        if let Some(layouts) = &mut self.layouts
            && layouts.serve(parent, depth)
            && self.deeper == 0
            && self.hidden.is_none()
        {
            let behind = layouts.predict(self.text, self.lexer.position(), schema.collector());
            self.lexer.move_to(behind);
        }
    }

    /// Learns how the point that has just ended is laid out.
    fn learn<S: Schema<Node = N>>(&mut self, schema: &mut S) {
        let (parent, depth) = (self.parent::<S>(), self.frames.len());
        if let Some(layouts) = &mut self.layouts
            && self.deeper == 0
            && self.hidden.is_none()
        {
            let is_skeleton = |local: &[u8]| S::rank(local).is_some();
            layouts.learn(self.text, self.lexer.position(), parent, depth, schema.collector(), is_skeleton);
        }
    }

    /// Steps over tags that are known and the plain values between them, up to the end of a point.
    #[inline]
    fn take_known<S: Schema<Node = N>>(&mut self, schema: &mut S) {
        if self.known.is_none() || self.deeper > 0 || self.lexer.keep_blanks {
            return;
        }
        while self.take_known_tag(schema).is_some() && !self.point_may_follow {}
    }

    /// Steps over the next tag, if it is known, and over its plain value; `None` where the lexer must go on.
    #[inline]
    fn take_known_tag<S: Schema<Node = N>>(&mut self, schema: &mut S) -> Option<()> {
        let text = self.text;
        let at = words::behind_blanks(text, self.lexer.position());
        let Some([b'<', next, ..]) = text.get(at..) else { return None };
        if *next == b'/' {
            let end = known::behind_end_tag(text, at, &self.frames.last()?.name)?;
            self.lexer.move_to(end);
            self.close(true, schema);
            return Some(());
        }
        if self.frames.len() >= MAX_DEPTH {
            return None;
        }
        let parent = self.parent::<S>();
        let Some(tag) = self.known.as_ref()?.find(text, at + 1, parent) else {
            let inside = schema.plain_point(parent, text, at)?;
            let name = Bytes::of(text, at + 1, S::POINT_NAME.len());
            self.frames.push(Frame { name, node: S::POINT, role: S::role(S::POINT), foreign: false });
            self.lexer.move_to(inside);
            return Some(());
        };
        let inside = at + 1 + tag.len();
        let closing = |end| known::behind_end_tag(text, end, &tag.name());
        match tag.meaning {
            Meaning::Value(quantity) => {
                let end = schema.collector().plain_value(quantity, text, inside, closing)?;
                self.lexer.move_to(end);
            }
            Meaning::Other { node, role, declares } => {
                let is_text = !matches!(text.get(inside)?, b'<' | b' ' | b'\t' | b'\n' | b'\r');
                if is_text
                    && role != Role::Part
                    && let Some(end) = known::plain_end(text, inside).and_then(closing)
                {
                    self.lexer.move_to(end);
                    return Some(());
                }
                let foreign = role != Role::Part && declares;
                self.frames.push(Frame { name: tag.name(), node, role, foreign });
                self.lexer.move_to(inside);
            }
        }
        Some(())
    }

    /// Learns what a tag means.
    #[inline]
    fn learn_tag<S: Schema<Node = N>>(&mut self, tag: &StartTag<'a>, node: N, role: Role) {
        let parent = self.parent::<S>();
        let Some(known) = &mut self.known else { return };
        if tag.self_closing || tag.broken || S::rank(tag.local).is_some() {
            return;
        }
        let meaning = match (role, S::quantity(node)) {
            (Role::Value, Some(quantity)) => Meaning::Value(quantity),
            (Role::Part | Role::Extension | Role::Unneeded, _) => {
                Meaning::Other { node, role, declares: declares_namespace(tag) }
            }
            _ => return,
        };
        known.learn(self.text, tag.at + 1, tag.name.len(), self.lexer.position(), parent, meaning);
    }

    #[inline]
    fn start<S: Schema<Node = N>>(&mut self, tag: &StartTag<'a>, schema: &mut S) {
        if self.frames.len() >= MAX_DEPTH {
            self.deeper += usize::from(!tag.self_closing);
            schema.collector().notes.add(NoteKind::TooDeep, tag.at);
            self.make_way(tag, schema);
            return;
        }
        let mut node = schema.enter(self.parent::<S>(), tag);
        let mut role = S::role(node);
        if role == Role::Unneeded && self.make_way(tag, schema) {
            node = schema.enter(self.parent::<S>(), tag);
            role = S::role(node);
        }
        if tag.broken {
            if role == Role::Unneeded {
                return;
            }
            schema.collector().fault();
        }
        self.learn_tag::<S>(tag, node, role);
        match role {
            Role::Value => {
                if tag.self_closing {
                    schema.value(node, b"", tag.at);
                    return;
                }
                let at = self.lexer.position();
                if let Some(text) = self.lexer.plain_content(tag.name) {
                    schema.value(node, text, at);
                    return;
                }
                self.value.text.clear();
                self.value.at = at;
                self.value.invalid = false;
                self.lexer.keep_blanks = true;
            }
            Role::Unneeded if matches!(self.frames.last(), Some(top) if top.role == Role::Value) => {
                self.value.invalid = true;
            }
            _ => {}
        }
        if tag.self_closing {
            self.leave(node, true, schema);
            self.point_may_follow = matches!(role, Role::Structure(_));
            self.root_closed = role == Role::Structure(0);
            return;
        }
        let foreign = matches!(role, Role::Extension | Role::Unneeded) && declares_namespace(tag);
        let name = Bytes::of(self.text, tag.at + 1, tag.name.len());
        self.frames.push(Frame { name, node, role, foreign });
        self.point_may_follow = matches!(role, Role::Structure(_));
    }

    #[inline]
    fn parent<S: Schema<Node = N>>(&self) -> N {
        self.frames.last().map_or(S::DOCUMENT, |top| top.node)
    }

    /// Where a skeleton element stands that its parent cannot hold: inside the skeleton an end tag is missing, so this
    /// closes what cannot hold it and gives true; inside other elements it may be their own, so this remembers it.
    fn make_way<S: Schema<Node = N>>(&mut self, tag: &StartTag<'a>, schema: &mut S) -> bool {
        let Some(rank) = S::rank(tag.local) else { return false };
        if self.frames.first().is_some_and(|root| prefix(root.name.text(self.text)) != prefix(tag.name)) {
            return false;
        }
        let is_loose = |frame: &Frame<N>| matches!(frame.role, Role::Extension | Role::Unneeded);
        if self.frames.iter().any(|frame| frame.role == Role::Sealed || frame.foreign) {
            return false;
        }
        if let Some(below) = self.frames.iter().position(is_loose) {
            if self.hidden.is_none() && !declares_namespace(tag) {
                self.hidden = Some(Hidden { at: tag.at, below });
            }
            return false;
        }
        let holds = |frame: &Frame<N>| matches!(frame.role, Role::Structure(outer) if outer < rank);
        let keep = self.frames.iter().rposition(holds).map_or(0, |index| index + 1);
        if keep == self.frames.len() {
            return false;
        }
        schema.collector().notes.add(NoteKind::WrongEndTag, tag.at);
        schema.collector().fault();
        self.close_down_to(keep, schema);
        true
    }

    #[inline]
    fn end<S: Schema<Node = N>>(&mut self, name: &'a [u8], schema: &mut S) {
        if self.deeper > 0 {
            let is_structure = |frame: &Frame<N>| {
                frame.name.text(self.text) == name && matches!(frame.role, Role::Structure(_))
            };
            if !self.frames.iter().any(is_structure) {
                self.deeper -= 1;
                return;
            }
            self.deeper = 0;
        }
        if self.frames.last().is_some_and(|top| top.name.text(self.text) == name) {
            self.close(true, schema);
        } else {
            self.wrong_end(name, schema);
        }
    }

    fn wrong_end<S: Schema<Node = N>>(&mut self, name: &'a [u8], schema: &mut S) {
        let at = self.lexer.token_start();
        let matching = self.frames.iter().rposition(|frame| frame.name.text(self.text) == name);
        if let (Some(index), Some(hidden)) = (matching, self.hidden)
            && index < hidden.below
            && self.returns < MAX_RETURNS
        {
            self.returns += 1;
            schema.collector().notes.add(NoteKind::WrongEndTag, at);
            schema.collector().fault();
            self.close_down_to(hidden.below, schema);
            self.hidden = None;
            self.lexer.move_to(hidden.at);
            return;
        }
        let first_concerned = matching.unwrap_or(self.frames.len().saturating_sub(1));
        let is_unneeded = |frame: &Frame<N>| matches!(frame.role, Role::Unneeded | Role::Sealed);
        let concerned = &self.frames[first_concerned..];
        if !concerned.is_empty() && concerned.iter().all(is_unneeded) {
            schema.collector().notes.add(NoteKind::BareMarkup, at);
        } else {
            schema.collector().notes.add(NoteKind::WrongEndTag, at);
            schema.collector().fault();
        }
        if let Some(index) = matching {
            self.close_down_to(index + 1, schema);
            self.close(true, schema);
        }
    }

    fn close_down_to<S: Schema<Node = N>>(&mut self, count: usize, schema: &mut S) {
        while self.frames.len() > count {
            self.close(false, schema);
        }
    }

    /// Closes the innermost element.
    #[inline]
    fn close<S: Schema<Node = N>>(&mut self, complete: bool, schema: &mut S) {
        let Some(frame) = self.frames.pop() else { return };
        match frame.role {
            Role::Value => {
                self.lexer.keep_blanks = false;
                if complete && !self.value.invalid {
                    schema.value(frame.node, &self.value.text, self.value.at);
                }
            }
            Role::Structure(rank) => {
                self.point_may_follow = true;
                self.root_closed = complete && rank == 0;
            }
            _ => {}
        }
        if self.hidden.is_some_and(|hidden| self.frames.len() <= hidden.below) {
            self.hidden = None;
        }
        self.leave(frame.node, complete, schema);
    }

    #[inline]
    fn leave<S: Schema<Node = N>>(&mut self, node: N, complete: bool, schema: &mut S) {
        let is_point = complete && node == S::POINT;
        if is_point {
            let end = self.lexer.position();
            schema.collector().make_room(end, self.text.len() - end);
        }
        schema.leave(node, complete);
        if is_point {
            self.learn(schema);
        }
    }

    fn text<S: Schema<Node = N>>(&mut self, text: &'a [u8], literal: bool, schema: &mut S) {
        let at = self.lexer.token_start();
        match self.frames.last().map_or(Role::Structure(0), |top| top.role) {
            Role::Value => self.value.append(text, literal, at, &mut schema.collector().notes),
            Role::Extension | Role::Unneeded | Role::Sealed => {
                if !literal {
                    lex::resolve(text, at, &mut schema.collector().notes, |_| {});
                }
                if let Some(control) = text.iter().position(|&byte| is_control(byte)) {
                    schema.collector().notes.add(NoteKind::ControlBytes, at + control);
                }
            }
            Role::Structure(_) | Role::Part => {
                let first = text.iter().position(|&byte| byte > b' ' || is_control(byte));
                let Some(first) = first else { return };
                if text.iter().all(|&byte| byte <= b' ' || is_control(byte)) {
                    schema.collector().notes.add(NoteKind::ControlBytes, at + first);
                } else {
                    schema.collector().notes.add(NoteKind::StrayText, at + first);
                    schema.collector().fault();
                }
            }
        }
    }
}

impl Value {
    fn append(&mut self, text: &[u8], literal: bool, at: usize, notes: &mut Notes) {
        if self.text.len() + text.len() > MAX_VALUE_BYTES {
            self.invalid = true;
        } else if literal {
            self.text.extend_from_slice(text);
        } else {
            lex::resolve(text, at, notes, |piece| self.text.extend_from_slice(piece));
        }
    }
}

fn declares_namespace(tag: &StartTag<'_>) -> bool {
    tag.attributes.windows(5).any(|five| five == b"xmlns")
}

/// The namespace prefix of a name with its colon.
fn prefix(name: &[u8]) -> &[u8] {
    name.iter().position(|&byte| byte == b':').map_or(b"", |colon| &name[..=colon])
}

/// Whether XML 1.0 (2.2) forbids the byte everywhere.
pub(crate) fn is_control(byte: u8) -> bool {
    byte < b' ' && !matches!(byte, b'\t' | b'\n' | b'\r')
}

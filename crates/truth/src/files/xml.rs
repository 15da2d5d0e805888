//! Elements for the writers, one call each.

use std::io;

use quick_xml::Writer;
use quick_xml::events::{BytesDecl, BytesEnd, BytesStart, BytesText, Event};

/// An XML text that grows.
pub(super) struct Xml(Writer<Vec<u8>>);

impl Xml {
    /// Begins with the declaration.
    pub(super) fn new() -> io::Result<Self> {
        let mut writer = Writer::new(Vec::new());
        writer.write_event(Event::Decl(BytesDecl::new("1.0", Some("UTF-8"), None)))?;
        Ok(Self(writer))
    }

    /// Opens an element.
    pub(super) fn open(&mut self, name: &str, attributes: &[(&str, &str)]) -> io::Result<()> {
        let start = BytesStart::new(name).with_attributes(attributes.iter().copied());
        self.0.write_event(Event::Start(start))
    }

    /// Closes an element.
    pub(super) fn close(&mut self, name: &str) -> io::Result<()> {
        self.0.write_event(Event::End(BytesEnd::new(name)))
    }

    /// An element that holds text.
    pub(super) fn text(&mut self, name: &str, text: &str) -> io::Result<()> {
        self.open(name, &[])?;
        self.0.write_event(Event::Text(BytesText::new(text)))?;
        self.close(name)
    }

    /// A line break, for readers who are people.
    pub(super) fn line(&mut self) {
        self.0.get_mut().push(b'\n');
    }

    /// The bytes so far.
    pub(super) fn into_bytes(self) -> Vec<u8> {
        self.0.into_inner()
    }
}

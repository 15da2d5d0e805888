//! A tolerant XML lexer: finds tags and text in whatever arrives and never gives up before the last byte.
//!
//! It knows nothing of GPX and TCX, keeps no tree and never recurses. What XML forbids it steps over, notes, and
//! goes on behind it: a bare `<` or `&`, a tag cut by the next tag, junk between elements. Comments, processing
//! instructions and document type definitions are passed over; entities are never expanded, nothing is fetched.

use memchr::{memchr, memchr2, memmem};

use crate::note::{NoteKind, Notes};

/// Longest value of an element that is looked at, in bytes; numbers and times are far shorter (own choice).
pub(crate) const MAX_VALUE_BYTES: usize = 4096;

/// One piece of the file.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Token<'a> {
    /// `<name …>` or `<name …/>`.
    Start(StartTag<'a>),
    /// `</name>`: the name with its prefix.
    End(&'a [u8]),
    /// Text between tags, references not yet resolved.
    Text(&'a [u8]),
    /// The inside of a CDATA section.
    CharacterData(&'a [u8]),
    /// The end of the file, also where it cuts something.
    EndOfFile,
}

/// A start tag.
#[derive(Clone, Copy, Debug)]
pub(crate) struct StartTag<'a> {
    /// Offset of its `<`.
    pub(crate) at: usize,
    /// Name with its prefix.
    pub(crate) name: &'a [u8],
    /// Name without prefix.
    pub(crate) local: &'a [u8],
    /// Everything behind the name.
    pub(crate) attributes: &'a [u8],
    /// Whether it is its own end tag.
    pub(crate) self_closing: bool,
    /// Whether the tag was cut by the beginning of the next one.
    pub(crate) broken: bool,
}

/// Goes through a text token by token.
#[derive(Debug)]
pub(crate) struct Lexer<'a> {
    text: &'a [u8],
    position: usize,
    token_start: usize,
    /// Whether blanks between tags are tokens too, as they are inside a value.
    pub(crate) keep_blanks: bool,
}

pub(crate) const fn is_blank(byte: u8) -> bool {
    matches!(byte, b' ' | b'\t' | b'\n' | b'\r')
}

/// Bytes that end a name.
const NAME_END: [bool; 256] = {
    let mut table = [false; 256];
    let ends = b" \t\n\r/><=\"'";
    let mut index = 0;
    while index < ends.len() {
        table[ends[index] as usize] = true;
        index += 1;
    }
    table
};

const fn starts_name(byte: u8) -> bool {
    byte.is_ascii_alphabetic() || byte == b'_' || byte == b':' || byte >= 0x80
}

impl<'a> Lexer<'a> {
    pub(crate) fn new(text: &'a [u8]) -> Self {
        let position = if text.starts_with(b"\xEF\xBB\xBF") { 3 } else { 0 };
        Self { text, position, token_start: position, keep_blanks: false }
    }

    /// Offset of the first byte that is not yet part of a token.
    pub(crate) fn position(&self) -> usize {
        self.position
    }

    /// Offset where the last token began.
    pub(crate) fn token_start(&self) -> usize {
        self.token_start
    }

    /// Goes on at `position`.
    pub(crate) fn move_to(&mut self, position: usize) {
        self.position = position;
    }

    /// The next token.
    #[inline]
    pub(crate) fn next(&mut self, notes: &mut Notes) -> Token<'a> {
        loop {
            let start = self.position;
            let mut at = start;
            while at < self.text.len() && is_blank(self.text[at]) {
                at += 1;
                // Indentation, eight blanks at a step.
                while self.text[at..].starts_with(b"        ") {
                    at += 8;
                }
            }
            if at < self.text.len() && self.text[at] != b'<' {
                self.token_start = start;
                self.position = memchr(b'<', &self.text[at..]).map_or(self.text.len(), |found| at + found);
                return Token::Text(&self.text[start..self.position]);
            }
            if at > start && self.keep_blanks {
                self.token_start = start;
                self.position = at;
                return Token::Text(&self.text[start..at]);
            }
            self.token_start = at;
            let token = match self.text.get(at + 1) {
                None => self.end_of_file(),
                Some(b'/') => self.end_tag(at, notes),
                Some(&byte) if starts_name(byte) => self.start_tag(at, notes),
                Some(b'!') => match self.declaration(at, notes) {
                    Some(token) => token,
                    None => continue,
                },
                Some(b'?') => match closing(&self.text[at..], b"?>") {
                    Some(end) => {
                        self.position = at + end + 2;
                        continue;
                    }
                    None => self.never_closed(at, notes),
                },
                Some(_) => self.bare_markup(at, notes),
            };
            return token;
        }
    }

    /// The text up to the end tag of `name`, if nothing but plain text stands before it; steps behind the end tag.
    #[inline]
    pub(crate) fn plain_content(&mut self, name: &[u8]) -> Option<&'a [u8]> {
        let rest = &self.text[self.position..];
        let length = memchr2(b'<', b'&', &rest[..rest.len().min(MAX_VALUE_BYTES)])?;
        let closing = rest[length..].strip_prefix(b"</")?.strip_prefix(name)?;
        if closing.first() != Some(&b'>') {
            return None;
        }
        self.token_start = self.position;
        self.position += length + name.len() + 3;
        Some(&rest[..length])
    }

    fn end_of_file(&mut self) -> Token<'a> {
        self.position = self.text.len();
        Token::EndOfFile
    }

    /// The end of the file inside what began at `at`.
    fn never_closed(&mut self, at: usize, notes: &mut Notes) -> Token<'a> {
        notes.add(NoteKind::NeverClosed, at);
        self.end_of_file()
    }

    #[inline]
    fn start_tag(&mut self, at: usize, notes: &mut Notes) -> Token<'a> {
        let text = self.text;
        let name_start = at + 1;
        let mut local_start = name_start;
        let mut end = name_start;
        while end < text.len() && !NAME_END[text[end] as usize] {
            if text[end] == b':' {
                local_start = end + 1;
            }
            end += 1;
        }
        let (name, local) = (&text[name_start..end], &text[local_start..end]);
        let attributes_start = end;
        let mut broken = false;
        loop {
            match text.get(end) {
                None => return self.end_of_file(),
                Some(b'>') => break,
                Some(b'<') => {
                    broken = true;
                    break;
                }
                Some(&quote @ (b'"' | b'\'')) => match memchr2(quote, b'<', &text[end + 1..]) {
                    None => return self.end_of_file(),
                    Some(length) => {
                        end += 1 + length;
                        if text[end] == quote {
                            end += 1;
                        }
                    }
                },
                Some(_) => end += 1,
            }
        }
        let mut attributes = &text[attributes_start..end];
        let self_closing = !broken && attributes.last() == Some(&b'/');
        if self_closing {
            attributes = &attributes[..attributes.len() - 1];
        }
        if broken {
            notes.add(NoteKind::BrokenTag, at);
            self.position = end;
        } else {
            self.position = end + 1;
        }
        Token::Start(StartTag { at, name, local, attributes, self_closing, broken })
    }

    #[inline]
    fn end_tag(&mut self, at: usize, notes: &mut Notes) -> Token<'a> {
        let text = self.text;
        let name_start = at + 2;
        let mut end = name_start;
        while end < text.len() && !NAME_END[text[end] as usize] {
            end += 1;
        }
        let name = &text[name_start..end];
        if text.get(end) == Some(&b'>') && !name.is_empty() {
            self.position = end + 1;
            return Token::End(name);
        }
        let Some(stop) = memchr2(b'>', b'<', &text[end..]).map(|found| end + found) else {
            return self.end_of_file();
        };
        if name.is_empty() {
            return self.bare_markup(at, notes);
        }
        if text[stop] == b'>' {
            self.position = stop + 1;
        } else {
            self.position = stop;
            notes.add(NoteKind::BrokenTag, at);
        }
        Token::End(name)
    }

    /// Comment, CDATA or document type; `None` where it was passed over.
    fn declaration(&mut self, at: usize, notes: &mut Notes) -> Option<Token<'a>> {
        const COMMENT: &[u8] = b"<!--";
        const CHARACTER_DATA: &[u8] = b"<![CDATA[";
        const DOCUMENT_TYPE: &[u8] = b"<!DOCTYPE";
        let rest = &self.text[at..];
        if rest.starts_with(COMMENT) {
            let Some(end) = closing(&rest[COMMENT.len()..], b"-->") else {
                return Some(self.never_closed(at, notes));
            };
            self.position = at + COMMENT.len() + end + 3;
            return None;
        }
        if rest.starts_with(CHARACTER_DATA) {
            let inside = &rest[CHARACTER_DATA.len()..];
            let Some(end) = closing(inside, b"]]>") else { return Some(self.never_closed(at, notes)) };
            self.position = at + CHARACTER_DATA.len() + end + 3;
            return Some(Token::CharacterData(&inside[..end]));
        }
        if rest.starts_with(DOCUMENT_TYPE) {
            let Some(length) = document_type_length(rest) else { return Some(self.end_of_file()) };
            notes.add(NoteKind::DocumentType, at);
            if let Some(entity) = memmem::find(&rest[..length], b"<!ENTITY") {
                notes.add(NoteKind::Entity, at + entity);
            }
            self.position = at + length;
            return None;
        }
        if [COMMENT, CHARACTER_DATA, DOCUMENT_TYPE].iter().any(|opening| opening.starts_with(rest)) {
            return Some(self.end_of_file());
        }
        Some(self.bare_markup(at, notes))
    }

    /// Takes a `<` that begins nothing as text.
    fn bare_markup(&mut self, at: usize, notes: &mut Notes) -> Token<'a> {
        self.position = memchr(b'<', &self.text[at + 1..]).map_or(self.text.len(), |found| at + 1 + found);
        let text = &self.text[at..self.position];
        notes.add(NoteKind::BareMarkup, at);
        Token::Text(text)
    }
}

/// Where a closing that ends in `>` begins; searchers for several bytes take longer to set up than these texts are long.
fn closing(text: &[u8], closing: &[u8]) -> Option<usize> {
    memchr::memchr_iter(b'>', text)
        .find(|&last| text[..=last].ends_with(closing))
        .map(|last| last + 1 - closing.len())
}

/// Bytes of a document type definition with its internal subset; `None` where its end is missing.
fn document_type_length(text: &[u8]) -> Option<usize> {
    let mut at = 0;
    let mut in_subset = false;
    while at < text.len() {
        let rest = &text[at..];
        at += match rest[0] {
            quote @ (b'"' | b'\'') => memchr(quote, &rest[1..])? + 2,
            b'<' if rest.starts_with(b"<!--") => closing(&rest[4..], b"-->")? + 7,
            b'<' if rest.starts_with(b"<?") => closing(rest, b"?>")? + 2,
            b'>' if !in_subset => return Some(at + 1),
            byte => {
                in_subset = (in_subset || byte == b'[') && byte != b']';
                1
            }
        };
    }
    None
}

/// An attribute of a start tag.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Attribute<'a> {
    /// Name without prefix, save that of a namespace declaration, which is no attribute of its local name.
    pub(crate) name: &'a [u8],
    /// The value as written.
    pub(crate) value: &'a [u8],
    /// Offset of the value.
    pub(crate) at: usize,
}

impl<'a> StartTag<'a> {
    /// The attributes in order; `Err` where the text is none.
    pub(crate) fn attributes(&self) -> impl Iterator<Item = Result<Attribute<'a>, ()>> + use<'a> {
        let end = self.at + 1 + self.name.len() + self.attributes.len();
        let mut text = self.attributes;
        std::iter::from_fn(move || {
            text = skip_blanks(text);
            if text.is_empty() {
                return None;
            }
            let attribute = (|| {
                let name_length = text.iter().position(|&byte| NAME_END[byte as usize])?;
                let (name, rest) = text.split_at(name_length);
                let rest = skip_blanks(skip_blanks(rest).strip_prefix(b"=")?);
                let quote = *rest.first().filter(|byte| matches!(byte, b'"' | b'\''))?;
                let length = memchr(quote, &rest[1..])?;
                let local = name.rsplit(|&byte| byte == b':').next().unwrap_or(name);
                let name_or_local = if name.starts_with(b"xmlns:") { name } else { local };
                let at = end - rest.len() + 1;
                let attribute = Attribute { name: name_or_local, value: &rest[1..=length], at };
                (!name.is_empty()).then_some((attribute, &rest[length + 2..]))
            })();
            match attribute {
                Some((attribute, rest)) => {
                    text = rest;
                    Some(Ok(attribute))
                }
                None => {
                    text = b"";
                    Some(Err(()))
                }
            }
        })
    }
}

fn skip_blanks(mut text: &[u8]) -> &[u8] {
    while let [first, rest @ ..] = text
        && is_blank(*first)
    {
        text = rest;
    }
    text
}

/// Hands on text with its character and predefined references resolved, without those to control bytes; others stay as written.
pub(crate) fn resolve(text: &[u8], at: usize, notes: &mut Notes, mut hand_on: impl FnMut(&[u8])) {
    let mut rest = text;
    while let Some(ampersand) = memchr(b'&', rest) {
        hand_on(&rest[..ampersand]);
        let reference_at = at + (text.len() - rest.len()) + ampersand;
        rest = &rest[ampersand..];
        match reference(rest) {
            Some((Reference::Character(character), length)) => {
                if character.is_control() && !character.is_ascii_whitespace() {
                    notes.add(NoteKind::ControlBytes, reference_at);
                } else {
                    hand_on(character.encode_utf8(&mut [0; 4]).as_bytes());
                }
                rest = &rest[length..];
            }
            Some((Reference::Entity, length)) => {
                notes.add(NoteKind::Entity, reference_at);
                hand_on(&rest[..length]);
                rest = &rest[length..];
            }
            None => {
                notes.add(NoteKind::BareMarkup, reference_at);
                hand_on(b"&");
                rest = &rest[1..];
            }
        }
    }
    hand_on(rest);
}

enum Reference {
    Character(char),
    Entity,
}

/// The reference at the beginning of `text` and its length.
fn reference(text: &[u8]) -> Option<(Reference, usize)> {
    /// Longest reference that is looked at, in bytes (own choice).
    const MAX_REFERENCE_BYTES: usize = 64;
    let end = text.iter().take(MAX_REFERENCE_BYTES).position(|&byte| byte == b';')?;
    let inside = std::str::from_utf8(&text[1..end]).ok()?;
    let number = |digits: &str, radix| u32::from_str_radix(digits, radix).ok().and_then(char::from_u32);
    let found = match inside {
        "lt" => Reference::Character('<'),
        "gt" => Reference::Character('>'),
        "amp" => Reference::Character('&'),
        "quot" => Reference::Character('"'),
        "apos" => Reference::Character('\''),
        _ => match inside.strip_prefix('#') {
            Some(digits) => match digits.strip_prefix('x') {
                Some(digits) => Reference::Character(number(digits, 16)?),
                None => Reference::Character(number(digits, 10)?),
            },
            None if inside.bytes().all(|byte| !NAME_END[byte as usize] && byte != b'&')
                && !inside.is_empty() =>
            {
                Reference::Entity
            }
            None => return None,
        },
    };
    Some((found, end + 1))
}

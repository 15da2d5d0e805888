//! What was said about a file or one of its sessions.

use std::borrow::Cow;

use boutwise_report::NoteRow;
use boutwise_track::{Note, Place};
use serde::{Deserialize, Serialize};

/// One note with what it is about.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(crate) struct Said {
    /// Number of the session, where it is about one.
    pub(crate) session: Option<u64>,
    kind: Cow<'static, str>,
    quantity: Option<Cow<'static, str>>,
    count: u64,
    place: Option<Place>,
    pub(crate) text: String,
}

/// What was said of each session of a file that counts, by the index of the session.
pub(crate) type SaidOfSessions = Vec<(usize, Vec<Said>)>;

impl Said {
    /// A sentence of its kind about a session.
    pub(crate) fn of_session(session: u64, kind: &'static str, text: String) -> Self {
        Self { session: Some(session), kind: kind.into(), quantity: None, count: 1, place: None, text }
    }

    /// A sentence of its kind about a file, said of so many of its recordings.
    pub(crate) fn of_file(kind: &'static str, count: u64, text: String) -> Self {
        Self { session: None, kind: kind.into(), quantity: None, count, place: None, text }
    }

    /// The same about a session.
    pub(crate) fn about(self, session: u64) -> Self {
        Self { session: Some(session), ..self }
    }

    /// The same with another name for the file that it holds the own one against. A note has a name between backticks.
    pub(crate) fn rename_other(&mut self, file: impl Fn(&str) -> String) {
        let name = self.text.find('`').zip(self.text.rfind('`')).map(|(start, end)| start + 1..end);
        if let Some(name) = name.filter(|name| name.start < name.end) {
            let code = file(&self.text[name.clone()]);
            self.text.replace_range(name, &code);
        }
    }

    /// The row of the table of notes.
    pub(crate) fn row(&self, file: &str) -> NoteRow {
        NoteRow {
            file: file.to_owned(),
            session: self.session,
            kind: self.kind.clone().into_owned(),
            quantity: self.quantity.clone().map(Cow::into_owned),
            count: self.count,
            line: self.place.map(|place| place.line),
            byte: self.place.map(|place| place.byte),
            text: self.text.clone(),
        }
    }
}

impl From<Note> for Said {
    fn from(note: Note) -> Self {
        let quantity = note.quantity.map(|quantity| quantity.word().into());
        let Note { kind, count, place, text, .. } = note;
        Self { session: None, kind: kind.word().into(), quantity, count, place, text }
    }
}

impl From<&boutwise_track::Error> for Said {
    fn from(error: &boutwise_track::Error) -> Self {
        let (kind, place, text) = (error.kind().word().into(), error.place(), error.to_string());
        Self { session: None, kind, quantity: None, count: 1, place, text }
    }
}

//! What was said about a file or one of its sessions.

use std::borrow::Cow;
use std::ops::Range;

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
    /// The bytes of the text that are the name of another file.
    other_file: Option<Range<usize>>,
}

/// What was said of each session of a file that counts, by the index of the session.
pub(crate) type SaidOfSessions = Vec<(usize, Vec<Said>)>;

impl Said {
    /// A sentence of its kind about a session.
    pub(crate) fn of_session(session: u64, kind: &'static str, text: String) -> Self {
        Self {
            session: Some(session),
            kind: kind.into(),
            quantity: None,
            count: 1,
            place: None,
            text,
            other_file: None,
        }
    }

    /// A sentence of its kind about a file, said of so many of its recordings.
    pub(crate) fn of_file(kind: &'static str, count: u64, text: String) -> Self {
        Self { session: None, kind: kind.into(), quantity: None, count, place: None, text, other_file: None }
    }

    /// The same about a session.
    pub(crate) fn about(self, session: u64) -> Self {
        Self { session: Some(session), ..self }
    }

    /// The same with another name for the file that it holds the own one against.
    pub(crate) fn rename_other(&mut self, file: impl Fn(&str) -> String) {
        if let Some(name) = self.other_file.take()
            && let Some(code) = self.text.get(name.clone()).map(file)
        {
            self.other_file = Some(name.start..name.start + code.len());
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
        let Note { kind, count, place, text, other_file, .. } = note;
        Self { session: None, kind: kind.word().into(), quantity, count, place, text, other_file }
    }
}

impl From<&boutwise_track::Error> for Said {
    fn from(error: &boutwise_track::Error) -> Self {
        let (kind, place, text) = (error.kind().word().into(), error.place(), error.to_string());
        Self { session: None, kind, quantity: None, count: 1, place, text, other_file: None }
    }
}

#[cfg(test)]
mod tests {
    use crate::{Configuration, Inputs, Pseudonyms, SeasonFiles, audit, unwatched};

    #[test]
    fn a_name_with_the_marks_that_stand_around_names_is_replaced_whole_and_nothing_else_is() {
        let point = |second| {
            format!("<trkpt lat='52' lon='4.00{second}'><time>2024-03-04T18:00:0{second}Z</time></trkpt>")
        };
        let points: String = (0..9).map(point).collect();
        let text = format!("<gpx version='1.1'><trk><trkseg>{points}</trkseg></trk></gpx>").into_bytes();
        let files = ["ada/a`b`.gpx", "ada/c`.gpx", "tom/`, byte for byte `.gpx"];
        let inputs = Inputs::of_bytes("squad", files.map(|name| (name.to_owned(), text.clone())));
        let codes = Pseudonyms::of_key(b"a key that nobody guesses").unwrap();
        let code = |at: usize| codes.file(files[at]);
        let configuration = Configuration { pseudonyms: Some(codes.clone()), ..Configuration::default() };
        let found = audit(&inputs, &SeasonFiles::default(), &configuration, &unwatched).unwrap();
        let notes = |at: usize| {
            let row = found.tables.files.iter().find(|row| row.file == code(at)).unwrap();
            row.notes.join("\n")
        };
        let copy = format!("duplicate of `{}`, byte for byte; it counts as the first", code(0));
        assert!(notes(1).contains(&copy), "{}", notes(1));
        let same = format!("the same bytes as `{}` of another athlete; counted for both", code(2));
        assert!(notes(0).contains(&same), "{}", notes(0));
        assert!(notes(2).contains(&format!("the same bytes as `{}` of another", code(0))), "{}", notes(2));
    }
}

//! The samples in `testdata/inputs`, found by the beginning of their name.

use boutwise_track::{Error, Note, NoteKind, Point, Quantity, ReadSettings, Reading, Recording, read_text};

/// 2025-03-01T10:00:00Z in seconds since 1970, when most samples begin.
pub(crate) const BEGIN_S: i64 = 1_740_823_200;

pub(crate) fn sample(name: &str) -> Vec<u8> {
    let path = format!("{}/../../testdata/inputs/{name}", env!("CARGO_MANIFEST_DIR"));
    std::fs::read(&path).unwrap_or_else(|error| panic!("{path}: {error}"))
}

/// All samples of this crate's formats with their names.
pub(crate) fn all() -> Vec<(String, Vec<u8>)> {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/../../testdata/inputs");
    let names = std::fs::read_dir(folder).expect("the samples are checked in");
    let mut names: Vec<String> = names
        .map(|entry| entry.expect("readable").file_name().into_string().expect("ASCII"))
        .filter(|name| name.ends_with(".gpx") || name.ends_with(".tcx"))
        .collect();
    names.sort();
    names.into_iter().map(|name| (name.clone(), sample(&name))).collect()
}

pub(crate) fn read(name: &str) -> Reading {
    read_text(&sample(name), &ReadSettings::default()).unwrap_or_else(|error| panic!("{name}: {error}"))
}

/// The only session of a sample, which must be whole.
pub(crate) fn session(name: &str) -> Recording {
    let mut reading = read(name);
    assert!(!reading.partial, "{name} is partial: {:?}", reading.notes);
    assert_eq!(reading.recordings.len(), 1, "{name}");
    reading.recordings.remove(0)
}

pub(crate) fn error(name: &str) -> Error {
    match read_text(&sample(name), &ReadSettings::default()) {
        Err(error) => error,
        Ok(reading) => panic!("{name} was read: {reading:?}"),
    }
}

pub(crate) fn note(notes: &[Note], kind: NoteKind) -> &Note {
    notes.iter().find(|note| note.kind == kind).unwrap_or_else(|| panic!("no note of {kind:?} in {notes:?}"))
}

pub(crate) fn kinds(notes: &[Note]) -> Vec<NoteKind> {
    notes.iter().map(|note| note.kind).collect()
}

pub(crate) fn points(recording: &Recording) -> Vec<Point> {
    recording.points.iter().collect()
}

/// Times in seconds after the beginning of most samples.
pub(crate) fn seconds(recording: &Recording) -> Vec<f64> {
    recording.points.time_ns().iter().map(|ns| (ns - BEGIN_S * 1_000_000_000) as f64 / 1e9).collect()
}

pub(crate) fn present(column: &[f64]) -> usize {
    column.iter().filter(|value| !value.is_nan()).count()
}

/// How often each quantity was noted under a kind, in the order of the quantities.
pub(crate) fn by_quantity(notes: &[Note], kind: NoteKind) -> Vec<(Quantity, u64)> {
    let of_kind = notes.iter().filter(|note| note.kind == kind);
    of_kind.filter_map(|note| Some((note.quantity?, note.count))).collect()
}

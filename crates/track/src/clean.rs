//! From sessions as written to recordings that can be judged.
use crate::note::{NoteKind, Notes};
use crate::raw::RawSession;
use crate::{Format, ReadSettings, Recording};

pub(crate) fn clean(raw: Vec<RawSession>, _format: Format, _settings: &ReadSettings, notes: &mut Notes, _text: &[u8]) -> Vec<Recording> {
    let mut recordings = Vec::new();
    for session in raw {
        let before = session.points.len();
        let points: crate::Points = session.points.iter().filter(|point| point.time_ns.is_some()).collect();
        notes.add_many(NoteKind::NoTime, (before - points.len()) as u64, None, String::new);
        if points.is_empty() { continue; }
        recordings.push(Recording {
            session: recordings.len() + 1,
            sport: session.sport,
            marks: session.marks,
            utc_offset_s: session.utc_offset_s,
            points_dropped: before - points.len(),
            points,
            ..Recording::default()
        });
    }
    recordings
}

//! Gzip streams (RFC 1952), as far as they go.

use flate2::bufread::GzDecoder;

use crate::allowance::{Allowance, CapReached, Stop};
use crate::{Note, NoteKind};

/// What came out of a stream, and what was wrong with it.
#[derive(Debug, Default)]
pub(crate) struct Unpacked {
    pub(crate) bytes: Vec<u8>,
    pub(crate) notes: Vec<Note>,
}

impl Unpacked {
    /// Notes a fault, or one more of its kind.
    pub(crate) fn note(&mut self, kind: NoteKind, detail: &str) {
        match self.notes.iter_mut().find(|note| note.kind == kind) {
            Some(note) => note.count += 1,
            None => self.notes.push(Note::new(kind, detail)),
        }
    }
}

/// Unpacks all members in a row; a fault ends the reading and keeps what came before it.
pub(crate) fn unpack(packed: &[u8], allowance: &mut Allowance<'_>) -> Result<Unpacked, CapReached> {
    let mut unpacked = Unpacked::default();
    unpacked.bytes.reserve(allowance.expect(stated_length(packed), packed.len() as u64));
    let mut rest = packed;
    let mut member = 0;
    while rest.starts_with(b"\x1f\x8b") {
        member += 1;
        let before = rest.len();
        let mut decoder = GzDecoder::new(rest);
        let stop = allowance.read(&mut decoder, packed.len() as u64, &mut unpacked.bytes)?;
        rest = decoder.into_inner();
        match stop {
            Stop::End => {}
            Stop::Fault(error) if error.kind() == std::io::ErrorKind::UnexpectedEof => {
                unpacked.note(NoteKind::CutContainer, "the gzip stream ends too soon");
                return Ok(unpacked);
            }
            // After a false checksum the decoder stands behind the member, and the next one can be read.
            Stop::Fault(_) if rest.len() < before && is_at_member(rest) => {
                unpacked.note(NoteKind::Checksum, &format!("member {member} of the gzip stream"));
            }
            Stop::Fault(_) => {
                let at = packed.len() - rest.len();
                unpacked.note(NoteKind::CutContainer, &format!("the gzip stream is damaged at byte {at}"));
                return Ok(unpacked);
            }
        }
    }
    // Zeros are the padding of storage blocks and mean nothing.
    if rest.iter().any(|&byte| byte != 0) {
        unpacked.note(NoteKind::TrailingBytes, &format!("{} bytes", rest.len()));
    }
    Ok(unpacked)
}

fn is_at_member(rest: &[u8]) -> bool {
    rest.is_empty() || rest.starts_with(b"\x1f\x8b") || rest.iter().all(|&byte| byte == 0)
}

/// The length that the last member states, in bytes: a hint for the first allocation and nothing more.
fn stated_length(packed: &[u8]) -> u64 {
    packed.last_chunk::<4>().map_or(0, |length| u64::from(u32::from_le_bytes(*length)))
}

//! Gzip streams (RFC 1952), as far as they go.

use flate2::bufread::GzDecoder;
use memchr::memchr;

use crate::allowance::{Allowance, CapReached, Stop};
use crate::{Note, NoteKind};

/// What came out of a stream, and what was wrong with it.
#[derive(Debug, Default)]
pub(crate) struct Unpacked {
    pub(crate) bytes: Vec<u8>,
    pub(crate) notes: Vec<Note>,
    /// Whether something is lost or not to be trusted.
    pub(crate) is_damaged: bool,
}

impl Unpacked {
    pub(crate) fn note_damage(&mut self, kind: NoteKind, text: String) {
        self.is_damaged = true;
        self.notes.push(Note::new(kind, text));
    }
}

/// Unpacks all members in a row; a fault ends the reading and keeps what came before it.
pub(crate) fn unpack(packed: &[u8], allowance: &mut Allowance<'_>) -> Result<Unpacked, CapReached> {
    let mut unpacked = Unpacked::default();
    unpacked.bytes.reserve(stated_length(packed).min(allowance.room(packed.len() as u64)) as usize);
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
                unpacked.note_damage(
                    NoteKind::CutContainer,
                    "the gzip stream is cut; what unpacks was read".into(),
                );
                return Ok(unpacked);
            }
            // After a false checksum the decoder stands behind the member, and the next one can be read.
            Stop::Fault(_) if rest.len() < before && is_at_member(rest) => unpacked.note_damage(
                NoteKind::Checksum,
                format!("the checksum of gzip member {member} is wrong; values in it may be wrong"),
            ),
            Stop::Fault(_) => {
                unpacked.note_damage(
                    NoteKind::CutContainer,
                    format!(
                        "the gzip stream is damaged at byte {}; what unpacks was read",
                        packed.len() - rest.len()
                    ),
                );
                return Ok(unpacked);
            }
        }
    }
    // Zeros are the padding of storage blocks and mean nothing.
    if memchr(0, rest) != Some(0) && !rest.is_empty() {
        let text = format!("{} bytes after the end of the gzip stream were passed over", rest.len());
        unpacked.notes.push(Note::new(NoteKind::TrailingBytes, text));
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

//! Zstandard streams (RFC 8878), as far as they go.

use std::io::Read;

use ruzstd::decoding::{
    FrameDecoder, StreamingDecoder,
    errors::{FrameDecoderError, ReadFrameHeaderError},
};

use crate::NoteKind;
use crate::allowance::{Allowance, CapReached, Stop};
use crate::gzip::Unpacked;

/// The window that every decoder should grant (RFC 8878, 3.1.1.1.2).
const RECOMMENDED_WINDOW_BYTES: u64 = 8 << 20;

/// Unpacks all frames in a row; a fault ends the reading and keeps what came before it.
pub(crate) fn unpack(packed: &[u8], allowance: &mut Allowance<'_>) -> Result<Unpacked, CapReached> {
    let mut unpacked = Unpacked::default();
    let mut rest = packed;
    let mut decoder = FrameDecoder::new();
    // A frame may ask for a window far larger than its content; memory stays within what may be unpacked.
    decoder.set_max_window_size(allowance.room(packed.len() as u64).max(RECOMMENDED_WINDOW_BYTES));
    while !rest.is_empty() {
        let mut source = rest;
        let mut frame = match StreamingDecoder::new_with_decoder(&mut source, &mut decoder) {
            Ok(frame) => frame,
            Err(FrameDecoderError::ReadFrameHeaderError(ReadFrameHeaderError::SkipFrame {
                length, ..
            })) => {
                // Magic number and length take 8 bytes (RFC 8878, 3.1.2).
                rest = rest.get(8 + length as usize..).unwrap_or_default();
                continue;
            }
            Err(error) => {
                let at = packed.len() - rest.len();
                unpacked.note(NoteKind::CutContainer, &format!("the Zstandard stream at byte {at}: {error}"));
                break;
            }
        };
        match allowance.read(frame.by_ref(), packed.len() as u64, &mut unpacked.bytes)? {
            Stop::End => {}
            Stop::Fault(_) => {
                unpacked.note(NoteKind::CutContainer, "the Zstandard stream");
                break;
            }
        }
        rest = source;
        // The decoder computes the checksum and leaves the comparison to its caller.
        let (stated, computed) = (decoder.get_checksum_from_data(), decoder.get_calculated_checksum());
        if stated.is_some() && stated != computed {
            unpacked.note(NoteKind::Checksum, "the Zstandard stream");
        }
    }
    Ok(unpacked)
}

//! How much one handed-in file may unpack to.

use std::io::{self, Read};

use crate::ArchiveSettings;
use crate::at_once::Claim;
use crate::zip_archive::MemberNames;

/// What of the settings is left while one file is unpacked.
#[derive(Debug)]
pub(crate) struct Allowance<'s> {
    pub(crate) settings: &'s ArchiveSettings,
    /// The labels of its members, no two alike at any depth.
    pub(crate) names: MemberNames,
    claim: &'s mut Claim,
    file_bytes: u64,
    unpacked_bytes: u64,
    members: usize,
}

#[derive(Clone, Copy)]
enum Cap {
    Ratio,
    FileBytes,
    TotalBytes,
}

/// A cap that was reached, as a sentence that names it.
#[derive(Debug, PartialEq, Eq)]
pub(crate) struct CapReached(pub(crate) String);

/// Why the reading of a stream stopped.
#[derive(Debug)]
pub(crate) enum Stop {
    End,
    Fault(io::Error),
}

impl<'s> Allowance<'s> {
    /// For a file of `file_bytes` as it was handed in, which has its `claim`.
    pub(crate) fn new(settings: &'s ArchiveSettings, claim: &'s mut Claim, file_bytes: usize) -> Self {
        Self {
            settings,
            names: MemberNames::default(),
            claim,
            file_bytes: file_bytes as u64,
            unpacked_bytes: 0,
            members: 0,
        }
    }

    /// Counts one member.
    pub(crate) fn take_member(&mut self) -> Result<(), CapReached> {
        self.members += 1;
        let most = self.settings.max_members;
        if self.members > most {
            return Err(CapReached(format!("it holds more than {most} members (the cap max_members)")));
        }
        Ok(())
    }

    /// Reads `stream` to its end behind what `out` holds, which stems from the same `packed_bytes`. A fault keeps
    /// what was read before it.
    pub(crate) fn read(
        &mut self,
        mut stream: impl Read,
        packed_bytes: u64,
        out: &mut Vec<u8>,
    ) -> Result<Stop, CapReached> {
        let already = out.len() as u64;
        let (room, cap) = self.tightest(packed_bytes, already);
        let most = room.saturating_add(1);
        let claimed = most.min(self.claim.unpacked_bytes().saturating_sub(already));
        let mut result = stream.by_ref().take(claimed).read_to_end(out);
        if matches!(result, Ok(read) if read as u64 == claimed && claimed < most) {
            self.claim.exceed();
            result = stream.take(most - claimed).read_to_end(out);
        }
        let read = out.len() as u64 - already;
        self.unpacked_bytes += read;
        if read > room {
            return Err(self.reached(cap));
        }
        Ok(match result {
            Ok(_) => Stop::End,
            Err(fault) => Stop::Fault(fault),
        })
    }

    /// The most that `packed_bytes` may unpack to now, in bytes.
    pub(crate) fn room(&self, packed_bytes: u64) -> u64 {
        self.tightest(packed_bytes, 0).0
    }

    /// Bytes worth having ready for what says that it unpacks to so many.
    pub(crate) fn expect(&mut self, stated_bytes: u64, packed_bytes: u64) -> usize {
        let bytes = stated_bytes.min(self.room(packed_bytes));
        if bytes > self.claim.unpacked_bytes() {
            self.claim.exceed();
        }
        bytes as usize
    }

    /// The room under the tightest cap, and what to say once it is overrun.
    fn tightest(&self, packed_bytes: u64, already: u64) -> (u64, Cap) {
        let settings = self.settings;
        let by_ratio =
            |bytes: u64| bytes.saturating_mul(settings.max_ratio).max(settings.max_ratio_from_bytes);
        let caps = [
            (by_ratio(self.file_bytes).saturating_sub(self.unpacked_bytes), Cap::Ratio),
            (settings.max_file_bytes.saturating_sub(already), Cap::FileBytes),
            (settings.max_total_bytes.saturating_sub(self.unpacked_bytes), Cap::TotalBytes),
        ];
        let start = (by_ratio(packed_bytes).saturating_sub(already), Cap::Ratio);
        caps.into_iter().fold(start, |tightest, cap| if cap.0 < tightest.0 { cap } else { tightest })
    }

    fn reached(&self, cap: Cap) -> CapReached {
        let ArchiveSettings { max_ratio, max_file_bytes, max_total_bytes, .. } = self.settings;
        CapReached(match cap {
            Cap::Ratio => format!("it unpacks to more than {max_ratio} times its size (the cap max_ratio)"),
            Cap::FileBytes => {
                format!("it unpacks to more than {max_file_bytes} bytes (the cap max_file_bytes)")
            }
            Cap::TotalBytes => format!(
                "all in its file unpacks to more than {max_total_bytes} bytes (the cap max_total_bytes)"
            ),
        })
    }
}

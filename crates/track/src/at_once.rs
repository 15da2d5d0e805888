//! How many bytes of files are in work at one time, over all threads together.

use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};

/// Bytes that every file counts as, at least (own choice: a run of an hour; so many threads as go into the default are never
/// kept waiting by such files).
const LEAST_BYTES: u64 = 1 << 20;
/// Bytes to which a file that is packed by its name may unpack at once (own choice: a run of several hours).
const UNPACKED_BYTES: u64 = 4 << 20;
/// Bytes that are only held count for less than those from which points and bouts are made (own choice: a text of points
/// takes four times its bytes by `tests/growth/run points`, more where points are rare).
const HELD_COUNTS_AS: u64 = 8;

/// What all readings at one time share, so that memory is bounded for all threads together: a reading waits until there is
/// room for its file. A file that is larger than all the room is read alone. Without a limit unless one is set.
///
/// ```
/// use boutwise_track::{AtOnce, ReadSettings};
///
/// let settings = ReadSettings { at_once: AtOnce::at_most(64 << 20), ..ReadSettings::default() };
/// assert_ne!(settings, ReadSettings::default());
/// ```
#[derive(Clone, Debug, Default)]
pub struct AtOnce(Option<Arc<Shared>>);

#[derive(Debug)]
struct Shared {
    most_bytes: u64,
    state: Mutex<State>,
    freed: Condvar,
}

#[derive(Debug, Default)]
struct State {
    claimed_bytes: u64,
    /// Whether one reading goes beyond what it claimed.
    is_exceeded: bool,
}

impl Shared {
    /// The state, as soon as it is one that `suits`.
    fn wait(&self, suits: impl Fn(&State) -> bool) -> MutexGuard<'_, State> {
        let state = self.state.lock().unwrap_or_else(PoisonError::into_inner);
        self.freed.wait_while(state, |state| !suits(state)).unwrap_or_else(PoisonError::into_inner)
    }
}

impl AtOnce {
    /// At most so many bytes at one time, shared by all copies of this value.
    pub fn at_most(bytes: u64) -> Self {
        let state = Mutex::new(State::default());
        Self(Some(Arc::new(Shared { most_bytes: bytes, state, freed: Condvar::new() })))
    }

    /// Waits for room for a file. Whoever holds a claim must not ask for another: none would be given back.
    pub(crate) fn claim(&self, file: &str, file_bytes: u64) -> Claim {
        let Some(shared) = &self.0 else {
            return Claim { shared: None, bytes: 0, unpacked_bytes: u64::MAX, is_exceeded: false };
        };
        let is_packed = PACKED.iter().any(|ending| file.ends_with(ending));
        let (bytes, unpacked_bytes) = match is_packed {
            true => (file_bytes / HELD_COUNTS_AS + UNPACKED_BYTES, UNPACKED_BYTES),
            false => (file_bytes.max(LEAST_BYTES), LEAST_BYTES),
        };
        let bytes = bytes.min(shared.most_bytes);
        shared.wait(|state| state.claimed_bytes + bytes <= shared.most_bytes).claimed_bytes += bytes;
        Claim { shared: Some(Arc::clone(shared)), bytes, unpacked_bytes, is_exceeded: false }
    }
}

/// Endings of names of packed files; for room alone, as what a file is its content says.
const PACKED: [&str; 3] = [".gz", ".zip", ".zst"];

/// Two are equal that allow the same.
impl PartialEq for AtOnce {
    fn eq(&self, other: &Self) -> bool {
        let most = |at_once: &Self| at_once.0.as_ref().map(|shared| shared.most_bytes);
        most(self) == most(other)
    }
}

/// Room that one reading has until this is dropped.
#[derive(Debug)]
pub(crate) struct Claim {
    shared: Option<Arc<Shared>>,
    bytes: u64,
    #[cfg_attr(not(feature = "archives"), allow(dead_code))]
    unpacked_bytes: u64,
    is_exceeded: bool,
}

#[cfg_attr(not(feature = "archives"), allow(dead_code))]
impl Claim {
    /// Bytes that something packed may unpack to before it [exceeds](Self::exceed) the claim.
    pub(crate) fn unpacked_bytes(&self) -> u64 {
        if self.is_exceeded { u64::MAX } else { self.unpacked_bytes }
    }

    /// Waits until no other reading goes beyond its claim. The one that does waits for nobody, so that all come to their end.
    pub(crate) fn exceed(&mut self) {
        if let Some(shared) = self.shared.as_ref().filter(|_| !self.is_exceeded) {
            shared.wait(|state| !state.is_exceeded).is_exceeded = true;
            self.is_exceeded = true;
        }
    }
}

impl Drop for Claim {
    fn drop(&mut self) {
        let Some(shared) = &self.shared else { return };
        let mut state = shared.wait(|_| true);
        state.claimed_bytes -= self.bytes;
        state.is_exceeded &= !self.is_exceeded;
        drop(state);
        shared.freed.notify_all();
    }
}

#[cfg(test)]
mod tests {
    use std::sync::atomic::{AtomicU64, Ordering};

    use super::*;

    #[test]
    fn claims_of_many_threads_never_go_beyond_what_is_allowed_and_all_come_to_their_end() {
        const MOST: u64 = 10 * LEAST_BYTES;
        let (at_once, held, peak, beyond) =
            (AtOnce::at_most(MOST), AtomicU64::new(0), AtomicU64::new(0), AtomicU64::new(0));
        std::thread::scope(|scope| {
            for thread in 0..16_u64 {
                let (at_once, held, peak, beyond) = (at_once.clone(), &held, &peak, &beyond);
                scope.spawn(move || {
                    for turn in 0..200 {
                        let mut claim = at_once.claim("a.gpx", (thread * 7 + turn) % 14 * LEAST_BYTES);
                        let bytes = claim.bytes;
                        let now = held.fetch_add(bytes, Ordering::SeqCst) + bytes;
                        peak.fetch_max(now, Ordering::SeqCst);
                        if turn % 5 == 0 {
                            claim.exceed();
                            assert_eq!(beyond.fetch_add(1, Ordering::SeqCst), 0);
                            beyond.fetch_sub(1, Ordering::SeqCst);
                        }
                        held.fetch_sub(bytes, Ordering::SeqCst);
                    }
                });
            }
        });
        let peak = peak.into_inner();
        assert!(peak <= MOST && peak > MOST / 2, "{peak}");
        let state = at_once.0.as_ref().map(|shared| shared.wait(|_| true)).unwrap();
        assert_eq!((state.claimed_bytes, state.is_exceeded), (0, false));
    }

    #[test]
    fn a_packed_file_counts_for_what_it_may_unpack_to_at_once() {
        let at_once = AtOnce::at_most(64 << 20);
        let mut archive = at_once.claim("a.zip", 80 << 20);
        assert_eq!((archive.bytes, archive.unpacked_bytes()), (14 << 20, UNPACKED_BYTES));
        archive.exceed();
        assert_eq!(archive.unpacked_bytes(), u64::MAX);
        assert_eq!(at_once.claim("a.gpx", 9 << 20).bytes, 9 << 20);
        assert_eq!(AtOnce::default().claim("a.zip", 1).unpacked_bytes(), u64::MAX);
    }
}

//! What happens when somebody ends the program: what was begun is cleared, and that is said.

use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Mutex, PoisonError};

use boutwise_report::{Begun, NewFolder};

/// The result that is being written, for the signals that may end the program. The one thing that the whole process
/// shares, as signals reach all of it.
static BEGUN: Mutex<Option<(Begun, String)>> = Mutex::new(None);

/// Whether a signal is ending the program.
static IS_ENDING: AtomicBool = AtomicBool::new(false);

/// Waits for the end where a signal is ending the program: what fails then fails since the result was given up, and says nothing
/// of its own.
pub fn wait_for_the_end() {
    while IS_ENDING.load(Ordering::SeqCst) {
        std::thread::park();
    }
}

/// Begins a result that a signal gives up first, from then on; one that comes while it is begun waits that long. `place` is what
/// its place is called.
///
/// # Errors
/// Those of `begin`.
pub(crate) fn guarded<E>(place: &Path, begin: impl FnOnce() -> Result<NewFolder, E>) -> Result<NewFolder, E> {
    let mut guarded = BEGUN.lock().unwrap_or_else(PoisonError::into_inner);
    let folder = begin()?;
    *guarded = Some((folder.begun(), place.display().to_string()));
    Ok(folder)
}

/// Ends the program in order on SIGINT and SIGTERM: with what was begun removed, one line that says so, and the usual
/// status of the signal.
///
/// # Errors
/// Where the system takes no such request.
#[cfg(unix)]
pub fn end_in_order() -> std::io::Result<()> {
    use signal_hook::consts::{SIGINT, SIGTERM, SIGXFSZ};
    // Heard, a limit on the size of files is an error of the write that meets it, as a full disk is.
    signal_hook::flag::register(SIGXFSZ, std::sync::Arc::default())?;
    let mut signals = signal_hook::iterator::Signals::new([SIGINT, SIGTERM])?;
    std::thread::Builder::new().name("signals".to_owned()).spawn(move || {
        for signal in signals.forever() {
            IS_ENDING.store(true, Ordering::SeqCst);
            let name = if signal == SIGINT { "SIGINT" } else { "SIGTERM" };
            // Held to the end: nothing is begun any more.
            let mut guarded = BEGUN.lock().unwrap_or_else(PoisonError::into_inner);
            let text = match guarded.take().filter(|(begun, _)| begun.give_up()) {
                Some((begun, place)) if begun.place().exists() => {
                    format!("the earlier result in {place} stands as it was")
                }
                Some((_, place)) => format!("nothing was written to {place}"),
                None => "nothing is left half done".to_owned(),
            };
            crate::terminal::error(&format!("ended by {name}: {text}"));
            // Ends the process as if the signal had not been caught.
            _ = signal_hook::low_level::emulate_default_handler(signal);
        }
    })?;
    Ok(())
}

/// Other systems end programs in their own way; a later run clears what one leaves.
#[cfg(not(unix))]
pub fn end_in_order() -> std::io::Result<()> {
    Ok(())
}

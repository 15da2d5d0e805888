//! A call without the interpreter's lock, which ends early where Python code or a signal says so.

use std::ops::ControlFlow;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::mpsc::{RecvTimeoutError, channel};
use std::thread;
use std::time::Duration;

use boutwise_audit::Watch;
use pyo3::exceptions::PyRuntimeError;
use pyo3::prelude::*;

/// How long it works before it asks for signals and tells how far it is (own choice: soon for a person, rare for the lock).
const ASK_EVERY: Duration = Duration::from_millis(50);

/// How far the work is, and whether it is to end.
#[derive(Default)]
struct Far {
    done: AtomicUsize,
    total: AtomicUsize,
    is_ended: AtomicBool,
}

impl Far {
    fn watch(&self, done: usize, total: usize) -> ControlFlow<()> {
        self.done.fetch_max(done, Ordering::Relaxed);
        self.total.store(total, Ordering::Relaxed);
        if self.is_ended.load(Ordering::Relaxed) { ControlFlow::Break(()) } else { ControlFlow::Continue(()) }
    }

    fn tell(&self, py: Python<'_>, progress: Option<&Py<PyAny>>) -> PyResult<()> {
        match (progress, self.total.load(Ordering::Relaxed)) {
            (Some(progress), total) if total > 0 => {
                progress.call1(py, (self.done.load(Ordering::Relaxed), total)).map(drop)
            }
            _ => Ok(()),
        }
    }
}

/// Does `work` on a thread of its own, while this one waits for signals and calls `progress(done, total)`. What these raise
/// is raised at once; the work then ends at the next file, member of an archive or athlete, and what it found is dropped.
pub(crate) fn watched<T: Send + 'static>(
    py: Python<'_>,
    progress: Option<&Bound<'_, PyAny>>,
    work: impl FnOnce(Watch<'_>) -> T + Send + 'static,
) -> PyResult<T> {
    let progress = progress.map(|progress| progress.clone().unbind());
    let far = Arc::new(Far::default());
    let (sender, receiver) = channel();
    let of_work = far.clone();
    thread::Builder::new().name("boutwise".to_owned()).spawn(move || {
        // Nobody waits for it where the call has ended.
        let _ = sender.send(work(&|done, total| of_work.watch(done, total)));
    })?;
    py.detach(move || {
        loop {
            match receiver.recv_timeout(ASK_EVERY) {
                Ok(found) => {
                    return Python::attach(|py| far.tell(py, progress.as_ref())).map(|()| found);
                }
                Err(RecvTimeoutError::Timeout) => {
                    let asked = Python::attach(|py| {
                        py.check_signals().and_then(|()| far.tell(py, progress.as_ref()))
                    });
                    far.is_ended.store(asked.is_err(), Ordering::Relaxed);
                    asked?;
                }
                Err(RecvTimeoutError::Disconnected) => {
                    let text = "a fault of this program ended the work without a result: please report it";
                    return Err(PyRuntimeError::new_err(text));
                }
            }
        }
    })
}

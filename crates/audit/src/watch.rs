//! How a caller follows an audit, and stops it.

use std::ops::ControlFlow;
use std::sync::atomic::{AtomicUsize, Ordering};

use crate::Error;

/// Called after each file, each member of an archive and each athlete, with how many files are done, of how many;
/// [`ControlFlow::Break`] stops the audit, which then ends with [`ErrorKind::Stopped`](crate::ErrorKind). Several threads
/// may call it at a time.
pub type Watch<'a> = &'a (dyn Fn(usize, usize) -> ControlFlow<()> + Sync);

/// Watches nothing.
pub fn unwatched(_done: usize, _total: usize) -> ControlFlow<()> {
    ControlFlow::Continue(())
}

/// Counts files, and asks whether to go on.
pub(crate) struct Counter<'a> {
    watch: Watch<'a>,
    done: AtomicUsize,
    total: usize,
}

impl<'a> Counter<'a> {
    pub(crate) fn new(watch: Watch<'a>, total: usize) -> Self {
        Self { watch, done: AtomicUsize::new(0), total }
    }

    /// One more file is done.
    pub(crate) fn one_more(&self) -> Result<(), Error> {
        self.ask(self.done.fetch_add(1, Ordering::Relaxed) + 1)
    }

    /// Whether to go on, between two files.
    pub(crate) fn go_on(&self) -> Result<(), Error> {
        self.ask(self.done.load(Ordering::Relaxed))
    }

    fn ask(&self, done: usize) -> Result<(), Error> {
        match (self.watch)(done, self.total) {
            ControlFlow::Continue(()) => Ok(()),
            ControlFlow::Break(()) => Err(Error::stopped()),
        }
    }
}

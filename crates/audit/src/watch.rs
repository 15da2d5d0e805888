//! How a caller follows an audit, and stops it.

use std::ops::ControlFlow;
use std::sync::atomic::{AtomicUsize, Ordering};

use crate::Error;

/// Called after each file with how many are done, of how many; [`ControlFlow::Break`] stops the audit, which then
/// ends with [`ErrorKind::Stopped`](crate::ErrorKind). Several threads may call it at a time.
pub type Watch<'a> = &'a (dyn Fn(usize, usize) -> ControlFlow<()> + Sync);

/// Watches nothing.
pub fn unwatched(_done: usize, _total: usize) -> ControlFlow<()> {
    ControlFlow::Continue(())
}

/// Counts files and asks after each whether to go on.
pub(crate) struct Counter<'a> {
    watch: Watch<'a>,
    done: AtomicUsize,
    total: usize,
}

impl<'a> Counter<'a> {
    pub(crate) fn new(watch: Watch<'a>, total: usize) -> Self {
        Self { watch, done: AtomicUsize::new(0), total }
    }

    pub(crate) fn one_more(&self) -> Result<(), Error> {
        let done = self.done.fetch_add(1, Ordering::Relaxed) + 1;
        match (self.watch)(done, self.total) {
            ControlFlow::Continue(()) => Ok(()),
            ControlFlow::Break(()) => Err(Error::stopped()),
        }
    }
}

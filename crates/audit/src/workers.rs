//! The threads of an audit, begun in one place.

use rayon::ThreadPoolBuilder;

use crate::{Configuration, Error};

/// Does `work` on as many threads as the configuration says; whatever runs in parallel inside runs on these.
pub(crate) fn on_workers<T: Send>(
    configuration: &Configuration,
    work: impl FnOnce() -> Result<T, Error> + Send,
) -> Result<T, Error> {
    // None: one a core.
    let threads = configuration.threads.map_or(0, |threads| threads.get());
    let workers = ThreadPoolBuilder::new().num_threads(threads).build().map_err(Error::threads)?;
    workers.install(work)
}

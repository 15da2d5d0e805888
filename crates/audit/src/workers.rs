//! The threads of an audit, begun in one place.

use rayon::ThreadPoolBuilder;

use crate::{Configuration, Error};

/// Does `work` on as many threads as the configuration says; whatever runs in parallel inside runs on these. A caller who is one of
/// as many threads of a pool has them do it.
pub(crate) fn on_workers<T: Send>(
    configuration: &Configuration,
    work: impl FnOnce() -> Result<T, Error> + Send,
) -> Result<T, Error> {
    // None: one a core.
    let threads = configuration.threads.map_or(0, |threads| threads.get());
    if rayon::current_thread_index().is_some() && [0, rayon::current_num_threads()].contains(&threads) {
        return work();
    }
    let workers = ThreadPoolBuilder::new().num_threads(threads).build().map_err(Error::threads)?;
    workers.install(work)
}

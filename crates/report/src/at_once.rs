//! Several things at a time, on the threads of the caller and no others.
//!
//! Rayon would begin threads of its own for a caller who has none: more than were asked for, and none of them would be there in a
//! forked process. Such a caller does one thing after the other.

use rayon::prelude::*;

/// Whether the caller is one of several threads that share their work.
fn has_threads() -> bool {
    rayon::current_thread_index().is_some()
}

/// Does both.
pub(crate) fn both<A: Send, B: Send>(
    one: impl FnOnce() -> A + Send,
    other: impl FnOnce() -> B + Send,
) -> (A, B) {
    if has_threads() { rayon::join(one, other) } else { (one(), other()) }
}

/// What `make` makes of each item, in their order.
pub(crate) fn of_each<T: Sync, M: Send, C>(items: &[T], make: impl Fn(&T) -> M + Sync + Send) -> C
where
    C: FromIterator<M> + FromParallelIterator<M>,
{
    if has_threads() { items.par_iter().map(make).collect() } else { items.iter().map(make).collect() }
}

/// Lets go of values that consist of many small pieces.
pub(crate) fn drop_all<T: Send>(values: Vec<T>) {
    if has_threads() { values.into_par_iter().for_each(drop) } else { drop(values) }
}

#[cfg(test)]
mod tests {
    use std::thread::{self, ThreadId};

    use super::*;

    /// Who does what: both things of [`both`], then forty items.
    fn who() -> (ThreadId, ThreadId, Vec<ThreadId>) {
        let (one, other) = both(|| thread::current().id(), || thread::current().id());
        let items: Vec<u32> = (0..40).collect();
        let each = of_each(&items, |_| {
            thread::sleep(std::time::Duration::from_millis(1));
            thread::current().id()
        });
        (one, other, each)
    }

    #[test]
    fn a_caller_without_threads_does_it_alone() {
        let own = thread::current().id();
        let (one, other, each) = who();
        assert!([one, other].iter().chain(&each).all(|thread| *thread == own));
    }

    #[test]
    fn the_threads_of_a_caller_share_it() {
        let workers = rayon::ThreadPoolBuilder::new().num_threads(2).build().unwrap();
        let (.., each) = workers.install(who);
        assert!(each.iter().any(|thread| *thread != each[0]));
        let items: Vec<u32> = (0..40).collect();
        let doubled: Vec<u32> = workers.install(|| of_each(&items, |item| 2 * item));
        assert_eq!(doubled, items.iter().map(|item| 2 * item).collect::<Vec<_>>());
    }
}

//! How the memory of the program is got from the system, and kept from one file to the next.
//!
//! A page costs the system more at its first use than to fill it from a file: 2 to 3 µs for 4 kB on a virtual machine, a quarter
//! of the processor time of a recording of 24 h (`perf stat -e page-faults,system_time`, with and without). What is done here changes
//! no byte of a result.

use std::hint::black_box;

/// Bytes of the blocks that are asked for and not kept (own choice: more than a file of a day and its columns take, and below the
/// 32 MB from which the C library gives each block back at once).
const BLOCK_BYTES: usize = 31 << 20;

/// Lets freed memory stay with the program, in large pages.
///
/// The C library of Linux gives memory back to the system once 128 kB lie free at the end of a heap, and each file would have its
/// pages made anew. It keeps twice the largest block that it ever gave back, up to 64 MB (mallopt(3), M_MMAP_THRESHOLD); so one
/// block is taken and given back, which nobody touches. Elsewhere that does nothing.
pub fn keep_memory() {
    drop(block());
    use_large_pages();
}

/// Memory that nobody touches; `None` where so much is not to be had.
fn block() -> Option<Vec<u8>> {
    let mut block = Vec::new();
    block.try_reserve_exact(BLOCK_BYTES).ok()?;
    Some(black_box(block))
}

/// Asks for the heap of this thread in large pages, where the system has them: a block is taken from it, the system is told, and
/// the block is given back to the heap. Where it is refused small pages serve.
#[cfg(target_os = "linux")]
#[expect(unsafe_code, reason = "the one call for which no library has a safe function")]
pub(crate) fn use_large_pages() {
    /// Bytes of a large page where pages have 4 kB; where they are larger nothing lies far enough in, and nothing is asked for.
    const LARGE_PAGE: usize = 2 << 20;
    let Some(mut block) = block() else { return };
    let room = block.spare_capacity_mut();
    let first = room.as_ptr().align_offset(LARGE_PAGE);
    if let Some((whole, _)) =
        room.get_mut(first..).and_then(|room| room.split_at_mut_checked(room.len() / LARGE_PAGE * LARGE_PAGE))
    {
        // SAFETY: the range lies in the block, which lives until the end of this function, and the advice changes neither what
        // memory holds nor who may use it (madvise(2), MADV_HUGEPAGE): only how many bytes come with its first use.
        _ = unsafe {
            rustix::mm::madvise(whole.as_mut_ptr().cast(), whole.len(), rustix::mm::Advice::LinuxHugepage)
        };
    }
}

#[cfg(not(target_os = "linux"))]
pub(crate) fn use_large_pages() {}

#[cfg(test)]
#[cfg(all(target_os = "linux", target_env = "gnu"))]
mod tests {
    use std::fs;

    use super::*;

    /// Whether some memory of this process is to come in large pages (proc(5), `VmFlags`); `None` where the system does not tell,
    /// or has none.
    fn is_in_large_pages() -> Option<bool> {
        fs::metadata("/sys/kernel/mm/transparent_hugepage").ok()?;
        let memory = fs::read_to_string("/proc/self/smaps").ok()?;
        let mut flags = memory.lines().filter_map(|line| line.strip_prefix("VmFlags:")).peekable();
        flags.peek()?;
        Some(flags.any(|flags| flags.split_whitespace().any(|flag| flag == "hg")))
    }

    #[test]
    fn the_heap_is_to_come_in_large_pages() {
        keep_memory();
        assert_ne!(is_in_large_pages(), Some(false));
    }
}

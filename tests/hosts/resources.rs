//! Resources of this process: allocated memory and threads, where the system reports them.

use std::collections::BTreeMap;
use std::path::Path;

/// Allocated bytes that have not been freed, over all threads.
///
/// Unlike resident memory, this excludes free memory that the allocator keeps. Blocks in a thread's cache (at most 7 of
/// each size below 1 KiB) still count, unless the cache is switched off as in `memory.rs`.
#[must_use]
#[cfg(all(target_os = "linux", target_env = "gnu"))]
#[allow(unsafe_code)]
pub fn heap_bytes() -> Option<u64> {
    // SAFETY: it has no argument and only reads the allocator's counters, under its locks.
    let counts = unsafe { libc::mallinfo2() };
    Some((counts.uordblks + counts.hblkhd) as u64)
}

/// Allocated bytes that have not been freed: not available on this system.
#[must_use]
#[cfg(not(all(target_os = "linux", target_env = "gnu")))]
pub fn heap_bytes() -> Option<u64> {
    None
}

/// Number of threads of this process.
#[must_use]
pub fn threads() -> Option<usize> {
    std::fs::read_dir("/proc/self/task").ok().map(Iterator::count)
}

/// Kernel flag of a thread that is exiting (`PF_EXITING`).
const EXITING: u64 = 0x4;

/// Names of the threads of this process by thread id; `None` where the system does not report them.
///
/// A joined thread may remain listed while the kernel removes it; it counts as ended.
#[must_use]
pub fn threads_by_name() -> Option<BTreeMap<u32, String>> {
    let tasks = std::fs::read_dir("/proc/self/task").ok()?;
    let running = |task: &Path| {
        // "1234 (the name) S 1 2 3 4 5 flags …"; the file is gone if the thread has ended since it was listed.
        let status = std::fs::read_to_string(task.join("stat")).ok()?;
        let (number, rest) = status.split_once(" (")?;
        let (name, rest) = rest.rsplit_once(") ")?;
        let flags: u64 = rest.split(' ').nth(6)?.parse().ok()?;
        (flags & EXITING == 0).then_some((number.parse().ok()?, name.to_string()))
    };
    Some(tasks.filter_map(|task| running(&task.ok()?.path())).collect())
}

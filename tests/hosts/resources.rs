//! What this process keeps: memory in use and threads, where the system says so.

use std::collections::BTreeMap;
use std::path::Path;

/// Bytes that were asked for and not given back, over all threads.
///
/// Resident memory would also count what the allocator keeps for later, which depends on how blocks happened to lie; this
/// counts only what nobody freed. Blocks in a thread's small cache (at most 7 of each size below 1 KiB) still count, unless it
/// is switched off as `memory.rs` does.
#[must_use]
#[cfg(all(target_os = "linux", target_env = "gnu"))]
#[allow(unsafe_code)]
pub fn heap_bytes() -> Option<u64> {
    // SAFETY: it takes no argument and only reads the allocator's own counts, under its locks.
    let counts = unsafe { libc::mallinfo2() };
    Some((counts.uordblks + counts.hblkhd) as u64)
}

/// Bytes that were asked for and not given back: not known here.
#[must_use]
#[cfg(not(all(target_os = "linux", target_env = "gnu")))]
pub fn heap_bytes() -> Option<u64> {
    None
}

/// Threads of this process.
#[must_use]
pub fn threads() -> Option<usize> {
    std::fs::read_dir("/proc/self/task").ok().map(Iterator::count)
}

/// A thread in which the kernel is the only one that still runs anything, in the flags of its status.
const EXITING: u64 = 0x4;

/// The threads of this process by their numbers, with their names; `None` where the system does not say.
///
/// One that somebody has joined may be listed for some time yet, while the kernel clears it away: it counts as ended.
#[must_use]
pub fn threads_by_name() -> Option<BTreeMap<u32, String>> {
    let tasks = std::fs::read_dir("/proc/self/task").ok()?;
    let running = |task: &Path| {
        // "1234 (the name) S 1 2 3 4 5 flags …"; one that has ended since it was listed has none any more.
        let status = std::fs::read_to_string(task.join("stat")).ok()?;
        let (number, rest) = status.split_once(" (")?;
        let (name, rest) = rest.rsplit_once(") ")?;
        let flags: u64 = rest.split(' ').nth(6)?.parse().ok()?;
        (flags & EXITING == 0).then_some((number.parse().ok()?, name.to_string()))
    };
    Some(tasks.filter_map(|task| running(&task.ok()?.path())).collect())
}

//! What this process keeps: memory in use and threads, where the system says so.

/// Bytes that were asked for and not given back, over all threads.
///
/// Resident memory would also count what the allocator keeps for later, which depends on how blocks happened to lie; this
/// counts only what nobody freed. Blocks in a thread's small cache (at most 7 of each size below 1 KiB) still count, unless it
/// is switched off as `memory.rs` does.
#[must_use]
#[cfg(all(target_os = "linux", target_env = "gnu"))]
#[allow(unsafe_code)]
pub fn bytes() -> Option<u64> {
    // SAFETY: it takes no argument and only reads the allocator's own counts, under its locks.
    let counts = unsafe { libc::mallinfo2() };
    Some((counts.uordblks + counts.hblkhd) as u64)
}

/// Bytes that were asked for and not given back: not known here.
#[must_use]
#[cfg(not(all(target_os = "linux", target_env = "gnu")))]
pub fn bytes() -> Option<u64> {
    None
}

/// Threads of this process.
#[must_use]
pub fn threads() -> Option<usize> {
    std::fs::read_dir("/proc/self/task").ok().map(Iterator::count)
}

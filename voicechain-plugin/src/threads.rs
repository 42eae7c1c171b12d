//! Threads with room for what is built on them.

use std::thread::Builder;

/// Stack of the threads that build strips and meters: far more than their copies take, also in debug builds.
const LARGE_STACK: usize = 8 << 20;

/// A thread on whose stack a strip or a meter has room before it moves to the heap: hosts call on threads whose stack may
/// hold half a megabyte.
pub(crate) fn large_stack_thread(name: &str) -> Builder {
    Builder::new().name(name.into()).stack_size(LARGE_STACK)
}

//! Threads with a large stack.

use std::thread::Builder;

/// Stack size of the threads that build strips and meters, bytes. Far more than their copies need, also in debug
/// builds.
const LARGE_STACK: usize = 8 << 20;

/// Builder of a thread whose stack holds a strip or a meter before it moves to the heap. The stack of a host's thread
/// may be only half a megabyte.
pub(crate) fn large_stack_thread(name: &str) -> Builder {
    Builder::new().name(name.into()).stack_size(LARGE_STACK)
}

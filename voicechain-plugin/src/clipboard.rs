//! What was copied last on any track of this process: hosts do not let every editor read the system's clipboard.

use std::sync::{Mutex, MutexGuard, PoisonError};

static COPIED: Mutex<Option<String>> = Mutex::new(None);

fn copied() -> MutexGuard<'static, Option<String>> {
    COPIED.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Remembers a text.
pub(crate) fn copy(text: &str) {
    *copied() = Some(text.into());
}

/// The text; `None` before anything was copied.
pub(crate) fn text() -> Option<String> {
    copied().clone()
}

/// True if there is a text.
pub(crate) fn is_filled() -> bool {
    copied().is_some()
}

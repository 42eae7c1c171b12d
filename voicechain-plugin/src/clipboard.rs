//! Clipboard within the process, shared by all instances: not every host lets an editor read the system clipboard.

use std::sync::{Mutex, MutexGuard, PoisonError};

static COPIED: Mutex<Option<String>> = Mutex::new(None);

fn copied() -> MutexGuard<'static, Option<String>> {
    COPIED.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Stores a text.
pub(crate) fn copy(text: &str) {
    *copied() = Some(text.into());
}

/// Stored text; `None` before the first copy.
pub(crate) fn text() -> Option<String> {
    copied().clone()
}

/// Whether a text is stored.
pub(crate) fn is_filled() -> bool {
    copied().is_some()
}

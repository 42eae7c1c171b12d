//! The scale of the display that the window is on.

use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

/// The display's own scale, as the window has found it.
#[derive(Clone, Debug, Default)]
pub(crate) struct Scale(Arc<AtomicU64>);

impl Scale {
    pub(crate) fn set(&self, scale: f64) {
        self.0.store(scale.to_bits(), Ordering::Relaxed);
    }

    /// 1 before it was found.
    pub(crate) fn get(&self) -> f64 {
        let scale = f64::from_bits(self.0.load(Ordering::Relaxed));
        if scale > 0.0 { scale } else { 1.0 }
    }
}

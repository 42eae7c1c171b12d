//! Scale factor of the display.

use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

/// Scale factor of the display that the window is on, shared between threads.
#[derive(Clone, Debug, Default)]
pub(crate) struct Scale(Arc<AtomicU64>);

impl Scale {
    pub(crate) fn set(&self, scale: f64) {
        self.0.store(scale.to_bits(), Ordering::Relaxed);
    }

    /// Scale factor; 1 until the window has set it.
    pub(crate) fn get(&self) -> f64 {
        let scale = f64::from_bits(self.0.load(Ordering::Relaxed));
        if scale > 0.0 { scale } else { 1.0 }
    }
}

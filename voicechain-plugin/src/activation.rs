//! The current activation: its sample rate and the tail, for the host's threads and the editor.

use std::sync::atomic::{AtomicU32, AtomicU64, Ordering};
use voicechain_core::SampleRate;
use voicechain_core::format::Number;

/// Decimals of a sample rate in kHz: a thousandth of a Hz.
const RATE_DECIMALS: usize = 6;

/// Sample rate and tail of the current activation. The audio thread writes and reads it without waiting.
#[derive(Debug, Default)]
pub struct Activation {
    /// Sample rate, Hz, as `f64` bits; 0 while inactive.
    rate_hz: AtomicU64,
    tail: AtomicU32,
}

impl Activation {
    /// The plugin is active at this sample rate, with this tail in frames.
    pub(crate) fn begin(&self, rate_hz: f64, tail: u32) {
        self.rate_hz.store(rate_hz.to_bits(), Ordering::Relaxed);
        self.set_tail(tail);
    }

    /// The plugin is inactive. The last tail remains.
    pub(crate) fn end(&self) {
        self.rate_hz.store(0, Ordering::Relaxed);
    }

    /// Stores the tail, frames.
    pub(crate) fn set_tail(&self, tail: u32) {
        self.tail.store(tail, Ordering::Relaxed);
    }

    /// Tail, frames: time until the output has died away after the input has ended.
    #[must_use]
    pub fn tail(&self) -> u32 {
        self.tail.load(Ordering::Relaxed)
    }

    /// Why the plugin passes the sound through unprocessed: its sample rate is outside the range of the strip. `None`
    /// while it processes or is inactive.
    #[must_use]
    pub fn pass_through_notice(&self) -> Option<String> {
        let hz = f64::from_bits(self.rate_hz.load(Ordering::Relaxed));
        if hz == 0.0 || SampleRate::new(hz).is_ok() {
            return None;
        }
        let kilohertz = |hz: f64| Number::new(hz * 1e-3, RATE_DECIMALS).trimmed();
        let [lowest, highest, rate] = [SampleRate::MIN_HZ, SampleRate::MAX_HZ, hz].map(kilohertz);
        Some(format!("voicechain processes {lowest} to {highest} kHz; at {rate} kHz it passes the sound through"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_notice_names_the_rate_and_the_range() {
        let activation = Activation::default();
        assert_eq!(activation.pass_through_notice(), None);
        for rate_hz in [8_000.0, 44_100.0, 192_000.0] {
            activation.begin(rate_hz, 1);
            assert_eq!(activation.pass_through_notice(), None, "{rate_hz}");
        }
        for (rate_hz, text) in [(384_000.0, "384"), (7_999.5, "7.9995"), (1.0, "0.001"), (768_000.0, "768")] {
            activation.begin(rate_hz, 0);
            let notice = format!("voicechain processes 8 to 192 kHz; at {text} kHz it passes the sound through");
            assert_eq!(activation.pass_through_notice(), Some(notice));
        }
        activation.end();
        assert_eq!(activation.pass_through_notice(), None);
    }
}

//! The core against published standards. Each number names the document that it comes from.

mod active_level;
mod dynamics;
mod filters;
mod k_weighting;
mod loudness;
mod loudness_properties;
mod true_peak;

use voicechain_core::SampleRate;

/// A rate that is known to be allowed.
fn rate(hz: f64) -> SampleRate {
    SampleRate::new(hz).expect("a rate from 8 to 192 kHz")
}

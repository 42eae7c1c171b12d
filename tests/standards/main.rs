//! The core against published standards and papers. Each expected number names its source.

mod active_level;
mod dynamics;
mod filters;
mod k_weighting;
mod limiter_search;
mod loudness;
mod loudness_properties;
mod true_peak;

use voicechain_core::SampleRate;

/// An allowed sample rate.
fn rate(hz: f64) -> SampleRate {
    SampleRate::new(hz).expect("a rate from 8 to 192 kHz")
}

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

/// Fails unless `value` is within `tolerance` of `expected`.
#[track_caller]
fn near(value: f64, expected: f64, tolerance: f64) {
    assert!((value - expected).abs() <= tolerance, "{value} is not {expected} +- {tolerance}");
}

//! detectors

pub mod oversampled_peak;
pub mod peak_hold;

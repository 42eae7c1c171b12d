//! Numbers as they are written.

use crate::report::data::round;
use voicechain_core::measure::profile::Measured;

/// Rounded; nothing for what is no number.
pub(super) fn to(decimals: i32, value: f64) -> Option<f64> {
    value.is_finite().then(|| round(value, decimals))
}

/// With two decimals.
pub(super) fn two(value: f64) -> Option<f64> {
    to(2, value)
}

/// What is known, with two decimals.
pub(super) fn known(value: Measured<f64>) -> Option<f64> {
    value.ok().and_then(two)
}

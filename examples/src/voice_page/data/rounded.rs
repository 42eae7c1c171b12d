//! Rounding of numbers for the JSON output.

use crate::report::data::round;
use voicechain_core::measure::profile::Measured;

/// Rounded to `decimals`; `None` if not finite.
pub(super) fn to(decimals: i32, value: f64) -> Option<f64> {
    value.is_finite().then(|| round(value, decimals))
}

/// Rounded to two decimals.
pub(super) fn two(value: f64) -> Option<f64> {
    to(2, value)
}

/// An available quantity, rounded to two decimals.
pub(super) fn known(value: Measured<f64>) -> Option<f64> {
    value.ok().and_then(two)
}

//! Access to the finite numbers of a profile.

use crate::measure::profile::Measured;

/// The measured value if it is available and finite.
pub(super) fn known(value: Measured<f64>) -> Option<f64> {
    value.ok().filter(|v| v.is_finite())
}

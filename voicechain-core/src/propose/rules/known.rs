//! Which numbers of a profile a rule can reckon with.

use crate::measure::profile::Measured;

/// A number that can be reckoned with.
pub(super) fn known(value: Measured<f64>) -> Option<f64> {
    value.ok().filter(|v| v.is_finite())
}

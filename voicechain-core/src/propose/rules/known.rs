//! Access to the finite numbers of a profile.

use crate::measure::profile::{Measured, Unavailable};

/// The measured value if it is finite; a value that is not counts as not measured.
pub(super) fn finite(value: Measured<f64>) -> Measured<f64> {
    value.and_then(|v| if v.is_finite() { Ok(v) } else { Err(Unavailable::NotMeasured) })
}

/// The measured value if it is available and finite.
pub(super) fn known(value: Measured<f64>) -> Option<f64> {
    finite(value).ok()
}

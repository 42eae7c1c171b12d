//! The stages whose order can be set.

use super::values::{Value, choice};
use crate::error::{Allowed, SettingError};

choice! {
    /// A stage whose place in the order can be set.
    Middle {
        /// The corrective EQ.
        CorrectiveEq = "corrective_eq",
        /// The de-esser.
        DeEsser = "de_esser",
        /// The compressor.
        Compressor = "compressor",
        /// The tone EQ.
        ToneEq = "tone_eq",
    }
}

/// The number of stages whose place can be set.
pub const MIDDLE: usize = Middle::ALL.len();

/// Cut before the dynamics, boost after.
pub const DEFAULT_ORDER: [Middle; MIDDLE] = [Middle::CorrectiveEq, Middle::DeEsser, Middle::Compressor, Middle::ToneEq];

/// An order names every middle stage once.
pub(super) fn check_order(order: &[Middle; MIDDLE]) -> Result<(), SettingError> {
    match Middle::ALL.iter().find(|stage| !order.contains(stage)) {
        None => Ok(()),
        Some(missing) => Err(SettingError {
            setting: "order",
            value: missing.number(),
            allowed: Allowed::Rule("every middle stage once (the value is the number of a missing one)"),
        }),
    }
}

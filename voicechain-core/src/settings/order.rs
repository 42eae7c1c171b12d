//! The stages whose order can be set.

use super::values::{Value, choice};
use crate::error::{Allowed, SettingError};

choice! {
    /// A stage whose place in the order can be set.
    ReorderableStage {
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
pub const REORDERABLE_STAGES: usize = ReorderableStage::ALL.len();

/// Cut before the dynamics, boost after.
pub const DEFAULT_ORDER: [ReorderableStage; REORDERABLE_STAGES] =
    [ReorderableStage::CorrectiveEq, ReorderableStage::DeEsser, ReorderableStage::Compressor, ReorderableStage::ToneEq];

/// An order names every reorderable stage once.
pub(super) fn check_order(order: &[ReorderableStage; REORDERABLE_STAGES]) -> Result<(), SettingError> {
    match ReorderableStage::ALL.iter().find(|stage| !order.contains(stage)) {
        None => Ok(()),
        Some(missing) => Err(SettingError {
            setting: "order",
            value: missing.number(),
            allowed: Allowed::Rule("every reorderable stage once (the value is the number of a missing one)"),
        }),
    }
}

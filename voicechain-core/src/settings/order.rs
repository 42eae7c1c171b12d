//! Reorderable stages.

use super::values::{Value, choice};
use crate::blank::blank;
use crate::error::{Allowed, SettingError, SettingName};

choice! {
    /// Stage whose position in the signal order is a setting.
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

blank!(ReorderableStage = Self::CorrectiveEq);

/// Number of reorderable stages.
pub const REORDERABLE_STAGES: usize = ReorderableStage::ALL.len();

/// Default order: cut before dynamics, boost after (common practice, no source).
pub const DEFAULT_ORDER: [ReorderableStage; REORDERABLE_STAGES] =
    [ReorderableStage::CorrectiveEq, ReorderableStage::DeEsser, ReorderableStage::Compressor, ReorderableStage::ToneEq];

/// Checks that an order contains every reorderable stage once.
pub(super) fn check_order(order: &[ReorderableStage; REORDERABLE_STAGES]) -> Result<(), SettingError> {
    match ReorderableStage::ALL.iter().find(|stage| !order.contains(stage)) {
        None => Ok(()),
        Some(missing) => Err(SettingError {
            setting: SettingName::new("order"),
            value: missing.number(),
            allowed: Allowed::Rule("every reorderable stage once (the value is the number of a missing one)"),
        }),
    }
}

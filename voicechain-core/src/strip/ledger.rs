//! The level ledger of a strip.

use crate::settings::StageId;

/// Loudness change of each stage in LU.
///
/// Measured over the blocks that pass the gates of ITU-R BS.1770 at the strip's input.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ledger {
    /// One entry per stage, in signal order. Their sum is `total_lu`.
    pub entries: [LedgerEntry; StageId::COUNT],
    /// Loudness at the input, LUFS.
    pub input_lufs: f64,
    /// Loudness at the output minus loudness at the input, LU.
    pub total_lu: f64,
}

/// One entry of a [`Ledger`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LedgerEntry {
    /// The stage.
    pub stage: StageId,
    /// Loudness after the stage minus loudness before it, LU.
    pub lu: f64,
}

impl Ledger {
    /// Builds the ledger from the loudness at the input and after each stage, LUFS.
    pub(super) fn new(order: [StageId; StageId::COUNT], lufs: [f64; StageId::COUNT + 1]) -> Self {
        Self {
            entries: core::array::from_fn(|k| LedgerEntry { stage: order[k], lu: lufs[k + 1] - lufs[k] }),
            input_lufs: lufs[0],
            total_lu: lufs[StageId::COUNT] - lufs[0],
        }
    }
}

//! Signal order of all stages.

use super::order::{REORDERABLE_STAGES, ReorderableStage};
use super::table::{StageId, StripSettings};
use crate::blank::blank;

blank!(StageId = Self::Trim);

impl ReorderableStage {
    /// Id of the stage.
    #[must_use]
    pub const fn stage(self) -> StageId {
        match self {
            Self::CorrectiveEq => StageId::CorrectiveEq,
            Self::DeEsser => StageId::DeEsser,
            Self::Compressor => StageId::Compressor,
            Self::ToneEq => StageId::ToneEq,
        }
    }
}

impl StageId {
    /// Number of stages.
    pub const COUNT: usize = Self::ALL.len();

    /// Index in [`ALL`](Self::ALL), for arrays with one entry per stage.
    #[must_use]
    pub const fn index(self) -> usize {
        self as usize
    }

    /// The reorderable stage; `None` for a stage with a fixed position.
    #[must_use]
    pub const fn reorderable(self) -> Option<ReorderableStage> {
        match self {
            Self::CorrectiveEq => Some(ReorderableStage::CorrectiveEq),
            Self::DeEsser => Some(ReorderableStage::DeEsser),
            Self::Compressor => Some(ReorderableStage::Compressor),
            Self::ToneEq => Some(ReorderableStage::ToneEq),
            Self::Trim
            | Self::Hum
            | Self::HighPass
            | Self::DeReverb
            | Self::Expander
            | Self::Leveller
            | Self::Limiter
            | Self::Output => None,
        }
    }
}

/// All stages in signal order: stages with a fixed position as in the table, reorderable stages as in `order`. Strip,
/// ledger, meters, report and editor take their order from here.
#[must_use]
pub const fn signal_order(order: [ReorderableStage; REORDERABLE_STAGES]) -> [StageId; StageId::COUNT] {
    let mut stages = [StageId::Trim; StageId::COUNT];
    let (mut place, mut taken) = (0, 0);
    while place < StageId::COUNT {
        stages[place] = match StageId::ALL[place].reorderable() {
            None => StageId::ALL[place],
            Some(_) => {
                taken += 1;
                order[taken - 1].stage()
            }
        };
        place += 1;
    }
    stages
}

impl StripSettings {
    /// All stages in signal order; see [`signal_order`].
    #[must_use]
    pub const fn signal_order(&self) -> [StageId; StageId::COUNT] {
        signal_order(self.order)
    }
}

//! Which stages share settings.

use super::table::{SectionId, StageId};

impl StageId {
    /// The section whose settings the stage shares with others of its kind; `None` for a stage with settings of its own only.
    #[must_use]
    pub const fn shared(self) -> Option<SectionId> {
        match self {
            Self::DeReverb => Some(SectionId::Spectral),
            Self::Trim
            | Self::Hum
            | Self::HighPass
            | Self::Expander
            | Self::Leveller
            | Self::CorrectiveEq
            | Self::DeEsser
            | Self::Compressor
            | Self::ToneEq
            | Self::Limiter
            | Self::Output => None,
        }
    }

    /// The sections of the table that the stage is designed from: its own, then what it shares.
    pub fn sections(self) -> impl Iterator<Item = SectionId> {
        core::iter::once(SectionId::Stage(self)).chain(self.shared())
    }
}

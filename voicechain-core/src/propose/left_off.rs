//! Stages and filters that a proposal leaves off, each with its cause.

use super::cause::Cause;
use crate::format::InSentence;
use crate::settings::StageId;
use core::fmt;

/// A stage, or a filter of it, that a rule could have switched on, and why it did not.
///
/// Displays as one sentence:
///
/// ```text
/// The signal-to-noise ratio is 41.0 dB; noise is audible between words below 25.0 dB: expander off (common practice,
/// no source).
/// ```
///
/// Tested by `stages_that_stay_off_say_why`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LeftOff {
    /// The stage.
    pub stage: StageId,
    /// Name of the filter of the stage, for the tone EQ; otherwise empty.
    pub filter: &'static str,
    /// The one cause of the decision.
    pub cause: Cause,
}

impl LeftOff {
    /// `off`; `flat` for an EQ, which is on without gains.
    #[must_use]
    pub const fn state(&self) -> &'static str {
        match self.stage {
            StageId::CorrectiveEq | StageId::ToneEq => "flat",
            _ => "off",
        }
    }
}

impl fmt::Display for LeftOff {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {} ", self.cause, InSentence(self.stage.name()))?;
        if !self.filter.is_empty() {
            write!(f, "{} ", self.filter)?;
        }
        f.write_str(self.state())?;
        match self.cause.source {
            "" => f.write_str("."),
            source => write!(f, " ({source})."),
        }
    }
}

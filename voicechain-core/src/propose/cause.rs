//! Cause of a decision.

use super::context::ContextReason;
use crate::format::{self, SentenceStart};
use crate::measure::profile::{Measured, Unavailable};
use core::fmt;

/// Source of a reference value without a publication.
pub(super) const COMMON_PRACTICE: &str = "common practice, no source";

/// The one cause of a decision: a measured quantity with its reference, a part of the context, or both together.
///
/// Displays as the first half of a sentence:
///
/// ```text
/// The prominence of the resonance at 640 Hz is 9.0 dB; the typical value is 4.0 dB
/// The 10th percentile of the pitch is 100 Hz, and the voice is over music; the high-pass cutoff is set to 80 Hz
/// The voice is sung
/// ```
///
/// Tested by `a_decision_goes_with_its_cause` and `a_decision_changes_only_with_what_its_sentence_names`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cause {
    /// Part of the context that decided, alone or with the measurement.
    pub context: Option<ContextReason>,
    /// Measured quantity as the subject of the sentence, for example `the prominence of the resonance`; empty where the
    /// context alone decided.
    pub quantity: &'static str,
    /// Frequency of the finding, Hz, if it has one.
    pub frequency_hz: Option<f64>,
    /// Measured value, finite; `Ok(None)` if nothing was found. The sentence then says "is not found", and "is not
    /// known" with the reason if the measurement is unavailable.
    pub measured: Measured<Option<f64>>,
    /// Clause that introduces the reference: `the typical value is`; empty without one.
    pub reference_words: &'static str,
    /// Value that the measurement is compared with. Where a rule computes the setting from the measurement, it is the
    /// computed value, and `reference_words` end with "is set to". Where a limit of the rule decides, it is the limit,
    /// and the words say "at least" or "at most".
    pub reference: Option<f64>,
    /// Unit of the measured value and of the reference, as written behind a number; empty for a pure number.
    pub unit: &'static str,
    /// Confidence in the finding, 0 to 1: for a resonance that of the measurement, otherwise a fixed value of the rule.
    pub confidence: f64,
    /// Source of the reference; empty where a quantity that a rule needs is unavailable.
    pub source: &'static str,
}

impl Cause {
    /// A measured value and the typical one, with common practice as the source.
    pub(super) fn new(quantity: &'static str, measured: f64, reference: f64, unit: &'static str) -> Self {
        let measured = if measured.is_finite() { Ok(Some(measured)) } else { Err(Unavailable::NotMeasured) };
        Self {
            context: None,
            quantity,
            frequency_hz: None,
            measured,
            reference_words: "the typical value is",
            reference: Some(reference),
            unit,
            confidence: 0.8,
            source: COMMON_PRACTICE,
        }
    }

    /// A quantity that is unavailable, without a reference.
    pub(super) fn unknown(quantity: &'static str, why: Unavailable) -> Self {
        Self {
            measured: Err(why),
            reference_words: "",
            reference: None,
            confidence: 1.0,
            source: "",
            ..Self::new(quantity, 0.0, 0.0, "")
        }
    }

    /// A part of the context, without a measurement.
    pub(super) fn of_context(context: ContextReason) -> Self {
        Self {
            context: Some(context),
            quantity: "",
            measured: Ok(None),
            reference_words: "",
            reference: None,
            confidence: 1.0,
            ..Self::new("", 0.0, 0.0, "")
        }
    }

    /// Measured value minus reference, where there are both. Meaningful only where the reference is a value to compare
    /// with.
    #[must_use]
    pub fn difference(&self) -> Option<f64> {
        Some(self.measured.ok()?? - self.reference?)
    }
}

impl fmt::Display for Cause {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.quantity.is_empty() {
            if let Some(context) = self.context {
                write!(f, "{}", SentenceStart(context.words()))?;
            }
        } else {
            write!(f, "{}", SentenceStart(self.quantity))?;
            if let Some(hz) = self.frequency_hz {
                write!(f, " at {}", format::quantity(hz, "Hz"))?;
            }
            match self.measured {
                Ok(Some(value)) => write!(f, " is {}", format::quantity(value, self.unit))?,
                Ok(None) => f.write_str(" is not found")?,
                Err(why) => write!(f, " is not known ({why})")?,
            }
            if let Some(context) = self.context {
                write!(f, ", and {}", context.words())?;
            }
        }
        if !self.reference_words.is_empty() {
            write!(f, "; {}", self.reference_words)?;
        }
        match self.reference {
            Some(reference) => write!(f, " {}", format::quantity(reference, self.unit)),
            None => Ok(()),
        }
    }
}

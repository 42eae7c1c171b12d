//! Evidence: why a setting is proposed, as one sentence.

use crate::format::{InSentence, SentenceStart, quantity};
use crate::settings::{SectionId, SettingInfo, row};
use core::fmt;

/// Evidence for one proposed setting: the measured value, the reference value and the source of the reference.
///
/// Displays as one sentence:
///
/// ```text
/// The prominence of the resonance at 640 Hz is 9.0 dB; the typical value is 4.0 dB: corrective EQ bell 2 gain −3.5 dB
/// (measured on 24 recorded voices).
/// ```
///
/// Tested by `evidence_is_one_plain_sentence`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Evidence {
    /// Id of the setting in the table of settings.
    pub setting: &'static str,
    /// Proposed value; a switch or a choice as its number.
    pub proposed: f64,
    /// Measured quantity as the subject of the sentence, for example `the prominence of the resonance`.
    pub quantity: &'static str,
    /// Frequency of the finding, Hz, if it has one.
    pub frequency_hz: Option<f64>,
    /// Measured value; NaN if unknown. The sentence then says "is not known".
    pub measured: f64,
    /// Clause that introduces the reference: `the typical value is`.
    pub reference_words: &'static str,
    /// Value that the measurement is compared with. Where a rule computes the setting from the measurement, it is the
    /// computed value, and `reference_words` end with "is set to".
    pub reference: f64,
    /// Measured minus reference; NaN when nothing was measured. Meaningful only where `reference` is a value to compare
    /// with.
    pub difference: f64,
    /// Unit of measured, reference and difference, as written behind a number; empty for a pure number.
    pub unit: &'static str,
    /// Confidence in the finding, 0 to 1: for a resonance that of the measurement, otherwise a fixed value of the rule.
    pub confidence: f64,
    /// Source of the reference.
    pub source: &'static str,
}

impl fmt::Display for Evidence {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.write_cause(f)?;
        f.write_str(": ")?;
        match row(self.setting) {
            None => f.write_str(self.setting)?,
            Some(info) => {
                write!(f, "{} ", InSentence(section_name(info.section)))?;
                write_value(f, info, self.proposed)?;
            }
        }
        write!(f, " ({}).", self.source)
    }
}

impl Evidence {
    /// Id of the setting's section: a stage, or the settings that stages share.
    #[must_use]
    pub fn section(&self) -> &'static str {
        row(self.setting).map_or("", |info| info.section)
    }

    /// True when both have the same quantity, frequency, measured value and reference.
    pub(super) fn has_the_cause_of(&self, other: &Self) -> bool {
        let bits = |e: &Self| (e.frequency_hz.map(f64::to_bits), e.measured.to_bits(), e.reference.to_bits());
        let words = |e: &Self| (e.quantity, e.reference_words, e.unit);
        words(self) == words(other) && bits(self) == bits(other)
    }

    /// Writes quantity, measured value and reference as the start of the sentence.
    pub(super) fn write_cause(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", SentenceStart(self.quantity))?;
        if let Some(place) = self.frequency_hz {
            write!(f, " at {}", quantity(place, "Hz"))?;
        }
        if self.measured.is_finite() {
            write!(f, " is {}", quantity(self.measured, self.unit))?;
        } else {
            f.write_str(" is not known")?;
        }
        write!(f, "; {} {}", self.reference_words, quantity(self.reference, self.unit))
    }

    /// Writes the setting with its proposed value as part of a sentence about `section`.
    pub(super) fn write_setting(&self, f: &mut fmt::Formatter<'_>, section: &str) -> fmt::Result {
        let Some(info) = row(self.setting) else { return f.write_str(self.setting) };
        if info.section != section {
            write!(f, "{} ", InSentence(section_name(info.section)))?;
        }
        write_value(f, info, self.proposed)
    }
}

/// The name of the section with this id.
pub(super) fn section_name(id: &str) -> &str {
    SectionId::ALL.iter().find(|section| section.id() == id).map_or(id, |section| section.name())
}

/// A setting's name with a value of it: `ratio 3:1`; a stage's switch is just `on` or `off`.
fn write_value(f: &mut fmt::Formatter<'_>, info: &SettingInfo, value: f64) -> fmt::Result {
    if info.name != "on" {
        write!(f, "{} ", info.name)?;
    }
    write!(f, "{}", info.readable(value))
}

//! Why a setting is proposed: one plain sentence.

use crate::format::{InSentence, SentenceStart, quantity};
use crate::settings::{SectionId, SettingInfo, row};
use core::fmt;

/// Why one setting is proposed: what was measured, against what, and where that reference comes from.
///
/// It displays as one sentence. Tested by `evidence_is_one_plain_sentence`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Evidence {
    /// Id of the setting, as in the table of settings.
    pub setting: &'static str,
    /// The proposed value; a switch or a choice is given as its number.
    pub proposed: f64,
    /// What was measured, as the beginning of a sentence: `the prominence`.
    pub quantity: &'static str,
    /// Where, Hz, if it has a place.
    pub frequency_hz: Option<f64>,
    /// Its value; not a number where the rule needs no measurement or it is unknown.
    pub measured: f64,
    /// What the reference is, as it stands before its number: `usual is`.
    pub reference_words: &'static str,
    /// What it is compared with.
    pub reference: f64,
    /// Measured minus reference; not a number where nothing was measured.
    pub difference: f64,
    /// Unit of the three, as written behind a number.
    pub unit: &'static str,
    /// How sure it is, 0 to 1.
    pub confidence: f64,
    /// Where the reference comes from.
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
    /// The section of the setting, as its id: a stage, or what stages share.
    #[must_use]
    pub fn section(&self) -> &'static str {
        row(self.setting).map_or("", |info| info.section)
    }

    /// True when both say the same of what was measured and what it is compared with.
    pub(super) fn has_the_cause_of(&self, other: &Self) -> bool {
        let bits = |e: &Self| (e.frequency_hz.map(f64::to_bits), e.measured.to_bits(), e.reference.to_bits());
        let words = |e: &Self| (e.quantity, e.reference_words, e.unit);
        words(self) == words(other) && bits(self) == bits(other)
    }

    /// What was measured and what it is compared with, as the beginning of a sentence.
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
        write!(f, ", {} {}", self.reference_words, quantity(self.reference, self.unit))
    }

    /// The setting with its proposed value, as part of a sentence about `section`.
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

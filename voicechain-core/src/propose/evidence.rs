//! Evidence: why a setting is proposed, as one sentence.

use super::cause::Cause;
use crate::format::InSentence;
use crate::settings::{SectionId, SettingInfo, row};
use core::fmt;

/// Evidence for one proposed setting: its cause and the proposed value.
///
/// Displays as one sentence:
///
/// ```text
/// The prominence of the resonance at 640 Hz is 9.0 dB; the typical value is 4.0 dB: corrective EQ bell 2 gain −3.5 dB
/// (measured on 22 clean voices).
/// ```
///
/// Tested by `evidence_is_one_plain_sentence`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Evidence {
    /// Id of the setting in the table of settings.
    pub setting: &'static str,
    /// Proposed value; a switch or a choice as its number.
    pub proposed: f64,
    /// The one cause of the decision.
    pub cause: Cause,
}

impl fmt::Display for Evidence {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: ", self.cause)?;
        match row(self.setting) {
            None => f.write_str(self.setting)?,
            Some(info) => {
                write!(f, "{} ", InSentence(section_name(info.section)))?;
                write_value(f, info, self.proposed)?;
            }
        }
        write!(f, " ({}).", self.cause.source)
    }
}

impl Evidence {
    /// Id of the setting's section: a stage, or the settings that stages share.
    #[must_use]
    pub fn section(&self) -> &'static str {
        row(self.setting).map_or("", |info| info.section)
    }

    /// True when the causes of both read alike.
    pub(super) fn has_the_cause_of(&self, other: &Self) -> bool {
        let reading = |e: &Self| Cause { confidence: 0.0, source: "", ..e.cause };
        reading(self) == reading(other)
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
    SectionId::from_id(id).map_or(id, |section| section.name())
}

/// A setting's name with a value of it: `ratio 3:1`; a stage's switch is just `on` or `off`.
fn write_value(f: &mut fmt::Formatter<'_>, info: &SettingInfo, value: f64) -> fmt::Result {
    if info.name != "on" {
        write!(f, "{} ", info.name)?;
    }
    write!(f, "{}", info.readable(value))
}

//! Error of a rejected setting: its id, its value and the accepted values.

use core::fmt;

/// A setting outside its range. The call that returns it has changed nothing.
///
/// Displays as one line: `high_pass.frequency_hz is 5; allowed: 20 to 400 Hz`. An unknown id displays as
/// `hihg_pass.on is no setting; allowed: an id from the table of settings`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SettingError {
    /// Id of the setting in the table of settings, such as `high_pass.frequency_hz`, or the unknown id.
    pub setting: SettingName,
    /// Rejected value. Switches and choices appear as their number.
    pub value: f64,
    /// Accepted values.
    pub allowed: Allowed,
}

/// Accepted values of a setting.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Allowed {
    /// Any finite number from `min` to `max`, inclusive.
    Range {
        /// Smallest accepted value.
        min: f64,
        /// Largest accepted value.
        max: f64,
        /// Unit symbol of both; empty for a dimensionless number.
        unit: &'static str,
    },
    /// Any number from `min` to `max`, inclusive, or infinity.
    RangeOrInfinite {
        /// Smallest accepted value.
        min: f64,
        /// Largest accepted finite value.
        max: f64,
    },
    /// One of these names.
    Choices(&'static [&'static str]),
    /// A rule in words, for anything that is not a range.
    Rule(&'static str),
    /// The id itself is unknown: an id from the table of settings.
    KnownId,
}

/// Longest name that an error stores, bytes. The longest id has 33.
const LONGEST_NAME: usize = 48;
/// Mark of a shortened name.
const ELLIPSIS: &str = "\u{2026}";

/// Name of the setting that an error is about: an id of the table, or the unknown id that the caller passed. A longer
/// name is cut to 48 bytes and ends in `…`. Compares with text.
#[derive(Clone, Copy, PartialEq, Eq)]
pub struct SettingName {
    bytes: [u8; LONGEST_NAME],
    length: u8,
}

impl SettingName {
    /// Copies a name.
    #[must_use]
    pub fn new(name: &str) -> Self {
        let mut copy = Self { bytes: [0; LONGEST_NAME], length: 0 };
        if name.len() <= LONGEST_NAME {
            copy.append(name);
        } else {
            let fits = (0..=LONGEST_NAME - ELLIPSIS.len()).rev().find(|&at| name.is_char_boundary(at));
            copy.append(&name[..fits.unwrap_or(0)]);
            copy.append(ELLIPSIS);
        }
        copy
    }

    /// Appends a text that fits.
    fn append(&mut self, text: &str) {
        let start = usize::from(self.length);
        let bytes = text.as_bytes();
        self.bytes[start..start + bytes.len()].copy_from_slice(bytes);
        self.length += bytes.len() as u8;
    }

    /// The name.
    #[must_use]
    pub fn as_str(&self) -> &str {
        core::str::from_utf8(&self.bytes[..usize::from(self.length)]).unwrap_or("")
    }
}

impl PartialEq<&str> for SettingName {
    fn eq(&self, other: &&str) -> bool {
        self.as_str() == *other
    }
}

impl fmt::Display for SettingName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.as_str())
    }
}

impl fmt::Debug for SettingName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Debug::fmt(self.as_str(), f)
    }
}

impl fmt::Display for SettingError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.allowed == Allowed::KnownId {
            write!(f, "{} is no setting; allowed: ", self.setting)?;
        } else {
            write!(f, "{} is {}; allowed: ", self.setting, self.value)?;
        }
        match self.allowed {
            Allowed::Range { min, max, unit: "" } => write!(f, "{min} to {max}"),
            Allowed::Range { min, max, unit } => write!(f, "{min} to {max} {unit}"),
            Allowed::RangeOrInfinite { min, max } => write!(f, "{min} to {max}, or infinite"),
            Allowed::Rule(rule) => f.write_str(rule),
            Allowed::KnownId => f.write_str("an id from the table of settings"),
            Allowed::Choices(names) => {
                for (i, name) in names.iter().enumerate() {
                    let comma = if i == 0 { "" } else { ", " };
                    write!(f, "{comma}{name}")?;
                }
                Ok(())
            }
        }
    }
}

impl core::error::Error for SettingError {}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;
    use crate::StripSettings;
    use crate::settings::rows;
    use std::string::{String, ToString};

    #[test]
    fn the_error_for_an_unknown_id_names_it() {
        let mut settings = StripSettings::default();
        let error = settings.set("hihg_pass.on", 1.0).unwrap_err();
        assert_eq!(error.setting, "hihg_pass.on");
        assert_eq!(error.to_string(), "hihg_pass.on is no setting; allowed: an id from the table of settings");
        assert_eq!(settings, StripSettings::default());
        // A known id with a value out of range names both.
        let error = settings.set("high_pass.frequency_hz", 5.0).unwrap_err();
        assert_eq!(error.to_string(), "high_pass.frequency_hz is 5; allowed: 20 to 400 Hz");
    }

    #[test]
    fn every_id_fits_and_any_text_is_cut_at_a_character() {
        for info in rows() {
            assert_eq!(SettingName::new(info.id), info.id);
        }
        for letter in ["a", "é", "…", "😀"] {
            for count in 0..60 {
                let text: String = std::iter::repeat_n(letter, count).collect();
                let name = SettingName::new(&text);
                match name.as_str().strip_suffix(ELLIPSIS) {
                    Some(start) if text.len() > LONGEST_NAME => {
                        assert!(text.starts_with(start) && name.as_str().len() + letter.len() > LONGEST_NAME, "{name}");
                    }
                    _ => assert_eq!(name, text.as_str()),
                }
            }
        }
    }
}

//! What a refused setting says: which one, what it was, what is allowed.

use core::fmt;

/// A setting outside its range. Nothing has been changed when it is returned.
///
/// It displays as one line: `high_pass.frequency_hz is 5; allowed is 20 to 400 Hz`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SettingError {
    /// The id of the setting, as in the table of settings (`high_pass.frequency_hz`).
    pub setting: &'static str,
    /// The value that was refused; a switch or a choice is given as its number.
    pub value: f64,
    /// What would have been accepted.
    pub allowed: Allowed,
}

/// The accepted values of a setting.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Allowed {
    /// Any finite number from `min` to `max`, both included.
    Range {
        /// Smallest accepted value.
        min: f64,
        /// Largest accepted value.
        max: f64,
        /// Unit of both, as written behind a number (empty for a pure number).
        unit: &'static str,
    },
    /// Any number from `min` to `max`, both included, or an infinite one.
    RangeOrInfinite {
        /// Smallest accepted value.
        min: f64,
        /// Largest accepted finite value.
        max: f64,
    },
    /// One of these names.
    Choices(&'static [&'static str]),
    /// Something a range cannot say, in words.
    Rule(&'static str),
}

impl fmt::Display for SettingError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} is {}; allowed is ", self.setting, self.value)?;
        match self.allowed {
            Allowed::Range { min, max, unit: "" } => write!(f, "{min} to {max}"),
            Allowed::Range { min, max, unit } => write!(f, "{min} to {max} {unit}"),
            Allowed::RangeOrInfinite { min, max } => write!(f, "{min} to {max}, or infinite"),
            Allowed::Rule(rule) => f.write_str(rule),
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

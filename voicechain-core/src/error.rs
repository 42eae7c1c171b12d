//! Error of a rejected setting: its id, its value and the accepted values.

use core::fmt;

/// A setting outside its range. The call that returns it has changed nothing.
///
/// Displays as one line: `high_pass.frequency_hz is 5; allowed: 20 to 400 Hz`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SettingError {
    /// Id of the setting in the table of settings, such as `high_pass.frequency_hz`.
    pub setting: &'static str,
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
}

impl fmt::Display for SettingError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} is {}; allowed: ", self.setting, self.value)?;
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

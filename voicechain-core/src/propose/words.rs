//! How the sentences of a proposal write a number, a setting and a stage.

use crate::settings::SettingInfo;
use crate::units::Unit;
use core::fmt;

/// A number with a true minus sign, without a negative zero, with as many decimals as `unit` deserves.
pub(super) struct FormattedNumber(pub f64, pub &'static str);

impl fmt::Display for FormattedNumber {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self(value, unit) = *self;
        let size = if value < 0.0 { -value } else { value };
        let decimals = match unit {
            "Hz" | "%" => 0,
            "s" => 2,
            _ => 1,
        };
        let smallest = [0.5, 0.05, 0.005][decimals];
        f.write_str(if value <= -smallest { "\u{2212}" } else { "" })?;
        write!(f, "{size:.decimals$}")?;
        match unit {
            "" => Ok(()),
            ":1" => f.write_str(unit),
            _ => write!(f, " {unit}"),
        }
    }
}

/// A setting's name with a value of it: `ratio 3.0:1`; a stage's switch is just `on` or `off`.
pub(super) fn write_value(f: &mut fmt::Formatter<'_>, info: &SettingInfo, value: f64) -> fmt::Result {
    if info.name != "on" {
        write!(f, "{} ", info.name)?;
    }
    match info.unit {
        Unit::Switch => f.write_str(if value >= 0.5 { "on" } else { "off" }),
        Unit::Choice => f.write_str(info.choices.get(value as usize).copied().unwrap_or("")),
        unit => write!(f, "{}", FormattedNumber(value, unit.symbol())),
    }
}

/// The stage's id as words.
pub(super) fn stage_words(id: &str) -> &str {
    match id {
        "high_pass" => "high-pass",
        "de_reverb" => "de-reverb",
        "corrective_eq" => "corrective EQ",
        "de_esser" => "de-esser",
        "tone_eq" => "tone EQ",
        other => other,
    }
}

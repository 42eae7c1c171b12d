//! One row of the table: the properties of a setting and its range check.

use crate::error::{Allowed, SettingError, SettingName};
use crate::units::Unit;

/// Scale on which a setting moves, and unit of its step.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Scale {
    /// Linear in the unit of the setting; so is the step.
    Linear,
    /// Logarithmic; the step is in octaves.
    Logarithmic,
}

/// One row of the table of settings.
///
/// ```
/// use voicechain_core::settings::row;
///
/// let threshold = row("compressor.threshold_db").expect("an id of the table");
/// assert_eq!(threshold.parse("-18 dB"), Ok(-18.0));
/// assert!(threshold.check(6.0).is_err());
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SettingInfo {
    /// Id in the settings file, section and field: `high_pass.frequency_hz`. Never changes.
    pub id: &'static str,
    /// Id of the section, the part of `id` before the point: a stage, or settings that stages share.
    pub section: &'static str,
    /// Name in trade terms, lower case.
    pub name: &'static str,
    /// Unit of the value.
    pub unit: Unit,
    /// Smallest value; 0 for a switch or a choice.
    pub min: f64,
    /// Largest value; 1 for a switch, the index of the last name for a choice. A ratio may also be infinite.
    pub max: f64,
    /// Default value.
    pub default: f64,
    /// Smallest useful step, in the unit or, on a logarithmic scale, in octaves.
    pub step: f64,
    /// Scale of the setting.
    pub scale: Scale,
    /// Whether a host may automate it; false for settings that change the latency.
    pub automatable: bool,
    /// Explanation in one line.
    pub explanation: &'static str,
    /// Names of a choice, in order; empty for other units.
    pub choices: &'static [&'static str],
}

impl SettingInfo {
    /// Checks a value against the range.
    ///
    /// # Errors
    /// NaN or a value outside the range; the error contains the range. A ratio may be infinite.
    pub fn check(&self, value: f64) -> Result<(), SettingError> {
        let infinite_ratio = self.unit == Unit::Ratio && value == f64::INFINITY;
        if (self.min..=self.max).contains(&value) || infinite_ratio {
            return Ok(());
        }
        Err(SettingError { setting: SettingName::new(self.id), value, allowed: self.allowed() })
    }

    /// Values that [`check`](Self::check) accepts.
    #[must_use]
    pub fn allowed(&self) -> Allowed {
        match self.unit {
            Unit::Choice => Allowed::Choices(self.choices),
            Unit::Ratio => Allowed::RangeOrInfinite { min: self.min, max: self.max },
            unit => Allowed::Range { min: self.min, max: self.max, unit: unit.symbol() },
        }
    }

    /// Accepted value nearest to `value`; the default for NaN.
    #[must_use]
    pub fn nearest(&self, value: f64) -> f64 {
        if value.is_nan() {
            self.default
        } else if self.unit == Unit::Ratio && value == f64::INFINITY {
            value
        } else {
            value.clamp(self.min, self.max)
        }
    }

    /// Whether the row is the switch of its stage.
    #[must_use]
    pub fn is_switch_of_stage(&self) -> bool {
        self.unit == Unit::Switch && self.id.ends_with(".on")
    }

    /// Value nearest to `value` on the grid of steps and inside the range. On a logarithmic scale the grid starts at the
    /// default. An infinite ratio stays infinite. Tested by `values_are_rounded_to_steps`.
    #[must_use]
    pub fn on_step(&self, value: f64) -> f64 {
        let value = self.nearest(value);
        if value == f64::INFINITY {
            return value;
        }
        let per_step = libm::round(1e6 / self.step) / 1e6;
        let stepped = match self.scale {
            Scale::Linear => libm::round(value * per_step) / per_step,
            Scale::Logarithmic => {
                let steps = libm::round(libm::log2(value / self.default) * per_step);
                self.default * libm::exp2(steps / per_step)
            }
        };
        self.nearest(stepped)
    }
}

#[cfg(test)]
mod tests {
    use crate::settings::StageId;

    /// `is_on` depends on this row alone.
    #[test]
    fn every_stage_but_the_trims_has_one_switch() {
        for &stage in StageId::ALL {
            let switches = stage.rows().iter().filter(|info| info.is_switch_of_stage()).count();
            let trim = matches!(stage, StageId::Trim | StageId::Output);
            assert_eq!(switches, usize::from(!trim), "{stage:?}");
        }
    }
}

//! One row of the table: what is known of a setting, and which values it takes.

use crate::error::{Allowed, SettingError};
use crate::units::Unit;

/// How a setting moves between its ends, and what its step means.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Scale {
    /// Evenly in its unit; the step is in that unit.
    Linear,
    /// Evenly in octaves (a doubling is the same distance everywhere); the step is a part of an octave.
    Logarithmic,
}

/// One row of the table of settings.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SettingInfo {
    /// Section and field, as in the settings file: `high_pass.frequency_hz`. Never changes.
    pub id: &'static str,
    /// The section's id, the part of `id` before the point: a stage, or what stages share.
    pub section: &'static str,
    /// The setting's name in trade terms, lower case.
    pub name: &'static str,
    /// What its number means.
    pub unit: Unit,
    /// Smallest value. A switch has 0, a choice 0.
    pub min: f64,
    /// Largest value. A switch has 1, a choice the number of its last name. A ratio may also be infinite.
    pub max: f64,
    /// Value of a new strip.
    pub default: f64,
    /// Smallest useful move: in the unit, or in octaves on a logarithmic scale.
    pub step: f64,
    /// How the setting moves between its ends.
    pub scale: Scale,
    /// False for the settings that change the latency.
    pub automatable: bool,
    /// What it does, in one line.
    pub explanation: &'static str,
    /// The names of a choice in order; empty for anything else.
    pub choices: &'static [&'static str],
}

impl SettingInfo {
    /// Checks a value against this row.
    ///
    /// # Errors
    /// A value that is not a number or outside the range is refused with the range. A ratio may be infinite.
    pub fn check(&self, value: f64) -> Result<(), SettingError> {
        let infinite_ratio = self.unit == Unit::Ratio && value == f64::INFINITY;
        if (self.min..=self.max).contains(&value) || infinite_ratio {
            return Ok(());
        }
        Err(SettingError { setting: self.id, value, allowed: self.allowed() })
    }

    /// What [`check`](Self::check) accepts.
    #[must_use]
    pub fn allowed(&self) -> Allowed {
        match self.unit {
            Unit::Choice => Allowed::Choices(self.choices),
            Unit::Ratio => Allowed::RangeOrInfinite { min: self.min, max: self.max },
            unit => Allowed::Range { min: self.min, max: self.max, unit: unit.symbol() },
        }
    }

    /// The value nearest to `value` that [`check`](Self::check) accepts; something that is not a number gives the default.
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

    /// True for the row that switches its whole stage.
    #[must_use]
    pub fn is_switch_of_stage(&self) -> bool {
        self.unit == Unit::Switch && self.id.ends_with(".on")
    }

    /// The value nearest to `value` that lies on this row's steps (on a logarithmic scale counted from the default) and inside its
    /// range.
    /// An infinite ratio stays. Tested by `values_are_rounded_to_steps`.
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

    /// Whether a stage is on hangs on this row alone.
    #[test]
    fn every_stage_but_the_trims_has_one_switch() {
        for &stage in StageId::ALL {
            let switches = stage.rows().iter().filter(|info| info.is_switch_of_stage()).count();
            let trim = matches!(stage, StageId::Trim | StageId::Output);
            assert_eq!(switches, usize::from(!trim), "{stage:?}");
        }
    }
}

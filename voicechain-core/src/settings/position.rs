//! Normalised position, steps and rounding of a setting.
//!
//! Sliders, automation lanes and typed text use this one mapping, so that the same value is the same number to the last
//! bit. Values from a position are rounded ([`SettingInfo::rounded`]), so that a position of 24 bits, as hosts store it,
//! suffices.

use super::row::{Scale, SettingInfo};
use super::table::{SectionId, StripSettings};
use crate::units::Unit;

/// Rounding grid of a linear scale: two decimals, as steps per unit.
const LINEAR_STEPS_PER_UNIT: f64 = 100.0;
/// A value on a logarithmic scale keeps five significant digits. Smallest whole number with five digits.
const FIVE_DIGITS: f64 = 10_000.0;
/// Position of the largest finite ratio; an infinite ratio is at 1.
const LAST_FINITE_RATIO: f64 = 0.96;
/// Nearest number with five significant digits, equal to the parsed text of that number.
pub(super) fn five_digits(value: f64) -> f64 {
    if !value.is_finite() || value == 0.0 {
        return value;
    }
    let mut scale = 1.0;
    while value.abs() * scale < FIVE_DIGITS && scale < 1e9 {
        scale *= 10.0;
    }
    // A whole number divided by a power of ten that is exact: correctly rounded, as if read from text.
    libm::round(value * scale) / scale
}

impl SettingInfo {
    /// Nearest accepted value with a short text: an integer for a switch, a choice or a count, two decimals on a linear scale, five
    /// significant digits on a logarithmic one. The default for NaN.
    ///
    /// Tested by `every_value_survives_a_host_position` and `every_value_survives_its_text`.
    #[must_use]
    pub fn rounded(&self, value: f64) -> f64 {
        let value = self.nearest(value);
        let rounded = match (self.unit, self.scale) {
            // A number on a linear scale is a count.
            (Unit::Switch | Unit::Choice, _) | (Unit::Number, Scale::Linear) => libm::round(value),
            (_, Scale::Linear) => libm::round(value * LINEAR_STEPS_PER_UNIT) / LINEAR_STEPS_PER_UNIT,
            (_, Scale::Logarithmic) => five_digits(value),
        };
        // Zero has one sign.
        self.nearest(rounded) + 0.0
    }

    /// Value at a normalised position, 0 to 1, on the scale of the setting, [`rounded`](Self::rounded). Position 1 of a ratio
    /// is infinite.
    #[must_use]
    pub fn value_at(&self, position: f64) -> f64 {
        if position.is_nan() {
            return self.default;
        }
        let mut position = position.clamp(0.0, 1.0);
        if self.unit == Unit::Ratio {
            if position > 0.5 * (LAST_FINITE_RATIO + 1.0) {
                return f64::INFINITY;
            }
            position = (position / LAST_FINITE_RATIO).min(1.0);
        }
        self.rounded(match self.scale {
            Scale::Linear => self.min + position * (self.max - self.min),
            Scale::Logarithmic => self.min * libm::exp2(position * libm::log2(self.max / self.min)),
        })
    }

    /// Normalised position of a value, 0 to 1; the inverse of [`value_at`](Self::value_at).
    #[must_use]
    pub fn position_of(&self, value: f64) -> f64 {
        let value = self.nearest(value);
        if value == f64::INFINITY {
            return 1.0;
        }
        let position = match self.scale {
            Scale::Linear => (value - self.min) / (self.max - self.min),
            Scale::Logarithmic => libm::log2(value / self.min) / libm::log2(self.max / self.min),
        };
        if self.unit == Unit::Ratio { position * LAST_FINITE_RATIO } else { position }
    }

    /// Value a number of steps up or down, [`rounded`](Self::rounded).
    #[must_use]
    pub fn stepped(&self, value: f64, steps: f64) -> f64 {
        if value == f64::INFINITY {
            return if steps < 0.0 { self.max } else { value };
        }
        self.rounded(match self.scale {
            Scale::Linear => value + steps * self.step,
            Scale::Logarithmic => value * libm::exp2(steps * self.step),
        })
    }
}

impl StripSettings {
    /// Copy with every setting [`rounded`](SettingInfo::rounded), as it comes back from a host's parameters.
    #[must_use]
    pub fn rounded(&self) -> Self {
        let mut rounded = *self;
        for &section in SectionId::ALL {
            for (row, info) in section.rows().iter().enumerate() {
                let value = self.value(section, row).unwrap_or(info.default);
                rounded.set_value(section, row, info.rounded(value));
            }
        }
        rounded
    }
}

#[cfg(test)]
pub(super) mod tests {
    extern crate std;
    use super::*;
    use crate::settings::{row, rows};
    use std::format;
    use std::vec::Vec;

    /// Rounded values over the whole range of a row.
    pub(in crate::settings) fn values(info: &SettingInfo) -> Vec<f64> {
        let mut values: Vec<f64> = (0..=3_000).map(|k| info.value_at(f64::from(k) / 3_000.0)).collect();
        values.extend([info.min, info.max, info.default]);
        values
    }

    #[test]
    fn every_value_survives_a_host_position() {
        for info in rows() {
            for value in values(info) {
                assert_eq!(info.check(value), Ok(()), "{}", info.id);
                assert_eq!(info.rounded(value), value, "{}", info.id);
                let position = info.position_of(value) as f32;
                assert!((0.0..=1.0).contains(&position), "{} {value} {position}", info.id);
                assert_eq!(info.value_at(f64::from(position)), value, "{}", info.id);
            }
            // The defaults of the table are values with a short text.
            assert_eq!(info.rounded(info.default), info.default, "{}", info.id);
        }
    }

    #[test]
    fn a_count_is_a_whole_number_at_every_position() {
        let harmonics = row("hum.harmonics").unwrap();
        let counts: Vec<f64> = (0..=190).map(|k| harmonics.value_at(f64::from(k) / 190.0)).collect();
        assert!(counts.iter().all(|count| libm::trunc(*count) == *count));
        // Every number of harmonics can be chosen, from 1 to 20.
        for count in 1..=20 {
            assert!(counts.contains(&f64::from(count)), "{count}");
        }
        assert_eq!(harmonics.parse("1.5"), Ok(2.0));
        assert_eq!(harmonics.stepped(4.0, 1.0), 5.0);
        // Negative control: a quality factor is no count.
        assert_eq!(row("tone_eq.bell_q").unwrap().parse("1.5"), Ok(1.5));
    }

    #[test]
    fn scales_are_even_in_their_own_measure() {
        let frequency = row("corrective_eq.bell_1_frequency_hz").unwrap();
        // Half way between 20 Hz and 20 kHz is their geometric mean.
        assert_eq!(frequency.value_at(0.5), 632.46);
        assert_eq!(frequency.stepped(1_000.0, 48.0), 2_000.0);
        let gain = row("trim.gain_db").unwrap();
        assert_eq!(gain.value_at(0.5), 0.0);
        assert_eq!(gain.stepped(0.0, -3.0), -0.3);
        assert_eq!(gain.stepped(24.0, 1.0), 24.0);
        let ratio = row("compressor.ratio").unwrap();
        assert_eq!(ratio.value_at(1.0), f64::INFINITY);
        assert_eq!(ratio.stepped(f64::INFINITY, -1.0), 20.0);
        assert_eq!(gain.value_at(f64::NAN), 0.0);
        assert_eq!(format!("{}", gain.text(f64::NAN)), "0 dB");
    }
}

//! The value of a setting as a person reads it, rounded like every other number.

use super::row::SettingInfo;
use crate::format::quantity;
use crate::units::Unit;
use core::fmt;

impl SettingInfo {
    /// The value rounded for reading, with its unit: `2.5 kHz`, `−18.0 dB`, `3:1`, `on`, `split-band`. A gain that can be
    /// negative or positive shows its sign. [`text`](Self::text) is the same with every digit.
    ///
    /// Tested by `a_readable_value_has_one_rounding`.
    #[must_use]
    pub const fn readable(&self, value: f64) -> ReadableValue<'_> {
        ReadableValue { info: self, value }
    }
}

/// A value rounded for reading, as [`SettingInfo::readable`] returns it.
#[derive(Clone, Copy, Debug)]
pub struct ReadableValue<'a> {
    info: &'a SettingInfo,
    value: f64,
}

impl fmt::Display for ReadableValue<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { info, value } = *self;
        let gain = info.min < 0.0 && info.max > 0.0;
        match info.unit {
            Unit::Switch => f.write_str(if value >= 0.5 { "on" } else { "off" }),
            Unit::Choice => f.write_str(info.choices.get(value as usize).copied().unwrap_or("")),
            Unit::Decibel if gain => fmt::Display::fmt(&quantity(value, "dB").signed(), f),
            unit => fmt::Display::fmt(&quantity(value, unit.symbol()), f),
        }
    }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use crate::settings::{row, rows};
    use std::string::ToString;

    #[test]
    fn a_readable_value_has_one_rounding() {
        let cases = [
            ("trim.gain_db", 2.0, "+2.0 dB"),
            ("compressor.threshold_db", -18.0, "−18.0 dB"),
            ("compressor.ratio", 4.0, "4:1"),
            ("expander.ratio", 4.0, "4:1"),
            ("compressor.ratio", f64::INFINITY, "∞:1"),
            ("compressor.attack_ms", 2.5, "2.5 ms"),
            ("leveller.response_time_ms", 4_000.0, "4 s"),
            ("de_reverb.decay_ms", 354.2, "354 ms"),
            ("high_pass.frequency_hz", 72.4, "72 Hz"),
            ("high_pass.on", 0.0, "off"),
            ("de_esser.mode", 1.0, "wideband"),
        ];
        for (id, value, expected) in cases {
            assert_eq!(row(id).unwrap().readable(value).to_string(), expected, "{id}");
        }
    }

    #[test]
    fn what_is_read_can_be_typed() {
        for info in rows() {
            for position in 0..=100 {
                let text = info.readable(info.value_at(f64::from(position) / 100.0)).to_string();
                assert!(info.parse(&text).is_ok(), "{} {text}", info.id);
            }
        }
    }
}

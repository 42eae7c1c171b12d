//! The sample rate as a checked value, and the units that settings are given in.

use crate::error::{Allowed, SettingError};

/// A sample rate in Hz, from 8 000 to 192 000.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct SampleRate(f64);

impl SampleRate {
    /// Lowest rate, Hz.
    pub const MIN_HZ: f64 = 8_000.0;
    /// Highest rate, Hz.
    pub const MAX_HZ: f64 = 192_000.0;

    /// Checks a rate in Hz.
    ///
    /// # Errors
    /// A rate that is not a number, or outside 8 000 to 192 000 Hz, is refused as `sample_rate`.
    pub fn new(hz: f64) -> Result<Self, SettingError> {
        if (Self::MIN_HZ..=Self::MAX_HZ).contains(&hz) {
            Ok(Self(hz))
        } else {
            Err(SettingError {
                setting: "sample_rate",
                value: hz,
                allowed: Allowed::Range { min: Self::MIN_HZ, max: Self::MAX_HZ, unit: "Hz" },
            })
        }
    }

    /// The rate in Hz.
    #[must_use]
    pub fn hz(self) -> f64 {
        self.0
    }

    /// The whole number of samples nearest to `ms` milliseconds.
    #[must_use]
    pub fn samples(self, ms: f64) -> u32 {
        libm::round(ms * 1e-3 * self.0) as u32
    }
}

/// The unit of a setting.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Unit {
    /// Decibels, relative.
    Decibel,
    /// Decibels of true peak relative to full scale (ITU-R BS.1770 Annex 2).
    DecibelTruePeak,
    /// Loudness relative to full scale, K-weighted (ITU-R BS.1770).
    Loudness,
    /// Hertz.
    Hertz,
    /// Milliseconds.
    Millisecond,
    /// Per cent.
    Percent,
    /// Input decibels for one output decibel, as in 3:1.
    Ratio,
    /// A pure number, such as Q.
    Number,
    /// A switch: 0 is off, 1 is on.
    Switch,
    /// One of the names in [`SettingInfo::choices`](crate::settings::SettingInfo::choices), counted from 0.
    Choice,
}

impl Unit {
    /// The unit as written behind a number; empty where nothing is written.
    #[must_use]
    pub const fn symbol(self) -> &'static str {
        match self {
            Self::Decibel => "dB",
            Self::DecibelTruePeak => "dBTP",
            Self::Loudness => "LUFS",
            Self::Hertz => "Hz",
            Self::Millisecond => "ms",
            Self::Percent => "%",
            Self::Ratio => ":1",
            Self::Number | Self::Switch | Self::Choice => "",
        }
    }
}

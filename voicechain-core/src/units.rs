//! Validated sample rate and units of settings.

use crate::blank::{Blank, blank};
use crate::error::{Allowed, SettingError, SettingName};

/// A sample rate in Hz, from 8 000 to 192 000.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct SampleRate(f64);

blank!(SampleRate = SampleRate(Blank::BLANK));

impl SampleRate {
    /// Lowest rate, Hz.
    pub const MIN_HZ: f64 = 8_000.0;
    /// Highest rate, Hz.
    pub const MAX_HZ: f64 = 192_000.0;

    /// Validates a sample rate in Hz.
    ///
    /// # Errors
    /// Rejects a rate that is not a number or outside 8 000 to 192 000 Hz; the error names the setting `sample_rate`.
    pub fn new(hz: f64) -> Result<Self, SettingError> {
        if (Self::MIN_HZ..=Self::MAX_HZ).contains(&hz) {
            Ok(Self(hz))
        } else {
            Err(SettingError {
                setting: SettingName::new("sample_rate"),
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

    /// Duration of `ms` milliseconds in samples, rounded to the nearest integer.
    #[must_use]
    pub fn samples(self, ms: f64) -> u32 {
        libm::round(ms * 1e-3 * self.0) as u32
    }
}

/// The unit of a setting.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Unit {
    /// Relative level in decibels.
    Decibel,
    /// True peak in decibels relative to full scale (ITU-R BS.1770 Annex 2).
    DecibelTruePeak,
    /// K-weighted loudness relative to full scale (ITU-R BS.1770).
    Loudness,
    /// Hertz.
    Hertz,
    /// Milliseconds.
    Millisecond,
    /// Per cent.
    Percent,
    /// Input decibels per output decibel, as in 3:1.
    Ratio,
    /// Dimensionless number, such as Q.
    Number,
    /// Switch: 0 is off, 1 is on.
    Switch,
    /// Index into [`SettingInfo::choices`](crate::settings::SettingInfo::choices), from 0.
    Choice,
}

/// The symbol of a unit as a literal, for documentation that is put together at compile time.
macro_rules! unit_symbol {
    (Decibel) => {
        "dB"
    };
    (DecibelTruePeak) => {
        "dBTP"
    };
    (Loudness) => {
        "LUFS"
    };
    (Hertz) => {
        "Hz"
    };
    (Millisecond) => {
        "ms"
    };
    (Percent) => {
        "%"
    };
}
pub(crate) use unit_symbol;

impl Unit {
    /// Symbol after a number; empty for dimensionless units.
    #[must_use]
    pub const fn symbol(self) -> &'static str {
        match self {
            Self::Decibel => unit_symbol!(Decibel),
            Self::DecibelTruePeak => unit_symbol!(DecibelTruePeak),
            Self::Loudness => unit_symbol!(Loudness),
            Self::Hertz => unit_symbol!(Hertz),
            Self::Millisecond => unit_symbol!(Millisecond),
            Self::Percent => unit_symbol!(Percent),
            Self::Ratio => ":1",
            Self::Number | Self::Switch | Self::Choice => "",
        }
    }
}

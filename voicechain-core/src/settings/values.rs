//! The types that a setting can have: numbers, switches, choices.

/// A type that a setting can have; every setting is also a number, for automation and for tables.
pub(crate) trait Value: Copy {
    fn number(self) -> f64;
    fn from_number(number: f64) -> Self;
}

impl Value for f64 {
    fn number(self) -> f64 {
        self
    }
    fn from_number(number: f64) -> Self {
        number
    }
}

impl Value for bool {
    fn number(self) -> f64 {
        f64::from(u8::from(self))
    }
    fn from_number(number: f64) -> Self {
        number >= 0.5
    }
}

/// Declares a choice: an enum whose names in files and tables are given as text.
macro_rules! choice {
    ($(#[$doc:meta])* $name:ident { $($(#[$vdoc:meta])* $variant:ident = $text:literal),+ $(,)? }) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq)]
        #[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
        pub enum $name {
            $($(#[$vdoc])* #[cfg_attr(feature = "serde", serde(rename = $text))] $variant),+
        }

        impl $name {
            /// All of them, in the order of their numbers.
            pub const ALL: &'static [Self] = &[$(Self::$variant),+];
            /// Their names, in the same order.
            pub const NAMES: &'static [&'static str] = &[$($text),+];
        }

        #[cfg(feature = "serde")]
        crate::settings::file::serde_by_default!($name);

        impl $crate::settings::values::Value for $name {
            fn number(self) -> f64 {
                f64::from(self as u8)
            }
            fn from_number(number: f64) -> Self {
                let last = Self::ALL.len() - 1;
                let index = (number.max(0.0) + 0.5) as usize;
                Self::ALL[index.min(last)]
            }
        }
    };
}
pub(super) use choice;

choice! {
    /// Slope of a Butterworth high-pass.
    Slope {
        /// First order.
        Db6 = "6 dB/oct",
        /// Second order.
        Db12 = "12 dB/oct",
        /// Third order.
        Db18 = "18 dB/oct",
        /// Fourth order.
        Db24 = "24 dB/oct",
        /// Eighth order.
        Db48 = "48 dB/oct",
    }
}

choice! {
    /// Which part of the spectrum the de-esser attenuates.
    DeEsserMode {
        /// The band above its frequency.
        SplitBand = "split-band",
        /// The whole spectrum.
        Wideband = "wideband",
    }
}

choice! {
    /// Source of the compressor's make-up gain.
    MakeUp {
        /// The value of the setting.
        Manual = "manual",
        /// Derived from threshold, ratio and knee, so that a voice at working level keeps its loudness.
        Automatic = "automatic",
    }
}

choice! {
    /// Nominal mains frequency.
    Mains {
        /// Europe, most of Asia, Africa, Australia.
        Hz50 = "50 Hz",
        /// The Americas, parts of Asia.
        Hz60 = "60 Hz",
    }
}

choice! {
    /// Latency that the spectral stages may use.
    SpectralLatency {
        /// No latency: the spectral stages are bypassed.
        None = "none",
        /// 512 samples at 48 kHz.
        Low = "low",
        /// 1 024 samples at 48 kHz.
        High = "high",
    }
}

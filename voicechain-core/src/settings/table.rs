//! The table itself, and the types that are made from it: the structs of settings, [`StageId`] and [`SectionId`].

use super::order::{DEFAULT_ORDER, REORDERABLE_STAGES, ReorderableStage, check_order};
use super::row::{Scale, SettingInfo};
use super::values::{DeEsserMode, Mains, MakeUp, Slope, SpectralLatency, Value};
use crate::error::{Allowed, SettingError, SettingName};
use crate::units::{Unit, unit_symbol};

/// A default as a number: what a switch or a choice counts as.
macro_rules! number {
    (Switch, $default:expr) => {
        $default as u8 as f64
    };
    (Choice, $default:expr) => {
        $default as u8 as f64
    };
    ($unit:ident, $default:expr) => {
        $default
    };
}

/// The second line of a field's documentation: unit, range and default.
macro_rules! field_doc {
    (Switch, $min:expr, $max:expr, $default:expr) => {
        concat!("Switch, default `", stringify!($default), "`.")
    };
    (Choice, $min:expr, $max:expr, $default:expr) => {
        concat!("Choice, default [`", stringify!($default), "`].")
    };
    (Number, $min:expr, $max:expr, $default:expr) => {
        concat!("Range ", stringify!($min), " to ", stringify!($max), ", default ", stringify!($default), ".")
    };
    (Ratio, $min:expr, $max:expr, $default:expr) => {
        concat!(
            "Ratio to 1, range ",
            stringify!($min),
            " to ",
            stringify!($max),
            " or infinite, default ",
            stringify!($default),
            "."
        )
    };
    ($unit:ident, $min:expr, $max:expr, $default:expr) => {
        concat!(
            "Unit ",
            unit_symbol!($unit),
            ", range ",
            stringify!($min),
            " to ",
            stringify!($max),
            ", default ",
            stringify!($default),
            "."
        )
    };
}

/// The settings of one section: a struct, its rows in the table, and access to its values by row.
macro_rules! section {
    (
        $(#[$doc:meta])*
        $section:ident: $struct:ident {
            $($field:ident: $type:ty = $default:expr, $name:literal, $unit:ident,
              [$min:expr, $max:expr; $step:expr], $scale:ident, $choices:expr, $automatable:literal, $explanation:literal;)+
        }
    ) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq)]
        #[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
        #[cfg_attr(feature = "serde", serde(default, deny_unknown_fields))]
        pub struct $struct {
            $(
                #[doc = $explanation]
                ///
                #[doc = field_doc!($unit, $min, $max, $default)]
                #[cfg_attr(feature = "serde", serde(with = "super::file"))]
                pub $field: $type,
            )+
        }

        impl Default for $struct {
            fn default() -> Self {
                Self { $($field: $default,)+ }
            }
        }

        impl $struct {
            /// The rows of these settings in the table, in the order of the fields.
            pub const ROWS: &'static [SettingInfo] = &[$(SettingInfo {
                id: concat!(stringify!($section), ".", stringify!($field)),
                section: stringify!($section),
                name: $name,
                unit: Unit::$unit,
                min: $min,
                max: $max,
                default: number!($unit, $default),
                step: $step,
                scale: Scale::$scale,
                automatable: $automatable,
                explanation: $explanation,
                choices: $choices,
            }),+];

            /// The value of one row as a number; `None` when there is no such row.
            #[must_use]
            pub fn get(&self, row: usize) -> Option<f64> {
                let numbers = [$(self.$field.number()),+];
                numbers.get(row).copied()
            }

            /// Sets the value of one row from a number, without a check; false when there is no such row.
            pub fn set(&mut self, row: usize, number: f64) -> bool {
                let mut at = 0;
                $(
                    if row == at {
                        self.$field = Value::from_number(number);
                        return true;
                    }
                    at += 1;
                )+
                let _ = at;
                false
            }

            /// True when the stage is switched on; always true for a stage without a switch.
            #[must_use]
            pub fn is_on(&self) -> bool {
                let switch = Self::ROWS.iter().position(|info| info.is_switch_of_stage());
                switch.and_then(|row| self.get(row)) != Some(0.0)
            }

            /// Checks every value against its row.
            ///
            /// # Errors
            /// The first value outside its range.
            pub fn check(&self) -> Result<(), SettingError> {
                for (row, info) in Self::ROWS.iter().enumerate() {
                    info.check(self.get(row).unwrap_or(f64::NAN))?;
                }
                Ok(())
            }
        }

        impl From<&StripSettings> for $struct {
            fn from(strip: &StripSettings) -> Self {
                strip.$section
            }
        }
    };
}

macro_rules! settings_table {
    (
        strip {$(
            $(#[$shared_doc:meta])*
            $shared_variant:ident $shared:ident: $shared_struct:ident $shared_title:literal { $($shared_rows:tt)+ }
        )+}
        stages {$(
            $(#[$doc:meta])*
            $variant:ident $stage:ident: $struct:ident $title:literal { $($rows:tt)+ }
        )+}
    ) => {
        $(section! { $(#[$shared_doc])* $shared: $shared_struct { $($shared_rows)+ } })+
        $(section! { $(#[$doc])* $stage: $struct { $($rows)+ } })+

        /// The settings of the whole strip: plain data in the user's units, stages in their default order.
        #[derive(Clone, Copy, Debug, PartialEq)]
        #[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
        #[cfg_attr(feature = "serde", serde(default, deny_unknown_fields))]
        pub struct StripSettings {
            /// The reorderable stages in signal order. Not automatable; a change cross-fades.
            pub order: [ReorderableStage; REORDERABLE_STAGES],
            $($(#[$doc])* pub $stage: $struct,)+
            $($(#[$shared_doc])* pub $shared: $shared_struct,)+
        }

        impl Default for StripSettings {
            fn default() -> Self {
                Self {
                    order: DEFAULT_ORDER,
                    $($stage: $struct::default(),)+
                    $($shared: $shared_struct::default(),)+
                }
            }
        }

        /// The stages, in their default order.
        #[derive(Clone, Copy, Debug, PartialEq, Eq)]
        pub enum StageId {
            $($(#[$doc])* $variant,)+
        }

        impl StageId {
            /// All stages, in their default order.
            pub const ALL: &'static [Self] = &[$(Self::$variant),+];

            /// The id, as in the settings file.
            #[must_use]
            pub const fn id(self) -> &'static str {
                match self { $(Self::$variant => stringify!($stage),)+ }
            }

            /// The name, as shown to a person.
            #[must_use]
            pub const fn name(self) -> &'static str {
                match self { $(Self::$variant => $title,)+ }
            }

            /// The rows of the stage in the table of settings.
            #[must_use]
            pub const fn rows(self) -> &'static [SettingInfo] {
                match self { $(Self::$variant => $struct::ROWS,)+ }
            }
        }

        /// A section of the table: a stage's settings, or settings that several stages share.
        #[derive(Clone, Copy, Debug, PartialEq, Eq)]
        pub enum SectionId {
            /// The settings of one stage.
            Stage(StageId),
            $($(#[$shared_doc])* $shared_variant,)+
        }

        impl SectionId {
            /// All sections: the stages in their default order, then what stages share.
            pub const ALL: &'static [Self] =
                &[$(Self::Stage(StageId::$variant),)+ $(Self::$shared_variant,)+];

            /// The section with this id; `None` for an unknown id. Tested by `settings_are_complete_and_unique`.
            #[must_use]
            pub fn from_id(id: &str) -> Option<Self> {
                Self::ALL.iter().copied().find(|section| section.id() == id)
            }

            /// The id, as in the settings file.
            #[must_use]
            pub const fn id(self) -> &'static str {
                match self { Self::Stage(stage) => stage.id(), $(Self::$shared_variant => stringify!($shared),)+ }
            }

            /// The name, as shown to a person.
            #[must_use]
            pub const fn name(self) -> &'static str {
                match self { Self::Stage(stage) => stage.name(), $(Self::$shared_variant => $shared_title,)+ }
            }

            /// The rows of the section in the table of settings.
            #[must_use]
            pub const fn rows(self) -> &'static [SettingInfo] {
                match self { Self::Stage(stage) => stage.rows(), $(Self::$shared_variant => $shared_struct::ROWS,)+ }
            }
        }

        impl From<StageId> for SectionId {
            fn from(stage: StageId) -> Self {
                Self::Stage(stage)
            }
        }

        impl StripSettings {
            /// The value of a row of a section as a number, without a search; `None` when there is no such row.
            #[must_use]
            pub fn value(&self, section: impl Into<SectionId>, row: usize) -> Option<f64> {
                match section.into() {
                    $(SectionId::Stage(StageId::$variant) => self.$stage.get(row),)+
                    $(SectionId::$shared_variant => self.$shared.get(row),)+
                }
            }

            /// Sets a row of a section from a number, without a search or a check; false when there is no such row.
            pub fn set_value(&mut self, section: impl Into<SectionId>, row: usize, number: f64) -> bool {
                match section.into() {
                    $(SectionId::Stage(StageId::$variant) => self.$stage.set(row, number),)+
                    $(SectionId::$shared_variant => self.$shared.set(row, number),)+
                }
            }

            /// The value of the setting with this id as a number; `None` for an unknown id.
            #[must_use]
            pub fn get(&self, id: &str) -> Option<f64> {
                let (section, row) = find(id)?;
                self.value(section, row)
            }

            /// Sets a value from a number.
            ///
            /// # Errors
            /// A value outside its range or an unknown id; nothing changes. The error names the id. Tested by
            /// `the_error_for_an_unknown_id_names_it`.
            pub fn set(&mut self, id: &str, number: f64) -> Result<(), SettingError> {
                let Some((section, row)) = find(id) else {
                    return Err(SettingError {
                        setting: SettingName::new(id),
                        value: number,
                        allowed: Allowed::KnownId,
                    });
                };
                section.rows()[row].check(number)?;
                self.set_value(section, row, number);
                Ok(())
            }

            /// Checks every setting, and the order.
            ///
            /// # Errors
            /// The first value outside its range, or an order that does not contain every reorderable stage once.
            pub fn check(&self) -> Result<(), SettingError> {
                check_order(&self.order)?;
                $(self.$stage.check()?;)+
                $(self.$shared.check()?;)+
                Ok(())
            }
        }
    };
}
/// Steps on logarithmic scales, octaves: frequencies in 1/48; times, ratios and Q in 1/12.
const FREQUENCY_STEP: f64 = 1.0 / 48.0;
const COARSE_STEP: f64 = 1.0 / 12.0;
const NONE: &[&str] = &[];

#[rustfmt::skip]
settings_table! {
strip {
    /// Settings shared by the stages that process short-time spectra.
    Spectral spectral: SpectralSettings "Spectral" {
        latency: SpectralLatency = SpectralLatency::None, "latency", Choice, [0.0, 2.0; 1.0], Linear, SpectralLatency::NAMES, false, "Latency of the stages that process short-time spectra. At none they are bypassed; at high they act best. Changes the latency of the strip.";
    }
}
stages {
    /// Input gain, which brings the recording to the working level of the strip.
    Trim trim: TrimSettings "Trim" {
        gain_db: f64 = 0.0, "gain", Decibel, [-24.0, 24.0; 0.1], Linear, NONE, true, "Input gain, before every other stage.";
    }
    /// Removes mains hum and its harmonics.
    Hum hum: HumSettings "Hum" {
        on: bool = false, "on", Switch, [0.0, 1.0; 1.0], Linear, NONE, true, "Switches the hum stage on or off.";
        mains: Mains = Mains::Hz50, "mains", Choice, [0.0, 1.0; 1.0], Linear, Mains::NAMES, true, "Nominal mains frequency where the voice was recorded; the stage follows it within 0.5 Hz.";
        harmonics: f64 = 10.0, "harmonics", Number, [1.0, 20.0; 1.0], Linear, NONE, true, "Number of harmonics removed, the mains frequency included.";
        depth_db: f64 = 40.0, "depth", Decibel, [0.0, 60.0; 1.0], Linear, NONE, true, "Attenuation of every harmonic.";
    }
    /// Butterworth high-pass below the voice.
    HighPass high_pass: HighPassSettings "High-pass" {
        on: bool = true, "on", Switch, [0.0, 1.0; 1.0], Linear, NONE, true, "Switches the high-pass on or off.";
        frequency_hz: f64 = 70.0, "frequency", Hertz, [20.0, 400.0; FREQUENCY_STEP], Logarithmic, NONE, true, "Cutoff frequency (-3 dB); keep it below the lowest pitch of the voice.";
        slope: Slope = Slope::Db18, "slope", Choice, [0.0, 4.0; 1.0], Linear, Slope::NAMES, true, "Slope below the cutoff frequency; steeper for rumble.";
    }
    /// Attenuates late reverberation.
    DeReverb de_reverb: DeReverbSettings "De-reverb" {
        on: bool = false, "on", Switch, [0.0, 1.0; 1.0], Linear, NONE, true, "Switches the de-reverb on or off; it is bypassed while the spectral latency is none.";
        decay_ms: f64 = 500.0, "decay time", Millisecond, [100.0, 2_000.0; COARSE_STEP], Logarithmic, NONE, true, "Time in which the sound of the room decays by 60 dB. Nothing is removed below 170 ms; up to 280 ms only where reverberation is detected; from 400 ms on without detection.";
        amount_percent: f64 = 100.0, "amount", Percent, [0.0, 100.0; 1.0], Linear, NONE, true, "Share of the suppression that is applied.";
        range_db: f64 = 15.0, "range", Decibel, [0.0, 24.0; 0.5], Linear, NONE, true, "Maximum attenuation per band; about half of it during direct sound, four fifths in noise. Linear prediction acts in addition.";
    }
    /// Downward expander: attenuates background noise between words.
    Expander expander: ExpanderSettings "Expander" {
        on: bool = false, "on", Switch, [0.0, 1.0; 1.0], Linear, NONE, true, "Switches the expander on or off.";
        threshold_db: f64 = 8.0, "threshold", Decibel, [2.0, 30.0; 0.5], Linear, NONE, true, "Level above the noise floor at which the expander opens.";
        ratio: f64 = 4.0, "ratio", Ratio, [1.0, 20.0; COARSE_STEP], Logarithmic, NONE, true, "Output decibels per input decibel below the threshold.";
        range_db: f64 = 15.0, "range", Decibel, [0.0, 40.0; 0.5], Linear, NONE, true, "Maximum attenuation.";
        hysteresis_db: f64 = 3.0, "hysteresis", Decibel, [0.0, 12.0; 0.5], Linear, NONE, true, "Distance below the threshold at which the expander closes.";
        hold_ms: f64 = 80.0, "hold", Millisecond, [1.0, 1_000.0; COARSE_STEP], Logarithmic, NONE, true, "Time below the closing threshold after which the expander closes.";
        attack_ms: f64 = 2.0, "attack", Millisecond, [0.1, 50.0; COARSE_STEP], Logarithmic, NONE, true, "Time constant of opening (63 % of the change in dB).";
        release_ms: f64 = 120.0, "release", Millisecond, [5.0, 2_000.0; COARSE_STEP], Logarithmic, NONE, true, "Time constant of closing (63 % of the change in dB).";
    }
    /// Brings phrases of different levels to one level, ahead of the stages with thresholds.
    Leveller leveller: LevellerSettings "Leveller" {
        on: bool = false, "on", Switch, [0.0, 1.0; 1.0], Linear, NONE, true, "Switches the leveller on or off.";
        target_lufs: f64 = -23.0, "target", Loudness, [-40.0, -10.0; 0.5], Linear, NONE, true, "Loudness to which phrases are brought, measured on one channel.";
        response_time_ms: f64 = 4_000.0, "response time", Millisecond, [250.0, 10_000.0; COARSE_STEP], Logarithmic, NONE, true, "Length of speech from which the level is taken; longer is calmer, shorter follows single words.";
        maximum_boost_db: f64 = 12.0, "maximum boost", Decibel, [0.0, 24.0; 0.5], Linear, NONE, true, "Maximum boost of a quiet phrase.";
        maximum_cut_db: f64 = 12.0, "maximum cut", Decibel, [0.0, 24.0; 0.5], Linear, NONE, true, "Maximum attenuation of a loud phrase.";
    }
    /// Four bells, meant for cuts of resonances.
    CorrectiveEq corrective_eq: CorrectiveEqSettings "Corrective EQ" {
        on: bool = true, "on", Switch, [0.0, 1.0; 1.0], Linear, NONE, true, "Switches the corrective EQ on or off.";
        level_compensation: bool = true, "level compensation", Switch, [0.0, 1.0; 1.0], Linear, NONE, true, "Compensates the change in the loudness of speech that the bells cause.";
        bell_1_frequency_hz: f64 = 200.0, "bell 1 frequency", Hertz, [20.0, 20_000.0; FREQUENCY_STEP], Logarithmic, NONE, true, "Centre frequency of the first bell.";
        bell_1_gain_db: f64 = 0.0, "bell 1 gain", Decibel, [-18.0, 18.0; 0.1], Linear, NONE, true, "Gain at the centre frequency of the first bell; 0 dB leaves the sound unchanged.";
        bell_1_q: f64 = 1.4, "bell 1 Q", Number, [0.3, 12.0; COARSE_STEP], Logarithmic, NONE, true, "Quality factor of the first bell; higher is narrower.";
        bell_2_frequency_hz: f64 = 450.0, "bell 2 frequency", Hertz, [20.0, 20_000.0; FREQUENCY_STEP], Logarithmic, NONE, true, "Centre frequency of the second bell.";
        bell_2_gain_db: f64 = 0.0, "bell 2 gain", Decibel, [-18.0, 18.0; 0.1], Linear, NONE, true, "Gain at the centre frequency of the second bell; 0 dB leaves the sound unchanged.";
        bell_2_q: f64 = 1.4, "bell 2 Q", Number, [0.3, 12.0; COARSE_STEP], Logarithmic, NONE, true, "Quality factor of the second bell; higher is narrower.";
        bell_3_frequency_hz: f64 = 1_000.0, "bell 3 frequency", Hertz, [20.0, 20_000.0; FREQUENCY_STEP], Logarithmic, NONE, true, "Centre frequency of the third bell.";
        bell_3_gain_db: f64 = 0.0, "bell 3 gain", Decibel, [-18.0, 18.0; 0.1], Linear, NONE, true, "Gain at the centre frequency of the third bell; 0 dB leaves the sound unchanged.";
        bell_3_q: f64 = 1.4, "bell 3 Q", Number, [0.3, 12.0; COARSE_STEP], Logarithmic, NONE, true, "Quality factor of the third bell; higher is narrower.";
        bell_4_frequency_hz: f64 = 2_800.0, "bell 4 frequency", Hertz, [20.0, 20_000.0; FREQUENCY_STEP], Logarithmic, NONE, true, "Centre frequency of the fourth bell.";
        bell_4_gain_db: f64 = 0.0, "bell 4 gain", Decibel, [-18.0, 18.0; 0.1], Linear, NONE, true, "Gain at the centre frequency of the fourth bell; 0 dB leaves the sound unchanged.";
        bell_4_q: f64 = 1.4, "bell 4 Q", Number, [0.3, 12.0; COARSE_STEP], Logarithmic, NONE, true, "Quality factor of the fourth bell; higher is narrower.";
    }
    /// Attenuates sibilants that are too strong relative to the vowels.
    DeEsser de_esser: DeEsserSettings "De-esser" {
        on: bool = true, "on", Switch, [0.0, 1.0; 1.0], Linear, NONE, true, "Switches the de-esser on or off.";
        mode: DeEsserMode = DeEsserMode::SplitBand, "mode", Choice, [0.0, 1.0; 1.0], Linear, DeEsserMode::NAMES, true, "Split-band attenuates above the frequency only, wideband the whole voice.";
        frequency_hz: f64 = 5_000.0, "frequency", Hertz, [3_000.0, 12_000.0; FREQUENCY_STEP], Logarithmic, NONE, true, "Lower edge of the band that is attenuated.";
        threshold_db: f64 = 0.0, "threshold", Decibel, [-24.0, 24.0; 0.5], Linear, NONE, true, "Level of the sibilant band relative to the voiced band above which the de-esser attenuates.";
        range_db: f64 = 6.0, "range", Decibel, [0.0, 18.0; 0.5], Linear, NONE, true, "Maximum attenuation.";
        attack_ms: f64 = 1.0, "attack", Millisecond, [0.1, 50.0; COARSE_STEP], Logarithmic, NONE, true, "Time constant of gain reduction (63 % of the change).";
        release_ms: f64 = 40.0, "release", Millisecond, [5.0, 500.0; COARSE_STEP], Logarithmic, NONE, true, "Time constant of recovery (63 % of the change).";
    }
    /// Feed-forward compressor.
    Compressor compressor: CompressorSettings "Compressor" {
        on: bool = true, "on", Switch, [0.0, 1.0; 1.0], Linear, NONE, true, "Switches the compressor on or off.";
        threshold_db: f64 = -20.0, "threshold", Decibel, [-60.0, 0.0; 0.1], Linear, NONE, true, "Level above which the compressor attenuates, relative to full scale.";
        ratio: f64 = 3.0, "ratio", Ratio, [1.0, 20.0; COARSE_STEP], Logarithmic, NONE, true, "Input decibels above the threshold per output decibel.";
        knee_db: f64 = 6.0, "knee", Decibel, [0.0, 24.0; 0.5], Linear, NONE, true, "Width of the soft knee around the threshold.";
        attack_ms: f64 = 5.0, "attack", Millisecond, [0.1, 200.0; COARSE_STEP], Logarithmic, NONE, true, "Time constant of gain reduction (63 % of the change in dB).";
        release_ms: f64 = 100.0, "release", Millisecond, [5.0, 2_000.0; COARSE_STEP], Logarithmic, NONE, true, "Time constant of recovery (63 % of the change in dB).";
        auto_release: bool = true, "auto release", Switch, [0.0, 1.0; 1.0], Linear, NONE, true, "Shortens the release after transients; the set release is then the longest.";
        make_up: MakeUp = MakeUp::Manual, "make-up", Choice, [0.0, 1.0; 1.0], Linear, MakeUp::NAMES, true, "Make-up gain set manually, or derived from threshold, ratio and knee.";
        make_up_db: f64 = 0.0, "make-up gain", Decibel, [-24.0, 24.0; 0.1], Linear, NONE, true, "Make-up gain in manual mode.";
        side_chain_high_pass_hz: f64 = 90.0, "side-chain high-pass", Hertz, [20.0, 400.0; FREQUENCY_STEP], Logarithmic, NONE, true, "Cutoff frequency of the side-chain high-pass; lower frequencies do not drive the compressor.";
        mix_percent: f64 = 100.0, "mix", Percent, [0.0, 100.0; 1.0], Linear, NONE, true, "Share of the compressed signal; the rest is uncompressed.";
        stereo_link_percent: f64 = 100.0, "stereo link", Percent, [0.0, 100.0; 1.0], Linear, NONE, true, "At 100 % the louder channel drives both channels, at 0 % each drives itself.";
    }
    /// Low shelf, bell and high shelf, meant for the tonal balance.
    ToneEq tone_eq: ToneEqSettings "Tone EQ" {
        on: bool = true, "on", Switch, [0.0, 1.0; 1.0], Linear, NONE, true, "Switches the tone EQ on or off.";
        level_compensation: bool = true, "level compensation", Switch, [0.0, 1.0; 1.0], Linear, NONE, true, "Compensates the change in the loudness of speech that the shelves and the bell cause.";
        low_shelf_frequency_hz: f64 = 160.0, "low shelf frequency", Hertz, [20.0, 20_000.0; FREQUENCY_STEP], Logarithmic, NONE, true, "Frequency at which the low shelf has half its gain in dB.";
        low_shelf_gain_db: f64 = 0.0, "low shelf gain", Decibel, [-12.0, 12.0; 0.1], Linear, NONE, true, "Gain below the low shelf frequency; 0 dB leaves the sound unchanged.";
        bell_frequency_hz: f64 = 3_700.0, "bell frequency", Hertz, [20.0, 20_000.0; FREQUENCY_STEP], Logarithmic, NONE, true, "Centre frequency of the bell.";
        bell_gain_db: f64 = 0.0, "bell gain", Decibel, [-18.0, 18.0; 0.1], Linear, NONE, true, "Gain at the centre frequency; 0 dB leaves the sound unchanged.";
        bell_q: f64 = 0.7, "bell Q", Number, [0.3, 12.0; COARSE_STEP], Logarithmic, NONE, true, "Quality factor of the bell; higher is narrower.";
        high_shelf_frequency_hz: f64 = 9_000.0, "high shelf frequency", Hertz, [20.0, 20_000.0; FREQUENCY_STEP], Logarithmic, NONE, true, "Frequency at which the high shelf has half its gain in dB.";
        high_shelf_gain_db: f64 = 0.0, "high shelf gain", Decibel, [-12.0, 12.0; 0.1], Linear, NONE, true, "Gain above the high shelf frequency; 0 dB leaves the sound unchanged.";
    }
    /// True-peak limiter.
    Limiter limiter: LimiterSettings "Limiter" {
        on: bool = true, "on", Switch, [0.0, 1.0; 1.0], Linear, NONE, true, "Switches the limiter on or off; its latency stays.";
        ceiling_dbtp: f64 = -1.0, "ceiling", DecibelTruePeak, [-24.0, 0.0; 0.1], Linear, NONE, true, "Maximum true peak of the output of the limiter.";
        look_ahead_ms: f64 = 1.5, "look-ahead", Millisecond, [0.5, 5.0; 0.1], Linear, NONE, false, "Time by which gain reduction precedes a peak; longer is smoother. Changes the latency.";
        release_ms: f64 = 80.0, "release", Millisecond, [10.0, 1_000.0; COARSE_STEP], Logarithmic, NONE, true, "Time constant of recovery (63 % of the change in dB).";
    }
    /// Output gain, after every other stage.
    Output output: OutputSettings "Output" {
        gain_db: f64 = 0.0, "gain", Decibel, [-24.0, 24.0; 0.1], Linear, NONE, true, "Output gain after the limiter; above 0 dB it raises the ceiling by the same amount.";
    }
}
}

/// Every row of the table: those of the stages in their default order, then those that stages share.
pub fn rows() -> impl Iterator<Item = &'static SettingInfo> {
    SectionId::ALL.iter().flat_map(|section| section.rows().iter())
}

/// The row with this id.
#[must_use]
pub fn row(id: &str) -> Option<&'static SettingInfo> {
    rows().find(|info| info.id == id)
}

/// Section and index of the row with this id.
fn find(id: &str) -> Option<(SectionId, usize)> {
    let row_in = |section: &SectionId| section.rows().iter().position(|info| info.id == id);
    SectionId::ALL.iter().find_map(|section| Some((*section, row_in(section)?)))
}

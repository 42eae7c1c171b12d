//! What was measured about one voice.
//!
//! Every quantity that one recording may not tell is a [`Measured`]: known, or the reason why not.

pub use super::measured::{Measured, Unavailable};
#[cfg(feature = "serde")]
use super::serialisation;

/// The number of third-octave bands: those of [`crate::speech::BYRNE_1994_COMBINED`], 63 Hz to 16 kHz.
pub const THIRD_OCTAVES: usize = 25;
/// Maximum number of resonances that are reported.
pub const MAX_RESONANCES: usize = 3;

/// What is heard.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(rename_all = "snake_case"))]
pub enum SignalClass {
    /// One voice.
    Voice,
    /// Two or more voices take turns: every number describes their mixture.
    SeveralVoices,
    /// Nothing with an active level above -75 dBov, or nothing at all.
    Silence,
    /// Less than two seconds of active speech.
    TooShort,
    /// A steady tone, or several.
    Tone,
    /// Noise without a voice.
    Noise,
    /// Music: a beat, or changes without the syllables of a voice.
    Music,
    /// Not an audio signal: random samples over the full scale, bits, a constant, values far beyond every scale, or many
    /// samples that are not finite.
    InvalidSignal,
}

/// Levels of the recording.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(deny_unknown_fields))]
pub struct Level {
    /// Integrated loudness, LUFS (ITU-R BS.1770), with every channel's weight.
    #[cfg_attr(feature = "serde", serde(with = "serialisation", default = "serialisation::missing"))]
    pub integrated_lufs: Measured<f64>,
    /// Loudness range, LU (EBU Tech 3342).
    #[cfg_attr(feature = "serde", serde(with = "serialisation", default = "serialisation::missing"))]
    pub loudness_range_lu: Measured<f64>,
    /// Largest true peak of all channels, dBTP.
    pub true_peak_dbtp: f64,
    /// Largest sample of all channels, dBFS.
    pub sample_peak_dbfs: f64,
    /// Stretches of samples that stay at one extreme value.
    pub clipping: Clipping,
    /// Active speech level of (L+R)/2, dB of full scale (ITU-T P.56 method B).
    #[cfg_attr(feature = "serde", serde(with = "serialisation", default = "serialisation::missing"))]
    pub active_level_dbov: Measured<f64>,
    /// Share of the time in which somebody speaks, percent (ITU-T P.56 method B).
    pub activity_percent: f64,
    /// Seconds of active speech.
    pub active_s: f64,
    /// Sample peak of (L+R)/2 over the active speech level, dB.
    #[cfg_attr(feature = "serde", serde(with = "serialisation", default = "serialisation::missing"))]
    pub crest_db: Measured<f64>,
    /// 95th percentile of the sample peaks of 10 ms pieces while somebody speaks, dBFS: where a compressor is set from.
    #[cfg_attr(feature = "serde", serde(with = "serialisation", default = "serialisation::missing"))]
    pub speech_peak_dbfs: Measured<f64>,
}

/// Clipped stretches.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(deny_unknown_fields))]
pub struct Clipping {
    /// Stretches of at least three successive equal samples at an extreme of the recording.
    pub runs: u32,
    /// Samples in them.
    pub samples: u64,
}

/// Level consistency: how the level moves from phrase to phrase.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(deny_unknown_fields))]
pub struct LevelConsistency {
    /// Phrases that were counted.
    pub phrase_count: u32,
    /// Standard deviation of the level from one half-second of speech to another, dB. Transients do not count.
    pub standard_deviation_db: f64,
    /// Median step from one phrase to the next, dB; 0 when there is only one.
    pub median_step_db: f64,
}

/// Short events that stand far above the speech around them.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(deny_unknown_fields))]
pub struct Transients {
    /// How many.
    pub count: u32,
    /// How many in ten seconds.
    pub per_10_s: f64,
    /// How far the highest lies above its surroundings, dB.
    pub max_excess_db: f64,
}

/// Background noise.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(deny_unknown_fields))]
pub struct BackgroundNoise {
    /// Noise floor, dBFS (mean square of what is left between the phrases).
    #[cfg_attr(feature = "serde", serde(with = "serialisation", default = "serialisation::missing"))]
    pub noise_floor_dbfs: Measured<f64>,
    /// Its third-octave levels, dBFS.
    #[cfg_attr(feature = "serde", serde(with = "serialisation::bands::all"))]
    pub noise_bands_dbfs: [f64; THIRD_OCTAVES],
    /// Active speech, without the noise, over the noise floor, dB.
    #[cfg_attr(feature = "serde", serde(with = "serialisation", default = "serialisation::missing"))]
    pub snr_db: Measured<f64>,
    /// Level of what lies below the voice (under 60 Hz), dBFS.
    pub rumble_dbfs: f64,
    /// The mean of all samples, as a share of full scale.
    pub dc_offset: f64,
}

/// The most harmonics of mains hum that are looked at.
pub const HUM_HARMONICS: usize = 10;

/// Mains hum.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(deny_unknown_fields))]
pub struct Hum {
    /// The exact mains frequency, Hz.
    pub frequency_hz: f64,
    /// Level of all harmonics together, dBFS.
    pub level_dbfs: f64,
    /// Level of each harmonic, from the fundamental up, dBFS; `None` where it does not stand out.
    #[cfg_attr(feature = "serde", serde(with = "serialisation::bands"))]
    pub harmonics_dbfs: [Option<f64>; HUM_HARMONICS],
}

/// The pitch of the voice.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(deny_unknown_fields))]
pub struct Pitch {
    /// 10th percentile, Hz.
    pub low_hz: f64,
    /// Median, Hz.
    pub median_hz: f64,
    /// 90th percentile, Hz.
    pub high_hz: f64,
    /// Share of the active time that is voiced, 0 to 1.
    pub voiced_share: f64,
}

/// The long-term spectrum of active speech.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(deny_unknown_fields))]
pub struct TonalBalance {
    /// Third-octave levels, dBFS (bands of [`crate::speech::BYRNE_1994_COMBINED`]); `None` above the bandwidth and where
    /// the noise is too close.
    #[cfg_attr(feature = "serde", serde(with = "serialisation::bands"))]
    pub bands_dbfs: [Option<f64>; THIRD_OCTAVES],
    /// Difference from published speech, both with the same power from 160 Hz to 6.3 kHz, dB. `None` likewise.
    #[cfg_attr(feature = "serde", serde(with = "serialisation::bands"))]
    pub deviation_db: [Option<f64>; THIRD_OCTAVES],
    /// Mean deviation of 100 to 250 Hz (below the pitch nothing is counted), dB: thin when negative, boomy when positive.
    #[cfg_attr(feature = "serde", serde(with = "serialisation", default = "serialisation::missing"))]
    pub low_end_db: Measured<f64>,
    /// Mean deviation of 2 to 5 kHz, dB: dull when negative.
    #[cfg_attr(feature = "serde", serde(with = "serialisation", default = "serialisation::missing"))]
    pub presence_db: Measured<f64>,
    /// Mean deviation of 6.3 to 12.5 kHz, dB.
    #[cfg_attr(feature = "serde", serde(with = "serialisation", default = "serialisation::missing"))]
    pub top_end_db: Measured<f64>,
}

/// The frequencies that the recording contains.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(deny_unknown_fields))]
pub struct Bandwidth {
    /// Highest frequency with content, Hz; half the sample rate where nothing ends before.
    pub high_hz: f64,
    /// True when the content ends before the sample rate would end it.
    pub limited: bool,
    /// True when it is narrowband, as a telephone is.
    pub narrowband: bool,
}

/// A frequency at which the voice stands out. A resonance can be located from one recording, not sized.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(deny_unknown_fields))]
pub struct Resonance {
    /// Where, Hz.
    pub frequency_hz: f64,
    /// How far the voice's own smoothed spectrum is exceeded, dB. Not the gain of a resonance: clean voices show 5 dB.
    pub prominence_db: f64,
    /// Width as the Q of a bell.
    pub q: f64,
    /// How sure it is that this is more than the voice itself, 0 to 1.
    pub confidence: f64,
}

/// Fricatives against vowels.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(deny_unknown_fields))]
pub struct Sibilance {
    /// Where the fricatives are strongest, Hz.
    pub frequency_hz: f64,
    /// Their level against the vowels over what is usual, dB.
    pub excess_db: f64,
    /// Share of the fricatives that are more than 6 dB over the usual, percent.
    pub share_percent: f64,
    /// Ratio of the sibilant to the voiced band, as [`crate::detectors::sibilance`] has it, below which nine tenths of the
    /// fricatives stay, dB: where a de-esser is set from.
    pub ratio_p90_db: f64,
}

/// Reverberation, measured by how the voice decays.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(deny_unknown_fields))]
pub struct Reverberation {
    /// Effective decay time, s: by 60 dB, from how steeply the voice falls. Not the reverberation time of ISO 3382.
    pub decay_time_s: f64,
    /// True when it is as short as in a treated room or close to the microphone.
    pub dry: bool,
}

/// Up to so many, most prominent first.
pub type Resonances = [Option<Resonance>; MAX_RESONANCES];

/// What was measured about one voice. Loudness and peaks are those of all channels, everything else is of (L+R)/2.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(deny_unknown_fields))]
pub struct Profile {
    /// Sample rate, Hz.
    pub rate_hz: f64,
    /// Length of what was heard, s.
    pub duration_s: f64,
    /// Channels.
    pub channels: usize,
    /// What is heard.
    pub signal_class: SignalClass,
    /// Levels.
    pub level: Level,
    /// Level consistency.
    #[cfg_attr(feature = "serde", serde(with = "serialisation", default = "serialisation::missing"))]
    pub level_consistency: Measured<LevelConsistency>,
    /// Transients.
    #[cfg_attr(feature = "serde", serde(with = "serialisation", default = "serialisation::missing"))]
    pub transients: Measured<Transients>,
    /// Noise floor, signal-to-noise ratio, rumble, DC offset.
    pub background_noise: BackgroundNoise,
    /// Mains hum; `Ok(None)` when there is none.
    #[cfg_attr(feature = "serde", serde(with = "serialisation::optional", default = "serialisation::missing"))]
    pub hum: Measured<Option<Hum>>,
    /// Pitch.
    #[cfg_attr(feature = "serde", serde(with = "serialisation", default = "serialisation::missing"))]
    pub pitch: Measured<Pitch>,
    /// Long-term spectrum.
    #[cfg_attr(feature = "serde", serde(with = "serialisation", default = "serialisation::missing"))]
    pub tonal_balance: Measured<TonalBalance>,
    /// What the recording contains.
    #[cfg_attr(feature = "serde", serde(with = "serialisation", default = "serialisation::missing"))]
    pub bandwidth: Measured<Bandwidth>,
    /// Resonances.
    #[cfg_attr(feature = "serde", serde(with = "serialisation::list", default = "serialisation::missing"))]
    pub resonances: Measured<Resonances>,
    /// Fricatives.
    #[cfg_attr(feature = "serde", serde(with = "serialisation", default = "serialisation::missing"))]
    pub sibilance: Measured<Sibilance>,
    /// Reverberation.
    #[cfg_attr(feature = "serde", serde(with = "serialisation", default = "serialisation::missing"))]
    pub reverberation: Measured<Reverberation>,
}

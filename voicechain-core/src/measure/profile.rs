//! Measurements of one voice recording: [`Profile`] and its parts.
//!
//! Levels are mean squares in dB relative to full scale unless stated otherwise: a full-scale sine has -3.01 dB. Peaks
//! are magnitudes: a full-scale sine has 0 dB. dBov (ITU-T P.56) and dBFS have the same reference here.
//!
//! A quantity that a recording may not reveal is a [`Measured`]: its value, or the reason why it is unavailable.

pub use super::measured::{Measured, Unavailable};
#[cfg(feature = "serde")]
use super::serialisation;
use crate::reverberation::is_dry;

/// Number of third-octave bands: those of [`crate::speech::BYRNE_1994_COMBINED`], 63 Hz to 16 kHz.
pub const THIRD_OCTAVES: usize = 25;
/// Maximum number of resonances in a profile.
pub const MAX_RESONANCES: usize = 3;

/// Kind of signal in a recording.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(rename_all = "snake_case"))]
pub enum SignalClass {
    /// One voice.
    Voice,
    /// Two or more voices that take turns. All measurements describe their mixture.
    SeveralVoices,
    /// No sound, or an active speech level below -75 dBov.
    Silence,
    /// Less than two seconds of active speech.
    TooShort,
    /// One or more steady tones.
    Tone,
    /// Noise without a voice.
    Noise,
    /// Music: a beat, or level changes without the syllables of a voice.
    Music,
    /// Not audio: random samples over the full scale, random bits, a constant, values far beyond full scale, or many
    /// non-finite samples.
    InvalidSignal,
}

/// Levels of the recording.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(deny_unknown_fields))]
pub struct Level {
    /// Integrated loudness of all channels, LUFS (ITU-R BS.1770).
    #[cfg_attr(feature = "serde", serde(with = "serialisation", default = "serialisation::missing"))]
    pub integrated_lufs: Measured<f64>,
    /// Loudness range, LU (EBU Tech 3342).
    #[cfg_attr(feature = "serde", serde(with = "serialisation", default = "serialisation::missing"))]
    pub loudness_range_lu: Measured<f64>,
    /// Highest true peak of all channels, dBTP.
    pub true_peak_dbtp: f64,
    /// Highest sample peak of all channels, dBFS.
    pub sample_peak_dbfs: f64,
    /// Clipping, summed over all channels.
    pub clipping: Clipping,
    /// Active speech level of (L+R)/2, dBov (ITU-T P.56 method B).
    #[cfg_attr(feature = "serde", serde(with = "serialisation", default = "serialisation::missing"))]
    pub active_level_dbov: Measured<f64>,
    /// Share of the time with active speech, percent (ITU-T P.56 method B).
    pub activity_percent: f64,
    /// Duration of active speech, s.
    pub active_s: f64,
    /// Crest factor of speech: sample peak of (L+R)/2 relative to the active speech level, dB.
    #[cfg_attr(feature = "serde", serde(with = "serialisation", default = "serialisation::missing"))]
    pub crest_db: Measured<f64>,
    /// Typical speech peak: 95th percentile of the sample peaks of 10 ms segments during active speech, dBFS. The
    /// compressor settings are derived from it.
    #[cfg_attr(feature = "serde", serde(with = "serialisation", default = "serialisation::missing"))]
    pub speech_peak_dbfs: Measured<f64>,
}

/// Clipped samples.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(deny_unknown_fields))]
pub struct Clipping {
    /// Number of clipped runs. A run is three or more successive equal samples at a peak; see
    /// [`ClippingDetector`](super::clipping::ClippingDetector).
    pub runs: u32,
    /// Samples in these runs.
    pub samples: u64,
}

/// Level consistency: variation of the speech level over time.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(deny_unknown_fields))]
pub struct LevelConsistency {
    /// Number of phrases.
    pub phrase_count: u32,
    /// Standard deviation of the level of half-second segments of speech, dB. Transients do not count.
    pub standard_deviation_db: f64,
    /// Median level difference between successive phrases, dB; 0 with a single phrase.
    pub median_step_db: f64,
}

/// Transients: short events far above the surrounding speech.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(deny_unknown_fields))]
pub struct Transients {
    /// Number of transients.
    pub count: u32,
    /// Transients per ten seconds of active speech.
    pub per_10_s: f64,
    /// Largest excess of a short peak above the surrounding speech, dB.
    pub max_excess_db: f64,
}

/// Background noise.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(deny_unknown_fields))]
pub struct BackgroundNoise {
    /// Noise floor between phrases, dBFS.
    #[cfg_attr(feature = "serde", serde(with = "serialisation", default = "serialisation::missing"))]
    pub noise_floor_dbfs: Measured<f64>,
    /// Third-octave levels of the noise, dBFS.
    #[cfg_attr(feature = "serde", serde(with = "serialisation::bands::all"))]
    pub noise_bands_dbfs: [f64; THIRD_OCTAVES],
    /// Signal-to-noise ratio, dB: active speech level after subtraction of the noise power, relative to the noise
    /// floor.
    #[cfg_attr(feature = "serde", serde(with = "serialisation", default = "serialisation::missing"))]
    pub snr_db: Measured<f64>,
    /// Level of rumble, below 60 Hz, dBFS.
    pub rumble_dbfs: f64,
    /// DC offset: mean of all samples as a fraction of full scale.
    pub dc_offset: f64,
}

/// Maximum number of hum harmonics that are measured. The hum stage removes up to 20.
pub const HUM_HARMONICS: usize = 10;

/// Mains hum.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(deny_unknown_fields))]
pub struct Hum {
    /// Measured mains frequency, Hz.
    pub frequency_hz: f64,
    /// Total level of all harmonics, dBFS.
    pub level_dbfs: f64,
    /// Level of each harmonic from the fundamental up, dBFS; `None` if it is not distinct from its surroundings.
    #[cfg_attr(feature = "serde", serde(with = "serialisation::bands"))]
    pub harmonics_dbfs: [Option<f64>; HUM_HARMONICS],
}

/// Pitch of the voice.
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
    /// Voiced share of active speech, as a fraction from 0 to 1.
    pub voiced_share: f64,
}

/// Tonal balance: long-term spectrum of active speech.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(deny_unknown_fields))]
pub struct TonalBalance {
    /// Third-octave levels, dBFS (bands of [`crate::speech::BYRNE_1994_COMBINED`]); `None` above the bandwidth of the
    /// recording and where the noise is too close.
    #[cfg_attr(feature = "serde", serde(with = "serialisation::bands"))]
    pub bands_dbfs: [Option<f64>; THIRD_OCTAVES],
    /// Deviation from the long-term average speech spectrum, dB, after both are normalised to equal power from 160 Hz
    /// to 6.3 kHz; `None` where the band is unavailable.
    #[cfg_attr(feature = "serde", serde(with = "serialisation::bands"))]
    pub deviation_db: [Option<f64>; THIRD_OCTAVES],
    /// Mean deviation from 100 to 250 Hz, dB. Bands below the pitch do not count. Negative: thin; positive: boomy.
    #[cfg_attr(feature = "serde", serde(with = "serialisation", default = "serialisation::missing"))]
    pub low_end_db: Measured<f64>,
    /// Mean deviation from 2 to 5 kHz, dB. Negative: dull.
    #[cfg_attr(feature = "serde", serde(with = "serialisation", default = "serialisation::missing"))]
    pub presence_db: Measured<f64>,
    /// Mean deviation from 6.3 to 12.5 kHz, dB.
    #[cfg_attr(feature = "serde", serde(with = "serialisation", default = "serialisation::missing"))]
    pub top_end_db: Measured<f64>,
}

/// Bandwidth of the recording.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(deny_unknown_fields))]
pub struct Bandwidth {
    /// Highest frequency with content, Hz; half the sample rate of the measurement (48 kHz or less) if nothing limits
    /// it earlier.
    pub high_hz: f64,
    /// True if the content ends below 85 % of half the sample rate of the measurement.
    pub limited: bool,
    /// True if `high_hz` is 4 kHz or less, as in telephone speech.
    pub narrowband: bool,
}

/// Resonance: a peak of the voice's spectral envelope above its smoothed envelope. Searched from 178 Hz to 1 kHz. One
/// recording reveals the frequency of a resonance, but not its gain. A peak at or among the first four harmonics of a
/// held pitch is none. Tested by `held_notes_have_no_resonance_at_or_among_their_low_harmonics` and
/// `a_fixed_resonance_stands_while_the_pitch_moves_through`.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(deny_unknown_fields))]
pub struct Resonance {
    /// Centre frequency, Hz.
    pub frequency_hz: f64,
    /// Excess over the voice's own smoothed envelope, dB. It is not the gain of a resonance: clean voices reach 5 dB.
    pub prominence_db: f64,
    /// Width, as the Q of a bell filter.
    pub q: f64,
    /// Confidence that the resonance is not a feature of the voice itself, 0 to 1.
    pub confidence: f64,
}

/// Sibilance: level of the fricatives relative to the vowels.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(deny_unknown_fields))]
pub struct Sibilance {
    /// Centroid of the fricatives' spectrum from 3 to 10 kHz, Hz.
    pub frequency_hz: f64,
    /// Level of the fricatives relative to the vowels, minus its mean over 39 recorded voices, dB. Fricatives from 5 to
    /// 9 kHz, or from 4 to 7.5 kHz if the recording ends below 9 kHz.
    pub excess_db: f64,
    /// Share of the fricatives that exceed the mean of these voices by more than 6 dB, percent. Fricatives from 4 to
    /// 10 kHz.
    pub share_percent: f64,
    /// 90th percentile, over the fricatives, of the ratio of sibilant to voiced band (see
    /// [`crate::detectors::sibilance`]), dB. The de-esser settings are derived from it.
    pub ratio_p90_db: f64,
}

/// Reverberation, estimated from the decays of the voice.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(deny_unknown_fields))]
pub struct Reverberation {
    /// Effective decay time by 60 dB, s, estimated from the slope of the voice's decays. It is not the reverberation
    /// time of ISO 3382.
    pub decay_time_s: f64,
    /// True if the decay time is below 0.17 s, as close to the microphone or in a room that absorbs strongly. From
    /// 0.17 s on, the de-reverb is proposed. Tested by `a_dry_voice_is_never_given_a_de_reverb`.
    pub dry: bool,
}

impl Reverberation {
    /// Reverberation of this decay time, s.
    #[must_use]
    pub fn with_decay_time(decay_time_s: f64) -> Self {
        Self { decay_time_s, dry: is_dry(decay_time_s) }
    }
}

/// Resonances, most prominent first.
pub type Resonances = [Option<Resonance>; MAX_RESONANCES];

/// Measurements of one voice recording. Loudness, true peak, sample peak and clipping cover all channels, as does the
/// check for an invalid signal. Everything else describes (L+R)/2.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(deny_unknown_fields))]
pub struct Profile {
    /// Sample rate, Hz.
    pub rate_hz: f64,
    /// Duration, s.
    pub duration_s: f64,
    /// Number of channels.
    pub channels: usize,
    /// Kind of signal.
    pub signal_class: SignalClass,
    /// Levels and clipping.
    pub level: Level,
    /// Level consistency.
    #[cfg_attr(feature = "serde", serde(with = "serialisation", default = "serialisation::missing"))]
    pub level_consistency: Measured<LevelConsistency>,
    /// Transients.
    #[cfg_attr(feature = "serde", serde(with = "serialisation", default = "serialisation::missing"))]
    pub transients: Measured<Transients>,
    /// Noise floor, signal-to-noise ratio, rumble, DC offset.
    pub background_noise: BackgroundNoise,
    /// Mains hum; `Ok(None)` if none is found.
    #[cfg_attr(feature = "serde", serde(with = "serialisation::optional", default = "serialisation::missing"))]
    pub hum: Measured<Option<Hum>>,
    /// Pitch.
    #[cfg_attr(feature = "serde", serde(with = "serialisation", default = "serialisation::missing"))]
    pub pitch: Measured<Pitch>,
    /// Tonal balance.
    #[cfg_attr(feature = "serde", serde(with = "serialisation", default = "serialisation::missing"))]
    pub tonal_balance: Measured<TonalBalance>,
    /// Bandwidth.
    #[cfg_attr(feature = "serde", serde(with = "serialisation", default = "serialisation::missing"))]
    pub bandwidth: Measured<Bandwidth>,
    /// Resonances.
    #[cfg_attr(feature = "serde", serde(with = "serialisation::list", default = "serialisation::missing"))]
    pub resonances: Measured<Resonances>,
    /// Sibilance.
    #[cfg_attr(feature = "serde", serde(with = "serialisation", default = "serialisation::missing"))]
    pub sibilance: Measured<Sibilance>,
    /// Reverberation.
    #[cfg_attr(feature = "serde", serde(with = "serialisation", default = "serialisation::missing"))]
    pub reverberation: Measured<Reverberation>,
}

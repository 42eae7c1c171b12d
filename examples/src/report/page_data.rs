//! Input of the report page: the report data, plus series and audio clips too long for `report.json`.

use super::data::Report;
use super::excerpt::Clip;

/// Input of the report page.
#[derive(Clone, Debug, PartialEq)]
pub struct ReportPage {
    /// Report data.
    pub report: Report,
    /// Series of the voices, in the order of `report.voices`. A voice without an entry gets tables only.
    pub voices: Vec<VoiceSeries>,
    /// Series of the mix.
    pub mix: MixSeries,
}

/// Time series: times and values of equal length.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct TimeSeries {
    /// Times from the start, s.
    pub seconds: Vec<f32>,
    /// Values. Silence may be negative infinity or NaN; it is drawn below the scale.
    pub values: Vec<f32>,
}

/// Window of a loudness measurement.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum LoudnessWindow {
    /// 400 ms.
    Momentary,
    /// 3 s.
    #[default]
    ShortTerm,
}

impl LoudnessWindow {
    /// Name on the page.
    pub(super) fn words(self) -> &'static str {
        match self {
            Self::Momentary => "momentary (400 ms)",
            Self::ShortTerm => "short-term (3 s)",
        }
    }
}

/// Plots and excerpt of one voice.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct VoiceSeries {
    /// Long-term third-octave spectrum of the recording: (centre in Hz, level in dB, any reference). It is compared
    /// with published speech at equal power. Bands that could not be measured are missing or not finite.
    pub spectrum_before: Vec<(f32, f32)>,
    /// Long-term third-octave spectrum of the processed voice.
    pub spectrum_after: Vec<(f32, f32)>,
    /// Total response of the strip's filters and equalisers without trims: (Hz, dB), in ascending frequency.
    pub response: Vec<(f32, f32)>,
    /// Active bands as points on the response: (Hz, dB).
    pub bands: Vec<(f32, f32)>,
    /// Median pitch, Hz, if available. Below 200 Hz it selects the published spectrum of men or women.
    pub pitch_hz: Option<f64>,
    /// Window of the loudness measurement.
    pub window: LoudnessWindow,
    /// Loudness of the recording over time, LUFS.
    pub loudness_before: TimeSeries,
    /// Loudness of the processed and balanced voice over time, LUFS.
    pub loudness_after: TimeSeries,
    /// Gain of each dynamic stage over time, dB, with the stage id. Gain reduction is negative. Each value is the
    /// lowest gain of its interval.
    pub gain: Vec<(String, TimeSeries)>,
    /// Excerpt before and after.
    pub excerpt: Option<Excerpt>,
}

/// Loudness-matched excerpt of a voice before and after processing.
#[derive(Clone, Debug, PartialEq)]
pub struct Excerpt {
    /// Start in the recording, s.
    pub start_s: f32,
    /// Unprocessed clip, already loudness-matched.
    pub before: Clip,
    /// Processed clip.
    pub after: Clip,
    /// Loudness-match gain of the unprocessed clip, dB.
    pub loudness_match_db: f64,
    /// Attenuation of both clips that keeps all peaks below the ceiling, dB, not negative.
    pub peak_attenuation_db: f64,
}

/// Plots and excerpt of the mix.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct MixSeries {
    /// Window of the loudness measurement.
    pub window: LoudnessWindow,
    /// Loudness of the delivered mix over time, LUFS.
    pub loudness: TimeSeries,
    /// Gain of the programme limiter over time, dB. Gain reduction is negative.
    pub limiter_gain: TimeSeries,
    /// Start in the mix, s, and clip.
    pub excerpt: Option<(f32, Clip)>,
}

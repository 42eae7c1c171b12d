//! What the page shows: the data of the report, and beside it the series and sounds that are too long for the data.

use super::data::Report;
use super::excerpt::Clip;

/// Everything that the page shows: the data, and the series that are too long for `report.json`.
#[derive(Clone, Debug, PartialEq)]
pub struct ReportPage {
    /// The data.
    pub report: Report,
    /// Series of the voices, in the order of `report.voices`. A voice without an entry gets its tables only.
    pub voices: Vec<VoiceSeries>,
    /// Series of the mix.
    pub mix: MixSeries,
}

/// Values over time, equally long.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct TimeSeries {
    /// Seconds from the start.
    pub seconds: Vec<f32>,
    /// The value there. Silence may be negative infinity or not a number: it is drawn below the scale.
    pub values: Vec<f32>,
}

/// Over which time loudness was measured.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum LoudnessWindow {
    /// 400 ms.
    Momentary,
    /// 3 s.
    #[default]
    ShortTerm,
}

impl LoudnessWindow {
    /// How the page calls it.
    pub(super) fn words(self) -> &'static str {
        match self {
            Self::Momentary => "momentary (400 ms)",
            Self::ShortTerm => "short-term (3 s)",
        }
    }
}

/// What is drawn and played for one voice.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct VoiceSeries {
    /// Long-term spectrum of the recording in third octaves: (middle in Hz, level in dB, any reference). Levels are compared
    /// with published speech at equal power; bands that could not be measured are left out or not finite.
    pub spectrum_before: Vec<(f32, f32)>,
    /// The same of the processed voice.
    pub spectrum_after: Vec<(f32, f32)>,
    /// Total response of the strip's filters and equalisers, without trims: (Hz, dB), frequencies rising.
    pub response: Vec<(f32, f32)>,
    /// Where the bands in use lie on it: (Hz, dB on the response).
    pub bands: Vec<(f32, f32)>,
    /// Median pitch, by which published speech of men or of women is meant below 200 Hz; `None` where it is not known.
    pub pitch_hz: Option<f64>,
    /// Over which time the loudness was measured.
    pub window: LoudnessWindow,
    /// Loudness of the recording over time, LUFS.
    pub loudness_before: TimeSeries,
    /// Loudness of the processed and balanced voice over time, LUFS.
    pub loudness_after: TimeSeries,
    /// Gain of each dynamic stage over time in dB, negative where it takes, with the stage's id. For stretches of time the
    /// lowest gain.
    pub gain: Vec<(String, TimeSeries)>,
    /// What can be listened to.
    pub excerpt: Option<Excerpt>,
}

/// The same stretch of a voice before and after, at the same loudness.
#[derive(Clone, Debug, PartialEq)]
pub struct Excerpt {
    /// Where it starts in the recording, seconds.
    pub start_s: f32,
    /// The unprocessed side, already matched.
    pub before: Clip,
    /// The processed side.
    pub after: Clip,
    /// By how much the unprocessed side was raised (positive) or lowered to match, dB.
    pub loudness_match_db: f64,
    /// By how much both sides were then lowered so that no peak passes the ceiling, dB, not negative.
    pub peak_attenuation_db: f64,
}

/// What is drawn and played for the mix.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct MixSeries {
    /// Over which time the loudness was measured.
    pub window: LoudnessWindow,
    /// Loudness of the delivered mix over time, LUFS.
    pub loudness: TimeSeries,
    /// Gain of the programme limiter over time in dB, negative where it takes.
    pub limiter_gain: TimeSeries,
    /// Where the clip starts (seconds), and the clip.
    pub excerpt: Option<(f32, Clip)>,
}

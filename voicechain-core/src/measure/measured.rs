//! Quantity that a recording may not reveal.

use core::fmt;

/// Reason why a quantity is unavailable. Displays as a clause, such as `not enough speech`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(rename_all = "snake_case"))]
pub enum Unavailable {
    /// No sound, or too little of it above the noise of 16 bits.
    Silence,
    /// Too little active speech.
    TooShort,
    /// The background noise is too close to the voice.
    TooNoisy,
    /// The signal does not behave like one voice.
    NotAVoice,
    /// The recording lacks the required frequencies.
    InsufficientBandwidth,
    /// No segment of the voice is suitable: no fricatives, or no word that decays freely.
    NoSuitableSegment,
    /// Not measured, for example in a stored profile that predates the quantity.
    NotMeasured,
}

impl fmt::Display for Unavailable {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Silence => "the recording is silent",
            Self::TooShort => "not enough speech",
            Self::TooNoisy => "the background noise is too close to the voice",
            Self::NotAVoice => "the signal is not a single voice",
            Self::InsufficientBandwidth => "the bandwidth of the recording is too small",
            Self::NoSuitableSegment => "no suitable segment of the recording",
            Self::NotMeasured => "not measured by this version",
        })
    }
}

/// A measured value, or the reason why it is unavailable.
pub type Measured<T> = Result<T, Unavailable>;

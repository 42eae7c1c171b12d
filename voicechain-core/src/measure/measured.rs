//! Quantity that a recording may not reveal.

/// Reason why a quantity is unavailable.
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

/// A measured value, or the reason why it is unavailable.
pub type Measured<T> = Result<T, Unavailable>;

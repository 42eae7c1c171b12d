//! A quantity that a recording may not tell.

/// Why a quantity is not known.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(rename_all = "snake_case"))]
pub enum Unavailable {
    /// Nothing is heard, or too little of it lies above the noise of 16 bits.
    Silence,
    /// There is not enough active speech for it.
    TooShort,
    /// The noise between the phrases is too close to the voice.
    TooNoisy,
    /// What is heard does not behave like one voice.
    NotAVoice,
    /// The recording does not contain the frequencies that it needs.
    InsufficientBandwidth,
    /// No segment of the voice is suitable (no fricatives, no word that ends freely).
    NoSuitableSegment,
    /// Nothing measures it yet.
    NotMeasured,
}

/// A quantity, or why it is not known.
pub type Measured<T> = Result<T, Unavailable>;

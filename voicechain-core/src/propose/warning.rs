//! What a person is warned of: each one plain sentence.

use crate::format::quantity;
use core::fmt;

/// What a person is warned of.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Warning {
    /// What is heard is not a voice; nothing is proposed.
    NotAVoice,
    /// Several voices: every number describes their mixture.
    SeveralVoices,
    /// Less than 30 s of active speech; seconds.
    LittleSpeech(f64),
    /// Clipped stretches; how many.
    Clipped(u32),
    /// The crest factor is so small that it has been compressed before; dB.
    AlreadyCompressed(f64),
    /// The proposed compressor would seldom rest; dB of reduction on loud phrases.
    ContinuousCompression(f64),
    /// The noise is too close for compression; signal-to-noise ratio, dB.
    NoiseLimitsCompression(f64),
    /// The noise is so close that no setting of the strip repairs it; signal-to-noise ratio, dB.
    ExcessiveNoise(f64),
    /// As narrow as a telephone; highest frequency, Hz.
    Narrowband(f64),
    /// Reverberation of which the strip removes only a part; decay time, s.
    Reverberant(f64),
}

impl fmt::Display for Warning {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match *self {
            Self::NotAVoice => f.write_str("This does not sound like one voice: nothing is proposed."),
            Self::SeveralVoices => {
                f.write_str("Several voices take turns: the proposal fits their mixture, not any one of them.")
            }
            Self::LittleSpeech(s) => {
                write!(f, "Only {} of speech was heard: half a minute tells more.", quantity(s, "s"))
            }
            Self::Clipped(n) => {
                write!(f, "The recording is clipped in {n} place(s): the strip cannot bring back what is cut off.")
            }
            Self::AlreadyCompressed(db) => write!(
                f,
                "The peaks stand only {} over the voice: it has been compressed before, so nothing more is taken.",
                quantity(db, "dB")
            ),
            Self::ContinuousCompression(db) => write!(
                f,
                "The phrases differ so much that about {} is taken from the loud ones and the compressor seldom rests.",
                quantity(db, "dB")
            ),
            Self::NoiseLimitsCompression(db) => {
                write!(f, "The noise lies only {} under the voice: compression is gentle.", quantity(db, "dB"))
            }
            Self::ExcessiveNoise(db) => write!(
                f,
                "The noise lies only {} under the voice: no setting repairs that, and compression would raise it.",
                quantity(db, "dB")
            ),
            Self::Narrowband(hz) => {
                write!(f, "Nothing is recorded above {}: no setting can bring it back.", quantity(hz, "Hz"))
            }
            Self::Reverberant(s) => {
                write!(f, "The decay time is {}: the de-reverb takes only a part of it away.", quantity(s, "s"))
            }
        }
    }
}

//! What a person is warned of: each one plain sentence.

use super::words::Shown;
use core::fmt;

/// What a person is warned of.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Warning {
    /// What is heard is not a voice; nothing is proposed.
    NotAVoice,
    /// Several voices: every number describes their mixture.
    SeveralVoices,
    /// Less than 30 s of active speech; seconds.
    Short(f64),
    /// Clipped stretches; how many.
    Clipped(u32),
    /// The crest factor is so small that it has been compressed before; dB.
    CompressedBefore(f64),
    /// The proposed compressor would seldom rest; dB of reduction on loud phrases.
    SeldomRests(f64),
    /// The noise is too close for compression; signal-to-noise ratio, dB.
    NoisyForCompression(f64),
    /// The noise is so close that no setting of the strip repairs it; signal-to-noise ratio, dB.
    BeyondRepairNoise(f64),
    /// As narrow as a telephone; highest frequency, Hz.
    Telephone(f64),
    /// A room of which the strip can take away only a part; decay time, s.
    Roomy(f64),
}

impl fmt::Display for Warning {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match *self {
            Self::NotAVoice => f.write_str("This does not sound like one voice: nothing is proposed."),
            Self::SeveralVoices => {
                f.write_str("Several voices take turns: the proposal fits their mixture, not any one of them.")
            }
            Self::Short(s) => write!(f, "Only {s:.1} s of speech was heard: half a minute tells more."),
            Self::Clipped(n) => {
                write!(f, "The recording is clipped in {n} place(s): the strip cannot bring back what is cut off.")
            }
            Self::CompressedBefore(db) => write!(
                f,
                "The peaks stand only {} over the voice: it has been compressed before, so nothing more is taken.",
                Shown(db, "dB")
            ),
            Self::SeldomRests(db) => write!(
                f,
                "The phrases differ so much that about {} is taken from the loud ones and the compressor seldom rests.",
                Shown(db, "dB")
            ),
            Self::NoisyForCompression(db) => {
                write!(f, "The noise lies only {} under the voice: compression is gentle.", Shown(db, "dB"))
            }
            Self::BeyondRepairNoise(db) => write!(
                f,
                "The noise lies only {} under the voice: no setting repairs that, and compression would raise it.",
                Shown(db, "dB")
            ),
            Self::Telephone(hz) => {
                write!(f, "Nothing is recorded above {}: no setting can bring it back.", Shown(hz, "Hz"))
            }
            Self::Roomy(s) => {
                write!(f, "The room rings for {}: the de-reverb takes only a part of it away.", Shown(s, "s"))
            }
        }
    }
}

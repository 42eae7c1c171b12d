//! Warnings of a proposal, each one sentence.

use crate::format::quantity;
use core::fmt;

/// Warning about the recording or the limits of the proposal. Displays as one sentence.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Warning {
    /// The recording contains no recognised voice, or less than two seconds of active speech: the proposal is idle.
    NotAVoice,
    /// Several voices that take turns: every measurement describes their mixture.
    SeveralVoices,
    /// Less than 30 s of active speech. Value: active speech, s.
    LittleSpeech(f64),
    /// Clipped recording. Value: number of clipped runs, summed over all channels.
    Clipped(u32),
    /// Crest factor so low that the voice is already compressed. Value: crest factor, dB.
    AlreadyCompressed(f64),
    /// Background noise makes the proposed compression gentle. Value: signal-to-noise ratio, dB.
    NoiseLimitsCompression(f64),
    /// Background noise beyond what any setting of the strip can repair. Value: signal-to-noise ratio, dB.
    ExcessiveNoise(f64),
    /// Narrowband recording, such as a telephone call. Value: highest frequency, Hz.
    Narrowband(f64),
    /// Reverberation that the strip removes only in part. Value: decay time, s.
    Reverberant(f64),
}

impl fmt::Display for Warning {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match *self {
            Self::NotAVoice => {
                f.write_str("The recording contains no recognisable voice, or too little speech: nothing is proposed.")
            }
            Self::SeveralVoices => {
                f.write_str("The recording contains several voices: the proposal fits their mixture, not each voice.")
            }
            Self::LittleSpeech(s) => write!(
                f,
                "The recording contains only {} of speech: the proposal is more reliable with 30 s or more.",
                quantity(s, "s")
            ),
            Self::Clipped(n) => {
                write!(f, "Clipped runs in the recording: {n}; the strip cannot restore the clipped peaks.")
            }
            Self::AlreadyCompressed(db) => write!(
                f,
                "The crest factor is only {}: the voice is already compressed, so no compression is proposed.",
                quantity(db, "dB")
            ),
            Self::NoiseLimitsCompression(db) => {
                write!(f, "The signal-to-noise ratio is only {}: compression is gentle.", quantity(db, "dB"))
            }
            Self::ExcessiveNoise(db) => write!(
                f,
                "The signal-to-noise ratio is only {}: no setting repairs this, and compression would raise the noise.",
                quantity(db, "dB")
            ),
            Self::Narrowband(hz) => {
                write!(f, "The recording has no content above {}: no setting can restore it.", quantity(hz, "Hz"))
            }
            Self::Reverberant(s) => {
                write!(
                    f,
                    "The decay time is {}: the de-reverb removes only part of the reverberation.",
                    quantity(s, "s")
                )
            }
        }
    }
}

//! What a person should know about a recording.

use std::fmt;

/// Something about a recording that the person should know, though the job goes on.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum Warning {
    /// Stretches of four or more samples in a row at full scale.
    Clipped {
        /// How many stretches there are so far.
        stretches: u64,
        /// Where the first one begins, in seconds.
        first_s: f64,
    },
    /// The sample rate is so low that treble is missing.
    LowSampleRate {
        /// The sample rate in Hz.
        rate_hz: u32,
    },
    /// The format adds silence at the start and this file does not state how much.
    UnknownEncoderDelay,
    /// Damaged packets, replaced by silence of the same length.
    Damaged {
        /// How many packets there are so far.
        packets: u64,
        /// Where the first one is, in seconds.
        first_s: f64,
    },
    /// The file ends before the length that it states.
    Truncated {
        /// Where it ends, in seconds.
        end_s: f64,
        /// The length that it states, in seconds.
        stated_s: f64,
    },
}

impl fmt::Display for Warning {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match *self {
            Self::Clipped { stretches, first_s } => {
                let noun = if stretches == 1 { "stretch" } else { "stretches" };
                write!(f, "clipped: {stretches} {noun} at full scale, the first at {first_s:.2} s")
            }
            Self::LowSampleRate { rate_hz } => {
                let top_khz = f64::from(rate_hz) / 2_000.0;
                write!(f, "sample rate of {rate_hz} Hz: the recording holds nothing above {top_khz} kHz")
            }
            Self::UnknownEncoderDelay => {
                write!(f, "the file does not state the delay of its encoder: the voice may start some 50 ms late")
            }
            Self::Damaged { packets, first_s } => {
                let noun = if packets == 1 { "packet" } else { "packets" };
                write!(f, "damaged: {packets} {noun} replaced by silence, the first at {first_s:.2} s")
            }
            Self::Truncated { end_s, stated_s } => {
                write!(f, "ends early: at {end_s:.2} s of the {stated_s:.2} s that the file states")
            }
        }
    }
}

//! Warnings about a recording.

use std::fmt;

/// Defect of a recording that does not stop the job.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum Warning {
    /// The recording has stretches of four or more consecutive samples at full scale, so it is clipped.
    FullScale {
        /// Number of stretches.
        stretches: u64,
        /// Start of the first stretch, s.
        first_s: f64,
    },
    /// The sample rate is below 32 kHz, so that treble is missing.
    LowSampleRate {
        /// Sample rate, Hz.
        rate_hz: u32,
    },
    /// The codec has an encoder delay that the file does not state.
    UnknownEncoderDelay,
    /// Damaged packets were replaced by silence of the same length.
    Damaged {
        /// Number of packets.
        packets: u64,
        /// Position of the first packet, s.
        first_s: f64,
    },
    /// The file ends before its stated length.
    Truncated {
        /// Actual end, s.
        end_s: f64,
        /// Stated length, s.
        stated_s: f64,
    },
}

impl fmt::Display for Warning {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match *self {
            Self::FullScale { stretches, first_s } => {
                let noun = if stretches == 1 { "stretch" } else { "stretches" };
                write!(f, "clipped at full scale: {stretches} {noun}, the first at {first_s:.2} s")
            }
            Self::LowSampleRate { rate_hz } => {
                let top_khz = f64::from(rate_hz) / 2_000.0;
                write!(f, "sample rate of {rate_hz} Hz: the recording contains nothing above {top_khz} kHz")
            }
            Self::UnknownEncoderDelay => {
                write!(f, "the file does not state its encoder delay: the voice may start about 50 ms late")
            }
            Self::Damaged { packets, first_s } => {
                let noun = if packets == 1 { "packet" } else { "packets" };
                write!(f, "damaged: {packets} {noun} replaced by silence, the first at {first_s:.2} s")
            }
            Self::Truncated { end_s, stated_s } => {
                write!(f, "ends early: after {end_s:.2} s of the stated {stated_s:.2} s")
            }
        }
    }
}
